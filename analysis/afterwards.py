"""Things looked at afterwards: not in the sealed question, so never more than a hint."""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.analysis.grade import compared_factor
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question
from weldtrial.shared.coding import coded_point
from weldtrial.shared.problems import NotEnough, WrongUsage, nearest
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import decimals_for, fixed, spaced
from weldtrial.shared.terms import trial_terms
from weldtrial.shared.trial import Trial

MEASURED = {"amps": "A", "arc_s": "s", "bead_mm": "mm", "throat_mm": "mm", "plate_temp_C": "°C"}
"""What the weld log measures, and in which unit."""


@dataclass(frozen=True, slots=True)
class Afterwards:
    """A comparison that nobody planned, at the right level of error all the same.

    Attributes
    ----------
    words
        A sentence that begins with ``Hint`` or says that nothing is settled.
    """

    name: str
    unit: str
    level: str
    reference: str
    n: int
    difference: float
    ci_low: float
    ci_high: float
    df: float
    words: str


def look_afterwards(trial: Trial, record: Record, name: str) -> Afterwards:
    """Compare the levels on something of the weld log that is not a response of the trial.

    Parameters
    ----------
    trial, record
        The trial and what the bench wrote, codes open.
    name
        A measured column (``amps``, ``arc_s``, ``bead_mm``, ``throat_mm``, ``plate_temp_C``) or a
        setting as run, such as ``wire_feed`` or ``gas_flow``.

    Raises
    ------
    WrongUsage
        When `name` is no such thing, or the trial compares no category.
    NotEnough
        When too few coupons carry it, or all carry the same value.
    """
    units = _units(trial)
    if name not in units:
        close = nearest(name, units)
        hint = f"Did you mean  --also {close} ?" if close else f"One of: {', '.join(units)}"
        raise WrongUsage(f"Nothing called '{name}' stands in the weld log.", hint=hint)
    factor = compared_factor(trial)
    if factor is None:
        raise WrongUsage("This trial compares no category, so there is nothing to look at here.")
    observations = _observations(trial, record, name)
    response = Response(name=name, unit=units[name], rank=99)
    level = next(level for level in factor.levels if level != factor.reference)
    question = Question(
        trial.varied,
        trial_terms(trial.varied, trial.design.model, trial.design.terms),
        response,
        factor,
        level,
    )
    if len(observations) > 1 and len({one.value for one in observations}) == 1:
        raise NotEnough(
            f"All {len(observations)} coupons have the same {name} written down, so there is "
            "nothing to compare."
        )
    found = question.alternative(name, name, observations) if observations else None
    if found is None:
        raise NotEnough(
            f"{len(observations)} coupons have {name} written down: too few to compare.",
            hint="Write it into weld_log.csv for every coupon",
        )
    places = decimals_for((found.ci_high - found.ci_low) / 2)
    numbers = (
        f"{level} \N{MINUS SIGN} {factor.reference} = "
        f"{fixed(found.difference, places, signed=True)}{spaced(response.unit)}, 95 % interval "
        f"{fixed(found.ci_low, places, signed=True)} to "
        f"{fixed(found.ci_high, places, signed=True)} ({found.coupons} coupons)."
    )
    clear = found.ci_low > 0 or found.ci_high < 0
    side = "higher" if found.difference > 0 else "lower"
    lead = f"Hint: {name} is {side} with {level}. " if clear else "Not settled. "
    return Afterwards(
        name, response.unit, level, factor.reference, found.coupons, found.difference,
        found.ci_low, found.ci_high, found.df, lead + numbers,
    )  # fmt: skip


def _units(trial: Trial) -> dict[str, str]:
    seen = {f.name: f.unit or "" for f in trial.factors if f.kind == "numeric"}
    return {**MEASURED, **seen, **{held.name: held.unit for held in trial.held}}


def _observations(trial: Trial, record: Record, name: str) -> list[Observation]:
    observations = []
    for coupon in record.coupons:
        value = coupon.measured.get(name, coupon.as_run.get(name))
        if value is not None and not coupon.lost:
            observations.append(
                Observation(
                    coupon.stamp,
                    coupon.run,
                    coupon.round,
                    coupon.setup,
                    coupon.levels,
                    coded_point(trial.varied, coupon.levels),
                    value,
                    (value,),
                )
            )
    return observations
