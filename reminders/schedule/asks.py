"""Which doses nobody should start without asking first (R17, R18, R19, S1-S5). Nothing is moved, dropped or doubled.

Only what a fact has brought about is marked: what the orders themselves contradict is a finding about the plan.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from reminders.plan.model import Plan
from reminders.plan.order import GivenAs
from reminders.record.facts import Sign
from reminders.schedule.happened import Happened
from reminders.schedule.in_force import Stretch
from reminders.schedule.model import DROPPED, ENDLESS, Ask, AskWhy, Dose, DoseState
from reminders.times import Instant, local

Blocks = tuple[tuple[Instant, Instant, AskWhy], ...]
"""Stretches in which nothing is offered on a lumen, with the reason, in order."""


def blocked(happened: Happened, in_force: Sequence[Stretch], lumen: str) -> Blocks:
    """Return when nothing is offered on a lumen: out of use, suspended, or of a line that the plan does not describe."""
    spans = list(happened.blocked(lumen))
    for at in happened.exchanged:
        described = (stretch.begins for stretch in in_force if stretch.ends > at and describes(stretch, at))
        until = max(at, next(described, ENDLESS))
        if until > at:
            spans.append((at, until, AskWhy.EXCHANGED))
    return tuple(sorted(spans, key=lambda span: (span[0], span[1], span[2].value)))


def describes(stretch: Stretch, exchanged: Instant) -> bool:
    """Say whether a plan is about the line that was placed when the old one was exchanged."""
    return stretch.revision.line.placed_on >= local(exchanged, stretch.revision.course.zone).date()


def with_asks(
    doses: Mapping[str, tuple[Dose, ...]], plan: Plan, happened: Happened, in_force: Sequence[Stretch]
) -> dict[str, tuple[Dose, ...]]:
    """Return the doses, those that must be asked about marked; ``plan`` names the orders' least spacings."""
    asks: dict[tuple[str, str], list[Ask]] = defaultdict(list)
    for name, found in doses.items():
        for dose, ask in _spacings(plan, name, found):
            asks[name, dose.key].append(ask)
    by_lumen: dict[str, list[Dose]] = defaultdict(list)
    for found in doses.values():
        for dose in found:
            by_lumen[dose.lumen].append(dose)
    for lumen, found_in in by_lumen.items():
        for dose, ask in _in_lumen(found_in, blocked(happened, in_force, lumen), happened.problems(lumen), happened):
            asks[dose.order, dose.key].append(ask)
        for dose, ask in _overlaps(plan, found_in):
            asks[dose.order, dose.key].append(ask)
    for _round in doses:  # a chain of orders that follow one another is no longer than there are orders
        for dose, ask in _after_asked(plan, doses, asks):
            asks[dose.order, dose.key].append(ask)
    if not asks:
        return dict(doses)
    return {
        name: tuple(
            replace(dose, asks=(*dose.asks, *asks[name, dose.key])) if (name, dose.key) in asks else dose
            for dose in found
        )
        for name, found in doses.items()
    }


def _after_asked(
    plan: Plan, doses: Mapping[str, tuple[Dose, ...]], asks: Mapping[tuple[str, str], list[Ask]]
) -> Iterator[tuple[Dose, Ask]]:
    """What follows a dose that must be asked about may not take place either."""
    for name, found in doses.items():
        leader = plan.orders[name].follows
        if leader is None:
            continue
        asked = {dose.key for dose in doses[leader] if dose.asks or (leader, dose.key) in asks}
        for dose in found:
            if dose.key in asked and _open(dose) and not dose.asks and (name, dose.key) not in asks:
                yield dose, Ask(AskWhy.LEADER, other=leader)


def _open(dose: Dose) -> bool:
    """Say whether a dose is still to be started."""
    return dose.state is DoseState.UNRECORDED


def _spacings(plan: Plan, name: str, doses: tuple[Dose, ...]) -> Iterator[tuple[Dose, Ask]]:
    """From start to start against the least spacing (R17); the dose after one that was given in part (S4)."""
    order = plan.orders[name]
    before: Dose | None = None
    for dose in doses:
        if dose.state in DROPPED:
            continue
        if before is not None and _open(dose):
            apart = dose.start - before.start
            if order.least_spacing is not None and apart < order.least_spacing and (before.moved or dose.moved):
                yield dose, Ask(AskWhy.SPACING, apart, order.least_spacing, before.start, name)
            if before.state is DoseState.STOPPED:
                yield dose, Ask(AskWhy.PART_GIVEN, since=before.end, other=name)
        before = dose


def _in_lumen(
    doses: list[Dose], blocks: Blocks, problems: Sequence[tuple[Instant, Instant, Sign]], happened: Happened
) -> Iterator[tuple[Dose, Ask]]:
    """What is wrong with the lumen or the port when a dose is to start (S1-S3, S10)."""
    if not blocks and not problems and not happened.needle_out:
        return
    for dose in doses:
        if not _open(dose):
            continue
        for begin, end in happened.needle_out:
            if begin <= dose.start < end:
                yield dose, Ask(AskWhy.NEEDLE_OUT, since=begin)
        for begin, end, why in blocks:
            if begin <= dose.start < end:
                yield dose, Ask(why, since=begin)
        for begin, end, sign in problems:
            if begin <= dose.start < end:
                yield dose, Ask(AskWhy.PROBLEM, since=begin, sign=sign)


def _overlaps(plan: Plan, doses: list[Dose]) -> Iterator[tuple[Dose, Ask]]:
    """A dose that runs into the next one in its lumen, because of what was recorded (R17)."""
    running: list[Dose] = []
    # Of two that start at once the one that a fact has put there comes first: the other is asked about.
    for dose in sorted(doses, key=lambda dose: (dose.start, not dose.moved, dose.order, dose.key)):
        if dose.state in DROPPED or dose.state is DoseState.ELSEWHERE:
            continue
        running = [other for other in running if _end(other) > dose.start]
        if _open(dose) and plan.orders[dose.order].given_as is not GivenAs.PUMP:
            for other in running:
                if (other.moved or dose.moved) and not plan.run_together(other.order, dose.order):
                    yield dose, Ask(AskWhy.OVERLAP, since=other.end, other=other.order)
                    break
        if plan.orders[dose.order].given_as is not GivenAs.PUMP:
            running.append(dose)


def _end(dose: Dose) -> Instant:
    return ENDLESS if dose.end is None else dose.end
