"""The import rule, read off the syntax trees: cli > (doe | analysis) > shared."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("shared", "doe", "analysis", "cli")
MAY_IMPORT = {
    "shared": {"shared"},
    "doe": {"doe", "shared"},
    "analysis": {"analysis", "shared"},
    "cli": {"cli", "doe", "analysis", "shared"},
}
HEAVY = {"numpy", "pandas", "scipy", "statsmodels", "matplotlib", "pyDOE3", "pint"}
TERMINAL = {"click", "rich", "jinja2"}
OPENS_FILES = {
    "open", "read_text", "write_text", "read_bytes", "write_bytes", "read_csv", "to_csv",
    "savefig", "loadtxt", "savetxt", "print",
}  # fmt: skip


def modules(*rooms: str) -> list[Path]:
    return sorted(path for room in rooms for path in (ROOT / room).rglob("*.py"))


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def imported(node: ast.AST) -> Iterator[str]:
    """Every module that an import statement names, in full."""
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        if node.level:
            yield "." * node.level + (node.module or "")
        elif node.module == "weldtrial":
            yield from (f"weldtrial.{alias.name}" for alias in node.names)
        else:
            yield node.module or ""


def all_imports(tree: ast.AST) -> list[str]:
    return [name for node in ast.walk(tree) for name in imported(node)]


def start_up_imports(node: ast.AST) -> Iterator[str]:
    """Imports that run when the module is imported: not in functions, nor for type checkers."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            continue
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
            for other in child.orelse:
                yield from imported(other)
                yield from start_up_imports(other)
            continue
        yield from imported(child)
        yield from start_up_imports(child)


def room_problems(room: str, source: str) -> list[str]:
    """What a module of `room` does that its room may not."""
    tree = ast.parse(source)
    names = all_imports(tree)
    found = [f"relative import {name}" for name in names if name.startswith(".")]
    for name in names:
        top, _, rest = name.partition(".")
        if top in ROOMS:
            found.append(f"bare import {name}")
        if top == "weldtrial" and rest.partition(".")[0] not in MAY_IMPORT[room]:
            found.append(f"{room} imports {name}")
        if top in TERMINAL and room != "cli":
            found.append(f"{room} imports {name}")
    if room in ("cli", "shared"):
        early = {name for name in start_up_imports(tree) if name.partition(".")[0] in HEAVY}
        found += [f"imports {name} at start-up" for name in sorted(early)]
    if room in ("doe", "analysis"):
        found += [f"calls {name}" for name in called(tree) if name in OPENS_FILES]
    return found


def called(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name):
                yield node.func.id
            elif isinstance(node.func, ast.Attribute):
                yield node.func.attr


@pytest.mark.parametrize("path", modules(*ROOMS), ids=name_of)
def test_module_keeps_to_its_room(path: Path) -> None:
    room = path.relative_to(ROOT).parts[0]
    assert room_problems(room, path.read_text(encoding="utf-8")) == []


def test_one_module_of_doe_alone_knows_pydoe3() -> None:
    knowing = [
        name_of(path)
        for path in modules(*ROOMS)
        if any(
            name.partition(".")[0] == "pyDOE3"
            for name in all_imports(ast.parse(path.read_text(encoding="utf-8")))
        )
    ]
    assert len(knowing) <= 1, knowing
    assert all(name.startswith("doe/") for name in knowing)


@pytest.mark.parametrize(
    ("room", "source", "problem"),
    [
        ("doe", "import shared", "bare import shared"),
        ("doe", "from shared.trial import Trial", "bare import shared.trial"),
        ("doe", "from . import x", "relative import ."),
        ("doe", "def f():\n from weldtrial.analysis import fit", "doe imports weldtrial.analysis"),
        ("analysis", "from weldtrial import doe", "analysis imports weldtrial.doe"),
        ("shared", "import weldtrial.cli.main", "shared imports weldtrial.cli.main"),
        ("doe", "def f():\n import click", "doe imports click"),
        ("cli", "try:\n import numpy.linalg\nexcept E: pass", "imports numpy.linalg at start-up"),
        ("shared", "class A:\n import pint", "imports pint at start-up"),
        ("analysis", "def f():\n print(1)", "calls print"),
        ("doe", "def f(p):\n return p.read_text()", "calls read_text"),
    ],
)
def test_the_rule_bites(room: str, source: str, problem: str) -> None:
    assert room_problems(room, source) == [problem]


@pytest.mark.parametrize(
    ("room", "source"),
    [
        ("cli", "def f():\n import numpy"),
        ("shared", "if TYPE_CHECKING:\n    import pandas"),
        ("doe", "import numpy\nfrom weldtrial.shared.trial import Trial"),
    ],
)
def test_the_rule_allows(room: str, source: str) -> None:
    assert room_problems(room, source) == []
