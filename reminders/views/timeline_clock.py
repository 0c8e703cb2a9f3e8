"""A local day into its hours on the clock, where that clock changes, and a scale of elapsed minutes."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from reminders.times import Instant, ZoneTimeline
from reminders.words import clock_change_words, zone_change_words, zone_words

QUARTER = 15


@dataclass(frozen=True, slots=True)
class Hour:
    """A full hour on the clock: its instant, ``08:00``, and the zone's letters."""

    at: Instant
    clock: str
    zone: str


@dataclass(frozen=True, slots=True)
class LocalDay:
    """A local day: from ``begin`` up to ``end``, its full hours (that of ``end`` too), and each change of its clock in words.

    ``mixed``: more than one zone's letters occur in it, so that a clock time alone may not say which hour is meant.
    """

    day: date
    begin: Instant
    end: Instant
    hours: tuple[Hour, ...]
    changes: tuple[tuple[Instant, str], ...]

    @property
    def mixed(self) -> bool:
        """Say whether a time must be written with its zone."""
        return bool(self.changes) or len({hour.zone for hour in self.hours[:-1]}) > 1

    @property
    def face(self) -> tuple[tuple[int, str], ...]:
        """Return its hours by elapsed minutes: days with the same face can share one axis."""
        zone = {hour.zone for hour in self.hours[:-1]}
        return (*((hour.at - self.begin, hour.clock) for hour in self.hours), (0, "".join(sorted(zone))))


def local_days(clock: ZoneTimeline, first: date, count: int) -> list[LocalDay]:
    """Return ``count`` local days from ``first`` on."""
    starts = clock.day_starts(first, first + timedelta(days=count))
    return [_day(clock, day, begin, end) for (day, begin), (_next, end) in pairwise(starts)]


def _day(clock: ZoneTimeline, day: date, begin: Instant, end: Instant) -> LocalDay:
    hours = [
        Hour(at, f"{moment:%H:%M}", zone_words(moment))
        for at, moment in _quarters(clock, begin, Instant(end + 1))
        if moment.minute == 0
    ]
    return LocalDay(day, begin, end, tuple(hours), tuple(_changes(clock, begin, end)))


def _quarters(clock: ZoneTimeline, begin: Instant, end: Instant) -> Iterator[tuple[Instant, datetime]]:
    """Yield each quarter of an hour on the clock; all zones differ from each other by whole quarters."""
    at = begin
    while at < end:
        moment = clock.local(at)
        if moment.minute % QUARTER == 0:
            yield at, moment
        at = Instant(at + QUARTER - moment.minute % QUARTER)


def _changes(clock: ZoneTimeline, begin: Instant, end: Instant) -> Iterator[tuple[Instant, str]]:
    for left, right, zone in clock.segments(begin, end):
        if left != begin:
            yield left, zone_change_words(clock.local(left), zone.key)
        before = clock.local(left).utcoffset()
        for at, moment in _quarters(clock, left, right):
            after = moment.utcoffset()
            if before is not None and after is not None and before != after:
                yield at, clock_change_words(int((before - after).total_seconds()) // 60, end - begin)
            before = after


@dataclass(frozen=True, slots=True)
class Scale:
    """Where an instant stands: ``top`` for the day's begin, and ``hour`` further down for each hour that has elapsed."""

    begin: Instant
    top: float
    hour: float

    def y(self, at: Instant) -> float:
        """Return the height at which an instant stands."""
        return self.top + (at - self.begin) * self.hour / 60
