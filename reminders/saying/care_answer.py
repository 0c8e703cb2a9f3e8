"""What a report is answered with about care tasks: whom to ask, and when each of them is due now (R20, R27)."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from reminders.plan.care import CareTask, TaskKind
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Kind
from reminders.saying.phrases import lumen_to_say
from reminders.saying.task_names import spoken
from reminders.schedule.care_now import CareEvent, by_others, by_task, occurrences_of
from reminders.schedule.happened import within
from reminders.schedule.lumen_now import blocked, running_doses
from reminders.schedule.model import Outcome, Schedule, TaskEvent
from reminders.schedule.status import task_window, window
from reminders.times import DAY, Instant
from reminders.units import ago
from reminders.words import CATALOGUE, call_words, clock_beside, clocks_beside, draws_before, lumen_words

_ = CATALOGUE.gettext

SHOWN = 3
"""Occurrences of one task that move are told one by one up to here; the others are counted."""

OF_THE_LINE = frozenset({TaskKind.DRESSING, TaskKind.CONNECTOR, TaskKind.SET, TaskKind.DRAW})
"""What is done to the line or for a laboratory: how long it may wait is not the household's to say."""


def care_advice(fact: Fact, before: Schedule, after: Schedule) -> Iterator[str]:
    """Yield what to do after a fact about a care task or a draw, and whom to ask; nothing where it takes its course."""
    if fact.kind is Kind.DRAWN:
        yield from _about_draw(fact, after)
    if fact.kind not in (Kind.TASK_DONE, Kind.TASK_PUT_OFF, Kind.TASK_SKIPPED):
        return
    task = _task(fact, after)
    if task is None:
        if after.plan.tasks:
            yield _(
                "The plan has no care task {name}: it is recorded as said, and nothing is reckoned from it."
            ).format(name=fact.name)
        return
    if fact.kind is Kind.TASK_DONE and task.kind is TaskKind.DRAW:
        yield from _after_start(task, fact, after)
    if fact.said_by:
        return  # whoever may say so has
    if fact.kind is Kind.TASK_PUT_OFF:
        yield from _about_put_off(fact, task, before, after.plan)
    elif fact.kind is Kind.TASK_SKIPPED and task.kind in OF_THE_LINE:
        yield _("Who said that it may be left out? If nobody did, ask {contact}. It is not made up by itself.").format(
            contact=_contact(after.plan)
        )


def _task(fact: Fact, schedule: Schedule) -> CareTask | None:
    """Return the task that a fact names, as the plan of that time has it or the one in force now."""
    tasks = {**schedule.plan.tasks, **schedule.plan_at(fact.happened).tasks}
    wanted = spoken(fact.name)
    return next((task for task in tasks.values() if wanted in (spoken(task.name), spoken(task.label))), None)


def _contact(plan: Plan) -> str:
    return call_words(plan.contacts.get("next_contact", plan.contacts["now"]))


def _after_start(task: CareTask, fact: Fact, after: Schedule) -> Iterator[str]:
    """A level that belongs before a dose and was drawn after its start is a wrong one."""
    if task.order is None or task.before_dose is None:
        return
    for dose in after.doses[task.order]:
        begun = dose.started
        if (
            begun is not None
            and begun < fact.happened < begun + DAY // 2
            and task in draws_before(dose, after.plan_at(begun))
        ):
            yield _(
                "It was drawn {late} after {drug} was started, and belongs before it. Tell whoever takes the blood, and call {now} "
                "before anybody goes by the result."
            ).format(
                late=ago(fact.happened - begun),
                drug=after.plan_at(begun).orders[dose.order].drug,
                now=call_words(after.plan.contacts["now"]),
            )


def _about_draw(fact: Fact, after: Schedule) -> Iterator[str]:
    """A draw from a lumen that must not be used, or in which something runs that was stopped for it (S1, S9)."""
    plan, call = after.plan, call_words(after.plan.contacts["now"])
    if blocked(fact.lumen, after, fact.happened):
        yield _("The {lumen} must not be used. It is recorded. Call {now}.").format(
            lumen=lumen_words(plan, fact.lumen), now=call
        )
        return
    drawn = next((t for t in after.touches if t.lumen == fact.lumen and t.at == fact.happened and t.tasks), None)
    if drawn is not None and drawn.outstanding and by_others(drawn):
        yield _("Did whoever drew it flush it too? Then say so:  flushed {lumen}").format(
            lumen=lumen_to_say(fact.lumen, plan)
        )
    for dose in running_doses(fact.lumen, after):
        if dose.start < fact.happened and not within(dose.pauses, fact.happened):
            yield _(
                "{drug} runs in this lumen. Was it stopped for the draw? Let it run again; if it does not, call {now}."
            ).format(drug=plan.orders[dose.order].drug, now=call)


def _about_put_off(fact: Fact, task: CareTask, before: Schedule, plan: Plan) -> Iterator[str]:
    event = next((found for found in occurrences_of(before, task.name) if found.planned == fact.planned_for), None)
    if event is None or fact.until is None:
        return
    day = plan.clock.local(fact.happened).date()
    dose = event.dose if isinstance(event, TaskEvent) or task.order is not None else None
    if dose is not None and task.before_dose is not None and fact.until >= dose.due:
        yield _("That is not before {drug} is due, {at}. Ask {now} first.").format(
            drug=plan.orders[dose.order].drug,
            at=clock_beside(plan, dose.due, day),
            now=call_words(plan.contacts["now"]),
        )
    elif task.kind in OF_THE_LINE and fact.until > _closes(event):
        yield _("That is later than the plan says: {last} at the latest. If nobody said so, ask {contact}.").format(
            last=clock_beside(plan, _closes(event), day), contact=_contact(plan)
        )


