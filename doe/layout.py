"""The unordered design: which coupon is welded at which settings, in which set-up, how often.

Everything here is fixed by the trial file; nothing is drawn.  The seal is taken from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from weldtrial.doe.factorial import two_level
from weldtrial.doe.refusals import nothing_repeated, set_up_once, tied_to_block
from weldtrial.doe.served import refuse_unserved
from weldtrial.doe.sharing import extra_coupons, share_out
from weldtrial.shared.factors import Factor
from weldtrial.shared.orders import count_orders, usual_limit
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import model_terms
from weldtrial.shared.trial import Trial

Settings = Mapping[str, float | str]


@dataclass(frozen=True, slots=True)
class Cell:
    """Coupons welded alike: one combination of levels in one set-up, or in one block.

    Attributes
    ----------
    levels
        Level name of every factor, in the order of the trial file, own settings included.
    settings
        The same as set on the machine: a number for a numeric factor, the level for a category.
    """

    levels: Mapping[str, str]
    settings: Settings


@dataclass(frozen=True, slots=True)
class Layout:
    """The unordered design.

    Attributes
    ----------
    hard
        Name of the hard-to-change factor, None when coupons are completely shuffled.
    hard_levels
        Its levels, empty when there is none.
    rounds
        Rounds; without a hard-to-change factor the blocks, each holding whole replicates (1: no
        blocks).
    per_round
        Set-ups of each level in every round; 0 without set-ups.
    cells
        For each level of the hard-to-change factor (``""`` without one) the combinations that
        every set-up (every block) holds.
    replicates
        Coupons of each combination in every set-up (in every block).
    error_df
        Degrees of freedom that judge the hard-to-change factor, set-ups less the rank of rounds
        and factor; without one, coupons less the rank of blocks and model.
    error_df_within
        Degrees of freedom that judge what changes within set-ups; None without set-ups.
    first_at_most
        In how many rounds a level may come first; None for no restriction.
    """

    hard: str | None
    hard_levels: tuple[str, ...]
    rounds: int
    per_round: int
    cells: Mapping[str, tuple[Cell, ...]]
    replicates: int
    warm_up: int
    spare: int
    error_df: int
    error_df_within: int | None
    first_at_most: int | None

    @property
    def set_ups(self) -> int:
        """Set-ups in the whole trial; 0 when completely shuffled."""
        return self.rounds * self.per_round * len(self.hard_levels)

    @property
    def set_ups_per_level(self) -> int:
        """Set-ups of each level of the hard-to-change factor."""
        return self.rounds * self.per_round

    @property
    def combos(self) -> int:
        """Combinations in every set-up (in every block)."""
        return len(next(iter(self.cells.values())))

    @property
    def per_setup(self) -> int:
        """Counting coupons in each set-up (in each block)."""
        return self.combos * self.replicates

    @property
    def coupons(self) -> int:
        """Counting coupons."""
        return self.per_setup * (self.set_ups if self.hard else self.rounds)

    @property
    def total(self) -> int:
        """Coupons with spares and warm-ups."""
        return self.coupons + self.warm_up + self.spare

    def as_plain(self) -> dict[str, Any]:
        """Return the design as plain values without any order, for the seal."""
        return {
            "hard_to_change": self.hard,
            "levels": list(self.hard_levels),
            "rounds": self.rounds,
            "set_ups_of_each_level_a_round": self.per_round,
            "coupons_of_each_combination": self.replicates,
            "combinations": [
                {"under": level, "levels": dict(cell.levels), "settings": dict(cell.settings)}
                for level, cells in self.cells.items()
                for cell in cells
            ],
            "warm_up": self.warm_up,
            "spare": self.spare,
            "first_at_most": self.first_at_most,
        }


def make_layout(trial: Trial) -> Layout:
    """Lay out a trial: by set-ups in rounds, or completely shuffled where nothing is hard.

    Each set-up holds the full two-level factorial of the easy factors, each combination equally
    often.  With nothing hard to change, `rounds` are blocks of whole replicates.

    Parameters
    ----------
    trial
        At most one hard-to-change factor; every varied factor of two levels.

    Raises
    ------
    NotYet
        If the trial asks for something that this version cannot lay out.
    PlanRefused
        If the plan could not answer: the hard-to-change factor has no error degrees of freedom
        of its own (allowed for a pilot), is tied to a block, or the numbers contradict each
        other.
    CannotShareOut
        If coupons and set-ups cannot be reconciled; it names the nearest numbers that can.

    References
    ----------
    Jones & Nachtsheim (2009). Split-plot designs: what, why, and how. *Journal of Quality
    Technology* 41(4):340 (citation from memory), for set-ups as whole plots.
    """
    refuse_unserved(trial)
    if not trial.varied:
        raise PlanRefused(
            "No factor has two levels, so there is nothing to compare. Give one a second level."
        )
    layout = _by_set_ups(trial, trial.hard[0]) if trial.hard else _shuffled(trial)
    if layout.error_df < 1 and trial.purpose != "pilot":
        if trial.hard:
            raise set_up_once(trial.hard[0])
        unknowns = layout.coupons - layout.error_df
        raise nothing_repeated(layout.coupons, unknowns, trial.design.model)
    return layout


def _by_set_ups(trial: Trial, hard: Factor) -> Layout:
    cells = {level: _cells(trial, {hard.name: level}) for level in hard.levels}
    combos = len(cells[hard.levels[0]])
    sharing = share_out(trial, hard, combos)
    block = trial.order.block
    if block not in (None, "round"):
        raise tied_to_block(hard, block, once=sharing.set_ups == len(hard.levels))
    levels = len(hard.levels)
    per_round = sharing.set_ups // (sharing.rounds * levels)
    limit = _limit(trial, sharing.rounds, levels, per_round)
    terms = model_terms(trial.factors, trial.design.model)
    within = sum(any(one.name in term.factors for one in trial.easy) for term in terms)
    return Layout(
        hard=hard.name,
        hard_levels=hard.levels,
        rounds=sharing.rounds,
        per_round=per_round,
        cells=cells,
        replicates=sharing.per_setup // combos,
        warm_up=trial.budget.warm_up,
        spare=trial.budget.spare,
        # Rounds and factor are orthogonal, so their rank is rounds + levels - 1.
        error_df=sharing.set_ups - sharing.rounds - levels + 1,
        error_df_within=sharing.coupons - sharing.set_ups - within,
        first_at_most=limit,
    )


def _limit(trial: Trial, rounds: int, levels: int, per_round: int) -> int | None:
    """Return in how many rounds a level may come first, refusing what no order obeys."""
    if rounds == 1:
        return None
    asked = trial.order.first_at_most
    if asked is None:
        return usual_limit(rounds)
    if count_orders(rounds, levels, asked, per_round) == 0:
        least = -(-rounds // levels)
        raise PlanRefused(
            f"order.first_at_most = {asked} cannot be obeyed: in {rounds} rounds of {levels} "
            f"levels one of them comes first at least {least} times. "
            f"Allow at least  first_at_most = {least}."
        )
    return asked


def _shuffled(trial: Trial) -> Layout:
    cells = _cells(trial, {})
    rounds = trial.design.rounds or 1
    if trial.design.set_ups is not None:
        raise PlanRefused(
            "design.set_ups counts set-ups of a hard-to-change factor, and no factor is marked  "
            "hard_to_change = true.  Mark the one that ends a set-up, or leave set_ups out."
        )
    block = trial.order.block
    if block not in (None, "round") and rounds == 1:
        raise PlanRefused(
            f'order.block = "{block}" needs the number of blocks. Add  design.rounds = 2  (or '
            "more): each then holds every setting equally often."
        )
    replicates = _replicates(trial, len(cells), rounds)
    coupons = len(cells) * replicates
    terms = model_terms(trial.factors, trial.design.model)
    return Layout(
        hard=None,
        hard_levels=(),
        rounds=rounds,
        per_round=0,
        cells={"": cells},
        replicates=replicates // rounds,
        warm_up=trial.budget.warm_up,
        spare=trial.budget.spare,
        # The columns of a full factorial are orthogonal, to each other and to blocks.
        error_df=coupons - rounds - len(terms),
        error_df_within=None,
        first_at_most=None,
    )


def _replicates(trial: Trial, combos: int, rounds: int) -> int:
    """Return how often the full factorial is welded, over all blocks."""
    extra, budget = extra_coupons(trial.budget), trial.budget.coupons
    wanted = trial.design.replicates
    if wanted is None and budget is None:
        return max(rounds, 1 if combos > 2 else 2)
    if wanted is None:
        assert budget is not None
        usable, step = budget - extra, combos * rounds
        if usable >= step and usable % step == 0:
            return usable // combos
        lower = max(0, usable) // step
        around = " or ".join(str(times * step + extra) for times in (lower, lower + 1) if times)
        less = f" ({budget} less {extra} spare and warm-up)" if extra else ""
        blocks = f" in {rounds} blocks" if rounds > 1 else ""
        raise PlanRefused(
            f"{max(0, usable)} coupons{less} cannot be shared evenly over {combos} combinations "
            f"of settings{blocks}. Set  budget.coupons  to {around}."
        )
    if wanted % rounds:
        raise PlanRefused(
            f"{rounds} blocks cannot share {wanted} replicates evenly. Use  design.replicates = "
            f"{-(-wanted // rounds) * rounds}  or leave  rounds  out."
        )
    need = combos * wanted + extra
    if budget is not None and need > budget:
        raise PlanRefused(
            f"{combos} combinations × {wanted} replicates + {extra} spare and warm-up = {need} "
            f"coupons; budget is {budget}. Raise  budget.coupons  to {need}, or weld fewer "
            "replicates."
        )
    return wanted


def _cells(trial: Trial, fixed: Mapping[str, str]) -> tuple[Cell, ...]:
    """Return every combination of the easy factors at the given levels of the hard one."""
    easy = [factor for factor in trial.varied if factor.name not in fixed]
    rows = two_level(len(easy))
    names = [factor.name for factor in easy]
    return tuple(_cell(trial, fixed, dict(zip(names, row, strict=True))) for row in rows)


def _cell(trial: Trial, fixed: Mapping[str, str], signs: Mapping[str, int]) -> Cell:
    levels = {}
    for factor in trial.factors:
        if factor.name in fixed:
            levels[factor.name] = fixed[factor.name]
        else:
            levels[factor.name] = factor.levels[0 if signs.get(factor.name, -1) < 0 else -1]
    settings = {factor.name: _setting(factor, levels) for factor in trial.factors}
    return Cell(levels, settings)


def _setting(factor: Factor, levels: Mapping[str, str]) -> float | str:
    level = levels[factor.name]
    if factor.kind == "category":
        return level
    return factor.setting(level, levels.get(factor.slides_with or "", ""))
