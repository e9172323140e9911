"""Averages, pooled studies, exaggeration and impossible means against other people's digits.

The pooled trials are those of Colditz et al. (1994) and the exaggerations those of Gelman & Carlin
(2014), both from memory; Welch's test is read from the NIST/SEMATECH e-Handbook, equivalence from
the data of a statsmodels test; the impossible mean is Brown & Heathers' (2017), from memory.
"""

from __future__ import annotations

import json
from decimal import Decimal
from math import log, sqrt
from pathlib import Path

import numpy as np
import pytest

from weldtrial.analysis.evidence import Study
from weldtrial.analysis.exaggeration import exaggeration
from weldtrial.analysis.impossible import check_mean
from weldtrial.analysis.pooled_studies import pool
from weldtrial.analysis.reported import Moments, welch

DATA = Path(__file__).parent / "data"


def trials(case) -> list[Study]:
    """Logarithm of the risk ratio of every trial, with its large-sample error."""
    counts = [case.numbers(one) for one in ("ill_new", "well_new", "ill_old", "well_old")]
    found = []
    for name, a, b, c, d in zip(case.columns["study"], *counts, strict=True):
        se = sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d))
        found.append(Study(name, log(a / (a + b) / (c / (c + d))), se))
    return found


def test_thirteen_trials_pooled_by_moments(reference) -> None:
    case = reference.load("bcg-vaccine")
    printed = case.expected["dersimonian_laird"]
    found = pool(trials(case), "dersimonian-laird")
    assert reference.as_printed(found.estimate, printed["estimate"])
    assert reference.as_printed(found.se_plain, printed["se"])
    assert reference.as_printed(found.estimate - 1.959964 * found.se_plain, printed["low"])
    assert reference.as_printed(found.estimate + 1.959964 * found.se_plain, printed["high"])
    assert reference.as_printed(found.tau**2, printed["tau2"])
    assert reference.as_printed(found.q, case.expected["q"])
    assert reference.as_printed(100 * found.i_squared, case.expected["i_squared_percent"])


def test_thirteen_trials_of_one_truth(reference) -> None:
    case = reference.load("bcg-vaccine")
    printed, found = case.expected["common"], pool(trials(case))
    for value, name in (
        (found.common, "estimate"), (found.common_se, "se"),
        (found.common_low, "low"), (found.common_high, "high"),
    ):  # fmt: skip
        assert reference.as_printed(value, printed[name])


@pytest.mark.parametrize("which", [0, 1])
def test_exaggeration_of_two_published_studies(reference, which: int) -> None:
    text = (DATA / "gelman-carlin-retrodesign.json").read_text(encoding="utf-8")
    printed = json.loads(text, parse_float=Decimal)["expected"][which]
    truth, se = float(printed["truth"]), float(printed["se"])
    found = exaggeration(truth, se)
    assert reference.as_printed(found.power, printed["power"])
    assert reference.as_printed(found.wrong_sign, printed["wrong_sign"])
    # They drew 10 000 results, of which about 500 stand out: three errors of such a run.
    draws = truth + se * np.random.default_rng(2014).standard_normal(4_000_000)
    out = np.abs(draws[np.abs(draws) > 1.959964 * se]) / truth
    theirs = 3 * out.std() / sqrt(10_000 * found.power)
    ours = 3 * out.std() / sqrt(len(out))
    assert abs(found.exaggeration - float(printed["exaggeration"])) < theirs
    assert abs(found.exaggeration - out.mean()) < ours


def test_welch_of_two_ways_to_assemble(reference) -> None:
    case = reference.load("nist-hb-welch-t")
    minutes, process = case.numbers("minutes"), case.codes("process")
    one, two = (minutes[process == code] for code in (0, 1))
    for values, name in ((one, "1"), (two, "2")):
        assert reference.as_printed(values.mean(), case.expected[f"mean{name}"])
        assert reference.as_printed(values.std(ddof=1), case.expected[f"sd{name}"])
    found = welch(
        *(Moments(len(values), values.mean(), values.std(ddof=1)) for values in (one, two))
    )
    assert reference.as_printed(found.estimate / found.se, case.expected["t"])
    assert reference.as_printed(found.df, case.expected["df"])


def test_welch_limits_of_clinic_data(reference) -> None:
    case = reference.load("tost-clinic")
    group = case.codes("group")
    for name in ("var1", "var2"):
        values = case.numbers(name)
        one, two = (values[group == code] for code in (0, 1))
        sides = (Moments(len(v), v.mean(), v.std(ddof=1)) for v in (one, two))
        found, printed = welch(*sides), case.expected[f"welch_{name}_eps0.6"]
        assert found.se == pytest.approx(float(printed["se"]), rel=1e-10)
        assert found.df == pytest.approx(float(printed["df"]), rel=1e-10)
        ends = [float(end) for end in printed["ci"]]
        assert found.ends(0.90) == pytest.approx(ends, rel=1e-10)


def test_the_mean_that_no_28_answers_give() -> None:
    """Brown & Heathers (2017): 28 whole answers cannot have a mean of 5.19 (5.18 or 5.21)."""
    found = check_mean(5.19, 28, 1.0, 2)
    assert not found.possible
    assert (round(found.below, 2), round(found.above, 2)) == (5.18, 5.21)
    assert check_mean(5.18, 28, 1.0, 2).possible
    assert check_mean(5.21, 28, 1.0, 2).possible
