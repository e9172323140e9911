"""The JSON of ``weldtrial optimise``: stable keys, full precision."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.linear import Estimate
    from weldtrial.analysis.one_number import OneNumber
    from weldtrial.analysis.optimum_asked import Duel, Optimum, Pick, Shown, Tolerance
    from weldtrial.analysis.surface_told import LevelTold, SurfaceTold
    from weldtrial.analysis.window import Choice, Step
    from weldtrial.shared.weld_cost import WeldCost


def optimum_json(trial: Trial, found: Optimum, seal: str = "") -> dict[str, Any]:
    """Return everything that is said of the settings; `seal` is the code of this folder's."""
    from weldtrial.cli.optimise_confirmed import confirming_json

    window = found.window
    lost = {tuple(one.levels.items()): one for one in found.region.lost}
    return {
        "trial": trial.title,
        "goal": {
            "best": window.aim.best,
            "toward": window.aim.toward,
            "keep": window.keep,
            "in_file": not found.aimless,
        },
        "limits": [
            {
                "response": one.response,
                "at_least": one.at_least,
                "at_most": one.at_most,
                "sealed": one.response not in found.fitted.afterwards,
            }
            for one in window.limits
        ],
        "passing": [one.response for one in found.fitted.joint.passing],
        "fixed": dict(found.asked.fixed),
        "held_within": {one.factor: one.within for one in found.window.held},
        "held": _held(trial, found),
        "beyond": found.asked.beyond,
        "settings": [
            {
                "levels": dict(one.levels),
                "laid": lost[tuple(one.levels.items())].laid,
                "ruled_out": lost[tuple(one.levels.items())].ruled_out,
                "unseen": lost[tuple(one.levels.items())].unseen,
                "allowed": one.allowed,
                "on_average": one.on_average,
                "enough": one.enough,
            }
            for one in found.counts
        ],
        "picks": [_pick(found, one) for one in found.picks],
        "recommended": None if found.recommended is None else shown_json(found.recommended),
        "confirmed": found.confirmed,
        "confirmation": confirming_json(found.confirming, trial, seal),
        "on_average": None if found.on_average is None else shown_json(found.on_average),
        "steps": [_step(found, one) for one in found.steps],
        "tolerances": [_tolerance(one) for one in found.tolerances],
        "held_exactly": found.held_chance,
        "front": [
            _choice(one)
            | {
                "means": _means(found, one),
                "beyond": bool(found.region.beyond[one.place]),
                "cost": None if found.costs is None else float(found.costs[one.place]),
            }
            for one in found.front
        ],
        "own_best": [_duel(one) for one in found.duels],
        "skipped": dict(found.fitted.skipped),
    }


def _held(trial: Trial, found: Optimum) -> list[dict[str, Any]]:
    typed = {one.factor for one in found.asked.held}
    loosely = [
        {
            "factor": one.factor,
            "within": one.within,
            "unit": trial.factor(one.factor).unit,
            "from": "--hold" if one.factor in typed else "trial.toml",
        }
        for one in found.window.held
    ]
    exactly = [
        {"factor": name, "within": 0.0, "unit": trial.factor(name).unit, "from": "--hold"}
        for name in found.asked.exactly
    ]
    return loosely + exactly


def _tolerance(one: Tolerance) -> dict[str, Any]:
    return {
        "factor": one.factor,
        "unit": one.unit,
        "low": one.low,
        "high": one.high,
        "low_open": one.low_open,
        "high_open": one.high_open,
    }


def _means(found: Optimum, choice: Choice) -> dict[str, float]:
    return {one.response: float(one.mean([choice.point])[0]) for one in found.fitted.surfaces}


def _choice(choice: Choice) -> dict[str, Any]:
    return {
        "settings": dict(choice.settings),
        "value": choice.value,
        "chance": choice.chance,
        "chances": dict(choice.own),
        "weakest": choice.weakest,
        "edges": [
            {"factor": one.factor, "side": one.side, "setting": one.setting, "unit": one.unit,
             "owner": one.owner or None}
            for one in choice.edges
        ],
    }  # fmt: skip


