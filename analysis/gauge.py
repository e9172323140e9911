"""Whether the gauge can see the margin, and how many coupons would go past its limit."""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.analysis.needs import share_beyond
from weldtrial.analysis.power import Spread
from weldtrial.shared.responses import Response

FEW_STEPS = 4
"""Below so many steps in a margin the gauge's rounding is worth a word."""
WORTH_SAYING = 0.005
"""Share of coupons beyond a limit that is worth a word."""


@dataclass(frozen=True, slots=True)
class GaugeNote:
    """One response's gauge.

    Attributes
    ----------
    steps
        Steps of the gauge in the margin; None where one of them is not given.
    coarse
        True when there are few.
    above, below
        Share of coupons expected above `most` and below `least`; None where there is no limit or
        nothing is known of the scatter.
    """

    response: str
    unit: str
    reads_to: float | None
    margin: float | None
    steps: float | None
    coarse: bool
    most: float | None
    above: float | None
    least: float | None
    below: float | None


def gauge_note(response: Response, mean: float | None, spread: Spread | None) -> GaugeNote:
    """Hold a response's margin and expected readings against its gauge.

    Parameters
    ----------
    mean, spread
        In the response's unit; None where nothing is known.
    """
    margin = None
    if response.margin is not None and (not response.margin.percent or mean is not None):
        margin = response.margin.in_units(mean or 0.0)
    steps = None if margin is None or not response.reads_to else margin / response.reads_to
    above = below = None
    if mean is not None and spread is not None:
        if response.most is not None:
            above = share_beyond(response.most, mean, spread)
        if response.least is not None:
            below = share_beyond(response.least, mean, spread, above=False)
    return GaugeNote(
        response=response.name,
        unit=response.unit,
        reads_to=response.reads_to,
        margin=margin,
        steps=steps,
        coarse=steps is not None and steps < FEW_STEPS,
        most=response.most,
        above=above,
        least=response.least,
        below=below,
    )
