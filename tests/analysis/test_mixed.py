"""Set-up fits against an independent dense-matrix Kenward-Roger, statsmodels and strata ANOVA."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from weldtrial.analysis import mixed
from weldtrial.analysis.linear import estimate, term_test
from weldtrial.analysis.mixed import batch_estimates, batch_tests, fit_setups
from weldtrial.shared.problems import NotEstimable


@dataclass
class Dense:
    """What the dense formulas give."""

    coefficients: np.ndarray
    model_covariance: np.ndarray
    covariance: np.ndarray
    coupon_variance: float
    df: float
    scale: float


def members(setup):
    return np.eye(setup.max() + 1)[setup]


def dense_likelihood(x, setup, y, ratio):
    """-2 ln of the restricted likelihood, residual variance profiled out, n x n matrices."""
    z = members(setup)
    h = np.eye(len(y)) + ratio * z @ z.T
    inverse = np.linalg.inv(h)
    xhx = x.T @ inverse @ x
    p = inverse - inverse @ x @ np.linalg.solve(xhx, x.T @ inverse)
    df = len(y) - x.shape[1]
    return np.linalg.slogdet(h)[1] + np.linalg.slogdet(xhx)[1] + df * np.log(y @ p @ y)


def dense_kenward_roger(x, setup, y, ratio, contrasts):
    """Halekoh & Hojsgaard (2014), section 3, written out with n x n matrices.

    Returns coefficients, both covariances, coupon variance, denominator degrees of freedom and
    scale of F.
    """
    z = members(setup)
    parts = [np.eye(len(y)), z @ z.T]
    h_inverse = np.linalg.inv(parts[0] + ratio * parts[1])
    residual = h_inverse - h_inverse @ x @ np.linalg.solve(x.T @ h_inverse @ x, x.T @ h_inverse)
    coupon = y @ residual @ y / (len(y) - x.shape[1])
    v_inverse = h_inverse / coupon
    phi = np.linalg.inv(x.T @ v_inverse @ x)
    p = [-x.T @ v_inverse @ g @ v_inverse @ x for g in parts]
    q = [[x.T @ v_inverse @ g @ v_inverse @ k @ v_inverse @ x for k in parts] for g in parts]
    information = np.array(
        [
            [
                np.trace(v_inverse @ parts[i] @ v_inverse @ parts[j])
                - 2 * np.trace(phi @ q[i][j])
                + np.trace(phi @ p[i] @ phi @ p[j])
                for j in range(2)
            ]
            for i in range(2)
        ]
    )
    w = 2 * np.linalg.inv(information)
    pairs = [(i, j) for i in range(2) for j in range(2)]
    centre = sum(w[i, j] * (q[i][j] - p[i] @ phi @ p[j]) for i, j in pairs)
    adjusted = phi + 2 * phi @ centre @ phi
    theta = contrasts.T @ np.linalg.inv(contrasts @ phi @ contrasts.T) @ contrasts
    pulls = [theta @ phi @ one @ phi for one in p]
    a1 = sum(w[i, j] * np.trace(pulls[i]) * np.trace(pulls[j]) for i, j in pairs)
    a2 = sum(w[i, j] * np.trace(pulls[i] @ pulls[j]) for i, j in pairs)
    count = len(contrasts)
    b = (a1 + 6 * a2) / (2 * count)
    g = ((count + 1) * a1 - (count + 4) * a2) / ((count + 2) * a2)
    under = 3 * count + 2 * (1 - g)
    c1, c2, c3 = g / under, (count - g) / under, (count + 2 - g) / under
    mean = 1 / (1 - a2 / count)
    variance = 2 / count * (1 + c1 * b) / ((1 - c2 * b) ** 2 * (1 - c3 * b))
    rho = variance / (2 * mean**2)
    df = 4 + (count + 2) / (count * rho - 1)
    return Dense(phi @ x.T @ v_inverse @ y, phi, adjusted, coupon, df, df / (mean * (df - 2)))


@st.composite
def layouts(draw, gases=2):
    """Unbalanced layouts: set-ups of 1 to 6 coupons, an easy factor inside, scatter of any size."""
    k = draw(st.integers(2 * gases, 9))
    sizes = draw(st.lists(st.integers(1, 6), min_size=k, max_size=k))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    setup = np.repeat(np.arange(k), sizes)
    n = len(setup)
    gas = np.vstack([np.eye(gases - 1), -np.ones(gases - 1)])[np.arange(k) % gases][setup]
    columns = [np.ones((n, 1)), gas]
    if draw(st.booleans()):
        columns.append(rng.choice([-1.0, 1.0], size=(n, 1)))
    x = np.hstack(columns)
    between = draw(st.sampled_from([0.0, 0.3, 1.5]))
    y = 80 + between * rng.standard_normal(k)[setup] + rng.standard_normal(n)
    assume(np.linalg.matrix_rank(x) == x.shape[1])
    both = np.linalg.matrix_rank(np.hstack([x, members(setup)]))
    assume(both > x.shape[1] and n > both)
    return x, setup, y


def agree(value, reference, tolerance=1e-8):
    np.testing.assert_allclose(
        value, reference, rtol=tolerance, atol=tolerance * np.max(np.abs(reference))
    )


RARE = settings(
    max_examples=80, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)  # fmt: skip


@RARE
@given(layouts())
def test_one_contrast_equals_dense_formulas(layout):
    x, setup, y = layout
    fit = fit_setups(x, setup, y)
    assume(1 + fit.ratio * np.bincount(setup).max() > 1e-3)  # dense inverses lose digits below
    row = np.zeros((1, x.shape[1]))
    row[0, 1] = 1.0
    dense = dense_kenward_roger(x, setup, y, fit.ratio, row)
    agree(fit.coefficients, dense.coefficients)
    agree(fit.coupon_variance, dense.coupon_variance)
    agree(fit.model_covariance, dense.model_covariance)
    agree(fit.covariance, dense.covariance)
    published = fit.kenward_roger(row)
    agree(published.df, dense.df, 1e-7)
    assert published.scale == 1.0
    # The general form of the scale is 0/0 at two degrees of freedom.
    if min(abs(dense.df - 2), abs(dense.df - 4)) > 1e-3:
        assert dense.scale == pytest.approx(1.0, abs=1e-6)


@RARE
@given(layouts(gases=3))
def test_two_contrasts_equal_dense_formulas(layout):
    x, setup, y = layout
    fit = fit_setups(x, setup, y)
    assume(1 + fit.ratio * np.bincount(setup).max() > 1e-3)
    rows = np.eye(x.shape[1])[1:3]
    dense = dense_kenward_roger(x, setup, y, fit.ratio, rows)
    agree(fit.covariance, dense.covariance)
    # The moments have no match (negative df or scale), or are 0/0, near two degrees of freedom.
    assume(np.isfinite(dense.df) and dense.df > 0 and dense.scale > 0)
    assume(min(abs(dense.df - 2), abs(dense.df - 4)) > 1e-2)
    published = fit.kenward_roger(rows)
    agree(published.df, dense.df, 1e-6)
    agree(published.scale, dense.scale, 1e-6)


@RARE
@given(layouts())
def test_ratio_is_the_highest_restricted_likelihood(layout):
    x, setup, y = layout
    fit = fit_setups(x, setup, y)
    largest = np.bincount(setup).max()
    best = dense_likelihood(x, setup, y, fit.ratio)
    tried = np.concatenate([-(1 - np.logspace(-5, 0, 60)) / largest, np.logspace(-3, 4, 60)])
    assert best <= min(dense_likelihood(x, setup, y, one) for one in tried) + 1e-8


@pytest.mark.parametrize("seed", [0, 2, 3, 9, 11])
def test_negative_set_up_variance_is_kept_and_equals_dense_formulas(seed):
    """Set-up means pulled halfway together: set-ups agree better than chance."""
    rng = np.random.default_rng(seed)
    setup = np.repeat(np.arange(6), [4, 5, 4, 3, 5, 4])
    x = np.column_stack([np.ones(25), np.where(setup % 2, 1.0, -1.0)])
    y = rng.standard_normal(25)
    y -= 0.5 * (members(setup) @ np.array([y[setup == i].mean() for i in range(6)]))
    fit = fit_setups(x, setup, y)
    assert -1 / 5 < fit.ratio < -0.05
    assert fit.setup_variance < 0 < fit.coupon_variance
    assert np.all(fit.setup_effects == 0.0)  # predictions use max(0, variance)
    row = np.array([[0.0, 1.0]])
    dense = dense_kenward_roger(x, setup, y, fit.ratio, row)
    agree(fit.covariance, dense.covariance)
    agree(fit.kenward_roger(row).df, dense.df)


@pytest.mark.parametrize("seed", range(5))
def test_positive_variances_as_statsmodels_mixedlm(seed):
    rng = np.random.default_rng(seed)
    sizes = rng.integers(2, 7, 10)
    setup = np.repeat(np.arange(10), sizes)
    n = len(setup)
    x = np.column_stack([np.ones(n), np.where(setup % 2, 1.0, -1.0), rng.standard_normal(n)])
    y = 80 + 2 * rng.standard_normal(10)[setup] + rng.standard_normal(n)
    fit = fit_setups(x, setup, y)
    other = sm.MixedLM(y, x, setup).fit(reml=True, method=["bfgs"], gtol=1e-9)
    assert fit.coupon_variance == pytest.approx(other.scale, rel=1e-4)
    assert fit.setup_variance == pytest.approx(float(other.cov_re[0, 0]), rel=1e-4)
    np.testing.assert_allclose(fit.coefficients, other.fe_params, rtol=1e-5, atol=1e-6)
    effects = [float(np.ravel(other.random_effects[i])[0]) for i in range(10)]
    np.testing.assert_allclose(fit.setup_effects, effects, rtol=1e-3, atol=1e-4)


@pytest.mark.parametrize("seed", range(6))
def test_balanced_layout_equals_strata_anova(seed):
    """Sums of squares worked out here from means: 6 rounds, 2 gases, 4 coupons, 2 feeds."""
    rng = np.random.default_rng(seed)
    y = rng.standard_normal((6, 2, 2, 2)) + (0.0, 1.0)[seed % 2] * rng.standard_normal((6, 2, 1, 1))
    rounds, gas, feed, _ = (index.ravel() for index in np.indices(y.shape))
    setup, flat = rounds * 2 + gas, y.ravel()
    signs = np.column_stack([1 - 2.0 * gas, 1 - 2.0 * feed, (1 - 2.0 * gas) * (1 - 2.0 * feed)])
    blocks = np.vstack([np.eye(5), -np.ones(5)])[rounds]
    fit = fit_setups(np.column_stack([np.ones(48), blocks, signs]), setup, flat)

    means = y.mean(axis=(2, 3))
    ss_gas = 24 * ((means.mean(axis=0) - means.mean()) ** 2).sum()
    ms_setup = (
        8
        * (((means[:, 0] - means[:, 1]) / 2 - (means[:, 0] - means[:, 1]).mean() / 2) ** 2).sum()
        / 5
    )
    cells = y.mean(axis=(0, 3))
    ss_feed = 24 * ((cells.mean(axis=0) - y.mean()) ** 2).sum()
    ss_both = 12 * ((cells - cells.mean(0) - cells.mean(1)[:, None] + y.mean()) ** 2).sum()
    inside = ((y - means[:, :, None, None]) ** 2).sum() - ss_feed - ss_both
    ms_inside = inside / 34
    eye = np.eye(9)
    for column, square, error, df in (
        (6, ss_gas, ms_setup, 5),
        (7, ss_feed, ms_inside, 34),
        (8, ss_both, ms_inside, 34),
    ):
        test = term_test(fit, eye[column])
        assert test.statistic == pytest.approx(square / error, rel=1e-9)
        assert test.df_den == pytest.approx(df, rel=1e-9)
        assert test.p == pytest.approx(stats.f.sf(square / error, 1, df), rel=1e-8)
    assert fit.setup_variance == pytest.approx((ms_setup - ms_inside) / 4, rel=1e-8)
    assert (fit.df_setup, fit.df_within) == (5, 34)


def unbalanced(seed=0, m=None):
    rng = np.random.default_rng(seed)
    setup = np.repeat(np.arange(6), [4, 3, 4, 2, 4, 4])
    n = len(setup)
    feed = rng.permutation(np.resize([-1.0, 1.0], n))
    x = np.column_stack([np.ones(n), np.where(setup % 2, 1.0, -1.0), feed])
    shape = (n,) if m is None else (n, m)
    by_setup = rng.standard_normal((6, *shape[1:]))[setup]
    return x, setup, 80 + by_setup + rng.standard_normal(shape)


def test_batch_equals_single_fits(monkeypatch):
    monkeypatch.setattr(mixed, "CHUNK_BYTES", 8 * 1000 * 7)  # several chunks
    x, setup, ys = unbalanced(1, 60)
    row, rows = np.array([0, 2.0, 0]), np.array([[0, 1.0, 0], [0, 0, 1.0]])
    estimates, tests = batch_estimates(x, setup, ys, row), batch_tests(x, setup, ys, rows)
    low, high = estimates.interval(0.9)
    for i, y in enumerate(ys.T):
        fit = fit_setups(x, setup, y)
        one, test = estimate(fit, row), term_test(fit, rows)
        agree(
            [estimates.estimate[i], estimates.se[i], estimates.df[i]],
            [one.estimate, one.se, one.df],
        )
        agree([low[i], high[i], estimates.p[i]], [*one.interval(0.9), one.p])
        agree(
            [tests.statistic[i], tests.df_den[i], tests.p[i]], [test.statistic, test.df_den, test.p]
        )
        assert bool(estimates.near_bound[i]) == fit.near_bound


def test_one_contrast_gives_the_same_p_as_f_and_as_t():
    x, setup, y = unbalanced(2)
    fit = fit_setups(x, setup, y)
    one, test = estimate(fit, [0, 1, 0]), term_test(fit, [0, 1, 0])
    assert test.statistic == pytest.approx((one.estimate / one.se) ** 2, rel=1e-12)
    assert test.p == pytest.approx(one.p, rel=1e-10)
    low, high = one.interval(0.95)
    assert stats.t.cdf((high - one.estimate) / one.se, one.df) == pytest.approx(0.975)
    assert low + high == pytest.approx(2 * one.estimate)


@pytest.mark.parametrize("shift", [0.0, 1e6, -1e6])
@pytest.mark.parametrize("factor", [1.0, 1e-6, 1e9])
def test_unit_and_origin_of_the_response_change_nothing(shift, factor):
    x, setup, y = unbalanced(3)
    plain = term_test(fit_setups(x, setup, y), [0, 1, 0])
    moved = term_test(fit_setups(x, setup, factor * (y + shift)), [0, 1, 0])
    assert moved.statistic == pytest.approx(plain.statistic, rel=1e-7)
    assert moved.df_den == pytest.approx(plain.df_den, rel=1e-7)


def test_a_million_million_and_small_differences_keep_their_digits():
    """As NIST's SmLs08: 1e12 and differences of tenths; exact here, in eighths."""
    x, setup, y = unbalanced(4)
    eighths = np.round(8 * (y - 80)) / 8
    plain, far = fit_setups(x, setup, eighths), fit_setups(x, setup, eighths + 2.0**40)
    agree(far.covariance, plain.covariance, 1e-9)
    agree(far.coefficients[1:], plain.coefficients[1:], 1e-9)
    agree(far.residuals, plain.residuals, 1e-9)


