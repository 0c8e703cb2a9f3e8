"""Orders to doses: every form of timing (R2), clock changes (R3), durations (R4) and journeys (R5)."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import islice, takewhile
from zoneinfo import ZoneInfo

from reminders.plan.durations import duration
from reminders.plan.model import Plan
from reminders.plan.order import GivenAs, Order, OrderClock
from reminders.schedule.model import Dose
from reminders.times import DAY, Instant, instant_of, local, utc

MOST_DOSES = 50_000
"""For one order; more than a dose every 10 minutes for a year is a slip of the pen."""


class TooManyDosesError(Exception):
    """An order with more doses than anyone means."""

    def __init__(self, order: str) -> None:
        super().__init__(order)
        self.order = order


def doses_of(plan: Plan, until: Instant) -> dict[str, tuple[Dose, ...]]:
    """Return the doses of every order that start before ``until``, from the order's first dose on.

    Orders that follow others come after them, whatever their order in the file.

    Raises:
        TooManyDosesError: an order has more than :data:`MOST_DOSES`.
    """
    found: dict[str, tuple[Dose, ...]] = {}
    for name in plan.orders:
        _add(plan, name, until, found)
    return {name: found[name] for name in plan.orders}


def not_over(plan: Plan, dose: Dose) -> bool:
    """Say whether a dose is still to come, or running or to be taken off when the plan starts."""
    start = plan.course.start.instant
    pushed = plan.orders[dose.order].given_as is GivenAs.PUSH
    return dose.start >= start or (not pushed and (dose.end is None or dose.end >= start))


def is_over(plan: Plan, order: Order, at: Instant) -> bool:
    """Say whether an order by clock times or an interval orders no dose at ``at`` or later, line or no line."""
    ahead = Instant(at + 367 * DAY)  # the longest pause that an order can state is a year
    lasting = replace(plan, course=replace(plan.course, line_removal=None))
    return all(start < at for _, start in islice(_starts(lasting, order, ahead, {}), MOST_DOSES))


def _add(plan: Plan, name: str, until: Instant, found: dict[str, tuple[Dose, ...]]) -> None:
    if name in found:
        return
    order = plan.orders[name]
    if order.follows is not None:
        _add(plan, order.follows, until, found)
    timed = takewhile(lambda entry: entry[1] < until, _starts(plan, order, until, found))
    runs = duration(order)
    doses = []
    for number, (key, start) in enumerate(islice(timed, MOST_DOSES + 1), start=1):
        if order.continuous:
            end = continuous_end(plan, order)
        else:
            assert runs is not None, "an order without a duration does not pass the checks"
            end = Instant(min(start + runs, _removal(plan, order)))
        doses.append(Dose(name, key, number, start, end))
    if len(doses) > MOST_DOSES:
        raise TooManyDosesError(name)
    found[name] = tuple(doses)


def _removal(plan: Plan, order: Order) -> Instant:
    """Return the instant that no dose of an order outlasts: the line's removal, or a pump's."""
    ends = [moment.instant for moment in (plan.course.line_removal, order.stops) if moment is not None]
    return min(ends, default=Instant(2**62))


def continuous_end(plan: Plan, order: Order) -> Instant | None:
    """Return when an infusion without an end of its own ends: where its order stops, or with the line's removal.

    None where neither lies within the plan: the end of a plan is no order to stop.
    """
    end = _removal(plan, order)
    last = plan.last_moment
    return end if (last is not None and end <= last.instant) or (last is None and order.stops) else None


def _starts(
    plan: Plan, order: Order, until: Instant, found: dict[str, tuple[Dose, ...]]
) -> Iterator[tuple[str, Instant]]:
    """Yield the key and start of each dose from the order's first, in order of time."""
    if order.as_needed:
        return
    if order.follows is not None:
        for dose in found[order.follows]:
            if dose.end is not None:
                yield dose.key, Instant(dose.end + order.follows_after)
        return
    if order.moments is not None:
        for moment in sorted(order.moments, key=lambda entry: entry.instant):
            key = moment.wall.isoformat(timespec="minutes")
            if instant_of(moment.wall, plan.course.zone)[0] != moment.instant:  # the second of two equal clock times
                key = f"{key}[{utc(moment.instant):%H:%M}Z]"
            yield key, moment.instant
        return
    assert order.first_dose is not None, "an order without a first dose does not pass the checks"
    first = order.first_dose.instant
    if order.continuous:
        yield "continuous", first
        return
    found_starts = (
        ((str(index), Instant(first + index * order.every)) for index in range(MOST_DOSES + 2))
        if order.every is not None
        else clock_starts(plan, order, order.clock_times or (), first, until)
    )
    ends = [moment.instant for moment in (order.stops, plan.course.line_removal) if moment]
    for count, (key, start) in enumerate(found_starts, start=1):
        if order.doses is not None and count > order.doses:
            return
        # By the date that was ordered, which a clock change at midnight may have moved past.
        day = date.fromisoformat(key[:10]) if order.clock_times else order_day(plan, order, start)
        if order.last_day is not None and day > order.last_day:
            return
        if any(start >= end for end in ends):
            return
        yield key, start


