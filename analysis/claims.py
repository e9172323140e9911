"""Someone else's claim, held against the interval this trial found."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.analysis.findings import ClaimFinding, Comparison
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import decimals_for, fixed, spaced
from weldtrial.shared.trial import Claim

CONTRADICTED = "Contradicts the claim of {value}: found {found}, {low} to {high} on this bench."
OPEN = (
    "Does not contradict the claim of {value}, nor confirm it: {found}, could be {low} to {high}."
)


def weigh_claims(
    claims: Sequence[Claim], response: Response, comparison: Comparison
) -> tuple[ClaimFinding, ...]:
    """Hold every claim about this response and this pair of levels against the 95 % interval."""
    found = []
    if comparison.verdict.code is None:  # a pilot gives no verdict on a claim either
        return ()
    for claim in claims:
        pair = (claim.level, claim.reference)
        if claim.response != response.name or set(pair) != {comparison.level, comparison.reference}:
            continue
        interval = _interval(claim, comparison, turned=pair[0] != comparison.level)
        if interval is not None:
            found.append(_weigh(claim, response, *interval))
    return tuple(found)


def _interval(
    claim: Claim, comparison: Comparison, *, turned: bool
) -> tuple[float, float, float] | None:
    """Return estimate, low and high of the claimed quantity, turned round where need be."""
    if claim.ratio:
        ends = (comparison.ratio, comparison.ratio_low, comparison.ratio_high)
        if ends[0] is None or ends[1] is None or ends[2] is None or ends[1] <= 0:
            return None
        return (1 / ends[0], 1 / ends[2], 1 / ends[1]) if turned else (ends[0], ends[1], ends[2])
    low, high, middle = comparison.ci_low, comparison.ci_high, comparison.difference
    if low is None or high is None or middle is None:
        return None
    return (-middle, -high, -low) if turned else (middle, low, high)


def _weigh(
    claim: Claim, response: Response, estimate: float, low: float, high: float
) -> ClaimFinding:
    places = _places(claim.value, low, high)
    unit = "" if claim.ratio else spaced(response.unit)
    contradicted = not low <= claim.value <= high
    words = (CONTRADICTED if contradicted else OPEN).format(
        value=f"{claim.value:g}{unit}",
        found=fixed(estimate, places) + unit,
        low=fixed(low, places),
        high=fixed(high, places) + unit,
    )
    return ClaimFinding(
        claim.says, claim.source, claim.value, estimate, low, high, contradicted, words
    )


def _places(value: float, low: float, high: float) -> int:
    """Return decimals enough to see on which side of each end of the interval a claim lies."""
    places = decimals_for((high - low) / 2)
    while places < 9 and any(
        (round(end, places) > value) != (end > value)
        or (round(end, places) < value) != (end < value)
        for end in (low, high)
    ):
        places += 1
    return places
