"""The settings card in a real browser: one page on either paper, its pace line to scale."""

from __future__ import annotations

import contextlib
import io
import re
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from weldtrial.cli.main import main
from weldtrial.cli.sheet_parts import PAPERS

MM = 96 / 25.4
OUTSIDE = """() => {
  const wide = document.documentElement.clientWidth;
  return [...document.querySelectorAll('body *')].filter(one => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && (box.right > wide + 1 || box.left < -1);
  }).map(one => one.tagName + ' ' + (one.textContent || '').slice(0, 40));
}"""
SPEEDS = {"usual": "travel=40", "slow": "travel=30", "fast": "travel=50"}


@pytest.fixture(scope="module")
def cards(tmp_path_factory: pytest.TempPathFactory, confirm_bench: ModuleType) -> Path:
    """Cards of three settings on both papers, one of them confirmed."""
    base = tmp_path_factory.mktemp("cards")
    (base / "base").mkdir()
    text = confirm_bench.text_of().replace("value = 120", "value = 500")
    (base / "base" / "trial.toml").write_text(text, encoding="utf-8")
    quietly("-C", base / "base", "seal", "--no-dice")
    confirm_bench.fill(base / "base")
    for name, travel in SPEEDS.items():
        at = confirm_bench.AT.replace("travel=40", travel)
        with contextlib.chdir(base):
            quietly("-C", "base", "next", name, "--confirm", 8, "--at", at)
        quietly("-C", base / name, "seal", "--no-dice")
        if name == "usual":
            confirm_bench.fill(base / name, seed=5, lower=9)
        for paper in PAPERS:
            quietly("-C", base / name, "sheets", "--only", "card", "--paper", paper)
            page = base / name / "sheets" / "card.html"
            page.rename(base / f"{name}-{paper}.html")
    return base


def quietly(*words: object) -> None:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main([str(one) for one in words]) == 0, words


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("name", SPEEDS)
def test_the_card_prints_to_one_page_and_nothing_is_cut(
    chromium: Any, cards: Path, name: str, paper: str
) -> None:
    size = PAPERS[paper]  # type: ignore[index]
    wide = round((size.short_mm - 2 * size.margin_mm + 0.5) * MM)
    page = chromium.new_page(viewport={"width": wide, "height": 900})
    said: list[str] = []
    page.on("console", lambda one: said.append(one.text))
    page.on("pageerror", lambda one: said.append(str(one)))
    page.goto((cards / f"{name}-{paper}.html").as_uri())
    page.emulate_media(media="print")
    assert page.evaluate(OUTSIDE) == []
    strips = page.evaluate(
        "[...document.querySelectorAll('svg.strip')].map(one => "
        "[...one.querySelectorAll('line.five')].map(l => l.getBoundingClientRect().left))"
    )
    travel = float(SPEEDS[name].split("=")[1])
    assert len(strips) == 3
    for marks in strips:
        for one, after in pairwise(marks):
            assert (after - one) / MM == pytest.approx(5 * travel / 6, abs=0.1)
    rule = page.evaluate("document.querySelector('svg.rule path').getBoundingClientRect().width")
    assert rule / MM == pytest.approx(50, abs=0.6)
    pdf = page.pdf(prefer_css_page_size=True)
    page.close()
    boxes = re.findall(rb"/Type\s*/Page\b[^s].*?/MediaBox\s*\[([^\]]+)\]", pdf, re.DOTALL)
    assert len(boxes) == 1
    width, height = (float(number) for number in boxes[0].split()[2:])
    assert width == pytest.approx(size.short_mm / 25.4 * 72, abs=1.5)
    assert height == pytest.approx(size.long_mm / 25.4 * 72, abs=1.5)
    assert said == []
