"""Addresses of the page that work once and for a short time.

A browser is handed an address as an argument, which other users of the computer may read. So it is handed one of these, and
the page's own address, which lasts, stays between the browser and the daemon.
"""

import hashlib
import hmac
import secrets
from collections.abc import Callable

LASTS = 900.0
"""Seconds for which such an address works: as long as a pop-up may wait for a click."""

MOST = 64
"""So many wait at one time; the oldest goes first."""


class Once:
    """Hands out addresses that work once. ``now`` gives seconds; only their digests are kept."""

    def __init__(self, now: Callable[[], float]) -> None:
        """Begin with none."""
        self._now = now
        self._waiting: dict[bytes, float] = {}

    def issue(self) -> str:
        """Return a new token."""
        token = secrets.token_urlsafe(24)
        while len(self._waiting) >= MOST:
            del self._waiting[next(iter(self._waiting))]
        self._waiting[_digest(token)] = self._now() + LASTS
        return token

    def waits(self, token: str) -> bool:
        """Say whether a token is still good."""
        return self._waiting.get(_digest(token), 0.0) >= self._now()

    def redeem(self, token: str) -> bool:
        """Say whether a token is good, and use it up."""
        given, found = _digest(token), None
        for digest in self._waiting:
            if hmac.compare_digest(digest, given):
                found = digest
        return found is not None and self._now() <= self._waiting.pop(found)


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).digest()
