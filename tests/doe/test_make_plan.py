from __future__ import annotations

from collections import Counter
from dataclasses import replace
from hashlib import sha256
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.doe.layout import make_layout
from weldtrial.doe.make_plan import make_plan
from weldtrial.shared.factors import Factor
from weldtrial.shared.plan import Plan
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Budget, Design, Model, Order, Trial

GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)
SEAL = sha256(b"a seal").hexdigest()


def own_volts(levels: tuple[str, ...]) -> Factor:
    rows = {"mix": (25.0, 26.5), "co2": (26.5, 28.0)}
    at = {gas: row[: len(levels)] for gas, row in rows.items()}
    return Factor("voltage", "numeric", levels, unit="V", slides_with="gas", settings=at)


EASY = (
    own_volts(("low", "high")),
    Factor("wire_feed", "numeric", ("7.5", "9.5"), unit="m/min", settings={"": (7.5, 9.5)}),
    Factor("push", "category", ("push", "drag")),
)


def trial_of(
    easy: tuple[Factor, ...], hard: bool, design: Design, budget: Budget, order: Order
) -> Trial:
    gas = replace(GAS, hard_to_change=hard)
    return Trial(
        "A trial",
        (gas, *easy),
        (Response("break_load", "kN"),),
        design=design,
        budget=budget,
        order=order,
    )


