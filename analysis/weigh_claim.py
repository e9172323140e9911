"""A claim held against intervals: supported, contradicted, or not settled.

The rules are those of `weldtrial.analysis.judge`: that something lies beyond a limit takes the 95 %
interval, that it does not reach it takes the one-sided 95 % limit, the end of the 90 % interval;
and equal within a margin takes both of those (Schuirmann 1987, cited there).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from weldtrial.analysis.evidence import Claim, ClaimVerdict
from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.judge import Bounds, Evidence, judge
from weldtrial.shared.responses import Ask, Better, Margin


@dataclass(frozen=True, slots=True)
class Quantity:
    """A difference or a ratio of new and old, with the ends of its intervals."""

    estimate: float
    bounds: Bounds


@dataclass(frozen=True, slots=True)
class Weighed:
    """What the numbers say about a claim.

    Attributes
    ----------
    claim
        As it was said.
    verdict
        Supported, contradicted or not settled by the numbers at face value.
    scale
        What it was held against: the ratio of new to old or their difference.
    found
        That quantity; None where it could not be worked out.
    low, high
        What the claim allows, on that scale; ends may be infinite.
    margin
        How near counts as the same on that scale; None without one.
    needs
        ``margin`` or ``ratio`` where something is missing to settle it, else empty.
    """

    claim: Claim
    verdict: ClaimVerdict
    scale: Literal["ratio", "difference"]
    found: Quantity | None
    low: float
    high: float
    margin: float | None
    needs: str = ""


def weigh(
    claim: Claim,
    better: Better,
    difference: Quantity,
    ratio: Quantity | None,
    margin: Margin | None,
    level: float | None,
) -> Weighed:
    """Hold a claim against what was found.

    Parameters
    ----------
    better
        Which way is good.
    difference, ratio
        New minus old, and new over old; None where no ratio can be formed.
    margin
        How much would not matter.
    level
        Mean of the old side, to turn percents into units and back; None where nobody says.
    """
    if claim.kind == "at-most" and claim.value is None and margin is not None:
        claim = replace(claim, value=margin.value, percent=margin.percent)
    if claim.kind == "no-difference" and margin is not None and margin.percent and ratio:
        claim = replace(claim, percent=True)
    scale: Literal["ratio", "difference"] = "ratio" if claim.is_ratio else "difference"
    low, high = claim.span(better)
    found = ratio if scale == "ratio" else difference
    near = _near(margin, scale, level)
    if found is None:
        return Weighed(claim, "not-settled", scale, None, low, high, near, "ratio")
    if claim.kind == "at-most" and claim.value is None:
        return Weighed(claim, "not-settled", scale, found, low, high, near, "margin")
    if claim.kind in ("at-least", "at-most"):
        return Weighed(claim, _one_way(claim, found, low, high), scale, found, low, high, near)
    verdict = _point(found.bounds, low, near, alike=claim.kind == "no-difference")
    needs = "margin" if margin is None and verdict == "not-settled" else ""
    return Weighed(claim, verdict, scale, found, low, high, near, needs)


def _one_way(claim: Claim, found: Quantity, low: float, high: float) -> ClaimVerdict:
    """Judge a claim that the truth lies on one side of a place."""
    ends = found.bounds
    beyond = claim.kind == "at-least"
    inside = (ends.low95, ends.high95) if beyond else (ends.low90, ends.high90)
    outside = (ends.low90, ends.high90) if beyond else (ends.low95, ends.high95)
    if inside[0] > low and inside[1] < high:
        return "supported"
    if outside[1] < low or outside[0] > high:
        return "contradicted"
    return "not-settled"


def _point(ends: Bounds, place: float, near: float | None, *, alike: bool) -> ClaimVerdict:
    """Judge a claim of one value; "alike" within the margin stands though a gap is shown."""
    within = near is not None and ends.low90 > place - near and ends.high90 < place + near
    outside = not ends.low95 <= place <= ends.high95
    if within and (alike or not outside):
        return "supported"
    return "contradicted" if outside else "not-settled"


def _near(margin: Margin | None, scale: str, level: float | None) -> float | None:
    """Return the margin on a scale, a share of the old mean for a ratio."""
    if margin is None:
        return None
    if (scale == "ratio") == margin.percent:
        return margin.value
    if level is None or level == 0:
        return None
    return margin.value / abs(level) if scale == "ratio" else margin.value * abs(level)


def numbers_code(
    difference: Quantity,
    ratio: Quantity | None,
    margin: Margin | None,
    better: Better,
    ask: Ask,
    level: float | None,
) -> VerdictCode:
    """Return the verdict code of the numbers at face value, by the rules of `judge`.

    A margin in percent is judged on the ratio where there is one, so that the verdict never
    parts with the interval beside it.
    """
    on_ratio = margin is not None and margin.percent and ratio is not None
    if on_ratio and ratio is not None:
        change, near = ratio.bounds.shifted(-1.0), _near(margin, "ratio", level)
    else:
        change, near = difference.bounds, _near(margin, "difference", level)
    if better == "lower":
        change = change.flipped()
    return judge(Evidence.of(change, near), ask)


def hidden_bias(
    found: Quantity, code: VerdictCode, near: float | None, better: Better
) -> float | None:
    """Return the smallest hidden bias that would overturn a verdict, in the unit of `found`.

    A bias (a warmer plate, a kinder reader) shifts all of one side; the interval is taken to move
    with it unchanged.

    Parameters
    ----------
    near
        The margin in that unit, None without one.

    Returns
    -------
    float or None
        None where there is nothing to overturn.
    """
    ends = found.bounds if better == "higher" else found.bounds.flipped()
    gap = max(ends.low95, -ends.high95)
    if code == "not_settled" or code not in _OVERTURNED:
        return None
    margin = near or 0.0
    if code in ("worse_beyond_margin", "better_beyond_margin"):
        return gap - margin
    if code == "worse_within_margin":
        return min(gap, ends.low90 + margin)
    if code == "better_within_margin":
        return min(gap, margin - ends.high90)
    if code == "not_worse":
        return ends.low90 + margin
    if code == "equivalent":
        return min(ends.low90 + margin, margin - ends.high90)
    return gap


_OVERTURNED: tuple[VerdictCode, ...] = (
    "worse_beyond_margin", "worse_within_margin", "worse_margin_unsettled",
    "better_beyond_margin", "better_within_margin", "better_margin_unsettled",
    "difference_shown", "not_worse", "equivalent",
)  # fmt: skip
