"""Drafts of plans that are being written onto the disk, where only their owner may read them, and back.

Whatever is typed is kept at once. So a closed window, a power cut or a slip loses nothing: it is offered the next time.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path

from filelock import FileLock

from reminders.daemon.life import RunsAlreadyError, only_one
from reminders.files import private_folder, write_private

NEW = "new"
"""What the draft of a plan is kept under that has no file yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A draft as it is kept.

    ``file`` is the plan's file, empty where it has none yet; ``opened`` the digest of what stood in it when it was opened, empty where
    it was not there. ``text`` is the plan so far, ``beside`` what was typed and could not be put into it, by the name of its field.
    ``shapes`` are the shapes in which orders were begun. ``at``: seconds since 1970.
    """

    file: str
    opened: str
    text: str
    at: float
    beside: Mapping[str, str] = field(default_factory=dict)
    shapes: Mapping[str, str] = field(default_factory=dict)


class Drafts:
    """The folder in which drafts are kept, one for each plan's file."""

    def __init__(self, folder: Path) -> None:
        """Take the folder; it is made when it is needed."""
        self._folder = folder

    def of(self, path: Path | None) -> Kept | None:
        """Return the draft of a plan's file; None if there is none, or it cannot be read."""
        try:
            found = json.loads(self.place(path).read_text(encoding="utf-8"))
            return Kept(
                file=str(found["file"]),
                opened=str(found["opened"]),
                text=str(found["text"]),
                at=float(found["at"]),
                beside={str(name): str(typed) for name, typed in dict(found["beside"]).items()},
                shapes={str(name): str(shape) for name, shape in dict(found["shapes"]).items()},
            )
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return None

    def keep(self, path: Path | None, kept: Kept) -> None:
        """Keep a draft in the place of the last one.

        Raises:
            OSError: it cannot be written; then the last one stands.
        """
        private_folder(self._folder)
        write_private(self.place(path), json.dumps(asdict(kept), indent=1).encode())

    def drop(self, path: Path | None) -> None:
        """Forget a draft, which is a plan now.

        Raises:
            OSError: it cannot be taken away.
        """
        self.place(path).unlink(missing_ok=True)

    def set_aside(self, path: Path | None) -> Path | None:
        """Keep a draft that is not gone on with under another name; return its file, None if there was none.

        Raises:
            OSError: it cannot be moved.
        """
        place = self.place(path)
        if not place.exists():
            return None
        number = 1
        while (aside := place.with_suffix(f".{number}.json")).exists():
            number += 1
        return place.rename(aside)

    def place(self, path: Path | None) -> Path:
        """Return the file in which the draft of a plan's file is kept."""
        return self._folder / f"draft-{_name_of(path)}.json"

    def alone(self, path: Path | None) -> FileLock:
        """Take the lock of a plan's draft, so that nobody else writes it meanwhile.

        Raises:
            RunsAlreadyError: another process writes it.
            OSError: the lock cannot be made.
        """
        return only_one(self._folder / f"draft-{_name_of(path)}.lock")


def digest(content: bytes | None) -> str:
    """Return what tells one content of a file from another; empty for a file that is not there."""
    return "" if content is None else hashlib.sha256(content).hexdigest()


def _name_of(path: Path | None) -> str:
    return (
        NEW if path is None else hashlib.sha256(str(path.resolve()).encode("utf-8", "surrogatepass")).hexdigest()[:24]
    )


__all__ = ["NEW", "Drafts", "Kept", "RunsAlreadyError", "digest"]
