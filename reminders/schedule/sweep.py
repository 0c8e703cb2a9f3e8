"""The search for the best idle flushes (R11): exact, over whole minutes.

Why it is exact. Take a best schedule of the question and one of its sessions of idle flushes. Move that session later,
minute by minute. Nothing gets worse - each of its lumens is flushed later, which can only put their next flushes off,
and the sum of the instants rises - until one of these stops it: (1) a flush of the session has reached the last minute
that its lumen's limit allows; (2) it would enter quiet hours; (3) it would leave a preferred clock time; (4) it would
come within the least time of the next touch of one of its lumens, which is a touch of the plan or another idle flush;
(5) it would enter a day whose totals have no room; (6) it meets another session, and the two are one: fewer sessions.
So a best schedule has sessions of idle flushes only at last minutes (1), at a few instants that the question itself
names (2, 3, 5, and 4 before a touch), or at a multiple of the least time before one of those (4 before an idle flush); all
other idle flushes join a session that stands anyway. What may follow depends only on when each lumen was last flushed
and how much of the day's totals is used. So the sweep goes from instant to instant, tries every set of lumens at each
of those instants, and forgets a way only if another one that costs no more has flushed every lumen at least as late.

The cost of a way is one whole number whose digits, from the front, are the figures in the order in which they count.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from heapq import heappop, heappush
from itertools import combinations, pairwise
from operator import gt, lt
from typing import NamedTuple

from reminders.schedule.model import ENDLESS, NEVER
from reminders.schedule.placing import Flush, Question, Segment, Stop, stops
from reminders.times import Instant

COUNT = 24
"""Bits of one figure: a question has fewer than 16 million sessions and flushes."""

SUM = 48
"""Bits of a sum of instants. The sums are taken off, since a greater one is better."""


class Link(NamedTuple):
    """One session of a way: when, which lanes, and the session before it."""

    at: Instant
    lanes: tuple[int, ...]
    before: "Link | None"


class Way(NamedTuple):
    """One way to have come so far: its cost; when each lane was last flushed (ENDLESS: it needs nothing until a touch
    flushes it); until when each must not be flushed again; what of the day's totals is used; and its sessions."""

    cost: int
    last: tuple[Instant, ...]
    rest: tuple[Instant, ...]
    used: tuple[Fraction, ...]
    link: Link | None


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
    """The answer to an earlier question: its flushes, by lane and in order, and from when on both questions are alike."""

    flushes: Sequence[Sequence[Instant]]
    alike_from: Instant


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


