"""Claims held against intervals: inside, outside, turned round, without a finite ratio."""

from __future__ import annotations

from dataclasses import replace

import pytest

from weldtrial.analysis.claims import weigh_claims
from weldtrial.analysis.findings import Comparison, Verdict
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Claim

LOAD = Response("load", "kN")


def comparison(ratio: tuple[float, float, float] | None = (0.986, 0.953, 1.021)) -> Comparison:
    ends = ratio or (None, None, None)
    return Comparison(
        factor="gas", level="co2", reference="mix", difference=-1.2, percent=-1.4, se=1.3, df=5,
        ci_low=-4.1, ci_high=1.7, ci90_low=-3.5, ci90_high=1.1, p=0.4, p_adjusted=None, margin=5,
        margin_percent=None, ratio=ends[0], ratio_low=ends[1], ratio_high=ends[2],
        verdict=Verdict("not_worse", "shown", ""),
    )  # fmt: skip


def weigh(claim: Claim, found: Comparison | None = None) -> tuple[bool, str]:
    (weighed,) = weigh_claims([claim], LOAD, found or comparison())
    return weighed.contradicted, weighed.words


@pytest.mark.parametrize(
    ("value", "contradicted"), [(0.97, False), (0.953, False), (0.9, True), (1.03, True)]
)
def test_ratio_claim(value: float, contradicted: bool) -> None:
    assert weigh(Claim("", "load", "co2", "mix", value))[0] is contradicted


def test_words_say_what_else_fits() -> None:
    _, words = weigh(Claim("", "load", "co2", "mix", 0.97))
    assert words == (
        "Does not contradict the claim of 0.97, nor confirm it: 0.986, could be 0.953 to 1.021."
    )


def test_claim_the_other_way_round_is_turned() -> None:
    assert weigh(Claim("", "load", "mix", "co2", 1 / 0.97))[0] is False
    assert weigh(Claim("", "load", "mix", "co2", 0.97))[0] is True
    assert weigh(Claim("", "load", "mix", "co2", 4.0, ratio=False))[0] is False
    assert weigh(Claim("", "load", "mix", "co2", -4.0, ratio=False))[0] is True


def test_difference_claim_carries_its_unit() -> None:
    contradicted, words = weigh(Claim("", "load", "co2", "mix", -9.0, ratio=False))
    assert contradicted
    assert "the claim of -9 kN" in words


def test_claims_about_something_else_or_without_interval_are_left_alone() -> None:
    assert weigh_claims([Claim("", "bend", "co2", "mix", 1.0)], LOAD, comparison()) == ()
    assert weigh_claims([Claim("", "load", "co2", "third", 1.0)], LOAD, comparison()) == ()
    assert weigh_claims([Claim("", "load", "co2", "mix", 1.0)], LOAD, comparison(None)) == ()


def test_ends_are_printed_finely_enough_to_see_why_a_claim_is_contradicted() -> None:
    close = comparison((0.9896, 0.97034, 1.00932))
    contradicted, words = weigh(Claim("", "load", "co2", "mix", 0.97), close)
    assert contradicted
    assert "found 0.9896, 0.9703 to 1.0093 on this bench" in words


def test_a_pilot_says_nothing_of_claims() -> None:
    pilot = replace(comparison(), verdict=Verdict(None, None, ""))
    assert weigh_claims([Claim("", "load", "co2", "mix", 0.5)], LOAD, pilot) == ()
