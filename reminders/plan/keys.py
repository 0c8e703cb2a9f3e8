"""The forms that a plan's values take: how each is read, and how it is described to whoever writes a plan.

What a form is stands in :mod:`reminders.plan.forms`; the forms of dates and times are those of
:mod:`reminders.plan.key_times`, and are named here with the others.
"""

import re
import unicodedata
import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from reminders.plan.forms import Entry
from reminders.plan.forms import Form as Form
from reminders.plan.forms import NoZoneError as NoZoneError
from reminders.plan.forms import UnreadableError as UnreadableError
from reminders.plan.forms import key as key
from reminders.plan.forms import shown_value as shown_value
from reminders.plan.key_times import CLOCK_RANGE as CLOCK_RANGE
from reminders.plan.key_times import CLOCK_TIME as CLOCK_TIME
from reminders.plan.key_times import DATE as DATE
from reminders.plan.key_times import MOMENT as MOMENT
from reminders.plan.key_times import WEEKDAY as WEEKDAY
from reminders.unit_slips import UnitError, tidy
from reminders.units import BASES, Measure, measure
from reminders.zones import known_zones, near_zones, zone


@dataclass(frozen=True, slots=True)
class Pushed:
    """One entry of an ordered list before or after an infusion: a fluid or an extra step, perhaps with a volume."""

    name: str
    volume: Measure | None = None


def _text(raw: Any, home: ZoneInfo | None, longest: int = 400) -> str:
    if not isinstance(raw, str):
        raise UnreadableError(f"{shown_value(raw)} is not text", "text in quotation marks")
    text = " ".join(tidy(raw).split())
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


TEXT = Form("text", _text, "unread", Entry.LONG)
LABEL = Form("a short text, at most 60 characters", lambda raw, home: _text(raw, home, 60), "unread")


def _short(needs: Callable[[str], bool], what: str, wanted: str, mend: str) -> Form:
    """Return the form of a short text that must hold what people need to tell it by, such as a letter or a digit."""

    def read(raw: Any, home: ZoneInfo | None) -> str:
        text = _text(raw, home, 60)
        if not needs(text):
            raise UnreadableError(f"{shown_value(raw)} is no {what}", wanted, mend, near=mend)
        return text

    return replace(LABEL, read=read)


def _has_letter(text: str) -> bool:
    return any(char.isalpha() for char in text)


def _has_sign(text: str) -> bool:
    return any(char.isalnum() for char in text)


PERSON = _short(_has_letter, "name", "a name, with letters", "Write who it is.")
"""Who answers, or has read a plan back."""
CALLED = _short(_has_sign, "name", "a name, with letters or digits", "Write what it is called.")
"""What people call a thing: a lumen, a drug, an item of supply."""
LUMEN_LABEL = _short(
    lambda text: _has_sign(text) and "," not in text,
    "name of one lumen",
    "letters or digits, and no comma",
    "Write what its owner sees on this one lumen; each lumen has its own.",
)
ALLERGY = _short(_has_letter, "allergy", "the name of an allergy", "Name what it is; if none is known, say none.")
PHONE = _short(
    lambda text: sum(char.isdecimal() for char in text) >= LEAST_DIGITS,
    "telephone number",
    "a telephone number, with its digits",
    "Write the number that is dialled.",
)
LEAST_DIGITS = 2
"""The shortest numbers of emergency services have two."""


def name_of(*tables: str) -> Form:
    """Return the form of a name of one of ``tables``, such as that of a lumen; whether there is one is checked later."""
    return replace(LABEL, names=tables)


def _yes_no(raw: Any, home: ZoneInfo | None) -> bool:
    if not isinstance(raw, bool):
        raise UnreadableError(
            f"{shown_value(raw)} is neither true nor false",
            "true or false, in small letters and without quotation marks",
        )
    return raw


YES_NO = Form("`true` or `false`", _yes_no, False, Entry.YES_NO)


WITH_WORDS = re.compile(r"([0-9]{1,6}) ?[A-Za-z].*")


def whole(least: int, most: int) -> Form:
    """Return the form of a whole number from ``least`` to ``most``."""
    expected = f"a whole number from {least} to {most}, without quotation marks"

    def read(raw: Any, home: ZoneInfo | None) -> int:
        if isinstance(raw, bool) or not isinstance(raw, int):
            text = tidy(raw).strip() if isinstance(raw, str) else ""
            alone = WITH_WORDS.fullmatch(text)
            near = f"Write the number alone: {alone[1]}." if alone else ""
            if text.isdecimal() and not text.isascii():
                near = "Type it in the digits 0 to 9."
            raise UnreadableError(f"{shown_value(raw)} is not a whole number", expected, near, near=near)
        if not least <= raw <= most:
            raise UnreadableError(f"{shown_value(raw)} lies outside what can be meant", expected, code="out-of-range")
        return raw

    return Form(f"a whole number from {least} to {most}", read, least, Entry.NUMBER)


