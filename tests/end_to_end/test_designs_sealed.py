"""Designs that list their coupons, from the trial file to the verdict."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

Run = Callable[..., Any]


def _trial(one: ModuleType, kind: str) -> str:
    three = [one.PLAIN_VOLTAGE, one.FEED, one.TRAVEL]
    gas = [one.GAS, one.VOLTAGE, one.FEED, one.TRAVEL]
    return {
        "composite": one.text_of(three, 'kind = "central-composite"\nrounds = 3'),
        "box-behnken": one.text_of(three, 'kind = "box-behnken"'),
        "screening": one.text_of(
            [*three, one.GAP], 'kind = "definitive-screening"', purpose="screening"
        ),
        "plackett": one.text_of(
            [*three, one.GAP, one.ANGLE], 'kind = "plackett-burman"', purpose="screening"
        ),
        "paired": one.text_of([one.GAS], 'kind = "paired"\nreplicates = 8', purpose="compare"),
        "square": one.text_of(
            [one.GAS.replace('"co2"]', '"co2", "m20"]'),
             '[[factor]]\nname = "hand"\nlevels = ["one", "two", "three"]\n'],
            'kind = "latin-square"\nreplicates = 2',
            purpose="compare",
            more='[order]\nblock = "day"\n',
        ),
        "optimal": one.text_of(
            gas, 'kind = "optimal"\nmodel = "quadratic"\nset_ups = 8\ncentre_points = 1',
            budget="coupons = 42\nspare = 1\nwarm_up = 1", hard=True, more=one.LIMIT,
        ),
        "prediction": one.text_of(
            three, 'kind = "optimal"\nmodel = "quadratic"\nbest_for = "prediction"',
            budget="coupons = 16",
        ),
    }[kind]  # fmt: skip


@pytest.mark.parametrize(
    "kind",
    ["composite", "box-behnken", "screening", "plackett", "paired", "square", "optimal",
     "prediction"],
)  # fmt: skip
def test_planned_sealed_welded_and_answered(
    weldtrial: Run, tmp_path: Path, listed_trials: ModuleType, kind: str
) -> None:
    (tmp_path / "trial.toml").write_text(_trial(listed_trials, kind), encoding="utf-8")
    plan = weldtrial("plan", "--json")
    assert plan.code == 0, plan.err
    assert plan.json["design"]["name"]
    assert weldtrial("plan").code == 0
    assert weldtrial("seal", "--no-dice").code == 0
    listed_trials.fill(tmp_path)
    verified = weldtrial("seal", "--verify")
    assert verified.code == 0, verified.err
    checked = weldtrial("check")
    assert checked.code == 0, checked.out + checked.err
    found = weldtrial("analyse", "--json")
    assert found.code == 0, found.err
    response = found.json["responses"]["break_load"]
    assert response["n"] == plan.json["budget"]["counting"]
    assert weldtrial("report").code == 0
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "not a procedure" in page


def test_a_square_asks_only_about_its_first_factor(
    weldtrial: Run, tmp_path: Path, listed_trials: ModuleType
) -> None:
    (tmp_path / "trial.toml").write_text(_trial(listed_trials, "square"), encoding="utf-8")
    assert weldtrial("seal", "--no-dice").code == 0
    listed_trials.fill(tmp_path)
    found = weldtrial("analyse", "--json").json["responses"]["break_load"]
    assert {one["factor"] for one in found["comparisons"]} == {"gas"}
    assert found["tests"][1]["term"] == "hand"


def test_an_edited_design_in_the_seal_is_found(
    weldtrial: Run, tmp_path: Path, listed_trials: ModuleType
) -> None:
    (tmp_path / "trial.toml").write_text(_trial(listed_trials, "prediction"), encoding="utf-8")
    assert weldtrial("seal", "--no-dice").code == 0
    sealed = json.loads((tmp_path / "seal.json").read_text(encoding="utf-8"))
    sealed["design"]["listed"][0]["coupons"][0]["settings"]["travel"] = 31
    (tmp_path / "seal.json").write_text(json.dumps(sealed), encoding="utf-8")
    assert weldtrial("seal", "--verify").code == 4


def test_listed_coupons_are_compared_with_other_numbers_and_not_shared_out(
    weldtrial: Run, tmp_path: Path, listed_trials: ModuleType
) -> None:
    (tmp_path / "trial.toml").write_text(_trial(listed_trials, "optimal"), encoding="utf-8")
    chosen = weldtrial("plan", "--choose", "--hours", "8")
    assert chosen.code == 3
    assert "weldtrial plan --compare budget.coupons=48" in chosen.err
    beside = weldtrial("plan", "--compare", "budget.coupons=50", "--json")
    assert beside.code == 0, beside.err
    told = weldtrial("plan", "--tells", "--json")
    assert told.code == 0, told.err
    power = weldtrial("power", "--simulate", "400", "--json")
    assert power.code == 0, power.err
