"""The trial: the question, what is changed, what is measured, and how it is laid out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from weldtrial.shared.factors import Factor
from weldtrial.shared.follows import Follows
from weldtrial.shared.gauge import Gauge
from weldtrial.shared.looks import Looks
from weldtrial.shared.plan import Run
from weldtrial.shared.prices import Prices
from weldtrial.shared.responses import Response

Purpose = Literal["compare", "settings", "screening", "pilot", "gauge"]
FairRule = Literal[
    "same-setting",
    "same-arc-length",
    "same-heat-input",
    "same-deposit",
    "each-gas-own-setting",
    "both",
]
DesignKind = Literal[
    "factorial",
    "fraction",
    "plackett-burman",
    "definitive-screening",
    "central-composite",
    "box-behnken",
    "latin-square",
    "paired",
    "optimal",
    "auto",
    "added",
]
Star = Literal["inside", "face", "outside"]
BestFor = Literal["effects", "prediction"]
Model = Literal["main", "two-factor", "quadratic"]
Handling = Literal["held", "measured", "blocked", "shuffled"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit as typed."""

    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Fair:
    """Which reading of "fair" is welded, in the user's words."""

    rule: FairRule | None = None
    how: str = ""
    fixed: str = ""


@dataclass(frozen=True, slots=True)
class Joint:
    """What is welded."""

    type: str = ""
    leg: Quantity | None = None
    length: Quantity | None = None
    plate_grade: str = ""
    plate_thickness: Quantity | None = None
    plate_heat: str = ""
    wire_class: str = ""
    wire_diameter: Quantity | None = None
    process: str = ""
    position: str = ""


@dataclass(frozen=True, slots=True)
class Held:
    """A setting kept the same and recorded."""

    name: str
    unit: str
    target: float
    tolerance: float | None = None
    label: str = ""

    @property
    def title(self) -> str:
        """Label for eyes."""
        return self.label or self.name.replace("_", " ")


@dataclass(frozen=True, slots=True)
class Claim:
    """Someone else's statement that the trial is held against.

    Attributes
    ----------
    level, reference
        The two levels compared, from ``compare = "co2 / mix"`` (ratio) or ``"co2 - mix"``.
    value
        The claimed ratio, or the claimed difference in the response's unit.
    ratio
        True for a ratio.
    """

    says: str
    response: str
    level: str
    reference: str
    value: float
    ratio: bool = True
    source: str = ""


@dataclass(frozen=True, slots=True)
class Design:
    """How the trial is laid out, as asked for; None means "work it out".

    Attributes
    ----------
    runs
        Combinations in a two-level fraction (4, 8, 16, 32 or 64) or in a Plackett-Burman design
        (12, 20 or 24).
    generators
        Generators of a fraction, such as ``travel = voltage * wire_feed``; empty for the
        minimum-aberration ones.
    fold_over
        ``all`` (every sign turned) or a factor whose sign alone is turned in the second half.
    star
        Where the star points of a central composite design lie.
    best_for
        What an optimal design is best for.
    terms
        Terms of the model beyond `model`, such as ``gas:voltage:travel``.
    """

    kind: DesignKind = "factorial"
    model: Model = "two-factor"
    replicates: int | None = None
    centre_points: int = 0
    rounds: int | None = None
    set_ups: int | None = None
    runs: int | None = None
    generators: tuple[str, ...] = ()
    fold_over: str | None = None
    star: Star | None = None
    best_for: BestFor = "effects"
    terms: tuple[str, ...] = ()

    @property
    def free(self) -> bool:
        """Whether coupons may be welded at settings between and beyond the levels of the file."""
        return self.kind not in ("factorial", "fraction")


@dataclass(frozen=True, slots=True)
class Adopted:
    """Where data not planned here came from.

    Attributes
    ----------
    file, sha256
        Name and fingerprint of the file that was adopted.
    rows
        Rows it held.
    setup, block, coupon
        Columns that name the set-up, the block and the coupon; empty where there are none.
    decimal
        Decimal sign of its numbers.
    coded
        Whether numeric factors are coded already and used unchanged.
    """

    file: str
    sha256: str
    rows: int
    setup: str = ""
    block: str = ""
    coupon: str = ""
    decimal: Literal[".", ","] = "."
    coded: bool = False


@dataclass(frozen=True, slots=True)
class Budget:
    """What can be afforded.  Minutes, hours, and money in `currency`.

    `cost_coupon` is plate, wire and all; without it `cost_plate` is the plate of one coupon and
    `cost_wire_kg` the price of a kilogram of wire.
    """

    coupons: int | None = None
    spare: int = 0
    warm_up: int = 0
    confirm: int = 0
    minutes_coupon: float | None = None
    minutes_setup: float | None = None
    minutes_reading: float | None = None
    hours_per_day: float | None = None
    cost_coupon: float | None = None
    cost_plate: float | None = None
    cost_wire_kg: float | None = None
    cost_setup: float | None = None
    currency: str = ""
    arc_s_coupon: float | None = None
    purge_s: float | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """How the order is drawn."""

    shuffle: Literal["seal"] = "seal"
    seed: int | None = None
    block: str | None = None
    first_at_most: int | None = None
    drift_watch: str | None = None


