"""What is said of care tasks into facts: done, put off to another time, not to be done; draws through a lumen (R20).

Tasks are matched to those of the plan. Which task, or which of its times, is asked back where that is unclear; a task that
no plan names is recorded as it was said.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from reminders.plan.care import CareTask
from reminders.record.facts import Fact, Kind, Record
from reminders.saying.task_names import spoken, tasks_meant, tasks_near
from reminders.saying.which import AskBackError, Choice, Which
from reminders.schedule.care import through_lumen
from reminders.schedule.care_now import CareEvent, care_status, occurrences_of
from reminders.schedule.model import ENDLESS, Outcome, Status, TaskEvent, Touch, TouchKind
from reminders.times import HOUR, Instant
from reminders.words import CATALOGUE, day_words

_ = CATALOGUE.gettext

AGAIN_WITHIN = 12 * HOUR
"""So near to a doing that is recorded, another one may be the same, reported by somebody else; in minutes."""

OPEN = frozenset({Status.DUE, Status.OVERDUE})

Told = list[dict[str, Any]]


def task_done(which: Which, record: Record, fluids: Mapping[str, Any]) -> Told:
    """Return the facts that a care task was done; of a draw through a lumen also that blood was drawn, and its flush if said.

    Raises:
        AskBackError: it is unclear which task is meant, or it was reported before.
    """
    said, name = which.said, task_named(which)
    if name is None:
        return [{"kind": Kind.TASK_DONE, "name": said.name, **_lumen(said.lumen)}]
    task = tasks_of(which)[name]
    again = _reported_before(name, task.label, which, record)
    if again is not None:
        return _flush_of(again, which, fluids)
    if not through_lumen(task):
        return [{"kind": Kind.TASK_DONE, "name": name, **_lumen(said.lumen)}]
    return [{"kind": Kind.TASK_DONE, "name": name}, *drawn_through(said.lumen or task.lumen or "", which, fluids)]


def drawn(which: Which, record: Record, fluids: Mapping[str, Any]) -> Told:
    """Return the facts that blood was drawn through a lumen, whether it was planned or not.

    Raises:
        AskBackError: it is unclear through which, or it was the planned draw, which was reported before.
    """
    lumen = which.lumen()
    done = [
        touch
        for touch in which.schedule.touches
        if touch.lumen == lumen and touch.kind is TouchKind.DRAW and touch.tasks and touch.outcome is Outcome.DONE
    ]
    near = min(done, key=lambda touch: abs(touch.at - which.at), default=None)
    if near is not None:
        name = near.tasks[0]
        again = _reported_before(name, near.plan.tasks[name].label, which, record)
        if again is not None:
            return _flush_of(again, which, fluids)
    return drawn_through(lumen, which, fluids)


def drawn_through(lumen: str, which: Which, fluids: Mapping[str, Any]) -> Told:
    """Return the facts of a draw through a lumen; its flush only if somebody says that it was flushed."""
    told: Told = [{"kind": Kind.DRAWN, "lumen": lumen}]
    if which.said.flushed:
        told.append({"kind": Kind.FLUSHED, "lumen": lumen, **fluids})
    return told


def put_off(which: Which, until: Instant) -> Told:
    """Return the facts that an occurrence of a task is put off, or moved forward, to another time.

    Raises:
        AskBackError: it is unclear which task or which of its times is meant, or none is planned.
    """
    name = _known(which)
    found = _open_or_next(name, which)
    if which.said.event:
        meant = _of_event(which, found)
    else:
        if any(event.planned == until for event in found):
            return []  # it stands there already
        before = [event for event in found if event.planned < until]
        if len(before) > 1 and _each_by_itself(before, which):
            raise AskBackError(
                _("Which one is put off: {label}?").format(label=tasks_of(which)[name].label), _choices(before, which)
            )
        meant = (before or found)[0]
    if meant.planned == until:
        return []
    return [{"kind": Kind.TASK_PUT_OFF, "name": name, "planned_for": meant.planned, "until": until}]


def left_out(which: Which, record: Record, day: date | None = None) -> Told:
    """Return the facts that an occurrence of a task is not to be done: of a day, else the one that waits, else the next.

    Raises:
        AskBackError: it is unclear which task or which of its times is meant, none is planned, or it was said before.
    """
    name = _known(which)
    found = _open_or_next(name, which)
    if which.said.event:
        meant = _of_event(which, found)
    else:
        found = _of_day(day, found, name, which)
        open_now = [event for event in found if care_status(event, which.schedule, which.now) in OPEN]
        if len(open_now) > 1:
            raise AskBackError(
                _("Which one is left out: {label}?").format(label=tasks_of(which)[name].label),
                _choices(open_now, which),
            )
        meant = (open_now or found)[0]
        _ask_whether_said(name, meant, which, record)
    return [{"kind": Kind.TASK_SKIPPED, "name": name, "planned_for": meant.planned}]


# Which task


def tasks_of(which: Which) -> Mapping[str, CareTask]:
    """Return the tasks that can be meant: of the plan at the moment that was said, and of the one in force now."""
    return {**which.schedule.plan.tasks, **which.plan.tasks}


def task_named(which: Which) -> str | None:
    """Return the task of the plan that is meant; None for one that no plan names, which is meant as it was said.

    Raises:
        AskBackError: more than one can be meant, or one that is called much like it.
    """
    said, tasks = which.said, tasks_of(which)
    if said.name in tasks:
        return said.name
    _fit, names = tasks_meant(said.name, tasks)
    if len(names) == 1:
        return names[0]
    if said.as_said:
        return None
    near = names or tasks_near(said.name, tasks)
    if not near:
        return None
    as_said = []
    if not names:
        words = _("None that the plan names: record it as said.")
        as_said = [Choice(words, f'--task "{said.name}"', {"name": said.name, "as_said": True})]
    raise AskBackError(
        _('Which care task is "{name}"?').format(name=said.name),
        [*(Choice(tasks[name].label, f"--task {name}", {"name": name}) for name in near), *as_said],
    )


def _known(which: Which) -> str:
    """Return the task of the plan that is meant, where no other will do."""
    name = task_named(which)
    if name is None:
        known = ", ".join(task.label for task in tasks_of(which).values()) or _("none")
        raise AskBackError(
            _('"{name}" names no care task of this plan. They are: {known}.').format(name=which.said.name, known=known)
        )
    return name


def _lumen(name: str) -> dict[str, str]:
    return {"lumen": name} if name else {}


# Which of its times


def _open_or_next(name: str, which: Which) -> list[CareEvent]:
    """Return the occurrences of a task that wait now, and those that come, in order of time; asks back if there is none."""
    waits: list[CareEvent] = []
    for event in occurrences_of(which.schedule, name):
        if event.outcome is None:
            how = care_status(event, which.schedule, which.now)
            if how in OPEN or (how is Status.PLANNED and event.planned > which.now):
                waits.append(event)
    if not waits:
        label = tasks_of(which)[name].label
        raise AskBackError(_("No time is planned for: {label}. So none can be moved or left out.").format(label=label))
    return waits


def _of_event(which: Which, found: Iterable[CareEvent]) -> CareEvent:
    """Return the occurrence that was named."""
    named = next((event for event in found if event.uid.startswith(which.said.event)), None)
    if named is None:
        raise AskBackError(_("That time of it is over, or was recorded meanwhile. Look again, and say it once more."))
    return named


def _of_day(day: date | None, found: list[CareEvent], name: str, which: Which) -> list[CareEvent]:
    """Return the occurrences of a day; all of them where none was said."""
    of_day = [event for event in found if day in (None, which.clock.local(event.planned).date())]
    if day is not None and not of_day:
        said = _("{label}: none is planned for {day}. Which one is left out?")
        raise AskBackError(said.format(day=day_words(day), label=tasks_of(which)[name].label), _choices(found, which))
    return of_day


def _each_by_itself(events: Sequence[CareEvent], which: Which) -> bool:
    """Say whether the later ones stand whatever becomes of the first: what counts from the last doing moves with it."""
    names = {task for event in events for task in _tasks(event)}
    tasks = [tasks_of(which)[name] for name in names if name in tasks_of(which)]
    return any(task.order or task.weekdays or task.moments or task.with_tasks for task in tasks)


def _tasks(event: CareEvent) -> tuple[str, ...]:
    return (event.task,) if isinstance(event, TaskEvent) else event.tasks


def _choices(events: Sequence[CareEvent], which: Which) -> list[Choice]:
    return [
        Choice(
            _("the one of {planned}").format(planned=which.shown(event.planned)),
            f"--event {event.uid[:8]}",
            {"event": event.uid},
        )
        for event in events[:SHOWN]
    ]


SHOWN = 5
"""So many times of one task are offered where it is unclear which is meant."""


# Said before


def _reported_before(name: str, label: str, which: Which, record: Record) -> CareEvent | None:
    """Return the doing that says the same, of this minute; ask about one that may be the same, reported by another."""
    if which.said.again:
        return None
    found = occurrences_of(which.schedule, name)
    done = [event for event in found if event.outcome is Outcome.DONE]
    near = min(done, key=lambda event: abs(event.at - which.at), default=None)
    if near is None:
        return None
    apart = abs(near.at - which.at)
    to_come = min((abs(event.planned - which.at) for event in found if event.outcome is None), default=ENDLESS)
    if apart > min(AGAIN_WITHIN, to_come):
        return None
    if apart == 0 or (which.said.flushed and not isinstance(near, TaskEvent) and near.outstanding):
        return near
    raise AskBackError(
        _("{label}: this was already reported as done{who}, at {at}.").format(
            label=label, who=_by_whom(near, record), at=which.shown(near.at)
        ),
        [
            Choice(_("It is the same: nothing to record."), "", settles=True),
            Choice(_("It was done a second time."), "--again", {"again": True}),
        ],
    )


def _flush_of(again: CareEvent, which: Which, fluids: Mapping[str, Any]) -> Told:
    """Return what is left to record of a draw that was reported before: its flush, if that is said and still outstanding."""
    if isinstance(again, TaskEvent) or not (which.said.flushed and again.outstanding):
        return []
    return [{"kind": Kind.FLUSHED, "lumen": again.lumen, **fluids}]


def _by_whom(event: CareEvent, record: Record) -> str:
    called = {spoken(text) for name in _tasks(event) for text in (name, event.plan.tasks[name].label)}
    for fact in record.of_kind(Kind.TASK_DONE, Kind.DRAWN):
        of_it = fact.lumen == event.lumen if isinstance(event, Touch) and fact.lumen else spoken(fact.name) in called
        if of_it and fact.happened == event.at and fact.by:
            return _who(fact)
    return ""


def _who(fact: Fact) -> str:
    return _(" by {name}").format(name=fact.by) if fact.by else ""


def _ask_whether_said(name: str, meant: CareEvent, which: Which, record: Record) -> None:
    """Two people say that a time is left out: the second one must not leave out the next."""
    for fact in reversed(record.of_kind(Kind.TASK_SKIPPED)):
        if fact.name != name or fact.planned_for is None or which.now - fact.happened > AGAIN_WITHIN:
            continue
        raise AskBackError(
            _("{label}: that the one of {planned} is not to be done was already reported{who}.").format(
                label=tasks_of(which)[name].label, planned=which.shown(fact.planned_for), who=_who(fact)
            ),
            [
                Choice(_("It is the same: nothing to record."), "", settles=True),
                Choice(
                    _("The one of {planned} is left out too.").format(planned=which.shown(meant.planned)),
                    f"--event {meant.uid[:8]}",
                    {"event": meant.uid},
                ),
            ],
        )
