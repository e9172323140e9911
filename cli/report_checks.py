"""Sections 7 to 10: checks, other ways of looking, what it cannot tell, what to weld next."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.analysis.findings import Alternative, Findings, ResponseFindings
from weldtrial.analysis.verdict_words import BRIEFLY
from weldtrial.cli.report_blocks import Block, Heading, Items, Section, Text, bullets, table
from weldtrial.cli.report_counted import undone_blocks
from weldtrial.cli.report_figures import check_figure
from weldtrial.cli.report_words import WHO_DECIDES, scope_words
from weldtrial.shared.cautions import NOT_A_QUALIFICATION
from weldtrial.shared.rounding import by_uncertainty, interval
from weldtrial.shared.trial import Trial

MARKS = {True: "✓", False: "✗", None: "?"}


def checks(findings: Findings, remarks: Sequence[str]) -> Section:
    """Return section 7; `remarks` are what the bench files say that stops nothing."""
    blocks: list[Block] = [
        Text("✓ nothing turned up · ✗ something did · ? could not be checked here.")
    ]
    said = (*remarks, *(note.words for note in findings.notes))
    if said:
        blocks.append(bullets(said))
    for one in _by_rank(findings):
        blocks.append(Heading(one.title))
        if one.checks:
            blocks.append(Items(tuple((MARKS[c.passed], c.words) for c in one.checks)))
        figure = check_figure(one)
        blocks += [figure] if figure else []
    return Section(7, "Checks and what they turned up", tuple(blocks))


def other_ways(trial: Trial, findings: Findings) -> Section:
    """Return section 8: the same comparison looked at otherwise, the naive look among them."""
    blocks: list[Block] = []
    for one in _by_rank(findings):
        naive = one.least_squares.comparisons if one.least_squares else ()
        undone = undone_blocks(trial, one)
        if not (one.alternatives or naive or undone):
            continue
        blocks.append(Heading(f"{one.title}, {one.unit}"))
        if not (one.alternatives or naive):
            blocks += undone
            continue
        rows = [_as_planned(one)] if one.comparisons else []
        known = {way.name for way in one.alternatives}
        ways = (*one.alternatives, *(way for way in naive if way.name not in known))
        rows += [_other(way) for way in ways]
        headers = ("looked at", "gap", "95 % interval", "would read")
        blocks.append(table(headers, [row for row in rows if row]))
        blocks += undone
    if blocks:
        blocks.insert(0, Text("These stand beside the answer as planned; none replaces it."))
    else:
        blocks.append(Text("Nothing else was looked at."))
    return Section(8, "Other ways of looking", tuple(blocks))


def cannot_tell(trial: Trial, findings: Findings) -> Section:
    """Return section 9."""
    further = [one.title for one in _by_rank(findings) if one.rank > 1]
    items = [f"Anything outside this: {scope_words(findings).removesuffix(' Nothing else.')}"]
    items += [f"Unanswered: {question}" for question in findings.grade.unanswered]
    if further:
        items.append(
            f"{', '.join(further)}: not what this trial was sized for; what is not settled there "
            "is not evidence that the levels are alike."
        )
    if trial.fair.rule:
        items.append(
            f"“Fair” here means {trial.fair.rule}. Another meaning of fair is another question and "
            "may have another answer."
        )
    items.append(f"{NOT_A_QUALIFICATION} {WHO_DECIDES}")
    return Section(9, "What this cannot tell you", (bullets(items),))


def next_welds(trial: Trial, findings: Findings, cautions: Sequence[str]) -> Section:
    """Return section 10: what would settle what is open, and the cautions before any arc."""
    open_ones = [
        one.title
        for one in _by_rank(findings)
        if any(c.verdict.code in ("not_settled", "depends_on", None) for c in one.comparisons)
    ]
    words = (
        f"Still open: {', '.join(open_ones)}. Work out the set-ups that would settle it with  "
        "weldtrial power."
        if open_ones
        else "Every comparison has an answer. A result that matters is worth welding again, on "
        "fresh set-ups, before it changes how the shop works."
    )
    blocks: list[Block] = [Text(words)]
    if cautions:
        blocks += [Heading("Before anyone welds again"), bullets(cautions, "!")]
    return Section(10, "Next welds", tuple(blocks))


def what_would_change_it(findings: Findings) -> tuple[str, ...]:
    """Return, for the deciding response, which other ways of looking read otherwise."""
    from weldtrial.analysis.views import EVERY_COUPON_APART

    ordered = _by_rank(findings)
    if not ordered or not ordered[0].comparisons:
        return ()
    first = ordered[0]
    verdict = first.comparisons[0].verdict
    code = verdict.code
    if code == "cannot_tell":
        return verdict.lines[-1:]
    # Forgetting the set-ups is no reason to change an answer; section 8 shows what it would read.
    ways = [way for way in first.alternatives if way.code and way.name != EVERY_COUPON_APART]
    changed: dict[str, list[str]] = {}
    for way in ways:
        if way.code != code:
            changed.setdefault(BRIEFLY[way.code or ""], []).append(way.words or way.name)
    undone = first.undo.words if first.undo is not None else ()
    if first.undo is not None and first.undo.brief:
        undone = (first.undo.brief,)  # The rest stands in section 8.
    if changed:
        reads = tuple(f"{', '.join(names)}: {reads}" for reads, names in changed.items())
        return (*reads, *undone)
    if not ways:
        return undone
    other = f"othing else that was tried reads otherwise (section 8, {len(ways)} looked at)."
    if len(undone) == 1:
        return (f"{undone[0].removesuffix('.')}; n{other}",)
    return (*undone, f"N{other}")


def _by_rank(findings: Findings) -> list[ResponseFindings]:
    return sorted(findings.responses, key=lambda response: response.rank)


def _as_planned(one: ResponseFindings) -> tuple[str, ...]:
    first = one.comparisons[0]
    if first.difference is None or first.ci_low is None or first.ci_high is None:
        return ()
    half = (first.ci_high - first.ci_low) / 2
    return (
        "as planned",
        by_uncertainty(first.difference, half, signed=True),
        interval(first.ci_low, first.ci_high, signed=True),
        BRIEFLY.get(first.verdict.code or "", ""),
    )


def _other(way: Alternative) -> tuple[str, ...]:
    half = (way.ci_high - way.ci_low) / 2
    return (
        way.words or way.name,
        by_uncertainty(way.difference, half, signed=True),
        interval(way.ci_low, way.ci_high, signed=True),
        BRIEFLY.get(way.code or "", ""),
    )
