"""Published comparisons of several levels, and the hardest digits, through ``adopt``."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

Weldtrial = Callable[..., Any]
DATA = Path(__file__).parents[1] / "reference" / "data"


def expected(case: str) -> dict[str, Any]:
    return dict(json.loads((DATA / f"{case}.json").read_text(encoding="utf-8"))["expected"])


def found(
    weldtrial: Weldtrial, folder: Path, case: str, response: str, *options: str
) -> dict[str, Any]:
    made = weldtrial("adopt", DATA / f"{case}.csv", "x", "--response", response, *options)
    assert made.code == 0, made.err
    return dict(weldtrial("-C", folder / "x", "analyse", "--json").json["responses"][response])


def test_dunnett_against_the_control(weldtrial: Weldtrial, tmp_path: Path) -> None:
    """Thomson & Short (1969), as in the documentation of scipy.stats.dunnett."""
    response = found(weldtrial, tmp_path, "dunnett-scipy", "y", "--factor", "group",
                     "--reference", "group=control")  # fmt: skip
    table = expected("dunnett-scipy")
    comparisons = response["comparisons"]
    assert [(c["level"], c["reference"]) for c in comparisons] == [
        ("s1", "control"),
        ("s2", "control"),
    ]
    for comparison, t, p in zip(comparisons, table["statistic"], table["p_two_sided"], strict=True):
        assert comparison["difference"] / comparison["se"] == pytest.approx(t, abs=5e-9)
        # The printed p are quasi-Monte Carlo: good to 5e-4, says the case.
        assert comparison["p_adjusted"] == pytest.approx(p, abs=5e-4)


def test_tukey_among_all_pairs(weldtrial: Weldtrial, tmp_path: Path) -> None:
    """Documentation of scipy.stats.tukey_hsd: differences, p and simultaneous 95 % limits."""
    response = found(weldtrial, tmp_path, "tukey-scipy", "minutes", "--factor", "group")
    pairs = {(c["reference"], c["level"]): c for c in response["comparisons"]}
    table = expected("tukey-scipy")["95"]
    assert len(pairs) == len(table) == 3
    for pair, (difference, p, low, high) in table.items():
        one, other = (f"g{number}" for number in pair.split("-"))
        comparison = pairs[one, other]
        # Printed as the earlier minus the later; ours is level minus reference.
        assert -comparison["difference"] == pytest.approx(difference, abs=5e-4)
        assert comparison["p_adjusted"] == pytest.approx(p, abs=5.1e-4)
        assert (-comparison["ci_high"], -comparison["ci_low"]) == pytest.approx(
            (low, high), abs=5.1e-4
        )


def test_tukey_data_without_a_reference_are_not_dunnetts(
    weldtrial: Weldtrial, tmp_path: Path
) -> None:
    """Dunnett looks at fewer pairs than Tukey, so its limits are narrower (Dunnett 1955)."""
    widths = []
    for name, options in (("a", ()), ("b", ("--reference", "group=g0"))):
        weldtrial("adopt", DATA / "tukey-scipy.csv", name, "--factor", "group", "--response",
                  "minutes", *options)  # fmt: skip
        got = weldtrial("-C", tmp_path / name, "analyse", "--json").json["responses"]["minutes"]
        first = got["comparisons"][0]
        assert (first["level"], first["reference"]) == ("g1", "g0")
        widths.append(first["ci_high"] - first["ci_low"])
    assert widths[1] < widths[0]


def exact_f(case: str) -> float:
    """F of a one-way set in exact arithmetic on the doubles that its numbers are read as."""
    groups: dict[str, list[Fraction]] = {}
    with (DATA / f"{case}.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            groups.setdefault(row["treatment"], []).append(Fraction(float(row["response"])))
    count = sum(map(len, groups.values()))
    grand = sum(map(sum, groups.values())) / count
    means = {name: sum(values) / len(values) for name, values in groups.items()}
    between = sum(len(groups[name]) * (mean - grand) ** 2 for name, mean in means.items())
    within = sum((y - means[name]) ** 2 for name, values in groups.items() for y in values)
    return float(between * (count - len(groups)) / (within * (len(groups) - 1)))


def test_nist_thirteen_digits(weldtrial: Weldtrial, tmp_path: Path) -> None:
    """NIST StRD SmLs08: tenths behind 1e12, and no digit of the file is lost on the way.

    A double keeps 1e12 + 0.4 to 1.2e-4 only, a thousandth of the spread 0.1: exact arithmetic on
    the doubles gives 201.0130 where the certified F of the printed decimals is 201.  So four
    digits of the certified values, and twelve of what the doubles hold.
    """
    case = "nist-strd-anova-smls08"
    response = found(weldtrial, tmp_path, case, "response", "--category", "treatment")
    certified = expected(case)
    (test,) = response["tests"]
    assert (test["df_num"], test["df_den"]) == (8, 1800)
    assert test["statistic"] == pytest.approx(exact_f(case), rel=1e-12)
    assert test["statistic"] == pytest.approx(certified["F"]["value"], rel=1e-4)
    assert response["r_squared"] == pytest.approx(certified["r_squared"]["value"], rel=1e-4)


@pytest.mark.parametrize("name", ["penetration_mm", "reinforcement_mm", "dilution_pct"])
def test_every_response_of_the_cladding_trial(
    weldtrial: Weldtrial, tmp_path: Path, name: str
) -> None:
    """Sreeraj, Kannan & Maji (2013); all 21 coefficients by R 4.2.2 lm (computed, not printed)."""
    case = "weld-gmaw-cladding-ccd32"
    factors = ["I", "S", "N", "T", "Ac"]
    options = [word for factor in factors for word in ("--factor", factor)]
    response = found(weldtrial, tmp_path, case, name, *options, "--coded", "--model", "quadratic")
    fit = expected(case)["quadratic_fits_computed"][name]
    ours = {row["term"]: row["estimate"] for row in response["coefficients"]}
    spelt = {"(Intercept)": "Intercept"}
    for number, factor in enumerate(factors, 1):
        spelt |= {f"x{number}": factor, f"I(x{number}^2)": f"{factor}^2"}
    assert len(fit["coef"]) == len(ours) == 21
    for theirs, value in fit["coef"].items():
        term = spelt.get(theirs) or ":".join(spelt[part] for part in theirs.split(":"))
        assert ours[term] == pytest.approx(value, rel=1e-6, abs=5e-8), term
    assert response["r_squared"] == pytest.approx(fit["R2"], abs=5.1e-7)
    lack = response["lack_of_fit"]
    assert (lack["df_num"], lack["df_den"]) == (fit["lof_df"], fit["pe_df"])
    assert lack["statistic"] == pytest.approx(fit["lof_F"], rel=1e-4)
    assert lack["p"] == pytest.approx(fit["lof_p"], abs=1e-5)