def _closes(event: CareEvent) -> Instant:
    return (task_window(event) if isinstance(event, TaskEvent) else window(event))[1]


# What changed ahead


def care_changes(before: Schedule, after: Schedule, now: Instant, facts: Iterable[Fact] = ()) -> list[str]:
    """Return what has changed ahead of the care tasks, each with what it was; of those that ``facts`` say were done, when
    they are due next. What changes about draws through a lumen is said of that lumen."""
    day = after.plan.clock.local(now).date()
    reported = dict.fromkeys(name for fact in facts for name in _done_by(fact, after))
    was, now_is = by_task(before), by_task(after)
    lines: list[str] = []
    for name in dict.fromkeys([*reported, *after.plan.tasks, *was]):
        if name in reported:
            lines += _next(name, before, after, now, day)
        else:
            lines += _moved(was.get(name, ()), now_is.get(name, ()), after, now, day)
    return lines


def _done_by(fact: Fact, schedule: Schedule) -> list[str]:
    """Return the tasks that a fact says were done."""
    if fact.kind is Kind.TASK_DONE:
        task = _task(fact, schedule)
        return [] if task is None else [task.name]
    if fact.kind is not Kind.DRAWN:
        return []
    drawn = [touch for touch in schedule.touches if touch.lumen == fact.lumen and touch.at == fact.happened]
    return [name for touch in drawn if touch.outcome is Outcome.DONE for name in touch.tasks]


def _next(name: str, before: Schedule, after: Schedule, now: Instant, day: date) -> Iterator[str]:
    """Say when a task that was done is due next, and when it would have been: by the plan until then."""
    whole = occurrences_of(after, name)
    answered = {event.uid for event in whole if event.outcome is Outcome.DONE}
    ahead = [event for event in whole if event.outcome is None and event.planned > now]
    if not ahead:
        label = next((event.plan.tasks[name].label for event in reversed(whole)), name)
        if name in after.plan.tasks:
            yield _("No more of it is planned: {label}.").format(label=label)
        return
    old = [event for event in occurrences_of(before, name) if event.outcome is None]
    # What was done before its time is what would have come next; what was done in its time, or late, is done with.
    early = [event for event in old if event.uid in answered and _opens(event) > _done_at(event, whole)]
    later = [event for event in old if event.uid not in answered and event.planned > now]
    would_have = next(iter([*early, *later]), None)
    at = _moved_to(ahead[0].planned, None if would_have is None else would_have.planned, after.plan, day)
    yield _("Next: {label}, {at}.").format(label=ahead[0].plan.tasks[name].label, at=at)


def _opens(event: CareEvent) -> Instant:
    return (task_window(event) if isinstance(event, TaskEvent) else window(event))[0]


def _done_at(event: CareEvent, whole: Sequence[CareEvent]) -> Instant:
    return next(found.at for found in whole if found.uid == event.uid)


def _moved_to(at: Instant, was: Instant | None, plan: Plan, day: date) -> str:
    """Write when something is now, and when it was to be where that is another time; both with their days, or neither."""
    if was is None or was == at:
        return clock_beside(plan, at, day)
    now_is, before = clocks_beside(plan, (at, was), day)
    return _("{at} (was {was})").format(at=now_is, was=before)


def _moved(
    was: Sequence[TaskEvent], now_is: Sequence[TaskEvent], after: Schedule, now: Instant, day: date
) -> Iterator[str]:
    """Say what else changed about one task: its next time, or later ones that go with a dose, or with another task."""
    plan = after.plan
    old = [event for event in was if event.outcome is None and event.at >= now]
    new = [event for event in now_is if event.outcome is None and event.at >= now]
    label = next((event.care.label for event in (*new, *old)), "")
    if not new:
        if old:
            yield _("No longer planned: {label}, {at}{more}.").format(
                label=label, at=clock_beside(plan, old[0].at, day), more=_more(len(old) - 1)
            )
        return
    if not old:
        yield _("New: {label}, {at}{more}.").format(
            label=label, at=clock_beside(plan, new[0].at, day), more=_more(len(new) - 1)
        )
        return
    stood = {event.uid: event.at for event in was if event.outcome is None}
    before = stood.get(new[0].uid, new[0].at)  # it may have waited since
    if old[0].at != new[0].at or before != new[0].at:
        before = old[0].at if before == new[0].at else before
        yield _("Next: {label}, {at}.").format(label=label, at=_moved_to(new[0].at, before, plan, day))
        return
    moved = [event for event in new if stood.get(event.uid, event.at) != event.at]
    for event in moved[:SHOWN]:
        yield _("{label} moves to {at}.").format(label=label, at=_moved_to(event.at, stood[event.uid], plan, day))
    if len(moved) > SHOWN:
        yield _("{count} more move with it.").format(count=len(moved) - SHOWN)


def _more(count: int) -> str:
    return _(", and {count} more after it").format(count=count) if count > 0 else ""
