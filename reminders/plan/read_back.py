"""A plan into what a second person reads aloud against the orders, and into letters that change with any of it.

Read back is what a slip of the pen makes dangerous: drug, dose, volume, rate, strength, lumen, times; allergies, line,
whom to call. Not read back is how the household is reminded, and what is counted as supplies. The letters are drawn from
what is meant, not from how it is written: ``10 mL`` and ``0.01 L`` are the same, and so are two orders in another order.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import Enum
from fractions import Fraction
from zoneinfo import ZoneInfo

from reminders.findings import Finding
from reminders.plan.care import CareTask, TaskKind
from reminders.plan.durations import duration
from reminders.plan.idle_limit import PerDay
from reminders.plan.keys import Pushed, RateStep
from reminders.plan.model import Fluid, Lumen, Plan
from reminders.plan.order import DrugKind, Order
from reminders.times import WEEKDAYS, Moment, instant_of
from reminders.units import BASES, Measure, in_full, measure, number, span

LETTERS = "BCDFGHJKLMNPRSTVWXZ"
"""Those of the check letters: capitals that are not taken for digits, and no vowels, so that they never make a word."""


class ReadBackState(Enum):
    """Whether somebody has read a plan back as it now stands."""

    NOBODY = "nobody"
    FITS = "fits"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class ReadLine:
    """One line that is read aloud.

    ``about`` is the kind of thing (a table's name) and ``name`` what people call it; ``what`` is said of it, in words with
    units in full (``said``). ``meant`` is the same in base units, of which the check letters are drawn.
    """

    about: str
    name: str
    what: str
    said: str
    meant: str


def check_letters(plan: Plan) -> str:
    """Return the letters of what is read back: eight capitals in two groups."""
    told = sorted(
        "\x1f".join([about, *(f"{line.what}={line.meant}" for line in group)]) for about, group in _groups(plan)
    )
    drawn = int.from_bytes(hashlib.sha256("\x1e".join(told).encode()).digest())
    letters = ""
    for _place in range(8):
        drawn, which = divmod(drawn, len(LETTERS))
        letters += LETTERS[which]
    return f"{letters[:4]} {letters[4:]}"


def state(plan: Plan) -> ReadBackState:
    """Say whether somebody has read the plan back as it stands."""
    if plan.read_back is None:
        return ReadBackState.NOBODY
    written = "".join(char for char in plan.read_back.check.upper() if char.isalpha())
    return ReadBackState.FITS if written == check_letters(plan).replace(" ", "") else ReadBackState.CHANGED


def check_read_back(plan: Plan) -> Iterator[Finding]:
    """Find a plan that was changed after it was read back."""
    if plan.read_back is None or state(plan) is not ReadBackState.CHANGED:
        return
    yield Finding(
        code="read-back-changed",
        message=f"{plan.read_back.by} read the plan back on {plan.read_back.at.wall:%Y-%m-%d %H:%M}; since then something "
        f'was changed that is read back. Its check letters were "{plan.read_back.check}" and are now '
        f'"{check_letters(plan)}".',
        expected="a plan that a second person has read back as it now stands",
        mend="Have it read back again, and write down who did, when, and the letters of now.",
        places=(("read_back", "check"),),
    )


def lines(plan: Plan) -> tuple[ReadLine, ...]:
    """Return everything that is read back, in the order of the plan. Names that the plan does not define stand as such."""
    return tuple(line for _about, group in _groups(plan) for line in group)


def _groups(plan: Plan) -> Iterator[tuple[str, list[ReadLine]]]:
    """Yield each thing of the plan with its lines."""
    say = _Sayer(plan)
    yield "plan", say.course()
    yield "line", say.line()
    for lumen in plan.lumens.values():
        yield "lumen", say.lumen(lumen)
    for fluid in plan.fluids.values():
        yield "fluid", say.fluid(fluid)
    yield "protocol", say.protocol()
    for order in plan.orders.values():
        yield "order", say.order(order)
    for task in plan.tasks.values():
        yield "task", say.task(task)
    yield "daily_limits", say.limits()
    for contact in plan.contacts.values():
        rows = [
            ("Tier", contact.name.replace("_", " ")),
            ("Who", contact.who),
            ("Number", contact.phone),
            ("Call when", contact.signs),
        ]
        yield "call", say.rows("call", contact.who, rows)


class _Sayer:
    """Says each thing of a plan in lines; what is not stated has none."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan

    def rows(self, about: str, name: str, rows: Iterable[tuple[str, object]]) -> list[ReadLine]:
        """Make lines of what is stated among rows of a word and a value."""
        return [
            ReadLine(about, name, what, said(value), meant(value))
            for what, value in ((what, self._dated(value)) for what, value in rows)
            if value is not None and value != () and value != ""
        ]

    def _dated(self, value: object) -> object:
        """Return a value with its moments on the home clock, as the plan states them."""
        if isinstance(value, tuple):
            return tuple(self._dated(item) for item in value)
        if not isinstance(value, Moment):
            return value
        again = instant_of(value.wall, self.plan.course.zone)[0] < value.instant
        return f"{value.wall:%Y-%m-%d %H:%M}" + (", the second time that the clock shows it" if again else "")

    def course(self) -> list[ReadLine]:
        """Say from when to when, and by which clock."""
        course = self.plan.course
        rows: list[tuple[str, object]] = [
            ("Home time zone", course.zone),
            ("Start", course.start),
            ("End", course.end),
            ("Line taken out", course.line_removal),
            ("No known end, planned ahead for", _length(course.open_ended)),
            *((f"Time zone from {self._dated(change.at)}", change.zone) for change in self.plan.zone_changes),
            ("Note", course.note),
        ]
        return self.rows("plan", "the plan", rows)

    def line(self) -> list[ReadLine]:
        """Say what the line is, and the allergies."""
        line = self.plan.line
        rows: list[tuple[str, object]] = [
            ("Allergies", line.allergies or "none known"),
            ("Heparin must not be used", line.heparin_ruled_out),
            ("Kind of line", line.kind),
            ("Valve", line.valved),
            ("Placed on", line.placed_on),
            ("Shows outside", line.external_length),
            ("Lock, needle out", line.needle_out_lock and self._push(Pushed(line.needle_out_lock))),
            ("Longest time without a flush, needle out", _length(line.needle_out_idle_limit)),
        ]
        return self.rows("line", "the line", rows)

    def lumen(self, lumen: Lumen) -> list[ReadLine]:
        """Say how a lumen is locked and flushed, whether stated for it or for the whole line."""
        if not lumen.in_use:
            return self.rows("lumen", lumen.label, [("Lumen", lumen.label), ("May be used", False)])
        lock = self.plan.line.lock if lumen.lock is None else lumen.lock
        rows: list[tuple[str, object]] = [
            ("Lumen", lumen.label),
            ("Lock", self._push(Pushed(lock, lumen.lock_volume))),
            ("Flush", self._push(Pushed(self.plan.protocol.flush, lumen.flush_volume))),
            ("Longest time without a flush", _length(self.plan.idle_limit(lumen))),
            ("Last flushed", lumen.last_flushed),
            ("The lock may be flushed in", lumen.flush_through),
            ("Drawn out first", lumen.withdraw_volume),
        ]
        return self.rows("lumen", lumen.label, rows)

    def fluid(self, fluid: Fluid) -> list[ReadLine]:
        """Say what is in a syringe."""
        units = None if fluid.strength is None else f"{number(fluid.strength.amount * fluid.volume.amount)} units"
        rows: list[tuple[str, object]] = [
            ("Fluid", fluid.label),
            ("What it is", fluid.kind),
            ("Strength", fluid.strength),
            ("Each push", fluid.volume),
            ("Units in each push", units),
            ("One syringe holds", fluid.syringe_holds),
        ]
        return self.rows("fluid", fluid.label, rows)

    def protocol(self) -> list[ReadLine]:
        """Say what comes before and after, in order."""
        protocol = self.plan.protocol
        rows: list[tuple[str, object]] = [
            ("Provider", protocol.provider),
            ("Before an infusion", self._pushes(protocol.before)),
            ("After an infusion", self._pushes(protocol.after)),
            ("After nutrition", self._pushes(protocol.after_nutrition)),
            ("An idle flush pushes", self._pushes(protocol.idle)),
            ("Before blood is drawn", self._pushes(protocol.before_draw or None)),
            ("Drawn and thrown away first", protocol.discard_volume),
            ("After blood was drawn", self._pushes(protocol.after_draw)),
            ("A flush without its lock counts", protocol.flush_without_lock_counts),
            ("Scrub time", _seconds(protocol.scrub_time)),
            ("Dry time", _seconds(protocol.dry_time)),
            ("No lock if the next dose starts within", _length(protocol.joining_time)),
            ("Flushed before the limit by", _length(protocol.planning_margin)),
        ]
        return self.rows("protocol", protocol.provider, rows)

    def order(self, order: Order) -> list[ReadLine]:
        """Say an order."""
        runs = None if order.continuous else duration(order)
        rows: list[tuple[str, object]] = [
            ("Drug", order.drug),
            ("What it is", order.kind),
            ("Dose", order.dose),
            ("Lumen", self._lumen(order.lumen)),
            ("Given as", order.given_as),
            *self._timing(order),
            ("Volume", order.volume),
            ("Rate", order.rate),
            *((f"Rate, step {count}", step) for count, step in enumerate(order.rate_steps or (), start=1)),
            ("Fastest rate allowed", order.rate_limit),
            ("One dose runs for", _length(runs)),
            ("Least time between two starts", _length(order.least_spacing)),
            ("Most time between two starts", _length(order.most_spacing)),
            ("Last dose before the plan", order.last_dose_before_plan),
            ("On time within", _length(order.on_time_within)),
            ("No longer simply given after", _length(order.cut_off)),
            ("After a late dose", order.after_late_dose),
            ("On a journey, its clock", order.clock if self.plan.zone_changes else None),
            ("Before it", self._pushes(order.before)),
            ("After it", self._pushes(self._after(order))),
            ("What is left may be flushed in", order.flush_through),
            ("Drawn out first", order.withdraw_volume),
            ("May run together with", tuple(self._drug(name) for name in order.runs_with)),
            ("Bag changed every", _length(order.bag_every)),
            ("Bag changed at", order.bag_times),
            ("At a bag change", self._pushes(order.bag_flush)),
            ("A bag may hang for", _length(order.hang_time)),
            ("Bags expire on", order.bags_expire_on),
            ("The pump keeps the lumen open", order.kept_open),
            ("Looked at again on", order.review_on),
            ("Note", order.note),
        ]
        return self.rows("order", order.drug, rows)

    def _timing(self, order: Order) -> Iterator[tuple[str, object]]:
        yield "At", order.clock_times
        yield "Only on", None if order.weekdays is None else tuple(WEEKDAYS[day] for day in order.weekdays)
        yield "Only every", None if order.every_days is None else f"{order.every_days} days"
        yield "Every", _length(order.every)
        yield "At the moments", order.moments
        yield "Without a pause", order.continuous or None
        if order.follows is not None:
            yield "Follows", self._drug(order.follows)
            yield "So long after its finish", _length(order.follows_after)
        yield "Only when needed", order.as_needed or None
        yield "Most doses in 24 hours", order.most_in_24h
        yield "First dose", order.first_dose
        yield "That is dose number", order.first_dose_number if order.first_dose_number > 1 else None
        yield "Last day", order.last_day
        yield "Number of doses", order.doses
        yield "Stops", order.stops
        yield "Until the line is taken out", order.until_removal or None

    def _after(self, order: Order) -> tuple[Pushed, ...] | None:
        nutrition = self.plan.protocol.after_nutrition
        return nutrition if order.after is None and order.kind is DrugKind.NUTRITION else order.after

    def task(self, task: CareTask) -> list[ReadLine]:
        """Say a care task: what, by whom, when."""
        rows: list[tuple[str, object]] = [
            ("Task", task.label),
            ("What it is", task.kind),
            ("Done by", task.done_by),
            ("Every", _length(task.every)),
            ("Every so many days", task.every_days),
            ("On", None if task.weekdays is None else tuple(WEEKDAYS[day] for day in task.weekdays)),
            ("At the moments", task.moments),
            ("Together with", tuple(self._task(name) for name in task.with_tasks)),
            ("At", task.at),
            ("Last done", task.last_done),
            ("Last day", task.last_day),
            ("With the order", task.order and self._tied(task)),
            ("Before the dose by", _length(task.before_dose)),
            ("After the finish by", _length(task.after_finish)),
            ("Only with the doses", task.only_doses),
            ("Not on", task.not_on),
            ("Then", task.instead),
            ("On time within", _length(task.on_time_within)),
            ("Drawn through the lumen", task.lumen and self._lumen(task.lumen)),
            ("What runs in it pauses for", _length(task.pauses_infusion)),
            ("Brings", tuple(f"{count} x {item}" for item, count in task.brings.items())),
            ("Note", task.note),
        ]
        return self.rows("task", task.label, rows)

    def limits(self) -> list[ReadLine]:
        """Say the totals that a day must not exceed."""
        limits = self.plan.daily_limits
        rows: list[tuple[str, object]] = [
            ("Most infused in a day", limits.infused),
            ("Most flushed in a day", limits.flushed),
            ("Most heparin from locks in a day", limits.heparin),
            ("Most sodium from flushes in a day", limits.sodium),
        ]
        return self.rows("daily_limits", "limits of a day", rows)

    def _tied(self, task: CareTask) -> "_Tied":
        """Return the order that a task goes with; with how many of its doses is said, and told apart by the line below."""
        drug = self._drug(str(task.order))
        if task.only_doses:
            doses = ", ".join(str(number) for number in task.only_doses)
            return _Tied(drug, f"only dose{'s' if len(task.only_doses) > 1 else ''} {doses} of {drug}")
        order = self.plan.orders.get(str(task.order))
        count = None if order is None else _doses(order, self.plan.course.zone)
        times = "draws" if task.kind is TaskKind.DRAW else "times"
        return _Tied(drug, f"EVERY dose of {drug}" + (f" ({count} {times})" if count else ""))

    def _lumen(self, name: str) -> str:
        return self.plan.lumens[name].label if name in self.plan.lumens else name

    def _drug(self, name: str) -> str:
        return self.plan.orders[name].drug if name in self.plan.orders else name

    def _task(self, name: str) -> str:
        return self.plan.tasks[name].label if name in self.plan.tasks else name

    def _push(self, pushed: Pushed) -> "_Push":
        fluid = self.plan.fluids.get(pushed.name)
        if fluid is None:
            steps = self.plan.extra_steps
            return _Push(steps[pushed.name].label if pushed.name in steps else pushed.name, None, pushed.volume)
        return _Push(fluid.label, fluid.strength, pushed.volume or fluid.volume)

    def _pushes(self, listed: Sequence[Pushed] | None) -> object:
        """Return what is pushed in order; a list that is stated to be empty is said too."""
        return None if listed is None else tuple(self._push(pushed) for pushed in listed) or "nothing"


@dataclass(frozen=True, slots=True)
class _Push:
    """A fluid with its strength and volume, or a step that has neither."""

    name: str
    strength: Measure | None
    volume: Measure | None


@dataclass(frozen=True, slots=True)
class _Tied:
    """An order that a task goes with, and with which of its doses in words."""

    drug: str
    words: str


def _doses(order: Order, zone: ZoneInfo) -> int | None:
    """Return how many doses an order has, where its own keys say so without a look at the rest of the plan."""
    if order.doses is not None or order.moments:
        return order.doses or len(order.moments or ())
    first, last = order.first_dose, order.last_day
    if first is None or last is None or order.weekdays or order.every_days:
        return None
    if order.every:
        after_last = instant_of(datetime.combine(last + timedelta(days=1), time()), zone)[0]
        return -((first.instant - after_last) // order.every)
    if not order.clock_times:
        return None
    on_first = sum(at >= first.wall.time() for at in order.clock_times)
    return on_first + (last - first.wall.date()).days * len(order.clock_times)


@dataclass(frozen=True, slots=True)
class _Length:
    """A length of time in seconds, told from a bare number."""

    seconds: int


def _length(minutes: object) -> object:
    """Return minutes, or a limit that counts days, as a value that can be said; None stays None."""
    return _Length(minutes * 60) if isinstance(minutes, int) else minutes


def _seconds(seconds: int | None) -> _Length | None:
    return None if seconds is None else _Length(seconds)


def said(value: object) -> str:
    """Say a value in words, with units in full."""
    match value:
        case bool():
            return "yes" if value else "no"
        case Measure():
            return in_full(value.text)
        case _Length():
            return in_full(span(value.seconds // 60) if value.seconds % 60 == 0 else f"{value.seconds} s")
        case _Push():
            strength = f" {said(value.strength)}" if value.strength else ""
            return value.name + strength + (f", {said(value.volume)}" if value.volume else "")
        case RateStep():
            return f"{said(value.rate)} for {in_full(span(value.minutes))}"
        case PerDay():
            return f"once {value.value}"
        case _Tied():
            return value.words
        case tuple():
            return ("; then " if value and isinstance(value[0], _Push) else ", ").join(said(item) for item in value)
        case time():
            return f"{value:%H:%M}"
        case date():
            return value.isoformat()
        case ZoneInfo():
            return value.key
        case Enum():
            return str(value.value)
    return str(value)


def meant(value: object) -> str:
    """Return what a value means, alike for all ways of writing it."""
    match value:
        case Measure():
            return f"{Fraction(value.amount)} {measure(value.text, tuple(BASES))[1]}"
        case _Length():
            return str(value.seconds)
        case _Push():
            return "/".join([value.name, *(meant(part) if part else "" for part in (value.strength, value.volume))])
        case RateStep():
            return f"{meant(value.rate)}*{value.minutes}"
        case _Tied():
            return value.drug
        case tuple():
            return "+".join(meant(item) for item in value)
    return said(value)
