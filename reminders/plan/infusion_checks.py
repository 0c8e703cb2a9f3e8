"""What an order says of how a dose runs: duration and rate, how it is given, bags, flushing through. Pure."""

from collections.abc import Iterator
from fractions import Fraction

from reminders.findings import Finding, KeyPath
from reminders.plan.durations import by_rate, by_steps, duration, rate_range, stepped_volume
from reminders.plan.model import Plan
from reminders.plan.order import FlushThrough, GivenAs, Order
from reminders.times import DAY
from reminders.units import measure, number, span

LONGEST_INFUSION = 366 * DAY


def check_infusion(plan: Plan, order: Order) -> list[Finding]:
    """Return every finding about how an order's doses run."""
    checks = (_durations, _given_as, _bags, _flush_through)
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
    by_volume = measure(order.dose.text, ("mass", "activity", "volume", "substance"))[1] == "volume"
    single = by_volume and not order.continuous and order.given_as is not GivenAs.PUMP
    if single and order.volume and order.dose.amount != order.volume.amount:
        yield _disagreement(
            order, f"the dose is {order.dose.text} and the volume {order.volume.text}", "dose", "volume"
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
                f"own rounding allows {span(least)} to {span(most)}), the duration is {span(stated)}",
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
