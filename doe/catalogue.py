"""The catalogue of two-level fractions with minimum aberration: 3 to 11 factors, 4 to 64 runs.

The table is `catalogue.json`.  Its generators are the usual printed ones; resolution and
word-length pattern are published values that the tests work out again.

References
----------
Fries & Hunter (1980). *Technometrics* 22:601-608 (minimum aberration).
Chen, Sun & Wu (1993). *International Statistical Review* 61:131-145 (the catalogue).
Box, Hunter & Hunter (1978). *Statistics for Experimenters*, p. 410, and NIST/SEMATECH (2003),
*e-Handbook of Statistical Methods*, 5.3.3.4.7 (the generators).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pkgutil import get_data

LETTERS = "ABCDEFGHJKL"
"""Letters of the factors in turn; I is left out because it stands for the identity."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One fraction of the catalogue.

    Attributes
    ----------
    factors, runs
        How many of each.
    generators
        Letter of a factor and the letters of the product that sets it, such as ("D", "ABC").
    resolution
        Length of the shortest defining word.
    word_lengths
        Defining words of length 3, 4, ... up to the number of factors.
    """

    factors: int
    runs: int
    generators: tuple[tuple[str, str], ...]
    resolution: int
    word_lengths: tuple[int, ...]


@cache
def catalogue() -> tuple[Entry, ...]:
    """Return all fractions, by factors and runs."""
    # Data of the package itself, whatever it is installed as; this room opens no file of a trial.
    data = get_data("weldtrial.doe", "catalogue.json")
    assert data is not None
    return tuple(
        Entry(
            factors=row["factors"],
            runs=row["runs"],
            generators=tuple((made[0], made[2:]) for made in row["generators"].split()),
            resolution=row["resolution"],
            word_lengths=tuple(row["word_lengths"]),
        )
        for row in json.loads(data)["fractions"]
    )


def catalogued(factors: int, runs: int) -> Entry | None:
    """Return the fraction for so many factors and runs, or None when there is none."""
    return next(
        (entry for entry in catalogue() if (entry.factors, entry.runs) == (factors, runs)), None
    )


def runs_for(factors: int) -> tuple[int, ...]:
    """Return the runs that the catalogue has for so many factors, fewest first."""
    return tuple(entry.runs for entry in catalogue() if entry.factors == factors)
