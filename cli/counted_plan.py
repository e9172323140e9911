"""Passes and grades in ``plan`` and ``power``: what is planned with, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from weldtrial.shared.problems import NotEnough
from weldtrial.shared.responses import Foreseen, Response
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.counted_power import CountedAim
    from weldtrial.analysis.needs import Needs
    from weldtrial.analysis.shape import Shape
    from weldtrial.cli.console import Console
    from weldtrial.cli.power_figures import PowerFigures

_SURE = 0.9


def counted_of(response: Response) -> CountedAim | None:
    """Return what passes or grades are planned with, None for numbers and where nothing is known.

    Raises
    ------
    NotEnough
        When the margin leaves nothing of the share that passes.
    """
    from weldtrial.analysis.counted_power import CountedAim

    if response.kind == "number" or response.foreseen is None:
        return None
    beyond = margin_beyond(response)
    if beyond:
        raise NotEnough(beyond)
    return CountedAim(response, response.foreseen)


def margin_beyond(response: Response) -> str:
    """Say that a loss of the margin cannot be, empty where it can."""
    foreseen, margin = response.foreseen, response.margin
    if response.kind != "pass-fail" or foreseen is None or margin is None:
        return ""
    left = foreseen.passing if response.sign > 0 else 1 - foreseen.passing
    if margin.value < left:
        return ""
    what = "pass" if response.sign > 0 else "fail"
    return (
        f"The margin of {response.title}, {brief(100 * margin.value, 3)} points, is not below the "
        f"{brief(100 * left, 3)} % expected to {what}: a loss like that leaves nothing. Correct "
        "margin or typical."
    )


def unit_of(response: Response) -> str:
    """Return what gaps are counted in: points, or nothing for a ratio of odds."""
    return "points" if response.kind == "pass-fail" else ""


def loss_words(response: Response, size: float | None) -> str:
    """Return a loss in words: ``10 points``, or ``odds ÷ 3``."""
    from weldtrial.analysis.profiles import as_odds

    if size is None:
        return "–"
    if response.kind == "pass-fail":
        return f"{brief(size, 2)} points"
    return f"odds ÷ {brief(as_odds(size), 2)}"


def gap_cell(response: Response, size: float) -> str:
    """Return a gap as a cell of a table whose head names its unit."""
    return loss_words(response, size).removesuffix(" points")


def foreseen_words(response: Response, foreseen: Foreseen, *, apart: bool) -> str:
    """Return what is planned with, in words, with where it comes from.

    `apart` where every coupon is set up anew, so that none are alike.
    """
    if response.kind == "pass-fail":
        words = f"{brief(100 * foreseen.passing, 3)} % of today's coupons pass"
    else:
        grades = ", ".join(
            f"{grade} {brief(100 * share, 3)} %"
            for grade, share in zip(response.scale, foreseen.shares, strict=True)
        )
        words = f"today's grades are {grades}"
    source = foreseen.source or "the file does not say from what"
    alike = (
        "every coupon is set up anew, so alike plays no part"
        if apart
        else f"coupons of one set-up are alike by {brief(foreseen.alike, 2)}"
    )
    return f"{words}; {alike} ({source})"


def apart(shape: Shape) -> bool:
    """Whether every coupon of a plan is set up anew."""
    return not shape.by_setups or shape.per_setup == 1


def method_words(aim: CountedAim, shape: Shape) -> str:
    """Return how the chances are worked out, in one sentence."""
    from weldtrial.analysis.counted_chances import GRADED_TRIALS, TRIALS
    from weldtrial.analysis.counted_power import how_worked_out

    how = how_worked_out(aim, shape)
    if how == "exact":
        return (
            "Chances are exact: every outcome is judged by the exact interval (score test; Chan & "
            "Zhang 1999) and added up. They go up and down a little from one number to the next."
        )
    if how == "normal-approximation":
        return "So many coupons are reckoned by the normal approximation of the score test."
    if how == "whitehead":
        return (
            "Chances by Whitehead's formula for proportional odds (1993), good to about 6 in 100; "
            "weldtrial power --simulate  asks the analysis itself."
        )
    by = "ranks of coupons" if not shape.by_setups or shape.per_setup == 1 else "set-up by set-up"
    by_setups = shape.by_setups and shape.per_setup > 1
    trials, room = (GRADED_TRIALS, 2.2) if aim.graded and by_setups else (TRIALS, 1.6)
    return (
        f"Chances by {trials} pretend trials, judged {by} as real ones are: good to "
        f"\N{PLUS-MINUS SIGN}{room} in 100."
    )


def counted_working(aim: CountedAim, shape: Shape) -> list[str]:
    """Return how chances are worked out, step by step, with the sources."""
    units = (
        f"{shape.setups_per_level} set-ups of each, {shape.per_setup} coupons in each"
        if shape.by_setups
        else f"{shape.coupons_per_level} coupons of each, every one set up anew"
    )
    words = [
        f"{foreseen_words(aim.response, aim.foreseen, apart=apart(shape))}.",
        f"Compared: {units}.",
    ]
    if shape.by_setups and shape.per_setup > 1:
        words.append(
            "Pretended: of the coupons of one set-up a later one copies an earlier one just so "
            "often that their intraclass correlation is as given (beta-binomial, Skellam 1948; "
            "grades Dirichlet-multinomial, Mosimann 1962; drawn by the urn of Blackwell & MacQueen "
            "1973)."
        )
    if aim.graded:
        words.append(
            "A loss divides the odds of grading better by the same number at every grade "
            "(proportional odds, McCullagh 1980)."
        )
    return [*words, method_words(aim, shape)]


def doubt_words(aim: CountedAim, shape: Shape) -> str:
    """Say what is left of the chance when coupons of a set-up are more alike than was guessed."""
    from weldtrial.analysis.counted_power import if_more_alike

    found = if_more_alike(aim, shape)
    if found is None:
        return ""
    alike, chance, gap = found
    told = (
        f"would see {loss_words(aim.response, gap) if gap is not None else 'nothing'}"
        if chance is None
        else f"has {100 * chance:.0f} %"
    )
    said = brief(alike, 2)
    return (
        f"If coupons of one set-up are really alike by {said}, the plan {told}.   Try:  weldtrial "
        f"plan --if alike={said}"
    )


def foreseen_json(response: Response, foreseen: Foreseen) -> dict[str, Any]:
    """Return what is planned with as plain values."""
    passing = foreseen.passing if response.kind == "pass-fail" else None
    return {
        "passing": passing,
        "shares": list(foreseen.shares) if passing is None else None,
        "alike": foreseen.alike,
        "worse_odds": foreseen.worse_odds if passing is None else None,
        "unit": "points" if passing is not None else "log odds",
        "source": foreseen.source,
    }


# ---------------------------------------------------------------------- power


def show_counted(console: Console, one: PowerFigures) -> None:
    """Show what a plan shows of one response of passes or grades."""
    aim, needs = one.counted, one.needs
    assert aim is not None
    assert needs is not None
    console.line(
        f"  Worked out from: {foreseen_words(one.response, aim.foreseen, apart=apart(one.shape))}.",
        hang=2,
    )
    _asked(console, one, needs)
    for words in _sentences(one, aim, needs):
        console.line(f"  {words}", hang=2)


def _asked(console: Console, one: PowerFigures, needs: Needs) -> None:
    from weldtrial.cli.needs_table import equal_rows, loss_row, show_needs

    if needs.loss is None:
        console.line("  No margin is given, so there is no loss to ask about.", hang=2)
        return
    rows = [loss_row(_true_loss(one, needs.loss), needs)]
    if one.response.kind == "pass-fail":
        rows += equal_rows(loss_words(one.response, needs.loss), needs)
    show_needs(console, rows, needs, by_setups=one.shape.by_setups)


def _true_loss(one: PowerFigures, size: float) -> str:
    aim = one.counted
    assert aim is not None
    shares = aim.shares_after(size)
    if one.response.kind == "pass-fail":
        way = "fall" if one.response.sign > 0 else "rise"
        return (
            f"a true {way} from {brief(100 * aim.foreseen.passing, 3)} to "
            f"{brief(100 * shares[-1], 3)} %"
        )
    return f"a true loss: {loss_words(one.response, size)}"


def shares_words(response: Response, before: Sequence[float], after: Sequence[float]) -> str:
    """Return how the best and the worst grade move under a loss."""
    first, last = response.scale[0], response.scale[-1]
    return (
        f"'{last}' from {brief(100 * before[-1], 3)} to {brief(100 * after[-1], 2)} %, '{first}' "
        f"from {brief(100 * before[0], 3)} to {brief(100 * after[0], 2)} %"
    )


def _sentences(one: PowerFigures, aim: CountedAim, needs: Needs) -> list[str]:
    from weldtrial.analysis.budget import ENOUGH_ROUNDS

    shape, response, words = one.shape, one.response, []
    if response.kind == "graded" and needs.loss is not None:
        moved = shares_words(response, aim.foreseen.shares, aim.shares_after(needs.loss))
        odds = brief(aim.foreseen.worse_odds, 3)
        words.append(f"Odds of a better grade {odds} times smaller move {moved}.")
    if shape.df < 1:
        words.append(
            "Each is set up once, so gas and set-up cannot be told apart and nothing can be shown, "
            "however many coupons are welded. Set each up at least four times."
            if shape.by_setups
            else "Nothing is welded twice, so nothing can be shown. Weld more coupons."
        )
        return words
    if needs.detectable is None:
        words.append(
            "No loss, however large, would probably be seen with this plan: it is too small."
        )
    else:
        words.append(
            f"Smallest loss it would probably see: {loss_words(response, needs.detectable)}. "
            'Anything smaller may pass unseen, and an answer of "not settled" is then no sign that '
            "the two are alike."
        )
    if needs.half_loss_power is not None and needs.loss and needs.half_loss_power < _SURE:
        words.append(
            f"A true loss of half that asked about, {loss_words(response, needs.loss / 2)}, it "
            f"would show {round(100 * needs.half_loss_power)} times in 100."
        )
    if shape.family != "single":
        words.append(
            f"All {shape.levels} are read together (Bonferroni), so that all the intervals hold at "
            "once; the figures allow for it."
        )
    if shape.by_setups and (shape.setups_per_level or 0) < ENOUGH_ROUNDS:
        words.append(
            'With fewer than four set-ups of each, a verdict can only begin with "Suggests".'
        )
    if shape.by_setups and shape.per_setup > 1:
        words.append(
            "Coupons of one set-up are no more than one unit: set-ups are what is compared."
        )
    return [*words, method_words(aim, shape)]
