"""TOML that cannot be read, said in words with its line."""

from __future__ import annotations

import pytest

from weldtrial.shared.trialfile.reader import parse_trial

TROUBLE = [
    ("format = 1\n[trial]\nfirst = 25,5\n", 3, "a decimal comma", "Write  25.5."),
    ("format = 1\nfirst = True\n", 2, "yes is written true", ""),
    ("format = 1\nfirst = yes\n", 2, "yes is written true", ""),
    ("format = 1\nfirst = “x”\n", 2, "curly quotes", "Use straight ones."),
    ("format = 1\nfirst = 8 mm\n", 2, "a number with something behind it", "in unit = ..."),
    ("format = 1\nfirst = gas\n", 2, "text needs quotes", "gas"),
    ("format = 1\nfirst =\nsecond = 2\n", 2, "the value is missing", ""),
    ("format = 1\nfirst = 08\n", 2, "a number may not begin with 0", ""),
    ("format = 1\nfirst\nsecond = 2\n", 2, "needs the form  name = value", "first"),
    ("format = 1\nfirst = 1\nfirst = 2\nsecond = 3\n", 3, "set twice", "Keep one."),
    ("format = 1\n[trial]\n[trial]\n", 3, "a second time", "[[...]]"),
    ("format = 1\n[[factor]]\n[factor]\n", 3, "a second time", "[[...]]"),
    ('format = 1\nfirst = "C:\\weld"\n', 2, "a backslash", "single quotes"),
    ("format = 1\n[trial\nfirst = 1\n", 2, "section header is not closed", "[trial]"),
    ('format = 1\nlevels = ["mix", "co2"\nsecond = 1\n', 2, "a [ opens here", "before line 3"),
    ("format = 1\nfirst = { a = 1, a = 2 }\n", 2, "set twice", ""),
    ("format = 1\nfirst = [1 2]\n", 2, "a comma is missing", ""),
    ('format = 1\nfirst = """x\ny\n', 2, "a quote opens here and never closes", '"""x'),
    ("format = 1\nfirst = 'x\nsecond = 'y'\n", 2, "a quote opens here and never closes", "'x"),
    ("format = 1\n= 2\n", 2, "this cannot be read", ""),
]


@pytest.mark.parametrize(("text", "line", "words", "remedy"), TROUBLE)
def test_trouble_is_said(text: str, line: int, words: str, remedy: str) -> None:
    trial, (problem,) = parse_trial(text.encode())
    assert trial is None
    assert problem.line == line
    assert words in problem.words
    assert remedy in problem.words


def test_a_long_line_is_shortened() -> None:
    _, (problem,) = parse_trial(b"format = 1\nfirst = x" + b"y" * 500)
    assert len(problem.words) < 150
