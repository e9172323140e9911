"""The whole comparison against published equivalence tests and a published ANOVA.

A round with one set-up of each level and one coupon on each is a pair, so the paired clinical
data go through `analyse` as fifteen rounds; the unpaired ones as shuffled coupons.
"""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.findings import Comparison
from weldtrial.analysis.lack_of_fit import lack_of_fit
from weldtrial.analysis.least_squares import fit_least_squares
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Margin, Response
from weldtrial.shared.trial import Design, Trial


def paired(reference: ModuleType, variable: str) -> Comparison:
    case = reference.load("tost-clinic")
    group = case.columns["group"]
    values = case.numbers(variable)
    counts = {"1": 0, "2": 0}
    coupons = []
    for run, (side, value) in enumerate(zip(group, values, strict=True), 1):
        counts[side] += 1
        coupons.append(
            Coupon(
                f"S{run}",
                "count",
                run,
                counts[side],
                run,
                {"side": side},
                {},
                welded=True,
                readings={"score": (Reading("number", value=float(value)),)},
            )
        )
    trial = Trial(
        "clinic",
        (Factor("side", "category", ("1", "2"), hard_to_change=True, control="2"),),
        (Response("score", "1", margin=Margin(0.6), ask="equal-enough"),),
        design=Design(rounds=15, set_ups=30),
    )
    (response,) = analyse(trial, Record(tuple(coupons), 30, sealed="sealed")).responses
    assert response.method == "least-squares"
    return response.comparisons[0]


@pytest.mark.parametrize("variable", ["var1", "var2"])
def test_paired_two_one_sided_tests(reference: ModuleType, variable: str) -> None:
    """statsmodels' test suite, values from R's equivalence::tost (clinic data)."""
    expected = reference.load("tost-clinic").expected[f"paired_{variable}_eps0.6"]
    found = paired(reference, variable)
    assert found.difference == pytest.approx(float(expected["diff"]), abs=1e-10)
    assert found.se == pytest.approx(float(expected["se"]), abs=1e-10)
    assert found.df == pytest.approx(float(expected["df"]))
    low, high = (float(end) for end in expected["ci"])
    assert (found.ci90_low, found.ci90_high) == pytest.approx((low, high), abs=1e-10)


def test_verdicts_follow_the_published_p_values(reference: ModuleType) -> None:
    """p = 0.003 is equal within 0.6; p = 0.44 is not, and zero lies outside the 95 % interval."""
    assert paired(reference, "var1").verdict.code == "equivalent"
    assert paired(reference, "var2").verdict.code == "better_margin_unsettled"


def test_lack_of_fit_split_of_the_handbook(reference: ModuleType) -> None:
    """NIST/SEMATECH e-Handbook 5.5.3.1.1: curvature and interaction are what a plane lacks."""
    case = reference.load("nist-hb-chemical-phase1")
    x = np.column_stack([np.ones(9), case.numbers("x1"), case.numbers("x2")])
    y = case.numbers("yield")
    table = {name: float(value) for name, value in case.expected["anova"].items()}
    found = lack_of_fit(x, y, fit_least_squares(x, y))
    lack = table["curvature_ss"] + table["lof_ss"]
    pure = table["pure_error_ss"] / table["pure_error_df"]
    assert (found.df_num, found.df_den) == (2, 4)
    assert found.statistic == pytest.approx(lack / 2 / pure, abs=1e-5)
