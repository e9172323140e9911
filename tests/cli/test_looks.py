"""Planned looks through the command, from the trial file to the report."""

from __future__ import annotations

import csv
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Weldtrial = Callable[..., Any]

TRIAL = """\
format = 1
[trial]
title = "Cheaper gas on drawbar fillets (invented)"
question = "May CO2 replace the mix without losing more than 5 kN?"
owner = "the trailer shop"
welder = "welder 1"
[fair]
rule = "same-setting"
[[factor]]
name = "gas"
levels = ["mix", "co2"]
hard_to_change = true
control = "mix"
[[factor]]
name = "wire_feed"
unit = "m/min"
low_high = [8.0, 9.5]
[[response]]
name = "break_load"
unit = "kN"
rank = 1
reads_to = 0.1
margin = 5
margin_why = "5 kN is 6 % of the design load."
ask = "no-worse"
typical = { mean = 80, sd_coupon = 3, sd_setup = 2 }
[design]
rounds = 6
replicates = 1
[budget]
coupons = 26
spare = 2
minutes_coupon = 12
minutes_setup = 20
[blind]
who = ["break_load"]
codes = true
"""
OBF = '\n[looks]\nafter = [3]\nbounds = "obrien-fleming"\n'
POCOCK = '\n[looks]\nafter = [4]\nbounds = "pocock"\n'
SCATTER = '\n[looks]\nafter = [3]\nbounds = "scatter-only"\nat_least = 4\n'


@pytest.fixture
def sealed(weldtrial: Weldtrial, tmp_path: Path) -> Callable[[str], Path]:
    """Seal the trial with some looks."""

    def seal(looks: str) -> Path:
        folder = tmp_path / "trial"
        folder.mkdir()
        (folder / "trial.toml").write_text(TRIAL + looks, encoding="utf-8")
        assert weldtrial("-C", folder, "seal", "--no-dice").code == 0
        return folder

    return seal


def read_rounds(folder: Path, *rounds: int, gap: float = 0.0, scatter: float = 1.5) -> None:
    """Fill in the readings of some rounds; truth is invented: mix 80 kN."""
    with (folder / "plan.csv").open(encoding="utf-8", newline="") as file:
        plan = {row["stamp"]: row for row in csv.DictReader(file) if row["role"] == "count"}
    path = folder / "readings" / "break_load.csv"
    with path.open(encoding="utf-8", newline="") as file:
        head, *rows = list(csv.reader(file))
    place, reader = head.index("reading"), head.index("reader")
    for row in rows:
        run = plan.get(row[0])
        if run is None or int(run["round"]) not in rounds:
            continue
        noise = random.Random(int(run["run"])).gauss(0, scatter)
        shift = random.Random(1000 + int(run["setup"])).gauss(0, scatter / 2)
        row[place] = f"{80 + noise + shift + gap * (run['gas'] == 'co2'):.1f}"
        row[reader] = "reader 1"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([head, *rows])


def journal(folder: Path) -> list[tuple[str, str]]:
    with (folder / "journal.csv").open(encoding="utf-8", newline="") as file:
        return [(row["event"], row["details"]) for row in csv.DictReader(file)]


def events(folder: Path) -> list[str]:
    return [event for event, _ in journal(folder)]


def flat(text: str) -> str:
    return " ".join(text.split())


