"""The daemon put together: alarm clock, pulse, pop-ups, page and feed in one event loop."""

import asyncio
import logging
import os
import shutil
import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from reminders.daemon.alarm import Alarm
from reminders.daemon.desk import Desk, Health
from reminders.daemon.journal import Journal
from reminders.daemon.keeper import Keeper
from reminders.daemon.life import PULSE, Life, tell_system, write_life
from reminders.daemon.log import where
from reminders.daemon.once import Once
from reminders.daemon.ticker import Surroundings, Ticker
from reminders.files import FileError
from reminders.household import NotInUseError
from reminders.phones import Phones
from reminders.places import Places
from reminders.popups import show as popups
from reminders.popups.popup import PopUp
from reminders.popups.terminal import ring
from reminders.publishing import publish_feed, renew
from reminders.record.store import RecordError
from reminders.web.once import once_gate
from reminders.web.page import page_routes
from reminders.web.server import Listeners

LOG = logging.getLogger("reminders.daemon")

GLANCE = 2.0
"""Seconds between two glances at the files and the clock."""

RENEWED_EVERY = 3600.0
"""Seconds between two renewals of the calendars for phones."""

TRIED_EVERY = 60.0
"""Seconds between two looks whether pop-ups, which could not be shown, can be."""

LITTLE_ROOM = 20_000_000
"""Bytes free on the disk below which the household is told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How the daemon listens: the port, whether phones on the home network reach the feed (``lan``) and the page
    (``page_on_lan``), the files of a certificate and its key, and what else phones
    call this computer by."""

    port: int
    lan: bool = False
    page_on_lan: bool = False
    certificate: Path | None = None
    key: Path | None = None
    names: tuple[str, ...] = ()


