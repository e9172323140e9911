"""How far the evidence can be trusted, kept apart from what the numbers say.

Start from how the control came about, step down one for each serious gap, never up for a small p:
the idea of GRADE (Guyatt et al. 2008, BMJ 336, 924-926), with the items of ARRIVE 2.0 (Percie du
Sert et al. 2020, PLoS Biol. 18, e3000410) on unit, allocation, blinding and exclusions.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from weldtrial.analysis.blind_leak import held, leaks
from weldtrial.analysis.compare import compared_factors
from weldtrial.analysis.findings import Grade, GradeCode, SetAside
from weldtrial.shared.factors import Factor
from weldtrial.shared.look_state import peeks
from weldtrial.shared.record import Coupon, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

LADDER: tuple[GradeCode, ...] = ("cannot_be_judged", "anecdote", "weak", "fair", "strong")
GRADE_WORDS: dict[GradeCode, str] = {
    "strong": "Strong",
    "fair": "Fair",
    "weak": "Weak",
    "anecdote": "Anecdote",
    "cannot_be_judged": "Cannot be judged",
}
ADOPTED = "a table answers fewer than half of the questions that decide how far it can be trusted"
REVIEW_QUESTIONS = (
    "Was the order shuffled, and how?",
    "Were both sides welded in the same sessions?",
    "Was the control recorded at the time, earlier, or remembered?",
    "How many separate set-ups of each were there?",
    "Are rows different welds, or readings of one weld?",
    "Were plate heat, wire spool, stick-out, position and welder the same?",
    "Were the settings the same for both, or each its own, and who tuned them?",
    "Was the bead size measured, and alike?",
)
"""What decides how far somebody's numbers can be trusted; none is answered by the numbers."""
MACHINE_WORDS = ("machine", "tractor", "robot", "carriage", "mechanised")


def compared_factor(trial: Trial) -> Factor | None:
    """Return the factor the trial compares: a hard-to-change one first, None without any."""
    compared = compared_factors(trial)
    hard = [factor for factor in compared if factor.hard_to_change]
    return next(iter([*hard, *compared]), None)


def _levelled_factor(trial: Trial) -> Factor | None:
    """Return the factor whose levels are counted: what is compared, else what is hard to change."""
    numbers = sorted(trial.varied, key=lambda factor: not factor.hard_to_change)
    return compared_factor(trial) or next(iter(numbers), None)


def grade(
    trial: Trial, record: Record, aside: Sequence[SetAside], *, codes_open: bool = False
) -> Grade:
    """Grade the evidence from what the folder itself shows; the rest is listed as unanswered.

    Whether blind readers guessed the gas is looked at only with `codes_open`.
    """
    if record.adopted:
        return Grade("cannot_be_judged", "cannot_be_judged", ADOPTED, unanswered=REVIEW_QUESTIONS)
    start, why, pluses = _start(trial, record)
    downs = [
        words
        for words in (
            _not_blind(trial),
            _bead_not_measured(trial, record.coupons),
            _unruled_settings(trial),
            _losses(trial, record, aside),
            _opened_early(record),
            _amended(record),
            _peeked(record),
        )
        if words
    ]
    if codes_open and (leaked := leaks(trial, record)):
        downs.append("; ".join(leaked))  # one blind, so one step
    place = max(1, LADDER.index(start) - len(downs))
    if trial.blind.codes and trial.blind.who:
        titles = ", ".join(trial.response(name).title for name in trial.blind.who)
        pluses.append(f"readings of {titles} taken from stamps only")
    pluses += held(trial, record) if codes_open else ()
    return Grade(LADDER[place], start, why, tuple(pluses), tuple(downs), _unanswered(trial, record))


def _units(trial: Trial, record: Record) -> dict[str, int]:
    """Return set-ups (or coupons where nothing is hard to change) welded at each level."""
    factor = _levelled_factor(trial)
    if factor is None:
        return {}
    seen = {
        (c.levels[factor.name], c.setup if factor.hard_to_change else c.stamp)
        for c in record.coupons
        if _tells(c)
    }
    counts = Counter(level for level, _ in seen)
    return {level: counts.get(level, 0) for level in factor.levels}


def _tells(coupon: Coupon) -> bool:
    """Whether a coupon was welded and not lost: it has a reading that counts, or awaits one."""
    if coupon.lost or not (coupon.welded or coupon.readings):
        return False
    readings = [one for typed in coupon.readings.values() for one in typed]
    return not readings or any(one.kind != "lost" for one in readings)


def units_per_level(trial: Trial, record: Record) -> int:
    """Return set-ups of the scarcer level (coupons where nothing is hard to change)."""
    return min(_units(trial, record).values(), default=len(record.coupons))


def was_shuffled(record: Record) -> bool:
    """Whether the order was drawn from a seal taken before the first result."""
    return record.sealed in ("sealed", "amended") and not record.adopted


