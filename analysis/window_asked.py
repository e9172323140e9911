"""What a trial file asks of a window: its limits, its goal, the share of coupons to keep."""

from __future__ import annotations

import re
from collections.abc import Sequence

from weldtrial.analysis.fitted import Passing
from weldtrial.analysis.joint import Limit
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.window import KEEP, Aim
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Goal

_SHARE = re.compile(r"\b(\d+(?:[.,]\d+)?)\s+(?:coupons?\s+)?in\s+(\d+)\b")
_PERCENT = re.compile(r"\b(\d+(?:[.,]\d+)?)\s*(?:%|per cent)")


def limits_of(responses: Sequence[Response]) -> tuple[Limit, ...]:
    """Return the limits (``must_be``) of the responses read in numbers."""
    return tuple(
        Limit(one.name, one.at_least, one.at_most)
        for one in responses
        if one.kind == "number" and (one.at_least is not None or one.at_most is not None)
    )


def passing_of(
    response: Response,
    observations: Sequence[Observation],
    by: str = "",
    levels: Sequence[str] = (),
) -> Passing:
    """Count the passes of a response that passes or fails, by the levels of a category.

    Parameters
    ----------
    by, levels
        The category and its levels; empty for one share of all coupons.

    Raises
    ------
    NotEstimable
        When the response does not pass or fail.
    """
    if response.kind != "pass-fail":
        raise NotEstimable(f"{response.name} is read as {response.kind}, not as passed or failed")
    counts = []
    for level in levels if by else ("",):
        mine = [one for one in observations if not by or one.point[by] == level]
        counts.append((level, (sum(one.value >= 1 for one in mine), len(mine))))
    return Passing(response.name, tuple(counts), by)


def aim_of(goal: Goal) -> Aim:
    """Return what best means."""
    return Aim(goal.best, goal.toward)


def keep_of(text: str) -> float:
    """Return the share in ``every must_be met by at least 8 coupons in 10`` (or ``85 %``).

    8 in 10 where the text is empty.

    Raises
    ------
    NotEstimable
        When the text holds no share between 0 and 1.
    """
    if not text.strip():
        return KEEP
    share = None
    if found := _SHARE.search(text):
        whole = int(found.group(2))
        share = float(found.group(1).replace(",", ".")) / whole if whole else None
    elif found := _PERCENT.search(text):
        share = float(found.group(1).replace(",", ".")) / 100
    if share is None or not 0 < share < 1:
        raise NotEstimable(
            f"keep says '{text}', and no share of coupons above none and below all can be read "
            "from it",
            hint='write  keep = "every must_be met by at least 8 coupons in 10"',
        )
    return share
