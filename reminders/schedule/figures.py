"""How often a schedule interrupts a household: touches, sessions, and those of them in quiet hours."""

from collections.abc import Iterable
from dataclasses import dataclass

from reminders.schedule.model import Schedule, TouchKind
from reminders.times import Instant


@dataclass(frozen=True, slots=True)
class Figures:
    """How often a schedule interrupts a household.

    A session is all touches at one instant. ``idle_sessions`` consist of idle flushes only; ``night`` counts sessions
    in quiet hours, ``night_idle`` those of them that consist of idle flushes only.
    """

    touches: int
    idle_flushes: int
    sessions: int
    idle_sessions: int
    night: int
    night_idle: int


def figures(schedule: Schedule) -> Figures:
    """Count a schedule's touches and sessions."""
    sessions: dict[Instant, bool] = {}
    idle_flushes = 0
    for touch in schedule.touches:
        idle = touch.kind is TouchKind.IDLE_FLUSH
        idle_flushes += idle
        sessions[touch.at] = sessions.get(touch.at, True) and idle
    asleep = _within(sessions, schedule.quiet)
    return Figures(
        touches=len(schedule.touches),
        idle_flushes=idle_flushes,
        sessions=len(sessions),
        idle_sessions=sum(sessions.values()),
        night=len(asleep),
        night_idle=sum(sessions[at] for at in asleep),
    )


def _within(instants: Iterable[Instant], spans: Iterable[tuple[Instant, Instant]]) -> list[Instant]:
    remaining = iter(spans)
    begin, end = next(remaining, (None, None))
    found = []
    for at in sorted(instants):
        while end is not None and at >= end:
            begin, end = next(remaining, (None, None))
        if begin is not None and at >= begin:
            found.append(at)
    return found
