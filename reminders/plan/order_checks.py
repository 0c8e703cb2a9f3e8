"""What the keys of one order contradict in one another, or in the plan around it. Pure."""

from collections.abc import Iterator
from fractions import Fraction

from reminders.findings import Finding, KeyPath
from reminders.plan.durations import by_rate, by_steps, duration, rate_range, stepped_volume
from reminders.plan.model import Plan
from reminders.plan.order import TIMINGS, FlushThrough, GivenAs, Order
from reminders.times import DAY
from reminders.units import number, span

LONGEST_INFUSION = 366 * DAY


def check_order(plan: Plan, order: Order) -> list[Finding]:
    """Return every finding about one order's keys."""
    checks = (_timing, _end, _needed, _durations, _given_as, _bags, _flush_through, _neighbours)
    return [finding for check in checks for finding in check(plan, order)]


def missing_withdraw_volume(place: KeyPath, key: str) -> Finding:
    """Return the finding about a volume to draw out that is not stated."""
    return Finding(
        code="missing",
        message=f"[{'.'.join(place)}] says withdraw first and does not state how much.",
        expected="withdraw_volume, such as 5 mL",
        mend='Add a line  withdraw_volume = "..."  with the volume from the provider\'s protocol.',
        places=((*place, "withdraw_volume"), (*place, key)),
    )


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


