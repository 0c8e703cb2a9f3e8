"""What the daemon takes: from a report to the rewritten feed, lateness of pop-ups, memory, idle time, time to the first page.

``python tests/benchmarks/daemon.py [--rounds N] [--idle-seconds S] [--python PATH]`` prints one table, with the aims beside.
It measures the process ``python -m reminders run`` in folders of its own, in a fresh environment that is made as the
README's first command makes one (``--python``: in another one), and where said, the same in this process. Times of a
report are ratios to icalendar's own work on the same feed in the same run: it builds the events from plain values and
serialises them. Rounds alternate between what is measured and its base; the median of the paired ratios is shown.
"""

import argparse
import asyncio
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

sys.path.append(str(Path(__file__).resolve().parents[1]))  # the tests' own modules

import icalendar
from daemon_process import Home, fresh_python
from popup_desk import Desk, desk
from run import build_with_icalendar, entries_of, seconds

from reminders.daemon.alarm import Alarm
from reminders.daemon.journal import Journal
from reminders.daemon.keeper import Keeper
from reminders.daemon.ticker import Surroundings, Ticker
from reminders.popups.popup import Outcome, PopUp
from reminders.publishing import publish_feed
from reminders.reporting import report_to
from reminders.saying.phrases import said

LATER = 4
"""Reports after the first one of each start."""

EACH_MINUTE = {
    'again_every = "10 min"\nurgent_again_every = "3 min"\nordinary_repeats = 6': 'again_every = "1 min"\n'
    'urgent_again_every = "1 min"\nordinary_repeats = 100'
}
"""The sample, with something to tell in each minute while nobody answers."""

PAGES = ("", "", "", "", "day", "week", "history", "supplies", "signs", "other")
"""What a household looks at, mostly at what is due."""


@dataclass
class Table:
    """The lines of the table, printed as they come."""

    failed: list[str] = field(default_factory=list)

    def head(self, text: str) -> None:
        """Begin a part."""
        print(f"\n{text}", flush=True)

    def row(self, label: str, value: float, unit: str, aim: float | None = None, note: str = "") -> None:
        """Print a line, with what is aimed at, and whether it is missed."""
        beside = "" if aim is None else f"aim {aim:g}{'' if value <= aim else '  MISSED'}"
        print(f"  {label:58}{value:>9.3f} {unit:12}{beside:20}{note}".rstrip(), flush=True)
        if aim is not None and value > aim:
            self.failed.append(label)


def base_of(feed: bytes) -> Callable[[], object]:
    """Return the work with which a report is compared: icalendar builds and serialises the feed's events."""
    calendar: Any = icalendar.Calendar.from_ical(feed)
    silent = [event for event in calendar.walk("VEVENT") if not event.walk("VALARM")]
    calendar.subcomponents = [part for part in calendar.subcomponents if part not in silent]
    entries = entries_of(calendar.to_ical())

    def work() -> None:
        build_with_icalendar(entries)
        for event in silent:
            icalendar.Event.new(
                uid=str(event["UID"]), summary=str(event["SUMMARY"]), description=str(event["DESCRIPTION"]),
                categories=[str(name) for name in event.categories], start=event.start, end=event.end, stamp=event.stamp,
                last_modified=event.stamp, sequence=0,
            ).to_ical()  # fmt: skip

    return work


def reports() -> list[str]:
    """Return what is reported one after the other: flushes of two lumens, each of which moves what is planned."""
    return [f"flushed {'grey' if number % 2 else 'purple'} {90 - 10 * number} min ago" for number in range(LATER + 1)]


