"""The report: page 1 stands alone, the sections stand in order, the words never overclaim."""

from __future__ import annotations

import csv
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from weldtrial.analysis.findings import Findings, Verdict
from weldtrial.analysis.verdict_words import BRIEFLY
from weldtrial.cli.report import render_report
from weldtrial.cli.report_blocks import Heading, Section, Table, Text, table
from weldtrial.cli.trial_cautions import fitting
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import NotEnough, Problem
from weldtrial.shared.record import JournalLine, Record
from weldtrial.shared.trial import Trial

BANNED = (
    "proves",
    "no difference",
    "identical",
    "same strength",
    "significant",
    "significantly",
    "trend towards",
    "as strong as",
    "safe",
    "approved",
    "guaranteed",
)
TITLES = (
    "Answer",
    "How far to trust it",
    "What was asked and fixed beforehand",
    "What was done",
    "What was found",
    "Trade-offs and settings",
    "Checks and what they turned up",
    "Other ways of looking",
    "What this cannot tell you",
    "Next welds",
    "All readings",
    "Methods, for a statistician",
    "Corrections",
    "How to run this again",
)
AMENDED = "CODE; seal 00ff; amendment 11ee; margin 5 → 8; readings in: 3; welded: 4; why: a slip"
VOID = {"meta", "link", "br", "path", "use"}


