"""Fairness between gases: the table by hand for two cells, and every promise with its sentence."""

from __future__ import annotations

import math

import pytest

from weldtrial.doe.fair_promises import fair_warnings
from weldtrial.doe.fair_words import different_words, equal_words
from weldtrial.doe.fairness import Fairness, fairness
from weldtrial.doe.layout import make_layout
from weldtrial.shared.trialfile.reader import parse_trial

HEAD = """\
format = 1
[trial]
title = "Invented"
[fair]
rule = "{rule}"
how = "Ten minutes a gas."
[joint]
process = "135"
wire = {{ diameter = {wire}, unit = "mm" }}
[[response]]
name = "load"
unit = "kN"
[[factor]]
name = "gas"
levels = ["mix", "co2"]
hard_to_change = true
control = "mix"
  [factor.about]
  mix = {{ iso14175 = "{mix}" }}
  co2 = {{ iso14175 = "{co2}" }}
[design]
rounds = 4
"""
VOLTS = """
[[factor]]
name = "voltage"
unit = "V"
step = 0.1
slides_with = "gas"
levels = ["own"]
  [factor.at]
  mix = {{ own = {mix} }}
  co2 = {{ own = {co2} }}
"""
TRAVEL = """
[[factor]]
name = "travel"
unit = "cm/min"
step = 0.1
slides_with = "gas"
levels = ["own"]
  [factor.at]
  mix = {{ own = {mix} }}
  co2 = {{ own = {co2} }}
"""
HELD = '\n[[held]]\nname = "{name}"\nunit = "{unit}"\ntarget = {target}\n'


def text(rule: str, *parts: str, wire: float = 0.9, mix: str = "M21", co2: str = "C1") -> str:
    return HEAD.format(rule=rule, wire=wire, mix=mix, co2=co2) + "".join(parts)


def held(name: str, unit: str, target: float) -> str:
    return HELD.format(name=name, unit=unit, target=target)


def volts(mix: float, co2: float) -> str:
    return VOLTS.format(mix=mix, co2=co2)


def travel(mix: float, co2: float) -> str:
    return TRAVEL.format(mix=mix, co2=co2)


FEED, SPEED = held("wire_feed", "m/min", 6.5), held("travel", "mm/min", 305)


def found(source: str) -> tuple[Fairness | None, tuple[str, ...]]:
    trial, problems = parse_trial(source.encode())
    assert trial is not None, problems
    layout = make_layout(trial)
    return fairness(trial, layout), fair_warnings(trial, layout)


def test_two_volts_for_co2_are_a_tenth_more_arc_energy() -> None:
    """The trade's worked rows: 18.5 V and 20.5 V at 305 mm/min are 10.8 % apart."""
    fair, warnings = found(text("same-arc-length", volts(18.5, 20.5), FEED, SPEED))
    assert fair is not None
    (pair,) = fair.pairs
    assert pair.percent["arc_energy"] == pytest.approx(10.8, abs=0.05)
    assert pair.percent["heat_input"] == pytest.approx(pair.percent["arc_energy"])
    assert fair.same == ("wire_feed", "travel", "current", "deposit", "leg", "throat")
    assert equal_words(fair).startswith("wire feed, travel, current (estimated, ±20 %)")
    assert different_words(fair) == (
        "co2 against mix: volts +2.0 V, +10.8 %; arc energy and heat input +10.8 %",
    )
    assert warnings == ()  # +2 V is usual, and both are short arc


def test_the_table_by_hand_for_two_cells() -> None:
    """0.9 mm, 6.5 m/min, 300 mm/min: the worked bead row with η 0.95 (13.1 mm², 4.88, 3.45 mm)."""
    parts = (volts(18.5, 20.5), FEED, travel(30, 33), held("stick_out", "mm", 10))
    fair, _ = found(text("each-gas-own-setting", *parts))
    assert fair is not None
    (pair,) = fair.pairs
    mix, co2 = pair.reference.values, pair.one.values
    assert (mix["voltage"], mix["wire_feed"], mix["travel"]) == (18.5, 6.5, 300.0)
    assert mix["deposit"] == pytest.approx(13.1, abs=0.05)
    assert mix["leg"] == pytest.approx(4.88, abs=0.005)
    assert mix["throat"] == pytest.approx(3.45, abs=0.005)
    # WFS = alpha I + beta L I^2 with alpha, beta of 1.2 mm scaled by the area, solved by hand.
    ratio = (1.2 / 0.9) ** 2
    alpha, beta = 0.30 * ratio, 5e-5 * ratio**2 * 10
    amps = (-alpha + math.sqrt(alpha**2 + 4 * beta * 6500 / 60)) / (2 * beta)
    assert mix["current"] == pytest.approx(amps)
    assert mix["arc_energy"] == pytest.approx(18.5 * amps * 60 / (1000 * 300))
    assert mix["heat_input"] == pytest.approx(0.8 * mix["arc_energy"])
    assert co2["arc_energy"] == pytest.approx(20.5 * amps * 60 / (1000 * 330))
    assert pair.percent["deposit"] == pytest.approx(100 * (300 / 330 - 1))
    assert pair.percent["leg"] == pytest.approx(100 * (math.sqrt(300 / 330) - 1))
    assert pair.percent["arc_energy"] == pytest.approx(100 * (20.5 / 18.5 * 300 / 330 - 1))
    assert (pair.reference.modes, pair.one.modes) == (("short arc",), ("short arc",))


