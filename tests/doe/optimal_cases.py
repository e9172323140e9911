"""Problems that the tests of optimal designs share: an invented bench of three gases."""

from __future__ import annotations

from hashlib import sha256

from weldtrial.doe.draw import Draw
from weldtrial.doe.optimal import Search, UnitAsked
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import model_terms


def draw(seed: str = "1") -> Draw:
    return Draw(sha256(seed.encode()).digest())


def number(name: str) -> Factor:
    return Factor(name, "numeric", ("low", "high"), unit="V", settings={"": (-1.0, 1.0)})


def category(name: str, levels: str) -> Factor:
    return Factor(name, "category", tuple(levels))


BENCH = (category("gas", "abc"), number("volts"), number("feed"), number("travel"))


def window(point: Point) -> bool:
    """Volts move with wire feed and gas, and high volts forbid high travel."""
    shift = {"a": 0.0, "b": 0.3, "c": -0.3}[str(point["gas"])]
    volts, feed, travel = (float(point[name]) for name in ("volts", "feed", "travel"))
    return abs(volts - feed - shift) <= 0.8 and volts + travel <= 1.2


def bench_search(name: str, starts: int = 64) -> Search:
    """Return a search by its words: model, criterion, free or rules, units."""
    model, criterion, region, units = name.split(" ", 3)
    asked = {
        "24": (UnitAsked(24),),
        "48": (UnitAsked(48),),
        "64": (UnitAsked(64),),
        "8x6 blocks": tuple(UnitAsked(6, block) for block in range(8)),
        "8x6 set-ups": (UnitAsked(6),) * 8,
        "8x6 set-ups in 4 blocks": tuple(UnitAsked(6, unit // 2) for unit in range(8)),
        "12x4 set-ups gas volts": (UnitAsked(4),) * 12,
    }[units]
    hard = ("gas", "volts") if "volts" in units else ("gas",) if "set-ups" in units else ()
    return Search(
        BENCH,
        model_terms(BENCH, "quadratic" if model == "quadratic" else "two-factor"),
        asked,
        hard=hard,
        allowed=window if region == "rules" else None,
        criterion="I" if criterion == "I" else "D",
        starts=starts,
    )
