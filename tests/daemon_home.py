"""A computer of one's own for tests of the real daemon: its folders, its clock, its pop-ups, and the processes on it.

The clock is the computer's wall clock alone, which a preloaded library shifts (``wallshift.c``); elapsed time goes on as it is. So
plans have fixed dates, and a test sets the clock as sleep, or a person, does. All times are Chicago's, in June 2026.
"""

import json
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from popup_desk import Desk, desk, judge
from small_plans import DAILY, plan_text

from reminders.record.facts import Record
from reminders.record.store import Store, record_path

ROOT = Path(__file__).resolve().parent.parent
PLAN_ID = uuid.UUID("0f0e8a52-6a0b-4c53-8d3e-6f5a1f0b9c11")
PATIENCE = 45.0
"""For how many seconds another process is waited for, on a computer with much else to do."""

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0

DUE = f"""{DAILY}
[pop_up]
ahead = "0 min"
"""
"""One dose each day at 09:00, for an hour; nothing is announced ahead of its time."""


def moment(text: str) -> float:
    """Return ``06-01 09:00`` or ``06-01 09:00:30`` of Chicago's summer in seconds since 1970."""
    return datetime.fromisoformat(f"2026-{text}-05:00").timestamp()


def wait_until(condition: Callable[[], object], what: str, patience: float = PATIENCE) -> float:
    """Wait until something holds that another process brings about, or fail; return how many seconds it took."""
    begun = time.monotonic()
    while not condition():
        assert time.monotonic() < begun + patience, f"waited in vain: {what}"
        time.sleep(0.02)
    return time.monotonic() - begun


