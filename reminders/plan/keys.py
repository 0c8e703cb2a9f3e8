"""The forms that a plan's values take: how each is read, and how it is described to whoever writes a plan.

A field of a class in :mod:`reminders.plan.model` says with :func:`key` which form its value has and what it means.
Reader, error texts and the page about the keys are all drawn from that one statement.
"""

import re
import unicodedata
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from enum import Enum
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from reminders.times import WEEKDAYS, ClockRange, Instant, Moment, from_datetime, instant_of
from reminders.units import BASES, Measure, UnitError, measure
from reminders.zones import known_zones, zone

EARLIEST_YEAR, LATEST_YEAR = 2000, 2200


class UnreadableError(ValueError):
    """A value that is not of its key's form; carries what a finding about it needs."""

    def __init__(self, problem: str, expected: str, mend: str = "", code: str = "wrong-form") -> None:
        super().__init__(problem)
        self.problem, self.expected, self.mend, self.code = problem, expected, mend, code


class NoZoneError(UnreadableError):
    """A moment of the right form that is no instant, because the plan's zone could not be read."""


@dataclass(frozen=True, slots=True)
class Form:
    """How a value is written (``shown``, for people) and the function that reads it.

    ``read`` takes the raw TOML value and the home zone (for moments) and raises :class:`UnreadableError`. ``stand_in``
    takes the place of a value that could not be read, only so that the rest of the plan can be looked at for further
    errors; nothing is ever made of it.
    """

    shown: str
    read: Callable[[Any, ZoneInfo | None], Any]
    stand_in: Any


@dataclass(frozen=True, slots=True)
class Pushed:
    """One entry of an ordered list before or after an infusion: a fluid or an extra step, perhaps with a volume."""

    name: str
    volume: Measure | None = None


def key(form: Form, meaning: str, *, sources: str = "") -> dict[str, Any]:
    """Describe a key of the plan for ``dataclasses.field(metadata=...)``.

    ``sources`` says what published material ranges over, for a value that must be stated and is not.
    """
    return {"form": form, "meaning": meaning, "sources": sources}


def shown_value(raw: object) -> str:
    """Show a raw value as it may be quoted in a finding: on one line and not too long."""
    if isinstance(raw, int) and not -(10**30) < raw < 10**30:
        return "a number of more than 30 digits"
    text = f'"{raw}"' if isinstance(raw, str) else _bounded(raw)
    text = "".join(char if char.isprintable() else " " for char in text)
    return text if len(text) <= 60 else text[:57] + "..."


def _bounded(raw: object) -> str:
    try:
        return str(raw)
    except (ValueError, RecursionError):  # a number with more digits, or tables deeper, than Python writes
        return "a value too long to be shown"


def _text(raw: Any, home: ZoneInfo | None, longest: int = 400) -> str:
    if not isinstance(raw, str):
        raise UnreadableError(f"{shown_value(raw)} is not text", "text in quotation marks")
    text = " ".join(raw.split())
    if not text:
        raise UnreadableError("the text is empty", "at least one word")
    if len(text) > longest:
        raise UnreadableError(f"the text has {len(text)} characters", f"at most {longest} characters")
    bad = next((char for char in text if unicodedata.category(char) in ("Cc", "Cs", "Co", "Cn")), None)
    if bad is not None:
        raise UnreadableError(f"the text holds the control character U+{ord(bad):04X}", "plain text")
    if "\\" in text:  # calendar programs disagree about what follows one (RFC 5545, 3.3.11)
        raise UnreadableError("the text holds a backslash", "plain text without backslashes")
    return text


TEXT = Form("text", _text, "unread")
LABEL = Form("a short text, at most 60 characters", lambda raw, home: _text(raw, home, 60), "unread")


def _yes_no(raw: Any, home: ZoneInfo | None) -> bool:
    if not isinstance(raw, bool):
        raise UnreadableError(
            f"{shown_value(raw)} is neither true nor false",
            "true or false, in small letters and without quotation marks",
        )
    return raw


YES_NO = Form("`true` or `false`", _yes_no, False)