def test_from_the_first_look_to_the_last(weldtrial: Weldtrial, sealed) -> None:
    folder = sealed(OBF)
    read_rounds(folder, 1, 2)
    closed = weldtrial("-C", folder, "analyse")
    assert closed.code == 0
    assert "No look is due: rounds 1 to 2 of 6 are read; the next look is after round 3." in flat(
        closed.out
    )
    early = weldtrial("-C", folder, "analyse", "--open")
    assert early.code == 5
    assert "Weld and read on to the end of round 3: 16 of 24 coupons" in flat(early.err)
    assert "opened" not in events(folder)

    read_rounds(folder, 3)
    due = weldtrial("-C", folder, "check")
    assert "look 1 is due" in flat(due.out)
    assert "analyse --open" in flat(due.out)
    first = weldtrial("-C", folder, "analyse", "--open")
    assert first.code == 0
    assert "Look 1 of 2, after round 3 of 6, O'Brien–Fleming bounds." in flat(first.out)
    assert "Go on: weld rounds 4 to 6; the next look is after round 6." in flat(first.out)
    assert "Not settled at this look" in first.out
    assert "95 % interval for all looks" in first.out
    assert max(map(len, first.out.splitlines())) <= 100
    found = weldtrial("-C", folder, "analyse", "--json").json
    look = found["look"]
    assert (look["state"], look["number"], look["of"], look["next_after"]) == ("planned", 1, 2, 6)
    assert look["alpha"] == pytest.approx(0.0051658, abs=1e-6)
    assert look["may_stop"] is False
    comparison = found["responses"]["break_load"]["comparisons"][0]
    assert comparison["df"] == pytest.approx(2)
    half = (comparison["ci_high"] - comparison["ci_low"]) / 2
    assert half / comparison["se"] == pytest.approx(13.8594, abs=1e-3)
    effects = {row["term"]: row for row in found["responses"]["break_load"]["effects"]}
    assert effects["gas"]["ci_high"] - effects["gas"]["ci_low"] == pytest.approx(2 * half)
    assert found["coupons"] == 12
    assert events(folder).count("looked") == 1
    assert journal(folder)[-1][1] == "after round 3 of 6: co2 against mix: not settled"
    assert "was taken" in flat(weldtrial("-C", folder, "check").out)

    read_rounds(folder, 4)
    refused = weldtrial("-C", folder, "analyse")
    assert refused.code == 5
    assert "rounds 1 to 4 of 6 are read" in refused.err
    assert "--peek" in refused.err
    assert weldtrial("-C", folder, "report").code == 5

    read_rounds(folder, 5, 6)
    last = weldtrial("-C", folder, "analyse")
    assert "Look 2 of 2, after round 6 of 6, O'Brien–Fleming bounds: the last." in flat(last.out)
    assert "Shown: co2 is no worse than mix by more than 5 kN." in last.out
    assert events(folder).count("looked") == 2
    assert "peeked" not in events(folder)
    assert weldtrial("-C", folder, "report").code == 0
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "after rounds 3 and 6, O&#39;Brien–Fleming bounds; no others" in page
    assert "Armitage, McPherson" in page


def test_a_peek_is_marked_everywhere_and_costs_a_grade(weldtrial: Weldtrial, sealed) -> None:
    folder = sealed(OBF)
    read_rounds(folder, 1, 2, 3)
    before = weldtrial("-C", folder, "analyse", "--open", "--json").json["grading"]
    read_rounds(folder, 4, gap=-30)
    shown = weldtrial("-C", folder, "analyse", "--peek")
    assert shown.code == 0
    assert shown.out.startswith("NOT FINAL: rounds 1 to 4 of 6 are read")
    assert "Shown" not in shown.out
    assert "Suggests:" not in shown.out
    found = weldtrial("-C", folder, "analyse", "--peek", "--json").json
    assert (found["look"]["state"], found["look"]["final"]) == ("unplanned", False)
    assert found["responses"]["break_load"]["comparisons"][0]["verdict"]["strength"] is None
    assert len(found["grading"]["steps_down"]) == len(before["steps_down"]) + 1
    assert "no look was planned" in found["grading"]["steps_down"][-1]
    assert events(folder).count("peeked") == 1
    assert weldtrial("-C", folder, "report").code == 0
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert 'class="alarm">NOT FINAL' in page
    read_rounds(folder, 5)
    assert weldtrial("-C", folder, "report").code == 5
    read_rounds(folder, 6)
    found = weldtrial("-C", folder, "analyse", "--json").json
    assert found["look"]["state"] == "last"
    assert "no look was planned" in found["grading"]["steps_down"][-1]


