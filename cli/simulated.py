"""``weldtrial power --simulate``: chances by formula beside chances by pretend trials."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from weldtrial.cli.pretending import Wanted, losses_of, losses_words, order_of
from weldtrial.shared.folder import Folder
from weldtrial.shared.problems import WrongUsage
from weldtrial.shared.responses import Ask
from weldtrial.shared.rounding import brief, spaced
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.chances import SimulatedChance
    from weldtrial.analysis.counted_pretend import CountedBench
    from weldtrial.analysis.losses import Losses
    from weldtrial.analysis.needs import Needs
    from weldtrial.analysis.pretend_bench import PretendBench
    from weldtrial.analysis.simulate import Simulated
    from weldtrial.analysis.simulated_asks import SimulatedAsk
    from weldtrial.cli.console import Align, Console
    from weldtrial.cli.options import Common

MOST_COUPONS = 2000
"""Coupons beyond which ten thousand pretend trials no longer fit in a few seconds."""
USUAL = 10_000
WORTH_SAYING = 0.005
"""Share of coupons past the gauge that is worth a word."""


@dataclass(frozen=True, slots=True)
class SimulatedPlan:
    """A simulated plan: what was played, of which bench, with which losses, and for how long.

    `fewer` says that fewer trials than usual were played, for they take long.
    """

    bench: PretendBench | CountedBench
    losses: Losses
    order: str
    asks: tuple[SimulatedAsk, ...]
    seconds: float
    spares_needed: int | None
    fewer: bool = False


def simulate_folder(
    common: Common, folder: Folder, trial: Trial, needs: Needs | None, wanted: Wanted
) -> SimulatedPlan:
    """Simulate the plan of a folder for its deciding response.

    Raises
    ------
    NotYet, PlanRefused, NotEnough, WrongUsage
        As `weldtrial.analysis.pretend_bench.pretend_bench`, and where a loss cannot be.
    """
    from weldtrial.analysis.pretend import coupons_of
    from weldtrial.analysis.pretend_bench import pretend_bench

    plan, order = order_of(folder, trial, wanted.seed, changed=False)
    bench = pretend_bench(trial, coupons_of(plan))
    return _simulate(common, bench, needs, wanted, order, len(plan.of_role("spare")))


def simulate_two(
    common: Common, figures: Any, said: Mapping[str, Any], wanted: Wanted
) -> SimulatedPlan:
    """Simulate two gases from the numbers on the command line.

    Parameters
    ----------
    figures
        The `PowerFigures` worked out from them.
    said
        The options as typed.
    """
    from weldtrial.analysis.pretend_two import two_gases
    from weldtrial.cli.power_asked import asked

    numbers = asked(said)
    if figures.coupons > MOST_COUPONS:
        raise WrongUsage(
            f"weldtrial power: {figures.coupons} coupons are too many to simulate (at most "
            f"{MOST_COUPONS}). Leave --simulate out: the formula is exact."
        )
    bench = two_gases(
        figures.response,
        figures.levels,
        setups=None if numbers.setups is None else (numbers.setups[0], numbers.setups[-1]),
        coupons=(numbers.coupons[0], numbers.coupons[-1]),
        paired=numbers.rounds,
        gases=numbers.gases,
        pairs=numbers.pairs,
    )
    return _simulate(common, bench, figures.needs, wanted, "in the order of the set-ups", 0)


def _simulate(
    common: Common,
    bench: PretendBench | CountedBench,
    needs: Needs | None,
    wanted: Wanted,
    order: str,
    spares: int,
) -> SimulatedPlan:
    from weldtrial.analysis.losses import spares_for
    from weldtrial.analysis.simulated_asks import ASKS, simulate_asks, usual_trials

    losses = losses_of("power", wanted, bench, spares)
    closed: dict[Ask, float | None] = {}
    if needs is not None:
        closed = {
            "difference": needs.power,
            "no-worse": needs.no_worse,
            "equal-enough": needs.equal_enough,
        }
    trials = wanted.trials or USUAL
    if trials == USUAL:
        trials = usual_trials(bench)
    questions = 1 if bench.question.response.kind == "graded" else len(ASKS)
    total = trials * questions * (1 if losses.none else 2)
    began = time.perf_counter()
    with common.console.progress("Simulating (PRETEND)", total) as done:
        asks = simulate_asks(bench, closed, losses, trials=trials, seed=wanted.seed, done=done)
    return SimulatedPlan(
        bench,
        losses,
        order,
        asks,
        time.perf_counter() - began,
        spares_for(len(bench.blanks), losses.scrap) if losses.scrap else None,
        fewer=trials < (wanted.trials or USUAL),
    )


# ---------------------------------------------------------------------------- what is shown


def as_json(plan: SimulatedPlan) -> dict[str, Any]:
    """Return a simulation as plain values."""
    return {
        "pretend": True,
        "response": plan.bench.question.response.name,
        "level": plan.bench.question.level,
        "reference": plan.bench.question.reference,
        "order": plan.order,
        "losses": asdict(plan.losses),
        "spares_needed": plan.spares_needed,
        "seconds": plan.seconds,
        "asks": {
            one.ask: {
                "change": one.change,
                "closed_form": one.closed,
                "agrees": one.agrees,
                "nothing_lost": _plain(one.whole),
                "with_losses": None if one.lossy is None else _plain(one.lossy),
            }
            for one in plan.asks
        },
    }


def _plain(found: Simulated) -> dict[str, Any]:
    chance = found.chance
    return {
        "chance": chance.chance,
        "low": chance.low,
        "high": chance.high,
        "trials": found.trials,
        "patterns": found.patterns,
        "seed": found.seed,
        "refused": found.refused,
        "refused_patterns": found.refused_patterns,
        "coupons": found.coupons,
        "verdicts": found.codes,
    }


def show_simulated(console: Console, plan: SimulatedPlan) -> None:
    """Show a simulation: the table, then what it cost and what it rests on."""
    question = plan.bench.question
    what = f" – {question.response.title}, {question.level} with {question.reference}"
    console.line(
        f"PRETEND: the same by simulation{what if question.response.name != 'response' else ''}",
        style="bold",
    )
    if not plan.asks:
        console.line("  No margin is given, so there is no loss to simulate.", hang=2)
        return
    lossy = not plan.losses.none
    headers = ["to show", "by formula", "simulated", "95 % interval"]
    headers += ["with losses", "95 % interval"] * lossy
    rows = []
    for one in plan.asks:
        row = [_what(plan, one), _percent(one.closed), *_cells(one.whole.chance)]
        rows.append([*row, *(_cells(one.lossy.chance) if one.lossy is not None else ())])
    right: Align = "right"
    console.table(headers, rows, ["left", *(right for _ in headers[1:])])
    for words in sentences(plan):
        console.line(f"  {words}", hang=2)
    console.line()


def _what(plan: SimulatedPlan, one: SimulatedAsk) -> str:
    response = plan.bench.question.response
    if response.kind != "number":
        from weldtrial.cli.counted_plan import loss_words

        loss = loss_words(response, plan.bench.margin)
        return _asks(one, loss, graded=response.kind == "graded")
    loss = f"{brief(plan.bench.margin, 3)}{spaced(plan.bench.unit)}"
    return _asks(one, loss)


def _asks(one: SimulatedAsk, loss: str, *, graded: bool = False) -> str:
    if one.ask == "difference":
        return f"a true loss: {loss}" if graded else f"a true loss of {loss}"
    shown = f"no worse by {loss}" if one.ask == "no-worse" else f"equal within {loss}"
    return f"{shown}, if equal"


def _cells(chance: SimulatedChance) -> list[str]:
    return [_percent(chance.chance), f"{_percent(chance.low)} to {_percent(chance.high)}"]


def _percent(chance: float | None) -> str:
    if chance is None:
        return "–"
    if 0 < chance < 0.001 or 0.999 < chance < 1:
        return "under 0.1 %" if chance < 0.5 else "over 99.9 %"
    return f"{100 * chance:.1f} %"


def gauge_words(bench: PretendBench | CountedBench) -> str:
    """Say how many coupons would go past the gauge, nothing where hardly any would."""
    from weldtrial.analysis.counted_pretend import CountedBench

    if isinstance(bench, CountedBench):
        return ""
    share = bench.past_the_gauge
    if share < WORTH_SAYING:
        return ""
    ends = [one for one in (bench.scatter.least, bench.scatter.most) if one is not None]
    limit = " and ".join(f"{brief(one)}{spaced(bench.unit)}" for one in ends)
    count = "fewer than 1" if 100 * share < 1 else f"about {100 * share:.0f}"
    return f"{count} in 100 coupons of {bench.question.reference} would go past the gauge ({limit})"


def sentences(plan: SimulatedPlan) -> list[str]:
    """Return what a simulation means."""
    words = []
    asked = plan.bench.question.response.ask
    mine = next(one for one in plan.asks if one.ask == asked)
    if mine.lossy is not None:
        words += _cost(plan, mine, mine.lossy)
    if not all(one.agrees for one in plan.asks):
        words.append(_apart(plan))
    words += _refused(plan)
    past = gauge_words(plan.bench)
    if past:
        words.append(
            f"{past[0].upper()}{past[1:]}: played so, and judged by the fit for gauge limits. The "
            "formula takes every reading as whole."
        )
    words += _stops(plan)
    played = plan.asks[0].lossy or plan.asks[0].whole
    over = f" over {played.patterns} patterns of losses" if played.patterns > 1 else ""
    words.append(
        f"{played.trials} pretend trials a line{over}, each through the analysis that judges real "
        f"ones; seed {played.seed}; {plan.seconds:.1f} s. Nothing here was welded."
    )
    if played.trials < USUAL and plan.fewer:
        words.append(
            f"Fewer than the usual {USUAL}, for each takes long to fit; ask for more with  "
            f"--simulate {4 * played.trials}"
        )
    if played.patterns > 1:
        words.append(
            "The interval with losses allows for trials of one pattern sharing it: it rests on the "
            "scatter between patterns."
        )
    if plan.losses.missing:
        words.append(f"Runs are numbered in their order of welding: {plan.order}.")
    return words


def _stops(plan: SimulatedPlan) -> list[str]:
    """Say that failures are seen between stops only, where they are."""
    from weldtrial.analysis.counted_pretend import CountedBench

    bench = plan.bench
    if isinstance(bench, CountedBench) or bench.scatter.stops is None:
        return []
    apart = f"{brief(bench.scatter.stops)}{spaced(bench.unit)}"
    return [
        f"Every failure is played as seen between two stops only, {apart} apart. The formula takes "
        "every reading as whole."
    ]


def _cost(plan: SimulatedPlan, one: SimulatedAsk, lossy: Simulated) -> list[str]:
    before, after = one.whole.chance, lossy.chance
    words = [
        f"{losses_words(plan.losses)}: {100 * before.chance:.0f} % \N{RIGHTWARDS ARROW} "
        f"{100 * after.chance:.0f} % ({100 * after.low:.0f} to {100 * after.high:.0f}), with "
        f"{brief(lossy.coupons, 3)} of {len(plan.bench.blanks)} coupons left on average."
    ]
    if plan.losses.scrap and plan.spares_needed is None:
        words.append("No practical number of spares makes that good.")
    elif plan.losses.scrap and plan.spares_needed is not None:
        enough = plan.losses.spares >= plan.spares_needed
        words.append(
            f"{plan.spares_needed} spares make good what is scrapped in 95 of 100 trials, if each "
            "is welded before its set-up ends"
            + (" – as many as this plan has, or fewer." if enough else ".")
        )
    return words


def _apart(plan: SimulatedPlan) -> str:
    from weldtrial.analysis.counted_pretend import CountedBench

    if isinstance(plan.bench, CountedBench):
        return (
            "Formula and simulation differ by more than chance on a line: trust the simulation, "
            "which asks the analysis."
            if plan.bench.graded
            else "Formula and simulation differ by more than chance on a line: one interval in "
            "twenty misses; try another --seed."
        )
    scatter = plan.bench.scatter
    if gauge_words(plan.bench):
        return (
            "Formula and simulation differ by more than chance on a line: the simulation stops "
            "where the gauge stops."
        )
    if scatter.reading or scatter.step:
        why = (
            "the simulation also reads each coupon as its gauge does, with its steps and its own "
            "scatter"
        )
    else:
        why = "one interval in twenty misses; try another --seed"
    return f"Formula and simulation differ by more than chance on a line: {why}."


def _refused(plan: SimulatedPlan) -> list[str]:
    found = [one for ask in plan.asks for one in (ask.whole, ask.lossy) if one is not None]
    worst = max(found, key=lambda one: one.refused)
    if not worst.refused:
        return []
    return [
        f"{worst.refused} of {worst.trials} trials could not be analysed at all (too little left, "
        "or no scatter to judge by); they count as nothing shown."
    ]


def with_simulated(plain: dict[str, Any], plan: SimulatedPlan) -> dict[str, Any]:
    """Return the JSON of ``power`` with the simulation beside it."""
    return {**plain, "simulated": as_json(plan)}
