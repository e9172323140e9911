"""Whether a plan keeps the promise of its rule of fairness; a broken one is said, never refused."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

from weldtrial.doe.fairness import TRAVEL, Fairness, Pair, Welded, fairness
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.transfer import between_modes, between_words, never, unbracketed
from weldtrial.shared.rounding import MINUS, brief, fixed, plain
from weldtrial.shared.trade import trade
from weldtrial.shared.trial import FairRule, Trial
from weldtrial.shared.units import convert

DIALS = {"voltage": "volts", "wire_feed": "wire feed", "travel": "travel"}
SHIFT = "voltage shift, C1 less M21, same arc length"
NEVER_MORE = 3
"""Cells named for one broken promise; the others are counted."""


def fair_warnings(trial: Trial, layout: Layout) -> tuple[str, ...]:
    """Return a sentence for every promise of ``fair.rule`` that the settings do not keep.

    Then come the cells where the gases, or one gas between cells, likely differ in transfer.
    With ``both`` each reading is held to what it promises.
    """
    found = fairness(trial, layout)
    if found is None:
        return ()
    words = [*_broken(trial, found), *_transfer(found)]
    return tuple(dict.fromkeys(words))


def _broken(trial: Trial, found: Fairness) -> Iterator[str]:
    rule: FairRule | None = trial.fair.rule
    checks: dict[FairRule, Callable[[Trial, Pair], str]] = {
        "same-setting": _same_setting,
        "same-arc-length": _same_arc_length,
        "same-heat-input": _same_heat,
        "same-deposit": _same_deposit,
    }
    if rule is None or rule not in checks:
        return
    # Travel that nobody set is the same for all as far as anyone knows; `Fairness.taken` says so.
    needed: dict[FairRule, tuple[str, ...]] = {
        "same-arc-length": ("voltage",),
        "same-heat-input": ("voltage",),
        "same-deposit": ("wire_feed", "travel"),
    }
    lacking = [
        DIALS[name] for name in needed.get(rule, ()) if name not in found.pairs[0].one.values
    ]
    if lacking:
        verb = "are" if len(lacking) > 1 or lacking == ["volts"] else "is"
        yield (
            f'rule = "{rule}" cannot be checked: {" and ".join(lacking)} {verb} neither a factor '
            "nor held. Add it as a factor, or under [[held]] if it is the same for all."
        )
        return
    broken = [words for pair in found.pairs if (words := checks[rule](trial, pair))]
    yield from broken[:NEVER_MORE]
    if len(broken) > NEVER_MORE:
        more = len(broken) - NEVER_MORE
        yield f"... and {more} more cells like these; see  weldtrial plan --fair"


def _same_setting(trial: Trial, pair: Pair) -> str:
    moved = _moved(pair, DIALS)
    if not moved:
        return ""
    return (
        f'rule = "same-setting", but {_cell(trial, pair)} has other {_listed(moved)} than '
        f"{pair.reference.level}."
    )


def _same_arc_length(trial: Trial, pair: Pair) -> str:
    moved = _moved(pair, ("wire_feed", "travel"))
    if moved:
        return (
            f'rule = "same-arc-length" moves volts alone, but {_cell(trial, pair)} also has other '
            f"{_listed(moved)} than {pair.reference.level}."
        )
    if pair.one.symbol != "C1" or pair.reference.symbol != "M21":
        if pair.reference.symbol == "C1" and pair.one.symbol == "M21":
            return _shift(trial, _turned(pair), pair.one.level)
        return _no_shift(pair)
    return _shift(trial, pair, pair.one.level)


def _no_shift(pair: Pair) -> str:
    """Say that equal volts are no shift; how large one must be is known of C1 and M21 alone."""
    if abs(pair.percent["voltage"]) > 1e-9:
        return ""
    return (
        f'rule = "same-arc-length", but {pair.one.level} has the same volts as '
        f"{pair.reference.level}: that is the same setting. If the arc is as long at the same "
        "volts, say in how that you measured it."
    )


def _shift(trial: Trial, pair: Pair, moved: str) -> str:
    usual = trade().range_of(SHIFT)
    shift = pair.one.values["voltage"] - pair.reference.values["voltage"]
    if usual.low - 1e-9 <= shift <= usual.high + 1e-9:
        return ""
    typical = usual.typical or (usual.low + usual.high) / 2
    sign = 1 if moved == pair.one.level else -1
    other = pair.reference if sign > 0 else pair.one
    would = other.values["voltage"] + sign * typical
    return (
        f'rule = "same-arc-length", but {pair.one.level} has {_signed(shift)} V over '
        f"{pair.reference.level}{_where(trial, pair)}: usually +{usual.low:g} to +{usual.high:g} V "
        f"keep the arc as long, about +{typical:g} ({unbracketed(usual.cited)}). "
        f"{plain(round(would, 2))} V under {moved} would. Measure the arc if you can."
    )


def _turned(pair: Pair) -> Pair:
    return replace(pair, one=pair.reference, reference=pair.one)


def _same_heat(trial: Trial, pair: Pair) -> str:
    ratio = 1 + pair.percent.get("arc_energy", 0.0) / 100
    if abs(ratio - 1) <= _rounding(trial, pair, ("voltage", "travel")):
        return ""
    cures = []
    travel = pair.one.values.get("travel")
    if travel is not None:
        cures.append(f"travel {_in_units(trial, TRAVEL, travel * ratio, 'mm/min')}")
    volts = pair.one.values["voltage"] / ratio
    cures.append(f"{_in_units(trial, ('voltage',), volts, 'V')}")
    return (
        f'rule = "same-heat-input", but {_cell(trial, pair)} has arc energy '
        f"{_signed(100 * (ratio - 1))} % against {pair.reference.level}, more than the machine's "
        f"steps explain: {' or '.join(cures)} under {pair.one.level} would make it equal "
        f"({_of_current(pair)})."
    )


def _of_current(pair: Pair) -> str:
    if abs(pair.percent.get("current", 0.0)) < 0.05:
        return "current taken as equal at one wire feed"
    return "current by the burn-off law, within about 20 %"


def _same_deposit(trial: Trial, pair: Pair) -> str:
    ratio = 1 + pair.percent.get("deposit", 0.0) / 100
    if abs(ratio - 1) <= _rounding(trial, pair, ("wire_feed", "travel")):
        return ""
    travel = _in_units(trial, TRAVEL, pair.one.values["travel"] * ratio, "mm/min")
    return (
        f'rule = "same-deposit", but {_cell(trial, pair)} lays down {_signed(100 * (ratio - 1))} % '
        f"wire per length against {pair.reference.level}: travel {travel} under {pair.one.level} "
        "would make it equal."
    )


def _moved(pair: Pair, names: Sequence[str] | Mapping[str, str]) -> list[str]:
    return [DIALS[name] for name in names if abs(pair.percent.get(name, 0.0)) > 1e-6]


def _rounding(trial: Trial, pair: Pair, names: Sequence[str]) -> float:
    """Return how far equality may be missed, as a share, with a dial at the step nearest to it."""
    shares = [
        _half_step(trial, name, value) / value
        for name in names
        if (value := pair.one.values.get(name))
    ]
    return max(shares, default=0.0) + 1e-9


_BASE = {"voltage": "V", "wire_feed": "m/min", "travel": "mm/min"}


def _half_step(trial: Trial, name: str, value: float) -> float:
    """Return half the step a number is dialled in: the machine's, or of its last digit."""
    for one in trial.factors:
        if one.name in _names(name) and one.unit:
            step = one.step or _last_digit(convert(value, _BASE[name], one.unit))
            return abs(convert(step, one.unit, _BASE[name])) / 2
    for held in trial.held:
        if held.name in _names(name):
            # Held for all alike: its rounding is the same on both sides.
            return 0.0
    return 0.0


