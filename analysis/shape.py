"""The numbers of a plan that decide what it can show."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

from scipy import special

from weldtrial.analysis.planned_families import critical_value
from weldtrial.analysis.power import ALPHA, Precision, Spread, by_setups, shuffled
from weldtrial.analysis.simultaneous import Family


@dataclass(frozen=True, slots=True)
class Shape:
    """A balanced plan of compared levels, by set-ups in rounds or completely shuffled.

    Attributes
    ----------
    by_setups
        True when the compared factor is changed between set-ups.
    rounds
        Rounds, or blocks of a complete shuffle; 1 for none.
    per_round
        Set-ups of each level in a round.
    combos
        Combinations of the easy factors in every set-up (in every block).
    replicates
        Coupons of each combination in a set-up (in a block).
    centre
        Centre points besides, in a set-up (in a block).
    parts
        Parts that the combinations are cut in; each set-up (block) holds one.
    parts_by_round
        Whether the parts go round by round, so that rounds come in multiples of `parts`.
    levels
        Levels of the compared factor.
    others
        Combinations of the other hard-to-change factors; each level has a set-up with each.
    hard_columns
        Columns of the model that change only between set-ups.
    family
        How several levels are read together: with the ``reference``, or all ``pairs``.
    numeric
        Whether the compared levels are numbers, so that centre points say nothing of the gap.
    readings
        2 where both readings of fair are welded, half of a gas's coupons at each; the two are
        read together, and the figures are of one.
    shared
        Whether the reference is welded alike at both, so that all its coupons count in each.
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
    centre: int = 0
    parts: int = 1
    parts_by_round: bool = False
    levels: int = 2
    others: int = 1
    hard_columns: int = 1
    family: Family = "single"
    numeric: bool = False
    readings: int = 1
    shared: bool = False

    @property
    def listed(self) -> bool:
        """Whether the coupons are listed one by one, so that they cannot be shared otherwise."""
        return False

    @property
    def counted_orders(self) -> bool:
        """Whether the orders that could be drawn can be counted."""
        return True

    @property
    def setups_per_level(self) -> int | None:
        """Set-ups of each level; None for a complete shuffle."""
        return self.rounds * self.per_round * self.others if self.by_setups else None

    @property
    def setups(self) -> int | None:
        """Set-ups in the whole trial; None for a complete shuffle."""
        if not self.by_setups:
            return None
        return self.levels * self.others * self.rounds * self.per_round

    @property
    def per_setup(self) -> int:
        """Counting coupons in a set-up (in a block)."""
        return self.combos * self.replicates + self.centre

    @property
    def most_per_setup(self) -> int:
        """Counting coupons in the fullest set-up."""
        return self.per_setup

    @property
    def coupons(self) -> int:
        """Counting coupons."""
        return self.per_setup * (self.setups or self.rounds)

    @property
    def paired(self) -> bool:
        """Whether every round holds one set-up of each level, compared within the round."""
        return self.by_setups and self.per_round == 1 and self.others == 1 and not self.free

    @property
    def df(self) -> int:
        """Degrees of freedom that judge the compared factor, 0 where there are none."""
        if self.setups is not None:
            return max(0, self.setups - self.rounds - self.hard_columns)
        return max(0, self.coupons - self.rounds - self.terms)

    def precision(self, spread: Spread) -> Precision:
        """Return how precisely the two levels are compared (at one reading of fair)."""
        if self.readings > 1:
            return self._at_one_reading(spread)
        if self.setups_per_level is not None:
            found = by_setups(
                spread, self.setups_per_level, self.per_setup, paired=self.paired, df=self.df
            )
        else:
            found = shuffled(spread, self.coupons_per_level, df=self.df)
        alpha, alpha_one = error_rates(self.family, self.levels, self.df)
        return replace(found, alpha=alpha, alpha_one=alpha_one)

    def _at_one_reading(self, spread: Spread) -> Precision:
        """Return the precision of one of two readings, read together with the other.

        The set-ups' own degrees of freedom judge it, fewer than it really has, and the two gaps
        are taken to correlate by a half, less than they do: both err on the timid side.
        """
        one = replace(self, readings=1)
        if self.setups_per_level is not None:
            sides = [
                by_setups(spread, self.setups_per_level, coupons, paired=self.paired, df=self.df)
                for coupons in (self.per_setup // 2, self.per_setup)
            ]
        else:
            sides = [
                shuffled(spread, coupons, df=self.df)
                for coupons in (one.coupons_per_level // 2, one.coupons_per_level)
            ]
        alpha, alpha_one = error_rates("reference", 1 + self.readings, self.df)
        reference = sides[1 if self.shared else 0].variance
        return replace(sides[0], alpha=alpha, alpha_one=alpha_one, variance_reference=reference)

    def resized(self, units: int) -> Shape:
        """Return the plan with `units` set-ups of each level, or coupons of each combination.

        Set-ups shuffled freely stay so; rounds stay rounds of as many set-ups.  A complete
        shuffle keeps its blocks.
        """
        if not self.by_setups:
            return replace(self, replicates=units)
        if self.free:
            return replace(self, per_round=max(1, units // self.others))
        return replace(self, rounds=max(1, units // (self.per_round * self.others)))

    @property
    def step(self) -> int:
        """Set-ups of each level (coupons of each combination) come in multiples of this."""
        if not self.by_setups:
            return 1
        if self.free:
            return self.others * self.parts
        return self.per_round * self.others * (self.parts if self.parts_by_round else 1)

    @property
    def coupons_per_level(self) -> int:
        """Counting coupons that compare each level."""
        blocks = self.rounds if self.setups is None else self.setups
        return (self.coupons - (self.centre * blocks if self.numeric else 0)) // self.levels


@cache
def error_rates(family: Family, levels: int, df: float) -> tuple[float, float]:
    """Return the error rates of one comparison that are read as one of several.

    The two-sided rate of an interval and the one-sided rate of a limit (from the 90 % interval),
    so that Student's t at these rates is the critical value of the simultaneous interval.

    References
    ----------
    Dunnett (1955). *J. Am. Stat. Assoc.* 50:1096-1121; Kramer (1956). *Biometrics* 12:307-310.
    """
    if family == "single" or levels < 3 or df < 1:
        return ALPHA, ALPHA
    critical95, critical90 = (critical_value(family, levels, df, one) for one in (0.95, 0.90))
    return (
        2 * float(special.stdtr(df, -critical95)),
        float(special.stdtr(df, -critical90)),
    )
