"""Pictures as files of their own: that of ``weldtrial plan --choose``, and what they share."""

from __future__ import annotations

import html
import io
import re
from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.cli.choosing_words import aim_words, gap_unit
from weldtrial.shared.problems import WeldtrialError, WrongUsage

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from weldtrial.analysis.figures.budget_frontier import Told
    from weldtrial.cli.choosing import Choice
    from weldtrial.cli.options import Common

MADE_BY = "weldtrial plan --choose"
"""Stands in every picture made here, so that only those are written over unasked."""
_ROOT = re.compile(r"<svg\b[^>]*>")
PNG_DPI = 200


def refuse_others(common: Common, path: Path, made_by: str = MADE_BY) -> None:
    """Stop before writing over a file that this command did not make, unless the user agrees.

    Raises
    ------
    WrongUsage
        When it must not be written over, or its folder is not there.
    """
    if not path.parent.is_dir():
        raise WrongUsage(f"--picture {path}: there is no folder '{path.parent}'.")
    if path.is_dir():
        raise WrongUsage(f"--picture {path}: that is a folder. Name a file.")
    if not path.exists() or made_by.encode() in _start(path):
        return
    console = common.console
    if console.may_ask and console.confirm(
        f"{path} was not made by this command. Write over it?", flag="another name"
    ):
        return
    raise WrongUsage(
        f"--picture {path}: that file is there and was not made by this command, so it is left "
        "alone. Choose another name."
    )


def _start(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(65_536)
    except OSError:
        return b""


def save_picture(choice: Choice, path: Path) -> None:
    """Draw the plans worth choosing between and write them to `path` (``.svg`` or ``.png``).

    Raises
    ------
    WeldtrialError
        When the file cannot be written.
    """
    from weldtrial.analysis.figures import budget_frontier

    told = _told(choice)
    figure = budget_frontier.draw(choice.found, told)
    words = budget_frontier.describe(choice.found, told)
    write_figure(figure, path, told.title, words.alt)


def write_figure(figure: Figure, path: Path, title: str, alt: str, made_by: str = MADE_BY) -> None:
    """Write a figure to `path` (``.svg`` or ``.png``), its words inside.

    Raises
    ------
    WeldtrialError
        When the file cannot be written.
    """
    from weldtrial.analysis.figures import house_style

    made = _svg if path.suffix.lower() == ".svg" else _png
    with house_style():
        data = made(figure, title, alt, made_by)
    try:
        path.write_bytes(data)
    except OSError as error:
        raise WeldtrialError(f"{path} cannot be written: {error.strerror or error}.") from None


def _told(choice: Choice) -> Told:
    from weldtrial.analysis.figures.budget_frontier import Told

    budget, wanted = choice.figures.trial.budget, choice.wanted
    unit = budget.currency if choice.by_money else "h"
    return Told(
        title=choice.figures.trial.title,
        aim=aim_words(choice),
        spent=f"cost, {unit}" if choice.by_money else "bench time, h",
        unit=unit,
        gap_unit=gap_unit(choice),
        limit=wanted.cost if choice.by_money else wanted.hours,
    )


def _svg(figure: Figure, title: str, alt: str, made_by: str) -> bytes:
    import matplotlib

    stream = io.StringIO()
    matplotlib.rcParams.update({"svg.fonttype": "none", "svg.hashsalt": made_by})
    about = {"Title": title, "Description": alt, "Creator": made_by, "Date": None}
    figure.savefig(stream, format="svg", metadata=about)
    text = _ROOT.sub(lambda found: f'{found.group()[:-1]} role="img">', stream.getvalue(), 1)
    text = text.replace("</title>", f"</title>\n <desc>{html.escape(alt)}</desc>", 1)
    return text.encode("utf-8")


def _png(figure: Figure, title: str, alt: str, made_by: str) -> bytes:
    stream = io.BytesIO()
    about = {"Title": title, "Description": alt, "Software": made_by}
    figure.savefig(stream, format="png", dpi=PNG_DPI, metadata=about)
    return stream.getvalue()
