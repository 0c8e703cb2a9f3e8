"""Instants, elapsed minutes and the clocks on the wall (R1, R3, R5).

An :data:`Instant` is a whole number of minutes since 1970-01-01T00:00Z, so adding elapsed time is plain
addition and no clock change can bend it. Wall-clock times appear in three places only: read from a plan,
turned into an instant by :func:`instant_of`, and shown to a person by :func:`local`.
"""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import Enum
from itertools import pairwise
from typing import NewType
from zoneinfo import ZoneInfo

Instant = NewType("Instant", int)
"""Whole minutes since 1970-01-01T00:00Z."""

HOUR = 60
DAY = 24 * HOUR
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class ClockCase(Enum):
    """What a wall-clock time is on its date in its zone."""

    PLAIN = "occurs once"
    SKIPPED = "does not occur: the clocks jump over it"
    REPEATED = "occurs twice"


def instant_of(wall: datetime, zone: ZoneInfo) -> tuple[Instant, ClockCase]:
    """Return the instant of a wall-clock time (naive) in a zone, and whether a clock change touched it.

    R3: a time that the clocks skip moves forward by the length of the gap; a time that occurs twice means the
    first. PEP 495 with ``fold=0`` reads both in just that way.
    """
    aware = wall.replace(tzinfo=zone, fold=0)
    instant = Instant(int(aware.timestamp()) // 60)
    if aware.utcoffset() == aware.replace(fold=1).utcoffset():
        return instant, ClockCase.PLAIN
    from dateutil import tz  # here, because few plans need it and every command would wait for it

    return instant, ClockCase.REPEATED if tz.datetime_exists(aware) else ClockCase.SKIPPED


def from_datetime(moment: datetime) -> Instant:
    """Return the instant of an aware datetime; seconds are cut off.

    Raises:
        ValueError: the datetime carries no offset.
    """
    if moment.tzinfo is None:
        raise ValueError("a moment without a zone is not an instant")
    return minute_of(moment.timestamp())


def minute_of(seconds: float) -> Instant:
    """Return the minute in which a moment lies, given in seconds since 1970."""
    return Instant(int(seconds // 60))


def utc(instant: Instant) -> datetime:
    """Return the instant as an aware datetime in UTC."""
    return datetime.fromtimestamp(instant * 60, UTC)


def local(instant: Instant, zone: ZoneInfo) -> datetime:
    """Return the instant as an aware datetime on the clock of ``zone``."""
    return datetime.fromtimestamp(instant * 60, zone)


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment as a plan states it: the instant, the wall-clock time that was written, and how it was read."""

    instant: Instant
    wall: datetime
    case: ClockCase = ClockCase.PLAIN

    def key(self, zone: ZoneInfo) -> str:
        """Name it for good by its clock time in ``zone``; the second of two equal ones with its instant besides."""
        named = self.wall.isoformat(timespec="minutes")
        return named if instant_of(self.wall, zone)[0] == self.instant else f"{named}[{utc(self.instant):%H:%M}Z]"


@dataclass(frozen=True, slots=True)
class ClockRange:
    """Local hours on the days that begin them, half open; ``last`` at or before ``first`` runs past midnight."""

    weekdays: frozenset[int]
    first: time
    last: time


class ZoneTimeline:
    """Which zone's clock is in force at each instant (R5)."""

    def __init__(self, home: ZoneInfo, changes: tuple[tuple[Instant, ZoneInfo], ...] = ()) -> None:
        """Start in ``home`` and move at each change; the changes must be in order of time."""
        self.home = home
        self._starts = [instant for instant, _ in changes]
        self._zones = [home, *(zone for _, zone in changes)]

    @property
    def changes(self) -> list[Instant]:
        """Return when the zone changes, in order."""
        return self._starts

    def at(self, instant: Instant) -> ZoneInfo:
        """Return the zone in force at an instant."""
        if not self._starts:
            return self.home
        return self._zones[bisect_right(self._starts, instant)]

    def local(self, instant: Instant) -> datetime:
        """Return the instant on the clock of the zone in force there."""
        return datetime.fromtimestamp(instant * 60, self.at(instant))

    def segments(self, first: Instant, last: Instant) -> Iterator[tuple[Instant, Instant, ZoneInfo]]:
        """Yield ``(from, to, zone)`` for the parts of ``first`` to ``last`` that lie in one zone each."""
        edges = [first, *(start for start in self._starts if first < start < last), last]
        for left, right in pairwise(edges):
            yield Instant(left), Instant(right), self.at(Instant(left))

    def first_showing(self, wall: datetime) -> Instant:
        """Return when the household's clock, wherever it is then, first shows a date and time.

        Where a journey leaps over it, it moves forward by the length of the leap, as over a clock change (R3).
        """
        home = instant_of(wall, self.home)[0]
        leapt, before = home, None
        for left, right, zone in self.segments(Instant(home - 2 * DAY), Instant(home + 2 * DAY)):
            there = instant_of(wall, zone)[0]
            if left <= there < right:
                return there
            if there < left and before is not None:
                leapt = before  # too late for the clock before, and over on the next
            before = there if there >= right else None
        return leapt

    def day_starts(self, first: date, last: date) -> list[tuple[date, Instant]]:
        """Return each local date from ``first`` to ``last`` with the instant at which it begins.

        A date begins at its own midnight on the clock in force there. On the date of a zone change that is the
        clock in force at the midnight itself; where the change leaps over that midnight, the date begins with the change.
        """
        starts = []
        for ordinal in range(first.toordinal(), last.toordinal() + 1):
            day = date.fromordinal(ordinal)
            midnight = datetime.combine(day, time())
            instant = instant_of(midnight, self.home)[0]
            for _ in range(2):  # the zone at midnight decides where midnight is; settles at once off a change
                instant = instant_of(midnight, self.at(instant))[0]
            if instant_of(midnight, self.at(instant))[0] != instant:
                instant = next((change for change in self._starts if self._leaps_to(day, change)), instant)
            starts.append((day, instant))
        return starts

    def _leaps_to(self, day: date, change: Instant) -> bool:
        """Say whether the local date is first this one, or later, at a zone change."""
        return self.local(Instant(change - 1)).date() < day <= self.local(change).date()


def spans_of(
    ranges: tuple[ClockRange, ...], clock: ZoneTimeline, first: Instant, last: Instant
) -> list[tuple[Instant, Instant]]:
    """Return the instants at which local clock ranges begin and end, merged and in order, within a window."""
    found: list[tuple[Instant, Instant]] = []
    for left, right, zone in clock.segments(first, last):
        day = local(left, zone).date() - timedelta(days=1)
        final = local(right, zone).date()
        while day <= final:
            for hours in ranges:
                if day.weekday() in hours.weekdays:
                    ends_on = day if hours.first < hours.last else day + timedelta(days=1)
                    begin = max(left, instant_of(datetime.combine(day, hours.first), zone)[0])
                    end = min(right, instant_of(datetime.combine(ends_on, hours.last), zone)[0])
                    if begin < end:
                        found.append((begin, end))
            day += timedelta(days=1)
    return merged(found)


def merged(spans: list[tuple[Instant, Instant]]) -> list[tuple[Instant, Instant]]:
    """Return spans in order, those that meet or overlap as one."""
    found: list[tuple[Instant, Instant]] = []
    for begin, end in sorted(spans):
        if found and begin <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((begin, end))
    return found
