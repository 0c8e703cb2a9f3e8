"""Reading plan files, and writing whole or not at all: results, and what only its owner may read."""

import os
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TypeAlias

from reminders.plan.source import LONGEST_FILE

Signature: TypeAlias = tuple[int, int, int]
"""What changes when a file does: when it was changed (nanoseconds since 1970), its size, its number on the disk."""


class FileError(Exception):
    """A file or folder that cannot be read or written; its text says which, why, and what to do."""


def read_file(path: Path, *, whole: bool = False, most: int = LONGEST_FILE) -> bytes:
    """Return a file's bytes; of one that has more than ``most``, as no plan has, only so many as show that, unless ``whole``.

    Raises:
        FileError: the file is not there, is a folder, or may not be read.
    """
    try:
        with path.open("rb") as file:
            return file.read() if whole else file.read(most + 1)
    except FileNotFoundError:
        raise FileError(f'There is no file "{path}". Check the name and the folder.') from None
    except IsADirectoryError:
        raise FileError(f'"{path}" is a folder. Name the plan file itself.') from None
    except (OSError, ValueError) as error:
        raise FileError(f'"{path}" cannot be read: {_why(error)}.') from None


def signature(file: Path | int) -> Signature | None:
    """Return what changes when a file does, given its path or its descriptor; None where it cannot be seen."""
    try:
        found = file.stat() if isinstance(file, Path) else os.fstat(file)
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


def private_folder(path: Path) -> Path:
    """Make a folder that only its owner may look into, if it is not there; return it.

    Raises:
        OSError: it cannot be made.
    """
    path.mkdir(mode=0o700, parents=True, exist_ok=True)
    if os.name == "posix" and path.stat().st_mode & 0o077:
        path.chmod(0o700)
    return path


def private_file(path: Path, content: bytes, *, sync: bool = True) -> Path:
    """Write a new file beside ``path``, which only its owner may read; return it, to be moved there.

    ``sync``: it is forced to the disk, so that a power cut does not leave an empty one.

    Raises:
        OSError: it cannot be written; then nothing is left of it.
    """
    return _beside(path, content, 0o600, sync=sync)


def write_private(path: Path, content: bytes, *, sync: bool = True) -> None:
    """Put a file that only its owner may read in its place, in one step; ``sync`` as for :func:`private_file`.

    Raises:
        OSError: it cannot be written; then what stood there stands, and nothing is left of the new one.
    """
    written = private_file(path, content, sync=sync)
    try:
        written.replace(path)
    except BaseException:
        written.unlink(missing_ok=True)
        raise


def write_files(folder: Path, contents: Mapping[str, bytes], *, private: bool = False) -> None:
    """Write several files into a folder, making it if need be: all of them, or none.

    Each is written beside its place and forced to the disk, then moved there in one step, so a reader sees the old file
    or the new one. Where a move fails, those already made are taken back. Not promised: that a power cut between two
    moves leaves both new. ``private``: only their owner may read them, or look into a folder that is made for them.

    Raises:
        FileError: something cannot be written; what stood there before stands there again.
    """
    waiting: dict[Path, Path] = {}
    before: dict[Path, Path | None] = {}
    try:
        folder.mkdir(mode=0o700 if private else 0o777, parents=True, exist_ok=True)
        for name, content in contents.items():
            waiting[folder / name] = _beside(folder / name, content, 0o600 if private else 0o644)
        for place, temporary in waiting.items():
            before[place] = _beside(place, place.read_bytes(), place.stat().st_mode & 0o777) if place.exists() else None
            temporary.replace(place)
    except BaseException as error:  # an interrupt too leaves all or nothing
        stuck = _take_back(before)
        _remove(waiting.values())
        if stuck:
            raise FileError(
                f'"{folder}" cannot be written ({_why(error)}), and what stood in "{stuck[0]}" could not be put back; '
                f'it is kept in "{before[stuck[0]]}".'
            ) from None
        if isinstance(error, OSError | ValueError):
            raise FileError(f'Nothing was written: "{folder}" cannot be written: {_why(error)}.') from None
        raise
    _remove(before.values())
    try:
        _sync_folder(folder)
    except OSError as error:
        raise FileError(
            f'"{folder}" was written, but the disk does not confirm it: {_why(error)}. Try again.'
        ) from None


def _beside(place: Path, content: bytes, mode: int, *, sync: bool = True) -> Path:
    """Write a temporary file in the same folder, forced to the disk if ``sync``; leave nothing if that fails."""
    handle, name = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            if sync:
                os.fsync(file.fileno())
        temporary.chmod(mode)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def _take_back(before: Mapping[Path, Path | None]) -> list[Path]:
    """Put what stood there before back in its place; return the places where that failed."""
    stuck = []
    for place, old in before.items():
        try:
            if old is not None:
                old.replace(place)
            elif place.is_file():
                place.unlink()
        except OSError:
            stuck.append(place)
    return stuck


def _remove(temporaries: Iterable[Path | None]) -> None:
    for temporary in temporaries:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":  # elsewhere a folder cannot be opened, and the move itself must do
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _why(error: BaseException) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error) or type(error).__name__
