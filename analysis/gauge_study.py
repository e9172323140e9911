"""Is the gauge good enough?  Repeat readings of the same coupons, by one or more readers.

*Repeatability* is the scatter of one reader reading one coupon again; *reproducibility* what
readers add, each his own way and each coupon differently; together they are the gauge.  Components
come from the expected mean squares of balanced studies; a negative one is shown as it came out and
counted as zero.  Unbalanced studies are refused: the missing readings are named, and cheap to take.

References
----------
AIAG (2010). *Measurement Systems Analysis*, 4th ed., chapter III B (crossed study by ANOVA, the
pooling of an interaction with p above .25, distinguishable classes).
NIST/SEMATECH e-Handbook of Statistical Methods, sections 2.4.4 (nested study) and 7.4.4.
Burdick, R. K., Borror, C. M. & Montgomery, D. C. (2005). *Design and Analysis of Gauge R&R
Studies*. SIAM (intervals).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from weldtrial.analysis.gauge_readings import crossed_table, nested_table
from weldtrial.analysis.mean_squares import Component, MeanSquare, component
from weldtrial.shared.problems import NotEstimable

POOL = 0.25
"""p of the reader-by-coupon interaction above which it is counted as repeatability (AIAG)."""
PER_CLASS = 1.41
"""Classes that can be told apart: so many times coupon scatter over gauge scatter (AIAG)."""


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """A gauge study.

    Attributes
    ----------
    squares
        Lines of the analysis of variance, the interaction unpooled.
    parts
        Components of every source in the study.
    repeatability, reproducibility, gauge, coupon, total
        The same put together; `reproducibility` is None with one reader, `coupon` where one
        standard was read throughout.
    reader, interaction
        The two parts of reproducibility, None where there are no readers, or it was pooled.
    interaction_p
        p of the reader-by-coupon interaction, None outside crossed studies.
    pooled
        Whether it was counted as repeatability.
    """

    squares: tuple[MeanSquare, ...]
    parts: tuple[Component, ...]
    repeatability: Component
    reproducibility: Component | None
    gauge: Component
    coupon: Component | None
    total: Component
    reader: Component | None
    interaction: Component | None
    interaction_p: float | None
    pooled: bool

    def percent(self, of: Component) -> float:
        """Standard deviation of a part as a percentage of the total one (they do not add up)."""
        return 100 * of.sd / self.total.sd if self.total.sd else math.nan

    def percent_of_variance(self, of: Component) -> float:
        """Variance of a part as a percentage of the total (these add up)."""
        return 100 * of.variance / self.total.variance if self.total.variance else math.nan

    @property
    def classes(self) -> int | None:
        """Classes of coupons the gauge can tell apart, at least 1; None without coupons."""
        if self.coupon is None:
            return None
        if self.gauge.sd == 0:
            return None
        return max(1, math.floor(PER_CLASS * self.coupon.sd / self.gauge.sd))


@dataclass(frozen=True, slots=True)
class GaugeCost:
    """What the gauge costs a trial.

    Attributes
    ----------
    sd_reading
        Scatter that the gauge puts on a coupon's value, in the response's unit.
    sd_value
        Scatter of a coupon's value, welding and gauge together.
    inflation
        Standard errors with this gauge over those with a perfect one, at least 1.
    coupons
        Coupons needed with this gauge for each one that a perfect one would need.
    """

    sd_reading: float
    sd_value: float
    inflation: float
    coupons: float


def crossed(
    values: ArrayLike,
    coupon: Sequence[str],
    reader: Sequence[str],
    *,
    pool: bool | None = None,
    confidence: float = 0.95,
) -> GaugeStudy:
    """Analyse a study in which every reader read every coupon equally often.

    Parameters
    ----------
    values
        Readings, shape (n,), in the response's unit.
    coupon, reader
        What was read and by whom, one entry a reading.
    pool
        Count the reader-by-coupon interaction as repeatability: True, False, or None for AIAG's
        rule (p above .25).  Pooling shortens intervals; it is a choice and is reported.
    confidence
        Of the intervals.

    Raises
    ------
    NotEstimable
        Fewer than two coupons, readers or readings of each, readings missing, or no scatter.
    """
    table = crossed_table(values, reader, coupon)
    readers, coupons, repeats = table.shape
    if readers < 2:
        raise NotEstimable("one reader only: readers cannot be compared",
                           hint="analyse it as repeats within coupons")  # fmt: skip
    cells, grand = table.mean(axis=2), table.mean()
    by_reader, by_coupon = cells.mean(axis=1) - grand, cells.mean(axis=0) - grand
    rest = cells - grand - by_reader[:, None] - by_coupon
    squares = (
        MeanSquare("coupon", _squares(readers * repeats, by_coupon, table), coupons - 1),
        MeanSquare("reader", _squares(coupons * repeats, by_reader, table), readers - 1),
        MeanSquare("reader by coupon", _squares(repeats, rest, table),
                   (readers - 1) * (coupons - 1)),
        MeanSquare("repeatability", _squares(1, table - cells[..., None], table),
                   readers * coupons * (repeats - 1)),
    )  # fmt: skip
    _refuse_still(squares[-1], squares[-2])
    each, again = squares[2], squares[3]
    p = float(special.fdtrc(each.df, again.df, each.value / again.value)) if again.squares else 0.0
    merge = p > POOL if pool is None else pool
    build = _crossed_pooled if merge else _crossed_apart
    return build(squares, (readers, coupons, repeats), p, confidence)


def _crossed_apart(
    squares: tuple[MeanSquare, ...], shape: tuple[int, int, int], p: float, confidence: float
) -> GaugeStudy:
    o, c, r = shape

    def of(name: str, *weights: float) -> Component:
        return component(name, weights, squares, confidence)

    repeatability = of("repeatability", 0, 0, 0, 1)
    coupon = of("coupon", 1 / (o * r), 0, -1 / (o * r), 0)
    reader = of("reader", 0, 1 / (c * r), -1 / (c * r), 0)
    each = of("reader by coupon", 0, 0, 1 / r, -1 / r)
    both = of("reproducibility", 0, 1 / (c * r), (c - 1) / (c * r), -1 / r)
    gauge = of("gauge", 0, 1 / (c * r), (c - 1) / (c * r), (r - 1) / r)
    total = of("total", 1 / (o * r), 1 / (c * r), (o * c - o - c) / (o * c * r), (r - 1) / r)
    # A negative part counts as zero, so that the parts add up to what is shown.
    both = _sum_of("reproducibility", (reader, each), both)
    gauge = _sum_of("gauge", (repeatability, reader, each), gauge)
    total = _sum_of("total", (coupon, repeatability, reader, each), total)
    return GaugeStudy(
        squares, (coupon, reader, each, repeatability), repeatability, both, gauge, coupon,
        total, reader, each, p, False,
    )  # fmt: skip


def _crossed_pooled(
    squares: tuple[MeanSquare, ...], shape: tuple[int, int, int], p: float, confidence: float
) -> GaugeStudy:
    o, c, r = shape
    error = MeanSquare(
        "repeatability, interaction counted in",
        squares[2].squares + squares[3].squares,
        squares[2].df + squares[3].df,
    )
    lines = (squares[0], squares[1], error)

    def of(name: str, *weights: float) -> Component:
        return component(name, weights, lines, confidence)

    repeatability = of("repeatability", 0, 0, 1)
    coupon = of("coupon", 1 / (o * r), 0, -1 / (o * r))
    reader = of("reader", 0, 1 / (c * r), -1 / (c * r))
    gauge = of("gauge", 0, 1 / (c * r), 1 - 1 / (c * r))
    total = of("total", 1 / (o * r), 1 / (c * r), 1 - 1 / (o * r) - 1 / (c * r))
    gauge = _sum_of("gauge", (repeatability, reader), gauge)
    total = _sum_of("total", (coupon, repeatability, reader), total)
    return GaugeStudy(
        squares, (coupon, reader, repeatability), repeatability,
        _named("reproducibility", reader), gauge, coupon, total, reader, None, p, True,
    )  # fmt: skip


def nested(
    values: ArrayLike,
    levels: Sequence[Sequence[str]],
    names: Sequence[str],
    *,
    coupon: str | None = "coupon",
    confidence: float = 0.95,
) -> GaugeStudy:
    """Analyse a study in which every level lies inside the one before it.

    Repeats within coupons (one reader); coupons that each reader breaks for himself; days within
    runs on one standard.

    Parameters
    ----------
    values
        Readings, shape (n,).
    levels
        From the outermost inwards, one entry a reading each; labels need to be distinct only
        within the level outside.
    names
        Name of each level.
    coupon
        Name of the level that is the coupon: its scatter is welding, that of all others gauge.
        None where one standard was read throughout.

    Raises
    ------
    NotEstimable
        Levels of unequal size, fewer than two of one within the other, or no scatter.
    """
    table = nested_table(values, levels, names)
    squares: list[MeanSquare] = []
    for depth, name in enumerate((*names, "repeatability")):
        below = table.mean(axis=tuple(range(depth + 1, table.ndim)))
        above = below.mean(axis=-1, keepdims=True)
        per = math.prod(table.shape[depth + 1 :])
        df = math.prod(table.shape[:depth]) * (table.shape[depth] - 1)
        squares.append(MeanSquare(name, _squares(per, below - above, table), df))
    _refuse_still(squares[-1])
    return nested_from_squares(tuple(squares), table.shape, coupon=coupon, confidence=confidence)


def nested_from_squares(
    squares: tuple[MeanSquare, ...],
    shape: Sequence[int],
    *,
    coupon: str | None = "coupon",
    confidence: float = 0.95,
) -> GaugeStudy:
    """Put a nested study together from its mean squares, the outermost first.

    Parameters
    ----------
    squares
        One line a level, repeatability last.
    shape
        How many of each level lie within the one outside it, readings last.
    coupon, confidence
        As in `nested`.
    """
    parts, weights = [], []
    for depth, line in enumerate(squares):
        per = math.prod(shape[depth + 1 :])
        row = np.zeros(len(squares))
        row[depth] = 1 / per
        if depth + 1 < len(squares):
            row[depth + 1] = -1 / per
        weights.append(row)
        parts.append(component(line.source, row.tolist(), squares, confidence))

    def together(name: str, chosen: list[int]) -> Component | None:
        if not chosen:
            return None
        row = np.sum([weights[place] for place in chosen], axis=0).tolist()
        whole = component(name, row, squares, confidence)
        return _sum_of(name, [parts[place] for place in chosen], whole)

    inner = len(parts) - 1
    gauge_places = [place for place, part in enumerate(parts) if part.name != coupon]
    gauge, total = together("gauge", gauge_places), together("total", list(range(len(parts))))
    assert gauge is not None  # repeatability is always there
    assert total is not None
    return GaugeStudy(
        squares, tuple(parts), parts[inner],
        together("reproducibility", [place for place in gauge_places if place != inner]),
        gauge, next((part for part in parts if part.name == coupon), None), total,
        next((part for part in parts if part.name == "reader"), None), None, None, False,
    )  # fmt: skip


def cost(
    study: GaugeStudy, *, readings: int = 1, one_reader: bool = True, coupon_sd: float | None = None
) -> GaugeCost:
    """Return what the gauge costs a trial that compares coupons.

    Parameters
    ----------
    study
        The gauge study.
    readings
        Readings averaged into one coupon's value, all by the same reader.
    one_reader
        True when one reader reads every coupon of the trial, so that what he does alike to all
        of them drops out of a comparison; False when each coupon falls to some reader or other.
    coupon_sd
        Scatter from coupon to coupon in the trial, in the response's unit; by default that of
        the study, whose coupons may have been picked to differ.

    Raises
    ------
    NotEstimable
        No coupon scatter was given and the study has none.
    """
    if readings < 1:
        raise ValueError(f"a coupon is read at least once, got {readings}")
    own = coupon_sd if coupon_sd is not None else (study.coupon.sd if study.coupon else 0.0)
    if not own > 0:
        raise NotEstimable("no scatter from coupon to coupon to set the gauge against",
                           hint="say how much coupons differ")  # fmt: skip
    spread = study.repeatability.variance / readings
    if study.interaction is not None:
        spread += study.interaction.variance
    between = study.reader if study.reader is not None else study.reproducibility
    if not one_reader and between is not None:
        spread += between.variance
    ratio = 1 + spread / own**2
    return GaugeCost(math.sqrt(spread), own * math.sqrt(ratio), math.sqrt(ratio), ratio)


# ------------------------------------------------------------------------------- inside


def _squares(times: int, apart: NDArray[np.float64], table: NDArray[np.float64]) -> float:
    """Return a sum of squares; what is left of equal readings by binary arithmetic is none."""
    noise = 1e-12 * float(np.abs(table).max())
    return float(times * (np.where(np.abs(apart) > noise, apart, 0.0) ** 2).sum())


def _sum_of(name: str, parts: Sequence[Component], whole: Component) -> Component:
    """The parts added up, negative ones as zero, with the interval of their sum."""
    total = sum(part.variance for part in parts)
    return Component(name, total, min(whole.low, total), max(whole.high, total), whole.confidence)


def _named(name: str, part: Component) -> Component:
    return Component(name, part.raw, part.low, part.high, part.confidence)


def _refuse_still(*lines: MeanSquare) -> None:
    if all(line.squares <= 0 for line in lines):
        raise NotEstimable(
            "every repeat reading is the same: the gauge's steps are wider than its scatter",
            hint="read to more digits, or take the step of the gauge as its scatter",
        )
