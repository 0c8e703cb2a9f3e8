"""What a person says about a time (``20 min ago``, ``9:40``, ``Mon 21:15``) into an instant.

Nothing is guessed. What can mean two instants, or none, is asked back with what to type for each. All clock times are
on the household's clock: the zone in force at each instant (R5).
"""

import re
from bisect import bisect
from calendar import monthrange
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone

from reminders.plan.keys import shown_value
from reminders.times import DAY, HOUR, WEEKDAYS, Instant, ZoneTimeline, from_datetime, utc
from reminders.words import CATALOGUE, clock_words, day_words, moment_words, zone_words

_ = CATALOGUE.gettext

FORMS = _(
    "Say a time as 9:40, 21:15, 9:40 pm, noon or midnight; as 20 min ago, 1 h 30 min ago or an hour ago; with its day as "
    "yesterday 21:15, Mon 21:15, 26 Oct 9:40 or 2026-10-26 09:40. For what is ahead also: in 20 min, tomorrow 8:00."
)
"""The forms that are understood, for messages and help."""

FURTHEST = 400 * DAY
"""No time further from now than this can be meant, in minutes."""

MONTHS = tuple("jan feb mar apr may jun jul aug sep oct nov dec".split())

ZONE_LETTERS = frozenset(
    "acdt acst adt aedt aest akdt akst ast awst bst cat cdt cest cet chst cst eat edt eest eet est gmt hdt hkt hst idt "
    "ist jst kst mdt msk mst ndt nst nzdt nzst pdt pkt pst sast sst utc wat west wet wib wit wita".split()
)
"""The abbreviations in the IANA data, in small letters. A list, so that a word after a time is not taken for one."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One thing that a said time can mean."""

    instant: Instant
    words: str
    """As it is shown to the person: ``Sun 1 Nov 2026, 01:30 CDT``."""
    say: str
    """What to type to mean just this one: ``2026-11-01 01:30-05:00``."""


class UnclearTimeError(Exception):
    """A said time that must be asked back or refused.

    ``problem`` is a whole sentence for the person; ``readings`` are what could have been meant, perhaps none, in order
    of time. Each can be typed as its ``say`` tells.
    """

    def __init__(self, problem: str, readings: tuple[Reading, ...] = ()) -> None:
        super().__init__(problem)
        self.problem, self.readings = problem, readings


# --- The grammar: on text in small letters with single spaces ---

LEAD = re.compile(r"\A(?:at|to) (?=.)")
HOURS_AND_MINUTES = (
    r"(?:(?P<half>half an hour)|(?P<one>an hour)"
    r"|(?:(?P<hours>[0-9]{1,5}) ?(?:h|hr|hrs|hour|hours))? ?(?:(?P<minutes>[0-9]{1,5}) ?(?:m|min|mins|minute|minutes))?)"
)
AGO = re.compile(rf"{HOURS_AND_MINUTES} ago")
AHEAD = re.compile(rf"in {HOURS_AND_MINUTES}")
NAME_OF_DAY = "mon(?:day)?|tue(?:s|sday)?|wed(?:nesday)?|thu(?:r|rs|rsday)?|fri(?:day)?|sat(?:urday)?|sun(?:day)?"
DAY_WORD = f"today|yesterday|tomorrow|{NAME_OF_DAY}"
MONTH = "(?:jan|feb|mar|apr|may|june?|july?|aug|sept?|oct|nov|dec)(?:r?uary|ch|il|ust|ember|ober)?"
WRITTEN_DAY = (
    rf"(?:(?P<weekday>{NAME_OF_DAY}),? )?(?:(?P<number>[0-9]{{1,2}}) (?P<month>{MONTH})"
    rf"|(?P<month_first>{MONTH}) (?P<number_after>[0-9]{{1,2}}))(?:,? (?P<year>[0-9]{{4}}))?"
)
"""A day as this program writes it, ``Sat 28 Nov 2026``, or with its month first."""
ON_THE_CLOCK = re.compile(
    rf"(?:(?P<date>[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}})(?:t|,? (?:at )?)|(?P<written>{WRITTEN_DAY}),? (?:at )?"
    rf"|(?P<day>{DAY_WORD}),? (?:at )?)?"
    r"(?:(?P<word>noon|midnight)|(?P<hour>[0-9]{1,2})(?:[:.](?P<minute>[0-9]{2}))?(?: ?(?P<am_pm>[ap])\.?m\b\.?)?)"
    rf"(?: ?(?:(?P<letters>z|{'|'.join(sorted(ZONE_LETTERS))})|(?:utc)?(?P<offset>[+-][0-9]{{2}}:?[0-9]{{2}})))?"
    rf"(?P<after> (?:{DAY_WORD}))?"
)
DAY_ALONE = re.compile(rf"[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}|{DAY_WORD}|{WRITTEN_DAY}")
LONGEST = 8
"""No form has more words than this: Sat 28 Nov 2026, at 9:40 pm MST."""


