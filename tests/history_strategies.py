"""Histories, made up at random: a plan, what the household recorded of it up to a moment, and that moment.

The plans are those of :mod:`strategies`. Their events are walked in time, and each is reported on time, late, early, in
part or not at all; lumens have troubles, orders are held, people report the same thing twice and take things back.
Everything is invented and means nothing.
"""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from hypothesis import strategies as st
from simulation import Values, in_words
from strategies import ZONES, plans, toml_text

from reminders.findings import has_errors
from reminders.plan.model import Plan
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY, Fact, Kind, Record, Sign
from reminders.schedule.compile import compile_schedule
from reminders.schedule.doses import moment_key
from reminders.schedule.model import Dose, Schedule, Touch, TouchKind
from reminders.times import Instant

T = TypeVar("T")
HOUR = 60
SUSPENDING = (Sign.PAIN, Sign.SWELLING, Sign.LEAK, Sign.REACTION)
DOUBTFUL = (Sign.WILL_NOT_FLUSH, Sign.NO_BLOOD_RETURN)


@dataclass(frozen=True, repr=False)
class History:
    """A plan as text, as values and as read; what was recorded, in the order of entry; and now."""

    text: str
    values: Values
    plan: Plan
    record: Record
    now: Instant

    def __repr__(self) -> str:
        """Show the plan and what was recorded, one fact on a line, in UTC."""
        told = "\n".join(_line(fact) for fact in self.record.facts)
        return f"\n{self.text}\n{told}\nnow {in_words(self.now)}"

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        """Show it so where hypothesis shows a failure."""
        printer.text(repr(self))


def _line(fact: Fact) -> str:
    shown = [f"{in_words(fact.happened)} {fact.kind.value}"]
    for name in "key order dose lumen until fluids sign elsewhere lumen_used again planned_for withdraws".split():
        value = getattr(fact, name)
        if value:
            shown.append(f"{name}={in_words(value) if name in ('until', 'planned_for') else value}")
    return " ".join(shown)


