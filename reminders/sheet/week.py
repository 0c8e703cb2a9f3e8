"""The week of a schedule as rows to tick: every touch and care task, day by day, with what it takes and whom to ask."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import Enum
from itertools import groupby

from reminders.care_words import doer_words, task_title, tied_words, window_words
from reminders.event_words import ask_lines, marked
from reminders.plan.model import Fluid, FluidKind, Plan
from reminders.plan.order import GivenAs
from reminders.schedule.model import BLOCKS, Action, Dose, Outcome, Schedule, Step, TaskEvent, Touch
from reminders.times import Instant
from reminders.units import number
from reminders.views.timeline_clock import LocalDay, local_days
from reminders.words import (
    CATALOGUE,
    IN_QUIET_HOURS,
    WEEKDAY_NAMES,
    clock_words,
    day_words,
    dose_words,
    note_words,
    run_words,
    what_words,
    zone_words,
)

_ = CATALOGUE.gettext

DAYS = 7
"""How many local days a sheet shows."""


class Tick(Enum):
    """What stands in a row's box."""

    BOX = "empty: to be ticked when it is done"
    ASK = "somebody must be asked first"
    NURSE = "the nurse does it"
    NO_USE = "nothing is to be done"
    DONE = "recorded as done"
    NOT = "recorded as not to be done"


@dataclass(frozen=True, slots=True)
class Row:
    """One touch or care task: when, in which lumen (its label; empty for a task), what, in what way, and why to ask first."""

    uid: str
    at: Instant
    time: str
    lumen: str
    what: str
    details: tuple[str, ...]
    asks: tuple[str, ...]
    tick: Tick


@dataclass(frozen=True, slots=True)
class Day:
    """One local date with its rows in order of time; ``notes`` say what is unusual about its clock."""

    heading: str
    notes: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Week:
    """Seven local days: ``zone`` are the letters of their only zone, or empty where each time bears its own."""

    first: Instant
    until: Instant
    local_days: tuple[LocalDay, ...]
    days: tuple[Day, ...]
    zone: str


def week_of(schedule: Schedule, first: Instant) -> Week:
    """Return the seven local days that begin with the one of ``first``; what lies before ``first`` is not in it."""
    clock = schedule.plan.clock
    shown = tuple(local_days(clock, clock.local(first).date(), DAYS))
    until = shown[-1].end
    touches = [touch for touch in schedule.touches if first <= touch.at < until]
    tasks = [event for event in schedule.tasks if first <= event.at < until]
    events = sorted([*touches, *tasks], key=lambda event: (event.at, isinstance(event, Touch)))
    zones = {zone_words(clock.local(at)) for at in (first, *(event.at for event in events))}
    zoned = len(zones) > 1 or any(day.mixed for day in shown)
    rows = [_row(event, schedule, Times(schedule.plan, zoned)) for event in events]
    return Week(first, until, shown, tuple(_days(rows, schedule, shown)), "" if zoned else zones.pop())


@dataclass(frozen=True, slots=True)
class Times:
    """Writes times as short as they are unmistakable: with the zone's letters where a sheet holds more than one zone's."""

    plan: Plan
    zoned: bool

    def at(self, instant: Instant) -> str:
        """Write a time of day."""
        moment = self.plan.clock.local(instant)
        return clock_words(moment) if self.zoned else f"{moment:%H:%M}"

    def beside(self, instant: Instant, day: date) -> str:
        """Write a time as it stands below a day's heading: with its weekday, or its date, if that is another day."""
        other = self.plan.clock.local(instant).date()
        if other == day:
            return self.at(instant)
        near = 0 < (other - day).days < DAYS
        return f"{WEEKDAY_NAMES[other.weekday()] if near else day_words(other)} {self.at(instant)}"


def touches_of(schedule: Schedule, week: Week) -> list[Touch]:
    """Return the touches of a week."""
    return [touch for touch in schedule.touches if week.first <= touch.at < week.until]


def _days(rows: Sequence[Row], schedule: Schedule, shown: Sequence[LocalDay]) -> Iterator[Day]:
    """Yield the dates in order; on a journey a date may come back, and one may be left out."""
    clock = schedule.plan.clock
    notes = {day.day: tuple(note for _at, note in day.changes) for day in shown}
    dates: list[tuple[Instant, date, tuple[Row, ...]]] = []
    for day, found in groupby(rows, key=lambda row: clock.local(row.at).date()):
        group = tuple(found)
        dates.append((group[0].at, day, group))
    told = {day for _at, day, _rows in dates}
    dates += [(day.begin, day.day, ()) for day in shown if day.day not in told and day.begin < day.end]
    for _at, day, group in sorted(dates, key=lambda entry: entry[0]):
        yield Day(day_words(day), notes.get(day, ()), group)


