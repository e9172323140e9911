"""What designs can tell, against printed tables and published properties."""

from __future__ import annotations

import json
from itertools import product
from types import ModuleType

import numpy as np
import pytest

from weldtrial.doe.blurred import blurred, effects_up_to_two, leaks
from weldtrial.doe.fitted import Fitted, fitted
from weldtrial.doe.prediction_error import prediction_error, spread_over, variances
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.responses import Response
from weldtrial.shared.terms import model_terms
from weldtrial.shared.trial import Model, Trial


def number(name: str) -> Factor:
    return Factor(name, "numeric", ("-1", "0", "1"), unit="V", settings={"": (-1.0, 0.0, 1.0)})


def fit_of(rows: np.ndarray, model: Model) -> tuple[Trial, Fitted]:
    """Fit a model to coded rows, every coupon set up anew."""
    factors = tuple(number(f"x{one + 1}") for one in range(rows.shape[1]))
    trial = Trial("published", factors, (Response("y", "kN"),))
    terms = model_terms(factors, model)
    points = [dict(zip((one.name for one in factors), row, strict=True)) for row in rows.tolist()]
    made = model_matrix(factors, terms, points)
    columns = tuple(made.columns[one.name] for one in terms)
    left = len(rows) - made.matrix.shape[1]
    return trial, fitted(made.matrix, terms, columns, None, 0.0, (0, left))


def test_partial_aliases_of_plackett_and_burman_in_twelve(reference: ModuleType) -> None:
    """NIST handbook Table 3.18 (read): every main effect is a third of every pair without it.

    A published property of this design: each main effect is correlated ±1/3 with each two-factor
    interaction that it is not part of, and 0 with those that it is.
    """
    case = reference.load("nist-hb-plackett-burman-12")
    rows = np.column_stack([case.numbers(f"x{one}") for one in range(1, 12)])
    factors = [number(f"x{one}") for one in range(1, 12)]
    points = [dict(zip((one.name for one in factors), row, strict=True)) for row in rows.tolist()]
    terms = tuple(one for one in effects_up_to_two(factors, ()) if "^" not in one.name)
    made = model_matrix(factors, terms, points)
    names = [one.name for one in terms]
    found = blurred(names, made.matrix, [made.columns[one] for one in names], 1)
    mixed = 0
    for pair in found.pairs:
        first, second = pair.one.split(":"), pair.other.split(":")
        if len(first) == len(second) == 1:
            assert pair.correlation == 0.0
        elif len(first) == 1:
            expected = 0.0 if first[0] in second else 1 / 3
            assert abs(pair.correlation) == pytest.approx(expected, abs=1e-12)
            mixed += expected > 0
    assert mixed == 11 * 45
    main = terms[:11]
    told = model_matrix(factors, main, points)
    pairs = model_matrix(factors, terms[11:], points)
    shares = leaks(
        told.matrix,
        names[:11],
        [told.columns[one] for one in names[:11]],
        pairs.matrix,
        names[11:],
        [pairs.columns[one] for one in names[11:]],
        None,
        0.0,
    )
    assert len(shares) == 11 * 45
    assert {round(abs(one.share), 9) for one in shares} == {round(1 / 3, 9)}


def test_aliases_of_the_handbook_fraction(reference: ModuleType) -> None:
    """NIST handbook 5.3.3.8.1 (read): the main effects of 2^(7-4) and their pairs."""
    text = (reference.DATA / "nist-hb-foldover-2x7-4.json").read_text(encoding="utf-8")
    printed = json.loads(text)["expected"]["main_effect_aliases_2fi"]
    base = np.array(list(product((-1.0, 1.0), repeat=3)))
    one, two, three = base.T
    rows = np.column_stack([base, one * two, one * three, two * three, one * two * three])
    factors = [number(f"x{at}") for at in range(1, 8)]
    points = [dict(zip((at.name for at in factors), row, strict=True)) for row in rows.tolist()]
    terms = tuple(at for at in effects_up_to_two(factors, ()) if "^" not in at.name)
    made = model_matrix(factors, terms, points)
    names = [at.name for at in terms]
    found = blurred(names, made.matrix, [made.columns[at] for at in names], 1)
    aliases: dict[str, set[str]] = {at: set() for at in printed}
    for pair in found.tied(0.5):
        if ":" not in pair.one:
            assert pair.correlation == pytest.approx(1.0)
            aliases[pair.one[1:]].add(pair.other.replace("x", "").replace(":", ""))
    assert aliases == {at: set(several) for at, several in printed.items()}


