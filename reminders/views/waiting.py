"""What waits, runs, comes next or has passed at a moment, lumen by lumen, as values (R14-R18, S13).

Nothing here is worded: the list of what is due and the page say the same of one schedule, each in its own way.
"""

from dataclasses import dataclass
from enum import Enum

from reminders.record.facts import Sign
from reminders.schedule.happened import within
from reminders.schedule.lumen_now import (
    blocked,
    closed,
    known_limit,
    overtaken_doses,
    running_doses,
    unknown_since,
)
from reminders.schedule.model import ENDLESS, Dose, DoseState, Schedule, Status, Touch, TouchKind
from reminders.schedule.status import cut_off, overtaken, status
from reminders.times import Instant

WAITS = frozenset({Status.DUE, Status.OVERDUE})


class Wait(Enum):
    """In which way an event waits to be answered."""

    FLUSH = "finished or drawn, and not flushed since"
    FLUSH_ASK = "the same, and somebody must be asked first"
    CLOSED = "its lumen must not be used now"
    DUE = "it is to be done now"
    PERHAPS = "its time has passed: it may have been done"
    PAST_CUT_OFF = "a dose past its cut-off: it may have been given"


class IfNot(Enum):
    """What to do with an event whose time has passed, if it was not done."""

    DO_IT = "do it now"
    UNTIL = "it may be started late, up to its cut-off"
    ASK = "it is not made up: ask"
    FIRST = "first it must be said whether a later dose of its lumen was started"


@dataclass(frozen=True, slots=True)
class Waiting:
    """One event that waits. ``if_not`` is for one whose time has passed; ``until`` is its cut-off, if that is to come;
    ``first`` is a later start in its lumen that is past and not recorded: it may run."""

    touch: Touch
    wait: Wait
    if_not: IfNot | None = None
    until: Instant | None = None
    first: Touch | None = None


class Flow(Enum):
    """How an infusion runs."""

    UNKNOWN = "its lumen was suspended while it ran; whether it was stopped is not known"
    PAUSED = "interrupted; when it will finish is not known"
    RUNS = "it runs"
    OVER = "it should have finished"


@dataclass(frozen=True, slots=True)
class Running:
    """One infusion that runs. ``at``: since when it is interrupted, or since when it is not known whether it runs; else
    when it finishes, None where nobody knows."""

    dose: Dose
    flow: Flow
    at: Instant | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LumenNow:
    """One lumen at one moment.

    ``removed``: since when the line is out; then nothing else is said. ``blocked``: since when the lumen must not be used;
    ``problems``: what is wrong with it, with since when; ``held``: it is looked after elsewhere. ``waits``: the events
    that wait to be answered, in order of time. ``passed``: the last known flush and the limit since it, where that has
    passed and nothing of it is outstanding. ``next``: the next event ahead. ``last_flush``: the last one recorded.
    ``unfinished``: infusions without a recorded finish that a later touch has overtaken, in order of time.
    """

    name: str
    removed: Instant | None = None
    in_use: bool = True
    blocked: tuple[Instant, ...] = ()
    problems: tuple[tuple[Sign, Instant], ...] = ()
    held: bool = False
    running: tuple[Running, ...] = ()
    waits: tuple[Waiting, ...] = ()
    passed: tuple[Instant, Instant] | None = None
    next: Touch | None = None
    last_flush: Instant | None = None
    unfinished: tuple[Dose, ...] = ()


def lumens_now(schedule: Schedule, now: Instant) -> tuple[LumenNow, ...]:
    """Return how things stand with every lumen at ``now``, in the plan's order."""
    return tuple(_lumen(name, schedule, now) for name in schedule.plan.lumens)


def _lumen(name: str, schedule: Schedule, now: Instant) -> LumenNow:
    state = schedule.lumens[name]
    if schedule.removed is not None and now >= schedule.removed:
        return LumenNow(name=name, removed=schedule.removed)
    touches = [touch for touch in schedule.touches if touch.lumen == name]
    outstanding = any(touch.outstanding for touch in touches)
    return LumenNow(
        name=name,
        in_use=schedule.plan.lumens[name].in_use,
        blocked=tuple(begin for begin, end, _why in state.blocked if begin <= now < end),
        problems=tuple((sign, begin) for begin, end, sign in state.problems if begin <= now < end),
        held=any(begin <= now < end for begin, end in state.held),
        running=tuple(_running(dose, schedule, now) for dose in running_doses(name, schedule)),
        waits=tuple(waits for touch in touches if (waits := waiting(touch, schedule, now)) is not None),
        passed=None if outstanding else _limit_passed(name, schedule, now),
        next=next((t for t in touches if status(t, schedule, now) is Status.PLANNED and t.at >= now), None),
        last_flush=state.last_flush,
        unfinished=tuple(sorted(overtaken_doses(name, schedule), key=lambda dose: dose.start)),
    )


