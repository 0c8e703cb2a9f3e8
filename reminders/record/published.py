"""What calendars have shown so far, folded from the record, so that no number ever falls (R23, RFC 5546 2.1.4).

SEQUENCE belongs to the event, not to the file: one phone may get the same event from several.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from reminders.record.facts import Fact, Kind, Record, Shown
from reminders.times import Instant

PACKET = "packet"
"""What a setting says that a calendar is ``for`` which went into a packet, and stays as it went; and that a revision was
put in use for."""

SENT = "sent"
"""What a packet's setting says when the packet was handed to a mail server."""


@dataclass(frozen=True, slots=True)
class Published:
    """``latest``: each event as any calendar last showed it. ``held``: what one target shows now; ``kin``: what it and
    those of the same lumens and days do, the one for e-mail among them: one phone may have both. ``furthest``: the last
    start with which an event was ever shown. ``known``: whether the target was ever written, with ``setting`` as it was
    asked for last."""

    latest: Mapping[str, Shown] = field(default_factory=dict)
    held: Mapping[str, Shown] = field(default_factory=dict)
    kin: Mapping[str, Shown] = field(default_factory=dict)
    furthest: Mapping[str, Instant] = field(default_factory=dict)
    known: bool = False
    setting: Mapping[str, str] = field(default_factory=dict)


NOTHING = Published()
"""Before anything was published."""


def published(record: Record, target: str, setting: Mapping[str, str]) -> Published:
    """Return what is known of one target that is asked for as ``setting`` says."""
    latest: dict[str, Shown] = {}
    furthest: dict[str, Instant] = {}
    held: dict[str, dict[str, Shown]] = {}
    asked: dict[str, Mapping[str, str]] = {}
    for fact in _publications(record):
        asked[fact.target] = fact.setting
        of_target = held.setdefault(fact.target, {})
        for uid, shown in fact.shown.items():
            of_target[uid] = shown
            if uid not in latest or shown.sequence >= latest[uid].sequence:
                latest[uid] = shown
            furthest[uid] = max(shown.start, furthest.get(uid, shown.start))
        for uid in fact.left_out:
            of_target.pop(uid, None)
    kin: dict[str, Shown] = {}
    for name, shown_there in held.items():
        if name == target or _scope(asked[name]) == _scope(setting):
            for uid, shown in shown_there.items():
                if uid not in kin or shown.sequence >= kin[uid].sequence:
                    kin[uid] = shown
    return Published(latest, held.get(target, {}), kin, furthest, target in held, asked.get(target, {}))


def _scope(setting: Mapping[str, str]) -> tuple[str, str, str]:
    """Return what a calendar is of: its lumen, or what else alone, and its last day if one was named."""
    return setting.get("lumen", ""), setting.get("only", ""), setting.get("to", "")


def targets(record: Record) -> dict[str, Mapping[str, str]]:
    """Return every target that was published to, with how it was last asked for, in the order of their first time."""
    found: dict[str, Mapping[str, str]] = {}
    for fact in _publications(record):
        found[fact.target] = fact.setting
    return found


def only_packed(record: Record, revision: int) -> Fact | None:
    """Return the fact that put a revision in use, where that was no more than making packets: none of them was sent from
    here, nobody put the revision in use, reported anything, or wrote another calendar of it."""
    put = [fact for fact in record.of_kind(Kind.IN_USE) if fact.revision == revision]
    if len(put) != 1 or put[0].setting.get("for") != PACKET:
        return None
    since = record.facts[record.facts.index(put[0]) + 1 :]
    packets = (fact.setting.get("for") == PACKET and SENT not in fact.setting for fact in since)
    return put[0] if all(packets) else None


def publication(
    target: str,
    setting: Mapping[str, str],
    before: Published,
    shown: Mapping[str, Shown],
    waiting: Collection[str],
    key: str,
    now: Instant,
) -> Fact | None:
    """Return the fact that a target now shows ``shown`` and nothing else; None if that is what it showed already.

    ``waiting`` is what is gone and has no room yet: it is not left out before it was shown as cancelled.
    """
    changed = {uid: entry for uid, entry in shown.items() if before.held.get(uid) != entry}
    left_out = tuple(sorted(uid for uid in before.held if uid not in shown and uid not in waiting))
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
