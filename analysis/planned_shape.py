"""A plan whose set-ups (or blocks) hold what no rule repeats: judged from its coded matrix."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.power import Precision, Spread
from weldtrial.analysis.shape import Shape, error_rates
from weldtrial.analysis.term_power import Codes, planned


@dataclass(frozen=True, slots=True, eq=False)
class PlannedShape(Shape):
    """The numbers of a plan of listed coupons.

    Attributes
    ----------
    x, setup
        Coded matrix of the counting coupons, shape (n, p), and their set-ups, None without.
    gaps
        What compares two levels (or low with high): rows of contrasts, shape (pairs, p).
    times
        How many such plans are welded; 1 unless something bigger is thought of.
    before, setups_before
        Coupons, and set-ups, of them that were welded before: they count and cost nothing.
    blocks
        Rounds or blocks of the whole, those before among them.
    """

    x: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    setup: Codes | None = None
    gaps: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    times: float = 1.0
    before: int = 0
    setups_before: int = 0
    blocks: int = 1

    @property
    def listed(self) -> bool:
        """The coupons cannot be shared out otherwise."""
        return True

    @property
    def counted_orders(self) -> bool:
        """Whether they are rounds of all kinds of set-up, in one draw."""
        every = self.rounds * self.per_round * self.levels * self.others
        return self.by_setups and not self.before and self.setups == every

    @property
    def setups(self) -> int | None:
        """Set-ups to be welded; None for a complete shuffle."""
        if self.setup is None:
            return None
        return round(self.times * len(np.unique(self.setup))) - self.setups_before

    @property
    def setups_per_level(self) -> int | None:
        """Set-ups of each level, of the scarcest where they differ; None for a complete shuffle."""
        if self.setup is None:
            return None
        every = self.rounds * self.per_round * self.others + self.setups_before // self.levels
        return round(self.times * every)

    @property
    def per_setup(self) -> int:
        """Coupons in a set-up (in a block), in the smallest where they differ."""
        return self.replicates

    @property
    def most_per_setup(self) -> int:
        """Coupons in the fullest set-up to be welded."""
        if self.setup is None:
            return self.replicates
        sizes = np.unique(self.setup, return_counts=True)[1][self.setups_before :]
        return max(self.replicates, int(sizes.max(initial=0)))

    @property
    def coupons(self) -> int:
        """Counting coupons to be welded."""
        return round(self.times * len(self.x)) - self.before

    @property
    def coupons_per_level(self) -> int:
        """Counting coupons of each level, about."""
        return self.coupons // self.levels

    @property
    def df(self) -> int:
        """Degrees of freedom that judge the compared factor, 0 where there are none."""
        count = len(self.x) if self.setup is None else len(np.unique(self.setup))
        columns = self.hard_columns if self.setups is not None else self.terms
        return max(0, round(self.times * (count - self.blocks)) - columns)

    def precision(self, spread: Spread) -> Precision:
        """Return how precisely the levels are compared: the worst known pair of them."""
        found = planned(self.x, self.setup, spread)
        if found is None:
            return Precision(float("inf"), 0)
        variances = np.einsum("ij,jk,ik->i", self.gaps, found.covariance, self.gaps)
        worst, df = int(variances.argmax()), float(self.df)
        one = replace(self, times=1.0).df
        if found.state is not None and one > 0:
            # What a fit of one such plan would be judged by, and more of them in proportion.
            df *= found.df(self.gaps[[worst]])[0] / one
        alpha, alpha_one = error_rates(self.family, self.levels, df)
        return Precision(float(variances[worst]) / self.times / 2, df, alpha, alpha_one)

    def resized(self, units: int) -> PlannedShape:
        """Return so many such plans that each level has `units` set-ups (coupons)."""
        now = self.setups_per_level or self.coupons_per_level
        return replace(self, times=self.times * units / now)

    @property
    def step(self) -> int:
        """Set-ups of each level (coupons of each level) come in multiples of this."""
        return max(1, round((self.setups_per_level or self.coupons_per_level) / self.times))
