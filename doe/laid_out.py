"""The record of an unordered design: what every set-up or block holds, and what that can tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from weldtrial.doe.blocks import Blocked
from weldtrial.doe.cells import Cell
from weldtrial.doe.easy import EasyDesign
from weldtrial.doe.strata import Strata, Unit
from weldtrial.shared.plan import Role

NOTHING = Strata((), (), (), 0, 0, 0)


@dataclass(frozen=True, slots=True)
class Holding:
    """What one set-up (one block) of a listed design holds.

    Attributes
    ----------
    round
        Its round or block, counted from 0.
    kind
        The kind of set-up, one of `Layout.hard_levels`; empty without set-ups.
    cells
        Its coupons, in no order of welding.
    """

    round: int
    kind: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """The unordered design.

    Attributes
    ----------
    hard_factors
        Names of the hard-to-change factors, none when coupons are completely shuffled.
    hard_levels
        Their combinations, one kind of set-up each: the level, or levels joined by a comma.
    rounds
        Rounds; without a hard-to-change factor the blocks (1: no blocks).
    per_round
        Set-ups of each kind in every round; 0 without set-ups.
    cells
        For each kind of set-up (``""`` without) all combinations that are welded under it.
    replicates
        Coupons of each combination in every set-up (in every block) that holds it.
    easy
        The design of the factors that change from coupon to coupon.
    error_df
        Degrees of freedom that judge the hard-to-change factors; without one, coupons less the
        rank of blocks and model.
    error_df_within
        Degrees of freedom that judge what changes within set-ups; None without set-ups.
    first_at_most
        In how many rounds a kind of set-up may come first; None for no restriction.
    centre
        For each kind of set-up the centre points that every set-up (every block) holds.
    parts
        Where a set-up (a block) holds a part of the combinations only: their places in `cells`,
        part by part; empty when each holds all.
    parts_by
        Whether the parts go round by round (block by block), so that all set-ups of a round hold
        the same one, or every round holds each part under each kind; None without parts.
    cut
        How the parts were cut, None without parts.
    strata
        What each term of the model is judged by.
    listed
        Where set-ups (blocks) hold what no rule repeats: each of them, listed.  `cells` then has
        what they hold, each combination once, and `replicates` and `parts` say nothing.
    earlier
        Set-ups (blocks) of the trials before, whose coupons count too; their rounds are numbered on
        after those of `listed`.
    role
        What the coupons are welded for: to be counted, or to confirm a setting.
    name, notes
        What a listed design is called, and what it can and cannot tell, in words.
    """

    hard_factors: tuple[str, ...]
    hard_levels: tuple[str, ...]
    rounds: int
    per_round: int
    cells: Mapping[str, tuple[Cell, ...]]
    replicates: int
    warm_up: int
    spare: int
    easy: EasyDesign
    first_at_most: int | None = None
    centre: Mapping[str, tuple[Cell, ...]] | None = None
    parts: tuple[tuple[int, ...], ...] = ()
    parts_by: str | None = None
    cut: Blocked | None = None
    strata: Strata = NOTHING
    listed: tuple[Holding, ...] = ()
    earlier: tuple[Holding, ...] = ()
    role: Role = "count"
    name: str = ""
    notes: tuple[str, ...] = ()

    @property
    def hard(self) -> str | None:
        """The hard-to-change factor, several joined by ``×``; None when completely shuffled."""
        return " × ".join(self.hard_factors) or None

    @property
    def set_ups(self) -> int:
        """Set-ups in the whole trial; 0 when completely shuffled."""
        if self.listed:
            return len(self.listed) if self.hard_factors else 0
        return self.rounds * self.per_round * len(self.hard_levels)

    @property
    def set_ups_per_level(self) -> int:
        """Set-ups of each kind, of the scarcest where they differ."""
        if self.listed and self.hard_factors:
            kinds = [one.kind for one in self.listed]
            return min(kinds.count(kind) for kind in self.hard_levels)
        return self.rounds * self.per_round

    @property
    def in_rounds(self) -> bool:
        """Whether every round holds every kind of set-up equally often."""
        return bool(self.hard_factors) and self.per_round > 0

    @property
    def all_combos(self) -> int:
        """Combinations that are welded under each kind of set-up."""
        return len(next(iter(self.cells.values())))

    @property
    def combos(self) -> int:
        """Combinations in every set-up (in every block)."""
        return self.all_combos // max(1, len(self.parts))

    @property
    def centre_points(self) -> int:
        """Centre points in every set-up (in every block)."""
        return len(next(iter(self.centre.values()))) if self.centre else 0

    @property
    def per_setup(self) -> int:
        """Counting coupons in each set-up (in each block), in the smallest where they differ."""
        if self.listed:
            return min(len(one.cells) for one in self.listed)
        return self.combos * self.replicates + self.centre_points

    @property
    def coupons(self) -> int:
        """Counting coupons."""
        if self.listed:
            return sum(len(one.cells) for one in self.listed)
        return self.per_setup * (self.set_ups if self.hard_factors else self.rounds)

    @property
    def total(self) -> int:
        """Coupons with spares and warm-ups."""
        return self.coupons + self.warm_up + self.spare

    @property
    def error_df(self) -> int:
        """Degrees of freedom of the set-ups; without, of the coupons.  Below 1: none."""
        return self.strata.between_df if self.hard_factors else self.strata.within_df

    @property
    def judged_columns(self) -> int:
        """Columns of the model that change only between set-ups."""
        held = self.holdings()
        return len(held) - len({one.round for one in held}) - self.error_df

    @property
    def error_df_within(self) -> int | None:
        """Degrees of freedom within set-ups; None without set-ups."""
        return self.strata.within_df if self.hard_factors else None

    def distinct(self, kind: str, part: int = 0) -> tuple[Cell, ...]:
        """Return the combinations that a set-up (a block) of a kind holds, each once."""
        cells = self.cells[kind]
        return tuple(cells[place] for place in self.parts[part]) if self.parts else cells

    def contents(self, kind: str, part: int = 0) -> tuple[Cell, ...]:
        """Return the coupons that a set-up (a block) of a kind holds, replicates and centres."""
        centre = self.centre[kind] if self.centre else ()
        return self.distinct(kind, part) * self.replicates + centre

    def units(self) -> tuple[Unit, ...]:
        """Return every set-up (every block) with its combinations, in no order of welding."""
        if self.listed:
            return tuple(Unit(one.round, _once(one.cells)) for one in self.holdings())
        kinds = self.hard_levels or ("",)
        many = max(1, len(self.parts))
        found = []
        for number in range(self.rounds):
            for kind in kinds:
                for place in range(max(1, self.per_round)):
                    part = (number if self.parts_by == "round" else place) % many
                    centre = {id(cell): cell for cell in self.centre[kind]} if self.centre else {}
                    cells = (*self.distinct(kind, part), *centre.values())
                    found.append(Unit(number, cells))
        return tuple(found)

    def holdings(self) -> tuple[Holding, ...]:
        """Return what every set-up (every block) that counts holds, in no order of welding.

        The earlier trials' after the new ones.
        """
        if self.listed:
            return (*(self.listed if self.role == "count" else ()), *self.earlier)
        kinds, many = self.hard_levels or ("",), max(1, len(self.parts))
        by_round = self.parts_by == "round"
        return tuple(
            Holding(number, kind, self.contents(kind, (number if by_round else place) % many))
            for number in range(self.rounds)
            for kind in kinds
            for place in range(max(1, self.per_round))
        )

    def as_plain(self) -> dict[str, Any]:
        """Return the design as plain values without any order, for the seal.

        Keys are only there where the design needs them, so that older seals stay as they are.
        """
        several = len(self.hard_factors) > 1
        if self.listed:
            return self._listed_as_plain()
        plain: dict[str, Any] = {
            "hard_to_change": list(self.hard_factors) if several else self.hard,
            "levels": list(self.hard_levels),
            "rounds": self.rounds,
            "set_ups_of_each_level_a_round": self.per_round,
            "coupons_of_each_combination": self.replicates,
            "combinations": _plain(self.cells),
            "warm_up": self.warm_up,
            "spare": self.spare,
            "first_at_most": self.first_at_most,
        }
        if self.centre:
            plain["centre_points"] = _plain(self.centre)
        if self.parts:
            plain["parts"] = [list(part) for part in self.parts]
            plain["parts_by"] = self.parts_by
        return plain

    def _listed_as_plain(self) -> dict[str, Any]:
        return {
            "hard_to_change": list(self.hard_factors),
            "levels": list(self.hard_levels),
            "rounds": self.rounds,
            "set_ups_of_each_level_a_round": self.per_round,
            "listed": [
                {
                    "round": one.round,
                    "under": one.kind,
                    "coupons": [
                        {"levels": dict(cell.levels), "settings": dict(cell.settings)}
                        for cell in one.cells
                    ],
                }
                for one in self.listed
            ],
            "warm_up": self.warm_up,
            "spare": self.spare,
            "first_at_most": self.first_at_most,
        }


def _once(cells: tuple[Cell, ...]) -> tuple[Cell, ...]:
    return tuple({id(cell): cell for cell in cells}.values())


def _plain(cells: Mapping[str, tuple[Cell, ...]]) -> list[dict[str, Any]]:
    return [
        {"under": kind, "levels": dict(cell.levels), "settings": dict(cell.settings)}
        for kind, several in cells.items()
        for cell in several
    ]
