from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.shared.chain import (
    CORRECTION_FIELDS,
    JOURNAL_FIELDS,
    append,
    link_of,
    read_chain,
)
from weldtrial.shared.journal import codes_opened, note, read_journal
from weldtrial.shared.problems import ProblemsFound

LINES = [
    {"when": f"2026-06-1{day}", "who": "shop", "event": "agreed", "details": f"choice {day}, yes"}
    for day in range(4)
]


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    path = tmp_path / "journal.csv"
    for line in LINES:
        append(path, JOURNAL_FIELDS, line)
    return path


def test_what_was_appended_reads_back_whole(journal: Path) -> None:
    rows, problems = read_chain(journal)
    assert problems == ()
    assert [{key: row[key] for key in JOURNAL_FIELDS} for row in rows] == LINES


def test_the_links_are_the_documented_sha_256(journal: Path) -> None:
    from hashlib import sha256

    rows, _ = read_chain(journal)
    first = '["","2026-06-10","shop","agreed","choice 0, yes"]'
    assert rows[0]["link"] == sha256(first.encode()).hexdigest()
    assert rows[1]["link"] == link_of(rows[0]["link"], list(LINES[1].values()))


def test_no_file_is_no_lines(tmp_path: Path) -> None:
    assert read_chain(tmp_path / "corrections.csv") == ((), ())


def test_an_edited_line_is_named(journal: Path) -> None:
    text = journal.read_text(encoding="utf-8")
    journal.write_text(text.replace("choice 1", "choice 9"), encoding="utf-8")
    rows, problems = read_chain(journal)
    assert len(rows) == 4
    assert [problem.place for problem in problems] == ["journal.csv row 3, column link"]
    assert "a line was changed, moved or taken out here" in problems[0].words


@pytest.mark.parametrize("row", [2, 3, 4])
def test_a_removed_line_is_named_where_it_is_missing(journal: Path, row: int) -> None:
    lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
    del lines[row - 1]
    journal.write_text("".join(lines), encoding="utf-8")
    _, problems = read_chain(journal)
    assert [problem.row for problem in problems] == [row]


def test_swapped_lines_are_named(journal: Path) -> None:
    lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
    lines[2], lines[3] = lines[3], lines[2]
    journal.write_text("".join(lines), encoding="utf-8")
    assert {problem.row for problem in read_chain(journal)[1]} == {3, 4, 5}


def test_a_spreadsheet_that_saved_it_again_breaks_nothing(journal: Path) -> None:
    text = journal.read_text(encoding="utf-8")
    rows, _ = read_chain(journal)
    lines = [";".join((*JOURNAL_FIELDS, "link"))]
    lines += [";".join(row.values()) for row in rows]
    for variant in (text.replace("\n", "\r\n"), "\ufeff" + text, "\r\n".join(lines)):
        journal.write_bytes(variant.encode("utf-8"))
        assert read_chain(journal) == (rows, ())


def test_a_broken_chain_goes_on_from_its_last_line(journal: Path) -> None:
    text = journal.read_text(encoding="utf-8")
    journal.write_text(text.replace("choice 1", "choice 9"), encoding="utf-8")
    append(journal, JOURNAL_FIELDS, LINES[0])
    rows, problems = read_chain(journal)
    assert len(rows) == 5
    assert [problem.row for problem in problems] == [3]


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"when,who\n", b"", b'when,"who'])
def test_a_file_that_is_no_journal_is_said_so_and_left_alone(
    tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "journal.csv"
    path.write_bytes(content)
    assert read_chain(path)[1]
    with pytest.raises(ProblemsFound):
        append(path, JOURNAL_FIELDS, LINES[0])
    assert path.read_bytes() == content


def test_formulas_are_kept_as_text(tmp_path: Path) -> None:
    path = tmp_path / "corrections.csv"
    row = dict.fromkeys(CORRECTION_FIELDS, "") | {"was": "=1+1", "why": "-@+ 'quoted', \"twice\""}
    append(path, CORRECTION_FIELDS, row)
    (read,), problems = read_chain(path)
    assert (read["was"], read["why"]) == (row["was"], row["why"])
    assert problems == ()


CELL = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=8)


@settings(max_examples=30)
@given(st.lists(st.lists(CELL, min_size=4, max_size=4), min_size=1, max_size=4))
def test_any_text_keeps_the_chain_whole(
    tmp_path_factory: pytest.TempPathFactory, lines: list[list[str]]
) -> None:
    path = tmp_path_factory.mktemp("chain") / "journal.csv"
    for cells in lines:
        append(path, JOURNAL_FIELDS, dict(zip(JOURNAL_FIELDS, cells, strict=True)))
    rows, problems = read_chain(path)
    assert problems == ()
    assert [list(row.values())[:4] for row in rows] == lines


def test_the_journal_knows_whether_codes_were_opened(tmp_path: Path) -> None:
    note(tmp_path, "sealed", "CACC-516C-4384", who="the trailer shop")
    assert not codes_opened(read_journal(tmp_path)[0])
    note(tmp_path, "opened-early", "22 of 36\nreadings in", when="2026-06-14T20:11:00+02:00")
    lines, problems = read_journal(tmp_path)
    assert codes_opened(lines)
    assert problems == ()
    assert lines[1].details == "22 of 36 readings in"
    assert lines[1].when == "2026-06-14T20:11:00+02:00"
