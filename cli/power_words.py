"""What the figures of ``weldtrial power`` mean, in sentences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from weldtrial.cli.plan_parts import p_cell
from weldtrial.cli.scatter_words import with_unit
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.needs import Needs
    from weldtrial.analysis.shape import Shape
    from weldtrial.cli.power_figures import PowerFigures

_SURE = 0.9
"""Chance of half the loss from which there is nothing to warn of."""
_SMALL = 0.001
_AFTERNOON = 5.0
"""Hours up to which a day at the bench is an afternoon."""


def percent(chance: float | None, target: float | None = None) -> str:
    """Return a chance in whole percent, finer where rounding would say the target is met."""
    if chance is None:
        return "–"
    if chance < 1 and f"{100 * chance:.0f}" == "100":
        return "over 99 %"
    if target is not None and chance < target <= round(chance, 2):
        return f"{math.floor(1000 * chance) / 10:.1f} %"
    return f"{100 * chance:.0f} %"


def plan_words(one: PowerFigures) -> str:
    """Return the plan in words."""
    shape, groups = one.shape, one.groups
    what = "gases" if one.response.name == "response" else "levels"
    gases = f"{shape.levels} {what}, " if shape.levels > 2 else ""
    if not shape.by_setups:
        shares = f" ({groups.new} of the new gas, {groups.reference} of today's)" if groups else ""
        return f"{gases}{one.coupons} coupons{shares}, each set up anew, completely shuffled"
    how = "in rounds" if not shape.free else "shuffled freely"
    each = "coupon" if shape.per_setup == 1 else "coupons"
    setups = f"{_setups(shape.setups_per_level)} of each"
    if groups is not None:
        setups = f"{_setups(groups.new)} of the new gas and {groups.reference} of today's"
    many = str(shape.per_setup)
    if groups is None and shape.most_per_setup > shape.per_setup:
        many, each = f"{many} to {shape.most_per_setup}", "coupons"
    return f"{gases}{setups}, {how}, {many} {each} a set-up: {one.coupons} coupons"


def _setups(many: int | None) -> str:
    return "1 set-up" if many == 1 else f"{many} set-ups"


def sentences(one: PowerFigures) -> list[str]:
    """Return what the figures of a plan mean."""
    from weldtrial.analysis.budget import ENOUGH_ROUNDS

    needs, shape = one.needs, one.shape
    assert needs is not None
    unit = one.assumed.unit if one.assumed else ""
    if needs.detectable is None:
        return [
            "Each is set up once, so gas and set-up cannot be told apart and nothing can be shown, "
            "however many coupons are welded. Set each up at least four times."
            if shape.by_setups
            else "Nothing is welded twice, so nothing can be shown. Weld more coupons."
        ]
    words = [
        f"Smallest loss it would probably see: {with_unit(needs.detectable, unit)}. Anything "
        'smaller may pass unseen, and an answer of "not settled" is then no sign that the two are '
        "alike."
    ]
    if needs.half_loss_power is not None and needs.loss and needs.half_loss_power < _SURE:
        words.append(
            f"A true loss of half that asked about, {with_unit(needs.loss / 2, unit)}, it would "
            f"show {round(100 * needs.half_loss_power)} times in 100."
        )
    if any(term.judged_by == "effects" for _, term in one.terms):
        words.append(
            "Nothing is welded twice, so the effects judge each other (Lenth 1989); these chances "
            "are simulated, with no other effect than the one asked about."
        )
    if shape.readings > 1:
        words.append(
            "These figures are of one reading of fair; the two are read together, so that both "
            "intervals hold at once, and the figures allow for it."
        )
    elif shape.family != "single":
        words.append(
            f"All {shape.levels} are read together, so that all the intervals hold at once; the "
            "figures allow for it."
        )
    fewest = shape.setups_per_level if one.groups is None else one.groups.fewest
    if shape.by_setups and fewest is not None and fewest < ENOUGH_ROUNDS:
        words.append(
            'With fewer than four set-ups of each, a verdict can only begin with "Suggests".'
        )
    if one.groups is not None:
        words.append("What is needed is counted in equal numbers of each, which see most.")
    if needs.coupons is not None and needs.coupons > one.coupons:
        words.append(_short(needs, shape, unit))
    elif needs.power is not None and needs.power >= needs.chance:
        words.append("The plan as given is enough to probably show a loss of that size.")
    return words


def _short(needs: Needs, shape: Shape, unit: str) -> str:
    more = (
        f"{needs.setups_per_gas} set-ups of each ({needs.coupons} coupons)"
        if needs.setups_per_gas is not None
        else f"{needs.coupons} coupons"
    )
    words = f"To probably show a true loss of {with_unit(needs.loss, unit)} it takes {more}."
    if shape.by_setups:
        words += " More coupons in the same set-ups help less: set-ups are what is compared."
    return words


def widths(one: PowerFigures) -> list[str]:
    """Return how wide the 95 % interval will be, and what the width asked for needs."""
    unit = one.assumed.unit if one.assumed else ""
    chance = one.needs.chance if one.needs else 0.8
    lines = []
    if one.width is not None:
        lines.append(
            f"The 95 % interval of the difference: about ± {with_unit(one.width.expected, unit)}; "
            f"with a chance of {percent(chance)} within ± {with_unit(one.width.probable, unit)}."
        )
    if one.width_within is not None:
        setups, coupons = one.width_needs
        within = f"within ± {with_unit(one.width_within, unit)}, with that chance,"
        if coupons is None:
            lines.append(f"To keep it {within} is out of reach.")
        else:
            many = (
                f"{setups} set-ups of each ({coupons} coupons)" if setups else f"{coupons} coupons"
            )
            lines.append(f"To keep it {within} takes {many}.")
    return lines


def of_several(one: PowerFigures) -> list[tuple[str, float]]:
    """Return what can be shown of the best of several, each with its chance."""
    best = one.best
    assert best is not None
    if one.shape.family == "reference":
        return [
            ("the best has the best mean (choosing, without showing)", best.looks_best),
            ("one that differs from today's by so much is shown to differ", best.one_shown),
            ("today's, if that is the best, is shown better than every other", best.shown_best),
        ]
    return [
        ("the best has the best mean (choosing, without showing)", best.looks_best),
        ("the best is shown better than one other, named beforehand", best.one_shown),
        ("the best is shown better than every other", best.shown_best),
    ]


def meaning(one: PowerFigures) -> list[str]:
    """Return the plan in coupons and afternoons, and what gauge, readings and order allow."""
    lines = [*_bench(one), *_gauge(one), *_readings(one), *_order(one)]
    if len(one.terms) > 1:
        lines.append("What runs together, or cannot be told at all:  weldtrial plan")
    return lines


def _bench(one: PowerFigures) -> list[str]:
    time, shape, needs = one.time, one.shape, one.needs
    if time.hours is None or needs is None:
        return []
    setups = f", in {shape.setups} set-ups" if shape.by_setups else ""
    total = shape.coupons + shape.extra
    lines = [
        f"This plan: {total} coupons, spares and warm-ups included{setups}, {time.hours:.1f} h at "
        f"the bench{_days(time.days, time.hours_per_day)}."
    ]
    if time.needed is not None and (needs.coupons or 0) > shape.coupons:
        lines.append(
            f"What would probably show the loss: {(needs.coupons or 0) + shape.extra} coupons in "
            f"{needs.setups_per_gas} set-ups of each, {time.needed:.1f} h"
            f"{_days(time.needed_days, time.hours_per_day)}."
        )
    return lines


def _days(days: float | None, hours: float | None) -> str:
    if days is None or hours is None:
        return ""
    what = "afternoon" if hours <= _AFTERNOON else "day"
    return f": {days:.0f} {what}{'' if days == 1 else 's'} of {brief(hours)} h"


def _gauge(one: PowerFigures) -> list[str]:
    gauge, unit = one.gauge, one.assumed.unit if one.assumed else ""
    if gauge is None or gauge.steps is None or not gauge.coarse:
        return []
    margin, step = with_unit(gauge.margin, unit), with_unit(gauge.reads_to, unit)
    if gauge.steps < 1:
        return [
            f"! The gauge reads to {step}, which is more than the loss asked about, {margin}. It "
            "cannot read such a loss: the chances above are too good. Use a finer gauge."
        ]
    return [
        f"! The loss asked about, {margin}, is only {brief(gauge.steps, 2)} steps of the gauge "
        f"({step}): readings may tie, and the chances above are a little too good."
    ]


def _readings(one: PowerFigures) -> list[str]:
    known, needs = one.assumed, one.needs
    if one.perfect_readings is None or known is None or needs is None or needs.detectable is None:
        return []
    now = with_unit(needs.detectable, known.unit)
    return [
        f"More readings a coupon: at most from {now} down to "
        f"{with_unit(one.perfect_readings, known.unit)}, if every reading were perfect. Readings "
        "of one coupon never count as coupons."
    ]


def _order(one: PowerFigures) -> list[str]:
    p = one.smallest_p
    if p is None:
        return []
    never = " That alone can never settle anything at 0.05." if p > 0.05 else ""
    reach = f"p = {p_cell(p)} at best" if p >= _SMALL else "any p down to below 0.001"
    return [f"A shuffle test of the order, once drawn, can reach {reach}.{never}"]
