"""Whether the calendar and the sheet of a packet are those of its plan: each compared with what the plan itself gives.

Compared is what any release of this program says alike: ids, instants, numbers, drugs and doses; never sentences.
"""

import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, timedelta
from typing import Any

from icalendar import Calendar

from reminders.mailing.unpacking import Part, shown_line
from reminders.plan.model import Plan
from reminders.schedule.identity import Identities
from reminders.schedule.model import DROPPED, Schedule
from reminders.sheet.content import plan_mark
from reminders.sheet.letters import printable
from reminders.times import DAY, Instant, from_datetime
from reminders.words import CATALOGUE, day_words, drug_words, moment_words

_ = CATALOGUE.gettext

LARGEST_CALENDAR, LARGEST_PDF, MOST_PAGES, LARGEST_DRAWING = 2_000_000, 10_000_000, 100, 10_000_000
"""Bytes and pages beyond which a file is none of a packet; the last one is of what a PDF draws, unpacked."""

MARK = re.compile(r"[0-9A-F]{4}-[0-9A-F]{4}")
"""How a plan is marked on its sheets."""

MOST_TOLD = 5

WEEK = 7

MOST_FLUSHES = 50
"""Flushes of one idle lumen on one day; no limit that a plan can state asks for more."""


@dataclass(frozen=True, slots=True)
class Fit:
    """How the files of a packet fit its plan: what does not fit at all, and what is only to be known."""

    misfits: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def calendar_fit(part: Part, schedules: Sequence[Schedule]) -> Fit:
    """Compare a calendar with its plan's schedule. Of several schedules, made with and without earlier revisions, the one
    counts that fits best."""
    if len(part.content) > LARGEST_CALENDAR:
        return Fit((_("{name} is far too large for a calendar.").format(name=part.name),))
    try:
        calendar = Calendar.from_ical(part.content)
        uid = str(calendar.get("UID", ""))
        starts, changed = dict(_starts(calendar)), _changed(calendar)
    except Exception:  # whatever the library makes of bytes that anybody can have written
        return Fit((_("{name} cannot be read as a calendar. Do not open it.").format(name=part.name),))
    if uid != Identities(schedules[0].plan).of("calendar", ""):
        return Fit((_("{name} is the calendar of another plan. Do not open it.").format(name=part.name),))
    return min((_times_fit(part.name, starts, changed, schedule) for schedule in schedules), key=_weight)


def sheet_fit(part: Part, schedule: Schedule) -> Fit:
    """Compare a PDF with the sheet of a plan; one that is no sheet is only told."""
    if len(part.content) > LARGEST_PDF:
        return Fit(notes=(_("{name} is far too large for a sheet, and was not looked into.").format(name=part.name),))
    try:
        return _pdf_fit(part, schedule)
    except Exception:  # as above
        return Fit(notes=(_("{name} cannot be read as a PDF.").format(name=part.name),))


def _weight(fit: Fit) -> tuple[int, int]:
    return len(fit.misfits), len(fit.notes)


# Calendars


def _starts(calendar: Any) -> Iterator[tuple[str, Instant]]:
    """Yield the events that are not cancelled, with their starts."""
    for event in calendar.walk("VEVENT"):
        if str(event.get("STATUS", "")) != "CANCELLED":
            yield str(event["UID"]), from_datetime(event["DTSTART"].dt.astimezone(UTC))


def _changed(calendar: Any) -> Instant:
    """Return when the calendar last changed: what lies before that may be as it was recorded, and not as it was planned."""
    stamps = [from_datetime(event["DTSTAMP"].dt.astimezone(UTC)) for event in calendar.walk("VEVENT")]
    return max(stamps, default=Instant(0))


def _times_fit(name: str, starts: dict[str, Instant], changed: Instant, schedule: Schedule) -> Fit:
    """Compare the instants within the days that both have. Doses must fit; a flush may have moved by what was recorded."""
    plan = schedule.plan
    planned = {touch.uid: touch for touch in schedule.touches}
    if not starts.keys() & planned.keys():
        return Fit((_("{name} shows nothing of what this plan plans. Do not open it.").format(name=name),))
    begin = max(plan.course.takes_effect.instant, min(starts.values()), changed)
    ends = max(at for uid, at in starts.items() if uid in planned)
    doses, others = [], 0
    for uid, touch in planned.items():
        if not begin <= touch.at <= ends or starts.get(uid) == touch.at:
            continue
        if touch.starts:
            drugs = ", ".join(drug_words(plan.orders[dose.order]) for dose in touch.starts)
            doses.append(f"{drugs}, {moment_words(plan.clock.local(touch.at))}")
        else:
            others += 1
    known = {*planned, *(event.uid for event in schedule.tasks), *_flushes(plan, begin, ends), _ending(plan)}
    strange = [uid for uid, at in starts.items() if uid not in known and begin <= at <= ends]
    notes, misfits = [], []
    if others:
        notes.append(
            _(
                "{name} shows {count} flushes or finishes at other times than the plan alone gives: an earlier revision, or what was "
                "recorded, is in it."
            ).format(name=name, count=others)
        )
    if doses:
        told = _("{name} does not show these doses when the plan gives them: {doses}. Do not open it.")
        misfits.append(told.format(name=name, doses=_some(doses)))
    if strange:
        told = _("{name} shows {count} doses or bag changes that the plan does not have. Do not open it.")
        misfits.append(told.format(name=name, count=len(strange)))
    return Fit(tuple(misfits), tuple(notes))


