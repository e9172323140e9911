"""Printable sheets: everything a welder needs, nothing that tells a reader the gas."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from weldtrial.cli.sheet_parts import PAPERS, boxes_for, decimals_of, in_pages, masked, tells
from weldtrial.cli.sheet_read import cut_pages, read_stamps, reading_sheet, stamp_pages
from weldtrial.cli.sheet_weld import weld_sheet
from weldtrial.cli.sheets import render_sheets, write_sheets
from weldtrial.cli.trial_cautions import fitting
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import WrongUsage
from weldtrial.shared.trial import Trial


class Words(HTMLParser):
    """The text a page shows, style sheets left out."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self.inside_style = False

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.inside_style = tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self.inside_style = False

    def handle_data(self, data: str) -> None:
        if not self.inside_style and data.strip():
            self.said.append(data.strip())


def shown(html: str) -> str:
    words = Words()
    words.feed(html)
    return "\n".join(words.said)


@pytest.fixture(scope="module")
def trial(invented: ModuleType) -> Trial:
    return invented.trial()


@pytest.fixture(scope="module")
def plan(invented: ModuleType, trial: Trial) -> Plan:
    return invented.plan(trial)


def pages(trial: Trial, plan: Plan, **said: Any) -> dict[str, str]:
    return {p.name: p.html for p in render_sheets(trial, plan, "CACC-516C-4384", **said)}


def of_readers(found: dict[str, str]) -> dict[str, str]:
    return {name: html for name, html in found.items() if name != "weld.html"}


# ------------------------------------------------------------------ nothing tells the gas


def test_no_sheet_for_readers_tells_a_gas_or_a_setting(trial: Trial, plan: Plan) -> None:
    found = of_readers(pages(trial, plan))
    assert len(found) == 5
    for name, html in found.items():
        for word in ("mix", "co2", "M21", "M21-ArC-18", "C1", "gas", "volt", "travel", "wire"):
            # The title may speak of gas in general; the codes may not.
            said = html.replace(trial.title, "")
            assert not re.search(rf"\b{word}", said, re.IGNORECASE), (name, word)
        for number in ("25.5", "27.0", "27 V"):
            assert number not in html, (name, number)


def test_reading_sheets_name_no_run_round_or_set_up(trial: Trial, plan: Plan) -> None:
    for name, html in of_readers(pages(trial, plan)).items():
        assert not re.search(r"\b(run|round|set-up)\b", shown(html), re.IGNORECASE), name


@pytest.mark.parametrize("response", [0, 1, 2])
def test_reading_sheets_list_counting_and_spare_stamps_sorted(
    trial: Trial, plan: Plan, response: int
) -> None:
    sheet = reading_sheet(trial, plan, trial.responses[response], PAPERS["A4"])
    stamps = [stamp for page in sheet.pages for stamp in page]
    expected = {run.stamp for run in plan.runs if run.role in ("count", "spare")}
    assert stamps == sorted(expected)
    assert len(stamps) == 50


@pytest.mark.parametrize("word", ["mix", "CO2", "M21", "C1"])
def test_a_title_that_tells_a_gas_is_replaced_by_the_seal(
    trial: Trial, plan: Plan, word: str
) -> None:
    telling = replace(trial, title=f"Is {word} good enough?")
    for name, html in of_readers(pages(telling, plan)).items():
        assert word not in html, name
        assert "Trial CACC-516C-4384" in html
    assert f"Is {word} good enough?" in pages(telling, plan)["weld.html"]


def test_labels_and_crack_rules_are_masked(trial: Trial, plan: Plan) -> None:
    bend = replace(
        trial.responses[2], label="Bend of co2 welds", crack_rule="As for the mix: 3 mm open."
    )
    telling = replace(trial, responses=(*trial.responses[:2], bend))
    html = pages(telling, plan)["read-bend_angle.html"]
    assert "Bend of … welds" in html
    assert "As for the …: 3 mm open." in html


def test_masking_takes_whole_words_only(trial: Trial) -> None:
    assert masked("mixture of mix and CO2", trial) == "mixture of … and …"
    assert not tells("Cheaper gas on 8 mm drawbar fillets", trial)


