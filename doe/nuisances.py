"""What usually spoils a trial on welded coupons, and whether the file says what is done about it.

The list is common practice, no source; a file may name others of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.shared.trial import Handling, Trial


@dataclass(frozen=True, slots=True)
class Usual:
    """One usual nuisance.

    Attributes
    ----------
    name
        What it is called under ``[nuisance]``.
    title
        For eyes.
    why
        How it can pass for an effect.
    remedy
        What is usually done.
    also
        Other names that mean it.
    """

    name: str
    title: str
    why: str
    remedy: str
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Nuisance:
    """One nuisance of a trial and how it is handled; None when the file does not say."""

    name: str
    title: str
    why: str
    remedy: str
    handling: Handling | None


USUAL = (
    Usual(
        "plate_heat",
        "plate heat or lot",
        "sulphur and thickness differ from heat to heat and move penetration",
        "cut all coupons from one plate, or deal its pieces out over the set-ups",
        ("plate_lot", "plate", "plate_batch", "heat_number"),
    ),
    Usual(
        "wire_spool",
        "wire spool",
        "manganese, silicon and cast differ from spool to spool",
        "use one spool, or change it between rounds only",
        ("spool", "wire_lot", "wire"),
    ),
    Usual(
        "plate_temperature",
        "plate temperature before welding",
        "plates warm up through a session, and later beads wet and penetrate more",
        "cool to the same temperature and write it down",
        ("plate_temp", "plate_warmth", "interpass", "interpass_temperature", "preheat"),
    ),
    Usual(
        "contact_tip",
        "contact tip wear",
        "a worn tip moves stick-out and current as the trial goes on",
        "fit a new tip at every round",
        ("tip", "tip_wear", "contact_tip_wear", "liner"),
    ),
    Usual(
        "welder",
        "welder",
        "travel, angle and stick-out are the hand's",
        "one welder, or every welder all through each round",
        ("operator",),
    ),
    Usual(
        "day",
        "day and session",
        "mains, warm machine, fatigue and practice drift",
        "let every day hold whole rounds",
        ("session", "time_of_day", "drift", "shift"),
    ),
    Usual(
        "reader",
        "reader",
        "two readers judge a crack or an etched edge differently",
        "one reader who sees stamps only",
        ("readers",),
    ),
    Usual(
        "fit_up_gap",
        "fit-up gap",
        "a gap adds leg that is not throat, and moves the root",
        "check with a feeler gauge and refuse what is over",
        ("fit_up", "gap", "root_gap"),
    ),
    Usual(
        "start_stop",
        "start and stop of the bead",
        "cold start and crater are weaker than the rest",
        "use run-on pieces, or discard the same length at both ends",
        ("starts_and_stops", "starts_stops", "start_and_stop", "crater", "bead_ends"),
    ),
    Usual(
        "bead_size",
        "bead size",
        "a bigger bead is stronger whatever the gas",
        "measure throat or leg on every coupon",
        ("bead", "leg", "throat", "leg_length"),
    ),
    Usual(
        "plate_surface",
        "mill scale, rust, oil",
        "gases differ in what dirt they forgive",
        "grind all coupons alike",
        ("surface", "mill_scale", "scale", "rust", "cleaning"),
    ),
    Usual(
        "stick_out",
        "stick-out and gun angle",
        "both move current and where the arc digs",
        "set them with a gauge block and a template",
        ("gun_angle", "torch_angle", "ctwd", "contact_tip_distance", "work_angle"),
    ),
)


def nuisances_of(trial: Trial) -> tuple[Nuisance, ...]:
    """Return the usual nuisances and those the file adds, each with how it is handled.

    A factor or a held setting of that name counts as held; so do one plate heat, one welder and
    one reader where the file names them.
    """
    said: dict[str, Handling] = {name.casefold(): how for name, how in trial.nuisance.items()}
    named = {factor.name.casefold() for factor in trial.factors}
    named |= {held.name.casefold() for held in trial.held}
    found = []
    for usual in USUAL:
        names = (usual.name, *usual.also)
        handling = next((said[name] for name in names if name in said), None)
        if handling is None and (named.intersection(names) or _named_once(trial, usual.name)):
            handling = "held"
        found.append(Nuisance(usual.name, usual.title, usual.why, usual.remedy, handling))
    known = {name for usual in USUAL for name in (usual.name, *usual.also)}
    own = [(name, how) for name, how in trial.nuisance.items() if name.casefold() not in known]
    found += [Nuisance(name, name.replace("_", " "), "", "", how) for name, how in own]
    return tuple(found)


def _named_once(trial: Trial, name: str) -> bool:
    return bool(
        {
            "plate_heat": trial.joint.plate_heat,
            "welder": trial.welder,
            "reader": trial.blind.reader,
        }.get(name, "").strip()
    )
