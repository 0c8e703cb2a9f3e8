"""Small plans for tests: a base plan with a few edits laid over it, its schedule, and short ways to look at it.

Everything in the base plan is invented. Clock times are Chicago's unless an edit says otherwise.
"""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from reminders.examine import examine
from reminders.findings import Finding, Severity
from reminders.plan.read import Reading, read_plan
from reminders.record.facts import EMPTY
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Action, Schedule, Step, Touch, TouchKind
from reminders.times import Instant

SAMPLES = Path(__file__).parent.parent / "sample_plans"

BASE = """
[plan]
id = "0f0e8a52-6a0b-4c53-8d3e-6f5a1f0b9c11"
revision = 1
takes_effect = "2026-06-01 08:00"
household_records = true
zone = "America/Chicago"
start = "2026-06-01 08:00"
end = "2026-06-08 08:00"
handling_time = "15 min"
[household]
settled_ahead = "0 min"
[line]
kind = "PICC"
valved = false
placed_on = 2026-05-25
idle_limit = "12 h"
lock = "heparin"
heparin_ruled_out = false
allergies = []
[fluid.saline]
kind = "saline"
label = "saline"
volume = "10 mL"
sodium = "0.154 mmol/mL"
syringe = "saline syringe"
syringe_holds = "10 mL"
[fluid.heparin]
kind = "heparin"
label = "heparin lock"
strength = "10 units/mL"
volume = "5 mL"
syringe = "heparin syringe"
syringe_holds = "5 mL"
[protocol]
provider = "Fennimore Vale Home Infusion"
flush = "saline"
before = ["saline"]
after = ["saline"]
idle = ["saline"]
joining_time = "30 min"
planning_margin = "0 min"
least_time_to_next_touch = "0 min"
saved_session_worth = 1000
[call.emergency]
who = "Emergency services"
phone = "911"
[call.now]
who = "On-call nurse, Fennimore Vale"
phone = "555-0142"
[calendar]
name = "Line care"
reveals = "everything"
alarm_before = "10 min"
"""
"""An invented plan that lacks only its lumens and orders; a test adds or replaces what it is about."""

DAILY = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.cefazolin]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-06
duration = "60 min"
least_spacing = "8 h"
"""
"""Cefazolin into the red lumen at 09:00 each day, for an hour."""

EACH_ORDER = """
kind = "drug"
dose = "1 g"
lumen = "red"
given_as = "infusion"
least_spacing = "1 h"
on_time_within = "1 h"
cut_off = "4 h"
flush_through = "allowed"
"""
"""What every order of these tests begins with; its drug is called by the order's name."""


def plan_text(edits: str) -> str:
    """Return the base plan with ``edits`` laid over it, one key on each line; ``without NAME`` takes a key out.

    A lumen is labelled by its name, and an order starts from :data:`EACH_ORDER`.
    """
    tables: dict[str, dict[str, str]] = {}
    current = ""
    for line in map(str.strip, f"{BASE}\n{edits}".splitlines()):
        if line.startswith("["):
            current = line + " " * len(tables) if line.startswith("[[") else line
            if current not in tables:
                tables[current] = _begin(current)
        elif line.startswith("without "):
            del tables[current][line.removeprefix("without ")]
        elif line:
            key, _, value = line.partition(" = ")
            tables[current][key] = value
    return "\n".join(
        "\n".join([header.strip(), *(f"{key} = {value}" for key, value in keys.items())])
        for header, keys in tables.items()
    )


def _begin(header: str) -> dict[str, str]:
    kind, _, name = header.strip("[] ").partition(".")
    if kind == "lumen":
        return {"label": f'"{name}"'}
    if kind == "order":
        pairs = (line.partition(" = ") for line in EACH_ORDER.strip().splitlines())
        return {"drug": f'"{name}"', **{key: value for key, _, value in pairs}}
    return {}


def reading(edits: str) -> Reading:
    """Read the base plan with ``edits``."""
    return read_plan("plan.toml", plan_text(edits).encode())


def schedule(edits: str, now: str | None = None) -> Schedule:
    """Compile the base plan with ``edits``, as of its start or of ``now`` (UTC, ``2026-06-01 13:00``)."""
    read = reading(edits)
    errors = [finding.message for finding in read.findings if finding.severity is Severity.ERROR]
    assert read.plan is not None, errors
    assert not errors
    return compile_schedule(read.plan, EMPTY, read.plan.course.start.instant if now is None else z(now))


def z(text: str) -> Instant:
    """Return the instant of a moment in UTC, written ``2026-11-01 14:00``."""
    return Instant(int(datetime.fromisoformat(text + "+00:00").timestamp()) // 60)


def shown(at: Instant, plan: Schedule) -> str:
    """Show an instant on the household's clock: ``2026-11-01 08:00 CST``."""
    return f"{plan.plan.clock.local(at):%Y-%m-%d %H:%M %Z}"


def starts(plan: Schedule, order: str) -> list[Instant]:
    """Return when each dose of an order starts."""
    return [dose.start for dose in plan.doses[order]]


def of_kind(plan: Schedule, kind: TouchKind, lumen: str = "red") -> list[Touch]:
    """Return the touches of one kind in one lumen, in order."""
    return [touch for touch in plan.touches if touch.kind is kind and touch.lumen == lumen]


def idle(plan: Schedule, lumen: str = "red") -> list[Instant]:
    """Return when a lumen's idle flushes are planned."""
    return [touch.at for touch in of_kind(plan, TouchKind.IDLE_FLUSH, lumen)]


def said(steps: Iterable[Step]) -> str:
    """Say steps in short: ``saline, connect a`` or ``disconnect a, saline, lock heparin``."""
    return ", ".join(
        step.what if step.action in (Action.FLUSH, Action.EXTRA) else f"{step.action.value} {step.what}".strip()
        for step in steps
    )


def rows(plan: Schedule, lumen: str | None = None) -> list[str]:
    """Show touches as rows of a table: local day and time, what for, and the steps."""
    return [
        f"{plan.plan.clock.local(touch.at):%d %H:%M} {touch.kind.value}: {said(touch.steps)}"
        for touch in plan.touches
        if lumen in (None, touch.lumen)
    ]


def findings(edits: str) -> tuple[Finding, ...]:
    """Return all that there is to say about the base plan with ``edits``."""
    text = plan_text(edits)
    start = read_plan("plan.toml", text.encode()).plan
    now = start.course.start.instant if start else Instant(0)
    return examine("plan.toml", text.encode(), EMPTY, now).findings


def of_code(edits: str, code: str) -> list[Finding]:
    """Return the findings of one code about the base plan with ``edits``."""
    return [finding for finding in findings(edits) if finding.code == code]


def codes(edits: str) -> Counter[str]:
    """Count the codes of all that there is to say about the base plan with ``edits``."""
    return Counter(finding.code for finding in findings(edits))
