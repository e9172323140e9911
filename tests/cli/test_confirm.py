"""Coupons that confirm a setting: predicted, sealed, welded, held against the prediction."""

from __future__ import annotations

import contextlib
import csv
import io
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from weldtrial.cli.sheet_card import pace_line
from weldtrial.shared.trialfile import load_trial, read_trial

Run = Callable[..., Any]


def quietly(*words: object) -> int:
    from weldtrial.cli.main import main

    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        return int(main([str(one) for one in words]))


@pytest.fixture(scope="module")
def benches(tmp_path_factory: pytest.TempPathFactory, confirm_bench: ModuleType) -> Path:
    """`base` with limits, `plain` without and with codes; both welded, read, codes open.

    `sure` confirms eight coupons of `base`, `blind` six of `plain`; both sealed, none welded.
    """
    base = tmp_path_factory.mktemp("confirm")
    texts = {
        "base": confirm_bench.text_of(),
        "plain": confirm_bench.text_of(confirm_bench.NO_LIMITS, codes=True),
    }
    for name, text in texts.items():
        folder = base / name
        folder.mkdir()
        (folder / "trial.toml").write_text(text, encoding="utf-8")
        assert quietly("-C", folder, "seal", "--no-dice") == 0
        confirm_bench.fill(folder)
    assert quietly("-C", base / "plain", "analyse", "--open", "--yes", "-q") == 0
    with contextlib.chdir(base):
        for source, name, many in (("base", "sure", 8), ("plain", "blind", 6)):
            said = ("-C", source, "next", name, "--confirm", many, "--at", confirm_bench.AT)
            assert quietly(*said) == 0
            assert quietly("-C", name, "seal", "--no-dice") == 0
    return base


@pytest.fixture
def here(benches: Path, tmp_path: Path) -> Path:
    shutil.copytree(benches, tmp_path, dirs_exist_ok=True)
    return tmp_path


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def change(path: Path, stamp: str, **cells: str) -> None:
    """Write cells of one row of a CSV file."""
    rows = rows_of(path)
    for row in rows:
        if row["stamp"] == stamp:
            row.update(cells)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


# ------------------------------------------------------------------ the prediction


def test_the_prediction_is_written_where_the_seal_fixes_it(here: Path) -> None:
    trial = load_trial(here / "sure" / "trial.toml")
    follows = trial.follows
    assert follows is not None
    assert (follows.at_least, follows.of, follows.share) == (5, 8, 0.8)
    assert follows.at == {"gas": "co2", "voltage": 27, "wire_feed": 8.5, "travel": 40}
    said = follows.predicted["break_load"]
    assert said.mean is not None
    assert said.low is not None
    assert said.high is not None
    # The invented truth there is 85 kN; eight set-ups know it to about 1 kN.
    assert said.low < 85 < said.high
    assert said.mean == pytest.approx(85, abs=3)
    assert 0.7 < (follows.together or 0) < 1
    text = (here / "sure" / "trial.toml").read_text(encoding="utf-8")
    assert "predicted.break_load = { mean = " in text
    edited = text.replace("at_least = 5", "at_least = 2")
    (here / "sure" / "trial.toml").write_text(edited, encoding="utf-8")
    assert quietly("-C", here / "sure", "analyse") == 4


