"""What a model is before any response: which terms, which stratum, which columns.

Everything here follows from the settings alone, so it is worked out once for the same coupons and
kept: every view of a response, and every pretend trial, asks for it again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.shared.coding import ModelMatrix, Point, contrast_columns, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import Reading
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]
Codes = NDArray[np.intp]
Label = int | None

BY_SETUPS = "set-ups random"
WITHIN_SETUPS = "set-ups fixed"
BY_COUPONS = "coupons"
ONE_LEVEL = "the average (one level only)"
"""What a factor of which one level alone was read cannot be told apart from."""
MOST_KEPT = 64
"""Frames that are remembered; a trial looked at from every side needs about twenty."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A term that the coupons cannot estimate, and what it is tied to."""

    term: str
    tied_to: str


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A model without its response.

    Attributes
    ----------
    stratum
        `BY_SETUPS` (set-ups random), `WITHIN_SETUPS` (set-ups fixed, nothing left between them)
        or `BY_COUPONS`.
    model
        Coded matrix of the terms kept.
    left_out
        Terms left out and why.
    x
        Columns of `model`, then blocks and further columns; shape (n, p).
    setup
        Set-up of every coupon as 0..k-1, shape (n,); None where coupons are the units.
    """

    stratum: str
    model: ModelMatrix
    left_out: tuple[LeftOut, ...]
    factors: tuple[Factor, ...]
    x: Matrix
    setup: Codes | None

    def vector(self, weights: dict[int, float]) -> Vector:
        """Return a contrast over all columns from weights of single ones."""
        vector = np.zeros(self.x.shape[1])
        for column, weight in weights.items():
            vector[column] = weight
        return vector

    def mean_vector(self, factor: Factor, level: str, at: Reading | None = None) -> Vector:
        """Return the contrast of an adjusted mean: others at the coded centre, blocks averaged.

        With a reading of fair the factor that slides stands at its role instead of its centre.
        """
        weights = {0: 1.0} if at is None else {0: 1.0, **self._slid(factor, level, at)}
        for power in (1, 2):
            term = Term(((factor.name, power),)).name
            columns = self.model.columns.get(term, ())
            if factor.kind == "category":
                values: tuple[float, ...] = contrast_columns(factor, level)
            else:
                owner = next(iter(factor.settings))
                values = (factor.coded(factor.setting(level, owner), owner) ** power,)
            weights.update(dict(zip(columns, values, strict=False)))
        return self.vector(weights)

    def _slid(self, factor: Factor, level: str, at: Reading) -> dict[int, float]:
        """Return what the factor that slides adds at a role: its own columns and those with gas."""
        slider = at.slider
        owner = level if slider.slides_with == factor.name else next(iter(slider.settings))
        coded = slider.coded(slider.setting(at.role, owner), owner)
        weights: dict[int, float] = {}
        for term, columns in self.model.columns.items():
            if term in (slider.name, f"{slider.name}^2"):
                weights[columns[0]] = coded ** (2 if term.endswith("^2") else 1)
            elif set(term.split(":")) == {factor.name, slider.name}:
                row = contrast_columns(factor, level)
                weights.update(zip(columns, (coded * one for one in row), strict=True))
        return weights


def sum_to_zero(labels: Sequence[object]) -> Matrix:
    """Return sum-to-zero columns of the distinct labels, shape (n, distinct - 1)."""
    distinct = list(dict.fromkeys(labels))
    codes = np.array([distinct.index(label) for label in labels])
    columns = np.eye(len(distinct))[codes]
    return np.asarray(columns[:, :-1] - columns[:, -1:])


def frame_model(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    points: Sequence[Point],
    rounds: Sequence[Label],
    setups: Sequence[Label],
    extra: Sequence[Sequence[float]] = (),
) -> Frame:
    """Frame a model by the rule of `weldtrial.analysis.model`.

    Parameters
    ----------
    factors, terms
        Varied factors and the terms asked for; terms the coupons cannot estimate are left out.
    points
        Coded point of every coupon.
    rounds, setups
        Round and set-up of every coupon; all None where there are none.
    extra
        Further columns, such as the order welded.

    Raises
    ------
    NotEstimable
        When a coupon has no set-up and others have.
    """
    key = ("model", *_said(terms, points), tuple(rounds), tuple(setups), tuple(map(tuple, extra)))
    return _kept(key, factors, lambda: _frame(factors, terms, points, rounds, setups, extra))


def frame_within(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    left: Sequence[LeftOut],
    points: Sequence[Point],
    setup: Codes,
) -> Frame:
    """Frame a model with set-ups fixed: what changes only between set-ups cannot be told."""
    key = ("within", *_said(terms, points), tuple(left), setup.tobytes())
    return _kept(key, factors, lambda: _within(factors, terms, left, points, setup))


_KEPT: dict[tuple[object, ...], tuple[tuple[Factor, ...], Frame]] = {}


def _said(terms: Sequence[Term], points: Sequence[Point]) -> tuple[object, ...]:
    return tuple(terms), tuple(tuple(point.items()) for point in points)


def _kept(key: tuple[object, ...], factors: Sequence[Factor], make: Callable[[], Frame]) -> Frame:
    """Return the frame kept under `key` for these factors, or make and keep it."""
    found = _KEPT.get(key)
    if found is not None and found[0] == tuple(factors):
        return found[1]
    frame = make()
    if len(_KEPT) >= MOST_KEPT:
        _KEPT.clear()
    _KEPT[key] = (tuple(factors), frame)
    return frame


def _frame(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    points: Sequence[Point],
    rounds: Sequence[Label],
    setups: Sequence[Label],
    extra: Sequence[Sequence[float]],
) -> Frame:
    blocks = np.column_stack([sum_to_zero(rounds), *(np.asarray(e)[:, None] for e in extra)])
    setup = _codes(setups) if any(one is not None for one in setups) else None
    if setup is not None and len(set(setup.tolist())) == len(points):
        setup = None
    whole = model_matrix(factors, terms, points)
    x = np.column_stack([whole.matrix, blocks])
    kept, left = list(terms), list[LeftOut]()
    if _rank(x) < x.shape[1]:
        kept, left = _estimable(factors, terms, points, blocks)
        whole = model_matrix(factors, kept, points)
        x = np.column_stack([whole.matrix, blocks])
    if setup is not None and _rank(np.column_stack([x, _indicator(setup)])) == _rank(x):
        return _within(factors, kept, left, points, setup)
    stratum = BY_COUPONS if setup is None else BY_SETUPS
    return Frame(stratum, whole, tuple(left), tuple(factors), x, setup)


def _within(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    left: Sequence[LeftOut],
    points: Sequence[Point],
    setup: Codes,
) -> Frame:
    blocks = sum_to_zero(setup.tolist())
    kept, tied = _estimable(factors, terms, points, blocks)
    model = model_matrix(factors, kept, points)
    x = np.column_stack([model.matrix, blocks])
    tied = [LeftOut(t.term, t.tied_to.replace("round", "set-up")) for t in tied]
    return Frame(WITHIN_SETUPS, model, (*left, *tied), tuple(factors), x, setup)


def _codes(labels: Sequence[int | None]) -> NDArray[np.intp]:
    if any(label is None for label in labels):
        raise NotEstimable("a coupon has no set-up number, so its level of error is unknown")
    return np.unique(np.array(labels), return_inverse=True)[1].astype(np.intp)


def _rank(x: Matrix) -> int:
    return int(np.linalg.matrix_rank(x)) if x.size else 0


def _indicator(setup: NDArray[np.intp]) -> Matrix:
    return np.eye(int(setup.max()) + 1)[setup]


def _estimable(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    points: Sequence[Point],
    base: Matrix,
) -> tuple[list[Term], list[LeftOut]]:
    """Keep terms in order while each adds all its columns; blocks come before any term."""
    whole = np.column_stack([model_matrix(factors, terms, points).matrix, base])
    if _rank(whole) == whole.shape[1]:
        return list(terms), []
    x = np.column_stack([np.ones(len(points)), base])
    names = ["the average", *["round"] * base.shape[1]]
    kept: list[Term] = []
    left: list[LeftOut] = []
    for term in terms:
        columns = model_matrix(factors, [term], points).matrix[:, 1:]
        candidate = np.column_stack([x, columns])
        if _rank(candidate) == _rank(x) + columns.shape[1]:
            x = candidate
            names += [term.name] * columns.shape[1]
            kept.append(term)
        else:
            left.append(LeftOut(term.name, _tied_to(x, names, columns)))
    return kept, left


def _tied_to(x: Matrix, names: Sequence[str], columns: Matrix) -> str:
    weights = np.abs(np.linalg.lstsq(x, columns, rcond=None)[0]).max(axis=1)
    tied = [name for name, weight in zip(names, weights, strict=True) if weight > 1e-8]
    others = [name for name in dict.fromkeys(tied) if name != "the average"]
    return " and ".join(others) if others else ONE_LEVEL
