"""What counts say, in words: the sentences of a review, filled with numbers, never written freely.

Everything here is said at face value: how far the comparison can be trusted is another answer.
"""

from __future__ import annotations

from math import floor, inf, isinf, log10

from weldtrial.analysis.counted_evidence import Counted
from weldtrial.analysis.evidence import Evidence, Said
from weldtrial.analysis.picked import Picked
from weldtrial.analysis.proportions import passes_in_a_row
from weldtrial.shared.rounding import fixed

ZERO_READING = (
    "{name} 0 of {n} is not none: with nothing seen in {n} the true rate may still be up to "
    "{high}. It takes {ninety} in a row without one to show 90 % free of it, {more} to show 95 %."
)


def counts_said(evidence: Evidence, found: Counted) -> tuple[Said, ...]:
    """Return what the counts say, in the order of the page."""
    says: list[Said | None] = [_sides(evidence, found), _split(evidence, found), _reach(found)]
    says += [_difference(evidence, found), _ratio(evidence, found), _zero(evidence, found)]
    says.append(_expect_less(found.fisher))
    return tuple(one for one in says if one is not None)


def _sides(evidence: Evidence, found: Counted) -> Said:
    new, old = evidence.new, evidence.old
    what = f" {evidence.what}" if evidence.what else ""
    words = (
        f"{new.name} {found.new[0]} of {found.new[1]}{what}: true rate could be "
        f"{share(found.new_low)} to {share(found.new_high)}; "
        f"{old.name} {found.old[0]} of {found.old[1]}: could be "
        f"{share(found.old_low)} to {share(found.old_high)}."
    )
    return Said("sides", words, {
        "new_low": found.new_low, "new_high": found.new_high,
        "old_low": found.old_low, "old_high": found.old_high,
    })  # fmt: skip


def _split(evidence: Evidence, found: Counted) -> Said:
    words = (
        f"If nothing set {evidence.new.name} and {evidence.old.name} apart, a split this "
        f"one-sided comes up {once_in(found.fisher)} (Fisher exact {p_is(found.fisher)}"
    )
    values = {"p": found.fisher}
    if found.boschloo is not None:
        words += f"; by Boschloo's unconditional test {p_is(found.boschloo)}"
        values["boschloo"] = found.boschloo
    words += ")."
    return Said("chance-split", words, values)


def _reach(found: Counted) -> Said | None:
    if found.smallest_p <= 0.05:
        return None
    words = (
        f"So few coupons could never stand out: the most one-sided split of {found.new[1]} and "
        f"{found.old[1]} has {p_is(found.smallest_p)}."
    )
    return Said("smallest-p", words, {"p": found.smallest_p})


def _difference(evidence: Evidence, found: Counted) -> Said:
    gap = found.difference95
    words = (
        f"{evidence.new.name} less {evidence.old.name}: {points(gap.estimate)} points, could be "
        f"{points(gap.low)} to {points(gap.high)} ({_interval(found)})."
    )
    return Said("difference", words, {
        "difference": gap.estimate, "low": gap.low, "high": gap.high,
    })  # fmt: skip


def _ratio(evidence: Evidence, found: Counted) -> Said | None:
    gap = found.ratio95
    if gap is None or (gap.low == 0 and isinf(gap.high)):
        return None
    new, old = evidence.new.name, evidence.old.name
    if isinf(gap.high):
        words = f"In {new} it happens at least {figures(gap.low)} times as often as in {old}; "
        words += f"how much more nobody can say, with none seen in {old}."
    elif gap.low == 0:
        words = f"In {new} it happens at most {figures(gap.high)} times as often as in {old}; "
        words += f"how much less nobody can say, with none seen in {new}."
    else:
        words = f"In {new} it happens {figures(gap.estimate)} times as often as in {old}, could be "
        words += f"{figures(gap.low)} to {figures(gap.high)} times ({_interval(found)})."
    values = {"ratio": gap.estimate, "low": gap.low, "high": gap.high}
    return Said("ratio", words, {k: v for k, v in values.items() if abs(v) < inf})


