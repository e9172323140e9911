"""What is wrong with a setting typed as ``--at``, whichever command takes it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from weldtrial.shared.rounding import plain
from weldtrial.shared.trial import Trial


def between_steps(trial: Trial, at: Mapping[str, str | float]) -> Iterator[str]:
    """Yield a sentence for each setting between two steps of the machine: nobody could weld it."""
    for factor in trial.varied:
        value, owner = at.get(factor.name), str(at.get(factor.slides_with or "", ""))
        if not isinstance(value, float) or not factor.step or (factor.slides_with and not owner):
            continue
        half = factor.half_range(owner)
        near = factor.settable((value - factor.centre(owner)) / half, owner) if half else value
        if abs(near - value) > 1e-6 * factor.step:
            yield (
                f"--at {factor.name}={value:.9g}: the machine goes in steps of "
                f"{plain(factor.step)} {factor.unit}. The nearest is {near:.9g}."
            )
