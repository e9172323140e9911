"""What changed between two versions of a trial file, value by value."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weldtrial.shared.canonical import canonical, number_text

LONGEST = 60
"""Longest piece shown of a value, in characters."""


@dataclass(frozen=True, slots=True)
class Change:
    """One value that changed.

    Attributes
    ----------
    path
        Dotted key as in the newer file (the older, where it was taken out):
        ``response.0.margin``.
    was, now
        The plain values; None where there was, or is, nothing.
    name
        The same in words: ``break_load margin``.
    """

    path: str
    was: Any
    now: Any
    name: str

    @property
    def words(self) -> str:
        """The change for eyes: ``break_load margin 5 → 8``."""
        return change_in_words(self.name, self.was, self.now)


def change_in_words(name: str, was: Any, now: Any) -> str:
    """Return ``name was → now``; of long values only the part around the first difference."""
    texts = _spelt(was), _spelt(now)
    common = next(
        (at for at, (a, b) in enumerate(zip(*texts, strict=False)) if a != b),
        min(len(text) for text in texts),
    )
    start = max(0, common - LONGEST // 3) if max(map(len, texts)) > LONGEST else 0
    return f"{name} {_piece(texts[0], start)} → {_piece(texts[1], start)}"


def _piece(text: str, start: int) -> str:
    piece = text[start : start + LONGEST]
    return f"{'…' if start else ''}{piece}{'…' if start + LONGEST < len(text) else ''}"


def _spelt(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return number_text(value)
    text = f'"{value}"' if isinstance(value, str) else canonical(value).decode("utf-8")
    return " ".join(text.split())


def differences(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[Change, ...]:
    """Return every value that differs, in the order of the newer file.

    Tables that carry a ``name`` (factors, responses, held settings) are matched by it, so that
    putting one in front of another does not make all of them differ; their order still counts.
    Values that are the same in canonical form do not differ.
    """
    return tuple(_tables((), "", old, new))


def _same(old: Any, new: Any) -> bool:
    try:
        return canonical(old) == canonical(new)
    except (TypeError, ValueError):
        return bool(old == new)


def _values(path: tuple[str, ...], name: str, old: Any, new: Any) -> Iterator[Change]:
    if _same(old, new):
        return
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        yield from _tables(path, name, old, new)
    elif _named(old) and _named(new):
        yield from _lists(path, name, old, new)
    elif _tables_only(old) and _tables_only(new):
        yield from _numbered(path, name, old, new)
    else:
        yield Change(".".join(path), old, new, name)


def _tables(
    path: tuple[str, ...], name: str, old: Mapping[str, Any], new: Mapping[str, Any]
) -> Iterator[Change]:
    for key in [*new, *(key for key in old if key not in new)]:
        inner = f"{name} {key}" if name else key
        yield from _values((*path, key), inner, old.get(key), new.get(key))


def _named(value: Any) -> bool:
    """Tell whether `value` is a list of tables, each under a name of its own."""
    if not isinstance(value, Sequence) or isinstance(value, str) or not value:
        return False
    if not all(isinstance(one, Mapping) and isinstance(one.get("name"), str) for one in value):
        return False
    return len({one["name"] for one in value}) == len(value)


def _tables_only(value: Any) -> bool:
    return isinstance(value, list | tuple) and all(isinstance(one, Mapping) for one in value)


def _numbered(
    path: tuple[str, ...], name: str, old: Sequence[Any], new: Sequence[Any]
) -> Iterator[Change]:
    """Compare tables without names (claims, limits) by their place, counted from 1 for eyes."""
    for at in range(max(len(old), len(new))):
        was = old[at] if at < len(old) else None
        now = new[at] if at < len(new) else None
        yield from _values((*path, str(at)), f"{name} {at + 1}", was, now)


def _lists(
    path: tuple[str, ...],
    name: str,
    old: Sequence[Mapping[str, Any]],
    new: Sequence[Mapping[str, Any]],
) -> Iterator[Change]:
    before = {one["name"]: (number, one) for number, one in enumerate(old)}
    after = {one["name"]: (number, one) for number, one in enumerate(new)}
    for own, (number, table) in after.items():
        if own in before:
            yield from _values((*path, str(number)), own, before[own][1], table)
        else:
            yield Change(".".join((*path, str(number))), None, own, name)
    for own, (number, _) in before.items():
        if own not in after:
            yield Change(".".join((*path, str(number))), own, None, name)
    kept = [own for own in before if own in after], [own for own in after if own in before]
    if kept[0] != kept[1]:
        yield Change(".".join(path), ", ".join(kept[0]), ", ".join(kept[1]), f"order of {name}s")
