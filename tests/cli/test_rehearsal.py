"""``plan --rehearse`` and ``power --simulate``: what they say, and what they refuse."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Call = Callable[..., Any]
ROOT = Path(__file__).parents[2]
DRAFTS = ROOT / "cli" / "drafts"
BARE = ("--mean", 78, "--sd", 4, "--sd-setup", 2, "--loss", "5%", "--setups", 6, "--coupons", 3)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The draft of ``weldtrial new --for compare``."""
    shutil.copy(DRAFTS / "compare.toml", tmp_path / "trial.toml")
    return tmp_path


def test_a_rehearsal_says_pretend_and_tables_every_verdict(weldtrial: Call, folder: Path) -> None:
    outcome = weldtrial("plan", "--rehearse", 8, cwd=folder)
    assert outcome.code == 0
    assert outcome.out.startswith("PRETEND – 8 made-up trials of this plan for each column")
    headings = [line for line in outcome.out.splitlines() if line and not line.startswith(" ")]
    assert sum("PRETEND" in line for line in headings) == 4
    assert "worse by 10 kN" in outcome.out
    assert "a pretend order (the real one is drawn when the trial is sealed)" in outcome.out
    assert max(map(len, outcome.out.splitlines())) <= 100
    assert not (folder / "plan.csv").exists()
    assert weldtrial("plan", "--rehearse", 8, cwd=folder).out == outcome.out
    assert weldtrial("plan", "--rehearse", 8, "--seed", 2, cwd=folder).out != outcome.out


def test_rehearsal_as_json(weldtrial: Call, folder: Path) -> None:
    found = weldtrial("plan", "--rehearse", 6, "--scrap", "10%", "--json", cwd=folder).json
    assert found["pretend"] is True
    assert [truth["loss"] for truth in found["truths"]] == [0, 2.5, 5, 10]
    assert [truth["change"] for truth in found["truths"]] == [0, -2.5, -5, -10]
    assert found["losses"] == {"scrap": 0.1, "short": 0, "missing": [], "lose": 0, "spares": 2}
    for column in range(4):
        assert sum(row["times"][column] for row in found["verdicts"]) == 6
    assert set(found["shows_asked"]) == {"chance", "low", "high"}


def test_where_lower_is_better_a_loss_is_a_rise(weldtrial: Call, folder: Path) -> None:
    change = "break_load.better=lower"
    found = weldtrial("plan", "--if", change, "--rehearse", 2, "--json", cwd=folder).json
    assert [truth["change"] for truth in found["truths"]] == [0, 2.5, 5, 10]


def test_a_percent_margin_is_said_in_percent_and_gains_are_said_to_mirror(
    weldtrial: Call, folder: Path
) -> None:
    outcome = weldtrial(
        "plan", "--if", 'margin="6 %"', "--if", "break_load.ask=difference", "--rehearse", 2,
        cwd=folder,
    )  # fmt: skip
    assert "worse by 12 %" in outcome.out
    assert "Gains are not played" in outcome.out


def test_a_hopeless_plan_is_called_that(weldtrial: Call, folder: Path) -> None:
    outcome = weldtrial(
        "plan", "--if", "margin=0.2", "--if", "sd_coupon=9", "--rehearse", 60, cwd=folder
    )
    assert 'This plan can only ever say "not settled"' in outcome.out


def test_without_a_margin_or_as_a_pilot_it_says_what_cannot_be_rehearsed(
    weldtrial: Call, folder: Path
) -> None:
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    bare = re.sub(r"^(margin|margin_why|ask) .*\n", "", text, flags=re.MULTILINE)
    (folder / "trial.toml").write_text(bare, encoding="utf-8")
    outcome = weldtrial("plan", "--rehearse", 3, cwd=folder)
    assert "has no margin, so no verdict can ever say no worse or equal" in outcome.out
    found = weldtrial("plan", "--rehearse", 1, "--json", cwd=folder).json
    assert found["loss_counted_in"] == "gap"
    assert found["truths"][2]["loss"] == pytest.approx(6.2, abs=0.05)
    assert {row["code"] for row in found["verdicts"]} <= {"difference_shown", "not_settled"}
    shutil.copy(DRAFTS / "pilot.toml", folder / "trial.toml")
    outcome = weldtrial("plan", "--rehearse", 3, cwd=folder)
    assert outcome.code == 0
    assert outcome.out.startswith("PRETEND – A pilot gives no verdict")
    assert weldtrial("plan", "--rehearse", "--json", cwd=folder).json["pretend"] is True


