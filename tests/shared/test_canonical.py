"""The canonical form, against RFC 8785 and by property."""

from __future__ import annotations

import copy
import json
import math
import random
import struct
import tomllib
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.canonical import CANONICAL_VERSION, canonical, fingerprint, number_text

# RFC 8785, appendix B: IEEE 754 bytes and their ECMAScript form.
RFC_8785_NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), RFC_8785_NUMBERS.items())
def test_numbers_are_written_as_rfc_8785_lists_them(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert number_text(number) == text


def test_an_object_is_written_as_rfc_8785_section_3_2_shows() -> None:
    given_text = (
        '{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],'
        '"string": "\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/",'
        '"literals": [null, true, false]}'
    )
    expected = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert canonical(json.loads(given_text)).decode() == expected


def test_keys_stand_in_utf_16_order_as_rfc_8785_section_3_2_3_sorts_them() -> None:
    # The RFC's last key, U+FB33, is left out: form NFC takes it apart.
    keys = {"\u20ac": "Euro", "\r ": "CR", "1": "One", "\U0001f600": "Face", "\x80": "Control"}
    keys["\u00f6"] = "o umlaut"
    order = list(json.loads(canonical(keys)).values())
    assert order == ["CR", "One", "Control", "o umlaut", "Euro", "Face"]


def test_equal_numbers_are_the_same_bytes() -> None:
    assert canonical({"margin": 5}) == canonical({"margin": 5.0}) == b'{"margin":5}'
    assert canonical(0.1) == b"0.1"
    assert canonical(-0.0) == canonical(0)
    assert canonical(True) != canonical(1)


def test_text_is_brought_to_nfc_and_lf() -> None:
    assert canonical("cafe\u0301\r\nnext\rlast") == canonical("caf\u00e9\nnext\nlast")


@pytest.mark.parametrize(
    ("value", "error"),
    [
        (math.nan, ValueError),
        (math.inf, ValueError),
        (2**53 + 1, ValueError),
        (10**400, ValueError),
        (date(2026, 6, 11), TypeError),
        ({"a": object()}, TypeError),
        ({1: "a"}, TypeError),
        ({"\u00e9": 1, "e\u0301": 2}, ValueError),
        ("\ud800", ValueError),
    ],
)
def test_what_has_no_canonical_form_is_refused(value: Any, error: type[Exception]) -> None:
    with pytest.raises(error):
        canonical(value)


def test_version_1_is_fixed_for_good() -> None:
    value = {"format": 1, "margin": 5.0, "levels": ["mix", "co2"], "hard": True, "none": None}
    assert CANONICAL_VERSION == 1
    assert canonical(value) == (
        b'{"format":1,"hard":true,"levels":["mix","co2"],"margin":5,"none":null}'
    )
    assert fingerprint(value) == "3aba600f5b63dfe3003784b3adaf8f9850f4455f9ad6839768e95402a946233f"


# ------------------------------------------------------------------ properties

TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\x00\x7f"), max_size=12)
NUMBERS = st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False)
VALUES = st.recursive(
    st.booleans() | NUMBERS | TEXT,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.from_regex("[a-z_]{1,8}", fullmatch=True), inner, max_size=4)
    ),
    max_leaves=12,
)
KEY = st.from_regex("[a-z_]{1,8}", fullmatch=True)
TABLES = st.dictionaries(KEY, VALUES, min_size=1, max_size=5)


@given(NUMBERS)
def test_a_number_reads_back_as_itself(number: float) -> None:
    assert float(number_text(number)) == number


@given(VALUES)
def test_the_form_reads_back_as_json_and_stays_itself(value: Any) -> None:
    # Every JSON number is a double, so a long row of digits is not taken for a whole number.
    assert canonical(json.loads(canonical(value), parse_int=float)) == canonical(value)


def shuffled(value: Any, seed: random.Random) -> Any:
    """The same values with the keys of every table in another order."""
    if isinstance(value, dict):
        keys = list(value)
        seed.shuffle(keys)
        return {key: shuffled(value[key], seed) for key in keys}
    return [shuffled(one, seed) for one in value] if isinstance(value, list) else value


@given(TABLES, st.randoms(use_true_random=False))
def test_the_order_of_keys_does_not_matter(table: dict[str, Any], seed: random.Random) -> None:
    assert canonical(shuffled(table, seed)) == canonical(table)


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    if not isinstance(value, dict | list) or not value:
        return [path]
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    return [place for key, one in inner for place in places(one, (*path, key))]


@given(TABLES, st.data())
def test_any_changed_value_changes_the_fingerprint(table: dict[str, Any], data: Any) -> None:
    place = data.draw(st.sampled_from(places(table)))
    other = data.draw(VALUES)
    after: Any = copy.deepcopy(table)
    inner = after
    for key in place[:-1]:
        inner = inner[key]
    was = inner[place[-1]]
    inner[place[-1]] = other
    same = canonical(was) == canonical(other)
    assert (fingerprint(after) == fingerprint(table)) == same


LINES = ('title = "Cheaper gas"', "margin = 5", "levels = ['mix', 'co2']", "most = 90.0")


@given(
    st.permutations(LINES),
    st.lists(st.sampled_from(["", "# why", "   # margin = 8"]), min_size=4, max_size=4),
    st.sampled_from(["\n", "\r\n"]),
    st.booleans(),
)
def test_comments_wrapping_and_order_of_the_file_do_not_matter(
    lines: list[str], comments: list[str], end: str, wrapped: bool
) -> None:
    text = end.join(f"{line}  {note}" for line, note in zip(lines, comments, strict=True))
    if wrapped:
        text = text.replace("['mix', 'co2']", f"[{end}  'mix', # today's{end}  'co2',{end}]")
        text = text.replace("margin = 5", "margin = 5.0").replace("90.0", "90")
    assert canonical(tomllib.loads(text)) == (
        b'{"levels":["mix","co2"],"margin":5,"most":90,"title":"Cheaper gas"}'
    )
