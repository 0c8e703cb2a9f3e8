"""The schedule as JSON, one row for each event; the keys are documented in ``sample_plans/README.md``."""

import json
from typing import Any

from reminders.event_words import ask_words
from reminders.schedule.counts import DayTotal, daily_totals
from reminders.schedule.identity import Identities
from reminders.schedule.model import BLOCKS, Dose, Schedule, Step, TaskEvent, Touch
from reminders.schedule.status import status, task_status, task_window
from reminders.times import Instant, utc
from reminders.units import number
from reminders.words import reason_words

FORMAT = "reminders schedule 3"
"""Name and version of this form; a change that a reader must know of raises the number."""

DOCUMENT_KEYS = {
    "format": "the name and version of this form",
    "plan": "a lasting name of the plan that names nobody",
    "revision": "the plan's revision",
    "zone": "the home zone",
    "zone_data": "the release of the IANA zone data that gave the instants",
    "start": "the first instant of the schedule, in UTC",
    "end": "its last instant, in UTC",
    "end_rolls_on": "true for open-ended therapy, whose end moves on with the date",
    "events": "one row for each touch of a lumen, in order of time; with tasks they are the events of the calendar",
    "tasks": "one row for each care task that is no draw through a lumen, in order of time",
    "daily_totals": "for each local day: mL infused, mL flushed and locked, units of heparin, mmol of sodium from "
    "flushes; whole is false for a day that the plan covers in part",
    "doses": "every dose with its order, number, lasting key, start and end (as recorded, else as planned); the end is "
    "null where it is not known yet; and what is recorded of it",
}
"""Each key of the document and what it holds."""

EVENT_KEYS = {
    "uid": "the event's lasting name, the same as in the calendar",
    "kind": "start, finish, finish and start, push, bag change, idle flush or draw",
    "lumen": "the lumen's name in the plan",
    "order": "the order that the event is foremost about; null for an idle flush",
    "dose": "the number of that order's dose, counted from its first; null for an idle flush",
    "start": "the instant of the event, in UTC: as recorded, else as planned",
    "planned": "where it stood before anything was recorded of it, in UTC",
    "end": "its start and the plan's handling time, in UTC",
    "local": "its start on the clock in force there, with the offset",
    "steps": "the steps in order: action, what it is about, and the volume where one belongs to it",
    "starts": "the doses that begin here",
    "ends": "the doses that finish here",
    "bags": "the doses that go on with a new bag",
    "tasks": "the blood draws in it, by their names in the plan",
    "nurse_only": "true where the household must not do it",
    "status": "planned, due, overdue, done, late, skipped, missed or unconfirmed, at the moment of compiling",
    "outstanding": "true where it is recorded, and the flush that belongs to it is not",
    "blocked": "true where nothing may be done with the lumen: no step is offered, whatever the status",
    "ask_first": "why somebody must be asked before it, in words; empty where nobody must",
    "reason": "why it stands where it stands, in words",
}
"""Each key of an event's row and what it holds."""

TASK_KEYS = {
    "uid": "the event's lasting name, the same as in the calendar",
    "task": "the task's name in the plan",
    "key": "which of its occurrences it is: a lasting name",
    "kind": "what it is, as the plan says",
    "label": "what to do, as the plan says",
    "done_by": "who does it, as the plan says",
    "order": "the order whose dose it is tied to; null for none",
    "dose": "the number of that dose; null for none",
    "start": "the instant of the event, in UTC: when it was done, as recorded, else as planned",
    "planned": "where it stood before anything was recorded of it, in UTC",
    "end": "its start and how long it takes, in UTC",
    "local": "its start on the clock in force there, with the offset",
    "on_time_from": "from when on it is on time, in UTC",
    "on_time_to": "until when it is on time, in UTC",
    "uses": "what it uses up: items with their numbers",
    "brings": "what a delivery should bring: items with their numbers",
    "note": "the plan's note about it",
    "status": "planned, due, overdue, done, late, skipped or unconfirmed, at the moment of compiling",
    "besides": "true where it was done though none was planned then",
}
"""Each key of a care task's row and what it holds."""


