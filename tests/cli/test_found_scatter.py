"""Scatter and what more would buy, in words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from weldtrial.analysis.findings import LackOfFit, ResponseFindings, Variance
from weldtrial.analysis.scatter_rows import Bought, ScatterRow, WouldBuy
from weldtrial.cli.found_scatter import buy_words, row_words, scatter_words

FOUND = ResponseFindings(
    "p", "Penetration", "mm", "number", 1, "kenward-roger", "", 36, 12, (), (), (), (),
    Variance(0.01, 0.04, 0.01), (), LackOfFit(), None, None,
    scatter=(
        ScatterRow("reading", 0.1204, 0.0911, 0.1613, 36),
        ScatterRow("coupon", 0.214, 0.152, 0.307, 24),
        ScatterRow("setup", 0.0, 0.0, 0.318, 5),
    ),
    would_buy=WouldBuy("co2", "mix", 0.312, 5.0, (
        Bought("readings", 0.2871, 5.0), Bought("coupons", 0.258, 5.0),
        Bought("setups", 0.211, 11.0),
    )),
)  # fmt: skip


def test_scatter_is_said_with_its_intervals():
    assert scatter_words(FOUND) == (
        "Scatter (standard deviation, 95 % interval): between readings of one coupon 0.12 mm (0.09 "
        "to 0.16); between coupons of one set-up 0.21 mm (0.15 to 0.31); between set-ups nothing "
        "seen, at most 0.32 mm."
    )


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (ScatterRow("setup", 0.67, 0.0, 4.93, 5), "0.7 kN (at most 4.9; there may be none)"),
        (ScatterRow("coupon", 24.3, 19.5, 32.3, 40), "24 kN (20 to 32)"),
        (ScatterRow("reading", 0.0, 0.0, 0.0, 4), "nothing seen"),
    ],
)
def test_a_row_is_rounded_to_what_it_carries(row, words):
    assert row_words(row, "kN") == words


def test_what_more_would_buy_is_one_sentence():
    assert buy_words(FOUND) == (
        "At this scatter a plan of this size gives an interval of ±0.31 mm; twice the readings a "
        "coupon ±0.29, twice the coupons on the same set-ups ±0.26 and twice the set-ups ±0.21."
    )
    assert buy_words(replace(FOUND, would_buy=None)) == ""
    bare = replace(FOUND, scatter=())
    assert scatter_words(bare) == (
        "Scatter (standard deviation): between readings of one coupon 0.1 mm, between coupons of "
        "one set-up 0.2 mm, between set-ups 0.1 mm."
    )
    nothing = replace(bare, variance=Variance(None, None, None))
    assert scatter_words(nothing).endswith("nothing shows it.")
