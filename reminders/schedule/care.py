"""Care tasks to their occurrences (R20): as the plan times them, and as they were done, put off or skipped.

A task that comes round again is walked along its time: each occurrence follows from when the one before was done, or was
to be done where nobody recorded it (R14), from fixed days, or from whichever comes first. One that is tied to doses has
one occurrence for each of them and moves with it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from reminders.plan.care import CareTask, Instead, TaskKind
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Kind
from reminders.schedule.identity import Identities
from reminders.schedule.in_force import Stretch
from reminders.schedule.model import DROPPED, ENDLESS, NEVER, Dose, DoseState, Outcome, Spans, TaskEvent
from reminders.times import Instant, instant_of


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
    horizon: tuple[Instant, Instant],
) -> dict[str, tuple[Occurrence, ...]]:
    """Return the occurrences of every task from the horizon's start to its end, and what was done in it besides.

    ``doses`` are the doses of each order as they are reckoned with.
    """
    names = dict.fromkeys(name for stretch in reversed(in_force) for name in stretch.plan.tasks)
    found: dict[str, tuple[Occurrence, ...]] = {}

    def add(name: str) -> None:
        if name in found:
            return
        found[name] = ()
        for stretch in in_force:
            task = stretch.plan.tasks.get(name)
            for other in task.with_tasks if task is not None else ():
                add(other)
        walk = _Walk(name, told.get(name, UNTOLD), found, horizon)
        listed = [occurrence for stretch in in_force for occurrence in walk.over(stretch, doses)]
        listed += walk.rest()
        found[name] = tuple(sorted(listed, key=lambda entry: (entry.at, entry.planned, entry.key)))

    for name in names:
        add(name)
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
    """One task, walked along its time through the plans in force."""

    def __init__(
        self,
        name: str,
        told: Told,
        others: Mapping[str, Sequence[Occurrence]],
        horizon: tuple[Instant, Instant],
    ) -> None:
        self._name, self._told, self._others = name, told, others
        self._start, self._end = horizon
        self._open = list(told.done)
        self._base: Instant | None = None  # when it was last done, or was to be done
        self._known = NEVER  # since when that is known
        self._after = NEVER  # what comes next comes after it
        self._count = 0

    def over(self, stretch: Stretch, doses: Mapping[str, Sequence[Dose]]) -> Iterator[Occurrence]:
        """Yield the occurrences of the time in which one plan is in force."""
        task = stretch.plan.tasks.get(self._name)
        begins, ends = max(stretch.begins, self._start), min(stretch.ends, self._end)
        if task is None or begins >= ends:
            return
        if task.order is not None:
            yield from self._tied(task, doses.get(task.order, ()), begins, ends)
        else:
            yield from self._recurring(task, stretch.plan, begins, ends)

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
        while self._open and self._open[0].happened <= (self._base or NEVER):
            self._open.pop(0)  # it was done before what the plan itself states
        while True:
            coming = self._next(task, plan, self._base, self._after, begins, self._known)
            done = self._open[0] if self._open and self._open[0].happened < ends else None
            if done is None and (coming is None or coming.at >= ends):
                return
            if coming is None:
                assert done is not None
                yield self._take(self._besides(self._open.pop(0)), done.happened)
                continue
            planned, known = self._put_off(coming)
            if done is not None and done.happened < self._middle(task, plan, coming, begins):
                self._open.pop(0)
                before = max(self._base or NEVER, self._after)
                if coming.fixed and done.happened - before < planned - done.happened:
                    # Nearer to the time before than to the day that is fixed: that day stands.
                    yield self._take(self._besides(done), done.happened)
                    continue
                yield self._take(
                    self._occurrence(coming, planned, fact=done, outcome=Outcome.DONE), done.happened, coming
                )
                continue
            if planned >= ends and planned != coming.at:
                self._base, self._after, self._known = planned, planned, known  # the next revision has it
                return
            skipped = [fact for fact in self._told.skipped if fact.planned_for in (coming.at, planned)]
            known = max([known, coming.known, *(fact.happened for fact in skipped)])
            yield self._occurrence(coming, planned, outcome=Outcome.SKIPPED if skipped else None, known=known)
            self._base, self._known = planned, known
            self._after = max(coming.at, planned)
            self._count += not coming.fixed

    def _occurrence(
        self,
        coming: _Next,
        planned: Instant,
        *,
        fact: Fact | None = None,
        outcome: Outcome | None = None,
        known: Instant = NEVER,
    ) -> Occurrence:
        at = planned if fact is None else fact.happened
        return Occurrence(
            task=self._name,
            key=coming.key,
            planned=planned,
            at=at,
            fact=fact,
            outcome=outcome,
            known=known if fact is None else at,
        )

    def _take(self, occurrence: Occurrence, done: Instant, coming: _Next | None = None) -> Occurrence:
        """Go on from when the task was done."""
        self._base, self._known = done, done
        if coming is not None:
            # What an interval made due is done with; a day that is fixed is, whenever it was done.
            self._after = max(coming.at, done) if coming.fixed else max(self._after, done)
            self._count += not coming.fixed
        return occurrence

    def _next(
        self, task: CareTask, plan: Plan, base: Instant | None, after: Instant, begins: Instant, known: Instant
    ) -> _Next | None:
        """Return what comes next by whichever rule comes first; ``base`` is when it was last done."""
        options = []
        interval = f"{self._count + 1}"
        if task.every is not None and base is not None:
            options.append(_Next(max(Instant(base + task.every), Instant(after + 1), begins), interval, False, known))
        if task.every_days is not None and base is not None:
            day = plan.clock.local(base).date()
            at = max(_in_days(task, plan, day, after), begins)
            options.append(_Next(at, interval, False, known))
        if task.weekdays is not None:
            fixed = _on_weekday(task, plan, after)
            if fixed is not None:
                options.append(fixed)
        options += [
            _Next(moment.instant, moment.wall.isoformat(timespec="minutes"), True)
            for moment in task.moments or ()
            if moment.instant > after
        ]
        options += [
            _Next(other.at, f"with/{name}/{other.key}", True, other.known)
            for name in task.with_tasks
            for other in self._others.get(name, ())
            if other.at > after and other.outcome is not Outcome.SKIPPED
        ]
        coming = min(options, key=lambda option: (option.at, not option.fixed, option.key), default=None)
        late = coming is not None and task.last_day is not None and plan.clock.local(coming.at).date() > task.last_day
        return None if late else coming

    def _middle(self, task: CareTask, plan: Plan, coming: _Next, begins: Instant) -> Instant:
        """Return up to when a doing answers what comes next, and from when on what comes after it."""
        count = self._count
        self._count += not coming.fixed
        following = self._next(task, plan, coming.at, coming.at, begins, NEVER)
        self._count = count
        return ENDLESS if following is None else Instant((coming.at + following.at + 1) // 2)

    def _put_off(self, coming: _Next) -> tuple[Instant, Instant]:
        """Return when an occurrence is to be done after all, and since when that is known."""
        planned, known = coming.at, NEVER
        for fact in self._told.put_off:
            if fact.planned_for == planned and fact.until is not None:
                planned, known = fact.until, fact.happened
        return planned, known

    # A task that is tied to doses

    def _tied(self, task: CareTask, doses: Sequence[Dose], begins: Instant, ends: Instant) -> Iterator[Occurrence]:
        listed = [found for dose in doses if begins <= dose.ordered < ends and (found := self._of_dose(task, dose))]
        answers: dict[str, Fact] = {}
        for fact in [fact for fact in self._open if fact.happened < ends]:
            free = [entry for entry in listed if entry.key not in answers]
            nearest = min(free, key=lambda entry: (abs(entry.planned - fact.happened), entry.planned), default=None)
            if nearest is not None:
                answers[nearest.key] = fact
                self._open.remove(fact)
        for entry in listed:
            answer = answers.get(entry.key)
            if answer is not None:
                at = answer.happened
                yield replace(entry, at=at, fact=answer, outcome=Outcome.DONE, known=at)
            elif not _dropped(entry) and entry.planned >= self._start:
                yield entry

    def _of_dose(self, task: CareTask, dose: Dose) -> Occurrence | None:
        if task.only_doses is not None and dose.number not in task.only_doses:
            return None
        if task.after_finish is not None:
            if dose.end is None:
                return None
            at = Instant(dose.end + task.after_finish)
        else:
            at = Instant(dose.due - (task.before_dose or 0))
        ran = (dose.started, dose.finished) if task.after_finish is not None else ()
        moved = [when for when in ran if when is not None]
        moved += [since for _, since in dose.put_off]
        known = max(moved, default=NEVER)
        for fact in self._told.put_off:
            if fact.planned_for == at and fact.until is not None:
                at, known = fact.until, fact.happened
        skipped = [fact for fact in self._told.skipped if fact.planned_for == at]
        known = max([known, *(fact.happened for fact in skipped)])
        return Occurrence(
            task=self._name,
            key=dose.key,
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


def _at(task: CareTask, plan: Plan, day: date) -> Instant:
    """Return the task's time of day on a date, on the clock of where the household is then."""
    assert task.at is not None, "a task by the clock without a time of day does not pass the checks"
    wall = datetime.combine(day, task.at)
    at = instant_of(wall, plan.clock.home)[0]
    return instant_of(wall, plan.clock.at(at))[0]


