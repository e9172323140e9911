"""A bench in memory: trials and records with known truth, no files."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import Any

import numpy as np
import pytest

from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Margin, Response
from weldtrial.shared.trial import Blind, Design, Fair, Joint, Rules, Trial

GAS = Factor(
    "gas",
    "category",
    ("mix", "co2"),
    label="Shielding gas",
    hard_to_change=True,
    control="mix",
    about={"mix": {"iso14175": "M21-ArC-18"}, "co2": {"iso14175": "C1"}},
)
VOLTAGE = Factor(
    "voltage",
    "numeric",
    ("own",),
    label="Arc voltage",
    unit="V",
    settings={"mix": (25.5,), "co2": (27.0,)},
    slides_with="gas",
)
TRAVEL = Factor(
    "travel",
    "numeric",
    ("low", "high"),
    label="Travel speed",
    unit="cm/min",
    settings={"": (30.0, 50.0)},
)
LOAD = Response(
    "break_load", "kN", label="Break load", margin=Margin(5.0), ask="no-worse", reads_to=0.1
)


@pytest.fixture
def trial() -> Trial:
    """Two gases in six rounds, volts of their own, travel speed changed freely."""
    return Trial(
        title="Cheaper gas on drawbar fillets (invented)",
        question="May CO2 replace the mix without losing more than 5 kN?",
        factors=(GAS, VOLTAGE, TRAVEL),
        responses=(LOAD,),
        welder="welder 1",
        fair=Fair("each-gas-own-setting", "Ten minutes of tune-up welds per gas.", "one spool"),
        joint=Joint(type="T-joint", position="PB", process="135", plate_heat="H1"),
        design=Design(rounds=6, set_ups=12),
        blind=Blind(codes=False),
        rules=Rules(lost="scrapped before test", leave_out="nozzle found blocked"),
    )


Bench = Callable[..., Record]


@pytest.fixture
def bench() -> Bench:
    """Return a function that welds and reads a trial with a stated truth and seed."""

    def weld(
        trial: Trial,
        *,
        seed: int = 1,
        gap: float = 0.0,
        mean: float = 80.0,
        sd_setup: float = 2.0,
        sd_coupon: float = 4.0,
        rounds: int = 6,
        replicates: int = 2,
        sealed: str = "sealed",
        change: Callable[[str, float, int], float] = lambda stamp, value, run: value,
        **more: Any,
    ) -> Record:
        generator = np.random.default_rng(seed)
        hard = bool(trial.hard)
        easy = [f for f in trial.easy if f.name != "gas"]
        coupons, run, setup = [], 0, 0
        for number in range(1, rounds + 1):
            for gas in generator.permutation(["mix", "co2"]):
                setup += 1
                shift = generator.normal(0, sd_setup) if hard else 0.0
                cells = list(product(*(f.levels for f in easy))) * replicates
                for cell in generator.permutation(len(cells)):
                    run += 1
                    stamp = f"X{run:03d}"
                    levels = {"gas": str(gas), "voltage": "own"}
                    levels |= dict(zip([f.name for f in easy], cells[cell], strict=True))
                    value = mean + shift + generator.normal(0, sd_coupon)
                    value += gap * (gas == "co2")
                    value = change(stamp, value, run)
                    coupons.append(
                        Coupon(
                            stamp,
                            "count",
                            run,
                            number if hard else None,
                            setup if hard else None,
                            levels,
                            {},
                            welded=True,
                            readings={
                                r.name: (Reading("number", value=value, text=f"{value:.1f}"),)
                                for r in trial.responses
                            },
                        )
                    )
        return Record(
            tuple(coupons), len(coupons), sealed=sealed, seal="cacc516c4384" + "0" * 52, **more
        )

    return weld
