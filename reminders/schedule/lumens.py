"""One lumen over the whole horizon: the touches that its doses need, and the idle flushes between them (R6-R10, R15)."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property

from reminders.plan.model import Lumen, Plan
from reminders.plan.order import FlushThrough, GivenAs, Order
from reminders.schedule import steps as do
from reminders.schedule.actual import Actual
from reminders.schedule.answers import Anchor, assign, distinct
from reminders.schedule.asks import describes
from reminders.schedule.bags import bag_changes, believed_grid
from reminders.schedule.beliefs import (
    Coming,
    Limits,
    LumenUse,
    Recorded,
    Taken,
    Version,
    about,
    instants,
    told_spans,
    versions,
)
from reminders.schedule.care import Occurrence
from reminders.schedule.draws import Drawn
from reminders.schedule.happened import Happened
from reminders.schedule.identity import Identities
from reminders.schedule.idle import Placed
from reminders.schedule.idle_touches import IdleTouches
from reminders.schedule.in_force import Stretch
from reminders.schedule.limits import limit_of, placing_of
from reminders.schedule.model import (
    ENDLESS,
    NEVER,
    UNTIL,
    Dose,
    DoseState,
    LumenState,
    Outcome,
    Reason,
    Touch,
    TouchKind,
)
from reminders.schedule.offers import Offers
from reminders.schedule.touches import Meeting, TouchWriter, by_record
from reminders.times import Instant, merged


class LumenPlan:
    """One lumen over the horizon: first how it is used, then, when all idle flushes are placed, its touches."""

    def __init__(
        self,
        in_force: Sequence[Stretch],
        name: str,
        actual: Actual,
        happened: Happened,
        names: Identities,
        draws: Sequence[Occurrence],
        horizon: tuple[Instant, Instant, Instant],
    ) -> None:
        """Take what all lumens share, and the draws that are planned through this one or were.

        ``horizon``: its start, its end, and how far idle flushes are planned.
        """
        self.in_force, self.name, self.actual, self.happened, self.names = in_force, name, actual, happened, names
        self.start, self.end, self.beyond = horizon
        self.told = happened.anything
        self._begins = [stretch.begins for stretch in in_force]
        self._offers = Offers(in_force, name, happened, self._plan)
        self._away = happened.away
        self._planned_draws = draws
        self.handled, self._draws = self._handled((), self.beyond) if self.used else ([], [])

    @cached_property
    def _known_draws(self) -> dict[str, Instant]:
        """Return since when it is known of each planned draw that it comes when it comes, by its event."""
        return {self.names.of("task", draw.task, draw.key): draw.known for draw in self._planned_draws}

    @property
    def state(self) -> LumenState:
        """Return what stands in the way of using the lumen."""
        return self._offers.state

    @property
    def used(self) -> bool:
        """Say whether the lumen is ever in use, or anything is recorded of it."""
        return self._ever_used() or self._ever_told()

    def touches(self, placed: Sequence[Placed], reasons: Sequence[Reason]) -> tuple[list[Touch], LumenState]:
        """Return all touches of the lumen, its idle flushes among them, and what is recorded of it."""
        if not self.used:
            return [], self._offers.state
        handled, draws = self.handled, self._draws
        withdraws = any(
            lumen.flush_through is FlushThrough.WITHDRAW
            for plan in self._plans()
            if (lumen := self._in(plan)) is not None
        )
        # Whether a start finds a lock to draw out depends on the idle flushes before it.
        idle = [flush.at for flush in placed] if withdraws else []
        if idle or self.beyond != self.end:
            handled, draws = self._handled(idle, self.end)
        asides = [touch for dose in self._connected if not dose.reckoned for touch in self._aside(dose)]
        written = IdleTouches(
            self.name, self._plan, self.names, self._offers.asks_at, self._writer.not_through, self._flush_facts
        )
        idles = written.touches(
            (flush, reason)
            for flush, reason in zip(placed, reasons, strict=True)
            if flush.at <= self.end or flush.answer is not None
        )
        return self._offers.last_pass([*handled, *asides, *draws, *idles], list(self._flush_facts.values()))

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
        told = bool(self.happened.flushes.get(self.name) or self._drawn())
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
            if dose.lumen == self.name
            and (dose.started is not None or self._usable(dose.start))
            and self._in_plan(dose)
        ]

    def _in_plan(self, dose: Dose) -> bool:
        """Say whether a dose was not put off beyond the plan's end, unless that only rolls on."""
        return dose.started is not None or dose.start < self.end or self.beyond != self.end

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

    # The touches that its doses need

    def _handled(self, idle: Sequence[Instant], end: Instant) -> tuple[list[Touch], list[Touch]]:
        """Return the touches, up to an end, of the doses that are reckoned with and of the recorded draws, in order."""
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
            if dose.start >= end and dose.started is None:
                continue  # it only says whether what ends just before it is locked
            meetings[dose.start].starts.append(dose)
            if dose.end is not None and self._order(dose).given_as is not GivenAs.PUSH:
                meetings[dose.end].ends.append(dose)
            told = self.happened.doses.get((dose.order, dose.key))
            for at, bag in bag_changes(self.in_force, dose, told.bags if told else (), end):
                meetings[at].bags.append(bag)
        for draw in self._planned_draws:
            if draw.outcome is None and self.start <= draw.planned < end and self._usable(draw.planned):
                meetings[draw.planned].draws.append(draw)
        self._busy = merged(self._busy)
        self._writer = TouchWriter(
            self._plan,
            self.name,
            self.names,
            starts=sorted(starts),
            begins=frozenset(begin for begin, _ in self._busy),
            infusing=merged(infusing),
            doses=self._running(),
            idle=idle,
            asks_at=self._offers.asks_at,
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
                dose
                for dose in running
                if dose.lumen == self.name and dose.reckoned and self._usable(dose.start) and self._in_plan(dose)
            ]
        return found

    def _with_flushes(self, handled: list[Touch]) -> tuple[list[Touch], list[Touch]]:
        """Give each recorded flush to the touch that it belongs to; leave the others in ``self._besides``."""
        self._besides: list[Recorded] = []
        self._flush_facts = {fact.key: fact for fact in distinct(self.happened.flushes.get(self.name, ()), self._plan)}
        drawn = self._drawn()
        left_out = [self._writer.not_drawn(draw) for draw in self._planned_draws if draw.outcome is Outcome.SKIPPED]
        if not self._flush_facts and not drawn and not self.happened.orders:
            return handled, left_out
        anchors = [
            Anchor(
                touch.at,
                touch.kind is TouchKind.FINISH and do.flushes(touch.steps),
                touch.outcome is not None,
                bool(touch.starts or do.flushes(touch.steps)),
            )
            for touch in handled
        ]
        anchors_of_draws = [Anchor(draw.fact.happened, True, True, True) for draw in drawn]
        assign(self._flush_facts.values(), [*anchors, *anchors_of_draws], self._plan, self.name, self._besides)
        handled = [self._flushed(touch, anchor) for touch, anchor in zip(handled, anchors, strict=True)]
        draws = [
            self._flushed(self._writer.draw(draw), anchor) for draw, anchor in zip(drawn, anchors_of_draws, strict=True)
        ]
        return handled, [*(self._writer.after_unflushed(draw, handled) for draw in draws), *left_out]

    def _drawn(self) -> list[Drawn]:
        """Return the draws that were recorded, each with the tasks that it was: what is drawn together is flushed once."""
        tasks = {draw.fact.key: draw for draw in self._planned_draws if draw.fact is not None}
        told = [draw.fact for draw in tasks.values() if draw.fact is not None]
        found: dict[Instant, Drawn] = {}
        for fact in {fact.key: fact for fact in (*told, *self.happened.draws.get(self.name, ()))}.values():
            task, before = tasks.get(fact.key), found.get(fact.happened)
            planned = () if task is None or task.besides else (task,)
            found[fact.happened] = Drawn(fact, (*(before.tasks if before else ()), *planned))
        return sorted(found.values(), key=lambda draw: draw.fact.happened)

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
        kept = self._writer.not_through(touch.at, recorded=True)
        steps = () if kept else touch.steps
        return replace(touch, outstanding=True, asks=(*self._offers.asks_at(touch.at), *kept), steps=steps)

    # What the idle flushes between them depend on

    def use(self) -> LumenUse:
        """Return how the lumen is used, and since when that is known."""
        closed = [(begin, end) for begin, end, _ in self._offers.blocked]
        return LumenUse(
            coming=sorted(self._coming(), key=lambda touch: touch.at),
            taken=[*self._taken(), *(span for ends in (*closed, *self._away) for span in told_spans(*ends))],
            recorded=self._besides,
            skipped=[fact.planned_for or fact.happened for fact in self.happened.skipped.get(self.name, ())],
            limits=self._limits(),
        )

    def _limits(self) -> list[Limits]:
        found = []
        for stretch in self.in_force:
            begins, ends = max(stretch.begins, self.start), min(stretch.ends, self.beyond)
            lumen = self._in(stretch.plan)
            if begins >= ends or lumen is None or not lumen.in_use or lumen.flush_through is FlushThrough.NURSE:
                continue
            # What a first plan states, and what a revision states that takes effect later, was flushed before it.
            stated = lumen.last_flushed.instant if stretch.new_revision else None
            rules = placing_of(stretch.plan, lumen), limit_of(stretch.plan, lumen)
            cuts = [at for at in self.happened.exchanged if begins <= at < ends]
            for first, last in zip([begins, *cuts], [*cuts, ends], strict=True):
                afresh = first in cuts
                if afresh:
                    stated = lumen.last_flushed.instant if describes(stretch, first) else None
                if first < last or afresh:
                    found.append(Limits(first, last, *rules, stated, afresh))
                stated = None
        return found

    def _coming(self) -> Iterator[Coming]:
        """Yield the touches as they stand, and as they were believed to come before something moved them."""
        drawn = [touch for touch in self._draws if touch.outcome is not Outcome.SKIPPED]
        for touch in (*self.handled, *drawn):
            flushes = touch.counts and bool(touch.starts or do.flushes(touch.steps))
            since, until, at = self._since(touch), ENDLESS, touch.flushed or touch.at
            through = any(ask.why in UNTIL for ask in touch.asks)
            if touch.outcome is None and touch.asks and (touch.kind is TouchKind.DRAW or through):
                # Nothing leans on what must be asked about (R11), from when on that is known.
                asked = [ask.since for ask in touch.asks if ask.since is not None and ask.why not in UNTIL]
                until = min(asked, default=since)
                if until <= since:
                    continue
            if self._offers.left_to_others(touch):
                until = max(since, *(begin for begin, end in self._away if begin <= touch.at < end))
            if touch.flushed is not None and at > touch.at:
                yield Coming(touch.at, flushes, since=since, until=at)  # it was still to be flushed
                since = max(since, at)
            if touch.bags and touch.planned != touch.at and self._order(touch.bags[0]).bag_every is None:
                yield Coming(touch.planned, flushes, ("bag", touch.uid), until=touch.at)
            for named in about(touch):
                yield Coming(at, flushes, named, _recorded(touch), since, until)
        for dose, found in self._believed():
            for at, since, until in instants(found, self.name, lambda version: version.start):
                if until != ENDLESS and self._usable(at):
                    yield Coming(at, True, ("start", dose.order, dose.key), since=since, until=until)
            for at, since, until in instants(found, self.name, lambda version: version.end):
                if until != ENDLESS and at != ENDLESS and self._order(dose).given_as is not GivenAs.PUSH:
                    yield Coming(at, True, ("end", dose.order, dose.key), since=since, until=until)
        for draw in self._planned_draws:
            if draw.outcome is not None and not draw.besides:
                uid = self.names.of("task", draw.task, draw.key)
                yield Coming(draw.planned, True, ("bag", uid), until=draw.at if draw.fact else draw.known)
        for dose in self._connected if self.told else ():
            yield from self._grid_of_bags(dose)

    def _grid_of_bags(self, dose: Dose) -> Iterator[Coming]:
        """Yield when bags were to be changed before something was recorded from which the next ones count."""
        told = self.happened.doses.get((dose.order, dose.key))
        every = self._order(dose).bag_every
        if told is None or every is None:
            return
        for at, number, since, until in believed_grid(dose, told.bags, every, self.beyond):
            uid = self.names.of("bag", dose.order, dose.key, str(number))
            yield Coming(at, False, ("bag", uid), since=since, until=until)

    def _taken(self) -> Iterator[Taken]:
        """Yield when something runs, as it stands and as it was believed."""
        for dose in self._running():
            since = NEVER
            if _in_question(dose):
                since = self._versions(dose)[-1].since
            for begin, end in _spans(dose):
                yield Taken(begin, end, since)
        for _dose, found in self._believed():
            for version in found:
                if version.lumen == self.name and version.until != ENDLESS and self._usable(version.start):
                    yield Taken(version.start, version.end, version.since, version.until)

    def _believed(self) -> Iterator[tuple[Dose, list[Version]]]:
        """Yield the doses that a fact or a question has touched, with what was believed of them."""
        for found in self.actual.connected.values() if self.told else ():
            for dose in found:
                if _in_question(dose) and self.name in (dose.lumen, self._ordered_for(dose)):
                    yield dose, self._versions(dose)

    def _versions(self, dose: Dose) -> list[Version]:
        """Return what was believed of a dose; one that was held, or must be asked about, was not counted upon from then on."""
        found = []
        for version in versions(dose, self._ordered_for(dose)):
            until = version.until
            if not dose.extra and (dose.started is None or version.since < dose.started):
                happened, lumen = self.happened, version.lumen
                spans = [*happened.held(dose.order), *happened.needle_out]
                spans += [span[:2] for span in (*happened.blocked(lumen), *happened.problems(lumen))]
                until = min([until, *(begin for begin, end in spans if begin <= version.start < end)])
            if until > version.since:
                found.append(replace(version, until=until))
        return found

    def _ordered_for(self, dose: Dose) -> str:
        return self._plan(dose.due).orders[dose.order].lumen

    def _since(self, touch: Touch) -> Instant:
        """Return since when it is known that a touch comes when it comes."""
        found = [NEVER]
        for dose in touch.starts:
            if _in_question(dose):
                believed = self._versions(dose)
                found.append(instants(believed, self.name, lambda version: version.start)[-1][1])
        for dose in touch.ends:
            if _in_question(dose):
                believed = self._versions(dose)
                found.append(instants(believed, self.name, lambda version: version.end)[-1][1])
        for dose in touch.bags:
            told = self.happened.doses.get((dose.order, dose.key))
            if self._order(dose).bag_every is not None:
                found += [at for at in (told.bags if told else ()) if at <= touch.at]
                found += [dose.start] if told is not None and dose.start != dose.due else []
            elif touch.planned != touch.at:
                found.append(touch.at)
        if touch.kind is TouchKind.DRAW:
            found.append(self._known_draws.get(touch.uid, touch.at))
        return max(found)


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


def _recorded(touch: Touch) -> bool:
    """Say whether the flush of a touch is recorded."""
    return touch.outcome is Outcome.DONE and not touch.outstanding and bool(touch.steps)


def _in_question(dose: Dose) -> bool:
    """Say whether a dose was ever believed to be something else than it is."""
    return bool(dose.moved or dose.asks or dose.put_off or dose.started or dose.finished) or not dose.reckoned
