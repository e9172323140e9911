"""Folders of bad results: a finished invented trial, spoiled by hand, and what is said of it."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

LOG = "weld_log.csv"
LOADS = "readings/break_load.csv"
DEPTHS = "readings/penetration.csv"
ANGLES = "readings/bend_angle.csv"
BENDS = "readings/bend.csv"
SPATTER = "readings/spatter.csv"


@dataclass(frozen=True, slots=True)
class Spoilt:
    """A trial folder to be spoiled by hand, cell by cell, as somebody at a spreadsheet would.

    Attributes
    ----------
    path
        The folder.
    stamps
        Coupons that count, in welding order; two to a set-up.
    spares, warm_ups
        The others.
    gas
        The gas of each stamp, empty for a spare.
    """

    path: Path
    stamps: tuple[str, ...]
    spares: tuple[str, ...]
    warm_ups: tuple[str, ...]
    gas: dict[str, str]

    def of(self, gas: str) -> tuple[str, ...]:
        """Return the counting stamps of one gas."""
        return tuple(one for one in self.stamps if self.gas[one] == gas)

    def text(self, name: str) -> str:
        return (self.path / name).read_text(encoding="utf-8")

    def write(self, name: str, text: str) -> None:
        (self.path / name).write_text(text, encoding="utf-8")

    def replace(self, name: str, old: str, new: str) -> None:
        """Change a piece of text that stands in the file once."""
        text = self.text(name)
        assert text.count(old) == 1, (name, old, text.count(old))
        self.write(name, text.replace(old, new))

    def rows(self, name: str) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(self.text(name), newline="")))

    def save(self, name: str, rows: Sequence[dict[str, str]], columns: Sequence[str] = ()) -> None:
        out = io.StringIO(newline="")
        wanted = list(columns or rows[0])
        writer = csv.DictWriter(out, wanted, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        self.write(name, out.getvalue())

    def put(self, name: str, stamp: str, *, cut: int = 1, **cells: str) -> None:
        """Type into the row (of one cut) of a stamp."""
        rows = self.rows(name)
        mine = [row for row in rows if row["stamp"] == stamp]
        assert cells.keys() <= rows[0].keys()
        mine[cut - 1].update(cells)
        self.save(name, rows)

    def every(self, name: str, stamps: Sequence[str] = (), **cells: str) -> None:
        """Type the same into every row of `stamps` (of all that count)."""
        rows = self.rows(name)
        assert cells.keys() <= rows[0].keys()
        for row in rows:
            if row["stamp"] in (stamps or self.stamps):
                row.update(cells)
        self.save(name, rows)

    def add(self, name: str, **cells: str) -> None:
        """Write one more row at the end."""
        rows = self.rows(name)
        self.save(name, [*rows, {**dict.fromkeys(rows[0], ""), **cells}])

    def row(self, name: str, stamp: str, cut: int = 1) -> int:
        """Return where a stamp stands, as a spreadsheet numbers rows."""
        found = [n for n, row in enumerate(self.rows(name), start=2) if row["stamp"] == stamp]
        return found[cut - 1]

    def bytes(self) -> dict[str, bytes]:
        """Return every file that people or the tool wrote, the report left out."""
        return {
            path.relative_to(self.path).as_posix(): path.read_bytes()
            for path in sorted(self.path.rglob("*"))
            if path.is_file() and not path.name.startswith((".", "report"))
        }


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of bad result.

    Attributes
    ----------
    name
        What went wrong, in words.
    spoil
        Spoils a finished folder; the words it returns fill the gaps of `says`.
    says
        Lines that must be printed, each whole as far as it goes: ``{row}`` and other gaps filled.
    code
        The exit code of `command`.
    command
        What a user would type.
    """

    name: str
    spoil: Callable[[Spoilt], dict[str, Any] | None]
    says: tuple[str, ...]
    code: int = 3
    command: tuple[str, ...] = ("check",)


def opened(path: Path) -> Spoilt:
    """Return a sealed folder ready to be spoiled."""
    with (path / "plan.csv").open(encoding="utf-8", newline="") as file:
        plan = list(csv.DictReader(file))

    def of_role(role: str) -> tuple[str, ...]:
        return tuple(row["stamp"] for row in plan if row["role"] == role)

    gas = {row["stamp"]: row["gas"] for row in plan}
    return Spoilt(path, of_role("count"), of_role("spare"), of_role("warm-up"), gas)