def _durations(plan: Plan, order: Order) -> Iterator[Finding]:
    place = ("order", order.name)
    exact, steps, stated = by_rate(order), by_steps(order), order.duration
    if steps is not None and order.rate is not None:
        yield _disagreement(order, "rate and rate_steps both say how fast it runs", "rate", "rate_steps")
        return
    if steps is not None and order.volume is not None:
        rounding = sum(step.rate.rounding * step.minutes / 60 for step in order.rate_steps or ())
        delivered = stepped_volume(order)
        if abs(delivered - order.volume.amount) > rounding:
            yield _disagreement(
                order,
                f"the rate steps deliver {number(delivered)} mL and the volume is {order.volume.text}",
                "rate_steps",
                "volume",
            )
    if steps is not None and stated is not None and steps != stated:
        yield _disagreement(
            order, f"the rate steps take {span(steps)} and the duration is {span(stated)}", "rate_steps", "duration"
        )
    if order.continuous:
        if stated is not None or steps is not None:
            yield _disagreement(
                order,
                "a continuous infusion has no duration of its own; first_dose and its end say how long it runs",
                "continuous",
                "duration" if stated is not None else "rate_steps",
            )
        return
    bounds = rate_range(order)
    if exact is not None and bounds is not None and stated is not None and order.volume and order.rate:
        least, most = bounds
        if not int(least) <= stated <= -int(-most // 1):
            yield _disagreement(
                order,
                f"{order.volume.text} at {order.rate.text} takes {span(exact)} "
                f"({number(order.volume.amount)} / {number(order.rate.amount)} = {number(exact / 60)} h; the rate's "
                f"own rounding allows {number(least / 60)} to {number(most / 60)} h), the duration is {span(stated)}",
                "duration",
                "volume",
                "rate",
            )
    takes = duration(order)
    if takes is not None and takes > LONGEST_INFUSION:
        yield Finding(
            code="out-of-range",
            message=f"A dose of {order.drug} would run for {number(Fraction(takes, DAY), 0)} days.",
            expected=f"a dose that is over after at most {LONGEST_INFUSION // DAY} days",
            mend="Check volume and rate, and their units.",
            places=tuple(
                (*place, name) for name in ("duration", "volume", "rate", "rate_steps") if getattr(order, name)
            ),
        )
    if takes is None:
        yield Finding(
            code="no-duration",
            message=f"Nothing says how long a dose of {order.drug} runs.",
            expected="duration, or volume and rate, or rate_steps",
            mend="Add what the order says.",
            places=(place,),
        )


def _disagreement(order: Order, what: str, *names: str) -> Finding:
    return Finding(
        code="duration-disagrees",
        message=f"[order.{order.name}]: {what}.",
        expected="one statement, or statements that agree",
        mend="Correct whichever is wrong; do not guess: ask.",
        places=tuple(("order", order.name, name) for name in names),
    )


def _given_as(plan: Plan, order: Order) -> Iterator[Finding]:
    place = ("order", order.name)
    takes = duration(order)
    handling = plan.course.handling_time
    if order.given_as is GivenAs.PUSH and takes is not None and takes > handling:
        yield Finding(
            code="given-as",
            message=f"A push of {span(takes)} does not fit into one touch of {span(handling)}.",
            expected="a push no longer than the plan's handling_time",
            mend='Write given_as = "infusion", or correct one.',
            places=((*place, "given_as"), ("plan", "handling_time")),
        )
    if order.given_as is GivenAs.PUMP and order.kept_open is None:
        yield Finding(
            code="missing",
            message=f"[order.{order.name}] is given by a pump and does not state kept_open.",
            expected="kept_open = true or false: whether the pump keeps the lumen open between its doses",
            mend="Add it as the pump is programmed.",
            places=((*place, "kept_open"),),
        )
    if order.continuous and order.given_as is not GivenAs.INFUSION:
        yield Finding(
            code="given-as",
            message=f"{order.drug} is continuous and cannot be given as a {order.given_as.value}.",
            expected='given_as = "infusion"',
            mend="Correct whichever is wrong.",
            places=((*place, "given_as"), (*place, "continuous")),
        )
    if order.given_as is GivenAs.PUMP and not (order.clock_times or order.every) and not order.continuous:
        yield Finding(
            code="given-as",
            message=f"A pump's doses of {order.drug} need clock_times or every.",
            expected="clock_times or every",
            mend="State when the pump gives its doses.",
            places=((*place, "given_as"),),
        )
    if order.kept_open is not None and order.given_as is not GivenAs.PUMP:
        yield Finding(
            code="given-as",
            message=f"[order.{order.name}] states kept_open and is not given by a pump.",
            expected='kept_open beside given_as = "pump" only',
            mend="Take kept_open out.",
            places=((*place, "kept_open"), (*place, "given_as")),
        )


def _bags(plan: Plan, order: Order) -> Iterator[Finding]:
    place = ("order", order.name)
    stated = [name for name in ("bag_every", "bag_times") if getattr(order, name) is not None]
    if len(stated) == 2:
        yield Finding(
            code="bag",
            message=f"[order.{order.name}] states both bag_every and bag_times.",
            expected="one of them",
            mend="Keep the one that is ordered.",
            places=tuple((*place, name) for name in stated),
        )
    if stated and order.bag_flush is None:
        yield Finding(
            code="bag",
            message=f"[order.{order.name}] has bag changes and does not state bag_flush.",
            expected="bag_flush = [...], an empty list for none",
            mend="Add it from the provider's protocol.",
            places=((*place, "bag_flush"), (*place, stated[0])),
        )
    if order.bag_flush is not None and not stated:
        yield Finding(
            code="bag",
            message=f"[order.{order.name}] states bag_flush and no bag changes.",
            expected="bag_every or bag_times beside it",
            mend="Add one of them, or take bag_flush out.",
            places=((*place, "bag_flush"),),
        )
    takes = duration(order)
    if (
        order.given_as is GivenAs.INFUSION
        and not order.continuous
        and takes is not None
        and takes <= (order.bag_every or 0)
    ):
        yield Finding(
            code="bag",
            message=f"A dose of {order.drug} runs {span(takes)}, so its bag is never changed.",
            expected="bag_every shorter than the infusion",
            mend="Take bag_every out, or correct one of the two.",
            places=((*place, "bag_every"),),
        )
    if order.given_as is GivenAs.PUSH and stated:
        yield Finding(
            code="bag",
            message=f"{order.drug} is pushed from a syringe and has no bag to change.",
            expected="no bag_every or bag_times",
            mend=f"Take {stated[0]} out.",
            places=((*place, stated[0]),),
        )


def _flush_through(plan: Plan, order: Order) -> Iterator[Finding]:
    place = ("order", order.name)
    if order.flush_through is FlushThrough.ALLOWED:
        return
    if order.flush_through is FlushThrough.WITHDRAW and order.withdraw_volume is None:
        yield missing_withdraw_volume(place, "flush_through")
    if order.bag_flush:
        yield Finding(
            code="flush-through",
            message=f"{order.drug} must not be flushed through, and its bag changes flush.",
            expected="bag_flush = []",
            mend="Ask the pharmacist or prescriber; then correct one of the two.",
            places=((*place, "flush_through"), (*place, "bag_flush")),
        )
    if order.kept_open is False:
        yield Finding(
            code="flush-through",
            message=f"{order.drug} must not be flushed through, and between the pump's doses its lumen would be idle "
            "and need flushes.",
            expected="kept_open = true, or a drug that may be flushed through",
            mend="Ask the pharmacist or prescriber; then correct one of the two.",
            places=((*place, "flush_through"), (*place, "kept_open")),
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
