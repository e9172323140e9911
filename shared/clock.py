"""The time as the trial's files write it."""

from __future__ import annotations

from datetime import datetime


def now_text() -> str:
    """Return the local time with its offset from UTC: ``2026-06-11T18:42:07+02:00``."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def spoken_time(text: str) -> str:
    """Return a written time as people read it: ``2026-06-11 18:42 +02:00``."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    offset = moment.strftime("%z")
    return f"{moment:%Y-%m-%d %H:%M}" + (f" {offset[:3]}:{offset[3:5]}" if offset else "")
