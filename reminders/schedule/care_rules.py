"""When a care task comes round again (R20): so many hours or days after it was done, on weekdays, around holidays.

Days are those of the household's clock where it is then; hours are elapsed time.
"""

from datetime import date, datetime, timedelta

from reminders.plan.care import CareTask, Instead
from reminders.plan.model import Plan
from reminders.times import Instant, instant_of

LONGEST_SEARCH = 370
"""Days: a weekday comes round within so many, however many of them are days on which nothing can be done."""


def _at(task: CareTask, plan: Plan, day: date) -> Instant:
    """Return the task's time of day on a date, on the clock of where the household is then."""
    assert task.at is not None, "a task by the clock without a time of day does not pass the checks"
    wall = datetime.combine(day, task.at)
    at = instant_of(wall, plan.clock.home)[0]
    return instant_of(wall, plan.clock.at(at))[0]


def _possible(task: CareTask, day: date) -> date | None:
    """Return the day on which what is due on a day is done; None for not at all."""
    step = {Instead.BEFORE: -1, Instead.AFTER: 1}.get(task.instead or Instead.NOT, 0)
    while day in task.not_on:
        if not step:
            return None
        day += timedelta(days=step)
    return day


def in_hours(every: int, base: Instant, after: Instant, begins: Instant) -> Instant:
    """Return when a task is due so many minutes after it was done; at once where that was before the plan begins."""
    at = Instant(base + every)
    if at > after:
        return at
    return begins if after < begins else Instant(at + -(-(after + 1 - at) // every) * every)


def in_days(task: CareTask, plan: Plan, base: Instant, after: Instant, begins: Instant) -> Instant:
    """Return when a task is due so many days after it was done; a day on which it cannot be done moves or drops it."""
    assert task.every_days is not None
    day = plan.clock.local(base).date()
    while True:
        day += timedelta(days=task.every_days)
        possible = _possible(task, day)
        at = None if possible is None else _at(task, plan, possible)
        if at is not None and at > after:
            return at
        if at is not None and after < begins:
            return begins


def on_weekday(task: CareTask, plan: Plan, after: Instant) -> tuple[Instant, date] | None:
    """Return the first of a task's weekdays after an instant, wherever a holiday has moved it, and its own date."""
    reach = len(task.not_on) + 1  # no holiday moves a day further
    today = plan.clock.local(max(after, plan.course.start.instant)).date()
    best: tuple[Instant, date] | None = None
    for ahead in range(-reach, LONGEST_SEARCH + reach):
        day = today + timedelta(days=ahead)
        if best is not None and day > plan.clock.local(best[0]).date() + timedelta(days=reach):
            return best
        possible = _possible(task, day) if day.weekday() in (task.weekdays or ()) else None
        if possible is not None and (at := _at(task, plan, possible)) > after and (best is None or at < best[0]):
            best = at, day
    return best
