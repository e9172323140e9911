"""Conference matrices: zeros on the diagonal, signs elsewhere, columns orthogonal.

Those of Paley are made from the squares of a finite field, and a skew one can be doubled; that
gives every order up to 20 and 24.  Of order 22 there is none, because 21 is not a sum of two
squares.

References
----------
Paley (1933). On orthogonal matrices, *Journal of Mathematics and Physics* 12:311-320.
Belevitch (1950). *Annales des Telecommunications* 5:384-389 (sums of two squares).
Xiao, Lin & Bai (2012). *Journal of Quality Technology* 44:2-8 (all from memory).
"""

from __future__ import annotations

from itertools import product

from weldtrial.shared.problems import PlanRefused

ORDERS = (4, 6, 8, 10, 12, 14, 16, 18, 20, 24)
"""The orders there are here."""

Signs = tuple[tuple[int, ...], ...]
_PRIMES = (3, 5, 7, 11, 13, 17, 19, 23)


def conference(order: int) -> Signs:
    """Return a conference matrix C: C'C = (order - 1) I, zeros on the diagonal, else -1 or +1.

    Parameters
    ----------
    order
        One of `ORDERS`.

    Raises
    ------
    PlanRefused
        For an order that is not among them, saying why.
    """
    if order - 1 in _PRIMES:
        return _paley(_prime_characters(order - 1), order - 1)
    if order == 10:
        return _paley(_characters_of_nine(), 9)
    if order == 16:
        return _doubled(conference(8))
    listed = ", ".join(str(one) for one in ORDERS)
    why = (
        "no such matrix exists, since 21 is not a sum of two squares"
        if order == 22
        else f"here they are of order {listed}"
    )
    raise PlanRefused(f"There is no conference matrix of order {order} to use: {why}.")


def _paley(between: Signs, q: int) -> Signs:
    """Return the bordered matrix: symmetric for q = 1 modulo 4, skew for q = 3."""
    side = 1 if q % 4 == 1 else -1
    return ((0, *(1,) * q), *((side, *row) for row in between))


def _prime_characters(q: int) -> Signs:
    squares = {one * one % q for one in range(1, q)}
    sign = [0 if one == 0 else 1 if one in squares else -1 for one in range(q)]
    return tuple(tuple(sign[(column - row) % q] for column in range(q)) for row in range(q))


def _characters_of_nine() -> Signs:
    """Return whether differences are squares in the field of nine: a + b i with i^2 = -1 mod 3."""
    field = list(product(range(3), repeat=2))
    squares = {((a * a - b * b) % 3, 2 * a * b % 3) for a, b in field} - {(0, 0)}

    def sign(a: int, b: int) -> int:
        return 0 if (a, b) == (0, 0) else 1 if (a, b) in squares else -1

    return tuple(tuple(sign((c - a) % 3, (d - b) % 3) for c, d in field) for a, b in field)


def _doubled(skew: Signs) -> Signs:
    """Return a skew conference matrix of twice the order: [[C, C + I], [C - I, -C]]."""
    one = range(len(skew))
    upper = [(*row, *(row[j] + (i == j) for j in one)) for i, row in enumerate(skew)]
    lower = [
        (*(row[j] - (i == j) for j in one), *(-row[j] for j in one)) for i, row in enumerate(skew)
    ]
    return tuple(tuple(row) for row in upper + lower)
