"""Designs that list their coupons: laid out, drawn, sealed and drawn again."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.doe.by_search import starts_for
from weldtrial.doe.draw import Draw
from weldtrial.doe.layout import make_layout
from weldtrial.doe.make_plan import make_plan
from weldtrial.doe.set_up_sizes import places_of
from weldtrial.doe.stamps import short_stamps, stamps
from weldtrial.shared.limit_box import keeps, rules_of
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.reader import parse_trial

SEAL = "ab" * 32


def read(text: str) -> Trial:
    trial, problems = parse_trial(text.encode())
    assert trial is not None, problems
    return trial


@pytest.fixture(scope="module")
def limited(listed_trials: ModuleType) -> Trial:
    """Two gases in 8 set-ups of 5, curves, and a corner ruled out."""
    one = listed_trials
    parts = [one.GAS, one.VOLTAGE, one.FEED, one.TRAVEL]
    design = 'kind = "optimal"\nmodel = "quadratic"\nset_ups = 8'
    return read(one.text_of(parts, design, budget="coupons = 40", hard=True, more=one.LIMIT))


def test_set_ups_hold_one_gas_and_no_cell_breaks_a_rule(limited: Trial) -> None:
    layout = make_layout(limited)
    rules = rules_of(limited)
    assert [len(one.cells) for one in layout.listed] == [5] * 8
    for one in layout.listed:
        assert {cell.levels["gas"] for cell in one.cells} == {one.kind}
        assert all(keeps(rules, cell.settings) for cell in one.cells)
    assert Counter(one.kind for one in layout.listed) == {"mix": 4, "co2": 4}
    assert not layout.strata.left_out


def test_numbers_shift_with_the_gas_and_can_be_set_on_the_machine(limited: Trial) -> None:
    cells = [cell for one in make_layout(limited).listed for cell in one.cells]
    for cell in cells:
        low, high = {"mix": (24.3, 27.3), "co2": (25.5, 28.5)}[cell.levels["gas"]]
        volts = cell.settings["voltage"]
        assert isinstance(volts, float)
        assert low <= volts <= high
        assert round(volts, 1) == volts


def test_the_same_file_gives_the_same_plan_and_a_seal_gives_it_back(limited: Trial) -> None:
    layout = make_layout(limited)
    sealed = replace(limited, chosen=layout.as_plain())
    assert make_layout(sealed).as_plain() == layout.as_plain()
    assert make_plan(sealed, SEAL) == make_plan(limited, SEAL)
    # What was sealed is taken as it stands, whatever a search would find today.
    plain: Any = layout.as_plain()
    plain["listed"] = list(reversed(plain["listed"]))
    assert make_layout(replace(limited, chosen=plain)).as_plain() == plain


def test_every_round_is_dealt_once_and_every_coupon_kept(limited: Trial) -> None:
    layout, plan = make_layout(limited), make_plan(limited, SEAL)
    drawn = Counter(tuple(sorted(run.levels.items())) for run in plan.of_role("count"))
    held = Counter(
        tuple(sorted(cell.levels.items())) for one in layout.listed for cell in one.cells
    )
    assert drawn == held
    assert [run.setup for run in plan.runs] == sorted(run.setup or 0 for run in plan.runs)
    for setup in range(1, 9):
        mine = [run for run in plan.runs if run.setup == setup]
        assert len({run.levels["gas"] for run in mine}) == 1
        assert len({run.round for run in mine}) == 1


@pytest.mark.parametrize("set_ups", [7, 8])
def test_coupons_that_do_not_divide_are_spread(listed_trials: ModuleType, set_ups: int) -> None:
    one = listed_trials
    design = f'kind = "optimal"\nset_ups = {set_ups}'
    trial = read(one.text_of([one.GAS, one.VOLTAGE, one.FEED], design, budget="coupons = 22",
                             hard=True))  # fmt: skip
    sizes = sorted(len(held.cells) for held in make_layout(trial).listed)
    assert sum(sizes) == 22
    assert sizes[-1] - sizes[0] <= 1
    plan = make_plan(trial, SEAL)
    assert len(plan.of_role("count")) == 22
    assert plan.restriction == ""


@given(coupons=st.integers(8, 60), set_ups=st.integers(2, 8))
@settings(max_examples=60)
def test_places_share_coupons_out_evenly(coupons: int, set_ups: int) -> None:
    from weldtrial.shared.factors import Factor
    from weldtrial.shared.responses import Response
    from weldtrial.shared.trial import Design

    gas = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)
    trial = Trial("t", (gas,), (Response("r", "kN"),), design=Design("optimal", set_ups=set_ups))
    places = places_of(trial, coupons)
    assert sum(one.coupons for one in places) == coupons
    assert len(places) == set_ups
    assert max(one.coupons for one in places) - min(one.coupons for one in places) <= 1
    if set_ups % 2 == 0:
        by_gas = Counter(one.hard["gas"] for one in places if one.hard for _ in range(one.coupons))
        assert abs(by_gas["mix"] - by_gas["co2"]) <= set_ups // 2


def test_large_plans_are_searched_from_fewer_starts() -> None:
    assert [starts_for(*one) for one in ((40, 14), (50, 80), (120, 91), (1000, 91))] == [
        64, 64, 23, 12
    ]  # fmt: skip


def test_too_many_wishes_for_the_coupons(listed_trials: ModuleType) -> None:
    one = listed_trials
    parts = [one.PLAIN_VOLTAGE, one.FEED, one.TRAVEL]
    text = one.text_of(parts, 'kind = "optimal"\nmodel = "quadratic"', budget="coupons = 8")
    with pytest.raises(PlanRefused) as refused:
        make_layout(read(text))
    assert refused.value.words == (
        "The curves-and-pairs picture has 10 unknowns; 8 coupons differ enough to tell. Drop the "
        'curves (saves 3):  design.model = "two-factor", or add 2 coupons or more.'
    )


def test_fewer_set_ups_than_gases_are_refused_as_such(listed_trials: ModuleType) -> None:
    """A simpler model cannot help there, so none is advised."""
    one = listed_trials
    design = 'kind = "optimal"\nmodel = "quadratic"\nset_ups = 1'
    text = one.text_of(
        [one.GAS.replace("{hard}", "true"), one.VOLTAGE], design, budget="coupons = 20"
    )
    with pytest.raises(PlanRefused, match="1 set-up cannot hold all 2 levels of gas"):
        make_layout(read(text))


def test_the_kind_taken_is_not_said_to_be_passed_over(listed_trials: ModuleType) -> None:
    """Five factors and 8 coupons: the fraction of 16 does not fit, that of 8 does and is taken."""
    one = listed_trials
    parts = [one.PLAIN_VOLTAGE, one.FEED, one.TRAVEL, one.GAP, one.ANGLE]
    text = one.text_of(parts, 'kind = "auto"\nmodel = "main"', budget="coupons = 8")
    notes = make_layout(read(text)).notes
    assert notes[0].startswith("Recommended: a two-level fraction.")
    assert notes[1].startswith("Passed over: all combinations, because: 8 coupons cannot be shared")


def test_a_factorial_does_not_weld_what_is_ruled_out(listed_trials: ModuleType) -> None:
    one = listed_trials
    parts = [one.PLAIN_VOLTAGE, one.FEED]
    limit = one.LIMIT.replace("262", "250")
    with pytest.raises(PlanRefused, match="1 of the 4 combinations of settings breaks a"):
        make_layout(read(one.text_of(parts, 'kind = "factorial"', more=limit)))


@pytest.mark.parametrize(
    ("kind", "coupons", "name"),
    [
        ("plackett-burman", 12, "Plackett-Burman"),
        ("definitive-screening", 11, "Definitive screening"),
        ("auto", 12, "Plackett-Burman"),
        ("auto", 16, "a fraction"),
        ("auto", 18, "chosen coupon by coupon"),
    ],
)
def test_families_by_name_and_the_kind_that_fits(
    listed_trials: ModuleType, kind: str, coupons: int, name: str
) -> None:
    one = listed_trials
    parts = [one.PLAIN_VOLTAGE, one.FEED, one.TRAVEL, one.GAP]
    parts += [one.ANGLE] if kind != "definitive-screening" else []
    budget = f"coupons = {coupons}" if kind != "definitive-screening" else "coupons = 9"
    text = one.text_of(parts, f'kind = "{kind}"', budget=budget, purpose="screening")
    layout = make_layout(read(text))
    assert layout.name.startswith(name)
    assert not layout.strata.left_out
    if kind == "auto":
        assert layout.notes[0].startswith("Recommended: ")


def test_a_composite_inside_set_ups_whole_or_in_blocks(listed_trials: ModuleType) -> None:
    one = listed_trials
    parts = [one.GAS, one.VOLTAGE, one.FEED, one.TRAVEL]
    design = 'kind = "central-composite"\nrounds = 4'
    whole = make_layout(read(one.text_of(parts, design, hard=True)))
    assert {len(held.cells) for held in whole.listed} == {20}
    blocks = make_layout(read(one.text_of(parts, design, budget="coupons = 80", hard=True)))
    assert sum(len(held.cells) for held in blocks.listed) == 80
    by_round = {held.round: {cell.settings["travel"] for cell in held.cells}
                for held in blocks.listed}  # fmt: skip
    assert by_round[0] == by_round[2] != by_round[1] == by_round[3]
    with pytest.raises(PlanRefused, match="let the coupons decide"):
        make_layout(read(one.text_of(parts, design, budget="coupons = 70", hard=True)))


def test_stamps_of_the_trial_before_are_left_out() -> None:
    taken = short_stamps()[:40]
    drawn = stamps(Draw(bytes(32)), 40, taken)
    assert not set(drawn) & set(taken)
    assert {len(code) for code in stamps(Draw(bytes(32)), 60, taken)} == {4}