def _plain(text: str) -> str:
    return LEAD.sub("", " ".join(text.casefold().split()), count=1)


def _elapsed(plain: str) -> int | None:
    """Return the minutes that ``20 min ago`` (less than zero) or ``in 20 min`` speaks of; None for anything else."""
    found = AGO.fullmatch(plain) or AHEAD.fullmatch(plain)
    if found is None or not any(found.groups()):
        return None
    if found["half"] or found["one"]:
        length = HOUR // 2 if found["half"] else HOUR
    else:
        length = int(found["hours"] or 0) * HOUR + int(found["minutes"] or 0)
    return length if plain.startswith("in ") else -length


def _clocked(plain: str) -> re.Match[str] | None:
    """Match a time on the clock, its day at most once: before it or after it."""
    found = ON_THE_CLOCK.fullmatch(plain)
    return None if found is None or (found["after"] and (found["date"] or found["written"] or found["day"])) else found


def split_time(words: Sequence[str]) -> tuple[list[str], str]:
    """Split the longest run of last words that has the shape of a time off a list of words.

    ``["flushed", "grey", "20", "min", "ago"]`` becomes ``(["flushed", "grey"], "20 min ago")``. The time is ``""`` if
    there is none. What :func:`when` asks back about has the shape of a time too: ``25:10``, ``yesterday`` without a
    time, and a number of one or two digits.
    """
    for first in range(max(0, len(words) - LONGEST), len(words)):
        said = " ".join(words[first:])
        plain = _plain(said)
        if plain == "now" or _elapsed(plain) is not None or _clocked(plain) or DAY_ALONE.fullmatch(plain):
            return list(words[:first]), said
    return list(words), ""


# --- The household's clock ---


def instants_showing(wall: datetime, clock: ZoneTimeline) -> list[Instant]:
    """Return every instant at which the household's clock shows ``wall`` (naive): none, one or more, in order."""
    found = set()
    for _from, _to, zone in clock.segments(*_window(wall)):
        for fold in (0, 1):  # PEP 495: the first and the second time that a zone's clock shows it
            instant = from_datetime(wall.replace(tzinfo=zone, fold=fold))
            if _wall(instant, clock) == wall:
                found.add(instant)
    return sorted(found)


@dataclass(frozen=True, slots=True)
class _Jump:
    """A forward jump of the household's clock: what it showed at that instant by the old offset and by the new."""

    old: datetime
    new: datetime

    def unjumped(self, wall: datetime) -> list[Instant]:
        """Return what a skipped time (naive) would be by the new offset and by the old one, in order."""
        return sorted(from_datetime(wall.replace(tzinfo=side.tzinfo)) for side in (self.new, self.old))


def _jump_over(wall: datetime, clock: ZoneTimeline) -> _Jump:
    """Return the jump over ``wall`` (naive), which the household's clock never shows."""
    first, last = _window(wall)
    minutes = range(first, last)  # the clock shows less than wall at the first of them, more at the last
    at = Instant(minutes[bisect(minutes, wall, key=lambda minute: _wall(Instant(minute), clock))])
    return _Jump(_by_offset_of(Instant(at - 1), at, clock), _by_offset_of(at, at, clock))


def _by_offset_of(source: Instant, instant: Instant, clock: ZoneTimeline) -> datetime:
    """Return an instant as shown with the offset that is in force at ``source``."""
    shown = clock.local(source)
    return utc(instant).astimezone(timezone(shown.utcoffset() or timedelta(), shown.tzname() or ""))


def _window(wall: datetime) -> tuple[Instant, Instant]:
    """Return instants between which any clock on earth shows ``wall``: no offset is as long as a day."""
    as_utc = from_datetime(wall.replace(tzinfo=UTC))
    return Instant(as_utc - DAY), Instant(as_utc + DAY)


def _wall(instant: Instant, clock: ZoneTimeline) -> datetime:
    return clock.local(instant).replace(tzinfo=None, fold=0)


