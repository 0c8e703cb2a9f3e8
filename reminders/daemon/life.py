"""The daemon's sign of life: one daemon for a plan, and what others may know of it."""

import json
import os
import socket
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path

from filelock import FileLock, Timeout

from reminders.places import private_folder

PULSE = 20.0
"""Seconds after which the daemon looks again at the latest, whatever its alarm clock says."""

STALE = 3 * PULSE
"""Seconds after which a daemon that has not finished looking is taken for stuck."""


class RunsAlreadyError(Exception):
    """Another daemon of the same plan runs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """What the daemon says of itself. Moments are seconds since 1970; ``troubles`` are sentences; ``home`` is the beginning of
    the page's address, without its secret; ``once`` a token with which it can be opened once."""

    pid: int
    plan: str
    started: float
    last_tick: float | None
    home: str = ""
    once: str = ""
    pop_ups: str = ""
    troubles: Sequence[str] = field(default_factory=tuple)


def only_one(path: Path) -> FileLock:
    """Take the lock of a plan's daemon; the system lets go of it when the process ends, however it ends.

    Raises:
        RunsAlreadyError: another process holds it.
        OSError: the lock cannot be made.
    """
    private_folder(path.parent)
    lock = FileLock(path, mode=0o600)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise RunsAlreadyError from None
    return lock


def runs(path: Path) -> bool:
    """Say whether a daemon holds the lock at ``path``."""
    if not path.exists():
        return False
    try:
        only_one(path).release()
    except RunsAlreadyError:
        return True
    return False


def write_life(path: Path, life: Life) -> None:
    """Put the sign of life in its place, in one step and readable by its owner only.

    Raises:
        OSError: it cannot be written.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump(asdict(life), file)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def read_life(path: Path) -> Life | None:
    """Return the last sign of life; None where there is none, or none that can be read."""
    try:
        return Life(**json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        return None


def tell_system(message: str) -> None:
    """Tell the system's service manager ``READY=1`` or ``WATCHDOG=1``, where it has asked for it (sd_notify(3))."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address or not hasattr(socket, "AF_UNIX"):
        return
    if address.startswith("@"):  # a name in the abstract namespace
        address = "\0" + address[1:]
    with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        channel.sendto(message.encode(), address)  # a manager that hears nothing notices that by itself
