"""Passes, grades, odds and places as rows of a table, for the screen and for the report."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from weldtrial.analysis.verdict_words import BRIEFLY
from weldtrial.shared.rounding import brief, fixed, p_value

if TYPE_CHECKING:
    from weldtrial.analysis.findings import ResponseFindings
    from weldtrial.shared.trial import Trial

SETUPS_ONCE = (
    "Intervals of a share count each set-up once: coupons of one set-up may pass or fail together."
)

FORGOTTEN = (
    "p by Fisher's exact test, to weigh them against each other; the verdict goes by the interval."
)
FORGOTTEN_SETUPS = "p by set-up, the failures in the set-ups where they change the answer soonest."

Table = tuple[str, tuple[str, ...], tuple[tuple[str, ...], ...]]
"""A caption (may be empty), headers and rows."""


def counted_tables(trial: Trial, found: ResponseFindings) -> Iterator[Table]:
    """Give the tables of what was counted, none of a number whose breaks nobody wrote down."""
    counts = found.counts
    if counts.passes:
        by_setup = any(row.setups is not None for row in counts.passes)
        headers = ("factor", "level", "passed", *(["set-ups"] if by_setup else []),
                   "share", "95 % interval")  # fmt: skip
        rows = tuple(
            (
                row.factor.replace("_", " "),
                trial.factor(row.factor).said(row.level),
                f"{row.passed} of {row.of}",
                *([str(row.setups or "")] if by_setup else []),
                f"{fixed(100 * row.share, 0)} %",
                f"{fixed(100 * row.ci_low, 0)} to {fixed(100 * row.ci_high, 0)} %",
            )
            for row in counts.passes
        )
        yield (SETUPS_ONCE if by_setup else "", headers, rows)
    if counts.grades:
        shown = tuple(
            (row.factor.replace("_", " "), trial.factor(row.factor).said(row.level),
             *(str(one) for one in row.counts))
            for row in counts.grades
        )  # fmt: skip
        yield (
            "Coupons by grade, the worst grade first.",
            ("factor", "level", *counts.scale),
            shown,
        )
    if counts.odds:
        better = "passing" if found.kind == "pass-fail" else "a better grade"
        yield (
            f"Odds of {better}, each factor given the others (main effects only).",
            ("factor", "odds of", "against", "ratio", "95 % interval"),
            tuple(
                (row.factor.replace("_", " "), trial.factor(row.factor).said(row.one),
                 trial.factor(row.factor).said(row.other), brief(row.odds_ratio, 2),
                 f"{brief(row.ci_low, 2)} to {brief(row.ci_high, 2)}")
                for row in counts.odds
            ),
        )  # fmt: skip


def forgotten_table(trial: Trial, found: ResponseFindings) -> Table | None:
    """Return what passes that really failed would have made of the answer, None without any."""
    if found.undo is None or not found.undo.rows or not found.comparisons:
        return None
    factor = trial.factor(found.comparisons[0].factor)
    rows = tuple(
        (
            f"{row.coupons} of {factor.said(row.level)}" if row.coupons else "none, as recorded",
            f"{row.passed} of {row.of} against {row.passed_reference} of {row.of_reference}",
            "" if row.p is None else p_value(row.p),
            BRIEFLY[row.code],
        )
        for row in found.undo.rows
    )
    by_setup = any(row.setups is not None for row in found.counts.passes)
    headers = ("passes that really failed", "passed", "p", "would read")
    return (FORGOTTEN_SETUPS if by_setup else FORGOTTEN, headers, rows)


def places_table(trial: Trial, found: ResponseFindings) -> Table | None:
    """Return where it broke by level, None where nobody wrote it down."""
    places = found.places
    if places is None:
        return None
    factor = trial.factor(places.factor) if places.factor else None
    rows = tuple(
        (factor.said(level) if factor else "all", *(str(one) for one in row))
        for level, row in zip(places.levels, places.counts, strict=True)
    )
    return ("", (factor.title if factor else "", *places.places), rows)
