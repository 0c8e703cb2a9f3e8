"""What the keys of a plan contradict in one another. Pure: a plan in, findings out.

Each check is a small function; :func:`check_plan` runs them all. What only the schedule can show (overlaps,
spacing, totals) is looked for in :mod:`reminders.schedule.review`.
"""

from collections.abc import Iterator
from dataclasses import fields

from reminders.findings import Finding, KeyPath
from reminders.plan.durations import by_rate, by_steps, duration, rate_range, stepped_volume
from reminders.plan.keys import Pushed
from reminders.plan.model import TIERS, FluidKind, FlushThrough, GivenAs, Order, Plan
from reminders.plan.pharmacist import pharmacist_findings
from reminders.times import DAY, ClockCase, Moment
from reminders.units import number, span

LONGEST_PLAN = 366 * DAY
PROTOCOL_LISTS = ("before", "after", "after_nutrition", "idle")
ORDER_LISTS = ("before", "after", "bag_flush")
TIMINGS = ("clock_times", "every", "moments", "continuous", "follows", "as_needed")


def check_plan(plan: Plan, unread: set[KeyPath]) -> list[Finding]:
    """Return every finding about a plan's keys; ``unread`` are tables that exist but could not be read."""
    checks = (_course, _zone_changes, _clock_cases, _fluids, _lumens, _heparin_ruled_out, _contacts)
    found = [finding for check in checks for finding in check(plan)]
    found += _names(plan, unread)
    for order in plan.orders.values():
        for check_order in (_timing, _end, _needed, _durations, _given_as, _bags, _flush_through, _neighbours):
            found += check_order(plan, order)
    found += _circles(plan)
    return found + pharmacist_findings(plan)


def _course(plan: Plan) -> Iterator[Finding]:
    course = plan.course
    ends = [name for name in ("end", "line_removal", "open_ended") if getattr(course, name) is not None]
    if len(ends) != 1:
        yield Finding(
            code="plan-end",
            message=f"[plan] states {' and '.join(ends)}." if ends else "[plan] does not state when it ends.",
            expected="exactly one of end, line_removal and open_ended",
            mend="Keep the one that holds for this plan."
            if ends
            else 'Add  end = "..." , line_removal = "..."  or  open_ended = "42 days".',
            places=tuple(("plan", name) for name in ends) or (("plan",),),
        )
    last = plan.last_moment
    if last is None:
        return
    name = "end" if course.end else "line_removal"
    if last.instant <= course.start.instant:
        yield Finding(
            code="dates-reversed",
            message=f"The plan starts {course.start.wall:%Y-%m-%d %H:%M} and its {name} is {last.wall:%Y-%m-%d %H:%M}.",
            expected=f"{name} after start",
            mend="Correct whichever of the two is wrong.",
            places=(("plan", name), ("plan", "start")),
        )
    elif last.instant - course.start.instant > LONGEST_PLAN:
        yield Finding(
            code="too-long",
            message=f"The plan runs for {(last.instant - course.start.instant) // DAY} days.",
            expected="at most 366 days in one plan",
            mend='For longer therapy write  open_ended = "..."  instead; the schedule then rolls on with the date.',
            places=(("plan", name), ("plan", "start")),
        )
    if course.takes_effect.instant >= last.instant:
        yield Finding(
            code="dates-reversed",
            message="This revision takes effect when the plan is already over.",
            expected=f"takes_effect before {name}",
            mend="Correct whichever of the two is wrong.",
            places=(("plan", "takes_effect"), ("plan", name)),
        )


def _zone_changes(plan: Plan) -> Iterator[Finding]:
    last = plan.last_moment
    seen: dict[int, int] = {}
    for count, change in enumerate(plan.zone_changes, start=1):
        at = change.at.instant
        place = ("zone_change", str(count), "at")
        if at in seen:
            yield Finding(
                code="zone-changes",
                message=f"Two zone changes take place at {change.at.wall:%Y-%m-%d %H:%M}.",
                expected="one zone at each moment",
                mend="Take one of them out.",
                places=(place, ("zone_change", str(seen[at]), "at")),
            )
        elif at <= plan.course.start.instant or (last and at >= last.instant):
            yield Finding(
                code="zone-changes",
                message=f"The zone change at {change.at.wall:%Y-%m-%d %H:%M} lies outside the plan.",
                expected="a moment after the plan's start and before its end",
                mend="Correct the moment, or state the right home zone under [plan].",
                places=(place, ("plan", "start")),
            )
        seen[at] = count