def test_coding_of_the_columns_and_order_of_the_rows_change_nothing():
    x, setup, y = unbalanced(5)
    turn = np.array([[1.0, 0.5, 0.0], [0.0, 2.0, 0.3], [0.0, 0.0, 5.0]])
    order = np.random.default_rng(0).permutation(len(y))
    names = np.array([31, 7, 90, 2, 55, 18])[setup]
    rows = np.eye(3)[1:]
    plain = term_test(fit_setups(x, setup, y), rows)
    other = term_test(fit_setups((x @ turn)[order], names[order], y[order]), rows @ turn)
    agree([other.statistic, other.df_den, other.p], [plain.statistic, plain.df_den, plain.p], 1e-9)


def test_degrees_of_freedom_never_exceed_those_of_the_set_ups():
    """Three set-ups leave one degree of freedom for gas; the published form claims up to 17."""
    rng = np.random.default_rng(6)
    setup = np.repeat([0, 1, 2], [7, 7, 5])
    x = np.column_stack([np.ones(19), np.where(setup == 2, 1.0, -1.0)])
    ys = rng.standard_normal((19, 200))
    assert np.all(batch_estimates(x, setup, ys, [0, 1]).df <= 1 + 1e-9)
    published = [fit_setups(x, setup, y).kenward_roger(np.array([[0, 1.0]])).df for y in ys.T]
    assert max(published) > 10


