"""The shuffle test against scipy's exact permutation test and by counting."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.analyse import analyse
from weldtrial.shared.record import Record
from weldtrial.shared.trial import Design, Order, Trial

Bench = Callable[..., Record]


def gas_only(trial: Trial, rounds: int, **order: int) -> Trial:
    return replace(
        trial,
        factors=trial.factors[:2],
        design=Design(rounds=rounds, set_ups=2 * rounds),
        order=Order(**order),
    )


@pytest.mark.parametrize("seed", range(4))
def test_five_rounds_are_scipys_sign_flips(trial: Trial, bench: Bench, seed: int) -> None:
    """Under six rounds every order is allowed: 32 of them, the exact paired permutation test."""
    small = gas_only(trial, 5)
    (response,) = analyse(small, bench(small, rounds=5, replicates=3, seed=seed)).responses
    gaps = np.array(list(response.round_gaps.values()))
    exact = stats.permutation_test(
        (gaps, np.zeros(5)),
        lambda a, b, axis: np.mean(a - b, axis=axis),
        permutation_type="samples",
        n_resamples=np.inf,
    )
    assert response.shuffle_orders == 32
    assert response.shuffle_p == pytest.approx(exact.pvalue)


def test_six_rounds_have_fifty_allowed_orders_and_a_floor(trial: Trial, bench: Bench) -> None:
    six = gas_only(trial, 6)
    for seed in range(60):
        record = bench(six, rounds=6, replicates=3, gap=-60.0, seed=seed)
        (response,) = analyse(six, record).responses
        if response.shuffle_p is None:
            continue  # the order welded was one the restriction would not have drawn
        assert response.shuffle_orders == 50
        assert response.shuffle_p == pytest.approx(2 / 50)
        return
    pytest.fail("no allowed order was met in 60 draws")


def test_many_orders_are_sampled_by_the_seal(trial: Trial, bench: Bench) -> None:
    many = gas_only(trial, 16, first_at_most=16)
    record = bench(many, rounds=16, replicates=1, gap=-60.0, seed=1)
    doubled = replace(
        record,
        coupons=tuple(
            one
            for c in record.coupons
            for one in (c, replace(c, stamp=c.stamp + "b", readings=c.readings))
        ),
    )
    jitter = np.random.default_rng(0)
    shaken = tuple(
        replace(
            c,
            readings={
                "break_load": (
                    replace(
                        c.readings["break_load"][0],
                        value=(c.readings["break_load"][0].value or 0) + jitter.normal(),
                    ),
                )
            },
        )
        for c in doubled.coupons
    )
    (response,) = analyse(many, replace(doubled, coupons=shaken)).responses
    assert response.shuffle_orders == 2**16
    assert response.shuffle_p == pytest.approx(1 / 10_000)


def test_a_lost_set_up_leaves_no_shuffle_test(trial: Trial, bench: Bench) -> None:
    small = gas_only(trial, 5)
    record = bench(small, rounds=5, replicates=3)
    some = replace(record, coupons=tuple(c for c in record.coupons if c.setup != 4))
    (response,) = analyse(small, some).responses
    assert response.shuffle_p is None
