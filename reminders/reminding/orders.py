"""What must be ordered, as matters that somebody is told of: the day before the last day to order, on it, and each day after.

It is told at the plan's time of day, and never in quiet hours. A planned delivery that is to come in time is no stock, but
while it is awaited nobody is told again each day.
"""

from collections.abc import Iterator
from datetime import timedelta

from reminders.record.facts import Record
from reminders.reminding.care import care_matters, dressing_matters
from reminders.reminding.matters import Matter, Sort, matters
from reminders.reminding.quiet import awake
from reminders.schedule.model import Outcome, Schedule
from reminders.schedule.status import task_window
from reminders.schedule.stock import Stocked, at_clock, stock
from reminders.times import Instant

DAYS_AFTER = 7
"""For so many days after it ran out, as reckoned, an item is told of; then it stays on the page only."""

ONE_DAY = timedelta(days=1)


def open_matters(schedule: Schedule, record: Record, now: Instant) -> list[Matter]:
    """Return everything that somebody is to be told of at ``now`` or later, in order of time: events, care tasks, orders, the dressing.

    ``record`` is the one that the schedule was made with.
    """
    found = [*matters(schedule, now), *care_matters(schedule, now), *order_matters(schedule, record, now)]
    found += dressing_matters(schedule, record, now)
    return sorted(found, key=lambda matter: (matter.at, matter.key))


def order_matters(schedule: Schedule, record: Record, now: Instant) -> list[Matter]:
    """Return a matter for each item that runs out in the horizon, as it is reckoned at ``now``."""
    if schedule.removed is not None and now >= schedule.removed:
        return []
    return [found for entry in stock(schedule, record, now) if (found := _matter(entry, schedule)) is not None]


def _matter(entry: Stocked, schedule: Schedule) -> Matter | None:
    if entry.order_by is None or entry.order_at is None:
        return None
    lacking = None
    if entry.lacking is not None:
        # Whoever has just said so was told what to do.
        lacking = Instant(entry.lacking + schedule.plan.pop_ups.again_every)
    moments = {awake(schedule.quiet, moment) for moment in _daily(entry, schedule)}
    if lacking is not None:
        moments.add(awake(schedule.quiet, lacking))
    if not moments:
        return None
    return Matter(
        key=f"order {entry.entry.name}@{entry.order_by.isoformat()}",
        sort=Sort.ORDER,
        lumen="",
        at=min(moments),
        urgent_from=lacking,
        stocked=entry,
        moments=tuple(sorted(moments)),
    )


def _daily(entry: Stocked, schedule: Schedule) -> Iterator[Instant]:
    """Yield the time of reminding of the day before the last day to order, of that day, and of each day after it."""
    plan = schedule.plan
    assert entry.order_by is not None
    assert entry.runs_out is not None
    out = plan.clock.local(entry.runs_out).date()
    day = entry.order_by - ONE_DAY
    while day <= max(entry.order_by, out) + DAYS_AFTER * ONE_DAY:
        at = at_clock(plan, day, plan.supplies.remind_at)
        if day <= entry.order_by or not _comes(entry, at):
            yield at
        day += ONE_DAY


def _comes(entry: Stocked, at: Instant) -> bool:
    """Say whether at a moment a planned delivery is awaited that comes before the item runs out."""
    assert entry.runs_out is not None
    for event in entry.deliveries:
        over = event.at if event.outcome is Outcome.DONE else task_window(event)[1]
        if at <= over and event.planned < entry.runs_out:
            return True
    return False
