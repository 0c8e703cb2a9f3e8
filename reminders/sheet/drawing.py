"""The week as a drawing: seven days side by side, time runs downwards, each lumen a lane; as on the page, for paper.

It is drawn from the same lanes and hours as the page's, and in black and white.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from reminders.plan.model import Plan
from reminders.schedule.model import Schedule, TouchKind
from reminders.sheet import marks
from reminders.sheet.flow import Drawn, wrapped
from reminders.sheet.letters import BOLD, REGULAR, Style, width
from reminders.sheet.pen import PALE, SOFT, WHITE, Box, Pen
from reminders.sheet.week import Week, lumens_told, touches_of
from reminders.times import Instant
from reminders.views.timeline_clock import LocalDay, Scale
from reminders.views.timeline_lanes import Closed, Fill, Lane, Look, lane
from reminders.views.timeline_legend import KIND_WORDS
from reminders.views.timeline_shapes import spread
from reminders.words import CATALOGUE, MONTH_NAMES, WEEKDAY_NAMES

_ = CATALOGUE.gettext

HOURS, NAMES, DAY, KEY = Style(REGULAR, 9, 11), Style(REGULAR, 10, 12), Style(BOLD, 12, 14), Style(REGULAR, 11, 14)
AXIS, MIXED_AXIS = 30.0, 34.0
"""How much room the hours take that stand beside a day, and those of a day with more than one zone's letters."""
HOUR, MOST_HOUR = 14.0, 21.0
"""How high an hour is, and how high it may become so that marks find room."""
MARK, LEAST_MARK = 11.0, 4.0
"""How high a mark and its room are, and how low they may become where very many stand in one day."""
TIMED = 38.0
"""How wide a lane must be so that the time finds room beside a mark."""
ENDS = 10.0
"""Room above and below the hours, for the arrows of what runs on."""
LABEL = 64.0
"""The most room for a lumen's label above its lane, where it stands on its side."""

Entry = tuple[Callable[[Pen, float, float], None], str]


@dataclass(frozen=True, slots=True)
class _Column:
    """A day's place in the drawing: its lanes from ``x`` on, ``wide`` each; hours beside it from ``axis`` on, if any."""

    shown: LocalDay
    lanes: tuple[Lane, ...]
    x: float
    wide: float
    axis: float | None

    @property
    def right(self) -> float:
        return self.x + self.wide * len(self.lanes)


def week_drawing(
    schedule: Schedule, week: Week, printed: Instant, wide: float, high: float, *, filled: bool = False
) -> Drawn:
    """Return the drawing of a week, as of the moment at which it is printed, at most ``high`` points high.

    It is as low as its marks allow, or ``filled``: as high as helps.
    """
    plan = schedule.plan
    days = [day for day in week.local_days if day.begin < day.end]
    used = {touch.lumen for touch in touches_of(schedule, week)} | {lumen.name for lumen in lumens_told(schedule)}
    names = [name for name in plan.lumens if name in used]
    lanes = [tuple(lane(schedule, name, day.begin, day.end, printed) for name in names) for day in days]
    columns = _columns(days, lanes, wide)
    every = [found for group in lanes for found in group]
    entries = _legend(schedule, days, every)
    rows = _legend_rows(entries, wide)
    above = 2 * DAY.leading + _label_room(plan, columns[0].wide) + ENDS
    below = ENDS + 8 + sum(row for row, _entries in rows)
    longest = max(day.end - day.begin for day in days) / 60
    most = max(len(found.marks) for found in every)
    needed = MOST_HOUR if filled else max(HOUR, most * MARK / longest)
    hour = min(needed, MOST_HOUR, (high - above - below) / longest)
    size = max(LEAST_MARK, min(MARK, hour * longest / max(most, 1)))

    def paint(pen: Pen, box: Box) -> None:
        with pen.within((box[0], box[1])) as inner:
            for column in columns:
                _draw_day(inner, schedule, column, Scale(column.shown.begin, above, hour), size)
            _draw_legend(inner, rows, above + hour * longest + ENDS + 8)

    return Drawn(above + hour * longest + below, paint)


def _columns(days: Sequence[LocalDay], lanes: Sequence[tuple[Lane, ...]], wide: float) -> list[_Column]:
    """Place the days; hours are written anew before a day whose clock does not show the same ones at the same distances."""
    fresh = [True, *(after.face != before.face for before, after in pairwise(days))]
    axes = [(MIXED_AXIS if day.mixed else AXIS) if new else 0.0 for day, new in zip(days, fresh, strict=True)]
    gap = 4.0
    each = (wide - sum(axes) - gap * (len(days) - 1)) / len(days) / len(lanes[0])
    columns, x = [], 0.0
    for day, drawn, axis in zip(days, lanes, axes, strict=True):
        columns.append(_Column(day, drawn, x + axis, each, x if axis else None))
        x += axis + each * len(drawn) + gap
    return columns


