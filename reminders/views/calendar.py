"""The schedule as iCalendar (RFC 5545, RFC 7986): the same instants for every reader (R23-R27).

Every event is written with ``DTSTART`` and ``DTEND`` in UTC and nothing that a reader would have to work out: no
TZID, VTIMEZONE, RRULE or DURATION. The local time stands in words in the description.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from icalendar import Alarm, Calendar, Event, vDuration

from reminders import words
from reminders.event_words import EventWords
from reminders.plan.model import Plan, Reveals
from reminders.schedule.identity import Identities
from reminders.schedule.model import Schedule, Touch
from reminders.times import DAY, Instant, utc

PRODID = "-//reminders//EN"

LARGEST_FILE = 900_000
"""Bytes. Some phones' calendars refuse files of about 1 MB (reported by users; no limit is published)."""


SPARE = 2000
"""Bytes kept free because the closing event may say more than the one reckoned with: dates, and what still runs."""


@dataclass(frozen=True, slots=True)
class CalendarFile:
    """One calendar as bytes, the number of touches that it holds, and the instant at which it ends.

    It holds every touch that it was asked for before the local day of ``until``, and ``left_out`` counts those from then
    on that would have made the file too large.
    """

    content: bytes
    events: int
    until: Instant
    left_out: int


def calendar_file(
    schedule: Schedule,
    *,
    first: Instant | None = None,
    last: Instant | None = None,
    lumen: str | None = None,
    largest: int = LARGEST_FILE,
) -> CalendarFile:
    """Return the calendar of all lumens or of one, from ``first`` up to ``last``, at most ``largest`` bytes.

    Where the size runs out the calendar ends with a whole day. Unless it reaches the line's removal, a last event says
    that the calendar ends.
    """
    plan = schedule.plan
    begin = schedule.start if first is None else first
    end = schedule.end if last is None else last
    wanted = [
        touch
        for touch in schedule.touches
        if begin <= touch.at and (touch.at < end or end >= schedule.end) and lumen in (None, touch.lumen)
    ]
    names = Identities(plan)
    head = _head(plan, schedule, names, lumen).to_ical()
    wording = EventWords(plan)
    room = largest - len(head) - len(_ends_here(schedule, names, schedule.end, lumen).to_ical()) - SPARE
    pieces: list[bytes] = []
    for touch in wanted:
        pieces.append(_event(touch, wording, plan, names).to_ical())
        room -= len(pieces[-1])
        if room < 0:
            break
    kept = len(pieces) if room >= 0 else _whole_days(wanted, len(pieces) - 1, plan)
    pieces = pieces[:kept]
    until = min(end, schedule.end) if kept == len(wanted) else wanted[kept].at
    if kept:
        until = max(until, Instant(wanted[kept - 1].at + 2 * plan.course.handling_time))
    removal = plan.course.line_removal
    if removal is None or until < removal.instant or not kept:
        pieces.append(_ends_here(schedule, names, until, lumen).to_ical())
    closing = b"END:VCALENDAR\r\n"
    content = head.removesuffix(closing) + b"".join(pieces) + closing
    return CalendarFile(content, kept, until, len(wanted) - kept)


def _whole_days(touches: Sequence[Touch], fit: int, plan: Plan) -> int:
    """Return how many of the first ``fit`` touches lie before the local day of the one that does not fit."""
    cut_day = plan.clock.local(touches[fit].at).date()
    while fit > 0 and plan.clock.local(touches[fit - 1].at).date() == cut_day:
        fit -= 1
    return fit


