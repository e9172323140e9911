"""What printable sheets are made of: papers, boxes to write in, words that tell no gas."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

from weldtrial.shared.trial import Trial

PaperName = Literal["A4", "letter"]
ROW_MM = 9.5
"""Height of a row to write in: a pencil in a glove needs 9 mm."""

_Row = TypeVar("_Row")


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper size in millimetres, and its name in a style sheet."""

    name: PaperName
    short_mm: float
    long_mm: float
    margin_mm: float = 10.0

    def height_mm(self, *, landscape: bool) -> float:
        """Return the printable height."""
        return (self.short_mm if landscape else self.long_mm) - 2 * self.margin_mm


PAPERS = {"A4": Paper("A4", 210, 297), "letter": Paper("letter", 215.9, 279.4)}


@dataclass(frozen=True, slots=True)
class Boxes:
    """One box a digit: `whole` before the mark, `decimals` after it."""

    whole: int
    decimals: int = 0
    mark: str = "."


CLOCK = Boxes(2, 2, ":")


def boxes_for(largest: float, step: float | None = None) -> Boxes:
    """Return boxes for numbers up to about `largest`, written to `step` (0.1 when unknown)."""
    whole = max(1, len(str(math.floor(abs(largest)))))
    return Boxes(whole, decimals_of(0.1 if step is None else step))


def decimals_of(step: float) -> int:
    """Return the decimals that a smallest division needs: 0.25 needs two, 0.1 one, 5 none."""
    text = f"{step:.6f}".rstrip("0")
    return min(3, len(text.partition(".")[2]))


def in_pages(rows: Sequence[_Row], most: int) -> Iterator[tuple[_Row, ...]]:
    """Give `rows` in pages of at most `most`, at least one page."""
    for start in range(0, max(1, len(rows)), most):
        yield tuple(rows[start : start + most])


def telling_words(trial: Trial) -> tuple[str, ...]:
    """Return the words that would tell a reader which coupon is which: levels and symbols."""
    found: list[str] = []
    for factor in trial.factors:
        if factor.kind == "category":
            found += factor.levels
        for facts in factor.about.values():
            for fact in facts.values():
                if isinstance(fact, str) and fact.strip():
                    found += [fact, fact.split("-")[0]]
    return tuple(dict.fromkeys(word.strip() for word in found if word.strip()))


def tells(words: str, trial: Trial) -> bool:
    """Whether `words` hold a level name or a symbol of a compared category, as whole words."""
    return _telling(trial).search(words) is not None


def masked(words: str, trial: Trial) -> str:
    """Return `words` with every telling word replaced by dots."""
    return _telling(trial).sub("…", words)


def blind_title(trial: Trial, seal_code: str) -> str:
    """Return the trial's title, or its seal code where the title tells a gas."""
    return f"Trial {seal_code}" if tells(trial.title, trial) else trial.title


def _telling(trial: Trial) -> re.Pattern[str]:
    words = sorted(telling_words(trial), key=len, reverse=True)
    inner = "|".join(re.escape(word) for word in words) or r"(?!)"
    return re.compile(rf"(?<![\w])(?:{inner})(?![\w])", re.IGNORECASE)
