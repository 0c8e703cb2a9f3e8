"""A phone of the tests' own: reads a calendar file by RFC 5545's rules and takes it in as RFC 5546 says.

It shares no code with the program or with the library that the program writes with. There are two kinds: one that
subscribes, which shows the newest file and nothing else, and one that imports, which merges each file into what it has
by UID, then the highest SEQUENCE, then the latest DTSTAMP (RFC 5546, 2.1.5). Nothing that is merely absent from a file
is deleted there (RFC 5546, 3.2.1: a PUBLISH says nothing of what it does not hold).
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache

NUMBERS = ("SEQUENCE", "DTSTAMP", "LAST-MODIFIED")
"""What says which revision of an event it is; everything else is what the event says."""

_LINE = re.compile(
    r'([A-Za-z0-9-]+)((?:;[A-Za-z0-9-]+=(?:"[^"]*"|[^";:,]*)(?:,(?:"[^"]*"|[^";:,]*))*)*):(.*)', re.DOTALL
)


@dataclass
class Part:
    """A component: its lines as name, parameters and value as written, and the components in it."""

    name: str
    lines: list[tuple[str, str, str]] = field(default_factory=list)
    parts: list["Part"] = field(default_factory=list)

    def values(self, name: str) -> list[str]:
        """Return the values of every line with a name."""
        return [value for found, _, value in self.lines if found == name]

    def one(self, name: str) -> str:
        """Return the value of the line with a name, which must stand exactly once."""
        values = self.values(name)
        assert len(values) == 1, f"{name} stands {len(values)} times in {self.name}"
        return values[0]

    def text(self, name: str) -> str:
        """Return a text as it was meant (RFC 5545, 3.3.11); one that is not there is empty."""
        return _meant(self.one(name)) if self.values(name) else ""


@dataclass(frozen=True, slots=True)
class Shown:
    """One event as a phone has it: the numbers of its revision, and what it says.

    ``rings``: when its alarms ring. ``marks``: categories and class, as written.
    """

    sequence: int
    stamp: datetime
    modified: datetime
    start: datetime
    end: datetime
    status: str
    summary: str
    description: str
    rings: tuple[datetime, ...]
    marks: tuple[str, ...]

    @property
    def cancelled(self) -> bool:
        """Say whether it is off."""
        return self.status == "CANCELLED"

    @property
    def numbers(self) -> tuple[int, datetime, datetime]:
        """Return SEQUENCE, DTSTAMP and LAST-MODIFIED."""
        return self.sequence, self.stamp, self.modified

    def above(self, other: "Shown") -> bool:
        """Say whether all three are higher than another's."""
        return self.sequence > other.sequence and self.stamp > other.stamp and self.modified > other.modified

    @property
    def said(self) -> tuple[object, ...]:
        """Return all that it says, without the numbers of its revision."""
        return self.start, self.end, self.status, self.summary, self.description, self.rings, self.marks

    @property
    def texts(self) -> tuple[str, ...]:
        """Return what a person can read of it."""
        return self.summary, self.description, *self.marks


def calendar(content: bytes) -> Part:
    """Unfold a file and return its calendar (RFC 5545, 3.1, 3.4)."""
    assert content.endswith(b"END:VCALENDAR\r\n"), "the file ends early"
    text = re.sub(rb"\r\n[ \t]", b"", content).decode()
    root = Part("")
    inside = [root]
    for line in text.removesuffix("\r\n").split("\r\n"):
        match = _LINE.fullmatch(line)
        assert match, f"no content line: {line!r}"
        name, parameters, value = match[1].upper(), match[2], match[3]
        if name == "BEGIN":
            inside.append(Part(value))
            inside[-2].parts.append(inside[-1])
        elif name == "END":
            assert inside.pop().name == value
        else:
            inside[-1].lines.append((name, parameters, value))
    assert inside == [root]
    (found,) = root.parts
    return found


def events(content: bytes) -> dict[str, Shown]:
    """Return a file's events by UID; each UID stands once, or a phone could not tell which to believe."""
    return dict(_events(content))


@lru_cache(200)
def _events(content: bytes) -> dict[str, Shown]:
    parts = calendar(content).parts
    found = {part.one("UID"): _event(part) for part in parts}
    assert len(found) == len(parts), "two events of one UID in one file"
    return found


def live(shown: dict[str, Shown]) -> dict[str, Shown]:
    """Return the events that are not off."""
    return {uid: event for uid, event in shown.items() if not event.cancelled}


class Subscriber:
    """A phone that fetches the file: what it has is the newest file, whole."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self.has: dict[str, Shown] = {}

    def take(self, content: bytes) -> None:
        """Put a file in place of what was there."""
        self.has = events(content)


class Importer:
    """A phone into which each file is opened by hand, or comes by mail.

    It remembers what is off, so that an old file does not bring it back, and shows only what is on.
    """

    def __init__(self, files: Iterable[bytes] = ()) -> None:
        """Begin with nothing and take in some files in turn."""
        self.known: dict[str, Shown] = {}
        for content in files:
            self.take(content)

    @property
    def has(self) -> dict[str, Shown]:
        """Return what it shows."""
        return live(self.known)

    def take(self, content: bytes) -> set[str]:
        """Merge a file by UID, then SEQUENCE, then DTSTAMP (RFC 5546, 2.1.5); return the UIDs that it changed."""
        changed = set()
        for uid, event in events(content).items():
            before = self.known.get(uid)
            if before is None or (event.sequence, event.stamp) > (before.sequence, before.stamp):
                self.known[uid] = event
                changed.add(uid)
        return changed


def _event(part: Part) -> Shown:
    assert part.name == "VEVENT"
    start = _moment(part.one("DTSTART"))
    return Shown(
        sequence=int(part.one("SEQUENCE")),
        stamp=_moment(part.one("DTSTAMP")),
        modified=_moment(part.one("LAST-MODIFIED")),
        start=start,
        end=_moment(part.one("DTEND")),
        status="".join(part.values("STATUS")),
        summary=part.text("SUMMARY"),
        description=part.text("DESCRIPTION"),
        rings=tuple(start + _length(alarm.one("TRIGGER")) for alarm in part.parts if alarm.name == "VALARM"),
        marks=tuple(_meant(value) for name in ("CATEGORIES", "CLASS") for value in part.values(name)),
    )


def _meant(value: str) -> str:
    return re.sub(r"\\(.)", lambda match: "\n" if match[1] in "nN" else match[1], value)


def _moment(value: str) -> datetime:
    return datetime.strptime(value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)


def _length(value: str) -> timedelta:
    """Return an exact length of time (RFC 5545, 3.3.6); days, which are nominal, only as none at all."""
    match = re.fullmatch(r"([+-]?)P(?:0D|T(?=\d)(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)", value)
    assert match, f"not a length of time in hours, minutes and seconds: {value}"
    hours, minutes, seconds = (int(number or 0) for number in match.groups()[1:])
    length = timedelta(hours=hours, minutes=minutes, seconds=seconds)
    return -length if match[1] == "-" else length
