"""The printed sheet, read by others: poppler's tools and pypdf say which words stand where, and what a printer would print."""

import re
import shutil
import subprocess
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

XHTML = "{http://www.w3.org/1999/xhtml}"
WEEKDAY = re.compile("Mon|Tue|Wed|Thu|Fri|Sat|Sun")
CLOCK = re.compile(r"\d\d:\d\d")
NEAR = 3.0
"""How far above the time of its row a word in smaller or larger letters may stand."""
DO_HIGH = 14.0
"""How high the letters are that say what is to be done, in points."""


@dataclass(frozen=True, slots=True)
class Word:
    """A word with the edges of its box, in points from the page's top left corner."""

    text: str
    left: float
    top: float
    right: float
    foot: float

    @property
    def high(self) -> float:
        """Return the height of its box: the size of its letters."""
        return self.foot - self.top


@dataclass(slots=True)
class Told:
    """One row of the week as a reader finds it: its page, day and time, and the texts of its columns, blanks as one."""

    page: int
    day: str
    time: str
    limit: list[str] = field(default_factory=list)
    lumen: list[str] = field(default_factory=list)
    what: list[str] = field(default_factory=list)

    def put(self, column: str, text: str) -> None:
        """Add a word to a column."""
        {"Time": self.limit, "Lumen": self.lumen, "What": self.what}[column].append(text)

    @property
    def said(self) -> str:
        """Return what is to be done, lines joined; a word that was broken at its hyphen is whole again."""
        return " ".join(self.what).replace("- ", "-")


def _program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        pytest.skip(f"not run: {name} (poppler-utils) is not installed")
    return found


def words_of(pdf: bytes, folder: Path) -> list[list[Word]]:
    """Return the words of each page, as pdftotext finds them."""
    file, out = folder / "sheet.pdf", folder / "words.html"
    file.write_bytes(pdf)
    subprocess.run([_program("pdftotext"), "-bbox", str(file), str(out)], check=True, capture_output=True)
    pages = []
    for page in ElementTree.parse(out).getroot().iter(f"{XHTML}page"):
        found = []
        for word in page.iter(f"{XHTML}word"):
            left, top, right, foot = (float(word.get(edge, "")) for edge in ("xMin", "yMin", "xMax", "yMax"))
            found.append(Word(word.text or "", left, top, right, foot))
        pages.append(found)
    return pages


@dataclass(frozen=True, slots=True)
class Pixels:
    """A page as a printer would print it, ``dpi`` dots to the inch: three bytes a dot."""

    wide: int
    high: int
    data: bytes
    dpi: int

    def dots(self, left: float, top: float, right: float, foot: float) -> bytes:
        """Return the bytes of a rectangle, whose edges are in points; a dot that is cut by an edge is left out."""
        scale = self.dpi / 72
        columns = range(max(0, int(left * scale + 0.999)), min(self.wide, int(right * scale)))
        rows = range(max(0, int(top * scale + 0.999)), min(self.high, int(foot * scale)))
        return b"".join(
            self.data[3 * (row * self.wide + columns.start) : 3 * (row * self.wide + columns.stop)] for row in rows
        )


def printed(pdf: bytes, folder: Path, dpi: int = 72) -> list[Pixels]:
    """Return each page in colours, as pdftoppm renders it."""
    file = folder / "sheet.pdf"
    file.write_bytes(pdf)
    for old in folder.glob("page*.ppm"):
        old.unlink()
    command = [_program("pdftoppm"), "-r", str(dpi), str(file), str(folder / "page")]
    subprocess.run(command, check=True, capture_output=True)
    return [_ppm(path.read_bytes(), dpi) for path in sorted(folder.glob("page*.ppm"))]


def _ppm(raw: bytes, dpi: int) -> Pixels:
    kind, size, most, data = raw.split(b"\n", 3)
    assert (kind, most) == (b"P6", b"255")
    wide, high = map(int, size.split())
    return Pixels(wide, high, data, dpi)


def texts(pdf: bytes) -> list[str]:
    """Return the text of each page, as pypdf extracts it."""
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def squeezed(text: str) -> str:
    """Leave out blanks and hyphens, which lines may break at or add."""
    return re.sub(r"[\s-]", "", text)


def rows_of(pages: list[list[Word]]) -> list[Told]:
    """Return the rows of the week in order, with the columns in which their words stand."""
    rows: list[Told] = []
    day = ""
    for number, page in enumerate(pages, start=1):
        columns = _columns(page)
        if columns is None:
            continue
        head, lefts = columns
        # Rows end where what was done besides begins, or at the foot, which begins with this word.
        ends = [word.top for word in page if word.text in ("Whatever", "STOP,") and word.left < lefts["Time"] - 5]
        if any(end < head for end in ends):
            continue
        foot = min(ends)
        body = sorted((word for word in page if head < word.top < foot), key=lambda word: (word.top, word.left))
        left = lefts["Time"] - 5
        days = [
            word for word in body if word.left < left and WEEKDAY.fullmatch(word.text) and word.high >= DO_HIGH - 0.5
        ]
        times = [word for word in body if _is_time(word, lefts)]
        marks = sorted([*days, *times], key=lambda word: word.top)
        assert marks[0] in days, f"page {number} goes on without the heading of its day"
        for mark, after in zip(marks, [*marks[1:], None], strict=True):
            until = foot if after is None else after.top - NEAR
            band = [word for word in body if mark.top - NEAR <= word.top < until and word is not mark]
            if mark in days:
                day = " ".join([mark.text, *(word.text for word in band if abs(word.top - mark.top) < 1)][:4])
                continue
            rows.append(Told(number, day, mark.text))
            for word in band:
                if word.left >= left:  # what stands left of it is the sign in the box
                    column = next(name for name in reversed(lefts) if word.left >= lefts[name] - 2)
                    rows[-1].put(column, word.text)
    return rows


def _is_time(word: Word, lefts: dict[str, float]) -> bool:
    beside = lefts["Time"] - 5 <= word.left < lefts["Lumen"] - 5
    return beside and CLOCK.fullmatch(word.text) is not None and word.high >= DO_HIGH - 0.5


def _columns(page: list[Word]) -> tuple[float, dict[str, float]] | None:
    """Return the first line of column headings of a page: its foot, and the left edge of each column."""
    for word in page:
        if word.text == "Real":
            heads = {other.text: other for other in page if abs(other.top - word.top) < 1}
            if {"Time", "Lumen", "What"} <= heads.keys():
                return word.foot, {name: heads[name].left for name in ("Time", "Lumen", "What")}
    return None


def overlaps(page: list[Word]) -> list[tuple[str, str]]:
    """Return the pairs of words whose boxes cover each other by more than a hair."""
    found = []
    ordered = sorted(page, key=lambda word: word.top)
    for index, word in enumerate(ordered):
        for other in ordered[index + 1 :]:
            if other.top > word.foot:
                break
            across = min(word.right, other.right) - max(word.left, other.left)
            down = min(word.foot, other.foot) - max(word.top, other.top)
            if across > 0.8 and down > 1.0:
                found.append((word.text, other.text))
    return found
