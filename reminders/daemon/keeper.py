"""The plan in use and its record as they are now, read again when either changes on the disk."""

from collections.abc import Callable
from pathlib import Path

from reminders.files import FileError
from reminders.household import Household, NotInUseError, UnusablePlanError, add_facts, open_in_use, put_in_use
from reminders.places import command_for
from reminders.record.store import RecordError
from reminders.schedule.model import Schedule
from reminders.times import Instant

Signature = tuple[tuple[int, int, int] | None, ...]

NOT_READ: Signature = ()
"""The signature of files of which it is not known how they are now."""


class Keeper:
    """What the daemon and its page know. A fault of the files never takes away what was known.

    ``household`` and ``schedule`` are the last good ones; ``trouble`` says in words why what lies on the disk now could
    not be read, empty if it was. ``other_plan``: what lies there now is another plan, with another id. ``version`` rises whenever the schedule may say something else.
    """

    def __init__(self, path: Path, now: Callable[[], float], like: Household | None = None) -> None:
        """Read a plan and its record, beginning the record if there is none; ``now`` gives seconds since 1970.

        ``like``: the household as it was opened a moment ago; what says the same is not examined again.

        Raises:
            FileError, UnusablePlanError, RecordError, NotInUseError: the plan or the record cannot be used.
        """
        self.path = path
        self._now = now
        self.trouble = ""
        self.other_plan = False
        self.version = 0
        self.household: Household
        self.schedule: Schedule
        self._seen: Signature
        self._day: int
        household = open_in_use(path, self.instant, like)
        if not household.begun or household.packed is not None:
            household, _added = add_facts(household, lambda current: put_in_use(current, self.instant), self.instant)
        self._take(household, NOT_READ)

    @property
    def instant(self) -> Instant:
        """Return the minute that it is."""
        return Instant(int(self._now() // 60))

    @property
    def stale(self) -> bool:
        """Say whether either file has changed since it was read, or a new day has begun."""
        return self._seen != self._signature() or self._day != self._local_day(self.household)

    def refresh(self) -> bool:
        """Read plan and record again if either file has changed, or a new day has begun; say whether anything may differ."""
        signature = self._signature()  # before reading: what is written meanwhile is read the next time
        if signature == self._seen:
            if self._day == self._local_day(self.household):
                return False
            self._take(self.household, signature)  # an open-ended plan looks ahead from today
            return True
        try:
            found = open_in_use(self.path, self.instant, self.household)
            self.other_plan = found.plan.course.id != self.household.plan.course.id
            if self.other_plan:
                return True
            if not found.begun:
                self._fault(
                    f'The record "{found.store_path}" is gone. Put it back; until then what was known stands.',
                    signature,
                )
                return True
            if found == self.household and not self.trouble and self._day == self._local_day(found):
                self._seen = signature  # what was reported here, read back: it is compiled already
                return False
            self._take(found, signature)
            self.trouble = ""
        except UnusablePlanError as error:
            self._fault(f"{error}. See which with  {command_for('check', self.path)} .", signature)
        except (FileError, RecordError, NotInUseError) as error:
            self._fault(str(error), signature)
        return True

    def took(self, household: Household) -> None:
        """Take over what a report made here has left; what others wrote meanwhile is read at the next :meth:`refresh`."""
        self._take(household, NOT_READ)

    def _take(self, household: Household, signature: Signature) -> None:
        self._seen, self._day = signature, self._local_day(household)
        self.household, self.schedule = household, household.schedule(self.instant)
        self.version += 1

    def _fault(self, why: str, signature: Signature) -> None:
        self.trouble = why
        self._seen = signature
        self.version += 1

    def _local_day(self, household: Household) -> int:
        return household.plan.clock.local(self.instant).toordinal()

    def _signature(self) -> Signature:
        return tuple(_stamp(path) for path in (self.path, self.household.store_path))


def _stamp(path: Path) -> tuple[int, int, int] | None:
    """Return what changes when a file does; None where it cannot be seen."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