@st.composite
def legal_trials(draw: st.DrawFn) -> Trial:
    """Any trial that this version lays out, small enough to look at."""
    easy = tuple(factor for factor in EASY if draw(st.booleans()))
    if draw(st.booleans()):
        easy = (*(one for one in easy if one.name != "voltage"), own_volts(("own",)))
    hard = draw(st.booleans())
    rounds = draw(st.integers(2 if hard else 1, 9))
    combos = 2 ** sum(factor.varied for factor in easy) * (1 if hard else 2)
    replicates = draw(st.integers(1 if hard else 2, 3)) * (1 if hard else rounds)
    per_round = draw(st.integers(1, 2))
    units = 2 * rounds * per_round if hard else 1
    spare, warm_up = draw(st.integers(0, 5)), draw(st.integers(0, 5))
    said = draw(st.sampled_from(["budget", "replicates", "both"]))
    model: Model = draw(st.sampled_from(["main", "two-factor"]))
    first = draw(st.sampled_from([None, -(-rounds // 2) + 1]))
    design = Design(
        model=model,
        rounds=rounds,
        set_ups=units if hard else None,
        replicates=None if said == "budget" else replicates,
    )
    total = units * combos * replicates + spare + warm_up
    budget = Budget(None if said == "replicates" else total, spare, warm_up)
    return trial_of(easy, hard, design, budget, Order(first_at_most=first))


seals = st.binary(min_size=32, max_size=32).map(bytes.hex)


@settings(max_examples=150, deadline=None)
@given(legal_trials(), seals)
def test_any_legal_trial_gets_the_coupons_asked_in_balance(trial: Trial, seal: str) -> None:
    layout, plan = make_layout(trial), make_plan(trial, seal)
    counting = plan.of_role("count")
    assert len(counting) == layout.coupons
    assert len(plan.of_role("spare")) == trial.budget.spare
    assert len(plan.of_role("warm-up")) == trial.budget.warm_up
    if trial.budget.coupons is not None:
        assert len(plan.runs) == trial.budget.coupons
    units = Counter((run.round, run.setup, *run.levels.items()) for run in counting)
    assert set(units.values()) == {layout.replicates}
    groups = Counter((run.round, run.setup) for run in counting)
    assert set(groups.values()) == {layout.per_setup}
    assert len(groups) == (layout.set_ups or layout.rounds)
    assert {run.settings["voltage"] for run in counting if "voltage" in run.settings} <= {
        25.0,
        26.5,
        28.0,
    }


@settings(max_examples=150, deadline=None)
@given(legal_trials(), seals)
def test_set_ups_hold_one_gas_and_rounds_hold_both_alike(trial: Trial, seal: str) -> None:
    layout, plan = make_layout(trial), make_plan(trial, seal)
    if layout.hard is None:
        return
    gases: dict[int | None, set[str]] = {}
    for run in plan.runs:
        if run.role != "spare":
            gases.setdefault(run.setup, set()).add(run.levels["gas"])
    assert all(len(found) == 1 for found in gases.values())
    one_each = {run.setup: run for run in plan.of_role("count")}.values()
    rounds = Counter((run.round, run.levels["gas"]) for run in one_each)
    assert set(rounds.values()) == {layout.per_round}
    firsts = Counter(
        next(run for run in plan.of_role("count") if run.round == number).levels["gas"]
        for number in range(1, layout.rounds + 1)
    )
    assert layout.first_at_most is None or max(firsts.values()) <= layout.first_at_most


@settings(max_examples=100, deadline=None)
@given(legal_trials(), seals)
def test_runs_are_numbered_through_and_warm_ups_come_first_in_their_set_up(
    trial: Trial, seal: str
) -> None:
    plan = make_plan(trial, seal)
    welded = [run for run in plan.runs if run.role != "spare"]
    assert [run.run for run in welded] == list(range(1, len(welded) + 1))
    assert all(run.run is None and not run.settings for run in plan.of_role("spare"))
    places: dict[tuple[int | None, int | None], list[str]] = {}
    for run in welded:
        places.setdefault((run.round, run.setup), []).append(run.role)
        assert run.place == len(places[run.round, run.setup])
    for (number, _), roles in places.items():
        assert roles == sorted(roles, key=("warm-up", "count").index)
        assert "warm-up" not in roles or number in (1, None)
    first = [roles.count("warm-up") for (number, _), roles in places.items() if number in (1, None)]
    assert max(first) - min(first) <= 1
    assert first == sorted(first, reverse=True)


@settings(max_examples=60, deadline=None)
@given(legal_trials(), seals, st.lists(st.integers(1, 6), max_size=5).map(tuple))
def test_the_same_seal_and_dice_give_the_same_plan(
    trial: Trial, seal: str, dice: tuple[int, ...]
) -> None:
    assert make_plan(trial, seal, dice) == make_plan(trial, seal, dice)


@settings(max_examples=60, deadline=None)
@given(legal_trials(), seals)
def test_stamps_differ_in_two_places_and_tell_nothing_of_the_gas(trial: Trial, seal: str) -> None:
    plan = make_plan(trial, seal)
    codes = [run.stamp for run in plan.runs]
    for one, other in combinations(codes, 2):
        assert sum(a != b for a, b in zip(one, other, strict=True)) >= 2
    renamed = replace(GAS, levels=("co2", "mix"), hard_to_change=trial.factors[0].hard_to_change)
    swapped = make_plan(replace(trial, factors=(renamed, *trial.factors[1:])), seal)
    assert [run.stamp for run in swapped.runs] == codes
    other_gas = {"mix": "co2", "co2": "mix"}
    assert [run.levels.get("gas") for run in swapped.runs] == [
        other_gas.get(run.levels.get("gas", "")) for run in plan.runs
    ]


def drawbar() -> Trial:
    return trial_of(
        (own_volts(("own",)),), True, Design(rounds=6), Budget(40, 2, 2), Order(first_at_most=4)
    )


def golden(plan: Plan) -> str:
    rows = [
        f"{run.run},{run.round},{run.setup},{run.place},{run.stamp},{run.role},"
        f"{run.levels.get('gas')},{run.settings.get('voltage')}"
        for run in plan.runs
    ]
    return sha256("\n".join(rows).encode()).hexdigest()


@pytest.mark.parametrize(
    ("dice", "expected"),
    [
        ((), "4d3ed33c8e66a522717a5d4783dd5b9c82a47b13c546acbf55f261d9ae69b553"),
        ((4, 2, 6, 1, 5), "927feaac78698c214931c32bb63643fdc18fea3c71b912c1bd9df3a6b8639b18"),
    ],
)
def test_golden_plans_are_drawn_again_to_the_bit(dice: tuple[int, ...], expected: str) -> None:
    assert golden(make_plan(drawbar(), SEAL, dice)) == expected


def test_dice_stir_the_order_and_another_seal_gives_another() -> None:
    plans = {
        golden(make_plan(drawbar(), seal, dice))
        for seal in (SEAL, sha256(b"another").hexdigest())
        for dice in ((), (1,), (2,))
    }
    assert len(plans) == 6


def test_the_restriction_is_stated() -> None:
    assert make_plan(drawbar(), SEAL).restriction == "no gas first in more than 4 of 6 rounds"
    three = replace(drawbar(), design=Design(rounds=3), order=Order())
    assert make_plan(three, SEAL).restriction == ""


def test_every_allowed_order_is_drawn_about_equally_often() -> None:
    """Over 2000 seals the 50 allowed orders of six rounds each come about 40 times."""
    orders: Counter[tuple[str, ...]] = Counter()
    trial = replace(drawbar(), budget=Budget(12))
    for number in range(2000):
        plan = make_plan(trial, sha256(str(number).encode()).hexdigest())
        orders[tuple(run.levels["gas"] for run in plan.runs[::2])] += 1
    assert len(orders) == 50
    # chi-square on 49 degrees of freedom stays below 85.4 in 999 of 1000 such draws
    assert sum((seen - 40) ** 2 / 40 for seen in orders.values()) < 85.4
