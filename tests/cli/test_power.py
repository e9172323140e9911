from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from statsmodels.stats.power import TTestIndPower

from weldtrial.cli.power_figures import parse_loss
from weldtrial.shared.responses import Margin

Call = Callable[..., Any]
BARE = ("--mean", 78, "--sd", 4, "--sd-setup", 2, "--loss", "5%", "--setups", 6, "--coupons", 3)

TRIAL = """
format = 1
[trial]
title = "Cheaper gas"
[fair]
rule = "same-setting"
[[factor]]
name = "gas"
levels = ["mix", "co2"]
hard_to_change = true
[[response]]
name = "break_load"
unit = "kN"
margin = 5
margin_why = "It would not matter."
ask = "no-worse"
typical = { mean = 80, sd_coupon = 4.0, sd_setup = 2.0, from = "pilot" }
[[response]]
name = "penetration"
unit = "mm"
rank = 2
margin = 0.3
margin_why = "It would not matter."
[design]
rounds = 6
[budget]
coupons = 36
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "trial.toml").write_text(TRIAL, encoding="utf-8")
    return tmp_path


def bare(weldtrial: Call, *arguments: object) -> dict[str, Any]:
    outcome = weldtrial("power", *arguments, "--json")
    assert outcome.code == 0, outcome.err
    (name,) = outcome.json["responses"]
    assert name == "response"
    found: dict[str, Any] = outcome.json["responses"]["response"]
    return found


def test_two_gases_by_free_set_ups(weldtrial: Call) -> None:
    """Checked through set-up means: six a gas with sd √(2² + 4²/3), by statsmodels."""
    found = bare(weldtrial, *BARE)
    sd = (2**2 + 4**2 / 3) ** 0.5
    library = TTestIndPower()
    assert found["power"] == pytest.approx(library.power(3.9 / sd, 6, 0.05), abs=1e-9)
    gap = library.solve_power(nobs1=6, alpha=0.05, power=0.8) * sd
    assert found["detectable"] == pytest.approx(gap, rel=1e-6)
    needed = library.solve_power(effect_size=3.9 / sd, alpha=0.05, power=0.8)
    assert found["setups_per_gas"] == -(-needed // 1)
    assert found["coupons"] == 2 * 3 * found["setups_per_gas"]
    assert (found["df"], found["paired"]) == (10, False)


def test_rounds_pair_the_set_ups(weldtrial: Call) -> None:
    found = bare(weldtrial, *BARE, "--rounds")
    assert (found["df"], found["paired"]) == (5, True)
    assert found["power"] == pytest.approx(0.43245, abs=1e-5)
    assert bare(weldtrial, *BARE, "--rounds", 6) == found


def test_without_set_ups_coupons_are_per_gas(weldtrial: Call) -> None:
    found = bare(weldtrial, "--mean", 80, "--sd", 4, "--loss", "5%", "--coupons", 16)
    assert found["power"] == pytest.approx(TTestIndPower().power(1.0, 16, 0.05), abs=1e-9)
    assert found["setups_per_gas"] is None
    assert found["coupons"] == 2 * 17
    assert found["coupons_planned"] == 32
    assert (found["paired"], found["setups"]) == (None, None)


def test_a_loss_in_units_needs_no_mean(weldtrial: Call) -> None:
    units = bare(weldtrial, "--sd", 4, "--loss", 4, "--coupons", 16)
    percent = bare(weldtrial, "--mean", 80, "--sd", 4, "--loss", "5%", "--coupons", 16)
    assert units["power"] == percent["power"]
    assert units["mean"] is None
    # A percent margin is tested against a mean that is itself estimated.
    assert units["no_worse"] != percent["no_worse"]


def test_another_chance_needs_more(weldtrial: Call) -> None:
    usual, more = bare(weldtrial, *BARE), bare(weldtrial, *BARE, "--chance", 0.95)
    assert more["setups_per_gas"] > usual["setups_per_gas"]
    assert more["detectable"] > usual["detectable"]
    assert more["power"] == usual["power"]


def test_one_set_up_a_gas_shows_nothing_and_says_why(weldtrial: Call) -> None:
    arguments = ("--mean", 78, "--sd", 4, "--loss", "5%", "--setups", 1, "--coupons", 18)
    found = bare(weldtrial, *arguments)
    assert (found["power"], found["detectable"], found["df"]) == (0.0, None, 0)
    assert found["setups_per_gas"] >= 2
    out = weldtrial("power", *arguments).out
    assert "cannot be told apart" in out
    assert "nan" not in out.casefold()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--sd", 4), ["--loss is missing", "--coupons is missing"]),
        (("--sd", 4, "--loss", "5%", "--coupons", 3), ["in percent, and of what is not said"]),
        (("--sd", 0, "--loss", 4, "--coupons", 3), ["--sd 0 cannot be"]),
        (("--sd", "nan", "--loss", 4, "--coupons", 3), ["--sd nan cannot be"]),
        (("--sd", 4, "--sd-setup", -1, "--loss", 4, "--coupons", 3), ["--sd-setup -1 cannot be"]),
        (("--sd", 4, "--loss", "much", "--coupons", 3), ["--loss much is no loss"]),
        (("--sd", 4, "--loss", "0", "--coupons", 3), ["--loss 0 is no loss"]),
        (("--sd", 4, "--loss", 4, "--coupons", 0), ["--coupons 0 cannot be"]),
        (("--sd", 4, "--loss", 4, "--coupons", 3, "--setups", 0), ["--setups 0 cannot be"]),
        (("--sd", 4, "--loss", 4, "--coupons", 3, "--rounds"), ["--rounds pairs set-ups"]),
        ((*BARE, "--rounds", 5), ["--rounds 5 and --setups 6 disagree"]),
        ((*BARE, "--chance", 1), ["--chance 1 cannot be"]),
        ((*BARE, "--chance", 0.05), ["--chance 0.05 cannot be"]),
        ((*BARE, "--mean", -78), ["--mean -78 cannot be"]),
        (("--sd", "four"), ["--sd"]),
    ],
)
def test_options_that_cannot_be_end_with_words(
    weldtrial: Call, arguments: tuple[object, ...], words: list[str]
) -> None:
    outcome = weldtrial("power", *arguments)
    assert (outcome.code, outcome.out) == (2, "")
    for one in words:
        assert one in outcome.err
    assert "Traceback" not in outcome.err


def test_the_screen_says_what_the_figures_mean(weldtrial: Call) -> None:
    out = " ".join(weldtrial("power", *BARE).out.split())
    assert "6 set-ups of each, shuffled freely, 3 coupons a set-up: 36 coupons" in out
    assert "a true loss of 3.9 51 % 11 66" in out
    assert "Smallest loss it would probably see: 5.49" in out
    assert "More coupons in the same set-ups help less" in out
    assert out.endswith("Next: weldtrial new NAME")


def test_in_a_folder_every_response_is_answered(weldtrial: Call, folder: Path) -> None:
    found = weldtrial("power", "--json").json["responses"]
    assert list(found) == ["break_load", "penetration"]
    load = found["break_load"]
    assert load["power"] == pytest.approx(0.62466, abs=1e-5)
    assert load["detectable"] == pytest.approx(6.19794, abs=1e-5)
    assert (load["setups_per_gas"], load["coupons"]) == (8, 48)
    assert load["no_worse"] == pytest.approx(0.78321, abs=1e-5)
    assert (load["unit"], load["ask"], load["words"]) == ("kN", "no-worse", None)
    nothing = found["penetration"]
    assert {nothing[key] for key in ("power", "detectable", "setups_per_gas", "coupons")} == {None}
    assert "Add to the response" in nothing["words"]


def test_in_a_folder_the_screen_goes_response_by_response(weldtrial: Call, folder: Path) -> None:
    out = " ".join(weldtrial("power").out.split())
    assert "6 set-ups of each, in rounds, 3 coupons a set-up: 36 coupons" in out
    assert "a true loss of 5 kN 62 % 8 48" in out
    assert "Nothing is known of how penetration scatters" in out
    assert out.endswith("Next: weldtrial plan")


def test_a_plan_that_cannot_answer_is_refused(weldtrial: Call, folder: Path) -> None:
    path = folder / "trial.toml"
    path.write_text(TRIAL.replace("rounds = 6", "rounds = 1"), encoding="utf-8")
    outcome = weldtrial("power")
    assert outcome.code == 3
    assert "Each gas is set up once" in outcome.err
    path.write_text(TRIAL.replace("coupons = 36", "coupons = 20"), encoding="utf-8")
    outcome = weldtrial("power")
    assert outcome.code == 3
    assert "Closest that fits: 5 rounds × 2 gases × 2 = 20. If the gases are equal" in outcome.err


def test_without_trial_or_numbers_both_ways_are_named(weldtrial: Call) -> None:
    outcome = weldtrial("power")
    assert outcome.code == 2
    assert "No trial.toml here" in outcome.err
    assert "weldtrial power --mean 78" in outcome.err


@pytest.mark.parametrize(
    ("text", "loss"),
    [
        ("5%", Margin(0.05, True)),
        (" 5 % ", Margin(0.05, True)),
        ("4", Margin(4.0)),
        ("0.5", Margin(0.5)),
        ("-4", None),
        ("100%", None),
        ("inf", None),
        ("nan", None),
        ("", None),
    ],
)
def test_a_loss_in_percent_or_units(text: str, loss: Margin | None) -> None:
    assert parse_loss(text) == loss
