"""macOS and Windows, which are not at hand: against stand-ins for what these systems bring. Nothing here ran on either.

On macOS the stand-in is for the program ``osascript``; what is handed to it is run by another JavaScript. On Windows it is
for the calls into the system, below plyer's own back-end.
"""

import ctypes
import json
import shutil
import subprocess
import sys
import threading
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from popup_desk import judge

from reminders.popups import helper, mac_script
from reminders.popups.fault_words import fault_words, way_words
from reminders.popups.mac_script import MacScript, script
from reminders.popups.popup import Fault, Way, way_of
from reminders.popups.texts import units

TEXT = 'say "<5 mL" & \\ 💧\nnext line \u2028'


@pytest.mark.parametrize(
    ("platform", "way"),
    [
        ("linux", Way.SESSION_BUS),
        ("freebsd14", Way.SESSION_BUS),
        ("darwin", Way.MAC_SCRIPT),
        ("win32", Way.WINDOWS_TRAY),
        ("cygwin", Way.NONE),
        ("emscripten", Way.NONE),
    ],
)
def test_each_system_has_its_way(platform: str, way: Way) -> None:
    assert way_of(platform) is way
    assert way_words(way, "") == way_words(way, "some name").removesuffix(" (some name)")


def request(do: str = "show", title: str = "-e Red lumen", body: str = TEXT, *, urgent: bool = False) -> dict[str, Any]:
    """Return what the helper is asked."""
    return {
        "do": do, "title": title, "body": body, "urgent": urgent,
        "opens": "", "label": "", "apology": "", "seconds": 5.0,
    }  # fmt: skip


def told(fault: Fault | str = "", detail: str = "", *, stays: bool = False) -> dict[str, Any]:
    """Return what the helper answers."""
    return {"shown": not fault, "fault": fault, "detail": detail, "served_by": "", "stays": stays}


def test_elsewhere_it_says_that_it_cannot() -> None:
    assert helper.answer_to(request(), "wasi") == (told(Fault.UNSUPPORTED, "wasi"), None)
    assert "not possible on this kind of system" in fault_words(Fault.UNSUPPORTED)


def test_a_missing_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "reminders.popups.session_bus", None)
    answer, _ = helper.answer_to(request(), "linux")
    assert answer == told(Fault.MISSING, "reminders.popups.session_bus")


# macOS.


@pytest.fixture(name="osascript")
def stand_in_for_osascript(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Path]:
    """Give a way to make a program in the place of osascript; it notes its arguments and its input, then does as told."""

    def made(then: str) -> Path:
        program = tmp_path / "osascript"
        program.write_text(f'#!/bin/sh\necho "$@" > {tmp_path}/arguments\ncat > {tmp_path}/input\n{then}\n')
        program.chmod(0o700)
        monkeypatch.setattr(mac_script.MacScript.__init__, "__defaults__", (str(program),))
        return tmp_path

    return made


@pytest.mark.parametrize(("urgent", "sound"), [(False, None), (True, "Sosumi")])
def test_mac_gets_the_text_by_the_input_alone(
    osascript: Callable[[str], Path], urgent: bool, sound: str | None
) -> None:
    folder = osascript("exit 0")
    assert helper.answer_to(request(urgent=urgent), "darwin") == (told(), None)
    assert (folder / "arguments").read_text() == "-l JavaScript\n"
    program = (folder / "input").read_text("ascii")
    assert program == script("-e Red lumen", 'say "<5 mL" & \\ 💧\nnext line', loud=urgent)
    assert ("Sosumi" in program) is (sound is not None)


@pytest.mark.parametrize(("then", "fault", "detail"), [
    ("exit 1", Fault.SCRIPT_FAILED, "osascript: 1"),
    ("exec sleep 60", Fault.NO_ANSWER, ""),
])  # fmt: skip
def test_mac_says_what_failed(osascript: Callable[[str], Path], then: str, fault: Fault, detail: str) -> None:
    osascript(then)
    for do in ("show", "able"):
        asked = request(do) | {"seconds": 1.0}
        assert helper.answer_to(asked, "darwin") == (told(fault, detail), None)


def test_mac_without_osascript() -> None:
    if Path(mac_script.PROGRAM).exists():
        pytest.skip("not run: this is a Mac")
    assert helper.answer_to(request(), "darwin") == (told(Fault.NO_SCRIPTS, "FileNotFoundError"), None)


def test_mac_is_tried_without_a_pop_up(osascript: Callable[[str], Path]) -> None:
    folder = osascript("exit 0")
    assert helper.answer_to(request("able"), "darwin") == (told(), None)
    assert (folder / "input").read_text() == "1\n"


@pytest.mark.parametrize("text", [TEXT, "", "${1} `x` '\"); throw 1; //", "\\u0041 %s \\"])
def test_mac_script_says_the_text_unharmed(text: str) -> None:
    judge("node")
    stand_in = (
        "const shown = [];\n"
        "const Application = {currentApplication: () => ({displayNotification: (...all) => shown.push(all)})};\n"
    )
    program = stand_in + script(text, text, loud=True) + "process.stdout.write(JSON.stringify(shown));\n"
    node = shutil.which("node")
    assert node is not None
    done = subprocess.run([node, "-"], input=program.encode("ascii"), capture_output=True, check=True, timeout=60)
    assert json.loads(done.stdout) == [[text, {"withTitle": text, "soundName": "Sosumi"}]]


