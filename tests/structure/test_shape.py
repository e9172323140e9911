"""Modules and functions short enough to read, and documented where others build on them."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("shared", "doe", "analysis", "cli")
LONGEST_MODULE = 400
LONGEST_FUNCTION = 60
MODULES = sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))
Function = ast.FunctionDef | ast.AsyncFunctionDef


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def length(function: Function) -> int:
    """Lines of a function without its docstring."""
    lines = (function.end_lineno or function.lineno) - function.lineno + 1
    first = function.body[0]
    if ast.get_docstring(function) is not None:
        lines -= (first.end_lineno or first.lineno) - first.lineno + 1
    return lines


def too_long(tree: ast.AST) -> list[str]:
    return [
        f"{node.name} has {length(node)} lines"
        for node in ast.walk(tree)
        if isinstance(node, Function) and length(node) > LONGEST_FUNCTION
    ]


def undocumented(tree: ast.Module) -> list[str]:
    public = [
        node
        for node in tree.body
        if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_")
    ]
    for owner in [node for node in public if isinstance(node, ast.ClassDef)]:
        public += [
            node
            for node in owner.body
            if isinstance(node, Function) and not node.name.startswith("_")
        ]
    return [node.name for node in public if ast.get_docstring(node) is None]


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_module_is_short(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    assert len(source.splitlines()) <= LONGEST_MODULE
    assert too_long(ast.parse(source)) == []


@pytest.mark.parametrize(
    "path", [path for path in MODULES if not name_of(path).startswith("cli")], ids=name_of
)
def test_public_names_are_documented(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "the module says nothing about itself"
    assert undocumented(tree) == []


def test_the_measures_bite() -> None:
    body = "\n".join("    x = 1" for _ in range(LONGEST_FUNCTION))
    assert too_long(ast.parse(f"def f():\n{body}")) == ["f has 61 lines"]
    assert too_long(ast.parse(f'def f():\n    """One.\n\n    Two."""\n{body[10:]}')) == []
    assert undocumented(ast.parse("def f(): ...\nclass A:\n  'Doc.'\n  def g(self): ...")) == [
        "f",
        "g",
    ]
