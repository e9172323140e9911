"""What to expect of a response, for planning only, as the schema declares it.

Numbers have a mean and their scatter, coupons that pass or fail a share, graded ones a share of
each grade.  Which of them belongs to which kind is checked in
`weldtrial.shared.trialfile.typical`.
"""

from __future__ import annotations

from weldtrial.shared.setting import Key

_SCATTER = 'a number in the response\'s unit, {}, or a share of the mean such as "5 %"'

TYPICAL = Key("typical", "table", "What to expect, for planning only.", keys=(
    Key("mean", "number", "Numbers, compulsory there: mean of coupons.",
        unit="the response's unit"),
    Key("sd_coupon", "special", "Numbers, compulsory there: standard deviation between coupons of "
        "one set-up.", form=_SCATTER.format("more than 0")),
    Key("sd_setup", "special", "Standard deviation between set-ups.", default=0.0,
        form=_SCATTER.format("at least 0")),
    Key("sd_reading", "special", "Standard deviation between readings of one coupon; "
        "sd_coupon is then what is left with perfect readings.", default=0.0,
        form=_SCATTER.format("at least 0")),
    Key("pilot_coupons", "whole", "How many coupons sd_coupon came from; the chance is "
        "then averaged over what they leave open.", low=2, high=10000),
    Key("pilot_set_ups", "whole", "How many set-ups sd_setup came from.", low=2,
        high=10000),
    Key("passing", "special", "Pass or fail, compulsory there: the share of today's coupons that "
        "pass.", form='a share between 0 and 1, or in percent: "90 %"'),
    Key("shares", "special", "Graded, compulsory there: the share of today's coupons in each "
        "grade, in the order of scale.",
        form='as many shares as scale has grades, adding to 1: [0.1, 0.3, 0.6], or in percent: '
        '["10 %", "30 %", "60 %"]'),
    Key("alike", "number", "Pass or fail, and graded: how alike coupons of one set-up are, from 0 "
        "(as independent as coupons of different set-ups) to 1 (all of a set-up come out alike): "
        "their intraclass correlation.", default=0.0, low=0, high=1),
    Key("worse_odds", "number", "Graded: the loss to plan for, as how many times smaller the odds "
        "of a better grade become.", default=3.0, above=1, high=1000),
    Key("from", "text", "Where the figures come from.", default=""),
))  # fmt: skip
"""The table ``typical`` of a response."""
