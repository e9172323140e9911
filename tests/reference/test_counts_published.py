"""Pass/fail, grades, places of breaking and gauge studies against other people's digits.

Sources stand in each data file: Firth (1993), Venables & Ripley (2002), the AIAG manual (2010) and
the NIST/SEMATECH e-Handbook.
"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.contingency import chi_squared, exact_test
from weldtrial.analysis.firth import fit_firth
from weldtrial.analysis.gauge_study import crossed, nested, nested_from_squares
from weldtrial.analysis.mean_squares import MeanSquare
from weldtrial.analysis.ordinal import fit_ordinal
from weldtrial.analysis.proportions import boschloo

DATA = Path(__file__).parent / "data"


def facts(name):
    text = (DATA / f"{name}.json").read_text(encoding="utf-8")
    return json.loads(text, parse_float=Decimal)


def test_firth_of_a_two_by_two_table_adds_a_half_to_every_cell(reference):
    case = facts("firth-2x2-closed-form")
    x = np.column_stack([np.ones(8), case["inputs"]["x"]])
    for name, separated in (("separated", True), ("near", True)):
        fit = fit_firth(x, case["inputs"][f"y_{name}"])
        printed = case["expected"][name]
        assert reference.as_printed(fit.coefficients[0], printed["b0"])
        assert reference.as_printed(fit.coefficients[1], printed["b1"])
        # The standard error moves with the slope of the estimate's own rounding.
        assert fit.covariance[1, 1] ** 0.5 == pytest.approx(float(printed["se_b1"]), abs=1e-7)
        # Nobody of the first gas passed in either table: quasi-separation at least.
        assert fit.separated is separated


def test_proportional_odds_of_the_copenhagen_housing(reference):
    case = reference.load("polr-housing")
    grade = np.array([["Low", "Medium", "High"].index(s) for s in case.columns["Sat"]])
    names = [("Infl", "Medium"), ("Infl", "High"), ("Type", "Apartment"), ("Type", "Atrium"),
             ("Type", "Terrace"), ("Cont", "High")]  # fmt: skip
    x = np.column_stack([np.array(case.columns[c]) == level for c, level in names])
    fit = fit_ordinal(x, grade, case.numbers("Freq"))
    errors = np.sqrt(np.diag(fit.covariance))
    for place, (column, level) in enumerate(names):
        # R stops at 1e-5 of its maximum: the source states that tolerance.
        assert fit.coefficients[place] == pytest.approx(
            float(case.expected["coef"][column + level]), abs=1e-5
        )
        assert reference.as_printed(errors[place], case.expected["se"][column + level])
    for found, printed in zip(fit.thresholds, case.expected["thresholds"].values(), strict=True):
        assert found == pytest.approx(float(printed), abs=1e-5)
    assert reference.as_printed(fit.deviance, case.expected["deviance"])
    assert reference.as_printed(fit.deviance + 2 * 8, case.expected["AIC"])


def test_fisher_of_two_small_tables(reference):
    assert exact_test([[8, 2], [1, 5]]).p == pytest.approx(
        float(facts("exact-2x2-fisher-small")["expected"]["p_two_sided"]), abs=1e-15
    )
    handbook = facts("nist-hb-fisher-exact")
    counts = np.array(handbook["inputs"]["table"])
    # The handbook prints one tail; ours has two, and is scipy's.
    assert exact_test(counts).p == pytest.approx(stats.fisher_exact(counts).pvalue, abs=1e-12)
    fewer = boschloo(int(counts[0, 0]), 7, int(counts[1, 0]), 5, "lower")
    assert reference.as_printed(fewer.statistic, handbook["expected"]["p_one_sided"])


def test_chi_squared_of_wafers_and_of_five_lots(reference):
    case = reference.load("nist-hb-chisq-wafers")
    counts = np.zeros((3, 4))
    np.add.at(counts, (case.codes("shift"), case.codes("type")), case.numbers("count"))
    assert reference.as_printed(chi_squared(counts), case.expected["chi2"])
    lots = facts("nist-hb-marascuilo")
    bad, n = np.array(lots["inputs"]["nonconforming"]), np.array(lots["inputs"]["n"])
    found = chi_squared(np.vstack([bad, n - bad]))
    assert reference.as_printed(found, lots["expected"]["chi2"])


def test_crossed_gauge_study_of_the_aiag_manual(reference):
    case = reference.load("grr-aiag")
    study = crossed(case.numbers("y"), case.columns["part"], case.columns["appraiser"])
    lines = dict(zip(("part", "appraiser", "interaction", "equipment"), study.squares, strict=True))
    for name, line in lines.items():
        printed = case.expected["anova"][name]
        assert reference.as_printed(line.squares, printed["SS"])
        assert reference.as_printed(line.value, printed["MS"])
        assert line.df == printed["df"]
    assert reference.as_printed(study.interaction_p, case.expected["anova"]["interaction"]["p"])
    assert study.pooled
    printed = case.expected["anova_pooled"]
    assert reference.as_printed(study.repeatability.variance, printed["var_repeatability"])
    assert reference.as_printed(study.reproducibility.variance, printed["var_reproducibility"])
    assert reference.as_printed(study.coupon.variance, printed["var_part"])
    parts = {"EV": study.repeatability, "AV": study.reproducibility, "GRR": study.gauge,
             "PV": study.coupon}  # fmt: skip
    for name, part in parts.items():
        # .302371... is printed .302373: the manual adds rounded parts.
        assert part.sd == pytest.approx(float(printed[name]), abs=2e-6)
        assert reference.as_printed(study.percent(part), printed["pct"][name])
    assert reference.as_printed(study.total.sd, printed["TV"])
    assert study.classes == printed["ndc"]


def test_one_way_components_of_the_handbook(reference):
    case = reference.load("nist-hb-variance-components")
    study = nested(case.numbers("y"), [case.columns["batch"]], ["coupon"])
    batch, error = study.squares
    # The handbook rounds 147.733 to 147.74 and 18.0 to 17.99; exact values in its notes.
    assert batch.squares == pytest.approx(147.7333, abs=5e-5)
    assert error.squares == pytest.approx(18.0, abs=1e-9)
    assert (batch.df, error.df) == (case.expected["df"], case.expected["df_error"])
    assert reference.as_printed(study.coupon.raw, case.expected["var_batch"])
    assert reference.as_printed(study.total.raw, case.expected["var_total"])
    assert reference.as_printed(study.percent_of_variance(study.coupon), case.expected["pct_batch"])
    assert reference.as_printed(study.percent_of_variance(study.gauge), case.expected["pct_error"])


def test_nested_gauge_study_of_the_handbook(reference):
    """Six readings a day on one standard, six days in each of two runs; averages as printed."""
    case = reference.load("nist-hb-gauge-nested")
    mean, sd = case.numbers("average_of_6").reshape(2, 6), case.numbers("sd_of_6")
    by_run = mean.mean(axis=1)
    squares = (
        MeanSquare("run", float(36 * ((by_run - by_run.mean()) ** 2).sum()), 1),
        MeanSquare("day", float(6 * ((mean - by_run[:, None]) ** 2).sum()), 10),
        MeanSquare("repeatability", float(5 * (sd**2).sum()), 60),
    )
    study = nested_from_squares(squares, (2, 6, 6), coupon=None)
    assert reference.as_printed(squares[2].squares, case.expected["level1_pooled_SS"])
    assert reference.as_printed(study.repeatability.sd, case.expected["level1_s1"])
    assert reference.as_printed((squares[1].value / 6) ** 0.5, case.expected["level2_pooled_s2"])
    assert reference.as_printed((squares[0].value / 36) ** 0.5, case.expected["level3_s3"])
    day = study.parts[1]
    printed = case.expected["day_variance_component_s2^2-s1^2/6"]
    assert reference.as_printed(day.raw, printed)
    assert day.variance == 0.0
    assert study.coupon is None
    assert study.classes is None
