"""The figures of a report: drawn, turned into SVG, with their numbers beside them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from weldtrial.analysis.findings import ResponseFindings
from weldtrial.cli.report_blocks import FigureBlock, Table
from weldtrial.cli.svg import to_svg
from weldtrial.shared.factors import Factor
from weldtrial.shared.rounding import plain
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from weldtrial.analysis.figures import FigureText


def first_figure(trial: Trial, responses: Sequence[ResponseFindings]) -> FigureBlock | None:
    """Return the answer strip of every comparison, None when nothing is compared."""
    from weldtrial.analysis.figures import answer_strip

    pairs = answer_strip.pairs_of(responses)
    if not pairs:
        return None
    better = [trial.response(found.name).better for found, _ in pairs]
    return _block("strip", answer_strip.draw(pairs, better), answer_strip.describe(pairs))


def found_figures(trial: Trial, found: ResponseFindings) -> tuple[FigureBlock, ...]:
    """Return the figures of what was found about one response."""
    from weldtrial.analysis.figures import coupons_by_round, effects, round_gaps, weld_order

    if not found.coupons:
        return ()
    key = found.name.replace("_", "-")
    changed = [f"the effect of {factor.title}" for factor in _changed_within(trial, found)]
    titles = _titles(trial)
    blocks = [
        _block(
            f"{key}-coupons",
            coupons_by_round.draw(found),
            coupons_by_round.describe(found, changed),
        )
    ]
    if round_gaps.drawable(found):
        blocks.append(_block(f"{key}-gaps", round_gaps.draw(found), round_gaps.describe(found)))
    if effects.drawable(found):
        blocks.append(
            _block(f"{key}-effects", effects.draw(found, titles), effects.describe(found, titles))
        )
    blocks.append(_block(f"{key}-order", weld_order.draw(found), weld_order.describe(found)))
    return tuple(blocks)


def check_figure(found: ResponseFindings) -> FigureBlock | None:
    """Return the checks of what is left over, None without coupons."""
    from weldtrial.analysis.figures import residual_checks

    if not found.coupons:
        return None
    key = found.name.replace("_", "-")
    return _block(f"{key}-checks", residual_checks.draw(found), residual_checks.describe(found))


def _block(key: str, figure: Figure, text: FigureText) -> FigureBlock:
    numbers = Table(text.table_headers, text.table_rows)
    return FigureBlock(to_svg(figure, f"fig-{key}", text.alt), text.caption, numbers)


def _changed_within(trial: Trial, found: ResponseFindings) -> tuple[Factor, ...]:
    return trial.easy if found.setups_total is not None else ()


def _titles(trial: Trial) -> dict[str, str]:
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
