"""Bounds of planned looks against the published constants, and against scipy's multivariate normal.

Jennison & Turnbull (2000), tables 2.1 and 2.3: the 5 % constants as in `group-sequential.csv`, the
10 % ones recalled from the same tables (from memory).
"""

from __future__ import annotations

from decimal import Decimal
from types import ModuleType

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from weldtrial.analysis.looks import bounds_at, constant_of, crossing, levels_of_looks

TEN_PERCENT = {
    # looks: Pocock, O'Brien-Fleming (table 2.1 and 2.3, alpha = 0.10, from memory)
    2: ("1.875", "1.678"),
    3: ("1.992", "1.710"),
    4: ("2.067", "1.733"),
    5: ("2.122", "1.751"),
}
SHARES = [(0.5, 1.0), (1 / 3, 2 / 3, 1.0), (0.3, 0.9, 1.0)]


def even(looks: int) -> tuple[float, ...]:
    return tuple((k + 1) / looks for k in range(looks))


def test_constants_are_those_of_the_tables(reference: ModuleType) -> None:
    case = reference.load("group-sequential")
    for place, looks in enumerate(case.numbers("K")):
        shares = even(int(looks))
        pocock = Decimal(case.columns["C_Pocock"][place])
        obf = case.columns["C_OBF"][place]
        assert reference.as_printed(constant_of("pocock", shares), pocock)
        found = constant_of("obrien-fleming", shares)
        # Printed with the last nought left off: 2.04 is 2.040.
        assert reference.as_printed(found, Decimal(f"{Decimal(obf):.3f}"))
        printed = [Decimal(one) for one in case.columns["OBF_z_bounds"][place].split(";")]
        # C / sqrt(share) from the printed C carries its rounding with it: half a unit of the third
        # decimal at the last look is that times sqrt(K) at the first.
        for bound, z, share in zip(
            bounds_at("obrien-fleming", found, shares), printed, shares, strict=True
        ):
            assert bound == pytest.approx(float(z), abs=0.0005 + 0.0005 / share**0.5)


@pytest.mark.parametrize(("looks", "printed"), TEN_PERCENT.items())
def test_constants_of_one_sided_limits(
    reference: ModuleType, looks: int, printed: tuple[str, str]
) -> None:
    for kind, constant in zip(("pocock", "obrien-fleming"), printed, strict=True):
        assert reference.as_printed(constant_of(kind, even(looks), 0.10), Decimal(constant))


@pytest.mark.parametrize("shares", SHARES)
@pytest.mark.parametrize("kind", ["pocock", "obrien-fleming"])
def test_crossing_chance_is_that_of_the_multivariate_normal(kind, shares) -> None:
    z = np.array(bounds_at(kind, constant_of(kind, shares), shares))
    t = np.array(shares)
    both = np.sqrt(np.minimum.outer(t, t) / np.maximum.outer(t, t))
    inside = multivariate_normal(cov=both, maxpts=3_000_000, abseps=1e-7, releps=1e-7).cdf(
        z, lower_limit=-z
    )
    assert 1 - inside == pytest.approx(0.05, abs=2e-6)


def test_first_crossings_of_five_looks_as_simulated() -> None:
    """A running total drawn 400 000 times; four Monte-Carlo errors a look, with a drift too."""
    shares, count = (0.1, 0.3, 0.5, 0.8, 1.0), 400_000
    z = np.array(bounds_at("obrien-fleming", constant_of("obrien-fleming", shares), shares))
    steps = np.diff([0.0, *shares])
    noise = np.random.default_rng(4).standard_normal((count, 5)) * np.sqrt(steps)
    for drift in (0.0, 2.5):
        total = np.cumsum(noise + drift * steps, axis=1) / np.sqrt(shares)
        out = np.abs(total) > z
        first = np.where(out.any(axis=1), out.argmax(axis=1), 5)
        seen = np.array([np.mean(first == k) for k in range(5)])
        told = crossing(tuple(z), shares, drift)
        assert np.all(np.abs(seen - told) < 4 * np.sqrt(np.maximum(told, 1e-6) / count) + 1e-9)


def test_one_look_is_the_plain_level() -> None:
    for kind in ("pocock", "obrien-fleming"):
        (only,) = levels_of_looks(kind, (1.0,))
        assert (only.two_sided, only.one_sided) == pytest.approx((0.05, 0.05), abs=1e-9)
        (three,) = levels_of_looks(kind, (1.0,), 3)
        assert three.two_sided == pytest.approx(0.05, abs=1e-9)
