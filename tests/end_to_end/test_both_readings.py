"""Both readings of fair, from the trial file to the report.  Shop, plates and readings invented."""

from __future__ import annotations

import csv
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from scipy import stats

Weldtrial = Callable[..., Any]

TRIAL = """\
format = 1
[trial]
title = "Cheaper gas on drawbar fillets (invented)"
question = "May CO2 replace the mix without losing more than 5 kN?"
welder = "welder 1"
[fair]
rule = "both"
how = "Ten minutes of tune-up welds per gas, same welder: steadiest arc."
[joint]
process = "135"
wire = { class = "ISO 14341-A G3Si1", diameter = 1.0, unit = "mm" }
[[factor]]
name = "gas"
levels = ["mix", "co2"]
hard_to_change = true
control = "mix"
  [factor.about]
  mix = { iso14175 = "M21-ArC-18" }
  co2 = { iso14175 = "C1" }
[[factor]]
name = "voltage"
label = "Arc voltage"
unit = "V"
step = 0.1
slides_with = "gas"
levels = ["own", "same"]
  [factor.at]
  mix = { own = 18.5, same = 18.5 }
  co2 = { own = 20.5, same = 18.5 }
[[held]]
name = "wire_feed"
unit = "m/min"
target = 5.0
[[held]]
name = "travel"
unit = "mm/min"
target = 305
[[response]]
name = "break_load"
unit = "kN"
rank = 1
reads_to = 0.1
margin = 5
margin_why = "5 kN is 6 % of the design load."
ask = "no-worse"
typical = { mean = 80, sd_coupon = 2.5, sd_setup = 1, from = "invented" }
[[response]]
name = "bend"
kind = "pass-fail"
rank = 2
margin = "40 %"
ask = "difference"
[design]
rounds = 6
replicates = 2
[budget]
coupons = 50
spare = 2
[blind]
who = ["break_load"]
codes = true
"""


def weld(folder: Path, own: float, same: float, *, seed: int = 3) -> None:
    """Fill in readings; truth is invented: mix 80 kN, CO2 that much more at either setting."""
    rng = random.Random(seed)
    with (folder / "plan.csv").open(encoding="utf-8", newline="") as file:
        plan = {row["stamp"]: row for row in csv.DictReader(file) if row["role"] == "count"}
    setups = {row["setup"]: rng.gauss(0, 1.0) for row in plan.values()}
    for name in ("break_load", "bend"):
        path = folder / "readings" / f"{name}.csv"
        with path.open(encoding="utf-8", newline="") as file:
            head, *rows = list(csv.reader(file))
        place, reader = head.index("reading"), head.index("reader")
        for row in rows:
            run = plan.get(row[0])
            if run is None:
                continue
            hot = float(run["voltage_V"]) > 20
            gap = (own if hot else same) if run["gas"] == "co2" else 0.0
            load = 80 + gap + setups[run["setup"]] + rng.gauss(0, 2.0)
            passes = rng.random() < (0.2 if gap < -5 else 0.9)
            row[place] = f"{load:.1f}" if name == "break_load" else "pass" if passes else "fail"
            row[reader] = "reader 1"
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows([head, *rows])


@pytest.fixture
def sealed(weldtrial: Weldtrial, tmp_path: Path) -> Path:
    folder = tmp_path / "trial"
    folder.mkdir()
    (folder / "trial.toml").write_text(TRIAL, encoding="utf-8")
    done = weldtrial("-C", folder, "seal", "--no-dice")
    assert done.code == 0, done.err
    return folder


def flat(text: str) -> str:
    return " ".join(text.split())


