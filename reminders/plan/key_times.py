"""The forms of dates, moments, times of day, weekdays and hours, as :mod:`reminders.plan.keys` has the others."""

import re
from datetime import UTC, date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from reminders.plan.forms import Entry, Form, NoZoneError, UnreadableError, shown_value
from reminders.times import WEEKDAYS, ClockRange, Instant, Moment, from_datetime, instant_of
from reminders.unit_slips import tidy

EARLIEST_YEAR, LATEST_YEAR = 2000, 2200


def _year_fits(year: int) -> None:
    if not EARLIEST_YEAR <= year <= LATEST_YEAR:
        raise UnreadableError(
            f"the year {year} cannot be meant", f"a year from {EARLIEST_YEAR} to {LATEST_YEAR}", code="out-of-range"
        )


def _date(raw: Any, home: ZoneInfo | None) -> date:
    if isinstance(raw, str):
        try:
            raw = date.fromisoformat(tidy(raw).strip())
        except ValueError:
            raise UnreadableError(f"{shown_value(raw)} is not a date", "year-month-day, such as 2026-10-26") from None
    if isinstance(raw, datetime) or not isinstance(raw, date):
        raise UnreadableError(f"{shown_value(raw)} is not a date", "year-month-day, such as 2026-10-26")
    _year_fits(raw.year)
    return raw


DATE = Form("a date such as `2026-10-26`", _date, date(EARLIEST_YEAR, 1, 1), Entry.DATE)


def _moment(raw: Any, home: ZoneInfo | None) -> Moment:
    expected = 'date and time to the minute, such as "2026-10-26 08:00"'
    if isinstance(raw, str):
        if ":" not in raw:
            raise UnreadableError(f"{shown_value(raw)} has no time of day", expected)
        try:
            raw = datetime.fromisoformat(tidy(raw).strip())
        except ValueError:
            raise UnreadableError(f"{shown_value(raw)} is not a date with a time", expected) from None
    if not isinstance(raw, datetime):
        raise UnreadableError(f"{shown_value(raw)} is not a date with a time", expected)
    _year_fits(raw.year)
    offset = raw.utcoffset()
    if raw.second or raw.microsecond or (offset is not None and offset.total_seconds() % 60):
        raise UnreadableError(f"{raw.time()} is not a whole minute", expected)
    if home is None:
        raise NoZoneError("without the plan's zone this moment is no instant", "a zone under [plan]")
    if raw.tzinfo is not None:
        return Moment(from_datetime(raw.astimezone(UTC)), raw.astimezone(home).replace(tzinfo=None, fold=0))
    instant, case = instant_of(raw, home)
    return Moment(instant, raw, case)


_NO_MOMENT = Moment(Instant(0), datetime(EARLIEST_YEAR, 1, 1))  # noqa: DTZ001  # a wall-clock time

MOMENT = Form('date and time, such as `"2026-10-26 08:00"`, on the home clock', _moment, _NO_MOMENT, Entry.MOMENT)

CLOCK = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])")
AS_SPOKEN = re.compile(r"([0-9]{1,2})(?:[:.h]?([0-5][0-9]))? ?(am|pm)?")
WORDS = {"noon": "12:00", "midday": "12:00", "midnight": "00:00"}
SEVERAL = re.compile(r"\s+and\s+|\s*[&+;/]\s*|(?<=[0-9m])\s+(?=[0-9])")


def _as_clock(text: str) -> str:
    """Return the time of day that people write in another way (``8 pm``, ``0800``) as it is written here; "" for anything else."""
    spoken = tidy(text).strip().casefold().replace("a.m.", "am").replace("p.m.", "pm")
    found = AS_SPOKEN.fullmatch(spoken)
    if found is None:
        return WORDS.get(spoken, "")
    hour, minute, half = int(found[1]), int(found[2] or 0), found[3]
    if half is None and found[2] is None:  # a bare number may be anything
        return ""
    if half is not None:
        if not 1 <= hour <= 12:
            return ""
        hour = hour % 12 + (12 if half == "pm" else 0)
    return f"{hour:02}:{minute:02}" if hour < 24 else ""


def _did_you_mean(meant: list[str], between: str) -> str:
    """Ask whether some times are meant, if each of them could be told; it is never filled in."""
    return f"Did you mean {between.join(meant)}?" if meant and all(meant) else ""


def _clock_time(raw: Any, home: ZoneInfo | None) -> time:
    expected = 'a time of day from "00:00" to "23:59"'
    if isinstance(raw, time) and not raw.second and not raw.microsecond:
        return raw
    text = tidy(raw).strip() if isinstance(raw, str) else ""
    match = CLOCK.fullmatch(text)
    if match is None:
        near = _did_you_mean([_as_clock(part) for part in SEVERAL.split(text)], ", ")
        mend = near or "Write 8 in the evening as 20:00, midnight as 00:00."
        raise UnreadableError(f"{shown_value(raw)} is not a time of day", expected, mend, near=near)
    return time(int(match.group(1)), int(match.group(2)))


CLOCK_TIME = Form('a time of day such as `"08:00"`', _clock_time, time(), Entry.CLOCK_TIME)


def _weekday(raw: Any, home: ZoneInfo | None) -> int:
    if raw not in WEEKDAYS:
        raise UnreadableError(f"{shown_value(raw)} is not a weekday", "one of " + ", ".join(WEEKDAYS))
    return WEEKDAYS.index(raw)


WEEKDAY = Form('a weekday: `"Mon"` to `"Sun"`', _weekday, 0, Entry.CHOICE, WEEKDAYS)

FROM_TO = re.compile(r"\s*[-\u2010-\u2015]\s*|\s+(?:to|until|till)\s+")
RANGE = re.compile(r"(?:([A-Za-z ,-]+?)\s+)?([0-9:]+)\s*[-\u2013]\s*([0-9:]+)")


def _clock_range(raw: Any, home: ZoneInfo | None) -> ClockRange:
    expected = 'hours such as "22:00-07:00", or with weekdays "Sat Sun 23:00-08:30" or "Mon-Fri 22:00-06:30"'
    text = tidy(raw).strip() if isinstance(raw, str) else ""
    match = RANGE.fullmatch(text)
    if match is None:
        near = _did_you_mean([_as_clock(part) for part in FROM_TO.split(text)], "-") if FROM_TO.search(text) else ""
        raise UnreadableError(f"{shown_value(raw)} is not a range of hours", expected, near, near=near)
    try:
        first, last = _clock_time(match.group(2), home), _clock_time(match.group(3), home)
    except UnreadableError:
        near = _did_you_mean([_as_clock(match.group(2)), _as_clock(match.group(3))], "-")
        raise UnreadableError(f"{shown_value(raw)} is not a range of hours", expected, near, near=near) from None
    if first == last:
        raise UnreadableError(f"{shown_value(raw)} begins and ends at one time", expected)
    days: set[int] = set()
    for word in (match.group(1) or "Mon-Sun").replace(",", " ").split():
        begin, _, end = word.partition("-")
        if begin not in WEEKDAYS or (end or begin) not in WEEKDAYS:
            raise UnreadableError(f'"{word}" is not a weekday', expected)
        day = WEEKDAYS.index(begin)
        days.add(day)
        while WEEKDAYS[day] != (end or begin):
            day = (day + 1) % 7
            days.add(day)
    return ClockRange(frozenset(days), first, last)


CLOCK_RANGE = Form(
    'hours such as `"22:00-07:00"` or `"Sat Sun 23:00-08:30"`', _clock_range, ClockRange(frozenset(), time(), time())
)
