"""What a lost coupon or set-up costs, against a design fitted again from nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from weldtrial.doe.alike import kinds_of_loss
from weldtrial.doe.information import covariance, effect_rows, information, t_quantile
from weldtrial.doe.left_to_tell import Design, left_to_tell
from weldtrial.doe.losses_of_design import losses
from weldtrial.shared.coding import model_matrix, unit_effects
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import model_terms, parse_term
from weldtrial.shared.trial import Model

GAS = Factor("gas", "category", ("mix", "co2", "m20"))
V = Factor("v", "numeric", ("-1", "0", "1"), unit="V", settings={"": (-1.0, 0.0, 1.0)})
W = Factor("w", "numeric", ("-1", "0", "1"), unit="V", settings={"": (-1.0, 0.0, 1.0)})


def design(
    points: Sequence[dict[str, str | float]],
    model: Model = "two-factor",
    setup: Sequence[int] | None = None,
    block: Sequence[int] | None = None,
    ratio: float = 1.0,
) -> Design:
    factors = [one for one in (GAS, V, W) if one.name in points[0]]
    terms = model_terms(factors, model)
    made = model_matrix(factors, terms, points)
    blocks = np.ones((len(points), 1)) if block is None else np.eye(max(block) + 1)[list(block)]
    shift = blocks.shape[1] - 1
    return Design(
        np.hstack([blocks, made.matrix[:, 1:]]),
        blocks.shape[1],
        None if setup is None else np.array(setup, dtype=np.intp),
        ratio,
        factors,
        terms,
        [tuple(at + shift for at in made.columns[one.name]) for one in terms],
    )


def dense(setup: np.ndarray, ratio: float) -> np.ndarray:
    return np.asarray(np.eye(len(setup)) + ratio * (setup[:, None] == setup))


def refitted(whole: Design, lost: Sequence[int]) -> list[float | None]:
    """Half-widths from nothing: kept terms by ranks of rows, dense V, ranks for what judges."""
    stay = [row for row in range(len(whole.matrix)) if row not in lost]
    x = whole.matrix[stay]
    blocks = [at for at in range(whole.blocks) if x[:, at].any()]
    columns, kept = list(blocks), []
    for term, at in zip(whole.terms, whole.columns, strict=True):
        more = [*columns, *at]
        if np.linalg.matrix_rank(x[:, more]) == len(columns) + len(at):
            columns, kept = more, [*kept, term.name]
    if whole.setup is None:
        v, setup = np.eye(len(x)), None
    else:
        setup = whole.setup[stay]
        v = dense(setup, whole.ratio)
    own = x[:, columns]
    c = np.linalg.inv(own.T @ np.linalg.solve(v, own))
    within_df, between_df, inside = len(x) - len(columns), 0, own
    if setup is not None:
        codes = np.unique(setup)
        inside = own - np.array([own[setup == one].mean(axis=0) for one in setup])
        rank = int(np.linalg.matrix_rank(inside, tol=1e-8))
        within_df = len(x) - len(codes) - rank
        between_df = len(codes) + rank - len(columns)
    found: list[float | None] = []
    for term, at in zip(whole.terms, whole.columns, strict=True):
        if term.name not in kept:
            found.append(None)
            continue
        here = [columns.index(one) for one in at]
        rows = effect_rows(whole.factors, term)
        variance = max(float(row @ c[np.ix_(here, here)] @ row) for row in rows)
        between = setup is not None and np.abs(inside[:, here]).max() < 1e-8
        df = between_df if between else within_df
        found.append(float(stats.t.ppf(0.975, df)) * variance**0.5 if df > 0 else float("inf"))
    return found


def agree(whole: Design, cases: Sequence[tuple[int, ...]]) -> None:
    for rows, told in zip(cases, left_to_tell(whole, cases), strict=True):
        expected = refitted(whole, rows)
        assert [one is None for one in told.half_widths] == [one is None for one in expected]
        pairs = zip(told.half_widths, expected, strict=True)
        both = [(a, b) for a, b in pairs if a is not None and b is not None]
        np.testing.assert_allclose(*zip(*both, strict=True), rtol=1e-7)


def in_setups(rounds: int, seed: int | None = None) -> Design:
    """Every gas once a round; two numbers at 2x2 inside, or scattered where there is a seed."""
    rng = np.random.default_rng(seed)
    points: list[dict[str, str | float]] = []
    setup, block = [], []
    for round_ in range(rounds):
        for place, gas in enumerate(GAS.levels):
            for v, w in [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)]:
                if seed is not None:
                    v, w = (float(one) for one in rng.choice([-1.0, 0.0, 1.0], 2))
                points.append({"gas": gas, "v": v, "w": w})
                setup.append(3 * round_ + place)
                block.append(round_)
    return design(points, "two-factor", setup, block, ratio=0.7)


@given(st.integers(0, 2**32 - 1), st.floats(0, 8))
def test_information_is_that_of_a_dense_covariance(seed: int, ratio: float) -> None:
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(17, 4))
    setup = np.array([0] * 5 + [1] * 1 + [2] * 4 + [3] * 7)
    expected = x.T @ np.linalg.solve(dense(setup, ratio), x)
    np.testing.assert_allclose(information(x, setup, ratio), expected, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(covariance(x, setup, ratio), np.linalg.inv(expected), rtol=1e-6)
    with pytest.raises(ValueError, match="not independent"):
        covariance(np.column_stack([x, x[:, 0] - 2 * x[:, 1]]), setup, ratio)


def test_t_quantiles_are_those_of_scipy() -> None:
    for df in (1.0, 2.5, 7.0, 60.0):
        assert t_quantile(df) == pytest.approx(stats.t.ppf(0.975, df), rel=1e-10)
    assert t_quantile(0) == float("inf")


@pytest.mark.parametrize("text", ["v", "v^2", "gas", "gas:v", "gas:v^2", "v:w", "gas:v:w"])
def test_effects_are_unit_effects_read_backwards(text: str) -> None:
    """An effect of 1 in a given way is read as 1, and no pair of levels differs by more."""
    factors = [GAS, V, W]
    term = parse_term(text, factors)
    read = effect_rows(factors, term) @ unit_effects(factors, term).T
    np.testing.assert_allclose(np.diag(read), 1.0)
    assert np.abs(read).max() == pytest.approx(1.0)


def test_one_coupon_by_the_hat_values() -> None:
    """|X'X| falls by 1 - h, the hats sum to p, and C grows by Cxx'C/(1 - h)."""
    rng = np.random.default_rng(3)
    points = [{"v": float(a), "w": float(b)} for a, b in rng.uniform(-1, 1, (14, 2))]
    whole = design(points, "quadratic")  # type: ignore[arg-type]
    x = whole.matrix
    c = np.linalg.inv(x.T @ x)
    hats = np.einsum("ni,ij,nj->n", x, c, x)
    assert hats.sum() == pytest.approx(x.shape[1])
    every = left_to_tell(whole, [(row,) for row in range(14)])
    for row, told in enumerate(every):
        less = np.delete(x, row, axis=0)
        ratio = np.linalg.det(less.T @ less) / np.linalg.det(x.T @ x)
        assert ratio == pytest.approx(1 - hats[row])
        after = c + np.outer(c @ x[row], c @ x[row]) / (1 - hats[row])
        for half, term, at in zip(told.half_widths, whole.terms, whole.columns, strict=True):
            scale = effect_rows(whole.factors, term)[0, 0]
            expected = t_quantile(13 - x.shape[1]) * abs(scale) * after[at[0], at[0]] ** 0.5
            assert half == pytest.approx(expected)


@settings(max_examples=12)
@given(st.integers(0, 2**32 - 1))
def test_any_loss_in_any_design_is_a_refit(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points: list[dict[str, str | float]] = [
        {"gas": str(gas), "v": float(v), "w": float(w)}
        for gas, v, w in zip(
            rng.choice(GAS.levels, 16),
            rng.choice([-1.0, 0.0, 1.0], 16),
            rng.choice([-1.0, 1.0], 16),
            strict=True,
        )
    ]
    whole = design(points, "main", block=rng.permutation([0] * 8 + [1] * 8).tolist())
    cases: list[tuple[int, ...]] = [(row,) for row in range(16)]
    cases += list(combinations(range(16), 2))[::5]
    agree(whole, cases)


@settings(max_examples=6)
@given(st.integers(0, 2**32 - 1), st.integers(2, 3))
def test_any_loss_in_set_ups_is_a_refit(seed: int, rounds: int) -> None:
    whole = in_setups(rounds, seed)
    n = len(whole.matrix)
    cases: list[tuple[int, ...]] = [(), *((row,) for row in range(n))]
    cases += [tuple(range(at, at + 4)) for at in range(0, n, 4)]
    cases += list(combinations(range(n), 2))[::17]
    agree(whole, cases)


def test_balanced_set_ups_name_the_worst_loss() -> None:
    whole = in_setups(4)
    agree(whole, [(), (0,), (0, 1), tuple(range(4))])
    found = losses(whole)
    assert found.setup is not None
    assert (found.setup_cases, found.setup_drops, found.coupon_cases) == (12, 0, 48)
    assert found.setup.widest == "gas"
    # Every set-up is like every other: nine of twelve are left to judge gas by.
    before, after = left_to_tell(whole, [(), found.setup.coupons])
    gas = (before.half_widths[0], after.half_widths[0])
    assert gas[0] is not None
    assert gas[1] is not None
    assert found.setup.growth == pytest.approx(gas[1] / gas[0])


def test_two_rounds_lose_their_judge_with_one_set_up() -> None:
    """Two gases in two rounds: one set-up less and nothing is left to judge gas by."""
    points: list[dict[str, str | float]] = []
    for gas in ("mix", "co2", "m20") * 2:
        points += [{"gas": gas, "v": v} for v in (-1.0, 1.0)]
    setup = np.repeat(np.arange(6), 2).tolist()
    whole = design(points, "main", setup, [at // 3 for at in setup])
    # Five set-ups less two rounds less two columns of gas leave one.
    assert losses(whole).setup_drops == 0
    two = [one for one in points if one["gas"] != "m20"]
    gas = Factor("gas", "category", ("mix", "co2"))
    terms = model_terms([gas, V], "main")
    made = model_matrix([gas, V], terms, two)
    blocks = np.eye(2)[[0] * 4 + [1] * 4]
    small = Design(
        np.hstack([blocks, made.matrix[:, 1:]]),
        2,
        np.repeat(np.arange(4), 2),
        1.0,
        [gas, V],
        terms,
        [(2,), (3,)],
    )
    found = losses(small)
    assert found.setup is not None
    assert found.setup.unjudged == ("gas",)
    assert found.setup_drops == 4


def test_a_saturated_fraction_loses_a_term_with_any_coupon() -> None:
    """Four coupons, three main effects: the last in the order drops out."""
    u = Factor("u", "numeric", ("-1", "1"), unit="V", settings={"": (-1.0, 1.0)})
    rows = [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)]
    factors = [u, V, W]
    points = [{"u": a, "v": b, "w": a * b} for a, b in rows]
    terms = model_terms(factors, "main")
    made = model_matrix(factors, terms, points)
    whole = Design(made.matrix, 1, None, 0.0, factors, terms, [(1,), (2,), (3,)])
    found = losses(whole)
    assert found.coupon.dropped == ("w",)
    assert (found.coupon_drops, found.pair_drops) == (4, 6)
    assert found.pair is not None
    assert found.pair.dropped == ("v", "w")
    assert found.coupon.growth is None


def test_alike_coupons_stand_for_one_another() -> None:
    """Counting all pairs one by one and by kinds gives the same worst and the same number."""
    rows = [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)] * 2
    points: list[dict[str, str | float]] = [{"v": a, "w": b} for a, b in rows]
    whole = design(points)
    found = losses(whole)
    every = list(combinations(range(8), 2))
    told = left_to_tell(whole, every)
    drops = sum(any(one is None for one in each.half_widths) for each in told)
    assert (found.pair_cases, found.pair_drops) == (28, drops)
    assert drops == 4
    assert found.pair is not None
    assert found.pair.coupons == (0, 4)


@pytest.mark.parametrize("seed", [None, 8])
def test_blocks_that_hold_the_same_stand_for_one_another(seed: int | None) -> None:
    """In three rounds, by kinds and one by one: as many pairs that drop a term, the same worst."""
    whole = in_setups(3, seed)
    if seed is None:
        # Take what makes gas told apart from w out of all but two coupons of the first round.
        x = whole.matrix.copy()
        x[:, whole.columns[2][0]] = np.where(np.arange(len(x)) < 2, x[:, whole.columns[2][0]], 0.0)
        whole = replace(whole, matrix=x, terms=whole.terms[:3], columns=whole.columns[:3])
    found = losses(whole)
    pairs = list(combinations(range(len(whole.matrix)), 2))
    told = left_to_tell(whole, [(), *pairs])
    before = told[0].half_widths
    drops, growth = 0, 0.0
    for after in told[1:]:
        both = list(zip(before, after.half_widths, strict=True))
        drops += any(now is None and was is not None for was, now in both)
        ratios = [now / was for was, now in both if was is not None and now is not None]
        growth = max(growth, *ratios)
    assert (found.pair_cases, found.pair_drops) == (len(pairs), drops)
    assert found.pair is not None
    if not drops:
        assert found.pair.growth == pytest.approx(growth)
    kinds = kinds_of_loss(whole, 2)
    assert sum(kinds.values()) == len(pairs)
    if seed is None:
        # Within the first round, within the others, and across: first to others, others to others.
        assert len(kinds) == 66 + 66 + 144 + 78
        assert drops >= 1
