"""Somebody's spreadsheet: any dialect, columns guessed and said, readings of one weld folded."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.review_averages import weigh_numbers
from weldtrial.shared.review_data import Theirs, as_trial, read_theirs
from weldtrial.shared.review_evidence import (
    averages,
    evidence_of_rows,
    finest_level,
    sides_to_compare,
)

HEADER = ("stamp", "gas", "bottle", "day", "order", "load_kN")


def invented(readings: int = 6, coupons: int = 6, seed: int = 4) -> list[tuple[str, ...]]:
    """Invented loads: coupons of two gases, each in a bottle of its own, read several times."""
    rng = np.random.default_rng(seed)
    rows = [HEADER]
    for coupon in range(coupons):
        gas, true = ("mix", "co2")[coupon % 2], rng.normal(80, 4)
        for _ in range(readings):
            rows.append((f"A{coupon}", gas, f"B{coupon}", str(1 + coupon // 2), str(len(rows)),
                         f"{true + rng.normal(0, 0.3):.1f}"))  # fmt: skip
    return rows


def as_csv(rows: list[tuple[str, ...]], mark: str = ",", decimal: str = ".") -> bytes:
    lines = [rows[0], *((*row[:-1], row[-1].replace(".", decimal)) for row in rows[1:])]
    return "\n".join(mark.join(row) for row in lines).encode()


def test_rows_of_one_stamp_are_readings_of_one_coupon() -> None:
    theirs = read_theirs(as_csv(invented()), "their.csv", {})
    assert theirs.problems == ()
    assert theirs.coupons == 6
    assert theirs.folded[0] == (
        "rows 1–6 share one stamp. Treated as 6 readings of 1 coupon. "
        "You have n = 6 coupons, not 36."
    )
    assert theirs.folded[1].startswith("The same of rows 7–12, 13–18, ")


@pytest.mark.parametrize(("cell", "size"), [("1e300", "large"), ("-1e155", "large"),
                                            ("1e-300", "small")])  # fmt: skip
def test_a_reading_that_no_gauge_shows_is_pointed_at(cell: str, size: str) -> None:
    data = f"gas,kN,run\na,80,1\nb,{cell},2\nb,81,1e300\n".encode()
    problem = read_theirs(data, "their.csv", {}).problems[0]
    assert (problem.row, problem.column, problem.value) == (3, "kN", cell)
    assert f"is too {size} to be weighed. Check it, or write the column in a unit" in str(problem)


@pytest.mark.parametrize(("yes", "no"), [("yes", "no"), ("1", "0"), ("Fail", "pass")])
def test_yes_and_no_are_counted_and_the_count_is_told(yes: str, no: str) -> None:
    cells = [f"new,{yes}"] * 3 + [f"new,{no}"] + [f"before,{no}"] * 12
    data = "\n".join(["spool,porous", *cells]).encode()
    for asked in ({}, {"value": "porous"}):
        said = str(read_theirs(data, "their.csv", asked).problems[0])  # type: ignore[arg-type]
        assert 'weldtrial review --counts "new 3/4, before 0/12" --what porous' in said


def test_line_ends_of_every_age() -> None:
    plain = as_csv(invented())
    for end in (b"\r", b"\r\n"):
        assert (
            read_theirs(plain.replace(b"\n", end), "t", {}).rows == read_theirs(plain, "t", {}).rows
        )


def test_what_is_no_text_is_called_so() -> None:
    problem = read_theirs(b"gas,kN\na,\x018\x02\n", "their.csv", {}).problems[0]
    assert str(problem) == "their.csv: is no text file. Save it as CSV."


def test_every_dialect_of_a_spreadsheet_reads_alike() -> None:
    rows = invented()
    plain = read_theirs(as_csv(rows), "their.csv", {})
    for data in (
        b"\xef\xbb\xbf" + as_csv(rows),
        as_csv(rows, ";", ","),
        as_csv(rows, "\t", ","),
        as_csv(rows, ";").replace(b"\n", b"\r\n"),
    ):
        other = read_theirs(data, "their.csv", {})
        assert [(r.value, r.group, r.coupon) for r in other.rows] == [
            (r.value, r.group, r.coupon) for r in plain.rows
        ]
        assert other.columns == plain.columns


def test_guessed_columns_are_said_and_named_ones_are_not_guessed() -> None:
    theirs = read_theirs(as_csv(invented()), "their.csv", {"setup": "stamp", "coupon": ""})
    assert "took 'load_kN' as the reading" in theirs.columns.taken
    assert "took 'gas' as the side (what is compared)" in theirs.columns.taken
    assert theirs.columns.of("setup") == "stamp"
    assert theirs.columns.of("coupon") == ""
    assert not [words for words in theirs.columns.taken if "'stamp'" in words]
    assert theirs.unit == "kN"


def test_as_given_and_folded_are_the_published_tests_at_their_own_level() -> None:
    """As given: the two-sample t test of 36 rows; folded: that of 6 coupon averages (scipy)."""
    rows = invented()
    theirs = read_theirs(as_csv(rows), "their.csv", {})
    loads = {gas: [float(row[-1]) for row in rows[1:] if row[1] == gas] for gas in ("co2", "mix")}
    means = {gas: np.array(found).reshape(-1, 6).mean(axis=1) for gas, found in loads.items()}
    for folded, data, n in ((False, loads, 36), (True, means, 6)):
        trial, record, problems = as_trial(theirs, folded=folded, control="mix")
        assert not problems
        assert trial is not None
        assert record is not None
        found = analyse(trial, record).responses[0]
        compared = found.comparisons[0]
        test = stats.ttest_ind(data["co2"], data["mix"])
        assert found.n == n
        assert compared.df == pytest.approx(n - 2)
        assert compared.p == pytest.approx(test.pvalue, rel=1e-7)
        assert compared.difference == pytest.approx(np.mean(data["co2"]) - np.mean(data["mix"]))


def test_readings_past_the_gauge_stay_past_it() -> None:
    rows = invented(readings=1, coupons=12)
    rows[3] = (*rows[3][:-1], ">90")
    theirs = read_theirs(as_csv(rows), "their.csv", {})
    assert [row.beyond for row in theirs.rows].count("above") == 1
    trial, record, _ = as_trial(theirs, folded=True)
    assert trial is not None
    assert record is not None
    kinds = [c.readings["load_kN"][0].kind for c in record.coupons]
    assert kinds.count("above") == 1
    assert analyse(trial, record).responses[0].n == 12


def test_stamps_that_both_sides_use_stay_apart() -> None:
    rows = [("no", "gas", "kN"), *((str(n), gas, f"{80 + n}.{n}") for gas in ("a", "b")
                                   for n in range(1, 5))]  # fmt: skip
    theirs = read_theirs(as_csv(rows), "their.csv", {"coupon": "no"})
    assert theirs.coupons == 8
    assert theirs.folded == ()
    _, record, problems = as_trial(theirs, folded=True)
    assert not problems
    assert record is not None
    assert len(record.coupons) == 8


def problems_of(text: str, **asked: str) -> tuple[Theirs, str]:
    theirs = read_theirs(text.encode(), "their.csv", asked)  # type: ignore[arg-type]
    assert theirs.rows == ()
    return theirs, "\n".join(map(str, theirs.problems))


def test_every_wrong_cell_is_named_at_once() -> None:
    _, words = problems_of(
        "gas,load\nmix,81.2\nco2,didnt break\n,79\nMix,25 May\nco2,80\nmix,77.1\nco2,\n"
    )
    assert "their.csv row 3, column load: 'didnt break' is not a reading." in words
    assert "Write a number, >90 (did not break), lost, or leave it empty." in words
    assert "their.csv row 4, column gas: has no side here" in words
    assert "row 5, column load: '25 May': a spreadsheet has turned 25.5 into a date." in words
    assert "'Mix' and 'mix' differ only in capitals." in words


@pytest.mark.parametrize(
    ("text", "asked", "said"),
    [
        ("gas,load\nmix,1\nco2,2\n", {"value": "laod"}, "Did you mean 'load'?"),
        ("gas,load\nmix,1\nco2,2\n", {"group": "load", "value": "load"}, "named twice"),
        ("a,b\nx,1\ny,2\n", {"value": "b"}, "no column looks like the side"),
        ("a,b\nx,q\ny,r\n", {}, "no column looks like the reading"),
        ("gas,load\nmix,1\nmix,2\n", {"group": "gas", "value": "load"}, "has one side, mix"),
        ("gas,load\nmix,\nco2,NA\n", {"group": "gas", "value": "load"}, "holds no reading"),
        ("gas,load\nmix,80,5\nco2,81\n", {}, "has 3 cells, the header 2"),
        ("", {}, "is empty"),
    ],
)
def test_a_file_that_cannot_be_weighed_says_why(
    text: str, asked: dict[str, str], said: str
) -> None:
    assert said in problems_of(text, **asked)[1]


def test_evidence_is_taken_at_the_level_the_file_tells_of() -> None:
    theirs = read_theirs(as_csv(invented(coupons=12)), "their.csv", {})
    sides, said, problems = sides_to_compare(theirs)
    assert (sides, said, problems) == (("co2", "mix"), ("took 'mix' as the old side",), ())
    for level, n in (("rows", 36), ("coupons", 6), ("setups", 6)):
        one = evidence_of_rows(theirs.rows, "co2", "mix", unit="kN", level=level)  # type: ignore[arg-type]
        assert (one.new.n, one.old.n, one.new.setups) == (n, n, 6)
        assert one.new.mean == pytest.approx(np.mean(one.values_new))
        assert one.new.sd == pytest.approx(np.std(one.values_new, ddof=1))
    assert finest_level(theirs.rows) == "setups"
    weighed = weigh_numbers(evidence_of_rows(theirs.rows, "co2", "mix", unit="kN"))
    test = stats.ttest_ind(*(averages(theirs.rows, side, "setups") for side in ("co2", "mix")),
                           equal_var=False)  # fmt: skip
    said_p = [one.values["p"] for one in weighed.says if "p" in one.values]
    assert said_p[0] == pytest.approx(test.pvalue, rel=1e-6)


@pytest.mark.parametrize(
    ("new", "old", "words"),
    [("co3", "", "Did you mean 'co2'?"), ("mix", "mix", "cannot be compared with itself"),
     ("", "co2", "")],
)  # fmt: skip
def test_sides_are_those_of_the_file(new: str, old: str, words: str) -> None:
    theirs = read_theirs(as_csv(invented()), "their.csv", {})
    sides, said, problems = sides_to_compare(theirs, new, old)
    assert words in " ".join(map(str, problems))
    if not words:
        assert (sides, said) == (("mix", "co2"), ())


def test_of_three_sides_the_new_one_is_asked_for() -> None:
    text = "gas,load\n" + "\n".join(f"{g},{80 + n}" for n in range(4) for g in ("a", "old", "c"))
    theirs = read_theirs(text.encode(), "their.csv", {})
    _, _, problems = sides_to_compare(theirs)
    assert "has 3 sides. Say which is claimed about:  --new a" in str(problems[0])
    assert sides_to_compare(theirs, new="c")[0] == ("c", "old")


def test_columns_that_only_sound_alike_are_not_taken() -> None:
    text = "wire_feed,heat_input,arc_time,gas,kN\n" + "\n".join(
        f"{8.5 + n % 2},{1.1 + n / 100:.2f},{30 + n},{'ab'[n % 2]},{80 + n}" for n in range(8)
    )
    theirs = read_theirs(text.encode(), "their.csv", {})
    assert dict(theirs.columns.names) == {"group": "gas", "value": "kN"}
    assert set(theirs.rows[0].measures) == {"wire_feed", "heat_input", "arc_time"}
