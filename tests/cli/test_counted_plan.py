"""Passes and grades planned: plan, power, --simulate, --rehearse and --choose (all invented)."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Weldtrial = Callable[..., Any]
PASS = """kind = "pass-fail"
margin = "20 %"
margin_why = "Fewer than this is not seen in the shop (invented)."
ask = "no-worse"
typical = { passing = "90 %", alike = 0.2, from = "last winter (invented)" }
"""
GRADED = """kind = "graded"
scale = ["parted", "long", "short", "lens", "none"]
typical = { shares = [0.02, 0.05, 0.10, 0.33, 0.50], alike = 0.2, worse_odds = 4 }
"""
SETUPS = ("hard_to_change = true", "rounds = 4\nreplicates = 3", 24)
FREE = ("", "replicates = 8", 16)


def write(folder: Path, response: str, said: tuple[str, str, int]) -> Path:
    hard, design, coupons = said
    (folder / "trial.toml").write_text(
        f"""format = 1
[trial]
title = "Bends (invented)"
welder = "welder 1"
[fair]
rule = "same-setting"
[joint]
type = "T-joint"
[[factor]]
name = "gas"
levels = ["mix", "co2"]
control = "mix"
{hard}
[[response]]
name = "bend"
label = "Bend test"
{response}
[design]
model = "main"
{design}
[budget]
coupons = {coupons}
minutes_coupon = 6
minutes_setup = 20
[blind]
codes = false
""",
        encoding="utf-8",
    )
    return folder


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("said", [SETUPS, FREE], ids=["set-ups", "free"])
def test_passes_are_planned(weldtrial: Weldtrial, tmp_path: Path, said) -> None:
    folder = write(tmp_path, PASS, said)
    planned = weldtrial("-C", folder, "plan")
    assert planned.code == 0
    words = flat(planned.out)
    assert "Worked out from: 90 % of today's coupons pass" in words
    how = "judged set-up by set-up" if said is SETUPS else "Chances are exact"
    assert how in words
    assert ("really alike by 0.3" in words) == (said is SETUPS)
    plain = weldtrial("-C", folder, "plan", "--json").json
    assert plain["assumed"]["passing"] == 0.9
    assert plain["assumed"]["worked_out_by"] == ("simulation" if said is SETUPS else "exact")
    assert all(0 <= row["chance"] <= 1 for row in plain["rows"])
    power = weldtrial("-C", folder, "power", "--json").json["responses"]["bend"]
    now = next(row for row in plain["rows"] if row["current"])
    assert power["no_worse"] == now["chance"]
    assert power["loss"] == 20
    assert "a true fall from 90 to 70 %" in flat(weldtrial("-C", folder, "power").out)
    assert weldtrial("-C", folder, "plan", "--why").code == 0
    less = weldtrial("-C", folder, "plan", "--if", "passing=0.7", "--json").json
    assert next(row for row in less["rows"] if row["current"])["chance"] < now["chance"]


@pytest.mark.parametrize("said", [SETUPS, FREE], ids=["set-ups", "free"])
def test_grades_are_planned(weldtrial: Weldtrial, tmp_path: Path, said) -> None:
    folder = write(tmp_path, GRADED, said)
    words = flat(weldtrial("-C", folder, "plan").out)
    assert "parted 2 %, long 5 %, short 10 %, lens 33 %, none 50 %" in words
    assert ("Whitehead" in words) == (said is FREE)
    power = flat(weldtrial("-C", folder, "power").out)
    assert "Odds of a better grade 4 times smaller move" in power
    assert "'none' from 50 to 20 %" in power
    found = weldtrial("-C", folder, "power", "--simulate", "200", "--json").json["simulated"]
    assert list(found["asks"]) == ["difference"]
    assert (found["asks"]["difference"]["closed_form"] is None) == (said is SETUPS)
    chosen = weldtrial("-C", folder, "plan", "--choose", "--coupons", "60", "--json").json
    assert chosen["choose"]["unit"] == "log odds"
    assert chosen["choose"]["chosen"]["chance"] > 0


def test_passes_are_rehearsed_and_simulated(weldtrial: Weldtrial, tmp_path: Path) -> None:
    folder = write(tmp_path, PASS, SETUPS)
    found = weldtrial("-C", folder, "plan", "--rehearse", "40", "--scrap", "10%")
    assert found.code == 0
    words = flat(found.out)
    assert "coupons of one set-up are alike by 0.2 (last winter (invented))" in words
    assert "worse by 10 points" in words
    assert "what you assume of passes and set-ups is right" in words
    assert not re.search(r"all \d+ coupons passed", words)
    plain = weldtrial("-C", folder, "plan", "--rehearse", "40", "--json").json
    assert plain["assumed"]["alike"] == 0.2
    assert [truth["loss"] for truth in plain["truths"]] == [0, 10, 20, 40]
    power = weldtrial("-C", folder, "power", "--simulate", "500", "--short", "20%", "--json").json
    asks = power["simulated"]["asks"]
    assert list(asks) == ["difference", "no-worse", "equal-enough"]
    lossy, whole = (asks["no-worse"][key]["chance"] for key in ("with_losses", "nothing_lost"))
    assert lossy <= whole + 0.1


def test_grades_are_rehearsed(weldtrial: Weldtrial, tmp_path: Path) -> None:
    folder = write(tmp_path, GRADED, FREE)
    words = flat(weldtrial("-C", folder, "plan", "--rehearse", "30").out)
    assert "worse (odds ÷ 2) worse (odds ÷ 4) worse (odds ÷ 16)" in words
    assert "verdicts would call it better" in words
    assert "every coupon is set up anew, so alike plays no part" in words


def test_passes_are_chosen_for(weldtrial: Weldtrial, tmp_path: Path) -> None:
    folder = write(tmp_path, PASS, FREE)
    found = weldtrial("-C", folder, "plan", "--choose", "--hours", "12")
    assert found.code == 0
    assert "Chances are exact" in flat(found.out)
    assert "points" in found.out


WRONG = [
    (PASS, 'passing = "90 %"', "passing = 90", "above 0 and below 1"),
    (PASS, 'passing = "90 %"', 'passing = "100 %"', "say how few at least"),
    (PASS, 'passing = "90 %", ', "", "needs passing"),
    (PASS, "alike = 0.2", "alike = 1.2", "at most 1"),
    (PASS, "alike = 0.2", "mean = 3", "mean of response 'bend' is for numbers"),
    (PASS, "alike = 0.2", "worse_odds = 3", "is for graded coupons"),
    (GRADED, "0.02, ", "", "has 4 shares and its scale 5 grades"),
    (GRADED, "0.02, ", "0.12, ", "they add to 1.1"),
    (GRADED, "[0.02, 0.05, 0.10, 0.33, 0.50]", '"half"', "must be a list of shares"),
    (GRADED, "0.02, 0.05, 0.10, 0.33, 0.50", "0, 0, 0, 0, 1", "every coupon in one grade"),
    (GRADED, "worse_odds = 4", "worse_odds = 1", "more than 1"),
]


@pytest.mark.parametrize(("response", "old", "new", "words"), WRONG)
def test_what_cannot_be_is_said_once(
    weldtrial: Weldtrial, tmp_path: Path, response, old, new, words
) -> None:
    assert old in response
    folder = write(tmp_path, response.replace(old, new), FREE)
    found = weldtrial("-C", folder, "plan")
    assert found.code == 3
    assert words in flat(found.err)
    assert len(re.findall(r"trial\.toml, line", found.err)) <= 1


def test_a_margin_above_what_passes_is_refused_in_words(
    weldtrial: Weldtrial, tmp_path: Path
) -> None:
    folder = write(tmp_path, PASS.replace("90 %", "15 %"), SETUPS)
    for command in (["plan"], ["plan", "--rehearse", "5"], ["plan", "--choose"]):
        found = weldtrial("-C", folder, *command)
        assert found.code == 5
        assert "is not below the 15 % expected to pass" in flat(found.err)
    assert "is not below the 15 %" in flat(weldtrial("-C", folder, "power").out)


def test_without_figures_every_command_says_what_to_add(
    weldtrial: Weldtrial, tmp_path: Path
) -> None:
    folder = write(tmp_path, "\n".join(PASS.splitlines()[:-1]), SETUPS)
    for command in (["plan", "--rehearse"], ["plan", "--choose"], ["power", "--simulate"]):
        found = weldtrial("-C", folder, *command)
        assert found.code == 5, command
        assert 'typical = { passing = "90 %", alike = 0.2' in flat(found.err)
