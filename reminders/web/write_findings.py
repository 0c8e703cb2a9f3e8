"""What is found in a draft into words for whoever fills in the form, each beside the question that it is about.

The same findings stand in the file's own words where a file is checked; here questions are called as the form calls them.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from reminders.drafting.draft import Draft
from reminders.drafting.entries import entry_of, fault_of
from reminders.drafting.labels import label_of
from reminders.drafting.look import Look, Placed
from reminders.findings import Finding, KeyPath, Severity
from reminders.plan.forms import UnreadableError
from reminders.plan.keys import ZONE
from reminders.plan.model import LISTED_TABLES, NAMED_TABLES, TABLES
from reminders.web.write_form import field_name, table_path
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

OF_ONE_ANSWER = frozenset({"missing", "wrong-form", "wrong-unit", "out-of-range", "unknown-zone"})
"""Codes of what is wrong with an answer by itself; the form says how it is typed, not how the file writes it."""

WORDS = re.compile(r"[a-z0-9]+(?:_[a-z0-9]+)*")
BETWEEN_KEYS = frozenset("exactly one of or and more under".split())
"""Words of a text that is a list of keys; only there a key of one word is told from a word of the language."""

SEVERITIES = {Severity.ERROR: _("To mend"), Severity.WARNING: _("Look at this"), Severity.NOTE: _("Note")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One thing that is said about an answer. ``stops``: the plan cannot be finished with it. ``mark``: the field or group."""

    weight: str
    word: str
    text: str
    mend: str = ""
    mark: str = ""
    stops: bool = False
    missing: bool = False

    @classmethod
    def fault(cls, text: str, mark: str) -> "Said":
        """Return what is said where an answer could not be put into the plan at all."""
        return cls(weight="error", word=SEVERITIES[Severity.ERROR], text=text, mark=mark, stops=True)


class Findings:
    """What is found in a draft, by the question or table that it is about."""

    def __init__(self, draft: Draft, look: Look) -> None:
        """Place and word what :func:`reminders.drafting.look.look` found."""
        home = _home(draft)
        self._at: dict[KeyPath, list[Said]] = {}
        self._wants: set[KeyPath] = set()
        self.said: list[Said] = []
        for placed in look.findings:
            said = _said(draft, placed, home)
            self.said.append(said)
            if placed.path is not None:
                self._at.setdefault(placed.path, []).append(said)
                if said.missing:
                    self._wants.add(placed.path)

    def at(self, path: KeyPath) -> list[Said]:
        """Return what is said about a question or a table."""
        return self._at.get(path, [])

    def wants(self, path: KeyPath) -> bool:
        """Say whether a question must be answered and is not."""
        return path in self._wants

    def __iter__(self) -> Iterator[Said]:
        """Go through everything, the gravest first."""
        return iter(self.said)


def plain_words(finding: Finding, texts: Iterable[str]) -> list[str]:
    """Return a finding's texts with its questions called as the form calls them, and tables without brackets."""
    tables = [place[0] for place in finding.places if place and place[0] in TABLES] or list(TABLES)
    return [_plain(text, tables) for text in texts]


def _said(draft: Draft, placed: Placed, home: ZoneInfo | None) -> Said:
    finding, path = placed.finding, placed.path
    weight = finding.severity.name.lower()
    word = SEVERITIES[finding.severity]
    stops = finding.severity is Severity.ERROR
    mark = field_name(path) if path else ""
    if path is not None and finding.code in OF_ONE_ANSWER:
        entry = entry_of(path[0], path[-1]) if _asked(path) else None
        if entry is None and finding.code == "missing" and len(path) == 1:
            text = _("There is none yet, and a plan needs at least one.")
            if path[0] not in NAMED_TABLES | LISTED_TABLES:  # its questions say so themselves
                text = _("Nothing is answered here yet.")
            return Said(weight=weight, word=word, text=text, mark=mark, stops=stops, missing=True)
        fault = fault_of(entry, draft.typed(path), home) if entry else None
        if fault is not None:
            missing = not draft.typed(path)
            return Said(
                weight=weight,
                word=word,
                text=fault.problem,
                mend=_("Expected: {expected}.").format(expected=fault.expected.rstrip(".")) if fault.expected else "",
                mark=mark,
                stops=stops,
                missing=missing,
            )
    message, expected, mend = plain_words(finding, (finding.message, finding.expected, finding.mend))
    if " = " in finding.mend:  # how a line of the file is written
        mend = ""
    more = [_("Expected: {expected}.").format(expected=expected.rstrip(".")) if expected else "", mend]
    return Said(
        weight=weight,
        word=word,
        text=message,
        mend=" ".join(filter(None, more)),
        mark=mark,
        stops=stops,
        missing=stops and path is not None and not draft.has(path) and (finding.code == "missing" or _asked(path)),
    )


def _asked(path: KeyPath) -> bool:
    """Say whether a path is that of a question, and not of a table: an error where nothing is answered asks for an answer."""
    return len(path) > len(table_path(path)) and entry_of(path[0], path[-1]) is not None


def _plain(text: str, tables: Sequence[str]) -> str:
    """Write keys as their labels, and headings in brackets as words."""
    text = re.sub(r"\[\[?([a-z_]+)(?:\.([^\]\s]+))?\]\]?", _heading, text)
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


def _home(draft: Draft) -> ZoneInfo | None:
    try:
        zone: ZoneInfo = ZONE.read(draft.raw(("plan", "zone")), None)
    except UnreadableError:
        return None
    return zone
