"""What laid-out trials can tell: errors and degrees of freedom of the analysis, and the region."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from math import hypot

import numpy as np
import pytest

from weldtrial.analysis.kenward_roger import strata_df
from weldtrial.analysis.precision import Spread
from weldtrial.analysis.setup_layout import lay_out
from weldtrial.analysis.term_power import AskedTerm, term_powers
from weldtrial.doe.fitted import fitted, variance_and_df
from weldtrial.doe.information import Scatter
from weldtrial.doe.layout import make_layout
from weldtrial.doe.matrix import planned_matrix
from weldtrial.doe.quality import Quality, points_of, quality
from weldtrial.doe.region import allowed
from weldtrial.shared.coding import unit_effects
from weldtrial.shared.factors import Factor
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Budget, Design, LimitOnSettings, Trial

LOAD = Response("break_load", "kN")
GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)
GASES = Factor("gas", "category", ("mix", "co2", "m20"), hard_to_change=True)
VOLTS = Factor(
    "voltage",
    "numeric",
    ("low", "high"),
    unit="V",
    slides_with="gas",
    settings={"mix": (24.3, 27.3), "co2": (25.5, 28.5), "m20": (24.3, 27.3)},
)
FEED = Factor("wire_feed", "numeric", ("7.5", "9.5"), unit="m/min", settings={"": (7.5, 9.5)})
TRAVEL = Factor("travel", "numeric", ("30", "50"), unit="cm/min", settings={"": (30.0, 50.0)})


def trial(*factors: Factor, limits: tuple[str, ...] = (), **design: object) -> Trial:
    return Trial(
        "Invented",
        factors,
        (LOAD,),
        design=Design(**design),  # type: ignore[arg-type]
        limits=tuple(LimitOnSettings(one) for one in limits),
    )


def of(one: Trial, scatter: Scatter | None = None) -> Quality:
    return quality(one, make_layout(replace(one, limits=())), scatter)


PLANS = {
    "set-ups": trial(GAS, VOLTS, FEED, rounds=6, replicates=1),
    "three gases": trial(GASES, FEED, rounds=4, replicates=2),
    "parts": trial(GAS, VOLTS, FEED, TRAVEL, rounds=6, set_ups=12),
    "shuffled": trial(replace(FEED), TRAVEL, replicates=3),
    "blocks": trial(FEED, TRAVEL, replicates=4, rounds=2),
    "one each": trial(GAS, rounds=6, replicates=1),
}


@pytest.mark.parametrize("name", PLANS)
def test_widths_come_from_the_errors_and_df_of_the_analysis(name: str) -> None:
    plan = PLANS[name]
    if name == "parts":
        plan = replace(plan, budget=Budget(coupons=48))
    layout = make_layout(plan)
    planned = planned_matrix(plan, layout)
    spread = Spread(4.0, 2.0)
    scatter = Scatter(4.0, 2.0) if planned.setup is not None else Scatter(spread.alone)
    asked = [
        AskedTerm(term.name, at, unit_effects(plan.varied, term))
        for term, at in zip(planned.terms, planned.columns, strict=True)
    ]
    powers = term_powers(planned.matrix, planned.setup, spread, asked)
    found = quality(plan, layout, scatter)
    coupon = hypot(4, 2) if name == "one each" else scatter.coupon
    assert len(found.widths) == len(powers) > 0
    for width, power in zip(found.widths, powers, strict=True):
        assert width.term == power.term
        assert width.df == pytest.approx(power.df)
        if power.se is not None:
            assert coupon * width.relative**0.5 == pytest.approx(power.se)
            assert width.half_width is not None
    assert all(one == pytest.approx(1.0) for one in found.inflations)
    assert found.ratio_known


def test_degrees_of_freedom_of_a_prediction_are_those_of_the_analysis() -> None:
    plan = PLANS["set-ups"]
    planned = planned_matrix(plan, make_layout(plan))
    assert planned.setup is not None
    layout = lay_out(planned.matrix, planned.setup)
    ratio, size = 0.6, np.bincount(planned.setup).max()
    fit = fitted(
        planned.matrix,
        planned.terms,
        planned.columns,
        planned.setup,
        ratio,
        (layout.df_setup, layout.df_within),
    )
    rows = np.random.default_rng(5).normal(size=(12, planned.matrix.shape[1]))
    own = [float(strata_df(layout, np.array([np.log1p(ratio * size)]), row[None])[0])
           for row in rows]  # fmt: skip
    np.testing.assert_allclose(variance_and_df(fit, rows)[1], own, rtol=1e-8)


def test_points_are_read_back_from_the_matrix() -> None:
    plan = PLANS["set-ups"]
    layout = make_layout(plan)
    points = points_of(plan, layout)
    assert len(points) == layout.coupons == 48
    kinds = {(one["gas"], one["voltage"], one["wire_feed"]) for one in points}
    assert kinds == set(product(("mix", "co2"), (-1.0, 1.0), (-1.0, 1.0)))


def test_prediction_stays_in_the_region_that_rules_leave() -> None:
    """A rule takes corners away, and with them the worst places."""
    rule = "voltage * wire_feed <= 245"
    free, cut = of(PLANS["set-ups"]), of(trial(GAS, VOLTS, FEED, limits=(rule,), rounds=6,
                                               replicates=1))  # fmt: skip
    assert free.prediction is not None
    assert cut.prediction is not None
    limited = replace(PLANS["set-ups"], limits=(LimitOnSettings(rule),))
    assert allowed(limited)(cut.prediction.worst.point)
    assert allowed(limited)(cut.prediction.best.point)
    assert cut.prediction.allowed < free.prediction.allowed == 1.0
    # The share of the box that is allowed, by a fine grid of its own.
    steps = (np.arange(400) + 0.5) / 200 - 1
    v, w = np.meshgrid(1.5 * steps, steps)
    shares = [np.mean((middle + v) * (8.5 + w) <= 245) for middle in (25.8, 27.0)]
    assert cut.prediction.allowed == pytest.approx(float(np.mean(shares)), abs=0.005)
    one = cut.prediction
    assert one.best.relative <= one.typical <= one.worst.relative <= free.prediction.worst.relative


def test_worst_place_of_a_cut_region_is_the_one_a_fine_grid_finds() -> None:
    """Main effects of two numbers: the variance grows outwards, and the rule cuts the corner."""
    rule = "travel + 10 * wire_feed <= 130"
    plan = trial(FEED, TRAVEL, limits=(rule,), replicates=3, model="main")
    found = of(plan, Scatter(1.0))
    assert found.prediction is not None
    # Of the three corners left each lies at p/n; along the cut the farthest allowed is nearer.
    assert found.prediction.worst.relative == pytest.approx(3 / 12, rel=1e-6)
    only = replace(plan, limits=(LimitOnSettings("wire_feed <= 8.7"),
                                 LimitOnSettings("wire_feed >= 8.3"),
                                 LimitOnSettings("travel <= 41.3"),
                                 LimitOnSettings("travel >= 38")))  # fmt: skip
    narrow = of(only, Scatter(1.0))
    assert narrow.prediction is not None
    # (1 + 0.2² + 0.2²)/12 at the corner (±0.2, −0.2): farther from the middle than 0.13.  Settings
    # are told in hundredths of the half range, so the corner is met to half of one of them.
    assert narrow.prediction.worst.relative == pytest.approx(1.08 / 12, rel=5e-3)


def test_best_and_worst_go_by_the_interval_where_degrees_of_freedom_differ() -> None:
    """With two rounds the middle is judged by one set-up difference, corners partly by coupons."""
    plan = trial(GAS, FEED, TRAVEL, rounds=2, replicates=1, model="main")
    found = of(plan, Scatter(4.0, 2.0)).prediction
    assert found is not None
    halves = found.half_quantiles
    assert halves is not None
    assert found.typical_half_width == pytest.approx(halves[10])
    best, worst = found.best.half_width, found.worst.half_width
    assert best is not None
    assert worst is not None
    assert best <= halves[0] <= halves[10] <= halves[-1] <= worst
    # By variance alone it is the other way round: the middle is where the average is known best.
    assert found.best.relative > found.worst.relative
    assert found.share_within(1.0, found.worst) == pytest.approx(1.0, abs=1e-6)


def test_without_a_scatter_there_are_variances_alone() -> None:
    found = of(PLANS["set-ups"])
    assert found.ratio == 1.0
    assert not found.ratio_known
    assert all(one.half_width is None and one.relative > 0 for one in found.widths)
    assert found.prediction is not None
    assert found.prediction.worst.half_width is None
    assert found.prediction.half_quantiles is None
    assert found.prediction.best.relative < found.prediction.worst.relative


def test_a_saturated_fraction_has_no_widths_and_says_what_leaks() -> None:
    factors = tuple(
        Factor(f"f{one}", "numeric", ("1", "2"), unit="V", settings={"": (1.0, 2.0)})
        for one in range(7)
    )
    plan = trial(*factors, kind="fraction", runs=8, model="main")
    found = of(plan, Scatter(3.0))
    assert [one.half_width for one in found.widths] == [None] * 7
    assert len(found.leaks) == 21
    assert {one.share for one in found.leaks} == {1.0}
    assert found.losses is not None
    assert found.losses.coupon_drops == 8
