"""Pass or fail where coupons come by set-up: the set-up counts once, by the share that passed.

Coupons of one set-up share a bottle, a purge and a flow, and tend to pass or fail together, so
that exact tests of coupons alarm far too often.  Two analyses stand side by side:

- *interval*: t on the set-ups' shares, weighted by their coupons, paired within rounds where there
  are rounds, Welch's where there are none; not narrower than coupons dealt one by one would give.
  It gives the difference with an interval, and is what is shown;
- *shuffle*: the levels dealt to the set-ups again by the arrangements of the draw.  It assumes
  nothing, but gives no interval and hardly reaches .05: with four rounds its smallest p is .125,
  and with six, rejections at 5 % were .000 to .012.

Near 100 % the t alone breaks its promise: set-ups that all passed but for one coupon show hardly
any scatter.  So each half-width is at least z times the standard error of Agresti & Caffo (2000),
with whole set-ups in place of coupons: one that passed and one that failed are added to each level,
and coupons of a set-up count as alike by an intraclass correlation of .2 (`least_variance`).  Less
was tried: the exact interval of independent coupons in its place let "no worse" through up to .107
with four set-ups of eight; without the correlation it was .104.

"No worse by 20 points" at a true fall of just that, nominal .05, and its chance where both levels
pass alike; beta-binomial set-ups, 20 000 trials; t alone, then as it is here.  The error is the
largest of correlations 0, .2 and .5, paired and not; the chance is paired, at correlation 0:

| set-ups a level x coupons | 70 % pass | 90 % | 97 % | chance at 70, 90, 97 % |
|---|---|---|---|---|
| 4 x 4 | .046, .042 | .054, .045 | .041, .024 | .20 .26 .24, .18 .25 .24 |
| 6 x 3 | .052, .044 | .082, .048 | .114, .030 | .30 .55 .56, .24 .35 .27 |
| 8 x 2 | .045, .040 | .080, .043 | .112, .030 | .29 .56 .53, .24 .35 .26 |
| 4 x 8 | .048, .042 | .081, .045 | .105, .026 | .37 .62 .74, .26 .37 .33 |
| 6 x 8 | .048, .043 | .080, .061 | .124, .078 | .58 .87 .92, .42 .64 .80 |
| 12 x 8 | .051, .044 | .060, .056 | .092, .077 | .88 1.0 .99, .73 .96 .99 |

So beyond four set-ups of eight it is not kept at correlation .5 where nearly all pass, nor, there,
for a margin of 30 points (.072 with 4 x 8).  False alarms (levels alike, 50 to 97 % passing) were
.055 or fewer in all layouts above, and .058 with 8 x 2 paired at correlation .6 (t alone .067):
shares of two coupons are coarse.

Intervals missed true differences of .9 and .5, .9 and .7, .95 and .3 (correlation .3; 4 or 6
set-ups of 2 or 4 coupons a level, paired and not) in .054 of trials or fewer; t alone in .077.
Pooling both levels' scatter instead of Welch's missed up to .122.

References
----------
Welch, B. L. (1947). *Biometrika* 34:28-35. Donner, A. & Klar, N. (2000). *Design and Analysis of
Cluster Randomization Trials in Health Research*. Arnold (analysis of cluster proportions).
Fisher, R. A. (1935). *The Design of Experiments*, chapter 3. Agresti, A. & Caffo, B. (2000). Simple
and effective confidence intervals for proportions and differences of proportions result from adding
two successes and two failures. *The American Statistician* 54:280-288. Kish, L. (1965). *Survey
Sampling*. Wiley (design effect). The last two from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from weldtrial.analysis.linear import Estimate
from weldtrial.analysis.redraw import Redraw, mean_gap, redraw
from weldtrial.shared.problems import NotEstimable

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

REACHES = 0.05
"""Smallest p that a shuffle must be able to reach to be shown alone."""
ALIKE = 0.2
"""How alike coupons of a set-up are taken to be (intraclass correlation) where set-ups agree so
well that their scatter would say less."""


@dataclass(frozen=True, slots=True)
class SetupProportions:
    """Two levels compared by the shares of their set-ups that passed.

    Attributes
    ----------
    share, share_reference
        Share of all coupons of each level that passed.
    passed, of, passed_reference, of_reference
        The same as counts of coupons: for the reader, not for a test.
    setups, setups_reference
        Set-ups of each level.
    difference
        Difference of the shares with the t of the scatter that set-ups showed, None where there is
        none.  What counts is `interval` and `p`, which are never bolder.
    why_no_interval
        In words, empty where there is one.
    least
        Least standard error that the difference is taken to have, with normal limits
        (`least_variance`); of shares.
    shuffle
        The shuffle, None where no arrangements were handed in.
    shown
        ``interval``; ``shuffle`` where there is no interval but the shuffle can reach .05; else
        ``cannot_tell``.
    """

    share: float
    share_reference: float
    passed: int
    of: int
    passed_reference: int
    of_reference: int
    setups: int
    setups_reference: int
    difference: Estimate | None
    why_no_interval: str
    shuffle: Redraw | None
    shown: Literal["interval", "shuffle", "cannot_tell"]
    least: float = 0.0

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return the wider of the t interval and that of the least standard error.

        Ends may lie beyond -1 and 1: cut them off for the eye.

        Raises
        ------
        NotEstimable
            Where there is no `difference`.
        """
        found = self._found()
        least = float(special.ndtri(0.5 + confidence / 2)) * self.least
        half = max(least, found.critical(confidence) * found.se)
        return found.estimate - half, found.estimate + half

    @property
    def p(self) -> float:
        """Two-sided p of no difference: below an error rate just where that interval leaves out 0.

        Raises
        ------
        NotEstimable
            Where there is no `difference`.
        """
        found = self._found()
        if self.least <= 0:
            return found.p
        return max(found.p, float(2 * special.ndtr(-abs(found.estimate) / self.least)))

    def _found(self) -> Estimate:
        if self.difference is None:
            raise NotEstimable(self.why_no_interval)
        return self.difference


