"""Lines of a TOML text, against texts whose lines are known by the way they were built."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.toml_lines import first_open, key_lines

TEXT = """\
format = 1
[trial]
title = "a # b" # "c
[[factor]]
levels = [
  "mix", # ]
  "co2",
]
  [factor.about]
  mix = { a = "M21", b = [1,
  2] }
[[factor]]
name = \"\"\"two
lines\"\"\"
low_high = { mix = [24.3, 27.3] }
  [factor.at]
  "x y".z = '}'
[design]
rounds = 6
"""


def test_lines_of_every_kind_of_value() -> None:
    tomllib.loads(TEXT)
    lines = key_lines(TEXT)
    assert {path: lines[path] for path in lines if not path[-1].isdigit()} == {
        "format": 1,
        "trial": 2,
        "trial.title": 3,
        "factor": 4,
        "factor.0.levels": 5,
        "factor.0.about": 9,
        "factor.0.about.mix": 10,
        "factor.0.about.mix.a": 10,
        "factor.0.about.mix.b": 10,
        "factor.1.name": 13,
        "factor.1.low_high": 15,
        "factor.1.low_high.mix": 15,
        "factor.1.at": 16,
        "factor.1.at.x y": 17,
        "factor.1.at.x y.z": 17,
        "design": 18,
        "design.rounds": 19,
    }
    assert lines["factor.1"] == 12
    assert lines["factor.0.levels.1"] == 7
    assert lines["factor.0.about.mix.b.1"] == 11


VALUES = st.sampled_from(
    ["1", '"x"', "'#'", '"\\"]"', '"""\n\n]"""', "'''\n[a]\n'''", "[1,\n# }\n2]", "{ q = [1] }",
     "[[1],\n[2]]", '""', "''", '"""a\\"""" """', "1979-05-27", "[\n]", "{}", "true # = [", '"="']
)  # fmt: skip
BLANKS = st.sampled_from(["", "# [x] = 1\n", "\n\n", "  ", "\t"])
PIECES = st.lists(
    st.tuples(st.sampled_from(["key", "table", "array"]), BLANKS, VALUES), max_size=12
)


@given(PIECES)
def test_lines_of_any_text_put_together_from_pieces(
    pieces: list[tuple[str, str, str]],
) -> None:
    text, table, entries, expected = "", "", -1, {}
    for number, (what, blank, value) in enumerate(pieces):
        text += blank
        line = text.count("\n") + 1
        if what == "key":
            path = f"{table}k{number}"
            text += f"k{number} = {value}\n"
        elif what == "table":
            path = f"t{number}"
            text += f"[t{number}]\n"
            table = f"t{number}."
        else:
            entries += 1
            path = f"many.{entries}"
            text += "[[many]]\n"
            table = f"many.{entries}."
        expected[path] = line
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    lines = key_lines(text)
    assert {path: lines.get(path) for path in expected} == expected


@given(st.text(max_size=200))
def test_no_text_upsets_the_scanner(text: str) -> None:
    assert all(line >= 1 for line in key_lines(text).values())
    first_open(text)


@pytest.mark.parametrize(
    ("text", "mark", "line"),
    [
        ('a = 1\nb = "x\nc = 2', '"', 2),
        ("a = '''x\ny", "'''", 1),
        ('a = """x\ny"', '"""', 1),
        ("a = 1\nb = [1,\n  [2, 3],\n", "[", 2),
        ("b = { c = [1, 2\n", "[", 1),
        ("b = { c = [1, 2]\n", "{", 1),
        ("# it's fine\nb = \"it's\"\n[c]\n", None, None),
    ],
)
def test_what_is_still_open(text: str, mark: str | None, line: int | None) -> None:
    found = first_open(text)
    assert (found and found.mark, found and found.line) == (mark, line)
