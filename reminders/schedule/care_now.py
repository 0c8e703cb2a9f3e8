"""Care tasks at a moment: which of them wait to be done or answered, and what comes next (R20, S14).

A draw through a lumen is a touch; to whoever speaks of the task it is one occurrence of it, like any other.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from reminders.plan.care import Doer
from reminders.schedule.happened import within
from reminders.schedule.model import BLOCKS, Outcome, Schedule, Status, TaskEvent, Touch, TouchKind
from reminders.schedule.status import status, task_status, window
from reminders.times import Instant

CareEvent = TaskEvent | Touch
"""One occurrence of a care task: an event of its own, or the touch of a lumen in which it is."""


class CareWait(Enum):
    """In which way a care task waits to be answered."""

    DUE = "it is to be done now, or somebody is to come"
    PERHAPS = "its time has passed: it may have been done"
    ASK_FIRST = "it goes with a dose about which somebody must be asked first"
    NOT_NOW = "it goes with a dose that must not be given now"


@dataclass(frozen=True, slots=True)
class CareWaiting:
    """One care task that waits. ``late``: its time has passed."""

    event: TaskEvent
    wait: CareWait
    late: bool


@dataclass(frozen=True, slots=True)
class CareNow:
    """The care tasks at one moment, but for draws through a lumen.

    ``held``: the line is looked after elsewhere, and they see to it. ``waits``: what waits to be answered, in order of time;
    ``next``: the next occurrence of each task that does not wait, likewise.
    """

    held: bool = False
    waits: tuple[CareWaiting, ...] = ()
    next: tuple[TaskEvent, ...] = ()


def care_now(schedule: Schedule, now: Instant) -> CareNow:
    """Return how things stand with the care tasks at ``now``; after the line's removal nothing is due."""
    if schedule.removed is not None and now >= schedule.removed:
        return CareNow()
    waits = []
    following: dict[str, TaskEvent] = {}
    for events in by_task(schedule).values():
        for event in events:
            if event.outcome is not None:
                continue
            how = task_status(event, schedule, now)
            if how in (Status.DUE, Status.OVERDUE):
                waits.append(CareWaiting(event, _wait(event, how), how is Status.OVERDUE))
            elif how is Status.PLANNED and _wait(event, how) is not CareWait.NOT_NOW:
                following.setdefault(event.task, event)
    for found in waits:
        following.pop(found.event.task, None)
    if away(schedule, now):
        waits = []  # while the line is looked after elsewhere they do it there (S14)
    return CareNow(
        away(schedule, now),
        tuple(sorted(waits, key=lambda found: (found.event.planned, found.event.task))),
        tuple(sorted(following.values(), key=lambda event: (event.at, event.task))),
    )


def _wait(event: TaskEvent, how: Status) -> CareWait:
    asks = () if event.dose is None else event.dose.asks
    if any(ask.why in BLOCKS for ask in asks):
        return CareWait.NOT_NOW
    if asks:
        return CareWait.ASK_FIRST
    return CareWait.PERHAPS if how is Status.OVERDUE else CareWait.DUE


def by_task(schedule: Schedule) -> Mapping[str, list[TaskEvent]]:
    """Return the occurrences of each care task that are events of their own, by its name, as they were planned."""
    found: dict[str, list[TaskEvent]] = defaultdict(list)
    for event in schedule.tasks:
        found[event.task].append(event)
    for events in found.values():
        events.sort(key=lambda event: event.planned)
    return found


def away(schedule: Schedule, now: Instant) -> bool:
    """Say whether the line is looked after elsewhere, such as in a hospital."""
    return any(within(state.held, now) for state in schedule.lumens.values())


def occurrences_of(schedule: Schedule, name: str) -> list[CareEvent]:
    """Return every occurrence of one task, draws through a lumen among them, as they were planned."""
    found: list[CareEvent] = [event for event in schedule.tasks if event.task == name]
    found += [touch for touch in schedule.touches if name in touch.tasks]
    return sorted(found, key=lambda event: event.planned)


def care_status(event: CareEvent, schedule: Schedule, now: Instant) -> Status:
    """Return how things stand with an occurrence; blood that was drawn was, whether or not the flush after it is recorded."""
    if isinstance(event, TaskEvent):
        return task_status(event, schedule, now)
    if event.outcome is Outcome.DONE:
        return Status.DONE if event.at <= window(event)[1] else Status.LATE
    return status(event, schedule, now)


def by_others(event: CareEvent) -> bool:
    """Say whether somebody from outside does a task: a nurse, a clinic or laboratory, the pharmacy."""
    if isinstance(event, TaskEvent):
        return event.care.done_by is not Doer.HOUSEHOLD
    tasks = [event.plan.tasks[name] for name in event.tasks]
    return bool(tasks) and all(task.done_by is not Doer.HOUSEHOLD for task in tasks)


def drawn_by_others(touch: Touch) -> bool:
    """Say whether a touch is a planned draw, still to come, that somebody from outside does: they flush it too."""
    return touch.kind is TouchKind.DRAW and touch.outcome is None and by_others(touch)
