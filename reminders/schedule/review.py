"""What only the schedule shows about a plan: overlaps, spacings, clocks, nights, totals, ends. Pure.

Every finding carries its numbers. What recurs is told once, with how often and when first.
"""

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime
from fractions import Fraction
from itertools import pairwise

from reminders.findings import Finding, KeyPath
from reminders.plan.checks import clock_case_finding
from reminders.plan.durations import duration
from reminders.plan.order import TIMINGS, AfterLateDose, Order, OrderClock
from reminders.schedule.counts import daily_totals
from reminders.schedule.doses import order_day
from reminders.schedule.model import Dose, Schedule, Touch, TouchKind, Why
from reminders.schedule.steps import flushes
from reminders.times import ClockCase, Instant, Moment, instant_of
from reminders.units import Measure, number, span

DECIDES = "the prescriber or pharmacist decides whether that is acceptable"


def review(schedule: Schedule) -> list[Finding]:
    """Return every finding that a compiled schedule gives rise to."""
    found = [*_overlaps(schedule), *_lumens(schedule), *_totals(schedule), *_household(schedule)]
    for order in schedule.plan.orders.values():
        for check in (_amount, _spacing, _before_plan, _clock_changes, _ends, _dates, _words):
            found += check(schedule, order)
    return found


def _when(schedule: Schedule, at: Instant) -> str:
    moment = schedule.plan.clock.local(at)
    zone = moment.tzname() or ""
    return f"{moment:%Y-%m-%d %H:%M} {zone if zone.isalpha() else moment.isoformat()[-6:]}"


def _timing_key(order: Order) -> KeyPath:
    return ("order", order.name, next((name for name in TIMINGS if getattr(order, name)), "drug"))


def _times(count: int, what: str = "times") -> str:
    return "once" if count == 1 else f"{count} {what}"


def _overlaps(schedule: Schedule) -> Iterator[Finding]:
    """R9: each pair of orders that meet in one lumen is told once."""
    plan = schedule.plan
    by_lumen: dict[str, list[Dose]] = defaultdict(list)
    for name, doses in schedule.doses.items():
        by_lumen[plan.orders[name].lumen] += doses
    for lumen, entries in by_lumen.items():
        clashes: dict[tuple[str, str], list[tuple[Dose, Dose]]] = defaultdict(list)
        running: list[Dose] = []
        for dose in sorted(entries, key=lambda entry: (entry.start, entry.order)):
            running = [other for other in running if other.end is None or other.end > dose.start]
            for other in running:
                first, second = plan.orders[other.order], plan.orders[dose.order]
                together = second.name == first.runs_with or first.name == second.runs_with
                if not together:
                    clashes[(other.order, dose.order)].append((other, dose))
            running.append(dose)
        for (one, two), pairs in clashes.items():
            other, dose = pairs[0]
            first, second = plan.orders[one], plan.orders[two]
            until = "on without an end" if other.end is None else f"until {_when(schedule, other.end)}"
            yield Finding(
                code="overlap",
                message=f"In the {plan.lumens[lumen].label} lumen {first.drug} runs from "
                f"{_when(schedule, other.start)} {until}, and {second.drug} is to start at "
                f"{_when(schedule, dose.start)}; this happens {_times(len(pairs))}.",
                expected="one dose at a time in a lumen, unless one is ordered to run with the other",
                mend="Ask the prescriber or pharmacist: other times, another lumen, or runs_with if they may meet.",
                places=(_timing_key(first),) if first is second else (_timing_key(first), _timing_key(second)),
            )


