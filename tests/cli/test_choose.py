"""``weldtrial plan --choose``: table, sentences, lines that give that very plan, picture."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Call = Callable[..., Any]


@pytest.fixture
def folder(weldtrial: Call, tmp_path: Path) -> Path:
    assert weldtrial("new", "shop", "--for", "compare").code == 0
    return tmp_path / "shop"


def squeezed(text: str) -> str:
    return " ".join(text.split())


def change(folder: Path, *pairs: tuple[str, str]) -> None:
    file = folder / "trial.toml"
    text = file.read_text(encoding="utf-8")
    for was, now in pairs:
        assert re.search(was, text, re.MULTILINE), was
        text = re.sub(was, now, text, count=1, flags=re.MULTILINE)
    file.write_text(text, encoding="utf-8")


def paste(folder: Path, shown: str) -> None:
    """Put the lines a screen prints into the file, as a person would."""
    _, _, said = shown.partition("To choose it, put in trial.toml")
    assert said
    file = folder / "trial.toml"
    lines = file.read_text(encoding="utf-8").splitlines()

    def span(section: str) -> tuple[int, int]:
        start = lines.index(f"[{section}]") + 1
        ends = [k for k in range(start, len(lines)) if lines[k].startswith("[")]
        return start, ends[0] if ends else len(lines)

    section = ""
    for line in said.splitlines():
        if found := re.fullmatch(r"  \[(\w+)\]", line):
            section = found[1]
        elif found := re.fullmatch(r"  (\w+) = (\d+)", line):
            start, end = span(section)
            old = [k for k in range(start, end) if re.match(rf"{found[1]}\b", lines[k])]
            if old:
                lines[old[0]] = line.strip()
            else:
                lines.insert(start, line.strip())
        elif found := re.match(r"  and take out  (\w+)  under \[(\w+)\]", line):
            start, end = span(found[2])
            (old_line,) = [k for k in range(start, end) if re.match(rf"{found[1]}\b", lines[k])]
            del lines[old_line]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_what_eight_hours_buy(weldtrial: Call, folder: Path) -> None:
    before = {one.name: one.read_bytes() for one in folder.iterdir() if one.is_file()}
    outcome = weldtrial("-C", folder, "plan", "--choose", "--hours", 8)
    assert (outcome.code, outcome.err) == (0, "")
    assert {one.name: one.read_bytes() for one in folder.iterdir() if one.is_file()} == before
    assert max(map(len, outcome.out.splitlines())) <= 100
    rows = [squeezed(line) for line in outcome.out.splitlines()]
    assert "→ 7 14 2 32 7.6 2 209 6.2 77 % 72 % 0.029 ← chosen" in rows
    assert "▸ 6 12 3 40 8.4 3 261 6.2 78 % 74 % 0.04 over ← your file" in rows
    words = squeezed(outcome.out)
    assert "No plan within these limits reaches 80 %. The most certain one sees 77 %" in words
    assert (
        "In 8 h: 14 changes of 2 coupons would probably see 6.2 kN; 2 changes of 23 can never tell "
        "the gases apart." in words
    )
    assert "That means 32 coupons and 2 afternoons of 4 h." in words
    assert "If the gases are truly equal, 77 of 100 such trials would say so" in words


def test_the_cheapest_that_reaches_the_chance(weldtrial: Call, folder: Path) -> None:
    found = weldtrial("-C", folder, "plan", "--choose", "--json").json["choose"]
    good = [one for one in found["plans"] if one["chance"] >= 0.8]
    assert found["chosen"]["hours"] == min(one["hours"] for one in good)
    assert found["reached"] is True
    assert found["put"] == {
        "design": {"rounds": 8, "replicates": 2},
        "budget": {"coupons": 36},
        "order": {"first_at_most": 5},
    }
    assert found["own"]["current"] is True
    assert found["beaten_by"]["chance"] >= found["own"]["chance"]
    more = weldtrial("-C", folder, "plan", "--choose", "--chance", 0.95, "--json").json["choose"]
    assert more["chosen"]["chance"] >= 0.95


REGULAR = (
    (r'^kind    = "optimal".*$', 'kind    = "factorial"\nmodel   = "two-factor"'),
    (r"^set_ups = 8.*$", "rounds  = 6"),
    (r"^coupons .*$", "coupons = 52"),
)
"""The settings draft with a design that repeats the same combinations in every set-up."""
CASES: dict[str, tuple[str, tuple[tuple[str, str], ...], tuple[Any, ...]]] = {
    "as drafted": ("compare", (), ()),
    "within eight hours": ("compare", (), ("--hours", 8)),
    "few changes": ("compare", (), ("--changes", 10)),
    "little money": ("compare", (), ("--by", "money", "--cost", 150)),
    "the file counts set-ups": ("compare", ((r"^rounds = 6.*$", "rounds = 6\nset_ups = 12"),), ()),
    "shuffled freely": (
        "compare",
        ((r"^rounds = 6.*$", "set_ups = 12\nrounds = 1"), (r"^first_at_most.*$", "")),
        ("--hours", 7),
    ),
    "two of each a round": (
        "compare",
        ((r"^rounds = 6.*$", "rounds = 3\nset_ups = 12"), (r"^first_at_most.*$", "")),
        ("--chance", 0.9),
    ),
    "three gases": (
        "compare",
        (
            (r'^levels +=.*"co2"\]', 'levels = ["mix", "co2", "m20"]'),
            (r"^  co2 = \{ own = 27.0 \}", "  co2 = { own = 27.0 }\n  m20 = { own = 25.0 }"),
        ),
        (),
    ),
    "settings": ("settings", REGULAR, ()),
    "settings, in nine hours": ("settings", REGULAR, ("--hours", 9)),
    "screening": ("screening", (), ("--chance", 0.97)),
}


@pytest.mark.parametrize("name", CASES)
def test_the_lines_give_that_very_plan(weldtrial: Call, tmp_path: Path, name: str) -> None:
    kind, pairs, options = CASES[name]
    weldtrial("new", "it", "--for", kind)
    folder = tmp_path / "it"
    if name == "three gases":
        change(folder, (r"^coupons .*$", "coupons = 58"))
    change(folder, *pairs)
    shown = weldtrial("-C", folder, "plan", "--choose", *options)
    assert (shown.code, shown.err) == (0, "")
    wanted = weldtrial("-C", folder, "plan", "--choose", *options, "--json").json["choose"]
    chosen = wanted["chosen"]
    if chosen["coupons"] == wanted["own"]["coupons"] and "already" in shown.out:
        pytest.fail("this case is meant to change the plan")
    paste(folder, shown.out)
    plan = weldtrial("-C", folder, "plan", "--json")
    assert plan.code == 0, plan.err
    (current,) = [one for one in plan.json["rows"] if one["current"]]
    for key in ("rounds", "set_ups", "per_setup", "coupons", "total", "hours", "gap", "chance"):
        assert current[key] == pytest.approx(chosen[key]), key
    assert current["smallest_p"] == chosen["smallest_p"]
    assert plan.json["bench"]["cost"]["value"] == pytest.approx(chosen["cost"])
    assert plan.json["budget"]["left_over"] == 0
    again = weldtrial("-C", folder, "plan", "--choose", *options)
    assert "It is what your file asks for already." in squeezed(again.out)
    assert "To choose it" not in again.out


def test_the_picture_says_what_it_shows(weldtrial: Call, folder: Path) -> None:
    svg, png = folder / "budget.svg", folder / "budget.png"
    shown = weldtrial("-C", folder, "plan", "--choose", "--picture", svg)
    assert f"Drawn in {svg}." in squeezed(shown.out).replace("\n", "")
    text = svg.read_text(encoding="utf-8")
    assert text.count("<title>Cheaper gas") == 1
    assert "<desc>Dots of" in text
    for words in ("bench time, h", "chosen: 16 set-ups of 2, 83 %", "your file: 12 set-ups of 3"):
        assert words in text
    assert weldtrial("-C", folder, "plan", "--choose", "--picture", png).code == 0
    assert png.read_bytes().startswith(b"\x89PNG")
    assert b"chosen: 16 set-ups of 2" in png.read_bytes()


def test_only_its_own_pictures_are_written_over(weldtrial: Call, folder: Path) -> None:
    for name in ("mine.svg", "mine.png"):
        path = folder / name
        path.write_bytes(b"somebody else's")
        outcome = weldtrial("-C", folder, "plan", "--choose", "--picture", path)
        assert (outcome.code, outcome.out) == (2, "")
        assert "left alone" in outcome.err
        assert path.read_bytes() == b"somebody else's"
        path.unlink()
        for _ in range(2):
            assert weldtrial("-C", folder, "plan", "--choose", "--picture", path).code == 0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--hours", 8), "--hours goes with --choose"),
        (("--by", "money", "--coupons", 3), "--coupons and --by go with --choose"),
        (("--choose", "--hours", 0), "--hours 0 cannot be"),
        (("--choose", "--cost", -1, "--changes", 0), "--cost -1 cannot be"),
        (("--choose", "--chance", 1), "--chance 1 cannot be"),
        (("--choose", "--hours", "nan"), "--hours nan cannot be"),
        (("--choose", "--picture", "x.pdf"), ".svg or .png"),
        (("--choose", "--picture", "gone/x.svg"), "there is no folder"),
        (("--choose", "--why"), "do not go with --choose"),
        (("--choose", "--by", "cheap"), "--by"),
    ],
)
def test_misuse_is_refused_in_words(weldtrial: Call, folder: Path, options, words: str) -> None:
    outcome = weldtrial("-C", folder, "plan", *options)
    assert (outcome.code, outcome.out) == (2, "")
    assert words in outcome.err


@pytest.mark.parametrize(
    ("pairs", "options", "code", "words"),
    [
        (
            ((r"^minutes_setup.*$", ""), (r"^cost_coupon.*$", "")),
            (),
            2,
            "needs budget.minutes_setup",
        ),
        (
            (
                (r"^minutes_setup.*$", "minutes_setup = 0"),
                (r"^minutes_coupon.*$", "minutes_coupon = 0"),
            ),
            (),
            2,
            "welding takes no time",
        ),
        (((r"^cost_coupon.*$", ""),), ("--by", "money"), 2, "needs budget.cost_coupon"),
        (
            ((r"^cost_coupon.*$", "cost_wire_kg = 4"),),
            ("--cost", 100),
            2,
            "needs budget.cost_plate",
        ),
        (((r"^typical    = \{ mean = 80.*$", ""),), (), 5, "No plan can be chosen"),
    ],
)
def test_what_is_not_known_is_asked_for(
    weldtrial: Call, folder: Path, pairs, options, code: int, words: str
) -> None:
    change(folder, *pairs)
    outcome = weldtrial("-C", folder, "plan", "--choose", *options)
    assert (outcome.code, outcome.out) == (code, "")
    assert words in outcome.err


def test_without_minutes_money_will_do(weldtrial: Call, folder: Path) -> None:
    change(folder, (r"^minutes_setup.*$", ""))
    found = weldtrial("-C", folder, "plan", "--choose", "--by", "money", "--json").json["choose"]
    assert found["by"] == "money"
    assert found["chosen"]["hours"] is None
    shown = weldtrial("-C", folder, "plan", "--choose", "--by", "money")
    assert shown.code == 0
    assert "bench" not in shown.out.partition("gap")[2].partition("───")[0]


def test_a_pilot_has_nothing_to_choose_by(weldtrial: Call, tmp_path: Path) -> None:
    weldtrial("new", "it", "--for", "pilot")
    outcome = weldtrial("-C", tmp_path / "it", "plan", "--choose")
    assert (outcome.code, outcome.out) == (3, "")
    assert "A pilot gives spreads and no verdict" in outcome.err


def test_nothing_within_the_limits_is_said(weldtrial: Call, folder: Path) -> None:
    shown = weldtrial("-C", folder, "plan", "--choose", "--hours", 0.5)
    assert shown.code == 0
    assert "No plan within these limits can answer at all." in shown.out
    assert "To choose it" not in shown.out


def test_few_changes_hold_however_many_coupons(weldtrial: Call, folder: Path) -> None:
    shown = weldtrial("-C", folder, "plan", "--choose", "--changes", 6)
    words = squeezed(shown.out)
    assert "On 6 set-ups not even endless coupons would: 63 % at most." in words
    found = weldtrial("-C", folder, "plan", "--choose", "--changes", 6, "--json").json["choose"]
    assert found["chosen"]["total"] <= 80
    assert round(found["ceiling"], 2) == 0.63


def test_a_weak_choice_is_called_weak(weldtrial: Call, folder: Path) -> None:
    change(folder, ("sd_coupon = 4, sd_setup = 2", "sd_coupon = 1, sd_setup = 0.5"))
    words = squeezed(weldtrial("-C", folder, "plan", "--choose").out)
    assert 'Its verdict can only begin with "Suggests". One that may begin with "Shown":' in words


def test_sealed_trials_are_left_alone(weldtrial: Call, folder: Path) -> None:
    weldtrial("-C", folder, "seal", "--yes")
    shown = weldtrial("-C", folder, "plan", "--choose")
    assert "this trial is sealed; nothing here changes it" in squeezed(shown.out)


def test_every_key_of_the_json_is_documented(weldtrial: Call, folder: Path) -> None:
    def keys_of(value: Any) -> set[str]:
        if isinstance(value, dict):
            return set(value).union(*map(keys_of, value.values()))
        return set().union(*map(keys_of, value)) if isinstance(value, list) else set()

    page = weldtrial("help", "json").out
    section = page.partition("## weldtrial plan --choose --json")[2]
    picture = folder / "x.svg"
    found = weldtrial("-C", folder, "plan", "--choose", "--picture", picture, "--json").json
    documented = set(re.findall(r'"(\w+)"', section.partition("\n## ")[0]))
    assert keys_of(found) - documented == set()


def test_plain_rows_are_tab_separated(weldtrial: Call, folder: Path) -> None:
    lines = weldtrial("-C", folder, "plan", "--choose", "--plain").out.splitlines()
    header = next(line for line in lines if line.startswith("\trounds"))
    assert "set-ups" in header.split("\t")
    chosen = next(line for line in lines if line.endswith("← chosen"))
    assert len(chosen.split("\t")) == len(header.split("\t"))
