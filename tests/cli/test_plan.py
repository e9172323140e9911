from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scipy import stats

from weldtrial.cli.plan_parts import p_cell

TRIAL = """
format = 1
[trial]
title   = "Cheaper gas on 8 mm drawbar fillets"
welder  = "welder 1"
purpose = "compare"
[fair]
rule = "each-gas-own-setting"
how = "Ten minutes of tune-up welds per gas."
[joint]
type = "T-joint"
length = { value = 60, unit = "mm" }
wire = { class = "ISO 14341-A G3Si1", diameter = 1.0, unit = "mm" }
[[factor]]
name = "gas"
label = "Shielding gas"
levels = ["mix", "co2"]
hard_to_change = true
control = "mix"
  [factor.about]
  mix = { iso14175 = "M21-ArC-18", cost_per_m3 = 8.40 }
  co2 = { iso14175 = "C1", cost_per_m3 = 3.60 }
[[factor]]
name = "voltage"
unit = "V"
step = 0.1
slides_with = "gas"
levels = ["own"]
  [factor.at]
  mix = { own = 25.5 }
  co2 = { own = 27.0 }
[[held]]
name = "wire_feed"
unit = "m/min"
target = 8.5
tolerance = 0.2
[[held]]
name = "gas_flow"
unit = "L/min"
target = 15
tolerance = 1
[[response]]
name = "break_load"
label = "Load to break"
unit = "kN"
better = "higher"
rank = 1
reads_to = 0.1
most = 90
margin = 5
margin_why = "Design load uses 40 % of it."
ask = "no-worse"
typical = { mean = 80, sd_coupon = 4.0, sd_setup = 2.0, from = "8 pilot coupons, May" }
[[response]]
name = "penetration"
unit = "mm"
rank = 2
reads_to = 0.1
margin = 0.3
margin_why = "Less would not matter."
ask = "difference"
sections = 2
typical = { mean = 1.2, sd_coupon = 0.22, sd_setup = 0.10, from = "guess" }
[design]
kind = "factorial"
rounds = 6
set_ups = 12
[budget]
coupons = 40
spare = 2
warm_up = 2
minutes_coupon = 9
minutes_setup = 12
hours_per_day = 4
cost_coupon = 6.50
currency = "EUR"
[order]
block = "round"
first_at_most = 4
"""

Call = Callable[..., Any]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "trial.toml").write_text(TRIAL, encoding="utf-8")
    return tmp_path


def change(folder: Path, *pairs: tuple[str, str]) -> None:
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    for was, now in pairs:
        assert was in text
        text = text.replace(was, now)
    (folder / "trial.toml").write_text(text, encoding="utf-8")


def squeezed(text: str) -> str:
    return " ".join(text.split())


def test_the_rounds_table_as_a_tester_sees_it(weldtrial: Call, folder: Path) -> None:
    outcome = weldtrial("plan")
    assert outcome.code == 0
    assert outcome.err == ""
    rows = [squeezed(line) for line in outcome.out.splitlines()]
    for row in (
        "1 2 18 6.4 never 0 % 1.00 cannot answer",
        "2 4 9 6.8 39 26 % 0.50 weak",
        "3 6 6 7.2 12 47 % 0.25 weak",
        "▸ 6 12 3 8.4 6.2 78 % 0.04 ← your file",
        "9 18 2 9.6 5.2 87 % 0.005",
        "18 36 1 13.2 4.4 94 % <0.001",
    ):
        assert row in rows
    words = squeezed(outcome.out)
    assert "budget 40 coupons − 2 warm-up − 2 spare = 36 to share out" in words
    assert "each at its own voltage (25.5 / 27.0 V)" in words
    assert "is co2 no worse than mix by more than 5 kN?" in words
    assert "If the set-up guess is really 3.0, 6 rounds drop to 63 %." in words
    assert "Try: weldtrial plan --if sd_setup=3" in words
    assert outcome.out.rstrip().endswith("Next:  weldtrial seal")


