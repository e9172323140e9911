"""Nothing that is kept names a folder of the machine it was written on."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
# Built from pieces, so that this file does not find itself.
MACHINE_PATH = re.compile(r"(?<![\w.])/" + "(?:home|work|tmp|root|Users)" + r"/\w")


def tracked() -> list[Path]:
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("not a checkout: nothing is tracked here")
    listed = subprocess.run(
        [git, "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    return [ROOT / name for name in listed.split("\0") if name]


def test_no_tracked_file_names_a_machine_path() -> None:
    found = []
    for path in tracked():
        if not path.is_file():
            continue
        try:
            text = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        found += [
            f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
            for number, line in enumerate(text.splitlines(), 1)
            if MACHINE_PATH.search(line)
        ]
    assert found == []


@pytest.mark.parametrize("folder", ["home", "work", "tmp"])
def test_the_search_bites(folder: str) -> None:
    assert MACHINE_PATH.search(f"see /{folder}/someone/notes")
    assert not MACHINE_PATH.search(f"examples/{folder}/notes and mm/{folder}")
