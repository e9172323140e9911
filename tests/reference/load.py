"""Published numeric cases, read from `data/` with the digits as printed.

Every case is a JSON file (expected values, tolerance, citation, provenance, notes) and a CSV file
of the same name. Provenance: `read` was copied from the published text, `memory` recalled (every
sum of squares of such a case has been worked out again), `computed` taken from the software named
in `verified`. To add a case, put the two files there and name the source inside the JSON.
"""

from __future__ import annotations

import csv
import json
import math
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

DATA = Path(__file__).parent / "data"


@dataclass(frozen=True)
class Case:
    """One published case: columns as text, expected values as printed."""

    name: str
    columns: dict[str, list[str]]
    expected: dict[str, Any]
    citation: str

    def numbers(self, column: str) -> NDArray[np.float64]:
        """A column as numbers."""
        return np.array([float(cell) for cell in self.columns[column]])

    def codes(self, column: str) -> NDArray[np.intp]:
        """A column as levels 0, 1, ... in sorted order."""
        return np.unique(self.columns[column], return_inverse=True)[1]

    def coded(self, column: str) -> NDArray[np.float64]:
        """A column in sum-to-zero coding, one column less than it has levels, the last implied."""
        codes = self.codes(column)
        k = int(codes.max()) + 1
        return np.vstack([np.eye(k - 1), -np.ones(k - 1)])[codes]


def load(name: str) -> Case:
    """Read one case; decimal numbers stay `Decimal`, so that printed digits can be counted."""
    text = (DATA / f"{name}.json").read_text(encoding="utf-8")
    record = json.loads(text, parse_float=Decimal)
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    columns = {key: [row[key] for row in rows] for key in rows[0]}
    return Case(name, columns, record["expected"], str(record["citation"]["document"]))


def as_printed(value: float, printed: Decimal | int) -> bool:
    """Whether a value rounds to the printed one: within half a unit of its last digit."""
    exponent = int(Decimal(printed).as_tuple().exponent)
    return abs(Decimal(repr(float(value))) - Decimal(printed)) <= Decimal("0.5000001").scaleb(
        exponent
    )


def significant_digits(value: float, certified: Decimal | float) -> float:
    """Digits that agree: -log10 of the relative error (NIST's log relative error)."""
    error = abs(value - float(certified)) / abs(float(certified))
    return math.inf if error == 0.0 else -math.log10(error)
