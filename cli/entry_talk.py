"""Readings typed at a terminal: stamp, reading, where it broke; each saved at once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import click

from weldtrial.cli.bench_folder import LOG, OpenTrial, reading_words, typed_decimal
from weldtrial.cli.importing import structural
from weldtrial.cli.options import Common
from weldtrial.cli.place_letters import letters, spelled
from weldtrial.shared.bench import Bench, unreadable_stamps
from weldtrial.shared.entry import Edit, edited_text, spelt_for
from weldtrial.shared.folder import atomic_write, locked
from weldtrial.shared.problems import ExitCode, Problem, ProblemsFound, WrongUsage
from weldtrial.shared.reading_sheet import AS_READ, Sheet
from weldtrial.shared.readings import find_slip, parse_failed_at, parse_reading
from weldtrial.shared.record import Reading
from weldtrial.shared.responses import Response
from weldtrial.shared.stamps_written import nearest_stamp
from weldtrial.shared.units import canonical, kind

_UNATTENDED = "--from FILE"


@dataclass(slots=True)
class _Talk:
    common: Common
    opened: OpenTrial
    response: Response
    beside: dict[str, str]
    saved: int = 0

    @property
    def file(self) -> str:
        return f"readings/{self.response.name}.csv"

    @property
    def planned(self) -> int:
        return len(self.opened.plan.of_role("count", "confirm")) * self.response.sections

    def ask(self, prompt: str) -> str:
        """Ask; Enter alone is an answer."""
        return self.common.console.ask(f"  {prompt} ", default="", flag=_UNATTENDED).strip()

    def say(self, words: str) -> None:
        self.common.console.line(f"     {words}", hang=0)


def talk(common: Common, opened: OpenTrial, where: str | None, said: dict[str, Any]) -> int:
    """Ask for readings until an empty stamp; what was saved stays saved whatever happens."""
    if where == LOG:
        raise WrongUsage(
            "The weld log is filled in as a file, or imported:  weldtrial record weld_log "
            "--from FILE"
        )
    response = _which(common, opened, where)
    if not common.console.may_ask:
        raise WrongUsage(
            "Typing readings in needs a terminal, and there is nobody to ask.",
            hint=f"Import them:  weldtrial record {response.name} --from FILE",
        )
    sheet = opened.bench().sheets[response.name]
    if structural(sheet):
        raise ProblemsFound(structural(sheet))
    talk = _Talk(common, opened, response, {})
    _greet(talk)
    talk.beside = _beside(talk, said)
    try:
        while _one_coupon(talk):
            pass
    finally:
        _farewell(talk)
    return int(ExitCode.FINE)


def _which(common: Common, opened: OpenTrial, where: str | None) -> Response:
    responses = opened.trial.to_read
    if where is not None:
        return opened.trial.response(where)
    if len(responses) == 1:
        return responses[0]
    names = [response.name for response in responses]
    if not common.console.may_ask:
        raise WrongUsage(f"Which response?  weldtrial record {' | '.join(names)}")
    while True:
        answer = common.console.ask(f"Which response ({', '.join(names)})?", flag=names[0])
        found = [name for name in names if name.startswith(answer)]
        if len(found) == 1 or answer in names:
            return opened.trial.response(answer if answer in names else found[0])


def _greet(talk: _Talk) -> None:
    response = talk.response
    unit = canonical(response.unit)
    heading = response.title + (f", {unit}" if unit != "1" and response.kind == "number" else "")
    if response.kind == "graded":
        grammar = f"Grades: {', '.join(response.scale)}   lost = spoiled"
    elif response.kind == "pass-fail":
        grammar = "pass   fail   lost = spoiled"
    else:
        stop = "90" if response.most is None else f"{response.most:g}"
        beyond = "did not break" if _breaks_somewhere(response) else "more than the gauge shows"
        grammar = f">{stop} = {beyond}   80..90 = between   lost = spoiled"
    talk.common.console.line(f"{heading}. Type the stamp, then the reading.  {grammar}")
    talk.common.console.note("Enter alone ends. Each reading is saved as soon as it is typed.")


def _beside(talk: _Talk, said: dict[str, Any]) -> dict[str, str]:
    """Ask once who reads, where that matters."""
    reader = said["reader"]
    if reader is None and talk.response.name in talk.opened.trial.blind.who:
        usual = talk.opened.trial.blind.reader
        reader = talk.common.console.ask("  reader", default=usual or None, flag="--reader NAME")
    return {"reader": reader or "", "read_on": said["read_on"] or date.today().isoformat()}


def _one_coupon(talk: _Talk) -> bool:
    """Take one stamp and its reading; False when the stamp is left empty."""
    text = talk.ask("stamp")
    if not text:
        return False
    bench = talk.opened.bench()
    sheet = bench.sheets[talk.response.name]
    stamp = text.upper()
    trouble = _stamp_trouble(talk, stamp, bench, sheet)
    if trouble:
        talk.say(trouble)
        return True
    reading = _ask_reading(talk, stamp, sheet)
    if reading is None:
        return True
    if reading.kind == "lost":
        note = ""
        while not note:
            note = talk.ask("why is it lost")
        reading = replace(reading, note=note)
    elif _breaks_somewhere(talk.response):
        try:
            reading = replace(reading, failed_at=_ask_place(talk))
        except (click.Abort, KeyboardInterrupt):
            talk.common.console.line()
            _save(talk, stamp, reading)  # Typed is typed; where it broke can be said later.
            raise
        if reading.failed_at == "slipped" and not reading.note:
            reading = replace(reading, note=talk.ask("what slipped"))
    _save(talk, stamp, reading)
    return True


def _stamp_trouble(talk: _Talk, stamp: str, bench: Bench, sheet: Sheet) -> str:
    """Say why a stamp cannot be read now; empty when it can."""
    known = talk.opened.plan.by_stamp()
    read = sheet.readings.get(stamp, ())
    if stamp not in known:
        close = nearest_stamp(stamp, known)
        state = " (already in)" if close in sheet.readings else ""
        hint = f" Nearest: {close}{state}." if close else ""
        return f"– no such stamp.{hint} Look at the plate again."
    if known[stamp].role == "warm-up":
        return f"– {stamp} is a warm-up and is never read."
    unreadable = unreadable_stamps(talk.opened.plan, talk.opened.trial, bench)
    if stamp in unreadable:
        return f"– {unreadable[stamp]}"
    if len(read) >= talk.response.sections:
        values = ", ".join(one.text for one in read)
        name = talk.response.name
        return (
            f"– {stamp} is in ({values}). To change it:  weldtrial record {name} --correct {stamp}"
        )
    if not any(not row["reading"] for row in sheet.rows.get(stamp, ())):
        full = len(sheet.rows.get(stamp, ())) >= talk.response.sections
        if full:
            return f"– a row of {stamp} cannot be read. See  weldtrial check"
    return ""


def _ask_reading(talk: _Talk, stamp: str, sheet: Sheet) -> Reading | None:
    """Ask until there is a reading that can be believed; None when it is left empty."""
    response = talk.response
    done = len(sheet.readings.get(stamp, ()))
    label = response.title if len(response.title) <= 20 else response.name.replace("_", " ")
    label += f", cut {done + 1} of {response.sections}" if response.sections > 1 else ""
    text = ""
    while True:
        text = text or talk.ask(label)
        if not text:
            return None
        decimal = typed_decimal(text)
        found = parse_reading(text, response, decimal)
        if isinstance(found, Problem):
            talk.say(found.words)
            text = ""
            continue
        slip = find_slip(found, response, sheet.numbers, decimal, enough=1)
        if slip is None:
            return found
        choices = "[y / keep / retype]" if slip.meant else "[keep / retype]"
        meant = f" Meant {slip.meant}?" if slip.meant else ""
        talk.say(f"{slip.words}{meant}")
        answer = talk.ask(choices).casefold()
        if answer in ("k", "keep"):
            return replace(found, note=AS_READ)
        text = slip.meant if slip.meant and answer in ("y", "yes") else ""


def _breaks_somewhere(response: Response) -> bool:
    return bool(response.where) or (response.kind == "number" and kind(response.unit) == "force")


def _ask_place(talk: _Talk) -> str:
    """Ask where it broke, by letter; Enter leaves it open."""
    choices = letters(talk.response)
    prompt = "broke at " + " ".join(spelled(place, letter) for letter, place in choices.items())
    prompt += ":"
    while True:
        answer = talk.ask(prompt)
        if answer.casefold() in choices:
            return choices[answer.casefold()]
        found = parse_failed_at(answer, talk.response)
        if isinstance(found, str):
            return found
        talk.say(found.words)


def _save(talk: _Talk, stamp: str, reading: Reading) -> None:
    """Write one reading into an empty cell of its stamp, under the lock."""
    with locked(talk.opened.folder.path):
        sheet = talk.opened.bench().sheets[talk.response.name]
        rows = sheet.rows.get(stamp, ())
        number = next((row.number for row in rows if not row["reading"]), None)
        if number is None and len(rows) >= talk.response.sections:
            talk.say(f"{stamp} was filled in meanwhile. Nothing was written.")
            return
        decimal = typed_decimal(reading.text)
        cells = {
            "reading": spelt_for(sheet, reading.text, decimal, None),
            "failed_at": reading.failed_at,
            "note": reading.note,
            **talk.beside,
        }
        here = next((row for row in rows if row.number == number), None)
        edits = [
            Edit(number, column, text, stamp)
            for column, text in cells.items()
            if text and (here is None or not here[column])
        ]
        atomic_write(
            talk.opened.folder.readings(talk.response.name), edited_text(sheet.table, edits)
        )
    talk.saved += 1
    read = sum(len(found) for found in sheet.readings.values()) + 1
    done = f"✓ {read} of {talk.planned}"
    words = reading_words(reading, talk.response)
    if reading.failed_at == "plate" and reading.kind in ("number", "above"):
        low = reading.value if reading.kind == "number" else reading.low
        words = (
            f'the plate tore before the weld did: kept as "weld at least {low:g} '
            f'{canonical(talk.response.unit)}", good news about the weld'
        )
    talk.say(f"{words}   {done}")


def _farewell(talk: _Talk) -> None:
    sheet = talk.opened.bench().sheets[talk.response.name]
    left = talk.planned - sum(len(found) for found in sheet.readings.values())
    saved = "1 reading" if talk.saved == 1 else f"{talk.saved} readings"
    talk.common.console.line(f"Saved {saved} to {talk.file}. {max(left, 0)} to go.")
    talk.common.console.next("check" if left <= 0 else f"record {talk.response.name}")
