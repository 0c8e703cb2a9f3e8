"""A day or a week of a schedule as a drawing: time runs downwards, one lane for each lumen.

Where it holds care tasks, they have a lane of their own after those.

Each function returns one ``<svg>`` element as text, to be put into a page as it is. It holds no script, no style and
nothing from elsewhere. It draws its own white ground, so that it is the same in the dark, on paper and without colours.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import ceil
from xml.etree.ElementTree import Element

from reminders.care_words import CARE_TASKS
from reminders.schedule.model import Schedule
from reminders.times import Instant
from reminders.views.timeline_care import AnyLane, AnyMark, care_lane, kind_of
from reminders.views.timeline_clock import LocalDay, Scale, local_days
from reminders.views.timeline_frame import (
    MARGIN,
    Column,
    axis_width,
    bars,
    finished,
    frame,
    ground,
    hour_lines,
    hour_words,
    now_line,
    plate_at,
    touch,
)
from reminders.views.timeline_lanes import Lane, Look, Stretch, lane
from reminders.views.timeline_legend import legend
from reminders.views.timeline_shapes import (
    ALERT,
    INK,
    NIGHT_LINE,
    PAPER,
    ROW,
    SOFT,
    closed_sign,
    decimal,
    length,
    mark,
    node,
    runs_on,
    spread,
    wrapped,
    write,
)
from reminders.words import CATALOGUE, MONTH_NAMES, WEEKDAY_NAMES, clock_words, day_words, lumen_words

_ = CATALOGUE.gettext

WIDTH = 356
"""The width that a day is meant for, in units that are pixels on a small phone; more lumens than three need more."""
SHEET = 680
"""The width with which a day fills one sheet of A4 or letter paper, upright."""
DAY_LANE, DAY_HOUR = 104, 34
"""The least width of a lumen's lane in a day, and the least height of an hour."""
PHONE_HOUR, SHEET_HOUR = 56, 38
"""How high an hour may grow so that signs stand near their instants: a phone scrolls, a sheet is full."""
SPINE, BELOW, BESIDE, ROOMY = 15.5, 17, 36, 100
"""Where in a lane of a day the line at an instant ends, where rows begin below a sign and beside it, and how much room
beside a time is enough for what it is the time of."""
HALF, FAR = 10, 20
"""How far above the middle of its sign a block begins, and how far from its instant a sign may well stand."""
WEEK_LANE, WEEK_DAY, WEEK_HOUR = 15, 45, 24
"""The width of a lumen's lane in a week, the least width of a day, and the least height of an hour."""
WEEK_MARK = 11.0
"""The height of a mark in a week."""
LABELS = 70
"""The most room for the label of a lumen above its lane in a week."""


def day_anchor(day: date) -> str:
    """Return the place in the page that a day of the week links to."""
    return f"#day-{day.isoformat()}"


def day_timeline(schedule: Schedule, day: date, now: Instant, width: int = WIDTH) -> str:
    """Return one local day, of 23, 24 or 25 hours, as SVG; ``now`` decides statuses and is drawn if the day holds it.

    ``width`` is meant in pixels at full size: that of a phone, or :data:`SHEET` to be printed. It grows with the lanes.
    """
    plan = schedule.plan
    shown = local_days(plan.clock, day, 1)[0]
    lanes = _lanes(schedule, [shown], now)[0]
    axis = axis_width(shown)
    wide = max(DAY_LANE, (width - 1 - axis) / len(lanes))
    across = axis + wide * len(lanes) + 1
    prefix = f"timeline-day-{day.isoformat()}"
    svg = frame(prefix, _("Timeline of {day}").format(day=day_words(day)), schedule, lanes)
    y = _heading(svg, day_words(day), [note[0].upper() + note[1:] for _at, note in shown.changes], across)
    called = [lumen_words(plan, drawn.name) if isinstance(drawn, Lane) else CARE_TASKS for drawn in lanes]
    names = [wrapped(name, wide - 8, 3, 13, bold=True) for name in called]
    y += max(map(len, names)) * (ROW + 1) + 4
    for index, rows in enumerate(names):
        for row, text in enumerate(rows):
            foot = y - (len(rows) - 1 - row) * (ROW + 1)
            write(svg, axis + index * wide + 4, foot, text, size=13, bold=True)
    blocks = [_blocks(schedule, shown, drawn, wide) for drawn in lanes]
    scale = Scale(
        shown.begin, y + MARGIN + 4, _hour_height(blocks, shown, SHEET_HOUR if width >= SHEET else PHONE_HOUR)
    )
    column = Column(shown, lanes, axis, wide, scale, (0, axis))
    ground(svg, schedule, column, prefix, SOFT)
    hour_lines(svg, column)
    for x, drawn in column.lefts():
        bars(svg, drawn, (x + 3, 10), scale, prefix)
    now_line(svg, schedule, column, now)
    hour_words(svg, column, plate_at(column, now))
    for (x, _drawn), found in zip(column.lefts(), blocks, strict=True):
        for block, middle in zip(found, _middles(found, scale, column.bottom), strict=True):
            block.draw(svg, x, scale.y(block.at), middle, prefix)
    y = legend(svg, schedule, [shown], lanes, now, prefix, (column.bottom + 2 * MARGIN, across))
    return finished(svg, across, y)


