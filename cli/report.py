"""The report: one HTML file that needs nothing else, its first page standing alone."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.analysis.findings import Findings
from weldtrial.cli import report_asked, report_checks, report_found, report_methods, report_words
from weldtrial.cli.pages import environment
from weldtrial.cli.report_blocks import Section
from weldtrial.cli.report_figures import first_figure
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import NotEnough
from weldtrial.shared.record import Record
from weldtrial.shared.trial import Trial


def render_report(
    trial: Trial,
    plan: Plan,
    record: Record,
    findings: Findings,
    *,
    short: bool = False,
    cautions: Sequence[str] = (),
) -> str:
    """Return the report as HTML: the same bytes for the same findings.

    Parameters
    ----------
    trial, plan, record
        The sealed question, the drawn order, and what the bench wrote.
    findings
        What the analysis found, with the codes open.
    short
        Page 1 only.
    cautions
        The cautions that fit the trial.

    Raises
    ------
    NotEnough
        While the codes are closed.
    """
    if not findings.codes_open:
        raise NotEnough(
            "The codes are still closed, so there is no answer to report yet.",
            hint="Open them once every reading is in:  weldtrial analyse --open",
        )
    sections = () if short else _sections(trial, plan, record, findings, cautions)
    template = environment().get_template("report.html.j2")
    return template.render(
        trial=trial,
        findings=findings,
        responses=sorted(findings.responses, key=lambda one: one.rank),
        strip=first_figure(trial, findings.responses),
        sections=sections,
        short=short,
        words=report_words,
        counts=report_words.counts_line(trial, record, findings),
        opened_early=[line for line in record.journal if line.event == "opened-early"],
        verdict_box=report_found.verdict_box,
        changes=report_checks.what_would_change_it(findings),
    )


def _sections(
    trial: Trial, plan: Plan, record: Record, findings: Findings, cautions: Sequence[str]
) -> tuple[Section, ...]:
    return (
        report_asked.asked(trial, plan, record, findings),
        report_asked.done(trial, record, findings),
        report_found.found(trial, findings),
        report_found.trade_offs(trial),
        report_checks.checks(findings),
        report_checks.other_ways(findings),
        report_checks.cannot_tell(trial, findings),
        report_checks.next_welds(trial, findings, cautions),
        report_methods.readings(trial, record),
        report_methods.methods(findings),
        report_methods.corrections(record),
        report_methods.rerun(findings),
    )
