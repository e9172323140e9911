"""Methods of counted responses, for a statistician: how each comparison was made, and its p."""

from __future__ import annotations

from weldtrial.analysis.findings import ResponseFindings
from weldtrial.cli.counted_tables import forgotten_table
from weldtrial.cli.report_blocks import Block, Text, bullets, table
from weldtrial.shared.rounding import p_value
from weldtrial.shared.trial import Trial

PASSES = (
    "A coupon passes only if all its pieces pass. Shares in points of per cent. Where coupons were "
    "dealt one by one: exact unconditional interval of the difference and of the ratio, p of the "
    "same test; where set-ups were: t on the shares of set-ups, paired within rounds, or, where "
    "wider, Agresti and Caffo's interval (2000) with a passed and a failed set-up added to each "
    "level, so that it is not narrower than coupons dealt one by one would give. Several "
    "comparisons of one factor share the error by Bonferroni."
)
GRADES = (
    "The worst grade of a coupon counts. The chance that a coupon of one level grades better than "
    "one of the other, ties half, in points from 50 in 100: from the proportional-odds model where "
    "its assumption held and coupons were dealt one by one, else from ranks, set-ups as units "
    "where there are any. Several comparisons of one factor share the error by Bonferroni."
)


def counted_methods(one: ResponseFindings) -> list[Block]:
    """Return how a counted response was compared, and the p of dealing again."""
    blocks: list[Block] = [Text(PASSES if one.kind == "pass-fail" else GRADES)]
    rows = [
        (
            f"{c.level} \N{MINUS SIGN} {c.reference}",
            c.counted.method or f"none: {c.counted.why}",
            "" if c.counted.p_exact is None else p_value(c.counted.p_exact),
        )
        for c in one.comparisons
        if c.counted is not None
    ]
    if rows:
        blocks.append(table(("comparison", "how", "p of dealing again"), rows))
    return blocks


def places_method(one: ResponseFindings) -> list[Block]:
    """Return how the places where it broke were tested."""
    places = one.places
    if places is None or places.p is None:
        return []
    how = (
        "Fisher-Freeman-Halton exact test (Freeman & Halton 1951, Biometrika 38:141-149)"
        if places.method == "exact"
        else "Pearson's statistic, levels dealt to whole set-ups again"
    )
    drawn = f", {places.drawn} drawn" if places.drawn else ""
    return [Text(f"{how}{drawn}: p = {p_value(places.p)}.", "Where it broke: ")]


def undone_blocks(trial: Trial, one: ResponseFindings) -> list[Block]:
    """Return what would undo a counted answer: sentences, and the table of forgotten failures."""
    if one.undo is None or one.kind == "number":
        return []
    blocks: list[Block] = [bullets(one.undo.words)]
    found = forgotten_table(trial, one)
    if found is not None:
        caption, headers, rows = found
        blocks.append(table(headers, rows, f"What would undo it. {caption}"))
    return blocks