def least_variance(passed: ArrayLike, of: ArrayLike, new: ArrayLike) -> Floats:
    """Return the least variance that a difference of two shares is taken to have.

    Agresti & Caffo's (2000), with whole set-ups in place of coupons: to each level is added a
    set-up that passed and one that failed, and coupons of a set-up count as alike by `ALIKE`.  With
    eight coupons of a level and more it is never below theirs of coupons dealt one by one.

    Parameters
    ----------
    passed
        Coupons of every set-up that passed, shape (..., k).
    of, new
        Coupons of every set-up, and whether it had the new level, shape (k,).

    Returns
    -------
    Of the shares, 0 to 1, shape (...).
    """
    x, n, is_new = np.asarray(passed, dtype=float), np.asarray(of, dtype=float), np.asarray(new)
    found = np.zeros(x.shape[:-1])
    for here in (is_new.astype(bool), ~is_new.astype(bool)):
        coupons = float(n[here].sum())
        # Set-ups of several sizes count as Kish's: a large one holds more coupons that are alike.
        size = float((n[here] ** 2).sum()) / coupons
        found = found + _least(x[..., here].sum(axis=-1), coupons, size)
    return np.asarray(found)


def least_se(share: float, setups: int, size: float) -> float:
    """Return the least standard error with so many set-ups of each level, all with one share.

    Parameters
    ----------
    share
        That passes, 0 to 1.
    setups, size
        Set-ups of each level, and coupons of each.
    """
    coupons = setups * size
    return math.sqrt(2 * float(_least(np.asarray(share * coupons), coupons, size)))


def _least(passed: Floats, coupons: float, size: float) -> Floats:
    many = coupons + 2 * size
    share = (passed + size) / many
    return np.asarray(share * (1 - share) / many * (1 + (size - 1) * ALIKE))


