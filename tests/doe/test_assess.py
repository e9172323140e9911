from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from weldtrial.doe.assess import assess
from weldtrial.doe.nuisances import USUAL, nuisances_of
from weldtrial.doe.windows import gas_symbol
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Blind, Budget, Design, Held, Joint, Quantity, Trial

GAS = Factor(
    "gas",
    "category",
    ("mix", "co2"),
    label="Shielding gas",
    hard_to_change=True,
    about={
        "mix": {"iso14175": "M21-ArC-18", "cost_per_m3": 8.4},
        "co2": {"iso14175": "C1", "cost_per_m3": 3.6},
    },
)
VOLTS = Factor(
    "voltage",
    "numeric",
    ("own",),
    label="Arc voltage",
    unit="V",
    slides_with="gas",
    settings={"mix": (25.5,), "co2": (27.0,)},
)
FEED = Factor("wire_feed", "numeric", ("7.5", "9.5"), unit="m/min", settings={"": (7.5, 9.5)})
FLOW = Held("gas_flow", "L/min", 15.0, 1.0)
PAID = Budget(
    coupons=40,
    spare=2,
    warm_up=2,
    minutes_coupon=9,
    minutes_setup=12,
    minutes_reading=5,
    hours_per_day=4,
    cost_coupon=6.5,
    cost_setup=2.0,
    currency="EUR",
    arc_s_coupon=30,
    purge_s=30,
)


def drawbar(*easy: Factor, **changes: Any) -> Trial:
    given: dict[str, Any] = {
        "design": Design(rounds=6),
        "budget": PAID,
        "held": (FLOW,),
        "joint": Joint(length=Quantity(150.0, "mm"), wire_diameter=Quantity(1.0, "mm")),
        **changes,
    }
    responses = (Response("break_load", "kN"), Response("penetration", "mm", rank=2, sections=2))
    return Trial("Cheaper gas", (GAS, *easy), responses, **given)


def test_gas_is_judged_by_set_ups_and_easy_factors_by_coupons() -> None:
    trial = drawbar(VOLTS, FEED, budget=replace(PAID, coupons=52))
    told = {one.term: (one.judged_by, one.error_df) for one in assess(trial).told}
    assert told == {
        "gas": ("set-ups", 5),
        "wire_feed": ("coupons", 48 - 12 - 2),
        "gas:wire_feed": ("coupons", 48 - 12 - 2),
    }


def test_a_shuffle_judges_everything_by_coupons() -> None:
    gas = replace(GAS, hard_to_change=False)
    trial = Trial("x", (gas, FEED), (Response("y", "kN"),), budget=Budget(coupons=16))
    found = assess(trial)
    assert {(one.judged_by, one.error_df) for one in found.told} == {("coupons", 12)}
    assert "shuffled over the whole trial" in found.blocks


def said(trial: Trial) -> str:
    return "\n".join(assess(trial).not_told)


@pytest.mark.parametrize(
    ("trial", "words"),
    [
        (drawbar(VOLTS), "mix and co2 at one and the same arc voltage: each has its own"),
        (drawbar(), "whether the gap between mix and co2 changes from round to round"),
        (drawbar(design=Design(rounds=3)), "6 set-ups leave 2 to judge the spread from"),
        (drawbar(FEED, budget=replace(PAID, coupons=52)), "a bend in wire feed"),
        (
            drawbar(FEED, budget=replace(PAID, coupons=52), design=Design(rounds=6, model="main")),
            "the model holds main effects only",
        ),
        (drawbar(), "anything beyond this joint"),
        (drawbar(design=Design(rounds=1), purpose="pilot"), "each level is set up once"),
        (
            drawbar(FEED, design=Design(rounds=1), budget=Budget(), purpose="pilot"),
            "wire feed: no coupon is left over to judge it by",
        ),
    ],
)
def test_what_cannot_be_told_is_said(trial: Trial, words: str) -> None:
    assert words in said(trial)


def test_a_pilot_of_one_set_up_a_gas_tells_nothing_of_gas() -> None:
    found = assess(drawbar(design=Design(rounds=1), purpose="pilot"))
    assert "gas" not in {one.term for one in found.told}
    assert "mixed up with the comparison" in found.blocks


def test_levels_that_slide_are_told_around_their_own_centre() -> None:
    sliding = replace(
        VOLTS, levels=("low", "high"), settings={"mix": (24.0, 27.0), "co2": (25.5, 28.5)}
    )
    words = said(drawbar(sliding, FEED, budget=replace(PAID, coupons=52)))
    assert "around each shielding gas's own centre" in words
    assert "three or more of shielding gas, arc voltage, wire feed" in words


def test_rounds_take_drift_out() -> None:
    assert assess(drawbar()).blocks.startswith("Every round holds every level once")
    assert "every level 2 times" in assess(drawbar(design=Design(rounds=3, set_ups=12))).blocks
    assert "Set-ups are shuffled" in assess(drawbar(design=Design(rounds=1, set_ups=12))).blocks


