"""Where it broke: an unordered finding tabulated by gas, with an exact test.

The probability of a table with both its margins given is a product of factorials; p adds up the
tables no more probable than the one seen (Fisher-Freeman-Halton).  Tables are built one finding at
a time, and partial tables that have come to the same totals and the same probability are counted
together, so that eight findings and sixty coupons need no list of millions.  Where even that is
too long, tables are drawn, with a seed, and the interval of p is stated.

Coupons of one set-up are not independent: with set-ups, `redealt` deals the levels to whole
set-ups again.

References
----------
Freeman, G. H. & Halton, J. H. (1951). Note on an exact treatment of contingency, goodness of fit
and other problems of significance. *Biometrika* 38:141-149.
Phipson, B. & Smyth, G. K. (2010). *Stat. Appl. Genet. Mol. Biol.* 9(1), article 39 (p never zero).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from weldtrial.analysis.proportions import share_interval
from weldtrial.analysis.redraw import Redraw, redraw
from weldtrial.shared.problems import NotEstimable

Floats = NDArray[np.float64]
Counts = NDArray[np.int_]

TIE = 1e-9
"""Difference of log probabilities below which two tables are equally probable."""
LONGEST = 100_000
"""Partial tables kept apart beyond which tables are drawn instead: about a second."""
DRAWN = 100_000
"""Tables drawn then."""


@dataclass(frozen=True, slots=True)
class FindingsTable:
    """A finding by gas.

    Attributes
    ----------
    levels, findings
        Names of the rows and of the columns; levels and findings never seen are left out.
    counts
        Coupons, one row a level.
    expected
        Coupons expected if the finding had nothing to do with the level.
    chi2, df
        Pearson's statistic and its degrees of freedom: a description, not the test.
    """

    levels: tuple[str, ...]
    findings: tuple[str, ...]
    counts: tuple[tuple[int, ...], ...]
    expected: tuple[tuple[float, ...], ...]
    chi2: float
    df: int


@dataclass(frozen=True, slots=True)
class FindingsTest:
    """Exact test of a table.

    Attributes
    ----------
    p
        Chance, both margins given, of a table no more probable than the one seen.
    drawn
        Tables drawn where there were too many to count, else None.
    p_low, p_high
        95 % interval of p from the drawing; p itself where nothing was drawn.
    """

    p: float
    drawn: int | None
    p_low: float
    p_high: float


def tabulate(levels: Sequence[str], findings: Sequence[str]) -> FindingsTable:
    """Tabulate one finding a coupon by level, both in the order in which they first appear.

    Parameters
    ----------
    levels, findings
        One entry a coupon, such as the gas and where the weld broke.

    Raises
    ------
    NotEstimable
        Fewer than two levels, or every coupon broke in the same place.
    """
    rows, columns = list(dict.fromkeys(levels)), list(dict.fromkeys(findings))
    counts = np.zeros((len(rows), len(columns)), dtype=int)
    for level, finding in zip(levels, findings, strict=True):
        counts[rows.index(level), columns.index(finding)] += 1
    if len(rows) < 2:
        raise NotEstimable("only one level has been read: there is nothing to compare it with")
    if len(columns) < 2:
        raise NotEstimable(f"all {len(findings)} coupons show the same: {columns[0]}")
    expected = expected_counts(counts)
    return FindingsTable(
        tuple(rows),
        tuple(columns),
        tuple(tuple(int(count) for count in row) for row in counts),
        tuple(tuple(float(count) for count in row) for row in expected),
        chi_squared(counts),
        (len(rows) - 1) * (len(columns) - 1),
    )


def expected_counts(counts: ArrayLike) -> Floats:
    """Counts expected from the margins, same shape (r, c)."""
    table = np.asarray(counts, dtype=float)
    return np.asarray(np.outer(table.sum(axis=1), table.sum(axis=0)) / table.sum())


def chi_squared(counts: ArrayLike) -> float:
    """Pearson's chi-squared of a table of shape (r, c) without empty margins."""
    expected = expected_counts(counts)
    return float(((np.asarray(counts, dtype=float) - expected) ** 2 / expected).sum())


def exact_test(counts: ArrayLike, *, seed: int = 0, longest: int = LONGEST) -> FindingsTest:
    """Fisher-Freeman-Halton test of a table.

    Parameters
    ----------
    counts
        Coupons, shape (r, c), whole numbers; empty rows and columns are left out.
    seed
        Seed of the drawing where the tables are too many.
    longest
        Partial tables kept apart beyond which tables are drawn.

    Raises
    ------
    NotEstimable
        Fewer than two rows or columns with anything in them.
    """
    table = _checked(counts)
    p = _exact_p(table, longest)
    return _drawn(table, seed) if p is None else FindingsTest(p, None, p, p)


