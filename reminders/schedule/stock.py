"""The stock of a household: what was counted, what came and what was used since, and when each item runs out (R21).

A count stands for all that was before it. Within one minute the count comes first, then what was delivered, then what is
used. What was planned and is past is reckoned as used, recorded or not (R14); how much of it nobody recorded is told apart.
A planned delivery counts for nothing before somebody says what came. An item runs out with the first need that what is
left, less what is kept back, does not cover.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from enum import IntEnum
from functools import lru_cache
from itertools import accumulate

from reminders.plan.care import StockItem, TaskKind
from reminders.plan.items import plain
from reminders.plan.model import Plan
from reminders.record.facts import Fact, Kind, Record
from reminders.schedule.counts import each_use
from reminders.schedule.model import Outcome, Schedule, TaskEvent
from reminders.schedule.status import task_window
from reminders.times import Instant

SOON = 3
"""Days ahead of the last day to order from which on an item is soon to be ordered."""

ONE_DAY = timedelta(days=1)


class Standing(IntEnum):
    """How things stand with an item; the most pressing first."""

    COUNT = 0
    """More was used, as reckoned, than there can have been."""
    LACKING = 1
    """What is left, the ones kept back included, does not cover the next time that it is needed, and an order comes late."""
    LATE = 2
    """The last day to order has passed."""
    TODAY = 3
    """It is the last day to order."""
    SOON = 4
    """It must be ordered in the next days."""
    ENOUGH = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Stocked:
    """One item of stock at one moment; numbers are pieces.

    ``counted`` at ``counted_at``, as ``count`` says, or the plan itself where that is None; ``delivered`` and ``used``
    since, ``unrecorded`` of those used. ``runs_out``: the first need that is not covered with ``kept_back`` left alone, which
    may be past; None for none in the horizon. ``lacking``: from when on all that is left does not cover the next need, and
    an order of then comes too late for it.
    ``order_by`` is the last day to order: ordered at ``order_at`` on it, the time at which the household is reminded, it comes
    in time. ``packs`` reach from there to ``reach``: the first planned delivery after it has run out, or the horizon's end.
    ``delivery`` is the next planned one that should bring it; ``awaited`` the last one that is past, of which nobody has said
    what came; ``deliveries`` are all that are planned. ``falls_short``: so many ``delivery`` would have to bring for all to
    last until the one after it, then, where it should bring fewer.
    """

    entry: StockItem
    counted: int
    counted_at: Instant
    count: Fact | None
    delivered: int
    used: int
    unrecorded: int
    runs_out: Instant | None = None
    lacking: Instant | None = None
    order_by: date | None = None
    order_at: Instant | None = None
    packs: int = 0
    reach: Instant | None = None
    delivery: TaskEvent | None = None
    awaited: TaskEvent | None = None
    deliveries: tuple[TaskEvent, ...] = ()
    falls_short: tuple[int, Instant] | None = None

    @property
    def item(self) -> str:
        """Return the item's name."""
        return self.entry.item

    @property
    def left(self) -> int:
        """Return how many are left, as reckoned; less than zero says that it must be counted again."""
        return self.counted + self.delivered - self.used

    @property
    def lasts_to_delivery(self) -> bool:
        """Say whether what is left lasts until the next planned delivery of it."""
        return self.delivery is not None and (self.runs_out is None or self.delivery.planned < self.runs_out)

    def standing(self, plan: Plan, now: Instant) -> Standing:
        """Say how things stand with it at ``now``, the moment of which it was reckoned."""
        if self.order_by is None:
            return Standing.ENOUGH
        if self.left < 0:
            return Standing.COUNT
        if self.lacking is not None and self.lacking <= now:
            return Standing.LACKING
        days = (self.order_by - plan.clock.local(now).date()).days
        if days < 0:
            return Standing.LATE
        return Standing.TODAY if days == 0 else Standing.SOON if days <= SOON else Standing.ENOUGH