def test_nothing_is_written(weldtrial: Call, folder: Path) -> None:
    before = (folder / "trial.toml").read_bytes()
    weldtrial("plan", "--if", "sd_setup=3", "--try", "rounds=9", "--why")
    assert (folder / "trial.toml").read_bytes() == before
    assert [path.name for path in folder.iterdir()] == ["trial.toml"]


def test_what_it_tells_and_what_may_spoil_it(weldtrial: Call, folder: Path) -> None:
    words = squeezed(weldtrial("plan").out)
    told = "shielding gas: judged by set-ups, 5 to judge the spread from; would probably see 6.2 kN"
    assert told in words
    assert "mix and co2 at one and the same voltage" in words
    assert "bottle changes 12" in words
    assert "days 3 days" in words
    assert "shielding gas co2 needs budget.arc_s_coupon and budget.purge_s" in words
    assert "no gas first in more than 4 of 6 rounds" in words
    assert "50 orders may be drawn; a shuffle test can reach p = 0.04 at best" in words
    assert "5 kN, is 50 steps of the gauge (0.1 kN)" in words
    assert "about 1 in 100 coupons would be above the gauge limit, 90 kN" in words
    assert "fit_up_gap" in words
    assert "co2 at 27 V and 8.5 m/min lies outside the usual windows" in words


def test_json_holds_every_figure_of_the_table(weldtrial: Call, folder: Path) -> None:
    found = weldtrial("plan", "--json").json
    assert [row["rounds"] for row in found["rows"]] == [1, 2, 3, 6, 9, 18]
    assert [row["set_ups"] for row in found["rows"]] == [2, 4, 6, 12, 18, 36]
    assert [row["gap"] and round(row["gap"], 1) for row in found["rows"]] == [
        None, 39.3, 11.9, 6.2, 5.2, 4.4,
    ]  # fmt: skip
    assert [round(100 * row["chance"]) for row in found["rows"]] == [0, 26, 47, 78, 87, 94]
    assert [round(row["hours"], 1) for row in found["rows"]] == [6.4, 6.8, 7.2, 8.4, 9.6, 13.2]
    assert found["rows"][3]["current"] is True
    assert found["if_setups_scatter_more"]["setup"] == 3.0
    assert round(found["if_setups_scatter_more"]["chance"], 2) == 0.63
    assert found["order"] == {
        "restriction": "no gas first in more than 4 of 6 rounds",
        "first_at_most": 4,
        "orders": 50,
        "smallest_p": 0.04,
    }
    assert found["bench"]["hours"] == {"value": 8.4, "unit": "h", "needs": []}
    assert found["bench"]["cost"]["value"] == 260.0
    (told,) = found["told"]
    assert told["gap"] == found["rows"][3]["gap"]
    assert (told["term"], told["judged_by"], told["error_df"]) == ("gas", "set-ups", 5)
    assert "welder" not in found["flagged"]
    assert "day" in found["flagged"]
    assert found["sealed"] is False


def test_if_changes_the_figures_in_mind(weldtrial: Call, folder: Path) -> None:
    found = weldtrial("plan", "--if", "sd_setup=3", "--if", "margin=4", "--json").json
    assert found["changes"] == [
        {"key": "break_load.typical.sd_setup", "was": 2.0, "now": 3},
        {"key": "break_load.margin", "was": 5, "now": 4},
    ]
    assert (found["assumed"]["sd_setup"], found["decides"]["margin"]) == (3, 4)
    shown = weldtrial("plan", "--if", "sd_setup=3").out
    assert "IF break_load.typical.sd_setup = 3 (the file: 2.0)" in shown
    assert "▸       6       12" in shown
    assert "63 %" in shown


@pytest.mark.parametrize(
    ("said", "rounds", "per_setup"),
    [
        ("budget.coupons=52", 6, 4),
        ("design.rounds=9", 9, 2),
        ("design.set_ups=36", 18, 1),
        ("design.replicates=2", 6, 2),
        ('break_load.margin="6 %"', 6, 3),
        ("penetration.typical.sd_setup=0.2", 6, 3),
        ("voltage.step=0.5", 6, 3),
        ("wire_feed.target=9", 6, 3),
    ],
)
def test_any_key_of_the_file_can_be_changed_in_mind(
    weldtrial: Call, folder: Path, said: str, rounds: int, per_setup: int
) -> None:
    found = weldtrial("plan", "--if", said, "--json").json
    (row,) = [row for row in found["rows"] if row["current"]]
    assert (row["rounds"], row["per_setup"]) == (rounds, per_setup)


