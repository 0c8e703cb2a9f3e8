"""Signs that are about the line, and about no lumen of it.

Fever, chills or a broken line: while one stands, no lumen is to be used before a clinician has released it (S1). They stand
from when they were said until everything is released. A dressing that is wet, loose or soiled stops nothing; it stands until
it was changed, or a clinician has said what to do. What was taken back does not stand.
"""

from collections.abc import Iterable, Mapping

from reminders.plan.care import TaskKind
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Kind, Record, Sign
from reminders.schedule.model import Schedule

WHOLE_LINE_SIGNS: Mapping[str, str] = {
    "short of breath": "emergency",
    "chest pain": "emergency",
    "faint": "emergency",
    "chills": "emergency",
    "bleeding": "emergency",
    "line broken": "emergency",
    "fever": "now",
}
"""Each such sign, in the words in which it is recorded, with the tier of the contact to call."""


DRESSING_SIGNS = ("dressing wet", "dressing loose", "dressing soiled")
"""What can be wrong with a dressing, in the words in which it is recorded: it can wait for the contact of the same day."""


def whole_line_signs(record: Record) -> tuple[Fact, ...]:
    """Return the signs about the whole line that stand, in the order in which they happened."""
    signs = (fact for fact in record.of_kind(Kind.PROBLEM) if is_whole_line(fact))
    return _standing(signs, _releases(record), record)


def dressing_signs(record: Record, schedule: Schedule) -> tuple[Fact, ...]:
    """Return what is wrong with the dressing and stands, in the order in which it happened, each sort of it once.

    It ends with a change of the dressing, with a release of everything that a clinician has said, and with the line.
    """
    called = _dressings(plan for _begins, plan in schedule.plans)
    ends = [fact for fact in record.of_kind(Kind.TASK_DONE) if _plain(fact.name) in called]
    ends += [fact for fact in _releases(record) if fact.said_by]
    ends += record.of_kind(Kind.EXCHANGED, Kind.REMOVED)
    signs = (fact for fact in record.of_kind(Kind.PROBLEM) if is_dressing(fact))
    first: dict[str, Fact] = {}
    for fact in _standing(signs, ends, record):
        first.setdefault(named(fact), fact)
    return tuple(first.values())


def line_signs(record: Record, schedule: Schedule) -> tuple[Fact, ...]:
    """Return all signs about the line that stand: those that stop everything first, then those of the dressing."""
    return (*whole_line_signs(record), *dressing_signs(record, schedule))


def _releases(record: Record) -> list[Fact]:
    return [fact for fact in record.of_kind(Kind.RELEASED) if not fact.order and not fact.lumen]


def _standing(signs: Iterable[Fact], ends: Iterable[Fact], record: Record) -> tuple[Fact, ...]:
    """Return the signs that nothing of what ends them came after; of one minute what was entered later came after."""
    entered = {fact.key: place for place, fact in enumerate(record.facts)}
    over = [(fact.happened, entered[fact.key]) for fact in ends]
    return tuple(fact for fact in signs if not any((fact.happened, entered[fact.key]) < end for end in over))


def _dressings(plans: Iterable[Plan]) -> frozenset[str]:
    """Return what the plans call a change of the dressing, and the word itself, which needs no plan."""
    tasks = (task for plan in plans for task in plan.tasks.values() if task.kind is TaskKind.DRESSING)
    return frozenset({TaskKind.DRESSING.value, *(_plain(text) for task in tasks for text in (task.name, task.label))})


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace("_", " ").split())


def is_whole_line(fact: Fact) -> bool:
    """Say whether a fact is a sign about the whole line; one in somebody's own words is not."""
    return fact.kind is Kind.PROBLEM and fact.sign is Sign.OTHER and named(fact) in WHOLE_LINE_SIGNS


def is_dressing(fact: Fact) -> bool:
    """Say whether a fact is a sign about the dressing."""
    return fact.kind is Kind.PROBLEM and fact.sign is Sign.OTHER and named(fact) in DRESSING_SIGNS


def named(fact: Fact) -> str:
    """Return which sign about the line a note names, before a remark that follows it; empty if none."""
    return named_in(fact.note)


def named_in(note: str) -> str:
    """Return which sign about the line some words name, before a remark that follows it; empty if none."""
    words = note.partition(":")[0]
    return words if words in WHOLE_LINE_SIGNS or words in DRESSING_SIGNS else ""


def remark(note: str) -> str:
    """Return the remark that follows a sign in its note; empty if there is none."""
    return note.partition(": ")[2]


def with_remark(sign: str, remark: str) -> str:
    """Return the note of a sign with a remark, so that the sign stays known: ``fever: 38.9``."""
    return f"{sign}: {remark}" if sign and remark else remark or sign
