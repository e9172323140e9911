"""From a trial and its record to findings: the one call behind `weldtrial analyse` and `report`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from weldtrial.analysis.blind_leak import with_guesses
from weldtrial.analysis.compare import asked_of
from weldtrial.analysis.confirmed import confirmation_of
from weldtrial.analysis.confirmed_words import in_words
from weldtrial.analysis.context import Context
from weldtrial.analysis.findings import Findings, Flow, Note, ResponseFindings, SetAside
from weldtrial.analysis.grade import compared_factor, grade, was_shuffled
from weldtrial.analysis.look_words import closed_lines, look_lines, may_stop, unplanned_words
from weldtrial.analysis.looks import levels_at
from weldtrial.analysis.observations import Observed, observe
from weldtrial.analysis.respond import analyse_response
from weldtrial.analysis.scope import comparison_point, scope
from weldtrial.analysis.spreads import spread_words
from weldtrial.analysis.where_broke import where_broke
from weldtrial.shared.look_state import Look, look_at, of_look
from weldtrial.shared.problems import NotEnough, NotEstimable, ProblemsFound
from weldtrial.shared.record import Record, without_confirming, without_corrections
from weldtrial.shared.trial import Trial

ADOPTED = (
    "These data were not planned here: there is no seal and the order they were welded in is not "
    "known, so no verdict is stronger than Suggests."
)


def analyse(
    trial: Trial, record: Record, *, codes_open: bool = True, peek: bool = False
) -> Findings:
    """Analyse every response of a trial.

    Parameters
    ----------
    trial
        The question, as read from a trial file.
    record
        What was welded and read; see `weldtrial.shared.record`.
    codes_open
        False to look at checks and spreads only: the findings then tell nothing that depends on
        which gas is which.
    peek
        True to see the numbers at a look that was not planned; they are marked as not final.

    Raises
    ------
    ProblemsFound
        When the record holds problems that must be mended first.
    NotEnough
        When nothing has been read, or too little for any answer, or where looks were planned and
        this is none of them.
    """
    if record.errors:
        raise ProblemsFound(record.errors)
    confirmation = confirmation_of(trial, record, codes_open=codes_open)
    if confirmation is not None:
        confirmation = in_words(trial, confirmation)
    record = without_confirming(record)
    look = look_at(trial, record)
    refused_look = look if look.state in ("unplanned", "scatter") and codes_open else None
    if refused_look is not None:
        look = replace(look, state="unplanned", uses=None)
    record = of_look(record, look)
    seen = {one.name: observe(trial, record, one) for one in trial.responses}
    if not any(observed.observations for observed in seen.values()):
        raise NotEnough(
            f"Nothing to analyse: 0 of {record.planned} coupons read. weldtrial check  shows what "
            "is next."
        )
    if refused_look is not None and not peek:
        raise _unplanned(trial, record, refused_look)
    aside = _set_aside(seen)
    responses, notes = _responses(trial, record, seen, look) if codes_open else ((), ())
    responses = tuple(with_guesses(trial, record, one) for one in responses)
    stop = may_stop(look, responses)
    used = {o.stamp for observed in seen.values() for o in observed.observations}
    return Findings(
        trial=trial.title,
        question=trial.question,
        seal=record.seal,
        seal_state=record.sealed,
        adopted=record.adopted,
        codes_open=codes_open,
        grade=grade(trial, record, aside, codes_open=codes_open),
        coupons=record.planned,
        used=len(used),
        set_aside=aside,
        responses=responses,
        scope=scope(trial),
        at=comparison_point(trial),
        flow=_flow(trial, record, seen) if codes_open else (),
        spreads={r.name: spread_words(trial, record, r, seen[r.name]) for r in trial.responses},
        notes=notes,
        look=look,
        look_lines=look_lines(trial, look, stop) if codes_open else closed_lines(trial, look),
        may_stop=stop,
        levels=levels_at(trial, look),
        confirmation=confirmation,
    )


def _unplanned(trial: Trial, record: Record, look: Look) -> NotEnough:
    """Return the refusal of a look nobody planned: looking often finds something by chance."""
    opening = "" if record.codes_open else "--open "
    return NotEnough(
        unplanned_words(trial, look),
        hint="To see the numbers all the same, marked NOT FINAL and written in the journal:  "
        f"weldtrial analyse {opening}--peek",
    )


def _set_aside(seen: Mapping[str, Observed]) -> tuple[SetAside, ...]:
    return tuple(entry for observed in seen.values() for entry in observed.set_aside)


def _responses(
    trial: Trial,
    record: Record,
    seen: Mapping[str, Observed],
    look: Look,
) -> tuple[tuple[ResponseFindings, ...], tuple[Note, ...]]:
    pairs = len(asked_of(trial))
    context = Context(
        trial=trial,
        record=record,
        shuffled=was_shuffled(record),
        looks=pairs * len(trial.responses),
        look=look,
    )
    found: list[ResponseFindings] = []
    notes = [Note("adopted", ADOPTED)] if record.adopted else []
    for response in sorted(trial.responses, key=lambda r: r.rank):
        observations = seen[response.name].observations
        if not observations:
            notes.append(Note("not_read", f"{response.title} has not been read yet."))
            continue
        typed = observe(trial, without_corrections(record), response).observations
        try:
            one = analyse_response(context, response, observations, typed)
            found.append(replace(one, places=where_broke(context, response)))
        except NotEstimable as error:
            notes.append(Note("not_enough", f"{response.title}: {error.words}."))
    if not found:
        raise NotEnough("Not enough to answer yet. " + " ".join(note.words for note in notes))
    return tuple(found), tuple(notes)


def _flow(trial: Trial, record: Record, seen: Mapping[str, Observed]) -> tuple[Flow, ...]:
    factor = compared_factor(trial)
    levels = factor.levels if factor is not None else ("",)
    flows = []
    for level in levels:
        mine = {
            c.stamp: c for c in record.coupons if factor is None or c.levels[factor.name] == level
        }
        used = {
            name: sum(o.stamp in mine for o in observed.observations)
            for name, observed in seen.items()
        }
        aside = {
            name: sum(entry.stamp in mine for entry in observed.set_aside)
            for name, observed in seen.items()
        }
        flows.append(
            Flow(
                level=level,
                planned=sum(c.role == "count" for c in mine.values()),
                welded=sum(c.welded for c in mine.values()),
                tested={name: used[name] + aside[name] for name in seen},
                used=used,
            )
        )
    return tuple(flows)
