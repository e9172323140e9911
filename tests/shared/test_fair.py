"""What contradicts a rule of fairness, each with its line, and both readings of one trial."""

from __future__ import annotations

import pytest

from weldtrial.shared.fair import readings_of, shared_control
from weldtrial.shared.trialfile.reader import parse_trial

BOTH = """\
format = 1
[trial]
title = "Invented"
[fair]
rule = "both"
how = "Ten minutes a gas."
[[response]]
name = "load"
unit = "kN"
[[factor]]
name = "gas"
levels = ["mix", "co2"]
control = "mix"
[[factor]]
name = "voltage"
unit = "V"
slides_with = "gas"
levels = ["own", "same"]
  [factor.at]
  mix = { own = 25.5, same = 25.5 }
  co2 = { own = 27.0, same = 25.5 }
"""
TWICE = """\
[[factor]]
name = "travel"
unit = "cm/min"
slides_with = "gas"
levels = ["own"]
  [factor.at]
  mix = { own = 30 }
  co2 = { own = 32 }
"""


def said(text: str) -> list[str]:
    return [str(problem) for problem in parse_trial(text.encode())[1]]


def test_both_readings_of_a_clean_file() -> None:
    trial, problems = parse_trial(BOTH.encode())
    assert trial is not None
    assert not problems
    own, same = readings_of(trial)
    assert (own.role, same.role) == ("own", "same")
    assert (own.words, same.words) == ("at its own volts", "at the same volts")
    assert shared_control(own.slider, trial.factor("gas"))
    # The control is welded alike at both, so its coupons speak for each reading whatever the role.
    assert [own.speaks_for("mix", "same"), own.speaks_for("co2", "same")] == [True, False]
    assert own.both == (own, same)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('levels = ["own", "same"]', 'levels = ["own"]',
         'trial.toml line 5: rule = "both" welds each gas at its own setting and at the same one, '
         'so one factor needs both roles. Write  levels = ["own", "same"]  as the levels of '
         "voltage, and under [factor.at] a number of each for every gas."),
        ("same = 25.5 }\n  co2", "same = 26.0 }\n  co2",
         "trial.toml line 19: voltage is not the same under the role same: mix 26, co2 25.5. "
         "Give every gas one number there; what is each gas's own goes under own."),
        ("own = 27.0", "own = 25.5",
         "trial.toml line 19: voltage has one number everywhere, so the two readings of fair are "
         'one. Write  rule = "same-setting"  and hold it, or give a gas its own number under own.'),
        ('rule = "both"', 'rule = "each-gas-own-setting"',
         "trial.toml line 18: voltage has the roles own and same, which are both readings of fair, "
         'but rule = "each-gas-own-setting". Write  rule = "both"  to have a verdict on each.'),
        ('rule = "both"', 'rule = "same-setting"',
         'trial.toml line 5: rule = "same-setting", but voltage has its own numbers at each level '
         "of gas. Change the rule, or give it the same numbers."),
        ('how = "Ten minutes a gas."\n', "",
         "trial.toml line 5: the own settings are only as fair as the tuning behind them. Add  how "
         '= "..."  : who tuned each gas, for how long, and when they stopped.'),
        ("[[response]]", '[design]\nmodel = "main"\n[[response]]',
         'trial.toml line 8: model = "main" lets the gases differ by one amount at every setting, '
         'and rule = "both" asks whether they do. Write  model = "two-factor"  or leave it out.'),
        ("[[response]]", TWICE + "[[response]]",
         'trial.toml line 10: rule = "both" turns on voltage alone, but travel slides too, so '
         "neither reading would be clean. Give it the same numbers for all gases."),
    ],
)  # fmt: skip
def test_each_contradiction_with_its_line(old: str, new: str, words: str) -> None:
    text = BOTH.replace(old, new)
    if new == 'levels = ["own"]':
        text = text.replace(", same = 25.5", "")
    assert words in said(text)


def test_the_same_setting_may_slide_with_one_number() -> None:
    """Sliding with equal numbers is no contradiction."""
    text = BOTH.replace('"both"', '"same-setting"').replace('["own", "same"]', '["own"]')
    text = text.replace(", same = 25.5", "").replace("27.0", "25.5")
    assert said(text) == []
