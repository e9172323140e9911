"""``weldtrial record``: typed, imported, compared, corrected, lost."""

from __future__ import annotations

import contextlib
import csv
import io
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

LOADS = "readings/break_load.csv"
DEPTHS = "readings/penetration.csv"


class Terminal(io.StringIO):
    """Lines typed by somebody who sits there."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[int, str]]:
    """Run a command line with somebody typing the given lines; returns code and all output."""
    from weldtrial.cli.main import main

    def call(
        folder: Path, *arguments: str, lines: list[str], piped: bool = False
    ) -> tuple[int, str]:
        out = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True)
        text = "\n".join([*lines, ""])
        with monkeypatch.context() as patch, contextlib.chdir(folder):
            patch.setattr(sys, "stdin", io.StringIO(text) if piped else Terminal(text))
            patch.setattr(sys, "stdout", out)
            patch.setattr(sys, "stderr", out)
            code = main(list(arguments))
        return code, " ".join(out.buffer.getvalue().decode().split())

    return call


def rows(bench: Any, name: str = LOADS) -> dict[str, list[dict[str, str]]]:
    found: dict[str, list[dict[str, str]]] = {}
    for row in csv.DictReader(io.StringIO(bench.file(name).read_text(encoding="utf-8-sig"))):
        found.setdefault(row["stamp"], []).append(row)
    return found


def readings(bench: Any, name: str = LOADS) -> dict[str, list[str]]:
    return {
        stamp: [row["reading"] for row in found if row["reading"]]
        for stamp, found in rows(bench, name).items()
        if any(row["reading"] for row in found)
    }


def notes(bench: Any, text: str, name: str = "notes.csv") -> Path:
    path: Path = bench.path.parent / name
    path.write_text(text, encoding="utf-8")
    return path


# ------------------------------------------------------------------ from a file


def test_a_file_is_shown_as_understood_and_written(weldtrial: Any, bench: Any) -> None:
    one, two, three = bench.stamps[:3]
    path = notes(
        bench, f"stamp,break_load_kN,failed_at\n{one},84.2,toe\n{two},>90,\n{three},lost,\n"
    )
    done = weldtrial("record", "--from", path, cwd=bench.path)
    assert (done.code, readings(bench)) == (0, {one: ["84.2"], two: [">90"], three: ["lost"]})
    assert "more than 90 kN" in done.out
    assert "Saved 3 readings to readings/break_load.csv. 3 of 16 read." in done.out
    assert "Next:  weldtrial check" in done.out
    assert "no reason is given" in done.err


def test_importing_the_same_file_again_changes_nothing_and_says_so(
    weldtrial: Any, bench: Any
) -> None:
    path = notes(bench, "\n".join(["stamp,reading", *(f"{x},8{n}.1" for n, x in
                                                      enumerate(bench.stamps[:5]))]))  # fmt: skip
    assert weldtrial("record", "break_load", "--from", path, cwd=bench.path).code == 0
    before = bench.bytes()
    done = weldtrial("record", "break_load", "--from", path, cwd=bench.path)
    assert done.code == 0
    assert "Nothing new: 5 readings in readings/break_load.csv already." in done.out
    assert bench.bytes() == before


def test_four_dialects_of_one_file_write_the_same(weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    dialects = {
        "a.csv": f"stamp,reading\n{one},84.2\n{two},80..89.5\n",
        "b.csv": f"\ufeffstamp;reading\r\n{one};84,2\r\n{two};80..89,5\r\n;\r\n",
        "c.csv": f'"stamp","reading"\n"{one}","84,2"\n"{two}","80..89,5"\n\n',
        "d.csv": f"stamp\treading\t\n{one}\t84.2\t\n{two}\t80..89.5\t\n",
    }
    blank = bench.file(LOADS).read_bytes()
    written = set()
    for name, text in dialects.items():
        bench.file(LOADS).write_bytes(blank)
        path = notes(bench, text, name)
        done = weldtrial("record", "break_load", "--from", path, "--json", cwd=bench.path)
        assert done.code == 0
        written.add((bench.file(LOADS).read_bytes(), str(done.json["readings"])[-60:]))
    assert len({data for data, _ in written}) == 1
    assert readings(bench) == {one: ["84.2"], two: ["80..89.5"]}


def test_decimal_commas_in_a_comma_file_need_to_be_said(weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    path = notes(bench, f"stamp,reading\n{one},84,2\n{two},81,5\n")
    refused = weldtrial("record", "break_load", "--from", path, cwd=bench.path)
    assert refused.code == 3
    assert "row 2: the row has 3 columns, the header has 2" in refused.err
    assert f"weldtrial record --from {path} --decimal ," in refused.err
    done = weldtrial("record", "break_load", "--from", path, "--decimal", ",", cwd=bench.path)
    assert (done.code, readings(bench)) == (0, {one: ["84.2"], two: ["81.5"]})


def test_the_folders_own_file_is_put_together_again(weldtrial: Any, bench: Any) -> None:
    one = bench.stamps[0]
    text = bench.file(LOADS).read_text().replace(f"{one},,", f"{one},84,2,toe")
    bench.file(LOADS).write_text(text)
    assert weldtrial("check", cwd=bench.path).code == 3
    done = weldtrial("record", "--from", LOADS, "--decimal", ",", cwd=bench.path)
    assert done.code == 0
    assert "again with semicolons: 1 reading, none changed" in done.out
    assert f"{one};84,2;toe;;;" in bench.file(LOADS).read_text()
    assert weldtrial("check", cwd=bench.path).code == 0


def test_every_problem_of_a_file_is_named_and_nothing_written(weldtrial: Any, bench: Any) -> None:
    one, two, three, four, five = bench.stamps[:5]
    path = notes(
        bench,
        f"stamp,reading,failed_at\n{one},84.2,toe\n{one[:-1]}9,80,\n{two},93,\n"
        f"{three},didnt break,\n{four},25 May,\n{five},80,throta\n{one},81,\n"
        f"{bench.of_role('warm-up')[0]},80,\n"
        f"{bench.of_role('spare')[0]},80,\n",
    )
    before = bench.bytes()
    done = weldtrial("record", "break_load", "--from", path, cwd=bench.path)
    assert (done.code, bench.bytes()) == (3, before)
    for words in (
        f"row 3, column stamp: stamp '{one[:-1]}9' is not in this trial. Nearest {one} (already "
        "on row 2). Look at the plate; do not guess.",
        "row 4, column reading: 93 is above the gauge limit 90",
        "row 5, column reading: 'didnt break' is not a reading",
        "row 6, column reading: '25 May' – your spreadsheet has turned 25.5 into a date",
        "row 7, column failed_at: 'throta'",
        f"row 8, column reading: {one} has two break loads (row 2: 84.2, row 8: 81)",
        "is a warm-up and is never read",
        "is a spare, and the weld log does not say which coupon it replaces",
        "Nothing was written.",
    ):
        assert words in done.err
    assert "Traceback" not in done.err


def test_a_filled_cell_is_never_overwritten(weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    weldtrial("record", "break_load", "--from", notes(bench, f"stamp,reading\n{one},84.2\n"),
              cwd=bench.path)  # fmt: skip
    before = bench.bytes()
    path = notes(bench, f"stamp,reading\n{one},84.3\n{two},80\n")
    done = weldtrial("record", "break_load", "--from", path, cwd=bench.path)
    assert (done.code, bench.bytes()) == (3, before)
    assert f"{one} has 84.2 on row" in done.err
    assert f"weldtrial record break_load --correct {one}" in done.err


def test_cuts_go_into_the_rows_of_their_stamp(weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    call = ("record", "penetration", "--reader", "reader 1", "--on", "2026-06-14", "--from")
    first = notes(bench, f"stamp,reading\n{one},1.2\n{one},1.4\n{two},1.1\n")
    assert weldtrial(*call, first, cwd=bench.path).code == 0
    assert readings(bench, DEPTHS) == {one: ["1.2", "1.4"], two: ["1.1"]}
    second = notes(bench, f"stamp,reading\n{two},1.3\n")
    assert weldtrial(*call, second, cwd=bench.path).code == 0
    assert readings(bench, DEPTHS)[two] == ["1.1", "1.3"]
    assert [row["reader"] for row in rows(bench, DEPTHS)[two]] == ["reader 1"] * 2
    assert rows(bench, DEPTHS)[one][0]["read_on"] == "2026-06-14"
    third = weldtrial(*call, notes(bench, f"stamp,reading\n{two},1.5\n"), cwd=bench.path)
    assert third.code == 3


def test_a_slip_is_refused_unless_told_to_take_it(weldtrial: Any, bench: Any) -> None:
    loads = ["80.1", "79.5", "8.07", "83"]
    lines = [f"{stamp},{load}" for stamp, load in zip(bench.stamps, loads, strict=False)]
    path = notes(bench, "\n".join(["stamp,reading", *lines]))
    refused = weldtrial("record", "break_load", "--from", path, cwd=bench.path)
    assert (refused.code, readings(bench)) == (3, {})
    assert "row 4" in refused.err
    assert "is a tenth of what the others read" in refused.err
    assert "--yes" in refused.err
    done = weldtrial("record", "break_load", "--from", path, "--yes", cwd=bench.path)
    assert (done.code, len(readings(bench))) == (0, 4)


def test_standard_input_and_another_unit(typed: Any, bench: Any) -> None:
    one = bench.stamps[0]
    lines = ["stamp,reading", f"{one},18950 lbf"]
    call = ("record", "break_load", "--from", "-")
    code, said = typed(bench.path, *call, lines=lines, piped=True)
    assert code == 0
    assert "84.2938 kN" in said
    assert readings(bench) == {one: ["18950 lbf"]}


def test_a_bare_number_in_another_unit_keeps_its_unit(weldtrial: Any, bench: Any) -> None:
    one = bench.stamps[0]
    path = notes(bench, f"stamp,break_load_lbf\n{one},18950\n")
    assert weldtrial("record", "--from", path, cwd=bench.path).code == 0
    assert readings(bench) == {one: ["18950 lbf"]}


def test_headers_as_people_write_them_are_understood(weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    path = notes(bench, f"Stamp;Break load (lbf);Broke at;Remarks\n{one};18950;Toe;windy\n")
    assert weldtrial("record", "--from", path, cwd=bench.path).code == 0
    (kept,) = rows(bench)[one]
    assert (kept["reading"], kept["failed_at"], kept["note"]) == ("18950 lbf", "toe", "windy")
    log = notes(bench, f"stamp,Wire feed seen (in/min),Plate temp (°C)\n{two},335,21\n")
    assert weldtrial("record", "--from", log, cwd=bench.path).code == 0
    assert rows(bench, "weld_log.csv")[two][0]["wire_feed_seen_m_per_min"] == "335 in/min"


def test_the_dialect_of_the_folders_file_is_kept(weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    text = "\ufeff" + bench.file(LOADS).read_text().replace(",", ";").replace("\n", "\r\n")
    text = text.replace(f"{one};;", f"{one};80,5;")
    bench.file(LOADS).write_bytes(text.encode())
    path = notes(bench, f"stamp,reading\n{two},84.2\n")
    assert weldtrial("record", "break_load", "--from", path, cwd=bench.path).code == 0
    expected = text.replace(f"{two};;", f"{two};84,2;")
    assert bench.file(LOADS).read_bytes() == expected.encode()


def test_a_file_in_a_code_page_is_written_as_utf_8_with_its_mark(
    weldtrial: Any, bench: Any
) -> None:
    one, two = bench.stamps[:2]
    text = bench.file(LOADS).read_text().replace(f"{one},,,,,", f"{one},80.5,,,,Düse")
    bench.file(LOADS).write_bytes(text.encode("cp1252"))
    path = notes(bench, f"stamp,reading\n{two},84.2\n")
    assert weldtrial("record", "break_load", "--from", path, cwd=bench.path).code == 0
    expected = "\ufeff" + text.replace(f"{two},,", f"{two},84.2,")
    assert bench.file(LOADS).read_bytes() == expected.encode()


def test_which_response_a_file_holds_must_be_plain(weldtrial: Any, bench: Any) -> None:
    path = notes(bench, f"stamp,reading\n{bench.stamps[0]},84.2\n")
    done = weldtrial("record", "--from", path, cwd=bench.path)
    assert done.code == 2
    assert "does not say which response it holds" in done.err
    assert weldtrial("record", "brake_load", "--from", path, cwd=bench.path).code == 2


@pytest.mark.parametrize(
    "text", ["", "stamp\n", "stamp,reading\n\0", "\x00\xff", 'stamp,reading\n"a']
)
def test_garbage_is_refused_in_words(weldtrial: Any, bench: Any, text: str) -> None:
    path = bench.path.parent / "x.csv"
    path.write_bytes(text.encode("latin-1"))
    before = bench.bytes()
    done = weldtrial("record", "break_load", "--from", path, cwd=bench.path)
    assert (done.code, bench.bytes()) == (3, before)
    assert "Traceback" not in done.err
    assert "x.csv" in done.err


# ------------------------------------------------------------------ the weld log


def test_a_weld_log_is_filled_in_from_a_file(weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    text = (
        "stamp;started;voltage_seen_V;gas_flow_seen_L_per_min\n"
        f"{one};9:05;25,4;15\n{two};9:12;27;14,8\n"
    )
    done = weldtrial("record", "--from", notes(bench, text), cwd=bench.path)
    assert done.code == 0
    assert "Saved the log of 2 coupons to weld_log.csv." in done.out
    filled = rows(bench, "weld_log.csv")
    assert filled[one][0]["voltage_seen_V"] == "25.4"
    assert filled[two][0]["started"] == "9:12"
    before = bench.bytes()
    again = weldtrial("record", "weld_log", "--from", notes(bench, text), cwd=bench.path)
    assert (again.code, bench.bytes()) == (0, before)
    assert "Nothing new" in again.out
    other = notes(bench, text.replace("25,4", "25,9"))
    refused = weldtrial("record", "weld_log", "--from", other, cwd=bench.path)
    assert (refused.code, bench.bytes()) == (3, before)
    assert f"--correct {one} --column voltage_seen_V" in refused.err


def test_a_weld_log_that_breaks_a_rule_is_refused_whole(weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    text = f"stamp,started,replaces\n{one},9:05,\n{two},9:12,{one}\n"
    before = bench.bytes()
    done = weldtrial("record", "weld_log", "--from", notes(bench, text), cwd=bench.path)
    assert (done.code, bench.bytes()) == (3, before)
    assert "is no spare" in done.err


def test_the_folders_own_log_is_put_together_again(weldtrial: Any, bench: Any) -> None:
    one = bench.stamps[0]
    log = bench.file("weld_log.csv")
    text = log.read_text().replace(f",{one},1,,,,,", f",{one},1,9:05,25,4,8,1,,")
    log.write_text(text)
    refused = weldtrial("check", cwd=bench.path)
    assert refused.code == 3
    assert "record --from weld_log.csv --decimal ," in refused.err
    done = weldtrial("record", "--from", "weld_log.csv", "--decimal", ",", cwd=bench.path)
    assert done.code == 0, done.err
    assert f";{one};1;9:05;25,4;8,1;;" in log.read_text()
    assert weldtrial("check", cwd=bench.path).code == 0


# ------------------------------------------------------------------ twice


def test_a_second_entry_is_compared_both_ways_and_journalled(weldtrial: Any, bench: Any) -> None:
    one, two, three, four = bench.stamps[:4]
    first = notes(bench, f"stamp,reading\n{one},84.2\n{two},81.5\n{three},80\n")
    weldtrial("record", "break_load", "--from", first, cwd=bench.path)
    before = bench.bytes()
    second = notes(bench, f"stamp,reading\n{one},84.20\n{two},85.1\n{four},79\n", "second.csv")
    done = weldtrial("record", "break_load", "--from", second, "--twice", "--json", cwd=bench.path)
    assert done.code == 3
    assert done.json["agree"] == 1
    found = {(one["stamp"], one["here"], one["second"]) for one in done.json["differences"]}
    assert found == {(two, "81.5", "85.1"), (three, "80", ""), (four, "", "79")}
    after = bench.bytes()
    journal = after.pop("journal.csv").decode()
    before.pop("journal.csv")
    assert after == before
    assert 'second-entry,"break_load: 1 reading agrees, 3 cells differ' in journal


def test_a_second_entry_that_agrees_is_fine(weldtrial: Any, bench: Any) -> None:
    path = notes(bench, f"stamp;break_load_kN\n{bench.stamps[0]};84,2\n")
    weldtrial("record", "--from", path, cwd=bench.path)
    done = weldtrial("record", "--from", path, "--twice", cwd=bench.path)
    assert done.code == 0
    assert "1 reading agrees, 0 cells differ" in done.out


# ------------------------------------------------------------------ corrections and losses


def test_a_correction_is_kept_beside_what_was_typed(weldtrial: Any, bench: Any) -> None:
    one = bench.stamps[0]
    weldtrial("record", "break_load", "--from", notes(bench, f"stamp,reading\n{one},84.2\n"),
              cwd=bench.path)  # fmt: skip
    before = bench.file(LOADS).read_bytes()
    done = weldtrial("record", "--correct", one, "--to", "82.5", "--why", "wrong line",
                     "--reader", "reader 1", cwd=bench.path)  # fmt: skip
    assert done.code == 0
    assert f"{one} reading: 84.2 → 82.5" in done.out
    assert bench.file(LOADS).read_bytes() == before
    (line,) = csv.DictReader(io.StringIO(bench.file("corrections.csv").read_text()))
    assert (line["was"], line["now"], line["codes_open"]) == ("84.2", "82.5", "no")
    assert (line["why"], line["who"], line["file"]) == ("wrong line", "reader 1", LOADS)
    again = weldtrial("record", "--correct", one, "--to", "82.5", "--why", "again", cwd=bench.path)
    assert "It reads so already" in again.out
    assert len(bench.file("corrections.csv").read_text().splitlines()) == 2


def test_a_correction_that_is_a_slip_itself_needs_yes(weldtrial: Any, bench: Any) -> None:
    one = bench.stamps[0]
    lines = [f"{stamp},8{place}.5" for place, stamp in enumerate(bench.stamps[:5])]
    weldtrial("record", "break_load", "--from",
              notes(bench, "\n".join(["stamp,reading", *lines])), cwd=bench.path)  # fmt: skip
    call = ("record", "--correct", one, "--to", "8.2", "--why", "w")
    refused = weldtrial(*call, cwd=bench.path)
    assert refused.code == 3
    assert "a tenth of what the others read" in refused.err
    assert not bench.file("corrections.csv").exists()
    assert weldtrial(*call, "--yes", cwd=bench.path).code == 0


def test_a_correction_asks_for_what_was_not_said(typed: Any, weldtrial: Any, bench: Any) -> None:
    one = bench.stamps[0]
    weldtrial("record", "break_load", "--from", notes(bench, f"stamp,reading\n{one},84.2\n"),
              cwd=bench.path)  # fmt: skip
    code, said = typed(bench.path, "record", "--correct", one.lower(), lines=["82.5", "wrong line"])
    assert code == 0
    assert f"{one} break_load row" in said
    assert f"{one} reading: 84.2 → 82.5" in said
    assert "82.5,wrong line,no" in bench.file("corrections.csv").read_text()


def test_one_cell_is_told_off_once(weldtrial: Any, bench: Any) -> None:
    one = bench.stamps[0]
    path = notes(bench, f"stamp,reading\n{one},80.1\n{one},81.3\n")
    done = weldtrial("record", "break_load", "--from", path, "--yes", cwd=bench.path)
    assert done.code == 3
    assert "A coupon breaks once" in done.err
    assert "all its cuts already" not in done.err


def test_a_file_without_readings_is_not_called_old_news(weldtrial: Any, bench: Any) -> None:
    path = notes(bench, "stamp,reading\n")
    done = weldtrial("record", "break_load", "--from", path, "--yes", cwd=bench.path)
    assert done.code == 0
    assert f"The file holds no readings. Nothing was changed in {LOADS}." in done.out


def test_a_correction_asks_which_response_before_anything_is_typed(
    typed: Any, weldtrial: Any, bench: Any
) -> None:
    one = bench.stamps[0]
    for name, text in (("break_load", "84.2"), ("penetration", "1.2")):
        path = notes(bench, f"stamp,reading\n{one},{text}\n")
        weldtrial("record", name, "--from", path, "--yes", cwd=bench.path)
    lines = ["nothing", "break", "82.5", "wrong line"]
    code, said = typed(bench.path, "record", "--correct", one, lines=lines)
    assert code == 0, said
    assert "Which (break_load, penetration)?" in said
    assert (
        f"{LOADS},{one},reading,84.2,82.5,wrong line" in bench.file("corrections.csv").read_text()
    )


def test_a_reading_typed_before_the_keyboard_is_left_is_saved(typed: Any, bench: Any) -> None:
    one = bench.stamps[0]
    code, said = typed(bench.path, "record", "break_load", lines=[one, "84.2"])
    assert code == 130
    assert readings(bench) == {one: ["84.2"]}, said
    assert "Saved 1 reading" in said


def test_a_correction_names_the_response_that_was_said(weldtrial: Any, bench: Any) -> None:
    one = bench.stamps[0]
    refused = weldtrial("record", "break_load", "--correct", one, cwd=bench.path)
    assert refused.code == 2
    assert f"weldtrial record break_load --correct {one} --to VALUE" in refused.err


def test_a_coupon_is_lost_in_all_responses_or_in_one(weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    done = weldtrial("record", "--lost", one, "nozzle blocked, scrapped", cwd=bench.path)
    assert done.code == 0
    assert readings(bench) == {one: ["lost"]}
    assert readings(bench, DEPTHS) == {one: ["lost", "lost"]}
    assert rows(bench)[one][0]["note"] == "nozzle blocked, scrapped"
    again = weldtrial("record", "--lost", one, "again", cwd=bench.path)
    assert "marked lost already" in again.out
    weldtrial("record", "break_load", "--from", notes(bench, f"stamp,reading\n{two},84.2\n"),
              cwd=bench.path)  # fmt: skip
    refused = weldtrial("record", "--lost", two, "dropped", cwd=bench.path)
    assert refused.code == 3
    assert f"{two} was read: break_load (84.2)" in refused.err
    before = bench.file(LOADS).read_bytes()
    one_test = weldtrial("record", "break_load", "--lost", two, "jig bent", cwd=bench.path)
    assert one_test.code == 0
    assert f"{two} is lost for " in one_test.out
    assert " and " not in one_test.out.split("is lost for", 1)[1].split(":", 1)[0]
    assert bench.file(LOADS).read_bytes() == before
    assert "84.2,lost,jig bent" in bench.file("corrections.csv").read_text()


@pytest.mark.parametrize(
    "arguments",
    [
        ["--correct", "A2H", "--to", "80"],
        ["--correct", "A2H", "--why", "w"],
        ["--to", "80"],
        ["--twice"],
        ["--decimal", ","],
        ["--from", "a.csv", "--correct", "A2H", "--to", "1", "--why", "w"],
        ["--from", "no-such-file.csv"],
        ["--on", "14/06/2026"],
        ["no_such_response"],
        ["break_load"],
        ["weld_log"],
        [],
    ],
)
def test_wrong_usage_is_said_and_ends_with_2(
    weldtrial: Any, bench: Any, arguments: list[str]
) -> None:
    done = weldtrial("record", *arguments, cwd=bench.path)
    assert done.code == 2
    assert done.err.strip()


def test_an_unsealed_trial_has_no_stamps_to_record(
    weldtrial: Any, root: Path, tmp_path: Path
) -> None:
    source = root / "tests" / "fixtures" / "bench" / "trial.toml"
    (tmp_path / "trial.toml").write_bytes(source.read_bytes())
    done = weldtrial("record", "break_load", "--from", "x.csv", cwd=tmp_path)
    assert done.code == 3
    assert "not sealed yet" in done.err
    assert "weldtrial seal" in done.err


# ------------------------------------------------------------------ at a terminal


def test_readings_are_typed_one_by_one_and_saved(typed: Any, bench: Any) -> None:
    one, two, three, four, five = bench.stamps[:5]
    code, said = typed(
        bench.path,
        "record",
        "break_load",
        "--on",
        "2026-06-14",
        lines=[one, "84.2", "h", two, "8.07", "y", "t", one[:-1] + "9", three, "93", ">90", "",
               four, "81,5", "p", five, "lost", "", "dropped", one, ""],
    )  # fmt: skip
    assert code == 0
    assert readings(bench) == {
        one: ["84.2"], two: ["80.7"], three: [">90"], four: ["81.5"], five: ["lost"]
    }  # fmt: skip
    kept = rows(bench)
    assert [kept[x][0]["failed_at"] for x in (one, two, four)] == ["throat", "toe", "plate"]
    assert kept[five][0]["note"] == "dropped"
    assert kept[one][0]["read_on"] == "2026-06-14"
    for words in (
        "8.07 kN is a tenth of what the others read, and the gauge reads to 0.1. Meant 80.7?",
        f"no such stamp. Nearest: {one} (already in). Look at the plate again.",
        "93 is above the gauge limit 90. Write >90",
        'kept as "weld at least 81.5 kN", good news about the weld',
        f"{one} is in (84.2). To change it: weldtrial record break_load --correct {one}",
        "✓ 1 of 16",
        "Saved 5 readings to readings/break_load.csv. 11 to go.",
    ):
        assert words in said


def test_a_kept_slip_is_marked_as_looked_at(typed: Any, weldtrial: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    typed(
        bench.path, "record", "break_load", lines=[one, "84.2", "h", two, "8.07", "keep", "h", ""]
    )
    assert rows(bench)[two][0]["note"] == "as read"
    assert "tenth" not in weldtrial("check", cwd=bench.path).err


def test_cuts_are_asked_for_by_number_and_the_reader_once(typed: Any, bench: Any) -> None:
    one = bench.stamps[0]
    code, said = typed(
        bench.path, "record", "penetration", lines=["", one, "1.2", one, "1.4", one, ""]
    )
    assert code == 0
    assert readings(bench, DEPTHS) == {one: ["1.2", "1.4"]}
    assert rows(bench, DEPTHS)[one][1]["reader"] == "reader 1"
    assert "cut 2 of 2" in said


def test_what_was_saved_stays_when_somebody_walks_away(typed: Any, bench: Any) -> None:
    one, two = bench.stamps[:2]
    code, _ = typed(bench.path, "record", "break_load", lines=[one, "84.2", "h", two])
    assert code == 130
    assert readings(bench) == {one: ["84.2"]}


def test_an_import_may_be_turned_down(typed: Any, bench: Any) -> None:
    one = bench.stamps[0]
    path = notes(bench, f"stamp,reading\n{one},84.2\n")
    before = bench.bytes()
    code, said = typed(bench.path, "record", "break_load", "--from", str(path), lines=["n"])
    assert (code, bench.bytes()) == (0, before)
    assert "Write 1 new reading to readings/break_load.csv?" in said
    assert typed(bench.path, "record", "break_load", "--from", str(path), lines=["y"])[0] == 0
    assert readings(bench) == {one: ["84.2"]}


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60, deadline=None
)
@given(
    data=st.one_of(
        st.binary(max_size=200),
        st.text(alphabet=',;\t"\n\r <>.0189stampreadingkN', max_size=200).map(
            lambda text: b"stamp,reading,note\n" + text.encode()
        ),
    ),
    decimal=st.sampled_from([[], ["--decimal", ","]]),
    place=st.sampled_from(["break_load", "penetration", "weld_log"]),
)
def test_any_file_is_taken_whole_or_leaves_everything_as_it_was(
    bench: Any, data: bytes, decimal: list[str], place: str
) -> None:
    from weldtrial.cli.main import main

    path = bench.path.parent / "any.csv"
    path.write_bytes(data)
    before = bench.bytes()
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["-C", str(bench.path), "record", place, "--from", str(path), *decimal])
    # No stamp of the trial can be spelt with these letters, so nothing is ever new.
    assert bench.bytes() == before
    assert code in (0, 3)
    assert "defect" not in err.getvalue()
    assert code == 0 or "any.csv" in err.getvalue()
