"""The verdict rules: from intervals and a margin to one code of a closed list.

Equivalence by the inclusion of the 90 % interval in the margin is the two one-sided tests
procedure of Schuirmann (1987), J. Pharmacokinet. Biopharm. 15, 657-680, as in ASTM E2935; the
one-sided reading of the same interval against one margin is non-inferiority (CONSORT extension,
Piaggio et al. 2012, JAMA 308, 2594-2604).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, get_args

from weldtrial.analysis.findings import Strength, VerdictCode
from weldtrial.shared.responses import Ask

if TYPE_CHECKING:
    # Only to name types: the words of a verdict are loaded by pages that need no arithmetic.
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

CODES: tuple[VerdictCode, ...] = get_args(VerdictCode)
"""Every code, in the order that `judge_all` counts them."""
_PLACE: dict[str, int] = {code: place for place, code in enumerate(CODES)}


class Ends(Protocol):
    """Ends of 95 % and 90 % intervals, of one comparison or of many."""

    @property
    def low95(self) -> ArrayLike:
        """Lower end of the 95 % interval."""

    @property
    def high95(self) -> ArrayLike:
        """Upper end of the 95 % interval."""

    @property
    def low90(self) -> ArrayLike:
        """Lower end of the 90 % interval."""

    @property
    def high90(self) -> ArrayLike:
        """Upper end of the 90 % interval."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Ends of the 95 % and 90 % intervals of one quantity, signed so that minus is worse."""

    low95: float
    high95: float
    low90: float
    high90: float

    def flipped(self) -> Bounds:
        """Return the bounds of minus the quantity."""
        return Bounds(-self.high95, -self.low95, -self.high90, -self.low90)

    def shifted(self, by: float) -> Bounds:
        """Return the bounds of the quantity plus a known constant."""
        return Bounds(self.low95 + by, self.high95 + by, self.low90 + by, self.high90 + by)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the rules look at.

    Attributes
    ----------
    change
        The change, level minus reference, signed so that minus is worse.
    above_loss
        The change plus the margin (a loss of exactly the margin is 0); None without a margin.
        For a percent margin this is the contrast with the reference mean scaled by 1 - m, whose
        interval pays for that mean being estimated.
    above_gain
        The change minus the margin, likewise.
    """

    change: Bounds
    above_loss: Bounds | None = None
    above_gain: Bounds | None = None

    @classmethod
    def of(cls, change: Bounds, margin: float | None) -> Evidence:
        """Return the evidence for a margin known in units."""
        if margin is None:
            return cls(change)
        return cls(change, change.shifted(margin), change.shifted(-margin))


def judge(evidence: Evidence, ask: Ask) -> VerdictCode:
    """Return the first rule that holds.

    Bounds that just touch a threshold do not clear it.
    """
    return CODES[int(judge_all(evidence.change, evidence.above_loss, evidence.above_gain, ask))]


def judge_all(
    change: Ends, above_loss: Ends | None, above_gain: Ends | None, ask: Ask
) -> NDArray[np.intp]:
    """Return the place in `CODES` of the first rule that holds, for one comparison or for many.

    Parameters
    ----------
    change, above_loss, above_gain
        As in `Evidence`: ends of one shape, single numbers or one entry a trial.
    ask
        What is asked.

    Returns
    -------
    ndarray
        Of that shape; a 0-d array for single numbers.
    """
    import numpy as np

    worse, better = _below(change.high95), _above(change.low95)
    if above_loss is None or above_gain is None:
        rules = [(worse | better, "difference_shown")]
    else:
        no_worse, no_better = _above(above_loss.low90), _below(above_gain.high90)
        rules = [
            (worse & _below(above_loss.high95), "worse_beyond_margin"),
            (worse & no_worse, "worse_within_margin"),
            (worse, "worse_margin_unsettled"),
            (better & _above(above_gain.low95), "better_beyond_margin"),
            (better & no_better, "better_within_margin"),
            (better, "better_margin_unsettled"),
            (no_worse & (ask == "no-worse"), "not_worse"),
            (no_worse & no_better, "equivalent"),
            (no_worse, "not_worse"),
        ]
    found = np.full(np.shape(worse), _PLACE["not_settled"], dtype=np.intp)
    for holds, code in reversed(rules):
        found[holds] = _PLACE[code]
    return found


def _above(end: ArrayLike) -> NDArray[np.bool_]:
    import numpy as np

    return np.asarray(np.asarray(end) > 0)


def _below(end: ArrayLike) -> NDArray[np.bool_]:
    import numpy as np

    return np.asarray(np.asarray(end) < 0)


def is_equivalent(evidence: Evidence) -> bool:
    """Whether the 90 % interval lies inside the margin on both sides."""
    loss, gain = evidence.above_loss, evidence.above_gain
    return loss is not None and gain is not None and loss.low90 > 0 and gain.high90 < 0


def strength(code: VerdictCode, *, shuffled: bool, units_per_level: int) -> Strength | None:
    """Return how firmly a verdict may be worded.

    Parameters
    ----------
    code
        The verdict.
    shuffled
        Whether the order was drawn and sealed.
    units_per_level
        Rounds, or set-ups of the scarcer level (coupons where nothing is hard to change).
    """
    if code in ("cannot_tell", "depends_on", "not_settled", "at_limit"):
        return None
    return "shown" if shuffled and units_per_level >= 4 else "suggests"
