"""The search for the best idle flushes (R11): exact, over whole minutes.

Why it is exact. Take a best schedule of the question and one of its sessions of idle flushes. Move that session later,
minute by minute. Nothing gets worse - each of its lumens is flushed later, which can only put their next flushes off,
and the sum of the instants rises - until one of these stops it: (1) a flush of the session has reached the last minute
that its lumen's limit allows; (2) it would enter quiet hours; (3) it would leave a preferred clock time; (4) it would
come within the least time of the next touch of one of its lumens, which is a touch of the plan or another idle flush;
(5) it would enter a day whose totals have no room; (6) one of its lumens would be in use, and not flushed when that
begins; (7) it meets another session, and the two are one: fewer sessions. So a best schedule has sessions of idle flushes
only at last minutes (1), at a few instants that the question itself names (2, 3, 5, 6, and 4 before a touch), or at a multiple of the least time before one of those (4 before an idle flush); all
other idle flushes join a session that stands anyway. What may follow depends only on when each lumen was last flushed
and how much of the day's totals is used. So the sweep goes from instant to instant, tries every set of lumens at each
of those instants, and forgets a way only if another one that costs no more has flushed every lumen at least as late.

The cost of a way is one whole number whose digits, from the front, are the figures in the order in which they count.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from heapq import heappop, heappush
from itertools import chain, pairwise
from operator import attrgetter, gt, itemgetter, lt
from typing import NamedTuple

from reminders.schedule.limits import HourRule
from reminders.schedule.model import ENDLESS, NEVER
from reminders.schedule.placing import Flush, Question, Segment, Stop, stops
from reminders.times import Instant

COUNT = 24
"""Bits of one figure: a question has fewer than 16 million sessions and flushes."""

SUM = 48
"""Bits of a sum of instants. The sums are taken off, since a greater one is better."""


class Link(NamedTuple):
    """One session of a way: when, which lanes (bit n for lane n), and the session before it."""

    at: Instant
    lanes: int
    before: "Link | None"


class Way(NamedTuple):
    """One way to have come so far: its cost; when each lane was last flushed (ENDLESS: it needs nothing until a touch
    flushes it); until when each must not be flushed again; what of the day's totals is used; its sessions; and the lanes
    of one more, at the instant that is being looked at."""

    cost: int
    last: tuple[Instant, ...]
    rest: tuple[Instant, ...]
    used: tuple[Fraction, ...]
    link: Link | None
    lanes: int = 0


@dataclass(frozen=True, slots=True)
class _Costs:
    """What each thing adds to the cost of a way."""

    over: int
    close: int
    night: int
    session: int
    flush: int
    odd: int
    late: int
    late_in: tuple[int, ...]


def _costs(question: Question) -> _Costs:
    lanes, worth = len(question.lanes), question.worth
    low = SUM * (lanes + 1)
    figures = [1 << low + COUNT * place for place in range(7)]
    if worth:
        session, flush, night = figures[1] + worth * figures[2], figures[2], figures[4]
    else:
        session, flush, night = figures[1], figures[4], figures[2]
    late_in = tuple(1 << SUM * (lanes - 1 - index) for index in range(lanes))
    odd = figures[0] if question.preferred is not None else 0
    return _Costs(figures[6], figures[5], night, session, flush, odd, 1 << SUM * lanes, late_in)


@dataclass(frozen=True, slots=True)
class Before:
    """The answer to an earlier question with the same end, and from when on both questions are alike.

    ``touched`` says when a touch flushed a lane last by an instant, since the earlier question began; NEVER for none.
    """

    flushes: Sequence[Flush]
    alike_from: Instant
    touched: Callable[[int, Instant], Instant]

    def last(self, lane: int, at: Instant) -> Instant:
        """Return when a lane was flushed last by an instant since the earlier question began; NEVER for never."""
        place = bisect_right(self.flushes, at, key=attrgetter("at"))
        earlier = (self.flushes[index] for index in range(place - 1, -1, -1))
        return max(self.touched(lane, at), next((flush.at for flush in earlier if flush.lane == lane), NEVER))


def best_flushes(question: Question, before: Before | None = None) -> list[Flush]:
    """Return the best idle flushes of a question, in order of time, then of lanes.

    ``before`` is the answer to an earlier question: where the only way left comes to it again, the rest is known.
    """
    # What an easier question answers need not be asked with all it states: an answer that keeps to it is the best.
    found = _Sweep(question, chains=False, rooms=False, before=before).flushes()
    rooms = bool(question.rooms) and _over(question, found)
    chains = bool(question.least) and _close(question, found)
    if not rooms and not chains:
        return found
    while question.further is not None:
        question = question.further()
    found = _Sweep(question, chains=chains, rooms=rooms).flushes()
    if chains and rooms:
        return found
    rooms = rooms or (bool(question.rooms) and _over(question, found))
    chains = chains or (bool(question.least) and _close(question, found))
    return _Sweep(question, chains=True, rooms=True).flushes() if rooms and chains else found


def _close(question: Question, found: list[Flush]) -> bool:
    """Say whether two idle flushes of a lumen are nearer than the least time."""
    last: dict[int, Instant] = {}
    for flush in found:
        if flush.at - last.get(flush.lane, NEVER) < question.least:
            return True
        last[flush.lane] = flush.at
    return False


def _over(question: Question, found: list[Flush]) -> bool:
    """Say whether a day's totals have no room for its flushes."""
    used: dict[int, list[Fraction]] = {}
    days = [day for day, _room in question.rooms]
    for flush in found:
        day = bisect_right(days, flush.at) - 1
        if day >= 0:
            so_far = used.setdefault(day, [Fraction(0)] * len(question.rooms[day][1]))
            for index, amount in enumerate(question.lanes[flush.lane].amounts):
                so_far[index] += amount
    return any(
        total > room for day, totals in used.items() for total, room in zip(totals, question.rooms[day][1], strict=True)
    )