def test_two_verdicts_and_what_survives(weldtrial: Weldtrial, sealed: Path) -> None:
    """The gas loses at the same setting and not at its own: two verdicts, nothing survives."""
    weld(sealed, 0.5, -11.0)
    shown = weldtrial("-C", sealed, "analyse", "--open")
    assert shown.code == 0, shown.err
    words = flat(shown.out)
    assert "Shown: co2 at its own volts is no worse than mix by more than 5 kN." in words
    assert "Shown: co2 at the same volts is worse than mix by more than 5 kN." in words
    assert (
        "= Nothing survives both readings of fair: at its own volts co2 is no worse than mix by "
        "more than 5 kN; at the same volts co2 is worse than mix by more than 5 kN. The answer "
        "turns on what is called fair." in words
    )
    assert "Compared twice: each gas at its own arc voltage, 18.5 V (mix) / 20.5 V (co2)" in words
    assert "left out of the model" not in words
    assert "Centre points" not in words
    assert max(map(len, shown.out.splitlines())) <= 100

    found = weldtrial("-C", sealed, "analyse", "--json").json["responses"]
    load = found["break_load"]
    assert [one["reading"] for one in load["comparisons"]] == ["own", "same"]
    assert [one["verdict"]["code"] for one in load["comparisons"]] == [
        "not_worse", "worse_beyond_margin",
    ]  # fmt: skip
    assert load["survives_both"]["statements"] == []
    assert load["survives_both"]["strength"] is None
    # The two intervals are read together: wider than each alone at the same degrees of freedom.
    own = load["comparisons"][0]
    assert own["p_adjusted"] > own["p"]
    alone = stats.t.ppf(0.975, own["df"]) * own["se"]
    assert own["ci_high"] - own["difference"] > 1.05 * alone
    bend = found["bend"]
    assert [one["reading"] for one in bend["comparisons"]] == ["own", "same"]
    levels = [row["level"] for row in bend["passes"]]
    assert levels == ["mix", "co2 at its own volts", "co2 at the same volts"]
    assert [row["of"] for row in bend["passes"]] == [24, 12, 12]

    assert weldtrial("-C", sealed, "report").code == 0
    page = (sealed / "report.html").read_text(encoding="utf-8")
    first = page[: page.index("How far to trust it")]
    assert first.count("The answer turns on what is called fair.") == 2
    assert "break load: co2 at the same volts minus mix, kN" in first
    assert "Differs by plan" in page


def test_what_both_show_survives(weldtrial: Weldtrial, sealed: Path) -> None:
    weld(sealed, 0.5, 0.0, seed=5)
    load = weldtrial("-C", sealed, "analyse", "--open", "--json").json["responses"]["break_load"]
    assert load["survives_both"]["statements"] == ["not_worse"]
    assert load["survives_both"]["words"] == (
        "Survives both readings of fair. Shown: co2 is no worse than mix by more than 5 kN."
    )


def test_the_plan_says_what_is_asked_twice(weldtrial: Weldtrial, sealed: Path) -> None:
    words = flat(weldtrial("-C", sealed, "plan").out)
    assert "each at its own arc voltage (18.5 / 20.5 V) and all at the same (18.5 V)" in words
    assert "Asked twice, once for each reading of fair." in words
    assert "Gap and chance are those of one reading of fair; showing it at both is rarer." in words
    assert "mix is welded alike in both, so its coupons count in each." in words
    assert "Differs: co2 at its own setting against mix: volts +2.0 V, +10.8 %;" in words
    assert "whether factors work together" not in words
    fair = weldtrial("-C", sealed, "plan", "--json").json["fair"]
    assert [cell["at"] for cell in fair["cells"]] == [{"voltage": "own"}, {"voltage": "same"}]
    assert fair["cells"][0]["percent"]["arc_energy"] == pytest.approx(10.8, abs=0.05)
    assert fair["cells"][1]["percent"]["arc_energy"] == 0
    whole = weldtrial("-C", sealed, "plan", "--fair")
    assert "apart" in whole.out
    assert max(map(len, whole.out.splitlines())) <= 100


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            'levels = ["mix", "co2"]',
            'levels = ["mix", "co2", "lean"]',
            "compares two levels of gas",
        ),
        ("[blind]", '[looks]\nafter = [3]\nbounds = "pocock"\n[blind]', "not go with [looks]"),
        ("replicates = 2", "centre_points = 1", "no middle between its roles"),
        ('slides_with = "gas"', 'slides_with = "gas"\nhard_to_change = true', "hard to change"),
    ],
)
def test_what_does_not_go_with_both_is_refused_with_a_remedy(
    weldtrial: Weldtrial, tmp_path: Path, old: str, new: str, said: str
) -> None:
    text = TRIAL.replace(old, new)
    if "lean" in new:
        text = text.replace("[[held]]", "  lean = { own = 19.0, same = 18.5 }\n[[held]]", 1)
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    refused = weldtrial("plan")
    assert refused.code == 3
    assert said in flat(refused.err)
