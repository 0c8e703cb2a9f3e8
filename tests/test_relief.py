"""What would help: other times that only the prescriber can order, told with what they would save, and never made.

The plans are invented; clock times are Chicago's, 7 days from Monday 1 June 2026, 08:00. A *session* is all touches at
one instant. A dose is on time within 1 h unless its order says otherwise.
"""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from small_plans import SAMPLES, schedule

from reminders.cli import main
from reminders.examine import examine
from reminders.findings import Finding, Severity
from reminders.record.facts import EMPTY
from reminders.schedule.figures import Figures, figures
from reminders.schedule.model import Schedule
from reminders.schedule.relief import would_help
from reminders.times import Instant
from reminders.views.schedule_json import schedule_json

RED = '[lumen.red]\nlast_flushed = "2026-06-01 07:00"\n'
BLUE = '[lumen.blue]\nlast_flushed = "2026-06-01 07:00"\n'
NIGHT = '[household]\nquiet_hours = ["22:00-07:00"]\n'
RARELY = '[line]\nidle_limit = "14 days"\n[household]\nquiet_hours = ["13:00-14:00"]\n'
"""No idle flush is ever needed, and nobody rests in the middle of the day, when nothing is done."""
BOTH = RED + BLUE


def daily(name: str, at: str, duration: str = "30 min", more: str = "", lumen: str = "red", first: int = 1) -> str:
    """Return an order of one dose a day, from a day in June on to the plan's end."""
    return f"""
[order.{name}]
lumen = "{lumen}"
clock_times = ["{at}"]
first_dose = "2026-06-0{first} {at}"
last_day = 2026-06-30
duration = "{duration}"
least_spacing = "20 h"
{more}
"""


def interval(name: str, first: str) -> str:
    """Return an order of a dose every 24 h from 1 June to 5 June, for 15 min."""
    clocks = daily(name, first, "15 min").replace("2026-06-30", "2026-06-05")
    return clocks.replace(f'clock_times = ["{first}"]', 'every = "24 h"')


def at(name: str, clock: str) -> str:
    """Return the edit that moves an order of one dose a day, from 1 June on, to another clock time."""
    return f'[order.{name}]\nclock_times = ["{clock}"]\nfirst_dose = "2026-06-01 {clock}"\n'


LATE = NIGHT + RED + daily("a", "21:30", "45 min")
"""It finishes at 22:15, in the quiet hours; half an hour earlier it would finish before them, at 21:45."""
APART = BOTH + daily("a", "09:00") + daily("b", "09:40", lumen="blue")
"""Two drugs, 40 min apart, in two lumens."""


def help_for(plan: Schedule, order: str) -> Finding:
    """Return the one note about an order."""
    (found,) = [finding for finding in would_help(plan) if finding.places[0][1] == order]
    return found


def numbers(finding: Finding) -> tuple[int | None, ...]:
    """Return days, sessions after and before, those in quiet hours after and before, as the message says them; what stays
    as it is is not said, and is None."""
    days = re.search(r"the first (\d+) days would have ", finding.message)
    sessions = re.search(r"(\d+) sessions instead of (\d+)", finding.message)
    night = re.search(r"(\d+) (?:of them|sessions) in quiet hours instead of (\d+)", finding.message)
    assert days is not None and (sessions or night), finding.message
    both = [found.groups() if found else (None, None) for found in (sessions, night)]
    return tuple(None if said is None else int(said) for said in (*days.groups(), *both[0], *both[1]))


def counted(before: Figures, after: Figures) -> tuple[int | None, ...]:
    sessions = (after.sessions, before.sessions) if after.sessions != before.sessions else (None, None)
    return (*sessions, *((after.night, before.night) if after.night != before.night else (None, None)))


# --- What is told ---


def test_a_drug_moved_within_its_window_saves_its_finish_in_the_night() -> None:
    """21 sessions in 7 days: start, finish, and the idle flush between two doses 23 h 15 min apart. Of an hour earlier,
    which would help as much, nothing is said: the nearer change is the smaller one."""
    message = help_for(schedule(LATE), "a").message
    assert message.startswith("With a 30 min earlier, which is within its window of 1 h, ")
    assert numbers(help_for(schedule(LATE), "a")) == (7, None, None, 0, 7)


