"""Intervals of variance components: coverage in simulated gauge studies.

Seeds fixed, bounds of three Monte-Carlo errors below the nominal 95 %.
"""

from __future__ import annotations

import numpy as np
import pytest

from weldtrial.analysis.gauge_study import crossed

STUDIES = 300
SLACK = 3 * (0.95 * 0.05 / STUDIES) ** 0.5


@pytest.mark.parametrize("sds", [(2.0, 1.0, 0.7, 1.0), (3.0, 0.3, 0.3, 0.3), (1.0, 1.0, 1.0, 1.0)])
def test_intervals_of_crossed_studies_cover(sds):
    """Three readers, ten coupons, two readings; the interaction kept apart."""
    coupon, reader, each, again = sds
    rng = np.random.default_rng(int(100 * sum(sds)))
    who = np.repeat([f"reader {k}" for k in range(3)], 20).tolist()
    what = np.tile(np.repeat([f"coupon {k}" for k in range(10)], 2), 3).tolist()
    truth = {
        "repeatability": again**2,
        "reproducibility": reader**2 + each**2,
        "gauge": again**2 + reader**2 + each**2,
        "coupon": coupon**2,
        "total": sum(sd**2 for sd in sds),
    }
    covered = dict.fromkeys(truth, 0)
    for _ in range(STUDIES):
        table = (
            coupon * rng.normal(size=(1, 10, 1))
            + reader * rng.normal(size=(3, 1, 1))
            + each * rng.normal(size=(3, 10, 1))
            + again * rng.normal(size=(3, 10, 2))
        )
        study = crossed(table.ravel(), what, who, pool=False)
        for name, variance in truth.items():
            part = getattr(study, name)
            covered[name] += part.low <= variance <= part.high
    assert min(covered.values()) / STUDIES >= 0.95 - SLACK
