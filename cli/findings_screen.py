"""Findings on the terminal: verdicts first, then how far to trust them."""

from __future__ import annotations

from collections.abc import Sequence
from math import isinf
from typing import TYPE_CHECKING

from weldtrial.cli.counted_tables import counted_tables, forgotten_table
from weldtrial.cli.found_scatter import buy_words, scatter_words
from weldtrial.shared.fair import readings_of, shared_control
from weldtrial.shared.rounding import MINUS, PAST, decimals_for, fixed, interval, plain, spaced

if TYPE_CHECKING:
    from weldtrial.analysis.findings import (
        Alternative,
        Comparison,
        EstimateRow,
        Findings,
        MeanRow,
        ResponseFindings,
    )
    from weldtrial.cli.console import Console
    from weldtrial.shared.trial import Trial

SAID = ("left_out", "timid", "incomplete", "set_ups_count", "odds_differ", "failed_in_plate",
        "set_ups_agree")  # fmt: skip
"""Warnings that the screen shows; the others are its failed checks."""
RANKS = {1: "decides", 2: "second", 3: "third"}


def show_closed(console: Console, trial: Trial, findings: Findings) -> None:
    """Show checks and spreads while the gases are still P and Q."""
    show_confirmed(console, findings)
    console.line(
        "Codes are closed, so the gases are called P and Q and you cannot tell which way is good. "
        "Look at the checks now; after opening, nothing about the analysis may change without "
        "being logged."
    )
    for response in trial.responses:
        console.heading(response.title)
        for words in findings.spreads.get(response.name, ()):
            console.line(f"  {words}", hang=2)
    console.line()
    console.line("Gaps between the gases stay hidden until the codes open.")
    for words in findings.look_lines:
        console.line(words)


def show_confirmed(console: Console, findings: Findings) -> None:
    """Show, before anything else, whether coupons that confirm met what was predicted."""
    words = findings.confirmation
    if words is None:
        return
    console.heading(words.tag.upper())
    console.line(f"  {words.head}", hang=2, style="bold")
    for line in words.lines:
        console.line(f"  {line}", hang=4)
    console.line()
    console.line("What follows are the earlier coupons, without those that confirm.")


def show_open(console: Console, trial: Trial, findings: Findings) -> None:
    """Show every response, the grade, the scope and what was set aside."""
    show_confirmed(console, findings)
    for words in findings.look_lines:
        console.line(words, style="bold")
    for found in findings.responses:
        _response(console, trial, found)
    for note in findings.notes:
        console.line()
        console.line(note.words, hang=2)
    _trust(console, findings)
    _aside(console, findings)


def _response(console: Console, trial: Trial, found: ResponseFindings) -> None:
    rank = RANKS.get(found.rank, f"number {found.rank}")
    console.heading(f"{found.title.upper()} ({rank})")
    for comparison in found.comparisons:
        _verdict(console, comparison)
    if found.survives is not None:
        console.line(f"  = {found.survives.words}", hang=4, style="bold")
    if not found.comparisons:
        below = "effects are" if found.kind == "number" else "counts are"
        console.line(f"  No category is compared in this trial; the {below} below.", hang=2)
    _effects(console, trial, found)
    _means(console, trial, found)
    if found.kind == "number":
        _scatter(console, found)
    _counted(console, trial, found)
    _beside(console, found)
    _undone(console, trial, found)
    for check in found.checks:
        if check.passed is False:
            console.line(f"  ! {check.words}", hang=4)
    for note in found.warnings:
        if note.code in SAID:
            console.line(f"  ! {note.words}", hang=4)


def _counted(console: Console, trial: Trial, found: ResponseFindings) -> None:
    """Show passes, grades and odds by level, and where it broke."""
    for caption, headers, rows in counted_tables(trial, found):
        console.line()
        console.table(list(headers), [list(row) for row in rows])
        if caption:
            console.note(f"  {caption}")
    if found.places is not None:
        console.line()
        for words in found.places.words:
            console.line(f"  {words}", hang=2)


