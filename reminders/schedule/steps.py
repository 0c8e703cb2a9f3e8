"""What is done in a touch, in order (R6, R7): SASH, SAS, ordered fluids, locks, drawing out, extra steps."""

from collections.abc import Iterable

from reminders.plan.keys import Pushed
from reminders.plan.model import Lumen, Plan
from reminders.plan.order import DrugKind, FlushThrough, GivenAs, Order
from reminders.schedule.model import Action, Step

FLUIDS = (Action.FLUSH, Action.LOCK)


def before(plan: Plan, order: Order, lumen: Lumen, *, locked: bool) -> tuple[Step, ...]:
    """Return the steps that begin a dose; a lock that must not be flushed in is drawn out first."""
    listed = plan.protocol.before if order.before is None else order.before
    begin = Action.PUSH if order.given_as is GivenAs.PUSH else Action.CONNECT
    volume = order.volume if order.given_as is GivenAs.PUSH else None
    return (*_withdraw_lock(lumen, locked), *pushed(plan, listed, lumen), Step(begin, order.name, volume))


def after(plan: Plan, order: Order, lumen: Lumen) -> tuple[Step, ...]:
    """Return the steps that finish a dose, up to and without the lock."""
    listed = plan.protocol.after
    if order.kind is DrugKind.NUTRITION and plan.protocol.after_nutrition is not None:
        listed = plan.protocol.after_nutrition
    if order.after is not None:
        listed = order.after
    steps: list[Step] = []
    if order.given_as is not GivenAs.PUSH:
        steps.append(Step(Action.DISCONNECT, order.name))
    if order.flush_through is FlushThrough.WITHDRAW:
        steps.append(Step(Action.WITHDRAW, order.name, order.withdraw_volume))
    return (*steps, *pushed(plan, listed, lumen))


def bag_change(plan: Plan, order: Order, lumen: Lumen) -> tuple[Step, ...]:
    """Return the steps of a bag change: the ordered flush or none, then the new bag."""
    return (*pushed(plan, order.bag_flush or (), lumen), Step(Action.CHANGE_BAG, order.name))


def idle_flush(plan: Plan, lumen: Lumen) -> tuple[Step, ...]:
    """Return the steps of an idle flush, its lock included."""
    return locked((*_withdraw_lock(lumen, True), *pushed(plan, plan.protocol.idle, lumen)), plan, lumen)


def locked(steps: tuple[Step, ...], plan: Plan, lumen: Lumen) -> tuple[Step, ...]:
    """Return the steps with the lumen's lock at their end.

    Where the last fluid pushed is the lock fluid itself (a saline-locked lumen), that step is the lock (R6).
    """
    fluid = plan.lock(lumen)
    for index in range(len(steps) - 1, -1, -1):
        step = steps[index]
        if step.action is Action.FLUSH and step.what == fluid.name:
            return (*steps[:index], Step(Action.LOCK, step.what, step.volume), *steps[index + 1 :])
        if step.action is not Action.EXTRA:
            break
    return (*steps, Step(Action.LOCK, fluid.name, lumen.lock_volume or fluid.volume))


def joined(parts: Iterable[tuple[Step, ...]]) -> tuple[Step, ...]:
    """Return the parts as one list in which equal neighbouring flushes stand once (R7)."""
    steps: list[Step] = []
    for part in parts:
        for step in part:
            if not (steps and step.action is Action.FLUSH and step == steps[-1]):
                steps.append(step)
    return tuple(steps)


def flushes(steps: tuple[Step, ...]) -> bool:
    """Say whether anything is pushed through the lumen in these steps."""
    return any(step.action in FLUIDS for step in steps)


def pushed(plan: Plan, listed: Iterable[Pushed], lumen: Lumen) -> tuple[Step, ...]:
    """Return the steps of an ordered list of fluids and extra steps, each with its volume for this lumen."""
    return tuple(_one(plan, entry, lumen) for entry in listed)


def _one(plan: Plan, entry: Pushed, lumen: Lumen) -> Step:
    fluid = plan.fluids.get(entry.name)
    if fluid is None:
        return Step(Action.EXTRA, entry.name)
    own = lumen.flush_volume if entry.name == plan.protocol.flush else None
    return Step(Action.FLUSH, entry.name, entry.volume or own or fluid.volume)


def _withdraw_lock(lumen: Lumen, locked_now: bool) -> tuple[Step, ...]:
    if locked_now and lumen.flush_through is FlushThrough.WITHDRAW:
        return (Step(Action.WITHDRAW, "", lumen.withdraw_volume),)
    return ()
