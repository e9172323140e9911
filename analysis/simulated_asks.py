"""Every question a plan may be asked, by formula and by simulation, with and without losses."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from weldtrial.analysis.counted_pretend import CountedBench
from weldtrial.analysis.counted_simulate import simulate_counted
from weldtrial.analysis.judge_limited import in_one_pass
from weldtrial.analysis.losses import Losses
from weldtrial.analysis.pretend_bench import PretendBench
from weldtrial.analysis.simulate import TRIALS, Simulated, asked_change, simulate
from weldtrial.shared.responses import Ask

GRADED_TRIALS, SETUP_TRIALS, ALONE_TRIALS = 2000, 300, 100
HARDLY = 0.01
"""Share of trials with any reading past the gauge that costs no time."""
ASKS: tuple[Ask, ...] = ("difference", "no-worse", "equal-enough")


@dataclass(frozen=True, slots=True)
class SimulatedAsk:
    """One question simulated.

    Attributes
    ----------
    ask
        Which.
    change
        True change that was pretended, level minus reference.
    closed
        Chance by the exact formula, nothing lost; None where there is none.
    whole, lossy
        By simulation, nothing lost and with the losses; `lossy` None where none were asked for.
    """

    ask: Ask
    change: float
    closed: float | None
    whole: Simulated
    lossy: Simulated | None

    @property
    def agrees(self) -> bool:
        """Whether the formula lies in the interval of the simulation, nothing lost."""
        found = self.whole.chance
        return self.closed is None or found.low <= self.closed <= found.high


def simulate_asks(
    bench: PretendBench | CountedBench,
    closed: Mapping[Ask, float | None],
    losses: Losses,
    *,
    trials: int = TRIALS,
    seed: int = 1,
    done: Callable[[int], None] = lambda trials: None,
) -> tuple[SimulatedAsk, ...]:
    """Simulate a true loss of the margin, and "no worse" and "equal within" of equal levels.

    Parameters
    ----------
    bench
        The comparison; without a margin nothing is simulated.
    closed
        The chance by formula of each question.
    losses
        What is lost on the way.
    trials, seed, done
        As for `weldtrial.analysis.simulate.simulate`.
    """
    found = []
    graded = bench.question.response.kind == "graded"
    for ask in ASKS[:1] if graded else ASKS:
        response = replace(bench.question.response, ask=ask)
        asked = replace(bench, question=replace(bench.question, response=response))
        change = asked_change(asked)
        if change is None:
            continue
        whole = _played(asked, change, Losses(), trials=trials, seed=seed, done=done)
        lossy = (
            None
            if losses.none
            else _played(asked, change, losses, trials=trials, seed=seed, done=done)
        )
        found.append(SimulatedAsk(ask, change, closed.get(ask), whole, lossy))
    return tuple(found)


def usual_trials(bench: PretendBench | CountedBench) -> int:
    """Return how many trials to play where nothing was said: fewer where each takes long.

    Grades of single coupons are fitted one by one; so are readings past the gauge where several
    levels are read together, and by set-up they take the longest.
    """
    if isinstance(bench, CountedBench):
        return GRADED_TRIALS if bench.graded and bench.apart else TRIALS
    whole = (1 - bench.past_the_gauge) ** len(bench.blanks)
    if not bench.scatter.limited or (whole > 1 - HARDLY and bench.scatter.stops is None):
        return TRIALS
    if not in_one_pass(bench.question):
        return ALONE_TRIALS
    by_setups = any(o.setup is not None for o in bench.blanks)
    return SETUP_TRIALS if by_setups else TRIALS


def _played(
    bench: PretendBench | CountedBench,
    change: float,
    losses: Losses,
    *,
    trials: int,
    seed: int,
    done: Callable[[int], None],
) -> Simulated:
    if isinstance(bench, CountedBench):
        return simulate_counted(bench, change, losses, trials=trials, seed=seed, done=done)
    return simulate(bench, change, losses, trials=trials, seed=seed, done=done)
