"""What a rehearsal says of a plan, in plain sentences."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from weldtrial.shared.rounding import brief, spaced
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.chances import SimulatedChance
    from weldtrial.analysis.counted_pretend import CountedBench
    from weldtrial.analysis.losses import Losses
    from weldtrial.analysis.pretend_bench import PretendBench
    from weldtrial.analysis.rehearse import TrueLoss
    from weldtrial.analysis.rehearsed import Rehearsed


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """A rehearsal and what it was of.

    `by_margin` is False where no margin is set and losses are counted in the smallest gap that
    the plan would probably see; `pairs` counts the comparisons of which the first is played.
    """

    trial: Trial
    bench: PretendBench | CountedBench
    losses: Losses
    order: str
    by_margin: bool
    pairs: int
    found: Rehearsed


def sentences(rehearsal: Rehearsal) -> list[str]:
    """Return what a rehearsal means, the gravest first."""
    found, bench = rehearsal.found, rehearsal.bench
    words = [*_hopeless(rehearsal)]
    if not found.never_told:
        words += _asked(rehearsal)
        words += _wrong(rehearsal)
        words += _turning(rehearsal)
        words += _looks(rehearsal)
        words.append(_strength(found))
    if bench.question.response.ask == "difference" and len(found.truths) > 1:
        words.append("Gains are not played: they mirror the losses, better in the place of worse.")
    if not rehearsal.by_margin:
        words.append(_no_margin(rehearsal))
    words.append(
        f"Each figure is uncertain by at most \N{PLUS-MINUS SIGN}"
        f"{brief(100 * found.margin_of_error, 2)} in 100 (95 % Monte-Carlo interval): only "
        f"{found.trials} trials were played for each column. Whether {_assumed(bench)} "
        "is right is another question, and no rehearsal can tell."
    )
    return words


def _looks(rehearsal: Rehearsal) -> list[str]:
    """Say after how many rounds trials with planned looks end, stopping as soon as one may."""
    found, looks = rehearsal.found, rehearsal.trial.looks
    if looks is None or not found.rounds:
        return []
    how = (
        "Each trial is sized by the scatter of its own first rounds"
        if looks.scatter_only
        else f"Each trial stops at the first look that settles it ({looks.name} bounds)"
    )
    words = []
    for place, truth in enumerate(found.truths):
        average = found.average_rounds(place)
        if truth.share in (0, 2) and average is not None:
            where = "if equal" if truth.share == 0 else f"if {worse_words(rehearsal, truth)}"
            ended = ", ".join(
                f"{per_100(count, found.trials)} in 100 after round {after}"
                for after, count in found.rounds[place]
            )
            words.append(f"{brief(average, 2)} rounds on average {where} ({ended})")
    return [f"{how}: {'; '.join(words)}."]


def _hopeless(rehearsal: Rehearsal) -> list[str]:
    found, bench = rehearsal.found, rehearsal.bench
    factor = bench.question.factor
    if found.never_told:
        return [
            f"This plan cannot tell, whatever the truth: {factor.title.lower()} is never welded "
            "apart from its set-up or its round. More coupons of the same kind would not help; "
            "more set-ups of each would."
        ]
    if found.settles_nothing:
        return [
            'This plan can only ever say "not settled": whatever the truth here, fewer than 15 in '
            "100 verdicts were anything else, and the false alarms of its intervals alone come to "
            "5 to 8. It would cost its coupons and answer nothing.  weldtrial power  says what "
            "the question needs."
        ]
    return []


def _asked(rehearsal: Rehearsal) -> list[str]:
    """Say how often the plan shows what is asked, where that is so."""
    response, level = rehearsal.bench.question.response, rehearsal.bench.question.level
    chance = rehearsal.found.shows(response.ask)
    if not rehearsal.by_margin or chance is None:
        return []
    margin = _loss(rehearsal, 1.0, rehearsal.bench.margin or 0.0)
    if response.ask == "difference":
        worse = f"worse ({margin})" if response.kind == "graded" else f"worse by {margin}"
        return [f"Were {level} truly {worse}, {_per_100(chance)} verdicts would show a difference."]
    shown = "no loss as big as" if response.ask == "no-worse" else "no change as big as"
    return [
        f"{_equal(rehearsal)}, {_per_100(chance)} verdicts would show what you ask: "
        f"{shown} {margin}."
    ]


def _equal(rehearsal: Rehearsal) -> str:
    question = rehearsal.bench.question
    return f"Were {question.level} and {question.reference} truly equal"


def _wrong(rehearsal: Rehearsal) -> list[str]:
    found, level = rehearsal.found, rehearsal.bench.question.level
    words = []
    if rehearsal.by_margin:
        for truth, chance in found.wrongly_no_worse:
            what = "exactly the margin" if truth.share == 1 else "twice the margin"
            told = "deny it: no worse by so much, or better"
            if rehearsal.bench.question.response.kind == "graded":
                what = "the loss planned for" if truth.share == 1 else "twice that in log odds"
                told = "call it better"
            words.append(
                f"Were {level} truly {worse_words(rehearsal, truth)}, {what}, "
                f"{_per_100(chance)} verdicts would {told}."
            )
        words += _too_large(rehearsal)
    words.append(
        f"{_equal(rehearsal)}, {_per_100(found.wrongly_different)} verdicts would "
        "still call one worse or better (95 % intervals allow 5)."
    )
    return words


def _too_large(rehearsal: Rehearsal) -> list[str]:
    """Say that a loss of two margins cannot be where fewer than that pass today."""
    if any(truth.share == 2 for truth in rehearsal.found.truths):
        return []
    return ["Twice the margin is not played: there is not so much to lose."]


def _assumed(bench: PretendBench | CountedBench) -> str:
    kind = bench.question.response.kind
    if kind == "number":
        return "the scatter you assume"
    return f"what you assume of {'passes' if kind == 'pass-fail' else 'grades'} and set-ups"


def _turning(rehearsal: Rehearsal) -> list[str]:
    found = rehearsal.found
    shares = sorted(chance.chance for chance in found.depending)
    if not found.turned:
        return ["No answer depended on a failed check."]
    low, high = (_hundredth(share) for share in (shares[0], shares[-1]))
    how = f"{low} in 100" if low == high else f"{low} to {high} in 100"
    most = found.turned[0][0]
    return [
        f"An answer would depend on a failed check in {how} trials, though nothing went wrong "
        f"(most often on {most})."
    ]


def _strength(found: Rehearsed) -> str:
    if not found.strengths:
        return "No verdict of this plan would show or suggest anything."
    if "shown" not in found.strengths:
        return (
            'No verdict of this plan can begin with "Shown", only with "Suggests": it takes four '
            "set-ups of each (or four rounds) to show anything."
        )
    if "suggests" in found.strengths:
        return (
            'Verdicts begin with "Shown" while four set-ups (or rounds) of each are left, and with '
            '"Suggests" where losses leave fewer.'
        )
    return (
        'What this plan finds may begin with "Shown": its order comes from the seal, and each is '
        "welded often enough."
    )


def _no_margin(rehearsal: Rehearsal) -> str:
    title = rehearsal.bench.question.response.title
    counted = ""
    if len(rehearsal.found.truths) > 1:
        counted = "Losses are counted here in the smallest gap this plan would probably see. "
    return (
        f"{counted}{title} has no margin, so no verdict can ever say no worse or equal; what a "
        "loss that matters would look like cannot be rehearsed. Give it a margin."
    )


def _per_100(chance: SimulatedChance) -> str:
    return (
        f"{_hundredth(chance.chance)} in 100 ({_hundredth(chance.low)} to "
        f"{_hundredth(chance.high)})"
    )


def _hundredth(share: float) -> str:
    """Return a share in 100: whole from 10 on, one decimal below."""
    value = 100 * share
    return f"{value:.0f}" if value >= 9.95 or value == 0 else f"{value:.1f}"


def worse_words(rehearsal: Rehearsal, truth: TrueLoss) -> str:
    """Return a true loss as one is said to be worse: ``worse by 5 kN``, ``worse (odds ÷ 3)``."""
    words = loss_words(rehearsal, truth)
    graded = rehearsal.bench.question.response.kind == "graded"
    return f"worse ({words})" if graded else f"worse by {words}"


def loss_words(rehearsal: Rehearsal, truth: TrueLoss) -> str:
    """Return a true loss as the margin is written: ``5 kN`` or ``6 %``."""
    return _loss(rehearsal, truth.share, truth.loss)


def _loss(rehearsal: Rehearsal, share: float, loss: float) -> str:
    response = rehearsal.bench.question.response
    margin = response.margin
    if response.kind != "number":
        from weldtrial.cli.counted_plan import loss_words as counted_words

        return counted_words(response, loss)
    if margin is not None and margin.percent:
        return f"{brief(100 * margin.value * share, 3)} %"
    return f"{brief(loss, 3)}{spaced(rehearsal.bench.unit)}"


def per_100(count: int, trials: int) -> str:
    """Return a count in 100, as whole numbers; what came but rounds to none is ``<1``."""
    if count == 0:
        return "0"
    share = 100 * count / trials
    if share < 0.5:
        return "<1"
    return f"{share:.0f}" if share < 99.5 or count == trials else ">99"
