"""The real daemon as a process: what it tells over the bus, what it notices, how it ends, and what is left when it is killed.

Judged by what the desktop was asked to show, by what the commands and the page say, and by the files.
"""

import os
import random
import re
import resource
import signal
import socket
import sqlite3
import stat
import statistics
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from daemon_home import (
    DAY,
    DUE,
    HOUR,
    MINUTE,
    PATIENCE,
    PLAN_ID,
    Computer,
    answers,
    computer,
    library,  # noqa: F401 - the fixture wallshift
    moment,
    wait_until,
)

CAUTION = (
    "STOP, clamp, call On-call nurse, Fennimore Vale, 555-0142 if it will not flush, hurts, swells or leaks. "
    "Your provider's word goes first."
)
SOON = 15.0
"""Seconds within which a change on the disk or of the clock is noticed, on a computer with much else to do."""


@pytest.fixture(name="at")
def at_a_computer(tmp_path: Path, wallshift: Path) -> Iterator[Computer]:
    """Give a computer at five seconds past 09:00 of 1 June, when a dose is due."""
    with computer(tmp_path, wallshift, "06-01 09:00:05") as made:
        made.write(DUE)
        yield made


def soon(at: Computer, count: int) -> list[str]:
    """Wait until so many pop-ups were asked for; return their titles."""
    wait_until(lambda: len(at.titles()) >= count, f"{count} pop-ups, not {at.titles()}", SOON)
    return at.titles()


def looked(at: Computer) -> None:
    """Wait until the daemon has finished a look that it began after now: a step of the clock is a reason for one."""
    noticed = at.log.count("its clock was set forward")
    at.clock.move(6)
    now = at.clock.now()
    wait_until(lambda: at.log.count("its clock was set forward") > noticed, "the daemon begins to look", SOON)
    wait_until(lambda: at.life["last_tick"] >= now, "the daemon has looked", SOON)


def state(address: str) -> dict[str, Any]:
    """Return what an open page is told."""
    answer = httpx.get(f"{address}state", timeout=PATIENCE)
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def reported(address: str, words: str, **fields: str) -> httpx.Response:
    """Report something in words on the page, as a browser does; ``fields`` of the form besides, or in place of those."""
    token = re.findall(r'name="token" value="([0-9a-f]{64})"', httpx.get(address).text)[0]
    sent = {"token": token, "key": str(uuid.uuid4()), "words": words, **fields}
    return httpx.post(f"{address}words", data=sent, timeout=PATIENCE)


# --- What is told, and what is noticed ---


def test_what_is_due_is_told_and_what_is_recorded_elsewhere_is_noticed(at: Computer) -> None:
    """From the start that nobody recorded to a flush that is recorded: each pop-up's text, and its urgency."""
    daemon = at.up()
    first = at.told()[0]
    assert first["title"] == "Now: red lumen, start cefazolin 1 g"
    assert first["body"] == f"09:00 CDT.\n{CAUTION}"
    assert first["hints"] == {"urgency": ["y", 1]}
    at.record("started", "cefazolin")
    looked(at)
    at.clock.set("06-01 10:00:10")
    assert soon(at, 2)[1:] == ["Now: red lumen, finish cefazolin"]
    second = at.told()[1]
    assert (second["hints"], second["expire"]) == ({"urgency": ["y", 2]}, 0)  # critical, and stays
    at.clock.set("06-01 10:10:10")
    assert soon(at, 3)[2:] == ["Has it finished? red lumen, finish cefazolin"]
    at.record("finished", "cefazolin")
    assert soon(at, 4)[3:] == ["FLUSH NOW: red lumen"]
    assert at.told()[3]["hints"] == {"urgency": ["y", 2]}
    at.record("flushed", "red")
    at.clock.set("06-01 11:00:10")
    looked(at)
    assert len(at.titles()) == 4, "what is recorded is not told again"
    status, said = at.status()
    assert status == 0
    assert re.match(r"It runs, and last looked \d+ s ago\.\n", said)
    raised = said.partition("Raised last:\n")[2].partition("\n\n")[0].splitlines()
    assert [line.strip() for line in raised] == [
        "Mon 1 Jun 2026, 10:10 CDT  FLUSH NOW: red lumen",
        "Mon 1 Jun 2026, 10:10 CDT  Has it finished? red lumen, finish cefazolin",
        "Mon 1 Jun 2026, 10:00 CDT  Now: red lumen, finish cefazolin",
        "Mon 1 Jun 2026, 09:00 CDT  Now: red lumen, start cefazolin 1 g",
    ]
    assert "  Mon 1 Jun 2026, 22:10 CDT  Now: red lumen, flush\n" in said
    assert "op-up 4: 1 of flush, urgent; shown" in at.log
    assert daemon.stop() == 0


