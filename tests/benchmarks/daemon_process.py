"""A household with its daemon, for the benchmark: a plan moved to the present, folders of its own, the process itself.

The sample's dates are moved so that now lies in the middle of the course, and its zone is one in which it is between ten
and eleven in the morning: then nothing of the sample is due for more than two hours, at whatever hour the benchmark is run.
Linux only: memory and processor time are read from ``/proc``.
"""

import http.client
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode

from run import ROOT, SAMPLE, facts_of

from reminders.household import add_facts, open_household, put_in_use
from reminders.phones import Phones
from reminders.places import places
from reminders.times import Instant

FIRST_DAY, MORNING = date(2026, 10, 12), 10
"""The sample's first day; the local hour that it shall be."""

DAYS_BEFORE = 21
"""So many days of the course lie behind: about 300 facts, if all is reported."""

PATIENCE = 60.0
"""Seconds that are waited for an answer before the benchmark gives up."""

Answer = tuple[int, Mapping[str, str], bytes]


def fresh_python(folder: Path) -> Path:
    """Install the package as the README's first command does, into an environment below ``folder``; return its Python."""
    source, made = folder / "source", folder / "environment"
    shutil.copytree(ROOT / "reminders", source / "reminders", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, source)
    subprocess.run([sys.executable, "-m", "venv", made], check=True)
    python = made / "bin" / "python"
    subprocess.run(
        [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "."],
        cwd=source,
        check=True,
        stderr=subprocess.DEVNULL,
    )
    return python


def moved_plan(now: datetime, edits: Mapping[str, str] | None = None) -> str:
    """Return the sample's text with its dates moved around ``now``, and with some of its lines replaced."""
    text = SAMPLE.read_text(encoding="utf-8")
    for old, new in (edits or {}).items():
        assert old in text, old
        text = text.replace(old, new)
    ahead = (MORNING - now.astimezone(UTC).hour + 12) % 24 - 12
    zone = f"Etc/GMT{-ahead:+d}" if ahead else "Etc/GMT"  # these names count westwards
    today = (now.astimezone(UTC) + timedelta(hours=ahead)).date()
    days = today - timedelta(days=DAYS_BEFORE) - FIRST_DAY
    text = text.replace('"America/Chicago"', f'"{zone}"')
    return re.sub(r"\b2026-\d\d-\d\d\b", lambda found: f"{date.fromisoformat(found[0]) + days}", text)


@dataclass
class Home:
    """One household in a folder: its plan, the environment in which its daemon runs, one phone."""

    folder: Path
    python: Path
    edits: Mapping[str, str] = field(default_factory=dict)
    reported: bool = False
    desk: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Write the plan, the record if all shall have been ``reported`` so far, and add a phone."""
        self.folder.mkdir(parents=True)
        self.plan = self.folder / "plan.toml"
        self.plan.write_text(moved_plan(datetime.now(UTC), self.edits), encoding="utf-8")
        names = ("CONFIG", "DATA", "STATE", "CACHE")
        self.own = {f"XDG_{name}_HOME": str(self.folder / name.lower()) for name in names}
        self.own |= {"HOME": str(self.folder), "DBUS_SESSION_BUS_ADDRESS": f"unix:path={self.folder / 'no-bus'}"}
        household = open_household(self.plan, _minute())
        self.plan_id = household.plan.course.id
        self.facts = 0
        if self.reported:
            touches = enumerate(household.schedule(_minute()).touches)
            past = [(number, touch) for number, touch in touches if touch.at + 11 < _minute()]
            facts = [fact for number, touch in past for fact in facts_of(touch, number * 7 % 11)]
            begun = facts[0].happened
            household, _added = add_facts(household, lambda current: put_in_use(current, begun), begun)
            _household, added = add_facts(household, lambda _current: facts, facts[-1].happened)
            self.facts = len(added)
        with self.entered():
            self.places = places()
        phones = Phones(self.places.secrets_of(self.plan_id), time.time)
        self.secret, self.token = phones.secret, phones.add("phone").token

    @contextmanager
    def entered(self) -> Iterator[None]:
        """Make this process find the household's folders, for as long as this is entered."""
        before = {name: os.environ.get(name) for name in self.own}
        os.environ.update(self.own)
        try:
            yield
        finally:
            for name, value in before.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value

    @property
    def env(self) -> dict[str, str]:
        """Return the environment of the daemon; the bytecode of what it imports may be kept, as it is everywhere."""
        env = {
            name: value for name, value in os.environ.items() if name not in ("PYTHONDONTWRITEBYTECODE", "PYTHONPATH")
        }
        if self.python == Path(sys.executable):
            env["PYTHONPATH"] = str(ROOT)
        return env | self.own | dict(self.desk)

    @contextmanager
    def daemon(self) -> Iterator["Daemon"]:
        """Run the daemon for as long as this is entered; begin when its page answers."""
        with self.starting() as started:
            started.page_after = started.until(lambda: started.page()[0] == 200)
            yield started

    @contextmanager
    def starting(self) -> Iterator["Daemon"]:
        """Start the daemon's process, and stop it at the end."""
        port = _free_port()
        begun = time.perf_counter()
        with (self.folder / "printed").open("ab") as printed:
            process = subprocess.Popen(
                [self.python, "-m", "reminders", "run", self.plan, "--port", str(port)],
                cwd=self.folder,
                env=self.env,
                stdin=subprocess.DEVNULL,
                stdout=printed,
                stderr=printed,
            )
        started = Daemon(self, process, port, begun)
        try:
            yield started
        finally:
            started.connection.close()
            process.send_signal(signal.SIGTERM)
            process.wait(PATIENCE)


