"""``weldtrial plan --tells --json`` and ``--compare --json`` as plain values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from weldtrial.cli.telling import Alternative, Telling

if TYPE_CHECKING:
    from weldtrial.doe.losses_of_design import Loss
    from weldtrial.doe.prediction_error import Place


def telling_json(telling: Telling, *, sealed: bool) -> dict[str, Any]:
    """Return what a plan can tell; the keys are documented in ``weldtrial help json``."""
    from weldtrial.doe.struck_out import corners

    figures, quality = telling.figures, telling.quality
    return {
        "trial": figures.trial.title,
        "sealed": sealed,
        "changes": [asdict(change) for change in figures.changes],
        **_scatter(telling),
        "effects": _effects(telling),
        "together": {
            "pairs": [asdict(one) for one in quality.blurred.pairs],
            "hidden": quality.blurred.hidden,
            "leaks": [asdict(one) for one in quality.leaks],
        },
        "prediction": _prediction(telling),
        "corners": [asdict(one) for one in corners(figures.trial)] if figures.trial.limits else [],
        "losses": _losses(telling),
    }


def _scatter(telling: Telling) -> dict[str, Any]:
    quality, known = telling.quality, telling.figures.assumed
    return {
        "response": telling.figures.trial.deciding.name,
        "unit": telling.unit or None,
        "scatter": None
        if known is None
        else {"sd_coupon": known.spread.seen, "sd_setup": known.spread.setup},
        "variance_ratio": quality.ratio if quality.setups is not None else None,
        "variance_ratio_known": quality.ratio_known,
    }


def _effects(telling: Telling) -> list[dict[str, Any]]:
    judged = {one.term: one for one in telling.figures.assessment.told}
    found = []
    pairs = zip(telling.quality.widths, telling.quality.inflations, strict=True)
    for width, inflation in pairs:
        power, told = telling.powers.get(width.term), judged.get(width.term)
        found.append(
            {
                "term": width.term,
                "judged_by": None if told is None else told.judged_by,
                "error_df": width.df,
                "variance": width.relative,
                "half_width": width.half_width,
                "inflation": inflation,
                "detectable": None if power is None else power.detectable,
                "chance": None if power is None else power.chance,
            }
        )
    return found


def _prediction(telling: Telling) -> dict[str, Any] | None:
    found = telling.quality.prediction
    if found is None:
        return None
    return {
        "best": _place(telling, found.best),
        "worst": _place(telling, found.worst),
        "typical_variance": found.typical,
        "mean_variance": found.mean,
        "typical_half_width": found.typical_half_width,
        "variance_quantiles": found.quantiles,
        "half_width_quantiles": found.half_quantiles,
        "settings": found.settings,
        "allowed": found.allowed,
    }


def _place(telling: Telling, place: Place) -> dict[str, Any]:
    from weldtrial.doe.region import settings_at

    return {
        "settings": settings_at(telling.figures.trial, place.point),
        "coded": place.point,
        "variance": place.relative,
        "half_width": place.half_width,
    }


def _losses(telling: Telling) -> dict[str, Any] | None:
    found = telling.quality.losses
    if found is None:
        return None
    kinds = (
        ("set_up", found.setup, found.setup_cases, found.setup_drops),
        ("coupon", found.coupon, found.coupon_cases, found.coupon_drops),
        ("two_coupons", found.pair, found.pair_cases, found.pair_drops),
    )
    return {
        name: {"worst": _loss(telling, loss), "cases": cases, "cases_that_drop": drops}
        for name, loss, cases, drops in kinds
    }


def _loss(telling: Telling, loss: Loss | None) -> dict[str, Any] | None:
    from weldtrial.doe.region import settings_at

    if loss is None:
        return None
    trial, points = telling.figures.trial, telling.quality.points
    return {
        "settings": [settings_at(trial, points[row]) for row in loss.coupons],
        "dropped": loss.dropped,
        "unjudged": loss.unjudged,
        "growth": loss.growth,
        "widest": loss.widest or None,
    }


def compared_json(plans: Sequence[Alternative], *, sealed: bool) -> dict[str, Any]:
    """Return plans side by side; the keys are documented in ``weldtrial help json``."""
    from weldtrial.cli.comparing import compared

    return {
        "sealed": sealed,
        "plans": [
            {
                "name": plan.name,
                "changes": [asdict(change) for change in plan.changes],
                "refused": plan.why or None,
                **({} if plan.telling is None else asdict(compared(plan.telling))),
                "tells": None
                if plan.telling is None
                else telling_json(plan.telling, sealed=sealed),
            }
            for plan in plans
        ],
    }