def reports_on_the_page(table: Table, folder: Path, python: Path, rounds: int, *, reported: bool) -> None:
    """Measure from the report on the page until the feed has it, and until the page after it is there."""
    first: list[tuple[float, float]] = []
    later: list[tuple[float, float]] = []
    answered: list[float] = []
    pages: list[float] = []
    worked = [0.0, 0.0]
    facts = 0
    for number in range(rounds):
        home = Home(folder / f"reports-{reported}-{number}", python, reported=reported)
        facts = home.facts
        with home.daemon() as daemon:
            daemon.until(daemon.has_feed)
            for place, words in enumerate(reports()):
                daemon.prepare(words)
                before = daemon.feed()[1]["etag"]
                began, used = time.perf_counter(), daemon.processor
                daemon.send()
                answered.append(time.perf_counter() - began)
                while daemon.feed()[1]["etag"] == before:
                    pass
                took = time.perf_counter() - began
                pages.append(seconds(daemon.page))
                worked[0] += daemon.processor - used
                work = base_of(daemon.feed()[2])
                used = time.process_time()
                base = seconds(work)
                worked[1] += time.process_time() - used
                (later if place else first).append((took, base))
    what = f"{facts} facts before" if facts else "nothing recorded before"
    table.head(f"from a report on the page to the rewritten feed; {what}; ratio to icalendar's own work")
    for label, times in (("the first report after a start", first), ("later ones", later)):
        ratio = statistics.median(mine / base for mine, base in times)
        middle, base = (statistics.median(column) * 1000 for column in zip(*times, strict=True))
        table.row(label, ratio, "", 1.0, f"{middle:.0f} ms to {base:.0f} ms, {len(times)} reports")
    table.row(
        "  in processor time, the page after it included",
        worked[0] / worked[1],
        "",
        None,
        "whatever else the machine does",
    )
    table.row("  until the browser has its answer", statistics.median(answered) * 1000, "ms")
    table.row("  the page of now, asked for right after", statistics.median(pages) * 1000, "ms")


def reports_in_process(table: Table, folder: Path, rounds: int, *, reported: bool) -> None:
    """Measure the same without the page: the report recorded, planned anew, the feed written."""
    times: list[tuple[float, float]] = []
    for number in range(rounds):
        home = Home(folder / f"alone-{reported}-{number}", Path(sys.executable), reported=reported)
        keeper = Keeper(home.plan, time.time)
        feed = home.places.feed_of(home.plan_id)
        keeper.took(publish_feed(keeper.household, feed, keeper.instant))
        for place, words in enumerate(reports()):
            keeper.refresh()
            meant = said(words.split(), keeper.household.plan)
            began = time.perf_counter()
            found = report_to(keeper.household, meant, f"report-{place}", keeper.instant)
            took = time.perf_counter() - began
            assert found.facts and found.calendars and not found.troubles
            keeper.took(found.household)
            times.append((took, seconds(base_of((feed / "calendar.ics").read_bytes()))))
    table.row("in this process, without the page", statistics.median(mine / base for mine, base in times), "", 1.0)


class Skipping:
    """A clock that runs like the real one, and is set ahead between one moment and the next."""

    def __init__(self) -> None:
        """Begin at the present."""
        self.ahead = 0.0

    def __call__(self) -> float:
        """Return seconds since 1970."""
        return time.time() + self.ahead


async def latenesses(home: Home, moments: int) -> list[float]:
    """Return how late each of so many pop-ups was handed over, in seconds: from when it is due to when ``show`` is called.

    The clock is set so that each moment comes after a random part of a second; alarm, ticker and journal are the daemon's.
    """
    clock, chance = Skipping(), random.Random(1)
    keeper = Keeper(home.plan, clock)
    late: list[float] = []
    armed, shown = [0.0], asyncio.Event()

    async def show(_popup: PopUp) -> Outcome:
        if not shown.is_set():  # the first of those that are due at one moment
            late.append(clock() - armed[0])
            shown.set()
        return Outcome(shown=True, way="", why="")

    async def wake() -> None:
        await ticker.tick()

    alarm = Alarm(wake)

    def arm(at: datetime) -> None:
        armed[0] = at.timestamp()
        alarm.set(at - timedelta(seconds=clock.ahead))

    world = Surroundings(now=clock, elapsed=clock, show=show, ring=lambda _popup: False, arm=arm)
    with closing(Journal(home.places.journal_of(home.plan_id))) as journal:
        ticker = Ticker(keeper, journal, world, lambda: "http://127.0.0.1/")
        alarm.start()
        await ticker.tick()
        late.clear()
        while len(late) < moments:
            shown.clear()
            clock.ahead += armed[0] - clock() - chance.uniform(0.05, 0.15)
            arm(datetime.fromtimestamp(armed[0], UTC))
            if keeper.refresh():  # a new day, which the daemon's pulse notices
                await ticker.tick()
            await asyncio.wait_for(shown.wait(), 30)
            await ticker.tick()  # when the one under way has ended
        alarm.stop()
    return late


