"""What only the schedule shows about one order: spacings, clocks, ends, bags, dates. Pure.

Every finding carries its numbers. What recurs is told once, with how often and when first.
"""

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise

from reminders.findings import Finding, KeyPath
from reminders.plan.checks import clock_case_finding
from reminders.plan.durations import by_rate, duration, rate_range
from reminders.plan.order import TIMINGS, AfterLateDose, GivenAs, Order, OrderClock
from reminders.schedule.doses import on_day, order_day
from reminders.schedule.model import Dose, Schedule, Touch
from reminders.times import ClockCase, Instant, Moment, instant_of, local
from reminders.units import span

DECIDES = "the prescriber or pharmacist decides whether that is acceptable"


def review_order(schedule: Schedule, order: Order) -> list[Finding]:
    """Return every finding that an order's doses in a schedule give rise to."""
    checks = (_amount, _spacing, _before_plan, _clock_changes, _ends, _bags, _dates, _late_doses)
    return [finding for check in checks for finding in check(schedule, order)]


def when(schedule: Schedule, at: Instant) -> str:
    """Write an instant for a finding: ``2026-11-01 08:00 CST``, on the household's clock."""
    moment = schedule.plan.clock.local(at)
    zone = moment.tzname() or ""
    return f"{moment:%Y-%m-%d %H:%M} {zone if zone.isalpha() else moment.isoformat()[-6:]}"


def timing_key(order: Order) -> KeyPath:
    """Return the place of the key that times an order."""
    return ("order", order.name, next((name for name in TIMINGS if getattr(order, name)), "drug"))


def times(count: int, what: str = "times") -> str:
    """Count: ``once``, ``14 times``, ``1 day``, ``3 doses``."""
    if count == 1:
        return "once" if what == "times" else f"1 {what.removesuffix('s')}"
    return f"{count} {what}"


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
            message=f"No dose of {order.drug} falls between {when(schedule, schedule.start)} and "
            f"{when(schedule, schedule.end)}.",
            expected="at least one dose within the plan",
            mend="Correct the order's dates, or take it out.",
            places=(timing_key(order), ("plan", "start")),
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
            f"{order.drug} at {when(schedule, later.start)} comes {span(elapsed)} after the dose before it instead of "
            f"{span(ordered)}"
        )
        if moved or outside:
            yield Finding(
                code="spacing-travel" if moved else "spacing-clock-change",
                message=f"{numbers}{outside}; {_journey(order, earlier, later) if moved else ''}{DECIDES}.",
                expected="a spacing within the order's bounds",
                mend="Ask before that day; the tool changes no dose by itself.",
                places=(timing_key(order), ("order", order.name, "clock" if moved else _bound(order, elapsed))),
            )
        else:
            yield Finding(
                code="spacing-differs",
                message=f"{numbers}, because the clocks change.",
                expected="the ordered clock times; the elapsed spacing stays within the order's bounds",
                places=(timing_key(order),),
            )
    if broken:
        earlier, later, elapsed = broken[0]
        yield Finding(
            code="spacing-ordered",
            message=f"{order.drug} at {when(schedule, later.start)} comes {span(elapsed)} after the dose before it"
            f"{_outside(order, elapsed)}; this happens {times(len(broken))}.",
            expected="times that keep the order's own spacing",
            mend="Ask the prescriber which of the two holds, and correct the other.",
            places=(timing_key(order), ("order", order.name, _bound(order, elapsed))),
        )


def _ordered_spacing(order: Order, earlier: Dose, later: Dose, elapsed: int) -> int:
    """Return the minutes from a dose to the next one as the order's own clock would have them."""
    if order.clock_times is None:
        return elapsed
    return int((_next_wall(order, wall_of(earlier)) - wall_of(earlier)).total_seconds()) // 60


def wall_of(dose: Dose) -> datetime:
    """Return the clock time that a dose was ordered for; only doses by clock times have one."""
    return datetime.fromisoformat(dose.key.partition("[")[0])


def _next_wall(order: Order, wall: datetime) -> datetime:
    """Return the order's next clock time after ``wall`` on the same clock."""
    origin = order.first_dose.wall.date() if order.first_dose else wall.date()
    day = wall.date()
    while True:
        if on_day(order, day, origin):
            for at in sorted(set(order.clock_times or ())):
                if datetime.combine(day, at) > wall:
                    return datetime.combine(day, at)
        day += timedelta(days=1)


