"""Both readings of fair as levels of the gas, for tables that count coupons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from weldtrial.analysis.observations import Observation
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import OWN, SAME, Reading, readings_of, shared_control
from weldtrial.shared.trial import Trial


def at_readings(
    trial: Trial, observations: Sequence[Observation]
) -> tuple[tuple[Factor, ...], Sequence[Observation]]:
    """Return factors and coupons with the gas split by reading; as they are without both.

    The factor that slides is left out, as its two roles are in the levels of the gas; a gas that
    is welded alike at both keeps its name.
    """
    readings = readings_of(trial)
    if not readings:
        return trial.varied, observations
    slider = readings[0].slider
    gas = trial.factor(slider.slides_with or "")
    names = {
        (level, one.role): level if _alike(gas, level, one) else f"{level} {one.words}"
        for level in gas.levels
        for one in readings
    }
    split = replace(
        gas, levels=tuple(dict.fromkeys(names.values())), control=names[gas.reference, OWN]
    )
    factors = tuple(split if one == gas else one for one in trial.varied if one.name != slider.name)
    return factors, [_renamed(o, gas, slider, names) for o in observations]


def _alike(gas: Factor, level: str, one: Reading) -> bool:
    if level == gas.reference:
        return shared_control(one.slider, gas)
    return one.slider.setting(OWN, level) == one.slider.setting(SAME, level)


def _renamed(
    o: Observation, gas: Factor, slider: Factor, names: dict[tuple[str, str], str]
) -> Observation:
    name = names[o.levels[gas.name], o.levels[slider.name]]
    return replace(o, levels={**o.levels, gas.name: name}, point={**o.point, gas.name: name})
