"""What is planned from an instant on: the best flushes beside those that stand, as everything is known then (R11)."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import partial
from operator import attrgetter

from reminders.schedule.beliefs import LumenUse
from reminders.schedule.model import ENDLESS, NEVER, Spans
from reminders.schedule.placing import Flush, Lane, Question, Segment, segments
from reminders.schedule.sweep import Before, best_flushes
from reminders.times import DAY, Instant

NEAR = 2 * DAY
"""How far beyond what has changed a question is drawn up at first; each time that is not enough, FURTHER times as far."""

FURTHER = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What holds for all lumens: the horizon; the quiet hours; preferred instants, None if none are stated; minutes
    between an idle flush and the next touch; what a saved session is worth; minutes within which what is planned is
    settled; minutes that one touch takes; for each day that a total limits, its beginning and what the other touches
    leave; and the ends of the blocks in which a horizon that rolls on is planned, each with how far it is looked ahead."""

    begins: Instant
    ends: Instant
    quiet: Spans
    preferred: Sequence[Instant] | None
    least: int
    worth: int
    settled: int
    handling: int
    rooms: Sequence[tuple[Instant, tuple[Fraction, ...]]] = ()
    blocks: Sequence[tuple[Instant, Instant]] = ()


Planned = list[tuple[Instant, int]]
"""Planned flushes, each with the index of its lumen, in order."""


@dataclass(slots=True)
class Ahead:
    """What is planned at an instant.

    ``last``: when each lumen was last flushed; ``known``: since when that is known; ``kept``: flushes that stand;
    ``past``: flushes before, which count for the day's totals. ``before``: what was planned before; from ``alike_from`` on
    everything but the idle flushes is as it was then. ``rest``: until when each lumen is not to be flushed again.
    ``answers``: each question asked, with its answer.
    """

    uses: Sequence[LumenUse]
    terms: Terms
    at: Instant
    last: Sequence[Instant]
    known: Instant = NEVER
    kept: Planned = field(default_factory=list)
    past: Planned = field(default_factory=list)
    rest: Sequence[Instant] = ()
    before: "Ahead | None" = None
    alike_from: Instant = ENDLESS
    answers: list[tuple[Question, list[Flush]]] = field(default_factory=list)

    def flushes(self) -> Planned:
        """Return the planned flushes: the best, block by block where the horizon rolls on, beside those that are kept."""
        found: Planned = []
        begins, last = self.at, list(self.last)
        for ends, seen in self.terms.blocks or [(self.terms.ends, self.terms.ends)]:
            if ends <= begins:
                continue
            before = self._before(seen)
            near = Instant(max(begins, before.alike_from) + NEAR) if before else seen
            question = self._question(begins, seen, last, near)
            answer = best_flushes(question, before)
            self.answers.append((question, answer))
            answer = answer[: bisect_right(answer, ends, key=attrgetter("at"))]
            found += [(flush.at, flush.lane) for flush in answer]
            last = [self._last_by(ends, lane, last[lane], answer) for lane in range(len(last))]
            begins = ends
        return sorted([*found, *self.kept])

    def _before(self, ends: Instant) -> Before | None:
        """Return what was planned before up to the same end."""
        if self.before is None or self.alike_from == ENDLESS:
            return None
        answers = [(question, answer) for question, answer in self.before.answers if question.ends == ends]
        if not answers:
            return None
        question, answer = answers[0]
        return Before(answer, self.alike_from, partial(self.before._touched, question.begins))

    def _touched(self, begins: Instant, lane: int, at: Instant) -> Instant:
        """Return when a lumen was last flushed by an instant, and not before a question began, other than by its answer."""
        kept = [when for when, other in self.kept if other == lane and begins < when <= at]
        touched = self.uses[lane].last_flush(at, self.at)
        return max(kept if touched < begins else [*kept, touched], default=NEVER)

    def _last_by(self, until: Instant, lane: int, last: Instant, answer: Sequence[Flush]) -> Instant:
        """Return when a lumen will last have been flushed by an instant, with the flushes of an answer up to then."""
        kept = [at for at, other in self.kept if other == lane and at <= until]
        flushed = next((flush.at for flush in reversed(answer) if flush.lane == lane), NEVER)
        touched = self.uses[lane].last_flush(until, self.at)
        return max([last, flushed, touched if touched > self.at else NEVER, *kept])

    def _question(self, begins: Instant, ends: Instant, last: Sequence[Instant], near: Instant) -> Question:
        """Return a question of which is drawn up what comes before ``near``.

        Each lumen is drawn up to its first touch from there on that flushes it, or to the end: then all its segments that
        begin before that touch are what they are for the whole question, and so is whether it is settled in between.
        """
        joined = {at for at, _ in self.kept if begins <= at <= ends}
        lanes = []
        for index, use in enumerate(self.uses):
            sure = next((touch.at for touch in use.after(Instant(near - 1), self.at) if touch.flushes), ends)
            upto = min(sure, ends)
            coming = list(use.after(Instant(begins - 1), self.at, upto))
            joined.update(touch.at for touch in coming)
            kept = [at for at, lane in self.kept if lane == index and begins < at <= upto]
            flushes = sorted({*(touch.at for touch in coming if touch.flushes), *kept})
            touches = sorted({*(touch.at for touch in coming), *kept})
            lanes.append(
                Lane(
                    segments=self._segments(use, (begins, upto), flushes, touches),
                    flushes=flushes,
                    last=last[index],
                    rest=self.rest[index] if self.rest else NEVER,
                    amounts=use.amounts,
                )
            )
        terms = self.terms
        further = Instant(begins + FURTHER * (near - begins))
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
            drawn_to=Instant(near - 1) if near < ends else ENDLESS,
            further=partial(self._question, begins, ends, last, further) if near < ends else None,
        )

    def _segments(
        self, use: LumenUse, span: tuple[Instant, Instant], flushes: Sequence[Instant], touches: Sequence[Instant]
    ) -> list[Segment]:
        """Return a lumen's segments; what is near is borne with as long as the limit itself is kept."""
        limits = use.limits_at(self.at)
        if not limits or limits[-1].ends <= self.at:
            return []
        limit = limits[-1]
        found = segments([(*span, limit.placing)], use.taken_at(self.at, *span), flushes, touches)
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