def _names(name: str) -> tuple[str, ...]:
    return TRAVEL if name == "travel" else (name,)


def _last_digit(value: float) -> float:
    decimals = len(plain(value).partition(".")[2])
    return float(10.0**-decimals)


def _in_units(trial: Trial, names: tuple[str, ...], value: float, unit: str) -> str:
    """Return a value in the unit that the trial gives it in, rounded to the machine's step."""
    for one in trial.factors:
        if one.name in names and one.unit:
            said = convert(value, unit, one.unit)
            step = one.step or 0.1
            return f"{plain(round(round(said / step) * step, 6))} {one.unit}"
    held = next((one for one in trial.held if one.name in names), None)
    if held is not None:
        return f"{brief(convert(value, unit, held.unit), 3)} {held.unit}"
    return f"{brief(value, 3)} {unit}"


def _cell(trial: Trial, pair: Pair) -> str:
    """Return a gas and what it is dialled to: ``co2 at 27.5 V, 8 m/min``."""
    dials = [
        _in_units(trial, _names(name), pair.one.values[name], _BASE[name])
        for name in DIALS
        if name in pair.one.values
    ]
    return f"{pair.one.level} at {', '.join(dials)}" if dials else pair.one.level


def _where(trial: Trial, pair: Pair) -> str:
    if not pair.at:
        return ""
    said = ", ".join(
        f"{trial.factor(name).title.lower()} {trial.factor(name).said(level)}"
        for name, level in pair.at.items()
    )
    return f" ({said})"