@pytest.mark.parametrize(
    ("said", "code", "words"),
    [
        ("sd_setpu=3", 2, "Did you mean 'sd_setup'?"),
        ("sd_setup", 2, "such as  --if sd_setup=3"),
        ("=3", 2, "such as  --if sd_setup=3"),
        ("nonsense=4", 2, "or a key of the file such as budget.coupons"),
        ("nobody.margin=4", 2, "--if does not know 'nobody.margin'"),
        ("budget.coupon=4", 3, "Did you mean 'coupons'?"),
        ("budget.coupons=many", 3, "coupons"),
        ("budget.coupons.more=4", 2, "there is no 'more' in 'coupons'"),
    ],
)
def test_a_key_that_is_not_known_is_refused(
    weldtrial: Call, folder: Path, said: str, code: int, words: str
) -> None:
    outcome = weldtrial("plan", "--if", said)
    assert (outcome.code, outcome.out) == (code, "")
    assert words in outcome.err


def test_a_value_that_cannot_be_is_refused_as_in_the_file(weldtrial: Call, folder: Path) -> None:
    outcome = weldtrial("plan", "--if", "sd_coupon=-4")
    assert outcome.code == 3
    assert "sd_coupon" in outcome.err
    assert "nothing was written" in outcome.err


def test_try_adds_rows(weldtrial: Call, folder: Path) -> None:
    found = weldtrial("plan", "--try", "rounds=9,coupons=40", "--try", "coupons=52", "--json").json
    tried = [row for row in found["rows"] if row["tried"]]
    assert [(row["rounds"], row["per_setup"], row["total"]) for row in tried] == [
        (9, 2, 40),
        (6, 4, 52),
    ]
    assert len(found["rows"]) == 8
    assert re.search(
        r"^try +9 +18 +2 .* 40 in all$", weldtrial("plan", "--try", "rounds=9").out, re.M
    )


@pytest.mark.parametrize(
    ("said", "code", "words"),
    [
        ("turns=9", 2, "--try does not know 'turns'"),
        ("round=9", 2, "Did you mean 'rounds'?"),
        ("rounds", 2, "--try rounds=9,coupons=40"),
        ("coupons=24", 3, "Closest that fits: 5 rounds"),
        ("rounds=1", 3, "Each gas is set up once"),
    ],
)
def test_a_row_that_cannot_be_tried_says_why(
    weldtrial: Call, folder: Path, said: str, code: int, words: str
) -> None:
    outcome = weldtrial("plan", "--try", said)
    assert (outcome.code, outcome.out) == (code, "")
    assert words in outcome.err


def test_why_shows_the_working_and_its_sources(weldtrial: Call, folder: Path) -> None:
    words = squeezed(weldtrial("plan", "--why").out)
    assert "Variance of one set-up's mean = 2² + 4²/3 = 9.333 kN²" in words
    assert "√(2 × 9.333 / 6 set-ups of each) = 1.764 kN, on 5 degrees of freedom" in words
    assert "P(t > 2.015) = 78 %, t noncentral with shift 5/1.764" in words
    assert "Owen 1965" in words


def test_a_budget_too_small_tells_what_the_closest_would_show(
    weldtrial: Call, folder: Path
) -> None:
    change(folder, ("coupons = 40", "coupons = 24"), ("set_ups = 12", "replicates = 3"))
    outcome = weldtrial("plan")
    assert outcome.code == 3
    assert outcome.out == ""
    assert (
        "12 set-ups of 3 need 36 coupons plus 4 spare and warm-up = 40; budget is 24. Closest that "
        "fits: 5 rounds × 2 gases × 2 = 20 + 4 = 24. If the gases are equal it would show "
        '"no worse by 5 kN" 59 times in 100 (yours: 78).'
    ) in outcome.err
    assert "Or raise  budget.coupons  to 40." in outcome.err


