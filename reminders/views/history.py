"""What was planned and what was recorded, up to now: the report for the nurse's next visit (R13, R14, R18).

Unconfirmed is not done, and is never counted so: an event has an actual time only where somebody recorded it.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import Enum

from reminders.care_words import doer_words, recorded_task_words
from reminders.event_words import ask_words, flushed_late
from reminders.fact_words import what_happened
from reminders.plan.care import Doer
from reminders.plan.model import Plan
from reminders.plan.order import GivenAs
from reminders.record.facts import Fact, Kind, Record
from reminders.schedule.model import DoseState, Outcome, Schedule, Status, TaskEvent, Touch, TouchKind
from reminders.schedule.status import status, task_status
from reminders.times import Instant
from reminders.views.history_orders import OrderTotals, order_totals
from reminders.views.history_tasks import TaskTotals, task_totals
from reminders.views.idle_times import LumenIdle, idle_times
from reminders.words import CATALOGUE, clock_beside, note_words, reason_words, what_words

_ = CATALOGUE.gettext


class Sort(Enum):
    """What a row tells: an event of the schedule, a fact that is none, or a fact that was taken back."""

    EVENT = "event"
    FACT = "fact"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the list.

    ``at`` is where it stands: when it happened, or was planned. ``what`` says what it is. An event has a ``status``,
    and ``planned``; with a dose that starts, ``ordered``: what the order said before anybody put it off. ``actual`` is
    when it happened by what is recorded, None where nothing is; ``late`` the minutes from the ordered moment (of a
    dose that starts; else the planned one) to that, less than zero for early. ``flushed`` is when its flush was
    recorded, where that was another moment; ``outstanding``: it is finished or drawn, and its flush is not recorded;
    ``flushed_late``: it was done in its window, and only its flush after that. ``stopped``: the infusion was stopped early. ``entered`` is when the last fact about it was entered. ``by`` names the
    reporters. ``why`` says why it stood where it stood. ``kind`` is that of a fact. ``task`` is the care task that it is
    foremost about, by its name in the plan; one that is no draw through a lumen has no ``lumen``.
    """

    sort: Sort
    at: Instant
    what: str
    lumen: str = ""
    order: str = ""
    dose: str = ""
    task: str = ""
    uid: str = ""
    status: Status | None = None
    kind: Kind | None = None
    ordered: Instant | None = None
    planned: Instant | None = None
    actual: Instant | None = None
    late: int | None = None
    flushed: Instant | None = None
    entered: Instant | None = None
    flushed_late: bool = False
    outstanding: bool = False
    stopped: bool = False
    by: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """The report: its rows in order of time, and the totals by order, care task and lumen.

    It is of the local days from ``first`` to ``last``, as of ``now``; ``plan`` is the one in force at its end.
    """

    plan: Plan
    zone_data: str
    first: date
    last: date
    now: Instant
    rows: tuple[Row, ...]
    orders: tuple[OrderTotals, ...]
    tasks: tuple[TaskTotals, ...]
    lumens: tuple[LumenIdle, ...]


def history(schedule: Schedule, record: Record, first: date, last: date, now: Instant) -> History:
    """Return what was planned and recorded on the local days from ``first`` to ``last``, both included, up to ``now``.

    ``schedule`` is compiled with ``record``.
    """
    plan = schedule.plan
    begins = plan.clock.day_starts(first, first)[0][1]
    following = last + timedelta(days=1)
    ends = plan.clock.day_starts(following, following)[0][1]
    answers = _Answers(record, schedule)
    rows = [
        _event(touch, schedule, now, answers)
        for touch in schedule.touches
        if begins <= touch.at < ends and (touch.at <= now or touch.outcome is Outcome.DONE)
    ]
    rows += [
        _task(event, schedule, now, answers)
        for event in schedule.tasks
        if begins <= event.at < ends and (event.at <= now or event.outcome is Outcome.DONE)
    ]
    rows += [
        _fact(fact, schedule)
        for fact in record.standing
        if begins <= fact.happened < ends and fact.kind is not Kind.PUBLISHED and fact.key not in answers.told
    ]
    rows += [row for row in _withdrawn(record, schedule) if begins <= row.at < ends]
    names = [*dict.fromkeys([*schedule.doses, *plan.orders])]
    return History(
        plan=plan,
        zone_data=schedule.zone_data,
        first=first,
        last=last,
        now=now,
        rows=tuple(sorted(rows, key=lambda row: (row.at, row.sort is not Sort.EVENT))),
        orders=tuple(totals for name in names for totals in order_totals(name, schedule, begins, ends, now, record)),
        tasks=task_totals(schedule, begins, ends, now),
        lumens=idle_times(schedule, record, begins, ends, now),
    )