def week_timeline(
    schedule: Schedule, first: date, now: Instant, link: Callable[[date], str] | None = day_anchor
) -> str:
    """Return seven local days from ``first`` on, side by side, as SVG.

    ``link`` says where the heading of a day leads; without it the drawing is one image with nothing in it to follow.
    """
    plan = schedule.plan
    days = local_days(plan.clock, first, 7)
    lanes = _lanes(schedule, days, now)
    every = [drawn for found in lanes for drawn in found]
    prefix = f"timeline-week-{first.isoformat()}"
    span = _("{first} to {last}").format(first=day_words(first), last=day_words(first + timedelta(days=6)))
    heading = _("Timeline of {span}").format(span=span)
    svg = frame(prefix, heading, schedule, every, linked=link is not None)
    drawing = node(svg, "g", aria_hidden="true") if link is not None else svg
    count = len(lanes[0])
    axes, lefts, width = _places(days, count)
    notes = [_("{day}: {note}").format(day=day_words(day.day), note=note) for day in days for _at, note in day.changes]
    top = _heading(drawing, span, notes, width) + 8
    called = [plan.lumens[drawn.name].label if isinstance(drawn, Lane) else CARE_TASKS for drawn in lanes[0]]
    labels = [wrapped(name, LABELS, 1)[0] for name in called]
    y = top + 34 + max(map(length, labels)) + 6
    needed = max(WEEK_MARK * len(drawn.marks) for drawn in every)
    hour = max(WEEK_HOUR, needed * 60 / min(day.end - day.begin for day in days))
    wide = max(WEEK_LANE, WEEK_DAY / count)
    columns = [
        Column(day, drawn, left, wide, Scale(day.begin, y + MARGIN, hour), axis)
        for day, drawn, left, axis in zip(days, lanes, lefts, axes, strict=True)
    ]
    for column in columns:
        _column(drawing, schedule, column, now, prefix)
        _day_head(svg, drawing, column, (top, y), labels, link)
    for axis in dict.fromkeys(axes):
        served = [column for column in columns if column.axis == axis]
        plates = [at for column in served if (at := plate_at(column, now)) is not None]
        hour_words(drawing, served[0], next(iter(plates), None), every=3)
    bottom = max(column.bottom for column in columns)
    y = legend(drawing, schedule, days, every, now, prefix, (bottom + 2 * MARGIN, width))
    return finished(svg, width, y)


def _lanes(schedule: Schedule, days: Sequence[LocalDay], now: Instant) -> list[tuple[AnyLane, ...]]:
    """Return the lanes of each day: of all lumens and, if any of the days holds care tasks, theirs."""
    names = list(schedule.plan.lumens)
    found: list[tuple[AnyLane, ...]] = [
        tuple(lane(schedule, name, day.begin, day.end, now) for name in names) for day in days
    ]
    care = [care_lane(schedule, day.begin, day.end, now) for day in days]
    return [(*group, tasks) for group, tasks in zip(found, care, strict=True)] if any(t.marks for t in care) else found


