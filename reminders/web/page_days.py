"""The pages to look things up: a day and a week as drawings, and the history."""

from datetime import date, timedelta
from itertools import groupby

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from reminders.care_words import task_title, with_doer_words
from reminders.daemon.desk import Desk
from reminders.event_words import agenda_words
from reminders.schedule.care_now import CareEvent, care_status
from reminders.schedule.model import Schedule, Status, Touch
from reminders.schedule.status import status
from reminders.times import Instant
from reminders.units import span
from reminders.views.history import History, Row
from reminders.views.history import history as history_of
from reminders.views.history_files import history_csv
from reminders.views.history_text import STATUS_WORDS, row_words, standing_words
from reminders.views.timeline import SHEET, day_timeline, week_timeline
from reminders.web.page_forms import day_asked
from reminders.web.page_frame import page, query
from reminders.words import CATALOGUE, as_needed_lines, caution_lines, clock_words, day_words, lumen_words, note_words

_ = CATALOGUE.gettext

WEEK = timedelta(days=7)

NO_DAY = _("There is no such day. Choose one here.")


def day(desk: Desk, request: Request) -> Response:
    """Show one local day: the drawing, and the list of what is planned and recorded."""
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    today = schedule.plan.clock.local(now).date()
    asked = day_asked(request.query_params.get("date", ""), today)
    shown = asked or today
    return page(
        desk,
        "day.html",
        here="day",
        status=200 if asked else 400,
        fault="" if asked else NO_DAY,
        heading=day_words(shown),
        drawing=Markup(day_timeline(schedule, shown, now)),
        # The same for paper; two drawings in one page must not share the names of their parts.
        sheet=Markup(day_timeline(schedule, shown, now, SHEET).replace("timeline-day-", "timeline-sheet-")),
        before=(shown - timedelta(days=1)).isoformat(),
        after=(shown + timedelta(days=1)).isoformat(),
        chosen=shown.isoformat(),
        today=shown == today,
        lumens=_list_of_day(schedule, shown, now),
        tasks=_tasks_of_day(schedule, shown, now),
        notes=_notes(schedule),
        cautions=caution_lines(schedule.plan),
    )


Listed = tuple[str, str, str, str]
"""One event in a list: clock, what, how it stands, and its page."""


def _list_of_day(schedule: Schedule, shown: date, now: Instant) -> list[tuple[str, list[Listed]]]:
    """Return the events of a day, lumen by lumen."""
    plan = schedule.plan
    begin, end = _day(schedule, shown)
    touches = [touch for touch in schedule.touches if begin <= touch.at < end]
    found = []
    for name in plan.lumens:
        rows = []
        for touch in touches:
            if touch.lumen != name:
                continue
            how = status(touch, schedule, now)
            # What is over says so in its title.
            told = touch.outcome is not None and not touch.outstanding
            word = "" if told or how is Status.PLANNED else STATUS_WORDS[how]
            at = clock_words(plan.clock.local(touch.at))
            rows.append((at, agenda_words(touch), word, query("event", uid=touch.uid)))
        if rows:
            words = lumen_words(plan, name)
            found.append((words[0].upper() + words[1:], rows))
    return found


def _tasks_of_day(schedule: Schedule, shown: date, now: Instant, *, draws: bool = False) -> list[Listed]:
    """Return the care tasks of a day; ``draws``: those through a lumen too, which a day lists under its lumen."""
    begin, end = _day(schedule, shown)
    events: list[CareEvent] = [event for event in schedule.tasks if begin <= event.at < end]
    if draws:
        events += [touch for touch in schedule.touches if touch.tasks and begin <= touch.at < end]
    rows = []
    for event in sorted(events, key=lambda event: event.at):
        how = care_status(event, schedule, now)
        word = "" if event.outcome is not None or how is Status.PLANNED else STATUS_WORDS[how]
        at = clock_words(schedule.plan.clock.local(event.at))
        rows.append((at, _what(event), word, query("event", uid=event.uid)))
    return rows


def _what(event: CareEvent) -> str:
    if isinstance(event, Touch):
        return _("{lumen}: {what}").format(lumen=lumen_words(event.plan, event.lumen), what=agenda_words(event))
    return with_doer_words(event.care) if event.outcome is None else task_title(event)


