"""Every dose as it is reckoned with: ordered by the revision in force at its moment, moved by what is recorded.

Ahead, what is not recorded is taken to happen as planned (R14). A dose that starts late ends late (R15), and the doses
after it keep their times unless their order says otherwise (R17). What runs without a pause - a continuous infusion,
a pump's reservoir - goes on through a new revision that orders it unchanged.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from reminders.plan.durations import duration
from reminders.plan.model import Plan
from reminders.plan.order import TIMINGS, AfterLateDose, GivenAs, Order, OrderClock
from reminders.record.facts import Fact, Kind
from reminders.schedule.doses import continuous_end, is_over, moment_key, ordered_doses, taken_off_by
from reminders.schedule.happened import AGAIN, DoseFacts, Happened, within
from reminders.schedule.in_force import Stretch
from reminders.schedule.model import DROPPED, ENDLESS, Ask, AskWhy, Dose, DoseState, Spans
from reminders.times import Instant

CONTINUOUS, RESERVOIR = "continuous", "reservoir"
"""The keys of what runs without a pause."""


@dataclass(frozen=True, slots=True)
class Actual:
    """The doses of every order, and what is connected by hand for it: its doses, or a pump's reservoir."""

    doses: Mapping[str, tuple[Dose, ...]]
    connected: Mapping[str, tuple[Dose, ...]]


def actual_doses(
    stretches: Sequence[Stretch],
    happened: Happened,
    end: Instant,
    until: Instant,
    held_up: Mapping[tuple[str, str], int] = MappingProxyType({}),
) -> Actual:
    """Return all doses that start before ``until``; ``end`` is the horizon's, by which a pump's last dose is judged.

    ``held_up``: for how many minutes a dose, by its order and key, is stopped for planned draws and finishes later.

    Raises:
        TooManyDosesError: an order has more doses than anyone means.
    """
    return _Doses(stretches, happened, end, until, held_up).all()


