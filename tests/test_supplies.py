"""Supply counts against tables worked by hand (R21).

What one visit uses up is common practice, no source: a pair of gloves for each visit, and one scrub of the hub for
each thing that is connected to it (every syringe, every infusion). Plans and numbers are invented.
"""

from collections import Counter

import pytest
from small_plans import SAMPLES, idle, schedule, z
from test_worked_examples import W2

from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY
from reminders.schedule.compile import compile_schedule
from reminders.schedule.counts import supplies
from reminders.schedule.model import Schedule
from reminders.times import Instant

SALINE, HEPARIN, SCRUB, GLOVES = "saline syringe", "heparin syringe", "hub scrub", "pair of gloves"

COMMON_PRACTICE = """
[supplies]
each_touch = { "pair of gloves" = 1 }
each_syringe = { "hub scrub" = 1 }
each_connection = { "hub scrub" = 1 }
"""

ONE_INFUSION = f"""
{COMMON_PRACTICE}
[plan]
end = "2026-06-01 12:00"
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.a]
moments = ["2026-06-01 09:00"]
duration = "30 min"
"""

SALINE_LOCK = """
[line]
lock = "saline"
"""

ONE_IDLE_FLUSH = f"""
{COMMON_PRACTICE}
[plan]
end = "2026-06-01 20:00"
[lumen.red]
last_flushed = "2026-05-31 22:00"
"""

BACK_TO_BACK = f"""
{ONE_INFUSION}
[order.b]
moments = ["2026-06-01 09:30"]
duration = "1 h"
"""

FAR_APART = f"""
{ONE_INFUSION}
[order.b]
moments = ["2026-06-01 10:01"]
duration = "1 h"
"""


def all_of(plan: Schedule) -> Counter[str]:
    """Count the whole plan, the finish at its very end included."""
    return supplies(plan, plan.start, Instant(plan.end + 1))


@pytest.mark.parametrize(
    ("edits", "saline", "heparin", "scrubs", "gloves"),
    [
        # start: saline, infusion; finish: saline, heparin: 3 syringes and 1 connection at 2 visits
        pytest.param(ONE_INFUSION, 2, 1, 4, 2, id="one infusion, heparin lock"),
        # at 08:00 the flush of 22:00 is 10 h old, so the one flush comes at 10:00: saline, heparin
        pytest.param(ONE_IDLE_FLUSH, 1, 1, 2, 1, id="one idle flush, heparin lock"),
        # the saline is the lock: 2 syringes, 1 connection
        pytest.param(ONE_INFUSION + SALINE_LOCK, 2, 0, 3, 2, id="one infusion, saline lock"),
        pytest.param(ONE_IDLE_FLUSH + SALINE_LOCK, 1, 0, 1, 1, id="one idle flush, saline lock"),
        # 4 syringes and 2 connections at 3 visits (a home-infusion blog: 3 saline for two devices, READ)
        pytest.param(BACK_TO_BACK, 3, 1, 6, 3, id="two drugs back to back"),
        # 31 minutes between them is more than the joining time of 30: each drug has its own lock
        pytest.param(FAR_APART, 4, 2, 8, 4, id="two drugs with a lock between"),
    ],
)
def test_what_a_visit_uses_up(edits: str, saline: int, heparin: int, scrubs: int, gloves: int) -> None:
    """Each kind of visit against the table worked by hand."""
    expected = Counter({SALINE: saline, HEPARIN: heparin, SCRUB: scrubs, GLOVES: gloves})
    assert all_of(schedule(edits)) == expected


def test_the_week_of_two_doses_a_day() -> None:
    """14 doses (W2): 14 x 2 saline, 14 x 1 heparin, 14 x (3 syringes + 1 connection) scrubs, 14 x 2 gloves."""
    week = schedule(W2 + COMMON_PRACTICE)
    assert all_of(week) == {SALINE: 28, HEPARIN: 14, SCRUB: 56, GLOVES: 28}