def _verdict(console: Console, comparison: Comparison) -> None:
    console.line(f"  \N{BLACK RIGHT-POINTING TRIANGLE} {comparison.verdict.words}", style="bold")
    for words in comparison.verdict.lines:
        console.line(f"    {words}", hang=2)
    for claim in comparison.claims:
        source = f" ({claim.source})" if claim.source else ""
        console.line(f'    Claim "{claim.says}"{source}: {claim.words}', hang=2)


def effect_name(term: str, trial: Trial) -> str:
    """Return a term with the direction of a two-level category: ``gas (mix - co2)``.

    What slides under both readings of fair, the control welded alike, changed under one gas only.
    """
    for one in readings_of(trial)[:1]:
        gas = trial.factor(one.slider.slides_with or "")
        if term == one.slider.name and shared_control(one.slider, gas):
            others = " and ".join(level for level in gas.levels if level != gas.reference)
            return f"{term} (under {others} only)"
    for factor in trial.varied:
        if factor.name == term and factor.kind == "category" and len(factor.levels) == 2:
            return f"{term} ({factor.levels[0]} \N{MINUS SIGN} {factor.levels[1]})"
    return term


def estimate_cells(row: EstimateRow, unit: str, trial: Trial) -> list[str]:
    """Return term, estimate, interval of an effect, rounded to what its interval carries."""
    name = effect_name(row.term, trial)
    if row.estimate is None:
        return [name, "none to be had" if name != row.term else "several levels", ""]
    if row.ci_low is None or row.ci_high is None:
        shown = f"{row.estimate:+.3g}".replace("-", MINUS)
        return [name, f"{shown}{spaced(unit)}", "none to be had"]
    places = decimals_for((row.ci_high - row.ci_low) / 2)
    shown = f"{fixed(row.estimate, places, signed=True)}{spaced(unit)}"
    return [
        name,
        PAST if isinf(row.estimate) else shown,
        interval(row.ci_low, row.ci_high, signed=True),
    ]


def _undone(console: Console, trial: Trial, found: ResponseFindings) -> None:
    """Show what would undo the answer, of passes with a table of forgotten failures."""
    if found.undo is None:
        return
    counted = forgotten_table(trial, found)
    if counted is not None or found.undo.forgotten:
        console.heading("  What would undo it")
    for words in found.undo.words:
        console.line(f"  {words}", hang=2)
    if counted is not None:
        caption, headers, rows = counted
        console.line()
        console.table(list(headers), [list(row) for row in rows], ["left", "left", "right", "left"])
        console.note(f"  {caption}")


def _effects(console: Console, trial: Trial, found: ResponseFindings) -> None:
    if not found.effects:
        return
    console.line()
    coded = any(factor.used_as_is for factor in trial.varied)
    console.table(
        ["effect (-1 to +1)" if coded else "effect (low to high)", "estimate", "95 % interval"],
        [estimate_cells(row, found.unit, trial) for row in found.effects],
        ["left", "right", "right"],
    )


def mean_cells(row: MeanRow, unit: str, trial: Trial) -> list[str]:
    """Return factor, level with its setting, mean and interval, rounded as the interval asks."""
    factor = trial.factor(row.factor)
    level = row.level
    if factor.kind == "numeric" and not factor.slides_with:
        setting = f"{plain(factor.setting(level))}{spaced(factor.unit)}"
        level = f"{level} ({setting})" if level in ("low", "mid", "high") else setting
    places = decimals_for((row.ci_high - row.ci_low) / 2)
    mean = f"{fixed(row.mean, places)}{spaced(unit)}"
    return [
        row.factor,
        level,
        PAST if isinf(row.mean) else mean,
        interval(row.ci_low, row.ci_high),
    ]


def _means(console: Console, trial: Trial, found: ResponseFindings) -> None:
    if not found.means:
        return
    console.line()
    console.table(
        ["factor", "level", "adjusted mean", "95 % interval"],
        [mean_cells(row, found.unit, trial) for row in found.means],
        ["left", "left", "right", "right"],
    )


def _scatter(console: Console, found: ResponseFindings) -> None:
    console.line()
    console.line(f"  {scatter_words(found)}", hang=2)
    if words := buy_words(found):
        console.line(f"  {words}", hang=2)


