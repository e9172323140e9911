"""A worked-out response through the whole bench: no sheet, no file, a verdict like any other."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Weldtrial = Callable[..., Any]

STRESS = """
[[response]]
name       = "stress"
label      = "Load over measured throat"
unit       = "MPa"
rank       = 4
margin     = "5 %"
margin_why = "Invented."
ask        = "no-worse"
[response.worked_out]
quantity = "stress-on-throat"
from     = "break_load"
length   = { value = 50, unit = "mm" }
reads_to = { throat_mm = 0.1 }
"""


def fill(path: Path, row_of: Callable[[int, dict[str, str]], dict[str, str]]) -> None:
    with path.open(newline="") as file:
        reader = csv.DictReader(file)
        rows = list(reader)
        header = list(reader.fieldnames or ())
    for place, row in enumerate(rows):
        row.update(row_of(place, row))
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, header, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture
def folder(weldtrial: Weldtrial, tmp_path: Path) -> Path:
    assert weldtrial("new", "drawbar", "--example", "drawbar-gas", "--unsealed").code == 0
    found = tmp_path / "drawbar"
    trial = found / "trial.toml"
    text = trial.read_text(encoding="utf-8")
    trial.write_text(text.replace("\n[[claim]]", STRESS + "\n[[claim]]", 1), encoding="utf-8")
    assert weldtrial("-C", found, "seal", "--dice", "1,2,3", "--no-input").code == 0
    return found


def loads(folder: Path) -> None:
    """Type a throat for all but two coupons, and a load of 20 kN for every mm of throat."""

    def throat(place: int) -> float:
        return 3.8 + 0.1 * (place % 5)

    by_stamp: dict[str, float] = {}

    def log(place: int, row: dict[str, str]) -> dict[str, str]:
        by_stamp[row["stamp"]] = throat(place)
        return {"throat_mm": "" if place in (6, 7) else f"{throat(place):.1f}"}

    def load(place: int, row: dict[str, str]) -> dict[str, str]:
        scatter = 0.3 * ((place * 7) % 11 - 5)
        return {"reading": f"{20 * by_stamp[row['stamp']] + scatter:.1f}"}

    with (folder / "plan.csv").open(newline="") as file:
        counting = {row["stamp"] for row in csv.DictReader(file) if row["role"] == "count"}
    fill(folder / "weld_log.csv", lambda n, r: log(n, r) if r["stamp"] in counting else {})
    fill(
        folder / "readings" / "break_load.csv",
        lambda n, r: load(n, r) if r["stamp"] in counting else {},
    )


def test_nobody_is_given_a_sheet_or_a_file_for_it(folder: Path) -> None:
    assert {path.stem for path in (folder / "readings").glob("*.csv")} == {
        "break_load", "penetration", "bend_angle",
    }  # fmt: skip
    assert not [path.name for path in (folder / "sheets").iterdir() if "stress" in path.name]


def test_check_says_what_it_lacks(weldtrial: Weldtrial, folder: Path) -> None:
    loads(folder)
    shown = weldtrial("-C", folder, "check")
    assert "stress out for 46 of 48" in shown.out
    assert "without throat_mm" in shown.out
    found = weldtrial("-C", folder, "check", "--json").json
    assert found["worked_out"]["stress"]["known"] == 46
    assert all(
        columns == ["throat_mm"] for columns in found["worked_out"]["stress"]["lacking"].values()
    )
    assert "stress" not in found["read"]


def test_it_is_judged_reported_and_drawn_like_any_other(weldtrial: Weldtrial, folder: Path) -> None:
    loads(folder)
    closed = weldtrial("-C", folder, "analyse")
    assert "1000·load / (throat·length)" in closed.out
    assert "reading throat_mm to 0.1 scatters each coupon's value by 0.7" in closed.out
    found = weldtrial("-C", folder, "analyse", "--open", "--yes", "--json").json
    stress = found["responses"]["stress"]
    assert stress["n"] == 46
    # 20 kN a mm of throat over 50 mm is 400 MPa whatever the throat.
    gases = [mean["mean"] for mean in stress["means"] if mean["factor"] == "gas"]
    assert gases == pytest.approx([400.0, 400.0], abs=3)
    assert stress["comparisons"][0]["verdict"]["code"] in ("not_worse", "equivalent")
    assert weldtrial("-C", folder, "report").code == 0
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "worked out: 1000·load / (throat·length)" in page


def test_recording_it_is_refused_with_what_is_read(weldtrial: Weldtrial, folder: Path) -> None:
    refused = weldtrial("-C", folder, "record", "stress", "--no-input")
    assert refused.code == 2
    assert "break_load" in refused.err
