"""What would undo an answer where coupons pass or fail, or are graded.

The comparison is made again with every coupon and every round left out in turn, with failures that
somebody forgot, and with the lost coupons failing or passing.  Coupons of one kind (levels, set-up,
outcome) do the same, so that one of each kind is tried; forgotten failures are put wherever they
change the answer soonest, every placement being tried as long as there are not too many.

References
----------
Leaving out after Cook & Weisberg (1982), *Residuals and Influence in Regression*, chapter 3;
counting changed outcomes until a verdict turns after Feinstein (1990), *J. Clin. Epidemiol.*
43:201-209, and Walsh et al. (2014), *J. Clin. Epidemiol.* 67:622-628; worst and best cases of what
was lost after Hollis & Campbell (1999), *BMJ* 319:670-674 (citations from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations_with_replacement, product
from math import comb

from weldtrial.analysis.context import Context
from weldtrial.analysis.counted import Pair
from weldtrial.analysis.counted_codes import Codes
from weldtrial.analysis.dealt import unit_of
from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.undo import UNDECIDED, lost_by_level
from weldtrial.analysis.undo_counted_words import brief_words, undo_words
from weldtrial.analysis.undo_records import (
    Carries,
    Forgotten,
    ForgottenRow,
    LostBoth,
    LostCounted,
    Undo,
)
from weldtrial.shared.coding import coded_point
from weldtrial.shared.record import Coupon

MOST_FORGOTTEN = 10
"""Forgotten failures of one level beyond which none is looked for."""
PLACEMENTS = 170
"""Ways to place them among set-ups or grades, beyond which no more are looked for."""
PLACEMENTS_MODEL = 40
"""The same where every way has a model fitted to it."""
ROWS = 3
"""Forgotten failures of each level that are tabled."""
MOST_LOST = 400
"""Ways for lost coupons to fail or pass beyond which only all alike are looked at."""


def undo_counted(
    context: Context,
    pair: Pair,
    observations: Sequence[Observation],
    code: VerdictCode | None,
) -> Undo | None:
    """Return what would undo the verdict `code` on a pair, None where there is none.

    Parameters
    ----------
    context, pair, observations
        The comparison and the coupons behind it, those of other levels too.
    """
    if code is None or code in UNDECIDED:
        return None
    asked = _Asked(context, pair, observations, code, Codes(context, pair))
    by = "round" if len({o.round for o in observations} - {None}) > 1 else "set-up"
    carries, tried = asked.left_out(by)
    apart = tried > len(pair.of(observations))  # Rounds or set-ups were left out besides coupons.
    lost = lost_by_level(
        pair.factor.name, asked.levels, pair.response.name, observations, context.record
    )
    graded = pair.response.kind == "graded"
    hows = ("one grade worse",) if graded else ("passed", "left out")
    undone = Undo(
        carries=carries,
        lost=(),
        tried=tried,
        words=(),
        forgotten=tuple(asked.forgotten(level, how) for level in asked.levels for how in hows),
        rows=() if graded else tuple(asked.rows()),
        lost_counted=tuple(asked.lost(coupons) for coupons in lost),
        lost_both=asked.lost_both(lost),
    )
    by = by if apart else ""
    words = undo_words(pair.factor.said, graded, undone, by, setups=asked.by_setups)
    return replace(undone, words=words, brief=brief_words(pair.factor.said, graded, undone, by))


@dataclass(frozen=True, slots=True)
class _Asked:
    context: Context
    pair: Pair
    observations: Sequence[Observation]
    code: VerdictCode
    codes: Codes

    @property
    def levels(self) -> tuple[str, str]:
        return self.pair.reference, self.pair.level

    @property
    def by_setups(self) -> bool:
        return unit_of(self.pair.factor, self.pair.of(self.observations)) != "coupons"

    @property
    def best(self) -> float:
        """The best outcome that a coupon can have."""
        response = self.pair.response
        return float(len(response.scale) - 1) if response.kind == "graded" else 1.0

    def level_of(self, o: Observation) -> str:
        return o.levels[self.pair.factor.name]

    def kinds(self, observations: Sequence[Observation]) -> dict[Hashable, list[Observation]]:
        """Return coupons by kind, in the order in which they were welded."""
        found: dict[Hashable, list[Observation]] = {}
        for o in observations:
            levels = tuple(o.levels[factor.name] for factor in self.context.trial.varied)
            if self.pair.response.kind == "pass-fail":
                levels = (self.level_of(o),)
            found.setdefault((levels, o.setup if self.by_setups else None, o.value), []).append(o)
        return found

    # ------------------------------------------------------------------ left out

    def left_out(self, by: str) -> tuple[tuple[Carries, ...], int]:
        """Return what carries the answer alone, and how many coupons and rounds were left out."""
        groups = []
        mine = self.pair.of(self.observations)
        for alike in self.kinds(mine).values():
            groups.append((self._name(alike), [alike[0]], len(alike)))
        places = [o.round if by == "round" else o.setup for o in self.observations]
        for place in sorted({one for one in places if one is not None}):
            here = [o for o, at in zip(self.observations, places, strict=True) if at == place]
            if len(here) > 1:
                groups.append((f"{by} {place}", here, 1))
        carries = []
        for what, gone, _ in groups:
            stamps = {o.stamp for o in gone}
            other = self.codes.of([o for o in self.observations if o.stamp not in stamps])
            # A round less may leave nothing to judge by: that does not speak against the answer.
            if other is not None and other not in (self.code, "cannot_tell"):
                carries.append(Carries(what, other))
        return tuple(carries), sum(many for _, _, many in groups)

    def _name(self, alike: Sequence[Observation]) -> str:
        if len(alike) == 1:
            return f"coupon {alike[0].stamp}"
        first, response = alike[0], self.pair.response
        did = "passed" if first.value else "failed"
        if response.kind == "graded":
            did = f"graded {response.scale[int(first.value)]}"
        where = f" on set-up {first.setup}" if self.by_setups else ""
        level = self.pair.factor.said(self.level_of(first))
        return f"any of the {len(alike)} coupons of {level}{where} that {did}"

    # ------------------------------------------------------------------ forgotten failures

    def placed(self, level: str, how: str, many: int) -> Iterator[tuple[Observation, ...]]:
        """Give every way to choose the coupons that were better in the record than at the bench."""
        heaps = self._heaps(level, how)
        for chosen in combinations_with_replacement(range(len(heaps)), many):
            counts = Counter(chosen)
            if all(some <= len(heaps[place]) for place, some in counts.items()):
                yield tuple(o for place, some in counts.items() for o in heaps[place][:some])

    def _heaps(self, level: str, how: str) -> list[list[Observation]]:
        mine = [o for o in self.observations if self.level_of(o) == level]
        if how != "left out":
            return list(self.kinds([o for o in mine if o.value > 0]).values())
        setups = dict.fromkeys(o.setup for o in mine)
        firsts = [next(o for o in mine if o.setup == setup) for setup in setups]
        return [[one] * MOST_FORGOTTEN for one in (firsts if self.by_setups else firsts[:1])]

    def with_worse(self, how: str, chosen: Sequence[Observation]) -> list[Observation]:
        """Return the coupons, those chosen worse (or as many failures more beside them)."""
        if how == "left out":
            # Independent coupons have no set-up to share, or each one of its own.
            own = 1 + max((o.setup or 0 for o in self.observations), default=0)
            return [
                *self.observations,
                *(
                    replace(o, stamp=f"+{n}", value=0.0,
                            setup=o.setup if self.by_setups or o.setup is None else own + n)
                    for n, o in enumerate(chosen)
                ),
            ]  # fmt: skip
        stamps = {o.stamp for o in chosen}
        return [
            replace(o, value=o.value - 1) if o.stamp in stamps else o for o in self.observations
        ]

    def forgotten(self, level: str, how: str) -> Forgotten:
        """Return the fewest that change the verdict."""
        heaps = self._heaps(level, how)
        fitted = self.pair.response.kind == "graded" and not self.by_setups
        tried, left = 0, PLACEMENTS_MODEL if fitted else PLACEMENTS
        for many in range(1, MOST_FORGOTTEN + 1):
            left -= comb(len(heaps) + many - 1, many) if heaps else 0
            if left < 0:
                break
            any_way = False
            for chosen in self.placed(level, how, many):
                any_way = True
                other = self.codes.of(self.with_worse(how, chosen))
                if other is not None and other != self.code:
                    setups = {o.setup for o in chosen if o.setup is not None}
                    where = tuple(sorted(setups)) if self.by_setups else ()
                    return Forgotten(level, how, many, other, where, many)
            if not any_way:
                break
            tried = many
        return Forgotten(level, how, None, None, (), tried)

    def rows(self) -> Iterator[ForgottenRow]:
        """Give the comparison as recorded, and with some passes of either level being failures."""
        yield self._row("", 0, list(self.observations))
        for level in self.levels:
            heaps = self._heaps(level, "passed")
            for many in range(1, ROWS + 1):
                if comb(len(heaps) + many - 1, many) > PLACEMENTS:
                    break
                ways = [
                    self._row(level, many, self.with_worse("passed", chosen))
                    for chosen in self.placed(level, "passed", many)
                ]
                if ways:
                    yield max(ways, key=self._harm)

    def _harm(self, row: ForgottenRow) -> tuple[bool, float]:
        p = 1.0 if row.p is None else row.p
        return row.code != self.code, -p if self.code == "not_settled" else p

    def _row(self, level: str, many: int, observations: Sequence[Observation]) -> ForgottenRow:
        mine = self.pair.of(observations)
        sides = [[o.value for o in mine if self.level_of(o) == one] for one in self.levels]
        found = self.codes.found(observations)
        assert found is not None  # Levels keep their coupons: only outcomes change here.
        return ForgottenRow(
            level, many, int(sum(sides[1])), len(sides[1]), int(sum(sides[0])), len(sides[0]),
            found[1], found[0],
        )  # fmt: skip

    # ------------------------------------------------------------------ lost coupons

    def lost(self, coupons: Sequence[Coupon]) -> LostCounted:
        """Return what the lost coupons of one level could have done."""
        heaps: dict[int | None, list[Coupon]] = {}
        for one in coupons:
            heaps.setdefault(one.setup, []).append(one)
        sizes = [len(heap) for heap in heaps.values()]
        many, ways = len(coupons), 1
        for size in sizes:
            ways *= size + 1
        turned: dict[int, bool] = {}
        every = product(*(range(size + 1) for size in sizes))
        for worse in every if ways <= MOST_LOST else (tuple(sizes), (0,) * len(sizes)):
            outcomes = [
                (one, 0.0 if n < some else self.best)
                for heap, some in zip(heaps.values(), worse, strict=True)
                for n, one in enumerate(heap)
            ]
            other = self._having(outcomes)
            turned[sum(worse)] = turned.get(sum(worse), False) or other != self.code
        return LostCounted(
            coupons[0].levels[self.pair.factor.name],
            tuple(c.stamp for c in coupons),
            worst=self._having([(c, 0.0) for c in coupons]),
            best=self._having([(c, self.best) for c in coupons]),
            fewest_worst=_from_on([turned.get(n, False) for n in range(many + 1)]),
            fewest_best=_from_on([turned.get(many - n, False) for n in range(many + 1)]),
        )

    def lost_both(self, lost: Sequence[Sequence[Coupon]]) -> tuple[LostBoth, ...]:
        """Return the verdicts with one level's lost coupons at their worst, the other's best."""
        if len(lost) < 2:
            return ()
        found = []
        for one, other in ((lost[0], lost[1]), (lost[1], lost[0])):
            code = self._having([*((c, 0.0) for c in one), *((c, self.best) for c in other)])
            worst, best = (part[0].levels[self.pair.factor.name] for part in (one, other))
            found.append(LostBoth(worst, best, code, code != self.code))
        return tuple(found)

    def _having(self, outcomes: Sequence[tuple[Coupon, float]]) -> VerdictCode:
        """Return the code had lost coupons come out so."""
        made = [
            Observation(
                c.stamp, c.run, c.round, c.setup, c.levels,
                coded_point(self.context.trial.varied, c.levels), value, (value,),
            )
            for c, value in outcomes
        ]  # fmt: skip
        return self.codes.of([*self.observations, *made]) or "cannot_tell"


def _from_on(turned: Sequence[bool]) -> int | None:
    """Return the place from which on all are true, None where the last is not."""
    found = None
    for place in reversed(range(len(turned))):
        if not turned[place]:
            break
        found = place
    return found