def _beside(console: Console, found: ResponseFindings) -> None:
    """Show the answer adjusted, at the settings as run, without the doubtful coupons, and naive.

    Each is named as what it is, and none takes the place of ours.
    """
    from weldtrial.analysis.views import WITHOUT_DOUBTFUL

    for way in found.alternatives:
        if way.name in (WITHOUT_DOUBTFUL, "settings as run") or way.name.startswith("adjusted for"):
            words = f"{way.words[:1].upper()}{way.words[1:]}"
            console.line(f"  {words}: {interval_words(way, found.unit)}.", hang=2)
    answered = any(one.difference is not None for one in found.comparisons)
    for check in found.checks:
        if answered and check.passed is None and check.name.startswith("adjusted for"):
            console.line(f"  {check.words}", hang=2)
    if found.least_squares is None:
        return
    for other in found.least_squares.comparisons[:1]:
        console.line(
            f"  If every coupon had had its own bottle change: {interval_words(other, found.unit)}."
            " It had not: coupons on one bottle are one trial of the gas.",
            hang=2,
        )


def interval_words(other: Alternative, unit: str) -> str:
    """Return a difference with its 95 % interval, rounded to what the interval carries."""
    reach = interval(other.ci_low, other.ci_high, signed=True)
    if isinf(other.difference):
        return f"{PAST} ({reach})"
    places = decimals_for((other.ci_high - other.ci_low) / 2)
    return f"{fixed(other.difference, places, signed=True)}{spaced(unit)} ({reach})"


def show_as_if(console: Console, findings: Findings, name: str) -> None:
    """Show what another analysis would have said, side by side with ours."""
    from weldtrial.analysis.findings import Alternative

    console.heading("Side by side")
    rows = []
    for found in findings.responses:
        naive = found.least_squares.comparisons if found.least_squares else ()
        others = [one for one in naive if one.name == name]
        several = len(others) == len(found.comparisons) > 1
        for place, other in enumerate(others):
            ours = found.comparisons[place if several else 0]
            if ours.difference is None or ours.ci_low is None or ours.ci_high is None:
                continue
            mine = Alternative("", "", ours.difference, ours.ci_low, ours.ci_high, 0.0, 0.0, None)
            rows.append(
                [
                    f"{found.title}, {ours.said_level} {MINUS} {ours.reference}"
                    if several
                    else found.title,
                    interval_words(other, found.unit),
                    interval_words(mine, found.unit),
                ]
            )
    if not rows:
        console.line("  Nothing is hard to change here: the two are the same analysis.")
        return
    console.table(["response", "as if", "by set-up"], rows, ["left", "right", "right"])
    console.line(
        "The first treats coupons welded on one set-up as so many trials of the gas; "
        "the second does not.",
        hang=2,
    )


def _trust(console: Console, findings: Findings) -> None:
    from weldtrial.analysis.grade import GRADE_WORDS

    grade = findings.grade
    console.heading(f"How far to trust it: {GRADE_WORDS[grade.code].upper()}")
    started = "" if grade.start == grade.code else f"starts {GRADE_WORDS[grade.start].lower()}: "
    console.line(f"  {started}{grade.why}", hang=2)
    for words in grade.pluses:
        console.line(f"  + {words}", hang=2)
    for words in grade.steps_down:
        console.line(f"  \N{MINUS SIGN} {words}", hang=2)
    if grade.unanswered:
        console.line(f"  ? not shown by the folder: {' '.join(grade.unanswered)}", hang=4)
    console.line()
    if findings.at:
        console.line(findings.at, hang=2)
    console.line(findings.scope, hang=2)


def _aside(console: Console, findings: Findings) -> None:
    if not findings.set_aside:
        return
    console.heading("Set aside, never filled in")
    console.table(["stamp", "response", "why"], _aside_rows(findings))


def _aside_rows(findings: Findings) -> Sequence[Sequence[str]]:
    return [[entry.stamp, entry.response, entry.why] for entry in findings.set_aside]
