from __future__ import annotations

from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.plancsv import plan_columns, plan_to_csv, read_plan
from weldtrial.shared.problems import ProblemsFound

TEXT = """\
run,round,setup,place,stamp,role,gas,voltage_V
1,1,1,1,A2H,warm-up,mix,25.5
2,1,1,2,M3M,count,mix,25.5
3,1,2,1,P2R,count,co2,27
4,2,3,1,D6L,count,co2,27
,,,,F4K,spare,,
"""


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    path = tmp_path / "plan.csv"
    path.write_text(TEXT, encoding="utf-8", newline="")
    return path


def test_the_file_is_the_same_to_the_byte(kit: ModuleType) -> None:
    trial = kit.trial_of()
    assert plan_columns(trial) == tuple(TEXT.splitlines()[0].split(","))
    assert plan_to_csv(kit.draw_plan(trial, "0" * 64), trial) == TEXT


def test_what_was_written_reads_back_as_the_plan(kit: ModuleType, plan_file: Path) -> None:
    trial = kit.trial_of()
    assert read_plan(plan_file, trial) == kit.draw_plan(trial, "0" * 64)


def test_a_spreadsheets_way_of_saving_is_read(kit: ModuleType, plan_file: Path) -> None:
    trial = kit.trial_of()
    expected = read_plan(plan_file, trial)
    for text in ("\ufeff" + TEXT, TEXT.replace(",", ";"), TEXT.replace("\n", "\r\n")):
        plan_file.write_text(text, encoding="utf-8", newline="")
        assert read_plan(plan_file, trial) == expected


@pytest.mark.parametrize(
    ("was", "now", "place", "words"),
    [
        ("3,1,2", "x,1,2", "row 4, column run", "'x' is not a whole number"),
        ("3,1,2", ",1,2", "row 4, column run", "only a spare has no run"),
        ("3,1,2", "2,1,2", "row 4, column run", "run 2 stands on row 3 already"),
        ("P2R", "M3M", "row 4, column stamp", "stamp M3M stands on row 3 already"),
        ("P2R", "", "row 4, column stamp", "the stamp is missing"),
        ("P2R,count", "P2R,counts", "row 4, column role", "'counts' is not one of count, warm-up"),
        ("P2R,count,co2", "P2R,count,argon", "row 4, column gas", "argon is not a planned"),
        ("P2R,count,co2,27", "P2R,count,co2,25.5", "row 4, column voltage_V", "under co2 (27)"),
        ("P2R,count,co2,27", "P2R,count,co2,volts", "row 4, column voltage_V", "not a number"),
        ("P2R,count,co2,27", "P2R,count,co2,", "row 4, column voltage_V", "setting is missing"),
        ("P2R,count,co2,27", "P2R,count,co2,27,5", "row 4", "has 9 cells, the header has 8"),
        ("voltage_V", "voltage", "row 1", "the header must read  run,round"),
        (TEXT.partition("\n")[2], "", "row 1", "there is no coupon below the header"),
        (TEXT, "", "row 1", "the header must read"),
        ("P2R", '"P2R', "row 4", "cannot be read as a table"),
    ],
)
def test_a_cell_that_does_not_fit_is_named(
    kit: ModuleType, plan_file: Path, was: str, now: str, place: str, words: str
) -> None:
    plan_file.write_text(TEXT.replace(was, now, 1), encoding="utf-8", newline="")
    with pytest.raises(ProblemsFound) as raised:
        read_plan(plan_file, kit.trial_of())
    assert f"plan.csv {place}" in [problem.place for problem in raised.value.problems]
    assert words in str(raised.value)


def test_all_problems_come_at_once(kit: ModuleType, plan_file: Path) -> None:
    text = TEXT.replace("P2R,count", "P2R,counts").replace("D6L,count,co2", "D6L,count,argon")
    plan_file.write_text(text, encoding="utf-8", newline="")
    with pytest.raises(ProblemsFound) as raised:
        read_plan(plan_file, kit.trial_of())
    assert [problem.row for problem in raised.value.problems] == [4, 5, 5]


def test_a_missing_plan_says_how_to_have_it_back(kit: ModuleType, tmp_path: Path) -> None:
    with pytest.raises(ProblemsFound, match=r"plan\.csv: is missing.*weldtrial seal"):
        read_plan(tmp_path / "plan.csv", kit.trial_of())


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8")))
def test_garbage_gives_words(
    kit: ModuleType, tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.mktemp("plan") / "plan.csv"
    path.write_bytes(data)
    with pytest.raises(ProblemsFound):
        read_plan(path, kit.trial_of())


CELL = st.sampled_from(["", "1", "-1", "mix", "25.5", "nan", "1e9", "spare", "A2H", '"', "9" * 50])


@given(st.lists(st.lists(CELL, min_size=6, max_size=9), min_size=1, max_size=4))
def test_rows_of_garbage_under_a_good_header_give_words_or_a_plan(
    kit: ModuleType, tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]]
) -> None:
    path = tmp_path_factory.mktemp("plan") / "plan.csv"
    lines = [TEXT.splitlines()[0], *(",".join(row) for row in rows)]
    path.write_text("\n".join(lines), encoding="utf-8")
    trial = kit.trial_of()
    plan, problems = None, ()
    try:
        plan = read_plan(path, trial)
    except ProblemsFound as found:
        problems = found.problems
    assert all(problem.file == "plan.csv" and problem.row for problem in problems)
    if plan is not None:
        assert len({run.stamp for run in plan.runs}) == len(plan.runs) == len(rows)
