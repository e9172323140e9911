from __future__ import annotations

from itertools import combinations_with_replacement
from statistics import fmean, stdev

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.analysis.impossible import check_mean, check_spread


def test_the_mean_of_the_bad_inputs() -> None:
    """By hand: 84.25 of 3 in steps of 0.5 is 84.17 or 84.33."""
    found = check_mean(84.25, 3, 0.5, 2)
    assert not found.possible
    assert (f"{found.below:.2f}", f"{found.above:.2f}") == ("84.17", "84.33")
    assert check_mean(84.17, 3, 0.5, 2).possible
    assert not check_mean(68.2, 4, 0.1, 1).telling


readings = st.integers(1, 12).flatmap(
    lambda n: st.lists(st.integers(-300, 2000), min_size=n, max_size=n)
)
steps = st.sampled_from([0.1, 0.5, 0.25, 1.0, 2.0, 0.02])
decimals = st.integers(0, 3)


@settings(max_examples=300)
@given(readings, steps, decimals, decimals)
def test_figures_of_real_readings_are_never_questioned(
    whole: list[int], step: float, mean_decimals: int, sd_decimals: int
) -> None:
    values = [one * step for one in whole]
    mean = round(fmean(values), mean_decimals)
    assert check_mean(mean, len(values), step, mean_decimals).possible
    if len(values) < 2:
        return
    sd = round(stdev(values), sd_decimals)
    ends = (min(values), max(values))
    for one, range_ in ((step, None), (step, ends), (None, ends)):
        found = check_spread(
            mean, sd, len(values), step=one, decimals=mean_decimals, sd_decimals=sd_decimals,
            range_=range_,
        )  # fmt: skip
        assert found.possible, found


def test_every_figure_of_three_readings_by_counting_out() -> None:
    """All sets of 3 whole readings within 0 to 16: what is flagged is never among them.

    Of figures with a mean from 4 to 6 and a spread to 4, whatever 3 readings they come from, none
    that can be is flagged; and of those that cannot be at least nine in ten are.
    """
    can = {
        (round(fmean(one), 2), round(stdev(one), 2))
        for one in combinations_with_replacement(range(-8, 24), 3)
    }
    wrong, caught, impossible = [], 0, 0
    for mean in range(400, 601):
        for sd in range(401):
            figures = (mean / 100, sd / 100)
            first = check_mean(figures[0], 3, 1.0, 2).possible
            second = check_spread(*figures, 3, step=1.0, decimals=2, sd_decimals=2).possible
            if figures in can:
                wrong += [figures] if not (first and second) else []
            else:
                impossible += 1
                caught += not (first and second)
    assert wrong == []
    assert caught / impossible > 0.9


@pytest.mark.parametrize(
    ("mean", "sd", "n", "why"),
    [
        (84.17, 0.0, 3, "zero"),  # All alike would be 84.0 or 84.5.
        (84.17, 0.1, 3, "too-small"),
        (84.17, 0.45, 3, "between"),
        (84.17, 12.7, 2, ""),
        (84.2, 27.0, 3, "too-large"),
    ],
)
def test_spreads_that_cannot_be(mean: float, sd: float, n: int, why: str) -> None:
    step, range_ = (None, (70.0, 90.0)) if why == "too-large" else (0.5, None)
    places = 1 if why == "too-large" else 2
    found = check_spread(mean, sd, n, step=step, decimals=places, sd_decimals=2, range_=range_)
    if why:
        assert (found.possible, found.why) == (False, why)


def test_largest_spread_in_a_range_is_half_at_either_end() -> None:
    values = [0.0, 0.0, 90.0, 90.0]
    found = check_spread(45.0, 1.0, 4, step=None, decimals=1, sd_decimals=1, range_=(0.0, 90.0))
    assert found.most == pytest.approx(stdev(values))
