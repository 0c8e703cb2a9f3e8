"""Which events two schedules of one plan do not have in common: new, gone, at another time, or done differently."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import TypeAlias

from reminders.care_words import CARE_TASKS, doer_words, task_title
from reminders.event_words import marked
from reminders.plan.model import Plan
from reminders.plan.order import GivenAs
from reminders.schedule.model import Schedule, TaskEvent, Touch, TouchKind
from reminders.step_words import step_words
from reminders.times import Instant
from reminders.words import (
    CATALOGUE,
    clock_beside,
    clock_words,
    clocks_beside,
    day_words,
    drug_words,
    lumen_words,
    note_words,
    prepare_words,
    what_words,
)

_ = CATALOGUE.gettext

Signature = tuple[Instant, str, str, str, tuple[str, ...]]

Event: TypeAlias = Touch | TaskEvent


@dataclass(frozen=True, slots=True)
class EventChange:
    """One event that is not the same: ``old`` is None for a new one, ``new`` for one that is gone."""

    old: Event | None
    new: Event | None

    @property
    def at(self) -> Instant:
        """Return when it stands, by the new schedule where it is in that."""
        event = self.new or self.old
        assert event is not None, "an event is in one of the schedules"
        return event.at


def signature(event: Event) -> Signature:
    """Return all that a household sees of an event: when, in which lumen, what for, and the steps."""
    if isinstance(event, TaskEvent):
        return event.at, "", CARE_TASKS, task_title(event), tuple(_steps(event))
    plan = event.plan
    what = marked(what_words(event, plan), event)
    return event.at, event.lumen, lumen_words(plan, event.lumen), what, tuple(_steps(event))


def event_changes(before: Schedule, after: Schedule, until: Instant) -> list[EventChange]:
    """Return the events before ``until`` that the schedules do not have in common, in order of time.

    Events that look the same to the household are the same. Of the others, those with one identity belong together;
    then those of one order, one care task, or one lumen's idle flushes, of one local day, if each schedule has equally
    many left.
    """
    olds, news = _events(before, until), _events(after, until)
    olds, news = _left(olds, news), _left(news, olds)
    found = _paired(olds, news, lambda event: None if _is_idle(event) else event.uid)
    olds, news = _without(olds, (pair.old for pair in found)), _without(news, (pair.new for pair in found))
    near = _paired(olds, news, lambda event: _kin(event, after))
    olds, news = _without(olds, (pair.old for pair in near)), _without(news, (pair.new for pair in near))
    gone = [EventChange(event, None) for event in olds]
    fresh = [EventChange(None, event) for event in news]
    places = {name: index for index, name in enumerate(after.plan.lumens)}

    def place(change: EventChange) -> tuple[Instant, int, bool]:
        event = change.new or change.old
        assert event is not None, "an event is in one of the schedules"
        return event.at, places.get(_lumen(event), len(places)), change.new is not None

    return sorted([*found, *near, *gone, *fresh], key=place)


def _events(schedule: Schedule, until: Instant) -> list[Event]:
    events: list[Event] = [*schedule.touches, *schedule.tasks]
    return [event for event in events if event.at < until]


def _is_idle(event: Event) -> bool:
    return isinstance(event, Touch) and event.kind is TouchKind.IDLE_FLUSH


def _lumen(event: Event) -> str:
    return event.lumen if isinstance(event, Touch) else ""


def _left(events: Iterable[Event], others: Iterable[Event]) -> list[Event]:
    """Return the events that have no equal among the others; each of those is the equal of one."""
    there = Counter(signature(event) for event in others)
    left = []
    for event in events:
        seen = signature(event)
        if there[seen]:
            there[seen] -= 1
        else:
            left.append(event)
    return left


def _paired(olds: Iterable[Event], news: Iterable[Event], key: Callable[[Event], object]) -> list[EventChange]:
    """Pair, in order, the events of one key, where the key is not None and both sides have equally many."""
    groups: dict[object, tuple[list[Event], list[Event]]] = defaultdict(lambda: ([], []))
    for side, events in enumerate((olds, news)):
        for event in events:
            groups[key(event)][side].append(event)
    return [
        EventChange(old, new)
        for name, (one, two) in groups.items()
        if name is not None and len(one) == len(two)
        for old, new in zip(one, two, strict=True)
    ]


def _without(events: Iterable[Event], taken: Iterable[Event | None]) -> list[Event]:
    known = {id(event) for event in taken}
    return [event for event in events if id(event) not in known]


STARTING = (TouchKind.START, TouchKind.PUSH, TouchKind.CHANGEOVER)


def _kin(event: Event, after: Schedule) -> object:
    """Return what events of one day have in common that may take each other's place."""
    day = after.plan.clock.local(event.at).date()
    if isinstance(event, TaskEvent):
        return "task", event.task, day
    kind = TouchKind.START if event.kind in STARTING else event.kind
    return kind, event.dose.order if event.dose else event.lumen, day


@dataclass(frozen=True, slots=True)
class PumpChange:
    """One dose that a pump gives by itself, which is no event; ``new``: only the new schedule has it so."""

    at: Instant
    end: Instant | None
    drug: str
    lumen: str
    new: bool


def pump_changes(before: Schedule, after: Schedule, until: Instant) -> list[PumpChange]:
    """Return the pumps' doses before ``until`` that only one of the schedules has, in order of time."""
    olds, news = _by_pump(before, until), _by_pump(after, until)
    found = [PumpChange(*dose, new=False) for dose in olds if dose not in news]
    found += [PumpChange(*dose, new=True) for dose in news if dose not in olds]
    return sorted(found, key=lambda change: (change.at, change.new, change.lumen, change.drug))


