"""The settings of ``[gauge]``: how a gauge study is laid out."""

from __future__ import annotations

from weldtrial.shared.setting import Key, Section

GAUGE_SECTION = Section(
    "gauge",
    "the gauge study",
    'For  purpose = "gauge"  only: which coupons are read again, by whom and how often. Such a '
    "study has no factors and no design. See  weldtrial help gauge.",
    (
        Key("coupons", "special", "The coupons that are read.", required=True,
            form='how many, from 2 to 200 (stamps are drawn for them), or the names already on '
            'them: ["1", "2", "3"]'),
        Key("readers", "texts", "Who reads.", required=True),
        Key("repeats", "whole", "How often each reader reads each of his coupons.", required=True,
            low=2, high=20),
        Key("design", "choice", "crossed: every reader reads every coupon; nested: each coupon "
            "belongs to one reader, because reading spoils it for the others. Named coupons are "
            "then shared out in the order given.", default="crossed",
            choices=("crossed", "nested")),
    ),
)  # fmt: skip
