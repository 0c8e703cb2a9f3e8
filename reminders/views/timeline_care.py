"""The care tasks over some hours into what is drawn of them: a lane of their own beside those of the lumens (R20).

A draw through a lumen is a touch of that lumen and stands in its lane.
"""

from dataclasses import dataclass
from typing import TypeAlias

from reminders.care_words import task_title
from reminders.plan.care import Doer
from reminders.schedule.model import Outcome, Schedule, TaskEvent, TouchKind
from reminders.schedule.status import task_status
from reminders.times import Instant
from reminders.views.timeline_lanes import LOOKS, SAID_BY_LOOK, STATE_WORDS, Bar, Lane, Look, Mark, Stretch
from reminders.words import CATALOGUE, clock_words

_ = CATALOGUE.gettext

CARE_TASK = _("care task")

DOER_WORDS = {Doer.NURSE: _("nurse"), Doer.CLINIC: _("clinic"), Doer.PHARMACY: _("pharmacy")}
"""Who does a task, in short, where that is not the household."""


@dataclass(frozen=True, slots=True)
class CareMark:
    """One care task: when, how it is drawn; short words of what it is (``what``), and of who does it and how it stands
    (``state``); ``words`` say all of it."""

    at: Instant
    look: Look
    what: str
    state: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class CareLane:
    """What is drawn of the care tasks, in order of time; nothing ever runs in this lane, or closes it."""

    marks: tuple[CareMark, ...]
    bars: tuple[Bar, ...] = ()
    stretches: tuple[Stretch, ...] = ()


AnyMark: TypeAlias = Mark | CareMark
AnyLane: TypeAlias = Lane | CareLane


def kind_of(mark: AnyMark) -> TouchKind | None:
    """Return the kind of a touch; a care task has none."""
    return mark.kind if isinstance(mark, Mark) else None


def care_lane(schedule: Schedule, begin: Instant, end: Instant, now: Instant) -> CareLane:
    """Return what is drawn of the care tasks from ``begin`` up to ``end``, which is not in it, as of ``now``."""
    return CareLane(tuple(_mark(event, schedule, now) for event in schedule.tasks if begin <= event.at < end))


def _mark(event: TaskEvent, schedule: Schedule, now: Instant) -> CareMark:
    how = task_status(event, schedule, now)
    look, state = LOOKS[how], [] if how in SAID_BY_LOOK else [STATE_WORDS[how]]
    if event.outcome is Outcome.HELD:
        look, state = Look.HELD, [_("held")]
    doer = [DOER_WORDS[event.care.done_by]] if event.care.done_by in DOER_WORDS else []
    words = _("{at}, {kind}: {what} ({state})").format(
        at=clock_words(schedule.plan.clock.local(event.at)),
        kind=CARE_TASK,
        what=task_title(event),
        state=", ".join([STATE_WORDS[how], *doer]),
    )
    return CareMark(event.at, look, event.care.label, (*state, *doer), words)
