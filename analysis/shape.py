"""The numbers of a plan that decide what it can show."""

from __future__ import annotations

from dataclasses import dataclass, replace

from weldtrial.analysis.power import Precision, Spread, by_setups, shuffled


@dataclass(frozen=True, slots=True)
class Shape:
    """A balanced plan of two compared levels, by set-ups in rounds or completely shuffled.

    Attributes
    ----------
    by_setups
        True when the compared factor is changed between set-ups.
    rounds
        Rounds, or blocks of a complete shuffle; 1 for none.
    per_round
        Set-ups of each level in a round.
    combos
        Combinations of the easy factors in every set-up; all combinations of a complete shuffle.
    replicates
        Coupons of each combination in a set-up (in a block).
    extra
        Spares and warm-ups besides.
    terms
        Columns of the model without the intercept and the blocks (complete shuffle only).
    first_at_most
        In how many rounds a level may come first; None for no restriction.
    free
        True when the set-ups are shuffled over the whole trial instead of standing in rounds
        (`rounds` is 1, and `per_round` holds the set-ups of each level).
    """

    by_setups: bool
    rounds: int
    per_round: int = 1
    combos: int = 1
    replicates: int = 1
    extra: int = 0
    terms: int = 1
    first_at_most: int | None = None
    free: bool = False

    @property
    def setups_per_level(self) -> int | None:
        """Set-ups of each level; None for a complete shuffle."""
        return self.rounds * self.per_round if self.by_setups else None

    @property
    def setups(self) -> int | None:
        """Set-ups in the whole trial; None for a complete shuffle."""
        return 2 * self.rounds * self.per_round if self.by_setups else None

    @property
    def per_setup(self) -> int:
        """Counting coupons in a set-up (in a block)."""
        return self.combos * self.replicates

    @property
    def coupons(self) -> int:
        """Counting coupons."""
        return self.per_setup * (self.setups or self.rounds)

    @property
    def paired(self) -> bool:
        """Whether every round holds one set-up of each level, compared within the round."""
        return self.by_setups and self.per_round == 1 and not self.free

    @property
    def df(self) -> int:
        """Degrees of freedom that judge the compared factor, 0 where there are none."""
        if self.setups is not None:
            return max(0, self.setups - self.rounds - 1)
        return max(0, self.coupons - self.rounds - self.terms)

    def precision(self, spread: Spread) -> Precision:
        """Return how precisely the two levels are compared."""
        if self.setups_per_level is not None:
            return by_setups(
                spread, self.setups_per_level, self.per_setup, paired=self.paired, df=self.df
            )
        return shuffled(spread, self.coupons // 2, df=self.df)

    def resized(self, units: int) -> Shape:
        """Return the plan with `units` set-ups of each level, or coupons of each combination.

        Set-ups shuffled freely stay so; rounds stay rounds of as many set-ups.  A complete
        shuffle keeps its blocks.
        """
        if not self.by_setups:
            return replace(self, replicates=units)
        if self.free:
            return replace(self, per_round=units)
        return replace(self, rounds=units // self.per_round)
