from __future__ import annotations

import copy
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.canonical import canonical
from weldtrial.shared.differences import Change, change_in_words, differences

OLD: dict[str, Any] = {
    "format": 1,
    "trial": {"title": "Cheaper gas", "purpose": "compare"},
    "response": [
        {"name": "break_load", "margin": 5, "unit": "kN"},
        {"name": "bend_angle", "margin": 10},
    ],
    "factor": [{"name": "gas", "levels": ["mix", "co2"]}],
}


def after(**tables: Any) -> dict[str, Any]:
    return {**copy.deepcopy(OLD), **tables}


def test_a_changed_margin_is_named_with_its_response() -> None:
    new = copy.deepcopy(OLD)
    new["response"][0]["margin"] = 8
    (change,) = differences(OLD, new)
    assert change == Change("response.0.margin", 5, 8, "break_load margin")
    assert change.words == "break_load margin 5 → 8"


def test_5_and_5_0_do_not_differ() -> None:
    new = copy.deepcopy(OLD)
    new["response"][0]["margin"] = 5.0
    assert differences(OLD, new) == ()


def test_added_and_removed_values_are_named() -> None:
    new = after(trial={"title": "Cheaper gas", "owner": "shop"})
    assert [change.words for change in differences(OLD, new)] == [
        'trial owner nothing → "shop"',
        'trial purpose "compare" → nothing',
    ]


def test_a_response_taken_out_does_not_make_the_others_differ() -> None:
    new = after(response=[{"name": "bend_angle", "margin": 10}])
    assert differences(OLD, new) == (Change("response.0", "break_load", None, "response"),)


def test_another_order_of_responses_is_one_change() -> None:
    new = after(response=list(reversed(OLD["response"])))
    (change,) = differences(OLD, new)
    assert change.words == (
        'order of responses "break_load, bend_angle" → "bend_angle, break_load"'
    )


def test_levels_change_as_one_value() -> None:
    new = after(factor=[{"name": "gas", "levels": ["co2", "mix"]}])
    (change,) = differences(OLD, new)
    assert change.path == "factor.0.levels"
    assert change.words == 'gas levels ["mix","co2"] → ["co2","mix"]'


def test_of_long_values_the_part_that_differs_is_shown() -> None:
    before = "x" * 100 + " 5 kN " + "y" * 100
    words = change_in_words("trial question", before, before.replace("5", "8"))
    assert words == (
        "trial question …"
        + "x" * 19
        + " 5 kN "
        + "y" * 35
        + "… → …"
        + "x" * 19
        + " 8 kN "
        + "y" * 35
        + "…"
    )
    assert change_in_words("blind codes", True, None) == "blind codes true → nothing"


def test_claims_have_no_names_and_are_compared_by_their_place() -> None:
    claim = {"says": "breaks at 0.97 of the mix's load", "value": 0.97}
    old, new = after(claim=[claim]), after(claim=[{**claim, "value": 0.98}])
    assert differences(old, new) == (Change("claim.0.value", 0.97, 0.98, "claim 1 value"),)
    assert [change.path for change in differences(old, after())] == ["claim"]
    assert [change.path for change in differences(old, after(claim=[claim, claim]))] == ["claim.1"]


KEY = st.sampled_from(["name", "margin", "unit", "levels"])
LEAF = st.sampled_from([1, 2.5, "kN", "mix", True])
TABLE = st.dictionaries(KEY, LEAF | st.lists(LEAF, max_size=3), max_size=4)
FILES = st.dictionaries(
    st.sampled_from(["trial", "response", "factor"]), TABLE | st.lists(TABLE, max_size=3)
)


@given(FILES, FILES)
def test_something_differs_exactly_when_the_canonical_form_does(
    old: dict[str, Any], new: dict[str, Any]
) -> None:
    assert bool(differences(old, new)) == (canonical(old) != canonical(new))
