"""The signs of a timeline as SVG: marks, bars, patterns, texts and where they find room.

Only presentation attributes are used, so that a page may forbid inline styles. What a sign says never hangs on its
colour: kinds differ in shape, states in what is inside and around the shape.
"""

import re
import unicodedata
from collections.abc import Sequence
from xml.etree.ElementTree import Element, SubElement

from reminders.schedule.model import TouchKind
from reminders.views.timeline_lanes import Closed, Fill, Look

PAPER, INK, SOFT = "#ffffff", "#1a1a1a", "#5c5c5c"
FACT = "#1d4d6b"
"""What is recorded."""
ALERT = "#9c1430"
"""What somebody should look at; its shape and its words say so too."""
NIGHT, NIGHT_LINE, GRID = "#f0f0f4", "#c4c4ce", "#dcdcdc"

TEXT = 12
"""The smallest letters, in units of the drawing."""
ROW = 14
"""The height of one row of text."""


def node(parent: Element, tag: str, **attributes: str | float) -> Element:
    """Add an element; ``stroke_width=2`` becomes ``stroke-width="2"``."""
    written = {
        name.rstrip("_").replace("_", "-"): value if isinstance(value, str) else decimal(value)
        for name, value in attributes.items()
    }
    return SubElement(parent, tag, written)


