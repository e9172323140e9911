"""Guesses through the commands: the column, the sheet, a slip, a leak and none."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from weldtrial.shared.problems import ExitCode


@pytest.fixture
def sealed(weldtrial, tmp_path: Path) -> Path:
    """A drafted trial whose blind readers guess, sealed."""
    weldtrial("new", "b", "--for", "compare")
    folder = tmp_path / "b"
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("codes     = true", "guess = true\ncodes     = true"))
    assert weldtrial("seal", "--no-dice", cwd=folder).code == ExitCode.FINE
    return folder


def plan_of(folder: Path) -> dict[str, dict[str, str]]:
    rows = csv.DictReader((folder / "plan.csv").read_text().splitlines())
    return {row["stamp"]: row for row in rows if row["role"] == "count"}


def read_all(folder: Path, wrong: int) -> None:
    """Read everything; every `wrong`-th coupon is guessed wrong."""
    plan = plan_of(folder)
    for name in ("break_load", "penetration"):
        path = folder / "readings" / f"{name}.csv"
        rows = list(csv.DictReader(path.read_text().splitlines()))
        for place, row in enumerate(rows):
            if row["stamp"] not in plan:
                continue
            gas = plan[row["stamp"]]["gas"]
            number = sorted(plan).index(row["stamp"])
            if name == "break_load":
                row["reading"] = f"{80 + (place * 7) % 9}"
            else:
                row["reading"] = f"{1 + (place * 5) % 7 / 10:.1f}"
                miss = number % wrong == 0
                row["guess"] = ({"mix": "CO2", "co2": "mix"}[gas]) if miss else gas
                row["reader"] = "reader 1"
        lines = [",".join(rows[0]), *(",".join(row.values()) for row in rows)]
        path.write_text("\n".join(lines) + "\n")


def test_only_blind_files_and_sheets_ask(sealed: Path) -> None:
    head = (sealed / "readings" / "penetration.csv").read_text().partition("\n")[0]
    assert head == "stamp,reading,failed_at,reader,read_on,note,guess"
    assert "guess" not in (sealed / "readings" / "break_load.csv").read_text()
    asked = "which do you think it is?"
    assert asked in (sealed / "sheets" / "read-penetration.html").read_text(encoding="utf-8")
    assert asked not in (sealed / "sheets" / "read-break_load.html").read_text(encoding="utf-8")


def test_a_leak_costs_a_step(weldtrial, sealed: Path) -> None:
    read_all(sealed, wrong=9)
    closed = weldtrial("analyse", cwd=sealed)
    assert "guessed" not in closed.out
    shown = weldtrial("analyse", "--open", "--yes", cwd=sealed)
    flat = " ".join(shown.out.split())
    assert "guessed the gas right 32 of 36 times, more than guessing gives" in flat
    assert "the blind leaked" in flat
    found = weldtrial("analyse", "--json", cwd=sealed).json
    assert found["responses"]["penetration"]["guesses"]["right"] == 32
    assert found["responses"]["break_load"]["guesses"] is None
    assert any("guessed the gas right" in words for words in found["grading"]["steps_down"])
    assert weldtrial("report", cwd=sealed).code == ExitCode.FINE
    assert "32 of 36" in (sealed / "report.html").read_text(encoding="utf-8")


def test_no_leak_speaks_for_the_blind(weldtrial, sealed: Path) -> None:
    read_all(sealed, wrong=2)
    weldtrial("analyse", "--open", "--yes", cwd=sealed)
    found = weldtrial("analyse", "--json", cwd=sealed).json
    assert any("no better than chance (18 of 36)" in one for one in found["grading"]["pluses"])
    assert not any("guessed" in one for one in found["grading"]["steps_down"])


def test_a_guess_that_is_no_gas_is_named(weldtrial, sealed: Path) -> None:
    read_all(sealed, wrong=9)
    path = sealed / "readings" / "penetration.csv"
    lines = path.read_text().splitlines()
    at = next(place for place, line in enumerate(lines) if line.endswith(",mix"))
    lines[at] = lines[at][:-3] + "mixx"
    path.write_text("\n".join(lines) + "\n")
    done = weldtrial("check", cwd=sealed)
    assert done.code == ExitCode.FIX_FILE
    assert f"row {at + 1}" in done.err
    assert "column guess: 'mixx'" in done.err
    assert "Did you mean 'mix'?" in done.err


def test_an_imported_file_may_bring_guesses(weldtrial, sealed: Path, tmp_path: Path) -> None:
    stamp = sorted(plan_of(sealed))[0]
    notes = tmp_path / "notes.csv"
    notes.write_text(f"stamp,penetration_mm,guess\n{stamp},1.2,mix\n")
    done = weldtrial("record", "penetration", "--from", notes, cwd=sealed)
    assert done.code == ExitCode.FINE, done.err
    text = (sealed / "readings" / "penetration.csv").read_text()
    assert any(line.startswith(f"{stamp},1.2") and line.endswith(",mix")
               for line in text.splitlines())  # fmt: skip


def test_guess_needs_somebody_blind_and_something_to_guess(weldtrial, tmp_path: Path) -> None:
    weldtrial("new", "b", "--for", "compare")
    path = tmp_path / "b" / "trial.toml"
    text = path.read_text(encoding="utf-8")
    asked = text.replace("codes     = true", "guess = true\ncodes     = true")
    path.write_text(asked.replace('who       = ["penetration"]', "who       = []"))
    done = weldtrial("plan", cwd=tmp_path / "b")
    assert "guess = true, but nobody reads blind" in done.err