class _Doses:
    """Works the doses out, order by order; one that another follows comes before it."""

    def __init__(
        self,
        stretches: Sequence[Stretch],
        happened: Happened,
        end: Instant,
        until: Instant,
        held_up: Mapping[tuple[str, str], int],
    ) -> None:
        self._happened = happened
        self._held_up = held_up
        self._end = end
        self._until = until if happened.removed is None else min(until, happened.removed)
        self._revisions: list[tuple[Instant, Instant, Plan]] = []
        for stretch in stretches:
            if stretch.new_revision:
                self._revisions.append((stretch.begins, stretch.ends, stretch.revision))
            else:
                begins, _, plan = self._revisions[-1]
                self._revisions[-1] = (begins, stretch.ends, plan)
        self._found: dict[str, tuple[Dose, ...]] = {}
        self._shifts: dict[str, tuple[Order, list[tuple[Instant, int]]]] = {}

    def all(self) -> Actual:
        names = dict.fromkeys(name for *_, plan in reversed(self._revisions) for name in plan.orders)
        for name in names:
            self._add(name)
        doses = {name: self._found[name] for name in names}
        return Actual(doses, {name: self._connected(name) for name in names})

    def _add(self, name: str) -> None:
        if name in self._found:
            return
        for *_, plan in self._revisions:
            order = plan.orders.get(name)
            if order is not None and order.follows is not None:
                self._add(order.follows)
        if any(name in plan.orders and plan.orders[name].continuous for *_, plan in self._revisions):
            found = self._lasting(name, CONTINUOUS, lambda order: order.continuous)
        else:
            found = []
        for begins, ends, plan in self._revisions:
            order = plan.orders.get(name)
            if order is not None and not order.continuous:
                found += self._scheduled(plan, order, begins, ends)
        known = {dose.key for dose in found}
        found += self._extra(name, known)
        found.sort(key=lambda dose: (dose.start, dose.number, dose.key))
        self._found[name] = tuple(found)

    def _scheduled(self, plan: Plan, order: Order, begins: Instant, ends: Instant) -> list[Dose]:
        """Return the doses that one revision orders while it is in force."""
        led = self._found[order.follows] if order.follows is not None else ()
        leaders = [leader for leader in led if AGAIN not in leader.key]  # a second start is no second leader
        listed = ordered_doses(plan, order, min(self._until, ends), leaders)
        told = self._facts_of(order)
        ordered = 0 if order.as_needed else duration(order)
        assert ordered is not None, "an order without a duration does not pass the checks"
        last = min(taken_off_by(plan, order), self._happened.removed or ENDLESS)
        led_by = {leader.key: leader for leader in leaders}
        found: list[Dose] = []
        shifts = self._shifted(order)
        for entry in listed:
            if entry.start < begins:
                continue
            runs = ordered + self._held_up.get((order.name, entry.key), 0)
            shift = shifts[-1][1] if shifts else 0
            due = Instant(entry.start + shift)
            due_end = Instant(min(due + runs, last))
            dose = Dose(
                order=order.name,
                key=entry.key,
                number=entry.number,
                lumen=order.lumen,
                ordered=entry.start,
                due=due,
                start=due,
                end=due_end,
                due_end=due_end,
                put_off=_shifted_from(entry.start, runs, shifts),
            )
            if told is not None or shift:
                dose = self._told(dose, (told or {}).get(entry.key, NOTHING), runs, last, order)
                if order.after_late_dose is AfterLateDose.SHIFT and dose.state not in DROPPED:
                    late = max(0, dose.start - due)
                    if late:
                        shifts.append((self._known_of(dose), shift + late))
            if dose.state is DoseState.UNRECORDED and dose.due > entry.start and dose.start >= min(ends, last):
                dose = replace(dose, asks=(*dose.asks, Ask(AskWhy.NOT_ORDERED)))
            if (leader := led_by.get(entry.key)) is not None:
                dose = self._led(dose, leader, plan, runs)
            found.append(dose)
        self._shifts[order.name] = (order, shifts)
        return found

    def _shifted(self, order: Order) -> list[tuple[Instant, int]]:
        """Return by how much an order's doses are late already, each time with since when that is known.

        A revision that times the order alike changes nothing in that.
        """
        before = self._shifts.get(order.name)
        if before is None or any(getattr(before[0], key) != getattr(order, key) for key in (*TIMINGS, "first_dose")):
            return []
        return list(before[1])

    def _led(self, dose: Dose, leader: Dose, plan: Plan, runs: int) -> Dose:
        """Return a dose that follows another as that one leaves it: to be asked about, or put off with it."""
        asks = _about_leader(leader) if dose.state is DoseState.UNRECORDED else ()
        length = duration(plan.orders[leader.order]) or 0
        planned = Instant(leader.ordered + length + plan.orders[dose.order].follows_after)
        if planned == dose.ordered and not asks:
            return dose
        known = self._known_of(leader)
        return replace(
            dose, asks=(*dose.asks, *asks), put_off=(*dose.put_off, (planned, known), (Instant(planned + runs), known))
        )

    def _known_of(self, leader: Dose) -> Instant:
        """Return since when it is known that a dose does not take its ordered course: the first word of it counts."""
        told = self._happened.doses.get((leader.order, leader.key))
        holds = [begin for begin, end in self._happened.held(leader.order) if begin <= leader.due < end]
        since = [known for _when, known in leader.put_off]
        if since or holds:
            return min([*since, *holds])
        if told is not None and told.started is not None and leader.start != leader.due:
            return told.started.happened
        return told.last_known if told is not None else leader.ordered

    def _facts_of(self, order: Order) -> dict[str, DoseFacts] | None:
        """Return the facts about an order's doses by their keys; None where it has none and none is held."""
        if order.name not in self._happened.orders and not self._happened.held(order.name):
            return None
        return {key: told for (name, key), told in self._happened.doses.items() if name == order.name}

    def _told(self, dose: Dose, told: DoseFacts, runs: int, last: Instant, order: Order) -> Dose:
        """Return a dose as the facts about it have it."""
        started, finished, lumen = told.started, told.finished, dose.lumen
        due = _due(told, dose.due)
        start = due if started is None else started.happened
        if started is None and finished is not None and finished.happened <= start:
            start = Instant(finished.happened - runs)  # it must have been started, and nobody said when
        if started is not None and started.lumen:
            lumen = started.lumen
        due_end, end = self._end_of(start, told, runs, last)
        if finished is not None:
            end = max(start, finished.happened)
        state = _state(told, within(self._happened.held(dose.order), due))
        if state is DoseState.RUNNING and order.given_as is GivenAs.PUSH:
            state = DoseState.GIVEN  # a push is over when it is recorded
        if end is not None:
            end = max(start, end)
        return replace(
            dose,
            lumen=lumen,
            due=due,
            start=start,
            end=end,
            due_end=due_end,
            state=state,
            started=None if started is None else started.happened,
            finished=None if finished is None else finished.happened,
            pauses=tuple(told.pauses),
            put_off=(*dose.put_off, *_put_off(told, dose.due, runs, state, lumen != order.lumen)),
        )

    def _end_of(
        self, start: Instant, told: DoseFacts, runs: int, last: Instant
    ) -> tuple[Instant | None, Instant | None]:
        """Return when a dose is to finish by its start and the pauses that are over, and when it will; None for that
        while it is interrupted (S3)."""
        over = [(begin, resumed) for begin, resumed in told.pauses if resumed != ENDLESS]
        paused = sum(max(0, resumed - max(begin, start)) for begin, resumed in over)
        end = Instant(min(max([start + runs + paused, *(resumed for _, resumed in over)]), last))
        return end, end if len(over) == len(told.pauses) else None

    def _extra(self, name: str, known: Iterable[str]) -> list[Dose]:
        """Return what was recorded as started though no dose of the schedule has that key: as needed, or once more."""
        found = []
        keys = set(known)
        for (order_name, key), told in self._happened.doses.items():
            said = told.started or told.finished
            if order_name != name or key in keys or said is None or key.startswith((CONTINUOUS, RESERVOIR)):
                continue
            plan = next(plan for begins, ends, plan in self._revisions if begins <= said.happened < ends)
            order = plan.orders.get(name) or next(p.orders[name] for *_, p in self._revisions if name in p.orders)
            runs = 0 if order.continuous else duration(order) or 0
            last = min(taken_off_by(plan, order), self._happened.removed or ENDLESS)
            at = said.happened
            last = ENDLESS if at >= last else last  # after the removal nobody knows until when
            found.append(self._told(_besides(order, key, at, at), told, runs, last, order))
        return found

    def _connected(self, name: str) -> tuple[Dose, ...]:
        doses = self._found[name]
        if any(name in plan.orders and plan.orders[name].given_as is GivenAs.PUMP for *_, plan in self._revisions):
            return tuple(self._lasting(name, RESERVOIR, lambda order: order.given_as is GivenAs.PUMP))
        return doses

    def _lasting(self, name: str, key: str, wanted: Callable[[Order], bool]) -> list[Dose]:
        """Return the runs of what does not pause: one for as long as revisions order it in one lumen."""
        runs: list[Dose] = []
        drug = ""
        for begins, ends, plan in self._revisions:
            order = plan.orders.get(name)
            open_run = runs[-1] if runs and (runs[-1].end is None or runs[-1].end > begins) else None
            if order is None or not wanted(order):
                if open_run is not None:
                    runs[-1] = replace(open_run, end=begins, due_end=begins)
                continue
            span = self._whole_run(plan, order, key)
            if span is None:
                continue
            first, end = span
            if open_run is not None and order.lumen == open_run.lumen and order.drug == drug:
                runs[-1] = replace(open_run, end=end, due_end=end)
                continue
            if open_run is not None:
                runs[-1] = replace(open_run, end=begins, due_end=begins)
            start = max(first, begins)
            if start >= ends or (end is not None and end <= start and begins > first):
                continue
            drug = order.drug
            runs.append(
                Dose(
                    order=name,
                    key=key if not runs else f"{key}@{moment_key(start)}",
                    number=1,
                    lumen=order.lumen,
                    ordered=start,
                    due=start,
                    start=start,
                    end=end,
                    due_end=end,
                )
            )
        for told_key, started in self._starts_again(name, key) if runs else ():
            at = started.happened
            # What was running until then was replaced by it.
            runs = [
                replace(run, end=at, due_end=at) if run.start < at and (run.end is None or run.end > at) else run
                for run in runs
            ]
            runs.append(self._once_more(name, key, (told_key, started)))
        return [self._told_lasting(run) for run in runs if run.start < self._until]

    def _starts_again(self, name: str, key: str) -> list[tuple[str, Fact]]:
        """Return the later starts of what runs without a pause: each is a run of its own."""
        return [
            (told_key, told.started)
            for (order, told_key), told in self._happened.doses.items()
            if order == name and told_key.startswith(f"{key}{AGAIN}") and told.started is not None
        ]

    def _once_more(self, name: str, key: str, told: tuple[str, Fact]) -> Dose:
        told_key, started = told
        at = started.happened
        # The revision in force may not order it any more: then the last one that did says what it is.
        plan = [plan for begins, _ends, plan in self._revisions if begins <= at and name in plan.orders][-1]
        order = plan.orders[name]
        span = self._whole_run(plan, order, key)
        end = span[1] if span is not None and (span[1] is None or span[1] > at) else None
        return _besides(order, told_key, at, end)

    def _whole_run(self, plan: Plan, order: Order, key: str) -> tuple[Instant, Instant | None] | None:
        """Return from when to when one revision has it run; a reservoir until its last dose has run, or its removal."""
        if key == CONTINUOUS:
            assert order.first_dose is not None, "an order without a first dose does not pass the checks"
            return order.first_dose.instant, continuous_end(plan, order)
        listed = [dose for dose in self._found[order.name] if not dose.extra]
        if not listed:
            return None
        home = order.clock is OrderClock.HOME and order.first_dose is not None
        first = order.first_dose.instant if home and order.first_dose is not None else listed[0].ordered
        last = listed[-1].due_end if is_over(plan, order, self._end) else continuous_end(plan, order)
        return first, order.stops.instant if order.stops is not None else last

    def _told_lasting(self, run: Dose) -> Dose:
        """Return a run as the facts have it: its ordered end stays, whatever its start and its pauses."""
        removed = self._happened.removed
        if removed is not None and (run.end is None or run.end > removed):
            run = replace(run, end=removed, due_end=removed)
        told = self._happened.doses.get((run.order, run.key))
        held = self._happened.held(run.order)
        if told is None and not held:
            return run
        told = told or NOTHING
        due = _due(told, run.due)
        start = due if told.started is None else told.started.happened
        end = run.end if told.finished is None else max(start, told.finished.happened)
        lumen = told.started.lumen if told.started is not None and told.started.lumen else run.lumen
        return replace(
            run,
            lumen=lumen,
            due=due,
            start=start,
            end=end,
            state=_state(told, within(held, due)),
            started=None if told.started is None else told.started.happened,
            finished=None if told.finished is None else told.finished.happened,
            pauses=tuple(told.pauses),
        )


