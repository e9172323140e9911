"""What every test may ask for."""

from __future__ import annotations

import contextlib
import io
import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

# Two workers share two processors; threaded linear algebra would have them fight.
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ["MPLBACKEND"] = "Agg"

ROOT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder that holds the four rooms."""
    return ROOT


@pytest.fixture
def weldtrial(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Outcome]:
    """Run a command line in this process, in `cwd` (a fresh folder), with nobody to ask."""
    from weldtrial.cli.main import main

    def call(*arguments: object, cwd: Path = tmp_path, encoding: str = "utf-8") -> Outcome:
        out = io.TextIOWrapper(io.BytesIO(), encoding=encoding, write_through=True, newline="\n")
        err = io.TextIOWrapper(io.BytesIO(), encoding=encoding, write_through=True, newline="\n")
        with monkeypatch.context() as patch, contextlib.chdir(cwd):
            patch.setattr(sys, "stdout", out)
            patch.setattr(sys, "stderr", err)
            patch.setattr(sys, "stdin", io.StringIO())
            code = main([str(one) for one in arguments])
        said = [stream.buffer.getvalue().decode(encoding) for stream in (out, err)]
        return Outcome(code, *said)

    return call