def by_setups(
    passed: ArrayLike,
    of: ArrayLike,
    new: ArrayLike,
    *,
    rounds: Sequence[object] | None = None,
    arrangements: ArrayLike | None = None,
    listed: bool = True,
) -> SetupProportions:
    """Compare two levels set-up by set-up.

    Parameters
    ----------
    passed, of
        Coupons of every set-up that passed, out of how many (at least 1), shape (k,).
    new
        1 or True where the set-up had the new level, shape (k,).
    rounds
        Round of every set-up, or None; rounds in which one level is missing tell nothing.
    arrangements
        Levels as the draw could have dealt them, shape (m, k), or None (see `redraw`).
    listed
        True when these are all arrangements, False when they were sampled.

    Raises
    ------
    NotEstimable
        One level only, or every coupon passed, or every coupon failed.
    """
    x, n = np.asarray(passed, dtype=float), np.asarray(of, dtype=float)
    is_new = np.asarray(new).astype(bool)
    if x.ndim != 1 or not x.shape == n.shape == is_new.shape:
        raise ValueError("passed, of and new must be as long as one another")
    if np.any(n < 1) or np.any(x < 0) or np.any(x > n):
        raise ValueError("a set-up has at least one coupon, and no more passes than coupons")
    if is_new.all() or not is_new.any():
        raise NotEstimable("only one level has been tested: there is nothing to compare it with")
    if x.sum() in (0, n.sum()):
        every = "passed" if x.sum() else "failed"
        raise NotEstimable(f"all {int(n.sum())} coupons {every}: nothing tells the levels apart")
    both = np.ones(len(x), dtype=bool)
    if rounds is None:
        difference, why = _welch(x, n, is_new)
    else:
        difference, why = _paired(x, n, is_new, list(rounds))
        both = _whole_rounds(is_new, list(rounds))
    least = 0.0
    if difference is not None:
        least = math.sqrt(float(least_variance(x[both], n[both], is_new[both])))
    shuffle = None
    if arrangements is not None:
        shuffle = redraw(mean_gap(x / n, rounds), is_new, arrangements, listed=listed)
    shown: Literal["interval", "shuffle", "cannot_tell"] = "cannot_tell"
    if difference is not None:
        shown = "interval"
    elif shuffle is not None and shuffle.smallest <= REACHES:
        shown = "shuffle"
    one, zero = (x[is_new].sum(), n[is_new].sum()), (x[~is_new].sum(), n[~is_new].sum())
    return SetupProportions(
        float(one[0] / one[1]), float(zero[0] / zero[1]),
        int(one[0]), int(one[1]), int(zero[0]), int(zero[1]),
        int(is_new.sum()), int((~is_new).sum()),
        difference, why, shuffle, shown, least,
    )  # fmt: skip


def _welch(x: Floats, n: Floats, is_new: Flags) -> tuple[Estimate | None, str]:
    """Difference of the shares, each with the scatter of its own set-ups."""
    shares, variances, dfs = [], [], []
    for here in (is_new, ~is_new):
        many, coupons = int(here.sum()), n[here].sum()
        if many < 2:
            return None, "a level has one set-up only: how set-ups scatter cannot be seen"
        share = x[here].sum() / coupons
        squares = float(((x[here] - n[here] * share) ** 2).sum())
        shares.append(float(share))
        variances.append(many / (many - 1) * squares / float(coupons) ** 2)
        dfs.append(many - 1)
    variance = sum(variances)
    if variance <= 0:
        return None, "all set-ups of each level have the same share: no scatter to judge by"
    df = variance**2 / sum(v**2 / df for v, df in zip(variances, dfs, strict=True))
    return Estimate(shares[0] - shares[1], variance**0.5, df), ""


def _whole_rounds(is_new: Flags, rounds: list[object]) -> Flags:
    """Return which set-ups are of a round that has both levels."""
    levels: dict[object, set[bool]] = {}
    for one, new in zip(rounds, is_new.tolist(), strict=True):
        levels.setdefault(one, set()).add(new)
    return np.array([len(levels[one]) == 2 for one in rounds])


def _paired(
    x: Floats, n: Floats, is_new: Flags, rounds: list[object]
) -> tuple[Estimate | None, str]:
    """Differences within rounds, weighted by what their coupons tell."""
    gaps, weights = [], []
    for label in dict.fromkeys(rounds):
        here = np.array([one == label for one in rounds])
        one, zero = here & is_new, here & ~is_new
        if not one.any() or not zero.any():
            continue
        many, many_reference = n[one].sum(), n[zero].sum()
        gaps.append(x[one].sum() / many - x[zero].sum() / many_reference)
        weights.append(many * many_reference / (many + many_reference))
    if len(gaps) < 2:
        return None, "fewer than two rounds have both levels: how rounds scatter cannot be seen"
    gap, weight = np.array(gaps), np.array(weights)
    mean = float(weight @ gap / weight.sum())
    variance = float(weight @ (gap - mean) ** 2) / (len(gap) - 1) / float(weight.sum())
    if variance <= 1e-20:
        return None, "every round shows the same difference: no scatter to judge by"
    return Estimate(mean, variance**0.5, float(len(gap) - 1)), ""
