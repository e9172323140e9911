"""A trial of passes and grades from plan to report, filled in by script (everything invented)."""

from __future__ import annotations

import csv
import json
import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Weldtrial = Callable[..., Any]

TRIAL = """
format = 1
[trial]
title = "Bends and spatter (invented data)"
question = "Does the new gas pass as often (invented)?"
welder = "welder 1"
[fair]
rule = "same-setting"
how = "Ten minutes of tune-up welds per gas by the same welder."
[joint]
type = "T-joint, single fillet"
process = "135"
position = "PB"
[[factor]]
name = "gas"
levels = ["mix", "co2"]
control = "mix"
{hard}
[[response]]
name = "bend"
label = "Bend test"
kind = "pass-fail"
margin = "20 %"
margin_why = "Fewer than this is not seen in the shop (invented)."
ask = "no-worse"
where = ["throat", "toe", "root", "plate", "folded flat"]
[[response]]
name = "spatter"
kind = "graded"
scale = ["heavy", "some", "little", "none"]
rank = 2
sections = {sections}
[design]
model = "main"
{design}
[budget]
coupons = {coupons}
[blind]
codes = true
who = ["bend"]
reader = "reader 1"
{more}
"""
SETUPS = {"hard": "hard_to_change = true", "design": "rounds = 4\nset_ups = 8", "coupons": 32}
FREE = {"hard": "", "design": "replicates = 16", "coupons": 32}
EIGHT = {"hard": "", "design": "replicates = 4", "coupons": 8}


