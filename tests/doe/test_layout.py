from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from weldtrial.doe.factorial import two_level
from weldtrial.doe.layout import Layout, make_layout
from weldtrial.doe.refusals import CannotShareOut
from weldtrial.shared.canonical import fingerprint
from weldtrial.shared.coding import coded_point, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotYet, PlanRefused
from weldtrial.shared.responses import Response
from weldtrial.shared.terms import model_terms
from weldtrial.shared.trial import (
    Budget,
    Design,
    Fair,
    Goal,
    Order,
    Trial,
)

GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True, control="mix")
VOLTS = Factor(
    "voltage",
    "numeric",
    ("own",),
    unit="V",
    slides_with="gas",
    settings={"mix": (25.5,), "co2": (27.0,)},
)
FEED = Factor("wire_feed", "numeric", ("7.5", "9.5"), unit="m/min", settings={"": (7.5, 9.5)})
TRAVEL = Factor("travel", "numeric", ("30", "50"), unit="cm/min", settings={"": (30.0, 50.0)})
SLIDING = replace(
    VOLTS, levels=("low", "high"), settings={"mix": (24.0, 27.0), "co2": (25.5, 28.5)}
)


def drawbar(*easy: Factor, budget: Budget | None = None, **changes: Any) -> Trial:
    given: dict[str, Any] = {
        "design": Design(rounds=6),
        "budget": budget or Budget(coupons=40, spare=2, warm_up=2),
        **changes,
    }
    return Trial("Cheaper gas", (GAS, *easy), (Response("break_load", "kN"),), **given)


def shuffled(*factors: Factor, **changes: Any) -> Trial:
    return Trial("Settings", factors, (Response("break_load", "kN"),), **changes)


def coded(trial: Trial, layout: Layout) -> tuple[np.ndarray, np.ndarray]:
    """The model matrix and the set-up (or block) dummies of every coupon."""
    points, units = [], []
    groups = [
        (level, number)
        for number in range(layout.rounds)
        for level in layout.cells
        for _ in range(max(1, layout.per_round))
    ]
    for unit, (level, _) in enumerate(groups):
        for cell in layout.cells[level] * layout.replicates:
            points.append(coded_point(trial.varied, cell.levels))
            units.append(unit)
    terms = model_terms(trial.factors, trial.design.model)
    matrix = model_matrix(trial.factors, terms, points).matrix
    return matrix, np.eye(len(groups))[units]


def test_the_tester_gets_six_rounds_of_two_set_ups_of_three() -> None:
    layout = make_layout(drawbar(VOLTS))
    assert (layout.rounds, layout.set_ups, layout.per_setup) == (6, 12, 3)
    assert (layout.coupons, layout.total) == (36, 40)
    assert layout.error_df == 5
    assert layout.first_at_most == 4


def test_own_settings_follow_the_gas() -> None:
    cells = make_layout(drawbar(VOLTS)).cells
    assert cells["mix"][0].settings == {"gas": "mix", "voltage": 25.5}
    assert cells["co2"][0].settings == {"gas": "co2", "voltage": 27.0}
    assert cells["co2"][0].levels == {"gas": "co2", "voltage": "own"}


def test_levels_that_slide_keep_their_roles_and_shift_their_numbers() -> None:
    layout = make_layout(drawbar(SLIDING, FEED, budget=Budget(coupons=48)))
    volts = {
        level: {cell.settings["voltage"] for cell in layout.cells[level]} for level in GAS.levels
    }
    assert volts == {"mix": {24.0, 27.0}, "co2": {25.5, 28.5}}
    assert [cell.levels["voltage"] for cell in layout.cells["co2"]] == [
        "low",
        "low",
        "high",
        "high",
    ]


def test_each_set_up_holds_the_full_factorial() -> None:
    layout = make_layout(drawbar(FEED, TRAVEL, budget=Budget(coupons=96)))
    assert (layout.combos, layout.replicates, layout.per_setup) == (4, 2, 8)
    held = {(cell.settings["wire_feed"], cell.settings["travel"]) for cell in layout.cells["mix"]}
    assert held == {(7.5, 30.0), (7.5, 50.0), (9.5, 30.0), (9.5, 50.0)}


@pytest.mark.parametrize(
    ("design", "rounds", "set_ups", "df"),
    [
        (Design(rounds=6), 6, 12, 5),
        (Design(set_ups=12), 6, 12, 5),
        (Design(rounds=6, set_ups=12), 6, 12, 5),
        (Design(rounds=3, set_ups=12), 3, 12, 8),
        (Design(rounds=1, set_ups=12), 1, 12, 10),
        (Design(rounds=2), 2, 4, 1),
    ],
)
def test_rounds_and_set_ups_follow_from_each_other(
    design: Design, rounds: int, set_ups: int, df: int
) -> None:
    layout = make_layout(drawbar(design=design))
    assert (layout.rounds, layout.set_ups, layout.error_df) == (rounds, set_ups, df)


