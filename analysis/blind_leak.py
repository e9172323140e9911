"""Did the blind hold?  The reader's guesses of the gas, against what guessing alone gives.

References
----------
Schulz, K. F. & Grimes, D. A. (2002). Blinding in randomised trials: hiding who got what. *Lancet*
359:696-700 (asking for guesses, and that the outcome itself may give the answer away; from memory).
Clopper, C. J. & Pearson, E. S. (1934). *Biometrika* 26:404-413 (the exact binomial).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from scipy import stats

from weldtrial.analysis.findings import Check, ResponseFindings
from weldtrial.analysis.guess_record import LEAK, Guesses
from weldtrial.shared.factors import Factor
from weldtrial.shared.guesses import guess_asked
from weldtrial.shared.record import Record
from weldtrial.shared.trial import Trial

CHECK = "blind guess"


def guesses(trial: Trial, record: Record, response: str) -> Guesses | None:
    """Return how well the reader of a response guessed; None where nothing was guessed.

    Codes must be open: the answer tells how levels and stamps go together.
    """
    factor = guess_asked(trial, response)
    if factor is None:
        return None
    made = []
    for coupon in record.coupons:
        said = [one.guess for one in coupon.readings.get(response, ()) if one.guess]
        if said:
            made.append((coupon.setup, said[0] == coupon.levels[factor.name]))
    if not made:
        return None
    chance = _chance(factor, [c.levels[factor.name] for c in record.coupons if c.role == "count"])
    right = sum(hit for _, hit in made)
    p = _p(right, len(made), chance)
    none = (None, None, None)
    won, cast, votes_p = _by_setup(made, chance) if factor.hard_to_change else none
    return Guesses(response, factor.name, right, len(made), chance, p, won, cast, votes_p, p < LEAK)


def leaks(trial: Trial, record: Record) -> tuple[str, ...]:
    """Return a reason for a step down for each response whose reader knew too much."""
    found = (guesses(trial, record, name) for name in trial.blind.who)
    return tuple(
        f"the reader of {trial.response(one.response).title} guessed the {one.factor} right "
        f"{one.right} of {one.of} times: the blind leaked, or the reading gives it away"
        for one in found if one is not None and one.leaked
    )  # fmt: skip


def held(trial: Trial, record: Record) -> tuple[str, ...]:
    """Return what speaks for the blind of each response that was guessed no better than chance."""
    found = (guesses(trial, record, name) for name in trial.blind.who)
    return tuple(
        f"{trial.response(one.response).title}: guesses of the {one.factor} no better than chance "
        f"({one.right} of {one.of})"
        for one in found if one is not None and not one.leaked
    )  # fmt: skip


def with_guesses(trial: Trial, record: Record, found: ResponseFindings) -> ResponseFindings:
    """Return the findings of a response with its guesses and the check on them."""
    made = guesses(trial, record, found.name)
    if made is None:
        return found
    check = Check(CHECK, not made.leaked, _words(found, made))
    return replace(found, guesses=made, checks=(*found.checks, check))


# ------------------------------------------------------------------------------- inside


def _words(found: ResponseFindings, made: Guesses) -> str:
    if made.leaked:
        words = (
            f"The reader of {found.title} guessed the {made.factor} right {made.right} of "
            f"{made.of} times, more than guessing gives: the blind leaked, or the reading itself "
            "gives it away."
        )
    else:
        words = (
            f"The reader of {found.title} guessed the {made.factor} no better than chance "
            f"({made.right} of {made.of})."
        )
    if made.setups_p is None:
        return words
    return (
        f"{words} Guesses within a set-up hang together: with one vote a set-up "
        f"{made.setups_right} of {made.setups_of} are right."
    )


def _chance(factor: Factor, planned: Sequence[str]) -> float:
    counts = Counter(planned)
    if not counts:
        return 1 / len(factor.levels)
    return max(counts.values()) / len(planned)


def _p(right: int, of: int, chance: float) -> float:
    return float(stats.binom.sf(right - 1, of, chance))


def _by_setup(
    made: Sequence[tuple[int | None, bool]], chance: float
) -> tuple[int, int, float] | tuple[None, None, None]:
    votes: Counter[int] = Counter()
    for setup, hit in made:
        if setup is not None:
            votes[setup] += 1 if hit else -1
    cast = [vote for vote in votes.values() if vote]
    if not cast:
        return None, None, None
    right = sum(vote > 0 for vote in cast)
    return right, len(cast), _p(right, len(cast), chance)
