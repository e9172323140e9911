"""What a gauge study says: how much of the scatter is the gauge's, whether that is good enough,
and what it costs a trial.

References
----------
AIAG (2010). *Measurement Systems Analysis*, 4th ed., chapter III B: under 10 % of the total scatter
is generally good, 10 to 30 % may do, over 30 % is not; five classes or more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from scipy import special

from weldtrial.analysis.gauge_study import GaugeCost, GaugeStudy, cost, crossed, nested
from weldtrial.analysis.spreads import GOOD_GAUGE
from weldtrial.shared.gauge import Gauge
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Response

Fitness = Literal["good", "may do", "not good"]
GOOD, MAY_DO, CLASSES = 10.0, 30.0, 5
"""Percentages of total scatter, and classes told apart (AIAG)."""
MOST_READINGS = 4
"""Readings a coupon up to which the cost to a trial is worked out."""


@dataclass(frozen=True, slots=True)
class GaugeFindings:
    """What a gauge study says of one response.

    Attributes
    ----------
    n, mean
        Readings, and their mean in the response's unit.
    study
        Variance components.
    fitness
        By AIAG's rule; None where no coupon scatter was seen to hold the gauge against.
    sd_reading
        Scatter that one reading by one reader throughout puts on a coupon's value.
    margin, sees_margin
        Margin in the response's unit and whether `sd_reading` is at most `GOOD_GAUGE` of it; None
        without a margin.
    coupon_sd, coupon_sd_from
        Scatter from coupon to coupon that the costs are reckoned with, and whether it is that of
        the trial file (``typical``) or of the study's coupons (``study``); None where there is
        none.
    costs
        With 1, 2, 3 and 4 readings a coupon, one reader throughout.
    cost_several_readers
        With one reading a coupon by some reader or other; None with one reader.
    """

    response: Response
    n: int
    mean: float
    study: GaugeStudy
    fitness: Fitness | None
    sd_reading: float
    margin: float | None
    sees_margin: bool | None
    coupon_sd: float | None
    coupon_sd_from: Literal["typical", "study"]
    costs: tuple[GaugeCost, ...]
    cost_several_readers: GaugeCost | None


@dataclass(frozen=True, slots=True)
class Known:
    """How well a standard deviation will be known: its 95 % interval where it comes out at 1.

    Attributes
    ----------
    what
        ``repeatability``, ``readers`` or ``coupons``.
    df
        Degrees of freedom of the mean square it is seen in.
    low, high
        Ends of the interval at best, when nothing else scatters.
    """

    what: str
    df: int
    low: float
    high: float


def gauge_answer(
    response: Response,
    gauge: Gauge,
    values: Sequence[float],
    coupon: Sequence[str],
    reader: Sequence[str],
) -> GaugeFindings:
    """Analyse the readings of one response.

    Parameters
    ----------
    response, gauge
        What was read, and how the study is laid out.
    values, coupon, reader
        One entry a reading.

    Raises
    ------
    NotEstimable
        When readings are missing or do not scatter.
    """
    if len(gauge.readers) == 1:
        study = nested(values, [coupon], ["coupon"])
    elif gauge.design == "nested":
        study = nested(values, [reader, coupon], ["reader", "coupon"])
    else:
        study = crossed(values, coupon, reader)
    mean = sum(values) / len(values)
    alone = cost(study, coupon_sd=1.0).sd_reading
    margin = response.margin.in_units(mean) if response.margin is not None else None
    typical = response.typical
    own = typical.sd_coupon if typical is not None else study.coupon.sd if study.coupon else 0.0
    costs = _costs(study, own)
    several = len(gauge.readers) > 1 and bool(costs)
    return GaugeFindings(
        response=response,
        n=len(values),
        mean=mean,
        study=study,
        fitness=_fitness(study),
        sd_reading=alone,
        margin=margin,
        sees_margin=None if margin is None else alone <= GOOD_GAUGE * margin,
        coupon_sd=own or None,
        coupon_sd_from="study" if typical is None else "typical",
        costs=costs,
        cost_several_readers=cost(study, one_reader=False, coupon_sd=own) if several else None,
    )


def gauge_ahead(gauge: Gauge) -> tuple[Known, ...]:
    """Return how well the parts of a gauge study will be known.

    Single mean squares only, which is the best that can be hoped for: a component that is a
    difference is known less well.
    """
    readers, each, again = len(gauge.readers), gauge.per_reader, gauge.repeats
    cells = readers * each
    df = {"repeatability": cells * (again - 1)}
    if readers > 1:
        df["readers"] = readers - 1
    df["coupons"] = readers * (each - 1) if gauge.design == "nested" else each - 1
    return tuple(_known(what, number) for what, number in df.items())


def _known(what: str, df: int) -> Known:
    low, high = (math.sqrt(df / float(special.chdtri(df, tail))) for tail in (0.025, 0.975))
    return Known(what, df, low, high)


def _fitness(study: GaugeStudy) -> Fitness | None:
    if study.coupon is None or study.coupon.sd == 0:
        return None
    percent = study.percent(study.gauge)
    return "good" if percent < GOOD else "may do" if percent <= MAY_DO else "not good"


def _costs(study: GaugeStudy, own: float) -> tuple[GaugeCost, ...]:
    try:
        return tuple(
            cost(study, readings=number, coupon_sd=own) for number in range(1, MOST_READINGS + 1)
        )
    except NotEstimable:
        return ()
