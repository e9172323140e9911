"""What a blind reader thinks the gas was: asked for on the sheet, to see whether the blind held."""

from __future__ import annotations

from weldtrial.shared.csvtable import clean
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import Problem, nearest
from weldtrial.shared.trial import Trial


def guessed_factor(trial: Trial) -> Factor | None:
    """Return the category whose level is guessed, a hard-to-change one first; None without any."""
    categories = [factor for factor in trial.varied if factor.kind == "category"]
    hard = [factor for factor in categories if factor.hard_to_change]
    return next(iter([*hard, *categories]), None)


def guess_asked(trial: Trial, response: str) -> Factor | None:
    """Return the factor that the reader of a response guesses; None where nothing is asked."""
    asked = trial.blind.guess and response in trial.blind.who
    return guessed_factor(trial) if asked else None


def parse_guess(text: str, factor: Factor) -> str | Problem:
    """Return the level that `text` names, empty where nothing was guessed, or what is wrong."""
    plain = clean(text)
    if not plain:
        return ""
    for level in factor.levels:
        if level.casefold() == plain.casefold():
            return level
    close = nearest(plain.casefold(), [level.casefold() for level in factor.levels])
    meant = next((level for level in factor.levels if level.casefold() == close), None)
    hint = f" Did you mean '{meant}'?" if meant else ""
    words = (
        f"'{plain}' is no {factor.title.lower()} of this trial.{hint} Write "
        f"{' or '.join(factor.levels)}, or leave it empty where the reader has no idea."
    )
    return Problem(words, column="guess", value=plain)