def centile(values: Sequence[float], part: int) -> float:
    """Return a percentile."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, -(-len(ordered) * part // 100) - 1)]


def lateness(table: Table, folder: Path, moments: int) -> None:
    """Measure how late pop-ups are handed over to be shown."""
    home = Home(folder / "late", Path(sys.executable), reported=True)
    late = [each * 1000 for each in asyncio.run(latenesses(home, moments))]
    table.head(f"how late a pop-up is handed over, in this process: alarm, look, journal; {len(late)} moments")
    table.row("half of them at most", centile(late, 50), "ms")
    table.row("99 of 100 at most", centile(late, 99), "ms", 50.0)
    table.row("the latest", max(late), "ms")


def starts(table: Table, folder: Path, python: Path, rounds: int) -> None:
    """Measure from the start of the process to the first page and to the first pop-up."""
    new = Home(folder / "new", python)
    with new.daemon() as daemon:
        ever = daemon.page_after
    again = []
    used = []
    for _ in range(rounds):
        with new.daemon() as daemon:
            again.append(daemon.page_after)
            used.append(daemon.processor)
    home = Home(folder / "course", python, reported=True)
    later = []
    for _ in range(rounds):
        with home.daemon() as daemon:
            later.append(daemon.page_after)
    table.head(f"from the start of the process; the median of {rounds} starts")
    table.row("to the first page, the first start of a household", ever, "s", 1.0)
    table.row("to the first page, nothing recorded", statistics.median(again), "s", 1.0, f"{max(again):.3f} at most")
    table.row(f"to the first page, {home.facts} facts", statistics.median(later), "s", 1.0, f"{max(later):.3f} at most")
    table.row("  of it processor time, nothing recorded", statistics.median(used), "s")
    bare = [seconds(partial(subprocess.run, [python, "-c", "import icalendar"], check=True)) for _ in range(rounds)]
    table.row("  (an interpreter that imports icalendar and ends)", statistics.median(bare), "s")
    if shutil.which("dbus-daemon") is None:
        print("  to the first pop-up: not measured, dbus-daemon is not installed")
        return
    took = []
    for number in range(rounds):
        with desk() as at:
            at.start_service()
            overdue = Home(folder / f"overdue-{number}", python, desk=at.env)
            with overdue.starting() as daemon:
                took.append(daemon.until(at.calls))
    table.row("to the first pop-up on the desktop's bus", statistics.median(took), "s", 1.0, f"{max(took):.3f} at most")


def memory(table: Table, folder: Path, python: Path) -> None:
    """Measure the resident memory after a start, and after a household has used the daemon."""
    table.head("resident memory of the daemon's process (10^6 bytes)")
    home = Home(folder / "memory", python, reported=True)
    with home.daemon() as daemon:
        daemon.until(daemon.has_feed)
        time.sleep(3)  # until the feed is written, and the first glances are done
        table.row("after the start", daemon.resident, "MB", 60.0)
        for number in range(50):
            assert daemon.page(PAGES[number % len(PAGES)])[0] == 200
        table.row("after 50 pages", daemon.resident, "MB", 60.0)
        for _ in range(20):
            assert daemon.feed()[0] == 200
        table.row("after 20 fetches of the feed", daemon.resident, "MB", 60.0)
        for words in reports():
            daemon.prepare(words)
            daemon.send()
            daemon.page()
        table.row("after 5 reports", daemon.resident, "MB", 60.0)


def waiting(table: Table, folder: Path, python: Path, idle: float) -> None:
    """Measure a daemon with nothing due, and meanwhile how late another one's pop-ups arrive."""
    home = Home(folder / "idle", python, reported=True)
    with home.daemon() as daemon:
        daemon.until(daemon.has_feed)
        time.sleep(5)
        before, begun = daemon.processor, time.monotonic()
        arrived: list[float] = []
        if shutil.which("dbus-daemon") is None:
            time.sleep(idle)
        else:
            with desk() as at:
                arrived = arrivals(folder, python, at, begun + idle)
        lasted, used = time.monotonic() - begun, daemon.processor - before
    table.head("waiting")
    table.row(
        f"processor time in {lasted:.0f} s with nothing due", 100 * used / lasted, "% of a core", 0.1, f"{used:.2f} s"
    )
    if arrived:
        table.row("from the full minute to the desktop's bus, half of them", statistics.median(arrived) * 1000, "ms")
        table.row(
            "  the latest", max(arrived) * 1000, "ms", None, f"{len(arrived)} pop-ups, the helper's start included"
        )


