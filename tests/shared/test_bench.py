"""From a folder to a record."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weldtrial.shared.bench import read_bench, read_record
from weldtrial.shared.correcting import Wanted, append_corrections, plan_correction
from weldtrial.shared.folder import Folder
from weldtrial.shared.journal import note
from weldtrial.shared.problems import ProblemsFound, WrongUsage
from weldtrial.shared.record import Coupon, Record, without_corrections

LOADS = "readings/break_load.csv"
DEPTHS = "readings/penetration.csv"


def fill(path: Path, rows: Mapping[str, list[dict[str, str]]]) -> None:
    """Fill cells of a laid-out file: the first row of a stamp, the second, and so on."""
    table = list(csv.reader(io.StringIO(path.read_text())))
    header, met = table[0], dict.fromkeys(rows, 0)
    stamp_at = header.index("stamp")
    for record in table[1:]:
        stamp = record[stamp_at]
        if stamp in rows and met[stamp] < len(rows[stamp]):
            for column, text in rows[stamp][met[stamp]].items():
                record[header.index(column)] = text
            met[stamp] += 1
    with path.open("w", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(table)


def loads(bench: Any, readings: Mapping[str, str], **beside: str) -> None:
    fill(bench.file(LOADS), {one: [{"reading": text, **beside}] for one, text in readings.items()})


def record_of(bench: Any) -> Record:
    return read_record(bench.path, bench.trial, bench.plan)


def coupon(record: Record, stamp: str) -> Coupon:
    return next(one for one in record.coupons if one.stamp == stamp)


def errors(record: Record) -> list[str]:
    return [str(problem) for problem in record.errors]


def warnings(record: Record) -> list[str]:
    return [str(problem) for problem in record.problems if problem.warning]


def full(bench: Any) -> None:
    """Weld and read everything."""
    loads(bench, {one: f"{78 + place % 7}.{place % 10}" for place, one in enumerate(bench.stamps)})
    depths = {
        one: [{"reading": f"1.{place % 5}", "reader": "reader 1"},
              {"reading": f"1.{(place + 1) % 5}", "reader": "reader 1"}]
        for place, one in enumerate(bench.stamps)
    }  # fmt: skip
    fill(bench.file(DEPTHS), depths)
    log = {one: [{"started": f"{8 + place // 2}:{place % 2}0"}]
           for place, one in enumerate(bench.stamps)}  # fmt: skip
    fill(bench.file("weld_log.csv"), log)


def test_an_empty_folder_gives_every_coupon_and_no_problem(bench: Any) -> None:
    record = record_of(bench)
    assert record.problems == ()
    assert [one.stamp for one in record.coupons] == bench.stamps
    assert (record.planned, record.sealed, record.codes_open) == (16, "sealed", False)
    assert record.seal.count("-") == 2
    assert not any(one.welded for one in record.coupons)


def test_a_full_folder_is_joined_by_stamp(bench: Any) -> None:
    full(bench)
    record = record_of(bench)
    assert record.problems == ()
    first = record.coupons[0]
    assert first.levels == bench.plan.by_stamp()[first.stamp].levels
    assert [one.value for one in first.readings["break_load"]] == [78.0]
    assert [one.value for one in first.readings["penetration"]] == [1.0, 1.1]
    assert first.readings["penetration"][1].reader == "reader 1"
    assert first.welded
    assert first.started == "8:00"


def test_the_same_data_in_four_dialects_gives_the_same_record(bench: Any) -> None:
    full(bench)
    plain = record_of(bench)
    text = bench.file(LOADS).read_text()
    rows = list(csv.reader(io.StringIO(text)))
    comma = [[cell.replace(".", ",") if at == 1 else cell for at, cell in enumerate(row)]
             for row in rows]  # fmt: skip

    def saved(table: list[list[str]], delimiter: str, encoding: str, end: str) -> bytes:
        out = io.StringIO()
        csv.writer(out, delimiter=delimiter, lineterminator=end).writerows(table)
        return out.getvalue().encode(encoding)

    dialects = [
        saved(comma, ";", "cp1252", "\r\n"),
        saved(comma, ";", "utf-8-sig", "\r\n"),
        saved(rows, "\t", "utf-16", "\n"),
        saved(comma, ",", "utf-8", "\n"),
    ]
    for data in dialects:
        bench.file(LOADS).write_bytes(data)
        found = record_of(bench)
        assert found.problems == ()
        for was, now in zip(plain.coupons, found.coupons, strict=True):
            bare = [replace(one, text="") for one in now.readings["break_load"]]
            assert bare == [replace(one, text="") for one in was.readings["break_load"]]


def test_problems_of_all_files_come_together(bench: Any) -> None:
    one, two, three, four = bench.stamps[:4]
    loads(bench, {one: "didnt break", two: "25 May", three: "93", four: "80"})
    with bench.file(LOADS).open("a") as file:
        file.write(f"{four},81.9,,,,\n{one[:-1]}9,80,,,,\n{bench.of_role('warm-up')[0]},80,,,,\n")
    fill(bench.file("weld_log.csv"), {one: [{"amps": "lots"}]})
    found = "\n".join(errors(record_of(bench)))
    for words in (
        "'didnt break' is not a reading",
        "has turned 25.5 into a date",
        "93 is above the gauge limit 90",
        f"{four} has two break loads (row ",
        "A coupon breaks once. Keep one with  weldtrial record --correct",
        f"Nearest {one} (already on row",
        "is a warm-up and is never read",
        "weld_log.csv row",
    ):
        assert words in found


def test_second_cuts_and_readers_that_are_missing_are_warnings(bench: Any) -> None:
    one, two = bench.stamps[:2]
    fill(bench.file(DEPTHS), {one: [{"reading": "1.2"}], two: [{"reading": "1.3"}] * 2})
    record = record_of(bench)
    assert errors(record) == []
    assert any(f"{one} second cut missing (1 of 2 read)" in words for words in warnings(record))
    assert any("3 readings do not say who read them" in words for words in warnings(record))


def test_a_slip_is_doubted_until_the_note_says_it_was_looked_at(bench: Any) -> None:
    stamps = bench.stamps
    loads(bench, dict(zip(stamps[:5], ["80.1", "79.5", "8.07", "83", "78"], strict=True)))
    (doubt,) = warnings(record_of(bench))
    assert "8.07 kN is a tenth of what the others read, and the gauge reads to 0.1." in doubt
    assert "Meant 80.7?" in doubt
    loads(bench, {stamps[2]: "8.07"}, note="as read, gauge seen by both")
    assert warnings(record_of(bench)) == []


def test_lost_and_slipped_readings_ask_for_a_reason(bench: Any) -> None:
    one, two, three = bench.stamps[:3]
    loads(bench, {one: "lost"})
    loads(bench, {two: "81"}, failed_at="slipped")
    loads(bench, {three: "lost"}, note="etched away")
    record = record_of(bench)
    assert sorted(words.partition(": ")[2] for words in warnings(record)) == sorted(
        [
            f"{one} is lost, and no reason is given. Write why in note.",
            f"{two} slipped in the test, and no reason is given. Write why in note.",
        ]
    )
    assert [coupon(record, x).readings["break_load"][0].kind for x in (one, two, three)] == [
        "lost"
    ] * 3


def test_a_column_of_another_unit_is_converted_and_not_doubted(bench: Any) -> None:
    text = bench.file(LOADS).read_text().replace("stamp,reading", "stamp,break_load_lbf")
    bench.file(LOADS).write_text(text)
    lines = {one: [{"break_load_lbf": f"{18000 + 3 * n}.55"}] for n, one in enumerate(bench.stamps)}
    fill(bench.file(LOADS), lines)
    record = record_of(bench)
    assert record.problems == ()
    (reading,) = record.coupons[0].readings["break_load"]
    assert reading.text == "18000.55 lbf"
    # NIST SP 811 (2008), appendix B.8: 1 lbf = 4.448 222 E+00 N.
    assert reading.value == pytest.approx(18000.55 * 4.448222e-3, rel=1e-6)


def test_the_plate_that_tore_makes_it_at_least(bench: Any) -> None:
    loads(bench, {bench.stamps[0]: "88"}, failed_at="Plate")
    (reading,) = coupon(record_of(bench), bench.stamps[0]).readings["break_load"]
    assert (reading.kind, reading.low, reading.failed_at) == ("above", 88.0, "plate")


# ------------------------------------------------------------------ spares and losses


def test_a_spare_takes_place_and_settings_of_the_coupon_it_replaces(bench: Any) -> None:
    lost, spare = bench.stamps[5], bench.of_role("spare")[0]
    fill(
        bench.file("weld_log.csv"),
        {lost: [{"went_wrong": "nozzle blocked"}],
         spare: [{"replaces": lost, "started": "11:00"}]},
    )  # fmt: skip
    loads(bench, {spare: "80"})
    record = record_of(bench)
    assert errors(record) == []
    stand_in, gone = coupon(record, spare), coupon(record, lost)
    assert stand_in.levels == gone.levels
    assert (stand_in.setup, stand_in.round, stand_in.role) == (gone.setup, gone.round, "spare")
    assert gone.lost == f"replaced by spare {spare}: nozzle blocked"
    stamps = [one.stamp for one in record.coupons]
    mates = [one for one in record.coupons if one.setup == gone.setup]
    assert stamps.index(spare) == max(stamps.index(one.stamp) for one in mates)
    assert bench.of_role("spare")[1] not in stamps


def test_readings_of_lost_coupons_and_idle_spares_are_problems(bench: Any) -> None:
    lost, spare = bench.stamps[0], bench.of_role("spare")[0]
    fill(bench.file("weld_log.csv"), {lost: [{"went_wrong": "Lost: dropped"}]})
    loads(bench, {lost: "80", spare: "81"})
    found = sorted(errors(record_of(bench)))
    assert len(found) == 2
    assert any(f"{lost} is lost (Lost: dropped), and here is a reading" in one for one in found)
    assert any(f"{spare} is a spare, and the weld log does not say" in one for one in found)


def test_a_coupon_lost_in_every_response_is_lost(bench: Any) -> None:
    stamp = bench.stamps[0]
    loads(bench, {stamp: "lost"}, note="scrapped")
    assert coupon(record_of(bench), stamp).lost == ""
    fill(bench.file(DEPTHS), {stamp: [{"reading": "lost", "note": "scrapped", "reader": "r"}] * 2})
    assert coupon(record_of(bench), stamp).lost == "scrapped"


# ------------------------------------------------------------------ corrections


def correct(bench: Any, **wanted: Any) -> int:
    plan = plan_correction(
        Wanted(why="typed from the wrong line", **wanted),
        read_bench(bench.path, bench.trial, bench.plan),
        bench.trial,
        bench.plan,
        codes_open=False,
    )
    append_corrections(Folder(bench.path), plan)
    return len(plan)


def test_a_correction_counts_and_the_first_reading_is_kept(bench: Any) -> None:
    stamp = bench.stamps[0]
    loads(bench, {stamp: "84.2"})
    before = bench.file(LOADS).read_bytes()
    assert correct(bench, stamp=stamp, to="82,5") == 1
    record = record_of(bench)
    assert record.problems == ()
    (reading,) = coupon(record, stamp).readings["break_load"]
    assert (reading.value, reading.corrected) == (82.5, True)
    assert reading.first is not None
    assert reading.first.value == 84.2
    assert bench.file(LOADS).read_bytes() == before
    (first,) = coupon(without_corrections(record), stamp).readings["break_load"]
    assert (first.value, first.corrected) == (84.2, False)
    assert (record.corrections[0].was, record.corrections[0].now) == ("84.2", "82.5")
    assert correct(bench, stamp=stamp, to="82.5") == 0


def test_a_correction_of_a_correction_keeps_the_very_first(bench: Any) -> None:
    stamp = bench.stamps[0]
    loads(bench, {stamp: "84.2"})
    correct(bench, stamp=stamp, to="82.5")
    correct(bench, stamp=stamp, to="lost")
    (reading,) = coupon(record_of(bench), stamp).readings["break_load"]
    assert reading.kind == "lost"
    assert reading.note == "typed from the wrong line"
    assert reading.first is not None
    assert reading.first.value == 84.2


@pytest.mark.parametrize(("kept", "first"), [("82.5", 82.5), ("81.9", 82.5), ("80", 82.5)])
def test_a_duplicate_is_struck_out_and_the_first_typed_stays_known(
    bench: Any, kept: str, first: float
) -> None:
    stamp = bench.stamps[0]
    loads(bench, {stamp: "82.5"})
    with bench.file(LOADS).open("a") as file:
        file.write(f"{stamp},81.9,,,,\n")
    assert len(errors(record_of(bench))) == 1
    correct(bench, stamp=stamp, to=kept)
    record = record_of(bench)
    assert errors(record) == []
    assert [one.value for one in coupon(record, stamp).readings["break_load"]] == [float(kept)]
    as_typed = coupon(without_corrections(record), stamp).readings["break_load"]
    assert [one.value for one in as_typed] == [first]


def test_one_of_two_cuts_is_named_by_what_it_was(bench: Any) -> None:
    stamp = bench.stamps[0]
    fill(bench.file(DEPTHS), {stamp: [{"reading": "1.2"}, {"reading": "1.4"}]})
    with pytest.raises(WrongUsage, match=r"has 2 of them \(1\.2, 1\.4\). Say which:  --was 1\.2"):
        correct(bench, stamp=stamp, to="1.5")
    correct(bench, stamp=stamp, to="1.5", was="1,40")
    readings = coupon(record_of(bench), stamp).readings["penetration"]
    assert [one.value for one in readings] == [1.2, 1.5]


def test_corrections_that_cannot_stand_are_refused(bench: Any) -> None:
    one, two = bench.stamps[:2]
    loads(bench, {one: "84.2"})
    fill(bench.file(DEPTHS), {one: [{"reading": "1.2"}]})
    cases: list[tuple[dict[str, Any], type[Exception], str]] = [
        ({"stamp": one, "to": "80"}, WrongUsage, "readings of break_load and penetration"),
        ({"stamp": one, "to": "93", "where": "break_load"}, ProblemsFound, "above the gauge"),
        ({"stamp": one, "to": "", "where": "break_load"}, WrongUsage, "cannot be taken away"),
        ({"stamp": two, "to": "80"}, ProblemsFound, "has no reading yet"),
        ({"stamp": one[:-1] + "9", "to": "80"}, ProblemsFound, f"Nearest {one}"),
        ({"stamp": one, "to": "x", "where": "break_load", "was": "7"}, ProblemsFound, "has 84.2"),
        ({"stamp": one, "to": "x", "where": "weld_log"}, WrongUsage, "Which column"),
        ({"stamp": one, "to": "x", "where": "weld_log", "column": "setup"}, WrongUsage, "laid out"),
        ({"stamp": one, "to": "x", "where": "weld_log", "column": "amps"}, ProblemsFound, "empty"),
        (
            {"stamp": one, "to": "x", "where": "break_load", "column": "nope"},
            WrongUsage,
            "no column 'nope'",
        ),
    ]
    for wanted, error, words in cases:
        with pytest.raises(error) as caught:
            correct(bench, **wanted)
        assert words in str(caught.value), wanted
    assert not bench.file("corrections.csv").exists()


def test_a_broken_file_is_named_before_anything_is_corrected(bench: Any) -> None:
    bench.file(LOADS).write_text("stamp,raeding\n")
    with pytest.raises(ProblemsFound, match="Did you mean 'reading'"):
        correct(bench, stamp=bench.stamps[0], to="80", where="break_load")
    with pytest.raises(ProblemsFound, match="Did you mean 'reading'"):
        correct(bench, stamp=bench.stamps[0], to="80")


def test_a_cell_of_the_weld_log_is_corrected_likewise(bench: Any) -> None:
    stamp = bench.stamps[0]
    fill(bench.file("weld_log.csv"), {stamp: [{"throat_mm": "55"}]})
    correct(bench, stamp=stamp, to="5.5", where="weld_log", column="throat_mm")
    assert coupon(record_of(bench), stamp).measured["throat_mm"] == 5.5


def test_a_value_edited_away_under_a_correction_is_found(bench: Any) -> None:
    stamp = bench.stamps[0]
    loads(bench, {stamp: "84.2"})
    correct(bench, stamp=stamp, to="82.5")
    loads(bench, {stamp: "79"})
    (found,) = errors(record_of(bench))
    assert found.startswith("corrections.csv row 2, column reading: it corrects")


def test_a_sheet_saved_with_decimal_commas_keeps_its_corrections(bench: Any) -> None:
    stamp = bench.stamps[0]
    loads(bench, dict.fromkeys(bench.stamps[1:4], "81.5") | {stamp: "84.2"})
    correct(bench, stamp=stamp, to="82.5")
    text = bench.file(LOADS).read_text().replace(",", ";").replace(".", ",")
    bench.file(LOADS).write_text(text)
    record = record_of(bench)
    assert record.problems == ()
    assert coupon(record, stamp).readings["break_load"][0].value == 82.5


# ------------------------------------------------------------------ codes, files, garbage


def test_codes_open_by_the_journal_or_where_there_are_none(bench: Any) -> None:
    assert not record_of(bench).codes_open
    note(bench.path, "opened", "P = mix, Q = co2")
    assert record_of(bench).codes_open
    plain = replace(bench.trial, blind=replace(bench.trial.blind, codes=False))
    assert read_record(bench.path, plain, bench.plan).codes_open


def test_a_readings_file_of_nothing_is_named(bench: Any) -> None:
    shutil.copy(bench.file(LOADS), bench.file("readings/brake_load.csv"))
    assert "is the file of no response" in errors(record_of(bench))[0]


def test_missing_files_are_problems_not_errors(bench: Any) -> None:
    bench.file(LOADS).unlink()
    bench.file("weld_log.csv").unlink()
    record = record_of(bench)
    assert len(record.errors) == 2
    assert len(record.coupons) == 16


GARBAGE = st.one_of(
    st.binary(max_size=300),
    st.text(alphabet=',;\t"\n\r <>.0189abPstampreading\u00a0\u2212', max_size=300).map(str.encode),
    st.lists(st.lists(st.text(max_size=6), max_size=8), max_size=8).map(
        lambda rows: "\n".join(",".join(row) for row in rows).encode("utf-8", "replace")
    ),
)
HEADERS = {
    LOADS: b"stamp,reading,failed_at,reader,read_on,note\n",
    DEPTHS: b"stamp;reading\n",
    "weld_log.csv": b"run,stamp,setup,started,voltage_seen_V,amps,replaces,went_wrong\n",
    "corrections.csv": b"",
    "journal.csv": b"",
}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150)
@given(file=st.sampled_from(sorted(HEADERS)), headed=st.booleans(), data=GARBAGE)
def test_garbage_in_any_file_is_a_record_with_problems(
    bench: Any, file: str, headed: bool, data: bytes
) -> None:
    whole = {name: bench.file(name) for name in HEADERS}
    before = {name: path.read_bytes() if path.exists() else None for name, path in whole.items()}
    whole[file].write_bytes((HEADERS[file] if headed else b"") + data)
    try:
        record = record_of(bench)
        assert len(record.coupons) >= 16
        assert all(str(problem) for problem in record.problems)
    finally:
        for name, content in before.items():
            if content is None:
                whole[name].unlink(missing_ok=True)
            else:
                whole[name].write_bytes(content)
