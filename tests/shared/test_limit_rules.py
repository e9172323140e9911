"""Rules about settings: read once, asked of settings, and refused where they leave nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.limit_rules import Words
from weldtrial.shared.limit_text import NotARule, UnknownName, parse_rule
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import read_trial

SETTINGS = Path(__file__).parent / "trial_files" / "settings.toml"
WORDS = Words(
    ("voltage", "wire_feed"),
    {"stickout": 15.0},
    {"gas": ("mix", "co2"), "wire": ("G3 Si1", "G4")},
)
VOLTS = st.floats(18, 32)
FEEDS = st.floats(4, 12)


def holds(text: str, **settings: float | str) -> bool:
    return parse_rule(text, WORDS).holds(settings)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("voltage * wire_feed <= 262", True),
        ("voltage * wire_feed <= 203", False),
        ("not (wire_feed > 8 and voltage < 21)", True),
        ("not (wire_feed > 8 and voltage < 25)", False),
        ("wire_feed <= 8 or voltage >= 24", True),
        ("wire_feed <= 8 or voltage >= 24.1", False),
        ("not wire_feed > 9 and voltage > 20", True),
        ("not (wire_feed > 9 or voltage > 20)", False),
        ("(voltage - 20) / 2 + wire_feed < 10.6", True),
        ("-voltage + 2 * (wire_feed / 3) >= .5", False),
        ("voltage - 10 - 5 < 9.5", True),
        ("voltage / 2 / 2 <= 6", True),
        ("2 * stickout >= voltage", True),
        ("voltage <= 20 when gas = co2", True),
        ("voltage <= 20 when gas = mix", False),
        ("voltage <= 20 when gas != co2", False),
        ("gas = mix or voltage < 20", True),
        ("wire = 'G3 Si1'", True),
        ("wire != 'G3 Si1'", False),
        ("voltage < 20 when wire_feed > 9", True),
        ("1 / (voltage - 24) > 0", False),
        ("not (1 / (voltage - 24) > 0)", False),
    ],
)
def test_rule_at_24_volts_and_8_5_metres_of_mix(text: str, kept: bool) -> None:
    at = {"voltage": 24.0, "wire_feed": 8.5, "gas": "mix", "wire": "G3 Si1"}
    assert holds(text, **at) is kept


@given(VOLTS, FEEDS)
def test_forbidden_conjunction_is_what_it_says(voltage: float, feed: float) -> None:
    kept = holds("not (wire_feed > 8 and voltage < 21)", voltage=voltage, wire_feed=feed)
    near = abs(feed - 8) < 1e-6 or abs(voltage - 21) < 1e-6
    assert near or kept == (not (feed > 8 and voltage < 21))


@given(VOLTS, FEEDS)
def test_a_cell_on_the_line_is_allowed_whatever_rounds(voltage: float, feed: float) -> None:
    """262 may come out as 262.00000000000006: that forbids nothing, and `<` allows nothing."""
    product = voltage * feed
    nudged = {"voltage": voltage * (1 + 1e-12), "wire_feed": feed}
    assert holds(f"voltage * wire_feed <= {product:.17f}", **nudged)
    assert holds(f"voltage - {product / feed:.17f} <= 0", **nudged)
    assert not holds(f"voltage * wire_feed < {product:.17f}", **nudged)
    assert not holds(f"voltage * wire_feed <= {product * (1 - 1e-6):.17f}", **nudged)


@given(VOLTS, FEEDS)
def test_the_same_rule_in_other_words(voltage: float, feed: float) -> None:
    at = {"voltage": voltage, "wire_feed": feed}
    one = holds("not (wire_feed > 8 and voltage < 21)", **at)
    assert one == holds("wire_feed <= 8 or voltage >= 21", **at)
    assert one == holds("voltage >= 21 when wire_feed > 8", **at)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("voltage <= 2 <= 3", "goes on after its end"),
        ("voltage = 25", "holds voltage to one number by =; use <= or >="),
        ("voltage", "has no <= or >= where one is needed"),
        ("voltage <= 25 and", "stops too early"),
        ("voltage <= 25 and wire_feed", "has no comparison beside 'and'"),
        ("not voltage", "has no comparison beside 'not'"),
        ("voltage <= 25 when voltage", "has no comparison beside 'when'"),
        ("(voltage <= 25) + 2 > 1", "has + beside a comparison"),
        ("-(voltage <= 25)", "has - before a comparison"),
        ("25 >= (voltage < 2)", "compares with a comparison"),
        ("voltage <= and", "has and where a name or a number is needed"),
        ("(" * 30 + "voltage < 2" + ")" * 30, "20 brackets or signs deep"),
        ("not " * 30 + "voltage < 2", "20 brackets or signs deep"),
        ("- " * 90 + "voltage < 2", "20 brackets or signs deep"),
        ("9" * 195 + "* 9 < voltage", ""),
        ("1 <= 2", "names no factor"),
        ("voltage & 2", "a sign it cannot read, '&'"),
    ],
)
def test_what_is_no_rule(text: str, words: str) -> None:
    if not words:
        assert parse_rule(text, WORDS).holds({"voltage": 1.0}) is False
        return
    with pytest.raises(NotARule) as caught:
        parse_rule(text, WORDS)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("voltge <= 25", "Did you mean 'voltage'?"),
        ("voltage < 2 when gas = CO2", "Did you mean 'co2'?"),
        ("voltage < 2 when gas = argon", "Its levels are mix, co2."),
        ("gas <= 3", "end it with  when gas = mix."),
    ],
)
def test_a_name_it_may_not_use(text: str, words: str) -> None:
    with pytest.raises(UnknownName) as caught:
        parse_rule(text, WORDS)
    assert words in str(caught.value)


@given(st.text("voltage wire_feed()<>=!+-*/.0123456789'andornotwhen gas=co2", max_size=60))
def test_any_text_is_a_rule_or_is_refused_in_words(text: str) -> None:
    try:
        rule = parse_rule(text, WORDS)
    except (NotARule, UnknownName):
        return
    at = {"voltage": 24.0, "wire_feed": 8.0, "gas": "co2", "wire": "G4"}
    assert rule.holds(at) in (True, False)


# ------------------------------------------------------------------ what a rule leaves


def read(tmp_path: Path, *rules: str) -> tuple[Trial | None, list[str], list[str]]:
    text = SETTINGS.read_text(encoding="utf-8")
    first, *others = rules
    more = "".join(f'[[limit_on_settings]]\nrule = "{rule}"\n' for rule in others)
    text = text.replace("voltage * wire_feed <= 262", first).replace(
        "[[response]]", f"{more}[[response]]", 1
    )
    file = tmp_path / "trial.toml"
    file.write_text(text, encoding="utf-8")
    trial, problems = read_trial(file)
    wrong = [str(one) for one in problems if not one.warning]
    return trial, wrong, [str(one) for one in problems if one.warning]


def test_a_limit_that_leaves_nothing_says_how_near_the_settings_come(tmp_path: Path) -> None:
    """Bad input 15, word for word, with its line before it."""
    _, (wrong,), _ = read(tmp_path, "voltage * wire_feed <= 170")
    assert wrong.endswith(
        'limit_on_settings "voltage * wire_feed <= 170" rules out every setting: the smallest '
        "product you allow is 182 (mix 24.3 V × 7.5 m/min). Check the number or the unit."
    )
    assert "trial.toml line 28" in wrong


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("262 >= voltage * wire_feed * 10", "the smallest value of the left side"),
        ("voltage * wire_feed >= 400", "the largest product you allow is 271 (co2 28.5 V × 9.5"),
        ("voltage >= 300", "the largest voltage you allow is 28.5 V (co2)"),
        ("wire_feed + travel < 30", "the smallest sum you allow is 37.5 (7.5 m/min + 30 cm/min)"),
        ("voltage / wire_feed <= 2", "is 2.56 (mix, voltage 24.3 V, wire_feed 9.5 m/min)"),
        ("voltage < 25.4 when gas = co2", "every setting of co2: the smallest voltage you allow"),
        ("voltage * wire_feed <= 182.2", "you allow is 182.25 (mix"),
        ("not (wire_feed > 7 and voltage < 31)", "no setting that you allow keeps it"),
        ("voltage > 26 and voltage < 25", "no setting that you allow keeps it"),
        ("gas = mix", "rules out every setting of co2"),
    ],
)
def test_any_limit_that_leaves_nothing(tmp_path: Path, rule: str, words: str) -> None:
    trial, (wrong,), _ = read(tmp_path, rule)
    assert trial is None
    assert words in wrong or words.replace("left side", "left side you allow") in wrong


def test_two_limits_that_leave_nothing_together(tmp_path: Path) -> None:
    _, (wrong,), _ = read(tmp_path, "voltage >= 26", "voltage * wire_feed < 194")
    assert "the 2 limits on settings together rule out every setting: no setting" in wrong


def test_a_limit_that_forbids_nothing_is_worth_a_word(tmp_path: Path) -> None:
    trial, wrong, warned = read(tmp_path, "voltage * wire_feed <= 271")
    assert trial is not None
    assert not wrong
    (words,) = warned
    assert "rules out nothing: the largest product you allow is 270.8 (co2 28.5 V" in words


@pytest.mark.parametrize(
    "rule",
    [
        "2 / (voltage - 25) > 1",  # passes through nothing between the ends
        "voltage * (voltage - 26.4) < 40",
        "voltage >= 26 and voltage <= 26.5",
        "voltage * wire_feed <= 262 when gas = co2",
        "not (wire_feed > 9 and voltage < 25)",
    ],
)
def test_limits_that_leave_something_pass(tmp_path: Path, rule: str) -> None:
    trial, wrong, warned = read(tmp_path, rule)
    assert trial is not None
    assert (wrong, warned) == ([], [])
