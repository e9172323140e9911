"""``weldtrial optimise`` where its coupons confirm a setting: met, missed, still to be read."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from weldtrial.shared.said_settings import typed_settings
from weldtrial.shared.trialfile import load_trial

# One worker builds what these tests share.
pytestmark = pytest.mark.xdist_group("optimise_confirmed")

Run = Callable[..., Any]
OTHER = "gas=mix,voltage=25.8,wire_feed=8.5,travel=32"


def quietly(*words: object) -> int:
    from weldtrial.cli.main import main

    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        return int(main([str(one) for one in words]))


def out_of(*words: object) -> Any:
    import json

    from weldtrial.cli.main import main

    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        assert main([str(one) for one in (*words, "--json")]) == 0
    return json.loads(out.getvalue())


@pytest.fixture(scope="module")
def benches(
    tmp_path_factory: pytest.TempPathFactory, welded_settings: Callable[[int], Path]
) -> Path:
    """`best` confirms what optimise chose, `other` another setting; sealed, none welded."""
    base = tmp_path_factory.mktemp("confirming")
    shutil.copytree(welded_settings(2), base / "old")
    chosen = out_of("-C", base / "old", "optimise")["recommended"]["settings"]
    at = typed_settings(load_trial(base / "old" / "trial.toml").varied, chosen)
    with contextlib.chdir(base):
        for name, where in (("best", at), ("other", OTHER)):
            assert quietly("-C", "old", "next", name, "--confirm", 8, "--at", where) == 0
            assert quietly("-C", name, "seal", "--no-dice") == 0
    return base


@pytest.fixture
def here(benches: Path, tmp_path: Path) -> Path:
    shutil.copytree(benches, tmp_path, dirs_exist_ok=True)
    return tmp_path


def spoil(folder: Path, many: int) -> None:
    """Let coupons fail their break load: that many of the first rows."""
    path = folder / "readings" / "break_load.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    column = lines[0].split(",").index("reading")
    for row in range(1, many + 1):
        cells = lines[row].split(",")
        cells[column] = "60.0"
        lines[row] = ",".join(cells)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_old_folder_knows_of_no_confirmation(weldtrial: Run, here: Path) -> None:
    said = weldtrial("-C", "old", "optimise")
    assert "BEST SETTING, NOT YET CONFIRMED" in said.out
    assert "Not yet a recommendation: nothing was welded there to confirm it." in said.out
    assert "next NAME --confirm 8 --at gas=" in flat(said.out)
    told = weldtrial("-C", "old", "optimise", "--json").json
    assert told["confirmed"] is False
    assert told["confirmation"] is None


def test_before_anything_is_read_it_says_what_is_left(weldtrial: Run, here: Path) -> None:
    said = weldtrial("-C", "best", "optimise")
    assert said.code == 0, said.err
    assert "\nNOT YET CONFIRMED\n" in said.out
    assert "8 of 8 are to be read; at least 5 have to (sealed before welding)" in flat(said.out)
    assert "coupons that confirm it are still to be read" in flat(said.out)
    assert flat(said.out).endswith("weldtrial -C best check for what to weld or read")
    told = weldtrial("-C", "best", "optimise", "--json").json
    assert told["confirmed"] is False
    assert told["confirmation"]["state"] == "unfinished"
    assert told["confirmation"]["unread"] == 8


def test_met_at_the_best_setting_is_recommended_and_confirmed(
    weldtrial: Run, here: Path, settings_bench: ModuleType
) -> None:
    settings_bench.fill(here / "best", seed=5)
    told = weldtrial("-C", "best", "optimise", "--json").json
    one = told["confirmation"]
    assert told["confirmed"] is True
    assert (one["state"], one["is_recommended"], one["confirmed"]) == ("met", True, True)
    assert one["at"] == told["recommended"]["settings"]
    assert one["there"] == told["recommended"]
    assert one["passed"] + one["failed"] == one["coupons"] == 8
    assert one["passed"] >= one["at_least"] == 5
    said = weldtrial("-C", "best", "optimise")
    assert "\nRECOMMENDED, CONFIRMED\n" in said.out
    words = flat(said.out)
    assert f"Met: {one['passed']} of 8 coupons passed every limit" in words
    assert f"of this folder (seal {one['seal']})" in words
    assert f"predicted from the earlier trial ({one['earlier_seal']})" in words
    assert "qualifies no procedure" in words
    assert "nothing was welded there" not in words
    assert words.endswith("sheets --only card for the card at the machine")
    assert max(len(line) for line in said.out.splitlines()) <= 100
    asked = weldtrial("-C", "best", "optimise", "--keep", "0.9", "--json").json
    assert asked["confirmed"] is False
    assert asked["confirmation"]["confirmed"] is True
    assert asked["confirmation"]["is_recommended"] is False


def test_what_was_confirmed_is_the_sealed_claim_and_no_other(
    weldtrial: Run, here: Path, settings_bench: ModuleType
) -> None:
    """A typed limit that changes nothing of the map is still not the one that was tested."""
    settings_bench.fill(here / "best", seed=5)
    for typed in (("--limit", "penetration >= 1.4"), ("--limit", "bend_angle >= 80")):
        told = weldtrial("-C", "best", "optimise", *typed, "--json").json
        assert told["confirmation"]["confirmed"] is True
        assert told["confirmation"]["as_sealed"] is False
        assert told["confirmed"] is False
    said = weldtrial("-C", "best", "optimise", "--limit", "bend_angle >= 80")
    assert "CONFIRMED, BUT NOT FOR WHAT IS ASKED HERE" in said.out
    words = flat(said.out)
    assert "The claim put to the test: 8 in 10 meet the sealed limits." in words
    assert "what was confirmed is another share, or other limits" in words


def test_the_map_is_that_of_the_old_folder_and_says_so(
    weldtrial: Run, here: Path, settings_bench: ModuleType
) -> None:
    """Coupons that confirm judge the map: were they fitted too, they would judge themselves."""
    settings_bench.fill(here / "best", seed=5)
    old, new = (weldtrial("-C", name, "optimise", "--json").json for name in ("old", "best"))
    for key in ("goal", "settings", "recommended", "steps", "front"):
        assert old[key] == new[key], key
    words = flat(weldtrial("-C", "best", "optimise").out)
    assert "the 40 coupons of the earlier trial" in words
    assert "the 8 that confirm judge it and draw no part of it" in words


def test_missed_is_no_recommendation(
    weldtrial: Run, here: Path, settings_bench: ModuleType
) -> None:
    settings_bench.fill(here / "best", seed=5)
    spoil(here / "best", 5)
    told = weldtrial("-C", "best", "optimise", "--json").json
    assert told["confirmed"] is False
    assert told["confirmation"]["state"] == "missed"
    said = weldtrial("-C", "best", "optimise")
    assert "\nPREDICTION MISSED\n" in said.out
    words = flat(said.out)
    assert "The map is wrong somewhere: do not build on it" in words
    assert "No recommendation: the coupons that were to confirm it spoke against it." in words
    assert "CONFIRMED" not in said.out


def test_another_setting_confirmed_and_the_best_are_both_said(
    weldtrial: Run, here: Path, settings_bench: ModuleType
) -> None:
    settings_bench.fill(here / "other", seed=5)
    said = weldtrial("-C", "other", "optimise")
    assert said.out.index("CONFIRMED; NOT THE BEST OF THE MAP") < said.out.index(
        "BEST SETTING, NOT CONFIRMED"
    )
    words = flat(said.out)
    assert "The coupons of this folder are for mix, 25.8 V, 8.5 m/min, 32 cm/min." in words
    assert "The card of the setting that is confirmed: weldtrial sheets --only card" in words
    told = weldtrial("-C", "other", "optimise", "--json").json
    assert told["confirmed"] is False
    assert told["confirmation"]["confirmed"] is True
    assert told["confirmation"]["there"]["settings"]["travel"] == 32
    spoil(here / "other", 5)
    words = flat(weldtrial("-C", "other", "optimise").out)
    assert "The same map missed its prediction at mix, 25.8 V" in words


def test_at_says_it_of_that_setting_alone(
    weldtrial: Run, here: Path, settings_bench: ModuleType
) -> None:
    settings_bench.fill(here / "other", seed=5)
    there = weldtrial("-C", "other", "optimise", "--at", OTHER)
    assert "\n    Confirmed.\n" in there.out
    assert weldtrial("-C", "other", "optimise", "--at", OTHER, "--json").json["confirmed"] is True
    near = OTHER.replace("travel=32", "travel=33")
    elsewhere = weldtrial("-C", "other", "optimise", "--at", near)
    assert "Confirmed." not in elsewhere.out
    assert "The coupons of this folder are for" in flat(elsewhere.out)
    assert weldtrial("-C", "other", "optimise", "--at", near, "--json").json["confirmed"] is False


def test_sealed_after_welding_confirms_nothing(
    weldtrial: Run, here: Path, settings_bench: ModuleType
) -> None:
    folder = here / "best"
    settings_bench.fill(folder, seed=5)
    for name in ("seal.json", "journal.csv", "plan.csv"):
        (folder / name).unlink()
    assert quietly("-C", folder, "seal", "--no-dice", "--yes") == 0
    told = weldtrial("-C", "best", "optimise", "--json").json
    assert told["confirmation"]["state"] == "met"
    assert told["confirmation"]["sealed_late"] is True
    assert told["confirmation"]["confirmed"] is False
    assert told["confirmed"] is False
    said = weldtrial("-C", "best", "optimise")
    assert "NOT CONFIRMED: SEALED AFTER WELDING" in said.out
    assert "PREDICTION MET, BUT SEALED LATE" in weldtrial("-C", "best", "analyse").out
    assert quietly("-C", folder, "sheets", "--only", "card") == 0
    card = (folder / "sheets" / "card.html").read_text(encoding="utf-8")
    assert "<b>Not confirmed</b>" in card
    assert "so it confirms nothing" in card


@pytest.mark.parametrize(
    ("name", "tag"),
    [
        ("best", "Recommended, confirmed"),
        ("other", "Confirmed; not the best of the map"),
        ("old", "Best setting, not yet confirmed"),
    ],
)
def test_page_1_of_the_report_says_it(
    weldtrial: Run, here: Path, settings_bench: ModuleType, name: str, tag: str
) -> None:
    if name != "old":
        settings_bench.fill(here / name, seed=5)
    for options in (("--short",), ()):
        assert quietly("-C", here / name, "report", *options) == 0
        page = (here / name / "report.html").read_text(encoding="utf-8")
        first = page.split('<section id="s3"')[0]
        assert f'<p class="tag">{tag}</p>' in first
        words = flat(re.sub("<[^>]+>", " ", first))
        assert "of new coupons are expected to meet every limit" in words
        assert "Highest travel, cm/min, if 7, 8 or 9 in 10 must pass: mix" in words
        assert ("nothing was welded there to confirm it" in words) == (name != "best")
    section = page[page.index('<section id="s6">') : page.index('<section id="s7">')]
    assert tag in section
    assert ("draw no part of it" in section) == (name != "old")