def test_a_budget_that_does_not_divide_tells_the_numbers_that_do(
    weldtrial: Call, folder: Path
) -> None:
    change(folder, ("coupons = 40", "coupons = 24"))
    outcome = weldtrial("plan", "--json")
    assert outcome.code == 3
    (problem,) = outcome.json["error"]["problems"]
    assert "5 rounds × 2 gases × 2" in problem["words"]
    assert "59 times in 100" in problem["words"]


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        (
            [("rounds = 6", "rounds = 1"), ("set_ups = 12", ""), ("first_at_most = 4", "")],
            "Each gas is set up once, so gas and set-up cannot be told apart",
        ),
        ([('block = "round"', 'block = "day"')], "Day and gas cannot be told apart."),
        ([('kind = "factorial"', 'kind = "fraction"')], "A fraction needs three factors or more"),
        (
            [('kind = "factorial"', 'kind = "plackett-burman"')],
            "a design of factors that are easy to",
        ),
        ([('"each-gas-own-setting"', '"both"')], 'Write  levels = ["own", "same"]  as the levels'),
    ],
)
def test_a_plan_that_cannot_answer_is_refused(
    weldtrial: Call, folder: Path, pairs: list[tuple[str, str]], words: str
) -> None:
    change(folder, *pairs)
    outcome = weldtrial("plan")
    assert (outcome.code, outcome.out) == (3, "")
    assert words in outcome.err


def test_a_pilot_may_set_up_once_and_is_promised_no_verdict(weldtrial: Call, folder: Path) -> None:
    change(
        folder,
        ('purpose = "compare"', 'purpose = "pilot"'),
        ("rounds = 6", "rounds = 1"),
        ("set_ups = 12", ""),
        ("first_at_most = 4", ""),
    )
    outcome = weldtrial("plan")
    assert outcome.code == 0
    words = squeezed(outcome.out)
    assert "it gives spreads to plan with, and no verdict" in words
    assert "each level is set up once, so it cannot be told apart" in words
    assert "chance to show" not in words


@pytest.mark.parametrize(
    ("ask", "heading", "question"),
    [
        ("equal-enough", '"equal within"', "is co2 equal to mix within 5 kN?"),
        ("difference", "a true gap of 5 kN", "do co2 and mix differ? (5 kN would matter)"),
    ],
)
def test_the_chance_is_of_what_is_asked(
    weldtrial: Call, folder: Path, ask: str, heading: str, question: str
) -> None:
    change(folder, ('ask = "no-worse"', f'ask = "{ask}"'))
    words = squeezed(weldtrial("plan", "--plain", "--why").out)
    assert heading in words
    assert question in words


def test_without_typical_figures_it_says_what_is_missing(weldtrial: Call, folder: Path) -> None:
    typical = (
        'typical = { mean = 80, sd_coupon = 4.0, sd_setup = 2.0, from = "8 pilot coupons, May" }'
    )
    change(folder, (typical, ""))
    words = squeezed(weldtrial("plan").out)
    assert "Nothing is known of how load to break scatters" in words
    assert "typical = { mean = …" in words
    assert "usually scatter 8–15 % of the mean (common practice, no source" in words
    found = weldtrial("plan", "--json").json
    assert found["assumed"] is None
    assert [row["gap"] for row in found["rows"]] == [None] * 6
    assert [row["chance"] for row in found["rows"]] == [None] * 6


def test_a_percent_margin_can_go_by_the_trades_figures(weldtrial: Call, folder: Path) -> None:
    typical = (
        'typical = { mean = 80, sd_coupon = 4.0, sd_setup = 2.0, from = "8 pilot coupons, May" }'
    )
    change(folder, (typical, ""), ("margin = 5\n", 'margin = "10 %"\n'))
    found = weldtrial("plan", "--json").json
    assert found["assumed"]["prior"] is True
    assert (found["assumed"]["unit"], found["assumed"]["sd_coupon"]) == ("%", 11.5)
    assert "not your figures" in found["assumed"]["source"]
    assert found["decides"]["margin_percent"] == pytest.approx(10)
    assert "not your figures" in squeezed(weldtrial("plan").out)


