"""Whatever stands in somebody's file: problems or findings come back, never a crash."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.analysis.evidence_grade import grade_evidence
from weldtrial.analysis.review_answers import answers_of_rows, cannot_tell_from, faults_of_rows
from weldtrial.analysis.suspicions import find_suspicions
from weldtrial.shared.answers import read_answers
from weldtrial.shared.review_data import Theirs, as_trial, read_theirs

CELLS = st.sampled_from(
    ["mix", "co2", "80.5", "81", "81,5", "79.99", ">90", "<2", "", "NA", "lost", "2026-05-04",
     "2026-05-04 09:10", "25 May", "-3", "1e9", "1e300", "1e-300", "-1e155", "1e11",
     "1e-11", "0", "yes", "\u2212 4", "9:05", "A1", "B2"]
)  # fmt: skip
HEADERS = st.lists(
    st.sampled_from(["gas", "load", "load (kN)", "stamp", "bottle", "day", "run", "time", "reader",
                     "plate", "throat", "volts", "note", "x"]),
    min_size=1, max_size=8, unique=True,
)  # fmt: skip


@st.composite
def files(draw: st.DrawFn) -> bytes:
    mark = draw(st.sampled_from([",", ";", "\t"]))
    header = draw(HEADERS)
    width = st.lists(CELLS, min_size=len(header), max_size=len(header))
    rows = draw(st.lists(width, max_size=14))
    return "\n".join(mark.join(row) for row in [header, *rows]).encode()


def whole_way(theirs: Theirs) -> None:
    assert all(str(problem) for problem in theirs.problems)
    noticed = find_suspicions(theirs.rows)
    seen = answers_of_rows(theirs.rows, noticed, folded=bool(theirs.folded))
    grade_evidence(seen, faults_of_rows(noticed, seen))
    cannot_tell_from(noticed, seen)
    for folded in (False, True):
        trial, record, problems = as_trial(theirs, folded=folded)
        assert (trial is None) == (record is None)
        assert trial is not None or problems or not theirs.rows


@settings(max_examples=150)
@given(files())
def test_any_table_is_read_or_says_why_not(data: bytes) -> None:
    whole_way(read_theirs(data, "their.csv", {}))


@settings(max_examples=80)
@given(st.data())
def test_numbers_of_any_shape_are_looked_through(data: st.DataObject) -> None:
    number = st.one_of(
        st.just(80.0),
        st.floats(-1e6, 1e6).map(lambda v: round(v, 1)),
        st.floats(allow_nan=False, allow_infinity=False),
    )
    lines = ["gas,run,day,throat,bottle,load"]
    for n in range(data.draw(st.integers(4, 24))):
        side = data.draw(st.sampled_from("ab"))
        day = data.draw(st.sampled_from("12"))
        throat = data.draw(st.sampled_from(["5.5", "5.6", ""]))
        bottle = data.draw(st.sampled_from(["B1", "B2", f"B{n}"]))
        lines.append(f"{side},{n + 1},{day},{throat},{bottle},{data.draw(number)}")
    whole_way(read_theirs("\n".join(lines).encode(), "their.csv", {}))


@given(st.binary(max_size=200))
def test_any_bytes_are_no_answers_and_no_table_or_say_so(data: bytes) -> None:
    answers, problems = read_answers(data, "answers.toml")
    assert all(str(problem) for problem in problems)
    assert all(one.value in one.question.allowed for one in answers.values())
    assert read_theirs(data, "their.csv", {}).problems
