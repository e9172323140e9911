"""Invented readings for the drawbar-gas example: how they were made, and from what.

Run once in the sealed folder:  python simulate.py

Nobody chose which gas does better.  The true effects, the scatter and the accidents are drawn,
in the order written below, from the ranges that weldtrial carries with their sources
(`weldtrial.shared.trade`).  The seed is the first eight digits of the trial's own seal, which
nobody can choose either.  What no range covers is marked "no source" here.

Where the gauges stop was fixed before any reading was drawn, and is kept whatever came out:
the press is a 10 t one whose relief valve lifts at nine tenths (88 kN), the jig ends where the
upright leg of the T lies flat (90 deg).  By `typical` alone 6 coupons in 100 would outlast that
press, 14 in 100 once the bigger beads of slow travel and fast wire are counted, and 13 in 100
that jig.  The rule: what is drawn above the stop is written as past it (``>88``, ``>90``), with
nothing else known of it.  A coupon that the press could not break has no place where it broke,
and one that reached the jig's end folded flat.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from weldtrial.shared.folder import Folder
from weldtrial.shared.plan import Plan, Run
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.sealfile import read_seal
from weldtrial.shared.trade import trade
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import load_trial
from weldtrial.shared.weld import arc_time, deposited_area, fillet_leg, throat_from_leg

BEAD_MM = 150.0
FIRST_ARC = datetime(2026, 6, 13, 8, 0)
MEAN_LOAD, MEAN_DEPTH, MEAN_ANGLE = 80.0, 2.2, 70.0  # kN, mm, deg: no source
DEPTH_PER_WIRE_FEED = 0.08  # relative rise per half range; direction sourced, size no source


class Truth:
    """True effects and scatter, as fractions of the mean, drawn from the sourced ranges."""

    def __init__(self, draw: np.random.Generator) -> None:
        numbers = trade()
        effects = {one.response: one for one in numbers.gas_effects}
        scatter = {one.quantity: one.mechanised_cv_pct for one in numbers.scatter}
        setup = next(one for one in numbers.setup_scatter if one.cause == "gas change-over")

        def effect(name: str) -> float:
            return draw.uniform(effects[name].low_pct, effects[name].high_pct) / 100

        def cv(name: str) -> float:
            low, high = scatter[name]
            return draw.uniform(low, high) / 100

        self.load = effect("single-pass fillet break load")
        self.depth = effect("penetration depth, same WFS and arc length")
        self.angle = effect("all-weld elongation")
        self.setups = draw.uniform(setup.low_pct, setup.high_pct, 3) / 100
        self.cv_load = cv("fillet break load raw (tension/press)")
        self.cv_bead = cv("leg/throat between beads")
        self.cv_depth = cv("penetration depth between beads")
        self.cv_cut = cv("penetration along one bead")
        self.cv_angle = draw.uniform(0.20, 0.50)  # unsound or thin coupons, range of the trade
        self.travel_depth = draw.uniform(-0.05, 0.05)  # sign disputed in print: drawn


def nominal_throat(run: Run, wire_mm: float) -> float:
    """Throat in mm from wire feed (m/min) and travel (cm/min), 97 % deposited."""
    travel = 10 * float(run.settings["travel"])
    area = deposited_area(wire_mm, float(run.settings["wire_feed"]), travel, 0.97)
    return throat_from_leg(fillet_leg(area))


def weld(trial: Trial, plan: Plan, truth: Truth, draw: np.random.Generator) -> dict[str, Any]:
    """Return, for every stamp welded, its log line and its readings."""
    counting = plan.of_role("count")
    lost = counting[int(draw.integers(len(counting)))]
    spare = plan.of_role("spare")[0]
    centre = np.mean([nominal_throat(run, 1.0) for run in counting])
    stops = {one.name: one.most for one in trial.responses if one.most is not None}
    shifts: dict[int, np.ndarray] = {}
    welded: dict[str, Any] = {}
    clock = FIRST_ARC
    setup_seen = 0
    for run in sorted((r for r in plan.runs if r.run), key=lambda r: r.run or 0):
        if run.setup != setup_seen:
            setup_seen = run.setup or 0
            shifts[setup_seen] = draw.normal(0, truth.setups)
            clock = next_slot(clock, 12)
        todo = [(run.stamp, run, "")]
        if run.stamp == lost.stamp:
            todo.append((spare.stamp, run, lost.stamp))
        for stamp, settings, replaces in todo:
            clock = next_slot(clock, 9)
            one = coupon(settings, truth, shifts[setup_seen], centre, stops, draw)
            one["log"] |= {"started": clock.isoformat(timespec="minutes"), "replaces": replaces}
            if stamp == lost.stamp:
                one["log"]["went_wrong"] = "lost: nozzle blocked, pores on the face, scrapped"
                one["lost"] = "nozzle blocked, scrapped before test"
            if replaces:
                one["log"]["setup"] = str(run.setup)
            welded[stamp] = one
    return welded


def next_slot(clock: datetime, minutes: int) -> datetime:
    """Return the clock after a job, over to the next morning once four hours are up."""
    later = clock + timedelta(minutes=minutes)
    if later.hour >= 12:
        later = (later + timedelta(days=1)).replace(hour=8, minute=0) + timedelta(minutes=minutes)
    return later


def coupon(
    run: Run,
    truth: Truth,
    shift: np.ndarray,
    centre: float,
    stops: dict[str, float],
    draw: np.random.Generator,
) -> dict[str, Any]:
    """Return one coupon's log line and readings."""
    co2 = float(run.levels["gas"] == "co2")
    feed = -1.0 if run.levels["wire_feed"] == "low" else 1.0
    travel = -1.0 if run.levels["travel"] == "low" else 1.0
    throat = nominal_throat(run, 1.0)
    bead = draw.normal(0, truth.cv_bead)
    rest = draw.normal(0, max(truth.cv_load**2 - truth.cv_bead**2, 0.0001) ** 0.5)
    load = MEAN_LOAD * throat / centre * (1 + truth.load * co2 + shift[0] + bead + rest)
    depth = MEAN_DEPTH * (
        1
        + truth.depth * co2
        + DEPTH_PER_WIRE_FEED * feed
        + truth.travel_depth * travel
        + shift[1]
        + draw.normal(0, truth.cv_depth)
    )
    cuts = depth * (1 + draw.normal(0, truth.cv_cut, 2))
    speed = 10 * float(run.settings["travel"]) * (1 + draw.normal(0, 0.01))
    bead_mm = BEAD_MM + draw.normal(0, 1.5)
    volts, wire_feed = float(run.settings["voltage"]), float(run.settings["wire_feed"])
    log = {
        "voltage_seen_V": f"{volts + draw.normal(0, 0.15):.1f}",
        "wire_feed_seen_m_per_min": f"{wire_feed + draw.normal(0, 0.04):.1f}",
        "gas_flow_seen_L_per_min": f"{15 + draw.normal(0, 0.4):.1f}",
        "arc_s": f"{arc_time(bead_mm, speed):.1f}",
        "bead_mm": f"{bead_mm:.0f}",
        "throat_mm": f"{throat * (1 + bead) + draw.normal(0, 0.1):.1f}",
        "plate_temp_C": f"{draw.uniform(22, 39):.0f}",
        "welder": "welder 1",
    }
    readings = {
        "break_load": [read_to_stop(load, "break_load", 1, stops)],
        "penetration": [f"{round(cut / 0.05) * 0.05:.2f}" for cut in cuts],
        "bend_angle": [read_to_stop(bend(truth, shift[2], co2, draw), "bend_angle", 0, stops)],
    }
    return {"log": log, "readings": readings}