def _day(schedule: Schedule, shown: date) -> tuple[Instant, Instant]:
    (_first, begin), (_last, end) = schedule.plan.clock.day_starts(shown, shown + timedelta(days=1))
    return begin, end


def _notes(schedule: Schedule) -> list[str]:
    notes = as_needed_lines(schedule.revision)
    if schedule.plan.course.note:
        notes.append(note_words(schedule.plan.course.note))
    return notes


def week(desk: Desk, request: Request) -> Response:
    """Show seven local days as one drawing, from the day that is asked for on."""
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    today = schedule.plan.clock.local(now).date()
    asked = day_asked(request.query_params.get("date", ""), today)
    begins = asked or today
    shown_days = [begins + timedelta(days=step) for step in range(7)]
    return page(
        desk,
        "week.html",
        here="week",
        status=200 if asked else 400,
        fault="" if asked else NO_DAY,
        heading=_("{first} to {last}").format(
            first=day_words(begins), last=day_words(begins + WEEK - timedelta(days=1))
        ),
        drawing=Markup(week_timeline(schedule, begins, now, link=lambda day: f"day?date={day}")),
        before=(begins - WEEK).isoformat(),
        after=(begins + WEEK).isoformat(),
        chosen=begins.isoformat(),
        days=[
            (shown.isoformat(), day_words(shown), _tasks_of_day(schedule, shown, now, draws=True))
            for shown in shown_days
        ],
    )


def _history_asked(desk: Desk, request: Request) -> tuple[History, str]:
    """Return the history of the days that are asked for, and what was wrong with them."""
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    clock = schedule.plan.clock
    begins = clock.local(schedule.start).date()
    today = max(begins, clock.local(min(now, schedule.end)).date())
    first = day_asked(request.query_params.get("first", ""), max(begins, today - timedelta(days=6)))
    last = day_asked(request.query_params.get("last", ""), today)
    fault = ""
    if first is None or last is None or last < first or (last - first).days > 400:
        fault = _("These days cannot be shown: the first must not be after the last. The last seven days are shown.")
        first, last = max(begins, today - timedelta(days=6)), today
    return history_of(schedule, desk.keeper.household.record, first, last, now), fault


def history(desk: Desk, request: Request) -> Response:
    """Show what was planned and what was recorded, day by day, the last day first."""
    found, fault = _history_asked(desk, request)
    clock = found.plan.clock
    days = [
        (day_words(shown), [_row(row, found) for row in rows])
        for shown, rows in groupby(found.rows, lambda row: clock.local(row.at).date())
    ]
    return page(
        desk,
        "history.html",
        here="history",
        status=400 if fault else 200,
        fault=fault,
        days=days[::-1],
        first=found.first.isoformat(),
        last=found.last.isoformat(),
        csv=query("history.csv", first=found.first.isoformat(), last=found.last.isoformat()),
        begins=clock.local(desk.keeper.schedule.start).date().isoformat(),
    )


def _row(row: Row, found: History) -> tuple[str, str, str, str, list[str]]:
    """Return clock, what, how it stands, its page if it is not recorded, and what else there is to say."""
    plan = found.plan
    what = row_words(row, plan)
    if row.by:
        what += " (" + ", ".join(row.by) + ")"
    asks = row.status in (Status.DUE, Status.OVERDUE, Status.UNCONFIRMED)
    page_of = query("event", uid=row.uid) if asks and row.uid else ""
    return clock_words(plan.clock.local(row.at)), what, _how(row), page_of, list(row.notes)


def _how(row: Row) -> str:
    word = standing_words(row)
    if not row.late or row.outstanding:
        return word
    if row.late > 0:
        return _("{word}, {late} after").format(word=word, late=span(row.late))
    return _("{word}, {early} before").format(word=word, early=span(-row.late))


def history_table(desk: Desk, request: Request) -> Response:
    """Return the history as a table for a spreadsheet."""
    found, _fault = _history_asked(desk, request)
    name = f"history-{found.first.isoformat()}-{found.last.isoformat()}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(history_csv(found), headers=headers, media_type="text/csv; charset=utf-8")
