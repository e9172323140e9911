"""Stamps: two places apart, readable, safe from spreadsheets, and blind."""

from __future__ import annotations

import re
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.doe.draw import Draw
from weldtrial.doe.stamps import is_stamp, long_stamps, nearest_stamp, short_stamps, stamps
from weldtrial.shared.problems import PlanRefused

GOLDEN = ["H6Y", "X4H", "E4N", "X3E", "H2L", "K2N", "D7X", "C7V"]


def differing(first: str, second: str) -> int:
    return sum(a != b for a, b in zip(first, second, strict=True))


def test_three_characters_give_85_any_two_at_least_two_places_apart() -> None:
    codes = short_stamps()
    assert len(set(codes)) == 85
    assert min(differing(a, b) for a, b in combinations(codes, 2)) == 2


def test_four_characters_give_1445_any_two_at_least_two_places_apart() -> None:
    codes = long_stamps()
    assert len(set(codes)) == 1445
    # Distance two is the same as: no two agree after any one place is struck out.
    for place in range(4):
        assert len({code[:place] + code[place + 1 :] for code in codes}) == 1445


@pytest.mark.parametrize("codes", [short_stamps(), long_stamps()])
def test_characters_are_the_ones_that_cannot_be_misread(codes: tuple[str, ...]) -> None:
    assert not set("".join(codes)) & set("IOQSZBGUW01589")
    assert all(re.fullmatch(r"[A-Z][2-7][A-Z]{1,2}", code) for code in codes)


@pytest.mark.parametrize("codes", [short_stamps(), long_stamps()])
def test_no_stamp_is_a_number_a_date_or_a_missing_value(codes: tuple[str, ...]) -> None:
    from io import StringIO

    import pandas as pd

    for code in codes:
        with pytest.raises(ValueError, match="could not convert"):
            float(code)
    read = pd.read_csv(StringIO("stamp\n" + "\n".join(codes)))["stamp"]
    assert read.tolist() == list(codes)


def test_backwards_is_not_another_stamp() -> None:
    codes = set(short_stamps())
    assert not codes & {code[::-1] for code in codes}


def test_every_stamp_is_recognised_and_no_neighbour_is() -> None:
    for code in short_stamps() + long_stamps()[::17]:
        assert is_stamp(code)
        for place in range(len(code)):
            for other in "ACDEFHJKLMNPRTVXY23467":
                if other != code[place]:
                    assert not is_stamp(code[:place] + other + code[place + 1 :])


def test_golden_stamps_do_not_change() -> None:
    assert list(stamps(Draw(bytes(range(32))), 8)) == GOLDEN


@given(key=st.binary(min_size=32, max_size=32), count=st.integers(0, 200))
def test_drawn_stamps_are_distinct_far_apart_and_repeatable(key: bytes, count: int) -> None:
    drawn = stamps(Draw(key), count)
    assert len(set(drawn)) == len(drawn) == count
    assert {len(code) for code in drawn} <= {3 if count <= 85 else 4}
    assert all(differing(a, b) >= 2 for a, b in combinations(drawn[:60], 2))
    assert drawn == stamps(Draw(key), count)


def test_more_than_there_are_is_refused() -> None:
    with pytest.raises(PlanRefused, match="1445"):
        stamps(Draw(bytes(32)), 1446)
    assert len(stamps(Draw(bytes(32)), 1445)) == 1445


@pytest.mark.parametrize(
    ("text", "found"),
    [("m3r", "M3R"), (" M3R ", "M3R"), ("M3N", "M3R"), ("N3R", "M3R"), ("NER", "M3R"),
     ("MER", "M3R"), ("0ZH", "D2H"), ("M3", None), ("", None), ("ZZZ", None), ("M3RR", None)],
)  # fmt: skip
def test_the_nearest_stamp_is_found_or_nothing(text: str, found: str | None) -> None:
    assert nearest_stamp(text, ["M3R", "A2F", "D2H"]) == found


def test_two_equally_near_stamps_give_no_answer() -> None:
    assert nearest_stamp("A2X", ["A2F", "L2X"]) is None


@given(st.text(max_size=6), st.lists(st.sampled_from(short_stamps()), max_size=85))
def test_any_text_gives_a_known_stamp_or_none(text: str, known: list[str]) -> None:
    found = nearest_stamp(text, known)
    assert found is None or found in known
