"""The weld log against the plan: what the welder wrote, and what is odd about it."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from weldtrial.shared.csvtable import parse_table
from weldtrial.shared.spares import replaced
from weldtrial.shared.weld_log import FILE, WeldLog, check_log, log_shape, read_log
from weldtrial.shared.welded_order import Start, Started, departures, parse_started


def written(bench: Any, cells: dict[str, dict[str, str]], delimiter: str = ",") -> str:
    """The laid-out log with some cells filled in, by stamp."""
    rows = list(csv.reader(io.StringIO(bench.file(FILE).read_text())))
    header = rows[0]
    for row in rows[1:]:
        for column, text in cells.get(row[1], {}).items():
            row[header.index(column)] = text
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return out.getvalue()


def log_of(bench: Any, cells: dict[str, dict[str, str]], delimiter: str = ",") -> WeldLog:
    text = written(bench, cells, delimiter)
    table = parse_table(text.encode(), FILE, log_shape(bench.trial))
    return check_log(table, bench.trial, bench.plan)


def said(log: WeldLog, *, warning: bool = False) -> list[str]:
    return [str(problem) for problem in log.problems if problem.warning == warning]


def test_a_log_as_laid_out_has_no_problem(bench: Any) -> None:
    log = read_log(bench.file(FILE), bench.trial, bench.plan)
    assert log.problems == ()
    assert set(log.lines) == {run.stamp for run in bench.plan.runs}
    assert not any(line.welded for line in log.lines.values())


def test_what_the_welder_saw_becomes_numbers_in_the_trials_units(bench: Any) -> None:
    stamp = bench.stamps[0]
    log = log_of(
        bench,
        {stamp: {"started": "09:05", "wire_feed_seen_m_per_min": "335 in/min", "amps": "220",
                 "gas_flow_seen_L_per_min": "15,5", "throat_mm": "5/16 in", "welder": "w1"}},
        ";",
    )  # fmt: skip
    line = log.lines[stamp]
    assert said(log) == []
    # 1 in = 25.4 mm exactly, so 335 in/min = 8.509 m/min and 5/16 in = 7.9375 mm.
    assert line.as_run["wire_feed"] == pytest.approx(8.509, abs=1e-12)
    assert line.as_run["gas_flow"] == 15.5
    assert line.measured == {"amps": 220.0, "throat_mm": 7.9375}
    assert (line.started, line.welder, line.welded) == ("09:05", "w1", True)


def test_a_header_in_another_unit_is_converted(bench: Any) -> None:
    stamp = bench.stamps[0]
    text = f"stamp,wire_feed_seen_in_per_min,bead_in,throat_in\n{stamp},335,6,5/16\n"
    log = check_log(
        parse_table(text.encode(), FILE, log_shape(bench.trial)), bench.trial, bench.plan
    )
    assert said(log) == []
    assert log.lines[stamp].as_run["wire_feed"] == pytest.approx(8.509, abs=1e-12)
    assert log.lines[stamp].measured["bead_mm"] == pytest.approx(152.4, abs=1e-12)
    assert log.lines[stamp].measured["throat_mm"] == 7.9375


def test_travel_is_worked_out_from_bead_and_arc_seconds(bench: Any) -> None:
    stamp = bench.stamps[0]
    log = log_of(bench, {stamp: {"bead_mm": "150", "arc_s": "22.5"}})
    # 150 mm in 22.5 s is 400 mm a minute.
    assert log.lines[stamp].as_run["travel"] == 40.0


def test_a_travel_that_was_seen_is_not_replaced_by_one_worked_out(bench: Any) -> None:
    cells = {"bead_mm": "150", "arc_s": "22.5", "travel_seen_cm_per_min": "41"}
    assert log_of(bench, {bench.stamps[0]: cells}).lines[bench.stamps[0]].as_run["travel"] == 41.0


def test_out_of_tolerance_is_a_warning_and_the_value_stays(bench: Any) -> None:
    stamp = bench.stamps[0]
    log = log_of(bench, {stamp: {"gas_flow_seen_L_per_min": "13"}})
    row = log.lines[stamp].row
    assert said(log) == []
    assert said(log, warning=True) == [
        f"weld_log.csv row {row}, column gas_flow_seen_L_per_min: gas flow low (13 L/min, limit "
        "14) – will be shown, not dropped."
    ]
    assert log.lines[stamp].as_run["gas_flow"] == 13.0


def test_travel_worked_out_is_held_against_its_tolerance_too(bench: Any) -> None:
    log = log_of(bench, {bench.stamps[0]: {"bead_mm": "150", "arc_s": "15"}})
    assert any("travel high (60 cm/min, limit 45)" in one for one in said(log, warning=True))


def test_a_setting_nearer_another_level_is_mentioned(bench: Any) -> None:
    run = bench.plan.by_stamp()[bench.stamps[0]]
    planned = run.settings["wire_feed"]
    other = 8.0 if planned == 9.5 else 9.5
    log = log_of(bench, {run.stamp: {"wire_feed_seen_m_per_min": f"{other:g}"}})
    assert f"{planned:g} planned: nearer {other:g}" in said(log, warning=True)[0]


def test_a_setting_far_beyond_its_level_is_mentioned(bench: Any) -> None:
    run = bench.plan.by_stamp()[bench.stamps[0]]
    planned = run.settings["wire_feed"]
    beyond = planned + (1 if planned == 9.5 else -1)
    (found,) = said(
        log_of(bench, {run.stamp: {"wire_feed_seen_m_per_min": f"{beyond:g}"}}), warning=True
    )
    assert f"{beyond:g} m/min was seen, {planned:g} planned. It will be shown" in found


def test_a_value_in_the_wrong_unit_must_be_mended(bench: Any) -> None:
    stamp = bench.stamps[0]
    log = log_of(bench, {stamp: {"wire_feed_seen_m_per_min": "335"}})
    assert "335 m/min looks like in/min: 335 in/min is 8.51 m/min" in said(log)[0]
    assert "wire_feed" not in log.lines[stamp].as_run


@pytest.mark.parametrize(
    ("column", "text", "words"),
    [
        ("started", "half nine", "'half nine' is not a time. Write 09:05"),
        ("amps", "lots", "not a plain number"),
        ("amps", "nan", "not a plain number"),
        ("arc_s", "0", "must be above 0"),
        ("throat_mm", "5 kN", "a force"),
        ("setup", "99", "was changed: the plan has"),
        ("run", "x", "not a whole number"),
    ],
)
def test_cells_that_cannot_be_used_are_named(
    bench: Any, column: str, text: str, words: str
) -> None:
    found = said(log_of(bench, {bench.stamps[0]: {column: text}}))
    assert len(found) == 1
    assert words in found[0]
    assert f"column {column}" in found[0]


@pytest.mark.parametrize(("column", "text"), [("bead_mm", "1"), ("plate_temp_C", "900")])
def test_measures_that_no_bench_meets_are_doubted(bench: Any, column: str, text: str) -> None:
    log = log_of(bench, {bench.stamps[0]: {column: text}})
    assert said(log) == []
    assert "outside what a bench meets" in said(log, warning=True)[0]


def test_an_unknown_stamp_and_one_written_twice_are_named(bench: Any) -> None:
    stamp = bench.stamps[0]
    text = bench.file(FILE).read_text() + f",{stamp[:-1]}9,\n,{stamp},\n"
    log = check_log(
        parse_table(text.encode(), FILE, log_shape(bench.trial)), bench.trial, bench.plan
    )
    first, second = said(log)
    assert f"stamp '{stamp[:-1]}9' is not in this trial. Nearest {stamp} (already on row" in first
    assert "Look at the plate; do not guess." in first
    assert f"stamp {stamp} is on row {log.lines[stamp].row} already" in second


# ------------------------------------------------------------------ spares


def test_a_spare_on_the_lost_coupons_set_up_is_accepted(bench: Any) -> None:
    lost, spare = bench.stamps[3], bench.of_role("spare")[0]
    setup = str(bench.plan.by_stamp()[lost].setup)
    log = log_of(
        bench,
        {lost: {"went_wrong": "nozzle blocked"},
         spare: {"replaces": lost.lower(), "setup": setup, "started": "10:00"}},
    )  # fmt: skip
    assert said(log) == []
    assert replaced(log.lines, bench.plan) == {spare: lost}


def test_faulty_replacements_are_each_named(bench: Any) -> None:
    one, two, three = bench.stamps[:3]
    first, second = bench.of_role("spare")
    warm_up = bench.of_role("warm-up")[0]
    cases: list[tuple[dict[str, dict[str, str]], str]] = [
        ({one: {"replaces": two}}, f"{one} is no spare ({first}, {second})"),
        ({first: {"replaces": "XXX"}}, "it replaces 'XXX', which is not in this trial"),
        ({first: {"replaces": warm_up}}, f"replaces {warm_up}, which is a warm-up"),
        ({first: {"replaces": second}}, f"replaces {second}, which is a spare"),
        ({first: {"replaces": three}, second: {"replaces": three}}, "is replaced by"),
        ({first: {"replaces": three, "setup": "8"}}, "was welded on set-up 8, and"),
        ({first: {"started": "10:00"}}, "is a spare that was welded; write in 'replaces'"),
    ]
    for cells, words in cases:
        found = said(log_of(bench, cells))
        assert len(found) == 1, cells
        assert words in found[0]
        assert "column replaces" in found[0]


def test_a_lost_spare_may_be_followed_by_another(bench: Any) -> None:
    lost = bench.stamps[0]
    first, second = bench.of_role("spare")
    log = log_of(
        bench,
        {lost: {"went_wrong": "lost: cracked tack"},
         first: {"replaces": lost, "went_wrong": "lost: dropped"}, second: {"replaces": lost}},
    )  # fmt: skip
    assert said(log) == []


# ------------------------------------------------------------------ order


@pytest.mark.parametrize(
    ("text", "clock"),
    [("9:05", "09:05"), ("09:05:30", "09:05"), ("2:30 pm", "14:30"), ("12:10 am", "00:10"),
     ("2026-06-14T09:05", "09:05"), ("2026-06-14 09:05:00+02:00", "09:05")],
)  # fmt: skip
def test_times_in_the_usual_forms(text: str, clock: str) -> None:
    found = parse_started(text)
    assert found is not None
    assert found.clock == clock


@pytest.mark.parametrize(
    "text", ["25:00", "9.05", "0905", "2026-06-14", "noon", "2026-13-01 09:00"]
)
def test_no_times(text: str) -> None:
    assert parse_started(text) is None


def starts(*rows: tuple[int, int | None, str]) -> list[Start]:
    found = []
    for run, setup, text in rows:
        started = parse_started(text)
        assert isinstance(started, Started)
        found.append(Start(run, f"S{run}", setup, started))
    return found


def test_the_planned_order_is_no_departure() -> None:
    rows = starts((1, 1, "9:00"), (2, 1, "9:05"), (3, 2, "9:30"), (4, 2, "9:30"), (5, 3, "10:00"))
    assert departures(rows) == ()


def test_swapped_within_a_set_up_is_harmless() -> None:
    (found,) = departures(starts((25, 7, "9:10"), (26, 7, "9:05"), (27, 8, "9:30")))
    assert found.harmless
    assert found.words == "runs 25/26 welded in swapped order (noted) – harmless, same set-up (7)."


def test_swapped_set_ups_on_a_known_day_are_not_harmless() -> None:
    (found,) = departures(
        starts((1, 1, "2026-06-14 10:00"), (2, 1, "10:05"), (3, 2, "9:00"), (4, 2, "9:05"))
    )
    assert not found.harmless
    assert found.words == "set-up 2 was welded before set-up 1, not after it."


def test_an_interrupted_set_up_is_not_harmless() -> None:
    (found,) = departures(starts((1, 1, "9:00"), (2, 1, "10:00"), (3, 2, "9:30"), (4, 2, "9:35")))
    assert not found.harmless
    assert "set-ups 1 and 2 overlap: 1 ran from 09:00 to 10:00, 2 from 09:30" in found.words


def test_a_second_day_without_a_date_is_no_departure() -> None:
    assert (
        departures(starts((1, 1, "16:00"), (2, 1, "16:10"), (3, 2, "9:00"), (4, 3, "9:30"))) == ()
    )


def test_where_nothing_is_hard_to_change_a_swap_is_mentioned() -> None:
    (found,) = departures(starts((1, None, "9:10"), (2, None, "9:05")))
    assert not found.harmless
    assert "keep to it" in found.words


def test_departures_reach_the_log_as_notes_and_warnings(bench: Any) -> None:
    one, two, three = bench.stamps[:3]
    log = log_of(
        bench, {one: {"started": "9:10"}, two: {"started": "9:05"}, three: {"started": "9:07"}}
    )
    assert len(log.notes) == 1
    assert any("overlap" in words and f"{three}" not in words for words in said(log, warning=True))
