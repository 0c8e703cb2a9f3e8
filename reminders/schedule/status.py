"""How things stand with an event at a moment (R14), as long as nothing is recorded.

Unrecorded is never done: what is past is overdue where the household records, unconfirmed where it does not.
"""

from reminders.plan.model import Plan
from reminders.schedule.model import Status, Touch
from reminders.times import Instant


def window(touch: Touch, plan: Plan) -> tuple[Instant, Instant]:
    """Return from when to when a touch is due.

    A dose's start: its order's window either way. An idle flush: from its time to its lumen's limit. Anything
    else: while one touch lasts.
    """
    if touch.starts:
        within = plan.orders[touch.starts[0].order].on_time_within or 0
        return Instant(touch.at - within), Instant(touch.at + within)
    if touch.reason.deadline is not None:
        return touch.at, max(touch.at, touch.reason.deadline)
    return touch.at, Instant(touch.at + plan.course.handling_time)


def status(touch: Touch, plan: Plan, now: Instant) -> Status:
    """Return the status of a touch of which nothing is recorded."""
    opens, closes = window(touch, plan)
    if now < opens:
        return Status.PLANNED
    if now <= closes:
        return Status.DUE
    return Status.OVERDUE if plan.course.household_records else Status.UNCONFIRMED
