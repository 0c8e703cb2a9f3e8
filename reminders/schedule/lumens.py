"""One lumen over the whole horizon: the touches that its doses need, and the idle flushes between them (R6-R10, R15)."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from reminders.plan.keys import Pushed
from reminders.plan.model import Lumen, Plan
from reminders.plan.order import FlushThrough, GivenAs, Order
from reminders.schedule import steps as do
from reminders.schedule.actual import Actual
from reminders.schedule.answers import Anchor, assign, distinct, starts_limit
from reminders.schedule.asks import blocked, describes
from reminders.schedule.bags import bag_changes
from reminders.schedule.happened import Happened, within
from reminders.schedule.identity import Identities
from reminders.schedule.idle import Flushed, Limits, LumenUse, Placed, Recorded, place_idle_flushes
from reminders.schedule.in_force import Stretch
from reminders.schedule.model import (
    BLOCKS,
    ENDLESS,
    NEVER,
    Ask,
    AskWhy,
    Dose,
    DoseState,
    LumenState,
    Outcome,
    Touch,
    TouchKind,
)
from reminders.schedule.touches import Meeting, TouchWriter, by_record
from reminders.times import Instant, local, merged


def lumen_touches(
    in_force: Sequence[Stretch],
    name: str,
    actual: Actual,
    happened: Happened,
    names: Identities,
    horizon: tuple[Instant, Instant, Instant],
    quiet: Sequence[tuple[Instant, Instant]],
) -> tuple[list[Touch], LumenState]:
    """Return the touches of one lumen over the horizon, and what is recorded of it.

    ``horizon``: its start, its end, and how far flushes are placed, so that an end that rolls on moves none of them.
    """
    lumen = _Lumen(in_force, name, actual, happened, names, *horizon, quiet)
    return lumen.touches(), lumen.state


@dataclass(eq=False)
class _Lumen:
    in_force: Sequence[Stretch]
    name: str
    actual: Actual
    happened: Happened
    names: Identities
    start: Instant
    end: Instant
    beyond: Instant
    quiet: Sequence[tuple[Instant, Instant]]
    state: LumenState = field(init=False)

    def __post_init__(self) -> None:
        self.told = self.happened.anything
        self._begins = [stretch.begins for stretch in self.in_force]
        self._blocked = blocked(self.happened, self.in_force, self.name)
        self._problems = self.happened.problems(self.name)
        self._away = self.happened.away
        self.state = LumenState(blocked=self._blocked, problems=self._problems, held=self._away)

    def touches(self) -> list[Touch]:
        """Return all touches of the lumen, and leave what is recorded of it in ``state``."""
        if not self._ever_used() and not self._ever_told():
            return []
        limits = self._limits()
        handled, draws = self._handled(())
        placed = self._placed(limits, handled, draws)
        withdraws = any(
            lumen.flush_through is FlushThrough.WITHDRAW
            for plan in self._plans()
            if (lumen := self._in(plan)) is not None
        )
        if placed and withdraws:
            # Whether a start finds a lock to draw out depends on the idle flushes before it.
            handled, draws = self._handled([flush.at for flush in placed])
        asides = [touch for dose in self._connected if not dose.reckoned for touch in self._aside(dose)]
        found = [*handled, *asides, *draws, *self._idle(placed)]
        if self._away:
            found = [self._in_hospital(touch) for touch in found]
        if not self.told:
            return found
        self.state = self._recorded(found)
        return [self._offered(self._still_open(touch)) for touch in found]

    # What the lumen is used for

    def _plan(self, at: Instant) -> Plan:
        if len(self.in_force) == 1:
            return self.in_force[0].plan
        return self.in_force[max(0, bisect_right(self._begins, at) - 1)].plan

    def _plans(self) -> Iterable[Plan]:
        return (stretch.plan for stretch in self.in_force)

    def _in(self, plan: Plan) -> Lumen | None:
        return plan.lumens.get(self.name)

    def _ever_used(self) -> bool:
        lumens = [self._in(stretch.plan) for stretch in self.in_force]
        return any(lumen is not None and lumen.in_use for lumen in lumens)

    def _ever_told(self) -> bool:
        """Say whether anything is recorded of the lumen; what may have happened is shown, whatever the plan says."""
        told = bool(self.happened.flushes.get(self.name) or self.happened.draws.get(self.name))
        return told or any(
            dose.lumen == self.name and dose.started for found in self.actual.connected.values() for dose in found
        )

    @cached_property
    def _connected(self) -> list[Dose]:
        """Return what is connected by hand to this lumen, by the orders' names (R23)."""
        return [
            dose
            for name in sorted(self.actual.connected)
            for dose in self.actual.connected[name]
            if dose.lumen == self.name and (dose.started is not None or self._usable(dose.start))
        ]

    def _usable(self, at: Instant) -> bool:
        lumen = self._in(self._plan(at))
        return lumen is not None and (lumen.in_use or self._was_used(at))

    def _was_used(self, at: Instant) -> bool:
        """Say whether the lumen was in use in an earlier revision, and what still runs must be finished."""
        return any(
            stretch.begins <= at and (lumen := stretch.revision.lumens.get(self.name)) is not None and lumen.in_use
            for stretch in self.in_force
        )

    def _order(self, dose: Dose) -> Order:
        return self._plan(dose.start).orders[dose.order]

    def _aside(self, dose: Dose) -> list[Touch]:
        if dose.start < self.start or (dose.start >= self.end and dose.started is None):
            return []
        return self._writer.aside(dose)

    def _asks_at(self, at: Instant) -> tuple[Ask, ...]:
        if not self._blocked and not self._problems and not self.happened.needle_out:
            return ()
        blocks = [Ask(why, since=begin) for begin, end, why in self._blocked if begin <= at < end]
        troubles = [
            Ask(AskWhy.PROBLEM, since=begin, sign=sign) for begin, end, sign in self._problems if begin <= at < end
        ]
        out = [Ask(AskWhy.NEEDLE_OUT, since=begin) for begin, end in self.happened.needle_out if begin <= at < end]
        return (*blocks, *troubles, *out)

    # The touches that its doses need

    def _handled(self, idle: Sequence[Instant]) -> tuple[list[Touch], list[Touch]]:
        """Return the touches of the doses that are reckoned with, and those of the recorded draws, in order."""
        meetings: dict[Instant, Meeting] = defaultdict(Meeting)
        infusing: list[tuple[Instant, Instant]] = []
        self._busy: list[tuple[Instant, Instant]] = []
        starts: list[Instant] = []
        for dose in self._running():
            spans = _spans(dose)
            self._busy += spans
            if self._order(dose).given_as is not GivenAs.PUSH:
                infusing += spans
        for dose in self._connected:
            if not dose.reckoned:
                continue
            starts.append(dose.start)
            if dose.start >= self.end and dose.started is None:
                continue  # it only says whether what ends just before it is locked
            meetings[dose.start].starts.append(dose)
            if dose.end is not None and self._order(dose).given_as is not GivenAs.PUSH:
                meetings[dose.end].ends.append(dose)
            told = self.happened.doses.get((dose.order, dose.key))
            for at, bag in bag_changes(self.in_force, dose, told.bags if told else (), self.end):
                meetings[at].bags.append(bag)
        self._busy = merged(self._busy)
        self._writer = TouchWriter(
            self._plan,
            self.name,
            self.names,
            starts=sorted(starts),
            begins=frozenset(begin for begin, _ in self._busy),
            infusing=merged(infusing),
            idle=idle,
            asks_at=self._asks_at,
        )
        handled = [
            self._writer.touch(at, part)
            for at in sorted(meetings)
            if self.start <= at
            for part in (by_record(meetings[at]) if self.told else (meetings[at],))
        ]
        return self._with_flushes(handled)

    def _running(self) -> list[Dose]:
        """Return what keeps the lumen in use: its doses, or a reservoir that is kept open (R8)."""
        found = []
        for name in sorted(self.actual.doses):
            orders = [plan.orders[name] for plan in self._plans() if name in plan.orders]
            kept = any(order.kept_open for order in orders)
            running = self.actual.connected[name] if kept else self.actual.doses[name]
            found += [
                dose for dose in running if dose.lumen == self.name and dose.reckoned and self._usable(dose.start)
            ]
        return found

    def _with_flushes(self, handled: list[Touch]) -> tuple[list[Touch], list[Touch]]:
        """Give each recorded flush to the touch that it belongs to; leave the others in ``self._besides``."""
        self._besides: list[Recorded] = []
        self._flush_facts = {fact.key: fact for fact in distinct(self.happened.flushes.get(self.name, ()), self._plan)}
        self._entered = {fact.happened: fact.entered for fact in self._flush_facts.values()}
        drawn = self.happened.draws.get(self.name, ())
        if not self._flush_facts and not drawn and not self.happened.orders:
            return handled, []
        anchors = [
            Anchor(
                touch.at,
                touch.kind is TouchKind.FINISH and do.flushes(touch.steps),
                touch.outcome is not None,
                bool(touch.starts or do.flushes(touch.steps)),
            )
            for touch in handled
        ]
        anchors_of_draws = [Anchor(fact.happened, True, True, True) for fact in drawn]
        assign(self._flush_facts.values(), [*anchors, *anchors_of_draws], self._plan, self.name, self._besides)
        handled = [self._flushed(touch, anchor) for touch, anchor in zip(handled, anchors, strict=True)]
        draws = [
            self._flushed(self._writer.draw(fact), anchor) for fact, anchor in zip(drawn, anchors_of_draws, strict=True)
        ]
        return handled, draws

    def _flushed(self, touch: Touch, anchor: Anchor) -> Touch:
        """Return a touch with what is recorded of its flush; one that is still to come is asked about like any other."""
        if not anchor.waits:
            return touch
        if anchor.flushed is not None:
            other = anchor.flushed if anchor.flushed != touch.at else None
            return replace(touch, flushed=other, counts=anchor.counts)
        elsewhere = any(dose.state is DoseState.ELSEWHERE for dose in touch.ends)
        if touch.outcome is not Outcome.DONE or elsewhere:
            return touch
        return replace(touch, outstanding=True, asks=self._asks_at(touch.at))

    # The idle flushes between them

    def _limits(self) -> list[Limits]:
        found = []
        for stretch in self.in_force:
            begins, ends = max(stretch.begins, self.start), min(stretch.ends, self.beyond)
            lumen = self._in(stretch.plan)
            if begins >= ends or lumen is None or not lumen.in_use or lumen.flush_through is FlushThrough.NURSE:
                continue
            # What a first plan states, and what a revision states that takes effect later, was flushed before it.
            stated = lumen.last_flushed.instant if stretch.new_revision else None
            limit, margin = stretch.plan.idle_limit(lumen), stretch.plan.protocol.planning_margin
            cuts = [at for at in self.happened.exchanged if begins <= at < ends]
            for first, last in zip([begins, *cuts], [*cuts, ends], strict=True):
                afresh = first in cuts
                if afresh:
                    stated = lumen.last_flushed.instant if describes(stretch, first) else None
                if first < last or afresh:
                    found.append(Limits(first, last, limit, margin, stated, afresh))
                stated = None
        return found

    def _placed(self, limits: Sequence[Limits], handled: Sequence[Touch], draws: Sequence[Touch]) -> list[Placed]:
        flushed = [
            Flushed(touch.flushed or touch.at, self._was_due(touch), _known(touch), self._known_since(touch))
            for touch in (*handled, *draws)
            if touch.counts and (touch.starts or do.flushes(touch.steps)) and not self._left_to_others(touch)
        ]
        closed = [(begin, end) for begin, end, _ in self._blocked]
        use = LumenUse(
            taken=merged([*self._busy, *closed, *self._away]),
            flushed=sorted(flushed, key=lambda touch: touch.at),
            recorded=self._besides,
            retracted=self._retracted(),
            skipped=[fact.planned_for or fact.happened for fact in self.happened.skipped.get(self.name, ())],
        )
        placed = place_idle_flushes(use, limits, quiet=self.quiet)
        if self.beyond == self.end:
            return placed
        return [flush for flush in placed if flush.at <= self.end or flush.answer is not None]

    def _was_due(self, touch: Touch) -> Instant:
        """Return until when the flushes before a touch were planned: its own time, unless it was planned elsewhere."""
        own = all(touch.plan.orders[dose.order].lumen == self.name for dose in (*touch.starts, *touch.ends))
        return min(touch.planned, touch.at) if own else touch.at

    def _known_since(self, touch: Touch) -> Instant:
        """Return when what is recorded of a touch was last entered; long ago where nothing is."""
        if touch.outcome is None:
            return NEVER
        doses = (self.happened.doses.get((dose.order, dose.key)) for dose in (*touch.starts, *touch.ends))
        flush = self._entered.get(touch.flushed or touch.at, NEVER)
        return max([*(told.last_entered for told in doses if told is not None), flush])

    def _retracted(self) -> list[tuple[Instant, Instant]]:
        """Return when touches were due that a fact has put off or called off, each with the moment of that fact."""
        return [
            span
            for found in self.actual.connected.values()
            for dose in found
            if dose.put_off and self._order(dose).lumen == self.name
            for span in dose.put_off
        ]

    def _idle(self, placed: Sequence[Placed]) -> list[Touch]:
        touches = []
        day, count = None, 0
        for flush in placed:
            if flush.planned is not None:
                on = local(flush.planned, self._plan(flush.planned).course.zone).date()
                day, count = on, count + 1 if on == day else 1
                uid = self.names.of("idle", self.name, on.isoformat(), str(count))
            else:
                assert flush.answer is not None, "a flush that was not planned was recorded"
                uid = self.names.of("flush", self.name, flush.answer.key)
            touches.append(self._idle_touch(flush, uid))
        return touches

    def _idle_touch(self, flush: Placed, uid: str) -> Touch:
        plan = self._plan(flush.at)
        lumen = plan.lumens[self.name]
        outcome = Outcome.SKIPPED if flush.skipped else Outcome.DONE if flush.answer else None
        steps = () if flush.skipped else do.idle_flush(plan, lumen)
        if flush.answer is not None and (fluids := self._flush_facts[flush.answer.key].fluids):
            steps = do.pushed(plan, [Pushed(name) for name in fluids], lumen)
        return Touch(
            uid,
            TouchKind.IDLE_FLUSH,
            self.name,
            flush.at,
            steps,
            flush.reason,
            plan,
            planned=flush.at if flush.planned is None else flush.planned,
            asks=() if outcome else self._asks_at(flush.at),
            outcome=outcome,
        )

    # What is recorded

    def _in_hospital(self, touch: Touch) -> Touch:
        """Leave a touch that falls into a stay elsewhere to those who look after the line there (S14)."""
        if self._left_to_others(touch):
            return replace(touch, outcome=Outcome.HELD, steps=(), asks=())
        return touch

    def _offered(self, touch: Touch) -> Touch:
        """Take the steps from what a line that is out does not need any more (R19)."""
        removed = self.happened.removed
        if removed is None or (touch.at < removed and not touch.outstanding):
            return touch
        if touch.outcome is not None and not touch.outstanding:
            return touch
        return replace(touch, steps=())

    def _left_to_others(self, touch: Touch) -> bool:
        return touch.outcome is None and within(self._away, touch.at)

    def _recorded(self, touches: Sequence[Touch]) -> LumenState:
        facts = [*self._flush_facts.values()]
        counted = [fact.happened for fact in facts if starts_limit(fact, self._plan(fact.happened), self.name)]
        here = [
            touch
            for touch in touches
            if touch.outcome is Outcome.DONE and all(dose.state is not DoseState.ELSEWHERE for dose in touch.starts)
        ]
        started = [touch.at for touch in here if any(dose.started is not None for dose in touch.starts)]
        bags = [touch.at for touch in here if touch.bags and do.flushes(touch.steps)]
        used = [touch.flushed or touch.at for touch in here]
        return replace(
            self.state,
            last_flush=max([*counted, *started, *bags], default=None),
            last_touch=max([*used, *(fact.happened for fact in facts)], default=None),
        )

    def _still_open(self, touch: Touch) -> Touch:
        """Mark what was planned before something came in its way and is not recorded: it is not to be done now.

        What was overtaken since, or is over for a household that does not record, stays as it is.
        """
        if touch.outcome is not None and not touch.outstanding:
            return touch
        last = self.state.last_touch
        if last is not None and last > touch.at:
            return touch

        def meets(begin: Instant, end: Instant) -> bool:
            # What is older than a limit is history, and waits for its record only.
            recent = begin - touch.at <= touch.plan.idle_limit(touch.plan.lumens[self.name])
            return end == ENDLESS and touch.at < begin and recent

        asks = [Ask(why, since=begin) for begin, end, why in self._blocked if meets(begin, end)]
        asks += [
            Ask(AskWhy.PROBLEM, since=begin, sign=sign) for begin, end, sign in self._problems if meets(begin, end)
        ]
        asks += [Ask(AskWhy.HELD, since=begin) for begin, end in self._away if meets(begin, end)]
        asks += [Ask(AskWhy.NEEDLE_OUT, since=begin) for begin, end in self.happened.needle_out if meets(begin, end)]
        for dose in touch.starts:
            if dose.state is DoseState.UNRECORDED:
                held = [span for span in self.happened.held(dose.order) if span not in self._away]
                asks += [Ask(AskWhy.HELD, since=begin, other=dose.order) for begin, end in held if meets(begin, end)]
        asks = [ask for ask in asks if ask not in touch.asks]
        if not asks:
            return touch
        offered = not any(ask.why in BLOCKS for ask in asks)
        return replace(touch, asks=(*touch.asks, *asks), steps=touch.steps if offered else ())


def _known(touch: Touch) -> bool:
    """Say whether the flush of a touch is recorded."""
    return touch.outcome is Outcome.DONE and not touch.outstanding and bool(touch.steps)


def _spans(dose: Dose) -> list[tuple[Instant, Instant]]:
    """Return the stretches in which a dose runs: from start to end without its pauses."""
    spans = []
    left, right = dose.start, ENDLESS if dose.end is None else dose.end
    for begin, resumed in dose.pauses:
        if left < begin < right:
            spans.append((left, begin))
        left = max(left, min(resumed, right))
    if left < right or not dose.pauses:
        spans.append((left, right))
    return spans
