"""What ``weldtrial plan --tells`` and ``--compare`` show, worked out once for screen and JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from weldtrial.cli.plan_figures import PlanFigures
from weldtrial.cli.what_if import Change
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.assumed import Assumed
    from weldtrial.analysis.term_power import TermPower
    from weldtrial.doe.expected_widths import Width
    from weldtrial.doe.information import Scatter
    from weldtrial.doe.laid_out import Layout
    from weldtrial.doe.quality import Quality


@dataclass(frozen=True, slots=True)
class Telling:
    """What one plan can tell, in numbers.

    Attributes
    ----------
    figures
        The plan as ``weldtrial plan`` shows it.
    quality
        What its design can and cannot tell.
    powers
        For each term by name what the deciding response would show; empty where nothing is known
        of its scatter.
    """

    figures: PlanFigures
    quality: Quality
    powers: dict[str, TermPower]

    @property
    def unit(self) -> str:
        """Unit of the half-widths; empty where there are none."""
        return self.figures.assumed.unit if self.figures.assumed is not None else ""

    @property
    def chance(self) -> float | None:
        """Chance for what is asked, also where nothing is repeated and effects judge each other."""
        return self.figures.current.chance


@dataclass(frozen=True, slots=True)
class Alternative:
    """One plan of a comparison; `telling` is None, and `why` says why, where it is refused."""

    name: str
    changes: tuple[Change, ...]
    telling: Telling | None
    why: str = ""


def telling_of(trial: Trial, changes: Sequence[Change] = ()) -> Telling:
    """Work out what a plan can tell.

    Raises
    ------
    NotYet, PlanRefused
        As `weldtrial.doe.layout.make_layout`.
    """
    from weldtrial.cli.plan_figures import plan_figures
    from weldtrial.doe.quality import quality

    figures = plan_figures(trial, changes)
    layout, known = figures.assessment.layout, figures.assumed
    scatter = None if known is None else _scatter(known, layout)
    powers = {} if known is None else _powers(trial, layout, known, figures)
    found = quality(trial, layout, scatter)
    return Telling(figures, replace(found, widths=_as_judged(found.widths, powers)), powers)


def _as_judged(widths: Sequence[Width], powers: Mapping[str, TermPower]) -> tuple[Width, ...]:
    """Return the widths as the analysis would give them where two scatters judge an effect."""
    shown = []
    for one in widths:
        own = powers.get(one.term)
        half = None if own is None else own.half_width
        if own is not None and half is not None and one.half_width is not None:
            shown.append(replace(one, df=own.df, half_width=half))
        else:
            shown.append(one)
    return tuple(shown)


def _scatter(known: Assumed, layout: Layout) -> Scatter | None:
    from weldtrial.doe.information import Scatter

    spread = known.spread
    if not layout.hard_factors:
        return Scatter(spread.alone) if spread.alone > 0 else None
    # A scatter of nothing has no ratio; a billionth of the other shows the same figures.
    coupon = max(spread.seen, 1e-9 * spread.setup)
    return Scatter(coupon, spread.setup) if coupon > 0 else None


def _powers(
    trial: Trial, layout: Layout, known: Assumed, figures: PlanFigures
) -> dict[str, TermPower]:
    from weldtrial.analysis.needs import needs
    from weldtrial.cli.plan_powers import powers_of

    found = powers_of(trial, layout, known, figures.aim)
    name = figures.compared.name
    if name in found and figures.shape.family != "single":
        # The levels compared are read together, as the table of the plan says.
        own = needs(figures.shape, known.spread, figures.aim)
        found[name] = replace(found[name], detectable=own.detectable, chance=own.power)
    return found


def alternative(trial: Trial, name: str, said: Sequence[str]) -> Alternative:
    """Return a plan with changes in mind, or why it cannot be laid out.

    Raises
    ------
    WrongUsage, ProblemsFound
        As `weldtrial.cli.what_if.changed`.
    """
    from weldtrial.cli.what_if import changed
    from weldtrial.shared.problems import NotYet, PlanRefused

    other, changes = changed(trial, said, "--compare")
    try:
        return Alternative(name, changes, telling_of(other, changes))
    except (NotYet, PlanRefused) as refused:
        return Alternative(name, changes, None, str(refused))
