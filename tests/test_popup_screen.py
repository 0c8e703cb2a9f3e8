"""A real pop-up: a notification service of others on a virtual screen, its text over the bus and its picture."""

import asyncio
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from popup_desk import NAME, OBJECT, PATIENCE, Desk, desk, judge, screen, wait_until

from reminders.popups.popup import Outcome, PopUp, Way, way_of
from reminders.popups.show import able, show

pytestmark = pytest.mark.skipif(way_of(sys.platform) is not Way.SESSION_BUS, reason="not run: there is no session bus")

CRITICAL, NORMAL = "#900000", "#285577"
"""The colours in which dunst draws urgent and ordinary pop-ups unless told otherwise."""

TOLD = "Red lumen: flush before 5 < 6"
BODY = "Due at 09:40. Flush with <5 mL & no more.\nThen say on the page what was done."


@pytest.fixture(name="at")
def at_a_desk(monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    """Give a private bus to which the environment leads."""
    with desk() as made:
        for name, value in made.env.items():
            monkeypatch.setenv(name, value)
        yield made


def area(picture: Path, colour: str) -> int:
    """Return how many pixels of a picture have a colour."""
    alone = ["-fill", "black", "+opaque", colour, "-fill", "white", "-opaque", colour]
    done = subprocess.run(
        ["convert", str(picture), *alone, "-format", "%[fx:round(mean*w*h)]", "info:"],
        capture_output=True,
        text=True,
        check=True,
    )
    return int(done.stdout)


def picture(env: dict[str, str], to: Path) -> Path:
    """Take a picture of the screen."""
    subprocess.run(["import", "-window", "root", str(to)], env=os.environ | env, check=True, timeout=PATIENCE)
    return to


def of_dunst(env: dict[str, str], method: str, *arguments: str) -> str:
    """Read or set a property of dunst by gdbus."""
    target = ["--dest", NAME, "--object-path", OBJECT.object_path]
    call = ["--method", f"org.freedesktop.DBus.Properties.{method}", "org.dunstproject.cmd0"]
    done = subprocess.run(
        ["gdbus", "call", "--session", *target, *call, *arguments],
        env=os.environ | env,
        capture_output=True,
        text=True,
        check=True,
        timeout=PATIENCE,
    )
    return done.stdout.strip()


@pytest.mark.parametrize(("urgent", "colour", "other"), [(True, CRITICAL, NORMAL), (False, NORMAL, CRITICAL)])
def test_a_pop_up_is_on_the_screen(at: Desk, tmp_path: Path, urgent: bool, colour: str, other: str) -> None:
    """Its text is taken from the bus, by the monitor of the bus's own makers; the picture shows that it is drawn."""
    judge("dbus-monitor", "import", "convert")
    with screen(at) as env, (tmp_path / "monitor").open("wb") as log:
        assert area(picture(env, tmp_path / "before.png"), colour) == 0
        monitor = subprocess.Popen(
            ["dbus-monitor", "--session", "interface='org.freedesktop.Notifications',member='Notify'"],
            stdout=log,
            env=os.environ | env,
        )
        try:
            wait_until(lambda: "NameAcquired" in (tmp_path / "monitor").read_text(), "the monitor")
            outcome = asyncio.run(show(PopUp(TOLD, BODY, urgent), timeout=PATIENCE))
            assert outcome.shown
            assert outcome.way.startswith("the notification service of this desktop (dunst ")
            wait_until(lambda: "int32" in of_monitor(tmp_path), "the call")
        finally:
            monitor.kill()
            monitor.wait()
        told = of_monitor(tmp_path)
        assert f'string "{TOLD}"' in told
        assert 'string "Due at 09:40. Flush with &lt;5 mL &amp; no more.\nThen say on the page' in told
        assert f"byte {2 if urgent else 1}" in told
        assert f"int32 {0 if urgent else -1}" in told
        wait_until(lambda: area(picture(env, tmp_path / "after.png"), colour) > 5000, "the pop-up is not drawn")
        assert area(tmp_path / "after.png", other) == 0
    assert "Unable to parse markup" not in (at.folder / "screen.log").read_text()


def of_monitor(folder: Path) -> str:
    """Return what the monitor has written."""
    return (folder / "monitor").read_text()


def test_a_service_that_reads_markup_and_does_not_say_so_loses_nothing(at: Desk, tmp_path: Path) -> None:
    """dunst does, if its settings say that it shall not."""
    judge("import", "convert")
    with screen(at, markup="no") as env:
        assert asyncio.run(show(PopUp(TOLD, BODY, True), timeout=PATIENCE)).shown
        wait_until(lambda: area(picture(env, tmp_path / "after.png"), CRITICAL) > 5000, "the pop-up is not drawn")
    assert "Unable to parse markup" not in (at.folder / "screen.log").read_text()


def test_do_not_disturb_cannot_be_told_from_shown(at: Desk, tmp_path: Path) -> None:
    """The service accepts and shows nothing, not even what is urgent; so the program claims no more than acceptance."""
    judge("import", "convert")
    with screen(at) as env:
        of_dunst(env, "Set", "paused", "<true>")
        assert asyncio.run(show(PopUp(TOLD, BODY, True), timeout=PATIENCE)).shown
        wait_until(lambda: of_dunst(env, "Get", "waitingLength") == "(<uint32 1>,)", "the pop-up does not wait")
        assert of_dunst(env, "Get", "displayedLength") == "(<uint32 0>,)"
        assert area(picture(env, tmp_path / "paused.png"), CRITICAL) == 0
        of_dunst(env, "Set", "paused", "<false>")
        wait_until(lambda: of_dunst(env, "Get", "displayedLength") == "(<uint32 1>,)", "the pop-up is not displayed")


def test_the_self_test_draws_nothing(at: Desk) -> None:
    with screen(at) as env:
        outcome: Outcome = asyncio.run(able(timeout=PATIENCE))
        assert outcome.shown
        assert of_dunst(env, "Get", "displayedLength") == "(<uint32 0>,)"
        assert of_dunst(env, "Get", "waitingLength") == "(<uint32 0>,)"
