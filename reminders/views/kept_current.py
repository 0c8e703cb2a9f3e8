"""What a calendar that is kept current shows besides the plan's events: when it was renewed last, and a test alarm.

A phone goes on showing what it got last, however old that is. So such a calendar holds one event that lies about a day
ahead and moves on whenever the calendar is renewed: its time comes only where it is not.
"""

from dataclasses import dataclass
from datetime import timedelta

from reminders.feed_words import renewed_words, test_words
from reminders.plan.model import Plan
from reminders.schedule.identity import Identities
from reminders.schedule.model import Schedule
from reminders.times import DAY, HOUR, Instant

TEST_STAYS = HOUR
"""How long after its time, in minutes, a test alarm stands in the calendar before it is shown as cancelled."""


@dataclass(frozen=True, slots=True)
class KeptCurrent:
    """Which calendar it is, as a name of its own, and the instant of the test alarm that was asked for last."""

    name: str
    test: Instant | None = None


@dataclass(frozen=True, slots=True)
class OwnEvent:
    """An event that belongs to one calendar and to nothing in the plan. ``rings``: minutes before its start."""

    uid: str
    at: Instant
    title: str
    description: str
    rings: int


def own_uids(plan: Plan, kept: KeptCurrent) -> list[str]:
    """Return the UIDs of the events that only this calendar ever shows."""
    names = Identities(plan)
    uids = [names.of("renewed", kept.name)]
    if kept.test is not None:
        uids.append(names.of("test", kept.name, str(kept.test)))
    return uids


def own_events(schedule: Schedule, kept: KeptCurrent, now: Instant) -> list[OwnEvent]:
    """Return what such a calendar shows besides the plan's events if it is renewed ``now``."""
    plan = schedule.plan
    uids = own_uids(plan, kept)
    events = []
    at = renewed_until(plan, now)
    ends = schedule.end if schedule.removed is None else min(schedule.end, schedule.removed)
    if at < ends:  # later on nothing is to come of which a copy could be old
        title, body = renewed_words(plan, at, now)
        events.append(OwnEvent(uids[0], at, title, body, before_quiet_hours(schedule, at, 0)))
    if kept.test is not None and now < kept.test + TEST_STAYS:
        title, body = test_words(plan, kept.test)
        events.append(OwnEvent(uids[1], kept.test, title, body, 0))
    return events


def renewed_until(plan: Plan, now: Instant) -> Instant:
    """Return when what was renewed ``now`` is to be taken for old: about noon of the next local day.

    So it changes once a day, however often the calendar is written; a computer that is off by night is not missed, and a
    phone that looks once a day has always looked since.
    """
    day = plan.clock.local(now).date() + timedelta(days=1)
    return Instant(plan.clock.day_starts(day, day)[0][1] + DAY // 2)


def before_quiet_hours(schedule: Schedule, at: Instant, rings: int) -> int:
    """Return how many minutes before ``at`` an event rings that nobody is to be woken for, and would at ``rings`` before."""
    asleep = next((begin for begin, end in schedule.quiet if begin <= at - rings < end), None)
    return rings if asleep is None else min(at - asleep + 1, DAY - 1)  # a day is nominal
