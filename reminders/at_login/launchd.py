"""Start at login by macOS, as an agent of launchd, which starts it again whenever it ends.

``launchd.plist(5)`` states the keys, ``launchctl(1)`` the commands.
"""

import plistlib
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from reminders.at_login.common import STOP_SECONDS, AtLoginError, Runner, SetUp, holds, must, remove, write

LABEL = "local.reminders.daemon"

TRIES, PAUSE_SECONDS = 10, 1.0
"""How often, and with what pause, launchd is asked to take up an agent that it is just letting go of."""

THROTTLE_SECONDS = 10
"""Seconds that launchd leaves between two starts, its own least value."""


def agent(command: Sequence[str], home: Path) -> bytes:
    """Return the agent that runs a command.

    ``KeepAlive`` starts it again however it ends, and ``Aqua`` only where there is a desktop: pop-ups need one.
    ``Interactive`` keeps it from being slowed down as work in the background is. What the daemon prints may tell of
    the patient, so it goes nowhere; it has a log of its own.
    """
    return plistlib.dumps(
        {
            "Label": LABEL,
            "ProgramArguments": list(command),
            "WorkingDirectory": str(home),
            "RunAtLoad": True,
            "KeepAlive": True,
            "LimitLoadToSessionType": "Aqua",
            "ProcessType": "Interactive",
            "ThrottleInterval": THROTTLE_SECONDS,
            "ExitTimeOut": STOP_SECONDS,
            "Umask": 0o077,
            "StandardOutPath": "/dev/null",
            "StandardErrorPath": "/dev/null",
        },
        sort_keys=False,
    )


class Launchd:
    """The launchd of the user numbered ``uid``."""

    name = "launchd"
    restarts = True

    def __init__(
        self,
        command: Sequence[str],
        home: Path,
        uid: int,
        runner: Runner,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        """Take what is to be started, and how other programs are run; ``pause`` waits so many seconds."""
        self.file = home / "Library" / "LaunchAgents" / f"{LABEL}.plist"
        self._wanted = agent(command, home)
        self._domain, self._service = f"gui/{uid}", f"gui/{uid}/{LABEL}"
        self._runner, self._pause = runner, pause

    def serves(self) -> bool:
        """Say yes: every macOS has it."""
        return True

    def start(self) -> None:
        """Do nothing: launchd has started the agent as it took it up."""

    def on(self) -> None:
        """Write the agent and have it taken up, which starts it; one that was there is let go of first."""
        write(self.file, self._wanted)
        must(self._runner, "launchctl", "enable", self._service)  # else one that was ever disabled is refused
        if self._loaded():
            must(self._runner, "launchctl", "bootout", self._service)
        for left in reversed(range(TRIES)):  # letting go takes a moment, in which the new one is refused
            ran = self._runner(("launchctl", "bootstrap", self._domain, str(self.file)))
            if ran.status == 0:
                return
            if left:
                self._pause(PAUSE_SECONDS)
        raise AtLoginError(
            f"launchctl bootstrap … failed: {ran.said} Log in to the desktop of this computer itself, and try again there."
        )

    def off(self) -> bool:
        """Have the agent let go of, which stops it, and remove it."""
        there, trouble = False, ""
        try:
            if self._loaded():
                there = True
                must(self._runner, "launchctl", "bootout", self._service)
        except AtLoginError as error:
            trouble = str(error)
        there = remove(self.file) or there
        if trouble:
            raise AtLoginError(f"It will not start again, but it may run until you log out: {trouble}")
        return there

    def status(self) -> SetUp:
        """Compare the agent, and ask whether launchd has taken it up."""
        found = holds(self.file)
        try:
            loaded: bool | None = self._loaded()
        except AtLoginError:
            loaded = None
        return SetUp(there=found is not None, current=found == self._wanted, loaded=loaded)

    def _loaded(self) -> bool:
        return self._runner(("launchctl", "print", self._service)).status == 0
