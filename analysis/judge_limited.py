"""Verdicts of many pretend trials whose readings may go past the gauge, as each would have alone.

Trials in which none did go to `judge_many`; the others to `censored_batch`, all at once.  Several
levels read together take their critical values from a covariance that such a batch does not work
out: those trials are judged one by one.
"""

from __future__ import annotations

from contextlib import suppress

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis.censored_batch import CensoredBatch, batch_censored
from weldtrial.analysis.judge import CODES, judge_all
from weldtrial.analysis.judge_many import CANNOT_TELL, NO_ANSWER, ManyEnds, judge_many
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.model import fit_frame
from weldtrial.analysis.model_frame import BY_SETUPS, Frame
from weldtrial.analysis.question import Question
from weldtrial.shared.problems import NotEstimable

Places = NDArray[np.intp]


def judge_limited(question: Question, frame: Frame, lows: Floats, highs: Floats) -> Places:
    """Judge one comparison in every column; `lows` and `highs` (n, m) hold the readings' ends.

    Returns
    -------
    ndarray
        Place of each verdict in `judge.CODES`, or `NO_ANSWER`; shape (m,).  ``at_limit`` is told
        as ``not_settled``: it shows nothing either.
    """
    past = (lows != highs).any(axis=0)
    places = np.full(lows.shape[1], NO_ANSWER, dtype=np.intp)
    if not past.all():
        whole = np.flatnonzero(~past)
        with suppress(NotEstimable):
            places[whole] = judge_many(question, frame, lows[:, whole]).places
    if not past.any():
        return places
    if question.factor.name not in frame.model.columns:
        places[past] = CANNOT_TELL
        return places
    if not in_one_pass(question):
        places[past] = [
            judge_one(question, frame, low, high)
            for low, high in zip(lows[:, past].T, highs[:, past].T, strict=True)
        ]
        return places
    with suppress(NotEstimable):
        places[past] = _places(question, frame, lows[:, past], highs[:, past])
    return places


def in_one_pass(question: Question) -> bool:
    """Whether trials past the gauge can be judged together: two levels, not read with others."""
    return len(question.factor.levels) < 3


def judge_one(question: Question, frame: Frame, low: Floats, high: Floats) -> int:
    """Return the place of one trial's verdict, by the fit that judges a real one."""
    ends = np.array([low, high])
    value = np.where(np.isfinite(low), low, high)
    try:
        answered = question.answer(fit_frame(frame, np.where(np.isfinite(value), value, 0.0), ends))
    except NotEstimable:
        return NO_ANSWER
    return CANNOT_TELL if answered is None else CODES.index(answered[1])


def _places(question: Question, frame: Frame, lows: Floats, highs: Floats) -> Places:
    factor, sign = question.factor, question.response.sign
    margin = question.response.margin
    one = frame.mean_vector(factor, question.level)
    zero = frame.mean_vector(factor, question.reference)
    setup = frame.setup if frame.stratum == BY_SETUPS else None

    def at(contrast: Floats, *values: float) -> CensoredBatch:
        return batch_censored(frame.x, lows, highs, contrast, values, setup)

    two, single = question.read.two_sided, question.read.one_sided

    def ends(found: CensoredBatch, row: int) -> ManyEnds:
        """Signed so that an end lies above 0 where its t clears the critical value."""
        t = sign * found.t[row]
        wide = special.stdtrit(found.df, 1 - two / 2)
        narrow = special.stdtrit(found.df, 1 - single)
        return ManyEnds(t - wide, t + wide, t - narrow, t + narrow)

    if margin is None:
        change = at(one - zero, 0.0)
        found = judge_all(ends(change, 0), None, None, question.response.ask)
    elif margin.percent:
        change = at(one - zero, 0.0)
        loss = at(one - (1 - sign * margin.value) * zero, 0.0)
        gain = at(one - (1 + sign * margin.value) * zero, 0.0)
        found = judge_all(ends(change, 0), ends(loss, 0), ends(gain, 0), question.response.ask)
    else:
        change = at(one - zero, 0.0, -sign * margin.value, sign * margin.value)
        found = judge_all(ends(change, 0), ends(change, 1), ends(change, 2), question.response.ask)
    return np.where(change.cannot, NO_ANSWER, found)
