"""What would settle it, checked against the planning functions it rests on."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.power import power_no_worse
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Margin
from weldtrial.shared.trial import Trial

Bench = Callable[..., Record]


def test_the_number_named_is_the_first_that_reaches_four_in_five(
    trial: Trial, bench: Bench
) -> None:
    (response,) = analyse(trial, bench(trial, seed=3, sd_setup=6, sd_coupon=9)).responses
    (comparison,) = response.comparisons
    (words,) = (w for w in comparison.verdict.lines if "would settle it" in w)
    found = re.search(r"about (\d+) set-ups of each \((\d+) coupons", words)
    assert found is not None
    number, coupons = int(found[1]), int(found[2])
    assert coupons == number * 2 * 4
    se = comparison.se or 0.0

    def chance(k: int) -> float:
        return power_no_worse(5.0, se * (6 / k) ** 0.5, (comparison.df or 0) / 5 * (k - 1))

    assert chance(number) >= 0.8
    assert chance(number - 1) < 0.8 or number == 7


def test_hopeless_scatter_is_called_that(trial: Trial, bench: Bench) -> None:
    tiny = replace(trial, responses=(replace(trial.responses[0], margin=Margin(0.05)),))
    (response,) = analyse(tiny, bench(tiny, seed=3)).responses
    assert "no practical number of set-ups" in " ".join(response.comparisons[0].verdict.lines)
