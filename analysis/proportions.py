"""Exact unconditional tests of coupons that pass or fail, for one gas and for two.

Nothing here leans on a large number of coupons: every chance is a sum over all outcomes that two
gases could have had, and p is the largest such chance over the share that passes if the hypothesis
holds (the *nuisance*).  Coupons are taken as independent: coupons of one set-up are not, and then
it is set-ups that have to be counted.

References
----------
Boschloo, R. D. (1970). Raised conditional level of significance for the 2 × 2-table when testing
the equality of two probabilities. *Statistica Neerlandica* 24:1-35 (citation from memory).
Farrington, C. P. & Manning, G. (1990). Test statistics and sample size formulae for comparative
binomial trials with null hypothesis of non-zero risk difference. *Statistics in Medicine*
9:1447-1454 (citation from memory).
Chan, I. S. F. (1998). Exact tests of equivalence and efficacy with a non-zero lower bound for
comparative studies. *Statistics in Medicine* 17:1403-1413.
Clopper, C. J. & Pearson, E. S. (1934). *Biometrika* 26:404-413 (citation from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Side = Literal["two-sided", "lower", "higher"]

TIE = 1e-9
"""Relative difference below which two outcomes are equally far."""
DIGITS = 6
"""Decimals of a score: what differs beyond is rounding, and would part outcomes that are tied."""
_GOLDEN = (5**0.5 - 1) / 2
_SHRINKS = 40


@dataclass(frozen=True, slots=True)
class ProportionTest:
    """An exact unconditional test of two shares that pass.

    Attributes
    ----------
    p
        Largest chance, over the nuisance share, of an outcome at least as far from the
        hypothesis.
    statistic
        What the outcomes are ordered by: Fisher's p (`boschloo`) or the score z (`no_worse`).
    nuisance
        Share of the reference that passes at which the chance is largest.
    difference
        Observed share of the new less that of the reference.
    """

    p: float
    statistic: float
    nuisance: float
    difference: float


def boschloo(
    passed: int, of: int, passed_reference: int, of_reference: int, side: Side = "two-sided"
) -> ProportionTest:
    """Test that as large a share of the new passes as of the reference.

    Parameters
    ----------
    passed, of
        Coupons of the new that passed, out of how many.
    passed_reference, of_reference
        The same of the reference.
    side
        ``lower``: whether fewer of the new pass; ``higher``: more; ``two-sided``: either, the
        smaller one-sided p doubled (Boschloo's test has two two-sided forms; this is that of
        twice the one-sided p, not the one ordered by the two-sided Fisher p).

    Raises
    ------
    ValueError
        When more passed than there are, or there are none.
    """
    _check(passed, of, passed_reference, of_reference)
    if side == "two-sided":
        both = [
            boschloo(passed, of, passed_reference, of_reference, one) for one in ("lower", "higher")
        ]
        least = min(both, key=lambda found: found.p)
        return ProportionTest(min(1.0, 2 * least.p), least.statistic, least.nuisance,
                              least.difference)  # fmt: skip
    fisher = _fisher(of, of_reference, side)
    return _tested(fisher, passed, of, passed_reference, of_reference, _equal)


def no_worse(
    passed: int, of: int, passed_reference: int, of_reference: int, margin: float
) -> ProportionTest:
    """Test whether the share of the new that passes is no worse by `margin` or more.

    The hypothesis is that the new passes less often by `margin` (0.10 for ten points); a small p
    shows that it does not.  Ordered by the score statistic with estimates restricted to the
    hypothesis; with `margin` 0 that is Barnard's test for "higher" with the pooled statistic.

    Parameters
    ----------
    margin
        In points, from 0 to below 1.
    """
    _check(passed, of, passed_reference, of_reference)
    if not 0 <= margin < 1:
        raise ValueError(f"a margin is from 0 to below 1, got {margin!r}")
    order = -score(of, of_reference, margin)
    found = _tested(order, passed, of, passed_reference, of_reference, _apart(margin))
    return ProportionTest(found.p, -found.statistic, found.nuisance, found.difference)


def share_interval(passed: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact two-sided interval of the share that passes (Clopper & Pearson 1934)."""
    _check(passed, of, 0, 1)
    tail = (1 - confidence) / 2
    low = 0.0 if passed == 0 else float(special.betaincinv(passed, of - passed + 1, tail))
    high = 1.0 if passed == of else float(special.betaincinv(passed + 1, of - passed, 1 - tail))
    return low, high


def shown_by_passes(passed_in_a_row: int, confidence: float = 0.95) -> float:
    """Return the share that so many passes without a failure show as the least that passes."""
    return float((1 - confidence) ** (1 / passed_in_a_row))


