"""The steps of sealing: draw, write, log.  Nothing here prints or asks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.shared.amend import not_amendable
from weldtrial.shared.blank_files import FilledIn, filled_in, lay_out
from weldtrial.shared.clock import now_text
from weldtrial.shared.folder import Folder, atomic_write, locked
from weldtrial.shared.journal import Event, codes_opened, note, read_journal
from weldtrial.shared.plancsv import plan_to_csv, read_plan
from weldtrial.shared.problems import PlanRefused, WeldtrialError, WrongUsage
from weldtrial.shared.seal import change_words, changes_since, sha256_of
from weldtrial.shared.sealfile import (
    Amendment,
    SealFile,
    Witness,
    amendment_fingerprint,
    read_seal,
    seal_hex,
    write_seal,
)
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.doe.layout import Layout
    from weldtrial.shared.plan import Plan


@dataclass(frozen=True, slots=True)
class Drawn:
    """A trial laid out and drawn, not yet written.

    Attributes
    ----------
    seal
        64 hexadecimal digits.
    text
        ``plan.csv`` as it will be written.
    """

    layout: Layout
    seal: str
    dice: tuple[int, ...]
    plan: Plan
    text: str


def lay(trial: Trial) -> Layout:
    """Lay the trial out, so that a plan that cannot be is refused before anything is asked."""
    from weldtrial.doe.layout import make_layout

    return make_layout(trial)


def unhandled(trial: Trial) -> tuple[str, ...]:
    """Return what could spoil the trial and is neither held, measured, blocked nor shuffled."""
    from weldtrial.doe.nuisances import nuisances_of

    return tuple(one.title for one in nuisances_of(trial) if one.handling is None)


def draw(trial: Trial, layout: Layout, dice: tuple[int, ...]) -> Drawn:
    """Take the seal and draw order and stamps from it."""
    from weldtrial.doe.make_plan import make_plan

    seal = seal_hex(trial.source, layout.as_plain())
    plan = make_plan(trial, seal, dice)
    return Drawn(layout, seal, dice, plan, plan_to_csv(plan, trial))


def redraw(trial: Trial, seal: str, dice: tuple[int, ...]) -> Plan:
    """Draw the plan of a seal again: what verification compares ``plan.csv`` with."""
    from weldtrial.doe.make_plan import make_plan

    return make_plan(trial, seal, dice)


def fix(
    folder: Path, trial: Trial, drawn: Drawn, witness: str, found: FilledIn
) -> tuple[SealFile, tuple[Path, ...]]:
    """Write plan, blank files, journal and, last, the seal.

    Parameters
    ----------
    found
        What was filled in already, as it was said to the user.

    Raises
    ------
    WeldtrialError
        When another weldtrial sealed the folder meanwhile, or a file cannot be written.
    """
    from weldtrial.doe.draw import DRAW_VERSION

    when = now_text()
    sealed = SealFile(
        seal=drawn.seal,
        plan_sha256=sha256_of(drawn.text),
        sealed_at=when,
        question=trial.source,
        design=drawn.layout.as_plain(),
        dice=drawn.dice,
        witness=(Witness(when, witness),) if witness else (),
        late=found.readings,
        late_welded=found.welded,
        draw=DRAW_VERSION,
        tool=version("weldtrial"),
    )
    files = Folder(folder)
    with locked(folder):
        if files.seal.exists() or filled_in(folder) != found:
            raise WeldtrialError(
                "The folder changed while it was being sealed. Nothing was written; "
                "run  weldtrial seal  again."
            )
        atomic_write(files.plan, drawn.text)
        written = (files.plan, *lay_out(folder, trial, drawn.plan))
        event: Event = "sealed-late" if found.anything else "sealed"
        # The journal first: a line too many tells the truth, a seal without a line does not.
        note(folder, event, _sealing_details(sealed), who=trial.owner, when=when)
        write_seal(folder, sealed)
    return sealed, (*written, files.journal, files.seal)


def _sealing_details(sealed: SealFile) -> str:
    parts = [
        sealed.code,
        f"seal {sealed.seal}",
        f"plan.csv {sealed.plan_sha256}",
        "dice " + (",".join(map(str, sealed.dice)) or "none"),
    ]
    if sealed.state == "late":
        parts.append(f"late: {sealed.late} readings and {sealed.late_welded} welded coupons in")
    parts += [f"witness: {one.text}" for one in sealed.witness]
    return "; ".join(parts)


def print_sheets(folder: Path, trial: Trial, sealed: SealFile) -> tuple[Path, ...]:
    """Write the printable sheets of the sealed plan."""
    from weldtrial.cli.sheets import write_sheets

    return write_sheets(folder, trial, read_plan(Folder(folder).plan, trial), sealed.code)


def restore(folder: Path, trial: Trial, sealed: SealFile) -> tuple[Path, ...]:
    """Write again what is missing of a sealed folder: the plan as drawn, and blank files.

    Where the trial file has changed, or the plan drawn again is not the sealed one, nothing is
    written: `inspect` then says why.
    """
    if changes_since(trial, sealed.current_question):
        return ()
    plan = redraw(trial, sealed.seal, sealed.dice)
    text = plan_to_csv(plan, trial)
    if sha256_of(text) != sealed.plan_sha256:
        return ()
    files = Folder(folder)
    with locked(folder):
        if files.plan.exists():
            return lay_out(folder, trial, plan, only_missing=True)
        atomic_write(files.plan, text)
        return (files.plan, *lay_out(folder, trial, plan, only_missing=True))


def add_witness(folder: Path, trial: Trial, text: str) -> SealFile:
    """Add a witness to a sealed folder: to ``seal.json`` and to the journal."""
    when = now_text()
    return _changed(
        folder,
        lambda sealed: replace(sealed, witness=(*sealed.witness, Witness(when, text))),
        lambda sealed: note(
            folder, "witness", f"{sealed.code}; {text}", who=trial.owner, when=when
        ),
    )


def amend(folder: Path, trial: Trial, why: str) -> tuple[SealFile, Amendment]:
    """Log what changed in the trial file since it was sealed (or last amended), and why.

    Raises
    ------
    WrongUsage
        When nothing changed.
    PlanRefused
        When the change would make it another trial.
    """
    sealed = read_seal(folder)
    assert sealed is not None
    amendment = _amendment(folder, trial, sealed, why)
    lines = "; ".join(
        change_words(one, trial) for one in changes_since(trial, sealed.current_question)
    )
    details = (
        f"{sealed.code}; seal {sealed.seal}; amendment {amendment.fingerprint}; {lines}; "
        f"readings in: {amendment.readings}; welded: {amendment.welded}; why: {why}"
    )
    after = _changed(
        folder,
        lambda held: replace(held, amendments=(*held.amendments, amendment)),
        lambda _: note(folder, "amended", details, who=trial.owner, when=amendment.when),
    )
    return after, amendment


def _amendment(folder: Path, trial: Trial, sealed: SealFile, why: str) -> Amendment:
    changes = changes_since(trial, sealed.current_question)
    if not changes:
        raise WrongUsage(
            f"trial.toml is as it was sealed ({sealed.code}): there is nothing to amend.",
            hint="Change trial.toml first, then log the change.",
        )
    _refuse_another_trial(folder, trial, sealed)
    found = filled_in(folder)
    lines, _ = read_journal(folder)
    amendment = Amendment(
        when=now_text(),
        why=why,
        changes=tuple(
            {
                "path": one.path,
                "name": one.name,
                "was": one.was,
                "now": one.now,
                "line": trial.lines.get(one.path),
            }
            for one in changes
        ),
        question=trial.source,
        readings=found.readings,
        welded=found.welded,
        codes_open=codes_opened(lines),
    )
    previous = sealed.amendments[-1].fingerprint if sealed.amendments else sealed.seal
    return replace(amendment, fingerprint=amendment_fingerprint(previous, amendment))


def _refuse_another_trial(folder: Path, trial: Trial, sealed: SealFile) -> None:
    refused = not_amendable(changes_since(trial, sealed.current_question))
    reasons = [f"{change_words(one, trial)} would change {what}" for one, what in refused]
    if not reasons:
        try:
            text = plan_to_csv(redraw(trial, sealed.seal, sealed.dice), trial)
        except WeldtrialError as error:
            reasons = [error.words]
        else:
            if sha256_of(text) == sealed.plan_sha256:
                return
            reasons = ["with these changes the plan would be drawn otherwise"]
    raise PlanRefused(
        f"This cannot be an amendment of seal {sealed.code}: {'; '.join(reasons)}. What is "
        "already welded was planned for the question as it was.",
        hint=f"Put it back, or start a new trial:  weldtrial new NAME --from {folder.name}",
    )


def _changed(
    folder: Path, change: Callable[[SealFile], SealFile], log: Callable[[SealFile], None]
) -> SealFile:
    """Change ``seal.json`` as it stands now, under the lock, after the journal has its line."""
    with locked(folder):
        sealed = read_seal(folder)
        assert sealed is not None
        after = change(sealed)
        log(after)
        write_seal(folder, after)
    return after
