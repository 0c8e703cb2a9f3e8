"""When a care task comes round again (R20): so many hours or days after it was done, on weekdays, around holidays.

Days are those of the household's clock where it is then; hours are elapsed time.
"""

from collections.abc import Container, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from reminders.plan.care import CareTask, Instead
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Kind
from reminders.times import Instant, ZoneTimeline

LONGEST_SEARCH = 370
"""Days: a weekday comes round within so many, however many of them are days on which nothing can be done."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What one revision says of a task that comes round again, from when to when. ``open``: the dates whose occurrence was
    still to come when it took effect, and by it lies before that."""

    begins: Instant
    ends: Instant
    plan: Plan
    task: CareTask
    open: tuple[date, ...] = ()


def _at(task: CareTask, plan: Plan, day: date) -> Instant:
    """Return the task's time of day on a date, on the clock of where the household is then."""
    assert task.at is not None, "a task by the clock without a time of day does not pass the checks"
    return plan.clock.first_showing(datetime.combine(day, task.at))


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


def of_day(task: CareTask, plan: Plan, day: date) -> Instant | None:
    """Return when the occurrence of a date is due, wherever a holiday has moved it; None for not at all."""
    possible = _possible(task, day) if day.weekday() in (task.weekdays or ()) else None
    return None if possible is None else _at(task, plan, possible)


def on_weekday(task: CareTask, plan: Plan, after: Instant, without: Container[str] = ()) -> tuple[Instant, date] | None:
    """Return the first of a task's weekdays after an instant, wherever a holiday has moved it, and its own date.

    ``without`` are dates that are dealt with already, as ISO 8601 writes them.
    """
    reach = _reach(task)
    today = plan.clock.local(max(after, plan.course.start.instant)).date()
    best: tuple[Instant, date] | None = None
    for ahead in range(-reach, LONGEST_SEARCH + reach):
        day = today + timedelta(days=ahead)
        if best is not None and day > plan.clock.local(best[0]).date() + timedelta(days=reach):
            return best
        at = of_day(task, plan, day)
        if at is not None and at > after and (best is None or at < best[0]) and day.isoformat() not in without:
            best = at, day
    return best


def _reach(task: CareTask) -> int:
    """Return how many days no holiday and no journey moves a day further."""
    return len(task.not_on) + 2


def _left_open(before: tuple[CareTask, Plan], now: tuple[CareTask, Plan], begins: Instant) -> tuple[date, ...]:
    """Return the dates whose occurrence was still to come by the terms before, and by those from ``begins`` on lies before that."""
    today = now[1].clock.local(begins).date()
    reach = _reach(before[0]) + _reach(now[0])
    days = [today + timedelta(days=ahead) for ahead in range(-reach, reach + 1)]
    found = []
    for day in days:
        was, at = of_day(*before, day), of_day(*now, day)
        last = before[0].last_day
        if was is not None and at is not None and at < begins <= was and (last is None or day <= last):
            found.append(day)
    return tuple(found)


def after_all(facts: Sequence[Fact], clock: ZoneTimeline) -> list[Fact]:
    """Return what is recorded of a task, in order of time, without its being left out where it was put off after that.

    Whoever puts it off on the day on which it was left out, or to the day for which it was, means the one that was left
    out, and not the next, though nothing but the next one was there to name.
    """
    found: dict[str, Fact] = {}
    left_out: list[Fact] = []
    for fact in facts:
        found[fact.key] = fact
        if fact.kind is Kind.TASK_SKIPPED:
            left_out.append(fact)
        elif fact.kind is Kind.TASK_PUT_OFF:
            for meant in [left for left in left_out if _means(fact, left, clock)][-1:]:
                left_out.remove(meant)
                del found[meant.key]
                found[fact.key] = replace(fact, planned_for=meant.planned_for)
    return list(found.values())


def _means(fact: Fact, left_out: Fact, clock: ZoneTimeline) -> bool:
    """Say whether a putting-off is about an occurrence that was said not to be done."""
    named, to, was = fact.planned_for, fact.until, left_out.planned_for
    if named is None or to is None or was is None:
        return False
    days = [clock.local(at).date() for at in (left_out.happened, fact.happened, was, to)]
    return named == was or (was < named > to and (days[0] == days[1] or days[2] == days[3]))


def recurring_terms(name: str, revisions: Sequence[tuple[Instant, Instant, Plan]]) -> list[Terms]:
    """Return what each revision says of a task, but for those in which it is tied to doses or missing."""
    found: list[Terms] = []
    for begins, ends, plan in revisions:
        task = plan.tasks.get(name)
        if task is None or task.order is not None:
            continue
        open_: tuple[date, ...] = ()
        if found and found[-1].ends == begins:
            open_ = _left_open((found[-1].task, found[-1].plan), (task, plan), begins)
        found.append(Terms(begins, ends, plan, task, open_))
    return found
