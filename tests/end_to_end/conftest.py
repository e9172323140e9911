"""What the tests of whole folders share: finished trials, sealed once, and copied to be spoiled."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

HERE = Path(__file__).parent


def kit() -> ModuleType:
    """Return the helpers of ``bad_folders.py``."""
    name = "weldtrial_bad_folders"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, HERE / "bad_folders.py")
        assert spec is not None
        assert spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


kit()  # the tables of the tests beside this file are written with it


@pytest.fixture(scope="session")
def finished(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Seal and fill in a trial of ``fixtures/bad_results``, once; copy it, do not write in it."""
    from weldtrial.cli.main import main

    made: dict[str, Path] = {}
    helpers = kit()
    fill = {"shop": helpers.fill, "loads": helpers.fill_loads, "looks": helpers.fill_looks}

    def one(name: str) -> Path:
        if name not in made:
            folder = tmp_path_factory.mktemp(name) / "trial"
            folder.mkdir()
            shutil.copy(root / "tests/fixtures/bad_results" / f"{name}.toml", folder / "trial.toml")
            quiet = io.StringIO()
            with contextlib.redirect_stdout(quiet), contextlib.redirect_stderr(quiet):
                assert main(["-C", str(folder), "seal", "--no-dice"]) == 0
            fill[name](helpers.opened(folder))
            made[name] = folder
        return made[name]

    return one


@pytest.fixture
def spoilt(finished: Callable[[str], Path], tmp_path: Path) -> Callable[[str], Any]:
    """Copy a finished trial by name, to be spoiled by hand."""

    def copy(name: str) -> Any:
        folder = tmp_path / name
        shutil.copytree(finished(name), folder)
        return kit().opened(folder)

    return copy
