"""The daemon put together: alarm clock, pulse, pop-ups, page and feed in one event loop."""

import asyncio
import logging
import os
import signal
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

from reminders.daemon.alarm import Alarm
from reminders.daemon.desk import Desk, Health
from reminders.daemon.journal import Journal, JournalError, Raised
from reminders.daemon.keeper import Keeper
from reminders.daemon.life import PULSE, Life, little_room, tell_system, write_life
from reminders.daemon.log import where
from reminders.daemon.once import Once
from reminders.daemon.ticker import Surroundings, Ticker
from reminders.feed_file import Feed
from reminders.files import FileError
from reminders.household import NotInUseError, UnusablePlanError
from reminders.phones import Phones
from reminders.places import Places, command_for
from reminders.popups import show as popups
from reminders.popups.popup import PopUp
from reminders.popups.terminal import ring
from reminders.publishing import publish_feed, renew
from reminders.record.store import RecordError
from reminders.web.once import once_gate
from reminders.web.page import page_routes
from reminders.web.server import Listeners, Listening, PortError

LOG = logging.getLogger("reminders.daemon")

GLANCE = 2.0
"""Seconds between two glances at the files and the clock."""

RENEWED_EVERY = 3600.0
"""Seconds between two renewals of the calendars for phones."""

TRIED_EVERY = 60.0
"""Seconds until what did not work is tried again: pop-ups that could not be shown, a port that was taken."""

SAID_AGAIN = 3600.0
"""Seconds until it is said once more that the daemon cannot start."""