def _possible(task: CareTask, day: date) -> date | None:
    """Return the day on which what is due on a day is done; None for not at all."""
    step = {Instead.BEFORE: -1, Instead.AFTER: 1}.get(task.instead or Instead.NOT, 0)
    while day in task.not_on:
        if not step:
            return None
        day += timedelta(days=step)
    return day


def _in_days(task: CareTask, plan: Plan, day: date, after: Instant) -> Instant:
    """Return when a task is due so many days after ``day``; a day on which it cannot be done moves or drops it."""
    assert task.every_days is not None
    while True:
        day += timedelta(days=task.every_days)
        possible = _possible(task, day)
        if possible is not None:
            return max(_at(task, plan, possible), Instant(after + 1))


def _on_weekday(task: CareTask, plan: Plan, after: Instant) -> _Next | None:
    """Return the first of a task's weekdays after an instant, by its own date, wherever a holiday has moved it."""
    day = plan.clock.local(max(after, plan.course.start.instant)).date() - timedelta(days=7 + len(task.not_on))
    options = []
    for _ in range(2 * (8 + len(task.not_on)) + 7):
        possible = _possible(task, day) if day.weekday() in (task.weekdays or ()) else None
        if possible is not None and (at := _at(task, plan, possible)) > after:
            options.append(_Next(at, day.isoformat(), True))
        day += timedelta(days=1)
    return min(options, key=lambda option: option.at, default=None)


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
