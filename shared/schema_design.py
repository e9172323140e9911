"""``[design]``: how a trial is laid out, as the schema declares it."""

from __future__ import annotations

from weldtrial.shared.setting import Key, Section

DESIGN = Section(
    "design",
    "the design",
    "How the trial is laid out. What is left out is worked out from the budget.",
    (
        Key("kind", "choice", "The design of the easy factors inside every set-up; optimal "
            "chooses what every set-up holds, auto takes the kind that fits, and added is what "
            "[follows] adds to an earlier trial.",
            default="factorial",
            choices=("factorial", "fraction", "plackett-burman", "definitive-screening",
                     "central-composite", "box-behnken", "latin-square", "paired", "optimal",
                     "auto", "added")),
        Key("model", "choice", "What the analysis holds: main effects; those and all pairs; "
            "those and squares of the numeric factors, which need three levels then. The other "
            "kinds are made for models of their own and take those: main or quadratic, see "
            "weldtrial help designs.",
            default="two-factor", choices=("main", "two-factor", "quadratic")),
        Key("replicates", "whole", "How often every combination of the easy factors is welded in "
            "one set-up (in the whole trial when nothing is hard to change).", low=1, high=1000),
        Key("centre_points", "whole", "Extra coupons at the middle of the easy numeric factors, in "
            "every set-up (in the whole trial when nothing is hard to change).", default=0, low=0,
            high=1000),
        Key("rounds", "whole", "One round: every level of the hard-to-change factor (every "
            "combination of several) set up once. When nothing is hard to change: blocks.",
            low=1, high=1000),
        Key("set_ups", "whole", "Set-ups in the whole trial.", low=1, high=10000),
        Key("runs", "whole", "Combinations in a two-level fraction: 4, 8, 16, 32 or 64; in a "
            "Plackett-Burman design 12, 20 or 24; in a definitive screening design an odd number "
            "from 9, even where a column is a category.", low=4, high=64),
        Key("generators", "texts", "Generators of a fraction, such as travel = voltage * "
            "wire_feed; without them the best known ones."),
        Key("fold_over", "text", "The second half of a fraction: all, or the one factor whose "
            "sign is turned."),
        Key("star", "choice", "Where the star points of a central composite design lie: inside "
            "the range of the file, on its faces, or outside it, beyond what the file calls low "
            "and high. Without it on the faces, and inside where it is cut in blocks.",
            choices=("inside", "face", "outside")),
        Key("best_for", "choice", "What an optimal design is best for: telling effects, or "
            "predicting all over the settings allowed.", default="effects",
            choices=("effects", "prediction")),
        Key("terms", "texts", "Terms beyond the model, such as gas:voltage:travel."),
    ),
)  # fmt: skip
