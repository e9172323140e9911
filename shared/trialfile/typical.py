"""What to expect of a response: means and scatter, the share that passes, shares of grades."""

from __future__ import annotations

from typing import Any

from weldtrial.shared.responses import Foreseen, Typical
from weldtrial.shared.trialfile.faults import as_number, as_written
from weldtrial.shared.trialfile.response_draft import ResponseDraft, gauge_limit_before, share_of

_SCATTERS = ("sd_coupon", "sd_setup", "sd_reading")
_NUMBERS = ("mean", *_SCATTERS, "pilot_coupons", "pilot_set_ups", "from")
_OF = {
    "number": _NUMBERS,
    "pass-fail": ("passing", "alike", "from"),
    "graded": ("shares", "alike", "worse_odds", "from"),
}
_NEEDED = {
    "number": {
        "mean": "mean of coupons.",
        "sd_coupon": "standard deviation between coupons of one set-up.",
    },
    "pass-fail": {"passing": "the share of today's coupons that pass."},
    "graded": {"shares": "the share of today's coupons in each grade, in the order of scale."},
}
_FOR = {
    "number": "numbers",
    "pass-fail": "coupons that pass or fail",
    "graded": "graded coupons",
    "": "coupons that pass or fail, or are graded",
}
_IS = {"number": "a number", "pass-fail": "pass-fail", "graded": "graded"}
EXAMPLES = {
    "number": 'typical = { mean = 80, sd_coupon = 4, sd_setup = 2, from = "…" }',
    "pass-fail": 'typical = { passing = "90 %", alike = 0.2, from = "…" }',
    "graded": 'typical = { shares = ["10 %", "30 %", "60 %"], alike = 0.2, from = "…" }',
}
"""How to write it for each kind."""
_OFF = 0.005
"""How far shares may miss 1 by rounding."""


def _kind_of(key: str) -> str:
    if key == "alike":
        return ""
    return next(kind for kind, keys in _OF.items() if key in keys)


def read_foreseen(draft: ResponseDraft) -> Foreseen | None:
    """Return what to expect of passes or grades, None for numbers or where it cannot be used."""
    raw = draft.raw.get("typical")
    if raw is None or draft.kind == "number":
        return None
    key = "passing" if draft.kind == "pass-fail" else "shares"
    if key not in raw:
        return None
    shares = _passing(draft, raw[key]) if key == "passing" else _grades(draft, raw[key])
    if shares is None:
        return None
    return Foreseen(
        shares, raw.get("alike", 0.0), raw.get("from", ""), float(raw.get("worse_odds", 3.0))
    )


def _part(value: Any) -> float | None:
    """Return a share from 0 to 1, None for anything else."""
    number, percent = share_of(value)
    if number is None:
        return None
    part = number / 100 if percent else float(number)
    return part if 0 <= part <= 1 else None


def _passing(draft: ResponseDraft, value: Any) -> tuple[float, float] | None:
    part = _part(value)
    if part is None or not 0 < part < 1:
        what = "" if part is None else " Where all (or none) are expected, say how few at least."
        draft.wrong(
            "typical.passing",
            f"passing of response '{draft.name}' must be a share above 0 and below 1, or in "
            f'percent such as "90 %"; it says {as_written(value)}.{what}',
            value,
        )
        return None
    return 1 - part, part


def _grades(draft: ResponseDraft, value: Any) -> tuple[float, ...] | None:
    scale = draft.raw.get("scale", ())
    what = f"shares of response '{draft.name}'"
    parts = [_part(one) for one in value] if isinstance(value, list) else []
    good = [one for one in parts if one is not None]
    if not parts or len(good) < len(parts):
        draft.wrong(
            "typical.shares",
            f'{what} must be a list of shares from 0 to 1, or in percent such as ["10 %", "30 %", '
            f'"60 %"]; it says {as_written(value)}.',
            value,
        )
        return None
    if len(scale) >= 3 and len(good) != len(scale):
        draft.wrong(
            "typical.shares",
            f"{what} has {len(good)} shares and its scale {len(scale)} grades. Give one for each, "
            f"in the order of scale ({scale[0]} first); 0 for a grade that never comes.",
            value,
        )
        return None
    total = sum(good)
    if abs(total - 1) > _OFF:
        draft.wrong(
            "typical.shares",
            f"{what} must add to 1 (to 100 %); they add to {as_number(round(total, 4))}. Every "
            "coupon has one grade.",
            value,
        )
        return None
    if max(good) >= 1:
        draft.wrong(
            "typical.shares",
            f"{what} puts every coupon in one grade: then nothing can be told apart. Say what else "
            "comes, however seldom.",
            value,
        )
        return None
    return tuple(one / total for one in good)


def read_typical(draft: ResponseDraft) -> Typical | None:
    """Return what to expect of numbers, None for other kinds or where it cannot be used."""
    raw = draft.raw.get("typical")
    if raw is None:
        return None
    wrong_kind = [key for key in raw if key not in _OF[draft.kind]]
    for key in wrong_kind:
        draft.wrong(
            f"typical.{key}",
            f"{key} of response '{draft.name}' is for {_FOR[_kind_of(key)]}, and it is "
            f"{_IS[draft.kind]}. For those write  {EXAMPLES[draft.kind]}",
        )
    for key, meaning in _NEEDED[draft.kind].items():
        if not wrong_kind and not draft.faults.stands(f"{draft.path}.typical.{key}"):
            draft.wrong("typical", f"typical of a response needs {key}: {meaning}")
    if draft.kind != "number" or not {"mean", "sd_coupon"} <= set(raw):
        return None
    mean = raw["mean"]
    limit = gauge_limit_before(mean, draft.raw)
    if limit is not None:
        draft.faults.warn(
            f"{draft.path}.typical",
            f"the typical {draft.name} of {as_number(mean)} {draft.unit} lies beyond the gauge "
            f"limit {as_number(limit)}: most coupons will only show where the gauge stops.",
        )
    scatter = {key: _scatter(draft, key, raw[key], mean) for key in _SCATTERS if key in raw}
    coupon = scatter["sd_coupon"]
    if coupon is None or None in scatter.values():
        return None
    return Typical(
        mean,
        coupon,
        scatter.get("sd_setup") or 0.0,
        raw.get("from", ""),
        scatter.get("sd_reading") or 0.0,
        raw.get("pilot_coupons"),
        raw.get("pilot_set_ups"),
    )


def _scatter(draft: ResponseDraft, key: str, value: Any, mean: float) -> float | None:
    """Return a standard deviation in the response's unit, None (and said) where it is none."""
    number, percent = share_of(value)
    what = f"{key} of response '{draft.name}'"
    if number is None:
        draft.wrong(
            f"typical.{key}",
            f'{what} must be a number in {draft.unit}, or a share of the mean such as "5 %"; it '
            f"says {as_written(value)}.",
            value,
        )
        return None
    least = "more than 0" if key == "sd_coupon" else "at least 0"
    if number < 0 or (key == "sd_coupon" and number == 0):
        draft.wrong(
            f"typical.{key}", f"{what} must be {least}; it says {as_written(value)}.", value
        )
        return None
    if percent and mean == 0:
        draft.wrong(
            f"typical.{key}",
            f"{what} says {as_written(value)}, but the mean is 0 and has no share. Give it in "
            f"{draft.unit}.",
            value,
        )
        return None
    return abs(mean) * number / 100 if percent else float(number)
