"""Rehearsal of a trial with planned looks: each pretend trial stops where a real one might."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from weldtrial.analysis.context import Context
from weldtrial.analysis.look_words import OPEN_STILL
from weldtrial.analysis.looks import levels_at
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.power import aim_of
from weldtrial.analysis.question import Question
from weldtrial.analysis.rehearse import Ended, verdict_of
from weldtrial.analysis.scatter_look import lumped_scatter, size_rounds
from weldtrial.analysis.shape import Shape
from weldtrial.shared.look_state import Look, of_look
from weldtrial.shared.looks import Looks
from weldtrial.shared.problems import NotEnough, NotEstimable


@dataclass(frozen=True, slots=True)
class AtLooks:
    """Words the verdict of a pretend trial at the first look that settles it.

    A trial sized from its scatter is first sized by its own first rounds, codes closed.

    Attributes
    ----------
    looks
        The looks that are planned.
    shape
        The whole plan; its rounds are the most that are welded.
    """

    looks: Looks
    shape: Shape

    def __call__(
        self, context: Context, question: Question, observations: Sequence[Observation]
    ) -> Ended:
        """Return the verdict, and the rounds after which it came.

        Raises
        ------
        NotEstimable
            When too little is left at the last look.
        """
        most = self.shape.rounds
        if self.looks.scatter_only:
            sized = self._sized(context, question, observations)
            look = Look("last", tuple(range(1, sized + 1)), (sized,), 1, sized, sized=sized)
            return _at(context, question, observations, look)
        ends = (*self.looks.after, most)
        for number, end in enumerate(ends, start=1):
            last = end == most
            look = Look("last" if last else "planned", tuple(range(1, end + 1)), ends, number, end)
            try:
                found = _at(context, question, observations, look)
            except NotEstimable:
                if last:
                    raise
                continue
            if last or (found.verdict.code is not None and found.verdict.code not in OPEN_STILL):
                return found
        raise AssertionError("the last look ends a trial")

    def _sized(
        self, context: Context, question: Question, observations: Sequence[Observation]
    ) -> int:
        first = self.looks.after[0]
        look = Look("scatter", tuple(range(1, first + 1)), (self.shape.rounds,), uses=first)
        mine = [one for one in observations if (one.round or 0) <= first]
        try:
            scatter = lumped_scatter(mine)
        except NotEnough as error:
            raise NotEstimable(error.words) from None
        level = levels_at(context.trial, look).one_sided
        aim = aim_of(question.response, scatter.mean)
        return size_rounds(self.shape, aim, self.looks, scatter, level=level).rounds


def _at(
    context: Context, question: Question, observations: Sequence[Observation], look: Look
) -> Ended:
    here = replace(context, look=look, record=of_look(context.record, look))
    asked = replace(question, read=levels_at(context.trial, look, question.factor))
    mine = [one for one in observations if one.round is None or one.round <= (look.uses or 0)]
    return replace(verdict_of(here, asked, mine), rounds=look.uses)
