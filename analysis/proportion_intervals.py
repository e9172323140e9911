"""Exact intervals of the difference and of the ratio of two shares that pass.

An interval inverts two one-sided exact unconditional tests, each ordered by the score statistic
and each at half the error (Chan & Zhang 1999).  Inverting one two-sided test (Agresti & Min 2001)
gives somewhat shorter intervals, but its ends are no one-sided limits, and every rule of the
verdict reads them as such: the 90 % interval lies above -m where `proportions.no_worse` shows so
at 5 %.

The p of such a test need not fall steadily as the hypothesis moves away from what was seen (Röhmel
2005), so the limit is the outermost place where the test does not refuse, looked for on a grid
before it is closed in on.  Over all outcomes of 8 + 8, 16 + 16 and 12 + 20 coupons and seven
margins, interval and test disagreed once: 10 of 12 against 15 of 20, where the test shows "no worse
by .20" and the interval, which also minds larger losses, holds back.  Against Boschloo's test of no
difference, ordered otherwise, it decides 8 of 289 outcomes of 16 + 16 differently, and never more
boldly than its 95 %.

Largest chance of missing the truth, counted out over every outcome and a net of 205 by 205 true
shares (`tests/promises/test_proportion_intervals.py`), nominal .05 (and .10 where said):

| coupons | difference | ratio |
|---|---|---|
| 4 + 4 | .042 | .039 |
| 8 + 8 | .049 | .045 |
| 8 + 20 | .043 | .049 |
| 12 + 30 | .049 | .050 |
| 16 + 16 | .0499 | .048 |
| 24 + 24 | .049 | .049 |
| 8 + 20, 90 % | .098 | .099 |
| 16 + 16, 90 % | .099 | .099 |

Shares far from what was seen count as well as likely ones, as they do in the test: 56 of 70
against 48 of 80 has .038 to .345, where Mee's large-sample interval has .053 to .338.

Coupons are taken as independent; coupons of one set-up are not (`setup_proportions`).

References
----------
Chan, I. S. F. & Zhang, Z. (1999). Test-based exact confidence intervals for the difference of two
binomial proportions. *Biometrics* 55:1202-1209.
Miettinen, O. & Nurminen, M. (1985). Comparative analysis of two rates. *Statistics in Medicine*
4:213-226 (the score statistics of a difference and of a ratio).
Röhmel, J. (2005). Problems with existing procedures to calculate exact unconditional p-values for
non-inferiority/superiority and confidence intervals for two binomials and how to resolve them.
*Biometrical Journal* 47:37-47 (citations from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]

DIGITS = 6
"""Decimals of a score: what differs beyond is rounding, and would part outcomes that are tied."""
ROUGH = 32
"""Hypotheses tried between the end of the scale and what was seen."""
STEEPEST = 8
"""The p of a hypothesis is looked at closely from an eighth of the tail on: it can rise by a
factor of two from one hypothesis to the next and fall back."""
FINE = 128
"""Hypotheses tried where the limit may lie, for sixty coupons a gas; more for fewer."""
OUTWARD = 1e-6
"""Limits are moved outwards so far: just outside may lie a hypothesis at which outcomes tie."""
AT_ONCE = 100_000
"""Chances worked out at once."""
FURTHER = (0.3, 66)
"""How far beyond a hypothesis a p may rise again, and how many places there are looked at: as
closely as for the limit itself."""
HALVINGS = 16
"""Halvings of the cell in which the limit lies: 1e-8 of the scale."""


@dataclass(frozen=True, slots=True)
class Interval:
    """An interval with what was seen.

    Attributes
    ----------
    estimate
        Observed share, difference or ratio; NaN for the ratio of 0 to 0, infinite for x to 0.
    low, high
        Limits; the upper one of a ratio may be infinite.
    confidence
        Of both limits together, 0 to 1; each is a one-sided limit at (1 + confidence) / 2.
    """

    estimate: float
    low: float
    high: float
    confidence: float


@lru_cache(maxsize=256)
def difference_interval(
    passed: int, of: int, passed_reference: int, of_reference: int, confidence: float = 0.95
) -> Interval:
    """Return the exact interval of the share of the new less that of the reference.

    Parameters
    ----------
    passed, of
        Coupons of the new that passed, out of how many.
    passed_reference, of_reference
        The same of the reference.
    confidence
        0.95, or 0.90 for one-sided 95 % limits.

    Raises
    ------
    ValueError
        When more passed than there are, or there are none.
    """
    _check(((passed, of), (passed_reference, of_reference)), confidence)
    tail = (1 - confidence) / 2
    seen = passed / of - passed_reference / of_reference
    low = _lowest_difference(passed, of, passed_reference, of_reference, tail)
    high = -_lowest_difference(passed_reference, of_reference, passed, of, tail)
    return Interval(seen, max(-1.0, low), min(1.0, high), confidence)


@lru_cache(maxsize=256)
def ratio_interval(
    passed: int, of: int, passed_reference: int, of_reference: int, confidence: float = 0.95
) -> Interval:
    """Return the exact interval of the share of the new divided by that of the reference.

    Parameters
    ----------
    passed, of, passed_reference, of_reference, confidence
        As in `difference_interval`.

    Returns
    -------
    Interval
        From 0 where no coupon of the new passed; without an upper end (infinite) where none of
        the reference did.
    """
    _check(((passed, of), (passed_reference, of_reference)), confidence)
    tail = (1 - confidence) / 2
    one, zero = passed / of, passed_reference / of_reference
    seen = one / zero if zero else (math.inf if one else math.nan)
    low = _lowest_ratio(passed, of, passed_reference, of_reference, tail)
    least = _lowest_ratio(passed_reference, of_reference, passed, of, tail)
    return Interval(seen, low, 1 / least if least else math.inf, confidence)


def difference_above(
    passed: int,
    of: int,
    passed_reference: int,
    of_reference: int,
    hypothesis: float,
    confidence: float = 0.95,
) -> bool:
    """Whether the lower end of `difference_interval` lies above a hypothesis, in less time.

    The p of the hypothesis itself mostly says it; where it lies between half the tail and the
    tail a p further out may rise above it again, and is looked for, the limit itself only there.

    Parameters
    ----------
    passed, of, passed_reference, of_reference, confidence
        As in `difference_interval`.
    hypothesis
        Share of the new less that of the reference, from -1 to 1.
    """
    seen = passed / of - passed_reference / of_reference
    if hypothesis >= seen or hypothesis < -1:
        return hypothesis < seen
    if passed == 0 and passed_reference == of_reference:
        return False
    tail = (1 - confidence) / 2
    test = _difference_test(passed, of, passed_reference, of_reference)
    p = float(test.quick(np.array([hypothesis]))[0])
    if p > tail:
        return False
    if p > 0.45 * tail:
        p = test.refined(hypothesis)
    if p <= tail / 2 or p > tail:
        return p <= tail
    further = np.linspace(max(-1.0, hypothesis - FURTHER[0]), hypothesis, FURTHER[1])[1:-1]
    if float(test.quick(further).max()) <= 0.95 * tail:
        return True
    return hypothesis < _lowest_difference(passed, of, passed_reference, of_reference, tail)


# ------------------------------------------------------------------------------- scores


def difference_scores(of: int, of_reference: int, difference: ArrayLike) -> Floats:
    """Return the score z of every outcome against a true difference, large is above it.

    Parameters
    ----------
    difference
        Share of the new less that of the reference under the hypothesis, -1 to 1; one or several.

    Returns
    -------
    Shape (..., of + 1, of_reference + 1), rounded to `DIGITS`; 0 where nothing speaks against it.
    """
    shift = np.asarray(difference, dtype=float)[..., None, None]
    one, zero = _shares(of, of_reference)
    held = _reference_share(one, zero, of / of_reference, shift)
    new = np.clip(held + shift, 0.0, 1.0)
    variance = new * (1 - new) / of + held * (1 - held) / of_reference
    return _standardised(one - zero - shift, variance)


def ratio_scores(of: int, of_reference: int, ratio: ArrayLike) -> Floats:
    """Return the score z of every outcome against true ratios above 0; shape as above."""
    times = np.asarray(ratio, dtype=float)[..., None, None]
    one, zero = _shares(of, of_reference)
    passed, passed_reference = one * of, zero * of_reference
    a = (of + of_reference) * times
    b = of * times + passed + of_reference + passed_reference * times
    c = passed + passed_reference
    held = 2 * c / (b + np.sqrt(np.maximum(b * b - 4 * a * c, 0.0)))
    new = np.clip(held * times, 0.0, 1.0)
    variance = new * (1 - new) / of + times**2 * held * (1 - held) / of_reference
    # Divided by the larger of 1 and the ratio, so that rounding treats both ends alike.
    scale = np.maximum(1.0, times)
    return _standardised((one - times * zero) / scale, variance / scale**2)


def _shares(of: int, of_reference: int) -> tuple[Floats, Floats]:
    return (np.arange(of + 1) / of)[:, None], (np.arange(of_reference + 1) / of_reference)[None, :]


def _standardised(above: Floats, variance: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        z = above / np.sqrt(variance)
    # No scatter at all under the hypothesis: the outcome fits it exactly, or cannot happen.
    return np.asarray(np.round(np.where(np.abs(above) < 1e-12, 0.0, z), DIGITS))


def _reference_share(one: Floats, zero: Floats, weight: float, shift: Floats) -> Floats:
    """Likeliest share of the reference when the new is `shift` higher.

    `weight` is coupons of the new for each of the reference.  Cleared of its denominators the
    slope of the likelihood is a cubic in the reference's share q with one root in the range that
    is possible, w (a - p) q (1 - q) + (z - q) p (1 - p) with p = q + shift; found in closed form
    (Miettinen & Nurminen 1985, appendix), then mended by Newton, for the arc cosine loses half the
    digits near its ends and with them what is tied.
    """
    cube = 1.0 + weight
    square = -(weight * (one - shift + 1) + zero + 1 - 2 * shift)
    line = weight * (one - shift) + zero * (1 - 2 * shift) - shift * (1 - shift)
    rest = zero * shift * (1 - shift)
    middle = -square / (3 * cube)
    depth = np.sqrt(np.maximum(middle**2 - line / (3 * cube), 0.0))
    twist = middle**3 + square * line / (6 * cube**2) - rest / (2 * cube)
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = np.where(depth > 0, twist / depth**3, 0.0)
    # The middle one of three roots: the likelihood rises before it and falls after.
    q = middle + 2 * depth * np.cos((np.arccos(np.clip(turn, -1, 1)) - 2 * np.pi) / 3)
    for _ in range(2):
        slope = (3 * cube * q + 2 * square) * q + line
        value = ((cube * q + square) * q + line) * q + rest
        with np.errstate(divide="ignore", invalid="ignore"):
            q = np.where(np.abs(slope) > 1e-6, q - value / slope, q)
    return np.asarray(np.clip(q, np.maximum(0.0, -shift), np.minimum(1.0, 1.0 - shift)))


# ------------------------------------------------------------------------------- limits


Scores = Callable[[Floats], Floats]
"""From hypotheses (h,) to the scores of all outcomes (h, n + 1, n0 + 1)."""
Lines = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""From hypotheses (h, 1) and places (h, u) on 0 to 1 to the shares of the new and the reference."""


