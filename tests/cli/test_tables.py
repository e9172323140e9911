"""Tables as text: within their width, and no word cut where all of them fit."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st

from weldtrial.cli.tables import ruled_table

WORD = st.text("abcdefgh", min_size=1, max_size=9)
CELL = st.lists(WORD, max_size=4).map(" ".join)


@given(st.data())
def test_no_word_is_cut_where_all_fit_and_no_line_is_too_long(data: st.DataObject) -> None:
    many = data.draw(st.integers(1, 6))
    heads = data.draw(st.lists(CELL, min_size=many, max_size=many))
    rows = data.draw(st.lists(st.lists(CELL, min_size=many, max_size=many), max_size=5))
    width = data.draw(st.integers(20, 100))
    said = ruled_table(heads, rows, ["left"] * many, width)
    assert max(map(len, said.split("\n"))) <= width
    cells = [heads, *rows]
    least = [
        max((len(word) for row in cells for word in row[c].split()), default=0)
        for c in range(many)
    ]  # fmt: skip
    if sum(least) + 2 * (many - 1) <= width:
        printed = re.findall(r"[a-h]+", said)
        assert sorted(printed) == sorted(word for row in cells for c in row for word in c.split())