class Daemon:
    """One plan's daemon. Everything that it knows is in the plan, the record and the journal."""

    def __init__(
        self,
        keeper: Keeper,
        places: Places,
        options: Options,
        say: Callable[[str], None],
        now: Callable[[], float] = time.time,
    ) -> None:
        """Open what the daemon needs; ``say`` speaks to whoever started it. ``now`` gives seconds since 1970.

        Raises:
            JournalError, PhonesError: its own files cannot be used.
        """
        self._keeper, self._say, self._now = keeper, say, now
        plan_id = keeper.household.plan.course.id
        self._places, self._plan_id = places, plan_id
        self._journal = Journal(places.journal_of(plan_id))
        self._once = Once(now)
        self._for_command = ""
        self._started = now()
        self._renewed = self._tried = 0.0
        self._shown = 0
        self._fault = self._feed_trouble = ""
        self._stopping = asyncio.Event()
        phones = Phones(places.secrets_of(plan_id), now)
        self._desk = Desk(
            keeper=keeper,
            phones=phones,
            now=now,
            health=self._health,
            secret=phones.secret,
            home="",
            changed=self._changed,
        )
        self._listeners = Listeners(
            self._desk,
            page_routes(self._desk),
            port=options.port,
            lan=options.lan,
            page_on_lan=options.page_on_lan,
            certificate=options.certificate,
            key=options.key,
            names=options.names,
            gates=[once_gate(self._desk, self._once)],
        )
        self._alarm = Alarm(self._look)
        world = Surroundings(
            now=now,
            elapsed=time.monotonic,
            show=popups.show,
            ring=_ring,
            arm=self._alarm.set,
        )
        self._ticker = Ticker(keeper, self._journal, world, lambda: f"{self._base}once/{self._once.issue()}")
        self._looks: set[asyncio.Task[None]] = set()

    async def run(self) -> None:
        """Run until the system or the user says stop, or another plan lies where this one lay.

        Raises:
            ListenError: the page cannot be served at this port.
        """
        loop = asyncio.get_running_loop()
        _on_signals(loop, self._stopping.set)
        await self._listeners.start()
        self._desk.home, self._desk.feeds = self._listeners.home, self._listeners.feeds
        LOG.info("started, process %d", os.getpid())
        try:
            self._alarm.start()
            await self._look()
            tell_system("READY=1")
            await self._greet()
            await self._pulse()
        finally:
            tell_system("STOPPING=1")
            self._alarm.stop()
            await self._listeners.stop()
            if self._looks:
                await asyncio.wait(self._looks)
            await popups.stop()
            self._journal.close()
            self._write_life()
            LOG.info("stopped")

    async def _pulse(self) -> None:
        while not self._stopping.is_set() and not self._keeper.other_plan:
            last = self._ticker.last_tick
            if self._ticker.due or last is None or abs(self._now() - last) >= PULSE:
                await self._look()
            await self._renew()
            await self._try_pop_ups()
            try:
                await asyncio.wait_for(self._stopping.wait(), GLANCE)
            except TimeoutError:
                continue

    async def _look(self) -> None:
        """Look at what is due. Whatever goes wrong in it is logged and shown, and the next look comes all the same."""
        try:
            await self._ticker.tick()
            self._fault = ""
            tell_system("WATCHDOG=1")
        except Exception as error:  # the daemon outlives what its authors did not think of
            LOG.error("looking failed: %s", where(error))
            self._fault = f"Something went wrong inside this program ({where(error)}). Reminders may be missing: tell the developers."
        self._write_life()

    def _changed(self) -> None:
        """Look again soon: something was reported."""
        task = asyncio.get_running_loop().create_task(self._look())
        self._looks.add(task)
        task.add_done_callback(self._looks.discard)

    async def _renew(self) -> None:
        """Write the calendars for phones at the start; renew them each hour, and when somebody else has recorded something."""
        version = self._keeper.version
        if abs(self._now() - self._renewed) < RENEWED_EVERY and version == self._shown:
            return
        first, self._renewed, self._shown = not self._renewed, self._now(), version
        household, now = self._keeper.household, self._keeper.instant
        try:
            if first:
                household = await asyncio.to_thread(publish_feed, household, self._places.feed_of(self._plan_id), now)
            _household, troubles = await asyncio.to_thread(renew, household, now)
            self._feed_trouble = " ".join(troubles)
        except (FileError, RecordError, NotInUseError) as error:
            LOG.error("the feed cannot be written: %s", where(error))
            self._feed_trouble = f"The calendar for phones is old: {error}"

    async def _try_pop_ups(self) -> None:
        """Look whether pop-ups can be shown again where they could not: the desktop may come up after this program."""
        if not self._ticker.pop_up_trouble or abs(self._now() - self._tried) < TRIED_EVERY:
            return
        self._tried = self._now()
        able = await popups.able()
        self._ticker.pop_up_trouble = "" if able.shown else able.why

    async def _greet(self) -> None:
        """Tell whoever started the daemon whether pop-ups can be shown."""
        self._tried = self._now()
        able = await popups.able()
        if not able.shown:
            self._ticker.pop_up_trouble = able.why
        if able.shown:
            self._say(f"Pop-ups: {able.way}.")
        else:
            self._say(f"POP-UPS CANNOT BE SHOWN HERE: {able.why}")
            self._say("What is due is written here with a bell instead, and stands on the page.")
            LOG.warning("pop-ups cannot be shown")

    def _health(self) -> Health:
        return Health(
            started=self._started,
            last_tick=self._ticker.last_tick,
            pop_ups=self._ticker.pop_up_trouble,
            raised=self._journal.latest(),
            troubles=self._troubles(),
        )

    def _troubles(self) -> list[str]:
        """Say in words what is wrong besides pop-ups."""
        deaf = "" if self._listeners.alive else "The page is no longer served. Stop this program and start it again."
        told = (self._keeper.trouble, self._ticker.journal_trouble, self._feed_trouble, self._fault, deaf, self._room())
        return [trouble for trouble in told if trouble]

    @property
    def _base(self) -> str:
        """Return the beginning of the page's address, without its secret."""
        return self._desk.home.removesuffix(f"{self._desk.secret}/")

    def _waiting_token(self) -> str:
        """Return a token with which the command ``page`` can open the page once."""
        if not self._once.waits(self._for_command):
            self._for_command = self._once.issue()
        return self._for_command

    def _room(self) -> str:
        try:
            free = shutil.disk_usage(self._keeper.path.parent).free
        except OSError:
            return ""
        return "" if free >= LITTLE_ROOM else "The disk is almost full: make room, or nothing more can be recorded."

    def _write_life(self) -> None:
        life = Life(
            pid=os.getpid(),
            plan=str(self._keeper.path),
            started=self._started,
            last_tick=self._ticker.last_tick,
            home=self._base,
            once=self._waiting_token(),
            pop_ups=self._ticker.pop_up_trouble,
            troubles=self._troubles(),
        )
        try:
            write_life(self._places.life_of(self._plan_id), life)
        except OSError as error:
            LOG.error("the sign of life cannot be written: %s", where(error))


def _ring(popup: PopUp) -> bool:
    return sys.stderr is not None and ring(popup, sys.stderr)  # a program without a console has none


def _on_signals(loop: asyncio.AbstractEventLoop, stop: Callable[[], None]) -> None:
    for number in (signal.SIGINT, signal.SIGTERM):
        try:
            loop.add_signal_handler(number, stop)
        except NotImplementedError:  # Windows
            signal.signal(number, lambda *_: loop.call_soon_threadsafe(stop))
