"""What it takes to undo a striking count: changed facts, one at a time, and the p they leave.

A failure that somebody forgot, fewer earlier coupons than remembered, coupons of one set-up counted
as several.  The facts are those that a person can check against memory or a notebook.

References
----------
Counting changed outcomes until a result turns: Feinstein (1990), *J. Clin. Epidemiol.* 43:201-209,
and Walsh et al. (2014), *J. Clin. Epidemiol.* 67:622-628.  Set-ups as what is dealt: Fisher (1935),
*The Design of Experiments*, chapter 2 (citations from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from math import gcd

from weldtrial.analysis.counted_evidence import fisher_p, smallest_p
from weldtrial.analysis.evidence import Evidence, Side, UndoRow

STANDS_OUT = 0.05 + 1e-9
ROWS = 3
"""Forgotten events that are always tabled."""
MOST = 20
"""Forgotten events beyond which none is looked for."""
STEPS = 200
"""Numbers of earlier coupons that are tried one by one; before that they are halved."""
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def undo_counts(evidence: Evidence, *, remembered: bool | None = None) -> tuple[UndoRow, ...]:
    """Return the undo table of a count, empty where it does not stand out to begin with.

    Set-ups are those of the sides where they are told; else rows of the size of the largest batch
    that both sides could have been welded in (4 and 12: one and three set-ups of 4).

    Parameters
    ----------
    remembered
        Whether the old side is known to be from memory: then its rows are marked as told.
    """
    new, old = evidence.new, evidence.old
    if new.passed is None or old.passed is None or _p(new, old) > STANDS_OUT:
        return ()
    rows = [*_forgotten(evidence), *_misjudged(evidence), *_fewer(evidence)]
    if remembered:
        rows = [_marked(one) if one.code == "forgotten" and one.undone else one for one in rows]
    return (*rows, clusters_row(new, old))


def clusters_row(new: Side, old: Side) -> UndoRow:
    """Return the row that counts set-ups instead of coupons."""
    told = new.setups is not None or old.setups is not None
    size = gcd(new.n, old.n)
    many_new = new.setups or (new.n // size if size > 1 else 1)
    many_old = old.setups or (old.n // size if size > 1 else 1)
    p = setups_p(many_new, many_old)
    the = new.n != old.n
    parts = [_as_setups(old, many_old, the=the, first=True), _as_setups(new, many_new)]
    return UndoRow(
        f"{parts[0]}, {parts[1]}", p, p > STANDS_OUT, told, "clusters",
        {"setups_new": many_new, "setups_old": many_old},
    )  # fmt: skip


def setups_p(new: int, old: int) -> float:
    """Return the smallest p that set-ups can reach: one or two of all ways to deal them.

    The most lopsided outcome, every set-up of one side above every one of the other; two ways
    where the sides hold equally many.  1.0 with one set-up each.
    """
    return smallest_p(new, old)


# ------------------------------------------------------------------------------ facts


def _forgotten(evidence: Evidence) -> Iterator[UndoRow]:
    """Give the comparison with 1, 2, 3 events forgotten on the side that has fewer."""
    low, is_old = _lower(evidence)
    verb = "forgotten" if is_old else "overlooked"
    of = f" of {low.name}" if evidence.new.n == evidence.old.n else ""
    found = False
    for many in range(1, MOST + 1):
        if low.n < many + (low.passed or 0) or (many > ROWS and found):
            return
        p = _p_with(evidence, is_old, many)
        found = found or p > STANDS_OUT
        if many > ROWS and not found:
            continue
        yield UndoRow(
            f"{_number(many)} {verb} {_event(evidence)} among the {low.n}{of}"
            if many == 1
            else _number(many),
            p, p > STANDS_OUT, False, "forgotten", {"forgotten": many},
        )  # fmt: skip


def _misjudged(evidence: Evidence) -> Iterator[UndoRow]:
    low, is_old = _lower(evidence)
    high = evidence.new if is_old else evidence.old
    if not high.passed or high.passed < 2:
        return
    other = Side(high.name, high.n, passed=high.passed - 1)
    p = _p(other, low)
    what = f"one of {high.name}'s {high.passed} misjudged"
    yield UndoRow(what, p, p > STANDS_OUT, False, "misjudged", {"events": high.passed - 1})


def _fewer(evidence: Evidence) -> Iterator[UndoRow]:
    """Give the largest number of earlier coupons at which the count no longer stands out."""
    new, old = evidence.new, evidence.old
    low, high = max(1, old.passed or 0), old.n - 1
    while high - low > STEPS:
        middle = (low + high) // 2
        p = _p(new, Side(old.name, middle, passed=old.passed))
        # A little room is left: p does not fall quite evenly as coupons are added.
        low, high = (middle, high) if p > STANDS_OUT else (low, middle + STEPS // 4)
    for n in range(high, low - 1, -1):
        p = _p(new, Side(old.name, n, passed=old.passed))
        if p > STANDS_OUT:
            what = f"really only {n} earlier coupon{'' if n == 1 else 's'}"
            yield UndoRow(what, p, True, False, "fewer-earlier", {"earlier": n})
            return


def _lower(evidence: Evidence) -> tuple[Side, bool]:
    new, old = evidence.new, evidence.old
    is_old = (old.share or 0.0) <= (new.share or 0.0)
    return (old, True) if is_old else (new, False)


def _p(new: Side, old: Side) -> float:
    return fisher_p(new.passed or 0, new.n, old.passed or 0, old.n)


def _p_with(evidence: Evidence, is_old: bool, many: int) -> float:
    low = evidence.old if is_old else evidence.new
    other = Side(low.name, low.n, passed=(low.passed or 0) + many)
    pair = (evidence.new, other) if is_old else (other, evidence.old)
    return _p(*pair)


def _marked(row: UndoRow) -> UndoRow:
    return UndoRow(row.what, row.p, row.undone, True, row.code, row.values)


def _as_setups(side: Side, many: int, *, the: bool = False, first: bool = False) -> str:
    name = f"the {side.n}" if the else side.name
    if many == 1:
        return f"{name} {'are' if the else 'is'} 1{' set-up' if first else ''}"
    each = f" of {side.n // many}" if side.n % many == 0 else ""
    return f"{name} {'are' if the else 'is'} {many} set-ups{each}"


def _event(evidence: Evidence) -> str:
    return f"{evidence.what} coupon" if evidence.what else "failure"


def _number(many: int) -> str:
    return NUMBERS[many] if many < len(NUMBERS) else str(many)
