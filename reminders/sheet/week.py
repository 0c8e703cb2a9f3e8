"""The week of a schedule as rows to tick: every touch and care task, day by day, with what it takes and whom to ask."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import Enum
from itertools import groupby

from reminders.care_words import doer_words, task_title, tied_words, window_words
from reminders.event_words import ask_lines, marked, steps_left
from reminders.plan.model import Fluid, FluidKind, Lumen, Plan
from reminders.plan.order import GivenAs
from reminders.schedule.model import BLOCKS, Action, Dose, Outcome, Schedule, Step, TaskEvent, Touch, TouchKind
from reminders.times import Instant
from reminders.units import number
from reminders.views.timeline_clock import LocalDay, local_days
from reminders.words import (
    CATALOGUE,
    WEEKDAY_NAMES,
    clock_words,
    day_words,
    dose_words,
    drawn_first_words,
    draws_before,
    drug_words,
    note_words,
    nurse_only_line,
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
    """One touch or care task: when (``limit``: until when it runs, or by when it is needed), in which lumen (its label;
    empty for a task), what, in what way, and why to ask first."""

    uid: str
    at: Instant
    time: str
    limit: str
    lumen: str
    what: str
    details: tuple[str, ...]
    asks: tuple[str, ...]
    tick: Tick


@dataclass(frozen=True, slots=True)
class Day:
    """One local date with its rows in order of time; ``notes`` say what is unusual about its clock. ``short``: the same in
    short, times and what is done then; an infusion that starts and finishes on this date is one line."""

    heading: str
    notes: tuple[str, ...]
    rows: tuple[Row, ...]
    short: tuple[tuple[str, str], ...]


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
    until = max(day.end for day in shown)  # on a journey over the date line a day may lie before the one before it
    touches = [touch for touch in schedule.touches if first <= touch.at < until]
    tasks = [event for event in schedule.tasks if first <= event.at < until]
    events: list[Touch | TaskEvent] = [*tasks, *touches]
    events.sort(key=lambda event: event.at)  # a task before the touches of the same moment
    zones = {zone_words(clock.local(at)) for at in (first, *(event.at for event in events))}
    zoned = len(zones) > 1 or any(day.mixed for day in shown)
    times = Times(schedule.plan, zoned)
    rows = [_row(event, schedule, times) for event in events]
    spans = _spans(touches, times)
    return Week(first, until, shown, tuple(_days(rows, spans, schedule, shown)), "" if zoned else zones.pop())


@dataclass(frozen=True, slots=True)
class Times:
    """Writes times as short as they are unmistakable: with the zone's letters where a sheet holds more than one zone's."""

    plan: Plan
    zoned: bool

    def at(self, instant: Instant) -> str:
        """Write a time of day."""
        moment = self.plan.clock.local(instant)
        return clock_words(moment) if self.zoned else f"{moment:%H:%M}"

    def span(self, first: Instant, last: Instant) -> str:
        """Write from when to when something runs on one date."""
        zone = self.plan.clock.local(first).tzname() == self.plan.clock.local(last).tzname()
        begins = f"{self.plan.clock.local(first):%H:%M}" if zone else self.at(first)
        return f"{begins}–{self.at(last)}"

    def beside(self, instant: Instant, at: Instant) -> str:
        """Write a time that stands beside the time of ``at``: only where they differ with its zone, its weekday or date."""
        clock = self.plan.clock
        other, day = clock.local(instant), clock.local(at).date()
        same = zone_words(other) == zone_words(clock.local(at))
        time = f"{other:%H:%M}" if same else self.at(instant)
        if other.date() == day:
            return time
        near = 0 < (other.date() - day).days < DAYS
        return f"{WEEKDAY_NAMES[other.weekday()] if near else day_words(other.date())} {time}"


def touches_of(schedule: Schedule, week: Week) -> list[Touch]:
    """Return the touches of a week."""
    return [touch for touch in schedule.touches if week.first <= touch.at < week.until]


def lumens_told(schedule: Schedule) -> list[Lumen]:
    """Return the lumens of a schedule, but for one that the last revision only calls by another short name: on the line
    it is the lumen that bears its label now, and not out of use."""
    named = schedule.revision.lumens
    labels = {lumen.label for lumen in named.values()}
    return [lumen for lumen in schedule.plan.lumens.values() if lumen.name in named or lumen.label not in labels]


Spans = Mapping[str, tuple[str, str] | None]
"""How events are told in short, by UID: time and words of an infusion's start, None for its finish, which needs no line."""


def _spans(touches: Sequence[Touch], times: Times) -> Spans:
    """Return the infusions that start and finish on one date, as planned and with nothing else done at either touch."""
    clock = times.plan.clock
    starts = {touch.starts: touch for touch in touches if touch.kind is TouchKind.START and _is_plain(touch)}
    spans: dict[str, tuple[str, str] | None] = {}
    for touch in touches:
        start = starts.get(touch.ends) if touch.kind is TouchKind.FINISH and _is_plain(touch) else None
        if start is None or clock.local(start.at).date() != clock.local(touch.at).date():
            continue
        drug = drug_words(start.plan.orders[start.starts[0].order])
        spans[start.uid] = (times.span(start.at, touch.at), f"{start.plan.lumens[start.lumen].label}: {drug}")
        spans[touch.uid] = None
    return spans