def decimal(value: float) -> str:
    """Write a number with two digits after the point at most."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def legal(text: str) -> str:
    """Put U+FFFD for the characters that XML 1.0 does not allow (its production 2, Char)."""
    return re.sub("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", text)


def titled(parent: Element, words: str, *, tag: str = "title") -> Element:
    """Give an element its words, which a browser shows beside the pointer."""
    found = SubElement(parent, tag)
    found.text = legal(words)
    return found


def write(
    parent: Element,
    x: float,
    y: float,
    text: str,
    *,
    size: int = TEXT,
    bold: bool = False,
    fill: str = INK,
    anchor: str = "start",
) -> None:
    """Write one row of text with its base line at ``y``."""
    element = node(parent, "text", x=x, y=y, font_size=size, fill=fill)
    if bold:
        element.set("font-weight", "bold")
    if anchor != "start":
        element.set("text-anchor", anchor)
    element.text = legal(text)


NARROW, WIDE = frozenset("iljtfrI.,:;'|!-/() []1"), frozenset("mwMW@%&")


def length(text: str, size: float = TEXT, *, bold: bool = False) -> float:
    """Estimate how long a text is when drawn; on the long side for the usual fonts without serifs."""
    total = 0.0
    for letter in text:
        if unicodedata.combining(letter):
            continue
        if unicodedata.east_asian_width(letter) in "WF":
            total += 1.0
        elif letter in NARROW:
            total += 0.4 if letter != "1" else 0.6
        else:
            total += 0.92 if letter in WIDE else 0.74 if letter.isupper() else 0.6
    return total * size * (1.06 if bold else 1)


def wrapped(text: str, room: float, rows: int, size: float = TEXT, *, bold: bool = False) -> list[str]:
    """Break a text into at most ``rows`` rows of length ``room``; what finds no room is left out with an ellipsis."""

    def fits(part: str) -> bool:
        return length(part, size, bold=bold) <= room

    lines: list[str] = []
    for word in text.split():
        parts = [word] if fits(word) else re.findall("[^-]*-|[^-]+", word)
        for index, part in enumerate(parts):
            joined = f"{lines[-1]}{'' if index else ' '}{part}" if lines else part
            if lines and fits(joined):
                lines[-1] = joined
                continue
            while not fits(part) and len(part) > 1:
                cut = next((at for at in range(len(part) - 1, 1, -1) if fits(part[:at] + "-")), 1)
                lines.append(part[:cut] + "-")
                part = part[cut:]
            lines.append(part)
    if len(lines) > rows:
        last = lines[rows - 1]
        while last and not fits(last + "…"):
            last = last[:-1]
        lines[rows - 1 :] = [last.rstrip() + "…"]
    return lines


def spread(tops: Sequence[float], heights: Sequence[float], first: float, last: float) -> list[float]:
    """Return where blocks begin that are to stand near ``tops`` (in order) and must not overlap.

    They keep their order, move as little as that takes, and stay between ``first`` and ``last`` if they fit there.
    """
    groups: list[tuple[float, int, float]] = []  # the sum of where its blocks would have it begin, how many, its height

    def begins(group: tuple[float, int, float]) -> float:
        return max(first, min(group[0] / group[1], last - group[2]))

    for top, height in zip(tops, heights, strict=True):
        groups.append((top, 1, height))
        while len(groups) > 1 and begins(groups[-2]) + groups[-2][2] > begins(groups[-1]):
            wish, count, tall = groups.pop()
            above = groups.pop()
            groups.append((above[0] + wish - count * above[2], above[1] + count, above[2] + tall))
    found: list[float] = []
    for group in groups:
        at = begins(group)
        for height in heights[len(found) : len(found) + group[1]]:
            found.append(at)
            at += height
    return found


# Marks

Outline = tuple[tuple[float, float], ...]

OUTLINES: dict[TouchKind, Outline] = {
    TouchKind.START: ((-1, -0.85), (1, -0.85), (0, 1)),
    TouchKind.DRAW: ((-1, 0.85), (1, 0.85), (0, -1)),
    TouchKind.FINISH: ((-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)),
    TouchKind.CHANGEOVER: ((-0.85, -0.9), (0.85, -0.9), (0.85, 0.1), (0, 1), (-0.85, 0.1)),
    TouchKind.PUSH: ((0, -1.1), (1.1, 0), (0, 1.1), (-1.1, 0)),
    TouchKind.BAG_CHANGE: (
        (-0.45, -1), (0.45, -1), (0.45, -0.45), (1, -0.45), (1, 0.45), (0.45, 0.45),
        (0.45, 1), (-0.45, 1), (-0.45, 0.45), (-1, 0.45), (-1, -0.45), (-0.45, -0.45),
    ),
}  # fmt: skip
"""The shape of each kind of touch around its middle; a flush is a circle."""

CARE_OUTLINE: Outline = (
    (-0.85, -0.6), (-0.4, -0.6), (-0.4, -1.05), (0.4, -1.05), (0.4, -0.6), (0.85, -0.6), (0.85, 1), (-0.85, 1),
)  # fmt: skip
"""The shape of a care task: a board with its clip."""

CARE_MIDDLE = 0.2

MIDDLES = {TouchKind.START: -0.3, TouchKind.DRAW: 0.3, TouchKind.CHANGEOVER: -0.15}
"""How far below its middle a shape has most room inside."""

INSIDE = {
    Look.DONE: "M-.45 0L-.1 .38L.5 -.4",
    Look.LATE: "M-.4 -.12L-.1 .2L.45 -.5M-.45 .55H.45",
    Look.OVERDUE: "M0 -.55V.1M0 .42V.6",
    Look.UNCONFIRMED: "M-.36 -.28C-.36 -.78 .4 -.78 .38 -.26C.36 .04 0 .02 0 .26M0 .56V.64",
    Look.HELD: "M-.22 -.4V.4M.22 -.4V.4",
}
"""What stands inside a shape, by how things stand; lines around its middle."""

AROUND = {
    Look.SKIPPED: "M-1.15 1.15L1.15 -1.15",
    Look.MISSED: "M-1.15 1.15L1.15 -1.15M-1.15 -1.15L1.15 1.15",
}
"""What is drawn across a shape."""


def mark(
    parent: Element, kind: TouchKind | None, look: Look, middle: tuple[float, float], radius: float, prefix: str
) -> None:
    """Draw one touch, or a care task (no ``kind``): its kind is the shape, how things stand what is in and around it."""
    x, y = middle
    unit = radius * 0.6 if look is Look.NO_USE else radius
    recorded = look in (Look.DONE, Look.LATE)
    alert = look in (Look.OVERDUE, Look.ASK, Look.NO_USE)
    stroke = FACT if recorded else ALERT if alert else SOFT if look in AROUND else INK
    heavy = look in (Look.DUE, Look.OVERDUE)
    thick = radius * (0.28 if heavy else 0.17)
    fill = FACT if recorded else f"url(#{prefix}-half)" if look is Look.ASK else PAPER
    drawn: dict[str, str | float] = {"fill": fill, "stroke": stroke, "stroke_width": thick, "stroke_linejoin": "round"}
    if look is Look.NO_USE:
        node(parent, "circle", cx=x, cy=y, r=radius * 1.05, fill=PAPER, stroke=ALERT, stroke_width=radius * 0.24)
    outline = CARE_OUTLINE if kind is None else OUTLINES.get(kind)
    if outline is not None:
        points = " ".join(f"{decimal(x + px * unit)},{decimal(y + py * unit)}" for px, py in outline)
        node(parent, "polygon", points=points, **drawn)
    else:
        node(parent, "circle", cx=x, cy=y, r=unit * 0.95, **drawn)
    inner = y + (CARE_MIDDLE if kind is None else MIDDLES.get(kind, 0)) * radius
    line = PAPER if recorded else stroke
    if look is Look.DUE:
        node(parent, "circle", cx=x, cy=inner, r=radius * 0.3, fill=INK)
    if look in INSIDE:
        scale = radius * (0.8 if kind in (TouchKind.START, TouchKind.DRAW) else 1)
        _lines(parent, INSIDE[look], (x, inner), scale, line, 0.24)
    if look in AROUND:
        _lines(parent, AROUND[look], (x, y), radius, INK, 0.22)
    if look is Look.NO_USE:
        _lines(parent, "M-.74 .74L.74 -.74", (x, y), radius, ALERT, 0.24)


def _lines(parent: Element, path: str, middle: tuple[float, float], scale: float, stroke: str, width: float) -> None:
    place = f"translate({decimal(middle[0])} {decimal(middle[1])}) scale({decimal(scale)})"
    node(
        parent, "path", d=path, transform=place, fill="none", stroke=stroke, stroke_width=width, stroke_linecap="round"
    )  # fmt: skip


def closed_sign(parent: Element, why: Closed, middle: tuple[float, float], radius: float) -> None:
    """Draw the sign that stands where a lumen is closed to use: an octagon, which no touch has."""
    corner = radius * 0.42
    x, y = middle
    sides = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    points = []
    for index, (right, down) in enumerate(sides):
        flat, steep = (x + right * corner, y + down * radius), (x + right * radius, y + down * corner)
        points += [steep, flat] if index % 2 == 0 else [flat, steep]
    drawn = " ".join(f"{decimal(px)},{decimal(py)}" for px, py in points)
    urgent = why in (Closed.BLOCKED, Closed.PROBLEM)
    node(parent, "polygon", points=drawn, fill=ALERT if urgent else SOFT)
    path = {Closed.BLOCKED: "M-.5 0H.5", Closed.PROBLEM: INSIDE[Look.OVERDUE], Closed.HELD: INSIDE[Look.HELD]}
    _lines(parent, path.get(why, "M-.4 -.4L.4 .4M-.4 .4L.4 -.4"), middle, radius, PAPER, 0.28)


# Bars and patterns

DASHES = {Fill.ASK: "5 3", Fill.PAUSED: "2 3", Fill.UNKNOWN: "2 2"}


def bar(
    parent: Element, fill: Fill, box: tuple[float, float, float, float], prefix: str, *, open_ends: tuple[bool, bool]
) -> None:
    """Draw a piece of an infusion in ``box`` (x, y, width, height); an end that is open runs on beyond the window."""
    x, y, width, height = box
    if fill is Fill.PAUSED:
        middle = x + width / 2
        node(
            parent, "line", x1=middle, y1=y, x2=middle, y2=y + height, stroke=INK, stroke_width=2,
            stroke_dasharray=DASHES[fill],
        )  # fmt: skip
    else:
        inner = FACT if fill is Fill.RECORDED else f"url(#{prefix}-dots)" if fill is Fill.UNKNOWN else PAPER
        node(parent, "rect", x=x, y=y, width=width, height=height, fill=inner)
        top = f"M{decimal(x)} {decimal(y)}{'M' if open_ends[0] else 'H'}{decimal(x + width)}"
        top += f" {decimal(y)}" if open_ends[0] else ""
        bottom = f"V{decimal(y + height)}"
        bottom += f"M{decimal(x)} {decimal(y + height)}" if open_ends[1] else f"H{decimal(x)}"
        edge = node(parent, "path", d=f"{top}{bottom}V{decimal(y)}", fill="none", stroke=INK, stroke_width=1.5)
        if fill in DASHES:
            edge.set("stroke-dasharray", DASHES[fill])


def runs_on(parent: Element, x: float, y: float, *, down: bool) -> None:
    """Draw the arrow of an infusion that runs on beyond the window, from ``y`` on."""
    way = 1 if down else -1
    tip, wing = decimal(y + 11 * way), decimal(y + 6.5 * way)
    path = f"M{decimal(x)} {decimal(y)}V{tip}M{decimal(x - 4)} {wing}L{decimal(x)} {tip}L{decimal(x + 4)} {wing}"
    node(parent, "path", d=path, fill="none", stroke=INK, stroke_width=1.75)


def stop_line(parent: Element, x: float, width: float, y: float) -> None:
    """Draw the line across a bar's end that was stopped early."""
    node(parent, "line", x1=x - 3, y1=y, x2=x + width + 3, y2=y, stroke=INK, stroke_width=4)