def test_a_margin_below_the_gauge_is_refused_whatever_is_known_of_the_scatter(
    weldtrial: Call, folder: Path
) -> None:
    typical = 'typical = { mean = 1.2, sd_coupon = 0.22, sd_setup = 0.10, from = "guess" }'
    change(folder, (typical, ""), ("margin = 0.3\n", "margin = 0.05\n"))
    outcome = weldtrial("plan")
    assert outcome.code == 3
    assert (
        "Margin 0.05 mm is smaller than one step of the gauge (0.1 mm). No number of coupons can "
        "see that."
    ) in outcome.err


def test_a_complete_shuffle_has_coupons_for_rows(weldtrial: Call, folder: Path) -> None:
    change(
        folder,
        ("hard_to_change = true\n", ""),
        ("rounds = 6", ""),
        ("set_ups = 12", ""),
        ("first_at_most = 4", ""),
    )
    outcome = weldtrial("plan")
    assert outcome.code == 0
    assert "Every coupon is set up anew" in outcome.out
    found = weldtrial("plan", "--json").json
    (row,) = [row for row in found["rows"] if row["current"]]
    assert (row["coupons"], row["set_ups"], row["df"]) == (36, None, 34)
    assert found["told"][0]["judged_by"] == "coupons"


def test_what_if_the_gas_could_be_changed_for_every_coupon(weldtrial: Call, folder: Path) -> None:
    found = weldtrial("plan", "--if", "gas.hard_to_change=false", "--json").json
    (row,) = [row for row in found["rows"] if row["current"]]
    assert (row["coupons"], row["rounds"], row["set_ups"], row["df"]) == (36, 6, None, 29)


def test_without_a_folder_it_says_how_to_start(weldtrial: Call) -> None:
    outcome = weldtrial("plan")
    assert outcome.code == 2
    assert "No trial.toml here or in the folders above" in outcome.err


def test_plain_output_has_no_rules_and_one_line_a_row(weldtrial: Call, folder: Path) -> None:
    out = weldtrial("plan", "--plain").out
    assert "──" not in out
    assert "▸\t6\t12\t3\t8.4\t6.2\t78 %\t0.04\t← your file" in out


def test_no_line_passes_a_hundred_columns(weldtrial: Call, folder: Path) -> None:
    out = weldtrial("plan", "--why", "--try", "rounds=9", "--if", "sd_setup=3").out
    assert max(map(len, out.splitlines())) <= 100


def test_it_says_so_when_the_trial_is_sealed(weldtrial: Call, folder: Path) -> None:
    assert weldtrial("seal", "--no-dice", "--no-input").code == 0
    outcome = weldtrial("plan", "--if", "sd_setup=3")
    assert outcome.code == 0
    assert "this trial is sealed; nothing here changes it" in outcome.out
    assert weldtrial("plan", "--json").json["sealed"] is True
    assert weldtrial("seal", "--verify").code == 0


@pytest.mark.parametrize("arguments", [(), ("--why",), ("--json",)])
def test_verdict_words_that_nobody_may_use_are_not_used(
    weldtrial: Call, folder: Path, arguments: tuple[str, ...]
) -> None:
    banned = (
        "proves", "no difference", "identical", "same strength", "significant", "trend towards",
        "as strong as", "safe", "approved", "guaranteed",
    )  # fmt: skip
    out = weldtrial("plan", *arguments).out.casefold()
    assert [word for word in banned if re.search(rf"\b{word}\b", out)] == []


@pytest.mark.parametrize(
    ("p", "cell"),
    [
        (1.0, "1.00"),
        (0.125, "0.125"),
        (0.04, "0.04"),
        (2 / 420, "0.005"),
        (1e-5, "<0.001"),
        (None, "–"),
    ],
)
def test_a_smallest_p_is_shown_as_exactly_as_matters(p: float | None, cell: str) -> None:
    assert p_cell(p) == cell


