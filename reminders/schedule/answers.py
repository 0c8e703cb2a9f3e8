"""Which touch each recorded flush belongs to, and whether the idle limit starts from it (R15, R23, S7)."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from reminders.plan.model import FluidKind, Plan
from reminders.record.facts import Fact
from reminders.schedule.beliefs import Recorded
from reminders.times import Instant


@dataclass(slots=True)
class Anchor:
    """A touch that a recorded flush may belong to. ``waits``: it ends in a flush that is said on its own; ``said``: that
    it came so far is recorded; ``flushes``: something is pushed in it."""

    at: Instant
    waits: bool
    said: bool
    flushes: bool
    flushed: Instant | None = None
    counts: bool = True


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

    It belongs to the last infusion that was said to have finished, or draw, whose flush is still to come; else to a touch
    that was recorded within the handling time before it, whose own flush it is.
    """
    anchors = sorted(anchors, key=lambda anchor: anchor.at)
    at = [anchor.at for anchor in anchors]
    for fact in flushes:
        plan, when = plan_at(fact.happened), fact.happened
        counts = starts_limit(fact, plan, lumen)
        last = bisect_right(at, when)
        before = anchors[last - 1] if last else None
        waiting = [anchor for anchor in anchors[bisect_left(at, at[last - 1]) if last else 0 : last] if _waits(anchor)]
        if waiting:
            waiting[-1].flushed, waiting[-1].counts = when, counts
        elif (
            before is None
            or before.waits
            or not (before.said and before.flushes)
            or when - before.at > plan.course.handling_time
        ):
            besides.append(Recorded(when, fact.key, counts))


def _waits(anchor: Anchor) -> bool:
    return anchor.waits and anchor.said and anchor.flushed is None


def starts_limit(fact: Fact, plan: Plan, lumen: str) -> bool:
    """Say whether the idle limit starts from a recorded flush, given what was pushed (S7)."""
    lock = plan.lock(plan.lumens[lumen])
    if not fact.fluids or lock.name in fact.fluids or lock.kind is not FluidKind.HEPARIN:
        return True
    return bool(plan.protocol.flush_without_lock_counts)
