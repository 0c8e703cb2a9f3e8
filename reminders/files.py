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
    """Write several files into a folder, making it if need be: all are complete before the first takes its place.

    Each is written beside its place, forced to the disk, then moved there in one step, so a reader sees the old file
    or the new one. Not promised: that a power cut between two moves leaves both new.

    Raises:
        FileError: something cannot be written; what stood there before still stands.
    """
    waiting: list[tuple[Path, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            handle, temporary = tempfile.mkstemp(prefix=f".{name}.", dir=folder)
            waiting.append((Path(temporary), folder / name))
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            Path(temporary).chmod(0o644)
        while waiting:
            temporary_path, place = waiting[0]
            temporary_path.replace(place)
            waiting.pop(0)
        _sync_folder(folder)
    except (OSError, ValueError) as error:
        raise FileError(
            f'Nothing was changed by the step that failed: "{folder}" cannot be written: {_why(error)}.'
        ) from None
    finally:
        for temporary_path, _ in waiting:
            temporary_path.unlink(missing_ok=True)


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
