"""Shared options, before or after a command's name."""

from __future__ import annotations

from pathlib import Path

import click
import pytest

from weldtrial.cli import main as main_module
from weldtrial.cli.options import Common, common_options


@pytest.fixture
def seen(monkeypatch) -> list[Common]:
    """What a command `probe` is given."""
    found: list[Common] = []

    @click.command()
    @click.option("--strict", is_flag=True)
    @common_options
    def probe(common: Common, strict: bool) -> None:
        found.append(common)

    monkeypatch.setattr(main_module.weldtrial, "get_command", lambda context, name: probe)
    monkeypatch.delenv("NO_COLOR", raising=False)
    return found


def test_nothing_said_leaves_the_defaults(seen, weldtrial) -> None:
    assert weldtrial("probe").code == 0
    assert seen == [Common()]


@pytest.mark.parametrize(
    "line",
    [
        ["-C", "d", "--json", "probe", "--strict", "--no-input"],
        ["probe", "--no-input", "-C", "d", "--json", "--strict"],
        ["--no-input", "--folder", "d", "probe", "--json"],
    ],
)
def test_options_count_before_and_after_the_name(line, seen, weldtrial) -> None:
    assert weldtrial(*line).code == 0
    (common,) = seen
    assert common.folder == Path("d")
    assert (common.json, common.no_input, common.plain, common.quiet) == (True, True, False, False)
    assert common.console.json_only
    assert not common.console.may_ask


def test_folder_named_last_wins(seen, weldtrial) -> None:
    weldtrial("-C", "a", "probe", "-C", "b")
    assert seen[0].folder == Path("b")


def test_no_color_is_honoured(seen, weldtrial, monkeypatch) -> None:
    weldtrial("probe")
    weldtrial("probe", "--no-color")
    monkeypatch.setenv("NO_COLOR", "1")
    weldtrial("probe")
    assert [common.colour for common in seen] == [True, False, False]
    assert [common.console.colour for common in seen] == [True, False, False]


def test_nothing_leaks_into_the_next_call(seen, weldtrial) -> None:
    weldtrial("--json", "-C", "x", "probe")
    weldtrial("probe")
    assert seen[1] == Common()