@pytest.mark.parametrize(
    ("trial", "what"),
    [
        (drawbar(design=Design(rounds=6)), "gas alone"),
        (drawbar(SLIDING, FEED, budget=Budget(coupons=48)), "two easy factors"),
        (
            drawbar(FEED, design=Design(rounds=3, set_ups=12, replicates=2), budget=Budget()),
            "two a round",
        ),
        (drawbar(FEED, design=Design(rounds=1, set_ups=8, model="main"), budget=Budget()), "free"),
    ],
)
def test_error_df_are_set_ups_less_the_rank_of_rounds_and_gas(trial: Trial, what: str) -> None:
    layout = make_layout(trial)
    matrix, units = coded(trial, layout)
    per_round = units.shape[1] // layout.rounds
    rounds = np.repeat(np.eye(layout.rounds), per_round, axis=0)
    sign = np.array([1.0 if level == "mix" else -1.0 for level in GAS.levels])
    gas = np.tile(np.repeat(sign, layout.per_round), layout.rounds)
    assert layout.error_df == units.shape[1] - np.linalg.matrix_rank(np.column_stack([rounds, gas]))
    both = np.linalg.matrix_rank(np.hstack([matrix, units]))
    assert layout.error_df_within == layout.coupons - both


@pytest.mark.parametrize("model", ["main", "two-factor"])
@pytest.mark.parametrize("rounds", [None, 2])
def test_error_df_of_a_shuffled_plan_are_coupons_less_the_rank(
    model: Any, rounds: int | None
) -> None:
    trial = shuffled(SLIDING, FEED, TRAVEL, GAS, budget=Budget(coupons=32))
    trial = replace(trial, factors=(*trial.factors[:3], replace(GAS, hard_to_change=False)))
    trial = replace(trial, design=Design(rounds=rounds, model=model))
    layout = make_layout(trial)
    matrix, blocks = coded(trial, layout)
    assert layout.hard is None
    assert layout.error_df == 32 - np.linalg.matrix_rank(np.hstack([matrix, blocks]))


def test_nothing_said_about_rounds_gives_six_or_what_the_budget_divides_into() -> None:
    assert make_layout(drawbar(design=Design())).rounds == 6
    assert make_layout(drawbar(design=Design(), budget=Budget())).rounds == 6
    assert make_layout(drawbar(design=Design(), budget=Budget(coupons=28))).rounds == 7
    assert make_layout(drawbar(design=Design(), budget=Budget(coupons=20))).rounds == 5


def test_a_budget_too_small_names_the_closest_that_fits() -> None:
    trial = drawbar(
        design=Design(rounds=6, set_ups=12, replicates=3),
        budget=Budget(coupons=24, spare=2, warm_up=2),
    )
    with pytest.raises(CannotShareOut) as refused:
        make_layout(trial)
    assert refused.value.words == (
        "12 set-ups of 3 need 36 coupons plus 4 spare and warm-up = 40; budget is 24. "
        "Closest that fits: 5 rounds × 2 gases × 2 = 20 + 4 = 24."
    )
    assert refused.value.hint == "Or raise  budget.coupons  to 40."
    assert refused.value.exit_code == 3


def test_a_budget_that_does_not_divide_names_the_numbers_that_do() -> None:
    with pytest.raises(CannotShareOut, match="20 coupons") as refused:
        make_layout(drawbar(budget=Budget(coupons=24, spare=2, warm_up=2)))
    assert refused.value.closest is not None
    assert (refused.value.closest.rounds, refused.value.closest.per_setup) == (5, 2)
    assert refused.value.hint == (
        "Or keep the 12 set-ups and set  budget.coupons  to 16 (12 × 1 + 4) or 28 (12 × 2 + 4)."
    )


@pytest.mark.parametrize("coupons", [1, 3, 5, 7, 11, 13, 23, 47, 50])
@pytest.mark.parametrize("easy", [(), (FEED,), (FEED, TRAVEL)])
def test_what_is_named_as_closest_can_be_laid_out(coupons: int, easy: tuple[Factor, ...]) -> None:
    with pytest.raises(CannotShareOut) as refused:
        make_layout(drawbar(*easy, budget=Budget(coupons=coupons)))
    found = refused.value.closest
    if found is None:
        assert coupons < 4 * 2 ** len(easy)
    else:
        fits = drawbar(
            *easy, design=Design(rounds=found.rounds), budget=Budget(coupons=found.total)
        )
        assert make_layout(fits).per_setup == found.per_setup
        assert found.total <= coupons


