"""A plan being written into what is found in it so far, each finding with the question that it is about."""

from collections.abc import Callable
from dataclasses import dataclass

from reminders.drafting.draft import Draft, table_path
from reminders.drafting.entries import entry_of
from reminders.examine import Examination, examine
from reminders.findings import Finding, KeyPath
from reminders.plan.model import TABLES, Plan
from reminders.plan.source import Source
from reminders.record.facts import EMPTY
from reminders.schedule.model import Schedule
from reminders.times import Instant


@dataclass(frozen=True, slots=True)
class Placed:
    """A finding, and where to mend it: the path of a question, or of a table, foremost of its places; None for neither."""

    finding: Finding
    path: KeyPath | None


@dataclass(frozen=True, slots=True)
class Look:
    """What a plan comes to so far. Plan and schedule are None while it has errors."""

    source: Source
    plan: Plan | None
    schedule: Schedule | None
    findings: tuple[Placed, ...]


Besides = Callable[[Examination, Instant], Examination]
"""What adds to an examination what is known outside the draft, such as what it does to the revisions before it."""


def nothing_besides(found: Examination, now: Instant) -> Examination:
    """Add nothing."""
    return found


def look(
    draft: Draft,
    now: Instant,
    name: str = "the plan",
    besides: Besides = nothing_besides,
) -> Look:
    """Examine a draft as of ``now``, just as the file that it would be; ``name`` is what the findings call it."""
    found = besides(examine(name, draft.text().encode(), EMPTY, now), now)
    placed = tuple(Placed(finding, place_of(finding)) for finding in found.findings)
    return Look(found.source, found.plan, found.schedule, placed)


def place_of(finding: Finding) -> KeyPath | None:
    """Return the path of the question that a finding is about, else that of its table; None if plans have neither.

    It is the foremost place, or the first question of the same table among the others.
    """
    paths = [path for place in finding.places if (path := _shortened(place))]
    if not paths:
        return None
    return next((path for path in paths if path != paths[0] and path[:-1] == paths[0]), paths[0])


def _shortened(place: KeyPath) -> KeyPath | None:
    """Cut a place down to a question: what lies within a list or a table of items belongs to its key."""
    if not place or place[0] not in TABLES:
        return None
    table = table_path(place)
    key = place[len(table)] if len(place) > len(table) else None
    return (*table, key) if key is not None and entry_of(place[0], key) is not None else table
