"""``[prices]``: reading it, and what must stand together in it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from weldtrial.shared.factors import Factor
from weldtrial.shared.prices import Prices
from weldtrial.shared.problems import nearest
from weldtrial.shared.trialfile.draft import Plain
from weldtrial.shared.trialfile.faults import Faults, as_written

_NEEDS = {
    "set_up": ("metres_per_set_up", "a set-up is shared over the metres welded in it"),
    "metres_per_set_up": ("set_up", "metres share a cost that is not given"),
    "arc_share": ("labour_hour", "a share of paid time needs what an hour costs"),
    "machine_efficiency": ("power_kwh", "power drawn needs what a kWh costs"),
}


def read_prices(raw: Plain, factors: Sequence[Factor], faults: Faults) -> Prices | None:
    """Return the prices, None without any; prices that cannot be used alone are reported."""
    if "currency" not in raw:
        return None
    for key, (other, why) in _NEEDS.items():
        if key in raw and not faults.stands(f"prices.{other}"):
            faults.wrong(f"prices.{key}", f"{key} needs {other} beside it: {why}.")
    plain = {key: value for key, value in raw.items() if key not in ("currency", "gas_m3")}
    gas = _gas(raw["gas_m3"], factors, faults) if "gas_m3" in raw else {}
    return Prices(
        raw["currency"].strip(), gas, **{key: float(value) for key, value in plain.items()}
    )


def _gas(value: object, factors: Sequence[Factor], faults: Faults) -> dict[str, float]:
    if not isinstance(value, dict):
        price = _price("gas_m3", value, "prices.gas_m3", faults)
        return {} if price is None else {"": price}
    levels = next((one.levels for one in factors if one.name == "gas"), ())
    found: dict[str, float] = {}
    meant: set[str | None] = set()
    for level, price in value.items():
        path = f"prices.gas_m3.{level}"
        if level not in levels:
            close = nearest(level, levels)
            meant.add(close)
            hint = f"Did you mean {close}?" if close else f"The gases are {', '.join(levels)}."
            words = f"'{level}' is not a gas of this trial. {hint}"
            if not levels:
                words = "there is no factor called gas. Write one price:  gas_m3 = 8.40."
            faults.wrong(path, words)
        elif (read := _price(f"gas_m3 of {level}", price, path, faults)) is not None:
            found[level] = read
    for level in levels:
        if level not in value and level not in meant:
            faults.wrong("prices.gas_m3", f"the price of {level} is not given. Add it.")
    return found


def _price(what: str, value: object, path: str, faults: Faults) -> float | None:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not math.isfinite(value) or value < 0:  # type: ignore[operator, arg-type]
        faults.wrong(path, f"{what} must be a number of 0 or more; it says {as_written(value)}.")
        return None
    return float(value)  # type: ignore[arg-type]
