"""Plan, record and now go in; the schedule comes out (R1-R19).

The stages: the plans in force; the horizon; the doses of every order, as ordered and as recorded; for each lumen, the
touches that its doses need; then the idle flushes that keep it within its limit. Between doses and touches come the
care tasks (R20): a draw through a lumen is one of its touches.
"""

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import NamedTuple

from reminders.plan.durations import duration
from reminders.plan.model import Plan
from reminders.record.facts import Record
from reminders.schedule import draws
from reminders.schedule.actual import Actual, actual_doses
from reminders.schedule.ahead import Planned, Terms
from reminders.schedule.asks import with_asks
from reminders.schedule.beliefs import LumenUse
from reminders.schedule.care import Occurrence, occurrences, task_events
from reminders.schedule.doses import not_over
from reminders.schedule.happened import Happened
from reminders.schedule.identity import Identities
from reminders.schedule.idle import Placed, place_idle_flushes
from reminders.schedule.in_force import BEGINNING, Stretch, stretches
from reminders.schedule.lumens import LumenPlan
from reminders.schedule.model import Dose, Schedule, Touch, TouchKind, Why
from reminders.schedule.reasons import Reasons
from reminders.schedule.terms import amounts_of, blocks_of, terms_of
from reminders.times import DAY, Instant, instant_of, local, spans_of
from reminders.zones import release

Placing = Callable[[Sequence[LumenUse], Terms, Mapping[Instant, Instant], Planned | None], Sequence[Sequence[Placed]]]
"""Where the idle flushes of all lumens go."""

HeldUp = Mapping[tuple[str, str], int]
"""For how many minutes each dose is stopped for draws, by its order and key; none for one that is not."""

Tasks = Mapping[str, tuple[Occurrence, ...]]
"""The occurrences of each care task, by its name."""


