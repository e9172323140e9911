"""``[gauge]``: reading it, and what else may stand in the file of a gauge study."""

from __future__ import annotations

from typing import Any

from weldtrial.shared.gauge import Gauge
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.draft import Plain
from weldtrial.shared.trialfile.faults import Faults, as_written

ALLOWED = ("trial", "response", "gauge", "joint")
MOST_COUPONS = 200
_MOST_LETTERS = 24


def is_gauge_file(parsed: Plain) -> bool:
    """Whether a parsed trial file says that it is a gauge study."""
    head = parsed.get("trial")
    return isinstance(head, dict) and head.get("purpose") == "gauge"


def read_gauge(raw: Plain, faults: Faults) -> Gauge | None:
    """Return the gauge study, None where there is none or it cannot be read."""
    coupons = _coupons(raw["coupons"], faults) if "coupons" in raw else None
    readers = _labels(list(raw.get("readers", ())), "gauge.readers", "reader", faults)
    if "readers" in raw and not raw["readers"]:
        faults.wrong("gauge.readers", 'nobody reads. Name them:  readers = ["reader 1"].')
    if coupons is None or not readers or "repeats" not in raw:
        return None
    count, names = coupons
    gauge = Gauge(count, names, readers, raw["repeats"], raw.get("design", "crossed"))
    people = len(readers)
    if gauge.design == "nested" and (count % people or count < 2 * people):
        fits = max(2, -(-count // people)) * people
        faults.wrong(
            "gauge.coupons",
            f"{count} coupons cannot be shared evenly among {people} readers, two or more each. "
            f"Write  coupons = {fits},  or name so many.",
        )
        return None
    return gauge


def check_gauge(trial: Trial, raw: Plain, faults: Faults) -> None:
    """Report what does not belong in the file of a gauge study."""
    if not faults.stands("gauge") and not raw["gauge"]:
        faults.wrong(
            "trial.purpose",
            'a gauge study needs [gauge] with  coupons = 10,  readers = ["reader 1", "reader 2"] '
            " and  repeats = 2.",
        )
    for name, table in raw.items():
        if name not in ALLOWED and table:
            faults.wrong(
                name,
                f"a gauge study reads coupons that are there already: it has no [{name}]. Take it "
                "out.",
            )
    for place, response in enumerate(trial.responses):
        _check_response(response, f"response.{place}", faults)


def check_no_gauge(trial: Trial, raw: Plain, faults: Faults) -> None:
    """Report a ``[gauge]`` in the file of a trial."""
    if raw["gauge"] or trial.gauge is not None:
        faults.wrong(
            "gauge",
            f'[gauge] is for a gauge study, and purpose is "{trial.purpose}". Write  purpose = '
            '"gauge",  or take [gauge] out.',
        )


def _check_response(response: Response, path: str, faults: Faults) -> None:
    if response.kind != "number":
        faults.wrong(
            f"{path}.kind", f"a gauge study needs numbers; {response.name} is {response.kind}."
        )
    if response.worked_out is not None:
        faults.wrong(
            f"{path}.worked_out",
            f"{response.name} is worked out, so nobody reads it. Study what is read.",
        )
    if response.sections > 1:
        faults.wrong(
            f"{path}.sections",
            "repeats under [gauge] says how often a coupon is read. Take sections out.",
        )


def _coupons(value: object, faults: Faults) -> tuple[int, tuple[str, ...]] | None:
    path = "gauge.coupons"
    if isinstance(value, list):
        names = _labels(value, path, "coupon", faults)
        if len(names) != len(value):
            return None
        if not 2 <= len(names) <= MOST_COUPONS:
            faults.wrong(path, f"a gauge study has 2 to {MOST_COUPONS} coupons, ten are usual.")
            return None
        return len(names), names
    if isinstance(value, bool) or not isinstance(value, int) or not 2 <= value <= MOST_COUPONS:
        faults.wrong(
            path,
            f"coupons must be a whole number from 2 to {MOST_COUPONS}, or the names on them in "
            f"quotes; it says {as_written(value)}.",
            value,
        )
        return None
    return value, ()


def _labels(value: list[Any], path: str, what: str, faults: Faults) -> tuple[str, ...]:
    good: list[str] = []
    for place, one in enumerate(value):
        text = one.strip() if isinstance(one, str) else ""
        if not text or len(text) > _MOST_LETTERS or not text.isprintable():
            faults.wrong(
                f"{path}.{place}",
                f"a {what} needs a name in quotes, of 1 to {_MOST_LETTERS} letters; it says "
                f"{as_written(one)}.",
                one,
            )
        elif text.casefold() in (label.casefold() for label in good):
            faults.wrong(f"{path}.{place}", f"{what} {as_written(text)} is named twice.", one)
        else:
            good.append(text)
    return tuple(good) if len(good) == len(value) else ()
