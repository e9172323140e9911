"""The numbers of counts and of several studies: what they say, what undoes and would settle it.

Averages, and any kind at all, are weighed by `weldtrial.analysis.review_averages`.  Nothing here
knows how the coupons were welded: that is graded apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from weldtrial.analysis.counted_evidence import counted
from weldtrial.analysis.evidence import Claim, Evidence, HonestTest, Said, UndoRow
from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.honest_test import count_margin_test, count_test
from weldtrial.analysis.judge import Bounds
from weldtrial.analysis.picked import picked
from weldtrial.analysis.pooled_studies import pool
from weldtrial.analysis.precision import ALPHA
from weldtrial.analysis.proportion_intervals import Interval
from weldtrial.analysis.review_sum_words import POINTS, claim_said, pooled_said
from weldtrial.analysis.review_words import counts_said, picked_said
from weldtrial.analysis.undo_claim import undo_counts
from weldtrial.analysis.weigh_claim import Quantity, Weighed, numbers_code, weigh
from weldtrial.shared.responses import Ask, Margin
from weldtrial.shared.rounding import plain, spaced


@dataclass(frozen=True, slots=True)
class Weighing:
    """All that the numbers of a review bear.

    Attributes
    ----------
    code
        Verdict code at face value by the rules of `judge`; None where there is no interval.
    says
        What the numbers say, in the order of the page.
    claim
        The claim held against them; None without one.
    undo
        What it takes to undo it.
    checks
        Figures that cannot be, or that come out again.
    test
        The cheapest honest test; None where nothing says what it should show.
    """

    code: VerdictCode | None
    says: tuple[Said, ...]
    claim: Weighed | None = None
    undo: tuple[UndoRow, ...] = ()
    checks: tuple[Said, ...] = ()
    test: HonestTest | None = None


def ask_of(claim: Claim | None, margin: Margin | None) -> Ask:
    """Return what a trial would ask that settles a claim."""
    if claim is not None and claim.kind == "at-most" and claim.direction == "worse":
        return "no-worse"
    if claim is not None and claim.kind in ("at-least", "at-most"):
        return "difference"
    return "equal-enough" if margin is not None else "difference"


def margin_text(margin: Margin | None, unit: str, *, points: bool = False) -> str:
    """Return a margin as it was given: ``5 %``, ``5 kN``, ``5 points``; empty without one."""
    if margin is None:
        return ""
    if margin.percent:
        return f"{plain(100 * margin.value)} {'points' if points else '%'}"
    return f"{plain(margin.value)}{spaced(unit)}"


# ------------------------------------------------------------------------------ counts


def weigh_counts(
    evidence: Evidence,
    claim: Claim | None = None,
    margin: Margin | None = None,
    *,
    thing: str = "",
    remembered: bool | None = None,
) -> Weighing:
    """Return what counts bear.

    Parameters
    ----------
    claim
        A share of percent is read as points ("at least 5 % worse": five in a hundred more).
    margin
        In points where in percent.
    thing
        What the sides are (``spool``), for the test.
    remembered
        Whether the old side is known to be from memory.
    """
    found = counted(evidence)
    says = list(counts_said(evidence, found))
    if (several := picked_said(picked(found.fisher, evidence.looked_at))) is not None:
        says.append(several)
    gap, ratio = _quantity(found.difference95, found.difference90), None
    if found.ratio95 is not None and found.ratio90 is not None:
        ratio = _quantity(found.ratio95, found.ratio90)
    near = None if margin is None else Margin(margin.value, False)
    code = numbers_code(gap, None, near, evidence.better, ask_of(claim, margin), None)
    if found.fisher > ALPHA and code.startswith(("worse", "better", "difference")):
        # The unconditional interval is a little bolder: what mere dealing gives more often than
        # five times in a hundred is not shown (3 of 3 against 0 of 3 is p = 0.10).
        code = "not_settled"
    weighed = None
    if claim is not None:
        weighed = weigh(_in_points(claim), evidence.better, gap, ratio, near, None)
        says.append(claim_said(weighed, POINTS, margin_text(margin, "", points=True)))
    new, old = evidence.new, evidence.old
    worse, other = (new, old) if (new.share or 0) >= (old.share or 0) else (old, new)
    test: HonestTest | None = count_test(worse.name, other.name, evidence.what, thing)
    if margin is not None and found.fisher > ALPHA and margin.value < 1:
        # Nothing striking is claimed: what is open is whether they are near enough.
        share = old.share or 0.0
        well = share if evidence.better == "higher" else 1 - share
        test = count_margin_test(margin.value, well, ask_of(claim, margin), thing)
    undo = undo_counts(evidence, remembered=remembered)
    return Weighing(code, tuple(says), weighed, undo, (), test)


def _in_points(claim: Claim) -> Claim:
    return replace(claim, percent=False) if claim.kind != "ratio" else claim


def _quantity(wide: Interval, narrow: Interval) -> Quantity:
    return Quantity(wide.estimate, Bounds(wide.low, wide.high, narrow.low, narrow.high))


# ------------------------------------------------------------------------------ studies


def weigh_studies(
    evidence: Evidence, claim: Claim | None = None, margin: Margin | None = None
) -> Weighing:
    """Return what several studies of one difference bear together.

    A claim about a ratio, and a margin in percent, need the level of the old side, which studies
    of a difference do not tell: they are left open.
    """
    found = pool(evidence.studies)
    says = list(pooled_said(found, len(evidence.studies), evidence.unit))
    gap = Quantity(found.estimate, found.bounds)
    near = margin if margin is not None and not margin.percent else None
    code = numbers_code(gap, None, near, evidence.better, ask_of(claim, near), None)
    weighed = None
    if claim is not None:
        weighed = weigh(claim, evidence.better, gap, None, near, None)
        says.append(claim_said(weighed, evidence.unit, margin_text(near, evidence.unit)))
    if (several := picked_said(picked(found.p, evidence.looked_at))) is not None:
        says.append(several)
    return Weighing(code, tuple(says), weighed)
