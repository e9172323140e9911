"""Units: spellings, exact factors (NIST SP 811, 2008, appendix B.8), and round trips."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared import units
from weldtrial.shared.units import (
    KNOWN_UNITS,
    DifferentKinds,
    NotANumber,
    UnknownUnit,
    canonical,
    convert,
    from_slug,
    kind,
    likely_other_unit,
    parse_number,
    parse_quantity,
    same_kind,
    slug,
)

TRADE_FORMS = [
    "V", "A", "m/min", "in/min", "mm/min", "cm/min", "mm/s", "L/min", "ft³/h", "mm", "in", "kN",
    "N", "lbf", "N·m", "ft·lbf", "MPa", "ksi", "deg", "%", "kJ/mm", "kJ/in", "min", "s", "°C",
    "°F", "1",
]  # fmt: skip

# NIST SP 811 (2008), appendix B.8: factors in bold are exact; the others are rounded there to
# seven digits (both from memory; the exact ones are SI definitions).  Units in the
# trade's own pairing follow by powers of ten and 60.
EXACT = [
    ("in", "mm", 25.4),
    ("ft", "m", 0.3048),
    ("in/min", "mm/min", 25.4),
    ("in/min", "mm/s", 25.4 / 60),
    ("m/min", "in/min", 1 / 0.0254),
    ("lb/h", "kg/h", 0.45359237),
    ("kJ/mm", "kJ/in", 25.4),
    ("lbf", "N", 4.4482216152605),
    ("h", "min", 60.0),
    ("N·m", "J", 1.0),
]
SEVEN_DIGITS = [
    ("lbf", "N", 4.448222),
    ("ksi", "MPa", 6.894757),
    ("ft·lbf", "J", 1.355818),
    ("ft·lbf", "N·m", 1.355818),
    ("ft³/h", "L/min", 4.719474e-1),  # cubic foot per minute 4.719474 E-04 m3/s, over 60, in L/min
]


@pytest.mark.parametrize("form", TRADE_FORMS)
def test_trade_forms_are_their_own_canonical_spelling(form: str) -> None:
    assert canonical(form) == form


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("l/min", "L/min"), ("LPM", "L/min"), ("CFH", "ft³/h"), ("ft3/h", "ft³/h"),
        ("ft^3/hr", "ft³/h"), ("ipm", "in/min"), ("inches per minute", "in/min"),
        ("Nm", "N·m"), ("N.m", "N·m"), ("N m", "N·m"), ("N⋅m", "N·m"), ("ft.lbf", "ft·lbf"),
        ("ft-lbf", "ft·lbf"), ("ft-lb", "ft·lbf"), ("degC", "°C"), ("deg C", "°C"), ("℃", "°C"),
        ("° F", "°F"), ("°", "deg"), ("degrees", "deg"), ("percent", "%"), ('"', "in"),
        ("kn", "kN"), ("mpa", "MPa"), ("N/mm²", "MPa"), ("v", "V"), ("sec", "s"), ("mm2", "mm²"),
    ],
)  # fmt: skip
def test_common_spellings_become_the_canonical_one(typed: str, meant: str) -> None:
    assert canonical(typed) == meant


@pytest.mark.parametrize(
    ("typed", "instead"),
    [("C", "°C"), ("F", "°F"), ("nm", "N·m"), ("lb", "lbf"), ("m/mim", "m/min"), ("kNn", "kN")],
)
def test_doubtful_spellings_are_refused_with_a_suggestion(typed: str, instead: str) -> None:
    with pytest.raises(UnknownUnit, match=instead):
        canonical(typed)


@pytest.mark.parametrize("typed", ["", "  ", "bananas", "S", "m²/min/s", "\x00"])
def test_garbage_is_refused_in_words(typed: str) -> None:
    with pytest.raises(UnknownUnit):
        canonical(typed)


def test_slugs_go_both_ways_and_are_fit_for_column_names() -> None:
    for known in KNOWN_UNITS:
        assert from_slug(known.slug) == known.symbol == canonical(known.symbol)
        assert all(char.isascii() and (char.isalnum() or char == "_") for char in known.slug)
    assert slug("m/min") == "m_per_min"
    assert from_slug("kN") == "kN"
    assert (slug("L/min"), slug("°C")) == ("L_per_min", "C")
    assert (from_slug("l_per_min"), from_slug("degC"), from_slug("C")) == ("L/min", "°C", "°C")
    for wrong in ("m/min", "furlong", "a_per_min"):
        with pytest.raises(UnknownUnit):
            from_slug(wrong)


def test_no_spelling_belongs_to_two_units() -> None:
    owner: dict[str, str] = {}
    for known in KNOWN_UNITS:
        for spelling in (known.symbol, *known.spellings):
            assert canonical(spelling) == known.symbol
            assert owner.setdefault(spelling, known.symbol) == known.symbol


@pytest.mark.parametrize(("source", "target", "factor"), EXACT)
def test_exact_definitions_hold_to_the_last_digit(source: str, target: str, factor: float) -> None:
    assert math.isclose(convert(1, source, target), factor, rel_tol=4e-16)


@pytest.mark.parametrize(("source", "target", "factor"), SEVEN_DIGITS)
def test_derived_factors_agree_with_the_seven_printed_digits(
    source: str, target: str, factor: float
) -> None:
    assert float(f"{convert(1, source, target):.6e}") == pytest.approx(factor, rel=1e-15)


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(0, 32), (100, 212), (-40, -40), (37, 98.6), (150, 302)]
)
def test_temperatures_have_an_offset_and_differences_have_none(
    celsius: float, fahrenheit: float
) -> None:
    assert convert(celsius, "°C", "°F") == fahrenheit
    assert convert(fahrenheit, "°F", "°C") == celsius
    assert convert(celsius, "°C", "°F", difference=True) == pytest.approx(1.8 * celsius)


@pytest.mark.parametrize(("source", "target"), [("V", "A"), ("mm", "mm/min"), ("%", "1")])
def test_different_kinds_are_refused(source: str, target: str) -> None:
    with pytest.raises(DifferentKinds, match="cannot be turned into"):
        convert(1, source, target)


@given(
    value=st.floats(min_value=1e-6, max_value=1e6),
    pair=st.sampled_from(
        [
            (a.symbol, b.symbol)
            for a in KNOWN_UNITS
            for b in KNOWN_UNITS
            if a.kind == b.kind and a.kind != "temperature"
        ]
    ),
)
def test_there_and_back_gives_the_number_again(value: float, pair: tuple[str, str]) -> None:
    source, target = pair
    assert same_kind(source, target)
    assert kind(source) == kind(target)
    back = convert(convert(value, source, target), target, source)
    assert math.isclose(back, value, rel_tol=5e-16)


@given(value=st.floats(min_value=-200, max_value=2000))
def test_temperatures_there_and_back(value: float) -> None:
    back = convert(convert(value, "°C", "°F"), "°F", "°C")
    assert math.isclose(back, value, rel_tol=1e-14, abs_tol=1e-13)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("5/16 in", "mm", 7.9375), ("5/16", "in", 0.3125), ('1 1/4"', "mm", 31.75),
        ("1 1/4", "in", 1.25), ("0.045 in", "mm", 1.143), ("84.2", "kN", 84.2),
        ("84.2 kN", "kN", 84.2), ("8.5m/min", "m/min", 8.5), ("-20 °C", "°F", -4.0),
        ("−20", "°C", -20.0), (".035 in", "mm", 0.889), ("35 CFH", "ft3/h", 35.0),
    ],
)  # fmt: skip
def test_readings_may_carry_a_unit_of_the_same_kind(text: str, unit: str, value: float) -> None:
    assert parse_quantity(text, unit) == value


def test_a_load_in_pounds_force_lands_in_a_kilonewton_column() -> None:
    # 18950 lbf x 4.4482216152605 N/lbf (exact) = 84293.79961... N
    assert parse_quantity("18950 lbf", "kN") == pytest.approx(84.29379960918648, rel=1e-15)


def test_a_reading_of_another_kind_is_refused() -> None:
    with pytest.raises(DifferentKinds, match="a length"):
        parse_quantity("5 mm", "kN")


@pytest.mark.parametrize(
    "text",
    ["", "1e5", "7E5", "1,000", "84,2", "5.", "--3", "didnt break", "NaN", "inf", "1_000", "٣",
     "25 May", "1 000", "½", "9" * 400],
)  # fmt: skip
def test_what_is_not_one_plain_number_is_refused(text: str) -> None:
    with pytest.raises(NotANumber):
        parse_number(text)


@pytest.mark.parametrize("text", ["1 000", "1 000 kN", "1_000", "1'000"])
def test_thousands_separators_are_named_as_such(text: str) -> None:
    with pytest.raises(NotANumber, match="gap between its figures"):
        parse_quantity(text, "kN")


def test_decimal_commas_are_read_when_said() -> None:
    assert parse_number("84,2", decimal=",") == 84.2
    assert parse_quantity("84,2 kN", "kN", decimal=",") == 84.2
    with pytest.raises(NotANumber, match="decimal sign here is"):
        parse_number("84.2", decimal=",")


@pytest.mark.parametrize("text", ["5/16", "5/10 in", "17/16 in", "0/8 in", "25/5"])
def test_fractions_are_for_inches_and_tape_marks_only(text: str) -> None:
    with pytest.raises(NotANumber):
        parse_quantity(text, "mm")


@given(st.text(max_size=20))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    refused = ""
    value = math.nan
    try:
        value = parse_quantity(text, "kN")
    except (NotANumber, UnknownUnit, DifferentKinds) as problem:
        refused = problem.words
    assert refused or math.isfinite(value)


@given(st.decimals(min_value=-9999, max_value=9999, places=3, allow_nan=False))
def test_plain_decimals_are_read_exactly(value: object) -> None:
    assert parse_number(f"{value:f}") == float(str(value))


def test_335_metres_a_minute_is_inches_a_minute() -> None:
    found = likely_other_unit(335, "m/min")
    assert found is not None
    assert found[0] == "in/min"
    assert found[1] == pytest.approx(8.509, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "unit", "quantity", "other"),
    [
        (8.5, "m/min", None, None), (350, "cm/min", None, "mm/min"), (40, "cm/min", None, None),
        (80, "L/min", None, "ft³/h"), (15, "L/min", None, None), (26.7, "kJ/mm", None, "kJ/in"),
        (8.5, "in/min", None, None), (8.5, "in/min", "wire feed", "m/min"),
        (0.045, "mm", "wire diameter", "in"), (0.045, "mm", None, None),
        (0.3125, "mm", "leg", "in"), (500, "V", None, None), (70, "MPa", "stress", "ksi"),
    ],
)  # fmt: skip
def test_another_unit_is_suggested_only_when_it_makes_sense(
    value: float, unit: str, quantity: str | None, other: str | None
) -> None:
    found = likely_other_unit(value, unit, quantity=quantity)
    assert (found[0] if found else None) == other


def test_pint_stays_out_until_a_number_changes_its_unit() -> None:
    code = (
        "import sys; from weldtrial.shared.units import parse_quantity\n"
        "assert parse_quantity('84.2 kN', 'kN') == 84.2 and 'pint' not in sys.modules\n"
        "assert parse_quantity('1 in', 'mm') == 25.4 and 'pint' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize("source", ["m/min", "cm/min", "mm/min"])
@pytest.mark.parametrize("target", ["m/min", "cm/min", "mm/min"])
def test_decades_without_the_registry_are_those_of_the_registry(source: str, target: str) -> None:
    assert units._line(source, target) == units._by_registry(source, target)