def passes_in_a_row(share: float, confidence: float = 0.95) -> int:
    """Return how many passes without a failure show that at least `share` passes.

    29 for 90 % and 59 for 95 %, the usual counts: the first n with share ** n <= 0.05.

    Parameters
    ----------
    share
        Above 0 and below 1.
    """
    if not 0 < share < 1:
        raise ValueError(f"a share is above 0 and below 1, got {share!r}")
    many = max(1, int(np.log(1 - confidence) / np.log(share)) - 1)
    while share**many > (1 - confidence) * (1 + TIE):
        many += 1
    return many


# ---------------------------------------------------------------------- all outcomes at once


@cache
def boschloo_rejects(of: int, of_reference: int, alpha: float = 0.05) -> Flags:
    """Return which outcomes the two-sided `boschloo` test shows at `alpha`.

    Returns
    -------
    Shape (of + 1, of_reference + 1), by coupons that passed.
    """
    lower = _rejects(_fisher(of, of_reference, "lower"), _equal, alpha / 2)
    # More passes are fewer failures: the other side is the same, counted from the other end.
    return np.asarray(lower | lower[::-1, ::-1])


@cache
def no_worse_rejects(of: int, of_reference: int, margin: float, alpha: float = 0.05) -> Flags:
    """Return for which outcomes `no_worse` shows so at `alpha`; shape as `boschloo_rejects`."""
    return _rejects(-score(of, of_reference, margin), _apart(margin), alpha)


def score(of: int, of_reference: int, margin: float) -> Floats:
    """Return the score z of every outcome against "worse by exactly `margin`", large is good.

    The shares are estimated under the hypothesis, by the root of Farrington & Manning's cubic.
    """
    new = (np.arange(of + 1) / of)[:, None]
    old = (np.arange(of_reference + 1) / of_reference)[None, :]
    restricted = _restricted(new, old, of, of_reference, margin)
    least = np.clip(restricted, 0.0, 1.0)
    other = np.clip(restricted + margin, 0.0, 1.0)
    variance = least * (1 - least) / of + other * (1 - other) / of_reference
    above = new - old + margin
    with np.errstate(divide="ignore", invalid="ignore"):
        z = above / np.sqrt(variance)
    # No scatter at all under the hypothesis: the outcome fits it exactly, or cannot happen.
    return np.asarray(np.round(np.where(np.abs(above) < 1e-12, 0.0, z), DIGITS))


def _restricted(new: Floats, old: Floats, of: int, of_reference: int, margin: float) -> Floats:
    """Return the estimated share of the new, the reference held at `margin` more."""
    theta = of_reference / of
    shift = -margin
    a = 1 + theta
    b = -(1 + theta + new + theta * old + shift * (theta + 2))
    c = shift**2 + shift * (2 * new + theta + 1) + new + theta * old
    d = -new * shift * (1 + shift)
    v = (b / (3 * a)) ** 3 - b * c / (6 * a**2) + d / (2 * a)
    u = np.sqrt(np.maximum((b / (3 * a)) ** 2 - c / (3 * a), 0.0))
    u = np.where(v < 0, -u, u)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(u == 0, 0.0, v / u**3)
    w = (np.pi + np.arccos(np.clip(ratio, -1, 1))) / 3
    root = 2 * u * np.cos(w) - b / (3 * a)
    # The arc cosine loses half the digits near its ends, and with them what is tied.
    for _ in range(2):
        slope = 3 * a * root**2 + 2 * b * root + c
        value = ((a * root + b) * root + c) * root + d
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.where(np.abs(slope) > 1e-6, root - value / slope, root)
    return np.asarray(root)


def outcome_chances(of: int, shares: Floats) -> Floats:
    """Return the chance of 0 to `of` passes at each share, shape (of + 1, shares)."""
    passed = np.arange(of + 1)[:, None]
    logs = special.gammaln(of + 1) - special.gammaln(passed + 1) - special.gammaln(of - passed + 1)
    chances = np.exp(logs + special.xlogy(passed, shares) + special.xlog1py(of - passed, -shares))
    return np.asarray(chances, dtype=np.float64)


# ---------------------------------------------------------------------- inside

Null = Callable[[Floats], tuple[Floats, Floats]]
"""From the shares of the reference on (0, 1) to those of the new and the reference."""


def _equal(u: Floats) -> tuple[Floats, Floats]:
    return u, u


def _apart(margin: float) -> Null:
    def shares(u: Floats) -> tuple[Floats, Floats]:
        return u * (1 - margin), u * (1 - margin) + margin

    return shares


