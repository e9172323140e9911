"""Verdicts in words: a closed list of sentences, filled with numbers, never written freely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, isinf
from typing import TYPE_CHECKING

from weldtrial.analysis.findings import Strength, Verdict, VerdictCode
from weldtrial.analysis.judge import Evidence, is_equivalent
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import (
    by_uncertainty,
    decimals_for,
    fixed,
    interval,
    plain,
    spaced,
)

if TYPE_CHECKING:
    from weldtrial.analysis.at_limit import AtLimit

ORDINALS = {2: "Second", 3: "Third", 4: "Fourth", 5: "Fifth", 6: "Sixth"}

HEADS: dict[VerdictCode, str] = {
    "worse_beyond_margin": "{level} is worse than {reference} by more than {margin}.",
    "worse_within_margin": "{level} is worse than {reference}, but by less than the {margin} you "
    "said matters.",
    "worse_margin_unsettled": "{level} is worse than {reference}; whether by more than {margin} "
    "is not settled.",
    "better_beyond_margin": "{level} is better than {reference} by more than {margin}.",
    "better_within_margin": "{level} is better than {reference}, but by less than the {margin} "
    "you said matters.",
    "better_margin_unsettled": "{level} is better than {reference}; whether by more than {margin} "
    "is not settled.",
    "not_worse": "{level} is no worse than {reference} by more than {margin}.",
    "equivalent": "{level} is equal to {reference} within {margin}.",
}
BRIEFLY: dict[str, str] = {
    "cannot_tell": "cannot tell",
    "depends_on": "depends on a check",
    "difference_shown": "a gap is shown",
    "not_settled": "not settled",
    "worse_beyond_margin": "worse by more than the margin",
    "worse_within_margin": "worse, by less than the margin",
    "worse_margin_unsettled": "worse; the margin not settled",
    "better_beyond_margin": "better by more than the margin",
    "better_within_margin": "better, by less than the margin",
    "better_margin_unsettled": "better; the margin not settled",
    "not_worse": "no worse by more than the margin",
    "equivalent": "equal within the margin",
    "at_limit": "at the gauge limit",
}
"""Each verdict in a few words, for tables and beside others."""
LEADS: dict[Strength | None, str] = {"shown": "Shown", "suggests": "Suggests", None: "Not final"}
"""How a verdict begins; a look that nobody planned shows nothing, whatever its numbers."""
NOT_SETTLED = "Not settled: this trial is too small to say."
NOT_SETTLED_YET = "Not settled at this look: the bound for it is not passed."
CANNOT_TELL = "Cannot tell: {factor} was never welded apart from {tied}."
NOTHING_BESIDE = "Cannot tell: only one {factor} has coupons that count."
AT_LIMIT = "At the limit: {sides} went past the gauge limit, {limit}."
AT_A_LIMIT = "At a limit: {sides} are known to a limit of their own only, {limit}."
BEYOND = "Cannot tell: too many coupons went past the gauge limit."
TOO_WIDE = "Cannot tell: the readings lie between stops too wide to show scatter."
NOTHING_REPEATED = "Cannot tell: nothing was welded twice, so no scatter shows to judge by."
DEPENDS_ON = "Answer depends on {what}."
PILOT = "Pilot: no verdict. It measures scatter, so that the trial can be planned."


@dataclass(frozen=True, slots=True)
class Setting:
    """What the words need besides the numbers.

    Attributes
    ----------
    counts
        Such as "6 rounds, 12 set-ups, 36 coupons".
    looks
        How many comparisons the trial looks at in all.
    settle
        What would settle it, a sentence or empty.
    factors
        How many factors are compared on this response, each without regard to the others.
    interval
        What the interval is called: one for all looks where looks were planned.
    early
        Whether this is a look before the last, planned or not.
    """

    response: Response
    level: str
    reference: str
    counts: str
    looks: int
    settle: str = ""
    factors: int = 1
    interval: str = "95 % interval"
    early: bool = False


@dataclass(frozen=True, slots=True)
class Numbers:
    """The comparison in the response's unit, raw sign (level minus reference)."""

    difference: float
    low: float
    high: float
    reference_mean: float
    ratio: tuple[float, float, float] | None

    @property
    def half(self) -> float:
        """Half the width of the 95 % interval, or how far its one end lies where it has one."""
        if isfinite(self.high - self.low):
            return (self.high - self.low) / 2
        ends = [abs(e - self.difference) for e in (self.low, self.high) if isfinite(e)]
        near = [one for one in ends if isfinite(one) and one > 0]
        beside = [abs(e) / 10 for e in (self.low, self.high, self.difference) if isfinite(e)]
        return min(near) if near else max([*beside, 0.0])


