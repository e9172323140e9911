"""How much readings, coupons and set-ups scatter, each with its interval, and what more would buy.

Three mean squares carry it: between readings of one coupon, between coupons of one set-up, between
set-ups.  A component is a difference of two of them, with the modified large-sample interval of
`weldtrial.analysis.mean_squares`.  In a balanced layout the mean squares are independent and the
estimates equal those of the fit.  In an unbalanced one the set-up mean square is the unweighted one
(every contrast between set-ups scaled by its own size), which is close to chi-squared, and the
estimates shown remain those of the fit.

Measured (balanced, 6 rounds of 2 set-ups of 3 coupons of 2 readings): see
``tests/promises/test_scatter.py``.

References
----------
Burdick, R. K. & Graybill, F. A. (1992). *Confidence Intervals on Variance Components*. Marcel
Dekker (intervals of differences; unweighted sums of squares; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from weldtrial.analysis.findings import Comparison, Variance
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.mean_squares import MeanSquare, component
from weldtrial.analysis.mixed import SetupFit
from weldtrial.analysis.model import ModelFit
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.precision import Spread
from weldtrial.analysis.scatter_rows import Bought, ScatterRow, Stratum, WouldBuy
from weldtrial.analysis.setup_layout import lay_out
from weldtrial.shared.factors import Factor


def scatter_rows(
    fit: ModelFit, observations: Sequence[Observation], variance: Variance
) -> tuple[ScatterRow, ...]:
    """Return the scatter of readings, coupons and set-ups, those that can be told.

    Parameters
    ----------
    fit
        The response as fitted.
    observations
        The coupons it was fitted to.
    variance
        Its variances as estimated, raw.
    """
    reading = _reading_square(observations)
    share = sum(1 / len(o.readings) for o in observations) / len(observations)
    rows: list[ScatterRow] = []
    if reading is not None:
        rows.append(_row("reading", [1.0], [reading], variance.reading, reading.df))
    within, between, size = _squares(fit)
    if within is not None:
        squares = [within] if reading is None else [within, reading]
        weights = [1.0] if reading is None else [1.0, -share]
        rows.append(
            _row("coupon", weights, squares, variance.coupon, within.df, once=reading is None)
        )
    if within is not None and between is not None:
        rows.append(
            _row("setup", [1 / size, -1 / size], [between, within], variance.setup, between.df)
        )
    return tuple(rows)


def would_buy(
    comparison: Comparison,
    factor: Factor,
    observations: Sequence[Observation],
    variance: Variance,
    *,
    confidence: float = 0.95,
) -> WouldBuy | None:
    """Return what twice the readings, coupons or set-ups would make of the interval.

    None where nothing was compared, or where no scatter between coupons is known.
    """
    if comparison.difference is None or comparison.df is None or variance.coupon is None:
        return None
    mine = [
        o for o in observations
        if o.levels.get(factor.name) in (comparison.level, comparison.reference)
    ]  # fmt: skip
    setups = len({o.setup for o in mine} - {None}) / 2
    coupons, readings = len(mine) / 2, sum(len(o.readings) for o in mine) / len(mine)
    found = Spread(
        math.sqrt(max(0.0, variance.coupon)),
        math.sqrt(max(0.0, variance.setup or 0.0)),
        math.sqrt(variance.reading or 0.0),
    )
    if found.alone == 0:
        return None
    hard = factor.hard_to_change and variance.setup is not None and setups > 0
    blocks = len({o.round for o in observations} - {None})
    levels = len(factor.levels)
    tail = (1 - confidence) / 2

    def half(cuts: float, each: float, units: float, df: float) -> float:
        """Half-width with `cuts` readings a coupon, `each` coupons and `units` set-ups a level."""
        own = (found.coupon**2 + found.reading**2 / cuts) / each
        unit = found.setup**2 / units if hard else 0.0
        return -float(special.stdtrit(df, tail)) * math.sqrt(2 * (own + unit))

    now = comparison.df
    rows: list[Bought] = []
    if variance.reading:
        rows.append(Bought("readings", half(2 * readings, coupons, setups, now), now))
    # Every further unit adds a degree of freedom, less one for every further round.
    more = now + levels * setups - blocks if hard else now + len(observations)
    more = max(now, more)
    if hard:
        rows.append(Bought("coupons", half(readings, 2 * coupons, setups, now), now))
        rows.append(Bought("setups", half(readings, 2 * coupons, 2 * setups, more), more))
    else:
        rows.append(Bought("coupons", half(readings, 2 * coupons, setups, more), more))
    return WouldBuy(
        comparison.level, comparison.reference, half(readings, coupons, setups, now), now,
        tuple(rows),
    )  # fmt: skip


# ------------------------------------------------------------------------------- inside


def _reading_square(observations: Sequence[Observation]) -> MeanSquare | None:
    squares = sum((r - o.value) ** 2 for o in observations for r in o.readings)
    df = sum(len(o.readings) - 1 for o in observations)
    return MeanSquare("reading", squares, df) if df > 0 else None


def _squares(fit: ModelFit) -> tuple[MeanSquare | None, MeanSquare | None, float]:
    """Return the mean squares within and between set-ups, and coupons behind one contrast."""
    core = fit.core
    if isinstance(core, LeastSquaresFit):
        squares = core.residual_variance * core.df_resid
        return MeanSquare("coupon", squares, core.df_resid), None, 1.0
    if not isinstance(core, SetupFit) or fit.setup is None:
        return None, None, 1.0
    layout = lay_out(fit.x, fit.setup)
    contrasts = (layout.contrasts.T @ fit.y) ** 2
    residual = fit.y - layout.q @ (layout.q.T @ fit.y)
    within = max(0.0, float(residual @ residual - contrasts.sum()))
    size = float(len(layout.spread) / np.sum(1 / layout.spread))
    between = float(size * np.sum(contrasts / layout.spread))
    return (
        MeanSquare("coupon", within, layout.df_within),
        MeanSquare("setup", between, layout.df_setup),
        size,
    )


def _row(
    what: Stratum,
    weights: Sequence[float],
    squares: Sequence[MeanSquare],
    estimate: float | None,
    df: int,
    *,
    once: bool = False,
) -> ScatterRow:
    part = component(what, weights, squares)
    shown = max(0.0, part.raw if estimate is None else estimate)
    # In an unbalanced layout the estimate of the fit may lie a little outside.
    low, high = min(part.low, shown), max(part.high, shown)
    return ScatterRow(what, math.sqrt(shown), math.sqrt(low), math.sqrt(high), df, once)
