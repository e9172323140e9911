"""The schema of ``trial.toml``, declared once: the reader and the reference page both use it.

Each part of the file is a `Section`, each setting in it a `Key`.  What can be said about one
setting alone (its type, its allowed values, its range) is said here; what needs two settings
at once is said in words in `meaning` and checked where the trial is put together.
"""

from __future__ import annotations

from typing import get_args

from weldtrial.shared.responses import FAILED_AT, Quantity
from weldtrial.shared.schema_design import DESIGN
from weldtrial.shared.schema_follows import FOLLOWS_SECTION
from weldtrial.shared.schema_gauge import GAUGE_SECTION
from weldtrial.shared.schema_looks import LOOKS_SECTION
from weldtrial.shared.schema_prices import PRICES_SECTION
from weldtrial.shared.schema_typical import TYPICAL
from weldtrial.shared.setting import Key, Section

FORMAT = 1
"""The only format of a trial file so far."""

CONFIDENCE = 0.95
"""The only confidence that format 1 allows."""


def _text(name: str, meaning: str, default: str | None = "") -> Key:
    return Key(name, "text", meaning, default=default)


def _minutes(name: str, meaning: str) -> Key:
    return Key(name, "number", meaning, low=0, unit="minutes")


def _money(name: str, meaning: str) -> Key:
    return Key(name, "number", meaning, low=0, unit="the currency")


_TRIAL = Section(
    "trial",
    "the trial",
    "The question.",
    (
        Key("title", "text", "What heads every sheet and the report.", required=True),
        _text("question", "The question in one sentence, as you would ask it aloud."),
        _text("owner", "Whose trial it is."),
        _text("welder", "Who welds; the report limits its answer to them."),
        Key("purpose", "choice", "compare: is one no worse than another; settings: which settings "
            "do best; screening: which settings matter; pilot: how large the scatter is (no "
            "verdict is given); gauge: is the gauge good enough (see [gauge]).", default="compare",
            choices=("compare", "settings", "screening", "pilot", "gauge")),
        Key("units", "choice", "Units that suggestions are made in. The unit written beside a "
            "number always wins.", default="metric", choices=("metric", "us")),
    ),
    required=True,
)  # fmt: skip

_FAIR = Section(
    "fair",
    "the fairness rule",
    "What a fair comparison means here. Each rule is another experiment.",
    (
        Key("rule", "choice", "The reading of \"fair\" that is welded.",
            choices=("same-setting", "same-arc-length", "same-heat-input", "same-deposit",
                     "each-gas-own-setting", "both")),
        _text("how", "How the own settings were found, and for how long each was tuned."),
        _text("fixed", "What was the same for all."),
    ),
)  # fmt: skip

_JOINT = Section(
    "joint",
    "the joint",
    "What is welded; the report limits its answer to it.",
    (
        _text("type", "Kind of joint."),
        Key("leg", "quantity", "Leg of a fillet.", kind="length"),
        Key("length", "quantity", "Length of weld on one coupon.", kind="length"),
        Key("plate", "table", "The plate.", keys=(
            _text("grade", "Grade of steel."),
            Key("thickness", "number", "Thickness.", above=0, unit="the plate's unit"),
            Key("unit", "unit", "Unit of the thickness.", kind="length"),
            _text("heat", "Heat or cast number."),
        )),
        Key("wire", "table", "The wire.", keys=(
            _text("class", "Classification."),
            Key("diameter", "number", "Diameter.", above=0, unit="the wire's unit"),
            Key("unit", "unit", "Unit of the diameter.", kind="length"),
        )),
        _text("process", "Process number (ISO 4063), such as 135."),
        _text("position", "Position (ISO 6947), such as PB."),
    ),
)  # fmt: skip

