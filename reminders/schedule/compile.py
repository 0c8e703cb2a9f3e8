"""Plan, record and now go in; the schedule comes out (R1-R10, R12, R14).

The stages: the horizon; the doses of every order; for each lumen, the touches that its doses need; then the idle
flushes that keep it within its limit.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, time, timedelta

from reminders.plan.durations import duration
from reminders.plan.model import Lumen, Plan
from reminders.plan.order import FlushThrough, GivenAs, Order
from reminders.record.facts import Record
from reminders.schedule import steps as do
from reminders.schedule.doses import clock_starts, continuous_end, doses_of, is_over, not_over
from reminders.schedule.identity import Identities
from reminders.schedule.idle import LumenUse, place_idle_flushes
from reminders.schedule.model import Dose, Reason, Schedule, Touch, TouchKind
from reminders.schedule.touches import Meeting, TouchWriter
from reminders.times import DAY, Instant, instant_of, local, merged, spans_of
from reminders.zones import release

ENDLESS = Instant(2**62)
"""Where something runs on beyond every horizon."""


def compile_schedule(plan: Plan, record: Record, now: Instant) -> Schedule:
    """Return the schedule of a plan whose findings hold no error.

    Raises:
        TooManyDosesError: an order has more doses than anyone means.
    """
    start, end, rolling = horizon(plan, now)
    # Whether a finish at a rolling end is locked depends on the dose that comes just after it.
    longest = max((duration(order) or 0 for order in plan.orders.values()), default=0)
    ahead = longest + plan.protocol.joining_time + 1 if rolling else 0
    ordered = doses_of(plan, Instant(end + ahead))
    doses = {name: tuple(dose for dose in found if not_over(plan, dose)) for name, found in ordered.items()}
    connected = {name: _connected(plan, plan.orders[name], found, end) for name, found in ordered.items()}
    # Quiet hours are known beyond the end, so that the end itself does not wake anyone.
    quiet = spans_of(plan.household.quiet_hours, plan.clock, start, Instant(end + 2 * DAY))
    names = Identities(plan)
    places = {name: index for index, name in enumerate(plan.lumens)}
    touches: list[Touch] = []
    for lumen in plan.lumens.values():
        if not lumen.in_use:
            continue
        handled, busy = _touches(plan, lumen, doses, connected, names, start, end)
        flushes: list[Touch] = []
        if lumen.flush_through is not FlushThrough.NURSE:
            flushes = _idle_touches(plan, lumen, names, handled, busy, start, end, quiet)
        if flushes and lumen.flush_through is FlushThrough.WITHDRAW:
            # Whether a start finds a lock to draw out depends on the idle flushes before it.
            idle = [touch.at for touch in flushes]
            handled, busy = _touches(plan, lumen, doses, connected, names, start, end, idle)
        touches += handled + flushes
    touches.sort(key=lambda touch: (touch.at, places[touch.lumen]))
    return Schedule(
        plan=plan,
        start=start,
        end=end,
        rolling=rolling,
        zone_data=release(),
        touches=tuple(touches),
        doses=_before(doses, end),
        connected=_before(connected, end),
        quiet=tuple(quiet),
    )


def horizon(plan: Plan, now: Instant) -> tuple[Instant, Instant, bool]:
    """Return the first and last instant to plan, and whether the last rolls on with the date.

    An open-ended plan ends with the local day in which its look ahead ends, so it does not move with every minute.
    """
    start = plan.course.start.instant
    last = plan.last_moment
    if last is not None:
        return start, last.instant, False
    assert plan.course.open_ended is not None, "a plan without an end does not pass the checks"
    today = local(max(start, now), plan.course.zone).date()
    days = -(-plan.course.open_ended // DAY) + 1  # at least as far as stated, from any minute of today
    return start, instant_of(datetime.combine(today + timedelta(days=days), time()), plan.course.zone)[0], True


def _before(doses: Mapping[str, tuple[Dose, ...]], end: Instant) -> dict[str, tuple[Dose, ...]]:
    return {name: tuple(dose for dose in found if dose.start < end) for name, found in doses.items()}


def _connected(plan: Plan, order: Order, doses: tuple[Dose, ...], end: Instant) -> tuple[Dose, ...]:
    """Return what is connected by hand for an order: its doses, or the one reservoir from which a pump gives them.

    A reservoir is disconnected where the order says that it stops, or at the end of its last dose; otherwise with the
    line's removal, or not within the plan.
    """
    if order.given_as is not GivenAs.PUMP:
        return tuple(dose for dose in doses if not_over(plan, dose))
    if not doses:
        return ()
    first = order.first_dose.instant if order.first_dose else doses[0].start
    last = doses[-1].end if is_over(plan, order, end) else continuous_end(plan, order)
    if order.stops is not None:
        last = order.stops.instant
    reservoir = Dose(order.name, "reservoir", 1, first, last)
    return (reservoir,) if not_over(plan, reservoir) else ()


def _touches(
    plan: Plan,
    lumen: Lumen,
    doses: Mapping[str, tuple[Dose, ...]],
    connected: Mapping[str, tuple[Dose, ...]],
    names: Identities,
    start: Instant,
    end: Instant,
    idle: Sequence[Instant] = (),
) -> tuple[list[Touch], list[tuple[Instant, Instant]]]:
    """Return the touches that a lumen's doses need, in order, and the spans in which something runs in it.

    ``idle`` are its idle flushes, as far as they are known.
    """
    meetings: dict[Instant, Meeting] = defaultdict(Meeting)
    busy: list[tuple[Instant, Instant]] = []
    infusing: list[tuple[Instant, Instant]] = []
    starts: list[Instant] = []
    # By name, so that what is first at one instant does not hang on the order in the file (R23).
    for name in sorted(plan.orders):
        order = plan.orders[name]
        if order.lumen != lumen.name:
            continue
        running = connected[name] if order.kept_open else doses[name]
        spans = [(dose.start, ENDLESS if dose.end is None else dose.end) for dose in running]
        busy += spans
        if order.given_as is not GivenAs.PUSH:
            infusing += spans
        starts += [dose.start for dose in connected[name]]
        for dose in connected[name]:
            if dose.start >= end:
                continue
            meetings[dose.start].starts.append(dose)
            if dose.end is not None and order.given_as is not GivenAs.PUSH:
                meetings[dose.end].ends.append(dose)
            for key, at in _bag_changes(plan, order, dose, end):
                meetings[at].bags.append((dose, key))
    in_use = merged(busy)
    begins = frozenset(begin for begin, _ in in_use)
    writer = TouchWriter(plan, lumen, names, starts=sorted(starts), begins=begins, infusing=merged(infusing), idle=idle)
    return [writer.touch(at, meetings[at]) for at in sorted(meetings) if start <= at], in_use


def _bag_changes(plan: Plan, order: Order, dose: Dose, end: Instant) -> Iterable[tuple[str, Instant]]:
    last = end if dose.end is None else dose.end
    if order.bag_every is not None:
        count = range(1, -(-(last - dose.start) // order.bag_every))
        return [(str(index), Instant(dose.start + index * order.bag_every)) for index in count]
    if order.bag_times is not None:
        starts = clock_starts(plan, order, order.bag_times, Instant(dose.start + 1), last, every_day=True)
        return [(key, at) for at, key in {at: key for key, at in starts}.items()]  # one bag at one instant
    return ()


def _idle_touches(
    plan: Plan,
    lumen: Lumen,
    names: Identities,
    handled: list[Touch],
    busy: list[tuple[Instant, Instant]],
    start: Instant,
    end: Instant,
    quiet: list[tuple[Instant, Instant]],
) -> list[Touch]:
    use = LumenUse(
        busy=busy,
        flushed=[touch.at for touch in handled if touch.starts or do.flushes(touch.steps)],
        last_flush=lumen.last_flushed.instant,
    )
    placed: list[tuple[Instant, Reason]] = place_idle_flushes(
        use, start, end, limit=plan.idle_limit(lumen), margin=plan.protocol.planning_margin, quiet=quiet
    )
    steps = do.idle_flush(plan, lumen)
    touches = []
    day, count = None, 0
    for at, reason in placed:
        on = local(at, plan.course.zone).date()
        day, count = on, count + 1 if on == day else 1
        uid = names.of("idle", lumen.name, on.isoformat(), str(count))
        touches.append(Touch(uid, TouchKind.IDLE_FLUSH, lumen.name, at, steps, reason))
    return touches
