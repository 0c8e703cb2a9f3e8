"""The alarm clock: APScheduler, which rings at an exact moment, and nothing more.

It keeps one alarm, never on the disk. Each alarm is a new job under a new name, and is run however late it is: a job that sets
itself anew, or that is late, would otherwise be dropped without a word. What it may miss all the same, when the computer sleeps
or the clock is set, the daemon's own pulse finds.
"""

from collections.abc import Awaitable, Callable
from contextlib import suppress
from datetime import UTC, datetime

from apscheduler.job import Job
from apscheduler.jobstores.base import JobLookupError
from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.date import DateTrigger


class Alarm:
    """Calls ``wake`` in the running event loop at the moment that was last set."""

    def __init__(self, wake: Callable[[], Awaitable[None]]) -> None:
        """Take what is to be called."""
        self._wake = wake
        self._scheduler = AsyncIOScheduler(timezone=UTC, job_defaults={"misfire_grace_time": None, "coalesce": True})
        self._job: Job | None = None

    def start(self) -> None:
        """Begin; an event loop must be running."""
        self._scheduler.start()

    def set(self, at: datetime) -> None:
        """Ring at ``at``, an aware moment, and at no other that was set before; at once if it has passed."""
        if self._job is not None:
            with suppress(JobLookupError):  # it has rung
                self._job.remove()
        self._job = self._scheduler.add_job(self._wake, DateTrigger(at.astimezone(UTC)), max_instances=10)

    def stop(self) -> None:
        """Ring no more."""
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)
