"""What a trial folder tells of itself: seal, order, journal, corrections, coupons that vanished."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from weldtrial.shared.clock import spoken_time
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Coupon, JournalLine
from weldtrial.shared.responses import Response
from weldtrial.shared.review_data import ReviewRow
from weldtrial.shared.review_folder import TheirFolder
from weldtrial.shared.seal import SEALED_EVENTS
from weldtrial.shared.welded_order import parse_started


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that the folder shows.

    Attributes
    ----------
    code
        A fixed word: ``seal-broken``, ``not-sealed``, ``sealed-late``, ``sealed-again``,
        ``amended``, ``opened-early``, ``peeked``, ``late-corrections``, ``vanished``,
        ``unexplained``, ``order``, ``holds``, ...
    serious
        Whether it takes from what the trial can show.
    file
        Where it was seen.
    """

    code: str
    words: str
    serious: bool = False
    file: str = ""


def folder_facts(folder: TheirFolder) -> tuple[Fact, ...]:
    """Return what the folder shows, the serious first, in the words of a reviewer."""
    found = [
        *_of_seal(folder),
        *_of_journal(folder),
        *_of_corrections(folder),
        *_of_coupons(folder),
    ]
    found += [Fact("order", f"Order of welding: {words}", file="weld_log.csv")
              for words in folder.departures]  # fmt: skip
    return tuple(sorted(found, key=lambda fact: not fact.serious))


def _of_seal(folder: TheirFolder) -> Iterator[Fact]:
    for problem in folder.problems:
        yield Fact("seal-broken" if not problem.warning else "warning", str(problem),
                   not problem.warning, problem.file or "")  # fmt: skip
    sealed = folder.sealed
    if sealed is None:
        words = "Not sealed: nothing shows that the plan came before the results."
        yield Fact("not-sealed", words, serious=True)
        return
    for check in folder.checks:
        for problem in check.problems:
            again = problem.warning and "was sealed" in problem.words
            if again:
                continue  # told from the journal
            code = "warning" if problem.warning else "seal-broken"
            yield Fact(code, str(problem), not problem.warning, check.file)
        if check.holds:
            yield Fact("holds", f"{check.file}: {check.words}.", file=check.file)
    if sealed.late or sealed.late_welded:
        words = (
            f"Sealed late: {sealed.late} readings and {sealed.late_welded} welded coupons were "
            "there already, so nothing shows that the plan came first."
        )
        yield Fact("sealed-late", words, serious=True, file="seal.json")
    for amendment in sealed.amendments:
        known = ", the codes being open" if amendment.codes_open else ""
        serious = bool(amendment.readings) or amendment.codes_open
        words = f"{amendment.words[:1].upper()}{amendment.words[1:]}{known}."
        yield Fact("amended", words, serious, "seal.json")


def _of_journal(folder: TheirFolder) -> Iterator[Fact]:
    lines = folder.record.journal
    seals = [line for line in lines if line.event in SEALED_EVENTS]
    if len(seals) > 1:
        when = ", ".join(spoken_time(line.when) for line in seals)
        several = len({line.details[:14] for line in seals}) > 1
        so = (
            "whoever seals again may choose between orders. Please ask why."
            if several
            else "the same question and the same order each time."
        )
        words = f"Sealed {len(seals)} times ({when}): {so}"
        yield Fact("sealed-again", words, serious=several, file="journal.csv")
    told: Mapping[str, str] = {
        "opened-early": "Codes opened before all readings were in",
        "peeked": "Results looked at when no look was planned",
    }
    for line in lines:
        if line.event in told:
            words = f"{told[line.event]} ({spoken_time(line.when)}): {line.details}."
            yield Fact(line.event, words, serious=True, file="journal.csv")


def _of_corrections(folder: TheirFolder) -> Iterator[Fact]:
    lines = folder.record.corrections
    late = [line for line in lines if line.codes_open]
    if late:
        named = "; ".join(
            f"{line.stamp} {line.column} {line.was or 'empty'} → {line.now or 'empty'} ({line.why})"
            for line in late[:5]
        )
        more = f"; and {len(late) - 5} more" if len(late) > 5 else ""
        words = (
            f"{len(late)} of {len(lines)} corrections were made after the codes were opened: "
            f"{named}{more}."
        )
        yield Fact("late-corrections", words, serious=True, file="corrections.csv")
    elif lines:
        words = f"{len(lines)} corrections, all with the codes closed."
        yield Fact("corrections", words, file="corrections.csv")