SECOND = f"""{DUE}
[plan]
revision = 2
takes_effect = "2026-06-01 09:01"
[order.cefazolin]
clock_times = ["09:30"]
first_dose = "2026-06-01 09:30"
"""


def test_a_new_revision_counts_once_it_is_put_in_use(at: Computer) -> None:
    at.up()
    address = at.address()
    at.record("not", "given", "cefazolin")
    at.write(SECOND)
    looked(at)
    assert "Revision 2 of the plan lies in the file fennimore.toml and is not in use." in httpx.get(address).text
    at.record("in", "use")
    at.clock.set("06-01 09:30:05")
    soon(at, 2)
    assert at.told()[-1]["title"] == "Now: red lumen, start cefazolin 1 g"
    assert at.told()[-1]["body"].startswith("09:30 CDT.\n")
    assert "is not in use" not in httpx.get(address).text


def test_a_plan_that_cannot_be_read_leaves_the_old_one_standing(at: Computer) -> None:
    at.up()
    address = at.address()
    good = at.plan.read_text(encoding="utf-8")
    at.record("started", "cefazolin")
    looked(at)
    at.write_text(good.replace('lumen = "red"', 'lumen = "blue"'))
    wait_until(lambda: at.life["troubles"], "the fault is noticed", SOON)
    assert at.life["troubles"] == ["fennimore.toml has errors. See which with  reminders check fennimore.toml ."]
    assert (
        "The plan or its record cannot be read now, so this page shows what was known before."
        in httpx.get(address).text
    )
    at.clock.set("06-01 10:00:10")
    assert soon(at, 2)[1] == "Now: red lumen, finish cefazolin"
    at.write_text(good)
    wait_until(lambda: not at.life["troubles"], "it is mended", SOON)
    assert at.status()[0] == 0


def test_with_a_plan_that_cannot_be_read_the_household_goes_on_reporting(at: Computer) -> None:
    """On the page; one report after another, and while the calendar for phones is renewed."""
    daemon = at.up()
    address = at.address()
    at.write_text(at.plan.read_text(encoding="utf-8").replace('lumen = "red"', 'lumen = "blue"'))
    wait_until(lambda: at.life["troubles"], "the fault is noticed", SOON)
    taken = [reported(address, words).status_code for words in ("started cefazolin", "counted 3 gloves")]
    at.clock.set("06-01 10:05:10")
    soon(at, 2)
    taken.append(reported(address, "finished cefazolin and flushed").status_code)
    looked(at)
    assert daemon.process.poll() is None, daemon.output
    assert taken == [303, 303, 303]
    assert len([fact for fact in at.read_record().facts if fact.order or fact.name or fact.lumen]) >= 3


def test_status_says_that_the_daemon_goes_by_the_old_plan(at: Computer) -> None:
    """A nurse's slip in the file is when the household asks; whether somebody reminds them must not depend on it."""
    at.up()
    at.write_text(at.plan.read_text(encoding="utf-8").replace('lumen = "red"', 'lumen = "blue"'))
    wait_until(lambda: at.life["troubles"], "the fault is noticed", SOON)
    status, said = at.status()
    assert status == 1
    assert re.search(r"^It runs, and last looked \d+ s ago\.$", said, re.MULTILINE)
    assert "TROUBLE: fennimore.toml has errors. See which with  reminders check fennimore.toml ." in said


# --- One daemon, alive or not ---


