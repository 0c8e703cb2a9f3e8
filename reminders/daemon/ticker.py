"""Looks at what is due and has it told; whatever woke it, and however long it slept, it comes to the same.

Nothing is remembered but what the journal holds: plan, record and clock say the rest. So a computer that slept, a clock that
was set, a program that was killed are all one case: look, tell what is not told yet, and say when to look again.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import datetime

from reminders.daemon.journal import Intent, Journal, JournalError
from reminders.daemon.keeper import Keeper
from reminders.popups.popup import Outcome, PopUp
from reminders.reminding.decide import Decision, Notice, decide
from reminders.reminding.wording import text_of
from reminders.schedule.model import ENDLESS
from reminders.times import Instant, utc

LOG = logging.getLogger("reminders.daemon")

STEP = 5.0
"""Seconds by which the clock must differ from elapsed time to count as set, or the computer as having slept."""

FIRST_PAUSE, LONGEST_PAUSE = 60.0, 300.0
"""Seconds until a pop-up that could not be shown is tried again: the pause doubles from one to the other."""


@dataclass(slots=True)
class _Failed:
    """A matter that could not be shown: from when on it is tried again, and after which pause (seconds)."""

    again: float
    pause: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What the ticker is given of the world, so that a test can give it another one.

    ``now``: seconds since 1970. ``elapsed``: seconds that never go back and stand still while the computer sleeps.
    ``show``: shows a pop-up and says what came of it; never raises. ``ring``: writes it to a terminal with a bell, and says
    whether there is one. ``arm``: sets the alarm clock; a moment that has passed rings at once.
    """

    now: Callable[[], float]
    elapsed: Callable[[], float]
    show: Callable[[PopUp], Awaitable[Outcome]]
    ring: Callable[[PopUp], bool]
    arm: Callable[[datetime], None]


