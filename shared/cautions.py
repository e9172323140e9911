"""Cautions: what a trial's sheets and report must say so that nobody is hurt or misled.

They are chosen by what is welded and tested.  They warn; they do not replace the makers'
instructions, the safety data sheets, or anyone who knows the shop.  No recipe for an etchant is
given, on purpose.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

Test = Literal["break", "bend", "macro", "tensile", "other"]

NOT_A_QUALIFICATION = (
    "This is a comparison trial, not a procedure or welder qualification to any code."
)
"""The sentence that stands on every sheet and report."""

_CARBON_DIOXIDE = {"C1", "C2", "CO2"}
_RICH_IN_CO2 = _CARBON_DIOXIDE | {"M31", "M33", "M35"}
_ARC_WELDING = {"111", "114", "131", "135", "136", "138", "141"}
_OVERHEAD = {"PD", "PE", "4F", "4G"}


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution.

    Attributes
    ----------
    id
        Short name, stable: ``"not-a-qualification"``.
    short
        One line for a printed sheet.
    words
        The longer form for the report and the reference page.
    source
        Where it comes from and how far that was read.
    """

    id: str
    short: str
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class _Facts:
    """What a trial welds and tests, as far as it is known."""

    gases: frozenset[str]
    tests: frozenset[str]
    process: str
    position: str

    @property
    def burns_an_arc(self) -> bool:
        return not self.process or self.process in _ARC_WELDING

    @property
    def mixes_families(self) -> bool:
        return bool(self.gases & _CARBON_DIOXIDE) and bool(self.gases - _CARBON_DIOXIDE)


def _always(facts: _Facts) -> bool:
    return True


