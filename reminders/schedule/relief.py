"""What would help: changes that only the prescriber can make, and what they would save. Nothing is ever changed here.

Tried, one at a time, over the plan's first two weeks: an order's times moved within its own window, and two drugs whose
times meet. Each is compiled like the plan itself, and told only if it saves sessions and breaks nothing.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

from reminders.findings import Finding, Severity
from reminders.plan.model import Plan
from reminders.plan.order import Order
from reminders.record.facts import EMPTY
from reminders.schedule.compile import compile_schedule
from reminders.schedule.figures import Figures, figures
from reminders.schedule.model import Schedule
from reminders.schedule.order_review import timing_key
from reminders.schedule.review import review
from reminders.times import DAY, Instant, Moment, instant_of
from reminders.units import span

LOOKED_AT = 14
"""Days of the plan that are compared."""

FARTHEST = 180
"""Minutes by which two drugs may lie apart that are tried at the same hour."""

MOST_TRIED = 24
"""Changes that are tried; the nearest first."""

SAVED = LOOKED_AT // 7
"""Sessions that a change must save in these days to be worth telling: one a week."""


@dataclass(frozen=True, slots=True)
class _Change:
    """An order's times moved by some minutes, perhaps so that its doses start when another order's start, or finish."""

    order: Order
    minutes: int
    meets: Order | None = None
    starts: bool = True


def would_help(schedule: Schedule) -> list[Finding]:
    """Return a note for each order of which another time would save sessions by night or by day, with the numbers."""
    if not schedule.quiet and not any(touch.reason.deadline for touch in schedule.touches):
        return []
    plan = _shortened(schedule.plan, schedule)
    before = compile_schedule(plan, EMPTY, plan.course.start.instant)
    complaints = _complaints(before)
    counted = figures(before)
    best: dict[str, tuple[tuple[int, int, int], _Change, Figures]] = {}
    for change in sorted(_changes(plan, before), key=lambda change: abs(change.minutes))[:MOST_TRIED]:
        changed = _changed(plan, change)
        if changed is None:
            continue
        after = compile_schedule(changed, EMPTY, plan.course.start.instant)
        if any(len(after.doses[name]) != len(doses) for name, doses in before.doses.items()):
            continue  # a dose that falls out of the days compared saves nothing
        found = figures(after)
        nights, sessions = counted.night - found.night, counted.sessions - found.sessions
        helps = (nights >= SAVED and sessions >= 0) or (sessions >= SAVED and nights >= 0)
        if not helps or _complaints(after) - complaints:
            continue
        worth = (nights, sessions, -abs(change.minutes))
        if change.order.name not in best or worth > best[change.order.name][0]:
            best[change.order.name] = (worth, change, found)
    return [_note(plan, change, counted, found) for _, change, found in best.values()]


def _shortened(plan: Plan, schedule: Schedule) -> Plan:
    """Return the plan up to the day on which the comparison ends."""
    end = Instant(min(schedule.end, schedule.start + LOOKED_AT * DAY))
    wall = plan.clock.local(end).replace(tzinfo=None)
    course = replace(plan.course, end=Moment(end, wall), line_removal=plan.course.line_removal, open_ended=None)
    return replace(plan, course=course)


def _complaints(schedule: Schedule) -> set[tuple[str, object]]:
    """Return what the schedule's review finds wrong or doubtful, by code and place."""
    return {(found.code, found.places) for found in review(schedule) if found.severity is not Severity.NOTE}


def _changes(plan: Plan, schedule: Schedule) -> Iterator[_Change]:
    """Yield the changes worth trying."""
    for order in plan.orders.values():
        if order.clock_times is None and order.every is None:
            continue
        tried: dict[int, _Change] = {}
        for other in plan.orders.values():
            if other is not order and other.lumen != order.lumen:
                for change in _meetings(schedule, order, other):
                    tried.setdefault(change.minutes, change)
        window = order.on_time_within or 0
        for minutes in (window, -window, window // 2, -(window // 2)):
            if minutes:
                tried.setdefault(minutes, _Change(order, minutes))
        yield from tried.values()


def _meetings(schedule: Schedule, order: Order, other: Order) -> list[_Change]:
    """Return the two smallest moves by which an order's doses would meet a start or a finish of another's."""
    doses, others = schedule.doses[order.name][:4], schedule.doses[other.name][:8]
    moments = [(dose.start, True) for dose in others]
    moments += [(dose.end, False) for dose in others if dose.end is not None]
    found = {(at - dose.start, starts) for dose in doses for at, starts in moments}
    near = sorted((abs(minutes), minutes, not starts) for minutes, starts in found if 0 < abs(minutes) <= FARTHEST)
    return [_Change(order, minutes, other, not finishes) for _, minutes, finishes in near[:2]]


def _changed(plan: Plan, change: _Change) -> Plan | None:
    """Return the plan with an order's times moved; None where that would carry a time into another day."""
    order, moved = change.order, timedelta(minutes=change.minutes)
    ordered = order.first_dose
    if ordered is None:
        return None
    wall = ordered.wall + moved
    first = Moment(instant_of(wall, plan.course.zone)[0], wall)
    if first.instant < plan.course.start.instant <= ordered.instant:
        return None
    if order.clock_times is None:
        changed = replace(order, first_dose=first)
    else:
        times = _moved(order.clock_times, moved)
        if times is None or wall.date() != ordered.wall.date():
            return None
        changed = replace(order, clock_times=times, first_dose=first)
    return replace(plan, orders={**plan.orders, order.name: changed})


def _moved(times: tuple[time, ...], by: timedelta) -> tuple[time, ...] | None:
    """Return clock times moved; None where one of them would leave its day."""
    day = datetime(2000, 1, 3)  # noqa: DTZ001  # any day: these are wall-clock times
    walls = [datetime.combine(day, at) + by for at in times]
    return tuple(wall.time() for wall in walls) if all(wall.date() == day.date() for wall in walls) else None


def _note(plan: Plan, change: _Change, before: Figures, after: Figures) -> Finding:
    order = change.order
    by = f"{span(abs(change.minutes))} {'later' if change.minutes > 0 else 'earlier'}"
    within = abs(change.minutes) <= (order.on_time_within or 0)
    meets = ""
    if change.meets:
        meets = (
            f", at the same time as {change.meets.drug}" if change.starts else f", when {change.meets.drug} finishes"
        )
    window = f", which is within its window of {span(order.on_time_within or 0)}" if within else ""
    days = math.ceil((plan.last_moment.instant - plan.course.start.instant) / DAY) if plan.last_moment else LOOKED_AT
    return Finding(
        code="would-help",
        message=f"With {order.drug} {by}{meets}{window}, the first {days} days would have {_fewer(before, after)}.",
        expected="what the prescriber has ordered; only the prescriber can change it",
        mend="If these sessions are a burden, ask the prescriber or pharmacist. The plan stays as it is.",
        places=(timing_key(order),),
    )


def _fewer(before: Figures, after: Figures) -> str:
    """Say what a change saves, and nothing of what it leaves as it is."""
    sessions = f"{after.sessions} sessions instead of {before.sessions}"
    if after.night == before.night:
        return sessions
    if after.sessions == before.sessions:
        return f"{after.night} sessions in quiet hours instead of {before.night}"
    return f"{sessions}, {after.night} of them in quiet hours instead of {before.night}"
