"""The signs of the drawn week in black and white: touches, infusions, closed stretches.

Shapes and what stands in them are those of the page's drawing; here nothing but black, white and patterns is used, and
no sign differs from another by its grey alone.
"""

from reminders.schedule.model import TouchKind
from reminders.sheet.pen import BLACK, PALE, SOFT, WHITE, Box, Pen, Point
from reminders.views.timeline_lanes import Closed, Fill, Look
from reminders.views.timeline_shapes import AROUND, DASHES, INSIDE, MIDDLES, OUTLINES

CIRCLE = (
    "M0 -.95C.525 -.95 .95 -.525 .95 0C.95 .525 .525 .95 0 .95C-.525 .95 -.95 .525 -.95 0C-.95 -.525 -.525 -.95 0 -.95Z"
)
"""The shape of a flush, which has no outline of its own."""

DASH = {fill: [float(part) for part in dashes.split()] for fill, dashes in DASHES.items()}


def touch_mark(pen: Pen, kind: TouchKind, look: Look, middle: Point, radius: float) -> None:
    """Draw one touch: its kind is the shape, how things stand with it what is in and around it."""
    unit = radius * 0.6 if look is Look.NO_USE else radius
    recorded = look in (Look.DONE, Look.LATE)
    thick = radius * (0.28 if look in (Look.DUE, Look.OVERDUE) else 0.2)
    fill = BLACK if recorded else WHITE
    if look is Look.NO_USE:
        pen.circle(middle, radius * 1.05, thick=radius * 0.24, fill=WHITE)
    path = "M" + "L".join(f"{x} {y}" for x, y in OUTLINES[kind]) + "Z" if kind in OUTLINES else CIRCLE
    pen.path(path, at=middle, scale=unit, ink=None, fill=fill)
    if look is Look.ASK:
        with pen.inside(path, at=middle, scale=unit):
            pen.box((middle[0] - 2 * unit, middle[1] - 2 * unit, 4 * unit, 2 * unit), ink=None, fill=BLACK)
    pen.path(path, at=middle, scale=unit, thick=thick)
    inner = (middle[0], middle[1] + MIDDLES.get(kind, 0) * radius)
    if look is Look.DUE:
        pen.circle(inner, radius * 0.3, ink=None, fill=BLACK)
    if look in INSIDE:
        _inside(pen, INSIDE[look], kind, inner, radius, WHITE if recorded else BLACK)
    if look in AROUND:
        pen.path(AROUND[look], at=middle, scale=radius, thick=radius * 0.22)
    if look is Look.NO_USE:
        pen.path("M-.74 .74L.74 -.74", at=middle, scale=radius, thick=radius * 0.24)


def _inside(pen: Pen, path: str, kind: TouchKind, middle: Point, radius: float, ink: float) -> None:
    scale = radius * (0.8 if kind in (TouchKind.START, TouchKind.DRAW) else 1)
    pen.path(path, at=middle, scale=scale, thick=0.2 * radius, ink=ink)


def infusion(pen: Pen, fill: Fill, box: Box, *, open_ends: tuple[bool, bool] = (False, False)) -> None:
    """Draw a piece of an infusion; an end that is open runs on beyond the day."""
    x, y, wide, high = box
    if fill is Fill.PAUSED:
        pen.line((x + wide / 2, y), (x + wide / 2, y + high), 1.5, BLACK, DASH[fill])
        return
    pen.box(box, ink=None, fill=BLACK if fill is Fill.RECORDED else WHITE)
    if fill is Fill.UNKNOWN:
        pen.dots(box, 2.5)
    if fill is Fill.PLANNED:
        pen.hatch(box, 4, SOFT, (0,), 0.6)
    dash = DASH.get(fill, ())
    for left in (x, x + wide):
        pen.line((left, y), (left, y + high), 1, BLACK, dash)
    for top, is_open in ((y, open_ends[0]), (y + high, open_ends[1])):
        if not is_open:
            pen.line((x, top), (x + wide, top), 1, BLACK, dash)


def stopped(pen: Pen, x: float, wide: float, y: float) -> None:
    """Draw the line across the end of an infusion that was stopped early."""
    pen.line((x - 2, y), (x + wide + 2, y), 3)


def runs_on(pen: Pen, x: float, y: float, *, down: bool) -> None:
    """Draw the arrow of an infusion that runs on beyond the day, from ``y`` on."""
    way = 1 if down else -1
    pen.path(f"M0 0V{8 * way}M-3 {5 * way}L0 {8 * way}L3 {5 * way}", at=(x, y), thick=1.2)


SLOPES: dict[Closed, tuple[int, ...]] = {
    Closed.BLOCKED: (1, -1),
    Closed.PROBLEM: (0,),
    Closed.HELD: (-1,),
    Closed.UNUSED: (0, -1),
    Closed.REMOVED: (0, 1),
}
"""Which way the lines of the pattern of each stretch run; outside the plan are dots."""


def closed(pen: Pen, why: Closed, box: Box) -> None:
    """Fill a stretch in which a lumen is closed to use with its own pattern."""
    if why in SLOPES:
        pen.hatch(box, 4 if why is Closed.BLOCKED else 6, SOFT, SLOPES[why])
    else:
        pen.dots(box, 5, 0.4)
    pen.box(box, thick=0.6)


def night(pen: Pen, box: Box) -> None:
    """Fill quiet hours with thin slanting lines."""
    pen.hatch(box, 5, PALE, (1,), 0.5)
