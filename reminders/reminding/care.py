"""Care tasks as matters that somebody is told of: ahead, at their time, and again until they are answered (R20).

None of them is urgent. Nobody is woken for one that goes by the clock or comes round again: it waits for the end of the quiet
hours. One that goes with a dose is told at its time. Somebody who is to come is asked about once, at the end of that time.
"""

from collections.abc import Iterator
from datetime import timedelta

from reminders.record.facts import Record
from reminders.reminding.matters import Matter, Sort
from reminders.reminding.quiet import awake, awake_before
from reminders.schedule.care_now import away, by_others, by_task
from reminders.schedule.model import BLOCKS, Outcome, Schedule, TaskEvent
from reminders.schedule.status import task_window, waits_until
from reminders.schedule.whole_line import dressing_signs
from reminders.times import HOUR, Instant

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
        moments = tuple(_each_day(event.planned, schedule)) if event.dose is None else ()
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


def dressing_matters(schedule: Schedule, record: Record, now: Instant) -> list[Matter]:
    """Return what is wrong with the dressing and was not seen to, in order of time: asked about calmly, once a day.

    ``record`` is the one that the schedule was made with. Whoever has just reported it was told what to do.
    """
    if (schedule.removed is not None and now >= schedule.removed) or away(schedule, now):
        return []
    found = []
    for fact in dressing_signs(record, schedule):
        at = awake(schedule.quiet, Instant(fact.happened + HOUR))
        found.append(
            Matter(
                key=f"dressing {fact.key}@{at}",
                sort=Sort.DRESSING,
                lumen="",
                at=at,
                repeats=schedule.plan.course.household_records,
                sign=fact,
                moments=tuple(_each_day(at, schedule)),
            )
        )
    return found


def _each_day(at: Instant, schedule: Schedule) -> Iterator[Instant]:
    """Yield the time of day of a moment on each day after it, for some days and not beyond the plan's end."""
    clock = schedule.plan.clock
    wall = clock.local(at).replace(tzinfo=None)
    for day in range(1, DAYS_AFTER + 1):
        moment = awake(schedule.quiet, clock.first_showing(wall + timedelta(days=day)))
        if moment < schedule.end:
            yield moment
