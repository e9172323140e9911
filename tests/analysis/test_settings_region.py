"""Which settings are spoken of: settable, allowed, and enclosed by coupons."""

from __future__ import annotations

import numpy as np
import pytest

from weldtrial.analysis.settings_region import BEYOND, OVERSHOT, Seen, axis_of, lay_region
from weldtrial.shared.factors import Factor
from weldtrial.shared.limit_rules import Words
from weldtrial.shared.limit_text import parse_rule
from weldtrial.shared.said_settings import said_settings, typed_settings

GAS = Factor("gas", "category", ("mix", "co2"))
VOLTS = Factor(
    "voltage", "numeric", ("low", "high"), unit="V", step=0.1, slides_with="gas",
    settings={"mix": (24.3, 27.3), "co2": (25.5, 28.5)},
)  # fmt: skip
TRAVEL = Factor(
    "travel", "numeric", ("30", "50"), unit="cm/min", step=1, settings={"": (30.0, 50.0)}
)
FACTORS = (GAS, VOLTS, TRAVEL)
SQUARE = tuple(
    {"gas": gas, "voltage": v, "travel": t}
    for gas in GAS.levels
    for v in (-1.0, 1.0)
    for t in (-1.0, 1.0)
)
TRIANGLE = (*SQUARE[:4], *SQUARE[4:7])


def test_only_what_the_machine_can_be_set_to() -> None:
    region = lay_region(Seen(FACTORS, SQUARE), ())
    for place in range(len(region.places)):
        settings = region.places.settings(place)
        assert round(float(settings["voltage"]), 1) == settings["voltage"]
        assert float(settings["travel"]).is_integer()


def test_a_corner_that_no_coupon_encloses_is_not_spoken_of_unless_asked() -> None:
    seen = Seen(FACTORS, TRIANGLE)
    region = lay_region(seen, ())
    mix, co2 = region.lost
    assert mix.unseen == 0
    # Half of a triangle's square, its edge in.
    assert 0.4 * co2.laid < co2.unseen < 0.5 * co2.laid
    assert not region.beyond.any()
    far = lay_region(seen, (), beyond=True)
    assert far.beyond.any()
    assert far.places.coded.max() <= 1 + BEYOND + OVERSHOT
    assert all(one.unseen == 0 for one in far.lost)


def test_what_is_fixed_and_held_narrows_the_grid() -> None:
    region = lay_region(Seen(FACTORS, SQUARE), (), fixed={"travel": 44.0}, levels={"gas": "co2"})
    assert {one["gas"] for one in map(region.places.settings, range(len(region.places)))} == {"co2"}
    assert np.allclose(region.places.coded[:, 1], 0.4)


def test_too_few_coupons_at_one_level_borrow_the_others() -> None:
    seen = Seen(FACTORS, (*SQUARE[:4], SQUARE[4]))
    assert lay_region(seen, ()).lost[1].unseen == 0


def test_star_points_are_within_what_was_welded() -> None:
    star = (*SQUARE, {"gas": "mix", "voltage": 1.5, "travel": 0.0})
    assert Seen(FACTORS, star).span(VOLTS) == (-1.0, 1.5)


def test_no_setting_below_nothing() -> None:
    gap = Factor("gap", "numeric", ("0", "1"), unit="mm", settings={"": (0.0, 1.0)})
    assert min(axis_of(gap, "", -1.25, 1.25, 9)) == pytest.approx(-1.0)


def test_settings_in_words_and_as_typed() -> None:
    settings = {"gas": "co2", "voltage": 28.0, "travel": 48.0}
    assert said_settings(FACTORS, settings) == "co2, 28.0 V, 48 cm/min"
    assert typed_settings(FACTORS, settings) == "gas=co2,voltage=28,travel=48"
    other = Factor("feed", "numeric", ("1", "2"), unit="cm/min", settings={"": (1.0, 2.0)})
    both = {"travel": 48.0, "feed": 1.5}
    assert said_settings((TRAVEL, other), both) == "travel 48 cm/min, feed 1.5 cm/min"


def test_rules_may_name_a_setting_of_one_role() -> None:
    """An own setting shifts with the gas and is no axis of the grid; rules still know it."""
    own = Factor(
        "voltage", "numeric", ("own",), unit="V", slides_with="gas",
        settings={"mix": (25.5,), "co2": (27.0,)},
    )  # fmt: skip
    rule = parse_rule("voltage * travel <= 1200", Words(("voltage", "travel")))
    points = tuple({"gas": gas, "travel": t} for gas in GAS.levels for t in (-1.0, 1.0))
    region = lay_region(Seen((GAS, TRAVEL), points, (own,)), (rule,))
    settings = [region.places.settings(place) for place in range(len(region.places))]
    fastest = {
        gas: max(float(one["travel"]) for one in settings if one["gas"] == gas)
        for gas in GAS.levels
    }
    assert fastest == {"mix": 47.0, "co2": 44.0}
