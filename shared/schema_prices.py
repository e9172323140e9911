"""The settings of ``[prices]``: what a metre of weld costs, from the user's own prices."""

from __future__ import annotations

from weldtrial.shared.setting import Key, Section


def _price(name: str, meaning: str, per: str) -> Key:
    return Key(name, "number", meaning, low=0, unit=f"the currency for each {per}")


PRICES_SECTION = Section(
    "prices",
    "the prices",
    "What things cost in your shop, for the cost of a metre of weld. Nothing is assumed: what is "
    "not given is named as missing and left out of the sum. See weldtrial help window.",
    (
        Key("currency", "text", "Currency of every price here.", required=True),
        Key("gas_m3", "special", "Price of a cubic metre of shielding gas. Without it, "
            "cost_per_m3 under about of each gas.",
            form="0 or more: one number, or one for each gas: { mix = 8.40, co2 = 3.60 }"),
        _price("wire_kg", "Price of wire. Without it, cost_wire_kg under [budget] where the "
               "currency is the same.", "kg"),
        _price("labour_hour", "What an hour of the welder costs.", "hour"),
        Key("arc_share", "number", "Share of the welder's paid time in which the arc burns. "
            "Without it labour is counted for the arc time alone, and said so.", above=0, high=1),
        _price("power_kwh", "Price of electric energy.", "kWh"),
        Key("machine_efficiency", "number", "Arc power over the power drawn from the mains, as "
            "the machine's data sheet gives it.", above=0, high=1),
        Key("current", "number", "Welding current to reckon power with, where no setting says "
            "it.", above=0, unit="A"),
        _price("set_up", "Cost of one set-up. Without it set-ups are left out.", "set-up"),
        Key("metres_per_set_up", "number", "Weld made in one set-up, over which it is shared.",
            above=0, unit="m"),
    ),
)  # fmt: skip
