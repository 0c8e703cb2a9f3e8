"""A household with phones for tests: its plan and record, its desk, and its listeners running in a thread of their own.

The plan is invented; clock times are Chicago's, all is in June 2026.
"""

import asyncio
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from histories import at
from own_places import own_places
from small_plans import plan_text
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Route

from reminders.daemon.desk import Desk, Health
from reminders.daemon.keeper import Keeper
from reminders.daemon.life import Life, write_life
from reminders.feed_file import Feed
from reminders.files import private_folder
from reminders.household import Household
from reminders.phones import Phones
from reminders.places import places
from reminders.publishing import FEED_NAME, publish_feed, renew
from reminders.reporting import Reported, report_to
from reminders.saying.phrases import said
from reminders.times import Instant
from reminders.web.guard import Gate
from reminders.web.server import Listeners, Listening

PLAN = """
[household]
quiet_hours = ["23:30-07:00"]
[lumen.red]
last_flushed = "2026-06-01 08:00"
[order.velmorin]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-07
duration = "60 min"
"""
"""Red: velmorin at 09:00 for an hour."""

BEGIN = at("06-01 08:00")


async def _page(request: Request) -> Response:
    return PlainTextResponse("the page")


PAGE: Sequence[BaseRoute] = [Route("/", _page)]
"""Stands for the household's page."""


@dataclass
class Clock:
    """Seconds since 1970, as a test sets them."""

    now: float = BEGIN * 60.0

    def __call__(self) -> float:
        """Return the time."""
        return self.now

    def set(self, moment: str) -> None:
        """Set it to ``06-01 09:00``."""
        self.now = at(moment) * 60.0


@dataclass
class FeedHome:
    """A household whose calendar is published for phones."""

    folder: Path
    clock: Clock = field(default_factory=Clock)

    def __post_init__(self) -> None:
        """Read the plan, publish the feed."""
        self.plan = self.folder / "plan.toml"
        if not self.plan.exists():
            self.plan.write_text(plan_text(PLAN), encoding="utf-8")
        self.keeper = Keeper(self.plan, self.clock)
        course = self.keeper.household.plan.course
        self.secrets = places().secrets_of(course.id)
        self.file = places().feed_of(course.id) / FEED_NAME
        self.keeper.took(publish_feed(self.keeper.household, self.file.parent, self.keeper.instant))
        phones = Phones(self.secrets, self.clock)
        self.desk = Desk(
            keeper=self.keeper,
            phones=phones,
            feed=Feed(self.file.parent),
            now=self.clock,
            health=lambda: Health(started=self.clock.now, last_tick=self.clock.now),
            secret=phones.secret,
            changed=lambda: None,
        )

    @property
    def household(self) -> Household:
        """Return plan and record as they are kept."""
        return self.keeper.household

    def lives(self, feeds: Sequence[str]) -> None:
        """Leave the sign of life of a daemon that phones reach, or reached, at these addresses."""
        path = places().life_of(self.household.plan.course.id)
        private_folder(path.parent)
        write_life(path, Life(pid=1, started=self.clock.now, last_tick=self.clock.now, feeds=feeds))

    def reports(self, moment: str, words: str) -> Reported:
        """Record what happened, said at a moment, as the page does."""
        self.clock.set(moment)
        self.keeper.refresh()
        found = report_to(self.household, said(words.split(), self.household.plan), f"{moment} {words}", at(moment))
        assert found.facts and not found.troubles
        self.keeper.took(found.household)
        return found

    def renews(self, moment: str) -> None:
        """Renew the calendars, as the daemon does about once an hour."""
        self.clock.set(moment)
        self.keeper.refresh()
        household, troubles = renew(self.household, Instant(at(moment)))
        assert troubles == []
        self.keeper.took(household)

    @contextmanager
    def listening(
        self, page: Sequence[BaseRoute] = PAGE, gates: Sequence[Gate] = (), **options: Any
    ) -> Iterator[Listeners]:
        """Run the listeners on free ports, in a thread with an event loop of its own, for as long as this is entered."""
        loop = asyncio.new_event_loop()
        thread = threading.Thread(target=loop.run_forever)
        thread.start()
        listeners = Listeners(self.desk, page, Listening(**{"port": 0, **options}), gates=gates)
        try:
            asyncio.run_coroutine_threadsafe(listeners.start(), loop).result(10)
            yield listeners
        finally:
            asyncio.run_coroutine_threadsafe(listeners.stop(), loop).result(10)
            loop.call_soon_threadsafe(loop.stop)
            thread.join()
            loop.run_until_complete(loop.shutdown_asyncgens())
            loop.close()


@pytest.fixture(name="home")
def feed_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> FeedHome:
    """Give a test a household in folders of its own."""
    own_places(tmp_path, monkeypatch)
    return FeedHome(tmp_path)
