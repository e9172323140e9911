"""What designs can tell, in words: losses, leaks and places."""

from __future__ import annotations

import pytest

from weldtrial.doe.blurred import Leak
from weldtrial.doe.losses_of_design import Loss
from weldtrial.doe.quality_words import cost_words, leak_words, place_words
from weldtrial.shared.factors import Factor
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

GAS = Factor("gas", "category", ("mix", "co2"))
VOLTS = Factor(
    "voltage",
    "numeric",
    ("low", "high"),
    label="Arc voltage",
    unit="V",
    slides_with="gas",
    settings={"mix": (24.3, 27.3), "co2": (25.5, 28.5)},
)
FEED = Factor("wire_feed", "numeric", ("7.5", "9.5"), unit="m/min", settings={"": (7.5, 9.5)})
TRIAL = Trial("Invented", (GAS, VOLTS, FEED), (Response("break_load", "kN"),))


def test_places_are_said_as_they_are_set() -> None:
    point = {"gas": "co2", "voltage": 1.0, "wire_feed": 0.3333}
    assert place_words(TRIAL, point) == "co2, 28.5 V, 8.83 m/min"
    assert place_words(TRIAL, {**point, "gas": "mix"}) == "mix, 27.3 V, 8.83 m/min"


@pytest.mark.parametrize(("share", "words"), [(1 / 3, "0.33 kN too high"), (-1.0, "1 kN too low")])
def test_leaks_say_how_much_and_which_way(share: float, words: str) -> None:
    said = leak_words(TRIAL, Leak("gas", "voltage:wire_feed", share), "kN")
    assert said == f"were arc voltage × wire feed (left out) 1 kN, gas would read {words}"


@pytest.mark.parametrize(
    ("loss", "words"),
    [
        (Loss((0,), None, (), (), 1.004, "gas"), "the interval of gas is less than 1 % wider"),
        (Loss((0,), None, (), (), 1.17, "gas"), "the interval of gas is 17 % wider"),
        (Loss((0,), None, (), (), 3.64, "gas"), "the interval of gas is 3.6 times as wide"),
        (
            Loss((0,), 0, ("gas", "gas:voltage"), (), 1.5, "voltage"),
            "gas and gas × arc voltage can no longer be told; the interval of arc voltage is 50 % "
            "wider",
        ),
        (Loss((0,), 0, (), ("gas",), None, ""), "nothing is left to judge gas by"),
        (Loss((0,), 0, (), (), None, ""), "no term had anything to judge it by before"),
    ],
)
def test_what_a_loss_costs(loss: Loss, words: str) -> None:
    assert cost_words(TRIAL, loss) == words
