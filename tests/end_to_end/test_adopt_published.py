"""Published data through the installed command: ``adopt``, then ``analyse --json``."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Weldtrial = Callable[..., Any]
DATA = Path(__file__).parents[1] / "reference" / "data"


def expected(case: str) -> dict[str, Any]:
    return dict(json.loads((DATA / f"{case}.json").read_text(encoding="utf-8"))["expected"])


@pytest.fixture
def adopted(weldtrial: Weldtrial, tmp_path: Path) -> Callable[..., dict[str, Any]]:
    """Return a function that adopts a published case and returns its one response."""

    def run(case: str, response: str, *options: str) -> dict[str, Any]:
        made = weldtrial("adopt", DATA / f"{case}.csv", "x", "--response", response, *options)
        assert made.code == 0, made.err
        found = weldtrial("-C", tmp_path / "x", "analyse", "--json")
        assert found.code == 0, found.err
        assert found.json["adopted"] is True
        assert found.json["sealed"] is False
        for comparison in found.json["responses"][response]["comparisons"]:
            assert comparison["verdict"]["strength"] in (None, "suggests")
        return dict(found.json["responses"][response])

    return run


def by_term(response: dict[str, Any]) -> dict[str, dict[str, float]]:
    return {row["term"]: row for row in response["tests"]}


def test_oats(adopted: Callable[..., dict[str, Any]]) -> None:
    """Yates (1935); R 4.2.2 aov and Kenward-Roger: varieties between, nitrogen within plots."""
    response = adopted("splitplot-oats", "Y", "--factor", "V", "--factor", "N", "--setup", "V",
                       "--block", "B")  # fmt: skip
    strata = expected("splitplot-oats")["strata"]
    found = by_term(response)
    for term, name, df in (("V", "V", 10), ("N", "N", 45), ("V:N", "N:V", 45)):
        assert found[term]["df_den"] == pytest.approx(df)
        assert found[term]["statistic"] == pytest.approx(strata[name]["F"], abs=5e-5)
        assert found[term]["p"] == pytest.approx(strata[name]["p"], rel=3e-4)
    assert response["variance"]["setup"] == pytest.approx(106.0618, abs=1e-3)
    assert response["variance"]["coupon"] == pytest.approx(177.08307, abs=1e-3)


def test_paper_with_replicates_as_blocks(adopted: Callable[..., dict[str, Any]]) -> None:
    """Montgomery (2013), split plot; sub-plot terms as R's standard split-plot model."""
    response = adopted("splitplot-paper", "strength", "--category", "prep_whole_plot", "--category",
                       "temperature_sub_plot", "--setup", "prep_whole_plot", "--block",
                       "replicate")  # fmt: skip
    model = expected("splitplot-paper")["standard_split_plot_model"]
    found = by_term(response)
    assert found["temperature_sub_plot"]["statistic"] == pytest.approx(model["temp_F"], abs=5e-5)
    both = found["prep_whole_plot:temperature_sub_plot"]
    assert both["statistic"] == pytest.approx(model["prep_temp_F"], abs=5e-5)
    assert both["p"] == pytest.approx(model["prep_temp_p"], abs=5e-6)
    assert found["prep_whole_plot"]["statistic"] == pytest.approx(7.08, abs=5e-3)
    assert found["prep_whole_plot"]["df_den"] == pytest.approx(4)


def test_steel_bars_without_blocks(adopted: Callable[..., dict[str, Any]]) -> None:
    """Box, Hunter & Hunter (2005), section 9.1; least squares beside it is another answer."""
    response = adopted("splitplot-steel-bars", "resistance", "--category", "temperature",
                       "--category", "coating", "--setup", "furnace_run")  # fmt: skip
    found = by_term(response)
    assert found["temperature"]["statistic"] == pytest.approx(2.75, abs=5e-3)
    assert found["temperature"]["df_den"] == pytest.approx(3)
    assert found["coating"]["statistic"] == pytest.approx(11.48, abs=5e-3)
    naive = {row["term"]: row for row in response["least_squares"]["tests"]}
    assert naive["temperature"]["df_den"] == pytest.approx(12)
    assert naive["temperature"]["p"] < 0.01 < found["temperature"]["p"]


