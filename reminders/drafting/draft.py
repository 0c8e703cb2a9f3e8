"""A plan being written: answers go in by key, and the text of a plan file comes out.

What the file says otherwise, its remarks and the way it is laid out stay as they are. Every change is proved: what the new
text says is compared with what it should say, and where that fails nothing is changed.
"""

import copy
import re
import tomllib
import unicodedata
import uuid
from collections.abc import Callable, Collection, Iterator
from typing import Any

from reminders.drafting.entries import EntryField, entries_of, entry_of, raw_of, typed_of
from reminders.drafting.layout import Layout, LayoutError
from reminders.findings import Finding, KeyPath
from reminders.plan.forms import Entry, Form
from reminders.plan.keys import NAME, PUSHED
from reminders.plan.model import LISTED_TABLES, NAMED_TABLES, TABLES, TIERS
from reminders.plan.source import Source, read_source
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

BEGIN = """# Written with  reminders write ; it can also be changed in a text editor. Check it with  reminders check FILE .

# The plan: which revision, from when to when, and by which clock
[plan]
id = "{plan_id}"
revision = 1
"""
"""A new plan. It is its own first revision; everything else is stated by whoever writes it."""

REMARKS = {
    "plan": "The plan: which revision, from when to when, and by which clock",
    "zone_change": "Journeys: when the household's clock changes, and to which zone",
    "household": "When the household would rather sleep, and when flushing suits it",
    "line": "The catheter",
    "lumen": "Every lumen, also those without an order",
    "fluid": "What is pushed from a syringe",
    "step": "Steps that the provider's protocol adds",
    "protocol": "How the provider has lines flushed and locked",
    "task": "Care tasks",
    "supplies": "What is used up besides the syringes",
    "stock": "What there is at home",
    "daily_limits": "Totals that a day must not exceed",
    "order": "What the prescriber ordered",
    "call": "Whom to call",
    "calendar": "The calendar on the phone",
    "pop_up": "Pop-ups on the computer at home",
    "read_back": "Who has read the plan back",
}
"""The remark above the first heading of each kind of table. The file's text is not translated: any household's
programs and people read the same keys."""


class DraftError(ValueError):
    """What cannot be done with the file; its text says why, and ``findings`` in ``source`` where it is no TOML."""

    def __init__(self, problem: str, findings: Collection[Finding] = (), source: Source | None = None) -> None:
        super().__init__(problem)
        self.findings, self.source = tuple(findings), source


