"""The scatter-only look of an opened trial: what it comes to, and how it is said."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from weldtrial.shared.look_state import look_at, of_look
from weldtrial.shared.rounding import brief, spaced

if TYPE_CHECKING:
    from weldtrial.analysis.scatter_look import Sizing
    from weldtrial.cli.opening import Opened
    from weldtrial.shared.trial import Trial


def sizing_of(opened: Opened) -> Sizing | None:
    """Return how many rounds the scatter asks for, None where no such look is due."""
    looks = opened.trial.looks
    look = look_at(opened.trial, opened.record)
    if looks is None or look.state != "scatter":
        return None
    from weldtrial.analysis.looks import levels_at
    from weldtrial.analysis.observations import observe
    from weldtrial.analysis.power import aim_of
    from weldtrial.analysis.scatter_look import lumped_scatter, size_rounds
    from weldtrial.cli.plan_figures import shape_of
    from weldtrial.doe.layout import make_layout

    trial = opened.trial
    seen = observe(trial, of_look(opened.record, look), trial.deciding).observations
    scatter = lumped_scatter(seen)
    aim = aim_of(trial.deciding, scatter.mean)
    shape = shape_of(trial, make_layout(trial))
    level = levels_at(trial, look).one_sided
    return size_rounds(shape, aim, looks, scatter, level=level, at_least=look.prefix)


def sizing_lines(trial: Trial, found: Sizing) -> tuple[str, ...]:
    """Return what the scatter asks for, in sentences; they tell nothing of the gas."""
    from weldtrial.analysis.verdict_words import margin_words

    unit = spaced(trial.deciding.unit)
    asks = {
        "no-worse": f'show "no worse by more than {margin_words(trial.deciding)}" if they are '
        "equal",
        "equal-enough": f'show "equal within {margin_words(trial.deciding)}" if they are equal',
        "difference": f"show a true gap of {margin_words(trial.deciding)}",
    }[trial.deciding.ask]
    times = "over 99" if found.chance > 0.99 else f"{100 * found.chance:.0f}"
    lines = [
        f"{trial.deciding.title}: set-ups of one round scatter by "
        f"{brief(found.scatter.sd, 2)}{unit} (standard deviation, all gases lumped, "
        f"{found.scatter.df} degrees of freedom). Any gap between the gases is in it.",
        f"By the rule that was sealed: {found.rounds} rounds in all (at least {found.least}, at "
        f"most {found.most}). They would {asks}, "
        f"{times} times in 100.",
    ]
    if found.needed is None:
        lines.append(
            f"That is less than the {100 * found.target:.0f} aimed for: with scatter like this "
            f"even {found.most} rounds are too few."
        )
    return tuple(lines)


def sizing_json(found: Sizing | None) -> dict[str, Any] | None:
    """Return the sizing as plain values."""
    return None if found is None else asdict(found)
