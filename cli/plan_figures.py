"""Everything ``weldtrial plan`` shows, worked out once for the screen and for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod
from typing import TYPE_CHECKING

from weldtrial.cli.counted_plan import counted_of
from weldtrial.cli.what_if import Change
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.assumed import Assumed
    from weldtrial.analysis.assurance import Averaged
    from weldtrial.analysis.budget import BudgetRow, Doubt, Judged
    from weldtrial.analysis.counted_power import CountedAim
    from weldtrial.analysis.gauge import GaugeNote
    from weldtrial.analysis.needs import Needs
    from weldtrial.analysis.power import Aim
    from weldtrial.analysis.shape import Shape
    from weldtrial.analysis.simultaneous import Family
    from weldtrial.analysis.working import Working
    from weldtrial.doe.assess import Assessment
    from weldtrial.doe.layout import Layout
    from weldtrial.doe.refusals import CannotShareOut


@dataclass(frozen=True, slots=True)
class PlanFigures:
    """What a plan costs and shows.

    `assumed` is None, and `missing` says why, where nothing is known of the deciding response's
    scatter; `others` holds the other number responses that something is known of; `gaps` the
    smallest effect of each single factor that the deciding response would probably show;
    `averaged` the chance averaged over what is left open of the scatter, None where nothing is;
    `counted` what passes or grades are planned with, where they decide.
    """

    trial: Trial
    assessment: Assessment
    compared: Factor
    shape: Shape
    aim: Aim
    assumed: Assumed | None
    missing: str
    rows: tuple[BudgetRow, ...]
    doubt: Doubt | None
    working: Working | None
    gauge: tuple[GaugeNote, ...]
    others: dict[str, Needs]
    gaps: dict[str, float]
    restriction: str
    orders: int | None
    changes: tuple[Change, ...]
    averaged: Averaged | None = None
    counted: CountedAim | None = None

    @property
    def current(self) -> BudgetRow:
        """The row of the plan as asked for."""
        return next(row for row in self.rows if row.current)


def compared_factor(trial: Trial) -> Factor:
    """Return the factor the trial compares: the hard one, the first category, or the first."""
    if trial.hard:
        return trial.hard[0]
    asked = [one for one in trial.varied if one not in trial.balanced_over] or list(trial.varied)
    categories = [factor for factor in asked if factor.kind == "category"]
    return (categories or asked)[0]


def shape_of(trial: Trial, layout: Layout) -> Shape:
    """Return the numbers of a layout that decide what it shows of the compared factor."""
    from weldtrial.analysis.shape import Shape
    from weldtrial.shared.fair import readings_of, shared_control

    if layout.listed:
        return _listed_shape(trial, layout)
    compared = compared_factor(trial)
    levels = len(compared.levels)
    by_setups = bool(layout.hard_factors)
    readings = tuple(one for one in readings_of(trial) if one.slider.slides_with == compared.name)
    return Shape(
        by_setups=by_setups,
        rounds=layout.rounds,
        per_round=max(1, layout.per_round),
        combos=layout.combos,
        replicates=layout.replicates,
        extra=layout.warm_up + layout.spare,
        terms=layout.strata.columns,
        first_at_most=layout.first_at_most,
        free=layout.rounds == 1 and layout.per_round > 1,
        centre=layout.centre_points,
        parts=max(1, len(layout.parts)),
        parts_by_round=layout.parts_by == "round",
        levels=levels,
        others=len(layout.hard_levels) // levels if by_setups else 1,
        hard_columns=layout.set_ups - layout.rounds - layout.error_df if by_setups else 1,
        family=family_of(compared),
        numeric=compared.kind == "numeric" and not by_setups,
        readings=max(1, len(readings)),
        shared=bool(readings) and shared_control(readings[0].slider, compared),
    )


def _listed_shape(trial: Trial, layout: Layout) -> Shape:
    from weldtrial.analysis.planned_shape import PlannedShape
    from weldtrial.doe.matrix import gaps_of, planned_matrix

    compared, by_setups = compared_factor(trial), bool(layout.hard_factors)
    levels, planned = len(compared.levels), planned_matrix(trial, layout)
    return PlannedShape(
        by_setups=by_setups,
        rounds=layout.rounds,
        per_round=layout.per_round or layout.set_ups_per_level,
        replicates=layout.per_setup,
        extra=layout.warm_up + layout.spare,
        terms=layout.strata.columns,
        first_at_most=layout.first_at_most,
        free=layout.rounds == 1,
        levels=levels,
        others=max(1, len(layout.hard_levels) // levels) if by_setups else 1,
        hard_columns=layout.judged_columns if by_setups else 1,
        family=family_of(compared),
        numeric=compared.kind == "numeric" and not by_setups,
        before=sum(len(one.cells) for one in layout.earlier),
        setups_before=len(layout.earlier) if by_setups else 0,
        blocks=len({one.round for one in layout.holdings()}),
        x=planned.matrix,
        setup=planned.setup,
        gaps=gaps_of(trial, planned, compared),
    )


def family_of(factor: Factor) -> Family:
    """Return how the levels of a factor are read together, as the analysis reads them.

    Numbers are read by one effect, low to high.
    """
    if len(factor.levels) < 3 or factor.kind == "numeric":
        return "single"
    return "pairs" if factor.control is None else "reference"


def judged_by(trial: Trial, assumed: Assumed | None) -> Judged:
    """Return what the rows of a trial are judged by."""
    from weldtrial.analysis.budget import BenchTime, Judged
    from weldtrial.analysis.points import in_points
    from weldtrial.analysis.power import aim_of

    deciding = trial.deciding
    if deciding.kind == "pass-fail":
        deciding = in_points(deciding)
    aim = aim_of(deciding, 0.0) if assumed is None else assumed.aim(deciding)
    bench = BenchTime(trial.budget.minutes_coupon, trial.budget.minutes_setup)
    spread = None if assumed is None else assumed.spread
    return Judged(spread, aim, bench, counted=counted_of(trial.deciding))


def plan_figures(
    trial: Trial, changes: Sequence[Change] = (), tries: Sequence[Trial] = ()
) -> PlanFigures:
    """Work out what a plan costs and shows.

    Raises
    ------
    NotYet, PlanRefused
        As `weldtrial.doe.layout.make_layout`.
    """
    from weldtrial.analysis.assumed import assumed, why_not_assumed
    from weldtrial.analysis.budget import budget_row, if_setups_scatter_more, rounds_table
    from weldtrial.analysis.working import working
    from weldtrial.cli.left_open import averaged_of
    from weldtrial.cli.plan_powers import by_effects
    from weldtrial.doe.assess import assess
    from weldtrial.doe.layout import make_layout
    from weldtrial.doe.make_plan import restriction_of
    from weldtrial.shared.orders import count_orders

    assessment = assess(trial)
    layout, deciding = assessment.layout, trial.deciding
    known = assumed(deciding)
    judged, shape = judged_by(trial, known), shape_of(trial, layout)
    name = compared_factor(trial).name
    rows = tuple(
        by_effects(trial, layout, shape, name, row, known) if row.current else row
        for row in rounds_table(shape, judged)
    )
    for one in tries:
        laid = make_layout(one)
        own = shape_of(one, laid)
        row = budget_row(own, judged_by(one, known), tried=True)
        rows = (*rows, by_effects(one, laid, own, name, row, known))
    in_rounds = layout.in_rounds and not shape.free
    return PlanFigures(
        trial=trial,
        assessment=assessment,
        compared=compared_factor(trial),
        shape=shape,
        aim=judged.aim,
        assumed=known,
        missing="" if known or judged.counted else why_not_assumed(deciding),
        rows=rows,
        doubt=if_setups_scatter_more(shape, judged),
        working=working(shape, judged),
        gauge=_gauge(trial),
        others=_others(trial, shape),
        gaps={} if known is None else _gaps(trial, assessment, shape, known, rows),
        restriction=restriction_of(trial, layout),
        orders=count_orders(
            layout.rounds, len(layout.hard_levels), layout.first_at_most, layout.per_round
        )
        if in_rounds
        else None,
        changes=tuple(changes),
        averaged=None if trial.purpose == "pilot" else averaged_of(deciding, known, shape),
        counted=counted_of(deciding),
    )


def _gauge(trial: Trial) -> tuple[GaugeNote, ...]:
    from weldtrial.analysis.assumed import assumed
    from weldtrial.analysis.gauge import gauge_note

    notes = []
    for response in trial.responses:
        known = assumed(response) if response.typical else None
        notes.append(
            gauge_note(response, known.mean, known.spread)
            if known
            else gauge_note(response, None, None)
        )
    return tuple(notes)


def _others(trial: Trial, shape: Shape) -> dict[str, Needs]:
    from weldtrial.analysis.assumed import assumed
    from weldtrial.analysis.needs import needs

    found = {}
    for response in trial.responses:
        known = assumed(response) if response.kind == "number" else None
        if response is not trial.deciding and known:
            found[response.name] = needs(shape, known.spread, known.aim(response))
    return found


def _gaps(
    trial: Trial,
    assessment: Assessment,
    shape: Shape,
    known: Assumed,
    rows: Sequence[BudgetRow],
) -> dict[str, float]:
    from dataclasses import replace

    from weldtrial.cli.plan_powers import powers_of

    if shape.listed or any(told.judged_by == "effects" for told in assessment.told):
        powers = powers_of(trial, assessment.layout, known)
        found = {name: one.detectable for name, one in powers.items() if one.detectable is not None}
        asked = next(row.gap for row in rows if row.current)
        if shape.family != "single" and asked is not None:
            # The levels compared are read together; by F their gap would be another number.
            found[compared_factor(trial).name] = asked
        return found
    from weldtrial.analysis.needs import gap_within
    from weldtrial.analysis.power import detectable
    from weldtrial.shared.fair import readings_of

    found = {}
    for told in assessment.told:
        factor = next((one for one in trial.varied if one.name == told.term), None)
        if factor is None or told.judged_by == "effects" or not _evenly(factor):
            continue
        if any(factor == one.slider for one in readings_of(trial)):
            continue  # Its effect lives in one gas only, or is two: no number of this kind.
        levels, family = len(factor.levels), family_of(factor)
        if told.judged_by == "set-ups":
            others = shape.levels * shape.others // levels
            own = replace(shape, levels=levels, others=others, family=family)
            precision = own.precision(known.spread)
            gap = detectable(precision.se, precision.df, alpha=precision.alpha)
        else:
            gap = gap_within(
                shape,
                known.spread,
                told.error_df,
                levels=levels,
                family=family,
                numeric=factor.kind == "numeric",
            )
        if gap is not None:
            found[told.term] = gap
    return found


def _columns(factor: Factor) -> int:
    return 1 if factor.kind == "numeric" else len(factor.levels) - 1


def _evenly(factor: Factor) -> bool:
    """Tell whether low to high is as well known as two levels by themselves."""
    if factor.kind == "category" or len(factor.levels) == 2:
        return True
    owners = factor.settings
    middles = [abs(factor.coded(factor.setting(factor.levels[1], one), one)) for one in owners]
    return len(factor.levels) == 3 and max(middles) < 1e-9


def with_chances(trial: Trial, refused: CannotShareOut) -> PlanRefused:
    """Return the refusal with what the closest plan would show, and what the file's would."""
    from weldtrial.analysis.assumed import assumed
    from weldtrial.analysis.budget import budget_row
    from weldtrial.analysis.shape import Shape
    from weldtrial.shared.terms import trial_terms

    words = refused.words
    known = assumed(trial.deciding) if trial.deciding.kind == "number" else None
    if refused.closest is not None and known is not None:
        judged = judged_by(trial, known)
        kinds, levels = prod(len(one.levels) for one in trial.hard), len(trial.hard[0].levels)
        hard = {factor.name for factor in trial.hard}
        every = trial_terms(trial.factors, trial.design.model, trial.design.terms)
        terms = [term for term in every if term.factors <= hard]

        def chance(rounds: int, set_ups: int, per_setup: int) -> float | None:
            per_round = set_ups // (kinds * rounds)
            shape = Shape(
                True,
                rounds,
                per_round,
                1,
                per_setup,
                free=rounds == 1 < per_round,
                levels=levels,
                others=kinds // levels,
                hard_columns=sum(
                    prod(_columns(trial.factor(name)) for name in term.factors) for term in terms
                ),
                family=family_of(compared_factor(trial)),
            )
            return budget_row(shape, judged).chance

        found = refused.closest
        would = chance(found.rounds, found.set_ups, found.per_setup)
        if would is not None:
            words += (
                f" {_shown_if(trial, judged.aim, known.unit)} {round(100 * would)} times in 100"
            )
            asked = refused.asked
            yours = chance(asked.rounds, asked.set_ups, asked.per_setup) if asked else None
            words += "." if yours is None else f" (yours: {round(100 * yours)})."
    return PlanRefused(words, hint=refused.hint)


def _shown_if(trial: Trial, aim: Aim, unit: str) -> str:
    from weldtrial.doe.refusals import levels_word

    names, margin = levels_word(compared_factor(trial)), margin_words(aim, unit)
    if aim.ask == "no-worse":
        return f'If the {names} are equal it would show "no worse by {margin}"'
    if aim.ask == "equal-enough":
        return f'If the {names} are equal it would show "equal within {margin}"'
    return f"If the {names} truly differ by {margin} it would show so"


def margin_words(aim: Aim, unit: str) -> str:
    """Return the margin as it was given: ``5 kN`` or ``6 %``."""
    from weldtrial.shared.rounding import brief

    if aim.fraction is not None:
        return f"{brief(100 * aim.fraction)} %"
    return f"{brief(aim.margin)} {unit}" if aim.margin is not None else ""
