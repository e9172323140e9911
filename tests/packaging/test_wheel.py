"""The wheel, built from the sdist and run away from the sources."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("shared", "doe", "analysis", "cli")
TRAVELS = (".py", ".typed", ".md", ".toml", ".csv", ".json", ".html", ".css", ".j2", ".jinja")

# One worker builds and installs; with several, each would do it again.
pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("wheel")]


def run(*command: object, cwd: Path) -> str:
    clean = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    done = subprocess.run(
        [str(one) for one in command],
        cwd=cwd,
        env=clean,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist and the wheel that was built from it."""
    folder = tmp_path_factory.mktemp("dist")
    # Without --sdist or --wheel, build makes the wheel out of the sdist it has just made.
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", folder, ROOT, cwd=folder)
    return folder


@pytest.fixture(scope="module")
def wheel(built: Path) -> Path:
    (found,) = built.glob("*.whl")
    return found


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the programs of a clean environment that holds the wheel."""
    folder = tmp_path_factory.mktemp("clean")
    venv.create(folder / "env", with_pip=True)
    programs = folder / "env" / ("Scripts" if sys.platform == "win32" else "bin")
    pip = (programs / "python", "-m", "pip", "install", "--quiet", "--disable-pip-version-check")
    run(*pip, "-c", ROOT / "constraints.txt", wheel, cwd=folder)
    return programs


def test_wheel_puts_everything_under_one_name(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.partition("/")[0] for name in names}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"weldtrial"}


def test_wheel_carries_every_module_and_page(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    wanted = {
        f"weldtrial/{path.relative_to(ROOT).as_posix()}"
        for room in ROOMS
        for path in (ROOT / room).rglob("*")
        if path.suffix in TRAVELS
    }
    wanted |= {
        f"weldtrial/cli/{path.relative_to(ROOT).as_posix()}"
        for path in (ROOT / "examples").rglob("*")
        if path.suffix in TRAVELS
    }
    assert len(wanted) > 20
    assert wanted - names == set()


def test_sdist_carries_what_a_contributor_needs(built: Path) -> None:
    (sdist,) = built.glob("*.tar.gz")
    with tarfile.open(sdist) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    for name in ("pyproject.toml", "constraints.txt", "Makefile", "README.md", "LICENSE"):
        assert name in names
    assert "tests/conftest.py" in names
    assert "DEVELOPERS.md" in names


def test_installed_command_says_its_version(installed: Path, tmp_path: Path) -> None:
    assert run(installed / "weldtrial", "--version", cwd=tmp_path) == "weldtrial 0.1.0\n"


def test_installed_code_is_not_the_checkout(installed: Path, tmp_path: Path) -> None:
    where = run(
        installed / "python", "-c", "import weldtrial.cli as it; print(it.__file__)", cwd=tmp_path
    )
    assert Path(where.strip()).is_relative_to(installed.parent)


def test_installed_pages_are_read_offline(installed: Path, tmp_path: Path) -> None:
    listed = run(installed / "weldtrial", "help", "--plain", cwd=tmp_path).splitlines()[1:]
    topics = [line.split("\t")[0] for line in listed]
    assert topics == [path.stem for path in sorted_pages(topics)]
    for topic in topics:
        assert run(installed / "weldtrial", "help", topic, cwd=tmp_path).startswith("# ")


def sorted_pages(topics: list[str]) -> list[Path]:
    """The pages of the checkout, in the order in which `topics` names them."""
    pages = (ROOT / "cli" / "help").glob("*.md")
    return sorted(pages, key=lambda page: (*topics, page.stem).index(page.stem))


def test_installed_command_starts_a_trial_from_the_example(installed: Path, tmp_path: Path) -> None:
    run(installed / "weldtrial", "new", "x", "--example", "drawbar-gas", cwd=tmp_path)
    assert (tmp_path / "x" / "trial.toml").is_file()
    run(installed / "weldtrial", "-C", "x", "plan", cwd=tmp_path)
