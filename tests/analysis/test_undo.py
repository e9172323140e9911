"""What would undo an answer: checked by leaving out and putting in by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.findings import ResponseFindings
from weldtrial.shared.record import Reading, Record
from weldtrial.shared.trial import Trial

Bench = Callable[..., Any]


def found_of(trial: Trial, record: Record) -> ResponseFindings:
    return analyse(trial, record).responses[0]


def without(record: Record, stamp: str) -> Record:
    return replace(record, coupons=tuple(c for c in record.coupons if c.stamp != stamp))


def lose(record: Record, *stamps: str) -> Record:
    coupons = tuple(
        replace(c, lost="scrapped", readings={}) if c.stamp in stamps else c for c in record.coupons
    )
    return replace(record, coupons=coupons)


def reading(record: Record, stamps: tuple[str, ...], value: float) -> Record:
    one = Reading("number", value=value, text=f"{value}")
    coupons = tuple(
        replace(c, lost="", readings={"break_load": (one,)}) if c.stamp in stamps else c
        for c in record.coupons
    )
    return replace(record, coupons=coupons)


@pytest.mark.parametrize("seed", [4])
def test_a_coupon_carries_the_answer_exactly_when_leaving_it_out_changes_it(
    trial: Trial, bench: Bench, seed: int
) -> None:
    record = bench(trial, seed=seed, gap=-2.0)
    found = found_of(trial, record)
    code = found.comparisons[0].verdict.code
    assert found.undo is not None
    carried = {one.what: one.code for one in found.undo.carries}
    for coupon in record.coupons:
        other = found_of(trial, without(record, coupon.stamp)).comparisons[0].verdict.code
        if other == "depends_on":
            continue
        assert (other != code) == (f"coupon {coupon.stamp}" in carried)


def test_a_clear_answer_is_carried_by_nobody(trial: Trial, bench: Bench) -> None:
    found = found_of(trial, bench(trial, seed=3, gap=-25.0, sd_setup=1.0))
    assert found.undo is not None
    assert found.undo.carries == ()
    assert found.undo.words == ("No single coupon and no single round carries the answer.",)


def test_lost_coupons_flip_the_answer_just_where_it_is_said(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=4, gap=0.0, sd_coupon=2.0, sd_setup=1.0, replicates=3)
    gone = tuple(c.stamp for c in record.coupons if c.levels["gas"] == "co2")[:3]
    holed = lose(record, *gone)
    found = found_of(trial, holed)
    assert found.undo is not None
    (lost,) = found.undo.lost
    assert (lost.level, lost.stamps) == ("co2", gone)
    assert lost.below is not None
    code = found.comparisons[0].verdict.code

    def at(value: float) -> Any:
        return found_of(trial, reading(holed, gone, value)).comparisons[0].verdict.code

    assert at(lost.below + 0.05) in (code, "depends_on")
    assert at(lost.below - 0.05) != code
    assert "would have had to read" in found.undo.words[-1]


def test_undecided_answers_have_nothing_to_undo(trial: Trial, bench: Bench) -> None:
    pilot = replace(trial, purpose="pilot")
    assert found_of(pilot, bench(pilot, seed=1)).undo is None


def test_coupons_something_went_wrong_with_are_left_out_beside(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=2)
    coupons = tuple(
        replace(c, went_wrong="nozzle blocked") if n in (3, 7) else c
        for n, c in enumerate(record.coupons)
    )
    found = found_of(trial, replace(record, coupons=coupons))
    way = next(w for w in found.alternatives if w.name == "without doubtful coupons")
    assert way.coupons == len(record.coupons) - 2
    assert way.words == "without the 2 coupons that something went wrong with"


def test_many_coupons_are_not_left_out_one_by_one(trial: Trial, bench: Bench) -> None:
    found = found_of(trial, bench(trial, seed=3, gap=-4.0, replicates=5))
    assert found.n > 100
    assert found.undo is not None
    assert found.undo.tried == 6
    assert not any("coupon" in one.what for one in found.undo.carries)
    assert not found.undo.words[0].startswith("No single coupon")