class Daemon:
    """One plan's daemon. Everything that it knows is in the plan, the record and the journal."""

    def __init__(
        self,
        keeper: Keeper,
        places: Places,
        listening: Listening,
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
        self._renewed = self._tried = self._listened = 0.0
        self._port_trouble = ""
        self._shown = 0
        self._fault = self._feed_trouble = ""
        self._stopping = asyncio.Event()
        phones = Phones(places.secrets_of(plan_id), now)
        self._desk = Desk(
            keeper=keeper,
            phones=phones,
            feed=Feed(places.feed_of(plan_id)),
            now=now,
            health=self._health,
            secret=phones.secret,
            changed=self._changed,
        )
        self._listening = listening
        self._listeners = Listeners(
            self._desk, page_routes(self._desk), listening, gates=[once_gate(self._desk, self._once)]
        )
        self._alarm = Alarm(self._look)
        world = Surroundings(
            now=now,
            elapsed=time.monotonic,
            show=popups.show,
            ring=_ring,
            arm=self._alarm.set,
        )
        self._ticker = Ticker(keeper, self._journal, world, self._opens)
        self._looks: set[asyncio.Task[None]] = set()

    async def run(self) -> None:
        """Run until the system or the user says stop, or another plan lies where this one lay.

        Pop-ups come even while another program holds the page's port; that is said, and tried again.

        Raises:
            ListenError: the page cannot be served as it was asked for.
        """
        loop = asyncio.get_running_loop()
        # One thread: work off the loop is done one after the other, and each further thread would keep memory of its own.
        loop.set_default_executor(ThreadPoolExecutor(max_workers=1))
        _on_signals(loop, self._stopping.set)
        await self._listen()
        self._greet()
        LOG.info("started, process %d", os.getpid())
        try:
            self._alarm.start()
            await self._look()
            tell_system("READY=1")
            await self._say_how_pop_ups_are_shown()
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

    async def _listen(self) -> None:
        """Serve the page and the feed, or say why not; looked after again by the pulse."""
        self._listened = self._now()
        try:
            await self._listeners.start()
            again, self._port_trouble = bool(self._port_trouble), ""
            if again:
                self._write_life()
        except PortError as error:
            if not self._port_trouble:
                self._say(f"THE PAGE CANNOT BE SERVED: {error}")
                LOG.error("the page's port is taken")
            self._port_trouble = f"The page and the calendar for phones are not there: {error}"

    async def _pulse(self) -> None:
        while not self._stopping.is_set() and not self._keeper.other_plan:
            last = self._ticker.last_tick
            if self._ticker.due or last is None or abs(self._now() - last) >= PULSE:
                await self._look()
            await self._renew()
            await self._try_pop_ups()
            if self._port_trouble and abs(self._now() - self._listened) >= TRIED_EVERY:
                await self._listen()
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
                household = await asyncio.to_thread(publish_feed, household, self._desk.feed.folder, now)
            _household, troubles = await asyncio.to_thread(renew, household, now)
            self._feed_trouble = " ".join(troubles)
        except (FileError, RecordError, NotInUseError, UnusablePlanError) as error:
            LOG.error("the feed cannot be written: %s", where(error))
            self._feed_trouble = f"The calendar for phones is old: {error}"
        except Exception as error:  # the reminders outlive what goes wrong with their copy
            LOG.error("renewing failed: %s", where(error))
            self._feed_trouble = (
                f"The calendar for phones is old: something went wrong in this program ({where(error)})."
            )

    async def _try_pop_ups(self) -> None:
        """Look whether pop-ups can be shown again where they could not: the desktop may come up after this program."""
        if not self._ticker.pop_up_trouble or abs(self._now() - self._tried) < TRIED_EVERY:
            return
        self._tried = self._now()
        able = await popups.able()
        self._ticker.pop_up_trouble = "" if able.shown else able.why

    def _greet(self) -> None:
        """Tell whoever started the daemon that it runs, and what that means."""
        household = self._keeper.household
        revision = household.plan.course.revision
        self._say(f"Reminders runs for {household.path.name}, revision {revision}. Stop it with Ctrl+C.")
        if self._desk.home:
            self._say(f"Open the page with  {command_for('page', household.path)} .")
        if self._listening.lan and self._listening.certificate is None:
            what = "the calendar or opens the page" if self._listening.page_on_lan else "the calendar"
            self._say(
                f"--lan: whoever is on this network can read along when a phone fetches {what}, and with it the secret address. "
                "Use it in a network that you trust, or with a certificate."
            )
        if self._desk.pages:
            self._say("--page-on-lan: the page's address for phones, and its code, stand on the page, under Phones.")

    async def _say_how_pop_ups_are_shown(self) -> None:
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
            raised=self._raised(),
            troubles=self._troubles(),
        )

    def _raised(self) -> Sequence[Raised]:
        """Return the last pop-ups; none where the journal cannot be read, which is told at the next one."""
        try:
            return self._journal.latest()
        except JournalError:
            return ()

    def _troubles(self) -> list[str]:
        """Say in words what is wrong besides pop-ups."""
        deaf = self._port_trouble
        if not deaf and not self._listeners.alive:
            deaf = "The page is no longer served. Stop this program and start it again."
        told = (self._keeper.trouble, self._ticker.journal_trouble, self._feed_trouble, self._fault, deaf, self._room())
        return [trouble for trouble in told if trouble]

    @property
    def _base(self) -> str:
        """Return the beginning of the page's address, without its secret."""
        return self._desk.home.removesuffix(f"{self._desk.secret}/")

    def _opens(self) -> str:
        """Return what a click on a pop-up opens; nothing while the page is not served."""
        return f"{self._base}once/{self._once.issue()}" if self._base else ""

    def _waiting_token(self) -> str:
        """Return a token with which the command ``page`` can open the page once."""
        if not self._once.waits(self._for_command):
            self._for_command = self._once.issue()
        return self._for_command

    def _room(self) -> str:
        return little_room(self._keeper.path.parent)

    def _write_life(self) -> None:
        life = Life(
            pid=os.getpid(),
            started=self._started,
            last_tick=self._ticker.last_tick,
            home=self._base,
            once=self._waiting_token(),
            feeds=tuple(self._desk.feeds),
            pop_ups=self._ticker.pop_up_trouble,
            troubles=self._troubles(),
        )
        try:
            write_life(self._places.life_of(self._plan_id), life)
        except OSError as error:
            LOG.error("the sign of life cannot be written: %s", where(error))


def not_started(state: Path, error: Exception) -> None:
    """Say on the screen that the daemon could not start: where it is started at login nobody reads what it prints.

    At most once an hour, since a service manager tries again every few seconds.
    """
    LOG.error("not started: %s", where(error))
    if sys.stderr is not None and sys.stderr.isatty():
        return
    said = state / "not-started"
    with suppress(OSError):
        if said.exists() and 0 <= time.time() - said.stat().st_mtime < SAID_AGAIN:
            return
        said.touch(mode=0o600)
    text = PopUp("Reminders did not start", "This computer reminds nobody now. See why:  reminders run", urgent=True)

    async def tell() -> None:
        await popups.show(text)
        await popups.stop()

    asyncio.run(tell())


def _ring(popup: PopUp) -> bool:
    return sys.stderr is not None and ring(popup, sys.stderr)  # a program without a console has none


def _on_signals(loop: asyncio.AbstractEventLoop, stop: Callable[[], None]) -> None:
    for number in (signal.SIGINT, signal.SIGTERM):
        try:
            loop.add_signal_handler(number, stop)
        except NotImplementedError:  # Windows
            signal.signal(number, lambda *_: loop.call_soon_threadsafe(stop))