def test_at_the_bound_intervals_still_have_ends():
    """Unequal set-ups that agree exactly: the published degrees of freedom fall below 1."""
    setup = np.repeat([0, 1, 2, 3], [8, 8, 7, 6])
    x = np.column_stack([np.ones(29), np.where(setup % 2, 1.0, -1.0)])
    y = np.random.default_rng(0).standard_normal(29)
    y -= members(setup) @ (np.linalg.pinv(members(setup)) @ y)
    fit = fit_setups(x, setup, y)
    assert fit.near_bound
    assert fit.kenward_roger(np.array([[0, 1.0]])).df < 1
    one = estimate(fit, [0, 1])
    assert one.df == 1.0
    assert np.all(np.isfinite(one.interval(0.95)))


def test_near_bound_is_said_when_set_ups_agree_better_than_chance():
    x, setup, y = unbalanced(7)
    level = y - members(setup) @ (np.linalg.pinv(members(setup)) @ y)
    assert fit_setups(x, setup, level).near_bound
    assert not fit_setups(x, setup, y).near_bound


BROKEN = {
    "columns repeat": (lambda x, s, y: (np.column_stack([x, 3 * x[:, 1]]), s, y), "column 3 can"),
    "no scatter": (lambda x, s, y: (x, s, np.full(len(y), 80.1)), "read the same"),
    "one set-up a gas": (lambda x, s, y: (x, s % 2, y), "no set-up is left over"),
    "one coupon a set-up": (lambda x, s, y: (x, np.arange(len(y)), y), "no coupon is left over"),
    "set-ups without inner scatter": (lambda x, s, y: (x, s, 80.0 + s**2), "no coupon scatter"),
    "fewer coupons than terms": (lambda x, s, y: (x[:2], s[:2], y[:2]), "cannot settle"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_what_cannot_be_estimated_is_refused_in_words(case):
    change, words = BROKEN[case]
    with pytest.raises(NotEstimable, match=words):
        fit_setups(*change(*unbalanced(8)))


def test_missing_values_are_a_programming_error():
    x, setup, y = unbalanced(9)
    y[3] = np.nan
    with pytest.raises(ValueError, match="finite"):
        fit_setups(x, setup, y)


def test_repeated_contrasts_are_refused():
    x, setup, y = unbalanced(10)
    with pytest.raises(NotEstimable, match="repeat"):
        term_test(fit_setups(x, setup, y), [[0, 1, 0], [0, 2, 0]])