def test_mac_waits_for_nothing() -> None:
    way = MacScript(1.0)
    way.stay(Event())
    assert not way.stays


# Windows.


class Calls(types.ModuleType):
    """The calls into Windows that plyer's back-end makes, as far as it sees of them."""

    LPCWSTR = ctypes.c_wchar_p

    def __init__(self, *, fails: bool = False, hangs: Event | None = None) -> None:
        super().__init__("plyer.platforms.win.libs.win_api_defs")
        self.fails, self.hangs = fails, hangs
        self.shown: list[tuple[str, str, str]] = []
        for name in ("get_WNDCLASSEXW", "WindowProc", "GUID"):
            setattr(self, name, lambda *_: types.SimpleNamespace())
        for name in ("DefWindowProcW", "GetModuleHandleW", "RegisterClassExW", "CreateWindowExW", "UpdateWindow"):
            setattr(self, name, lambda *_: 1)
        for name in ("LoadIconW", "DestroyIcon", "UnregisterClassW", "DestroyWindow"):
            setattr(self, name, lambda *_: 1)

    def get_NOTIFYICONDATAW(self, *fields: Any) -> tuple[str, str, str]:  # noqa: N802  # the name is plyer's
        """Take the fields as Windows has them: 128, 256 and 64 units, with a NUL at the end of each."""
        name, body, title = fields[6], fields[9], fields[11]
        for text, most in ((name, 127), (body, 255), (title, 63)):
            if units(text) > most:
                raise ValueError("string too long")
        return name, title, body

    def Shell_NotifyIconW(self, action: int, data: tuple[str, str, str]) -> int:  # noqa: N802  # as above
        """Show, change or take away an icon with its text."""
        if self.hangs is not None:
            self.hangs.wait(30)
        if action == 0 and not self.fails:
            self.shown.append(data)
        return 0 if self.fails else 1


@pytest.fixture(name="windows")
def stand_in_for_windows(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Calls]]:
    """Give a way to put such calls below plyer's back-end for Windows."""
    plyers = [f"plyer.platforms.win.{name}" for name in ("notification", "libs.balloontip", "libs.win_api_defs")]

    def made(**how: Any) -> Calls:
        calls = Calls(**how)
        for name in plyers:
            monkeypatch.delitem(sys.modules, name, raising=False)
        libs = __import__("plyer.platforms.win.libs", fromlist=["libs"])
        monkeypatch.setitem(sys.modules, plyers[-1], calls)
        monkeypatch.setattr(libs, "win_api_defs", calls, raising=False)
        monkeypatch.setattr(libs, "balloontip", None, raising=False)
        return calls

    yield made
    for name in plyers:  # what was loaded on top of the stand-in
        sys.modules.pop(name, None)


@pytest.mark.parametrize(
    ("title", "body", "shown"),
    [
        ("-e Red lumen", TEXT, ("-e Red lumen", 'say "<5 mL" & \\ 💧\nnext line')),
        ("Red lumen", "", ("Red lumen", "Red lumen")),
        ("", "flush", ("Reminders", "flush")),
        ("t" * 62 + "💧", "b" * 254 + "💧", ("t" * 62 + "…", "b" * 254 + "…")),
        ("💧" * 40, "💧" * 200, ("💧" * 31 + "…", "💧" * 127 + "…")),
    ],
)
def test_windows_gets_what_it_can_take(
    windows: Callable[..., Calls], title: str, body: str, shown: tuple[str, str]
) -> None:
    calls = windows()
    answer, way = helper.answer_to(request(title=title, body=body), "win32")
    assert answer == told(stays=True)
    assert calls.shown == [("Reminders", *shown)]
    assert way is not None
    gone = Event()
    gone.set()
    way.stay(gone)


def test_windows_says_what_failed_in_the_thread_of_plyer(windows: Callable[..., Calls]) -> None:
    """Notice of it goes to nobody but a hook of all threads; the hook is as before afterwards."""
    windows(fails=True)
    hook = threading.excepthook
    assert helper.answer_to(request(), "win32") == (told(Fault.TRAY_FAILED, "Exception"), None)
    assert threading.excepthook is hook


def test_windows_that_does_not_answer(windows: Callable[..., Calls]) -> None:
    end = Event()
    windows(hangs=end)
    before = set(threading.enumerate())
    assert helper.answer_to(request() | {"seconds": 0.2}, "win32") == (told(Fault.NO_ANSWER), None)
    end.set()
    for thread in set(threading.enumerate()) - before:
        thread.join(10)


@pytest.mark.skipif(sys.platform == "win32", reason="not run: this is Windows")
def test_no_windows_at_all() -> None:
    answer, way = helper.answer_to(request(), "win32")
    assert (answer["fault"], way) == (Fault.NO_TRAY, None)


@pytest.mark.parametrize(("window", "fault"), [(1, ""), (0, Fault.NO_TRAY)])
def test_windows_is_tried_without_a_pop_up(
    windows: Callable[..., Calls], monkeypatch: pytest.MonkeyPatch, window: int, fault: Fault | str
) -> None:
    calls = windows()
    asked: list[str] = []

    def find(name: str, _title: None) -> int:
        asked.append(name)
        return window

    user32 = types.SimpleNamespace(FindWindowW=find)
    monkeypatch.setattr(ctypes, "windll", types.SimpleNamespace(user32=user32), raising=False)
    assert helper.answer_to(request("able"), "win32") == (told(fault), None)
    assert asked == ["Shell_TrayWnd"]
    assert calls.shown == []
