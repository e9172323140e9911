"""The reference page of the trial file, written from the schema that the reader uses.

``python -m weldtrial.cli.trial_page`` writes ``cli/help/trial-file.md`` again; a test fails
while the two differ.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from pathlib import Path

from weldtrial.cli.new_folder import draft
from weldtrial.shared.schema import SECTIONS, TOP
from weldtrial.shared.setting import Key, Section
from weldtrial.shared.unit_names import KNOWN_UNITS, Unit

PAGE = Path(__file__).resolve().parent / "help" / "trial-file.md"

_WIDTH = 96

_HEAD = """\
# The trial file — every setting of trial.toml and what it may be

A trial is one question put to welds, and `trial.toml` asks it: what is changed, what is held,
what is measured, what would matter, what can be afforded. It is the only file of a trial that is
written by hand; `weldtrial new NAME` drafts one. The format is TOML (https://toml.io): text
stands in quotes, numbers do not, `true` and `false` stand for yes and no, `#` begins a remark.

`weldtrial plan` and every command after it read the whole file first and name everything that
is wrong with it at once, each with its line and what to do. Unknown settings are refused, so
that a typing slip cannot quietly change the plan. Sealing fixes all of it: a change afterwards is
found, and shown wherever results are shown.

Rules that hold everywhere:

- A **name** is small letters, digits and `_`, beginning with a letter, because it becomes a file
  and a column. No two factors, held settings or responses share one, and names that the trial's
  own tables use (`run`, `stamp`, `reading` ...) or that Windows keeps for devices are refused.
- Numbers are plain and finite. A number that measures something has a **unit** beside it.
- A number that was probably written in another unit is refused: a wire feed of 335 m/min is a
  wire feed of 335 in/min.
- Settings marked *later* are read and checked now; a command that cannot honour one yet says so
  and stops.
- A trial compares. It qualifies no procedure and no welder to any code; local codes and the
  responsible welding engineer decide what may be welded.
"""

_FORMS = """\
## How factors are written

Names make a category:

    [[factor]]
    name = "gas"
    levels = ["mix", "co2"]
    control = "mix"
    hard_to_change = true

Numbers make a numeric factor; it needs a unit. Two levels are written as a range:

    [[factor]]
    name = "travel"
    unit = "cm/min"
    low_high = [30, 50]            # or  levels = [30, 40, 50]

Levels that slide: the numbers are each gas's own, the meaning (its own setting; low and high
around it) is the same. The analysis works in distance from each gas's own centre; sheets and
report print the numbers. Sliding levels do not remove a difference between the gases' reactions
by themselves (Hamada & Wu 1995).

    [[factor]]
    name = "voltage"
    unit = "V"
    slides_with = "gas"
    levels = ["own"]               # or ["low", "high"], with both in every line below
      [factor.at]
      mix = { own = 25.5 }
      co2 = { own = 27.0 }

    [[factor]]
    name = "voltage"
    unit = "V"
    slides_with = "gas"
    low_high = { mix = [24.3, 27.3], co2 = [25.5, 28.5] }

## Rounds, set-ups and coupons

`set_ups` counts the whole trial. With a hard-to-change factor of g levels it is a multiple of
rounds × g; give either, and the other follows. Several hard-to-change factors are set together:
one set-up holds one combination of them, and g counts the combinations. Coupons in a set-up are
the combinations of the easy factors times `replicates`, and the `centre_points`; without
`replicates` the budget decides: coupons less spares and warm-ups, shared evenly over the set-ups.

A set-up may hold fewer coupons than there are combinations, when all easy factors have two levels:
a half, a quarter or an eighth of them, cut so that single settings are compared inside set-ups.
`weldtrial plan` says what the cut hides, and `weldtrial help designs` how it is chosen.

Where nothing is hard to change, every coupon is its own set-up and the coupons are completely
shuffled; `rounds` are then blocks (days, plates, spools, welders: `order.block`) that each hold
whole replicates, or an equal part of the combinations.
"""


def page() -> str:
    """Return the text of the page."""
    parts = [_HEAD, "\n## Before the first section\n\n", *_bullets((TOP,))]
    for section in SECTIONS:
        parts += ["\n", *_section(section)]
    parts += ["\n", _FORMS, "\n", *_units(), "\n", *_example()]
    return "".join(part if part.endswith("\n") else f"{part}\n" for part in parts)


def _section(section: Section) -> Iterator[str]:
    remarks = [
        remark
        for remark, holds in (
            ("compulsory", section.required),
            ("may stand several times", section.many),
            ("later", section.later),
        )
        if holds
    ]
    said = f" ({', '.join(remarks)})" if remarks else ""
    yield f"## {section.header}{said}\n\n"
    yield textwrap.fill(section.meaning, _WIDTH) + "\n\n"
    yield from _bullets(section.keys)


def _bullets(keys: tuple[Key, ...], indent: str = "") -> Iterator[str]:
    for key in keys:
        words = f"`{key.name}` ({'; '.join(_facts(key))}). {key.meaning}"
        yield textwrap.fill(
            words,
            _WIDTH,
            initial_indent=f"{indent}- ",
            subsequent_indent=f"{indent}  ",
            break_long_words=False,
            break_on_hyphens=False,
        )
        yield from _bullets(key.keys, indent + "  ")


def _facts(key: Key) -> Iterator[str]:
    yield value_words(key)
    if key.required:
        yield "compulsory"
    if key.default not in (None, ""):
        yield f"without it {default_words(key)}"
    if key.later:
        yield "later"


def value_words(key: Key) -> str:
    """Return what a setting's value may be, in words."""
    if key.type == "special":
        return key.form
    if key.type in ("choice", "texts") and key.choices:
        later = set(key.later_choices)
        quoted = [f'"{one}"' + (" (later)" if one in later else "") for one in key.choices]
        return ("a list of " if key.type == "texts" else "") + ", ".join(quoted)
    words = {
        "text": "text",
        "name": "name",
        "number": "number",
        "whole": "whole number",
        "yes-no": "true or false",
        "unit": "unit",
        "texts": 'list of texts, such as ["a", "b"]',
        "quantity": 'size, { value = 8, unit = "mm" } or "5/16 in"',
        "table": "table",
    }[key.type]
    limits = f", {key.range_words}" if key.range_words else ""
    if key.type == "unit" and key.kind:
        words = f"unit of {key.kind}"
    return words + limits + (f", in {key.unit}" if key.unit else "")


def default_words(key: Key) -> str:
    """Return a setting's default as it would be written."""
    if isinstance(key.default, bool):
        return "true" if key.default else "false"
    return f'"{key.default}"' if isinstance(key.default, str) else f"{key.default:g}"


def _units() -> Iterator[str]:
    yield "## Units\n\n"
    yield textwrap.fill(
        "Each value keeps the unit it was typed in; two units of the same kind convert. Fractions "
        "of an inch may be written as on a tape: 5/16 in, 1 1/4 in.",
        _WIDTH,
    )
    yield "\n"
    kinds: dict[str, list[Unit]] = {}
    for unit in KNOWN_UNITS:
        kinds.setdefault(unit.kind, []).append(unit)
    for kind, units in kinds.items():
        names = ", ".join(f"`{unit.symbol}`" for unit in units)
        yield textwrap.fill(f"{kind}: {names}", _WIDTH, initial_indent="- ", subsequent_indent="  ")


def _example() -> Iterator[str]:
    yield "## A complete example\n\n"
    yield "What `weldtrial new NAME --for compare` drafts (an invented shop, invented figures):\n\n"
    yield textwrap.indent(draft("compare"), "    ", lambda line: bool(line.strip()))


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