def _lowest_difference(x: int, n: int, x0: int, n0: int, tail: float) -> float:
    if x == 0 and x0 == n0:
        return -1.0
    test = _difference_test(x, n, x0, n0)
    return test.outermost(-1.0, x / n - x0 / n0, tail, at_end=-1.0)


def _difference_test(x: int, n: int, x0: int, n0: int) -> _Test:
    def lines(shift: Floats, u: Floats) -> tuple[Floats, Floats]:
        held = np.maximum(0.0, -shift) + u * (1 - np.abs(shift))
        return held + shift, held

    return _Test(x, x0, n, n0, lambda shift: difference_scores(n, n0, shift), lines)


def _lowest_ratio(x: int, n: int, x0: int, n0: int, tail: float) -> float:
    if x == 0:
        return 0.0

    def lines(log: Floats, u: Floats) -> tuple[Floats, Floats]:
        ratio = np.exp(log)
        held = u * np.minimum(1.0, 1.0 / ratio)
        return np.minimum(held * ratio, 1.0), held

    test = _Test(x, x0, n, n0, lambda log: ratio_scores(n, n0, np.exp(log)), lines)
    # Below this ratio the chance of a single pass of the new is under a quarter of the tail.
    least = math.log(tail / (4 * n))
    # With no pass of the reference the ratio seen is infinite: begin above every limit instead.
    seen = math.log(x * n0 / (n * x0)) if x0 else math.log(4 * n0 / tail)
    return math.exp(test.outermost(least, seen, tail, at_end=-math.inf))


