"""Care tasks to their occurrences (R20): as the plan times them, and as they were done, put off or skipped.

A task that comes round again is walked along its time: each occurrence follows from when the one before was done, or was
to be done where nobody recorded it (R14), from fixed days, or from whichever comes first. One that is tied to doses has
one occurrence for each of them and moves with it. Either way an occurrence is the same one in every revision.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from reminders.plan.care import CareTask, TaskKind
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Kind
from reminders.schedule.care_rules import Terms, after_all, in_days, in_hours, of_day, on_weekday, recurring_terms
from reminders.schedule.care_tied import Tied, TiedToDoses, tied_key
from reminders.schedule.identity import Identities
from reminders.schedule.in_force import Stretch
from reminders.schedule.model import ENDLESS, NEVER, Dose, Outcome, Spans, TaskEvent
from reminders.times import Instant, ZoneTimeline


@dataclass(frozen=True, slots=True, kw_only=True)
class Occurrence:
    """One occurrence of a care task. ``planned``: when it is to be done, put off or not; ``at``: when it was done, else
    the same. ``fact``: what records that it was done. ``besides``: done though none was planned then. ``known``: since
    when it is known that it comes then: since that fact, or since the doing that it counts from."""

    task: str
    key: str
    planned: Instant
    at: Instant
    dose: Dose | None = None
    fact: Fact | None = None
    outcome: Outcome | None = None
    besides: bool = False
    known: Instant = NEVER


@dataclass(frozen=True, slots=True)
class Told:
    """What is recorded of one task: that it was done, put off, or is not to be done; each in order of time."""

    done: tuple[Fact, ...] = ()
    put_off: tuple[Fact, ...] = ()
    skipped: tuple[Fact, ...] = ()


UNTOLD = Told()


def through_lumen(task: CareTask) -> bool:
    """Say whether a task is a draw through a lumen, which is a touch of that lumen."""
    return task.kind is TaskKind.DRAW and task.lumen is not None


def occurrences(
    in_force: Sequence[Stretch],
    told: Mapping[str, Told],
    doses: Mapping[str, Sequence[Dose]],
    away: Spans,
    horizon: tuple[Instant, Instant],
) -> dict[str, tuple[Occurrence, ...]]:
    """Return the occurrences of every task from the horizon's start to its end, and what was done in it besides.

    ``doses`` are the doses of each order as they are reckoned with; ``away`` the stays elsewhere.
    """
    revisions = _revisions(in_force)
    names = dict.fromkeys(name for *_, plan in reversed(revisions) for name in plan.tasks)
    found: dict[str, tuple[Occurrence, ...]] = {}

    def add(name: str) -> None:
        if name in found:
            return
        found[name] = ()
        for *_, plan in revisions:
            task = plan.tasks.get(name)
            for other in task.with_tasks if task is not None else ():
                add(other)
        listed = _Walk(name, told.get(name, UNTOLD), found, away, horizon).through(revisions, doses)
        found[name] = tuple(sorted(listed, key=lambda entry: (entry.at, entry.planned, entry.key)))

    for name in names:
        add(name)
    return found


def _revisions(in_force: Sequence[Stretch]) -> list[tuple[Instant, Instant, Plan]]:
    """Return each revision with from when to when it is in force, whatever facts have changed meanwhile."""
    found: list[tuple[Instant, Instant, Plan]] = []
    for stretch in in_force:
        if found and not stretch.new_revision:
            begins, _, plan = found[-1]
            found[-1] = (begins, stretch.ends, plan)
        else:
            found.append((stretch.begins, stretch.ends, stretch.revision))
    return found


def task_events(
    found: Mapping[str, Sequence[Occurrence]],
    in_force: Sequence[Stretch],
    names: Identities,
    away: Spans,
    end: Instant,
) -> tuple[TaskEvent, ...]:
    """Return the occurrences up to an end as events, in order of time, but for draws through a lumen.

    What falls into a stay elsewhere, ``away``, is left to those who look after the line there (S14).
    """
    events = []
    for name, listed in found.items():
        for entry in listed:
            plan = plan_naming(in_force, name, entry.planned)
            elsewhere = entry.outcome is None and any(begin <= entry.at < ends for begin, ends in away)
            if (entry.at < end or entry.fact is not None) and not through_lumen(plan.tasks[name]):
                events.append(
                    TaskEvent(
                        uid=names.of("task", name, entry.key),
                        task=name,
                        key=entry.key,
                        at=entry.at,
                        planned=entry.planned,
                        plan=plan,
                        dose=entry.dose,
                        outcome=Outcome.HELD if elsewhere else entry.outcome,
                        besides=entry.besides,
                    )
                )
    return tuple(sorted(events, key=lambda event: (event.at, event.planned, event.task)))


def plan_naming(in_force: Sequence[Stretch], task: str, at: Instant) -> Plan:
    """Return the plan in force at an instant or, if it does not name a task, the one nearest before it that does."""
    naming = [stretch for stretch in in_force if task in stretch.plan.tasks]
    before = [stretch for stretch in naming if stretch.begins <= at]
    return (before[-1] if before else naming[0]).plan


@dataclass(frozen=True, slots=True)
class _Next:
    """What comes next: when, by which rule, its lasting name, since when that is known, and which date's it is, if one's."""

    at: Instant
    key: str
    fixed: bool
    known: Instant = NEVER
    day: date | None = None


def _over(coming: _Next, planned: Instant) -> Instant:
    """Return after what the next one comes: after an interval's that was moved forward it counts from there."""
    return coming.at if coming.fixed else min(coming.at, planned)


