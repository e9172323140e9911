"""Findings: what an analysis found, as frozen records.  Numbers at full precision."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from weldtrial.analysis.confirm_records import Confirmation
from weldtrial.analysis.count_records import NO_COUNTS, Counts, HowCounted, Places
from weldtrial.analysis.guess_record import Guesses
from weldtrial.analysis.levels import ONCE, Levels
from weldtrial.analysis.scatter_rows import ScatterRow, WouldBuy
from weldtrial.analysis.undo_records import Undo
from weldtrial.shared.look_state import FIXED, Look

VerdictCode = Literal[
    "cannot_tell",
    "depends_on",
    "difference_shown",
    "not_settled",
    "worse_beyond_margin",
    "worse_within_margin",
    "worse_margin_unsettled",
    "better_beyond_margin",
    "better_within_margin",
    "better_margin_unsettled",
    "not_worse",
    "equivalent",
    "at_limit",
]
Strength = Literal["shown", "suggests"]
GradeCode = Literal["strong", "fair", "weak", "anecdote", "cannot_be_judged"]


@dataclass(frozen=True, slots=True)
class TermTestRow:
    """An F test of one model term given all the others."""

    term: str
    df_num: float
    df_den: float
    statistic: float
    p: float


@dataclass(frozen=True, slots=True)
class EstimateRow:
    """An effect or a coefficient with its 95 % interval; all None where it has no single value."""

    term: str
    estimate: float | None
    se: float | None
    df: float | None
    ci_low: float | None
    ci_high: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class MeanRow:
    """Adjusted mean of a level, the other factors at their coded centre."""

    factor: str
    level: str
    mean: float
    ci_low: float
    ci_high: float


@dataclass(frozen=True, slots=True)
class Variance:
    """Variances in squared units, raw (possibly negative); None where there is no such level.

    `coupon` excludes the readings' share.
    """

    setup: float | None
    coupon: float | None
    reading: float | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """A sentence chosen by rule.

    Attributes
    ----------
    code, strength
        See the verdict table of the statistics page; `strength` is None where nothing is shown.
    words
        The head sentence, ready to print.
    lines
        Further sentences: the numbers, what they rule out, what would settle it.
    """

    code: VerdictCode | None
    strength: Strength | None
    words: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ClaimFinding:
    """What the interval says of someone's claim."""

    says: str
    source: str
    value: float
    estimate: float
    low: float
    high: float
    contradicted: bool
    words: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """A level against its reference, in the response's unit; `difference` is level - reference.

    `margin` is in units (a percent margin at the reference mean); `ratio` is level / reference
    with a Fieller interval, None where the interval is not finite.  Numbers are None only where
    the verdict is ``cannot_tell``.

    Of coupons that pass or fail the difference is in points of per cent and the ratio one of
    shares; of grades see `HowCounted`, None of numbers.

    Where a trial welds both readings of fair, `reading` is ``own`` or ``same`` and `at` says it:
    ``at its own volts``; both are empty elsewhere.
    """

    factor: str
    level: str
    reference: str
    difference: float | None
    percent: float | None
    se: float | None
    df: float | None
    ci_low: float | None
    ci_high: float | None
    ci90_low: float | None
    ci90_high: float | None
    p: float | None
    p_adjusted: float | None
    margin: float | None
    margin_percent: float | None
    ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    verdict: Verdict
    claims: tuple[ClaimFinding, ...] = ()
    counted: HowCounted | None = None
    reading: str = ""
    at: str = ""

    @property
    def said_level(self) -> str:
        """The level with its reading of fair, where both are welded."""
        return f"{self.level} {self.at}".strip()


@dataclass(frozen=True, slots=True)
class Survives:
    """What both readings of fair show of one response.

    Attributes
    ----------
    statements
        Stable names of what is shown under both, the strongest only: ``worse_beyond_margin``,
        ``worse``, ``better_beyond_margin``, ``better``, ``equal``, ``not_worse``; empty when
        nothing is.
    strength
        The weaker of the two, None when nothing survives.
    words
        The sentence, and whether the two readings speak against each other.
    """

    statements: tuple[str, ...]
    strength: Strength | None
    words: str


@dataclass(frozen=True, slots=True)
class Note:
    """A warning with a stable code."""

    code: str
    words: str


@dataclass(frozen=True, slots=True)
class Check:
    """One check of the analysis: passed, failed, or None when it could not be made."""

    name: str
    passed: bool | None
    words: str


@dataclass(frozen=True, slots=True)
class Alternative:
    """The main comparison looked at another way, from `coupons` coupons."""

    name: str
    words: str
    difference: float
    ci_low: float
    ci_high: float
    df: float
    p: float
    code: VerdictCode | None
    coupons: int = 0


