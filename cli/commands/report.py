"""``weldtrial report``: one HTML page that stands alone, or a bundle that can be re-run."""

from __future__ import annotations

from pathlib import Path

import click

from weldtrial.cli.answering import answer
from weldtrial.cli.gauge_folder import gauge_opened, report_gauge
from weldtrial.cli.looking import may_report, note_look
from weldtrial.cli.opening import Opened, open_trial
from weldtrial.cli.options import Common, common_options
from weldtrial.cli.report import render_report
from weldtrial.cli.report_bundle import write_bundle
from weldtrial.cli.report_settings import settings_said
from weldtrial.cli.sealing import redraw
from weldtrial.cli.trial_cautions import fitting
from weldtrial.shared.clock import now_text
from weldtrial.shared.folder import Folder, atomic_write
from weldtrial.shared.look_state import of_look
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import WeldtrialError, WrongUsage


@click.command(short_help="Write the report as one HTML file.")
@click.option("--short", is_flag=True, help="Page 1 only.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Where to write (without it: report.html, or report.zip, in the trial's folder).",
)
@click.option("--bundle", is_flag=True, help="A zip with everything needed to run it again.")
@common_options
def command(common: Common, *, short: bool, out: Path | None, bundle: bool) -> None:
    """Write what the trial shows as one page: answer, trust, scope, and all it rests on.

    Refused while the codes are closed, and when anything no longer matches the seal.
    """
    _must_not_overwrite(out)
    if (study := gauge_opened(common)) is not None:
        if short or bundle:
            raise WrongUsage("weldtrial report: a gauge study is one short page; leave out "
                             "--short and --bundle.")  # fmt: skip
        report_gauge(common, study, out)
        return
    opened = open_trial(common)
    is_open = opened.record.codes_open
    findings = answer(opened, codes_open=is_open, peek=may_report(opened))
    note_look(opened, findings)
    page = render_report(
        opened.trial,
        _with_restriction(opened),
        of_look(opened.record, findings.look),
        findings,
        short=short,
        cautions=tuple(caution.words for caution in fitting(opened.trial)),
        warnings=opened.warnings,
        written=now_text(),
        settings=settings_said(opened.trial, of_look(opened.record, findings.look)),
    )
    files = Folder(opened.folder)
    if bundle:
        path = out or opened.folder / "report.zip"
        write_bundle(path, files, opened.trial, page)
    else:
        path = out or files.report
        atomic_write(path, page)
    if common.json:
        common.console.json({"file": str(path)})
        return
    common.console.line(f"Wrote {files.name_of(path)}")
    common.console.note(
        "It holds everything needed to run the trial again: send it on."
        if bundle
        else "It needs nothing else: open it in a browser, print it, send it on."
    )
    if not bundle:
        common.console.next("report --bundle", "for a reviewer who wants to run it again")


def _must_not_overwrite(out: Path | None) -> None:
    """Refuse a file that is there and was not written by this command: it may be somebody's."""
    if out is None or not out.is_file():
        return
    with out.open("rb") as stream:
        start = stream.read(16)
    if start and not start.startswith((b"<!doctype html>", b"PK")):
        raise WrongUsage(
            f"{out} is there already and is no report. Nothing was written.",
            hint="Name another file:  weldtrial report --out FILE",
        )


def _with_restriction(opened: Opened) -> Plan:
    """Return the plan as drawn again, which knows the restriction that a file does not hold."""
    if opened.sealed is None:
        return opened.plan
    try:
        return redraw(opened.trial, opened.sealed.seal, opened.sealed.dice)
    except WeldtrialError:  # amended since: the plan that was welded is the one on file
        return opened.plan
