"""What a trial file may ask for that this version cannot lay out yet, said in words."""

from __future__ import annotations

from collections.abc import Iterator

from weldtrial.shared.problems import NotYet
from weldtrial.shared.trial import Trial


def refuse_unserved(trial: Trial) -> None:
    """Raise for everything in `trial` that this version cannot lay out, all of it at once.

    Raises
    ------
    NotYet
        Naming each key and what to do meanwhile.
    """
    reasons = tuple(_unserved(trial))
    if reasons:
        raise NotYet("\n".join(reasons))


def _unserved(trial: Trial) -> Iterator[str]:
    if trial.goal is not None:
        yield (
            "[goal] is not in this version yet. Meanwhile leave it out: effects and gaps are "
            "reported, no best setting is chosen."
        )
    if trial.fair.rule == "both":
        yield (
            'fair.rule = "both" is not in this version yet. Meanwhile choose one, such as  '
            'rule = "each-gas-own-setting", and weld the other reading as a trial of its own.'
        )
