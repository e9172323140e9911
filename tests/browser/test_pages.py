"""Every printed page in a real browser: no complaint, nothing cut, as many sheets as it says."""

from __future__ import annotations

import contextlib
import io
import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from weldtrial.cli.main import main
from weldtrial.cli.report import render_report
from weldtrial.cli.sheet_parts import PAPERS
from weldtrial.cli.sheets import render_sheets
from weldtrial.cli.trial_cautions import fitting
from weldtrial.shared.plan import Plan
from weldtrial.shared.trial import Trial

MM = 96 / 25.4
"""Style-sheet pixels to a millimetre."""
WIDTHS_MM = {"A4": 180.0, "letter": 186.0}
SHEETS = (
    "weld.html",
    "weld-shuffled.html",
    "read-break_load.html",
    "read-penetration.html",
    "read-bend_angle.html",
    "stamps.html",
    "cut.html",
)

OVERFLOW = """() => {
  const wide = document.documentElement.clientWidth;
  return [...document.querySelectorAll('body *')].filter(one => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && (box.right > wide + 1 || box.left < -1);
  }).map(one => one.tagName + ' ' + one.className + ' ' + (one.textContent || '').slice(0, 40));
}"""
TEXT_OUTSIDE = """() => [...document.querySelectorAll('figure svg')].flatMap(svg => {
  const frame = svg.getBoundingClientRect();
  return [...svg.querySelectorAll('text')].filter(one => {
    const box = one.getBoundingClientRect();
    return box.right > frame.right + 8 || box.left < frame.left - 8
      || box.bottom > frame.bottom + 4 || box.top < frame.top - 4;
  }).map(one => one.textContent);
})"""
CUT_CELLS = """() => [...document.querySelectorAll('td, th, .name, .foot, .top')].filter(
  one => one.scrollWidth > one.clientWidth + 1).map(one => one.textContent)"""


@dataclass
class Seen:
    """An open page and what the browser complained of."""

    page: Any
    complaints: list[str] = field(default_factory=list)


def look(browser: Any, path: Path, width_mm: float, height_mm: float = 250) -> Seen:
    size = {"width": round(width_mm * MM), "height": round(height_mm * MM)}
    page = browser.new_page(viewport=size)
    seen = Seen(page)
    page.on("console", lambda said: seen.complaints.append(said.text))
    page.on("pageerror", lambda error: seen.complaints.append(str(error)))
    page.on("requestfailed", lambda asked: seen.complaints.append(asked.url))
    page.on(
        "request",
        lambda asked: None if asked.url.startswith("file:") else seen.complaints.append(asked.url),
    )
    page.goto(path.as_uri())
    page.emulate_media(media="print")
    return seen


def pages_in(pdf: bytes) -> list[tuple[float, float]]:
    """Return width and height of each page of a PDF, in points."""
    boxes = re.findall(rb"/Type\s*/Page\b[^s].*?/MediaBox\s*\[([^\]]+)\]", pdf, re.DOTALL)
    sizes = [[float(number) for number in box.split()] for box in boxes]
    return [(box[2] - box[0], box[3] - box[1]) for box in sizes]


def completely_shuffled(trial: Trial, plan: Plan) -> tuple[Trial, Plan]:
    """The same trial without set-ups, in two blocks, with a title that hardly fits."""
    factors = tuple(replace(factor, hard_to_change=False) for factor in trial.factors)
    held = tuple(replace(one, label="Gas flow at the nozzle") for one in trial.held)
    runs = tuple(
        replace(run, setup=None, round=None if run.round is None else 1 + (run.round > 3))
        for run in plan.runs
    )
    return replace(trial, factors=factors, held=held), Plan(runs)


