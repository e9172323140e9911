"""Start-up is guarded by which modules a fresh process has loaded, not by a stop-watch."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from weldtrial.cli.main import COMMANDS

ALLOWED = {"click", "weldtrial", "colorama", "filelock"}
PROBE = """
import json, sys
before = set(sys.modules)
from weldtrial.cli.main import main
code = main(sys.argv[1:])
new = {name.partition(".")[0] for name in set(sys.modules) - before}
print("\\n@" + json.dumps([code, sorted(new - set(sys.stdlib_module_names))]))
"""


def loaded_by(*arguments: str) -> tuple[int, set[str], str]:
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *arguments], capture_output=True, text=True, check=False
    )
    out, _, last = done.stdout.rpartition("\n@")
    assert last, done.stderr
    code, names = json.loads(last)
    return code, set(names), out


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], [], ["help"], ["help", "help"]])
def test_reading_help_loads_nothing_heavy(arguments: list[str]) -> None:
    code, names, _ = loaded_by(*arguments)
    assert code == 0
    assert names <= ALLOWED


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_a_command_loads_nothing_heavy(name: str) -> None:
    code, names, out = loaded_by(name, "--help")
    assert code == 0
    assert names <= ALLOWED
    for option in ("--folder", "--json", "--plain", "--no-input", "--quiet", "--debug", "--help"):
        assert option in out


def test_the_probe_would_notice() -> None:
    _, names, _ = loaded_by("anaylse")
    assert "weldtrial" in names
    probe = PROBE.replace("new =", "import numpy\nnew =")
    done = subprocess.run(
        [sys.executable, "-c", probe, "--version"], capture_output=True, text=True, check=True
    )
    assert "numpy" in done.stdout