class _OpenLane:
    """A lane in which a flush may stand from a stop to the next one, ready for asking often.

    ``closes``: the last minute that keeps the least time to the next touch; ENDLESS where there is no room for it: then
    every minute is too near, and as good as another. ``ends``: the last minute of a segment after which the lumen is used without being flushed.
    """

    __slots__ = ("_ends", "_enough", "_opens", "_reach", "bit", "closes", "ends", "index", "segment")

    def __init__(self, index: int, segment: Segment, closes: Instant) -> None:
        self.index, self.bit, self.segment, self.closes = index, 1 << index, segment, closes
        self._opens, self._ends = segment.opens, segment.ends
        self.ends = ENDLESS if segment.again == segment.ends else Instant(segment.ends - 1)
        by_hours = isinstance(segment.rule, HourRule) and isinstance(segment.enough, HourRule)
        self._reach = segment.rule.reach if by_hours and isinstance(segment.rule, HourRule) else -1
        self._enough = segment.enough.reach if by_hours and isinstance(segment.enough, HourRule) else -1

    @classmethod
    def of(cls, index: int, segment: Segment, begins: Instant, least: int) -> "_OpenLane":
        """Return a lane of a question that begins then."""
        closes = Instant(segment.touched - least)
        return cls(index, segment, closes if closes >= max(segment.begins, begins) else ENDLESS)

    def last_chance(self, flushed: Instant) -> Instant:
        """Return what the segment says; the search asks this more often than anything else."""
        if self._reach < 0 or flushed == NEVER:
            return self.segment.last_chance(flushed)
        if flushed + self._enough >= self._ends:
            return ENDLESS
        return Instant(max(flushed + self._reach, self._opens))