def test_two_drugs_at_the_same_hour_save_sessions() -> None:
    """Apart: 4 touches a day and one session of idle flushes at night. Together: start, finish, and that one."""
    plan = schedule(APART)
    for order, by in (("a", "40 min later"), ("b", "40 min earlier")):
        finding = help_for(plan, order)
        other = {"a": "b", "b": "a"}[order]
        assert finding.message.startswith(f"With {order} {by}, at the same time as {other}, ")
        assert numbers(finding) == (7, 21, 35, None, None)


def test_two_drugs_whose_hours_lie_further_apart_than_their_windows_are_tried_too() -> None:
    """2 h apart, and each on time within 1 h: together they save 14 of 35 sessions, as above."""
    plan = schedule(BOTH + daily("a", "09:00") + daily("b", "11:00", lumen="blue"))
    finding = help_for(plan, "a")
    assert finding.message.startswith("With a 2 h later, at the same time as b, the first")
    assert "window" not in finding.message
    assert numbers(finding) == (7, 21, 35, None, None)


def test_a_drug_that_would_start_when_another_finishes_is_not_said_to_be_at_its_time() -> None:
    """B would start at 09:50, when a, which starts at 09:00, is finished."""
    edits = BOTH + daily("a", "09:00", "50 min") + daily("b", "10:10", lumen="blue") + daily("c", "15:00", lumen="blue")
    message = help_for(schedule(edits), "b").message
    assert message.startswith("With b 20 min earlier")
    assert "at the same time as a," not in message


@pytest.mark.parametrize(
    ("edits", "order", "change"),
    [
        (LATE, "a", at("a", "21:00")),
        (APART, "a", at("a", "09:40")),
        (APART, "b", at("b", "09:00")),
        (BOTH + daily("a", "09:00") + daily("b", "09:50", lumen="blue"), "b", at("b", "09:00")),
        (
            NIGHT + BOTH + daily("a", "21:30") + daily("b", "22:20", lumen="blue"),
            "b",  # with a, and finished at 22:00, in the first minute of the quiet hours
            at("b", "21:30"),
        ),
    ],
    ids=["within its window", "later to meet", "earlier to meet", "50 min to meet", "out of the night, to meet"],
)
def test_the_numbers_are_those_of_the_changed_plan_compiled_on_its_own(edits: str, order: str, change: str) -> None:
    """The changed plan is written as a prescriber would order it, read like any other and free of errors."""
    before, after = figures(schedule(edits)), figures(schedule(edits + change))
    assert numbers(help_for(schedule(edits), order))[1:] == counted(before, after)
    assert after.sessions < before.sessions or after.night < before.night


def test_of_a_long_plan_the_first_fourteen_days_are_compared() -> None:
    """The sample's metronidazole would finish at 10:00 instead of 09:00, when the bag of milrinone is changed."""
    path = SAMPLES / "two-lumens-continuous.toml"
    text = path.read_text(encoding="utf-8")
    (finding,) = would_help(compiled(text))
    assert finding.message.startswith("With metronidazole 1 h later, ")
    short = replaced(text, 'end = "2026-08-24 12:00"', 'end = "2026-08-24 07:00"')
    moved = replaced(
        short,
        'clock_times = ["08:00", "20:00"]\nfirst_dose = "2026-08-10 08:00"',
        'clock_times = ["09:00", "21:00"]\nfirst_dose = "2026-08-10 09:00"',
    )
    assert numbers(finding) == (14, *counted(figures(compiled(short)), figures(compiled(moved))))


def compiled(text: str) -> Schedule:
    """Return the schedule of a plan's text, which is free of errors."""
    found = examine("plan.toml", text.encode(), EMPTY, Instant(0))
    assert found.schedule is not None, [finding.message for finding in found.findings]
    return found.schedule


def replaced(text: str, old: str, new: str) -> str:
    assert text.count(old) == 1
    return text.replace(old, new)


# --- What is not ---