def _heading(parent: Element, heading: str, notes: Iterable[str], width: float) -> float:
    """Write what the drawing is of, and what is unusual about its clock; return the last base line."""
    write(parent, 8, 20, heading, size=16, bold=True)
    y = 20.0
    for note in notes:
        for line in wrapped(note, width - 16, 4):
            y += ROW + 1
            write(parent, 8, y, line)
    return y


# What stands beside the bars of a day


@dataclass(frozen=True, slots=True)
class _Block:
    """What stands beside a lane's bar: a sign, the time in bold beside it, and rows of text, each with whether it is
    urgent. ``left`` says where the rows begin in the lane: below the time, or ``beside`` it."""

    at: Instant
    head: tuple[str, ...]
    rows: tuple[tuple[str, bool], ...]
    left: float
    beside: bool
    sign: AnyMark | Stretch | None = None

    @property
    def height(self) -> float:
        """Return how high it is."""
        count = max(len(self.head), len(self.rows)) if self.beside else len(self.head) + len(self.rows)
        return 21.0 + (max(count, 1) - 1) * ROW

    def draw(self, parent: Element, x: float, y: float, middle: float, prefix: str) -> None:
        """Draw it in the lane that begins at ``x``, for an instant at ``y``, with its sign at the height ``middle``."""
        if isinstance(self.sign, AnyMark):
            group = touch(parent, self.sign, (x + 2, x + SPINE), y, (x + 18, middle))
        else:
            group = node(parent, "g", class_="note")
        texts = [(x + (BESIDE if row == 0 else BELOW), row, text, True, INK) for row, text in enumerate(self.head)]
        below = 0 if self.beside else len(self.head)
        for row, (text, urgent) in enumerate(self.rows, start=below):
            texts.append((x + self.left, row, text, urgent, ALERT if urgent else INK))
        for left, row, text, bold, _fill in texts:
            width = length(text, bold=bold) + 1.5
            node(group, "rect", x=left - 0.5, y=middle - 7 + row * ROW, width=width, height=ROW, fill=PAPER)
        if isinstance(self.sign, AnyMark):
            mark(group, kind_of(self.sign), self.sign.look, (x + 26, middle), 7.5, prefix)
        elif self.sign is not None:
            closed_sign(group, self.sign.why, (x + 26, middle), 8)
        else:
            runs_on(group, x + 26, middle - 6, down=True)
        for left, row, text, bold, fill in texts:
            write(group, left, middle + 4 + row * ROW, text, bold=bold, fill=fill)


ALERTS = frozenset({Look.ASK, Look.NO_USE, Look.OVERDUE})


def _blocks(schedule: Schedule, shown: LocalDay, drawn: AnyLane, wide: float) -> list[_Block]:
    """Return what stands beside one lane's bars, in order of time."""
    found = []
    for stretch in drawn.stretches:
        first = _time(schedule, shown, stretch.begin) if stretch.begin > shown.begin else _("goes on")
        rows = [(line, stretch.urgent) for line in stretch.lines]
        found.append(_block(stretch.begin, first, rows, wide, stretch))
    found += [_block(run.begin, _("goes on"), [(run.drug, False)], wide) for run in drawn.bars if run.before]
    for one in drawn.marks:
        rows = [(one.what, False), *((text, one.look in ALERTS) for text in one.state)]
        found.append(_block(one.at, _time(schedule, shown, one.at), rows, wide, one))
    return sorted(found, key=lambda block: block.at)


def _middles(blocks: Sequence[_Block], scale: Scale, bottom: float) -> list[float]:
    """Return at which height the sign of each block finds room."""
    tops = [scale.y(block.at) - HALF for block in blocks]
    return [top + HALF for top in spread(tops, [block.height for block in blocks], scale.top, bottom)]


def _hour_height(lanes: Sequence[Sequence[_Block]], shown: LocalDay, grown: int) -> float:
    """Return how high an hour must be: all blocks find room, and stand near their instants where up to ``grown`` helps."""

    def farthest(hour: float) -> float:
        scale = Scale(shown.begin, 0, hour)
        return max(
            abs(middle - scale.y(block.at))
            for found in lanes
            for block, middle in zip(found, _middles(found, scale, scale.y(shown.end)), strict=True)
        )

    hours = (shown.end - shown.begin) / 60
    least = ceil(max(DAY_HOUR, *(sum(block.height for block in found) / hours for found in lanes)))
    if not any(lanes):
        return least
    most = max(least, grown)
    near = max(FAR, farthest(most) + 4)  # some stand far off at any height, such as three at one instant
    return next((hour for hour in range(least, most) if farthest(hour) <= near), most)


