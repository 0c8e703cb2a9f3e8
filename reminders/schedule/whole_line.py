"""Signs that are about the whole line: while one stands, no lumen is to be used before a clinician has released it (S1).

Fever, chills or a broken line belong to no lumen. They stand from when they were said until everything is released; what
was taken back does not stand.
"""

from collections.abc import Mapping

from reminders.record.facts import Fact, Kind, Record, Sign

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


def whole_line_signs(record: Record) -> tuple[Fact, ...]:
    """Return the signs about the whole line that stand, in the order in which they happened."""
    entered = {fact.key: place for place, fact in enumerate(record.facts)}
    releases = [fact for fact in record.of_kind(Kind.RELEASED) if not fact.order and not fact.lumen]
    return tuple(
        fact
        for fact in record.of_kind(Kind.PROBLEM)
        if is_whole_line(fact)
        and not any((fact.happened, entered[fact.key]) < (at.happened, entered[at.key]) for at in releases)
    )


def is_whole_line(fact: Fact) -> bool:
    """Say whether a fact is a sign about the whole line; one in somebody's own words is not."""
    return fact.kind is Kind.PROBLEM and fact.sign is Sign.OTHER and bool(named(fact))


def named(fact: Fact) -> str:
    """Return which sign about the whole line a note names, before a remark that follows it; empty if none."""
    words = fact.note.partition(":")[0]
    return words if words in WHOLE_LINE_SIGNS else ""


def with_remark(sign: str, remark: str) -> str:
    """Return the note of a sign with a remark, so that the sign stays known: ``fever: 38.9``."""
    return f"{sign}: {remark}" if sign and remark else remark or sign
