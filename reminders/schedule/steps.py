"""What is done in a touch, in order (R6, R7): SASH, SAS, ordered fluids, locks, drawing out, extra steps."""

from collections.abc import Iterable

from reminders.plan.keys import Pushed
from reminders.plan.model import Fluid, Lumen, Plan
from reminders.plan.order import DrugKind, FlushThrough, GivenAs, Order
from reminders.schedule.model import Action, Step
from reminders.units import Measure

FLUIDS = (Action.FLUSH, Action.LOCK)
"""The actions that push a fluid through a lumen."""


def before(plan: Plan, order: Order, lumen: Lumen) -> tuple[Step, ...]:
    """Return the ordered fluids and steps before a dose."""
    return pushed(plan, plan.protocol.before if order.before is None else order.before, lumen)


def begun(order: Order) -> tuple[Step, ...]:
    """Return the step that begins a dose: connecting it, or pushing it."""
    if order.given_as is GivenAs.PUSH:
        return (Step(Action.PUSH, order.name, order.volume),)
    return (Step(Action.CONNECT, order.name),)


def taken_off(order: Order) -> tuple[Step, ...]:
    """Return what comes before the fluids after a dose: disconnecting it, drawing out what must not be flushed in."""
    steps: list[Step] = []
    if order.given_as is not GivenAs.PUSH:
        steps.append(Step(Action.DISCONNECT, order.name))
    if order.flush_through is FlushThrough.WITHDRAW:
        steps.append(Step(Action.WITHDRAW, order.name, order.withdraw_volume))
    return tuple(steps)


def after(plan: Plan, order: Order, lumen: Lumen) -> tuple[Step, ...]:
    """Return the ordered fluids and steps after a dose, without the lock."""
    listed = plan.protocol.after
    if order.kind is DrugKind.NUTRITION and plan.protocol.after_nutrition is not None:
        listed = plan.protocol.after_nutrition
    return pushed(plan, listed if order.after is None else order.after, lumen)


def bag_change(plan: Plan, order: Order, lumen: Lumen) -> tuple[Step, ...]:
    """Return the steps of a bag change: the ordered flush or none, then the new bag."""
    return (*pushed(plan, order.bag_flush or (), lumen), Step(Action.CHANGE_BAG, order.name))


def draw(plan: Plan, lumen: Lumen, tasks: Iterable[str], running: Iterable[str] = ()) -> tuple[Step, ...]:
    """Return the steps of a planned blood draw, without the lock (R20, S9).

    ``tasks`` are the draws by their names; ``running`` the orders that are stopped for it and go on after it.
    """
    paused = list(running)
    steps = [Step(Action.PAUSE, order) for order in paused]
    steps += before_draw(plan, lumen)
    steps += [Step(Action.DRAW, task) for task in tasks]
    steps += _flushed_after_draw(plan, lumen)
    steps += [Step(Action.RESUME, order) for order in paused]
    return tuple(steps)


def before_draw(plan: Plan, lumen: Lumen) -> tuple[Step, ...]:
    """Return what comes before blood is drawn: the protocol's fluids and extra steps, and what is discarded."""
    steps = pushed(plan, plan.protocol.before_draw, lumen)
    discard = plan.protocol.discard_volume
    return steps if discard is None else (*steps, Step(Action.DISCARD, "", discard))


def after_draw(plan: Plan, lumen: Lumen, *, lock: bool) -> tuple[Step, ...]:
    """Return the steps that a draw leaves to be done, with the lock or without it."""
    steps = _flushed_after_draw(plan, lumen)  # whatever was to be drawn out came with the blood
    return locked(steps, plan, lumen) if lock else steps


def _flushed_after_draw(plan: Plan, lumen: Lumen) -> tuple[Step, ...]:
    """Return what follows a draw; where the protocol does not say, as after nothing, the flush of an idle lumen."""
    return pushed(plan, plan.protocol.idle if plan.protocol.after_draw is None else plan.protocol.after_draw, lumen)


def idle_flush(plan: Plan, lumen: Lumen) -> tuple[Step, ...]:
    """Return the steps of an idle flush, its lock included."""
    return locked((*withdraw_lock(lumen), *flush_of(plan, lumen)), plan, lumen)


def flush_of(plan: Plan, lumen: Lumen) -> tuple[Step, ...]:
    """Return the steps of a flush without its lock."""
    return pushed(plan, plan.protocol.idle, lumen)


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
    return (*steps, Step(Action.LOCK, fluid.name, lumen.lock_volume or _volume(plan, fluid, lumen)))


def joined(parts: Iterable[tuple[Step, ...]]) -> tuple[Step, ...]:
    """Return the parts as one list; where two parts meet in the same flush or extra step it stands once (R7).

    What one ordered list says twice is done twice.
    """
    steps: list[Step] = []
    for part in parts:
        meets = bool(steps and part) and part[0].action in (Action.FLUSH, Action.EXTRA) and part[0] == steps[-1]
        steps += part[1:] if meets else part
    return tuple(steps)


def flushes(steps: tuple[Step, ...]) -> bool:
    """Say whether anything is pushed through the lumen in these steps."""
    return any(step.action in FLUIDS for step in steps)


def flushed_after(steps: tuple[Step, ...], plan: Plan) -> bool:
    """Say whether something is flushed through after what ends; a lock does only where the flush itself is the lock."""
    ends = (Action.DISCONNECT, Action.PUSH)
    ended = max((count for count, step in enumerate(steps) if step.action in ends), default=0)
    return any(
        step.action is Action.FLUSH or (step.action is Action.LOCK and step.what == plan.protocol.flush)
        for step in steps[ended:]
    )


def pushed(plan: Plan, listed: Iterable[Pushed], lumen: Lumen) -> tuple[Step, ...]:
    """Return the steps of an ordered list of fluids and extra steps, each with its volume for this lumen."""
    return tuple(_one(plan, entry, lumen) for entry in listed)


def _one(plan: Plan, entry: Pushed, lumen: Lumen) -> Step:
    fluid = plan.fluids.get(entry.name)
    if fluid is None:
        return Step(Action.EXTRA, entry.name)
    return Step(Action.FLUSH, entry.name, entry.volume or _volume(plan, fluid, lumen))


def _volume(plan: Plan, fluid: Fluid, lumen: Lumen) -> Measure:
    """Return how much of a fluid is pushed into a lumen where the list says nothing else."""
    own = lumen.flush_volume if fluid.name == plan.protocol.flush else None
    return own or fluid.volume


def withdraw_lock(lumen: Lumen) -> tuple[Step, ...]:
    """Return the step that draws out a lock which must not be flushed in; none where it may be."""
    if lumen.flush_through is FlushThrough.WITHDRAW:
        return (Step(Action.WITHDRAW, "", lumen.withdraw_volume),)
    return ()
