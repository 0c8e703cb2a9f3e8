"""A program that writes to a record and is killed, kept waiting or starved of room; ``test_record_store.py`` runs it.

It imports no more than it needs, and forks the processes that are to be killed, so that hundreds of deaths take seconds.
"""

import itertools
import json
import os
import random
import signal
import sqlite3
import sys
import time
import uuid
from collections import Counter
from contextlib import closing
from pathlib import Path

from reminders.record.facts import Fact, Kind, Record
from reminders.record.store import RecordError, Store, record_path
from reminders.times import Instant

PLAN_ID = uuid.UUID("7d1f0b9e-3c52-4f0a-9a3e-5b8f2f6c1d20")
LIVES = 20
"""How often the writers of one store are killed before another store is begun."""
MAKING = 6
"""So many lives at most end before a new store is made; then one may go on until it has acknowledged something."""


def say(words: str) -> None:
    """Tell the test something, at once."""
    sys.stdout.write(words + "\n")
    sys.stdout.flush()


def report(who: str, number: int) -> tuple[Fact, ...]:
    """Return a report of one to three facts; the same for the same number, as if it were sent again."""
    kinds = (Kind.STARTED, Kind.FINISHED, Kind.FLUSHED)[: 1 + number % 3]
    return tuple(
        Fact(
            key=f"{who}-{number}-{part}",
            report=f"{who}-{number}",
            kind=kind,
            happened=Instant(29_884_920 + number),
            entered=Instant(29_884_921 + number),
            order="" if kind is Kind.FLUSHED else "cefazolin",
            dose="" if kind is Kind.FLUSHED else "2026-10-27T08:00",
            lumen="red" if kind is Kind.FLUSHED else "",
        )
        for part, kind in enumerate(kinds)
    )


def opened(path: Path) -> Store:
    """Open a store, which is made if it is not there."""
    store = Store.open(path, PLAN_ID, create=True)
    assert store is not None
    return store


# --- Killed at random moments ---


def write_until_killed(path: Path, first: int, pipe: int) -> None:
    """Append one report after another, and say of each when it is kept."""
    with opened(path) as store:
        for number in itertools.count(first):
            store.append(report("r", number))
            os.write(pipe, f"{number}\n".encode())


def pace(folder: Path) -> tuple[float, float]:
    """Return how many seconds this disk takes, as a rule, to make a store and to keep one report."""
    making, keeping = [], []
    for number in range(7):
        begun = time.perf_counter()
        with opened(folder / f"pace-{number}.sqlite3") as store:
            made = time.perf_counter()
            store.append(report("r", number))
        making.append(made - begun)
        keeping.append(time.perf_counter() - made)
    return sorted(making)[3], sorted(keeping)[3]