def stock(schedule: Schedule, record: Record, now: Instant) -> tuple[Stocked, ...]:
    """Return how things stand with every item of the plan's stock at ``now``, in the plan's order.

    ``record`` is the one that the schedule was made with; what happened after ``now`` counts for nothing.
    """
    plan = schedule.plan
    if not plan.stock:
        return ()
    uses = _uses(schedule)
    return tuple(
        _stocked(entry, uses.get(plain(entry.item), ()), schedule, record, now) for entry in plan.stock.values()
    )


def brings(event: TaskEvent, item: str) -> int:
    """Return how many of an item a planned delivery should bring."""
    return sum(number for name, number in event.care.brings.items() if plain(name) == plain(item))


def at_clock(plan: Plan, day: date, clock: time) -> Instant:
    """Return the instant of a time of day on a date, on the clock of where the household is then."""
    return plan.clock.first_showing(datetime.combine(day, clock))


@dataclass(frozen=True, slots=True)
class _Use:
    """So many of an item that one touch or task uses up, and whether it is recorded as done."""

    at: Instant
    number: int
    recorded: bool

    def over(self, now: Instant) -> bool:
        """Say whether it is reckoned as used at ``now``: it is recorded, or its time is past."""
        return self.at < now or (self.recorded and self.at == now)


@lru_cache(maxsize=2)  # page, pop-ups and the answer to a report ask for the same schedule's, one after the other
def _uses(schedule: Schedule) -> Mapping[str, Sequence[_Use]]:
    """Return what uses up each item, in order of time, by the item's plain name."""
    found: dict[str, list[_Use]] = defaultdict(list)
    for event, items in each_use(schedule):
        for item, number in items.items():
            found[plain(item)].append(_Use(event.at, number, event.outcome is Outcome.DONE))
    return {item: sorted(uses, key=lambda use: use.at) for item, uses in found.items()}


def _stocked(entry: StockItem, uses: Sequence[_Use], schedule: Schedule, record: Record, now: Instant) -> Stocked:
    counted_at, counted, count = _last_count(entry, schedule, record, now)
    came = [fact for fact in _of_item(Kind.DELIVERED, entry, record) if fact.happened <= now]
    delivered = sum(fact.count or 0 for fact in came if counted_at <= fact.happened)
    since = [use for use in uses if use.at >= counted_at]
    over = [use for use in since if use.over(now)]
    deliveries = tuple(_deliveries(entry, schedule))
    said = max((schedule.plan.clock.local(fact.happened).date() for fact in came), default=date.min)
    open_ = [event for event in deliveries if _day_of(event) > said]
    past = [event for event in deliveries if event.at >= counted_at and _is_over(event, now)]
    found = Stocked(
        entry=entry,
        counted=counted,
        counted_at=counted_at,
        count=count,
        delivered=delivered,
        used=sum(use.number for use in over),
        unrecorded=sum(use.number for use in over if not use.recorded),
        deliveries=deliveries,
        delivery=next((event for event in open_ if event.outcome is None and task_window(event)[1] >= now), None),
        awaited=past[-1] if past and past[-1] in open_ else None,
    )
    return found if len(over) == len(since) else _forecast(found, since, schedule, now)


def _of_item(kind: Kind, entry: StockItem, record: Record) -> Iterator[Fact]:
    name = plain(entry.item)
    return (fact for fact in record.of_kind(kind) if plain(fact.name) == name)


def _last_count(entry: StockItem, schedule: Schedule, record: Record, now: Instant) -> tuple[Instant, int, Fact | None]:
    """Return the last count up to ``now``: when, how many, and the fact that says so.

    Of two in one minute what the household recorded stands before the plan, and what was entered last before the other.
    """
    name = plain(entry.item)
    stated = [
        (other.counted_at.instant, other.on_hand)
        for _begins, plan in schedule.plans
        for other in plan.stock.values()
        if plain(other.item) == name
    ]
    entered = {fact.key: number for number, fact in enumerate(record.facts)}
    told = [fact for fact in _of_item(Kind.STOCK_COUNTED, entry, record) if fact.happened <= now]
    last = max(told, key=lambda fact: (fact.happened, fact.entered, entered[fact.key]), default=None)
    at, number = max((known for known in stated if known[0] <= now), key=lambda known: known[0], default=min(stated))
    if last is not None and (last.happened >= at or at > now):
        return last.happened, last.count or 0, last
    return at, number, None