class _Sweep:
    """One sweep over a question; ``chains`` and ``rooms`` say which of its constraints are kept to."""

    def __init__(self, question: Question, *, chains: bool, rooms: bool, before: Before | None = None) -> None:
        self._before = before
        self._lanes = question.lanes
        self._least, self._chains = question.least, chains
        self._begins, self._known = question.begins, question.known
        self._costs = _costs(question)
        self._stops = stops(question)
        self._at = [stop.at for stop in self._stops]
        self._rooms = dict(question.rooms) if rooms else {}
        self._room = next((room for day, room in reversed(question.rooms) if rooms and day <= question.begins), None)
        rest = tuple(NEVER for _ in self._lanes) if chains else ()
        used = tuple(Fraction(0) for _ in question.rooms[0][1]) if rooms else ()
        self._first = Way(0, tuple(lane.last for lane in self._lanes), rest, used, None)
        self._stop = self._stops[0]
        self._segments: list[Segment | None] = []
        self._closes = [ENDLESS] * len(self._lanes)

    def flushes(self) -> list[Flush]:
        """Sweep to the end, or until the rest is known, and return the best flushes."""
        ways = [self._first]
        for stop, following in pairwise([*self._stops, None]):
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
        last = []
        for lane, found in zip(self._lanes, self._before.flushes, strict=True):
            flushed = [found[place - 1] for place in [bisect_right(found, stop.at)] if place]
            flushed += [lane.flushes[place - 1] for place in [bisect_right(lane.flushes, stop.at)] if place]
            last.append(max(flushed, default=lane.last))
        return self._last_at(stop, tuple(last)) == way.last

    def _rest(self, after: Instant) -> list[Flush]:
        """Return what the answer before says of the time after an instant."""
        assert self._before is not None, "there is an answer before"
        return sorted(
            (
                Flush(at, lane)
                for lane, found in enumerate(self._before.flushes)
                for at in found[bisect_right(found, after) :]
                if at <= self._stops[-1].at
            ),
            key=lambda flush: (flush.at, flush.lane),
        )

    def _at_stop(self, stop: Stop, ways: list[Way]) -> list[Way]:
        """Return the ways that lead on from a stop."""
        self._stop = stop
        self._segments = [None] * len(self._lanes)
        for lane, segment in stop.open:
            self._segments[lane] = segment
            closes = Instant(segment.touched - self._least)
            # Where there is no room for the least time, R8 comes first.
            self._closes[lane] = closes if closes >= max(segment.begins, self._begins) else ENDLESS
        fresh = stop.at in self._rooms
        if fresh:
            self._room = self._rooms[stop.at]
        found: dict[tuple[object, ...], Way] = {}
        for way in ways:
            last = self._last_at(stop, way.last)
            used = self._first.used if fresh else way.used
            arrived = Way(way.cost, last, way.rest, used, way.link)
            for chosen in self._choices(stop.at, arrived, stop):
                key = chosen[1:4]
                if key not in found or chosen.cost < found[key].cost:
                    found[key] = chosen
        return self._undominated(stop.at, found.values())

    def _last_at(self, stop: Stop, last: tuple[Instant, ...]) -> tuple[Instant, ...]:
        """Return the last flushes once the touches of a stop have been, as far as they matter from then on."""
        now = list(last)
        for lane in stop.forgets:
            now[lane] = NEVER
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
            chosen = [found for way in waiting.pop(at).values() for found in self._choices(at, way, None)]
            for way in self._undominated(at, chosen) if len(chosen) > 2 else chosen:
                take(way, at)
        return arrived

    def _next(self, way: Way, now: Instant) -> Instant:
        """Return when a way next comes to a decision, if no stop comes before it."""
        chances = [
            segment.last_chance(last)
            for segment, last in zip(self._segments, way.last, strict=True)
            if segment is not None and last != ENDLESS
        ]
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

    def _choices(self, at: Instant, way: Way, stop: Stop | None) -> Iterator[Way]:
        """Yield what may be done at an instant: nothing, if no lumen has to be flushed now, or a session."""
        chances: dict[int, Instant] = {}
        must: list[int] = []
        for lane, segment in enumerate(self._segments):
            last = way.last[lane]
            if segment is None or last >= at:
                continue
            chances[lane] = chance = segment.last_chance(last)
            if chance <= at:
                must.append(lane)
        if not must:
            yield way
        if not chances or (at <= self._known and not must):
            return
        joined = stop is not None and stop.joined
        if not must and not joined:
            reasons = self._reasons(at, chances, stop)
            if not reasons:
                return
        may = [lane for lane in chances if at > self._known and lane not in must and self._allowed(at, lane, way)]
        for size in range(len(may) + 1):
            for more in combinations(may, size):
                if must or (more and (joined or any(lane in reasons for lane in more))):
                    yield self._flushed(at, way, (*must, *more), joined, stop)

    def _reasons(self, at: Instant, chances: dict[int, Instant], stop: Stop | None) -> list[int]:
        """Return the lanes for which a session may be worth while now that could still wait."""
        if stop is not None and (stop.preferred or (stop.last_of_day and self._rooms)):
            return list(chances)
        found = []
        for lane, chance in chances.items():
            eve = stop is not None and min(chance, self._closes[lane]) < stop.eve_of and chance != ENDLESS
            closing = at == self._closes[lane] and chance != ENDLESS
            if eve or closing or (self._chains and chance < at + self._least):
                found.append(lane)
        return found

    def _allowed(self, at: Instant, lane: int, way: Way) -> bool:
        """Say whether a flush keeps the least time to the touches before and after it."""
        return at <= self._closes[lane] and (not self._chains or way.rest[lane] <= at)

    def _flushed(self, at: Instant, way: Way, lanes: tuple[int, ...], joined: bool, stop: Stop | None) -> Way:
        """Return a way that goes on through a session of these lanes."""
        costs = self._costs
        cost = way.cost
        if not joined:
            cost += costs.session
            if self._stop.quiet:
                cost += costs.night
            if stop is None or not stop.preferred:
                cost += costs.odd
        last, rest, used = list(way.last), list(way.rest), list(way.used)
        for lane in lanes:
            segment = self._segments[lane]
            assert segment is not None, "only an open lane is flushed"
            cost += costs.flush - at * (costs.late + costs.late_in[lane])
            if self._least and not self._allowed(at, lane, way):
                cost += costs.close
            last[lane] = segment.after(at)
            if self._chains:
                rest[lane] = Instant(at + self._least)
            if self._room is not None:
                used = [so_far + amount for so_far, amount in zip(used, self._lanes[lane].amounts, strict=True)]
                if any(total > room for total, room in zip(used, self._room, strict=True)):
                    cost += costs.over
        return Way(cost, tuple(last), tuple(rest), tuple(used), Link(at, tuple(sorted(lanes)), way.link))

    def _undominated(self, at: Instant, ways: Iterable[Way]) -> list[Way]:
        """Return the ways that no other one beats, which costs no more and has flushed every lane at least as late."""
        kept: list[Way] = []
        ordered = sorted(ways, key=lambda way: way.cost)
        # What costs more than the cheapest way and a session of all lanes right now is no better than those two.
        most = ordered[0].cost + self._everything() if ordered and self._all_free(at) else None
        for way in ordered:
            if most is not None and way.cost > most:
                break
            if not any(self._beats(at, other, way) for other in kept):
                kept.append(way)
        return kept

    def _all_free(self, at: Instant) -> bool:
        """Say whether every lumen of which it matters may be flushed now, whatever was chosen before."""
        if self._chains or self._rooms or at <= self._known:
            return False
        settled = self._stop.settled
        return all(
            at <= self._closes[lane] if segment is not None else lane in settled
            for lane, segment in enumerate(self._segments)
        )

    def _everything(self) -> int:
        """Return what a session of all lanes costs now, at most."""
        costs = self._costs
        return (costs.night if self._stop.quiet else 0) + costs.session + costs.odd + len(self._lanes) * costs.flush

    def _beats(self, at: Instant, one: Way, two: Way) -> bool:
        if any(map(lt, one.last, two.last)):
            return False
        if self._chains and any(free > at and free > other for free, other in zip(one.rest, two.rest, strict=True)):
            return False
        return not any(map(gt, one.used, two.used))


def _unrolled(link: Link | None) -> list[Flush]:
    found: list[Flush] = []
    while link is not None:
        found += [Flush(link.at, lane) for lane in reversed(link.lanes)]
        link = link.before
    return found[::-1]
