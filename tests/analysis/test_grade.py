"""Grades start from how the control came about and only ever step down."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.findings import GradeCode, SetAside
from weldtrial.analysis.grade import grade, units_per_level, was_shuffled
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import JournalLine, Record
from weldtrial.shared.trial import Blind, Design, Fair, Trial

Bench = Callable[..., Record]


def measured(record: Record) -> Record:
    return replace(
        record, coupons=tuple(replace(c, measured={"throat_mm": 4.0}) for c in record.coupons)
    )


def test_sealed_in_rounds_with_measured_beads_is_strong(trial: Trial, bench: Bench) -> None:
    found = grade(trial, measured(bench(trial)), [])
    assert (found.code, found.steps_down) == ("strong", ())
    assert "every level welded in every round" in found.pluses


@pytest.mark.parametrize(
    ("rounds", "sealed", "code"),
    [(6, "sealed", "strong"), (3, "sealed", "fair"), (6, "none", "fair"), (6, "late", "fair"),
     (1, "sealed", "weak")],
)  # fmt: skip
def test_start_follows_shuffle_sessions_and_set_ups(
    trial: Trial, bench: Bench, rounds: int, sealed: str, code: GradeCode
) -> None:
    record = measured(bench(trial, rounds=rounds, sealed=sealed))
    assert grade(trial, record, []).start == code


def test_bead_not_measured_by_hand_costs_a_step_and_a_tractor_does_not(
    trial: Trial, bench: Bench
) -> None:
    assert grade(trial, bench(trial), []).code == "fair"
    travel = replace(trial.factors[2], hold_by="tractor carriage")
    tractor = replace(trial, factors=(*trial.factors[:2], travel))
    assert grade(tractor, bench(tractor), []).code == "strong"


def test_every_serious_gap_costs_a_step(trial: Trial, bench: Bench) -> None:
    record = measured(bench(trial))
    judged = replace(
        trial, responses=(replace(trial.responses[0], crack_rule="open crack over 3 mm"),)
    )
    assert "judged by someone" in grade(judged, record, []).steps_down[0]
    blind = replace(judged, blind=Blind(who=("break_load",), codes=True))
    found = grade(blind, record, [])
    assert found.code == "strong"
    title = judged.responses[0].title
    assert f"readings of {title} taken from stamps only" in found.pluses
    assert title != "break_load"
    unruled = replace(trial, fair=Fair("each-gas-own-setting"))
    assert grade(unruled, record, []).code == "fair"
    early = replace(record, journal=(JournalLine("", "", "opened-early", "", ""),))
    assert grade(trial, early, []).code == "fair"
    assert grade(trial, replace(record, sealed="amended"), []).code == "fair"
    everything = replace(early, sealed="amended")
    assert grade(unruled, everything, []).code == "anecdote"


def test_losses_count_when_unexplained_or_heavy_on_one_side(trial: Trial, bench: Bench) -> None:
    record = measured(bench(trial))
    mix = [c.stamp for c in record.coupons if c.levels["gas"] == "mix"]
    few = [SetAside(s, "nozzle blocked", "break_load") for s in mix[:2]]
    many = [SetAside(s, "nozzle blocked", "break_load") for s in mix[:3]]
    silent = [SetAside(mix[0], "lost, no reason given", "break_load")]
    assert grade(trial, record, few).code == "strong"
    assert "more than 10 % of the coupons of mix" in grade(trial, record, many).steps_down[0]
    assert mix[0] in grade(trial, record, silent).steps_down[0]


def test_what_the_folder_cannot_show_is_asked(trial: Trial, bench: Bench) -> None:
    questions = " ".join(grade(trial, bench(trial), []).unanswered)
    assert "Were the beads of one size?" in questions
    assert "one heat of plate" not in questions


def test_units_are_set_ups_where_the_gas_is_hard_to_change(trial: Trial, bench: Bench) -> None:
    assert units_per_level(trial, bench(trial)) == 6
    easy = replace(
        trial,
        factors=(replace(trial.factors[0], hard_to_change=False), *trial.factors[1:]),
        design=Design(replicates=6),
    )
    assert units_per_level(easy, bench(easy, rounds=3)) == 12
    assert not was_shuffled(bench(trial, sealed="late"))
    assert not was_shuffled(bench(trial, adopted=True))


def test_units_are_counted_at_the_levels_of_a_number_where_no_name_is_compared(
    trial: Trial, bench: Bench
) -> None:
    heat = Factor(
        "preheat", "numeric", ("20", "120"), unit="degC", settings={"": (20.0, 120.0)},
        hard_to_change=True,
    )  # fmt: skip
    heated = replace(trial, factors=(heat,))
    level = {"mix": "20", "co2": "120"}
    welded = bench(trial)
    coupons = tuple(replace(c, levels={"preheat": level[c.levels["gas"]]}) for c in welded.coupons)
    found = replace(welded, coupons=coupons)
    assert units_per_level(heated, found) == 6
    easy = replace(heated, factors=(replace(heat, hard_to_change=False),))
    assert units_per_level(easy, found) == len(coupons) // 2
    assert "6 set-ups a level" in grade(heated, measured(found), []).why


def test_adopted_data_cannot_be_judged_and_never_shown(trial: Trial, bench: Bench) -> None:
    record = replace(bench(trial, gap=-20.0, sealed="none"), adopted=True)
    assert grade(trial, record, []).code == "cannot_be_judged"
    findings = analyse(trial, record)
    assert findings.notes[0].code == "adopted"
    (comparison,) = findings.responses[0].comparisons
    assert comparison.verdict.strength == "suggests"
