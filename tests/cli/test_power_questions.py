from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower

Call = Callable[..., Any]
BARE = ("--mean", 78, "--sd", 4, "--sd-setup", 2, "--loss", "5%", "--setups", 6, "--coupons", 3)
PAGE = (Path(__file__).resolve().parents[2] / "cli" / "help" / "power.md").read_text("utf-8")
COMMANDS = re.findall(r"^    weldtrial (power .*)$", PAGE, re.MULTILINE)

FACTORS = """
format = 1
[trial]
title = "Three gases and a wire feed"
[fair]
rule = "same-setting"
[[factor]]
name = "gas"
levels = ["mix", "co2", "m20"]
hard_to_change = true
[[factor]]
name = "wire_feed"
levels = [7.5, 9.5]
unit = "m/min"
[[response]]
name = "break_load"
unit = "kN"
reads_to = 2
sections = 2
margin = 5
margin_why = "It would not matter."
typical = { mean = 80, sd_coupon = 4.0, sd_setup = 2.0, sd_reading = 3.0, from = "pilot" }
[[response]]
name = "bend"
kind = "pass-fail"
rank = 2
[design]
rounds = 5
model = "two-factor"
[budget]
coupons = 60
minutes_coupon = 8
minutes_setup = 20
hours_per_day = 4
"""
FRACTION = """
format = 1
[trial]
title = "Four factors"
[fair]
rule = "same-setting"
[[factor]]
name = "wire"
levels = [7.5, 9.5]
unit = "m/min"
[[factor]]
name = "volts"
levels = [24, 27]
unit = "V"
[[factor]]
name = "travel"
levels = [30, 50]
unit = "cm/min"
[[factor]]
name = "stick"
levels = [12, 18]
unit = "mm"
[[response]]
name = "penetration"
unit = "mm"
margin = 0.3
margin_why = "It would not matter."
typical = { mean = 2.5, sd_coupon = 0.15, from = "pilot" }
[design]
kind = "fraction"
runs = 8
"""


def bare(weldtrial: Call, *arguments: object) -> dict[str, Any]:
    outcome = weldtrial("power", *arguments, "--json")
    assert outcome.code == 0, outcome.err
    found: dict[str, Any] = outcome.json["responses"]["response"]
    return found


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "trial.toml").write_text(FACTORS, encoding="utf-8")
    return tmp_path


# ------------------------------------------------------------------ the page


def test_the_page_has_a_command_for_every_question() -> None:
    assert len(COMMANDS) >= 13
    options = set(re.findall(r"--[a-z-]+", " ".join(COMMANDS)))
    assert options >= {"--width", "--gases", "--passing", "--no-worse-by", "--in-a-row",
                       "--readings", "--reads-to", "--rounds"}  # fmt: skip


@pytest.mark.parametrize("said", COMMANDS)
def test_every_command_of_the_page_runs(weldtrial: Call, said: str) -> None:
    outcome = weldtrial(*shlex.split(said))
    assert (outcome.code, outcome.err) == (0, "")
    assert max(map(len, outcome.out.splitlines())) <= 100
    assert not re.search(r"\bnan\b|\binf\b|None", outcome.out)


def test_the_help_lists_options_by_question(weldtrial: Call) -> None:
    out = weldtrial("power", "--help").out
    places = [out.index(one) for one in ("Scatter,", "Plan:", "Question:", "Best of several gases:",
                                         "Coupons that pass or fail:", "\nOptions:")]  # fmt: skip
    assert places == sorted(places)
    for option in ("--mean", "--loss", "--gases", "--in-a-row", "--json"):
        assert out.count(f"  {option}") == 1


# ------------------------------------------------------------------ numbers


def test_the_usual_question_stays_as_it_was(weldtrial: Call) -> None:
    found = bare(weldtrial, *BARE)
    assert round(100 * found["power"]) == 51
    assert found["detectable"] == pytest.approx(5.49, abs=0.005)
    assert (found["setups_per_gas"], found["coupons"]) == (11, 66)
    assert [step["coupons"] for step in found["coupons_in_the_same_set_ups"]] == [
        1, 2, 3, 6, 12, None
    ]  # fmt: skip