# ------------------------------------------------------------------ what each sheet holds


def test_the_weld_sheet_holds_every_run_in_order_under_its_set_up(trial: Trial, plan: Plan) -> None:
    sheet = weld_sheet(trial, plan, PAPERS["A4"])
    blocks = [block for page in sheet.pages for block in page]
    runs = [row for block in blocks if not block.spares for row in block.rows]
    assert [row.run for row in runs] == [str(n) for n in range(1, 51)]
    assert [row.stamp for row in runs] == [r.stamp for r in plan.runs if r.run]
    assert [block.title for block in blocks[:3]] == [
        "Round 1 · Set-up 1",
        "Round 1 · Set-up 2",
        "Round 2 · Set-up 3",
    ]
    assert blocks[0].big == "Shielding gas MIX (M21-ArC-18)"
    assert blocks[0].fixed == "Arc voltage 25.5 V · Gas flow 15 ± 1 L/min"
    assert blocks[1].fixed.startswith("Arc voltage 27 V")
    assert blocks[0].checks[:4] == ("bottle off", "regulator off", "re-fit", "purge 30 s")
    assert [row.note for row in blocks[0].rows] == ["warm-up", "", "", "", ""]
    assert blocks[0].rows[0].planned == ("8", "35")


def test_the_weld_sheet_has_a_box_for_every_column_of_the_log(trial: Trial, plan: Plan) -> None:
    columns = [(c.title, c.unit) for c in weld_sheet(trial, plan, PAPERS["A4"]).columns]
    assert columns == [
        ("Arc voltage", "seen, V"),
        ("Wire feed", "seen, m/min"),
        ("Travel speed", "seen, cm/min"),
        ("Gas flow", "seen, L/min"),
        ("amps", "A"),
        ("arc time", "s"),
        ("bead", "mm"),
        ("throat", "mm"),
        ("plate", "°C"),
    ]


def test_spares_stand_at_the_end_with_what_to_do(trial: Trial, plan: Plan) -> None:
    sheet = weld_sheet(trial, plan, PAPERS["A4"])
    last = sheet.pages[-1][-1]
    assert last.spares
    assert [row.stamp for row in last.rows] == [r.stamp for r in plan.of_role("spare")]
    html = pages(trial, plan)["weld.html"]
    assert "Write the stamp you lost and weld it on the lost coupon&#39;s set-up" in html


def test_from_run_prints_the_rest_only(trial: Trial, plan: Plan) -> None:
    sheet = weld_sheet(trial, plan, PAPERS["A4"], from_run=19)
    runs = [row.run for page in sheet.pages for block in page for row in block.rows if row.run]
    assert runs == [str(n) for n in range(19, 51)]
    assert list(pages(trial, plan, from_run=19)) == ["weld-from-run-19.html"]


@pytest.mark.parametrize("run", [0, -1, 51])
def test_a_run_that_is_not_there_is_refused(trial: Trial, plan: Plan, run: int) -> None:
    with pytest.raises(WrongUsage, match="runs 1 to 50"):
        weld_sheet(trial, plan, PAPERS["A4"], from_run=run)


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_no_page_is_fuller_than_its_paper(trial: Trial, plan: Plan, paper: Any) -> None:
    height = PAPERS[paper].height_mm(landscape=True)
    for page in weld_sheet(trial, plan, PAPERS[paper]).pages:
        assert sum(block.height_mm for block in page) < height


def test_a_set_up_taller_than_a_page_is_continued(trial: Trial, plan: Plan) -> None:
    long = Plan(
        tuple(
            replace(run, setup=1, round=1) if run.role == "count" else run
            for run in plan.of_role("count")
        )
    )
    blocks = [block for page in weld_sheet(trial, long, PAPERS["A4"]).pages for block in page]
    assert len(blocks) > 2
    assert [block.continued for block in blocks] == [False] + [True] * (len(blocks) - 1)
    assert sum(len(block.rows) for block in blocks) == 48


