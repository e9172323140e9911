"""The figures of a report: drawn, turned into SVG, with their numbers beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isfinite
from typing import TYPE_CHECKING

from weldtrial.analysis.findings import ResponseFindings
from weldtrial.cli.report_blocks import FigureBlock, Table, table
from weldtrial.cli.svg import to_svg
from weldtrial.shared.factors import Factor
from weldtrial.shared.rounding import plain
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from weldtrial.analysis.figures import FigureText


def first_figure(trial: Trial, responses: Sequence[ResponseFindings]) -> FigureBlock | None:
    """Return the answer strip of every comparison; without any, the effects that decide."""
    from weldtrial.analysis.figures import answer_strip

    pairs = answer_strip.pairs_of(responses)
    if not pairs:
        deciding = min(responses, key=lambda found: found.rank, default=None)
        return None if deciding is None else _effects(trial, deciding, "first-effects", wide=True)
    better = [trial.response(found.name).better for found, _ in pairs]
    return _block("strip", answer_strip.draw(pairs, better), answer_strip.describe(pairs))


def counted_figure(found: ResponseFindings) -> FigureBlock | None:
    """Return every coupon that was counted or graded, None of a number."""
    from weldtrial.analysis.figures import counted_by_round

    if not counted_by_round.drawable(found):
        return None
    key = f"{found.name.replace('_', '-')}-counted"
    return _block(key, counted_by_round.draw(found), counted_by_round.describe(found))


@dataclass(frozen=True, slots=True)
class FoundFigures:
    """The figures of what was found about one response; all but the first where there are any."""

    coupons: FigureBlock
    order: FigureBlock | None
    gaps: FigureBlock | None
    effects: FigureBlock | None


def found_figures(trial: Trial, found: ResponseFindings) -> FoundFigures | None:
    """Return the figures of what was found about one response, None without coupons."""
    from weldtrial.analysis.figures import coupons_by_round, round_gaps, weld_order

    if not found.coupons or found.kind != "number":
        return None
    key = found.name.replace("_", "-")
    changed = [f"the effect of {factor.title}" for factor in _changed_within(trial, found)]
    words = column_words(found.name, found.unit)
    text = coupons_by_round.describe(found, changed)
    coupons = _block(f"{key}-coupons", coupons_by_round.draw(found), text)
    gaps = None
    if round_gaps.drawable(found):
        gaps = _block(f"{key}-gaps", round_gaps.draw(found), round_gaps.describe(found))
    known, order = with_left_over(found), None
    if _read_exactly(known) > 2:
        drawn = _block(f"{key}-order", weld_order.draw(known), weld_order.describe(known))
        order = replace(drawn, table=table((), ()), rest=f"column {words.left_over}")
    return FoundFigures(
        coupons=replace(coupons, table=_without_values(text), rest=f"column {words.value}"),
        order=order,
        gaps=gaps,
        effects=_effects(trial, found, f"{key}-effects"),
    )


@dataclass(frozen=True, slots=True)
class ColumnWords:
    """What the columns of one response are called in the table of all readings."""

    value: str
    left_over: str


def column_words(name: str, unit: str) -> ColumnWords:
    """Return what the table of all readings calls value and rest of a response's coupons."""
    words = name.replace("_", " ")
    return ColumnWords(f"{words}, {unit}", f"{words} left over")


def _without_values(text: FigureText) -> Table:
    """Return the table of set-up means; each coupon's value stands with all readings."""
    kept = [place for place, header in enumerate(text.table_headers) if header != "values"]
    rows = [[row[place] for place in kept] for row in text.table_rows]
    headers = [text.table_headers[place] for place in kept]
    return table(["n" if header == "coupons" else header for header in headers], rows)


def _effects(
    trial: Trial, found: ResponseFindings, key: str, *, wide: bool = False
) -> FigureBlock | None:
    from weldtrial.analysis.figures import effects
    from weldtrial.analysis.figures.style import HALF_IN, WIDTH_IN

    if not effects.drawable(found):
        return None
    titles, margin = effect_titles(trial), _margin(trial, found)
    drawn = effects.draw(found, titles, margin, WIDTH_IN if wide else HALF_IN)
    return _block(key, drawn, effects.describe(found, titles, margin))


def _margin(trial: Trial, found: ResponseFindings) -> float | None:
    """Return the margin in the response's unit; a percentage has none without a reference."""
    margin = trial.response(found.name).margin
    return None if margin is None or margin.percent else margin.value


def check_figure(found: ResponseFindings) -> FigureBlock | None:
    """Return the checks of what is left over, None without coupons."""
    from weldtrial.analysis.figures import residual_checks

    if found.kind != "number":
        return None
    found = with_left_over(found)
    if _read_exactly(found) < 3:
        return None
    key = found.name.replace("_", "-")
    block = _block(f"{key}-checks", residual_checks.draw(found), residual_checks.describe(found))
    return replace(block, rest=f"column {column_words(found.name, found.unit).left_over}")


def with_left_over(found: ResponseFindings) -> ResponseFindings:
    """Return the response with the coupons of which something is left over.

    Of a coupon past the gauge limit that is at least (or at most) so much; of one that failed
    between two stops it is not known.
    """
    known = [one for one in found.coupons if one.beyond != "between" and isfinite(one.residual)]
    return replace(found, coupons=tuple(known))


def _read_exactly(found: ResponseFindings) -> int:
    return sum(not one.beyond for one in found.coupons)


def _block(key: str, figure: Figure, text: FigureText) -> FigureBlock:
    numbers = table(text.table_headers, text.table_rows)
    return FigureBlock(to_svg(figure, f"fig-{key}", text.alt), text.caption, numbers)


def _changed_within(trial: Trial, found: ResponseFindings) -> tuple[Factor, ...]:
    return trial.easy if found.setups_total is not None else ()


def effect_titles(trial: Trial) -> dict[str, str]:
    """Return what each effect changed, in words with its settings."""
    titles = {}
    for factor in trial.varied:
        if factor.kind == "category" and len(factor.levels) == 2:
            titles[factor.name] = f"{factor.title}: {factor.levels[0]} − {factor.levels[1]}"
        elif factor.kind == "numeric" and not factor.slides_with:
            numbers = factor.settings[""]
            reach = f"{plain(min(numbers))} to {plain(max(numbers))} {factor.unit}"
            titles[factor.name] = f"{factor.title}: {reach}"
        elif factor.kind == "numeric":
            titles[factor.name] = f"{factor.title}: low to high of each {factor.slides_with}"
    return titles
