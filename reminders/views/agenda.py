"""A range of days for people, lumen by lumen, in plain text."""

from collections.abc import Callable
from datetime import date, timedelta
from itertools import pairwise

from reminders import words
from reminders.schedule.model import Schedule, Touch
from reminders.times import DAY, Instant

Paint = Callable[[str, str], str]
"""Colours a text by its role: ``day``, ``lumen``, ``night`` or ``change``."""


def plain(text: str, role: str) -> str:
    """Leave a text as it is."""
    return text


def agenda(schedule: Schedule, first: date, last: date, paint: Paint = plain) -> str:
    """Return the agenda of the local days from ``first`` to ``last``, both included, with a final newline."""
    plan, clock = schedule.plan, schedule.plan.clock
    days = clock.day_starts(first, last + timedelta(days=1))
    lines: list[str] = []
    for (day, begin), (_, end) in pairwise(days):
        heading = words.day_words(day)
        marks = _marks(schedule, begin, end)
        lines.append(paint(heading, "day") + (paint("   " + "; ".join(marks), "change") if marks else ""))
        touches = [touch for touch in schedule.touches if begin <= touch.at < end]
        if not touches:
            lines.append(f"  {_nothing(schedule, begin, end)}")
        for name in plan.lumens:
            of_lumen = [touch for touch in touches if touch.lumen == name]
            if of_lumen:
                lines.append("  " + paint(words.lumen_words(plan, name), "lumen"))
                lines += [f"    {_line(touch, schedule, paint)}" for touch in of_lumen]
        lines.append("")
    if plan.course.note:
        lines += [words.note_words(plan.course.note), ""]
    lines += words.caution_lines(plan)
    return "\n".join(lines) + "\n"


def _line(touch: Touch, schedule: Schedule, paint: Paint) -> str:
    plan, clock = schedule.plan, schedule.plan.clock
    text = f"{words.clock_words(clock.local(touch.at))}  {words.agenda_words(touch, plan)}"
    if any(begin <= touch.at < end for begin, end in schedule.quiet):
        text += "  " + paint(words.IN_QUIET_HOURS, "night")
    return text


def _marks(schedule: Schedule, begin: Instant, end: Instant) -> list[str]:
    """Say what is unusual about a day's clock: a clock change, a change of zone."""
    plan, clock = schedule.plan, schedule.plan.clock
    marks = []
    left, right = clock.at(begin), clock.at(Instant(end - 1))
    if left is not right:
        marks.append(words.zone_change_words(right.key))
    elif end - begin != DAY:
        marks.append(words.clock_change_words(end - begin - DAY, end - begin))
    if any(begin <= change.at.instant < end for change in plan.zone_changes) and left is right:
        marks.append(words.zone_change_words(right.key))
    return marks


def _nothing(schedule: Schedule, begin: Instant, end: Instant) -> str:
    if end <= schedule.start:
        return words.BEFORE_PLAN
    if begin >= schedule.end:
        return words.AFTER_PLAN
    return words.NOTHING_DUE
