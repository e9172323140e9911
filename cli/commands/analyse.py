"""``weldtrial analyse``: checks with the codes closed, then verdicts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from weldtrial.cli.answering import answer
from weldtrial.cli.findings_json import findings_json
from weldtrial.cli.findings_screen import show_as_if, show_closed, show_open
from weldtrial.cli.gauge_folder import analyse_gauge, gauge_opened
from weldtrial.cli.look_sizing import sizing_json, sizing_of
from weldtrial.cli.looking import (
    must_fit,
    note_look,
    show_sizing,
    write_sizing,
    write_stop,
)
from weldtrial.cli.opening import Opened, open_trial
from weldtrial.cli.options import Common, common_options
from weldtrial.shared.journal import note
from weldtrial.shared.look_state import look_at, of_look

if TYPE_CHECKING:
    from weldtrial.analysis.afterwards import Afterwards
    from weldtrial.analysis.findings import Findings

AS_IF = {"shuffled": "every coupon apart", "all-coupons-apart": "two heaps of coupons"}
"""Naive analyses by the name they are asked for."""


@click.command(short_help="Look at the checks, open the codes, read the verdicts.")
@click.option("--agree", is_flag=True, help="Agree with the checks while the codes are closed.")
@click.option("--open", "open_codes", is_flag=True, help="Open the codes; this is journalled.")
@click.option(
    "--also",
    multiple=True,
    metavar="NAME",
    help="Compare something of the weld log too, such as throat_mm; never more than a hint.",
)
@click.option(
    "--as-if",
    type=click.Choice(list(AS_IF)),
    help="Show beside ours what a test that forgets the set-ups would have said.",
)
@click.option("--stop", is_flag=True, help="End the trial at this planned look; journalled.")
@click.option(
    "--peek",
    is_flag=True,
    help="Show a look that was not planned, marked NOT FINAL; journalled, and it costs a grade.",
)
@click.option("--yes", is_flag=True, help="Open before all readings are in without asking.")
@common_options
def command(
    common: Common,
    *,
    agree: bool,
    open_codes: bool,
    also: tuple[str, ...],
    as_if: str | None,
    stop: bool,
    peek: bool,
    yes: bool,
) -> None:
    """Say what the coupons show, response by response, at the right level of error.

    While the codes are closed the gases are P and Q, and only checks and spreads are shown.
    """
    if (study := gauge_opened(common)) is not None:
        asked = {"agree": agree, "open": open_codes, "also": also, "as-if": as_if, "stop": stop,
                 "peek": peek}  # fmt: skip
        analyse_gauge(common, study, [f"--{name}" for name, value in asked.items() if value])
        return
    opened = open_trial(common)
    is_open = opened.record.codes_open
    must_fit(opened, peek=peek, stop=stop, agree=agree, is_open=is_open or open_codes)
    findings = answer(opened, codes_open=is_open or open_codes, peek=peek)
    if open_codes and not is_open:
        is_open = _open(common, opened, findings, yes=yes)
        if not is_open:
            findings = answer(opened, codes_open=False)
    if is_open:
        note_look(opened, findings)
        if stop:
            write_stop(common, opened, findings)
            opened = open_trial(common)
            findings = answer(opened, codes_open=True)
    afterwards = _look(opened, also) if is_open else ()
    if common.json:
        sizing = {} if is_open else {"sizing": sizing_json(sizing_of(opened))}
        common.console.json(findings_json(findings) | {"afterwards": list(afterwards)} | sizing)
    else:
        _show(common, opened, findings, as_if, afterwards)
    if not is_open:
        _agree(common, opened, agree=agree)


def unread(opened: Opened) -> dict[str, int]:
    """Return, for each response with coupons still to be read at this look, how many."""
    record = of_look(opened.record, look_at(opened.trial, opened.record))
    counts = {}
    for response in opened.trial.to_read:
        waiting = [
            coupon
            for coupon in record.coupons
            if not coupon.lost and not coupon.readings.get(response.name)
        ]
        if waiting:
            counts[response.name] = len(waiting)
    return counts


def _open(common: Common, opened: Opened, findings: Findings, *, yes: bool) -> bool:
    """Open the codes and journal it; False when the user decided to wait."""
    waiting = unread(opened)
    total = len(opened.record.coupons)
    peeked = findings.look.state == "unplanned"
    early = waiting and opened.trial.blind.open_when == "all-results-in" and not peeked
    if early:
        name, count = max(waiting.items(), key=lambda item: item[1])
        question = (
            f"{total - count} of {total} {opened.trial.response(name).title} readings are in. "
            "Opening now would let the reader know the gas for the rest, and will be printed on "
            "page 1. Go on?"
        )
        if not yes and not common.console.confirm(question, flag="--yes"):
            return False
    levels = " and ".join(f"{code} = {level}" for code, level in opened_codes(opened))
    agreed = any(line.event == "agreed" for line in opened.record.journal)
    choices = "choices agreed before" if agreed else "choices not agreed before"
    details = f"{levels}; {choices}" if levels else choices
    if early:
        details += "; not yet read: " + ", ".join(f"{n} {name}" for name, n in waiting.items())
    if opened.trial.looks is not None and not findings.look.final:
        number = findings.look.number
        details += "; not a planned look" if number is None else f"; planned look {number}"
    note(
        opened.folder,
        "opened-early" if early else "opened",
        details,
        who=opened.trial.owner,
    )
    common.console.line(f"Codes opened. {levels}." if levels else "Codes opened.")
    return True


def opened_codes(opened: Opened) -> tuple[tuple[str, str], ...]:
    """Return what the codes P, Q ... stood for: the levels in the order first welded."""
    from weldtrial.analysis.grade import compared_factor

    factor = compared_factor(opened.trial)
    if factor is None:
        return ()
    seen = dict.fromkeys(
        coupon.levels[factor.name]
        for coupon in sorted(opened.record.coupons, key=lambda one: one.run or 0)
    )
    return tuple(zip("PQRSTUVW", seen, strict=False))


def _look(opened: Opened, names: tuple[str, ...]) -> tuple[Afterwards, ...]:
    if not names:
        return ()
    from weldtrial.analysis.afterwards import look_afterwards

    record = of_look(opened.record, look_at(opened.trial, opened.record))
    return tuple(look_afterwards(opened.trial, record, name) for name in names)


def _show(
    common: Common,
    opened: Opened,
    findings: Findings,
    as_if: str | None,
    afterwards: tuple[Afterwards, ...],
) -> None:
    console = common.console
    for warning in opened.warnings:
        console.warn(str(warning))
    if not findings.codes_open:
        show_closed(console, opened.trial, findings)
        show_sizing(common, opened)
        return
    show_open(console, opened.trial, findings)
    if as_if is not None:
        show_as_if(console, findings, AS_IF[as_if])
    if afterwards:
        console.heading("Looked at afterwards (not in the sealed question)")
        for one in afterwards:
            console.line(f"  {one.words}", hang=2)
    console.line()
    if findings.look.state == "planned" and findings.may_stop:
        console.next("analyse --stop", "to end here; or weld on")
    elif findings.look.state in ("planned", "unplanned"):
        console.next("check", "for what to weld or read next")
    else:
        console.next("report", "for the page to show others")


def _agree(common: Common, opened: Opened, *, agree: bool) -> None:
    """Ask whether the choices stand, and journal the answer, while nobody knows the gas."""
    sizes = look_at(opened.trial, opened.record).state == "scatter"
    agreed = any(line.event == "agreed" for line in opened.record.journal)
    already = agreed and not sizes
    asked = not already and not agree and common.console.may_ask
    if agree or (asked and common.console.confirm("Agree with these choices?", flag="--agree")):
        if not agreed:
            note(
                opened.folder,
                "agreed",
                "checks and analysis looked at with the codes closed",
                who=opened.trial.owner,
            )
        write_sizing(common, opened)
        common.console.line("Written down.")
        already = True
        opened = open_trial(common)
    common.console.line()
    if look_at(opened.trial, opened.record).state == "unplanned":
        common.console.next("check", "for what to weld or read before the next look")
    elif already:
        common.console.next("analyse --open")
    else:
        common.console.next("analyse --agree", "once you agree with these choices")
