"""Responses worked out from the log: hand-worked examples, limits kept, gaps said."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest

from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Coupon, Reading
from weldtrial.shared.responses import Quantity as What
from weldtrial.shared.responses import Response, WorkedOut
from weldtrial.shared.trial import Held, Joint, Quantity, Trial
from weldtrial.shared.trialfile.reader import parse_trial
from weldtrial.shared.worked_out import gauge_share, missing, work_out

VOLTS = Factor("voltage", "numeric", ("own",), unit="V", settings={"": (28.0,)})
LOAD = Response("load", "kN")


def trial_of(response: Response, wire: float = 1.2, feed: float = 8.0) -> Trial:
    return Trial(
        "invented",
        (VOLTS,),
        (LOAD, response),
        joint=Joint(process="135", wire_diameter=Quantity(wire, "mm")),
        held=(Held("wire_feed", "m/min", feed),),
    )


def coupon_of(**measured: float) -> Coupon:
    return Coupon("A2H", "count", 1, 1, 1, {}, {"voltage": 28.0}, measured=measured)


def worked(trial: Trial, coupon: Coupon) -> Reading:
    (found,) = work_out(trial, [coupon])
    (reading,) = found.readings[trial.responses[1].name]
    return reading


def value_of(trial: Trial, coupon: Coupon) -> float:
    value = worked(trial, coupon).value
    assert value is not None
    return value


@pytest.mark.parametrize(
    ("what", "unit", "volts", "amps", "travel", "expected"),
    [
        # Worked by hand: U·I·60/(1000·v), ISO/TR 18491 in a secondary source; k = 0.8 for 135.
        ("arc-energy", "kJ/mm", 28.0, 250.0, 400.0, 1.050),
        ("heat-input", "kJ/mm", 28.0, 250.0, 400.0, 0.840),
        ("arc-energy", "kJ/mm", 18.5, 140.0, 305.0, 0.510),
        ("heat-input", "kJ/mm", 18.5, 140.0, 305.0, 0.408),
        ("arc-energy", "kJ/in", 18.5, 140.0, 305.0, 12.9),
        ("heat-input", "kJ/in", 28.0, 250.0, 400.0, 21.3),
    ],
)
def test_energy_of_the_worked_examples(
    what: What, unit: str, volts: float, amps: float, travel: float, expected: float
) -> None:
    trial = trial_of(Response("energy", unit, worked_out=WorkedOut(what)))
    coupon = replace(coupon_of(amps=amps, bead_mm=travel, arc_s=60.0), as_run={"voltage": volts})
    # Half a unit of the last printed figure.
    half = 0.05 if unit == "kJ/in" else 0.0005
    assert value_of(trial, coupon) == pytest.approx(expected, abs=half)


@pytest.mark.parametrize(
    ("wire", "feed", "travel", "efficiency", "area", "leg", "throat"),
    [
        # Worked by hand from the geometry, convexity 0.10.
        (1.2, 8.0, 400.0, 0.96, 21.7, 6.28, 4.44),
        (0.9, 6.5, 300.0, 0.90, 12.4, 4.75, 3.36),
        (1.0, 9.0, 400.0, 0.96, 17.0, 5.55, 3.93),
    ],
)
def test_deposit_of_the_worked_examples(
    wire: float, feed: float, travel: float, efficiency: float, area: float, leg: float,
    throat: float,
) -> None:  # fmt: skip
    coupon = coupon_of(bead_mm=travel / 2, arc_s=30.0)
    for what, unit, expected in (
        ("deposit-area", "mm²", area),
        ("leg-of-deposit", "mm", leg),
        ("throat-of-deposit", "mm", throat),
    ):
        how = WorkedOut(what, efficiency=efficiency, convexity=0.10)  # type: ignore[arg-type]
        trial = trial_of(Response("size", unit, worked_out=how), wire, feed)
        assert value_of(trial, coupon) == pytest.approx(expected, rel=3e-3)


def test_travel_comes_from_bead_and_arc_seconds() -> None:
    trial = trial_of(Response("travel", "cm/min", worked_out=WorkedOut("travel")))
    assert value_of(trial, coupon_of(bead_mm=150, arc_s=25)) == pytest.approx(36.0)


def test_volts_as_planned_stand_in_where_none_were_written() -> None:
    trial = trial_of(Response("energy", "kJ/mm", worked_out=WorkedOut("arc-energy")))
    assert value_of(trial, coupon_of(amps=250, bead_mm=400, arc_s=60)) == pytest.approx(1.05)


STRESS = Response("stress", "MPa", worked_out=WorkedOut("stress-on-throat", "load", length_mm=50.0))


@pytest.mark.parametrize(
    ("reading", "kind", "low", "high"),
    [
        (Reading("above", low=80.0, text=">80"), "above", 400.0, None),
        (Reading("below", high=20.0, text="<20"), "below", None, 100.0),
        (Reading("between", low=40.0, high=80.0, text="40..80"), "between", 200.0, 400.0),
    ],
)
def test_a_reading_at_a_limit_stays_one(
    reading: Reading, kind: str, low: float | None, high: float | None
) -> None:
    coupon = replace(coupon_of(throat_mm=4.0), readings={"load": (reading,)})
    found = worked(trial_of(STRESS), coupon)
    assert (found.kind, found.low, found.high) == (kind, low, high)


def test_stress_and_where_it_broke_follow_the_load() -> None:
    # 80 kN over a 4 mm throat and 50 mm of weld: 1000·80/(4·50) = 400 MPa.
    load = Reading("number", value=80.0, failed_at="plate", first=Reading("number", value=8.0))
    found = worked(trial_of(STRESS), replace(coupon_of(throat_mm=4.0), readings={"load": (load,)}))
    assert found.value == pytest.approx(400.0)
    assert found.failed_at == "plate"
    assert found.first is not None
    assert found.first.value == pytest.approx(40.0)


def test_a_lost_load_is_a_lost_stress() -> None:
    lost = Reading("lost", note="dropped in the etch")
    found = worked(trial_of(STRESS), replace(coupon_of(throat_mm=4.0), readings={"load": (lost,)}))
    assert (found.kind, found.note) == ("lost", "dropped in the etch")


def test_what_a_coupon_lacks_is_said_and_no_value_is_made_up() -> None:
    trial = trial_of(STRESS)
    bare = replace(coupon_of(), readings={"load": (Reading("number", value=80.0),)})
    (found,) = work_out(trial, [bare])
    assert found.readings["stress"] == ()
    assert missing(trial, STRESS, [bare])[0].columns == ("throat_mm",)
    assert missing(trial, STRESS, [coupon_of(throat_mm=4)])[0].columns == ("load",)
    assert missing(trial, STRESS, [replace(bare, lost="scrapped")]) == ()


def test_moment_pays_for_the_throat_twice() -> None:
    # A throat 3 % smaller takes about 6 % less moment with the same metal.
    response = Response(
        "hinge", "MPa", worked_out=WorkedOut("moment-on-throat", "load", length_mm=50.0)
    )
    trial = replace(trial_of(response), responses=(replace(LOAD, unit="N·m"), response))
    at = [
        value_of(
            trial,
            replace(
                coupon_of(throat_mm=throat), readings={"load": (Reading("number", value=500.0),)}
            ),
        )
        for throat in (4.0, 4.0 * 0.97)
    ]
    assert at[0] == pytest.approx(4000 * 500 / (16 * 50))
    assert at[0] / at[1] == pytest.approx(0.97**2)


@pytest.mark.parametrize(("what", "times"), [("stress-on-throat", 1), ("moment-on-throat", 2)])
def test_the_gauge_step_scatters_by_its_power(what: What, times: int) -> None:
    # Rounding to 0.1 mm: 0.1/√12 mm of a 4 mm throat.
    how = WorkedOut(what, "load", length_mm=50.0, reads_to={"throat_mm": 0.1})
    found = gauge_share(replace(STRESS, worked_out=how), [coupon_of(throat_mm=4.0)])
    assert found == pytest.approx(times * 0.1 / sqrt(12) / 4)
    assert gauge_share(STRESS, [coupon_of(throat_mm=4.0)]) is None


# ------------------------------------------------------------------ the trial file

FILE = """\
format = 1
[trial]
title = "Invented"
[fair]
rule = "same-setting"
[joint]
process = "135"
[[factor]]
name = "gas"
levels = ["mix", "co2"]
[[response]]
name = "load"
unit = "kN"
[[response]]
name = "stress"
unit = "MPa"
rank = 2
worked_out = {}
"""
GOOD = '{ quantity = "stress-on-throat", from = "load", length = "50 mm" }'


def said(worked_out: str, *changes: tuple[str, str]) -> list[str]:
    text = FILE.replace("{}", worked_out)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return [str(p) for p in parse_trial(text.encode())[1] if not p.warning]


def test_a_good_one_reads_without_a_word() -> None:
    assert said(GOOD) == []


@pytest.mark.parametrize(
    ("worked_out", "changes", "words"),
    [
        ('{ quantity = "stres" }', (), 'must be "travel", "arc-energy"'),
        ('{ quantity = "stress-on-throat", length = "50 mm" }', (), "needs  from"),
        (GOOD.replace('"load"', '"lode"'), (), "Did you mean 'load'?"),
        (GOOD.replace(', length = "50 mm"', ""), (), "needs  length"),
        (GOOD, (("kN", "mm"),), "'load' is in mm"),
        (GOOD, (("MPa", "kN"),), "another unit of its kind; response 'stress' has kN"),
        (GOOD, (("rank = 2", "rank = 2\nsections = 2"),), "so it has no sections"),
        (GOOD, (('unit = "kN"', f'unit = "kN"\nworked_out = {GOOD}'),), "nobody reads any"),
        ('{ quantity = "arc-energy", from = "load" }', (("MPa", "kJ/mm"),), "weld log alone"),
        ('{ quantity = "arc-energy" }', (("MPa", "kJ/mm"),), "needs volts"),
        ('{ quantity = "deposit-area" }', (("MPa", "mm²"),), "needs wire feed"),
        ('{ quantity = "deposit-area" }', (("MPa", "mm²"),), "needs  efficiency"),
        ('{ quantity = "leg-of-deposit" }', (("MPa", "mm"),), "needs  convexity"),
        ('{ quantity = "deposit-area" }', (("MPa", "mm²"),), "needs the wire's diameter"),
        ('{ quantity = "heat-input" }', (("MPa", "kJ/mm"), ('"135"', '"99"')), "needs the process"),
        (GOOD.replace(" }", ", reads_to = { arc_s = 1 } }"), (), "step above 0 for throat_mm"),
        (GOOD.replace(" }", ", reads_to = { throat_mm = 0 } }"), (), "step above 0 for throat_mm"),
        (GOOD.replace(" }", ", reads_to = 3 }"), (), "step above 0 for throat_mm"),
    ],
)
def test_what_is_missing_or_cannot_be_is_said(
    worked_out: str, changes: tuple[tuple[str, str], ...], words: str
) -> None:
    found = said(worked_out, *changes)
    assert any(words in one for one in found), found
