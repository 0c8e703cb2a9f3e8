"""Start at login by the user's service manager of systemd, which starts it again whenever it ends.

``systemd.service(5)``, ``systemd.unit(5)`` and ``systemd.exec(5)`` state the keys; ``systemd.service(5)``, "Command lines",
and ``systemd.syntax(7)`` state the quoting.
"""

from collections.abc import Sequence
from pathlib import Path

from reminders.at_login.common import (
    DESCRIPTION,
    NOT_AGAIN,
    RESTART_SECONDS,
    STOP_SECONDS,
    WRITTEN_BY,
    AtLoginError,
    Runner,
    SetUp,
    holds,
    must,
    plainly_named,
    remove,
    write,
)
from reminders.daemon.life import STALE

UNIT = "reminders-daemon.service"
SESSION = "graphical-session.target"
"""What begins when a desktop has been logged in to, and ends with it; pop-ups need a desktop."""

WATCHDOG_SECONDS = int(2 * STALE)
"""Seconds without a finished look at what is due after which the daemon is started again. It is said to be stuck before."""


def unit_text(command: Sequence[str]) -> str:
    """Return the unit that runs a command.

    It never gives up starting again (``StartLimitIntervalSec=0``; by default it would after five failures in a row), except
    after an exit that says that there is nothing to run. Each login gets a process of its own (``PartOf``), since the desktop's
    message bus ends with the session. What the daemon prints may tell of the patient, and goes into no journal; it has a
    log of its own.
    """
    return f"""\
# {WRITTEN_BY}
[Unit]
Description={DESCRIPTION}
PartOf={SESSION}
After={SESSION}
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
ExecStart=:{" ".join(map(_quoted, plainly_named(command)))}
Restart=always
RestartSec={RESTART_SECONDS}
RestartPreventExitStatus={" ".join(map(str, NOT_AGAIN))}
WatchdogSec={WATCHDOG_SECONDS}
TimeoutStopSec={STOP_SECONDS}
StandardOutput=null
StandardError=null
KillMode=process
UMask=0077
NoNewPrivileges=yes

[Install]
WantedBy={SESSION}
"""


def _quoted(word: str) -> str:
    """Quote a word of ExecStart=: with ``:`` before the command a dollar means itself; a percent sign must be doubled."""
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{escaped}"'


class Systemd:
    """The user's service manager. ``settings`` is the folder of the user's settings, ``~/.config``."""

    name = "systemd"
    restarts = True

    def __init__(self, command: Sequence[str], settings: Path, runner: Runner) -> None:
        """Take what is to be started, and how other programs are run."""
        self.file = settings / "systemd" / "user" / UNIT
        self._wanted = unit_text(command).encode()
        self._runner = runner

    def serves(self) -> bool:
        """Say whether the service manager can be asked, and knows when this desktop's session begins and ends."""
        return bool(self._asked("is-active", SESSION))

    def on(self) -> None:
        """Write the unit, and enable it."""
        write(self.file, self._wanted)
        self._must("daemon-reload")
        self._must("enable", UNIT)

    def start(self) -> None:
        """Start it anew, and wait until it says that it is ready."""
        self._must("restart", UNIT)

    def off(self) -> bool:
        """Stop and disable the service, and remove its unit and whatever still points at it."""
        link = self.file.parent / f"{SESSION}.wants" / UNIT
        if holds(self.file) is None and not link.is_symlink():
            return False
        trouble = ""
        try:
            self._must("disable", "--now", UNIT)
        except AtLoginError as error:
            trouble = str(error)
        remove(self.file)
        remove(link)
        if trouble:
            raise AtLoginError(f"It will not start again, but it may run until you log out: {trouble}")
        self._must("daemon-reload")
        return True

    def status(self) -> SetUp:
        """Compare the unit, and ask whether it is enabled."""
        found = holds(self.file)
        loaded = None if found is None else self._asked("is-enabled", UNIT)
        return SetUp(there=found is not None, current=found == self._wanted, loaded=loaded)

    def _asked(self, *question: str) -> bool | None:
        """Return the answer to a question; None if there is nobody to ask."""
        try:
            return self._runner(("systemctl", "--user", *question)).status == 0
        except AtLoginError:
            return None

    def _must(self, *order: str) -> None:
        must(self._runner, "systemctl", "--user", *order)
