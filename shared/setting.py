"""Settings of a trial file and the sections they stand in, as the schema declares them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ValueType = Literal[
    "text", "name", "number", "whole", "yes-no", "unit", "choice", "texts", "quantity", "table",
    "special",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Key:
    """One setting.

    Attributes
    ----------
    name, type, meaning
        Its name, what its value is, and what it means in one line.
    required
        Whether the section is unusable without it.
    default
        What holds when it is left out; None for nothing at all.
    choices, later_choices
        Allowed values of a ``choice``, or of each entry of ``texts``; those of `later_choices`
        are read, and refused by the commands that cannot honour them yet.
    low, high, above
        Range of a number: at least, at most, more than.
    unit
        What a number is counted in, in words.
    kind
        The kind of unit a ``quantity`` must have.
    keys
        Settings inside a ``table``.
    form
        How to write a ``special`` value, in words.
    later
        True when no command of this version honours it.
    """

    name: str
    type: ValueType
    meaning: str
    required: bool = False
    default: str | float | bool | None = None
    choices: tuple[str, ...] = ()
    later_choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    above: float | None = None
    unit: str = ""
    kind: str = ""
    keys: tuple[Key, ...] = ()
    form: str = ""
    later: bool = False

    @property
    def range_words(self) -> str:
        """The range in words, such as ``at least 1``; empty without one."""
        if self.low is not None and self.low == self.high:
            return f"always {self.low:g}"
        parts = [
            f"{words} {bound:g}"
            for words, bound in (
                ("more than", self.above), ("at least", self.low), ("at most", self.high),
            )
            if bound is not None
        ]  # fmt: skip
        return " and ".join(parts)


@dataclass(frozen=True, slots=True)
class Section:
    """One part of the file.

    Attributes
    ----------
    name
        Name between the brackets.
    what
        The thing it describes, with its article: ``a response``.
    many
        True for ``[[name]]``, of which there may be several.
    free
        True when the user makes up the names of the settings (``[nuisance]``); then the one
        key says what each of them may be.
    """

    name: str
    what: str
    meaning: str
    keys: tuple[Key, ...]
    many: bool = False
    required: bool = False
    free: bool = False
    later: bool = False

    @property
    def header(self) -> str:
        """The line that opens it."""
        return f"[[{self.name}]]" if self.many else f"[{self.name}]"

    def key(self, name: str) -> Key | None:
        """Return the setting called `name`, or None."""
        return next((key for key in self.keys if key.name == name), None)
