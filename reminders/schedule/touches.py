"""What meets in one lumen at one instant becomes one touch (R6, R7), with what the record says of it."""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from reminders.plan.care import Doer
from reminders.plan.model import Plan
from reminders.plan.order import FlushThrough, GivenAs
from reminders.schedule import steps as do
from reminders.schedule.care import Occurrence
from reminders.schedule.draws import Drawn
from reminders.schedule.identity import Identities
from reminders.schedule.limits import placing_of
from reminders.schedule.model import (
    BLOCKS,
    ENDLESS,
    NEVER,
    Ask,
    AskWhy,
    Dose,
    DoseState,
    Outcome,
    Reason,
    Step,
    Touch,
    TouchKind,
    Why,
)
from reminders.times import Instant, merged

ORDERED, FINISH, BAG, TASK = Reason(Why.ORDERED), Reason(Why.FINISH), Reason(Why.BAG), Reason(Why.TASK)

OF_THE_LUMEN = BLOCKS | {AskWhy.PROBLEM, AskWhy.NEEDLE_OUT}
"""Why somebody must be asked before a lumen is used for anything."""

OUTCOMES = {
    DoseState.SKIPPED: Outcome.SKIPPED,
    DoseState.HELD: Outcome.HELD,
    DoseState.NOT_GIVEN: Outcome.NOT_GIVEN,
    DoseState.ELSEWHERE: Outcome.DONE,
}
"""What a dose that does not take place here leaves of its start."""


@dataclass(frozen=True, slots=True)
class Bag:
    """One bag change: whose, its lasting key, and whether it was recorded."""

    dose: Dose
    key: str
    planned: Instant
    recorded: bool = False


@dataclass(slots=True)
class Meeting:
    """What meets in one lumen at one instant: doses that start and end, bags that change, and planned draws of blood."""

    starts: list[Dose] = field(default_factory=list)
    ends: list[Dose] = field(default_factory=list)
    bags: list[Bag] = field(default_factory=list)
    draws: list[Occurrence] = field(default_factory=list)


def by_record(meeting: Meeting) -> list[Meeting]:
    """Return what is recorded of a meeting and what is not apart, if it is both: one may be done and the other not."""
    told, open_ = Meeting(), Meeting()
    for dose in meeting.starts:
        (told if _begun(dose) else open_).starts.append(dose)
    for dose in meeting.ends:
        (told if dose.finished is not None else open_).ends.append(dose)
    for bag in meeting.bags:
        (told if bag.recorded else open_).bags.append(bag)
    open_.draws += meeting.draws  # a draw that was recorded is a touch of its own
    parts = [part for part in (told, open_) if part.starts or part.ends or part.bags or part.draws]
    return parts if len(parts) > 1 else [meeting]


def _begun(dose: Dose) -> bool:
    """Say whether it is recorded that a dose was started; one that is said to have finished was."""
    return dose.started is not None or dose.finished is not None


