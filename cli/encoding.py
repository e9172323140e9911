"""Say symbols in plain ASCII where the stream cannot carry them."""

from __future__ import annotations

import unicodedata

_ASCII = {
    "▶": ">",
    "✓": "ok",
    "✗": "x",
    "●": "*",
    "○": "o",
    "•": "*",
    "·": "-",
    "−": "-",
    "–": "-",
    "—": "-",
    "─": "-",
    "━": "-",
    "│": "|",
    "┆": "|",
    "°": "deg",
    "±": "+/-",
    "×": "x",
    "≥": ">=",
    "≤": "<=",
    "≈": "~",
    "→": "->",
    "←": "<-",
    "…": "...",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "²": "^2",
    "³": "^3",
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "µ": "u",
    "μ": "mu",
    "Δ": "Delta",
    "σ": "sigma",
    "\N{NO-BREAK SPACE}": " ",
    "\N{THIN SPACE}": " ",
}


def _fits(text: str, encoding: str) -> bool:
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _plain(character: str, encoding: str) -> str:
    if _fits(character, encoding):
        return character
    if character in _ASCII:
        return _ASCII[character]
    bare = unicodedata.normalize("NFKD", character).encode("ascii", "ignore").decode()
    return bare or "?"


def speakable(text: str, encoding: str | None) -> str:
    """Return `text` with every character that `encoding` cannot carry said in ASCII."""
    encoding = encoding or "ascii"
    if _fits(text, encoding):
        return text
    return "".join(_plain(character, encoding) for character in text)
