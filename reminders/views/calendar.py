"""The schedule as iCalendar (RFC 5545, RFC 7986): the same instants for every reader (R23-R27).

Every event is written with ``DTSTART`` and ``DTEND`` in UTC and nothing that a reader would have to work out: no
TZID, VTIMEZONE, RRULE or DURATION. The local time stands in words in the description.

What was published before says which number an event bears: SEQUENCE, DTSTAMP and LAST-MODIFIED rise together, and only
where the event says something else than before. An event that is gone is shown as cancelled before it is left out. A
file for e-mail is the same calendar as an RFC 5546 PUBLISH: programs apply whichever attachment is opened last, so it is
always the whole plan.
"""

import hashlib
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import timedelta

from icalendar import Calendar, vDuration

from reminders import words
from reminders.event_words import EventWords
from reminders.plan.model import Plan, Reveals
from reminders.record.facts import Shown
from reminders.record.published import NOTHING, Published
from reminders.schedule.identity import Identities
from reminders.schedule.model import Outcome, Schedule, Touch
from reminders.times import DAY, Instant, utc
from reminders.views.event_bytes import EventText, event_bytes
from reminders.views.kept_current import KeptCurrent, before_quiet_hours, own_events

PRODID = "-//reminders//EN"

LARGEST_FILE = 900_000
"""Bytes. Some phones' calendars refuse files of about 1 MB (reported by users; no limit is published)."""

SPARE = 2000
"""Bytes kept free because the closing event may say more than the one reckoned with: dates, and what still runs."""

KEPT_CANCELLED = 2 * DAY
"""How long, in minutes, a cancelled event stays in the file after its time."""


@dataclass(frozen=True, slots=True)
class CalendarFile:
    """One calendar as bytes, the number of touches that it holds, and the instant at which it ends.

    It holds every touch that it was asked for before the local day of ``until``, and ``left_out`` counts those from then
    on that would have made the file too large. ``shown`` is what it shows, by UID, cancelled events among it; ``waiting`` is
    what is gone and finds no room in it yet.
    """

    content: bytes
    events: int
    until: Instant
    left_out: int
    shown: Mapping[str, Shown]
    waiting: frozenset[str]