def _label_room(plan: Plan, wide: float) -> float:
    labels = [lumen.label for lumen in plan.lumens.values()]
    if len(labels) == 1:
        return NAMES.leading + 2
    return min(LABEL, max(width(label, NAMES) for label in labels)) + 6


def _draw_day(pen: Pen, schedule: Schedule, column: _Column, scale: Scale, size: float) -> None:
    shown, top, foot = column.shown, scale.top, scale.y(column.shown.end)
    middle = (column.x + column.right) / 2
    pen.text(middle, DAY.size, WEEKDAY_NAMES[shown.day.weekday()], DAY, "middle")
    date = f"{shown.day.day} {MONTH_NAMES[shown.day.month - 1]}"
    pen.text(middle, DAY.size + DAY.leading, date, NAMES, "middle")
    _draw_labels(pen, schedule.plan, column, top - ENDS - 3)
    for begin, end in schedule.quiet:
        first, last = max(begin, shown.begin), min(end, shown.end)
        if first < last:
            y = scale.y(first)
            marks.night(pen, (column.x, y, column.right - column.x, scale.y(last) - y))
    _draw_hours(pen, column, scale)
    pen.box((column.x, top, column.right - column.x, foot - top), thick=1)
    for index, drawn in enumerate(column.lanes):
        _draw_lane(pen, schedule, drawn, (column.x + index * column.wide, column.wide), scale, foot, size)
    for index in range(1, len(column.lanes)):
        x = column.x + index * column.wide
        pen.line((x, top), (x, foot), 0.5, SOFT)
    for at, _words in shown.changes:
        pen.line((column.x, scale.y(at)), (column.right, scale.y(at)), 1.6, dash=(7, 3, 2, 3))


def _draw_labels(pen: Pen, plan: Plan, column: _Column, foot: float) -> None:
    """Write the lumens above their lanes: turned on their side where there is more than one."""
    labels = [plan.lumens[drawn.name].label for drawn in column.lanes]
    if len(labels) == 1:
        text = _shortened(labels[0], column.wide)
        pen.text(column.x + column.wide / 2, foot, text, NAMES, "middle")
        return
    for index, label in enumerate(labels):
        with pen.within((column.x + (index + 0.5) * column.wide + NAMES.size * 0.36, foot), turned=90) as inner:
            inner.text(0, 0, _shortened(label, LABEL), NAMES)


def _shortened(text: str, room: float) -> str:
    """Leave out the end of what is too long; the lumen's whole name stands on the first page."""
    if width(text, NAMES) <= room:
        return text
    while text and width(text + "…", NAMES) > room:
        text = text[:-1]
    return text.rstrip() + "…"


def _draw_hours(pen: Pen, column: _Column, scale: Scale) -> None:
    shown = column.shown
    rows = 2 if shown.mixed else 1
    free = scale.top - HOURS.leading
    for hour in shown.hours:
        third = int(hour.clock[:2]) % 3 == 0
        y = scale.y(hour.at)
        pen.line((column.x, y), (column.right, y), 0.7 if third else 0.4, SOFT if third else PALE)
        if column.axis is None or not third or y - 4 < free:
            continue
        texts = [hour.clock, hour.zone][:rows]
        for row, text in enumerate(texts):
            pen.text(column.x - 3, y + 3.2 + row * (HOURS.leading - 1), text, HOURS, "end")
        free = y + 4 + (rows - 1) * HOURS.leading
    if column.axis is not None and not shown.mixed:
        pen.text(column.x - 3, scale.top - ENDS, shown.hours[0].zone, HOURS, "end")