def _by_pump(schedule: Schedule, until: Instant) -> dict[tuple[Instant, Instant | None, str, str], None]:
    found: dict[tuple[Instant, Instant | None, str, str], None] = {}
    for name, doses in schedule.doses.items():
        for dose in doses:
            plan = schedule.plan_at(dose.start)
            order = plan.orders[name]
            if order.given_as is GivenAs.PUMP and dose.start < until:
                found[dose.start, dose.end, drug_words(order), lumen_words(plan, dose.lumen)] = None
    return found


# In words


def by_day(changes: Sequence[EventChange | PumpChange], plan: Plan, now: Instant) -> list[tuple[list[date], list[str]]]:
    """Return what changes on each local day of ``plan``, days on which the same changes together, in order."""

    def day_of(change: EventChange | PumpChange) -> date:
        return plan.clock.local(change.at).date()

    groups: dict[tuple[str, ...], list[date]] = {}
    ordered = sorted(changes, key=lambda change: (day_of(change), change.at))
    for day, found in groupby(ordered, day_of):
        groups.setdefault(tuple(change_words(change, plan, now) for change in found), []).append(day)
    return [(days, list(lines)) for lines, days in groups.items()]


def change_words(change: EventChange | PumpChange, plan: Plan, now: Instant) -> str:
    """Say in a sentence what changes about an event or a pump's dose; times are on the clock of ``plan``."""
    if isinstance(change, PumpChange):
        said, past = _pump_words(change, plan), change.at < now
    else:
        said = _event_words(change, plan)
        past = max(event.at for event in (change.old, change.new) if event is not None) < now
    return _("{said} (this is past already)").format(said=said) if past else said


def _pump_words(change: PumpChange, plan: Plan) -> str:
    template = _("new: {when} {lumen}: {drug} by the pump, {end}")
    if not change.new:
        template = _("gone: {when} {lumen}: {drug} by the pump, {end}")
    day = plan.clock.local(change.at).date()
    end = _("until {end}").format(end=clock_beside(plan, change.end, day)) if change.end else _("its end not known")
    return template.format(when=clock_words(plan.clock.local(change.at)), lumen=change.lumen, drug=change.drug, end=end)


def _event_words(change: EventChange, plan: Plan) -> str:
    old, new = change.old, change.new
    if new is None:
        assert old is not None, "an event is in one of the schedules"
        return _("gone: {when} {event}").format(when=_clock(old, plan), event=_event(old))
    if old is None:
        return _("new: {when} {event}").format(when=_clock(new, plan), event=_event(new))
    if old.at == new.at:
        changed = _("changed: {when} {event}").format(when=_clock(new, plan), event=_event(new))
        return changed + _difference(old, new)
    day = plan.clock.local(new.at).date()
    was, now = clocks_beside(plan, (old.at, new.at), day)
    return _("moved: {event}, from {was} to {now}").format(event=_event(new), was=was, now=now) + _difference(old, new)


def _clock(event: Event, plan: Plan) -> str:
    return clock_words(plan.clock.local(event.at))


def _event(event: Event) -> str:
    if isinstance(event, TaskEvent):
        return task_title(event)
    what = marked(what_words(event, event.plan), event)
    return _("{lumen}: {what}").format(lumen=lumen_words(event.plan, event.lumen), what=what)


def _difference(old: Event, new: Event) -> str:
    """Say what else is different: the steps that are not the same, and the event as it was where they do not tell it."""
    said = ""
    was, now = _unlike(_steps(old), _steps(new))
    if _lumen(old) != _lumen(new) or (was == now and _event(old) != _event(new)):
        said += _("; it was {event}").format(event=_event(old))
    if was and now:
        said += _("; was: {was} Now: {now}").format(was=was, now=now)
    elif was or now:
        said += _("; no longer: {was}").format(was=was) if was else _("; new: {now}").format(now=now)
    return said


def _steps(event: Event) -> list[str]:
    """Return a touch's steps, or what else there is to a care task: who does it, with what, and the plan's note."""
    if isinstance(event, Touch):
        return [step_words(step, event.plan) for step in event.steps]
    task = event.care
    lines = [doer_words(task)]
    if task.uses:
        lines.append(_("Prepare: {items}.").format(items=prepare_words(task.uses)))
    if task.brings:
        lines.append(_("It should bring: {items}.").format(items=prepare_words(task.brings)))
    return [*lines, note_words(task.note)] if task.note else lines


def _unlike(old: list[str], new: list[str]) -> tuple[str, str]:
    """Return what two lists of steps have between an equal beginning and an equal end."""
    shortest = min(len(old), len(new))
    head = next((count for count in range(shortest) if old[count] != new[count]), shortest)
    rest = shortest - head
    tail = next((count for count in range(rest) if old[-1 - count] != new[-1 - count]), rest)
    return " ".join(old[head : len(old) - tail]), " ".join(new[head : len(new) - tail])


def days_words(days: Sequence[date]) -> str:
    """Name days, those that follow one another by the first and the last: ``Mon 1 Jun 2026 to Fri 5 Jun 2026``."""
    runs: list[list[date]] = []
    for day in days:
        if runs and (day - runs[-1][-1]).days == 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    named = [
        day_words(run[0])
        if len(run) == 1
        else _("{first} to {last}").format(first=day_words(run[0]), last=day_words(run[-1]))
        for run in runs
    ]
    if len(days) == 1:
        return named[0]
    return _("The same on each of {count} days: {days}").format(count=len(days), days=", ".join(named))
