"""The figures of a report: drawn, turned into SVG, with their numbers beside them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from weldtrial.analysis.findings import ResponseFindings
from weldtrial.cli.report_blocks import FigureBlock, table
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
        return None if deciding is None else _effects(trial, deciding, "first-effects")
    better = [trial.response(found.name).better for found, _ in pairs]
    return _block("strip", answer_strip.draw(pairs, better), answer_strip.describe(pairs))


def found_figures(trial: Trial, found: ResponseFindings) -> tuple[FigureBlock, ...]:
    """Return the figures of what was found about one response."""
    from weldtrial.analysis.figures import coupons_by_round, round_gaps, weld_order

    if not found.coupons:
        return ()
    key = found.name.replace("_", "-")
    changed = [f"the effect of {factor.title}" for factor in _changed_within(trial, found)]
    blocks = [
        _block(
            f"{key}-coupons",
            coupons_by_round.draw(found),
            coupons_by_round.describe(found, changed),
        )
    ]
    if round_gaps.drawable(found):
        blocks.append(_block(f"{key}-gaps", round_gaps.draw(found), round_gaps.describe(found)))
    shown = _effects(trial, found, f"{key}-effects")
    blocks += [shown] if shown else []
    blocks.append(_block(f"{key}-order", weld_order.draw(found), weld_order.describe(found)))
    return tuple(blocks)


def _effects(trial: Trial, found: ResponseFindings, key: str) -> FigureBlock | None:
    from weldtrial.analysis.figures import effects

    if not effects.drawable(found):
        return None
    titles, margin = effect_titles(trial), _margin(trial, found)
    return _block(key, effects.draw(found, titles, margin), effects.describe(found, titles, margin))


def _margin(trial: Trial, found: ResponseFindings) -> float | None:
    """Return the margin in the response's unit; a percentage has none without a reference."""
    margin = trial.response(found.name).margin
    return None if margin is None or margin.percent else margin.value


def check_figure(found: ResponseFindings) -> FigureBlock | None:
    """Return the checks of what is left over, None without coupons."""
    from weldtrial.analysis.figures import residual_checks

    if not found.coupons:
        return None
    key = found.name.replace("_", "-")
    return _block(f"{key}-checks", residual_checks.draw(found), residual_checks.describe(found))


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