def whole(least: int, most: int) -> Form:
    """Return the form of a whole number from ``least`` to ``most``."""
    expected = f"a whole number from {least} to {most}, without quotation marks"

    def read(raw: Any, home: ZoneInfo | None) -> int:
        if isinstance(raw, bool) or not isinstance(raw, int):
            raise UnreadableError(f"{shown_value(raw)} is not a whole number", expected)
        if not least <= raw <= most:
            raise UnreadableError(f"{shown_value(raw)} lies outside what can be meant", expected, code="out-of-range")
        return raw

    return Form(f"a whole number from {least} to {most}", read, least)


def choice(options: type[Enum]) -> Form:
    """Return the form of one word out of an enumeration whose members' values are texts."""
    words = [str(member.value) for member in options]
    shown = ", ".join(f'"{word}"' for word in words)

    def read(raw: Any, home: ZoneInfo | None) -> Enum:
        if raw not in words:
            raise UnreadableError(f"{shown_value(raw)} is none of the words that stand here", f"one of {shown}")
        return options(raw)

    return Form("one of " + ", ".join(f'`"{word}"`' for word in words), read, next(iter(options)))


def _identity(raw: Any, home: ZoneInfo | None) -> uuid.UUID:
    mend = "Make a new one with  reminders new-id ."
    try:
        found = uuid.UUID(raw)
    except (ValueError, AttributeError, TypeError):
        raise UnreadableError(f"{shown_value(raw)} is not a random id", "a random UUID (version 4)", mend) from None
    if found.version != 4:
        raise UnreadableError("the id was not drawn at random", "a random UUID (version 4), which names nobody", mend)
    return found


IDENTITY = Form("a random UUID (version 4)", _identity, uuid.UUID(int=0))


def _zone(raw: Any, home: ZoneInfo | None) -> ZoneInfo:
    if raw not in known_zones() if isinstance(raw, str) else True:
        raise UnreadableError(
            f"{shown_value(raw)} is not a zone of the IANA data",
            "a zone such as America/Chicago or Europe/Dublin",
            "Name the region and the city with a slash; abbreviations such as CST are not unique.",
            "unknown-zone",
        )
    return zone(raw)


ZONE = Form("an IANA time zone such as `America/Chicago`", _zone, zone("UTC"))


def _year_fits(year: int) -> None:
    if not EARLIEST_YEAR <= year <= LATEST_YEAR:
        raise UnreadableError(
            f"the year {year} cannot be meant", f"a year from {EARLIEST_YEAR} to {LATEST_YEAR}", code="out-of-range"
        )


def _date(raw: Any, home: ZoneInfo | None) -> date:
    if isinstance(raw, str):
        try:
            raw = date.fromisoformat(raw.strip())
        except ValueError:
            raise UnreadableError(f"{shown_value(raw)} is not a date", "year-month-day, such as 2026-10-26") from None
    if isinstance(raw, datetime) or not isinstance(raw, date):
        raise UnreadableError(f"{shown_value(raw)} is not a date", "year-month-day, such as 2026-10-26")
    _year_fits(raw.year)
    return raw


DATE = Form("a date such as `2026-10-26`", _date, date(EARLIEST_YEAR, 1, 1))


def _moment(raw: Any, home: ZoneInfo | None) -> Moment:
    expected = 'date and time to the minute, such as "2026-10-26 08:00"'
    if isinstance(raw, str):
        if ":" not in raw:
            raise UnreadableError(f"{shown_value(raw)} has no time of day", expected)
        try:
            raw = datetime.fromisoformat(raw.strip())
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

MOMENT = Form('date and time, such as `"2026-10-26 08:00"`, on the home clock', _moment, _NO_MOMENT)

CLOCK = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])")


def _clock_time(raw: Any, home: ZoneInfo | None) -> time:
    expected = 'a time of day from "00:00" to "23:59"'
    if isinstance(raw, time) and not raw.second and not raw.microsecond:
        return raw
    match = CLOCK.fullmatch(raw.strip()) if isinstance(raw, str) else None
    if match is None:
        raise UnreadableError(
            f"{shown_value(raw)} is not a time of day", expected, "Write 8 in the evening as 20:00, midnight as 00:00."
        )
    return time(int(match.group(1)), int(match.group(2)))


CLOCK_TIME = Form('a time of day such as `"08:00"`', _clock_time, time())


