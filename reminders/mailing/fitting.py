"""Whether the calendar and the sheet of a packet are those of its plan: each compared with what the plan itself gives.

Compared is what any release of this program says alike: ids, instants, numbers, drugs and doses; never sentences.
"""

import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import UTC, date, timedelta
from typing import Any

from icalendar import Calendar

from reminders.mailing.unpacking import Part, shown_line
from reminders.plan.model import Plan, Reveals
from reminders.schedule.identity import Identities
from reminders.schedule.model import DROPPED, Schedule
from reminders.sheet.content import plan_mark
from reminders.sheet.letters import printable
from reminders.times import DAY, Instant, from_datetime
from reminders.words import CATALOGUE, day_words, drug_words, moment_words

_ = CATALOGUE.gettext

LARGEST_CALENDAR, LARGEST_PDF, MOST_PAGES, LARGEST_DRAWING = 2_000_000, 10_000_000, 100, 10_000_000
"""Bytes and pages beyond which a file is none of a packet; the last one is of what a PDF draws and how its letters are read,
unpacked, of all pages together."""

MOST_NODES = 1000
"""Nodes of a PDF's tree of pages that are looked at to count them."""

MOST_FONTS = 4 * MOST_PAGES
"""Fonts of all pages together, one that several pages have as often as they have it; a sheet has three a page."""

LONG_LETTERS = re.compile(rb"<[0-9A-Fa-f\s]{33,}>")
"""One sign that stands for more than eight letters, as no sign of a sheet does: by such ones a short text becomes an endless one."""

LETTERS = ("/ToUnicode", "/Encoding", "/FontFile", "/FontFile3")
"""What of a font tells which letters its signs are, and is unpacked for that."""

MOST_COMPARED = 4
"""Calendars, and PDFs, of one e-mail that are compared; a packet holds one of each, and each takes a second or two."""

MARK = re.compile(r"[0-9A-F]{4}-[0-9A-F]{4}")
"""How a plan is marked on its sheets."""

MOST_TOLD = 5

WEEK = 7

MOST_FLUSHES = 50
"""Flushes of one idle lumen on one day; no limit that a plan can state asks for more."""

MOST_MORE = 50
"""Care tasks by an interval that a calendar may show beyond those of the plan alone: what was done early brings the next ones forward."""


@dataclass(frozen=True, slots=True)
class Fit:
    """How the files of a packet fit its plan: what does not fit at all, and what is only to be known; ``compared``: something
    of it was looked at; ``differs``: some of its notes say what is otherwise than in the plan."""

    misfits: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    compared: bool = True
    differs: bool = False


def fits_of(
    calendars: Sequence[Part], pdfs: Sequence[Part], schedules: Sequence[Schedule], now: Instant
) -> tuple[Fit, ...]:
    """Compare what came with a plan, as of ``now``; of more than a packet can hold only the first ones. The first schedule is
    the plan's alone, others are made with earlier revisions."""
    found = [calendar_fit(part, schedules, now) for part in calendars[:MOST_COMPARED]]
    found += [sheet_fit(part, schedules[0]) for part in pdfs[:MOST_COMPARED]]
    if rest := [part.name for part in (*calendars[MOST_COMPARED:], *pdfs[MOST_COMPARED:])]:
        told = _("There are far more calendars or PDFs than a packet has. Not looked at, so do not use them: {names}.")
        found.append(Fit(notes=(told.format(names=_some(rest)),), compared=False))
    return tuple(found)


def calendar_fit(part: Part, schedules: Sequence[Schedule], now: Instant) -> Fit:
    """Compare a calendar with its plan's schedule. Of several schedules, made with and without earlier revisions, the one
    counts that fits best."""
    if len(part.content) > LARGEST_CALENDAR:
        return Fit((_("{name} is far too large for a calendar.").format(name=part.name),))
    try:
        calendar = Calendar.from_ical(part.content)
        uid = str(calendar.get("UID", ""))
        shown, changed = {event.uid: event for event in _shown(calendar)}, min(_changed(calendar), now)
        repeats = any(name in event for event in calendar.walk("VEVENT") for name in REPEATS)
    except Exception:  # whatever the library makes of bytes that anybody can have written
        return Fit((_("{name} cannot be read as a calendar. Do not open it.").format(name=part.name),))
    if uid != Identities(schedules[0].plan).of("calendar", ""):
        return Fit((_("{name} is the calendar of another plan. Do not open it.").format(name=part.name),))
    if repeats:
        told = _("{name} repeats events by rules, which no calendar of a packet does. Do not open it.")
        return Fit((told.format(name=part.name),))
    return min((_events_fit(part.name, shown, changed, schedule, now) for schedule in schedules), key=_weight)


def sheet_fit(part: Part, schedule: Schedule) -> Fit:
    """Compare a PDF with the sheet of a plan; one that is no sheet is only told."""
    if len(part.content) > LARGEST_PDF:
        told = _("{name} is far too large for a sheet, and was not looked into.").format(name=part.name)
        return Fit(notes=(told,), compared=False)
    try:
        with _limits():
            return _pdf_fit(part, schedule)
    except Exception:  # as above
        return Fit(notes=(_("{name} cannot be read as a PDF.").format(name=part.name),), compared=False)