_FACTOR = Section(
    "factor",
    "a factor",
    "What is changed on purpose. Levels that are names make a category; levels that are numbers "
    "(or roles that stand for numbers) make a numeric factor, which needs a unit.",
    (
        Key("name", "name", "Key used in files and tables.", required=True),
        _text("label", "Name for eyes; without it, the name with its underscores opened."),
        Key("levels", "special", "The levels; either these or low_high.",
            form='names ["mix", "co2"], numbers [30, 50] lowest first, or with slides_with the '
            'roles ["own"], ["low", "high"], ["low", "mid", "high"] or, for both readings of fair, '
            '["own", "same"]'),
        Key("low_high", "special", "Lowest and highest setting of a numeric factor.",
            form="two numbers [30, 50], or with slides_with one pair for each level: "
            "{ mix = [24.3, 27.3], co2 = [25.5, 28.5] }"),
        Key("unit", "unit", "Unit of a numeric factor; compulsory there."),
        Key("step", "number", "Smallest step the machine can be set to.", above=0,
            unit="the factor's unit"),
        Key("tolerance", "number", "How well a number is held: what 95 coupons in 100 stay "
            "within, either side of the setting. A coupon outside is shown, never dropped; "
            "weldtrial optimise reckons with it.", above=0, unit="the factor's unit"),
        Key("slides_with", "name", "The category whose levels shift the numbers: the meaning is "
            "the same, the numbers are each level's own."),
        Key("at", "special", "With slides_with and roles: the number of each role at each level.",
            form="one line for each level: mix = { own = 25.5 }"),
        Key("hard_to_change", "yes-no", "Whether changing it ends a set-up (a bottle, a spool, a "
            "preheat).", default=False),
        _text("one_setup", "What is done for a fresh set-up, printed on the weld sheet."),
        Key("control", "text", "Today's level of a category; without it, the first."),
        Key("about", "special", "Facts about each level of a category, printed in the report.",
            form='one line for each level: co2 = { iso14175 = "C1", cost_per_m3 = 3.60 }'),
        _text("hold_by", "How it is held when the machine does not hold it (hand)."),
        _text("measured_by", "How the setting as run is measured."),
    ),
    many=True,
    required=True,
)  # fmt: skip

_HELD = Section(
    "held",
    "a held setting",
    "What is kept the same and written down for every coupon.",
    (
        Key("name", "name", "Key used in files.", required=True),
        _text("label", "Name for eyes."),
        Key("unit", "unit", "Unit of the target.", required=True),
        Key("target", "number", "What it is set to.", required=True, unit="its unit"),
        Key("tolerance", "number", "How far off is still as planned. A coupon outside is shown, "
            "never dropped.", low=0, unit="its unit"),
    ),
    many=True,
)  # fmt: skip

_RESPONSE = Section(
    "response",
    "a response",
    "What is measured on every coupon.",
    (
        Key("name", "name", "Key used in files: readings/NAME.csv.", required=True),
        _text("label", "Name for eyes."),
        Key("kind", "choice", "What a reading is.", default="number",
            choices=("number", "pass-fail", "graded")),
        Key("unit", "unit", 'Unit of a number; compulsory there ("1" for a plain number).'),
        Key("better", "choice", "Which way is good.", default="higher",
            choices=("higher", "lower")),
        Key("rank", "whole", "1 decides; the others are looked at second, third ...", default=1,
            low=1),
        Key("reads_to", "number", "Smallest division of the gauge.", above=0,
            unit="the response's unit"),
        Key("most", "number", "Gauge limit: above it write >MOST. It counts as at least that, "
            "never as that.", unit="the response's unit"),
        Key("least", "number", "Gauge limit: below it write <LEAST. It counts as at most that.",
            unit="the response's unit"),
        Key("stops", "number", "Distance between stops, where a failure is only seen to lie "
            "between two of them and is written 80..90.", above=0, unit="the response's unit"),
        Key("margin", "special", "The smallest change that matters, fixed before any result. At "
            "least one step of the gauge.",
            form='more than 0: a number in the response\'s unit, or a share of the reference mean '
            'such as "6 %"'),
        _text("margin_why", "Why that margin; printed in the report."),
        Key("ask", "choice", "What is asked. no-worse and equal-enough need a margin.",
            default="difference", choices=("difference", "no-worse", "equal-enough")),
        Key("must_be", "table", "What a coupon must reach.", keys=(
            Key("at_least", "number", "Lowest good value.", unit="the response's unit"),
            Key("at_most", "number", "Highest good value.", unit="the response's unit"),
        )),
        TYPICAL,
        Key("sections", "whole", "Readings on one coupon. They are averaged; they are not more "
            "coupons.", default=1, low=1, high=20),
        Key("where", "texts", "Where it may break, as on the reading sheet.", choices=FAILED_AT),
        _text("crack_rule", "What counts as a crack, printed on the reading sheet."),
        Key("scale", "texts", "Grades of a graded response, worst first."),
        Key("worked_out", "table", "The response is not read but worked out from the weld log and "
            "another response; it has no sheet and no file.", keys=(
            Key("quantity", "choice", "What is worked out.", required=True,
                choices=get_args(Quantity)),
            _text("from", "The response it is worked out from."),
            Key("length", "quantity", "Length of weld that was loaded.", kind="length"),
            Key("efficiency", "number", "Deposition efficiency: the share of the wire that ends "
                "up in the weld.", above=0, high=1),
            Key("convexity", "number", "Share of metal above the flat face of the fillet.", low=0,
                high=1),
            Key("reads_to", "special", "Smallest division of the gauge behind a column of the "
                "weld log, for the scatter it brings in.",
                form="{ throat_mm = 0.1, arc_s = 1 }"),
        )),
    ),
    many=True,
    required=True,
)  # fmt: skip

