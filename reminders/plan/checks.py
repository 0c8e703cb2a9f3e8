"""What the keys of a plan contradict in one another. Pure: a plan in, findings out.

Each check is a small function; :func:`check_plan` runs them all. What only the schedule can show (overlaps,
spacing, totals) is looked for in :mod:`reminders.schedule.review`.
"""

import difflib
from collections.abc import Iterator
from dataclasses import fields

from reminders.findings import Finding, KeyPath
from reminders.plan.care_checks import check_tasks
from reminders.plan.idle_limit import IdleLimit, PerDay
from reminders.plan.infusion_checks import missing_withdraw_volume
from reminders.plan.keys import Pushed
from reminders.plan.model import TIERS, FluidKind, LineKind, Lumen, Plan
from reminders.plan.order import FlushThrough
from reminders.plan.order_checks import check_order
from reminders.plan.people_checks import check_people
from reminders.plan.pharmacist import pharmacist_findings
from reminders.plan.read_back import check_read_back
from reminders.plan.stock_checks import check_stock
from reminders.times import DAY, ClockCase, Moment
from reminders.units import span

LONGEST_PLAN = 366 * DAY
PROTOCOL_LISTS = ("before", "after", "after_nutrition", "idle", "before_draw", "after_draw")
ORDER_LISTS = ("before", "after", "bag_flush")