def _interval(found: Counted) -> str:
    return "exact 95 % interval" if found.exact else "95 % interval"


def _zero(evidence: Evidence, found: Counted) -> Said | None:
    sides = ((evidence.new, found.new_high), (evidence.old, found.old_high))
    for side, high in sides:
        if side.passed == 0:
            words = ZERO_READING.format(
                name=side.name,
                n=side.n,
                high=share(high),
                ninety=passes_in_a_row(0.9),
                more=passes_in_a_row(0.95),
            )
            return Said("zero-reading", words, {"n": side.n, "high": high})
    return None


def _expect_less(p: float) -> Said | None:
    if not 0.005 < p <= 0.05:
        return None
    words = "First results that only just stand out are usually too big; expect less next time."
    return Said("expect-less", words, {"p": p})


def picked_said(found: Picked, undone_above: float = 0.05) -> Said | None:
    """Say what a p is worth that was picked from several; None for a single result."""
    if found.looked_at < 2:
        return None
    times = once_in(found.p_smallest)
    words = (
        f"One of {found.looked_at} looked at: the smallest p of {found.looked_at} is this small "
        f"{times} when nothing differs anywhere ({p_is(found.p_smallest)}; at most "
        f"{p_words(found.p_bound)} however they hang together). The smallest of "
        f"{found.looked_at} is usually about {p_words(found.usual_smallest)}."
    )
    if found.p <= undone_above < found.p_smallest:
        words += " So counted, it no longer stands out."
    return Said("picked", words, {
        "looked_at": found.looked_at, "p": found.p, "p_smallest": found.p_smallest,
        "p_bound": found.p_bound, "usual_smallest": found.usual_smallest,
    })  # fmt: skip


# ------------------------------------------------------------------------------ figures


def p_is(p: float) -> str:
    """Return ``p = 0.03`` or ``p < 0.001``."""
    return f"p {'' if p < 0.001 else '= '}{p_words(p)}"


def p_words(p: float) -> str:
    """Return a p as it is read: two decimals, three when small or close to 0.05, ``< 0.001``."""
    if p < 0.001:
        return "< 0.001"
    return f"{p:.3f}" if p < 0.0095 or 0.045 < p < 0.0495 or 0.0505 < p < 0.055 else f"{p:.2f}"


def once_in(p: float) -> str:
    """Return a chance as people count: ``1 time in 140``, ``50 times in 100``."""
    if p >= 0.095:
        return f"{100 * p:.0f} times in 100"
    times = 1 / p if p > 0 else inf
    if times > 1e6:
        return "less than 1 time in a million"
    scale = 10 ** max(0, floor(log10(times)) - 1)
    return f"1 time in {round(times / scale) * scale:,}".replace(",", " ")


def share(value: float) -> str:
    """Return a share in percent; one beside 0 or 1 keeps a decimal, so that it is not one."""
    text = f"{100 * value:.0f}"
    if (text == "100" and value < 1) or (text == "0" and value > 0):
        text = f"{100 * value:.1f}"
        text = {"100.0": "over 99.9", "0.0": "under 0.1"}.get(text, text)
    return f"{text} %"


def points(value: float) -> str:
    """Return a difference of shares in points, with its sign."""
    return fixed(100 * value, 0, signed=True)


def about(value: float) -> str:
    """Return a number as loosely as "about" is meant: 9.8 is 10, 3.4 is 3.4."""
    leading = float(f"{value:.1e}".split("e")[0])
    return figures(value, 1 if leading >= 5 else 2)


def figures(value: float, many: int = 2) -> str:
    """Return a number with so many significant figures."""
    if value == 0 or isinf(value):
        return fixed(value, 0)
    return fixed(value, max(0, many - 1 - floor(log10(abs(float(f"{value:.{many - 1}e}"))))))
