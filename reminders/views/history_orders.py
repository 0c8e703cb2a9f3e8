"""What became of the doses of each order, up to now: counts, lateness, what was stopped early (R14, R18)."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from reminders.plan.order import GivenAs
from reminders.record.facts import Kind, Record
from reminders.schedule.model import Dose, DoseState, Schedule, Status
from reminders.schedule.status import dose_status
from reminders.times import Instant
from reminders.words import drug_words


class Fate(Enum):
    """What became of a dose; each dose has one."""

    ON_TIME = "given on time"
    LATE = "given late"
    START_UNKNOWN = "given, its start not recorded"
    BESIDES = "given besides the schedule"
    RUNNING = "started, no finish recorded"
    STOPPED = "stopped early"
    NOT_GIVEN = "not given"
    SKIPPED = "skipped"
    HELD = "held"
    BY_PUMP = "left to the pump"
    WAITING = "due, nothing recorded yet"
    UNCONFIRMED = "unconfirmed"


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderTotals:
    """What became of the doses of one order that were due so far, or were given though they were not.

    Where a revision changed the dose or the lumen, what was ordered before is counted apart (R14): ``drug`` is the drug
    with its dose, ``lumen`` the lumen that the order names, as the plan in force at the doses had them.
    ``stopped`` are those stopped early, each with its end and the volume given, as written (empty: not recorded).
    ``mean_late`` and ``most_late`` are in minutes after the ordered moment, over the scheduled doses whose start is
    recorded; early counts as 0. ``most_early`` is the greatest number of minutes before it. None where there is none.
    """

    order: str
    drug: str
    lumen: str
    counts: Mapping[Fate, int]
    elsewhere: int
    stopped: tuple[tuple[Instant | None, str], ...]
    mean_late: Fraction | None
    most_late: int | None
    most_early: int | None

    @property
    def doses(self) -> int:
        """Return how many doses there are in all."""
        return sum(self.counts.values())


def order_totals(
    name: str, schedule: Schedule, begins: Instant, ends: Instant, now: Instant, record: Record
) -> Iterator[OrderTotals]:
    """Yield what became of the doses of an order, apart for each dose and lumen that it has had.

    They are those from ``begins`` up to ``ends``, as of ``now``; ``schedule`` is compiled with ``record``.
    """
    doses = [
        dose
        for dose in _doses(name, schedule)
        if begins <= dose.start < ends
        and (dose.start <= now or dose.started is not None)
        and (dose.start >= schedule.start or dose.started is not None)
    ]
    alike: dict[tuple[str, str], list[Dose]] = defaultdict(list)
    for dose in doses:
        order = schedule.plan_at(dose.start).orders[name]
        alike[drug_words(order), order.lumen].append(dose)
    if not alike:
        order = schedule.plan_at(min(now, Instant(ends - 1))).orders.get(name) or schedule.plan.orders[name]
        alike[drug_words(order), order.lumen] = []
    yield from (_totals(name, *words, found, schedule, now, record) for words, found in alike.items())


def _totals(
    name: str, drug: str, lumen: str, doses: Sequence[Dose], schedule: Schedule, now: Instant, record: Record
) -> OrderTotals:
    late = [dose.started - dose.ordered for dose in doses if dose.started is not None and not dose.extra]
    volumes = {(fact.order, fact.dose): fact.volume for fact in reversed(record.of_kind(Kind.STOPPED))}
    return OrderTotals(
        order=name,
        drug=drug,
        lumen=lumen,
        counts=Counter(fate(dose, schedule, now) for dose in doses),
        elsewhere=sum(dose.state is DoseState.ELSEWHERE for dose in doses),
        stopped=tuple(
            (dose.end, volumes.get((name, dose.key), "")) for dose in doses if dose.state is DoseState.STOPPED
        ),
        mean_late=Fraction(sum(max(0, minutes) for minutes in late), len(late)) if late else None,
        most_late=max((minutes for minutes in late if minutes > 0), default=None),
        most_early=max((-minutes for minutes in late if minutes < 0), default=None),
    )


def _doses(name: str, schedule: Schedule) -> list[Dose]:
    """Return an order's doses; that a pump's reservoir is connected is no dose."""
    doses, connected = schedule.doses.get(name, ()), schedule.connected.get(name, ())
    if doses == connected:
        return list(doses)
    reservoirs = {run.key for run in connected}
    return [dose for dose in doses if dose.key not in reservoirs]


def fate(dose: Dose, schedule: Schedule, now: Instant) -> Fate:
    """Return what became of a dose. On time is within its order's window around the ordered moment."""
    order = schedule.plan_at(dose.start).orders[dose.order]
    told = {
        DoseState.STOPPED: Fate.STOPPED,
        DoseState.RUNNING: Fate.RUNNING,
        DoseState.NOT_GIVEN: Fate.NOT_GIVEN,
        DoseState.SKIPPED: Fate.SKIPPED,
        DoseState.HELD: Fate.HELD,
    }.get(dose.state)
    if told is not None:
        return told
    if dose.state is DoseState.UNRECORDED:
        if order.given_as is GivenAs.PUMP:
            return Fate.BY_PUMP
        return Fate.UNCONFIRMED if dose_status(dose, schedule, now) is Status.UNCONFIRMED else Fate.WAITING
    if dose.extra:
        return Fate.BESIDES
    if dose.started is None:
        return Fate.START_UNKNOWN
    return Fate.ON_TIME if dose.started - dose.ordered <= (order.on_time_within or 0) else Fate.LATE
