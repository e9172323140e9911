"""A look as plain values, for ``analyse --json`` and ``check --json``."""

from __future__ import annotations

from typing import Any

from weldtrial.shared.look_state import Look


def look_json(look: Look) -> dict[str, Any]:
    """Return a look in the documented form; without planned looks most of it is null."""
    return {
        "state": look.state,
        "final": look.final,
        "number": look.number,
        "of": len(look.ends) or None,
        "after": look.uses,
        "planned_after": list(look.ends),
        "rounds_read": list(look.read),
        "unread": look.unread,
        "coupons": look.counting,
        "not_used": look.later,
        "sized": look.sized,
        "next_after": look.following,
    }
