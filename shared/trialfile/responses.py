"""The responses of a trial file: units, margins, gauge limits and what they must fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from weldtrial.shared.responses import Margin, Response
from weldtrial.shared.trialfile.draft import Plain
from weldtrial.shared.trialfile.faults import Faults, as_number, as_written
from weldtrial.shared.trialfile.hints import usual_unit
from weldtrial.shared.trialfile.response_draft import ResponseDraft, gauge_limit_before, share_of
from weldtrial.shared.trialfile.typical import read_foreseen, read_typical
from weldtrial.shared.trialfile.worked_out import read_worked_out

_NUMBERS_ONLY = ("stops", "reads_to", "most", "least", "must_be")


def read_responses(
    raws: Sequence[Plain], purpose: str, system: str, faults: Faults
) -> tuple[Response, ...]:
    """Return the responses that can be used, in the order of the file.

    Parameters
    ----------
    raws
        One dict of good settings for each ``[[response]]``, as `check_shape` returns them.
    purpose
        Of the trial; a pilot needs no margin.
    system
        ``metric`` or ``us``, for suggestions.
    faults
        Gathers what is wrong.
    """
    drafts = [
        ResponseDraft(raw, f"response.{place}", purpose, system, faults)
        for place, raw in enumerate(raws)
    ]
    read = [_response(draft) for draft in drafts]
    lowest = min((raw.get("rank", 1) for raw in raws), default=1)
    decides = next((one for one in drafts if one.raw.get("rank", 1) == lowest), None)
    _one_decides(drafts, lowest)
    for draft, response in zip(drafts, read, strict=True):
        if response is not None and response.margin is not None:
            _margin_why(draft, decides=draft is decides)
    return tuple(response for response in read if response is not None)


def _one_decides(drafts: Sequence[ResponseDraft], lowest: int) -> None:
    """Refuse two deciding responses: each would have its own chance of a false answer."""
    lead = [one for one in drafts if one.raw.get("rank", 1) == lowest]
    for other in lead[1:]:
        if other.purpose == "compare":
            unsaid = "" if "rank" in other.raw else " where nothing is said"
            other.wrong(
                "rank",
                f"response {other.name} has rank {lowest}{unsaid}, and so has {lead[0].name}: one "
                f"response decides, the others are looked at beside it. Give {other.name}  "
                f"rank = {lowest + 1}",
            )


def _response(draft: ResponseDraft) -> Response | None:
    raw = draft.raw
    _kind(draft)
    margin = _margin(draft)
    _ask(draft)
    typical, foreseen = read_typical(draft), read_foreseen(draft)
    _limits(draft)
    must_be = raw.get("must_be", {})
    if "name" not in raw:
        return None
    return Response(
        name=draft.name,
        unit=raw.get("unit", "1"),
        label=raw.get("label", ""),
        kind=raw.get("kind", "number"),
        better=raw.get("better", "higher"),
        rank=raw.get("rank", 1),
        reads_to=raw.get("reads_to"),
        most=raw.get("most"),
        least=raw.get("least"),
        margin=margin,
        margin_why=raw.get("margin_why", ""),
        ask=raw.get("ask", "difference"),
        at_least=must_be.get("at_least"),
        at_most=must_be.get("at_most"),
        typical=typical,
        sections=raw.get("sections", 1),
        where=raw.get("where", ()),
        crack_rule=raw.get("crack_rule", ""),
        scale=raw.get("scale", ()),
        stops=raw.get("stops"),
        worked_out=read_worked_out(raw, draft.path, draft.faults),
        foreseen=foreseen,
    )


def _kind(draft: ResponseDraft) -> None:
    raw, kind = draft.raw, draft.kind
    if kind == "number":
        if "unit" not in raw and not draft.faults.stands(f"{draft.path}.unit"):
            usual = usual_unit(draft.name, draft.system)
            hint = f'Add  unit = "{usual}".' if usual else 'Add it, or  unit = "1"  for none.'
            draft.wrong("name", f"response '{draft.name}' has no unit. {hint}")
        if "scale" in raw:
            draft.wrong(
                "scale",
                f"response '{draft.name}' has a scale, but its readings are numbers. Add  "
                'kind = "graded", or take the scale out.',
            )
        return
    for key in _NUMBERS_ONLY:
        if key in raw:
            draft.wrong(
                key,
                f"response '{draft.name}' is {kind}, so it has no {key}: that is for numbers. "
                f"Take it out, or change kind.",
            )
    if kind == "graded" and len(raw.get("scale", ())) < 3:
        draft.wrong(
            "scale",
            f"response '{draft.name}' is graded and needs a scale of three grades or more, worst "
            'first:  scale = ["bad", "fair", "good"].',
        )
    if kind == "graded" and raw.get("better", "higher") == "lower":
        draft.wrong(
            "better",
            f"response '{draft.name}' is graded and its scale goes from the worst grade to the "
            'best, so better = "lower" says nothing more. Take it out, and turn the scale if need '
            "be.",
            "lower",
        )
    if kind == "pass-fail" and "scale" in raw:
        draft.wrong("scale", f"response '{draft.name}' is pass-fail: it has no scale.")


def _margin(draft: ResponseDraft) -> Margin | None:
    value = draft.raw.get("margin")
    if value is None:
        return None
    margin = _as_margin(draft, value)
    if margin is None:
        return None
    if draft.kind == "graded":
        draft.wrong("margin", f"response '{draft.name}' is graded: it has no margin. Take it out.")
        return None
    if draft.kind == "pass-fail" and not margin.percent:
        draft.wrong(
            "margin",
            f"the margin of pass-fail response '{draft.name}' is in points of the share that "
            'passes: write it like  margin = "10 %".',
            value,
        )
        return None
    _gauge_step(draft, margin)
    _stops(draft, margin)
    if margin.percent and draft.raw.get("unit") == "%" and draft.kind == "number":
        draft.faults.warn(
            f"{draft.path}.margin",
            f"response '{draft.name}' is itself in %. Its margin {as_written(value)} is read as a "
            "share of the reference mean; for points of per cent write the number alone.",
            value,
        )
    return margin


def _as_margin(draft: ResponseDraft, value: Any) -> Margin | None:
    number, percent = share_of(value)
    what = f"margin of response '{draft.name}'"
    if number is None:
        draft.wrong(
            "margin",
            f'{what} must be a number in {draft.unit}, or a share such as "6 %"; it says '
            f"{as_written(value)}.",
            value,
        )
        return None
    if number <= 0 or (percent and number >= 100):
        draft.wrong(
            "margin",
            f"{what} must be more than 0{' and less than 100 %' if percent else ''}; it says "
            f"{as_written(value)}. It is how large a change must be to matter, whichever way.",
            value,
        )
        return None
    return Margin(number / 100, percent=True) if percent else Margin(float(number))


def _stops(draft: ResponseDraft, margin: Margin) -> None:
    stops = draft.raw.get("stops")
    mean = draft.raw.get("typical", {}).get("mean")
    if stops is None or (margin.percent and mean is None):
        return
    size = margin.in_units(mean or 0.0)
    if stops > size:
        draft.faults.warn(
            f"{draft.path}.stops",
            f"the stops of response '{draft.name}' are {as_number(stops)} {draft.unit} apart, "
            f"more than its margin, {as_number(size)} {draft.unit}: a failure seen only between "
            "two stops says little about a change that small. Look at more stops, or read on.",
        )


def _gauge_step(draft: ResponseDraft, margin: Margin) -> None:
    step = draft.raw.get("reads_to")
    mean = draft.raw.get("typical", {}).get("mean")
    if step is None or (margin.percent and mean is None):
        return
    size = margin.in_units(mean or 0.0)
    if size < step * (1 - 1e-9):
        share = ""
        if margin.percent:
            share = f" ({as_written(draft.raw['margin'])} of {as_number(mean)})"
        draft.wrong(
            "margin",
            f"Margin {as_number(size)} {draft.unit}{share} is smaller "
            f"than one step of the gauge ({as_number(step)} {draft.unit}). No number of coupons "
            "can see that. Raise the margin or use a finer gauge.",
        )


def _ask(draft: ResponseDraft) -> None:
    ask = draft.raw.get("ask", "difference")
    written = draft.faults.stands(f"{draft.path}.margin")
    if ask == "difference" or written or draft.purpose in ("pilot", "gauge"):
        return
    if draft.kind == "graded":
        draft.wrong(
            "ask", f'response \'{draft.name}\' is graded: ask = "{ask}" needs a margin, which '
            'grades have not. Write  ask = "difference".',
        )  # fmt: skip
        return
    lower = draft.raw.get("better") == "lower"
    change = "difference" if ask == "equal-enough" else "rise" if lower else "loss"
    unit = "points of per cent" if draft.kind == "pass-fail" else draft.unit
    draft.wrong(
        "ask",
        f'response {draft.name} asks "{ask}" but has no margin. What {change}, in {unit}, would '
        'you not care about? Without it the tool can only say "different" or "not settled", never '
        '"good enough".',
    )


def _margin_why(draft: ResponseDraft, *, decides: bool) -> None:
    raw = draft.raw
    said = raw.get("margin_why", "" if decides else "-").strip()
    if not said and draft.purpose not in ("pilot", "gauge"):
        draft.faults.warn(
            f"{draft.path}.margin",
            f"response {draft.name} has a margin but does not say why that one. Add  margin_why = "
            '"...": it is the first thing a reader of the report asks.',
        )


def _limits(draft: ResponseDraft) -> None:
    raw, unit = draft.raw, draft.unit
    most, least = raw.get("most"), raw.get("least")
    must_be = raw.get("must_be", {})
    at_least, at_most = must_be.get("at_least"), must_be.get("at_most")
    if most is not None and least is not None and least >= most:
        draft.wrong(
            "least",
            f"least {as_number(least)} {unit} of response '{draft.name}' is not below most "
            f"{as_number(most)} {unit}. They are the two ends of the gauge.",
        )
        return
    if at_least is not None and at_most is not None and at_least >= at_most:
        draft.wrong(
            "must_be",
            f"must_be of response '{draft.name}' leaves nothing: at_least {as_number(at_least)} is "
            f"not below at_most {as_number(at_most)}. Change one of them.",
        )
    inside = f"{draft.path}.must_be."
    if "must_be" in raw and not any(line.startswith(inside) for line in draft.faults.lines):
        draft.wrong("must_be", "must_be is empty. Give at_least, at_most or both.")
    for name, bound in (("at_least", at_least), ("at_most", at_most)):
        limit = None if bound is None else gauge_limit_before(bound, raw)
        if limit is not None:
            draft.wrong(
                f"must_be.{name}",
                f"{name} {as_number(bound)} {unit} lies beyond the gauge limit {as_number(limit)} "
                f"{unit}, so no reading of '{draft.name}' can show it. Change one of them.",
            )
