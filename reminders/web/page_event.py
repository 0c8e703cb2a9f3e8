"""The page of one event or care task: what to lay out, its steps with their timers, and what can be said about it."""

from dataclasses import replace

from starlette.requests import Request
from starlette.responses import Response

from reminders.care_words import doer_words, task_lines, task_title
from reminders.daemon.desk import Desk
from reminders.event_words import ask_lines, marked, recorded_lines, steps_left
from reminders.schedule.care_now import care_now
from reminders.schedule.counts import items_of
from reminders.schedule.model import BLOCKS, TaskEvent, Touch
from reminders.step_words import step_words
from reminders.views.waiting import waiting
from reminders.web.page_cards import Tone, event_card, planned_card
from reminders.web.page_care import care_card, planned_care_card
from reminders.web.page_frame import moment_of, page
from reminders.web.page_say import days, fresh_key, times
from reminders.web.page_stops import bars
from reminders.words import (
    CATALOGUE,
    caution_lines,
    notes_of,
    nurse_only_line,
    prepare_words,
    reason_words,
    timing_lines,
    title,
)

_ = CATALOGUE.gettext


def event(desk: Desk, request: Request) -> Response:
    """Show one event, as it is planned or as it is recorded."""
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    uid = request.query_params.get("uid", "")
    touch = next((touch for touch in schedule.touches if touch.uid == uid), None)
    if touch is None:
        task = next((task for task in schedule.tasks if task.uid == uid), None)
        return page(desk, "gone.html", status=404) if task is None else _task(desk, task)
    plan = touch.plan
    is_open = touch.outcome is None or touch.outstanding
    waits = waiting(touch, schedule, now)
    bar = bars(schedule, desk.keeper.household.record, now).get(touch.lumen)
    card = event_card(waits, schedule, now, bar) if waits is not None else planned_card(touch, schedule, now, bar)
    shut = bar is not None and bar.whole
    offered = is_open and not shut and not any(ask.why in BLOCKS for ask in touch.asks)
    items = items_of(touch)
    timing = [*timing_lines(touch, plan), *_doers(touch)] if touch.outcome is None else []
    asks = [*(bar.lines if bar is not None else ()), *_asks(touch, desk)] if is_open else []
    card = replace(card, lines=[line for line in card.lines if line not in (*timing, *asks)])  # said above
    return page(
        desk,
        "event.html",
        heading=marked(title(touch, plan), touch),
        when=moment_of(desk, touch.at),
        asks=asks,
        recorded=[] if is_open else recorded_lines(touch, schedule.plan),
        prepare=[prepare_words({item: count}) for item, count in sorted(items.items())] if offered else [],
        steps=[step_words(step, plan) for step in steps_left(touch)] if offered else [],
        scrub=plan.protocol.scrub_time,
        dry=plan.protocol.dry_time,
        timing=timing,
        why=reason_words(touch, plan),
        notes=notes_of(touch, plan),
        cautions=caution_lines(schedule.plan),
        card=card if is_open else None,
        key=fresh_key(),
        times=times(past=False),
        times_past=times(past=True),
        days=days(schedule.plan, now),
    )


def _doers(touch: Touch) -> list[str]:
    """Say who does the planned draws of an event."""
    return list(dict.fromkeys(doer_words(touch.plan.tasks[name]) for name in touch.tasks))


def _task(desk: Desk, task: TaskEvent) -> Response:
    """Show one time of a care task: who does it, when, with what, whom to call, and what can be said of it."""
    schedule, now = desk.keeper.schedule, desk.keeper.instant
    is_open = task.outcome is None
    barred = bars(schedule, desk.keeper.household.record, now)
    waits = next((found for found in care_now(schedule, now).waits if found.event == task), None)
    card = (
        care_card(waits, schedule, now, barred) if waits is not None else planned_care_card(task, schedule, now, barred)
    )
    asks = [line for line in card.lines if card.call or card.tone is Tone.ASK] if is_open else []
    told = task_lines(task, schedule.plan)
    return page(
        desk,
        "event.html",
        heading=task_title(task),
        when=moment_of(desk, task.at),
        asks=[line for line in asks if line not in told],
        recorded=[] if is_open else told,
        prepare=[],
        steps=[],
        scrub=None,
        dry=None,
        timing=told if is_open else [],
        why="",
        notes=[],
        cautions=caution_lines(schedule.plan),
        card=replace(card, lines=[line for line in card.lines if line not in (*told, *asks)]) if is_open else None,
        key=fresh_key(),
        times=times(past=False),
        times_past=times(past=True),
        days=days(schedule.plan, now),
    )


def _asks(touch: Touch, desk: Desk) -> list[str]:
    plan = desk.keeper.schedule.plan
    return [*ask_lines(touch, plan), *([nurse_only_line(plan)] if touch.nurse_only else [])]