def _weekday(raw: Any, home: ZoneInfo | None) -> int:
    if raw not in WEEKDAYS:
        raise UnreadableError(f"{shown_value(raw)} is not a weekday", "one of " + ", ".join(WEEKDAYS))
    return WEEKDAYS.index(raw)


WEEKDAY = Form('a weekday: `"Mon"` to `"Sun"`', _weekday, 0)

RANGE = re.compile(r"(?:([A-Za-z ,-]+?)\s+)?([0-9:]+)\s*[-\u2013]\s*([0-9:]+)")


def _clock_range(raw: Any, home: ZoneInfo | None) -> ClockRange:
    expected = 'hours such as "22:00-07:00", or with weekdays "Sat Sun 23:00-08:30" or "Mon-Fri 22:00-06:30"'
    match = RANGE.fullmatch(raw.strip()) if isinstance(raw, str) else None
    if match is None:
        raise UnreadableError(f"{shown_value(raw)} is not a range of hours", expected)
    first, last = _clock_time(match.group(2), home), _clock_time(match.group(3), home)
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


def quantity(*kinds: str, least: Fraction | None = None) -> Form:
    """Return the form of a number with a unit of one of ``kinds``: more than zero, or at least ``least``."""
    examples = [f'"{BASES[kind][1]}"' for kind in kinds]
    expected = f"a number with its unit, such as {' or '.join(examples)}"

    def read(raw: Any, home: ZoneInfo | None) -> Measure:
        if not isinstance(raw, str):
            raise UnreadableError(
                f"{shown_value(raw)} has no unit",
                expected,
                "Write the unit after the number and both in quotation marks.",
                "wrong-unit",
            )
        try:
            found, _ = measure(raw.strip(), kinds)
        except UnitError as error:
            units = (
                'Write units in full ("units", not "U"), decimals with a point and a digit before it ("0.5"), no comma.'
            )
            raise UnreadableError(f"{shown_value(raw)} {error}", expected, units, "wrong-unit") from None
        if (found.amount <= 0 and least is None) or (least is not None and found.amount < least):
            raise UnreadableError(f"{shown_value(raw)} is too little", "more than nothing", code="out-of-range")
        return found

    shown = "a number with its unit, such as " + " or ".join(f"`{example}`" for example in examples)
    return Form(shown, read, measure(BASES[kinds[0]][1], kinds)[0])


YEARS_IN_MINUTES = 2 * 366 * 1440


TWO_UNITS = re.compile(r"\s*([0-9]+\s*[A-Za-z]+)\s+([0-9]+\s*[A-Za-z]+)\s*")


def minutes(*, least: int = 1, most: int = YEARS_IN_MINUTES) -> Form:
    """Return the form of a duration in whole minutes, from ``least`` to ``most``."""
    form = quantity("duration", least=Fraction(0))

    def read(raw: Any, home: ZoneInfo | None) -> int:
        parts = TWO_UNITS.fullmatch(raw) if isinstance(raw, str) else None
        amounts = [form.read(part, home).amount for part in (parts.groups() if parts else (raw,))]
        amount = sum(amounts, Fraction(0))
        if amount.denominator != 1:
            raise UnreadableError(f"{shown_value(raw)} is not a whole number of minutes", "whole minutes")
        if not least <= amount <= most:
            raise UnreadableError(
                f"{shown_value(raw)} cannot be meant here",
                f"a duration from {least} min to {most // 1440} days" if most >= 2880 else f"{least} to {most} min",
                code="out-of-range",
            )
        return int(amount)

    return Form('a duration such as `"12 h"`, `"1 h 30 min"` or `"7 days"`', read, min(max(least, 720), most))


def seconds(*, least: int, most: int) -> Form:
    """Return the form of a duration in whole seconds, from ``least`` to ``most``."""
    form = quantity("duration", least=Fraction(0))

    def read(raw: Any, home: ZoneInfo | None) -> int:
        amount = form.read(raw, home).amount * 60
        if amount.denominator != 1 or not least <= amount <= most:
            raise UnreadableError(
                f"{shown_value(raw)} cannot be meant here",
                f"whole seconds, from {least} s to {most} s",
                code="out-of-range",
            )
        return int(amount)

    return Form('a duration such as `"15 s"`', read, least)


@dataclass(frozen=True, slots=True)
class RateStep:
    """One stretch of an infusion at one rate, for so many minutes."""

    rate: Measure
    minutes: int


