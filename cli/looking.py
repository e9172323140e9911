"""What looking leaves in the journal: planned looks, peeks, a stop, a re-sizing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.look_sizing import sizing_lines, sizing_of
from weldtrial.shared.journal import note
from weldtrial.shared.look_state import look_at
from weldtrial.shared.problems import NotEnough, WrongUsage

if TYPE_CHECKING:
    from weldtrial.analysis.findings import Findings
    from weldtrial.cli.opening import Opened
    from weldtrial.cli.options import Common
    from weldtrial.shared.look_state import Look


def must_fit(opened: Opened, *, peek: bool, stop: bool, agree: bool, is_open: bool) -> None:
    """Refuse options that do not fit where the trial stands.

    Raises
    ------
    WrongUsage
        With what would fit.
    """
    trial, look = opened.trial, look_at(opened.trial, opened.record)
    if agree and opened.record.codes_open:
        raise WrongUsage(
            "The codes are open: there is nothing left to agree to blindly.",
            hint="See the verdicts with  weldtrial analyse",
        )
    if (peek or stop) and trial.looks is None:
        raise WrongUsage(
            f"This trial plans no looks, so --{'peek' if peek else 'stop'} has nothing to do here.",
            hint="Looks are planned before sealing: see  weldtrial help looks",
        )
    if (peek or stop) and not is_open:
        raise WrongUsage(
            "The codes are closed, so there is no answer to look at.",
            hint=f"Open them in the same breath:  weldtrial analyse --open "
            f"--{'peek' if peek else 'stop'}",
        )
    if stop and look.state != "planned":
        raise WrongUsage(f"{_why_no_stop(opened, look)}", hint="Where it stands:  weldtrial check")


def _why_no_stop(opened: Opened, look: Look) -> str:
    assert opened.trial.looks is not None
    if opened.trial.looks.scatter_only:
        return "This trial looks at its scatter only: it ends by the number of rounds."
    if look.state == "stopped":
        return f"This trial was stopped after round {look.uses} already."
    if look.state == "last":
        return "All rounds are in: there is nothing left to stop."
    from weldtrial.analysis.look_words import after, read_words

    return (
        f"A trial is stopped at a planned look only, {after(look.ends[:-1])}; {read_words(look)}."
    )


def note_look(opened: Opened, findings: Findings) -> None:
    """Journal that results were looked at: each planned look once, each peek once."""
    look = findings.look
    if not findings.codes_open or opened.trial.looks is None:
        return
    if look.state in ("planned", "last") and not opened.trial.looks.scatter_only:
        start = f"after round {look.uses} of {look.ends[-1]}"
        known = [line.details for line in opened.record.journal if line.event == "looked"]
        if not any(details.startswith(f"{start}:") for details in known):
            _write(opened, "looked", f"{start}: {_verdicts(findings)}")
    elif look.state == "unplanned" and not has_peeked(opened, look):
        _write(opened, "peeked", peek_details(look))


def _write(opened: Opened, event: str, details: str) -> None:
    note(opened.folder, event, details, who=opened.trial.owner)  # type: ignore[arg-type]


def peek_details(look: Look) -> str:
    """Return what the journal says of a look that was not planned."""
    from weldtrial.analysis.look_words import read_words

    return f"{read_words(look)}, {look.unread} of {look.counting} coupons not yet"


def has_peeked(opened: Opened, look: Look) -> bool:
    """Tell whether the journal holds a peek at just what is read now."""
    details = peek_details(look)
    return any(line.event == "peeked" and line.details == details for line in opened.record.journal)


def may_report(opened: Opened) -> bool:
    """Tell whether a report may show a look that was not planned: once it was peeked at."""
    look = look_at(opened.trial, opened.record)
    return look.state in ("unplanned", "scatter") and has_peeked(opened, look)


def _verdicts(findings: Findings) -> str:
    deciding = min(findings.responses, key=lambda one: one.rank)
    codes = [(one, one.verdict.code or "no_verdict") for one in deciding.comparisons]
    return "; ".join(
        f"{one.level} against {one.reference}: {code.replace('_', ' ')}" for one, code in codes
    )


def write_stop(common: Common, opened: Opened, findings: Findings) -> None:
    """Journal that the trial stops at this planned look."""
    look = findings.look
    why = "the bound is passed" if findings.may_stop else "the bound is not passed"
    _write(
        opened,
        "stopped",
        f"after round {look.uses} of {look.ends[-1]}: {why}; {_verdicts(findings)}",
    )
    common.console.line(
        f"Written down: the trial stops after round {look.uses} of {look.ends[-1]}. What is welded "
        "after this does not count."
    )


def show_sizing(common: Common, opened: Opened) -> None:
    """Show what the scatter asks for, where that look is due."""
    found = sizing_of(opened)
    if found is None:
        return
    common.console.heading("How many rounds, from the scatter alone")
    for words in sizing_lines(opened.trial, found):
        common.console.line(f"  {words}", hang=2)


def write_sizing(common: Common, opened: Opened) -> None:
    """Journal the rounds that the scatter asks for, where that look is due."""
    found = sizing_of(opened)
    if found is None:
        return
    if opened.record.codes_open:
        raise NotEnough("The codes are open: the scatter can no longer be looked at blindly.")
    look = look_at(opened.trial, opened.record)
    _write(
        opened,
        "sized",
        f"{found.rounds} rounds of at most {found.most}; scatter of set-up means "
        f"{found.scatter.sd:.6g} {opened.trial.deciding.unit} with {found.scatter.df} df after "
        f"round {look.uses}; codes closed",
    )
    common.console.line(f"Sized: {found.rounds} rounds. The trial ends after them.")
