"""The schema: complete against the records it fills, consistent in itself."""

from __future__ import annotations

import dataclasses

import pytest

from weldtrial.shared.factors import Factor
from weldtrial.shared.responses import Response, Typical
from weldtrial.shared.schema import CONFIDENCE, SECTION, SECTIONS
from weldtrial.shared.setting import Key
from weldtrial.shared.trial import (
    Blind,
    Budget,
    Claim,
    Design,
    Fair,
    Goal,
    Held,
    LimitOnSettings,
    Order,
    Rules,
    Trial,
)  # fmt: skip

RECORDS = {
    "trial": Trial, "fair": Fair, "factor": Factor, "held": Held, "response": Response,
    "limit_on_settings": LimitOnSettings, "goal": Goal, "design": Design, "budget": Budget,
    "order": Order, "blind": Blind, "rules": Rules, "claim": Claim,
}  # fmt: skip


def defaults(record: type) -> dict[str, object]:
    return {
        field.name: field.default
        for field in dataclasses.fields(record)
        if field.default is not dataclasses.MISSING
    }


@pytest.mark.parametrize("section", RECORDS)
def test_defaults_are_those_of_the_records(section: str) -> None:
    in_code = defaults(RECORDS[section])
    for key in SECTION[section].keys:
        if key.required:
            continue
        if key.name in in_code and key.type not in ("table", "texts", "special", "unit"):
            assert key.default == in_code[key.name], key.name


def test_default_of_a_nested_setting() -> None:
    typical = SECTION["response"].key("typical")
    assert typical is not None
    sd_setup = next(key for key in typical.keys if key.name == "sd_setup")
    assert sd_setup.default == defaults(Typical)["sd_setup"]


@pytest.mark.parametrize("section", ["design", "budget", "order", "blind", "rules"])
def test_every_field_of_a_plain_record_is_a_setting(section: str) -> None:
    fields = {field.name for field in dataclasses.fields(RECORDS[section])}
    assert fields == {key.name for key in SECTION[section].keys}


def every_key() -> list[Key]:
    top = [key for section in SECTIONS for key in section.keys]
    return top + [inner for key in top for inner in key.keys]


@pytest.mark.parametrize("key", every_key(), ids=lambda key: key.name)
def test_key_is_declared_whole(key: Key) -> None:
    assert key.meaning.endswith((".", "..."))
    assert (key.type == "choice") <= bool(key.choices)
    assert (key.type == "special") == bool(key.form)
    assert (key.type == "table") == bool(key.keys)
    assert set(key.later_choices) < set(key.choices) or not key.later_choices
    if key.type == "choice" and key.default is not None:
        assert key.default in key.choices
        assert key.default not in key.later_choices


def test_names_are_said_once_in_a_section() -> None:
    for section in SECTIONS:
        names = [key.name for key in section.keys]
        assert len(names) == len(set(names))


def test_confidence_is_fixed() -> None:
    key = SECTION["rules"].key("confidence")
    assert key is not None
    assert (key.low, key.high, key.default) == (CONFIDENCE, CONFIDENCE, 0.95)
