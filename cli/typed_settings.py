"""Settings typed on a command line, whichever command takes them: all slips at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import nearest
from weldtrial.shared.rounding import plain
from weldtrial.shared.said_settings import typed_settings
from weldtrial.shared.trial import Trial


@dataclass(slots=True)
class TypedSettings:
    """Settings typed as ``KEY=VALUE``, read against a trial, with what is wrong so far."""

    trial: Trial
    wrong: list[str] = field(default_factory=list)

    def pair(self, option: str, text: str) -> tuple[Factor, str] | None:
        """Return the factor and the text of ``KEY=VALUE``."""
        name, equals, value = (part.strip() for part in text.partition("="))
        factor = next((one for one in self.trial.varied if one.name == name), None)
        if factor is not None and equals and value:
            return factor, value
        names = [one.name for one in self.trial.varied]
        if factor is None:
            close = nearest(name, names)
            hint = f"Did you mean '{close}'?" if close else f"Use {', '.join(names)}."
            self.wrong.append(f"{option} {text}: '{name}' is not varied in this trial. {hint}")
        else:
            self.wrong.append(f"{option} {text}: write  {name}=VALUE")
        return None

    def number(self, option: str, factor: Factor, text: str) -> float | None:
        """Return a number in a factor's unit."""
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if abs(value) < float("inf"):
            return value
        self.wrong.append(f"{option}: {factor.name} is a number in {factor.unit}, not '{text}'.")
        return None

    def level(self, option: str, factor: Factor, text: str) -> str | None:
        """Return a level of a category."""
        if text in factor.levels:
            return text
        close = nearest(text, factor.levels)
        hint = f"Did you mean '{close}'?" if close else f"Use {', '.join(factor.levels)}."
        self.wrong.append(f"{option}: '{text}' is no level of {factor.name}. {hint}")
        return None

    def pairs(self, option: str, texts: Sequence[str]) -> Iterator[tuple[str, Factor, str]]:
        """Yield each ``KEY=VALUE`` between commas with its factor and value; each factor once."""
        seen: set[str] = set()
        for text in (part.strip() for one in texts for part in one.split(",")):
            found = self.pair(option, text)
            if found is None:
                continue
            factor, value = found
            if factor.name in seen:
                self.wrong.append(f"{option} {text}: {factor.name} is said twice. Keep one.")
            else:
                seen.add(factor.name)
                yield text, factor, value

    def setting(self, text: str) -> dict[str, str | float]:
        """Return the whole setting that ``--at`` says."""
        found: dict[str, str | float] = {}
        before = len(self.wrong)
        parts = [one.strip() for one in text.split(",") if one.strip()]
        for part, factor, value in self.pairs("--at", parts):
            read: str | float | None = (
                self.level(f"--at {part}", factor, value)
                if factor.kind == "category"
                else self.number(f"--at {part}", factor, value)
            )
            if read is not None:
                found[factor.name] = read
        self.wrong += _between_steps(self.trial, found)
        missing = [one.name for one in self.trial.varied if one.name not in found]
        if missing and len(self.wrong) == before:
            self.wrong.append(
                f"--at does not say {', '.join(missing)}. Such as  --at {example(self.trial)}"
            )
        return found


def example(trial: Trial) -> str:
    """Return a setting of the trial as ``--at`` takes it."""
    settings: dict[str, str | float] = {}
    for factor in trial.varied:
        owner = str(settings.get(factor.slides_with or "", ""))
        settings[factor.name] = (
            factor.levels[0] if factor.kind == "category" else factor.settable(0.0, owner)
        )
    return typed_settings(trial.varied, settings)


def _between_steps(trial: Trial, at: Mapping[str, str | float]) -> Iterator[str]:
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
