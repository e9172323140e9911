"""Trials of passes, grades and places in memory: no files, stated readings."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Ask, Margin, Response
from weldtrial.shared.trial import Blind, Design, Trial

SCALE = ("heavy", "some", "little", "none")
BEND = Response("bend", "1", label="Bend test", kind="pass-fail", margin=Margin(0.2, percent=True))
SPATTER = Response("spatter", "1", label="Spatter", kind="graded", scale=SCALE, rank=2)


def gas(*, hard: bool, levels: tuple[str, ...] = ("mix", "co2")) -> Factor:
    """The factor compared, changed by set-up or coupon by coupon."""
    return Factor("gas", "category", levels, control="mix", hard_to_change=hard)


def trial(
    *responses: Response,
    hard: bool = False,
    rounds: int | None = None,
    levels: tuple[str, ...] = ("mix", "co2"),
    more: tuple[Factor, ...] = (),
    purpose: str = "compare",
) -> Trial:
    """An invented trial of passes and grades."""
    return Trial(
        title="Bends and spatter (invented)",
        question="Does co2 pass as often (invented)?",
        purpose=purpose,  # type: ignore[arg-type]
        factors=(gas(hard=hard, levels=levels), *more),
        responses=responses or (BEND,),
        design=Design(rounds=rounds, model="main"),
        blind=Blind(codes=False),
    )


def asking(ask: Ask, margin: float | None = 0.2, better: str = "higher") -> Response:
    """The bend test with another question."""
    return Response(
        "bend", "1", label="Bend test", kind="pass-fail", ask=ask, better=better,  # type: ignore[arg-type]
        margin=None if margin is None else Margin(margin, percent=True),
    )  # fmt: skip


def reading(text: str, failed_at: str = "") -> Reading:
    """A reading of either kind, or a number, as its text says."""
    if text in ("pass", "fail", "lost"):
        return Reading(text, text=text, failed_at=failed_at)  # type: ignore[arg-type]
    if text.replace(".", "").isdigit():
        return Reading("number", value=float(text), text=text, failed_at=failed_at)
    return Reading("grade", text=text, failed_at=failed_at)


def coupon(
    number: int, level: str, *, round: int | None = None, setup: int | None = None,
    more: dict[str, str] | None = None, **readings: Sequence[str] | str,
) -> Coupon:  # fmt: skip
    """A coupon; readings as ``bend="pass"``, ``bend=["pass", "fail"]`` or ``bend="fail@root"``."""
    typed = {
        name: tuple(reading(*one.split("@")) for one in ([said] if isinstance(said, str) else said))
        for name, said in readings.items()
    }
    levels = {"gas": level} | (more or {})
    return Coupon(f"X{number:03d}", "count", number, round, setup, levels, {}, welded=True,
                  readings=typed)  # fmt: skip


def record(coupons: Sequence[Coupon], sealed: str = "sealed", **more: object) -> Record:
    """A record of a sealed trial."""
    return Record(
        tuple(coupons), len(coupons), sealed=sealed, seal="cacc516c4384" + "0" * 52, **more,  # type: ignore[arg-type]
    )  # fmt: skip


def passes(mix: tuple[int, int], co2: tuple[int, int]) -> Record:
    """Coupons dealt one by one: how many of how many passed."""
    made = []
    for level, (passed, of) in (("mix", mix), ("co2", co2)):
        for place in range(of):
            said = "pass" if place < passed else "fail"
            made.append(coupon(len(made) + 1, level, bend=said))
    return record(made)


def in_setups(shares: Sequence[tuple[int, int]], coupons: int = 4) -> Record:
    """Rounds of a mix and a co2 set-up (turn about): how many of each set-up passed."""
    made: list[Coupon] = []
    for number, pair in enumerate(shares, 1):
        sides = list(zip(("mix", "co2"), pair, strict=True))
        for place, (level, passed) in enumerate(sides if number % 2 else sides[::-1]):
            for cut in range(coupons):
                said = "pass" if cut < passed else "fail"
                made.append(
                    coupon(len(made) + 1, level, round=number, setup=2 * number - 1 + place,
                           bend=said)
                )  # fmt: skip
    return record(made)


def graded(mix: Sequence[int], co2: Sequence[int]) -> Record:
    """Coupons dealt one by one: how many had each grade, worst first."""
    made: list[Coupon] = []
    for level, counts in (("mix", mix), ("co2", co2)):
        for place, many in enumerate(counts):
            for _ in range(many):
                made.append(coupon(len(made) + 1, level, spatter=SCALE[place]))
    return record(made)
