"""When the bags of a running infusion, or a pump's reservoir, are changed (R10), as ordered and as recorded."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from reminders.plan.order import Order
from reminders.schedule.doses import clock_starts
from reminders.schedule.in_force import Stretch
from reminders.schedule.model import NEVER, Dose
from reminders.schedule.touches import Bag
from reminders.times import DAY, Instant


def bag_changes(
    in_force: Sequence[Stretch], dose: Dose, recorded: Sequence[Instant], end: Instant
) -> list[tuple[Instant, Bag]]:
    """Return each bag change of what runs as ``dose``, up to its end or the horizon's ``end``.

    A recorded change answers the planned one that it is nearest to. Where a bag lasts so and so long, the next change
    counts from when it was really hung; where the clock says when, the clock goes on saying so.
    """
    last = end if dose.end is None else dose.end
    told = sorted(at for at in recorded if at >= dose.start)
    changes: list[tuple[Instant, Bag]] = []
    hung, count = dose.start, 0
    for stretch in in_force:
        begins, ends = max(stretch.begins, dose.start), min(stretch.ends, last)
        order = stretch.plan.orders.get(dose.order)
        if begins >= ends or order is None:
            continue
        if order.bag_every is not None:
            while True:
                planned = Instant(hung + order.bag_every)
                answered = bool(told) and told[0] <= planned + order.bag_every // 2
                at = told.pop(0) if answered else max(planned, begins)
                if at >= ends:
                    told[:0] = [at] if answered else []
                    break
                count += 1
                changes.append((at, Bag(dose, str(count), planned, answered)))
                hung = at
        elif order.bag_times is not None:
            for key, planned, given in _by_the_clock(stretch, order, dose, told, begins, ends):
                hung = planned if given is None else given
                changes.append((hung, Bag(dose, key, planned, given is not None)))
    return changes


def _by_the_clock(
    stretch: Stretch, order: Order, dose: Dose, told: Sequence[Instant], begins: Instant, ends: Instant
) -> Iterator[tuple[str, Instant, Instant | None]]:
    """Yield the key of each change by the clock, when it is planned, and when it was recorded."""
    assert order.bag_times is not None
    first = max(begins, Instant(dose.start + 1))
    starts = clock_starts(stretch.revision, order, order.bag_times, first, ends, every_day=True)
    planned = [(at, key) for at, key in {at: key for key, at in starts}.items()]  # one bag at one instant
    answers: dict[Instant, Instant] = {}
    for at in told:
        nearest = min((when for when, _ in planned), key=lambda when: (abs(when - at), when), default=None)
        if nearest is not None:
            answers.setdefault(nearest, at)
    for at, key in planned:
        yield key, at, answers.get(at)


GRID = 28 * DAY
"""How far ahead of a bag that was hung the changes after it are remembered as they were believed."""


def believed_grid(
    dose: Dose, recorded: Sequence[Instant], every: int, beyond: Instant
) -> Iterator[tuple[Instant, int, Instant, Instant]]:
    """Yield when bags that last so long were to be changed before something was recorded from which the next ones count.

    Each with its number, and since when and until when that was believed.
    """
    late = dose.start != dose.due
    hung = [(dose.due, 0, NEVER)] if late else []
    hung.append((dose.start, 0, dose.start if late else NEVER))
    hung += [(at, number, at) for number, at in enumerate(sorted(recorded), start=1)]
    for (begins, number, since), (_, _, until) in pairwise(hung):
        last = min(beyond, dose.end or beyond, begins + GRID)
        for count, at in enumerate(range(begins + every, last, every), start=number + 1):
            yield Instant(at), count, since, until
