"""What stands on the sheet, as values: a schedule and what was asked for in, texts out.

Nothing personal is on it that nobody typed: the patient's name and birth date are blanks to be filled in by hand.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from typing import Any

from reminders.plan.care import TaskKind
from reminders.plan.model import TIERS, Lumen, Plan
from reminders.plan.order import FlushThrough
from reminders.read_back_words import household_words, is_read_back, read_back_words
from reminders.schedule.counts import supplies
from reminders.schedule.limits import limit_words
from reminders.schedule.model import Action, Schedule
from reminders.schedule.steps import idle_flush
from reminders.sheet.pictures import Picture
from reminders.sheet.recipes import Recipe, every_time, recipes_of
from reminders.sheet.week import Week, capital, lumens_told, pushed_words, touches_of, week_of
from reminders.times import Instant
from reminders.words import (
    CATALOGUE,
    DO_NOT_USE,
    NEVER_DOUBLE,
    as_needed_lines,
    call_words,
    day_words,
    lumen_words,
    moment_words,
    note_words,
    warning_signs,
)

_ = CATALOGUE.gettext


class Paper(Enum):
    """The paper that the sheet is printed on."""

    LETTER = "letter"
    A4 = "A4"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked for: the paper, the moment from which on the first week is shown, when it is printed; and, if
    somebody typed it, the patient's name."""

    paper: Paper
    first: Instant
    printed: Instant
    patient: str = ""


@dataclass(frozen=True, slots=True)
class Stamp:
    """What stands on every page: by which an older sheet is told from a newer one; the numbers to call at any hour; and,
    in full (``stop``) or in short (``stop_short``), when to stop (R27)."""

    revision: str
    effect: str
    printed: str
    older: str
    calls: str
    stop: str
    stop_short: str


@dataclass(frozen=True, slots=True)
class Tier:
    """Whom to call for which signs: the tier's name, what to do, the number, who answers; ``urgent``: at any hour."""

    name: str
    do: str
    number: str
    who: str
    signs: str
    urgent: bool


@dataclass(frozen=True, slots=True)
class LumenFacts:
    """One lumen: its name, what it is locked with, how long it may lie idle, and what else must be known of it."""

    name: str
    lock: str
    limit: str
    remark: str


@dataclass(frozen=True, slots=True)
class Supplies:
    """What is used up until a moment: how that is said, and how many of each item."""

    until: str
    rows: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that stands on a sheet."""

    title: str
    span: str
    patient: str
    stamp: Stamp
    tiers: tuple[Tier, ...]
    not_read_back: str
    line: str
    allergies: str
    lumens: tuple[LumenFacts, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    week: Week
    as_needed: tuple[str, ...]
    every_time: tuple[tuple[Picture, str], ...]
    recipes: tuple[Recipe, ...]
    supplies: Supplies
    teach_back: tuple[str, ...]


def sheet_of(schedule: Schedule, asked: Asked) -> Sheet:
    """Return what stands on the sheet of a schedule."""
    plan, written = schedule.plan, schedule.revision
    week = week_of(schedule, asked.first)
    note = plan.course.note
    return Sheet(
        title=plan.calendar.name,
        span=_span(week),
        patient=asked.patient,
        stamp=_stamp(written, asked),
        tiers=tuple(_tiers(plan)),
        not_read_back="" if is_read_back(written) else household_words(written),
        line=_line(schedule, asked.first),
        allergies=", ".join(plan.line.allergies) or _("none known"),
        lumens=tuple(_lumen(schedule, lumen, asked.first) for lumen in lumens_told(schedule)),
        cautions=(
            _("What {provider} or your nurse told you comes first, before anything on this sheet.").format(
                provider=plan.protocol.provider
            ),
            NEVER_DOUBLE,
        ),
        notes=(note_words(note),) if note else (),
        week=week,
        as_needed=tuple(as_needed_lines(written)),
        every_time=tuple(every_time(plan)),
        recipes=tuple(recipes_of(touches_of(schedule, week), plan)),
        supplies=_supplies(schedule, week),
        teach_back=TEACH_BACK,
    )


def texts_of(value: Any) -> Iterator[str]:
    """Yield every text of a sheet, in order."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple | list):
        for item in value:
            yield from texts_of(item)
    elif is_dataclass(value):
        for field in fields(value):
            yield from texts_of(getattr(value, field.name))


def plan_mark(plan: Plan) -> str:
    """Return the short mark by which sheets of one plan are known to belong together: ``5B0F-6A3E``."""
    letters = plan.course.id.hex[:8].upper()
    return f"{letters[:4]}-{letters[4:]}"


def _span(week: Week) -> str:
    days = [day.day for day in week.local_days]
    return _("{first} to {last}").format(first=day_words(days[0]), last=day_words(days[-1]))