def test_nothing_known_of_the_scatter_is_not_enough(weldtrial: Call, folder: Path) -> None:
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    known = re.sub(r"^typical .*\n", "", text, flags=re.MULTILINE)
    (folder / "trial.toml").write_text(known, encoding="utf-8")
    outcome = weldtrial("plan", "--rehearse", 3, cwd=folder)
    assert outcome.code == 5
    assert "Nothing is known of how load to break the fillet scatters" in outcome.err


def test_the_sealed_order_is_used_once_there_is_one(weldtrial: Call, folder: Path) -> None:
    assert weldtrial("seal", "--no-dice", cwd=folder).code == 0
    assert "order: the sealed one" in weldtrial("plan", "--rehearse", 2, cwd=folder).out
    other = weldtrial("plan", "--if", "margin=4", "--rehearse", 2, cwd=folder).out
    assert "a pretend order (the plan was changed in mind with --if)" in other


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (("plan", "--scrap", "5%"), "Add --rehearse"),
        (("plan", "--rehearse", "0"), "--rehearse 0 cannot be"),
        (("plan", "--rehearse", "3", "--seed", "-1"), "--seed -1 cannot be"),
        (("plan", "--rehearse", "3", "--scrap", "5"), "--scrap 5 cannot be"),
        (("plan", "--rehearse", "3", "--short", "nan"), "--short nan cannot be"),
        (("plan", "--rehearse", "3", "--missing", "999,"), "no coupon that counts is run 999"),
        (("plan", "--rehearse", "3", "--missing", "36"), "there are only 36 coupons"),
        (("plan", "--rehearse", "3", "--missing", "x"), "--missing x cannot be"),
        (("plan", "--rehearse", "3", "--try", "rounds=9"), "--fair and --choose have tables"),
        (("power", "--simulate", "none"), "--simulate none cannot be"),
        (("power", "--sd", 4, "--loss", 4, "--coupons", 9, "--short", "5%"), "this plan has none"),
        (("power", "--sd", 4, "--loss", 4, "--coupons", 9999, "--simulate"), "are too many"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words(
    weldtrial: Call, folder: Path, said: tuple[str, ...], words: str
) -> None:
    outcome = weldtrial(*said, cwd=folder)
    assert outcome.code == 2
    assert words in outcome.err


def test_simulated_beside_the_formula(weldtrial: Call, folder: Path) -> None:
    outcome = weldtrial("power", "--simulate", 2000, "--scrap", "5%", cwd=folder)
    assert outcome.code == 0
    assert "PRETEND: the same by simulation – Load to break the fillet, co2 with mix" in outcome.out
    assert "5 in 100 coupons scrapped; 2 spares stand in for the first scrapped" in outcome.out
    assert "4 spares make good what is scrapped" in outcome.out
    assert max(map(len, outcome.out.splitlines())) <= 100
    found = weldtrial("power", "--simulate", 2000, "--json", cwd=folder).json["simulated"]
    mine = found["asks"]["no-worse"]
    assert mine["nothing_lost"]["trials"] == 2000
    assert mine["closed_form"] == pytest.approx(mine["nothing_lost"]["chance"], abs=0.04)
    assert mine["with_losses"] is None


def test_simulated_without_a_folder(weldtrial: Call) -> None:
    found = weldtrial(
        "power", *BARE, "--rounds", "--simulate", 2000, "--missing", "3", "--json"
    ).json
    for one in found["simulated"]["asks"].values():
        assert one["closed_form"] == pytest.approx(one["nothing_lost"]["chance"], abs=0.05)
        assert one["with_losses"]["coupons"] == 33
        assert one["with_losses"]["chance"] < one["nothing_lost"]["chance"]


def test_the_commands_of_the_page_run(weldtrial: Call, folder: Path) -> None:
    """Those of ``weldtrial help rehearsal``, with fewer trials than it says."""
    page = (ROOT / "cli" / "help" / "rehearsal.md").read_text(encoding="utf-8")
    lines = re.findall(r"^    \$ weldtrial (.*)$", page, flags=re.MULTILINE)
    assert len(lines) == 7
    for line in lines:
        few = re.sub(r"--rehearse( \d+)?", "--rehearse 2", line)
        few = re.sub(r"--simulate( \d+)?", "--simulate 60", few)
        outcome = weldtrial(*few.split(), cwd=folder)
        assert outcome.code == 0, line
        assert "PRETEND" in outcome.out