@dataclass
class Daemon:
    """A daemon's process. ``begun``: when it was started, on :func:`time.perf_counter`; ``page_after``: seconds from then
    until its page answered. ``form``: what :meth:`send` sends."""

    home: Home
    process: subprocess.Popen[bytes]
    port: int
    begun: float
    page_after: float = 0.0
    form: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Prepare a connection, which is kept open as a browser's is."""
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)

    def asked(self, method: str, path: str, body: Mapping[str, str] | None = None) -> Answer:
        """Send a request; return status, headers and body; status 0 while nobody listens."""
        headers = {} if body is None else {"Content-Type": "application/x-www-form-urlencoded"}
        for again in (True, False):
            try:
                self.connection.request(method, path, None if body is None else urlencode(body), headers)
                answer = self.connection.getresponse()
                return answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read()
            except ConnectionRefusedError:
                self.connection.close()
                break
            except (http.client.RemoteDisconnected, ConnectionError):
                self.connection.close()  # an idle one, which the daemon has closed
                assert again and method == "GET", path
        return 0, {}, b""

    def page(self, path: str = "") -> Answer:
        """Ask for a page by its address below the secret."""
        return self.asked("GET", f"/{self.home.secret}/{path}")

    def feed(self) -> Answer:
        """Ask for the calendar as the phone does."""
        return self.asked("GET", f"/f/{self.home.token}/calendar.ics")

    def has_feed(self) -> bool:
        """Say whether the calendar is there."""
        return self.feed()[0] == 200

    def prepare(self, words: str) -> None:
        """Make a report in free words ready to be sent, as a browser does that shows the form."""
        _status, _headers, page = self.page("other")
        found = re.search(r'name="token" value="([^"]+)"', page.decode())
        assert found is not None
        self.form = {"token": found[1], "key": str(uuid.uuid4()), "words": words, "by": ""}
        self.page()  # so that the connection is open

    def send(self) -> None:
        """Send the form of :meth:`prepare`."""
        status, headers, page = self.asked("POST", f"/{self.home.secret}/words", self.form)
        assert status == 303 and "twice" not in headers["location"], (status, page.decode())

    def until(self, condition: Callable[[], object], every: float = 0.01) -> float:
        """Wait until something holds; return the seconds since the process was started."""
        while not condition():
            assert self.process.poll() is None, (self.home.folder / "printed").read_text()
            assert time.perf_counter() - self.begun < PATIENCE, "waited in vain"
            time.sleep(every)
        return time.perf_counter() - self.begun

    @property
    def resident(self) -> float:
        """Return the resident memory in megabytes of 10^6 bytes."""
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        found = re.search(r"VmRSS:\s*(\d+) kB", status)
        assert found is not None
        return int(found[1]) * 1024 / 1e6

    @property
    def processor(self) -> float:
        """Return the seconds of processor time that it has taken, its own and the system's for it."""
        told = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def _minute() -> Instant:
    return Instant(int(time.time() // 60))


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])