def test_codes_closed_a_peek_opens_only_when_told_to(weldtrial: Weldtrial, sealed) -> None:
    folder = sealed(OBF)
    read_rounds(folder, 1, 2)
    assert weldtrial("-C", folder, "analyse", "--peek").code == 2
    assert weldtrial("-C", folder, "analyse", "--open", "--peek").code == 0
    assert events(folder)[-2:] == ["opened", "peeked"]


def test_stopping_is_declared_and_later_welds_do_not_count(weldtrial: Weldtrial, sealed) -> None:
    folder = sealed(POCOCK)
    read_rounds(folder, 1, 2, 3)
    assert weldtrial("-C", folder, "analyse", "--open", "--stop").code == 2
    read_rounds(folder, 1, 2, 3, 4, gap=-25, scatter=0.6)
    passed = weldtrial("-C", folder, "analyse", "--open")
    assert "You may stop here: the bound for this look is passed." in flat(passed.out)
    assert "Next:  weldtrial -C" in passed.out
    assert "analyse --stop" in flat(passed.out)
    stopped = weldtrial("-C", folder, "analyse", "--stop")
    assert "Written down: the trial stops after round 4 of 6." in flat(stopped.out)
    assert "tend to be too large" in flat(stopped.out)
    assert events(folder)[-1] == "stopped"
    check = weldtrial("-C", folder, "check")
    assert "16 of 16" in check.out
    assert "stopped after round 4" in flat(check.out)
    found = weldtrial("-C", folder, "analyse", "--json").json
    assert (found["look"]["state"], found["look"]["final"]) == ("stopped", True)
    assert found["responses"]["break_load"]["n"] == 16
    assert "incomplete" not in [w["code"] for w in found["responses"]["break_load"]["warnings"]]
    read_rounds(folder, 5, 6, gap=40)
    later = weldtrial("-C", folder, "analyse", "--json").json
    assert later["responses"] == found["responses"]
    assert later["look"]["not_used"] == 8
    assert weldtrial("-C", folder, "report").code == 0
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "Stopped early, at a planned look: after round 4 of 6" in page
    assert weldtrial("-C", folder, "analyse", "--stop").code == 2


def test_scatter_only_sizes_the_trial_with_codes_closed(weldtrial: Weldtrial, sealed) -> None:
    folder = sealed(SCATTER)
    read_rounds(folder, 1, 2, 3, scatter=1.0)
    assert weldtrial("-C", folder, "analyse", "--open").code == 5
    closed = weldtrial("-C", folder, "analyse")
    assert "By the rule that was sealed: 4 rounds in all (at least 4, at most 6)." in flat(
        closed.out
    )
    sizing = weldtrial("-C", folder, "analyse", "--json").json["sizing"]
    assert (sizing["rounds"], sizing["scatter"]["df"]) == (4, 3)
    assert "sized" not in events(folder)
    agreed = weldtrial("-C", folder, "analyse", "--agree")
    assert "Sized: 4 rounds." in agreed.out
    assert journal(folder)[-1][1].startswith("4 rounds of at most 6; ")
    weldtrial("-C", folder, "analyse", "--agree")
    assert events(folder).count("sized") == 1
    assert "12 of 16" in weldtrial("-C", folder, "check").out
    refused = weldtrial("-C", folder, "analyse", "--open")
    assert refused.code == 5
    assert "re-sized to 4 rounds and ends there" in flat(refused.err)
    read_rounds(folder, 4, scatter=1.0)
    found = weldtrial("-C", folder, "analyse", "--open", "--json").json
    assert (found["look"]["state"], found["look"]["sized"]) == ("last", 4)
    assert found["look"]["alpha"] == 0.05
    assert 0.02 < found["look"]["alpha_one_sided"] < 0.05
    comparison = found["responses"]["break_load"]["comparisons"][0]
    half = (comparison["ci_high"] - comparison["ci_low"]) / 2
    assert half / comparison["se"] == pytest.approx(3.18245, abs=1e-4)
    assert "looked" not in events(folder)
    assert weldtrial("-C", folder, "report").code == 0