def _running(dose: Dose, schedule: Schedule, now: Instant) -> Running:
    paused = next((begin for begin, end in dose.pauses if end == ENDLESS), None)
    if paused is not None:
        return Running(dose, Flow.PAUSED, paused)
    unknown = unknown_since(dose, schedule, now)
    if unknown is not None:
        return Running(dose, Flow.UNKNOWN, unknown)
    return Running(dose, Flow.OVER if dose.end is not None and dose.end < now else Flow.RUNS, dose.end)


def waiting(touch: Touch, schedule: Schedule, now: Instant) -> Waiting | None:
    """Return how an event waits to be answered; None if it does not."""
    how = status(touch, schedule, now)
    shut = blocked(touch.lumen, schedule, now)
    # Nobody has said that it was started: that is asked for, not its finish.
    unstarted = touch.kind is TouchKind.FINISH and all(dose.state is DoseState.UNRECORDED for dose in touch.ends)
    if touch.outstanding and shut:
        return None  # nothing is offered on this lumen
    if touch.outstanding and how in WAITS:
        return Waiting(touch, Wait.FLUSH_ASK if touch.nurse_only or touch.asks else Wait.FLUSH)
    if how in WAITS and shut:
        return None if unstarted else Waiting(touch, Wait.CLOSED)
    if how is Status.DUE:
        return Waiting(touch, Wait.DUE)
    if unstarted:
        return None
    if how is Status.OVERDUE:
        return _perhaps(touch, schedule, now)
    if how is Status.UNCONFIRMED and _past_cut_off(touch, schedule, now):
        return Waiting(touch, Wait.PAST_CUT_OFF)
    return None


def _perhaps(touch: Touch, schedule: Schedule, now: Instant) -> Waiting:
    """Say what to do with an overdue event that was not done: do it, or ask. Only the last of its sort is done at all."""
    held = within(schedule.lumens[touch.lumen].held, now)
    later = any(
        other.lumen == touch.lumen
        and touch.planned < other.planned
        and other.outcome is None
        and status(other, schedule, now) in WAITS
        and sort_of(other) == sort_of(touch)
        for other in schedule.touches
    )
    drawn = touch.kind is TouchKind.DRAW  # when blood is drawn is not the household's to say
    if later or held or touch.nurse_only or touch.asks or drawn:
        return Waiting(touch, Wait.PERHAPS, IfNot.ASK)
    started = _perhaps_started(touch, schedule, now)
    if started is not None:
        return Waiting(touch, Wait.PERHAPS, IfNot.FIRST, first=started)
    last = cut_off(touch)
    return Waiting(touch, Wait.PERHAPS, IfNot.DO_IT if last is None else IfNot.UNTIL, last)


def _perhaps_started(touch: Touch, schedule: Schedule, now: Instant) -> Touch | None:
    """Return the last start since, in the same lumen, that is past and of which nothing is recorded: it may run."""
    starts = [
        other
        for other in schedule.touches
        if other.lumen == touch.lumen and other.starts and touch.planned < other.planned < now and other.outcome is None
    ]
    return None if touch.ends else max(starts, key=lambda other: other.planned, default=None)


def sort_of(touch: Touch) -> tuple[bool, str]:
    """Return what an event is one of many of: the starts of an order's doses, their finishes, the flushes of a lumen."""
    return bool(touch.starts), touch.dose.order if touch.dose else touch.kind.value


def _past_cut_off(touch: Touch, schedule: Schedule, now: Instant) -> bool:
    """Say whether a dose is past its cut-off and nothing was recorded of its lumen since (R18)."""
    last = cut_off(touch)
    waits = schedule.plan.course.household_records and not overtaken(touch, schedule)
    return last is not None and now > last and waits


def _limit_passed(name: str, schedule: Schedule, now: Instant) -> tuple[Instant, Instant] | None:
    """Return the last recorded flush of an idle lumen and when its limit passed, where nothing is recorded since (R16)."""
    known = known_limit(name, schedule)
    if known is None or known[1] >= now or closed(name, schedule, now):
        return None
    waits = any(
        touch.lumen == name and touch.at <= now and status(touch, schedule, now) not in (Status.DONE, Status.LATE)
        for touch in schedule.touches
        if touch.kind is TouchKind.IDLE_FLUSH or touch.starts or touch.ends
    )
    return known if waits else None