# ------------------------------------------------------------------ the bench


def test_the_bench_counts_warm_ups_and_spares() -> None:
    bench = assess(drawbar(VOLTS)).bench
    assert bench.hours.value == pytest.approx(8.4)
    assert bench.days.value == 3
    assert bench.set_ups == 12
    assert bench.weld_m.value == pytest.approx(6.0)
    # Half of 40 coupons of 30 s, and six purges of 30 s, at 15 L/min.
    assert (
        bench.gas_l["mix"].value == bench.gas_l["co2"].value == pytest.approx(15 * (600 + 180) / 60)
    )
    assert bench.cost.value == pytest.approx(40 * 6.5 + 12 * 2 + 195 * (8.4 + 3.6) / 1000)
    assert bench.cost.unit == "EUR"
    # Three readings on each of 36 coupons, five minutes each.
    assert bench.reading_hours.value == pytest.approx(9.0)


def test_a_whole_number_of_days_is_not_rounded_up() -> None:
    budget = replace(PAID, minutes_coupon=3.6, minutes_setup=0.0, hours_per_day=0.8)
    assert assess(drawbar(budget=budget)).bench.days.value == 3


def test_what_the_file_does_not_say_is_asked_for_by_key() -> None:
    bench = assess(drawbar(budget=Budget(coupons=36), held=(), joint=Joint())).bench
    assert bench.hours.needs == ("budget.minutes_coupon", "budget.minutes_setup")
    assert bench.days.needs == (*bench.hours.needs, "budget.hours_per_day")
    assert bench.weld_m.needs == ("joint.length",)
    assert bench.cost.needs == ("budget.cost_coupon",)
    needs = ("[[held]] gas_flow", "budget.arc_s_coupon", "budget.purge_s")
    assert bench.gas_l["co2"].needs == needs
    assert bench.gas_l["co2"].value is None


def test_units_as_typed_are_turned_into_the_benchs() -> None:
    trial = drawbar(
        held=(replace(FLOW, unit="ft³/h", target=32.0),), joint=Joint(length=Quantity(6.0, "in"))
    )
    bench = assess(trial).bench
    assert bench.weld_m.value == pytest.approx(40 * 0.1524)
    assert bench.gas_l["mix"].value == pytest.approx(32 * 28.316846592 / 60 * 13)


def test_gas_of_a_trial_without_a_gas_factor_is_one_figure() -> None:
    trial = Trial(
        "x", (FEED,), (Response("y", "kN"),), held=(FLOW,), budget=replace(PAID, coupons=12)
    )
    assert assess(trial).bench.gas_l[""].value == pytest.approx(15 * 30 * 12 / 60)


# ------------------------------------------------------------------ nuisances and windows


def test_nuisances_nobody_speaks_of_are_flagged() -> None:
    assert {one.name for one in assess(drawbar()).flagged} == {one.name for one in USUAL}


def test_what_the_file_says_is_not_flagged() -> None:
    trial = drawbar(
        nuisance={"wire_lot": "held", "bead_size": "measured", "ground_clamp": "shuffled"},
        welder="welder 1",
        blind=Blind(reader="reader 1"),
        joint=Joint(plate_heat="H4471"),
        held=(FLOW, Held("stick_out", "mm", 15.0)),
    )
    found = {one.name: one.handling for one in nuisances_of(trial)}
    assert found["wire_spool"] == "held"
    assert found["bead_size"] == "measured"
    assert found["ground_clamp"] == "shuffled"
    assert found["welder"] == found["reader"] == found["plate_heat"] == found["stick_out"] == "held"
    assert found["day"] is found["fit_up_gap"] is None


def test_each_usual_nuisance_has_a_why_and_a_remedy_and_a_name_of_its_own() -> None:
    names = [name for one in USUAL for name in (one.name, *one.also)]
    assert len(names) == len(set(names))
    assert all(one.why and one.remedy for one in USUAL)


def test_settings_outside_the_usual_windows_are_warned_about_and_laid_out() -> None:
    trial = drawbar(VOLTS, held=(FLOW, Held("wire_feed", "m/min", 8.5)))
    (words,) = assess(trial).windows
    assert words.startswith("co2 at 27 V and 8.5 m/min lies outside the usual windows of 1.0 mm")
    assert "from memory" in words


def test_windows_need_a_known_wire_and_gas() -> None:
    assert assess(drawbar(VOLTS, joint=Joint())).windows == ()
    unknown = replace(GAS, about={})
    trial = drawbar(VOLTS)
    assert assess(replace(trial, factors=(unknown, VOLTS))).windows == ()
    assert gas_symbol(GAS, "mix") == "M21"
    assert gas_symbol(unknown, "mix") == ""


def test_a_plan_that_is_refused_is_not_assessed() -> None:
    with pytest.raises(PlanRefused):
        assess(drawbar(design=Design(rounds=1)))
