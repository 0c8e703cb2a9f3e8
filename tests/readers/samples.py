"""The sample plans, and small plans of the tests' own, read and compiled once for each session."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache, cached_property
from pathlib import Path
from typing import Any, TypeVar

from reminders.findings import has_errors
from reminders.plan.model import Plan, Reveals
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Schedule
from reminders.times import Instant
from reminders.views.calendar import CalendarFile, calendar_file
from reminders.views.schedule_json import schedule_json

ROOT = Path(__file__).parent.parent.parent
SAMPLE_PLANS = sorted((ROOT / "sample_plans").glob("*.toml"))

Span = tuple[datetime, datetime]
Found = TypeVar("Found")


@dataclass(frozen=True)
class Sample:
    """A plan with all that comes of it. ``now`` is the plan's start, so that no clock is asked."""

    name: str
    text: bytes = field(repr=False)

    @cached_property
    def plan(self) -> Plan:
        """Return the plan; a sample with an error in it is not a sample."""
        reading = read_plan(self.name, self.text)
        assert not has_errors(reading.findings), [finding.message for finding in reading.findings]
        assert reading.plan is not None
        return reading.plan

    @property
    def now(self) -> Instant:
        """Return the moment of compiling."""
        return self.plan.course.start.instant

    @cached_property
    def schedule(self) -> Schedule:
        """Return the compiled schedule."""
        return compile_schedule(self.plan, EMPTY, self.now)

    @cached_property
    def rows(self) -> list[dict[str, Any]]:
        """Return the events of the JSON form, touches and care tasks: what the compiler says. A care task has no lumen."""
        document = json.loads(schedule_json(self.schedule, self.now))
        tasks = [{**row, "lumen": None} for row in document["tasks"]]
        return sorted([*document["events"], *tasks], key=lambda row: (row["start"], row["lumen"] is None))

    @cached_property
    def file(self) -> CalendarFile:
        """Return the calendar as the plan wants it shown."""
        return calendar_file(self.schedule)

    @cached_property
    def files(self) -> dict[Reveals, CalendarFile]:
        """Return the calendar for each degree of discretion (R26)."""
        return {reveals: calendar_file(self.revealing(reveals)) for reveals in Reveals}

    @cached_property
    def contents(self) -> list[bytes]:
        """Return the whole calendar at each degree of discretion, one file for each lumen, and one of the care tasks."""
        parts = [calendar_file(self.schedule, lumen=lumen) for lumen in self.plan.lumens]
        parts.append(calendar_file(self.schedule, care_tasks=True))
        return [file.content for file in (*self.files.values(), *parts)]

    def planned(self, found: Mapping[str, Found]) -> dict[str, Found]:
        """Return what was found of the schedule's own events; what is left is the closing event."""
        uids = {row["uid"] for row in self.rows}
        return {uid: event for uid, event in found.items() if uid in uids}

    def closing(self, file: CalendarFile) -> list[Span]:
        """Return where the event must stand that says that a file ends.

        Nowhere, if the line is out by then; but a file that holds nothing else has one all the same, since a calendar
        holds at least one component (RFC 5545, 3.6).
        """
        removal = self.plan.course.line_removal
        if file.events and removal is not None and removal.instant <= file.until:
            return []
        until = at_minute(file.until)
        return [(until - timedelta(minutes=self.plan.course.handling_time), until)]

    def revealing(self, reveals: Reveals) -> Schedule:
        """Return the schedule with another degree of discretion; nothing else differs."""
        shown = replace(self.plan.calendar, reveals=reveals)
        return replace(self.schedule, plan=replace(self.plan, calendar=shown))


@cache
def sample(path: Path) -> Sample:
    """Return a sample plan, read and compiled at most once."""
    return Sample(path.stem, path.read_bytes())


def moment(text: str) -> datetime:
    """Return the instant that ``2026-11-01T06:30Z`` says."""
    return datetime.strptime(text, "%Y-%m-%dT%H:%MZ").replace(tzinfo=UTC)