class Draft:
    """A plan's text, and what it says. Paths are names of tables and keys, such as ``("order", "cefazolin", "dose")``."""

    def __init__(self, text: str) -> None:
        """Take in a text that is TOML; :meth:`of` says what is wrong with one that is not.

        Its lines end as they did, or where some end in one way and some in the other, all as under Windows.
        """
        self._newline = "\r\n" if "\r\n" in text else "\n"
        self._text = text.replace("\r\n", "\n")
        self._values = tomllib.loads(self._text)
        self._layout = Layout(self._text)

    @classmethod
    def new(cls, plan_id: uuid.UUID) -> "Draft":
        """Begin a plan that says nothing yet but its id, which the caller draws at random, and its first revision."""
        return cls(BEGIN.format(plan_id=plan_id))

    @classmethod
    def of(cls, text: str, name: str = "the plan") -> "Draft":
        """Open a plan's text, whatever is missing or wrong in it, so long as it is TOML.

        Raises:
            DraftError: it is no TOML, with a finding for each breach.
        """
        text = text.removeprefix("\ufeff")  # which some editors put before a text
        source, findings = read_source(name, text.encode())
        if findings:
            problem = _("{name} cannot be opened here until it follows the rules of its format again.")
            raise DraftError(problem.format(name=name), findings, source)
        return cls(text)

    # -- looking

    def text(self) -> str:
        """Return the whole text of the file."""
        return self._text.replace("\n", self._newline)

    @property
    def values(self) -> dict[str, Any]:
        """Return what the file says, as raw values; to be looked at, not changed."""
        return self._values

    def raw(self, path: KeyPath) -> Any:
        """Return the raw value at a path; None if there is none."""
        found: Any = self._values
        for step in path:
            if isinstance(found, dict):
                found = found.get(step)
            elif isinstance(found, list):
                found = found[int(step) - 1] if step.isdecimal() and 0 < int(step) <= len(found) else None
            else:
                return None
        return found

    def has(self, path: KeyPath) -> bool:
        """Say whether the file states a key or has a table."""
        return self.raw(path) is not None

    def typed(self, path: KeyPath) -> str:
        """Return what a key says as a person types it; empty if it is left out."""
        return typed_of(_form(path), self.raw(path))

    def names(self, table: str) -> tuple[str, ...]:
        """Return the names of a kind of table in the order of the file; of one that is listed, its numbers from 1."""
        found = self._values.get(table)
        if table in LISTED_TABLES:
            return tuple(str(count) for count in range(1, len(found) + 1)) if isinstance(found, list) else ()
        return tuple(found) if isinstance(found, dict) and table in NAMED_TABLES else ()

    def choices(self, field: EntryField) -> tuple[str, ...]:
        """Return the words to offer for a question: those of its form, or the names that the draft has for it."""
        return field.options or tuple(name for table in field.names for name in self.names(table))

    def by_name(self, form: Form, typed: str) -> str:
        """Return what was typed with the short name of each thing that was called by its label, if only one is called so."""
        raw = raw_of(form, typed) if form.names else None
        if raw is None:
            return typed
        named = [self._name_of(form, item) for item in raw] if isinstance(raw, list) else self._name_of(form, raw)
        return typed if named == raw else typed_of(form, named)

    def _name_of(self, form: Form, raw: Any) -> Any:
        known = [(table, name) for table in form.names for name in self.names(table)]
        if not isinstance(raw, str) or raw in {name for _table, name in known}:
            return raw
        called: dict[str, list[str]] = {}
        for table, name in known:
            labels = {" ".join(str(self.raw((table, name, key)) or "").casefold().split()) for key in ("label", "drug")}
            for label in (labels | {name.casefold()}) - {""}:
                called.setdefault(label, []).append(name)
        said = raw.casefold()
        for label, names in called.items():
            volume = raw[len(label) :].strip() if SHARING["fluid"] == form.names else ""
            if len(names) == 1 and (said == label or (volume and said == f"{label} {volume.casefold()}")):
                followed = f"{names[0]} {volume}".strip()
                if PUSHED.fullmatch(followed):
                    return followed
        return raw

    def items(self) -> tuple[str, ...]:
        """Return the items of supply that the draft names, each once: what to offer where another is named."""
        found: list[str] = []
        for path, form in self._stated():
            raw = self.raw(path)
            if form.entry is Entry.COUNTS and isinstance(raw, dict):
                found += raw
            elif (path[0], path[-1]) in (("fluid", "syringe"), ("stock", "item")):
                found.append(str(raw))
        return tuple(dict.fromkeys(found))

    # -- changing

    def enter(self, path: KeyPath, typed: str) -> None:
        """Set, change or clear a key by what was typed. The same again changes nothing.

        Raises:
            DraftError: plans have no such key, or the file is written in a way that does not let it be changed alone.
        """
        form = _form(path)
        typed = self.by_name(form, typed)
        if typed_of(form, self.raw(path)).strip() != typed.strip():
            self.put(path, raw_of(form, typed))

    def put(self, path: KeyPath, raw: Any) -> None:
        """Set a key to a raw value, or take it out with None. Its table is made if it is not there.

        Raises:
            DraftError: as for :meth:`enter`.
        """
        if raw is None and not self.has(path):
            return
        before = self._text
        try:
            if raw is not None and not self.has(path[:-1]):
                self._make(path[:-1])
            wanted = copy.deepcopy(self._values)
            table = _table_in(wanted, path[:-1])
            if raw is None:
                del table[path[-1]]
            else:
                table[path[-1]] = raw
            self._take(lambda: self._edited(path, raw), wanted, path)
        except DraftError:
            self._replace(before)
            raise

    def _edited(self, path: KeyPath, raw: Any) -> str:
        layout = self._layout
        if pair := layout.pair(path):
            return layout.with_value(pair, raw) if raw is not None else layout.without_pair(pair)
        if pair := layout.around(path):
            return layout.with_inner(pair, path, raw)
        if layout.block(path) is not None:  # items with their numbers under a heading of their own
            return layout.with_items(path, raw) if isinstance(raw, dict) else layout.without_block(path, "")
        if raw is None or (block := layout.block(path[:-1])) is None:
            raise LayoutError
        keys = [entry.key for entry in entries_of(path[0])]
        return layout.with_pair(block, path[-1], raw, tuple(keys[: keys.index(path[-1])]))

    def add(self, table: str, name: str) -> None:
        """Begin a table of its own for a name, such as ``[order.cefazolin]``.

        Raises:
            DraftError: the name cannot be one, is taken, or is no tier of calling.
        """
        self._check_name(table, name)
        self._make((table, name))

    def add_listed(self, table: str) -> str:
        """Begin one more table of a listed kind, such as ``[[zone_change]]``; return its number.

        Raises:
            DraftError: the file is written in a way that does not let it be changed alone.
        """
        number = str(len(self.names(table)) + 1)
        self._make((table, number))
        return number

    def rename(self, table: str, old: str, new: str) -> None:
        """Give a table another name; whatever names it (orders a lumen, lists a fluid) follows.

        Raises:
            DraftError: the new name cannot be one or is taken, or the file does not let it be changed alone.
        """
        if new == old:
            return
        self._check_name(table, new)
        before = self._text
        if old not in self.names(table):
            raise DraftError(_('There is no "{name}".').format(name=old))
        wanted = copy.deepcopy(self._values)
        wanted[table] = {new if name == old else name: value for name, value in wanted[table].items()}
        try:
            self._take(lambda: self._layout.renamed((table, old), new), wanted, (table, old))
            for path, form in list(self._stated()):
                if table in form.names and (raw := self.raw(path)) != (followed := _followed(form, raw, old, new)):
                    self.put(path, followed)
        except DraftError:
            self._replace(before)
            raise

    def remove(self, path: KeyPath) -> None:
        """Take out a key, or a table with all that it says. What is not there needs no taking out.

        Raises:
            DraftError: the file is written in a way that does not let it be changed alone.
        """
        if not self.has(path):
            return
        if len(path) > len(table_path(path)):
            self.put(path, None)
            return
        wanted = copy.deepcopy(self._values)
        if len(path) == 1:
            del wanted[path[0]]
        else:
            above = wanted[path[0]]
            del above[int(path[1]) - 1 if isinstance(above, list) else path[1]]
            if not above:
                del wanted[path[0]]
        self._take(lambda: self._without(path), wanted, path)

    def _without(self, path: KeyPath) -> str:
        if pair := self._layout.pair(path):
            return self._layout.without_pair(pair)
        if pair := self._layout.around(path):
            return self._layout.with_inner(pair, path, None)
        return self._layout.without_block(path, REMARKS[path[0]])

    def restore(self, text: str) -> None:
        """Go back to what :meth:`text` returned before."""
        self._replace(text.replace("\r\n", "\n"))

    def _check_name(self, table: str, name: str) -> None:
        if table not in NAMED_TABLES:
            raise DraftError(_('Plans have no named tables "{name}".').format(name=table))
        if table == "call" and name not in TIERS:
            said = _('"{name}" is not one of those to be called: {tiers}.')
            raise DraftError(said.format(name=name, tiers=", ".join(TIERS)))
        if NAME.fullmatch(name) is None:
            raise DraftError(_("A short name has letters, digits, - and _ only, at most 40 of them."))
        if any(name in self.names(kind) for kind in SHARING.get(table, (table,))):
            raise DraftError(_('There is a "{name}" already. Take another name.').format(name=name))

    def _make(self, path: KeyPath) -> None:
        """Put in the heading of a table that is not there."""
        table = path[0]
        if table not in TABLES or table_path(path) != path:
            raise DraftError(_('Plans have no table "{name}".').format(name=".".join(path)))
        wanted = copy.deepcopy(self._values)
        heading = path
        if table in LISTED_TABLES:
            listed_so_far = wanted.setdefault(table, [])
            if not isinstance(listed_so_far, list) or path[1] != str(len(listed_so_far) + 1):
                raise DraftError(_('There is no place for "{name}" in the file.').format(name=".".join(path)))
            listed_so_far.append({})
            heading = (table,)
        else:
            if table in NAMED_TABLES:
                self._check_name(*path)
                wanted.setdefault(table, {})
            _table_in(wanted, path[:-1])[path[-1]] = {}
        listed = table in LISTED_TABLES
        self._take(lambda: self._layout.with_block(heading, REMARKS[table], tuple(TABLES), listed=listed), wanted, path)

    def _take(self, edit: Callable[[], str], wanted: dict[str, Any], path: KeyPath) -> None:
        """Make a change, and keep it only if the new text says what it should."""
        try:
            text = edit()
            proved = tomllib.loads(text) == wanted
        except (LayoutError, ValueError):
            proved = False
        if not proved:
            said = _(
                'The file writes "{where}" in a way that cannot be changed from here. Change it in a text editor; nothing '
                "was changed."
            )
            raise DraftError(said.format(where=".".join(path)))
        self._replace(text)

    def _replace(self, text: str) -> None:
        self._text, self._values, self._layout = text, tomllib.loads(text), Layout(text)

    def _stated(self) -> Iterator[tuple[KeyPath, Form]]:
        """Yield every key that the file states and plans have, with its form."""
        for table in TABLES:
            places = [(table, name) for name in self.names(table)]
            for place in places if table in NAMED_TABLES | LISTED_TABLES else [(table,)]:
                for entry in entries_of(table):
                    if self.has((*place, entry.key)):
                        yield (*place, entry.key), entry.form


