"""The reference page of the trial file, held against the schema that the reader uses."""

from __future__ import annotations

import re
import textwrap
import tomllib
from collections.abc import Iterator

import pytest

from weldtrial.cli.trial_page import PAGE, default_words, page
from weldtrial.shared.schema import SECTIONS
from weldtrial.shared.setting import Key, Section
from weldtrial.shared.trialfile.reader import parse_trial
from weldtrial.shared.unit_names import KNOWN_UNITS

TEXT = PAGE.read_text(encoding="utf-8")


def entries(section: Section) -> list[tuple[str, str]]:
    """Every setting the page lists under a section, and what it says of it, on one line."""
    header = re.escape(section.header)
    found = re.search(rf"^## {header}(?: [^\n]*)?\n(.*?)^## ", TEXT, re.M | re.S)
    assert found, section.header
    bullets = re.findall(r"^ *- `(\w+)` \((.*?)(?=^ *- |\n\n|\Z)", found[1], re.M | re.S)
    return [(name, " ".join(words.split())) for name, words in bullets]


def keys_of(keys: tuple[Key, ...]) -> Iterator[Key]:
    for key in keys:
        yield key
        yield from keys_of(key.keys)


def test_page_is_what_the_schema_gives() -> None:
    assert page() == TEXT, "write it again:  python -m weldtrial.cli.trial_page"


@pytest.mark.parametrize("section", SECTIONS, ids=lambda section: section.name)
def test_every_setting_stands_there_and_nothing_else(section: Section) -> None:
    assert [name for name, _ in entries(section)] == [key.name for key in keys_of(section.keys)]


@pytest.mark.parametrize("section", SECTIONS, ids=lambda section: section.name)
def test_settings_are_said_with_what_they_may_be(section: Section) -> None:
    for key, (_, said) in zip(keys_of(section.keys), entries(section), strict=True):
        for choice in key.choices:
            later = " (later)" if choice in key.later_choices else ""
            assert f'"{choice}"{later}' in said
        assert key.range_words in said
        assert " ".join(key.form.split()) in said
        assert " ".join(key.meaning.split()) in said
        assert ("compulsory)" in said) >= key.required
        if key.default not in (None, ""):
            assert f"without it {default_words(key)}" in said


def test_every_unit_stands_there() -> None:
    for unit in KNOWN_UNITS:
        assert f"`{unit.symbol}`" in TEXT


def code_blocks() -> list[str]:
    blocks = re.findall(r"\n\n((?:(?:    .*)?\n)+)", TEXT)
    return [textwrap.dedent(block) for block in blocks if block.strip()]


def test_examples_on_the_page_are_toml_and_the_whole_one_reads_without_a_word() -> None:
    blocks = code_blocks()
    assert len(blocks) == 4
    for block in blocks:
        tomllib.loads(block)
    trial, problems = parse_trial(blocks[-1].encode())
    assert trial is not None
    assert problems == ()