def _weight(fit: Fit) -> tuple[int, bool, int]:
    return len(fit.misfits), not fit.compared, len(fit.notes)


# Calendars


REPEATS = ("RRULE", "RDATE", "EXDATE", "EXRULE", "RECURRENCE-ID")
"""What makes several events of one (RFC 5545, 3.8.5)."""


@dataclass(frozen=True, slots=True)
class _Event:
    """What is compared of an event: its UID, its start, its title and its whole text."""

    uid: str
    at: Instant
    title: str
    text: str


def _shown(calendar: Any) -> Iterator[_Event]:
    """Yield the events that are not cancelled."""
    for event in calendar.walk("VEVENT"):
        if str(event.get("STATUS", "")) != "CANCELLED":
            title, text = str(event.get("SUMMARY", "")), str(event.get("DESCRIPTION", ""))
            yield _Event(str(event["UID"]), from_datetime(event["DTSTART"].dt.astimezone(UTC)), title, text)


def _changed(calendar: Any) -> Instant:
    """Return when the calendar last changed: what lies before that may be as it was recorded, and not as it was planned."""
    stamps = [from_datetime(event["DTSTAMP"].dt.astimezone(UTC)) for event in calendar.walk("VEVENT")]
    return max(stamps, default=Instant(0))


def _events_fit(name: str, shown: Mapping[str, _Event], changed: Instant, schedule: Schedule, now: Instant) -> Fit:
    """Compare the instants within the days that both have. Doses must fit; a flush may have moved by what was recorded."""
    plan, starts = schedule.plan, {uid: event.at for uid, event in shown.items()}
    planned = {touch.uid: touch for touch in schedule.touches}
    if not starts.keys() & planned.keys():
        return Fit((_("{name} shows nothing of what this plan plans. Do not open it.").format(name=name),))
    # Where a dose ahead is shown at another time, the days reach from the earlier to the later one: neither is left out.
    given = [touch.at for uid, touch in planned.items() if touch.starts and uid in starts and touch.at >= now]
    begin = max(plan.course.takes_effect.instant, min([*starts.values(), *given]), changed)
    ends = max([*(at for uid, at in starts.items() if uid in planned), *given])
    within = {uid: touch for uid, touch in planned.items() if begin <= touch.at <= ends}
    doses, others, texts = [], 0, []
    for uid, touch in within.items():
        if starts.get(uid) == touch.at:
            texts += [
                drug_words(plan.orders[dose.order]) for dose in touch.starts if not _says(shown[uid], plan, dose.order)
            ]
        elif touch.starts:
            drugs = ", ".join(drug_words(plan.orders[dose.order]) for dose in touch.starts)
            doses.append(f"{drugs}, {moment_words(plan.clock.local(touch.at))}")
        else:
            others += 1
    known = {*planned, *_tasks(schedule), *_flushes(plan, begin, ends), _ending(plan)}
    strange = [uid for uid, at in starts.items() if uid not in known and begin <= at <= ends]
    notes, misfits = [], []
    if not within:
        told = _("{name} was not compared: it shows nothing of this plan that is still to come.")
        notes.append(told.format(name=name))
    elif plan.calendar.reveals is not Reveals.EVERYTHING:
        notes.append(_("Of {name} only the times were compared, because it is to tell little.").format(name=name))
    if others:
        notes.append(
            _(
                "{name} shows {count} flushes or finishes at other times than the plan alone gives: an earlier revision, or what was "
                "recorded, is in it."
            ).format(name=name, count=others)
        )
    tasks = _tasks_elsewhere(schedule, starts, begin, ends)
    if tasks:
        told = _(
            "{name} shows {count} care tasks at other times than the plan alone gives: an earlier revision, or what was recorded, is in "
            "it. If neither can be, ask the sender. The first is {first}."
        )
        notes.append(told.format(name=name, count=len(tasks), first=tasks[0]))
    if doses:
        told = _("{name} does not show these doses when the plan gives them: {doses}. Do not open it.")
        misfits.append(told.format(name=name, doses=_some(doses)))
    if texts:
        told = _("{name} does not say what the plan says of these doses: {doses}. Do not open it.")
        misfits.append(told.format(name=name, doses=_some(dict.fromkeys(texts))))
    if strange:
        told = _("{name} shows {count} doses or bag changes that the plan does not have. Do not open it.")
        misfits.append(told.format(name=name, count=len(strange)))
    return Fit(tuple(misfits), tuple(notes), compared=bool(within), differs=bool(tasks))


def _tasks_elsewhere(schedule: Schedule, starts: Mapping[str, Instant], begin: Instant, end: Instant) -> list[str]:
    """Say of each care task of these days that is not shown when the plan gives it what the plan says and what is shown."""
    told = []
    for event in schedule.tasks:
        shown = starts.get(event.uid)
        if shown != event.at and any(begin <= at <= end for at in (event.at, shown) if at is not None):
            clock = schedule.plan.clock
            said = _("{what}, {planned} in the plan and {shown} in the calendar")
            theirs = _("at no time") if shown is None else moment_words(clock.local(shown))
            told.append(said.format(what=event.care.label, planned=moment_words(clock.local(event.at)), shown=theirs))
    return told


