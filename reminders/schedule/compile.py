"""Plan, record and now go in; the schedule comes out (R1-R19).

The stages: the plans in force; the horizon; the doses of every order, as ordered and as recorded; for each lumen, the
touches that its doses need; then the idle flushes that keep it within its limit.
"""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import datetime, time, timedelta
from typing import NamedTuple

from reminders.plan.durations import duration
from reminders.plan.model import Plan
from reminders.record.facts import Record
from reminders.schedule.actual import Actual, actual_doses
from reminders.schedule.asks import with_asks
from reminders.schedule.doses import not_over
from reminders.schedule.happened import Happened
from reminders.schedule.identity import Identities
from reminders.schedule.in_force import BEGINNING, Stretch, stretches
from reminders.schedule.lumens import lumen_touches
from reminders.schedule.model import Dose, Schedule, Touch
from reminders.times import DAY, Instant, instant_of, local, spans_of
from reminders.zones import release


def compile_schedule(plan: Plan, record: Record, now: Instant, earlier: Sequence[Plan] = ()) -> Schedule:
    """Return the schedule of a plan whose findings hold no error, as the record has it.

    ``earlier`` are the revisions that were in use before this one: what lies before its ``takes_effect`` is what they
    say. ``now`` moves nothing but the end of open-ended therapy (R14).

    Raises:
        TooManyDosesError: an order has more doses than anyone means.
    """
    in_force = stretches((*earlier, plan), record)
    plans = Plans(in_force)
    happened = Happened(record, plans.at)
    start = plans.revisions[0].course.start.instant
    end, rolling = _end(plans.last, now)
    if happened.removed is not None and happened.removed < end:
        end, rolling = max(start, happened.removed), False
    # Whether a finish at a rolling end is locked depends on the dose that comes just after it.
    longest = max((duration(order) or 0 for order in plans.last.orders.values()), default=0)
    ahead = longest + plans.last.protocol.joining_time + 1 + 2 * DAY if rolling else 0
    actual = actual_doses(in_force, happened, end, Instant(end + ahead))
    if record.facts:
        actual = _asked(actual, plans.last, happened, in_force)
    actual = Actual(
        {name: _within(plans.last, found, start, end, rolling) for name, found in actual.doses.items()},
        {name: _within(plans.last, found, start, end, rolling) for name, found in actual.connected.items()},
    )
    # Quiet hours are known beyond the end, so that the end itself does not wake anyone.
    limits = map(plans.last.idle_limit, plans.last.lumens.values())
    beyond = Instant(end + (max(limits, default=0) + DAY if rolling else 0))
    quiet = spans_of(plans.last.household.quiet_hours, plans.last.clock, start, Instant(beyond + 2 * DAY))
    removal = plans.last.course.line_removal
    names = Identities(plan)
    touches: list[Touch] = []
    states = {}
    for name in plans.lumens:
        found, states[name] = lumen_touches(in_force, name, actual, happened, names, (start, end, beyond), quiet)
        touches += found
    places = {name: index for index, name in enumerate(plans.lumens)}
    touches.sort(key=lambda touch: (touch.at, places[touch.lumen], touch.planned))
    return Schedule(
        plan=plans.last,
        plans=tuple((stretch.begins, stretch.plan) for stretch in in_force),
        start=start,
        end=end,
        rolling=rolling,
        zone_data=release(),
        touches=tuple(touches),
        doses={name: _before(found, end) for name, found in actual.doses.items()},
        connected={name: _before(found, end) for name, found in actual.connected.items()},
        lumens=states,
        removed=happened.removed or (removal.instant if removal else None),
        quiet=tuple(quiet),
    )


class Plans:
    """The plans in force, by instant."""

    def __init__(self, in_force: Sequence[Stretch]) -> None:
        """Take the stretches in order."""
        self._begins = [stretch.begins for stretch in in_force]
        self._plans = [stretch.plan for stretch in in_force]
        self.revisions = [stretch.revision for stretch in in_force]

    def at(self, instant: Instant) -> Plan:
        """Return the plan in force at an instant."""
        return self._plans[bisect_right(self._begins, max(instant, BEGINNING)) - 1]

    @property
    def last(self) -> Plan:
        """Return the plan in force at the end; it names every lumen, order and fluid that any of them does."""
        return self._plans[-1]

    @property
    def lumens(self) -> list[str]:
        """Return every lumen's name, in the order of the last plan."""
        return list(self.last.lumens)


class _End(NamedTuple):
    at: Instant
    rolling: bool


def _end(plan: Plan, now: Instant) -> _End:
    """Return the last instant to plan, and whether it rolls on with the date.

    An open-ended plan ends with the local day in which its look ahead ends, so it does not move with every minute.
    """
    last = plan.last_moment
    if last is not None:
        return _End(last.instant, False)
    assert plan.course.open_ended is not None, "a plan without an end does not pass the checks"
    today = local(max(plan.course.start.instant, now), plan.course.zone).date()
    days = -(-plan.course.open_ended // DAY) + 1  # at least as far as stated, from any minute of today
    return _End(instant_of(datetime.combine(today + timedelta(days=days), time()), plan.course.zone)[0], True)


def _asked(actual: Actual, plan: Plan, happened: Happened, in_force: Sequence[Stretch]) -> Actual:
    doses = with_asks(actual.doses, plan, happened, in_force)
    connected = {
        name: doses[name] if found is actual.doses[name] else found for name, found in actual.connected.items()
    }
    pumps = {name: found for name, found in connected.items() if found is not doses[name]}
    return Actual(doses, {**connected, **with_asks(pumps, plan, happened, in_force)})


def _within(plan: Plan, doses: tuple[Dose, ...], start: Instant, end: Instant, rolling: bool) -> tuple[Dose, ...]:
    """Return what is not over at the start and, unless the end only rolls on, begins before it or was begun."""
    return tuple(
        dose
        for dose in doses
        if not_over(plan, dose, start) and (rolling or dose.start < end or dose.started is not None)
    )


def _before(doses: tuple[Dose, ...], end: Instant) -> tuple[Dose, ...]:
    return tuple(dose for dose in doses if dose.start < end)
