"""Words about surfaces: real units, nothing beyond what was welded, edges shouted."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest

from weldtrial.analysis.canonical import canonical
from weldtrial.analysis.left_out_prediction import leave_one_out, leave_one_setup_out
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.pruned import pruned_terms
from weldtrial.analysis.ridge import ridge_path
from weldtrial.analysis.stationary import stationary_point
from weldtrial.analysis.steepest import steepest
from weldtrial.analysis.surface import fit_surface, per_category
from weldtrial.analysis.surface_words import (
    canonical_words,
    direction_words,
    edge_words,
    left_out_words,
    pruned_words,
    ridge_words,
    settings_words,
    stationary_words,
    steepest_words,
)
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import model_terms

VOLTAGE = Factor(
    "voltage",
    "numeric",
    ("low", "high"),
    label="Arc voltage",
    unit="V",
    settings={"": (24.0, 27.0)},
)
TRAVEL = Factor(
    "travel", "numeric", ("low", "high"), label="Travel", unit="cm/min", settings={"": (30.0, 50.0)}
)
FACTORS = (VOLTAGE, TRAVEL)
PRUNED = ("voltage", "travel", "voltage^2")


def weld(mean, *, sd=0.5, setups=False, times=4):
    """Nine settings, four times over (invented)."""
    draw, made = np.random.default_rng(1), []
    for setup in range(times):
        shift = draw.normal(0, 1) if setups else 0.0
        for v, t in itertools.product((-1.0, 0.0, 1.0), repeat=2):
            y = mean(v, t) + shift + draw.normal(0, sd)
            point = {"voltage": v, "travel": t}
            place = setup if setups else None
            made.append(Observation("X", 1, None, place, {}, point, y, (y,)))
    return made


def surface(mean, model="quadratic", **more):
    rows = weld(mean, **more)
    return fit_surface(FACTORS, model_terms(FACTORS, model), rows, response="load", unit="kN"), rows


def cut(mean, model="quadratic", **more):
    return per_category(surface(mean, model, **more)[0])[0][1]


def test_a_top_inside_is_said_in_real_units():
    q = cut(lambda v, t: 50 - 3 * (v - 0.5) ** 2 - 2 * (t + 0.2) ** 2)
    first, region = stationary_words(q, stationary_point(q), canonical(q))
    assert first.startswith("The top of the fitted surface lies at 26.2 V, 3")
    assert "cm/min, inside what was welded; the fitted mean there is 50." in first
    assert "Arc voltage 26." in region
    assert "% of what was welded)." in region
    assert canonical_words(q, canonical(q)) == ("It falls away in every direction: a top.",)


def test_a_top_outside_gives_no_reading_unless_asked():
    q = cut(lambda v, t: 50 - 3 * (v - 1.5) ** 2 - 2 * t**2)
    point, axes = stationary_point(q), canonical(q)
    first, region = stationary_words(q, point, axes)
    assert "– outside what was welded, so what it would read there is not said." in first
    assert "kN" not in first
    assert region == "At 95 % confidence no part of what was welded could be its place."
    asked, region = stationary_words(q, point, axes, beyond=True)
    assert "BEYOND WHAT WAS WELDED" in asked
    assert " kN (" in asked
    assert "Arc voltage 27." in region


def test_a_top_far_outside_is_not_even_placed():
    q = cut(lambda v, t: 50 + 9 * v - 0.4 * v**2 - 2 * t**2)
    first, _ = stationary_words(q, stationary_point(q), canonical(q))
    assert first == (
        "The top of the fitted surface lies far outside what was welded, so it is not said."
    )


def test_a_flat_ridge_and_a_point_without_bound():
    q = cut(lambda v, t: 50 - 3 * (v + t) ** 2, sd=1.0, times=40)
    point, axes = stationary_point(q), canonical(q)
    assert not point.region.bounded
    assert "has no bound" in stationary_words(q, point, axes)[1]
    told, along = canonical_words(q, axes)
    assert told.endswith("a ridge, or a top too broad for this trial to tell.")
    assert re.fullmatch(
        r"Along arc voltage (up and travel down|down and travel up) together nothing changes much "
        r"– less than the scatter of one coupon, [01]\.\d+ kN, over what was welded: a ridge\.",
        along,
    )


def test_too_few_coupons_to_call_it_flat():
    q = cut(lambda v, t: 50 - 3 * (v + t) ** 2, sd=1.5, times=1)
    _, along = canonical_words(q, canonical(q))
    assert "the bend could be none" in along
    assert "nothing changes much" not in along


def test_rising_ridge_names_the_way_up():
    q = cut(lambda v, t: 50 - 4 * v**2 + 3 * t)
    (line,) = [one for one in canonical_words(q, canonical(q)) if one.startswith("Along")]
    assert line.endswith("; it climbs with travel up.")


def test_a_direction_without_a_square_is_straight_by_choice():
    rows = weld(lambda v, t: 50 - 4 * v**2 + 3 * t)
    terms = [one for one in model_terms(FACTORS, "quadratic") if one.name in PRUNED]
    q = per_category(fit_surface(FACTORS, terms, rows, unit="kN"))[0][1]
    lines = canonical_words(q, canonical(q))
    assert lines[1] == (
        "Along travel up the model is straight: no bend was asked for; it climbs with travel up."
    )


def test_saddle_made_by_the_model_is_said():
    q = cut(lambda v, t: 50 + v + 3 * v * t, "two-factor")
    lines = canonical_words(q, canonical(q))
    assert lines[0].startswith("It climbs along some directions and falls along others: a saddle")
    assert "No square of Arc voltage and Travel is in the model" in lines[-1]


def test_steepest_way_in_real_steps():
    q = cut(lambda v, t: 50 + 3 * v - 1.5 * t, "main", sd=0.3)
    first, cone = steepest_words(q, steepest(q))
    assert first.startswith("From 25.5 V, 40 cm/min the fitted surface climbs fastest by steps of ")
    assert "+1.50 V Arc voltage, −" in first
    assert "of all directions are ruled out." in cone
    noise = cut(lambda v, t: 50.0, "main", sd=3)
    assert steepest_words(noise, steepest(noise))[1] == (
        "At 95 % confidence no direction is ruled out: any could be steepest."
    )
    down = steepest_words(q, steepest(q, upward=False))
    assert "falls fastest by steps of −1.50 V" in down[0]


def test_ridge_path_shouts_at_the_edge_and_stops():
    q = cut(lambda v, t: 50 + 5 * v - t**2)
    lines = ridge_words(q, ridge_path(q))
    assert lines[-2:] == (
        "! 27.0 V is the highest Arc voltage welded. The best may lie beyond; this trial cannot "
        "see there.",
        "Farther out the highest mean lies outside what was welded, so it is not said.",
    )
    assert not any("BEYOND" in line for line in lines)
    beyond = ridge_words(q, ridge_path(q, [0.5, 2.0], beyond=True))
    assert sum(line.endswith("– BEYOND, outside what was welded") for line in beyond) == 1
    inside = cut(lambda v, t: 50 - 3 * v**2 - 3 * t**2)
    assert not any(line.startswith("!") for line in ridge_words(inside, ridge_path(inside)))


def test_edges_and_corners_are_named():
    q = cut(lambda v, t: 50 + v + t)
    corner = np.array([1.0, -1.0])
    low, high = edge_words(q, q.welded.place(corner), corner)
    assert low.startswith("! 30 cm/min is the lowest Travel welded.")
    assert high.startswith("! 27.0 V is the highest Arc voltage welded.")
    out = np.array([1.4, 0.0])
    assert edge_words(q, q.welded.place(out), out) == (
        "! 27.6 V, 40 cm/min is outside what was welded.",
    )
    assert edge_words(q, q.welded.place(np.zeros(2)), np.zeros(2)) == ()


def test_settings_without_units_are_named():
    plain = tuple(
        Factor(name, "numeric", ("-1", "1"), settings={"": (-1.0, 1.0)}, used_as_is=True)
        for name in ("voltage", "travel")
    )
    rows = weld(lambda v, t: 5 - v * v - t * t)
    found = fit_surface(plain, model_terms(plain, "quadratic"), rows, unit="1")
    q = per_category(found)[0][1]
    assert settings_words(q, np.array([0.25, -1.0])) == "voltage 0.2, travel −1.0"
    assert direction_words(q, np.array([0.0, -1.0])) == "travel down"


def test_left_out_and_pruned_words():
    found, rows = surface(lambda v, t: 50 - 3 * v**2, setups=True)
    one = left_out_words(leave_one_out(found.fit, rows), found)
    assert one.startswith("Left out one coupon at a time, coupons are missed by ")
    assert "coupons in fresh set-ups scatter by" in one
    whole = left_out_words(leave_one_setup_out(found.fit, rows), found)
    assert "one set-up at a time" in whole
    rule, gone, kept = pruned_words(pruned_terms(FACTORS, model_terms(FACTORS, "quadratic"), rows))
    assert "above 0.1," in rule
    assert gone.startswith("Gone, in this order: ")
    assert kept.endswith("Kept: voltage, voltage^2.")


@pytest.mark.parametrize("mean", [lambda v, t: 50 - 3 * v**2 + t, lambda v, t: 50 + v * t])
def test_no_line_is_empty_or_speaks_of_coded_units(mean):
    q = cut(mean)
    lines = [
        *stationary_words(q, stationary_point(q), canonical(q)),
        *canonical_words(q, canonical(q)),
        *steepest_words(q, steepest(q)),
        *ridge_words(q, ridge_path(q)),
    ]
    assert all(line.strip() for line in lines)
    assert not any("coded" in line or "nan" in line for line in lines)
