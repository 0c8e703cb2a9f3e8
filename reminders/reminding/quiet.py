"""Quiet hours as instants: which of them an instant lies in, and when somebody is told who should not be woken."""

from bisect import bisect_right

from reminders.schedule.model import Spans
from reminders.times import Instant


def asleep(quiet: Spans, at: Instant) -> tuple[Instant, Instant] | None:
    """Return the quiet hours in which an instant lies, None where it lies in none."""
    index = bisect_right(quiet, at, key=lambda span: span[0]) - 1
    return quiet[index] if index >= 0 and at < quiet[index][1] else None


def awake(quiet: Spans, at: Instant) -> Instant:
    """Return an instant, or the end of the quiet hours in which it lies."""
    sleep = asleep(quiet, at)
    return at if sleep is None else sleep[1]


def awake_before(quiet: Spans, at: Instant, after: Instant) -> Instant:
    """Return an instant; the last minute before the quiet hours in which it lies, if that is after ``after``, else their end."""
    sleep = asleep(quiet, at)
    if sleep is None:
        return at
    return Instant(sleep[0] - 1) if sleep[0] - 1 > after else sleep[1]
