"""Two gases without a trial file: the bench behind numbers given on the command line."""

from __future__ import annotations

from weldtrial.analysis.pretend import blank_observations
from weldtrial.analysis.pretend_bench import PretendBench, scatter_of
from weldtrial.analysis.question import Question
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Coupon
from weldtrial.shared.responses import Response
from weldtrial.shared.terms import trial_terms


def two_gases(
    response: Response,
    levels: tuple[str, str],
    *,
    setups: int | None,
    coupons: int,
    paired: bool,
) -> PretendBench:
    """Return a bench of two gases.

    Parameters
    ----------
    response
        What is measured, with its typical mean and scatter.
    levels
        The new level and today's.
    setups
        Set-ups of each level; None where every coupon is set up anew.
    coupons
        Coupons of each set-up, or of each level where there are no set-ups.
    paired
        Whether every round holds one set-up of each level.
    """
    new, old = levels
    gas = Factor("gas", "category", (old, new), hard_to_change=setups is not None, control=old)
    found: list[Coupon] = []
    for unit in range(2 * (setups or 1)):
        for _ in range(coupons):
            found.append(
                Coupon(
                    stamp=f"{len(found) + 1}",
                    role="count",
                    run=len(found) + 1,
                    round=unit // 2 + 1 if paired else None,
                    setup=None if setups is None else unit + 1,
                    levels={"gas": (old, new)[unit % 2]},
                    settings={},
                    welded=True,
                )
            )
    typical = response.typical
    assert typical is not None
    question = Question((gas,), trial_terms((gas,), "main"), response, gas, new, old)
    return PretendBench(
        question,
        tuple(found),
        blank_observations((gas,), found),
        scatter_of(response),
        typical.mean,
        typical.source,
        response.unit,
    )
