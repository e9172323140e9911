"""Fairness between gases in words: the rules, what is equal, what differs."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.doe.fairness import Fairness, Pair
from weldtrial.shared.burn_off import WITHIN_PERCENT
from weldtrial.shared.fair import OWN
from weldtrial.shared.rounding import MINUS, fixed
from weldtrial.shared.trial import FairRule

RULES: dict[FairRule, str] = {
    "same-setting": "the same setting for every gas",
    "same-arc-length": "the same arc length: volts shifted from gas to gas",
    "same-heat-input": "the same heat input",
    "same-deposit": "the same deposit, so the same size of weld",
    "each-gas-own-setting": "each gas at its own setting",
    "both": "both readings: each gas at its own setting, and all at the same",
}
ANSWERS: dict[FairRule, str] = {
    "same-setting": "what happens to a welder who changes the bottle and touches nothing",
    "same-arc-length": "what the gas itself does, the arc held as long",
    "same-heat-input": "what the gas does to the weld at one heat per length",
    "same-deposit": "which gas makes the better weld of one size",
    "each-gas-own-setting": "what happens to a shop that changes the gas and tunes for it",
    "both": "both questions, and what survives whichever is thought fair",
}
"""The question that each rule answers."""
NAMES = {
    "voltage": "volts",
    "wire_feed": "wire feed",
    "travel": "travel",
    "current": f"current (estimated, ±{WITHIN_PERCENT} %)",
    "arc_energy": "arc energy",
    "heat_input": "heat input",
    "deposit": "wire laid down per length",
    "leg": "leg",
    "throat": "throat",
}


def equal_words(found: Fairness) -> str:
    """Return what is equal between the gases in every cell; empty when nothing is."""
    names = [NAMES[name] for name in found.same if name != "throat"]
    return ", ".join(names)


def different_words(found: Fairness) -> tuple[str, ...]:
    """Return what differs, a line for each gas: ``co2 against mix: volts +1.5 V (+5.9 %) ...``.

    With both readings of fair it is what differs at the own setting; at the same nothing does.
    """
    reference = found.pairs[0].reference.level
    pairs = [pair for pair in found.pairs if found.rule != "both" or OWN in pair.at.values()]
    lines = []
    for level in dict.fromkeys(level for level, _ in found.differs):
        mine = [pair for pair in pairs if pair.one.level == level]
        parts = []
        for name in NAMES:
            # Heat input is arc energy times one factor, and throat is leg over the root of two.
            if name in ("heat_input", "throat") or (level, name) not in found.differs or not mine:
                continue
            percents = [pair.percent[name] for pair in mine]
            percent = _range(min(percents), max(percents), " %")
            what = NAMES[name] + (" and heat input" if name == "arc_energy" else "")
            parts.append(f"{what} {_volts(mine) if name == 'voltage' else ''}{percent}")
        who = f"{level}{' at its own setting' if found.rule == 'both' else ''}"
        lines.append(f"{who} against {reference}: {'; '.join(parts)}")
    return tuple(lines)


def _volts(pairs: Sequence[Pair]) -> str:
    shifts = [pair.one.values["voltage"] - pair.reference.values["voltage"] for pair in pairs]
    return f"{_range(min(shifts), max(shifts), ' V')}, "


def _range(low: float, high: float, unit: str) -> str:
    if abs(high - low) < 0.05:
        return f"{signed(high)}{unit}"
    return f"{signed(low)} to {signed(high)}{unit}"


def signed(value: float, decimals: int = 1) -> str:
    """Return a difference with its sign; nought has none."""
    words = fixed(value, decimals)
    return words if words.startswith(MINUS) or float(words) == 0 else f"+{words}"
