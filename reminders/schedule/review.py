"""What only the schedule shows about a plan: overlaps, limits, nights, margins, totals. Pure.

Every finding carries its numbers. What recurs is told once, with how often and when first.
"""

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from reminders.findings import Finding
from reminders.plan.order import FlushThrough, GivenAs
from reminders.schedule.care_review import review_tasks
from reminders.schedule.counts import daily_totals
from reminders.schedule.limits import limit_of, limit_words
from reminders.schedule.model import Dose, Schedule, Touch, TouchKind, Why
from reminders.schedule.order_review import review_order, times, timing_key, when
from reminders.schedule.steps import flushed_after
from reminders.times import Instant
from reminders.units import Measure, number, span


def review(schedule: Schedule) -> list[Finding]:
    """Return every finding that a compiled schedule gives rise to."""
    found = [*_overlaps(schedule), *_lumens(schedule), *_nights(schedule), *_margins(schedule), *_totals(schedule)]
    for order in schedule.plan.orders.values():
        found += review_order(schedule, order)
    return found + review_tasks(schedule)


def _overlaps(schedule: Schedule) -> Iterator[Finding]:
    """R9: each pair of orders that meet in one lumen is told once."""
    plan = schedule.plan
    by_lumen: dict[str, list[Dose]] = defaultdict(list)
    for name, order in plan.orders.items():
        in_the_way = schedule.connected[name] if order.kept_open else schedule.doses[name]
        by_lumen[order.lumen] += in_the_way
    for lumen, entries in by_lumen.items():
        clashes: dict[tuple[str, str], tuple[Dose, Dose, int]] = {}
        latest: dict[str, Dose] = {}  # of each order, the dose that runs longest so far
        for dose in sorted(entries, key=lambda entry: (entry.start, entry.order)):
            for other in latest.values():
                together = plan.run_together(other.order, dose.order)
                if not together and (other.end is None or other.end > dose.start):
                    seen = clashes.get((other.order, dose.order), (other, dose, 0))
                    clashes[(other.order, dose.order)] = (*seen[:2], seen[2] + 1)
            known = latest.get(dose.order)
            if known is None or (known.end is not None and (dose.end is None or dose.end > known.end)):
                latest[dose.order] = dose
        for (one, two), (other, dose, count) in clashes.items():
            first, second = plan.orders[one], plan.orders[two]
            until = "on without an end" if other.end is None else f"until {when(schedule, other.end)}"
            yield Finding(
                code="overlap",
                message=f"In the {plan.lumens[lumen].label} lumen {first.drug} runs from "
                f"{when(schedule, other.start)} {until}, and {second.drug} is to start at "
                f"{when(schedule, dose.start)}; this happens {times(count)}.",
                expected="one dose at a time in a lumen, unless one is ordered to run with the other",
                mend="Ask the prescriber or pharmacist: other times, another lumen, or runs_with if they may meet.",
                places=(timing_key(first),) if first is second else (timing_key(first), timing_key(second)),
            )


def _lumens(schedule: Schedule) -> Iterator[Finding]:
    plan = schedule.plan
    forced: dict[str, list[Touch]] = defaultdict(list)
    bare: dict[str, list[Touch]] = defaultdict(list)
    for touch in schedule.touches:
        if touch.reason.why is Why.FORCED_QUIET and not touch.reason.lumen:
            forced[touch.lumen].append(touch)
        elif (ended := _ended(touch, schedule)) and not flushed_after(touch.steps, plan):
            bare[ended[0].order].append(touch)
    for name, lumen in plan.lumens.items():
        limit = limit_words(plan.idle_limit(lumen))
        deadline = limit_of(plan, lumen).last_chance(lumen.last_flushed.instant)
        watched = lumen.in_use and lumen.flush_through is not FlushThrough.NURSE
        if not watched or deadline >= schedule.start or _in_use_before(schedule, name):
            continue
        yield Finding(
            code="limit-passed",
            message=f"The {lumen.label} lumen was last flushed {when(schedule, lumen.last_flushed.instant)}; its limit of "
            f"{limit} passed at {when(schedule, deadline)}, before the plan starts. Its first flush is due at once.",
            expected="a flush within the limit before the plan starts",
            mend="Make sure when it was last flushed; ask the nurse before it is used.",
            places=(("lumen", name, "last_flushed"), ("plan", "start")),
        )
    for name, touches in forced.items():
        lumen = plan.lumens[name]
        limit_key = ("lumen", name, "idle_limit") if lumen.idle_limit is not None else ("line", "idle_limit")
        yield Finding(
            code="night-forced",
            message=f"The {lumen.label} lumen's limit of {limit_words(plan.idle_limit(lumen))} forces a session into the "
            f"quiet hours {times(len(touches))}, first at {when(schedule, touches[0].at)}.",
            expected="a limit that reaches across the quiet hours, or other quiet hours",
            mend="Nothing needs to be mended; if the nights are a burden, ask the nurse or prescriber.",
            places=(limit_key, ("household", "quiet_hours")),
        )
    for name, touches in bare.items():
        yield Finding(
            code="finish-without-flush",
            message=f"After {plan.orders[name].drug} nothing is flushed, {times(len(touches))}, first at "
            f"{when(schedule, touches[0].at)}.",
            expected="a flush after every infusion",
            mend="Confirm with the nurse; usually after = [...] lacks the flush.",
            places=(("order", name, "after") if plan.orders[name].after is not None else ("protocol", "after"),),
        )


