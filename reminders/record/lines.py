"""The text form of facts: one line of JSON each, always written in the same way.

It is what the store keeps and what an export holds. A line is read strictly: what is not a fact in every part is
refused, with the field, what stands there and what was expected.
"""

import json
import re
import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, dataclass, fields
from datetime import UTC, datetime, timedelta
from enum import Enum
from typing import Any

from reminders.record.facts import FIELDS, Fact, Kind, Record, Shown, Sign
from reminders.times import Instant

VERSION = 1
"""Of the export's form; its first line states it."""

MOST = 2**31 - 1
"""The greatest whole number in a fact; a SEQUENCE goes no higher either (RFC 5545, 3.3.8)."""

MOST_SHOWN = 20
"""Problems of an export that its error text spells out; the others it counts."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MINUTE = timedelta(minutes=1)
_END = (datetime(9999, 12, 31, 23, 59, tzinfo=UTC) - _EPOCH) // _MINUTE
_INSTANT = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}T(?:[01][0-9]|2[0-3]):[0-5][0-9]Z")
_HEADER = re.compile("reminders record ([1-9][0-9]{0,8})")
_UNFIT = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff]")
_UNFIT_IN_PLAN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")
_MEND = "Correct it, or take the line from a copy that is whole."


class LineError(Exception):
    """A line that is no fact, or a fact that no line can hold: what is wrong, what was expected, how to mend it."""

    def __init__(self, message: str, expected: str, mend: str = _MEND) -> None:
        super().__init__(f"{message}. Expected: {expected}. {mend}")
        self.message, self.expected, self.mend = message, expected, mend


class _NewerError(LineError):
    """The export has a form that only a newer release knows."""


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with one line of an export; lines are counted from 1."""

    line: int
    message: str
    expected: str
    mend: str

    def __str__(self) -> str:
        return f"Line {self.line}: {self.message}. Expected: {self.expected}. {self.mend}"


