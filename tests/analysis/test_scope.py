"""The scope sentence names joint, gases, settings and welder, and nothing beyond them."""

from __future__ import annotations

from dataclasses import replace

from weldtrial.analysis.scope import NOT_A_QUALIFICATION, comparison_point, scope
from weldtrial.shared.trial import Held, Joint, Quantity, Trial


def test_scope_changes_with_the_plate_and_ends_with_what_it_is_not(trial: Trial) -> None:
    joint = Joint(type="T-joint", plate_grade="S275", plate_thickness=Quantity(8, "mm"))
    before = scope(replace(trial, joint=joint))
    after = scope(replace(trial, joint=replace(joint, plate_grade="S355")))
    assert "S275 8 mm" in before
    assert "S355 8 mm" in after
    assert before.endswith(NOT_A_QUALIFICATION)


def test_scope_names_gases_own_settings_held_and_welder(trial: Trial) -> None:
    words = scope(replace(trial, held=(Held("gas_flow", "L/min", 15),)))
    for piece in (
        "mix (M21-ArC-18) and co2 (C1)",
        "Arc voltage 25.5 V for mix, 27 V for co2",
        "Travel speed 30 to 50 cm/min",
        "gas flow 15 L/min",
        "welded by welder 1 on one machine. Nothing else.",
    ):
        assert piece in words


def test_comparison_point_is_each_gas_own_centre(trial: Trial) -> None:
    words = comparison_point(trial)
    assert "25.5 V (mix) / 27 V (co2)" in words
    assert "Travel speed 40 cm/min" in words
    assert "each at its own centre" in words
    bare = replace(trial, factors=trial.factors[:1])
    assert comparison_point(bare) == ""