def test_a_second_daemon_is_refused_and_one_that_was_killed_makes_room(at: Computer) -> None:
    first = at.up()
    address = at.address()
    second = at.start()
    assert second.process.wait(PATIENCE) == 3
    assert second.output == "Reminders runs for this plan already; see  reminders status . Nothing was started.\n"
    assert answers(address)
    first.kill()
    third = at.start()
    wait_until(lambda: answers(address), "the next one is up")
    assert third.process.poll() is None
    assert third.stop() == 0
    assert len(at.titles()) == 1, "what was told is not told again"


def test_another_plan_that_finds_the_port_taken_reminds_all_the_same(at: Computer) -> None:
    """It says that its page cannot be had, and serves it once it can; the first plan's page is not disturbed."""
    first = at.up()
    address = at.address()
    other = at.plan.with_name("other.toml")
    text = at.plan.read_text(encoding="utf-8").replace(str(PLAN_ID), str(uuid.UUID(int=PLAN_ID.int + 1)))
    other.write_text(text.replace('drug = "cefazolin"', 'drug = "ceftriaxone"'), encoding="utf-8")
    at.plan = other
    second = at.up()
    assert f"Port {at.port} is in use by another program" in second.output
    assert sorted(at.titles()) == [
        "Now: red lumen, start cefazolin 1 g",
        "Now: red lumen, start ceftriaxone 1 g",
    ]
    status, said = at.status()
    assert status == 1
    assert re.search(rf"^TROUBLE: .*Port {at.port} is in use by another program", said, re.MULTILINE)
    assert answers(address)
    assert first.stop() == 0
    at.clock.move(2 * MINUTE)
    wait_until(lambda: answers(f"http://127.0.0.1:{at.port}/", 404), "its page is served")
    at.clock.move(6)  # a reason to look, and to give a sign of life
    wait_until(lambda: not at.command("page", "--address").returncode, "the command knows where", SOON)
    assert "ceftriaxone" in httpx.get(at.address()).text
    assert second.stop() == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_stops_when_it_is_asked_to(at: Computer, number: signal.Signals) -> None:
    daemon = at.up()
    wait_until(lambda: len(at.running()) == 2, "the pop-up's helper waits for a click")
    assert daemon.stop(number) == 0
    assert daemon.output.endswith("\nStopped. Nobody is reminded by this computer now.\n")
    wait_until(lambda: not at.running(), "no helper outlives it", 5)
    assert at.log.endswith("INFO stopped\n")
    status, said = at.status()
    assert status == 1
    assert said.startswith("NOT RUNNING: nobody is reminded by this computer. Start it with  reminders run .\n")
    assert "It last looked Mon 1 Jun 2026, 09:00 CDT." in said


def test_it_stops_although_the_notification_service_hangs(tmp_path: Path, wallshift: Path) -> None:
    """In less time than a service manager waits; what was being shown is told again later."""
    with computer(tmp_path, wallshift, "06-01 09:00:05", service="half-silent") as at:
        at.write(DUE)
        daemon = at.start()
        assert at.desk is not None
        wait_until(lambda: at.desk and at.desk.told(), "the pop-up is asked for")
        begun = time.monotonic()
        assert daemon.stop() == 0
        assert time.monotonic() - begun < 15, "TimeoutStopSec= of the unit"
        wait_until(lambda: not at.running(), "no helper outlives it", 5)
        assert "Traceback" not in daemon.output


def test_status_tells_a_daemon_that_hangs_from_one_that_works(at: Computer) -> None:
    daemon = at.up()
    assert at.status(ahead=40)[0] == 0
    daemon.process.send_signal(signal.SIGSTOP)
    status, said = at.status(ahead=90)
    assert status == 1
    assert said.startswith("STUCK: it runs and has not looked for a while. Stop it and start it again.\n")
    daemon.process.send_signal(signal.SIGCONT)
    looked(at)
    assert at.status()[0] == 0


