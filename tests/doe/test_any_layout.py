"""Any legal trial: what was asked is welded, in balance, and the analysis agrees with the plan."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from weldtrial.analysis.analyse import analyse
from weldtrial.doe.assess import Assessment, assess
from weldtrial.doe.cells import middle_level
from weldtrial.doe.layout import Layout, make_layout
from weldtrial.doe.make_plan import make_plan
from weldtrial.shared.coding import coded_point, model_matrix
from weldtrial.shared.factors import CENTRE, Factor
from weldtrial.shared.plan import Plan
from weldtrial.shared.plancsv import plan_to_csv, read_plan
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.terms import trial_terms
from weldtrial.shared.trial import Budget, Design, Trial

SEAL = "5e" * 32


def number(name: str, unit: str, *at: float, hard: bool = False) -> Factor:
    levels = tuple(f"{value:g}" for value in at)
    return Factor(name, "numeric", levels, unit=unit, settings={"": at}, hard_to_change=hard)


TWO = Factor("gas", "category", ("mix", "co2"), hard_to_change=True, control="mix")
THREE = replace(TWO, levels=("mix", "co2", "m20"))
PREHEAT = number("preheat", "°C", 20.0, 100.0, hard=True)
FEED = number("wire_feed", "m/min", 7.5, 9.5)
VOLTS = number("voltage", "V", 24.3, 27.4)
TRAVEL = number("travel", "cm/min", 30.0, 50.0)
STICK = number("stick_out", "mm", 12.0, 18.0)
BEND = number("angle", "deg", 0.0, 10.0, 20.0)
PUSH = Factor("torch", "category", ("push", "drag"))
TIP = Factor("tip", "category", ("new", "worn", "spent"))
TWO_LEVEL = (FEED, VOLTS, TRAVEL, STICK, PUSH)


def trial_of(*factors: Factor, budget: Budget | None = None, **design: object) -> Trial:
    return Trial(
        "A trial",
        factors,
        (Response("penetration", "mm"),),
        design=Design(**design),  # type: ignore[arg-type]
        budget=budget or Budget(),
    )


@st.composite
def factorials(draw: st.DrawFn) -> Trial:
    """Full factorials at mixed levels, with and without set-ups, centre points and squares."""
    hard = draw(st.sampled_from([(), (TWO,), (THREE,), (TWO, PREHEAT), (PREHEAT,)]))
    pool = (*TWO_LEVEL[:3], BEND, PUSH, TIP)
    easy = draw(st.lists(st.sampled_from(pool), unique_by=lambda one: one.name, max_size=3))
    assume(hard or easy)
    numbers = [one for one in easy if one.kind == "numeric"]
    squares = bool(numbers) and all(len(one.levels) > 2 for one in (*numbers, *hard))
    squares = squares and all(one.kind == "category" or one in numbers for one in hard)
    models = ["main", "two-factor", *(["quadratic"] * squares)]
    rounds = draw(st.integers(2, 5) if hard else st.integers(1, 3))
    categories = [len(one.levels) for one in easy if one.kind == "category"]
    centre = int(np.prod(categories)) * draw(st.integers(0, 2)) if numbers else 0
    spare, warm_up = draw(st.integers(0, 3)), draw(st.integers(0, 3))
    replicates = draw(st.integers(1, 2)) * (1 if hard else rounds)
    return trial_of(
        *hard,
        *easy,
        model=draw(st.sampled_from(models)),
        rounds=rounds,
        replicates=replicates,
        centre_points=centre * (1 if hard else rounds),
        budget=Budget(None, spare, warm_up),
    )


@st.composite
def fractions(draw: st.DrawFn) -> Trial:
    """Fractions of the easy factors, in set-ups, in blocks, folded over, in parts."""
    hard = draw(st.sampled_from([(), (TWO,), (THREE,)]))
    easy = TWO_LEVEL[: draw(st.integers(3, 5))]
    runs = draw(st.sampled_from([4, 8, 16]))
    assume(2 ** (len(easy) - 1) >= runs > len(easy))
    rounds = draw(st.sampled_from([2, 4])) if hard else draw(st.sampled_from([None, 1, 2]))
    trial = trial_of(
        *hard,
        *easy,
        kind="fraction",
        runs=runs,
        rounds=rounds,
        fold_over=draw(st.sampled_from([None, "all", "voltage"])),
        centre_points=draw(st.sampled_from([0, 0, 4])),
        model=draw(st.sampled_from(["main", "two-factor"])),
        replicates=draw(st.sampled_from([None, None, 2])),
    )
    if hard and trial.design.replicates is None and draw(st.booleans()):
        size = runs * (2 if trial.design.fold_over else 1) // 2 + trial.design.centre_points
        set_ups = (rounds or 1) * len(hard[0].levels)
        trial = replace(trial, budget=Budget(size * set_ups + 1, spare=1))
    return trial


legal = st.one_of(factorials(), fractions())
seals = st.binary(min_size=32, max_size=32).map(bytes.hex)
quick = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.filter_too_much]
)


def laid(trial: Trial) -> Layout:
    """The layout; a trial that is refused in words is none to look at."""
    try:
        return make_layout(trial)
    except PlanRefused:
        assume(False)
        raise


def coupons_by_unit(plan: Plan) -> dict[tuple[int | None, int | None], list[dict[str, str]]]:
    found: dict[tuple[int | None, int | None], list[dict[str, str]]] = {}
    for run in plan.of_role("count"):
        found.setdefault((run.round, run.setup), []).append(dict(run.levels))
    return found


@quick
@given(legal, seals)
def test_the_coupons_asked_for_are_welded_in_balance(trial: Trial, seal: str) -> None:
    layout = laid(trial)
    plan = make_plan(trial, seal)
    assert len(plan.runs) == layout.total
    assert make_plan(trial, seal) == plan
    units = coupons_by_unit(plan)
    assert len(units) == (layout.set_ups or layout.rounds)
    assert {len(one) for one in units.values()} == {layout.per_setup}
    for one in units.values():
        for factor in trial.hard:
            assert len({levels[factor.name] for levels in one}) == 1
        for factor in trial.easy:
            seen = Counter(levels[factor.name] for levels in one)
            if layout.centre_points and factor.kind == "numeric":
                middle = "10" if factor.name == "angle" else CENTRE
                seen[middle] -= layout.centre_points
                assert {seen[level] for level in factor.levels} == {
                    layout.combos * layout.replicates // len(factor.levels)
                }
            else:
                assert len(set(seen.values())) == 1
                assert set(seen) == set(factor.levels)
    combinations = Counter(
        tuple(levels.items())
        for one in units.values()
        for levels in one
        if CENTRE not in levels.values()
    )
    assert len(combinations) == layout.all_combos * max(1, len(layout.hard_levels))
    if not any(middle_level(one) != CENTRE for one in trial.easy if one.kind == "numeric"):
        each = (layout.set_ups_per_level or layout.rounds) * layout.replicates
        assert set(combinations.values()) == {each // max(1, len(layout.parts))}


@quick
@given(legal, seals)
def test_rounds_hold_every_kind_of_set_up_alike_and_the_restriction_is_obeyed(
    trial: Trial, seal: str
) -> None:
    layout = laid(trial)
    assume(layout.hard_factors)
    plan = make_plan(trial, seal)
    rounds: dict[int | None, list[tuple[str, ...]]] = {}
    for (number_of, _), coupons in coupons_by_unit(plan).items():
        kind = tuple(coupons[0][name] for name in layout.hard_factors)
        rounds.setdefault(number_of, []).append(kind)
    for kinds in rounds.values():
        assert set(Counter(kinds).values()) == {layout.per_round}
        assert len(set(kinds)) == len(layout.hard_levels)
    firsts = Counter(kinds[0] for kinds in rounds.values())
    assert layout.first_at_most is None or max(firsts.values()) <= layout.first_at_most


@quick
@given(legal, seals)
def test_a_plan_survives_its_file(
    tmp_path_factory: pytest.TempPathFactory, trial: Trial, seal: str
) -> None:
    laid(trial)
    plan = make_plan(trial, seal)
    path = tmp_path_factory.mktemp("plan") / "plan.csv"
    path.write_text(plan_to_csv(plan, trial), encoding="utf-8", newline="")
    assert read_plan(path, trial).runs == plan.runs


def columns(trial: Trial, plan: Plan) -> tuple[np.ndarray, dict[str, tuple[int, ...]], np.ndarray]:
    """Coded columns of the model, and the set-up (or block) of every coupon."""
    runs = plan.of_role("count")
    terms = trial_terms(trial.factors, trial.design.model, trial.design.terms)
    points = [coded_point(trial.varied, run.levels) for run in runs]
    made = model_matrix(trial.varied, terms, points)
    units = np.array([run.setup or run.round or 0 for run in runs])
    return made.matrix, dict(made.columns), units


@quick
@given(legal, seals)
def test_what_is_judged_within_set_ups_does_not_move_with_them(trial: Trial, seal: str) -> None:
    """Main effects of easy factors are orthogonal to set-ups and blocks, and to each other."""
    layout = laid(trial)
    matrix, where, units = columns(trial, make_plan(trial, seal))
    for factor in trial.easy:
        own = matrix[:, list(where[factor.name])]
        for unit in set(units):
            assert np.allclose(own[units == unit].sum(axis=0), 0.0)
        for other in trial.varied:
            if other is not factor:
                assert np.allclose(own.T @ matrix[:, list(where[other.name])], 0.0)
    for term in layout.strata.between:
        own = matrix[:, list(where[term.name])]
        for unit in set(units):
            assert np.ptp(own[units == unit], axis=0).max() < 1e-9


@quick
@given(legal, seals)
def test_degrees_of_freedom_are_those_of_the_ranks(trial: Trial, seal: str) -> None:
    layout = laid(trial)
    plan = make_plan(trial, seal)
    matrix, where, units = columns(trial, plan)
    kept = [at for term in layout.strata.told for at in where[term.name]]
    runs = plan.of_role("count")
    rounds = np.array([run.round or 0 for run in runs])
    blocks = (rounds[:, None] == np.unique(rounds)).astype(float)
    x = np.column_stack([blocks, matrix[:, kept]])
    assert np.linalg.matrix_rank(x) == x.shape[1]
    assert np.linalg.matrix_rank(np.column_stack([blocks, matrix])) == x.shape[1]
    if not layout.hard_factors:
        assert layout.error_df == len(runs) - x.shape[1]
        return
    both = np.linalg.matrix_rank(
        np.column_stack([x, (units[:, None] == np.unique(units)).astype(float)])
    )
    assert layout.error_df == both - x.shape[1]
    assert layout.error_df_within == len(runs) - both


def welded(trial: Trial, plan: Plan, seed: int = 1) -> Record:
    """Readings of a trial in which nothing but set-ups and coupons scatters."""
    random = np.random.default_rng(seed)
    shifts = random.normal(0, 0.1, 1000)
    coupons = [
        Coupon(
            run.stamp,
            "count",
            run.run,
            run.round,
            run.setup,
            run.levels,
            run.settings,
            welded=True,
            readings={
                "penetration": (
                    Reading("number", value=1.8 + shifts[run.setup or 0] + random.normal(0, 0.2)),
                )
            },
        )
        for run in plan.of_role("count")
    ]
    return Record(tuple(coupons), len(coupons), sealed="sealed", seal=SEAL)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(legal, seals)
def test_the_analysis_tells_what_the_plan_promised(trial: Trial, seal: str) -> None:
    layout = laid(trial)
    found = analyse(trial, welded(trial, make_plan(trial, seal))).responses[0]
    tested = {row.term: row.df_den for row in found.tests}
    assert set(tested) == {term.name for term in layout.strata.told}
    mixed = bool(layout.parts) and bool(layout.centre)  # some terms are then told at both levels
    if found.method == "kenward-roger" and not mixed:
        for one in assess(trial).told:
            assert tested[one.term] == pytest.approx(one.error_df, abs=1e-6)


def told(assessment: Assessment) -> dict[str, tuple[str, int]]:
    return {one.term: (one.judged_by, one.error_df) for one in assessment.told}


def test_three_gases_are_judged_by_set_ups_on_six() -> None:
    found = assess(trial_of(THREE, FEED, TRAVEL, rounds=4))
    assert told(found)["gas"] == ("set-ups", 6)
    assert told(found)["gas:travel"] == ("coupons", 29)
    assert found.aliases == found.confounded == found.left_out == ()


def test_a_half_fraction_in_two_days_hides_a_pair_and_says_which() -> None:
    """NIST handbook 5.3.3.4: the 2^(5-1) of resolution V keeps main effects and pairs apart."""
    five = (FEED, VOLTS, TRAVEL, STICK, number("gas_flow", "L/min", 12.0, 18.0))
    found = assess(trial_of(*five, kind="fraction", runs=16, rounds=2))
    assert found.layout.easy.fraction is not None
    assert found.layout.easy.fraction.resolution == 5
    assert found.layout.cut is not None
    (hidden,) = found.layout.cut.two_factor
    assert found.confounded[0].startswith(hidden.title)
    assert found.confounded[0].endswith("cannot be told from the difference between blocks")
    assert found.left_out == (
        f"{hidden.title} is left out of the model: it runs with the difference between blocks",
    )
    assert {one.judged_by for one in found.told} == {"effects"}
    assert len(found.told) == 14


def test_centre_points_show_a_bend_and_not_in_which_factor() -> None:
    trial = trial_of(TWO, FEED, VOLTS, rounds=4, centre_points=2)
    found = assess(trial)
    assert found.layout.per_setup == 6
    assert any("not in which of wire feed, voltage" in words for words in found.not_told)
    middle = found.layout.contents("co2")[-1]
    assert middle.levels == {"gas": "co2", "wire_feed": CENTRE, "voltage": CENTRE}
    assert middle.settings == {"gas": "co2", "wire_feed": 8.5, "voltage": 25.85}


def test_set_ups_of_four_hold_half_of_eight_combinations_and_lose_only_the_three_way() -> None:
    trial = trial_of(TWO, FEED, VOLTS, TRAVEL, rounds=4, budget=Budget(32))
    found = assess(trial)
    assert (found.layout.set_ups, found.layout.per_setup, found.layout.parts_by) == (8, 4, "round")
    assert found.confounded == (
        "wire feed × voltage × travel cannot be told from the difference between rounds",
    )
    assert told(found)["gas"] == ("set-ups", 3)
    assert told(found)["wire_feed:voltage"] == ("coupons", 15)


def test_parts_within_a_round_are_told_between_set_ups() -> None:
    trial = trial_of(
        TWO,
        FEED,
        VOLTS,
        TRAVEL,
        rounds=3,
        set_ups=12,
        terms=("wire_feed:voltage:travel",),
        budget=Budget(48),
    )
    found = assess(trial)
    assert found.layout.parts_by == "set-up"
    # 12 set-ups less 3 rounds, the gas and the three-way product
    assert told(found)["wire_feed:voltage:travel"] == ("set-ups", 7)
    assert "judged by set-ups, 7 to judge from" in found.confounded[0]
    without = assess(replace(trial, design=replace(trial.design, terms=())))
    assert told(without)["gas"] == ("set-ups", 8)
    assert "left in the scatter" in without.confounded[0]


def test_two_hard_factors_are_set_together_and_judged_by_set_ups() -> None:
    found = assess(trial_of(TWO, PREHEAT, FEED, rounds=4))
    assert found.layout.hard_levels == ("mix, 20", "mix, 100", "co2, 20", "co2, 100")
    # 16 set-ups less 4 rounds, two main effects and their product
    for term in ("gas", "preheat", "gas:preheat"):
        assert told(found)[term] == ("set-ups", 9)
    assert found.layout.as_plain()["hard_to_change"] == ["gas", "preheat"]


def test_squares_of_three_levels_are_told() -> None:
    found = assess(trial_of(BEND, replace(TWO, hard_to_change=False), model="quadratic",
                            replicates=2))  # fmt: skip
    assert told(found)["angle^2"] == ("coupons", 7)
    assert not any("bend" in words for words in found.not_told)


def test_a_fold_over_is_welded_in_two_blocks_and_frees_the_main_effects() -> None:
    five = (FEED, VOLTS, TRAVEL, STICK, PUSH)
    once = assess(trial_of(*five, kind="fraction", runs=8, model="main"))
    folded = trial_of(*five, kind="fraction", runs=8, fold_over="all", model="main")
    both = assess(folded)
    assert any("wire feed cannot be told from" in words for words in once.aliases)
    assert not any(words.startswith("wire feed cannot") for words in both.aliases)
    assert (both.layout.rounds, both.layout.coupons) == (2, 16)


@pytest.mark.parametrize(
    ("trial", "words"),
    [
        (trial_of(THREE, rounds=1), "Each gas is set up once"),
        (trial_of(TWO, PREHEAT, rounds=1), "4 set-ups in 1 round leave nothing to judge gas"),
        (trial_of(FEED, VOLTS, TRAVEL, kind="fraction"), "design.runs:  4 (main effects run"),
        (trial_of(FEED, VOLTS, BEND, kind="fraction", runs=4), "'angle' has more"),
        (trial_of(FEED, VOLTS, kind="fraction", runs=4), "needs three factors or more; there"),
        (
            trial_of(FEED, VOLTS, TRAVEL, kind="fraction", runs=4),
            "asks for 7 unknowns; 4 coupons differ enough to tell 4, without wire feed × voltage",
        ),
        (
            trial_of(FEED, VOLTS, TRAVEL, kind="fraction", runs=4, model="main"),
            "With 3 effects there are too few to judge them by each other (that takes 7).",
        ),
        (
            trial_of(FEED, VOLTS, TRAVEL, STICK, kind="fraction", runs=8,
                     terms=("wire_feed:voltage:travel",)),
            "wire feed × voltage × travel of design.terms cannot be told: in this design it runs "
            "with stick out.",
        ),
        (trial_of(FEED, replicates=2, model="quadratic"), "two levels, which draw a straight"),
        (trial_of(TWO, FEED, PUSH, rounds=4, centre_points=3), "Use  centre_points = 4."),
        (trial_of(FEED, PUSH, rounds=2, replicates=2, centre_points=6),
         "over 2 blocks and 2 combinations of the categories. Use  centre_points = 8  or 4."),
        (
            trial_of(TWO, FEED, VOLTS, TRAVEL, rounds=3, budget=Budget(24)),
            "3 rounds cannot hold every part equally often. Use  design.rounds = 2  or 4",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_told_is_refused_in_words(trial: Trial, words: str) -> None:
    with pytest.raises(PlanRefused) as refused:
        make_layout(trial)
    assert words in refused.value.words


def test_an_unreplicated_fraction_is_welded_when_seven_effects_judge_each_other() -> None:
    found = assess(trial_of(FEED, VOLTS, TRAVEL, STICK, kind="fraction", runs=8))
    assert {one.judged_by for one in found.told} == {"effects"}
    assert found.told[4].words == "wire feed × voltage (or travel × stick out)"
    assert found.never_welded.startswith("8 of the 16 combinations")


@quick
@given(legal, seals)
def test_stamps_tell_nothing_of_the_levels(trial: Trial, seal: str) -> None:
    """With the levels of every category named the other way round the stamps stay as they are."""
    laid(trial)
    plan = make_plan(trial, seal)
    turned = tuple(
        replace(one, levels=one.levels[::-1]) if one.kind == "category" else one
        for one in trial.factors
    )
    other = make_plan(replace(trial, factors=turned), seal)
    assert [run.stamp for run in other.runs] == [run.stamp for run in plan.runs]
    assert len({run.stamp for run in plan.runs}) == len(plan.runs)
    for factor in trial.factors:
        if factor.kind == "category" and not trial.design.centre_points:
            swap = dict(zip(factor.levels, factor.levels[::-1], strict=True))
            assert [run.levels.get(factor.name) for run in other.runs] == [
                swap.get(run.levels.get(factor.name, "")) for run in plan.runs
            ]


def test_every_pair_of_parts_comes_in_either_order() -> None:
    """Which day holds which half is drawn, not the file's doing."""
    trial = trial_of(FEED, VOLTS, TRAVEL, replicates=1, rounds=2, model="main")
    layout = make_layout(trial)
    first = {tuple(cell.levels.values()) for cell in layout.distinct("", 0)}
    starts = Counter(
        tuple(make_plan(trial, f"{number:064x}").runs[0].levels.values()) in first
        for number in range(400)
    )
    # 200 expected; four standard deviations of a fair coin are 40
    assert abs(starts[True] - 200) < 40
