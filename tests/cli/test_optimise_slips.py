"""``weldtrial optimise`` passes over no option, and claims no share that is not reached."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest

from weldtrial.analysis.optimum_asked import Tolerance
from weldtrial.cli.optimise_words import percent, reached, tolerance_words
from weldtrial.shared.journal import note

Run = Callable[..., Any]
AT = "gas=co2,voltage=28,wire_feed=9,travel=45"


@pytest.fixture
def two(welded_settings: Callable[[int], Path]) -> Path:
    return welded_settings(2)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (("--at", AT, "--picture", "w.png", "--gas", "co2"), "--gas and --picture go with it to"),
        (("--at", AT, "--surface"), "--surface goes with it to no effect"),
        (("--surface", "--desirability"), "--desirability goes with it to no effect"),
        (("--slice", "travel=45", "--slice", "travel=40"), "travel is said twice"),
        (("--at", AT + ",gas=mix"), "gas is said twice"),
        (("--at", AT.replace("28", "28.04")), "steps of 0.1 V. The nearest is 28"),
        (("--hold", "travel=25"), "the settings tried lie 20 cm/min apart"),
    ],
)
def test_what_would_be_passed_over_is_refused(
    weldtrial: Run, two: Path, typed: tuple[str, ...], said: str
) -> None:
    """It used to be ignored: no picture drawn, the first slice lost, 28.04 V shown as 28.0 V."""
    found = weldtrial("-C", two, "optimise", *typed)
    assert found.code == 2
    assert said in " ".join(found.err.split())
    assert not (two / "w.png").exists()


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.796, "79.6 %"), (0.79999, "79.9 %"), (0.8, "80 %"), (0.804, "80 %"), (0.813, "81 %"),
     (0.9951, ">99 %"), (0.003, "<1 %"), (0.0, "<1 %")],
)  # fmt: skip
def test_a_chance_short_of_what_was_asked_does_not_read_as_it(chance: float, words: str) -> None:
    assert reached(chance) == words


def test_no_share_of_simulated_welds_is_none_at_all() -> None:
    assert (percent(0.0), percent(0.946), percent(1.0)) == ("<1 %", "95 %", ">99 %")


@pytest.mark.parametrize(
    ("below", "above", "words"),
    [
        (True, False, "travel 45 cm/min: fewer pass above it; below was not tried"),
        (False, True, "travel 45 cm/min: fewer pass below it; above was not tried"),
        (False, False, "travel 45 cm/min and no other"),
        (True, True, "travel 45 cm/min: nothing on either side was welded"),
    ],
)
def test_a_setting_at_the_end_of_what_was_welded_is_not_the_only_good_one(
    below: bool, above: bool, words: str
) -> None:
    factor = SimpleNamespace(title="travel", step=1.0, unit="cm/min")
    trial: Any = SimpleNamespace(factor=lambda name: factor)
    said = tolerance_words(trial, Tolerance("travel", "cm/min", 45, 45, below, above))
    assert said.startswith(words)


def test_welds_that_stray_past_what_was_welded_are_said(weldtrial: Run, two: Path) -> None:
    words = "Held as loosely as that, travel strays past what was welded"
    outside = weldtrial("-C", two, "optimise", "--at", AT, "--hold", "travel=6")
    inside = weldtrial("-C", two, "optimise", "--at", AT, "--hold", "travel=3")
    assert words in " ".join(outside.out.split())
    assert words not in " ".join(inside.out.split())
    found = weldtrial("-C", two, "optimise", "--at", AT, "--hold", "travel=6", "--json").json
    assert found["at"]["strays"] == ["travel"]


def test_the_list_holds_the_best_and_none_that_another_beats_as_shown(
    weldtrial: Run, two: Path
) -> None:
    for keep in ("0.7", "0.8", "0.85"):
        found = weldtrial("-C", two, "optimise", "--keep", keep, "--json").json
        best, front = found["recommended"], found["front"]
        assert any(one["settings"] == best["settings"] for one in front), keep
        shown = [float(reached(one["chance"]).strip("<> %")) for one in front]
        assert np.all(np.diff([one["value"] for one in front]) < 0)
        assert np.all(np.diff(shown) >= 0)


@pytest.fixture
def hopeless(weldtrial: Run, settings_bench: ModuleType, tmp_path: Path) -> Path:
    """The invented bench with a break load that nothing can reach."""
    text = settings_bench.text_of(2, 40, 8).replace("at_least = 80 }", "at_least = 120 }", 1)
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    assert weldtrial("seal", "--no-dice").code == 0
    settings_bench.fill(tmp_path, 5)
    note(tmp_path, "opened", "by a test", who="")
    return tmp_path


def test_where_nothing_comes_near_no_setting_is_named(weldtrial: Run, hopeless: Path) -> None:
    """It named a corner of the grid as the likeliest, at 0 %, and told to ask for 7 in 10."""
    said = weldtrial("optimise")
    text = " ".join(said.out.split())
    assert said.code == 0, said.err
    assert "mix: no setting reaches 8 in 10. Nowhere do as many as 1 in 100 pass" in text
    assert "no setting tried comes near" in text
    for never in ("The likeliest", "--keep 0.7", "own best settings", " 0 %"):
        assert never not in text
    assert weldtrial("report").code == 0
    page = (hopeless / "report.html").read_text(encoding="utf-8")
    assert "Nowhere do as many as 1 in 100 pass" in page


def test_asking_for_less_names_what_is_reached(weldtrial: Run, two: Path, tmp_path: Path) -> None:
    here = Path(shutil.copytree(two, tmp_path / "copy"))
    said = weldtrial("-C", here, "optimise", "--gas", "mix", "--limit", "bend_angle >= 92")
    text = " ".join(said.out.split())
    assert "No setting reaches 8 in 10." in text
    found = weldtrial(
        "-C", here, "optimise", "--gas", "mix", "--limit", "bend_angle >= 92", "--json"
    ).json
    top = max(one["likeliest"]["chance"] for one in found["picks"])
    assert f"ask for less: --keep 0.{int(10 * top)}" in text


def test_next_shouts_the_edge_that_optimise_shouts(
    weldtrial: Run, two: Path, tmp_path: Path
) -> None:
    """Each setting within its range, all together on the face of what coupons enclose."""
    trials = ("28.1", "8.9"), ("28.2", "9"), ("28.1", "9.1"), ("28.3", "9"), ("28", "9.2")
    words = "These settings together lie on the edge of what was welded"
    seen = False
    for number, (volts, feed) in enumerate(trials):
        at = f"gas=co2,voltage={volts},wire_feed={feed},travel=45"
        there = weldtrial("-C", two, "optimise", "--at", at)
        if there.code:
            continue
        said = weldtrial("-C", two, "next", tmp_path / f"n{number}", "--confirm", "8", "--at", at)
        assert (words in " ".join(there.out.split())) == (words in " ".join(said.out.split())), at
        seen |= words in " ".join(said.out.split())
    assert seen


def test_one_number_names_what_it_leaves_out(
    weldtrial: Run, settings_bench: ModuleType, tmp_path: Path
) -> None:
    extra = '[[response]]\nname = "dye_check"\nkind = "pass-fail"\nrank = 4\n[goal]\n'
    text = settings_bench.text_of(1, 20).replace("[goal]\n", extra)
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    assert weldtrial("seal", "--no-dice").code == 0
    settings_bench.fill(tmp_path, 5)
    sheet = tmp_path / "readings" / "dye_check.csv"
    with sheet.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(file))
    for number, row in enumerate(rows[1:]):
        row[rows[0].index("reading")] = "fail" if number % 9 == 0 else "pass"
    with sheet.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    note(tmp_path, "opened", "by a test", who="")
    text = " ".join(weldtrial("optimise", "--desirability", "--keep", "0.2").out.split())
    assert "Left out: dye check, not read in numbers" in text
    assert "of all coupons, taken as the same at every setting" in text
    assert "How much another set-up (day, bottle, spool) changes was not seen" in text
