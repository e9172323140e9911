"""Figures as SVG to stand inside a page: no outside address, no date, no identifier twice."""

from __future__ import annotations

import html
import io
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FONTS = "Arial, 'Liberation Sans', Helvetica, sans-serif"
"""Text stays text: measured in a wider face, shown in the reader's own, so nothing is cut."""

_BEFORE = re.compile(r"\A.*?(?=<svg\b)", re.DOTALL)
_METADATA = re.compile(r"\s*<metadata>.*?</metadata>", re.DOTALL)
_COMMENT = re.compile(r"\s*<!--.*?-->", re.DOTALL)
_ROOT = re.compile(r"<svg\b[^>]*>")
_VIEW_BOX = re.compile(r'viewBox="[^"]*"')
_ID = re.compile(r'\bid="([^"]+)"')
_USE = re.compile(r'(?:xlink:)?href="#([^"]+)"')
_URL = re.compile(r"url\(#([^)]+)\)")


def to_svg(figure: Figure, key: str, alt: str) -> str:
    """Return the figure as an ``<svg>`` element for a page, the same bytes every time.

    Parameters
    ----------
    figure
        A finished matplotlib figure.
    key
        Unique on the page (letters, digits, hyphens); every identifier inside begins with it.
    alt
        What the figure shows, for those who cannot see it.
    """
    text = _COMMENT.sub("", _METADATA.sub("", _BEFORE.sub("", _saved(figure, key))))
    used = set(_USE.findall(text)) | set(_URL.findall(text))
    text = _ROOT.sub(lambda match: _root(match.group(), alt), text, count=1)
    text = re.sub(r'\s+id="([^"]+)"', lambda m: m.group() if m[1] in used else "", text)
    text = _ID.sub(rf'id="{key}-\1"', text)
    text = _USE.sub(rf'href="#{key}-\1"', text)
    text = _URL.sub(rf"url(#{key}-\1)", text)
    return text.replace("'DejaVu Sans'", FONTS).strip()


def _saved(figure: Figure, key: str) -> str:
    import matplotlib

    from weldtrial.analysis.figures import house_style

    stream = io.StringIO()
    settings = {"svg.fonttype": "none", "svg.hashsalt": f"weldtrial {key}", "path.simplify": False}
    # Ticks are made only now, so the house style has to hold until the figure is written.
    with house_style():
        matplotlib.rcParams.update(settings)  # type: ignore[arg-type]
        figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    return stream.getvalue()


def _root(tag: str, alt: str) -> str:
    found = _VIEW_BOX.search(tag)
    view_box = found.group() if found else ""
    return f'<svg {view_box} role="img" aria-label="{html.escape(alt)}">'
