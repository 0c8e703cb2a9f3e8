"""What all ways of starting at login share: the command that is started, how other programs are asked, what is said back."""

import re
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from reminders.daemon.life import RUNS_ALREADY
from reminders.files import FileError, write_files

MISUSED = 2
"""The exit status with which a command ends that has no plan (click's, for a command that cannot be understood)."""

PATIENCE = 30.0
"""Seconds that another program has to answer."""

NOT_AGAIN = (MISUSED, RUNS_ALREADY)
"""Exit statuses of the daemon after which starting it again is of no use: no plan is in use, or it runs already."""

RESTART_SECONDS = 5
"""Seconds until it is started again after it has ended."""

STOP_SECONDS = 15
"""Seconds that it has to end by itself when it is told to."""

DESCRIPTION = "Reminds of infusions and flushes, by the plan in use"
WRITTEN_BY = "Written by  reminders at-login on , and taken away by  reminders at-login off ."


class AtLoginError(Exception):
    """Starting at login could not be set up, changed or looked up; its text says what went wrong and what to do."""


@dataclass(frozen=True, slots=True)
class Ran:
    """What came of another program: its exit status, and what it wrote."""

    status: int
    out: str = ""
    err: str = ""

    @property
    def said(self) -> str:
        """Return what it complained about, on one line."""
        return " ".join((self.err.strip() or self.out.strip()).split()) or f"exit status {self.status}"


Runner = Callable[[Sequence[str]], Ran]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """How things stand with one way.

    ``there``: its file lies there. ``current``: it says what this release would write. ``loaded``: the system has taken it
    up; None if the system could not be asked, or there is nobody to ask.
    """

    there: bool
    current: bool
    loaded: bool | None


class Way(Protocol):
    """One way to start at login."""

    @property
    def name(self) -> str:
        """Return who starts the daemon, as a person calls it."""

    @property
    def file(self) -> Path:
        """Return the file that it writes."""

    @property
    def restarts(self) -> bool:
        """Say whether the daemon is started again after it has ended."""

    def serves(self) -> bool:
        """Say whether this way can be used here, as far as the system can be asked."""

    def on(self) -> None:
        """Write the file, and have it taken up.

        Raises:
            AtLoginError: that failed.
        """

    def start(self) -> None:
        """Start the daemon now, or anew, if this way can.

        Raises:
            AtLoginError: it did not start.
        """

    def off(self) -> bool:
        """Stop the daemon that was started so, and take the file away; say whether there was anything.

        Raises:
            AtLoginError: that failed; the file is gone all the same if it could be removed.
        """

    def status(self) -> SetUp:
        """Look how things stand. Nothing is changed."""


def run(command: Sequence[str]) -> Ran:
    """Run another program, and wait for it.

    Raises:
        AtLoginError: it is not there, may not be run, or does not answer.
    """
    try:
        found = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
            timeout=PATIENCE,
            encoding="utf-8",
            errors="replace",
            cwd=Path.home(),
        )
    except FileNotFoundError:
        raise AtLoginError(f'There is no program "{command[0]}" on this computer.') from None
    except subprocess.TimeoutExpired:
        raise AtLoginError(f'"{command[0]}" did not answer for {PATIENCE:.0f} s. Try again.') from None
    except OSError as error:
        raise AtLoginError(f'"{command[0]}" cannot be run: {error.strerror}.') from None
    return Ran(found.returncode, found.stdout, found.stderr)


def must(runner: Runner, *command: str) -> Ran:
    """Run a program that has to succeed.

    Raises:
        AtLoginError: it did not.
    """
    ran = runner(command)
    if ran.status != 0:
        raise AtLoginError(f"{' '.join(command[:3])} … failed: {ran.said}")
    return ran


def daemon_command(executable: str | None = None, options: Sequence[str] = ()) -> tuple[str, ...]:
    """Return the command that starts the daemon with some options, for the plan in use, from any folder.

    ``-P``: what lies in the folder it is started in is no part of the program.

    Raises:
        AtLoginError: it is not known which Python this is, or its name holds what no such file can say.
    """
    program = sys.executable if executable is None else executable
    if not program or not Path(program).is_absolute():
        raise AtLoginError("It cannot be found out which Python runs this program. Install it again, and try again.")
    if not program.isprintable():
        raise AtLoginError(f"The folder of Python, {program!r}, has a name that cannot be written down. Rename it.")
    return program, "-P", "-m", "reminders", "run", *options


def plainly_named(command: Sequence[str]) -> Sequence[str]:
    """Return a command whose program has a plain name, which starts the same.

    systemd takes no quotation mark or backslash in a program's name, and desktops no percent or equals sign, however they are
    escaped; in what a program is called with they take all.
    """
    if _PLAIN.fullmatch(command[0]):
        return command
    return ("/bin/sh", "-c", 'exec "$0" "$@"', *command)


_PLAIN = re.compile(r"[\w /.,+:@~()-]+")


def check_command(runner: Runner, command: Sequence[str]) -> None:
    """See that the command's Python finds this program from wherever it is started.

    Raises:
        AtLoginError: it does not.
    """
    ran = runner([command[0], "-P", "-c", "import reminders.cli"])
    if ran.status != 0:
        raise AtLoginError(
            f'"{command[0]}" does not find this program unless it is started in its own folder, so it would not start at '
            "login. Install it (pip install), and try again."
        )


def write(file: Path, content: bytes) -> None:
    """Put a file in its place in one step.

    Raises:
        AtLoginError: it cannot be written.
    """
    try:
        write_files(file.parent, {file.name: content})
    except FileError as error:
        raise AtLoginError(str(error)) from None


def remove(file: Path) -> bool:
    """Take a file away; say whether it was there.

    Raises:
        AtLoginError: it cannot be removed.
    """
    try:
        file.unlink()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise AtLoginError(f'"{file}" cannot be removed: {error.strerror}. Delete it by hand.') from None
    return True


def holds(file: Path) -> bytes | None:
    """Return what a file holds; None if it is not there or cannot be read."""
    try:
        return file.read_bytes()
    except OSError:
        return None