def write(tmp_path: Path, said: dict[str, Any], sections: int = 1, more: str = "") -> Path:
    folder = tmp_path / "bends"
    folder.mkdir(exist_ok=True)
    text = TRIAL.format(**said, sections=sections, more=more)
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    return folder


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def save(path: Path, rows: list[dict[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def fill(folder: Path, say: Callable[[str, str], tuple[str, str]]) -> None:
    """Weld and read everything: `say` gives reading and place from response and gas."""
    gas = {row["stamp"]: row["gas"] for row in rows_of(folder / "plan.csv")}
    for name in ("bend", "spatter"):
        path = folder / "readings" / f"{name}.csv"
        rows = rows_of(path)
        for row in rows:
            row["reading"], place = say(name, gas[row["stamp"]])
            row["reader"] = "reader 1"
            if "failed_at" in row:
                row["failed_at"] = place
        save(path, rows)
    log = rows_of(folder / "weld_log.csv")
    for place, row in enumerate(log):
        row["started"] = f"2026-03-02 {8 + place // 6:02d}:{10 * (place % 6):02d}"
    save(folder / "weld_log.csv", log)


def mixed(seed: int = 5) -> Callable[[str, str], tuple[str, str]]:
    rng = random.Random(seed)

    def say(name: str, gas: str) -> tuple[str, str]:
        if name == "spatter":
            grades = ["some", "little", "none", "none"] if gas == "mix" else ["heavy", "some"] * 2
            return rng.choice(grades), ""
        passed = rng.random() < (0.9 if gas == "mix" else 0.5)
        return ("pass", "folded flat") if passed else ("fail", "root" if gas == "co2" else "toe")

    return say


def alike(bend: str) -> Callable[[str, str], tuple[str, str]]:
    return lambda name, gas: (bend, "") if name == "bend" else ("little", "")


def sealed(weldtrial: Weldtrial, folder: Path) -> None:
    assert weldtrial("-C", folder, "seal", "--no-dice").code == 0


@pytest.mark.parametrize("said", [SETUPS, FREE, EIGHT], ids=["set-ups", "free", "eight"])
def test_from_plan_to_report(weldtrial: Weldtrial, tmp_path: Path, said: dict[str, Any]) -> None:
    folder = write(tmp_path, said)
    planned = weldtrial("-C", folder, "plan")
    assert planned.code == 0
    assert "is co2 no worse than mix by more than 20 points?" in planned.out
    assert "Nothing is known of what share passes of bend test today" in " ".join(
        planned.out.split()
    )
    figures = weldtrial("-C", folder, "plan", "--json").json
    assert figures["decides"]["unit"] == "points"
    assert figures["decides"]["margin_percent"] is None
    assert all(row["chance"] is None for row in figures["rows"])

    sealed(weldtrial, folder)
    sheet = (folder / "sheets" / "read-bend.html").read_text(encoding="utf-8")
    assert "Ring what you see" in sheet
    assert "<span>pass</span> · <span>fail</span>" in sheet
    assert "co2" not in sheet
    grades = (folder / "sheets" / "read-spatter.html").read_text(encoding="utf-8")
    assert "grades, worst first: heavy, some, little, none" in grades

    fill(folder, mixed())
    assert weldtrial("-C", folder, "check").code == 0
    closed = weldtrial("-C", folder, "analyse").out
    assert "passed, all gases together" in closed
    assert "grades, all gases together: " in closed
    assert not re.search(r"\b(co2|mix|Shown|better)\b", closed)

    opened = weldtrial("-C", folder, "analyse", "--open")
    assert opened.code == 0
    assert "BEND TEST (decides)" in opened.out
    assert re.search(r"points \(passes \d+ of \d+ against \d+ of \d+\), 95 %", opened.out)
    assert "50 is alike" in opened.out
    assert "Where it broke (mix and co2)" in opened.out
    assert max(map(len, opened.out.splitlines())) <= 100
    told = "Coupons of one set-up are not independent" in opened.out
    assert told == (said is SETUPS)

    found = weldtrial("-C", folder, "analyse", "--json").json["responses"]
    bend, spatter = found["bend"], found["spatter"]
    assert (bend["kind"], bend["unit"]) == ("pass-fail", "points")
    assert sum(row["of"] for row in bend["passes"]) == said["coupons"]
    assert bend["comparisons"][0]["margin"] == pytest.approx(20)
    assert sum(map(sum, (row["counts"] for row in spatter["grades"]))) == said["coupons"]
    assert spatter["scale"] == ["heavy", "some", "little", "none"]
    assert spatter["comparisons"][0]["verdict"]["code"] in ("difference_shown", "not_settled")
    assert bend["coefficients"] == bend["tests"] == bend["effects"] == []
    assert bend["places"]["places"][-1] == "folded flat"

    assert weldtrial("-C", folder, "report").code == 0
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "Bend test, pass or fail (decides)" in page
    assert "Dot plot of" in page
    assert "p of dealing again" in page
    assert "20 points" in page
    beside = weldtrial("-C", folder, "analyse", "--as-if", "shuffled").out
    assert ("by set-up" in beside) == (said is SETUPS)


@pytest.mark.parametrize("reading", ["pass", "fail"])
@pytest.mark.parametrize("said", [SETUPS, FREE], ids=["set-ups", "free"])
def test_all_alike(
    weldtrial: Weldtrial, tmp_path: Path, said: dict[str, Any], reading: str
) -> None:
    folder = write(tmp_path, said)
    sealed(weldtrial, folder)
    fill(folder, alike(reading))
    opened = weldtrial("-C", folder, "analyse", "--open")
    assert opened.code == 0
    found = weldtrial("-C", folder, "analyse", "--json").json["responses"]
    code = found["bend"]["comparisons"][0]["verdict"]["code"]
    assert code == ("cannot_tell" if said is SETUPS else "not_worse")
    assert found["spatter"]["comparisons"][0]["verdict"]["code"] == "cannot_tell"
    assert "every coupon has the same grade" in opened.out
    assert weldtrial("-C", folder, "report").code == 0


def test_two_pieces_of_a_coupon_count_by_the_worst(weldtrial: Weldtrial, tmp_path: Path) -> None:
    folder = write(tmp_path, FREE, sections=2)
    sealed(weldtrial, folder)
    fill(folder, mixed())
    path = folder / "readings" / "spatter.csv"
    rows = rows_of(path)
    assert len(rows) == 64
    first = {row["stamp"]: place for place, row in reversed(list(enumerate(rows)))}
    for stamp in sorted(first)[:5]:
        rows[first[stamp]]["reading"] = "heavy"
    save(path, rows)
    found = weldtrial("-C", folder, "analyse", "--open")
    assert found.code == 0
    grades = weldtrial("-C", folder, "analyse", "--json").json["responses"]["spatter"]["grades"]
    assert sum(row["counts"][0] for row in grades) >= 5
    assert sum(map(sum, (row["counts"] for row in grades))) == 32


def test_bad_readings_each_give_their_line(weldtrial: Weldtrial, tmp_path: Path) -> None:
    folder = write(tmp_path, FREE)
    sealed(weldtrial, folder)
    fill(folder, mixed())
    for name, wrong in (("bend", ["ok", "1", "passed"]), ("spatter", ["lots", "3", "nil"])):
        path = folder / "readings" / f"{name}.csv"
        rows = rows_of(path)
        for row, text in zip(rows, wrong, strict=False):
            row["reading"] = text
        rows[4]["failed_at"] = "elbow"
        save(path, rows)
    checked = weldtrial("-C", folder, "check")
    assert checked.code == 3
    assert "'passed' is not a reading. Did you mean pass? Write pass, fail, lost" in checked.err
    for text in ("'ok'", "'1'"):
        assert f"{text} is not a reading. Write pass, fail, lost" in checked.err
    for text in ("'lots'", "'3'", "'nil'"):
        assert f"{text} is not a grade. Write one of heavy, some, little, none" in checked.err
    assert "'elbow' is not a place where it breaks" in checked.err
    assert weldtrial("-C", folder, "analyse", "--open", "--yes").code == 3


def test_a_graded_response_may_decide_and_has_no_chance(
    weldtrial: Weldtrial, tmp_path: Path
) -> None:
    folder = write(tmp_path, SETUPS)
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    start, end = text.index('[[response]]\nname = "bend"'), text.index('[[response]]\nname = "sp')
    alone = (
        (text[:start] + text[end:]).replace("rank = 2", "rank = 1").replace('"bend"', '"spatter"')
    )
    (folder / "trial.toml").write_text(alone, encoding="utf-8")
    planned = weldtrial("-C", folder, "plan")
    assert planned.code == 0
    told = "Nothing is known of how often each grade comes of spatter today"
    assert told in " ".join(planned.out.split())
    assert told in " ".join(weldtrial("-C", folder, "power").out.split())


def test_looks_need_a_number_to_decide(weldtrial: Weldtrial, tmp_path: Path) -> None:
    more = '[looks]\nafter = [2]\nbounds = "pocock"'
    folder = write(tmp_path, SETUPS, more=more)
    refused = weldtrial("-C", folder, "plan")
    assert refused.code == 3
    assert "planned looks need a deciding response that is a number, and bend is pass-fail" in (
        refused.err
    )


def test_a_graded_response_has_no_lower_is_better(weldtrial: Weldtrial, tmp_path: Path) -> None:
    folder = write(tmp_path, FREE)
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8").replace("rank = 2", 'rank = 2\nbetter = "lower"')
    path.write_text(text, encoding="utf-8")
    refused = weldtrial("-C", folder, "plan")
    assert refused.code == 3
    assert "worst grade to the best" in refused.err


def test_passes_are_imported_refused_and_corrected(weldtrial: Weldtrial, tmp_path: Path) -> None:
    folder = write(tmp_path, EIGHT)
    sealed(weldtrial, folder)
    first, second = (row["stamp"] for row in rows_of(folder / "readings" / "bend.csv")[:2])
    notes = tmp_path / "notes.csv"
    said = ("record", "bend", "--from", notes, "--reader", "reader 1", "--yes")
    notes.write_text(f"stamp,reading\n{first},Pass\n{second},maybe\n", encoding="utf-8")
    refused = weldtrial("-C", folder, *said)
    assert refused.code == 3
    assert "'maybe' is not a reading. Write pass, fail, lost" in refused.err
    assert weldtrial("-C", folder, "check", "--json").json["read"]["bend"]["read"] == 0
    notes.write_text(f"stamp,reading\n{first},Pass\n{second},fail\n", encoding="utf-8")
    assert weldtrial("-C", folder, *said).code == 0
    assert weldtrial("-C", folder, "check", "--json").json["read"]["bend"]["read"] == 2
    changed = weldtrial("-C", folder, "record", "bend", "--correct", first, "--to", "fail",
                        "--why", "typed from the wrong line", "--yes")  # fmt: skip
    assert changed.code == 0
    assert "Pass → fail" in changed.out


# ---------------------------------------------------------------------- adopted columns


GRADES = ["bad", "fair", "good"]


def table(tmp_path: Path) -> Path:
    rng = random.Random(3)
    lines = ["gas,cracked,spatter"]
    lines += [
        ",".join((("mix", "co2")[n % 2], rng.choice(["pass", "fail"]), rng.choice(GRADES)))
        for n in range(24)
    ]
    path = tmp_path / "their.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_adopted_passes_and_grades(weldtrial: Weldtrial, tmp_path: Path) -> None:
    made = weldtrial("adopt", table(tmp_path), "x", "--category", "gas", "--response", "cracked",
                     "--kind", "cracked=pass-fail", "--margin", "cracked=20 %", "--response",
                     "spatter", "--scale", "spatter=bad,fair,good")  # fmt: skip
    assert made.code == 0
    found = weldtrial("-C", tmp_path / "x", "analyse", "--json").json["responses"]
    assert found["cracked"]["method"] == "exact-unconditional"
    assert sum(row["of"] for row in found["cracked"]["passes"]) == 24
    assert found["spatter"]["scale"] == ["bad", "fair", "good"]
    strengths = {one["comparisons"][0]["verdict"]["strength"] for one in found.values()}
    assert strengths <= {None, "suggests"}
    assert weldtrial("-C", tmp_path / "x", "report").code == 0


def test_adopted_columns_that_do_not_fit_are_said(weldtrial: Weldtrial, tmp_path: Path) -> None:
    data = table(tmp_path)
    plain = weldtrial("adopt", data, "x", "--category", "gas", "--response", "cracked")
    assert plain.code == 3
    assert "Say  --kind cracked=pass-fail" in plain.err
    wrong = weldtrial("adopt", data, "x", "--category", "gas", "--response", "cracked", "--kind",
                      "cracked=maybe", "--response", "spatter", "--scale", "spatter=bad,good",
                      "--margin", "spatter=3")  # fmt: skip
    assert wrong.code == 3
    for words in ("'maybe' is not one of number, pass-fail, graded",
                  "needs three grades or more", "it has no margin"):  # fmt: skip
        assert words in wrong.err
    assert not (tmp_path / "x").exists()


def test_every_new_key_is_documented(weldtrial: Weldtrial, tmp_path: Path) -> None:
    folder = write(tmp_path, FREE)
    sealed(weldtrial, folder)
    fill(folder, mixed())
    weldtrial("-C", folder, "analyse", "--open")
    found = weldtrial("-C", folder, "analyse", "--json").json["responses"]["bend"]
    page = weldtrial("help", "json").out
    keys = [*found["passes"][0], *found["places"], *found["comparisons"][0]["counted"]]
    keys += ["passes", "grades", "scale", "odds", "places", "counted", "odds_ratio"]
    assert [key for key in keys if f'"{key}"' not in page] == []
    assert json.dumps(found)


@pytest.mark.parametrize("said", [SETUPS, FREE], ids=["set-ups", "free"])
def test_what_would_undo_it_is_on_screen_in_the_report_and_in_json(
    weldtrial: Weldtrial, tmp_path: Path, said: dict[str, Any]
) -> None:
    folder = write(tmp_path, said)
    sealed(weldtrial, folder)
    fill(folder, mixed())
    path = folder / "readings" / "bend.csv"
    rows = rows_of(path)
    rows[3]["reading"], rows[3]["failed_at"], rows[3]["note"] = "lost", "", "slipped"
    save(path, rows)
    log = rows_of(folder / "weld_log.csv")
    log[5]["went_wrong"] = "nozzle blocked"
    save(folder / "weld_log.csv", log)
    closed = weldtrial("-C", folder, "analyse")
    assert "What would undo it" not in closed.out
    shown = weldtrial("-C", folder, "analyse", "--open")
    assert shown.code == 0
    assert all(len(line) <= 100 for line in shown.out.splitlines())
    words = " ".join(shown.out.split())
    assert words.count("What would undo it") == 2
    assert "passes that really failed passed p would read" in words
    assert "none, as recorded" in words
    assert f"lost coupon of {_gas(folder)[rows[3]['stamp']]} ({rows[3]['stamp']})" in words
    assert "Without the 1 coupon that something went wrong with: " in words
    undo = weldtrial("-C", folder, "analyse", "--json").json["responses"]["bend"]["undo"]
    assert {one["how"] for one in undo["forgotten"]} == {"passed", "left out"}
    assert undo["rows"][0]["coupons"] == 0
    assert [one["stamps"] for one in undo["lost_counted"]] == [[rows[3]["stamp"]]]
    weldtrial("-C", folder, "report")
    page = (folder / "report.html").read_text(encoding="utf-8")
    first, rest = page.split('id="s3"')
    assert undo["brief"].removesuffix(".") in " ".join(first.split())
    assert "What would undo it." not in first
    assert "What would undo it." in rest
    assert undo["words"][1] in rest


def _gas(folder: Path) -> dict[str, str]:
    return {row["stamp"]: row["gas"] for row in rows_of(folder / "plan.csv")}
