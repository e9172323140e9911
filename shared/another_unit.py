"""Readings that look like another unit than the trial file expects."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import plain, spaced
from weldtrial.shared.unit_names import KNOWN_UNITS, same_kind
from weldtrial.shared.units import canonical, convert

FAR = 4.0
"""Times the expected mean, or its share, that all readings lie beyond before it is suspected."""
ENOUGH = 6


def all_far(values: Sequence[float], response: Response) -> str:
    """Return why all readings together look like another unit than the trial expects, or ``""``.

    A slip of one reading stands out from the others (`readings.find_slip`); a column typed in
    newtons does not, and only `typical` can tell.

    Parameters
    ----------
    values
        Readings that are numbers, in the response's unit.
    """
    mean = response.typical.mean if response.typical is not None else 0.0
    if len(values) < ENOUGH or mean <= 0 or min(values) <= 0:
        return ""
    if not (min(values) > FAR * mean or max(values) < mean / FAR):
        return ""
    own, about = canonical(response.unit), median(values)
    unit, shown = spaced(own), plain(float(f"{about:.4g}"))
    words = (
        f"All {len(values)} readings are far from what trial.toml expects: about {shown}{unit}, "
        f"and typical.mean is {plain(mean)}{unit}."
    )
    for other in KNOWN_UNITS:
        if other.symbol == own or not same_kind(other.symbol, own):
            continue
        meant = convert(about, other.symbol, own)
        if mean / 2 < meant < 2 * mean:
            read = f"{shown} {other.symbol}"
            return f"{words} Was it read in {other.symbol}? {read} is {meant:.3g}{unit}."
    return f"{words} Another unit, or another thing?"
