"""One comparison asked of one response, so that every view of the data asks it the same way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.analysis.compare import Contrast, contrast
from weldtrial.analysis.findings import Alternative, VerdictCode
from weldtrial.analysis.judge import judge
from weldtrial.analysis.levels import ONCE, Levels
from weldtrial.analysis.model import BARE, ModelFit, fit_model
from weldtrial.analysis.model_frame import Frame, Vector
from weldtrial.analysis.observations import Observation
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import Reading
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Response
from weldtrial.shared.terms import Term


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: the model, the response, and the level compared with its reference.

    `read` holds the error rates of the look that this is; `at` the reading of fair, where a trial
    welds both.
    """

    factors: tuple[Factor, ...]
    terms: tuple[Term, ...]
    response: Response
    factor: Factor
    level: str
    against: str = ""
    read: Levels = ONCE
    at: Reading | None = None

    @property
    def reference(self) -> str:
        """The level that `level` is compared with: the one named, or the factor's reference."""
        return self.against or self.factor.reference

    def mean(self, fit: ModelFit | Frame, level: str) -> Vector:
        """Return the contrast of the adjusted mean of a level, at the reading that is asked."""
        return fit.mean_vector(self.factor, level, self.at)

    def of(self, observations: Sequence[Observation]) -> list[Observation]:
        """Return the coupons welded as the reading of fair asks; all of them without one."""
        at, gas = self.at, self.factor.name
        if at is None:
            return list(observations)
        return [o for o in observations if at.speaks_for(o.levels[gas], o.levels[at.slider.name])]

    @property
    def compared_together(self) -> int:
        """Levels that are read together, the reference counted: one more than comparisons."""
        return len(self.factor.levels) if self.at is None else 1 + len(self.at.both)

    def fit(
        self,
        observations: Sequence[Observation],
        *,
        points: Sequence[Point] | None = None,
        extra: Sequence[Sequence[float]] = (),
        setups: bool = True,
    ) -> ModelFit:
        """Fit the response; see `weldtrial.analysis.model.fit_model`."""
        return fit_model(
            self.factors, self.terms, observations, points=points, extra=extra, setups=setups
        )

    def answer(self, fit: ModelFit) -> tuple[Contrast, VerdictCode] | None:
        """Return the comparison and its verdict code, or None when it cannot be told."""
        if self.factor.name not in fit.model.columns or fit.method == BARE:
            return None
        found = contrast(
            fit, self.factor, self.level, self.response, self.reference, self.read, self.at
        )
        return found, judge(found.evidence, self.response.ask)

    def alternative(
        self,
        name: str,
        words: str,
        observations: Sequence[Observation],
        *,
        points: Sequence[Point] | None = None,
        extra: Sequence[Sequence[float]] = (),
        setups: bool = True,
    ) -> Alternative | None:
        """Return the answer another way, or None where that way has no answer."""
        try:
            fit = self.fit(observations, points=points, extra=extra, setups=setups)
            answered = self.answer(fit)
        except NotEstimable:
            return None
        if answered is None:
            return None
        found, code = answered
        low, high = found.together.interval(found.difference, 0.95)
        estimate = found.difference
        return Alternative(
            name,
            words,
            estimate.estimate,
            low,
            high,
            estimate.df,
            estimate.p if found.together.p_adjusted is None else found.together.p_adjusted,
            code,
            len(observations),
        )