PATTERNS = {Closed.BLOCKED: "M0 0L9 9M9 0L0 9", Closed.PROBLEM: "M2 4.5H7", Closed.HELD: "M0 0L9 9"}
"""The lines of the pattern of each stretch; the others share small crosses."""


def definitions(svg: Element, prefix: str) -> None:
    """Add the patterns that the signs refer to, under names that begin with ``prefix``."""
    defs = node(svg, "defs")
    night = node(defs, "pattern", id=f"{prefix}-night", width=8, height=8, patternUnits="userSpaceOnUse")
    node(night, "rect", width=8, height=8, fill=NIGHT)
    node(night, "path", d="M0 8L8 0", stroke=NIGHT_LINE, stroke_width=1)
    dots = node(defs, "pattern", id=f"{prefix}-dots", width=4, height=4, patternUnits="userSpaceOnUse")
    node(dots, "rect", width=4, height=4, fill=PAPER)
    node(dots, "circle", cx=2, cy=2, r=1, fill=INK)
    half = node(defs, "linearGradient", id=f"{prefix}-half", x1=0, y1=0, x2=0, y2=1)
    for at, colour in ((0, ALERT), (0.5, ALERT), (0.5, PAPER), (1, PAPER)):
        node(half, "stop", offset=at, stop_color=colour)
    for why in Closed:
        found = node(
            defs, "pattern", id=pattern_name(prefix, why), width=9, height=9, patternUnits="userSpaceOnUse"
        )  # fmt: skip
        node(found, "path", d=PATTERNS.get(why, "M3 4.5H6M4.5 3V6"), fill="none", stroke=SOFT, stroke_width=1)


def pattern_name(prefix: str, why: Closed) -> str:
    """Return the name of a stretch's pattern."""
    return f"{prefix}-{why.name.lower()}"