def _journey(order: Order, earlier: Dose, later: Dose) -> str:
    """Say which dose a move to the local clock leaves out or brings twice, if any."""
    expected = _next_wall(order, wall_of(earlier))
    if wall_of(later) > expected:
        return f"the dose of {expected:%Y-%m-%d %H:%M} falls away, because the clock jumps over it; "
    if wall_of(later) <= wall_of(earlier):
        return f"the dose of {wall_of(later):%Y-%m-%d %H:%M} falls twice, once on each clock; "
    return ""


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
    if last is None or not planned or order.first_dose_number > 1:  # the doses before these are a revision's
        return
    first = planned[0]
    elapsed = first.start - last.instant
    if elapsed <= 0 or _outside(order, elapsed):
        yield Finding(
            code="spacing-before-plan",
            message=f"The first planned dose of {order.drug}, {when(schedule, first.start)}, "
            + (
                f"comes {span(elapsed)} after the last one before the plan ({when(schedule, last.instant)})"
                if elapsed > 0
                else f"is not after the last one before the plan ({when(schedule, last.instant)})"
            )
            + f"{_outside(order, elapsed) if elapsed > 0 else ''}; {DECIDES}.",
            expected="a first dose within the order's spacing bounds",
            mend="Ask before the first dose; correct last_dose_before_plan if it is wrong.",
            places=(("order", order.name, "last_dose_before_plan"), timing_key(order)),
        )


def _clock_changes(schedule: Schedule, order: Order) -> Iterator[Finding]:
    """R3: each dose whose clock time the clocks skip or repeat is a note."""
    plan = schedule.plan
    for touch in schedule.touches if order.bag_times else ():
        if touch.bags and plan.orders[touch.bags[0].order] is order:
            yield from _moved_bag(schedule, order, touch)
    for dose in schedule.doses[order.name] if order.clock_times else ():
        zone = plan.clock.at(dose.start) if order.clock is OrderClock.LOCAL else plan.course.zone
        wall = wall_of(dose)
        instant, case = instant_of(wall, zone)
        if case is not ClockCase.PLAIN:
            yield clock_case_finding(plan, Moment(instant, wall, case), ("order", order.name, "clock_times"))


def _moved_bag(schedule: Schedule, order: Order, touch: Touch) -> Iterator[Finding]:
    """R3 for a bag change: a clock time of its own day that the clocks skip or repeat."""
    zone = schedule.plan.clock.at(touch.at) if order.clock is OrderClock.LOCAL else schedule.plan.course.zone
    today = local(touch.at, zone).date()
    for day, at in ((day, at) for day in (today - timedelta(days=1), today) for at in order.bag_times or ()):
        wall = datetime.combine(day, at)
        instant, case = instant_of(wall, zone)
        if instant == touch.at and case is not ClockCase.PLAIN:
            yield clock_case_finding(schedule.plan, Moment(instant, wall, case), ("order", order.name, "bag_times"))


def _ends(schedule: Schedule, order: Order) -> Iterator[Finding]:
    doses = schedule.doses[order.name]
    plan = schedule.plan
    runs = 0 if order.continuous else duration(order) or 0
    short = [dose for dose in doses if dose.end is not None and dose.end - dose.start < runs]
    if short:
        end = short[-1].end
        assert end is not None  # as selected
        yield Finding(
            code="cut-short",
            message=f"{order.drug}, started {when(schedule, short[-1].start)}, runs {span(runs)} and would finish "
            f"{when(schedule, Instant(short[-1].start + runs))}; with the removal at {when(schedule, end)} it ends then.",
            expected="infusions that finish before the line or the pump is removed",
            mend="Ask the prescriber or nurse: an earlier last dose, or a later removal.",
            places=(timing_key(order), ("order", order.name, "stops") if order.stops else ("plan", "line_removal")),
        )
    late = [dose for dose in doses if dose.end is None or dose.end > schedule.end]
    if late and not schedule.rolling:
        ends = when(schedule, schedule.end)
        finishes = when(schedule, Instant(late[-1].start + runs))
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
            message=f"{order.drug}, started {when(schedule, late[-1].start)}, {what}.",
            expected="infusions that finish within the plan",
            mend="Make sure who finishes it; or correct the plan's end or the order's.",
            places=(timing_key(order), ("plan", "end" if plan.course.end else "line_removal")),
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


