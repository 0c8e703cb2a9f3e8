"""What somebody is to be told of at a moment: what is due, or soon will be, and has not been answered (R14-R18).

A matter is open until it is recorded, skipped, or overtaken. What is not recorded stays one question, whatever the time; which of
several of one sort is told again and again is the last one, so that a forgotten finish of Monday does not ring beside Tuesday's.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import Enum

from reminders.plan.pop_ups import PopUps
from reminders.record.facts import Fact
from reminders.reminding.quiet import awake, awake_before
from reminders.schedule.care_now import drawn_by_others
from reminders.schedule.happened import within
from reminders.schedule.limits import limit_of
from reminders.schedule.lumen_now import blocked, closed, known_limit, running_doses
from reminders.schedule.model import (
    BLOCKS,
    ENDLESS,
    Dose,
    DoseState,
    Outcome,
    Schedule,
    TaskEvent,
    Touch,
    TouchKind,
    Why,
)
from reminders.schedule.status import cut_off, overtaken, window
from reminders.schedule.stock import Stocked
from reminders.times import Instant


class Sort(Enum):
    """What sort of thing is told."""

    EVENT = "an event that is due"
    FINISH = "an infusion that runs should have finished"
    MAYBE_FINISH = "an infusion of which no start is recorded should have finished"
    FLUSH = "a flush that is outstanding"
    LIMIT = "an idle limit that has passed"
    ASK_FIRST = "an event about which somebody must be asked first"
    CLOSED = "an event on a lumen that must not be used"
    NOT_STOPPED = "an infusion of which nobody has said that it was stopped, in a lumen that must not be used"
    ORDER = "an item of supply that must be ordered"
    TASK = "a care task of the household"
    OTHERS = "a care task, or a draw, that somebody from outside does"
    DRESSING = "a dressing that is wet, loose or soiled"
    STANDING = "an infusion that was interrupted and of which nobody has said that it runs again"


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """One thing to tell. ``key`` names it, with its moment: what moves is told anew.

    ``at``: when it is due. ``urgent_from``: from when on it is urgent, None for never. ``until``: when the next one of its
    sort takes its place. ``repeats``: whether an answer is waited for. It is about ``touch``, an event, or about ``dose``, an
    infusion, about ``task``, a care task, about ``sign``, one of the dressing, or about an idle limit; ``since``: the last known flush, or since when the infusion
    stands. One about ``stocked``, an item of supply, is told at its ``moments`` and at no others; a care task is asked about at
    them besides.
    """

    key: str
    sort: Sort
    lumen: str
    at: Instant
    urgent_from: Instant | None = None
    until: Instant = ENDLESS
    repeats: bool = True
    touch: Touch | None = None
    dose: Dose | None = None
    since: Instant | None = None
    stocked: Stocked | None = None
    task: TaskEvent | None = None
    sign: Fact | None = None
    moments: tuple[Instant, ...] = ()


Limits = Mapping[str, tuple[Instant, Instant] | None]
"""For each idle lumen its last known flush and its limit; None for one that is in use or not used at all."""


def matters(schedule: Schedule, now: Instant) -> list[Matter]:
    """Return everything that is open at ``now``, and what lies ahead, in order of time."""
    if schedule.removed is not None and now >= schedule.removed:
        return []
    limits = {lumen: known_limit(lumen, schedule) for lumen in schedule.plan.lumens}
    found = [matter for touch in schedule.touches if (matter := _of_touch(touch, schedule, limits, now)) is not None]
    outstanding = {matter.lumen for matter in found if matter.sort is Sort.FLUSH and matter.at <= now}
    found = [
        matter for matter in found if not (_idle_flush(matter) and matter.at <= now and matter.lumen in outstanding)
    ]
    found.sort(key=_in_order)
    found += [*_limits(schedule, limits, _one_of_each_sort(found), now), *_standing(schedule, now)]
    found.sort(key=_in_order)
    return _one_of_each_sort(found)


def _in_order(matter: Matter) -> tuple[Instant, str]:
    return matter.at, matter.key


def _of_touch(touch: Touch, schedule: Schedule, limits: Limits, now: Instant) -> Matter | None:
    if (schedule.removed is not None and touch.at >= schedule.removed) or overtaken(touch, schedule):
        return None
    if touch.outstanding:
        if closed(touch.lumen, schedule, now) or not (touch.steps or touch.asks):
            return None
        return Matter(
            key=f"{touch.uid}@{touch.at} flush",
            sort=Sort.ASK_FIRST if touch.asks or touch.nurse_only else Sort.FLUSH,
            lumen=touch.lumen,
            at=touch.at,
            urgent_from=touch.at,
            repeats=schedule.plan.course.household_records,
            touch=touch,
        )
    past = touch.planned <= now
    if touch.outcome is not None or (past and within(schedule.lumens[touch.lumen].held, now)):
        return None  # while the line is looked after elsewhere they do it there (S14)
    sort = _sort(touch, schedule, now)
    if sort is Sort.CLOSED and past and _runs_out(touch):
        return None  # that it was stopped is asked for
    at = touch.planned
    if sort is Sort.OTHERS and all(touch.plan.tasks[name].order is None for name in touch.tasks):
        at = awake(schedule.quiet, at)  # nobody is woken for what others do
    return Matter(
        key=f"{touch.uid}@{touch.planned}",
        sort=sort,
        lumen=touch.lumen,
        at=at,
        urgent_from=_urgent_from(touch, sort, limits[touch.lumen], schedule.plan.pop_ups),
        repeats=schedule.plan.course.household_records and sort is not Sort.CLOSED,
        touch=touch,
        moments=(awake_before(schedule.quiet, max(window(touch)[1], at), at),) if sort is Sort.OTHERS else (),
    )


def _sort(touch: Touch, schedule: Schedule, now: Instant) -> Sort:
    if any(ask.why in BLOCKS for ask in touch.asks) or (touch.at <= now and blocked(touch.lumen, schedule, now)):
        return Sort.CLOSED
    last = cut_off(touch)
    past_cut_off = last is not None and now > last
    if drawn_by_others(touch) and not touch.asks:
        return Sort.OTHERS
    # Of a limit that had passed before anybody could keep it, the event itself says: ask the nurse first.
    if touch.asks or touch.nurse_only or past_cut_off or touch.reason.why in (Why.PASSED, Why.UNKNOWN):
        return Sort.ASK_FIRST
    if touch.kind is TouchKind.FINISH:
        return Sort.FINISH if _runs_out(touch) else Sort.MAYBE_FINISH
    return Sort.EVENT


def _runs_out(touch: Touch) -> bool:
    """Say whether an infusion that runs, by what is recorded, has its last drop then."""
    return any(dose.state is DoseState.RUNNING for dose in (*touch.ends, *touch.bags))


def _urgent_from(touch: Touch, sort: Sort, known: tuple[Instant, Instant] | None, settings: PopUps) -> Instant | None:
    """Say from when on an event is urgent: a finish at once, another bag that runs out a little later, and whatever flushes
    the lumen once its limit has passed; nothing else in its first minutes, even if it stands at the limit itself."""
    if sort is Sort.FINISH:
        return touch.planned
    a_little_later = Instant(touch.planned + settings.again_every)
    if sort in (Sort.EVENT, Sort.ASK_FIRST) and _runs_out(touch):
        return a_little_later
    if sort not in (Sort.EVENT, Sort.MAYBE_FINISH):
        return None
    limits = [limit for limit in (touch.reason.deadline, None if known is None else known[1]) if limit is not None]
    flushes = touch.kind is TouchKind.IDLE_FLUSH or touch.starts or sort is Sort.MAYBE_FINISH
    return max(min(limits), a_little_later) if limits and flushes else None


def _limits(schedule: Schedule, limits: Limits, found: list[Matter], now: Instant) -> Iterator[Matter]:
    """Yield the limits that have passed, or will, where no open event of the lumen speaks of it then."""
    for lumen, known in limits.items():
        if known is None or closed(lumen, schedule, now):
            continue
        seen = max(now, known[1])
        if any(m.lumen == lumen and m.at <= seen and _speaks_of_the_limit(m, seen) for m in found):
            continue
        past = [touch for touch in schedule.touches if touch.lumen == lumen and known[0] < touch.planned <= seen]
        if not past:
            continue
        # Whoever left the flush out, or has reported a problem, knows why the limit passes.
        answered = past[-1].outcome is Outcome.SKIPPED or any(
            begin <= now < end for begin, end, _sign in schedule.lumens[lumen].problems
        )
        yield Matter(
            key=f"limit {lumen}@{known[1]}",
            sort=Sort.LIMIT,
            lumen=lumen,
            at=known[1] if known[1] < now else Instant(known[1] + 1),
            urgent_from=None if answered else known[1],
            since=known[0],
        )


def _speaks_of_the_limit(matter: Matter, at: Instant) -> bool:
    if _idle_flush(matter) and matter.until <= at:
        return False  # it is told no more: a start took its place, and may have become one to ask about
    drawn = matter.touch is not None and matter.touch.kind is TouchKind.DRAW  # it is never urgent by itself
    return (matter.sort is Sort.EVENT and not drawn) or matter.sort is Sort.FLUSH or _idle_flush(matter)


def _standing(schedule: Schedule, now: Instant) -> Iterator[Matter]:
    """Yield the infusions that stand, or should: a standing infusion lets the lumen clot, and one that should be stopped harms."""
    if not schedule.plan.course.household_records:
        return
    pause = schedule.plan.pop_ups.again_every
    for lumen in schedule.plan.lumens:
        state = schedule.lumens[lumen]
        for dose in running_doses(lumen, schedule):
            begun = [begin for begin, end, _why in state.blocked if begin <= now < end]
            paused = [begin for begin, end in dose.pauses if begin <= now < end]
            since, sort = (begun[0], Sort.NOT_STOPPED) if begun else (paused[-1] if paused else None, Sort.STANDING)
            if since is None:
                continue
            at = Instant(since + pause)  # whoever has just reported it was told what to do
            yield Matter(
                key=f"{sort.name.lower()} {dose.order} {dose.key}@{since}",
                sort=sort,
                lumen=lumen,
                at=at,
                urgent_from=at if begun else limit_of(schedule.plan, schedule.plan.lumens[lumen]).last_chance(since),
                dose=dose,
                since=since,
            )


def _idle_flush(matter: Matter) -> bool:
    return matter.touch is not None and matter.touch.kind is TouchKind.IDLE_FLUSH


def _one_of_each_sort(found: list[Matter]) -> list[Matter]:
    """Let each matter be told again only until the next one like it is due."""
    following: dict[tuple[str, ...], Instant] = {}

    def takes_over(like: tuple[str, ...], at: Instant) -> None:
        following[like] = min(at, following.get(like, ENDLESS))

    ended: list[Matter] = []
    for matter in reversed(found):
        like = _like(matter)
        ended.append(replace(matter, until=following.get(like, ENDLESS)))
        following[like] = matter.at
        touch = matter.touch
        if matter.sort in (Sort.FINISH, Sort.MAYBE_FINISH) and touch is not None:
            for dose in touch.ends:  # whoever is asked for the finish need not be asked for the start
                takes_over(("start", dose.order), matter.at)
        if touch is not None and touch.starts:  # nor for the flush that the start makes up for
            takes_over((TouchKind.IDLE_FLUSH.value, touch.lumen), matter.at)
    return ended[::-1]


def _like(matter: Matter) -> tuple[str, ...]:
    touch = matter.touch
    if touch is None or matter.sort is Sort.FLUSH:
        return matter.sort.value, matter.lumen
    if _runs_out(touch):
        return "runs out", (*touch.ends, *touch.bags)[0].order
    if touch.starts:
        return "start", touch.starts[0].order
    if touch.dose is not None:
        return touch.kind.value, touch.dose.order
    return touch.kind.value, touch.lumen
