"""Which cautions fit a trial, from what it welds and how its coupons are tested."""

from __future__ import annotations

from weldtrial.shared.cautions import Caution, Test, cautions
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

_FORCE = {"kN", "N", "lbf", "MPa", "ksi", "N·m", "ft·lbf"}
_LENGTH = {"mm", "in", "%"}


def fitting(trial: Trial) -> tuple[Caution, ...]:
    """Return the cautions that fit `trial`, most general first."""
    return cautions(
        gases=_gases(trial),
        tests=[_test(response) for response in trial.responses],
        process=trial.joint.process,
        position=trial.joint.position or None,
    )


def _gases(trial: Trial) -> list[str]:
    """Return the symbols of the gases compared, or their names where no symbol is given."""
    found = []
    for factor in trial.factors:
        symbols = [factor.about.get(level, {}).get("iso14175") for level in factor.levels]
        if any(symbols):
            found += [str(symbol).split("-")[0] for symbol in symbols if symbol]
        elif factor.kind == "category" and "gas" in factor.name:
            found += factor.levels
    return found


def _test(response: Response) -> Test:
    if response.unit in _FORCE:
        return "break"
    if response.unit == "deg":
        return "bend"
    return "macro" if response.unit in _LENGTH else "other"
