"""What the page and the feed are given by the daemon, and what they may ask of it."""

import hashlib
import hmac
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from reminders.daemon.journal import Raised
from reminders.daemon.keeper import Keeper
from reminders.feed_file import Feed
from reminders.phones import Phones


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """How the daemon is. Moments are seconds since 1970. ``last_tick`` is when it last finished looking at everything.

    ``pop_ups`` says in words why pop-ups cannot be shown here, empty if they can. ``raised`` are the last pop-ups, newest
    first. ``troubles`` says whatever else is wrong: a plan that cannot be read, a disk that is full.
    """

    started: float
    last_tick: float | None
    pop_ups: str = ""
    raised: Sequence[Raised] = ()
    troubles: Sequence[str] = ()


@dataclass(slots=True, kw_only=True)
class Desk:
    """The daemon's side of the page and the feed. All of it lives in one event loop.

    ``now``: seconds since 1970. ``feed``: the file that phones are served. ``secret``: what the page's address begins with.
    ``changed`` is called after each report: the daemon looks again at what is due.

    The listeners set the addresses once they listen. ``home``: the page's on this computer, with the secret, ending in a slash.
    ``feeds``: the beginnings of those under which phones reach the feed (``http://192.0.2.7:4871/f/``), the one to prefer first,
    empty where only this computer does. ``pages``: the page's for phones, empty where it is not shown to them.
    """

    keeper: Keeper
    phones: Phones
    feed: Feed
    now: Callable[[], float]
    health: Callable[[], Health]
    secret: str
    changed: Callable[[], None]
    home: str = ""
    feeds: Sequence[str] = field(default_factory=tuple)
    pages: Sequence[str] = field(default_factory=tuple)

    @property
    def form_token(self) -> str:
        """Return what every form of the page carries, so that no other site can send one."""
        return hmac.new(self.secret.encode(), b"form", hashlib.sha256).hexdigest()
