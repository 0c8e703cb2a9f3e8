"""``done``: what waits to be done now, done as it is planned; ``given`` says it of a dose, and not of its flush.

Care tasks that wait are among it, also those that a nurse does: the household knows whether she was there.
"""

from collections.abc import Mapping
from typing import Any

from reminders.record.facts import Kind
from reminders.saying.which import AskBackError, Choice, Which
from reminders.schedule.care_now import care_now
from reminders.schedule.model import Outcome, TaskEvent, Touch, TouchKind
from reminders.words import CATALOGUE, lumen_words, what_words

_ = CATALOGUE.gettext


def done(which: Which, fluids: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the facts that the one thing that waits was done; ``fluids`` says what was pushed, if that was said.

    Raises:
        AskBackError: nothing waits, or more than one thing that was not named.
    """
    said = which.said
    due = [
        touch
        for touch in which.open_touches()
        if said.lumen in ("", touch.lumen)
        and touch.uid.startswith(said.event)
        and (not said.order or any(dose.order == said.order for dose in (*touch.starts, *touch.ends, *touch.bags)))
    ]
    tasks = [] if said.order or said.lumen else _tasks(which)
    if not due and said.order and which.order(said.order).as_needed:
        dose = which.dose_to_start()
        return [] if dose is None else [{"kind": Kind.STARTED, "order": dose.order, "dose": dose.key}]
    if not due and not tasks:
        raise AskBackError(
            _("Nothing is due now that could be done. Say what happened, such as  flushed  or  started .")
        )
    if len(due) + len(tasks) > 1:
        choices = [*(_choice(touch, which) for touch in due), *(_choice_of_task(event, which) for event in tasks)]
        raise AskBackError(_("More than one thing is due. Which was done?"), choices)
    if tasks:
        return [{"kind": Kind.TASK_DONE, "name": tasks[0].task}]
    return _all_of(due[0], fluids, flushed=said.flushed)


def _tasks(which: Which) -> list[TaskEvent]:
    """Return the care tasks that wait, in order of time."""
    waits = care_now(which.schedule, which.now).waits
    return [found.event for found in waits if found.event.uid.startswith(which.said.event)]


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
