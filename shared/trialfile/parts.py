"""The smaller parts of a trial file: joint, held settings, claims, limits, goal and the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from weldtrial.shared.factors import Factor
from weldtrial.shared.goal import COST, goal_terms
from weldtrial.shared.trial import (
    Blind,
    Budget,
    Design,
    Fair,
    Goal,
    Held,
    Joint,
    LimitOnSettings,
    Model,
    Order,
    Purpose,
    Quantity,
    Rules,
)
from weldtrial.shared.trialfile.draft import Plain
from weldtrial.shared.trialfile.faults import Faults, as_number
from weldtrial.shared.trialfile.hints import unit_clash
from weldtrial.shared.units import kind

_POSITIVE = ("voltage", "current", "speed", "gas flow")


def read_fair(raw: Plain) -> Fair:
    """Return the fairness rule."""
    return Fair(raw.get("rule"), raw.get("how", ""), raw.get("fixed", ""))


def read_joint(raw: Plain, faults: Faults) -> Joint:
    """Return the joint; sizes that look like another unit are reported."""
    plate, wire = raw.get("plate", {}), raw.get("wire", {})
    sizes = {
        "leg": raw.get("leg"),
        "length": raw.get("length"),
        "plate.thickness": _size(plate, "thickness", "plate", faults),
        "wire.diameter": _size(wire, "diameter", "wire", faults),
    }
    quantities = {"leg": "leg", "plate.thickness": "thickness", "wire.diameter": "wire diameter"}
    for name, quantity in quantities.items():
        size = sizes[name]
        if size is not None and (
            words := unit_clash(name, "size", size.value, size.unit, quantity=quantity)
        ):
            faults.wrong(f"joint.{name}", words)
    return Joint(
        type=raw.get("type", ""),
        leg=sizes["leg"],
        length=sizes["length"],
        plate_grade=plate.get("grade", ""),
        plate_thickness=sizes["plate.thickness"],
        plate_heat=plate.get("heat", ""),
        wire_class=wire.get("class", ""),
        wire_diameter=sizes["wire.diameter"],
        process=raw.get("process", ""),
        position=raw.get("position", ""),
    )


def _size(table: Plain, key: str, part: str, faults: Faults) -> Quantity | None:
    if key not in table:
        return None
    if "unit" not in table:
        if not faults.stands(f"joint.{part}.unit"):
            faults.wrong(
                f"joint.{part}", f'the {part} has a {key} but no unit. Add  unit = "mm"  beside it.'
            )
        return None
    return Quantity(float(table[key]), table["unit"])


def read_held(raws: Sequence[Plain], faults: Faults) -> tuple[Held, ...]:
    """Return the held settings that can be used; targets in another unit are reported."""
    held = []
    for place, raw in enumerate(raws):
        if not {"name", "unit", "target"} <= set(raw):
            continue
        one = Held(
            raw["name"],
            raw["unit"],
            float(raw["target"]),
            raw.get("tolerance"),
            raw.get("label", ""),
        )
        path = f"held.{place}.target"
        if words := unit_clash(one.name, "target", one.target, one.unit):
            faults.wrong(path, words, raw["target"])
        elif one.target < 0 and kind(one.unit) in _POSITIVE:
            faults.wrong(path, f"{one.name} cannot be {as_number(one.target)} {one.unit}.")
        held.append(one)
    return tuple(held)


def read_limits(raws: Sequence[Plain]) -> tuple[LimitOnSettings, ...]:
    """Return the limits on settings that have a rule."""
    return tuple(
        LimitOnSettings(raw["rule"], raw.get("why", ""))
        for raw in raws
        if isinstance(raw.get("rule"), str)
    )


def read_goal(raw: Plain) -> Goal | None:
    """Return the goal, or None without one."""
    if "best" not in raw:
        return None
    keep = raw.get("keep", "")
    return Goal(
        best=raw["best"],
        toward=raw.get("toward", "lower" if raw["best"] == COST else "higher"),
        keep=keep if isinstance(keep, str) else "",
        curves=raw.get("curves", False),
        pairs=raw.get("pairs", ()),
    )


MADE_FOR: Mapping[str, Model] = {
    "plackett-burman": "main",
    "definitive-screening": "main",
    "latin-square": "main",
    "paired": "main",
    "central-composite": "quadratic",
    "box-behnken": "quadratic",
}
"""The model of a design whose file names none, where it is not ``two-factor``."""
MADE_AUTOMATICALLY: Mapping[str, Model] = {"screening": "main", "settings": "quadratic"}
"""The same for ``auto``, by the purpose of the trial."""


def read_design(
    raw: Plain, purpose: Purpose, factors: Sequence[Factor], goal: Goal | None = None
) -> Design:
    """Return the design as asked for; a model that is left out is what the kind is made for.

    A goal that asks for curves or pairs says what the model is, unless the file names one: main
    effects, those pairs, and the squares.
    """
    follows = goal_terms(goal, factors) if goal is not None and "model" not in raw else ()
    if follows:
        terms = tuple(dict.fromkeys((*follows, *raw.get("terms", ()))))
        return Design(**{**raw, "model": "main", "terms": terms})
    kind = raw.get("kind", "factorial")
    usual = MADE_FOR.get(kind, "two-factor")
    if kind == "auto":
        usual = MADE_AUTOMATICALLY.get(purpose, "two-factor")
        if not any(one.kind == "numeric" and one.varied for one in factors):
            usual = "main" if usual == "main" else "two-factor"
    return Design(**{"model": usual, **raw})


def read_budget(raw: Plain, faults: Faults) -> Budget:
    """Return the budget; costs without a currency and no coupons left over are reported."""
    budget = Budget(**raw)
    parts = [key for key in ("cost_plate", "cost_wire_kg") if key in raw]
    if parts and "cost_coupon" in raw:
        faults.wrong(
            f"budget.{parts[0]}",
            f"cost_coupon is plate, wire and all, so {' and '.join(parts)} would count twice. Keep "
            "cost_coupon, or give  cost_plate  and  cost_wire_kg  in its place.",
        )
    for key in ("cost_coupon", "cost_plate", "cost_wire_kg", "cost_setup"):
        if key in raw and not budget.currency.strip():
            faults.wrong(f"budget.{key}", f'{key} has no currency. Add  currency = "EUR".')
            break
    used = budget.spare + budget.warm_up + budget.confirm
    if budget.coupons is not None and used >= budget.coupons:
        faults.wrong(
            "budget.coupons",
            f"{budget.coupons} coupons less {budget.spare} spare, {budget.warm_up} warm-up and "
            f"{budget.confirm} to confirm leave none to compare. Raise  coupons.",
        )
    return budget


def read_order(raw: Plain) -> Order:
    """Return how the order is drawn."""
    return Order(**raw)


def read_blind(raw: Plain) -> Blind:
    """Return who must not know."""
    return Blind(**raw)


def read_rules(raw: Plain) -> Rules:
    """Return the rules fixed beforehand."""
    return Rules(**raw)
