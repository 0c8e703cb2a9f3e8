"""Care tasks to their occurrences (R20): as the plan times them, and as they were done, put off or skipped.

A task that comes round again is walked along its time: each occurrence follows from when the one before was done, or was
to be done where nobody recorded it (R14), from fixed days, or from whichever comes first. One that is tied to doses has
one occurrence for each of them and moves with it.
"""

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from reminders.plan.care import CareTask, TaskKind
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Kind
from reminders.schedule.care_rules import in_days, in_hours, on_weekday
from reminders.schedule.identity import Identities
from reminders.schedule.in_force import Stretch
from reminders.schedule.model import DROPPED, ENDLESS, NEVER, Dose, DoseState, Outcome, Spans, TaskEvent
from reminders.times import DAY, Instant


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

REACH = DAY // 2
"""Minutes: a doing further from what is tied to a dose answers nothing of it."""


def tied_key(dose: Dose) -> str:
    """Name the occurrence of a task that is tied to a dose."""
    return f"dose/{dose.order}/{dose.key}"


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
        walk = _Walk(name, told.get(name, UNTOLD), found, away, horizon)
        listed = [occurrence for revision in revisions for occurrence in walk.over(*revision, doses)]
        listed += walk.rest()
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
    """What comes next: when, by which rule, its lasting name, and since when that is known."""

    at: Instant
    key: str
    fixed: bool
    known: Instant = NEVER


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
        self._base: Instant | None = None  # when it was last done, or was to be done
        self._known = NEVER  # since when that is known
        self._after = NEVER  # what comes next comes after it
        self._count = 0
        self._pending: tuple[_Next, Instant, Instant] | None = None  # put off beyond the revision that it comes from

    def over(
        self, begins: Instant, ends: Instant, plan: Plan, doses: Mapping[str, Sequence[Dose]]
    ) -> Iterator[Occurrence]:
        """Yield the occurrences of the time in which one revision is in force."""
        task = plan.tasks.get(self._name)
        begins, ends = max(begins, self._start), min(ends, self._end)
        if task is None or begins >= ends:
            return
        if task.order is not None:
            yield from self._tied(task, doses.get(task.order, ()), begins, ends)
        else:
            yield from self._recurring(task, plan, begins, ends)

    def rest(self) -> list[Occurrence]:
        """Return what was done though nothing was planned that it could answer."""
        return [self._besides(fact) for fact in self._open if self._start <= fact.happened]

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

    # A task that comes round again

    def _recurring(self, task: CareTask, plan: Plan, begins: Instant, ends: Instant) -> Iterator[Occurrence]:
        stated = task.last_done.instant if task.last_done is not None else None
        if stated is not None and (self._base is None or stated > self._base):
            self._base = stated
        self._after = max(self._after, Instant(begins - 1))
        if self._pending is None:
            while self._open and self._open[0].happened <= (self._base or NEVER):
                self._open.pop(0)  # it was done before what the plan itself states
        while True:
            if self._pending is not None:
                (coming, planned, known), self._pending = self._pending, None
            else:
                found = self._next(task, plan, self._base, self._after, begins, self._known)
                done_by_then = bool(self._open) and self._open[0].happened < ends
                if not done_by_then and (found is None or found.at >= ends):
                    return
                if found is None:
                    yield self._besides(self._open.pop(0))
                    continue
                coming = found
                planned, known = self._moved(coming)
            answer = self._answer(task, plan, coming, planned, begins, ends)
            if answer is not None:
                self._open.remove(answer)
                before = max(self._after, NEVER if self._base is None or self._base > planned else self._base)
                if coming.fixed and answer.happened - before < planned - answer.happened:
                    # Nearer to the time before than to the day that is fixed: that day stands.
                    yield self._besides(answer)
                    self._base = self._known = max(self._base or NEVER, answer.happened)
                    continue
                yield self._occurrence(coming, planned, answer)
                self._base = self._known = max(self._base or NEVER, answer.happened)
                # What an interval made due is done with; a day that is fixed is, whenever it was done.
                self._after = max(self._after, coming.at if coming.fixed else answer.happened)
                self._count += not coming.fixed
                continue
            if coming.at >= ends:
                return
            if planned >= ends:
                self._pending = coming, planned, known  # the revision after this one has it
                return
            skipped = [fact for fact in self._told.skipped if fact.planned_for in (coming.at, planned)]
            known = max([known, coming.known, *(fact.happened for fact in skipped)])
            yield self._occurrence(coming, planned, None, Outcome.SKIPPED if skipped else None, known)
            self._base = max(self._base or NEVER, planned)
            self._known = known
            self._after = max(self._after, coming.at)
            self._count += not coming.fixed

    def _occurrence(
        self,
        coming: _Next,
        planned: Instant,
        answer: Fact | None,
        outcome: Outcome | None = Outcome.DONE,
        known: Instant = NEVER,
    ) -> Occurrence:
        at = planned if answer is None else answer.happened
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
        for fact in self._told.put_off:
            if fact.planned_for == planned and fact.until is not None:
                planned, known = fact.until, fact.happened
        for begin, end in self._away:
            if not coming.fixed and begin <= planned < end != ENDLESS:
                planned, known = end, end
        return planned, known

    def _answer(
        self, task: CareTask, plan: Plan, coming: _Next, planned: Instant, begins: Instant, ends: Instant
    ) -> Fact | None:
        """Return the doing that answers an occurrence: it is nearer to it than to the one that follows."""
        if planned != coming.at:  # others may come before it
            done = min(self._open, key=lambda fact: abs(fact.happened - planned), default=None)
        else:
            done = self._open[0] if self._open else None
        if done is None or done.happened >= ends:
            return None
        count = self._count
        self._count += not coming.fixed
        base = planned if not coming.fixed else max(self._base or NEVER, planned)
        following = self._next(task, plan, base, max(self._after, coming.at), begins, NEVER)
        self._count = count
        if following is None:
            return done
        if following.at > planned:
            return done if done.happened - planned < following.at - done.happened else None
        return done if abs(done.happened - planned) <= abs(done.happened - following.at) else None

    def _next(
        self, task: CareTask, plan: Plan, base: Instant | None, after: Instant, begins: Instant, known: Instant
    ) -> _Next | None:
        """Return what comes next by whichever rule comes first; ``base`` is when it was last done."""
        options = []
        interval = f"{self._count + 1}"
        if task.every is not None and base is not None:
            options.append(_Next(in_hours(task.every, base, after, begins), interval, False, known))
        if task.every_days is not None and base is not None:
            options.append(_Next(in_days(task, plan, base, after, begins), interval, False, known))
        if task.weekdays is not None and (fixed := on_weekday(task, plan, after)) is not None:
            options.append(_Next(fixed[0], fixed[1].isoformat(), True))
        options += [
            _Next(moment.instant, moment.wall.isoformat(timespec="minutes"), True)
            for moment in task.moments or ()
            if moment.instant > after
        ]
        options += [found for name in task.with_tasks if (found := self._with(name, after)) is not None]
        coming = min(options, key=lambda option: (option.at, not option.fixed, option.key), default=None)
        late = coming is not None and task.last_day is not None and plan.clock.local(coming.at).date() > task.last_day
        return None if late else coming

    def _with(self, name: str, after: Instant) -> _Next | None:
        """Return the next doing of another task; they come in order of time."""
        others = self._others.get(name, ())
        for index in range(bisect_right(others, after, key=lambda entry: entry.at), len(others)):
            other = others[index]
            if other.outcome is not Outcome.SKIPPED:
                return _Next(other.at, f"with/{name}/{other.key}", True, other.known)
        return None

    # A task that is tied to doses

    def _tied(self, task: CareTask, doses: Sequence[Dose], begins: Instant, ends: Instant) -> Iterator[Occurrence]:
        all_of_them = [found for dose in doses if (found := self._of_dose(task, dose)) is not None]
        listed = [entry for entry in all_of_them if begins <= entry.planned < ends]
        answers: dict[str, Fact] = {}
        for fact in [fact for fact in self._open if fact.happened < ends]:
            near = [entry for entry in listed if abs(entry.planned - fact.happened) <= REACH]
            nearest = min(near, key=lambda entry: (abs(entry.planned - fact.happened), entry.planned), default=None)
            if nearest is not None and nearest.key not in answers:
                answers[nearest.key] = fact
                self._open.remove(fact)
        for entry in listed:
            answer = answers.get(entry.key)
            if answer is not None:
                at = answer.happened
                yield replace(entry, at=at, fact=answer, outcome=Outcome.DONE, known=at)
            elif not _dropped(entry):
                yield entry

    def _of_dose(self, task: CareTask, dose: Dose) -> Occurrence | None:
        if task.only_doses is not None and dose.number not in task.only_doses:
            return None
        if task.after_finish is not None:
            if dose.end is None:
                return None
            length = task.after_finish
            at = Instant(dose.end + length)
            moved = [when for when in (dose.started, dose.finished) if when is not None]
            was = {Instant(when + length) for when in (dose.due_end, *(when for when, _ in dose.put_off[1::2])) if when}
        else:
            if dose.extra:
                return None  # nobody could have known
            length = task.before_dose or 0
            # A dose that began early had what belongs before it before that, or not at all.
            at = Instant(min(dose.due, dose.due if dose.started is None else dose.started) - length)
            moved = []
            was = {
                Instant(when - length) for when in (dose.ordered, dose.due, *(when for when, _ in dose.put_off[::2]))
            }
        moved += [since for _, since in dose.put_off]
        known = max(moved, default=NEVER)
        was.add(at)
        for fact in self._told.put_off:
            if fact.planned_for in was and fact.until is not None:
                at, known = fact.until, max(known, fact.happened)
                was.add(at)
        skipped = [fact for fact in self._told.skipped if fact.planned_for in was]
        known = max([known, *(fact.happened for fact in skipped)])
        return Occurrence(
            task=self._name,
            key=tied_key(dose),
            planned=at,
            at=at,
            dose=dose,
            outcome=Outcome.SKIPPED if skipped else None,
            known=known,
        )


def _dropped(entry: Occurrence) -> bool:
    """Say whether the dose that a task is tied to does not take place here; then there is nothing to do for it."""
    dose = entry.dose
    return dose is not None and (dose.state in DROPPED or dose.state is DoseState.ELSEWHERE)


def told_of(facts: Sequence[Fact], near: int) -> Told:
    """Return what the facts about one task say; a doing that a second person reports within ``near`` min is the same."""
    done: list[Fact] = []
    for fact in facts:
        if fact.kind in (Kind.TASK_DONE, Kind.DRAWN) and (not done or fact.happened - done[-1].happened > near):
            done.append(fact)
    return Told(
        tuple(done),
        tuple(fact for fact in facts if fact.kind is Kind.TASK_PUT_OFF),
        tuple(fact for fact in facts if fact.kind is Kind.TASK_SKIPPED),
    )
