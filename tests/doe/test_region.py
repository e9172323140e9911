"""The region that rules leave, and the corners they strike out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.doe.region import allowed, feasible_points, settings_at
from weldtrial.doe.struck_out import corners, struck_out_words
from weldtrial.shared.trial import LimitOnSettings, Trial
from weldtrial.shared.trialfile import read_trial

FILE = Path(__file__).parents[1] / "shared" / "trial_files" / "settings.toml"


def frames(*rules: str) -> Trial:
    """The shop's settings trial: volts slide with the gas."""
    trial, _ = read_trial(FILE)
    assert trial is not None
    return replace(trial, limits=tuple(LimitOnSettings(rule) for rule in rules))


CODED = st.floats(-1.5, 1.5)


@given(st.sampled_from(["mix", "co2"]), CODED, CODED, CODED)
def test_a_coded_point_is_allowed_as_its_settings_are(
    gas: str, voltage: float, feed: float, travel: float
) -> None:
    trial = frames("voltage * wire_feed <= 262")
    point = {"gas": gas, "voltage": voltage, "wire_feed": feed, "travel": travel}
    volts = {"mix": 25.8, "co2": 27.0}[gas] + 1.5 * voltage
    at = settings_at(trial, point)
    # The machine is set in steps of 0.1; travel, without one, in hundredths of its half range.
    assert at["voltage"] == pytest.approx(volts, abs=0.0501)
    assert at["wire_feed"] == pytest.approx(8.5 + feed, abs=0.0501)
    assert at["travel"] == pytest.approx(40 + 10 * travel, abs=0.0501)
    product = float(at["voltage"]) * float(at["wire_feed"])
    assert allowed(trial)(point) == (product <= 262 + 1e-6)


def test_corner_exactly_on_the_line_may_be_welded() -> None:
    """27.3 V × 9.5 m/min is 259.35, which no binary number is."""
    trial = frames("voltage * wire_feed <= 259.35")
    corner = {"gas": "mix", "voltage": 1.0, "wire_feed": 1.0, "travel": 1.0}
    assert allowed(trial)(corner)
    assert not allowed(frames("voltage * wire_feed < 259.35"))(corner)


def test_points_of_a_grid_counted_by_hand() -> None:
    free, cut = frames(), frames("voltage * wire_feed <= 262")
    assert len(feasible_points(free, 9)) == 2 * 9**3
    # Of co2's 81 places in volts and feed 4 lie above 262, each at 9 travel speeds:
    # 27.75 V × 9.5, 28.125 × 9.5, 28.5 × 9.5 and 28.5 × 9.25 (and 28.125 × 9.25 = 260.2 does not).
    above = sum(
        (27 + 1.5 * v / 4) * (8.5 + w / 4) > 262 for v in range(-4, 5) for w in range(-4, 5)
    )
    assert above == 4
    points = feasible_points(cut, 9)
    assert len(points) == 2 * 9**3 - 4 * 9
    # The same as the shop's map: 729 of mix, 693 of co2.
    assert sum(point["gas"] == "co2" for point in points) == 693


def test_grid_by_name_and_grids_that_cannot_be() -> None:
    trial = frames()
    row = {"voltage": (0.0,), "wire_feed": (-1.0, 1.0), "travel": (0.5,)}
    assert [one["wire_feed"] for one in feasible_points(trial, row)] == [-1.0, 1.0, -1.0, 1.0]
    with pytest.raises(ValueError, match="2 or more"):
        feasible_points(trial, 1)
    with pytest.raises(ValueError, match="too fine"):
        feasible_points(trial, 60)
    with pytest.raises(KeyError):
        feasible_points(trial, {"voltage": (0.0,)})


def test_two_of_the_corners_of_co2_are_pulled_in() -> None:
    """The house's example: 262 / 28.5 V is 9.19, and the machine is set in steps of 0.1."""
    trial = frames("voltage * wire_feed <= 262")
    mix, co2 = corners(trial)
    assert (mix.count, len(mix.struck), co2.count, len(co2.struck)) == (8, 0, 8, 2)
    assert {(one.factor, round(one.to or 0, 6)) for one in co2.struck} == {("wire_feed", 9.1)}
    assert struck_out_words(trial) == ("2 of co2's 8 corners pulled in to wire feed 9.1 m/min",)


def test_without_a_step_the_line_is_met_in_hundredths_of_the_half_range() -> None:
    trial = frames("voltage * wire_feed <= 262")
    plain = replace(trial, factors=tuple(replace(one, step=None) for one in trial.factors))
    struck = corners(plain)[1].struck
    assert [one.to for one in struck] == [9.19] * 2  # 262 / 28.5 = 9.193


@settings(max_examples=12, deadline=None)
@given(st.floats(240, 280), st.floats(195, 210))
def test_pulled_in_corners_are_allowed_and_lie_in_the_range(most: float, least: float) -> None:
    trial = frames(f"voltage * wire_feed <= {most:.3f}", f"voltage * wire_feed >= {least:.3f}")
    may = allowed(trial)
    for one in (struck for under in corners(trial) for struck in under.struck):
        assert not may(one.corner)
        if one.factor is not None and one.coded is not None:
            assert may({**one.corner, one.factor: one.coded})
            assert -1 - 1e-9 <= one.coded <= 1 + 1e-9


def test_a_corner_that_no_one_factor_brings_in() -> None:
    trial = frames("voltage * wire_feed <= 200 when gas = co2")
    (words,) = struck_out_words(trial)
    assert words == (
        "6 of co2's 8 corners may not be welded: 2 pulled in to wire feed 7.8 m/min; 2 pulled in "
        "to voltage 26.6 V; 2 struck out, and no one factor pulls them in"
    )
