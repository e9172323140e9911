"""Only the verdict's code of a counted comparison, fast enough to be asked hundreds of times.

What would undo an answer is found by asking again with a coupon more, less or otherwise.  The code
is that of the full comparison (`respond_passes`, `respond_grades`), without limits that nobody
reads, and remembered by what the comparison rests on: how many of each kind of coupon.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from math import comb

from weldtrial.analysis.context import Context
from weldtrial.analysis.counted import Counted, Pair, code_of
from weldtrial.analysis.dealt import Arrangements, arrangements, unit_of
from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.judge import Bounds, Evidence, judge
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.proportion_intervals import difference_above
from weldtrial.analysis.respond_grades import contrast_of, model_that_holds, ranked
from weldtrial.analysis.respond_passes import from_setups, setup_shares
from weldtrial.shared.problems import NotEstimable

Found = tuple[VerdictCode, float | None]
"""A code and its p, None where there is none."""


@dataclass(slots=True)
class Codes:
    """Codes of one comparison with other coupons, remembered.

    Attributes
    ----------
    asked
        How many different comparisons were worked out.
    """

    context: Context
    pair: Pair
    asked: int = 0
    _known: dict[Hashable, Found] = field(default_factory=dict)
    _dealt: dict[frozenset[int | None], Arrangements | None] = field(default_factory=dict)

    def of(self, observations: Sequence[Observation]) -> VerdictCode | None:
        """Return the code with these coupons, None where a level has none left."""
        found = self.found(observations)
        return None if found is None else found[0]

    def found(self, observations: Sequence[Observation]) -> Found | None:
        """Return the code and its p; of independent coupons that pass or fail Fisher's."""
        mine = self.pair.of(observations)
        if len(set(self.pair.new(mine))) < 2:
            return None
        unit = unit_of(self.pair.factor, mine)
        kinds = Counter(map(self.kind, observations))
        key = (unit, frozenset(kinds.items()))
        if key not in self._known:
            self.asked += 1
            self._known[key] = self._work_out(unit, mine, observations)
        return self._known[key]

    def kind(self, o: Observation) -> Hashable:
        """Return what coupons of one kind have in common: none is told from another."""
        levels = tuple(o.levels[factor.name] for factor in self.context.trial.varied)
        return levels, o.round, o.setup, o.value

    def _work_out(
        self, unit: str, mine: Sequence[Observation], observations: Sequence[Observation]
    ) -> Found:
        if self.pair.response.kind == "graded":
            return self._graded(unit, mine, observations)
        if unit == "coupons":
            counts = [
                (int(sum(values)), len(values))
                for side in (True, False)
                if (values := [o.value for o, new in zip(mine, self.pair.new(mine), strict=True)
                               if new is side])
            ]  # fmt: skip
            (one, of), (zero, of_reference) = counts
            key = ("counts", one, of, zero, of_reference)
            if key not in self._known:
                code = exact_code(self.pair, one, of, zero, of_reference)
                self._known[key] = code, fisher_p(one, of, zero, of_reference)
            return self._known[key]
        found = self._by_setups(mine, within=unit == "within set-ups")
        return code_of(self.pair, found), found.p

    def _by_setups(self, mine: Sequence[Observation], *, within: bool) -> Counted:
        try:
            found = setup_shares(self.pair, mine, within=within, dealt=None)
            if found.difference is None and not within and len(self.pair.factor.levels) == 2:
                dealt = self._deal(mine)
                found = setup_shares(self.pair, mine, within=within, dealt=dealt)
        except NotEstimable as error:
            return Counted(why=error.words)
        p = found.shuffle.p if found.shuffle else None
        return from_setups(self.pair, found, "", p, None)

    def _deal(self, mine: Sequence[Observation]) -> Arrangements | None:
        setups = frozenset(o.setup for o in mine)
        if setups not in self._dealt:
            self._dealt[setups] = arrangements(self.context, mine, self.pair.factor)
        return self._dealt[setups]

    def _graded(
        self, unit: str, mine: Sequence[Observation], observations: Sequence[Observation]
    ) -> Found:
        if unit == "coupons":
            fitted = model_that_holds(self.context.trial.varied, self.pair.factor, observations)
            if fitted is not None:
                # The profile interval leaves 0 out where the likelihood ratio refuses it.
                p = fitted[0].profile(contrast_of(fitted[1], self.pair)).p
                shown = p < 1 - self.pair.interval
                return ("difference_shown" if shown else "not_settled"), p
        units = None if unit == "coupons" else [o.setup or 0 for o in mine]
        return code_of(self.pair, ranked(self.pair, mine, units, None)), None


def exact_code(pair: Pair, one: int, of: int, zero: int, of_reference: int) -> VerdictCode:
    """Return the code of counts of independent coupons, by which side limits lie of what matters.

    Parameters
    ----------
    one, of, zero, of_reference
        Coupons of the level that passed, out of how many, and the same of the reference.
    """
    new, old = (one, of), (zero, of_reference)
    if pair.response.sign < 0:
        new, old = old, new  # What is better counts upwards from here.
    seen = new[0] / new[1] - old[0] / old[1]

    def above(more: tuple[int, int], less: tuple[int, int], at: float, confidence: float) -> int:
        return 1 if difference_above(*more, *less, at, confidence) else -1

    better = above(new, old, 0.0, pair.interval) if seen > 0 else -1
    worse = above(old, new, 0.0, pair.interval) if seen < 0 else -1
    change = Bounds(better, -worse, better, -worse)
    margin = pair.response.margin
    if margin is None:
        return judge(Evidence(change), pair.response.ask)
    apart = margin.value / 100
    beyond_loss = above(old, new, apart, pair.interval) if worse > 0 else -1
    beyond_gain = above(new, old, apart, pair.interval) if better > 0 else -1
    no_worse = above(new, old, -apart, pair.limits) if beyond_loss < 0 else -1
    no_better = above(old, new, -apart, pair.limits) if beyond_gain < 0 else -1
    loss = Bounds(no_worse, -beyond_loss, no_worse, -beyond_loss)
    gain = Bounds(beyond_gain, -no_better, beyond_gain, -no_better)
    return judge(Evidence(change, loss, gain), pair.response.ask)


def fisher_p(one: int, of: int, zero: int, of_reference: int) -> float:
    """Return the exact two-sided p of a two by two table, its sums held (Fisher 1935).

    Every table that is no likelier than the one seen counts; whole numbers, so that ties are ties.
    """
    passed = one + zero
    ways = [comb(of, some) * comb(of_reference, passed - some) for some in range(passed + 1)]
    return sum(way for way in ways if way <= ways[one]) / comb(of + of_reference, passed)