ANSWERS = frozenset(
    {
        Kind.STARTED,
        Kind.FINISHED,
        Kind.STOPPED,
        Kind.BAG_CHANGED,
        Kind.DRAWN,
        Kind.FLUSHED,
        Kind.SKIPPED,
        Kind.NOT_GIVEN,
        Kind.TASK_DONE,
        Kind.TASK_SKIPPED,
    }
)
"""Facts that say what became of an event. What of them belongs to no event that is shown has a row of its own."""


class _Answers:
    """Which facts answer which event; ``told`` are the keys of those that a row has shown."""

    def __init__(self, record: Record, schedule: Schedule) -> None:
        self.told: set[str] = set()
        self._of_task: dict[str, list[Fact]] = defaultdict(list)
        tasks = {name: task for _begins, plan in schedule.plans for name, task in plan.tasks.items()}
        called = {word.casefold(): name for name, task in tasks.items() for word in (task.label, name)}
        self._of_dose: dict[tuple[str, str], list[Fact]] = defaultdict(list)
        self._of_lumen: dict[str, list[Fact]] = defaultdict(list)
        self.held = record.of_kind(Kind.HELD)
        for fact in record.standing:
            if fact.kind in (Kind.TASK_DONE, Kind.TASK_SKIPPED):
                self._of_task[called.get(fact.name.casefold(), "")].append(fact)
            elif fact.kind in ANSWERS and fact.order:
                self._of_dose[fact.order, fact.dose].append(fact)
            elif fact.kind in ANSWERS:
                self._of_lumen[fact.lumen].append(fact)

    def of(self, touch: Touch) -> list[Fact]:
        """Return the facts about a touch, in the order in which they happened, and keep in mind that they are shown."""
        found = [fact for fact in self._of_lumen[touch.lumen] if _of_touch(fact, touch)]
        for dose in touch.starts:
            pushed = touch.plan.orders[dose.order].given_as is GivenAs.PUSH
            kinds = {Kind.STARTED, Kind.SKIPPED, Kind.NOT_GIVEN}
            if pushed or dose.state is DoseState.ELSEWHERE:  # no event of its own for the finish
                kinds |= {Kind.FINISHED, Kind.STOPPED}
            found += [fact for fact in self._of_dose[dose.order, dose.key] if fact.kind in kinds]
        for dose in touch.ends:
            kinds = {Kind.FINISHED, Kind.STOPPED}
            found += [fact for fact in self._of_dose[dose.order, dose.key] if fact.kind in kinds]
        for dose in touch.bags:
            told = self._of_dose[dose.order, dose.key]
            found += [fact for fact in told if fact.kind is Kind.BAG_CHANGED and fact.happened == touch.at]
        for name in touch.tasks:
            found += [fact for fact in self._of_task[name] if _of_task(fact, touch)]
        return self._shown(found)

    def of_task(self, event: TaskEvent) -> list[Fact]:
        """Return the same of a care task."""
        return self._shown(fact for fact in self._of_task[event.task] if _of_task(fact, event))

    def _shown(self, found: Iterable[Fact]) -> list[Fact]:
        facts = {fact.key: fact for fact in found}
        self.told |= set(facts)
        return sorted(facts.values(), key=lambda fact: (fact.happened, fact.key))


def _of_touch(fact: Fact, touch: Touch) -> bool:
    """Say whether a fact about a lumen is about one of its touches."""
    if fact.kind is Kind.SKIPPED:
        skipped = touch.kind is TouchKind.IDLE_FLUSH and touch.outcome is Outcome.SKIPPED
        return skipped and fact.planned_for is not None and abs(fact.planned_for - touch.planned) <= 1
    if touch.outcome is not Outcome.DONE:
        return False
    if fact.kind is Kind.DRAWN:
        return touch.kind is TouchKind.DRAW and fact.happened == touch.at
    return not touch.outstanding and fact.happened == (touch.flushed or touch.at)


