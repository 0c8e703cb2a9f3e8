"""A household's weeks on a virtual clock: the daemon's ticker with a real journal and record, and a world that is made up.

Time stands where this module puts it. The computer sleeps, is killed in the middle of a pop-up, its clock is set; people report in time,
late, early, twice, or not at all. Everything that is shown is kept, with the moment at which it was shown.
"""

import asyncio
import random
import uuid
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from reminders.daemon.journal import Journal
from reminders.daemon.keeper import Keeper
from reminders.daemon.ticker import Surroundings, Ticker
from reminders.household import open_in_use
from reminders.popups.popup import Outcome, PopUp
from reminders.reporting import report_to
from reminders.saying.phrases import Said, Verb
from reminders.saying.which import AskBackError
from reminders.schedule.model import Schedule, TaskEvent, Touch
from reminders.times import Instant

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
PULSE = 20.0


class KilledError(BaseException):
    """The process was killed; not an Exception, so that nothing catches it."""


@dataclass(frozen=True)
class Shown:
    """A pop-up that reached the screen, when, and what the journal says that it told."""

    at: float
    popup: PopUp


@dataclass
class Course:
    """One course. ``wall`` is what the computer's clock shows, ``elapsed`` what stands still while it sleeps."""

    plan: Path
    journal_path: Path
    rng: random.Random
    wall: float
    elapsed: float = 0.0
    armed: float = float("inf")
    shown: list[Shown] = field(default_factory=list)
    gaps: list[tuple[float, float]] = field(default_factory=list)
    kills: int = 0
    kill_next: str = ""
    fails_until: float = 0.0
    rang: int = 0
    reports: dict[str, int] = field(default_factory=dict)
    reported: set[float] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.start()

    # --- the daemon ---

    def start(self) -> None:
        """Start the daemon, as after a boot or a crash."""
        self.keeper = Keeper(self.plan, lambda: self.wall)
        self.journal = Journal(self.journal_path)
        self.armed = float("inf")
        world = Surroundings(
            now=lambda: self.wall,
            elapsed=lambda: self.elapsed,
            show=self._show,
            ring=lambda _popup: False,
            arm=self._arm,
        )
        self.ticker = Ticker(self.keeper, self.journal, world, lambda: "")

    def _arm(self, at: datetime) -> None:
        self.armed = at.timestamp()

    async def _show(self, popup: PopUp) -> Outcome:
        if self.kill_next == "before":
            raise KilledError
        if self.wall < self.fails_until:
            return Outcome(False, "made up", "The notification service does not answer.")
        self.shown.append(Shown(self.wall, popup))
        if self.kill_next == "after":
            raise KilledError
        return Outcome(True, "made up", "")

    def tick(self) -> None:
        """Have the daemon look; where it is killed, start it again at once."""
        try:
            asyncio.run(self.ticker.tick())
        except KilledError:
            self.kills += 1
            self.kill_next = ""
            self.journal.close()
            self.start()
            self.tick()

    # --- time ---

    def go_to(self, moment: float) -> None:
        """Let time pass up to ``moment``, awake: the alarm clock rings to the second."""
        while self.armed <= moment:
            self._pass(max(self.armed, self.wall))
            self.armed = float("inf")  # it rings once
            self.tick()
        self._pass(moment)

    def _pass(self, moment: float) -> None:
        self.elapsed += moment - self.wall
        self.wall = moment

    def sleep(self, seconds: float) -> None:
        """Close the lid for a while; after it the pulse notices within its 20 seconds, here at once."""
        self.gaps.append((self.wall, self.wall + seconds))
        self.wall += seconds
        assert seconds < PULSE or self.ticker.due, "a sleep is noticed"
        self.tick()

    def off(self, seconds: float, *, killed: bool) -> None:
        """End the daemon, let time pass, and start it again."""
        self.gaps.append((self.wall, self.wall + seconds))
        self.kills += killed
        self.journal.close()
        self.wall += seconds
        self.elapsed = self.rng.uniform(0, 1000)
        self.start()
        self.tick()

    def set_clock(self, seconds: float) -> None:
        """Set the computer's clock by so much, forward or back, and let it be noticed."""
        self.gaps.append((min(self.wall, self.wall + seconds), max(self.wall, self.wall + seconds)))
        self.wall += seconds
        if abs(seconds) > 5:
            assert self.ticker.due, "a clock that was set is noticed"
        self.tick()

    # --- people ---

    @property
    def schedule(self) -> Schedule:
        return self.keeper.schedule

    def report(self, verb: Verb, touch: Touch | TaskEvent | None = None, key: str = "", **said: str) -> bool:
        """Report something from elsewhere, as a command would; return whether it was recorded."""
        now = Instant(int(self.wall // 60))
        event = {"event": touch.uid} if touch is not None else {}
        values: dict[str, Any] = {**said, **event}
        told = replace(Said(verb=verb, flushed=True), **values)
        household = open_in_use(self.plan, now, self.keeper.household)
        self.reported.add(self.wall)
        self.reports[verb.value] = self.reports.get(verb.value, 0) + 1
        try:
            found = report_to(household, told, key or str(uuid.UUID(int=self.rng.getrandbits(128))), now)
        except AskBackError:
            return False
        assert self.ticker.due or not found.facts, "what was recorded elsewhere is noticed"
        self.tick()
        return bool(found.facts)
