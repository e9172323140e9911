"""More kinds of bad results, by hand: the weld log, spares, and the sealed files themselves."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
from weldtrial_bad_folders import (
    ANGLES,
    BENDS,
    DEPTHS,
    LOADS,
    LOG,
    SPATTER,
    Kind,
    Spoilt,
    ends_as_written_down,
    gives_its_line,
)

Weldtrial = Callable[..., Any]
N = 3
"""The coupon that is spoiled: run 6, the second of set-up 2."""


def log(n: int = N, **cells: str) -> Callable[[Spoilt], dict[str, Any]]:
    """Return what types cells into the row of the n-th coupon, and says where it stands."""

    def spoil(folder: Spoilt) -> dict[str, Any]:
        stamp = folder.stamps[n]
        folder.put(LOG, stamp, **cells)
        return {"at": f"{LOG} row {folder.row(LOG, stamp)}", "stamp": stamp}

    return spoil


def started(*pairs: tuple[int, str]) -> Callable[[Spoilt], dict[str, Any]]:
    """Return what gives coupons other starting times; tells of the last one."""

    def spoil(folder: Spoilt) -> dict[str, Any]:
        for n, clock in pairs:
            said = log(n, started=f"2026-03-02 {clock}")(folder)
        return {**said, "before": folder.stamps[pairs[-1][0] - 1]}

    return spoil


def unread(folder: Spoilt, stamp: str) -> None:
    for name in (LOADS, ANGLES, BENDS, SPATTER):
        folder.put(name, stamp, reading="")
    folder.put(LOADS, stamp, failed_at="")
    for cut in (1, 2):
        folder.put(DEPTHS, stamp, cut=cut, reading="")


def spare(number: int, replaces: Callable[[Spoilt], str], *, read: bool = False) -> Any:
    """Return what welds a spare in the place of a coupon, which was `read` or not."""

    def spoil(folder: Spoilt) -> dict[str, Any]:
        lost, used = replaces(folder), folder.spares[number]
        if not read and lost in folder.stamps:
            unread(folder, lost)
        folder.put(LOG, used, replaces=lost, started="2026-03-02 17:00")
        at = {"at": f"{LOG} row {folder.row(LOG, used)}", "spare": used, "lost": lost}
        if lost in folder.stamps:
            at |= {"lost_at": f"{LOG} row {folder.row(LOG, lost)}"}
            at |= {"read_at": f"{LOADS} row {folder.row(LOADS, lost)}"}
        return at

    return spoil


def both_spares(folder: Spoilt) -> dict[str, Any]:
    first = spare(0, lambda f: f.stamps[N])(folder)
    return {**spare(1, lambda f: f.stamps[N])(folder), "first": first["spare"]}


def without_row(folder: Spoilt) -> dict[str, Any]:
    stamp = folder.stamps[N]
    folder.save(LOG, [row for row in folder.rows(LOG) if row["stamp"] != stamp])
    return {"stamp": stamp}


def twice_in(folder: Spoilt) -> dict[str, Any]:
    stamp = folder.stamps[N]
    at = folder.row(LOG, stamp)
    folder.add(LOG, stamp=stamp, started="2026-03-02 17:30")
    return {"stamp": stamp, "first": at}


def corrected_behind(folder: Spoilt) -> None:
    """Correct a reading as one should, then change the line by hand."""
    from weldtrial.cli.main import main

    asked = ["record", "break_load", "--correct", folder.stamps[0], "--to", "80.1", "--why", "slip"]
    assert main(["-C", str(folder.path), *asked]) == 0
    folder.replace("corrections.csv", "80.1", "85.1")


def plan_edited(folder: Spoilt) -> dict[str, Any]:
    stamp = folder.stamps[0]
    folder.replace("plan.csv", f"{stamp},count,mix", f"{stamp},count,co2")
    return {"row": folder.row("plan.csv", stamp)}


def first_of(role: str) -> Callable[[Spoilt], str]:
    return lambda folder: getattr(folder, role)[0]


# fmt: off
LOGS = (
    Kind("throat of nothing", log(throat_mm="0"), (
        "{at}, column throat_mm: 0 cannot be: it must be above 0.",
        "stress out for 15 of 16 ({stamp} without throat_mm)")),
    Kind("throat in inches", log(throat_mm="0.21"), (
        "{at}, column throat_mm: 0.21 is outside what a bench meets (0.5 to 60). If it was read in "
        "inches write 0.21 in (5.33 mm).",), 0),
    Kind("millimetres under inches", lambda f: f.replace(LOG, "throat_mm", "throat_in"), (
        "row 3, column throat_mm: 5.2 under throat_in is 132.1 mm, which is outside what a bench "
        "meets (0.5 to 60). Check the sheet. So do 15 more rows.",), 0),
    Kind("bead length missing", log(bead_mm=""), (
        "travel out for 15 of 16 ({stamp} without bead_mm)",), 0),
    Kind("arc time missing", log(arc_s=""), (
        "travel out for 15 of 16 ({stamp} without arc_s)",), 0),
    Kind("arc time in minutes", log(arc_s="0:31"), (
        "{at}, column arc_s: '0:31' is minutes and seconds. Write the seconds: 31.",)),
    Kind("arc time in words", log(arc_s="half a minute"), (
        "{at}, column arc_s: 'half a minute' is not a plain number. Write it in s, or leave it "
        "empty.",)),
    Kind("lost and read both", log(went_wrong="lost: cracked"), (
        "{stamp} is lost (lost: cracked), and here is a reading of it. Look at the plate: correct "
        "the reading to lost, or the weld log.", "mend 5 problems")),
    Kind("a spare that replaces nothing",
         lambda f: f.put(LOG, f.spares[0], started="2026-03-02 17:00") or {"s": f.spares[0]}, (
        "column replaces: {s} is a spare that was welded; write in 'replaces' the stamp of the "
        "lost coupon.",)),
    Kind("a spare read that replaces nothing",
         lambda f: f.put(LOADS, f.spares[0], reading="80") or {"s": f.spares[0]}, (
        "column reading: {s} is a spare, and the weld log does not say which coupon it replaces. "
        "Write that stamp in 'replaces' of weld_log.csv.",)),
    Kind("two spares for one coupon", both_spares, (
        "{at}, column replaces: {lost} is replaced by {first} already. One spare for one lost "
        "coupon.",)),
    Kind("a spare for itself", spare(0, first_of("spares")), (
        "{at}, column replaces: {spare} cannot replace itself: write the stamp of the lost "
        "coupon.",)),
    Kind("a spare for a warm-up", spare(0, first_of("warm_ups")), (
        "{at}, column replaces: it replaces {lost}, which is a warm-up. Only a lost coupon that "
        "counts is replaced: write that one's stamp.",)),
    Kind("a spare for nobody knows what", spare(0, lambda f: "QQQ"), (
        "{at}, column replaces: it replaces 'QQQ', which is not in this trial.",)),
    Kind("a coupon that counts for another", log(replaces="QQQ"), (
        "{at}, column replaces: {stamp} is no spare (", "), so it replaces nothing.")),
    Kind("a replaced coupon that is read", spare(0, lambda f: f.stamps[N], read=True), (
        "{read_at}, column reading: {lost} is lost (replaced by spare {spare}), and here is a "
        "reading of it. Look at the plate: correct the reading to lost, or the weld log.",)),
    Kind("welded again without a reason", spare(0, lambda f: f.stamps[N]), (
        "{lost_at}, column went_wrong: {lost} is lost, replaced by {spare}; write why in "
        "went_wrong.",), 0),
    Kind("two changed places", started((2, "09:40"), (3, "09:05")), (
        "as planned except runs 5/6 welded in swapped order (noted) – harmless, same set-up (2)",),
        0),
    Kind("a set-up before its turn", started((2, "10:40"), (3, "10:50")), (
        "column started: set-up 3 was welded before set-up 2, not after it.",), 0),
    Kind("earlier than the run before", started((5, "08:10")), (
        "set-ups 2 and 3 overlap: 2 ran from 09:00 to 09:30, 3 from 08:10. A set-up taken down and "
        "fitted again is another set-up; if it was another day, write the date before the time.",),
        0),
    Kind("two at one time", started((3, "09:00")), (
        "{at}, column started: {before} and {stamp} both started at 09:00. One welder starts one "
        "at a time: look at the paper sheet.",), 0),
    Kind("a time that is none", log(started="25:70"), (
        "{at}, column started: '25:70' is not a time. Write 09:05, or 2026-06-14 09:05.",)),
    Kind("a set-up's number changed", log(setup="3"), (
        "{at}, column setup: setup 3 was changed: the plan has 2 for {stamp}. Put it back; "
        "plan.csv is what was drawn.",)),
    Kind("gas flow too low", log(gas_flow_seen_L_per_min="12"), (
        "{at}, column gas_flow_seen_L_per_min: gas flow low (12 L/min, limit 14) – will be shown, "
        "not dropped.",), 0),
    Kind("a unit slipped", log(amps="2.4"), (
        "{at}, column amps: 2.4 is outside what a bench meets (10 to 1000). Check the sheet.",), 0),
    Kind("a row taken out", without_row, (
        "weld_log.csv, column stamp: {stamp}: no row of its own. Put back what was taken out; "
        "plan.csv has run and set-up.",), 0),
    Kind("a row too many", twice_in, (
        "column stamp: stamp {stamp} is on row {first} already. Keep one.",)),
    Kind("the log's header renamed", lambda f: f.replace(LOG, "throat_mm", "throat_width"), (
        "weld_log.csv row 1, column throat_width: column 'throat_width' is not known here. Did you "
        "mean 'throat_mm'?",)),
    Kind("the log deleted", lambda f: (f.path / LOG).unlink(), (
        "weld_log.csv: the file is missing. Put it back, or let weldtrial seal lay it out anew.",)),
    Kind("a correction changed by hand", corrected_behind, (
        "corrections.csv row 2, column link: does not follow from the header: a line was changed, "
        "moved or taken out here after it was written. Lines are only ever added; put back a copy "
        "from before, or leave it and say so.",), 4),
    Kind("the plan edited", plan_edited, (
        "plan.csv: 1 row is not as drawn from the seal. plan.csv is never edited: delete it, and "
        "weldtrial seal draws it again.",
        "plan.csv row {row}, column gas: changed since sealing: gas mix → co2."), 4),
    Kind("the trial edited after sealing (16)",
         lambda f: f.replace("trial.toml", "margin = 5\n", "margin = 8\n"), (
        "trial.toml no longer matches seal", "break_load margin 5 → 8 (line 37). Put it back, or "
        "log it: weldtrial seal --amend \"why\".",
        "1. put the sealed files back, or log the change: weldtrial seal --amend WHY"), 4),
    Kind("the seal taken away", lambda f: (f.path / "seal.json").unlink(), (
        "seal.json: is missing, though journal.csv tells of seal",
        "Put back the copy that was sealed."), 4),
    Kind("the journal taken away", lambda f: (f.path / "journal.csv").unlink(), (
        "journal.csv: no line records seal", "Put back a copy."), 4),
    Kind("the trial cannot be read",
         lambda f: f.replace("trial.toml", "margin = 5\n", "margin =\n"), (
        "trial.toml line 37: the value is missing: margin =",)),
)
# fmt: on


@pytest.mark.parametrize("kind", LOGS, ids=lambda kind: kind.name)
def test_it_gives_its_line(
    kind: Kind, spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    gives_its_line(kind, spoilt("shop"), weldtrial)


@pytest.mark.parametrize("kind", [kind for kind in LOGS if kind.code], ids=lambda kind: kind.name)
def test_what_must_be_mended_ends_as_written_down(
    kind: Kind, spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    folder = spoilt("shop")
    kind.spoil(folder)
    ends_as_written_down(folder, weldtrial, (kind.code,))


@pytest.mark.slow
def test_what_is_worth_knowing_goes_on_to_an_answer(
    spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    """All kinds that stop nothing in one folder: an answer takes time."""
    folder = spoilt("shop")
    for kind in LOGS:
        if not kind.code and "row" not in kind.name and "inches" not in kind.name:
            kind.spoil(folder)
    ends_as_written_down(folder, weldtrial, (0,))


@pytest.mark.parametrize("name", ["throat of nothing", "the plan edited", "the log deleted"])
def test_the_installed_command_says_the_same(
    name: str, spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    """A few through a process of its own, as a user's shell starts it."""
    folder = spoilt("shop")
    kind = next(kind for kind in LOGS if kind.name == name)
    kind.spoil(folder)
    here = weldtrial("check", cwd=folder.path)
    there = subprocess.run(
        [sys.executable, "-m", "weldtrial.cli.main", "check"],
        cwd=folder.path, capture_output=True, text=True, encoding="utf-8", check=False,
        env={"PYTHONIOENCODING": "utf-8", "PATH": ""},
    )  # fmt: skip
    assert (there.returncode, there.stdout, there.stderr) == (here.code, here.out, here.err)
    assert here.code == kind.code