def _row(event: Touch | TaskEvent, schedule: Schedule, times: Times) -> Row:
    time, day = times.at(event.at), schedule.plan.clock.local(event.at).date()
    quiet = [IN_QUIET_HOURS] if any(begin <= event.at < end for begin, end in schedule.quiet) else []
    if isinstance(event, TaskEvent):
        details = tuple([*_task_details(event, day), *quiet])
        tick = {None: Tick.BOX, Outcome.DONE: Tick.DONE}.get(event.outcome, Tick.NOT)
        return Row(event.uid, event.at, time, "", _capital(task_title(event)), details, (), tick)
    plan = event.plan
    what = _capital(marked(what_words(event, plan), event))
    over = event.outcome is not None and not event.outstanding
    details = () if over else tuple([*_details(event, times, day), *quiet])
    asks = () if over else tuple(ask_lines(event, schedule.plan))
    return Row(event.uid, event.at, time, plan.lumens[event.lumen].label, what, details, asks, _tick(event))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _tick(touch: Touch) -> Tick:
    if touch.outcome is not None and not touch.outstanding:
        return Tick.DONE if touch.outcome is Outcome.DONE else Tick.NOT
    if any(ask.why in BLOCKS for ask in touch.asks):
        return Tick.NO_USE
    if touch.asks:
        return Tick.ASK
    return Tick.NURSE if touch.nurse_only else Tick.BOX


def _task_details(event: TaskEvent, day: date) -> list[str]:
    if event.outcome is not None:
        return []
    lines = [f"{doer_words(event.care)} {window_words(event, day)}"]
    if event.dose is not None:
        lines.append(tied_words(event, day))
    return [*lines, note_words(event.care.note)] if event.care.note else lines


def _details(touch: Touch, times: Times, day: date) -> Iterator[str]:
    """Yield which dose it is and how it runs, what is pushed in which order, and by when a flush is needed at the latest."""
    plan = touch.plan
    if any(ask.why in BLOCKS for ask in touch.asks):
        return
    for dose in (*touch.starts, *touch.bags):
        if told := _dose_line(dose, plan, times.beside(dose.end, day) if dose.end and dose in touch.starts else ""):
            yield told
    if touch.steps and not touch.nurse_only:
        yield _capital(" → ".join(short_step(step, plan) for step in touch.steps))
    if touch.reason.deadline is not None and touch.outcome is None:
        yield _("By {deadline} at the latest.").format(deadline=times.beside(touch.reason.deadline, day))


def _dose_line(dose: Dose, plan: Plan, end: str) -> str:
    """Say which dose it is, its volume, rate and length as ordered, and until when it runs."""
    order = plan.orders[dose.order]
    parts = [dose_words(dose, plan), run_words(order).removeprefix(", ")]
    if end and order.given_as is not GivenAs.PUSH:
        parts.append(_("runs until {end}").format(end=end))
    told = ", ".join(part for part in parts if part)
    return told and f"{_capital(told)}."


def short_step(step: Step, plan: Plan) -> str:
    """Say one step in a few words: ``saline 10 mL``, ``heparin 3 mL, 10 units/mL (30 units)``."""
    volume = step.volume.text if step.volume is not None else ""
    if step.action in (Action.FLUSH, Action.LOCK):
        said = pushed_words(step, plan)
        stays = step.action is Action.LOCK and step.what == plan.protocol.flush
        return _("{fluid}, which stays in").format(fluid=said) if stays else said
    if step.action is Action.EXTRA:
        return plan.extra_steps[step.what].label
    return {
        Action.CONNECT: _("connect"),
        Action.PUSH: _("push the drug slowly"),
        Action.CHANGE_BAG: _("new bag"),
        Action.DISCONNECT: _("disconnect"),
        Action.WITHDRAW: _("draw out {volume}, discard"),
        Action.PAUSE: _("stop the infusion"),
        Action.DISCARD: _("draw out {volume}, discard"),
        Action.DRAW: _("draw the blood"),
        Action.RESUME: _("let the infusion run again"),
    }[step.action].format(volume=volume)


def pushed_words(step: Step, plan: Plan) -> str:
    """Name what is pushed and how much of it; heparin with its strength and how many units that makes."""
    fluid = plan.fluids[step.what]
    volume = step.volume or fluid.volume
    said = _("{fluid} {volume}").format(fluid=fluid_words(fluid, plan), volume=volume.text)
    if fluid.strength is None:
        return said
    units = number(volume.amount * fluid.strength.amount)
    return _("{fluid}, {strength} ({units} units)").format(fluid=said, strength=fluid.strength.text, units=units)


def fluid_words(fluid: Fluid, plan: Plan) -> str:
    """Name a fluid by what it is, or by its label where the plan has more than one of the kind."""
    kinds = {FluidKind.SALINE: _("saline"), FluidKind.DEXTROSE: _("dextrose"), FluidKind.HEPARIN: _("heparin")}
    alone = sum(other.kind is fluid.kind for other in plan.fluids.values()) == 1
    return kinds[fluid.kind] if alone and fluid.kind in kinds else fluid.label
