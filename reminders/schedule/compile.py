"""Plan, record and now go in; the schedule comes out (R1-R10, R12, R14).

The stages: the horizon; the doses of every order; for each lumen, the touches that its doses need; then the idle
flushes that keep it within its limit.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta

from reminders.plan.model import Lumen, Plan
from reminders.plan.order import FlushThrough, GivenAs, Order
from reminders.record import Record
from reminders.schedule import steps as do
from reminders.schedule.doses import clock_starts, continuous_end, doses_of, not_over, order_day
from reminders.schedule.identity import Identities
from reminders.schedule.idle import LumenUse, place_idle_flushes
from reminders.schedule.model import Dose, Reason, Schedule, Step, Touch, TouchKind, Why
from reminders.times import Instant, instant_of, local, spans_of
from reminders.zones import release

ORDERED, FINISH, BAG = Reason(Why.ORDERED), Reason(Why.FINISH), Reason(Why.BAG)


def compile_schedule(plan: Plan, record: Record, now: Instant) -> Schedule:
    """Return the schedule of a plan whose findings hold no error.

    Raises:
        TooManyDosesError: an order has more doses than anyone means.
    """
    start, end, rolling = horizon(plan, now)
    # Whether the last finish before a rolling end is locked depends on the dose that comes just after that end.
    ahead = plan.protocol.joining_time + 1 if rolling else 0
    ordered = doses_of(plan, Instant(end + ahead))
    doses = {name: tuple(dose for dose in found if not_over(plan, dose)) for name, found in ordered.items()}
    connected = {name: _connected(plan, plan.orders[name], found, end) for name, found in ordered.items()}
    quiet = spans_of(plan.household.quiet_hours, plan.clock, start, end)
    names = Identities(plan)
    places = {name: index for index, name in enumerate(plan.lumens)}
    touches: list[Touch] = []
    for lumen in plan.lumens.values():
        touches += _lumen_touches(plan, lumen, doses, connected, names, start, end, quiet)
    touches.sort(key=lambda touch: (touch.at, places[touch.lumen]))
    within = {name: tuple(dose for dose in found if dose.start < end) for name, found in doses.items()}
    return Schedule(plan, start, end, rolling, release(), tuple(touches), within, tuple(quiet))


def horizon(plan: Plan, now: Instant) -> tuple[Instant, Instant, bool]:
    """Return the first and last instant to plan, and whether the last rolls on with the date.

    An open-ended plan looks ahead whole days from today's, so its end does not move with every minute.
    """
    start = plan.course.start.instant
    last = plan.last_moment
    if last is not None:
        return start, last.instant, False
    assert plan.course.open_ended is not None, "a plan without an end does not pass the checks"
    today = local(max(start, now), plan.course.zone).date()
    days = -(-plan.course.open_ended // 1440)
    return start, instant_of(datetime.combine(today + timedelta(days=days), time()), plan.course.zone)[0], True


@dataclass(slots=True)
class _Moment:
    """What meets in one lumen at one instant."""

    starts: list[Dose] = field(default_factory=list)
    ends: list[Dose] = field(default_factory=list)
    bags: list[tuple[Dose, str]] = field(default_factory=list)


def _lumen_touches(
    plan: Plan,
    lumen: Lumen,
    doses: dict[str, tuple[Dose, ...]],
    connected: dict[str, tuple[Dose, ...]],
    names: Identities,
    start: Instant,
    end: Instant,
    quiet: list[tuple[Instant, Instant]],
) -> list[Touch]:
    if not lumen.in_use:
        return []
    orders = [order for order in plan.orders.values() if order.lumen == lumen.name]
    moments: dict[Instant, _Moment] = defaultdict(_Moment)
    busy: list[tuple[Instant, Instant]] = []
    handled: list[Dose] = []
    for order in orders:
        handled += connected[order.name]
        running = connected[order.name] if order.kept_open else doses[order.name]
        busy += [(dose.start, end if dose.end is None else dose.end) for dose in running]
        for dose in connected[order.name]:
            if dose.start >= end:
                continue
            moments[dose.start].starts.append(dose)
            if dose.end is not None and order.given_as is not GivenAs.PUSH:
                moments[dose.end].ends.append(dose)
            for key, at in _bag_changes(plan, order, dose, end):
                moments[at].bags.append((dose, key))
    in_use = _merged(busy)
    writer = _Writer(plan, lumen, names, sorted(dose.start for dose in handled), in_use)
    touches = [writer.touch(at, moments[at]) for at in sorted(moments) if start <= at]
    if lumen.flush_through is FlushThrough.NURSE:
        return touches
    use = LumenUse(
        busy=in_use,
        flushed=[touch.at for touch in touches if touch.starts or do.flushes(touch.steps)],
        last_flush=lumen.last_flushed.instant,
    )
    placed = place_idle_flushes(
        use, start, end, limit=plan.idle_limit(lumen), margin=plan.protocol.planning_margin, quiet=quiet
    )
    return touches + _idle_touches(plan, lumen, names, placed)


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
    over = doses[-1].number == order.doses or (
        order.last_day is not None and order_day(plan, order, end) > order.last_day
    )
    last = order.stops.instant if order.stops else doses[-1].end if over else continuous_end(plan, order)
    reservoir = Dose(order.name, "reservoir", 1, first, last)
    return (reservoir,) if not_over(plan, reservoir) else ()


def _bag_changes(plan: Plan, order: Order, dose: Dose, end: Instant) -> Iterable[tuple[str, Instant]]:
    last = end if dose.end is None else dose.end
    if order.bag_every is not None:
        count = range(1, -(-(last - dose.start) // order.bag_every))
        return [(str(index), Instant(dose.start + index * order.bag_every)) for index in count]
    if order.bag_times is not None:
        return clock_starts(plan, order, order.bag_times, Instant(dose.start + 1), last, every_day=True)
    return ()


def _merged(spans: list[tuple[Instant, Instant]]) -> list[tuple[Instant, Instant]]:
    merged: list[tuple[Instant, Instant]] = []
    for begin, finish in sorted(spans):
        if merged and begin <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], finish))
        else:
            merged.append((begin, finish))
    return merged


class _Writer:
    """Writes the touches of one lumen; steps that recur are made once and shared."""

    def __init__(
        self, plan: Plan, lumen: Lumen, names: Identities, starts: list[Instant], busy: list[tuple[Instant, Instant]]
    ) -> None:
        self.plan, self.lumen, self.names = plan, lumen, names
        self.starts = starts
        self.busy = busy
        self.begun = [begin for begin, _ in busy]
        self.begins = set(self.begun)
        self.finishes = {finish for _, finish in busy}
        self.made: dict[tuple[object, ...], tuple[Step, ...]] = {}
        self.unlocked_until = Instant(-1)

    def touch(self, at: Instant, moment: _Moment) -> Touch:
        """Return the touch for what meets at ``at``; called in order of time."""
        orders = self.plan.orders
        pushes = [dose for dose in moment.starts if orders[dose.order].given_as is GivenAs.PUSH]
        rests = [dose.end or at for dose in pushes] or [at]
        idle_from = Instant(max(rests))
        finishes = bool(moment.ends or pushes)
        lock = finishes and self._idle_after(idle_from, at) and not self._joins(idle_from, at)
        held_lock = at in self.begins and at != self.unlocked_until
        key = (
            tuple(dose.order for dose in moment.ends),
            tuple(dose.order for dose, _ in moment.bags),
            tuple(dose.order for dose in moment.starts),
            lock,
            held_lock,
        )
        steps = self.made.get(key)
        if steps is None:
            steps = self.made[key] = self._steps(moment, lock, held_lock)
        self.unlocked_until = Instant(-1) if lock else self._next_start(idle_from, at)
        kind, meaning, reason = self._kind(moment)
        during = moment.bags[0][0] if kind is TouchKind.BAG_CHANGE else None
        nurse = any(orders[dose.order].flush_through is FlushThrough.NURSE for dose in moment.ends)
        return Touch(
            self.names.of(*meaning),
            kind,
            self.lumen.name,
            at,
            steps,
            reason,
            tuple(moment.starts),
            tuple(moment.ends),
            during,
            nurse,
        )

    def _steps(self, moment: _Moment, lock: bool, held_lock: bool) -> tuple[Step, ...]:
        plan, lumen, orders = self.plan, self.lumen, self.plan.orders
        parts = [do.after(plan, orders[dose.order], lumen) for dose in moment.ends]
        parts += [do.bag_change(plan, orders[dose.order], lumen) for dose, _ in moment.bags]
        for count, dose in enumerate(moment.starts):
            order = orders[dose.order]
            parts.append(do.before(plan, order, lumen, locked=held_lock and count == 0))
            if order.given_as is GivenAs.PUSH:
                parts.append(do.after(plan, order, lumen))
        steps = do.joined(parts)
        return do.locked(steps, plan, lumen) if lock else steps

    def _kind(self, moment: _Moment) -> tuple[TouchKind, tuple[str, ...], Reason]:
        if moment.starts:
            first = moment.starts[0]
            pushed = all(self.plan.orders[dose.order].given_as is GivenAs.PUSH for dose in moment.starts)
            kind = TouchKind.CHANGEOVER if moment.ends else TouchKind.PUSH if pushed else TouchKind.START
            return kind, ("start", first.order, first.key), ORDERED
        if moment.ends:
            first = moment.ends[0]
            return TouchKind.FINISH, ("finish", first.order, first.key), FINISH
        dose, key = moment.bags[0]
        return TouchKind.BAG_CHANGE, ("bag", dose.order, dose.key, key), BAG

    def _idle_after(self, idle_from: Instant, at: Instant) -> bool:
        """Say whether the lumen is idle once this touch is over."""
        if idle_from in self.finishes:
            return True
        if idle_from != at:
            return False
        index = bisect_right(self.begun, at) - 1
        return index < 0 or self.busy[index][1] <= at

    def _joins(self, idle_from: Instant, at: Instant) -> bool:
        following = self._next_start(idle_from, at)
        return 0 <= following - idle_from <= self.plan.protocol.joining_time

    def _next_start(self, idle_from: Instant, at: Instant) -> Instant:
        index = bisect_left(self.starts, max(idle_from, at + 1))
        return self.starts[index] if index < len(self.starts) else Instant(-1)


def _idle_touches(plan: Plan, lumen: Lumen, names: Identities, placed: list[tuple[Instant, Reason]]) -> list[Touch]:
    steps = do.idle_flush(plan, lumen)
    zone = plan.course.zone
    touches = []
    day, count = None, 0
    for at, reason in placed:
        on = local(at, zone).date()
        day, count = on, count + 1 if on == day else 1
        uid = names.of("idle", lumen.name, on.isoformat(), str(count))
        touches.append(Touch(uid, TouchKind.IDLE_FLUSH, lumen.name, at, steps, reason))
    return touches
