"""The trade's numbers: sourced, consistent with geometry and with ISO 14175."""

from __future__ import annotations

import math
import re
from dataclasses import fields

import pytest

from weldtrial.shared import weld
from weldtrial.shared.trade import Sourced, trade
from weldtrial.shared.units import canonical


def every_record() -> list[Sourced]:
    found: list[Sourced] = []
    for field in fields(trade()):
        value = getattr(trade(), field.name)
        found.extend(value if isinstance(value, tuple) else [value])
    return found


def test_every_number_names_its_source_and_standing() -> None:
    records = every_record()
    assert len(records) > 90
    for record in records:
        assert record.source
        assert record.provenance in {"read", "memory", "computed"}
        assert record.confidence in {"high", "medium", "low"}
        assert record.provenance != "read" or record.depth in {"extract", "abstract", "secondary"}
        assert "confidence" in record.cited


def test_practice_without_a_source_says_so() -> None:
    assert trade().purge.source == "common practice, no source"
    assert all(record.source not in {"practice", "memory"} for record in every_record())
    scatter = trade().scatter_of("fillet break load raw (tension/press)")
    assert scatter.cited == "common practice, no source (from memory; confidence low)"


def test_every_span_runs_upwards() -> None:
    for record in every_record():
        values = {field.name: getattr(record, field.name) for field in fields(record)}
        for name, value in values.items():
            if isinstance(value, tuple) and value and not isinstance(value[0], str):
                assert value[0] <= value[1], (record, name)
            if re.match(r"low(_|$)", name):
                assert value <= values[name.replace("low", "high")], record


@pytest.mark.parametrize("wire", trade().wires, ids=lambda wire: wire.label)
def test_wires_agree_with_geometry(wire: object) -> None:
    from weldtrial.shared.trade import Wire

    assert isinstance(wire, Wire)
    assert weld.wire_area(wire.diameter_mm) == pytest.approx(wire.area_mm2, abs=6e-5)
    assert 1000 * weld.wire_mass(1, wire.diameter_mm) == pytest.approx(
        wire.grams_per_metre, abs=0.006
    )


@pytest.mark.parametrize(
    ("co2", "o2", "symbol"),
    [(100, 0, "C1"), (25, 0, "M21"), (20, 0, "M21"), (18, 0, "M21"), (15, 0, "M20"),
     (8, 0, "M20"), (2, 0, "M12"), (0, 2, "M13"), (50, 0, "M31"), (0, 0, "I1"), (80, 20, "C2"),
     (10, 2, "M24"), (20, 2, "M26"), (60, 0, None), (-1, 0, None), (70, 40, None)],
)  # fmt: skip
def test_mixes_get_their_iso_14175_symbol(co2: float, o2: float, symbol: str | None) -> None:
    # ISO 14175:2008 table 2, as reproduced by a consumables maker; band edges from memory.
    assert trade().iso_symbol(co2, o2) == symbol


def test_no_mix_belongs_to_two_bands() -> None:
    for co2 in (0, 0.7, 3, 5, 5.1, 15, 15.1, 25, 26, 50):
        for o2 in (0, 0.7, 2.5, 3, 5, 10, 12, 15):
            holding = [
                band.symbol
                for band in trade().gas_bands
                if band.balance == "Ar" and band.h2_pct is None
                and (co2 == 0 if band.co2_pct is None else band.co2_pct[0] < co2 <= band.co2_pct[1])
                and (o2 == 0 if band.o2_pct is None else band.o2_pct[0] < o2 <= band.o2_pct[1])
            ]  # fmt: skip
            assert len(holding) <= 1, (co2, o2, holding)


def test_an_argon_flow_tube_reads_high_in_co2_by_the_density_ratio() -> None:
    tube = next(item for item in trade().instruments if item.item.startswith("argon flow"))
    # Gas densities 1.784 (Ar) and 1.977 (CO2) g/L at 0 °C, handbook values.
    assert tube.low == tube.high == pytest.approx(math.sqrt(1.784 / 1.977), abs=0.0005)


def test_units_of_ranges_and_instruments_are_known() -> None:
    for record in (*trade().ranges, *trade().instruments):
        assert canonical(record.unit) == record.unit


def test_the_shop_of_the_examples_finds_its_window() -> None:
    assert [w.mode for w in trade().windows_for("1.0 mm", "M21")] == ["short arc", "spray"]
    assert [w.voltage_v for w in trade().windows_for("1.0 mm", "C1")] == [(18, 22.5)]
    assert trade().range_of("gas flow").high == 20
    assert trade().change_of("gas, bottle and regulator swap").how == "hard"
    assert trade().windows_for("7 mm") == ()


def test_fracture_locations_are_the_one_list() -> None:
    names = [place.name for place in trade().fracture_locations]
    assert names == [
        "throat", "toe", "root", "fusion line", "HAZ", "plate", "folded flat", "slipped",
    ]  # fmt: skip
    assert {p.name for p in trade().fracture_locations if p.weld_at_least} == {
        "plate",
        "folded flat",
    }
    assert [p.name for p in trade().fracture_locations if not p.valid] == ["slipped"]


def test_gas_effects_and_set_up_scatter_are_ranges_to_draw_from() -> None:
    effects = {effect.response: (effect.low_pct, effect.high_pct) for effect in trade().gas_effects}
    assert effects["single-pass fillet break load"] == (-5, 5)
    assert effects["penetration depth, same WFS and arc length"] == (0, 30)
    assert {(cause.low_pct, cause.high_pct) for cause in trade().setup_scatter} == {(1, 4)}


def test_unknown_names_are_key_errors() -> None:
    for ask in (trade().range_of, trade().scatter_of, trade().change_of):
        with pytest.raises(KeyError):
            ask("nothing of the kind")