_CHOICES: tuple[tuple[Callable[[_Facts], bool], Caution], ...] = (
    (
        _always,
        Caution(
            "not-a-qualification",
            NOT_A_QUALIFICATION,
            NOT_A_QUALIFICATION + " Qualification needs a preliminary procedure, a witnessed test "
            "piece, the standard's full set of tests and a signed record; a welder's own test is "
            "separate again.",
            "ISO 15614-1 (witnessing read in an extract, the rest from memory); ISO 9606-1, "
            "AWS D1.1 (from memory)",
        ),
    ),
    (
        _always,
        Caution(
            "who-decides",
            "Your local codes and the responsible welding engineer come before this sheet.",
            "Local codes and law, and the responsible welding engineer or coordinator, decide what "
            "may be welded and used; for structural work also the engineer of record. Nothing "
            "printed here overrules them.",
            "ISO 14731 (from memory)",
        ),
    ),
    (
        lambda facts: facts.burns_an_arc,
        Caution(
            "arc",
            "Shade 10 to 13, cover skin, screen the arc, clear what can burn; fire watch after "
            "welding.",
            "Filter shade 10 to 13 and closed protective clothing; MAG welding is listed under "
            "class 2 clothing. Screen others from the arc. Clear or cover what can burn, keep "
            "means to put a fire out at hand, and watch for at least 30 to 60 minutes after the "
            "last arc.",
            "ANSI Z49.1:2021 (abstract read); EN ISO 11611 (read second-hand); shade and fire "
            "watch from memory",
        ),
    ),
    (
        lambda facts: facts.burns_an_arc,
        Caution(
            "fume",
            "Extract the fume at the arc; keep your head out of the plume.",
            "Welding fume causes cancer in people (IARC group 1, 2017). Extract it at the arc even "
            "on mild steel, keep the head out of the plume, and mind that limits for manganese "
            "are low.",
            "IARC 2017 (from memory); ANSI Z49.1:2021 (abstract read)",
        ),
    ),
    (
        lambda facts: bool(facts.gases & _RICH_IN_CO2),
        Caution(
            "carbon-monoxide",
            "Welding under CO2 makes carbon monoxide: extract, and wear a CO monitor in a small "
            "room.",
            "Carbon monoxide at the arc rises with the CO2 in the gas. Surveys disagree on how "
            "much reaches the welder, so extract and monitor in small rooms. Limits met: 50 ppm "
            "over 8 h (OSHA), 35 ppm with a ceiling of 200 (NIOSH), 25 ppm (ACGIH), 20 ppm (EU); "
            "your own country's holds.",
            "NIOSH 1972 criteria document (record read) and limit summaries (read second-hand); "
            "EU 2017/164 (from memory); Soldagem & Inspeção 2016 21(3):253 (abstract read)",
        ),
    ),
    (
        lambda facts: bool(facts.gases),
        Caution(
            "asphyxiation",
            "Shielding gas collects low and displaces air: never in a pit or closed space without "
            "a monitor.",
            "Argon and CO2 are heavier than air, collect low and give no warning. Close bottles "
            "and regulators after each set-up, and do not purge, weld or store them in a confined "
            "space without monitoring and permission to enter.",
            "ANSI Z49.1:2021 (abstract read); the rest from memory",
        ),
    ),
    (
        lambda facts: bool(facts.gases),
        Caution(
            "cylinders",
            "Chain every bottle; cap on when it moves; no oil on fittings; check for leaks.",
            "Secure every bottle upright, cap it before moving it, keep oil and grease away from "
            "fittings, stand aside when opening, and check for leaks after each change.",
            "Common practice, no source",
        ),
    ),
    (
        lambda facts: facts.mixes_families,
        Caution(
            "regulators",
            "CO2 and argon mixes take different regulators and threads: no adaptors.",
            "CO2 and argon bottles have different valve threads and need their own regulators; "
            "never adapt one to the other. A CO2 regulator may freeze when it runs above about "
            "15 L/min for long: let it thaw by itself.",
            "Common practice, no source",
        ),
    ),
    (
        lambda facts: facts.position in _OVERHEAD,
        Caution(
            "overhead",
            "Overhead: drops fall on you. Cap, collar closed, nobody below.",
            "Spatter and molten drops fall on the welder and on anyone below: cap, closed collar, "
            "leather over the shoulders, and a clear floor.",
            "Common practice, no source",
        ),
    ),
    (
        lambda facts: bool(facts.tests & {"break", "bend", "tensile"}),
        Caution(
            "stored-energy",
            "A break lets go with a bang: captive fixture, shield, eyes and ears, nobody in the "
            "lever's plane.",
            "A coupon that breaks lets its energy go at once, and halves fly. Hold both halves "
            "captive, stand behind a shield, wear eye and ear protection, keep everyone out of "
            "the plane of the lever or press, never stand on an extended wrench, and keep within "
            "the rating of press, jig and wrench.",
            "An independent beam test of fillets (read second-hand); common practice, no source",
        ),
    ),
    (
        lambda facts: "macro" in facts.tests,
        Caution(
            "etching",
            "Etch only with a ready-made etchant, by its safety data sheet; mix nothing.",
            "Use a ready-made etchant as its safety data sheet says, by a trained person, with "
            "extraction, goggles and gloves, and hand the waste in separately. Mix nothing: acid "
            "and alcohol mixed wrongly have exploded.",
            "ASTM E407 (abstract read); accounts of accidents (read second-hand)",
        ),
    ),
    (
        _always,
        Caution(
            "hot-and-sharp",
            "Coupons stay hot and cut edges are sharp: gloves, tongs, guards on saw and grinder.",
            "Fresh coupons stay hot longer than they look, and sawn and broken edges cut. Use "
            "tongs and gloves, clamp before cutting, keep guards on, and do not quench a coupon "
            "to save time: it changes the weld.",
            "Common practice, no source",
        ),
    ),
)


def cautions(
    *,
    gases: Iterable[str] = (),
    tests: Iterable[Test] = (),
    process: str = "135",
    position: str | None = None,
) -> tuple[Caution, ...]:
    """Return the cautions that fit a trial, most general first.

    Parameters
    ----------
    gases
        ISO 14175 symbols, such as ``"M21"`` and ``"C1"``; a gas of unknown symbol may be given
        by any other name and counts as a shielding gas.
    tests
        What is done to the coupons: ``"break"``, ``"bend"``, ``"macro"``, ``"tensile"``,
        ``"other"``.
    process
        ISO 4063 number; empty when not known, which is treated as arc welding.
    position
        ISO 6947 or AWS position, such as ``"PB"`` or ``"2F"``; None when not known.

    Returns
    -------
    tuple of Caution
        The first is always `NOT_A_QUALIFICATION`, the second always defers to local codes and
        the responsible welding engineer.
    """
    facts = _Facts(
        gases=frozenset(gas.strip().upper() for gas in gases if gas.strip()),
        tests=frozenset(tests),
        process=process.strip(),
        position=(position or "").strip().upper(),
    )
    return tuple(caution for fits, caution in _CHOICES if fits(facts))
