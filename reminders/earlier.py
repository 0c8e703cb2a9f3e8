"""A plan, and the revisions of it that are known here, into all that is to be said of it."""

from pathlib import Path

from reminders.examine import Examination, beside_earlier
from reminders.household import Household, recorded
from reminders.places import id_in_use, places
from reminders.plan.model import Plan
from reminders.record.facts import EMPTY, Record
from reminders.record.store import RecordError
from reminders.schedule.compile import compile_schedule
from reminders.times import Instant


def of_household(household: Household, now: Instant) -> Examination:
    """Return what was found in a household's plan, with what it does to the revisions before it."""
    return (
        beside_earlier(household.examination, household.schedule(now)) if household.earlier else household.examination
    )


def of_file(examination: Examination, path: Path | None, now: Instant) -> Examination:
    """Return what was found in a plan's file, with what it does to the revisions that were in use before it, as of ``now``.

    Those are known where the plan is in use on this computer, or has a record beside its file. A record that cannot be
    read says nothing here: whoever opens it for something else is told.
    """
    if examination.plan is None:
        return examination
    try:
        record, earlier = _known(examination.plan, path)
    except (RecordError, OSError):
        return examination
    if not earlier:
        return examination
    return beside_earlier(examination, compile_schedule(examination.plan, record, now, earlier))


def _known(plan: Plan, path: Path | None) -> tuple[Record, list[Plan]]:
    """Return the record of a plan and the revisions in use before it: of the plan in use, else of what lies beside its file."""
    in_use = places().plan if id_in_use() == plan.course.id else path
    if in_use is None:
        return EMPTY, []
    record, used = recorded(in_use, plan)
    return record, [used[number] for number in sorted(used) if number < plan.course.revision]
