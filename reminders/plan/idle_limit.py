"""The idle limit: the longest time between two flushes of a lumen that is not in use, as a plan states it."""

from enum import Enum
from typing import Any
from zoneinfo import ZoneInfo

from reminders.plan.keys import Form, minutes


class PerDay(Enum):
    """A protocol that counts days instead of hours."""

    EACH_CALENDAR_DAY = "each calendar day"


IdleLimit = int | PerDay
"""The longest time between two flushes of an idle lumen: so many minutes, or one flush on each calendar day."""


_HOURS = minutes(least=30)


def _read(raw: Any, home: ZoneInfo | None) -> IdleLimit:
    if raw == PerDay.EACH_CALENDAR_DAY.value:
        return PerDay.EACH_CALENDAR_DAY
    limit: int = _HOURS.read(raw, home)
    return limit


IDLE_LIMIT = Form(f'{_HOURS.shown}, or `"{PerDay.EACH_CALENDAR_DAY.value}"`', _read, _HOURS.stand_in)
