"""Split plots from the literature: F, degrees of freedom and p at every level of error.

Sources: Yates (1935) oats; Montgomery's paper strength; Box, Hunter & Hunter's steel bars; numbers
by R's `aov` with `Error()`, `lmerTest` and `pbkrtest` as said in each data file. Blocks are fixed
columns here; in these balanced layouts the strata agree exactly.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from weldtrial.analysis.linear import estimate, term_test
from weldtrial.analysis.mixed import fit_setups


def stack(*parts):
    """Columns of several terms side by side, and where each term lies."""
    blocks = [np.ones((len(parts[0]), 1)), *parts]
    ends = np.cumsum([block.shape[1] for block in blocks])
    eye = np.eye(ends[-1])
    x = np.hstack(blocks)
    return x, [eye[low:high] for low, high in itertools.pairwise(ends)]


def crossed(first, second):
    """Interaction columns of two coded terms."""
    return (first[:, :, None] * second[:, None, :]).reshape(len(first), -1)


def whole_plots(*codes):
    """One number for every combination of codes."""
    return np.unique(np.column_stack(codes), axis=0, return_inverse=True)[1].ravel()


@pytest.fixture(scope="module")
def oats(reference):
    case = reference.load("splitplot-oats")
    block, variety, nitrogen = (case.coded(name) for name in "BVN")
    x, (_, variety_rows, nitrogen_rows, both) = stack(
        block, variety, nitrogen, crossed(variety, nitrogen)
    )
    plots = whole_plots(case.codes("B"), case.codes("V"))
    fit = fit_setups(x, plots, case.numbers("Y"))
    return case, fit, {"V": variety_rows, "N": nitrogen_rows, "N:V": both}


@pytest.mark.parametrize(("term", "df_num", "df_den"), [("V", 2, 10), ("N", 3, 45), ("N:V", 6, 45)])
def test_oats_strata_as_printed(oats, reference, term, df_num, df_den):
    case, fit, rows = oats
    test = term_test(fit, rows[term])
    expected = case.expected["strata"][term]
    assert test.df_num == df_num == expected["df"]
    assert test.df_den == pytest.approx(df_den, rel=1e-9)
    assert reference.as_printed(test.statistic, expected["F"])
    assert reference.as_printed(test.p, expected["p"])


def test_oats_variances_as_r_reml(oats, reference):
    case, fit, _ = oats
    expected = case.expected["reml_full_model"]
    # R stops its search at about seven digits; the strata give 106.06181 and 177.08333 exactly.
    assert fit.setup_variance == pytest.approx(float(expected["V:B"]), rel=1e-5)
    assert fit.coupon_variance == pytest.approx(float(expected["residual"]), rel=1e-5)
    strata = case.expected["strata"]
    assert reference.as_printed(
        fit.coupon_variance + 4 * fit.setup_variance, strata["B:V error"]["MS"]
    )


def test_oats_additive_estimates_with_standard_errors_and_df(reference):
    case = reference.load("splitplot-oats")
    variety, nitrogen = np.eye(3)[case.codes("V")], np.eye(4)[case.codes("N")]
    order = np.unique(case.columns["V"])
    assert list(order) == ["Golden.rain", "Marvellous", "Victory"]
    x, _ = stack(case.coded("B"), variety[:, 1:], nitrogen[:, 1:])
    plots = whole_plots(case.codes("B"), case.codes("V"))
    fit = fit_setups(x, plots, case.numbers("Y"))
    names = ["VMarvellous", "VVictory", "N0.2", "N0.4", "N0.6"]
    for name, row in zip(names, np.eye(x.shape[1])[6:], strict=True):
        one = estimate(fit, row)
        value, se, df = case.expected["additive_model_coef"][name]
        assert reference.as_printed(one.estimate, value)
        assert reference.as_printed(one.se, se)
        assert one.df == pytest.approx(float(df), rel=1e-9)


@pytest.fixture(scope="module")
def paper(reference):
    case = reference.load("splitplot-paper")
    replicate, prep = case.coded("replicate"), case.coded("prep_whole_plot")
    heat = case.coded("temperature_sub_plot")
    x, (_, prep_rows, heat_rows, both) = stack(replicate, prep, heat, crossed(prep, heat))
    plots = whole_plots(case.codes("replicate"), case.codes("prep_whole_plot"))
    fit = fit_setups(x, plots, case.numbers("strength"))
    return case, fit, prep_rows, heat_rows, both


def test_paper_strata_as_printed(paper, reference):
    case, fit, prep_rows, heat_rows, both = paper
    prep, heat, crossing = (term_test(fit, rows) for rows in (prep_rows, heat_rows, both))
    book, model = (
        case.expected[key] for key in ("three_stratum_book", "standard_split_plot_model")
    )
    assert (prep.df_num, heat.df_num, crossing.df_num) == (2, 3, 6)
    assert prep.df_den == pytest.approx(book["whole_plot_error"]["df"], rel=1e-9)
    assert heat.df_den == pytest.approx(model["subplot_error"]["df"], rel=1e-9)
    assert crossing.df_den == pytest.approx(18, rel=1e-9)
    assert reference.as_printed(prep.statistic, book["prep"]["F"])
    assert reference.as_printed(prep.p, book["prep"]["p"])
    assert reference.as_printed(heat.statistic, model["temp_F"])
    assert reference.as_printed(heat.p, model["temp_p"])
    assert reference.as_printed(crossing.statistic, model["prep_temp_F"])
    assert reference.as_printed(crossing.p, model["prep_temp_p"])


def test_paper_standard_deviations_as_r_reml(paper):
    case, fit, *_ = paper
    reml = case.expected["reml"]
    assert fit.setup_variance**0.5 == pytest.approx(float(reml["sd_rep_prep"]), rel=1e-5)
    assert fit.coupon_variance**0.5 == pytest.approx(float(reml["sd_residual"]), rel=1e-5)


def test_steel_bars_strata_as_printed(reference):
    case = reference.load("splitplot-steel-bars")
    heat, coating = case.coded("temperature"), case.coded("coating")
    x, rows = stack(heat, coating, crossed(heat, coating))
    fit = fit_setups(x, case.codes("furnace_run"), case.numbers("resistance"))
    names = [
        ("temperature", "temperature"),
        ("coating", "coating"),
        ("temp_x_coating", "interaction"),
    ]
    for (published, ddf), term in zip(names, rows, strict=True):
        test, expected = term_test(fit, term), case.expected[published]
        assert test.df_num == expected["df"]
        assert test.df_den == pytest.approx(case.expected["kenward_roger_ddf"][ddf], rel=1e-9)
        assert reference.as_printed(test.statistic, expected["F"])
        assert reference.as_printed(test.p, expected["p"])
    assert reference.as_printed(fit.setup_variance**0.5, case.expected["reml"]["sd_run"])
    assert reference.as_printed(fit.coupon_variance**0.5, case.expected["reml"]["sd_residual"])
