"""``done``: what waits to be done now, done as it is planned; ``given`` says it of a dose, and not of its flush.

Care tasks that wait are among it, also those that a nurse does: the household knows whether she was there.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from reminders.record.facts import Kind
from reminders.saying.phrases import Said
from reminders.saying.which import AskBackError, Choice, Which
from reminders.schedule.care_now import care_now
from reminders.schedule.model import Outcome, TaskEvent, Touch, TouchKind
from reminders.times import HOUR
from reminders.words import CATALOGUE, lumen_words, what_words

_ = CATALOGUE.gettext


def done(which: Which, fluids: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the facts that the one thing that waits was done; ``fluids`` says what was pushed, if that was said.

    Raises:
        AskBackError: nothing waits, or more than one thing that was not named.
    """
    said = which.said
    due = [touch for touch in which.open_touches() if _named(touch, said)]
    ending = [touch for touch in which.ending() if _named(touch, said)]
    tasks, later = ([], []) if said.order or said.lumen else _tasks(which)
    if said.event:  # whoever names it means it, though it does not wait yet
        due, tasks, ending, later = [*due, *ending], [*tasks, *later], [], []
    if not due and said.order and which.order(said.order).as_needed:
        dose = which.dose_to_start()
        return [] if dose is None else [{"kind": Kind.STARTED, "order": dose.order, "dose": dose.key}]
    waits = len(due) + len(tasks)
    if waits > 1:
        raise AskBackError(_("More than one thing is due. Which was done?"), _choices(which, [*due, *ending], tasks))
    if waits and ending:
        asked = _("An infusion is about to finish, and something else is due. Which was done?")
        raise AskBackError(asked, _choices(which, [*due, *ending], tasks))
    if not waits and (ending or later):
        raise AskBackError(_("Nothing is due yet. Which was done?"), _choices(which, ending, later))
    if not waits:
        raise AskBackError(
            _("Nothing is due now that could be done. Say what happened, such as  flushed  or  started .")
        )
    if tasks:
        return [{"kind": Kind.TASK_DONE, "name": tasks[0].task}]
    return _all_of(due[0], fluids, flushed=said.flushed)


def _named(touch: Touch, said: Said) -> bool:
    """Say whether a touch is of the lumen, the order and the event that were named, if any were."""
    doses = (*touch.starts, *touch.ends, *touch.bags)
    of_order = not said.order or any(dose.order == said.order for dose in doses)
    return said.lumen in ("", touch.lumen) and touch.uid.startswith(said.event) and of_order


AHEAD = HOUR
"""So long before its time of day a task that may be done all day waits already, in minutes; before that it is asked about."""


def _tasks(which: Which) -> tuple[list[TaskEvent], list[TaskEvent]]:
    """Return the care tasks that wait, and those that may be done all day and whose time is later, in order of time."""
    waits = [found.event for found in care_now(which.schedule, which.now).waits]
    waits = [event for event in waits if event.uid.startswith(which.said.event)]
    later = [event for event in waits if event.care.on_time_within is None and event.planned > which.now + AHEAD]
    return [event for event in waits if event not in later], later


def _choices(which: Which, touches: Sequence[Touch], tasks: Sequence[TaskEvent]) -> list[Choice]:
    return [*(_choice(touch, which) for touch in touches), *(_choice_of_task(event, which) for event in tasks)]


def _choice_of_task(event: TaskEvent, which: Which) -> Choice:
    shown = f"{event.care.label}, {which.shown(event.planned)}"
    return Choice(shown, f"--event {event.uid[:8]}", {"event": event.uid})


def _choice(touch: Touch, which: Which) -> Choice:
    """Offer one event that waits, so that it can be said on its own."""
    where, what = lumen_words(touch.plan, touch.lumen), what_words(touch, touch.plan)
    shown = f"{where}: {what}, {which.shown(touch.planned)}"
    return Choice(shown, f"--event {touch.uid[:8]}", {"event": touch.uid})


def _all_of(touch: Touch, fluids: Mapping[str, Any], *, flushed: bool) -> list[dict[str, Any]]:
    told: list[dict[str, Any]] = []
    if touch.outcome is not Outcome.DONE:
        ended = [dose for dose in touch.ends if dose.finished is None]
        begun = [dose for dose in touch.starts if dose.started is None]
        told += [{"kind": Kind.FINISHED, "order": dose.order, "dose": dose.key} for dose in ended]
        told += _drawn(touch)
        told += [{"kind": Kind.STARTED, "order": dose.order, "dose": dose.key} for dose in begun]
        told += [{"kind": Kind.BAG_CHANGED, "order": dose.order, "dose": dose.key} for dose in touch.bags]
    with_flush = touch.kind in (TouchKind.FINISH, TouchKind.DRAW) or touch.tasks
    if touch.outstanding or touch.kind is TouchKind.IDLE_FLUSH or (flushed and with_flush):
        told.append({"kind": Kind.FLUSHED, "lumen": touch.lumen, **fluids})
    return told


def _drawn(touch: Touch) -> list[dict[str, Any]]:
    """Return the facts that the planned draws in a touch were done: each task, and the blood that was drawn once."""
    drawn = [{"kind": Kind.DRAWN, "lumen": touch.lumen}] if touch.tasks else []
    return [*({"kind": Kind.TASK_DONE, "name": name} for name in touch.tasks), *drawn]