def _head(plan: Plan, schedule: Schedule, names: Identities, lumen: str | None) -> Calendar:
    open_ = plan.calendar.reveals is Reveals.EVERYTHING
    name = plan.calendar.name if open_ else words.DISCREET_CALENDAR
    if lumen is not None:
        place = list(plan.lumens).index(lumen) + 1
        name = f"{name}: {words.lumen_words(plan, lumen)}" if open_ else f"{name} {place}"
    stamp = utc(plan.course.takes_effect.instant)
    calendar = Calendar.new(
        prodid=PRODID,
        name=name,
        uid=names.of("calendar", lumen or ""),
        last_modified=stamp,
        color=plan.calendar.colour,
        description=plan.course.note if open_ and plan.course.note else None,
    )
    refresh = timedelta(minutes=plan.calendar.refresh_every)
    calendar.add("REFRESH-INTERVAL", vDuration(refresh), parameters={"VALUE": "DURATION"})
    calendar.add("X-PUBLISHED-TTL", vDuration(refresh))
    calendar.add("X-ZONE-DATA", schedule.zone_data)
    return calendar


def _event(touch: Touch, wording: EventWords, plan: Plan, names: Identities) -> Event:
    title, description = wording.event(touch)
    return _vevent(
        plan,
        names,
        uid=touch.uid,
        at=touch.at,
        title=title,
        description=description,
        category=_category(touch.lumen, plan),
    )


def _category(lumen: str, plan: Plan) -> str:
    if plan.calendar.reveals is not Reveals.EVERYTHING:
        return str(list(plan.lumens).index(lumen) + 1)
    return words.lumen_words(plan, lumen)


def _ends_here(schedule: Schedule, names: Identities, until: Instant, lumen: str | None) -> Event:
    """Return the event, after all others, that says that the calendar holds no more; it ends at ``until``.

    It is the same event in every file of its calendar, so that a later file's takes the place of an earlier one's; its
    SEQUENCE rises with the day. Nobody is woken for it: where it would ring in the quiet hours it rings before them.
    """
    plan = schedule.plan
    at = Instant(until - plan.course.handling_time)
    rings = at - plan.calendar.alarm_before
    asleep = next((begin for begin, end in schedule.quiet if begin <= rings < end), None)
    clock = plan.clock
    said = [f"{words.moment_words(clock.local(at))}."]
    if plan.calendar.reveals is Reveals.NOTHING:
        said.append(words.DISCREET_END)
    else:
        said.append(words.CALENDAR_ENDS_BODY.format(until=words.moment_words(clock.local(until))))
        running = [
            plan.orders[name].drug
            for name, doses in schedule.connected.items()
            if lumen in (None, plan.orders[name].lumen)
            and any(dose.start < until and (dose.end is None or dose.end >= until) for dose in doses)
        ]
        if running:
            said.append(words.STILL_RUNNING.format(drugs=", ".join(running)))
    return _vevent(
        plan,
        names,
        uid=names.of("calendar ends", lumen or ""),
        at=at,
        title=words.CALENDAR_ENDS if plan.calendar.reveals is Reveals.EVERYTHING else words.DISCREET_TITLE,
        description="\n".join(said),
        category=None,
        later=max(0, (until - schedule.start) // DAY),
        rings_before=None if asleep is None else min(at - asleep + 1, DAY - 1),  # below a day, which is nominal
    )


def _vevent(
    plan: Plan,
    names: Identities,
    *,
    uid: str,
    at: Instant,
    title: str,
    description: str,
    category: str | None,
    later: int = 0,
    rings_before: int | None = None,
) -> Event:
    stamp = utc(plan.course.takes_effect.instant)
    lead = plan.calendar.alarm_before if rings_before is None else rings_before
    event = Event.new(
        uid=uid,
        summary=title,
        description=description,
        start=utc(at),
        end=utc(Instant(at + plan.course.handling_time)),
        stamp=stamp,
        last_modified=stamp,
        sequence=plan.course.revision - 1 + later,
        categories=[category] if category else (),
        subcomponents=[
            Alarm.new_display(title, timedelta(minutes=-lead), uid=names.of("alarm", uid)),
        ],
    )
    if plan.calendar.reveals is not Reveals.EVERYTHING:
        event.add("CLASS", "PRIVATE")
    return event
