"""The verdict rules: from intervals and a margin to one code of a closed list.

Equivalence by the inclusion of the 90 % interval in the margin is the two one-sided tests
procedure of Schuirmann (1987), J. Pharmacokinet. Biopharm. 15, 657-680, as in ASTM E2935; the
one-sided reading of the same interval against one margin is non-inferiority (CONSORT extension,
Piaggio et al. 2012, JAMA 308, 2594-2604).
"""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.analysis.findings import Strength, VerdictCode
from weldtrial.shared.responses import Ask


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
    change, loss, gain = evidence.change, evidence.above_loss, evidence.above_gain
    if loss is None or gain is None:
        shown = change.high95 < 0 or change.low95 > 0
        return "difference_shown" if shown else "not_settled"
    if change.high95 < 0:
        return _worse(loss)
    if change.low95 > 0:
        return _better(gain)
    no_worse = loss.low90 > 0
    if ask == "no-worse" and no_worse:
        return "not_worse"
    if no_worse and gain.high90 < 0:
        return "equivalent"
    return "not_worse" if no_worse else "not_settled"


def _worse(loss: Bounds) -> VerdictCode:
    if loss.high95 < 0:
        return "worse_beyond_margin"
    return "worse_within_margin" if loss.low90 > 0 else "worse_margin_unsettled"


def _better(gain: Bounds) -> VerdictCode:
    if gain.low95 > 0:
        return "better_beyond_margin"
    return "better_within_margin" if gain.high90 < 0 else "better_margin_unsettled"


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
