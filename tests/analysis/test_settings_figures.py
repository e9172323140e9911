"""Pictures of settings: drawn for one gas and for three, with words, numbers and every coupon."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from weldtrial.analysis.figures import (
    certainty_price,
    house_style,
    interaction,
    pass_map,
    response_map,
    setting_curve,
    trade_off,
)
from weldtrial.analysis.optimum import optimum
from weldtrial.analysis.optimum_asked import Asked, Optimum
from weldtrial.analysis.settings_curves import interaction_of, setting_curves
from weldtrial.analysis.settings_maps import settings_maps, usual_axes
from weldtrial.analysis.settings_trade_offs import price_of_certainty, trade_offs
from weldtrial.shared.bench import read_record
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import load_trial


@dataclass(frozen=True)
class Case:
    trial: Trial
    record: Any
    found: Optimum
    gases: int


def load(folder: Path) -> tuple[Trial, Any]:
    trial = load_trial(folder / "trial.toml")
    return trial, read_record(folder, trial, read_plan(folder / "plan.csv", trial))


@pytest.fixture(scope="module", params=[1, 3])
def case(request: pytest.FixtureRequest, welded_settings: Callable[[int], Path]) -> Case:
    trial, record = load(welded_settings(request.param))
    return Case(trial, record, optimum(trial, record), request.param)


def pictures(case: Case) -> Iterator[tuple[str, Any, Any]]:
    trial, found = case.trial, case.found
    axes = usual_axes(trial, found)
    assert axes == ("voltage", "travel")
    maps = settings_maps(trial, found, *axes, many=15)
    limits = {one.response: one for one in found.fitted.limits}
    factors = trial.varied
    yield "window", pass_map.draw(maps, factors), pass_map.describe(maps, factors)
    said = (maps, factors, "break_load", "kN", limits["break_load"])
    yield "map", response_map.draw(*said), response_map.describe(*said)
    curves = setting_curves(trial, found, "break_load", "travel")
    limit = limits["break_load"]
    yield (
        "curve",
        setting_curve.draw(curves, limit),
        setting_curve.describe(curves, factors, limit),
    )
    for pair in (("voltage", "travel"), ("voltage", "wire_feed")):
        made = interaction_of(trial, found.fitted, "break_load", pair)
        yield "pair", interaction.draw(made), interaction.describe(made)
    prices = price_of_certainty(found)
    price = (prices, "travel", "cm/min", 0.8)
    yield "price", certainty_price.draw(*price), certainty_price.describe(*price)
    fronts = trade_offs(trial, found, "break_load", "penetration")
    named = (("break_load", "kN"), ("penetration", "mm"))
    held = (limits["break_load"], limits["penetration"])
    yield "front", trade_off.draw(fronts, *named, held), trade_off.describe(fronts, *named, held)


def test_every_picture_has_words_units_and_numbers(case: Case) -> None:
    names = ("mix", "co2", "m20")[: case.gases] if case.gases > 1 else ()
    for key, figure, text in pictures(case):
        assert len(text.alt) > 40, key
        assert text.alt.endswith(".")
        assert text.caption
        assert text.table_rows, key
        assert all(len(row) == len(text.table_headers) for row in text.table_rows)
        labels = [axes.get_xlabel() + axes.get_ylabel() for axes in figure.axes if axes.axison]
        if key != "price":
            assert any("kN" in one or "cm/min" in one for one in labels), key
        seen = " ".join(
            [one.get_text() for axes in figure.axes for one in axes.texts]
            + [axes.get_title(loc="left") for axes in figure.axes]
        )
        if key != "pair":
            assert all(name in seen for name in names), key
        with house_style():
            figure.savefig(io.BytesIO(), format="png", dpi=40)


def test_every_coupon_is_drawn(case: Case) -> None:
    found = case.found
    coupons = len(found.fitted.coupons("break_load"))
    curves = setting_curves(case.trial, found, "break_load", "travel")
    assert sum(len(one.dots) for one in curves) == coupons
    made = interaction_of(case.trial, found.fitted, "break_load", ("voltage", "travel"))
    assert sum(len(one.dots) for one in made.lines) == coupons
    fronts = trade_offs(case.trial, found, "break_load", "penetration")
    assert sum(len(one.dots) for one in fronts) == coupons
    maps = settings_maps(case.trial, found, "voltage", "travel", many=7)
    assert sum(len(one.tried) for one in maps) == coupons


def test_curves_stop_where_nothing_was_welded(case: Case) -> None:
    for one in setting_curves(case.trial, case.found, "break_load", "travel"):
        welded = [dot.x for dot in one.dots]
        assert min(welded) - 1e-9 <= one.x.min()
        assert one.x.max() <= max(welded) + 1e-9
        assert np.all(one.low < one.mean)
        assert np.all(one.mean < one.high)


def test_the_map_agrees_with_the_chances_it_is_drawn_from(case: Case) -> None:
    """At the star the map's chance is that of the choice, up to the spacing of the map."""
    for one, pick in zip(
        settings_maps(case.trial, case.found, "voltage", "travel", many=61),
        case.found.picks,
        strict=True,
    ):
        if pick.best is None:
            continue
        assert one.chosen is not None
        row = int(np.argmin(np.abs(one.up - one.chosen[1])))
        column = int(np.argmin(np.abs(one.across - one.chosen[0])))
        assert one.chance[row, column] == pytest.approx(pick.best.choice.chance, abs=0.02)


def test_a_front_of_averages_is_beaten_by_none(case: Case) -> None:
    for one in trade_offs(case.trial, case.found, "break_load", "penetration"):
        order = np.argsort(one.x)
        assert np.all(np.diff(one.y[order]) <= 1e-12)


def test_certainty_never_comes_cheaper(case: Case) -> None:
    for one in price_of_certainty(case.found):
        known = one.goal[np.isfinite(one.goal)]
        assert np.all(np.diff(known) <= 1e-9)


def test_ruled_out_corner_is_hatched_and_beyond_is_marked(
    welded_settings: Callable[[int], Path],
) -> None:
    trial, record = load(welded_settings(2))
    found = optimum(trial, record, Asked(levels={"gas": "co2"}, fixed={"travel": 45.0}))
    maps = settings_maps(trial, found, "voltage", "wire_feed", many=21)
    assert maps[0].ruled_out.any()
    figure = pass_map.draw(maps, trial.varied)
    hatches = {h for one in figure.axes[0].collections for h in getattr(one, "hatches", [])}
    assert "///" in hatches
    past = optimum(trial, record, Asked(levels={"gas": "co2"}, beyond=True))
    maps = settings_maps(trial, past, "voltage", "travel", many=15)
    assert maps[0].beyond.any()
    assert not maps[0].unseen.any()
    drawn = pass_map.draw(maps, trial.varied, beyond=True)
    assert "BEYOND WHAT WAS WELDED" in drawn.get_suptitle()
    assert "the map is only carried on" in pass_map.describe(maps, trial.varied).caption