def test_without_pop_ups_everybody_is_told_why(tmp_path: Path, wallshift: Path) -> None:
    """At the start, by ``status``, on the page; and what was not shown comes as soon as it can be."""
    with computer(tmp_path, wallshift, "06-01 09:00:05", service="") as at:
        at.write(DUE)
        daemon = at.up()
        assert "\nPOP-UPS CANNOT BE SHOWN HERE: " in daemon.output
        assert "cefazolin" not in daemon.output, "no terminal: nothing personal is written there"
        why = daemon.output.partition("POP-UPS CANNOT BE SHOWN HERE: ")[2].partition("\n")[0]
        status, said = at.status()
        assert status == 1
        assert f"\nTROUBLE: {why}\n" in said
        assert f"Now: red lumen, start cefazolin 1 g  NOT SHOWN: {why}\n" in said
        assert f"No reminder can pop up on this computer: {why}" in httpx.get(at.address()).text
        assert at.desk is not None
        at.desk.start_service()
        at.clock.move(1.5 * MINUTE)
        assert soon(at, 1) == ["Was it done? red lumen, start cefazolin 1 g"]
        looked(at)
        assert at.status()[0] == 0


def test_nothing_due_and_no_pop_ups_is_trouble_too(tmp_path: Path, wallshift: Path) -> None:
    """Before the first reminder is missed, and not only after it."""
    with computer(tmp_path, wallshift, "06-01 08:10:00", service="") as at:
        at.write(DUE)
        at.up()
        wait_until(lambda: at.life["pop_ups"], "the sign of life tells it", 10)
        status, said = at.status()
        assert status == 1
        assert "\nTROUBLE: " in said
        assert "\nNothing was raised yet.\n" in said


def test_the_service_manager_is_told(at: Computer) -> None:
    """sd_notify(3): ready after the first look, alive after each, stopping at the end."""
    assert at.desk is not None
    path = at.desk.folder / "manager"  # a short path
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(path))
        manager.settimeout(PATIENCE)
        at.extra["NOTIFY_SOCKET"] = str(path)
        daemon = at.start()
        heard = [manager.recv(100), manager.recv(100)]
        assert heard == [b"WATCHDOG=1", b"READY=1"]
        assert len(at.titles()) == 1
        at.clock.move(HOUR)
        assert manager.recv(100) == b"WATCHDOG=1"
        assert daemon.stop() == 0
        manager.settimeout(1)
        rest = []
        with suppress(TimeoutError):
            while True:
                rest.append(manager.recv(100))
        assert rest.count(b"STOPPING=1") == 1
        assert set(rest) <= {b"STOPPING=1", b"WATCHDOG=1"}


def test_the_page_opens_by_its_address_and_once_by_a_passing_one(at: Computer) -> None:
    at.up()
    address = at.address()
    page = httpx.get(address)
    assert page.status_code == 200
    assert "cefazolin" in page.text
    life = at.life
    once = f"{life['home']}once/{life['once']}/"
    assert life["home"] == address[: -len(address.rstrip("/").rpartition("/")[2]) - 1]
    way = httpx.get(once.rstrip("/"), follow_redirects=True)
    assert (way.status_code, str(way.url)) == (200, address)
    assert httpx.get(once, follow_redirects=True).status_code == 404
    assert httpx.get(f"{life['home']}once/{'x' * 32}/").status_code == 404
    wait_until(lambda: at.life["once"] != life["once"], "there is another one for the next time", 5)


# --- Sleep, and clocks that are set ---


def test_what_came_due_in_an_hours_sleep_is_told_once_with_how_late(tmp_path: Path, wallshift: Path) -> None:
    with computer(tmp_path, wallshift, "06-01 08:30:00") as at:
        at.write(DUE)
        at.up()
        assert at.titles() == []
        at.clock.move(HOUR)
        assert soon(at, 1) == ["Was it done? red lumen, start cefazolin 1 g"]
        assert at.told()[0]["body"].startswith("09:00 CDT, 30 min ago.")
        looked(at)
        assert len(at.titles()) == 1
        assert re.search(r"INFO the computer slept, or its clock was set forward: 3(59|60)\d s\n", at.log)
        at.clock.set("06-01 10:00:05")
        assert "Was it done? red lumen, start cefazolin 1 g" not in soon(at, 2)[1:], "its moment was 09:40"


