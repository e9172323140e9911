"""Verdicts on shares and grades in words: the sentences of `verdict_words`, other number lines."""

from __future__ import annotations

from weldtrial.analysis.findings import Strength, Verdict, VerdictCode
from weldtrial.analysis.judge import Evidence
from weldtrial.analysis.verdict_words import (
    Numbers,
    Setting,
    afterthoughts,
    head,
    ruled_out,
)
from weldtrial.shared.rounding import MINUS, brief, decimals_for, fixed

CANNOT_COUNT = "Cannot tell: {why}."
NO_INTERVAL = (
    "{level} {seen}. There is no interval ({why}), so nothing is said of the margin; dealing the "
    "gases to the set-ups again, as the draw could have, {judged}."
)
RARELY = "seldom gives so large a gap"
OFTEN = "gives so large a gap too often to tell"
SHARES = (
    "{level} {minus} {reference} = {difference} points ({seen}), {interval} {low} to {high} points "
    "({counts})."
)
GRADES = (
    "A coupon of {level} grades better than one of {reference} {better} times in 100 (ties count "
    "half), {interval} {low} to {high}; 50 is alike ({counts})."
)
ODDS = "The odds of a better grade are {ratio} times those of {reference}, {low} to {high}."
GRADES_OPEN = (
    "The true chance could be anything from {low} to {high} in 100. This is not evidence that they "
    "are alike."
)


def write_counted(
    code: VerdictCode,
    strength: Strength | None,
    setting: Setting,
    evidence: Evidence,
    seen: str,
    ends: tuple[float, float, float],
    odds: tuple[float, float, float] | None,
) -> Verdict:
    """Return the verdict on a difference of shares or on grades.

    Parameters
    ----------
    setting
        Its response in points, its margin too.
    evidence
        Signed so that minus is worse.
    seen
        Such as ``passes 10 of 18 against 13 of 18``; not said of grades.
    ends
        Difference in points and its 95 % interval; of grades, above 50 in 100.
    odds
        Ratio of the odds of a better grade with its interval, where the model gave it.
    """
    numbers = Numbers(*ends, 0.0, None)
    graded = setting.response.kind == "graded"
    lines = [_graded_line(setting, numbers) if graded else _share_line(setting, seen, numbers)]
    if odds is not None:
        lines.append(_odds_line(setting, odds))
    if not graded:
        lines += ruled_out(code, setting, evidence, numbers)
        lines += afterthoughts(code, setting, evidence, numbers)
    else:
        if code == "not_settled":
            low, high = (_of_hundred(end, numbers.half) for end in ends[1:])
            lines.append(GRADES_OPEN.format(low=low, high=high))
        # Grades have no margin, and none can be asked for.
        lines += afterthoughts(code, setting, evidence, numbers, margins=False)
    words = head(code, strength, setting, worse=evidence.change.high95 < 0)
    return Verdict(code, strength, words, tuple(lines))


def write_shuffled(
    code: VerdictCode,
    strength: Strength | None,
    setting: Setting,
    seen: str,
    why: str,
    difference: float,
) -> Verdict:
    """Return the verdict where dealing the set-ups again can be read, and nothing else."""
    worse = difference * setting.response.sign < 0
    line = NO_INTERVAL.format(
        level=setting.level,
        seen=seen,
        why=why,
        judged=RARELY if code == "difference_shown" else OFTEN,
    )
    return Verdict(code, strength, head(code, strength, setting, worse=worse), (line,))


def cannot_count(setting: Setting, seen: str, why: str) -> Verdict:
    """Return the verdict where counts or grades leave nothing to judge by."""
    lines = (f"{setting.level} {seen} ({setting.counts}). No comparison is made.",)
    return Verdict("cannot_tell", None, CANNOT_COUNT.format(why=why), lines)


def _share_line(setting: Setting, seen: str, numbers: Numbers) -> str:
    places = min(1, decimals_for(numbers.half))
    return SHARES.format(
        level=setting.level,
        minus=MINUS,
        reference=setting.reference,
        difference=fixed(numbers.difference, places, signed=True),
        seen=seen,
        interval=setting.interval,
        low=fixed(numbers.low, places, signed=True),
        high=fixed(numbers.high, places, signed=True),
        counts=setting.counts,
    )


def _graded_line(setting: Setting, numbers: Numbers) -> str:
    half = numbers.half
    return GRADES.format(
        level=setting.level,
        reference=setting.reference,
        better=_of_hundred(numbers.difference, half),
        interval=setting.interval,
        low=_of_hundred(numbers.low, half),
        high=_of_hundred(numbers.high, half),
        counts=setting.counts,
    )


def _of_hundred(above_even: float, half: float) -> str:
    return fixed(50 + above_even, min(1, decimals_for(half)))


def _odds_line(setting: Setting, odds: tuple[float, float, float]) -> str:
    ratio, low, high = (brief(one, 2) for one in odds)
    return ODDS.format(ratio=ratio, reference=setting.reference, low=low, high=high)