def test_lost_coupons_complete_a_round_and_half_a_round_does_not_count(
    weldtrial: Weldtrial, sealed
) -> None:
    folder = sealed(OBF)
    read_rounds(folder, 1, 2, 3)
    path = folder / "readings" / "break_load.csv"
    text = path.read_text(encoding="utf-8")
    head, *rows = text.splitlines()
    done = next(row for row in rows if row.split(",")[1])
    cells = done.split(",")
    cells[1] = ""
    path.write_text(text.replace(done, ",".join(cells)), encoding="utf-8")
    assert weldtrial("-C", folder, "analyse", "--open").code == 5
    cells[1] = "lost"
    cells[head.split(",").index("note")] = "dropped"
    path.write_text(text.replace(done, ",".join(cells)), encoding="utf-8")
    # One coupon of round 4 is read already: it waits for the next look.
    later = next(row for row in rows if not row.split(",")[1] and stamp_round(folder, row) == 4)
    path.write_text(
        path.read_text(encoding="utf-8").replace(later, later.replace(",", ",80.0", 1), 1),
        encoding="utf-8",
    )
    found = weldtrial("-C", folder, "analyse", "--open", "--json").json
    assert found["look"]["state"] == "planned"
    assert found["look"]["not_used"] == 1
    assert found["responses"]["break_load"]["n"] == 11


def stamp_round(folder: Path, row: str) -> int:
    with (folder / "plan.csv").open(encoding="utf-8", newline="") as file:
        rounds = {one["stamp"]: one["round"] for one in csv.DictReader(file)}
    return int(rounds.get(row.split(",")[0]) or 0)


def test_changing_the_looks_breaks_the_seal(weldtrial: Weldtrial, sealed) -> None:
    folder = sealed(OBF)
    read_rounds(folder, 1, 2)
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("after = [3]", "after = [2]"), encoding="utf-8")
    refused = weldtrial("-C", folder, "analyse", "--open")
    assert refused.code == 4
    assert "after" in refused.err


def test_without_planned_looks_half_read_results_are_not_final(
    weldtrial: Weldtrial, sealed
) -> None:
    folder = sealed("")
    read_rounds(folder, 1, 2, 3, 4, gap=-30)
    shown = weldtrial("-C", folder, "analyse", "--open", "--yes")
    assert flat(shown.out).startswith("Codes opened.")
    assert (
        "Not final: 8 of 24 coupons are still to be read, and no early look was planned; the "
        "answer may change."
    ) in flat(shown.out)
    assert "Suggests: co2 is worse" in shown.out
    assert weldtrial("-C", folder, "report").code == 0
    assert "Not final: 8 of 24" in (folder / "report.html").read_text(encoding="utf-8")
    assert weldtrial("-C", folder, "analyse", "--peek").code == 2
    read_rounds(folder, 5, 6, gap=-30)
    found = weldtrial("-C", folder, "analyse", "--json").json
    assert found["look"]["state"] == "fixed"
    assert found["responses"]["break_load"]["comparisons"][0]["verdict"]["strength"] == "shown"