_CLAIM = Section(
    "claim",
    "a claim",
    "Someone else's statement that the trial is held against.",
    (
        Key("says", "text", "The statement, word for word.", required=True),
        _text("source", "Whose it is."),
        Key("response", "name", "The response it is about.", required=True),
        Key("compare", "special", "What is compared.", required=True,
            form='"co2 / mix" for a ratio, "co2 - mix" for a difference'),
        Key("value", "number", "The claimed ratio, or the claimed difference in the response's "
            "unit.", required=True),
    ),
    many=True,
)  # fmt: skip

_LIMIT = Section(
    "limit_on_settings",
    "a limit on settings",
    "A rule that forbids some settings.",
    (
        Key("rule", "special", "What is allowed; settings that break it are never welded. Numbers "
            "are in the units of the file. Comparisons are joined by and, or, not and brackets; "
            "when, at the end, holds a rule under one level only. In full: weldtrial help tells.",
            required=True,
            form='numeric factors, held settings and numbers with + - * / and one of <= >= < >: '
            '"voltage * wire_feed <= 262", "not (wire_feed > 8 and voltage < 21)" or "voltage <= '
            '26 when gas = co2"'),
        _text("why", "Why they are ruled out."),
    ),
    many=True,
)  # fmt: skip

_GOAL = Section(
    "goal",
    "the goal",
    'What "best" means, for a trial with purpose = "settings". weldtrial optimise looks for it.',
    (
        Key("best", "name", "The factor or the response to push; or cost, what a metre of weld "
            "costs by your own [prices].", required=True),
        Key("toward", "choice", "Which way; cost goes lower.", default="higher",
            choices=("higher", "lower")),
        Key("keep", "special", "What every choice must keep.",
            form='"every must_be met by at least 8 coupons in 10"'),
        Key("curves", "yes-no", "Whether bends in the curves are wanted. Where design.model is "
            "left out, the model is the main effects with the squares of numeric factors (curves) "
            "and these pairs.", default=False),
        Key("pairs", "texts", "Pairs of factors that may work together: voltage:wire_feed."),
    ),
)  # fmt: skip