@pytest.fixture(scope="module")
def written(invented: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the report, its short form and the sheets for both papers."""
    folder = tmp_path_factory.mktemp("pages")
    trial = invented.trial()
    plan = invented.plan(trial)
    record = invented.record(trial, plan)
    findings = invented.findings(trial, record)
    cautions = [caution.words for caution in fitting(trial)]
    for name, short in (("report", False), ("short", True)):
        html = render_report(trial, plan, record, findings, short=short, cautions=cautions)
        (folder / f"{name}.html").write_text(html, encoding="utf-8")
    for paper in PAPERS:
        (folder / paper).mkdir()
        shuffled = list(render_sheets(*completely_shuffled(trial, plan), "CODE", paper=paper))
        (folder / paper / "weld-shuffled.html").write_text(shuffled[0].html, encoding="utf-8")
        for sheet in render_sheets(trial, plan, invented.CODE, paper=paper):
            (folder / paper / sheet.name).write_text(sheet.html, encoding="utf-8")
    return folder


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("name", ["report", "short"])
def test_nothing_of_the_report_is_cut_at_print_width(
    chromium: Any, written: Path, name: str, paper: str
) -> None:
    seen = look(chromium, written / f"{name}.html", WIDTHS_MM[paper])
    assert seen.page.evaluate(OVERFLOW) == []
    assert seen.page.evaluate(TEXT_OUTSIDE) == []
    assert seen.complaints == []
    seen.page.close()


def test_the_report_fits_a_narrow_screen_too(chromium: Any, written: Path) -> None:
    seen = look(chromium, written / "report.html", 100)
    seen.page.emulate_media(media="screen")
    wide = seen.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= round(100 * MM) + 1
    seen.page.close()


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_page_1_is_one_page_on_either_paper(
    chromium: Any, written: Path, paper: str, points: tuple[int, int]
) -> None:
    seen = look(chromium, written / "short.html", WIDTHS_MM["A4"])
    found = pages_in(seen.page.pdf(format=paper, prefer_css_page_size=True))
    seen.page.close()
    assert len(found) == 1
    assert found[0] == pytest.approx(points, abs=1)


@pytest.fixture(scope="module")
def shipped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report of the shipped example, as its commands write it."""
    folder = tmp_path_factory.mktemp("shipped") / "x"
    for words in (
        ["new", str(folder), "--example", "drawbar-gas"],
        ["-C", str(folder), "analyse", "--open", "--yes", "-q"],
        ["-C", str(folder), "report"],
    ):
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            assert main(words) == 0, words
    return folder


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("whose", ["written", "shipped"])
def test_the_whole_report_prints_to_eight_pages_at_most(
    chromium: Any, request: pytest.FixtureRequest, whose: str, paper: str
) -> None:
    folder = request.getfixturevalue(whose)
    seen = look(chromium, folder / "report.html", WIDTHS_MM["A4"])
    found = pages_in(seen.page.pdf(format=paper, prefer_css_page_size=True))
    seen.page.close()
    assert 2 <= len(found) <= 8


def test_the_numbers_of_figures_are_shown_in_print(chromium: Any, shipped: Path) -> None:
    seen = look(chromium, shipped / "report.html", WIDTHS_MM["A4"])
    heights = seen.page.evaluate(
        "[...document.querySelectorAll('figure details table, .rest')]"
        ".map(one => one.getBoundingClientRect().height)"
    )
    wide = seen.page.evaluate(OVERFLOW)
    seen.page.close()
    assert len(heights) >= 15
    assert min(heights) > 0
    assert wide == []


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_prints_as_many_pages_as_it_counts(
    chromium: Any, written: Path, name: str, paper: str
) -> None:
    path = written / paper / name
    seen = look(chromium, path, 300)
    said = re.findall(r"sheet (\d+)/(\d+)", path.read_text(encoding="utf-8"))
    found = pages_in(seen.page.pdf(prefer_css_page_size=True))
    assert len(found) == len(said) == int(said[0][1])
    landscape = name.startswith("weld")
    size = PAPERS[paper]  # type: ignore[index]
    sides = (size.long_mm, size.short_mm) if landscape else (size.short_mm, size.long_mm)
    for width, height in found:
        assert width == pytest.approx(sides[0] / 25.4 * 72, abs=1.5)
        assert height == pytest.approx(sides[1] / 25.4 * 72, abs=1.5)
    assert seen.complaints == []
    seen.page.close()


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("name", SHEETS)
def test_nothing_of_a_sheet_is_cut_and_rows_are_high_enough(
    chromium: Any, written: Path, name: str, paper: str
) -> None:
    size = PAPERS[paper]  # type: ignore[index]
    width = (size.long_mm if name.startswith("weld") else size.short_mm) - 2 * size.margin_mm
    seen = look(chromium, written / paper / name, width + 0.5)
    assert seen.page.evaluate(OVERFLOW) == []
    assert seen.page.evaluate(CUT_CELLS) == []
    heights = seen.page.evaluate(
        "[...document.querySelectorAll('tbody tr')].map(one => one.getBoundingClientRect().height)"
    )
    assert all(height / MM >= 9 for height in heights)
    most = size.height_mm(landscape=name.startswith("weld"))
    sheets = seen.page.evaluate(
        "[...document.querySelectorAll('.sheet')].map(one => one.getBoundingClientRect().height)"
    )
    assert max(sheets) / MM <= most
    seen.page.close()


@pytest.mark.parametrize("name", [sheet for sheet in SHEETS if not sheet.startswith("weld")])
def test_a_reader_sees_no_gas_name(chromium: Any, written: Path, name: str) -> None:
    seen = look(chromium, written / "A4" / name, 190)
    text = seen.page.inner_text("body") + seen.page.title()
    seen.page.close()
    assert "CACC-516C-4384" in text
    assert not re.search(r"\b(mix|co2|M21|C1|25\.5|27 V)\b", text, re.IGNORECASE)


@pytest.mark.parametrize("name", ["short.html", "A4/weld.html", "A4/read-break_load.html"])
def test_what_is_written_is_legible_in_grey(chromium: Any, written: Path, name: str) -> None:
    """Text stands out from white by at least 4.5 to 1 (WCAG 2.2, criterion 1.4.3)."""
    seen = look(chromium, written / name, 280)
    colours = seen.page.evaluate(
        "[...new Set([...document.querySelectorAll('body *')].filter("
        "one => [...one.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()))"
        ".map(one => one.closest('svg') ? getComputedStyle(one).fill : getComputedStyle(one).color)"
        ")]"
    )
    seen.page.close()
    assert colours
    for colour in colours:
        parts = [int(number) / 255 for number in re.findall(r"\d+", colour)[:3]]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        light = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
        assert 1.05 / (light + 0.05) >= 4.5, colour


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
@pytest.mark.parametrize("kind", ["story", "leaflet", "folder"])
def test_a_review_prints_to_one_page(
    chromium: Any,
    tmp_path: Path,
    request: pytest.FixtureRequest,
    kind: str,
    paper: str,
    points: tuple[int, int],
) -> None:
    words = {
        "story": ["--counts", "new 3/4, before 0/12", "--what", "porous", "--thing", "spool",
                  "--say", "controls=remembered", "--say", "setups=one", "--claim",
                  "at least 20 % worse", "--margin", "10%"],
        "leaflet": ["--summary", "new 68.2 4.4 4, old 70.3 3.8 4", "--claim", "ratio 0.97",
                    "--margin", "5%", "--unit", "kN", "--step", "0.1"],
        "folder": ["--claim", "no worse", "--margin", "5"],
    }[kind]  # fmt: skip
    if kind == "folder":
        words.insert(0, str(request.getfixturevalue("shipped")))
    page = tmp_path / "review.html"
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main(["review", *words, "--out", str(page), "--no-input"]) == 0
    seen = look(chromium, page, WIDTHS_MM["A4"])
    found = pages_in(seen.page.pdf(format=paper, prefer_css_page_size=True))
    wide, outside = seen.page.evaluate(OVERFLOW), seen.page.evaluate(TEXT_OUTSIDE)
    seen.page.close()
    assert len(found) == 1
    assert found[0] == pytest.approx(points, abs=1)
    assert (wide, outside, seen.complaints) == ([], [], [])
