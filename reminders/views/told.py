"""What waits for an answer at a moment: when it was to be told last, and when it is told again, or why it is not."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from reminders.record.facts import EMPTY, Record
from reminders.reminding.decide import Item
from reminders.reminding.matters import Matter, Sort
from reminders.reminding.moments import Telling, tellings
from reminders.reminding.orders import open_matters
from reminders.reminding.wording import heading
from reminders.schedule.care_now import away
from reminders.schedule.model import ENDLESS, Schedule
from reminders.times import Instant
from reminders.views.waiting import lumens_now
from reminders.words import CATALOGUE, clock_beside, lumen_words

_ = CATALOGUE.gettext

SHOWN = 10
"""So many things that wait are told one by one: those that are due last."""


@dataclass(frozen=True, slots=True)
class _Open:
    matter: Matter
    last: Telling
    following: Telling | None


def open_lines(schedule: Schedule, now: Instant, record: Record = EMPTY) -> list[str]:
    """Return what waits at ``now``, one line each, in order of time; then why other things are told to nobody.

    ``record`` is the one that the schedule was made with.
    """
    waits = [
        found for matter in open_matters(schedule, record, now) if (found := _open(matter, schedule, now)) is not None
    ]
    shown = sorted(waits, key=lambda found: found.following is not None)[-SHOWN:]  # rather what is still told
    lines = [_line(found, schedule, now) for found in waits if found in shown]
    if len(waits) > SHOWN:
        lines.insert(0, _("{count} earlier things; see  reminders due .").format(count=len(waits) - SHOWN))
    return [*lines, *_silences(schedule, now)]


def _open(matter: Matter, schedule: Schedule, now: Instant) -> _Open | None:
    """Return how a matter that is due is told; None for one that lies ahead, or whose turn is over unasked."""
    over = not schedule.plan.course.household_records and matter.until <= now
    if matter.at > now or over:
        return None
    last, following = _last_and_next(matter, schedule, now)
    return None if last is None else _Open(matter, last, following)


def _last_and_next(matter: Matter, schedule: Schedule, now: Instant) -> tuple[Telling | None, Telling | None]:
    last: Telling | None = None
    for telling in tellings(matter, schedule.plan.pop_ups, schedule.quiet):
        if telling.moment > now:
            return last, telling
        last = telling
    return last, None


def _line(found: _Open, schedule: Schedule, now: Instant) -> str:
    plan, day = schedule.plan, schedule.plan.clock.local(now).date()
    said = _("{at}  {what}; ").format(
        at=clock_beside(plan, found.last.moment, day), what=heading(Item(found.matter, found.last), plan, now)
    )
    if found.following is None:
        return said + _("not told again: {why}.").format(why=_why_not(found.matter, schedule, now))
    again = clock_beside(plan, found.following.moment, day)
    sleeps = any(begin <= now < end == found.following.moment for begin, end in schedule.quiet)
    if sleeps:
        return said + _("told again at {again}, when the quiet hours end.").format(again=again)
    return said + _("told again at {again}.").format(again=again)


def _why_not(matter: Matter, schedule: Schedule, now: Instant) -> str:
    if not schedule.plan.course.household_records:
        return _("this household does not record what it does")
    if matter.sort is Sort.CLOSED:
        return _("nothing is to be done with this lumen now")
    if matter.sort is Sort.OTHERS:
        return _("it is asked once whether somebody came")
    if _last_and_next(replace(matter, until=ENDLESS), schedule, now)[1] is not None:
        return _("a later one is asked instead")
    return _("it was told as often as the plan says")


def _silences(schedule: Schedule, now: Instant) -> Iterator[str]:
    """Say of which lumens nothing is told, or not everything, and why."""
    plan = schedule.plan
    for lumen in lumens_now(schedule, now):
        words = lumen_words(plan, lumen.name)
        if lumen.removed is not None:
            yield _("The line is out: nothing is told any more.")
            return
        if lumen.held:
            yield _("Of the {lumen} nothing is told: it is looked after elsewhere.").format(lumen=words)
        elif lumen.blocked:
            yield _("Of the {lumen} no flush is asked for: it must not be used.").format(lumen=words)
        elif not lumen.in_use:
            yield _("Of the {lumen} nothing is told: it is out of use.").format(lumen=words)
    if schedule.tasks and away(schedule, now):
        yield _("Of the care tasks nothing is told: the line is looked after elsewhere.")