def order_day(plan: Plan, order: Order, start: Instant) -> date:
    """Return the date of a dose on the clock that its order follows."""
    zone = plan.clock.at(start) if order.clock is OrderClock.LOCAL else plan.course.zone
    return local(start, zone).date()


def clock_starts(
    plan: Plan, order: Order, times: tuple[time, ...], first: Instant, until: Instant, *, every_day: bool = False
) -> Iterator[tuple[str, Instant]]:
    """Yield the key and instant of each clock time of the order from ``first`` to ``until``, in order of time.

    ``every_day`` leaves the order's weekdays aside. The key is the clock time as ordered, not as a clock change moved
    it; where a journey makes one clock time occur twice, the zone is added.
    """
    if order.clock is OrderClock.HOME:
        yield from (
            (wall.isoformat(timespec="minutes"), at)
            for wall, at in _walls(order, times, first, until, plan.course.zone, every_day)
        )
        return
    seen: set[str] = set()
    for left, right, zone in plan.clock.segments(first, until):
        for wall, at in _walls(order, times, left, right, zone, every_day):
            key = wall.isoformat(timespec="minutes")
            if key in seen:
                key = f"{key}[{zone.key}]"
            seen.add(key)
            yield key, at


def on_day(order: Order, day: date, origin: date) -> bool:
    """Say whether an order by clock times has doses on a date; every so many days count from ``origin``."""
    if order.weekdays is not None and day.weekday() not in order.weekdays:
        return False
    return order.every_days is None or (day - origin).days % order.every_days == 0


def _walls(
    order: Order, times: tuple[time, ...], first: Instant, until: Instant, zone: ZoneInfo, every_day: bool
) -> Iterator[tuple[datetime, Instant]]:
    """Yield the order's clock times on the clock of ``zone`` with their instants, from ``first`` to ``until``.

    Sorted by instant: a clock time that moved forward over a gap may have passed its neighbour.
    """
    day = local(first, zone).date() - timedelta(days=1)
    final = local(until, zone).date()
    origin = order.first_dose.wall.date() if order.first_dose else day
    times = tuple(sorted(set(times)))
    held: list[tuple[datetime, Instant]] = []  # moved past midnight, among the next day's
    while day <= final:
        if every_day or on_day(order, day, origin):
            walls = [datetime.combine(day, at) for at in times]
            held += [(wall, instant_of(wall, zone)[0]) for wall in walls]
        day += timedelta(days=1)
        midnight = instant_of(datetime.combine(day, time()), zone)[0]
        held.sort(key=lambda entry: entry[1])
        while held and held[0][1] < midnight:
            entry = held.pop(0)
            if first <= entry[1] < until:
                yield entry