def test_next_and_plan_say_the_rule_and_what_it_can_show(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    said = weldtrial("-C", "base", "next", "again", "--confirm", "8", "--at", confirm_bench.AT)
    plan = weldtrial("-C", "again", "plan")
    for one in (said, plan):
        words = " ".join(one.out.split())
        assert one.code == 0, one.err
        assert (
            "at least 5 of 8 pass all limits (if 8 in 10 is true, that happens 94 times in 100)"
            in words
        )
        assert "6 in 10: 41 times in 100; 5 in 10: 64 times in 100" in words
        assert "the weak link" in words
        assert "Coupons of one set-up are alike in passing" in words
    rule = weldtrial("-C", "again", "plan", "--json").json["prediction"]["rule"]
    assert rule["reached"] == pytest.approx(0.9437184)
    assert rule["reached_alike"] < rule["reached"]
    told = weldtrial("-C", "base", "next", "third", "--confirm", "8", "--at", confirm_bench.AT,
                     "--json").json["prediction"]  # fmt: skip
    assert told["rule"] == rule
    assert told["weakest"] == "break_load"
    assert weldtrial("-C", "base", "plan", "--json").json["prediction"] is None


def test_one_set_up_says_less_than_two(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    chances = []
    for many in ("1", "2", "8"):
        found = weldtrial("-C", "base", "next", f"in{many}", "--confirm", "8", "--at",
                          confirm_bench.AT, "--set-ups", many, "--json")  # fmt: skip
        assert found.code == 0, found.err
        chances.append(found.json["prediction"]["rule"]["reached_alike"])
    assert chances[0] < chances[1] < chances[2] == pytest.approx(0.9437184)


CHANGES = {
    "the rule": ("at_least = 5", "at_least = 2"),
    "an interval": (r"low = \d+\.\d+", "low = 60.0"),
    "the setting": ("travel = 40 }", "travel = 45 }"),
    "a limit": ("at_least = 80", "at_least = 75"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_prediction_that_the_results_do_not_give_is_not_sealed(
    weldtrial: Run, here: Path, confirm_bench: ModuleType, what: str
) -> None:
    weldtrial("-C", "base", "next", "bent", "--confirm", "8", "--at", confirm_bench.AT)
    path = here / "bent" / "trial.toml"
    old, new = CHANGES[what]
    text = re.sub(old, new, path.read_text(encoding="utf-8"), count=1)
    path.write_text(text, encoding="utf-8")
    said = weldtrial("-C", "bent", "seal", "--no-dice")
    assert said.code == 3
    assert "the earlier results give" in said.err
    assert "weldtrial next NAME --confirm N" in " ".join(said.err.split())
    assert not (here / "bent" / "seal.json").exists()
    plan = weldtrial("-C", "bent", "plan")
    assert "the earlier results give" in plan.err


def test_another_number_of_coupons_needs_another_rule(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    weldtrial("-C", "base", "next", "bent", "--confirm", "8", "--at", confirm_bench.AT)
    path = here / "bent" / "trial.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("coupons = 10", "coupons = 14"), encoding="utf-8")
    said = weldtrial("-C", "bent", "plan")
    assert said.code != 0
    assert "The prediction was made for 8 coupons, and this plan has 12" in said.err


@pytest.mark.parametrize(
    ("options", "code", "words"),
    [
        (("8", "gas=co2,voltage=29,wire_feed=8.5,travel=60"), 2,
         "voltage 29 V, travel 60 cm/min lie beyond what was welded"),
        (("8", "gas=co3,voltage=27,wire_feed=8.5,travel=40"), 2, "Did you mean 'co2'?"),
        (("8", "gas=co2,voltage=26.65,wire_feed=8.5,travel=40"), 2,
         "--at voltage=26.65: the machine goes in steps of 0.1 V. The nearest is 26."),
        (("8", "gas=co2,voltage=nan,wire_feed=8.5,travel=40"), 2,
         "--at voltage=nan: voltage is a number in V, not 'nan'."),
        (("1", "gas=co2,voltage=27,wire_feed=8.5,travel=40"), 5,
         "1 coupon cannot speak against 80 in 100 passing"),
    ],
)  # fmt: skip
def test_what_cannot_be_confirmed_is_said(
    weldtrial: Run, here: Path, options: tuple[str, str], code: int, words: str
) -> None:
    said = weldtrial("-C", "base", "next", "no", "--confirm", options[0], "--at", options[1])
    assert said.code == code
    assert words in " ".join(said.err.split())
    assert not (here / "no").exists()


def test_beyond_what_was_welded_only_when_asked_and_marked(weldtrial: Run, here: Path) -> None:
    at = "gas=co2,voltage=27,wire_feed=8.5,travel=55"
    said = weldtrial("-C", "base", "next", "far", "--confirm", "8", "--at", at, "--beyond")
    assert said.code == 0
    assert "The setting lies beyond what was welded" in " ".join(said.out.split())
    follows = load_trial(here / "far" / "trial.toml").follows
    assert follows is not None
    assert follows.beyond
    assert "beyond what was welded" in " ".join(weldtrial("-C", "far", "plan").out.split())
    inside = weldtrial("-C", "base", "next", "near", "--confirm", "8", "--at",
                       "gas=co2,voltage=28.5,wire_feed=8.5,travel=40", "--beyond")  # fmt: skip
    assert "voltage is at the end of what was tried" in " ".join(inside.out.split())
    near = load_trial(here / "near" / "trial.toml").follows
    assert near is not None
    assert not near.beyond


def test_nothing_is_predicted_while_the_codes_are_closed(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    journal = here / "plain" / "journal.csv"
    lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
    journal.write_text("".join(line for line in lines if ",opened," not in line), encoding="utf-8")
    said = weldtrial("-C", "plain", "next", "no", "--confirm", "6", "--at", confirm_bench.AT)
    assert said.code == 5
    assert "The codes are closed" in said.err


# ------------------------------------------------------------------ the answer


@pytest.mark.parametrize(
    ("lower", "state", "words"),
    [
        (0.0, "met", "Met: 8 of 8 coupons passed every limit, and at least 5 had to"),
        (9.0, "missed", "Missed: 2 of 8 coupons passed every limit, and at least 5 had to"),
    ],
)
def test_met_or_missed_stands_first_on_screen_and_page_1(
    weldtrial: Run, here: Path, confirm_bench: ModuleType, lower: float, state: str, words: str
) -> None:
    confirm_bench.fill(here / "sure", seed=5, lower=lower)
    found = weldtrial("-C", "sure", "analyse", "--json").json
    told = found["confirmation"]
    assert told["state"] == state
    assert told["passed"] + told["failed"] == 8
    assert found["responses"]["break_load"]["n"] == 64
    loads = [float(row["reading"]) for row in rows_of(here / "sure" / "readings" / "break_load.csv")
             if row["reading"]]  # fmt: skip
    one = told["responses"][0]
    assert one["mean"] == pytest.approx(sum(loads) / 8)
    assert one["inside"] == sum(
        one["predicted"]["low"] <= load <= one["predicted"]["high"] for load in loads
    )
    assert one["failed"] == sum(load < 80 for load in loads)
    screen = weldtrial("-C", "sure", "analyse").out
    assert screen.split("\n", 2)[1] == f"PREDICTION {state.upper()}"
    assert words in " ".join(screen.split())
    assert screen.index(words[:20]) < screen.index("BREAK LOAD (decides)")
    flat = " ".join(screen.split())
    assert ("The map is wrong somewhere" in flat) == (state == "missed")
    assert ("What failed most: break load" in flat) == (state == "missed")
    assert "qualifies no procedure" in flat
    assert weldtrial("-C", "sure", "report").code == 0
    page = (here / "sure" / "report.html").read_text(encoding="utf-8")
    first = page[: page.index('<section id="s3"')]
    assert first.index(f"Prediction {state}") < first.index("break load · ")
    assert words in first


def test_the_share_has_the_exact_binomial_interval(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    from scipy import stats

    confirm_bench.fill(here / "sure", seed=5, lower=9.0)
    told = weldtrial("-C", "sure", "analyse", "--json").json["confirmation"]
    exact = stats.binomtest(told["passed"], 8).proportion_ci(0.95, method="exact")
    assert (told["low"], told["high"]) == pytest.approx((exact.low, exact.high), abs=1e-9)


def test_before_all_is_read_it_says_so(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    confirm_bench.fill(here / "sure", seed=5, skip=5)
    said = weldtrial("-C", "sure", "analyse", "--json").json["confirmation"]
    assert (said["state"], said["unread"], said["passed"]) == ("unfinished", 5, 3)
    words = " ".join(weldtrial("-C", "sure", "analyse").out.split())
    assert "Not finished: so far 3 passed every limit, 0 failed, and 5 of 8 are to be read" in words


def test_nothing_read_is_not_an_answer(weldtrial: Run, here: Path) -> None:
    said = weldtrial("-C", "sure", "analyse", "--json").json["confirmation"]
    assert (said["state"], said["unread"]) == ("unfinished", 8)


def test_a_miss_is_known_before_all_is_read(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    confirm_bench.fill(here / "sure", seed=5, skip=2, lower=20.0)
    said = weldtrial("-C", "sure", "analyse", "--json").json["confirmation"]
    assert (said["state"], said["unread"], said["failed"]) == ("missed", 2, 6)
    words = " ".join(weldtrial("-C", "sure", "analyse").out.split())
    assert "2 not read yet; the rule stands whatever they would have read." in words


def lose(here: Path, bench: ModuleType, many: int) -> list[str]:
    """Fill in `sure` so that all failed but `many` that were lost; return those."""
    plan = rows_of(here / "sure" / "plan.csv")
    lost = [row["stamp"] for row in plan if row["role"] == "confirm"][:many]
    bench.fill(here / "sure", seed=5, lower=20.0)
    for path in (here / "sure" / "readings").glob("*.csv"):
        for stamp in lost:
            change(path, stamp, reading="lost", note="saw slipped")
    return lost


def test_lost_coupons_may_leave_it_open(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    lose(here, confirm_bench, 5)
    said = weldtrial("-C", "sure", "analyse", "--json")
    assert said.code == 0, said.err
    told = said.json["confirmation"]
    assert (told["state"], told["lost"], told["failed"], told["unread"]) == ("cannot_tell", 5, 3, 0)
    words = " ".join(weldtrial("-C", "sure", "analyse").out.split())
    assert "Cannot tell: 0 passed every limit, 3 failed, and 5 of 8 cannot be counted" in words


def test_a_spare_stands_in_for_a_coupon_that_confirms(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    confirm_bench.fill(here / "sure", seed=5)
    folder = here / "sure"
    plan = rows_of(folder / "plan.csv")
    lost = next(row for row in plan if row["role"] == "confirm")
    spare = next(row["stamp"] for row in plan if row["role"] == "spare")
    change(folder / "weld_log.csv", lost["stamp"], went_wrong="nozzle blocked")
    change(
        folder / "weld_log.csv",
        spare,
        replaces=lost["stamp"],
        started="2026-11-01 09:40",
        setup=lost["setup"],
    )
    for path, reading in (("break_load", "70.0"), ("penetration", "2.2")):
        change(folder / "readings" / f"{path}.csv", lost["stamp"], reading="")
        change(folder / "readings" / f"{path}.csv", spare, reading=reading)
    check = weldtrial("-C", "sure", "check", "--json")
    assert check.code == 0, check.err
    assert (check.json["welded"]["coupons"], check.json["welded"]["planned"]) == (8, 8)
    assert check.json["welded"]["spares"] == 1
    assert "Welded    8 of 8" in weldtrial("-C", "sure", "check").out
    found = weldtrial("-C", "sure", "analyse", "--json").json
    told = found["confirmation"]
    assert (told["coupons"], told["passed"], told["failed"]) == (8, 7, 1)
    assert found["responses"]["break_load"]["n"] == 64
    assert found["coupons"] == 64


def test_a_reading_past_the_gauge_passes_where_that_is_enough(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    confirm_bench.fill(here / "sure", seed=5)
    path = here / "sure" / "readings" / "break_load.csv"
    stamps = [row["stamp"] for row in rows_of(path) if row["reading"]]
    change(path, stamps[0], reading="75..85")
    change(path, stamps[1], reading="85..95")
    told = weldtrial("-C", "sure", "analyse", "--json").json["confirmation"]
    assert (told["passed"], told["failed"], told["lost"]) == (7, 0, 1)
    assert told["responses"][0]["past_limit"] == 2


def test_without_limits_the_means_are_held_against_it(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    confirm_bench.fill(here / "blind", seed=5, lower=12.0)
    said = weldtrial("-C", "blind", "analyse")
    first = said.out[: said.out.index("What follows are the earlier coupons")]
    assert "Missed: the mean of break load lies outside the interval" in " ".join(first.split())
    assert "their setting stays hidden until the codes open" in " ".join(first.split())
    assert not re.search(r"\b(co2|mix|C1|27 V)\b", first)
    assert weldtrial("-C", "blind", "analyse", "--json").json["confirmation"]["at"] == {}
    opened = weldtrial("-C", "blind", "analyse", "--open", "--yes")
    assert "at shielding gas co2, voltage 27 V" in " ".join(opened.out.split())
    told = weldtrial("-C", "blind", "analyse", "--json").json["confirmation"]
    assert (told["rule"], told["state"]) == ("means", "missed")
    assert [one["mean_inside"] for one in told["responses"]] == [False, True]
    confirm_bench.fill(here / "blind", seed=5, skip=1)
    told = weldtrial("-C", "blind", "analyse", "--json").json["confirmation"]
    assert (told["state"], told["unread"]) == ("unfinished", 1)
    confirm_bench.fill(here / "blind", seed=5)
    told = weldtrial("-C", "blind", "analyse", "--json").json["confirmation"]
    assert told["state"] == "met"


def test_a_trial_that_confirms_nothing_says_nothing_of_it(weldtrial: Run, here: Path) -> None:
    found = weldtrial("-C", "base", "analyse", "--json").json
    assert found["confirmation"] is None
    assert "PREDICTION" not in weldtrial("-C", "base", "analyse").out


# ------------------------------------------------------------------ the card


def test_the_card_says_how_far_the_setting_is_confirmed(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    states = {}
    for name, how in (("none", {"skip": 8}), ("met", {}), ("missed", {"lower": 9.0})):
        confirm_bench.fill(here / "sure", seed=5, **how)
        said = weldtrial("-C", "sure", "sheets", "--only", "card")
        assert said.code == 0, said.err
        page = (here / "sure" / "sheets" / "card.html").read_text(encoding="utf-8")
        found = re.search(r'class="state"><b>([^<]+)</b>', page)
        assert found is not None
        states[name] = found[1]
        for words in ("CO2 (C1)", "27 V", "8.5 m/min", "40 cm/min", "15 L/min", "± 1 L/min",
                      "the weak link", "not a procedure or welder qualification"):  # fmt: skip
            assert words in page, words
    assert states == {"none": "Not yet confirmed", "met": "Confirmed", "missed": "Not confirmed"}


def test_the_card_tells_no_result_while_the_codes_are_closed(
    weldtrial: Run, here: Path, confirm_bench: ModuleType
) -> None:
    confirm_bench.fill(here / "blind", seed=5)
    said = weldtrial("-C", "blind", "sheets", "--only", "card", "--paper", "letter")
    assert "Not yet confirmed: The codes are closed" in said.out


def test_no_card_without_a_setting(weldtrial: Run, here: Path) -> None:
    said = weldtrial("-C", "base", "sheets", "--only", "card")
    assert said.code == 5
    assert "No setting was chosen here" in said.err


@pytest.mark.parametrize("speed", [2.0, 6.7, 8.0, 15.0, 60.0])
def test_the_pace_line_is_to_scale(speed: float) -> None:
    pace = pace_line(speed, 190, "so fast", 300)
    marks = [(tick.seconds, tick.x) for strip in pace.strips for tick in strip.ticks
             if tick.seconds is not None]  # fmt: skip
    first = [x for seconds, x in marks[: len(pace.strips[0].ticks)] if seconds <= 5]
    assert first[0] == 0
    if speed * 5 < 189:
        assert first[1] == pytest.approx(5 * speed)
    assert all(strip.width_mm <= 190 for strip in pace.strips)
    for one, after in zip(pace.strips, pace.strips[1:], strict=False):
        assert one.ticks[-1].seconds == after.ticks[0].seconds
    covered = sum(strip.width_mm for strip in pace.strips)
    assert covered >= 300 or len(pace.strips) == 3


# ------------------------------------------------------------------ the trial file


FAULTS = {
    "response": ("predicted.break_load", "predicted.brake_load", "Did you mean 'break_load'?"),
    "key": ("{ mean = ", "{ maen = ", "Did you mean 'mean'?"),
    "number": ("at_least = 5", 'at_least = "5"', "at_least"),
    "whole": ("of = 8\n", "", "a rule needs at_least, of and share together"),
    "more": ("at_least = 5", "at_least = 9", "9 of 8 coupons cannot pass"),
    "chance": ("chance = 0.", "chance = 7.", "a chance lies between 0 and 1"),
    "way": ('adds = "confirm"', 'adds = "more"', "only coupons that confirm have a prediction"),
}


@pytest.mark.parametrize("what", FAULTS)
def test_a_prediction_that_cannot_be_is_said(here: Path, what: str) -> None:
    path = here / "sure" / "trial.toml"
    old, new, words = FAULTS[what]
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    trial, problems = read_trial(path)
    assert trial is None
    assert any(words in one.words for one in problems), problems
