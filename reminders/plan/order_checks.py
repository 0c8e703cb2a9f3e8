"""What an order says of when its doses are due, and of what is around it in the plan. Pure."""

from collections.abc import Iterator

from reminders.findings import Finding
from reminders.plan.infusion_checks import check_infusion
from reminders.plan.model import Plan
from reminders.plan.order import TIMINGS, FlushThrough, GivenAs, Order
from reminders.times import instant_of
from reminders.units import span


def check_order(plan: Plan, order: Order) -> list[Finding]:
    """Return every finding about one order's keys."""
    checks = (_timing, _end, _needed, _neighbours)
    found = [finding for check in checks for finding in check(plan, order)]
    return found + check_infusion(plan, order)


def _timing(plan: Plan, order: Order) -> Iterator[Finding]:
    place = ("order", order.name)
    stated = [name for name in TIMINGS if getattr(order, name)]
    if len(stated) != 1:
        yield Finding(
            code="timing",
            message=f"[order.{order.name}] is timed by {' and '.join(stated)}."
            if stated
            else f"[order.{order.name}] does not say when its doses are due.",
            expected="exactly one of " + ", ".join(TIMINGS),
            mend="Keep the one that is ordered."
            if stated
            else 'For fixed times of day add  clock_times = ["..."] ; for elapsed hours  every = "..." .',
            places=tuple((*place, name) for name in stated) or (place,),
        )
        return
    timing = stated[0]
    for extra in ("weekdays", "every_days"):
        if getattr(order, extra) is not None and timing != "clock_times":
            yield Finding(
                code="timing",
                message=f"[order.{order.name}] states {extra} without clock_times.",
                expected=f"clock_times beside {extra}",
                mend=f"Add clock_times, or take {extra} out.",
                places=((*place, extra), (*place, timing)),
            )
    if order.weekdays is not None and order.every_days is not None:
        yield Finding(
            code="timing",
            message=f"[order.{order.name}] states both weekdays and every_days.",
            expected="one of them",
            mend="Keep the one that is ordered.",
            places=((*place, "weekdays"), (*place, "every_days")),
        )
    for listed in ("clock_times", "moments", "weekdays", "bag_times"):
        entries = getattr(order, listed) or ()
        if len(set(entries)) < len(entries):
            yield Finding(
                code="timing",
                message=f"{listed} of [order.{order.name}] names one entry twice.",
                expected="each entry once",
                mend="One of them is probably meant for another time: ask; then correct it.",
                places=((*place, listed),),
            )
    if order.first_dose_number > 1 and timing in ("continuous", "follows", "as_needed"):
        yield Finding(
            code="timing",
            message=f"[order.{order.name}] states first_dose_number, and with {timing} its doses are not counted.",
            expected="first_dose_number beside clock_times, every or moments",
            mend="Take first_dose_number out.",
            places=((*place, "first_dose_number"), (*place, timing)),
        )
    first = order.first_dose
    if timing in ("moments", "follows", "as_needed"):
        return
    if first is None:
        yield Finding(
            code="timing",
            message=f"[order.{order.name}] does not state its first_dose.",
            expected="the moment of the first dose",
            mend='Add a line  first_dose = "..." .',
            places=((*place, "first_dose"),),
        )
    elif order.clock_times and instant_of(first.wall, plan.course.zone)[0] != first.instant:
        yield Finding(
            code="timing",
            message=f"The first dose of {order.drug}, {first.wall:%Y-%m-%d %H:%M}, is stated as the second of two equal "
            "clock times, but its clock times mean the first.",
            expected="a first dose at a clock time of the order",
            mend="Ask which of the two is meant; a first dose at the second is an order of its own with moments.",
            places=((*place, "first_dose"), (*place, "clock_times")),
        )
    elif order.clock_times and first.wall.time() not in order.clock_times:
        times = ", ".join(f"{at:%H:%M}" for at in order.clock_times)
        yield Finding(
            code="timing",
            message=f"The first dose of {order.drug} is {first.wall:%Y-%m-%d %H:%M}, but its clock times are {times}.",
            expected="a first dose at one of the clock times",
            mend="Correct one of the two; a first dose at another time is an order of its own with moments.",
            places=((*place, "first_dose"), (*place, "clock_times")),
        )
    elif order.weekdays is not None and first.wall.weekday() not in order.weekdays:
        yield Finding(
            code="timing",
            message=f"The first dose of {order.drug} is on a {first.wall:%A}, which is none of its weekdays.",
            expected="a first dose on one of the weekdays",
            mend="Correct one of the two.",
            places=((*place, "first_dose"), (*place, "weekdays")),
        )


