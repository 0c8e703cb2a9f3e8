"""By when a lumen must be flushed again: within so many hours of its last flush, or once each calendar day (R8)."""

from dataclasses import dataclass, field
from datetime import date, timedelta

from reminders.plan.idle_limit import IdleLimit, PerDay
from reminders.plan.model import Lumen, Plan
from reminders.times import Instant, ZoneTimeline
from reminders.units import span


@dataclass(frozen=True, slots=True)
class HourRule:
    """A flush at most ``reach`` minutes after the last one."""

    reach: int

    def last_chance(self, flushed: Instant) -> Instant:
        """Return the last minute for the next flush."""
        return Instant(flushed + self.reach)


@dataclass(frozen=True, slots=True)
class DayRule:
    """A flush on each calendar day of the household's clock, ``margin`` minutes before the day ends at the latest."""

    clock: ZoneTimeline
    margin: int = 0
    _ends: dict[date, Instant] = field(default_factory=dict, compare=False, repr=False)

    def last_chance(self, flushed: Instant) -> Instant:
        """Return the last minute, less the margin, of the day after the one of the last flush."""
        day = self.clock.local(flushed).date()
        if day not in self._ends or self.clock.changes:
            midnights = [at for _, at in self.clock.day_starts(day + timedelta(days=1), day + timedelta(days=4))]
            # On a journey the date may change at another moment than midnight.
            edges = sorted(at for at in (*midnights, *self.clock.changes) if at > flushed)
            over = next(at for at in edges if self.clock.local(at).date() >= day + timedelta(days=2))
            begins = next((at for at in edges if at <= over and self.clock.local(at).date() > day), over)
            self._ends[day] = Instant(max(min(begins, over - 1), over - 1 - self.margin))
        return self._ends[day]


Rule = HourRule | DayRule


def limit_words(limit: IdleLimit) -> str:
    """Return an idle limit in words: ``12 h``, or ``once each calendar day``."""
    return "once " + limit.value if isinstance(limit, PerDay) else span(limit)


def limit_of(plan: Plan, lumen: Lumen) -> Rule:
    """Return the idle limit itself, by which a lumen is overdue."""
    limit = plan.idle_limit(lumen)
    return DayRule(plan.clock) if limit is PerDay.EACH_CALENDAR_DAY else HourRule(limit)


def placing_of(plan: Plan, lumen: Lumen) -> Rule:
    """Return the limit less the planning margin, by which flushes are placed."""
    limit, margin = plan.idle_limit(lumen), plan.protocol.planning_margin
    return DayRule(plan.clock, margin) if limit is PerDay.EACH_CALENDAR_DAY else HourRule(max(1, limit - margin))
