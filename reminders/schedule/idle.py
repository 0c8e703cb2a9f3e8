"""Where the idle flushes of one lumen go (R8).

For now each flush stands as late as the idle limit (less the planning margin) allows, or just before the quiet hours
where that spares a session inside them. The optimum over all lumens (R11) will take this function's place.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from reminders.schedule.model import Reason, Why
from reminders.times import Instant

Spans = Sequence[tuple[Instant, Instant]]


@dataclass(frozen=True, slots=True, kw_only=True)
class LumenUse:
    """How one lumen is used over the horizon.

    ``busy`` are the spans in which something runs, merged and in order; ``flushed`` the instants of the planned
    touches that push something through it, in order; ``last_flush`` the last one before the horizon.
    """

    busy: Spans
    flushed: Sequence[Instant]
    last_flush: Instant


def place_idle_flushes(
    use: LumenUse, start: Instant, end: Instant, *, limit: int, margin: int, quiet: Spans
) -> list[tuple[Instant, Reason]]:
    """Return each idle flush of a lumen between ``start`` and ``end`` with its reason, in order.

    ``limit`` and ``margin`` are minutes. At every idle moment before ``end``, and at ``end`` itself, the last flush
    lies at most ``limit`` back; where that has become impossible the flush is due at once.
    """
    reach = max(1, limit - margin)
    quiet_starts = [first for first, _ in quiet]
    placed: list[tuple[Instant, Reason]] = []
    last = use.last_flush
    planned = iter([*use.flushed, Instant(2**62)])
    upcoming = next(planned)
    for left, right in _gaps(use.busy, start, end):
        while upcoming <= left:
            last, upcoming = max(last, upcoming), next(planned)
        while True:
            target = min(right, upcoming)
            while target - last > reach:
                at, reason = _place(last, left, target, limit, reach, quiet, quiet_starts)
                placed.append((at, reason))
                last = at
            if upcoming > right:
                break
            last, upcoming = upcoming, next(planned)
            if last == right:
                break
    return placed


def _place(
    last: Instant, left: Instant, target: Instant, limit: int, reach: int, quiet: Spans, quiet_starts: list[Instant]
) -> tuple[Instant, Reason]:
    deadline = Instant(last + limit)
    aim = Instant(last + reach)
    if aim <= left:
        why = Why.PASSED if deadline < left else Why.LIMIT
        return left, Reason(why, last, deadline)
    index = bisect_right(quiet_starts, aim) - 1
    if index < 0 or aim >= quiet[index][1]:
        return aim, Reason(Why.LIMIT, last, deadline)
    asleep, awake = quiet[index]
    evening = Instant(asleep - 1)
    until = min(awake, target)
    if evening > last and evening >= left and _sessions(evening + reach, until, reach) < _sessions(aim, until, reach):
        return evening, Reason(Why.BEFORE_QUIET, last, deadline, aim)
    return aim, Reason(Why.FORCED_QUIET, last, deadline)


def _sessions(first: int, until: int, reach: int) -> int:
    """Count the flushes that come before ``until`` if the first stands at ``first`` and each as late as it may."""
    return max(0, -(-(until - first) // reach))


def _gaps(busy: Spans, start: Instant, end: Instant) -> list[tuple[Instant, Instant]]:
    gaps = []
    left = start
    for begin, finish in busy:
        if begin > left:
            gaps.append((left, min(begin, end)))
        left = max(left, finish)
        if left >= end:
            return gaps
    gaps.append((left, end))
    return gaps