def _clock_cases(plan: Plan) -> Iterator[Finding]:
    """R3: a stated moment that the clocks skip or repeat is a note."""
    tables: list[tuple[KeyPath, object]] = [(("plan",), plan.course)]
    tables += [(("lumen", name), lumen) for name, lumen in plan.lumens.items()]
    tables += [(("order", name), order) for name, order in plan.orders.items()]
    tables += [(("zone_change", str(n)), change) for n, change in enumerate(plan.zone_changes, start=1)]
    for place, table in tables:
        for item in fields(table):  # type: ignore[arg-type]  # each is a dataclass of the model
            value = getattr(table, item.name)
            for moment in value if isinstance(value, tuple) else (value,):
                if isinstance(moment, Moment) and moment.case is not ClockCase.PLAIN:
                    yield clock_case_finding(plan, moment, (*place, item.name))


def clock_case_finding(plan: Plan, moment: Moment, place: KeyPath) -> Finding:
    """Return the note about a wall-clock time that the clocks skip or repeat, with how it is read (R3)."""
    read = plan.clock.local(moment.instant)
    stated = f"{moment.wall:%H:%M on %Y-%m-%d}"
    if moment.case is ClockCase.SKIPPED:
        return Finding(
            code="clock-skipped",
            message=f"{stated} does not exist: the clocks go forward over it. It is read as {read:%H:%M %Z}.",
            expected="a time that exists on that day",
            mend="If another time is meant, write that time.",
            places=(place,),
        )
    return Finding(
        code="clock-repeated",
        message=f"{stated} occurs twice: the clocks go back over it. It is read as the first, {read:%H:%M %Z}.",
        expected="a time that occurs once on that day",
        mend="If the second is meant, write the moment with its offset from UTC.",
        places=(place,),
    )


def _names(plan: Plan, unread: set[KeyPath]) -> Iterator[Finding]:
    """Find names of fluids, steps, lumens and orders that the plan does not define."""

    def known(name: str, *tables: str) -> bool:
        defined = {"fluid": plan.fluids, "step": plan.extra_steps, "lumen": plan.lumens, "order": plan.orders}
        return any(name in defined[table] or (table, name) in unread for table in tables)

    def finding(name: str, place: KeyPath, what: str, options: list[str]) -> Finding:
        return Finding(
            code="unknown-name",
            message=f'{".".join(place)}: the plan defines no {what} named "{name}".',
            expected="one of: " + ", ".join(options) if options else f"a {what} that the plan defines",
            mend=f"Correct the name, or add the {what}.",
            places=(place,),
        )

    uses: list[tuple[str | None, KeyPath]] = [
        (plan.line.lock, ("line", "lock")),
        (plan.protocol.flush, ("protocol", "flush")),
    ]
    uses += [(lumen.lock, ("lumen", name, "lock")) for name, lumen in plan.lumens.items()]
    for used, place in uses:
        if used is not None and not known(used, "fluid"):
            yield finding(used, place, "fluid", list(plan.fluids))
    lists: list[tuple[KeyPath, tuple[Pushed, ...] | None]] = [
        (("protocol", name), getattr(plan.protocol, name)) for name in PROTOCOL_LISTS
    ]
    for name, order in plan.orders.items():
        lists += [(("order", name, key), getattr(order, key)) for key in ORDER_LISTS]
        if not known(order.lumen, "lumen"):
            yield finding(order.lumen, ("order", name, "lumen"), "lumen", list(plan.lumens))
        for other in ("follows", "runs_with"):
            used = getattr(order, other)
            if used is not None and not known(used, "order"):
                yield finding(used, ("order", name, other), "order", [key for key in plan.orders if key != name])
    for place, pushed in lists:
        for count, entry in enumerate(pushed or (), start=1):
            if not known(entry.name, "fluid", "step"):
                options = [*plan.fluids, *plan.extra_steps]
                yield finding(entry.name, (*place, str(count)), "fluid or step", options)


def _fluids(plan: Plan) -> Iterator[Finding]:
    for name, fluid in plan.fluids.items():
        if fluid.kind is FluidKind.HEPARIN and fluid.strength is None:
            yield Finding(
                code="missing",
                message=f"[fluid.{name}] is heparin and does not state its strength.",
                expected="a strength such as 10 units/mL. For orientation, not to copy: published lock strengths are "
                "10 and 100 units/mL",
                mend='Add a line  strength = "..."  with the strength that is ordered.',
                places=(("fluid", name, "strength"),),
            )
        if fluid.kind is FluidKind.SALINE and fluid.sodium is None:
            yield Finding(
                code="missing",
                message=f"[fluid.{name}] is saline and does not state its sodium.",
                expected="sodium such as 0.154 mmol/mL, which is what 0.9 % sodium chloride (9 mg/mL) holds",
                mend='Add a line  sodium = "..."  as the label says.',
                places=(("fluid", name, "sodium"),),
            )


