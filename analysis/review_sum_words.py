"""What reported averages and pooled studies say, in words; a claim held against them."""

from __future__ import annotations

from math import ceil, floor, isfinite, isinf, isnan, log10

from weldtrial.analysis.clustered import Clustered
from weldtrial.analysis.evidence import Evidence, Said
from weldtrial.analysis.exaggeration import Exaggeration
from weldtrial.analysis.honest_test import Needed
from weldtrial.analysis.impossible import MeanCheck, SpreadCheck
from weldtrial.analysis.pooled_studies import Pooled
from weldtrial.analysis.printed_p import PrintedP
from weldtrial.analysis.reported import Gap, Lone, Standardised
from weldtrial.analysis.review_words import about, figures, p_is, p_words
from weldtrial.analysis.weigh_claim import Quantity, Weighed
from weldtrial.shared.rounding import decimals_for, fixed, plain, spaced

POINTS = "points"
"""Unit of a difference of shares, which is kept as a fraction and shown times a hundred."""
LOWEST_STEP = 0.05
"""Round ratios that a wide interval is compared with."""


def ratio_said(new: str, old: str, ratio: Quantity, gap: Gap, unit: str) -> Said:
    """Say new over old with its interval, and what the p of any difference means here."""
    low, high = ratio.bounds.low95, ratio.bounds.high95
    places = max(2, min(3, decimals_for((high - low) / 2) + 1))
    words = (
        f"{new}/{old} = {fixed(ratio.estimate, places)}, could be {fixed(low, places)} to "
        f"{fixed(high, places)} (95 %). {_p_sentence(gap, unit)}"
    )
    values = {"ratio": ratio.estimate, "low": low, "high": high, "p": gap.p}
    return Said("ratio", words, {**values, "detectable": gap.detectable})


def difference_said(new: str, old: str, gap: Gap, unit: str, *, with_p: bool) -> Said:
    """Say new minus old with its interval."""
    low, high = gap.ends()
    places = decimals_for((high - low) / 2)
    words = (
        f"{new} \N{MINUS SIGN} {old} = {fixed(gap.estimate, places, signed=True)}{spaced(unit)}, "
        f"could be {fixed(low, places, signed=True)} to {fixed(high, places, signed=True)}"
        f"{spaced(unit)} (95 %, Welch)."
    )
    if with_p:
        words += f" {_p_sentence(gap, unit)}"
    values = {"difference": gap.estimate, "low": low, "high": high, "df": gap.df, "p": gap.p}
    return Said("difference", words, {**values, "detectable": gap.detectable})


def _p_sentence(gap: Gap, unit: str) -> str:
    sees = f"{about(gap.detectable)}{spaced(unit)}"
    equals = "" if gap.p < 0.001 else "= "
    lead = "p for \N{LEFT SINGLE QUOTATION MARK}any difference\N{RIGHT SINGLE QUOTATION MARK} "
    lead += f"{equals}{p_words(gap.p)}"
    if gap.p > 0.05:
        return (
            f"{lead} \N{EN DASH} which here only means the test could not see anything smaller "
            f"than about {sees}."
        )
    return f"{lead}; a comparison this precise misses gaps smaller than about {sees}."


def claim_said(weighed: Weighed, unit: str, margin: str) -> Said:
    """Say what the numbers make of a claim.

    Parameters
    ----------
    margin
        The margin as it was given, ``5 %``; empty without one.
    """
    values = {"claim_low": weighed.low, "claim_high": weighed.high}
    found, quoted = weighed.found, f"\N{LEFT DOUBLE QUOTATION MARK}{weighed.claim.text}"
    quoted += "\N{RIGHT DOUBLE QUOTATION MARK}"
    if found is None:
        words = f"{quoted} is about a ratio, and from these figures no ratio can be formed."
        return Said("claim-not-settled", words, _finite(values))
    low, high = found.bounds.low95, found.bounds.high95
    values |= {"found": found.estimate, "low": low, "high": high}
    one_way = weighed.claim.kind in ("at-least", "at-most")
    lead = {
        "supported": f"Supported, at face value: {quoted}.",
        "contradicted": f"Contradicts, at face value: {quoted}.",
        "not-settled": f"Not settled: {quoted}.",
    }[weighed.verdict]
    words = f"{lead} {_range_words(weighed, found, unit)}"
    if weighed.verdict == "not-settled" and not one_way:
        words += f" {_also(weighed, found, unit)}"
    if weighed.verdict == "supported" and not one_way and margin:
        words += f" Within {margin} of it."
    elif margin and weighed.verdict == "not-settled" and not one_way:
        words += f" Not shown equal within {margin}." if _alike(weighed) else ""
    if weighed.needs == "margin":
        words += " Without a margin nothing can be shown equal: say one with --margin."
    return Said(f"claim-{weighed.verdict}", words, _finite(values))