class TouchWriter:
    """Writes the touches of one lumen, in order of time; steps that recur are made once and shared."""

    def __init__(
        self,
        plan_at: Callable[[Instant], Plan],
        lumen: str,
        names: Identities,
        *,
        starts: Sequence[Instant],
        begins: frozenset[Instant],
        infusing: Sequence[tuple[Instant, Instant]],
        doses: Sequence[Dose],
        idle: Sequence[Instant],
        asks_at: Callable[[Instant], tuple[Ask, ...]],
    ) -> None:
        """Take what is known of the lumen's use, in order of time.

        ``plan_at`` names the plan in force. ``starts`` are the starts of everything that is given by hand, ``begins``
        those before which the lumen was idle; ``infusing`` the spans in which something other than a push runs,
        ``doses`` what keeps the lumen in use, ``idle`` the idle flushes; ``asks_at`` says why to ask before the lumen is
        used at all.
        """
        self._plan_at, self._name, self._names = plan_at, lumen, names
        self._starts, self._begins = starts, begins
        self._infusing = infusing
        self._connected = [dose for dose in doses if self._given_as(dose) is not GivenAs.PUSH]
        self._not_flushed = [dose for dose in self._connected if not self._ever_flushed(dose)]
        self._not_flushed_spans = merged([(dose.start, _end(dose)) for dose in self._not_flushed])
        self._idle = idle
        self._asks_at = asks_at
        self._infusing_from = [begin for begin, _ in infusing]
        self._made: dict[tuple[object, ...], tuple[Step, ...]] = {}
        self._unlocked: list[
            tuple[Instant, Instant]
        ] = []  # each touch, and until when it leaves the lumen without a lock

    def touch(self, at: Instant, meeting: Meeting) -> Touch:
        """Return the touch for what meets at ``at``."""
        plan = self._plan_at(at)
        pushes = _pushes(plan, meeting)
        idle_from = max((dose.end or at for dose in pushes), default=at)
        finishes = bool(meeting.ends or pushes or (meeting.draws and not meeting.starts))
        lock = finishes and not self.infuses(at) and not self._joins(plan, idle_from, at)
        idle_before = at in self._begins or bool(meeting.draws and not self._infused(at))
        held_lock = idle_before and self._locked_at(at, len(self._unlocked))
        outcome = Outcome.DONE if _recorded(plan, meeting) else None
        # What is over cannot be asked about, but nothing is offered on a lumen that must not be used (S1).
        asks = tuple(ask for ask in self._asks_at(at) if outcome is None or ask.why in BLOCKS)
        running = self._running_at(at) if meeting.draws else ()
        runs_on = tuple(self._runs_on(plan, meeting, running, at))
        asks += tuple(ask for ask in (*runs_on, *_of_their_doses(meeting)) if ask not in asks)
        offered = not runs_on and not any(ask.why in BLOCKS for ask in asks)
        paused = running if self.infuses(at) else ()
        steps = self._steps_of(plan, meeting, lock, held_lock, paused) if offered else ()
        if outcome is None and do.flushes(steps) and (kept := self.not_through(at)):
            offered, steps, asks = False, (), (*asks, *kept)
        self._unlocked.append((at, NEVER if lock else self._next_start(at)))
        kind, meaning, reason = _kind(plan, meeting)
        nurse = offered and _nurse_only(plan, self._name, meeting, held_lock)
        nurse = nurse or (kind is TouchKind.DRAW and _drawn_by_others(plan, meeting))
        return Touch(
            self._names.of(*meaning),
            kind,
            self._name,
            at,
            steps,
            reason,
            plan,
            tuple(meeting.starts),
            tuple(meeting.ends),
            tuple(bag.dose for bag in meeting.bags),
            nurse,
            _planned(meeting, at),
            asks,
            outcome,
            tasks=tuple(entry.task for entry in meeting.draws),
        )

    def aside(self, dose: Dose) -> list[Touch]:
        """Return the touches of a dose that the schedule does not lean on: dropped, given elsewhere, or *ask first*.

        They stand at their times, beside everything else; only what may still be asked about has steps.
        """
        plan = self._plan_at(dose.start)
        order = plan.orders[dose.order]
        asked = tuple(dose.asks) if dose.state is DoseState.UNRECORDED else ()
        offered = bool(asked) and not any(ask.why in BLOCKS for ask in asked)
        starting, ending = Meeting(starts=[dose]), Meeting(ends=[dose])
        touches = []
        for at, meeting in ((dose.start, starting), (dose.end, ending)):
            if at is None or (meeting is ending and (not offered or order.given_as is GivenAs.PUSH)):
                continue
            plan = self._plan_at(at)
            asks = (*asked, *(ask for ask in self._asks_at(at) if asked and ask not in asked))
            lock = bool(meeting.ends or _pushes(plan, meeting))
            steps: tuple[Step, ...] = ()
            if offered and not any(ask.why in BLOCKS for ask in asks):
                steps = self._steps_of(plan, meeting, lock, bool(meeting.starts))
            if do.flushes(steps) and (kept := self.not_through(at)):
                steps, asks = (), (*asks, *kept)
            kind, meaning, reason = _kind(plan, meeting)
            touches.append(
                Touch(
                    self._names.of(*meaning),
                    kind,
                    self._name,
                    at,
                    steps,
                    reason,
                    plan,
                    tuple(meeting.starts),
                    tuple(meeting.ends),
                    (),
                    bool(steps) and _nurse_only(plan, self._name, meeting, bool(meeting.starts)),
                    dose.due if meeting is starting else at,
                    asks,
                    OUTCOMES.get(dose.state),
                )
            )
        return touches

    def draw(self, drawn: Drawn) -> Touch:
        """Return the touch of a recorded draw; its flush, and the lock if the lumen is idle, belong to it (R20)."""
        fact, task = drawn.fact, next(iter(drawn.tasks), None)
        plan = self._plan_at(fact.happened)
        lumen = plan.lumens[self._name]
        earlier = bisect_left(self._unlocked, (fact.happened, NEVER))
        held_lock = not self._infused(fact.happened) and self._locked_at(fact.happened, earlier)
        asks = tuple(ask for ask in self._asks_at(fact.happened) if ask.why in BLOCKS)
        meaning = ("draw", self._name, fact.key) if task is None else ("task", task.task, task.key)
        return Touch(
            self._names.of(*meaning),
            TouchKind.DRAW,
            self._name,
            fact.happened,
            () if asks else do.after_draw(plan, lumen, lock=self._ends_in_lock(plan, fact.happened)),
            Reason(Why.DRAW),
            plan,
            planned=fact.happened if task is None else task.planned,
            nurse_only=lumen.flush_through is FlushThrough.NURSE,
            asks=asks,
            outcome=Outcome.DONE,
            tasks=tuple(entry.task for entry in drawn.tasks),
            done_first=(*(do.withdraw_lock(lumen) if held_lock else ()), *do.before_draw(plan, lumen)),
        )

    def not_drawn(self, task: Occurrence) -> Touch:
        """Return the touch of a draw of which somebody said that it is not to be done."""
        return Touch(
            self._names.of("task", task.task, task.key),
            TouchKind.DRAW,
            self._name,
            task.planned,
            (),
            TASK,
            self._plan_at(task.planned),
            planned=task.planned,
            outcome=Outcome.SKIPPED,
            tasks=(task.task,),
        )

    def not_through(self, at: Instant, *, recorded: bool = False) -> tuple[Ask, ...]:
        """Return why nothing may be flushed through at an instant: drugs are connected that must not be (R6).

        ``recorded``: it is about the flush after something that was recorded. What was started before that, and is not
        said to have finished, is then connected until something else is started.
        """
        index = bisect_right(self._not_flushed_spans, (at, ENDLESS)) - 1
        if not recorded and (index < 0 or self._not_flushed_spans[index][1] <= at):
            return ()
        orders = self._plan_at(at).orders
        found = []
        for dose in self._not_flushed:
            begun = dose.start < at or (dose.start == at and dose.started is not None)
            there = at < _end(dose) or (recorded and dose.state is DoseState.RUNNING and not self._followed(dose, at))
            if begun and there and orders[dose.order].flush_through is not FlushThrough.ALLOWED:
                until = dose.end if dose.end is not None and dose.end > at else None
                found.append(Ask(AskWhy.NOT_THROUGH, since=until, other=dose.order))
        return tuple(found)

    def after_unflushed(self, draw: Touch, handled: Iterable[Touch]) -> Touch:
        """Return a draw that waits for its flush; with a question first while a drug before it that must not be flushed
        through has not been flushed after: the flush would push in what is left of it (R6)."""
        orders = self._plan_at(draw.at).orders
        left = [
            Ask(AskWhy.NOT_THROUGH, other=dose.order)
            for touch in handled
            if touch.outstanding and touch.at <= draw.at
            for dose in touch.ends
            if orders[dose.order].flush_through is not FlushThrough.ALLOWED
        ]
        return replace(draw, steps=(), asks=(*draw.asks, *left)) if draw.outstanding and left else draw

    def _followed(self, dose: Dose, at: Instant) -> bool:
        """Say whether another infusion was started by an instant, after a dose was to finish: that was taken off then."""
        return any(other.started is not None and _end(dose) <= other.start <= at for other in self._connected)

    def _given_as(self, dose: Dose) -> GivenAs:
        return self._plan_at(dose.start).orders[dose.order].given_as

    def _ever_flushed(self, dose: Dose) -> bool:
        """Say whether a dose may be flushed through, by the plans in force when it starts and when it ends."""
        ends = (dose.start, dose.start if dose.end is None else dose.end)
        return all(self._plan_at(at).orders[dose.order].flush_through is FlushThrough.ALLOWED for at in ends)

    def infuses(self, at: Instant) -> bool:
        """Say whether an infusion runs just after an instant."""
        index = bisect_right(self._infusing_from, at) - 1
        return index >= 0 and self._infusing[index][1] > at

    def _ends_in_lock(self, plan: Plan, drawn: Instant) -> bool:
        return not self.infuses(drawn) and not self._joins(plan, drawn, drawn)

    def _infused(self, at: Instant) -> bool:
        """Say whether an infusion runs just before an instant."""
        index = bisect_left(self._infusing_from, at) - 1
        return index >= 0 and self._infusing[index][1] >= at

    def _running_at(self, at: Instant) -> tuple[Dose, ...]:
        """Return the infusions that are connected before and after an instant, whether they run or stand.

        What a pump begins by itself at that instant is one of them: nobody is there to begin it later.
        """
        found = []
        for dose in self._connected:
            begun = dose.start <= at if self._given_as(dose) is GivenAs.PUMP else dose.start < at
            if begun and at < _end(dose):
                found.append(dose)
        return tuple(found)

    def _runs_on(self, plan: Plan, meeting: Meeting, running: Sequence[Dose], at: Instant) -> Iterator[Ask]:
        """Yield what is connected when blood is to be drawn and, as far as the plan says, is not stopped for it (R20)."""
        for dose in running:
            stands = any(begin <= at < over for begin, over in dose.pauses)
            flushed = plan.orders[dose.order].flush_through is FlushThrough.ALLOWED
            if stands or not flushed or any(plan.tasks[entry.task].pauses_infusion is None for entry in meeting.draws):
                yield Ask(AskWhy.OVERLAP, since=dose.end, other=dose.order)

    def _steps_of(
        self, plan: Plan, meeting: Meeting, lock: bool, held_lock: bool, running: Sequence[Dose] = ()
    ) -> tuple[Step, ...]:
        alike = (
            id(plan),
            tuple(entry.task for entry in meeting.draws),
            tuple(dose.order for dose in running),
            tuple(dose.order for dose in meeting.ends),
            tuple(bag.dose.order for bag in meeting.bags),
            tuple(dose.order for dose in meeting.starts),
            lock,
            held_lock,
        )
        steps = self._made.get(alike)
        if steps is None:
            steps = self._made[alike] = self._steps(plan, meeting, lock, held_lock, running)
        return steps

    def _steps(
        self, plan: Plan, meeting: Meeting, lock: bool, held_lock: bool, running: Sequence[Dose]
    ) -> tuple[Step, ...]:
        """Return the steps: what ends comes off first, then blood is drawn, then what changes; what starts is connected
        after its fluids."""
        lumen, orders = plan.lumens[self._name], plan.orders
        ending = [orders[dose.order] for dose in meeting.ends]
        starting = [orders[dose.order] for dose in meeting.starts]
        infusions = [order for order in starting if order.given_as is not GivenAs.PUSH]
        parts = [do.withdraw_lock(lumen)] if held_lock else []
        parts += [do.taken_off(order) for order in ending]
        parts += [do.after(plan, order, lumen) for order in ending]
        if meeting.draws:
            names = [entry.task for entry in meeting.draws]
            parts.append(do.draw(plan, lumen, names, [dose.order for dose in running]))
        parts += [do.bag_change(plan, orders[bag.dose.order], lumen) for bag in meeting.bags]
        for order in starting:
            if order.given_as is GivenAs.PUSH:
                parts += [do.before(plan, order, lumen), do.begun(order), do.taken_off(order)]
                parts.append(do.after(plan, order, lumen))
        parts += [do.before(plan, order, lumen) for order in infusions]
        parts += [do.begun(order) for order in infusions]
        steps = do.joined(parts)
        return do.locked(steps, plan, lumen) if lock else steps

    def _locked_at(self, at: Instant, earlier: int) -> bool:
        """Say whether a lumen holds a lock at an instant, before which so many touches came; an idle flush sets one too."""
        before, unlocked_until = self._unlocked[earlier - 1] if earlier else (NEVER, NEVER)
        return at > unlocked_until or self._flushed_since(before, at)

    def _flushed_since(self, before: Instant, at: Instant) -> bool:
        """Say whether an idle flush, which sets a lock, lies between two touches."""
        index = bisect_right(self._idle, before)
        return index < len(self._idle) and self._idle[index] < at

    def _joins(self, plan: Plan, idle_from: Instant, at: Instant) -> bool:
        following = self._next_start(at)
        # A lock may only be left out where no idle flush, which would set one, falls into the gap.
        chance = placing_of(plan, plan.lumens[self._name]).last_chance(idle_from)
        return following != NEVER and following <= min(chance, idle_from + plan.protocol.joining_time)

    def _next_start(self, at: Instant) -> Instant:
        index = bisect_right(self._starts, at)
        return self._starts[index] if index < len(self._starts) else NEVER