class _Reckoned(NamedTuple):
    """What a task is reckoned from: when it was last done, or was to be, since when that is known, after what comes what
    comes next, and how many came by an interval."""

    base: Instant | None = None
    known: Instant = NEVER
    after: Instant = NEVER
    number: int = 0


class _Walk:
    """One task, walked along its time through the revisions in force."""

    def __init__(
        self,
        name: str,
        told: Told,
        others: Mapping[str, Sequence[Occurrence]],
        away: Spans,
        horizon: tuple[Instant, Instant],
    ) -> None:
        self._name, self._told, self._away = name, told, away
        self._others = others
        self._start, self._end = horizon
        self._open = list(told.done)
        self._so_far = _Reckoned()
        self._pending: tuple[_Next, Instant, Instant] | None = None  # put off beyond the revision that it comes from
        self._listed: list[Occurrence] = []
        # The dates of those listed last that nobody did, and what each was reckoned from.
        self._last_open: list[tuple[date, _Reckoned]] = []
        self._settled: set[str] = set()  # what does not come again
        self._moved_from: dict[Instant, str] = {}  # which one was put off, or moved forward, from where
        self._terms: list[Terms] = []
        self._tied = TiedToDoses(told.put_off, told.skipped, self._end)

    def through(
        self, revisions: Sequence[tuple[Instant, Instant, Plan]], doses: Mapping[str, Sequence[Dose]]
    ) -> list[Occurrence]:
        """Return the occurrences of the time in which the revisions are in force, and what was done besides."""
        listed = [(max(begins, self._start), min(ends, self._end), plan) for begins, ends, plan in revisions]
        listed = [(begins, ends, plan) for begins, ends, plan in listed if begins < ends]
        self._terms = recurring_terms(self._name, listed)
        for begins, ends, plan in listed:
            task = plan.tasks.get(self._name)
            order = None if task is None else task.order
            self._tied.revise(task if order is not None else None, doses.get(order or "", ()), begins)
            if order is not None:
                self._open = [fact for fact in self._open if fact.happened >= ends or not self._tied.answer(fact)]
            elif task is not None:
                index = next(index for index, terms in enumerate(self._terms) if terms.begins == begins)
                self._recurring(index)
        self._open = [fact for fact in self._open if not self._tied.answer(fact)]
        besides = [self._besides(fact) for fact in self._open if self._start <= fact.happened]
        return self._listed + [self._of_dose(tied) for tied in self._tied.all()] + besides

    def _of_dose(self, tied: Tied) -> Occurrence:
        skipped = Outcome.SKIPPED if tied.skipped else None
        return Occurrence(
            task=self._name,
            key=tied_key(tied.dose),
            planned=tied.planned,
            at=tied.planned if tied.done is None else tied.done.happened,
            dose=tied.dose,
            fact=tied.done,
            outcome=skipped if tied.done is None else Outcome.DONE,
            known=tied.known if tied.done is None else tied.done.happened,
        )

    def _besides(self, fact: Fact) -> Occurrence:
        return Occurrence(
            task=self._name,
            key=f"done/{fact.key}",
            planned=fact.happened,
            at=fact.happened,
            fact=fact,
            outcome=Outcome.DONE,
            besides=True,
            known=fact.happened,
        )

    def _recurring(self, index: int) -> None:
        terms = self._terms[index]
        begins, ends = terms.begins, terms.ends
        self._come_again(index)
        base, known, after, count = self._so_far
        stated = [None if each.task.last_done is None else each.task.last_done.instant for each in self._terms]
        if (latest := stated[index]) is not None and (not index or latest != stated[index - 1]):
            # What it states anew outweighs whatever nobody recorded; only a later doing that was recorded outweighs it.
            still_open = {fact.key for fact in self._open}
            told = [fact.happened for fact in self._told.done if fact.happened < begins and fact.key not in still_open]
            base, last = max([latest, *told]), base
            known = known if base == last or not index else begins
        if after == NEVER:
            after = Instant(begins - 1)
        self._so_far = _Reckoned(base, known, after, count)
        if self._pending is None:
            while self._open and self._open[0].happened <= (base or NEVER):
                self._open.pop(0)  # it was done before what the plan itself states
        while True:
            base, known, after, count = self._so_far
            if self._pending is not None:
                (coming, planned, since), self._pending = self._pending, None
            else:
                found = self._next(terms, self._so_far)
                done_by_then = bool(self._open) and self._open[0].happened < ends
                if not done_by_then and (found is None or found.at >= ends):
                    return
                if found is None:
                    self._list(self._besides(self._open.pop(0)))
                    continue
                coming = found
                planned, since = self._moved(coming)
            self._settled.add(coming.key)
            answer = self._answer(index, coming, planned)
            counted = count + (not coming.fixed)
            if answer is not None:
                self._open.remove(answer)
                done = max(base or NEVER, answer.happened)
                before = max(after, NEVER if base is None or base > planned else base)
                if coming.fixed and answer.happened - before < planned - answer.happened:
                    # Nearer to the time before than to the day that is fixed: that day stands.
                    self._settled.discard(coming.key)
                    self._list(self._besides(answer))
                    self._so_far = _Reckoned(done, done, after, count)
                    continue
                self._list(self._occurrence(coming, planned, answer))
                # What an interval made due is done with; a day that is fixed is, whenever it was done.
                after = max(after, coming.at if coming.fixed else answer.happened)
                self._so_far = _Reckoned(done, done, after, counted)
                continue
            if coming.at >= ends:
                self._settled.discard(coming.key)
                return
            if planned >= ends:
                self._pending = coming, planned, since  # the revision after this one has it
                return
            stood = (coming.at, planned, *self._stood(coming.day, index))
            skipped = [fact for fact in self._told.skipped if fact.planned_for in stood]
            since = max([since, coming.known, *(fact.happened for fact in skipped)])
            occurrence = self._occurrence(coming, planned, None, Outcome.SKIPPED if skipped else None, since)
            self._list(occurrence, None if skipped else coming.day)
            self._so_far = _Reckoned(max(base or NEVER, planned), since, max(after, _over(coming, planned)), counted)

    def _list(self, occurrence: Occurrence, day: date | None = None) -> None:
        """List an occurrence; ``day`` is the date whose it is, if a revision may yet move it."""
        if day is None:
            self._last_open.clear()
        else:
            self._last_open.append((day, self._so_far))
        self._listed.append(occurrence)

    def _come_again(self, index: int) -> None:
        """Take back the last occurrences that nobody did, where by a new revision they are still to come."""
        terms = self._terms[index]
        if index == 0 or self._terms[index - 1].ends != terms.begins:
            self._last_open.clear()
        while self._last_open:
            day, before = self._last_open[-1]
            at = of_day(terms.task, terms.plan, day)
            last = terms.task.last_day
            if at is None or at < terms.begins or at <= before.after or (last is not None and day > last):
                return
            self._last_open.pop()
            self._settled.discard(self._listed.pop().key)
            self._so_far = before

    def _stood(self, day: date | None, index: int) -> list[Instant]:
        """Return when the occurrence of a date was due by earlier revisions; whoever said that it is left out meant one of these."""
        if day is None:
            return []
        found = [of_day(terms.task, terms.plan, day) for terms in self._terms[:index]]
        return [at for at in found if at is not None]

    def _occurrence(
        self,
        coming: _Next,
        planned: Instant,
        answer: Fact | None,
        outcome: Outcome | None = Outcome.DONE,
        known: Instant = NEVER,
    ) -> Occurrence:
        at = planned if answer is None else answer.happened
        if planned != coming.at:
            self._moved_from[coming.at] = coming.key
        return Occurrence(
            task=self._name,
            key=coming.key,
            planned=planned,
            at=at,
            fact=answer,
            outcome=outcome,
            known=known if answer is None else at,
        )

    def _moved(self, coming: _Next) -> tuple[Instant, Instant]:
        """Return when an occurrence is to be done after all, and since when that is known.

        What an interval makes due in a stay elsewhere waits for the way home: nobody has said that it was done there (S14).
        """
        planned, known = coming.at, NEVER
        another = self._moved_from.get(coming.at, coming.key) != coming.key  # who moved that one meant it alone
        for fact in () if another else self._told.put_off:
            if fact.planned_for == planned and fact.until is not None:
                planned, known = fact.until, fact.happened
        for begin, end in self._away:
            if not coming.fixed and begin <= planned < end != ENDLESS:
                planned, known = end, end
        return planned, known

    def _answer(self, index: int, coming: _Next, planned: Instant) -> Fact | None:
        """Return the doing that answers an occurrence: it is nearer to it than to the one that follows."""
        ends = self._terms[index].ends
        if planned != coming.at:  # others may come before it
            done = min(self._open, key=lambda fact: abs(fact.happened - planned), default=None)
        else:
            done = self._open[0] if self._open else None
        if done is None or (done.happened >= ends and planned >= ends):
            return None
        following = self._following(index, coming, planned, done)
        if following is None:
            return done
        if following.at > planned:
            return done if done.happened - planned < following.at - done.happened else None
        return done if abs(done.happened - planned) <= abs(done.happened - following.at) else None

    def _following(self, index: int, coming: _Next, planned: Instant, done: Fact) -> _Next | None:
        """Return the occurrence that follows one by the terms in force then, or by those of when a doing was."""
        base = planned if not coming.fixed else max(self._so_far.base or NEVER, planned)
        reckoned = _Reckoned(base, NEVER, max(self._so_far.after, _over(coming, planned)), self._so_far.number)
        listed = [self._next(terms, reckoned) for terms in self._terms[index:]]
        for terms, found in zip(self._terms[index:], listed, strict=True):
            if found is not None and (found.at < terms.ends or done.happened < terms.ends):
                return found
        return listed[0]

    def _next(self, terms: Terms, so_far: _Reckoned) -> _Next | None:
        """Return what comes next by whichever rule comes first."""
        task, plan, begins = terms.task, terms.plan, terms.begins
        base, after = so_far.base, max(so_far.after, Instant(begins - 1))
        options = []
        interval = f"{so_far.number + 1}"
        if task.every is not None and base is not None:
            options.append(_Next(in_hours(task.every, base, after, begins), interval, False, so_far.known))
        if task.weekdays is not None and (found := on_weekday(task, plan, after, self._settled)) is not None:
            options.append(_Next(found[0], found[1].isoformat(), True, day=found[1]))
        if begins > after:
            options += [_Next(begins, day.isoformat(), True, day=day) for day in terms.open]
        options += [
            _Next(moment.instant, moment.key(plan.course.zone), True)
            for moment in task.moments or ()
            if moment.instant > after
        ]
        options += [other for name in task.with_tasks if (other := self._with(name, after)) is not None]
        options = [option for option in options if not option.fixed or option.key not in self._settled]
        if task.every_days is not None and base is not None:
            at = in_days(task, plan, base, after, begins)
            if not any(self._takes_place(option, at, plan) for option in options):
                options.append(_Next(at, interval, False, so_far.known))
        coming = min(options, key=lambda option: (option.at, not option.fixed, option.key), default=None)
        late = coming is not None and task.last_day is not None and plan.clock.local(coming.at).date() > task.last_day
        return None if late else coming

    def _takes_place(self, other: _Next, at: Instant, plan: Plan) -> bool:
        """Say whether something fixed is on the date on which an interval makes it due too; in a stay elsewhere nobody does it."""
        away = any(begin <= other.at < end for begin, end in self._away)
        return other.fixed and not away and plan.clock.local(other.at).date() == plan.clock.local(at).date()

    def _with(self, name: str, after: Instant) -> _Next | None:
        """Return the next doing of another task; they come in order of time."""
        others = self._others.get(name, ())
        for index in range(bisect_right(others, after, key=lambda entry: entry.at), len(others)):
            other = others[index]
            if other.outcome is not Outcome.SKIPPED:
                return _Next(other.at, f"with/{name}/{other.key}", True, other.known)
        return None


def told_of(facts: Sequence[Fact], near: int, clock: ZoneTimeline) -> Told:
    """Return what the facts about one task say; a doing that a second person reports within ``near`` min is the same."""
    facts = after_all(facts, clock)
    done: list[Fact] = []
    for fact in facts:
        if fact.kind in (Kind.TASK_DONE, Kind.DRAWN) and (not done or fact.happened - done[-1].happened > near):
            done.append(fact)
    return Told(
        tuple(done),
        tuple(fact for fact in facts if fact.kind is Kind.TASK_PUT_OFF),
        tuple(fact for fact in facts if fact.kind is Kind.TASK_SKIPPED),
    )
