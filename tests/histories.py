"""Records for tests, one fact on a line, and schedules that are compiled with them.

``06-01 09:40 started order=a dose=2026-06-01T09:00`` is a fact of 1 June 2026, 09:40 on Chicago's clock, entered then.
``entered=06-01T10:00`` says when it was entered, ``key=x`` names it; values with blanks are written with ``_``.
"""

from collections.abc import Iterable
from dataclasses import fields
from datetime import datetime
from typing import Any

import small_plans

from reminders.findings import has_errors
from reminders.plan.model import Plan
from reminders.plan.read import read_plan
from reminders.record.facts import Fact, Kind, Record, Sign
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Schedule, Touch
from reminders.schedule.status import status
from reminders.times import Instant, instant_of
from reminders.zones import zone

HOME = "America/Chicago"
YEAR = 2026


def at(text: str, home: str = HOME) -> Instant:
    """Return the instant of ``06-01 09:40`` (or with a year before it) on the home clock."""
    text = text.replace("T", " ")
    wall = datetime.fromisoformat(text if len(text) > 11 else f"{YEAR}-{text}")
    return instant_of(wall, zone(home))[0]


def fact(line: str, number: int = 1, home: str = HOME) -> Fact:
    """Return the fact that a line says."""
    day, clock, kind, *rest = line.split()
    happened = at(f"{day} {clock}", home)
    values: dict[str, Any] = dict(item.split("=", 1) for item in rest)
    key = values.pop("key", f"fact-{number}")
    entered = at(values.pop("entered"), home) if "entered" in values else happened
    read: dict[str, Any] = {}
    types = {item.name: str(item.type) for item in fields(Fact)}
    for name, value in values.items():
        words = value.replace("_", " ")
        if name in ("until", "planned_for"):
            read[name] = at(value, home)
        elif name == "sign":
            read[name] = Sign(words)
        elif name == "fluids":
            read[name] = tuple(value.split(","))
        elif types[name] in ("bool", "<class 'bool'>"):
            read[name] = value == "yes"
        elif name in ("count", "revision"):
            read[name] = int(value)
        elif name in ("order", "dose", "lumen", "withdraws"):
            read[name] = value
        else:
            read[name] = words
    report = read.pop("report", key)
    return Fact(key=key, report=report, kind=Kind(kind.replace("-", " ")), happened=happened, entered=entered, **read)


def record(lines: str | Iterable[str], home: str = HOME) -> Record:
    """Return the record of some lines; empty ones are left out."""
    told = lines.splitlines() if isinstance(lines, str) else list(lines)
    stripped = [line.strip() for line in told if line.strip()]
    return Record(tuple(fact(line, number, home) for number, line in enumerate(stripped, start=1)))


def plan(edits: str) -> Plan:
    """Return the base plan with ``edits``, which must be free of errors."""
    read = read_plan("plan.toml", small_plans.plan_text(edits).encode())
    assert read.plan is not None, read.findings
    assert not has_errors(read.findings), read.findings
    return read.plan


def after(edits: str, lines: str | Iterable[str], now: str = "", earlier: Iterable[str] = ()) -> Schedule:
    """Compile the base plan with ``edits`` and a record, as of ``now`` (its start if left out)."""
    made = plan(edits)
    when = at(now) if now else made.course.start.instant
    return compile_schedule(made, record(lines), when, [plan(other) for other in earlier])


def rows(schedule: Schedule, now: str, *, lumen: str | None = None, day: str = "") -> list[str]:
    """Show events as rows: local day and time, status, kind, the order if there is one, why to ask first."""
    when = at(now)
    shown = []
    for touch in schedule.touches:
        local = f"{schedule.plan.clock.local(touch.at):%d %H:%M}"
        if lumen in (None, touch.lumen) and local.startswith(day):
            shown.append(f"{local} {_row(touch, schedule, when)}")
    return shown


def _row(touch: Touch, schedule: Schedule, when: Instant) -> str:
    about = f" {touch.dose.order}" if touch.dose else ""
    asks = "".join(f", ask: {ask.why.value}" for ask in touch.asks)
    flags = ", flush outstanding" if touch.outstanding else ""
    return f"{status(touch, schedule, when).value} {touch.kind.value}{about}{asks}{flags}"
