"""Settings in words (``co2, 28.5 V, 9.0 m/min``) and as typed (``gas=co2,voltage=28.5``)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import floor, log10

from weldtrial.shared.factors import Factor
from weldtrial.shared.rounding import fixed, plain, spaced

Settings = Mapping[str, str | float]


def decimals_of(factor: Factor) -> int:
    """Return the decimals a setting of a factor is said with: those of the machine's step.

    Without a step, those that tell a hundredth of half the widest range.
    """
    step = factor.step
    if not step:
        half = max((factor.half_range(owner) for owner in factor.settings), default=0.0)
        step = half / 100 if half else 1.0
        return min(6, max(0, -floor(log10(step))))
    places = 0
    while places < 6 and abs(step * 10**places - round(step * 10**places)) > 1e-9:
        places += 1
    return places


def said_number(factor: Factor, value: float) -> str:
    """Return a setting without its unit, such as ``9.0``."""
    if not factor.step:
        return plain(float(f"{value:.{decimals_of(factor)}f}"))
    return fixed(value, decimals_of(factor))


def said_setting(factor: Factor, value: str | float) -> str:
    """Return one setting: a level, or a number with its unit."""
    if isinstance(value, str):
        return value
    return f"{said_number(factor, value)}{spaced(factor.unit)}"


def said_settings(factors: Sequence[Factor], settings: Settings, sign: str = ", ") -> str:
    """Return settings in words; factors are named where two share a unit or one has none."""
    numeric = [one for one in factors if one.kind == "numeric" and one.name in settings]
    units = [one.unit for one in numeric]
    bare = len(set(units)) == len(units) and all(unit not in (None, "", "1") for unit in units)
    return sign.join(
        said_setting(one, settings[one.name])
        if bare or one.kind == "category"
        else f"{one.title} {said_setting(one, settings[one.name])}"
        for one in factors
        if one.name in settings
    )


def typed_settings(factors: Sequence[Factor], settings: Settings) -> str:
    """Return settings as a command takes them: ``gas=co2,voltage=28.5``."""
    parts = []
    for one in factors:
        if one.name in settings:
            value = settings[one.name]
            text = value if isinstance(value, str) else f"{value:.9g}"
            parts.append(f"{one.name}={text}")
    return ",".join(parts)
