"""What the signs of a timeline mean: a legend of those that occur in it, and of no others."""

from collections.abc import Callable, Sequence
from xml.etree.ElementTree import Element

from reminders.schedule.model import Schedule, TouchKind
from reminders.times import Instant
from reminders.views.timeline_care import CARE_TASK, AnyLane, CareMark
from reminders.views.timeline_clock import LocalDay
from reminders.views.timeline_lanes import Closed, Fill, Look, Mark
from reminders.views.timeline_shapes import (
    ALERT,
    INK,
    ROW,
    SOFT,
    bar,
    mark,
    node,
    pattern_name,
    runs_on,
    stop_line,
    wrapped,
    write,
)
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

KIND_WORDS = {
    TouchKind.START: _("start"),
    TouchKind.FINISH: _("finish"),
    TouchKind.CHANGEOVER: _("finish and start"),
    TouchKind.PUSH: _("push by hand"),
    TouchKind.BAG_CHANGE: _("change the bag"),
    TouchKind.IDLE_FLUSH: _("flush"),
    TouchKind.DRAW: _("blood draw"),
}

COLUMN = 160
"""The room of a column at least, where there are four."""
GAP = 6
"""Room between two entries."""

Entry = tuple[Callable[[Element, float, float], None], str]
"""What draws a sign around a point, and what it means."""

Group = tuple[str, list[Entry]]
"""Entries of one sort under their heading."""


def legend(
    parent: Element,
    schedule: Schedule,
    days: Sequence[LocalDay],
    lanes: Sequence[AnyLane],
    now: Instant,
    prefix: str,
    place: tuple[float, float],
) -> float:
    """Write the legend below ``place`` (its top, and the drawing's width), in two columns or four; return its end."""
    top, width = place
    group = node(parent, "g", class_="legend")
    what, how, runs, besides = _groups(schedule, days, lanes, now, prefix)
    columns = [[what], [how], [runs], [besides]] if width >= 4 * COLUMN else [[what, runs], [how, besides]]
    wide = (width - 16) / len(columns)
    ends = [_column(group, (8 + wide * index, top), wide, told) for index, told in enumerate(columns)]
    return max(ends)


def _column(parent: Element, place: tuple[float, float], width: float, groups: Sequence[Group]) -> float:
    x, y = place
    for heading, entries in groups:
        if not entries:
            continue
        write(parent, x, y + ROW, heading, bold=True)
        y += ROW + GAP
        for draw, words in entries:
            rows = wrapped(words, width - 34, 3)
            draw(parent, x + 12, y + 8)
            for index, text in enumerate(rows):
                write(parent, x + 28, y + 12 + index * ROW, text)
            y += len(rows) * ROW + GAP
        y += GAP
    return y


def _groups(
    schedule: Schedule, days: Sequence[LocalDay], lanes: Sequence[AnyLane], now: Instant, prefix: str
) -> tuple[Group, Group, Group, Group]:
    marks = [found for lane in lanes for found in lane.marks]
    bars = [found for lane in lanes for found in lane.bars]
    kinds, looks = {found.kind for found in marks if isinstance(found, Mark)}, {found.look for found in marks}
    what = [(_mark_sign(kind, Look.PLANNED, prefix), KIND_WORDS[kind]) for kind in TouchKind if kind in kinds]
    if any(isinstance(found, CareMark) for found in marks):
        what.append((_mark_sign(None, Look.PLANNED, prefix), CARE_TASK))
    how = [(_mark_sign(TouchKind.IDLE_FLUSH, look, prefix), look.value) for look in Look if look in looks]
    fills = {found.fill for found in bars}
    runs: list[Entry] = [(_bar_sign(fill, prefix), fill.value) for fill in Fill if fill in fills]
    if any(found.stopped for found in bars):
        runs.append((lambda parent, x, y: stop_line(parent, x - 5, 10, y), _("stopped early")))
    if any(found.before or found.after for found in bars):
        runs.append((lambda parent, x, y: runs_on(parent, x, y - 6, down=True), _("runs on")))
    closed = {stretch.why for lane in lanes for stretch in lane.stretches}
    besides: list[Entry] = [(_box(pattern_name(prefix, why)), why.value) for why in Closed if why in closed]
    if any(begin < day.end and day.begin < end for begin, end in schedule.quiet for day in days):
        besides.append((_box(f"{prefix}-night"), _("quiet hours")))
    if any(day.begin <= now < day.end for day in days):
        besides.append((_line(ALERT, ""), _("now")))
    if any(day.changes for day in days):
        besides.append((_line(INK, "7 3 2 3"), _("the clock changes")))
    return (_("What"), what), (_("How it stands"), how), (_("Infusions"), runs), (_("Also shown"), besides)


def _mark_sign(kind: TouchKind | None, look: Look, prefix: str) -> Callable[[Element, float, float], None]:
    return lambda parent, x, y: mark(parent, kind, look, (x, y), 7, prefix)


def _bar_sign(fill: Fill, prefix: str) -> Callable[[Element, float, float], None]:
    return lambda parent, x, y: bar(parent, fill, (x - 5, y - 8, 10, 16), prefix, open_ends=(False, False))


def _box(pattern: str) -> Callable[[Element, float, float], None]:
    def draw(parent: Element, x: float, y: float) -> None:
        node(parent, "rect", x=x - 11, y=y - 8, width=22, height=16, fill=f"url(#{pattern})", stroke=SOFT)

    return draw


def _line(colour: str, dashes: str) -> Callable[[Element, float, float], None]:
    def draw(parent: Element, x: float, y: float) -> None:
        line = node(parent, "line", x1=x - 11, y1=y, x2=x + 11, y2=y, stroke=colour, stroke_width=2)
        if dashes:
            line.set("stroke-dasharray", dashes)

    return draw
