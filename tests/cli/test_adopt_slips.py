"""``weldtrial adopt``: slips that would change an answer without a word are refused."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Weldtrial = Callable[..., Any]
GAS = ("--factor", "gas", "--response", "load")

SLIPS = {
    "a letter among numbers": (
        "volts,load\n24,80\n27,82\n24,81\n2T,83\n",
        ("--factor", "volts", "--response", "load"),
        "row 5, column volts: '2T' is not a number, and most of the column is",
    ),
    "capitals": (
        "gas,load\nmix,80\nco2,82\nMix,81\n",
        GAS,
        "row 4, column gas: 'Mix' and 'mix' differ only in capitals",
    ),
    "no set-up": (
        "gas,load,bottle\nmix,80,1\nco2,82,2\nmix,81,\n",
        (*GAS, "--setup", "bottle"),
        "row 4, column bottle: is empty here",
    ),
    "response as block": (
        "gas,load\nmix,80\nco2,82\n",
        (*GAS, "--block", "load"),
        "column 'load' is named twice",
    ),
    "a row after a blank one": (
        "gas,load\nmix,80\n\nco2,8o\n",
        GAS,
        "row 4, column load: '8o' is not a number",
    ),
    "thousands": ('gas,load\nmix,"1,080"\nco2,990\n', GAS, "'1,080' is not a number"),
    "thousands among decimal commas": (
        "gas;load\nmix;1.080\nco2;990,5\n",
        (*GAS, "--decimal", ","),
        "'1.080' is not a number",
    ),
    "an open quote": ('gas,load\nmix,80\nco2,"82\nmix,81\n', GAS, "is not closed properly"),
    "no worse than what": (
        "gas,load\nmix,80\nco2,82\n",
        (*GAS, "--ask", "load=no-worse"),
        "no-worse needs the change that would matter:  --margin load=VALUE",
    ),
    "a reference among numbers": (
        "volts,load\n24,80\n27,82\n",
        ("--factor", "volts", "--response", "load", "--reference", "volts=24"),
        "say  --category volts  instead",
    ),
    "two things at once": (
        "gas,load,load\nmix,80,1\nco2,82,1\n",
        ("--factor", "gaz", "--response", "load"),
        "Did you mean 'gas'?",
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_slip_is_refused_by_row_and_column(weldtrial: Weldtrial, tmp_path: Path, slip: str) -> None:
    text, options, words = SLIPS[slip]
    data = tmp_path / "their.csv"
    data.write_text(text, encoding="utf-8")
    refused = weldtrial("adopt", data, "x", *options)
    assert refused.code == 3
    assert words in refused.err
    assert not (tmp_path / "x").exists()


@pytest.fixture
def folder(weldtrial: Weldtrial, tmp_path: Path) -> Path:
    data = tmp_path / "their.csv"
    data.write_text("gas,load\nmix,80\nco2,82\nmix,81\nco2,84\n", encoding="utf-8")
    assert weldtrial("adopt", data, "x", *GAS).code == 0
    return tmp_path / "x"


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("\n[joint]\ntype = 'fillet'\n", "'joint' is not a setting of an adopted trial file"),
        ("\n[adopted.margn]\nload = 5\n", "Did you mean 'margin'?"),
    ],
)
def test_what_nothing_would_read_is_refused(
    weldtrial: Weldtrial, folder: Path, more: str, words: str
) -> None:
    with (folder / "trial.toml").open("a", encoding="utf-8") as file:
        file.write(more)
    for command in ("analyse", "check", "report"):
        refused = weldtrial("-C", folder, command)
        assert refused.code == 3
        assert words in refused.err


def test_bundle_runs_again(weldtrial: Weldtrial, folder: Path, tmp_path: Path) -> None:
    assert weldtrial("-C", folder, "report", "--bundle").code == 0
    with zipfile.ZipFile(folder / "report.zip") as bundle:
        bundle.extractall(tmp_path / "sent")
    here, there = (
        weldtrial("-C", place, "analyse", "--json") for place in (folder, tmp_path / "sent")
    )
    assert there.code == 0
    assert there.json == here.json


def test_scope_claims_no_welder_and_no_machine(weldtrial: Weldtrial, folder: Path) -> None:
    scope = weldtrial("-C", folder, "analyse", "--json").json["scope"]
    assert "is not in the data" in scope
    assert "one machine" not in scope
    assert "not a procedure or welder qualification" in scope


def test_coupon_in_two_blocks_is_named(weldtrial: Weldtrial, tmp_path: Path) -> None:
    data = tmp_path / "their.csv"
    rows = "mix,80,p1,a\nmix,81,p1,b\nco2,84,p2,a\nco2,82,p3,b\n"
    data.write_text("gas,load,piece,day\n" + rows, encoding="utf-8")
    weldtrial("adopt", data, "y", *GAS, "--coupon", "piece", "--block", "day")
    checked = weldtrial("-C", tmp_path / "y", "check")
    assert checked.code == 3
    assert "row 3, column piece: coupon p1 has other levels, set-up or block" in checked.err