class _Recorder:
    """Records one household's days from one source of chance."""

    def __init__(self, chance: random.Random, plan: Plan, until: Instant, habits: str) -> None:
        self.chance, self.plan, self.until = chance, plan, until
        self.habits = habits
        self.schedule: Schedule = compile_schedule(plan, EMPTY, plan.course.start.instant)
        self.facts: list[Fact] = []
        self.handling = plan.course.handling_time
        self.starts: dict[tuple[str, str], int] = {}
        self.over: set[tuple[str, str]] = set()

    def one(self, options: Sequence[T]) -> T:
        return self.chance.choice(options)

    def maybe(self, share: float) -> bool:
        return self.chance.random() < share

    def between(self, least: int, most: int) -> int:
        return self.chance.randint(least, max(least, most))

    def tell(self, kind: Kind, at: int, **values: Any) -> bool:
        """Record a fact, unless it would lie ahead; some are entered late."""
        if not self.plan.course.start.instant <= at <= self.until:
            return False
        entered = at if self.maybe(0.7) else self.between(at, self.until)
        key = f"f{len(self.facts) + 1}"
        self.facts.append(
            Fact(key=key, report=key, kind=kind, happened=Instant(at), entered=Instant(entered), **values)
        )
        return True

    # The walk

    def record(self) -> Record:
        if self.plan.course.start.instant >= self.until:
            return EMPTY
        for touch in self.schedule.touches:
            if touch.at > self.until:
                break
            if self.habits != "careless" or self.maybe(0.5):
                self.event(touch)
        for _ in range(self.one([0, 0, 1, 2, 4])):
            self.something_else()
        for _ in range(self.one([0, 0, 0, 1, 2])):
            self.report_twice()
        for _ in range(self.one([0, 0, 0, 1, 2])):
            self.take_back()
        if self.maybe(0.06):
            self.tell(Kind.REMOVED, self.between(self.until - 12 * HOUR, self.until))
        facts = sorted(self.facts, key=lambda fact: fact.entered)
        return Record(tuple(facts))

    def drift(self) -> int:
        """Return by how many minutes something is done late, or early."""
        if self.habits == "punctual":
            return self.between(-3, 8)
        way = self.chance.random()
        if way < 0.25:
            return 0
        if way < 0.65:
            return self.between(-10, 25)
        return self.between(30, 6 * HOUR) if way < 0.85 else -self.between(15, 4 * HOUR)

    def event(self, touch: Touch) -> None:
        if touch.kind is TouchKind.IDLE_FLUSH:
            self.idle_flush(touch)
            return
        for dose in touch.ends:
            self.finish(dose)
        for dose in touch.bags:
            if self.maybe(0.6):
                self.tell(Kind.BAG_CHANGED, touch.at + self.between(-20, 60), order=dose.order, dose=dose.key)
        for dose in touch.starts:
            self.start(dose, touch)

    def idle_flush(self, touch: Touch) -> None:
        way = self.chance.random()
        if way < 0.75:
            fluids = {"fluids": ("saline",)} if self.maybe(0.15) else {}
            self.tell(Kind.FLUSHED, touch.at + self.drift(), lumen=touch.lumen, **fluids)
        elif way < 0.8:
            self.tell(Kind.SKIPPED, touch.at - self.between(0, 60), lumen=touch.lumen, planned_for=touch.at)

    def start(self, dose: Dose, touch: Touch) -> None:
        about = {"order": dose.order, "dose": dose.key}
        at = dose.start + self.drift()
        way = self.chance.random()
        if way < 0.68:
            more: dict[str, Any] = {}
            if self.maybe(0.05):
                more = {"elsewhere": True, "lumen_used": self.maybe(0.4)}
            elif self.maybe(0.05):
                more = {"lumen": self.one(self.lumens())}
            if self.tell(Kind.STARTED, at, **about, **more):
                self.starts[dose.order, dose.key] = at
                self.in_between(dose, at)
        elif way < 0.76:
            self.tell(Kind.NOT_GIVEN, dose.start + self.between(0, 5 * HOUR), **about)
        elif way < 0.82:
            self.tell(Kind.SKIPPED, dose.start + self.between(-3 * HOUR, 3 * HOUR), **about)
        elif way < 0.92:
            said = dose.start + self.between(-2 * HOUR, 2 * HOUR)
            until = Instant(max(said, dose.start) + self.between(10, 7 * HOUR))
            self.tell(Kind.DELAYED, said, **about, until=until)
            if self.maybe(0.4) and self.tell(Kind.STARTED, until + self.between(-10, 30), **about):
                self.starts[dose.order, dose.key] = until

    def in_between(self, dose: Dose, at: int) -> None:
        """Let a running infusion be interrupted, or stopped early."""
        length = 0 if dose.end is None else dose.end - dose.start
        if length < 10 or dose.key == "reservoir":
            return
        about = {"order": dose.order, "dose": dose.key}
        middle = at + self.between(1, length - 1)
        way = self.chance.random()
        if way < 0.1:
            sign = {"sign": Sign.NOT_FLOWING} if self.maybe(0.3) else {}
            if self.tell(Kind.INTERRUPTED, middle, **about, **sign) and self.maybe(0.7):
                self.tell(Kind.RESUMED, middle + self.between(1, 90), **about)
        elif way < 0.2:
            sign = {"sign": self.one(SUSPENDING)} if self.maybe(0.4) else {}
            if self.tell(Kind.STOPPED, middle, **about, **sign):
                self.over.add((dose.order, dose.key))
                if sign and self.maybe(0.5):
                    self.tell(Kind.RELEASED, middle + self.between(10, 12 * HOUR), lumen=dose.lumen)
                elif not sign and self.maybe(0.5):
                    self.tell(Kind.FLUSHED, middle + self.between(0, 10), lumen=dose.lumen)

    def finish(self, dose: Dose) -> None:
        if dose.end is None or (dose.order, dose.key) in self.over or self.maybe(0.25):
            return
        late = self.starts.get((dose.order, dose.key), dose.start) - dose.start
        at = dose.end + late + (self.drift() if self.maybe(0.5) else self.between(-5, 10))
        if (dose.order, dose.key) not in self.starts and self.maybe(0.6):
            return
        if self.tell(Kind.FINISHED, at, order=dose.order, dose=dose.key) and self.maybe(0.7):
            self.tell(Kind.FLUSHED, at + self.one([0, 0, 3, self.between(0, 90)]), lumen=dose.lumen)

    # What no plan foresees

    def lumens(self) -> list[str]:
        return [name for name, lumen in self.plan.lumens.items() if lumen.in_use]

    def moment(self) -> int:
        return self.between(self.plan.course.start.instant, self.until)

    def something_else(self) -> None:
        at, lumen = self.moment(), self.one(self.lumens() or list(self.plan.lumens))
        later = at + self.between(5, 24 * HOUR)
        way = self.one(
            ["flush", "flush", "draw", "stop sign", "doubt", "out of use", "hold", "away", "again", "needed"]
        )
        if way == "flush":
            self.tell(Kind.FLUSHED, at, lumen=lumen, again=self.maybe(0.2))
        elif way == "draw":
            self.tell(Kind.DRAWN, at, lumen=lumen)
            if self.maybe(0.6):
                self.tell(Kind.FLUSHED, at + self.between(0, 10), lumen=lumen)
        elif way in ("stop sign", "doubt"):
            self.tell(Kind.PROBLEM, at, lumen=lumen, sign=self.one(SUSPENDING if way == "stop sign" else DOUBTFUL))
            self.sometimes_released(later, lumen=lumen)
        elif way == "out of use":
            self.tell(Kind.OUT_OF_USE, at, lumen=lumen)
            self.sometimes_released(later, lumen=lumen)
        elif way == "hold" and self.plan.orders:
            order = self.one(list(self.plan.orders))
            self.tell(Kind.HELD, at, order=order)
            self.sometimes_released(later, order=order)
        elif way == "away":
            self.tell(Kind.HELD, at)
            self.sometimes_released(later)
        elif way == "again" and self.starts:
            order, dose = self.one(list(self.starts))
            if self.tell(Kind.STARTED, at, order=order, dose=dose, again=True) and self.maybe(0.4):
                again = f"{dose} again {moment_key(Instant(at))}"
                self.tell(Kind.FINISHED, at + self.between(5, 90), order=order, dose=again)
        elif way == "needed":
            for order in [name for name, order in self.plan.orders.items() if order.as_needed]:
                if self.tell(Kind.STARTED, at, order=order, dose=f"needed {at}") and self.maybe(0.5):
                    self.tell(Kind.FINISHED, at + self.between(20, 40), order=order, dose=f"needed {at}")

    def sometimes_released(self, at: int, **about: str) -> None:
        if self.maybe(0.6):
            self.tell(Kind.RELEASED, at, **about)

    def report_twice(self) -> None:
        """Let a second person say the same within minutes."""
        told = [fact for fact in self.facts if fact.kind in (Kind.STARTED, Kind.FINISHED, Kind.FLUSHED)]
        if told:
            fact = self.one(told)
            key = f"f{len(self.facts) + 1}"
            at = min(fact.happened + self.between(0, self.handling), self.until)
            self.facts.append(replace(fact, key=key, report=key, happened=Instant(at), entered=Instant(at), by="Ben"))

    def take_back(self) -> None:
        told = [fact for fact in self.facts if fact.kind is not Kind.WITHDRAWN]
        if told:
            fact = self.one(told)
            self.tell(Kind.WITHDRAWN, self.between(fact.happened, self.until), withdraws=fact.key)


