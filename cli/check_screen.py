"""What ``check`` shows: one line a subject, then what is left to do."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.cli.bench_folder import singular
from weldtrial.cli.look_through import Checked
from weldtrial.cli.options import Common
from weldtrial.shared.look_state import Look
from weldtrial.shared.problems import ExitCode
from weldtrial.shared.record import Coupon, Record
from weldtrial.shared.rounding import plain
from weldtrial.shared.sealfile import SealFile
from weldtrial.shared.standing import HeldCheck, Read, Standing, VariedCheck, WorkedOutCount
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import canonical

_MANY = 4
"""Stamps named before the rest are only counted."""


def show(common: Common, found: Checked, code: ExitCode) -> None:
    """Show where a trial stands, as far as its files can be read."""
    trial, record, stands = found.trial, found.record, found.standing
    if trial is not None and stands is None:
        _say(common, "Trial", trial.title)
    if trial is not None:
        _say(common, "Seal", _seal(found.sealed, code))
    if trial is not None and record is not None and stands is not None:
        _say(common, "Welded", _welded(stands))
        _say(common, "Read", "   ".join(_read(one) for one in stands.read))
        if stands.worked_out:
            _say(common, "Worked", "   ".join(_worked_out(one) for one in stands.worked_out))
        if stands.held:
            _say(common, "Held", " · ".join(_held(one) for one in stands.held))
        if stands.varied:
            _say(common, "Varied", " · ".join(_varied(one) for one in stands.varied))
        _say(common, "Order", _order(stands, record))
        _say(common, "Codes", _codes(trial, record))
        if found.look is not None and trial.looks is not None:
            _say(common, "Looks", _looks(trial, record, found.look))
    _show_to_do(common, to_do(found, code))


def to_do(found: Checked, code: ExitCode) -> list[str]:
    """Return what is left to do, in order; commands stand as they are typed."""
    steps = []
    broken = code is ExitCode.SEAL_BROKEN
    if broken:
        # Only the question can be amended; the other sealed files can but be put back.
        wrong = [str(one) for one in found.broken if not one.warning]
        asked = any(words.startswith("trial.toml") for words in wrong)
        change = ", or log the change:  weldtrial seal --amend WHY" if asked else ""
        steps.append(f"put the sealed files back{change}")
    if found.trial is None:
        return [*steps, "mend trial.toml as listed"]
    if found.wrong:
        steps.append(f"mend {singular(found.wrong, 'problem')} (listed with file and row)")
    if found.sealed is None and not broken:
        steps += ["weldtrial plan", "weldtrial seal"]
    record, stands = found.record, found.standing
    if record is None or stands is None:
        return steps
    steps += _to_look(found)
    steps += _to_weld(stands)
    steps += _to_read(stands)
    if stands.complete and not found.wrong and not broken:
        closed = "" if record.codes_open else "   (codes closed)"
        steps.append(f"weldtrial analyse{closed}")
    return steps


def _to_look(found: Checked) -> list[str]:
    """Return the planned look that is due, before anything more is welded."""
    trial, record, look = found.trial, found.record, found.look
    if trial is None or record is None or look is None or trial.looks is None or found.wrong:
        return []
    from weldtrial.analysis.look_words import is_due

    if not is_due(trial, record, look):
        return []
    if look.state == "scatter":
        return ["weldtrial analyse --agree   (the scatter says how many rounds are needed)"]
    opening = "" if record.codes_open else " --open"
    return [f"weldtrial analyse{opening}   (look {look.number} of {len(look.ends)} is due)"]


def _looks(trial: Trial, record: Record, look: Look) -> str:
    from weldtrial.analysis.look_words import standing_words

    return standing_words(trial, record, look)


def _to_weld(stands: Standing) -> list[str]:
    steps = []
    at = stands.next_run
    if at is not None:
        left = max(stands.welded.planned - stands.welded.coupons, 1)
        first = f"warm-up {stands.warm_up}, then " if stands.warm_up else ""
        run = f"run {at.run}, " if at.run else ""
        steps.append(f"weld {singular(left, 'coupon')} (next: {first}{run}stamp {at.stamp})")
    for lost, spare in zip(stands.to_replace, stands.spares, strict=False):
        where = f" on set-up {lost.setup}" if lost.setup is not None else ""
        steps.append(
            f"if you can, weld spare {spare} for {lost.stamp}{where} and write {lost.stamp} in "
            "its column replaces"
        )
    return steps


def _to_read(stands: Standing) -> list[str]:
    steps = []
    for one in stands.read:
        name = one.response.name
        if one.half_read:
            what = f"{_listed(one.half_read)} of {name.replace('_', ' ')}: further cuts"
            steps.append(f"{what}, or write  lost  with a reason")
        if one.unread and stands.next_run is None:
            steps.append(f"weldtrial record {name}   ({len(one.unread)} to read)")
    return steps


def _say(common: Common, subject: str, words: str) -> None:
    common.console.line(f"{subject:<9} {words}", hang=10)


def _show_to_do(common: Common, steps: Sequence[str]) -> None:
    if steps:
        numbered = [f"{number}. {step}" for number, step in enumerate(steps, start=1)]
        _say(common, "To do", "      ".join(numbered))
    command, _, words = _next(steps).partition("   ")
    common.console.next(command, words.strip("() "))


def _next(steps: Sequence[str]) -> str:
    """Return the command to type next, with a word on it after three blanks."""
    first = steps[0] if steps else ""
    if first.startswith("put the sealed files back"):
        return "weldtrial seal --verify"
    if first.startswith("mend"):
        return "weldtrial check   (once that is mended)"
    if first.startswith("weld "):
        return "weldtrial sheets   (the weld sheet, if it is not printed yet)"
    return next((step for step in steps if step.startswith("weldtrial ")), "weldtrial check")


def _seal(sealed: SealFile | None, code: ExitCode) -> str:
    if code is ExitCode.SEAL_BROKEN:
        return f"{sealed.code if sealed else 'seal.json'} does not match the folder ✗"
    if sealed is None:
        return "none yet. Until then trial.toml may simply be changed."
    words = f"{sealed.code} matches the folder ✓"
    if sealed.late or sealed.late_welded:
        count = singular(sealed.late, "reading")
        words += f"   sealed late, {count} in" if sealed.late else "   sealed late"
    if sealed.amendments:
        words += f"   amended {singular(len(sealed.amendments), 'time')}"
    return words


def _welded(stands: Standing) -> str:
    done = stands.welded
    words = [f"{done.coupons} of {done.planned}"]
    if done.setups_planned:
        words.append(f"set-ups {done.setups} of {done.setups_planned}")
    if done.warm_ups:
        words.append(f"{singular(done.warm_ups, 'warm-up')} set aside")
    if done.lost:
        words.append(f"lost: {_listed(done.lost)}")
    if done.spares:
        words.append(f"{singular(done.spares, 'spare')} in use")
    return "    ".join(words)


def _worked_out(one: WorkedOutCount) -> str:
    words = f"{one.response.name.replace('_', ' ')} out for {one.known} of {one.wanted}"
    lacking: dict[str, list[str]] = {}
    for missing in one.lacking:
        for column in missing.columns:
            lacking.setdefault(column, []).append(missing.stamp)
    remarks = [f"{_listed(stamps)} without {column}" for column, stamps in lacking.items()]
    return f"{words} ({'; '.join(remarks)})" if remarks else words


def _read(one: Read) -> str:
    words = f"{one.response.name.replace('_', ' ')} {one.read}/{one.wanted}"
    remarks = []
    if one.half_read:
        cut = "second cut" if one.response.sections == 2 else "a cut"
        remarks.append(", ".join(f"{stamp} {cut} missing" for stamp in one.half_read[:_MANY]))
        if len(one.half_read) > _MANY:
            remarks.append(f"{len(one.half_read) - _MANY} more")
    if one.lost:
        remarks.append(f"lost: {_listed(one.lost)}")
    if one.past:
        remarks.append(f"{len(one.past)} past the gauge limit")
    if one.plate:
        remarks.append(f"{len(one.plate)} broke in the plate: at least that")
    return f"{words} ({', '.join(remarks)})" if remarks else words


def _held(one: HeldCheck) -> str:
    within = one.held.tolerance
    off = [] if within is None else [
        (coupon, value, one.held.target + (within if value > one.held.target else -within))
        for coupon, value in one.outside
    ]  # fmt: skip
    return _kept(one.held.title, one.held.unit, None if within is None else one.within, one.seen,
                 off)  # fmt: skip


def _varied(one: VariedCheck) -> str:
    within = one.factor.tolerance or 0.0
    off = [
        (coupon, value, planned + (within if value > planned else -within))
        for coupon, value, planned in one.outside
    ]
    return _kept(one.factor.title, one.factor.unit or "", one.within, one.seen, off)


def _kept(
    title: str,
    unit: str,
    within: int | None,
    seen: int,
    outside: Sequence[tuple[Coupon, float, float]],
) -> str:
    """Say how a setting was kept; `outside` are coupons, their settings and the limit passed."""
    name = title[:1].lower() + title[1:]
    if not seen:
        return f"{name} not written down yet"
    if within is None:
        return f"{name} written down {seen}×"
    off = []
    for coupon, value, limit in outside[:_MANY]:
        where = f"run {coupon.run}" if coupon.run is not None else coupon.stamp
        side = "low" if value < limit else "high"
        off.append(f"{side} on {where} ({value:g} {canonical(unit)}, limit {plain(limit)})")
    if len(outside) > _MANY:
        off.append(f"{len(outside) - _MANY} more")
    words = f"{name} in tolerance {within}/{seen}"
    return f"{words}, {', '.join(off)} – will be shown, not dropped" if off else words


def _order(stands: Standing, record: Record) -> str:
    departed = [one.words for one in record.problems if one.column == "started" and one.warning]
    remarks = [words.rstrip(".") for words in (*stands.order_notes, *departed)]
    if not any(coupon.started for coupon in record.coupons):
        return "no starting times written yet"
    return f"as planned except {'; '.join(remarks)}" if remarks else "as planned"


def _codes(trial: Trial, record: Record) -> str:
    if not trial.blind.codes:
        return "not used: the trial is open."
    if record.codes_open:
        return "open. Corrections from now on are marked so."
    return "closed. The reader's sheets carry no gas."


def _listed(stamps: Sequence[str]) -> str:
    shown = ", ".join(stamps[:_MANY])
    return shown if len(stamps) <= _MANY else f"{shown} and {len(stamps) - _MANY} more"
