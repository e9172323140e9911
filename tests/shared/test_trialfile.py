"""The trial file: what is read, and every slip named with its line and its remedy.

``full.toml`` and ``settings.toml`` are whole trial files of the invented farm-trailer shop.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weldtrial.shared.problems import ProblemsFound
from weldtrial.shared.responses import Margin
from weldtrial.shared.trial import Quantity
from weldtrial.shared.trialfile import load_trial, read_trial
from weldtrial.shared.trialfile.reader import parse_trial

FILES = Path(__file__).parent / "trial_files"
FULL = (FILES / "full.toml").read_text(encoding="utf-8")
SETTINGS = (FILES / "settings.toml").read_text(encoding="utf-8")
SMALL = """\
format = 1
[trial]
title = "Two gases"
purpose = "settings"
[[factor]]
name = "gas"
levels = ["mix", "co2"]
[[response]]
name = "load"
unit = "kN"
"""


def said(text: str | bytes) -> list[str]:
    """Everything said about a file, warnings too."""
    data = text.encode() if isinstance(text, str) else text
    return [str(problem) for problem in parse_trial(data)[1]]


def changed(old: str, new: str, text: str = FULL) -> list[str]:
    assert old in text
    return said(text.replace(old, new, 1))


def small(old: str, new: str) -> list[str]:
    return changed(old, new, SMALL)


def line_of(fragment: str, text: str = FULL) -> int:
    return text[: text.index(fragment)].count("\n") + 1


# ------------------------------------------------------------------ how well a setting is held

TRAVEL = (
    SMALL
    + """\