def _rate_step(raw: Any, home: ZoneInfo | None) -> RateStep:
    rate, _, length = raw.partition(" for ") if isinstance(raw, str) else ("", "", "")
    if not length:
        raise UnreadableError(
            f"{shown_value(raw)} is not a rate step", 'a rate and how long, such as "50 mL/h for 1 h"'
        )
    return RateStep(quantity("flow").read(rate, home), minutes().read(length, home))


RATE_STEP = Form('a rate and how long: `"50 mL/h for 1 h"`', _rate_step, RateStep(Measure("1 mL/h", Fraction(1)), 60))

NAME = re.compile(r"[A-Za-z0-9_-]{1,40}")
PUSHED = re.compile(r"([A-Za-z0-9_-]+)(?:\s+(\S.*))?")


def _pushed(raw: Any, home: ZoneInfo | None) -> Pushed:
    match = PUSHED.fullmatch(raw.strip()) if isinstance(raw, str) else None
    if match is None:
        raise UnreadableError(
            f"{shown_value(raw)} is not a fluid or step", 'a name, perhaps with a volume: "saline" or "saline 20 mL"'
        )
    volume = match.group(2)
    if volume and not volume[0].isdigit():
        raise UnreadableError(
            f"{shown_value(raw)} is not the name of a fluid or step",
            'one name, perhaps with a volume: "saline" or "saline 20 mL"',
            "Names have no spaces; a step of your own needs a table such as [step.check_clamp].",
        )
    return Pushed(match.group(1), quantity("volume").read(volume, home) if volume else None)


PUSHED_ITEM = Form(
    'a fluid or step by its name, perhaps with a volume: `"saline"` or `"saline 20 mL"`', _pushed, Pushed("unread")
)


def many(item: Form, *, least: int = 0) -> Form:
    """Return the form of a list of ``item``; each entry's fault is told with its place in the list."""

    def read(raw: Any, home: ZoneInfo | None) -> tuple[Any, ...]:
        if not isinstance(raw, list):
            raise UnreadableError(
                f"{shown_value(raw)} is not a list", f"a list in square brackets, each entry {item.shown}"
            )
        if len(raw) < least:
            raise UnreadableError("the list is empty", f"at least {least} of: {item.shown}")
        found = []
        for count, entry in enumerate(raw, start=1):
            try:
                found.append(item.read(entry, home))
            except UnreadableError as error:
                raise UnreadableError(
                    f"entry {count}: {error.problem}", error.expected, error.mend, error.code
                ) from None
        return tuple(found)

    return Form(f"a list of: {item.shown}", read, ())


def _names(raw: Any, home: ZoneInfo | None) -> tuple[str, ...]:
    listed = raw if isinstance(raw, list) else [raw]
    return tuple(_text(name, home, 60) for name in listed)


NAMES = Form("a name, or a list of names", _names, ())


def _counts(raw: Any, home: ZoneInfo | None) -> dict[str, int]:
    expected = 'items with whole numbers, such as { "hub scrub" = 1 }'
    if not isinstance(raw, dict):
        raise UnreadableError(f"{shown_value(raw)} is not a table of items", expected)
    for name, number in raw.items():
        if isinstance(number, bool) or not isinstance(number, int) or not 0 < number <= 1000:
            raise UnreadableError(f'"{name}" = {shown_value(number)} is not a number of items', expected)
    return {_text(name, home, 60): number for name, number in raw.items()}


COUNTS = Form('items with their numbers, such as `{ "hub scrub" = 1 }`', _counts, {})

COLOURS = frozenset(
    "aqua black blue crimson darkgreen darkorange fuchsia gold goldenrod gray green indigo lime maroon navy olive "
    "orange orchid purple red royalblue seagreen sienna silver slateblue steelblue teal tomato violet yellow".split()
)
"""A choice from the CSS3 colour names that RFC 7986 (5.9) refers to."""


def _colour(raw: Any, home: ZoneInfo | None) -> str:
    if not isinstance(raw, str) or raw not in COLOURS:
        raise UnreadableError(f"{shown_value(raw)} is not a colour known here", "one of " + ", ".join(sorted(COLOURS)))
    return str(raw)


COLOUR = Form("a colour by its CSS name, such as `teal`", _colour, "teal")