def bend(truth: Truth, shift: float, co2: float, draw: np.random.Generator) -> float:
    """Return the angle in deg at which a coupon would crack if the jig went on for ever."""
    sigma = np.log1p(truth.cv_angle**2) ** 0.5
    middle = MEAN_ANGLE * (1 + truth.angle * co2 + shift)
    return float(middle * np.exp(draw.normal(-(sigma**2) / 2, sigma)))


def read_to_stop(value: float, name: str, decimals: int, stops: dict[str, float]) -> str:
    """Return what the reader writes: the value as the gauge shows it, or ``>`` and its stop."""
    stop = stops[name]
    return f">{stop:g}" if value > stop else f"{value:.{decimals}f}"


def fill_in(
    folder: Folder, trial: Trial, welded: dict[str, Any], draw: np.random.Generator
) -> None:
    """Write log lines and readings into the blank files that sealing laid out."""
    rewrite(folder.weld_log, lambda row, _: row | welded.get(row["stamp"], {}).get("log", {}))
    spoiled_cut = draw.choice([s for s, one in welded.items() if "lost" not in one])
    places = {
        "break_load": ["throat", "toe", "root", "fusion line"],
        "penetration": [""],
        "bend_angle": ["toe", "fusion line", "HAZ"],
    }
    for response in trial.responses:

        def read(row: dict[str, str], seen: int, name: str = response.name) -> dict[str, str]:
            one = welded.get(row["stamp"])
            if one is None:
                return row
            row = row | {"reader": "reader 1", "read_on": "2026-06-20"}
            if "lost" in one:
                return row | {"reading": "lost", "note": one["lost"]}
            if name == "penetration" and row["stamp"] == spoiled_cut and seen == 1:
                return row | {"reading": "lost", "note": "etched too deep to read"}
            where, reading = str(draw.choice(places[name])), one["readings"][name][seen]
            if reading.startswith(">"):
                where = {"bend_angle": "folded flat"}.get(name, "")
            return row | {"reading": reading, "failed_at": where}

        rewrite(folder.readings(response.name), read)


def rewrite(path: Path, change: Callable[[dict[str, str], int], dict[str, str]]) -> None:
    """Rewrite a CSV row by row; `change` gets the row and how often its stamp came before."""
    with path.open(newline="", encoding="utf-8") as stream:
        table = csv.DictReader(stream)
        columns, rows = table.fieldnames or [], list(table)
    counts: dict[str, int] = {}
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, columns, lineterminator="\n")
        writer.writeheader()
        for row in rows:
            seen = counts.get(row["stamp"], 0)
            counts[row["stamp"]] = seen + 1
            writer.writerow(change(row, seen))


def main(where: Path) -> None:
    """Weld and read the sealed trial in `where`, on paper only."""
    folder = Folder(where)
    trial = load_trial(folder.trial_file)
    sealed = read_seal(where)
    if sealed is None:
        raise SystemExit("Seal the trial first:  weldtrial seal")
    draw = np.random.default_rng(int(sealed.seal[:8], 16))
    truth = Truth(draw)
    welded = weld(trial, read_plan(folder.plan, trial), truth, draw)
    fill_in(folder, trial, welded, draw)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
