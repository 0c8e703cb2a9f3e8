"""Names for events that last (R23).

A UID is a UUID drawn from the plan's random id and from what the event means, so it stays the same however often the
event moves, and tells nobody anything (RFC 7986, 5.3). What names a dose is its order and the moment it was ordered for; an idle flush is
its lumen, its local date and its place among the idle flushes of that date, so that one more flush renames at most
those of its own day.
"""

import uuid

from reminders.plan.model import Plan


class Identities:
    """Draws the UIDs of one plan."""

    def __init__(self, plan: Plan) -> None:
        """Take the plan's id as the secret that all its UIDs derive from."""
        self._secret = uuid.uuid5(plan.course.id, "events")

    def of(self, *meaning: str) -> str:
        """Return the UID of what ``meaning`` says, such as ``("start", "cefazolin", "2026-10-26T08:00")``."""
        return str(uuid.uuid5(self._secret, "/".join(meaning)))