def _stamp(plan: Plan, asked: Asked) -> Stamp:
    def moment(at: Instant) -> str:
        return moment_words(plan.clock.local(at))

    do_now, do_emergency = ((do, signs) for _contact, do, signs in warning_signs(plan)[:2])
    first = _("What {provider} told you comes first.").format(provider=plan.protocol.provider)
    urgent = [plan.contacts[tier] for tier in ("emergency", "now")]
    return Stamp(
        revision=_("Revision {revision} of plan {mark}").format(revision=plan.course.revision, mark=plan_mark(plan)),
        effect=_("in force from {effect}").format(effect=moment(plan.course.takes_effect.instant)),
        printed=_("Printed {printed}. {read}").format(printed=moment(asked.printed), read=read_back_words(plan)),
        older=_older(plan, asked),
        calls=_("At any hour: {calls}").format(calls="; ".join(call_words(contact) for contact in urgent)),
        stop=_("{stop}: {signs} {emergency}. {first}").format(
            stop=do_now[0], signs=do_now[1], emergency=do_emergency[0], first=first
        ),
        stop_short=_("{stop} at any of the signs on page 1. {emergency}. {first}").format(
            stop=do_now[0], emergency=do_emergency[0], first=first
        ),
    )


def _older(plan: Plan, asked: Asked) -> str:
    """Say which other sheets hold; one that is printed ahead does not replace the one before it yet."""
    effect = plan.course.takes_effect.instant
    if plan.course.revision > 1 and asked.printed < effect:
        return _("Until {effect} go by the sheet of the revision before. From then on throw that one away.").format(
            effect=moment_words(plan.clock.local(effect))
        )
    return _(
        "Throw away any sheet of this plan with a lower revision number, or with the same number and an earlier print."
    )


DO = {
    "emergency": _("EMERGENCY"),
    "now": _("STOP, CLAMP, CALL"),
    "same_day": _("CALL THE SAME DAY"),
    "next_contact": _("WHEN YOU NEXT SPEAK"),
}
"""What each tier of calling asks for, in the fewest words."""


def _tiers(plan: Plan) -> Iterator[Tier]:
    found = {contact.name: (contact, signs) for contact, _do, signs in warning_signs(plan)}
    for name in TIERS:
        if name in found:
            contact, signs = found[name]
            urgent = name in ("emergency", "now")
            yield Tier(name, DO[name], contact.phone, contact.who, signs[0].upper() + signs[1:], urgent)


def _line(schedule: Schedule, first: Instant) -> str:
    plan, line = schedule.plan, schedule.plan.line
    if schedule.removed is not None and schedule.removed <= first:
        return _("The line is out: nothing is due any more.")
    parts = [line.kind.value, _("placed {day}").format(day=day_words(line.placed_on))]
    if line.external_length is not None:
        parts.append(_("{length} of it show outside").format(length=line.external_length.text))
    else:
        parts.append(_("shows outside: ________"))
    if line.heparin_ruled_out:
        parts.append(_("NO HEPARIN"))
    return _("{line}; {provider}").format(line=capital(", ".join(parts)), provider=plan.protocol.provider)


def _lumen(schedule: Schedule, lumen: Lumen, first: Instant) -> LumenFacts:
    plan = schedule.plan
    lock = [step for step in idle_flush(plan, lumen) if step.action is Action.LOCK]
    said = pushed_words(lock[0], plan) if lock else ""
    blocked = any(begin <= first < end for begin, end, _why in schedule.lumens[lumen.name].blocked)
    remark = ""
    if blocked:
        remark = DO_NOT_USE
    elif not lumen.in_use:
        remark = _("OUT OF USE: nothing is planned into it")
    elif lumen.flush_through is FlushThrough.NURSE:
        remark = _("FOR THE NURSE ONLY: do not flush it")
    elif lumen.flush_through is FlushThrough.WITHDRAW:
        remark = _("draw the lock out first, never flush it in")
    limit = limit_words(plan.idle_limit(lumen))
    if not lumen.in_use:
        said = limit = "\N{EN DASH}"
    name = lumen_words(plan, lumen.name)
    return LumenFacts(name[0].upper() + name[1:], said, limit, remark)


def _supplies(schedule: Schedule, week: Week) -> Supplies:
    plan = schedule.plan
    deliveries = (
        event
        for event in schedule.tasks
        if event.care.kind is TaskKind.DELIVERY and event.outcome is None and event.at > week.first
    )
    delivery = next(deliveries, None)
    if delivery is None:
        last = week.until
        until = _("No delivery is planned: counted for the week from {span}.").format(span=_span(week))
    else:
        last = delivery.at
        until = _("Counted until the next delivery, {at}.").format(at=moment_words(plan.clock.local(last)))
    return Supplies(until, tuple(sorted(supplies(schedule, week.first, last).items())))


TEACH_BACK: tuple[str, ...] = (
    _("shows each lumen, and says which drug belongs into which"),
    _("reads a label aloud: name, drug, dose, strength, expiry date, lumen"),
    _("scrubs the hub and lets it dry"),
    _("flushes and locks a lumen, and says when not to go on"),
    _("starts an infusion, takes it off, and flushes after it"),
    _("closes the clamp; says what to do if the line breaks"),
    _("says by when each lumen must be flushed again"),
    _("says what to do when a dose is late, or nobody is sure whether it was given"),
    _("says whom to call for what, and finds the number on this sheet"),
)
"""What a household shows or says before it is left alone with a line (common practice, no source)."""
