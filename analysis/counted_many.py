"""Verdicts of many pretend trials of passes or grades at once, as each would have alone.

- Passes dealt one by one: a table over every outcome, from the exact tests that the interval of the
  verdict inverts (`proportions.no_worse_rejects`; the ends agree outcome by outcome).
- Passes by set-up: the interval of `setup_proportions` in one pass; where no scatter shows, the
  shuffle alone, by the smallest p that it reaches.
- Grades by set-up: the placements of `ranks` in one pass, Newcombe's interval where all are alike.
- Grades dealt one by one: the model is fitted trial by trial (`counted_verdict.counted_numbers`
  without its intervals), for there is no table of so many outcomes.

Every end becomes a verdict by `judge.judge_all`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis import respond_grades
from weldtrial.analysis.context import Context
from weldtrial.analysis.counted import Pair
from weldtrial.analysis.dealt import unit_of
from weldtrial.analysis.judge import CODES, judge_all
from weldtrial.analysis.judge_many import CANNOT_TELL, NO_ANSWER, ManyEnds
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.proportions import no_worse_rejects
from weldtrial.analysis.setup_proportions import least_variance
from weldtrial.shared.responses import Ask

Places = NDArray[np.intp]
Flags = NDArray[np.bool_]
SHOWN = CODES.index("difference_shown")
NOT_SETTLED = CODES.index("not_settled")


@dataclass(frozen=True, slots=True)
class Rule:
    """What ends are judged by.

    Attributes
    ----------
    ask, sign
        What is asked; +1 where more is better.
    margin
        As a share (0.1 for ten points), None without one.
    two_sided, one_sided
        Error rates of the interval and of a limit, shared over the comparisons already.
    """

    ask: Ask
    sign: int
    margin: float | None
    two_sided: float
    one_sided: float


def rule_of(pair: Pair) -> Rule:
    """Return what a comparison of passes or grades is judged by."""
    margin = pair.response.margin
    return Rule(
        pair.response.ask,
        pair.response.sign,
        None if margin is None else margin.value / 100,
        pair.read.two_sided / pair.share,
        pair.read.one_sided / pair.share,
    )


def judge_counted(
    context: Context,
    pair: Pair,
    blanks: Sequence[Observation],
    values: Floats,
    smallest_p: float | None,
    *,
    done: Callable[[int], None] = lambda trials: None,
) -> Places:
    """Return the place in `judge.CODES` of every trial's verdict, or `NO_ANSWER`; shape (m,).

    Parameters
    ----------
    blanks
        Coupons that are left.
    values
        Their grades (0 failed, 1 passed), shape (m, n).
    smallest_p
        Smallest p that dealing the set-ups again reaches; None where it is not counted.
    done
        Called with the number of trials just judged.
    """
    graded, rule = pair.response.kind == "graded", rule_of(pair)
    mine = [o.levels[pair.factor.name] in (pair.level, pair.reference) for o in blanks]
    both = pair.of(blanks)
    new = np.array(pair.new(both), dtype=bool)
    many = len(values)
    if not both or new.all() or not new.any():
        done(many)
        return np.full(many, CANNOT_TELL, dtype=np.intp)
    unit = unit_of(pair.factor, both)
    if graded and unit == "coupons":
        return _one_by_one(context, pair, blanks, values, rule, done)
    values = values[:, mine]
    if graded:
        found = placed_setups(values, new, np.array([o.setup or 0 for o in both]), rule)
    elif unit == "coupons":
        ones, of = values[:, new].sum(axis=1), int(new.sum())
        zeros, of_reference = values[:, ~new].sum(axis=1), int((~new).sum())
        found = outcome_places(of, of_reference, rule)[ones.astype(int), zeros.astype(int)]
    else:
        found = _share_places(both, new, values, rule, smallest_p, within=unit == "within set-ups")
    done(many)
    return found


# ---------------------------------------------------------------------- passes, one by one


@cache
def outcome_places(of: int, of_reference: int, rule: Rule) -> Places:
    """Return the verdict of every outcome, shape (of + 1, of_reference + 1)."""
    better = no_worse_rejects(of, of_reference, 0.0, rule.two_sided / 2)
    worse = no_worse_rejects(of_reference, of, 0.0, rule.two_sided / 2).T
    if rule.sign < 0:
        better, worse = worse, better
    change = ManyEnds(_sided(better), -_sided(worse), _sided(better), -_sided(worse))
    if rule.margin is None:
        return judge_all(change, None, None, rule.ask)
    no_fall = no_worse_rejects(of, of_reference, rule.margin, rule.one_sided)
    no_rise = no_worse_rejects(of_reference, of, rule.margin, rule.one_sided).T
    if rule.sign < 0:
        no_fall, no_rise = no_rise, no_fall
    # That a change lies beyond the margin needs a test of its own; no chance asked about turns on
    # it, so such outcomes are told as "worse" (or "better") with the margin unsettled.
    loss = ManyEnds(
        _sided(no_fall), np.ones_like(_sided(no_fall)), _sided(no_fall), -_sided(no_fall)
    )
    gain = ManyEnds(-np.ones_like(loss.low95), -_sided(no_rise), -_sided(no_rise), -_sided(no_rise))
    return judge_all(change, loss, gain, rule.ask)


def _sided(holds: Flags) -> Floats:
    """Return 1 where it holds and -1 where it does not."""
    return np.where(holds, 1.0, -1.0)


# ---------------------------------------------------------------------- passes, by set-up


def _share_places(
    both: Sequence[Observation],
    new: Flags,
    values: Floats,
    rule: Rule,
    smallest_p: float | None,
    *,
    within: bool,
) -> Places:
    keys = sorted(
        {(o.round or 0, o.setup or 0, bool(one)) for o, one in zip(both, new, strict=True)}
    )
    place = {key: number for number, key in enumerate(keys)}
    where = np.array(
        [place[o.round or 0, o.setup or 0, bool(one)] for o, one in zip(both, new, strict=True)]
    )
    member = (where[:, None] == np.arange(len(keys))[None, :]).astype(float)
    labels = np.array([setup if within else number for number, setup, _ in keys])
    return setup_places(
        values @ member,
        member.sum(axis=0),
        np.array([one for _, _, one in keys]),
        labels if len(set(labels.tolist())) > 1 else None,
        rule,
        None if within else smallest_p,
    )


def setup_places(
    passed: Floats,
    of: Floats,
    new: Flags,
    rounds: NDArray[np.int_] | None,
    rule: Rule,
    smallest_p: float | None,
) -> Places:
    """Return verdicts of trials whose set-ups passed `passed` (m, k) of `of` (k,) coupons.

    As `setup_proportions.by_setups`; where its interval fails for want of scatter, the smallest p
    of the shuffle decides, for every round (every set-up) then shows the same.
    """
    gap, variance, df = (
        _welch(passed, of, new) if rounds is None else _paired(passed, of, new, rounds)
    )
    scatter = variance > 1e-20
    with np.errstate(divide="ignore", invalid="ignore"):
        se = np.sqrt(np.maximum(variance, 0.0))
        wide = special.stdtrit(df, 1 - rule.two_sided / 2) * se
        narrow = special.stdtrit(df, 1 - rule.one_sided) * se
    both = np.ones(len(of), dtype=bool) if rounds is None else _whole_rounds(new, rounds)
    if (new & both).any() and (~new & both).any():
        least = np.sqrt(least_variance(passed[:, both], of[both], new[both]))
        wide = np.maximum(wide, special.ndtri(1 - rule.two_sided / 2) * least)
        narrow = np.maximum(narrow, special.ndtri(1 - rule.one_sided) * least)
    ends = ManyEnds(
        np.clip(gap - wide, -1, 1), np.clip(gap + wide, -1, 1),
        np.clip(gap - narrow, -1, 1), np.clip(gap + narrow, -1, 1),
    )  # fmt: skip
    found = _judged(ends, rule)
    alone = np.full(len(gap), CANNOT_TELL, dtype=np.intp)
    if smallest_p is not None and smallest_p <= 0.05:
        shown = SHOWN if smallest_p < rule.two_sided else NOT_SETTLED
        alone = np.where(np.abs(gap) > 1e-12, shown, CANNOT_TELL)
    found = np.where(scatter, found, alone)
    total = passed.sum(axis=1)
    nothing = (total == 0) | (total == of.sum())
    return np.asarray(np.where(nothing, CANNOT_TELL, found), dtype=np.intp)


def _judged(ends: ManyEnds, rule: Rule) -> Places:
    signed = ends
    if rule.sign < 0:
        signed = ManyEnds(-ends.high95, -ends.low95, -ends.high90, -ends.low90)
    margin = rule.margin
    loss = None if margin is None else signed.shifted(margin)
    gain = None if margin is None else signed.shifted(-margin)
    return judge_all(signed, loss, gain, rule.ask)


_Spread = tuple[Floats, Floats, Floats]


def _welch(x: Floats, n: Floats, new: Flags) -> _Spread:
    shares, variances, dfs = [], [], []
    for here in (new, ~new):
        many, coupons = int(here.sum()), n[here].sum()
        share = x[:, here].sum(axis=1) / coupons
        squares = ((x[:, here] - n[here] * share[:, None]) ** 2).sum(axis=1)
        shares.append(share)
        scale = many / (many - 1) if many > 1 else 0.0
        variances.append(scale * squares / coupons**2)
        dfs.append(max(1, many - 1))
    if min(int(new.sum()), int((~new).sum())) < 2:
        zero = np.zeros(len(x))
        return shares[0] - shares[1], zero, zero + 1
    total = variances[0] + variances[1]
    with np.errstate(divide="ignore", invalid="ignore"):
        df = total**2 / (variances[0] ** 2 / dfs[0] + variances[1] ** 2 / dfs[1])
    return shares[0] - shares[1], total, np.where(total > 0, df, 1.0)


def _whole_rounds(new: Flags, rounds: NDArray[np.int_]) -> Flags:
    """Return which set-ups are of a round that has both levels."""
    whole = np.intersect1d(rounds[new], rounds[~new])
    return np.asarray(np.isin(rounds, whole))


def _paired(x: Floats, n: Floats, new: Flags, rounds: NDArray[np.int_]) -> _Spread:
    gaps, weights = [], []
    for label in np.unique(rounds):
        one, zero = (rounds == label) & new, (rounds == label) & ~new
        if not one.any() or not zero.any():
            continue
        many, other = n[one].sum(), n[zero].sum()
        gaps.append(x[:, one].sum(axis=1) / many - x[:, zero].sum(axis=1) / other)
        weights.append(many * other / (many + other))
    zero_ = np.zeros(len(x))
    if len(gaps) < 2:
        return zero_, zero_, zero_ + 1
    gap, weight = np.array(gaps), np.array(weights)[:, None]
    mean = (weight * gap).sum(axis=0) / weight.sum()
    variance = (weight * (gap - mean) ** 2).sum(axis=0) / (len(gap) - 1) / weight.sum()
    return mean, variance, zero_ + len(gap) - 1


# ---------------------------------------------------------------------- grades


def placed_setups(values: Floats, new: Flags, setup: NDArray[np.int_], rule: Rule) -> Places:
    """Return verdicts of graded trials by set-up; `values` (m, n), as `ranks.better_interval`."""
    many = [len(np.unique(setup[here])) for here in (new, ~new)]
    if min(many) < 2:
        return np.full(len(values), CANNOT_TELL, dtype=np.intp)
    better, placed = _placed(values, new)
    variances, dfs = [], []
    for here, at in zip((new, ~new), placed, strict=True):
        member = (setup[here][:, None] == np.unique(setup[here])[None, :]).astype(float)
        units = member.shape[1]
        squares = (((at - better[:, None]) @ member) ** 2).sum(axis=1)
        variances.append(units / (units - 1) * squares / int(here.sum()) ** 2)
        dfs.append(units - 1)
    total = variances[0] + variances[1]
    spread = (total > 1e-20) & (better > 1e-12) & (better < 1 - 1e-12)
    with np.errstate(divide="ignore", invalid="ignore"):
        df = total**2 / (variances[0] ** 2 / dfs[0] + variances[1] ** 2 / dfs[1])
        half = special.stdtrit(df, 1 - rule.two_sided / 2) * np.sqrt(total)
        half = half / (better * (1 - better))
        apart = np.abs(np.log(better / (1 - better))) > half
    shown = np.where(spread, apart, _newcombe_apart(better, many[0], many[1], rule.two_sided))
    found = np.where(shown, SHOWN, NOT_SETTLED)
    return np.asarray(np.where(_all_alike(values), CANNOT_TELL, found), dtype=np.intp)


def newcombe_places(values: Floats, new: Flags, rule: Rule) -> Places:
    """Return verdicts of graded trials of so few independent coupons that ranks stand in."""
    apart = _newcombe_apart(
        _placed(values, new)[0], int(new.sum()), int((~new).sum()), rule.two_sided
    )
    found = np.where(apart, SHOWN, NOT_SETTLED)
    return np.asarray(np.where(_all_alike(values), CANNOT_TELL, found), dtype=np.intp)


def _placed(values: Floats, new: Flags) -> tuple[Floats, tuple[Floats, Floats]]:
    """Return the chance to grade higher (m,), and the placement of every coupon of each level."""
    grades = values.astype(np.intp)
    below = []
    for here in (new, ~new):
        counts = [(grades[:, here] == grade).sum(axis=1) for grade in range(int(grades.max()) + 1)]
        count = np.array(counts, dtype=float).T
        below.append((np.cumsum(count, axis=1) - count / 2) / int(here.sum()))
    above_old = np.take_along_axis(below[1], grades[:, new], axis=1)
    below_new = 1 - np.take_along_axis(below[0], grades[:, ~new], axis=1)
    return above_old.mean(axis=1), (above_old, below_new)


def _newcombe_apart(better: Floats, new: int, reference: int, two_sided: float) -> Flags:
    """Whether Newcombe's interval leaves one half out: where its score at one half is beyond z."""
    z, half = special.ndtri(1 - two_sided / 2), (new + reference) / 2 - 1
    at_half = 0.25 * (1 + half * (2 / 3)) / (new * reference)
    return np.asarray((better - 0.5) ** 2 > z**2 * at_half)