@pytest.mark.parametrize("k", [2, 3, 4])
def test_prediction_in_a_two_level_factorial(k: int) -> None:
    """Main effects in 2^k coupons: variance (1 + sum of squares)/n, p/n at the corners."""
    rows = np.array(list(product((-1.0, 1.0), repeat=k)))
    n = len(rows)
    trial, fit = fit_of(rows, "main")
    found = prediction_error(trial, fit, 2.0)
    assert found is not None
    assert found.best.relative == pytest.approx(1 / n, rel=1e-6)
    assert found.worst.relative == pytest.approx((1 + k) / n, rel=1e-9)
    # The mean over the cube is (1 + k/3)/n; the spread settings meet it within 1 %.
    assert found.mean == pytest.approx((1 + k / 3) / n, rel=0.01)
    points = [dict(zip((one.name for one in trial.factors), row, strict=True))
              for row in np.random.default_rng(4).uniform(-1, 1, (40, k)).tolist()]  # fmt: skip
    by_hand = [(1 + sum(float(v) ** 2 for v in one.values())) / n for one in points]
    np.testing.assert_allclose(variances(trial, fit, points)[0], by_hand, rtol=1e-12)


@pytest.mark.parametrize(("k", "printed"), [(2, "k2_full"), (3, "k3_full"), (4, "k4_full")])
def test_a_rotatable_design_predicts_equally_well_on_spheres(
    reference: ModuleType, k: int, printed: str
) -> None:
    """Published property of the rotatable central composite; alpha as NIST prints it (read)."""
    text = (reference.DATA / "nist-hb-ccd-geometry.json").read_text(encoding="utf-8")
    alpha = json.loads(text)["expected"]["alpha_rotatable"][printed]
    assert alpha == pytest.approx((2**k) ** 0.25, abs=5e-4)
    stars = np.vstack([np.eye(k), -np.eye(k)]) * (2**k) ** 0.25
    rows = np.vstack([list(product((-1.0, 1.0), repeat=k)), stars, np.zeros((5, k))])
    trial, fit = fit_of(rows, "quadratic")
    rng = np.random.default_rng(11)
    names = [one.name for one in trial.factors]
    for radius in (0.3, 1.0, alpha):
        ways = rng.normal(size=(60, k))
        ways *= radius / np.linalg.norm(ways, axis=1)[:, None]
        at = [dict(zip(names, row, strict=True)) for row in ways.tolist()]
        found = variances(trial, fit, at)[0]
        assert np.ptp(found) < 1e-9 * found.mean()
    # Faces in place of the spheres' stars: no longer so.
    faces = np.vstack([list(product((-1.0, 1.0), repeat=k)), np.sign(stars), np.zeros((5, k))])
    trial, fit = fit_of(faces, "quadratic")
    on_one = [{**dict.fromkeys(names, 0.0), names[0]: 1.0}, dict.fromkeys(names, k**-0.5)]
    apart = variances(trial, fit, on_one)[0]
    assert abs(apart[0] - apart[1]) > 0.01 * apart.mean()


@pytest.mark.parametrize("k", [2, 3])
def test_average_prediction_variance_by_the_moments_of_the_cube(k: int) -> None:
    """trace(C M), M the moments of the cube: 1/3 for a square, 1/5 for a fourth power.

    Box & Draper (1959), *JASA* 54:622-654 (from memory).
    """
    faces = np.vstack([np.eye(k), -np.eye(k)])
    rows = np.vstack([list(product((-1.0, 1.0), repeat=k)), faces, np.zeros((2, k))])
    trial, fit = fit_of(rows, "quadratic")
    powers = [dict[str, int]()] + [dict(term.powers) for term in fit.terms]
    moments = np.array([[_moment(a, b) for b in powers] for a in powers])
    exact = float(np.trace(fit.covariance @ moments))
    found = prediction_error(trial, fit, None)
    assert found is not None
    assert found.mean == pytest.approx(exact, rel=0.01)
    assert found.typical_half_width is None
    assert found.share_below(found.typical) == pytest.approx(0.5, abs=1e-6)
    assert spread_over(trial)[1] == 1.0


def _moment(one: dict[str, int], other: dict[str, int]) -> float:
    together = {name: one.get(name, 0) + other.get(name, 0) for name in {*one, *other}}
    if any(power % 2 for power in together.values()):
        return 0.0
    return float(np.prod([1 / (power + 1) for power in together.values()]))
