"""Page 1 of a settings trial in a real browser: one page, also where coupons confirm a setting."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from weldtrial.cli.main import main

# One worker builds what these tests share.
pytestmark = pytest.mark.xdist_group("chosen_page")

AT = {
    "best": "gas=mix,voltage=26.6,wire_feed=8.8,travel=41",
    "other": "gas=co2,voltage=27,wire_feed=8.5,travel=40",
}


def quietly(*words: object) -> None:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main([str(one) for one in words]) == 0, words


@pytest.fixture(scope="module")
def folders(
    tmp_path_factory: pytest.TempPathFactory,
    welded_settings: Callable[[int], Path],
    settings_bench: ModuleType,
) -> Path:
    """A settings trial, and three that confirm: met, missed, and another setting than the best."""
    base = tmp_path_factory.mktemp("chosen")
    shutil.copytree(welded_settings(2), base / "old")
    for name, at in AT.items():
        quietly("-C", base / "old", "next", base / name, "--confirm", 8, "--at", at)
        quietly("-C", base / name, "seal", "--no-dice")
        settings_bench.fill(base / name, seed=5)
    shutil.copytree(base / "best", base / "missed")
    path = base / "missed" / "readings" / "break_load.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r",\d+\.\d,", ",60.0,", text), encoding="utf-8")
    return base


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["old", "best", "missed", "other"])
def test_page_1_is_one_page(chromium: Any, folders: Path, name: str, paper: str) -> None:
    page_file = folders / name / "short.html"
    quietly("-C", folders / name, "report", "--short", "--out", page_file)
    page = chromium.new_page()
    page.goto(page_file.as_uri())
    page.emulate_media(media="print")
    words = page.inner_text("body").casefold()
    assert ("prediction missed" in words) == (name == "missed")
    pdf = page.pdf(format=paper, prefer_css_page_size=True)
    page.close()
    assert len(re.findall(rb"/Type\s*/Page\b[^s]", pdf)) == 1
