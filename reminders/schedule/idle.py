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
from dataclasses import dataclass, field, replace
from fractions import Fraction
from heapq import merge
from itertools import islice, pairwise, takewhile

from reminders.schedule.beliefs import Limits, LumenUse, News, Recorded, news
from reminders.schedule.model import ENDLESS, NEVER, Spans
from reminders.schedule.placing import Flush, Lane, Question, Segment, segments
from reminders.schedule.sweep import Before, best_flushes
from reminders.times import Instant


@dataclass(frozen=True, slots=True)
class Placed:
    """An idle flush: when, where it was planned, and the recorded flush that it is. ``planned`` is None for a recorded
    flush that answers no planned one."""

    at: Instant
    planned: Instant | None
    answer: Recorded | None = None
    skipped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What holds for all lumens: the horizon; the quiet hours; preferred instants, None if none are stated; minutes
    between an idle flush and the next touch; what a saved session is worth; minutes within which what is planned is
    settled; for each day that a total limits, its beginning and what the other touches leave; and the ends of the
    blocks in which a horizon that rolls on is planned, each with how far it is looked ahead from there."""

    begins: Instant
    ends: Instant
    quiet: Spans
    preferred: Sequence[Instant] | None
    least: int
    worth: int
    settled: int
    rooms: Sequence[tuple[Instant, tuple[Fraction, ...]]] = ()
    blocks: Sequence[tuple[Instant, Instant]] = ()


Planned = list[tuple[Instant, int]]
"""Planned flushes, each with the index of its lumen, in order."""


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
class _Ahead:
    """What is planned at an instant.

    ``last``: when each lumen was last flushed; ``known``: since when that is known; ``kept``: flushes that stand;
    ``past``: flushes before, which count for the day's totals. ``before``: what was planned before; from ``alike_from`` on
    everything but the idle flushes is as it was then. ``answers``: each question asked, with its answer.
    """

    uses: Sequence[LumenUse]
    terms: Terms
    at: Instant
    last: Sequence[Instant]
    known: Instant = NEVER
    kept: Planned = field(default_factory=list)
    past: Planned = field(default_factory=list)
    before: "_Ahead | None" = None
    alike_from: Instant = ENDLESS
    answers: list[tuple[Question, list[Flush]]] = field(default_factory=list)

    def flushes(self) -> Planned:
        """Return the planned flushes: the best, block by block where the horizon rolls on, beside those that are kept."""
        found: Planned = []
        begins, last = self.at, list(self.last)
        for ends, seen in self.terms.blocks or [(self.terms.ends, self.terms.ends)]:
            if ends <= begins:
                continue
            question = self._question(begins, seen, last)
            answer = best_flushes(question, self._before(seen))
            self.answers.append((question, answer))
            found += [(flush.at, flush.lane) for flush in answer if flush.at <= ends]
            last = [self._last_by(ends, lane, last[lane], found) for lane in range(len(last))]
            begins = ends
        return sorted([*found, *self.kept])

    def _before(self, ends: Instant) -> Before | None:
        """Return what was planned before up to the same end."""
        if self.before is None or self.alike_from == ENDLESS:
            return None
        answers = [(question, answer) for question, answer in self.before.answers if question.ends == ends]
        return Before(*answers[0], self.alike_from) if answers else None

    def _last_by(self, until: Instant, lane: int, last: Instant, found: Planned) -> Instant:
        """Return when a lumen will last have been flushed by an instant."""
        flushed = [at for at, other in (*found, *self.kept) if other == lane and at <= until]
        touched = [touch.at for touch in self.uses[lane].after(self.at, self.at) if touch.flushes and touch.at <= until]
        return max([last, *flushed, *touched])

    def _question(self, begins: Instant, ends: Instant, last: Sequence[Instant]) -> Question:
        joined = {at for at, _ in self.kept if begins <= at <= ends}
        lanes = []
        for index, use in enumerate(self.uses):
            coming = [touch for touch in use.after(Instant(begins - 1), self.at) if touch.at <= ends]
            joined.update(touch.at for touch in coming)
            kept = [at for at, lane in self.kept if lane == index and begins < at <= ends]
            flushes = sorted({*(touch.at for touch in coming if touch.flushes), *kept})
            touches = sorted({*(touch.at for touch in coming), *kept})
            lanes.append(
                Lane(
                    segments=self._segments(use, (begins, ends), flushes, touches),
                    flushes=flushes,
                    last=last[index],
                    amounts=use.amounts,
                )
            )
        terms = self.terms
        return Question(
            begins=begins,
            ends=ends,
            lanes=lanes,
            joined=sorted(joined),
            quiet=terms.quiet,
            preferred=terms.preferred,
            least=terms.least,
            worth=terms.worth,
            rooms=self._rooms(),
            known=self.known,
        )

    def _segments(
        self, use: LumenUse, span: tuple[Instant, Instant], flushes: Sequence[Instant], touches: Sequence[Instant]
    ) -> list[Segment]:
        """Return a lumen's segments; what is near is borne with as long as the limit itself is kept."""
        limits = use.limits_at(self.at)
        if not limits or limits[-1].ends <= self.at:
            return []
        limit = limits[-1]
        found = segments([(*span, limit.placing)], use.taken_at(self.at), flushes, touches)
        if self.known == NEVER:
            return found
        near = self.at + self.terms.settled
        return [replace(part, enough=limit.limit) if part.again == part.ends <= near else part for part in found]

    def _rooms(self) -> Sequence[tuple[Instant, tuple[Fraction, ...]]]:
        """Return what the days' totals leave beside the flushes that stand."""
        rooms = list(self.terms.rooms)
        days = [day for day, _ in rooms]
        for at, lane in (*self.past, *self.kept) if rooms else ():
            index = bisect_right(days, at) - 1
            if index >= 0:
                day, room = rooms[index]
                rooms[index] = (
                    day,
                    tuple(left - amount for left, amount in zip(room, self.uses[lane].amounts, strict=True)),
                )
        return rooms


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
        self._ahead: _Ahead | None = None

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
        before, self._ahead = self._ahead, _Ahead(self._uses, self._terms, at, last, known, kept, past)
        if before is not None:
            self._ahead.before, self._ahead.alike_from = before, alike_from
        self._planned = self._by_lumen(self._ahead.flushes())
        self._ahead.before = None

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
        kept = [
            (when, lumen)
            for lumen in self._lumens
            for when in takewhile(lambda when: when <= near, self._planned[lumen])
            if at < when and lumen not in disturbed and not self._uses[lumen].busy(when, at)
        ]
        alike_from = ENDLESS if told.limits else max([near, *(edge for _, edge in moved)])
        self._plan(at, max(at, self._entered.get(at, at)), kept, alike_from)

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
            if moved is None or old.at <= at or moved.at <= at or moved.at == old.at:
                continue
            if any(use.touched(old.at, at) for use in self._uses):
                continue
            for lumen in [lumen for lumen in self._lumens if self._is_planned(old.at, lumen)]:
                before, after = self._last(lumen, at), None
                for when in self._flushes(lumen, at):
                    if when >= moved.at:
                        after = when if when != old.at else after
                        break
                    before = before if when == old.at else when
                limit = self._limit(lumen, at)
                late = limit is None or limit.limit.last_chance(before) < moved.at
                early = limit is not None and after is not None and limit.limit.last_chance(moved.at) < after
                if not late and not early and after != moved.at and not self._uses[lumen].busy(moved.at, at):
                    self._planned[lumen].remove(old.at)
                    insort(self._planned[lumen], moved.at)

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
