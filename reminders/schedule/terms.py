"""What a plan states for the placing of all its idle flushes (R11): horizon, quiet hours, preferred times, day totals."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from fractions import Fraction

from reminders.plan.idle_limit import PerDay
from reminders.plan.model import Plan
from reminders.schedule import steps as do
from reminders.schedule.ahead import Terms
from reminders.schedule.counts import pushed_by
from reminders.schedule.model import Touch
from reminders.times import DAY, ClockRange, Instant, instant_of, local, spans_of

BLOCK, SEEN = 28 * DAY, 14 * DAY
"""A horizon that rolls on is planned in blocks of so long, each looked ahead from its end so far, or longer limits long."""


def blocks_of(plan: Plan, start: Instant, until: Instant) -> list[tuple[Instant, Instant]]:
    """Return the blocks in which a plan without an end is planned, up to the first that ends at ``until`` or later.

    They count from ``start``, so that they do not move with the date; each has its end and how far it is looked ahead.
    """
    limits = [plan.idle_limit(lumen) for lumen in plan.lumens.values()]
    longest = max((2 * DAY if limit is PerDay.EACH_CALENDAR_DAY else limit for limit in limits), default=0)
    block, seen = max(BLOCK, 2 * longest), max(SEEN, longest)
    count = max(1, -(-(until - start) // block))
    ends = [Instant(start + block * number) for number in range(1, count + 1)]
    return [(end, Instant(end + seen)) for end in ends]


def terms_of(
    plan: Plan,
    span: tuple[Instant, Instant],
    quiet: Sequence[tuple[Instant, Instant]],
    handled: Iterable[Touch],
    blocks: Sequence[tuple[Instant, Instant]],
) -> Terms:
    """Return what a plan states for placing flushes over a span; ``handled`` are all other touches."""
    times = plan.household.preferred_flush_times
    preferred = [at for each in times for at in _instants(plan, each, span)]
    return Terms(
        begins=span[0],
        ends=span[1],
        quiet=tuple(quiet),
        preferred=sorted(set(preferred)) if times else None,
        least=plan.protocol.least_time_to_next_touch,
        worth=plan.protocol.saved_session_worth,
        settled=plan.household.settled_ahead,
        handling=plan.course.handling_time,
        rooms=_rooms(plan, span, handled),
        blocks=tuple(blocks),
    )


def _instants(plan: Plan, at: time, span: tuple[Instant, Instant]) -> list[Instant]:
    """Return the instants of a clock time on each day."""
    following = datetime.combine(date(2000, 1, 3), at) + timedelta(minutes=1)  # any date: these are clock times
    minute = ClockRange(frozenset(range(7)), at, following.time())
    return [begin for begin, _ in spans_of((minute,), plan.clock, *span)]


def amounts_of(plan: Plan, lumen: str) -> tuple[Fraction, ...]:
    """Return what one idle flush of a lumen adds to each daily total that the plan limits."""
    pushed = pushed_by(do.idle_flush(plan, plan.lumens[lumen]), plan)
    return tuple(pushed[index] for index, _ in _limited(plan))


def _limited(plan: Plan) -> list[tuple[int, Fraction]]:
    """Return which of flush volume, heparin and sodium the plan limits in a day, and to what."""
    limits = (plan.daily_limits.flushed, plan.daily_limits.heparin, plan.daily_limits.sodium)
    return [(index, limit.amount) for index, limit in enumerate(limits) if limit is not None]


def _date(plan: Plan, at: Instant) -> date:
    return plan.clock.local(at).date()


def _rooms(
    plan: Plan, span: tuple[Instant, Instant], handled: Iterable[Touch]
) -> list[tuple[Instant, tuple[Fraction, ...]]]:
    """Return, for each day of a span that some total limits, what the other touches leave of it."""
    limited = _limited(plan)
    if not limited:
        return []
    begins = [span[0]]
    for left, right, zone in plan.clock.segments(*span):  # on a journey a day may begin, or come back, at the change
        dates = range(local(left, zone).date().toordinal(), local(right, zone).date().toordinal() + 1)
        midnights = [instant_of(datetime.combine(date.fromordinal(day), time()), zone)[0] for day in dates]
        edges = [left, *(at for at in midnights if left < at < right)]
        begins += [at for at in edges if at > span[0] and _date(plan, at) != _date(plan, Instant(at - 1))]
    places: dict[date, list[int]] = {}
    for index, at in enumerate(begins):
        places.setdefault(_date(plan, at), []).append(index)
    left_of = [[limit for _, limit in limited] for _ in begins]
    known: dict[int, list[Fraction]] = {}
    for touch in handled:
        days = places.get(_date(plan, touch.at), [])
        if id(touch.steps) not in known:
            pushed = pushed_by(touch.steps, touch.plan)
            known[id(touch.steps)] = [pushed[index] for index, _ in limited]
        for day in days:
            left_of[day] = [room - amount for room, amount in zip(left_of[day], known[id(touch.steps)], strict=True)]
    return [(begin, tuple(room)) for begin, room in zip(begins, left_of, strict=True)]
