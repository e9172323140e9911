"""One way of looking at a response: a check, and the answer that goes with it where it failed."""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.analysis.findings import Alternative, Check


@dataclass(frozen=True, slots=True)
class View:
    """A check and, where it failed, the answer that takes the failure into account.

    Attributes
    ----------
    decides
        Whether a different answer makes the verdict depend on it.
    what
        The thing the answer would depend on, in words.
    """

    check: Check
    alternative: Alternative | None = None
    decides: bool = True
    what: str = ""
