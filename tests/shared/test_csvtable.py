"""CSV as people and spreadsheets write it."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.csvtable import Shape, Table, parse_table, read_table

SHAPE = Shape(
    ("stamp", "reading", "failed_at", "note"),
    ("stamp", "reading"),
    frozenset({"reading"}),
    frozenset({"reading"}),
    {"break_load_kn": "reading"},
)
LOG = Shape(("stamp", "volts", "feed", "welder"), ("stamp",), frozenset({"volts", "feed"}))


def parse(text: str | bytes, decimal: str | None = None, shape: Shape = SHAPE) -> Table:
    data = text if isinstance(text, bytes) else text.encode()
    return parse_table(data, "f.csv", shape, decimal)  # type: ignore[arg-type]


def cells(table: Table) -> list[tuple[int, str, str, str]]:
    return [(row.number, row["stamp"], row["reading"], row["note"]) for row in table.rows]


def words(table: Table) -> str:
    return "\n".join(str(problem) for problem in table.problems)


DIALECTS = {
    "plain": b"stamp,reading,failed_at,note\nA2H,84.2,toe,ok\nA3T,80,,\n",
    "semicolons": b"stamp;reading;failed_at;note\r\nA2H;84,2;toe;ok\r\nA3T;80;;\r\n",
    "mark and tabs": b"\xef\xbb\xbfstamp\treading\tfailed_at\tnote\nA2H\t84.2\ttoe\tok\nA3T\t80\n",
    "quoted commas": b'stamp,reading,failed_at,note\n"A2H","84,2","toe","ok"\n"A3T","80","",""\n',
    "blank tail": b"stamp,reading,failed_at,note,,\nA2H,84.2,toe,ok,,\nA3T,80,,,,\n,,,,,\n\n",
    "told separator": b"sep=;\nstamp;reading;failed_at;note\nA2H;84,2;toe;ok\nA3T;80;;\n",
    "old line ends": b"stamp,reading,failed_at,note\rA2H,84.2,toe,ok\rA3T,80,,\r",
    "utf-16": "stamp\treading\tfailed_at\tnote\nA2H\t84.2\ttoe\tok\nA3T\t80\t\t\n".encode("utf-16"),
    "other header": b"Stamp, Break load kN ,Failed at,NOTE\nA2H,84.2,toe,ok\nA3T,80,,\n",
}


@pytest.mark.parametrize("name", DIALECTS)
def test_one_file_in_many_dialects_gives_the_same_cells(name: str) -> None:
    table = parse(DIALECTS[name])
    assert words(table) == ""
    found = [(r["stamp"], r["reading"].replace(",", "."), r["failed_at"]) for r in table.rows]
    assert found == [("A2H", "84.2", "toe"), ("A3T", "80", "")]
    assert all("," not in row["reading"] or table.decimal == "," for row in table.rows)


def test_rows_are_numbered_as_a_spreadsheet_shows_them() -> None:
    table = parse('stamp,reading,note\nA2H,1,"two\nlines"\n\nA3T,2,x\n')
    assert [row.number for row in table.rows] == [2, 4]


def test_western_windows_text_is_read() -> None:
    assert cells(parse("stamp,reading,note\nA2H,1,Düse zu\n".encode("cp1252")))[0][3] == "Düse zu"


def test_hard_blanks_are_blanks() -> None:
    assert cells(parse("stamp,reading\n\u00a0A2H\u202f,84\u00a0kN\n"))[0][1:3] == ("A2H", "84 kN")


def test_decimal_commas_in_a_comma_file_are_one_problem_with_a_remedy() -> None:
    table = parse("stamp,reading,note\nA2H,84,2,x\nA3T,80,5,\n")
    assert words(table) == (
        "f.csv row 2: the row has 4 columns, the header has 3 (and so in 1 more, the last being "
        "row 3) – looks like decimal commas in a comma-separated file. Save with semicolons, or "
        "run  weldtrial record --from f.csv --decimal ,  and check the preview."
    )
    assert table.rows == ()


def test_a_decimal_comma_that_fits_the_header_by_chance_is_still_found() -> None:
    assert "digits follow a number" in words(parse("stamp,reading,note\nA2H,84,2\n"))


@pytest.mark.parametrize(
    ("row", "reading"),
    [("A2H,84,2,toe", "84,2"), ("A2H,>89,5", ">89,5"), ("A2H,80,5..90,5,toe", "80,5..90,5"),
     ("A2H,18950,5 lbf", "18950,5 lbf"), ("A2H,84,toe", "84")],
)  # fmt: skip
def test_told_the_decimal_sign_split_numbers_are_put_together(row: str, reading: str) -> None:
    table = parse(f"stamp,reading,failed_at\n{row}\n", ",")
    assert words(table) == ""
    assert table.rows[0]["reading"] == reading


def test_numbers_that_could_be_joined_in_two_ways_are_not_joined() -> None:
    table = parse("stamp,volts,feed\nA2H,25,5,8\n", ",", LOG)
    assert table.rows == ()
    assert words(table) == (
        "f.csv row 2: the row has 4 columns, the header has 3, and which digits belong together "
        "cannot be told. Save the file with semicolons."
    )


def test_a_split_number_is_found_though_only_blanks_are_too_many() -> None:
    text = "stamp,volts,feed,welder\nA2H,25,5,,\n"
    assert "decimal commas" in words(parse(text, None, LOG))
    assert parse(text, ",", LOG).rows[0].cells["volts"] == "25,5"


def test_blanks_too_many_alone_are_no_trouble() -> None:
    assert cells(parse("stamp,reading,note\nA2H,84.2,x,,\n"))[0][1:] == ("A2H", "84.2", "x")


def test_a_number_beside_a_welder_called_by_a_number_is_left_alone() -> None:
    table = parse("stamp,volts,feed,welder\nA2H,25,8,2\n", None, LOG)
    assert table.rows[0]["welder"] == "2"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("stamp,raeding\nA2H,1\n", "'raeding' is not known here. Did you mean 'reading'?"),
        ("stamp,reading,reading\nA2H,1,2\n", "column 'reading' stands in the header twice"),
        ("A2H,84.2\nA3T,80\n", "the header lacks 'stamp' and 'reading'"),
        ("stamp,reading,\nA2H,1,x\n", "column 3 has no name in the header"),
        ('stamp,reading\nA2H,"1\n', "a quote opens and is not closed"),
        ("", "the file is empty"),
        (",,,\n", "the file is empty"),
        (b"stamp,reading\nA2H,1\0\n", "row 2: a NUL byte is no text"),
        (b"PK\x03\x04....", "a spreadsheet, not a CSV file"),
        (b"\x81\x8d\x8f\x90", "not a text file"),
        ("stamp,reading\nA2H," + "9" * 200_000, "cannot be read as CSV"),
    ],
)
def test_what_is_no_table_is_named(text: str | bytes, said: str) -> None:
    assert said in words(parse(text))


def test_a_column_of_ones_own_is_left_alone_with_a_warning() -> None:
    table = parse("stamp,reading,photo\nA2H,1,a.jpg\n")
    assert [problem.warning for problem in table.problems] == [True]
    assert cells(table) == [(2, "A2H", "1", "")]


def test_a_missing_file_and_a_folder_are_problems(tmp_path: Path) -> None:
    assert "missing" in words(read_table(tmp_path / "no.csv", "no.csv", SHAPE))
    assert "cannot be read" in words(read_table(tmp_path, "x.csv", SHAPE))


@given(st.binary(max_size=400))
def test_no_bytes_whatever_raise(data: bytes) -> None:
    table = parse(data)
    assert table.rows or table.problems or table.headers


@given(st.text(alphabet='stampreding,;\t"\n\r0189.<> ', max_size=200), st.sampled_from([None, ","]))
def test_no_near_csv_raises(text: str, decimal: str | None) -> None:
    for shape in (SHAPE, LOG):
        table = parse("stamp,reading,volts,feed\n" + text, decimal, shape)
        assert all(problem.file == "f.csv" for problem in table.problems)
