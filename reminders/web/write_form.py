"""The form of a plan as sent into answers, and the answers into a draft; what cannot be put into it is handed back.

The field of a question is named after its path: ``line.kind``, ``order.cefazolin.dose``, ``zone_change.1.at``. A name in
the middle may hold anything, so it is written as in an address.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from urllib.parse import quote, unquote

from starlette.datastructures import FormData, UploadFile

from reminders.drafting.draft import Draft, DraftError
from reminders.drafting.draft import table_path as table_path
from reminders.drafting.entries import EntryField, entry_of, typed_of
from reminders.findings import KeyPath
from reminders.plan.forms import Entry
from reminders.plan.model import LISTED_TABLES, NAMED_TABLES, TIERS
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

MOST_LETTERS = 4000
"""Letters of one answer; the longest that is meant is a note."""

NOT_ASKED = {("plan", "id")}
"""Questions that nobody is asked, with those of reading back, which has a page of its own."""

ALONE = frozenset({"do", "token", "version", "page", "seq", "show"})
"""What a form holds besides its answers and names."""

PICKED_MOMENT = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})T([0-9]{2}:[0-9]{2})")


class UnknownFieldError(ValueError):
    """A form holds what no form of ours does; its text is the name of the field."""


@dataclass(frozen=True, slots=True)
class Refused:
    """What was typed and could not be put into the plan, and why not."""

    typed: str
    problem: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A form as it was sent.

    ``typed``: the answers. ``names``: names of tables as they stand in their fields. ``new``: what stands in the fields from which
    something is begun, by table. ``do``: the words of the button that was pressed. ``version``, ``page`` and ``seq`` say which
    state of the plan the form shows, which page it stood on, and how many it had sent before.
    """

    typed: Mapping[KeyPath, tuple[str, ...]]
    names: Mapping[KeyPath, str]
    new: Mapping[str, str]
    do: tuple[str, ...]
    version: int
    page: str
    seq: int
    show: str
    file: UploadFile | None = None


@dataclass(slots=True)
class Outcome:
    """What came of the answers: those that were refused, by path, and tables whose names were changed."""

    refused: dict[KeyPath, Refused] = field(default_factory=dict)
    renamed: dict[KeyPath, KeyPath] = field(default_factory=dict)


def field_name(path: KeyPath) -> str:
    """Return the name, and the mark in the page, of a question or of a table."""
    return ".".join(quote(part, safe="") for part in path)


def path_of(name: str) -> KeyPath | None:
    """Return the path of the question that a field is named after; None if there is none."""
    table, *parts = name.split(".")
    if not parts:
        return None
    if table in NAMED_TABLES | LISTED_TABLES:
        path: KeyPath = (table, unquote(".".join(parts[:-1])), parts[-1])
    else:
        path = (table, ".".join(parts))
    asked = entry_of(table, path[-1]) is not None and table != "read_back" and path not in NOT_ASKED
    return path if asked and len(path) == len(table_path(path)) + 1 else None


def sent(form: FormData) -> Sent:
    """Read a form as it was sent.

    Raises:
        UnknownFieldError: it holds a field that is none of ours.
    """
    typed: dict[KeyPath, tuple[str, ...]] = {}
    names: dict[KeyPath, str] = {}
    new: dict[str, str] = {}
    for name, value in form.multi_items():
        if not isinstance(value, str):
            if name != "provider":
                raise UnknownFieldError(name)
        elif name.startswith("name:"):
            table, _dot, quoted = name.removeprefix("name:").partition(".")
            names[table, unquote(quoted)] = value
        elif name.startswith("new:"):
            new[name.removeprefix("new:")] = value
        elif name not in ALONE:
            path = path_of(name)
            if path is None:
                raise UnknownFieldError(name)
            typed[path] = (*typed.get(path, ()), value.replace("\r\n", "\n"))
    file = form.get("provider")
    return Sent(
        typed=typed,
        names=names,
        new=new,
        do=tuple(unquote(part) for part in _text(form, "do").split(":")),
        version=_number(form, "version"),
        page=_text(form, "page"),
        seq=_number(form, "seq"),
        show=_text(form, "show"),
        file=file if isinstance(file, UploadFile) and file.filename else None,
    )


