"""What a trial file asks of a window."""

from __future__ import annotations

import pytest

from weldtrial.analysis.joint import Limit
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.window import Aim
from weldtrial.analysis.window_asked import aim_of, keep_of, limits_of, passing_of
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Goal

BEND = Response("bend", "1", kind="pass-fail")


def test_limits_are_the_must_be_of_numbers() -> None:
    found = limits_of([
        Response("break_load", "kN", at_least=80.0),
        Response("leg", "mm", at_least=4.0, at_most=7.0),
        Response("spatter", "g"),
        BEND,
    ])  # fmt: skip
    assert found == (Limit("break_load", 80.0), Limit("leg", 4.0, 7.0))


@pytest.mark.parametrize(
    ("text", "share"),
    [
        ("every must_be met by at least 8 coupons in 10", 0.8),
        ("every must_be met by at least 9 in 10", 0.9),
        ("every must_be met by 85 %", 0.85),
        ("19 coupons in 20", 0.95),
        ("", 0.8),
    ],
)
def test_the_share_to_keep_is_read(text: str, share: float) -> None:
    assert keep_of(text) == pytest.approx(share)


@pytest.mark.parametrize("text", ["every must_be met", "10 in 10", "0 in 10", "120 %", "8 in 0"])
def test_a_share_that_cannot_be_kept_is_refused(text: str) -> None:
    with pytest.raises(NotEstimable, match="keep says"):
        keep_of(text)


def test_passes_are_counted_by_gas() -> None:
    seen = [
        Observation(f"C{i}", i, 1, 1, {}, {"gas": gas}, value, (value,))
        for i, (gas, value) in enumerate([("mix", 1.0), ("mix", 0.0), ("co2", 1.0)])
    ]
    by_gas = passing_of(BEND, seen, "gas", ("mix", "co2"))
    assert by_gas.counts == (("mix", (1, 2)), ("co2", (1, 1)))
    assert by_gas.share("mix") == 0.5
    assert passing_of(BEND, seen).share() == pytest.approx(2.5 / 4)
    with pytest.raises(NotEstimable, match="read as number"):
        passing_of(Response("break_load", "kN"), seen)


def test_the_goal() -> None:
    assert aim_of(Goal("travel", "lower")) == Aim("travel", "lower")