def test_thousands_of_set_ups_are_answered_in_seconds(weldtrial: Call, folder: Path) -> None:
    values = ("budget.coupons=10000", "budget.spare=0", "budget.warm_up=0", "design.rounds=500")
    ifs = [part for value in values for part in ("--if", value)]
    found = weldtrial("plan", *ifs, "--json").json
    assert found["rows"][-1]["rounds"] == 5000
    assert found["rows"][-1]["smallest_p"] < 1e-300


def test_a_deciding_response_that_is_no_number_is_planned_without_a_chance(
    weldtrial: Call, folder: Path
) -> None:
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    head, _, rest = text.partition("[[response]]")
    tail = rest[rest.index("[design]") :]
    passed = '[[response]]\nname = "passed"\nkind = "pass-fail"\nask = "difference"\n'
    (folder / "trial.toml").write_text(head + passed + tail, encoding="utf-8")
    planned = weldtrial("plan")
    assert planned.code == 0
    assert "Nothing is known of what share passes of passed today" in planned.out
    asked = weldtrial("power")
    assert asked.code == 0
    words = " ".join(asked.out.split())
    assert 'typical = { passing = "90 %", alike = 0.2, from = "…" }' in words
    assert "weldtrial power --passing 90% --falls-to 70%" in words


def keys_of(value: Any) -> set[str]:
    if isinstance(value, dict):
        return set(value).union(*map(keys_of, value.values()))
    return set().union(*map(keys_of, value)) if isinstance(value, list) else set()


@pytest.mark.parametrize("name", ["plan", "power"])
def test_every_key_of_the_json_is_documented(weldtrial: Call, folder: Path, name: str) -> None:
    page = weldtrial("help", "json").out
    section = page.partition(f"## weldtrial {name} --json")[2]
    names = {"mix", "co2", "break_load", "penetration"}
    found = keys_of(weldtrial(name, "--json").json) - names
    documented = set(re.findall(r'"(\w+)"', section))
    assert found - documented == set()


def test_three_gases_are_compared_together(weldtrial: Call, folder: Path) -> None:
    change(
        folder,
        ('levels = ["mix", "co2"]', 'levels = ["mix", "co2", "m20"]'),
        ("  co2 = { own = 27.0 }", "  co2 = { own = 27.0 }\n  m20 = { own = 25.0 }"),
        ("set_ups = 12", ""),
        ("rounds = 6", "rounds = 4"),
    )
    words = squeezed(weldtrial("plan", "--why", "--if", "order.first_at_most=3").out)
    assert "is each of co2 and m20 no worse than mix by more than 5 kN?" in words
    assert "12 set-ups less 4 rounds less 2 for shielding gas" in words
    assert "2 gases are compared with mix together" in words
    assert "each at its own voltage (25.5 / 27.0 / 25.0 V)" in words
    found = weldtrial("plan", "--json", "--if", "order.first_at_most=3").json
    assert found["told"][0]["error_df"] == 6
    # Dunnett's two-sided 5 % point for two comparisons on 6 degrees of freedom (from memory)
    assert found["working"]["two_sided"] == pytest.approx(2.86, abs=0.005)


SCREENING = """
format = 1
[trial]
title = "Five settings"
purpose = "screening"
[[factor]]
name = "wire_feed"
unit = "m/min"
low_high = [7.5, 9.5]
[[factor]]
name = "voltage"
unit = "V"
low_high = [24, 27]
[[factor]]
name = "travel"
label = "Travel speed"
unit = "cm/min"
low_high = [30, 50]
[[factor]]
name = "stick_out"
unit = "mm"
low_high = [12, 18]
[[response]]
name = "penetration"
unit = "mm"
[design]
kind = "fraction"
runs = 8
"""


