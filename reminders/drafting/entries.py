"""A key of the plan into what is asked of a person, and what they type into the value that the plan's file holds.

All of it is drawn from the one statement of the keys (:data:`reminders.plan.model.TABLES`). Nothing is filled in: what is
left empty is left out of the file, and a default stays one. What cannot be read is kept as text, so that it is not lost
and the plan's findings name it.
"""

import csv
import re
from collections.abc import Iterable
from dataclasses import MISSING, dataclass, fields
from datetime import date, datetime, time
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from reminders.drafting.labels import AT_TIMES, hint_of, label_of, meaning_of
from reminders.plan.forms import Entry, Form, NoZoneError, UnreadableError
from reminders.plan.model import TABLES
from reminders.unit_slips import tidy
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

NONE = "none"
"""What a person types where nothing is to be listed, which is more than leaving the question open."""

YES, NO = "yes", "no"
SAID_YES, SAID_NO = {YES, "y", "true"}, {NO, "n", "false"}
AS_IN_THE_FILE = re.compile(r'[`"]|,? (?:without|in) quotation marks')
"""What the reader's words about a value say of how it stands in the file, which is nothing to whoever types it."""

WHOLE = re.compile(r"[0-9]{1,18}")
ITEM = re.compile(r"(\S.*?)\s*=\s*([0-9]{1,9})")
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
DAY_AND_TIME = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})(?:T|\s+)([0-9]{1,2}:[0-9]{2})(?::00)?")


@dataclass(frozen=True, slots=True)
class EntryField:
    """One question: a key of a table, what it is called for people, how it is answered, and what it means.

    ``needed``: every plan must state it. ``at_times``: some plans must, and the meaning says which.
    """

    table: str
    key: str
    form: Form
    label: str
    hint: str
    meaning: str
    sources: str
    needed: bool
    at_times: bool

    @property
    def kind(self) -> Entry:
        """Return how it is entered."""
        return self.form.entry

    @property
    def options(self) -> tuple[str, ...]:
        """Return the words of a choice, also those of which a list is made; empty where anything may be typed."""
        return self.form.options or (self.form.of.options if self.form.of else ())

    @property
    def names(self) -> tuple[str, ...]:
        """Return the tables whose names may stand here."""
        return self.form.names

    @property
    def many(self) -> bool:
        """Say whether several values are typed, one on each line or with commas between."""
        return self.kind in (Entry.LIST, Entry.COUNTS)

    @property
    def may_say_none(self) -> bool:
        """Say whether :data:`NONE` is an answer: an empty list."""
        return self.kind is Entry.LIST and self.form.least == 0


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one answer, and what was expected, in the words of whoever types it."""

    problem: str
    expected: str


@cache
def entries_of(table: str) -> tuple[EntryField, ...]:
    """Return the questions of a table, in the order of its keys.

    Raises:
        KeyError: plans have no such table.
    """
    return tuple(
        EntryField(
            table=table,
            key=item.name,
            form=item.metadata["form"],
            label=label_of(table, item.name),
            hint=hint_of(item.metadata["form"]),
            meaning=meaning_of(item.metadata["meaning"]),
            sources=item.metadata["sources"],
            needed=item.default is MISSING and item.default_factory is MISSING,
            at_times=item.name in AT_TIMES.get(table, "").split(),
        )
        for item in fields(TABLES[table])
        if "form" in item.metadata
    )


def entry_of(table: str, key: str) -> EntryField | None:
    """Return one question of a table; None if the table has no such key."""
    return next((entry for entry in entries_of(table) if entry.key == key), None) if table in TABLES else None


def raw_of(form: Form, typed: str) -> Any:
    """Return what the file is to hold for what was typed: None for nothing, and text for what cannot be read.

    Commas and quotation marks that hold nothing between them are nothing too: only :data:`NONE` says that there is none.
    """
    typed = tidy(typed)
    text = " ".join(typed.split())
    if not text:
        return None
    if form.entry is Entry.LIST:
        assert form.of is not None, "a list is a list of something"
        return [] if text.lower() == NONE else [_one(form.of, item) for item in _items(form.of, typed)] or None
    if form.entry is Entry.COUNTS:
        return _counts(typed) or None
    return _one(form, text)


def typed_of(form: Form, raw: Any) -> str:
    """Return how a value of the file is shown where it is entered; the opposite of :func:`raw_of`."""
    if raw is None:
        return ""
    if form.entry is Entry.LIST:
        listed = raw if isinstance(raw, list) else [raw]
        shown = [_shown(item) for item in listed]
        apart = _at_commas(form.of, len(listed))
        return "\n".join(_kept_whole(item, apart, len(listed) == 1) for item in shown) if shown else NONE
    if form.entry is Entry.COUNTS and isinstance(raw, dict):
        return "\n".join(f"{name} = {_shown(number)}" for name, number in raw.items())
    if form.entry is Entry.COUNTS and isinstance(raw, str):
        return "\n".join(_lines(raw))
    return _shown(raw)


def fault_of(field: EntryField, typed: str, home: ZoneInfo | None) -> Fault | None:
    """Return what is wrong with an answer by itself; None if nothing is, or it was left empty and may be.

    ``home`` is the plan's zone, None while it is not known.
    """
    raw = raw_of(field.form, typed)
    if raw is None:
        if not field.needed:
            return None
        none = _('This has no answer. Write "none" if there is none.') if field.may_say_none else ""
        return Fault(none or _("This has no answer."), field.hint)
    try:
        field.form.read(raw, home)
    except NoZoneError:  # the moment itself is well written
        return None
    except UnreadableError as error:
        expected = field.hint if isinstance(raw, str | dict) and field.kind in _SAID_ANOTHER_WAY else error.expected
        problem = error.problem[0].upper() + error.problem[1:]
        return Fault(f"{problem}. {error.near}".strip(), AS_IN_THE_FILE.sub("", expected))
    return None


_SAID_ANOTHER_WAY = {Entry.YES_NO, Entry.COUNTS, Entry.LIST}
"""What is typed otherwise than it stands in the file, so that the reader's own words would mislead."""


