"""The worked examples of the schedule rules, to the minute: W1 to W8 and W14, each as given and then.

Clock times are Chicago's unless a test says otherwise. CDT is UTC-5, CST is UTC-6; the clocks go back on 2026-11-01
and forward on 2027-03-14. The idle limit is 12 h and the lock heparin. Everything else in the small plan that the
tests start from is invented.
"""

from pathlib import Path

import pytest
from small_plans import SAMPLES, idle, of_code, of_kind, rows, schedule, shown, starts, z

from reminders.examine import Examination, examine
from reminders.findings import Severity
from reminders.plan.read import read_plan
from reminders.record.facts import EMPTY
from reminders.schedule.counts import supplies
from reminders.schedule.model import Schedule, TouchKind

# W1


@pytest.mark.parametrize("margin", ["0 min", "15 min"])  # with more, 23.5 h would need two flushes
def test_w1_a_daily_half_hour_dose_has_one_idle_flush_each_evening(margin: str) -> None:
    """Given a 30-minute dose at 09:00 each day, then each gap of 23.5 h has one flush from 21:00 to 21:30."""
    week = schedule(
        f"""
        [plan]
        end = "2026-06-08 09:00"
        [protocol]
        planning_margin = "{margin}"
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        [order.a]
        clock_times = ["09:00"]
        first_dose = "2026-06-01 09:00"
        until_removal = true
        duration = "30 min"
        """
    )
    assert len(starts(week, "a")) == 7
    flushes = [week.plan.clock.local(at) for at in idle(week)]
    assert [flush.day for flush in flushes] == [1, 2, 3, 4, 5, 6, 7]
    assert all("21:00" <= f"{flush:%H:%M}" <= "21:30" for flush in flushes)


# W2

W2 = """
[plan]
start = "2026-06-01 08:00"
end = "2026-06-08 08:00"
[lumen.red]
last_flushed = "2026-05-31 21:00"
[order.a]
clock_times = ["08:00", "20:00"]
first_dose = "2026-06-01 08:00"
until_removal = true
duration = "60 min"
"""


def test_w2_two_doses_a_day_need_no_idle_flush() -> None:
    """Given 60-minute doses at 08:00 and 20:00, then the gaps of 11 h stay below 12 h and need nothing."""
    assert idle(schedule(W2)) == []


def test_w2_seven_days_take_fourteen_doses_28_saline_and_14_heparin_syringes() -> None:
    """Given the same, then 7 days are 14 doses, 28 saline syringes and 14 heparin syringes."""
    week = schedule(W2)
    assert len(starts(week, "a")) == 14
    # the last finish, 21:00 on the seventh day, lies inside the week
    assert supplies(week, week.start, week.end) == {"saline syringe": 28, "heparin syringe": 14}


# W3 and W4


def lumen_without_orders(last_flushed: str, end: str) -> Schedule:
    return schedule(
        f"""
        [plan]
        takes_effect = "{last_flushed}"
        start = "{last_flushed}"
        end = "{end}"
        [lumen.red]
        last_flushed = "{last_flushed}"
        """
    )


@pytest.mark.parametrize(
    ("last_flushed", "end", "limit", "on_the_clock"),
    [
        pytest.param("2026-10-31 21:00", "2026-11-03 12:00", "2026-11-01 14:00", "08:00 CST", id="W3-autumn"),
        pytest.param("2027-03-13 21:00", "2027-03-16 12:00", "2027-03-14 15:00", "10:00 CDT", id="W4-spring"),
    ],
)
def test_w3_w4_twelve_hours_are_twelve_hours_whatever_the_clocks_do(
    last_flushed: str, end: str, limit: str, on_the_clock: str
) -> None:
    """Given a lumen with no orders, flushed at 21:00 before a clock change, then the next flush is due in 12 h."""
    plan = lumen_without_orders(last_flushed, end)
    first = of_kind(plan, TouchKind.IDLE_FLUSH)[0]
    assert plan.start < first.at <= z(limit)
    assert first.reason.deadline == z(limit)
    assert shown(z(limit), plan).endswith(on_the_clock)


def test_w3_by_the_clock_twelve_hours_later_would_be_thirteen() -> None:
    """Given W3, then 09:00 CST on the morning after is 13 h after the flush, so nothing waits until then."""
    plan = lumen_without_orders("2026-10-31 21:00", "2026-11-03 12:00")
    assert z("2026-11-01 15:00") - plan.start == 13 * 60
    assert any(plan.start < at < z("2026-11-01 15:00") for at in idle(plan))


