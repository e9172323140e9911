"""Cautions: the two that always stand, the ones that fit, and what is never said."""

from __future__ import annotations

import re
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.cautions import NOT_A_QUALIFICATION, Test, cautions

EVERYTHING = cautions(gases=["M21", "C1"], tests=get_args(Test), process="135", position="PE")

# Words kept out of everything the tool says about a result, and so out of these as well.
NEVER = (
    "proves|no difference|identical|same strength|significant|trend towards|as strong as|safe|"
    "approved|guaranteed"
)


def ids(**facts: object) -> set[str]:
    return {caution.id for caution in cautions(**facts)}  # type: ignore[arg-type]


@given(
    gases=st.lists(st.sampled_from(["M21", "C1", "M20", "I1", "house mix", ""])),
    tests=st.lists(st.sampled_from(get_args(Test))),
    process=st.sampled_from(["135", "131", "", "42"]),
    position=st.sampled_from([None, "PB", "PE", "2F"]),
)
def test_two_cautions_stand_first_whatever_the_trial(
    gases: list[str], tests: list[Test], process: str, position: str | None
) -> None:
    chosen = cautions(gases=gases, tests=tests, process=process, position=position)
    assert chosen[0].short == NOT_A_QUALIFICATION
    assert "local codes" in chosen[1].short
    assert "responsible welding engineer" in chosen[1].short
    assert len({caution.id for caution in chosen}) == len(chosen)
    assert [c for c in EVERYTHING if c in chosen] == list(chosen)


def test_the_sentence_is_word_for_word() -> None:
    assert NOT_A_QUALIFICATION == (
        "This is a comparison trial, not a procedure or welder qualification to any code."
    )


@pytest.mark.parametrize(
    ("facts", "there", "absent"),
    [
        ({"gases": ["M21"]}, {"asphyxiation", "cylinders", "fume", "arc"},
         {"carbon-monoxide", "regulators", "etching", "stored-energy", "overhead"}),
        ({"gases": ["M21", "C1"]}, {"carbon-monoxide", "regulators"}, set()),
        ({"gases": ["c1"]}, {"carbon-monoxide"}, {"regulators"}),
        ({"gases": ["M31"]}, {"carbon-monoxide"}, {"regulators"}),
        ({"gases": []}, {"fume"}, {"asphyxiation", "cylinders"}),
        ({"tests": ["macro"]}, {"etching"}, {"stored-energy"}),
        ({"tests": ["bend"]}, {"stored-energy"}, {"etching"}),
        ({"tests": ["tensile"]}, {"stored-energy"}, set()),
        ({"position": "pe"}, {"overhead"}, set()),
        ({"position": "PB"}, set(), {"overhead"}),
        ({"process": "42"}, {"hot-and-sharp"}, {"arc", "fume"}),
    ],
)  # fmt: skip
def test_a_trial_gets_the_cautions_that_fit(
    facts: dict[str, object], there: set[str], absent: set[str]
) -> None:
    assert there <= ids(**facts)
    assert not absent & ids(**facts)


def test_every_caution_has_a_line_for_the_sheet_and_a_source() -> None:
    assert len(EVERYTHING) == 12
    for caution in EVERYTHING:
        assert len(caution.short) <= 110
        assert len(caution.words) >= len(caution.short)
        assert caution.source
        assert re.fullmatch(r"[a-z-]+", caution.id)


def test_no_recipe_and_no_promise_is_given() -> None:
    text = " ".join(f"{c.short} {c.words}" for c in EVERYTHING)
    assert not re.search(rf"\b(?:{NEVER})\b", text, re.IGNORECASE)
    assert not re.search(r"nital|nitric|HNO3|ethanol|persulfate|\d\s*%", text, re.IGNORECASE)
