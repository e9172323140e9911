"""What a plan shows of passes or grades, by the rule that the analysis will judge them by.

- Passes, each coupon set up anew: exact, over every outcome, by the tests that the verdict's
  interval inverts; above `LARGE` coupons of each the normal approximation of the same score test.
- Passes and grades by set-up: pretend trials of the layout, the same draws for every plan.
- Grades, each coupon set up anew: Whitehead's formula for the proportional-odds model; below
  `FEWEST` coupons in all, where ranks stand in, pretend trials.

References
----------
Farrington, C. P. & Manning, G. (1990). *Statistics in Medicine* 9:1447-1454 (the score test).
Whitehead, J. (1993). Sample size calculations for ordered categorical data. *Statistics in
Medicine* 12:2257-2271.  Skellam (1948), *J. R. Stat. Soc. B* 10:257-261 (beta-binomial).  Citations
from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from math import exp, log

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis.budget import reachable_p
from weldtrial.analysis.counted_many import Rule, outcome_places, placed_setups, setup_places
from weldtrial.analysis.counted_many import newcombe_places as ranked
from weldtrial.analysis.counted_pretend import changed_shares, draw_alike, graded, planned_loss
from weldtrial.analysis.judge import CODES
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.ordinal import FEWEST
from weldtrial.analysis.power import CHANCE, Spread
from weldtrial.analysis.precision import ALPHA
from weldtrial.analysis.pretend import stream
from weldtrial.analysis.pretend_bench import ANSWERS
from weldtrial.analysis.proportions import outcome_chances
from weldtrial.analysis.shape import Shape
from weldtrial.shared.responses import Ask, Foreseen, Response

LARGE = 80
"""Coupons of each level beyond which outcomes are no longer listed."""
TRIALS = 4000
"""Pretend trials behind a chance by set-up: good to 1.6 in 100 (95 %)."""
SEED = 19
MOST_ODDS = 1000.0
MOST_TOLD = 2000
"""Coupons of each level beyond which nothing is sought."""
_STEPS = 18

Exactness = str


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

    @property
    def biggest(self) -> float:
        """The largest loss there can be: all that pass, or the odds a thousandth."""
        if self.graded:
            return log(MOST_ODDS)
        passing = self.foreseen.passing
        return 100 * (passing if self.response.sign > 0 else 1 - passing)

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

        low, high = 0.0, self.biggest
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
            return _approximate(many, rule, new, old)
        shown = answers(outcome_places(many, many, rule), rule.ask)
        chances = outcome_chances(many, np.array([new, old]))
        return min(1.0, float(chances[:, 0] @ shown @ chances[:, 1]))

    def _graded_apart(self, many: int, rule: Rule, change: float) -> float:
        new = changed_shares(self.response, self.foreseen, change)
        if 2 * many >= FEWEST:
            return whitehead(many, many, new, self.foreseen.shares, rule.two_sided)
        drawn = stream(SEED, 2).random((TRIALS, 2 * many))
        is_new = np.arange(2 * many) < many
        bounds = _bounds_of(new, self.foreseen.shares, is_new)
        found = ranked(graded(bounds, drawn), is_new, rule)
        return float(answers(found, "difference").mean())

    def _by_setups(self, shape: Shape, rule: Rule, change: float) -> float:
        key = (shape.setups_per_level or 0, shape.per_setup, _rounds(shape))
        smallest = reachable_p(shape) if shape.levels == 2 and shape.others == 1 else None
        new = changed_shares(self.response, self.foreseen, change)
        if self.graded:
            found = _graded_setups(*key, new, self.foreseen, rule)
        else:
            found = _passing_setups(*key, new[1], self.foreseen, rule, smallest)
        return float(answers(found, rule.ask).mean())


def answers(places: NDArray[np.intp], ask: Ask) -> NDArray[np.bool_]:
    """Return which verdicts show what is asked."""
    shows = np.array([code in ANSWERS[ask] for code in CODES])
    return np.asarray(shows[places])


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


# ---------------------------------------------------------------------- each coupon by itself


def _approximate(many: int, rule: Rule, new: float, old: float) -> float:
    """Chance by the normal approximation of the score test (Farrington & Manning 1990)."""
    spread = ((new * (1 - new) + old * (1 - old)) / many) ** 0.5

    def beyond(margin: float, alpha: float, sign: float) -> float:
        """Chance that the difference is shown to lie above -margin (below it, sign -1)."""
        apart = sign * (new - old) + margin
        middle = min(1.0, max(0.0, (new + old - sign * margin) / 2))
        other = min(1.0, max(0.0, middle + sign * margin))
        held = ((middle * (1 - middle) + other * (1 - other)) / many) ** 0.5
        return float(special.ndtr((apart + special.ndtri(alpha) * held) / max(spread, 1e-12)))

    if rule.ask == "difference" or rule.margin is None:
        return min(1.0, sum(beyond(0.0, rule.two_sided / 2, sign) for sign in (1.0, -1.0)))
    if rule.ask == "no-worse":
        return beyond(rule.margin, rule.one_sided, float(rule.sign))
    both = [beyond(rule.margin, rule.one_sided, sign) for sign in (1.0, -1.0)]
    return max(0.0, sum(both) - 1)


def whitehead(
    new: int,
    reference: int,
    shares: tuple[float, ...],
    shares_reference: tuple[float, ...],
    alpha: float = ALPHA,
) -> float:
    """Return the chance that a proportional-odds model shows two levels to differ, two-sided.

    Parameters
    ----------
    new, reference
        Independent coupons of each level.
    shares, shares_reference
        Of each grade, worst first.

    References
    ----------
    Whitehead (1993), *Statistics in Medicine* 12:2257-2271: the information on the log odds ratio
    is n m N (1 - sum of the cubed mean shares) / (3 (N + 1)^2), n and m of N = n + m coupons.
    """
    total = new + reference
    mean = (np.array(shares) + np.array(shares_reference)) / 2
    information = new * reference * total / (3 * (total + 1) ** 2) * (1 - float((mean**3).sum()))
    apart = abs(log_odds(shares, shares_reference)) * information**0.5
    z = float(special.ndtri(1 - alpha / 2))
    return float(special.ndtr(apart - z) + special.ndtr(-apart - z))


def log_odds(shares: tuple[float, ...], shares_reference: tuple[float, ...]) -> float:
    """Return the log odds ratio of two sets of shares, averaged over the cuts that have one."""
    cuts = [np.cumsum(one)[:-1] for one in (shares_reference, shares)]
    inside = (cuts[0] > 0) & (cuts[0] < 1) & (cuts[1] > 0) & (cuts[1] < 1)
    if not inside.any():
        return 0.0
    return float((special.logit(cuts[0][inside]) - special.logit(cuts[1][inside])).mean())


def _bounds_of(
    new: tuple[float, ...], reference: tuple[float, ...], is_new: NDArray[np.bool_]
) -> Floats:
    ends = [np.minimum(np.cumsum(one)[:-1], 1.0) for one in (reference, new)]
    return np.array([ends[int(one)] for one in is_new.tolist()])


# ---------------------------------------------------------------------- by set-up

_Rounds = tuple[int, ...] | None


def _rounds(shape: Shape) -> _Rounds:
    """Return the round of every set-up of one level, None where they stand in none."""
    if shape.free or shape.rounds < 2:
        return None
    each = shape.per_round * shape.others
    return tuple(one for one in range(shape.rounds) for _ in range(each))


@cache
def _drawn_setups(setups: int) -> Floats:
    return stream(SEED, 1, setups).random((TRIALS, 2 * setups))


def _passing_setups(
    setups: int,
    each: int,
    rounds: _Rounds,
    passing: float,
    foreseen: Foreseen,
    rule: Rule,
    smallest_p: float | None,
) -> NDArray[np.intp]:
    drawn = _drawn_setups(setups)
    passed = np.concatenate(
        [
            np.searchsorted(up_to(each, share, foreseen.alike), part, side="right")
            for share, part in ((passing, drawn[:, :setups]), (foreseen.passing, drawn[:, setups:]))
        ],
        axis=1,
    ).astype(float)
    return setup_places(
        passed,
        np.full(2 * setups, float(each)),
        np.arange(2 * setups) < setups,
        None if rounds is None else np.array(rounds * 2),
        rule,
        smallest_p,
    )


def up_to(each: int, passing: float, alike: float) -> Floats:
    """Return the chances that at most 0, 1, ... each - 1 of a set-up's coupons pass."""
    places = np.arange(each + 1)
    if alike >= 1 or passing in (0.0, 1.0):
        ends = np.where(places == 0, 1 - passing, 0.0) + np.where(places == each, passing, 0.0)
        return np.asarray(np.cumsum(ends)[:-1])
    ways = special.gammaln(each + 1) - special.gammaln(places + 1)
    ways -= special.gammaln(each - places + 1)
    if alike <= 0:
        logs = places * log(passing) + (each - places) * log(1 - passing)
    else:
        a, b = passing * (1 - alike) / alike, (1 - passing) * (1 - alike) / alike
        logs = special.betaln(places + a, each - places + b) - special.betaln(a, b)
    return np.asarray(np.cumsum(np.exp(ways + logs))[:-1])


def _graded_setups(
    setups: int,
    each: int,
    rounds: _Rounds,
    new: tuple[float, ...],
    foreseen: Foreseen,
    rule: Rule,
) -> NDArray[np.intp]:
    """Ranks take no rounds out, so `rounds` changes nothing."""
    setup = np.repeat(np.arange(2 * setups), each)
    is_new = setup < setups
    drawn = _drawn_grades(setups, each, foreseen.alike)
    values = graded(_bounds_of(new, foreseen.shares, is_new), drawn)
    return placed_setups(values, is_new, setup, rule)


@cache
def _drawn_grades(setups: int, each: int, alike: float) -> Floats:
    setup = np.repeat(np.arange(2 * setups), each)
    return draw_alike(setup, alike, TRIALS, stream(SEED, 3, setups, each))


def as_odds(size: float) -> float:
    """Return a loss in log odds as how many times smaller the odds become."""
    return exp(size)
