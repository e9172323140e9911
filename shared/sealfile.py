"""The seal as a record and as ``seal.json``: the question and the design before any order.

The seal is the SHA-256 of the canonical form of ``{"question": the parsed trial file,
"design": the unordered design, "canonical": 1}``.  Order and stamps are drawn from it (and
from dice, if thrown), so they cannot be picked.  The question is kept in the file as it was
sealed, so that a later change can be named; amendments stand beside it, never in its place.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from weldtrial.shared.canonical import CANONICAL_VERSION, Plain, fingerprint
from weldtrial.shared.differences import change_in_words
from weldtrial.shared.folder import Folder, atomic_write
from weldtrial.shared.problems import SealBroken
from weldtrial.shared.record import SealState

FORMAT = 1
FILE = "seal.json"
_OWN = "fingerprint_of_this_file"


@dataclass(frozen=True, slots=True)
class Witness:
    """Where the seal was put for others to see, and when that was written here."""

    when: str
    text: str


@dataclass(frozen=True, slots=True)
class Amendment:
    """A change to the trial file after sealing, logged.

    Attributes
    ----------
    changes
        Each ``{"path", "name", "was", "now", "line"}``; `was` or `now` None where there was or
        is nothing.
    question
        The whole trial file as amended.
    readings, welded
        How many readings and welded coupons were in at that time.
    codes_open
        Whether the codes had been opened by then.
    fingerprint
        Made from the seal or the amendment before, `when`, `why` and `question`.
    """

    when: str
    why: str
    changes: tuple[Mapping[str, Any], ...]
    question: Mapping[str, Any]
    readings: int = 0
    welded: int = 0
    codes_open: bool = False
    fingerprint: str = ""

    @property
    def words(self) -> str:
        """What was changed, when and why, in one line."""
        changes = "; ".join(
            change_in_words(one["name"], one["was"], one["now"]) for one in self.changes
        )
        stage = f"{self.readings} readings in" if self.readings else "no reading in"
        return f"amended {self.when[:10]} ({stage}): {changes}. Why: {self.why}"


@dataclass(frozen=True, slots=True)
class SealFile:
    """What ``seal.json`` holds.

    Attributes
    ----------
    seal
        64 hexadecimal digits; `code` is its spoken form.
    dice
        Numbers thrown, empty when none were.
    plan_sha256
        SHA-256 of the bytes of ``plan.csv`` as drawn.
    sealed_at
        Local time with its offset.
    late, late_welded
        Readings and welded coupons that were there at sealing; 0 when it came first.
    canonical, draw
        Versions of the canonical form and of the draw.
    tool
        Version of weldtrial that sealed it.
    question
        The parsed trial file as sealed.
    design
        The unordered design as sealed.
    """

    seal: str
    plan_sha256: str
    sealed_at: str
    question: Mapping[str, Any]
    design: Plain
    dice: tuple[int, ...] = ()
    witness: tuple[Witness, ...] = ()
    late: int = 0
    late_welded: int = 0
    amendments: tuple[Amendment, ...] = ()
    canonical: int = CANONICAL_VERSION
    draw: int = 1
    tool: str = ""
    format: int = field(default=FORMAT)

    @property
    def code(self) -> str:
        """The spoken code: ``CACC-516C-4384``."""
        return seal_code(self.seal)

    @property
    def state(self) -> SealState:
        """``late`` when results came first, else ``amended`` or ``sealed``."""
        if self.late or self.late_welded:
            return "late"
        return "amended" if self.amendments else "sealed"

    @property
    def current_question(self) -> Mapping[str, Any]:
        """The trial file as it should read now, amendments included."""
        return self.amendments[-1].question if self.amendments else self.question


def seal_code(seal: str) -> str:
    """Return the first twelve digits of a seal in three groups of four capitals."""
    return "-".join(seal[at : at + 4].upper() for at in (0, 4, 8))


def seal_hex(question: Mapping[str, Any], design: Plain) -> str:
    """Return the seal of a parsed trial file and its unordered design; raises as `canonical`."""
    return fingerprint({"question": question, "design": design, "canonical": CANONICAL_VERSION})


def amendment_fingerprint(previous: str, amendment: Amendment) -> str:
    """Return the fingerprint of an amendment that follows `previous` (the seal, for the first)."""
    parts: list[Plain] = [previous, amendment.when, amendment.why, amendment.question]
    return fingerprint([*parts, amendment.readings, amendment.welded, amendment.codes_open])


def read_seal(folder: Path) -> SealFile | None:
    """Return the seal of a trial folder, or None when it is not sealed.

    Raises
    ------
    SealBroken
        When ``seal.json`` cannot be understood, was edited by hand, or comes from a later
        version of weldtrial.
    """
    path = Folder(folder).seal
    try:
        held = json.loads(path.read_bytes().decode("utf-8-sig"), parse_constant=_refuse)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RecursionError) as error:
        raise SealBroken(f"{FILE} cannot be read ({_short(error)}). {_PUT_BACK}") from error
    if isinstance(held, dict) and isinstance(held.get("format"), int) and held["format"] > FORMAT:
        raise SealBroken(f"{FILE} was written by a later weldtrial. Use that version, or later.")
    try:
        sealed = _from_plain(held)
        edited = held.get(_OWN) != _own_fingerprint(held)
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise SealBroken(f"{FILE} is not as weldtrial wrote it. {_PUT_BACK}") from error
    if edited:
        raise SealBroken(f"{FILE} was edited by hand: {_whats_off(sealed)}. {_PUT_BACK}")
    return sealed


def write_seal(folder: Path, sealed: SealFile) -> None:
    """Write ``seal.json``; raises as `folder.atomic_write`."""
    held = _to_plain(sealed)
    held[_OWN] = _own_fingerprint(held)
    text = json.dumps(held, indent=2, ensure_ascii=False, allow_nan=False)
    atomic_write(Folder(folder).seal, text + "\n")


_PUT_BACK = "Put back the copy that was sealed; without it nobody can tell what was planned."


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:80] or type(error).__name__


def _refuse(text: str) -> float:
    raise ValueError(f"{text} is not a number")


def _whats_off(sealed: SealFile) -> str:
    """Say which part of an edited file no longer fits, as far as that can be told."""
    if seal_hex(sealed.question, sealed.design) != sealed.seal:
        return f"its question or design no longer gives seal {sealed.code}"
    previous = sealed.seal
    for amendment in sealed.amendments:
        if amendment_fingerprint(previous, amendment) != amendment.fingerprint:
            return f"the amendment of {amendment.when[:10]} is not the one that was logged"
        previous = amendment.fingerprint
    return "its dice, dates, counts or witnesses are not those that were written"


def _own_fingerprint(held: Mapping[str, Any]) -> str:
    return fingerprint({key: value for key, value in held.items() if key != _OWN})


def _to_plain(sealed: SealFile) -> dict[str, Any]:
    return {
        "format": sealed.format,
        "seal": sealed.seal,
        "code": sealed.code,
        "sealed_at": sealed.sealed_at,
        "dice": list(sealed.dice),
        "plan_sha256": sealed.plan_sha256,
        "witness": [{"when": one.when, "text": one.text} for one in sealed.witness],
        "late": {"readings": sealed.late, "welded": sealed.late_welded},
        "canonical": sealed.canonical,
        "draw": sealed.draw,
        "tool": sealed.tool,
        "amendments": [_amendment_to_plain(one) for one in sealed.amendments],
        "question": sealed.question,
        "design": sealed.design,
    }


def _amendment_to_plain(one: Amendment) -> dict[str, Any]:
    return {
        "when": one.when,
        "why": one.why,
        "changes": [dict(change) for change in one.changes],
        "readings": one.readings,
        "welded": one.welded,
        "codes_open": one.codes_open,
        "question": one.question,
        "fingerprint": one.fingerprint,
    }


def _from_plain(held: Mapping[str, Any]) -> SealFile:
    late = held["late"]
    return SealFile(
        format=_whole(held["format"]),
        seal=_text(held["seal"]),
        sealed_at=_text(held["sealed_at"]),
        dice=tuple(_whole(one) for one in held["dice"]),
        plan_sha256=_text(held["plan_sha256"]),
        witness=tuple(Witness(_text(one["when"]), _text(one["text"])) for one in held["witness"]),
        late=_whole(late["readings"]),
        late_welded=_whole(late["welded"]),
        canonical=_whole(held["canonical"]),
        draw=_whole(held["draw"]),
        tool=_text(held["tool"]),
        amendments=tuple(_amendment_from_plain(one) for one in held["amendments"]),
        question=_table(held["question"]),
        design=held["design"],
    )


def _amendment_from_plain(held: Mapping[str, Any]) -> Amendment:
    return Amendment(
        when=_text(held["when"]),
        why=_text(held["why"]),
        changes=tuple(_change(one) for one in held["changes"]),
        question=_table(held["question"]),
        readings=_whole(held["readings"]),
        welded=_whole(held["welded"]),
        codes_open=bool(held["codes_open"]),
        fingerprint=_text(held["fingerprint"]),
    )


def _change(value: Any) -> Mapping[str, Any]:
    table = _table(value)
    return {key: table[key] for key in ("path", "name", "was", "now", "line")}


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError("text is wanted")
    return value


def _whole(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise TypeError("a whole number is wanted")
    return value


def _table(value: Any) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise TypeError("a table is wanted")
    return value