def put(draft: Draft, answers: Sent) -> Outcome:
    """Put all answers into a draft, then give tables their new names. What cannot be put in changes nothing there."""
    done = Outcome()
    for path, typed in answers.typed.items():
        if problem := _put(draft, path, typed):
            done.refused[path] = Refused("\n".join(filter(None, typed)), problem)
    for tier in TIERS:  # of somebody to be called nothing is left when all is taken out
        if draft.raw(("call", tier)) == {} and any(path[:2] == ("call", tier) for path in answers.typed):
            draft.remove(("call", tier))
    for place, name in answers.names.items():
        if draft.has(place) and name.strip() not in ("", place[1]):
            try:
                draft.rename(place[0], place[1], name.strip())
                done.renamed[place] = (place[0], name.strip())
            except DraftError as error:
                done.refused[place] = Refused(name, str(error))
    return done


def differing(draft: Draft, answers: Sent) -> list[tuple[KeyPath, str, str]]:
    """Return the answers that say something else than the draft: path, what the draft says, what they say."""
    found = []
    for path, typed in answers.typed.items():
        entry = _entry(path)
        said = "\n".join(filter(None, (_plain(entry, one) for one in typed)))
        here = draft.typed(path)
        if ticked(entry) and {*said.splitlines()} == {*here.splitlines()}:
            continue
        if said.strip() != here.strip():
            found.append((path, here, said))
    return found


def ticked(entry: EntryField) -> bool:
    """Say whether a question is answered by ticking some of several words."""
    return entry.kind is Entry.LIST and bool(entry.options or entry.names) and _only_names(entry)


def parts_of(text: str) -> list[str]:
    """Part what is typed where several things are begun at once: at commas and lines."""
    return [said for part in re.split(r"[,;\n]", text) if (said := " ".join(part.split()))]


def _only_names(entry: EntryField) -> bool:
    """Say whether nothing but a name stands in each entry of a list: a fluid that is pushed may have a volume beside it."""
    return bool(entry.options) or "fluid" not in entry.names


def _put(draft: Draft, path: KeyPath, typed: tuple[str, ...]) -> str:
    """Put one answer into a draft; return why it cannot be, or nothing."""
    entry = _entry(path)
    if path[0] in NAMED_TABLES | LISTED_TABLES and path[0] != "call" and not draft.has(table_path(path)):
        return _("What it belongs to was taken out.") if any(typed) else ""
    if sum(map(len, typed)) > MOST_LETTERS:
        return _("This is longer than {most} letters, so it is not in the plan. Say it in fewer words.").format(
            most=MOST_LETTERS
        )
    try:
        if ticked(entry):
            _tick(draft, path, entry, [one for one in typed if one])
        else:
            draft.enter(path, _plain(entry, typed[-1]))
    except DraftError as error:
        return str(error)
    return ""


def _tick(draft: Draft, path: KeyPath, entry: EntryField, words: Iterable[str]) -> None:
    """Set a list to the words that are ticked; those that stay keep their order."""
    before = [] if (raw := draft.raw(path)) is None else raw if isinstance(raw, list) else [raw]
    shown = {typed_of(entry.form.of or entry.form, one): one for one in before}
    wanted = list(words)
    if set(wanted) == set(shown):
        return
    stay = [one for word, one in shown.items() if word in wanted]
    draft.put(path, [*stay, *(word for word in wanted if word not in shown)] or None)


def _plain(entry: EntryField, typed: str) -> str:
    """Return an answer as a person would type it, from how a browser sends it."""
    picked = PICKED_MOMENT.fullmatch(typed.strip()) if entry.kind is Entry.MOMENT else None
    return f"{picked[1]} {picked[2]}" if picked else typed


def _entry(path: KeyPath) -> EntryField:
    entry = entry_of(path[0], path[-1])
    assert entry is not None, "only questions are read from a form"
    return entry


def _text(form: FormData, name: str) -> str:
    value = form.get(name)
    return value if isinstance(value, str) else ""


def _number(form: FormData, name: str) -> int:
    value = _text(form, name)
    return int(value) if value.isascii() and value.isdigit() and len(value) < 10 else 0