def _draw_lane(
    pen: Pen, schedule: Schedule, drawn: Lane, place: tuple[float, float], scale: Scale, foot: float, size: float
) -> None:
    x, wide = place
    for stretch in drawn.stretches:
        top = scale.y(stretch.begin)
        marks.closed(pen, stretch.why, (x, top, wide, scale.y(stretch.end) - top))
    bars = min(6.0, wide / 3)
    for run in drawn.bars:
        each = bars / run.places
        left, top, end = x + 2 + run.place * each, scale.y(run.begin), scale.y(run.end)
        across = max(each - (1 if run.places > 1 else 0), 1)
        marks.infusion(pen, run.fill, (left, top, across, end - top), open_ends=(run.before, run.after))
        if run.before:
            marks.runs_on(pen, left + across / 2, top - 1, down=False)
        if run.after:
            marks.runs_on(pen, left + across / 2, end + 1, down=True)
        if run.stopped:
            marks.stopped(pen, left, across, end)
    spine, timed = x + bars + 3, wide >= TIMED and size >= MARK
    radius = min(4.2, (wide - bars - 7) / 2, size * 0.42)
    middle = x + bars + 6 + radius if timed else (spine + 1 + x + wide - 1) / 2
    tops = [scale.y(one.at) - size / 2 for one in drawn.marks]
    for one, top in zip(
        drawn.marks, spread(tops, [size] * len(tops), scale.top - size / 2, foot + size / 2), strict=True
    ):
        y = scale.y(one.at)
        centre = (middle, top + size / 2)
        pen.line((x + 1, y), (spine, y), 1)
        pen.line((spine, y), centre, 0.7)
        if timed:
            clock = f"{schedule.plan.clock.local(one.at):%H:%M}"
            left = middle + radius + 2
            pen.box((left - 0.5, centre[1] - 4.5, width(clock, HOURS) + 1, 9), ink=None, fill=WHITE)
            pen.text(left, centre[1] + 3.2, clock, HOURS)
        marks.touch_mark(pen, one.kind, one.look, centre, radius)


# What the signs mean


def _legend(schedule: Schedule, days: Sequence[LocalDay], lanes: Sequence[Lane]) -> list[Entry]:
    found = [one for drawn in lanes for one in drawn.marks]
    kinds, looks = {one.kind for one in found}, {one.look for one in found}
    entries: list[Entry] = [(_mark(kind, Look.PLANNED), KIND_WORDS[kind]) for kind in TouchKind if kind in kinds]
    if looks - {Look.PLANNED}:
        entries += [(_mark(TouchKind.IDLE_FLUSH, look), look.value) for look in Look if look in looks]
    fills = {run.fill for drawn in lanes for run in drawn.bars}
    entries += [(_bar(fill), fill.value) for fill in Fill if fill in fills]
    if any(run.stopped for drawn in lanes for run in drawn.bars):
        entries.append((lambda pen, x, y: marks.stopped(pen, x - 4, 8, y), _("stopped early")))
    if any(run.before or run.after for drawn in lanes for run in drawn.bars):
        entries.append((lambda pen, x, y: marks.runs_on(pen, x, y - 4, down=True), _("runs on")))
    why = {stretch.why for drawn in lanes for stretch in drawn.stretches}
    entries += [(_closed(reason), reason.value) for reason in Closed if reason in why]
    if any(begin < day.end and day.begin < end for begin, end in schedule.quiet for day in days):
        entries.append((_night, _("quiet hours")))
    if any(day.changes for day in days):
        line = lambda pen, x, y: pen.line((x - 9, y), (x + 9, y), 1.6, dash=(7, 3, 2, 3))  # noqa: E731
        entries.append((line, _("the clock changes")))
    return entries


def _mark(kind: TouchKind, look: Look) -> Callable[[Pen, float, float], None]:
    return lambda pen, x, y: marks.touch_mark(pen, kind, look, (x, y), 5)


def _bar(fill: Fill) -> Callable[[Pen, float, float], None]:
    return lambda pen, x, y: marks.infusion(pen, fill, (x - 3, y - 6, 6, 12))


def _closed(why: Closed) -> Callable[[Pen, float, float], None]:
    return lambda pen, x, y: marks.closed(pen, why, (x - 9, y - 6, 18, 12))


def _night(pen: Pen, x: float, y: float) -> None:
    marks.night(pen, (x - 9, y - 6, 18, 12))
    pen.box((x - 9, y - 6, 18, 12), thick=0.6, ink=SOFT)


COUNT = 3
"""So many columns has the legend."""


def _legend_rows(
    entries: Sequence[Entry], wide: float
) -> list[tuple[float, list[tuple[float, Entry, tuple[str, ...]]]]]:
    """Return the rows of the legend: the height of each, and its entries with their left edge and broken words."""
    each = wide / COUNT
    rows = []
    for first in range(0, len(entries), COUNT):
        row = [
            (index * each, entry, wrapped(entry[1], KEY, each - 30))
            for index, entry in enumerate(entries[first : first + COUNT])
        ]
        rows.append((max(len(lines) for _left, _entry, lines in row) * KEY.leading + 4, row))
    return rows


def _draw_legend(
    pen: Pen, rows: Sequence[tuple[float, Sequence[tuple[float, Entry, tuple[str, ...]]]]], top: float
) -> None:
    for high, row in rows:
        for left, (draw, _words), lines in row:
            draw(pen, left + 10, top + 8)
            for index, line in enumerate(lines):
                pen.text(left + 24, top + 12 + index * KEY.leading, line, KEY)
        top += high
