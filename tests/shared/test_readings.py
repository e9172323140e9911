"""The grammar of a reading."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.another_unit import all_far
from weldtrial.shared.problems import Problem
from weldtrial.shared.readings import (
    find_slip,
    parse_failed_at,
    parse_reading,
    placed,
    same_reading,
)
from weldtrial.shared.record import Reading
from weldtrial.shared.responses import Response, Typical

LOAD = Response("break_load", "kN", most=90, reads_to=0.1)
ANGLE = Response("bend_angle", "deg", where=("throat", "toe", "root", "plate"))
CRACK = Response("crack", "1", kind="pass-fail")
LOOK = Response("look", "1", kind="graded", scale=("A", "B", "C"))


def read(text: str, response: Response = LOAD, decimal: str = ".") -> Reading:
    found = parse_reading(text, response, decimal)
    assert isinstance(found, Reading), found
    return found


def wrong(text: str, response: Response = LOAD, decimal: str = ".") -> str:
    found = parse_reading(text, response, decimal)
    assert isinstance(found, Problem), found
    assert found.column == "reading"
    return found.words


@pytest.mark.parametrize(
    ("text", "kind", "value", "low", "high"),
    [
        ("84.2", "number", 84.2, None, None),
        (" 84.2\u00a0kN ", "number", 84.2, None, None),
        ("90", "number", 90.0, None, None),
        (">90", "above", None, 90.0, None),
        ("> 90 kN", "above", None, 90.0, None),
        ("<0.2", "below", None, None, 0.2),
        ("80..90", "between", None, 80.0, 90.0),
        ("80 .. 90 kN", "between", None, 80.0, 90.0),
        ("80…90", "between", None, 80.0, 90.0),
        ("LOST", "lost", None, None, None),
    ],
)
def test_readings(
    text: str, kind: str, value: float | None, low: float | None, high: float | None
) -> None:
    found = read(text)
    assert (found.kind, found.value, found.low, found.high) == (kind, value, low, high)


def test_a_printed_minus_is_a_minus() -> None:
    assert read("\u22123.5", ANGLE).value == -3.5


def test_a_decimal_comma_is_read_where_the_file_uses_it() -> None:
    assert read("84,2", decimal=",").value == 84.2
    between = read("80,5..89,5", decimal=",")
    assert (between.low, between.high) == (80.5, 89.5)
    assert "the decimal sign here is '.'" in wrong("84,2")


def test_another_unit_of_the_same_kind_is_converted() -> None:
    # NIST SP 811 (2008), appendix B.8: 1 lbf = 4.448 222 E+00 N.
    assert read("18950 lbf").value == pytest.approx(18950 * 4.448222e-3, rel=1e-6)
    assert read("80..18950 lbf", replace(LOAD, most=None)).low == pytest.approx(0.3558578, rel=1e-6)
    assert "a length" in wrong("84 mm")
    found = parse_reading("18950", LOAD, unit="lbf")
    assert isinstance(found, Reading)
    assert found.value == read("18950 lbf").value


def test_a_fraction_under_a_header_in_inches_is_read() -> None:
    leg = Response("leg", "mm", reads_to=0.1)
    found = parse_reading("5/16", leg, unit="in")
    assert isinstance(found, Reading)
    # 1 in = 25.4 mm exactly (NIST SP 811).
    assert (found.value, found.text) == (7.9375, "5/16 in")
    assert read("1 1/4 in", leg).value == 31.75
    assert "only inches" in wrong("5/16", leg)


def test_a_spreadsheet_date_is_not_turned_back() -> None:
    assert wrong("25 May") == (
        "'25 May' – your spreadsheet has turned 25.5 into a date. Set the column to Text and "
        "re-enter from the paper sheet; the original figure cannot be recovered safely."
    )


@pytest.mark.parametrize(
    "text",
    ["25-May", "May-25", "25. Mai", "2026-05-25", "25.05.2026", "5/25/26", "25/05/2026 00:00"],
)
def test_dates_in_many_forms_are_found(text: str) -> None:
    assert "into a date" in wrong(text)


def test_text_in_a_number_says_what_may_stand_there() -> None:
    assert wrong("didnt break") == (
        "'didnt break' is not a reading. Write >90 (did not break), 80..90 (between), lost (with "
        "a reason in note), or leave it empty for not-yet-read."
    )


def test_above_the_gauge_limit_names_the_two_ways_out() -> None:
    assert wrong("93") == (
        "93 is above the gauge limit 90. Write >90 if it had not broken, or change the limit "
        "openly:  weldtrial seal --amend."
    )
    assert "above the gauge limit" in wrong(">95")
    assert "above the gauge limit" in wrong("80..95")
    assert "below the gauge limit" in wrong("0.1", replace(LOAD, least=0.2))


@pytest.mark.parametrize(
    "text",
    ["nan", "inf", "-inf", "1e5", "1E-3", "", "..", ">", "80..", "..90", "1.2.3", "12:30", "#REF!",
     "84.2?", "0x10", "٣", "84 84", "-84", "90..80", "80..80", "9" * 400, "1/2", "<>3"],
)  # fmt: skip
def test_what_is_no_reading_is_refused_in_words(text: str) -> None:
    assert len(wrong(text)) > 20


@pytest.mark.parametrize(
    ("text", "hint"), [("80-90", "write 80..90"), (">=90", "write >90"), ("≥ 90", "write >90")]
)
def test_near_misses_are_shown_the_right_form(text: str, hint: str) -> None:
    assert hint in wrong(text)


def test_grades_and_pass_fail_are_parsed() -> None:
    assert read("PASS", CRACK).kind == "pass"
    assert read("fail", CRACK).kind == "fail"
    assert (read("b", LOOK).kind, read("b", LOOK).text) == ("grade", "B")
    assert "Write one of A, B, C" in wrong("D", LOOK)
    assert "Write pass, fail" in wrong("84.2", CRACK)
    assert "not a reading" in wrong("pass", LOAD)


@given(st.text(max_size=30), st.sampled_from([LOAD, ANGLE, CRACK, LOOK]), st.sampled_from(".,"))
def test_any_text_is_a_reading_or_a_problem(text: str, response: Response, decimal: str) -> None:
    assert isinstance(parse_reading(text, response, decimal), Reading | Problem)


@given(st.integers(min_value=0, max_value=900), st.sampled_from(".,"))
def test_a_number_reads_back_what_was_written(tenths: int, decimal: str) -> None:
    text = f"{tenths // 10}{decimal}{tenths % 10}"
    assert read(text, decimal=decimal).value == float(text.replace(",", "."))


def test_same_reading_goes_by_what_is_said() -> None:
    assert same_reading(read("84.20"), read("84.2 kN"))
    assert not same_reading(read("90"), read(">90"))


# ------------------------------------------------------------------ where it broke


def test_places_are_spelt_as_the_list_spells_them() -> None:
    assert parse_failed_at("Fusion-Line", LOAD) == "fusion line"
    assert parse_failed_at("haz", ANGLE) == "HAZ"
    assert parse_failed_at("", ANGLE) == ""
    found = parse_failed_at("throta", ANGLE)
    assert isinstance(found, Problem)
    assert "Did you mean 'throat'? The list is throat, toe, root, plate, slipped." in found.words


def test_a_plate_that_tore_makes_the_load_at_least_that() -> None:
    found = placed(read("88"), "plate")
    assert (found.kind, found.low, found.value) == ("above", 88.0, None)


def test_a_piece_that_slipped_was_not_tested() -> None:
    found = placed(read("88"), "slipped")
    assert (found.kind, found.value) == ("lost", None)


# ------------------------------------------------------------------ slips

OTHERS = (78.0, 81.5, 84.2, 79.9)


def test_a_tenth_of_the_others_is_doubted_and_the_likely_number_named() -> None:
    slip = find_slip(read("8.07"), LOAD, OTHERS)
    assert slip is not None
    assert slip.words == ("8.07 kN is a tenth of what the others read, and the gauge reads to 0.1.")
    assert slip.meant == "80.7"


def test_ten_times_the_others_is_doubted() -> None:
    slip = find_slip(read("807", replace(LOAD, most=None)), LOAD, OTHERS)
    assert slip is not None
    assert slip.meant == "80.7"
    assert "ten times" in slip.words


@pytest.mark.parametrize("text", ["80.7", "60", "110", "80", "18000 lbf", ">90", "lost", "80.70"])
def test_ordinary_readings_are_not_doubted(text: str) -> None:
    response = replace(LOAD, most=None)
    assert find_slip(read(text, response), response, OTHERS) is None


def test_a_reading_finer_than_the_gauge_is_doubted() -> None:
    slip = find_slip(read("80.73"), LOAD, OTHERS)
    assert slip is not None
    assert slip.words == "80.73 kN is finer than the gauge, which reads to 0.1."
    half = replace(LOAD, reads_to=0.5)
    assert find_slip(read("80.5"), half, OTHERS) is None
    assert find_slip(read("80.6"), half, OTHERS) is not None


def test_few_others_tell_nothing_unless_typical_is_known() -> None:
    assert find_slip(read("8"), LOAD, OTHERS[:2]) is None
    assert find_slip(read("8"), replace(LOAD, typical=Typical(80, 4)), ()) is not None
    assert find_slip(read("8"), LOAD, OTHERS[:1], enough=1) is not None


def test_the_likely_number_keeps_the_decimal_sign() -> None:
    slip = find_slip(read("8,07", decimal=","), LOAD, OTHERS, ",")
    assert slip is not None
    assert slip.meant == "80,7"


def test_places_are_listed_once() -> None:
    slips = Response("load", "kN", where=("throat", "slipped"))
    wrong = parse_failed_at("throta", slips)
    assert isinstance(wrong, Problem)
    assert wrong.words.endswith("Did you mean 'throat'? The list is throat, slipped.")


def test_a_whole_column_in_another_unit_is_doubted() -> None:
    expected = replace(LOAD, typical=Typical(80, 4))
    newtons = [78000.0 + 500 * place for place in range(8)]
    words = all_far(newtons, expected)
    assert "All 8 readings are far from what trial.toml expects" in words
    assert "Was it read in N? 79750 N is 79.8 kN." in words
    assert all_far([one / 1000 for one in newtons], expected) == ""
    assert all_far(newtons[:3], expected) == ""
    assert all_far(newtons, replace(LOAD, typical=None)) == ""
    assert all_far([*newtons[1:], 80.0], expected) == ""  # a mixture is left to find_slip