def _lumens(schedule: Schedule) -> Iterator[Finding]:
    plan = schedule.plan
    forced: dict[str, list[Touch]] = defaultdict(list)
    passed: dict[str, Touch] = {}
    bare: dict[str, list[Touch]] = defaultdict(list)
    for touch in schedule.touches:
        if touch.reason.why is Why.FORCED_QUIET:
            forced[touch.lumen].append(touch)
        elif touch.reason.why is Why.PASSED and touch.at == schedule.start:
            passed.setdefault(touch.lumen, touch)
        elif touch.kind is TouchKind.FINISH and not flushes(touch.steps):
            bare[touch.ends[0].order].append(touch)
    for name, touch in passed.items():
        lumen = plan.lumens[name]
        assert touch.reason.deadline is not None  # an idle flush has one
        yield Finding(
            code="limit-passed",
            message=f"The {lumen.label} lumen was last flushed {_when(schedule, lumen.last_flushed.instant)}; its "
            f"limit of {span(plan.idle_limit(lumen))} passed at {_when(schedule, touch.reason.deadline)}, before "
            f"the plan starts. Its first flush is due at once.",
            expected="a flush within the limit before the plan starts",
            mend="Make sure when it was last flushed; ask the nurse before it is used.",
            places=(("lumen", name, "last_flushed"), ("plan", "start")),
        )
    for name, touches in forced.items():
        lumen = plan.lumens[name]
        limit_key = ("lumen", name, "idle_limit") if lumen.idle_limit is not None else ("line", "idle_limit")
        yield Finding(
            code="night-forced",
            message=f"The {lumen.label} lumen's limit of {span(plan.idle_limit(lumen))} forces a session into the "
            f"quiet hours {_times(len(touches))}, first at {_when(schedule, touches[0].at)}.",
            expected="a limit that reaches across the quiet hours, or other quiet hours",
            mend="Nothing needs to be mended; if the nights are a burden, ask the nurse or prescriber.",
            places=(limit_key, ("household", "quiet_hours")),
        )
    for name, touches in bare.items():
        yield Finding(
            code="finish-without-flush",
            message=f"After {plan.orders[name].drug} nothing is flushed, {_times(len(touches))}, first at "
            f"{_when(schedule, touches[0].at)}.",
            expected="a flush after every infusion",
            mend="Confirm with the nurse; usually after = [...] lacks the flush.",
            places=(("order", name, "after") if plan.orders[name].after is not None else ("protocol", "after"),),
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
            most: tuple[Fraction, object] = max(over)
            yield Finding(
                code="daily-total",
                message=f"The day's total of {name} exceeds {limit.text} on {_times(len(over), 'days')}; the highest "
                f"is {number(most[0])} {unit} on {most[1]}.",
                expected=f"at most {limit.text} a day",
                mend="Ask the prescriber or pharmacist; they decide what changes.",
                places=(("daily_limits", name),),
            )


def _household(schedule: Schedule) -> Iterator[Finding]:
    if schedule.plan.household.preferred_flush_times:
        yield Finding(
            code="preferred-times",
            message="Preferred flush times are kept in the plan and not yet used for placing flushes.",
            expected="flushes as late as the limit allows, or just before the quiet hours",
            places=(("household", "preferred_flush_times"),),
        )


def _concerns(touch: Touch, order: Order) -> bool:
    return any(dose.order == order.name for dose in (*touch.starts, *touch.ends))


def _amount(schedule: Schedule, order: Order) -> Iterator[Finding]:
    doses = schedule.doses[order.name]
    if order.as_needed:
        yield Finding(
            code="dose-by-hand",
            message=f"{order.drug} is given as needed: nothing is scheduled; at most {order.most_in_24h} in 24 h, "
            f"{span(order.least_spacing or 0)} apart.",
            expected="someone who counts",
            places=(("order", order.name, "as_needed"),),
        )
    elif not doses and not schedule.rolling and not any(_concerns(touch, order) for touch in schedule.touches):
        yield Finding(
            code="no-dose",
            message=f"No dose of {order.drug} falls between {_when(schedule, schedule.start)} and "
            f"{_when(schedule, schedule.end)}.",
            expected="at least one dose within the plan",
            mend="Correct the order's dates, or take it out.",
            places=(_timing_key(order), ("plan", "start")),
        )


def _spacing(schedule: Schedule, order: Order) -> Iterator[Finding]:
    """R3, R5: ordered against elapsed spacing, from start to start."""
    doses = schedule.doses[order.name]
    broken: list[tuple[Dose, Dose, int]] = []
    for earlier, later in pairwise(doses):
        elapsed = later.start - earlier.start
        ordered = _ordered_spacing(order, earlier, later, elapsed)
        outside = _outside(order, elapsed)
        if ordered == elapsed:
            if outside:
                broken.append((earlier, later, elapsed))
            continue
        clock = schedule.plan.clock
        moved = order.clock is OrderClock.LOCAL and clock.at(earlier.start) is not clock.at(later.start)
        numbers = (
            f"{order.drug} at {_when(schedule, later.start)} comes {span(elapsed)} after the dose before it instead of "
            f"{span(ordered)}"
        )
        if moved or outside:
            yield Finding(
                code="spacing-travel" if moved else "spacing-clock-change",
                message=f"{numbers}{outside}; {DECIDES}.",
                expected="a spacing within the order's bounds",
                mend="Ask before that day; the tool changes no dose by itself.",
                places=(_timing_key(order), ("order", order.name, "clock" if moved else _bound(order, elapsed))),
            )
        else:
            yield Finding(
                code="spacing-differs",
                message=f"{numbers}, because the clocks change.",
                expected="the ordered clock times; the elapsed spacing stays within the order's bounds",
                places=(_timing_key(order),),
            )
    if broken:
        earlier, later, elapsed = broken[0]
        yield Finding(
            code="spacing-ordered",
            message=f"{order.drug} at {_when(schedule, later.start)} comes {span(elapsed)} after the dose before it"
            f"{_outside(order, elapsed)}; this happens {_times(len(broken))}.",
            expected="times that keep the order's own spacing",
            mend="Ask the prescriber which of the two holds, and correct the other.",
            places=(_timing_key(order), ("order", order.name, _bound(order, elapsed))),
        )


def _ordered_spacing(order: Order, earlier: Dose, later: Dose, elapsed: int) -> int:
    if order.clock_times is None:
        return elapsed
    walls = [datetime.fromisoformat(dose.key.partition("[")[0]) for dose in (earlier, later)]
    return int((walls[1] - walls[0]).total_seconds()) // 60


def _outside(order: Order, elapsed: int) -> str:
    if order.least_spacing is not None and elapsed < order.least_spacing:
        return f", below its least spacing of {span(order.least_spacing)}"
    if order.most_spacing is not None and elapsed > order.most_spacing:
        return f", above its most spacing of {span(order.most_spacing)}"
    return ""


def _bound(order: Order, elapsed: int) -> str:
    return "least_spacing" if order.least_spacing is not None and elapsed < order.least_spacing else "most_spacing"


def _before_plan(schedule: Schedule, order: Order) -> Iterator[Finding]:
    last = order.last_dose_before_plan
    planned = [dose for dose in schedule.doses[order.name] if dose.start >= schedule.start]
    if last is None or not planned:
        return
    first = planned[0]
    elapsed = first.start - last.instant
    if elapsed <= 0 or _outside(order, elapsed):
        yield Finding(
            code="spacing-before-plan",
            message=f"The first planned dose of {order.drug}, {_when(schedule, first.start)}, "
            + (
                f"comes {span(elapsed)} after the last one before the plan ({_when(schedule, last.instant)})"
                if elapsed > 0
                else f"is not after the last one before the plan ({_when(schedule, last.instant)})"
            )
            + f"{_outside(order, elapsed) if elapsed > 0 else ''}; {DECIDES}.",
            expected="a first dose within the order's spacing bounds",
            mend="Ask before the first dose; correct last_dose_before_plan if it is wrong.",
            places=(("order", order.name, "last_dose_before_plan"), _timing_key(order)),
        )


def _clock_changes(schedule: Schedule, order: Order) -> Iterator[Finding]:
    """R3: each dose whose clock time the clocks skip or repeat is a note."""
    if order.clock_times is None:
        return
    plan = schedule.plan
    for dose in schedule.doses[order.name]:
        zone = plan.clock.at(dose.start) if order.clock is OrderClock.LOCAL else plan.course.zone
        wall = datetime.fromisoformat(dose.key.partition("[")[0])
        instant, case = instant_of(wall, zone)
        if case is not ClockCase.PLAIN:
            yield clock_case_finding(plan, Moment(instant, wall, case), ("order", order.name, "clock_times"))


def _ends(schedule: Schedule, order: Order) -> Iterator[Finding]:
    doses = schedule.doses[order.name]
    plan = schedule.plan
    runs = 0 if order.continuous else duration(order) or 0
    late = [dose for dose in doses if dose.end is None or max(dose.end, dose.start + runs) > schedule.end]
    if late and not schedule.rolling:
        ends = _when(schedule, schedule.end)
        finishes = _when(schedule, Instant(late[-1].start + runs))
        if order.continuous:
            what = f"runs on when the plan ends ({ends}); nothing in the plan disconnects it"
        elif plan.course.line_removal:
            what = (
                f"would finish {finishes}, after the line is removed ({ends}); it is planned to stop with the removal"
            )
        else:
            what = f"finishes {finishes}, after the plan has ended ({ends}); its finish is in the calendar all the same"
        yield Finding(
            code="runs-past-end",
            message=f"{order.drug}, started {_when(schedule, late[-1].start)}, {what}.",
            expected="infusions that finish within the plan",
            mend="Make sure who finishes it; or correct the plan's end or the order's.",
            places=(_timing_key(order), ("plan", "end" if plan.course.end else "line_removal")),
        )
    if not doses or order.doses is None or order.last_day is None:
        return
    last = order_day(schedule.plan, order, doses[-1].start)
    if doses[-1].number == order.doses and last < order.last_day:
        what = f"Dose {order.doses} of {order.doses} falls on {last}, and the last day is {order.last_day}"
    elif doses[-1].number < order.doses and schedule.plan.clock.local(schedule.end).date() > order.last_day:
        what = f"By its last day {order.last_day} only {doses[-1].number} of {order.doses} doses are given"
    else:
        return
    yield Finding(
        code="ends-early",
        message=f"Unusual: confirm. {what} ({order.drug}).",
        expected="a number of doses and a last day that agree (arithmetic)",
        mend="Ask the prescriber which of the two holds; keep that one.",
        places=(("order", order.name, "doses"), ("order", order.name, "last_day")),
    )


def _dates(schedule: Schedule, order: Order) -> Iterator[Finding]:
    doses = schedule.doses[order.name]
    clock = schedule.plan.clock
    if order.bags_expire_on is not None:
        over = [
            dose for dose in doses if clock.local(Instant((dose.end or dose.start) - 1)).date() > order.bags_expire_on
        ]
        if over:
            yield Finding(
                code="bag-expired",
                message=f"Unusual: confirm. {_times(len(over), 'doses')} of {order.drug}, first "
                f"{_when(schedule, over[0].start)}, would run after its bags expire on {order.bags_expire_on}.",
                expected="infusions that end on or before the expiry date (a home-infusion pharmacy's advice to "
                "patients)",
                mend="Make sure that newer bags arrive before; then correct the date.",
                places=(("order", order.name, "bags_expire_on"), _timing_key(order)),
            )
    if order.review_on is not None:
        after = [dose for dose in doses if clock.local(dose.start).date() > order.review_on]
        if after:
            yield Finding(
                code="review-passed",
                message=f"Unusual: confirm. {order.drug} goes on past its review on {order.review_on}: "
                f"{_times(len(after), 'doses')}, first {_when(schedule, after[0].start)}.",
                expected="an order that is looked at again before it goes on (common practice, no source)",
                mend="Ask the prescriber; after the review correct the date in a new revision.",
                places=(("order", order.name, "review_on"), _timing_key(order)),
            )


def _words(schedule: Schedule, order: Order) -> Iterator[Finding]:
    if order.after_late_dose is AfterLateDose.SHIFT:
        yield Finding(
            code="shift-doses",
            message=f"After a late dose of {order.drug} the following doses shift with it.",
            expected="an order that says so",
            places=(("order", order.name, "after_late_dose"),),
        )
