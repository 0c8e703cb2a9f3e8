"""What the record says, sorted by what it is about: each dose, each lumen, each order, the line (R13, R19, S1-S14).

Which fact answers which dose is stated by the fact itself: its order and the dose's key. A flush names a lumen only;
which planned flush it answers is worked out where flushes are placed.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from reminders.plan.model import Plan
from reminders.record.facts import ASKS_FIRST, SUSPENDS, Fact, Kind, Record, Sign
from reminders.schedule.doses import moment_key
from reminders.schedule.model import ENDLESS, NEVER, AskWhy, Spans
from reminders.times import Instant

AGAIN = " again "
"""What stands between the key of a dose and the moment of its second start, in the key of that one."""

EVERYTHING = ""
"""The scope of a hold or release that names no order."""


@dataclass(slots=True)
class DoseFacts:
    """The facts about one dose.

    ``started``: the earliest start, if several people report it. ``finished``: the earliest finish, or that it was
    stopped early. ``dropped``: the last word that it is not to be given or was not given. ``pauses``: from each
    interruption to its resumption, or without an end. ``last_known``: when the last of them happened;
    ``last_entered``: when any of them was last entered.
    """

    started: Fact | None = None
    finished: Fact | None = None
    delayed: list[Fact] = field(default_factory=list)
    dropped: Fact | None = None
    pauses: list[tuple[Instant, Instant]] = field(default_factory=list)
    bags: list[Instant] = field(default_factory=list)
    last_known: Instant = NEVER
    last_entered: Instant = NEVER


class Happened:
    """The facts of a record, each where it is looked for. ``plan_at`` names the plan in force at an instant."""

    def __init__(self, record: Record, plan_at: Callable[[Instant], Plan]) -> None:
        """Sort the standing facts in the order in which they happened."""
        self.doses: dict[tuple[str, str], DoseFacts] = defaultdict(DoseFacts)
        self.flushes: dict[str, list[Fact]] = defaultdict(list)
        self.draws: dict[str, list[Fact]] = defaultdict(list)
        self.skipped: dict[str, list[Fact]] = defaultdict(list)
        self.tasks: list[Fact] = []
        self.removed: Instant | None = None
        self.exchanged: list[Instant] = []
        self.needle_out: list[tuple[Instant, Instant]] = []
        self.orders: set[str] = set()
        self._plan_at = plan_at
        self._holds: dict[str, list[tuple[Instant, Instant]]] = defaultdict(list)
        self._blocks: dict[tuple[str, AskWhy], list[tuple[Instant, Instant]]] = defaultdict(list)
        self._problems: dict[tuple[str, Sign], list[tuple[Instant, Instant]]] = defaultdict(list)
        self.anything = bool(record.standing)
        for fact in record.standing:
            self._take(fact)

    def held(self, order: str) -> Spans:
        """Return the stretches in which an order is held, by itself or with everything."""
        return tuple(sorted([*self._holds.get(order, ()), *self._holds.get(EVERYTHING, ())]))

    def handling_time(self, at: Instant) -> int:
        """Return how long one touch takes by the plan in force at an instant, in minutes."""
        return self._plan_at(at).course.handling_time

    @property
    def away(self) -> Spans:
        """Return the stretches in which everything is held: a stay in hospital (S14)."""
        return tuple(self._holds.get(EVERYTHING, ()))

    def blocked(self, lumen: str) -> tuple[tuple[Instant, Instant, AskWhy], ...]:
        """Return the stretches in which nothing is offered on a lumen, with the reason, in order."""
        spans = [(*span, why) for (name, why), found in self._blocks.items() if name == lumen for span in found]
        return tuple(sorted(spans, key=lambda span: (span[0], span[1], span[2].value)))

    def problems(self, lumen: str) -> tuple[tuple[Instant, Instant, Sign], ...]:
        """Return the stretches in which a lumen has a problem, with its sign, in order."""
        spans = [(*span, sign) for (name, sign), found in self._problems.items() if name == lumen for span in found]
        return tuple(sorted(spans, key=lambda span: (span[0], span[1], span[2].value)))

    def _take(self, fact: Fact) -> None:
        at = fact.happened
        if fact.kind in OF_DOSE:
            key = fact.dose
            if fact.kind is Kind.STARTED and fact.again and AGAIN not in key:
                key = f"{key}{AGAIN}{moment_key(at)}"  # a second dose is one of its own
            self._take_dose(fact, self.doses[fact.order, key])
        elif fact.kind is Kind.FLUSHED:
            self.flushes[fact.lumen].append(fact)
        elif fact.kind is Kind.DRAWN:
            if not self._told_again(fact, (other.happened for other in self.draws[fact.lumen])):
                self.draws[fact.lumen].append(fact)
        elif fact.kind is Kind.SKIPPED:
            if fact.order:
                self._take_dose(fact, self.doses[fact.order, fact.dose])
            else:
                self.skipped[fact.lumen].append(fact)
        elif fact.kind in OF_TASK:
            self.tasks.append(fact)
        elif fact.kind is Kind.HELD:
            _open(self._holds[fact.order], at)
        elif fact.kind is Kind.RELEASED:
            self._release(fact)
        elif fact.kind is Kind.PROBLEM:
            self._take_problem(fact)
        elif fact.kind is Kind.OUT_OF_USE:
            _open(self._blocks[fact.lumen, AskWhy.OUT_OF_USE], at)
        elif fact.kind is Kind.NEEDLE_OUT:
            _open(self.needle_out, at)
        elif fact.kind is Kind.NEEDLE_IN:
            _close(self.needle_out, at)
        elif fact.kind is Kind.REMOVED:
            self.removed = at if self.removed is None else min(self.removed, at)
        elif fact.kind is Kind.EXCHANGED:
            self.exchanged.append(at)
            # A new line has none of the old one's troubles.
            for spans in (*self._blocks.values(), *self._problems.values()):
                _close(spans, at)

    def _take_dose(self, fact: Fact, told: DoseFacts) -> None:
        at = fact.happened
        self.orders.add(fact.order)
        told.last_known, told.last_entered = at, max(told.last_entered, fact.entered)
        if fact.kind is Kind.STARTED:
            told.started = told.started or fact
        elif fact.kind in (Kind.FINISHED, Kind.STOPPED):
            if told.finished is None:
                told.finished = fact
                _close(told.pauses, at)
            self._flowing(fact)
            self._take_sign(fact)
        elif fact.kind is Kind.INTERRUPTED:
            if told.finished is None:
                _open(told.pauses, at)
            self._take_sign(fact)
        elif fact.kind is Kind.RESUMED:
            _close(told.pauses, at)
            self._flowing(fact)
        elif fact.kind is Kind.DELAYED:
            told.delayed.append(fact)
        elif fact.kind is Kind.BAG_CHANGED:
            if not self._told_again(fact, told.bags):
                told.bags.append(at)
        else:
            told.dropped = fact

    def _take_sign(self, fact: Fact) -> None:
        for lumen in self._lumens(fact):
            if fact.sign in SUSPENDS:
                _open(self._blocks[lumen, AskWhy.SUSPENDED], fact.happened)
            elif fact.sign in ASKS_FIRST:
                _open(self._problems[lumen, fact.sign], fact.happened)

    def _take_problem(self, fact: Fact) -> None:
        self._take_sign(fact)
        if fact.kind is Kind.PROBLEM and fact.sign is Sign.NOT_FLOWING and fact.dose:
            told = self.doses[fact.order, fact.dose]
            self.orders.add(fact.order)
            if told.finished is None:
                _open(told.pauses, fact.happened)

    def _told_again(self, fact: Fact, before: Iterable[Instant]) -> bool:
        """Say whether somebody reported the same some minutes before."""
        near = self.handling_time(fact.happened)
        return any(fact.happened - at <= near for at in before)

    def _flowing(self, fact: Fact) -> None:
        """An infusion that goes on, or has ended, is no longer one that does not flow (S3)."""
        known = fact.lumen or fact.order in self._plan_at(fact.happened).orders
        for lumen in self._lumens(fact) if known else ():
            _close(self._problems[lumen, Sign.NOT_FLOWING], fact.happened)

    def _release(self, fact: Fact) -> None:
        at = fact.happened
        if not fact.lumen:
            _close(self._holds[fact.order], at)
            return
        for (lumen, _), spans in (*self._blocks.items(), *self._problems.items()):
            if lumen == fact.lumen:
                _close(spans, at)

    def _lumens(self, fact: Fact) -> list[str]:
        """Return the lumen that a fact is about; every one where nobody can say which."""
        if fact.lumen:
            return [fact.lumen]
        told = self.doses.get((fact.order, fact.dose))
        if told is not None and told.started is not None and told.started.lumen:
            return [told.started.lumen]
        plan = self._plan_at(fact.happened)
        order = plan.orders.get(fact.order)
        return [order.lumen] if order else list(plan.lumens)


OF_DOSE = frozenset(
    {
        Kind.STARTED,
        Kind.FINISHED,
        Kind.STOPPED,
        Kind.INTERRUPTED,
        Kind.RESUMED,
        Kind.DELAYED,
        Kind.BAG_CHANGED,
        Kind.NOT_GIVEN,
    }
)
"""Facts that name an order and one of its doses."""

OF_TASK = frozenset({Kind.TASK_DONE, Kind.TASK_PUT_OFF, Kind.TASK_SKIPPED})
"""Facts that name a care task."""


def _open(spans: list[tuple[Instant, Instant]], at: Instant) -> None:
    """Begin a stretch without an end, unless one is open."""
    if not spans or spans[-1][1] <= at:
        spans.append((at, ENDLESS))


def _close(spans: list[tuple[Instant, Instant]], at: Instant) -> None:
    """End the stretch that is open, if there is one."""
    if spans and spans[-1][1] == ENDLESS:
        spans[-1] = (spans[-1][0], at)


def within(spans: Iterable[tuple[Instant, Instant]], at: Instant) -> bool:
    """Say whether an instant lies in one of the stretches."""
    return any(begin <= at < end for begin, end in spans)
