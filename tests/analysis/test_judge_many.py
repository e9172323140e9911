"""Trials judged together are judged as each is alone: same verdict, same numbers to 1e-9."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.analysis.judge import CODES, Bounds, Evidence, judge, judge_all
from weldtrial.analysis.judge_many import CANNOT_TELL, NO_ANSWER, judge_many
from weldtrial.analysis.linear import Estimate
from weldtrial.analysis.many_critical import SLACK, exact, held
from weldtrial.analysis.model import fit_frame
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question
from weldtrial.analysis.simulate import frame_of
from weldtrial.analysis.simultaneous import against_reference, among_all
from weldtrial.shared.coding import coded_point
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Margin, Response
from weldtrial.shared.terms import trial_terms

TRAVEL = Factor("travel", "numeric", ("low", "high"), unit="cm/min", settings={"": (30.0, 50.0)})


def gases(levels: int, *, hard: bool, control: bool) -> Factor:
    names = ("mix", "co2", "lean", "rich")[:levels]
    return Factor("gas", "category", names, hard_to_change=hard, control="mix" if control else None)


def coupons(
    factors: tuple[Factor, ...], rounds: int, per_round: int, each: int, hard: bool
) -> list[Observation]:
    gas = factors[0]
    found: list[Observation] = []
    setup = 0
    for number in range(1, rounds + 1):
        for level in gas.levels * per_round:
            setup += 1
            easy = product(*(f.levels for f in factors[1:]), range(each))
            for cell in easy:
                levels = {
                    "gas": level,
                    **dict(zip([f.name for f in factors[1:]], cell, strict=False)),
                }
                found.append(
                    Observation(
                        f"X{len(found):03d}",
                        len(found) + 1,
                        number if rounds > 1 else None,
                        setup if hard else None,
                        levels,
                        coded_point(factors, levels),
                        0.0,
                        (),
                    )
                )
    return found


@st.composite
def trials(draw: st.DrawFn) -> tuple[Question, list[Observation], np.ndarray]:
    """A small trial of any kind, some coupons missing, and three sets of readings."""
    hard, levels = draw(st.booleans()), draw(st.sampled_from([2, 2, 2, 3]))
    gas = gases(levels, hard=hard, control=draw(st.integers(0, 5)) > 0)
    factors = (gas, TRAVEL) if draw(st.booleans()) else (gas,)
    rounds, each = draw(st.integers(1, 4)), draw(st.integers(1, 3))
    planned = coupons(factors, rounds, draw(st.integers(1, 2)), each, hard)
    keep = draw(st.lists(st.integers(0, 9), min_size=len(planned), max_size=len(planned)))
    left = [o for o, number in zip(planned, keep, strict=True) if number > 0]
    response = Response(
        "load",
        "kN",
        better=draw(st.sampled_from(["higher", "lower"])),
        ask=draw(st.sampled_from(["difference", "no-worse", "equal-enough"])),
        margin=draw(st.sampled_from([None, Margin(5.0), Margin(0.06, percent=True)])),
    )
    terms = trial_terms(factors, "two-factor")
    reference = gas.reference
    level = next(one for one in reversed(gas.levels) if one != reference)
    question = Question(factors, terms, response, gas, level, reference)
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    setups = np.array([o.setup or 0 for o in left], dtype=int)
    ys = 80 + 4 * random.standard_normal((len(left), 3))
    if len(left):
        ys += 2 * random.standard_normal((setups.max() + 1, 3))[setups]
        ys += draw(st.sampled_from([0.0, -5.0, 9.0])) * np.array(
            [[o.levels["gas"] == level] for o in left]
        )
    if draw(st.integers(0, 4)) == 0:
        ys = np.round(ys / 10) * 10  # A gauge too coarse to show scatter now and then.
    return question, left, ys


def alone(question: Question, frame, y) -> tuple[int, tuple[float, ...]]:
    try:
        answered = question.answer(fit_frame(frame, y))
    except NotEstimable:
        return NO_ANSWER, ()
    if answered is None:
        return CANNOT_TELL, ()
    found, code = answered
    return CODES.index(code), (found.difference.estimate, found.difference.se, found.difference.df)


@settings(max_examples=70, deadline=None)
@given(trials())
def test_judged_together_as_alone(trial: tuple[Question, list[Observation], np.ndarray]) -> None:
    question, left, ys = trial
    if not left:
        return
    # Rounded to tens most coupons tie and the likelihood may be flat down to its negative bound;
    # the last digits of the sums then decide where the climb stops.
    digits = 1e-3 if np.all(ys == np.round(ys / 10) * 10) else 1e-9
    frame = frame_of(question, left)
    expected = [alone(question, frame, y) for y in ys.T]
    try:
        found = judge_many(question, frame, ys)
    except NotEstimable:
        assert all(place == NO_ANSWER for place, _ in expected)
        return
    assert found.places.tolist() == [place for place, _ in expected]
    for column, (_, numbers) in enumerate(expected):
        mine = (found.estimate[column], found.se[column], found.df[column])
        if numbers:
            np.testing.assert_allclose(mine[:2], numbers[:2], rtol=digits, atol=1e-9)
            # Estimate and error stand still at the peak; degrees of freedom go with its place,
            # which a flat likelihood gives to half as many digits.
            np.testing.assert_allclose(mine[2], numbers[2], rtol=max(digits, 1e-5))
        else:
            assert np.isnan(mine).all()


@pytest.mark.parametrize("control", [True, False])
def test_several_gases_of_unequal_set_ups_keep_their_own_critical_values(control: bool) -> None:
    """Three gases, coupons missing: every trial has degrees of freedom of its own."""
    gas = gases(3, hard=True, control=control)
    left = [o for o in coupons((gas,), 4, 1, 3, True) if o.stamp not in ("X001", "X007", "X030")]
    question = Question(
        (gas,), trial_terms((gas,), "main"), Response("load", "kN", margin=Margin(5.0)), gas, "co2"
    )
    frame = frame_of(question, left)
    random = np.random.default_rng(3)
    many = 50 if control else 8
    ys = 80 + 4 * random.standard_normal((len(left), many))
    ys -= 7.0 * np.array([[o.levels["gas"] == "co2"] for o in left])
    found = judge_many(question, frame, ys)
    assert np.ptp(found.df) > 0.1
    assert found.places.tolist() == [alone(question, frame, y)[0] for y in ys.T]
    assert len(set(found.places.tolist())) > 1


@pytest.mark.parametrize("df", [1.0, 1.7, 4.3, 12.0, 90.0])
def test_critical_values_lie_between_those_of_the_tables(df: float) -> None:
    several = np.array([[4.0, 1.7, 1.9], [1.7, 3.6, 1.6], [1.9, 1.6, 4.4]])
    loads = np.array([0.66, 0.71, 0.6])
    product_form = np.outer(loads, loads) + np.diag(1 - loads**2)
    for covariance in (several, product_form):
        # A second trial beside it, so that the values are held and not worked out.
        found = held("reference", 4, np.array([df, df + 1]), np.array([covariance] * 2))
        true = against_reference(Estimate(0.0, 1.0, df), covariance)
        assert found.low95[0] <= true.critical95 <= found.high95[0]
        assert found.low90[0] <= true.critical90 <= found.high90[0]
    pairs = held("pairs", 3, np.array([df, df + 1]), None)
    true = among_all(Estimate(0.0, 1.0, df), 3)
    assert (pairs.low95[0], pairs.high95[0]) == pytest.approx([true.critical95] * 2, rel=2 * SLACK)
    assert pairs.low90[0] <= true.critical90 <= pairs.high90[0]
    assert exact("pairs", 3, df, None).critical95 == true.critical95


ends = st.tuples(st.floats(-30, 30), st.floats(0.01, 20), st.floats(0.1, 0.95))


@given(
    st.lists(ends, min_size=1, max_size=30),
    st.one_of(st.none(), st.floats(0.1, 15)),
    st.sampled_from(["difference", "no-worse", "equal-enough"]),
)
def test_one_rule_for_one_and_for_many(numbers, margin, ask) -> None:
    middle, half, share = np.array(numbers).T
    columns = (middle - half, middle + half, middle - share * half, middle + share * half)
    many = Evidence.of(Bounds(*columns), margin)
    places = judge_all(many.change, many.above_loss, many.above_gain, ask)
    one_by_one = [
        judge(Evidence.of(Bounds(*map(float, row)), margin), ask)
        for row in zip(*columns, strict=True)
    ]
    assert [CODES[place] for place in places] == one_by_one
