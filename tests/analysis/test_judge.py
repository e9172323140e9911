"""Hand-made intervals hit each verdict rule, boundaries included."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.analysis.judge import Bounds, Evidence, is_equivalent, judge, strength
from weldtrial.shared.responses import Ask

M = 5.0

CASES: list[tuple[str, tuple[float, float, float, float], Ask, str]] = [
    ("wholly below the margin", (-12, -6, -11, -7), "no-worse", "worse_beyond_margin"),
    ("touching the margin from below", (-12, -5, -11, -6), "no-worse", "worse_margin_unsettled"),
    ("below zero, above the margin", (-4.5, -0.5, -4, -1), "no-worse", "worse_within_margin"),
    ("below zero, 90 % end on the margin", (-6, -1, -5, -2), "no-worse", "worse_margin_unsettled"),
    ("below zero, across the margin", (-7, -1, -6.5, -1.5), "difference", "worse_margin_unsettled"),
    ("above zero, across the margin", (1, 7, 1.5, 6.5), "difference", "better_margin_unsettled"),
    ("above zero, inside the margin", (0.5, 4.5, 1, 4), "equal-enough", "better_within_margin"),
    ("wholly above the margin", (6, 12, 7, 11), "difference", "better_beyond_margin"),
    ("loss ruled out, gain open", (-4, 9, -3, 8), "difference", "not_worse"),
    ("inside both margins", (-4, 3, -3, 2), "difference", "equivalent"),
    ("inside both, asked no-worse", (-4, 3, -3, 2), "no-worse", "not_worse"),
    ("90 % inside, 95 % across", (-5.5, 3, -4.9, 2), "equal-enough", "equivalent"),
    ("90 % end on the margin", (-6, 3, -5, 2), "no-worse", "not_settled"),
    ("across everything", (-9, 9, -8, 8), "no-worse", "not_settled"),
    ("touching zero from below", (-9, 0, -8, -1), "difference", "not_settled"),
]


@pytest.mark.parametrize(("name", "ends", "ask", "code"), CASES, ids=[case[0] for case in CASES])
def test_interval_hits_rule(
    name: str, ends: tuple[float, float, float, float], ask: Ask, code: str
) -> None:
    assert judge(Evidence.of(Bounds(*ends), M), ask) == code


@pytest.mark.parametrize(
    ("ends", "code"),
    [((-9, -1, -8, -2), "difference_shown"), ((1, 9, 2, 8), "difference_shown"),
     ((-1, 9, 0.5, 8), "not_settled")],
)  # fmt: skip
def test_without_a_margin_only_a_difference_can_be_shown(
    ends: tuple[float, float, float, float], code: str
) -> None:
    assert judge(Evidence.of(Bounds(*ends), None), "difference") == code


ends = st.tuples(st.floats(-30, 30), st.floats(0.01, 20), st.floats(0.1, 0.95), st.floats(0.1, 15))


@given(ends)
def test_mirrored_evidence_gives_the_mirrored_verdict(
    numbers: tuple[float, float, float, float],
) -> None:
    middle, half, share, margin = numbers
    bounds = Bounds(middle - half, middle + half, middle - share * half, middle + share * half)
    code = judge(Evidence.of(bounds, margin), "difference")
    mirrored = judge(Evidence.of(bounds.flipped(), margin), "difference")
    swap = {"worse": "better", "better": "worse"}
    side = code.split("_")[0]
    if side in swap:
        assert mirrored == code.replace(side, swap[side], 1)
    elif code == "equivalent":
        assert mirrored == "equivalent"
    else:
        assert mirrored in ("not_worse", "not_settled")


@given(ends)
def test_equivalence_is_the_two_one_sided_tests(
    numbers: tuple[float, float, float, float],
) -> None:
    middle, half, share, margin = numbers
    bounds = Bounds(middle - half, middle + half, middle - share * half, middle + share * half)
    inside = -margin < middle - share * half and middle + share * half < margin
    assert is_equivalent(Evidence.of(bounds, margin)) == inside


def test_strength_needs_a_drawn_order_and_four_units() -> None:
    assert strength("not_worse", shuffled=True, units_per_level=4) == "shown"
    assert strength("not_worse", shuffled=True, units_per_level=3) == "suggests"
    assert strength("not_worse", shuffled=False, units_per_level=9) == "suggests"
    assert strength("not_settled", shuffled=True, units_per_level=9) is None