def _signed(value: float) -> str:
    words = fixed(value, 1)
    return words if words.startswith(MINUS) else f"+{words}"


def _listed(words: Sequence[str]) -> str:
    return " and ".join(words)


# ------------------------------------------------------------------------------ transfer


def _transfer(found: Fairness) -> Iterator[str]:
    alike: dict[tuple[str, ...], list[str]] = {}
    for pair in found.pairs:
        for said, dial in _between_gases(pair):
            alike.setdefault(said, []).append(dial)
    for (before, after), dials in alike.items():
        more = len(dict.fromkeys(dials)) - 1
        yield f"{before}{dials[0]}{f' (and {more} more)' if more else ''}{after}"
    sides = [side for pair in found.pairs for side in (pair.reference, pair.one)]
    for level in dict.fromkeys(side.level for side in sides):
        yield from _within_gas([side for side in sides if side.level == level])


def _dial(side: Welded) -> str:
    units = (("voltage", "V"), ("wire_feed", "m/min"))
    return " and ".join(
        f"{plain(side.values[name])} {unit}" for name, unit in units if name in side.values
    )


def _between_gases(pair: Pair) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield what is said of a cell, before and after its settings, and the settings."""
    one, zero = pair.one, pair.reference
    regime = "That is another regime, not a smooth effect."
    if one.modes and zero.modes and not set(one.modes) & set(zero.modes):
        before = f"Likely another transfer: {' or '.join(zero.modes)} under {zero.level} at "
        after = f" (usual windows; common practice, from memory). {regime}"
        dial = f"{_dial(zero)}, {' or '.join(one.modes)} under {one.level} at {_dial(one)}"
        yield (before, after), dial
        return
    for side, other in ((one, zero), (zero, one)):
        for mode in other.modes if not side.modes else ():
            if len(other.modes) == 1 and (source := never(side.symbol, mode)):
                before = f"Likely another transfer: {other.level} at "
                after = (
                    f" is usually {mode}, and {side.level} ({side.symbol}) never is: short arc or "
                    f"globular only ({source}). {regime}"
                )
                yield (before, after), _dial(other)


def _within_gas(sides: Sequence[Welded]) -> Iterator[str]:
    places: dict[str, str] = {}
    for side in sides:
        if len(side.modes) == 1:
            places.setdefault(side.modes[0], _dial(side))
    if len(places) > 1:
        said = ", ".join(f"{mode} at {dial}" for mode, dial in places.items())
        yield (
            f"{sides[0].level} likely changes transfer between cells: {said} (usual windows; "
            "common practice, from memory). An average over them is of two regimes."
        )
    for side in sides:
        if not side.modes and between_modes(side.symbol, side.values.get("voltage")):
            yield (
                f"{side.level} at {_dial(side)} lies between short arc and spray, {between_words()}"
                ": globular or erratic there, which adds scatter, not information."
            )