def _end(plan: Plan, order: Order) -> Iterator[Finding]:
    place = ("order", order.name)
    if len([name for name in TIMINGS if getattr(order, name)]) != 1:
        return  # which ends fit depends on the timing, and that has been told
    stated = [name for name in ("last_day", "doses", "stops", "until_removal") if getattr(order, name)]
    wanted = ""
    if order.continuous:
        allowed, wanted = {"stops", "until_removal"}, "stops or until_removal"
    elif order.as_needed:
        allowed, wanted = {"last_day", "until_removal"}, "last_day or until_removal"
    elif order.clock_times or order.every:
        allowed, wanted = {"last_day", "doses", "until_removal"}, "last_day, doses or until_removal"
        if order.given_as is GivenAs.PUMP:
            allowed.add("stops")
    else:
        allowed = set()
    essential = [name for name in stated if name in allowed and not (name == "stops" and not order.continuous)]
    if wanted and (not essential or (len(essential) > 1 and set(essential) != {"last_day", "doses"})):
        yield Finding(
            code="order-end",
            message=f"[order.{order.name}] states {' and '.join(essential)}."
            if essential
            else f"[order.{order.name}] does not say when it ends.",
            expected=wanted,
            mend="Keep the one that is ordered." if essential else "Add the one that is ordered.",
            places=tuple((*place, name) for name in essential) or (place,),
        )
    for name in stated:
        if name not in allowed:
            yield Finding(
                code="order-end",
                message=f"[order.{order.name}] cannot end by {name} with the timing that it has.",
                expected=wanted or "no further end: the list, or the order that it follows, ends it",
                mend=f"Take {name} out.",
                places=((*place, name),),
            )
    if order.doses is not None and order.doses < order.first_dose_number:
        yield Finding(
            code="order-end",
            message=f"The first dose of {order.drug} is counted as dose {order.first_dose_number}, and its number of doses is "
            f"{order.doses}.",
            expected="a number of doses that counts the whole order, with the doses before first_dose_number",
            mend="Ask how many doses are ordered in all, and how many of them were given; correct whichever is wrong.",
            places=((*place, "doses"), (*place, "first_dose_number")),
        )
    if order.first_dose and order.last_day and order.last_day < order.first_dose.wall.date():
        yield Finding(
            code="dates-reversed",
            message=f"The last day of {order.drug} ({order.last_day}) is before its first dose "
            f"({order.first_dose.wall:%Y-%m-%d}).",
            expected="last_day on or after the day of the first dose",
            mend="Correct whichever is wrong.",
            places=((*place, "last_day"), (*place, "first_dose")),
        )
    if order.first_dose and order.stops and order.stops.instant <= order.first_dose.instant:
        yield Finding(
            code="dates-reversed",
            message=f"{order.drug} stops before it starts.",
            expected="stops after first_dose",
            mend="Correct whichever is wrong.",
            places=((*place, "stops"), (*place, "first_dose")),
        )


