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
from urllib.parse import quote

from icalendar import Calendar, vDuration, vText

from reminders import words
from reminders.care_words import CARE_TASKS
from reminders.event_words import EventWords
from reminders.plan.model import Plan, Reveals
from reminders.record.facts import Shown
from reminders.record.published import NOTHING, Published
from reminders.schedule.care import through_lumen
from reminders.schedule.identity import Identities
from reminders.schedule.model import Outcome, Schedule, TaskEvent, Touch
from reminders.times import DAY, Instant, utc
from reminders.views.event_bytes import EventText, event_bytes
from reminders.views.kept_current import KeptCurrent, before_quiet_hours, own_events

PRODID = "-//reminders//EN"

LARGEST_FILE = 900_000
"""Bytes. Some phones' calendars refuse files of about 1 MB (reported by users; no limit is published)."""

SPARE = 2000
"""Bytes kept free because the closing event may say more than the one reckoned with: dates, and what still runs."""

CARE_PLACE = 0
"""The number of the care tasks' calendar beside those of the lumens, which count from 1: a new lumen moves none of them."""

KEPT_CANCELLED = 2 * DAY
"""How long, in minutes, a cancelled event stays in the file after its time."""


@dataclass(frozen=True, slots=True)
class Part:
    """What of the plan a calendar is of: everything, one ``lumen``, or the care tasks alone (``care_tasks``).

    A draw through a lumen is that lumen's, so every event is in exactly one of the calendars of lumens and tasks.
    """

    lumen: str | None = None
    care_tasks: bool = False

    @property
    def name(self) -> str:
        """Return a name that it shares with no other part; nothing for everything."""
        return "care tasks" if self.care_tasks else self.lumen or ""

    def has_lumen(self, lumen: str) -> bool:
        """Say whether what is done with a lumen is in it."""
        return not self.care_tasks and self.lumen in (None, lumen)

    def holds(self, event: Touch | TaskEvent) -> bool:
        """Say whether an event of the schedule is in it."""
        return self.lumen is None if isinstance(event, TaskEvent) else self.has_lumen(event.lumen)