class Ticker:
    """Tells what is due, once, and again as the plan says.

    ``last_tick``: when it last finished looking, in seconds since 1970. ``pop_up_trouble``: why the last pop-up could not be
    shown, empty if it could. ``journal_trouble``: why the journal cannot be written, likewise.
    """

    def __init__(self, keeper: Keeper, journal: Journal, world: Surroundings, opens: Callable[[], str]) -> None:
        """Begin from what the journal has. ``opens`` makes the address that a click on a pop-up opens.

        Raises:
            JournalError: the journal cannot be read.
        """
        self._keeper, self._journal, self._world, self._opens = keeper, journal, world, opens
        self._told = journal.told()
        self._perhaps = journal.unfinished()
        self._failed: dict[str, _Failed] = {}
        self._lock = asyncio.Lock()
        self._next = 0.0
        self._seen: tuple[float, float] | None = None
        self.last_tick: float | None = None
        self.pop_up_trouble = ""
        self.journal_trouble = ""
        self._forget_the_future()

    @property
    def due(self) -> bool:
        """Say whether there is reason to look now: something is due, a file has changed, or the clock was set."""
        return self._world.now() >= self._next or self._keeper.stale or abs(self._step()) > STEP

    async def tick(self) -> None:
        """Look at everything, tell what is due, and set the alarm clock. One at a time; never raises for what it meets."""
        async with self._lock:
            self._look_at_the_clock()
            self._keeper.refresh()
            while (decision := self._decide()).notices:
                await self._tell(decision.notices[0])
                self._keeper.refresh()  # what was reported meanwhile is not told any more
            self._arm(decision)
            self.last_tick = self._world.now()

    def _decide(self) -> Decision:
        now = self._world.now()
        held_back = [key for key, failed in self._failed.items() if failed.again > now]
        return decide(
            self._keeper.schedule,
            self._told,
            _minute(now),
            perhaps=self._perhaps,
            held_back=held_back,
            record=self._keeper.household.record,
        )

    def _arm(self, decision: Decision) -> None:
        now = self._world.now()
        # What could be tried again by now and was not is no longer due.
        self._failed = {key: failed for key, failed in self._failed.items() if failed.again > now}
        moments = [failed.again for failed in self._failed.values()]
        if decision.next_moment < ENDLESS:
            moments.append(float(decision.next_moment * 60))
        self._next = min(moments, default=float("inf"))
        if moments:
            self._world.arm(datetime.fromtimestamp(self._next, tz=utc(Instant(0)).tzinfo))

    async def _tell(self, notice: Notice) -> None:
        now = self._world.now()
        text = text_of(notice, self._keeper.schedule, _minute(now))
        told = {item.matter.key: item.telling.moment for item in notice.items}
        intent = self._begin(now, text.title, told)
        popup = PopUp(text.title, text.body, urgent=notice.urgent, opens=self._opens())
        outcome = await self._world.show(popup)
        self.pop_up_trouble = "" if outcome.shown else outcome.why
        rang = not outcome.shown and self._world.ring(popup)
        if outcome.shown or rang:
            self._told.update(told)
            for key in told:
                self._perhaps.pop(key, None)
                self._failed.pop(key, None)
        else:
            self._hold_back(told)
        self._end(intent, outcome, told if rang else None)
        what = ", ".join(sorted({item.matter.sort.name.lower().replace("_", " ") for item in notice.items}))
        LOG.info(
            "pop-up %s: %d of %s, %s%s; %s%s",
            "-" if intent is None else intent.number,
            len(notice.items),
            what,
            "urgent" if notice.urgent else "ordinary",
            ", late" if notice.late else "",
            "shown" if outcome.shown else "NOT shown",
            " but written to the terminal" if rang else "",
        )

    def _hold_back(self, told: dict[str, Instant]) -> None:
        now = self._world.now()
        for key in told:
            before = self._failed.get(key)
            pause = FIRST_PAUSE if before is None else min(2 * before.pause, LONGEST_PAUSE)
            self._failed[key] = _Failed(now + pause, pause)

    def _begin(self, at: float, title: str, told: dict[str, Instant]) -> Intent | None:
        try:
            return self._journal.begin(at, title, told)
        except JournalError as error:
            self._cannot_write(error)
            return None

    def _end(self, intent: Intent | None, outcome: Outcome, rang: dict[str, Instant] | None) -> None:
        if intent is None:
            return
        try:
            self._journal.end(
                intent, why="" if outcome.shown else outcome.why or "for no known reason", rang=bool(rang)
            )
            self.journal_trouble = ""
        except JournalError as error:
            self._cannot_write(error)

    def _cannot_write(self, error: JournalError) -> None:
        self.journal_trouble = str(error)
        LOG.error("the journal cannot be written")

    def _step(self) -> float:
        """Return by how many seconds the clock has gone ahead of elapsed time since it was last looked at."""
        if self._seen is None:
            return 0.0
        wall, elapsed = self._seen
        return (self._world.now() - wall) - (self._world.elapsed() - elapsed)

    def _look_at_the_clock(self) -> None:
        step = self._step()
        self._seen = self._world.now(), self._world.elapsed()
        if step > STEP:
            LOG.info("the computer slept, or its clock was set forward: %.0f s", step)
        elif step < -STEP:
            LOG.info("the clock was set back: %.0f s", -step)
            self._forget_the_future()
            for failed in self._failed.values():
                failed.again = min(failed.again, self._world.now() + failed.pause)

    def _forget_the_future(self) -> None:
        """What was told for moments that are still to come was told by a clock that was ahead: it is told again."""
        latest = Instant(_minute(self._world.now()) + 1)
        self._told = {key: moment for key, moment in self._told.items() if moment <= latest}
        try:
            self._journal.forget_after(latest)
        except JournalError as error:
            self._cannot_write(error)


def _minute(seconds: float) -> Instant:
    return Instant(int(seconds // 60))