@dataclass(frozen=True, slots=True)
class _Speaker:
    """Who speaks: on which clock, at which moment, and between which moments the time must lie."""

    clock: ZoneTimeline
    now: Instant
    earliest: Instant
    ahead: bool

    def fits(self, instant: Instant) -> bool:
        """Say whether an instant lies on the side of now that is spoken of."""
        return instant > self.now if self.ahead else instant <= self.now

    def fault(self, instant: Instant) -> str:
        """Say why an instant cannot be meant; nothing if it can."""
        if abs(instant - self.now) > FURTHEST:
            return TOO_FAR
        moment = moment_words(self.clock.local(instant))
        if not self.fits(instant):
            return self.wrong_side(moment)
        if instant < self.earliest:
            text = _("{moment} is before the plan began, {start}.")
            if self.earliest > self.now:
                text = _("{moment} is before the plan begins, {start}.")
            return text.format(moment=moment, start=moment_words(self.clock.local(self.earliest)))
        return ""

    def wrong_side(self, said: str) -> str:
        """Say that a time is still to come, or is past, and what time it is now."""
        if self.ahead:
            text = _("{said} is no longer to come: it is now {now}.")
        else:
            text = _("{said} is still to come: it is now {now}.")
        return text.format(said=said, now=moment_words(self.clock.local(self.now)))

    def settle(self, instant: Instant) -> Instant:
        """Return an instant that can be meant; refuse any other."""
        if problem := self.fault(instant):
            raise UnclearTimeError(problem)
        return instant

    def might_be(self, wall: datetime) -> list[Instant]:
        """Return the instants of a time (naive) on the clock; where the clock jumps over it, what it would be."""
        return instants_showing(wall, self.clock) or _jump_over(wall, self.clock).unjumped(wall)

    def readings(self, instants: Iterable[Instant]) -> tuple[Reading, ...]:
        """Return those instants that can be meant as readings, each told apart from the others by its zone."""
        meant = [instant for instant in sorted(set(instants)) if not self.fault(instant)]
        moments = [self.clock.local(instant) for instant in meant]
        found = []
        for instant, moment in zip(meant, moments, strict=True):
            offset = moment.isoformat()[-6:]
            alike = {other.utcoffset() for other in moments if zone_words(other) == zone_words(moment)}
            words = moment_words(moment)
            if len(alike) > 1:  # China and Chicago both write CST
                words = f"{day_words(moment.date())}, {moment:%H:%M} UTC{offset}"
            found.append(Reading(instant, words, f"{moment:%Y-%m-%d %H:%M}{offset}"))
        return tuple(found)


TOO_FAR = _("That is more than 400 days away.")


def when(text: str, clock: ZoneTimeline, now: Instant, *, earliest: Instant, ahead: bool = False) -> Instant:
    """Return the instant that a person means by ``text``.

    ``clock`` is the household's, ``earliest`` the plan's start. Nothing, or "now", is now. With ``ahead`` the time must
    be after now, otherwise it must not be. A time without a day is today's (ahead: the next there is).

    Raises:
        UnclearTimeError: not understood, impossible, on the wrong side of now, before ``earliest``, more than 400 days
            away, skipped by the clock, or able to mean more than one instant.
    """
    speaker = _Speaker(clock, now, earliest, ahead)
    plain = _plain(text)
    if plain in ("", "now"):
        if ahead:
            raise UnclearTimeError(_("Say a time that is still to come, such as 11:00 or in 20 min."))
        return speaker.settle(now)
    elapsed = _elapsed(plain)
    if elapsed is not None:
        return speaker.settle(Instant(now + elapsed))
    if DAY_ALONE.fullmatch(plain):
        problem = _('"{day}" alone is not clear: say the time of day too, such as "{day} 21:15".')
        raise UnclearTimeError(problem.format(day=plain))
    found = _clocked(plain)
    if found is None:
        raise UnclearTimeError(
            _("{text} is not understood as a time. {forms}").format(text=shown_value(text), forms=FORMS)
        )
    return _Said(found, text, speaker).instant()


def day_alone(text: str, clock: ZoneTimeline, now: Instant) -> date | None:
    """Return the day that is said without a time of day, today or ahead; None for anything else.

    Raises:
        UnclearTimeError: there is no such day.
    """
    plain = _plain(text)
    found = _clocked(f"{plain} noon") if DAY_ALONE.fullmatch(plain) else None
    return None if found is None else _Said(found, text, _Speaker(clock, now, now, ahead=True)).day()