def redealt(
    counts: ArrayLike, level: ArrayLike, arrangements: ArrayLike, *, listed: bool = True
) -> Redraw:
    """Test a finding by dealing the levels to whole set-ups again, ordered by Pearson's statistic.

    Parameters
    ----------
    counts
        Coupons of every finding on every set-up, shape (k, c).
    level
        Level of every set-up as 0, 1, ..., shape (k,).
    arrangements
        Levels as the draw could have dealt them, shape (m, k) (see `redraw`).
    listed
        True when these are all the arrangements, False when they were sampled.
    """
    by_setup = np.asarray(counts, dtype=float)
    by_setup = by_setup[:, by_setup.sum(axis=0) > 0]
    many = int(np.max(level)) + 1

    def statistic(levels: Counts) -> Floats:
        member = levels[:, :, None] == np.arange(many)
        tables = np.einsum("mkl,kc->mlc", member.astype(float), by_setup)
        rows, columns = tables.sum(axis=2), by_setup.sum(axis=0)
        expected = rows[:, :, None] * columns / columns.sum()
        return np.asarray(((tables - expected) ** 2 / expected).sum(axis=(1, 2)))

    return redraw(statistic, level, arrangements, listed=listed)


def _checked(counts: ArrayLike) -> Counts:
    table = np.asarray(counts)
    if table.ndim != 2 or np.any(table < 0) or np.any(table != np.round(table)):
        raise ValueError(f"counts must be a table of whole numbers, got shape {table.shape}")
    table = table.astype(int)
    table = table[table.sum(axis=1) > 0][:, table.sum(axis=0) > 0]
    if min(table.shape) < 2:
        raise NotEstimable("all coupons show the same, or only one level has been read")
    # Fewer rows than columns keeps the totals to carry along few.
    return np.asarray(table if table.shape[0] <= table.shape[1] else table.T)


def _log_probability(table: Counts) -> float:
    """Log probability of a table, but for what its margins decide."""
    return float(-special.gammaln(table + 1).sum())


def _exact_p(table: Counts, longest: int) -> float | None:
    """P over all tables, None where they are too many.

    Half the findings are built up from one side and half from the other; every partial table of
    the one meets those of the other that complete its totals, sorted by probability.
    """
    rows, columns = table.sum(axis=1), np.sort(table.sum(axis=0))
    base = np.cumprod(np.append(1, rows[::-1] + 1))[::-1][1:]
    one = _partial(rows, columns[0::2], base, longest)
    two = _partial(rows, columns[1::2], base, longest)
    if one is None or two is None:
        return None
    (codes, logs, times), (others, other_logs, other_times) = one, two
    limit = _log_probability(table) + TIE
    missing = int(rows @ base) - codes
    starts, ends = np.searchsorted(others, missing), np.searchsorted(others, missing, side="right")
    top, other_top = logs.max(), other_logs.max()
    mass, other_mass = times * np.exp(logs - top), other_times * np.exp(other_logs - other_top)
    out = whole = 0.0
    for start in np.unique(starts[ends > starts]):
        here = starts == start
        end = int(ends[here][0])
        sums = np.append(0.0, np.cumsum(other_mass[start:end]))
        within = np.searchsorted(other_logs[start:end], limit - logs[here], side="right")
        out += float(mass[here] @ sums[within])
        whole += float(mass[here].sum() * sums[-1])
    return min(1.0, out / whole)


def _partial(
    rows: Counts, columns: Counts, base: Counts, longest: int
) -> tuple[Counts, Floats, Floats] | None:
    """Totals so far as one code, log probability and number of the partial tables, sorted."""
    codes, logs, times = np.zeros(1, dtype=np.int64), np.zeros(1), np.ones(1)
    for column in columns:
        ways = _ways(rows, int(column))
        step_logs = -special.gammaln(ways + 1).sum(axis=1)
        used = (codes[:, None] // base) % (rows + 1)
        if len(used) * len(ways) > 20 * longest:
            return None
        totals = used[:, None, :] + ways[None, :, :]
        where = np.nonzero(np.all(totals <= rows, axis=2))
        codes, logs, times = _gathered(
            totals[where] @ base, logs[where[0]] + step_logs[where[1]], times[where[0]]
        )
        if len(codes) > longest:
            return None
    return codes, logs, times


def _ways(rows: Counts, many: int) -> Counts:
    """All splits of `many` coupons over the rows, shape (ways, rows)."""
    found = np.zeros((1, 0), dtype=int)
    for room in rows[:-1]:
        parts = np.arange(min(int(room), many) + 1)
        found = np.column_stack([np.repeat(found, len(parts), axis=0), np.tile(parts, len(found))])
        found = found[found.sum(axis=1) <= many]
    last = many - found.sum(axis=1)
    fits = last <= rows[-1]
    return np.asarray(np.column_stack([found, last])[fits])


def _gathered(codes: Counts, logs: Floats, times: Floats) -> tuple[Counts, Floats, Floats]:
    """Partial tables of the same totals and the same probability, counted together."""
    rounded = np.round(logs / TIE * 4).astype(np.int64)
    order = np.lexsort((rounded, codes))
    codes, rounded, logs, times = codes[order], rounded[order], logs[order], times[order]
    new = np.append(True, (np.diff(codes) != 0) | (np.diff(rounded) != 0))
    first = np.flatnonzero(new)
    return codes[first], logs[first], np.add.reduceat(times, first)


def _drawn(table: Counts, seed: int) -> FindingsTest:
    seen = _log_probability(table)
    drawn = stats.random_table(table.sum(axis=1), table.sum(axis=0)).rvs(
        size=DRAWN, random_state=np.random.default_rng(seed)
    )
    logs = -special.gammaln(np.asarray(drawn) + 1).sum(axis=(1, 2))
    hits = int((logs <= seen + TIE).sum())
    return FindingsTest((hits + 1) / (DRAWN + 1), DRAWN, *share_interval(hits, DRAWN))
