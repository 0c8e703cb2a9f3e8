"""Which plan is in force when: the revisions put in use, and what a recorded change makes of them (R14, R19).

Some facts change what the plan itself asks for, from an instant on: heparin stopped (S11), a port's needle taken out
(S10). They are laid over the revision in force as if it had been written so. What a new revision no longer names
but still runs keeps its old terms, so that it can be finished.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from reminders.plan.keys import Pushed
from reminders.plan.model import FluidKind, Plan
from reminders.plan.order import Order
from reminders.record.facts import Kind, Record
from reminders.schedule.model import ENDLESS
from reminders.times import Instant

BEGINNING = Instant(-(2**62))
"""Before every plan."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """The plan in force from ``begins`` up to ``ends``.

    ``revision`` is the plan as it was written; ``plan`` the same with what facts changed, and with the lumens, orders,
    fluids and tasks of other revisions that it does not name. ``by_then`` is the same with those of earlier ones only: what was
    in the plan by then. ``new_revision``: a revision takes effect at ``begins``.
    """

    begins: Instant
    ends: Instant
    revision: Plan
    plan: Plan
    by_then: Plan
    new_revision: bool


def stretches(revisions: Sequence[Plan], record: Record) -> tuple[Stretch, ...]:
    """Return the stretches in order; together they cover all time.

    ``revisions`` are the plans put in use. A later revision rules from its instant on, whatever an earlier one says.
    """
    cuts: list[tuple[Instant, Plan]] = []
    for plan in sorted(revisions, key=lambda plan: plan.course.revision):
        at = plan.course.takes_effect.instant if cuts else BEGINNING
        cuts = [(begins, earlier) for begins, earlier in cuts if begins < at]
        cuts.append((at if cuts else BEGINNING, plan))
    changes = _changes(record)
    edges = sorted({at for at, _ in cuts} | {at for at, _ in changes})
    found: list[Stretch] = []
    for index, begins in enumerate(edges):
        ends = edges[index + 1] if index + 1 < len(edges) else ENDLESS
        revision = next(plan for at, plan in reversed(cuts) if at <= begins)
        plan = revision
        if found and found[-1].revision is not revision:
            plan = _with_what_is_left(plan, found[-1].plan)
        elif found:
            plan = found[-1].plan
        # A change lasts until it is undone; one laid over the stretch before is not laid over twice.
        for change in _lasting(changes, begins):
            plan = change(revision, plan)
        found.append(Stretch(begins, ends, revision, plan, plan, any(at == begins for at, _ in cuts)))
    # What is recorded may speak of what only a later revision brings in; the last one names everything.
    last = found[-1].plan
    return tuple(replace(stretch, plan=_with_what_is_left(stretch.plan, last)) for stretch in found)


Named = TypeVar("Named")
Change = Callable[[Plan, Plan], Plan]


def _changes(record: Record) -> list[tuple[Instant, Kind]]:
    kinds = (Kind.HEPARIN_STOPPED, Kind.NEEDLE_OUT, Kind.NEEDLE_IN)
    return [(fact.happened, fact.kind) for fact in record.of_kind(*kinds)]


def _lasting(changes: Iterable[tuple[Instant, Kind]], at: Instant) -> list[Change]:
    """Return what the changes up to an instant make of a plan, in the order in which it is to be laid over it."""
    told = [kind for when, kind in changes if when <= at]
    needles = [kind for kind in told if kind in (Kind.NEEDLE_OUT, Kind.NEEDLE_IN)]
    lasting: list[Change] = [_needle_out if needles[-1] is Kind.NEEDLE_OUT else _needle_in] if needles else []
    if Kind.HEPARIN_STOPPED in told:
        lasting.append(_without_heparin)
    return lasting


def _with_what_is_left(plan: Plan, other: Plan) -> Plan:
    """Return a revision with what another one names besides; those lumens are out of use."""
    lumens = _missing(other.lumens, plan.lumens)
    orders = _missing(other.orders, plan.orders)
    fluids = _missing(other.fluids, plan.fluids)
    steps = _missing(other.extra_steps, plan.extra_steps)
    tasks = _missing(other.tasks, plan.tasks)
    if not (lumens or orders or fluids or steps or tasks):
        return plan
    return replace(
        plan,
        lumens={**plan.lumens, **{name: replace(lumen, in_use=False) for name, lumen in lumens.items()}},
        orders={**plan.orders, **orders},
        fluids={**plan.fluids, **fluids},
        extra_steps={**plan.extra_steps, **steps},
        tasks={**plan.tasks, **tasks},
    )


def _missing(before: Mapping[str, Named], now: Mapping[str, Named]) -> dict[str, Named]:
    return {name: entry for name, entry in before.items() if name not in now}


def _needle_out(revision: Plan, plan: Plan) -> Plan:
    """Lay the lock and limit of a port without its needle over a plan, as far as the plan states them (S10)."""
    line = plan.line
    limit, lock = line.needle_out_idle_limit, line.needle_out_lock
    lumens = {
        name: replace(
            lumen,
            idle_limit=lumen.idle_limit if limit is None else limit,
            lock=lumen.lock if lock is None else lock,
            lock_volume=lumen.lock_volume if lock is None else None,
        )
        for name, lumen in plan.lumens.items()
    }
    return replace(plan, lumens=lumens)


def _needle_in(revision: Plan, plan: Plan) -> Plan:
    return replace(plan, lumens={**plan.lumens, **revision.lumens})


def _without_heparin(revision: Plan, plan: Plan) -> Plan:
    """Take heparin out of every step; the flush itself is then the lock (S11, R6)."""
    heparin = {name for name, fluid in plan.fluids.items() if fluid.kind is FluidKind.HEPARIN}

    def without(listed: tuple[Pushed, ...]) -> tuple[Pushed, ...]:
        return tuple(entry for entry in listed if entry.name not in heparin)

    def order_without(order: Order) -> Order:
        return replace(
            order,
            before=None if order.before is None else without(order.before),
            after=None if order.after is None else without(order.after),
            bag_flush=None if order.bag_flush is None else without(order.bag_flush),
        )

    protocol, flush = plan.protocol, plan.protocol.flush
    nutrition = protocol.after_nutrition
    return replace(
        plan,
        line=replace(plan.line, lock=flush if plan.line.lock in heparin else plan.line.lock, heparin_ruled_out=True),
        lumens={
            name: replace(
                lumen,
                lock=flush if lumen.lock in heparin else lumen.lock,
                lock_volume=None if plan.lock(lumen).name in heparin else lumen.lock_volume,
            )
            for name, lumen in plan.lumens.items()
        },
        protocol=replace(
            protocol,
            before=without(protocol.before),
            after=without(protocol.after),
            idle=without(protocol.idle),
            after_nutrition=None if nutrition is None else without(nutrition),
            before_draw=without(protocol.before_draw),
            after_draw=None if protocol.after_draw is None else without(protocol.after_draw),
        ),
        orders={name: order_without(order) for name, order in plan.orders.items()},
    )