# W5 to W7

W5 = """
[plan]
takes_effect = "2027-03-12 12:00"
start = "2027-03-12 12:00"
end = "2027-03-16 12:00"
[lumen.red]
last_flushed = "2027-03-12 11:00"
[order.a]
clock_times = ["02:30"]
first_dose = "2027-03-13 02:30"
until_removal = true
duration = "30 min"
"""


def test_w5_a_clock_time_that_does_not_exist_moves_forward_by_the_gap() -> None:
    """Given a dose at 02:30 on 2027-03-14, then it is due at 03:30 CDT, 08:30Z, and keeps its ordered name."""
    plan = schedule(W5)
    assert starts(plan, "a") == [
        z("2027-03-13 08:30"),  # 02:30 CST
        z("2027-03-14 08:30"),  # 03:30 CDT
        z("2027-03-15 07:30"),  # 02:30 CDT
        z("2027-03-16 07:30"),
    ]
    assert shown(starts(plan, "a")[1], plan) == "2027-03-14 03:30 CDT"
    assert plan.doses["a"][1].key == "2027-03-14T02:30"


def test_w5_the_moved_dose_is_a_note() -> None:
    """Given the same, then a note says that 02:30 is skipped and read as 03:30 CDT, and names the order."""
    (note,) = of_code(W5, "clock-skipped")
    assert note.severity is Severity.NOTE
    assert "02:30" in note.message
    assert "03:30 CDT" in note.message
    assert note.places[0] == ("order", "a", "clock_times")


def test_w5_the_spacings_around_the_change_are_as_ordered_and_an_hour_less() -> None:
    """Given the same, then 24 h lead to the moved dose; the next comes 23 h after it, which is a note."""
    assert [note.severity for note in of_code(W5, "spacing-differs")] == [Severity.NOTE]
    (note,) = of_code(W5, "spacing-differs")
    assert "23 h" in note.message
    assert "24 h" in note.message


def test_w5_a_stated_moment_that_does_not_exist_is_a_note_too() -> None:
    """Given a first dose stated as 02:30 on that day, then a note says so at that very key."""
    edits = W5.replace("2027-03-13 02:30", "2027-03-14 02:30")
    assert ("order", "a", "first_dose") in [note.places[0] for note in of_code(edits, "clock-skipped")]


W6 = """
[plan]
takes_effect = "2026-10-31 18:00"
start = "2026-10-31 18:00"
end = "2026-11-02 00:00"
[lumen.red]
last_flushed = "2026-10-31 14:00"
[order.a]
clock_times = ["01:30", "07:30", "13:30", "19:30"]
first_dose = "2026-10-31 19:30"
until_removal = true
duration = "30 min"
"""


def test_w6_a_clock_time_that_occurs_twice_means_the_first_once() -> None:
    """Given doses at 01:30, 07:30, 13:30, 19:30 on 2026-11-01, then 01:30 is 06:30Z, once, and 7 h follow."""
    plan = schedule(W6)
    assert starts(plan, "a") == [
        z("2026-11-01 00:30"),  # 19:30 CDT the day before
        z("2026-11-01 06:30"),  # 01:30 CDT, the first of the two
        z("2026-11-01 13:30"),  # 07:30 CST
        z("2026-11-01 19:30"),
        z("2026-11-02 01:30"),
    ]
    assert shown(starts(plan, "a")[1], plan) == "2026-11-01 01:30 CDT"


def test_w6_the_repeated_time_and_the_longer_spacing_are_notes_with_their_numbers() -> None:
    """Given the same, then one note says that 01:30 CDT is meant, and one that 7 h follow instead of 6."""
    (repeated,) = of_code(W6, "clock-repeated")
    assert repeated.severity is Severity.NOTE
    assert "01:30 CDT" in repeated.message
    (longer,) = of_code(W6, "spacing-differs")
    assert longer.severity is Severity.NOTE
    assert "7 h" in longer.message
    assert "6 h" in longer.message


