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
    design = trial.design
    if design.kind != "factorial":
        yield (
            f'design.kind = "{design.kind}" is not in this version yet. '
            'Meanwhile use  kind = "factorial".'
        )
    if design.model == "quadratic":
        yield (
            'design.model = "quadratic" is not in this version yet: two levels cannot show a '
            'bend. Meanwhile use  model = "two-factor".'
        )
    if design.centre_points:
        yield (
            f"design.centre_points = {design.centre_points} is not in this version yet. "
            "Meanwhile leave it out."
        )
    for key in ("runs", "generators", "fold_over", "terms"):
        if getattr(design, key):
            yield f"design.{key} is not in this version yet. Meanwhile leave it out."
    yield from _unserved_factors(trial)
    if trial.limits:
        yield (
            "[[limit_on_settings]] is not in this version yet. Meanwhile choose levels whose "
            "every combination may be welded, and leave the limit out."
        )
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


def _unserved_factors(trial: Trial) -> Iterator[str]:
    for factor in trial.varied:
        if len(factor.levels) > 2:
            yield (
                f"factor '{factor.name}' has {len(factor.levels)} levels; this version lays out "
                f"two. Meanwhile keep two of them:  {', '.join(factor.levels)}."
            )
    if len(trial.hard) > 1:
        names = " and ".join(f"'{factor.name}'" for factor in trial.hard)
        yield (
            f"{names} are both hard_to_change; this version lays out one such factor. Meanwhile "
            "hold one of them the same, as [[held]], and weld the other question as its own trial."
        )