@pytest.mark.parametrize(
    ("case", "digits"),
    [("sirstv", 9), ("smls01", 9), ("smls02", 9), ("atmwtag", 7), ("smls05", 7)],
)
def test_nist_one_way_sets(adopted: Callable[..., dict[str, Any]], case: str, digits: int) -> None:
    """NIST StRD analysis of variance: lower difficulty to 9 digits, average to 7."""
    name = f"nist-strd-anova-{case}"
    response = adopted(name, "response", "--category", "treatment")
    certified = expected(name)
    (test,) = response["tests"]
    assert test["statistic"] == pytest.approx(certified["F"]["value"], rel=10.0**-digits)
    assert response["r_squared"] == pytest.approx(
        certified["r_squared"]["value"], rel=10.0**-digits
    )
    assert (test["df_num"], test["df_den"]) == (certified["between_df"], certified["within_df"])


def test_norris_regression(adopted: Callable[..., dict[str, Any]]) -> None:
    """NIST StRD Norris (lower difficulty): B0, B1 and their standard deviations to 9 digits."""
    response = adopted("nist-strd-lls-norris", "y", "--factor", "x", "--model", "main", "--coded")
    rows = {row["term"]: row for row in response["coefficients"]}
    assert rows["Intercept"]["estimate"] == pytest.approx(-0.262323073774029, rel=1e-9)
    assert rows["Intercept"]["se"] == pytest.approx(0.232818234301152, rel=1e-9)
    assert rows["x"]["estimate"] == pytest.approx(1.00211681802045, rel=1e-9)
    assert rows["x"]["se"] == pytest.approx(0.429796848199937e-03, rel=1e-9)
    assert response["r_squared"] == pytest.approx(0.999993745883712, rel=1e-9)
    assert response["means"] == []


def test_battery_life(adopted: Callable[..., dict[str, Any]]) -> None:
    """Montgomery (2013), Design and Analysis of Experiments, 8th ed., 3 x 3 with 4 replicates."""
    response = adopted("battery-life", "life_h", "--category", "material", "--category",
                       "temperature_F")  # fmt: skip
    table = expected("battery-life")
    found = by_term(response)
    for term, name in (("material", "material"), ("temperature_F", "temperature"),
                       ("material:temperature_F", "interaction")):  # fmt: skip
        assert found[term]["statistic"] == pytest.approx(table[name]["F"], abs=5.1e-3)
        assert (found[term]["df_num"], found[term]["df_den"]) == (table[name]["df"], 27)


def test_one_way_tukey_intervals(adopted: Callable[..., dict[str, Any]]) -> None:
    """NIST/SEMATECH e-Handbook 7.4.7: all pairs of four groups."""
    response = adopted("nist-hb-oneway-contrasts", "y", "--category", "group")
    table = expected("nist-hb-oneway-contrasts")
    assert response["tests"][0]["statistic"] == pytest.approx(table["groups_1_4"]["F"], abs=5e-3)
    found = {(c["level"], c["reference"]): c for c in response["comparisons"]}
    for pair, (low, high) in table["tukey95"].items():
        one, other = pair.split("-")
        comparison = found.get((one, other))
        if comparison is None:
            comparison, low, high = found[other, one], -high, -low
        # The handbook works with q = 4.05 to two decimals.
        assert comparison["ci_low"] == pytest.approx(low, abs=0.02)
        assert comparison["ci_high"] == pytest.approx(high, abs=0.02)


def test_eddy_current_coefficients(adopted: Callable[..., dict[str, Any]]) -> None:
    """NIST/SEMATECH e-Handbook 5.4.7.1: unreplicated 2^3, half-effects."""
    names = ["x1_turns", "x2_winding_distance", "x3_wire_gauge"]
    options = [word for name in names for word in ("--factor", name)]
    response = adopted("nist-hb-eddy-current-2x3", "y_sensitivity", *options)
    found = {row["term"]: row["estimate"] for row in response["coefficients"]}
    half = expected("nist-hb-eddy-current-2x3")["coefficients_half_effects"]
    assert found["Intercept"] == pytest.approx(half["mean"])
    for number, name in enumerate(names, 1):
        assert found[name] == pytest.approx(half[f"x{number}"])
    assert found["x1_turns:x3_wire_gauge"] == pytest.approx(half["x1x3"])
    effects = {row["term"]: row["estimate"] for row in response["effects"]}
    assert effects["x1_turns"] == pytest.approx(2 * half["x1"])


