"""Whole courses on a virtual clock: nothing that is due is lost, nothing is repeated silently, whatever happens to the computer.

The judge is written for this test: it knows the schedule, when the computer was awake, and what was shown, and shares none of the rules
by which the daemon decides. Plans are invented; seeds are fixed.
"""

import json
import random
import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest
from small_plans import plan_text, z
from virtual_course import DAY, HOUR, MINUTE, Course

from reminders.saying.phrases import Verb
from reminders.schedule.model import Schedule, Touch, TouchKind

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


class Judge:
    """Looks, after each step, whether everything that is due has been told since it became due."""

    def __init__(self, course: Course) -> None:
        self.course = course
        self.told: dict[str, int] = {}
        self.rows: dict[int, Row] = {}
        self.checked: Counter[str] = Counter()

    def look(self) -> None:
        course = self.course
        fresh = journal_rows(course, max(self.rows, default=0))
        for _at, told, state in fresh.values():
            if state == "shown":
                self.told.update({key: max(moment, self.told.get(key, 0)) for key, moment in told.items()})
        self.rows |= fresh
        now = int(course.wall // 60)
        for touch in open_and_due(course.schedule, now):
            key = f"{touch.uid}@{touch.planned}"
            assert self.told.get(key, 0) >= touch.planned, (key, touch.kind, now - touch.planned)
            self.checked[key] += 1

    def on_time(self) -> None:
        """Every telling came within a second of its moment, unless the computer could not have told it then, or somebody
        has just reported something of the past."""
        for at, told, state in self.rows.values():
            for key, moment in told.items():
                late = at - moment * MINUTE
                assert late >= 0, f"{key} was told before its time"
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
