"""The design of the easy factors: all combinations or a fraction, and how it is cut in parts."""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.doe.blocks import Blocked, block, halves
from weldtrial.doe.cells import Levels, combinations_of, from_signs, signs_of
from weldtrial.doe.fractions import Fraction, fold_over, fraction, fraction_from
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Trial

OFFERED_RUNS = (4, 8, 16, 32, 64)


@dataclass(frozen=True, slots=True)
class EasyDesign:
    """Combinations of the factors that change from coupon to coupon.

    Attributes
    ----------
    factors
        The factors, in the order of the trial file.
    combos
        Levels of each, combination by combination.
    fraction
        The fraction that they are, None for all combinations.
    """

    factors: tuple[Factor, ...]
    combos: tuple[Levels, ...]
    fraction: Fraction | None = None

    @property
    def two_level(self) -> bool:
        """Whether every factor has two levels, so that the design can be cut in parts."""
        return bool(self.factors) and all(len(one.levels) == 2 for one in self.factors)

    def can_be_cut(self, parts: int) -> bool:
        """Whether the combinations come in `parts` equal parts of two or more."""
        size = len(self.combos)
        power_of_two = parts > 1 and parts & (parts - 1) == 0
        return self.two_level and power_of_two and size % parts == 0 and size // parts > 1

    def cut(self, parts: int, *, by_halves: bool = False) -> tuple[Blocked, tuple[Indices, ...]]:
        """Return the cut in parts, and the places in `combos` that each part holds.

        Parameters
        ----------
        parts
            2, 4, 8, ...; see `can_be_cut`.
        by_halves
            True cuts a fold-over into its two halves.

        Raises
        ------
        PlanRefused
            When every such cut hides a main effect.
        """
        names = tuple(factor.name for factor in self.factors)
        design = self.fraction or fraction(names, 2 ** len(names))
        folded = by_halves and parts == 2 and design.half is not None
        cut = halves(design) if folded else block(design, parts)
        number = dict(zip(design.signs, cut.numbers, strict=True))
        part = [number[signs_of(self.factors, levels)] - 1 for levels in self.combos]
        return cut, tuple(
            tuple(place for place, one in enumerate(part) if one == wanted)
            for wanted in range(parts)
        )


Indices = tuple[int, ...]


def easy_design(trial: Trial) -> EasyDesign:
    """Return the design of the easy factors, as ``design.kind`` asks.

    Raises
    ------
    PlanRefused
        When a fraction is asked of factors that have not two levels, or there is none such.
    ProblemsFound
        When generators cannot be read or do not fit.
    """
    factors, design = trial.easy, trial.design
    if design.kind != "fraction":
        return EasyDesign(factors, combinations_of(factors))
    _refuse_no_fraction(trial)
    names = tuple(factor.name for factor in factors)
    runs = design.runs or 0
    made = fraction_from(names, runs, design.generators) if design.generators else None
    made = made or fraction(names, runs)
    if design.fold_over is not None:
        made = fold_over(made, None if design.fold_over == "all" else design.fold_over)
    return EasyDesign(factors, tuple(from_signs(factors, row) for row in made.signs), made)


def _refuse_no_fraction(trial: Trial) -> None:
    factors, design = trial.easy, trial.design
    more = [factor for factor in factors if len(factor.levels) != 2]
    if more:
        names = " and ".join(f"'{factor.name}'" for factor in more)
        raise PlanRefused(
            f"A fraction is of factors with two levels; {names} "
            f"{'has' if len(more) == 1 else 'have'} more. Keep two levels, or weld every "
            'combination:  kind = "factorial".'
        )
    where = " that are easy to change" if trial.hard else ""
    if len(factors) < 3:
        raise PlanRefused(
            f"A fraction needs three factors or more{where}; there "
            f'{"is" if len(factors) == 1 else "are"} {len(factors)}. Use  kind = "factorial".'
        )
    if design.runs is None:
        raise PlanRefused(
            f"The fraction does not say how many combinations of {len(factors)} factors to weld. "
            f"Add  design.runs:  {_choices(factors)}."
        )


def _choices(factors: tuple[Factor, ...]) -> str:
    names = tuple(factor.name for factor in factors)
    found = []
    for runs in OFFERED_RUNS:
        if runs >= 2 ** len(names):
            break
        try:
            made = fraction(names, runs)
        except PlanRefused:
            continue
        found.append(f"{runs} ({_resolution(made.resolution)})")
    return ", ".join(found)


def _resolution(number: int) -> str:
    if number <= 3:
        return "main effects run with pairs"
    if number == 4:
        return "main effects clear of pairs, pairs run with pairs"
    return "main effects and pairs clear of each other"
