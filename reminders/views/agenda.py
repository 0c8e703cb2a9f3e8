"""A range of days for people, lumen by lumen and then the care tasks, in plain text."""

import textwrap
from collections.abc import Callable
from datetime import date, timedelta
from itertools import pairwise

from reminders import words
from reminders.care_words import CARE_TASKS, task_lines, task_title
from reminders.event_words import agenda_words, details
from reminders.schedule.model import Schedule
from reminders.times import Instant, local

WIDTH = 100
"""Letters in a line of running text."""

Paint = Callable[[str, str], str]
"""Colours a text by its role: ``day``, ``lumen``, ``night`` or ``change``."""


def plain(text: str, role: str) -> str:
    """Leave a text as it is."""
    return text


def agenda(
    schedule: Schedule, first: date, last: date, now: Instant, *, steps: bool = False, paint: Paint = plain
) -> str:
    """Return the agenda of the local days from ``first`` to ``last``, both included, with a final newline.

    Days outside the plan are left out. ``steps`` makes it fit to be printed: a heading with the moment ``now`` at which
    it is made, and for each touch its window, what to lay out, every step and the order's note; for each care task who
    does it, when, and with what.
    """
    plan, clock = schedule.plan, schedule.plan.clock
    begins, ends = clock.local(schedule.start), clock.local(schedule.end)
    last_events = [touch.at for touch in schedule.touches[-1:]] + [event.at for event in schedule.tasks[-1:]]
    final = max([schedule.end, *last_events])
    first, last = max(first, begins.date()), min(last, clock.local(final).date())
    if last < first:
        outside = words.OUTSIDE_PLAN.format(first=words.moment_words(begins), last=words.moment_words(ends))
        return outside + "\n"
    days = clock.day_starts(first, last + timedelta(days=1))
    lines = [*_wrapped([words.heading_words(plan, now)]), ""] if steps else []
    for (day, begin), (_, end) in pairwise(days):
        marks = _marks(schedule, begin, end)
        heading = paint(words.day_words(day), "day")
        lines.append(heading + (paint("   " + "; ".join(marks), "change") if marks else ""))
        touches = [touch for touch in schedule.touches if begin <= touch.at < end]
        tasks = [event for event in schedule.tasks if begin <= event.at < end]
        if not touches and not tasks:
            lines.append(f"  {words.NOTHING_DUE}")
        for name in plan.lumens:
            of_lumen = [touch for touch in touches if touch.lumen == name]
            if of_lumen:
                lines.append("  " + paint(words.lumen_words(plan, name), "lumen") + _closed(schedule, name, begin, end))
            for touch in of_lumen:
                lines.append(f"    {_timed(touch.at, agenda_words(touch), schedule, paint)}")
                if steps:
                    lines += _wrapped(details(touch, plan), " " * 8)
        if tasks:
            lines.append("  " + paint(CARE_TASKS, "lumen"))
        for event in tasks:
            lines.append(f"    {_timed(event.at, task_title(event), schedule, paint)}")
            if steps:
                lines += _wrapped(task_lines(event, plan), " " * 8)
        lines.append("")
    notes = words.as_needed_lines(schedule.revision)
    if plan.course.note:
        notes.append(words.note_words(plan.course.note))
    if notes:
        lines += [*_wrapped(notes), ""]
    return "\n".join([*lines, *_wrapped(words.caution_lines(plan))]) + "\n"


def _closed(schedule: Schedule, lumen: str, begin: Instant, end: Instant) -> str:
    """Say beside a lumen's name that it is not to be used on some of this day."""
    blocked = schedule.lumens[lumen].blocked
    return f"   {words.DO_NOT_USE}" if any(first < end and begin < last for first, last, _why in blocked) else ""


def _wrapped(texts: list[str], indent: str = "") -> list[str]:
    """Break texts for a terminal; a line that goes on stands two letters further in."""
    lines: list[str] = []
    for text in texts:
        lines += textwrap.wrap(
            text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_on_hyphens=False
        )
    return lines


def _timed(at: Instant, what: str, schedule: Schedule, paint: Paint) -> str:
    text = f"{words.clock_words(schedule.plan.clock.local(at))}  {what}"
    if any(begin <= at < end for begin, end in schedule.quiet):
        text += "  " + paint(words.IN_QUIET_HOURS, "night")
    return text


def _marks(schedule: Schedule, begin: Instant, end: Instant) -> list[str]:
    """Say what is unusual about a day's clock: a clock change, a move to another zone's clock."""
    clock = schedule.plan.clock
    marks = []
    for left, right, zone in clock.segments(begin, end):
        if left != begin:
            marks.append(words.zone_change_words(local(left, zone), zone.key))
        before, after = local(left, zone).utcoffset(), local(Instant(right - 1), zone).utcoffset()
        if before != after and before is not None and after is not None:
            marks.append(words.clock_change_words(int((before - after).total_seconds()) // 60, end - begin))
    return marks