def shown_json(shown: Shown) -> dict[str, Any]:
    """Return one place with all that is said of it."""
    return {
        **_choice(shown.choice),
        "expected": [
            {"response": one.response, "unit": one.unit, "mean": one.mean, "low": one.low,
             "high": one.high, "chance": one.chance}
            for one in shown.expected
        ],
        "beyond": shown.beyond,
        "outside": list(shown.outside),
        "strays": list(shown.strays),
        "on_edge": shown.on_edge,
        "coupons": shown.coupons,
        "set_ups": shown.set_ups,
        "cost": None if shown.cost is None else _cost(shown.cost),
    }  # fmt: skip


def _cost(cost: WeldCost) -> dict[str, Any]:
    return {
        "currency": cost.currency,
        "total": cost.total,
        "parts": [
            {"name": one.name, "amount": one.amount, "unit": one.unit, "cost": one.cost}
            for one in cost.parts
        ],
        "missing": list(cost.missing),
        "notes": list(cost.notes),
    }


def _step(found: Optimum, step: Step) -> dict[str, Any]:
    return {
        "keep": step.chance,
        "choice": None
        if step.choice is None
        else _choice(step.choice) | {"beyond": bool(found.region.beyond[step.choice.place])},
    }


def _pick(found: Optimum, pick: Pick) -> dict[str, Any]:
    return {
        "levels": dict(pick.levels),
        "on_average": None if pick.on_average is None else shown_json(pick.on_average),
        "best": None if pick.best is None else shown_json(pick.best),
        "likeliest": shown_json(pick.likeliest),
        "steps": [_step(found, one) for one in pick.steps],
    }


def _duel(duel: Duel) -> dict[str, Any]:
    gap = duel.gap
    return {
        "response": gap.response,
        "unit": gap.unit,
        "level": gap.level.level,
        "level_settings": dict(gap.level.settings),
        "reference": gap.reference.level,
        "reference_settings": dict(gap.reference.settings),
        "difference": gap.estimate,
        "low": gap.low,
        "high": gap.high,
        "best_low": gap.best_low,
        "best_high": gap.best_high,
        "price": gap.price,
        "margin": duel.margin,
        "settle_set_ups": None if duel.settling is None else duel.settling.set_ups,
    }


def surfaces_json(told: Sequence[SurfaceTold]) -> dict[str, Any]:
    """Return what each surface has, by response."""
    return {
        one.response: {
            "levels": [_level(level) for level in one.levels],
            "left_out": None
            if one.left_out is None
            else {"by": one.left_out.by, "rms": one.left_out.rms, "press": one.left_out.press,
                  "r_squared": one.left_out.r_squared},
            "words": list(one.words),
        }
        for one in told
    }  # fmt: skip


def _level(one: LevelTold) -> dict[str, Any]:
    point, axes = one.stationary, one.canonical
    names = [factor.name for factor in one.quadratic.factors]
    return {
        "levels": dict(one.levels),
        "stationary": None
        if point is None
        else {
            "settings": dict(zip(names, point.settings.tolist(), strict=True)),
            "inside": point.place.inside,
            "mean": _estimate(point.mean),
        },
        "canonical": None
        if axes is None
        else {
            "nature": axes.nature,
            "told": axes.told,
            "bends": [axis.bend.estimate for axis in axes.axes],
        },
        "ridge": None
        if one.ridge is None
        else [
            {
                "radius": step.radius,
                "settings": dict(zip(names, step.step.settings.tolist(), strict=True)),
                "mean": _estimate(step.mean),
                "inside": step.step.place.inside,
            }
            for step in one.ridge.steps
        ],
        "words": list(one.words),
    }


def _estimate(found: Estimate) -> dict[str, Any]:
    low, high = found.interval(0.95)
    return {"estimate": found.estimate, "low": low, "high": high}


def one_number_json(found: OneNumber) -> dict[str, Any]:
    """Return the most desirable setting."""
    return {
        **_choice(found.choice),
        "desirability": found.value,
        "wishes": [
            {"response": wish.response, "worthless_below": wish.worthless_below,
             "worthless_above": wish.worthless_above, "enough": wish.enough, "there": value,
             "worth": worth}
            for wish, worth, value in zip(found.wishes, found.worths, found.values, strict=True)
        ],
    }  # fmt: skip
