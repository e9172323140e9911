"""Stamps as they come back from paper: the nearest of the trial, and what to say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from weldtrial.shared.problems import nearest


def nearest_stamp(text: str, stamps: Iterable[str]) -> str | None:
    """Return the one stamp that differs from `text` in one character, or the most alike."""
    known = list(stamps)
    word = text.upper()
    close = [
        stamp
        for stamp in known
        if len(stamp) == len(word) and sum(a != b for a, b in zip(stamp, word, strict=True)) == 1
    ]
    return close[0] if close else nearest(word, known)


def unknown_stamp(text: str, stamps: Iterable[str], rows: Mapping[str, int]) -> str:
    """Say that a stamp is not in the trial.

    Parameters
    ----------
    rows
        The row that each stamp already met stands on.
    """
    if not text:
        return "this row has no stamp. Look at the plate, and write it in."
    words = f"stamp '{text}' is not in this trial."
    close = nearest_stamp(text, stamps)
    if close is not None:
        words += f" Nearest {close}"
        words += f" (already on row {rows[close]})." if close in rows else "."
    return f"{words} Look at the plate; do not guess."
