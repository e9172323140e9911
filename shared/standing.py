"""Where a trial stands: what is welded, read, in tolerance and in order, and what is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.shared.bench import Bench
from weldtrial.shared.factors import Factor
from weldtrial.shared.plan import Plan
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Held, Trial
from weldtrial.shared.worked_out import Missing, missing


@dataclass(frozen=True, slots=True)
class Welded:
    """Coupons and set-ups, done and planned; warm-ups and spares that were welded; losses."""

    coupons: int
    planned: int
    setups: int
    setups_planned: int
    warm_ups: int
    spares: int
    lost: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Read:
    """Readings of one response.

    Attributes
    ----------
    read, wanted
        Readings there are (lost ones too) and readings there should be; a coupon replaced by a
        spare is not wanted any more.
    unread
        Stamps without any reading.
    half_read
        Stamps of which some cuts are read and others are not.
    lost
        Stamps with a lost reading, though the coupon itself is not.
    past
        Stamps with a reading past a gauge limit, such as ``>90``.
    plate
        Stamps of which the plate broke and not the weld, below the gauge limit: at least so much.
    """

    response: Response
    read: int
    wanted: int
    unread: tuple[str, ...]
    half_read: tuple[str, ...]
    lost: tuple[str, ...]
    past: tuple[str, ...] = ()
    plate: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether nothing is left to read."""
        return self.read >= self.wanted


@dataclass(frozen=True, slots=True)
class WorkedOutCount:
    """A response that is worked out: coupons it is known for, and what the others lack."""

    response: Response
    known: int
    wanted: int
    lacking: tuple[Missing, ...]


@dataclass(frozen=True, slots=True)
class HeldCheck:
    """How one held setting was kept: coupons within tolerance, seen at all, and those outside."""

    held: Held
    within: int
    seen: int
    outside: tuple[tuple[Coupon, float], ...]


