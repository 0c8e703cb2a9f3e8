"""Orders to doses: every form of timing (R2), clock changes (R3), durations (R4) and journeys (R5)."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from itertools import islice, takewhile
from zoneinfo import ZoneInfo

from reminders.plan.model import Plan
from reminders.plan.order import GivenAs, Order, OrderClock
from reminders.schedule.model import Dose
from reminders.times import DAY, Instant, instant_of, local, utc

MOST_DOSES = 50_000
"""For one order; more than a dose every 10 minutes for a year is a slip of the pen."""


@dataclass(frozen=True, slots=True)
class Ordered:
    """A dose as ordered: its lasting key, its number from the order's first one upwards, its start."""

    key: str
    number: int
    start: Instant


class TooManyDosesError(Exception):
    """An order with more doses than anyone means."""

    def __init__(self, order: str) -> None:
        super().__init__(order)
        self.order = order


def ordered_doses(plan: Plan, order: Order, until: Instant, leaders: Sequence[Dose] = ()) -> list[Ordered]:
    """Return the doses that an order has before ``until``, from its first one on, in order of time.

    ``leaders`` are the doses of the order that it follows, which is done before it.

    Raises:
        TooManyDosesError: there are more than :data:`MOST_DOSES`.
    """
    timed = takewhile(lambda entry: entry[1] < until, _starts(plan, order, until, leaders))
    counted = enumerate(islice(timed, MOST_DOSES + 1), start=order.first_dose_number)
    found = [Ordered(key, number, start) for number, (key, start) in counted]
    if len(found) > MOST_DOSES:
        raise TooManyDosesError(order.name)
    return found


def not_over(plan: Plan, dose: Dose, start: Instant) -> bool:
    """Say whether a dose is still to come, or running or to be taken off, at ``start``, when the schedule begins."""
    pushed = plan.orders[dose.order].given_as is GivenAs.PUSH
    return dose.start >= start or (not pushed and (dose.end is None or dose.end >= start))


def is_over(plan: Plan, order: Order, at: Instant) -> bool:
    """Say whether an order by clock times or an interval orders no dose at ``at`` or later, line or no line."""
    ahead = Instant(at + 367 * DAY)  # the longest pause that an order can state is a year
    lasting = replace(plan, course=replace(plan.course, line_removal=None))
    return all(start < at for _, start in islice(_starts(lasting, order, ahead, ()), MOST_DOSES))


def taken_off_by(plan: Plan, order: Order) -> Instant:
    """Return the instant that no dose of an order outlasts: the line's removal, or a pump's."""
    ends = [moment.instant for moment in (plan.course.line_removal, order.stops) if moment is not None]
    return min(ends, default=Instant(2**62))


def continuous_end(plan: Plan, order: Order) -> Instant | None:
    """Return when an infusion without an end of its own ends: where its order stops, or with the line's removal.

    None where neither lies within the plan: the end of a plan is no order to stop.
    """
    end = taken_off_by(plan, order)
    last = plan.last_moment
    return end if (last is not None and end <= last.instant) or (last is None and order.stops) else None


def _starts(plan: Plan, order: Order, until: Instant, leaders: Sequence[Dose]) -> Iterator[tuple[str, Instant]]:
    """Yield the key and start of each dose from the order's first, in order of time."""
    if order.as_needed:
        return
    if order.follows is not None:
        finishes = ((dose.key, dose.due_end if dose.end is None else dose.end) for dose in leaders)
        led = [(key, Instant(finish + order.follows_after)) for key, finish in finishes if finish is not None]
        yield from sorted(led, key=lambda entry: entry[1])
        return
    if order.moments is not None:
        for moment in sorted(order.moments, key=lambda entry: entry.instant):
            yield moment.key(plan.course.zone), moment.instant
        return
    assert order.first_dose is not None, "an order without a first dose does not pass the checks"
    first = order.first_dose.instant
    if order.continuous:
        yield "continuous", first
        return
    found_starts = (
        ((moment_key(at), at) for at in (Instant(first + index * order.every) for index in range(MOST_DOSES + 2)))
        if order.every is not None
        else clock_starts(plan, order, order.clock_times or (), first, until)
    )
    ends = [moment.instant for moment in (order.stops, plan.course.line_removal) if moment]
    for count, (key, start) in enumerate(found_starts, start=order.first_dose_number):
        if order.doses is not None and count > order.doses:
            return
        # By the date that was ordered, which a clock change at midnight may have moved past.
        day = date.fromisoformat(key[:10]) if order.clock_times else order_day(plan, order, start)
        if order.last_day is not None and day > order.last_day:
            return
        if any(start >= end for end in ends):
            return
        yield key, start


def moment_key(at: Instant) -> str:
    """Name an instant for good: ``2026-10-12T19:00Z``. A revision that counts from elsewhere gives no old name anew."""
    return f"{utc(at):%Y-%m-%dT%H:%MZ}"


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
