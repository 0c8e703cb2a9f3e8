"""Drugs that must not be flushed through (R6), draws from a lumen in which something runs (R20), and draws that move doses.

The plan is the small invented one of these tests: cefazolin into the red lumen at 09:00, for an hour. Clock times are
Chicago's in June 2026.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import pytest
from histories import after, at, fact, record
from small_plans import DAILY, said, schedule
from test_care import BLUE, DRAWS, RED, task

from reminders.event_words import EventWords
from reminders.reminding.matters import Sort, matters
from reminders.saying.advice import advice
from reminders.saying.answer import answer
from reminders.schedule.counts import daily_totals, supplies
from reminders.schedule.model import Schedule, Touch
from reminders.schedule.status import status
from reminders.views.due import due

CALL = "On-call nurse, Fennimore Vale, 555-0142"
NURSE = DAILY + 'flush_through = "nurse only"\n'
WITHDRAW = DAILY + 'flush_through = "withdraw first"\nwithdraw_volume = "3 mL"\n'
THEN_B = (
    '[order.b]\nclock_times = ["10:30"]\nfirst_dose = "2026-06-01 10:30"\nlast_day = 2026-06-06\nduration = "30 min"\n'
)
STARTED = "06-03 09:00 started order=cefazolin dose=2026-06-03T09:00"
INTERRUPTED = "06-03 09:10 interrupted order=cefazolin dose=2026-06-03T09:00"
LATE = "06-03 10:00 started order=cefazolin dose=2026-06-03T09:00"
DRAWN = "06-03 09:20 drawn lumen=red"
B_GIVEN = ("06-03 10:25 started order=b dose=2026-06-03T10:30", "06-03 10:50 finished order=b dose=2026-06-03T10:30")
NOT_THROUGH = "what is in the lumen must not be flushed through"
OVERLAP = "runs into another dose"


def moment(clock: str, more: str = "") -> str:
    """Return a draw from the red lumen at a moment of 3 June."""
    keys = f'moments = ["2026-06-03 {clock}"]\nlumen = "red"\n{more}'
    return task("labs", "blood draw", keys)


@dataclass(frozen=True)
class Case:
    """A plan and a record, and the touches of 3 June as of ``now``: time, status, kind, why to ask, steps."""

    name: str
    plan: str
    lines: Sequence[str]
    now: str
    then: Sequence[str]


CASES = (
    Case(
        "a draw while a drug runs that only the nurse may flush through: no flush",
        NURSE,
        (STARTED, DRAWN),
        "09:25",
        (
            "09:00 done start: saline, connect cefazolin",
            f"09:20 due draw, outstanding, {NOT_THROUGH}: ",
            "10:00 planned finish, nurse: disconnect cefazolin, saline, lock heparin",
            "22:00 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "the same with a drug that is to be drawn out first, and a draw that was planned for before it",
        WITHDRAW + moment("08:30"),
        (STARTED, DRAWN),
        "09:25",
        (
            "09:00 done start: saline, connect cefazolin",
            f"09:20 due draw, outstanding, {NOT_THROUGH}: ",
            "10:00 planned finish: disconnect cefazolin, withdraw cefazolin, saline, lock heparin",
            "22:00 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "a drug that may be flushed through: the flush is due",
        DAILY,
        (STARTED, DRAWN),
        "09:25",
        (
            "09:00 done start: saline, connect cefazolin",
            "09:20 due draw, outstanding: saline",
            "10:00 planned finish: disconnect cefazolin, saline, lock heparin",
            "22:00 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "whoever drew it flushed it: it is recorded as it was",
        NURSE,
        (STARTED, DRAWN, "06-03 09:22 flushed lumen=red"),
        "09:25",
        (
            "09:00 done start: saline, connect cefazolin",
            "09:20 done draw: saline",
            "10:00 planned finish, nurse: disconnect cefazolin, saline, lock heparin",
            "22:00 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "it has stood since it was interrupted: neither the draw nor the idle flush pushes it on",
        NURSE,
        (STARTED, INTERRUPTED, DRAWN),
        "09:25",
        (
            "09:00 done start: saline, connect cefazolin",
            f"09:20 due draw, outstanding, {NOT_THROUGH}: ",
            f"21:00 planned idle flush, {NOT_THROUGH}: ",
        ),
    ),
    Case(
        "nobody has said that it finished: it may still be connected",
        NURSE,
        (STARTED, "06-03 10:05 drawn lumen=red"),
        "10:06",
        (
            "09:00 done start: saline, connect cefazolin",
            "10:00 due finish, nurse: disconnect cefazolin, saline, lock heparin",
            f"10:05 due draw, outstanding, {NOT_THROUGH}: ",
            "22:00 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "it was taken off, and another was given since",
        NURSE + THEN_B,
        (STARTED, *B_GIVEN, "06-03 10:55 flushed lumen=red", "06-03 11:20 drawn lumen=red"),
        "11:21",
        (
            "09:00 done start: saline, connect cefazolin",
            "10:00 unconfirmed finish, nurse: disconnect cefazolin, saline",
            "10:25 done start: saline, connect b",
            "10:50 done finish: disconnect b, saline, lock heparin",
            "11:20 due draw, outstanding: saline, lock heparin",
            "23:20 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "it is late, and runs into the next one: asked about, and nothing is pushed before that",
        NURSE + THEN_B,
        (LATE,),
        "10:20",
        (
            "10:00 done start: saline, connect cefazolin",
            f"10:30 due start, {OVERLAP}, {NOT_THROUGH}: ",
            "11:00 planned finish, nurse: disconnect cefazolin, saline, lock heparin",
            f"11:00 planned finish, {OVERLAP}: disconnect b, saline, lock heparin",
            "23:00 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "the next one was given all the same, and has not been flushed",
        NURSE + THEN_B,
        (LATE, *B_GIVEN),
        "10:55",
        (
            "10:00 done start: saline, connect cefazolin",
            "10:25 done start: saline, connect b",
            f"10:50 due finish, outstanding, {NOT_THROUGH}: ",
            "11:00 planned finish, nurse: disconnect cefazolin, saline, lock heparin",
            "23:00 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "the next one was started all the same, and ends before it",
        NURSE + THEN_B.replace("30 min", "15 min"),
        (LATE, B_GIVEN[0]),
        "10:30",
        (
            "10:00 done start: saline, connect cefazolin",
            "10:25 done start: saline, connect b",
            f"10:40 planned finish, {NOT_THROUGH}: ",
            "11:00 planned finish, nurse: disconnect cefazolin, saline, lock heparin",
            "23:00 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "a planned draw falls into a late infusion, and the plan says nothing of stopping it",
        DAILY + moment("11:30"),
        ("06-03 11:00 started order=cefazolin dose=2026-06-03T09:00",),
        "11:31",
        (
            "11:00 late start: saline, connect cefazolin",
            f"11:30 due draw, nurse, {OVERLAP}: ",
            "12:00 planned finish: disconnect cefazolin, saline, lock heparin",
        ),
    ),
    Case(
        "the plan says how long, but not to flush it",
        NURSE + moment("11:30", 'pauses_infusion = "10 min"'),
        ("06-03 11:00 started order=cefazolin dose=2026-06-03T09:00",),
        "11:31",
        (
            "11:00 late start: saline, connect cefazolin",
            f"11:30 due draw, nurse, {OVERLAP}: ",
            "12:10 planned finish, nurse: disconnect cefazolin, saline, lock heparin",
        ),
    ),
    Case(
        "a draw after a finish that only the nurse may flush after, and did not",
        NURSE,
        (
            "06-03 09:00 started order=cefazolin dose=2026-06-03T09:00",
            "06-03 10:00 finished order=cefazolin dose=2026-06-03T09:00",
            "06-03 10:15 drawn lumen=red",
        ),
        "10:16",
        (
            "09:00 done start: saline, connect cefazolin",
            "10:00 unconfirmed finish, nurse, outstanding: disconnect cefazolin, saline, lock heparin",
            f"10:15 due draw, outstanding, {NOT_THROUGH}: ",
            "22:00 planned idle flush: saline, lock heparin",
        ),
    ),
    Case(
        "the plan says how long it is stopped",
        DAILY + moment("11:30", 'pauses_infusion = "10 min"'),
        ("06-03 11:00 started order=cefazolin dose=2026-06-03T09:00",),
        "11:31",
        (
            "11:00 late start: saline, connect cefazolin",
            "11:30 due draw, nurse: pause cefazolin, discard, draw labs, saline, resume cefazolin",
            "12:10 planned finish: disconnect cefazolin, saline, lock heparin",
        ),
    ),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_nothing_is_pushed_into_what_must_not_be_flushed_or_is_not_stopped(case: Case) -> None:
    now = f"06-03 {case.now}"
    shown = after(DRAWS + case.plan, case.lines, now)
    assert [row for touch in _of_3_june(shown) if (row := _row(touch, shown, now))] == list(case.then)


def test_a_flush_that_was_pushed_into_such_a_drug_is_answered_with_whom_to_call() -> None:
    before = after(DRAWS + NURSE, "06-03 09:00 started order=cefazolin dose=2026-06-03T09:00", "06-03 09:31")
    told_fact = fact("06-03 09:30 flushed lumen=red")
    told = list(advice(told_fact, before, before))
    assert any(line.startswith("cefazolin was in this lumen then, and must not be flushed through.") for line in told)


def _of_3_june(shown: Schedule) -> list[Touch]:
    return [touch for touch in shown.touches if f"{shown.plan.clock.local(touch.at):%d}" == "03"]


def _row(touch: Touch, shown: Schedule, now: str) -> str:
    flags = [
        touch.kind.value,
        *(["nurse"] if touch.nurse_only else []),
        *(["outstanding"] if touch.outstanding else []),
        *(ask.why.value for ask in touch.asks),
    ]
    time = f"{shown.plan.clock.local(touch.at):%H:%M}"
    return f"{time} {status(touch, shown, at(now)).value} {', '.join(flags)}: {said(touch.steps)}"


@pytest.mark.parametrize("plan", [NURSE, WITHDRAW], ids=["nurse only", "withdraw first"])
def test_every_view_says_whom_to_ask_instead_of_to_flush(plan: str) -> None:
    """The answer to the report, the list of what is due, the calendar, and what is told by pop-up."""
    now = at("06-03 09:25")
    before, shown = after(DRAWS + plan, [STARTED], "06-03 09:25"), after(DRAWS + plan, [STARTED, DRAWN], "06-03 09:25")
    why = "cefazolin is in this lumen until 10:00 CDT, and must not be flushed through."
    told = answer(record([STARTED, DRAWN]).facts[1:], before, shown, now)
    assert f"Do not flush the red lumen: ask first. {why} Call {CALL}." in told
    assert not any("20 mL" in line or "due now" in line for line in told)
    listed = due(shown, now)
    assert "FLUSH NOW" not in listed
    assert f"Not flushed since blood draw at 09:20 CDT, as far as is recorded. Ask {CALL}.\n    {why}" in listed
    drawn = next(touch for touch in shown.touches if touch.outstanding)
    heading, text = EventWords(shown.plan).event(drawn)
    assert heading == "ASK FIRST: Red lumen: blood draw"
    assert f"{why}\nASK FIRST: call {CALL} before you do this." in text
    assert "20 mL" not in text
    assert [matter.sort for matter in matters(shown, now) if matter.touch is drawn] == [Sort.ASK_FIRST]


def test_a_finish_with_a_draw_that_nobody_said_how_to_make_is_asked_about_as_a_draw() -> None:
    lines = [LATE, B_GIVEN[0]]
    plan = DRAWS + DAILY + THEN_B.replace("30 min", "15 min") + moment("10:40")
    shown = after(plan, lines, "06-03 10:30")
    both = next(touch for touch in shown.touches if touch.tasks)
    assert both.ends
    assert not both.steps
    assert f"ASK FIRST: call {CALL}" in EventWords(shown.plan).event(both)[1]


# What a recorded draw has used up

BEFORE = '[protocol]\nbefore_draw = ["saline"]\n'
SYRINGES = '[supplies]\neach_withdrawal = { "empty syringe" = 1 }\neach_draw = { "blood set" = 1 }\n'
LOCK_OUT = BLUE + 'flush_through = "withdraw first"\nwithdraw_volume = "5 mL"\n'
AT_14 = ("06-03 14:00 drawn lumen={lumen}", "06-03 14:00 flushed lumen={lumen}")


@pytest.mark.parametrize(
    ("plan", "lumen", "lines"),
    [
        (DAILY + moment("14:00"), "red", AT_14),
        (DAILY + moment("14:00", 'uses = { "blood tube" = 2 }'), "red", AT_14),
        (LOCK_OUT + moment("14:00").replace('"red"', '"blue"'), "blue", AT_14),
        (DAILY + moment("09:20", 'pauses_infusion = "10 min"'), "red", (DRAWN, "06-03 09:20 flushed lumen=red")),
        (DAILY + moment("09:00"), "red", ("06-03 09:00 drawn lumen=red", "06-03 09:00 flushed lumen=red", STARTED)),
    ],
    ids=["idle", "with tubes", "a lock that is drawn out", "while an infusion is stopped", "at a start"],
)
def test_a_recorded_draw_has_used_up_what_the_planned_one_would_have(
    plan: str, lumen: str, lines: Sequence[str]
) -> None:
    edits = DRAWS + BEFORE + SYRINGES + plan
    ahead, done = (
        after(edits, [], "06-03 08:00"),
        after(edits, [line.format(lumen=lumen) for line in lines], "06-03 15:00"),
    )
    day = at("06-03 00:00"), at("06-03 23:59")
    used, would = supplies(done, *day), supplies(ahead, *day)
    assert used == would
    assert used["saline syringe"] >= 3
    pushed = [
        next((total.flushed, total.sodium, total.heparin) for total in daily_totals(schedule) if total.day.day == 3)
        for schedule in (ahead, done)
    ]
    assert pushed[0] == pushed[1]


def test_what_a_draw_leaves_to_be_done_is_not_what_came_before_it() -> None:
    shown = after(DRAWS + BEFORE + LOCK_OUT, ["06-03 14:00 drawn lumen=blue"], "06-03 14:01")
    drawn = next(touch for touch in shown.touches if touch.outstanding)
    assert said(drawn.done_first) == "withdraw, saline, discard"
    assert said(drawn.steps) == "saline, lock heparin"
    again = ["06-03 14:00 drawn lumen=blue", "06-03 14:00 flushed lumen=blue", "06-03 14:30 drawn lumen=blue"]
    last = next(touch for touch in after(DRAWS + BEFORE + LOCK_OUT, again, "06-03 14:31").touches if touch.outstanding)
    assert said(last.done_first) == "withdraw, saline, discard"


# Draws that make doses longer, on whose ends other draws depend


def chain(links: int) -> str:
    """Return orders in two lumens; each draw falls into the next dose only because the dose before was stopped for one."""
    edits, minute = DRAWS + RED + BLUE, 9 * 60
    for link in range(links):
        clock = f"{minute // 60:02}:{minute % 60:02}"
        edits += (
            f'[order.o{link}]\nclock_times = ["{clock}"]\nfirst_dose = "2026-06-01 {clock}"\nlast_day = 2026-06-01\n'
            f'duration = "30 min"\nlumen = "{("red", "blue")[link % 2]}"\n'
        )
        minute += 35
    for link in range(links - 1):
        edits += task(
            f"d{link}",
            "blood draw",
            f'order = "o{link}"\nafter_finish = "0 min"\non_time_within = "15 min"\n'
            f'lumen = "{("blue", "red")[link % 2]}"\npauses_infusion = "10 min"',
        )
    first = 'moments = ["2026-06-01 09:10"]\nlumen = "red"\npauses_infusion = "10 min"'
    return edits + task("first", "blood draw", first)


@pytest.mark.parametrize("links", [3, 9, 12])
def test_a_chain_of_draws_and_finishes_is_followed_to_its_end(links: int) -> None:
    doses = schedule(chain(links)).doses
    lasts = [(dose.end or 0) - dose.start for name in sorted(doses) for dose in doses[name]]
    assert lasts == [40] * links


def test_draws_that_chase_each_other_round_stop_a_dose_for_the_longest_that_they_say() -> None:
    """Half an hour before the dose that follows it, blood is drawn: at 09:30, at 09:40 if the other draw stops it, and then
    at 09:50, where both meet and stop it once, so that it is drawn at 09:40 again."""
    follows = '[order.b]\nfollows = "cefazolin"\nduration = "30 min"\nwithout least_spacing\n'
    tied = task(
        "tied",
        "blood draw",
        'order = "b"\nbefore_dose = "30 min"\non_time_within = "5 min"\nlumen = "red"\nonly_doses = [3]\n'
        'pauses_infusion = "10 min"',
    )
    shown = schedule(DRAWS + DAILY + follows + tied + moment("09:50", 'pauses_infusion = "10 min"'))
    again = schedule(DRAWS + DAILY + follows + tied + moment("09:50", 'pauses_infusion = "10 min"'))
    third = shown.doses["cefazolin"][2]
    assert (third.end or 0) - third.start == 80
    assert shown.touches == again.touches
