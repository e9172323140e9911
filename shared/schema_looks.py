"""The settings of ``[looks]``: looking before all rounds are in."""

from __future__ import annotations

from weldtrial.shared.setting import Key, Section

LOOKS_SECTION = Section(
    "looks",
    "the looks",
    "Planned looks before all rounds are in. Without it results are looked at once, at the end; "
    "see weldtrial help looks.",
    (
        Key("after", "special", "Complete rounds after which results may be looked at. The last "
            "round of the design is always the last look.", required=True,
            form="whole numbers, each at least 2 and below the rounds of the design: [3]"),
        Key("bounds", "choice", "How far an answer must clear its threshold at each look: "
            "obrien-fleming is hard early and costs little at the end; pocock is alike at every "
            "look; scatter-only looks at nothing but the scatter, codes closed, and says how many "
            "rounds are needed.", required=True,
            choices=("obrien-fleming", "pocock", "scatter-only")),
        Key("chance", "number", "scatter-only: the chance to aim for.", default=0.8, above=0.05,
            high=0.99),
        Key("at_least", "whole", "scatter-only: never fewer rounds than this; without it, the "
            "round of the look.", low=2, high=1000),
    ),
)  # fmt: skip
