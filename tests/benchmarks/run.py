"""Time and memory, as ratios to icalendar's own work on the same events in the same run.

First a 42-day, three-lumen plan; then one report on a plan of a year, with 3,000 facts in its record.

``python tests/benchmarks/run.py [ROUNDS]`` prints a table. Rounds alternate between what is measured and its base, and
the median of the paired ratios is shown, so a machine that slows down for a while slows both.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import icalendar

from reminders.files import write_files
from reminders.plan.model import Plan
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY, Fact, Kind, Record, Sign
from reminders.record.published import published
from reminders.record.store import Store
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Schedule, Touch, TouchKind
from reminders.times import Instant
from reminders.views.calendar import calendar_file

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_plans" / "three-lumens.toml"
CONTENT = SAMPLE.read_bytes()


@dataclass(frozen=True)
class Entry:
    """What one event holds, ready to be built again by icalendar alone."""

    uid: str
    summary: str
    description: str
    categories: list[str]
    start: datetime
    end: datetime
    stamp: datetime
    trigger: timedelta
    alarm_uid: str


def plan_of_sample() -> Plan:
    """Return the sample's plan."""
    plan = read_plan(SAMPLE.name, CONTENT).plan
    assert plan is not None
    return plan


def text_to_events() -> None:
    """Read the plan's text and compile it."""
    plan = plan_of_sample()
    compile_schedule(plan, EMPTY, plan.course.start.instant)


def text_to_file() -> bytes:
    """Read the plan's text, compile it and write the calendar."""
    plan = plan_of_sample()
    return calendar_file(compile_schedule(plan, EMPTY, plan.course.start.instant)).content


def entries_of(content: bytes) -> list[Entry]:
    """Return the events of a calendar as plain values."""
    found = []
    events: list[Any] = icalendar.Calendar.from_ical(content).walk("VEVENT")
    for event in events:
        (alarm,) = event.walk("VALARM")
        found.append(
            Entry(
                str(event["UID"]), str(event["SUMMARY"]), str(event["DESCRIPTION"]), [str(name) for name in event.categories],
                event.start, event.end, event.stamp, alarm.TRIGGER, str(alarm["UID"]),
            )
        )  # fmt: skip
    return found


def build_with_icalendar(entries: list[Entry]) -> bytes:
    """Build and serialise the same events with icalendar and nothing else."""
    calendar = icalendar.Calendar.new(prodid="-//base//EN", name="Line care", uid="base")
    for entry in entries:
        calendar.add_component(
            icalendar.Event.new(
                uid=entry.uid, summary=entry.summary, description=entry.description, categories=entry.categories,
                start=entry.start, end=entry.end, stamp=entry.stamp, last_modified=entry.stamp, sequence=0,
                subcomponents=[icalendar.Alarm.new_display(entry.summary, entry.trigger, uid=entry.alarm_uid)],
            )
        )  # fmt: skip
    return bytes(calendar.to_ical())


def seconds(work: Callable[[], object]) -> float:
    """Return how long a call takes."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def peak(work: Callable[[], object]) -> int:
    """Return the most bytes that Python objects take during a call, above what stood before it."""
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def process(arguments: list[str]) -> tuple[float, int]:
    """Run a Python process; return its seconds and its peak resident kilobytes."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    begin = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, *arguments], cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    _, status, usage = os.wait4(child.pid, 0)
    took = time.perf_counter() - begin
    child.returncode = os.waitstatus_to_exitcode(status)
    assert child.returncode == 0, arguments
    return took, usage.ru_maxrss


def row(label: str, times: list[tuple[float, float]], memory: tuple[int, int], aim: str) -> str:
    """Return a line of the table from paired times and one pair of peaks."""
    ratio = statistics.median(measured / base for measured, base in times)
    mine = statistics.median(measured for measured, _ in times)
    return f"{label:38} {mine * 1000:8.1f} ms {ratio:8.3f} {memory[0] / memory[1]:9.3f}   {aim}"


def plan_of_a_year() -> Plan:
    """Return the sample's plan, made to go on for a year."""
    text = CONTENT.decode().replace('end = "2026-11-23 08:00"', 'end = "2027-10-12 08:00"')
    text = text.replace("last_day = 2026-11-22", "until_removal = true").replace("review_on = 2026-11-23\n", "")
    plan = read_plan("a year", text.encode()).plan
    assert plan is not None
    return plan


def facts_of(touch: Touch, late: int) -> list[Fact]:
    """Return what a household reports of a touch, so many minutes late."""
    when = Instant(touch.at + late)

    def fact(kind: Kind, **about: str) -> Fact:
        key = f"{touch.uid}-{kind.value}-{about.get('dose', '')}"
        return Fact(key=key, report=key, kind=kind, happened=when, entered=when, **about)  # type: ignore[arg-type]

    told = [fact(Kind.FINISHED, order=dose.order, dose=dose.key) for dose in touch.ends]
    told += [fact(Kind.STARTED, order=dose.order, dose=dose.key) for dose in touch.starts]
    if touch.kind in (TouchKind.FINISH, TouchKind.IDLE_FLUSH):
        told.append(fact(Kind.FLUSHED, lumen=touch.lumen))
    return told


