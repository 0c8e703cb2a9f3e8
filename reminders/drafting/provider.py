"""A provider's protocol file into the part of a plan that belongs to the provider.

Such a file is written like a plan, and holds only what is the same for all of a provider's patients. Anything else in it is
an error: a patient's orders in a file for everybody are a mistake that must not be copied on.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any

from reminders.drafting.draft import Draft, DraftError
from reminders.drafting.entries import entries_of, entry_of, typed_of
from reminders.findings import KeyPath
from reminders.plan.forms import NoZoneError, UnreadableError
from reminders.plan.keys import NAME
from reminders.plan.model import NAMED_TABLES, TIERS
from reminders.plan.source import Source, read_source
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

WHOLE = ("fluid", "step", "protocol", "supplies", "call")
"""Tables of which every key may stand in a provider's file."""

SOME = {
    "line": "idle_limit lock needle_out_idle_limit needle_out_lock",
    "task": "kind label done_by every every_days weekdays with_tasks at before_dose after_finish instead "
    "on_time_within takes pauses_infusion uses note",
}
"""Tables of which these keys may stand there; the others are the patient's, such as when a dressing was last changed."""


class ProviderError(ValueError):
    """A provider's file of which nothing is copied; ``problems`` says why, each with its line."""

    def __init__(self, problems: Collection[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = tuple(problems)


@dataclass(frozen=True, slots=True)
class Differs:
    """A key that the plan states otherwise than the provider, both as they are typed."""

    path: KeyPath
    here: str
    theirs: str


@dataclass(frozen=True, slots=True)
class Filled:
    """What came of it: the keys that were copied, those that the plan said already, and those that differ and stay."""

    copied: tuple[KeyPath, ...]
    same: tuple[KeyPath, ...]
    differs: tuple[Differs, ...]


def fill_from(
    draft: Draft, text: str, name: str = "the provider's file", *, replace: Collection[KeyPath] = ()
) -> Filled:
    """Copy a provider's file into a plan. What the plan states otherwise stays, save the keys in ``replace``.

    Raises:
        ProviderError: the file holds something else or cannot be read; then nothing was copied.
    """
    stated = provider_keys(text, name)
    before = draft.text()
    copied, same, differs = [], [], []
    try:
        for path, raw in stated.items():
            entry = entry_of(path[0], path[-1])
            assert entry is not None, "only known keys are stated"
            here, theirs = draft.typed(path), typed_of(entry.form, raw)
            if here == theirs:
                same.append(path)
            elif not draft.has(path) or path in replace:
                draft.put(path, raw)
                copied.append(path)
            else:
                differs.append(Differs(path, here, theirs))
    except DraftError as error:
        draft.restore(before)
        raise ProviderError([str(error)]) from error
    return Filled(tuple(copied), tuple(same), tuple(differs))


def provider_keys(text: str, name: str = "the provider's file") -> dict[KeyPath, Any]:
    """Return the keys that a provider's file states, each with its raw value.

    Raises:
        ProviderError: as for :func:`fill_from`.
    """
    source, findings = read_source(name, text.encode())
    if findings:
        raise ProviderError([f"{finding.message} {finding.mend}".strip() for finding in findings])
    problems: list[str] = []
    stated = dict(_stated(source, problems))
    if not stated and not problems:
        problems.append(_("{name} states nothing.").format(name=name))
    if problems:
        raise ProviderError(problems)
    return stated


def _stated(source: Source, problems: list[str]) -> Iterator[tuple[KeyPath, Any]]:
    for table, held in source.values.items():
        if table not in WHOLE and table not in SOME:
            said = _("[{table}] is not the provider's. A provider's file holds {tables} only.")
            tables = ", ".join(f"[{name}]" for name in (*WHOLE, *SOME))
            problems.append(_told(source, (table,), said.format(table=table, tables=tables)))
        elif not isinstance(held, dict):
            problems.append(_told(source, (table,), _('"{table}" is not a table.').format(table=table)))
        elif table not in NAMED_TABLES:
            yield from _table(source, (table,), held, problems)
        else:
            for name, inner in held.items():
                fits = name in TIERS if table == "call" else NAME.fullmatch(name) is not None
                if fits and isinstance(inner, dict):
                    yield from _table(source, (table, name), inner, problems)
                else:
                    said = _("[{table}] holds tables with plain names, such as [{table}.NAME].")
                    problems.append(_told(source, (table, name), said.format(table=table)))


def _table(source: Source, place: KeyPath, held: dict[str, Any], problems: list[str]) -> Iterator[tuple[KeyPath, Any]]:
    table = place[0]
    allowed = SOME[table].split() if table in SOME else [entry.key for entry in entries_of(table)]
    for key, raw in held.items():
        path = (*place, key)
        entry = entry_of(table, key)
        if entry is None or key not in allowed:
            said = _("[{table}] in a provider's file has no key {key}. It may state: {keys}.")
            told = said.format(table=".".join(place), key=key, keys=", ".join(allowed))
            problems.append(_told(source, path, told))
            continue
        try:
            entry.form.read(raw, None)
        except NoZoneError:
            pass
        except UnreadableError as error:
            said = _("{key}: {problem}. Expected: {expected}.")
            told = said.format(key=".".join(path), problem=error.problem, expected=error.expected)
            problems.append(_told(source, path, told))
            continue
        yield path, raw


def _told(source: Source, path: KeyPath, said: str) -> str:
    return _("{file}, line {line}: {said}").format(file=source.name, line=source.locate(path) or 1, said=said)
