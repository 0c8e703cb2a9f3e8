"""Which touch each recorded flush belongs to, and whether the idle limit starts from it (R15, R23, S7)."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from reminders.plan.model import FluidKind, Lumen, Plan
from reminders.record.facts import Fact
from reminders.schedule.idle import Recorded
from reminders.times import Instant


@dataclass(slots=True)
class Anchor:
    """A touch that a recorded flush may belong to. ``waits``: it ends in a flush that is said on its own; ``said``: that
    it came so far is recorded."""

    at: Instant
    waits: bool
    said: bool
    flushed: Instant | None = None


def distinct(flushes: Iterable[Fact], plan_at: Callable[[Instant], Plan]) -> list[Fact]:
    """Return a lumen's recorded flushes; one that a second person reports minutes later is the same, unless they say not.

    The earlier time stands: the limit must not be counted from a flush that was perhaps not given.
    """
    found: list[Fact] = []
    for fact in flushes:
        near = plan_at(fact.happened).course.handling_time
        if not found or fact.again or fact.happened - found[-1].happened > near:
            found.append(fact)
    return found


def assign(
    flushes: Iterable[Fact],
    anchors: list[Anchor],
    plan_at: Callable[[Instant], Plan],
    lumen: str,
    besides: list[Recorded],
) -> None:
    """Give each recorded flush to the touch that it belongs to; the others go to ``besides``.

    It belongs to a touch within the handling time of it; to an infusion that was said to have finished, or a draw, whose
    flush is still to come; to a finish that nobody reported, if it is nearer to that than to the next idle flush.
    """
    anchors = sorted(anchors, key=lambda anchor: anchor.at)
    at = [anchor.at for anchor in anchors]
    for fact in flushes:
        plan, when = plan_at(fact.happened), fact.happened
        near = plan.course.handling_time
        first, last = bisect_left(at, when - near), bisect_right(at, when)
        close = [
            anchor
            for anchor in anchors[first : bisect_right(at, when + near)]
            if not anchor.waits or not anchor.flushed
        ]
        before = anchors[last - 1] if last else None
        if close:
            found = min(close, key=lambda anchor: (abs(anchor.at - when), not anchor.waits))
        elif (
            before is not None
            and before.waits
            and before.flushed is None
            and (before.said or when - before.at <= plan.idle_limit(plan.lumens[lumen]) // 2)
        ):
            found = before
        else:
            besides.append(Recorded(when, fact.key, _counts(fact, plan, plan.lumens[lumen])))
            continue
        if found.waits:
            found.flushed = when


def _counts(fact: Fact, plan: Plan, lumen: Lumen) -> bool:
    """Say whether the idle limit starts from a flush, given what was pushed (S7)."""
    lock = plan.lock(lumen)
    if not fact.fluids or lock.name in fact.fluids or lock.kind is not FluidKind.HEPARIN:
        return True
    return bool(plan.protocol.flush_without_lock_counts)
