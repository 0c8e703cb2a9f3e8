"""What to tell now, and when to look again: from the schedule, from what was told before, and from now."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from reminders.record.facts import EMPTY, Record
from reminders.reminding.matters import Matter, Sort
from reminders.reminding.moments import Stage, Telling, tellings
from reminders.reminding.orders import open_matters
from reminders.reminding.quiet import asleep
from reminders.schedule.model import ENDLESS, Schedule
from reminders.times import Instant

NOTHING: Mapping[str, Instant] = {}
"""Nothing was told."""

LATE = 2
"""From how many minutes after its moment on a telling is late: the computer slept, or the program did not run."""


@dataclass(frozen=True, slots=True)
class Item:
    """One matter that is told now, by which telling. ``repeated``: it may have been shown already, before a crash."""

    matter: Matter
    telling: Telling
    repeated: bool = False


@dataclass(frozen=True, slots=True)
class Notice:
    """What is told together, in one pop-up. ``late``: it came due while nobody could be told."""

    items: tuple[Item, ...]
    urgent: bool
    late: bool


@dataclass(frozen=True, slots=True)
class Decision:
    """The notices to raise now, and the moment at which something else comes due (ENDLESS for never)."""

    notices: tuple[Notice, ...]
    next_moment: Instant


def decide(
    schedule: Schedule,
    told: Mapping[str, Instant],
    now: Instant,
    *,
    perhaps: Mapping[str, Instant] = NOTHING,
    held_back: Iterable[str] = (),
    record: Record = EMPTY,
) -> Decision:
    """Decide what is told at ``now``. ``record`` is the one that the schedule was made with.

    ``told``: for each matter by its key, the moment of the last telling that was shown. ``perhaps``: the tellings that may
    have been shown when a crash came, likewise. ``held_back``: those that could not be shown and are tried again later.

    Of the tellings of one matter that were missed only the last is told. What first came due while nobody could be told
    is one notice, with how late it is. What must be ordered is a notice of its own, and waits for the end of quiet hours.
    """
    settings, quiet = schedule.plan.pop_ups, schedule.quiet
    waiting = frozenset(held_back)
    late: list[Item] = []
    urgent: list[Item] = []
    ordinary: list[Item] = []
    orders: list[Item] = []
    following = ENDLESS
    for matter in open_matters(schedule, record, now):
        soonest = Instant(matter.at - settings.ahead)
        if now < soonest and following <= soonest:
            break  # they are in order of time: nothing after this one is told sooner
        last: Telling | None = None
        for telling in tellings(matter, settings, quiet, now):
            if telling.moment > now:
                following = min(following, telling.moment)
                break
            last = telling
        if last is None or matter.key in waiting or told.get(matter.key, -ENDLESS) >= last.moment:
            continue
        if not schedule.plan.course.household_records and matter.until <= now:
            continue  # nobody is asked, and the next one is due
        item = Item(matter, last, perhaps.get(matter.key, -ENDLESS) >= last.moment)
        if matter.sort is Sort.ORDER:
            sleep = asleep(quiet, now)
            if sleep is None:
                orders.append(item)
            else:
                following = min(following, sleep[1])
            continue
        first = told.get(matter.key, -ENDLESS) < matter.at
        if first and last.stage is not Stage.AHEAD and now - matter.at >= LATE:
            late.append(item)
        else:
            (urgent if last.urgent else ordinary).append(item)
    notices = []
    if late:
        notices.append(Notice(tuple(late), urgent=any(item.telling.urgent for item in late), late=True))
    if urgent:
        notices.append(Notice(tuple(urgent), urgent=True, late=False))
    if ordinary:
        notices.append(Notice(tuple(ordinary), urgent=False, late=False))
    if orders:
        notices.append(Notice(tuple(orders), urgent=any(item.telling.urgent for item in orders), late=False))
    return Decision(tuple(notices), following)
