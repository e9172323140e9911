"""Estimates when readings stop at a gauge limit and set-ups are random.

What is changed between set-ups: set-up and coupon scatter come from the restricted likelihood, the
set-up variance free to go negative (`weldtrial.analysis.censored_restricted`), and a contrast is
judged by

    t^2 = 2 [max l(b) - max l(b | c'b = v)],   scatter held at its estimate,

against Student's t with the degrees of freedom left between set-ups.  What is changed inside
set-ups is judged with every set-up fixed, by `weldtrial.analysis.censored`.  With nothing beyond a
limit and a balanced layout both are the Kenward-Roger, that is the strata, interval; where nothing
is beyond a limit use `weldtrial.analysis.mixed`.

By simulation of 54 cells (6 × 2 × 3, 4 × 2 × 4 and 4 × 2 × 2 rounds, gases, coupons; intraclass
correlation 0 to .5; 15 to 50 % beyond the limit, one gas more than the other or not) 16 to 67 of
1000 intervals of 95 % leave out the truth, 38 on average; nothing is added to the cut-off for
coupons beyond the limit.  Refused are fewer than p + 1 coupons read, fewer than 2 degrees of
freedom between set-ups, and limits that leave no set-up scatter to be seen, as where one gas of
every round lies wholly beyond.  The table, and what else was tried, stand in
`tests/promises/test_censored_setups_promises.py`.

References
----------
Cox, D. R. & Reid, N. (1987), J. R. Stat. Soc. B 49, 1-39.
Kenward, M. G. & Roger, J. H. (1997), Biometrics 53, 983-997.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weldtrial.analysis.censored import NO_SCATTER, fit_censored
from weldtrial.analysis.censored_climb import Flags, held
from weldtrial.analysis.censored_profile import Profile, profile, runs_away
from weldtrial.analysis.censored_readings import INSTEAD, Kinds, Scaled, kinds, read_in, refuse
from weldtrial.analysis.censored_restricted import (
    HIGHEST_RATIO,
    LOWEST,
    Setups,
    SigmaKnown,
    find_ratio,
)
from weldtrial.analysis.linear import Denominator, Floats, contrast_rows, inverse
from weldtrial.analysis.setup_layout import SetupLayout, lay_out
from weldtrial.shared.problems import NotEstimable

NODES = 20
GRID = 14
REFINE = 14
LEAST_SETUP_DF = 2
"""With 1 the bound on the negative set-up variance leaves 0 to 2 false alarms in 100, and intervals
that say nothing."""
MOST_STRIDES = 12
"""Strides, of one spread of the contrast each, between a value whose peak is known and the next."""
WITHIN_SHARE = 0.8
"""Share of a contrast's information that must lie within set-ups for it to be judged there."""


@dataclass(frozen=True, slots=True, eq=False)
class CensoredSetupFit:
    """A response with readings at a gauge limit, set-ups random.

    Attributes
    ----------
    coefficients
        Shape (p,), response unit per coded unit; far out where a level lies beyond a limit.
    sigma
        Coupon scatter within a set-up.
    ratio
        Set-up over coupon variance; may be negative.
    covariance
        Of the coefficients at that scatter, (p, p), for display.
    n, uncensored, p, setups
        Coupons; those neither above nor below a limit; coefficients; set-ups.
    df_setup
        Degrees of freedom left between set-ups.
    df_known
        Left between the set-ups in which at least one coupon was read: below 1 the set-up scatter
        cannot be told, as where one gas of every round lies wholly beyond the limit.
    df_within
        Left within set-ups, a coupon beyond a limit counting half; may be below 1.
    near_bound
        True when set-ups agree so much better than chance that the ratio sits at its bound.
    kinds
        How many readings of each kind.
    fitted
        X b, shape (n,).
    """

    coefficients: Floats
    sigma: float
    ratio: float
    covariance: Floats
    n: int
    uncensored: int
    p: int
    setups: int
    df_setup: int
    df_known: int
    df_within: float
    near_bound: bool
    kinds: Kinds
    fitted: Floats
    x: Floats = field(repr=False)
    low: Floats = field(repr=False)
    high: Floats = field(repr=False)
    layout: SetupLayout = field(repr=False)
    scaled: Scaled = field(repr=False)
    hill: Setups = field(repr=False)
    place: tuple[Floats, Floats] = field(repr=False)
    height: float = field(repr=False)

    @property
    def setup_variance(self) -> float:
        """Set-up variance, raw: may be negative."""
        return self.ratio * self.sigma**2

    @property
    def coupon_variance(self) -> float:
        """Variance of coupons within a set-up."""
        return self.sigma**2

    @property
    def yardstick(self) -> None:
        """Student's t, through the likelihood."""
        return None

    def denominator(self, contrasts: Floats) -> Denominator:
        """Degrees of freedom of the stratum of the contrasts: the set-ups' if any lies there."""
        rows = contrast_rows(contrasts, self.p)
        inside = all(within_setups(self.layout, row) for row in rows)
        return Denominator(self.df_within if inside else float(self.df_setup))


