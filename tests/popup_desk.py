"""A desk of one's own: a private session bus, a notification service that writes down what it is told, a virtual screen.

Run as a program it is that service: ``python popup_desk.py ADDRESS LOG MODE``.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from jeepney import (
    DBusAddress,
    HeaderFields,
    Message,
    MessageType,
    message_bus,
    new_error,
    new_method_return,
    new_signal,
)
from jeepney.io.blocking import DBusConnection, open_dbus_connection

NAME = "org.freedesktop.Notifications"
OBJECT = DBusAddress("/org/freedesktop/Notifications", interface=NAME)
PATIENCE = 20.0
"""For how many seconds another process is waited for."""

CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>session</type>
  <listen>unix:path={bus}</listen>
  <servicedir>{services}</servicedir>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/><allow own="*"/>
  </policy>
</busconfig>
"""

CAPABILITIES = {
    "no-markup": ["body", "actions"],
    "titles": ["actions"],
    "no-actions": ["body", "body-markup"],
}
"""What the service says it can do, by its mode; every other mode can do all three."""


def wait_until(condition: Callable[[], object], what: str) -> None:
    """Wait until something holds that another process brings about, or fail."""
    end = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < end, f"waited in vain: {what}"
        time.sleep(0.02)


def judge(*names: str) -> None:
    """Skip a test, by name, where a program that it needs is not installed."""
    for name in names:
        if shutil.which(name) is None:
            pytest.skip(f"not run: {name} is not installed")


@dataclass(slots=True)
class Desk:
    """A private bus with, if wanted, a notification service on it; ``env`` leads a program to it."""

    folder: Path
    env: dict[str, str]
    bus: subprocess.Popen[bytes] | None = None
    service: subprocess.Popen[bytes] | None = None

    @property
    def socket(self) -> Path:
        """Where the bus listens."""
        return self.folder / "bus"

    def start_bus(self) -> None:
        """Start the bus."""
        (self.folder / "services").mkdir(exist_ok=True)
        config = self.folder / "bus.conf"
        config.write_text(CONFIG.format(bus=self.socket, services=self.folder / "services"))
        with (self.folder / "bus.log").open("wb") as log:
            self.bus = subprocess.Popen(
                ["dbus-daemon", f"--config-file={config}", "--nofork", "--nopidfile", "--print-address"],
                stdout=subprocess.PIPE,
                stderr=log,
            )
        assert self.bus.stdout is not None
        assert self.bus.stdout.readline().startswith(b"unix:path=")

    def stop_bus(self) -> None:
        """Kill the bus: the session ends."""
        _kill(self.bus)
        self.socket.unlink(missing_ok=True)

    def start_service(self, mode: str = "normal") -> None:
        """Start a notification service and wait until the bus knows it."""
        self.service = subprocess.Popen(
            [sys.executable, __file__, f"unix:path={self.socket}", str(self.folder / "calls"), mode],
            stdout=subprocess.PIPE,
            env=os.environ | self.env,
        )
        assert self.service.stdout is not None
        assert self.service.stdout.readline() == b"ready\n"

    def stop_service(self) -> None:
        """Kill the notification service."""
        _kill(self.service)

    def activatable(self, program: str) -> None:
        """Have the bus start a program when the notification service is asked for. Before the bus is started."""
        (self.folder / "services").mkdir()
        (self.folder / "services" / "popups.service").write_text(f"[D-BUS Service]\nName={NAME}\nExec={program}\n")

    def told(self) -> list[dict[str, Any]]:
        """Return what the service was told, oldest first: each call, and each that went away."""
        log = self.folder / "calls"
        return [json.loads(line) for line in log.read_text().splitlines()] if log.exists() else []

    def calls(self) -> list[dict[str, Any]]:
        """Return the pop-ups that the service was asked for, oldest first."""
        return [row for row in self.told() if row["call"] == "Notify"]


def _kill(process: subprocess.Popen[bytes] | None) -> None:
    if process is None:
        return
    process.kill()
    process.wait()
    if process.stdout is not None:
        process.stdout.close()


@contextmanager
def desk(*, bus: bool = True) -> Iterator[Desk]:
    """Give a desk, with a bus unless told otherwise, and clear it away."""
    if bus:
        judge("dbus-daemon")
    # Not pytest's folder: the path of a socket may have no more than about a hundred letters.
    with tempfile.TemporaryDirectory(prefix="desk") as name:
        folder = Path(name)
        env = {"DBUS_SESSION_BUS_ADDRESS": f"unix:path={folder / 'bus'}", "XDG_RUNTIME_DIR": name}
        made = Desk(folder, env)
        try:
            if bus:
                made.start_bus()
            yield made
        finally:
            made.stop_service()
            made.stop_bus()


