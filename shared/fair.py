"""Both readings of "fair" in one trial: each gas at its own setting, and at the same setting.

One factor that slides with the gas has two roles, ``own`` and ``same``.  Today's gas usually has
one number for both, so the coupons welded under either role are welded alike: they are the shared
control of both readings, twice as many as of the other gas at either.  For two comparisons with
one control the best share of coupons for the control is about the root of two (Dunnett 1955, J.
Am. Stat. Assoc. 50, 1096-1121), so little is lost, and the layout stays balanced.
"""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.shared.factors import Factor
from weldtrial.shared.trial import Trial

OWN, SAME = "own", "same"


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of "fair".

    Attributes
    ----------
    slider
        The factor whose numbers slide with the gas.
    role
        Its level, ``own`` or ``same``.
    """

    slider: Factor
    role: str

    @property
    def both(self) -> tuple[Reading, Reading]:
        """Both readings of the same factor, ``own`` first."""
        return Reading(self.slider, OWN), Reading(self.slider, SAME)

    def speaks_for(self, gas: str, role: str) -> bool:
        """Tell whether a coupon of a gas, welded at a role, was welded as this reading asks."""
        wanted = self.slider.setting(self.role, gas)
        return role == self.role or self.slider.setting(role, gas) == wanted

    @property
    def words(self) -> str:
        """How it is said behind a gas: ``at its own volts`` or ``at the same volts``."""
        title = self.slider.title
        what = "volts" if self.slider.unit == "V" else title[:1].lower() + title[1:]
        return f"at {'its' if self.role == OWN else 'the'} {self.role} {what}"


def readings_of(trial: Trial) -> tuple[Reading, ...]:
    """Return both readings, ``own`` first; none unless ``fair.rule`` is ``both``."""
    if trial.fair.rule != "both":
        return ()
    slider = slider_of(trial)
    return () if slider is None else (Reading(slider, OWN), Reading(slider, SAME))


def slider_of(trial: Trial) -> Factor | None:
    """Return the factor with the roles ``own`` and ``same``, None where there is none."""
    return next((one for one in trial.factors if set(one.levels) == {OWN, SAME}), None)


def shared_control(slider: Factor, gas: Factor) -> bool:
    """Tell whether the reference gas is welded alike under both roles."""
    row = slider.settings.get(gas.reference, ())
    return len(row) == 2 and row[0] == row[1]