def _needed(plan: Plan, order: Order) -> Iterator[Finding]:
    place = ("order", order.name)
    wanted: dict[str, str] = {}
    if order.as_needed:
        wanted = {"least_spacing": "the least time between two doses", "most_in_24h": "the most doses in any 24 hours"}
    else:
        wanted["on_time_within"] = (
            "how far from its time a dose counts as on time (published hospital windows range from 30 min to 2 h)"
        )
        wanted["cut_off"] = "until when a late dose may simply be given; published rules contradict one another"
        if (order.clock_times or order.every) and order.doses != 1:
            wanted["least_spacing"] = "the least time from one start to the next"
    for name, meaning in wanted.items():
        if getattr(order, name) is None:
            yield Finding(
                code="missing",
                message=f"[order.{order.name}] does not state {name}: {meaning}.",
                expected="a value from the orders or the provider's protocol",
                mend=f"Add a line  {name} = ...  as ordered.",
                places=((*place, name),),
            )
    if order.on_time_within is not None and order.cut_off is not None and order.cut_off < order.on_time_within:
        yield Finding(
            code="cut-off",
            message=f"A dose of {order.drug} counts as on time for {span(order.on_time_within)}, and after "
            f"{span(order.cut_off)} someone is to be asked.",
            expected="cut_off at least as long as on_time_within",
            mend="Correct whichever is wrong.",
            places=((*place, "cut_off"), (*place, "on_time_within")),
        )
    last = order.last_dose_before_plan
    if last is not None and last.instant >= plan.course.start.instant:
        yield Finding(
            code="dates-reversed",
            message=f"The last dose of {order.drug} before the plan is {last.wall:%Y-%m-%d %H:%M}; the plan starts "
            f"{plan.course.start.wall:%Y-%m-%d %H:%M}.",
            expected="last_dose_before_plan before the plan starts",
            mend="Correct whichever is wrong.",
            places=((*place, "last_dose_before_plan"), ("plan", "start")),
        )
    if order.least_spacing and order.most_spacing and order.least_spacing > order.most_spacing:
        yield Finding(
            code="spacing-ordered",
            message=f"The least spacing ({span(order.least_spacing)}) is longer than the most "
            f"({span(order.most_spacing)}).",
            expected="least_spacing at most most_spacing",
            mend="Correct whichever is wrong.",
            places=((*place, "least_spacing"), (*place, "most_spacing")),
        )


def _neighbours(plan: Plan, order: Order) -> Iterator[Finding]:
    place = ("order", order.name)
    lumen = plan.lumens.get(order.lumen)
    if lumen is not None and not lumen.in_use:
        yield Finding(
            code="lumen-out-of-use",
            message=f"{order.drug} is ordered through the {lumen.label} lumen, which is out of use.",
            expected="a lumen that is in use",
            mend="Ask the prescriber or nurse which lumen it is to run through.",
            places=((*place, "lumen"), ("lumen", order.lumen, "in_use")),
        )
    for partner in (plan.orders[name] for name in order.runs_with if name in plan.orders):
        if partner is order or partner.lumen != order.lumen:
            yield Finding(
                code="runs-with",
                message=f"[order.{order.name}] is to run with "
                + ("itself." if partner is order else f"{partner.drug}, which runs through another lumen."),
                expected="another order through the same lumen",
                mend="Correct runs_with, or one of the lumens.",
                places=((*place, "runs_with"), ("order", partner.name, "lumen")),
            )
            continue
        for kept, other in ((order, partner), (partner, order)):
            if kept.flush_through is not FlushThrough.ALLOWED:
                yield Finding(
                    code="flush-through",
                    message=f"{kept.drug} must not be flushed through, and the fluids before and after {other.drug}, "
                    "which is to run with it, would do so.",
                    expected="drugs that may be flushed through, where one runs with another",
                    mend="Ask the pharmacist or prescriber: another lumen or other times.",
                    places=(("order", kept.name, "flush_through"), (*place, "runs_with")),
                )
    leader = plan.orders.get(order.follows or "")
    if leader is not None and (leader.as_needed or leader.continuous or leader.given_as is GivenAs.PUMP):
        yield Finding(
            code="timing",
            message=f"{order.drug} follows {leader.drug}, whose doses have no planned finish to follow.",
            expected="an order with planned doses that finish",
            mend="Time the order in another way.",
            places=((*place, "follows"), ("order", leader.name)),
        )
