"""What is said of a look: which one it is, whether the trial may stop, what counts."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.analysis.findings import ResponseFindings, VerdictCode
from weldtrial.shared.look_state import Look, looked, peeks
from weldtrial.shared.looks import Looks
from weldtrial.shared.record import Record
from weldtrial.shared.trial import Trial

OPEN_STILL: tuple[VerdictCode, ...] = ("not_settled", "at_limit", "depends_on", "cannot_tell")
"""Verdicts at which a trial goes on."""
TOO_LARGE = "Estimates from trials that stop early tend to be too large."
STRICTER = "One-sided limits are read more strictly than at 5 %, as re-sizing favours lucky trials."
HOLDS = "Every interval holds at all the looks at once, so it is wider than at a single look."


def unplanned_words(trial: Trial, look: Look) -> str:
    """Say why there is no answer at a look that was not planned, and what to read next."""
    looks = trial.looks
    if looks is not None and looks.scatter_only:
        return _unplanned_scatter(trial, look)
    name = "" if looks is None else f" ({looks.name})"
    return (
        f"No answer yet: {read_words(look)}, and looks were planned {after(look.ends)}{name}. "
        f"Looking in between finds something by chance too often. {_read_on(look)}"
    )


def _unplanned_scatter(trial: Trial, look: Look) -> str:
    assert trial.looks is not None
    start = trial.looks.after[0]
    if look.sized is not None:
        rule = f"the trial was re-sized to {look.sized} rounds and ends there"
    elif look.state == "scatter":
        return (
            f"No answer yet: {read_words(look)}. First let the scatter say how many rounds are "
            "needed, codes closed:  weldtrial analyse --agree"
        )
    elif look.prefix < start:
        due = f"the scatter alone is looked at after round {start}, codes closed"
        return f"No answer yet: {read_words(look)}, and {due}. {_read_on(look, start)}"
    else:
        rule = f"the trial was never re-sized, so it ends after all {look.ends[-1]} rounds"
    return f"No answer yet: {read_words(look)}, and {rule}. {_read_on(look)}"


def _read_on(look: Look, until: int | None = None) -> str:
    until = until or look.following
    if until is None:
        return f"{_still(look)}."
    where = f"to the end of round {until}" if look.prefix < until else "what is missing"
    return f"Weld and read on {where}: {_still(look)}."


def _still(look: Look) -> str:
    return f"{look.unread} of {look.counting} coupons are still to be read"


def read_words(look: Look) -> str:
    """Return which rounds are complete, in words."""
    count, most = len(look.read), look.ends[-1] if look.ends else 0
    if not count:
        return f"no round of {most} is read completely"
    if count == look.prefix:
        rounds = "round 1" if count == 1 else f"rounds 1 to {count}"
    else:
        rounds = f"rounds {_listed(look.read)}"
    return f"{rounds} of {most} {'is' if count == 1 else 'are'} read"


def after(ends: Sequence[int]) -> str:
    """Return ``after rounds 3 and 6``."""
    return f"after round{'s' if len(ends) > 1 else ''} {_listed(ends)}"


def _listed(numbers: Sequence[int]) -> str:
    words = [str(one) for one in numbers]
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else words[0]


def may_stop(look: Look, responses: Sequence[ResponseFindings]) -> bool | None:
    """Tell whether an early look (or the one it stopped at) settles the deciding response.

    Every comparison of it has then cleared the bound.

    None where the question does not arise.
    """
    if look.state not in ("planned", "stopped") or not responses:
        return None
    comparisons = min(responses, key=lambda one: one.rank).comparisons
    codes = [one.verdict.code for one in comparisons]
    return bool(codes) and all(code is not None and code not in OPEN_STILL for code in codes)


def look_lines(trial: Trial, look: Look, stop: bool | None) -> tuple[str, ...]:
    """Return what heads the answer; empty where everything was read and no look was planned."""
    if look.state == "fixed":
        return ()
    if look.state == "unfinished":
        return (
            f"Not final: {_still(look)}, and no early look was planned; the answer may change.",
        )
    later = (
        f"{look.later} coupons of later rounds are read too; they do not count at this look."
        if look.later
        else ""
    )
    lines = {
        "planned": _planned,
        "last": _last,
        "stopped": _stopped,
        "unplanned": _unplanned,
        "scatter": _scatter,
    }[look.state](trial, look, stop)
    return tuple(one for one in (*lines, later) if one)


def _planned(trial: Trial, look: Look, stop: bool | None) -> list[str]:
    return [f"{_which(trial, look)}. {HOLDS}", advice(look, stop)]


def advice(look: Look, stop: bool | None) -> str:
    """Say whether one may stop at an early look, or what to weld next; empty elsewhere."""
    following = look.following
    if look.state != "planned" or following is None or look.uses is None:
        return ""
    first = look.uses + 1
    rounds = f"round {first}" if following == first else f"rounds {first} to {following}"
    further = f"the next look is after round {following}"
    if stop:
        return (
            f"You may stop here: the bound for this look is passed. {TOO_LARGE} Otherwise weld "
            f"{rounds}; {further}."
        )
    return f"Go on: weld {rounds}; {further}."


def _which(trial: Trial, look: Look) -> str:
    looks = trial.looks
    name = "" if looks is None else f", {looks.name} bounds"
    return (
        f"Look {look.number} of {len(look.ends)}, after round {look.uses} of {look.ends[-1]}{name}"
    )


def _last(trial: Trial, look: Look, stop: bool | None) -> list[str]:
    looks = trial.looks
    if looks is None or not looks.scatter_only:
        return [f"{_which(trial, look)}: the last. {HOLDS}"]
    most = trial.design.rounds or look.ends[-1]
    if look.sized is None:
        return [
            f"All {most} rounds are in; the trial was never re-sized from its scatter. {STRICTER}"
        ]
    return [
        f"Re-sized from the scatter alone, codes closed: {look.sized} of at most {most} rounds. "
        f"They are in, and this is the end. {STRICTER}"
    ]


def _stopped(trial: Trial, look: Look, stop: bool | None) -> list[str]:
    why = "as the bound for it was passed" if stop else "though no bound was passed"
    return [
        f"Stopped early, at a planned look: after round {look.uses} of {look.ends[-1]}, {why}. "
        f"The stop was written down. {TOO_LARGE}",
        f"{_which(trial, look)}. {HOLDS}",
    ]


def _unplanned(trial: Trial, look: Look, stop: bool | None) -> list[str]:
    if trial.looks is not None and trial.looks.scatter_only:
        rule = "no look at the answer was planned before the end"
    else:
        rule = f"looks were planned {after(look.ends)}"
    return [
        f"NOT FINAL: {read_words(look)}, and {rule}. The answer may change, this look is in the "
        "journal, and nothing here counts as shown."
    ]


def _scatter(trial: Trial, look: Look, stop: bool | None) -> list[str]:
    return [
        f"{read_words(look)[:1].upper()}{read_words(look)[1:]}: the scatter alone may now say how "
        "many rounds are needed."
    ]


def closed_lines(trial: Trial, look: Look) -> tuple[str, ...]:
    """Return what is said of a look while the codes are closed: nothing of any answer."""
    if trial.looks is None or look.state == "fixed":
        return ()
    if look.state == "planned":
        return (f"{_which(trial, look)}: it is due, and the codes may be opened.",)
    if look.state == "last":
        return (*_last(trial, look, None)[:1], "The codes may be opened.")
    if look.state == "scatter":
        return tuple(_scatter(trial, look, None))
    if trial.looks.scatter_only and look.sized is None and look.prefix < trial.looks.after[0]:
        due = f"the scatter alone is looked at after round {trial.looks.after[0]}"
    else:
        last = trial.looks.scatter_only
        due = f"{'the trial ends' if last else 'the next look is'} after round {look.following}"
    said = read_words(look)
    return (f"No look is due: {said}; {due}. The codes stay closed until then.",)


def standing_words(trial: Trial, record: Record, look: Look) -> str:
    """Return where the planned looks stand, in one line; empty without any."""
    looks = trial.looks
    if looks is None or not look.ends:
        return ""
    if looks.scatter_only:
        plan = f"scatter only, after round {looks.after[0]}, codes closed"
        if look.sized is not None:
            plan += f"; sized: {look.sized} rounds of at most {trial.design.rounds}"
    else:
        plan = f"{len(look.ends)} planned, {after(look.ends)} ({looks.name})"
    if look.state == "stopped":
        where = f"stopped after round {look.uses}"
    elif look.state == "scatter":
        where = f"{read_words(look)}; the scatter may be looked at now"
    elif look.state == "planned":
        due = "is due" if is_due(trial, record, look) else "was taken"
        where = f"{read_words(look)}; look {look.number} {due}"
    elif look.state == "last":
        where = "all of it is read"
    else:
        where = f"{read_words(look)}; {_next_look(looks, look)}"
    count = len(peeks(record))
    times = f"{count} time{'s' if count > 1 else ''}"
    peeked = f"; looked {times} when no look was planned" if count else ""
    return f"{plan}; {where}{peeked}"


def _next_look(looks: Looks, look: Look) -> str:
    if looks.scatter_only and look.sized is None and look.prefix < looks.after[0]:
        return f"next look after round {looks.after[0]}"
    if look.following is None:
        return "a round before the last is not complete"
    what = "the end is" if look.following == look.ends[-1] and looks.scatter_only else "next look"
    return f"{what} after round {look.following}"


def is_due(trial: Trial, record: Record, look: Look) -> bool:
    """Tell whether a planned look may be taken now and was not yet."""
    start = f"after round {look.uses} "
    return look.state == "scatter" or (
        look.state == "planned" and not any(one.startswith(start) for one in looked(record))
    )