def test_eddy_current_saturated_by_lenth(adopted: Callable[..., dict[str, Any]]) -> None:
    """With the three-factor term seven contrasts and no replicates are left."""
    names = ["x1_turns", "x2_winding_distance", "x3_wire_gauge"]
    options = [word for name in names for word in ("--factor", name)]
    response = adopted("nist-hb-eddy-current-2x3", "y_sensitivity", *options, "--term",
                       ":".join(names))  # fmt: skip
    assert response["method"] == "lenth"
    low = {row["term"] for row in response["tests"] if row["p"] < 0.05}
    assert low == {"x1_turns", "x2_winding_distance"}


def test_railway_fraction_by_lenth(adopted: Callable[..., dict[str, Any]]) -> None:
    """Taguchi & Wu (1980), Box & Meyer (1986): sixteen welds, nine factors."""
    names = ["Rods", "Drying", "Material", "Thickness", "Angle", "Opening", "Current", "Method",
             "Preheating"]  # fmt: skip
    options = [word for name in names for word in ("--factor", name)]
    response = adopted("weld-railway-2x9-5", "Strength", *options)
    effects = {row["term"]: row for row in response["effects"]}
    for name, value in expected("weld-railway-2x9-5")["effects_high_minus_low"].items():
        assert effects[name]["estimate"] == pytest.approx(value, abs=1e-4)
    assert response["method"] == "lenth"
    assert effects["Drying"]["se"] == pytest.approx(0.225)
    assert {row["term"] for row in response["tests"] if row["p"] < 0.01} == {"Drying", "Material"}
    left = [note["words"] for note in response["warnings"] if note["code"] == "left_out"]
    assert len(left) == 36 - 6


def test_weld_cladding_quadratic(adopted: Callable[..., dict[str, Any]]) -> None:
    """Sreeraj, Kannan & Maji: 32 weld beads, five coded factors; R 4.2.2 lm, full quadratic."""
    names = ["I", "S", "N", "T", "Ac"]
    options = [word for name in names for word in ("--factor", name)]
    response = adopted("weld-gmaw-cladding-ccd32", "width_mm", *options, "--coded", "--model",
                       "quadratic", "--unit", "width_mm=mm")  # fmt: skip
    fit = expected("weld-gmaw-cladding-ccd32")["quadratic_fits_computed"]["width_mm"]
    found = {row["term"]: row["estimate"] for row in response["coefficients"]}
    assert found["Intercept"] == pytest.approx(fit["coef"]["(Intercept)"], abs=1e-5)
    for number, name in enumerate(names, 1):
        assert found[name] == pytest.approx(fit["coef"][f"x{number}"], abs=1e-5)
        assert found[f"{name}^2"] == pytest.approx(fit["coef"][f"I(x{number}^2)"], abs=1e-5)
    assert found["I:N"] == pytest.approx(fit["coef"]["x1:x3"], abs=1e-5)
    assert response["r_squared"] == pytest.approx(fit["R2"], abs=1e-5)
    assert response["lack_of_fit"]["statistic"] == pytest.approx(fit["lof_F"], abs=1e-3)
    assert response["lack_of_fit"]["p"] == pytest.approx(fit["lof_p"], abs=1e-5)


def test_weld_cladding_centre_points_shift(adopted: Callable[..., dict[str, Any]]) -> None:
    """Same source: centre runs 29 to 32 lie far from 27 and 28, and a check says so."""
    names = ["I", "S", "N", "T", "Ac"]
    options = [word for name in names for word in ("--factor", name)]
    response = adopted("weld-gmaw-cladding-ccd32", "penetration_mm", *options, "--coded",
                       "--model", "quadratic")  # fmt: skip
    checks = {check["name"]: check for check in response["checks"]}
    assert checks["coupons welded alike"]["passed"] is False
    assert "after run 28" in checks["coupons welded alike"]["words"]


def test_through_a_fresh_process(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "weldtrial.cli.main"]
    data = DATA / "tukey-scipy.csv"
    options = ["--category", "group", "--response", "minutes", "--reference", "group=g0"]
    subprocess.run([*command, "adopt", data, "x", *options], cwd=tmp_path, check=True)
    done = subprocess.run(
        [*command, "-C", "x", "analyse", "--json"], cwd=tmp_path, check=True, capture_output=True
    )
    comparisons = json.loads(done.stdout)["responses"]["minutes"]["comparisons"]
    assert [(c["level"], c["reference"]) for c in comparisons] == [("g1", "g0"), ("g2", "g0")]
    assert all(c["p_adjusted"] > c["p"] for c in comparisons)