@pytest.mark.parametrize(
    ("volume", "syringes"),
    [("1 mL", 1), ("10 mL", 1), ("10.5 mL", 2), ("20 mL", 2), ("25 mL", 3)],
)
def test_a_flush_larger_than_the_syringe_takes_more_of_them(volume: str, syringes: int) -> None:
    """After the infusion ``volume`` is flushed from 10 mL syringes; each syringe needs its own scrub."""
    plan = schedule(f'{ONE_INFUSION}\n[protocol]\nafter = ["saline {volume}"]')
    expected = {SALINE: 1 + syringes, HEPARIN: 1, SCRUB: 1 + 1 + syringes + 1, GLOVES: 2}
    assert all_of(plan) == expected


def test_a_larger_lock_takes_more_syringes_of_the_lock() -> None:
    """A lumen locked with 6 mL from 5 mL syringes takes 2 of them."""
    plan = schedule(f'{ONE_INFUSION}\n[lumen.red]\nlock_volume = "6 mL"')
    assert all_of(plan) == {SALINE: 2, HEPARIN: 2, SCRUB: 5, GLOVES: 2}


CONTINUOUS = f"""
{COMMON_PRACTICE}
[plan]
end = "2026-06-05 08:00"
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.a]
continuous = true
first_dose = "2026-06-01 10:00"
stops = "2026-06-04 10:00"
volume = "240 mL"
rate = "10 mL/h"
bag_every = "24 h"
each_dose = {{ "bag" = 1, "pump set" = 1 }}
each_bag = {{ "bag" = 1 }}
"""


@pytest.mark.parametrize(
    ("bag_flush", "saline"),
    [('["saline"]', 4), ("[]", 2), ('["saline 20 mL"]', 6)],
)
def test_three_days_of_a_continuous_infusion_take_two_bag_changes(bag_flush: str, saline: int) -> None:
    """Start, changes after 24 h and 48 h, finish: 3 bags, 1 set, 3 connections; what a change flushes is added.

    The day after the finish needs one idle flush (22 h idle, limit 12 h): 1 saline, 1 heparin, 2 scrubs, 1 gloves.
    """
    plan = schedule(f"{CONTINUOUS}\nbag_flush = {bag_flush}")
    assert len(idle(plan)) == 1
    expected = {
        SALINE: saline + 1,
        HEPARIN: 2,
        SCRUB: saline + 1 + 2 + 3,  # every syringe, and three connections
        GLOVES: 4 + 1,
        "bag": 3,
        "pump set": 1,
    }
    assert all_of(plan) == expected


def test_an_extra_step_uses_up_what_it_says() -> None:
    """A new cap after the infusion: one cap, and a scrub of its own besides the four."""
    plan = schedule(
        f"""
        {ONE_INFUSION}
        [step.new_cap]
        label = "Change the cap."
        consumes = {{ "cap" = 1, "hub scrub" = 1 }}
        [protocol]
        after = ["saline", "new_cap"]
        """
    )
    assert all_of(plan) == {SALINE: 2, HEPARIN: 1, SCRUB: 5, GLOVES: 2, "cap": 1}


def test_a_pushed_dose_is_one_visit() -> None:
    """A push: saline, drug, saline, heparin at one visit: 3 syringes and the drug's own, 1 pair of gloves."""
    plan = schedule(
        f"""
        {COMMON_PRACTICE}
        [plan]
        end = "2026-06-01 12:00"
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        [order.a]
        given_as = "push"
        moments = ["2026-06-01 09:00"]
        duration = "2 min"
        volume = "10 mL"
        each_dose = {{ "drug syringe" = 1 }}
        """
    )
    assert all_of(plan) == {SALINE: 2, HEPARIN: 1, SCRUB: 4, GLOVES: 1, "drug syringe": 1}