def test_scatter_in_percent_of_the_mean(weldtrial: Call) -> None:
    units = bare(weldtrial, "--mean", 80, "--sd", 4, "--sd-setup", 2, "--loss", "5%",
                 "--setups", 6, "--coupons", 3)  # fmt: skip
    percent = bare(weldtrial, "--mean", 80, "--sd", "5%", "--sd-setup", "2.5%", "--loss", "5%",
                   "--setups", 6, "--coupons", 3)  # fmt: skip
    assert units == percent


def test_readings_count_as_scatter_of_coupons(weldtrial: Call) -> None:
    both = bare(weldtrial, "--sd", 3, "--sd-reading", 8, "--readings", 4, "--loss", 5,
                "--coupons", 10)  # fmt: skip
    one = bare(weldtrial, "--sd", 5, "--loss", 5, "--coupons", 10)
    assert both["power"] == pytest.approx(one["power"], abs=1e-12)
    perfect = bare(weldtrial, "--sd", 3, "--loss", 5, "--coupons", 10)
    assert both["with_perfect_readings"] == pytest.approx(perfect["detectable"], rel=1e-9)
    assert (both["sd_reading"], both["readings"]) == (8.0, 4)


def test_unequal_groups_by_statsmodels(weldtrial: Call) -> None:
    library = TTestIndPower()
    found = bare(weldtrial, "--sd", 4, "--loss", 4, "--coupons", "10,14")
    assert found["power"] == pytest.approx(library.power(1.0, 10, 0.05, ratio=1.4), abs=1e-9)
    assert (found["df"], found["unequal_coupons"], found["coupons_planned"]) == (22, [10, 14], 24)
    setups = bare(weldtrial, "--sd", 4, "--sd-setup", 2, "--loss", 4, "--setups", "6,4",
                  "--coupons", 3)  # fmt: skip
    sd = (4 + 16 / 3) ** 0.5
    expected = library.power(4 / sd, 6, 0.05, ratio=4 / 6)
    assert setups["power"] == pytest.approx(expected, abs=1e-9)
    assert (setups["unequal_setups"], setups["setups"], setups["coupons_planned"]) == (
        [6, 4], None, 30
    )  # fmt: skip
    assert bare(weldtrial, *BARE) == bare(weldtrial, *BARE[:9], "6,6", *BARE[10:])


