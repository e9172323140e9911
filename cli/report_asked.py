"""Sections 3 and 4: what was asked and fixed beforehand, and what was done."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from weldtrial.analysis.findings import Findings, Flow
from weldtrial.cli.answering import follows_words
from weldtrial.cli.fair_screen import fair_terms, rule_words
from weldtrial.cli.report_blocks import Block, Box, Flowchart, Heading, Section, Terms, Text, table
from weldtrial.cli.report_looks import looks_beforehand
from weldtrial.cli.report_words import (
    joined,
    margin_words,
    measured_words,
    quantity,
    seal_words,
    settings_words,
)
from weldtrial.shared.clock import spoken_time
from weldtrial.shared.plan import Plan
from weldtrial.shared.record import JournalLine, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import give_or_take, plain
from weldtrial.shared.trial import Trial
from weldtrial.shared.worked_out import RULES

ASKS = {
    "difference": "is there a gap?",
    "no-worse": "no worse by more than the margin?",
    "equal-enough": "equal within the margin?",
}


def asked(trial: Trial, plan: Plan, record: Record, findings: Findings) -> Section:
    """Return section 3, quoted from the sealed file."""
    blocks: list[Block] = [Terms(tuple(_beforehand(trial, plan, findings)))]
    blocks += [Heading("What was changed, and what was kept the same"), _factors(trial)]
    blocks += [Heading("What was measured, and what would matter"), _responses(trial)]
    if trial.claims:
        blocks += [Heading("Statements held against this trial"), _claims(trial)]
    blocks += [Heading("Rules fixed beforehand, word for word"), Terms(tuple(_rules(trial)))]
    amendments = [line for line in record.journal if line.event == "amended"]
    blocks += [_amendment(line) for line in amendments]
    return Section(3, "What was asked and fixed beforehand", tuple(blocks))


def done(trial: Trial, record: Record, findings: Findings) -> Section:
    """Return section 4: the flow of coupons, every loss named."""
    flow = Flowchart(tuple((_whose(line), _stages(trial, line)) for line in findings.flow))
    blocks: list[Block] = [flow] if findings.flow else []
    lost = [
        (coupon.stamp, "the whole coupon", coupon.lost) for coupon in record.coupons if coupon.lost
    ]
    titles = {one.name: one.title for one in trial.responses}
    known = {stamp for stamp, _, _ in lost}
    aside = [
        (one.stamp, titles.get(one.response, one.response) or "the whole coupon", one.why)
        for one in findings.set_aside
        if one.stamp not in known
    ]
    if lost or aside:
        blocks.append(table(("stamp", "not used for", "why"), (*lost, *aside)))
    else:
        blocks.append(Text("Nothing was lost and nothing was set aside."))
    wrong = [(one.stamp, _run(one.run), one.went_wrong) for one in record.coupons if one.went_wrong]
    if wrong:
        blocks += [
            Heading("What went wrong at the bench, as logged"),
            table(("stamp", "run", "what went wrong"), wrong),
        ]
    return Section(4, "What was done", tuple(blocks))


def _amendment(line: JournalLine) -> Box:
    """Return what was changed after sealing, without the fingerprints that prove the line."""
    by = f"By {line.who}." if line.who else ""
    return Box(f"Amended {spoken_time(line.when)}", (*amendment_words(line), by))


def amendment_words(line: JournalLine) -> tuple[str, ...]:
    """Return what changed, how much was in by then, and why, each as words."""
    parts = [part.strip() for part in line.details.split(";")]
    return tuple(part for part in parts[1:] if not part.startswith(("seal ", "amendment ")))


def _beforehand(trial: Trial, plan: Plan, findings: Findings) -> Iterator[tuple[str, str]]:
    yield "Seal", seal_words(findings)
    yield "Question", trial.question or trial.title
    if trial.fair.rule:
        yield (
            "Fair means",
            _sentences(rule_words(trial.fair.rule), trial.fair.how, trial.fair.fixed),
        )
        yield from fair_terms(trial)
    joint = joint_words(trial)
    if joint:
        yield "Joint", joint
    if trial.welder:
        yield "Welder", trial.welder
    yield "Layout", _layout(trial, plan)
    if trial.follows is not None:
        yield "Follows", follows_words(trial)
    if findings.seal:
        rule = f": {plan.restriction} (draw {plan.draws} obeyed it)" if plan.restriction else ""
        yield "Order", f"drawn from the seal{rule}"
    if trial.looks is not None:
        yield "Looks", looks_beforehand(trial)
    if trial.blind.who:
        titles = joined(trial.response(name).title for name in trial.blind.who)
        yield "Read blind", f"{titles}: the reader has stamps only"
    if trial.nuisance:
        yield (
            "Could spoil it",
            joined(f"{k.replace('_', ' ')} ({v})" for k, v in trial.nuisance.items()),
        )


def _sentences(*parts: str) -> str:
    return joined((part.strip().rstrip(".") for part in parts), ". ")


def joint_words(trial: Trial) -> str:
    """Return what is welded, in one line."""
    joint = trial.joint
    return joined(
        (
            joint.type,
            f"leg {quantity(joint.leg)}" if joint.leg else "",
            f"{joint.plate_grade} {quantity(joint.plate_thickness)}".strip(),
            f"heat {joint.plate_heat}" if joint.plate_heat else "",
            f"{joint.wire_class} {quantity(joint.wire_diameter)}".strip(),
            f"process {joint.process} (ISO 4063)" if joint.process else "",
            f"position {joint.position}" if joint.position else "",
        )
    )


def _layout(trial: Trial, plan: Plan) -> str:
    counting = plan.of_role("count")
    rounds = len({run.round for run in counting if run.round is not None})
    setups = len({run.setup for run in counting if run.setup is not None})
    parts = [f"{len(counting)} coupons"]
    parts += [f"{setups} set-ups"] if setups else ["completely shuffled"]
    parts += [f"{rounds} rounds"] if rounds else []
    spares, warm = len(plan.of_role("spare")), len(plan.of_role("warm-up"))
    parts += [f"{warm} warm-ups, never read"] if warm else []
    parts += [f"{spares} spares"] if spares else []
    return joined(parts)


def _factors(trial: Trial) -> Block:
    rows = [
        (
            factor.title,
            settings_words(factor),
            "by set-up" if factor.hard_to_change else "coupon by coupon" if factor.varied else "",
            factor.one_setup,
        )
        for factor in trial.factors
    ]
    rows += [
        (
            held.title,
            f"{plain(held.target)} {held.unit}{give_or_take(held.tolerance)}",
            "kept the same",
            "",
        )
        for held in trial.held
    ]
    return table(("what", "settings", "changed", "one set-up is"), rows, wide=True)


def _responses(trial: Trial) -> Block:
    headers = ("response", "asks", "better", "margin", "why", "gauge", "cuts")
    return table(headers, [_response(one) for one in trial.responses], wide=True)


def _response(one: Response) -> tuple[str, ...]:
    gauge = joined(
        (
            _worked_out(one),
            f"reads to {plain(one.reads_to)}" if one.reads_to is not None else "",
            f"stops at {plain(one.most)}" if one.most is not None else "",
            f"from {plain(one.least)}" if one.least is not None else "",
        )
    )
    return (
        f"{one.title}, {measured_words(one.kind, one.unit)}"
        + (" (decides)" if one.rank == 1 else ""),
        ASKS[one.ask],
        one.better,
        margin_words(one),
        one.margin_why,
        gauge,
        str(one.sections) if one.sections > 1 else "",
    )


def _worked_out(one: Response) -> str:
    how = one.worked_out
    if how is None:
        return ""
    return f"worked out: {RULES[how.quantity].words}" + (f", from {how.of}" if how.of else "")


def _claims(trial: Trial) -> Block:
    rows = [
        (
            f"“{claim.says}”",
            claim.source,
            f"{claim.level} {'/' if claim.ratio else '−'} {claim.reference} = {plain(claim.value)}",
        )
        for claim in trial.claims
    ]
    return table(("statement", "source", "held to mean"), rows, wide=True)


def _rules(trial: Trial) -> Iterator[tuple[str, str]]:
    rules = trial.rules
    written = (
        ("Lost", rules.lost),
        ("Leave out", rules.leave_out),
        ("Weld again", rules.reweld),
        ("Stop", rules.stop),
    )
    for name, words in written:
        yield name, words or "no rule was written"
    yield (
        "Intervals",
        f"{plain(100 * rules.confidence)} %: ranges made this way miss the truth about 1 time in "
        f"{plain(round(1 / (1 - rules.confidence)))}",
    )


def _whose(line: Flow) -> str:
    return line.level or "all"


def _stages(trial: Trial, line: Flow) -> tuple[tuple[str, str], ...]:
    stages = [("planned", str(line.planned)), ("welded", str(line.welded))]
    for name, numbers in (("tested", line.tested), ("used", line.used)):
        stages.append((name, _per_response(trial, numbers)))
    return tuple(stages)


def _per_response(trial: Trial, numbers: Mapping[str, int]) -> str:
    """Return one number where all responses agree, else one for each."""
    if len(set(numbers.values())) == 1:
        return str(next(iter(numbers.values())))
    titles = {one.name: one.name.replace("_", " ") for one in trial.responses}
    return joined(f"{titles.get(name, name)} {number}" for name, number in numbers.items())


def _run(number: int | None) -> str:
    return "spare" if number is None else str(number)
