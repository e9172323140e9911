"""What raw data, or a trial folder, answer of the reviewer's questions by themselves."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import mean

from weldtrial.analysis.blind_leak import leaks
from weldtrial.analysis.evidence_grade import Fault
from weldtrial.analysis.findings import SetAside
from weldtrial.analysis.grade import MACHINE_WORDS, bead_measured, compared_factor, units_per_level
from weldtrial.analysis.suspicion_record import Suspicion
from weldtrial.analysis.suspicion_ties import units_of
from weldtrial.shared.answers import Answer, Answers, Source, value_of
from weldtrial.shared.look_state import peeks
from weldtrial.shared.record import Reading, Record
from weldtrial.shared.review_data import ReviewRow
from weldtrial.shared.review_facts import Fact
from weldtrial.shared.trial import Trial

BEADS = ("throat", "leg", "bead")
"""How the name of a column of bead sizes starts or what it holds."""

_COSTS = {
    "seal-broken": "something in the folder is not as it was sealed",
    "sealed-again": "sealed more than once",
    "opened-early": "codes opened before all readings were in",
    "peeked": "results looked at when no look was planned",
    "amended": "the sealed question was amended after readings were in",
    "vanished": "coupons that had been read are missing",
    "unexplained": "coupons lost without a reason",
    "verdict-rests-on-corrections": "the verdict rests on corrections made after opening",
    "report-differs": "its report says what its files do not give",
}
"""Facts of a folder that cost a step, with the reason as a grade gives it."""
_AGAINST = {
    "seal-broken": "What was changed after sealing may have been changed to fit.",
    "sealed-again": "Of several orders the one that came out best may have been kept.",
    "opened-early": "Whoever read the rest may have known which side it was.",
    "peeked": "Who looks often finds a moment at which it looks good.",
    "amended": "A question that is changed once readings are in can be changed to suit them.",
    "vanished": "The missing coupons may be the ones that did not fit.",
    "unexplained": "The lost coupons may be the ones that did not fit.",
    "verdict-rests-on-corrections": "Corrections made with the codes open can be made to fit.",
    "report-differs": "The report was written from other figures than these.",
}


def _seen(source: Source, key: str, value: str, because: str) -> tuple[str, Answer]:
    return key, Answer(key, value, source, because)


# ------------------------------------------------------------------ raw data


def answers_of_rows(
    rows: Sequence[ReviewRow], suspicions: Sequence[Suspicion], *, folded: bool
) -> dict[str, Answer]:
    """Return what raw figures answer.

    Parameters
    ----------
    folded
        Whether readings of one coupon were folded.
    """
    found: list[tuple[str, Answer]] = []
    tied = {name: one for one in suspicions for name in one.columns if one.strength == "tied"}
    kept = [row for row in rows if row.value is not None]
    if "order" in tied:
        found.append(_seen("data", "order", "no", "one side stands whole before the other"))
    found += _sessions(kept, tied)
    units = units_of(kept)
    if units.by_setups:
        fewest = min(list(units.side).count(code) for code in range(len(units.sides)))
        value = "one" if fewest == 1 else "two-or-three" if fewest < 4 else "four-or-more"
        found.append(_seen("data", "setups", value, f"{fewest} of the scarcer side are named"))
    if kept and all(row.coupon for row in kept):
        because = "rows of one stamp are one coupon" if folded else "every row has its own stamp"
        found.append(_seen("data", "units", "folded" if folded else "welds", because))
    found += _beads(kept, suspicions)
    if any(row.beyond for row in kept):
        found.append(_seen("data", "limit", "at-least", "readings such as >90 are in the file"))
    found.append(_seen("data", "raw", "yes", "they are these"))
    return dict(found)


def _sessions(rows: Sequence[ReviewRow], tied: dict[str, Suspicion]) -> list[tuple[str, Answer]]:
    if "day" in tied:
        return [_seen("data", "sessions", "no", "every day holds one side only")]
    sides = {row.group for row in rows}
    days: dict[str, set[str]] = {}
    for row in rows:
        days.setdefault(row.day, set()).add(row.group)
    if rows and "" not in days and all(seen == sides for seen in days.values()):
        return [_seen("data", "sessions", "yes", f"each of {len(days)} days holds both sides")]
    return []


def _beads(rows: Sequence[ReviewRow], suspicions: Sequence[Suspicion]) -> list[tuple[str, Answer]]:
    names = [
        name
        for name in dict.fromkeys(name for row in rows for name in row.measures)
        if any(word in name.casefold() for word in BEADS)
        and sum(name in row.measures for row in rows) >= 0.8 * len(rows)
    ]
    if not names:
        return []
    for one in suspicions:
        if one.asks and set(one.columns) & set(names):
            return [_seen("data", "bead", "differed", f"{one.columns[0]} differs between sides")]
    sides: dict[str, list[float]] = {}
    for row in rows:
        if names[0] in row.measures:
            sides.setdefault(row.group, []).append(row.measures[names[0]])
    said = ", ".join(f"{side} {mean(values):.3g}" for side, values in sides.items())
    return [_seen("data", "bead", "alike", f"{names[0]} on average: {said}")]


def cannot_tell_from(suspicions: Sequence[Suspicion], answers: Answers) -> tuple[str, ...]:
    """Return what the side cannot be told from, by name: any of it bars a verdict on the side.

    A setting that each side has of its own, by a rule that was stated, belongs to the side.
    """
    ruled = value_of(answers, "settings") == "own-rule"
    names = [
        one.columns[0]
        for one in suspicions
        if one.strength == "tied" and one.columns and not (ruled and one.code == "own-setting")
    ]
    return tuple(dict.fromkeys("that one set-up" if name == "setup" else name for name in names))


def faults_of_rows(
    suspicions: Sequence[Suspicion], answers: Answers | None = None
) -> tuple[Fault, ...]:
    """Return what was noticed in raw figures that holds a grade down, whatever is answered.

    Settings that differ throughout cost a step by the answer to question 7; with `answers` that
    say they were the same, by what was seen.
    """
    found = []
    same = value_of(answers or {}, "settings") == "same"
    for one in suspicions:
        if one.code == "own-setting" and same:
            words = f"settings were said to be the same, and {one.columns[0]} differs throughout"
            found.append(Fault("own-setting", words, one.words))
        name = one.columns[0] if one.columns else ""
        if one.strength == "tied" and one.code in ("tied", "one-setup"):
            words = f"the side cannot be told from {name or 'something else'}"
            found.append(Fault(f"tied-{name}", words, one.words, at_most="weak"))
        elif one.code in ("alike-in-blocks", "equal-neighbours", "same-minute") and one.asks:
            words = "readings that look like several of one weld are counted as coupons"
            found.append(Fault("re-measures", words, one.words))
        elif one.code in ("drift", "leans", "losses", "gaps") and one.asks:
            found.append(Fault(f"{one.code}-{name}", one.words.partition(":")[0], one.words))
    return tuple(found)


# ------------------------------------------------------------------ a folder


def answers_of_folder(
    trial: Trial,
    record: Record,
    aside: Sequence[SetAside],
    facts: Sequence[Fact],
    noticed: Sequence[Suspicion] = (),
) -> dict[str, Answer]:
    """Return what a trial folder answers: most of the questions, from its own files."""
    codes = {fact.code for fact in facts}
    found: list[tuple[str, Answer]] = []

    def see(key: str, value: str, because: str) -> None:
        found.append(_seen("folder", key, value, because))

    if record.sealed in ("sealed", "amended"):
        see("order", "drawn", f"drawn from seal {record.seal}")
    elif record.sealed == "late":
        see("order", "no", "sealed when results were already in")
    if (together := _together(trial, record)) is not None:
        see("sessions", "yes" if together else "no", "from the rounds of the plan as welded")
    see("controls", "recorded", "the control is one of the sides of this trial")
    fewest = units_per_level(trial, record)
    value = "one" if fewest < 2 else "two-or-three" if fewest < 4 else "four-or-more"
    see("setups", value, f"{fewest} welded of the scarcer side")
    see("units", "welds", "readings of one stamp are averaged into one coupon")
    if trial.fair.fixed:
        see("same", "yes", f"the sealed question says: {trial.fair.fixed}")
    found += _settings_of(trial)
    found += _bead_of(trial, record, noticed)
    found += _reading_of(trial, record)
    see("left-out", *_left_out(trial, record, aside, codes))
    past = any(one.kind in ("above", "below") for one in _deciding(trial, record))
    see("limit", "at-least" if past else "not-reached", "from the readings")
    places = {one.failed_at for one in _deciding(trial, record) if one.failed_at}
    if places:
        see("place", "plate" if "plate" in places else "weld", "from the readings")
    see("outcomes", "all-told", f"the sealed question names {len(trial.responses)}")
    if peeks(record):
        see("decided", "on-the-way", "looked at when no look was planned")
    elif record.sealed == "sealed":
        see("decided", "before", "sealed before the first result")
    elif record.sealed == "amended":
        see("decided", "on-the-way" if "amended" in codes else "before", "amended after sealing")
    see("raw", "yes", "they are in the folder")
    return dict(found)


def _deciding(trial: Trial, record: Record) -> list[Reading]:
    name = trial.deciding.name
    return [one for coupon in record.coupons for one in coupon.readings.get(name, ())]


def _together(trial: Trial, record: Record) -> bool | None:
    factor = compared_factor(trial)
    if factor is None:
        return None
    rounds: dict[int, set[str]] = {}
    for coupon in record.coupons:
        if coupon.round is not None and coupon.readings and not coupon.lost:
            rounds.setdefault(coupon.round, set()).add(coupon.levels[factor.name])
    return all(seen >= set(factor.levels) for seen in rounds.values()) if rounds else None


def _settings_of(trial: Trial) -> list[tuple[str, Answer]]:
    slides = [factor for factor in trial.factors if factor.slides_with]
    if not slides:
        return [_seen("folder", "settings", "same", "no setting slides with the side")]
    ruled = bool(trial.fair.rule and trial.fair.how)
    because = "the sealed question says how" if ruled else "no rule in the sealed question"
    return [_seen("folder", "settings", "own-rule" if ruled else "differed", because)]


def _bead_of(
    trial: Trial, record: Record, noticed: Sequence[Suspicion]
) -> list[tuple[str, Answer]]:
    held = " ".join(factor.hold_by.lower() for factor in trial.factors)
    if any(word in held for word in MACHINE_WORDS):
        return [_seen("folder", "bead", "machine", "the sealed question says so")]
    if any(one.asks and "throat_mm" in one.columns for one in noticed):
        return [_seen("folder", "bead", "differed", "throats of the two sides are not alike")]
    if bead_measured(record.coupons):
        return [_seen("folder", "bead", "alike", "throat is in the weld log")]
    return [_seen("folder", "bead", "not-measured", "no throat in the weld log")]


def _reading_of(trial: Trial, record: Record) -> list[tuple[str, Answer]]:
    one = trial.deciding
    judged = one.kind != "number" or bool(one.crack_rule)
    if not judged:
        return [
            _seen("folder", "reader", "instrument", f"{one.title} is read off a gauge"),
            _seen("folder", "rule", "not-needed", f"{one.title} is read off a gauge"),
        ]
    blind = trial.blind.codes and one.name in trial.blind.who and not leaks(trial, record)
    because = "read from stamps only" if blind else "not read from stamps only, or the blind leaked"
    found = [_seen("folder", "reader", "blind" if blind else "knew", because)]
    if one.crack_rule:
        found.append(_seen("folder", "rule", "yes", f"sealed: {one.crack_rule}"))
    return found


def _left_out(
    trial: Trial, record: Record, aside: Sequence[SetAside], codes: set[str]
) -> tuple[str, str]:
    if codes & {"vanished", "unexplained"}:
        return "unexplained", "coupons are missing without a word"
    lost = {entry.stamp for entry in aside if entry.response in ("", trial.deciding.name)}
    if not lost:
        return "none", "every planned coupon was read"
    if any(e.why == "lost, no reason given" for e in aside):
        return "unexplained", "lost without a reason"
    factor = compared_factor(trial)
    if factor is not None:
        for level in factor.levels:
            mine = [c for c in record.coupons if c.levels.get(factor.name) == level]
            gone = sum(coupon.stamp in lost for coupon in mine)
            if gone > 0.1 * len(mine):
                return "lopsided", f"{gone} of {len(mine)} of {level}"
    return "explained", f"{len(lost)} lost, each with a reason"


def faults_of_folder(facts: Sequence[Fact]) -> tuple[Fault, ...]:
    """Return the facts that cost a step: each kind once, whatever was answered."""
    found: dict[str, Fault] = {}
    for fact in facts:
        if fact.serious and fact.code in _COSTS:
            found.setdefault(fact.code, Fault(fact.code, _COSTS[fact.code], _AGAINST[fact.code]))
    return tuple(found.values())
