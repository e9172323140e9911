"""The cost of a metre of weld as the goal: the cheapest that still meets every limit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from weldtrial.shared.journal import note

Run = Callable[..., Any]
PRICES = """[prices]
currency = "EUR"
gas_m3 = { mix = 8.4, co2 = 3.6 }
wire_kg = 2.0
labour_hour = 42
arc_share = 0.35
[joint]
wire = { class = "G3Si1", diameter = 1.2, unit = "mm" }
[[held]]
name = "gas_flow"
target = 15
unit = "L/min"
[design]
"""


def text(bench: ModuleType, prices: str = PRICES, goal: str = 'best = "cost"\n') -> str:
    """Return the trial of the invented bench, pushed for cost."""
    whole: str = bench.text_of(2, 40, 8)
    whole = whole.replace('best = "travel"\ntoward = "higher"\n', goal)
    return whole.replace("[design]\n", prices)


@pytest.fixture
def folder(weldtrial: Run, settings_bench: ModuleType, tmp_path: Path) -> Path:
    (tmp_path / "trial.toml").write_text(text(settings_bench), encoding="utf-8")
    assert weldtrial("seal", "--no-dice").code == 0
    settings_bench.fill(tmp_path, 3)
    note(tmp_path, "opened", "by a test", who="")
    return tmp_path


def by_hand(settings: dict[str, Any]) -> float:
    """Gas 15 L/min, 1.2 mm wire at 7.85 g/cm3, 42 EUR an hour of which the arc burns 35 %."""
    minutes = 100 / settings["travel"]
    gas = 15 * minutes / 1000 * {"mix": 8.4, "co2": 3.6}[settings["gas"]]
    wire = settings["wire_feed"] * minutes * 3.14159265 / 4 * 1.2**2 * 7.85e-3 * 2.0
    return float(gas + wire + minutes / 0.35 * 42 / 60)


def test_the_cheapest_metre_that_still_meets_the_limits(weldtrial: Run, folder: Path) -> None:
    found = weldtrial("optimise", "--json", "--desirability")
    assert found.code == 0, found.err
    said = found.json
    assert (said["goal"]["best"], said["goal"]["toward"]) == ("cost", "lower")
    best = said["recommended"]
    assert best["value"] == pytest.approx(by_hand(best["settings"]), rel=1e-6)
    assert best["cost"]["total"] == pytest.approx(best["value"])
    assert best["chance"] >= 0.8
    # None of those that no other beats is as good a chance for less.
    for one in said["front"]:
        assert one["cost"] == pytest.approx(by_hand(one["settings"]), rel=1e-6)
        assert one["chance"] < 0.8 or one["cost"] >= best["value"] - 0.0006
    at = [one["cost"] for one in said["front"]]
    assert at == sorted(at)
    assert "cost" in [one["response"] for one in said["desirability"]["wishes"]]


def test_the_screen_says_what_is_pushed_and_cuts_no_word(weldtrial: Run, folder: Path) -> None:
    said = weldtrial("optimise", "--desirability", "--picture", folder / "p.png")
    assert said.code == 0, said.err
    assert "Cost of a metre as low as may be, while 8 in 10" in said.out
    assert "Lowest cost of a metre" in said.out
    assert "that no other beats in cost of a metre and chance\n" in said.out
    assert "penetration,  bend angle," in said.out
    assert "Cost of a metre, EUR/m" in said.out
    assert max(map(len, said.out.splitlines())) <= 100
    assert weldtrial("report").code == 0
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "lowest cost of a metre" in page.lower()


@pytest.mark.parametrize(
    ("prices", "goal", "words"),
    [
        ("[design]\n", 'best = "cost"\n', "needs prices, and there is no price of our own"),
        (PRICES, 'best = "cost"\ntoward = "higher"\n', 'best = "cost" goes toward = "lower".'),
        (PRICES, 'best = "costs"\n', "best is 'costs', which is not in this trial"),
    ],
)
def test_a_goal_that_cannot_be_pushed_is_named(
    weldtrial: Run, settings_bench: ModuleType, tmp_path: Path, prices: str, goal: str, words: str
) -> None:
    whole = text(settings_bench, prices, goal)
    (tmp_path / "trial.toml").write_text(whole, encoding="utf-8")
    said = weldtrial("plan")
    assert said.code != 0
    assert words in " ".join(said.err.split())


def test_prices_that_make_no_cost_are_said(
    weldtrial: Run, settings_bench: ModuleType, tmp_path: Path
) -> None:
    # A currency and a set-up alone price no metre, and the goal says so.
    whole = text(settings_bench, '[prices]\ncurrency = "EUR"\n[design]\n')
    (tmp_path / "trial.toml").write_text(whole, encoding="utf-8")
    assert weldtrial("seal", "--no-dice").code == 0
    settings_bench.fill(tmp_path, 3)
    note(tmp_path, "opened", "by a test", who="")
    said = weldtrial("optimise")
    assert said.code != 0
    assert "the prices given do not make one" in said.err
