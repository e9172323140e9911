"""``--pilot FOLDER`` and ``--pilot-coupons``: scatter taken from results, in mind only."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Call = Callable[..., Any]


@pytest.fixture
def folder(weldtrial: Call, tmp_path: Path) -> Path:
    assert weldtrial("new", "next", "--for", "compare").code == 0
    assert weldtrial("new", "pilot", "--example", "drawbar-gas").code == 0
    return tmp_path / "next"


def contents(folder: Path) -> dict[str, bytes]:
    return {str(one): one.read_bytes() for one in folder.rglob("*") if one.is_file()}


def squeezed(text: str) -> str:
    return " ".join(text.split())


def test_scatter_is_taken_and_nothing_is_written(weldtrial: Call, folder: Path) -> None:
    pilot = folder.parent / "pilot"
    before = contents(folder.parent)
    outcome = weldtrial("-C", folder, "plan", "--pilot", pilot)
    assert (outcome.code, outcome.err) == (0, "")
    assert contents(folder.parent) == before
    words = squeezed(outcome.out)
    assert "break_load: 48 coupons in 12 set-ups. Coupon to coupon 4.401 kN, on 29 degrees" in words
    assert "The codes stay closed" in words
    for gas_word in ("worse than mix by 5", "better"):
        assert gas_word not in words.partition("Taken from the results")[2]


def test_the_printed_line_gives_the_same_plan(weldtrial: Call, folder: Path) -> None:
    first = weldtrial("-C", folder, "plan", "--pilot", folder.parent / "pilot", "--json").json
    shown = weldtrial("-C", folder, "plan", "--pilot", folder.parent / "pilot").out
    for name, taken in first["pilot"]["taken"].items():
        assert f"    {taken['line']}" in shown.splitlines()
        file = folder / "trial.toml"
        text = file.read_text(encoding="utf-8")
        head, found, tail = text.partition(f'name       = "{name}"')
        tail = re.sub(
            r"^typical +=.*$", lambda _, t=taken: t["line"], tail, count=1, flags=re.MULTILINE
        )
        file.write_text(head + found + tail, encoding="utf-8")
    second = weldtrial("-C", folder, "plan", "--json").json
    assert second["rows"] == first["rows"]
    assert second["averaged"] == first["averaged"]
    assert second["assumed"] == first["assumed"]


def test_power_takes_it_too(weldtrial: Call, folder: Path) -> None:
    found = weldtrial("-C", folder, "power", "--pilot", folder.parent / "pilot", "--json").json
    assert found["responses"]["break_load"]["sd_coupon"] == 4.401
    assert found["pilot"]["taken"]["break_load"]["df_setup"] == 5
    assert found["responses"]["break_load"]["averaged"]["no_worse"]["chance"] < 0.9


def test_if_goes_over_what_the_pilot_says(weldtrial: Call, folder: Path) -> None:
    found = weldtrial(
        "-C", folder, "plan", "--pilot", folder.parent / "pilot", "--if", "sd_setup=3", "--json"
    ).json
    assert (found["assumed"]["sd_setup"], found["assumed"]["sd_coupon"]) == (3, 4.401)


def change(folder: Path, *pairs: tuple[str, str]) -> None:
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    for was, now in pairs:
        assert was in text
        text = text.replace(was, now)
    (folder / "trial.toml").write_text(text, encoding="utf-8")


def test_another_name_with_the_same_unit_is_found(weldtrial: Call, folder: Path) -> None:
    change(folder, ("break_load", "pull_load"))
    shown = weldtrial("-C", folder, "plan", "--pilot", folder.parent / "pilot")
    assert shown.code == 0
    assert "pull_load (called break_load there)" in squeezed(shown.out)


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        ((("break_load", "moment"), ('"kN"', '"N·m"')), "has no response 'moment'"),
        ((('"kN"', '"N"'),), "is in kN there and in N here"),
    ],
)
def test_what_is_not_there_is_refused(weldtrial: Call, folder: Path, pairs, words: str) -> None:
    change(folder, *pairs)
    outcome = weldtrial("-C", folder, "plan", "--pilot", folder.parent / "pilot")
    assert (outcome.code, outcome.out) == (2, "")
    assert words in outcome.err


def test_folders_that_are_no_pilot(weldtrial: Call, folder: Path) -> None:
    assert "this trial itself" in weldtrial("-C", folder, "plan", "--pilot", folder).err
    assert "no folder" in weldtrial("-C", folder, "plan", "--pilot", folder / "gone").err
    bare = folder.parent / "empty"
    bare.mkdir()
    assert "is no trial" in weldtrial("-C", folder, "plan", "--pilot", bare).err
    weldtrial("new", "unsealed", "--for", "pilot")
    unsealed = weldtrial("-C", folder, "plan", "--pilot", folder.parent / "unsealed")
    assert unsealed.code == 5
    assert "Nothing was planned yet" in unsealed.err
    weldtrial("-C", folder.parent / "unsealed", "seal", "--yes")
    unread = weldtrial("-C", folder, "plan", "--pilot", folder.parent / "unsealed")
    assert unread.code == 5
    assert "Nothing of load to break the fillet has been read" in unread.err


def test_an_adopted_folder_serves(weldtrial: Call, folder: Path) -> None:
    rows = ["gas,day,load"]
    for day in range(1, 7):
        for gas, base in (("mix", 80), ("co2", 77)):
            rows += [f"{gas},{day},{base + day + 2 * (k % 2)}" for k in range(3)]
    data = folder.parent / "old.csv"
    data.write_text("\n".join(rows) + "\n", encoding="utf-8")
    options = ("--factor", "gas", "--block", "day", "--response", "load", "--unit", "load=kN")
    made = weldtrial("adopt", data, "old", *options)
    assert made.code == 0
    shown = weldtrial("-C", folder, "plan", "--pilot", folder.parent / "old")
    assert shown.code == 0
    assert "(called load there)" in squeezed(shown.out)


BARE = ("--mean", 78, "--sd", 4, "--loss", "5%", "--setups", 6, "--coupons", 3)


def test_bare_figures_with_their_pilot(weldtrial: Call) -> None:
    found = weldtrial("power", "--sd", 1, "--loss", "1.2", "--coupons", 12, "--pilot-coupons", 3)
    words = squeezed(found.out)
    assert "3 coupons leave the scatter between coupons anywhere from 0.52 to 6.3" in words
    assert "a true loss 80 % 61 % 26 % 58" in words
    assert "falls further than it rises" in words


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--pilot-coupons", 1), "scatter is seen from 2 on"),
        (("--pilot-setups", 3), "Add --sd-setup"),
        (("--pilot", "."), "--pilot plans a trial folder"),
    ],
)
def test_bare_figures_that_cannot_be(weldtrial: Call, options, words: str) -> None:
    outcome = weldtrial("power", *BARE, *options)
    assert outcome.code == 2
    assert words in outcome.err


def test_plan_says_what_eight_coupons_leave_open(weldtrial: Call, folder: Path) -> None:
    words = squeezed(weldtrial("-C", folder, "plan").out)
    assert (
        "8 coupons leave the scatter between coupons anywhere from 2.6 to 8.1 kN; that between "
        "set-ups is taken as known." in words
    )
    assert "Averaged over that, the chance is 74 %, not 78 %" in words
    assert "To make it 80 % on average takes 7 set-ups of each, 42 coupons with 3 in each" in words
    why = squeezed(weldtrial("-C", folder, "plan", "--why").out)
    assert "Averaged = 74 %: the coupon variance s²·f/x for 8 pilot coupons" in why
    assert "Cautious = 64 %" in why
    change(folder, ("pilot_coupons = 8, ", ""))
    assert weldtrial("-C", folder, "plan", "--json").json["averaged"] is None


def test_with_nothing_known_the_trades_ranges_are_averaged(weldtrial: Call, folder: Path) -> None:
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    text = re.sub(r"^typical .*\n", "", text, flags=re.MULTILINE)
    text = text.replace("margin     = 5 ", 'margin     = "10 %" ')
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    words = squeezed(weldtrial("-C", folder, "plan").out)
    assert "No figures of yours: coupons of one set-up usually scatter 8 to 15 %" in words
    assert weldtrial("-C", folder, "plan", "--json").json["averaged"]["prior"] is True
