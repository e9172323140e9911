"""``weldtrial record``: readings typed in, imported, compared, corrected, or marked lost."""

from __future__ import annotations

from typing import Any

import click

from weldtrial.cli.bench_folder import known_place, open_trial
from weldtrial.cli.gauge_folder import gauge_opened, record_gauge
from weldtrial.cli.options import Common, common_options
from weldtrial.shared.problems import WrongUsage


@click.command(short_help="Type in, import or correct readings.")
@click.argument("response", required=False)
@click.option("--from", "source", metavar="FILE", help="Import a CSV file ('-': standard input).")
@click.option("--decimal", type=click.Choice([".", ","]), help="Decimal sign of FILE.")
@click.option("--twice", is_flag=True, help="FILE is a second entry: compare, change nothing.")
@click.option("--yes", is_flag=True, help="Do not ask; take odd-looking readings as they are.")
@click.option("--reader", metavar="NAME", help="Who read (or who corrects).")
@click.option("--on", "read_on", metavar="DATE", help="When it was read: 2026-06-14.")
@click.option("--correct", metavar="STAMP", help="Correct a coupon's reading, keeping the old one.")
@click.option("--to", metavar="VALUE", help="With --correct: the right value.")
@click.option("--was", metavar="VALUE", help="With --correct: which of several readings.")
@click.option("--column", metavar="NAME", help="With --correct: a column beside the reading.")
@click.option("--why", metavar="WHY", help="With --correct: the reason, kept for good.")
@click.option("--lost", nargs=2, metavar="STAMP WHY", help="Mark a coupon, or its reading, lost.")
@common_options
def command(common: Common, response: str | None, **said: Any) -> int:
    """Enter readings of RESPONSE, or the weld log (RESPONSE weld_log).

    Without options it asks, reading by reading, and saves each at once.  What was typed before
    is never overwritten; a correction is kept beside it.

    \b
    A reading is  84.2   >90 (did not break)   80..90 (between)   lost   or, in another unit,
    18950 lbf;  pass or fail;  or a grade of your own scale.

    \b
    weldtrial record break_load
    weldtrial record --from phone-notes.csv
    weldtrial record --correct A2H          (asks; or say it all at once:)
    weldtrial record --correct A2H --to 82.5 --why "typed from the wrong line"
    weldtrial record --lost P2R "scrapped, nozzle blocked"
    """
    _fits_together(said)
    if (study := gauge_opened(common)) is not None:
        given = [name for name in ("decimal", "twice", "reader", "read_on", "correct", "lost")
                 if said[name]]  # fmt: skip
        if given:
            raise WrongUsage(
                f"weldtrial record: --{given[0].replace('read_on', 'on')} is not for a gauge "
                "study, whose readings are typed into readings/*.csv or come from a file."
            )
        return record_gauge(common, study, response, said["source"])
    opened = open_trial(common)
    where = known_place(response, opened.trial) if response else None
    if said["correct"]:
        from weldtrial.cli.mending import correct

        return correct(common, opened, where, said)
    if said["lost"]:
        from weldtrial.cli.mending import mark_lost

        return mark_lost(common, opened, where, said)
    if said["source"]:
        from weldtrial.cli.importing import import_file

        return import_file(common, opened, where, said)
    from weldtrial.cli.entry_talk import talk

    return talk(common, opened, where, said)


def _fits_together(said: dict[str, Any]) -> None:
    """Refuse options that mean nothing together, and dates that are none."""
    jobs = [("--from", said["source"]), ("--correct", said["correct"]), ("--lost", said["lost"])]
    asked = [name for name, value in jobs if value]
    if len(asked) > 1:
        raise WrongUsage(f"weldtrial record: {' and '.join(asked)} do not go together.")
    for name in ("to", "was", "why", "column"):
        if said[name] is not None and not said["correct"]:
            raise WrongUsage(f"weldtrial record: --{name} belongs to  --correct STAMP")
    for name in ("twice", "decimal"):
        if said[name] and not said["source"]:
            raise WrongUsage(f"weldtrial record: --{name} belongs to  --from FILE")
    if said["read_on"] is not None:
        _checked_date(said["read_on"])


def _checked_date(text: str) -> None:
    from datetime import date

    try:
        date.fromisoformat(text)
    except ValueError:
        raise WrongUsage(f"--on {text} is not a date. Write it as 2026-06-14.") from None
