"""The question of where idle flushes go (R11), as a few lists of instants, and the time line that the search sweeps.

A lumen is cut into *segments*: stretches in which it is idle, from one touch that flushes it to the next. In a segment
a flush is needed if the next touch comes later than the limit of the last flush allows. Only a few instants matter:
see :mod:`reminders.schedule.sweep` for which, and why they suffice.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from operator import itemgetter

from reminders.schedule.limits import Rule
from reminders.schedule.model import ENDLESS, NEVER, Spans
from reminders.times import Instant


@dataclass(frozen=True, slots=True)
class Segment:
    """Idle time of one lumen from ``begins`` up to ``ends``, between two of its touches; a flush may stand in it, at its end
    no longer.

    ``opens``: since when the lumen is idle, from when on what is overdue can be made good. ``rule`` says by when a flush
    is placed, if one is needed; ``enough``, which is the same unless somebody's few minutes are to be borne with, whether
    one is. ``again``: when a touch next flushes the lumen, at its end or later; the end of the horizon for none.
    ``touched``: the next touch of the lumen from its end on.
    """

    begins: Instant
    ends: Instant
    opens: Instant
    rule: Rule
    enough: Rule
    again: Instant
    touched: Instant

    def last_chance(self, flushed: Instant) -> Instant:
        """Return the last minute for a flush after the one at ``flushed``; ENDLESS if none is needed in this segment."""
        if flushed == NEVER:
            return self.opens
        if self.enough.last_chance(flushed) >= self.ends:
            return ENDLESS
        return max(self.rule.last_chance(flushed), self.opens)

    def after(self, flushed: Instant) -> Instant:
        """Return a last flush as the search remembers it: ENDLESS where nothing is needed until a touch flushes again."""
        if flushed == NEVER:
            return flushed
        rule = self.enough if self.again == self.ends else self.rule
        return ENDLESS if rule.last_chance(flushed) >= self.again else flushed


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One lumen as the search sees it.

    ``segments`` in order; ``flushes``: the instants at which other touches flush it; ``last`` is its last flush before the
    question begins, NEVER if nobody knows. ``rest``: until then it is flushed again only if it must be. ``amounts``: what one
    idle flush adds to each daily total.
    """

    segments: Sequence[Segment]
    flushes: Sequence[Instant]
    last: Instant
    rest: Instant = NEVER
    amounts: tuple[Fraction, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Where do idle flushes go from ``begins`` up to ``ends``?

    ``lanes`` in the plan's order; ``joined``: instants that are sessions anyway, at which a flush interrupts nobody;
    ``quiet``: the quiet hours; ``preferred``: instants that suit, None if the plan states none; ``least``: minutes
    between an idle flush and the next touch of its lumen; ``worth``: flushes that one saved session is worth.
    ``rooms``: for each day that some total limits, its beginning and what is left for idle flushes. ``known``: up to
    then nothing is chosen, and only what has to be flushed is: nobody can act before they know.

    ``drawn_to``: so far its lanes and sessions are drawn up; ``further`` draws the same question up further, up to its end
    at last. What the search meets up to ``drawn_to`` is what it would meet if everything were drawn up.
    """

    begins: Instant
    ends: Instant
    lanes: Sequence[Lane]
    joined: Sequence[Instant]
    quiet: Spans
    preferred: Sequence[Instant] | None
    least: int
    worth: int
    rooms: Sequence[tuple[Instant, tuple[Fraction, ...]]] = ()
    known: Instant = NEVER
    drawn_to: Instant = ENDLESS
    further: "Callable[[], Question] | None" = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Flush:
    """An idle flush of the lane with this index."""

    at: Instant
    lane: int


@dataclass(slots=True)
class Stop:
    """An instant at which the sweep stops, whatever it has chosen, and how things stand from then to the next one.

    ``joined``: somebody is up anyway. ``quiet``: quiet hours until the next stop. ``eve_of``: this is the last minute
    before quiet hours that end then. ``preferred``: it suits. ``last_of_day``: a day that some total limits ends after it.
    ``flushed``: lanes that a touch flushes. ``open``: the lanes in which a flush may stand, each with its segment;
    ``settled``: those that are in use, and will be flushed when that ends.
    """

    at: Instant
    joined: bool = False
    quiet: bool = False
    eve_of: Instant = NEVER
    preferred: bool = False
    last_of_day: bool = False
    flushed: list[int] = field(default_factory=list)
    settled: list[int] = field(default_factory=list)
    open: list[tuple[int, Segment]] = field(default_factory=list)


def segments(
    stretches: Sequence[tuple[Instant, Instant, Rule]],
    taken: Spans,
    flushes: Sequence[Instant],
    touches: Sequence[Instant],
) -> list[Segment]:
    """Return the segments of a lumen.

    ``stretches`` are those in which a rule holds, in order; ``taken`` those in which no flush may stand, merged;
    ``touches`` the instants of its touches, and ``flushes`` of those that flush it, in order.
    """
    found: list[Segment] = []
    until = stretches[-1][1] if stretches else NEVER
    for begins, ends, rule in stretches:
        left = begins
        index = bisect_right(taken, (begins, ENDLESS)) - 1
        for begin, finish in [*taken[max(0, index) :], (ends, ends)]:
            if finish <= left and begin < ends:
                continue
            right = min(begin, ends)
            if right > left:
                found += _between(left, right, rule, (flushes, touches, until))
            left = max(left, finish)
            if left >= ends:
                break
        if ends == until and any(finish == ends for _, finish in taken) and ends not in flushes:
            # The horizon's end too is an idle moment: what is overdue then is made good just then.
            found.append(Segment(ends, ends, ends, rule, rule, ends, ENDLESS))
    return found


def _between(
    left: Instant, right: Instant, rule: Rule, handled: tuple[Sequence[Instant], Sequence[Instant], Instant]
) -> list[Segment]:
    flushes, touches, until = handled
    inner = touches[bisect_right(touches, left) : bisect_left(touches, right)]
    edges = [left, *inner, right]
    found = []
    for begin, end in pairwise(edges):
        following = bisect_left(touches, end)
        touched = touches[following] if following < len(touches) else ENDLESS
        place = bisect_left(flushes, end)
        again = flushes[place] if place < len(flushes) else until
        found.append(Segment(begin, end, left, rule, rule, again, touched))
    return found


def stops(question: Question) -> list[Stop]:
    """Return the stops of a question, in order, as far as it is drawn up; the first is at its beginning, the last at its end."""
    begins, ends = question.begins, question.ends
    last = min(ends, question.drawn_to)
    made: dict[Instant, Stop] = {}

    def stop(at: Instant) -> Stop:
        found = made.get(at)
        if found is None:
            found = made[at] = Stop(at)
        return found

    stop(begins)
    stop(ends)
    for at in question.joined[bisect_left(question.joined, begins) : bisect_right(question.joined, last)]:
        stop(at).joined = True
    for begin, end in _nights(question):
        if begin > begins:
            stop(Instant(begin - 1)).eve_of = end
            stop(begin)
        if end <= ends:
            stop(end)
    preferred = question.preferred or ()
    for at in preferred[bisect_left(preferred, begins) : bisect_right(preferred, last)]:
        if at < ends:
            stop(at).preferred = True
    days = [day for day, _room in question.rooms]
    for day in days[bisect_right(days, begins) : bisect_right(days, last + 1)]:
        if day <= ends:
            stop(Instant(day - 1)).last_of_day = True
            stop(day)
    for index, lane in enumerate(question.lanes):
        for segment in lane.segments:
            if segment.ends < begins or segment.begins > ends:
                continue
            for at in (segment.begins, segment.ends):
                if begins <= at <= ends:
                    stop(at)
            if segment.again != segment.ends and begins < segment.ends <= ends:
                stop(Instant(segment.ends - 1))
            if question.least and segment.touched != ENDLESS:
                closing = Instant(segment.touched - question.least)
                if max(begins, segment.begins) <= closing < min(ends, segment.ends):
                    stop(closing)
        for at in lane.flushes[bisect_left(lane.flushes, begins) : bisect_right(lane.flushes, last)]:
            stop(at).flushed.append(index)
    found = [made[at] for at in sorted(made) if at <= last]
    _open(found, question)
    return found


def _nights(question: Question) -> Spans:
    """Return the quiet hours that end after a question begins, up to those that begin just after it is drawn up or ends."""
    last = min(question.ends, Instant(question.drawn_to + 1))
    first = bisect_right(question.quiet, question.begins, key=itemgetter(1))
    return question.quiet[first : bisect_right(question.quiet, (last, ENDLESS))]


def _open(found: list[Stop], question: Question) -> None:
    """Tell each stop which lanes are open from it to the next one, which need nothing, and whether it is quiet there."""
    at = [stop.at for stop in found]
    for begin, end in _nights(question):
        for stop in found[bisect_left(at, begin) : bisect_left(at, end)]:
            stop.quiet = True
    for index, lane in enumerate(question.lanes):
        done = 0
        for segment in lane.segments:
            first = bisect_left(at, segment.begins)
            _settle(found[done:first], index, lane, segment.begins)
            done = max(first, bisect_left(at, segment.ends)) + (segment.begins == segment.ends)
            for stop in found[first:done]:
                stop.open.append((index, segment))
        _settle(found[done:], index, lane, ENDLESS)


def _settle(found: Sequence[Stop], index: int, lane: Lane, idle_from: Instant) -> None:
    """Mark a lane where its last flush does not matter: a touch flushes it before, or when, it is idle again."""
    for stop in found:
        following = bisect_right(lane.flushes, stop.at)
        if idle_from == ENDLESS or (following < len(lane.flushes) and lane.flushes[following] <= idle_from):
            stop.settled.append(index)