SMALL_HOURS = 5
"""Idle flushes before this hour, from midnight on, fall where most people sleep: common practice, no source."""


def _nights(schedule: Schedule) -> Iterator[Finding]:
    """Find flushes in the middle of the night that nobody asked to be spared, because no quiet hours are stated."""
    plan = schedule.plan
    if plan.household.quiet_hours:
        return
    at_night: dict[Instant, bool] = {}
    for touch in schedule.touches:
        if plan.clock.local(touch.at).hour < SMALL_HOURS:
            at_night[touch.at] = at_night.get(touch.at, True) and touch.kind is TouchKind.IDLE_FLUSH
    flushes = [at for at, idle_only in at_night.items() if idle_only]
    if flushes:
        yield Finding(
            code="no-quiet-hours",
            message=f"The plan states no quiet hours, and between midnight and {SMALL_HOURS} o'clock somebody must get up only to "
            f"flush {times(len(flushes))}, first at {when(schedule, min(flushes))}.",
            expected="the hours in which the household would rather sleep, if it has such hours",
            mend="Ask the household; where quiet_hours are stated, such flushes are moved out of them as far as the limits allow.",
            places=(("household", "quiet_hours"),),
        )


def _ended(touch: Touch, schedule: Schedule) -> list[Dose]:
    """Return what ends in a touch: infusions that are taken off, and pushes."""
    orders = schedule.plan.orders
    return [*touch.ends, *(dose for dose in touch.starts if orders[dose.order].given_as is GivenAs.PUSH)]


def _in_use_before(schedule: Schedule, lumen: str) -> bool:
    """Say whether something runs in a lumen when the plan starts."""
    plan = schedule.plan
    return any(
        dose.start < schedule.start
        for name, order in plan.orders.items()
        if order.lumen == lumen
        for dose in (schedule.connected[name] if order.kept_open else schedule.doses[name])
    )


def _margins(schedule: Schedule) -> Iterator[Finding]:
    """Find idle flushes that would not be needed if the limit itself were used up."""
    plan = schedule.plan
    for name, lumen in plan.lumens.items():
        touches = [touch for touch in schedule.touches if touch.lumen == name]
        added = [
            (touch, following)
            for touch, following in pairwise(touches)
            if touch.reason.deadline is not None and following.starts and following.at <= touch.reason.deadline
        ]
        if added:
            touch, following = added[0]
            yield Finding(
                code="margin-flush",
                message=f"The planning margin of {span(plan.protocol.planning_margin)} adds a flush of the {lumen.label} "
                f"lumen before a dose {times(len(added))}: first at {when(schedule, touch.at)}, though the dose at "
                f"{when(schedule, following.at)} comes within the limit.",
                expected="a margin that the ordered times leave room for",
                mend="If these flushes are not wanted, the provider may accept a smaller planning_margin.",
                places=(("protocol", "planning_margin"),),
            )


def _totals(schedule: Schedule) -> Iterator[Finding]:
    """R22: each stated limit that some day exceeds is told once, with the highest day."""
    limits = schedule.plan.daily_limits
    totals = daily_totals(schedule)
    stated: tuple[tuple[str, Measure | None, str], ...] = (
        ("infused", limits.infused, "mL"),
        ("flushed", limits.flushed, "mL"),
        ("heparin", limits.heparin, "units"),
        ("sodium", limits.sodium, "mmol"),
    )
    for name, limit, unit in stated:
        if limit is None:
            continue
        over = [(getattr(total, name), total.day) for total in totals if getattr(total, name) > limit.amount]
        if over:
            most: tuple[Fraction, object] = max(over, key=lambda entry: entry[0])
            yield Finding(
                code="daily-total",
                message=f"The day's total of {name} exceeds {limit.text} on {times(len(over), 'days')}; the highest "
                f"is {number(most[0])} {unit} on {most[1]}.",
                expected=f"at most {limit.text} a day",
                mend="Ask the prescriber or pharmacist; they decide what changes.",
                places=(("daily_limits", name),),
            )
