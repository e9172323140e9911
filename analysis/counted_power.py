"""What a plan shows of passes or grades, by the rule that the analysis will judge them by.

- Passes, each coupon set up anew: exact, over every outcome, by the tests that the verdict's
  interval inverts; above `LARGE` coupons of each the normal approximation of the same score test.
- Passes and grades by set-up: pretend trials of the layout, the same draws for every plan.
- Grades, each coupon set up anew: Whitehead's formula for the proportional-odds model; below
  `FEWEST` coupons in all, where ranks stand in, pretend trials.

Sources stand in `counted_chances`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from weldtrial.analysis.budget import reachable_p
from weldtrial.analysis.counted_chances import (
    SEED,
    TRIALS,
    Rounds,
    answers,
    approximate,
    bounds_of,
    graded_setups,
    passing_setups,
    whitehead,
)
from weldtrial.analysis.counted_many import Rule, outcome_places
from weldtrial.analysis.counted_many import newcombe_places as ranked
from weldtrial.analysis.counted_pretend import biggest_loss, changed_shares, graded, planned_loss
from weldtrial.analysis.needs import Needs
from weldtrial.analysis.ordinal import FEWEST
from weldtrial.analysis.power import CHANCE, Spread
from weldtrial.analysis.precision import ALPHA
from weldtrial.analysis.pretend import stream
from weldtrial.analysis.proportions import outcome_chances
from weldtrial.analysis.shape import Shape
from weldtrial.shared.orders import usual_limit
from weldtrial.shared.responses import Ask, Foreseen, Response

ASKS: tuple[Ask, ...] = ("difference", "no-worse", "equal-enough")
LARGE = 150
"""Coupons of each level beyond which outcomes are no longer listed."""
MOST_TOLD = 2000
"""Coupons of each level beyond which nothing is sought."""
MOST_COUNTED = 60
"""Set-ups beyond which the smallest p of dealing them again is as good as none."""
_STEPS = 12


@dataclass(frozen=True, slots=True)
class CountedAim:
    """Passes or grades of one response, as planned with.

    Attributes
    ----------
    response
        As the file has it; its margin is a share.
    foreseen
        What is expected today.
    """

    response: Response
    foreseen: Foreseen

    @property
    def graded(self) -> bool:
        """Whether coupons are graded."""
        return self.response.kind == "graded"

    @property
    def loss(self) -> float | None:
        """The loss asked about: points of per cent, or log odds; None without a margin."""
        return planned_loss(self.response, self.foreseen)

    @property
    def spread(self) -> Spread:
        """Scatter of one coupon as a number, 0 to 100 or by grade: to order plans by, no more."""
        places = np.arange(len(self.foreseen.shares)) * (1.0 if self.graded else 100.0)
        mean = float(places @ self.foreseen.shares)
        variance = float((places - mean) ** 2 @ self.foreseen.shares)
        alike = self.foreseen.alike
        return Spread((variance * (1 - alike)) ** 0.5, (variance * alike) ** 0.5)

    def shares_after(self, loss: float) -> tuple[float, ...]:
        """Return the shares of a level that is worse by `loss`, worst grade first."""
        return changed_shares(self.response, self.foreseen, -self.response.sign * loss)

    def chance(
        self, shape: Shape, ask: Ask | None = None, loss: float | None = None
    ) -> float | None:
        """Return the chance to show what is asked, None where nothing can be asked.

        Parameters
        ----------
        ask
            Another question than the response's own.  ``no-worse`` and ``equal-enough`` are of
            levels truly equal; ``difference`` is of a true `loss`.
        loss
            In points or log odds; the planned one unless given.
        """
        asked = ask or self.response.ask
        size = self.loss if loss is None else loss
        if size is None or (self.graded and asked != "difference"):
            return None
        if asked == "difference":
            return self._shown(shape, asked, -self.response.sign * size)
        return self._shown(shape, asked, 0.0)

    def gap(self, shape: Shape, target: float = CHANCE) -> float | None:
        """Return the smallest loss shown with a chance (points, or log odds), None beyond reach."""

        def chance(size: float) -> float:
            return self._shown(shape, "difference", -self.response.sign * size)

        low, high = 0.0, biggest_loss(self.response, self.foreseen)
        if shape.df < 1 or chance(high) < target:
            return None
        for _ in range(_STEPS):
            middle = (low + high) / 2
            low, high = (low, middle) if chance(middle) >= target else (middle, high)
        return high

    def needed(self, shape: Shape, ask: Ask, chance: float) -> int | None:
        """Return the set-ups of each level (coupons of each combination) that reach a chance.

        The smallest number from which the next one reaches it as well: exact chances go up and
        down from one number to the next.  None beyond `MOST_TOLD` coupons of each.
        """

        def enough(units: int) -> bool:
            found = self.chance(shape.resized(units), ask)
            return found is not None and found >= chance

        return _smallest(enough, shape) if self.chance(shape, ask) is not None else None

    def _shown(self, shape: Shape, ask: Ask, change: float) -> float:
        rule = self._rule(shape, ask)
        if shape.df < 1 or shape.coupons_per_level < 1:
            return 0.0
        apart = not shape.by_setups or shape.per_setup == 1
        many = shape.coupons_per_level
        if apart and self.graded:
            return self._graded_apart(many, rule, change)
        if apart:
            return self._passes_apart(many, rule, change)
        return self._by_setups(shape, rule, change)

    def _rule(self, shape: Shape, ask: Ask) -> Rule:
        margin = self.response.margin
        pairs = {
            "single": 1,
            "reference": shape.levels - 1,
            "pairs": shape.levels * (shape.levels - 1) // 2,
        }[shape.family]
        alpha = ALPHA / pairs
        return Rule(ask, self.response.sign, None if margin is None else margin.value, alpha, alpha)

    def _passes_apart(self, many: int, rule: Rule, change: float) -> float:
        new = changed_shares(self.response, self.foreseen, change)[1]
        old = self.foreseen.passing
        if many > LARGE:
            return approximate(many, rule, new, old)
        shown = answers(outcome_places(many, many, rule), rule.ask)
        chances = outcome_chances(many, np.array([new, old]))
        return min(1.0, float(chances[:, 0] @ shown @ chances[:, 1]))

    def _graded_apart(self, many: int, rule: Rule, change: float) -> float:
        new = changed_shares(self.response, self.foreseen, change)
        if 2 * many >= FEWEST:
            return whitehead(many, many, new, self.foreseen.shares, rule.two_sided)
        drawn = stream(SEED, 2).random((TRIALS, 2 * many))
        is_new = np.arange(2 * many) < many
        bounds = bounds_of(new, self.foreseen.shares, is_new)
        found = ranked(graded(bounds, drawn), is_new, rule)
        return float(answers(found, "difference").mean())

    def _by_setups(self, shape: Shape, rule: Rule, change: float) -> float:
        key = (shape.setups_per_level or 0, shape.per_setup, _rounds(shape))
        smallest = _smallest_p(shape)
        new = changed_shares(self.response, self.foreseen, change)
        if self.graded:
            found = graded_setups(*key, new, self.foreseen, rule)
        else:
            found = passing_setups(*key, new[1], self.foreseen, rule, smallest)
        return float(answers(found, rule.ask).mean())


def counted_needs(aim: CountedAim, shape: Shape, chance: float = CHANCE) -> Needs:
    """Work out what a plan shows of passes or grades, and what a chance would need.

    As `weldtrial.analysis.needs.needs`; losses are points of per cent, or log odds.
    """
    numbers: dict[Ask, tuple[int | None, int | None]] = {}
    for ask in ASKS:
        units = aim.needed(shape, ask, chance)
        sized = None if units is None else shape.resized(units)
        numbers[ask] = (None, None) if sized is None else (sized.setups_per_level, sized.coupons)
    loss = aim.loss
    return Needs(
        loss=loss,
        power=aim.chance(shape, "difference"),
        detectable=aim.gap(shape, chance),
        setups_per_gas=numbers["difference"][0],
        coupons=numbers["difference"][1],
        no_worse=aim.chance(shape, "no-worse"),
        no_worse_setups_per_gas=numbers["no-worse"][0],
        no_worse_coupons=numbers["no-worse"][1],
        equal_enough=aim.chance(shape, "equal-enough"),
        equal_enough_setups_per_gas=numbers["equal-enough"][0],
        equal_enough_coupons=numbers["equal-enough"][1],
        df=shape.df,
        chance=chance,
        half_loss_power=None if loss is None else aim.chance(shape, "difference", loss / 2),
    )


def if_more_alike(aim: CountedAim, shape: Shape) -> tuple[float, float | None, float | None] | None:
    """Return half as much likeness again (0.2 for none), with the chance and gap it leaves.

    None where coupons do not share set-ups, or nothing can be told anyhow.
    """
    if not shape.by_setups or shape.per_setup < 2 or shape.df < 1 or aim.foreseen.alike >= 1:
        return None
    alike = min(1.0, 1.5 * aim.foreseen.alike) if aim.foreseen.alike else 0.2
    other = replace(aim, foreseen=replace(aim.foreseen, alike=alike))
    return alike, other.chance(shape), other.gap(shape)


def how_worked_out(aim: CountedAim, shape: Shape) -> str:
    """Return by what method the chances of a plan are worked out: a word for JSON."""
    if shape.by_setups and shape.per_setup > 1:
        return "simulation"
    if not aim.graded:
        return "exact" if shape.coupons_per_level <= LARGE else "normal-approximation"
    return "whitehead" if 2 * shape.coupons_per_level >= FEWEST else "simulation"


def _smallest_p(shape: Shape) -> float | None:
    """Return the smallest p of dealing the set-ups again, None where the analysis does not."""
    if shape.levels != 2 or shape.others != 1:
        return None
    if (shape.setups or 0) > MOST_COUNTED:
        return 0.0
    limit = shape.first_at_most
    if limit is not None and 2 * limit < shape.rounds:
        # The plan was made larger than its file: the usual restriction is the one to expect.
        shape = replace(shape, first_at_most=usual_limit(shape.rounds))
    return reachable_p(shape)


def _smallest(enough: Callable[[int], bool], shape: Shape) -> int | None:
    step = shape.step
    per = max(1, shape.coupons_per_level // max(1, shape.setups_per_level or shape.replicates))
    most = max(step, MOST_TOLD // per)
    low, jump = 0, 2 * step if shape.by_setups and step == 1 else step
    while not (enough(low + jump) and enough(low + jump + step)):
        low += jump
        jump = max(step, (low // 2) // step * step)
        if low + jump > most:
            return None
    high = low + jump
    while high - low > step:
        middle = low + (high - low) // (2 * step) * step
        both = enough(middle) and enough(middle + step)
        low, high = (low, middle) if both else (middle, high)
    return high


def _rounds(shape: Shape) -> Rounds:
    """Return the round of every set-up of one level, None where they stand in none."""
    if shape.free or shape.rounds < 2:
        return None
    each = shape.per_round * shape.others
    return tuple(one for one in range(shape.rounds) for _ in range(each))