def _flushes(plan: Plan, begin: Instant, end: Instant) -> Iterator[str]:
    """Yield the UIDs that flushes of idle lumens can have on these days, as many as a day has room for."""
    names = Identities(plan)
    day, last = (
        plan.clock.local(Instant(at)).date() for at in (begin - DAY, end + DAY)
    )  # they are named by the home date
    while day <= last:
        yield from (
            names.of("idle", lumen, day.isoformat(), str(count))
            for lumen in plan.lumens
            for count in range(1, MOST_FLUSHES)
        )
        day += timedelta(1)


def _ending(plan: Plan) -> str:
    return Identities(plan).of("calendar ends", "")


# Sheets


def _pdf_fit(part: Part, schedule: Schedule) -> Fit:
    """Compare a PDF: first the plan's mark and revision, by which it calls itself a sheet; then what it shows."""
    from pypdf import PdfReader  # it takes long to load, and only a packet needs it

    reader, plan = PdfReader(io.BytesIO(part.content)), schedule.plan
    subject = shown_line(str(reader.metadata.subject or "")) if reader.metadata else ""
    marks, numbers = MARK.findall(subject), re.findall(r"\d+", MARK.sub("", subject))
    if len(marks) != 1 or len(numbers) != 1:
        return Fit(notes=(_("{name} is no sheet of this program, and was not compared.").format(name=part.name),))
    if (marks, numbers) != ([plan_mark(plan)], [str(plan.course.revision)]):
        said = _('{name} is another sheet than that of this plan: it says "{subject}". Do not hang it up.')
        return Fit((said.format(name=part.name, subject=subject),))
    drawn = sum(len(contents.get_data()) for page in reader.pages if (contents := page.get_contents()) is not None)
    if len(reader.pages) > MOST_PAGES or drawn > LARGEST_DRAWING:
        return Fit(
            (_("{name} calls itself the sheet of this plan, and is far too large for it.").format(name=part.name),)
        )
    text = "".join(_close(page.extract_text()) for page in reader.pages)
    missing = [said for said in _on_sheet(schedule, text) if _close(said) not in text]
    if not missing:
        return Fit()
    told = _("{name} does not show what the plan says: {missing}. Do not hang it up.")
    return Fit((told.format(name=part.name, missing=_some(missing)),))


def _on_sheet(schedule: Schedule, text: str) -> Iterator[str]:
    """Yield what the sheet of a plan must show: allergies, numbers to call, and the drugs of its week with their doses."""
    plan = schedule.plan
    yield from plan.line.allergies
    yield from (plan.contacts[tier].phone for tier in ("emergency", "now"))
    first = _first_day(plan, schedule, text)
    if first is None:
        return
    (_day, begin), (_last, end) = plan.clock.day_starts(first, first + timedelta(WEEK))[::WEEK]
    for name, doses in schedule.doses.items():
        since = max(begin, plan.course.takes_effect.instant)
        if any(since <= dose.start < end and dose.state not in DROPPED for dose in doses):
            order = plan.orders[name]
            yield from (order.drug, order.dose.text)


def _first_day(plan: Plan, schedule: Schedule, text: str) -> date | None:
    """Return the first day of the week that a sheet shows, by how it is headed."""
    day = plan.clock.local(Instant(schedule.start - DAY)).date()
    last = plan.clock.local(schedule.end).date()
    while day <= last:
        span = _("{first} to {last}").format(first=day_words(day), last=day_words(day + timedelta(WEEK - 1)))
        if _close(span) in text:
            return day
        day += timedelta(1)
    return None


def _close(text: str) -> str:
    """Return a text as the sheet prints it, without blanks and hyphens: where a line is broken, either may be added."""
    return "".join(printable(text).split()).replace("-", "")


def _some(told: Iterable[str]) -> str:
    listed = list(told)
    more = len(listed) - MOST_TOLD
    said = "; ".join(listed[:MOST_TOLD])
    return _("{said}; and {count} more").format(said=said, count=more) if more > 0 else said