def test_what_came_due_in_three_days_sleep_is_told_together(tmp_path: Path, wallshift: Path) -> None:
    with computer(tmp_path, wallshift, "06-01 08:30:00") as at:
        at.write(DUE)
        at.up()
        at.clock.move(3 * DAY)  # to the 4th, 08:30
        soon(at, 1)
        looked(at)
        late = [call for call in at.told() if " things to answer, the first " in call["title"]]
        assert len(late) == 1
        assert int(late[0]["title"].split()[0]) >= 9, "a start, a finish and a flush of each of three days"
        assert late[0]["title"].endswith(" late")
        # Whoever is told to flush is told whom to call; that is never what is cut off.
        body = late[0]["body"]
        assert "Wed 3 Jun 2026, " in body
        assert "Done? Say so on the page first." in body
        assert "On-call nurse, Fennimore Vale, 555-0142" in body
        told = [set(rows) for _title, rows, state in at.journal_rows() if state == "shown"]
        assert sum(len(rows) for rows in told) == len(set().union(*told)), "nothing is told twice"


def test_a_clock_that_is_set_back_and_right_again_repeats_nothing_out_of_time(at: Computer) -> None:
    """While it shows 08:00 again nothing is due; as it reaches 09:00 again, that is told again, and once."""
    at.up()
    at.clock.move(-HOUR)
    wait_until(lambda: "INFO the clock was set back: 3" in at.log, "the step is noticed", SOON)
    looked(at)
    assert len(at.titles()) == 1
    at.clock.move(HOUR)
    assert soon(at, 2)[1] in (
        "Now: red lumen, start cefazolin 1 g",
        "Was it done? red lumen, start cefazolin 1 g",  # if that took more than a minute
    )
    looked(at)
    assert len(at.titles()) == 2


def test_a_small_step_is_no_reason_to_say_anything(at: Computer) -> None:
    """As when a computer's clock is set right by the network."""
    at.up()
    at.clock.move(20)
    wait_until(lambda: "set forward: " in at.log, "the step is noticed", SOON)
    at.clock.move(-20)
    wait_until(lambda: "set back: " in at.log, "the step is noticed", SOON)
    looked(at)
    assert len(at.titles()) == 1


# --- Killed ---


def test_what_a_kill_interrupts_is_told_again_and_says_so(tmp_path: Path, wallshift: Path) -> None:
    """The service has the pop-up and has not answered when the daemon is killed: nobody knows whether it was seen."""
    with computer(tmp_path, wallshift, "06-01 09:00:05", service="half-silent") as at:
        at.write(DUE)
        daemon = at.start()
        assert at.desk is not None
        wait_until(lambda: at.desk and at.desk.told(), "the pop-up is asked for")
        daemon.kill()
        wait_until(lambda: not at.running(), "the helper ends with it", 10)
        at.desk.stop_service()
        at.desk.start_service()
        at.up()
        assert at.told()[0]["body"].startswith("(Perhaps told already.)\n09:00 CDT")
        status, said = at.status()
        assert status == 0
        raised = said.partition("Raised last:\n")[2].partition("\n\n")[0].splitlines()
        assert [line.partition("  NOT SHOWN: ")[2] for line in raised] == [
            "",
            "the program ended while it was being shown; it was told again",
        ]


HOURLY = """
[pop_up]
ahead = "0 min"
ordinary_repeats = 0
[line]
idle_limit = "72 h"
lock = "saline"
[lumen.red]
last_flushed = "2026-06-01 07:59"
[order.cefazolin]
every = "1 h"
given_as = "push"
duration = "5 min"
first_dose = "2026-06-01 09:00"
last_day = 2026-06-02
least_spacing = "30 min"
on_time_within = "10 min"
cut_off = "20 min"
"""
"""A push each hour, each told once. (Invented, like every plan here; no drug is given so.)"""

KILLS = 15