def check_plan(plan: Plan) -> list[Finding]:
    """Return every finding about a plan's keys."""
    checks = (
        _course,
        _zone_changes,
        _names,
        _clock_cases,
        _fluids,
        _margins,
        _lumens,
        _needle_out,
        _needle_unsaid,
        _heparin_ruled_out,
        _saline_locked,
        _contacts,
    )
    found = [finding for check in checks for finding in check(plan)]
    for order in plan.orders.values():
        found += check_order(plan, order)
    found += _circles(plan)
    found += check_tasks(plan)
    found += check_stock(plan)
    found += check_people(plan)
    found += check_read_back(plan)
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
    if plan.line.placed_on > course.start.wall.date():
        yield Finding(
            code="dates-reversed",
            message=f"The line was placed on {plan.line.placed_on}; the plan starts {course.start.wall:%Y-%m-%d}.",
            expected="a line that is placed before the plan starts",
            mend="Correct whichever of the two is wrong.",
            places=(("line", "placed_on"), ("plan", "start")),
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
    elif course.takes_effect.instant >= last.instant:
        yield Finding(
            code="dates-reversed",
            message="This revision takes effect when the plan is already over.",
            expected=f"takes_effect before {name}",
            mend="Correct whichever of the two is wrong.",
            places=(("plan", "takes_effect"), ("plan", name)),
        )


def _zone_changes(plan: Plan) -> Iterator[Finding]:
    last = plan.last_moment
    before, zone = plan.course.start.instant, plan.course.zone
    where: KeyPath = ("plan", "start")
    for count, change in enumerate(plan.zone_changes, start=1):
        at = change.at.instant
        place: KeyPath = ("zone_change", str(count), "at")
        if at <= before or (last and at >= last.instant):
            outside = count == 1 or (last is not None and at >= last.instant)
            yield Finding(
                code="zone-changes",
                message=f"The zone change at {change.at.wall:%Y-%m-%d %H:%M} "
                + ("lies outside the plan." if outside else "does not come after the one above it."),
                expected="moments after the plan's start and before its end, each after the one above it",
                mend="Correct the moment; the legs of a journey stand in the order in which they are travelled.",
                places=(place, where),
            )
        elif change.zone is zone:
            yield Finding(
                code="zone-changes",
                message=f"At {change.at.wall:%Y-%m-%d %H:%M} the household is to move to {zone.key}, where it is already.",
                expected="another zone than the one in force",
                mend="Correct the zone, or take this change out.",
                places=(("zone_change", str(count), "zone"), ("plan", "zone")),
            )
        before, zone, where = at, change.zone, place


def _clock_cases(plan: Plan) -> Iterator[Finding]:
    """R3: a stated moment that the clocks skip or repeat is a note."""
    tables: list[tuple[KeyPath, object]] = [(("plan",), plan.course)]
    tables += [(("lumen", name), lumen) for name, lumen in plan.lumens.items()]
    tables += [(("order", name), order) for name, order in plan.orders.items()]
    tables += [(("task", name), task) for name, task in plan.tasks.items()]
    tables += [(("stock", name), entry) for name, entry in plan.stock.items()]
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


def _names(plan: Plan) -> Iterator[Finding]:
    """Find names of fluids, steps, lumens, orders and tasks that the plan does not define; each name is told once."""
    fluid, fluid_or_step = "fluid", "fluid or step"
    defined = {
        fluid: list(plan.fluids),
        fluid_or_step: [*plan.fluids, *plan.extra_steps],
        "lumen": list(plan.lumens),
        "order": list(plan.orders),
        "task": list(plan.tasks),
    }
    uses: list[tuple[str | None, str, KeyPath]] = [
        (plan.line.lock, fluid, ("line", "lock")),
        (plan.line.needle_out_lock, fluid, ("line", "needle_out_lock")),
        (plan.protocol.flush, fluid, ("protocol", "flush")),
    ]
    uses += [(lumen.lock, fluid, ("lumen", name, "lock")) for name, lumen in plan.lumens.items()]
    lists: list[tuple[KeyPath, tuple[Pushed, ...] | None]] = [
        (("protocol", name), getattr(plan.protocol, name)) for name in PROTOCOL_LISTS
    ]
    for name, order in plan.orders.items():
        place: KeyPath = ("order", name)
        uses += [(order.lumen, "lumen", (*place, "lumen")), (order.follows, "order", (*place, "follows"))]
        uses += [(other, "order", (*place, "runs_with")) for other in order.runs_with]
        lists += [((*place, key), getattr(order, key)) for key in ORDER_LISTS]
    for name, task in plan.tasks.items():
        uses += [(task.lumen, "lumen", ("task", name, "lumen")), (task.order, "order", ("task", name, "order"))]
        uses += [(other, "task", ("task", name, "with_tasks")) for other in task.with_tasks]
    uses += [
        (entry.name, fluid_or_step, (*place, str(count)))
        for place, pushed in lists
        for count, entry in enumerate(pushed or (), start=1)
    ]
    unknown: dict[tuple[str, str], list[KeyPath]] = {}
    for used, what, place in uses:
        if used is not None and defined[what] and used not in defined[what]:
            unknown.setdefault((used, what.split()[0]), []).append(place)
    for (used, what), places in unknown.items():
        options = defined[fluid_or_step if what == fluid else what]
        close = difflib.get_close_matches(used.lower(), [option.lower() for option in options], n=1)
        meant = next((option for option in options if close and option.lower() == close[0]), None)
        yield Finding(
            code="unknown-name",
            message=f'The plan defines no {what} named "{used}"' + (f'; did you mean "{meant}"?' if meant else "."),
            expected="one of: " + ", ".join(options) if options else f"a {what} that the plan defines",
            mend=f"Correct the name (capital letters count), or add a table [{what}.{used}]"
            + (f" or [step.{used}]." if any(place[-1].isdigit() for place in places) else "."),
            places=tuple(places),
        )


def _fluids(plan: Plan) -> Iterator[Finding]:
    for name, fluid in plan.fluids.items():
        if fluid.kind is FluidKind.HEPARIN and fluid.strength is None:
            yield Finding(
                code="missing",
                message=f"[fluid.{name}] is heparin and does not state its strength.",
                expected="a strength such as 10 units/mL. For orientation, not to copy: published lock strengths are "
                "10 and 100 units/mL",
                mend='Add a line  strength = "..."  with the strength that is ordered.',
                places=(("fluid", name, "strength"), ("fluid", name, "kind")),
            )
        called = any(
            text.casefold().startswith("heparin") and not text.casefold().startswith("heparin-free")
            for text in (name, fluid.label)
        )
        if fluid.kind is not FluidKind.HEPARIN and (called or fluid.strength is not None):
            yield Finding(
                code="wrong-form",
                message=f"[fluid.{name}] has a strength or the name of heparin, and its kind is {fluid.kind.value}.",
                expected='kind = "heparin" for whatever contains heparin, and a strength beside it only',
                mend="Correct the kind, or the label and strength.",
                places=(("fluid", name, "kind"),),
            )
        if fluid.kind is FluidKind.SALINE and fluid.sodium is None:
            yield Finding(
                code="missing",
                message=f"[fluid.{name}] is saline and does not state its sodium.",
                expected="sodium such as 0.154 mmol/mL, which is what 0.9 % sodium chloride (9 mg/mL) holds",
                mend='Add a line  sodium = "..."  as the label says.',
                places=(("fluid", name, "sodium"), ("fluid", name, "kind")),
            )


def _margins(plan: Plan) -> Iterator[Finding]:
    protocol = plan.protocol
    limits: list[tuple[IdleLimit | None, KeyPath]] = [(plan.line.idle_limit, ("line", "idle_limit"))]
    limits.append((plan.line.needle_out_idle_limit, ("line", "needle_out_idle_limit")))
    limits += [(lumen.idle_limit, ("lumen", name, "idle_limit")) for name, lumen in plan.lumens.items()]
    for limit, place in limits:
        if limit is None:
            continue
        reach = (DAY if isinstance(limit, PerDay) else limit) - protocol.planning_margin
        stated = limit.value if isinstance(limit, PerDay) else span(limit)
        if reach <= 0:
            yield Finding(
                code="margin",
                message=f"The planning margin of {span(protocol.planning_margin)} is not shorter than the idle limit "
                f"of {stated}.",
                expected="a margin well below every idle limit",
                mend="Correct whichever of the two is wrong.",
                places=(("protocol", "planning_margin"), place),
            )
        elif 2 * protocol.least_time_to_next_touch > reach:
            yield Finding(
                code="least-time",
                message=f"The least time of {span(protocol.least_time_to_next_touch)} to the next touch is more than half of "
                f"the idle limit of {stated} less the planning margin.",
                expected="a least time of at most half of every idle limit less the margin",
                mend="Correct whichever of them is wrong.",
                places=(("protocol", "least_time_to_next_touch"), place),
            )


MOST_LUMENS = 6
"""Lines have one, two or three lumens (common practice, no source); the search for where flushes go grows with them."""


def _lumens(plan: Plan) -> Iterator[Finding]:
    if len(plan.lumens) > MOST_LUMENS:
        yield Finding(
            code="too-long",
            message=f"The plan has {len(plan.lumens)} lumens.",
            expected=f"the lumens of one line, at most {MOST_LUMENS}",
            mend="Write a plan of its own for another line.",
            places=tuple(("lumen", name) for name in list(plan.lumens)[:MOST_LUMENS]),
        )
    for name, lumen in plan.lumens.items():
        place = ("lumen", name)
        yield from _last_flushed(plan, lumen)
        locks = lumen.lock or plan.line.lock
        if lumen.lock_volume is not None and locks == plan.protocol.flush:
            yield Finding(
                code="lock-volume",
                message=f"The {lumen.label} lumen is locked with its flush, so its flush is its lock and "
                "lock_volume says nothing.",
                expected="flush_volume instead, for a lumen whose flush is its lock",
                mend="Write flush_volume, or take lock_volume out, as the protocol says.",
                places=((*place, "lock_volume"), (*place, "lock") if lumen.lock else ("line", "lock")),
            )
        if lumen.flush_through is FlushThrough.WITHDRAW and lumen.withdraw_volume is None:
            yield missing_withdraw_volume(place, "flush_through")
        if lumen.flush_through is FlushThrough.NURSE:
            yield Finding(
                code="nurse-only-lumen",
                message=f"No routine flush is planned into the {lumen.label} lumen: the plan says nurse only.",
                expected="a nurse who keeps this lumen within its limit",
                mend="Make sure that it is in the nurse's own plan.",
                places=((*place, "flush_through"),),
            )


def _last_flushed(plan: Plan, lumen: Lumen) -> Iterator[Finding]:
    """A first plan knows of no flush after its start; a changed one, perhaps of a new line, of none after it begins."""
    start, effect = plan.course.start, plan.course.takes_effect
    later = plan.course.revision > 1 and effect.instant > start.instant
    latest, which = (effect, "takes_effect") if later else (start, "start")
    if lumen.last_flushed.instant > latest.instant:
        said = "this revision takes effect" if later else "the plan starts"
        yield Finding(
            code="last-flushed-later",
            message=f"The {lumen.label} lumen was last flushed {lumen.last_flushed.wall:%Y-%m-%d %H:%M}, "
            f"after {said} ({latest.wall:%Y-%m-%d %H:%M}).",
            expected=f"the last flush before {said}",
            mend="Correct whichever of the two is wrong.",
            places=(("lumen", lumen.name, "last_flushed"), ("plan", which)),
        )


def _needle_out(plan: Plan) -> Iterator[Finding]:
    for name in ("needle_out_idle_limit", "needle_out_lock"):
        if getattr(plan.line, name) is not None and plan.line.kind is not LineKind.PORT:
            yield Finding(
                code="needle-out",
                message=f"{name} stands in the plan of a {plan.line.kind.value}, which has no needle.",
                expected="this key in the plan of an implanted port only",
                mend="Take it out, or correct the kind of line.",
                places=(("line", name), ("line", "kind")),
            )


def _needle_unsaid(plan: Plan) -> Iterator[Finding]:
    if plan.line.kind is LineKind.PORT and plan.line.needle_out_idle_limit is not None:
        yield Finding(
            code="needle-unsaid",
            message="The plan cannot say when the port's needle comes out. Until somebody records  needle out , flushes are planned "
            "by the limit that holds while it is in.",
            expected="a household that knows to record it, or a plan of its own for the time without the needle",
            mend="Tell whoever takes it out, and the household, to record  needle out  at once.",
            places=(("line", "needle_out_idle_limit"),),
        )


def _heparin_ruled_out(plan: Plan) -> Iterator[Finding]:
    if not plan.line.heparin_ruled_out:
        return
    heparins = {name for name, fluid in plan.fluids.items() if fluid.kind is FluidKind.HEPARIN}
    uses: list[KeyPath] = []
    if plan.line.lock in heparins:
        uses.append(("line", "lock"))
    if plan.line.needle_out_lock in heparins:
        uses.append(("line", "needle_out_lock"))
    uses += [("lumen", name, "lock") for name, lumen in plan.lumens.items() if lumen.lock in heparins]
    lists: list[tuple[KeyPath, tuple[Pushed, ...] | None]] = [
        (("protocol", key), getattr(plan.protocol, key)) for key in PROTOCOL_LISTS
    ]
    lists += [(("order", name, key), getattr(order, key)) for name, order in plan.orders.items() for key in ORDER_LISTS]
    uses += [place for place, pushed in lists for entry in pushed or () if entry.name in heparins]
    if plan.protocol.flush in heparins:
        uses.append(("protocol", "flush"))
    uses += [("order", name, "drug") for name, order in plan.orders.items() if "heparin" in order.drug.casefold()]
    for place in uses:
        yield Finding(
            code="heparin-ruled-out",
            message=f"{'.'.join(place)} uses heparin, and the line has heparin ruled out.",
            expected="a lock and flushes without heparin",
            mend="Ask the prescriber which lock is ordered; then correct one of the two.",
            places=(place, ("line", "heparin_ruled_out")),
        )


def _saline_locked(plan: Plan) -> Iterator[Finding]:
    """R6: on a lumen that is locked with saline no heparin appears anywhere."""
    for name, lumen in plan.lumens.items():
        lock = plan.fluids.get(lumen.lock or plan.line.lock)
        if lock is None or lock.kind is FluidKind.HEPARIN or not lumen.in_use:
            continue
        lists: list[tuple[KeyPath, tuple[Pushed, ...] | None]] = [
            (("order", order.name, key), getattr(order, key))
            for order in plan.orders.values()
            for key in ORDER_LISTS
            if order.lumen == name
        ]
        lists += [(("protocol", key), getattr(plan.protocol, key)) for key in PROTOCOL_LISTS]
        for place, pushed in lists:
            fluids = [plan.fluids[entry.name] for entry in pushed or () if entry.name in plan.fluids]
            if any(fluid.kind is FluidKind.HEPARIN for fluid in fluids):
                yield Finding(
                    code="heparin-saline-lock",
                    message=f"{'.'.join(place)} pushes heparin, and the {lumen.label} lumen is locked without it.",
                    expected="no heparin in the steps of a lumen that is not locked with heparin",
                    mend="Ask the prescriber which lock is ordered; the lock itself does not stand in these lists.",
                    places=(place, ("lumen", name, "lock") if lumen.lock else ("line", "lock")),
                )


def _contacts(plan: Plan) -> Iterator[Finding]:
    for tier in TIERS[:2]:
        if tier not in plan.contacts:
            yield Finding(
                code="missing",
                message=f"The plan does not say whom to call: there is no [call.{tier}].",
                expected=f"[call.{tier}] with who and phone",
                mend=f"Add [call.{tier}].",
                places=(("call", tier),),
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
