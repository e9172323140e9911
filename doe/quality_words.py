"""What a design can and cannot tell, sentence by sentence (without a full stop)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from weldtrial.doe.blurred import Leak
from weldtrial.doe.losses_of_design import Loss
from weldtrial.doe.quality import Quality
from weldtrial.doe.region import settings_at
from weldtrial.doe.unanswerable import term_words
from weldtrial.shared.rounding import fixed, plain, spaced
from weldtrial.shared.terms import parse_term
from weldtrial.shared.trial import Trial

WHOLLY = 0.999
"""Correlated at least so much, two effects are not told apart."""
TIED = 0.05
"""Correlated less than this, two effects hardly disturb each other."""
NAMED = 3
"""More losses or ties than this are counted and not named one by one."""


def name_words(trial: Trial, name: str) -> str:
    """Return the name of a term for eyes: ``gas × travel speed``."""
    return term_words(trial, parse_term(name, trial.factors))


def place_words(trial: Trial, point: Mapping[str, str | float]) -> str:
    """Return a coded point as it is set on the machine: ``co2, 28.5 V, 9.1 m/min``."""
    at = settings_at(trial, point)
    words = []
    for factor in trial.varied:
        value = at[factor.name]
        if isinstance(value, str):
            words.append(value)
        else:
            words.append(f"{plain(float(f'{value:.4g}'))}{spaced(factor.unit)}")
    return ", ".join(words)


def blurred_summary(trial: Trial, quality: Quality) -> tuple[str, ...]:
    """Return how many pairs of effects are clear of each other, and what blocks hide."""
    pairs = quality.blurred.pairs
    lines = []
    if pairs:
        wholly = len(quality.blurred.tied(WHOLLY))
        partly = len(quality.blurred.tied(TIED)) - wholly
        if not wholly and not partly:
            lines.append(f"none: all {len(pairs)} pairs of effects up to two factors are clear of "
                         "each other" if len(pairs) > 1 else
                         "none: the two effects are clear of each other")  # fmt: skip
        else:
            lines.append(
                f"of {len(pairs)} pairs of effects up to two factors {wholly} travel together "
                f"wholly, {partly} in part, {len(pairs) - wholly - partly} not at all"
            )
    for name in quality.blurred.hidden:
        lines.append(f"{name_words(trial, name)} never changes inside a block, so it is not told")
    return tuple(lines)


def leak_words(trial: Trial, leak: Leak, unit: str) -> str:
    """Return what an effect left out of the model does to one that is told."""
    share = abs(leak.share)
    size = fixed(share, 2).rstrip("0").rstrip(".")
    way = "high" if leak.share > 0 else "low"
    return (
        f"were {name_words(trial, leak.left_out)} (left out) 1 {unit}, "
        f"{name_words(trial, leak.told)} would read {size} {unit} too {way}"
    )


def loss_words(trial: Trial, quality: Quality, loss: Loss) -> str:
    """Return which coupons or which set-up a loss is."""
    if loss.setup is not None:
        same = [one for one in trial.hard if one.varied]
        point = quality.points[loss.coupons[0]]
        return f"of {_held(trial, point, [one.name for one in same])}"
    places = [place_words(trial, quality.points[row]) for row in loss.coupons]
    if len(set(places)) == 1:
        return places[0] if len(places) == 1 else f"both at {places[0]}"
    return " and ".join(places)


def _held(trial: Trial, point: Mapping[str, str | float], names: list[str]) -> str:
    at = settings_at(trial, point)
    words = [
        str(at[name]) if isinstance(at[name], str)
        else f"{plain(float(at[name]))}{spaced(trial.factor(name).unit)}"
        for name in names
    ]  # fmt: skip
    return ", ".join(words)


def cost_words(trial: Trial, loss: Loss) -> str:
    """Return what a loss costs."""
    parts = []
    if loss.dropped:
        parts.append(f"{_named(trial, loss.dropped)} can no longer be told")
    if loss.unjudged:
        parts.append(f"nothing is left to judge {_named(trial, loss.unjudged)} by")
    if loss.growth is not None:
        wider = 100 * (loss.growth - 1)
        much = "less than 1 %" if wider < 1 else f"{wider:.0f} %"
        if loss.growth >= 2:
            much = f"{loss.growth:.1f} times"
            parts.append(f"the interval of {name_words(trial, loss.widest)} is {much} as wide")
        else:
            parts.append(f"the interval of {name_words(trial, loss.widest)} is {much} wider")
    return "; ".join(parts) or "no term had anything to judge it by before"


def _named(trial: Trial, names: tuple[str, ...]) -> str:
    words = [name_words(trial, name) for name in names]
    if len(words) > NAMED:
        return f"{', '.join(words[:NAMED])} and {len(words) - NAMED} more"
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def losses_summary(quality: Quality) -> Iterator[str]:
    """Yield how many losses take a term or its judge away, for each kind of loss."""
    found = quality.losses
    if found is None:
        return
    for count, cases, what in (
        (found.setup_drops, found.setup_cases, "set-ups"),
        (found.coupon_drops, found.coupon_cases, "coupons"),
        (found.pair_drops, found.pair_cases, "pairs of coupons"),
    ):
        if count:
            yield (
                f"{count} of {cases} {what} would take a term, or all that judges one, with "
                f"{'it' if count == 1 else 'them'}"
            )
