"""The trade's arithmetic against worked rows, handbook numbers and plain geometry."""

from __future__ import annotations

import inspect
import math
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared import weld
from weldtrial.shared.units import convert

# Worked rows: current A, voltage V, travel mm/min, arc energy kJ/mm and kJ/in, heat input kJ/mm
# and kJ/in, to the digits printed.  Arc energy: ISO/TR 18491; k = 0.8: ISO/TR 17671-1.
HEAT_ROWS = [
    (250, 28, 400, 1.050, 26.7, 0.840, 21.3),
    (300, 31, 450, 1.240, 31.5, 0.992, 25.2),
    (140, 18.5, 305, 0.510, 12.9, 0.408, 10.4),
    (140, 20.5, 305, 0.565, 14.3, 0.452, 11.5),
    (200, 22, 350, 0.754, 19.2, 0.603, 15.3),
    (180, 20, 254, 0.850, 21.6, 0.680, 17.3),
]

# Worked rows: wire mm, wire feed m/min, travel mm/min, efficiency -> area mm², leg, throat, kg/h.
BEAD_ROWS = [
    (1.2, 8, 400, 0.96, 21.7, 6.28, 4.44, 4.09),
    (1.2, 8, 400, 0.92, 20.8, 6.15, 4.35, 3.92),
    (0.9, 6.5, 300, 0.95, 13.1, 4.88, 3.45, 1.85),
    (0.9, 6.5, 300, 0.90, 12.4, 4.75, 3.36, 1.75),
    (1.0, 9, 400, 0.96, 17.0, 5.55, 3.93, 3.20),
    (1.2, 9.5, 450, 0.97, 23.2, 6.49, 4.59, 4.91),
]

# Wire mm -> area mm², g/m, m/kg by geometry at 7.85 g/cm³, m/kg in a wire maker's handbook.
WIRE_ROWS = [
    (0.762, 0.4560, 3.58, 279.3, 276.9),
    (0.889, 0.6207, 4.87, 205.2, 203.9),
    (1.143, 1.0261, 8.05, 124.2, 122.7),
    (1.6, 2.0106, 15.78, 63.4, 64.4),
    (0.8, 0.5027, 3.95, 253.4, None),
    (1.0, 0.7854, 6.17, 162.2, None),
    (1.2, 1.1310, 8.88, 112.6, None),
]


@pytest.mark.parametrize("row", HEAT_ROWS)
def test_heat_as_in_the_worked_rows(row: tuple[float, ...]) -> None:
    current, voltage, travel, energy, energy_in, heat, heat_in = row
    found = weld.arc_energy(voltage, current, travel)
    assert found == pytest.approx(energy, abs=0.0005)
    assert convert(found, "kJ/mm", "kJ/in") == pytest.approx(energy_in, abs=0.05)
    assert weld.heat_input(found) == pytest.approx(heat, abs=0.0005)
    assert convert(weld.heat_input(found), "kJ/mm", "kJ/in") == pytest.approx(heat_in, abs=0.05)


def test_in_inches_a_minute_the_answer_is_in_kilojoules_an_inch() -> None:
    # 180 A, 20 V, 10 in/min.
    assert weld.arc_energy(20, 180, 10) == pytest.approx(21.6)


def test_two_volts_more_are_a_tenth_more_energy() -> None:
    ratio = weld.arc_energy(20.5, 140, 305) / weld.arc_energy(18.5, 140, 305)
    assert 100 * (ratio - 1) == pytest.approx(10.8, abs=0.05)


def test_meter_forms_agree_with_volts_times_amps() -> None:
    assert weld.arc_energy_from_energy(51_000, 100) == pytest.approx(0.51)
    assert weld.arc_energy_from_power(140 * 18.5, 305) == weld.arc_energy(18.5, 140, 305)
    seconds = weld.arc_time(100, 305)
    by_energy = weld.arc_energy_from_energy(140 * 18.5 * seconds, 100)
    assert by_energy == pytest.approx(weld.arc_energy(18.5, 140, 305), rel=1e-14)


@pytest.mark.parametrize(
    ("process", "k"),
    [("121", 1.0), ("131", 0.8), ("135", 0.8), ("138", 0.8), ("111", 0.8), ("141", 0.6),
     ("15", 0.6), (" 135 ", 0.8)],
)  # fmt: skip
def test_thermal_efficiency_by_process(process: str, k: float) -> None:
    # ISO/TR 17671-1, as reproduced by a welding institute and a steel maker.
    assert weld.thermal_efficiency(process) == k


