"""The cheapest honest test of a review as a trial file, ready for ``plan``."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from weldtrial.shared.claimed import Claim
from weldtrial.shared.names import name_fault, slugified
from weldtrial.shared.problems import NotEnough, Problem, ProblemsFound
from weldtrial.shared.rounding import plain

SAVE = "Write one with  weldtrial review … --json > review.json"


@dataclass(frozen=True, slots=True)
class Seed:
    """What a trial file takes from a review.

    Attributes
    ----------
    new, old, thing, what
        As they were called.
    counts
        Whether coupons pass or fail.
    setups, coupons
        Of each side, and in each set-up.
    ask, margin
        As the trial file writes them; the margin empty without one.
    mean, sd, sd_setup
        Expected, in the unit; None where nothing says.
    passing
        Share of the old side that is well; None for numbers.
    """

    new: str
    old: str
    thing: str
    what: str
    unit: str
    better: str
    counts: bool
    setups: int
    coupons: int
    ask: str
    margin: str
    words: str
    claim: Claim | None
    step: float | None = None
    mean: float | None = None
    sd: float | None = None
    sd_setup: float | None = None
    passing: float | None = None


def read_review(path: Path) -> Mapping[str, Any]:
    """Return the review that was saved as JSON.

    Raises
    ------
    ProblemsFound
        When it is none.
    """
    try:
        found = json.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        words = f"cannot be read: {(error.strerror or 'no reason given').lower()}. {SAVE}"
        raise ProblemsFound([Problem(words, file=str(path))]) from None
    except ValueError:
        raise ProblemsFound([Problem(f"is no JSON. {SAVE}", file=path.name)]) from None
    if not isinstance(found, dict) or found.get("review") != 1:
        raise ProblemsFound([Problem(f"is not a saved review. {SAVE}", file=path.name)])
    return found


def seed_of(review: Mapping[str, Any], name: str) -> Seed:
    """Return what a trial takes from a review.

    Parameters
    ----------
    review
        As ``weldtrial review --json`` writes it.
    name
        Of its file, for messages.

    Raises
    ------
    NotEnough
        When the review names no test.
    ProblemsFound
        When its parts are not those of a review.
    """
    test = review.get("test")
    if test is None:
        raise _no_test(review)
    try:
        return _seed(review, test)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        words = f"is not a whole review ({error} is missing or wrong). {SAVE}"
        raise ProblemsFound([Problem(words, file=name)]) from None


def _no_test(review: Mapping[str, Any]) -> NotEnough:
    """Say why a review names no test, and what would bring one."""
    words, hint = "This review names no honest test", "weldtrial review … --margin 5%"
    because = review.get("no_test_because")
    if review.get("kind") == "folder":
        why = "a folder's next trial starts from the folder itself."
        return NotEnough(f"{words}: {why}", hint="weldtrial -C FOLDER next")
    if isinstance(because, str) and because:
        margin = "a margin" in because
        return NotEnough(f"{words}. {because}", hint=hint if margin else None)
    why = "nothing in it is left to settle, or says what a trial should be able to show."
    return NotEnough(f"{words}: {why}", hint=f"Say the loss that would not matter:  {hint}")


def _seed(review: Mapping[str, Any], test: Mapping[str, Any]) -> Seed:
    evidence = review["evidence"]
    new, old = evidence["new"], evidence["old"]
    setups, coupons = int(test["setups"]), int(test["coupons"])
    if not (0 < setups <= 1000 and 0 < coupons <= 1000):
        raise ValueError(f"a test of {setups} set-ups")
    claim = review["claim"]
    passing = None
    if test["counts"] and old["n"]:
        share = old["passed"] / old["n"]
        well = 1 - share if evidence["better"] == "lower" else share
        passing = min(0.98, max(0.02, float(test["values"].get("well", well))))
    return Seed(
        new=str(new["name"]), old=str(old["name"]), thing=str(review["thing"] or ""),
        what=str(evidence["what"] or ""), unit=str(evidence["unit"] or ""),
        better=str(evidence["better"]), counts=bool(test["counts"]), setups=setups,
        coupons=coupons, ask=str(test["ask"]), margin=_margin(review["margin"], test),
        words=str(test["words"]), claim=None if claim is None else _claim(claim),
        step=evidence["step"], mean=old["mean"], sd=test["sd"],
        sd_setup=test["values"].get("sd_setup"), passing=passing,
    )  # fmt: skip


def _claim(said: Mapping[str, Any]) -> Claim:
    return Claim(**{one.name: said[one.name] for one in fields(Claim)})


def _margin(asked: Mapping[str, Any] | None, test: Mapping[str, Any]) -> str:
    if asked is not None and asked["percent"]:
        return json.dumps(f"{plain(100 * asked['value'])} %")
    value = asked["value"] if asked is not None else test["margin"]
    return "" if value is None else plain(float(f"{value:.3g}"))


# ------------------------------------------------------------------ the file


def trial_text(seed: Seed, source: str) -> str:
    """Return the trial file of a seed.

    Parameters
    ----------
    source
        The review's name, for the remark at the top.
    """
    factor = _slug(seed.thing, "side", ())
    old, new = _slug(seed.old, "old", ()), _slug(seed.new, "new", ())
    if old == new:
        old, new = "old", "new"
    response = _slug("" if seed.counts else seed.what, "passes" if seed.counts else "result",
                     (factor,))  # fmt: skip
    parts = [
        _head(seed, source),
        _what_is_changed(seed, factor, old, new),
        _what_is_measured(seed, response),
        _claim_part(seed, response, old, new),
        _layout(seed, response),
    ]
    return "\n".join(part for part in parts if part)


def _head(seed: Seed, source: str) -> str:
    asks = {
        "difference": f"Does {seed.new} make a difference against {seed.old}?",
        "no-worse": f"Is {seed.new} no worse than {seed.old} by more than the margin?",
        "equal-enough": f"Are {seed.new} and {seed.old} equal within the margin?",
    }[seed.ask]
    about = f" Claimed: {seed.claim.text}" if seed.claim else ""
    remark = "\n".join(f"#   {line}" for line in _lines(seed.words))
    return f"""\
