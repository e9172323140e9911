"""Both readings of fair, from the trial file to the report.  Shop, plates and readings invented."""

from __future__ import annotations

import csv
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

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


def test_show(weldtrial: Weldtrial, sealed: Path) -> None:
    weld(sealed, 0.5, -11.0)
    shown = weldtrial("-C", sealed, "analyse", "--open")
    print(shown.out, shown.err)
    weldtrial("-C", sealed, "report")
    import shutil

    shutil.rmtree("/tmp/bothfolder", ignore_errors=True)
    shutil.copytree(sealed, "/tmp/bothfolder")
    print(weldtrial("-C", sealed, "plan").out)
