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
        Key("predicted", "special", "What the coupons that confirm should read, by response: mean "
            "and 95 % interval (low, high) of the next coupon, interval for the mean of all of "
            "them (mean_low, mean_high), chance of meeting its limits. Worked out from the earlier "
            "results when the folder is made.",
            form="a table of { mean, low, high, mean_low, mean_high, chance } by response"),
        Key("at_least", "whole", "The rule: so many coupons must pass every limit.", low=1),
        Key("of", "whole", "Out of so many coupons.", low=1),
        Key("share", "number", "Share of coupons claimed to pass every limit; the rule follows "
            "from it.", above=0, high=1),
        Key("together", "number", "Chance that a coupon passes every limit, as the earlier "
            "results have it.", low=0, high=1),
        Key("alike", "number", "How alike coupons of one set-up are in passing.", default=0.0,
            low=0, high=1),
        Key("beyond", "yes-no", "Whether the setting lies beyond what was welded, and was asked "
            "for all the same.", default=False),
    ),
)  # fmt: skip