class Page(HTMLParser):
    """Text, headings and attributes of a page; complains of tags that do not close."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.text: list[str] = []
        self.headings: list[str] = []
        self.svgs: list[dict[str, str | None]] = []
        self.figures = 0
        self.identifiers: list[str] = []
        self.open: list[str] = []
        self.feed(html)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        if said.get("id"):
            self.identifiers.append(str(said["id"]))
        if tag == "svg":
            self.svgs.append(said)
        self.figures += tag == "figure"
        if tag == "h2":
            self.headings.append("")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if dict(attrs).get("id"):
            self.identifiers.append(str(dict(attrs)["id"]))

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" in self.open:
            return
        if "h2" in self.open:
            self.headings[-1] += data
        if data.strip():
            self.text.append(" ".join(data.split()))

    @property
    def words(self) -> str:
        return " ".join(self.text)


@pytest.fixture(scope="module")
def trial(invented: ModuleType) -> Trial:
    return invented.trial()


@pytest.fixture(scope="module")
def plan(invented: ModuleType, trial: Trial) -> Plan:
    return invented.plan(trial)


@pytest.fixture(scope="module")
def record(invented: ModuleType, trial: Trial, plan: Plan) -> Record:
    return invented.record(trial, plan)


@pytest.fixture(scope="module")
def findings(invented: ModuleType, trial: Trial, record: Record) -> Findings:
    return invented.findings(trial, record)


@pytest.fixture(scope="module")
def html(trial: Trial, plan: Plan, record: Record, findings: Findings) -> str:
    cautions = [caution.words for caution in fitting(trial)]
    return render_report(
        trial, plan, record, findings, cautions=cautions, written="2026-06-14T21:00:00+02:00"
    )


def first_page(html: str) -> str:
    found = re.search(r'<section class="first">.*?</section>', html, re.DOTALL)
    assert found is not None
    return " ".join(re.sub(r"<[^>]+>", " ", found.group()).split())


# ------------------------------------------------------------------ form


def test_it_is_one_file_without_scripts_or_addresses(html: str) -> None:
    page = Page(html)
    assert html.startswith("<!doctype html>")
    assert "<script" not in html
    assert "javascript" not in html.lower()
    assert not re.search(r"https?:|//[a-z]|\bsrc=|@import|<link", html)
    assert len(set(page.identifiers)) == len(page.identifiers)


def test_it_is_the_same_but_for_the_time(
    html: str, trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    again = render_report(
        trial,
        plan,
        record,
        findings,
        cautions=[caution.words for caution in fitting(trial)],
        written="2030-01-01T00:00:00+00:00",
    )
    assert again != html
    assert again.replace("2030-01-01 00:00 +00:00", "2026-06-14 21:00 +02:00") == html


def test_sections_stand_in_order(html: str) -> None:
    found = [re.sub(r"\s+", " ", heading).strip() for heading in Page(html).headings]
    assert [heading.partition(" ")[0] for heading in found] == [str(n) for n in range(1, 15)]
    for heading, title in zip(found, TITLES, strict=True):
        assert heading.partition(" ")[2].startswith(title)


def test_every_figure_has_alt_text_and_its_numbers(html: str) -> None:
    page = Page(html)
    assert len(page.svgs) == page.figures == 1 + 3 * 5
    for svg in page.svgs:
        assert svg["role"] == "img"
        assert len(svg["aria-label"] or "") > 40
    figures = re.findall(r"<figure>.*?</figure>", html, re.DOTALL)
    assert len(figures) == page.figures - 1
    for figure in figures:
        assert "<table>" in figure or 'href="#s11"' in figure
    assert html.count("<details open>") == 3 * 4
    for numbers in re.findall(r"<details open>.*?</details>", html, re.DOTALL):
        assert "<table>" in numbers
    # The strip of page 1 stands beside the answer box and, again, the tables of section 5.
    assert html.count("one-sided 95 % limits</th>") == 3


def test_it_sets_no_paper_size(html: str) -> None:
    assert "@page" in html
    assert not re.search(r"(?<![-\w])size:", html)


# ------------------------------------------------------------------ page 1


def test_page_1_stands_alone(html: str) -> None:
    page = first_page(html)
    for words in (
        "Cheaper gas on 8 mm drawbar fillets",
        "sealed CACC-516C-4384",
        "May CO2 (C1) replace the M21 mix",
        "Shown: co2 is no worse than mix by more than 5 kN.",
        "Not settled: this trial is too small to say.",
        "second; not what this trial was sized for",
        "How far to trust it: Fair",
        "hand welding by someone who knew the gas",
        "Was the gauge checked?",
        "Applies to",
        "T-joint, single fillet",
        "What would change it",
        "6 rounds · 12 set-ups · 48 coupons, 48 used · 0 lost · 1 set aside · 1 correction "
        "(codes closed)",
        "not a procedure or welder qualification to any code",
        "responsible welding engineer",
        "INVENTED DATA",
    ):
        assert words in page, words


def test_short_is_page_1_only(
    trial: Trial, plan: Plan, record: Record, findings: Findings, html: str
) -> None:
    short = render_report(trial, plan, record, findings, short=True)
    assert first_page(short) == first_page(html)
    assert len(Page(short).headings) == 2
    assert len(Page(short).svgs) == 1


def test_the_banner_is_for_invented_data_only(
    trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    real = replace(trial, owner="the trailer shop")
    assert "INVENTED" not in render_report(real, plan, record, findings, short=True)


def test_other_ways_that_read_otherwise_stand_on_page_1(
    trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    first = findings.responses[0]
    ways = tuple(
        replace(first.alternatives[0], name=f"without round {n}", words="", code="not_settled")
        for n in (2, 5)
    )
    changed = replace(
        findings, responses=(replace(first, alternatives=ways), *findings.responses[1:])
    )
    page = first_page(render_report(trial, plan, record, changed, short=True))
    assert "without round 2, without round 5: not settled" in page


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("amended", "AMENDED AFTERWARDS"),
        ("late", "LATE: results were already in"),
        ("none", "NOT SEALED"),
    ],
)
def test_the_state_of_the_seal_is_on_page_1(
    trial: Trial, plan: Plan, record: Record, findings: Findings, state: Any, words: str
) -> None:
    found = replace(findings, seal_state=state)
    assert words in first_page(render_report(trial, plan, record, found, short=True))


def test_opening_early_amending_and_sealing_twice_are_on_page_1(
    trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    journal = (
        JournalLine("2026-06-12T10:00:00+02:00", "tester", "amended", AMENDED, ""),
        JournalLine("2026-06-13T10:00:00+02:00", "tester", "opened-early", "22 of 36 in", ""),
    )
    warnings = [
        Problem("this folder was sealed 2 times", file="journal.csv", warning=True),
        Problem("X4N second cut missing", file="readings/penetration.csv", warning=True),
    ]
    html = render_report(trial, plan, replace(record, journal=journal), findings, warnings=warnings)
    page = first_page(html)
    assert "opened early (2026-06-13 10:00 +02:00): 22 of 36 in" in page
    assert "Amended after sealing (2026-06-12 10:00 +02:00): margin 5 → 8; readings in: 3" in page
    assert "this folder was sealed 2 times" in page
    assert "X4N" not in page
    assert "X4N second cut missing" in html
    assert "margin 5 → 8" in html


# ------------------------------------------------------------------ the sections


def section(html: str, number: int) -> str:
    found = re.search(rf'<section id="s{number}">.*?</section>', html, re.DOTALL)
    assert found is not None
    return " ".join(re.sub(r"<[^>]+>", " ", found.group()).split())


def test_what_was_fixed_is_quoted_word_for_word(html: str, trial: Trial) -> None:
    said = section(html, 3)
    for words in (
        trial.rules.lost,
        trial.rules.leave_out,
        trial.rules.stop,
        "5 kN is 6 % of the drawbar",
        "miss the truth about 1 time in 20",
        "no gas first in more than 4 of 6 rounds",
        "co2 / mix = 0.97",
    ):
        assert words.replace("'", "&#39;") in said, words


def test_every_loss_is_named(html: str, record: Record) -> None:
    said = section(html, 4)
    assert f"{record.coupons[15].stamp} Angle at first crack over 3 mm slipped in the jig" in said
    assert "nozzle blocked" in said
    assert "planned 24 welded 24 tested 24" in said


def test_the_deciding_response_comes_first(html: str) -> None:
    said = section(html, 5)
    places = [said.index(words) for words in ("(decides)", "(second;", "(third;")]
    assert places == sorted(places)


def test_p_stands_in_the_methods_only(html: str) -> None:
    for number in (3, 4, 5, 6, 7, 8, 9, 10, 11, 13, 14):
        assert not re.search(r"\bp\s*(=|<|value\b)", section(html, number)), number
        assert "0.340" not in section(html, number)
    methods = section(html, 12)
    assert "0.340" in methods
    assert "8 of 50 orders" in methods
    assert "set-up −0.3, coupon 9.1" in methods
    assert "statsmodels" in methods


def test_all_readings_are_there_with_corrections_and_losses(html: str, record: Record) -> None:
    said = section(html, 11)
    for coupon in record.coupons:
        for readings in coupon.readings.values():
            assert all(reading.text in said for reading in readings)
        assert coupon.stamp in said
    corrected = section(html, 13)
    assert "8.07 80.7 decimal point slipped closed" in corrected


def columns_of(html: str, number: int) -> dict[str, list[str]]:
    """Return the last table of a section as its columns, of a repeated header the first."""
    found = re.search(rf'<section id="s{number}">.*?</section>', html, re.DOTALL)
    assert found is not None
    rows = [
        [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<t[hd][^>]*>.*?</t[hd]>", row)]
        for row in re.findall(r"<tr>.*?</tr>", found.group().replace("\n", ""))
    ]
    columns: dict[str, list[str]] = {}
    for header, *cells in zip(*rows, strict=True):
        columns.setdefault(header, cells)
    return columns


def test_what_the_figures_drew_of_each_coupon_stands_with_its_readings(
    html: str, findings: Findings
) -> None:
    found = columns_of(html, 11)
    for response in findings.responses:
        name = response.name.replace("_", " ")
        for words in (f"{name}, {response.unit}", f"{name} left over"):
            assert '<a href="#s11">The numbers' in html
            assert f"column {words}." in html
        left = dict(zip(found["stamp"], found[f"{name} left over"], strict=True))
        for coupon in response.coupons:
            shown = float(left[coupon.stamp].replace("\N{MINUS SIGN}", "-"))
            assert shown == pytest.approx(coupon.residual, abs=0.501 * 10.0 ** -_decimals(left))
        unused = set(left) - {coupon.stamp for coupon in response.coupons}
        assert all(left[stamp] == "" for stamp in unused)


def _decimals(cells: dict[str, str]) -> int:
    return max(len(cell.partition(".")[2]) for cell in cells.values())


def test_a_mean_stands_only_where_it_is_not_the_reading(html: str) -> None:
    found = columns_of(html, 11)
    assert any(found["mean"])
    for cell, mean in zip(found["penetration, mm"], found["mean"], strict=True):
        assert not mean or "," in cell, (cell, mean)


def test_cautions_are_printed(html: str, trial: Trial) -> None:
    said = section(html, 10)
    for caution in fitting(trial):
        assert caution.words.replace("'", "&#39;") in said


def test_section_6_says_why_it_is_empty(
    html: str, trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    assert "Not part of this trial" in section(html, 6)
    settings = render_report(replace(trial, purpose="settings"), plan, record, findings)
    assert "No map of settings was worked out" in section(settings, 6)


# ------------------------------------------------------------------ words


def many(invented: ModuleType, findings: Findings) -> Iterator[Findings]:
    """Findings of every verdict code, seal state and grade, with and without their parts."""
    first = findings.responses[0]
    codes = [*BRIEFLY, None]
    for number, code in enumerate(codes):
        verdict = Verdict(code, None, f"The sentence of {code}.", ("A line.",))  # type: ignore[arg-type]
        compared = invented.comparison(-1.0 * number, 2.0, 5.0 if number % 2 else None, verdict)
        if code == "cannot_tell":
            compared = replace(
                compared, difference=None, percent=None, se=None, df=None, ci_low=None,
                ci_high=None, ci90_low=None, ci90_high=None, p=None, ratio=None,
            )  # fmt: skip
        other = replace(first.alternatives[0], code=code or "not_settled")
        # Figures take a second each; their captions are looked at in whole reports.
        coupons = first.coupons if number == 0 else ()
        response = replace(first, comparisons=(compared,), alternatives=(other,), coupons=coupons)
        grade = replace(
            findings.grade,
            code=("strong", "fair", "weak", "anecdote", "cannot_be_judged")[number % 5],
        )
        state = ("sealed", "amended", "late", "none")[number % 4]
        yield replace(findings, responses=(response,), grade=grade, seal_state=state)
    bare = replace(
        first, comparisons=(), alternatives=(), checks=(), warnings=(), means=(), effects=(),
        coefficients=(), tests=(), least_squares=None, setups_total=None, method="least-squares",
        round_gaps={}, shuffle_p=None, coupons=(),
    )  # fmt: skip
    yield replace(findings, responses=(bare,), flow=(), set_aside=(), notes=())
    yield replace(findings, responses=(), flow=(), set_aside=(), notes=())


def test_no_report_ever_overclaims(
    invented: ModuleType, trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    cautions = [caution.words for caution in fitting(trial)]
    seen = 0
    every = (findings, *many(invented, findings))
    for found in every:
        words = Page(render_report(trial, plan, record, found, cautions=cautions)).words.lower()
        # An etchant's papers are called by their name; the name claims nothing of a weld.
        words = words.replace("safety data sheet", "")
        for banned in BANNED:
            assert not re.search(rf"\b{re.escape(banned)}\b", words), banned
        seen += 1
    assert seen == len(BRIEFLY) + 4


def test_a_verdict_without_numbers_prints_none(
    invented: ModuleType, trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    found = next(many(invented, findings))
    assert found.responses[0].comparisons[0].difference is None
    html = render_report(trial, plan, record, found)
    assert "None" not in Page(html).words
    assert not re.search(r"\bnan\b", Page(html).words)


def test_closed_codes_have_no_report(
    trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    closed = replace(findings, codes_open=False, responses=())
    with pytest.raises(NotEnough, match="still closed"):
        render_report(trial, plan, record, closed)


def test_text_from_the_trial_is_escaped(
    trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    nasty = "<script>alert('x')</script>"
    odd = replace(trial, title=nasty, question=nasty, owner=nasty)
    html = render_report(odd, plan, record, replace(findings, scope=nasty))
    assert "<script" not in html
    Page(html)


# ------------------------------------------------------------------ tables


def test_numbers_stand_right_and_empty_columns_go() -> None:
    found = table(("stamp", "gap", "interval", "none"), [("A2H", "−1.2", "−4.1 to +1.7", "")])
    assert found.headers == ("stamp", "gap", "interval")
    assert found.right == (False, True, True)


@pytest.mark.parametrize("count", [1, 5, 6, 48, 49, 50])
def test_folding_keeps_every_row_once(count: int) -> None:
    rows = tuple((str(n), "A2H") for n in range(count))
    pieces = Table(("run", "stamp"), rows).pieces
    assert tuple(row for piece in pieces for row in piece) == rows
    assert len(pieces) == (1 if count <= 5 else 3)


def test_a_stretch_across_takes_its_heading_with_it() -> None:
    narrow, wide = Text("words"), table(("stamp",), [("A2H",)], wide=True)
    blocks = (narrow, Heading("above a table"), wide, Heading("above words"), narrow)
    found = Section(3, "title", blocks).stretches
    assert [(across, len(parts)) for across, parts in found] == [(False, 1), (True, 2), (False, 2)]
    assert tuple(part for _, parts in found for part in parts) == blocks


# ------------------------------------------------------------------ the command


@pytest.fixture
def read_trial(weldtrial: Callable[..., Any], bench: Any) -> Path:
    """A sealed trial with every reading in and the codes open."""
    plan = {run.stamp: run for run in bench.plan.runs}
    for response in bench.trial.responses:
        path = bench.path / "readings" / f"{response.name}.csv"
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        for number, row in enumerate(rows):
            run = plan[row["stamp"]]
            if run.role == "count":
                middle = 75 if response.unit == "kN" else 1.5
                scatter = ((number * 37 + (run.setup or 0) * 11) % 17 - 8) / 100
                row.update(reading=f"{middle * (1 + scatter):.1f}", reader="reader 1")
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
    return bench.path


def opened(weldtrial: Callable[..., Any], folder: Path) -> None:
    done = weldtrial("-C", folder, "analyse", "--open", "--yes")
    assert done.code == 0, done.err


def test_the_command_refuses_closed_codes(weldtrial: Callable[..., Any], read_trial: Path) -> None:
    done = weldtrial("-C", read_trial, "report")
    assert done.code == 5
    assert "still closed" in done.err
    assert "weldtrial analyse --open" in done.err
    assert not (read_trial / "report.html").exists()


def test_the_command_writes_the_page(weldtrial: Callable[..., Any], read_trial: Path) -> None:
    opened(weldtrial, read_trial)
    done = weldtrial("-C", read_trial, "report", "--json")
    assert done.code == 0, done.err
    path = Path(done.json["file"])
    assert path == read_trial / "report.html"
    page = Page(path.read_text(encoding="utf-8"))
    assert len(page.headings) == 14
    assert "drawn from the seal" in page.words


def test_short_goes_where_it_is_told(
    weldtrial: Callable[..., Any], read_trial: Path, tmp_path: Path
) -> None:
    opened(weldtrial, read_trial)
    out = tmp_path / "elsewhere" / "page.html"
    assert weldtrial("-C", read_trial, "report", "--short", "--out", out).code == 0
    assert len(Page(out.read_text(encoding="utf-8")).headings) == 2
    assert not (read_trial / "report.html").exists()


def test_a_bundle_can_be_run_again(
    weldtrial: Callable[..., Any], read_trial: Path, tmp_path: Path
) -> None:
    opened(weldtrial, read_trial)
    done = weldtrial("-C", read_trial, "report", "--bundle")
    assert done.code == 0, done.err
    again = tmp_path / "again"
    with zipfile.ZipFile(read_trial / "report.zip") as bundle:
        assert "report.html" in bundle.namelist()
        bundle.extractall(again)
    assert weldtrial("-C", again, "seal", "--verify").code == 0
    ours, theirs = (weldtrial("-C", folder, "analyse", "--json") for folder in (read_trial, again))
    assert ours.code == 0
    assert ours.json == theirs.json


def test_a_broken_seal_has_no_report(weldtrial: Callable[..., Any], read_trial: Path) -> None:
    opened(weldtrial, read_trial)
    trial_file = read_trial / "trial.toml"
    text = trial_file.read_text(encoding="utf-8")
    trial_file.write_text(text.replace("margin = 5\n", "margin = 8\n"), encoding="utf-8")
    done = weldtrial("-C", read_trial, "report")
    assert done.code == 4
    assert "margin" in done.err
    assert not (read_trial / "report.html").exists()


def test_without_a_comparison_the_effects_answer(
    trial: Trial, plan: Plan, record: Record, findings: Findings
) -> None:
    first = replace(findings.responses[0], comparisons=(), means=(), round_gaps={})
    page = first_page(
        render_report(trial, plan, record, replace(findings, responses=(first,)), short=True)
    )
    assert "1 of 4 effects are clear of zero" in page
    assert "Wire feed: 8 to 9 m/min: +4.6 (+1.7 to +7.5) kN" in page
    still = tuple(replace(row, ci_low=-9.0, ci_high=9.0) for row in first.effects)
    page = first_page(
        render_report(
            trial,
            plan,
            record,
            replace(findings, responses=(replace(first, effects=still),)),
            short=True,
        )
    )
    assert "None of 4 effects is clear of zero. That is not evidence that there are none" in page
