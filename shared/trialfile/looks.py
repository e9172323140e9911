"""``[looks]``: planned looks, and what must fit for them to keep their promise."""

from __future__ import annotations

import re
from itertools import pairwise

from weldtrial.shared.looks import CHANCE, Looks
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.draft import Plain
from weldtrial.shared.trialfile.faults import Faults, as_written

_NO_LOOK = re.compile(r"\bno (?:early|interim|planned) looks?\b", re.IGNORECASE)


def read_looks(raw: Plain, faults: Faults) -> Looks | None:
    """Return the planned looks, None without any or where they cannot be read."""
    after = _after(raw["after"], faults) if "after" in raw else None
    if after is None or "bounds" not in raw:
        return None
    return Looks(after, raw["bounds"], raw.get("chance", CHANCE), raw.get("at_least"))


def _after(value: object, faults: Faults) -> tuple[int, ...] | None:
    path = "looks.after"
    if not isinstance(value, list) or not value:
        words = "after must be a list of rounds, such as [3]; it says"
        faults.wrong(path, f"{words} {as_written(value)}.", value)
        return None
    rounds: list[int] = []
    for place, one in enumerate(value):
        if isinstance(one, bool) or not isinstance(one, int) or one < 2:
            faults.wrong(
                f"{path}.{place}",
                f"a look after round {as_written(one)} cannot be: after holds whole numbers of "
                "complete rounds, each at least 2 (one round alone shows no scatter).",
                one,
            )
        else:
            rounds.append(one)
    if len(rounds) < len(value):
        return None
    if any(later <= earlier for earlier, later in pairwise(rounds)):
        rising = ", ".join(str(one) for one in sorted(set(rounds)))
        faults.wrong(path, f"the rounds of after must rise:  [{rising}].", value)
        return None
    return tuple(rounds)


def check_looks(trial: Trial, faults: Faults) -> None:
    """Report what in ``[looks]`` does not fit the trial."""
    looks = trial.looks
    if looks is None:
        return
    _rounds(trial, looks, faults)
    if trial.deciding.kind != "number":
        faults.wrong(
            "looks",
            f"planned looks need a deciding response that is a number, and {trial.deciding.name} "
            f"is {trial.deciding.kind}. Take [looks] out, or let a number decide (rank = 1).",
        )
    if trial.purpose != "compare":
        faults.wrong(
            "looks",
            f'looks are for a trial that compares, and purpose is "{trial.purpose}". Take [looks] '
            "out.",
        )
    if looks.scatter_only:
        _scatter_only(trial, looks, faults)
    else:
        for key in ("chance", "at_least"):
            if faults.stands(f"looks.{key}"):
                faults.wrong(
                    f"looks.{key}",
                    f'{key} is for  bounds = "scatter-only"; here it does nothing. Take it out.',
                )
    if _NO_LOOK.search(trial.rules.stop):
        faults.warn(
            "rules.stop",
            "stop says that there are no early looks, and [looks] plans one. The report quotes "
            "stop word for word: make the two agree.",
        )


def _rounds(trial: Trial, looks: Looks, faults: Faults) -> None:
    rounds = trial.design.rounds
    if rounds is None:
        what = "set-ups shuffled freely have none" if trial.design.set_ups else "none are given"
        faults.wrong(
            "looks.after",
            f"looks are taken after complete rounds, and {what}. Write  rounds = ...  under "
            "[design]: the most that will be welded.",
        )
        return
    late = [one for one in looks.after if one >= rounds]
    if late:
        faults.wrong(
            "looks.after",
            f"a look after round {late[0]} is no early look: the plan has {rounds} rounds, and "
            "the last round is always the last look. Keep after below it.",
        )
    least = looks.at_least
    if looks.scatter_only and least is not None and not looks.after[0] <= least <= rounds:
        faults.wrong(
            "looks.at_least",
            f"at_least = {least} must lie between the look, after round {looks.after[0]}, and the "
            f"{rounds} rounds of the plan.",
        )


def _scatter_only(trial: Trial, looks: Looks, faults: Faults) -> None:
    if len(looks.after) > 1:
        faults.wrong(
            "looks.after",
            f"the scatter is looked at once, and after names {len(looks.after)} rounds. Keep one.",
        )
    if not trial.blind.codes:
        faults.wrong(
            "looks.bounds",
            "scatter-only looks with the codes closed, and they are open here. Write  codes = "
            'true  under [blind], or choose "obrien-fleming" or "pocock".',
        )
    if len(trial.hard) != 1:
        faults.wrong(
            "looks.bounds",
            "scatter-only works from the means of set-ups, so exactly one factor must be hard to "
            f'change; here {len(trial.hard) or "none"} is. Choose "obrien-fleming" or '
            '"pocock".',
        )
    elif len(trial.hard[0].levels) > 2:
        faults.wrong(
            "looks.bounds",
            f"scatter-only is for two levels, and {trial.hard[0].name} has "
            f'{len(trial.hard[0].levels)}. Choose "obrien-fleming" or "pocock".',
        )
    if trial.deciding.margin is None:
        faults.wrong(
            "looks.bounds",
            f"without a margin nothing says how many rounds {trial.deciding.name} needs. Add "
            "margin to the response.",
        )
