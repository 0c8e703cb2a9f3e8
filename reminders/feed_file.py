"""The file of the calendar that phones subscribe to: as it is served, and what changes when it does."""

import hashlib
from dataclasses import dataclass
from pathlib import Path

from reminders.files import Signature, signature
from reminders.publishing import FEED_NAME


@dataclass(frozen=True, slots=True)
class Body:
    """One state of the feed: its bytes, its strong ETag, and the second since 1970 in which it was changed."""

    content: bytes
    etag: str
    changed: int


class Feed:
    """The feed's file, read again when it has changed; it is replaced as a whole, so it is never seen half written.

    ``folder`` is where it is published.
    """

    def __init__(self, folder: Path) -> None:
        """Take the folder; the file need not be there yet."""
        self.folder = folder
        self._seen: Signature | None = None
        self._body: Body | None = None

    def body(self) -> Body | None:
        """Return what the file holds, or held when it could last be read; None if it never could."""
        try:
            with (self.folder / FEED_NAME).open("rb") as file:
                seen = signature(file.fileno())  # of this one: it may be replaced meanwhile
                if seen is not None and seen != self._seen:
                    self._body = self._next(file.read(), seen[0] // 1_000_000_000)
                    self._seen = seen
        except OSError:
            pass
        return self._body

    def _next(self, content: bytes, changed: int) -> Body:
        """Return the state after the last one. Its moment is later, even if the clock was set back meanwhile."""
        etag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
        if self._body is not None:
            if self._body.etag == etag:
                return self._body
            changed = max(changed, self._body.changed + 1)
        return Body(content, etag, changed)