def fit_censored_setups(
    x: ArrayLike, low: ArrayLike, high: ArrayLike, setup: ArrayLike
) -> CensoredSetupFit:
    """Fit readings (low, high), each (n,), on x (n, p) with set-ups (n,) random.

    Raises
    ------
    NotEstimable
        As `fit_censored`; or nothing is left between set-ups, or within them, to show scatter.
    ValueError
        An end is not a number, or low is above high.
    """
    layout = lay_out(x, setup)
    scaled = read_in(x, low, high)
    refuse(scaled)
    found = kinds(scaled.readings)
    hill = Setups(scaled.q, scaled.readings, membership(layout), NODES)
    ratio, gamma, theta = find_ratio(hill, GRID, REFINE)
    if theta[0] > NO_SCATTER or ratio[0] > 0.5 * HIGHEST_RATIO:
        raise NotEstimable(
            "coupons of one set-up read the same throughout: no coupon scatter to judge by",
            hint="check that the gauge can show coupon differences",
        )
    peaks = hill.climb(ratio, (gamma, theta), SigmaKnown)
    scale, p = float(scaled.scale[0]), scaled.q.shape[1]
    back = inverse(scaled.r)
    sigma = scale / float(theta[0])
    moved = peaks.gamma[0] / theta[0]
    values, vectors = np.linalg.eigh(-peaks.hessian[0, :p, :p])
    half = sigma * back @ (vectors / np.sqrt(np.maximum(values, 1e-14 * values.max())))
    known = found.exact + found.between
    n = found.total
    biggest = float(layout.sizes.max())
    return CensoredSetupFit(
        coefficients=back @ moved * scale + scaled.centre[0] * scaled.ones,
        sigma=sigma,
        ratio=float(ratio[0]),
        covariance=half @ half.T,
        n=n,
        uncensored=known,
        p=p,
        setups=len(layout.sizes),
        df_setup=layout.df_setup,
        df_known=int(known_df(layout, ~np.isinf(scaled.readings.high - scaled.readings.low))[0]),
        df_within=within_df(layout, np.array([known]))[0],
        near_bound=1.0 + float(ratio[0]) * biggest < 1.05 * LOWEST,
        kinds=found,
        fitted=scaled.q @ moved * scale + scaled.centre[0],
        x=np.asarray(x, dtype=float),
        low=np.asarray(low, dtype=float),
        high=np.asarray(high, dtype=float),
        layout=layout,
        scaled=scaled,
        hill=hill,
        place=(peaks.gamma, theta),
        height=float(peaks.log_likelihood[0]),
    )


def membership(layout: SetupLayout) -> Floats:
    """Return set-up membership (n, K), one 1 a row."""
    return np.asarray(np.eye(len(layout.sizes))[layout.setup], dtype=np.float64)


def within_df(layout: SetupLayout, known: NDArray[np.int_]) -> Floats:
    """Return degrees of freedom within set-ups for so many coupons known (m,), others half."""
    n = len(layout.q)
    return np.asarray(layout.df_within - 0.5 * (n - known), dtype=np.float64)


def known_df(layout: SetupLayout, known: Flags) -> NDArray[np.int_]:
    """Return degrees of freedom between set-ups among the coupons known, (m, n) to (m,)."""
    rows = known[:, :, None]
    between = np.column_stack([layout.q, membership(layout)])
    both = np.linalg.matrix_rank(np.where(rows, between, 0.0), tol=1e-8)
    return np.asarray(both - np.linalg.matrix_rank(np.where(rows, layout.q, 0.0), tol=1e-8))


def within_setups(layout: SetupLayout, contrast: Floats) -> bool:
    """Whether a contrast (p,) is judged within set-ups, by the layout alone.

    So it is when the coupons' differences inside set-ups hold at least 0.8 of what all coupons
    together would tell about it if set-ups did not differ.
    """
    line = np.linalg.solve(layout.r.T, contrast)
    weights, left = np.linalg.lstsq(layout.within, line, rcond=1e-9)[0], 0.0
    left = float(np.max(np.abs(layout.within @ weights - line)))
    if left > 1e-7 * float(np.max(np.abs(line))):
        return False
    return bool(line @ line >= WITHIN_SHARE * (line @ weights))


def _too_few(fit: CensoredSetupFit, inside: bool) -> NotEstimable:
    beyond = f"{fit.n - fit.uncensored} of {fit.n} coupons are beyond the gauge limit"
    if inside:
        return NotEstimable(
            f"{beyond}: too few were read within set-ups to show how coupons of one set-up differ; "
            + INSTEAD,
            hint="use a gauge that reaches further, or weld more coupons a set-up",
        )
    if fit.df_known < 1:
        return NotEstimable(
            f"{beyond}: the set-ups in which one was read leave none over to show how set-ups "
            f"differ; {INSTEAD}",
            hint="use a gauge that reaches further, or set every level up again in another round",
        )
    return NotEstimable(
        f"{beyond}, and {fit.setups} set-ups leave {fit.df_setup} over to show how set-ups differ: "
        f"an average estimated past a limit takes at least 2; {INSTEAD}",
        hint="set every level up again in another round",
    )


