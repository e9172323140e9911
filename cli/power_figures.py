"""Everything ``weldtrial power`` shows, from a folder or from the command line alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from weldtrial.cli.power_asked import Asked, asked, parse_loss
from weldtrial.shared.responses import Response, Typical
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.assumed import Assumed
    from weldtrial.analysis.counted_power import CountedAim
    from weldtrial.analysis.gauge import GaugeNote
    from weldtrial.analysis.limits import Step
    from weldtrial.analysis.needs import Needs
    from weldtrial.analysis.power import Aim
    from weldtrial.analysis.precision import Groups, Precision
    from weldtrial.analysis.selection import Best
    from weldtrial.analysis.shape import Shape
    from weldtrial.analysis.simultaneous import Family
    from weldtrial.analysis.term_power import TermPower
    from weldtrial.analysis.width import Width
    from weldtrial.doe.assess import Assessment

_COUNTED = 400
"""Set-ups (coupons) up to which orders are counted: beyond, p can be as small as any."""
__all__ = ["PowerFigures", "Time", "from_folder", "from_options", "parse_loss"]


@dataclass(frozen=True, slots=True)
class Time:
    """What a plan takes at the bench, spares and warm-ups included; None where not said.

    `needed` and `needed_days` are for the plan that would probably show the loss.
    """

    hours: float | None = None
    days: float | None = None
    hours_per_day: float | None = None
    needed: float | None = None
    needed_days: int | None = None


@dataclass(frozen=True, slots=True)
class PowerFigures:
    """What a plan can show of one response; `counted` where it is passes or grades.

    `needs` and `assumed` are None, and `missing` says why, where nothing can be worked out.
    """

    response: Response
    shape: Shape
    levels: tuple[str, str]
    needs: Needs | None
    assumed: Assumed | None
    missing: str = ""
    groups: Groups | None = None
    width: Width | None = None
    width_within: float | None = None
    width_needs: tuple[int | None, int | None] = (None, None)
    best: Best | None = None
    ladder: tuple[Step, ...] = ()
    perfect_readings: float | None = None
    gauge: GaugeNote | None = None
    smallest_p: float | None = None
    terms: tuple[tuple[str, TermPower], ...] = ()
    time: Time = Time()
    counted: CountedAim | None = None

    @property
    def by_formula(self) -> Needs | None:
        """What the plan shows by formula; None where its chances are simulated themselves."""
        from weldtrial.analysis.counted_power import how_worked_out

        if self.counted is not None and how_worked_out(self.counted, self.shape) == "simulation":
            return None
        return self.needs

    @property
    def coupons(self) -> int:
        """Counting coupons of the plan."""
        return self.shape.coupons if self.groups is None else self.groups.coupons


@dataclass(frozen=True, slots=True)
class _Plan:
    """A plan that responses are held against."""

    shape: Shape
    levels: tuple[str, str]
    chance: float
    groups: Groups | None = None
    width: float | None = None
    trial: Trial | None = None
    assessment: Assessment | None = None

    def precision(self, known: Assumed) -> Precision:
        of = self.shape if self.groups is None else self.groups
        return of.precision(known.spread)


def from_folder(trial: Trial, chance: float) -> tuple[PowerFigures, ...]:
    """Return what the plan of a trial can show, response by response.

    Raises
    ------
    NotYet, PlanRefused
        As `weldtrial.doe.layout.make_layout`.
    """
    from weldtrial.cli.plan_figures import compared_factor, shape_of
    from weldtrial.doe.assess import assess

    assessment = assess(trial)
    shape, factor = shape_of(trial, assessment.layout), compared_factor(trial)
    other = next(level for level in factor.levels if level != factor.reference)
    plan = _Plan(shape, (other, factor.reference), chance, trial=trial, assessment=assessment)
    return tuple(_figures(response, plan) for response in trial.responses)


def _figures(response: Response, plan: _Plan) -> PowerFigures:
    from weldtrial.analysis.assumed import assumed, why_not_assumed

    shape = plan.shape
    if response.kind != "number":
        return _counted_figures(response, plan)
    known = assumed(response)
    if known is None:
        return PowerFigures(response, shape, plan.levels, None, None, why_not_assumed(response))
    beyond = _margin_beyond(response, known)
    if beyond:
        return PowerFigures(response, shape, plan.levels, None, None, beyond)
    return _worked_out(response, plan, known)


def _counted_figures(response: Response, plan: _Plan) -> PowerFigures:
    from weldtrial.analysis.assumed import why_not_assumed
    from weldtrial.analysis.counted_power import counted_needs
    from weldtrial.cli.counted_plan import counted_of, margin_beyond
    from weldtrial.cli.power_passing import instead_words

    shape = plan.shape
    missing = margin_beyond(response)
    if response.foreseen is None:
        missing = f"{why_not_assumed(response)}  {instead_words(response, shape)}".rstrip()
    aim = None if missing else counted_of(response)
    if aim is None:
        return PowerFigures(response, shape, plan.levels, None, None, missing)
    found = counted_needs(aim, shape, plan.chance)
    return PowerFigures(
        response,
        shape,
        plan.levels,
        found,
        None,
        smallest_p=_smallest_p(shape, None),
        time=_time(plan, found),
        counted=aim,
    )


def _margin_beyond(response: Response, known: Assumed) -> str:
    margin, mean = response.margin, known.mean
    if margin is None or margin.percent or response.sign < 0 or not 0 < mean <= margin.value:
        return ""
    return (
        f"The margin, {margin.value:g} {response.unit}, is not below the mean expected, {mean:g} "
        f"{response.unit}: a loss like that leaves nothing. Correct margin or mean."
    )


def _worked_out(response: Response, plan: _Plan, known: Assumed) -> PowerFigures:
    from weldtrial.analysis.gauge import gauge_note
    from weldtrial.analysis.limits import more_coupons, with_perfect_readings
    from weldtrial.analysis.needs import needs
    from weldtrial.analysis.selection import best_of
    from weldtrial.analysis.width import half_width, width_needed

    shape, groups, spread, chance = plan.shape, plan.groups, known.spread, plan.chance
    aim, precision = known.aim(response), plan.precision(known)
    found, terms = needs(shape, spread, aim, chance, groups), _terms(plan, known, aim)
    found = _by_effects(found, terms, plan, aim)
    several = shape.family != "single" and aim.margin is not None and shape.levels > 2
    within = plan.width
    return PowerFigures(
        response,
        shape,
        plan.levels,
        found,
        known,
        groups=groups,
        width=half_width(precision, chance),
        width_within=within,
        width_needs=(None, None) if within is None else width_needed(shape, spread, within, chance),
        best=best_of(shape.levels, aim.margin, precision, chance)
        if several and aim.margin is not None
        else None,
        ladder=more_coupons(shape, spread, chance, groups),
        perfect_readings=with_perfect_readings(shape, spread, chance, groups),
        gauge=None if known.prior else gauge_note(response, known.mean, spread),
        smallest_p=_smallest_p(shape, groups),
        terms=terms,
        time=_time(plan, found),
    )


def _smallest_p(shape: Shape, groups: Groups | None) -> float | None:
    """Return the smallest p of the order, None where it is too long to count."""
    from weldtrial.analysis.budget import reachable_p
    from weldtrial.shared.orders import smallest_p_shuffled

    if (shape.setups or shape.coupons) > _COUNTED:
        return None
    if groups is not None:
        return float(smallest_p_shuffled([groups.new, groups.reference]))
    return reachable_p(shape)


def _terms(plan: _Plan, known: Assumed, aim: Aim) -> tuple[tuple[str, TermPower], ...]:
    from weldtrial.analysis.term_power import AskedTerm, term_powers
    from weldtrial.doe.matrix import planned_matrix
    from weldtrial.doe.unanswerable import term_words
    from weldtrial.shared.coding import unit_effects
    from weldtrial.shared.fair import readings_of

    trial, assessment = plan.trial, plan.assessment
    if trial is None or assessment is None:
        return ()
    planned = planned_matrix(trial, assessment.layout)
    terms = [
        AskedTerm(term.name, columns, unit_effects(trial.varied, term))
        for term, columns in zip(planned.terms, planned.columns, strict=True)
    ]
    found = term_powers(
        planned.matrix,
        planned.setup,
        known.spread,
        terms,
        margin=aim.margin,
        target=plan.chance,
    )
    told = {one.term: one.words for one in assessment.told}
    for one in readings_of(trial)[:1]:
        gas = one.slider.slides_with or ""
        told[gas] = f"{told.get(gas, gas)}, averaged over both readings of fair"
    words = [told.get(term.name, term_words(trial, term)) for term in planned.terms]
    return tuple(zip(words, found, strict=True))


def _by_effects(
    found: Needs, terms: tuple[tuple[str, TermPower], ...], plan: _Plan, aim: Aim
) -> Needs:
    """Return what a plan shows where nothing is welded twice and effects judge each other."""
    from weldtrial.analysis.term_power import judged_by_effects
    from weldtrial.cli.plan_figures import compared_factor

    if plan.trial is None:
        return found
    name = compared_factor(plan.trial).name
    own = [term for _, term in terms if term.term == name and term.judged_by == "effects"]
    return judged_by_effects(found, own[0], len(terms), aim) if own else found


def _time(plan: _Plan, found: Needs) -> Time:
    from weldtrial.analysis.budget import BenchTime

    trial, assessment = plan.trial, plan.assessment
    if trial is None or assessment is None:
        return Time()
    bench, budget = assessment.bench, trial.budget
    clock = BenchTime(budget.minutes_coupon, budget.minutes_setup)
    units = found.setups_per_gas if plan.shape.by_setups else None
    needed = None if units is None else clock.hours(plan.shape.resized(units))
    day = budget.hours_per_day
    return Time(
        bench.hours.value,
        bench.days.value,
        day,
        needed,
        None if needed is None or not day else ceil(needed / day),
    )


def from_options(said: Mapping[str, Any], chance: float) -> tuple[PowerFigures, ...]:
    """Return what gases can show, from the numbers on the command line.

    Raises
    ------
    WrongUsage
        When numbers are missing or cannot be; all of them at once.
    """
    numbers = asked(said)
    typical = Typical(
        numbers.mean or 0.0,
        numbers.sd,
        numbers.sd_setup,
        "the command line",
        numbers.sd_reading,
        numbers.pilot_coupons,
        numbers.pilot_setups,
    )
    response = Response(
        "response",
        "",
        margin=numbers.loss,
        ask="no-worse",
        typical=typical,
        sections=numbers.readings,
        reads_to=numbers.reads_to,
    )
    shape, groups = _shape(numbers)
    plan = _Plan(shape, ("the new gas", "today's"), chance, groups, numbers.width)
    return (_figures(response, plan),)


def _shape(numbers: Asked) -> tuple[Shape, Groups | None]:
    from weldtrial.analysis.precision import Groups
    from weldtrial.analysis.shape import Shape
    from weldtrial.shared.orders import usual_limit

    levels, coupons = numbers.gases, numbers.coupons[0]
    family: Family = "single" if levels < 3 else "pairs" if numbers.pairs else "reference"
    groups = None
    if numbers.setups is None:
        shape = Shape(False, 1, combos=levels, replicates=coupons, terms=levels - 1,
                      levels=levels, family=family)  # fmt: skip
        if numbers.unequal:
            groups = Groups(numbers.coupons[0], numbers.coupons[1])
        return shape, groups
    setups = numbers.setups[0]
    if numbers.rounds:
        return Shape(True, setups, replicates=coupons, levels=levels, hard_columns=levels - 1,
                     family=family, first_at_most=usual_limit(setups)), None  # fmt: skip
    shape = Shape(True, 1, per_round=setups, replicates=coupons, free=True, levels=levels,
                  hard_columns=levels - 1, family=family)  # fmt: skip
    if numbers.unequal:
        groups = Groups(setups, numbers.setups[1], coupons)
    return shape, groups
