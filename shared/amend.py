"""What may be amended after sealing, and what would be another trial."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.shared.differences import Change

FIXED_TABLES = {
    "format": "the format of the file",
    "factor": "what is changed on purpose",
    "design": "the design",
    "order": "the order",
    "blind": "the blinding",
    "limit_on_settings": "the settings allowed",
    "follows": "what the trial follows",
}
FIXED_OF_RESPONSE = {
    "name": "the name of a response",
    "unit": "the unit of a response",
    "kind": "what a reading is",
    "scale": "what a reading is",
}
FIXED_OF_TRIAL = {"purpose": "the purpose"}


def fixed_by_seal(change: Change) -> str | None:
    """Return what a change would alter that the seal fixes for good, in words, or None.

    Wishes, margins, words, tolerances and the budget may be amended; factors, design, order,
    blinding and what a response *is* may not: readings taken for one question cannot answer
    another.
    """
    parts = change.path.split(".")
    if parts[0] == "factor" and parts[2:] == ["tolerance"]:
        # As of a held setting: how well it is held moves no coupon.
        return None
    if parts[0] in FIXED_TABLES:
        return FIXED_TABLES[parts[0]]
    if parts[0] == "response":
        if len(parts) <= 2:
            return "which responses there are"
        return FIXED_OF_RESPONSE.get(parts[2])
    if parts[0] == "trial" and len(parts) > 1:
        return FIXED_OF_TRIAL.get(parts[1])
    return None


def not_amendable(changes: Sequence[Change]) -> tuple[tuple[Change, str], ...]:
    """Return the changes that need a new trial, each with what it would alter."""
    found = [(change, fixed_by_seal(change)) for change in changes]
    return tuple((change, words) for change, words in found if words is not None)
