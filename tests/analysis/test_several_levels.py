"""Several gases and saturated fractions, through the whole analysis, against published values."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.compare import contrast
from weldtrial.analysis.findings import ResponseFindings
from weldtrial.analysis.model import fit_model
from weldtrial.analysis.observations import Observation
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Margin, Response
from weldtrial.shared.terms import model_terms
from weldtrial.shared.trial import Design, Trial

DATA = Path(__file__).parents[1] / "reference" / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / f"{name}.csv").open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def analysed(
    factors: Sequence[Factor],
    table: Sequence[Mapping[str, str]],
    response: str,
    *,
    setup: Sequence[int] | None = None,
    margin: float | None = None,
    design: Design = Design(),  # noqa: B008 - a frozen record
) -> ResponseFindings:
    coupons = tuple(
        Coupon(
            f"S{k}", "count", k, None, setup[k] if setup else None,
            {f.name: row[f.name] for f in factors}, {}, welded=True,
            readings={response: (Reading("number", value=float(row[response])),)},
        )
        for k, row in enumerate(table)
    )  # fmt: skip
    asked = Response(response, "1", margin=Margin(margin) if margin else None)
    trial = Trial("published", tuple(factors), (asked,), design=design)
    (found,) = analyse(trial, Record(coupons, len(coupons), sealed="sealed")).responses
    return found


def test_dunnett_against_a_control() -> None:
    """Thomson & Short (1969); p by quadrature 0.583172 and 0.998193 (case notes)."""
    group = Factor("group", "category", ("control", "s1", "s2"), control="control")
    found = analysed([group], rows("dunnett-scipy"), "y")
    first, second = found.comparisons
    assert (first.level, first.reference) == ("s1", "control")
    assert first.p_adjusted == pytest.approx(0.583172, abs=2e-6)
    assert second.p_adjusted == pytest.approx(0.998193, abs=2e-6)
    assert (first.difference or 0) / (first.se or 1) == pytest.approx(0.90874545, abs=1e-8)
    assert first.p == pytest.approx(2 * stats.t.sf(0.90874545, 11), rel=1e-6)


def test_tukey_among_all_pairs() -> None:
    """Documentation of scipy.stats.tukey_hsd: differences, p and 95 % intervals."""
    group = Factor("group", "category", ("g0", "g1", "g2"))
    found = analysed([group], rows("tukey-scipy"), "minutes")
    expected = {("g1", "g0"): (4.6, 0.014, 0.951, 8.249), ("g2", "g0"): (0.26, 0.98, -3.389, 3.909),
                ("g2", "g1"): (-4.34, 0.02, -7.989, -0.691)}  # fmt: skip
    assert [(c.level, c.reference) for c in found.comparisons] == list(expected)
    for comparison in found.comparisons:
        difference, p, low, high = expected[comparison.level, comparison.reference]
        assert comparison.difference == pytest.approx(difference, abs=5e-3)
        assert comparison.p_adjusted == pytest.approx(p, abs=6e-4)
        assert (comparison.ci_low, comparison.ci_high) == pytest.approx((low, high), abs=6e-4)


def test_several_gases_by_set_up_keep_the_family_level() -> None:
    """No truth: any of three gases against mix shown different, 5 in 100 (seeded)."""
    gases = ("mix", "co2", "m20")
    gas = Factor("gas", "category", gases, hard_to_change=True, control="mix")
    terms = model_terms([gas], "main")
    generator = np.random.default_rng(12)
    trials, wrong = 250, 0
    for _ in range(trials):
        observations = []
        for number in range(12):
            shift, name = generator.normal(0, 2), gases[number % 3]
            for _ in range(3):
                value = 80 + shift + generator.normal(0, 4)
                level = {"gas": name}
                observations.append(Observation("", 1, None, number, level, level, value, ()))
        fit = fit_model([gas], terms, observations)
        zero = fit.mean_vector(gas, "mix")
        found = [fit.estimate(fit.mean_vector(gas, g) - zero) for g in gases[1:]]
        largest = max(range(2), key=lambda k: abs(found[k].estimate / found[k].se))
        together = contrast(fit, gas, gases[1 + largest], Response("load", "kN")).together
        wrong += (together.p_adjusted or 0) < 0.05
    assert wrong / trials <= 0.05 + 3 * (0.05 * 0.95 / trials) ** 0.5


def test_railway_weld_strength_by_lenth() -> None:
    """Taguchi & Wu (1980), Box & Meyer (1986): a saturated 2^(9-5); PSE 0.225 of 15 contrasts."""
    table = rows("weld-railway-2x9-5")
    names = [name for name in table[0] if name != "Strength"]
    factors = [Factor(n, "numeric", ("-1", "1"), unit="1", settings={"": (-1, 1)}) for n in names]
    found = analysed(factors, table, "Strength")
    assert found.method == "lenth"
    effects = {row.term: row for row in found.effects}
    assert effects["Drying"].estimate == pytest.approx(2.15)
    assert effects["Material"].estimate == pytest.approx(-3.1)
    assert effects["Rods"].se == pytest.approx(0.225)
    assert len(found.tests) == 15
    low = {row.term for row in found.tests if row.p < 0.01}
    assert low == {"Drying", "Material"}
    assert any(note.code == "left_out" for note in found.warnings)


def test_a_category_in_a_saturated_fraction_is_compared_by_lenth() -> None:
    """The gap is minus the effect, its interval Lenth's; an unsettled one plans nothing."""
    table = rows("weld-railway-2x9-5")
    names = [name for name in table[0] if name != "Strength"]
    factors = [Factor(name, "category", ("-1", "1")) for name in names]
    found = analysed(factors, table, "Strength", margin=0.2)
    gaps = {c.factor: c for c in found.comparisons}
    assert gaps["Material"].difference == pytest.approx(-3.1)
    assert gaps["Material"].verdict.code == "worse_beyond_margin"
    assert gaps["Material"].verdict.words.startswith("Shown: Material 1 is worse than Material -1")
    assert any("9 factors are compared" in line for line in gaps["Rods"].verdict.lines)
    opening = gaps["Opening"]
    assert opening.verdict.code == "not_settled"
    assert not any("would settle" in line for line in opening.verdict.lines)
    half = ((opening.ci_high or 0) - (opening.ci_low or 0)) / 2
    # Ye & Hamada (2000): 2.155 pseudo standard errors of 0.225 for fifteen contrasts
    assert half == pytest.approx(2.155 * 0.225, abs=2e-3)


