"""Pop-ups over a real bus, to a service that writes down what it is told; and each way in which that can fail."""

import asyncio
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from popup_desk import PATIENCE, Desk, desk, judge, wait_until

from reminders.commands.popups import BODY, TITLE, try_popup
from reminders.popups import show as showing
from reminders.popups.fault_words import fault_words
from reminders.popups.popup import Fault, Outcome, PopUp, Way, way_of
from reminders.popups.session_bus import boxed
from reminders.popups.show import KEPT, able, show, stop

pytestmark = pytest.mark.skipif(way_of(sys.platform) is not Way.SESSION_BUS, reason="not run: there is no session bus")

POPUP = PopUp("Red lumen: flush", "Due at 09:40. Say on the page what was done.")
SERVICE_UNKNOWN = "org.freedesktop.DBus.Error.ServiceUnknown"


@pytest.fixture(name="at")
def at_a_desk(monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    """Give a private bus without a service, to which the environment leads."""
    with desk() as made:
        for name, value in made.env.items():
            monkeypatch.setenv(name, value)
        yield made


def shown(popup: PopUp = POPUP, timeout: float = PATIENCE) -> Outcome:
    """Show a pop-up from a loop of its own."""
    return asyncio.run(show(popup, timeout=timeout))


def failed(fault: Fault, detail: str = "") -> Outcome:
    """Return the outcome of a pop-up that no service took."""
    return Outcome(False, "the notification service of this desktop", fault_words(fault, detail))


# What reaches the service.


@pytest.mark.parametrize(("urgent", "urgency", "expire"), [(False, 1, -1), (True, 2, 0)])
def test_the_service_is_told_all_of_it(at: Desk, urgent: bool, urgency: int, expire: int) -> None:
    """The urgency is a byte, as services expect it, and what is urgent never expires."""
    at.start_service()
    outcome = shown(PopUp(POPUP.title, POPUP.body, urgent))
    assert outcome == Outcome(True, "the notification service of this desktop (mock 1.0)", "")
    (call,) = at.calls()
    assert (call["app"], call["title"], call["body"]) == ("Reminders", POPUP.title, POPUP.body)
    assert call["hints"] == {"urgency": ["y", urgency]}
    assert (call["expire"], call["replaces"], call["icon"], call["actions"]) == (expire, 0, "", [])


@pytest.mark.parametrize(
    ("popup", "title", "body"),
    [
        (PopUp("-u critical", "--help"), "-u critical", "--help"),
        (PopUp("", "body alone"), "Reminders", "body alone"),
        (PopUp(" \n", ""), "Reminders", ""),
        (PopUp("a\0b\x1b[31mc\x9bd", "e\rf\tg\x07h\ni"), "ab[31mcd", "e\nf gh\ni"),
        (PopUp("dose < 5 & > 3", "dose <5 mL & > 3 <b>mL</b>"),
         "dose < 5 & > 3", "dose &lt;5 mL &amp; &gt; 3 &lt;b&gt;mL&lt;/b&gt;"),
        (PopUp("💧 Zoë", "👩🏽‍⚕️ é 薬"), "💧 Zoë", "👩🏽‍⚕️ é 薬"),
        (PopUp("half \ud83d", "a\udca7 letter"), "half", "a letter"),
        (PopUp("t" * 100_000, "word " * 100_000), "t" * 199 + "…", ("word " * 400)[:-1][:1999].rstrip() + "…"),
    ],
    ids=["dashes", "no title", "nothing", "control characters", "markup", "emoji", "half letters", "very long"],
)  # fmt: skip
def test_any_text_arrives(at: Desk, popup: PopUp, title: str, body: str) -> None:
    at.start_service()
    assert shown(popup).shown
    (call,) = at.calls()
    assert (call["title"], call["body"]) == (title, body)


def test_a_service_that_does_not_say_that_it_reads_markup_gets_nothing_that_could_be_any(at: Desk) -> None:
    """Some read it and do not say so: of a dose "<5 mL & >" they would show nothing."""
    at.start_service("no-markup")
    assert shown(PopUp("<5 & more", "dose <5 mL & > 3")).shown
    (call,) = at.calls()
    assert (call["title"], call["body"]) == ("‹5 + more", "dose ‹5 mL + › 3")


def test_a_service_that_shows_titles_alone_gets_the_body_there(at: Desk) -> None:
    at.start_service("titles")
    assert shown(PopUp("Red lumen", "flush it\nnow")).shown
    assert [call["title"] for call in at.calls()] == ["Red lumen: flush it now"]


def test_fifty_at_once_are_all_shown_once(at: Desk) -> None:
    at.start_service()

    async def all_of_them() -> list[Outcome]:
        return await asyncio.gather(*(show(PopUp(f"number {n}", ""), timeout=60) for n in range(50)))

    assert all(outcome.shown for outcome in asyncio.run(all_of_them()))
    assert sorted(call["title"] for call in at.calls()) == sorted(f"number {n}" for n in range(50))


def test_the_self_test_shows_nothing(at: Desk) -> None:
    at.start_service()
    assert asyncio.run(able()) == Outcome(True, "the notification service of this desktop (mock 1.0)", "")
    assert at.calls() == []


# Each way to fail, and what the household is told. Both questions must give the same answer, where they can.


def both(fault: Fault, detail: str = "", timeout: float = PATIENCE) -> None:
    """Check that showing and the self-test fail alike, in time."""
    before = time.monotonic()
    assert shown(timeout=timeout) == failed(fault, detail)
    assert asyncio.run(able(timeout=timeout)) == failed(fault, detail)
    assert time.monotonic() - before < 2 * timeout + 1


def test_no_bus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a screen: over the network, in a container, from a system service."""
    for name in ("DBUS_SESSION_BUS_ADDRESS", "DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    inside = boxed(Path("/"), dict(os.environ))
    both(Fault.CONTAINER if inside else Fault.NO_BUS)


@pytest.mark.parametrize("sign", [".dockerenv", "run/.containerenv", ".flatpak-info"])
def test_a_container_is_told_by_its_files(tmp_path: Path, sign: str) -> None:
    assert not boxed(tmp_path, {"HOME": "/home/someone"})
    (tmp_path / sign).parent.mkdir(exist_ok=True)
    (tmp_path / sign).touch()
    assert boxed(tmp_path, {})
    assert boxed(tmp_path / "elsewhere", {"SNAP": "/snap/x"})


@pytest.mark.parametrize(
    ("address", "detail"),
    [
        ("unix:path=/nowhere/at/all", "FileNotFoundError"),
        ("tcp:host=localhost,port=1", "RuntimeError"),
        ("autolaunch:", "ValueError"),
        ("nonsense", "ValueError"),
    ],
)
def test_a_bus_that_is_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, address: str, detail: str) -> None:
    monkeypatch.setenv("DBUS_SESSION_BUS_ADDRESS", address)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    both(Fault.DEAD_BUS, detail)


def test_a_bus_that_never_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    with desk(bus=False) as at, socket.socket(socket.AF_UNIX) as deaf:
        deaf.bind(str(at.socket))
        deaf.listen()
        monkeypatch.setenv("DBUS_SESSION_BUS_ADDRESS", at.env["DBUS_SESSION_BUS_ADDRESS"])
        monkeypatch.setenv("XDG_RUNTIME_DIR", str(at.folder / "none"))
        both(Fault.NO_ANSWER, timeout=2)


def test_the_bus_of_systemd_is_found_where_the_environment_names_none_or_an_old_one(
    at: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    at.start_service()
    monkeypatch.setenv("DBUS_SESSION_BUS_ADDRESS", "unix:path=/nowhere/at/all")
    assert shown().shown
    monkeypatch.delenv("DBUS_SESSION_BUS_ADDRESS")
    assert shown().shown


def test_no_notification_service(at: Desk) -> None:
    both(Fault.NO_SERVICE, SERVICE_UNKNOWN)


@pytest.mark.parametrize(
    ("program", "detail"),
    [
        ("/bin/false", "org.freedesktop.DBus.Error.Spawn.ChildExited"),
        ("/nowhere/at/all", "org.freedesktop.DBus.Error.Spawn.ExecFailed"),
    ],
)
def test_a_service_that_cannot_be_started(monkeypatch: pytest.MonkeyPatch, program: str, detail: str) -> None:
    judge("dbus-daemon")
    with desk(bus=False) as at:
        at.activatable(program)
        at.start_bus()
        for name, value in at.env.items():
            monkeypatch.setenv(name, value)
        both(Fault.SERVICE_FAILED, detail)


def test_a_service_that_never_answers(at: Desk) -> None:
    at.start_service("silent")
    both(Fault.NO_ANSWER, timeout=2)


def test_a_service_that_hangs_when_it_must_show(at: Desk) -> None:
    at.start_service("half-silent")
    assert asyncio.run(able()).shown
    outcome = shown(timeout=2)
    assert outcome == Outcome(
        False, "the notification service of this desktop (mock 1.0)", fault_words(Fault.NO_ANSWER)
    )


@pytest.mark.parametrize(
    ("mode", "fault", "detail"),
    [
        ("error", Fault.REFUSED, "org.freedesktop.Notifications.MaxNotificationsExceeded"),
        ("denied", Fault.NOT_ALLOWED, "org.freedesktop.DBus.Error.AccessDenied"),
        ("dies", Fault.NO_ANSWER, "org.freedesktop.DBus.Error.NoReply"),
    ],
)
def test_a_service_that_fails(at: Desk, mode: str, fault: Fault, detail: str) -> None:
    at.start_service(mode)
    outcome = shown()
    assert outcome == Outcome(False, "the notification service of this desktop (mock 1.0)", fault_words(fault, detail))


def test_service_and_session_come_back_while_the_program_lives_on(at: Desk) -> None:
    """A new start of the service, then a logout and login: the next pop-up after each is shown."""

    async def through_it_all() -> list[Outcome]:
        outcomes = []
        at.start_service()
        outcomes.append(await show(POPUP, timeout=PATIENCE))
        at.stop_service()
        outcomes.append(await show(POPUP, timeout=PATIENCE))
        at.start_service()
        outcomes.append(await show(POPUP, timeout=PATIENCE))
        at.stop_bus()
        outcomes.append(await show(POPUP, timeout=PATIENCE))
        at.stop_service()
        at.start_bus()
        at.start_service()
        outcomes.append(await show(POPUP, timeout=PATIENCE))
        return outcomes

    first, without_service, second, without_bus, third = asyncio.run(through_it_all())
    assert first.shown
    assert second.shown
    assert third.shown
    assert without_service == failed(Fault.NO_SERVICE, SERVICE_UNKNOWN)
    assert without_bus == failed(Fault.DEAD_BUS, "FileNotFoundError")
    assert len(at.calls()) == 3


def test_a_folder_app_changes_nothing(at: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """plyer takes one for a sandbox, and then shows nothing."""
    pretend = (
        "import os, runpy; real = os.path.isdir; os.path.isdir = lambda path: path == '/app' or real(path); "
        "runpy.run_module('reminders.popups.helper', run_name='__main__')"
    )
    monkeypatch.setattr(showing, "HELPER", (sys.executable, "-c", pretend))
    at.start_service()
    assert shown().shown
    assert len(at.calls()) == 1


# The helper itself.


@pytest.mark.parametrize(
    ("program", "detail"),
    [
        ("print('nonsense')", "JSONDecodeError"),
        ("print(3)", "AttributeError"),
        ("print('{\"fault\": \"unheard of\", \"detail\": \"\"}')", "ValueError"),
        ("print('x' * 1_000_000)", "ValueError"),
    ],
    ids=["nonsense", "a number", "unknown fault", "too much"],
)  # fmt: skip
def test_a_helper_that_fails(monkeypatch: pytest.MonkeyPatch, program: str, detail: str) -> None:
    monkeypatch.setattr(showing, "HELPER", (sys.executable, "-c", program))
    both(Fault.HELPER, detail)


def test_a_helper_that_ends_without_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """With which status is told if the system still knows it."""
    monkeypatch.setattr(showing, "HELPER", (sys.executable, "-c", "raise SystemExit(3)"))
    outcome = shown()
    assert not outcome.shown
    assert outcome.why in {failed(Fault.HELPER, status).why for status in ("3", "255")}


def test_a_helper_that_hangs_is_killed_in_time(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    note = tmp_path / "helper"
    program = f"import os, pathlib, time; pathlib.Path({str(note)!r}).write_text(str(os.getpid())); time.sleep(600)"
    monkeypatch.setattr(showing, "HELPER", (sys.executable, "-c", program))
    before = time.monotonic()
    assert shown(timeout=2) == failed(Fault.NO_ANSWER)
    assert time.monotonic() - before < 3
    with pytest.raises(ProcessLookupError):
        os.kill(int(note.read_text()), 0)


def test_a_helper_that_cannot_be_started(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(showing, "HELPER", ("/nowhere/at/all",))
    both(Fault.HELPER, "FileNotFoundError")


def test_no_time_at_all(at: Desk) -> None:
    at.start_service()
    assert shown(timeout=0) == failed(Fault.NO_ANSWER)


def test_a_pop_up_that_is_given_up_leaves_no_helper(at: Desk) -> None:
    at.start_service("half-silent")

    async def given_up() -> None:
        task = asyncio.create_task(show(POPUP, timeout=60))
        while {"call": "left unanswered"} not in at.told():
            await asyncio.sleep(0.02)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task

    asyncio.run(given_up())
    wait_until(lambda: [row for row in at.told() if row["call"] == "gone"], "the helper is still there")


@pytest.mark.skipif(sys.platform != "linux", reason="not run: there is no /proc")
def test_nothing_of_a_pop_up_is_in_arguments_or_environment(at: Desk) -> None:
    at.start_service("half-silent")
    secret = PopUp("secretword", "secretword", opens="http://127.0.0.1/secretword")

    async def looked_at() -> list[bytes]:
        task = asyncio.create_task(show(secret, timeout=60))
        while {"call": "left unanswered"} not in at.told():
            await asyncio.sleep(0.02)
        pids = Path(f"/proc/{os.getpid()}/task").glob("*/children")
        children = [pid for file in pids for pid in file.read_text().split()]
        seen = [Path(f"/proc/{pid}/{what}").read_bytes() for pid in children for what in ("cmdline", "environ")]
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return seen

    seen = asyncio.run(looked_at())
    assert any(b"reminders.popups.helper" in text for text in seen)
    assert not any(b"secretword" in text for text in seen)


def test_the_helper_carries_little() -> None:
    """None of what the rest of the program needs, since several may stay for minutes."""
    program = (
        "import sys, reminders.popups.helper, reminders.popups.session_bus; "
        "print(*sorted({name.split('.')[0] for name in sys.modules} & "
        "{'asyncio', 'click', 'icalendar', 'starlette', 'sqlite3', 'jeepney'}))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["jeepney"]


# A click.

ADDRESS = "http://127.0.0.1:8500/now?a=1&b=2"


def gone(at: Desk) -> list[str]:
    """Return who has left the bus."""
    return [row["sender"] for row in at.told() if row["call"] == "gone"]


def test_a_click_opens_the_page(at: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only the click on this pop-up counts; the browser is told that it may come to the front."""
    note, browser = tmp_path / "opened", tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1 $XDG_ACTIVATION_TOKEN" >> {note}.new; mv {note}.new {note}\n')
    browser.chmod(0o700)
    monkeypatch.setenv("BROWSER", f"{browser} %s")
    at.start_service("click")

    async def clicked() -> None:
        assert (await show(PopUp("Red lumen", "flush", opens=ADDRESS), timeout=PATIENCE)).shown
        end = time.monotonic() + PATIENCE
        while not gone(at):
            assert time.monotonic() < end
            await asyncio.sleep(0.02)
        await stop()

    asyncio.run(clicked())
    assert note.read_text() == f"{ADDRESS} token-of-the-click\n"
    (call,) = at.calls()
    assert call["actions"] == ["default", "Open"]
    assert gone(at) == [call["sender"]]


def test_where_no_browser_can_be_started_a_click_is_answered(
    at: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BROWSER", "/nowhere/at/all %s")
    monkeypatch.setenv("PATH", str(tmp_path))
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    at.start_service("click")

    async def clicked() -> None:
        assert (await show(PopUp("Red lumen", "flush", opens=ADDRESS), timeout=PATIENCE)).shown
        end = time.monotonic() + PATIENCE
        while len(at.calls()) < 2:
            assert time.monotonic() < end
            await asyncio.sleep(0.02)
        await stop()

    asyncio.run(clicked())
    second = at.calls()[1]
    assert second["title"] == "The page could not be opened. Its address:"
    assert second["body"] == ADDRESS.replace("&", "&amp;")


@pytest.mark.parametrize(
    ("mode", "opens"),
    [("no-actions", ADDRESS), ("normal", "file:///etc/passwd"), ("normal", "--new-window"), ("normal", "")],
)
def test_no_click_is_offered_where_none_can_be_followed(at: Desk, mode: str, opens: str) -> None:
    at.start_service(mode)
    assert shown(PopUp("Red lumen", "flush", opens=opens)).shown
    (call,) = at.calls()
    assert call["actions"] == []
    wait_until(lambda: gone(at) == [call["sender"]], "its helper stays")


@pytest.mark.parametrize("mode", ["close", "normal"])
def test_a_helper_goes_when_its_pop_up_or_the_service_does(at: Desk, mode: str) -> None:
    at.start_service(mode)

    async def left() -> int:
        assert (await show(PopUp("Red lumen", "flush", opens=ADDRESS), timeout=PATIENCE)).shown
        staying = showing._of_loop[asyncio.get_running_loop()].staying
        if mode == "normal":
            assert len(staying) == 1
            at.stop_service()
        end = time.monotonic() + PATIENCE
        while staying:
            assert time.monotonic() < end
            await asyncio.sleep(0.02)
        await stop()
        return len(staying)

    assert asyncio.run(left()) == 0


def test_few_helpers_stay_and_stopping_ends_them(at: Desk) -> None:
    """The oldest goes first; a stop takes no time, and more pop-ups may follow it."""
    at.start_service()

    async def many() -> float:
        for number in range(KEPT + 2):
            assert (await show(PopUp(str(number), "", opens=ADDRESS), timeout=PATIENCE)).shown
        senders = [call["sender"] for call in at.calls()]
        end = time.monotonic() + PATIENCE
        while len(gone(at)) < 2:
            assert time.monotonic() < end
            await asyncio.sleep(0.02)
        assert sorted(gone(at)) == sorted(senders[:2])
        before = time.monotonic()
        await stop()
        took = time.monotonic() - before
        assert (await show(POPUP, timeout=PATIENCE)).shown
        return took

    assert asyncio.run(many()) < 2
    wait_until(lambda: len(gone(at)) == KEPT + 3, "a helper is still there")


def test_stopping_where_nothing_was_shown_does_nothing() -> None:
    asyncio.run(stop())


def test_no_helper_outlives_a_program_that_is_killed(at: Desk) -> None:
    at.start_service()
    program = (
        "import asyncio\nfrom reminders.popups.popup import PopUp\nfrom reminders.popups.show import show\n"
        f"async def main():\n    assert (await show(PopUp('a', 'b', opens={ADDRESS!r}))).shown\n"
        "    await asyncio.sleep(600)\nasyncio.run(main())"
    )
    with subprocess.Popen([sys.executable, "-c", program]) as daemon:
        wait_until(at.calls, "no pop-up came")
        daemon.kill()
    wait_until(lambda: gone(at), "its helper is still there")


# The command.


@pytest.mark.parametrize(("options", "urgency"), [([], 1), (["--urgent"], 2)])
def test_trying_a_pop_up(at: Desk, options: list[str], urgency: int) -> None:
    at.start_service()
    done = CliRunner().invoke(try_popup, options)
    assert done.exit_code == 0
    assert "A pop-up was handed to the notification service of this desktop (mock 1.0)" in done.output
    assert "Did you see it?" in done.output
    (call,) = at.calls()
    assert (call["title"], call["body"], call["hints"]) == (TITLE, BODY, {"urgency": ["y", urgency]})


def test_trying_a_pop_up_where_there_can_be_none(at: Desk) -> None:
    """The reason is told; what is not a terminal gets no bell."""
    assert at.told() == []
    done = CliRunner().invoke(try_popup)
    assert done.exit_code == 1
    assert done.stdout == ""
    assert done.stderr == (
        "No pop-up could be shown through the notification service of this desktop.\n"
        + fault_words(Fault.NO_SERVICE, SERVICE_UNKNOWN)
        + "\n"
    )


def test_trying_a_pop_up_at_a_terminal_rings_there_instead(at: Desk) -> None:
    assert at.told() == []
    ours, theirs = os.openpty()
    program = "from reminders.commands.popups import try_popup; try_popup()"
    with subprocess.Popen([sys.executable, "-c", program, "--urgent"], stderr=theirs) as trial:
        os.close(theirs)
        text = b""
        try:
            while more := os.read(ours, 4096):
                text += more
        except OSError:  # so Linux says that nobody is at the other end any more
            pass
    os.close(ours)
    assert trial.returncode == 1
    assert text.decode().startswith(f"\a\a\a*** {TITLE} ***\r\n{BODY}\r\n")
    assert "No program that shows notifications runs on this desktop." in text.decode()


def test_every_reason_has_a_sentence_of_its_own_and_names_the_technical_one_last() -> None:
    plain = [fault_words(fault) for fault in Fault]
    assert len(set(plain)) == len(Fault)
    assert [fault_words(fault, "a.technical.Name") for fault in Fault] == [
        f"{text} (a.technical.Name)" for text in plain
    ]
