"""Whole courses on a virtual clock: nothing that is due is lost, nothing is repeated silently, whatever happens to the computer.

The judge is written for this test: it knows the schedule, when the computer was awake, and what was shown, and shares none of the rules
by which the daemon decides. Plans are invented; seeds are fixed.
"""

import json
import random
import sqlite3
from collections import Counter
from contextlib import closing
from datetime import datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from small_plans import plan_text, z
from virtual_course import DAY, HOUR, MINUTE, Course

from reminders.saying.phrases import Verb
from reminders.schedule.model import Outcome, Schedule, TaskEvent, Touch, TouchKind

SIX_WEEKS = """
[plan]
takes_effect = "2026-10-05 08:00"
start = "2026-10-05 08:00"
end = "2026-11-16 08:00"
[household]
quiet_hours = ["22:30-06:30"]
[pop_up]
again_every = "60 min"
urgent_again_every = "60 min"
ordinary_repeats = 2
[line]
placed_on = 2026-10-01
[lumen.red]
last_flushed = "2026-10-05 07:30"
[order.cefazolin]
clock_times = ["09:00"]
first_dose = "2026-10-05 09:00"
last_day = 2026-11-15
duration = "60 min"
least_spacing = "8 h"
"""
"""Forty-two days over the autumn change of the clocks in Chicago (1 November 2026)."""

THREE_LUMENS = f"""{SIX_WEEKS}
[lumen.grey]
last_flushed = "2026-10-05 07:30"
idle_limit = "24 h"
[lumen.purple]
last_flushed = "2026-10-05 07:30"
[order.vancomycin]
lumen = "purple"
every = "12 h"
first_dose = "2026-10-05 10:00"
last_day = 2026-11-15
duration = "90 min"
least_spacing = "8 h"
"""

WITH_CARE = f"""{SIX_WEEKS.replace("10-05", "10-19")}
[protocol]
after_draw = ["saline 20 mL"]
discard_volume = "5 mL"
[lumen.grey]
last_flushed = "2026-10-19 07:30"
idle_limit = "24 h"
[task.bag]
kind = "out of the refrigerator"
label = "Take the bag out"
done_by = "household"
order = "cefazolin"
before_dose = "1 h"
on_time_within = "30 min"
[task.weight]
kind = "weighing"
label = "Weigh"
done_by = "household"
every_days = 1
at = "07:15"
last_done = "2026-10-19 07:15"
on_time_within = "45 min"
[task.set]
kind = "administration set"
label = "Change the set"
done_by = "household"
every = "46 h"
last_done = "2026-10-19 07:00"
on_time_within = "2 h"
[task.dressing]
kind = "dressing"
label = "Change the dressing"
done_by = "nurse"
every_days = 7
at = "14:00"
last_done = "2026-10-16 14:00"
[task.count]
kind = "blood draw"
label = "Blood count"
done_by = "nurse"
lumen = "grey"
weekdays = ["Tue", "Fri"]
at = "11:00"
on_time_within = "1 h"
[task.delivery]
kind = "delivery"
label = "Supplies come"
done_by = "pharmacy"
weekdays = ["Wed"]
at = "13:00"
"""
"""The same with care tasks: tied to the dose, by the day, by the hour (also at night), by a nurse, through a lumen."""

AWAKE, BED = time(6, 30), time(22, 30)


@pytest.fixture
def make(tmp_path: Path) -> "type[_Maker]":
    _Maker.folder = tmp_path
    return _Maker


class _Maker:
    folder: Path

    @classmethod
    def course(cls, edits: str, start: str, seed: int = 1) -> Course:
        plan = cls.folder / "plan.toml"
        plan.write_text(plan_text(edits), encoding="utf-8")
        return Course(plan, cls.folder / "journal" / "raised.sqlite3", random.Random(seed), z(start) * MINUTE)


Row = tuple[float, dict[str, int], str]
"""What the journal has of a pop-up: when it was raised, what it told, and what came of it."""


