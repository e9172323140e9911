"""``weldtrial adopt``: every slip named, nothing written, nothing that was there touched."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weldtrial.shared.data_file import read_data

Weldtrial = Callable[..., Any]
TABLE = "gas;load kN;bottle\nmix;80,1;1\nmix;81,3;1\nco2;78,9;2\nco2;77,0;2\nmix;82;3\nco2;75;4\n"


@pytest.fixture
def data(tmp_path: Path) -> Path:
    path = tmp_path / "their.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


def test_semicolons_and_decimal_commas(weldtrial: Weldtrial, tmp_path: Path, data: Path) -> None:
    made = weldtrial("adopt", data, "x", "--factor", "gas", "--response", "load kN", "--decimal",
                     ",", "--setup", "bottle", "--margin", "load kN=6 %", "--unit",
                     "load kN=kN", "--reference", "gas=mix", "--ask",
                     "load kN=no-worse")  # fmt: skip
    assert made.code == 0
    assert "never changes within a set-up" in made.out
    found = weldtrial("-C", tmp_path / "x", "analyse", "--json").json
    response = found["responses"]["load kN"]
    assert (response["n"], response["setups_total"], response["unit"]) == (6, 4, "kN")
    (comparison,) = response["comparisons"]
    assert (comparison["level"], comparison["reference"]) == ("co2", "mix")
    assert comparison["margin_percent"] == pytest.approx(6)
    assert found["grade"] == "cannot_be_judged"
    assert [note["code"] for note in found["notes"]] == ["adopted"]


def test_every_slip_at_once_and_nothing_written(
    weldtrial: Weldtrial, tmp_path: Path, data: Path
) -> None:
    data.write_text("gas,load,one\nmix,80,1\nco2,abc,1\n,79,1\n", encoding="utf-8")
    refused = weldtrial("adopt", data, "x", "--factor", "gas", "--factor", "one", "--response",
                        "load", "--unit", "load=furlong", "--better", "load=more", "--margin",
                        "load=-3", "--term", "gas:nothing")  # fmt: skip
    assert refused.code == 3
    for words in ("'abc' is not a number", "row 3", "has no level here", "has one level",
                  "furlong", "'more' is not one of", "'-3' is not a margin",
                  "nothing"):  # fmt: skip
        assert words in refused.err, words
    assert not (tmp_path / "x").exists()


def test_columns_that_are_not_there(weldtrial: Weldtrial, tmp_path: Path, data: Path) -> None:
    refused = weldtrial("adopt", data, "x", "--factor", "gaz", "--response", "load kN")
    assert refused.code == 3
    assert "there is no column 'gaz'. Did you mean 'gas'?" in refused.err
    assert (
        weldtrial("adopt", tmp_path / "no.csv", "x", "--factor", "a", "--response", "b").code == 2
    )
    assert weldtrial("adopt", data, "x", "--response", "load kN").code == 2
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "kept.txt").write_text("mine", encoding="utf-8")
    assert weldtrial("adopt", data, "full", "--factor", "gas", "--response", "load kN").code == 2
    assert (tmp_path / "full" / "kept.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("command", [["seal"], ["sheets"], ["plan"], ["power"], ["record", "x"]])
def test_commands_without_sense_say_so(
    weldtrial: Weldtrial, tmp_path: Path, data: Path, command: list[str]
) -> None:
    weldtrial("adopt", data, "x", "--factor", "gas", "--response", "load kN", "--decimal", ",")
    refused = weldtrial("-C", tmp_path / "x", *command)
    assert refused.code == 2
    assert "adopted from data that were not planned here" in refused.err


def test_check_and_report_say_there_is_no_seal(
    weldtrial: Weldtrial, tmp_path: Path, data: Path
) -> None:
    weldtrial("adopt", data, "x", "--factor", "gas", "--response", "load kN", "--decimal", ",")
    folder = tmp_path / "x"
    checked = weldtrial("-C", folder, "check")
    assert checked.code == 0
    assert "Seal      none: adopted" in checked.out
    assert weldtrial("-C", folder, "report").code == 0
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "not planned here" in page
    (folder / "data.csv").write_text(TABLE.replace("80,1", "60,1"), encoding="utf-8")
    assert "was changed since it was adopted" in weldtrial("-C", folder, "analyse").err


def test_thousands_marks_open_quotes_and_blank_rows_are_seen() -> None:
    assert read_data(b"a;b\n1.234,5;2\n", "t.csv", ",").number("1.234,5") is None
    assert "quote sign" in str(read_data(b'a,b\n"1,2\n3,4\n', "t.csv").problems[0])
    assert read_data(b"a,b\n1,2\n\n3,4\n", "t.csv").places == (2, 4)


def test_a_factor_may_carry_its_unit(weldtrial: Weldtrial, tmp_path: Path, data: Path) -> None:
    rows = ["travel,load", *(f"{t},{80 + k + t / 10}" for k in range(3) for t in (30, 50))]
    data.write_text("\n".join(rows), encoding="utf-8")
    made = weldtrial("adopt", data, "x", "--factor", "travel", "--response", "load", "--unit",
                     "travel=cm/min")  # fmt: skip
    assert made.code == 0, made.err
    assert "30 to 50 cm/min" in weldtrial("-C", tmp_path / "x", "analyse").out


def test_combinations_never_welded_are_named(
    weldtrial: Weldtrial, tmp_path: Path, data: Path
) -> None:
    rows = ["gas,travel,load"]
    rows += [f"{gas},{travel},{80 + k}" for k in range(4)
             for gas, travel in (("mix", 30), ("mix", 50), ("co2", 30))]  # fmt: skip
    data.write_text("\n".join(rows), encoding="utf-8")
    weldtrial("adopt", data, "x", "--factor", "gas", "--factor", "travel", "--response", "load")
    found = weldtrial("-C", tmp_path / "x", "analyse", "--json").json
    words = [note["words"] for note in found["notes"] if note["code"] == "runs_together"]
    assert words == ["1 of the 4 combinations of levels were never welded: co2, 50."]
    left = [n["words"] for n in found["responses"]["load"]["warnings"] if n["code"] == "left_out"]
    assert left[0].startswith("gas:travel is left out: it cannot be told apart from")


def test_four_coupons_show_estimates_without_intervals(
    weldtrial: Weldtrial, tmp_path: Path, data: Path
) -> None:
    data.write_text("gas,travel,load\nmix,30,80\nmix,50,79\nco2,30,81\nco2,50,70\n", "utf-8")
    weldtrial("adopt", data, "x", "--factor", "gas", "--factor", "travel", "--response", "load")
    shown = weldtrial("-C", tmp_path / "x", "analyse")
    assert "Cannot tell: nothing was welded twice" in shown.out
    assert re.search("^travel +[\N{MINUS SIGN}-]6 +none to be had$", shown.out, re.MULTILINE)
    assert "none seen" not in shown.out
    assert weldtrial("-C", tmp_path / "x", "report").code == 0
    page = (tmp_path / "x" / "report.html").read_text(encoding="utf-8")
    assert "effects is clear of zero" not in page


def test_empty_cells_are_set_aside_and_cuts_averaged(
    weldtrial: Weldtrial, tmp_path: Path, data: Path
) -> None:
    rows = ["gas,piece,depth"]
    rows += [
        f"{gas},{gas}{k},{2 + 0.1 * k + 0.01 * cut}"
        for gas in ("mix", "co2")
        for k in range(4)
        for cut in range(2)
    ]
    rows.append("mix,mix9,NA")
    data.write_text("\n".join(rows), encoding="utf-8")
    weldtrial("adopt", data, "x", "--factor", "gas", "--response", "depth", "--coupon", "piece")
    found = weldtrial("-C", tmp_path / "x", "analyse", "--json").json
    assert found["responses"]["depth"]["n"] == 8
    assert found["responses"]["depth"]["variance"]["reading"] == pytest.approx(5e-5, rel=1e-6)
    assert [entry["stamp"] for entry in found["set_aside"]] == ["mix9"]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(st.binary(max_size=300))
def test_garbage_is_listed_not_raised(weldtrial: Weldtrial, tmp_path: Path, garbage: bytes) -> None:
    read_data(garbage, "g.csv")
    path = tmp_path / "g.csv"
    path.write_bytes(garbage)
    code = weldtrial("adopt", path, "y", "--factor", "a", "--response", "b").code
    assert code == 3
    assert not (tmp_path / "y").exists()
