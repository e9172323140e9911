"""What would undo a counted answer, in sentences; the first stands alone on page 1."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.undo_records import Forgotten, LostBoth, LostCounted, Undo
from weldtrial.analysis.verdict_words import BRIEFLY

MOST_NAMED = 6
PLACED = (
    "Forgotten failures are put into the set-ups where they change the answer soonest: spread "
    "otherwise, more may be needed."
)
PLACED_GRADES = (
    "Grades read too well are put where they change the answer soonest: spread otherwise, more may "
    "be needed."
)

Said = Callable[[str], str]
"""From a level to how it is said."""


def undo_words(said: Said, graded: bool, found: Undo, by: str, *, setups: bool) -> tuple[str, ...]:
    """Return the sentences: the answer in short, what was forgotten, what was lost.

    Parameters
    ----------
    said
        How a level of the compared factor is said.
    graded
        True of grades, False of coupons that pass or fail.
    by
        ``round`` or ``set-up``: what was left out besides coupons, empty for nothing.
    setups
        Whether the comparison counts set-ups.
    """
    words = [_short(said, graded, found, by)]
    for level in dict.fromkeys(one.level for one in found.forgotten):
        words += _forgotten(said(level), [f for f in found.forgotten if f.level == level])
    if any(one.fewest is not None for one in found.forgotten):
        words += [PLACED_GRADES] if graded else [PLACED] if setups else []
    words += [_lost(said(one.level), graded, one) for one in found.lost_counted]
    words += _both(said, graded, found.lost_counted, found.lost_both)
    return tuple(words)


def brief_words(said: Said, graded: bool, found: Undo, by: str) -> str:
    """Return the first sentence of `undo_words` as one line: several carriers only counted."""
    if len(found.carries) < 2:
        return _short(said, graded, found, by)
    what = f"coupons or {by}s" if by else "coupons"
    few = _few(said, graded, found)
    also = f"; {few} would change it" if few else ""
    return f"Each of {len(found.carries)} kinds of {what} carries it (section 8){also}."


def _few(said: Said, graded: bool, found: Undo) -> str:
    """Return the fewest forgotten failures that change the answer, empty where none do."""
    changing = [one for one in found.forgotten if one.fewest is not None]
    if not changing:
        return ""
    least = min(one.fewest or 0 for one in changing)
    who = [said(level) for level in dict.fromkeys(f.level for f in changing if f.fewest == least)]
    return _failures(least, f" of {' or '.join(who)}", graded)


def _short(said: Said, graded: bool, found: Undo, by: str) -> str:
    """Return what carries the answer and how few forgotten failures change it."""
    named = [one.what for one in found.carries[:MOST_NAMED]]
    if len(found.carries) > MOST_NAMED:
        named.append(f"{len(found.carries) - MOST_NAMED} more")
    if named:
        without = "it" if len(named) == 1 else "any one of them"
        start = f"Carried by {_listed(named)}. Without {without} the answer would be another"
    else:
        start = f"No single coupon{f' and no single {by}' if by else ''} carries the answer"
    few = _few(said, graded, found)
    if not few:
        tried = min((one.tried for one in found.forgotten if one.tried), default=0)
        if not tried:
            return f"{start}."
        return f"{start}; up to {_failures(tried, '', graded)} would not change it."
    return f"{start}; {few} would change it{' as well' if named else ''}."


def _failures(many: int, of: str, graded: bool) -> str:
    if graded:
        return f"{many} coupon{'s' if many > 1 else ''}{of} graded one step too well"
    return f"{many} forgotten failure{'s' if many > 1 else ''}{of}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _forgotten(level: str, found: Sequence[Forgotten]) -> Iterator[str]:
    parts = [part for one in found if (part := _part(one))]
    if parts:
        yield f"Of {level}: {'; '.join(parts)}."


def _part(one: Forgotten) -> str:
    if not one.tried:
        return ""
    many = one.tried if one.fewest is None else one.fewest
    who = {
        "passed": "pass that really failed" if many == 1 else "passes that really failed",
        "left out": "failure left out" if many == 1 else "failures left out",
        "one grade worse": "coupon really a grade worse" if many == 1 else
        "coupons really a grade worse",
    }[one.how]  # fmt: skip
    if one.fewest is None or one.code is None:
        upto = "not even " if many == 1 else "up to "
        return f"{upto}{many} {who} would {'' if many == 1 else 'not '}change it"
    where = ""
    if one.setups:
        where = f" (set-up{'s' if len(one.setups) > 1 else ''} {', '.join(map(str, one.setups))})"
    return f"{many} {who}{where} would turn it into {_reads(one.code)}"


def _lost(level: str, graded: bool, one: LostCounted) -> str:
    many = len(one.stamps)
    who = f"The {f'{many} lost coupons' if many > 1 else 'lost coupon'} of {level}"
    who += f" ({', '.join(one.stamps)})"
    they = "they" if many > 1 else "it"
    if one.fewest_worst is None and one.fewest_best is None:
        return f"{who} could not have changed the answer, however {they} had come out."
    if one.fewest_worst == 0:
        return (
            f"{who} would have changed the answer however {they} had come out: to "
            f"{_reads(one.worst)} at worst, {_reads(one.best)} at best."
        )
    bad, good = ("at the worst grade", "at the best") if graded else ("failed", "passed")
    ways = [
        f"had {_of(fewest, many)} {came}, to {_reads(code)}"
        for fewest, came, code in ((one.fewest_worst, bad, one.worst),
                                   (one.fewest_best, good, one.best))
        if fewest is not None
    ]  # fmt: skip
    return f"{who} would have changed the answer {', or '.join(ways)}."


def _of(fewest: int, many: int) -> str:
    if many == 1:
        return "it"
    return f"all {many}" if fewest == many else f"{fewest} or more of them"


def _both(
    said: Said, graded: bool, lost: Sequence[LostCounted], both: Sequence[LostBoth]
) -> Iterator[str]:
    """Give what the lost coupons of both levels could have done together, not alone."""
    if any(one.fewest_worst is not None or one.fewest_best is not None for one in lost):
        return
    bad, good = ("worst graded", "best graded") if graded else ("failed", "passed")
    for one in both:
        if one.changed:
            yield (
                f"Had all those of {said(one.worst)} {bad} and all of {said(one.best)} {good}, it "
                f"would read {_reads(one.code)}."
            )


def _reads(code: VerdictCode) -> str:
    return f"\N{LEFT DOUBLE QUOTATION MARK}{BRIEFLY[code]}\N{RIGHT DOUBLE QUOTATION MARK}"