def fill(folder: Spoilt) -> None:
    """Weld and read everything, plainly and without a slip (all invented)."""
    for place, stamp in enumerate(folder.stamps):
        wave = (place * 7) % 11
        folder.put(LOG, stamp, started=f"2026-03-02 {8 + place // 2:02d}:{30 * (place % 2):02d}",
                   gas_flow_seen_L_per_min="15", amps="240", arc_s=f"{30 + wave % 4}",
                   bead_mm="200", throat_mm=f"{5.2 + 0.1 * (place % 5):.1f}",
                   plate_temp_C=f"{20 + place * place % 13}")  # fmt: skip
        folder.put(LOADS, stamp, reading=f"{78 + 0.7 * wave:.1f}", failed_at="throat",
                   read_on="2026-03-04")  # fmt: skip
        for cut in (1, 2):
            folder.put(DEPTHS, stamp, cut=cut, reading=f"{1.2 + 0.1 * ((wave + cut) % 5):.1f}",
                       reader="reader 1", read_on="2026-03-05",
                       guess=("mix", "co2")[place // 3 % 2])  # fmt: skip
        folder.put(ANGLES, stamp, reading=("70", "60", "80")[place % 3])
        folder.put(BENDS, stamp, reading="fail" if place % 4 == 1 else "pass")
        folder.put(SPATTER, stamp, reading=("some", "little", "none")[wave % 3])


def fill_loads(folder: Spoilt) -> None:
    """Weld and read the trial of loads alone."""
    for place, stamp in enumerate(folder.stamps):
        wave = (place * 7) % 11
        folder.put(LOG, stamp, started=f"2026-03-02 {8 + place // 2:02d}:{30 * (place % 2):02d}",
                   throat_mm=f"{5.2 + 0.1 * (wave % 5):.1f}",
                   plate_temp_C=f"{20 + place * place % 13}")  # fmt: skip
        folder.put(LOADS, stamp, reading=f"{78 + 0.7 * wave:.1f}")


def fill_looks(folder: Spoilt) -> None:
    """Weld and read the trial of passes and grades."""
    for place, stamp in enumerate(folder.stamps):
        folder.put(BENDS, stamp, reading="fail" if place % 4 == 1 else "pass")
        folder.put(SPATTER, stamp, reading=("some", "little", "none")[(place * 7) % 11 % 3])


CODES = (0, 3, 4, 5)
"""What a command may end with, whatever stands in the folder: our fault is not among them."""


def flat(text: str) -> str:
    """Return text on one line, as a reader takes it in."""
    return " ".join(text.split())


def gives_its_line(kind: Kind, folder: Spoilt, weldtrial: Callable[..., Any]) -> None:
    """Spoil a folder, type the command of its kind, and read what it prints."""
    gaps = kind.spoil(folder) or {}
    before = folder.bytes()
    done = weldtrial(*(word.format(**gaps) for word in kind.command), cwd=folder.path)
    said = flat(done.out + "\n" + done.err)
    for line in kind.says:
        assert flat(line.format(**gaps)) in said, f"\n{line.format(**gaps)}\nis not in\n{said}"
    assert done.code == kind.code
    assert folder.bytes() == before
    assert "Traceback" not in done.err
    assert "defect" not in done.err


def ends_as_written_down(
    folder: Spoilt, weldtrial: Callable[..., Any], codes: Sequence[int] = CODES
) -> None:
    """Ask a spoilt folder for everything: no traceback, a code that is documented, whole JSON.

    What people typed stays as it is; only the journal may grow, by opening and looking.
    """
    before = folder.bytes()
    for command in (("analyse", "--open", "--yes", "--json"), ("report",), ("check", "--json")):
        done = weldtrial(*command, cwd=folder.path)
        assert done.code in codes, (command, done.code, done.err)
        for words in ("Traceback", "defect", "RuntimeWarning"):
            assert words not in done.err
        assert done.err or done.out
        if command[-1] == "--json":
            assert done.json
            assert "NaN" not in done.out
    after = folder.bytes()
    typed = {name for name in before if name != "journal.csv"}
    assert {name: after.get(name) for name in typed} == {name: before[name] for name in typed}