def variations(chance: random.Random, values: Values) -> Values:
    """Return a plan with what only a record makes to matter."""
    protocol = values["protocol"]
    if chance.random() < 0.3:
        protocol = protocol | {"flush_without_lock_counts": chance.random() < 0.5}
    orders = {}
    for name, order in values["order"].items():
        keeps = "every" not in order and "clock_times" not in order
        shifts = not keeps and order["given_as"] == "infusion" and chance.random() < 0.25
        if order["given_as"] == "pump":  # the replay reckons a reservoir on the home clock
            order = {key: value for key, value in order.items() if key != "clock"}
        orders[name] = order | ({"after_late_dose": "shift following doses"} if shifts else {})
    return values | {"protocol": protocol, "order": orders}


@st.composite
def histories(draw: st.DrawFn, zones: Sequence[str] = ZONES) -> History:
    """Draw a history whose plan has no errors."""

    def drawn() -> Iterator[History]:
        values = draw(plans(zones))
        chance = random.Random(draw(st.integers(0, 2**64 - 1)))
        values = variations(chance, values)
        text = toml_text(values)
        reading = read_plan("plan.toml", text.encode())
        if reading.plan is not None and not has_errors(reading.findings):
            yield history(chance, text, values, reading.plan)

    found = next(drawn(), None)
    while found is None:
        found = next(drawn(), None)
    return found


def history(chance: random.Random, text: str, values: Values, plan: Plan) -> History:
    """Return what one household recorded of a plan."""
    schedule = compile_schedule(plan, EMPTY, plan.course.start.instant)
    now = Instant(chance.randint(schedule.start, schedule.end))
    habits = chance.choice(["punctual", "punctual", "usual", "usual", "usual", "careless"])
    return History(text, values, plan, _Recorder(chance, plan, now, habits).record(), now)