def choice(options: type[Enum]) -> Form:
    """Return the form of one word out of an enumeration whose members' values are texts."""
    words = [str(member.value) for member in options]
    shown = ", ".join(f'"{word}"' for word in words)

    def read(raw: Any, home: ZoneInfo | None) -> Enum:
        if raw not in words:
            raise UnreadableError(f"{shown_value(raw)} is none of the words that stand here", f"one of {shown}")
        return options(raw)

    described = "one of " + ", ".join(f'`"{word}"`' for word in words)
    return Form(described, read, next(iter(options)), Entry.CHOICE, tuple(words))


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
            _near(raw) or "Name the region and the city with a slash; abbreviations such as CST are not unique.",
            "unknown-zone",
            near=_near(raw),
        )
    return zone(raw)


def _near(raw: Any) -> str:
    """Say as which zones a text may have been meant; nothing where it is like none."""
    near = near_zones(raw) if isinstance(raw, str) else []
    return f"Write it as {' or '.join(near)}, if that is where the household is." if near else ""


ZONE = Form("an IANA time zone such as `America/Chicago`", _zone, zone("UTC"))


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
            raise UnreadableError(
                f"{shown_value(raw)} {error}", expected, error.near or units, "wrong-unit", near=error.near
            ) from None
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
        parts = TWO_UNITS.fullmatch(tidy(raw)) if isinstance(raw, str) else None
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
    'a fluid or step by its name, perhaps with a volume: `"saline"` or `"saline 20 mL"`',
    _pushed,
    Pushed("unread"),
    names=("fluid", "step"),
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
        no_zone: NoZoneError | None = None
        for count, entry in enumerate(raw, start=1):
            try:
                found.append(item.read(entry, home))
            except NoZoneError as error:  # no fault of the entry; one that has a fault is told first
                no_zone = error
            except UnreadableError as error:
                raise UnreadableError(
                    f"entry {count}: {error.problem}", error.expected, error.mend, error.code, near=error.near
                ) from None
        if no_zone is not None:
            raise no_zone
        return tuple(found)

    return Form(f"a list of: {item.shown}", read, (), Entry.LIST, of=item, least=least, names=item.names)


def _names(raw: Any, home: ZoneInfo | None) -> tuple[str, ...]:
    listed = raw if isinstance(raw, list) else [raw]
    return tuple(_text(name, home, 60) for name in listed)


def names_of(table: str) -> Form:
    """Return the form of one name of a table, or several of them."""
    return Form("a name, or a list of names", _names, (), Entry.LIST, of=name_of(table), names=(table,))


def _counts(raw: Any, home: ZoneInfo | None) -> dict[str, int]:
    expected = 'items with whole numbers, such as { "hub scrub" = 1 }'
    if not isinstance(raw, dict):
        raise UnreadableError(f"{shown_value(raw)} is not a table of items", expected)
    for name, number in raw.items():
        if isinstance(number, bool) or not isinstance(number, int) or not 0 < number <= 1000:
            raise UnreadableError(f'"{name}" = {shown_value(number)} is not a number of items', expected)
    return {CALLED.read(name, home): number for name, number in raw.items()}


COUNTS = Form('items with their numbers, such as `{ "hub scrub" = 1 }`', _counts, {}, Entry.COUNTS)

COLOURS = frozenset(
    "aqua black blue crimson darkgreen darkorange fuchsia gold goldenrod gray green indigo lime maroon navy olive "
    "orange orchid purple red royalblue seagreen sienna silver slateblue steelblue teal tomato violet yellow".split()
)
"""A choice from the CSS3 colour names that RFC 7986 (5.9) refers to."""


def _colour(raw: Any, home: ZoneInfo | None) -> str:
    if not isinstance(raw, str) or raw not in COLOURS:
        raise UnreadableError(f"{shown_value(raw)} is not a colour known here", "one of " + ", ".join(sorted(COLOURS)))
    return str(raw)


COLOUR = Form("a colour by its CSS name, such as `teal`", _colour, "teal", Entry.CHOICE, tuple(sorted(COLOURS)))
