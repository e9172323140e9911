"""``weldtrial plan --tells`` and ``--compare``: what is shown, what JSON holds, what is misused."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from weldtrial.cli.telling_options import settings_said
from weldtrial.shared.problems import WrongUsage

Run = Callable[..., Any]

FRACTION = """# Invented.
format = 1
[trial]
title = "Which settings matter on 8 mm fillets"
purpose = "screening"
[[factor]]
name = "voltage"
unit = "V"
low_high = [24, 28]
[[factor]]
name = "wire_feed"
unit = "m/min"
low_high = [7.5, 9.5]
[[factor]]
name = "travel"
unit = "cm/min"
low_high = [30, 50]
[[factor]]
name = "gas"
levels = ["mix", "co2"]
[[response]]
name = "break_load"
unit = "kN"
margin = 5
margin_why = "half of the drawbar's reserve"
typical = { mean = 80, sd_coupon = 4, sd_setup = 0 }
[design]
kind = "fraction"
runs = 8
model = "main"
replicates = 2
[budget]
minutes_coupon = 6
cost_coupon = 5
currency = "EUR"
"""
SETUPS = FRACTION.replace(
    'name = "gas"\n', 'name = "gas"\nhard_to_change = true\n'
).replace(
    'kind = "fraction"\nruns = 8\nmodel = "main"\nreplicates = 2\n',
    'kind = "factorial"\nrounds = 4\nreplicates = 1\n',
).replace("sd_setup = 0", "sd_setup = 2")  # fmt: skip


def folder(tmp_path: Path, text: str = FRACTION) -> str:
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    return str(tmp_path)


def said(run: Run, *args: str) -> str:
    result = run(*args)
    assert result.code == 0, result.err
    assert all(len(line) <= 100 for line in result.out.splitlines())
    return str(result.out)


def as_json(run: Run, *args: str) -> dict[str, Any]:
    result = run(*args, "--json")
    assert result.code == 0, result.err
    return dict(json.loads(result.out))


def test_tells_of_a_fraction(weldtrial: Run, tmp_path: Path) -> None:
    text = said(weldtrial, "-C", folder(tmp_path), "plan", "--tells")
    assert "16 counting coupons; what the design itself can tell" in text
    # Four coupon scatters over sixteen: 4 × 2/√16 = 2 kN, on 16 − 5 degrees of freedom: 2.201 × 2.
    assert re.search(r"^voltage +coupons +11 +4\.4 ", text, re.MULTILINE)
    assert "Of 45 pairs of effects up to two factors 3 travel together wholly, 0 in part" in text
    assert re.search(r"^voltage × wire feed +travel × gas +\+1\.00$", text, re.MULTILINE)
    assert "half of the allowed region is known better" in text
    assert "one coupon" in text
    assert "one set-up" not in text
    assert "Nothing is fixed" not in text
    assert "Next:" in text


def test_tells_of_set_ups_names_the_worst_losses(weldtrial: Run, tmp_path: Path) -> None:
    text = said(weldtrial, "-C", folder(tmp_path, SETUPS), "plan", "--tells")
    assert "64 counting coupons in 8 set-ups" in text
    assert "4 kN from coupon to coupon, 2 kN from set-up to set-up" in text
    assert "None: all 45 pairs of effects up to two factors are clear of each other." in text
    assert re.search(r"^one set-up +of mix +the interval of gas is ", text, re.MULTILINE)


def test_tells_in_json(weldtrial: Run, tmp_path: Path) -> None:
    found = as_json(weldtrial, "-C", folder(tmp_path, SETUPS), "plan", "--tells")["tells"]
    assert found["variance_ratio"] == pytest.approx(0.25)
    gas = found["effects"][0]
    assert (gas["term"], gas["judged_by"], gas["error_df"]) == ("gas", "set-ups", pytest.approx(3))
    # (4²/32 + 2²/4) × 2 = 3 kN²: the variance of the gap between two gases, by hand.
    assert gas["variance"] * 16 == pytest.approx(3.0)
    assert gas["half_width"] == pytest.approx(3.182446 * 3**0.5, rel=1e-6)
    assert len(found["together"]["pairs"]) == 45
    assert found["prediction"]["allowed"] == 1.0
    assert len(found["prediction"]["variance_quantiles"]) == 21
    assert found["losses"]["set_up"]["cases"] == 8
    assert found["losses"]["set_up"]["worst"]["widest"] == "gas"
    assert found["corners"] == []


def test_without_a_scatter_errors_are_in_coupon_scatters(weldtrial: Run, tmp_path: Path) -> None:
    bare = FRACTION.replace("typical = { mean = 80, sd_coupon = 4, sd_setup = 0 }\n", "")
    text = said(weldtrial, "-C", folder(tmp_path, bare), "plan", "--tells")
    assert "Nothing is known of the scatter of break load" in text
    assert re.search(r"^voltage +coupons +11 +0\.5 +× 1\.00$", text, re.MULTILINE)
    found = as_json(weldtrial, "-C", folder(tmp_path, bare), "plan", "--tells")["tells"]
    assert found["scatter"] is None
    assert found["effects"][0]["half_width"] is None


def test_compare_lays_plans_side_by_side(weldtrial: Run, tmp_path: Path) -> None:
    args = ["--compare", "design.replicates=1,design.runs=4", "--compare", "design.kind=factorial"]
    text = said(weldtrial, "-C", folder(tmp_path), "plan", *args)
    assert "A      design.replicates = 1, design.runs = 4" in text
    assert "A cannot be laid out:" in text
    assert "pairs of effects not told apart" in text
    row = next(line for line in text.splitlines() if line.startswith("coupons, spares"))
    assert row.split()[-3:] == ["16", "–", "32"]
    row = next(line for line in text.splitlines() if line.startswith("pairs of effects not"))
    assert row.split()[-3:] == ["3", "–", "0"]


def test_compare_in_json_and_with_a_change_for_all(weldtrial: Run, tmp_path: Path) -> None:
    where = folder(tmp_path)
    args = ["--compare", "design.kind=factorial", "--if", "sd_coupon=8"]
    plans = as_json(weldtrial, "-C", where, "plan", *args)["compare"]["plans"]
    assert [plan["name"] for plan in plans] == ["file", "A"]
    assert [plan["coupons"] for plan in plans] == [16, 32]
    assert [plan["cost"] for plan in plans] == [80.0, 160.0]
    # 8 × 2/√16 on 11, and 8 × 2/√32 on 27 degrees of freedom.
    halves = [plan["half_widths"]["voltage"] for plan in plans]
    assert halves == pytest.approx([2.200985 * 4, 2.051831 * 16 / 32**0.5], rel=1e-6)
    assert plans[1]["changes"] == [
        {"key": "break_load.typical.sd_coupon", "was": 4, "now": 8},
        {"key": "design.kind", "was": "fraction", "now": "factorial"},
    ]
    assert plans[1]["tells"]["effects"][0]["term"] == "voltage"


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (["--tells", "--compare", "design.runs=8"], 2, "two screens"),
        (["--tells", "--try", "rounds=3"], 2, "--try does not go with --tells"),
        (["--compare", "design.runs=8", "--why"], 2, "--why does not go with --compare"),
        (["--compare", "nonsense"], 2, "'nonsense' is not that"),
        (["--compare", "design.runs=16,foo"], 2, "'design.runs=16,foo' is not that"),
        (["--compare", "desn.runs=5"], 2, "--compare does not know 'desn.runs'"),
        (["--compare", "design.runs=5"], 3, "With  --compare design.runs=5  the file"),
        (["--compare", "design.rnus=5"], 3, "Did you mean 'runs'?"),
        (["--compare", "a=1"] * 5, 2, "5 alternatives are too many"),
        (["--tells", "--rehearse", "20"], 2, "have tables of their own"),
    ],
)
def test_misuse_is_answered_in_words(
    weldtrial: Run, tmp_path: Path, args: list[str], code: int, words: str
) -> None:
    result = weldtrial("-C", folder(tmp_path), "plan", *args)
    assert result.code == code
    assert words in result.out + result.err
    assert "Traceback" not in result.out + result.err


def test_nothing_that_can_be_laid_out(weldtrial: Run, tmp_path: Path) -> None:
    text = FRACTION.replace("replicates = 2\n", "").replace("runs = 8", "runs = 4")
    result = weldtrial("-C", folder(tmp_path, text), "plan", "--compare", "margin=4")
    assert result.code == 3
    assert "None of these plans can be laid out." in result.out + result.err


def test_changes_are_split_at_commas_outside_brackets() -> None:
    assert settings_said('design.generators=["a = b * c", "d = b"], design.runs=8') == (
        'design.generators=["a = b * c", "d = b"]',
        "design.runs=8",
    )
    assert settings_said("x='a,b'") == ("x='a,b'",)
    for text in ("", "a", "a=1,", 'a=["b', "a=[1"):
        with pytest.raises(WrongUsage):
            settings_said(text)


def test_set_ups_of_unequal_size_are_shown_as_such(weldtrial: Run, tmp_path: Path) -> None:
    """22 coupons in 8 set-ups: 2 in some and 3 in others, never 2 alone."""
    uneven = SETUPS.replace(
        'kind = "factorial"\nrounds = 4\nreplicates = 1\n',
        'kind = "optimal"\nmodel = "main"\nset_ups = 8\n',
    ).replace("[budget]\n", "[budget]\ncoupons = 22\n")
    where = folder(tmp_path, uneven)
    assert re.search(r"^▸ +4 +8 +2–3 ", said(weldtrial, "-C", where, "plan"), re.MULTILINE)
    row = as_json(weldtrial, "-C", where, "plan")["rows"][0]
    assert (row["per_setup"], row["most_per_setup"], row["coupons"]) == (2, 3, 22)
    assert "2 to 3 coupons a set-up: 22 coupons" in said(weldtrial, "-C", where, "power")
    # The table, the terms and --tells give one chance for the gas.
    gas = as_json(weldtrial, "-C", where, "plan", "--tells")["tells"]["effects"][0]
    assert gas["chance"] == pytest.approx(row["chance"])
    assert gas["detectable"] == pytest.approx(row["gap"])
