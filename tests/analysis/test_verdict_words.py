"""Verdict sentences: a closed list, never a word too much."""

from __future__ import annotations

import re
from itertools import product

import pytest

from weldtrial.analysis import claims, settle, verdict_words
from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.judge import Bounds, Evidence, judge
from weldtrial.analysis.verdict_words import Numbers, Setting, write_verdict
from weldtrial.shared.responses import Margin, Response

BANNED = (
    "proves", "no difference", "identical", "same strength", "significant", "significantly",
    "trend towards", "as strong as", "safe", "approved", "guaranteed",
)  # fmt: skip


def every_sentence() -> list[str]:
    sentences = []
    for ask, rank, margin in product(
        ("difference", "no-worse", "equal-enough"), (1, 2), (None, Margin(5.0), Margin(0.06, True))
    ):
        response = Response("load", "kN", margin=margin, ask=ask, rank=rank)  # type: ignore[arg-type]
        setting = Setting(response, "co2", "mix", "6 rounds, 12 set-ups, 36 coupons", 3, "Weld on.")
        for middle, half in product((-12.0, -4.0, 0.0, 4.0, 12.0), (0.5, 3.0, 9.0)):
            bounds = Bounds(middle - half, middle + half, middle - 0.8 * half, middle + 0.8 * half)
            evidence = Evidence.of(bounds, 5.0 if margin else None)
            code = judge(evidence, response.ask)
            numbers = Numbers(middle, bounds.low95, bounds.high95, 80.0, (0.9, 0.85, 0.95))
            for strength in ("shown", "suggests"):
                verdict = write_verdict(code, strength, setting, evidence, numbers)  # type: ignore[arg-type]
                sentences += [verdict.words, *verdict.lines]
    return sentences


@pytest.mark.parametrize("word", BANNED)
def test_no_banned_word_stands_in_any_sentence(word: str) -> None:
    templates = [
        *verdict_words.HEADS.values(), verdict_words.NOT_SETTLED, verdict_words.CANNOT_TELL,
        verdict_words.DEPENDS_ON, verdict_words.PILOT, claims.CONTRADICTED, claims.OPEN,
        *settle.ASSUMED.values(),
    ]  # fmt: skip
    for sentence in [*every_sentence(), *templates]:
        assert not re.search(rf"\b{re.escape(word)}\b", sentence, re.IGNORECASE), sentence


def test_numbers_carry_unit_interval_and_counts() -> None:
    setting = Setting(Response("load", "kN", margin=Margin(5)), "co2", "mix", "36 coupons", 1)
    line = verdict_words.number_line(
        setting, Numbers(-1.2345, -4.12, 1.68, 80.0, (0.985, 0.949, 1.021))
    )
    assert line == (
        "co2 − mix = −1.2 kN, 95 % interval −4.1 to +1.7 kN; −1.5 % (−5.1 to +2.1 %) of mix's "
        "80.0 kN (36 coupons)."
    )


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("not_worse", "Shown: co2 is no worse than mix by more than 5 kN."),
        ("equivalent", "Shown: co2 is equal to mix within 5 kN."),
        ("worse_beyond_margin", "Shown: co2 is worse than mix by more than 5 kN."),
        ("not_settled", "Not settled: this trial is too small to say."),
    ],
)
def test_heads(code: VerdictCode, words: str) -> None:
    setting = Setting(Response("load", "kN", margin=Margin(5)), "co2", "mix", "", 1)
    assert verdict_words.head(code, "shown", setting, worse=True) == words


def test_lower_response_ranks_say_what_the_trial_was_not_sized_for() -> None:
    assert any(
        "Second response, one of 3 comparisons looked at: not what this trial was sized for." in s
        for s in every_sentence()
    )


def test_a_limit_short_of_zero_rules_out_any_loss() -> None:
    response = Response("load", "kN", margin=Margin(5), ask="no-worse")
    bounds = Bounds(-0.3, 2.8, 0.01, 2.5)
    evidence = Evidence.of(bounds, 5.0)
    numbers = Numbers(1.25, -0.3, 2.8, 80.0, (1.015, 0.996, 1.035))
    verdict = write_verdict(
        "not_worse", "shown", Setting(response, "co2", "mix", "", 1), evidence, numbers
    )
    text = " ".join(verdict.lines)
    assert "The results rule out any loss (one-sided 95 % limit" in text
    assert "bigger than 0.0" not in text