NOTHING = DoseFacts()
"""What is recorded of a dose of which nothing is recorded."""


def _besides(order: Order, key: str, at: Instant, end: Instant | None) -> Dose:
    """Return a dose that was recorded and is not one of those that were scheduled."""
    return Dose(
        order=order.name,
        key=key,
        number=0,
        lumen=order.lumen,
        ordered=at,
        due=at,
        start=at,
        end=end,
        due_end=end,
        extra=True,
    )


def _shifted_from(ordered: Instant, runs: int, shifts: Sequence[tuple[Instant, int]]) -> Spans:
    """Return when a dose was to start and finish before each of the shifts that put it off."""
    found: list[tuple[Instant, Instant]] = []
    before = 0
    for known, shift in shifts:
        found += [(Instant(ordered + before), known), (Instant(ordered + before + runs), known)]
        before = shift
    return tuple(found)


def _put_off(told: DoseFacts, due: Instant, runs: int, state: DoseState, other_lumen: bool) -> Spans:
    """Return when start and finish were to be and are not, each with the moment since when that is known."""
    found: list[tuple[Instant, Instant]] = []

    def put_off(known: Instant) -> None:
        found.extend([(due, known), (Instant(due + runs), known)])

    for fact in _delays(told):
        put_off(fact.happened)
        due = fact.until or due
    if told.dropped is not None and state in DROPPED:
        put_off(told.dropped.happened)
    elif told.started is not None and (other_lumen or state is DoseState.ELSEWHERE):
        put_off(told.started.happened)
    return tuple(found)