SHARING = {"fluid": ("fluid", "step"), "step": ("fluid", "step")}
"""Tables whose names stand in the same lists, so that one name may not be in both."""


def name_for(label: str, taken: Collection[str] = ()) -> str:
    """Return a table's name for what a person called it: ``Red one`` becomes ``red-one``; one that is not ``taken``."""
    plain = unicodedata.normalize("NFKD", label).encode("ascii", "ignore").decode().lower()
    begun = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:36].strip("-") or "unnamed"
    count = next(count for count in range(1, 10_000) if (begun if count == 1 else f"{begun}-{count}") not in taken)
    return begun if count == 1 else f"{begun}-{count}"


def _form(path: KeyPath) -> Form:
    entry = entry_of(path[0], path[-1]) if path[:-1] == table_path(path) else None
    if entry is None:
        raise DraftError(_('Plans have no key "{name}".').format(name=".".join(path)))
    return entry.form


def table_path(path: KeyPath) -> KeyPath:
    """Return the part of a path that leads to its table."""
    return path[:2] if path[0] in NAMED_TABLES | LISTED_TABLES else path[:1]


def _table_in(values: dict[str, Any], path: KeyPath) -> dict[str, Any]:
    found: Any = values
    for step in path:
        if isinstance(found, list):
            found = found[int(step) - 1] if step.isdecimal() and 0 < int(step) <= len(found) else None
        else:
            found = found.get(step) if isinstance(found, dict) else None
    if not isinstance(found, dict):
        raise DraftError(_('"{where}" holds a value where a table should be.').format(where=".".join(path)))
    return found


def _followed(form: Form, raw: Any, old: str, new: str) -> Any:
    """Return a value in which a name has changed."""
    if isinstance(raw, list):
        return [_followed(form.of or form, item, old, new) for item in raw]
    if not isinstance(raw, str):
        return raw
    if raw.strip() == old:
        return new
    pushed = PUSHED.fullmatch(raw.strip())  # a fluid with a volume of its own
    if pushed and pushed.group(1) == old and SHARING["fluid"] == form.names:
        return f"{new} {pushed.group(2)}"
    return raw
