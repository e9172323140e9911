"""A prediction and whether it was met, in words: a closed list of sentences filled with numbers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from weldtrial.analysis.confirm_records import Confirmation, ConfirmedResponse
from weldtrial.analysis.pass_rule import LOWER, PassRule
from weldtrial.shared.follows import Follows, Predicted
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import brief, by_uncertainty, interval, plain, spaced
from weldtrial.shared.trial import Trial

TAGS = {
    "met": "Prediction met",
    "missed": "Prediction missed",
    "unfinished": "Prediction: not all is read yet",
    "cannot_tell": "Prediction: cannot tell",
    "no_prediction": "No prediction was sealed",
}
WRONG_SOMEWHERE = "The map is wrong somewhere: do not build on it before it is known where."
SEALED_LATE = "sealed only after coupons were welded or read, so it confirms nothing"
ONE_SETTING = (
    "One setting on one bench: this speaks of that setting only, and qualifies no procedure and no "
    "welder."
)


def in_ten(share: float) -> str:
    """Return a share as coupons: ``8 in 10``, ``17 in 20``, ``43 in 100``."""
    for of in (10, 20):
        if abs(share * of - round(share * of)) < 1e-6:
            return f"{round(share * of)} in {of}"
    return f"{100 * share:.0f} in 100"


def times(chance: float) -> str:
    """Return a chance as times in 100, never as certain or never."""
    if chance >= 0.995:
        return "more than 99 times in 100"
    return "less than once in 100" if chance < 0.005 else f"{100 * chance:.0f} times in 100"


def rule_words(rule: PassRule) -> str:
    """Return the rule and what it rests on."""
    what = "passes" if rule.of == 1 else "pass"
    return (
        f"at least {rule.at_least} of {rule.of} {what} all limits (if {in_ten(rule.share)} is "
        f"true, that happens {times(rule.reached)})"
    )


def rule_lines(rule: PassRule, setups: int) -> Iterator[str]:
    """Give what so many coupons can show, and what alikeness does to it."""
    parts = [
        f"{in_ten(share)}: {times(rule.noticed(share))}" for share in LOWER if share < rule.share
    ]
    if parts:
        yield (
            f"Would notice a lower true share, by missing the rule: {'; '.join(parts)}. More "
            "coupons notice more."
        )
    if setups:
        alike = f"{in_ten(rule.share)} reaches the rule {times(rule.reached_alike)}"
        if rule.reached - rule.reached_alike < 0.005:
            alike = "as far as the earlier results show that hardly changes how often it is reached"
        yield (
            f"Coupons of one set-up are alike in passing; with {setups} set-up{'s' * (setups > 1)} "
            f"{alike}."
        )


def predicted_words(response: Response, one: Predicted, *, weakest: bool = False) -> str:
    """Return what is expected of one response, for one line."""
    words = response.title
    if reading := reading_words(response, one):
        words += f" {reading.removesuffix(')')}{limit_words(response)})"
    elif response.kind == "pass-fail":
        words += " passes"
    if one.chance is not None:
        words += f", chance {percent(one.chance)}"
    return f"{words} \N{LEFTWARDS ARROW} the weak link" if weakest else words


def reading_words(response: Response, one: Predicted) -> str:
    """Return mean and interval of the next coupon, ``85 kN (77 to 92)``; empty without."""
    if one.mean is None or one.low is None or one.high is None:
        return ""
    mean = by_uncertainty(one.mean, (one.high - one.low) / 2)
    return f"{mean}{spaced(response.unit)} ({interval(one.low, one.high)})"


def limit_words(response: Response) -> str:
    """Return ``, needs at least 80``, empty without a limit."""
    ends = [
        f"{word} {plain(end)}"
        for word, end in (("at least", response.at_least), ("at most", response.at_most))
        if end is not None
    ]
    return f", needs {' and '.join(ends)}" if ends else ""


def mean_words(response: Response, one: Predicted) -> str:
    """Return the interval that the mean of all coupons must lie in, empty without one."""
    if one.mean_low is None or one.mean_high is None:
        return ""
    return f"{response.title} {interval(one.mean_low, one.mean_high)}{spaced(response.unit)}"


def percent(chance: float) -> str:
    """Return a chance in percent, never as certain."""
    return "over 99 %" if chance > 0.995 else f"{100 * chance:.0f} %"


def setting_words(trial: Trial, follows: Follows) -> str:
    """Return the setting in machine units: ``gas co2, voltage 28.5 V``."""
    parts = []
    for factor in trial.varied:
        value = follows.at.get(factor.name)
        if value is None:
            continue
        said = value if isinstance(value, str) else f"{plain(value)}{spaced(factor.unit)}"
        parts.append(f"{factor.title.lower()} {said}")
    return ", ".join(parts)


def in_words(trial: Trial, found: Confirmation) -> Confirmation:
    """Return coupons that confirm with what is said of them, before anything else."""
    return replace(
        found,
        tag=TAGS[found.state] + (", but sealed late" if found.late else ""),
        head=_head(found),
        lines=tuple(_lines(trial, found)),
    )


def _sealed_means(found: Confirmation) -> str:
    return SEALED_LATE if found.late else "sealed before the coupons were welded"


def _sealed(found: Confirmation) -> str:
    return SEALED_LATE if found.late else "sealed before welding"


def _head(found: Confirmation) -> str:
    if found.state == "no_prediction":
        return "Nothing was predicted of these coupons before they were welded."
    said = _passes_head(found) if found.rule == "passes" else _means_head(found)
    return f"{said} {WRONG_SOMEWHERE}" if found.state == "missed" else said


def _passes_head(found: Confirmation) -> str:
    counted = f"{found.passed} of {found.coupons} coupons passed every limit"
    over = found.state != "unfinished"
    rule = f"at least {found.at_least} {'had' if over else 'have'} to ({_sealed(found)})"
    if found.state == "met":
        return f"Met: {counted}, and {rule}."
    if found.state == "missed":
        return f"Missed: {counted}, and {rule}."
    so_far = f"{found.passed} passed every limit, {found.failed} failed"
    if found.state == "unfinished":
        return (
            f"Not finished: so far {so_far}, and {found.unread} of {found.coupons} are to be read; "
            f"{rule}."
        )
    return f"Cannot tell: {so_far}, and {found.lost} of {found.coupons} cannot be counted; {rule}."


def _means_head(found: Confirmation) -> str:
    judged = [
        one for one in found.responses if one.predicted and one.predicted.mean_low is not None
    ]
    out = [one for one in judged if one.mean_inside is False]
    if found.state == "met":
        what = "the mean lies" if len(judged) == 1 else f"all {len(judged)} means lie"
        return f"Met: {what} in the interval {_sealed_means(found)}."
    if found.state == "missed":
        what = " and ".join(one.title for one in out)
        lies = "lies" if len(out) == 1 else "lie"
        return f"Missed: the mean of {what} {lies} outside the interval {_sealed_means(found)}."
    if found.state == "unfinished":
        return (
            f"Not finished: {found.unread} of {found.coupons} coupons are to be read before the "
            "means can be held against their sealed intervals."
        )
    return "Cannot tell: too much was lost for the means to be held against their intervals."


def _lines(trial: Trial, found: Confirmation) -> Iterator[str]:
    yield _where(trial, found)
    if found.state in ("met", "missed") and (found.unread or found.lost):
        parts = [f"{found.unread} not read yet"] if found.unread else []
        parts += [f"{found.lost} lost or not decided"] if found.lost else []
        yield f"{' and '.join(parts)}; the rule stands whatever they would have read."
    if found.state == "missed" and found.chance_if_true is not None and found.share is not None:
        yield (
            f"Were {in_ten(found.share)} true, the rule would still be missed "
            f"{times(found.chance_if_true)}."
        )
    if found.state == "missed" and found.rule == "means":
        yield "Were the map right, some mean would still lie outside up to 5 times in 100."
    if found.low is not None and found.high is not None:
        yield _share(found)
    if found.weakest:
        yield _weakest(trial, found)
    for one in found.responses:
        if one.n and one.mean is not None:
            yield _response(one)
        elif one.n and one.failed is not None:
            yield _passing(one)
    if found.state != "no_prediction":
        yield ONE_SETTING


def _where(trial: Trial, found: Confirmation) -> str:
    over = f" over {found.setups} fresh set-ups" if found.setups > 1 else ""
    over = " in one fresh set-up" if found.setups == 1 else over
    if not found.at or trial.follows is None:
        return f"{found.coupons} coupons{over}; their setting stays hidden until the codes open."
    beyond = " This lies beyond what was welded before." if trial.follows.beyond else ""
    return f"{found.coupons} coupons{over} at {setting_words(trial, trial.follows)}.{beyond}"


def _share(found: Confirmation) -> str:
    assert found.low is not None
    assert found.high is not None
    of = found.passed + found.failed
    words = (
        f"Share that passes: {found.passed} of {of} decided, so the true share could be "
        f"{100 * found.low:.0f} to {100 * found.high:.0f} in 100"
    )
    if found.setups > 1:
        return (
            f"{words}, were every coupon a set-up of its own; coupons of one set-up are alike, and "
            f"{found.setups} set-ups say less than {of} apart."
        )
    if found.setups == 1:
        return f"{words} for this one set-up; another bottle change is not in it."
    return f"{words}."


def _weakest(trial: Trial, found: Confirmation) -> str:
    one = next(one for one in found.responses if one.name == found.weakest)
    expected = found.expected_weakest == found.weakest
    named = " It was named the weak link beforehand." if expected else ""
    if not expected and found.expected_weakest:
        named = f" Expected was {trial.response(found.expected_weakest).title}."
    return f"What failed most: {one.title}, {one.failed} of {one.n} read.{named}"


def _passing(one: ConfirmedResponse) -> str:
    """Say how many passed where a reading is no number, beside what was expected."""
    words = f"{one.title}: {one.n - (one.failed or 0)} of {one.n} read passed"
    if one.predicted is not None and one.predicted.chance is not None:
        words += f", {percent(one.predicted.chance)} expected"
    return f"{words}."


def _response(one: ConfirmedResponse) -> str:
    assert one.mean is not None
    mean = brief(one.mean, 3) if one.sd is None else by_uncertainty(one.mean, 2 * one.sd or 0.0)
    words = f"{one.title}: mean {mean}{spaced(one.unit)} of {one.n} read"
    said = one.predicted
    if one.past_limit:
        words += f" ({one.past_limit} past what the gauge reads, taken at its limit)"
    if said is None or said.mean is None or said.low is None or said.high is None:
        return f"{words}."
    half = (said.high - said.low) / 2
    words += (
        f", {by_uncertainty(said.mean, half)} expected; {one.inside} of {one.n} in the interval"
    )
    words += f" for one coupon, {interval(said.low, said.high)}"
    if one.mean_inside is None or said.mean_low is None or said.mean_high is None:
        return f"{words}."
    side = "inside" if one.mean_inside else "outside"
    ends = interval(said.mean_low, said.mean_high)
    return f"{words}; the mean lies {side} the interval for the mean of all, {ends}."