def _delays(told: DoseFacts) -> list[Fact]:
    """Return what was said of a delay; what was said of it after the start says nothing any more."""
    return [fact for fact in told.delayed if told.started is None or fact.happened <= told.started.happened]


def _due(told: DoseFacts, due: Instant) -> Instant:
    """Return when a dose is to start: when it was due, or when it was last put off to."""
    delays = _delays(told)
    return (delays[-1].until or due) if delays else due


def _about_leader(leader: Dose) -> tuple[Ask, ...]:
    """Return why to ask before a dose that follows another; nothing where that one takes its course."""
    if leader.state is DoseState.STOPPED:
        return (Ask(AskWhy.PART_GIVEN, since=leader.end, other=leader.order),)
    if leader.state in DROPPED or leader.state is DoseState.ELSEWHERE or leader.end is None or leader.asks:
        return (Ask(AskWhy.LEADER, other=leader.order),)
    return ()


def _state(told: DoseFacts, held: bool) -> DoseState:
    """Return what the facts make of a dose. That it was given outweighs that it was not (R18): it may have been."""
    given: Sequence[Fact] = [fact for fact in (told.started, told.finished) if fact is not None]
    if told.finished is not None and told.finished.kind is Kind.STOPPED:
        return DoseState.STOPPED
    if given and given[0].elsewhere and not given[0].lumen_used:
        return DoseState.ELSEWHERE
    if told.finished is not None:
        return DoseState.GIVEN
    if told.started is not None:
        return DoseState.RUNNING
    if told.dropped is not None:
        return DoseState.NOT_GIVEN if told.dropped.kind is Kind.NOT_GIVEN else DoseState.SKIPPED
    return DoseState.HELD if held else DoseState.UNRECORDED