class ExportError(Exception):
    """An export that cannot be read. ``problems`` holds every faulty line, in order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        told = [str(problem) for problem in self.problems[:MOST_SHOWN]]
        if len(self.problems) > MOST_SHOWN:
            told.append(f"{len(self.problems) - MOST_SHOWN} more lines are faulty.")
        super().__init__("\n".join(told))


# --- The forms of values: each reads a JSON value of a named field, or raises LineError ---


def _said(value: object) -> str:
    """Show a JSON value in a message: on one line, not too long, and fit for any screen."""
    if isinstance(value, list | dict):
        return f"a list of {len(value)}" if isinstance(value, list) else "a group of values"
    text = json.dumps(value, ensure_ascii=not str(value).isprintable())
    return text if len(text) <= 60 else text[:57] + "..."


def _text(name: str, value: Any, unfit: re.Pattern[str] = _UNFIT) -> str:
    if type(value) is not str:
        raise LineError(f"{name} is {_said(value)}", "text in quotation marks")
    if not value.isprintable() and (bad := unfit.search(value)):
        raise LineError(f"{name} holds the control character U+{ord(bad[0]):04X}", "plain text on one line")
    return value


def _plan_text(name: str, value: Any) -> str:
    """Read a whole plan, which has lines and tabs, and whatever else TOML lets stand."""
    return _text(name, value, _UNFIT_IN_PLAN)


def _yes_no(name: str, value: Any) -> bool:
    if type(value) is not bool:
        raise LineError(f"{name} is {_said(value)}", "true or false")
    return value


def _whole(name: str, value: Any) -> int:
    if type(value) is not int or not 0 <= value <= MOST:
        raise LineError(f"{name} is {_said(value)}", f"a whole number from 0 to {MOST}")
    return value


def _instant(name: str, value: Any) -> Instant:
    if type(value) is str and _INSTANT.fullmatch(value) and value >= "1970":
        try:
            return Instant((datetime.fromisoformat(value) - _EPOCH) // _MINUTE)
        except ValueError:  # a day that the month does not have
            pass
    raise LineError(f"{name} is {_said(value)}", "a moment in UTC, in the form 2026-10-26T14:40Z, from 1970 to 9999")


def _one_of(options: type[Enum]) -> Callable[[str, Any], Any]:
    members = {member.value: member for member in options}
    expected = "one of " + ", ".join(f'"{value}"' for value in members)

    def read(name: str, value: Any) -> Any:
        if type(value) is not str or value not in members:
            raise LineError(f"{name} is {_said(value)}", expected)
        return members[value]

    return read


def _texts(name: str, value: Any) -> tuple[str, ...]:
    if type(value) is not list:
        raise LineError(f"{name} is {_said(value)}", "a list of texts")
    return tuple([_text(f"an entry of {name}", entry) for entry in value])


def _setting(name: str, value: Any) -> dict[str, str]:
    if type(value) is not dict:
        raise LineError(f"{name} is {_said(value)}", "texts by name, in braces")
    return {_text(f"a name in {name}", part): _text(f"{name}.{_said(part)}", value[part]) for part in value}


def _all_shown(name: str, value: Any) -> dict[str, Shown]:
    if type(value) is not dict:
        raise LineError(f"{name} is {_said(value)}", "events by UID, in braces")
    return {_text(f"a UID in {name}", uid): _shown(f"{name}.{_said(uid)}", value[uid]) for uid in value}


def _shown(name: str, value: Any) -> Shown:
    if type(value) is not list or not 5 <= len(value) <= 6:
        raise LineError(
            f"{name} is {_said(value)}", "a list of sequence, digest, stamp, start, title, and true if it is cancelled"
        )
    return Shown(
        _whole(f"the sequence of {name}", value[0]),
        _text(f"the digest of {name}", value[1]),
        _instant(f"the stamp of {name}", value[2]),
        _instant(f"the start of {name}", value[3]),
        _text(f"the title of {name}", value[4]),
        *(_yes_no(f"the sixth entry of {name}", entry) for entry in value[5:]),
    )


# --- The other way: values into what JSON holds ---


def _same(value: Any) -> Any:
    return value


def _instant_text(instant: Instant) -> str:
    if not 0 <= instant <= _END:
        raise LineError(f"the moment {instant} lies outside the calendar", "minutes since 1970 up to the year 9999")
    return (_EPOCH + instant * _MINUTE).isoformat()[:16] + "Z"


def _value(member: Enum) -> Any:
    return member.value


def _in_order(setting: Mapping[str, str]) -> dict[str, str]:
    return dict(sorted(setting.items()))


def _shown_lists(events: Mapping[str, Shown]) -> dict[str, list[object]]:
    return {
        uid: [
            event.sequence,
            event.digest,
            _instant_text(event.stamp),
            _instant_text(event.start),
            event.title,
            *([True] if event.cancelled else []),
        ]
        for uid, event in sorted(events.items())
    }


_TEXT = (_text, _same)
_TEXTS = (_texts, list)
_YES_NO = (_yes_no, _same)
_WHOLE = (_whole, _same)
_MOMENT = (_instant, _instant_text)

_FORMS: Mapping[str, tuple[Callable[[str, Any], Any], Callable[[Any], Any]]] = {
    "key": _TEXT,
    "report": _TEXT,
    "kind": (_one_of(Kind), _value),
    "happened": _MOMENT,
    "entered": _MOMENT,
    "by": _TEXT,
    "note": _TEXT,
    "order": _TEXT,
    "dose": _TEXT,
    "lumen": _TEXT,
    "until": _MOMENT,
    "volume": _TEXT,
    "fluids": _TEXTS,
    "sign": (_one_of(Sign), _value),
    "elsewhere": _YES_NO,
    "lumen_used": _YES_NO,
    "again": _YES_NO,
    "said_by": _TEXT,
    "planned_for": _MOMENT,
    "name": _TEXT,
    "count": _WHOLE,
    "plan_text": (_plan_text, _same),
    "revision": _WHOLE,
    "target": _TEXT,
    "setting": (_setting, _in_order),
    "shown": (_all_shown, _shown_lists),
    "left_out": _TEXTS,
    "withdraws": _TEXT,
}
"""How each field is read and written. This order is that of the fields in a line, and is never changed."""

_READERS = {name: read for name, (read, _) in _FORMS.items()}
_DEFAULTS = {
    each.name: each.default if each.default_factory is MISSING else each.default_factory() for each in fields(Fact)
}
_ALL_NEED = frozenset("key report kind happened entered".split())
_ALL_MAY = frozenset("by note".split())
_NEEDED = {kind: _ALL_NEED | needed for kind, (needed, _) in FIELDS.items()}
_KNOWN = {kind: _ALL_NEED | _ALL_MAY | needed | allowed for kind, (needed, allowed) in FIELDS.items()}


# --- Lines ---


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Make a JSON object of its pairs, none of which may stand twice."""
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise LineError(f"{_said(twice)} stands more than once", "each name once", "Keep the one that is right.")
    return found


def _no_number(word: str) -> None:
    raise LineError(f"{word} is no number", "a whole number")


_DECODER = json.JSONDecoder(object_pairs_hook=_pairs, parse_constant=_no_number)
_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _object(line: str) -> dict[str, Any]:
    expected = "one JSON object on the line, in braces"
    try:
        found = _DECODER.decode(line)
    except json.JSONDecodeError as error:
        raise LineError(f"not JSON: {error.msg.lower()}, at character {error.pos + 1}", expected) from None
    except (ValueError, RecursionError):  # a number with more digits, or lists deeper, than Python reads
        raise LineError("a number or list without end", expected) from None
    if type(found) is not dict:
        raise LineError(f"the line is {_said(found)}", expected)
    return found