def _inside(layout: SetupLayout) -> tuple[Floats, Floats]:
    """Orthonormal columns (n, r) of what varies inside set-ups, and x's basis inside them."""
    means = layout.sums / layout.sizes[:, None]
    inner = layout.q - means[layout.setup]
    left, size, _ = np.linalg.svd(inner, full_matrices=False)
    return np.asarray(left[:, size > 1e-8]), inner


def inside_rank(layout: SetupLayout) -> int:
    """Return how many columns of the model vary inside set-ups."""
    return int(_inside(layout)[0].shape[1])


def inside_model(layout: SetupLayout, contrast: Floats) -> tuple[Floats, Floats]:
    """Return columns with every set-up fixed, (n, K + r), and a contrast of theirs, (K + r,).

    The contrast (p,) must be one that `within_setups` says yes to.
    """
    columns, inner = _inside(layout)
    line = np.linalg.solve(layout.r.T, contrast)
    along = inner @ np.linalg.lstsq(layout.within, line, rcond=1e-9)[0]
    fixed = np.column_stack([membership(layout), columns])
    return fixed, np.asarray(fixed.T @ along)


class _KnownScatter:
    """t^2 of c'b = v at the estimated scatter, climbing from the nearest place known."""

    def __init__(self, fit: CensoredSetupFit, contrast: Floats) -> None:
        self.fit, self.contrast = fit, contrast
        line = fit.scaled.contrast(contrast)
        self.free, self.shift = held(fit.scaled.q, line)
        start = fit.place[0] @ np.linalg.svd(line[None, :])[2][1:].T
        self.known = {float(np.ravel(contrast) @ fit.coefficients): start}
        self.stride = fit.sigma * float(np.sqrt(line @ line))

    def squared(self, value: float) -> float:
        """Return t^2 of the contrast being `value`; inf where no way leads there.

        With a negative set-up variance the likelihood is not concave: a climb that begins far
        off can end on a false peak, or find no likelihood at all.  So the way goes by strides,
        from the nearest value whose peak is known.
        """
        near = min(self.known, key=lambda one: abs(value - one))
        strides = 1
        if self.fit.ratio < 0:
            strides = min(MOST_STRIDES, max(1, math.ceil(abs(value - near) / self.stride)))
        height, place = -math.inf, self.known[near]
        for at in np.linspace(near, value, strides + 1)[1:]:
            height, found = self._climb(float(at), place)
            if math.isfinite(height):
                place = found
        if not math.isfinite(height):
            return math.inf
        self.known[value] = place
        return 2.0 * (self.fit.height - height)

    def _climb(self, value: float, start: Floats) -> tuple[float, Floats]:
        """Return the highest log-likelihood with the contrast held, and where it is reached."""
        fit = self.fit
        at = fit.scaled.value(self.contrast, np.array([value]))
        moved = fit.scaled.readings.moved(at[:, None] * self.shift, np.ones(1))
        hill = Setups(self.free, moved, fit.hill.member, fit.hill.nodes)
        peaks = hill.climb(np.array([fit.ratio]), (start, fit.place[1]), SigmaKnown)
        return float(peaks.log_likelihood[0]), peaks.gamma


def profile_setups(fit: CensoredSetupFit, contrast: ArrayLike) -> Profile:
    """Return one contrast (p,) of a fit with set-ups, to be tested at any value.

    Raises
    ------
    NotEstimable
        Both sides of the contrast lie beyond limits; or too few coupons were read within set-ups
        to judge what is changed inside them.
    """
    row = contrast_rows(contrast, fit.p)
    if len(row) != 1:
        raise ValueError(f"a profile takes one contrast, got {len(row)}")
    if within_setups(fit.layout, row[0]):
        if fit.uncensored < len(fit.layout.sizes) + inside_rank(fit.layout) + 1:
            raise _too_few(fit, True)
        columns, line = inside_model(fit.layout, row[0])
        return profile(fit_censored(columns, fit.low, fit.high), line)
    if fit.df_setup < LEAST_SETUP_DF or fit.df_known < 1:
        raise _too_few(fit, False)
    inner = float(row[0] @ fit.coefficients)
    estimate = runs_away(fit.x, fit.scaled, row[0]) or inner
    finite = math.isfinite(estimate)
    se = float((row @ fit.covariance @ row.T)[0, 0]) ** 0.5 if finite else math.inf
    unit = fit.sigma * float(np.sqrt(np.sum(fit.scaled.contrast(row[0]) ** 2)))
    return Profile(estimate, se, float(fit.df_setup), unit, inner, _KnownScatter(fit, row[0]))
