"""What a coupon and a set-up cost: plate, wire and gas, priced one by one or all in."""

from __future__ import annotations

from math import pi
from pathlib import Path

import pytest

from weldtrial.doe.assess import assess
from weldtrial.doe.bench import prices_of
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import reread_trial
from weldtrial.shared.trialfile.reader import read_trial

DRAFT = Path(__file__).parents[2] / "cli" / "drafts"


def drafted(name: str = "compare", **budget) -> Trial:
    """A draft with other prices; None takes a key out."""
    trial, _ = read_trial(DRAFT / f"{name}.toml")
    assert trial is not None
    source = dict(trial.source)
    kept = {**source["budget"], **budget}
    source["budget"] = {key: value for key, value in kept.items() if value is not None}
    found, problems = reread_trial(source, trial.lines)
    assert found is not None, [one.words for one in problems]
    return found


def test_gas_is_added_to_an_all_in_coupon() -> None:
    prices = prices_of(drafted(), ("gas",))
    # 12 s of arc and a purge of 30 s at 15 L/min, half of each gas at 8.40 and 3.60 a cubic metre.
    assert prices.coupon == pytest.approx(6.5 + 15 * 12 / 60 * 6.0 / 1000)
    assert prices.setup == pytest.approx(15 * 30 / 60 * 6.0 / 1000)
    bench = assess(drafted()).bench
    assert bench.cost.value == pytest.approx(prices.of(40, 12))


def test_plate_and_wire_are_priced_one_by_one() -> None:
    trial = drafted(cost_coupon=None, cost_plate=3.2, cost_wire_kg=4.5, cost_setup=1.0)
    # 1.0 mm wire at 8.5 m/min for 12 s, 7.85 g/cm3 (handbook).
    kilograms = pi / 4 * 8.5 * 12 / 60 * 7.85 / 1000
    prices = prices_of(trial, ("gas",))
    gas = 15 * 12 / 60 * 6.0 / 1000
    assert prices.coupon == pytest.approx(3.2 + 4.5 * kilograms + gas)
    assert prices.setup == pytest.approx(1.0 + 15 * 30 / 60 * 6.0 / 1000)
    bench = assess(trial).bench
    assert bench.wire_kg.value == pytest.approx(40 * kilograms)
    assert bench.cost.value == pytest.approx(prices.of(40, 12))


def test_a_wire_feed_that_is_varied_counts_by_its_centre() -> None:
    budget = {"cost_coupon": None, "cost_plate": 2.0, "cost_wire_kg": 4.0, "currency": "EUR"}
    trial = drafted("screening", **budget, arc_s_coupon=12)
    feed = trial.factor("wire_feed")
    middle = sum(feed.settings[""]) / 2
    wire = pi / 4 * trial.joint.wire_diameter.value**2 * middle * 12 / 60 * 7.85 / 1000
    assert prices_of(trial, ()).coupon == pytest.approx(2.0 + 4.0 * wire)


@pytest.mark.parametrize(
    ("budget", "needs"),
    [
        ({"cost_coupon": None}, ("budget.cost_coupon",)),
        ({"cost_coupon": None, "cost_wire_kg": 4.0}, ("budget.cost_plate",)),
        (
            {"cost_coupon": None, "cost_plate": 3.0, "cost_wire_kg": 4.0, "arc_s_coupon": None},
            ("budget.arc_s_coupon",),
        ),
    ],
)
def test_what_is_missing_is_named(budget, needs) -> None:
    trial = drafted(**budget)
    assert prices_of(trial, ("gas",)).needs == needs
    assert assess(trial).bench.cost.needs == needs
    assert prices_of(trial, ("gas",)).of(40, 12) is None


def test_plate_alone_will_do() -> None:
    trial = drafted(cost_coupon=None, cost_plate=3.0, arc_s_coupon=None, purge_s=None)
    assert prices_of(trial, ("gas",)).of(40, 12) == 120


def test_counting_plate_and_wire_twice_is_refused_in_one_line() -> None:
    trial, _ = read_trial(DRAFT / "compare.toml")
    source = dict(trial.source)
    source["budget"] = {**source["budget"], "cost_plate": 3.0, "cost_wire_kg": 4.0}
    found, problems = reread_trial(source, trial.lines)
    assert found is None
    (one,) = [problem for problem in problems if not problem.warning]
    assert "so cost_plate and cost_wire_kg would count twice" in one.words


def test_a_price_without_a_currency_is_refused() -> None:
    trial, _ = read_trial(DRAFT / "compare.toml")
    source = dict(trial.source)
    source["budget"] = {"coupons": 40, "cost_plate": 3.0}
    found, problems = reread_trial(source, trial.lines)
    assert found is None
    assert "cost_plate has no currency" in problems[0].words
