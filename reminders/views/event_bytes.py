"""One event into the lines of an iCalendar file; what was written before in this process is not written anew."""

from dataclasses import dataclass
from datetime import timedelta
from functools import lru_cache

from icalendar import STATUS, Alarm, Event, vUri

from reminders.times import Instant, utc

MOST_KEPT = 2048
"""How many events' lines are kept; of a plan with more, those are written anew that were used longest ago."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventText:
    """All that an event's lines depend on.

    ``lasts`` and ``rings`` are minutes; ``rings`` before its start, None for no alarm, whose UID is ``alarm``. ``organizer``:
    for e-mail, a URI and a name, either may be empty.
    """

    uid: str
    at: Instant
    lasts: int
    title: str
    description: str
    category: str | None
    rings: int | None
    cancelled: bool
    sequence: int
    stamp: Instant
    alarm: str
    private: bool
    organizer: tuple[str, str] = ("", "")


@lru_cache(maxsize=MOST_KEPT)
def event_bytes(event: EventText) -> bytes:
    """Return a VEVENT of RFC 5545."""
    alarms = []
    if event.rings is not None:
        alarms.append(Alarm.new_display(event.title, timedelta(minutes=-event.rings), uid=event.alarm))
    written = Event.new(
        uid=event.uid,
        summary=event.title,
        description=event.description,
        start=utc(event.at),
        end=utc(Instant(event.at + event.lasts)),
        stamp=utc(event.stamp),
        last_modified=utc(event.stamp),
        sequence=event.sequence,
        status=STATUS.CANCELLED if event.cancelled else None,
        categories=[event.category] if event.category else (),
        subcomponents=alarms,
    )
    if event.private:
        written.add("CLASS", "PRIVATE")
    uri, name = event.organizer
    if uri:
        organizer = vUri(uri)
        if name:
            organizer.params["CN"] = name
        written.add("ORGANIZER", organizer)
    return bytes(written.to_ical())
