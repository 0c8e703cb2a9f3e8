"""What waits for an answer, and why it is told again or not, by schedules with a record. Clock times are Chicago's, in June 2026."""

import pytest
from histories import after, at

from reminders.schedule.model import Schedule
from reminders.views.told import SHOWN, open_lines

PLAN = """
[household]
quiet_hours = ["22:45-07:00"]
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.grey]
last_flushed = "2026-06-01 08:00"
[order.cefazolin]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-07
duration = "30 min"
least_spacing = "20 h"
"""
"""A lumen with a dose each day, and one that lies idle; quiet hours from 22:45 on."""

EVENING = (
    PLAN.replace('["09:00"]', '["22:40"]').replace("2026-06-01 09:00", "2026-06-01 22:40").replace("30 min", "10 h")
)

SILENT = f"{PLAN}\n[plan]\nhousehold_records = false\n"

FLUSHED = "06-01 19:00 flushed lumen=red"

STARTED = "06-01 09:00 started order=cefazolin dose=2026-06-01T09:00"


def told(edits: str, facts: str, now: str) -> list[str]:
    """Return the lines of a moment."""
    return open_lines(after(edits, facts, now), at(now))


def test_what_lies_ahead_waits_for_no_answer() -> None:
    assert told(PLAN, "", "06-01 08:55") == []


def test_it_is_said_when_it_was_told_and_when_it_is_told_again() -> None:
    assert told(PLAN, "", "06-01 09:05") == [
        "09:00 CDT  Was it done? red lumen, start cefazolin 1 g; told again at 09:10 CDT."
    ]


def test_what_is_recorded_waits_no_more() -> None:
    assert told(PLAN, STARTED, "06-01 09:05") == []


def test_what_waits_for_the_end_of_the_quiet_hours_says_so() -> None:
    (line,) = [line for line in told(EVENING, FLUSHED, "06-01 22:55") if "start cefazolin" in line]
    assert line == (
        "22:40 CDT  Was it done? red lumen, start cefazolin 1 g; told again at Tue 2 Jun 2026, 07:00 CDT, when the quiet hours "
        "end."
    )


@pytest.mark.parametrize(
    ("edits", "facts", "now", "line"),
    [
        (
            PLAN,
            "",
            "06-01 12:05",
            "Was it done? red lumen, start cefazolin 1 g; not told again: a later one is asked instead.",
        ),
        (
            SILENT,
            "",
            "06-01 10:05",
            "Was it done? grey lumen, flush; not told again: this household does not record what it does.",
        ),
        (
            PLAN,
            "",
            "06-01 22:05",
            "ASK FIRST: red lumen, start cefazolin 1 g; not told again: it was told as often as the plan says.",
        ),
        (
            PLAN,
            "06-01 08:30 problem sign=pain lumen=red",
            "06-01 09:05",
            "Do not use the red lumen; not told again: nothing is to be done with this lumen now.",
        ),
    ],
)
def test_what_is_not_told_again_says_why(edits: str, facts: str, now: str, line: str) -> None:
    assert any(found.endswith(f"  {line}") for found in told(edits, facts, now)), told(edits, facts, now)


@pytest.mark.parametrize(
    ("edits", "facts", "line"),
    [
        (PLAN, "06-01 09:00 held", "Of the grey lumen nothing is told: it is looked after elsewhere."),
        (
            PLAN,
            "06-01 08:30 problem sign=pain lumen=red",
            "Of the red lumen no flush is asked for: it must not be used.",
        ),
        (PLAN, "06-01 08:30 line-removed", "The line is out: nothing is told any more."),
        (
            f'{PLAN}\n[lumen.blue]\nin_use = false\nlast_flushed = "2026-06-01 08:00"\n',
            "",
            "Of the blue lumen nothing is told: it is out of use.",
        ),
    ],
)
def test_a_lumen_of_which_nothing_is_told_is_named(edits: str, facts: str, line: str) -> None:
    assert line in told(edits, facts, "06-01 09:05")


def test_of_much_that_waits_the_last_is_shown() -> None:
    now = "06-05 10:05"
    schedule: Schedule = after(PLAN, "", now)
    lines = open_lines(schedule, at(now))
    assert len(lines) == SHOWN + 1
    assert lines[0].endswith(" earlier things; see  reminders due .")
    assert int(lines[0].split()[0]) > 0


def test_of_much_that_waits_what_is_still_told_is_shown_however_old_it_is() -> None:
    """An infusion that was to finish on the first day, and of which nobody has said that it did."""
    now = "06-05 10:05"
    lines = open_lines(after(PLAN, "06-01 09:00 started order=cefazolin dose=2026-06-01T09:00", now), at(now))
    assert len(lines) == SHOWN + 1
    assert any("Has it finished?" in line and "told again" in line for line in lines)
