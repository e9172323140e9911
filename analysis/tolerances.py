"""How far one setting may move, the others held, before too few coupons would meet the limits."""

from __future__ import annotations

from weldtrial.analysis.joint import chances
from weldtrial.analysis.optimum_asked import Fitted, Tolerance
from weldtrial.analysis.settings_grid import places_at, real
from weldtrial.analysis.settings_region import axis_of
from weldtrial.analysis.window import Choice, Window

STEPS = 41
CLOSE = 1e-6


def tolerances_at(fitted: Fitted, window: Window, choice: Choice) -> tuple[Tolerance, ...]:
    """Return, for each numeric factor, between which settings the chance stays as asked.

    The stretch goes on from the chosen setting until the chance falls below what was asked, or a
    rule forbids it, or nothing was welded there.  Where the chance is below already at the chosen
    setting, there is none.
    """
    places, found = window.places, []
    levels = places.levels[int(places.which[choice.place])]
    for factor in places.numeric:
        owner = levels.get(factor.slides_with or "", "")
        at = float(choice.point[factor.name])
        low, high = fitted.seen.span(factor)
        axis = sorted({*axis_of(factor, owner, low, high, STEPS), at})
        line = places_at(fitted.seen.factors, [{**choice.point, factor.name: one} for one in axis])
        may = fitted.seen.inside(line) & fitted.seen.allowed(line, fitted.rules)
        good = may & (
            chances(fitted.joint, fitted.limits, line, held=window.held).together
            >= window.keep - 1e-12
        )
        here = axis.index(at)
        if not good[here]:
            continue
        first = here - next((n for n in range(here + 1) if not good[here - n]), here + 1) + 1
        last = here + next((n for n in range(len(axis) - here) if not good[here + n]),
                           len(axis) - here) - 1  # fmt: skip
        found.append(
            Tolerance(
                factor.name,
                factor.unit or "",
                real(factor, axis[first], owner),
                real(factor, axis[last], owner),
                low_open=first == 0 or not may[first - 1],
                high_open=last == len(axis) - 1 or not may[last + 1],
            )
        )
    return tuple(found)