def _of_task(fact: Fact, event: Touch | TaskEvent) -> bool:
    """Say whether a fact about a care task is about one of its occurrences; who says it soon after says the same."""
    if fact.kind is Kind.TASK_SKIPPED:
        return event.outcome is Outcome.SKIPPED and fact.planned_for == event.planned
    return event.outcome is Outcome.DONE and 0 <= fact.happened - event.at <= event.plan.course.handling_time


def _event(touch: Touch, schedule: Schedule, now: Instant, answers: _Answers) -> Row:
    facts = answers.of(touch)
    dose = touch.dose
    actual = _actual(touch)
    starting = touch.starts[0] if touch.starts else None
    meant = touch.planned if starting is None else starting.ordered
    besides = (starting is not None and starting.extra) or _unplanned(touch)
    reporters = [fact.by for fact in facts]
    if touch.outcome is Outcome.HELD:
        reporters += [fact.by for fact in _holding(touch, answers.held)]
    return Row(
        sort=Sort.EVENT,
        at=touch.at,
        what=what_words(touch, touch.plan),
        lumen=touch.lumen,
        order=dose.order if dose else "",
        dose=dose.key if dose else "",
        task=next(iter(touch.tasks), ""),
        uid=touch.uid,
        status=status(touch, schedule, now),
        ordered=None if starting is None or starting.extra else starting.ordered,
        planned=None if besides else touch.planned,
        actual=actual,
        late=None if actual is None or besides else actual - meant,
        flushed=touch.flushed if touch.flushed != actual else None,
        entered=max((fact.entered for fact in facts), default=None),
        flushed_late=flushed_late(touch),
        outstanding=touch.outstanding,
        stopped=any(fact.kind is Kind.STOPPED for fact in facts),
        by=tuple(dict.fromkeys(name for name in reporters if name)),
        notes=(*_said(touch, schedule), *_details(touch, facts, schedule)),
        why=reason_words(touch, touch.plan),
    )


def _task(event: TaskEvent, schedule: Schedule, now: Instant, answers: _Answers) -> Row:
    facts, plan = answers.of_task(event), schedule.plan
    day = plan.clock.local(event.at).date()
    done = event.outcome is Outcome.DONE
    notes = []
    if event.outcome is None and event.care.done_by is not Doer.HOUSEHOLD:
        notes.append(doer_words(event.care))
    if event.outcome is Outcome.HELD:
        notes.append(recorded_task_words(event, day))
    if event.besides:
        notes.append(_("None was planned then."))
    for fact in facts:
        if fact.happened != event.at:
            at = clock_beside(plan, fact.happened, day)
            notes.append(_("{at}: {what}.").format(at=at, what=what_happened(fact, schedule)))
        notes += _remarks(fact)
    return Row(
        sort=Sort.EVENT,
        at=event.at,
        what=event.care.label,
        order=event.dose.order if event.dose else "",
        dose=event.dose.key if event.dose else "",
        task=event.task,
        uid=event.uid,
        status=task_status(event, schedule, now),
        planned=None if event.besides else event.planned,
        actual=event.at if done else None,
        late=event.at - event.planned if done and not event.besides else None,
        entered=max((fact.entered for fact in facts), default=None),
        by=tuple(dict.fromkeys(fact.by for fact in facts if fact.by)),
        notes=tuple(dict.fromkeys(notes)),
    )


def _unplanned(touch: Touch) -> bool:
    """Say whether it is a draw that nobody planned, or a flush that was recorded and answers no planned one."""
    if touch.kind is TouchKind.DRAW:
        return not touch.tasks
    return touch.kind is TouchKind.IDLE_FLUSH and touch.outcome is Outcome.DONE and touch.reason.deadline is None


def _actual(touch: Touch) -> Instant | None:
    """Return when a touch happened, as recorded; None for a start of which only the finish is recorded."""
    if touch.outcome is not Outcome.DONE or any(dose.started is None for dose in touch.starts):
        return None
    return touch.at


def _holding(touch: Touch, held: Iterable[Fact]) -> list[Fact]:
    orders = {"", *(dose.order for dose in touch.starts)}
    return [fact for fact in held if fact.order in orders and fact.happened <= touch.planned][-1:]


