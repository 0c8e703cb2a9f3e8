"""What calendars have shown so far, folded from the record, so that no number ever falls (R23, RFC 5546 2.1.4).

SEQUENCE belongs to the event, not to the file: one phone may get the same event from several.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from reminders.record.facts import Fact, Kind, Record, Shown
from reminders.times import Instant


@dataclass(frozen=True, slots=True)
class Published:
    """``latest``: each event as any calendar last showed it; ``held``: the same of one target, without what that target
    has left out since; ``known``: whether the target was ever written, with ``setting`` as it was asked for last."""

    latest: Mapping[str, Shown] = field(default_factory=dict)
    held: Mapping[str, Shown] = field(default_factory=dict)
    known: bool = False
    setting: Mapping[str, str] = field(default_factory=dict)


NOTHING = Published()
"""Before anything was published."""


def published(record: Record, target: str) -> Published:
    """Return what is known of one target."""
    latest: dict[str, Shown] = {}
    held: dict[str, Shown] = {}
    known, setting = False, {}
    for fact in _publications(record):
        for uid, shown in fact.shown.items():
            if uid not in latest or shown.sequence >= latest[uid].sequence:
                latest[uid] = shown
        if fact.target == target:
            held.update(fact.shown)
            for uid in fact.left_out:
                held.pop(uid, None)
            known, setting = True, dict(fact.setting)
    return Published(latest, held, known, setting)


def targets(record: Record) -> dict[str, Mapping[str, str]]:
    """Return every target that was published to, with how it was last asked for, in the order of their first time."""
    found: dict[str, Mapping[str, str]] = {}
    for fact in _publications(record):
        found[fact.target] = fact.setting
    return found


def publication(
    target: str, setting: Mapping[str, str], before: Published, shown: Mapping[str, Shown], key: str, now: Instant
) -> Fact | None:
    """Return the fact that a target now shows ``shown`` and nothing else; None if that is what it showed already."""
    changed = {uid: entry for uid, entry in shown.items() if before.held.get(uid) != entry}
    left_out = tuple(sorted(uid for uid in before.held if uid not in shown))
    if before.known and not changed and not left_out and before.setting == setting:
        return None
    return Fact(
        key=key,
        report=key,
        kind=Kind.PUBLISHED,
        happened=now,
        entered=now,
        target=target,
        setting=setting,
        shown=changed,
        left_out=left_out,
    )


def _publications(record: Record) -> list[Fact]:
    """Return the publications in the order in which they were entered, withdrawn or not: they cannot be unmade."""
    return [fact for fact in record.facts if fact.kind is Kind.PUBLISHED]
