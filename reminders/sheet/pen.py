"""A pen on one page of the sheet: lines, shapes, patterns and texts, with the distances from the page's top left corner."""

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from reportlab.pdfgen.canvas import Canvas

from reminders.sheet.letters import Style, printable, width

BLACK, WHITE = 0.0, 1.0
SOFT, PALE = 0.45, 0.78
"""Greys of lines that are not the matter itself; nothing is told by them alone."""

Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, top, width, height."""

COUNTS = {"M": 1, "L": 1, "C": 3}


class Pen:
    """Draws in points; y grows downwards from ``height``, where the page ends at its top."""

    def __init__(self, canvas: Canvas, height: float) -> None:
        """Draw on a canvas of the PDF library."""
        self.canvas: Any = canvas
        self._height = height

    @contextmanager
    def within(self, at: Point, scale: float = 1, turned: float = 0) -> Iterator["Pen"]:
        """Yield a pen whose corner is ``at``, ``scale`` times as large, turned by so many degrees to the left."""
        self.canvas.saveState()
        self.canvas.translate(at[0], self._height - at[1])
        self.canvas.rotate(turned)
        self.canvas.scale(scale, scale)
        yield Pen(self.canvas, 0)
        self.canvas.restoreState()

    def text(self, x: float, baseline: float, text: str, style: Style, anchor: str = "start") -> None:
        """Write one line of text; ``anchor`` is ``start``, ``middle`` or ``end``."""
        shown = printable(text)
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * width(shown, style)
        self.canvas.setFillGray(style.ink)
        self.canvas.setFont(style.face, style.size)
        self.canvas.drawString(left, self._height - baseline, shown)

    def line(self, start: Point, end: Point, thick: float = 1, ink: float = BLACK, dash: Sequence[float] = ()) -> None:
        """Draw a straight line."""
        self._line_style(thick, ink, dash)
        self.canvas.line(start[0], self._height - start[1], end[0], self._height - end[1])

    def box(
        self,
        box: Box,
        *,
        thick: float = 1,
        ink: float | None = BLACK,
        fill: float | None = None,
        dash: Sequence[float] = (),
        radius: float = 0,
    ) -> None:
        """Draw a rectangle, filled, outlined or both."""
        x, y, wide, high = box
        self._fill_style(fill)
        self._line_style(thick, BLACK if ink is None else ink, dash)
        place = (x, self._height - y - high, wide, high)
        drawn = {"stroke": int(ink is not None), "fill": int(fill is not None)}
        if radius:
            self.canvas.roundRect(*place, radius, **drawn)
        else:
            self.canvas.rect(*place, **drawn)

    def circle(
        self,
        middle: Point,
        radius: float,
        *,
        thick: float = 1,
        ink: float | None = BLACK,
        fill: float | None = None,
        dash: Sequence[float] = (),
    ) -> None:
        """Draw a circle."""
        self._fill_style(fill)
        self._line_style(thick, BLACK if ink is None else ink, dash)
        self.canvas.circle(
            middle[0], self._height - middle[1], radius, stroke=int(ink is not None), fill=int(fill is not None)
        )

    def path(
        self,
        text: str,
        *,
        at: Point = (0, 0),
        scale: float = 1,
        thick: float = 1,
        ink: float | None = BLACK,
        fill: float | None = None,
        dash: Sequence[float] = (),
    ) -> None:
        """Draw a path in the letters of SVG, all of them absolute: M, L, H, V, C and Z."""
        drawn = self._path(text, at, scale)
        self._fill_style(fill)
        self._line_style(thick, BLACK if ink is None else ink, dash)
        self.canvas.drawPath(drawn, stroke=int(ink is not None), fill=int(fill is not None))

    @contextmanager
    def inside(self, text: str, *, at: Point = (0, 0), scale: float = 1) -> Iterator[None]:
        """Let what is drawn meanwhile show inside a path only."""
        self.canvas.saveState()
        self.canvas.clipPath(self._path(text, at, scale), stroke=0, fill=0)
        yield
        self.canvas.restoreState()

    def hatch(self, box: Box, gap: float, ink: float, slopes: Sequence[int] = (1,), thick: float = 0.5) -> None:
        """Fill a rectangle with slanting lines, ``gap`` apart; slope 1 rises to the right, -1 falls, 0 is level."""
        x, y, wide, high = box
        if wide <= 0 or high <= 0:
            return
        for slope in slopes:
            if slope == 0:
                for step in range(1, int(high / gap) + 1):
                    self.line((x, y + step * gap - gap / 2), (x + wide, y + step * gap - gap / 2), thick, ink)
                continue
            for start, end in _slants(wide, high, gap):
                ends = [(x + px, y + (py if slope > 0 else high - py)) for px, py in (start, end)]
                self.line(ends[0], ends[1], thick, ink)

    def dots(self, box: Box, gap: float, radius: float = 0.6) -> None:
        """Fill a rectangle with dots: dashes of no length with round ends."""
        x, y, wide, high = box
        self._line_style(2 * radius, BLACK, (0, gap))
        self.canvas.setLineCap(1)
        for row in range(int(high / gap)):
            level = self._height - y - (row + 0.5) * gap
            self.canvas.line(x + gap / 2, level, x + wide - gap / 2, level)

    def _path(self, text: str, at: Point, scale: float) -> Any:
        def place(point: Point) -> Point:
            return at[0] + point[0] * scale, self._height - at[1] - point[1] * scale

        drawn = self.canvas.beginPath()
        here: Point = (0, 0)
        for letter, rest in re.findall(r"([MLHVCZ])([^MLHVCZ]*)", text):
            numbers = [float(number) for number in re.findall(r"-?\.?\d+\.?\d*", rest)]
            if letter == "Z":
                drawn.close()
            elif letter in "HV":
                here = (numbers[-1], here[1]) if letter == "H" else (here[0], numbers[-1])
                drawn.lineTo(*place(here))
            else:
                points = list(zip(numbers[::2], numbers[1::2], strict=True))
                for first in range(0, len(points), COUNTS[letter]):
                    group = points[first : first + COUNTS[letter]]
                    here = group[-1]
                    if letter == "M" and first == 0:
                        drawn.moveTo(*place(here))
                    elif letter == "C":
                        drawn.curveTo(*(value for point in group for value in place(point)))
                    else:
                        drawn.lineTo(*place(here))
        return drawn

    def _fill_style(self, fill: float | None) -> None:
        if fill is not None:
            self.canvas.setFillGray(fill)

    def _line_style(self, thick: float, ink: float, dash: Sequence[float]) -> None:
        self.canvas.setLineWidth(thick)
        self.canvas.setStrokeGray(ink)
        self.canvas.setDash(list(dash))
        self.canvas.setLineJoin(1)
        self.canvas.setLineCap(0 if dash else 1)


def _slants(wide: float, high: float, gap: float) -> Iterator[tuple[Point, Point]]:
    """Yield the slanting lines of a rectangle that begins at its corner, at 45 degrees."""
    step = gap
    while step < wide + high:
        start = (max(0.0, step - high), min(step, high))
        end = (min(step, wide), max(0.0, step - wide))
        yield start, end
        step += gap
