"""Many trials on one frame judged in one pass, as each would be by itself.

The contrasts, the margins, the critical values and the rule are those of
`weldtrial.analysis.compare` and `weldtrial.analysis.judge`; only the loop is gone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.compare import both_vectors, pairs_of
from weldtrial.analysis.judge import CODES, judge_all
from weldtrial.analysis.least_squares import batch_least_squares
from weldtrial.analysis.linear import BatchContrasts, Floats, reference_level, rounding
from weldtrial.analysis.many_critical import exact, held
from weldtrial.analysis.mixed import batch_contrasts
from weldtrial.analysis.model import fit_frame
from weldtrial.analysis.model_frame import BY_COUPONS, BY_SETUPS, Frame
from weldtrial.analysis.question import Question
from weldtrial.analysis.setup_layout import flat, lay_out
from weldtrial.analysis.simultaneous import Family
from weldtrial.shared.problems import NotEstimable

NO_ANSWER = -1
"""Place of a trial that the analysis refuses, beside the places in `CODES`."""
CANNOT_TELL = CODES.index("cannot_tell")


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """Verdicts of m trials.

    Attributes
    ----------
    places
        Place of each verdict in `weldtrial.analysis.judge.CODES`, or `NO_ANSWER`; shape (m,).
    estimate, se, df
        The comparison, level minus reference, in the response's unit; shape (m,), not a number
        where there is none.
    """

    places: NDArray[np.intp]
    estimate: Floats
    se: Floats
    df: Floats


@dataclass(frozen=True, slots=True, eq=False)
class ManyEnds:
    """Ends of many intervals, signed so that minus is worse."""

    low95: Floats
    high95: Floats
    low90: Floats
    high90: Floats

    def shifted(self, by: float) -> ManyEnds:
        """Return the ends of the quantity plus a known constant."""
        return ManyEnds(self.low95 + by, self.high95 + by, self.low90 + by, self.high90 + by)


def judge_many(question: Question, frame: Frame, ys: Floats) -> Judged:
    """Judge one comparison in every column of `ys`.

    Parameters
    ----------
    question
        The comparison, as `Question.answer` would be asked it.
    frame
        The model of these coupons; see `weldtrial.analysis.model_frame`.
    ys
        Shape (n, m), response unit.

    Raises
    ------
    NotEstimable
        When no trial on this frame could be analysed, whatever its readings.
    """
    if frame.stratum == BY_COUPONS and len(frame.x) == frame.x.shape[1]:
        return _one_by_one(question, frame, ys)
    many = ys.shape[1]
    kept = _usable(frame, ys)
    places = np.full(many, NO_ANSWER, dtype=np.intp)
    estimate, se, df = np.full((3, many), np.nan)
    if question.factor.name not in frame.model.columns:
        places[kept] = CANNOT_TELL
    elif kept.any():
        asked = _asked(question, frame)
        numbers = _contrasts(frame, ys[:, kept], asked.rows)
        places[kept] = _places(asked, numbers)
        estimate[kept], se[kept], df[kept] = (
            numbers.estimate[:, 0],
            numbers.se[:, 0],
            numbers.df[:, 0],
        )
    return Judged(places, estimate, se, df)


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """The contrasts of a comparison.

    The first row is the change; with a percent margin the next two are the change with the
    reference mean scaled; then come the comparisons it is read together with, if any.
    """

    question: Question
    rows: Floats
    family: Family
    levels: int
    together: slice


def _asked(question: Question, frame: Frame) -> _Asked:
    factor, margin, sign = question.factor, question.response.margin, question.response.sign
    one = question.mean(frame, question.level)
    zero = question.mean(frame, question.reference)
    rows = [one - zero]
    if margin is not None and margin.percent:
        rows += [one - (1 - side * sign * margin.value) * zero for side in (1, -1)]
    start, levels = len(rows), question.compared_together
    family: Family = "single"
    if question.at is not None:
        family = "reference"
        rows += list(both_vectors(frame, factor, question.level, question.at))
    elif levels > 2 and factor.control is None:
        family = "pairs"
    elif levels > 2:
        family = "reference"
        control = frame.mean_vector(factor, factor.reference)
        rows += [frame.mean_vector(factor, level) - control for level, _ in pairs_of(factor)]
    return _Asked(question, np.array(rows), family, levels, slice(start, len(rows)))


def _usable(frame: Frame, ys: Floats) -> NDArray[np.bool_]:
    """Tell which trials scatter at all, so that the analysis would not refuse them."""
    varied = ys.max(axis=0) > ys.min(axis=0)
    if frame.stratum != BY_SETUPS:
        found = batch_least_squares(frame.x, ys, np.eye(frame.x.shape[1])[:1])
        return np.asarray(varied & np.isfinite(found.covariance[:, 0, 0]))
    layout = lay_out(frame.x, _setup(frame))
    centred = ys - reference_level(ys, layout.ones)
    return np.asarray(varied & ~flat(layout, centred, rounding(ys)))


def _setup(frame: Frame) -> NDArray[np.intp]:
    assert frame.setup is not None
    return frame.setup


def _contrasts(frame: Frame, ys: Floats, rows: Floats) -> BatchContrasts:
    if frame.stratum == BY_SETUPS:
        return batch_contrasts(lay_out(frame.x, _setup(frame)), ys, rows)
    return batch_least_squares(frame.x, ys, rows)


def _places(asked: _Asked, numbers: BatchContrasts) -> NDArray[np.intp]:
    """Judge each trial, and those that turn on the last digits of a critical value exactly."""
    covariance = numbers.covariance[:, asked.together, asked.together]
    shared = covariance if asked.family == "reference" else None
    between = held(asked.family, asked.levels, numbers.df[:, 0], shared)
    low = _judged(asked, numbers, between.low95, between.low90)
    if between.low95 is between.high95:
        return low
    unsure = np.flatnonzero(low != _judged(asked, numbers, between.high95, between.high90))
    for trial in unsure:
        own = None if shared is None else shared[trial]
        one = exact(asked.family, asked.levels, float(numbers.df[trial, 0]), own)
        between.low95[trial], between.low90[trial] = one.critical95, one.critical90
    return _judged(asked, numbers, between.low95, between.low90) if len(unsure) else low


def _judged(
    asked: _Asked, numbers: BatchContrasts, critical95: Floats, critical90: Floats
) -> NDArray[np.intp]:
    question = asked.question
    margin = question.response.margin

    def ends(row: int, shift: float = 0.0) -> ManyEnds:
        middle = question.response.sign * numbers.estimate[:, row]
        half95, half90 = critical95 * numbers.se[:, row], critical90 * numbers.se[:, row]
        low95, high95 = middle - half95, middle + half95
        return ManyEnds(
            low95 + shift, high95 + shift, middle - half90 + shift, middle + half90 + shift
        )

    if margin is None:
        return judge_all(ends(0), None, None, question.response.ask)
    if margin.percent:
        return judge_all(ends(0), ends(1), ends(2), question.response.ask)
    value = margin.value
    return judge_all(ends(0), ends(0, value), ends(0, -value), question.response.ask)


def _one_by_one(question: Question, frame: Frame, ys: Floats) -> Judged:
    """Judge trials of which nothing is left over, each by itself: their yardstick is no t."""
    rows = [_alone(question, frame, y) for y in ys.T]
    places, estimate, se, df = (np.array(column) for column in zip(*rows, strict=True))
    return Judged(places.astype(np.intp), estimate, se, df)


def _alone(question: Question, frame: Frame, y: Floats) -> tuple[int, float, float, float]:
    nan = float("nan")
    try:
        answered = question.answer(fit_frame(frame, y))
    except NotEstimable:
        return NO_ANSWER, nan, nan, nan
    if answered is None:
        return CANNOT_TELL, nan, nan, nan
    found, code = answered
    return CODES.index(code), found.difference.estimate, found.difference.se, found.difference.df
