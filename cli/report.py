"""The report: one HTML file that needs nothing else, its first page standing alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from weldtrial.analysis.findings import Findings
from weldtrial.cli import (
    report_asked,
    report_checks,
    report_found,
    report_methods,
    report_settings,
    report_words,
)
from weldtrial.cli.pages import environment
from weldtrial.cli.report_blocks import Section
from weldtrial.cli.report_figures import first_figure
from weldtrial.cli.report_looks import looks_method
from weldtrial.shared.cautions import NOT_A_QUALIFICATION
from weldtrial.shared.clock import spoken_time
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import NotEnough, Problem
from weldtrial.shared.record import Record
from weldtrial.shared.trial import Trial

SEALED_FILES = {"seal.json", "journal.csv", "plan.csv", "trial.toml"}


def render_report(
    trial: Trial,
    plan: Plan,
    record: Record,
    findings: Findings,
    *,
    short: bool = False,
    cautions: Sequence[str] = (),
    warnings: Sequence[Problem] = (),
    written: str = "",
    settings: report_settings.SettingsSaid | None = None,
) -> str:
    """Return the report as HTML: the same bytes for the same findings and `written`.

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
    warnings
        What seal and bench say that stops nothing; what touches the seal stands on page 1.
    written
        When the page is written, as text; the only thing that may change between two runs.
    settings
        The best settings, of a trial that looks for them (`settings_said`).

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
    remarks = tuple(str(one) for one in warnings if one.file not in SEALED_FILES)
    sections = (
        () if short else _sections(trial, plan, record, findings, cautions, remarks, settings)
    )
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
        chosen=report_settings.first_page(trial, settings, record.seal),
        alarms=(*findings.look_lines, *_alarms(record, warnings)),
        written=spoken_time(written),
        not_a_qualification=NOT_A_QUALIFICATION,
        verdict_box=report_found.verdict_box,
        effect_box=report_found.effect_box,
        changes=report_checks.what_would_change_it(findings),
    )


def _alarms(record: Record, warnings: Sequence[Problem]) -> Iterator[str]:
    """Give what a reader of page 1 must know before the answer."""
    for line in record.journal:
        if line.event == "opened-early":
            yield f"The codes were opened early ({spoken_time(line.when)}): {line.details}."
        elif line.event == "peeked":
            yield f"Looked at when no look was planned ({spoken_time(line.when)}): {line.details}."
        elif line.event == "amended":
            told = "; ".join(report_asked.amendment_words(line))
            yield f"Amended after sealing ({spoken_time(line.when)}): {told}."
    yield from (str(one) for one in warnings if one.file in SEALED_FILES)


def _sections(
    trial: Trial,
    plan: Plan,
    record: Record,
    findings: Findings,
    cautions: Sequence[str],
    remarks: Sequence[str],
    settings: report_settings.SettingsSaid | None,
) -> tuple[Section, ...]:
    return (
        report_asked.asked(trial, plan, record, findings),
        report_asked.done(trial, record, findings),
        report_found.found(trial, findings),
        report_settings.trade_offs(trial, settings, record.seal),
        report_checks.checks(findings, remarks),
        report_checks.other_ways(trial, findings),
        report_checks.cannot_tell(trial, findings),
        report_checks.next_welds(trial, findings, cautions),
        report_methods.readings(trial, record, findings),
        report_methods.methods(findings, looks_method(trial, findings)),
        report_methods.corrections(record),
        report_methods.rerun(findings),
    )