def one_life(path: Path, first: int, seconds: float) -> tuple[list[int], int]:
    """Kill a writer after so many seconds; return the numbers that it had acknowledged, and how it ended."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            write_until_killed(path, first, writing)
        finally:  # never back into the parent's code
            os._exit(3)
    os.close(writing)
    signal.signal(signal.SIGALRM, lambda *_: os.kill(child, signal.SIGKILL))
    signal.setitimer(signal.ITIMER_REAL, seconds)
    heard = b""
    while more := os.read(reading, 4096):  # until nobody is left to write
        heard += more
    signal.setitimer(signal.ITIMER_REAL, 0)
    os.close(reading)
    _, end = os.waitpid(child, 0)
    return [int(number) for number in heard.split()], end


def kept(path: Path) -> Record | None:
    """Return what the store holds, None if there is no store yet; the database is asked for its own opinion too."""
    store = Store.open(path, PLAN_ID, create=False)
    if store is None:
        return None
    with store:
        record = store.read()
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA quick_check").fetchall() == [("ok",)]
    return record


def faults_of(record: Record, acknowledged: int) -> tuple[list[str], int]:
    """Return what is wrong with a record, and how many reports it holds that were not acknowledged."""
    wrong = []
    numbers = sorted({int(fact.report.removeprefix("r-")) for fact in record.facts})
    if numbers != list(range(1, len(numbers) + 1)):
        wrong.append(f"reports are missing: there are {numbers}")
    if len(numbers) < acknowledged:
        wrong.append(f"{acknowledged} reports were acknowledged, and {len(numbers)} are there")
    if record.facts != tuple(fact for number in numbers for fact in report("r", number)):
        wrong.append("a report is not there whole, or not as it was entered")
    extras = len(numbers) - acknowledged
    if extras > 1:
        wrong.append(f"one killed writer left {extras} reports that it had not acknowledged")
    return wrong, extras


def kill_often(folder: Path, kills: int, seed: int) -> dict[str, object]:
    """Kill writers so often, in stores that are begun anew now and then; return what was seen."""
    chance = random.Random(seed)
    seen: Counter[str] = Counter()
    wrong: list[str] = []
    making, keeping = pace(folder)
    for number in itertools.count():
        path = record_path(folder / str(number) / "plan.toml", PLAN_ID)
        path.parent.mkdir()
        acknowledged = 0
        for life in range(LIVES):
            if seen["kills"] == kills:
                return {**seen, "wrong": wrong}
            new, half_made = not path.exists(), len(unfinished(path))
            longest = 2 * making if new and life < MAKING else making + 6 * keeping
            heard, end = one_life(path, acknowledged + 1, 1e-6 + chance.random() * longest)
            acknowledged = max([acknowledged, *heard])
            seen["kills"] += 1
            seen["acknowledged"] += len(heard)
            seen["killed in the making"] += new and len(unfinished(path)) > half_made
            seen["killed while writing"] += path.with_name(f"{path.name}-journal").exists()
            try:
                record = kept(path) or Record()
            except RecordError as error:
                wrong.append(f"kill {seen['kills']}: {error}")
                continue
            faults, extras = faults_of(record, acknowledged)
            if not os.WIFSIGNALED(end):
                faults.append("the writer ended by itself")
            wrong += [f"kill {seen['kills']}: {fault}" for fault in faults]
            acknowledged += extras
            seen["kept, but not acknowledged"] += extras
        with opened(path) as store:
            store.append(report("r", acknowledged + 1))
        if left := [each.name for each in path.parent.iterdir() if each != path]:
            wrong.append(f"left behind in {number}: {left}")
    raise AssertionError("there is always another store")


def unfinished(path: Path) -> list[Path]:
    """Return what killed writers have left of stores that they were making."""
    return [each for each in path.parent.iterdir() if each.suffix == ".new"]


# --- Side by side, and without room ---


def append_many(path: Path, who: str, reports: int) -> None:
    """Wait for a line of input, then make the store if need be, and append so many reports."""
    say("ready")
    sys.stdin.readline()
    for number in range(1, reports + 1):
        with opened(path) as store:
            store.append(report(who, number))


def append_without_room(path: Path, room: int) -> None:
    """Append until no file may grow beyond so many bytes more; say why it ended, what is there, and go on with room."""
    import resource  # here, because only POSIX has it

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    with opened(path) as store:
        _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + room, most))
        whole, why = 0, ""
        while not why:
            try:
                store.append(report("r", whole + 1))
                whole += 1
            except RecordError as error:
                why = str(error)
        facts, expected = store.read().facts, [fact for n in range(1, whole + 1) for fact in report("r", n)]
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
        again = store.append(report("r", whole + 1))
    say(json.dumps({"whole": whole, "why": why, "kept": list(facts) == expected, "again": len(again)}))


if __name__ == "__main__":
    task, place, *rest = sys.argv[1:]
    if task == "kill":
        say(json.dumps(kill_often(Path(place), int(rest[0]), int(rest[1]))))
    elif task == "append":
        append_many(Path(place), rest[0], int(rest[1]))
    else:
        append_without_room(Path(place), int(rest[0]))
