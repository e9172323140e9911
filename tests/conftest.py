"""What every test may ask for."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import os
import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import hypothesis
import pytest

# A busy machine is no fault of the code: no example has to be quick.
hypothesis.settings.register_profile("weldtrial", deadline=None)
# New examples are looked for at a desk; what a build says must be the same when it is run again.
hypothesis.settings.register_profile("weldtrial-build", deadline=None, derandomize=True)
hypothesis.settings.load_profile("weldtrial-build" if os.environ.get("CI") else "weldtrial")

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


@dataclass(frozen=True, slots=True)
class SealedBench:
    """A sealed trial that nobody has welded yet: its folder, its trial and its plan."""

    path: Path
    trial: Any
    plan: Any

    @property
    def stamps(self) -> list[str]:
        """Stamps of the coupons that count, in welding order."""
        return [run.stamp for run in self.plan.of_role("count")]

    def of_role(self, role: str) -> list[str]:
        return [run.stamp for run in self.plan.of_role(role)]

    def file(self, name: str) -> Path:
        return self.path / name

    def bytes(self) -> dict[str, bytes]:
        """Every file that people or the tool write, for seeing whether something changed."""
        return {
            path.relative_to(self.path).as_posix(): path.read_bytes()
            for path in sorted(self.path.rglob("*.*"))
            if path.is_file() and not path.name.startswith(".")
        }


@pytest.fixture(scope="session")
def sealed_bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """``fixtures/bench/trial.toml`` sealed without dice; copy it, do not write in it."""
    from weldtrial.cli.main import main

    folder = tmp_path_factory.mktemp("bench") / "trial"
    folder.mkdir()
    shutil.copy(ROOT / "tests" / "fixtures" / "bench" / "trial.toml", folder)
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main(["-C", str(folder), "seal", "--no-dice"]) == 0
    return folder


@pytest.fixture
def bench(tmp_path: Path, sealed_bench: Path) -> SealedBench:
    """A sealed trial in a folder of its own."""
    from weldtrial.shared.plancsv import read_plan
    from weldtrial.shared.trialfile import load_trial

    folder = tmp_path / "trial"
    shutil.copytree(sealed_bench, folder)
    trial = load_trial(folder / "trial.toml")
    return SealedBench(folder, trial, read_plan(folder / "plan.csv", trial))


def _fixture_module(name: str) -> ModuleType:
    path = ROOT / "tests" / "fixtures" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(f"weldtrial_{name}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def invented() -> ModuleType:
    """The module `fixtures/invented.py`: a trial with plan, record and findings to show."""
    return _fixture_module("invented")


@pytest.fixture(scope="session")
def listed_trials() -> ModuleType:
    """The module `fixtures/listed_trials.py`: trials whose designs list their coupons."""
    return _fixture_module("listed_trials")


@pytest.fixture(scope="session")
def confirm_bench() -> ModuleType:
    """The module `fixtures/confirm_bench.py`: an invented bench whose truth is known."""
    return _fixture_module("confirm_bench")


@pytest.fixture(scope="session")
def settings_bench() -> ModuleType:
    """The module `fixtures/settings_bench.py`: settings trials whose true surfaces are known."""
    return _fixture_module("settings_bench")


@pytest.fixture(scope="session")
def welded_settings(
    tmp_path_factory: pytest.TempPathFactory, settings_bench: ModuleType
) -> Callable[[int], Path]:
    """Make a settings trial with one to three gases, welded, read and opened; read only."""
    from weldtrial.cli.main import main
    from weldtrial.shared.journal import note

    base, made = tmp_path_factory.mktemp("settings"), {}
    sizes = {1: (20, 8), 2: (40, 8), 3: (48, 12)}

    def make(gases: int) -> Path:
        if gases in made:
            return made[gases]
        folder = base / f"gases{gases}"
        folder.mkdir()
        text = settings_bench.text_of(gases, *sizes[gases])
        (folder / "trial.toml").write_text(text, encoding="utf-8")
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            assert main(["-C", str(folder), "seal", "--no-dice"]) == 0
        settings_bench.fill(folder)
        note(folder, "opened", "by a test", who="")
        made[gases] = folder
        return folder

    return make
