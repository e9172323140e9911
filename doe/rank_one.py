"""One coupon exchanged for another in many designs at once, by updates of rank two.

A coupon whose piece of the information is rr'/v is taken off and one with tt'/v put on.  With
C = M⁻¹ the determinant is multiplied by

    [(v + t'Ct)(v − r'Cr) + (t'Cr)²] / v²

and the inverse changes by a matrix of rank two (Sherman, Morrison & Woodbury; Fedorov 1972;
Meyer & Nachtsheim 1995), so no determinant is worked out anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldtrial.doe.candidates import Array, Places

GAIN = 1e-7
"""An exchange has to better the criterion by this share: less is the last bit of a sum."""
_TIE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Forms:
    """Quadratic forms in M⁻¹ of what leaves (r) and what may come (t).

    Attributes
    ----------
    old
        r'Cr, shape (designs, 1).
    cross, new
        t'Cr and t'Ct, shape (designs, choices).
    v
        Variance of a coupon given the others of its set-up.
    """

    old: Array
    cross: Array
    new: Array
    v: float

    @property
    def det(self) -> Array:
        """Determinant after the exchange over that before, times v²."""
        return np.asarray((self.v + self.new) * (self.v - self.old) + self.cross**2)

    def trace_drop(self, in_weight: Forms) -> Array:
        """Return by how much trace(CW) falls; `in_weight` holds the same forms in CWC."""
        top = (
            (self.v - self.old) * in_weight.new
            + 2 * self.cross * in_weight.cross
            - (self.v + self.new) * in_weight.old
        )
        det = self.det
        # A design that turns singular predicts nothing.
        fine = det > 1e-9 * self.v**2
        return np.asarray(np.where(fine, top / np.where(fine, det, 1.0), -np.inf))


def first_best(score: Array) -> Places:
    """Return for each row the first choice that ties with the best.

    Ties, to one part in a thousand million, are broken by place, so that the last bit of a sum
    does not decide.
    """
    best = score.max(axis=1, keepdims=True)
    return np.asarray((score >= best - _TIE * np.abs(best)).argmax(axis=1))


def pair_change(old: Array, cross: Array, new: Array, v: float) -> tuple[Array, Array, Array]:
    """Return the coefficients of c_t c_t', c_t c_r' + c_r c_t' and c_r c_r' in the fall of M⁻¹.

    Each of shape (designs,), for forms of that shape.
    """
    det = (v + new) * (v - old) + cross**2
    return (v - old) / det, cross / det, -(v + new) / det


def change_inverse(
    inverse: Array, c_new: Array, c_old: Array, factors: tuple[Array, Array, Array]
) -> Array:
    """Return M⁻¹ after exchanges, shape (designs, columns, columns)."""
    a, b, d = (one[:, None] for one in factors)
    left = a * c_new + b * c_old
    right = b * c_new + d * c_old
    return np.asarray(
        inverse - left[:, :, None] * c_new[:, None, :] - right[:, :, None] * c_old[:, None, :]
    )
