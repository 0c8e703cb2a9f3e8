"""What is planned anew after a report is the best, whether the search goes to the end or over to the old answer."""

import random
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_plans import DAILY, reading

from reminders.plan.model import Plan
from reminders.record.facts import EMPTY, Fact, Kind, Record
from reminders.schedule import ahead, sweep
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Schedule, TouchKind
from reminders.schedule.placing import Flush, Question, Stop, stops
from reminders.schedule.sweep import Before, best_flushes
from reminders.times import Instant

PLAN = """
[plan]
end = "2026-06-10 08:00"
[household]
quiet_hours = ["22:00-07:00"]
settled_ahead = "{settled}"
[protocol]
planning_margin = "{margin}"
least_time_to_next_touch = "{least}"
saved_session_worth = {worth}
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.blue]
last_flushed = "2026-06-01 06:30"
idle_limit = "24 h"
[lumen.white]
last_flushed = "2026-06-01 07:30"
idle_limit = "{limit}"
[order.a]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
until_removal = true
duration = "60 min"
"""


def plan_of(chance: random.Random) -> Plan:
    """Return one of the plans that these tests are about."""
    edits = PLAN.format(
        settled=chance.choice(["0 min", "12 h", "24 h"]),
        margin=chance.choice(["0 min", "20 min"]),
        least=chance.choice(["0 min", "1 h"]),
        worth=chance.choice([0, 2, 1000]),
        limit=chance.choice(["8 h", "12 h", "3 days"]),
    )
    plan = reading(edits).plan
    assert plan is not None
    return plan


def reports(plan: Plan, chance: random.Random, count: int) -> Record:
    """Return what a household reports of the first touches: late or early by minutes or by hours, or not at all."""
    facts: list[Fact] = []
    schedule = compile_schedule(plan, EMPTY, plan.course.start.instant)
    for touch in [touch for touch in schedule.touches if touch.at >= plan.course.start.instant + 60][:count]:
        if chance.random() < 0.3:
            continue
        at = Instant(touch.at + chance.choice([-40, -3, 0, 0, 4, 9, 130, 500]))
        told = Fact(key=touch.uid, report=touch.uid, kind=Kind.FLUSHED, happened=at, entered=at, lumen=touch.lumen)
        for dose in touch.starts:
            told = replace(told, kind=Kind.STARTED, lumen="", order=dose.order, dose=dose.key)
        for dose in touch.ends:
            told = replace(told, kind=Kind.FINISHED, lumen="", order=dose.order, dose=dose.key)
        facts.append(told)
    return Record(tuple(sorted(facts, key=lambda fact: fact.happened)))


def flushes(schedule: Schedule) -> list[tuple[Instant, Instant, str]]:
    """Return the idle flushes: when, when planned, and where."""
    return [(touch.at, touch.planned, touch.lumen) for touch in schedule.touches if touch.kind is TouchKind.IDLE_FLUSH]


@given(st.integers(min_value=0))
@settings(
    max_examples=30,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_going_over_to_the_old_answer_changes_nothing(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """The same flushes, to the minute, as when every question is searched to its end."""
    chance = random.Random(seed)
    plan = plan_of(chance)
    record = reports(plan, chance, chance.randint(1, 30))
    quick = flushes(compile_schedule(plan, record, plan.course.start.instant))

    def to_the_end(question: Question, before: Before | None = None) -> list[Flush]:
        return best_flushes(question)

    with monkeypatch.context() as patch:
        patch.setattr(ahead, "best_flushes", to_the_end)
        whole = flushes(compile_schedule(plan, record, plan.course.start.instant))
    assert quick == whole


def test_most_searches_do_go_over() -> None:
    """Else the test above would show nothing: with a report every few hours, later searches are short."""
    chance = random.Random(4)
    plan = plan_of(chance)
    asked: list[tuple[bool, int]] = []

    def counting(question: Question, before: Before | None = None) -> list[Flush]:
        found = best_flushes(question, before)
        same = before is not None and found[-3:] == list(before.flushes)[-3:]
        asked.append((same, len(found)))
        return found

    patch = pytest.MonkeyPatch()
    with patch.context() as inside:
        inside.setattr(ahead, "best_flushes", counting)
        compile_schedule(plan, reports(plan, chance, 30), plan.course.start.instant)
    assert len(asked) > 2
    assert any(same for same, _ in asked)


def test_what_lies_far_ahead_is_not_drawn_up_for_each_report() -> None:
    """A report costs about what lies near it, however long the course is."""
    drawn: list[int] = []

    def counting(question: Question) -> list[Stop]:
        found = stops(question)
        drawn.append(len(found))
        return found

    daily = DAILY.replace("last_day = 2026-06-06", "until_removal = true")
    plan = reading(f'[plan]\nend = "2026-08-10 08:00"\n{daily}').plan
    assert plan is not None
    record = reports(plan, random.Random(4), 60)
    patch = pytest.MonkeyPatch()
    with patch.context() as inside:
        inside.setattr(sweep, "stops", counting)
        compile_schedule(plan, record, plan.course.start.instant)
    whole, *anew = drawn
    assert len(anew) > 10
    assert sum(anew) < len(anew) * whole / 5, (whole, anew)
