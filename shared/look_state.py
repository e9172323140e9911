"""Which look a record stands at: a planned one, the last one, or one that nobody planned.

A round is complete when every coupon of it, or the spare that replaced it, is read for the
deciding response or lost with a reason.  It is worked out from what is read and from the
journal, never from what somebody says.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from weldtrial.shared.record import Coupon, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

LookState = Literal["fixed", "unfinished", "planned", "last", "stopped", "scatter", "unplanned"]

FINAL: tuple[LookState, ...] = ("fixed", "last", "stopped")
"""States in which nothing that is planned is still to come."""

_AFTER = re.compile(r"after round (\d+)")
_SIZED = re.compile(r"(\d+) rounds")


@dataclass(frozen=True, slots=True)
class Look:
    """Where a record stands among the looks that were planned.

    Attributes
    ----------
    state
        ``fixed`` (no looks planned, nothing left to read), ``unfinished`` (no looks planned,
        and the deciding response is still being read), ``planned`` (an early look that was
        planned), ``last``, ``stopped`` (the stop was declared), ``scatter`` (the codes are
        closed and the scatter may be looked at), ``unplanned``.
    read
        Rounds that are complete, ascending.
    ends
        Rounds after which each look is taken, the last round included; empty without looks.
    number
        Which of `ends` this is, from 1; None where it is none of them.
    uses
        Only coupons of rounds up to this one count; None for all that are read.
    unread, counting
        Coupons of the deciding response still to be read, of how many in the whole plan.
    later
        Coupons that are read and do not count, being of rounds after `uses`.
    sized
        Rounds the trial was re-sized to with the codes closed, None when it was not.
    """

    state: LookState
    read: tuple[int, ...] = ()
    ends: tuple[int, ...] = ()
    number: int | None = None
    uses: int | None = None
    unread: int = 0
    counting: int = 0
    later: int = 0
    sized: int | None = None

    @property
    def final(self) -> bool:
        """Whether nothing that is planned is still to come."""
        return self.state in FINAL

    @property
    def prefix(self) -> int:
        """Rounds that are complete from the first on, without a gap."""
        return _prefix(self.read)

    @property
    def following(self) -> int | None:
        """Round after which the next look is taken, None after the last or a stop."""
        if self.final:
            return None
        reached = self.uses if self.uses is not None else self.prefix
        return next((one for one in self.ends if one > reached), None)


FIXED = Look("fixed")
"""A trial without planned looks, all of it read."""


def look_at(trial: Trial, record: Record) -> Look:
    """Work out which look a record stands at."""
    exempt = record.adopted or trial.adopted is not None or trial.purpose == "pilot"
    response = trial.deciding
    counting = [one for one in record.coupons if one.role != "confirm"]
    unread = [one for one in counting if not is_read(one, response)]
    counted = sum(one.role == "count" for one in counting)
    looks = trial.looks
    if looks is None or exempt:
        state: LookState = "unfinished" if unread and not exempt else "fixed"
        return Look(state, unread=len(unread), counting=counted)
    read = complete_rounds(counting, response)
    most = trial.design.rounds or max((one.round or 0 for one in counting), default=0)
    sized = journalled(record, "sized", _SIZED) if looks.scatter_only else None
    stopped = None if looks.scatter_only else journalled(record, "stopped", _AFTER)
    ends = (sized or most,) if looks.scatter_only else (*looks.after, most)
    found = Look("unplanned", read, ends, None, None, len(unread), counted, 0, sized)
    prefix = _prefix(read)
    if stopped is not None and prefix >= stopped:
        return _using(found, "stopped", stopped, counting, response)
    if prefix >= ends[-1]:
        return _using(found, "last", ends[-1], counting, response)
    if looks.scatter_only:
        due = sized is None and prefix >= looks.after[0] and not record.codes_open
        return replace(found, state="scatter", uses=looks.after[0]) if due else found
    if prefix in looks.after and len(read) == prefix:
        return _using(found, "planned", prefix, counting, response)
    return found


def _using(
    found: Look, state: LookState, uses: int, coupons: Iterable[Coupon], response: Response
) -> Look:
    later = sum(
        (one.round or 0) > uses and bool(one.readings.get(response.name)) for one in coupons
    )
    number = found.ends.index(uses) + 1 if uses in found.ends else None
    return replace(found, state=state, uses=uses, number=number, later=later)


def _prefix(rounds: Iterable[int]) -> int:
    reached = 0
    for one in rounds:
        if one != reached + 1:
            break
        reached = one
    return reached


def is_read(coupon: Coupon, response: Response) -> bool:
    """Tell whether nothing of a coupon is left to read: all sections read, or it is lost."""
    typed = coupon.readings.get(response.name, ())
    return bool(coupon.lost) or len(typed) >= response.sections


def complete_rounds(coupons: Iterable[Coupon], response: Response) -> tuple[int, ...]:
    """Return the rounds of which every coupon is read or lost, ascending."""
    whole: dict[int, bool] = {}
    for one in coupons:
        if one.round is not None:
            whole[one.round] = whole.get(one.round, True) and is_read(one, response)
    return tuple(sorted(number for number, done in whole.items() if done))


def journalled(record: Record, event: str, pattern: re.Pattern[str]) -> int | None:
    """Return the rounds that the first line of an event names, None without one."""
    for line in record.journal:
        if line.event == event and (found := pattern.search(line.details)):
            return int(found[1])
    return None


def peeks(record: Record) -> tuple[str, ...]:
    """Return what the journal says of looks that nobody planned, in order."""
    return tuple(line.details for line in record.journal if line.event == "peeked")


def looked(record: Record) -> tuple[str, ...]:
    """Return what the journal says of planned looks that were taken, in order."""
    return tuple(line.details for line in record.journal if line.event == "looked")


def to_the_end(record: Record, look: Look) -> Record:
    """Return the record without rounds that a stop or a re-sizing took out of the trial."""
    if look.state != "stopped" and look.sized is None:
        return record
    return of_look(record, replace(look, uses=look.uses or look.ends[-1]))


def of_look(record: Record, look: Look) -> Record:
    """Return the record as a look sees it: only coupons of the rounds that count."""
    if look.uses is None:
        return record
    coupons = tuple(one for one in record.coupons if one.round is None or one.round <= look.uses)
    return replace(record, coupons=coupons, planned=sum(one.role == "count" for one in coupons))
