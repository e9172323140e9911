"""Names of factors, responses and levels."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.names import COLUMNS, DEVICES, level_fault, name_fault, slugified
from weldtrial.shared.plancsv import FIXED_COLUMNS


@pytest.mark.parametrize("name", ["gas", "wire_feed", "g1", "a" * 40])
def test_good_names(name: str) -> None:
    assert name_fault(name) == ""


@pytest.mark.parametrize(
    "name", ["", "Gas", "1gas", "_gas", "gas flow", "gäs", "gas-flow", "a" * 41, "con", "lpt1",
             "stamp", "intercept", "gas\n"],
)  # fmt: skip
def test_bad_names_are_refused_with_a_remedy(name: str) -> None:
    assert name_fault(name).endswith(("label.", "column.", "longer.", "name."))


def test_reserved_names_are_the_columns_of_the_plan_and_windows_devices() -> None:
    assert set(FIXED_COLUMNS) <= COLUMNS
    assert {"con", "prn", "aux", "nul", "com1", "lpt9"} <= DEVICES


@given(st.text(max_size=60))
def test_a_suggested_name_is_good(text: str) -> None:
    name = slugified(text)
    assert name == "" or name_fault(name) == ""


@pytest.mark.parametrize("level", ["mix", "M21 (18 % CO2)", "co2-dry", "n°2"])
def test_good_levels(level: str) -> None:
    assert level_fault(level) == ""


@pytest.mark.parametrize(
    "level", ["", " mix", "a:b", "a=b", "a,b", "=1", "-x", "@x", "a\tb", "a" * 41]
)
def test_bad_levels_are_refused(level: str) -> None:
    assert level_fault(level).endswith(".")
