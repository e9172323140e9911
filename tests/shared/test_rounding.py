"""Rounding by uncertainty: at most two significant figures in the half-width."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.rounding import brief, by_uncertainty, decimals_for, fixed, interval, p_value


@pytest.mark.parametrize(
    ("half_width", "decimals"),
    [(2.9, 1), (0.125, 2), (29, 0), (290, 0), (9.96, 0), (0.0996, 2), (0, 1), (math.inf, 1)],
)
def test_decimals_keep_two_figures_of_the_half_width(half_width: float, decimals: int) -> None:
    assert decimals_for(half_width) == decimals


@given(st.floats(min_value=1e-6, max_value=90))
def test_a_half_width_is_shown_with_two_figures_at_most(half_width: float) -> None:
    shown = fixed(half_width, decimals_for(half_width)).replace(".", "").lstrip("0")
    assert len(shown) <= 2


@pytest.mark.parametrize(
    ("value", "half_width", "words"),
    [(-1.2345, 2.9, "−1.2"), (0.4188, 0.125, "+0.42"), (-0.01, 2.9, "0.0"), (81.26, 29, "+81")],
)
def test_values_carry_a_true_sign(value: float, half_width: float, words: str) -> None:
    assert by_uncertainty(value, half_width, signed=True) == words


def test_both_ends_of_an_interval_are_rounded_alike() -> None:
    assert interval(-4.1234, 1.7, signed=True) == "−4.1 to +1.7"
    assert interval(0.875, 1.076) == "0.88 to 1.08"


@pytest.mark.parametrize(
    ("value", "words"),
    [(78.0, "78"), (1.0853333, "1.085"), (-0.5, "−0.5"), (None, ""), (math.nan, "–")],
)
def test_readings_are_brief(value: float | None, words: str) -> None:
    assert brief(value) == words


@pytest.mark.parametrize(
    ("p", "words"), [(0.34, "0.340"), (0.0341, "0.034"), (0.00054, "0.0005"), (1e-9, "< 0.0001")]
)
def test_p_is_a_plain_number(p: float, words: str) -> None:
    assert p_value(p) == words


def test_an_interval_without_an_end_is_said_in_words() -> None:
    assert interval(89.34, math.inf) == "89.3 or more"
    assert interval(-math.inf, -22.34, signed=True, unit=" kN") == "−22.3 kN or less"
    assert interval(-math.inf, 0.423, signed=True, unit=" mm") == "+0.42 mm or less"
    assert interval(-math.inf, math.inf) == "any value"
    assert by_uncertainty(math.inf, math.inf) == "past the gauge"