class _Load:
    """A household that does not rest: the page and the feed are fetched, reports come by the page and by the command.

    ``acknowledged`` has the name of each report that was confirmed, with its count of gloves; ``torn`` what was not whole.
    """

    def __init__(self, at: Computer, address: str, feed: str) -> None:
        self.at, self.address, self.feed = at, address, feed
        self.token = re.findall(r'name="token" value="([0-9a-f]{64})"', httpx.get(address).text)[0]
        self.acknowledged: dict[str, int] = {}
        self.torn: list[str] = []
        self.feeds = 0
        self._end = threading.Event()
        self._threads = [threading.Thread(target=run) for run in (self._browse, self._type)]

    def __enter__(self) -> "_Load":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_error: object) -> None:
        self._end.set()
        for thread in self._threads:
            thread.join()

    def _browse(self) -> None:
        number = 0
        with httpx.Client(timeout=PATIENCE) as client:
            while not self._end.wait(0.1):
                number += 1
                with suppress(httpx.TransportError):
                    page = client.get(self.address)
                    if page.status_code != 200 or "</html>" not in page.text:
                        self.torn.append(f"page {page.status_code}")
                    feed = client.get(self.feed)
                    self.feeds += 1
                    if feed.status_code != 200 or not feed.text.endswith("END:VCALENDAR\r\n"):
                        self.torn.append(f"feed {feed.status_code} {feed.text[-40:]!r}")
                    said = {"token": self.token, "key": str(uuid.uuid4()), "words": f"counted {number} gloves"}
                    answer = client.post(f"{self.address}words", data=said)
                    if answer.status_code != 303:
                        self.torn.append(f"report {answer.status_code}")
                        continue
                    (key,) = parse_qs(urlsplit(answer.headers["location"]).query)["report"]
                    self.acknowledged[key] = number

    def _type(self) -> None:
        number = 100_000
        while not self._end.wait(1.0):
            number += 1
            key = f"typed-{number}"
            done = self.at.command("record", "counted", str(number), "gloves", "--key", key)
            if done.returncode:
                self.torn.append(done.stderr)
            else:
                self.acknowledged[key] = number


def test_killed_at_random_moments_under_load_it_loses_nothing(tmp_path: Path, wallshift: Path) -> None:
    """Up again in a moment each time; no confirmed report lost, none half there; each push told, and a repeat says that it is one."""
    rng = random.Random(20260601)
    with computer(tmp_path, wallshift, "06-01 08:59:00") as at:
        at.write(HOURLY)
        daemon = at.up()
        address = at.address()
        at.command("phones", "add", "Ana")
        (token,) = re.findall(
            r'"token": "([\w-]+)"', (at.home / ".config/reminders" / f"secrets-{PLAN_ID}.json").read_text()
        )
        taken, used = [], []
        with _Load(at, address, f"{at.life['home']}f/{token}/calendar.ics") as load:
            for number in range(KILLS):
                hour = f"{9 + number:02}:00 CDT"
                at.clock.move(moment("06-01 09:00:02") + number * HOUR - at.clock.now())
                if number % 2:
                    told_of(at, hour)
                    time.sleep(rng.uniform(0, 0.3))
                else:
                    time.sleep(rng.uniform(0, 1.8))
                daemon.kill()
                daemon = at.start()
                taken.append(wait_until(lambda: answers(address), "it is up again"))
                used.append(processor_time(daemon.process.pid))
            typed = [key for key in load.acknowledged if key.startswith("typed")]
            wait_until(lambda: len(load.acknowledged) > len(typed), "something is reported on the page")
        looked(at)
        assert load.torn == []
        assert load.feeds >= KILLS
        # How soon it answers depends on how much else the computer has to do; how much work that takes does not.
        assert statistics.median(used) < 2, (used, taken)

        record = at.read_record()
        counted = {}
        for fact in record.facts:
            if fact.name == "gloves":
                assert fact.report not in counted, "one report is there once"
                counted[fact.report] = fact.count
        assert len(load.acknowledged) > KILLS
        assert {key: counted.get(key) for key in load.acknowledged} == load.acknowledged
        assert sound(at.store)
        assert sound(at.journal)

        calls = at.told()
        for number in range(KILLS):
            telling = [call["body"] for call in calls if f"{9 + number:02}:00 CDT" in call["body"]]
            assert telling, f"{9 + number}:00 was told"
            silently = [body for body in telling[1:] if not body.startswith("(Perhaps told already.)\n")]
            assert silently == [], f"{9 + number}:00 was told again without saying so"
        states = [state for _title, _told, state in at.journal_rows()]
        assert set(states) <= {"shown", "unknown"}
        assert states.count("shown") <= len(calls)
        assert daemon.stop() == 0
        wait_until(lambda: not at.running(), "no helper outlives them", 10)


