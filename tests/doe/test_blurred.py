"""Which effects travel together: against printed tables, and against the algebra of fractions."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.outliers_influence import variance_inflation_factor

from weldtrial.doe.aliases import alias_sets
from weldtrial.doe.blurred import blurred, effects_up_to_two, inflations, leaks
from weldtrial.doe.fractions import fraction
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term, model_terms


def number(name: str, levels: int = 2) -> Factor:
    row = tuple(float(one) for one in np.linspace(-1, 1, levels))
    return Factor(name, "numeric", tuple(map(str, row)), unit="V", settings={"": row})


def category(name: str, levels: int) -> Factor:
    return Factor(name, "category", tuple(f"{name}{one}" for one in range(levels)))


def columns_of(
    factors: list[Factor], terms: tuple[Term, ...], rows: list[dict[str, str | float]]
) -> tuple[list[str], np.ndarray, list[tuple[int, ...]]]:
    made = model_matrix(factors, terms, rows)
    return [one.name for one in terms], made.matrix, [made.columns[one.name] for one in terms]


def test_a_fraction_is_blurred_as_its_defining_relation_says() -> None:
    """±1 within the alias sets (Box & Hunter 1961, by their algebra), 0 between them."""
    for runs, many in ((8, 7), (8, 5), (16, 6), (16, 8)):
        names = [f"f{one}" for one in range(many)]
        made = fraction(tuple(names), runs)
        factors = [number(name) for name in names]
        rows = [dict(zip(names, map(float, row), strict=True)) for row in made.signs]
        terms = effects_up_to_two(factors, ())
        found = blurred(*columns_of(factors, terms, rows), 1)
        sets = [
            {":".join(word.factors): word.sign for word in one.effects}
            for one in alias_sets(made, 2)
        ]
        tied = 0
        for pair in found.pairs:
            together = [one for one in sets if pair.one in one and pair.other in one]
            if together:
                sign = together[0][pair.one] * together[0][pair.other]
                assert pair.correlation == pytest.approx(sign, abs=1e-12)
                tied += 1
            else:
                assert pair.correlation == 0.0
        assert tied == sum(len(one) * (len(one) - 1) // 2 for one in sets)
        assert tied == len(found.tied(0.001)) > 0


def test_blocks_are_taken_out_and_what_they_hide_is_named() -> None:
    """2^3 in two blocks by ABC (NIST handbook 5.3.3.3): nothing up to two factors is hidden."""
    factors = [number(name) for name in "abc"]
    rows = [dict(zip("abc", row, strict=True)) for row in np.ndindex(2, 2, 2)]
    rows = [{name: 2.0 * value - 1 for name, value in row.items()} for row in rows]
    terms = effects_up_to_two(factors, ())
    names, matrix, at = columns_of(factors, terms, rows)
    for product, hidden in ((("a", "b", "c"), ()), (("a", "b"), ("a:b",))):
        block = np.array([int(np.prod([row[one] for one in product]) > 0) for row in rows])
        blocks = np.eye(2)[block]
        found = blurred(
            names,
            np.hstack([blocks, matrix[:, 1:]]),
            [tuple(one + 1 for one in own) for own in at],
            2,
        )
        assert found.hidden == hidden
        assert not found.tied(1e-6)


@given(st.integers(0, 2**32 - 1))
def test_one_column_correlations_are_those_of_numpy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    factors = [number(name, 3) for name in "abc"]
    rows = [dict(zip("abc", row, strict=True)) for row in rng.choice([-1.0, 0.0, 1.0], (14, 3))]
    terms = effects_up_to_two(factors, ())
    names, matrix, at = columns_of(factors, terms, rows)
    found = blurred(names, matrix, at, 1)
    own = {name: matrix[:, one[0]] for name, one in zip(names, at, strict=True)}
    for pair in found.pairs:
        expected = np.corrcoef(own[pair.one], own[pair.other])[0, 1]
        assert pair.correlation == pytest.approx(expected, abs=2e-5)
    seen = {frozenset((pair.one, pair.other)) for pair in found.pairs}
    left = [name for name in names if name not in found.hidden]
    assert seen == {frozenset(pair) for pair in combinations(left, 2)}
    sizes = [round(abs(pair.correlation), 9) for pair in found.pairs]
    assert sizes == sorted(sizes, reverse=True)


def test_three_gases_are_tied_as_the_canonical_correlation_says() -> None:
    """A number that always follows the third gas: wholly tied, whatever the other two do."""
    factors = [category("gas", 3), number("v")]
    rows: list[dict[str, str | float]] = [
        {"gas": f"gas{gas}", "v": 1.0 if gas == 2 else -1.0} for gas in (0, 1, 2) * 3
    ]
    found = blurred(*columns_of(factors, model_terms(factors, "main"), rows), 1)
    assert found.pairs[0].correlation == pytest.approx(1.0)
    rows = [{"gas": f"gas{gas}", "v": v} for gas in range(3) for v in (-1.0, 1.0)]
    found = blurred(*columns_of(factors, model_terms(factors, "main"), rows), 1)
    assert found.pairs[0].correlation == 0.0


@given(st.integers(0, 2**32 - 1))
def test_inflation_is_that_of_statsmodels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    factors = [number(name, 5) for name in "abcd"]
    rows = [dict(zip("abcd", row, strict=True)) for row in rng.uniform(-1, 1, (20, 4))]
    _, matrix, at = columns_of(factors, model_terms(factors, "main"), rows)
    expected = [variance_inflation_factor(matrix, one[0]) for one in at]
    found = inflations(matrix, at, 1, None, 0.0)
    np.testing.assert_allclose(found, expected, rtol=1e-7)
    assert min(found) >= 1 - 1e-9


@given(st.integers(0, 2**32 - 1), st.floats(0, 5))
def test_leaks_are_what_a_fit_of_the_wrong_model_reads(seed: int, ratio: float) -> None:
    """An effect of 1 that is left out, fitted by dense generalised least squares."""
    rng = np.random.default_rng(seed)
    factors = [number(name) for name in "abc"]
    rows = [dict(zip("abc", row, strict=True)) for row in rng.uniform(-1, 1, (12, 3))]
    names, model, at = columns_of(factors, model_terms(factors, "main"), rows)
    out_terms = tuple(Term(((a, 1), (b, 1))) for a, b in combinations("abc", 2))
    out_names, out, out_at = columns_of(factors, out_terms, rows)
    setup = np.repeat(np.arange(4), 3)
    found = leaks(model, names, at, out, out_names, out_at, setup, ratio)
    v = np.eye(12) + ratio * (setup[:, None] == setup)
    for one in found:
        y = out[:, out_at[out_names.index(one.left_out)][0]]
        weights = np.linalg.solve(v, model)
        beta = np.linalg.solve(model.T @ weights, weights.T @ y)
        assert one.share == pytest.approx(beta[at[names.index(one.told)][0]], abs=1e-8)
    assert len(found) == 9