def instant(text: str) -> Instant:
    """Return the same as minutes since 1970."""
    return Instant(int(moment(text).timestamp()) // 60)


def at_minute(minute: int) -> datetime:
    """Return minutes since 1970 as a moment in UTC."""
    return datetime.fromtimestamp(minute * 60, UTC)


def row_spans(rows: Sequence[dict[str, Any]]) -> dict[str, Span]:
    """Return ``{uid: (start, end)}`` of rows of the JSON form."""
    return {row["uid"]: (moment(row["start"]), moment(row["end"])) for row in rows}


# Everything in this plan is invented: two lumens, and whatever orders a test adds. Its names are words that occur
# nowhere else in a calendar, so that a word that is found in one has come from here.
PLAN = """
[plan]
id = "{id}"
revision = {revision}
takes_effect = "{start}"
household_records = false
zone = "{zone}"
start = "{start}"
{ends_with} = "{end}"
handling_time = "10 min"

[line]
kind = "tunneled catheter"
valved = false
placed_on = 2026-01-05
idle_limit = "12 h"
lock = "hep"
heparin_ruled_out = false
allergies = []

[lumen.one]
label = {first_label}
last_flushed = "{start}"

[lumen.two]
label = "Jasper"
last_flushed = "{start}"

[fluid.sal]
kind = "saline"
label = "Brineol"
volume = "10 mL"
sodium = "0.154 mmol/mL"
syringe = "Brineol syringe"
syringe_holds = "10 mL"

[fluid.hep]
kind = "heparin"
label = "Stillwell lock"
strength = "10 units/mL"
volume = "5 mL"
syringe = "Stillwell syringe"
syringe_holds = "5 mL"

[protocol]
provider = "Quillhaven Home Care"
flush = "sal"
before = ["sal"]
after = ["sal"]
idle = ["sal"]
joining_time = "0 min"
planning_margin = "0 min"
least_time_to_next_touch = "0 min"
saved_session_worth = 1000

{orders}

[call.emergency]
who = "Ambulance Quillhaven"
phone = "555-0190"

[call.now]
who = "Ward Quillhaven"
phone = "555-0191"

[calendar]
name = "Calendar of Quillhaven"
reveals = "{reveals}"
alarm_before = "{alarm_before}"
colour = "slateblue"
"""

DAILY = """
[order.daily]
drug = {drug}
kind = "drug"
dose = "2 g"
lumen = "one"
given_as = "infusion"
clock_times = [{times}]
first_dose = "{first}"
until_removal = true
duration = "{duration}"
least_spacing = "1 h"
on_time_within = "1 h"
cut_off = "3 h"
flush_through = "allowed"
note = {note}
"""

LISTED = """
[order.listed]
drug = "Velmorin"
kind = "drug"
dose = "1 g"
lumen = "one"
given_as = "infusion"
moments = [{moments}]
duration = "20 min"
on_time_within = "30 min"
cut_off = "1 h"
flush_through = "allowed"
"""


def quoted(text: str) -> str:
    """Write a text as TOML does, every character as itself save the two that TOML needs escaped."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def listed(*moments: str) -> str:
    """Return an order whose doses start at the moments given."""
    return LISTED.format(moments=", ".join(f'"{at}"' for at in moments))


def daily(
    *times: str,
    first: str,
    duration: str = "60 min",
    drug: str = "Velmorin",
    note: str = "Keep it in the Larkspur box.",
) -> str:
    """Return an order whose doses start at clock times of every day."""
    shown = ", ".join(f'"{at}"' for at in times)
    return DAILY.format(times=shown, first=first, duration=duration, drug=quoted(drug), note=quoted(note))


def plan_of(
    orders: str,
    *,
    start: str,
    end: str,
    zone: str = "America/Chicago",
    reveals: Reveals = Reveals.EVERYTHING,
    alarm_before: str = "10 min",
    revision: int = 1,
    identity: str = "0d5c1c1e-5a7e-4f0b-9d3e-1f6a1c2b7e90",
    first_label: str = "Amaranth",
    ends_with: str = "end",
) -> Sample:
    """Return a small plan of the tests' own, for ``start`` to ``end`` on the clock of ``zone``.

    ``ends_with`` is the key that says the end: ``end``, or ``line_removal``.
    """
    text = PLAN.format(
        orders=orders, start=start, end=end, zone=zone, reveals=reveals.value, alarm_before=alarm_before,
        revision=revision, id=identity, first_label=quoted(first_label), ends_with=ends_with,
    )  # fmt: skip
    return Sample("of the tests' own", text.encode())


TASKS = """
[task.cover]
kind = "dressing"
label = "Renew the Wendle cover"
done_by = "nurse"
every_days = 3
at = "10:00"
last_done = "2026-10-28 09:00"
takes = "45 min"
uses = { "Ostrel kit" = 1 }
note = "Ask for Tamsin."

[task.hubs]
kind = "needleless connector"
label = "Renew the Corvane hubs"
done_by = "household"
every = "50 h"
last_done = "2026-10-29 21:00"
on_time_within = "6 h"
uses = { "Corvane hub" = 2 }

[task.cold]
kind = "out of the refrigerator"
label = "Take Velmorin out"
done_by = "household"
order = "daily"
before_dose = "90 min"
on_time_within = "30 min"

[task.level]
kind = "blood draw"
label = "Velmorin level"
done_by = "household"
order = "daily"
before_dose = "30 min"
only_doses = [3]
on_time_within = "15 min"
lumen = "onyx"
uses = { "Tessel tube" = 1 }

[task.labs]
kind = "blood draw"
label = "Tessel panel"
done_by = "clinic or laboratory"
weekdays = ["Tue", "Fri"]
at = "11:15"
lumen = "two"

[task.vein]
kind = "blood draw"
label = "Tessel panel from a vein"
done_by = "clinic or laboratory"
moments = ["2026-11-01 01:30-06:00"]

[task.van]
kind = "delivery"
label = "Halloway van"
done_by = "pharmacy"
moments = ["2026-11-04 14:00"]
brings = { "Brineol syringe" = 60 }
"""
"""Care tasks of every sort, draws through a lumen among them; names occur nowhere else."""


def cared_for(reveals: Reveals = Reveals.EVERYTHING, end: str = "2026-11-07 08:00") -> Sample:
    """Return a small plan with :data:`TASKS`, over the change of the clocks; one task is in the second half hour of 1:00."""
    orders = daily("09:00", first="2026-10-30 09:00")
    made = plan_of(orders, start="2026-10-30 08:00", end=end, reveals=reveals).text.decode()
    draws = 'idle = ["sal"]\nafter_draw = ["sal 20 mL"]\ndiscard_volume = "4 mL"\n'
    made = made.replace('idle = ["sal"]\n', draws).replace("[lumen.one]", "[lumen.onyx]").replace('"one"', '"onyx"')
    same_day = '[call.same_day]\nwho = "Office Quillhaven"\nphone = "555-0192"\n'
    return Sample("with care tasks", (made + TASKS + same_day).encode())


CARED_FOR = cared_for()
