"""The letters that the sheet is printed in, and which texts they can show.

DejaVu Sans Condensed comes with the package, so that a sheet holds the same letters whatever computer makes it. It has
Latin, Cyrillic, Greek and more. A letter that it lacks, or one of a script that runs from right to left, which
is not laid out here, is printed as a sign that says so, and is told.
"""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR, BOLD = "DejaVuSansCondensed", "DejaVuSansCondensed-Bold"

LOST = "\N{REPLACEMENT CHARACTER}"
"""What is printed for a letter that cannot be."""


@dataclass(frozen=True, slots=True)
class Style:
    """How a text is printed: its face, its size and the distance of its lines, in points; ``ink`` is 0 for black, 1 for white."""

    face: str
    size: float
    leading: float
    ink: float = 0


SMALL = Style(REGULAR, 10, 12.4)
"""What stands on every page only to tell sheets apart."""
BODY, BODY_BOLD, BODY_WHITE = Style(REGULAR, 11, 13.2), Style(BOLD, 11, 13.2), Style(BOLD, 11, 13.2, 1)
LARGE, LARGE_BOLD = Style(REGULAR, 12, 15), Style(BOLD, 12, 15)
DO, DO_BOLD, DO_WHITE = Style(REGULAR, 14, 17), Style(BOLD, 14, 17), Style(BOLD, 14, 17, 1)
"""What is to be done."""
SECTION, TITLE, NUMBER_WHITE = Style(BOLD, 16, 20), Style(BOLD, 20, 24), Style(BOLD, 20, 24, 1)


@cache
def faces() -> dict[str, Any]:
    """Return the faces by name, which the PDF library knows from then on."""
    found = {name: TTFont(name, str(files("reminders.sheet") / "fonts" / f"{name}.ttf")) for name in (REGULAR, BOLD)}
    for font in found.values():
        pdfmetrics.registerFont(font)
    return found


@lru_cache(maxsize=8192)
def printable(text: str) -> str:
    """Return a text as it is printed: accents joined to their letters, blanks and line ends as blanks, nothing invisible.

    What cannot be printed is replaced by :data:`LOST`.
    """
    joined = " ".join(unicodedata.normalize("NFC", text).split())
    return "".join(LOST if _is_lost(letter) else letter for letter in joined if unicodedata.category(letter) != "Cf")


def lost_in(texts: Iterable[str]) -> list[str]:
    """Return the texts of which some letter cannot be printed, each once, in order."""
    return [text for text in dict.fromkeys(texts) if LOST in printable(text) and LOST not in text]


@cache
def _is_lost(letter: str) -> bool:
    known = all(ord(letter) in font.face.charToGlyph for font in faces().values())
    return not known or unicodedata.bidirectional(letter) in ("R", "AL", "AN")


@lru_cache(maxsize=32768)
def width(text: str, style: Style) -> float:
    """Return how wide a printable text is, in points."""
    faces()
    return float(pdfmetrics.stringWidth(text, style.face, style.size))