def test_a_pump_uses_up_a_reservoir_not_a_bag_for_each_dose() -> None:
    """Two days of a pump kept open, dose every 6 h: connected once, changed once, disconnected once."""
    plan = schedule(
        f"""
        {COMMON_PRACTICE}
        [plan]
        end = "2026-06-03 10:00"
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        [order.a]
        given_as = "pump"
        every = "6 h"
        first_dose = "2026-06-01 10:00"
        doses = 8
        stops = "2026-06-03 10:00"
        duration = "1 h"
        kept_open = true
        bag_every = "24 h"
        bag_flush = []
        each_dose = {{ "battery" = 1 }}
        each_bag = {{ "reservoir" = 1 }}
        """
    )
    # the disconnection at the plan's very end belongs to what started before it
    assert all_of(plan) == {SALINE: 2, HEPARIN: 1, SCRUB: 3 + 2, GLOVES: 3, "battery": 1, "reservoir": 1}


# Ranges


@pytest.mark.parametrize(
    ("first", "last", "expected"),
    [
        # the first minute is inside the range, the last is not
        pytest.param("2026-06-01 14:00", "2026-06-01 14:30", {SALINE: 1, SCRUB: 2, GLOVES: 1}, id="the start alone"),
        pytest.param(
            "2026-06-01 14:01", "2026-06-01 14:31", {SALINE: 1, HEPARIN: 1, SCRUB: 2, GLOVES: 1}, id="the finish alone"
        ),
        pytest.param("2026-06-01 14:01", "2026-06-01 14:30", {}, id="between the two"),
        pytest.param("2026-06-01 14:00", "2026-06-01 14:00", {}, id="an empty range"),
        pytest.param("2026-05-01 00:00", "2026-06-01 14:00", {}, id="before"),
    ],
)
def test_part_of_a_day_counts_what_falls_into_it(first: str, last: str, expected: dict[str, int]) -> None:
    """The infusion runs from 14:00Z (09:00 CDT) to 14:30Z."""
    plan = schedule(ONE_INFUSION)
    assert supplies(plan, z(first), z(last)) == expected


def test_the_days_of_a_week_add_up_to_the_week() -> None:
    """Days of 24 h from the plan's start: each holds two doses and what they use up."""
    week = schedule(W2 + COMMON_PRACTICE)
    days = [
        supplies(week, Instant(week.start + day * 1440), Instant(week.start + (day + 1) * 1440)) for day in range(7)
    ]
    assert all(day == {SALINE: 4, HEPARIN: 2, SCRUB: 8, GLOVES: 4} for day in days)
    assert sum(days, Counter()) == all_of(week)


def test_a_week_of_the_sample_with_three_lumens() -> None:
    """Monday 2026-10-19 to Sunday 2026-10-25, worked by hand from the plan.

    Red, nutrition 20:00 to 08:00, seven of each, and between them just the 12 h that it may lie idle: start 1 saline;
    finish 2 saline (20 mL) and 1 heparin. A day: 3 saline, 1 heparin, 4 + 1 scrubs, 2 gloves, a bag and a set. Purple, half an hour at 06:00, 14:00, 22:00, 7.5 h between:
    a day: 6 saline, 3 heparin, 9 + 3 scrubs, 6 gloves, 3 bags and 3 sets. Grey lies idle: each flush 1 saline,
    1 heparin, 2 scrubs, 1 gloves; a week of 12 h at most needs 14 at least.
    """
    path = SAMPLES / "three-lumens.toml"
    plan = read_plan(path.name, path.read_bytes()).plan
    assert plan is not None
    compiled = compile_schedule(plan, EMPTY, plan.course.start.instant)
    first, last = z("2026-10-19 05:00"), z("2026-10-26 05:00")  # midnight CDT
    grey = len([at for at in idle(compiled, "grey") if first <= at < last])
    assert grey >= 14
    assert supplies(compiled, first, last) == {
        "saline syringe 10 mL": 7 * (3 + 6) + grey,
        "heparin syringe 3 mL": 7 * (1 + 3) + grey,
        "hub scrub": 7 * (5 + 12) + 2 * grey,
        "pair of gloves": 7 * (2 + 6) + grey,
        "nutrition bag 2000 mL": 7,
        "pump set with filter": 7,
        "piperacillin-tazobactam bag": 21,
        "administration set": 21,
    }
