"""The settings of ``[follows]``: a trial that adds coupons to an earlier one."""

from __future__ import annotations

from weldtrial.shared.setting import Key, Section

FOLLOWS_SECTION = Section(
    "follows",
    "what the trial follows",
    "The earlier trial whose coupons this one keeps and adds a block to; weldtrial next writes it.",
    (
        Key("folder", "text", "Where the copy of the earlier trial lies, inside this folder.",
            default="earlier"),
        Key("seal", "text", "Seal of the earlier trial, 64 hexadecimal digits.", required=True),
        Key("adds", "choice", "What is welded now: the earlier coupons with signs turned, star "
            "points, more of the same, coupons that tell the terms of [design] apart, or coupons "
            "that confirm one setting.", required=True,
            choices=("fold-over", "star", "more", "separate", "confirm")),
        Key("turn", "text", "The one factor whose sign a fold-over turns; without it, all that "
            "are easy to change."),
        Key("at", "special", "The setting that is confirmed.",
            form='{ gas = "co2", voltage = 28.5 }'),
    ),
)  # fmt: skip