def _one(form: Form, text: str) -> Any:
    """Return one value that is no list; ``text`` has no blanks at its ends."""
    if form.entry is Entry.YES_NO:
        word = text.lower()
        return True if word in SAID_YES else False if word in SAID_NO else text
    if form.entry is Entry.NUMBER:
        return int(text) if WHOLE.fullmatch(text) else text
    if form.entry is Entry.DATE and DAY.fullmatch(text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            return text
    if form.entry is Entry.MOMENT and (match := DAY_AND_TIME.fullmatch(text)):
        return f"{match.group(1)} {match.group(2):0>5}"
    if form.options:  # a choice: small and capital letters are the same to a person
        return next((word for word in form.options if word.lower() == text.lower()), text)
    return text


def _items(form: Form, typed: str) -> Iterable[str]:
    """Part a list at its lines, or on a single line at its commas; quotation marks keep an entry whole."""
    lines = [line for line in (line.strip().removesuffix(",").strip() for line in typed.splitlines()) if line]
    apart = _at_commas(form, len(lines))
    for line in lines:
        quoted = line[0] == '"' or (apart and "," in line)
        parts = next(csv.reader([line], skipinitialspace=True), []) if quoted else [line]
        yield from (" ".join(part.split()) for part in parts if part.strip())


def _at_commas(form: Form | None, lines: int) -> bool:
    """Say whether a comma parts entries: on a single line, and wherever no entry can hold one."""
    return lines == 1 or form is None or form.entry is not Entry.LINE or bool(form.names)


def _kept_whole(item: str, apart: bool, alone: bool) -> str:
    """Put an entry in quotation marks where it would be taken for several, or for none."""
    if item.startswith('"') or item.endswith(",") or (apart and "," in item) or (alone and item.lower() == NONE):
        return '"' + item.replace('"', '""') + '"'
    return item


def _counts(typed: str) -> Any:
    """Return items with their numbers, or the text where it cannot be told which is which."""
    found: dict[str, Any] = {}
    lines = _lines(typed)
    for line in lines:
        whole = line.removesuffix(",")
        parts = whole.split(",")
        for part in parts if all(ITEM.fullmatch(part.strip()) for part in parts) else [whole]:
            item = ITEM.fullmatch(part.strip())
            if item is not None and item.group(1) not in found:
                found[item.group(1)] = int(item.group(2))
            elif part.strip():
                return "\n".join(lines)  # run together, "a" above "b = 1" would become one item
    return found


def _lines(typed: str) -> list[str]:
    return [" ".join(line.split()) for line in typed.splitlines() if line.strip()]


def _shown(raw: Any) -> str:
    if isinstance(raw, bool):
        return YES if raw else NO
    if isinstance(raw, datetime):
        return raw.isoformat(" ", "minutes" if not raw.second and not raw.microsecond else "auto")
    if isinstance(raw, date):
        return raw.isoformat()
    if isinstance(raw, time):
        return raw.isoformat("minutes" if not raw.second and not raw.microsecond else "auto")
    return " ".join(raw.split()) if isinstance(raw, str) else str(raw)