def _of_coupons(folder: TheirFolder) -> Iterator[Fact]:
    """Name coupons that were planned and are nowhere, once the trial says that all were read."""
    opened = [line for line in folder.record.journal if line.event == "opened"]
    for response in folder.trial.to_read:
        without = [
            coupon.stamp
            for coupon in folder.record.coupons
            if not coupon.lost and coupon.role == "count" and not coupon.readings.get(response.name)
        ]
        if not without:
            continue
        named = ", ".join(without[:8]) + (" …" if len(without) > 8 else "")
        if opened and response.rank == 1 and not _looked(folder.record.journal):
            words = (
                f"{response.title}: all readings were in when the codes were opened "
                f"({spoken_time(opened[0].when)}); now {len(without)} are missing without a word: "
                f"{named}. Please ask what became of them."
            )
            yield Fact("vanished", words, serious=True, file=f"readings/{response.name}.csv")
        else:
            words = f"{response.title}: {len(without)} planned coupons have no reading: {named}."
            yield Fact("unread", words, file=f"readings/{response.name}.csv")
    unexplained = [one.stamp for one in folder.record.coupons if one.lost and not one.lost.strip()]
    if unexplained:
        words = f"Lost without a reason: {', '.join(unexplained)}."
        yield Fact("unexplained", words, serious=True, file="weld_log.csv")


def _looked(journal: tuple[JournalLine, ...]) -> bool:
    return any(line.event in ("looked", "stopped") for line in journal)


def rows_of_record(folder: TheirFolder, response: Response, factor: Factor) -> list[ReviewRow]:
    """Return the coupons of a folder as rows, so that they are looked at as raw data are.

    Parameters
    ----------
    factor
        What is compared; settings that the trial itself varies are left out, as meant.
    """
    meant = {one.name for one in folder.trial.factors}
    coupons = [one for one in folder.record.coupons if one.role in ("count", "spare")]
    places = _order_welded(coupons)
    rows = []
    for number, coupon in enumerate(coupons, 1):
        readings = coupon.readings.get(response.name, ())
        plain = [one.value for one in readings if one.value is not None]
        past = next((one for one in readings if one.kind in ("above", "below")), None)
        value = sum(plain) / len(plain) if plain else (past.low or past.high) if past else None
        started = parse_started(coupon.started)
        seen = {k: v for k, v in {**coupon.as_run, **coupon.measured}.items() if k not in meant}
        rows.append(
            ReviewRow(
                place=readings[0].row or number if readings else number,
                number=number,
                value=value,
                text=readings[0].text if readings and len(plain) == 1 else repr(value),
                group=coupon.levels[factor.name],
                beyond=past.kind if past else "",
                coupon=coupon.stamp,
                setup=str(coupon.setup) if coupon.setup is not None else "",
                day=started.day.isoformat() if started and started.day else "",
                order=places.get(coupon.stamp),
                minute=started.minutes + 1440.0 * started.day.toordinal()
                if started and started.day
                else None,
                reader=readings[0].reader if readings else "",
                measures={k: v for k, v in seen.items() if k != "arc_s"},
            )
        )
    return rows


def _order_welded(coupons: list[Coupon]) -> dict[str, float]:
    """Return places in the order really welded, where every start was written with its day."""
    times = {one.stamp: parse_started(one.started) for one in coupons}
    if all(found is not None and found.day is not None for found in times.values()):
        moments = {
            stamp: (found.day.toordinal(), found.minutes)
            for stamp, found in times.items()
            if found is not None and found.day is not None
        }
        ordered = sorted(moments, key=lambda stamp: moments[stamp])
    else:
        ordered = [one.stamp for one in sorted(coupons, key=lambda one: one.run or 0)]
    return {stamp: float(place) for place, stamp in enumerate(ordered, 1)}