def _same_sessions(trial: Trial, record: Record) -> bool:
    factor = _levelled_factor(trial)
    rounds: dict[int, set[str]] = {}
    for coupon in record.coupons:
        if factor is not None and coupon.round is not None and _tells(coupon):
            rounds.setdefault(coupon.round, set()).add(coupon.levels[factor.name])
    return factor is None or all(seen >= set(factor.levels) for seen in rounds.values())


def _start(trial: Trial, record: Record) -> tuple[GradeCode, str, list[str]]:
    units = units_per_level(trial, record)
    factor = _levelled_factor(trial)
    hard = factor is not None and factor.hard_to_change
    thing = "set-ups" if hard else "coupons"
    shuffled, together = was_shuffled(record), _same_sessions(trial, record)
    pluses = []
    if shuffled:
        pluses.append("order shuffled, from a seal taken before the first result")
    if together and hard:
        pluses.append("every level welded in every round")
    if units < 2:
        return "weak", f"one {thing[:-1]} of each level at most ({units})", pluses
    if shuffled and together and units >= 4:
        return "strong", f"shuffled, all levels in every session, {units} {thing} a level", pluses
    gaps = [
        "" if shuffled else "the order was not drawn beforehand",
        "" if together else "some sessions hold one level only",
        "" if units >= 4 else f"only {units} {thing} a level",
    ]
    return "fair", "; ".join(gap for gap in gaps if gap), pluses


def _judged(response: Response) -> bool:
    return response.kind != "number" or bool(response.crack_rule)


def _not_blind(trial: Trial) -> str:
    seen = [
        r.title
        for r in trial.responses
        if _judged(r) and not (trial.blind.codes and r.name in trial.blind.who)
    ]
    return f"judged by someone who may have known the level: {', '.join(seen)}" if seen else ""


def _by_machine(trial: Trial) -> bool:
    held = " ".join(factor.hold_by.lower() for factor in trial.factors)
    return any(word in held for word in MACHINE_WORDS)


def bead_measured(coupons: Sequence[Coupon]) -> bool:
    """Whether four coupons in five have a throat written down."""
    welded = [c for c in coupons if c.welded or c.readings]
    return sum("throat_mm" in c.measured for c in welded) >= 0.8 * len(welded) > 0


def _bead_not_measured(trial: Trial, coupons: Sequence[Coupon]) -> str:
    if _by_machine(trial) or bead_measured(coupons):
        return ""
    return "hand welding by someone who knew the level, and bead size (throat) not measured"


def _unruled_settings(trial: Trial) -> str:
    slides = any(factor.slides_with for factor in trial.factors)
    if slides and not (trial.fair.rule and trial.fair.how):
        return "settings differ between levels without a stated rule of how they were found"
    return ""


def _losses(trial: Trial, record: Record, aside: Sequence[SetAside]) -> str:
    factor = compared_factor(trial)
    lost = {entry.stamp for entry in aside if entry.response in ("", trial.deciding.name)}
    if not lost or factor is None:
        return ""
    unexplained = [e.stamp for e in aside if e.why == "lost, no reason given"]
    if unexplained:
        return f"lost without a reason: {', '.join(unexplained)}"
    planned = Counter(c.levels[factor.name] for c in record.coupons if c.role == "count")
    gone = Counter(c.levels[factor.name] for c in record.coupons if c.stamp in lost)
    heavy = [lev for lev, count in gone.items() if count > 0.1 * planned.get(lev, 0)]
    return f"more than 10 % of the coupons of {' and '.join(heavy)} were lost" if heavy else ""


def _opened_early(record: Record) -> str:
    early = any(line.event == "opened-early" for line in record.journal)
    return "codes opened before all readings were in" if early else ""


def _peeked(record: Record) -> str:
    found = peeks(record)
    return f"results looked at when no look was planned: {found[0]}" if found else ""


def _amended(record: Record) -> str:
    return "the sealed question was amended afterwards" if record.sealed == "amended" else ""


def _unanswered(trial: Trial, record: Record) -> tuple[str, ...]:
    handled = " ".join(trial.nuisance).lower()
    questions = [
        (
            ""
            if "spool" in handled or "spool" in trial.fair.fixed.lower()
            else "Was it one spool of wire throughout?"
        ),
        ("" if trial.joint.plate_heat else "Was it one heat of plate throughout?"),
        ("" if "gauge" in handled else "When was the gauge last checked?"),
        ("" if trial.welder else "Who welded?"),
        (
            ""
            if trial.rules.lost and trial.rules.leave_out
            else "Was the rule for leaving coupons out written before?"
        ),
        (
            ""
            if trial.fair.how or not any(f.slides_with for f in trial.factors)
            else "Who tuned the settings of each level, and for how long?"
        ),
        ("" if bead_measured(record.coupons) else "Were the beads of one size?"),
        "Were the coupons really welded as the log says?",
        "Who paid for gas and plate?",
    ]
    return tuple(question for question in questions if question)