def test_one_set_up_a_gas_is_refused_with_two_sentences_of_why() -> None:
    with pytest.raises(PlanRefused) as refused:
        make_layout(drawbar(design=Design(rounds=1)))
    assert refused.value.words == (
        "Each gas is set up once, so gas and set-up cannot be told apart: whatever you find could "
        "be the regulator, the nozzle or the afternoon. Use at least rounds = 4 (6 recommended). "
        'To weld it anyway as a pilot:  purpose = "pilot"  – no verdict will be given.'
    )


def test_a_pilot_may_set_each_gas_up_once() -> None:
    assert make_layout(drawbar(design=Design(set_ups=2), purpose="pilot")).error_df == 0


def test_a_gas_tied_to_the_day_is_refused() -> None:
    trial = drawbar(design=Design(rounds=1), order=Order(block="day"))
    with pytest.raises(PlanRefused, match="Every mix coupon would be on one day") as refused:
        make_layout(trial)
    assert refused.value.words.endswith(
        'Day and gas cannot be told apart. Let each day hold both:  block = "round".'
    )
    with pytest.raises(PlanRefused, match='block = "round"'):
        make_layout(drawbar(order=Order(block="spool")))


@pytest.mark.parametrize(
    ("trial", "words"),
    [
        (drawbar(design=Design(rounds=6, set_ups=10)), "6 rounds of 2 gases are 12 set-ups"),
        (drawbar(design=Design(set_ups=7)), "7 set-ups cannot be shared evenly over 2 gases"),
        (drawbar(order=Order(first_at_most=2)), "order.first_at_most = 2 cannot be obeyed"),
        (shuffled(FEED, design=Design(set_ups=4)), "no factor is marked  hard_to_change"),
        (shuffled(FEED, order=Order(block="day")), "needs the number of blocks"),
        (shuffled(FEED, TRAVEL, budget=Budget(coupons=10)), "Set  budget.coupons  to 8 or 12"),
        (shuffled(FEED, TRAVEL, budget=Budget(coupons=4)), "4 unknowns and the plan 4 coupons"),
        (shuffled(FEED, design=Design(rounds=2, replicates=3)), "design.replicates = 4"),
        (
            shuffled(FEED, design=Design(replicates=3), budget=Budget(coupons=5)),
            "= 6 coupons; budget is 5",
        ),
        (shuffled(VOLTS, replace(GAS, levels=("mix",))), "nothing to compare"),
    ],
)
def test_numbers_that_contradict_each_other_are_refused(trial: Trial, words: str) -> None:
    with pytest.raises(PlanRefused) as refused:
        make_layout(trial)
    assert words in refused.value.words


@pytest.mark.parametrize(
    ("trial", "words"),
    [
        (drawbar(fair=Fair(rule="both")), 'fair.rule = "both"'),
    ],
)
def test_what_is_not_served_yet_is_named_with_what_to_do_meanwhile(
    trial: Trial, words: str
) -> None:
    with pytest.raises(NotYet) as refused:
        make_layout(trial)
    assert words in refused.value.words
    assert "eanwhile" in refused.value.words
    assert refused.value.exit_code == 3


def test_all_that_is_not_served_is_said_at_once() -> None:
    with pytest.raises(NotYet) as refused:
        make_layout(drawbar(fair=Fair(rule="both"), design=Design(kind="optimal")))
    assert len(refused.value.words.splitlines()) >= 1


def test_a_goal_is_laid_out_like_any_other_trial() -> None:
    plain = make_layout(drawbar(VOLTS, FEED, budget=Budget(coupons=48)))
    aimed = make_layout(drawbar(VOLTS, FEED, budget=Budget(coupons=48), goal=Goal(best="load")))
    assert aimed.as_plain() == plain.as_plain()


def test_the_plain_form_holds_every_number_and_no_order() -> None:
    trial = drawbar(VOLTS, FEED, budget=Budget(coupons=48))
    plain = make_layout(trial).as_plain()
    assert plain["combinations"][0] == {
        "under": "mix",
        "levels": {"gas": "mix", "voltage": "own", "wire_feed": "7.5"},
        "settings": {"gas": "mix", "voltage": 25.5, "wire_feed": 7.5},
    }
    assert fingerprint(plain) == fingerprint(make_layout(trial).as_plain())
    other = replace(VOLTS, settings={"mix": (25.5,), "co2": (27.1,)})
    changed = make_layout(drawbar(other, FEED, budget=Budget(coupons=48)))
    assert fingerprint(plain) != fingerprint(changed.as_plain())


@pytest.mark.parametrize("factors", range(5))
def test_the_factorial_is_full_and_in_standard_order(factors: int) -> None:
    rows = two_level(factors)
    assert len(set(rows)) == 2**factors
    assert list(rows) == sorted(rows)
    if factors:
        assert np.array_equal(np.array(rows).T @ np.array(rows), 2**factors * np.eye(factors))