@dataclass(frozen=True, slots=True)
class _Test:
    """One-sided tests that the new lies above hypotheses, for one outcome."""

    x: int
    x0: int
    n: int
    n0: int
    scores: Scores
    lines: Lines

    def outermost(self, end: float, seen: float, tail: float, at_end: float) -> float:
        """Lowest hypothesis that the test at `tail` does not refuse."""
        rough = np.linspace(end, seen, ROUGH + 1)[1:]
        p = self.quick(rough)
        first, last = int(np.argmax(p > tail / STEEPEST)), int(np.argmax(p > tail))
        if not first and self.refined(end + 1e-9) > tail:
            return at_end
        low = float(rough[first - 1]) if first else end
        grid = np.linspace(low, float(rough[last]), round(FINE * 200 / (self.n + self.n0 + 80)) + 1)
        p = self.quick(grid)
        low, high = float(grid[-2]), float(grid[-1])
        for place in np.flatnonzero(p > 0.95 * tail):
            # A net of nuisance places may miss a little of the largest chance.
            if place and (p[place] > tail or self.refined(float(grid[place])) > tail):
                low, high = float(grid[place - 1]), float(grid[place])
                break
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            low, high = (low, middle) if self.refined(middle) > tail else (middle, high)
        return low - OUTWARD

    def quick(self, at: Floats) -> Floats:
        """P at hypotheses (h,) over fewer nuisance places, a little low at worst."""
        u = _places((self.n + self.n0) // 5)
        size = max(1, AT_ONCE // (len(u) * (self.n + self.n0)))
        parts = [at[start : start + size] for start in range(0, len(at), size)]
        return np.concatenate([self.chances(part, u[None, :]).max(axis=1) for part in parts])

    def refined(self, at: float) -> float:
        """P at one hypothesis: every place, then twice closer round the best."""
        where = np.array([at])
        u = _places(self.n + self.n0)
        chances = self.chances(where, u[None, :])[0]
        p, place, width = float(chances.max()), float(u[chances.argmax()]), 1.0 / len(u)
        for _ in range(2):
            near = np.clip(place + width * np.linspace(-2, 2, 25), 0.0, 1.0)
            chances = self.chances(where, near[None, :])[0]
            if chances.max() > p:
                p, place = float(chances.max()), float(near[chances.argmax()])
            width /= 6
        return p

    def chances(self, at: Floats, u: Floats) -> Floats:
        """Chance of an outcome as far above each hypothesis, at every nuisance place."""
        scores = self.scores(at)
        counted = (scores >= scores[:, self.x, self.x0, None, None]).astype(np.float64)
        new, old = self.lines(at[:, None], u)
        inner = counted @ _chances(self.n0, old)
        return np.asarray((_chances(self.n, new) * inner).sum(axis=1))


def _places(coupons: int) -> Floats:
    """Nuisance places: a chance is a polynomial of degree `coupons`, steepest near the ends."""
    many = 40 + 2 * coupons
    return np.asarray((1 - np.cos(np.pi * (np.arange(many) + 0.5) / many)) / 2)


def _chances(of: int, shares: Floats) -> Floats:
    """Chance of 0 to `of` passes at shares (..., u), shape (..., of + 1, u)."""
    k = np.arange(of + 1)[:, None]
    logs = special.gammaln(of + 1) - special.gammaln(k + 1) - special.gammaln(of - k + 1)
    inside = np.clip(shares, 1e-300, 1.0 - 1e-16)[..., None, :]
    return np.asarray(np.exp(logs + k * np.log(inside) + (of - k) * np.log1p(-inside)))


def _check(outcomes: tuple[tuple[int, int], ...], confidence: float) -> None:
    for some, many in outcomes:
        if many < 1 or not 0 <= some <= many:
            raise ValueError(f"{some} of {many} cannot have passed")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must be between 0 and 1, got {confidence!r}")
