"""Where the idle flushes of all lumens go (R8, R11), as the household has lived it (R14).

At the beginning the best flushes of the whole horizon are planned. From then on the schedule is walked along its time.
Whenever something becomes known - a dose that is late, a flush that was given early, a lumen that is out of use - it is
looked at what that does to the flushes that were planned. Where nothing has to move, nothing moves. Else what lies ahead
is planned anew: what is near stays where it is if no rule forces it to move, and the rest is the best again.

A recorded flush answers the planned one that it is nearest to; one that is nearer to the flush before it is a flush
besides. Either way the limit counts from when it was really given. What is not recorded is taken to have happened as
planned, so the schedule holds still.
"""

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import merge
from itertools import islice, pairwise, takewhile

from reminders.schedule.ahead import Ahead, Planned, Terms
from reminders.schedule.beliefs import Limits, LumenUse, News, Recorded, news
from reminders.schedule.model import ENDLESS, NEVER
from reminders.times import Instant


@dataclass(frozen=True, slots=True)
class Placed:
    """An idle flush: when, where it was planned, and the recorded flush that it is. ``planned`` is None for a recorded
    flush that answers no planned one."""

    at: Instant
    planned: Instant | None
    answer: Recorded | None = None
    skipped: bool = False


def place_idle_flushes(
    uses: Sequence[LumenUse],
    terms: Terms,
    entered: Mapping[Instant, Instant],
    before: Planned | None = None,
) -> list[list[Placed]]:
    """Return the idle flushes of each lumen, in order.

    At every idle moment, and at the end of each stretch, the last flush lies at most the limit back; where that has
    become impossible the flush is due at once. ``entered``: when what happened at a moment was told. ``before``: what an
    earlier revision has planned; it stands up to ``terms.begins``, and beyond it like everything that is near.
    """
    walk = _Walk(uses, terms, entered, before)
    walk.go()
    return [walk.placed(lumen) for lumen in range(len(uses))]


@dataclass(slots=True)
class _Past:
    """A planned flush whose time has come, or that was given before it, and the recorded flush that it is."""

    planned: Instant
    answer: Recorded | None = None

    @property
    def at(self) -> Instant:
        return self.planned if self.answer is None else self.answer.at