def _bags(schedule: Schedule, order: Order) -> Iterator[Finding]:
    """Find bags that are empty before they are changed, or hang too long, by the instants of the changes."""
    place = ("order", order.name)
    stated = next((key for key in ("bag_every", "bag_times") if getattr(order, key) is not None), None)
    hangs = _longest_hang(schedule, order)
    if hangs is None:
        return
    begin, end = hangs
    where = (*place, stated or ("continuous" if order.continuous else "duration"))
    lasts = rate_range(order)
    if order.continuous and lasts is not None and order.volume and order.rate and lasts[1] < end - begin:
        yield Finding(
            code="bag-runs-dry",
            message=f"Unusual: confirm. A bag of {order.volume.text} of {order.drug} at {order.rate.text} is empty after "
            f"{span(by_rate(order) or 0)}; the one of {when(schedule, begin)} is to last {span(end - begin)}, until "
            f"{when(schedule, end)}.",
            expected="a bag that lasts until it is changed (arithmetic: volume / rate)",
            mend="Confirm with the pharmacist or prescriber; correct the plan only if they say so.",
            places=(where, (*place, "volume"), (*place, "rate")),
        )
    if order.hang_time is not None and end - begin > order.hang_time:
        yield Finding(
            code="hang-time",
            message=f"Unusual: confirm. The bag of {order.drug} of {when(schedule, begin)} hangs {span(end - begin)}, until "
            f"{when(schedule, end)}; the plan allows {span(order.hang_time)}.",
            expected="a bag changed within its hang time (the plan's own value)",
            mend="Confirm with the pharmacist or prescriber; correct the plan only if they say so.",
            places=((*place, "hang_time"), where),
        )


def _longest_hang(schedule: Schedule, order: Order) -> tuple[Instant, Instant] | None:
    """Return from when to when the longest-hanging bag of an order hangs; None where that does not matter."""
    longest: tuple[Instant, Instant] | None = None
    if order.given_as is GivenAs.PUSH or not (order.continuous or order.hang_time):
        return None
    changes: dict[Dose, list[Instant]] = defaultdict(list)
    for touch in schedule.touches:
        for dose in touch.bags:
            changes[dose].append(touch.at)
    for dose in schedule.connected[order.name]:
        edges = [dose.start, *changes[dose], schedule.end if dose.end is None else dose.end]
        for begin, end in pairwise(edges):
            if longest is None or end - begin > longest[1] - longest[0]:
                longest = begin, end
    return longest


def _dates(schedule: Schedule, order: Order) -> Iterator[Finding]:
    doses = schedule.doses[order.name]
    clock = schedule.plan.clock
    if order.bags_expire_on is not None:
        over = [
            dose
            for dose in doses
            if clock.local(Instant((schedule.end if dose.end is None else dose.end) - 1)).date() > order.bags_expire_on
        ]
        if over:
            yield Finding(
                code="bag-expired",
                message=f"Unusual: confirm. {times(len(over), 'doses')} of {order.drug}, first "
                f"{when(schedule, over[0].start)}, would run after its bags expire on {order.bags_expire_on}.",
                expected="infusions that end on or before the expiry date (a home-infusion pharmacy's advice to "
                "patients)",
                mend="Make sure that newer bags arrive before; then correct the date.",
                places=(("order", order.name, "bags_expire_on"), timing_key(order)),
            )
    if order.review_on is not None:
        after = [
            dose
            for dose in doses
            if clock.local(dose.start).date() > order.review_on
            or (
                order.continuous
                and clock.local(schedule.end if dose.end is None else dose.end).date() > order.review_on
            )
        ]
        if after:
            yield Finding(
                code="review-passed",
                message=f"Unusual: confirm. {order.drug} goes on past its review on {order.review_on}: "
                f"{times(len(after), 'doses')}, first {when(schedule, after[0].start)}.",
                expected="an order that is looked at again before it goes on (common practice, no source)",
                mend="Ask the prescriber; after the review correct the date in a new revision.",
                places=(("order", order.name, "review_on"), timing_key(order)),
            )


def _late_doses(schedule: Schedule, order: Order) -> Iterator[Finding]:
    if order.after_late_dose is AfterLateDose.SHIFT:
        yield Finding(
            code="shift-doses",
            message=f"After a late dose of {order.drug} the following doses shift with it.",
            expected="an order that says so",
            places=(("order", order.name, "after_late_dose"),),
        )
