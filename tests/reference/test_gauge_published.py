"""Published gauge studies, end to end through the commands."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from weldtrial.shared.problems import ExitCode

HEAD = 'format = 1\n[trial]\ntitle = "T"\npurpose = "gauge"\n'


def study(place: Path, gauge: str, response: str = 'name = "y"\nunit = "mm"') -> Path:
    place.mkdir(exist_ok=True)
    text = f"{HEAD}[gauge]\n{gauge}\n[[response]]\n{response}\n"
    (place / "trial.toml").write_text(text, encoding="utf-8")
    return place


def write(path: Path, header: str, rows) -> Path:
    with path.open("w", newline="") as out:
        lines = csv.writer(out)
        lines.writerow(header.split(","))
        lines.writerows(rows)
    return path


def test_crossed_study_of_the_aiag_manual(weldtrial, reference, tmp_path: Path) -> None:
    """AIAG MSA 4th ed., chapter III B: 3 appraisers, 10 parts, 3 trials; the columns as named."""
    case = reference.load("grr-aiag")
    parts = ", ".join(f'"{n}"' for n in range(1, 11))
    folder = study(
        tmp_path / "aiag", f'coupons = [{parts}]\nreaders = ["A", "B", "C"]\nrepeats = 3'
    )
    columns = case.columns
    rows = zip(columns["appraiser"], columns["trial"], columns["part"], columns["y"], strict=True)
    data = write(tmp_path / "aiag.csv", "appraiser,trial,part,value", rows)
    entered = weldtrial("record", "--from", data, "--json", cwd=folder)
    assert entered.json == {"response": "y", "entered": 90, "missing": 0}, entered.err
    found = weldtrial("analyse", "--json", cwd=folder).json["responses"]["y"]
    for line, name in zip(found["squares"], ("part", "appraiser", "interaction", "equipment"),
                          strict=True):  # fmt: skip
        printed = case.expected["anova"][name]
        assert reference.as_printed(line["squares"], printed["SS"])
        assert line["df"] == printed["df"]
    assert found["pooled"] is True
    assert reference.as_printed(found["interaction_p"], case.expected["anova"]["interaction"]["p"])
    printed = case.expected["anova_pooled"]
    names = {"repeatability": "EV", "reproducibility": "AV", "gauge": "GRR", "coupon": "PV"}
    for ours, theirs in names.items():
        part = found["components"][ours]
        assert part["sd"] == pytest.approx(float(printed[theirs]), abs=2e-6)
        assert reference.as_printed(part["percent"], printed["pct"][theirs])
    assert found["classes"] == printed["ndc"]
    assert found["fitness"] == "may do"
    shown = weldtrial("analyse", cwd=folder).out
    assert "The gauge scatters 27.9 % of the total" in shown
    assert "It tells 4 classes of coupons apart (five or more are wanted)." in shown


def test_nested_study_of_the_handbook(weldtrial, reference, tmp_path: Path) -> None:
    """NIST e-Handbook 2.4.4: two runs (as readers) of six days (as coupons) of six readings.

    The handbook prints averages and standard deviations; six readings with exactly those stand in.
    """
    case = reference.load("nist-hb-gauge-nested")
    mean, sd = case.numbers("average_of_6"), case.numbers("sd_of_6")
    shape = np.arange(6.0) - 2.5
    shape /= shape.std(ddof=1)
    days = [f"day {n}" for n in range(12)]
    rows = [
        (f"run {place // 6 + 1}", repeat + 1, day, repr(float(mean[place] + sd[place] * z)))
        for place, day in enumerate(days) for repeat, z in enumerate(shape)
    ]  # fmt: skip
    named = ", ".join(f'"{day}"' for day in days)
    folder = study(
        tmp_path / "nist",
        f'coupons = [{named}]\nreaders = ["run 1", "run 2"]\nrepeats = 6\ndesign = "nested"',
        'name = "y"\nunit = "mm"',
    )
    data = write(tmp_path / "nist.csv", "reader,repeat,stamp,reading", rows)
    assert weldtrial("record", "--from", data, cwd=folder).code == ExitCode.FINE
    found = weldtrial("analyse", "--json", cwd=folder).json["responses"]["y"]
    run, day, again = found["squares"]
    expected = case.expected
    assert reference.as_printed(again["squares"], expected["level1_pooled_SS"])
    assert (again["df"], day["df"], run["df"]) == (
        expected["level1_df"], expected["level2_df"], expected["level3_df"],
    )  # fmt: skip
    assert reference.as_printed(found["components"]["repeatability"]["sd"], expected["level1_s1"])
    assert reference.as_printed(
        (day["squares"] / day["df"] / 6) ** 0.5, expected["level2_pooled_s2"]
    )
    assert reference.as_printed((run["squares"] / 36) ** 0.5, expected["level3_s3"])
    printed = expected["day_variance_component_s2^2-s1^2/6"]
    assert reference.as_printed(found["components"]["coupon"]["raw"], printed)
    assert found["fitness"] is None
    assert "cannot tell these coupons apart" in weldtrial("analyse", cwd=folder).out