CASES = [
    # rule, parts, the sentence (its first words), None where nothing may be said
    ("same-arc-length", (volts(18.5, 19.0), FEED, SPEED),
     'rule = "same-arc-length", but co2 has +0.5 V over mix: usually +1 to +3 V keep the arc as '
     "long, about +2 (common practice, no source; from memory; confidence medium). 20.5 V under "
     "co2 would. Measure the arc if you can."),
    ("same-arc-length", (volts(18.5, 22.0), FEED, SPEED),
     'rule = "same-arc-length", but co2 has +3.5 V over mix'),
    ("same-arc-length", (volts(18.5, 20.5), FEED, travel(30, 33)),
     'rule = "same-arc-length" moves volts alone, but co2 at 20.5 V, 6.5 m/min, 33 cm/min also has '
     "other travel than mix."),
    ("same-arc-length", (FEED, SPEED),
     'rule = "same-arc-length" cannot be checked: volts are neither a factor nor held. Add it as a '
     "factor, or under [[held]] if it is the same for all."),
    ("same-heat-input", (volts(18.5, 20.5), FEED, travel(30, 30)),
     'rule = "same-heat-input", but co2 at 20.5 V, 6.5 m/min, 30 cm/min has arc energy +10.8 % '
     "against mix, more than the machine's steps explain: travel 33.2 cm/min or 18.5 V under co2 "
     "would make it equal (current taken as equal at one wire feed)."),
    ("same-heat-input", (volts(18.5, 20.5), FEED, travel(30, 33.2)), None),
    ("same-heat-input", (volts(18.5, 20.5), FEED, travel(30, 33.4)),
     'rule = "same-heat-input", but co2 at 20.5 V, 6.5 m/min, 33.4 cm/min has arc energy −0.5 %'),
    ("same-deposit", (volts(18.5, 20.5), FEED, travel(30, 33)),
     'rule = "same-deposit", but co2 at 20.5 V, 6.5 m/min, 33 cm/min lays down −9.1 % wire per '
     "length against mix: travel 30 cm/min under co2 would make it equal."),
    ("same-deposit", (volts(18.5, 20.5), FEED, travel(30, 30)), None),
    ("same-deposit", (volts(18.5, 20.5), FEED),
     'rule = "same-deposit" cannot be checked: travel is neither a factor nor held.'),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "parts", "said"), CASES)
def test_a_promise_that_is_not_kept_is_said(
    rule: str, parts: tuple[str, ...], said: str | None
) -> None:
    _, warnings = found(text(rule, *parts))
    about = [words for words in warnings if words.startswith("rule =")]
    if said is None:
        assert about == []
    else:
        (words,) = about
        assert words.startswith(said)


def test_gases_turned_round_and_other_gases() -> None:
    """With CO2 as the control the mix needs less; of other pairs no usual shift is known."""
    turned = text("same-arc-length", volts(20.5, 20.5), FEED, SPEED, mix="C1", co2="M21")
    _, warnings = found(turned)
    assert any("18.5 V under co2 would" in words for words in warnings)
    _, warnings = found(text("same-arc-length", volts(18.5, 18.9), FEED, mix="M21", co2="M20"))
    assert not [words for words in warnings if words.startswith("rule =")]
    _, warnings = found(text("same-arc-length", volts(18.5, 18.5), FEED, mix="M21", co2="M20"))
    assert any("has the same volts as mix: that is the same setting" in w for w in warnings)


def test_another_transfer_is_named_and_cited() -> None:
    hot = text("each-gas-own-setting", volts(27, 29), held("wire_feed", "m/min", 9), wire=1.2)
    _, (words,) = found(hot)
    assert words.startswith(
        "Likely another transfer: spray under mix at 27 V and 9 m/min, globular under co2 at 29 V "
        "and 9 m/min (usual windows; common practice, from memory)."
    )
    one = text("each-gas-own-setting", volts(26, 28), held("wire_feed", "m/min", 9), wire=1.0)
    _, (words,) = found(one)
    assert "and co2 (C1) never is: short arc or globular only (trade-magazine consumables" in words
    between = text("each-gas-own-setting", volts(22, 21), FEED)
    _, (words,) = found(between)
    assert words.startswith("mix at 22 V and 6.5 m/min lies between short arc and spray, 21–24 V")


def test_what_the_file_does_not_say_is_taken_as_equal_and_said_so() -> None:
    fair, _ = found(text("each-gas-own-setting", volts(18.5, 20.5)))
    assert fair is not None
    (pair,) = fair.pairs
    assert set(pair.one.values) == {"voltage"}
    assert pair.percent["arc_energy"] == pytest.approx(10.8, abs=0.05)
    assert fair.taken[0].startswith("Wire feed is neither a factor nor held, so it is taken as")
    assert fair.taken[1].startswith("Travel is neither a factor nor held, so it is taken as")


def test_nothing_is_said_without_a_rule_or_without_gases() -> None:
    bare = text("same-setting", FEED).replace('[fair]\nrule = "same-setting"\n', "")
    assert found(bare.replace('how = "Ten minutes a gas."\n', "")) == (None, ())
    nothing, _ = found(text("same-setting"))
    assert nothing is None
