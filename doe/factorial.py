"""Two-level factorials, made by pyDOE3: the one module that knows that library.

The library is imported inside the function, because importing it costs about a second and a
trial with nothing easy to change does not need it.
"""

from __future__ import annotations


def two_level(factors: int) -> tuple[tuple[int, ...], ...]:
    """Return the full two-level factorial in standard order, -1 low and +1 high.

    Parameters
    ----------
    factors
        How many factors; with none there is the one empty combination.

    Returns
    -------
    tuple of tuple of int
        2 ** `factors` combinations; the last factor changes fastest.

    References
    ----------
    Box, Hunter & Hunter (2005). *Statistics for Experimenters*, 2nd ed., chapter 5 (from memory).
    """
    if factors == 0:
        return ((),)
    from pyDOE3 import ff2n

    return tuple(sorted(tuple(round(value) for value in row) for row in ff2n(factors).tolist()))