def _lumens(plan: Plan) -> Iterator[Finding]:
    for name, lumen in plan.lumens.items():
        place = ("lumen", name)
        if lumen.last_flushed.instant > plan.course.start.instant:
            yield Finding(
                code="last-flushed-later",
                message=f"The {lumen.label} lumen was last flushed {lumen.last_flushed.wall:%Y-%m-%d %H:%M}, "
                f"after the plan starts ({plan.course.start.wall:%Y-%m-%d %H:%M}).",
                expected="the last flush before the plan starts",
                mend="Correct whichever of the two is wrong.",
                places=((*place, "last_flushed"), ("plan", "start")),
            )
        if lumen.flush_through is FlushThrough.WITHDRAW and lumen.withdraw_volume is None:
            yield _missing_withdraw_volume(place, "flush_through")
        if lumen.flush_through is FlushThrough.NURSE:
            yield Finding(
                code="nurse-only-lumen",
                message=f"No routine flush is planned into the {lumen.label} lumen: the plan says nurse only.",
                expected="a nurse who keeps this lumen within its limit",
                mend="Make sure that it is in the nurse's own plan.",
                places=((*place, "flush_through"),),
            )


def _missing_withdraw_volume(place: KeyPath, key: str) -> Finding:
    return Finding(
        code="missing",
        message=f"[{'.'.join(place)}] says withdraw first and does not state how much.",
        expected="withdraw_volume, such as 5 mL",
        mend='Add a line  withdraw_volume = "..."  with the volume from the provider\'s protocol.',
        places=((*place, "withdraw_volume"), (*place, key)),
    )


def _heparin_ruled_out(plan: Plan) -> Iterator[Finding]:
    if not plan.line.heparin_ruled_out:
        return
    heparins = {name for name, fluid in plan.fluids.items() if fluid.kind is FluidKind.HEPARIN}
    uses: list[KeyPath] = []
    if plan.line.lock in heparins:
        uses.append(("line", "lock"))
    uses += [("lumen", name, "lock") for name, lumen in plan.lumens.items() if lumen.lock in heparins]
    lists: list[tuple[KeyPath, tuple[Pushed, ...] | None]] = [
        (("protocol", key), getattr(plan.protocol, key)) for key in PROTOCOL_LISTS
    ]
    lists += [(("order", name, key), getattr(order, key)) for name, order in plan.orders.items() for key in ORDER_LISTS]
    uses += [place for place, pushed in lists for entry in pushed or () if entry.name in heparins]
    if plan.protocol.flush in heparins:
        uses.append(("protocol", "flush"))
    for place in uses:
        yield Finding(
            code="heparin-ruled-out",
            message=f"{'.'.join(place)} uses heparin, and the line has heparin ruled out.",
            expected="a lock and flushes without heparin",
            mend="Ask the prescriber which lock is ordered; then correct one of the two.",
            places=(place, ("line", "heparin_ruled_out")),
        )


def _contacts(plan: Plan) -> Iterator[Finding]:
    for tier in TIERS[:2]:
        if tier not in plan.contacts:
            yield Finding(
                code="missing",
                message=f"The plan does not say whom to call: [call.{tier}] is missing or broken.",
                expected=f"[call.{tier}] with who and phone",
                mend=f"Add [call.{tier}].",
                places=(("call", tier),),
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
    if duration(order) is None:
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
    single = order.given_as is GivenAs.INFUSION and not order.continuous and takes is not None
    if single and takes is not None and (order.given_as is GivenAs.PUSH or (order.bag_every or 0) >= takes):
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
        yield _missing_withdraw_volume(place, "flush_through")
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
    partner = plan.orders.get(order.runs_with or "")
    if partner is not None and (partner.name == order.name or partner.lumen != order.lumen):
        yield Finding(
            code="runs-with",
            message=f"[order.{order.name}] is to run with "
            + ("itself." if partner is order else f"{partner.drug}, which runs through another lumen."),
            expected="another order through the same lumen",
            mend="Correct runs_with, or one of the lumens.",
            places=((*place, "runs_with"), ("order", partner.name, "lumen")),
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


def _circles(plan: Plan) -> Iterator[Finding]:
    told: set[str] = set()
    for name in plan.orders:
        chain = [name]
        while (leader := plan.orders[chain[-1]].follows) in plan.orders and leader not in chain:
            chain.append(str(leader))
        if leader in chain and leader not in told:
            circle = chain[chain.index(str(leader)) :]
            told.update(circle)
            yield Finding(
                code="follows-itself",
                message="These orders follow one another in a circle: " + ", ".join(circle) + ".",
                expected="a first order with a timing of its own",
                mend="Give one of them a timing of its own.",
                places=tuple(("order", member, "follows") for member in circle),
            )