def told_of(at: Computer, what: str) -> None:
    """Wait until a pop-up speaks of something."""
    wait_until(lambda: any(what in call["body"] for call in at.told()), f"{what} is told")


def processor_time(process: int) -> float:
    """Return how many seconds of a processor a process has used."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def sound(path: Path) -> bool:
    """Say whether a database is whole."""
    with closing(sqlite3.connect(path)) as connection:
        return bool(connection.execute("PRAGMA integrity_check").fetchone() == ("ok",))


# --- What nobody else may see ---

PERSONAL = ("cefazolin", "red lumen", "saline", "555-0142", "Fennimore Vale", "Ana", "gloves", "Heard nothing")


def test_nothing_personal_and_no_secret_lies_about(at: Computer) -> None:
    """In the log, in what it says where no terminal is, in any process's arguments, in files that others may read."""
    daemon = at.up(umask=0)
    address = at.address()
    secret = address.rstrip("/").rpartition("/")[2]
    form = re.findall(r'name="token" value="([0-9a-f]{64})"', httpx.get(address).text)[0]
    assert reported(address, "counted 3 gloves", by="Ana").status_code == 303
    assert reported(address, "Heard nothing of it", by="Ana").status_code == 400
    assert reported(address, "counted 4 gloves", token="x").status_code == 403
    assert httpx.get(f"{at.life['home']}{secret}x/").status_code == 404
    with socket.create_connection(("127.0.0.1", at.port), PATIENCE) as caller:
        caller.sendall(f"GET /{secret}/ cefazolin\r\n\r\n".encode())
        assert caller.recv(100).startswith(b"HTTP/1.1 400")
    at.clock.set("06-01 10:00:10")
    soon(at, 2)
    secrets = [secret, form, at.life["once"]]
    arguments = [" ".join(words) for words in at.running().values()]
    assert any("reminders.popups.helper" in words for words in arguments)
    for words in arguments:
        shown = words.replace(str(at.plan), "")  # what the household typed itself
        assert not [text for text in (*PERSONAL, *secrets) if text in shown], words
    assert daemon.stop() == 0
    assert "message from uvicorn" in at.log
    for text in (*PERSONAL, *secrets):
        assert text not in at.log
        assert text not in daemon.output


def test_its_files_are_its_owners_alone_whatever_the_umask(at: Computer) -> None:
    for folder in (".config", ".local", ".local/share", ".local/state"):
        (at.home / folder).mkdir(mode=0o755)
    daemon = at.up(umask=0)
    assert daemon.stop() == 0
    own = [at.home / ".config/reminders", at.home / ".local/share/reminders", at.state]
    assert all(folder.is_dir() for folder in own)
    assert {str(folder): oct(stat.S_IMODE(folder.stat().st_mode)) for folder in own} == {
        str(folder): "0o700" for folder in own
    }
    within = [path for folder in own for path in folder.rglob("*")]
    assert len(within) >= 7
    open_to_others = [path for path in within if path.stat().st_mode & 0o077 and path.parent.stat().st_mode & 0o077]
    assert open_to_others == []
    assert stat.S_IMODE(at.store.stat().st_mode) == 0o600


# --- Folders and disks that fail ---