def _all_alike(values: Floats) -> Flags:
    return np.asarray(values.min(axis=1) == values.max(axis=1))


def _one_by_one(
    context: Context,
    pair: Pair,
    blanks: Sequence[Observation],
    values: Floats,
    rule: Rule,
    done: Callable[[int], None],
) -> Places:
    """Return verdicts of graded trials of independent coupons, each fitted for itself."""
    levels: list[Hashable] = [tuple(sorted(o.levels.items())) for o in blanks]
    kept: dict[Hashable, int] = {}
    found = np.full(len(values), NO_ANSWER, dtype=np.intp)
    for number, row in enumerate(values.tolist()):
        key = frozenset(Counter(zip(levels, row, strict=True)).items())
        if key not in kept:
            observations = [
                replace(o, value=value, readings=(value,))
                for o, value in zip(blanks, row, strict=True)
            ]
            kept[key] = graded_class(context, pair, observations, rule)[0]
        found[number] = kept[key]
        done(1)
    return found


def graded_class(
    context: Context, pair: Pair, observations: Sequence[Observation], rule: Rule
) -> tuple[int, bool]:
    """Return the verdict that `respond_grades.numbers` leads to, and whether the level is better.

    Its ends are not worked out: the profile interval leaves no change out where the likelihood
    ratio's p is below the rate.
    """
    fitted = respond_grades.model_that_holds(context.trial.varied, pair.factor, observations)
    if fitted is not None:
        p, estimate = respond_grades.odds_p(pair, *fitted)
        return SHOWN if p < rule.two_sided else NOT_SETTLED, estimate > 0
    mine = pair.of(observations)
    values, new = np.array([[o.value for o in mine]]), np.array(pair.new(mine), dtype=bool)
    return int(newcombe_places(values, new, rule)[0]), bool(_placed(values, new)[0][0] > 0.5)
