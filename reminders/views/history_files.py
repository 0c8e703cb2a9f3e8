"""The report for the nurse's next visit as files for programs: CSV for a spreadsheet, and JSON."""

import csv
import io
import json
from typing import Any

from reminders.plan.idle_limit import PerDay
from reminders.plan.model import Plan
from reminders.schedule.identity import Identities
from reminders.schedule.model import Status
from reminders.times import Instant, utc
from reminders.units import number
from reminders.views.history import History, Row
from reminders.views.history_orders import Fate, OrderTotals
from reminders.views.history_tasks import TaskTotals
from reminders.views.idle_times import Gap, LumenIdle

FORMAT = "reminders history 3"
"""Name and version of the JSON form; a change that a reader must know of raises the number."""

DOCUMENT_KEYS = {
    "format": "the name and version of this form",
    "plan": "a lasting name of the plan that names nobody",
    "revision": "the plan's revision",
    "zone": "the home zone",
    "zone_data": "the release of the IANA zone data that gave the instants",
    "first": "the first local day of the report",
    "last": "its last local day",
    "made": "the moment as of which it was made, in UTC",
    "rows": "what was planned and recorded, in order of time",
    "orders": "what became of the doses of each order; an order whose dose or lumen was changed has one entry for each",
    "tasks": "what became of each care task, draws through a lumen among them",
    "lumens": "how long each lumen lay idle",
}
"""Each key of the document and what it holds."""

ROW_KEYS = {
    "row": "event, fact (what was recorded and is no event), or withdrawn (a report that was taken back)",
    "at": "where it stands in the list: when it happened, else when it was planned",
    "lumen": "the lumen's name in the plan; empty for none, as for a care task that is no draw through one",
    "what": "what it is, in words",
    "status": "of an event: done, late, running, due, overdue, unconfirmed, skipped, missed; unconfirmed is not done",
    "kind": "of a fact: what kind of fact it is",
    "ordered": "of an event that starts a dose: when the order has it",
    "planned": "of an event: when it was planned, after any delay that was reported",
    "actual": "when it happened, by what is recorded; null where nothing is",
    "minutes_late": "minutes from ordered (else from planned) to actual; less than 0 for early",
    "flushed": "when its flush was recorded, where that was another moment",
    "flush_outstanding": "true where it is finished or drawn, and its flush is not recorded",
    "stopped_early": "true where the infusion was stopped early",
    "entered": "when the last fact about it was entered",
    "reported_by": "who reported it",
    "notes": "what else was reported, and what is left open",
    "why": "of an event: why it stood where it stood, in words",
    "order": "the order that it is foremost about; empty for none",
    "dose": "the lasting key of that order's dose",
    "task": "the care task that it is foremost about, by its name in the plan; empty for none",
    "uid": "of an event: its lasting name, the same as in the calendar",
}
"""Each key of a row and what it holds. A moment is an object with the keys of :data:`MOMENT_KEYS`, or null."""

MOMENT_KEYS = {"local": "on the clock in force there, with the offset", "utc": "the same instant in UTC"}
"""Each key of a moment and what it holds."""

ORDER_KEYS = {
    "order": "the order's name in the plan",
    "drug": "the drug with the dose that was ordered then",
    "lumen": "the lumen that the order named then",
    "doses": "how many doses were due so far, or given though they were not due; the sum of counts",
    "counts": "how many of them were given on time, given late and so on; each dose is counted once",
    "elsewhere": "how many of them were given elsewhere",
    "stopped_early": "the moment and the volume given of each that was stopped early; an empty volume is not known",
    "mean_minutes_late": "the mean of the minutes after the ordered moment, early as 0; null where no start is recorded",
    "most_minutes_late": "the greatest number of minutes after it; null for none",
    "most_minutes_early": "the greatest number of minutes before it; null for none",
}
"""Each key of an order's totals and what it holds."""

TASK_KEYS = {
    "task": "the task's name in the plan",
    "label": "what to do, as the plan says",
    "done_by": "who does it, as the plan says",
    "occurrences": "how many were planned so far, or done though none was planned; the sum of counts",
    "counts": "how many of them are done, late, skipped, unconfirmed and so on",
    "besides": "how many of them were done though none was planned then",
    "last_done": "when it was last recorded as done, whenever that was; null for never",
}
"""Each key of a care task's totals and what it holds."""

LUMEN_KEYS = {
    "lumen": "the lumen's name in the plan",
    "last_recorded_flush": "the last recorded flush that counts for the limit",
    "minutes_since": "the minutes from it until the report was made",
    "longest_recorded": "the longest idle time, counting recorded flushes only",
    "longest_supposed": "the longest idle time if everything planned and not recorded had been done at its time",
    "over_limit_recorded": "every idle time longer than the limit, counting recorded flushes only",
    "over_limit_supposed": "the same if everything planned and not recorded had been done at its time",
}
"""Each key of a lumen's idle times and what it holds."""

GAP_KEYS = {
    "from": "the flush that it counts from",
    "to": "the last idle moment before the next flush",
    "minutes": "how long it lasted",
    "limit": "the limit that it broke, else the one in force at its end: minutes, or `each calendar day`; null for none",
}
"""Each key of an idle time and what it holds."""

MOMENTS = ("at", "ordered", "planned", "actual", "flushed", "entered")
"""The columns that hold moments: each is followed by one with the same instant in UTC."""