def _range_words(weighed: Weighed, found: Quantity, unit: str) -> str:
    low, high = found.bounds.low95, found.bounds.high95
    if weighed.scale == "ratio":
        if isinf(high):
            return f"Found: at least {figures(low)} times."
        if high > 2 or low <= 0:
            return f"Found {figures(found.estimate)} times, {figures(low)} to {figures(high)}."
        ends = [_percent(one - 1) for one in (low, high)]
        is_middle = low < weighed.low < high and weighed.low == weighed.high
        lead = "The figure lies in" if is_middle else "Found:"
        if is_middle and abs(found.estimate - weighed.low) < 0.02 * (high - low):
            lead = "The figure is the middle of"
        return f"{lead} a range from {ends[0]} to {ends[1]}."
    scale = 100 if unit == POINTS else 1
    places = decimals_for(scale * (high - low) / 2)
    ends = [fixed(scale * one, places, signed=True) for one in (low, high)]
    return f"Found a difference from {ends[0]} to {ends[1]}{spaced(unit)}."


def _alike(weighed: Weighed) -> bool:
    """Whether "equal within the margin" is part of what a claim of one value leaves open."""
    return weighed.margin is not None


def _also(weighed: Weighed, found: Quantity, unit: str) -> str:
    low, high = found.bounds.low95, found.bounds.high95
    if not isfinite(high - low):
        return ""
    on_ratio = weighed.scale == "ratio"
    scale = 100 if unit == POINTS and not on_ratio else 1
    step = LOWEST_STEP if on_ratio and high < 2 else _round_step(scale * (high - low))
    ends = [ceil(scale * low / step - 1e-9) * step, floor(scale * high / step + 1e-9) * step]
    places = max(0, -floor(log10(step)))
    claimed = scale * weighed.low
    said = [
        fixed(one, places, signed=not on_ratio and one != 0)
        for one in dict.fromkeys(ends)
        if scale * low <= one <= scale * high and abs(one - claimed) > step / 100
    ]
    if not said:
        return ""
    tail = "" if on_ratio else spaced(unit)
    return f"Compatible with it; also compatible with {' and '.join(said)}{tail}."


