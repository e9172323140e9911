"""Scatter intervals of a trial: coverage in simulated trials, balanced, at the nominal 95 %.

Seeds fixed; 400 trials each, so the bound of three Monte-Carlo errors lies at .917.
"""

from __future__ import annotations

import numpy as np
import pytest

from weldtrial.analysis.findings import Variance
from weldtrial.analysis.mixed import SetupFit
from weldtrial.analysis.model import fit_model
from weldtrial.analysis.observations import Observation, reading_share, reading_variance
from weldtrial.analysis.scatter import scatter_rows
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import trial_terms

TRIALS = 400
BOUND = 0.95 - 3 * (0.95 * 0.05 / TRIALS) ** 0.5
GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)


def observations(rng, setup, coupon, reading):
    found = []
    for number in range(12):
        level, shift = GAS.levels[number % 2], setup * rng.normal()
        for each in range(3):
            mine = shift + coupon * rng.normal()
            cuts = tuple(80 + mine + reading * rng.normal(size=2))
            found.append(
                Observation(
                    f"S{number}{each}", number * 3 + each, number // 2 + 1, number + 1,
                    {"gas": level}, {"gas": level}, sum(cuts) / 2, cuts,
                )
            )  # fmt: skip
    return found


@pytest.mark.parametrize("sds", [(2.0, 4.0, 1.5), (0.0, 1.0, 1.0), (3.0, 1.0, 3.0)])
def test_intervals_of_scatter_cover(sds):
    """6 rounds of 2 set-ups of 3 coupons of 2 readings; where there is none, 0 counts as held."""
    rng = np.random.default_rng(int(100 * sum(sds)))
    covered = {"setup": 0, "coupon": 0, "reading": 0}
    truth = dict(zip(covered, sds, strict=True))
    for _ in range(TRIALS):
        seen = observations(rng, *sds)
        fit = fit_model((GAS,), trial_terms((GAS,), "main", ()), seen)
        assert isinstance(fit.core, SetupFit)
        again = reading_variance(seen)
        share = reading_share(seen, again)
        variance = Variance(fit.core.setup_variance, fit.core.coupon_variance - share, again)
        for row in scatter_rows(fit, seen, variance):
            covered[row.what] += row.low <= truth[row.what] <= row.high
    assert min(covered.values()) / TRIALS >= BOUND, covered