def test_the_width_of_the_interval(weldtrial: Call) -> None:
    found = bare(weldtrial, "--sd", 4, "--width", 3, "--coupons", 8)
    assert found["loss"] is None
    width = found["half_width"]
    usual = stats.t.ppf(0.975, 14) * 4 * (2 / 8) ** 0.5
    assert width["probable"] == pytest.approx(usual * (stats.chi2.ppf(0.8, 14) / 14) ** 0.5)
    again = bare(weldtrial, "--sd", 4, "--width", 3, "--coupons", width["coupons"] // 2)
    assert again["half_width"]["probable"] <= 3.0
    out = " ".join(weldtrial("power", "--sd", 4, "--width", 3, "--coupons", 8).out.split())
    assert f"To keep it within ± 3, with that chance, takes {width['coupons']} coupons." in out
    assert "No margin is given" in out


def test_best_of_three(weldtrial: Call) -> None:
    today = bare(weldtrial, "--sd", 4, "--loss", 5, "--coupons", 8, "--gases", 3)
    every = bare(weldtrial, "--sd", 4, "--loss", 5, "--coupons", 8, "--gases", 3,
                 "--against", "all")  # fmt: skip
    assert (today["read_together"], every["read_together"]) == ("reference", "pairs")
    assert today["df"] == every["df"] == 21
    assert today["best"]["looks_best"] == every["best"]["looks_best"]
    assert today["power"] == today["best"]["one_shown"] > every["best"]["one_shown"]
    assert every["best"]["shown_best"] < every["best"]["one_shown"]
    assert bare(weldtrial, "--sd", 4, "--loss", 5, "--coupons", 8)["best"] is None


def test_passing_and_failing(weldtrial: Call) -> None:
    outcome = weldtrial("power", "--passing", "90%", "--falls-to", "50%", "--no-worse-by", "20%",
                        "--coupons", "12,15", "--in-a-row", "95%", "--json")  # fmt: skip
    found = outcome.json["passing"]
    assert found["fall"]["coupons"] == [12, 15]
    assert found["fall"]["coupons_per_gas"] == 20
    assert found["in_a_row"]["coupons"] == 59
    assert found["in_a_row"]["shown_by_coupons"] == pytest.approx(0.05 ** (1 / 12))
    assert 0 < found["no_worse"]["power"] < 1
    out = " ".join(weldtrial("power", "--passing", "0.9", "--falls-to", "70%").out.split())
    assert "To probably show it: 63 coupons of each gas, 126 in all (80.1 %)." in out
    assert "it is set-ups that count, not coupons" in out


def test_a_gauge_too_coarse_for_the_loss_is_said(weldtrial: Call) -> None:
    call = ("power", "--sd", 4, "--loss", 5, "--coupons", 8, "--reads-to")
    few = " ".join(weldtrial(*call, 2).out.split())
    assert "is only 2.5 steps of the gauge (2)" in few
    none = " ".join(weldtrial(*call, 10).out.split())
    assert "which is more than the loss asked about, 5" in none
    assert "of the gauge" not in weldtrial(*call, 0.5).out


# ------------------------------------------------------------------ folders


def test_a_folder_lists_every_factor_and_interaction(weldtrial: Call, folder: Path) -> None:
    outcome = weldtrial("power")
    out = " ".join(outcome.out.split())
    assert max(map(len, outcome.out.splitlines())) <= 100
    assert "4 kN coupon to coupon, 3 kN between readings, 2 readings each, 2 kN set-up" in out
    assert "gas × wire feed coupons within set-ups 42" in out
    assert "This plan: 60 coupons, spares and warm-ups included, in 15 set-ups, 13.0 h" in out
    assert "4 afternoons of 4 h" in out
    assert "is only 2.5 steps of the gauge (2 kN)" in out
    assert "--passing 90% --falls-to 70% --coupons 5" in out
    found = weldtrial("power", "--json").json["responses"]["break_load"]
    told = {one["term"]: one for one in found["terms"]}
    assert set(told) == {"gas", "wire_feed", "gas:wire_feed"}
    plan = weldtrial("plan", "--json").json
    gaps = {one["term"]: one["gap"] for one in plan["told"]}
    assert told["wire_feed"]["detectable"] == pytest.approx(gaps["wire_feed"], rel=1e-9)
    assert plan["assumed"]["sd_reading"] == 3.0
    assert plan["assumed"]["readings"] == 2
    assert "2² + (4² + 3²/2)/4 = 9.125 kN²" in " ".join(weldtrial("plan", "--why").out.split())


def test_a_fraction_without_replicates_is_judged_by_its_effects(
    weldtrial: Call, tmp_path: Path
) -> None:
    (tmp_path / "trial.toml").write_text(FRACTION, encoding="utf-8")
    out = " ".join(weldtrial("power").out.split())
    assert "the 7 effects judge each other (Lenth 1989)" in out
    assert "wire × volts (or travel × stick) size of the effects" in out
    found = weldtrial("power", "--json").json["responses"]["penetration"]
    assert {one["judged_by"] for one in found["terms"]} == {"effects"}
    assert found["power"] == found["terms"][0]["chance"] > 0.4
    (tmp_path / "trial.toml").write_text(f"{FRACTION}replicates = 2\n", encoding="utf-8")
    found = weldtrial("power", "--json").json["responses"]["penetration"]
    assert [one["df"] for one in found["terms"]] == [8.0] * 7
    assert found["power"] == pytest.approx(found["terms"][0]["chance"], abs=1e-9)


def test_a_margin_above_the_mean_gets_one_line(weldtrial: Call, folder: Path) -> None:
    text = FACTORS.replace("margin = 5", "margin = 90")
    (folder / "trial.toml").write_text(text, encoding="utf-8")
    out = " ".join(weldtrial("power").out.split())
    assert "The margin, 90 kN, is not below the mean expected, 80 kN" in out
    assert weldtrial("power", "--json").json["responses"]["break_load"]["power"] is None


def test_few_set_ups_are_said_to_be_few(weldtrial: Call) -> None:
    call = ("power", "--sd", 4, "--sd-setup", 1, "--loss", 4, "--coupons", 3, "--setups")
    few = " ".join(weldtrial(*call, "1,2").out.split())
    assert "1 set-up of the new gas and 2 of today's" in few
    assert 'a verdict can only begin with "Suggests"' in few
    assert "Lenth" not in few
    assert "Suggests" not in weldtrial(*call, 4).out


# ------------------------------------------------------------------ slips


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--sd", "5%", "--loss", 4, "--coupons", 3), "--sd is in percent, and of what is not"),
        (("--mean", 4, "--sd", 1, "--loss", 5, "--coupons", 3), "is not below the mean, 4"),
        (("--sd", "0%", "--mean", 8, "--loss", 4, "--coupons", 3), "--sd 0% cannot be: coupons"),
        (("--sd", 4, "--loss", 4, "--coupons", "3.5"), "--coupons 3.5 cannot be: use 1 to"),
        (("--sd", 4, "--loss", 4, "--coupons", "3,4,5"), "--coupons 3,4,5 cannot be"),
        (("--sd", 4, "--loss", 4, "--coupons", "3,4", "--setups", 5), "use one number, the same"),
        (("--sd", 4, "--loss", 4, "--coupons", 3, "--setups", "6,4", "--rounds"),
         "--setups 6,4 and --rounds disagree"),
        ((*BARE, "--readings", 2), "--readings needs to know"),
        ((*BARE, "--sd-reading", 1, "--readings", 0), "--readings 0 cannot be"),
        ((*BARE, "--gases", 1), "--gases 1 cannot be"),
        ((*BARE, "--against", "all"), "--against is for three gases or more"),
        (("--sd", 4, "--loss", 4, "--coupons", "3,4", "--gases", 3), "need the same numbers"),
        ((*BARE, "--width", 0), "--width 0 cannot be"),
        ((*BARE, "--reads-to", -1), "--reads-to -1 cannot be"),
        (("--passing", "90%"), "--passing alone asks nothing"),
        (("--falls-to", "90%"), "--passing is missing"),
        (("--passing", "90%", "--falls-to", "95%"), "is no fall from 90%"),
        (("--passing", "10%", "--no-worse-by", "20%"), "is not below 10%"),
        (("--passing", 90, "--falls-to", "70%"), "--passing 90 cannot be: use a share"),
        (("--in-a-row", "100%"), "--in-a-row 100% cannot be"),
        (("--in-a-row", "99.95%"), "cannot be shown by counting"),
        (("--passing", "90%", "--falls-to", "70%", "--coupons", 1000), "use 1 to 300 per gas"),
        (("--passing", "90%", "--falls-to", "70%", "--setups", 6), "--setups cannot stand with"),
    ],
)  # fmt: skip
def test_a_slip_gets_one_clear_line(
    weldtrial: Call, arguments: tuple[object, ...], words: str
) -> None:
    outcome = weldtrial("power", *arguments)
    assert (outcome.code, outcome.out) == (2, "")
    lines = [line for line in outcome.err.splitlines() if line.startswith("weldtrial power:")]
    assert len(lines) == 1
    assert words in lines[0]


def test_all_slips_at_once(weldtrial: Call) -> None:
    outcome = weldtrial("power", "--sd", 0, "--loss", "0", "--setups", 0, "--gases", 0)
    said = [line for line in outcome.err.splitlines() if line.startswith("weldtrial power:")]
    assert len(said) == 5  # and --coupons is missing