def _round_step(width: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20 ... that a width holds two and a half times."""
    most = width / 2.5
    power = 10.0 ** floor(log10(most))
    return power * max(one for one in (1, 2, 5) if one * power <= most * (1 + 1e-9))


def _percent(change: float) -> str:
    return f"{abs(100 * change):.0f} % {'lower' if change < 0 else 'higher'}"


def _finite(values: dict[str, float]) -> dict[str, float]:
    return {key: value for key, value in values.items() if isfinite(value)}


def needed_said(found: Needed, margin: str, sd: float, unit: str) -> Said:
    """Say what would show it: coupons of each side, every one its own set-up."""
    parts = []
    if found.equal is not None:
        parts.append(f'{found.equal} coupons of each for "equal within {margin}"')
    if found.no_worse is not None:
        parts.append(f'{found.no_worse} for "no more than {margin} worse"')
    if found.difference is not None:
        parts.append(f"{found.difference} for a true gap of {margin}")
    words = (
        f"About {', '.join(parts)} (8 chances in 10, the first two if truly equal, spread "
        f"{figures(sd)}{spaced(unit)}, every coupon its own set-up)."
    )
    counts = {"equal": found.equal, "no_worse": found.no_worse, "difference": found.difference}
    return Said("would-show", words, {k: float(v) for k, v in counts.items() if v is not None})


def exaggeration_said(found: Exaggeration, truth: str) -> Said:
    """Say what a result that stands out would exaggerate.

    Parameters
    ----------
    truth
        What the truth is taken to be: "a true gap of the margin, 3.5 kN".
    """
    words = (
        f"Were the truth {truth}, so small a comparison would stand out {_times(found.power)}, and "
        f"then show {figures(found.exaggeration)} times too much on average, with the wrong sign "
        f"{_times(found.wrong_sign)}."
    )
    return Said("exaggeration", words, {
        "truth": found.truth, "power": found.power, "exaggeration": found.exaggeration,
        "wrong_sign": found.wrong_sign,
    })  # fmt: skip


def _times(chance: float) -> str:
    if chance < 0.005:
        return "less than 1 time in 100" if chance > 0 else "never"
    return f"{100 * chance:.0f} time{'' if round(100 * chance) == 1 else 's'} in 100"


def bias_said(bias: float, unit: str, *, ratio: bool) -> Said:
    """Say how large a hidden bias would overturn the verdict."""
    size = f"{figures(100 * bias)} %" if ratio else f"{figures(bias)}{spaced(unit)}"
    words = (
        f"A hidden bias of {size} on one side \N{EN DASH} a warmer plate, a bigger bead, a kinder "
        "reader \N{EN DASH} would be enough to overturn this."
    )
    return Said("hidden-bias", words, {"bias": bias})


def clustered_said(one: Clustered, many_new: int, many_old: int, told: bool) -> Said:
    """Say what becomes of it when coupons share set-ups."""
    lead = "As" if told else "If"
    be = f"{lead} these are {many_new} and {many_old} set-up{'s' if many_old > 1 else ''}"
    values = {"likeness": one.likeness, "setups_new": many_new, "setups_old": many_old}
    if one.gap is None:
        words = f"{be}, nothing tells one side from its set-up, however many coupons were welded."
        return Said("set-ups", words, values)
    low, high = one.gap.ends()
    places = decimals_for((high - low) / 2)
    words = (
        f"{be}, coupons of one being alike by {one.likeness:g}, the sides are worth "
        f"{figures(one.worth_new)} and {figures(one.worth_old)} coupons and the difference could "
        f"be {fixed(low, places, signed=True)} to {fixed(high, places, signed=True)} "
        f"({p_is(one.gap.p)})."
    )
    return Said("set-ups", words, {**values, "low": low, "high": high, "p": one.gap.p})


# ------------------------------------------------------------------------------ checks


def mean_problem(evidence: Evidence, name: str, mean: float, n: int, found: MeanCheck,
                 decimals: int) -> Said:  # fmt: skip
    """Say that a mean cannot come from so many readings."""
    words = (
        f"A mean of {fixed(mean, decimals)} cannot come from {n} readings on a gauge with "
        f"{plain(evidence.step or 0)}{spaced(evidence.unit)} steps (nearest "
        f"{fixed(found.below, decimals)} or {fixed(found.above, decimals)}). Check n, the step or "
        "the figure."
    )
    return Said("impossible-mean", words, {"mean": mean, "n": n})


def spread_problem(name: str, sd: float, n: int, found: SpreadCheck, unit: str) -> Said:
    """Say that a spread cannot come from so many readings, and why."""
    tail = spaced(unit)
    why = {
        "too-large": f"the range of the gauge allows at most {figures(found.most, 3)}{tail}",
        "too-small": f"the steps of the gauge ask for at least {figures(found.least, 3)}{tail}",
        "zero": "readings all alike would have a mean on a step of the gauge",
        "between": "no readings in whole steps give it with that mean",
    }[found.why]
    words = (
        f"A standard deviation of {plain(sd)}{tail} cannot come from {n} readings of {name}: "
        f"{why}. Check n, the step or the figure."
    )
    return Said("impossible-sd", words, {"sd": sd, "n": n})


def printed_p_said(found: PrintedP, p: float, decimals: int) -> Said:
    """Say whether the printed p comes out of the printed figures."""
    stated = fixed(p, decimals)
    out, ends = p_words(found.p), [p_words(one) for one in (found.low, found.high)]
    rounding = f" ({' to '.join(ends)} with every rounding)" if ends[0] != ends[1] else ""
    words = {
        "welch": f"The printed p, {stated}, comes out of their figures again.",
        "student": f"The printed p, {stated}, comes out of their figures again (one spread for "
        f"both; with a spread each it is {out}).",
        "one-sided": f"The printed p, {stated}, comes out only one-sided; two-sided it is {out}.",
        "standard-errors": f"The printed p, {stated}, comes out only if the spreads are standard "
        f"errors of the means, not standard deviations; as they stand it is {out}. Please check.",
        "none": f"The printed p, {stated}, cannot come from their figures: those give {out}"
        f"{rounding}. Please check.",
    }[found.how]
    values = {"stated": p, "p": found.p, "low": found.low, "high": found.high}
    return Said(f"printed-p-{found.how}", words, values)


def lone_said(name: str, old: str, found: Lone, unit: str) -> Said:
    """Say where one coupon lies in the range of the other side."""
    places = decimals_for((found.high - found.low) / 2)
    ends = f"{fixed(found.low, places)} to {fixed(found.high, places)}{spaced(unit)}"
    where = "inside" if found.inside else "outside"
    words = (
        f"The one coupon of {name}, {plain(found.value)}{spaced(unit)}, lies {where} the range in "
        f"which the next coupon of {old} is expected, {ends} (95 %)."
    )
    values = {"value": found.value, "low": found.low, "high": found.high}
    return Said("lone-coupon", words, values)


def standardised_said(p: float, found: Standardised) -> Said:
    """Say how far apart a p alone puts two sides."""
    words = (
        f"{p_is(p)} with so many coupons is a gap of {figures(found.size)} standard "
        f"deviations of a coupon, could be {figures(found.low)} to {figures(found.high)}; which "
        "side is the larger, and by how much in any unit, a p alone does not say."
    )
    values = {"size": found.size, "low": found.low, "high": found.high, "t": found.t}
    return Said("from-p", words, values)


# ------------------------------------------------------------------------------ studies


def pooled_said(found: Pooled, many: int, unit: str) -> tuple[Said, ...]:
    """Say what several studies say together."""
    tail, ends = spaced(unit), found.bounds
    places = decimals_for((ends.high95 - ends.low95) / 2)

    def signed(*values: float) -> str:
        return " to ".join(fixed(one, places, signed=True) for one in values)

    says = [
        Said("pooled", f"{many} studies together: {signed(found.estimate)}{tail}, could be "
             f"{signed(ends.low95, ends.high95)}{tail} (95 %, random effects, Hartung\N{EN DASH}"
             f"Knapp; {p_is(found.p)}).",
             {"estimate": found.estimate, "low": ends.low95, "high": ends.high95, "p": found.p}),
        Said("between-studies", f"They scatter by {figures(found.tau)}{tail} beyond their own "
             f"errors (I\N{SUPERSCRIPT TWO} {100 * found.i_squared:.0f} %, p of their being one "
             f"{p_words(found.q_p)}).",
             {"tau": found.tau, "i_squared": found.i_squared, "q": found.q, "q_p": found.q_p}),
        Said("common-effect", f"Were all of one truth it would be {signed(found.common)}{tail}, "
             f"{signed(found.common_low, found.common_high)}{tail}: shown only beside it.",
             {"estimate": found.common, "low": found.common_low, "high": found.common_high}),
    ]  # fmt: skip
    if not isnan(found.next_low):
        words = f"The truth of one more such study may lie from {signed(found.next_low)} to "
        words += f"{signed(found.next_high)}{tail} (95 % prediction)."
        says.append(Said("next-study", words, {"low": found.next_low, "high": found.next_high}))
    return tuple(says)