def test_three_level_numeric_factor_has_a_mean_at_each_level() -> None:
    levels = ("30", "40", "50")
    travel = Factor("travel", "numeric", levels, unit="cm/min", settings={"": (30, 40, 50)})
    truth = {"30": 10.0, "40": 14.0, "50": 12.0}
    noise = np.random.default_rng(3).normal(0, 0.1, 9)
    table = [
        {"travel": level, "y": repr(float(truth[level] + noise[3 * k + i]))}
        for k, level in enumerate(levels)
        for i in range(3)
    ]
    found = analysed([travel], table, "y", design=Design(model="quadratic"))
    means = {row.level: row.mean for row in found.means}
    for level in levels:
        cell = np.mean([float(r["y"]) for r in table if r["travel"] == level])
        assert means[level] == pytest.approx(cell, rel=1e-9)
    assert [row.term for row in found.tests] == ["travel", "travel^2"]


def test_too_few_unreplicated_coupons_give_estimates_and_no_p() -> None:
    """Four coupons, four unknowns: effects as they came out, nothing to judge them by."""
    factors = [
        Factor("gas", "category", ("mix", "co2")),
        Factor("travel", "numeric", ("30", "50"), unit="cm/min", settings={"": (30, 50)}),
    ]
    table = [
        {"gas": gas, "travel": travel, "y": y}
        for gas, travel, y in (("mix", "30", "10"), ("mix", "50", "14"), ("co2", "30", "9"),
                               ("co2", "50", "11"))
    ]  # fmt: skip
    found = analysed(factors, table, "y")
    effects = {row.term: (row.estimate, row.p) for row in found.effects}
    assert effects == {"gas": (2.0, None), "travel": (3.0, None), "gas:travel": (1.0, None)}
    assert found.tests == ()
    assert found.variance.coupon is None
    (comparison,) = found.comparisons
    assert comparison.verdict.code == "cannot_tell"
    assert comparison.p is None
