"""Sections 5 and 6: what was found, response by response, and trade-offs."""

from __future__ import annotations

from dataclasses import replace

from weldtrial.analysis.findings import (
    Comparison,
    EstimateRow,
    Findings,
    ResponseFindings,
)
from weldtrial.analysis.verdict_words import NOTHING_REPEATED
from weldtrial.cli.counted_tables import counted_tables, places_table
from weldtrial.cli.report_blocks import (
    Beside,
    Block,
    Box,
    Heading,
    Section,
    Table,
    Text,
    bullets,
    table,
)
from weldtrial.cli.report_figures import counted_figure, effect_titles, found_figures
from weldtrial.cli.report_words import measured_words, response_role
from weldtrial.shared.rounding import MINUS, brief, by_uncertainty, interval
from weldtrial.shared.trial import Trial


def found(trial: Trial, findings: Findings) -> Section:
    """Return section 5, the deciding response first."""
    blocks: list[Block] = []
    if findings.at:
        blocks.append(Text(findings.at))
    for one in sorted(findings.responses, key=lambda response: response.rank):
        blocks += _response(trial, one)
    return Section(5, "What was found", tuple(blocks))


def verdict_box(one: ResponseFindings, compared: Comparison) -> Box:
    """Return the verdict of a comparison, with what was said of any claim."""
    lines = list(compared.verdict.lines)
    lines += [f"“{claim.says}” ({claim.source}): {claim.words}" for claim in compared.claims]
    return Box(compared.verdict.words, tuple(lines), f"{one.title} · {response_role(one)}")


def effect_box(trial: Trial, one: ResponseFindings) -> Box:
    """Return what stands for a verdict where no category is compared: the effects that show."""
    titles = effect_titles(trial)
    shown = [
        f"{titles.get(row.term, row.term.replace(':', ' × ').replace('_', ' '))}: "
        f"{' ('.join(estimate_words(row))}) {one.unit}"
        for row in one.effects
        if row.ci_low is not None and row.ci_high is not None
        and (row.ci_low > 0 or row.ci_high < 0)
    ]  # fmt: skip
    tag = f"{one.title} · {response_role(one)}"
    if shown:
        looked = f"{len(shown)} of {len(one.effects)} effects are clear of zero (95 % intervals)."
        return Box(looked, tuple(shown), tag)
    if all(row.ci_low is None for row in one.effects):
        return Box(NOTHING_REPEATED, ("Effects are listed as they came out.",), tag)
    line = "That is not evidence that there are none; see how wide the intervals are."
    return Box(f"None of {len(one.effects)} effects is clear of zero.", (line,), tag)


def _response(trial: Trial, one: ResponseFindings) -> list[Block]:
    measured = measured_words(one.kind, one.unit)
    blocks: list[Block] = [Heading(f"{one.title}, {measured} ({response_role(one)})")]
    boxes = [verdict_box(one, compared) for compared in one.comparisons]
    if one.kind == "number" or boxes:
        blocks += [replace(box, tag="") for box in boxes or [effect_box(trial, one)]]
    if one.survives is not None:
        blocks.append(Text(one.survives.words))
    if one.comparisons:
        blocks.append(_comparisons(one))
    said = [note.words for note in one.warnings]
    said += one.places.words if one.places is not None else ()
    if said:
        blocks.append(bullets(said))
    return [*blocks, *_shown(trial, one), *_places(trial, one)]


def _shown(trial: Trial, one: ResponseFindings) -> list[Block]:
    """Return figures and averages, two and two beside each other."""
    if one.kind != "number":
        return _counted(trial, one)
    means: tuple[Block, ...] = (_means(one),) if one.means else ()
    figures = found_figures(trial, one)
    if figures is None:
        return list(means)
    beside: tuple[Block, ...] = (figures.effects,) if figures.effects else ()
    order = () if figures.order is None else (figures.order,)
    if figures.gaps is None:
        return [
            Beside((figures.coupons,), order),
            *([Beside(beside, means)] if beside or means else []),
        ]
    rows = [Beside((figures.coupons,), (figures.gaps,))]
    rows.append(Beside(beside or means, (*order, *(means if beside else ()))))
    return list(rows)


def _counted(trial: Trial, one: ResponseFindings) -> list[Block]:
    """Return the figure of what was counted with the tables of passes, grades and odds."""
    tables = [
        table(headers, rows, caption) for caption, headers, rows in counted_tables(trial, one)
    ]
    figure = counted_figure(one)
    if figure is None:
        return list(tables)
    return [Beside((figure,), tuple(tables))]


def _places(trial: Trial, one: ResponseFindings) -> list[Block]:
    """Return where it broke as a table; of a number the sentence above says as much."""
    found = places_table(trial, one) if one.kind != "number" else None
    if found is None:
        return []
    _, headers, rows = found
    return [table(headers, rows, "Where it broke.")]


def _comparisons(one: ResponseFindings) -> Table:
    headers = (
        "gap",
        f"estimate, {one.unit}",
        "95 % interval",
        "one-sided 95 % limits",
        "percent",
        "ratio (interval)",
        "margin",
    )
    return table(headers, [_comparison(compared) for compared in one.comparisons], wide=True)


def _comparison(one: Comparison) -> tuple[str, ...]:
    gap = f"{one.said_level} − {one.reference}"
    margin = "none given" if one.margin is None else brief(one.margin, 3)
    if one.difference is None or one.ci_low is None or one.ci_high is None:
        none = "cannot tell" if one.difference is None else "no interval"
        return (gap, none, "", "", "", "", margin)
    half = (one.ci_high - one.ci_low) / 2
    limits = ""
    if one.ci90_low is not None and one.ci90_high is not None:
        limits = interval(one.ci90_low, one.ci90_high, signed=True)
    percent = ""
    if one.percent is not None:
        scale = abs(one.percent / one.difference) if one.difference else 0.0
        percent = by_uncertainty(one.percent, half * scale, signed=True)
    return (
        gap,
        by_uncertainty(one.difference, half, signed=True),
        interval(one.ci_low, one.ci_high, signed=True),
        limits,
        percent,
        _ratio(one),
        margin,
    )


def _ratio(one: Comparison) -> str:
    if one.ratio is None or one.ratio_low is None or one.ratio_high is None:
        return ""
    half = (one.ratio_high - one.ratio_low) / 2
    return f"{by_uncertainty(one.ratio, half)} ({interval(one.ratio_low, one.ratio_high)})"


def _means(one: ResponseFindings) -> Table:
    rows = [
        (
            mean.factor.replace("_", " "),
            mean.level,
            by_uncertainty(mean.mean, (mean.ci_high - mean.ci_low) / 2),
            interval(mean.ci_low, mean.ci_high),
        )
        for mean in one.means
    ]
    return table(
        ("what", "level", f"average, {one.unit}", "95 % interval"),
        rows,
        "Averages at the middle of every other setting.",
    )


def estimate_words(row: EstimateRow) -> tuple[str, str]:
    """Return estimate and interval of a row, empty where it has no single value."""
    if row.estimate is None:
        return "", ""
    if row.ci_low is None or row.ci_high is None:
        return f"{row.estimate:+.3g}".replace("-", MINUS), "none to be had"
    half = (row.ci_high - row.ci_low) / 2
    return (
        by_uncertainty(row.estimate, half, signed=True),
        interval(row.ci_low, row.ci_high, signed=True),
    )