def margin_words(response: Response) -> str:
    """Return the margin as the user set it: ``5 kN`` or ``5 %``."""
    if response.margin is None:
        return "no margin"
    if response.margin.percent:
        return f"{plain(100 * response.margin.value)} %"
    return f"{plain(response.margin.value)}{spaced(response.unit)}"


def head(code: VerdictCode, strength: Strength | None, setting: Setting, *, worse: bool) -> str:
    """Return the head sentence of a verdict that has numbers."""
    if code == "not_settled":
        return NOT_SETTLED_YET if setting.early else NOT_SETTLED
    lead = LEADS[strength]
    if code == "difference_shown":
        word = "worse" if worse else "better"
        return f"{lead}: {setting.level} is {word} than {setting.reference}."
    text = HEADS[code].format(
        level=setting.level,
        reference=setting.reference,
        margin=margin_words(setting.response),
    )
    return f"{lead}: {text}"


def write_verdict(
    code: VerdictCode,
    strength: Strength | None,
    setting: Setting,
    evidence: Evidence,
    numbers: Numbers,
) -> Verdict:
    """Return a verdict with its sentences."""
    lines = [number_line(setting, numbers)]
    lines += ruled_out(code, setting, evidence, numbers)
    lines += afterthoughts(code, setting, evidence, numbers)
    return Verdict(
        code,
        strength,
        head(code, strength, setting, worse=evidence.change.high95 < 0),
        tuple(lines),
    )


def number_line(setting: Setting, numbers: Numbers) -> str:
    """Return the line that always carries number, unit, interval and counts."""
    places = decimals_for(numbers.half)
    unit = spaced(setting.response.unit)
    pair = f"{setting.level} \N{MINUS SIGN} {setting.reference}"
    reach = f"{setting.interval} {interval(numbers.low, numbers.high, signed=True, unit=unit)}"
    if isinf(numbers.difference):
        lost = "no figure, as one of them went wholly past the gauge"
        return f"{pair}: {lost}; {reach} ({setting.counts})."
    text = f"{pair} = {fixed(numbers.difference, places, signed=True)}{unit}, {reach}"
    if numbers.ratio is not None and numbers.reference_mean > 0:
        share = [100 * (r - 1) for r in numbers.ratio]
        digits = decimals_for((share[2] - share[1]) / 2)
        mean = fixed(numbers.reference_mean, places)
        text += (
            f"; {fixed(share[0], digits, signed=True)} % "
            f"({fixed(share[1], digits, signed=True)} to {fixed(share[2], digits, signed=True)} %) "
            f"of {setting.reference}'s {mean}{unit}"
        )
    return f"{text} ({setting.counts})."


def _beyond(what: str, limit: float, numbers: Numbers, unit: str) -> str:
    """Return what lies beyond a one-sided limit; one that does not reach zero leaves nothing."""
    if limit <= 0:
        return f"any {what}"
    return f"a {what} bigger than {by_uncertainty(limit, numbers.half)}{unit}"


def ruled_out(
    code: VerdictCode, setting: Setting, evidence: Evidence, numbers: Numbers
) -> list[str]:
    """Say what the one-sided limits rule out, where the verdict rests on them."""
    unit = spaced(setting.response.unit)
    if code not in ("not_worse", "equivalent", "worse_within_margin", "better_within_margin"):
        return []
    loss = _beyond("loss", -evidence.change.low90, numbers, unit)
    gain = _beyond("gain", evidence.change.high90, numbers, unit)
    limits = "one-sided 95 % limit, the end of the 90 % interval"
    if code == "better_within_margin":
        text = f"The results rule out {gain} ({limits})."
    elif code == "equivalent":
        text = (
            f"The results rule out {loss} and {gain} (one-sided 95 % limits, the ends of the 90 % "
            "interval)."
        )
    else:
        text = f"The results rule out {loss} ({limits})."
    lines = [text]
    if code in ("not_worse", "equivalent"):
        lines.append(
            f"The two-sided 95 % interval holds zero, so they do not show that {setting.level} "
            "is worse, or better."
        )
    if code == "not_worse" and is_equivalent(evidence):
        lines.append(f"By the same limits it is equal within {margin_words(setting.response)}.")
    elif code == "not_worse":
        lines.append("Not shown: that they are equal.")
    return lines