[[factor]]
name = "travel"
unit = "cm/min"
levels = [30, 40, 50]
tolerance = 2
[[factor]]
name = "voltage"
unit = "V"
slides_with = "gas"
low_high = { mix = [24.3, 27.3], co2 = [25.5, 28.0] }
tolerance = 0.3
"""
)


def test_the_tolerance_of_a_varied_setting_is_read() -> None:
    trial, problems = parse_trial(TRAVEL.encode())
    assert trial is not None
    assert [one.tolerance for one in trial.factors] == [None, 2, 0.3]
    assert not [one for one in problems if "tolerance" in one.words]
    travel = trial.factor("travel")
    assert [travel.strays(value, 40) for value in (38, 42, 42.001, 37.9)] == [
        False, False, True, True,
    ]  # fmt: skip
    assert not trial.factor("gas").strays(1, 2)


@pytest.mark.parametrize("value", ["0", "-2", '"two"', "true", "[2]"])
def test_a_tolerance_is_a_number_above_0(value: str) -> None:
    words = "\n".join(changed("tolerance = 2", f"tolerance = {value}", TRAVEL))
    line = line_of("tolerance = 2", TRAVEL)
    assert f"line {line}: tolerance of a factor must be a number, more than 0; it says" in words


def test_a_category_has_no_tolerance() -> None:
    words = changed('levels = ["mix", "co2"]', 'levels = ["mix", "co2"]\ntolerance = 2', TRAVEL)
    assert any("factor 'gas' has a tolerance, but its levels are names" in one for one in words)


@pytest.mark.parametrize(
    ("old", "new", "gap"),
    [
        ("tolerance = 2", "tolerance = 5.1", "10 cm/min between travel 30 and 40"),
        ("tolerance = 0.3", "tolerance = 1.3", "2.5 V between voltage 25.5 and 28"),
    ],
)
def test_a_tolerance_that_makes_levels_overlap_is_warned_of(old: str, new: str, gap: str) -> None:
    text = TRAVEL.replace(old, new, 1)
    trial, problems = parse_trial(text.encode())
    assert trial is not None
    found = [one for one in problems if "overlap" in one.words]
    assert len(found) == 1
    assert found[0].warning
    assert found[0].line == line_of(new, text)
    assert gap in found[0].words


@pytest.mark.parametrize("half", ["5", "1.25"])
def test_half_the_gap_is_still_apart(half: str) -> None:
    old = "tolerance = 2" if half == "5" else "tolerance = 0.3"
    assert not [one for one in changed(old, f"tolerance = {half}", TRAVEL) if "overlap" in one]


# ------------------------------------------------------------------ what is read


def test_full_file_reads_without_a_word() -> None:
    trial, problems = read_trial(FILES / "full.toml")
    assert problems == ()
    assert trial is not None
    gas, voltage = trial.factors
    assert (gas.kind, gas.levels, gas.control, gas.hard_to_change) == (
        "category", ("mix", "co2"), "mix", True,
    )  # fmt: skip
    assert gas.about["co2"] == {"iso14175": "C1", "cost_per_m3": 3.60}
    assert (voltage.kind, voltage.levels, voltage.unit) == ("numeric", ("own",), "V")
    assert voltage.settings == {"mix": (25.5,), "co2": (27.0,)}
    assert not voltage.varied
    load, penetration, bend = trial.responses
    assert (load.margin, load.ask, load.most, load.at_least) == (Margin(5.0), "no-worse", 90, 60)
    assert load.typical is not None
    assert (load.typical.sd_setup, load.typical.source) == (2.0, "8 pilot coupons, May")
    assert (penetration.sections, penetration.rank) == (2, 2)
    assert bend.where == ("throat", "toe", "root", "plate")
    assert trial.deciding is load
    assert [(held.name, held.unit, held.target) for held in trial.held] == [
        ("wire_feed", "m/min", 8.5),
        ("gas_flow", "L/min", 15),
    ]
    (claim,) = trial.claims
    assert (claim.level, claim.reference, claim.value, claim.ratio) == ("co2", "mix", 0.97, True)
    assert trial.joint.leg == Quantity(8, "mm")
    assert trial.joint.wire_diameter == Quantity(1.0, "mm")
    assert (trial.design.rounds, trial.design.set_ups, trial.design.kind) == (6, 12, "factorial")
    assert (trial.budget.coupons, trial.budget.currency) == (40, "EUR")
    assert (trial.order.first_at_most, trial.order.drift_watch) == (4, "control")
    assert (trial.blind.who, trial.blind.codes) == (("bend_angle", "penetration"), True)
    assert trial.rules.stop.startswith("Fixed: all 36")
    assert trial.source == tomllib.loads(FULL)


def test_settings_file_reads_without_a_word() -> None:
    trial, problems = read_trial(FILES / "settings.toml")
    assert problems == ()
    assert trial is not None
    _, voltage, wire_feed, travel = trial.factors
    assert voltage.settings == {"mix": (24.3, 27.3), "co2": (25.5, 28.5)}
    assert wire_feed.settings == {"": (7.5, 9.5)}
    assert wire_feed.levels == ("low", "high")
    assert travel.measured_by == "arc seconds over weld length"
    assert trial.goal is not None
    assert trial.goal.pairs == ("voltage:wire_feed", "voltage:travel", "gas:travel")
    assert trial.limits[0].rule == "voltage * wire_feed <= 262"
    assert trial.budget.confirm == 8


def test_lines_are_told_for_every_setting() -> None:
    trial, _ = parse_trial(FULL.encode())
    assert trial is not None
    assert trial.lines["response.0.margin"] == line_of("margin    = 5")
    assert trial.lines["factor.1.at.co2.own"] == line_of("co2 = { own = 27.0 }")
    assert trial.lines["design"] == line_of("[design]")


def test_numeric_levels_are_named_by_their_numbers() -> None:
    text = SMALL.replace('levels = ["mix", "co2"]', 'unit = "cm/min"\nlevels = [30, 42.5, 50]')
    trial, problems = parse_trial(text.encode())
    assert problems == ()
    assert trial is not None
    assert trial.factors[0].levels == ("30", "42.5", "50")
    assert trial.factors[0].settings == {"": (30.0, 42.5, 50.0)}


@pytest.mark.parametrize("written", ['"6 %"', '"6%"', '" 6.0 % "'])
def test_percent_margin(written: str) -> None:
    text = FULL.replace("margin    = 5 ", f"margin    = {written} ", 1)
    trial, problems = parse_trial(text.encode())
    assert problems == ()
    assert trial is not None
    assert trial.responses[0].margin == Margin(0.06, percent=True)


def test_sizes_in_fractions_of_an_inch_keep_their_unit() -> None:
    text = FULL.replace('leg  = { value = 8, unit = "mm" }', 'leg  = "5/16 in"')
    trial, problems = parse_trial(text.encode())
    assert problems == ()
    assert trial is not None
    assert trial.joint.leg == Quantity(0.3125, "in")


@pytest.mark.parametrize("purpose", ["pilot", "settings"])
def test_ranks_may_be_left_out_where_nothing_decides_alone(purpose: str) -> None:
    text = FULL.replace('"compare"', f'"{purpose}"', 1).replace("rank      = 2", "", 1)
    trial, problems = parse_trial(text.encode())
    assert trial is not None
    assert not [one for one in problems if "rank" in one.words]


def test_a_pilot_needs_no_margin() -> None:
    text = FULL.replace('purpose   = "compare"', 'purpose   = "pilot"')
    text = "\n".join(line for line in text.split("\n") if not line.startswith("margin"))
    assert said(text) == []


def test_lower_is_better_asks_about_a_rise() -> None:
    text = FULL.replace('better    = "higher"', 'better    = "lower"', 1)
    (words,) = changed("margin    = 5 ", "# ", text)
    assert "What rise, in kN, would you not care about?" in words


# ------------------------------------------------------------------ the agreed messages


def test_3_quote_never_closed() -> None:
    assert changed('"Arc voltage"', '"Arc voltage') == [
        'trial.toml line 41: a quote opens here and never closes:  label  = "Arc voltage'
    ]


def test_4_unknown_key() -> None:
    assert changed("margin    = 5", "margn     = 5") == [
        "trial.toml line 72: 'margn' is not a setting for a response. Did you mean 'margin'? "
        "Unknown settings are refused so a typing slip cannot quietly change the plan."
    ]


def test_5_no_unit() -> None:
    assert changed('unit   = "V"\n', "") == [
        "trial.toml line 40: factor 'voltage' has numbers but no unit. Add  unit = \"V\"."
    ]


def test_6_unit_clash() -> None:
    assert changed("target = 8.5", "target = 335") == [
        f"trial.toml line {line_of('target = 8.5')}: wire_feed is in m/min but the target 335 "
        "looks like in/min. 335 in/min is 8.5 m/min. Fix the unit or the number."
    ]


def test_7_sliding_level_missing() -> None:
    assert changed("  co2 = { own = 27.0 }\n", "") == [
        f"trial.toml line {line_of('[factor.at]')}: voltage slides with gas, but there is no line "
        "for 'co2'. Add  co2 = { own = … }."
    ]


def test_8_one_level() -> None:
    assert changed('levels = ["mix", "co2"]', 'levels = ["mix"]') == [
        f"trial.toml line {line_of('levels = [')}: Factor 'gas' has one level, so there is nothing "
        "to compare. Add a second, or move it to [[held]]."
    ]


def test_9_no_margin() -> None:
    assert changed("margin    = 5 ", "#") == [
        f'trial.toml line {line_of("ask  ")}: response break_load asks "no-worse" but has no '
        "margin. What loss, in kN, would you not care about? Without it the tool can only say "
        '"different" or "not settled", never "good enough".'
    ]


def test_10_margin_below_gauge_step() -> None:
    assert changed("margin    = 5 ", "margin    = 0.05 ") == [
        "trial.toml line 72: Margin 0.05 kN is smaller than one step of the gauge (0.1 kN). No "
        "number of coupons can see that. Raise the margin or use a finer gauge."
    ]


def test_a_margin_of_one_step_and_a_small_percentage() -> None:
    assert changed("margin    = 5 ", "margin    = 0.1 ") == []
    (words,) = changed("margin    = 5 ", 'margin    = "0.1 %" ')
    assert 'Margin 0.08 kN ("0.1 %" of 80) is smaller than one step' in words


def test_all_problems_at_once_in_the_order_of_the_file() -> None:
    text = FULL.replace("target = 8.5", "target = 335").replace("margin    = 5", "margn     = 5")
    text = text.replace('unit   = "V"\n', "").replace("[budget]", "[budgte]")
    words = said(text)
    places = [int(one.split("line ")[1].split(":")[0]) for one in words]
    assert len(words) == 4
    assert places == sorted(places)


# ------------------------------------------------------------------ other slips

SLIPS = [
    # (text in full.toml, what is written instead, what is said)
    ("format = 1", "format = 2", "format = 2 is not known to this version"),
    ("format = 1", "", "does not say its format. Add  format = 1"),
    ('title     = "Ch', 'titel     = "Ch', "Did you mean 'title'?"),
    ('title     = "Ch', '# "Ch', "the trial needs title"),
    ("[trial]", "[trail]", "Did you mean [trial]?"),
    ("[trial]", "[[trial]]", "write [trial] as a section: it can stand only once"),
    ("[trial]", 'title = "x"\n[trial]', "It belongs under [trial]"),
    ('purpose   = "compare"', 'purpose   = "compar"', 'Did you mean "compare"?'),
    ('purpose   = "compare"', "purpose   = true", 'must be "compare", "settings"'),
    ('rule   = "each-gas-own', 'rule   = "same-setting" # ', "voltage has its own numbers"),
    ("thickness = 10, unit", "thickness = 10, unti", "Did you mean 'unit'?"),
    ('thickness = 10, unit = "mm"', "thickness = 10", "has a thickness but no unit"),
    ('diameter = 1.0, unit = "mm"', 'diameter = 0.035, unit = "mm"', "looks like in"),
    ('leg  = { value = 8, unit = "mm" }', "leg  = 8", "must be { value = 8"),
    ('leg  = { value = 8, unit = "mm" }', 'leg  = "8 kN"', "must be a unit of length"),
    ('leg  = { value = 8, unit = "mm" }', 'leg  = "eight mm"', "not a number with its unit"),
    ('name   = "gas"', 'name   = "Gas flow 1"', 'Write  name = "gas_flow_1"'),
    ('name   = "gas"', 'name   = "con"', "is a device to Windows"),
    ('name   = "gas"', 'name   = "stamp"', "is a column of the trial's own tables"),
    ('name   = "gas"', 'name   = ""', "is empty"),
    ('name = "gas_flow"', 'name = "gas"', "stands for a factor and a held setting"),
    ('name = "gas_flow"', 'name = "wire_feed"', "stands for a held setting twice"),
    ('levels = ["mix", "co2"]', 'levels = ["mix", "Mix"]', "differ only in capitals"),
    ('levels = ["mix", "co2"]', 'levels = ["mix", "mix"]', "is named twice"),
    ('levels = ["mix", "co2"]', 'levels = ["mix", 2]', "all names in quotes or all numbers"),
    ('levels = ["mix", "co2"]', 'levels = ["mix", ""]', "a level of factor 'gas' is empty"),
    ('levels = ["mix", "co2"]', 'levels = ["mix", "=co2"]', "holds = ,"),
    ('levels = ["mix", "co2"]', "", "factor 'gas' has no levels"),
    ('levels = ["mix", "co2"]', "levels = []", "with at least two entries"),
    ('control = "mix"', 'control = "mx"', 'Did you mean "mix"?'),
    ("  co2 = { iso14175", "  co3 = { iso14175", "Did you mean 'co2'?"),
    ("cost_per_m3 = 8.40", "cost_per_m3 = true", "must be text or a number"),
    ('slides_with = "gas"', 'slides_with = "gass"', "Did you mean 'gas'?"),
    ('slides_with = "gas"', 'slides_with = "voltage"', "Only names can shift them"),
    ('slides_with = "gas"', "", "has [factor.at] but no slides_with"),
    ('levels = ["own"]', "levels = [25, 26]", "so its levels are roles"),
    ("co2 = { own = 27.0 }", "co2 = { low = 27.0 }", "one number for each role"),
    ("co2 = { own = 27.0 }", 'co2 = { own = "27" }', "must be numbers without quotes"),
    ("co2 = { own = 27.0 }", "co2 = { own = -27 }", "cannot be -27 V"),
    ("co2 = { own = 27.0 }", "co2 = { own = inf }", "must be numbers without quotes"),
    ('unit   = "V"', 'unit   = "volz"', "is not known here"),
    ("step   = 0.1", "step   = 0", "more than 0"),
    ("target = 8.5", 'target = "8.5"', "Write it without quotes:  target = 8.5"),
    ("target = 8.5", "target = nan", "must be a number"),
    ("target = 8.5", "target = 2026-05-25", "the date or time 2026-05-25"),
    ("tolerance = 0.2", "tolerance = -0.2", "at least 0"),
    ("rank      = 1", "rank      = 0", "a whole number, at least 1"),
    ("rank      = 1", "rank      = 1.5", "a whole number, at least 1"),
    ("rank      = 2", "rank      = 1", "and so has break_load: one response decides"),
    ("rank      = 2", "", "has rank 1 where nothing is said, and so has break_load"),
    ("reads_to  = 0.1", "reads_to  = 0", "more than 0"),
    ("margin    = 5 ", "margin    = -5 ", "must be more than 0"),
    ("margin    = 5 ", "margin    = 0 ", "must be more than 0"),
    ("margin    = 5 ", 'margin    = "6 kN" ', 'a share such as "6 %"'),
    ("margin    = 5 ", 'margin    = "100 %" ', "less than 100 %"),
    ("at_least = 60", "at_least = 95", "beyond the gauge limit 90 kN"),
    ("at_least = 60", "at_least = 60, at_most = 50", "leaves nothing"),
    ("must_be   = { at_least = 60 }", "must_be   = {}", "must_be is empty"),
    ("must_be   = { at_least = 60 }", "must_be   = 60", "a table { ... } with at_least"),
    ("most      = 90 ", "most      = 90\nleast = 95 ", "is not below most"),
    ("sd_coupon = 4.0", "sd_coupon = -4.0", "more than 0"),
    ("mean = 80, sd_coupon = 4.0, ", "mean = 80, ", "needs sd_coupon"),
    ("sections  = 2", "sections  = 0", "at least 1"),
    ('"throat", "toe", "root", "plate"]', '"throat", "teo"]', 'Did you mean "toe"?'),
    ('response = "break_load"', 'response = "brake_load"', "Did you mean 'break_load'?"),
    ('"co2 / mix"', '"co2 : mix"', 'compare must be "LEVEL / REFERENCE"'),
    ('"co2 / mix"', '"co2 / mx"', "Did you mean 'mix'?"),
    ('"co2 / mix"', '"mix / mix"', "compares 'mix' with itself"),
    ("value    = 0.97", "value    = -1", "more than 0"),
    ("set_ups = 12", "set_ups = 10", "6 rounds of 2 levels of gas make 12 set-ups"),
    ("rounds  = 6 ", "rounds  = 0 ", "at least 1"),
    ('kind    = "factorial"', 'kind    = "factoral"', 'Did you mean "factorial"?'),
    ("[budget]", "[budget]\nrounds = 5", "It belongs under [design]"),
    ("coupons        = 40", "coupons        = -40", "at least 1"),
    ("coupons        = 40", "coupons        = 4", "leave none to compare"),
    ('currency       = "EUR"', "", "cost_coupon has no currency"),
    ("first_at_most = 4", "first_at_most = 2", "at least 3 of 6 rounds"),
    ('drift_watch = "control"', 'drift_watch = "contrl"', 'Did you mean "control"?'),
    ('"bend_angle", "penetration"]', '"bend_angel"]', "Did you mean 'bend_angle'?"),
    ('"bend_angle", "penetration"]', '"bend_angle", "bend_angle"]', "twice. Keep one"),
    ("codes    = true", 'codes    = "yes"', "true or false, without quotes"),
    ("confidence = 0.95", "confidence = 0.9", "0.95, the only one that format 1 allows"),
    ("[rules]", '[nuisance]\nday = "ignored"\n[rules]', '"held", "measured"'),
    ("[rules]", '[nuisance]\ngas = "held"\n[rules]', "is a factor, set on purpose"),
    ("[rules]", '[nuisance]\nwire_feed = "shuffled"\n[rules]', "but shuffled here"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), SLIPS, ids=[slip[1][:40] for slip in SLIPS])
def test_slip_is_named_once_with_its_line(old: str, new: str, words: str) -> None:
    found = changed(old, new)
    assert any(words in one for one in found), found
    assert len(found) == 1
    assert parse_trial(FULL.replace(old, new, 1).encode())[0] is None
    if "format" not in old and "needs title" not in words:
        assert found[0].startswith("trial.toml line ")


SMALL_SLIPS = [
    ('levels = ["mix", "co2"]', 'levels = ["30", "50"]', "levels = [30, 50]"),
    ('levels = ["mix", "co2"]', 'unit = "mm"\nlevels = ["a", "b"]', "its levels are names"),
    ('levels = ["mix", "co2"]', 'unit = "mm"\nlevels = [12]', "has one level"),
    ('levels = ["mix", "co2"]', 'unit = "mm"\nlevels = [12, 12.0]', "has 12 twice"),
    ('levels = ["mix", "co2"]', 'unit = "mm"\nlow_high = [18, 12]', "low to high:  [12, 18]"),
    ('levels = ["mix", "co2"]', 'unit = "mm"\nlow_high = [12]', "must be two numbers"),
    ('levels = ["mix", "co2"]', 'unit = "mm"\nlow_high = { a = [1, 2] }', "Add  slides_with"),
    ('levels = ["mix", "co2"]', "low_high = [1, 2]", 'unit = "1"'),
    (
        'levels = ["mix", "co2"]',
        'levels = [1, 2]\nunit = "1"\nlow_high = [1, 2]',
        "both levels and low_high",
    ),
    (
        'levels = ["mix", "co2"]',
        'levels = [1, 2]\nunit = "1"\ncontrol = "1"',
        "control belongs to a factor whose levels are names",
    ),
    ('unit = "kN"', "", "response 'load' has no unit. Add  unit = \"kN\""),
    ('unit = "kN"', 'unit = "kN"\nscale = ["a", "b", "c"]', "but its readings are numbers"),
    ('unit = "kN"', 'kind = "graded"', "needs a scale of three grades"),
    ('unit = "kN"', 'kind = "pass-fail"\nmargin = 3', 'margin = "10 %"'),
    ('unit = "kN"', 'kind = "pass-fail"\nmost = 3', "so it has no most"),
    ('unit = "kN"', 'unit = "kN"\nask = "equal-enough"', "What difference, in kN"),
    ("[[response]]", "[design]\nset_ups = 4\n[[response]]", "nothing is hard to change"),
    ("[[response]]", "[order]\nfirst_at_most = 2\n[[response]]", "there is none"),
    ("[[factor]]", "[factor]", "in double brackets"),
]


@pytest.mark.parametrize(("old", "new", "words"), SMALL_SLIPS)
def test_slip_in_a_small_file(old: str, new: str, words: str) -> None:
    found = small(old, new)
    assert any(words in one for one in found), found
    assert len(found) == 1


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("voltage * wire <= 262", "Did you mean 'wire_feed'?"),
        ("voltage * wire_feed", "has no <= or >= where one is needed"),
        ("voltage <= 2 <= 3", "goes on after its end"),
        ("(voltage <= 2", "bracket that does not close"),
        ("voltage ^ 2 <= 2", "a sign it cannot read, '^'"),
        ("1 <= 2", "names no factor"),
        ("", "must be text in quotes"),
        ("__import__(1) <= 2", "'__import__' in the rule is not a numeric factor"),
        ("gas <= 2", "'gas' in the rule is not a numeric factor"),
    ],
)
def test_rule_of_a_limit(rule: str, words: str) -> None:
    (found,) = changed("voltage * wire_feed <= 262", rule, SETTINGS)
    assert words in found


@pytest.mark.parametrize(
    "rule", ["-voltage + 2 * (wire_feed / 3) >= -20", "voltage<=27", "((voltage)) > 3*wire_feed"]
)
def test_rules_that_are_fine(rule: str) -> None:
    assert changed("voltage * wire_feed <= 262", rule, SETTINGS) == []


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('best     = "travel"', 'best     = "travle"', "Did you mean 'travel'?"),
        ('"voltage:travel"', '"voltage:voltage"', "is not a pair of factors"),
        ("at least 8 coupons in 10", "mostly", "keep must read like"),
        ("at least 8 coupons in 10", "at least 11 coupons in 10", "keep must read like"),
        ("co2 = [25.5, 28.5]", "co2 = [28.5, 25.5]", "low to high:  [25.5, 28.5]"),
        (", co2 = [25.5, 28.5]", "", "Add  co2 = [ …, … ]"),
        ("low_high = [30, 50]", "low_high = [350, 500]", "looks like mm/min"),
    ],
)
def test_slip_in_a_settings_file(old: str, new: str, words: str) -> None:
    found = changed(old, new, SETTINGS)
    assert any(words in one for one in found), found


# ------------------------------------------------------------------ things to know


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("margin_why =", 'margin_why = "" #', "does not say why that one"),
        ("mix = { own = 25.5 }", "mix = { own = 25.55 }", "not a whole number of steps of 0.1 V"),
        ("mean = 80,", "mean = 93,", "lies beyond the gauge limit 90"),
        ("value    = 0.97", "value    = 97", "a ratio of 97 % is written 0.97"),
        ("first_at_most = 4", "first_at_most = 6", "restricts nothing"),
        ("[fair]", '[nuisance]\nday = "blocked"\n[fair]', None),
    ],
)
def test_warnings_leave_the_file_usable(old: str, new: str, words: str | None) -> None:
    trial, problems = parse_trial(FULL.replace(old, new, 1).encode())
    assert trial is not None
    if words is None:
        assert problems == ()
    else:
        (problem,) = problems
        assert problem.warning
        assert words in problem.words


# ------------------------------------------------------------------ files that are no trial


def test_loading_raises_with_all_problems(tmp_path: Path) -> None:
    path = tmp_path / "trial.toml"
    text = FULL.replace("rank      = 1", "rank      = 0")
    path.write_text(text.replace("rounds  = 6", "rounds = 0"))
    with pytest.raises(ProblemsFound) as caught:
        load_trial(path)
    assert len(caught.value.problems) == 2
    path.write_text(FULL)
    assert load_trial(path).title == "Cheaper gas on 8 mm drawbar fillets"


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    for path in (tmp_path / "trial.toml", tmp_path):
        trial, (problem,) = read_trial(path)
        assert trial is None
        assert "cannot be read" in problem.words


def test_a_huge_file_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "trial.toml"
    path.write_bytes(b"# " + b"x" * 1_000_001)
    assert "larger than" in read_trial(path)[1][0].words


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "does not say its format"),
        (FULL.encode("utf-16"), "Save it as UTF-8"),
        ("# é\n".encode("latin-1"), "not UTF-8"),
        (b"\x00", "cannot be read"),
        (b"a = " + b"[" * 5000, "nested too deeply"),
        (b"a = " + b"9" * 5000, "cannot be read"),
        (b"format = 1" + b"0" * 400, "is not known to this version"),
        (b"format = 1\ntrial = 3\n", "write [trial] as a section"),
    ],
)
def test_what_is_no_trial_file_is_said(data: bytes, words: str) -> None:
    trial, problems = parse_trial(data)
    assert trial is None
    assert any(words in problem.words for problem in problems), problems


def test_byte_order_mark_and_windows_line_ends_do_no_harm() -> None:
    data = b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode()
    trial, problems = parse_trial(data)
    assert problems == ()
    assert trial is not None
    assert trial.source == tomllib.loads(FULL)


@given(st.binary(max_size=300))
def test_any_bytes_give_problems_and_no_traceback(data: bytes) -> None:
    trial, problems = parse_trial(data)
    assert trial is None
    assert problems
    assert all(str(problem).startswith("trial.toml") for problem in problems)


@given(st.data())
@settings(max_examples=200, deadline=None,
          suppress_health_check=[HealthCheck.too_slow])  # fmt: skip
def test_a_file_with_any_stretch_replaced_gives_problems_or_a_trial(data: st.DataObject) -> None:
    whole = FULL if data.draw(st.booleans()) else SETTINGS
    start = data.draw(st.integers(0, len(whole)))
    end = start + data.draw(st.integers(0, 40))
    middle = data.draw(st.text(alphabet="abz019\"'[]{}=.,#-+%_ \n\t\\eé\x00", max_size=12))
    trial, problems = parse_trial((whole[:start] + middle + whole[end:]).encode())
    assert (trial is None) == any(not problem.warning for problem in problems)
    last = whole.count("\n") + 20
    assert all(problem.line is None or 1 <= problem.line <= last for problem in problems)


VALUES = st.sampled_from(
    ['""', '"x"', '"co2"', '"6 %"', "0", "1", "-1", "2.5", "1e300", "-inf", "nan", "true", "[]",
     "[1]", "[1, 2]", "[2, 1]", '["a"]', '["a", "b"]', "[[1]]", "{}", "{ a = 1 }", "2026-05-25",
     "07:32:00", "{ mix = [1, 2], co2 = [3, 4] }", "{ mix = 1, co2 = {} }", "10000000000000000000",
     '"\\u0000"', "'''a\nb'''", '{ value = 8, unit = "mm" }']
)  # fmt: skip
LINES = [place for place, line in enumerate(FULL.split("\n")) if " = " in line]
SETTING_LINES = [place for place, line in enumerate(SETTINGS.split("\n")) if " = " in line]


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_any_value_in_the_place_of_any_other_gives_problems_or_a_trial(data: st.DataObject) -> None:
    whole, places = data.draw(st.sampled_from([(FULL, LINES), (SETTINGS, SETTING_LINES)]))
    lines = whole.split("\n")
    for place in data.draw(st.lists(st.sampled_from(places), min_size=1, max_size=3)):
        key = lines[place].split(" = ", 1)[0]
        lines[place] = f"{key} = {data.draw(VALUES)}"
    trial, problems = parse_trial("\n".join(lines).encode())
    assert (trial is None) == any(not problem.warning for problem in problems)


# ------------------------------------------------------------------ scatter to plan with

TYPICAL = "{ mean = 80, sd_coupon = 4.0, sd_setup = 2.0"


def test_scatter_may_be_a_share_of_the_mean_and_say_what_it_came_from() -> None:
    text = FULL.replace(
        TYPICAL,
        '{ mean = 80, sd_coupon = "5 %", sd_setup = "2.5%", sd_reading = 1, '
        "pilot_coupons = 8, pilot_set_ups = 3",
    )
    trial, problems = parse_trial(text.encode())
    assert trial is not None
    assert not [p for p in problems if not p.warning]
    typical = trial.response("break_load").typical
    assert typical is not None
    assert (typical.sd_coupon, typical.sd_setup, typical.sd_reading) == (4.0, 2.0, 1.0)
    assert (typical.pilot_coupons, typical.pilot_setups) == (8, 3)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("0", "must be more than 0; it says 0."),
        ("-4", "must be more than 0; it says -4."),
        ('"-5 %"', "must be more than 0"),
        ('"much"', 'must be a number in kN, or a share of the mean such as "5 %"; it says "much".'),
        ("nan", "must be a number in kN"),
        ("true", "must be a number in kN"),
    ],
)
def test_a_scatter_that_cannot_be_is_named_with_its_line(value: str, words: str) -> None:
    found = changed("sd_coupon = 4.0", f"sd_coupon = {value}")
    assert len(found) == 1
    assert f"line {line_of(TYPICAL)}" in found[0]
    assert words in found[0]


def test_a_share_of_a_mean_of_nothing_is_refused() -> None:
    found = changed(TYPICAL, '{ mean = 0, sd_coupon = "5 %", sd_setup = 2.0')
    assert any("the mean is 0 and has no share" in words for words in found)
