"""What the drawings of a day and of a week share: the frame, the hours, now, and what is drawn of a lane by the minute."""

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, tostring

from reminders.care_words import CARE_TASKS
from reminders.schedule.model import Schedule
from reminders.times import Instant
from reminders.views.timeline_care import AnyLane, AnyMark, CareLane
from reminders.views.timeline_clock import LocalDay, Scale
from reminders.views.timeline_lanes import Look
from reminders.views.timeline_shapes import (
    ALERT,
    GRID,
    INK,
    PAPER,
    ROW,
    SOFT,
    bar,
    decimal,
    definitions,
    length,
    node,
    pattern_name,
    runs_on,
    stop_line,
    titled,
    write,
)
from reminders.words import CATALOGUE, clock_words, lumen_words, zone_words

_ = CATALOGUE.gettext

MARGIN = 14
"""Room above and below the hours, for the arrows of what runs on."""
PLATE = 2 * ROW + 3
"""The height of the sign that says when now is."""


@dataclass(frozen=True, slots=True)
class Column:
    """A day's place in a drawing: its lanes side by side from ``x`` on, ``wide`` each, its hours by ``scale``.

    ``axis`` is where the hours are written that belong to it: from its left to its right edge.
    """

    shown: LocalDay
    lanes: tuple[AnyLane, ...]
    x: float
    wide: float
    scale: Scale
    axis: tuple[float, float]

    @property
    def right(self) -> float:
        """Return where its last lane ends."""
        return self.x + self.wide * len(self.lanes)

    @property
    def bottom(self) -> float:
        """Return where its last hour ends."""
        return self.scale.y(self.shown.end)

    def lefts(self) -> list[tuple[float, AnyLane]]:
        """Return each lane with its left edge."""
        return [(self.x + index * self.wide, found) for index, found in enumerate(self.lanes)]


def frame(prefix: str, heading: str, schedule: Schedule, lanes: Sequence[AnyLane], *, linked: bool = False) -> Element:
    """Return the outermost element; what holds links is a group of them, and otherwise the drawing is one image."""
    svg = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "class": "timeline"})
    svg.set("role", "group" if linked else "img")
    svg.set("aria-labelledby", f"{prefix}-title {prefix}-desc")
    names = [lumen_words(schedule.plan, name) for name in schedule.plan.lumens]
    names += [CARE_TASKS] if any(isinstance(drawn, CareLane) for drawn in lanes) else []
    marks = [found for drawn in lanes for found in drawn.marks]
    told = _(
        "A drawing. Time runs downwards; from left to right: {lumens}. Events: {all}; recorded as done: {done}."
    ).format(lumens=", ".join(names), all=len(marks), done=sum(found.look in (Look.DONE, Look.LATE) for found in marks))
    for tag, text in (("title", heading), ("desc", told)):
        titled(svg, text, tag=tag).set("id", f"{prefix}-{tag}")
    definitions(svg, prefix)
    node(svg, "rect", class_="paper", fill=PAPER)
    return svg


def finished(svg: Element, width: float, height: float) -> str:
    """Return the whole drawing as text, with a final newline, now that its size is known."""
    svg.set("viewBox", f"0 0 {decimal(width)} {decimal(height)}")
    svg.set("width", "100%")
    svg.set("direction", "ltr")
    svg.set("font-family", "Arial, Helvetica, sans-serif")
    paper = next(element for element in svg if element.get("class") == "paper")
    paper.set("width", decimal(width))
    paper.set("height", decimal(height))
    return tostring(svg, encoding="unicode") + "\n"


# The hours


def axis_width(shown: LocalDay) -> float:
    """Return how much room the words beside a day's hours take."""
    return 12 + max(length(text) for hour in shown.hours for text in (hour.clock, hour.zone))


def hour_lines(parent: Element, column: Column, *, every: int = 1) -> None:
    """Draw a line at each full hour (whose number is a multiple of ``every``), and one where the clock changes."""
    for hour in column.shown.hours:
        if int(hour.clock[:2]) % every == 0:
            y = column.scale.y(hour.at)
            node(parent, "line", class_="hour", x1=column.x, y1=y, x2=column.right, y2=y, stroke=GRID, stroke_width=1)
    for at, words in column.shown.changes:
        y = column.scale.y(at)
        line = node(
            parent, "line", class_="change", x1=column.x, y1=y, x2=column.right, y2=y, stroke=INK, stroke_width=2,
            stroke_dasharray="7 3 2 3",
        )  # fmt: skip
        titled(line, words)


def hour_words(parent: Element, column: Column, plate: float | None, *, every: int = 1) -> None:
    """Write the hours beside the lanes, where the sign of now (its top is ``plate``) leaves room for them."""
    shown, scale = column.shown, column.scale
    if not shown.mixed:
        write(parent, column.axis[1] - 5, scale.top - MARGIN, shown.hours[0].zone, fill=SOFT, anchor="end")
    free = scale.top - ROW
    for hour in shown.hours:
        rows = [hour.clock, hour.zone] if shown.mixed else [hour.clock]
        top, height = scale.y(hour.at) - 8, len(rows) * (ROW - 1) + 2
        hidden = plate is not None and top < plate + PLATE and plate < top + height
        if int(hour.clock[:2]) % every or top < free or hidden:
            continue
        for index, text in enumerate(rows):
            write(parent, column.axis[1] - 5, top + 12 + index * (ROW - 1), text, fill=SOFT, anchor="end")
        free = top + height


