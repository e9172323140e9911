"""What a simulation needs to know of one trial: the comparison, its coupons, their scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.analysis.assumed import assumed, why_not_assumed
from weldtrial.analysis.compare import asked_of, compared_factors
from weldtrial.analysis.counted_pretend import CountedBench
from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.needs import share_beyond
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.power import Spread
from weldtrial.analysis.pretend import Scatter, blank_observations
from weldtrial.analysis.question import Question
from weldtrial.shared.problems import NotEnough, PlanRefused
from weldtrial.shared.record import Coupon
from weldtrial.shared.responses import Ask, Response
from weldtrial.shared.terms import trial_terms
from weldtrial.shared.trial import Trial

WORSE: tuple[VerdictCode, ...] = (
    "worse_beyond_margin",
    "worse_margin_unsettled",
    "worse_within_margin",
)
BETTER: tuple[VerdictCode, ...] = (
    "better_beyond_margin",
    "better_margin_unsettled",
    "better_within_margin",
)
ANSWERS: dict[Ask, frozenset[VerdictCode]] = {
    "difference": frozenset((*WORSE, *BETTER, "difference_shown")),
    "no-worse": frozenset(("not_worse", "equivalent", "worse_within_margin", *BETTER)),
    "equal-enough": frozenset(("equivalent", "worse_within_margin", "better_within_margin")),
}
"""Verdicts that show what is asked: a difference; that no loss as big as the margin is left; that
neither a loss nor a gain as big as the margin is left."""


@dataclass(frozen=True, slots=True)
class PretendBench:
    """A comparison and the bench it is pretended on.

    Attributes
    ----------
    question
        The comparison: the deciding response, the first pair that `analyse` compares.
    coupons, blanks
        Counting coupons in welding order, and the same as observations with nothing read.
    scatter, mean
        What readings scatter, and the true mean of the reference, in the response's unit (in
        percent of the mean where only the trade's figures are known).
    source
        Where the figures come from, in words.
    unit
        The unit of these figures.
    """

    question: Question
    coupons: tuple[Coupon, ...]
    blanks: tuple[Observation, ...]
    scatter: Scatter
    mean: float
    source: str
    unit: str

    @property
    def margin(self) -> float | None:
        """The margin in the unit of the figures, None without one."""
        margin = self.question.response.margin
        return None if margin is None else margin.in_units(self.mean)

    @property
    def past_the_gauge(self) -> float:
        """Share of coupons of the reference expected past a gauge limit, from 0 to 1."""
        scatter = self.scatter
        spread = Spread(scatter.coupon, scatter.setup)
        shares = [
            share_beyond(limit, self.mean, spread, above=above)
            for limit, above in ((scatter.most, True), (scatter.least, False))
            if limit is not None
        ]
        return sum(shares)

    def loss(self, size: float) -> float:
        """Return the raw change, level minus reference, that is a loss of `size`."""
        return -self.question.response.sign * size


def pretend_bench(trial: Trial, coupons: Sequence[Coupon]) -> PretendBench | CountedBench:
    """Return the bench of a trial's deciding response and first comparison.

    Parameters
    ----------
    trial
        The trial.
    coupons
        Counting coupons in welding order, unread.

    Raises
    ------
    PlanRefused
        When `analyse` would compare nothing by verdict.
    NotEnough
        When nothing is known of the scatter.
    """
    response = trial.deciding
    compared = compared_factors(trial)
    if not compared:
        raise PlanRefused(
            "This trial compares no two levels by verdict (its factors are numbers, of which "
            "effects are reported), so there is no verdict to pretend."
        )
    factors = trial.varied
    terms = trial_terms(factors, trial.design.model, trial.design.terms)
    first = asked_of(trial)[0]
    question = Question(
        factors, terms, response, first.factor, first.level, first.reference, at=first.at
    )
    blanks = blank_observations(factors, coupons)
    if response.kind != "number":
        if response.foreseen is None:
            raise NotEnough(why_not_assumed(response))
        return CountedBench(question, tuple(coupons), blanks, response.foreseen, trial)
    known = assumed(response)
    if known is None:
        raise NotEnough(why_not_assumed(response))
    return PretendBench(
        question,
        tuple(coupons),
        blanks,
        scatter_of(response),
        known.mean,
        known.source,
        known.unit,
    )


def scatter_of(response: Response) -> Scatter:
    """Return how pretend readings of a response scatter; it must have figures to plan with.

    Where only the trade's scatter is known, in percent, there is no gauge to round to.
    """
    known = assumed(response)
    assert known is not None
    typical = response.typical
    if typical is None:
        return Scatter(known.spread.coupon, known.spread.setup)
    return Scatter(
        known.spread.coupon,
        known.spread.setup,
        typical.sd_reading,
        max(1, response.sections),
        response.reads_to,
        response.most,
        response.least,
        response.stops,
    )
