"""The draw: shuffles that anyone can redo from the seal, to the bit, on any machine.

No library's generator is used, because those change between versions and a sealed order must
still be verifiable years later.  Version 1 is this, and will not change:

* A key is 32 bytes.  Block *i* (*i* = 0, 1, 2, …) is ``SHA-256(key || i)``, with *i* written as
  eight bytes, most significant first.  The stream is block 0, block 1, … end to end, and its
  bytes are used once each, in order.
* A whole number below *n* takes *b* bytes of the stream, the fewest that can hold *n* − 1, read
  most significant first as *r*.  If *r* is below the largest multiple of *n* that is not above
  256^b, the number is *r* mod *n*; otherwise those bytes are thrown away and *b* more are taken.
  Below 1 there is only 0, and no byte is used.
* A shuffle exchanges the last item with one drawn among all, the last but one with one drawn
  among those before it and itself, and so on down to the second.

References
----------
Fisher & Yates (1938). *Statistical Tables for Biological, Agricultural and Medical Research*
(the shuffle; in this form Durstenfeld 1964, *Communications of the ACM* 7(7):420).
NIST FIPS 180-4 (2015), SHA-256; NIST SP 800-90A (2015) for the idea of hashing a counter.
Mazor, Mazor & Mukamel (2018). *European Journal of Neuroscience*, for drawing an order from the
fingerprint of a plan.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from hashlib import sha256
from typing import TypeVar

from weldtrial.shared.problems import WrongUsage

DRAW_VERSION = 1
"""Written into the seal; a change to anything above needs a new number beside the old code."""

_LARGEST_FACE = 100
_MOST_DICE = 100

T = TypeVar("T")


class Draw:
    """A stream of unbiased draws from one key.

    Two draws from the same key give the same answers to the same questions, asked in the same
    order.  What must not depend on how often something else was redrawn takes its own stream
    with `child`.

    Parameters
    ----------
    key
        32 bytes, such as `draw_key` gives.
    """

    __slots__ = ("_key", "_stream")

    def __init__(self, key: bytes) -> None:
        if len(key) != 32:
            raise ValueError(f"a draw's key has 32 bytes, not {len(key)}")
        self._key = bytes(key)
        self._stream = _byte_stream(self._key)

    def below(self, n: int) -> int:
        """Return a whole number from 0 to `n` − 1, each equally likely (`n` at least 1)."""
        if n < 1:
            raise ValueError(f"no whole number from 0 is below {n}")
        width = ((n - 1).bit_length() + 7) // 8
        if width == 0:
            return 0
        # Past the last whole multiple of n some remainders would come up once more than others.
        fair = 256**width // n * n
        while True:
            number = int.from_bytes(bytes(next(self._stream) for _ in range(width)), "big")
            if number < fair:
                return number % n

    def shuffle(self, items: Sequence[T]) -> tuple[T, ...]:
        """Return the items in a new order, every order equally likely."""
        order = list(items)
        for last in range(len(order) - 1, 0, -1):
            other = self.below(last + 1)
            order[last], order[other] = order[other], order[last]
        return tuple(order)

    def pick(self, items: Sequence[T]) -> T:
        """Return one of the items, each equally likely."""
        if not items:
            raise ValueError("there is nothing to pick from")
        return items[self.below(len(items))]

    def child(self, label: str) -> Draw:
        """Return another stream, the same for the same key and label wherever this one stands.

        Its key is ``SHA-256("weldtrial draw 1 stream " || label || 0x00 || key)``.
        """
        return Draw(sha256(f"weldtrial draw 1 stream {label}\0".encode() + self._key).digest())


def _byte_stream(key: bytes) -> Iterator[int]:
    block = 0
    while True:
        yield from sha256(key + block.to_bytes(8, "big")).digest()
        block += 1


def draw_key(seal_hex: str, dice: tuple[int, ...] = ()) -> bytes:
    """Return the key of the draw that belongs to a seal and the dice thrown at sealing.

    The key is SHA-256 of the ASCII text ``weldtrial draw 1``, line feed, the seal in small
    letters, line feed, the dice in figures with commas between, line feed.

    Parameters
    ----------
    seal_hex
        The full seal: 64 hexadecimal digits.
    dice
        The numbers thrown, in order, each 1 to 100; empty when no dice were thrown.

    Raises
    ------
    ValueError
        If the seal or a number of the dice is not of that form.
    """
    seal = seal_hex.lower()
    if not re.fullmatch(r"[0-9a-f]{64}", seal):
        raise ValueError("a seal has 64 hexadecimal digits")
    if not all(1 <= face <= _LARGEST_FACE for face in dice):
        raise ValueError(f"dice show whole numbers from 1 to {_LARGEST_FACE}")
    thrown = ",".join(str(int(face)) for face in dice)
    return sha256(f"weldtrial draw 1\n{seal}\n{thrown}\n".encode("ascii")).digest()


def parse_dice(text: str) -> tuple[int, ...]:
    """Return the dice that `text` names: ``4,2,6``, ``4 2 6`` or, one figure a die, ``426``.

    With commas, semicolons or spaces between, each number is one die, from 1 to 100.  One run
    of figures is read as a die a figure, since nobody throws 42615; a single die with more
    than one figure is written with a comma after it, ``12,``.  Empty text is no dice.

    Raises
    ------
    WrongUsage
        If the text is anything else.
    """
    plain = text.strip()
    if not plain:
        return ()
    if not re.fullmatch(r"[0-9]+(?:[\s,;]+[0-9]+)*[\s,;]*", plain):
        raise WrongUsage(f"{text!r} are not dice. Write the numbers thrown, like  4,2,6,1,5")
    parts = re.findall(r"[0-9]+", plain)
    if len(parts) == 1 and plain == parts[0]:
        parts = list(plain)
    if len(parts) > _MOST_DICE:
        raise WrongUsage(f"{len(parts)} dice are more than the {_MOST_DICE} that are read.")
    # A length check first: int() refuses absurdly long figures with an error of its own.
    wrong = [part for part in parts if len(part) > 9 or not 1 <= int(part) <= _LARGEST_FACE]
    if wrong:
        raise WrongUsage(
            f"{wrong[0][:12]!r} is not the face of a die: faces are whole numbers from 1 to "
            f"{_LARGEST_FACE}."
        )
    return tuple(int(part) for part in parts)
