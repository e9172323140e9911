"""What is said of a window: chances, the best settings, edges, what a step costs, each at its best.

Settings are said in real units of their gas, chances as shares of future single coupons.  Nothing
here blends responses into one number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from weldtrial.analysis.chosen_best import BestGap, BestOf, Settling, fewest_to_settle
from weldtrial.analysis.joint import Held
from weldtrial.analysis.window import Choice, Count, Edge, Expected, Step, Window
from weldtrial.shared.factors import Factor
from weldtrial.shared.rounding import by_uncertainty, interval, plain, spaced

CHANCE_IS = (
    "Chance: share of future single coupons, each in a fresh set-up, expected to meet all limits "
    "at once. What is not known of the averages is counted in."
)
NOT_YET = "Not yet a recommendation: it was chosen on the data that now speak for it."
KEPT_AS_IS = (
    "A coupon past the gauge counts as at the gauge where responses are compared with one another."
)


def share(chance: float) -> str:
    """Return a chance in per cent; never 0 or 100, which no trial can show."""
    if chance > 0.99:
        return "over 99 %"
    return "under 1 %" if chance < 0.01 else f"{100 * chance:.0f} %"


def in_ten(chance: float) -> str:
    """Return an asked chance as coupons in 10, or in 100 where it is not a tenth."""
    tenths = round(10 * chance, 6)
    return f"{tenths:g} in 10" if tenths == int(tenths) else f"{100 * chance:g} in 100"


def settings_words(factors: Sequence[Factor], settings: Mapping[str, str | float]) -> str:
    """Return settings as they are read to a welder: ``co2, voltage 28.5 V, travel 48 cm/min``."""
    said = []
    for one in factors:
        value = settings[one.name]
        if isinstance(value, str):
            said.append(value)
        else:
            said.append(f"{one.title} {plain(float(f'{value:.4g}'))}{spaced(one.unit)}")
    return ", ".join(said)


def count_words(counts: Sequence[Count], keep: float) -> tuple[str, ...]:
    """Say how many places of the grid are good, gas by gas."""
    return tuple(
        f"{_levels(one.levels)}: averages meet all limits at {one.on_average} of {one.allowed} "
        f"settings looked at, {in_ten(keep)} coupons at {one.enough}"
        for one in counts
    )


def best_words(window: Window, choice: Choice | None, averages: Choice | None) -> tuple[str, ...]:
    """Say the best settings, what averages alone would have said, the weak link and the edges."""
    lines = [_goal_words(window)]
    if averages is not None:
        lines.append(
            f"looking only at averages: {_said(window, averages)}: {share(averages.chance)} of "
            "coupons would pass"
        )
    if choice is None:
        top = float(window.chances.together.max())
        lines.append(
            f"if {in_ten(window.keep)} must pass: no settings tried reach that; the highest chance "
            f"on the map is {share(top)}"
        )
        return tuple(lines)
    lines.append(
        f"if {in_ten(window.keep)} must pass: {_said(window, choice)}: {share(choice.chance)}"
    )
    lines.append(weak_words(choice))
    lines += [edge_words(one) for one in choice.edges]
    return tuple(lines)


def weak_words(choice: Choice) -> str:
    """Name the limit least likely to be met, and its own chance."""
    return f"the weak link: {choice.weakest}, {share(choice.own[choice.weakest])} by itself"


def edge_words(edge: Edge) -> str:
    """Shout that a best lies at the end of what was tried."""
    owner = f"{edge.owner} " if edge.owner else ""
    setting = f"{plain(float(f'{edge.setting:.4g}'))}{spaced(edge.unit)}"
    return (
        f"! {setting} is the {edge.side} {owner}{edge.factor.replace('_', ' ')} you tried. "
        "The best may lie beyond; this trial cannot see there."
    )


def step_words(window: Window, steps: Sequence[Step]) -> tuple[str, ...]:
    """Say what each further step of certainty costs in the goal."""
    unit, said = _unit(window), []
    for one in steps:
        if one.choice is None:
            said.append(f"{in_ten(one.chance)}: no settings tried reach it")
        else:
            value = plain(float(f"{one.choice.value:.4g}"))
            said.append(f"{in_ten(one.chance)}: {window.aim.best} {value}{spaced(unit)}")
    return tuple(said)


def expected_words(expected: Sequence[Expected]) -> tuple[str, ...]:
    """Say what the next coupon should read, response by response."""
    said = []
    for one in expected:
        half = (one.high - one.low) / 2
        needs = ""
        if one.limit is not None:
            ends = [
                f"{word} {plain(end)}"
                for word, end in (("at least", one.limit.at_least), ("at most", one.limit.at_most))
                if end is not None
            ]
            needs = f", needs {' and '.join(ends)}"
        said.append(
            f"{one.response} {by_uncertainty(one.mean, half)}{spaced(one.unit)} "
            f"({interval(one.low, one.high)} in 95 of 100 coupons{needs})"
        )
    return tuple(said)


def held_words(held: Sequence[Held], factors: Sequence[Factor]) -> str:
    """Say how well settings were taken to be held."""
    if not held:
        return "Settings are taken as held exactly."
    units = {one.name: one.unit for one in factors}
    said = [
        f"{one.factor} within {plain(one.within)}{spaced(units[one.factor])} "
        + ("in 95 coupons of 100" if one.shape == "normal" else "evenly")
        for one in held
    ]
    return f"Settings are taken as held: {', '.join(said)}."


def gap_words(gap: BestGap, factors: Sequence[Factor], toward: str = "higher") -> tuple[str, ...]:
    """Say how two gases compare, each at its own best settings."""
    level, reference, unit = gap.level.level, gap.reference.level, spaced(gap.unit)
    half = (gap.high - gap.low) / 2
    verdict = _verdict(gap, toward)
    return (
        f"{gap.response}, each gas at its own best settings:",
        *(_best_line(one, factors, unit, half) for one in (gap.level, gap.reference)),
        f"{level} less {reference} at these settings: "
        f"{by_uncertainty(gap.estimate, half, signed=True)}{unit} "
        f"({interval(gap.low, gap.high, signed=True)})",
        f"true best less true best: between {interval(gap.best_low, gap.best_high, signed=True)}"
        f"{unit}",
        verdict,
        f"The intervals pay for settings chosen on the same data: {gap.price:.1f} times as wide as "
        "for settings fixed beforehand. They hold in at least 95 trials of 100, in practice in "
        "more.",
    )


def settle_words(rows: Sequence[Settling], gap: BestGap, margin: float | None) -> str:
    """Say how many fresh set-ups of both bests would settle it."""
    both = f"{gap.level.level} and {gap.reference.level}, each at the settings above"
    first = None if margin is None else fewest_to_settle(tuple(rows), margin)
    if margin is None or not rows:
        return f"To settle it: fresh set-ups of both bests ({both}), in shuffled order."
    target = f"within {plain(margin)}{spaced(gap.unit)}"
    if first is None:
        last = rows[-1]
        return (
            f"To settle it {target}: more than {last.set_ups} fresh set-ups of each; with "
            f"{last.set_ups} the interval would still be ± "
            f"{plain(float(f'{last.half_width:.2g}'))}{spaced(gap.unit)}."
        )
    return (
        f"To settle it {target}: {first.set_ups} fresh set-ups of {both}, {first.per_setup} "
        f"coupons in each, in shuffled order (interval ± "
        f"{plain(float(f'{first.half_width:.2g}'))}{spaced(gap.unit)} to be expected)."
    )


def _verdict(gap: BestGap, toward: str) -> str:
    level, reference = gap.level.level, gap.reference.level
    if gap.best_low > 0 or gap.best_high < 0:
        better = (gap.best_low > 0) == (toward == "higher")
        return (
            f"Suggests that {level if better else reference} at its best is better than "
            f"{reference if better else level} at its best."
        )
    return f"Cannot tell which gas is better at its best: {level} or {reference}."


def _best_line(one: BestOf, factors: Sequence[Factor], unit: str, half: float) -> str:
    return f"{settings_words(factors, one.settings)}: mean {by_uncertainty(one.mean, half)}{unit}"


def _goal_words(window: Window) -> str:
    way = "Highest" if window.aim.toward == "higher" else "Lowest"
    return f"{way} {window.aim.best}"


def _said(window: Window, choice: Choice) -> str:
    words = settings_words(window.places.factors, choice.settings)
    if window.aim.best in choice.settings:
        return words
    return f"{words} ({window.aim.best} {plain(float(f'{choice.value:.3g}'))}{_unit_of(window)})"


def _unit_of(window: Window) -> str:
    return spaced(_unit(window))


def _unit(window: Window) -> str:
    numeric = {one.name: one.unit for one in window.places.numeric}
    fitted = {one.response: one.unit for one in window.joint.surfaces}
    return numeric.get(window.aim.best) or fitted.get(window.aim.best) or ""


def _levels(levels: Mapping[str, str]) -> str:
    return ", ".join(levels.values()) or "all settings"