@pytest.mark.parametrize(
    "place", [".local", ".local/state", ".local/state/reminders", ".local/state/reminders/log", ".config/reminders"]
)
def test_a_folder_that_cannot_be_used_is_named(at: Computer, place: str) -> None:
    """A file lies where the folder should be; a root user may write into every folder."""
    (at.home / place).parent.mkdir(parents=True, exist_ok=True)
    (at.home / place).write_text("")
    daemon = at.start()
    assert daemon.process.wait(PATIENCE) == 1
    assert "Traceback" not in daemon.output
    assert str(at.home / place) in daemon.output
    assert not [title for title in at.titles() if "cefazolin" in title]


def test_a_full_disk_keeps_nobody_from_being_told(at: Computer) -> None:
    """As far as the daemon is concerned: it can make no file longer. It goes on, says so, and recovers."""
    with through_a_pipe(at) as (daemon, said):
        address = at.address()
        at.record("started", "cefazolin")
        looked(at)
        full, room = (0, resource.RLIM_INFINITY), (resource.RLIM_INFINITY, resource.RLIM_INFINITY)
        resource.prlimit(daemon, resource.RLIMIT_FSIZE, full)
        at.clock.set("06-01 10:00:10")
        assert soon(at, 2)[1] == "Now: red lumen, finish cefazolin"
        wait_until(lambda: at.journal.name in httpx.get(address).text, "the page says so", SOON)
        key = str(uuid.uuid4())
        assert reported(address, "counted 3 gloves", key=key).status_code == 503, "it does not pretend to have taken it"
        resource.prlimit(daemon, resource.RLIMIT_FSIZE, room)
        at.clock.set("06-01 10:10:10")
        soon(at, 3)
        wait_until(lambda: not at.life["troubles"], "it has recovered", SOON)
        assert reported(address, "counted 3 gloves", key=key).status_code == 303
        assert "Traceback" not in said.read_text()
        assert sound(at.journal)


@contextmanager
def through_a_pipe(at: Computer) -> Iterator[tuple[int, Path]]:
    """Start a daemon whose words go through a pipe to a file that is not its own; give its process and that file."""
    said = at.folder / "piped"
    with ExitStack() as stack:
        reading, writing = os.pipe()
        with said.open("wb") as file:
            carrier = subprocess.Popen(["cat"], stdin=reading, stdout=file)
        stack.callback(carrier.wait, PATIENCE)
        os.close(reading)
        command = [sys.executable, "-m", "reminders", "run", str(at.plan), "--port", str(at.port)]
        daemon = subprocess.Popen(
            command, env=at.env, cwd=at.folder, stdin=subprocess.DEVNULL, stdout=writing, stderr=writing
        )
        stack.callback(daemon.wait)
        stack.callback(daemon.kill)
        os.close(writing)
        wait_until(lambda: "op-ups" in said.read_text(), "the daemon starts")
        yield daemon.pid, said


def test_a_journal_that_is_damaged_meanwhile_takes_neither_page_nor_reminders_away(at: Computer) -> None:
    daemon = at.up()
    address = at.address()
    at.journal.write_bytes(b"this is no database " * 1000)
    assert answers(address)
    at.clock.set("06-01 10:00:05")
    soon(at, 2)
    assert state(address)["clock"] == "10:00 CDT"
    assert at.journal.name in httpx.get(address).text, "it says what it cannot use"
    daemon.kill()
    at.up()
    assert at.status()[0] == 0
    assert len(list(at.state.glob("raised-*.damaged"))) == 1


def test_status_reads_the_journal_of_a_daemon_that_was_killed_while_writing(at: Computer) -> None:
    """What SQLite leaves then is put right by whoever looks next, and need not be the daemon."""
    at.up().stop()
    writes = (
        "import os, signal, sqlite3, sys\n"
        "connection = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "connection.execute('PRAGMA cache_size = 1')\n"
        "connection.execute('BEGIN IMMEDIATE')\n"
        "for number in range(3000):\n"
        "    connection.execute(\"INSERT INTO raised (at, title, told, state) VALUES (1, 'half', '{}', 'begun')\")\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    subprocess.run([sys.executable, "-c", writes, str(at.journal)], check=False)
    assert Path(f"{at.journal}-journal").stat().st_size > 0
    status, said = at.status()
    assert status == 1
    assert "Now: red lumen, start cefazolin 1 g" in said
    assert "half" not in said