def arrivals(folder: Path, python: Path, at: Desk, end: float) -> list[float]:
    """Return for each full minute until ``end`` (monotonic) how many seconds later the first pop-up came by the bus."""
    at.start_service()
    home = Home(folder / "each-minute", python, EACH_MINUTE, desk=at.env)
    found: list[float] = []
    with home.daemon() as daemon:
        daemon.until(at.calls)
        while (left := end - time.monotonic()) > 0:
            minute = time.time() // 60 * 60 + 60
            if minute - time.time() + 8 > left:
                time.sleep(left)
                break
            time.sleep(max(0.0, minute - time.time() - 0.5))
            log = at.folder / "calls"
            before = log.stat().st_size
            while log.stat().st_size == before and time.time() < minute + 8:
                time.sleep(0.001)
            found.append(time.time() - minute)
    return found


def main() -> None:
    """Measure and print."""
    asked = argparse.ArgumentParser(description="Measure the daemon.")
    asked.add_argument("--rounds", type=int, default=5, help="rounds of what is repeated; 5 if left out")
    asked.add_argument("--moments", type=int, default=300, help="pop-ups whose lateness is measured; 300 if left out")
    asked.add_argument("--idle-seconds", type=float, default=600.0, help="how long the daemon waits; 600 if left out")
    asked.add_argument("--python", type=Path, help="the interpreter of the daemon; a fresh environment if left out")
    told = asked.parse_args()
    table = Table()
    with tempfile.TemporaryDirectory(prefix="daemon-benchmark-") as name:
        folder = Path(name)
        python = told.python or fresh_python(folder)
        has = subprocess.run([python, "-c", "import numpy"], capture_output=True, check=False).returncode == 0
        print(
            f"the daemon of the three-lumen sample, 42 days, in {'a fresh environment' if told.python is None else python}, "
            f"{'with' if has else 'without'} numpy; {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} at the start"
        )
        starts(table, folder, python, told.rounds)
        for reported in (False, True):
            reports_on_the_page(table, folder, python, told.rounds, reported=reported)
            reports_in_process(table, folder, told.rounds, reported=reported)
        memory(table, folder, python)
        lateness(table, folder, told.moments)
        waiting(table, folder, python, told.idle_seconds)
    print(f"\nload {os.getloadavg()[0]:.1f} at the end; missed: {', '.join(table.failed) or 'no aim'}")


if __name__ == "__main__":
    main()