def _check(passed: int, of: int, passed_reference: int, of_reference: int) -> None:
    for some, many in ((passed, of), (passed_reference, of_reference)):
        if many < 1 or not 0 <= some <= many:
            raise ValueError(f"{some} of {many} cannot have passed")


@cache
def _fisher(of: int, of_reference: int, side: Side) -> Floats:
    """Return Fisher's one-sided p of every outcome: small where the new passes less (more)."""
    table = np.ones((of + 1, of_reference + 1))
    for both in range(of + of_reference + 1):
        least, most = max(0, both - of_reference), min(of, both)
        passed = np.arange(least, most + 1)
        logs = _log_choose(of, passed) + _log_choose(of_reference, both - passed)
        chances = np.exp(logs - logs.max())
        chances /= chances.sum()
        tails = np.cumsum(chances) if side == "lower" else np.cumsum(chances[::-1])[::-1]
        table[passed, both - passed] = np.minimum(tails, 1.0)
    return table


def _log_choose(many: int, some: NDArray[np.int_]) -> Floats:
    found = special.gammaln(many + 1) - special.gammaln(some + 1) - special.gammaln(many - some + 1)
    return np.asarray(found, dtype=np.float64)


def _nuisances(coupons: int) -> Floats:
    """Places at which the nuisance share is tried before the largest chance is refined.

    A chance is a polynomial of degree `coupons`; two places for each, closer to the ends where it
    bends fastest, leave no peak unseen.
    """
    places = 100 + 2 * coupons
    return np.asarray((1 - np.cos(np.pi * (np.arange(places) + 0.5) / places)) / 2)


def _tested(
    order: Floats, passed: int, of: int, passed_reference: int, of_reference: int, null: Null
) -> ProportionTest:
    """Return the test of one outcome: `order` is small far from the hypothesis."""
    seen = order[passed, passed_reference]
    counted = order <= seen + TIE * max(1e-300, abs(seen))
    u = _nuisances(of + of_reference)
    chances = _chance_of(counted, null, u)
    p, place = _refined(counted, null, u, chances)
    _, old = null(np.array([place]))
    difference = passed / of - passed_reference / of_reference
    return ProportionTest(min(1.0, p), float(seen), float(old[0]), difference)


def _chance_of(counted: Flags, null: Null, u: Floats) -> Floats:
    """Return the chance of the counted outcomes at every nuisance share."""
    new, old = null(u)
    of, of_reference = counted.shape[0] - 1, counted.shape[1] - 1
    inner = counted.astype(np.float64) @ outcome_chances(of_reference, old)
    return np.asarray((outcome_chances(of, new) * inner).sum(axis=0))


def _refined(counted: Flags, null: Null, u: Floats, chances: Floats) -> tuple[float, float]:
    """Return the largest chance and its place: golden section beside the three best places."""
    best, place = 0.0, 0.5
    for at in np.argsort(chances)[-3:]:
        low = float(u[at - 1]) if at > 0 else 0.0
        high = float(u[at + 1]) if at + 1 < len(u) else 1.0
        for _ in range(_SHRINKS):
            inner = np.array([high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)])
            first, second = _chance_of(counted, null, inner)
            low, high = (float(inner[0]), high) if first < second else (low, float(inner[1]))
        middle = (low + high) / 2
        found = float(_chance_of(counted, null, np.array([middle]))[0])
        if found > best:
            best, place = found, middle
    return best, place


def _rejects(order: Floats, null: Null, alpha: float) -> Flags:
    """Return the outcomes whose p is at most `alpha`.

    Each set of outcomes "at least this far" holds the one before it, so that its largest chance
    grows with it, and the last set within `alpha` is found by halving.
    """
    flat = np.argsort(order, axis=None, kind="stable")
    values = order.ravel()[flat]
    apart = np.diff(values) > TIE * np.maximum(1e-300, np.abs(values[:-1]))
    lasts = np.append(np.flatnonzero(apart), len(values) - 1)
    of, of_reference = order.shape[0] - 1, order.shape[1] - 1
    u = _nuisances(of + of_reference)
    new, old = (outcome_chances(many, at) for many, at in zip((of, of_reference), null(u),
                                                              strict=True))  # fmt: skip

    def counted(step: int) -> Flags:
        found = np.zeros(order.size, dtype=bool)
        if step >= 0:
            found[flat[: lasts[step] + 1]] = True
        return found.reshape(order.shape)

    def chances(step: int) -> Floats:
        return np.asarray((new * (counted(step).astype(np.float64) @ old)).sum(axis=0))

    low, high = -1, len(lasts)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if chances(middle).max() <= alpha else (low, middle)
    while low >= 0 and _refined(counted(low), null, u, chances(low))[0] > alpha:
        low -= 1
    return counted(low)
