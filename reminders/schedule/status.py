"""How things stand with an event or a dose at a moment (R14, R15, R18).

Unrecorded is never done. What is past and unrecorded is overdue where the household records, until it is recorded,
skipped, or overtaken by a later recorded touch of its lumen; otherwise it is unconfirmed. A dose that nobody recorded by
its order's cut-off is unconfirmed too: it may have been given.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from datetime import datetime, time, timedelta
from functools import lru_cache
from itertools import accumulate

from reminders.plan.model import Plan
from reminders.schedule.model import (
    ENDLESS,
    NEVER,
    Dose,
    DoseState,
    Outcome,
    Schedule,
    Status,
    TaskEvent,
    Touch,
    TouchKind,
)
from reminders.times import Instant, instant_of


def window(touch: Touch) -> tuple[Instant, Instant]:
    """Return from when to when a touch is due.

    A dose's start: its order's window either way. A planned draw: its task's window. An idle flush: from its time to its
    lumen's limit. Anything else: while one touch lasts.
    """
    planned = touch.planned
    if touch.starts:
        within = touch.plan.orders[touch.starts[0].order].on_time_within or 0
        return Instant(planned - within), Instant(planned + within)
    if touch.tasks and not touch.ends and not touch.bags:
        return _task_window(touch.plan, planned, touch.plan.tasks[touch.tasks[0]].on_time_within)
    if touch.reason.deadline is not None:
        return planned, max(planned, touch.reason.deadline)
    return planned, Instant(planned + touch.plan.course.handling_time)


def cut_off(touch: Touch) -> Instant | None:
    """Return from when on a dose that nobody recorded is no longer simply late; None for what starts no dose."""
    if not touch.starts:
        return None
    minutes = touch.plan.orders[touch.starts[0].order].cut_off
    return None if minutes is None else Instant(touch.planned + minutes)


def overtaken(touch: Touch, schedule: Schedule) -> bool:
    """Say whether a later touch of the same lumen is recorded, or the infusion that came in its place at once."""
    last = schedule.lumens[touch.lumen].last_touch
    if last is None or last < touch.at:
        return False
    if last == touch.at and (touch.kind is not TouchKind.FINISH or touch.outcome is not None):
        return False
    return not only_beside(touch.lumen, {dose.order for dose in (*touch.ends, *touch.bags)}, touch.at, schedule)


def only_beside(lumen: str, orders: Set[str], since: Instant, schedule: Schedule) -> bool:
    """Say whether all that is recorded of a lumen from a moment on is of infusions that run beside those of some orders (S12).

    Such a start or finish says nothing about whether those have finished.
    """
    beside = {other for name in orders for other in schedule.plan.orders if schedule.plan.run_together(name, other)}
    if not beside:
        return False
    found = False
    for touch in schedule.touches[bisect_left(schedule.touches, since, key=lambda touch: touch.at) :]:
        if touch.lumen != lumen or touch.outcome is not Outcome.DONE:
            continue
        of_touch = {dose.order for dose in (*touch.starts, *touch.ends, *touch.bags)}
        if not of_touch or not of_touch <= beside:
            return False
        found = True
    return found


def status(touch: Touch, schedule: Schedule, now: Instant) -> Status:
    """Return the status of an event; ``cancelled`` is for what a calendar once showed and the schedule no longer has."""
    if touch.outcome in (Outcome.SKIPPED, Outcome.HELD):
        return Status.SKIPPED
    if touch.outcome is Outcome.NOT_GIVEN:
        return Status.MISSED
    opens, closes = window(touch)
    if touch.outcome is Outcome.DONE and not touch.outstanding:
        # What belongs to one handling is one event, whichever of its steps was reported when.
        return Status.DONE if (touch.flushed or touch.at) <= closes else Status.LATE
    if touch.outstanding:
        opens, closes = touch.at, Instant(touch.at + touch.plan.course.handling_time)
    if schedule.removed is not None and now >= schedule.removed:
        return Status.UNCONFIRMED  # after the line's removal nothing is due (R19)
    if now < opens:
        return Status.PLANNED
    if now <= closes:
        return Status.DUE
    last = cut_off(touch)
    waits = schedule.plan.course.household_records and not overtaken(touch, schedule)
    if not waits or (last is not None and now > last):
        return Status.UNCONFIRMED
    return Status.OVERDUE


def task_window(event: TaskEvent) -> tuple[Instant, Instant]:
    """Return from when to when a care task is due: its window either way or, where it has none, all of its local day."""
    return _task_window(event.plan, event.planned, event.care.on_time_within)


def _task_window(plan: Plan, planned: Instant, within: int | None) -> tuple[Instant, Instant]:
    if within is not None:
        return Instant(planned - within), Instant(planned + within)
    day = plan.clock.local(planned).date()
    (_, begins), (_, ends) = plan.clock.day_starts(day, day + timedelta(days=1))
    if not begins <= planned < ends:  # on a journey back over midnight the date comes twice
        zone, midnight = plan.clock.at(planned), datetime.combine(day, time())
        begins, ends = instant_of(midnight, zone)[0], instant_of(midnight + timedelta(days=1), zone)[0]
    return begins, Instant(ends - 1)


def task_status(event: TaskEvent, schedule: Schedule, now: Instant) -> Status:
    """Return how things stand with a care task.

    What nobody recorded waits, where the household records, until the task was done or comes round again; one that is tied
    to a dose until that was given, or may no longer be given.
    """
    if event.outcome in (Outcome.SKIPPED, Outcome.HELD):
        return Status.SKIPPED
    opens, closes = task_window(event)
    if event.outcome is Outcome.DONE:
        return Status.DONE if event.at <= closes else Status.LATE
    if _given(event):
        return Status.UNCONFIRMED
    if schedule.removed is not None and now >= schedule.removed:
        return Status.UNCONFIRMED
    if now < opens:
        return Status.PLANNED
    if now <= closes:
        return Status.DUE
    if not schedule.plan.course.household_records or _passed_by(event, schedule, now):
        return Status.UNCONFIRMED
    return Status.OVERDUE


def _given(event: TaskEvent) -> bool:
    """Say whether the dose before which something was to be done has begun: it was done, or it is too late for it."""
    return event.dose is not None and event.care.before_dose is not None and event.dose.started is not None


def waits_until(event: TaskEvent, later: Iterable[TaskEvent]) -> Instant:
    """Return from when on a care task that nobody recorded is no longer waited for; ``later`` are those of its task after it."""
    dose = event.dose
    if dose is not None:
        if _given(event):
            return NEVER
        waits_from = max(dose.due, task_window(event)[1])
        return Instant(waits_from + (event.plan.orders[dose.order].cut_off or 0) + 1)
    return min((_comes_round(other) for other in later), default=ENDLESS)


def _comes_round(event: TaskEvent) -> Instant:
    """Return from when on what was to be done before it is no longer waited for."""
    return NEVER if event.outcome is Outcome.DONE else task_window(event)[0]


def _passed_by(event: TaskEvent, schedule: Schedule, now: Instant) -> bool:
    if event.dose is not None:
        return now >= waits_until(event, ())
    planned, rounds = _rounds(schedule).get(event.task, ((), (ENDLESS,)))
    return now >= rounds[bisect_right(planned, event.planned)]


@lru_cache(maxsize=2)  # it is asked of every event of one schedule, one after the other
def _rounds(schedule: Schedule) -> Mapping[str, tuple[Sequence[Instant], Sequence[Instant]]]:
    """Return of each task when its occurrences were planned, in order, and from when on each or one after it has come
    round; at the end that none has."""
    found: dict[str, list[TaskEvent]] = defaultdict(list)
    for event in schedule.tasks:
        found[event.task].append(event)
    rounds = {}
    for name, events in found.items():
        events.sort(key=lambda event: event.planned)
        latest_first = accumulate((_comes_round(event) for event in reversed(events)), min, initial=ENDLESS)
        rounds[name] = [event.planned for event in events], list(latest_first)[::-1]
    return rounds


def dose_status(dose: Dose, schedule: Schedule, now: Instant) -> Status:
    """Return the status of a dose, which may run, unlike the event that starts it."""
    order = schedule.plan_at(dose.start).orders[dose.order]
    if dose.state is DoseState.RUNNING:
        return Status.RUNNING
    if dose.state is DoseState.NOT_GIVEN:
        return Status.MISSED
    if dose.state in (DoseState.SKIPPED, DoseState.HELD):
        return Status.SKIPPED
    within = order.on_time_within or 0
    if dose.state is DoseState.UNRECORDED and schedule.removed is not None and now >= schedule.removed:
        return Status.UNCONFIRMED
    if dose.state is not DoseState.UNRECORDED:
        return Status.DONE if dose.start <= dose.due + within else Status.LATE
    if now < dose.due - within:
        return Status.PLANNED
    if now <= dose.due + within:
        return Status.DUE
    past_cut_off = order.cut_off is not None and now > dose.due + order.cut_off
    later = schedule.lumens.get(dose.lumen)
    taken_over = later is not None and later.last_touch is not None and later.last_touch > dose.start
    if past_cut_off or taken_over or not schedule.plan.course.household_records:
        return Status.UNCONFIRMED
    return Status.OVERDUE