def _tasks(schedule: Schedule) -> Iterator[str]:
    """Yield the UIDs that care tasks can have: those of the plan alone, and some more by each interval."""
    names, plan = Identities(schedule.plan), schedule.plan
    for event in schedule.tasks:
        yield event.uid
    for name, task in plan.tasks.items():
        if task.every is not None or task.every_days is not None:
            last = sum(event.task == name for event in schedule.tasks) + MOST_MORE
            yield from (names.of("task", name, str(count)) for count in range(1, last + 1))


def _says(event: _Event, plan: Plan, name: str) -> bool:
    """Say whether title and text of a start name drug and dose; where a calendar is to tell little, that cannot be asked."""
    order = plan.orders[name]
    told = (_close(event.title), _close(event.text))
    asked = (_close(order.drug), _close(order.dose.text))
    return plan.calendar.reveals is not Reveals.EVERYTHING or all(said in text for said in asked for text in told)


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
        told = _("{name} is no sheet of this program, and was not compared.").format(name=part.name)
        return Fit(notes=(told,), compared=False)
    if (marks, numbers) != ([plan_mark(plan)], [str(plan.course.revision)]):
        said = _('{name} is another sheet than that of this plan: it says "{subject}". Do not hang it up.')
        return Fit((said.format(name=part.name, subject=subject),))
    text = _shown_text(reader)
    if text is None:
        return Fit(
            (_("{name} calls itself the sheet of this plan, and is far too large for it.").format(name=part.name),)
        )
    missing = [said for said in _on_sheet(schedule, text) if _close(said) not in text]
    if not missing:
        return Fit()
    told = _("{name} does not show what the plan says: {missing}. Do not hang it up.")
    return Fit((told.format(name=part.name, missing=_some(missing)),))


def _limits() -> AbstractContextManager[object]:
    """Hold the library to what a sheet needs: it stops as soon as more than that is unpacked, mends nothing that is broken, and
    reads no drawing within a drawing, which no sheet has."""
    from pypdf import apply_configuration

    return apply_configuration(
        maximum_declared_stream_length=LARGEST_PDF,
        array_based_stream_maximum_output_length=LARGEST_DRAWING,
        zlib_maximum_output_length=LARGEST_DRAWING,
        lzw_maximum_output_length=LARGEST_DRAWING,
        run_length_maximum_output_length=LARGEST_DRAWING,
        brotli_maximum_output_length=LARGEST_DRAWING,
        stream_decoding_work_maximum_length=3 * LARGEST_DRAWING,
        zlib_maximum_recovery_input_length=0,
        xform_maximum_invocations_per_extraction=0,
    )


def _shown_text(reader: Any) -> str | None:
    """Return what a PDF shows, as :func:`_close` has it; None where it is larger than any sheet. First its pages are counted, then
    what they draw; only then anything of it is read."""
    from pypdf.errors import LimitReachedError

    try:
        if _has_too_many_pages(reader) or _draws_too_much(reader):
            return None
        return "".join(_close(page.extract_text()) for page in reader.pages)
    except LimitReachedError:
        return None


def _has_too_many_pages(reader: Any) -> bool:
    """Count pages by a walk that ends."""
    waiting, nodes, pages = [reader.trailer["/Root"]["/Pages"]], 0, 0
    while waiting:
        node, nodes = waiting.pop().get_object(), nodes + 1
        below = node.get("/Kids")
        pages += below is None
        if pages > MOST_PAGES or nodes > MOST_NODES:
            return True
        waiting += () if below is None else below.get_object()[: MOST_NODES + 1]
    return False


def _draws_too_much(reader: Any) -> bool:
    """Count what the pages draw, and what tells the letters of it; no single piece is unpacked beyond the limit."""
    drawn, fonts = 0, 0
    for page in reader.pages:
        contents = page.get_contents()
        drawn += 0 if contents is None else len(contents.get_data())
        for font in _under(_under(page, "/Resources"), "/Font").values():
            fonts += 1
            if fonts > MOST_FONTS:
                return True
            told = list(_letters(font.get_object()))
            drawn += sum(map(len, told))
            if drawn > LARGEST_DRAWING or any(LONG_LETTERS.search(data) for data in told):
                return True
        if drawn > LARGEST_DRAWING:
            return True
    return False


def _letters(font: Any) -> Iterator[bytes]:
    """Yield, unpacked, what tells the letters of a font."""
    for holder in (font, _under(font, "/FontDescriptor")):
        for stream in (_under(holder, key) for key in LETTERS):
            if hasattr(stream, "get_data"):
                yield stream.get_data()


def _under(holder: Any, key: str) -> Any:
    """Return what a dictionary of a PDF has under a key; nothing is an empty one."""
    found = holder.get(key)
    return {} if found is None else found.get_object()


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
