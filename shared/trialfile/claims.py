"""Claims: someone else's statement, and which two levels it compares."""

from __future__ import annotations

import re
from collections.abc import Sequence

from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import nearest
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Claim
from weldtrial.shared.trialfile.draft import Plain
from weldtrial.shared.trialfile.faults import Faults, as_number, as_written, shortened

_COMPARE = re.compile(r"\s*(\S(?:.*\S)?)\s*(/|\s-\s)\s*(\S(?:.*\S)?)\s*")


def read_claims(
    raws: Sequence[Plain],
    factors: Sequence[Factor],
    responses: Sequence[Response],
    faults: Faults,
    *,
    complete: bool,
) -> tuple[Claim, ...]:
    """Return the claims that can be used.

    Parameters
    ----------
    raws
        One dict of good settings for each ``[[claim]]``.
    factors, responses
        Those that could be read.
    faults
        Gathers what is wrong.
    complete
        Whether every factor and response could be read: only then is an unknown name the
        claim's own fault.
    """
    claims = []
    for place, raw in enumerate(raws):
        path = f"claim.{place}"
        response = next((one for one in responses if one.name == raw.get("response")), None)
        if response is None and "response" in raw and complete:
            _no_response(raw["response"], responses, f"{path}.response", faults)
        pair = _pair(raw, path, faults)
        if pair is not None and complete:
            pair = pair if _levels_known(pair, factors, path, faults) else None
        if pair is None or not {"says", "response", "value"} <= set(raw):
            continue
        level, reference, ratio = pair
        if ratio and raw["value"] <= 0:
            faults.wrong(f"{path}.value", "a claimed ratio must be more than 0.", raw["value"])
        elif ratio and raw["value"] > 10:
            faults.warn(
                f"{path}.value",
                f"the claim's ratio is {as_number(raw['value'])}; a ratio of 97 % is written 0.97.",
            )
        claims.append(
            Claim(
                raw["says"],
                raw["response"],
                level,
                reference,
                float(raw["value"]),
                ratio,
                raw.get("source", ""),
            )
        )
    return tuple(claims)


def _no_response(name: str, responses: Sequence[Response], path: str, faults: Faults) -> None:
    known = [response.name for response in responses]
    close = nearest(name, known)
    hint = f"Did you mean '{close}'?" if close else f"The responses are {', '.join(known)}."
    faults.wrong(path, f"the claim is about '{name}', which is not a response. {hint}", name)


def _pair(raw: Plain, path: str, faults: Faults) -> tuple[str, str, bool] | None:
    text = raw.get("compare")
    if text is None:
        return None
    found = _COMPARE.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        faults.wrong(
            f"{path}.compare",
            'compare must be "LEVEL / REFERENCE" for a ratio or "LEVEL - REFERENCE" for a '
            f"difference; it says {as_written(text)}.",
            text,
        )
        return None
    return found[1], found[3], found[2] == "/"


def _levels_known(
    pair: tuple[str, str, bool], factors: Sequence[Factor], path: str, faults: Faults
) -> bool:
    level, reference, _ = pair
    categories = [factor for factor in factors if factor.kind == "category"]
    if level == reference:
        faults.wrong(f"{path}.compare", f"the claim compares '{level}' with itself.")
        return False
    if any(level in factor.levels and reference in factor.levels for factor in categories):
        return True
    known = [one for factor in categories for one in factor.levels]
    for one in (level, reference):
        if one not in known:
            close = nearest(one, known)
            hint = f"Did you mean '{close}'?" if close else f"The levels are {', '.join(known)}."
            faults.wrong(
                f"{path}.compare",
                f"the claim compares '{shortened(one)}', which is not a level. {hint}",
                one,
            )
            return False
    faults.wrong(
        f"{path}.compare",
        f"'{level}' and '{reference}' are levels of different factors. Compare two of one factor.",
    )
    return False
