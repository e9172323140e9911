"""Seals and plans that may never change: a folder sealed today is verified years from now.

A seal, an order or a stamp that comes out otherwise on any machine or in any later version
would break every folder sealed before.  If a change is wanted, it gets a new version number
beside the old code, and these stay.
"""

from __future__ import annotations

import json
import tomllib
from hashlib import sha256
from pathlib import Path

import pytest

from weldtrial.cli.sealing import draw, lay
from weldtrial.shared.canonical import canonical
from weldtrial.shared.seal import seal_code, sha256_of
from weldtrial.shared.trialfile import load_trial

HERE = Path(__file__).parent
SEALS = {
    "drawbar": "2ad060b8da7efa2d53c48765b4eb3e513036de7c2c0810782262da05a833a693",
    "travel": "84341d5d2b79c05583c99cf03d4b20fabf09f2727d7bb1092b7b764c57c62cca",
    "screening": "ffd62861388e850c2021ee14ad85ea1ea78504cd15807362ff54ff495738b1b6",
    "halves": "f74756991ca7a0671251a342ff2224a75e5bb208009380ea795598d96da1b911",
}
PLANS = {
    (
        "drawbar",
        (4, 2, 6, 1, 5),
    ): "a69bd317271e4c0bd8d15628324e66aa3645135f51ed23ba5fd989601a8a3480",
    ("drawbar", ()): "070bcce46a370a1861c85c883f8e4f93b906e5ff986859e227e490342f2ef634",
    ("travel", (3,)): "5c2c2459a828d9e46fe56ffbf4720524f1ea305ac4f76ad3c67ed22da363c08d",
    ("screening", ()): "26da08ae0f69c2e88b73fd024d1e389ea74ea5dfa498c19d489338f7c908be1f",
    ("halves", ()): "e41e6517de0c992212f65355bfb77e786aec4aec311417f39cb78ac257ba7d47",
}


@pytest.mark.parametrize(("name", "seal"), SEALS.items())
def test_the_seal_of_a_file_never_changes(name: str, seal: str) -> None:
    trial = load_trial(HERE / f"{name}.toml")
    assert draw(trial, lay(trial), ()).seal == seal


@pytest.mark.parametrize(("case", "digest"), PLANS.items())
def test_the_plan_of_a_seal_never_changes_by_a_byte(
    case: tuple[str, tuple[int, ...]], digest: str
) -> None:
    name, dice = case
    trial = load_trial(HERE / f"{name}.toml")
    assert sha256_of(draw(trial, lay(trial), dice).text) == digest


@pytest.mark.parametrize("name", SEALS)
def test_the_seal_can_be_taken_without_this_library(name: str) -> None:
    """JSON as any RFC 8785 writer gives it, from the standard library's TOML reader.

    For these files that form is what ``json`` writes with sorted keys and no spaces, once whole
    decimal numbers have lost their ``.0``.
    """
    trial = load_trial(HERE / f"{name}.toml")
    question = tomllib.loads((HERE / f"{name}.toml").read_text(encoding="utf-8"))
    whole = {"question": question, "design": lay(trial).as_plain(), "canonical": 1}
    written = json.dumps(_whole(whole), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert written.encode("utf-8") == canonical(whole)
    assert sha256(written.encode("utf-8")).hexdigest() == SEALS[name]


def _whole(value: object) -> object:
    if isinstance(value, dict):
        return {key: _whole(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_whole(one) for one in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def test_the_spoken_code_is_the_first_twelve_digits() -> None:
    assert seal_code(SEALS["drawbar"]) == "2AD0-60B8-DA7E"


@pytest.mark.parametrize(
    ("was", "now", "same"),
    [
        ("margin     = 5\n", "margin = 5.0   # as agreed\n", True),
        ("margin     = 5\n", "margin = 5.1\n", False),
        ("rank       = 1\n", "", False),
        ("No early looks.", "No early look.", False),
        ("spare   = 2\n", "spare   = 3\n", False),
    ],
)
def test_a_value_changes_the_seal_and_its_typing_does_not(
    tmp_path: Path, was: str, now: str, same: bool
) -> None:
    text = (HERE / "drawbar.toml").read_text(encoding="utf-8")
    assert text.count(was) == 1
    path = tmp_path / "trial.toml"
    text = text.replace(was, now).replace(
        "coupons = 40", "coupons = 41" if "3" in now else "coupons = 40"
    )
    path.write_text(text, encoding="utf-8", newline="\r\n")
    trial = load_trial(path)
    assert (draw(trial, lay(trial), ()).seal == SEALS["drawbar"]) == same
