"""The draw: golden values worked out here from hashlib alone, and fairness by chi-square."""

from __future__ import annotations

from collections import Counter
from hashlib import sha256
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from weldtrial.doe.draw import DRAW_VERSION, Draw, draw_key, parse_dice
from weldtrial.shared.problems import WrongUsage

SEAL = sha256(b"a seal for the tests").hexdigest()
KEY = draw_key(SEAL, (4, 2, 6))

GOLDEN_SIXES = [1, 4, 1, 0, 5, 4, 4, 3, 2, 5, 4, 1]
GOLDEN_SHUFFLE = "hafcgkjildbe"


def stream_by_hand(key: bytes, blocks: int) -> bytes:
    return b"".join(sha256(key + i.to_bytes(8, "big")).digest() for i in range(blocks))


def test_version_one_is_what_the_seal_records() -> None:
    assert DRAW_VERSION == 1


def test_the_key_is_the_hash_of_a_text_anyone_can_type() -> None:
    by_hand = sha256(b"weldtrial draw 1\n" + SEAL.encode() + b"\n4,2,6\n").digest()
    assert by_hand == KEY
    assert draw_key(SEAL.upper(), (4, 2, 6)) == KEY
    assert draw_key(SEAL) == sha256(b"weldtrial draw 1\n" + SEAL.encode() + b"\n\n").digest()
    assert len({draw_key(SEAL, dice) for dice in ((), (4,), (42,), (4, 2), (2, 4))}) == 5


def test_numbers_come_from_the_stream_byte_by_byte() -> None:
    stream = stream_by_hand(KEY, 2)
    draw = Draw(KEY)
    assert [draw.below(256) for _ in range(40)] == list(stream[:40])
    assert draw.below(2**16) == int.from_bytes(stream[40:42], "big")
    assert draw.below(1) == 0  # uses no byte
    assert draw.below(2**24) == int.from_bytes(stream[42:45], "big")


def test_the_unfair_end_is_thrown_away() -> None:
    # Below 200 only the bytes 0..199 are fair; the rest are skipped, not folded back.
    by_hand = [byte for byte in stream_by_hand(KEY, 8) if byte < 200]
    draw = Draw(KEY)
    assert [draw.below(200) for _ in by_hand] == by_hand
    assert len(by_hand) < 8 * 32  # at least one byte was in fact thrown away


def test_a_shuffle_is_the_published_one() -> None:
    items = list("abcdefg")
    stream = iter(stream_by_hand(KEY, 4))
    for last in range(6, 0, -1):
        fair = 256 // (last + 1) * (last + 1)
        byte = next(byte for byte in stream if byte < fair)
        other = byte % (last + 1)
        items[last], items[other] = items[other], items[last]
    assert Draw(KEY).shuffle("abcdefg") == tuple(items)


def test_golden_draws_do_not_change() -> None:
    # Stored once; the tests above derive the same rules from hashlib alone.
    draw = Draw(bytes(range(32)))
    assert [draw.below(6) for _ in range(12)] == GOLDEN_SIXES
    assert "".join(draw.shuffle("abcdefghijkl")) == GOLDEN_SHUFFLE


def test_children_do_not_depend_on_where_the_parent_stands() -> None:
    draw = Draw(KEY)
    before = draw.child("stamps").shuffle(range(50))
    draw.shuffle(range(50))
    assert draw.child("stamps").shuffle(range(50)) == before
    assert draw.child("order").shuffle(range(50)) != before


@pytest.mark.parametrize("n", [2, 3, 6, 7, 200, 300])
def test_numbers_are_even_by_chi_square(n: int) -> None:
    draw = Draw(sha256(f"even {n}".encode()).digest())
    times = 60 * n
    seen = Counter(draw.below(n) for _ in range(times))
    statistic = sum((seen[i] - 60) ** 2 / 60 for i in range(n))
    # Fixed keys, so this cannot flicker; both tails, since too even is wrong as well.
    assert chi2.ppf(0.001, n - 1) < statistic < chi2.ppf(0.999, n - 1)


def test_all_24_orders_of_four_are_even_by_chi_square() -> None:
    draw = Draw(sha256(b"orders of four").digest())
    seen = Counter(draw.shuffle("abcd") for _ in range(24 * 200))
    statistic = sum((seen[order] - 200) ** 2 / 200 for order in permutations("abcd"))
    assert chi2.ppf(0.001, 23) < statistic < chi2.ppf(0.999, 23)


def test_picks_are_even_and_successive_draws_unrelated() -> None:
    draw = Draw(sha256(b"pairs").digest())
    seen = Counter((draw.pick("xyz"), draw.pick("xyz")) for _ in range(9 * 200))
    statistic = sum((seen[a, b] - 200) ** 2 / 200 for a in "xyz" for b in "xyz")
    assert chi2.ppf(0.001, 8) < statistic < chi2.ppf(0.999, 8)


@given(st.binary(min_size=32, max_size=32), st.lists(st.integers(), max_size=30))
def test_a_shuffle_keeps_the_items_and_is_repeatable(key: bytes, items: list[int]) -> None:
    shuffled = Draw(key).shuffle(items)
    assert sorted(shuffled) == sorted(items)
    assert shuffled == Draw(key).shuffle(items)


@pytest.mark.parametrize(
    ("text", "dice"),
    [("4,2,6", (4, 2, 6)), ("4 2 6", (4, 2, 6)), ("42615", (4, 2, 6, 1, 5)), ("", ()),
     ("12,", (12,)), ("12", (1, 2)), (" 4; 20 ,100 ", (4, 20, 100)), ("6", (6,))],
)  # fmt: skip
def test_dice_as_people_write_them(text: str, dice: tuple[int, ...]) -> None:
    assert parse_dice(text) == dice


@pytest.mark.parametrize(
    "text", ["four", "4,-2", "0,1", "101,2", "4.5", "406", "٣", ",4", "9" * 5000, "1 " * 101]
)
def test_what_are_not_dice_is_refused(text: str) -> None:
    with pytest.raises(WrongUsage):
        parse_dice(text)


@pytest.mark.parametrize(("seal", "dice"), [("abc", ()), (SEAL, (0,)), (SEAL, (101,))])
def test_a_malformed_seal_or_die_is_refused(seal: str, dice: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match=r"seal|dice"):
        draw_key(seal, dice)


@given(st.integers(max_value=0))
def test_nothing_is_below_nothing(n: int) -> None:
    with pytest.raises(ValueError, match="below"):
        Draw(KEY).below(n)