def test_limit_ticks_and_between_boxes_fit_the_gauge(trial: Trial, plan: Plan) -> None:
    load, depth, bend = (reading_sheet(trial, plan, one, PAPERS["A4"]) for one in trial.responses)
    assert (load.limit, load.between, load.cuts) == ("did not break at 90", False, ())
    assert (bend.limit, bend.between) == ("90, no crack", True)
    assert (depth.limit, depth.cuts) == ("", ("cut 1", "cut 2"))
    assert load.where == ("throat", "toe", "root", "plate", "slipped")
    assert depth.where == ()
    assert "read to 0.1 · gauge stops at 90" in load.facts


def test_the_cutting_sheet_is_there_only_where_coupons_are_cut(trial: Trial, plan: Plan) -> None:
    rows = [row for page in cut_pages(trial, plan, PAPERS["A4"]) for row in page]
    assert [row.stamp for row in rows] == list(read_stamps(plan))
    assert rows[0].pieces == (f"{rows[0].stamp}-1", f"{rows[0].stamp}-2")
    uncut = replace(trial, responses=(trial.responses[0],))
    assert "cut.html" not in pages(uncut, plan)


def test_every_code_is_on_the_stamp_sheet_once(trial: Trial, plan: Plan) -> None:
    cells = [cell for page in stamp_pages(plan, PAPERS["letter"]) for cell in page]
    assert sorted(cell.stamp for cell in cells) == sorted(run.stamp for run in plan.runs)
    assert {c.stamp for c in cells if c.note == "warm-up"} == {
        run.stamp for run in plan.of_role("warm-up")
    }


# ------------------------------------------------------------------ form


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_every_sheet_needs_nothing_else_and_is_counted(
    trial: Trial, plan: Plan, paper: Any
) -> None:
    for name, html in pages(trial, plan, paper=paper).items():
        assert "<script" not in html
        assert "http" not in html
        assert f"size: {paper} {'landscape' if name == 'weld.html' else 'portrait'}" in html
        numbers = re.findall(r"sheet (\d+)/(\d+)", html)
        total = html.count('<section class="sheet">')
        assert numbers == [(str(n), str(total)) for n in range(1, total + 1)], name
        assert html.count("seal CACC-516C-4384") == total
        assert html.count("not a procedure or welder qualification to any code") >= total


def test_rows_are_high_enough_to_write_in(trial: Trial, plan: Plan) -> None:
    for html in pages(trial, plan).values():
        height = re.search(r"\ntd \{ height: ([\d.]+)mm", html)
        assert height is not None
        assert float(height[1]) >= 9
        assert "table-header-group" in html
        assert "tr { break-inside: avoid; }" in html


def test_the_weld_sheet_carries_every_caution_that_fits(trial: Trial, plan: Plan) -> None:
    said = shown(pages(trial, plan)["weld.html"])
    chosen = fitting(trial)
    assert {"carbon-monoxide", "stored-energy", "etching"} <= {one.id for one in chosen}
    for caution in chosen:
        assert caution.short in said


def test_text_from_the_trial_is_escaped(trial: Trial, plan: Plan) -> None:
    nasty = replace(trial, title="<script>alert(1)</script> & more")
    for html in pages(nasty, plan).values():
        assert "<script" not in html
        assert "&lt;script&gt;" in html


def test_sheets_are_the_same_every_time(trial: Trial, plan: Plan) -> None:
    assert pages(trial, plan) == pages(trial, plan)


@pytest.mark.parametrize(
    ("step", "decimals"), [(1, 0), (5, 0), (0.1, 1), (0.5, 1), (0.25, 2), (0.05, 2), (0.001, 3)]
)
def test_a_smallest_division_asks_for_its_decimals(step: float, decimals: int) -> None:
    assert decimals_of(step) == decimals


def test_boxes_hold_the_largest_number() -> None:
    assert boxes_for(90, 0.1).whole == 2
    assert boxes_for(125, 0.5).whole == 3
    assert boxes_for(0.4, 0.1).whole == 1


