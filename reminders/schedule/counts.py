"""Supplies and daily totals, counted from the same steps that the household is told to do (R21, R22)."""

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate, pairwise

from reminders.plan.durations import dose_volume, duration
from reminders.plan.model import FluidKind, Plan
from reminders.plan.order import Order
from reminders.schedule.model import (
    DROPPED,
    Action,
    Dose,
    DoseState,
    Outcome,
    Schedule,
    Step,
    TaskEvent,
    Touch,
    TouchKind,
)
from reminders.schedule.steps import FLUIDS
from reminders.times import DAY, Instant


def items_of(touch: Touch) -> Counter[str]:
    """Return how many of each item one touch uses up; nothing where it takes no work."""
    steps = (*touch.done_first, *touch.steps)
    if not steps:
        return Counter()
    plan = touch.plan
    items = Counter(plan.supplies.each_touch)
    for step in steps:
        items.update(_items_of_step(step, plan))
    for dose in touch.starts:
        items.update(plan.orders[dose.order].each_dose)
    for task in touch.tasks:
        items.update(plan.tasks[task].uses)
    if touch.tasks or touch.kind is TouchKind.DRAW:
        items.update(plan.supplies.each_draw)
    return items


def _items_of_step(step: Step, plan: Plan) -> Counter[str]:
    items: Counter[str] = Counter()
    if step.action in FLUIDS:
        fluid = plan.fluids[step.what]
        volume = step.volume.amount if step.volume else fluid.volume.amount
        syringes = -(-volume // fluid.syringe_holds.amount)
        items[fluid.syringe] += syringes
        for item, number in plan.supplies.each_syringe.items():
            items[item] += number * syringes
    elif step.action in (Action.CONNECT, Action.CHANGE_BAG, Action.PUSH):
        items.update(plan.supplies.each_connection)
        if step.action is Action.CHANGE_BAG:
            items.update(plan.orders[step.what].each_bag)
    elif step.action is Action.WITHDRAW:
        items.update(plan.supplies.each_withdrawal)
    elif step.action is Action.EXTRA:
        items.update(plan.extra_steps[step.what].consumes)
    return items


def each_use(schedule: Schedule) -> Iterator[tuple[Touch | TaskEvent, Mapping[str, int]]]:
    """Yield every touch, then every care task, with how many of each item it uses up; what is not to be done uses none."""
    known: dict[tuple[object, ...], Counter[str]] = {}
    for touch in schedule.touches:
        orders = (dose.order for dose in touch.starts)
        alike = (id(touch.plan), id(touch.steps), id(touch.done_first), touch.kind, touch.tasks, *orders)
        if alike not in known:
            known[alike] = items_of(touch)
        yield touch, known[alike]
    for event in schedule.tasks:
        if event.outcome not in (Outcome.SKIPPED, Outcome.HELD):
            yield event, event.care.uses


def supplies(schedule: Schedule, first: Instant, last: Instant | None = None) -> Counter[str]:
    """Return how many of each item the touches and care tasks from ``first`` up to ``last`` use up; to the last without it."""
    items: Counter[str] = Counter()
    for event, uses in each_use(schedule):
        if first <= event.at and (last is None or event.at < last):
            items.update(uses)
    return items


@dataclass(frozen=True, slots=True)
class DayTotal:
    """What one local day brings: mL infused, mL flushed and locked, units of heparin, mmol of sodium from flushes.

    ``whole`` is false for a day that the horizon covers in part only.
    """

    day: date
    infused: Fraction
    flushed: Fraction
    heparin: Fraction
    sodium: Fraction
    whole: bool


@lru_cache(maxsize=1)  # review and summary ask for the same schedule's, one after the other
def daily_totals(schedule: Schedule) -> tuple[DayTotal, ...]:
    """Return the totals of every local day of the horizon, in order.

    An infusion that runs past midnight counts on each day for what runs on that day; a touch counts on the day on
    which it is planned.
    """
    clock = schedule.plan.clock
    reached = [schedule.start, schedule.end, *(touch.at for touch in schedule.touches)]
    dates = [clock.local(at).date() for at in reached]  # on a journey over the date line a date may come back
    days = clock.day_starts(min(dates), max(dates) + timedelta(days=1))
    begins = accumulate((begin for _, begin in days), max)
    starts = [(day, begin) for (day, _), begin in zip(days, begins, strict=True)]
    pushed: dict[date, list[Fraction]] = {day: [Fraction(0)] * 3 for day, _ in starts}
    # Touches alike share one tuple of steps, and its identity is far quicker to look up than its fractions.
    listed = [(touch, steps) for touch in schedule.touches for steps in (touch.done_first, touch.steps) if steps]
    steps_of = {id(steps): (steps, touch.plan) for touch, steps in listed}
    amounts = {known: pushed_by(steps, plan) for known, (steps, plan) in steps_of.items()}
    alike = Counter((clock.local(touch.at).date(), id(steps)) for touch, steps in listed)
    for (day, known), times in alike.items():
        for index, amount in enumerate(amounts[known]):
            pushed[day][index] += amount * times
    infused = _infused(schedule, [start for _, start in starts])
    totals = []
    for index, ((day_of, begin), (_, end)) in enumerate(pairwise(starts)):
        whole = schedule.start <= begin and end <= schedule.end
        flushed, heparin, sodium = pushed[day_of]
        totals.append(DayTotal(day_of, infused[index], flushed, heparin, sodium, whole))
    return tuple(totals)


def pushed_by(steps: Iterable[Step], plan: Plan) -> tuple[Fraction, Fraction, Fraction]:
    """Return mL pushed, units of heparin and mmol of sodium in these steps."""
    volume = heparin = sodium = Fraction(0)
    for step in steps:
        if step.action in FLUIDS and step.volume is not None:
            fluid = plan.fluids[step.what]
            amount = step.volume.amount
            volume += amount
            if fluid.kind is FluidKind.HEPARIN and fluid.strength:
                heparin += amount * fluid.strength.amount
            if fluid.sodium:
                sodium += amount * fluid.sodium.amount
    return volume, heparin, sodium


def _infused(schedule: Schedule, edges: list[Instant]) -> list[Fraction]:
    """Return mL infused between each pair of neighbouring edges."""
    amounts = [Fraction(0)] * (len(edges) - 1)
    for doses in schedule.doses.values():
        for dose in doses:
            if dose.state in DROPPED:
                continue
            order = schedule.plan_at(dose.start).orders[dose.order]
            for begin, finish, pace in _stretches(order, dose, schedule):
                for index in range(max(0, bisect_right(edges, begin) - 1), len(amounts)):
                    overlap = min(finish, edges[index + 1]) - max(begin, edges[index])
                    if overlap <= 0:
                        break
                    amounts[index] += pace * overlap
    return amounts


def _stretches(order: Order, dose: Dose, schedule: Schedule) -> list[tuple[Instant, Instant, Fraction]]:
    """Return the stretches of a dose at one pace each, in mL a minute, as far as the horizon knows it."""
    if order.rate_steps and dose.end is not None and not order.continuous:
        stretches = []
        begin = dose.start
        for step in order.rate_steps:
            finish = Instant(min(begin + step.minutes, dose.end))
            stretches.append((begin, finish, step.rate.amount / 60))
            begin = finish
        return stretches
    end = schedule.end if dose.end is None else dose.end
    if order.continuous:
        pace = order.rate.amount / 60 if order.rate else None
        if pace is None and order.volume and (order.bag_every or order.bag_times):
            pace = order.volume.amount / (order.bag_every or Fraction(DAY, len(order.bag_times or ())))
        return [(dose.start, end, pace)] if pace is not None else []
    volume = dose_volume(order)
    runs = duration(order)
    if volume is None or not runs:
        return []
    # A dose that ran longer or shorter than ordered gave what it was to give, unless it was stopped early.
    ran = runs if dose.state is DoseState.STOPPED else max(1, end - dose.start)
    return [(dose.start, end, volume / ran)]
