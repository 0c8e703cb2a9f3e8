"""What will be told in the hours ahead if nothing is reported."""

from itertools import takewhile

from reminders.record.facts import EMPTY, Record
from reminders.reminding.decide import Item
from reminders.reminding.moments import Stage, tellings
from reminders.reminding.orders import open_matters
from reminders.reminding.wording import heading
from reminders.schedule.model import Schedule
from reminders.times import Instant


def following(schedule: Schedule, now: Instant, last: Instant, record: Record = EMPTY) -> list[tuple[Instant, str]]:
    """Return what will be told after ``now`` and up to ``last``, each with its title, in order; without what is told again.

    ``record`` is the one that the schedule was made with.
    """
    settings = schedule.plan.pop_ups
    found = [
        (telling.moment, Item(matter, telling))
        for matter in open_matters(schedule, record, now)
        for telling in takewhile(lambda telling: telling.moment <= last, tellings(matter, settings, schedule.quiet))
        if telling.moment > now and telling.stage is not Stage.AGAIN
    ]
    found.sort(key=lambda entry: entry[0])
    return [(moment, heading(item, schedule.plan, moment)) for moment, item in found]