@pytest.mark.parametrize("count", [0, 1, 21, 22, 23, 100])
def test_pages_hold_every_row_once(count: int) -> None:
    found = list(in_pages(range(count), 22))
    assert [row for page in found for row in page] == list(range(count))
    assert found
    assert all(len(page) <= 22 for page in found)


# ------------------------------------------------------------------ the command


def test_the_blind_reader_gets_only_what_is_read_blind(trial: Trial, plan: Plan) -> None:
    found = pages(trial, plan, for_reader="Reader 1")
    assert list(found) == ["read-penetration.html", "read-bend_angle.html"]
    assert all("<b>Reader 1</b>" in html for html in found.values())
    assert len(pages(trial, plan, for_reader="somebody")) == 3


def test_files_are_written_to_sheets(trial: Trial, plan: Plan, tmp_path: Path) -> None:
    written = write_sheets(tmp_path, trial, plan, "CACC-516C-4384", only="stamps")
    assert written == (tmp_path / "sheets" / "stamps.html",)
    assert written[0].read_text(encoding="utf-8").startswith("<!doctype html>")


def test_the_command_prints_what_it_wrote(weldtrial: Callable[..., Any], bench: Any) -> None:
    done = weldtrial("-C", bench.path, "sheets", "--json", "--paper", "letter")
    assert done.code == 0
    names = done.json["files"]
    assert names[0] == "sheets/weld.html"
    assert all((bench.path / name).is_file() for name in names)
    assert "size: letter landscape" in (bench.path / names[0]).read_text(encoding="utf-8")


def test_an_unsealed_trial_has_no_sheets(
    weldtrial: Callable[..., Any], bench: Any, tmp_path: Path
) -> None:
    folder = tmp_path / "fresh"
    folder.mkdir()
    (folder / "trial.toml").write_bytes((bench.path / "trial.toml").read_bytes())
    done = weldtrial("-C", folder, "sheets")
    assert done.code == 5
    assert "not sealed yet" in done.err
    assert "weldtrial seal" in done.err
    assert not (folder / "sheets").exists()


def test_an_edited_plan_is_not_printed(weldtrial: Callable[..., Any], bench: Any) -> None:
    plan = bench.path / "plan.csv"
    lines = plan.read_text(encoding="utf-8").splitlines(keepends=True)
    plan.write_text("".join([lines[0], *lines[2:], lines[1]]), encoding="utf-8")
    before = {path: path.read_bytes() for path in (bench.path / "sheets").iterdir()}
    done = weldtrial("-C", bench.path, "sheets")
    assert done.code == 4
    assert "plan.csv" in done.err
    assert {path: path.read_bytes() for path in (bench.path / "sheets").iterdir()} == before


@pytest.mark.parametrize(
    "options",
    [
        ("--for", "reader 1", "--only", "weld"),
        ("--for", "reader 1", "--from-run", "3"),
        ("--from-run", "3", "--only", "read"),
        ("--from-run", "999"),
        ("--for", " "),
        ("--paper", "A3"),
        ("--only", "everything"),
    ],
)
def test_options_that_do_not_go_together_are_refused(
    weldtrial: Callable[..., Any], bench: Any, options: tuple[str, ...]
) -> None:
    done = weldtrial("-C", bench.path, "sheets", *options)
    assert done.code == 2
    assert "Traceback" not in done.err


def test_a_shuffled_trial_fills_its_pages_and_speaks_of_no_set_up(trial: Trial, plan: Plan) -> None:
    easy = tuple(replace(factor, hard_to_change=False) for factor in trial.factors)
    shuffled = replace(trial, factors=easy)
    runs = tuple(replace(run, setup=None) for run in plan.runs)
    sheet = weld_sheet(shuffled, Plan(runs), PAPERS["A4"])
    rows = [row for page in sheet.pages for block in page for row in block.rows]
    assert [row.run for row in rows if row.run] == [str(n) for n in range(1, 51)]
    height = PAPERS["A4"].height_mm(landscape=True)
    assert all(sum(block.height_mm for block in page) < height for page in sheet.pages)
    said = shown(pages(shuffled, Plan(runs))["weld.html"])
    assert "set-up" not in said.lower()
    assert "set the machine anew for every coupon" in said