def plate_at(column: Column, now: Instant) -> float | None:
    """Return the top of the sign that says when now is, if the day holds it."""
    if not column.shown.begin <= now < column.shown.end:
        return None
    return min(max(column.scale.y(now) - PLATE / 2, column.scale.top), column.bottom - PLATE)


def now_line(parent: Element, schedule: Schedule, column: Column, now: Instant) -> None:
    """Draw now as a line through the day's lanes, with its time beside the hours, if the day holds it."""
    top = plate_at(column, now)
    if top is None:
        return
    moment = schedule.plan.clock.local(now)
    y, (left, edge) = column.scale.y(now), column.axis
    group = node(parent, "g", class_="now")
    titled(group, _("now: {moment}").format(moment=clock_words(moment)))
    for stroke, thick in ((PAPER, 5), (ALERT, 2)):
        node(group, "line", class_="at", x1=column.x, y1=y, x2=column.right, y2=y, stroke=stroke, stroke_width=thick)
    node(group, "rect", x=left + 1, y=top, width=edge - left - 3, height=PLATE, rx=3, fill=ALERT)
    rows = (f"{moment:%H:%M}", zone_words(moment)) if column.shown.mixed else (_("now"), f"{moment:%H:%M}")
    for index, text in enumerate(rows):
        write(group, (left + edge) / 2 - 0.5, top + 12 + index * ROW, text, bold=True, fill=PAPER, anchor="middle")


# One lane


def ground(parent: Element, schedule: Schedule, column: Column, prefix: str, edges: str) -> None:
    """Draw what lies under everything else: quiet hours, closed stretches, the edges of the lanes."""
    shown, scale, width = column.shown, column.scale, column.right - column.x
    for begin, end in schedule.quiet:
        first, last = max(begin, shown.begin), min(end, shown.end)
        if first >= last:
            continue
        box = _box(parent, (column.x, width), scale, first, last)
        box.set("class", "quiet")
        box.set("fill", f"url(#{prefix}-night)")
        for at in (begin, end):
            if shown.begin < at < shown.end:
                y = scale.y(at)
                node(parent, "line", x1=column.x, y1=y, x2=column.right, y2=y, stroke=SOFT, stroke_width=1)
    for x, drawn in column.lefts():
        for stretch in drawn.stretches:
            box = _box(parent, (x, column.wide), scale, stretch.begin, stretch.end)
            box.set("class", "closed")
            box.set("stroke", SOFT)
            box.set("fill", f"url(#{pattern_name(prefix, stretch.why)})")
            titled(box, stretch.words)
        edge = _box(parent, (x, column.wide), scale, shown.begin, shown.end)
        edge.set("fill", "none")
        edge.set("stroke", edges)
    if edges != SOFT:
        whole = _box(parent, (column.x, width), scale, shown.begin, shown.end)
        whole.set("fill", "none")
        whole.set("stroke", SOFT)


def _box(parent: Element, across: tuple[float, float], scale: Scale, first: Instant, last: Instant) -> Element:
    top, foot = scale.y(first), scale.y(last)
    return node(parent, "rect", x=across[0], y=top, width=across[1], height=foot - top)


def bars(parent: Element, drawn: AnyLane, across: tuple[float, float], scale: Scale, prefix: str) -> None:
    """Draw a lane's infusions; ``across``: where they begin, and how wide they are together."""
    for found in drawn.bars:
        wide = across[1] / found.places
        x, y = across[0] + found.place * wide, scale.y(found.begin)
        foot = scale.y(found.end)
        group = node(parent, "g", class_="run")
        titled(group, found.words)
        box = (x, y, max(wide - (1 if found.places > 1 else 0), 1), foot - y)
        bar(group, found.fill, box, prefix, open_ends=(found.before, found.after))
        if found.before:
            runs_on(group, x + wide / 2, y - 1, down=False)
        if found.after:
            runs_on(group, x + wide / 2, foot + 1, down=True)
        if found.stopped:
            stop_line(group, x, wide, foot)


def touch(parent: Element, found: AnyMark, spine: tuple[float, float], y: float, sign: tuple[float, float]) -> Element:
    """Add the group of a touch or care task: its words, a line at its instant, and from there one to where its sign found room."""
    group = node(parent, "g", class_="touch")
    titled(group, found.words)
    node(group, "line", class_="at", x1=spine[0], y1=y, x2=spine[1], y2=y, stroke=INK, stroke_width=1.5)
    way = f"M{decimal(spine[1])} {decimal(y)}V{decimal(sign[1])}H{decimal(sign[0])}"
    node(group, "path", class_="lead", d=way, fill="none", stroke=INK, stroke_width=1)
    return group