_BUDGET = Section(
    "budget",
    "the budget",
    "What can be afforded.",
    (
        Key("coupons", "whole", "All coupons, spares and warm-ups included.", low=1, high=10000),
        Key("spare", "whole", "Coupons kept for a loss.", default=0, low=0, high=1000),
        Key("warm_up", "whole", "Coupons welded first and never analysed.", default=0, low=0,
            high=1000),
        Key("confirm", "whole", "Coupons kept to confirm the chosen setting.", default=0, low=0,
            high=1000, later=True),
        _minutes("minutes_coupon", "Bench time for one coupon."),
        _minutes("minutes_setup", "Bench time for one set-up."),
        _minutes("minutes_reading", "Time for one reading."),
        Key("hours_per_day", "number", "Bench hours in a day.", above=0, high=24, unit="hours"),
        _money("cost_coupon", "Cost of one coupon, plate and wire and all; gas is added where its "
               "price is given. Either this, or cost_plate and cost_wire_kg."),
        _money("cost_plate", "Cost of the plate of one coupon."),
        _money("cost_wire_kg", "Price of a kilogram of wire; what a coupon takes is worked out "
               "from wire_feed, the wire's diameter and arc_s_coupon."),
        _money("cost_setup", "Cost of one set-up."),
        _text("currency", "Currency; compulsory with a cost."),
        Key("arc_s_coupon", "number", "Arc time on one coupon.", low=0, unit="seconds"),
        Key("purge_s", "number", "Purge at each bottle change.", low=0, unit="seconds"),
    ),
)  # fmt: skip

_ORDER = Section(
    "order",
    "the order",
    "How the welding order is drawn.",
    (
        Key("shuffle", "choice", "The order is drawn from the seal, so nobody picked it.",
            default="seal", choices=("seal",)),
        Key("seed", "whole", "For dry runs before sealing only.", low=0),
        _text("block", "What gases are compared within: round; when nothing is hard to change, "
            "what a block is: day, plate, spool, welder.", None),
        Key("first_at_most", "whole", "No gas goes first in more than this many rounds.", low=1,
            high=1000),
        Key("drift_watch", "text", "The level whose coupons show drift: control, or a level."),
    ),
)  # fmt: skip

_BLIND = Section(
    "blind",
    "the blinding",
    "Who must not know the gas.",
    (
        Key("who", "texts", "Responses that are read without knowing the gas."),
        _text("reader", "Who reads them."),
        Key("codes", "yes-no", "Whether the first analysis hides which gas is which.",
            default=False),
        Key("open_when", "choice", "When the codes may be opened.", default="all-results-in",
            choices=("all-results-in", "any-time")),
        Key("guess", "yes-no", "Whether the blind readers write down which gas they think it is, "
            "so that a leak is seen; the column guess of their files.", default=False),
    ),
)  # fmt: skip

_RULES = Section(
    "rules",
    "the rules",
    "Rules fixed beforehand, quoted word for word in the report.",
    (
        Key("confidence", "number", "Confidence of the intervals; 0.95 is the only one in format "
            "1.", default=CONFIDENCE, low=CONFIDENCE, high=CONFIDENCE),
        _text("lost", "When a coupon counts as lost."),
        _text("leave_out", "When a coupon is left out."),
        _text("reweld", "When a coupon is welded again on a spare, decided before it is tested."),
        _text("stop", "When welding stops."),
        Key("adjust_for", "texts", "Columns of the weld log, or held settings, that the comparison "
            "is also adjusted for, beside the plain answer: throat_mm, plate_temp_C, started ..."),
    ),
)  # fmt: skip

_NUISANCE = Section(
    "nuisance",
    "a nuisance",
    "Each thing that could spoil the trial, and what is done about it: NAME = one of these.",
    (
        Key("NAME", "choice", "held the same, measured on every coupon, blocked (the gases are "
            "compared within it) or shuffled over.",
            choices=("held", "measured", "blocked", "shuffled")),
    ),
    free=True,
)  # fmt: skip

TOP = Key("format", "whole", "The format of the file. Always 1.", required=True, low=1, high=1)
"""The one setting that stands before the first section."""

SECTIONS: tuple[Section, ...] = (
    _TRIAL, _FAIR, _JOINT, _FACTOR, _HELD, _NUISANCE, _RESPONSE, _CLAIM, _LIMIT, _GOAL, DESIGN,
    _BUDGET, PRICES_SECTION, _ORDER, _BLIND, _RULES, LOOKS_SECTION,
    GAUGE_SECTION, FOLLOWS_SECTION,
)  # fmt: skip
"""Every section, in the order of the reference page."""

SECTION = {section.name: section for section in SECTIONS}
