"""A real calendar program subscribes to the running feed, before and after a late finish: Evolution Data Server."""

import json
import os
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from applying import events
from feed_home import FeedHome, feed_home  # noqa: F401
from readers.readers import FAR_AWAY, HERE, need
from starlette.datastructures import Headers
from starlette.responses import Response

import reminders.web.feed
from reminders.feed_file import Body
from reminders.web.feed import answered

SYSTEM_PYTHON = Path("/usr/bin/python3")
PATIENCE = 15.0
"""Seconds that the program may take to show what it has fetched."""


@dataclass
class Program:
    """The calendar program, subscribed to one address."""

    process: "subprocess.Popen[str]"

    def look(self) -> dict[str, Any]:
        """Refresh, and return what it shows."""
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.write("\n")
        self.process.stdin.flush()
        line = self.process.stdout.readline()
        assert line, "the program ended"
        found: dict[str, Any] = json.loads(line)
        return found

    def look_until(self, right: Callable[[Mapping[str, Any]], bool]) -> dict[str, Any]:
        """Refresh until it shows what is right, or for so long as it may take."""
        ends = time.monotonic() + PATIENCE
        found = self.look()
        while not right(found) and time.monotonic() < ends:
            found = self.look()
        return found


@contextmanager
def subscribed(address: str, folder: Path) -> Iterator[Program]:
    """Run the program on a bus, in a home and in a zone of its own."""
    bus = need("dbus-run-session", "dbus (dbus-run-session)")
    asked = "import gi; gi.require_version('ECal', '2.0'); from gi.repository import ECal"
    if (
        not SYSTEM_PYTHON.exists()
        or subprocess.run([SYSTEM_PYTHON, "-c", asked], capture_output=True, check=False).returncode != 0
    ):
        pytest.skip(
            "not run: Evolution Data Server (evolution-data-server, gir1.2-ecal-2.0, python3-gi) is not installed"
        )
    home = folder / "eds"
    home.mkdir()
    environment = {"PATH": os.environ["PATH"], "LANG": "C.UTF-8", "TZ": FAR_AWAY, "HOME": str(home)}
    for name in ("CONFIG_HOME", "DATA_HOME", "CACHE_HOME", "STATE_HOME", "RUNTIME_DIR"):
        path = home / name.lower()
        path.mkdir(mode=0o700)
        environment[f"XDG_{name}"] = str(path)
    environment["GSETTINGS_BACKEND"] = "memory"
    with (folder / "eds.log").open("w", encoding="utf-8") as log:
        process = subprocess.Popen(
            [bus, "--", SYSTEM_PYTHON, HERE / "evolution.py", address],
            env=environment, cwd=home, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, text=True,
        )  # fmt: skip
        with process:
            try:
                yield Program(process)
            finally:
                assert process.stdin is not None
                process.stdin.close()
                process.wait(10)


@dataclass
class Asked:
    """What the feed was asked for and what it answered."""

    seen: list[tuple[str, int]] = field(default_factory=list)

    def answer(self, headers: Headers, body: Body, now: Callable[[], float]) -> Response:
        """Answer as the feed does, and remember."""
        answer = answered(headers, body, now)
        self.seen.append((headers.get("if-none-match", ""), answer.status_code))
        return answer


def spans(content: bytes) -> dict[str, tuple[int, int, bool]]:
    """Return when each event of a file is, as this test's own reader has it."""
    return {
        uid: (int(event.start.timestamp()), int(event.end.timestamp()), event.cancelled)
        for uid, event in events(content).items()
    }


def seen(found: Mapping[str, Any]) -> dict[str, tuple[int, int, bool]]:
    """Return the same of what the program shows."""
    return {uid: (event["start"], event["end"], event["cancelled"]) for uid, event in found.items()}


def test_a_calendar_program_shows_a_late_finish(
    home: FeedHome, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It shows the plan's instants; asks again by ETag and is told that nothing changed; then shows what moved."""
    asked = Asked()
    monkeypatch.setattr(reminders.web.feed, "answered", asked.answer)
    phone = home.desk.phones.add("GNOME")
    home.reports("06-01 09:00", "started velmorin")
    with home.listening():
        root = home.desk.home.removesuffix(f"{home.desk.secret}/")
        address = f"{root}f/{phone.token}/calendar.ics"
        with subscribed(address, tmp_path) as program:
            before = home.file.read_bytes()
            assert seen(program.look_until(lambda found: bool(found))) == spans(before)

            asked.seen.clear()
            assert seen(program.look_until(lambda found: bool(asked.seen))) == spans(before)
            body = home.desk.feed.body()
            assert body is not None
            assert set(asked.seen) == {(body.etag, 304)}

            home.reports("06-01 10:50", "finished and flushed velmorin 10:45")
            after = home.file.read_bytes()
            moved = {uid for uid, span in spans(after).items() if spans(before).get(uid) != span}
            assert len(moved) >= 2, "the finish, and the flush whose limit counts from it"
            late = program.look_until(lambda found: seen(found) == spans(after))
            assert seen(late) == spans(after)
            assert (body.etag, 200) in asked.seen, "it named what it had, and was given the new one"
            finish = [event for event in late.values() if "finish velmorin" in event["summary"]]
            assert min(finish, key=lambda event: event["start"])["summary"].startswith("Done late: ")
            assert {uid: event["rings"] for uid, event in late.items() if uid in events(after)} == {
                uid: next((int((event.start - ring).total_seconds()) for ring in event.rings), None)
                for uid, event in events(after).items()
            }
    assert home.desk.phones.all()[0].fetched == home.clock.now