def _end(dose: Dose) -> Instant:
    return ENDLESS if dose.end is None else dose.end


def _of_their_doses(meeting: Meeting) -> Iterator[Ask]:
    """Yield what is asked about the doses that draws belong to; what is wrong with their lumen is no matter of this one."""
    for entry in meeting.draws:
        if entry.dose is not None:
            yield from (ask for ask in entry.dose.asks if ask.why not in OF_THE_LUMEN)


def _pushes(plan: Plan, meeting: Meeting) -> list[Dose]:
    return [dose for dose in meeting.starts if plan.orders[dose.order].given_as is GivenAs.PUSH]


def _nurse_only(plan: Plan, lumen: str, meeting: Meeting, held_lock: bool) -> bool:
    return (held_lock and plan.lumens[lumen].flush_through is FlushThrough.NURSE) or any(
        plan.orders[dose.order].flush_through is FlushThrough.NURSE for dose in (*meeting.ends, *_pushes(plan, meeting))
    )


def _drawn_by_others(plan: Plan, meeting: Meeting) -> bool:
    return all(plan.tasks[entry.task].done_by is not Doer.HOUSEHOLD for entry in meeting.draws)


def _kind(plan: Plan, meeting: Meeting) -> tuple[TouchKind, tuple[str, ...], Reason]:
    if meeting.starts:
        first = meeting.starts[0]
        pushed = all(plan.orders[dose.order].given_as is GivenAs.PUSH for dose in meeting.starts)
        kind = TouchKind.CHANGEOVER if meeting.ends else TouchKind.PUSH if pushed else TouchKind.START
        return kind, ("start", first.order, first.key), ORDERED
    if meeting.ends:
        first = meeting.ends[0]
        return TouchKind.FINISH, ("finish", first.order, first.key), FINISH
    if not meeting.bags:
        return TouchKind.DRAW, ("task", meeting.draws[0].task, meeting.draws[0].key), TASK
    bag = meeting.bags[0]
    return TouchKind.BAG_CHANGE, ("bag", bag.dose.order, bag.dose.key, bag.key), BAG


def _recorded(plan: Plan, meeting: Meeting) -> bool:
    """Say whether everything of a touch but its flush is recorded."""
    return (
        not meeting.draws
        and all(_begun(dose) for dose in meeting.starts)
        and all(dose.finished is not None for dose in meeting.ends)
        and all(bag.recorded for bag in meeting.bags)
    )


def _planned(meeting: Meeting, at: Instant) -> Instant:
    """Return when a touch was to be before anything was recorded of it."""
    if meeting.starts:
        return meeting.starts[0].due
    if meeting.ends:
        return meeting.ends[0].due_end or at
    return meeting.bags[0].planned if meeting.bags else meeting.draws[0].planned
