"""Reading plan files, and writing results whole or not at all."""

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from reminders.plan.source import LONGEST_FILE


class FileError(Exception):
    """A file or folder that cannot be read or written; its text says which, why, and what to do."""


def read_file(path: Path) -> bytes:
    """Return a file's bytes; of a file far too large to be a plan, only so many as show that.

    Raises:
        FileError: the file is not there, is a folder, or may not be read.
    """
    try:
        with path.open("rb") as file:
            return file.read(LONGEST_FILE + 1)
    except FileNotFoundError:
        raise FileError(f'There is no file "{path}". Check the name and the folder.') from None
    except IsADirectoryError:
        raise FileError(f'"{path}" is a folder. Name the plan file itself.') from None
    except (OSError, ValueError) as error:
        raise FileError(f'"{path}" cannot be read: {_why(error)}.') from None


def write_files(folder: Path, contents: Mapping[str, bytes]) -> None:
    """Write several files into a folder, making it if need be: all of them, or none.

    Each is written beside its place and forced to the disk, then moved there in one step, so a reader sees the old file
    or the new one. Where a move fails, those already made are taken back. Not promised: that a power cut between two
    moves leaves both new.

    Raises:
        FileError: something cannot be written; what stood there before stands there again.
    """
    waiting: dict[Path, Path] = {}
    before: dict[Path, Path | None] = {}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            waiting[folder / name] = _beside(folder, name, content)
        for place, temporary in waiting.items():
            before[place] = _beside(folder, place.name, place.read_bytes()) if place.exists() else None
            temporary.replace(place)
    except (OSError, ValueError) as error:
        _take_back(before)
        raise FileError(f'Nothing was written: "{folder}" cannot be written: {_why(error)}.') from None
    finally:
        for left in (*waiting.values(), *before.values()):
            if left is not None:
                left.unlink(missing_ok=True)
    try:
        _sync_folder(folder)
    except OSError as error:
        raise FileError(
            f'"{folder}" was written, but the disk does not confirm it: {_why(error)}. Try again.'
        ) from None


def _beside(folder: Path, name: str, content: bytes) -> Path:
    """Write a temporary file in the same folder, forced to the disk; leave nothing if that fails."""
    handle, temporary = tempfile.mkstemp(prefix=f".{name}.", dir=folder)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).chmod(0o644)
    except OSError:
        Path(temporary).unlink(missing_ok=True)
        raise
    return Path(temporary)


def _take_back(before: Mapping[Path, Path | None]) -> None:
    for place, old in before.items():
        if old is None:
            if place.is_file():
                place.unlink()
        elif old.exists():
            old.replace(place)


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":  # elsewhere a folder cannot be opened, and the move itself must do
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _why(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