@contextmanager
def screen(at: Desk, *, markup: str = "full") -> Iterator[dict[str, str]]:
    """Give a virtual screen on which dunst, a notification service of others, shows what comes over the desk's bus.

    With ``markup`` "no" it does not say that it reads marks in a text; whether it does is its own affair.
    """
    judge("Xvfb", "dunst", "gdbus")
    with ExitStack() as stack:
        reading, writing = os.pipe()
        log = stack.enter_context((at.folder / "screen.log").open("wb"))
        size = ["-screen", "0", "900x400x24", "-nolisten", "tcp"]
        server = subprocess.Popen(
            ["Xvfb", "-displayfd", str(writing), *size], pass_fds=[writing], stdout=log, stderr=log
        )
        stack.callback(_kill, server)
        os.close(writing)
        with os.fdopen(reading) as shown:
            number = shown.readline().strip()
        assert number, (at.folder / "screen.log").read_text()
        env = at.env | {"DISPLAY": f":{number}"}
        settings = at.folder / "dunstrc"
        settings.write_text(f'[global]\nfont = "DejaVu Sans 11"\nwidth = 420\nmarkup = {markup}\n')
        dunst = subprocess.Popen(["dunst", "-config", str(settings)], stdout=log, stderr=log, env=os.environ | env)
        stack.callback(_kill, dunst)
        wait_until(lambda: "true" in on_bus(env, "org.freedesktop.DBus.NameHasOwner", NAME), "dunst")
        yield env


def on_bus(env: dict[str, str], method: str, *arguments: str) -> str:
    """Ask the bus itself by gdbus, and return what it prints."""
    target = ["--dest", "org.freedesktop.DBus", "--object-path", "/org/freedesktop/DBus", "--method", method]
    done = subprocess.run(
        ["gdbus", "call", "--session", *target, *arguments],
        env=os.environ | env,
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=False,
    )
    return done.stdout + done.stderr


class _Service:
    """A notification service that shows nothing, and writes down everything."""

    def __init__(self, address: str, log: Path, mode: str) -> None:
        self.bus: DBusConnection = open_dbus_connection(address)
        self.log, self.mode, self.number = log, mode, 0

    def serve(self) -> None:
        assert self.bus.send_and_get_reply(message_bus.RequestName(NAME)).body[0] == 1
        gone = "type='signal',interface='org.freedesktop.DBus',member='NameOwnerChanged'"
        self.bus.send_and_get_reply(message_bus.AddMatch(gone))
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        while True:
            message = self.bus.receive()
            member = message.header.fields.get(HeaderFields.member)
            if message.header.message_type is MessageType.method_call:
                self.answer(message, member)
            elif member == "NameOwnerChanged" and message.body[2] == "":
                self.write({"call": "gone", "sender": message.body[0]})

    def write(self, row: dict[str, Any]) -> None:
        with self.log.open("a") as log:
            log.write(json.dumps(row) + "\n")

    def answer(self, message: Message, member: str) -> None:
        if self.mode == "silent" or (self.mode == "half-silent" and member == "Notify"):
            self.write({"call": "left unanswered"})
            return
        if member == "GetCapabilities":
            able_to = CAPABILITIES.get(self.mode, ["body", "body-markup", "actions"])
            self.bus.send(new_method_return(message, "as", (able_to,)))
        elif member == "GetServerInformation":
            self.bus.send(new_method_return(message, "ssss", ("mock", "nobody", "1.0", "1.2")))
        elif member == "Notify" and self.mode == "error":
            self.bus.send(new_error(message, "org.freedesktop.Notifications.MaxNotificationsExceeded"))
        elif member == "Notify" and self.mode == "denied":
            self.bus.send(new_error(message, "org.freedesktop.DBus.Error.AccessDenied"))
        elif member == "Notify" and self.mode == "dies":
            os.kill(os.getpid(), signal.SIGKILL)
        elif member == "Notify":
            self.number += 1
            keys = ("app", "replaces", "icon", "title", "body", "actions", "hints", "expire")
            sender = message.header.fields[HeaderFields.sender]
            row = dict(zip(keys, message.body, strict=True))
            self.write({"call": "Notify", "number": self.number, "sender": sender, **row})
            self.bus.send(new_method_return(message, "u", (self.number,)))
            self.afterwards()

    def afterwards(self) -> None:
        signals: dict[str, list[tuple[str, str, tuple[object, ...]]]] = {
            "click": [
                ("ActionInvoked", "us", (self.number + 7, "default")),  # that of another pop-up
                ("ActivationToken", "us", (self.number, "token-of-the-click")),
                ("ActionInvoked", "us", (self.number, "default")),
            ],
            "close": [("NotificationClosed", "uu", (self.number, 2))],
        }
        for member, signature, body in signals.get(self.mode, []):
            self.bus.send(new_signal(OBJECT, member, signature, body))


if __name__ == "__main__":
    _Service(sys.argv[1], Path(sys.argv[2]), sys.argv[3]).serve()