@pytest.fixture(scope="session", name="wallshift")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Compile the library that shifts the clock, once."""
    if sys.platform != "linux":
        pytest.skip("not run: the library that shifts a program's clock is Linux's")
    judge("gcc")
    made = tmp_path_factory.mktemp("clock") / "wallshift.so"
    source = Path(__file__).with_name("wallshift.c")
    subprocess.run(["gcc", "-O2", "-shared", "-fPIC", "-o", made, source], check=True)
    return made


class Clock:
    """A wall clock, kept in a file that programs look at."""

    def __init__(self, path: Path, at: str) -> None:
        self.path = path
        self._shift = 0.0
        self.set(at)

    def now(self) -> float:
        """Return what it shows, in seconds since 1970."""
        return time.time() + self._shift

    def move(self, seconds: float) -> None:
        """Set it ahead, or back; the programs that look at it see that at once."""
        self._shift += seconds
        with self.path.open("r+b" if self.path.exists() else "wb") as file:  # the same file: it is mapped
            file.write(round(self._shift * 1e9).to_bytes(8, sys.byteorder, signed=True))

    def set(self, at: str) -> None:
        """Set it to ``06-01 09:00:30`` of the home zone."""
        self.move(moment(at) - self.now())


@dataclass
class Daemon:
    """One process ``reminders run``, and where what it says is written."""

    process: subprocess.Popen[bytes]
    said: Path
    begun: float

    @property
    def output(self) -> str:
        """Return what it has said so far."""
        return self.said.read_text(encoding="utf-8")

    def kill(self) -> None:
        """End it as a power cut does."""
        self.process.kill()
        self.process.wait()

    def stop(self, number: int = signal.SIGTERM) -> int:
        """Ask it to end, and return its exit status."""
        self.process.send_signal(number)
        return self.process.wait(PATIENCE)


@dataclass
class Computer:
    """A computer with its own folders, clock, and desktop; ``desk`` is None where it has none."""

    folder: Path
    clock: Clock
    library: Path
    desk: Desk | None
    port: int
    plan: Path = field(init=False)
    daemons: list[Daemon] = field(default_factory=list)
    extra: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.home = self.folder / "home"
        self.home.mkdir()
        self.plan = self.folder / "care" / "fennimore.toml"
        self.plan.parent.mkdir()

    def write(self, edits: str) -> None:
        """Write the plan, in one step: the base plan with edits."""
        self.write_text(plan_text(edits))

    def write_text(self, text: str) -> None:
        """Put a text in the plan's place, in one step."""
        new = self.plan.with_suffix(".new")
        new.write_text(text, encoding="utf-8")
        new.replace(self.plan)

    @property
    def env(self) -> dict[str, str]:
        """Return the environment of this computer's programs."""
        apart = ("DBUS_", "XDG_", "DISPLAY", "WAYLAND", "NOTIFY_SOCKET", "PYTHON")
        kept = {name: value for name, value in os.environ.items() if not name.startswith(apart)}
        on_desk = {"XDG_RUNTIME_DIR": str(self.home)} if self.desk is None else self.desk.env
        return {
            **kept,
            **on_desk,
            "HOME": str(self.home),
            "PYTHONPATH": str(ROOT),
            "PYTHONPYCACHEPREFIX": str(self.library.parent / "compiled"),
            "LD_PRELOAD": str(self.library),
            "WALLSHIFT": str(self.clock.path),
            **self.extra,
        }

    def start(self, *options: str, **kwargs: Any) -> Daemon:
        """Start a daemon of the plan."""
        said = self.folder / f"said-{len(self.daemons)}"
        command = [sys.executable, "-m", "reminders", "run", str(self.plan), "--port", str(self.port), *options]
        with said.open("wb") as file:
            begun = time.monotonic()
            process = subprocess.Popen(
                command, env=self.env, cwd=self.folder, stdin=subprocess.DEVNULL, stdout=file, stderr=file, **kwargs
            )
        self.daemons.append(Daemon(process, said, begun))
        return self.daemons[-1]

    def up(self, *options: str, **kwargs: Any) -> Daemon:
        """Start a daemon and wait until its first look is done and it has said how pop-ups are shown."""
        daemon = self.start(*options, **kwargs)
        wait_until(lambda: "op-ups" in daemon.output.lower() or daemon.process.poll() is not None, "the daemon starts")
        assert daemon.process.poll() is None, daemon.output
        return daemon

    def command(self, *words: str, env: Mapping[str, str] | None = None) -> subprocess.CompletedProcess[str]:
        """Run a command of the program for the plan."""
        done = subprocess.run(
            [sys.executable, "-m", "reminders", words[0], str(self.plan), *words[1:]],
            env=self.env | dict(env or {}),
            cwd=self.folder,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=2 * PATIENCE,
            check=False,
        )
        assert "Traceback" not in done.stdout + done.stderr
        return done

    def record(self, *words: str) -> str:
        """Record something by the command; return what is said."""
        done = self.command("record", *words)
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def status(self, *, ahead: float = 0.0) -> tuple[int, str]:
        """Return what ``reminders status`` says, as if ``ahead`` seconds had passed, with its exit status."""
        if not ahead:
            done = self.command("status")
        else:
            later = Clock(self.folder / "later", "06-01 00:00")
            later.move(self.clock.now() + ahead - later.now())
            done = self.command("status", env={"WALLSHIFT": str(later.path)})
        return done.returncode, done.stdout + done.stderr

    def address(self) -> str:
        """Return the page's address."""
        done = self.command("page", "--address")
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout.strip()

    # --- its files ---

    @property
    def state(self) -> Path:
        return self.home / ".local" / "state" / "reminders"

    @property
    def log(self) -> str:
        """Return the daemon's log."""
        path = self.state / "log" / f"daemon-{PLAN_ID}.log"
        return path.read_text(encoding="utf-8") if path.exists() else ""

    @property
    def life(self) -> dict[str, Any]:
        """Return the daemon's sign of life."""
        found: dict[str, Any] = json.loads((self.state / f"life-{PLAN_ID}.json").read_text(encoding="utf-8"))
        return found

    @property
    def journal(self) -> Path:
        return self.state / f"raised-{PLAN_ID}.sqlite3"

    def journal_rows(self) -> list[tuple[str, dict[str, int], str]]:
        """Return each pop-up's title, what it told, and its state, as the journal has them, oldest first."""
        with closing(sqlite3.connect(f"{self.journal.as_uri()}?mode=ro", uri=True, timeout=10)) as connection:
            rows = connection.execute("SELECT title, told, state FROM raised ORDER BY number").fetchall()
        return [(title, json.loads(told), state) for title, told, state in rows]

    @property
    def store(self) -> Path:
        return record_path(self.plan, PLAN_ID)

    def read_record(self) -> Record:
        """Return the record as it is on the disk."""
        store = Store.open(self.store, PLAN_ID, create=False)
        assert store is not None
        with store:
            return store.read()

    # --- what is told, and who runs ---

    def told(self) -> list[dict[str, Any]]:
        """Return the pop-ups that the desktop was asked for, oldest first."""
        assert self.desk is not None
        return self.desk.calls()

    def titles(self) -> list[str]:
        """Return their titles."""
        return [str(call["title"]) for call in self.told()]

    def running(self) -> dict[int, list[str]]:
        """Return the arguments of each process that was started on this computer, by its number."""
        found = {}
        mark = f"HOME={self.home}".encode()
        for entry in Path("/proc").iterdir():
            if not entry.name.isdigit():
                continue
            with suppress(OSError):  # it has ended meanwhile
                if mark in (entry / "environ").read_bytes().split(b"\0"):
                    arguments = (entry / "cmdline").read_bytes().rstrip(b"\0").split(b"\0")
                    if arguments != [b""]:  # one that has ended, and of which only the number is left
                        found[int(entry.name)] = [argument.decode() for argument in arguments]
        return found


@contextmanager
def computer(folder: Path, library: Path, at: str, *, service: str = "normal") -> Iterator[Computer]:
    """Give a computer whose clock shows ``at``; ``service`` is the mode of its notification service, "" for none."""
    with desk() as its_desk:
        if service:
            its_desk.start_service(service)
        made = Computer(folder, Clock(folder / "clock", at), library, its_desk, free_port())
        try:
            yield made
        finally:
            for daemon in made.daemons:
                if daemon.process.poll() is None:
                    daemon.process.send_signal(signal.SIGCONT)
                    daemon.kill()
            wait_until(lambda: not made.running(), "what was started there ends")


def free_port() -> int:
    """Return a port that nobody listens at."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
        return port


def answers(address: str, status: int = 200) -> bool:
    """Say whether an address answers as it should."""
    try:
        return httpx.get(address, timeout=PATIENCE).status_code == status
    except httpx.TransportError:
        return False