@dataclass(frozen=True, slots=True)
class VariedCheck:
    """How one varied setting was kept around what was planned of each coupon.

    Attributes
    ----------
    factor
        A numeric factor that states a tolerance.
    within, seen
        Coupons within it; coupons whose setting as run is written down.
    outside
        Coupon, setting as run, setting planned.
    """

    factor: Factor
    within: int
    seen: int
    outside: tuple[tuple[Coupon, float, float], ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a trial stands.

    Attributes
    ----------
    next_run
        The next coupon to weld, None when all are.
    warm_up
        Stamp of a warm-up to weld before it, or empty.
    to_replace, spares
        Coupons that were lost and not replaced, and spares that are left for them.
    """

    welded: Welded
    read: tuple[Read, ...]
    held: tuple[HeldCheck, ...]
    order_notes: tuple[str, ...]
    next_run: Coupon | None
    warm_up: str = ""
    to_replace: tuple[Coupon, ...] = ()
    spares: tuple[str, ...] = ()
    worked_out: tuple[WorkedOutCount, ...] = ()
    varied: tuple[VariedCheck, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether everything planned is welded and read."""
        return self.next_run is None and all(one.complete for one in self.read)


def standing(trial: Trial, plan: Plan, record: Record, bench: Bench) -> Standing:
    """Work out where a trial stands from its record and the files it was read from."""
    wanted = [one for one in record.coupons if not one.lost]
    to_weld = [one for one in wanted if not one.welded]
    gone = {line.replaces for line in bench.log.lines.values() if line.replaces}
    return Standing(
        welded=_welded(plan, record, bench),
        read=tuple(_read(response, record.coupons) for response in trial.to_read),
        held=tuple(_held(one, record.coupons) for one in trial.held),
        order_notes=bench.log.notes,
        next_run=to_weld[0] if to_weld else None,
        warm_up=_warm_up_before(to_weld[0], plan, record, bench) if to_weld else "",
        to_replace=tuple(one for one in record.coupons if one.lost and one.stamp not in gone),
        spares=tuple(
            run.stamp
            for run in plan.of_role("spare")
            if not any(one.stamp == run.stamp for one in record.coupons)
        ),
        worked_out=tuple(
            _worked_out(trial, response, record.coupons)
            for response in trial.responses
            if response.worked_out is not None
        ),
        varied=tuple(
            _varied(one, record.coupons) for one in trial.factors if one.tolerance is not None
        ),
    )


def _worked_out(trial: Trial, response: Response, coupons: Sequence[Coupon]) -> WorkedOutCount:
    wanted = [one for one in coupons if not one.lost]
    lacking = missing(trial, response, wanted)
    return WorkedOutCount(response, len(wanted) - len(lacking), len(wanted), lacking)


def _warm_up_before(coupon: Coupon, plan: Plan, record: Record, bench: Bench) -> str:
    """Return the warm-up of the coupon's set-up, where nothing of that set-up is welded yet."""
    mates = [one for one in record.coupons if one.setup == coupon.setup]
    if coupon.setup is None or any(one.welded for one in mates):
        return ""
    warm_ups = [run.stamp for run in plan.of_role("warm-up") if run.setup == coupon.setup]
    lines = bench.log.lines
    return next((one for one in warm_ups if one not in lines or not lines[one].welded), "")


def _welded(plan: Plan, record: Record, bench: Bench) -> Welded:
    done = [one for one in record.coupons if one.welded or one.lost]
    by_setup: dict[int, list[Coupon]] = {}
    for one in record.coupons:
        if one.setup is not None:
            by_setup.setdefault(one.setup, []).append(one)
    full = [all(one in done for one in coupons) for coupons in by_setup.values()]
    lines = bench.log.lines
    spares = {run.stamp for run in plan.of_role("spare")}
    return Welded(
        coupons=sum(one.stamp not in spares for one in done),
        planned=record.planned,
        setups=sum(full),
        setups_planned=len(by_setup),
        warm_ups=sum(
            run.stamp in lines and lines[run.stamp].welded for run in plan.of_role("warm-up")
        ),
        spares=sum(one.stamp in spares for one in record.coupons),
        lost=tuple(one.stamp for one in record.coupons if one.lost),
    )


def _read(response: Response, coupons: Sequence[Coupon]) -> Read:
    counts = {one.stamp: len(one.readings.get(response.name, ())) for one in coupons}
    wanted = [one.stamp for one in coupons if not one.lost]
    beyond = _having(response, coupons, "above", "below")
    plate = {
        one.stamp: None
        for one in coupons
        if one.stamp in beyond and all(map(_of_plate, one.readings.get(response.name, ())))
    }
    return Read(
        response,
        read=sum(counts[stamp] for stamp in wanted),
        wanted=len(wanted) * response.sections,
        unread=tuple(stamp for stamp in wanted if counts[stamp] == 0),
        half_read=tuple(stamp for stamp in wanted if 0 < counts[stamp] < response.sections),
        lost=_having(response, coupons, "lost"),
        past=tuple(one for one in beyond if one not in plate),
        plate=tuple(plate),
    )


def _of_plate(reading: Reading) -> bool:
    """Whether the plate ended the test, below any limit of the gauge."""
    return reading.failed_at == "plate" and reading.text[:1] not in (">", "<")


def _having(response: Response, coupons: Sequence[Coupon], *kinds: str) -> tuple[str, ...]:
    """Return the stamps, of coupons that are not lost themselves, with a reading of such kinds."""
    return tuple(
        one.stamp
        for one in coupons
        if not one.lost
        and any(reading.kind in kinds for reading in one.readings.get(response.name, ()))
    )


def _held(held: Held, coupons: Sequence[Coupon]) -> HeldCheck:
    seen = [(one, one.as_run[held.name]) for one in coupons if held.name in one.as_run]
    slack = 1e-9 * max(abs(held.target), 1.0)
    tolerance = None if held.tolerance is None else held.tolerance + slack
    outside = tuple(
        (one, value)
        for one, value in seen
        if tolerance is not None and abs(value - held.target) > tolerance
    )
    return HeldCheck(held, len(seen) - len(outside), len(seen), outside)


def _varied(factor: Factor, coupons: Sequence[Coupon]) -> VariedCheck:
    seen = [
        (one, one.as_run[factor.name], planned)
        for one in coupons
        if factor.name in one.as_run
        and not isinstance(planned := one.settings.get(factor.name, ""), str)
    ]
    outside = tuple(found for found in seen if factor.strays(found[1], found[2]))
    return VariedCheck(factor, len(seen) - len(outside), len(seen), outside)