def test_w7_an_interval_keeps_its_spacing_and_lets_the_clock_move() -> None:
    """Given a dose every 8 h from 2026-10-31 22:00 CDT (03:00Z), then 11:00Z is 05:00 CST."""
    plan = schedule(
        """
        [plan]
        takes_effect = "2026-10-31 20:00"
        start = "2026-10-31 20:00"
        end = "2026-11-02 00:00"
        [lumen.red]
        last_flushed = "2026-10-31 18:00"
        [order.a]
        every = "8 h"
        first_dose = "2026-10-31 22:00"
        until_removal = true
        duration = "30 min"
        """
    )
    assert starts(plan, "a") == [
        z("2026-11-01 03:00"),
        z("2026-11-01 11:00"),
        z("2026-11-01 19:00"),
        z("2026-11-02 03:00"),
    ]
    assert [shown(at, plan) for at in starts(plan, "a")] == [
        "2026-10-31 22:00 CDT",
        "2026-11-01 05:00 CST",
        "2026-11-01 13:00 CST",
        "2026-11-01 21:00 CST",
    ]


# W8


def test_w8_back_to_back_doses_are_three_touches_with_one_lock() -> None:
    """Given 09:00 to 10:30 and 10:30 to 11:00, then three touches: 3 saline, 1 heparin, and one lock at the end."""
    plan = schedule(
        """
        [plan]
        end = "2026-06-01 12:00"
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        [order.a]
        moments = ["2026-06-01 09:00"]
        duration = "90 min"
        [order.b]
        moments = ["2026-06-01 10:30"]
        duration = "30 min"
        """
    )
    assert rows(plan) == [
        "01 09:00 start: saline, connect a",
        "01 10:30 finish and start: disconnect a, saline, connect b",
        "01 11:00 finish: disconnect b, saline, lock heparin",
    ]
    assert supplies(plan, plan.start, plan.end) == {"saline syringe": 3, "heparin syringe": 1}


# W14

W14 = """
[plan]
takes_effect = "2026-07-08 12:00"
zone = "America/New_York"
start = "2026-07-08 12:00"
end = "2026-07-13 12:00"
[[zone_change]]
at = "2026-07-10 13:00"
zone = "America/Phoenix"
[lumen.red]
last_flushed = "2026-07-08 11:00"
[order.a]
clock_times = ["20:00"]
first_dose = "2026-07-08 20:00"
until_removal = true
duration = "30 min"
"""


def test_w14_a_dose_on_the_home_clock_is_shown_three_hours_earlier_in_phoenix() -> None:
    """Given a flight on 2026-07-10 and 20:00 New York kept, then 17:00 is shown in Phoenix, 24 h apart."""
    plan = schedule(W14)
    assert [shown(at, plan) for at in starts(plan, "a")] == [
        "2026-07-08 20:00 EDT",
        "2026-07-09 20:00 EDT",
        "2026-07-10 17:00 MST",
        "2026-07-11 17:00 MST",
        "2026-07-12 17:00 MST",
    ]
    assert starts(plan, "a") == [z(f"2026-07-{day:02} 00:00") for day in (9, 10, 11, 12, 13)]


# The sample plans

ABOUT_A_WARNING = {"traveller": {"spacing-travel"}}
"""The samples whose comment says that a warning is what they show, and which."""

ALL_SAMPLES = pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.toml")), ids=lambda path: path.stem)


def examined(path: Path) -> Examination:
    """Examine a sample plan as of its own start."""
    plan = read_plan(path.name, path.read_bytes()).plan
    assert plan is not None
    return examine(path.name, path.read_bytes(), EMPTY, plan.course.start.instant)


@ALL_SAMPLES
def test_every_sample_plan_is_free_of_errors_and_of_warnings_it_is_not_about(path: Path) -> None:
    """A family's first plan is a copy of a sample, so a sample gives no cause for worry that it does not explain."""
    told = {finding.code for finding in examined(path).findings if finding.severity is not Severity.NOTE}
    assert told == ABOUT_A_WARNING.get(path.stem, set())


@ALL_SAMPLES
def test_every_sample_plan_says_that_it_is_invented_and_touches_every_lumen_in_use(path: Path) -> None:
    """Each sample says in its first line that all is invented; only a lumen out of use has nothing planned."""
    assert path.read_text().startswith("# Everything in this file is invented:")
    plan, compiled = examined(path).plan, examined(path).schedule
    assert plan is not None
    assert compiled is not None
    assert {touch.lumen for touch in compiled.touches} == {name for name, each in plan.lumens.items() if each.in_use}


def test_every_sample_plan_has_an_id_of_its_own() -> None:
    """Two plans with one id would give their events the same names."""
    plans = [examined(path).plan for path in SAMPLES.glob("*.toml")]
    assert len(plans) >= 12
    assert len({plan.course.id for plan in plans if plan}) == len(plans)