COLUMNS = (
    *("row", "at", "at_utc", "lumen", "what", "status", "kind", "ordered", "ordered_utc", "planned", "planned_utc"),
    *("actual", "actual_utc", "minutes_late", "minutes_early", "flushed", "flushed_utc", "flush_outstanding"),
    *("stopped_early", "entered", "entered_utc", "reported_by", "notes", "why", "order", "dose", "task", "uid"),
)
"""The header of the CSV: the keys of a row, moments twice, and early and late apart, so that no number has a sign."""

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes for the beginning of a formula in a cell."""


def history_csv(history: History) -> str:
    """Return the rows as CSV (RFC 4180), with a header row and moments as ISO 8601, local with the offset and in UTC.

    A text that a spreadsheet would take for a formula gets a leading apostrophe.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in history.rows:
        cells = _cells(_row(row, history.plan))
        writer.writerow([_defused(cells[column]) for column in COLUMNS])
    return out.getvalue()


def history_json(history: History) -> bytes:
    """Return the report as UTF-8 JSON; its keys are described beside this function."""
    plan = history.plan
    document: dict[str, Any] = {
        "format": FORMAT,
        "plan": Identities(plan).of("plan"),
        "revision": plan.course.revision,
        "zone": plan.course.zone.key,
        "zone_data": history.zone_data,
        "first": history.first.isoformat(),
        "last": history.last.isoformat(),
        "made": _utc(history.now),
        "rows": [_row(row, plan) for row in history.rows],
        "orders": [_order(totals, plan) for totals in history.orders],
        "tasks": [_task(totals, plan) for totals in history.tasks],
        "lumens": [_lumen(idle, plan) for idle in history.lumens],
    }
    return (json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode()


def _row(row: Row, plan: Plan) -> dict[str, Any]:
    return {
        "row": row.sort.value,
        "at": _moment(row.at, plan),
        "lumen": row.lumen,
        "what": row.what,
        "status": None if row.status is None else row.status.value,
        "kind": None if row.kind is None else row.kind.value,
        "ordered": _moment(row.ordered, plan),
        "planned": _moment(row.planned, plan),
        "actual": _moment(row.actual, plan),
        "minutes_late": row.late,
        "flushed": _moment(row.flushed, plan),
        "flush_outstanding": row.outstanding,
        "stopped_early": row.stopped,
        "entered": _moment(row.entered, plan),
        "reported_by": list(row.by),
        "notes": list(row.notes),
        "why": row.why,
        "order": row.order,
        "dose": row.dose,
        "task": row.task,
        "uid": row.uid,
    }


def _order(totals: OrderTotals, plan: Plan) -> dict[str, Any]:
    mean = totals.mean_late
    return {
        "order": totals.order,
        "drug": totals.drug,
        "lumen": totals.lumen,
        "doses": totals.doses,
        "counts": {fate.value: totals.counts.get(fate, 0) for fate in Fate},
        "elsewhere": totals.elsewhere,
        "stopped_early": [{"at": _moment(at, plan), "volume": volume} for at, volume in totals.stopped],
        "mean_minutes_late": None if mean is None else float(round(mean, 1)),
        "most_minutes_late": totals.most_late,
        "most_minutes_early": totals.most_early,
    }


def _task(totals: TaskTotals, plan: Plan) -> dict[str, Any]:
    return {
        "task": totals.task,
        "label": totals.care.label,
        "done_by": totals.care.done_by.value,
        "occurrences": totals.occurrences,
        "counts": {how.value: totals.counts[how] for how in Status if totals.counts.get(how)},
        "besides": totals.besides,
        "last_done": _moment(totals.last_done, plan),
    }


def _lumen(idle: LumenIdle, plan: Plan) -> dict[str, Any]:
    return {
        "lumen": idle.lumen,
        "last_recorded_flush": _moment(idle.last_flush, plan),
        "minutes_since": idle.since,
        "longest_recorded": _gap(idle.recorded, plan),
        "longest_supposed": _gap(idle.supposed, plan),
        "over_limit_recorded": [_gap(gap, plan) for gap in idle.recorded_over],
        "over_limit_supposed": [_gap(gap, plan) for gap in idle.supposed_over],
    }


def _gap(gap: Gap | None, plan: Plan) -> dict[str, Any] | None:
    if gap is None:
        return None
    return {
        "from": _moment(gap.begins, plan),
        "to": _moment(gap.ends, plan),
        "minutes": gap.length,
        "limit": gap.limit.value if isinstance(gap.limit, PerDay) else gap.limit,
    }


def _moment(at: Instant | None, plan: Plan) -> dict[str, str] | None:
    if at is None:
        return None
    return {"local": plan.clock.local(at).isoformat(timespec="minutes"), "utc": _utc(at)}


def _utc(at: Instant) -> str:
    return utc(at).strftime("%Y-%m-%dT%H:%MZ")


# The cells of the CSV


def _cells(row: dict[str, Any]) -> dict[str, str]:
    """Return the cells of a row by their columns."""
    cells = {key: _cell(value) for key, value in row.items() if key not in MOMENTS}
    for key in MOMENTS:
        moment = row[key] or {"local": "", "utc": ""}
        cells[key], cells[f"{key}_utc"] = moment["local"], moment["utc"]
    late = row["minutes_late"]
    cells["minutes_late"] = "" if late is None or late < 0 else number(late)
    cells["minutes_early"] = number(-late) if late is not None and late < 0 else ""
    return cells


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    return "" if value is None else " ".join(value) if isinstance(value, list) else str(value)


def _defused(cell: str) -> str:
    return f"'{cell}" if cell.startswith(FORMULA) else cell