def test_plan_shows_bounds_and_cost(weldtrial: Weldtrial, tmp_path: Path) -> None:
    (tmp_path / "trial.toml").write_text(TRIAL + OBF, encoding="utf-8")
    shown = weldtrial("plan")
    assert "Planned looks (O'Brien–Fleming bounds)" in shown.out
    assert max(map(len, shown.out.splitlines())) <= 100
    looks = weldtrial("plan", "--json").json["looks"]
    assert [row["round"] for row in looks["rows"]] == [3, 6]
    assert looks["rows"][0]["t"] == pytest.approx(13.8594, abs=1e-3)
    assert looks["chance"] < looks["chance_once"]
    assert 3 < looks["rounds_loss"] <= 6
    other = weldtrial("plan", "--json", "--if", 'looks.bounds="pocock"').json["looks"]
    assert other["rows"][0]["stop_equal"] > looks["rows"][0]["stop_equal"]
    (tmp_path / "trial.toml").write_text(TRIAL + SCATTER, encoding="utf-8")
    assert "One look at the scatter alone" in weldtrial("plan").out
    rows = weldtrial("plan", "--json").json["looks"]["scatter"]
    assert [row["times"] for row in rows] == [0.7, 1.0, 1.4]
    (tmp_path / "trial.toml").write_text(TRIAL, encoding="utf-8")
    assert weldtrial("plan", "--json").json["looks"] is None


BAD = {
    "[looks]\nafter = [3]\n": ["needs bounds"],
    '[looks]\nbounds = "pocock"\n': ["needs after"],
    '[looks]\nafter = 3\nbounds = "pocock"\n': ["must be a list of rounds, such as [3]"],
    '[looks]\nafter = [1, 2.5]\nbounds = "pocock"\n': ["round 1 cannot be", "round 2.5 cannot be"],
    '[looks]\nafter = [4, 3]\nbounds = "pocock"\n': ["must rise:  [3, 4]"],
    '[looks]\nafter = [6]\nbounds = "pocock"\n': ["the plan has 6 rounds"],
    '[looks]\nafter = [3]\nbounds = "obf"\n': ["obrien-fleming"],
    '[looks]\nafter = [3]\nbounds = "pocock"\nat_least = 4\n': ["at_least is for"],
    '[looks]\nafter = [2, 3]\nbounds = "scatter-only"\nat_least = 9\n': [
        "looked at once",
        "at_least = 9 must lie between",
    ],
}


@pytest.mark.parametrize(("looks", "said"), BAD.items())
def test_bad_looks_are_named_with_their_line(
    weldtrial: Weldtrial, tmp_path: Path, looks: str, said: list[str]
) -> None:
    (tmp_path / "trial.toml").write_text(TRIAL + looks, encoding="utf-8")
    refused = weldtrial("plan")
    assert refused.code == 3
    for words in said:
        (line,) = [one for one in refused.err.splitlines() if words in one]
        assert "trial.toml line 4" in line or "trial.toml line 3" in line


@pytest.mark.parametrize(
    ("change", "looks", "said"),
    [
        (("rounds = 6\n", ""), OBF, "Write  rounds = ..."),
        (("rounds = 6", "set_ups = 12"), OBF, "set-ups shuffled freely have none"),
        (
            ('owner = "the', 'purpose = "pilot"\nowner = "the'),
            OBF,
            'purpose is "pilot"',
        ),
        (("codes = true", "codes = false"), SCATTER, "they are open here"),
        (('"mix", "co2"]', '"mix", "co2", "m20"]'), SCATTER, "scatter-only is for two levels"),
        (
            (
                'margin = 5\nmargin_why = "5 kN is 6 % of the design load."\nask = "no-worse"\n',
                "",
            ),
            SCATTER,
            "without a margin",
        ),
    ],
)
def test_looks_that_do_not_fit_the_trial(
    weldtrial: Weldtrial, tmp_path: Path, change: tuple[str, str], looks: str, said: str
) -> None:
    assert change[0] in TRIAL
    (tmp_path / "trial.toml").write_text(TRIAL.replace(*change) + looks, encoding="utf-8")
    refused = weldtrial("plan")
    assert refused.code == 3
    assert said in refused.err


def test_a_stop_rule_that_forbids_looks_is_warned_of(weldtrial: Weldtrial, tmp_path: Path) -> None:
    rule = '[rules]\nstop = "Fixed: all coupons. No early looks."\n'
    (tmp_path / "trial.toml").write_text(TRIAL + rule + OBF, encoding="utf-8")
    shown = weldtrial("plan")
    assert shown.code == 0
    assert "make the two agree" in shown.err
