"""Coupons that confirm a setting, held against what was predicted: the records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from weldtrial.shared.follows import Predicted

Met = Literal["met", "missed", "unfinished", "cannot_tell", "no_prediction"]


@dataclass(frozen=True, slots=True)
class ConfirmedResponse:
    """One response of the coupons that confirm.

    Attributes
    ----------
    n
        Coupons read.
    mean, sd
        Of those, response unit; None where it is not read in numbers or too few are.
    predicted
        As sealed; None where nothing was said of it.
    inside
        Coupons that lie, or may lie, in the interval for one coupon; None without one.
    mean_inside
        Whether the mean lies in its interval; None without one, or before all are read.
    failed
        Coupons that failed its limits; None where it has none.
    past_limit
        Coupons whose reading is no single number (past a gauge limit, or between two stops); the
        mean then takes what was read.
    """

    name: str
    title: str
    unit: str
    n: int
    mean: float | None
    sd: float | None
    predicted: Predicted | None
    inside: int | None
    mean_inside: bool | None
    failed: int | None
    past_limit: int = 0


@dataclass(frozen=True, slots=True)
class Confirmation:
    """The coupons that confirm, held against the sealed prediction.

    Attributes
    ----------
    state
        ``met`` or ``missed`` by the rule as soon as nothing unread can change it;
        ``unfinished`` while it can; ``cannot_tell`` when lost or undecided coupons leave it open;
        ``no_prediction`` when none was sealed.
    rule
        ``passes`` (at least so many pass every limit) or ``means`` (each mean lies in its
        interval).
    at
        The setting, empty while the codes are closed.
    coupons, passed, failed
        Planned; passed every limit; failed at least one.
    unread, lost
        Coupons not decided because not read yet; because lost, or their reading tells neither.
    at_least, share
        The sealed rule, and the share it follows from.
    low, high
        Exact 95 % interval of the share that passes, from `passed` and `failed`.
    chance_if_true
        How often the rule is missed although the claimed share is true, coupons of one set-up as
        alike as the earlier results have it; None without a rule.
    weakest
        The response in which most failed; empty where none did.
    expected_weakest
        The limit least likely to be met, as sealed.
    tag, head, lines
        The same in words; see `weldtrial.analysis.confirmed_words`.
    setups
        Fresh set-ups welded for it; 0 where coupons are the units.
    late
        Whether the prediction was sealed after coupons were welded or read: then met is no
        confirmation.
    """

    state: Met
    rule: Literal["passes", "means"]
    at: Mapping[str, str | float]
    coupons: int
    passed: int
    failed: int
    unread: int
    lost: int
    at_least: int | None
    share: float | None
    low: float | None
    high: float | None
    chance_if_true: float | None
    weakest: str
    expected_weakest: str
    setups: int
    responses: tuple[ConfirmedResponse, ...]
    late: bool = False
    tag: str = ""
    head: str = ""
    lines: tuple[str, ...] = ()

    @property
    def confirmed(self) -> bool:
        """Whether a prediction that was sealed first was met."""
        return self.state == "met" and not self.late