def calendar_file(
    schedule: Schedule,
    *,
    first: Instant | None = None,
    last: Instant | None = None,
    lumen: str | None = None,
    largest: int = LARGEST_FILE,
    before: Published = NOTHING,
    now: Instant | None = None,
    for_mail: bool = False,
    current: KeptCurrent | None = None,
) -> CalendarFile:
    """Return the calendar of all lumens or of one, from ``first`` up to ``last``, at most ``largest`` bytes.

    Where the size runs out the calendar ends with a whole day. Unless it reaches the line's removal, a last event says
    that the calendar ends. ``before`` is what was published; what changes bears ``now`` (at least one minute more than
    it bore before). ``for_mail`` makes it a PUBLISH of RFC 5546. ``current`` adds what a calendar shows that is kept current.
    """
    plan = schedule.plan
    begin = schedule.start if first is None else first
    end = schedule.end if last is None else last
    wanted = [
        touch
        for touch in schedule.touches
        if begin <= touch.at and (touch.at < end or end >= schedule.end) and lumen in (None, touch.lumen)
    ]
    pen = _Pen(schedule, before, now or schedule.start, lumen, for_mail, last)
    own = pen.own(current) if current is not None else []
    gone, waiting = pen.gone(largest // 3, {piece.uid for piece in own})
    gone = [*own, *gone]
    tail = pen.ends_here(schedule.end)
    room = (
        largest
        - len(pen.head(tail.shown.stamp))
        - len(tail.content)
        - sum(len(piece.content) for piece in gone)
        - SPARE
    )
    pieces: list[_Piece] = []
    for touch in wanted:
        pieces.append(pen.event(touch))
        room -= len(pieces[-1].content)
        if room < 0:
            break
    kept = len(pieces) if room >= 0 else _whole_days(wanted, len(pieces) - 1, plan)
    pieces = pieces[:kept]
    until = min(end, schedule.end) if kept == len(wanted) else wanted[kept].at
    if kept:
        until = max(until, Instant(wanted[kept - 1].at + 2 * plan.course.handling_time))
    removed = schedule.removed
    if removed is None or until < removed or not kept:
        pieces.append(pen.ends_here(until))
    else:
        gone = [*pen.nothing_follows(), *gone]
    pieces += gone
    changed = max((piece.shown.stamp for piece in pieces), default=plan.course.takes_effect.instant)
    closing = b"END:VCALENDAR\r\n"
    content = pen.head(changed).removesuffix(closing) + b"".join(piece.content for piece in pieces) + closing
    return CalendarFile(content, kept, until, len(wanted) - kept, {piece.uid: piece.shown for piece in pieces}, waiting)


def _whole_days(touches: Sequence[Touch], fit: int, plan: Plan) -> int:
    """Return how many of the first ``fit`` touches lie before the local day of the one that does not fit."""
    cut_day = plan.clock.local(touches[fit].at).date()
    while fit > 0 and plan.clock.local(touches[fit - 1].at).date() == cut_day:
        fit -= 1
    return fit


@dataclass(frozen=True, slots=True)
class _Piece:
    """One event of the file: its bytes and what they show."""

    uid: str
    content: bytes
    shown: Shown


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    """What one event says, apart from its numbers. ``rings``: minutes before its start, None for no alarm."""

    uid: str
    at: Instant
    title: str
    description: str
    category: str | None = None
    rings: int | None = None
    cancelled: bool = False


class _Pen:
    """Writes the parts of one calendar."""

    def __init__(
        self,
        schedule: Schedule,
        before: Published,
        now: Instant,
        lumen: str | None,
        for_mail: bool,
        last: Instant | None,
    ) -> None:
        self._schedule, self._before, self._now, self._lumen, self._for_mail = schedule, before, now, lumen, for_mail
        self._last = "" if last is None else str(last)
        self._plan = schedule.plan
        self._names = Identities(self._plan)
        self._words = EventWords(self._plan)
        self._open = self._plan.calendar.reveals is Reveals.EVERYTHING
        # What has moved to another lumen is cancelled here only: its copy there must rank above this one.
        self._elsewhere = {touch.uid for touch in schedule.touches if lumen not in (None, touch.lumen)}
        self._organizer = ("", "")
        if for_mail:
            name = self._plan.protocol.provider if self._open else ""
            self._organizer = (f"urn:uuid:{self._names.of('organizer')}", name)

    def head(self, changed: Instant) -> bytes:
        """Return the calendar without its events; ``changed`` is when any of them last was."""
        plan = self._plan
        name = plan.calendar.name if self._open else words.DISCREET_CALENDAR
        if self._lumen is not None:
            place = list(plan.lumens).index(self._lumen) + 1
            name = f"{name}: {words.lumen_words(plan, self._lumen)}" if self._open else f"{name} {place}"
        calendar = Calendar.new(
            prodid=PRODID,
            method="PUBLISH" if self._for_mail else None,
            name=name,
            uid=self._names.of("calendar", self._lumen or ""),
            last_modified=utc(changed),
            color=plan.calendar.colour,
            description=words.calendar_words(plan) if self._open else None,
        )
        refresh = timedelta(minutes=plan.calendar.refresh_every)
        calendar.add("REFRESH-INTERVAL", vDuration(refresh), parameters={"VALUE": "DURATION"})
        calendar.add("X-PUBLISHED-TTL", vDuration(refresh))
        calendar.add("X-ZONE-DATA", self._schedule.zone_data)
        return bytes(calendar.to_ical())

    def event(self, touch: Touch) -> _Piece:
        """Return the event of a touch; only what is still to be done rings."""
        title, description = self._words.event(touch)
        ahead = touch.outcome is None or touch.outstanding
        return self._write(
            _Entry(
                uid=touch.uid,
                at=touch.at,
                title=title,
                description=description,
                category=self._category(touch.lumen),
                rings=self._plan.calendar.alarm_before if ahead else None,
                cancelled=touch.outcome in (Outcome.SKIPPED, Outcome.HELD),
            )
        )

    def own(self, current: KeptCurrent) -> list[_Piece]:
        """Return the events of a calendar that is kept current which are none of the plan's."""
        return [
            self._write(_Entry(uid=own.uid, at=own.at, title=own.title, description=own.description, rings=own.rings))
            for own in own_events(self._schedule, current, self._now)
        ]

    def gone(self, room: int, own: AbstractSet[str] = frozenset()) -> tuple[list[_Piece], frozenset[str]]:
        """Return what was shown before and is planned no more: as cancelled, until some days after its time.

        ``own`` is shown besides the plan's events. It takes at most ``room`` bytes, what is ahead and soonest first; the rest waits, and is returned by its UIDs.
        """
        planned = {touch.uid for touch in self._schedule.touches if self._lumen in (None, touch.lumen)}
        gone = [
            (uid, shown)
            for uid, shown in self._before.kin.items()
            if uid not in planned
            and uid not in own
            and uid != self._ending
            and (not shown.cancelled or self._before.furthest[uid] + KEPT_CANCELLED > self._now)
        ]
        gone.sort(key=lambda entry: (entry[1].start < self._now, abs(entry[1].start - self._now), entry[0]))
        pieces: list[_Piece] = []
        for uid, shown in gone:
            piece = self._cancelled(uid, shown)
            room -= len(piece.content)
            if room < 0:
                break
            pieces.append(piece)
        waiting = frozenset(uid for uid, _shown in gone[len(pieces) :])
        return sorted(pieces, key=lambda piece: (piece.shown.start, piece.uid)), waiting

    def nothing_follows(self) -> list[_Piece]:
        """Return the closing event as cancelled, where one was shown: after the line's removal nothing follows."""
        shown = self._before.kin.get(self._ending)
        if shown is None or (shown.cancelled and self._before.furthest[self._ending] + KEPT_CANCELLED <= self._now):
            return []
        return [self._cancelled(self._ending, shown)]

    def _cancelled(self, uid: str, shown: Shown) -> _Piece:
        title = words.DISCREET_TITLE
        if self._open:
            title = shown.title if shown.cancelled else words.no_longer(shown.title)
        body = words.NO_LONGER_BODY if self._open else words.DISCREET_NO_LONGER
        entry = _Entry(uid=uid, at=shown.start, title=title, description=body, cancelled=True)
        return self._write(entry, here=shown if uid in self._elsewhere else None)

    @property
    def _ending(self) -> str:
        return self._names.of("calendar ends", self._lumen or "", *([self._last] if self._last else []))

    def ends_here(self, until: Instant) -> _Piece:
        """Return the event, after all others, that says that the calendar holds no more; it ends at ``until``.

        It is the same event in every file of its calendar, so that a later file's takes the place of an earlier one's;
        its SEQUENCE rises with the day too, for a file made where the record of what was published is not at hand.
        Nobody is woken for it: where it would ring in the quiet hours it rings before them.
        """
        plan, schedule = self._plan, self._schedule
        at = Instant(until - plan.course.handling_time)
        clock = plan.clock
        said = [f"{words.moment_words(clock.local(at))}."]
        if plan.calendar.reveals is Reveals.NOTHING:
            said.append(words.DISCREET_END)
        else:
            said.append(words.CALENDAR_ENDS_BODY.format(until=words.moment_words(clock.local(until))))
            running = [
                plan.orders[name].drug
                for name, doses in schedule.connected.items()
                if any(
                    self._lumen in (None, dose.lumen) and dose.start < until and (dose.end is None or dose.end >= until)
                    for dose in doses
                    if dose.reckoned
                )
            ]
            if running:
                said.append(words.STILL_RUNNING.format(drugs=", ".join(running)))
        entry = _Entry(
            uid=self._ending,
            at=at,
            title=words.CALENDAR_ENDS if self._open else words.DISCREET_TITLE,
            description="\n".join(said),
            rings=before_quiet_hours(schedule, at, plan.calendar.alarm_before),
        )
        return self._write(entry, later=max(0, (until - schedule.start) // DAY))

    def _category(self, lumen: str) -> str:
        if not self._open:
            return str(list(self._plan.lumens).index(lumen) + 1)
        return words.lumen_words(self._plan, lumen)

    def _write(self, entry: _Entry, later: int = 0, here: Shown | None = None) -> _Piece:
        shown = self._numbered(entry, later, here)
        plan = self._plan
        text = EventText(
            uid=entry.uid,
            at=entry.at,
            lasts=plan.course.handling_time,
            title=entry.title,
            description=entry.description,
            category=entry.category,
            rings=entry.rings,
            cancelled=entry.cancelled,
            sequence=shown.sequence,
            stamp=shown.stamp,
            alarm="" if entry.rings is None else self._names.of("alarm", entry.uid),
            private=not self._open,
            organizer=self._organizer,
        )
        return _Piece(entry.uid, event_bytes(text), shown)

    def _numbered(self, entry: _Entry, later: int, here: Shown | None) -> Shown:
        """Return the numbers of an event: those that it bore if it says what it said, else higher ones.

        A change is two up. The number between is for ``here``, the calendar of a lumen that an event has left, which
        cancels it: on a phone with both calendars the event in its new lumen must rank above that.
        """
        course = self._plan.course
        said = repr(
            (entry.at, entry.title, entry.description, entry.category, entry.rings, entry.cancelled, self._open)
        )
        digest = hashlib.sha256(f"{said}{course.handling_time}".encode()).hexdigest()[:16]
        last = here or self._before.latest.get(entry.uid)
        if last is None:
            sequence, stamp = course.revision - 1 + later, course.takes_effect.instant
        elif last.digest == digest:
            sequence, stamp = last.sequence, last.stamp
        else:
            sequence, stamp = last.sequence + (1 if here else 2), max(self._now, Instant(last.stamp + 1))
        return Shown(sequence, digest, stamp, entry.at, entry.title, entry.cancelled)