def afterthoughts(
    code: VerdictCode,
    setting: Setting,
    evidence: Evidence,
    numbers: Numbers,
    *,
    margins: bool = True,
) -> list[str]:
    """Return what else has to be said: how wide it is open, the margin, chance, rank.

    `margins` is False of what has none, such as grades; what it could be is then said elsewhere.
    """
    lines = []
    response = setting.response
    if code == "not_settled" and margins:
        lines.append(_could_be(setting, evidence, numbers))
        if setting.settle:
            lines.append(setting.settle)
    if response.margin is None and margins:
        lines.append(
            f"No margin was set for {response.title}: give it one (the smallest change that "
            f"matters) before the next trial, or nothing can be called good "
            "enough."
        )
    if _only_just(code, evidence):
        lines.append(
            "First results that only just clear zero are usually too big; expect less next time."
        )
    if setting.factors > 1:
        lines.append(
            f"{setting.factors} factors are compared, each on its own: the more are looked at, the "
            "likelier one of them stands out by chance."
        )
    if response.rank > 1:
        ordinal = ORDINALS.get(response.rank, f"Number {response.rank}")
        looked = f"one of {setting.looks} comparisons looked at"
        lines.append(f"{ordinal} response, {looked}: not what this trial was sized for.")
    return lines


def _could_be(setting: Setting, evidence: Evidence, numbers: Numbers) -> str:
    unit = spaced(setting.response.unit)
    loss = _far(evidence.change.low95, numbers, unit)
    gain = _far(evidence.change.high95, numbers, unit)
    worse = "worse" if evidence.change.low95 < 0 else "better"
    better = "better" if evidence.change.high95 > 0 else "worse"
    return (
        f"The true change could be anything from {loss} {worse} to {gain} {better}. "
        "This is not evidence that they are alike."
    )


def _far(end: float, numbers: Numbers, unit: str) -> str:
    return "any amount" if isinf(end) else f"{by_uncertainty(abs(end), numbers.half)}{unit}"


def at_limit(
    counts: Sequence[AtLimit], limit: str, lines: Sequence[str], *, gauge: bool = True
) -> Verdict:
    """Return the verdict where most coupons are at a gauge limit and nothing else decides.

    Parameters
    ----------
    counts
        Coupons at the limit, level by level.
    limit
        Where the gauge stops, with its unit.
    lines
        How many reached it, compared, and what else is known.
    gauge
        False where it is not the gauge that stopped, as where the plate broke first.
    """
    sides = " and ".join(f"{one.beyond} of {one.coupons} ({one.level})" for one in counts)
    words = AT_LIMIT if gauge else AT_A_LIMIT
    return Verdict("at_limit", None, words.format(sides=sides, limit=limit), tuple(lines))


def _only_just(code: VerdictCode, evidence: Evidence) -> bool:
    """Whether an interval clears zero by less than a quarter of the estimate."""
    if not code.startswith(("worse", "better", "difference")):
        return False
    ends = sorted((abs(evidence.change.low95), abs(evidence.change.high95)))
    return ends[0] < 0.25 * (ends[0] + ends[1]) / 2


def cannot_tell(factor: str, tied: str, averages: str) -> Verdict:
    """Return the verdict where a factor was tied to something else; its `averages` are listed."""
    return Verdict(
        "cannot_tell",
        None,
        CANNOT_TELL.format(factor=factor, tied=tied),
        (
            f"Any change could be either, so no comparison is made. Averages: {averages}.",
            f"More coupons of the same kind would not help; welding every {factor} on several "
            f"{tied}s would."
            if tied in ("set-up", "round")
            else "More coupons of the same kind would not help; welding them apart would.",
        ),
    )


def nothing_beside(factor: str, averages: str) -> Verdict:
    """Return the verdict where the coupons of one level alone are left."""
    return Verdict(
        "cannot_tell",
        None,
        NOTHING_BESIDE.format(factor=factor),
        (
            f"There is nothing to compare it with. Averages: {averages}.",
            f"It takes coupons of every {factor}, welded and read.",
        ),
    )


def cannot_estimate(why: str, compared: str, words: str = BEYOND) -> Verdict:
    """Return the verdict where coupons at the gauge limit leave no average to estimate."""
    lines = (f"{why[:1].upper()}{why[1:]}.", compared)
    return Verdict("cannot_tell", None, words, tuple(line for line in lines if line))


def nothing_repeated() -> Verdict:
    """Return the verdict where as many things were changed as coupons were welded."""
    return Verdict(
        "cannot_tell",
        None,
        NOTHING_REPEATED,
        ("Effects are listed as they came out; none of them can be told from chance.",),
    )


def depends_on(what: str, first: Verdict, second: Verdict, other: str) -> Verdict:
    """Return the verdict where a failed check decides; both answers are printed."""
    return Verdict(
        "depends_on",
        None,
        DEPENDS_ON.format(what=what),
        (
            f"As planned: {first.words}",
            *first.lines[:1],
            f"{other}: {second.words}",
            *second.lines[:1],
            "Neither settles it alone.",
        ),
    )
