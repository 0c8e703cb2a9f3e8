"""What is found in a draft into words for whoever answers questions, and what questions and tables are called there.

The same findings stand in the file's own words where a file is checked; here questions are called as they are asked.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from reminders.drafting.draft import Draft, table_path
from reminders.drafting.entries import entry_of, fault_of
from reminders.drafting.groups import SECTIONS
from reminders.drafting.labels import label_of
from reminders.drafting.look import Placed
from reminders.findings import Finding, KeyPath, Severity
from reminders.plan.forms import UnreadableError
from reminders.plan.keys import ZONE
from reminders.plan.model import LISTED_TABLES, NAMED_TABLES, TABLES
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

TABLE_WORDS = {
    "plan": _("The plan"),
    "zone_change": _("Journey"),
    "household": _("Household"),
    "line": _("Line"),
    "lumen": _("Lumen"),
    "fluid": _("Fluid"),
    "step": _("Step of its own"),
    "protocol": _("Protocol"),
    "task": _("Care task"),
    "supplies": _("What is used up"),
    "stock": _("In stock"),
    "daily_limits": _("Limits of a day"),
    "order": _("Order"),
    "call": _("To call"),
    "calendar": _("Calendar on the phone"),
    "pop_up": _("Pop-ups on the computer"),
}
TIER_WORDS = {
    "emergency": _("Emergency"),
    "now": _("At once, day and night"),
    "same_day": _("The same day"),
    "next_contact": _("At the next contact"),
}
NAMED_BY = {"lumen": "label", "fluid": "label", "step": "label", "task": "label", "stock": "item", "order": "drug"}
"""The key that says what people call a table."""

SEVERITIES = {Severity.ERROR: _("To mend"), Severity.WARNING: _("Look at this"), Severity.NOTE: _("Note")}

OF_ONE_ANSWER = frozenset({"missing", "wrong-form", "wrong-unit", "out-of-range", "unknown-zone"})
"""Codes of what is wrong with an answer by itself; here it is said how it is typed, not how the file writes it."""

WORDS = re.compile(r"[a-z0-9]+(?:_[a-z0-9]+)*")
BETWEEN_KEYS = frozenset("exactly one of or and more under".split())
"""Words of a text that is a list of keys; only there a key of one word is told from a word of the language."""


def legend(draft: Draft, place: KeyPath) -> str:
    """Return what a table is called: ``Lumen: red``, ``At once, day and night``."""
    table = place[0]
    words = TABLE_WORDS.get(table, table)
    if len(place) == 1:
        return words
    if table == "call":
        return TIER_WORDS.get(place[1], place[1])
    key = NAMED_BY.get(table)
    called = draft.typed((*place, key)) if key else ""
    return _("{kind}: {name}").format(kind=words, name=called or place[1])


def path_words(draft: Draft, path: KeyPath) -> str:
    """Return what a question is called where it stands alone: ``Lumen: red, Last flushed``."""
    return _("{where}, {what}").format(where=legend(draft, path[:-1]), what=label_of(path[0], path[-1]))


def where_words(draft: Draft, path: KeyPath) -> str:
    """Return where a question or table is found: its section, table and question, each once.

    Such as ``Whom to call, Emergency, Phone`` and ``The line, Allergies``.
    """
    section = next((one for one in SECTIONS if path[0] in one.tables), None)
    place = table_path(path)
    parts = [section.title] if section else []
    if len(place) > 1 or (section and len(section.tables) > 1):
        parts.append(legend(draft, place))
    if is_question(path):
        parts.append(label_of(path[0], path[-1]))
    return ", ".join(parts)


def is_question(path: KeyPath) -> bool:
    """Say whether a path is that of a question, and not of a table."""
    return len(path) > len(table_path(path)) and entry_of(path[0], path[-1]) is not None


def home_of(draft: Draft) -> ZoneInfo | None:
    """Return a draft's home zone; None while it cannot be read."""
    try:
        zone: ZoneInfo = ZONE.read(draft.raw(("plan", "zone")), None)
    except UnreadableError:
        return None
    return zone


@dataclass(frozen=True, slots=True)
class Worded:
    """A finding in words. ``where`` it is, and ``missing``: it only asks for an answer that is not there yet."""

    where: str
    text: str
    mend: str
    missing: bool


def worded(draft: Draft, placed: Placed, home: ZoneInfo | None) -> Worded:
    """Return a finding in words; ``home`` is the draft's zone, as :func:`home_of` returns it."""
    finding, path = placed.finding, placed.path
    where = where_words(draft, path) if path else ""
    if path is not None and finding.code in OF_ONE_ANSWER:
        entry = entry_of(path[0], path[-1]) if is_question(path) else None
        if entry is None and finding.code == "missing" and len(path) == 1:
            text = _("There is none yet, and a plan needs at least one.")
            if path[0] not in NAMED_TABLES | LISTED_TABLES:  # its questions say so themselves
                text = _("Nothing is answered here yet.")
            return Worded(where, text, "", True)
        fault = fault_of(entry, draft.typed(path), home) if entry else None
        if fault is not None:
            expected = fault.expected.rstrip(".")
            mend = _("Expected: {expected}.").format(expected=expected) if expected else ""
            return Worded(where, fault.problem, mend, not draft.typed(path))
    message, expected, mend = plain_words(finding, (finding.message, finding.expected, finding.mend))
    if " = " in finding.mend:  # how a line of the file is written
        mend = ""
    more = [_("Expected: {expected}.").format(expected=expected.rstrip(".")) if expected else "", mend]
    error = finding.severity is Severity.ERROR
    missing = error and path is not None and not draft.has(path) and (finding.code == "missing" or is_question(path))
    return Worded(where, message, " ".join(filter(None, more)), missing)


def plain_words(finding: Finding, texts: Iterable[str]) -> list[str]:
    """Return a finding's texts with its questions called as they are asked, and tables without brackets."""
    tables = [place[0] for place in finding.places if place and place[0] in TABLES] or list(TABLES)
    return [_plain(text, tables) for text in texts]


def _plain(text: str, tables: Sequence[str]) -> str:
    """Write keys as their labels, and headings in brackets as words."""
    text = re.sub(r"\[\[?([a-z_]+)(?:\.([^\]\s]+))?\]\]?", _heading, text)
    text = text.replace("an empty list", _('the word "none"'))
    keys_alone = not {word for word in WORDS.findall(text) if not _label(word, tables)} - BETWEEN_KEYS

    def label(found: re.Match[str]) -> str:
        named = _label(found[0], tables) if keys_alone or "_" in found[0] else ""
        return f'"{named}"' if named else found[0].replace("_", " ")

    return WORDS.sub(label, text)


def _label(word: str, tables: Iterable[str]) -> str:
    """Return what a key of some tables is called; nothing for any other word."""
    return next((label_of(table, word) for table in tables if entry_of(table, word)), "")


def _heading(found: re.Match[str]) -> str:
    if found[1] not in TABLES:
        return found[0]
    return f"{found[1].replace('_', ' ')} {found[2]}" if found[2] and found[2] != "NAME" else found[1].replace("_", " ")
