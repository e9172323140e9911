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
    setups: tuple[int, int] | None,
    coupons: tuple[int, int],
    paired: bool,
    gases: int = 2,
    pairs: bool = False,
) -> PretendBench:
    """Return a bench of two gases, or of more of which these two are the first compared.

    Parameters
    ----------
    response
        What is measured, with its typical mean and scatter.
    levels
        The new level and today's.
    setups
        Set-ups of the new level and of today's; None where every coupon is set up anew.
    coupons
        Coupons of each set-up, or of each level where there are no set-ups.
    paired
        Whether every round holds one set-up of each level.
    gases
        How many gases; beyond two all have the numbers of the first.
    pairs
        Whether all pairs are compared instead of each with today's.
    """
    new, old = levels
    names = (old, new, *(f"gas {number}" for number in range(3, gases + 1)))
    gas = Factor(
        "gas",
        "category",
        names,
        hard_to_change=setups is not None,
        control=None if pairs and gases > 2 else old,
    )
    found: list[Coupon] = []
    for unit, level in enumerate(_units(names, setups)):
        for _ in range(coupons[0 if level != old else 1]):
            found.append(
                Coupon(
                    stamp=f"{len(found) + 1}",
                    role="count",
                    run=len(found) + 1,
                    round=unit // gases + 1 if paired else None,
                    setup=None if setups is None else unit + 1,
                    levels={"gas": level},
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


def _units(names: tuple[str, ...], setups: tuple[int, int] | None) -> list[str]:
    """Return the level of each set-up (of each heap of coupons), taking turns while they last."""
    if setups is None:
        return list(names)
    left = {name: setups[1] if name == names[0] else setups[0] for name in names}
    units: list[str] = []
    while any(left.values()):
        for name in names:
            if left[name]:
                left[name] -= 1
                units.append(name)
    return units
