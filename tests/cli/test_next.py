"""``weldtrial next``: what it advises, what it makes, and what it refuses."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

# One worker builds what these tests share.
pytestmark = pytest.mark.xdist_group("next")

Run = Callable[..., Any]


@pytest.fixture(scope="module")
def welded(tmp_path_factory: pytest.TempPathFactory, listed_trials: ModuleType) -> Path:
    """A fraction without a gas (`frac`) and two gases in set-ups (`gas`), welded and read."""
    import contextlib
    import io

    from weldtrial.cli.main import main

    one, base = listed_trials, tmp_path_factory.mktemp("welded")
    five = [one.ANGLE, one.PLAIN_VOLTAGE, one.FEED, one.TRAVEL, one.GAP]
    texts = {
        "frac": one.text_of(five, 'kind = "fraction"\nruns = 8\nreplicates = 2'),
        "gas": one.text_of([one.GAS, one.VOLTAGE, one.FEED], 'kind = "factorial"\nrounds = 4',
                           budget="coupons = 34\nspare = 1\nwarm_up = 1", hard=True),
    }  # fmt: skip
    for name, text in texts.items():
        folder = base / name
        folder.mkdir()
        (folder / "trial.toml").write_text(text, encoding="utf-8")
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            assert main(["-C", str(folder), "seal", "--no-dice"]) == 0
        one.fill(folder)
    return base


@pytest.fixture
def here(welded: Path, tmp_path: Path) -> Path:
    shutil.copytree(welded, tmp_path, dirs_exist_ok=True)
    return tmp_path


def test_advice_names_what_runs_together(weldtrial: Run, here: Path) -> None:
    said = weldtrial("-C", "frac", "next")
    assert said.code == 0
    assert "voltage stands clear of zero, and it runs together with torch:travel" in said.out
    assert "weldtrial next NAME --separate torch:travel --coupons 4" in said.out
    assert weldtrial("-C", "frac", "next", "--json").json["steps"][0]["kind"] == "separate"


def test_advice_says_what_would_settle(weldtrial: Run, here: Path) -> None:
    steps = weldtrial("-C", "gas", "next", "--json").json["steps"]
    assert steps[0]["kind"] in ("settle", "confirm")


PLANS = ("plan.csv", "earlier/plan.csv")
WAYS = {
    "fold": ("frac", ("--fold-over",), 16, 32),
    "turned": ("frac", ("--fold-over", "travel"), 16, 32),
    "apart": ("frac", ("--separate", "torch:travel", "--coupons", "6"), 6, 22),
    "star": ("gas", ("--star",), 24, 56),
    "more": ("gas", ("--more", "2"), 16, 48),
}


@pytest.mark.parametrize("way", WAYS)
def test_coupons_of_both_trials_count(
    weldtrial: Run, here: Path, listed_trials: ModuleType, way: str
) -> None:
    source, options, new, all_in = WAYS[way]
    before = {path: path.read_bytes() for path in (here / source).rglob("*.*") if path.is_file()}
    assert weldtrial("-C", source, "next", way, *options).code == 0
    assert all(path.read_bytes() == data for path, data in before.items())
    plan = weldtrial("-C", way, "plan", "--json")
    assert plan.code == 0, plan.err
    assert plan.json["budget"]["counting"] == new
    assert weldtrial("-C", way, "seal", "--no-dice").code == 0
    listed_trials.fill(here / way, seed=4)
    assert weldtrial("-C", way, "seal", "--verify").code == 0
    found = weldtrial("-C", way, "analyse", "--json")
    assert found.code == 0, found.err
    assert found.json["responses"]["break_load"]["n"] == all_in
    stamps = [(here / way / name).read_text(encoding="utf-8") for name in PLANS]
    drawn = [line.split(",")[4] for text in stamps for line in text.splitlines()[1:]]
    assert len(set(drawn)) == len(drawn)
    assert weldtrial("-C", way, "report").code == 0


def test_a_fold_over_parts_main_effects_from_pairs(weldtrial: Run, here: Path) -> None:
    weldtrial("-C", "frac", "next", "fold", "--fold-over")
    told = {
        one["term"]: one["words"] for one in weldtrial("-C", "fold", "plan", "--json").json["told"]
    }
    assert all(
        "(or" not in told[name] for name in ("torch", "voltage", "wire_feed", "travel", "gap")
    )


def test_confirming_coupons_stay_out_of_the_comparison(
    weldtrial: Run, here: Path, listed_trials: ModuleType
) -> None:
    at = "gas=co2,voltage=28,wire_feed=9"
    assert weldtrial("-C", "gas", "next", "sure", "--confirm", "6", "--at", at).code == 0
    assert weldtrial("-C", "sure", "seal", "--no-dice").code == 0
    plan = (here / "sure" / "plan.csv").read_text(encoding="utf-8")
    assert plan.count(",confirm,co2,28,9") == 6
    listed_trials.fill(here / "sure", seed=4)
    found = weldtrial("-C", "sure", "analyse", "--json").json
    assert found["responses"]["break_load"]["n"] == 32


def test_an_earlier_trial_that_was_touched_is_found(weldtrial: Run, here: Path) -> None:
    weldtrial("-C", "gas", "next", "more", "--more", "2")
    plan = here / "more" / "earlier" / "plan.csv"
    plan.write_text(plan.read_text(encoding="utf-8").replace(",co2,", ",mix,", 1), encoding="utf-8")
    said = weldtrial("-C", "more", "plan")
    assert said.code == 3
    shutil.rmtree(here / "more" / "earlier")
    said = weldtrial("-C", "more", "plan")
    assert said.code == 3
    assert "'earlier' holds no earlier trial. Put the copy back." in said.err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ((), "say one thing to add, not nothing."),
        (("--star", "--more"), "say one thing to add, not --star and --more."),
        (("--fold-over", "travle"), "--fold-over travle: not a factor that is easy to change."),
        (("--separate", "torch:gop", "--coupons", "6"), "'gop' in the term"),
        (("--separate", "torch:gap"), "--separate needs the number of new coupons."),
        (("--confirm", "6"), "--confirm needs the setting. Add  --at torch=push"),
        (("--confirm", "6", "--at", "torch=push"), "--at does not say voltage"),
        (("--more", "--at", "torch=push"), "--at goes with --confirm, not with --more."),
        (("--more", "--set-ups", "3"), "nothing is hard to change here"),
    ],
)
def test_wrong_usage_is_said(
    weldtrial: Run, here: Path, options: tuple[str, ...], words: str
) -> None:
    said = weldtrial("-C", "frac", "next", "new", *options)
    assert said.code == 2
    assert words in said.err
    assert not (here / "new").exists()


def test_nothing_is_written_over(weldtrial: Run, here: Path) -> None:
    assert weldtrial("-C", "frac", "next", "gas", "--more").code == 2
    assert weldtrial("-C", "frac", "next", "frac/inside", "--more").code == 2
    assert not (here / "frac" / "inside").exists()
    (here / "frac" / "seal.json").unlink()
    assert weldtrial("-C", "frac", "next", "new", "--more").code == 5