def schedule_json(schedule: Schedule, now: Instant) -> bytes:
    """Return the whole schedule as UTF-8 JSON, with statuses as of ``now``."""
    plan = schedule.plan
    document: dict[str, Any] = {
        "format": FORMAT,
        "plan": Identities(plan).of("plan"),
        "revision": plan.course.revision,
        "zone": plan.course.zone.key,
        "zone_data": schedule.zone_data,
        "start": _utc(schedule.start),
        "end": _utc(schedule.end),
        "end_rolls_on": schedule.rolling,
        "events": [_event(touch, schedule, now) for touch in schedule.touches],
        "tasks": [_task(event, schedule, now) for event in schedule.tasks],
        "daily_totals": [_total(total) for total in daily_totals(schedule)],
        "doses": [_dose(dose) for doses in schedule.doses.values() for dose in doses],
    }
    return (json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode()


def _event(touch: Touch, schedule: Schedule, now: Instant) -> dict[str, Any]:
    plan = schedule.plan
    dose = touch.dose
    return {
        "uid": touch.uid,
        "kind": touch.kind.value,
        "lumen": touch.lumen,
        "order": dose.order if dose else None,
        "dose": dose.number if dose else None,
        "start": _utc(touch.at),
        "planned": _utc(touch.planned),
        "end": _utc(Instant(touch.at + plan.course.handling_time)),
        "local": plan.clock.local(touch.at).isoformat(timespec="minutes"),
        "steps": [_step(step) for step in touch.steps],
        "starts": [_dose(started) for started in touch.starts],
        "ends": [_dose(ended) for ended in touch.ends],
        "bags": [_dose(dose) for dose in touch.bags],
        "tasks": list(touch.tasks),
        "nurse_only": touch.nurse_only,
        "status": status(touch, schedule, now).value,
        "outstanding": touch.outstanding,
        "blocked": any(ask.why in BLOCKS for ask in touch.asks),
        "ask_first": [ask_words(ask, plan, plan.clock.local(touch.at).date()) for ask in touch.asks],
        "reason": reason_words(touch, touch.plan),
    }


def _task(event: TaskEvent, schedule: Schedule, now: Instant) -> dict[str, Any]:
    plan, care, dose = schedule.plan, event.care, event.dose
    opens, closes = task_window(event)
    return {
        "uid": event.uid,
        "task": event.task,
        "key": event.key,
        "kind": care.kind.value,
        "label": care.label,
        "done_by": care.done_by.value,
        "order": dose.order if dose else None,
        "dose": dose.number if dose else None,
        "start": _utc(event.at),
        "planned": _utc(event.planned),
        "end": _utc(Instant(event.at + (care.takes or plan.course.handling_time))),
        "local": plan.clock.local(event.at).isoformat(timespec="minutes"),
        "on_time_from": _utc(opens),
        "on_time_to": _utc(closes),
        "uses": dict(care.uses),
        "brings": dict(care.brings),
        "note": care.note,
        "status": task_status(event, schedule, now).value,
        "besides": event.besides,
    }


def _total(total: DayTotal) -> dict[str, Any]:
    return {
        "day": total.day.isoformat(),
        "infused": float(round(total.infused, 3)),
        "flushed": float(round(total.flushed, 3)),
        "heparin": float(round(total.heparin, 3)),
        "sodium": float(round(total.sodium, 3)),
        "whole": total.whole,
    }


def _step(step: Step) -> dict[str, Any]:
    row: dict[str, Any] = {"action": step.action.value}
    if step.what:
        row["what"] = step.what
    if step.volume is not None:
        row["volume"] = f"{number(step.volume.amount, 3)} mL"
    return row


def _dose(dose: Dose) -> dict[str, Any]:
    return {
        "order": dose.order,
        "dose": dose.number,
        "key": dose.key,
        "start": _utc(dose.start),
        "end": None if dose.end is None else _utc(dose.end),
        "recorded": dose.state.value,
    }


def _utc(instant: Instant) -> str:
    return utc(instant).strftime("%Y-%m-%dT%H:%MZ")
