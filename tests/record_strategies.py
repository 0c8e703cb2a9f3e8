"""Facts, made up: one of each kind with all its fields, and any number of arbitrary ones for hypothesis.

All names, numbers and reports are invented and mean nothing.
"""

import uuid
from collections.abc import Mapping
from typing import Any

from hypothesis import strategies as st

from reminders.record.facts import FIELDS, Fact, Kind, Record, Shown, Sign
from reminders.times import Instant

FIRST, LAST = Instant(0), Instant(4_223_371_679)  # 1970-01-01T00:00Z and 9999-12-31T23:59Z
NOW = Instant(29_884_920)  # 2026-10-27T10:00Z

PLAN_TEXT = '# Invented.\r\n[line]\nkind = "PICC"\tnote = "Jiří’s «blue» lumen"\n' * 3

FULL: Mapping[str, Any] = {
    "by": "Ana",
    "note": "with the night nurse; 10 mL µ ✓",
    "order": "cefazolin",
    "dose": "2026-10-27T08:00",
    "lumen": "red",
    "until": Instant(NOW + 120),
    "volume": "60 mL",
    "fluids": ("saline 10 mL", "heparin 3 mL"),
    "sign": Sign.NO_BLOOD_RETURN,
    "elsewhere": True,
    "lumen_used": True,
    "again": True,
    "said_by": "Dr. Example",
    "planned_for": Instant(NOW + 300),
    "name": "dressing",
    "count": 0,
    "plan_text": PLAN_TEXT,
    "revision": 3,
    "target": "calendar/three-lumens.ics",
    "setting": {"from": "2026-10-27", "alarms": "yes"},
    "shown": {
        "b7c5a3f2-0000-4000-8000-000000000002": Shown(2, "9f86d081", NOW, Instant(NOW + 60), "Flush red", True),
        "a1c5a3f2-0000-4000-8000-000000000001": Shown(0, "2c26b46b", NOW, Instant(NOW + 90), "Start cefazolin"),
    },
    "left_out": ("c7c5a3f2-0000-4000-8000-000000000003",),
    "withdraws": "0b54c1d6-90a5-4a64-9a8e-3d0f2a5b7c11-0",
}
"""A value, other than its default, for every field that not all facts have."""


def identity(number: int) -> str:
    """Return a report's name of the form that they have; the same for the same number."""
    return str(uuid.UUID(int=(number << 80) + (4 << 76) + (8 << 60) + number))


def fact(kind: Kind, number: int = 1, part: int = 0, *, full: bool = True) -> Fact:
    """Return a fact with all the fields that its kind may have, or with those only that it must have."""
    needed, allowed = FIELDS[kind]
    names = needed | allowed | {"by", "note"} if full else needed
    return Fact(
        key=f"{identity(number)}-{part}",
        report=identity(number),
        kind=kind,
        happened=Instant(NOW + number),
        entered=Instant(NOW + number + 1),
        **{name: FULL[name] for name in names},
    )


instants = st.one_of(
    st.integers(NOW - 525_600, NOW + 525_600), st.integers(FIRST, LAST), st.sampled_from((FIRST, LAST))
).map(Instant)

_printed = st.characters(exclude_categories=("Cc", "Cs"))
_words = st.sampled_from(
    ("red", "blue lumen", "cefazolin", "2026-11-01T01:30", "Übelkeit?", "60 mL", "\u2028", 'a "b" \\n')
)
texts = st.one_of(_words, st.text(_printed, max_size=30))
"""What a text field may hold: anything printed, nothing that steers a terminal."""

names = texts.filter(bool)
plan_texts = st.text(st.one_of(_printed, st.sampled_from("\t\r\n\x80\x9f")), min_size=1, max_size=200)
numbers = st.one_of(st.integers(0, 9), st.integers(0, 2**31 - 1))
shown = st.builds(Shown, numbers, texts, instants, instants, texts, st.booleans())

VALUES: Mapping[str, st.SearchStrategy[Any]] = {
    "by": texts,
    "note": texts,
    "order": names,
    "dose": names,
    "lumen": names,
    "until": instants,
    "volume": names,
    "fluids": st.lists(texts, max_size=4).map(tuple),
    "sign": st.sampled_from(Sign),
    "elsewhere": st.booleans(),
    "lumen_used": st.booleans(),
    "again": st.booleans(),
    "said_by": names,
    "planned_for": instants,
    "name": names,
    "count": numbers,
    "plan_text": plan_texts,
    "revision": numbers,
    "target": names,
    "setting": st.dictionaries(texts, texts, max_size=4),
    "shown": st.dictionaries(texts, shown, max_size=4),
    "left_out": st.lists(texts, max_size=4).map(tuple),
    "withdraws": names,
}

reports = st.uuids(version=4).map(str)


@st.composite
def facts(draw: st.DrawFn, kinds: tuple[Kind, ...] = tuple(Kind), report: str | None = None) -> Fact:
    """Draw a valid fact of one of some kinds, with what it must have and some of what it may have."""
    kind = draw(st.sampled_from(kinds))
    needed, allowed = FIELDS[kind]
    optional = sorted(allowed | {"by", "note"})
    chosen = draw(st.lists(st.sampled_from(optional), unique=True, max_size=len(optional)))
    named = report or draw(reports)
    return Fact(
        key=f"{named}-{draw(st.integers(0, 9))}",
        report=named,
        kind=kind,
        happened=draw(instants),
        entered=draw(instants),
        **{name: draw(VALUES[name]) for name in (*sorted(needed), *chosen)},
    )


def records(longest: int = 8) -> st.SearchStrategy[Record]:
    """Draw a record of so many facts at most, each with a key of its own."""
    each = st.lists(facts(), max_size=longest, unique_by=lambda drawn: drawn.key)
    return each.map(lambda drawn: Record(tuple(drawn)))
