"""Printable sheets: weld, reading, stamp and cutting sheets as pages that need nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from weldtrial.cli.sheet_card import STRIP_MM, Card
from weldtrial.cli.sheet_parts import CLOCK, PAPERS, Boxes, Paper, PaperName, blind_title, tells
from weldtrial.cli.sheet_read import cut_pages, reading_sheet, stamp_pages
from weldtrial.cli.sheet_weld import weld_sheet
from weldtrial.cli.trial_cautions import fitting
from weldtrial.shared.cautions import NOT_A_QUALIFICATION
from weldtrial.shared.folder import Folder, atomic_write
from weldtrial.shared.plan import Plan
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

Kind = Literal["weld", "read", "stamps", "cut", "card"]


@dataclass(frozen=True, slots=True)
class SheetPage:
    """One file of sheets."""

    name: str
    html: str


def write_sheets(
    folder_path: Path,
    trial: Trial,
    plan: Plan,
    seal_code: str,
    *,
    paper: PaperName = "A4",
    only: Kind | None = None,
    from_run: int | None = None,
    for_reader: str | None = None,
    card: Card | None = None,
) -> tuple[Path, ...]:
    """Write the sheets to the folder's ``sheets`` and return their paths.

    Parameters
    ----------
    seal_code
        Stands at the foot of every sheet.
    only
        One kind of sheet; all that fit the trial without it.
    from_run
        Print the weld sheet again from this run on, beside the whole one.
    for_reader
        Reading sheets only, with this name on them; where it is the reader whom the trial keeps
        blind, only the sheets of what is read blind.

    card
        The settings card, where that is what is printed.

    Raises
    ------
    WrongUsage
        When there is no such run.
    """
    pages = tuple(
        render_sheets(
            trial,
            plan,
            seal_code,
            paper=paper,
            only=only,
            from_run=from_run,
            for_reader=for_reader,
            card=card,
        )
    )
    folder = Folder(folder_path).sheets
    for page in pages:
        atomic_write(folder / page.name, page.html)
    return tuple(folder / page.name for page in pages)


def render_sheets(
    trial: Trial,
    plan: Plan,
    seal_code: str,
    *,
    paper: PaperName = "A4",
    only: Kind | None = None,
    from_run: int | None = None,
    for_reader: str | None = None,
    card: Card | None = None,
) -> Iterator[SheetPage]:
    """Give the sheets as HTML; see `write_sheets`."""
    sheet = _Sheets(trial, plan, seal_code, PAPERS[paper])
    if card is not None:
        yield sheet.card(card)
        return
    wanted: Kind | None = "read" if for_reader else "weld" if from_run is not None else only
    if wanted in (None, "weld"):
        yield sheet.weld(from_run)
    if wanted in (None, "read"):
        for response in _read_by(trial, for_reader):
            yield sheet.read(response, for_reader or "")
    if wanted in (None, "stamps"):
        yield sheet.stamps()
    if wanted in (None, "cut") and max(one.sections for one in trial.to_read) > 1:
        yield sheet.cut()


def _read_by(trial: Trial, reader: str | None) -> tuple[Response, ...]:
    blind = trial.blind
    if reader and blind.who and reader.casefold() == blind.reader.casefold():
        return tuple(one for one in trial.to_read if one.name in blind.who)
    return trial.to_read


@dataclass(frozen=True, slots=True)
class _Sheets:
    trial: Trial
    plan: Plan
    seal_code: str
    paper: Paper

    def weld(self, from_run: int | None) -> SheetPage:
        sheet = weld_sheet(self.trial, self.plan, self.paper, from_run)
        name = "weld.html" if from_run is None else f"weld-from-run-{from_run}.html"
        html = self._page(
            "sheet_weld.html.j2",
            landscape=True,
            title=self.trial.title,
            sheet=sheet,
            clock=CLOCK,
            flow=Boxes(2, 1),
            stamp_boxes=Boxes(max(len(run.stamp) for run in self.plan.runs)),
            cautions=fitting(self.trial),
        )
        return SheetPage(name, html)

    def read(self, response: Response, reader: str) -> SheetPage:
        sheet = reading_sheet(self.trial, self.plan, response, self.paper)
        html = self._page(
            "sheet_read.html.j2",
            title=blind_title(self.trial, self.seal_code),
            sheet=sheet,
            reader=reader,
            cautions=self._blind_cautions({"stored-energy", "etching", "hot-and-sharp"}),
        )
        return SheetPage(f"read-{response.name}.html", html)

    def stamps(self) -> SheetPage:
        html = self._page(
            "sheet_stamps.html.j2",
            title=blind_title(self.trial, self.seal_code),
            pages=stamp_pages(self.plan, self.paper),
        )
        return SheetPage("stamps.html", html)

    def cut(self) -> SheetPage:
        html = self._page(
            "sheet_cut.html.j2",
            title=blind_title(self.trial, self.seal_code),
            pages=cut_pages(self.trial, self.plan, self.paper),
            cautions=self._blind_cautions({"etching", "hot-and-sharp"}),
        )
        return SheetPage("cut.html", html)

    def card(self, card: Card) -> SheetPage:
        html = self._page(
            "sheet_card.html.j2",
            title=self.trial.title,
            card=card,
            strip_mm=STRIP_MM,
        )
        return SheetPage("card.html", html)

    def _blind_cautions(self, ids: set[str]) -> list[str]:
        chosen = [one.short for one in fitting(self.trial) if one.id in ids]
        return [words for words in chosen if not tells(words, self.trial)]

    def _page(self, template: str, *, landscape: bool = False, **said: Any) -> str:
        from weldtrial.cli.pages import environment

        return (
            environment()
            .get_template(template)
            .render(
                paper=self.paper,
                landscape=landscape,
                seal_code=self.seal_code,
                not_a_qualification=NOT_A_QUALIFICATION,
                **said,
            )
        )