def journal_rows(course: Course, after: int = 0) -> dict[int, Row]:
    with closing(sqlite3.connect(course.journal_path)) as connection:
        rows = connection.execute("SELECT number, at, told, state FROM raised WHERE number > ?", (after,)).fetchall()
    return {number: (at, json.loads(told), state) for number, at, told, state in rows}


def open_and_due(schedule: Schedule, now: int) -> list[Touch]:
    """Return the events of which somebody must have been told: past, nothing recorded, no later one of the lumen recorded;
    but no second flush of a lumen of which a flush is outstanding."""
    outstanding = {touch.lumen for touch in schedule.touches if touch.outstanding and touch.at <= now}
    return [
        touch
        for touch in schedule.touches
        if touch.outcome is None
        and touch.planned <= now
        and (schedule.lumens[touch.lumen].last_touch or -1) < touch.at
        and not (touch.kind is TouchKind.IDLE_FLUSH and touch.lumen in outstanding)
    ]


def woken(at: int) -> int:
    """Return the end of the quiet hours in which an instant lies on Chicago's clock, else the instant."""
    local = datetime.fromtimestamp(at * MINUTE, ZoneInfo("America/Chicago"))
    if AWAKE <= local.time() < BED:
        return at
    day = local.date() + timedelta(days=local.time() >= BED)
    return int(datetime.combine(day, AWAKE, local.tzinfo).timestamp() // MINUTE)


def tasks_due(schedule: Schedule, now: int) -> list[TaskEvent]:
    """Return the care tasks of which somebody must have been told: past, nothing recorded, not come round again.

    One that goes with a dose wakes people, and waits until that was started, or its four hours are over.
    """
    found = []
    for event in schedule.tasks:
        dose = event.dose
        if event.outcome is not None or (event.planned if dose else woken(event.planned)) > now:
            continue
        if dose is not None:
            waits = dose.started is None and now <= max(dose.due, event.planned) + 240
        else:
            later = [other for other in schedule.tasks if other.task == event.task and other.planned > event.planned]
            waits = not any(other.outcome is Outcome.DONE or opens(other) <= now for other in later)
        if waits:
            found.append(event)
    return found


def opens(event: TaskEvent) -> int:
    """Return from when on a care task of these plans may be done: some time before it, or from midnight on."""
    within = {"weight": 45, "set": 120}.get(event.task)
    if within is not None:
        return event.planned - within
    day = datetime.fromtimestamp(event.planned * MINUTE, ZoneInfo("America/Chicago")).date()
    return int(datetime.combine(day, time(), ZoneInfo("America/Chicago")).timestamp() // MINUTE)


class Judge:
    """Looks, after each step, whether everything that is due has been told since it became due."""

    def __init__(self, course: Course) -> None:
        self.course = course
        self.told: dict[str, int] = {}
        self.rows: dict[int, Row] = {}
        self.checked: Counter[str] = Counter()
        self.tasks: Counter[str] = Counter()

    def look(self) -> None:
        course = self.course
        fresh = journal_rows(course, max(self.rows, default=0))
        for _at, told, state in fresh.values():
            if state == "shown":
                self.told.update({key: max(moment, self.told.get(key, 0)) for key, moment in told.items()})
        self.rows |= fresh
        now = int(course.wall // 60)
        for touch in open_and_due(course.schedule, now):
            if touch.tasks and woken(touch.planned) > now:
                continue  # nobody is woken for what the nurse does
            key = f"{touch.uid}@{touch.planned}"
            assert self.told.get(key, 0) >= touch.planned, (key, touch.kind, now - touch.planned)
            self.checked[key] += 1
        for event in tasks_due(course.schedule, now):
            key = f"{event.uid}@{event.planned}"
            assert self.told.get(key, 0) >= event.planned, (key, event.task, now - event.planned)
            self.tasks[event.task] += 1

    def nobody_woken(self) -> None:
        """In the quiet hours nobody is told of a care task that does not go with a dose there."""
        tied = {"bag"}
        names = {f"{event.uid}@{event.planned}": event.task for event in self.course.schedule.tasks}
        for at, told, state in self.rows.values():
            asleep = woken(int(at // 60)) != int(at // 60)
            woke = [names[key] for key, moment in told.items() if key in names and woken(moment) != moment]
            assert state != "shown" or not asleep or set(woke) <= tied

    def on_time(self) -> None:
        """Every telling came within a second of its moment, unless the computer could not have told it then, or somebody
        has just reported something of the past."""
        for at, told, state in self.rows.values():
            for key, moment in told.items():
                late = at - moment * MINUTE
                assert late >= 0, f"{key} was told before its time"
                if key.startswith("limit "):
                    continue  # it is asked about once nothing else speaks of it: found by the pulse, which no course has
                if late >= 1 and state == "shown" and at not in self.course.reported:
                    assert any(
                        begin <= moment * MINUTE < end + 1 and at <= end + 1 for begin, end in self.course.gaps
                    ), (
                        key,
                        late,
                    )

    def nothing_silently_twice(self) -> int:
        """Nothing is told twice for one moment, unless a crash came between, and then the pop-up says so. Returns how often."""
        told: Counter[tuple[str, int]] = Counter()
        for _at, what, state in self.rows.values():
            if state == "shown":
                told.update(what.items())
        assert max(told.values(), default=0) <= 1
        marked = {entry.at for entry in self.course.shown if "(Perhaps told already.)" in entry.popup.body}
        uncertain: set[tuple[str, int]] = set()
        repeats = 0
        for at, what, state in self.rows.values():
            again = uncertain & set(what.items())
            if state == "shown" and again:
                repeats += 1
                assert at in marked, "what may have been shown is told again, and does not say so"
                uncertain -= again
            elif state not in ("shown", "failed"):
                uncertain |= set(what.items())
        return repeats


@pytest.mark.parametrize(
    ("edits", "end", "seed"),
    [
        (SIX_WEEKS, "2026-11-16 14:00", 1),
        (THREE_LUMENS, "2026-10-10 14:00", 3),
    ],
)
def test_forty_two_days_of_late_early_forgotten_and_double_reports_sleep_and_restarts(
    make: type[_Maker], edits: str, end: str, seed: int
) -> None:
    course = make.course(edits, "2026-10-05 13:00", seed)
    rng, judge = course.rng, Judge(course)
    course.tick()
    last = z(end) * MINUTE
    naps = restarts = steps = 0
    while course.wall < last:
        steps += 1
        course.go_to(min(course.armed, last))
        judge.look()
        act = rng.random()
        if act < 0.10:
            naps += 1
            course.sleep(rng.choice([MINUTE, 20 * MINUTE, 3 * HOUR, 9 * HOUR]))
        elif act < 0.13:
            restarts += 1
            course.off(rng.uniform(1, 2 * HOUR), killed=rng.random() < 0.5)
        elif act < 0.20:
            course.kill_next = rng.choice(["before", "after"])
        elif act < 0.60:
            people(course)
        judge.look()
    course.sleep(3 * DAY)
    judge.look()
    judge.on_time()
    repeats = judge.nothing_silently_twice()
    assert steps > 80
    assert naps > 3
    assert restarts > 1
    assert course.kills > 3
    assert 0 < repeats <= course.kills, "a kill between intent and outcome is told again"
    assert len(judge.checked) > 20, "enough was left unrecorded to be asked for"
    assert course.reports["done"] > 15


def test_two_weeks_with_care_tasks_lose_none_nag_nobody_and_wake_nobody(make: type[_Maker]) -> None:
    course = make.course(WITH_CARE, "2026-10-19 13:00", 11)
    rng, judge = course.rng, Judge(course)
    course.tick()
    last = z("2026-11-02 14:00") * MINUTE  # over the change of the clocks
    while course.wall < last:
        course.go_to(min(course.armed, last))
        judge.look()
        act = rng.random()
        if act < 0.05:
            course.sleep(rng.choice([20 * MINUTE, 3 * HOUR, 9 * HOUR]))
        elif act < 0.07:
            course.off(rng.uniform(1, 2 * HOUR), killed=rng.random() < 0.5)
        elif act < 0.30:
            people(course)
        elif act < 0.65:
            carers(course)
        judge.look()
    judge.on_time()
    judge.nobody_woken()
    judge.nothing_silently_twice()
    assert set(judge.tasks) == {"bag", "weight", "set", "dressing", "delivery"}, "each was left unrecorded for a while"
    assert min(course.reports.get(verb.value, 0) for verb in (Verb.TASK_DONE, Verb.TASK_PUT_OFF, Verb.TASK_SKIPPED)) > 1
    asked: Counter[str] = Counter()
    for _at, told, state in judge.rows.values():
        asked.update(key for key in told if state == "shown")
    others = {"dressing", "delivery"}
    nagged = {f"{event.uid}@{event.planned}" for event in course.schedule.tasks if event.task in others}
    nagged |= {f"{touch.uid}@{touch.planned}" for touch in course.schedule.touches if touch.tasks}
    assert len(nagged & set(asked)) > 5
    assert max(asked[key] for key in nagged) <= 3, "ahead, at its time, and once whether they came"


def carers(course: Course) -> None:
    """Somebody says of a care task that waits that it was done, is put off, or is not to be done."""
    rng, now = course.rng, int(course.wall // 60)
    waits: list[TaskEvent | Touch] = [*tasks_due(course.schedule, now)]
    waits += [touch for touch in open_and_due(course.schedule, now) if touch.tasks]
    if not waits:
        return
    event, act = rng.choice(waits), rng.random()
    name = event.task if isinstance(event, TaskEvent) else event.tasks[0]
    if act < 0.45:
        course.report(Verb.TASK_DONE, name=name, when=rng.choice(["", "10 min ago"]))
    elif act < 0.72:
        course.report(Verb.TASK_PUT_OFF, event, name=name, when=rng.choice(["in 2 h", "in 20 h"]))
    else:
        course.report(Verb.TASK_SKIPPED, event, name=name)


def people(course: Course) -> None:
    """Somebody answers what waits: as planned, late, early, twice, or says that it was not given."""
    rng, schedule, now = course.rng, course.schedule, int(course.wall // 60)
    waiting = [touch for touch in open_and_due(schedule, now) if touch.planned > now - 24 * 60]
    ahead = [touch for touch in schedule.touches if now < touch.planned < now + 60 and touch.outcome is None]
    act = rng.random()
    if waiting and act < 0.75:
        touch = rng.choice(waiting)
        back = rng.choice(["", "", "", "5 min ago", "20 min ago"])
        key = f"report {len(course.reports)} {course.wall}"
        course.report(Verb.DONE, touch, key, when=back)
        if rng.random() < 0.3:
            course.report(Verb.DONE, touch, key, when=back)  # sent twice
    elif ahead and act < 0.9:
        course.report(Verb.FLUSHED, lumen=rng.choice(ahead).lumen)
    elif waiting:
        starts = [touch for touch in waiting if touch.starts]
        if starts:
            course.report(Verb.NOT_GIVEN, order=starts[-1].starts[0].order, dose=starts[-1].starts[0].key)


def test_a_sleep_of_three_days_is_told_once_and_together(make: type[_Maker]) -> None:
    course = make.course(SIX_WEEKS, "2026-10-05 13:00")
    course.tick()
    before = len(course.shown)
    course.sleep(3 * DAY)
    fresh = course.shown[before:]
    late = [entry for entry in fresh if "things to answer" in entry.popup.title]
    assert len(late) == 1
    assert len(fresh) <= 3, "the late ones together, what is urgent, what is not"
    count = len(fresh)
    course.tick()
    assert len(course.shown) == before + count, "and not again"


def test_a_clock_that_was_days_ahead_loses_nothing_when_it_is_set_right(make: type[_Maker]) -> None:
    """A computer that starts with a wrong clock tells of tomorrow; set right, it tells tomorrow's things again in their time."""
    course = make.course(SIX_WEEKS, "2026-10-05 13:00")
    judge = Judge(course)
    course.tick()
    course.set_clock(2 * DAY)
    course.set_clock(-2 * DAY)
    judge.told.clear()
    judge.rows |= journal_rows(course)
    course.tick()
    for _step in range(40):
        course.go_to(course.armed)
        judge.look()
    assert course.wall > z("2026-10-05 15:00") * MINUTE
    assert judge.checked


@pytest.mark.parametrize("step", [-HOUR, -5 * MINUTE, 7 * MINUTE, HOUR])
def test_a_clock_that_is_set_by_a_little_loses_nothing(make: type[_Maker], step: float) -> None:
    course = make.course(SIX_WEEKS, "2026-10-05 13:00")
    judge = Judge(course)
    course.tick()
    course.go_to(z("2026-10-05 13:52") * MINUTE)
    course.set_clock(step)
    for _step in range(12):
        course.go_to(course.armed)
        judge.look()
    assert judge.checked


def test_the_repeated_hour_is_told_once(make: type[_Maker]) -> None:
    """On 1 November 2026 Chicago's clocks show 01:00 to 02:00 twice; instants do not repeat."""
    night = SIX_WEEKS.replace('clock_times = ["09:00"]', 'clock_times = ["01:30"]').replace(
        "10-05 09:00", "10-06 01:30"
    )
    course = make.course(night, "2026-11-01 05:00")
    course.tick()
    seen = len(course.shown)
    course.go_to(z("2026-11-01 06:40") * MINUTE)  # past the first 01:30, 06:30 UTC
    titles = [entry.popup.title for entry in course.shown[seen:] if entry.at == z("2026-11-01 06:30") * MINUTE]
    assert any(title.startswith("Now: red lumen, start cefazolin") for title in titles)
    seen = len(course.shown)
    course.go_to(z("2026-11-01 07:35") * MINUTE)  # past the second 01:30
    told_again = [entry.popup.title for entry in course.shown[seen:] if "start cefazolin" in entry.popup.title]
    assert not [title for title in told_again if title.startswith(("Now:", "In "))]


def test_pop_ups_that_cannot_be_shown_are_tried_again_until_they_are(make: type[_Maker]) -> None:
    course = make.course(SIX_WEEKS, "2026-10-05 13:50")
    course.fails_until = z("2026-10-05 14:20") * MINUTE  # the notification service comes late
    course.tick()
    course.go_to(z("2026-10-05 14:19") * MINUTE)
    assert course.shown == []
    assert "does not answer" in course.ticker.pop_up_trouble
    tries = [state for _at, _told, state in journal_rows(course).values()]
    assert tries.count("failed") >= 5
    course.go_to(z("2026-10-05 14:26") * MINUTE)
    assert [entry for entry in course.shown if "start cefazolin" in entry.popup.title + entry.popup.body]
    assert course.ticker.pop_up_trouble == ""
    judge = Judge(course)
    judge.look()


def test_a_journal_that_cannot_be_written_does_not_keep_anybody_from_being_told(
    make: type[_Maker], monkeypatch: pytest.MonkeyPatch
) -> None:
    course = make.course(SIX_WEEKS, "2026-10-05 13:50")
    course.journal.close()  # every write now fails, as on a disk that was taken away
    course.tick()
    course.go_to(z("2026-10-05 14:00") * MINUTE)
    assert [entry.popup.title for entry in course.shown][-1] == "Now: red lumen, start cefazolin 1 g"
    assert "cannot be kept" in course.ticker.journal_trouble
    count = len(course.shown)
    course.tick()
    assert len(course.shown) == count, "what it knows by itself it does not repeat"
