"""Short words that several parts of the report share."""

from __future__ import annotations

from collections.abc import Iterable

from weldtrial.analysis.findings import Findings, ResponseFindings
from weldtrial.shared.cautions import NOT_A_QUALIFICATION
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import brief, give_or_take, plain
from weldtrial.shared.trial import Quantity, Trial

GRADES = {
    "strong": "Strong",
    "fair": "Fair",
    "weak": "Weak",
    "anecdote": "Anecdote",
    "cannot_be_judged": "Cannot be judged yet",
}
WHO_DECIDES = "Local codes and the responsible welding engineer decide what may be welded and used."
ORDINALS = {2: "second", 3: "third", 4: "fourth", 5: "fifth"}


def scope_words(findings: Findings) -> str:
    """Return the scope sentence as it stands behind the heading "Applies to"."""
    words = findings.scope.removeprefix("Applies to ")
    return words.removesuffix(NOT_A_QUALIFICATION).rstrip()


def seal_words(findings: Findings) -> str:
    """Return the state of the seal in words."""
    code = findings.seal
    return {
        "sealed": f"sealed {code}",
        "amended": f"sealed {code}, AMENDED AFTERWARDS",
        "late": f"sealed {code}, LATE: results were already in",
        "none": "NOT SEALED: nothing shows that the plan came first",
    }[findings.seal_state]


def is_invented(trial: Trial) -> bool:
    """Whether the trial says of itself that it is invented."""
    return any("invented" in words.lower() for words in (trial.title, trial.question, trial.owner))


def response_role(found: ResponseFindings) -> str:
    """Return what a response is for: the one that decides, or not what the trial was sized for."""
    if found.rank <= 1:
        return "decides"
    return f"{ORDINALS.get(found.rank, 'further')}; not what this trial was sized for"


def counts_line(trial: Trial, record: Record, findings: Findings) -> str:
    """Return rounds, set-ups, coupons, losses and corrections in one line."""
    rounds = {coupon.round for coupon in record.coupons if coupon.round is not None}
    setups = {coupon.setup for coupon in record.coupons if coupon.setup is not None}
    lost = {coupon.stamp for coupon in record.coupons if coupon.lost}
    aside = {one.stamp for one in findings.set_aside} - lost
    parts = [
        count(len(rounds), "round") if rounds else "",
        count(len(setups), "set-up") if setups else "",
        f"{count(findings.coupons, 'coupon')}, {findings.used} used",
        f"{len(lost)} lost",
        f"{len(aside)} set aside" if aside else "",
        corrections_words(record),
    ]
    return " · ".join(part for part in parts if part)


def corrections_words(record: Record) -> str:
    """Return how many corrections there are, and how many after the codes were opened."""
    after = sum(1 for line in record.corrections if line.codes_open)
    total = count(len(record.corrections), "correction")
    if not record.corrections:
        return total
    return f"{total} ({after} with codes open)" if after else f"{total} (codes closed)"


def count(number: int, noun: str) -> str:
    """Return ``1 coupon`` or ``3 coupons``."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def measured_words(kind: str, unit: str) -> str:
    """Return what stands behind the title of a response: its unit, or what a reading is."""
    return {"pass-fail": "pass or fail", "graded": "graded"}.get(kind, unit)


def margin_words(response: Response) -> str:
    """Return the margin as it was set, or that there is none."""
    if response.kind == "graded":
        return "grades have none"
    if response.margin is None:
        return "none given"
    if response.kind == "pass-fail":
        return f"{plain(100 * response.margin.value)} points"
    if response.margin.percent:
        return f"{plain(100 * response.margin.value)} %"
    return f"{plain(response.margin.value)} {response.unit}"


def quantity(found: Quantity | None) -> str:
    """Return a number with its unit, empty for None."""
    return "" if found is None else f"{brief(found.value)} {found.unit}"


def settings_words(factor: Factor) -> str:
    """Return the levels of a factor with the numbers they stand for."""
    if factor.kind == "category":
        return " · ".join(_with_about(factor, level) for level in factor.levels)
    rows = []
    for owner, numbers in factor.settings.items():
        shown = " / ".join(plain(number) for number in numbers)
        rows.append(f"{owner}: {shown} {factor.unit}" if owner else f"{shown} {factor.unit}")
    return " · ".join(rows) + give_or_take(factor.tolerance)


def joined(parts: Iterable[str], by: str = ", ") -> str:
    """Return the parts that are not empty, joined."""
    return by.join(part for part in parts if part)


def _with_about(factor: Factor, level: str) -> str:
    symbol = factor.about.get(level, {}).get("iso14175", "")
    today = " (today's)" if level == factor.control else ""
    return f"{level} {symbol}".strip() + today
