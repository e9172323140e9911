"""Factors: what a trial sets on purpose, at which levels, and how levels turn into numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import floor, isclose, log10
from typing import Literal

from weldtrial.shared.canonical import number_text
from weldtrial.shared.rounding import plain, spaced

Kind = Literal["category", "numeric"]
CENTRE = "centre"
"""Level name of a numeric factor at the middle of its range, at a centre point."""


@dataclass(frozen=True, slots=True)
class Factor:
    """One factor and its levels.

    Attributes
    ----------
    name
        Key used in files and in model terms.
    kind
        ``"category"`` (levels are names) or ``"numeric"`` (levels are settings with a unit).
    levels
        Level names in the order of the trial file, lowest setting first for a numeric factor.
        A numeric level is named by its role (``low``, ``own`` ...) or by its number as text.
    unit
        Canonical unit of a numeric factor, None for a category.
    settings
        Numeric settings, level by level.  One entry keyed ``""`` when the settings are the same
        everywhere, otherwise one entry for each level of the factor it slides with.
    slides_with
        Name of the category whose levels shift the settings ("own setting"), or None.
    hard_to_change
        True when changing it ends a set-up.
    control
        Reference level of a category (today's), or None for the first level.
    step
        Smallest step the machine can be set to, in `unit`.
    tolerance
        How well a numeric setting is held, above 0, in `unit`: what 95 coupons in 100 stay within
        on either side of what was planned; None where nobody said.
    used_as_is
        True when the numbers are coded already and are used unchanged, whatever their range
        (adopted data only).
    """

    name: str
    kind: Kind
    levels: tuple[str, ...]
    label: str = ""
    unit: str | None = None
    settings: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    slides_with: str | None = None
    hard_to_change: bool = False
    control: str | None = None
    step: float | None = None
    tolerance: float | None = None
    one_setup: str = ""
    about: Mapping[str, Mapping[str, str | float]] = field(default_factory=dict)
    hold_by: str = ""
    measured_by: str = ""
    used_as_is: bool = False

    @property
    def title(self) -> str:
        """Label for eyes: the label given, or the name with underscores opened."""
        return self.label or self.name.replace("_", " ")

    @property
    def varied(self) -> bool:
        """Whether the factor has something to compare (an own setting of one role has not)."""
        return len(self.levels) > 1

    @property
    def reference(self) -> str:
        """The level others are compared with: the control, or the first."""
        return self.control or self.levels[0]

    def setting(self, level: str, owner: str = "") -> float:
        """Return the number that `level` stands for under `owner` (a level of `slides_with`).

        `CENTRE` stands for the middle of the range unless a level is called so; any other text
        that is no level is the number itself, as `level_of` names it.

        Raises
        ------
        ValueError
            When `level` is none of these.
        """
        if level in self.levels:
            return self.settings[owner if self.slides_with else ""][self.levels.index(level)]
        return self.centre(owner) if level == CENTRE else float(level)

    def level_of(self, setting: float, owner: str = "") -> str:
        """Return what a setting of a numeric factor is called under `owner`.

        A level of the trial file, `CENTRE` at the middle of the range, else the number as text.
        """
        row = self.settings[owner if self.slides_with else ""]
        for level, known in zip(self.levels, row, strict=True):
            if isclose(known, setting, rel_tol=1e-9, abs_tol=1e-12):
                return level
        middle = isclose(self.centre(owner), setting, rel_tol=1e-9, abs_tol=1e-12)
        return CENTRE if middle else number_text(setting)

    def settable(self, coded: float, owner: str = "") -> float:
        """Return the setting nearest to a coded value that the machine can be set to.

        Where the file does not say in which steps, in hundredths of the half range or finer.
        """
        exact = self.centre(owner) + coded * self.half_range(owner)
        row = self.settings[owner if self.slides_with else ""]
        known = next((one for one in row if isclose(one, exact, rel_tol=1e-9)), None)
        if known is not None:
            return known
        half = self.half_range(owner)
        step = self.step or (10.0 ** (floor(log10(half)) - 2) if half else 1.0)
        # The last digits of a sum are no digits of a machine: 25.800000000000001.
        return float(f"{round(exact / step) * step:.12g}")

    def centre(self, owner: str = "") -> float:
        """Return the middle of the planned range under `owner`."""
        row = self.settings[owner if self.slides_with else ""]
        return (min(row) + max(row)) / 2

    def half_range(self, owner: str = "") -> float:
        """Return half the planned range under `owner`; 0 for an own setting of one role."""
        row = self.settings[owner if self.slides_with else ""]
        return (max(row) - min(row)) / 2

    def said(self, level: str) -> str:
        """Return a level as it is said: its name, or the setting with its unit.

        A setting that shifts with another factor has no one number, so its role is said.
        """
        if self.kind == "category" or (self.slides_with and level in (*self.levels, CENTRE)):
            return level
        return f"{plain(self.setting(level))}{spaced(self.unit)}"

    def strays(self, setting: float, planned: float) -> bool:
        """Tell whether a setting as run lies outside the tolerance of what was planned."""
        if self.tolerance is None:
            return False
        slack = 1e-9 * max(abs(planned), 1.0)
        return abs(setting - planned) > self.tolerance + slack

    def coded(self, setting: float, owner: str = "") -> float:
        """Return `setting` on the coded scale: -1 to +1 over the planned range under `owner`.

        Numbers that are coded already (`used_as_is`) come back unchanged.
        """
        if self.used_as_is:
            return setting
        half = self.half_range(owner)
        return 0.0 if half == 0 else (setting - self.centre(owner)) / half