# The cheapest honest test of a reviewed claim, from {_clean(source)}:
{remark}
# Say what is welded before you seal: joint, plate, wire, settings (weldtrial help trial-file).
# A trial compares welds. It qualifies no procedure and no welder to any code.
format = 1

[trial]
title    = {_text(f"Honest test: {seed.new} against {seed.old}")}
question = {_text(asks + about)}
purpose  = "compare"

[fair]
rule  = "same-setting"             # what if one is put for the other and nothing else is touched?
fixed = "Same plate heat, settings, stick-out, position, welder and rule of reading for both."
"""


def _what_is_changed(seed: Seed, factor: str, old: str, new: str) -> str:
    thing = seed.thing or "side"
    anew = f"{thing} off and fitted afresh, settings set again"
    hard = f"hard_to_change = true\none_setup      = {_text(anew)}\n"
    if seed.counts:
        # Dealt freely over all coupons: in rounds of two so few could never stand out.
        hard = f"hard_to_change = false             # every coupon: {_clean(anew)}\n"
    return f"""[[factor]]
name           = "{factor}"
label          = {_text(thing)}
levels         = ["{old}", "{new}"]
control        = "{old}"
{hard}"""


def _what_is_measured(seed: Seed, response: str) -> str:
    what = seed.what or ("the thing counted" if seed.counts else "result")
    lines = [f'name       = "{response}"']
    if seed.counts:
        label = f"Not {what}" if seed.better == "lower" else what
        lines += [f"label      = {_text(label)}", 'kind       = "pass-fail"']
    else:
        lines += [f"label      = {_text(what)}", f"unit       = {_text(seed.unit or '1')}"]
        lines += [f'better     = "{seed.better}"']
    lines += ["rank       = 1"]
    if seed.step is not None and not seed.counts:
        lines.append(f"reads_to   = {plain(seed.step)}")
    lines.append(f'ask        = "{seed.ask}"')
    if seed.margin:
        lines += [f"margin     = {seed.margin}", 'margin_why = "As in the review of the claim."']
    if seed.counts and seed.passing is not None:
        share = plain(float(f"{seed.passing:.3g}"))
        lines.append(f'typical    = {{ passing = {share}, from = "the reviewed claim" }}')
    elif seed.mean is not None and seed.sd:
        mean, sd, between = (
            plain(float(f"{one:.6g}")) for one in (seed.mean, seed.sd, seed.sd_setup or 0.0)
        )
        lines.append(f"typical    = {{ mean = {mean}, sd_coupon = {sd}, sd_setup = {between}, "
                     'from = "the reviewed claim" }')  # fmt: skip
    return "[[response]]\n" + "\n".join(lines) + "\n"


def _claim_part(seed: Seed, response: str, old: str, new: str) -> str:
    """Return the claim as the trial is held against it; empty where it names no single figure."""
    claim = seed.claim
    if claim is None or seed.counts or claim.kind not in ("ratio", "difference"):
        return ""
    value, _ = claim.span(seed.better)  # type: ignore[arg-type]
    sign = "/" if claim.is_ratio else "-"
    return f"""[[claim]]
says     = {_text(claim.text)}
source   = "the claim that was reviewed"
response = "{response}"
compare  = "{new} {sign} {old}"
value    = {plain(value)}
"""


def _layout(seed: Seed, response: str) -> str:
    many = 2 * seed.setups * seed.coupons
    if seed.counts:
        rounds = f"replicates = {seed.setups * seed.coupons}                 # of each side"
        block = ""
    else:
        rounds = f"rounds     = {seed.setups}\nreplicates = {seed.coupons}"
        block = '\nblock   = "round"'
    return f"""[design]
kind       = "factorial"
{rounds}

[budget]
coupons = {many}

[order]
shuffle = "seal"{block}

[blind]
who   = ["{response}"]
codes = true
"""


def _slug(text: str, otherwise: str, taken: tuple[str, ...]) -> str:
    name = slugified(text)[:30].strip("_")
    for one in (name, f"{otherwise}_{name}", f"{name}_{otherwise}"):
        if one not in taken and not name_fault(one) and name:
            return one
    return otherwise


def _text(words: str) -> str:
    return json.dumps(_clean(words), ensure_ascii=False)


def _clean(words: str) -> str:
    return " ".join("".join(sign if sign.isprintable() else " " for sign in words).split())


def _lines(words: str) -> list[str]:
    import textwrap

    return textwrap.wrap(_clean(words), 92)
