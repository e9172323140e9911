"""What is asked of `weldtrial.analysis.optimum` and what it answers: records alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from weldtrial.analysis.chosen_best import BestGap, Settling
from weldtrial.analysis.confirm_records import Confirmation
from weldtrial.analysis.joint import Held, Joint, Limit
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.next_coupon import Ahead
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.settings_region import Region, Seen
from weldtrial.analysis.surface import Surface
from weldtrial.analysis.window import Choice, Count, Expected, Step, Window
from weldtrial.shared.limit_rules import Rule
from weldtrial.shared.weld_cost import WeldCost


@dataclass(frozen=True, slots=True)
class Asked:
    """How to look.

    Attributes
    ----------
    levels
        Categories held at one level.
    fixed
        Numeric factors held at one setting, in their unit.
    held
        How well the welder holds settings, in place of the tolerances that the trial file states.
    exactly
        Factors taken as held exactly, whatever the trial file states.
    limits
        Limits asked for besides those of the file, or in their place.
    keep
        Share of coupons that must meet every limit; None for what the file says.
    beyond
        Whether to speak of settings outside what was welded.
    """

    levels: Mapping[str, str] = field(default_factory=dict)
    fixed: Mapping[str, float] = field(default_factory=dict)
    held: tuple[Held, ...] = ()
    exactly: tuple[str, ...] = ()
    limits: tuple[Limit, ...] = ()
    keep: float | None = None
    beyond: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """What a window is made from.

    Attributes
    ----------
    measured
        The coupons of each surface, in their order.
    skipped
        Responses that take no part, with the reason in words.
    afterwards
        Limits that are not in the sealed question.
    """

    surfaces: tuple[Surface, ...]
    measured: tuple[tuple[Observation, ...], ...]
    joint: Joint
    limits: tuple[Limit, ...]
    seen: Seen
    rules: tuple[Rule, ...]
    skipped: tuple[tuple[str, str], ...] = ()
    afterwards: tuple[str, ...] = ()

    def surface(self, response: str) -> Surface:
        """Return the surface of one response."""
        return next(one for one in self.surfaces if one.response == response)

    def coupons(self, response: str) -> tuple[Observation, ...]:
        """Return the coupons of one response."""
        names = [one.response for one in self.surfaces]
        return self.measured[names.index(response)]


@dataclass(frozen=True, slots=True)
class Shown:
    """A place with all that is said of it.

    Attributes
    ----------
    beyond
        Whether it lies outside what was welded.
    coupons, set_ups
        How many coupons, in how many set-ups, were welded at its levels.
    cost
        Of a metre of weld; None where the trial has no prices.
    outside
        Factors that lie past every setting welded at these levels.
    on_edge
        Whether the settings together lie on the edge of what was welded.
    strays
        Factors held so loosely that welds pass every setting welded: there the chance is drawn out.
    """

    choice: Choice
    expected: tuple[Expected, ...]
    beyond: bool
    coupons: int = 0
    set_ups: int | None = None
    cost: WeldCost | None = None
    outside: tuple[str, ...] = ()
    on_edge: bool = False
    strays: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Confirming:
    """The setting that coupons were welded again to confirm, beside the best of the map.

    Attributes
    ----------
    found
        Whether the sealed prediction was met, in words too.
    shown
        What the map says of that setting; None where it says nothing there.
    is_best
        Whether it is the setting recommended.
    as_sealed
        Whether limits and share are now those of the sealed prediction: what was met for 8 in 10
        says nothing of 9 in 10, nor of a limit that was typed.
    """

    found: Confirmation
    shown: Shown | None
    is_best: bool
    as_sealed: bool = True

    @property
    def confirmed(self) -> bool:
        """Whether a prediction that was sealed first was met there."""
        return self.found.confirmed

    @property
    def of_best(self) -> bool:
        """Whether the best setting is confirmed for what is asked of it now."""
        return self.is_best and self.confirmed and self.as_sealed


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far one setting may move, the others held, before the chance falls below what was asked.

    Attributes
    ----------
    low, high
        In the factor's unit.
    low_open, high_open
        True where nothing beyond that end was welded, so that it may reach farther.
    """

    factor: str
    unit: str
    low: float
    high: float
    low_open: bool
    high_open: bool


@dataclass(frozen=True, slots=True)
class Pick:
    """The best of one combination of categories; None where there is none."""

    levels: Mapping[str, str]
    on_average: Shown | None
    best: Shown | None
    likeliest: Shown
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Duel:
    """Two levels of a category, each at its own best settings, in one response.

    Attributes
    ----------
    settling
        Fresh set-ups of both that would tell them apart by the margin; None without a margin, or
        where twelve of each would not.
    by_setups
        Whether set-ups are the units; otherwise `settling` counts coupons.
    """

    gap: BestGap
    margin: float | None
    settling: Settling | None
    by_setups: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Optimum:
    """Everything that is said of the settings.

    Attributes
    ----------
    aimless
        Whether the file has no goal, so that the deciding response is pushed.
    picks
        One for every combination of categories, in the order of the file.
    recommended
        The best of all; None where nothing reaches the chance asked for.
    on_average
        What the averages alone would choose.
    held_chance
        The chance at the recommended place with every setting held exactly, where some are not.
    front
        Places not beaten in goal and chance together (and cost, where it is known).
    costs
        Of a metre of weld at every place, shape (m,), None without prices.
    ahead
        The draws behind what the next coupon should read.
    confirming
        The setting that this trial's own coupons confirm; None where none do.
    """

    asked: Asked
    fitted: Fitted
    region: Region
    window: Window
    aimless: bool
    counts: tuple[Count, ...]
    picks: tuple[Pick, ...]
    recommended: Shown | None
    on_average: Shown | None
    steps: tuple[Step, ...]
    tolerances: tuple[Tolerance, ...]
    held_chance: float | None
    front: tuple[Choice, ...]
    duels: tuple[Duel, ...]
    ahead: Ahead
    costs: Floats | None = None
    confirming: Confirming | None = None

    @property
    def confirmed(self) -> bool:
        """Whether the setting recommended is one whose prediction was met."""
        return self.confirming is not None and self.confirming.of_best
