"""Where the idle flushes of one lumen go (R8), and which of them the recorded flushes answer.

For now each flush stands as late as the idle limit (less the planning margin) allows, or just before the quiet hours
where that spares a session inside them. The optimum over all lumens (R11) will take this rule's place.

A recorded flush answers the planned one that it is nearest to; one that is nearer to the flush before it is a flush
besides. Either way the limit counts from when it was really given. What is not recorded is taken to have happened as
planned, so the schedule holds still. A need for a flush that only a fact brings about - a dose that is put off - is
never placed before that fact.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from reminders.schedule.model import ENDLESS, NEVER, Reason, Why
from reminders.times import Instant

Stretches = Sequence[tuple[Instant, Instant]]


@dataclass(frozen=True, slots=True)
class Flushed:
    """A touch that pushes something through the lumen: when, and until when the flushes before it were planned, which
    is when it was itself due if that is earlier. ``known``: since when its time is known."""

    at: Instant
    due: Instant
    recorded: bool = False
    known: Instant = NEVER


@dataclass(frozen=True, slots=True)
class Recorded:
    """A flush that was recorded, of no touch but perhaps an idle flush. ``counts``: the idle limit starts from it.
    ``known``: since when it is known."""

    at: Instant
    key: str
    counts: bool = True
    known: Instant = NEVER


@dataclass(frozen=True, slots=True)
class Limits:
    """A stretch in which one limit holds; ``begins_with`` is a flush that is stated for its beginning.

    ``afresh``: what was flushed before does not count, because the line is another one.
    """

    begins: Instant
    ends: Instant
    limit: int
    margin: int
    begins_with: Instant | None = None
    afresh: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LumenUse:
    """How one lumen is used over the horizon.

    ``taken`` are the stretches in which no idle flush may stand, merged and in order: something runs, or nothing may
    be done. ``flushed`` are the touches that push something through it, in order. ``recorded`` are flushes besides.
    ``retracted``: touches that would have flushed it and do not, each with the moment from which that is known.
    ``skipped``: idle flushes that are not to be done, each by an instant that is nearest to it.
    """

    taken: Stretches
    flushed: Sequence[Flushed]
    recorded: Sequence[Recorded] = ()
    retracted: Sequence[tuple[Instant, Instant]] = ()
    skipped: Sequence[Instant] = ()


@dataclass(frozen=True, slots=True)
class Placed:
    """An idle flush: when, where it was planned, why, and the recorded flush that it is. ``planned`` is None for a
    recorded flush that answers no planned one."""

    at: Instant
    planned: Instant | None
    reason: Reason
    answer: Recorded | None = None
    skipped: bool = False


def place_idle_flushes(use: LumenUse, limits: Sequence[Limits], *, quiet: Stretches) -> list[Placed]:
    """Return each idle flush of a lumen over the stretches of ``limits``, in order.

    At every idle moment, and at the end of each stretch, the last flush lies at most its limit back; where that has
    become impossible the flush is due at once.
    """
    walk = _Walk(use, quiet)
    for stretch in limits:
        walk.through(stretch)
    walk.to_the_end()
    return walk.placed


@dataclass(slots=True)
class _Walk:
    """Goes through a lumen's time once, from flush to flush."""

    use: LumenUse
    quiet: Stretches
    placed: list[Placed] = field(default_factory=list)
    last: Instant = NEVER
    last_recorded: bool = False
    last_skipped: bool = False
    last_known: Instant = NEVER
    _given: Instant = NEVER
    _flushed: int = 0
    _recorded: int = 0
    _quiet_starts: list[int] = field(default_factory=list)
    _skips: list[Instant] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._quiet_starts = [first for first, _ in self.quiet]
        self._skips = list(self.use.skipped)

    def through(self, limits: Limits) -> None:
        """Place what one stretch needs."""
        if limits.afresh:
            self._take_up_to(limits.begins)
            self.last, self.last_recorded, self.last_skipped = NEVER, False, False
        if limits.begins_with is not None and limits.begins_with > self.last:
            self.last, self.last_recorded, self.last_skipped = limits.begins_with, True, False
        for left, right in _gaps(self.use.taken, limits.begins, limits.ends):
            self._take_up_to(left)
            while True:
                touch = self._next_touch()
                self._until_touch(limits, left, right, touch)
                if touch.at > right:
                    break
                self._flush(touch.at, touch.recorded, touch.known)
                self._flushed += 1
                if touch.at == right:
                    break

    def to_the_end(self) -> None:
        """Take the recorded flushes after the last stretch."""
        self._take_up_to(ENDLESS)

    def _next_touch(self) -> Flushed:
        done = self._flushed >= len(self.use.flushed)
        return Flushed(ENDLESS, ENDLESS) if done else self.use.flushed[self._flushed]

    def _next_recorded(self) -> Recorded | None:
        done = self._recorded >= len(self.use.recorded)
        return None if done else self.use.recorded[self._recorded]

    def _take_up_to(self, until: Instant) -> None:
        """Take the touches and recorded flushes up to an instant; such a flush answers no planned one."""
        while True:
            touch, flush = self._next_touch(), self._next_recorded()
            if flush is not None and flush.at <= min(until, touch.at):
                self._extra(flush)
            elif touch.at <= until and touch.at != ENDLESS:
                self._flush(touch.at, touch.recorded, touch.known)
                self._flushed += 1
            else:
                return

    def _until_touch(self, limits: Limits, left: Instant, right: Instant, touch: Flushed) -> None:
        """Place the flushes between the last one and the next touch, and meet the recorded ones with them."""
        target, bound = min(right, touch.due), min(right, touch.at)
        while True:
            flush = self._next_recorded()
            planned = self._planned(limits, self.last, left, target)
            # What was planned before a revision may be answered after it.
            beyond = touch.at if planned is not None and right == limits.ends else bound
            if flush is not None and flush.at > beyond:
                flush = None
            if planned is None:
                if flush is None:
                    return
                self._extra(flush)
            elif flush is None:
                self._keep(planned)
            elif self._answers(flush, planned, limits, left, target):
                self._answer(flush, planned)
            elif flush.at <= planned[0]:
                self._extra(flush)
            else:
                self._keep(planned)

    def _planned(self, limits: Limits, last: Instant, left: Instant, target: Instant) -> tuple[Instant, Reason] | None:
        """Return the idle flush that follows ``last``, if one is needed before ``target``."""
        reach = max(1, limits.limit - limits.margin)
        if target - last <= reach:
            return None
        # A touch within reach would have made this flush needless, until it was known that it does not come.
        within_reach = [since for when, since in self.use.retracted if last < when <= last + reach]
        at, reason = self._place(last, max([left, *within_reach]), target, limits.limit, reach)
        return None if at > target else (at, reason)

    def _answers(
        self, flush: Recorded, planned: tuple[Instant, Reason], limits: Limits, left: Instant, target: Instant
    ) -> bool:
        """Say whether a recorded flush is nearer to the planned one than to the flush before or after it."""
        at = planned[0]
        if not flush.counts:
            return False
        if flush.at <= at:
            return at - flush.at <= flush.at - self.last
        following = self._planned(limits, at, left, target)
        return following is None or flush.at - at <= following[0] - flush.at

    def _keep(self, planned: tuple[Instant, Reason]) -> None:
        at, reason = planned
        near = (at - self.last) // 2 if self.last != NEVER else 0
        skipped = next((told for told in self._skips if abs(at - told) <= near), None)
        self.placed.append(Placed(at, at, self._counted(reason), skipped=skipped is not None))
        self._given = self.last if not self.last_skipped else self._given
        self.last, self.last_recorded, self.last_skipped, self.last_known = at, False, skipped is not None, NEVER
        if skipped is not None:
            self._skips.remove(skipped)

    def _answer(self, flush: Recorded, planned: tuple[Instant, Reason]) -> None:
        at, reason = planned
        self.placed.append(Placed(flush.at, at, self._counted(reason), flush))
        self._recorded += 1
        self._flush(flush.at, True, flush.known)

    def _extra(self, flush: Recorded) -> None:
        self.placed.append(Placed(flush.at, None, Reason(Why.RECORDED), flush))
        self._recorded += 1
        if flush.counts:
            self._flush(flush.at, True, flush.known)

    def _flush(self, at: Instant, recorded: bool, known: Instant) -> None:
        if at >= self.last:
            self.last, self.last_recorded, self.last_skipped, self.last_known = at, recorded, False, known

    def _counted(self, reason: Reason) -> Reason:
        if self.last_skipped and reason.last_flush is not None and reason.deadline is not None:
            limit = reason.deadline - reason.last_flush  # it goes on from the flush before the one that was left out
            return replace(reason, last_flush=self._given, deadline=Instant(self._given + limit), last_skipped=True)
        return replace(reason, last_recorded=True) if self.last_recorded else reason

    def _place(self, last: Instant, left: Instant, target: Instant, limit: int, reach: int) -> tuple[Instant, Reason]:
        if last == NEVER:
            return left, Reason(Why.UNKNOWN, None, left)
        deadline = Instant(last + limit)
        aim = Instant(last + reach)
        if aim <= left:
            why = Why.PASSED if deadline < left else Why.LIMIT
            return left, Reason(why, last, deadline)
        index = bisect_right(self._quiet_starts, aim) - 1
        if index < 0 or aim >= self.quiet[index][1]:
            return aim, Reason(Why.LIMIT, last, deadline)
        asleep, awake = self.quiet[index]
        evening = Instant(asleep - 1)
        until = min(awake, target)
        if (
            evening > last
            and evening >= max(left, self.last_known)  # nobody could have flushed before they knew
            and _sessions(evening + reach, until, reach) < _sessions(aim, until, reach)
        ):
            return evening, Reason(Why.BEFORE_QUIET, last, deadline, aim)
        return aim, Reason(Why.FORCED_QUIET, last, deadline)


def _sessions(first: int, until: int, reach: int) -> int:
    """Count the flushes that come before ``until`` if the first stands at ``first`` and each as late as it may."""
    return max(0, -(-(until - first) // reach))


def _gaps(taken: Stretches, start: Instant, end: Instant) -> Iterator[tuple[Instant, Instant]]:
    left = start
    for begin, finish in taken:
        if begin > left:
            yield left, min(begin, end)
        left = max(left, finish)
        if left >= end:
            return
    yield left, end