@pytest.mark.parametrize(
    "edits",
    [
        RED + daily("a", "12:00"),
        NIGHT + RED + daily("a", "12:00"),
        BOTH + daily("a", "09:00") + daily("b", "09:00", lumen="blue"),
        BOTH + daily("a", "09:00") + daily("b", "15:00", lumen="blue"),  # nearer than 3 h they never come
        NIGHT + RED + daily("a", "21:30", "45 min", "on_time_within = '10 min'"),  # 21:20 to 22:05
        NIGHT + RED + daily("a", "23:30"),
        RED,
    ],
    ids=[
        "one drug",
        "one drug, far from the night",
        "two drugs at the same time",
        "two drugs that are too far apart",
        "a window that does not reach out of the night",
        "in the middle of the night",
        "no orders",
    ],
)
def test_nothing_is_told_where_nothing_would_be_saved(edits: str) -> None:
    assert would_help(schedule(edits)) == []


def test_no_change_comes_too_soon_after_the_dose_before_the_plan() -> None:
    """With 24 h at the least between two doses, the first cannot come half an hour earlier."""
    before = LATE + '[order.a]\nlast_dose_before_plan = "2026-05-31 21:30"\n'
    assert help_for(schedule(before), "a")
    assert would_help(schedule(before + 'least_spacing = "24 h"\n')) == []


def test_no_change_makes_two_doses_meet_in_one_lumen() -> None:
    """In red another drug runs until 21:10: at 21:00, or at 20:30, the first would come on top of it."""
    other = daily("b", "20:30", "40 min", 'on_time_within = "10 min"')
    assert help_for(schedule(LATE), "a")
    assert would_help(schedule(LATE + other)) == []


def test_no_change_carries_what_follows_into_another_dose() -> None:
    """B follows a at 22:20. Half an hour earlier a would be over at 21:50, when c starts in the same lumen: there b would
    come on top of c; a quarter of an hour earlier a itself would."""
    follows = '[order.b]\nfollows = "a"\nduration = "10 min"\nwithout least_spacing\n'
    other = daily("c", "21:50", "5 min", 'on_time_within = "4 min"')
    plan = NIGHT + RED + daily("a", "22:00", "20 min", 'on_time_within = "30 min"') + follows
    assert help_for(schedule(plan), "a").message.startswith("With a 30 min earlier")
    assert would_help(schedule(plan + other)) == []


@pytest.mark.parametrize(
    "edits",
    [
        RARELY + RED + daily("a", "07:30", "20 min", first=2),
        RARELY + RED + daily("a", "07:30", "20 min", first=2) + '[plan]\nend = "2026-07-20 08:00"\n',
        RARELY + RED + interval("a", "23:30"),
        RARELY + RED + interval("a", "08:30"),
    ],
    ids=["over the end", "over the end of the days compared", "over midnight of the last day", "before the start"],
)
def test_a_dose_that_falls_out_of_the_days_compared_is_no_saving(edits: str) -> None:
    """One lumen, one drug, no idle flush, nobody asleep: whatever its time, each dose has a start and a finish."""
    assert [finding.message for finding in would_help(schedule(edits))] == []


# --- How it is told ---


def test_only_the_prescriber_can_change_it() -> None:
    """R27: what belongs to a prescriber is never decided by the tool."""
    for finding in (*would_help(schedule(LATE)), *would_help(schedule(APART))):
        assert finding.severity is Severity.NOTE
        assert finding.places == (("order", finding.places[0][1], "clock_times"),)
        assert "only the prescriber can change it" in finding.expected
        assert "ask the prescriber or pharmacist" in finding.mend
        assert "The plan stays as it is." in finding.mend


@pytest.mark.parametrize("edits", [LATE, APART])
def test_nothing_is_changed(edits: str) -> None:
    plan = schedule(edits)
    orders, shown = dict(plan.plan.orders), schedule_json(plan, plan.start)
    told = would_help(plan)
    assert told
    assert (dict(plan.plan.orders), schedule_json(plan, plan.start)) == (orders, shown)
    assert would_help(plan) == told, "and it says the same again"


def test_check_tells_it_and_leaves_the_plan_and_its_folder_alone(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_bytes((SAMPLES / "two-lumens-continuous.toml").read_bytes())
    before = plan.read_bytes()
    result = CliRunner().invoke(main, ["check", str(plan), "--now", "2026-08-10 07:00-06:00"])
    assert result.exit_code == 0
    assert "NOTE (would-help) in plan.toml, line 98" in result.output
    assert "only the prescriber can change it" in result.output
    assert "plan.toml: no errors, no warnings, 1 note." in result.output
    assert [path.name for path in tmp_path.iterdir()] == ["plan.toml"]
    assert plan.read_bytes() == before