@dataclass(frozen=True, slots=True)
class Blind:
    """Who must not know the gas while reading; `guess`: whether they write down what they think."""

    who: tuple[str, ...] = ()
    reader: str = ""
    codes: bool = False
    open_when: Literal["all-results-in", "any-time"] = "all-results-in"
    guess: bool = False


@dataclass(frozen=True, slots=True)
class Rules:
    """Rules fixed beforehand, quoted word for word in the report.

    `adjust_for` names what was measured on each coupon and is adjusted for beside the answer.
    """

    confidence: float = 0.95
    lost: str = ""
    leave_out: str = ""
    reweld: str = ""
    stop: str = ""
    adjust_for: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LimitOnSettings:
    """A rule about settings; what breaks it is never welded."""

    rule: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Goal:
    """What "best" means.

    Attributes
    ----------
    best, toward
        The factor or the response to push, and which way.
    keep
        What every choice must keep, in words (`weldtrial.shared.goal.asked_share`).
    curves, pairs
        What the model holds beyond main effects, where ``design.model`` does not say.
    """

    best: str = ""
    toward: Literal["higher", "lower"] = "higher"
    keep: str = ""
    curves: bool = False
    pairs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Trial:
    """A whole trial file, read and checked.

    Attributes
    ----------
    earlier
        Counting coupons of the trials that this one follows, in welding order, their rounds and
        set-ups numbered on; none where it follows none.
    stamps_taken
        Every stamp of those trials, warm-ups and spares too: none is punched again.
    chosen
        The listed design as it was sealed, so that no search has to find it again; None before.
    source
        The parsed file as plain values, from which the seal is taken.
    lines
        Line number of each dotted key, such as ``response.0.margin``, for messages.
    """

    title: str
    factors: tuple[Factor, ...]
    responses: tuple[Response, ...]
    question: str = ""
    owner: str = ""
    welder: str = ""
    purpose: Purpose = "compare"
    units: Literal["metric", "us"] = "metric"
    fair: Fair = Fair()
    joint: Joint = Joint()
    held: tuple[Held, ...] = ()
    claims: tuple[Claim, ...] = ()
    design: Design = Design()
    budget: Budget = Budget()
    order: Order = Order()
    blind: Blind = Blind()
    rules: Rules = Rules()
    nuisance: Mapping[str, Handling] = field(default_factory=dict)
    limits: tuple[LimitOnSettings, ...] = ()
    goal: Goal | None = None
    adopted: Adopted | None = None
    looks: Looks | None = None
    gauge: Gauge | None = None
    follows: Follows | None = None
    prices: Prices | None = None
    earlier: tuple[Run, ...] = ()
    stamps_taken: frozenset[str] = frozenset()
    chosen: Mapping[str, Any] | None = None
    source: Mapping[str, Any] = field(default_factory=dict)
    lines: Mapping[str, int] = field(default_factory=dict)

    @property
    def varied(self) -> tuple[Factor, ...]:
        """Factors with more than one level."""
        return tuple(factor for factor in self.factors if factor.varied)

    @property
    def hard(self) -> tuple[Factor, ...]:
        """Varied factors that end a set-up when changed."""
        return tuple(factor for factor in self.varied if factor.hard_to_change)

    @property
    def easy(self) -> tuple[Factor, ...]:
        """Varied factors changed freely between coupons."""
        return tuple(factor for factor in self.varied if not factor.hard_to_change)

    @property
    def to_read(self) -> tuple[Response, ...]:
        """Responses that somebody reads; the others are worked out from them and the log."""
        return tuple(one for one in self.responses if one.worked_out is None)

    @property
    def deciding(self) -> Response:
        """The response that decides (the lowest rank, the first of equals)."""
        return min(self.responses, key=lambda response: response.rank)

    @property
    def balanced_over(self) -> tuple[Factor, ...]:
        """Varied factors that nobody asks about: they are there to be balanced over.

        Those that ``[nuisance]`` calls blocked, and the columns of a Latin square.
        """
        square = self.varied[1:] if self.design.kind == "latin-square" else ()
        return tuple(
            one for one in self.varied if one in square or self.nuisance.get(one.name) == "blocked"
        )

    def factor(self, name: str) -> Factor:
        """Return the factor called `name`."""
        return next(factor for factor in self.factors if factor.name == name)

    def response(self, name: str) -> Response:
        """Return the response called `name`."""
        return next(response for response in self.responses if response.name == name)
