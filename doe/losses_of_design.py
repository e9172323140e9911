"""What is lost with any one set-up, and with any one or two coupons.

Every loss is worked out again in full: the information without the lost coupons, which terms that
leaves to be told (in their order, as the analysis keeps them), what judges them, and how much
wider their intervals become.  Coupons of one set-up that are welded alike stand for one another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from weldtrial.doe.alike import kinds_of_loss
from weldtrial.doe.left_to_tell import Design, Told, left_to_tell

MOST_COUPONS = 500
MOST_PAIRS = 8000
"""With more coupons, or more kinds of pairs, pairs are not looked at."""
CHUNK = 1000


@dataclass(frozen=True, slots=True)
class Loss:
    """One loss and what it costs.

    Attributes
    ----------
    coupons
        Rows of the matrix that are lost.
    setup
        The set-up lost with all its coupons; None where coupons are lost one by one.
    dropped
        Terms that can no longer be told.
    unjudged
        Terms that can still be estimated and have nothing left to judge them by, and had before.
    growth
        The largest ratio of a half-width after to before; None where no term has both.
    widest
        The term whose half-width grows so.
    """

    coupons: tuple[int, ...]
    setup: int | None
    dropped: tuple[str, ...]
    unjudged: tuple[str, ...]
    growth: float | None
    widest: str

    @property
    def damage(self) -> tuple[int, int, float]:
        """How bad it is, worse being larger: terms lost, terms unjudged, growth."""
        return len(self.dropped), len(self.unjudged), round(self.growth or 0.0, 9)


@dataclass(frozen=True, slots=True)
class Losses:
    """The most damaging losses.

    Attributes
    ----------
    coupon, pair, setup
        The worst of each kind; `pair` is None beyond `MOST_PAIRS`, `setup` without set-ups.
    coupon_cases, pair_cases, setup_cases
        How many there are of each kind, all that are alike counted.
    coupon_drops, pair_drops, setup_drops
        How many of them take a term from the model, or all that judges one.
    """

    coupon: Loss
    pair: Loss | None
    setup: Loss | None
    coupon_cases: int
    pair_cases: int
    setup_cases: int
    coupon_drops: int
    pair_drops: int
    setup_drops: int


def losses(design: Design) -> Losses:
    """Return what is lost with a set-up, a coupon, or two coupons.

    Needs two coupons, and a model whose columns are independent.
    """
    before = left_to_tell(design, [()])[0]
    total = len(design.matrix)
    one = _worst(design, before, kinds_of_loss(design, 1))
    pairs = kinds_of_loss(design, 2) if total <= MOST_COUPONS else {}
    few = 0 < len(pairs) <= MOST_PAIRS
    two = _worst(design, before, pairs) if few else (None, 0)
    setups: list[tuple[int, ...]] = []
    if design.setup is not None:
        setups = [
            tuple(np.flatnonzero(design.setup == code).tolist())
            for code in range(int(design.setup.max()) + 1)
        ]
    each = dict.fromkeys(setups, 1)
    whole = _worst(design, before, each, setups=True) if setups else (None, 0)
    assert one[0] is not None
    return Losses(
        coupon=one[0],
        pair=two[0],
        setup=whole[0],
        coupon_cases=total,
        pair_cases=total * (total - 1) // 2 if few else 0,
        setup_cases=len(setups),
        coupon_drops=one[1],
        pair_drops=two[1],
        setup_drops=whole[1],
    )


def _worst(
    design: Design,
    before: Told,
    kinds: Mapping[tuple[int, ...], int],
    *,
    setups: bool = False,
) -> tuple[Loss | None, int]:
    """Return the most damaging case, the first of equals, and how many take something away."""
    cases = list(kinds)
    worst: Loss | None = None
    drops = 0
    for start in range(0, len(cases), CHUNK):
        some = cases[start : start + CHUNK]
        for place, after in enumerate(left_to_tell(design, some)):
            number = start + place if setups else None
            found = _compared(design, before, after, some[place], number)
            if found.dropped or found.unjudged:
                drops += kinds[some[place]]
            if worst is None or found.damage > worst.damage:
                worst = found
    return worst, drops


def _compared(
    design: Design, before: Told, after: Told, rows: tuple[int, ...], setup: int | None
) -> Loss:
    dropped, unjudged = [], []
    growth, widest = None, ""
    for term, was, now in zip(design.terms, before.half_widths, after.half_widths, strict=True):
        if was is None:
            continue
        if now is None:
            dropped.append(term.name)
        elif np.isinf(now):
            unjudged += [] if np.isinf(was) else [term.name]
        elif not np.isinf(was) and (growth is None or now / was > growth + 1e-9):
            growth, widest = now / was, term.name
    return Loss(rows, setup, tuple(dropped), tuple(unjudged), growth, widest)
