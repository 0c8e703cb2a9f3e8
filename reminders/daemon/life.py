"""The daemon's sign of life: one daemon for a plan, and what others may know of it."""

import json
import os
import shutil
import socket
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path

from filelock import FileLock, Timeout

from reminders.files import private_folder, write_private

PULSE = 20.0
"""Seconds after which the daemon looks again at the latest, whatever its alarm clock says."""

STALE = 3 * PULSE
"""Seconds after which a daemon that has not finished looking is taken for stuck."""


RUNS_ALREADY = 3
"""The exit status of a second daemon; a service manager need not try again."""


class RunsAlreadyError(Exception):
    """Another daemon of the same plan runs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """What the daemon says of itself, by its process number ``pid``. Moments are seconds since 1970; ``troubles`` are sentences.

    ``home`` is the beginning of the page's address, without its secret; ``once`` a token with which it can be opened once;
    ``feeds`` are the beginnings of the addresses at which phones reach the calendar, none where only this computer does.
    """

    pid: int
    started: float
    last_tick: float | None
    home: str = ""
    once: str = ""
    feeds: Sequence[str] = field(default_factory=tuple)
    pop_ups: str = ""
    troubles: Sequence[str] = field(default_factory=tuple)


def only_one(path: Path, wait: float = 1.0) -> FileLock:
    """Take the lock of a plan's daemon; the system lets go of it when the process ends, however it ends.

    It is waited for a moment (seconds): whoever only looks whether a daemon runs holds it for an instant.

    Raises:
        RunsAlreadyError: another process holds it.
        OSError: the lock cannot be made.
    """
    private_folder(path.parent)
    lock = FileLock(path, mode=0o600)
    try:
        lock.acquire(timeout=wait)
    except Timeout:
        raise RunsAlreadyError from None
    return lock


def runs(path: Path) -> bool:
    """Say whether a daemon holds the lock at ``path``."""
    if not path.exists():
        return False
    try:
        only_one(path, wait=0).release()
    except RunsAlreadyError:
        return True
    return False


def write_life(path: Path, life: Life) -> None:
    """Put the sign of life in its place, in one step and readable by its owner only.

    Raises:
        OSError: it cannot be written.
    """
    write_private(path, json.dumps(asdict(life)).encode(), sync=False)  # after a power cut nobody lives


def read_life(path: Path) -> Life | None:
    """Return the last sign of life; None where there is none, or none that can be read."""
    try:
        return Life(**json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, RecursionError):
        return None


LITTLE_ROOM = 20_000_000
"""Bytes free on a disk below which the household is told."""


def little_room(folder: Path) -> str:
    """Say that the disk of a folder is almost full; nothing where it is not, or that cannot be seen."""
    try:
        free = shutil.disk_usage(folder).free
    except OSError:
        return ""
    return "" if free >= LITTLE_ROOM else "The disk is almost full: make room, or nothing more can be recorded."


def tell_system(message: str) -> None:
    """Tell the system's service manager ``READY=1`` or ``WATCHDOG=1``, where it has asked for it (sd_notify(3))."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address or not hasattr(socket, "AF_UNIX"):
        return
    if address.startswith("@"):  # a name in the abstract namespace
        address = "\0" + address[1:]
    with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.sendto(message.encode(), address)  # a manager that hears nothing notices that by itself
