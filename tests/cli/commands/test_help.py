"""The reference pages, listed and read offline."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
PAGES = sorted((ROOT / "cli" / "help").glob("*.md"))


def test_every_page_is_listed_with_its_summary(weldtrial) -> None:
    out = " ".join(weldtrial("help").out.split())
    listed = {row["name"]: row for row in weldtrial("help", "--json").json["topics"]}
    assert set(listed) == {page.stem for page in PAGES}
    for page in PAGES:
        summary = listed[page.stem]["summary"]
        assert f"weldtrial help {page.stem} {summary}" in out


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_page_is_shown_whole_and_begins_as_agreed(page: Path, weldtrial) -> None:
    text = page.read_text(encoding="utf-8")
    title, dash, summary = text.partition("\n")[0].partition(" — ")
    assert title.startswith("# ")
    assert dash
    assert summary
    assert weldtrial("help", page.stem).out.rstrip() == text.rstrip()
    assert max(len(line) for line in text.splitlines()) <= 100


def test_page_on_the_words_is_found_by_name(weldtrial) -> None:
    assert weldtrial("help", "json", "--json").json["name"] == "json"


@pytest.mark.parametrize(("typed", "meant"), [("jsn", "json"), ("chek", "check")])
def test_unknown_page_suggests_the_nearest(typed, meant, weldtrial) -> None:
    done = weldtrial("help", typed)
    assert (done.code, done.out) == (2, "")
    assert done.err.splitlines()[0] == f"No page '{typed}'. Did you mean  weldtrial help {meant} ?"


@pytest.mark.parametrize("name", ["plough", "xyzzy"])
def test_neither_page_nor_command_points_at_the_list(name, weldtrial) -> None:
    done = weldtrial("help", name)
    assert done.code == 2
    assert "All pages:  weldtrial help" in done.err


def test_help_on_a_command_is_the_help_of_that_command(weldtrial) -> None:
    assert weldtrial("help", "help").out == weldtrial("help", "--help").out