def _deliveries(entry: StockItem, schedule: Schedule) -> Iterator[TaskEvent]:
    for event in schedule.tasks:
        dropped = event.outcome in (Outcome.SKIPPED, Outcome.HELD)
        if event.care.kind is TaskKind.DELIVERY and not dropped and brings(event, entry.item):
            yield event


def _day_of(event: TaskEvent) -> date:
    """Return the local day of a delivery, the earlier one where it was not the planned one."""
    return min(event.plan.clock.local(at).date() for at in (event.planned, event.at))


def _is_over(event: TaskEvent, now: Instant) -> bool:
    """Say whether a delivery is recorded as done, or its time is past."""
    return event.at <= now if event.outcome is Outcome.DONE else task_window(event)[1] < now


def _forecast(found: Stocked, since: Sequence[_Use], schedule: Schedule, now: Instant) -> Stocked:
    """Add when an item runs out that something still needs, and when and how many are to be ordered."""
    plan, entry = schedule.plan, found.entry
    numbers: dict[Instant, int] = defaultdict(int)
    for use in since:
        numbers[use.at] += use.number
    instants = list(numbers)
    sums = list(accumulate(numbers.values()))
    whole = found.counted + found.delivered
    beyond = next((index for index, used in enumerate(sums) if used > whole - entry.kept_back), None)
    if beyond is None:
        return found
    runs_out = instants[beyond]
    short = next((index for index, used in enumerate(sums) if used > whole), None)
    ahead = (plan.supplies.order_ahead if entry.order_ahead is None else entry.order_ahead) or 0
    lacking = None
    if short is not None:
        lacking = max(instants[short - 1] if short else found.counted_at, Instant(instants[short] - ahead))
    after = max(runs_out, now)
    to = next((event.planned for event in found.deliveries if event.outcome is None and event.planned > after), None)
    needed = max((used for at, used in zip(instants, sums, strict=True) if to is None or at < to), default=0)
    missing = needed - (whole - entry.kept_back)
    order_by, order_at = _last_day(Instant(runs_out - ahead), plan)
    return replace(
        found,
        runs_out=runs_out,
        lacking=lacking,
        order_by=order_by,
        order_at=order_at,
        packs=max(0, -(-missing // entry.comes_in)),
        falls_short=_falls_short(found, dict(zip(instants, sums, strict=True)), whole - entry.kept_back),
        reach=schedule.end if to is None else to,
    )


def _falls_short(found: Stocked, used: Mapping[Instant, int], there: int) -> tuple[int, Instant] | None:
    """Return how many the next delivery must bring to reach the one after it, and when that is, if it should bring fewer.

    ``used``: how many are used up to each need; ``there``: how many there were to use. Until it comes, all is taken to last.
    """
    first = found.delivery
    if first is None:
        return None
    open_ = (event.planned for event in found.deliveries if event.outcome is None)
    following = min((at for at in open_ if at > first.planned), default=None)
    if following is None:
        return None
    before = max((number for at, number in used.items() if at < first.planned), default=0)
    until = max((number for at, number in used.items() if at < following), default=0)
    needed = until - max(before, there)
    return (needed, following) if needed > brings(first, found.item) else None


def _last_day(last: Instant, plan: Plan) -> tuple[date, Instant]:
    """Return the last day on which orders are taken and of which the time of reminding is not after ``last``, and that time."""
    day = plan.clock.local(last).date()
    days = plan.supplies.order_days or range(7)
    while day.weekday() not in days or at_clock(plan, day, plan.supplies.remind_at) > last:
        day -= ONE_DAY
    return day, at_clock(plan, day, plan.supplies.remind_at)
