"""Care tasks as matters that somebody is told of: ahead, at their time, and again until they are answered (R20).

None of them is urgent. Nobody is woken for one that goes by the clock or comes round again: it waits for the end of the quiet
hours. One that goes with a dose is told at its time. Somebody who is to come is asked about once, at the end of that time.
"""

from collections.abc import Iterator
from datetime import timedelta

from reminders.reminding.matters import Matter, Sort
from reminders.reminding.quiet import awake, awake_before
from reminders.schedule.care_now import away, by_others, by_task
from reminders.schedule.model import BLOCKS, Outcome, Schedule, TaskEvent
from reminders.schedule.status import task_window, waits_until
from reminders.times import Instant, instant_of

DAYS_AFTER = 7
"""For so many days a task that nobody has answered is asked about once a day; then it stays on the page only."""


def care_matters(schedule: Schedule, now: Instant) -> list[Matter]:
    """Return the care tasks that are open at ``now``, and those that lie ahead, in order of time; no draws through a lumen."""
    if schedule.removed is not None and now >= schedule.removed:
        return []
    held = away(schedule, now)  # they do it there (S14)
    found: list[Matter] = []
    for events in by_task(schedule).values():
        following: TaskEvent | None = None  # the nearest after it
        done: TaskEvent | None = None  # one after it that was done
        for event in reversed(events):
            later = [other for other in (following, done) if other is not None]
            if event.outcome is None and not (held and event.planned <= now):
                found += _matters(event, later, schedule, now)
            if event.outcome is Outcome.DONE:
                done = event
            following = event
    return sorted(found, key=lambda matter: (matter.at, matter.key))


def _matters(event: TaskEvent, later: list[TaskEvent], schedule: Schedule, now: Instant) -> Iterator[Matter]:
    plan = schedule.plan
    until = waits_until(event, later)
    asks = () if event.dose is None else event.dose.asks
    gone = schedule.removed is not None and event.planned >= schedule.removed
    if until <= now or gone or any(ask.why in BLOCKS for ask in asks):
        return  # what must not be given is said of its lumen
    sort = Sort.ASK_FIRST if asks else Sort.OTHERS if by_others(event) else Sort.TASK
    at = event.planned if event.dose is not None else awake(schedule.quiet, event.planned)
    closes = task_window(event)[1]
    if sort is Sort.OTHERS:
        moments: tuple[Instant, ...] = (awake_before(schedule.quiet, max(closes, at), at),)
    else:
        moments = tuple(_each_day(event, schedule)) if event.dose is None else ()
    yield Matter(
        key=f"{event.uid}@{event.planned}",
        sort=sort,
        lumen="",
        at=at,
        until=until,
        repeats=plan.course.household_records,
        task=event,
        moments=moments,
    )


def _each_day(event: TaskEvent, schedule: Schedule) -> Iterator[Instant]:
    """Yield the task's time of day on each day after it, for some days and not beyond the plan's end."""
    clock = schedule.plan.clock
    wall = clock.local(event.planned).replace(tzinfo=None)
    for day in range(1, DAYS_AFTER + 1):
        there = wall + timedelta(days=day)
        home = instant_of(there, clock.home)[0]
        moment = awake(schedule.quiet, instant_of(there, clock.at(home))[0])
        if moment < schedule.end:
            yield moment