def fact_of(line: str) -> Fact:
    """Return the fact that a line of text says.

    Raises:
        LineError: it says no fact, or not in the form that facts have.
    """
    values = _object(line)
    if "kind" not in values:
        raise LineError("the field kind is missing", "a fact, which says of what kind it is")
    kind = _READERS["kind"]("kind", values["kind"])
    if not values.keys() <= _KNOWN[kind]:
        extra = next(name for name in values if name not in _KNOWN[kind])
        known = ", ".join(name for name in _FORMS if name in _KNOWN[kind])
        raise LineError(f'{_said(extra)} is no field of "{kind.value}"', known, "Correct its name, or take it out.")
    read = {name: _READERS[name](name, value) for name, value in values.items()}
    for name in _NEEDED[kind]:
        if read.get(name, "") == "":
            missing = next(name for name in _FORMS if name in _NEEDED[kind] and read.get(name, "") == "")
            needed = ", ".join(name for name in _FORMS if name in _NEEDED[kind])
            raise LineError(f"{missing} is missing or empty", f'what "{kind.value}" must have: {needed}')
    return Fact(**read)


def line_of(fact: Fact) -> str:
    """Return a fact as one line of JSON without a line break: fields in a fixed order, defaults left out.

    Equal facts have equal lines.

    Raises:
        LineError: the fact could not be read back, such as a note that holds a line break.
    """
    written = {name: write for name, (_, write) in _FORMS.items() if getattr(fact, name) != _DEFAULTS[name]}
    try:
        line = _ENCODER.encode({name: write(getattr(fact, name)) for name, write in written.items()})
        same = fact_of(line) == fact
    except (TypeError, ValueError):  # nothing that JSON has, or a number with more digits than Python writes
        same = False
    if not same:
        raise LineError(f"the fact {_said(fact.key)} cannot be written", "values of the types that facts have")
    return line


# --- Exports ---


def export(plan_id: uuid.UUID, record: Record) -> str:
    """Return a record as text: a first line that says of which plan, then a line for each fact as they were entered.

    Raises:
        LineError: a fact could not be read back.
    """
    header = _ENCODER.encode({"record": f"reminders record {VERSION}", "plan": str(plan_id)})
    return "".join(f"{line}\n" for line in (header, *map(line_of, record.facts)))


def read_export(text: str) -> tuple[uuid.UUID, tuple[Fact, ...]]:
    """Return the plan's id and the facts of an export; a fact that stands there twice is one fact.

    Empty lines, and a line break in the style of another system, say nothing and do no harm.

    Raises:
        ExportError: something is wrong; it tells all faulty lines at once.
    """
    lines = text.removeprefix("\ufeff").split("\n")
    problems: list[Problem] = []
    plan_id = None
    try:
        plan_id = _plan_of(lines[0])
    except LineError as error:
        problems.append(Problem(1, error.message, error.expected, error.mend))
        if isinstance(error, _NewerError):
            raise ExportError(problems) from None
    found: dict[str, tuple[int, Fact]] = {}
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        try:
            fact = fact_of(line)
        except LineError as error:
            problems.append(Problem(number, error.message, error.expected, error.mend))
            continue
        first, known = found.setdefault(fact.key, (number, fact))
        if known != fact:
            problems.append(_conflict(number, first, fact.key))
    if problems or plan_id is None:
        raise ExportError(problems)
    return plan_id, tuple(fact for _, fact in found.values())


def _plan_of(line: str) -> uuid.UUID:
    """Read the first line of an export."""
    expected = f'{{"record":"reminders record {VERSION}","plan":"the id of the plan"}}'
    mend = "Choose a file that was written as an export of a record."
    values = _object(line)
    form = _HEADER.fullmatch(str(values.get("record")))
    if form is None:
        raise LineError("the first line does not say that this is an exported record", expected, mend)
    if int(form[1]) > VERSION:
        raise _NewerError(
            f"the export was made by a newer release (form {form[1]})",
            f"form {VERSION} at most, which is what this release reads",
            "Update this program, and read the export again.",
        )
    plan = values.get("plan")
    try:
        plan_id = uuid.UUID(plan if isinstance(plan, str) else "")
    except ValueError:
        plan_id = None
    if plan_id is None or str(plan_id) != str(plan).lower() or len(values) != 2:
        raise LineError(f"the first line does not name one plan ({_said(plan)})", expected, mend)
    return plan_id


def _conflict(number: int, first: int, key: str) -> Problem:
    return Problem(
        number,
        f"the key {_said(key)} stands in line {first} with another content",
        "one fact for each key",
        "Take out the line that is wrong. To correct a fact, withdraw it and enter another with a key of its own.",
    )
