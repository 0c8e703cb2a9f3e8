"""The ways to start at login that there are on this system, and which of them is used here."""

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_config_path

from reminders.at_login.autostart import Autostart
from reminders.at_login.common import AtLoginError, Runner, Way, check_command, daemon_command, run
from reminders.at_login.launchd import Launchd
from reminders.at_login.options import keep_options, kept_options
from reminders.at_login.systemd import Systemd
from reminders.at_login.windows import TaskScheduler, windowless
from reminders.places import places


def ways(command: Sequence[str], runner: Runner, system: str = sys.platform) -> tuple[Way, ...]:
    """Return the ways of a system; the first that serves is the one to be used."""
    if system == "win32":
        return (TaskScheduler(command, places().state, runner),)
    if system == "darwin":
        return (Launchd(command, Path.home(), os.getuid(), runner),)
    settings = user_config_path()
    return Systemd(command, settings, runner), Autostart(command, settings)


@dataclass(frozen=True, slots=True)
class AtLogin:
    """Starting at login on this computer: its ways, the command that they start, and how other programs are run.

    ``options`` are those of the command; they are kept in ``folder``.
    """

    ways: tuple[Way, ...]
    command: Sequence[str]
    runner: Runner
    options: Sequence[str]
    folder: Path

    def on(self) -> tuple[Way, list[str]]:
        """Set the first way that serves up, start the daemon, and take any other way away.

        Returns the way, and in words what went wrong after it was set up.

        Raises:
            AtLoginError: it could not be set up.
        """
        check_command(self.runner, self.command)
        way = next(way for way in self.ways if way.serves())
        keep_options(self.folder, self.options)
        way.on()
        troubles = []
        try:
            way.start()
        except AtLoginError as error:
            troubles.append(
                f"It could not be started now: {error}\nIf  reminders run  runs already, stop it there, and do this again; if "
                "not,  reminders run  says why it does not start."
            )
        for other in self.ways:
            if other is not way:
                try:
                    other.off()
                except AtLoginError as error:
                    troubles.append(str(error))
        return way, troubles

    def off(self) -> list[Way]:
        """Take every way away; return those that were there.

        Raises:
            AtLoginError: one could not be taken away; the others were, all the same.
        """
        gone, troubles = [], []
        for way in self.ways:
            try:
                if way.off():
                    gone.append(way)
            except AtLoginError as error:
                troubles.append(str(error))
        if troubles:
            raise AtLoginError("\n".join(troubles))
        keep_options(self.folder, ())
        return gone


def here(runner: Runner = run, system: str = sys.platform, options: Sequence[str] | None = None) -> AtLogin:
    """Return what there is on this computer; ``options`` of the daemon, those that are kept unless they are given.

    Raises:
        AtLoginError: it cannot be found out how this program is started.
    """
    folder = places().state
    options = kept_options(folder) if options is None else options
    command = daemon_command(options=options)
    if system == "win32":
        command = windowless(command)
    return AtLogin(ways(command, runner, system), command, runner, options, folder)
