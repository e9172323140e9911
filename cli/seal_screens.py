"""What ``weldtrial seal`` shows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from weldtrial.cli.options import Common
from weldtrial.shared.clock import spoken_time
from weldtrial.shared.problems import Problem
from weldtrial.shared.seal import Check
from weldtrial.shared.sealfile import Amendment, SealFile
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.cli.sealing import Drawn
    from weldtrial.doe.layout import Layout
    from weldtrial.shared.plan import Plan


def show_read(common: Common, layout: Layout) -> None:
    """Say what is about to be fixed."""
    common.console.note(f"Read trial.toml – {_size(layout)}. It can be sealed.")
    common.console.note(
        "Once sealed, the question, margin, settings, order and analysis are fixed."
    )
    common.console.note()


def show_unhandled(common: Common, titles: Sequence[str]) -> None:
    """Name what could spoil the trial and the file says nothing of; last chance before the seal."""
    if titles:
        common.console.warn(
            f"Nothing is said of: {', '.join(titles)}. What of these changes along with a set-up "
            "can pass for an effect. Say under [nuisance] whether each is held, measured, blocked "
            "or shuffled:  weldtrial plan  shows why and what is usually done."
        )
        common.console.warn("")


def _size(layout: Layout) -> str:
    parts = [_many(layout.coupons, "coupon")]
    if layout.hard:
        parts += [_many(layout.rounds, "round"), _many(layout.set_ups, "set-up")]
    elif layout.rounds > 1:
        parts.append(_many(layout.rounds, "block"))
    if layout.warm_up:
        parts.append(_many(layout.warm_up, "warm-up"))
    if layout.spare:
        parts.append(_many(layout.spare, "spare"))
    return ", ".join(parts)


def _many(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def show_sealed(
    common: Common,
    sealed: SealFile,
    trial: Trial,
    drawn: Drawn | None,
    files: Sequence[str],
    *,
    again: bool = False,
    unhandled: Sequence[str] = (),
    kept: Sequence[str] = (),
) -> None:
    """Show a seal: one just made (`drawn`), or one that was there already (`again`)."""
    console = common.console
    if common.json:
        shown = {**as_json(sealed), **_drawn_json(drawn), "written": list(files)}
        if drawn is not None:
            shown |= {"kept": list(kept), "unhandled": list(unhandled)}
        console.json(shown)
        return
    if again:
        changed = "" if files else " Nothing was changed."
        console.line(f"Sealed already, and the folder matches its seal.{changed}")
    console.line(f"  Seal      {sealed.code}", style="bold")
    if drawn is not None:
        console.line(f"  Order     {order_words(trial, drawn.plan)}", hang=10)
    console.line(f"  Dice      {', '.join(map(str, sealed.dice)) or 'none thrown'}")
    console.line(f"  Sealed    {spoken_time(sealed.sealed_at)}{_mark(sealed)}", hang=10)
    for witness in sealed.witness:
        console.line(f"  Witness   {witness.text}", hang=10)
    for amendment in sealed.amendments:
        console.line(f"  Amended   {amendment.words.removeprefix('amended ')}", hang=10)
    if files:
        console.note(f"  Wrote     {_listed(files)}", hang=10)
    if kept:
        console.line(
            f"  Left      {', '.join(kept)} (something is typed there already; its stamps may not "
            "be those of this plan:  weldtrial check  tells)",
            hang=10,
        )
    _limits(common, sealed)
    if drawn is not None:
        console.next("sheets", "(written to sheets/ already: open them and print)")
    else:
        console.next("check")


def _mark(sealed: SealFile) -> str:
    if sealed.state != "late":
        return ""
    if sealed.late:
        return f"   sealed late, {_many(sealed.late, 'reading')} in"
    return f"   sealed late, {_many(sealed.late_welded, 'coupon')} welded"


def _listed(files: Sequence[str]) -> str:
    sheets = [name for name in files if name.startswith("sheets/")]
    others = [name for name in files if not name.startswith("sheets/")]
    if len(sheets) > 2:
        sheets = [f"{len(sheets)} pages in sheets/"]
    return ", ".join([*others, *sheets])


def _limits(common: Common, sealed: SealFile) -> None:
    console = common.console
    console.note()
    console.note("What this shows: the plan you show later is this plan, letter for letter.")
    if sealed.witness:
        when = "when it was made; that is what the witness is for."
    else:
        when = (
            f"when it was made. Put {sealed.code} somewhere dated that you cannot edit – an email "
            "to a friend, a dated post – before the first arc, and note where:  "
            "weldtrial seal --witness TEXT"
        )
    console.note(f"What it does not: {when}")
    console.note(
        "Nothing here shows that the coupons were really welded, nor that no line was cut off the "
        "end of the journal or the corrections since."
    )


def order_words(trial: Trial, plan: Plan) -> str:
    """Say how the order came about, without telling which set-up is which."""
    if not trial.hard:
        return "coupons completely shuffled"
    factor = trial.hard[0].name
    first: dict[int, str] = {}
    for run in plan.runs:
        if run.round is not None and run.levels:
            first.setdefault(run.round, run.levels[factor])
    if len(first) < 2:
        return "set-ups shuffled, coupons shuffled within them"
    led = Counter(first.values())
    counts = ", ".join(f"{level} first {led[level]}" for level in trial.hard[0].levels)
    rule = f"{plan.restriction}: " if plan.restriction else ""
    return f"draw {plan.draws} accepted ({rule}{counts})"


def show_verified(common: Common, sealed: SealFile, checks: Sequence[Check]) -> None:
    """Show what was compared with the seal and what does not fit."""
    console = common.console
    holds = all(check.holds for check in checks)
    if common.json:
        shown = [_check_json(check) for check in checks]
        console.json({**as_json(sealed), "matches": holds, "checks": shown})
        return
    console.line(f"Seal {sealed.code}, {spoken_time(sealed.sealed_at)}{_mark(sealed)}")
    for check in checks:
        words = check.words if check.holds else "does not match"
        console.line(f"  {'✓' if check.holds else '✗'} {check.file:<16} {words}", hang=19)
    for witness in sealed.witness:
        console.line(f"  Witness   {witness.text}", hang=10)
    for amendment in sealed.amendments:
        console.line(f"  {amendment.words[0].upper()}{amendment.words[1:]}", hang=10)
    console.problems(problem for check in checks for problem in check.problems)
    if holds:
        _limits(common, sealed)
        console.next("check")


def show_amendment(common: Common, sealed: SealFile, amendment: Amendment) -> None:
    """Show a logged amendment."""
    if common.json:
        common.console.json(as_json(sealed))
        return
    common.console.line(f"Seal {sealed.code}: {amendment.words}", hang=10)
    stage = "after results" if amendment.readings else "after sealing, before any reading"
    common.console.line(
        f"Logged. Order and stamps stay. The report shows both, and marks this as decided {stage}."
    )
    common.console.next("check")


def show_witness(common: Common, sealed: SealFile) -> None:
    """Show the witness just added."""
    if common.json:
        common.console.json(as_json(sealed))
        return
    common.console.line(f"Seal {sealed.code}: witness noted – {sealed.witness[-1].text}", hang=10)
    common.console.next("check")


def as_json(sealed: SealFile) -> dict[str, Any]:
    """Return a seal as ``--json`` prints it; the question itself is in ``seal.json``."""
    return {
        "seal": sealed.seal,
        "code": sealed.code,
        "state": sealed.state,
        "sealed_at": sealed.sealed_at,
        "dice": list(sealed.dice),
        "plan_sha256": sealed.plan_sha256,
        "late": {"readings": sealed.late, "welded": sealed.late_welded},
        "witness": list(sealed.witness),
        "amendments": [
            {
                "when": one.when,
                "why": one.why,
                "readings": one.readings,
                "welded": one.welded,
                "codes_open": one.codes_open,
                "changes": list(one.changes),
            }
            for one in sealed.amendments
        ],
        "canonical": sealed.canonical,
        "draw": sealed.draw,
        "tool": sealed.tool,
    }


def _drawn_json(drawn: Drawn | None) -> dict[str, Any]:
    if drawn is None:
        return {}
    layout = drawn.layout
    return {
        "coupons": layout.coupons,
        "rounds": layout.rounds,
        "set_ups": layout.set_ups,
        "warm_up": layout.warm_up,
        "spare": layout.spare,
        "draws": drawn.plan.draws,
        "restriction": drawn.plan.restriction,
    }


def _check_json(check: Check) -> dict[str, Any]:
    return {
        "file": check.file,
        "holds": check.holds,
        "words": check.words,
        "problems": [_problem_json(problem) for problem in check.problems],
    }


def _problem_json(problem: Problem) -> dict[str, Any]:
    return {
        "file": problem.file,
        "line": problem.line,
        "row": problem.row,
        "column": problem.column,
        "value": problem.value,
        "words": problem.words,
        "warning": problem.warning,
    }