def facts_about(schedule: Schedule, wanted: int) -> list[Fact]:
    """Return facts as a household reports them: each touch in turn, up to 10 minutes after its time."""
    facts = [fact for number, touch in enumerate(schedule.touches) for fact in facts_of(touch, number * 7 % 11)]
    return facts[:wanted]


def one_report(rounds: int) -> None:
    """Measure one report on a plan of a year: the fact stored, the schedule replanned, the calendar written again."""
    plan = plan_of_a_year()
    bare = compile_schedule(plan, EMPTY, plan.course.start.instant)
    facts = facts_about(bare, 3000)
    now = facts[-1].happened
    entries = entries_of(calendar_file(bare, largest=10**9).content)
    base = seconds_of(lambda: build_with_icalendar(entries))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.sqlite3"
        store = Store.open(path, plan.course.id, create=True)
        assert store is not None
        with store:
            store.append(facts)
        record = Record(tuple(facts))
        stored = count(1)

        def store_one() -> Record:
            opened = Store.open(path, plan.course.id, create=True)
            assert opened is not None
            with opened:
                known = opened.read()
                key = f"report-{next(stored)}"
                about = facts[-1]
                more = Fact(
                    key=key, report=key, kind=Kind.PROBLEM, sign=Sign.OTHER, happened=now, entered=about.entered
                )
                opened.append([more], after=len(known.facts))
            return known.with_facts([more])

        def rewrite(known: Record) -> None:
            schedule = compile_schedule(plan, known, now)
            content = calendar_file(schedule, first=now, before=published(known, "phone", {}), now=now).content
            write_files(Path(folder), {"calendar.ics": content})

        work: list[tuple[str, Callable[[], object], str]] = [
            ("replanned", lambda: compile_schedule(plan, Record(record.facts), now), "0.2"),
            ("stored: record opened, read, added to", store_one, ""),
            ("stored, replanned, calendar rewritten", lambda: rewrite(store_one()), ""),
        ]
        print(f"\none report; a year, 3 lumens, {len(entries)} events, {len(facts)} facts; ratios to icalendar")
        print(f"{'icalendar builds and serialises them':38} {base * 1000:8.1f} ms {1:8.3f}")
        for label, doing, aim in work:
            doing()
            times = [(seconds(doing), seconds(lambda: build_with_icalendar(entries))) for _ in range(rounds)]
            ratio = statistics.median(mine / other for mine, other in times)
            middle = statistics.median(mine for mine, _ in times)
            print(f"{label:38} {middle * 1000:8.1f} ms {ratio:8.3f} {'':9}   {aim}")


def seconds_of(work: Callable[[], object]) -> float:
    """Return how long the second of two calls takes; the first warms up."""
    work()
    return seconds(work)


def main() -> None:
    """Measure and print."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 9
    plan = plan_of_sample()
    now = plan.course.start.instant
    entries = entries_of(text_to_file())
    work: list[tuple[str, Callable[[], object], str]] = [
        ("plan to events", lambda: compile_schedule(plan, EMPTY, now), "0.1"),
        ("  text to events, reading included", text_to_events, ""),
        ("text to calendar file", text_to_file, "1.2"),
    ]

    def base() -> bytes:
        return build_with_icalendar(entries)

    print(f"{SAMPLE.name}: 42 days, 3 lumens, {len(entries)} events; {rounds} rounds; ratios to icalendar")
    print(f"{'':38} {'median':>11} {'time':>8} {'memory':>9}   aim (time)")
    base_peak = peak(base)
    print(f"{'icalendar builds and serialises them':38} {seconds(base) * 1000:8.1f} ms {1:8.3f} {1:9.3f}")
    for label, doing, aim in work:
        doing()
        times = [(seconds(doing), seconds(base)) for _ in range(rounds)]
        print(row(label, times, (peak(doing), base_peak), aim))
    check, bare = ["-m", "reminders", "check", str(SAMPLE)], ["-c", "import icalendar"]
    process(check), process(bare)  # the first start writes the bytecode
    pairs = [(process(check), process(bare)) for _ in range(rounds)]
    memory = (max(mine[1] for mine, _ in pairs), max(other[1] for _, other in pairs))
    print("to the start of an interpreter that imports icalendar:")
    print(row("reminders check, whole process", [(mine[0], other[0]) for mine, other in pairs], memory, "3"))
    one_report(max(3, rounds // 3))


if __name__ == "__main__":
    main()