def _said(touch: Touch, schedule: Schedule) -> list[str]:
    """Say what the record leaves open about an event, or says beside its moment."""
    plan = schedule.plan
    day = plan.clock.local(touch.at).date()
    lines = []
    if touch.outstanding:
        lines.append(_("Its flush is not recorded."))
    elif touch.flushed is not None:
        lines.append(_("Its flush was recorded at {flushed}.").format(flushed=clock_beside(plan, touch.flushed, day)))
    for dose in touch.starts:
        drug = touch.plan.orders[dose.order].drug
        if dose.due != dose.ordered and not dose.extra:
            ordered = clock_beside(plan, dose.ordered, day)
            lines.append(_("{drug} was ordered for {ordered}.").format(drug=drug, ordered=ordered))
        if dose.started is None and dose.finished is not None:
            lines.append(_("The finish of {drug} is recorded, its start is not.").format(drug=drug))
        if dose.extra:
            lines.append(_("{drug} was given besides the scheduled doses.").format(drug=drug))
    for dose in touch.ends:
        if dose.finished is None and touch.outcome is Outcome.DONE:
            drug = touch.plan.orders[dose.order].drug
            lines.append(_("The finish of {drug} is not recorded.").format(drug=drug))
    if touch.outcome is None:
        lines += [_("Recorded: {what}").format(what=what) for what in _parts(touch)]
        lines += [ask_words(ask, plan, day) for ask in touch.asks]
    return lines


def _parts(touch: Touch) -> list[str]:
    """Say what is recorded of a touch that is not recorded as a whole."""
    orders = touch.plan.orders
    ended = [orders[dose.order].drug for dose in touch.ends if dose.finished is not None]
    begun = [orders[dose.order].drug for dose in touch.starts if dose.started is not None]
    finished = [_("{drug} finished.").format(drug=drug) for drug in ended]
    return [*finished, *(_("{drug} was started.").format(drug=drug) for drug in begun)]


def _details(touch: Touch, facts: Iterable[Fact], schedule: Schedule) -> list[str]:
    """Say what the facts about an event tell besides that it was done; one of another moment is told with its own."""
    plan, lines = schedule.plan, []
    day = plan.clock.local(touch.at).date()
    shown = {touch.at, touch.flushed}
    for fact in facts:
        elsewhen = fact.happened not in shown or (fact.kind is Kind.NOT_GIVEN and touch.outcome is Outcome.DONE)
        if elsewhen:
            at = clock_beside(plan, fact.happened, day)
            lines.append(_("{at}: {what}.").format(at=at, what=what_happened(fact, schedule)))
        elif fact.kind is Kind.STOPPED or _tells_more(fact):
            lines.append(_("{what}.").format(what=what_happened(fact, schedule)))
        lines += _remarks(fact)
    return list(dict.fromkeys(lines))


def _tells_more(fact: Fact) -> bool:
    return bool(fact.lumen and fact.order) or bool(
        fact.fluids or fact.volume or fact.sign or fact.elsewhere or fact.again
    )


def _remarks(fact: Fact) -> list[str]:
    """Say on whose word a fact was entered, and its note."""
    said = [_("As {name} said.").format(name=fact.said_by)] if fact.said_by else []
    return [*said, *([note_words(fact.note)] if fact.note else [])]


def _fact(fact: Fact, schedule: Schedule, sort: Sort = Sort.FACT) -> Row:
    return Row(
        sort=sort,
        at=fact.happened,
        what=what_happened(fact, schedule),
        lumen=fact.lumen,
        order=fact.order,
        dose=fact.dose,
        kind=fact.kind,
        actual=fact.happened if sort is Sort.FACT else None,
        entered=fact.entered,
        by=(fact.by,) if fact.by else (),
        notes=tuple(_remarks(fact)),
    )


def _withdrawn(record: Record, schedule: Schedule) -> list[Row]:
    """Return a row for each fact that was taken back, where it stood, saying who took it back and when."""
    facts = {fact.key: fact for fact in record.facts}
    plan, rows = schedule.plan, []
    for fact in record.facts:
        target = facts.get(fact.withdraws) if fact.kind is Kind.WITHDRAWN else None
        if fact.kind is not Kind.WITHDRAWN or (target is not None and target.kind is Kind.PUBLISHED):
            continue
        if target is None:
            rows.append(_fact(fact, schedule, Sort.WITHDRAWN))
            continue
        row = _fact(target, schedule, Sort.WITHDRAWN)
        when = clock_beside(plan, fact.entered, plan.clock.local(target.happened).date())
        said = _("Taken back at {when} by {who}.") if fact.by else _("Taken back at {when}.")
        taken = said.format(when=when, who=fact.by)
        rows.append(replace(row, notes=(*row.notes, taken, *_remarks(fact))))
    return rows
