"""Forty and more kinds of bad results, by hand: readings that nobody can use as they stand.

Each kind is a finished invented folder, made by the commands, with one thing spoiled; the command
that a user would run must say so in the words given here, and change nothing that was typed.
What stands in the weld log is in ``test_bad_logs.py``, what the answer makes of losses and limits
in ``test_bad_answers.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest
from weldtrial_bad_folders import (
    ANGLES,
    BENDS,
    DEPTHS,
    LOADS,
    SPATTER,
    Kind,
    Spoilt,
    ends_as_written_down,
    gives_its_line,
)

Weldtrial = Callable[..., Any]
N = 3
"""The coupon that is spoiled: the fourth in welding order."""


def put(name: str, *, cut: int = 1, **cells: str) -> Callable[[Spoilt], dict[str, Any]]:
    """Return what types cells into the row of the coupon, and says where it stands."""

    def spoil(folder: Spoilt) -> dict[str, Any]:
        stamp = folder.stamps[N]
        folder.put(name, stamp, cut=cut, **cells)
        return {"at": f"{name} row {folder.row(name, stamp, cut)}", "stamp": stamp}

    return spoil


def add(name: str, which: Callable[[Spoilt], str], **cells: str) -> Callable[[Spoilt], Any]:
    """Return what writes one more row at the end."""

    def spoil(folder: Spoilt) -> dict[str, Any]:
        stamp = which(folder)
        folder.add(name, stamp=stamp, **cells)
        rows = [n for n, row in enumerate(folder.rows(name), start=2) if row["stamp"] == stamp]
        return {"at": f"{name} row {rows[-1]}", "rows": rows, "stamp": stamp}

    return spoil


def write(name: str, text: Callable[[Spoilt], str | bytes]) -> Callable[[Spoilt], None]:
    """Return what writes a whole file anew."""

    def spoil(folder: Spoilt) -> None:
        data = text(folder)
        (folder.path / name).write_bytes(data.encode() if isinstance(data, str) else data)

    return spoil


def remove(folder: Spoilt) -> None:
    (folder.path / LOADS).unlink()


def columns(*kept: str) -> Callable[[Spoilt], None]:
    return lambda folder: folder.save(LOADS, folder.rows(LOADS), kept)


def decimal_commas(folder: Spoilt) -> dict[str, Any]:
    """Write two numbers of a comma-separated file with commas."""
    rows = [folder.rows(LOADS)[n]["reading"] for n in (0, 1)]
    lines = folder.text(LOADS).splitlines()
    for n, text in enumerate(rows, start=1):
        lines[n] = lines[n].replace(text, text.replace(".", ","))
    folder.write(LOADS, "\n".join(lines) + "\n")
    return {}


def fourth(folder: Spoilt) -> str:
    return folder.stamps[N]


NOT_READ = "lost (with a reason in note), or leave it empty for not-yet-read."
A_NUMBER = "Write >90 (did not break), 80..90 (between), " + NOT_READ
PASS = f"Write pass, fail, {NOT_READ}"
HEADER = "It should be  stamp,reading,failed_at,reader,read_on,note"

# fmt: off
READINGS = (
    Kind("above the gauge limit (19)", put(LOADS, reading="93"), (
        "{at}, column reading: 93 is above the gauge limit 90. Write >90 if it had not broken, or "
        "change the limit openly: weldtrial seal --amend.",
        "mend 1 problem (listed with file and row)")),
    Kind("text in a number (20)", put(LOADS, reading="didnt break"), (
        "{at}, column reading: 'didnt break' is not a reading. " + A_NUMBER,)),
    Kind("text in a number with no limit", put(DEPTHS, reading="deep"), (
        "{at}, column reading: 'deep' is not a reading. Write a number (mm), " + NOT_READ,)),
    Kind("a date of a spreadsheet (21)", put(LOADS, reading="25 May"), (
        "{at}, column reading: '25 May' – your spreadsheet has turned 25.5 into a date. Set the "
        "column to Text and re-enter from the paper sheet; the original figure cannot be recovered "
        "safely.",)),
    Kind("decimal commas in a comma file (22)", decimal_commas, (
        "readings/break_load.csv row 2: digits follow a number (and so in 1 more, the last being "
        "row 3) – looks like decimal commas in a comma-separated file. Save with semicolons, or "
        "run weldtrial record --from readings/break_load.csv --decimal , and check the preview.",)),
    Kind("read twice (23)", add(LOADS, fourth, reading="81.9"), (
        "{at}, column reading: {stamp} has two break loads (row {rows[0]}: 85.0, row {rows[1]}: "
        "81.9). A coupon breaks once. Keep one with weldtrial record --correct {stamp} and say "
        "why.",)),
    Kind("unknown stamp (18)", add(LOADS, lambda f: f.stamps[N][:2] + "X", reading="81.9"), (
        "{at}, column stamp: stamp '{stamp}' is not in this trial. Nearest", "(already on row",
        "Look at the plate; do not guess.")),
    Kind("beyond a limit that no gauge has", put(DEPTHS, reading=">9"), (
        "{at}, column reading: >9, but trial.toml gives the gauge no limit there (most). It counts "
        "as at least 9 mm; if it is right, say in note why nothing was read.",), 0),
    Kind("below where only most is given", put(LOADS, reading="<20"), (
        "{at}, column reading: <20, but trial.toml gives the gauge no limit there (least). It "
        "counts as at most 20 kN; if it is right, say in note why nothing was read.",), 0),
    Kind("beyond less than the gauge limit", put(LOADS, reading=">80"), (
        "{at}, column reading: >80, but the gauge limit is 90. Write >90 if the gauge stopped; as "
        "it stands it counts as at least 80 kN, and if that is right say why in note.",), 0),
    Kind("an interval upside down", put(LOADS, reading="90..80"), (
        "{at}, column reading: '90..80' is the wrong way round: write the smaller number first, as "
        "in 80..90.",)),
    Kind("an interval with a dash", put(LOADS, reading="80-90"), (
        "{at}, column reading: '80-90' is not a reading. If it happened between the two, write "
        "80..90",)),
    Kind("an interval over more than two stops", put(ANGLES, reading="60..90"), (
        "{at}, column reading: 60..90 is wider than two neighbouring stops, 10 deg apart. Write "
        "the last stop it held and the first it did not; if it is right, say why in note.",), 0),
    Kind("an interval with its stops finer than", put(ANGLES, reading="72..78"), (
        "{at}, column reading: 72..78 is narrower than two neighbouring stops, 10 deg apart.",), 0),
    Kind("an interval beyond the limit", put(LOADS, reading="85..95"), (
        "{at}, column reading: 85..95 is above the gauge limit 90.",)),
    Kind("a grade misspelt", put(SPATTER, reading="litle"), (
        "{at}, column reading: 'litle' is not a grade. Did you mean little? Write one of heavy, "
        "some, little, none, " + NOT_READ,)),
    Kind("a number for a grade", put(SPATTER, reading="2"), (
        "{at}, column reading: '2' is not a grade. Write one of heavy, some, little, none, "
        + NOT_READ,)),
    Kind("a grade in capitals", put(SPATTER, reading="LITTLE"), ("spatter 16/16",), 0),
    Kind("pass for a number", put(LOADS, reading="pass"), (
        "{at}, column reading: 'pass' is not a reading. " + A_NUMBER,)),
    Kind("a number for pass or fail", put(BENDS, reading="82.5"), (
        "{at}, column reading: '82.5' is not a reading. " + PASS,)),
    Kind("passed for pass", put(BENDS, reading="passed"), (
        "{at}, column reading: 'passed' is not a reading. Did you mean pass? " + PASS,)),
    Kind("an error of a spreadsheet", put(LOADS, reading="#REF!"), (
        "{at}, column reading: '#REF!' is not a reading. " + A_NUMBER,)),
    Kind("an exponent", put(LOADS, reading="8e1"), (
        "{at}, column reading: '8e1' has an exponent. Write the number out in full.",)),
    Kind("another kind of unit", put(LOADS, reading="82 mm"), (
        "{at}, column reading: '82 mm' is in mm, a length; here a force in kN is wanted.",)),
    Kind("below zero", put(LOADS, reading="-82"), (
        "{at}, column reading: -82 is below zero, and Break load cannot be. Check the paper "
        "sheet.",)),
    Kind("a slipped decimal point", put(LOADS, reading="8.07"), (
        "{at}, column reading: 8.07 kN is a tenth of what the others read, and the gauge reads to "
        "0.1. Meant 80.7? If it is right, begin the note with as read.",), 0),
    Kind("a place that is none", put(LOADS, failed_at="troat"), (
        "{at}, column failed_at: 'troat' is not a place where it breaks. Did you mean 'throat'? "
        "The list is throat, toe, root, plate, slipped.",)),
    Kind("a load that folded flat", put(LOADS, failed_at="folded flat"), (
        "{at}, column failed_at: 'folded flat' is not among the places listed for Break load "
        "(throat, toe, root, plate). It is kept; look at the paper sheet.",), 0),
    Kind("slipped, and no reason", put(LOADS, failed_at="slipped"), (
        "{at}, column note: {stamp} slipped in the test, and no reason is given. Write why in "
        "note.", "break load 16/16 (lost: {stamp})"), 0),
    Kind("lost, and no reason", put(LOADS, reading="lost", failed_at=""), (
        "{at}, column note: {stamp} is lost, and no reason is given. Write why in note.",), 0),
    Kind("lost in the note only", put(LOADS, reading="", failed_at="", note="lost in the etch"), (
        "{at}, column note: the note says lost; write lost as the reading.",), 0),
    Kind("a place without a reading", put(LOADS, reading=""), (
        "{at}, column failed_at: says where it broke, but there is no reading. Type it in, or "
        "lost.",), 0),
    Kind("one section of two", put(DEPTHS, cut=2, reading=""), (
        "{at}, column reading: {stamp} second cut missing (1 of 2 read). Read it, or write lost "
        "with a reason in note.",), 0),
    Kind("a third section", add(DEPTHS, fourth, reading="1.2", reader="reader 1"), (
        "{at}, column reading: {stamp} has 3 readings of penetration (row {rows[0]}:",
        "2 cuts are planned. Keep one with weldtrial record --correct {stamp} and say why.")),
    Kind("a warm-up read", add(LOADS, lambda f: f.warm_ups[0], reading="81.9"), (
        "{at}, column stamp: {stamp} is a warm-up and is never read. Take the row out.",)),
    Kind("a day that is none", put(LOADS, read_on="tuesday"), (
        "{at}, column read_on: 'tuesday' is not a date. Write it as 2026-06-14.",), 0),
    Kind("read before it was welded", put(LOADS, read_on="2026-03-01"), (
        "{at}, column read_on: {stamp} was read on 2026-03-01 and welded on 2026-03-02. Mend the "
        "one that is wrong.", "Worth knowing (1):"), 0),
    Kind("a blind reader without a name", lambda f: f.every(DEPTHS, reader=""), (
        "readings/penetration.csv row 2, column reader: 32 readings do not say who read them, and "
        "the reader must not know the gas. Write the name in the column reader (or weldtrial "
        "record --reader NAME).",), 0),
    Kind("a guess of no gas in the trial", put(DEPTHS, guess="argon"), (
        "{at}, column guess: 'argon' is no gas of this trial. Write mix or co2, or leave it empty "
        "where the reader has no idea.",)),
    Kind("a guess for an unknown stamp", add(DEPTHS, lambda f: "QQQ", guess="mix"), (
        "{at}, column stamp: stamp 'QQQ' is not in this trial. Look at the plate; do not guess.",)),
    Kind("what is worked out, typed by hand",
         write("readings/stress.csv", lambda f: f"stamp,reading\n{f.stamps[0]},300\n"), (
        "readings/stress.csv: is typed by hand, but stress is worked out from break_load and "
        "weld_log.csv. Nothing uses the file: move it out of the folder.",)),
    Kind("the file of no response",
         write("readings/hardness.csv", lambda f: f"stamp,reading\n{f.stamps[0]},300\n"), (
        "readings/hardness.csv: is the file of no response in trial.toml. Rename it, or move it "
        "out of the folder.",)),
    Kind("file deleted", remove, (
        "readings/break_load.csv: the file is missing. Put it back, or let weldtrial seal lay it "
        "out anew.",)),
    Kind("file empty", write(LOADS, lambda f: ""), (
        "readings/break_load.csv: the file is empty. The header is stamp,reading,failed_at",)),
    Kind("header renamed", lambda f: f.replace(LOADS, "stamp,reading,", "stamp,redding,"), (
        "row 1, column redding: column 'redding' is not known here. Did you mean 'reading'?",
        "row 1: the header lacks 'reading' (read as comma-separated: stamp, redding, failed_at, "
        f"reader, read_on, note). {HEADER}")),
    Kind("column missing", columns("stamp", "failed_at", "note"), (
        "readings/break_load.csv row 1: the header lacks 'reading' (read as comma-separated: "
        f"stamp, failed_at, note). {HEADER}",)),
    Kind("a column more", lambda f: f.replace(LOADS, "read_on,note", "read_on,weather"), (
        "row 1, column weather: column 'weather' is not one that is used here; what it holds is "
        "left alone.",), 0),
    Kind("columns nobody needs missing", columns("stamp", "reading"), ("break load 16/16",), 0),
    Kind("with a byte order mark", write(LOADS, lambda f: "\ufeff" + f.text(LOADS)), (
        "break load 16/16",), 0),
    Kind("in UTF-16", write(LOADS, lambda f: f.text(LOADS).encode("utf-16")), (
        "break load 16/16",), 0),
    Kind("a spreadsheet under the name", write(LOADS, lambda f: b"PK\x03\x04" + bytes(40)), (
        "readings/break_load.csv: this is a spreadsheet, not a CSV file. Save it as CSV first.",)),
    Kind("a quote that never closes",
         lambda f: f.replace(LOADS, f"{f.stamps[N]},", f'"{f.stamps[N]},'), (
        "a quote opens and is not closed properly. Look at the quote signs (\") in this row.",)),
)
# fmt: on


@pytest.mark.parametrize("kind", READINGS, ids=lambda kind: kind.name)
def test_it_gives_its_line(
    kind: Kind, spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    gives_its_line(kind, spoilt("shop"), weldtrial)


@pytest.mark.parametrize(
    "kind", [kind for kind in READINGS if kind.code], ids=lambda kind: kind.name
)
def test_what_must_be_mended_ends_as_written_down(
    kind: Kind, spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    folder = spoilt("shop")
    kind.spoil(folder)
    ends_as_written_down(folder, weldtrial, (3,))


ELSEWHERE = ("no gauge has", "two stops", "finer than", "capitals", "section of two", "a name")
WHOLE_FILE = ("column more", "needs missing", "order mark", "UTF-16")
"""What is only worth knowing goes on to an answer, which takes time: these are kinds of other
responses than the load, which go into one folder, each to a coupon of its own, and kinds that spoil
a whole file."""


@pytest.mark.parametrize(
    "kind",
    [kind for kind in READINGS if kind.name.endswith(WHOLE_FILE)],
    ids=lambda kind: kind.name,
)
def test_an_odd_file_goes_on_to_an_answer(
    kind: Kind, spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    folder = spoilt("loads")
    kind.spoil(folder)
    ends_as_written_down(folder, weldtrial, (0,))


def each_to_its_own_coupon(folder: Spoilt, kinds: Sequence[Kind]) -> None:
    assert len(kinds) <= len(folder.stamps)
    for place, kind in enumerate(kinds):
        stamps = folder.stamps[place:] + folder.stamps[:place]
        kind.spoil(replace(folder, stamps=stamps))


@pytest.mark.slow
@pytest.mark.parametrize(
    "kind",
    [k for k in READINGS if not k.code and not k.name.endswith((*ELSEWHERE, *WHOLE_FILE))],
    ids=lambda kind: kind.name,
)
def test_odd_loads_go_on_to_an_answer(
    kind: Kind, spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    folder = spoilt("loads")
    kind.spoil(folder)
    ends_as_written_down(folder, weldtrial, (0,))


@pytest.mark.slow
def test_the_other_responses_go_on_to_an_answer(
    spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    kinds = [kind for kind in READINGS if not kind.code and kind.name.endswith(ELSEWHERE)]
    assert len(kinds) == len(ELSEWHERE)
    folder = spoilt("shop")
    each_to_its_own_coupon(folder, kinds)
    ends_as_written_down(folder, weldtrial, (0,))


def test_all_problems_are_named_at_once(
    spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    """Every kind that spoils one cell of its own coupon, together in one folder."""
    folder = spoilt("shop")
    texts = ["93", "didnt break", "25 May", "90..80", "85..95", "pass", "8e1", "82 mm", "-82"]
    for stamp, text in zip(folder.stamps, texts, strict=False):
        folder.put(LOADS, stamp, reading=text)
    done = weldtrial("check", "--json", cwd=folder.path)
    assert done.code == 3
    found = done.json["problems"]
    assert sorted(one["value"] for one in found) == sorted(texts)
    assert all(one["file"] == LOADS and one["column"] == "reading" for one in found)