class _Sweep:
    """One sweep over a question; ``chains`` and ``rooms`` say which of its constraints are kept to."""

    def __init__(self, question: Question, *, chains: bool, rooms: bool, before: Before | None = None) -> None:
        self._before = before
        self._lanes = question.lanes
        self._least, self._chains, self._strict = question.least, chains, chains or rooms
        self._begins, self._known = question.begins, question.known
        self._costs = _costs(question)
        self._stops = _stops(question)
        self._at: list[Instant] = []
        if chains:
            found = [*self._stops]
            self._stops, self._at = iter(found), [stop.at for stop in found]
        self._rooms = dict(question.rooms) if rooms else {}
        self._room = next((room for day, room in reversed(question.rooms) if rooms and day <= question.begins), None)
        rest = tuple(NEVER for _ in self._lanes) if chains else ()
        used = tuple(Fraction(0) for _ in question.rooms[0][1]) if rooms else ()
        self._first = Way(0, tuple(lane.last for lane in self._lanes), rest, used, None)
        self._stop = Stop(question.begins)
        self._open: list[_OpenLane] = []

    def flushes(self) -> list[Flush]:
        """Sweep to the end, or until the rest is known, and return the best flushes."""
        ways = [self._first]
        for stop, following in pairwise(chain(self._stops, [None])):
            assert stop is not None, "only the last one is followed by nothing"
            ways = self._at_stop(stop, ways)
            if len(ways) == 1 and self._as_before(stop, ways[0]):
                return [*_unrolled(ways[0].link), *self._rest(stop.at)]
            if following is not None:
                ways = self._between(following.at, ways)
        return _unrolled(min(ways, key=lambda way: way.cost).link)

    def _as_before(self, stop: Stop, way: Way) -> bool:
        """Say whether a way has come to where the answer before is at a stop, so that both go on alike."""
        if self._before is None or stop.at <= self._before.alike_from:
            return False
        last = tuple(self._before.last(lane, stop.at) for lane in range(len(self._lanes)))
        return NEVER not in last and self._last_at(stop, last) == way.last

    def _rest(self, after: Instant) -> list[Flush]:
        """Return what the answer before says of the time after an instant."""
        assert self._before is not None, "there is an answer before"
        return [*self._before.flushes[bisect_right(self._before.flushes, after, key=attrgetter("at")) :]]

    def _at_stop(self, stop: Stop, ways: list[Way]) -> list[Way]:
        """Return the ways that lead on from a stop."""
        self._stop = stop
        self._open = [_OpenLane.of(lane, segment, self._begins, self._least) for lane, segment in stop.open]
        fresh = stop.at in self._rooms
        if fresh:
            self._room = self._rooms[stop.at]
        arrived = []
        for cost, last, rest, used, link, _lanes in ways:
            arrived.append(Way(cost, self._last_at(stop, last), rest, self._first.used if fresh else used, link))
        return self._undominated(stop.at, self._choices(stop.at, arrived, stop))

    def _last_at(self, stop: Stop, last: tuple[Instant, ...]) -> tuple[Instant, ...]:
        """Return the last flushes once the touches of a stop have been, as far as they matter from then on."""
        now = list(last)
        for lane in stop.flushed:
            now[lane] = stop.at
        for lane in stop.settled:
            now[lane] = ENDLESS
        for lane, segment in stop.open:
            if now[lane] != ENDLESS:
                now[lane] = segment.after(now[lane])
        return tuple(now)

    def _between(self, until: Instant, ways: list[Way]) -> list[Way]:
        """Return the ways up to the next stop, through the sessions that last minutes ask for on the way."""
        arrived: list[Way] = []
        waiting: dict[Instant, dict[tuple[object, ...], Way]] = {}
        order: list[Instant] = []

        def take(way: Way, now: Instant) -> None:
            at = self._next(way, now)
            if at >= until:
                arrived.append(way)
                return
            if at not in waiting:
                waiting[at] = {}
                heappush(order, at)
            key = way[1:4]
            if key not in waiting[at] or way.cost < waiting[at][key].cost:
                waiting[at][key] = way

        for way in ways:
            take(way, self._stop.at)
        while order:
            at = heappop(order)
            for way in self._undominated(at, self._choices(at, waiting.pop(at).values(), None)):
                take(way, at)
        return arrived

    def _next(self, way: Way, now: Instant) -> Instant:
        """Return when a way next comes to a decision, if no stop comes before it."""
        chances = [lane.last_chance(way.last[lane.index]) for lane in self._open if way.last[lane.index] != ENDLESS]
        at = min(chances, default=ENDLESS)
        if not self._chains or at == ENDLESS:
            return at
        # A flush that is to be followed, after the least time, by one at a stop or at a last minute.
        first = max(now, at - self._least)
        for links in range(1, len(self._lanes) + 1):
            shift = links * self._least
            place = bisect_right(self._at, first + shift)
            later = [chance for chance in chances if chance > first + shift]
            at = Instant(min([at, *(when - shift for when in (*self._at[place : place + 1], *later))]))
        return at

    def _choices(self, at: Instant, ways: Iterable[Way], stop: Stop | None) -> Iterable[Way]:
        """Return what may be done at an instant: nothing, if no lumen has to be flushed now, or a session."""
        found: dict[tuple[object, ...], Way] = {}
        joined = stop is not None and stop.joined
        # A session may be worth while that could still wait: of any lane, or of those that would soon be at a loss.
        any_reason = joined or (stop is not None and (stop.preferred or (stop.last_of_day and bool(self._rooms))))
        eve_of = NEVER if stop is None else stop.eve_of
        sessions: dict[int, tuple[int, list[tuple[int, Instant]]]] = {}
        for way in ways:
            must = may = reasons = 0
            for lane in self._open:
                last = way.last[lane.index]
                if last >= at:
                    continue
                chance = lane.last_chance(last)
                if chance <= at:
                    must |= lane.bit
                    continue
                rested = at >= self._lanes[lane.index].rest and (not self._chains or way.rest[lane.index] <= at)
                if at <= lane.closes and rested:
                    may |= lane.bit
                if chance == ENDLESS:  # not in this segment, but before a touch flushes the lumen again
                    chance = lane.segment.rule.last_chance(last)
                soon = min(chance, lane.closes, lane.ends) < eve_of or at in (lane.closes, lane.ends)
                if soon or (self._chains and chance < at + self._least):
                    reasons |= lane.bit
            if at <= self._known:
                may = 0
            if any_reason or must:
                reasons = may
            if not must:
                self._keep(found, way)
            more = may if must or reasons & may else 0
            while must | more:
                if must or more & reasons:
                    lanes = must | more
                    if lanes not in sessions:
                        sessions[lanes] = self._session(at, lanes, joined, stop)
                    self._keep(found, self._flushed(at, way, lanes, sessions[lanes]))
                if not more:
                    break
                more = (more - 1) & may
        return found.values()

    def _session(
        self, at: Instant, lanes: int, joined: bool, stop: Stop | None
    ) -> tuple[int, list[tuple[int, Instant]]]:
        """Return what a session of these lanes costs, and each lane with its last flush from then on."""
        costs = self._costs
        cost = 0
        if not joined:
            cost += costs.session
            if self._stop.quiet:
                cost += costs.night
            if stop is None or not stop.preferred:
                cost += costs.odd
        flushed = []
        for lane in self._open:
            if lanes & lane.bit:
                cost += costs.flush - at * (costs.late + costs.late_in[lane.index])
                if lane.segment.touched - at < self._least:
                    cost += costs.close
                flushed.append((lane.index, lane.segment.after(at)))
        return cost, flushed

    def _flushed(self, at: Instant, way: Way, lanes: int, session: tuple[int, list[tuple[int, Instant]]]) -> Way:
        """Return a way that goes on through a session of these lanes."""
        cost, flushed = session
        cost += way.cost
        last, rest, used = [*way.last], way.rest, way.used
        for index, until in flushed:
            last[index] = until
        if self._chains:
            spaced = [*rest]
            for index, _ in flushed:
                if spaced[index] > at:
                    cost += self._costs.close
                spaced[index] = Instant(at + self._least)
            rest = tuple(spaced)
        if self._room is not None:
            for index, _ in flushed:
                used = tuple(so_far + more for so_far, more in zip(used, self._lanes[index].amounts, strict=True))
                if any(map(gt, used, self._room)):
                    cost += self._costs.over
        return Way(cost, tuple(last), rest, used, way.link, lanes)

    def _keep(self, found: dict[tuple[object, ...], Way], way: Way) -> None:
        """Keep a way unless a cheaper one has come to the same."""
        key: tuple[object, ...] = way[1:4] if self._strict else way[1]
        other = found.get(key)
        if other is None or way[0] < other[0]:
            found[key] = way

    def _undominated(self, at: Instant, ways: Iterable[Way]) -> list[Way]:
        """Return the ways that no other one beats, which costs no more and has flushed every lane at least as late."""
        ordered = sorted(ways, key=itemgetter(0))
        # What costs more than the cheapest way and a session of all lanes right now is no better than those two.
        most = ordered[0].cost + self._everything() if ordered and self._all_free(at) else None
        kept: list[Way] = []
        reached: list[tuple[Instant, ...]] = []
        for way in ordered:
            if most is not None and way.cost > most:
                break
            last = way.last
            for index, other in enumerate(reached):
                if not any(map(lt, other, last)) and not (self._strict and self._bound(at, kept[index], way)):
                    break
            else:
                reached.append(last)
                kept.append(Way(*way[:4], Link(at, way.lanes, way.link)) if way.lanes else way)
        return kept

    def _all_free(self, at: Instant) -> bool:
        """Say whether every lumen of which it matters may be flushed now, whatever was chosen before."""
        if self._strict or at <= self._known:
            return False
        return len(self._open) + len(self._stop.settled) == len(self._lanes) and all(
            lane.segment.touched - at >= self._least and at >= self._lanes[lane.index].rest for lane in self._open
        )

    def _everything(self) -> int:
        """Return what a session of all lanes costs now, at most."""
        costs = self._costs
        return (costs.night if self._stop.quiet else 0) + costs.session + costs.odd + len(self._lanes) * costs.flush

    def _bound(self, at: Instant, one: Way, two: Way) -> bool:
        """Say whether the least time or the day's totals bind one way where they leave another free."""
        if any(free > at and free > other for free, other in zip(one.rest, two.rest, strict=True)):
            return True
        return any(map(gt, one.used, two.used))


def _stops(question: Question) -> Iterator[Stop]:
    """Yield the stops of a question, which is drawn up further only when the search comes so far."""
    done = NEVER
    while True:
        yield from (stop for stop in stops(question) if stop.at > done)
        if question.further is None:
            return
        done, question = question.drawn_to, question.further()


def _unrolled(link: Link | None) -> list[Flush]:
    found: list[Flush] = []
    while link is not None:
        found += [Flush(link.at, lane) for lane in reversed(range(link.lanes.bit_length())) if link.lanes >> lane & 1]
        link = link.before
    return found[::-1]
