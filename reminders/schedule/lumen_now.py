"""What is known of one lumen at a moment: what runs in it, whether it must not be used, and how long it may still lie idle."""

from collections.abc import Iterator

from reminders.schedule.happened import within
from reminders.schedule.limits import limit_of
from reminders.schedule.model import AskWhy, Dose, DoseState, Schedule
from reminders.schedule.status import only_beside
from reminders.times import Instant


def running_doses(lumen: str, schedule: Schedule) -> Iterator[Dose]:
    """Yield the infusions that run in a lumen, by what is recorded; not those whose finish was overtaken."""
    return (dose for dose in _unfinished(lumen, schedule) if not _overtaken(dose, schedule))


def overtaken_doses(lumen: str, schedule: Schedule) -> Iterator[Dose]:
    """Yield the infusions of which no finish is recorded, although a later touch of their lumen is: unconfirmed (R14)."""
    return (dose for dose in _unfinished(lumen, schedule) if _overtaken(dose, schedule))


def _unfinished(lumen: str, schedule: Schedule) -> Iterator[Dose]:
    for doses in schedule.connected.values():
        for dose in doses:
            if dose.lumen == lumen and dose.state is DoseState.RUNNING:
                yield dose


def _overtaken(dose: Dose, schedule: Schedule) -> bool:
    """Say whether a touch of its lumen is recorded from its finish on; one whose finish nobody knows may run on."""
    last = schedule.lumens[dose.lumen].last_touch
    if last is None or dose.end is None or last < dose.end:
        return False
    return not only_beside(dose.lumen, {dose.order}, dose.end, schedule)


def unknown_since(dose: Dose, schedule: Schedule, now: Instant) -> Instant | None:
    """Return since when nobody knows whether a dose still runs: its lumen was suspended while it did, which says to stop it.

    None where it is known: it was said since to be interrupted or to run again, or has ended.
    """
    if dose.state is not DoseState.RUNNING:
        return None
    suspended = [begin for begin, _end, why in schedule.lumens[dose.lumen].blocked if why is AskWhy.SUSPENDED]
    since = max((begin for begin in suspended if dose.start <= begin <= now), default=None)
    return None if since is None or any(end > since for _begin, end in dose.pauses) else since


def blocked(lumen: str, schedule: Schedule, now: Instant) -> bool:
    """Say whether a lumen must not be used: suspended, out of use, or of a line that the plan does not describe."""
    return any(begin <= now < end for begin, end, _why in schedule.lumens[lumen].blocked)


def closed(lumen: str, schedule: Schedule, now: Instant) -> bool:
    """Say whether nothing is due on a lumen now: it must not be used, or is looked after elsewhere."""
    return blocked(lumen, schedule, now) or within(schedule.lumens[lumen].held, now)


def known_limit(lumen: str, schedule: Schedule) -> tuple[Instant, Instant] | None:
    """Return the last known flush of an idle lumen and until when it may lie idle after it (R16).

    None where it is in use or not to be used, and where the household does not record: nothing is known then.
    """
    plan, state = schedule.plan, schedule.lumens[lumen]
    described = plan.lumens[lumen]
    if not described.in_use or not plan.course.household_records or any(running_doses(lumen, schedule)):
        return None
    stated = described.last_flushed.instant
    since = stated if state.last_flush is None else max(stated, state.last_flush)
    return since, limit_of(plan, described).last_chance(since)