def _is_plain(touch: Touch) -> bool:
    alone = len(touch.starts) + len(touch.ends) + len(touch.bags) == 1
    return alone and touch.outcome is None and not (touch.asks or touch.tasks or touch.nurse_only or touch.outstanding)


def _days(rows: Sequence[Row], spans: Spans, schedule: Schedule, shown: Sequence[LocalDay]) -> Iterator[Day]:
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
        yield Day(day_words(day), notes.get(day, ()), group, tuple(_short(group, spans)))


def _short(rows: Sequence[Row], spans: Spans) -> Iterator[tuple[str, str]]:
    for row in rows:
        plain = row.time, _("{lumen}: {what}").format(lumen=row.lumen, what=row.what) if row.lumen else row.what
        if (told := spans.get(row.uid, plain)) is not None:
            yield told


def _row(event: Touch | TaskEvent, schedule: Schedule, times: Times) -> Row:
    time = times.at(event.at)
    if isinstance(event, TaskEvent):
        details = tuple(_task_details(event, schedule.plan.clock.local(event.at).date()))
        tick = {None: Tick.BOX, Outcome.DONE: Tick.DONE}.get(event.outcome, Tick.NOT)
        return Row(event.uid, event.at, time, "", "", task_title(event), details, (), tick)
    plan = event.plan
    what = marked(what_words(event, plan), event)
    over = event.outcome is not None and not event.outstanding
    details = () if over else tuple(_details(event))
    nurse = [nurse_only_line(schedule.plan)] if event.nurse_only else []
    asks = () if over else (*ask_lines(event, schedule.plan), *_passed(event, times), *nurse)
    limit = "" if over else _limit(event, times)
    return Row(event.uid, event.at, time, limit, plan.lumens[event.lumen].label, what, details, asks, _tick(event))


def capital(text: str) -> str:
    """Begin a text with a capital letter."""
    return text[:1].upper() + text[1:]


def _tick(touch: Touch) -> Tick:
    if touch.outcome is not None and not touch.outstanding:
        return Tick.DONE if touch.outcome is Outcome.DONE else Tick.NOT
    if any(ask.why in BLOCKS for ask in touch.asks):
        return Tick.NO_USE
    if touch.asks or _is_passed(touch):
        return Tick.ASK
    return Tick.NURSE if touch.nurse_only else Tick.BOX


def _task_details(event: TaskEvent, day: date) -> list[str]:
    if event.outcome is not None:
        return []
    lines = [f"{doer_words(event.care)} {window_words(event, day)}"]
    if event.dose is not None:
        lines.append(tied_words(event, day))
    return [*lines, note_words(event.care.note)] if event.care.note else lines


def _limit(touch: Touch, times: Times) -> str:
    """Say until when what starts is to run, or by when an idle flush is needed at the latest."""
    if _is_passed(touch):
        return _("at once")
    if touch.reason.deadline is not None:
        return _("by {deadline}").format(deadline=times.beside(touch.reason.deadline, touch.at))
    ends = {dose.end for dose in touch.starts if touch.plan.orders[dose.order].given_as is not GivenAs.PUSH}
    if len(ends) != 1 or (end := ends.pop()) is None:
        return ""
    return _("until {end}").format(end=times.beside(end, touch.at))


def _is_passed(touch: Touch) -> bool:
    """Say whether the limit that a flush is to keep has passed before it (R8)."""
    return touch.reason.deadline is not None and touch.reason.deadline < touch.at


def _passed(touch: Touch, times: Times) -> Iterator[str]:
    if _is_passed(touch) and touch.reason.deadline is not None:
        at = times.beside(touch.reason.deadline, touch.at)
        yield _("It was to be flushed by {deadline}, which has passed. Ask the nurse first.").format(deadline=at)


def _details(touch: Touch) -> Iterator[str]:
    """Yield which dose it is and how it runs, and what is pushed in which order."""
    plan = touch.plan
    if any(ask.why in BLOCKS for ask in touch.asks):
        return
    steps = steps_left(touch)
    if touch.kind is TouchKind.FINISH and steps[:1] and steps[0].action is Action.DISCONNECT:
        steps = steps[1:]  # the title says so
    pushed = capital(" → ".join(short_step(step, plan) for step in steps))
    doses = [told for dose in (*touch.starts, *touch.bags) if (told := _dose_line(dose, plan))]
    for dose in touch.starts:
        if (drawn := draws_before(dose, plan)) and not touch.tasks:
            yield drawn_first_words(drawn)
    if pushed and len(doses) == 1:
        yield f"{doses[0]} {pushed}"
        return
    yield from doses
    if pushed:
        yield pushed


def _dose_line(dose: Dose, plan: Plan) -> str:
    """Say which dose it is, its volume, rate and length as ordered."""
    order = plan.orders[dose.order]
    told = ", ".join(part for part in (dose_words(dose, plan), run_words(order).removeprefix(", ")) if part)
    return told and f"{capital(told)}."


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
