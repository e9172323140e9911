"""A small trial, and a folder sealed as the command seals it, for the tests of this room."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

from weldtrial.shared.blank_files import lay_out
from weldtrial.shared.factors import Factor
from weldtrial.shared.folder import Folder, atomic_write
from weldtrial.shared.journal import note
from weldtrial.shared.plan import Plan, Run
from weldtrial.shared.plancsv import plan_to_csv
from weldtrial.shared.responses import Margin, Response
from weldtrial.shared.seal import sha256_of
from weldtrial.shared.sealfile import SealFile, seal_hex, write_seal
from weldtrial.shared.trial import Held, Trial

SOURCE: dict[str, Any] = {
    "format": 1,
    "trial": {"title": "Cheaper gas on 8 mm drawbar fillets", "owner": "the trailer shop"},
    "factor": [
        {"name": "gas", "levels": ["mix", "co2"], "hard_to_change": True},
        {"name": "voltage", "unit": "V", "slides_with": "gas"},
    ],
    "response": [
        {"name": "penetration", "unit": "mm", "sections": 2},
        {"name": "break_load", "unit": "kN", "margin": 5},
    ],
    "design": {"rounds": 2},
}
DESIGN = {"rounds": 2, "combinations": [{"levels": {"gas": "mix"}}]}
LINES = {"response.1.margin": 72, "trial.title": 3}
GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)
VOLTS = Factor(
    "voltage",
    "numeric",
    ("own",),
    unit="V",
    slides_with="gas",
    settings={"mix": (25.5,), "co2": (27.0,)},
)


def trial_of(source: dict[str, Any] = SOURCE) -> Trial:
    return Trial(
        source["trial"]["title"],
        (GAS, VOLTS),
        (
            Response("penetration", "mm", sections=2),
            Response("break_load", "kN", margin=Margin(5)),
        ),
        held=(Held("wire_feed", "m/min", 8.5),),
        source=source,
        lines=LINES,
    )


def changed(path: str, value: Any) -> dict[str, Any]:
    """SOURCE with one value changed."""
    source = copy.deepcopy(SOURCE)
    *parents, last = path.split(".")
    table: Any = source
    for key in parents:
        table = table[int(key) if isinstance(table, list) else key]
    table[last] = value
    return source


def draw_plan(trial: Trial, seal: str, dice: tuple[int, ...] = ()) -> Plan:
    """Stand in for the draw: only its dependence on seal and dice matters here."""
    stamps = ["A2H", "M3M", "P2R", "D6L", "F4K"]
    turn = (int(seal[:8], 16) + sum(dice)) % 5
    stamps = stamps[turn:] + stamps[:turn]
    runs = [
        _run(1, 1, 1, stamps[0], "mix", 25.5, warm_up=True),
        _run(2, 1, 1, stamps[1], "mix", 25.5),
        _run(3, 1, 2, stamps[2], "co2", 27.0),
        _run(4, 2, 3, stamps[3], "co2", 27.0),
    ]
    return Plan((*runs, Run(None, None, None, None, stamps[4], "spare")))


def _run(
    run: int, round_: int, setup: int, stamp: str, gas: str, volts: float, warm_up: bool = False
) -> Run:
    return Run(
        run=run,
        round=round_,
        setup=setup,
        place=1 if run != 2 else 2,
        stamp=stamp,
        role="warm-up" if warm_up else "count",
        levels={"gas": gas, "voltage": "own"},
        settings={"gas": gas, "voltage": volts},
    )


def seal_folder(folder: Path, dice: tuple[int, ...] = (4, 2, 6)) -> SealFile:
    """Seal `folder` with SOURCE."""
    trial = trial_of()
    seal = seal_hex(SOURCE, DESIGN)
    plan = draw_plan(trial, seal, dice)
    text = plan_to_csv(plan, trial)
    atomic_write(Folder(folder).plan, text)
    lay_out(folder, trial, plan)
    sealed = SealFile(
        seal=seal,
        plan_sha256=sha256_of(text),
        sealed_at="2026-06-11T18:42:07+02:00",
        question=SOURCE,
        design=DESIGN,
        dice=dice,
        tool="0.1.0",
    )
    note(folder, "sealed", f"{sealed.code}; seal {seal}; plan.csv {sealed.plan_sha256}")
    write_seal(folder, sealed)
    return sealed
