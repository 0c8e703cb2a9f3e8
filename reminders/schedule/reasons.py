"""Why each idle flush stands where it stands (R12): its deadline, what it was joined to, or what it avoided."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from reminders.schedule.ahead import Terms
from reminders.schedule.beliefs import Limits, LumenUse, news
from reminders.schedule.idle import Placed
from reminders.schedule.model import ENDLESS, NEVER, Reason, Why
from reminders.times import Instant

KNOWN = Instant(ENDLESS - 1)
"""When everything is known: a reason is about how things stand in the end."""


@dataclass(frozen=True, slots=True)
class _Flush:
    """A flush that the limit counts from."""

    at: Instant
    recorded: bool
    skipped: bool = False


class Reasons:
    """Explains the idle flushes of all lumens; ``names`` are the lumens' names, in the order of the uses."""

    def __init__(
        self, names: Sequence[str], uses: Sequence[LumenUse], placed: Sequence[Sequence[Placed]], terms: Terms
    ) -> None:
        """Take the lumens' use and where their flushes were placed."""
        self._names, self._uses, self._placed, self._terms = names, uses, placed, terms
        self._quiet_from = [begin for begin, _ in terms.quiet]
        self._preferred = frozenset(terms.preferred or ())
        self._touched: dict[Instant, int] = {}
        for index, use in enumerate(uses):
            for touch in use.coming:
                if touch.until == ENDLESS:
                    self._touched.setdefault(touch.at, index)
        self._touched_at = sorted(self._touched)
        self._anew = any(at > terms.begins for at in news(uses))  # something may have been planned anew
        self._flushed = [self._flushes(index) for index in range(len(uses))]
        self._at = [[flush.at for flush in found] for found in self._flushed]
        # Of each planned moment, the lumens flushed then, each with the instant before which its last flush lies.
        self._together: dict[Instant, dict[int, Instant]] = {}
        for index, found in enumerate(placed):
            for flush in found:
                if flush.planned is not None:
                    self._together.setdefault(flush.planned, {})[index] = min(flush.planned, flush.at)

    def of(self, index: int) -> list[Reason]:
        """Return the reasons for the idle flushes of one lumen, in order."""
        return [self._reason(index, flush) for flush in self._placed[index]]

    def _flushes(self, index: int) -> list[_Flush]:
        """Return the flushes of a lumen in order, those that were left out among them."""
        use = self._uses[index]
        found = [_Flush(touch.at, touch.recorded) for touch in use.coming if touch.flushes and touch.until == ENDLESS]
        found += [
            _Flush(flush.at, flush.answer is not None, flush.skipped)
            for flush in self._placed[index]
            if flush.answer is None or flush.answer.counts
        ]
        found += [_Flush(stretch.begins_with, True) for stretch in use.limits if stretch.begins_with is not None]
        return sorted(found, key=lambda flush: flush.at)

    def _reason(self, index: int, flush: Placed) -> Reason:
        at = flush.planned
        if at is None:
            return Reason(Why.RECORDED)
        limits = self._limits(index, at)
        last = self._last(index, min(at, flush.at), limits)
        if last is None or limits is None:
            return Reason(Why.UNKNOWN, None, at)
        left_out = last.skipped
        while last is not None and last.skipped:
            last = self._last(index, last.at, limits)
        if last is None:
            return Reason(Why.UNKNOWN, None, at)
        deadline = limits.limit.last_chance(last.at)
        reason = self._why(index, at, limits, Reason(Why.LIMIT, last.at, deadline))
        return replace(reason, last_recorded=last.recorded and not left_out, last_skipped=left_out)

    def _limits(self, index: int, at: Instant) -> Limits | None:
        """Return the limit in force for a lumen at an instant."""
        found = [stretch for stretch in self._uses[index].limits if stretch.begins <= at]
        return found[-1] if found else None

    def _last(self, index: int, at: Instant, limits: Limits | None) -> _Flush | None:
        """Return the last flush before an instant, unless the line was exchanged since."""
        place = bisect_right(self._at[index], Instant(at - 1)) - 1
        found = self._flushed[index][place] if place >= 0 else None
        if found is not None and limits is not None and limits.afresh and found.at <= limits.begins:
            return None if limits.begins_with is None else _Flush(limits.begins_with, True)
        return found

    def _chance(self, index: int, at: Instant) -> Instant:
        """Return the last minute at which a lumen's flush at an instant could have been placed."""
        limits = self._limits(index, at)
        last = self._last(index, self._together[at][index], limits)
        return at if last is None or limits is None else limits.placing.last_chance(last.at)

    def _why(self, index: int, at: Instant, limits: Limits, reason: Reason) -> Reason:
        """Say what holds a flush where it stands: the first that applies."""
        assert reason.deadline is not None, "the reason is about a limit"
        chance = self._chance(index, at)
        if at > reason.deadline:
            return replace(reason, why=Why.PASSED)
        if at in self._touched:
            return replace(reason, why=Why.JOINED, lumen=self._names[self._touched[at]])
        forcing = self._forcing(at)
        if self._quiet_until(at) != NEVER:
            return self._in_the_night(index, at, forcing, reason)
        if chance <= at:
            return reason
        asleep = self._quiet_until(Instant(at + 1))
        if asleep != NEVER:
            return replace(reason, why=Why.BEFORE_QUIET, avoided=chance if chance < asleep else None)
        if at in self._preferred:
            return replace(reason, why=Why.PREFERRED)
        if forcing:
            return replace(reason, why=Why.TOGETHER, lumen=self._names[forcing[0]])
        if self._uses[index].busy(Instant(at + 1), KNOWN):
            return replace(reason, why=Why.BEFORE_USE)
        following = self._next(index, at)
        if following == at + self._terms.least:
            return replace(reason, why=Why.BEFORE_TOUCH, avoided=following)
        if any(day == at + 1 for day, _ in self._terms.rooms):
            return replace(reason, why=Why.DAY_TOTAL)
        return replace(reason, why=Why.SETTLED) if self._anew else reason

    def _in_the_night(self, index: int, at: Instant, forcing: list[int], reason: Reason) -> Reason:
        """Say what forces a session into the quiet hours: a limit that does not reach across them, a day's total, or what
        could not have waited any longer."""
        awake = [other for other in self._together[at] if not self._reaches(other, at)]
        causes = awake or forcing
        why = Why.FORCED_QUIET if awake else Why.DAY_TOTAL if self._full(index, at) else Why.FEWEST_QUIET
        return replace(reason, why=why, lumen="" if index in causes or not causes else self._names[causes[0]])

    def _full(self, index: int, at: Instant) -> bool:
        """Say whether the totals of the day before the quiet hours of an instant, or of the instant, leave no room for one
        more flush of a lumen."""
        rooms = self._terms.rooms
        if not rooms:
            return False
        asleep = self._terms.quiet[bisect_right(self._quiet_from, at) - 1][0]
        for when in (at, Instant(asleep - 1)):
            day = bisect_right(rooms, when, key=lambda room: room[0]) - 1
            ends = rooms[day + 1][0] if day + 1 < len(rooms) else ENDLESS
            left = list(rooms[day][1])
            for planned, lumens in self._together.items():
                if rooms[day][0] <= planned < ends:
                    for lumen in lumens:
                        left = [room - more for room, more in zip(left, self._uses[lumen].amounts, strict=True)]
            if any(room < more for room, more in zip(left, self._uses[index].amounts, strict=True)):
                return True
        return False

    def _reaches(self, index: int, at: Instant) -> bool:
        """Say whether a lumen's limit reaches across the quiet hours in which an instant lies, from the last minute before
        them to the first after them, or to a touch within them that its flush could join."""
        place = bisect_right(self._quiet_from, at) - 1
        asleep, awake = self._terms.quiet[place]
        limits, use = self._limits(index, at), self._uses[index]
        if limits is None:
            return True
        first, last = bisect_right(self._touched_at, asleep - 1), bisect_right(self._touched_at, awake)
        inside = [
            when for when in self._touched_at[first:last] if not use.busy(when, KNOWN) or use.touched(when, KNOWN)
        ]
        points = [max(Instant(asleep - 1), self._terms.begins), *inside, awake]
        for before, after in pairwise(points):
            chance = limits.placing.last_chance(before)
            if chance < after and not use.busy(chance, KNOWN):
                return False
        return True

    def _forcing(self, at: Instant) -> list[int]:
        """Return the lumens flushed at an instant that could not have waited any longer."""
        return [other for other in self._together.get(at, ()) if self._chance(other, at) <= at]

    def _next(self, index: int, at: Instant) -> Instant:
        """Return the next touch of a lumen, idle flushes among them."""
        place = bisect_right(self._at[index], at)
        return self._at[index][place] if place < len(self._at[index]) else ENDLESS

    def _quiet_until(self, at: Instant) -> Instant:
        """Return when the quiet hours end in which an instant lies; NEVER outside them."""
        place = bisect_right(self._quiet_from, at) - 1
        return self._terms.quiet[place][1] if place >= 0 and at < self._terms.quiet[place][1] else NEVER
