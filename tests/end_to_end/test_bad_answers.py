"""More kinds of bad results, by hand: what losses, limits and sameness leave of an answer.

Nothing here is wrong in a file; the coupons simply cannot say what was asked, or only some of it,
and the command must say that much and no more.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from weldtrial_bad_folders import (
    BENDS,
    LOADS,
    LOG,
    SPATTER,
    Kind,
    Spoilt,
    ends_as_written_down,
    gives_its_line,
)

Weldtrial = Callable[..., Any]
ANALYSE = ("analyse",)


def lost(folder: Spoilt, stamps: Sequence[str], *names: str) -> None:
    for name in names or (LOADS,):
        folder.every(name, stamps, reading="lost", note="dropped (invented)")


def left(folder: Spoilt, stamps: Sequence[str], *names: str) -> None:
    """Lose all but these."""
    lost(folder, [one for one in folder.stamps if one not in stamps], *names)


def by_gas(name: str, mix: str, co2: str) -> Callable[[Spoilt], None]:
    def spoil(folder: Spoilt) -> None:
        folder.every(name, folder.of("mix"), reading=mix)
        folder.every(name, folder.of("co2"), reading=co2)

    return spoil


def by_feed(folder: Spoilt) -> None:
    """All pass at the slow feed and fail at the fast one, whatever the gas."""
    for row in folder.rows("plan.csv"):
        if row["role"] == "count":
            passed = float(row["wire_feed_m_per_min"]) < 9
            folder.put(BENDS, row["stamp"], reading="pass" if passed else "fail")


# fmt: off
LOADS_ONLY = (
    Kind("no results (28)", lambda f: f.every(LOADS, reading=""), (
        "Nothing to analyse: 0 of 16 coupons read. weldtrial check shows what is next.",),
        5, ANALYSE),
    Kind("everything lost", lambda f: lost(f, f.stamps), (
        "Nothing to analyse: 0 of 16 coupons read.",), 5, ANALYSE),
    Kind("everything slipped", lambda f: f.every(LOADS, failed_at="slipped", note="jig"), (
        "Nothing to analyse: 0 of 16 coupons read.",), 5, ANALYSE),
    Kind("all past the limit in both", lambda f: f.every(LOADS, reading=">90"), (
        "At the limit: 8 of 8 (mix) and 8 of 8 (co2) went past the gauge limit, 90 kN.",
        "Averages cannot be compared. To tell the two apart use a gauge that reaches further, or "
        "a shorter bead.", "(all of them did: nothing tells the levels apart)",
        "coupons at a limit): nothing shows it."), 0, ANALYSE),
    Kind("all past the limit in one", lambda f: f.every(LOADS, f.of("mix"), reading=">90"), (
        "At the limit: 8 of 8 (mix) and 0 of 8 (co2) went past the gauge limit, 90 kN.",
        "Compared: how many reached the limit: co2 0 of 8, mix 8 of 8 (every round shows the same "
        "difference: no scatter to judge by).",  # four rounds: dealing again reaches .125 at best
        "Averages cannot be compared."), 0, ANALYSE),
    Kind("all between the same stops", lambda f: f.every(LOADS, reading="70..90"), (
        "Cannot tell: the readings lie between stops too wide to show scatter.",), 0, ANALYSE),
    Kind("all broke in the plate", lambda f: f.every(LOADS, failed_at="plate"), (
        "At a limit: 8 of 8 (mix) and 8 of 8 (co2) are known to a limit of their own only, 78 to "
        "85 kN.", "16 broke in the plate and do not measure the weld: it held at least so much"),
        0, ANALYSE),
    Kind("all read the same", lambda f: f.every(LOADS, reading="82.0"), (
        "Not enough to answer yet. Break load: all 16 coupons read the same: no scatter, so "
        "nothing to judge a change by.",), 5, ANALYSE),
    Kind("the same within each gas", by_gas(LOADS, "82.0", "80.0"), (
        "Not enough to answer yet. Break load: coupons of one set-up read the same throughout: no "
        "coupon scatter to judge by.",), 5, ANALYSE),
    Kind("one gas lost", lambda f: lost(f, f.of("co2")), (
        "Cannot tell: only one gas has coupons that count.", "Averages: mix",
        "It takes coupons of every gas, welded and read.",
        "more than 10 % of the coupons of co2 were lost"), 0, ANALYSE),
    Kind("one set-up lost", lambda f: lost(f, f.stamps[:2]), (
        "7 set-ups, 14 coupons", "some sessions hold one level only",
        "14 of 16 coupons have a Break load reading that counts."), 0, ANALYSE),
    Kind("one set-up of one gas left", lambda f: lost(f, f.of("co2")[2:]), (
        "Cannot tell: gas was never welded apart from set-up.",
        "Any change could be either, so no comparison is made. Averages: mix",
        "More coupons of the same kind would not help; welding every gas on several set-ups "
        "would."), 0, ANALYSE),
    Kind("two coupons left", lambda f: left(f, (f.of("mix")[0], f.of("co2")[0])), (
        "Cannot tell: nothing was welded twice, so no scatter shows to judge by.",
        "2 of 16 coupons have a Break load reading that counts."), 0, ANALYSE),
    Kind("one coupon left", lambda f: left(f, f.stamps[:1]), (
        "Not enough to answer yet. Break load: 1 coupon leaves nothing over to show scatter.",),
        5, ANALYSE),
    Kind("half of it unread", lambda f: f.every(LOADS, f.stamps[8:], reading=""), (
        "Not final: 8 of 16 coupons are still to be read, and no early look was planned; the "
        "answer may change.",), 0, ANALYSE),
    Kind("a covariate on some", lambda f: f.every(LOG, f.stamps[:5], plate_temp_C=""), (
        "Adjusted for plate_temp_C (11 coupons):",), 0, ANALYSE),
    Kind("a covariate on two", lambda f: f.every(LOG, f.stamps[2:], plate_temp_C=""), (
        "No comparison adjusted for plate_temp_C: 2 of 16 carry it.",), 0, ANALYSE),
    Kind("a covariate the same on all", lambda f: f.every(LOG, plate_temp_C="20"), (
        "No comparison adjusted for plate_temp_C: it is 20 on every coupon that carries it.",),
        0, ANALYSE),
    Kind("a covariate nobody read", lambda f: f.every(LOG, plate_temp_C=""), (
        "No comparison adjusted for plate_temp_C: no coupon carries it.",), 0, ANALYSE),
)
LOOKS_ONLY = (
    Kind("all pass", lambda f: f.every(BENDS, reading="pass"), (
        "Not settled: this trial is too small to say.",
        "(passes 8 of 8 against 8 of 8), 95 % interval −37 to +37 points",
        "This is not evidence that they are alike."), 0, ANALYSE),
    Kind("all fail", lambda f: f.every(BENDS, reading="fail"), (
        "(passes 0 of 8 against 0 of 8), 95 % interval −37 to +37 points",), 0, ANALYSE),
    Kind("the gas parts them wholly", by_gas(BENDS, "pass", "fail"), (
        "Shown: co2 is worse than mix by more than 20 points.",
        "(passes 0 of 8 against 8 of 8), 95 % interval −100 to −59 points",
        "0.0073 0.00009 to 0.11"), 0, ANALYSE),
    Kind("a factor parts them wholly", by_feed, (
        "(passes 4 of 8 against 4 of 8), 95 % interval −51 to +51 points",
        "wire feed 9.5 m/min 0 of 8 0 % 0 to 37 %", "0.0073 0.00009 to 0.11"), 0, ANALYSE),
    Kind("one grade only", lambda f: f.every(SPATTER, reading="some"), (
        "Cannot tell: every coupon has the same grade: nothing tells the levels apart.",),
        0, ANALYSE),
    Kind("each gas its own grade", by_gas(SPATTER, "none", "heavy"), (
        "Shown: co2 is worse than mix.", "grades better than one of mix 0 times in 100"),
        0, ANALYSE),
    Kind("nothing of one gas tested", lambda f: lost(f, f.of("co2"), BENDS, SPATTER), (
        "Cannot tell: only one gas has been tested.", "Cannot tell: only one gas has been "
        "graded."), 0, ANALYSE),
    Kind("one coupon of each", lambda f: left(f, (f.of("mix")[0], f.of("co2")[0]), BENDS), (
        "(passes", "This is not evidence that they are alike.",
        "2 of 16 coupons have a Bend test reading that counts."), 0, ANALYSE),
)
# fmt: on
ALL = [("loads", kind) for kind in LOADS_ONLY] + [("looks", kind) for kind in LOOKS_ONLY]


@pytest.mark.parametrize(("trial", "kind"), ALL, ids=lambda one: getattr(one, "name", one))
def test_it_gives_its_line_and_ends_as_written_down(
    trial: str, kind: Kind, spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    folder = spoilt(trial)
    gives_its_line(kind, folder, weldtrial)
    ends_as_written_down(folder, weldtrial, (0, kind.code))


def test_codes_are_not_opened_early_without_a_word(
    spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    """Bad input 24 of the wordings: the reader would know the gas for the rest."""
    folder = spoilt("shop")
    folder.every(LOADS, folder.stamps[12:], reading="")
    before = folder.bytes()
    early = weldtrial("analyse", "--open", cwd=folder.path)
    assert early.code == 2
    assert (
        "12 of 16 Break load readings are in. Opening now would let the reader know the gas for "
        "the rest, and will be printed on page 1. Go on?"
    ) in early.err
    assert "Say it on the command line:  --yes" in early.err
    assert folder.bytes() == before
    closed = weldtrial("report", cwd=folder.path)
    assert closed.code == 5
    assert "The codes are still closed, so there is no answer to report yet." in closed.err


def test_one_response_that_says_nothing_stops_no_other(
    spoilt: Callable[[str], Spoilt], weldtrial: Weldtrial
) -> None:
    folder = spoilt("looks")
    lost(folder, folder.stamps, BENDS)
    done = weldtrial("analyse", cwd=folder.path)
    assert done.code == 0
    assert "Bend test has not been read yet." in done.out
    assert "SPATTER" in done.out


# ------------------------------------------------------------------ gauge studies

STUDY = """format = 1
[trial]
title = "Is the etch read well enough (invented)?"
purpose = "gauge"
[gauge]
coupons = ["p1", "p2", "p3", "p4"]
readers = [{readers}]
repeats = 2
[[response]]
name = "depth"
unit = "mm"
"""
DEPTH = "readings/depth.csv"
MISSING = "Every coupon must be read equally often, and readings are missing. depth lacks "


def study(folder: Path, weldtrial: Weldtrial, *readers: str) -> Spoilt:
    """A gauge study read to the end."""
    names = ", ".join(f'"{one}"' for one in readers)
    (folder / "trial.toml").write_text(STUDY.format(readers=names), encoding="utf-8")
    assert weldtrial("sheets", cwd=folder).code == 0
    made = Spoilt(folder, (), (), (), {})
    rows = made.rows(DEPTH)
    for place, row in enumerate(rows):
        row["reading"] = f"{1 + 0.3 * int(row['stamp'][1]) + 0.05 * (place % 3):.2f}"
    made.save(DEPTH, rows)
    return made


def unread(**where: str) -> Callable[[Spoilt], None]:
    def spoil(folder: Spoilt) -> None:
        rows = folder.rows(DEPTH)
        for row in rows:
            if all(row[name] == text for name, text in where.items()):
                row["reading"] = ""
        folder.save(DEPTH, rows)

    return spoil


def typed(name: str, text: str) -> Callable[[Spoilt], None]:
    def spoil(folder: Spoilt) -> None:
        rows = folder.rows(DEPTH)
        rows[0][name] = text
        folder.save(DEPTH, rows)

    return spoil


def all_alike(folder: Spoilt) -> None:
    folder.save(DEPTH, [{**row, "reading": "1.5"} for row in folder.rows(DEPTH)])


# fmt: off
STUDIES = (
    Kind("a part missing", unread(stamp="p2"), (
        MISSING + "ann, reading 1: p2; ann, reading 2: p2; bob, reading 1: p2; bob, reading 2: p2.",
        "Take them. Or leave a coupon or a reader out: name those that stay under [gauge], and "
        "move the rows of the others to a file elsewhere."), 5, ANALYSE),
    Kind("unbalanced", unread(stamp="p2", reader="ann", repeat="1"), (
        MISSING + "ann, reading 1: p2.",), 5, ANALYSE),
    Kind("every reading alike", all_alike, (
        "depth: every repeat reading is the same: the gauge's steps are wider than its scatter.",
        "Read to more digits, or take the step of the gauge as its scatter."), 5, ANALYSE),
    Kind("text for a number", typed("reading", "deep"), (
        "readings/depth.csv row 2, column reading: 'deep' is not a reading. Write a number (mm)",)),
    Kind("a reader nobody named", typed("reader", "carl"), (
        "readings/depth.csv row 2, column reader: 'carl' is not a reader of this study. There are "
        "ann, bob.",)),
)
# fmt: on


@pytest.mark.parametrize("kind", STUDIES, ids=lambda kind: kind.name)
def test_a_gauge_study_gives_its_line(kind: Kind, tmp_path: Path, weldtrial: Weldtrial) -> None:
    folder = study(tmp_path, weldtrial, "ann", "bob")
    gives_its_line(kind, folder, weldtrial)
    before = folder.bytes()
    for command, code in ((("analyse", "--json"), kind.code), (("report",), kind.code)):
        done = weldtrial(*command, cwd=tmp_path)
        assert done.code == code
        assert "Traceback" not in done.err
    assert folder.bytes() == before


def test_a_gauge_study_of_one_reader_says_what_it_leaves_open(
    tmp_path: Path, weldtrial: Weldtrial
) -> None:
    study(tmp_path, weldtrial, "ann")
    done = weldtrial("analyse", cwd=tmp_path)
    assert done.code == 0
    assert "One reader: nothing is said of what another would read." in done.out