@dataclass(frozen=True, slots=True)
class CalendarFile:
    """One calendar as bytes, the number of the schedule's events that it holds, and the instant at which it ends.

    It holds every event that it was asked for before the local day of ``until``, and ``left_out`` counts those from then
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
    care_tasks: bool = False,
    largest: int = LARGEST_FILE,
    before: Published = NOTHING,
    now: Instant | None = None,
    for_mail: bool = False,
    organizer: str = "",
    current: KeptCurrent | None = None,
) -> CalendarFile:
    """Return the calendar of everything, of one lumen, or of the care tasks alone, from ``first`` up to ``last``.

    It has at most ``largest`` bytes. Where the size runs out the calendar ends with a whole day. Unless it reaches the
    line's removal, a last event says that the calendar ends. ``before`` is what was published; what changes bears ``now`` (at least one minute more than
    it bore before). ``for_mail`` makes it a PUBLISH of RFC 5546, by the e-mail address ``organizer`` if there is one. ``current``
    adds what a calendar shows that is kept current.
    """
    plan = schedule.plan
    begin = schedule.start if first is None else first
    end = schedule.end if last is None else last
    part = Part(lumen, care_tasks)
    wanted = [
        event
        for event in _events(schedule)
        if begin <= event.at and (event.at < end or end >= schedule.end) and part.holds(event)
    ]
    pen = _Pen(schedule, before, now or schedule.start, part, _organizer(plan, organizer) if for_mail else None, last)
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
    for event in wanted:
        pieces.append(pen.touch(event) if isinstance(event, Touch) else pen.task(event))
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


def _organizer(plan: Plan, address: str) -> tuple[str, str]:
    """Return who publishes a calendar by e-mail, as a URI and a name, which may be empty.

    RFC 6047, 2.3: the URI is a proper mailto. Where nobody's address is known, or is to be told to nobody, it is one that can never
    be reached (RFC 2606).
    """
    reveals = plan.calendar.reveals
    name = plan.protocol.provider if reveals is Reveals.EVERYTHING else ""
    if not address or reveals is Reveals.NOTHING:
        address = f"{Identities(plan).of('organizer')}@reminders.invalid"
    return f"mailto:{quote(address, safe='@+')}", name


def has_care_tasks(schedule: Schedule) -> bool:
    """Say whether there is anything to put into a calendar of the care tasks, now or later."""
    return bool(schedule.tasks) or not all(through_lumen(task) for task in schedule.plan.tasks.values())


def _events(schedule: Schedule) -> list[Touch | TaskEvent]:
    """Return touches and care tasks in order of time, at one instant the touches first."""
    return sorted([*schedule.touches, *schedule.tasks], key=lambda event: (event.at, isinstance(event, TaskEvent)))


def _whole_days(events: Sequence[Touch | TaskEvent], fit: int, plan: Plan) -> int:
    """Return how many of the first ``fit`` events lie before the local day of the one that does not fit."""
    cut_day = plan.clock.local(events[fit].at).date()
    while fit > 0 and plan.clock.local(events[fit - 1].at).date() == cut_day:
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
    """What one event says, apart from its numbers. ``lasts`` are minutes, and ``rings`` minutes before its start, None
    for no alarm."""

    uid: str
    at: Instant
    lasts: int
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
        part: Part,
        organizer: tuple[str, str] | None,
        last: Instant | None,
    ) -> None:
        self._schedule, self._before, self._now, self._part = schedule, before, now, part
        self._for_mail, self._organizer = organizer is not None, organizer or ("", "")
        self._last = "" if last is None else str(last)
        self._plan = schedule.plan
        self._names = Identities(self._plan)
        self._words = EventWords(self._plan)
        self._open = self._plan.calendar.reveals is Reveals.EVERYTHING
        # What has moved to another calendar is cancelled here only: its copy there must rank above this one.
        self._elsewhere = {event.uid for event in _events(schedule) if not part.holds(event)}
        self._touch_lasts = self._plan.course.handling_time

    def head(self, changed: Instant) -> bytes:
        """Return the calendar without its events; ``changed`` is when any of them last was."""
        plan = self._plan
        name = plan.calendar.name if self._open else words.DISCREET_CALENDAR
        if self._part.name:
            part = self._category(self._part.lumen)
            name = f"{name}: {part}" if self._open else f"{name} {part}"
        calendar = Calendar.new(
            prodid=PRODID,
            method="PUBLISH" if self._for_mail else None,
            name=vText(name),  # else its semicolons and commas are not escaped (RFC 5545, 3.3.11)
            uid=self._names.of("calendar", self._part.name),
            last_modified=utc(changed),
            color=plan.calendar.colour,
            description=words.calendar_words(plan) if self._open else None,
        )
        refresh = timedelta(minutes=plan.calendar.refresh_every)
        calendar.add("REFRESH-INTERVAL", vDuration(refresh), parameters={"VALUE": "DURATION"})
        calendar.add("X-PUBLISHED-TTL", vDuration(refresh))
        calendar.add("X-ZONE-DATA", self._schedule.zone_data)
        return bytes(calendar.to_ical())

    def touch(self, touch: Touch) -> _Piece:
        """Return the event of a touch; only what is still to be done rings."""
        title, description = self._words.event(touch)
        ahead = touch.outcome is None or touch.outstanding
        return self._write(
            _Entry(
                uid=touch.uid,
                at=touch.at,
                lasts=self._touch_lasts,
                title=title,
                description=description,
                category=self._category(touch.lumen),
                rings=self._plan.calendar.alarm_before if ahead else None,
                cancelled=touch.outcome in (Outcome.SKIPPED, Outcome.HELD),
            )
        )

    def task(self, event: TaskEvent) -> _Piece:
        """Return the event of a care task; only what is still to be done rings."""
        title, description = self._words.task(event)
        return self._write(
            _Entry(
                uid=event.uid,
                at=event.at,
                lasts=event.care.takes or self._touch_lasts,
                title=title,
                description=description,
                category=self._category(None),
                rings=self._plan.calendar.alarm_before if event.outcome is None else None,
                cancelled=event.outcome in (Outcome.SKIPPED, Outcome.HELD),
            )
        )

    def own(self, current: KeptCurrent) -> list[_Piece]:
        """Return the events of a calendar that is kept current which are none of the plan's."""
        return [
            self._write(
                _Entry(
                    uid=own.uid,
                    at=own.at,
                    lasts=self._touch_lasts,
                    title=own.title,
                    description=own.description,
                    rings=own.rings,
                )
            )
            for own in own_events(self._schedule, current, self._now)
        ]

    def gone(self, room: int, own: AbstractSet[str] = frozenset()) -> tuple[list[_Piece], frozenset[str]]:
        """Return what was shown before and is planned no more: as cancelled, until some days after its time.

        ``own`` is shown besides the plan's events. It takes at most ``room`` bytes, what is ahead and soonest first; the rest waits, and is returned by its UIDs.
        """
        planned = {event.uid for event in _events(self._schedule) if self._part.holds(event)}
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
        entry = _Entry(uid=uid, at=shown.start, lasts=self._touch_lasts, title=title, description=body, cancelled=True)
        return self._write(entry, here=shown if uid in self._elsewhere else None)

    @property
    def _ending(self) -> str:
        return self._names.of("calendar ends", self._part.name, *([self._last] if self._last else []))

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
                    self._part.has_lumen(dose.lumen) and dose.start < until and (dose.end is None or dose.end >= until)
                    for dose in doses
                    if dose.reckoned
                )
            ]
            if running:
                said.append(words.STILL_RUNNING.format(drugs=", ".join(running)))
        entry = _Entry(
            uid=self._ending,
            at=at,
            lasts=self._touch_lasts,
            title=words.CALENDAR_ENDS if self._open else words.DISCREET_TITLE,
            description="\n".join(said),
            rings=before_quiet_hours(schedule, at, plan.calendar.alarm_before),
        )
        return self._write(entry, later=max(0, (until - schedule.start) // DAY))

    def _category(self, lumen: str | None) -> str:
        """Return the category of a lumen's events, or of care tasks: where not all may be told, a number."""
        if not self._open:
            return str(CARE_PLACE if lumen is None else list(self._plan.lumens).index(lumen) + 1)
        return CARE_TASKS if lumen is None else words.lumen_words(self._plan, lumen)

    def _write(self, entry: _Entry, later: int = 0, here: Shown | None = None) -> _Piece:
        shown = self._numbered(entry, later, here)
        text = EventText(
            uid=entry.uid,
            at=entry.at,
            lasts=entry.lasts,
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
        digest = hashlib.sha256(f"{said}{entry.lasts}".encode()).hexdigest()[:16]
        last = here or self._before.latest.get(entry.uid)
        if last is None:
            sequence, stamp = course.revision - 1 + later, course.takes_effect.instant
        elif last.digest == digest:
            sequence, stamp = last.sequence, last.stamp
        else:
            sequence, stamp = last.sequence + (1 if here else 2), max(self._now, Instant(last.stamp + 1))
        return Shown(sequence, digest, stamp, entry.at, entry.title, entry.cancelled)
