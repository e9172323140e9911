"""``weldtrial check``: what is wrong, what is left to do; writes nothing."""

from __future__ import annotations

from collections.abc import Sequence

import click

from weldtrial.cli.adopted_folder import adopted, check_adopted
from weldtrial.cli.check_screen import show, to_do
from weldtrial.cli.gauge_folder import check_gauge_folder, gauge_opened
from weldtrial.cli.look_json import look_json
from weldtrial.cli.look_through import Checked, look_through
from weldtrial.cli.options import Common, common_options
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.problems import ExitCode, Problem


@click.command(short_help="Say what is wrong and what is left to do.")
@click.option("--strict", is_flag=True, help="End with exit code 3 on a warning too.")
@common_options
def command(common: Common, strict: bool) -> int:
    """Look through the whole folder: seal, weld log, readings, corrections.

    Everything wrong is named at once by file, row and column, with what to do.  Ends with 3 when
    a file needs mending, with 4 when the folder does not match its seal.  Writes nothing.
    """
    place = find_folder(common.folder)
    if adopted(place):
        return check_adopted(common, place, strict=strict)
    if (study := gauge_opened(common)) is not None:
        return check_gauge_folder(common, study, strict=strict)
    found = look_through(Folder(place))
    code = found.code(strict)
    if common.json:
        common.console.json(_as_json(found, code))
    else:
        show(common, found, code)
    _list_problems(common, found.problems)
    return int(code)


def _list_problems(common: Common, problems: Sequence[Problem]) -> None:
    """List on stderr what must be mended, then what need only be known."""
    groups = (("To mend", False), ("Worth knowing", True))
    for heading, warning in groups:
        group = [one for one in problems if one.warning is warning]
        if group:
            common.console.warn(f"{heading} ({len(group)}):")
            common.console.problems(group)


def _marked(problems: Sequence[Problem]) -> list[Problem]:
    """Put what must be mended before what need only be known."""
    return sorted(problems, key=lambda one: one.warning)


def _as_json(found: Checked, code: ExitCode) -> dict[str, object]:
    stands, sealed = found.standing, found.sealed
    return {
        "exit": int(code),
        "trial": found.trial.title if found.trial else None,
        "sealed": found.record.sealed if found.record else "none",
        "seal": sealed.code if sealed else None,
        "seal_matches": None if sealed is None else all(one.warning for one in found.broken),
        "codes_open": found.record.codes_open if found.record else None,
        "welded": stands.welded if stands else None,
        "read": {
            one.response.name: {
                "read": one.read,
                "wanted": one.wanted,
                "unread": one.unread,
                "half_read": one.half_read,
                "lost": one.lost,
                "past_limit": one.past,
                "plate": one.plate,
            }
            for one in (stands.read if stands else ())
        },
        "worked_out": {
            one.response.name: {
                "known": one.known,
                "wanted": one.wanted,
                "lacking": {lack.stamp: lack.columns for lack in one.lacking},
            }
            for one in (stands.worked_out if stands else ())
        },
        "held": {
            one.held.name: {
                "within": one.within,
                "seen": one.seen,
                "outside": [
                    {"stamp": coupon.stamp, "run": coupon.run, "value": value}
                    for coupon, value in one.outside
                ],
            }
            for one in (stands.held if stands else ())
        },
        "varied": {
            one.factor.name: {
                "tolerance": one.factor.tolerance,
                "within": one.within,
                "seen": one.seen,
                "outside": [
                    {"stamp": coupon.stamp, "run": coupon.run, "value": value, "planned": planned}
                    for coupon, value, planned in one.outside
                ],
            }
            for one in (stands.varied if stands else ())
        },
        "look": None if found.look is None else look_json(found.look),
        "order_notes": stands.order_notes if stands else (),
        "to_do": to_do(found, code),
        "problems": _marked(found.problems),
    }