def test_a_fraction_says_what_runs_together(weldtrial: Call, tmp_path: Path) -> None:
    (tmp_path / "trial.toml").write_text(SCREENING, encoding="utf-8")
    outcome = weldtrial("plan")
    words = squeezed(outcome.out)
    assert "wire feed: judged by the size of the 7 effects (Lenth 1989)" in words
    assert "wire feed × voltage cannot be told from travel speed × stick out" in words
    assert (
        "8 of the 16 combinations of wire feed, voltage, travel speed and stick out are never "
        "welded: a fraction of resolution IV, made by stick out = wire feed × voltage × travel "
        "speed"
    ) in words
    assert "travel speed × stick out is left out of the model: it runs with wire feed" in words
    found = weldtrial("plan", "--json").json
    assert found["design"]["fraction"]["resolution"] == 4
    assert found["design"]["fraction"]["generators"] == ["stick_out = wire_feed * voltage * travel"]
    assert len(found["aliases"]) == 3
    assert len(found["left_out"]) == 3


@pytest.mark.parametrize(("ask", "chance"), [("difference", "20 %"), ("no-worse", "49 %")])
def test_where_effects_judge_each_other_table_and_terms_say_the_same(
    weldtrial: Call, tmp_path: Path, ask: str, chance: str
) -> None:
    """As ``weldtrial power`` has it, simulated by Lenth's method: never "cannot answer"."""
    known = f'''margin = 5
margin_why = "invented"
ask = "{ask}"
typical = {{ mean = 80, sd_coupon = 4.0, sd_setup = 2.0 }}
[design]'''
    text = SCREENING.replace("[design]", known)
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    words = squeezed(weldtrial("plan").out)
    assert "cannot answer" not in words
    assert f"▸ 8 – 13 {chance} – ← your file" in words
    assert "(Lenth 1989); nothing is welded twice; would probably see 13 " in words
    found, power = weldtrial("plan", "--json").json, weldtrial("power", "--json").json
    row = next(one for one in found["rows"] if one["current"])
    terms = next(iter(power["responses"].values()))["terms"]
    own = next(one for one in terms if one["term"] == "wire_feed")
    assert row["gap"] == pytest.approx(own["detectable"])


def test_gap_of_three_gases_in_a_design_by_name_is_that_of_the_table(
    weldtrial: Call, tmp_path: Path
) -> None:
    """All pairs together (Tukey), on 36 coupons: sqrt(2/12) of the scatter, 30 df."""
    text = SCREENING.replace("[design]", '''margin = 5
margin_why = "invented"
typical = { mean = 80, sd_coupon = 4.0, sd_setup = 2.0 }
[[factor]]
name = "gas"
levels = ["mix", "co2", "m20"]
[design]''')  # fmt: skip
    text = text.replace('kind = "fraction"\nruns = 8', 'kind = "plackett-burman"\nruns = 12')
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    found = weldtrial("plan", "--json").json
    gap = next(one for one in found["rows"] if one["current"])["gap"]
    se, df = 20**0.5 * (2 / 12) ** 0.5, 36 - 7
    critical = stats.studentized_range.ppf(0.95, 3, df) / 2**0.5
    assert stats.nct.sf(critical, df, gap / se) == pytest.approx(0.8, abs=0.002)
    gas = next(one for one in weldtrial("plan", "--tells", "--json").json["tells"]["effects"]
               if one["term"] == "gas")  # fmt: skip
    assert gas["detectable"] == pytest.approx(gap)
    assert (
        f"gas: judged by coupons, {df} to judge the spread from; would probably see "
        f"{gap:.2g} " in squeezed(weldtrial("plan").out)
    )


@pytest.mark.parametrize(
    ("added", "words"),
    [
        ('fold_over = "travl"', 'Did you mean "travel"?'),
        ('terms = ["voltage:travl"]', "'travl' in the term"),
        ('model = "quadratic"', "and two levels draw a straight line. Give each three levels"),
        ('generators = ["stick_out = wire_feed * volts"]', "'volts' in the generator"),
    ],
)
def test_what_of_a_fraction_cannot_be_is_said(
    weldtrial: Call, tmp_path: Path, added: str, words: str
) -> None:
    (tmp_path / "trial.toml").write_text(f"{SCREENING}{added}\n", encoding="utf-8")
    outcome = weldtrial("plan")
    assert outcome.code == 3
    assert words in squeezed(outcome.err)