class _Said:
    """A time on the clock as it was said: at which time of day, on which day, by which zone."""

    def __init__(self, found: re.Match[str], text: str, speaker: _Speaker) -> None:
        """Take a match of :data:`ON_THE_CLOCK` apart."""
        self.found, self.speaker = found, speaker
        self.quoted = shown_value(text)
        self.today = speaker.clock.local(speaker.now).date()
        self.day_word = (found["day"] or found["after"] or "").strip()
        self.bare = not self.day_word and not found["date"] and not found["written"]

    def instant(self) -> Instant:
        """Return the one instant that is meant; ask back or refuse where it is not one."""
        speaker, offset = self.speaker, self._offset()
        wall = self._wall(self.day())
        if self.found["date"] and offset is not None:
            return speaker.settle(from_datetime(wall.replace(tzinfo=timezone(offset))))
        if self.bare and speaker.ahead and not any(map(speaker.fits, speaker.might_be(wall))):
            wall += timedelta(days=1)
        shown = instants_showing(wall, speaker.clock)
        if not shown:
            raise self._unclear(self._skipped(wall), wall)
        if self.bare:
            shown = sorted({*shown, *self._set_back(wall)})
        named = [instant for instant in shown if self._in_its_zone(instant, offset)]
        if not named:
            zone = (self.found["letters"] or f"utc{self.found['offset']}").upper()
            problem = _("At {said} the clock is not on {zone}.").format(said=self._label(wall), zone=zone)
            raise self._unclear(problem, wall)
        possible = [instant for instant in named if speaker.fits(instant)]
        if not possible:
            raise self._unclear(speaker.wrong_side(self._label(wall)), wall)
        if len(possible) > 1:
            problem = _("{said} comes more than once, because the clock is set back: say which one is meant.")
            raise UnclearTimeError(problem.format(said=self._label(wall)), speaker.readings(possible))
        return speaker.settle(possible[0])

    def day(self) -> date:
        """Return the said day; without one, today."""
        if self.found["written"]:
            return self._written_day()
        if self.found["date"]:
            try:
                day = date.fromisoformat(self.found["date"])
            except ValueError:
                raise UnclearTimeError(_("There is no day {date}.").format(date=self.found["date"])) from None
            if abs(day - self.today) > timedelta(minutes=FURTHEST + DAY):
                raise UnclearTimeError(TOO_FAR)
            return day
        steps = {"": 0, "today": 0, "yesterday": -1, "tomorrow": 1}
        if self.day_word in steps:
            return self.today + timedelta(days=steps[self.day_word])
        weekday = WEEKDAYS.index(self.day_word[:3].capitalize())
        if self.speaker.ahead:
            return self.today + timedelta(days=(weekday - self.today.weekday()) % 7)
        return self.today - timedelta(days=(self.today.weekday() - weekday) % 7)

    def _written_day(self) -> date:
        """Return the day that was said by its month: without a year the nearest one."""
        found, this = self.found, self.today.year
        number, month = found["number"] or found["number_after"], found["month"] or found["month_first"]
        years = [int(found["year"])] if found["year"] else [this - 1, this, this + 1]
        in_year = MONTHS.index(month[:3]) + 1
        days = [date(y, in_year, int(number)) for y in years if y and 0 < int(number) <= monthrange(y, in_year)[1]]
        if not days:
            raise UnclearTimeError(_("There is no day {date}.").format(date=found["written"]))
        day = min(days, key=lambda day: abs(day - self.today))
        if abs(day - self.today) > timedelta(minutes=FURTHEST + DAY):
            raise UnclearTimeError(TOO_FAR)
        if (found["weekday"] or "")[:3].capitalize() not in ("", WEEKDAYS[day.weekday()]):
            problem = _('"{date}" is a {day}: which of the two is meant?')
            raise UnclearTimeError(problem.format(date=found["written"], day=day_words(day)))
        return day

    def _wall(self, day: date) -> datetime:
        """Return the said time of day (naive) on a day; refuse an impossible one, ask back where it is not clear."""
        found = self.found
        if found["word"]:
            noon = datetime.combine(day, time(12))
            return noon if found["word"] == "noon" else self._midnight(day)
        hour, minute = int(found["hour"]), int(found["minute"] or 0)
        if hour > 23 or minute > 59:
            problem = _("{said} is not a time of day: hours go from 0 to 23 and minutes from 0 to 59.")
            raise UnclearTimeError(problem.format(said=self.quoted))
        if found["am_pm"]:
            if not 1 <= hour <= 12:
                problem = _("{said} is not a time of day: with am or pm the hours go from 1 to 12.")
                raise UnclearTimeError(problem.format(said=self.quoted))
            hour = hour % 12 + (12 if found["am_pm"] == "p" else 0)
            if hour == minute == 0:
                return self._midnight(day)
        elif found["minute"] is None:
            raise self._which_half(day, hour)
        return datetime.combine(day, time(hour, minute))

    def _midnight(self, day: date) -> datetime:
        """Return midnight of a day: as the word is used, its beginning or its end; ask back where both are possible."""
        begins = datetime.combine(day, time())
        ends = begins + timedelta(days=1)
        if self.bare:
            return begins
        could = [[*filter(self.speaker.fits, self.speaker.might_be(wall))] for wall in (begins, ends)]
        if all(could):
            problem = _("Midnight of {day} can be its beginning or its end: say which one is meant.")
            raise UnclearTimeError(problem.format(day=day_words(day)), self.speaker.readings(could[0] + could[1]))
        return ends if could[1] else begins

    def _which_half(self, day: date, hour: int) -> UnclearTimeError:
        """Ask back about an hour without minutes: in the morning or the evening?"""
        hours = sorted({hour % 12, hour % 12 + 12}) if 1 <= hour <= 12 else [hour]
        walls = [datetime.combine(day, time(each)) for each in hours]
        readings = [reading for wall in walls for reading in self._offered(wall)]
        if len(hours) == 1:
            problem = _("{said} alone may not be a time: write {first}.")
        else:
            problem = _("{said} alone is not clear: is it {first} or {second}?")
        problem = problem.format(said=self.quoted, first=f"{hours[0]}:00", second=f"{hours[-1]}:00")
        return UnclearTimeError(problem, self.speaker.readings(reading.instant for reading in readings))

    def _offset(self) -> timedelta | None:
        """Return the said offset; None where none was said, or a zone by its letters."""
        if self.found["letters"] in ("z", "utc"):
            return timedelta()
        if not self.found["offset"]:
            return None
        hours, minutes = int(self.found["offset"][1:3]), int(self.found["offset"][-2:])
        if hours > 14 or minutes > 59:
            problem = _("{offset} is not an offset of any zone: write one such as -05:00.")
            raise UnclearTimeError(problem.format(offset=self.found["offset"]))
        length = timedelta(hours=hours, minutes=minutes)
        return -length if self.found["offset"][0] == "-" else length

    def _in_its_zone(self, instant: Instant, offset: timedelta | None) -> bool:
        """Say whether the clock is then on the zone that was said; any will do if none was."""
        shown = self.speaker.clock.local(instant)
        if offset is not None:
            return shown.utcoffset() == offset
        return not self.found["letters"] or (shown.tzname() or "").casefold() == self.found["letters"]

    def _set_back(self, wall: datetime) -> list[Instant]:
        """Return when the clock shows the time on the date that only a journey back over midnight makes possible."""
        beside = wall + timedelta(days=-1 if self.speaker.ahead else 1)
        return [instant for instant in instants_showing(beside, self.speaker.clock) if self.speaker.fits(instant)]

    def _skipped(self, wall: datetime) -> str:
        jump = _jump_over(wall, self.speaker.clock)
        return _("There is no {said}: the clock jumps from {old} to {new}.").format(
            said=self._label(wall), old=clock_words(jump.old), new=clock_words(jump.new)
        )

    def _unclear(self, problem: str, wall: datetime) -> UnclearTimeError:
        return UnclearTimeError(problem, self._offered(wall))

    def _offered(self, wall: datetime) -> tuple[Reading, ...]:
        """Return what a time can mean on its day; if nothing, on the day or week beside it, unless the day was named."""
        readings = self.speaker.readings(self.speaker.might_be(wall))
        days = 1 if self.bare else 7 if self.day_word[:3].capitalize() in WEEKDAYS else 0
        if readings or not days:
            return readings
        beside = wall + timedelta(days=days if self.speaker.ahead else -days)
        return self.speaker.readings(self.speaker.might_be(beside))

    def _label(self, wall: datetime) -> str:
        at = f"{wall.hour}:{wall.minute:02}"
        if wall.date() == self.today:
            return _("{time} today").format(time=at)
        return _("{time} on {day}").format(time=at, day=day_words(wall.date()))
