"""Times as buttons and headings of the page say them: as short as is unmistakable, ``yesterday 13:10``.

The zone is said where it is not the one of now all day long: on the day of a clock change, or on a journey.
"""

from datetime import date, timedelta

from reminders.plan.model import Plan
from reminders.times import Instant
from reminders.words import CATALOGUE, clock_words, day_words

_ = CATALOGUE.gettext


def short_time(plan: Plan, at: Instant, now: Instant) -> str:
    """Say an instant with its day where that is not today."""
    moment, today = plan.clock.local(at), plan.clock.local(now).date()
    clock = f"{moment:%H:%M}" if _same_zone(plan, moment.date(), now) else clock_words(moment)
    day = moment.date()
    if day == today:
        return clock
    near = {-1: _("yesterday"), 1: _("tomorrow")}.get((day - today).days)
    return _("{day} {clock}").format(day=near or _short_day(day, today), clock=clock)


def _short_day(day: date, today: date) -> str:
    said = day_words(day)
    return said if day.year != today.year else said.removesuffix(f" {day.year}")


def _same_zone(plan: Plan, day: date, now: Instant) -> bool:
    """Say whether one clock is in force all that day, and now."""
    starts = plan.clock.day_starts(day, day + timedelta(days=1))
    moments = [plan.clock.local(at) for at in (starts[0][1], Instant(starts[1][1] - 1), now)]
    return len({(moment.utcoffset(), moment.tzname()) for moment in moments}) == 1
