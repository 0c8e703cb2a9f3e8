"""The plain schedule, to compare with: each idle flush when the idle limit after the last one has run out.

It is what a family works out by adding hours: lumen by lumen, whatever the hour, and whatever else is to be done.
"""

from collections.abc import Mapping, Sequence

from reminders.schedule.ahead import Planned, Terms
from reminders.schedule.beliefs import LumenUse
from reminders.schedule.idle import Placed
from reminders.schedule.model import ENDLESS
from reminders.schedule.placing import segments
from reminders.times import Instant


def place_plainly(
    uses: Sequence[LumenUse],
    terms: Terms,
    entered: Mapping[Instant, Instant],
    before: Planned | None = None,
) -> list[list[Placed]]:
    """Return each lumen's idle flushes, each as late as its limit less the planning margin allows.

    It stands in the place of :func:`reminders.schedule.idle.place_idle_flushes`, for a plan without a record.
    """
    return [[Placed(at, at) for at in _flushes(use, terms)] for use in uses]


def _flushes(use: LumenUse, terms: Terms) -> list[Instant]:
    limits = use.limits_at(terms.begins)
    if not limits:
        return []
    flushes = [touch.at for touch in use.coming if touch.flushes]
    spans = [(limits[-1].begins, limits[-1].ends, limits[-1].placing)]
    last = limits[-1].begins_with or terms.begins
    found: list[Instant] = []
    for part in segments(spans, use.taken_at(terms.begins), flushes, flushes):
        last = max([last, *(at for at in flushes if at <= part.begins)][-2:])
        while (at := part.last_chance(last)) != ENDLESS:
            found.append(at)
            last = at
    return found