def _block(
    at: Instant, first: str, rows: Iterable[tuple[str, bool]], wide: float, sign: AnyMark | Stretch | None = None
) -> _Block:
    """Break rows for a lane: they stand beside the time where the lane is wide, and below it elsewhere."""
    left = BESIDE + length(first, bold=True) + 6
    beside = wide - left >= ROOMY
    left = left if beside else BELOW
    head = [first] if beside else wrapped(first, wide - BESIDE - 1, 2, bold=True)
    told = [(line, urgent) for text, urgent in rows for line in wrapped(text, wide - left - 0.5, 3, bold=urgent)]
    return _Block(at, tuple(head), tuple(told), left, beside, sign)


def _time(schedule: Schedule, shown: LocalDay, at: Instant) -> str:
    moment = schedule.plan.clock.local(at)
    return clock_words(moment) if shown.mixed else f"{moment:%H:%M}"


# The week


def _places(days: Sequence[LocalDay], lumens: int) -> tuple[list[tuple[float, float]], list[float], float]:
    """Return for each day the edges of the hours that belong to it and its own left edge, and the width of all.

    Hours are written anew before a day whose clock does not show the same ones at the same distances.
    """
    across = max(WEEK_LANE * lumens, WEEK_DAY) + 3
    axes, lefts = [(0.0, axis_width(days[0]) - 2)], [axis_width(days[0]) - 2]
    for before, day in pairwise(days):
        x = lefts[-1] + across
        axis = axes[-1]
        if day.face != before.face:
            axis = (x, x + axis_width(day) - 2)
            x = axis[1]
        axes.append(axis)
        lefts.append(x)
    return axes, lefts, lefts[-1] + across


def _column(parent: Element, schedule: Schedule, column: Column, now: Instant, prefix: str) -> None:
    scale = column.scale
    ground(parent, schedule, column, prefix, NIGHT_LINE)
    hour_lines(parent, column, every=3)
    for x, drawn in column.lefts():
        bars(parent, drawn, (x + 2.5, 4.5), scale, prefix)
    now_line(parent, schedule, column, now)
    for x, drawn in column.lefts():
        marks: Sequence[AnyMark] = drawn.marks
        tops = [scale.y(one.at) - WEEK_MARK / 2 for one in marks]
        placed = spread(tops, [WEEK_MARK] * len(tops), scale.top, column.bottom)
        for one, top in zip(marks, placed, strict=True):
            middle = top + WEEK_MARK / 2
            group = touch(parent, one, (x + 1.5, x + 7.5), scale.y(one.at), (x + 8, middle))
            mark(group, kind_of(one), one.look, (x + 10.7, middle), 4.2, prefix)


def _day_head(
    svg: Element,
    drawing: Element,
    column: Column,
    room: tuple[float, float],
    labels: Sequence[str],
    link: Callable[[date], str] | None,
) -> None:
    """Write a day's name, as a link if it leads somewhere, and below it its lumens, turned on their side."""
    day, (y, foot) = column.shown.day, room
    parent = drawing
    if link is not None:
        parent = node(svg, "a", href=link(day))
        parent.set("aria-label", day_words(day))
        width = column.right - column.x
        node(parent, "rect", x=column.x, y=y, width=width, height=32, fill=PAPER, stroke=SOFT, stroke_width=1, rx=3)
    rows = (WEEKDAY_NAMES[day.weekday()], f"{day.day} {MONTH_NAMES[day.month - 1]}")
    for row, text in enumerate(rows):
        write(parent, (column.x + column.right) / 2, y + 13 + row * ROW, text, bold=row == 0, anchor="middle")
        parent[-1].tail = " "  # so that the link is read as it is named
    for (x, _drawn), label in zip(column.lefts(), labels, strict=True):
        place = f"translate({decimal(x + column.wide / 2 + 4)} {decimal(foot)}) rotate(-90)"
        write(node(drawing, "g", transform=place), 0, 0, label)
