"""What meets in one lumen at one instant becomes one touch (R6, R7)."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field

from reminders.plan.model import Lumen, Plan
from reminders.plan.order import FlushThrough, GivenAs
from reminders.schedule import steps as do
from reminders.schedule.identity import Identities
from reminders.schedule.model import Dose, Reason, Step, Touch, TouchKind, Why
from reminders.times import Instant

ORDERED, FINISH, BAG = Reason(Why.ORDERED), Reason(Why.FINISH), Reason(Why.BAG)
NEVER = Instant(-1)


@dataclass(slots=True)
class Meeting:
    """What meets in one lumen at one instant: doses that start and end, and bags that change, with their keys."""

    starts: list[Dose] = field(default_factory=list)
    ends: list[Dose] = field(default_factory=list)
    bags: list[tuple[Dose, str]] = field(default_factory=list)


class TouchWriter:
    """Writes the touches of one lumen, in order of time; steps that recur are made once and shared."""

    def __init__(
        self,
        plan: Plan,
        lumen: Lumen,
        names: Identities,
        *,
        starts: Sequence[Instant],
        begins: frozenset[Instant],
        infusing: Sequence[tuple[Instant, Instant]],
        idle: Sequence[Instant],
    ) -> None:
        """Take what is known of the lumen's use, in order of time.

        ``starts`` are the starts of everything that is given by hand, ``begins`` those before which the lumen was
        idle; ``infusing`` the spans in which something other than a push runs, ``idle`` the idle flushes.
        """
        self._plan, self._lumen, self._names = plan, lumen, names
        self._starts, self._begins = starts, begins
        self._infusing = infusing
        self._idle = idle
        self._before = NEVER  # the touch before this one
        self._infusing_from = [begin for begin, _ in infusing]
        self._made: dict[tuple[object, ...], tuple[Step, ...]] = {}
        self._unlocked_until = NEVER
        # A lock may only be left out where no idle flush, which would set one, falls into the gap.
        self._joining = min(plan.protocol.joining_time, plan.idle_limit(lumen) - plan.protocol.planning_margin)

    def touch(self, at: Instant, meeting: Meeting) -> Touch:
        """Return the touch for what meets at ``at``."""
        orders = self._plan.orders
        pushes = [dose for dose in meeting.starts if orders[dose.order].given_as is GivenAs.PUSH]
        idle_from = max((dose.end or at for dose in pushes), default=at)
        finishes = bool(meeting.ends or pushes)
        lock = finishes and not self._infuses(at) and not self._joins(idle_from, at)
        held_lock = at in self._begins and (at != self._unlocked_until or self._flushed_since(self._before, at))
        self._before = at
        alike = (
            tuple(dose.order for dose in meeting.ends),
            tuple(dose.order for dose, _ in meeting.bags),
            tuple(dose.order for dose in meeting.starts),
            lock,
            held_lock,
        )
        steps = self._made.get(alike)
        if steps is None:
            steps = self._made[alike] = self._steps(meeting, lock, held_lock)
        self._unlocked_until = NEVER if lock else self._next_start(at)
        nurse = (held_lock and self._lumen.flush_through is FlushThrough.NURSE) or any(
            orders[dose.order].flush_through is FlushThrough.NURSE for dose in (*meeting.ends, *pushes)
        )
        kind, meaning, reason = self._kind(meeting)
        return Touch(
            self._names.of(*meaning),
            kind,
            self._lumen.name,
            at,
            steps,
            reason,
            tuple(meeting.starts),
            tuple(meeting.ends),
            tuple(dose for dose, _ in meeting.bags),
            nurse,
        )

    def _steps(self, meeting: Meeting, lock: bool, held_lock: bool) -> tuple[Step, ...]:
        """Return the steps: what ends comes off first, then what changes; what starts is connected after its fluids."""
        plan, lumen, orders = self._plan, self._lumen, self._plan.orders
        ending = [orders[dose.order] for dose in meeting.ends]
        starting = [orders[dose.order] for dose in meeting.starts]
        infusions = [order for order in starting if order.given_as is not GivenAs.PUSH]
        parts = [do.withdraw_lock(lumen)] if held_lock else []
        parts += [do.taken_off(order) for order in ending]
        parts += [do.after(plan, order, lumen) for order in ending]
        parts += [do.bag_change(plan, orders[dose.order], lumen) for dose, _ in meeting.bags]
        for order in starting:
            if order.given_as is GivenAs.PUSH:
                parts += [do.before(plan, order, lumen), do.begun(order), do.taken_off(order)]
                parts.append(do.after(plan, order, lumen))
        parts += [do.before(plan, order, lumen) for order in infusions]
        parts += [do.begun(order) for order in infusions]
        steps = do.joined(parts)
        return do.locked(steps, plan, lumen) if lock else steps

    def _kind(self, meeting: Meeting) -> tuple[TouchKind, tuple[str, ...], Reason]:
        if meeting.starts:
            first = meeting.starts[0]
            pushed = all(self._plan.orders[dose.order].given_as is GivenAs.PUSH for dose in meeting.starts)
            kind = TouchKind.CHANGEOVER if meeting.ends else TouchKind.PUSH if pushed else TouchKind.START
            return kind, ("start", first.order, first.key), ORDERED
        if meeting.ends:
            first = meeting.ends[0]
            return TouchKind.FINISH, ("finish", first.order, first.key), FINISH
        dose, key = meeting.bags[0]
        return TouchKind.BAG_CHANGE, ("bag", dose.order, dose.key, key), BAG

    def _flushed_since(self, before: Instant, at: Instant) -> bool:
        """Say whether an idle flush, which sets a lock, lies between two touches."""
        index = bisect_right(self._idle, before)
        return index < len(self._idle) and self._idle[index] < at

    def _infuses(self, at: Instant) -> bool:
        """Say whether an infusion runs once this touch is over."""
        index = bisect_right(self._infusing_from, at) - 1
        return index >= 0 and self._infusing[index][1] > at

    def _joins(self, idle_from: Instant, at: Instant) -> bool:
        following = self._next_start(at)
        return following != NEVER and following - idle_from <= self._joining

    def _next_start(self, at: Instant) -> Instant:
        index = bisect_right(self._starts, at)
        return self._starts[index] if index < len(self._starts) else NEVER
