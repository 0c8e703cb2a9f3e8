"""Reads a drawn timeline back out of its SVG: which signs stand where, and in which colours."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from xml.etree.ElementTree import Element, fromstring

from reminders.schedule.model import Schedule
from reminders.times import Instant

NS = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Sign:
    """A group of the drawing: what it is of, its words, the height of its instant, its texts, the group itself."""

    sort: str
    words: str
    y: float
    texts: tuple[str, ...]
    element: Element

    @property
    def colours(self) -> set[str]:
        """Return all fills and strokes in it."""
        return {value for part in self.element.iter() for key, value in part.items() if key in ("fill", "stroke")}

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Return the box around its sign and its texts (left, top, right, bottom), without the lines that lead to it."""
        boxes = [box for part in self.element.iter() if part.tag != f"{NS}line" for box in boxes_of(part)]
        lefts, tops, rights, foots = zip(*boxes, strict=True)
        return min(lefts), min(tops), max(rights), max(foots)


class Drawing:
    """A timeline, parsed."""

    def __init__(self, svg: str) -> None:
        """Parse it; text that is no XML raises ParseError."""
        self.root = fromstring(svg)
        box = [float(number) for number in self.root.attrib["viewBox"].split()]
        self.width, self.height = box[2], box[3]

    def of(self, sort: str) -> list[Sign]:
        """Return the groups of a class, in the order in which they are drawn."""
        return [_sign(group, sort) for group in self.root.iter(f"{NS}g") if group.get("class") == sort]

    def lines(self, sort: str) -> list[float]:
        """Return the heights of the lines of a class."""
        return [float(line.attrib["y1"]) for line in self.root.iter(f"{NS}line") if line.get("class") == sort]

    def boxes(self, sort: str) -> list[tuple[float, float]]:
        """Return from where to where down the rectangles of a class reach."""
        return [
            (float(box.attrib["y"]), float(box.attrib["y"]) + float(box.attrib["height"]))
            for box in self.root.iter(f"{NS}rect")
            if box.get("class") == sort
        ]

    def texts(self) -> list[str]:
        """Return all texts that are drawn."""
        return [text.text or "" for text in self.root.iter(f"{NS}text")]


def _sign(group: Element, sort: str) -> Sign:
    words = group.find(f"{NS}title")
    line = next((line for line in group.iter(f"{NS}line") if line.get("class") == "at"), None)
    return Sign(
        sort,
        "" if words is None else words.text or "",
        float("nan") if line is None else float(line.attrib["y1"]),
        tuple(text.text or "" for text in group.iter(f"{NS}text")),
        group,
    )


def boxes_of(part: Element) -> Iterator[tuple[float, float, float, float]]:
    """Yield the box around one element that is placed by plain numbers."""
    has = {key: float(value) for key, value in part.items() if re.fullmatch(r"-?[\d.]+", value)}
    if part.tag == f"{NS}rect":
        yield has["x"], has["y"], has["x"] + has["width"], has["y"] + has["height"]
    elif part.tag == f"{NS}circle":
        yield has["cx"] - has["r"], has["cy"] - has["r"], has["cx"] + has["r"], has["cy"] + has["r"]
    elif part.tag == f"{NS}line":
        yield min(has["x1"], has["x2"]), min(has["y1"], has["y2"]), max(has["x1"], has["x2"]), max(has["y1"], has["y2"])
    elif part.tag == f"{NS}polygon":
        points = [tuple(map(float, point.split(","))) for point in part.attrib["points"].split()]
        across, down = zip(*points, strict=True)
        yield min(across), min(down), max(across), max(down)
    elif part.tag == f"{NS}text" and part.get("text-anchor") is None:
        # Arial's letters are about half as wide as high, which is enough to see what runs out of the drawing.
        yield has["x"], has["y"] - has["font-size"], has["x"] + 0.5 * has["font-size"] * len(part.text or ""), has["y"]


def day_span(schedule: Schedule, day: date) -> tuple[Instant, Instant]:
    """Return when a local day begins and ends, from the zones' midnights alone; one that the clocks skip is the minute
    after the gap.

    Raises:
        NoMidnightError: a journey leaps over that midnight, or back behind it, so that the clock does not say when the day begins.
    """
    return _midnight(schedule, day), _midnight(schedule, day + timedelta(days=1))


class NoMidnightError(Exception):
    """A midnight never comes, or comes twice."""


def _midnight(schedule: Schedule, day: date) -> Instant:
    clock = schedule.plan.clock
    zones = {clock.at(at) for at in (schedule.start, *clock.changes)}
    candidates = {int(datetime.combine(day, time(), zone).timestamp()) // 60 for zone in zones}
    found = [at for at in candidates if clock.local(Instant(at - 1)).date() < day == clock.local(Instant(at)).date()]
    if len(found) != 1:
        raise NoMidnightError(day)
    return Instant(found[0])


def luminance(colour: str) -> float:
    """Return the relative luminance of ``#rrggbb`` (WCAG 2.2, W3C Recommendation, definition of relative luminance)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, W3C Recommendation, definition of contrast ratio)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