def compile_schedule(
    plan: Plan, record: Record, now: Instant, earlier: Sequence[Plan] = (), place: Placing = place_idle_flushes
) -> Schedule:
    """Return the schedule of a plan whose findings hold no error, as the record has it.

    ``earlier`` are the revisions that were in use before this one: what lies before its ``takes_effect`` is what they
    say. ``now`` moves nothing but the end of open-ended therapy (R14). ``place`` says where idle flushes go; it is another
    one only to compare with.

    Raises:
        TooManyDosesError: an order has more doses than anyone means.
    """
    in_force = stretches((*earlier, plan), record)
    plans = Plans(in_force)
    happened = Happened(record, plans.at)
    start = plans.revisions[0].course.start.instant
    end, rolling = _end(plans.last, now)
    removed = happened.removed if happened.removed is not None and happened.removed < end else None
    if removed is not None:
        end, rolling = max(start, removed), False
    # Flushes are planned in blocks beyond an end that rolls on, so that the end itself moves none of them.
    blocks = blocks_of(plans.last, start, end) if rolling else []
    beyond = blocks[-1][1] if blocks else end
    # Whether a finish at the end is locked depends on the dose that comes just after it.
    longest = max((duration(order) or 0 for order in plans.last.orders.values()), default=0)
    ahead = longest + plans.last.protocol.joining_time + 1 + 2 * DAY if rolling else 0

    def actual_of(held_up: HeldUp) -> Actual:
        actual = actual_doses(in_force, happened, end, Instant(beyond + ahead), held_up)
        if record.facts:
            actual = _asked(actual, plans.last, happened, in_force)
        return Actual(
            {name: _within(plans.last, found, start, end, rolling) for name, found in actual.doses.items()},
            {name: _within(plans.last, found, start, end, rolling) for name, found in actual.connected.items()},
        )

    actual, tasks = _doses_and_tasks(actual_of, in_force, happened, (start, beyond))
    # Quiet hours are known beyond the end, so that the end itself does not wake anyone.
    quiet = spans_of(plans.last.household.quiet_hours, plans.last.clock, start, Instant(beyond + 2 * DAY))
    removal = plans.last.course.line_removal
    names = Identities(plan)
    through = draws.through(tasks, in_force)
    lumens = [
        LumenPlan(in_force, name, actual, happened, names, through.get(name, ()), (start, end, beyond))
        for name in plans.lumens
    ]
    used = [lumen for lumen in lumens if lumen.used]
    uses = [replace(lumen.use(), amounts=amounts_of(plans.last, lumen.name)) for lumen in used]
    begins, before = _planned_before(plans, record, now, [lumen.name for lumen in used], removed)
    handled = [touch for lumen in used for touch in lumen.handled]
    terms = terms_of(plans.last, (max(start, begins), beyond), quiet, handled, blocks)
    entered = _entered(record, actual)
    placed = place(uses, terms, entered, before)
    reasons = Reasons([lumen.name for lumen in used], uses, placed, terms)
    touches: list[Touch] = []
    states = {lumen.name: lumen.state for lumen in lumens}
    for index, lumen in enumerate(used):
        found, states[lumen.name] = lumen.touches(placed[index], reasons.of(index))
        touches += found
    places = {name: index for index, name in enumerate(plans.lumens)}
    touches.sort(key=lambda touch: (touch.at, places[touch.lumen], touch.planned))
    return Schedule(
        plan=_with_its_own_tasks(plans),
        plans=tuple((stretch.begins, stretch.plan) for stretch in in_force),
        by_then=tuple((stretch.begins, stretch.by_then) for stretch in in_force),
        revisions=tuple((stretch.begins, stretch.revision) for stretch in in_force),
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
        tasks=task_events(tasks, in_force, names, happened.away, end),
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


def ends_of(plans: Sequence[Plan], now: Instant) -> tuple[Instant, ...]:
    """Return what of ``now`` a schedule of these plans depends on (R14): where it is the same, the schedules are."""
    return tuple(_end(plan, now).at for plan in plans)


def _doses_and_tasks(
    actual_of: Callable[[HeldUp], Actual],
    in_force: Sequence[Stretch],
    happened: Happened,
    horizon: tuple[Instant, Instant],
) -> tuple[Actual, Tasks]:
    """Return the doses and the care tasks: when doses finish follows from the draws that stop them, and some draws from
    when doses finish.

    Round after round they are worked out from each other until nothing changes. Each round settles at least the first
    draw that was not, so more rounds than there are draws mean that they go round in a circle, as where two draws stop a
    dose once if they meet, and its end decides whether they do. Then each dose is stopped for the longest that any
    round of the circle says: it is expected to finish rather later than earlier.
    """
    rounds: list[HeldUp] = [{}]
    while True:
        actual = actual_of(rounds[-1])
        tasks = _tasks(in_force, happened, actual, horizon)
        held_up = draws.held_up(tasks, in_force, happened, actual.doses)
        if held_up == rounds[-1]:
            return actual, tasks
        most = sum(len(found) for found in draws.through(tasks, in_force).values())
        if held_up in rounds or len(rounds) > most:
            circle = rounds[rounds.index(held_up) :] if held_up in rounds else rounds
            named = dict.fromkeys(name for found in circle for name in found)
            actual = actual_of({name: max(found.get(name, 0) for found in circle) for name in named})
            return actual, _tasks(in_force, happened, actual, horizon)
        rounds.append(held_up)


def _tasks(in_force: Sequence[Stretch], happened: Happened, actual: Actual, horizon: tuple[Instant, Instant]) -> Tasks:
    """Return the occurrences of every care task; none where no plan has one."""
    if not any(stretch.revision.tasks for stretch in in_force):
        return {}
    told = draws.told_tasks(in_force, happened, actual.doses, horizon)
    return occurrences(in_force, told, actual.doses, happened.away, horizon)


def _with_its_own_tasks(plans: Plans) -> Plan:
    """Return the last plan with the care tasks of its own revision: those of earlier ones are not due any more."""
    tasks = plans.revisions[-1].tasks
    return plans.last if tasks.keys() == plans.last.tasks.keys() else replace(plans.last, tasks=tasks)


def _entered(record: Record, actual: Actual) -> dict[Instant, Instant]:
    """Return when what happened at an instant was told; what is said of doses that nobody ordered says nothing."""
    doses = {(dose.order, dose.key) for found in actual.connected.values() for dose in found}
    entered: dict[Instant, Instant] = {}
    for fact in record.standing:
        if not fact.dose or (fact.order, fact.dose) in doses:
            entered[fact.happened] = max(fact.entered, entered.get(fact.happened, fact.entered))
    return entered


def _planned_before(
    plans: Plans, record: Record, now: Instant, lumens: Sequence[str], removed: Instant | None
) -> tuple[Instant, Planned | None]:
    """Return until when earlier schedules say where the flushes are, and where that is; None where there are none.

    Up to the moment at which a revision takes effect, or the line is removed, flushes were planned without it.
    """
    revisions = list({id(plan): plan for plan in plans.revisions}.values())
    if removed is None and len(revisions) == 1:
        return BEGINNING, None
    begins = revisions[-1].course.takes_effect.instant if removed is None else removed
    told = [fact for fact in record.standing if fact.happened < begins]
    if removed is None:
        revisions = revisions[:-1]
    earlier = compile_schedule(revisions[-1], Record(tuple(told)), now, revisions[:-1])
    planned = [
        (touch.planned, lumens.index(touch.lumen))
        for touch in earlier.touches
        if touch.kind is TouchKind.IDLE_FLUSH and touch.reason.why is not Why.RECORDED and touch.lumen in lumens
    ]
    return begins, sorted(planned)


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
        if not_over(plan, dose, start)
        and (rolling or dose.start < end or dose.started is not None or any(when < end for when, _ in dose.put_off))
    )


def _before(doses: tuple[Dose, ...], end: Instant) -> tuple[Dose, ...]:
    return tuple(dose for dose in doses if dose.start < end)
