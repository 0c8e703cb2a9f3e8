"""What somebody is to be told of at a moment: what is due, or soon will be, and has not been answered (R14-R18).

A matter is open until it is recorded, skipped, or overtaken. What is not recorded stays one question, whatever the time; which of
several of one sort is told again and again is the last one, so that a forgotten finish of Monday does not ring beside Tuesday's.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum

from reminders.plan.pop_ups import PopUps
from reminders.schedule.lumen_now import closed, known_limit
from reminders.schedule.model import BLOCKS, ENDLESS, DoseState, Schedule, Touch, TouchKind
from reminders.schedule.status import overtaken
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """One thing to tell. ``key`` names it, with its moment: what moves is told anew.

    ``at``: when it is due. ``urgent_from``: from when on it is urgent, None for never. ``until``: when the next one of its
    sort takes its place. ``repeats``: whether an answer is waited for. ``touch``: the event, None for a limit, of which
    ``since`` is the last known flush.
    """

    key: str
    sort: Sort
    lumen: str
    at: Instant
    urgent_from: Instant | None = None
    until: Instant = ENDLESS
    repeats: bool = True
    touch: Touch | None = None
    since: Instant | None = None


def matters(schedule: Schedule, now: Instant) -> list[Matter]:
    """Return everything that is open at ``now``, and what lies ahead, in order of time."""
    known = {lumen: known_limit(lumen, schedule) for lumen in schedule.plan.lumens}
    found = [matter for touch in schedule.touches if (matter := _of_touch(touch, schedule, known, now)) is not None]
    found += _limits(schedule, known, found, now)
    found.sort(key=lambda matter: (matter.at, matter.key))
    return _one_of_each_sort(found)


Limits = dict[str, tuple[Instant, Instant] | None]
"""For each idle lumen its last known flush and its limit; None for one that is in use or not used at all."""


def _of_touch(touch: Touch, schedule: Schedule, known: Limits, now: Instant) -> Matter | None:
    if schedule.removed is not None and max(now, touch.at) >= schedule.removed:
        return None
    if touch.outstanding:
        if closed(touch.lumen, schedule, now) or not touch.steps:
            return None
        sort = Sort.ASK_FIRST if touch.asks or touch.nurse_only else Sort.FLUSH
        return Matter(
            key=f"{touch.uid}@{touch.at} flush",
            sort=sort,
            lumen=touch.lumen,
            at=touch.at,
            urgent_from=touch.at,
            repeats=schedule.plan.course.household_records,
            touch=touch,
        )
    if touch.outcome is not None or overtaken(touch, schedule):
        return None
    sort = _sort(touch, schedule, now)
    return Matter(
        key=f"{touch.uid}@{touch.planned}",
        sort=sort,
        lumen=touch.lumen,
        at=touch.planned,
        urgent_from=_urgent_from(touch, sort, known[touch.lumen], schedule.plan.pop_ups),
        repeats=schedule.plan.course.household_records,
        touch=touch,
    )


def _sort(touch: Touch, schedule: Schedule, now: Instant) -> Sort:
    if any(ask.why in BLOCKS for ask in touch.asks) or (touch.at <= now and closed(touch.lumen, schedule, now)):
        return Sort.CLOSED
    if touch.kind is TouchKind.FINISH:
        running = any(dose.state is DoseState.RUNNING for dose in touch.ends)
        return Sort.FINISH if running else Sort.MAYBE_FINISH
    return Sort.ASK_FIRST if touch.asks else Sort.EVENT


def _urgent_from(touch: Touch, sort: Sort, known: tuple[Instant, Instant] | None, settings: PopUps) -> Instant | None:
    """Say from when on an event is urgent: a finish at once, whatever flushes the lumen once its limit has passed."""
    if sort is Sort.FINISH:
        return touch.planned
    if sort is not Sort.EVENT:
        return None
    if touch.reason.deadline is not None:
        return max(touch.planned, touch.reason.deadline)
    if not touch.starts or known is None:
        return None
    # A start that stands at the limit itself is not urgent in its first minutes.
    return max(known[1], Instant(touch.planned + settings.again_every))


def _limits(schedule: Schedule, limits: Limits, found: list[Matter], now: Instant) -> Iterator[Matter]:
    """Yield the limits that have passed where no open event of the lumen speaks of it already."""
    if schedule.removed is not None and now >= schedule.removed:
        return
    for lumen, known in limits.items():
        if known is None or known[1] >= now or closed(lumen, schedule, now):
            continue
        if any(m.lumen == lumen and m.at <= now and m.sort in (Sort.EVENT, Sort.FLUSH, Sort.ASK_FIRST) for m in found):
            continue
        if not any(t.lumen == lumen and known[0] < t.planned <= now for t in schedule.touches):
            continue
        yield Matter(
            key=f"limit {lumen}@{known[1]}",
            sort=Sort.LIMIT,
            lumen=lumen,
            at=known[1],
            urgent_from=known[1],
            since=known[0],
        )


def _one_of_each_sort(found: list[Matter]) -> list[Matter]:
    """Let each matter be told again only until the next one like it is due."""
    following: dict[tuple[str, ...], Instant] = {}
    ended: list[Matter] = []
    for matter in reversed(found):
        like = _like(matter)
        ended.append(replace(matter, until=following.get(like, ENDLESS)))
        following[like] = matter.at
        if matter.sort in (Sort.FINISH, Sort.MAYBE_FINISH):
            assert matter.touch is not None
            for dose in matter.touch.ends:  # whoever is asked for the finish need not be asked for the start
                following["start", dose.order] = min(matter.at, following.get(("start", dose.order), ENDLESS))
    return ended[::-1]


def _like(matter: Matter) -> tuple[str, ...]:
    touch = matter.touch
    if touch is None or matter.sort is Sort.FLUSH:
        return matter.sort.value, matter.lumen
    if touch.starts:
        return "start", touch.starts[0].order
    if touch.dose is not None:
        return touch.kind.value, touch.dose.order
    return touch.kind.value, touch.lumen