@pytest.mark.parametrize("row", BEAD_ROWS)
def test_beads_as_in_the_worked_rows(row: tuple[float, ...]) -> None:
    diameter, feed, travel, efficiency, area, leg, throat, rate = row
    found = weld.deposited_area(diameter, feed, travel, efficiency)
    assert found == pytest.approx(area, abs=0.05)
    assert weld.fillet_leg(found) == pytest.approx(leg, abs=0.005)
    assert weld.throat_from_leg(weld.fillet_leg(found)) == pytest.approx(throat, abs=0.0055)
    assert weld.deposition_rate(diameter, feed, efficiency) == pytest.approx(rate, abs=0.005)
    melted = weld.melt_off_rate(diameter, feed)
    assert melted * efficiency == pytest.approx(rate, abs=0.005)


@pytest.mark.parametrize("row", WIRE_ROWS)
def test_wire_by_geometry_and_by_the_handbook(row: tuple[float | None, ...]) -> None:
    diameter, area, grams, metres, handbook = row
    assert diameter is not None
    assert weld.wire_area(diameter) == pytest.approx(area, abs=5e-5)
    assert 1000 * weld.wire_mass(1, diameter) == pytest.approx(grams, abs=0.005)
    assert 1 / weld.wire_mass(1, diameter) == pytest.approx(metres, abs=0.05)
    if handbook is not None:
        assert 1 / weld.wire_mass(1, diameter) == pytest.approx(handbook, rel=0.02)


def test_what_a_trial_uses_up() -> None:
    # 48 coupons of 150 mm at 400 mm/min, 8.5 m/min wire, 15 L/min, 12 set-ups purged 30 s each.
    length = weld.weld_length(48, 150)
    seconds = weld.arc_time(1000 * length, 400)
    assert length == pytest.approx(7.2)
    assert seconds == pytest.approx(1080)
    assert weld.wire_use(8.5, seconds) == pytest.approx(153)
    assert weld.gas_volume(15, seconds, purges=12) == pytest.approx(15 * (18 + 6))


def test_travel_speed_and_arc_time_undo_each_other() -> None:
    assert weld.travel_speed(150, 22.5) == pytest.approx(400)
    assert weld.arc_time(150, weld.travel_speed(150, 31)) == pytest.approx(31)


def test_stress_as_in_the_worked_rows() -> None:
    # 600 MPa over 50 mm: 120 N·m at a 4 mm throat, 188 at 5 mm; 550 MPa over 4 × 50 mm: 110 kN.
    assert weld.hinge_stress(120, 4, 50) == pytest.approx(600)
    assert weld.hinge_stress(187.5, 5, 50) == pytest.approx(600)
    assert weld.direct_stress(110, 4, 50) == pytest.approx(550)


def test_an_extension_in_line_adds_its_share() -> None:
    assert weld.torque_with_extension(100, 500, 250) == pytest.approx(150)
    assert weld.torque_with_extension(100, 500, 0) == 100


@given(st.floats(min_value=0.1, max_value=100))
def test_leg_and_throat_undo_each_other(leg: float) -> None:
    assert math.isclose(weld.leg_from_throat(weld.throat_from_leg(leg)), leg, rel_tol=1e-15)


@pytest.mark.parametrize(
    "call",
    [
        lambda: weld.arc_energy(20, 180, 0),
        lambda: weld.arc_energy(float("nan"), 180, 10),
        lambda: weld.heat_input(1, 1.2),
        lambda: weld.deposited_area(1, 8, 400, 0),
        lambda: weld.fillet_leg(20, -0.1),
        lambda: weld.wire_use(8, -1),
        lambda: weld.thermal_efficiency("999"),
        lambda: weld.travel_speed(float("inf"), 3),
    ],
)
def test_impossible_welds_are_refused(call: object) -> None:
    assert callable(call)
    with pytest.raises(weld.ImpossibleWeld):
        call()


def test_every_formula_is_on_the_reference_page() -> None:
    page = files("weldtrial.cli").joinpath("help/arithmetic.md").read_text(encoding="utf-8")
    public = [
        name
        for name, member in inspect.getmembers(weld, inspect.isfunction)
        if not name.startswith("_") and member.__module__ == weld.__name__
    ]
    assert len(public) > 15
    assert [name for name in public if f"`{name}`" not in page] == []
    assert page.splitlines()[0] == "# The trade's arithmetic — formulae, units and sources"