class _Walk:
    """Goes through the time once, from one moment at which something became known to the next."""

    def __init__(
        self, uses: Sequence[LumenUse], terms: Terms, entered: Mapping[Instant, Instant], before: Planned | None
    ) -> None:
        self._uses, self._terms, self._entered = uses, terms, entered
        self._lumens = range(len(uses))
        self._past: list[list[_Past]] = [[] for _ in uses]
        self._extra: list[list[Recorded]] = [[] for _ in uses]
        self._recorded = [{flush.at: flush for flush in use.recorded} for use in uses]
        self._known = news(uses)
        self._shown = before
        self._planned = self._by_lumen(before or ())
        self._ahead: Ahead | None = None

    def go(self) -> None:
        """Walk to the end."""
        begins, known = self._terms.begins, self._known
        for at in sorted({*known, begins}):
            told = known.get(at, News())
            if at == begins and self._shown is None:
                self._plan(at, NEVER, [])
            self._pass(Instant(at - 1))
            for lumen in sorted(told.lumens):
                if (flush := self._recorded[lumen].get(at)) is not None:
                    self._answer(lumen, flush)
                if self._is_planned(at, lumen) and self._in_use(lumen, at):
                    self._planned[lumen].remove(at)
            self._pass(at)
            if at == begins and self._shown is not None:
                self._react(at, News(lumens=set(self._lumens), limits=set(self._lumens)))
            elif at > begins:
                self._react(at, told)

    def placed(self, lumen: int) -> list[Placed]:
        """Return the flushes of a lumen, in order; those that are not to be done are marked."""
        ahead = [_Past(at) for at in self._planned[lumen] if at <= self._terms.ends]
        planned = [*self._past[lumen], *ahead]
        skipped = self._skipped(lumen, planned)
        found = [Placed(flush.at, flush.planned, flush.answer, index in skipped) for index, flush in enumerate(planned)]
        found += [Placed(flush.at, None, flush) for flush in self._extra[lumen]]
        return sorted(found, key=lambda flush: flush.at)

    def _skipped(self, lumen: int, planned: Sequence[_Past]) -> set[int]:
        """Return which of the planned flushes somebody said are not to be done: each time the nearest open one."""
        found: set[int] = set()
        for told in self._uses[lumen].skipped:
            open_ = [index for index, flush in enumerate(planned) if flush.answer is None and index not in found]
            nearest = min(open_, key=lambda index: abs(planned[index].planned - told), default=None)
            if nearest is None:
                continue
            at = planned[nearest].planned
            if abs(at - told) <= (at - self._last(lumen, Instant(at - 1))) // 2:
                found.add(nearest)
        return found

    # What is planned

    def _plan(self, at: Instant, known: Instant, kept: Planned, alike_from: Instant = ENDLESS) -> None:
        """Plan what lies ahead anew, as things stand at an instant; ``known``: since when that is known.

        From ``alike_from`` on everything but the idle flushes is as it was when it was last planned.
        """
        past = [(flush.at, lumen) for lumen in self._lumens for flush in self._past[lumen][-4:]]
        last = [self._last(lumen, at) for lumen in self._lumens]
        before, self._ahead = self._ahead, Ahead(self._uses, self._terms, at, last, known, kept, past)
        if known != NEVER:
            apart = max(self._terms.least, self._terms.handling + 1)
            self._ahead.rest = [Instant(self._last_idle(lumen, at) + apart) for lumen in self._lumens]
        if before is not None:
            self._ahead.before, self._ahead.alike_from = before, alike_from
        self._planned = self._by_lumen(self._ahead.flushes())
        self._ahead.before = None

    def _last_idle(self, lumen: int, at: Instant) -> Instant:
        """Return when a lumen last had an idle flush by an instant, given or believed to be; NEVER for none."""
        given = (flush.at for flush in reversed(self._past[lumen]) if flush.at <= at)
        besides = (flush.at for flush in reversed(self._extra[lumen]) if flush.at <= at)
        return max([*islice(given, 1), *islice(besides, 1)], default=NEVER)

    def _by_lumen(self, flushes: Sequence[tuple[Instant, int]]) -> list[list[Instant]]:
        """Return planned flushes lumen by lumen, each in order."""
        found: list[list[Instant]] = [[] for _ in self._lumens]
        for at, lumen in flushes:
            found[lumen].append(at)
        return found

    def _pass(self, at: Instant) -> None:
        """Let the time of the flushes up to an instant come."""
        for planned, past in zip(self._planned, self._past, strict=True):
            if planned and planned[0] <= at:
                count = bisect_right(planned, at)
                past += map(_Past, planned[:count])
                del planned[:count]

    def _in_use(self, lumen: int, at: Instant) -> bool:
        """Say whether something runs in a lumen at an instant, or another touch flushes it just then."""
        return self._uses[lumen].busy(at, at) or self._uses[lumen].last_flush(at) == at

    def _last(self, lumen: int, at: Instant) -> Instant:
        """Return when a lumen was last flushed by an instant, as far as was believed then; NEVER if nobody knows."""
        use = self._uses[lumen]
        since = max((stretch.begins for stretch in use.limits_at(at) if stretch.afresh), default=NEVER)
        found = [use.last_flush(at)]
        found += islice((flush.at for flush in reversed(self._past[lumen]) if flush.at <= at), 1)
        found += islice((flush.at for flush in reversed(self._extra[lumen]) if flush.counts and flush.at <= at), 1)
        stated = [
            stretch.begins_with
            for stretch in use.limits_at(at)
            if stretch.begins_with is not None and stretch.begins >= since
        ]
        return max([*(flushed for flushed in found if flushed > since), *stated], default=NEVER)

    # What is recorded

    def _answer(self, lumen: int, flush: Recorded) -> None:
        """Find the planned flush that a recorded one is nearest to; one nearer to the flush before it is one besides."""
        use, past = self._uses[lumen], self._past[lumen]
        touched = use.last_flush(flush.at)
        before = past[-1] if past and past[-1].answer is None and past[-1].planned > touched else None
        following = next(iter(self._planned[lumen]), None)
        coming = next((touch.at for touch in use.after(flush.at, flush.at) if touch.flushes), ENDLESS)
        if following is not None and following >= coming:
            following = None
        if not flush.counts:
            self._extra[lumen].append(flush)
        elif before is not None and (following is None or flush.at - before.planned <= following - flush.at):
            before.answer = flush
        elif following is not None and following - flush.at <= flush.at - self._last(lumen, flush.at):
            self._planned[lumen].remove(following)
            past.append(_Past(following, flush))
        else:
            self._extra[lumen].append(flush)

    # What that changes

    def _react(self, at: Instant, told: News) -> None:
        """Let what has become known move what has to move."""
        near = Instant(at + self._terms.settled)
        self._forget(at, told)
        self._follow(at, told)
        disturbed = {lumen for lumen in sorted(told.lumens) if not self._holds(lumen, at, told)}
        moved = {(lumen, touch.at) for lumen, touch in told.gone} ^ {(lumen, touch.at) for lumen, touch in told.come}
        moved |= {edge for edge, count in told.edges.items() if count}
        if not disturbed and not told.limits and not any(edge > near for _, edge in moved):
            return
        until = max(near, self._told(at))
        kept = [
            (when, lumen)
            for lumen in self._lumens
            for when in takewhile(lambda when: when <= until, self._planned[lumen])
            if at < when and not self._uses[lumen].busy(when, at)
            if lumen not in disturbed or self._is_apart(lumen, when, at)
        ]
        alike_from = ENDLESS if told.limits else max([until, *(edge for _, edge in moved)])
        self._plan(at, self._told(at), kept, alike_from)

    def _told(self, at: Instant) -> Instant:
        """Return when what happened at an instant was told."""
        return max(at, self._entered.get(at, at))

    def _is_apart(self, lumen: int, when: Instant, at: Instant) -> bool:
        """Say whether a planned flush has a touch between itself and all that is being planned anew, so that it may stay."""
        use, limit = self._uses[lumen], self._limit(lumen, at)
        touched = [touch.at for touch in takewhile(lambda touch: touch.at < when, use.after(at, at)) if touch.flushes]
        return bool(
            limit is not None
            and touched
            and all(not touched[-1] < planned < when for planned in self._planned[lumen])
            and limit.limit.last_chance(touched[-1]) >= when
        )

    def _forget(self, at: Instant, told: News) -> None:
        """Leave out what was planned, and is not recorded, where it now turns out that something ran."""
        for lumen in {index for index, _ in told.edges}:
            begins = min(edge for index, edge in told.edges if index == lumen)
            use, past = self._uses[lumen], self._past[lumen]
            first = bisect_left(past, begins, key=lambda flush: flush.planned)
            past[first:] = [
                flush for flush in past[first:] if flush.answer is not None or not use.busy(flush.planned, at)
            ]

    def _follow(self, at: Instant, told: News) -> None:
        """Let flushes that join a touch go with it when it moves, as far as their limits allow."""
        for _, old in told.gone:
            moved = next((new for _, new in told.come if new.about == old.about), None)
            if moved is None or moved.at == old.at or min(old.at, moved.at) <= self._told(at):
                continue
            if any(use.touched(old.at, at) for use in self._uses):
                continue
            for lumen in [lumen for lumen in self._lumens if self._is_planned(old.at, lumen)]:
                if self._may_stand(lumen, old.at, moved.at, at):
                    self._planned[lumen].remove(old.at)
                    insort(self._planned[lumen], moved.at)

    def _may_stand(self, lumen: int, old: Instant, new: Instant, at: Instant) -> bool:
        """Say whether a planned flush may stand at another instant: no limit is passed before it, after it or without it."""
        limit, use = self._limit(lumen, at), self._uses[lumen]
        if limit is None or use.busy(new, at):
            return False
        flushes = [self._last(lumen, at), new]
        for when in self._flushes(lumen, at):
            if when == new:
                return False
            if when != old:
                flushes.append(when)
            if when > max(old, new):
                break
        else:
            flushes.append(self._terms.ends)
        return all(self._within(lumen, limit, *pair, at) for pair in pairwise(sorted(flushes)))

    def _limit(self, lumen: int, at: Instant) -> Limits | None:
        """Return what limit holds for a lumen at an instant."""
        found = self._uses[lumen].limits_at(at)
        return found[-1] if found and found[-1].ends > at else None

    def _flushes(self, lumen: int, at: Instant) -> Iterator[Instant]:
        """Yield when a lumen will be flushed after an instant, as it is believed then."""
        touched = (touch.at for touch in self._uses[lumen].after(at, at) if touch.flushes)
        return merge(touched, self._planned[lumen])

    def _is_planned(self, at: Instant, lumen: int) -> bool:
        place = bisect_left(self._planned[lumen], at)
        return place < len(self._planned[lumen]) and self._planned[lumen][place] == at

    def _holds(self, lumen: int, at: Instant, told: News) -> bool:
        """Say whether what is planned for a lumen still keeps its limit; leave out what is not needed any more."""
        use, limit = self._uses[lumen], self._limit(lumen, at)
        if limit is None:
            return not self._planned[lumen]
        moved = [touch.at for index, touch in (*told.gone, *told.come) if index == lumen]
        checked = max([at, *(when for when in moved if when <= at + self._terms.settled)])
        before = self._last(lumen, at)
        waiting: list[Instant] = []
        for when in self._flushes(lumen, at):
            waiting.append(when)
            if len(waiting) > 1 and waiting[-2] > checked:
                break  # whether a flush is needed depends on the next one
        for when, after in pairwise([*waiting, ENDLESS]):
            if before > checked:
                return True
            if self._is_planned(when, lumen):
                needless = before != NEVER and after != ENDLESS and limit.placing.last_chance(before) >= after
                if use.busy(when, at) or needless:
                    self._planned[lumen].remove(when)
                    continue
                if when > at + self._terms.settled:
                    return False  # when it was last flushed has changed, and nothing near makes up for that
            if not self._within(lumen, limit, before, when, at):
                return False
            before = when
        return before > checked or self._within(lumen, limit, before, self._terms.ends, at)

    def _within(self, lumen: int, limit: Limits, before: Instant, after: Instant, at: Instant) -> bool:
        """Say whether two flushes keep the limit, or something runs when it would be passed."""
        if before == NEVER:
            return False
        chance = limit.limit.last_chance(before)
        return chance >= after or self._uses[lumen].busy(chance, at)
