"""Reading sheets of a gauge study: one for each reader and each time he reads."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.cli.gauge_words import NOT_A_TRIAL
from weldtrial.cli.pages import environment
from weldtrial.cli.sheet_parts import PAPERS, ROW_MM, PaperName, boxes_for, in_pages
from weldtrial.cli.sheet_read import READ_FOOT_MM, READ_HEAD_MM, ReadingSheet, response_facts
from weldtrial.cli.trial_cautions import fitting
from weldtrial.shared.folder import atomic_write
from weldtrial.shared.responses import Response

if TYPE_CHECKING:
    from weldtrial.cli.gauge_folder import GaugeOpened


def write_gauge_sheets(opened: GaugeOpened, paper: PaperName) -> tuple[Path, ...]:
    """Write the sheets into the folder's ``sheets`` and return their paths."""
    written = []
    cautions = [one.short for one in fitting(opened.trial) if one.id == "hot-and-sharp"]
    for response in opened.trial.responses:
        for place, reader in enumerate(opened.gauge.readers, start=1):
            for repeat in range(1, opened.gauge.repeats + 1):
                name = f"read-{response.name}-{place}-{_plain(reader)}-{repeat}.html"
                path = opened.files.sheets / name
                html = (
                    environment()
                    .get_template("sheet_read.html.j2")
                    .render(
                        paper=PAPERS[paper],
                        landscape=False,
                        seal_code=f"none · order {opened.order.code}",
                        not_a_qualification=NOT_A_TRIAL,
                        title=opened.trial.title,
                        sheet=_sheet(opened, response, reader, repeat, paper),
                        reader=reader,
                        cautions=cautions,
                    )
                )
                atomic_write(path, html)
                written.append(path)
    return tuple(written)


def _sheet(
    opened: GaugeOpened, response: Response, reader: str, repeat: int, paper: PaperName
) -> ReadingSheet:
    height = PAPERS[paper].height_mm(landscape=False)
    rows = int((height - READ_HEAD_MM - READ_FOOT_MM) // ROW_MM)
    stamps = [
        one.stamp for one in opened.order.tasks if (one.reader, one.repeat) == (reader, repeat)
    ]
    typical = response.typical
    expected = typical.mean + 4 * typical.sd_coupon if typical is not None else 99.0
    largest = expected if response.most is None else response.most
    return ReadingSheet(
        name=response.name,
        title=f"{response.title} – reading {repeat} of {opened.gauge.repeats}",
        facts=" · ".join(
            (*response_facts(response), "read in this order, without sight of earlier sheets")
        ),
        rule="",
        unit=response.unit,
        boxes=boxes_for(largest, response.reads_to),
        cuts=(),
        limit="",
        between=False,
        where=(),
        asks_where="",
        pages=tuple(in_pages(stamps, rows)),
    )


def _plain(reader: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", reader.casefold()).strip("-") or "reader"