@dataclass(frozen=True, slots=True)
class CouponValue:
    """One coupon as the analysis saw it (its readings averaged).

    `beyond` is ``above`` or ``below`` where `value` is a gauge limit that it went past,
    ``between`` where `value` is the middle of two stops.
    """

    stamp: str
    run: int | None
    round: int | None
    setup: int | None
    levels: Mapping[str, str]
    value: float
    fitted: float
    residual: float
    readings: tuple[float, ...]
    beyond: str = ""


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """Lack of fit against pure error; all None where there is no pure error."""

    df_num: float | None = None
    df_den: float | None = None
    statistic: float | None = None
    p: float | None = None


@dataclass(frozen=True, slots=True)
class LeastSquares:
    """The answer if every coupon had its own bottle change; stands beside a set-up analysis."""

    tests: tuple[TermTestRow, ...]
    comparisons: tuple[Alternative, ...] = ()


@dataclass(frozen=True, slots=True)
class ResponseFindings:
    """Everything found about one response.

    Attributes
    ----------
    method
        ``kenward-roger`` (set-ups random) or ``least-squares``.
    source
        Published source of the method.
    n, setups_total
        Coupons used and set-ups used.
    curvature
        Test of the centre points against the plane of the corners, None without them.
    round_gaps
        Level minus reference for each round, keyed by round, where both were welded.
    shuffle_p, shuffle_orders
        Re-randomisation p under the restriction of the draw and the number of orders, or None.
    counts, places
        Passes or grades by level; where coupons broke, None where nobody wrote it down.
    """

    name: str
    title: str
    unit: str
    kind: str
    rank: int
    method: str
    source: str
    n: int
    setups_total: int | None
    tests: tuple[TermTestRow, ...]
    effects: tuple[EstimateRow, ...]
    coefficients: tuple[EstimateRow, ...]
    means: tuple[MeanRow, ...]
    variance: Variance
    comparisons: tuple[Comparison, ...]
    lack_of_fit: LackOfFit
    r_squared: float | None
    least_squares: LeastSquares | None
    warnings: tuple[Note, ...] = ()
    checks: tuple[Check, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    coupons: tuple[CouponValue, ...] = ()
    round_gaps: Mapping[int, float] = field(default_factory=dict)
    shuffle_p: float | None = None
    shuffle_orders: int | None = None
    curvature: TermTestRow | None = None
    undo: Undo | None = None
    counts: Counts = NO_COUNTS
    places: Places | None = None
    scatter: tuple[ScatterRow, ...] = ()
    would_buy: WouldBuy | None = None
    guesses: Guesses | None = None
    survives: Survives | None = None


@dataclass(frozen=True, slots=True)
class Grade:
    """How far the evidence can be trusted, apart from the verdict.

    Attributes
    ----------
    start
        The grade before steps down, with `why` it starts there.
    pluses, steps_down
        What speaks for it; each serious gap that cost a step.
    unanswered
        Questions that the folder cannot answer.
    """

    code: GradeCode
    start: GradeCode
    why: str
    pluses: tuple[str, ...] = ()
    steps_down: tuple[str, ...] = ()
    unanswered: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SetAside:
    """A coupon or reading that is not used, and why."""

    stamp: str
    why: str
    response: str = ""


@dataclass(frozen=True, slots=True)
class Flow:
    """Planned, welded, tested and used, by level of the compared factor (``""`` = all)."""

    level: str
    planned: int
    welded: int
    tested: Mapping[str, int]
    used: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Findings:
    """What the trial shows.

    Attributes
    ----------
    seal_state
        ``sealed``, ``amended``, ``late`` or ``none``.
    scope
        The compulsory scope sentence.
    codes_open
        False while the gases are still P and Q; `responses` is then empty and `spreads` holds
        checks and spreads only.
    spreads
        For each response: words about readings, scatter and checks that tell nothing of the gas.
    look
        Which of the planned looks this is; counts above are of the rounds that it uses.
    look_lines
        What is said of the look, before any answer; empty where there is nothing to say.
    may_stop
        Whether an early look (or the one the trial stopped at) settles the deciding response; None
        where that does not arise.
    levels
        Nominal error rates that a single comparison is read with at this look.
    """

    trial: str
    question: str
    seal: str
    seal_state: Literal["sealed", "amended", "late", "none"]
    adopted: bool
    codes_open: bool
    grade: Grade
    coupons: int
    used: int
    set_aside: tuple[SetAside, ...]
    responses: tuple[ResponseFindings, ...]
    scope: str
    at: str
    flow: tuple[Flow, ...] = ()
    spreads: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    look: Look = FIXED
    look_lines: tuple[str, ...] = ()
    may_stop: bool | None = None
    levels: Levels = ONCE
    confirmation: Confirmation | None = None  # coupons that confirm, against what was predicted
