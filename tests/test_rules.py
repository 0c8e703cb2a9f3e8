"""Rules R2 to R10 and R12 where the worked examples leave them open: orders, doses, touches, steps, idle flushes.

Each test reads as given and then; plans and numbers are invented. Clock times are Chicago's in June, CDT (UTC-5),
unless a test says otherwise; the plan runs from 2026-06-01 08:00, a Monday, for a week.
"""

from collections import Counter
from datetime import datetime
from itertools import pairwise

import pytest
from small_plans import codes, idle, of_code, of_kind, reading, rows, schedule, shown, starts, z

from reminders.findings import Severity, has_errors
from reminders.schedule.model import Action, Schedule, Touch, TouchKind, Why
from reminders.schedule.status import status as status_of
from reminders.words import reason_words

LUMEN = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
"""

LONG_IDLE = """
[line]
idle_limit = "21 days"
"""
"""For tests about doses: no idle flush comes between."""

HALF_HOUR = 'duration = "30 min"'


def order(keys: str, name: str = "a") -> str:
    """Return an order of half an hour through the red lumen."""
    return f"[order.{name}]\n{HALF_HOUR}\n{keys}\n"


def once(moment: str, name: str = "a") -> str:
    """Return an order of a single dose of half an hour, at a moment of June such as ``01 09:00``."""
    return order(f'moments = ["2026-06-{moment}"]', name)


def dose_times(keys: str, plan: str = "") -> list[str]:
    """Return the local day and time of each dose of an order with ``keys``."""
    compiled = schedule(f"{LUMEN}{LONG_IDLE}{order(keys)}{plan}")
    return [f"{compiled.plan.clock.local(at):%d %H:%M}" for at in starts(compiled, "a")]


# R2: the forms of timing, and how each ends

FIRST = 'first_dose = "2026-06-01 09:00"'

FORMS = [
    pytest.param(
        f'clock_times = ["09:00", "21:00"]\n{FIRST}\nlast_day = 2026-06-02',
        ["01 09:00", "01 21:00", "02 09:00", "02 21:00"],
        id="clock times to a last day, that day included",
    ),
    pytest.param(
        f'clock_times = ["21:00", "09:00"]\n{FIRST}\ndoses = 3',
        ["01 09:00", "01 21:00", "02 09:00"],
        id="clock times in any order, three doses",
    ),
    pytest.param(
        f'clock_times = ["09:00"]\n{FIRST}\nuntil_removal = true',
        [f"0{day} 09:00" for day in range(1, 8)],
        id="clock times to the plan's end",
    ),
    pytest.param(
        f'clock_times = ["09:00"]\nweekdays = ["Mon", "Thu", "Sun"]\n{FIRST}\nuntil_removal = true',
        ["01 09:00", "04 09:00", "07 09:00"],
        id="weekdays",
    ),
    pytest.param(
        f'clock_times = ["09:00"]\nevery_days = 3\n{FIRST}\nuntil_removal = true',
        ["01 09:00", "04 09:00", "07 09:00"],
        id="every third day, counted from the first dose",
    ),
    pytest.param(
        'clock_times = ["07:00", "19:00"]\nfirst_dose = "2026-06-01 19:00"\ndoses = 2',
        ["01 19:00", "02 07:00"],
        id="the first dose is the day's second clock time",
    ),
    pytest.param(
        f'every = "16 h"\n{FIRST}\ndoses = 4',
        ["01 09:00", "02 01:00", "02 17:00", "03 09:00"],
        id="an interval, four doses",
    ),
    pytest.param(
        f'every = "36 h"\n{FIRST}\nlast_day = 2026-06-05',
        ["01 09:00", "02 21:00", "04 09:00", "05 21:00"],
        id="an interval to a last day",
    ),
    pytest.param(
        f'every = "48 h"\n{FIRST}\nuntil_removal = true',
        ["01 09:00", "03 09:00", "05 09:00", "07 09:00"],
        id="an interval to the plan's end",
    ),
    pytest.param(
        f'every = "24 h"\n{FIRST}\ndoses = 5\nlast_day = 2026-06-03',
        ["01 09:00", "02 09:00", "03 09:00"],
        id="number and last day: whichever comes first, the day",
    ),
    pytest.param(
        f'every = "24 h"\n{FIRST}\ndoses = 2\nlast_day = 2026-06-03',
        ["01 09:00", "02 09:00"],
        id="number and last day: whichever comes first, the number",
    ),
    pytest.param(
        'moments = ["2026-06-04 16:20", "2026-06-01 09:00"]',
        ["01 09:00", "04 16:20"],
        id="a list of moments, in order of time",
    ),
]


@pytest.mark.parametrize(("keys", "expected"), FORMS)
def test_each_form_of_timing(keys: str, expected: list[str]) -> None:
    """R2: the doses that each form of timing and of ending gives."""
    assert dose_times(keys) == expected


def test_an_order_as_needed_schedules_nothing_and_says_so() -> None:
    """R2: nothing is scheduled for an order as needed; a note says so."""
    edits = LUMEN + LONG_IDLE + order('as_needed = true\nmost_in_24h = 2\nleast_spacing = "8 h"\nuntil_removal = true')
    assert starts(schedule(edits), "a") == []
    (note,) = of_code(edits, "dose-by-hand")
    assert note.severity is Severity.NOTE
    assert codes(edits)["no-dose"] == 0


def test_a_continuous_infusion_is_one_dose_until_it_stops() -> None:
    """R2: one dose from its first moment until the order stops or the line is removed.

    The plan's own end is no order to stop: nothing disconnects the infusion then.
    """
    begun = f"{LUMEN}[order.a]\ncontinuous = true\n{FIRST}\n"
    (stopped,) = schedule(f'{begun}stops = "2026-06-03 12:00"').doses["a"]
    assert (stopped.start, stopped.end) == (z("2026-06-01 14:00"), z("2026-06-03 17:00"))
    assert schedule(f"{begun}until_removal = true").doses["a"][0].end is None
    assert codes(f"{begun}until_removal = true")["runs-past-end"] == 1
    removal = '[plan]\nwithout end\nline_removal = "2026-06-03 09:00"\n'
    (removed,) = schedule(f"{removal}{begun}until_removal = true").doses["a"]
    assert removed.end == z("2026-06-03 14:00")


def test_doses_end_with_the_removal_of_the_line() -> None:
    """R2: a dose due at the moment of removal is no longer given, nor any later one."""
    removal = '[plan]\nwithout end\nline_removal = "2026-06-03 09:00"\n'
    assert dose_times(f'clock_times = ["09:00"]\n{FIRST}\nuntil_removal = true', removal) == ["01 09:00", "02 09:00"]


def test_doses_keep_their_numbers_when_the_plan_starts_in_the_middle() -> None:
    """R2: dose 1 was given before the plan; the plan's first is dose 4, and the last is still dose 6."""
    plan = schedule(LUMEN + LONG_IDLE + order('every = "12 h"\nfirst_dose = "2026-05-30 21:00"\ndoses = 6'))
    keys = [(4, "2026-06-01T14:00Z"), (5, "2026-06-02T02:00Z"), (6, "2026-06-02T14:00Z")]
    assert [(dose.number, dose.key) for dose in plan.doses["a"]] == keys
    assert starts(plan, "a")[0] == z("2026-06-01 14:00")


@pytest.mark.parametrize(
    ("first_dose", "finish"), [("2026-06-01 07:29", ""), ("2026-06-01 07:30", "08:00"), ("2026-06-01 07:31", "08:01")]
)
def test_an_infusion_running_when_the_plan_starts_is_finished_in_it(first_dose: str, finish: str) -> None:
    """R2, R6: half an hour from 07:30 ends with the plan's first minute, a touch of the plan; from 07:29 it is over."""
    plan = schedule(LUMEN + LONG_IDLE + order(f'moments = ["{first_dose}", "2026-06-03 09:00"]'))
    assert len(plan.doses["a"]) == (2 if finish else 1)
    assert rows(plan)[:-2] == ([f"01 {finish} finish: disconnect a, saline, lock heparin"] if finish else [])


def test_what_runs_when_the_plan_starts_keeps_the_lumen_in_use() -> None:
    """R8: an infusion from 20:00 the evening before to 20:00: last flushed 24 h ago, yet never idle until it ends."""
    plan = schedule(
        """
        [plan]
        end = "2026-06-02 07:00"
        [lumen.red]
        last_flushed = "2026-05-31 20:00"
        [order.a]
        moments = ["2026-05-31 20:00"]
        duration = "24 h"
        """
    )
    assert rows(plan) == ["01 20:00 finish: disconnect a, saline, lock heparin"]


# R2: orders that follow orders

FOLLOWED = f"{LUMEN}{LONG_IDLE}" + order(f'clock_times = ["09:00"]\n{FIRST}\ndoses = 2', "first")


def test_an_order_that_follows_starts_when_each_dose_has_finished() -> None:
    """R2 (d): half an hour at 09:00, so the next starts at 09:30, each day; it has the leader's key."""
    plan = schedule(FOLLOWED + order('follows = "first"', "second"))
    assert starts(plan, "second") == [z("2026-06-01 14:30"), z("2026-06-02 14:30")]
    assert [dose.key for dose in plan.doses["second"]] == [dose.key for dose in plan.doses["first"]]


def test_a_chain_of_orders_whatever_their_order_in_the_file() -> None:
    """R2 (d): third after second after first, with 20 min and 1 h between, written in the opposite order."""
    second = order('follows = "first"\nfollows_after = "20 min"', "second")
    third = order('follows = "second"\nfollows_after = "1 h"', "third")
    plan = schedule(third + second + FOLLOWED)
    assert starts(plan, "second")[0] == z("2026-06-01 14:50")  # 09:30 and 20 min
    assert starts(plan, "third")[0] == z("2026-06-01 16:20")  # 10:20 and 1 h


def test_orders_that_follow_one_another_in_a_circle_are_an_error() -> None:
    """R2 (d): neither would ever start."""
    read = reading(LUMEN + order('follows = "second"', "first") + order('follows = "first"', "second"))
    assert "follows-itself" in [finding.code for finding in read.findings]
    assert has_errors(read.findings)


def test_what_follows_a_dose_that_finishes_as_the_plan_starts_is_planned() -> None:
    """R2 (d): the leader ran from 07:30 to 08:00, the plan's first minute; its follower starts at 08:00."""
    leader = order('moments = ["2026-06-01 07:30", "2026-06-02 07:30"]', "first")
    plan = schedule(LUMEN + LONG_IDLE + leader + order('follows = "first"', "second"))
    assert starts(plan, "second") == [z("2026-06-01 13:00"), z("2026-06-02 13:00")]


# R3: clock changes


def test_beyond_the_orders_own_bounds_a_clock_change_is_a_warning_that_names_who_decides() -> None:
    """R3: 13 h instead of 12 h at the change, and the order allows 12 h 30 min."""
    edits = """
        [plan]
        takes_effect = "2026-10-31 08:00"
        start = "2026-10-31 08:00"
        end = "2026-11-02 08:00"
        [lumen.red]
        last_flushed = "2026-10-31 07:00"
        [order.a]
        clock_times = ["09:00", "21:00"]
        first_dose = "2026-10-31 09:00"
        until_removal = true
        duration = "30 min"
        most_spacing = "750 min"
    """
    (warning,) = of_code(edits, "spacing-clock-change")
    assert warning.severity is Severity.WARNING
    assert all(words in warning.message for words in ("13 h", "12 h", "12 h 30 min", "prescriber"))


@pytest.mark.parametrize(
    ("zone", "before", "long_day"),
    [
        # Sydney goes back on 2027-04-04, Santiago on the same night from 24:00 to 23:00
        pytest.param("Australia/Sydney", "2027-04-03 18:00", "2027-04-04 18:00", id="Sydney"),
        pytest.param("America/Santiago", "2027-04-03 18:00", "2027-04-04 18:00", id="Santiago"),
        pytest.param("Europe/Dublin", "2026-10-24 18:00", "2026-10-25 18:00", id="Dublin"),
    ],
)
def test_a_daily_clock_dose_comes_25_hours_later_when_the_clocks_go_back(zone: str, before: str, long_day: str) -> None:
    """R1, R3: elsewhere as in Chicago, at each zone's own date."""
    plan = schedule(
        f"""
        [plan]
        takes_effect = "{before}"
        zone = "{zone}"
        start = "{before}"
        end = "{long_day[:-5]}23:00"
        [lumen.red]
        last_flushed = "{before}"
        [order.a]
        clock_times = ["18:00"]
        first_dose = "{before}"
        until_removal = true
        duration = "30 min"
        """
    )
    first, second = starts(plan, "a")
    assert second - first == 25 * 60
    assert shown(second, plan)[:16] == long_day


# R5: travel

TRIP = """
[plan]
takes_effect = "2026-07-08 12:00"
zone = "America/New_York"
start = "2026-07-08 12:00"
end = "2026-07-15 12:00"
[[zone_change]]
at = "2026-07-10 13:00"
zone = "America/Phoenix"
[[zone_change]]
at = "2026-07-13 13:00"
zone = "America/New_York"
[line]
idle_limit = "21 days"
[lumen.red]
last_flushed = "2026-07-08 11:00"
[order.a]
clock_times = ["20:00"]
first_dose = "2026-07-08 20:00"
until_removal = true
duration = "30 min"
"""


def test_an_order_that_moves_to_the_local_clock_is_odd_once_each_way() -> None:
    """R5: 20:00 wherever they are: 27 h on the way out (Phoenix is 3 h behind), 21 h on the way back."""
    plan = schedule(f'{TRIP}clock = "local"')
    times = starts(plan, "a")
    assert [shown(at, plan)[5:] for at in times] == [
        "07-08 20:00 EDT",
        "07-09 20:00 EDT",
        "07-10 20:00 MST",
        "07-11 20:00 MST",
        "07-12 20:00 MST",
        "07-13 20:00 EDT",
        "07-14 20:00 EDT",
    ]
    assert [(later - earlier) / 60 for earlier, later in pairwise(times)] == [
        24,
        27,
        24,
        24,
        21,
        24,
    ]


def test_moving_to_the_local_clock_is_a_warning_with_the_hours_and_staying_is_none() -> None:
    """R5: two warnings, 27 h and 21 h instead of 24 h; on the home clock there is nothing to say."""
    out, back = of_code(f'{TRIP}clock = "local"', "spacing-travel")
    assert out.severity is Severity.WARNING
    assert "27 h" in out.message
    assert "21 h" in back.message
    assert codes(TRIP)["spacing-travel"] == 0


def test_quiet_hours_follow_the_clock_of_the_place() -> None:
    """R5: 22:00 to 07:00 in Phoenix on 2026-07-11 is 05:00Z to 14:00Z; in New York the day before 02:00Z to 11:00Z."""
    plan = schedule(f'{TRIP}[household]\nquiet_hours = ["22:00-07:00"]')
    assert (z("2026-07-10 02:00"), z("2026-07-10 11:00")) in plan.quiet
    assert (z("2026-07-11 05:00"), z("2026-07-11 14:00")) in plan.quiet


# R6: steps


def first_and_last(edits: str) -> list[str]:
    """Return the steps of the start and the finish of one dose at 09:00."""
    plan = schedule(LUMEN + LONG_IDLE + once("01 09:00") + edits)
    return [row.split(": ")[1] for row in rows(plan)]


STEPS = [
    pytest.param("", ["saline, connect a", "disconnect a, saline, lock heparin"], id="saline and heparin"),
    pytest.param(
        '[line]\nlock = "saline"',
        ["saline, connect a", "disconnect a, lock saline"],
        id="on a lumen locked with saline the saline is the lock",
    ),
    pytest.param(
        '[lumen.red]\nlock = "saline"',
        ["saline, connect a", "disconnect a, lock saline"],
        id="a lumen's own lock",
    ),
    pytest.param(
        '[order.a]\nbefore = ["saline", "dextrose"]\nafter = ["dextrose", "saline"]',
        ["saline, dextrose, connect a", "disconnect a, dextrose, saline, lock heparin"],
        id="a drug that must not meet saline",
    ),
    pytest.param(
        '[line]\nlock = "saline"\n[order.a]\nbefore = ["saline", "dextrose"]\nafter = ["dextrose", "saline"]',
        ["saline, dextrose, connect a", "disconnect a, dextrose, lock saline"],
        id="the same on a lumen locked with saline",
    ),
    pytest.param(
        '[line]\nlock = "saline"\n[order.a]\nafter = ["saline", "dextrose"]',
        ["saline, connect a", "disconnect a, saline, dextrose, lock saline"],
        id="the lock is a step of its own where another fluid was last",
    ),
    pytest.param(
        '[protocol]\nbefore = ["look", "saline"]\nafter = ["saline", "cap"]',
        ["look, saline, connect a", "disconnect a, saline, cap, lock heparin"],
        id="extra steps in their place",
    ),
    pytest.param(
        '[protocol]\nafter_nutrition = ["saline 20 mL", "cap"]\n[order.a]\nkind = "nutrition"',
        ["saline, connect a", "disconnect a, saline, cap, lock heparin"],
        id="after nutrition",
    ),
    pytest.param(
        '[order.a]\nflush_through = "withdraw first"\nwithdraw_volume = "3 mL"',
        ["saline, connect a", "disconnect a, withdraw a, saline, lock heparin"],
        id="a drug that is drawn out before the flush",
    ),
    pytest.param(
        '[lumen.red]\nflush_through = "withdraw first"\nwithdraw_volume = "3 mL"',
        ["withdraw, saline, connect a", "disconnect a, saline, lock heparin"],
        id="a lock that is drawn out before use",
    ),
]

MORE_FLUIDS = """
[fluid.dextrose]
kind = "dextrose"
label = "5 % dextrose"
volume = "10 mL"
syringe = "dextrose syringe"
syringe_holds = "10 mL"
[step.look]
label = "Look for blood return."
[step.cap]
label = "Change the cap."
"""


@pytest.mark.parametrize(("edits", "expected"), STEPS)
def test_the_steps_of_a_start_and_a_finish(edits: str, expected: list[str]) -> None:
    """R6: what is done, in order, when a dose begins and when it ends."""
    assert first_and_last(MORE_FLUIDS + edits) == expected


def test_an_idle_flush_is_the_protocols_own_list_and_the_lock() -> None:
    """R6: saline, then the lock; with a lock to be drawn out, that comes first."""
    plain = schedule(LUMEN)
    assert {row.split(": ")[1] for row in rows(plain)} == {"saline, lock heparin"}
    drawn = schedule(f'{LUMEN}flush_through = "withdraw first"\nwithdraw_volume = "3 mL"')
    assert {row.split(": ")[1] for row in rows(drawn)} == {"withdraw, saline, lock heparin"}


def test_volumes_by_lumen_and_by_occasion() -> None:
    """R6: a lumen's own flush and lock volumes; a volume that the list states goes before them."""
    own = '[lumen.red]\nflush_volume = "5 mL"\nlock_volume = "2 mL"\n'
    plan = schedule(LUMEN + LONG_IDLE + own + once("01 09:00") + 'after = ["saline 20 mL"]')
    start, finish = plan.touches
    assert [step.volume.text for step in start.steps if step.volume] == ["5 mL"]
    assert [step.volume.text for step in finish.steps if step.volume] == ["20 mL", "2 mL"]


def test_a_push_is_one_touch_from_flush_to_lock() -> None:
    """R6: saline, push, saline, heparin in one touch; there is no finish to come back for."""
    plan = schedule(
        f'{LUMEN}{LONG_IDLE}[order.a]\ngiven_as = "push"\nduration = "3 min"\nmoments = ["2026-06-01 09:00"]'
    )
    assert rows(plan) == ["01 09:00 push: saline, push a, saline, lock heparin"]


def test_a_nurse_only_lumen_has_no_routine_flush_and_says_so() -> None:
    """R6: a week without orders and without a single idle flush, and a note that the nurse must see to it."""
    edits = f'{LUMEN}flush_through = "nurse only"'
    assert schedule(edits).touches == ()
    assert codes(edits)["nurse-only-lumen"] == 1


def test_a_nurse_only_drug_marks_its_finish() -> None:
    """R6: the household may start it; flushing it out is the nurse's."""
    plan = schedule(LUMEN + LONG_IDLE + order('moments = ["2026-06-01 09:00"]\nflush_through = "nurse only"'))
    assert [(touch.kind, touch.nurse_only) for touch in plan.touches] == [
        (TouchKind.START, False),
        (TouchKind.FINISH, True),
    ]


def test_a_lumen_out_of_use_has_nothing_planned_and_an_order_for_it_is_an_error() -> None:
    """R19: no flush in it; an order is flagged and never moved by itself."""
    out = f"{LUMEN}in_use = false\n"
    assert schedule(out).touches == ()
    read = reading(out + once("01 09:00"))
    assert [finding.code for finding in read.findings] == ["lumen-out-of-use"]


def test_where_heparin_is_ruled_out_a_heparin_lock_is_an_error() -> None:
    """R6: a line with heparin ruled out and a heparin lock contradict one another."""
    read = reading(f"{LUMEN}[line]\nheparin_ruled_out = true")
    assert [finding.code for finding in read.findings] == ["heparin-ruled-out"]
    assert has_errors(read.findings)


# R7: back to back


def two_doses(second: str, edits: str = "") -> Schedule:
    """Return a plan with a from 09:00 to 09:30 and b at ``second``, joined within 30 min."""
    both = once("01 09:00") + once(f"01 {second}", "b")
    return schedule(LUMEN + LONG_IDLE + both + edits + MORE_FLUIDS)


@pytest.mark.parametrize(("second", "lock"), [("09:59", False), ("10:00", False), ("10:01", True), ("12:00", True)])
def test_the_lock_between_is_left_out_within_the_joining_time_only(second: str, lock: bool) -> None:
    """R7: 30 minutes after the finish are within the joining time of 30 min, 31 are not; the flush always stays."""
    finish = of_kind(two_doses(second), TouchKind.FINISH)[0]
    assert rows(two_doses(second))[1].endswith("disconnect a, saline" + ", lock heparin" * lock)
    assert finish.at == z("2026-06-01 14:30")


def test_the_second_dose_still_has_its_own_flush_before() -> None:
    """R7: at the start the second's fluids before, whether or not the lock was left out."""
    assert rows(two_doses("10:00"))[2] == "01 10:00 start: saline, connect b"
    assert rows(two_doses("10:01"))[2] == "01 10:01 start: saline, connect b"


def test_only_the_last_of_several_ends_in_the_lock() -> None:
    """R7: three doses, the second 20 min and the third 0 min after the one before."""
    plan = two_doses("09:50", once("01 10:20", "c"))
    assert rows(plan) == [
        "01 09:00 start: saline, connect a",
        "01 09:30 finish: disconnect a, saline",
        "01 09:50 start: saline, connect b",
        "01 10:20 finish and start: disconnect b, saline, connect c",
        "01 10:50 finish: disconnect c, saline, lock heparin",
    ]


def test_at_one_instant_unequal_neighbours_both_stand() -> None:
    """R7: saline after the first, saline and dextrose before the second: saline once, then dextrose."""
    plan = two_doses("09:30", '[order.b]\nbefore = ["saline", "dextrose"]')
    assert rows(plan)[1] == "01 09:30 finish and start: disconnect a, saline, dextrose, connect b"


def test_at_one_instant_flushes_of_unequal_volume_both_stand() -> None:
    """R7: equal neighbours stand once; 20 mL after nutrition and 10 mL before the next are not equal."""
    plan = two_doses("09:30", '[order.a]\nafter = ["saline 20 mL"]')
    assert rows(plan)[1] == "01 09:30 finish and start: disconnect a, saline, saline, connect b"


def test_a_lock_that_was_left_out_need_not_be_drawn_out() -> None:
    """R6, R7: withdraw first concerns a lock; between joined doses there is none in the lumen."""
    edits = '[lumen.red]\nflush_through = "withdraw first"\nwithdraw_volume = "3 mL"\n'
    assert rows(two_doses("10:00", edits))[2] == "01 10:00 start: saline, connect b"
    assert rows(two_doses("10:01", edits))[2] == "01 10:01 start: withdraw, saline, connect b"


def test_doses_of_two_lumens_do_not_join() -> None:
    """R7 is about one lumen: a dose in the blue one leaves the red one's lock where it is."""
    plan = two_doses("09:30", '[lumen.blue]\nlast_flushed = "2026-06-01 07:00"\n[order.b]\nlumen = "blue"\n')
    assert "01 09:30 finish: disconnect a, saline, lock heparin" in rows(plan, "red")
    assert rows(plan, "blue")[0] == "01 09:30 start: saline, connect b"


# R8: the idle limit


def longest_idle(plan: Schedule, lumen: str = "red") -> int:
    """Return the longest time between neighbouring touches of a lumen that has no orders, ends included."""
    at = [plan.plan.lumens[lumen].last_flushed.instant, *idle(plan, lumen), plan.end]
    return max(later - earlier for earlier, later in pairwise(at))


@pytest.mark.parametrize("limit", ["8 h", "12 h", "24 h", "7 days"])
def test_a_lumen_without_orders_is_never_idle_for_longer_than_its_limit(limit: str) -> None:
    """R8: from the last flush before the plan to the plan's end, a week and an hour later."""
    plan = schedule(f'{LUMEN}[line]\nidle_limit = "{limit}"')
    hours = {"8 h": 8, "12 h": 12, "24 h": 24, "7 days": 168}[limit]
    assert longest_idle(plan) <= hours * 60
    # 169 hours from the last flush to the end: one flush fewer would leave a longer gap
    assert len(idle(plan)) == -(-169 // hours) - 1


def test_a_lumens_own_limit_goes_before_the_lines() -> None:
    """R8: 8 h for this lumen where the line has 12 h: 169 h need 21 flushes, not 14."""
    plan = schedule(f'{LUMEN}idle_limit = "8 h"')
    assert longest_idle(plan) <= 8 * 60
    assert len(idle(plan)) == 21


@pytest.mark.parametrize(("margin", "most"), [("0 min", 12 * 60), ("15 min", 705), ("3 h", 540)])
def test_the_margin_keeps_flushes_that_much_before_the_limit(margin: str, most: int) -> None:
    """R11's margin: limit less margin for placing, while the limit itself stays 12 h for what is overdue."""
    plan = schedule(f'{LUMEN}[protocol]\nplanning_margin = "{margin}"')
    assert longest_idle(plan) <= most
    for touch in of_kind(plan, TouchKind.IDLE_FLUSH):
        assert touch.reason.last_flush is not None
        assert touch.reason.deadline == touch.reason.last_flush + 12 * 60


@pytest.mark.parametrize("margin", ["12 h", "481 min", "8 h"])
def test_a_margin_that_leaves_nothing_of_the_limit_is_an_error(margin: str) -> None:
    """R11: limit less margin must leave time to live in; 8 h less 8 h would be a flush a minute."""
    edits = f'{LUMEN}[line]\nidle_limit = "8 h"\n[protocol]\nplanning_margin = "{margin}"'
    read = reading(edits)
    assert has_errors(read.findings)
    assert ("protocol", "planning_margin") in [place for finding in read.findings for place in finding.places]


@pytest.mark.parametrize(
    ("last_flushed", "first", "passed"),
    [
        pytest.param("2026-05-31 19:59", "2026-06-01 13:00", True, id="passed by a minute: at once"),
        pytest.param("2026-05-31 20:00", "2026-06-01 13:00", False, id="due in the plan's first minute"),
        pytest.param("2026-05-31 20:01", "2026-06-01 13:01", False, id="due a minute later"),
        pytest.param("2026-05-20 08:00", "2026-06-01 13:00", True, id="passed by days: once, at once"),
    ],
)
def test_a_limit_passed_when_the_plan_starts_makes_the_first_flush_due_at_once(
    last_flushed: str, first: str, passed: bool
) -> None:
    """R8: at once, with a warning; a limit that ends exactly now has not passed."""
    edits = f'[plan]\nend = "2026-06-01 12:00"\n[lumen.red]\nlast_flushed = "{last_flushed}"'
    plan = schedule(edits)
    assert idle(plan) == [z(first)]
    assert (of_kind(plan, TouchKind.IDLE_FLUSH)[0].reason.why is Why.PASSED) == passed
    assert [finding.severity for finding in of_code(edits, "limit-passed")] == [Severity.WARNING] * passed


def test_a_limit_passed_when_a_dose_starts_at_once_needs_no_flush_of_its_own() -> None:
    """R8: the start touch of the plan's first minute is the flush."""
    plan = schedule(
        f"""
        [plan]
        end = "2026-06-01 12:00"
        [lumen.red]
        last_flushed = "2026-05-30 08:00"
        {once("01 08:00")}
        """
    )
    assert idle(plan) == []


@pytest.mark.parametrize(("start", "flushes"), [("20:00", 0), ("20:01", 1)])
def test_a_start_counts_as_a_flush_at_the_limit_and_not_a_minute_later(start: str, flushes: int) -> None:
    """R8: flushed at 08:00; a start at 20:00 is exactly 12 h later, at 20:01 an idle flush must come between."""
    plan = schedule(
        f"""
        [plan]
        end = "2026-06-01 22:00"
        [lumen.red]
        last_flushed = "2026-06-01 08:00"
        {once(f"01 {start}")}
        """
    )
    assert len(idle(plan)) == flushes


def test_while_something_runs_the_lumen_is_not_idle() -> None:
    """R8: an infusion of 40 h, limit 12 h, and nothing between its start and its finish."""
    plan = schedule(
        f"""
        {LUMEN}
        [plan]
        end = "2026-06-03 10:00"
        [order.a]
        moments = ["2026-06-01 09:00"]
        duration = "40 h"
        """
    )
    assert rows(plan) == [
        "01 09:00 start: saline, connect a",
        "03 01:00 finish: disconnect a, saline, lock heparin",
    ]


@pytest.mark.parametrize(("end", "flushes"), [("19:00", 0), ("19:01", 1)])
def test_at_the_plans_end_the_last_flush_lies_within_the_limit_too(end: str, flushes: int) -> None:
    """R8: flushed at 07:00; an end at 19:00 is exactly 12 h later."""
    assert len(idle(schedule(f'{LUMEN}[plan]\nend = "2026-06-01 {end}"'))) == flushes


def test_an_infusion_without_any_flush_does_not_reset_the_limit_by_its_end() -> None:
    """R8: what resets the clock is the flush: nothing is pushed at 12:00, so the start at 09:00 counts, till 21:00.

    The lock is ruled out of the finish by joining it to a dose at 12:20.
    """
    plan = schedule(
        f"""
        {LUMEN}
        [plan]
        end = "2026-06-01 23:30"
        [order.a]
        moments = ["2026-06-01 09:00"]
        duration = "3 h"
        before = ["saline"]
        after = []
        [order.b]
        moments = ["2026-06-01 12:20"]
        duration = "30 min"
        """
    )
    finish = next(touch for touch in plan.touches if touch.ends and touch.ends[0].order == "a")
    assert rows(plan)[1] == "01 12:00 finish: disconnect a"
    assert finish.kind is TouchKind.FINISH
    # b starts at 12:20 with its flush, finishes at 12:50 with flush and lock: good until 00:50, after the end
    assert idle(plan) == []


# R9: overlap and orders that run together

TOGETHER = f"""
{LUMEN}
[plan]
end = "2026-06-01 20:00"
[order.long]
moments = ["2026-06-01 09:00"]
duration = "4 h"
[order.short]
moments = ["2026-06-01 10:00"]
duration = "1 h"
"""


def test_two_doses_in_one_lumen_at_one_time_are_an_error_that_names_both() -> None:
    """R9: both orders are named and both are places of the finding."""
    (error,) = of_code(TOGETHER, "overlap")
    assert error.severity is Severity.ERROR
    assert "long" in error.message
    assert "short" in error.message
    assert {place[1] for place in error.places} == {"long", "short"}


@pytest.mark.parametrize(("second", "errors"), [("12:59", 1), ("13:00", 0)])
def test_a_dose_may_start_in_the_minute_in_which_the_other_ends(second: str, errors: int) -> None:
    """R9, R7: the first ends at 13:00."""
    assert codes(TOGETHER.replace("2026-06-01 10:00", f"2026-06-01 {second}"))["overlap"] == errors


def test_a_long_dose_that_overlaps_its_own_next_one_is_an_error() -> None:
    """R9: every 8 h, and it runs for 9 h."""
    edits = f'{LUMEN}[order.a]\nevery = "8 h"\n{FIRST}\ndoses = 3\nduration = "9 h"'
    assert codes(edits)["overlap"] == 1


@pytest.mark.parametrize("declared_by", ["long", "short"])
def test_orders_declared_to_run_together_lock_when_the_last_ends(declared_by: str) -> None:
    """R9, S12: the shorter ends first: disconnected with its fluids after, no lock; the lock when the last ends."""
    other = {"long": "short", "short": "long"}[declared_by]
    edits = f'{TOGETHER}[order.{declared_by}]\nruns_with = "{other}"'
    assert codes(edits)["overlap"] == 0
    assert rows(schedule(edits)) == [
        "01 09:00 start: saline, connect long",
        "01 10:00 start: saline, connect short",
        "01 11:00 finish: disconnect short, saline",
        "01 13:00 finish: disconnect long, saline, lock heparin",
    ]


def test_of_orders_that_run_together_the_one_declared_may_be_the_last_to_end() -> None:
    """R9: long is over at 13:00, short now runs from 10:00 to 14:00: the lock comes at 14:00."""
    edits = TOGETHER.replace('duration = "1 h"', 'duration = "4 h"') + 'runs_with = "long"'
    assert rows(schedule(edits))[2:] == [
        "01 13:00 finish: disconnect long, saline",
        "01 14:00 finish: disconnect short, saline, lock heparin",
    ]


def test_orders_that_start_and_end_together_are_one_touch_each() -> None:
    """R9: one start, one finish, one lock."""
    edits = TOGETHER.replace("2026-06-01 10:00", "2026-06-01 09:00").replace('"1 h"', '"4 h"') + 'runs_with = "long"'
    plan = schedule(edits)
    assert [touch.kind for touch in plan.touches] == [TouchKind.START, TouchKind.FINISH]
    assert rows(plan)[1].count("lock heparin") == 1
    assert rows(plan)[1].endswith("lock heparin")


@pytest.mark.parametrize("through", ['"withdraw first"\nwithdraw_volume = "3 mL"', '"nurse only"'])
def test_nothing_is_flushed_into_a_lumen_in_which_a_drug_runs_that_must_not_be_flushed_in(through: str) -> None:
    """R6: the short order's own saline would push the long order's drug in; the plan must be told so as an error."""
    edits = f'{TOGETHER}runs_with = "long"\n[order.long]\nflush_through = {through}'
    (error,) = of_code(edits, "flush-through")
    assert error.severity is Severity.ERROR
    assert {place[1] for place in error.places} >= {"long", "short"}


def test_two_lumens_may_run_at_once() -> None:
    """R9: no finding at all where the two run through two lumens."""
    edits = TOGETHER + 'lumen = "blue"\n[lumen.blue]\nlast_flushed = "2026-06-01 07:00"'
    assert codes(edits)["overlap"] == 0


def test_a_lock_stays_out_while_a_reservoir_connected_beside_it_keeps_the_lumen_open() -> None:
    """R9, R10: an infusion that runs with a pump that is kept open ends without a lock."""
    edits = f"""
        {LUMEN}
        [plan]
        end = "2026-06-02 08:00"
        [order.pump]
        given_as = "pump"
        every = "6 h"
        first_dose = "2026-06-01 09:00"
        doses = 3
        stops = "2026-06-02 06:00"
        duration = "1 h"
        kept_open = true
        [order.short]
        moments = ["2026-06-01 11:00"]
        duration = "1 h"
        runs_with = "pump"
    """
    assert rows(schedule(edits)) == [
        "01 09:00 start: saline, connect pump",
        "01 11:00 start: saline, connect short",
        "01 12:00 finish: disconnect short, saline",
        "02 06:00 finish: disconnect pump, saline, lock heparin",
    ]


# R10: continuous infusions, bags, pumps

CONTINUOUS = f"""
{LUMEN}
[plan]
end = "2026-06-04 09:00"
[order.a]
continuous = true
first_dose = "2026-06-01 10:00"
stops = "2026-06-04 09:00"
"""


@pytest.mark.parametrize(
    ("bags", "expected"),
    [
        pytest.param(
            'bag_every = "24 h"\nbag_flush = []',
            ["02 10:00 bag change: change bag a", "03 10:00 bag change: change bag a"],
            id="by an interval, without a flush",
        ),
        pytest.param(
            'bag_every = "48 h"\nbag_flush = ["saline"]',
            ["03 10:00 bag change: saline, change bag a"],
            id="by an interval, with its flush",
        ),
        pytest.param(
            'bag_times = ["08:00"]\nbag_flush = []',
            [f"0{day} 08:00 bag change: change bag a" for day in (2, 3, 4)],
            id="by the clock",
        ),
        pytest.param(
            'bag_times = ["10:00", "22:00"]\nbag_flush = []',
            [f"{day} bag change: change bag a" for day in ("01 22:00", "02 10:00", "02 22:00", "03 10:00", "03 22:00")],
            id="twice a day by the clock, none at the very start",
        ),
        pytest.param(
            'bag_every = "71 h"\nbag_flush = []', [], id="none where the infusion ends as the bag would be changed"
        ),
    ],
)
def test_bag_changes_are_touches_of_their_own(bags: str, expected: list[str]) -> None:
    """R10: between start and finish the lumen is in use, and only its bags are changed."""
    plan = schedule(CONTINUOUS + bags)
    assert rows(plan) == [
        "01 10:00 start: saline, connect a",
        *expected,
        "04 09:00 finish: disconnect a, saline, lock heparin",
    ]


PUMP = f"""
{LUMEN}
[plan]
end = "2026-06-03 12:00"
[order.a]
given_as = "pump"
every = "8 h"
first_dose = "2026-06-01 10:00"
doses = 6
duration = "1 h"
bag_every = "24 h"
bag_flush = []
stops = "2026-06-03 11:00"
"""


def test_doses_of_a_pump_are_no_touches() -> None:
    """R10: six doses, three touches: connecting, changing the reservoir, disconnecting when it stops."""
    plan = schedule(f"{PUMP}kept_open = true")
    assert len(plan.doses["a"]) == 6
    assert rows(plan) == [
        "01 10:00 start: saline, connect a",
        "02 10:00 bag change: change bag a",
        "03 10:00 bag change: change bag a",
        "03 11:00 finish: disconnect a, saline, lock heparin",
    ]


def test_a_pump_that_keeps_the_lumen_open_keeps_it_in_use() -> None:
    """R8: kept open, so never idle, though its doses of 1 h are 8 h apart and the limit is 6 h."""
    plan = schedule(f'{PUMP}kept_open = true\n[lumen.red]\nidle_limit = "6 h"')
    assert [at for at in idle(plan) if at > z("2026-06-01 15:00")] == []


def test_a_pump_that_does_not_keep_the_lumen_open_leaves_it_idle_between_doses() -> None:
    """R8: between doses of 1 h every 8 h, 7 h idle with a limit of 6 h: a flush is needed in each gap."""
    plan = schedule(f'{PUMP}kept_open = false\n[lumen.red]\nidle_limit = "6 h"')
    for index in range(5):
        left = z("2026-06-01 16:00") + index * 8 * 60  # the dose that began at 15:00Z and 8-hourly is over
        assert [at for at in idle(plan) if left <= at <= left + 7 * 60], f"gap {index + 1}"


def test_a_pump_stays_connected_to_the_end_of_its_last_dose_without_a_stop() -> None:
    """R10: without ``stops`` the reservoir is disconnected when the sixth dose ends: 40 h after the first, and 1 h."""
    plan = schedule(PUMP.replace('stops = "2026-06-03 11:00"', "kept_open = true"))
    assert rows(plan)[-1] == "03 03:00 finish: disconnect a, saline, lock heparin"


def test_a_pump_that_stops_in_the_middle_of_a_dose_is_locked_when_it_is_disconnected() -> None:
    """R6, R10: the dose from 18:00 to 19:00 is cut off at 18:30; nothing runs any more, so the lock follows."""
    for kept_open in ("true", "false"):
        stopped = PUMP.replace("2026-06-03 11:00", "2026-06-02 18:30")
        plan = schedule(f"{stopped}kept_open = {kept_open}")
        assert "02 18:30 finish: disconnect a, saline, lock heparin" in rows(plan), kept_open


def test_a_pump_still_connected_when_the_plan_starts_is_disconnected_in_it() -> None:
    """R10: its six doses were over on the 30th, it keeps the lumen open until it is taken off on the 3rd."""
    plan = schedule(PUMP.replace("2026-06-01 10:00", "2026-05-29 10:00") + "kept_open = true")
    assert rows(plan)[-1] == "03 11:00 finish: disconnect a, saline, lock heparin"
    assert idle(plan) == []


REMOVAL = f"""
{LUMEN}{LONG_IDLE}
[plan]
without end
line_removal = "2026-06-03 09:00"
"""


@pytest.mark.parametrize(
    "keys",
    [
        pytest.param(
            f'continuous = true\n{FIRST}\nstops = "2026-06-20 10:00"\nbag_every = "24 h"\nbag_flush = []',
            id="a continuous infusion ordered for longer, with its bags",
        ),
        pytest.param('moments = ["2026-06-03 08:00"]\nduration = "4 h"', id="an infusion that would still run"),
    ],
)
def test_after_the_removal_of_the_line_nothing_is_due(keys: str) -> None:
    """R19: no bag is changed and nothing disconnected in a line that is out."""
    plan = schedule(f"{REMOVAL}[order.a]\n{keys}")
    assert plan.touches
    assert [shown(touch.at, plan) for touch in plan.touches if touch.at > plan.end] == []


# R11's quiet hours as far as one lumen goes, and R12: every idle flush says why

NIGHT = """
[plan]
end = "2026-06-02 09:00"
[household]
quiet_hours = ["22:00-07:00"]
"""


def test_a_flush_that_would_fall_into_the_quiet_hours_stands_before_them() -> None:
    """Flushed at 11:00 the limit ends at 23:00; just before 22:00 it reaches to 10:00, beyond the plan's end."""
    plan = schedule(f'{NIGHT}[plan]\nstart = "2026-06-01 11:00"\n[lumen.red]\nlast_flushed = "2026-06-01 11:00"')
    (flush,) = of_kind(plan, TouchKind.IDLE_FLUSH)
    assert shown(flush.at, plan) == "2026-06-01 21:59 CDT"
    assert flush.reason.why is Why.BEFORE_QUIET
    assert flush.reason.avoided == z("2026-06-02 04:00")
    assert flush.reason.deadline == z("2026-06-02 04:00")


def test_the_last_minute_of_the_quiet_hours_is_outside() -> None:
    """Half open: flushed at 19:00 the limit ends at 07:00, which is awake: nothing has to move."""
    plan = schedule(f'{NIGHT}[plan]\nstart = "2026-06-01 19:00"\n[lumen.red]\nlast_flushed = "2026-06-01 19:00"')
    (flush,) = of_kind(plan, TouchKind.IDLE_FLUSH)
    assert shown(flush.at, plan) == "2026-06-02 07:00 CDT"


def test_a_limit_shorter_than_the_night_forces_a_session_and_says_which() -> None:
    """R12: 8 h do not reach across 9 quiet hours: some flush is at night, and a warning names lumen and limit."""
    edits = f'{NIGHT}[line]\nidle_limit = "8 h"\n{LUMEN}'
    plan = schedule(edits)
    at_night = [
        touch
        for touch in of_kind(plan, TouchKind.IDLE_FLUSH)
        if z("2026-06-02 03:00") <= touch.at < z("2026-06-02 12:00")
    ]
    assert len(at_night) == 1
    assert at_night[0].reason.why is Why.FORCED_QUIET
    (warning,) = of_code(edits, "night-forced")
    assert "red lumen" in warning.message
    assert "8 h" in warning.message


def test_quiet_hours_of_some_weekdays_only() -> None:
    """A weekday is the one on which the hours begin: Monday night is quiet, Tuesday night is not.

    The next Monday, the 8th, follows the plan's end by hours; its night is known as well.
    """
    plan = schedule(f'{LUMEN}[household]\nquiet_hours = ["Mon 22:00-07:00"]')
    assert plan.quiet == (
        (z("2026-06-02 03:00"), z("2026-06-02 12:00")),
        (z("2026-06-09 03:00"), z("2026-06-09 12:00")),
    )


def test_every_idle_flush_says_its_deadline_in_words() -> None:
    """R12: limit, last flush and deadline, each with its day and zone."""
    plan = schedule(LUMEN)
    first = of_kind(plan, TouchKind.IDLE_FLUSH)[0]
    words = reason_words(first, plan.plan)
    assert "12 h" in words
    assert "Mon 1 Jun 2026, 07:00 CDT" in words
    assert "Mon 1 Jun 2026, 19:00 CDT" in words


# The horizon


def test_an_infusion_begun_before_the_plans_end_is_finished_after_it() -> None:
    """What starts before the end belongs to the plan with its finish, and a warning says so."""
    edits = LUMEN + LONG_IDLE + '[plan]\nend = "2026-06-01 10:00"\n' + once("01 09:45")
    assert rows(schedule(edits))[-1] == "01 10:15 finish: disconnect a, saline, lock heparin"
    (warning,) = of_code(edits, "runs-past-end")
    assert warning.severity is Severity.WARNING


def test_a_dose_at_the_plans_end_is_no_longer_in_it() -> None:
    """Half open: the end's own minute belongs to whatever comes after."""
    edits = LUMEN + LONG_IDLE + '[plan]\nend = "2026-06-02 09:00"\n' + order(f'every = "24 h"\n{FIRST}\ndoses = 2')
    assert starts(schedule(edits), "a") == [z("2026-06-01 14:00")]


def test_an_order_without_a_dose_in_the_plan_is_an_error() -> None:
    """Nothing that was ordered may be left out silently."""
    edits = LUMEN + once("09 09:00")
    (error,) = of_code(edits, "no-dose")
    assert error.severity is Severity.ERROR


OPEN_ENDED = f"""
{LUMEN}
[plan]
without end
open_ended = "14 days"
"""


def test_an_open_ended_plan_looks_ahead_whole_days_from_today() -> None:
    """R14: instants never move because minutes pass: from any minute of 10 June the end is the midnight
    that follows the 24th."""
    for now in ("2026-06-10 05:00", "2026-06-10 17:23", "2026-06-11 04:59"):  # 00:00, 12:23, 23:59 CDT
        plan = schedule(OPEN_ENDED, now=now)
        assert plan.rolling
        assert plan.end == z("2026-06-25 05:00")


def test_the_next_day_looks_one_day_further_and_moves_nothing_before() -> None:
    """R14: what was planned for the days before stays to the minute."""
    today, tomorrow = (schedule(OPEN_ENDED, now=now) for now in ("2026-06-10 17:00", "2026-06-11 17:00"))
    assert tomorrow.end == z("2026-06-26 05:00")
    settled = z("2026-06-23 05:00")
    assert [touch for touch in today.touches if touch.at < settled] == [
        touch for touch in tomorrow.touches if touch.at < settled
    ]


def test_before_its_start_an_open_ended_plan_looks_ahead_from_the_start() -> None:
    """Compiled in May, it still covers its two weeks from 1 June."""
    assert schedule(OPEN_ENDED, now="2026-05-10 12:00").end == z("2026-06-16 05:00")


# R23: names that last


def test_one_more_flush_a_day_renames_at_most_that_days_flushes() -> None:
    """R23: a dose put into one day leaves the names of all later days' flushes as they were."""
    without = schedule(LUMEN)
    put_in = schedule(LUMEN + once("03 15:00"))
    on = [
        {
            (at.date().day, touch.uid)
            for touch in plan.touches
            if touch.kind is TouchKind.IDLE_FLUSH and (at := plan.plan.clock.local(touch.at)) >= later(plan, 5)
        }
        for plan in (without, put_in)
    ]
    assert on[0]
    assert on[0] & on[1] == (on[0] if len(on[0]) <= len(on[1]) else on[1])


def later(plan: Schedule, day: int) -> datetime:
    """Return the beginning of a day of June on the household's clock."""
    return datetime(2026, 6, day, tzinfo=plan.plan.course.zone)


def test_every_touch_has_a_name_of_its_own() -> None:
    """R23: no two events of one plan share a name."""
    plan = schedule(FOLLOWED + order('follows = "first"', "second"))
    names = [touch.uid for touch in plan.touches]
    assert len(set(names)) == len(names)


# At the edges: midnights that the clocks skip, repeated hours, rolling ends, locks that are drawn out

NUUK = """
[plan]
zone = "America/Nuuk"
takes_effect = "2027-03-25 08:00"
start = "2027-03-25 08:00"
end = "2027-03-31 08:00"
[line]
idle_limit = "21 days"
[lumen.red]
last_flushed = "2027-03-25 07:00"
"""
"""Greenland's clocks go from 23:00 on 27 March 2027 (UTC-2) to midnight (UTC-1), so 23:30 does not exist that day."""


def test_a_dose_that_the_clocks_move_past_midnight_still_belongs_to_its_last_day() -> None:
    """R2, R3: ordered for the 27th, the last day; given at what is 00:30 on the 28th."""
    plan = schedule(
        NUUK + order('clock_times = ["23:30"]\nfirst_dose = "2027-03-25 23:30"\nlast_day = 2027-03-27'),
    )
    assert starts(plan, "a") == [z("2027-03-26 01:30"), z("2027-03-27 01:30"), z("2027-03-28 01:30")]


def test_doses_around_a_midnight_that_the_clocks_skip_stay_in_order_of_time() -> None:
    """R3: 23:30 of the 27th becomes 00:30 of the 28th and comes after the 28th's own 00:10."""
    times = 'clock_times = ["00:10", "23:30"]\nfirst_dose = "2027-03-27 00:10"\nlast_day = 2027-03-28'
    plan = schedule(NUUK + order(times) + 'duration = "5 min"\n')
    found = starts(plan, "a")
    assert found == sorted(found)
    assert [dose.key for dose in plan.doses["a"]][:3] == ["2027-03-27T00:10", "2027-03-28T00:10", "2027-03-27T23:30"]


def test_a_first_dose_in_the_second_of_the_repeated_hours_is_not_lost_silently() -> None:
    """R3: a clock time that occurs twice means the first; a first dose at the second contradicts it."""
    moved = '[plan]\nstart = "2026-10-31 08:00"\ntakes_effect = "2026-10-31 08:00"\nend = "2026-11-08 08:00"\n'
    lumen = '[lumen.red]\nlast_flushed = "2026-10-31 07:00"\n'
    edits = (
        moved + lumen + LONG_IDLE + order('clock_times = ["01:30"]\nfirst_dose = "2026-11-01 01:30-06:00"\ndoses = 1')
    )
    (error,) = of_code(edits, "timing")
    assert error.severity is Severity.ERROR


def test_no_more_sessions_lie_in_a_night_than_the_limit_forces() -> None:
    """R8, R12: nine quiet hours and a limit of eight force one session a night, and not two."""
    plan = schedule(
        '[household]\nquiet_hours = ["22:00-07:00"]\n[line]\nidle_limit = "8 h"\n'
        '[lumen.red]\nlast_flushed = "2026-06-01 06:30"\n'
    )
    nights = Counter(begin for begin, end in plan.quiet for at in idle(plan) if begin <= at < end)
    assert len(nights) == 7
    assert set(nights.values()) == {1}


def test_a_rolling_end_in_the_middle_of_an_infusion_invents_no_lock() -> None:
    """R7, R14: bags of 12 h follow one another without a gap, before and after the end of what is planned."""
    edits = (
        f'{LUMEN}[plan]\nwithout end\nopen_ended = "2 days"\n[order.a]\nevery = "12 h"\nduration = "12 h"\n{FIRST}\n'
    )
    plan = schedule(edits + "until_removal = true")
    assert plan.touches[-1].at > plan.end  # what was begun is finished
    assert not [step for touch in plan.touches for step in touch.steps if step.action is Action.LOCK]


def test_a_lock_that_an_idle_flush_has_set_is_drawn_out_before_the_next_dose() -> None:
    """R6: between the pump's doses the lumen is flushed and locked at 21:00; the dose at 02:00 finds that lock."""
    plan = schedule(
        f"""
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        flush_through = "withdraw first"
        withdraw_volume = "3 mL"
        [order.p]
        given_as = "pump"
        kept_open = false
        duration = "10 min"
        every = "24 h"
        {FIRST}
        until_removal = true
        {once("02 02:00", "b")}
        """
    )
    (start,) = [touch for touch in plan.touches if touch.starts and touch.starts[0].order == "b"]
    assert idle(plan)[0] == z("2026-06-02 02:00")
    assert start.steps[0].action is Action.WITHDRAW


# Statuses while nothing is recorded


@pytest.mark.parametrize(
    ("touch", "now", "status"),
    [
        # the dose of 14:00Z, on time within an hour either way
        ("dose", "2026-06-01 12:59", "planned"),
        ("dose", "2026-06-01 13:00", "due"),
        ("dose", "2026-06-01 15:00", "due"),
        ("dose", "2026-06-01 15:01", "past"),
        # its finish at 14:30Z, due for as long as one touch lasts: 15 min
        ("finish", "2026-06-01 14:29", "planned"),
        ("finish", "2026-06-01 14:30", "due"),
        ("finish", "2026-06-01 14:45", "due"),
        ("finish", "2026-06-01 14:46", "past"),
        # the flush planned 30 min before the limit of 12 h after that finish (02:30Z): due till the limit itself
        ("flush", "2026-06-02 01:59", "planned"),
        ("flush", "2026-06-02 02:00", "due"),
        ("flush", "2026-06-02 02:30", "due"),
        ("flush", "2026-06-02 02:31", "past"),
        ("flush", "2026-06-20 00:00", "past"),
    ],
)
@pytest.mark.parametrize(("records", "past"), [("true", "overdue"), ("false", "unconfirmed")])
def test_what_is_not_recorded_is_never_done(touch: str, now: str, status: str, records: str, past: str) -> None:
    """R14: ahead it is planned, in its window due; past it overdue where the household records, else unconfirmed."""
    plan = schedule(
        f'{LUMEN}[plan]\nhousehold_records = {records}\n[protocol]\nplanning_margin = "30 min"\n{once("01 09:00")}'
    )
    found = dict(zip(("dose", "finish", "flush"), plan.touches, strict=False))
    assert [found[name].kind for name in found] == [TouchKind.START, TouchKind.FINISH, TouchKind.IDLE_FLUSH]
    said = status_of(found[touch], plan, z(now)).value
    assert said == (past if status == "past" else status)


# Orders that contradict themselves

ONCE = 'moments = ["2026-06-01 09:00"]'
STREAM = f'continuous = true\n{FIRST}\nstops = "2026-06-03 09:00"'
DRIP = f"[order.a]\n{STREAM}\n"
BY_CLOCK = f'clock_times = ["09:00"]\n{FIRST}\nlast_day = 2026-06-05'


@pytest.mark.parametrize(
    ("orders", "code", "keys"),
    [
        (f'[order.a]\n{ONCE}\nrate = "50 mL/h"\nrate_steps = ["50 mL/h for 1 h"]', "duration-disagrees", "rate rate_steps"),
        (order(f'{ONCE}\nrate_steps = ["50 mL/h for 1 h"]'), "duration-disagrees", "rate_steps duration"),
        (f'{DRIP}duration = "2 days"', "duration-disagrees", "continuous duration"),
        (f'{DRIP}given_as = "push"', "given-as", "given_as continuous"),
        (order(f'{ONCE}\ngiven_as = "pump"\nkept_open = true'), "given-as", "given_as"),
        (order(f"{ONCE}\nkept_open = true"), "given-as", "kept_open given_as"),
        (f'{DRIP}bag_every = "12 h"\nbag_times = ["09:00"]\nbag_flush = []', "bag", "bag_every bag_times"),
        (
            f'[order.a]\nduration = "5 min"\n{ONCE}\ngiven_as = "push"\nbag_every = "1 min"\nbag_flush = []',
            "bag",
            "bag_every",
        ),
        (f'{DRIP}bag_every = "12 h"\nbag_flush = ["saline"]\nflush_through = "nurse only"', "flush-through", "flush_through bag_flush"),
        (
            order(f'{BY_CLOCK}\ngiven_as = "pump"\nkept_open = false\nflush_through = "nurse only"'),
            "flush-through",
            "flush_through kept_open",
        ),
        (order(f'{BY_CLOCK}\nweekdays = ["Mon"]\nevery_days = 2'), "timing", "weekdays every_days"),
        (f'[order.a]\ncontinuous = true\n{FIRST}\nstops = "2026-06-01 08:30"', "dates-reversed", "stops first_dose"),
        (
            DRIP + order('follows = "a"', "b"),
            "timing",
            "follows",
        ),
        (f"{order(BY_CLOCK)}doses = 28", "ends-early", "doses last_day"),
    ],
)  # fmt: skip
def test_an_order_that_contradicts_itself_is_told_with_the_keys_that_do(orders: str, code: str, keys: str) -> None:
    """R2, R4, R6, R10: both sides of the contradiction are named."""
    told = of_code(LUMEN + LONG_IDLE + orders, code)
    shown_keys = [[place[2] for place in finding.places if place[0] == "order" and len(place) > 2] for finding in told]
    assert keys.split() in shown_keys


def test_an_open_ended_plan_without_lumens_is_told_so() -> None:
    """A plan that forgot its lumens has errors, and is looked at all the same."""
    assert "missing" in codes('[plan]\nwithout end\nopen_ended = "14 d"\n')


NIGHT_FLUSHES = """
[lumen.red]
last_flushed = "2026-06-01 05:00"
[household]
quiet_hours = ["22:00-07:00"]
[plan]
end = "2026-06-02 17:00"
"""
"""One lumen of 12 h that was flushed at 05:00: every 12 hours is 17:00 and 05:00, in the quiet hours."""


def at_night(plan: Schedule) -> list[Touch]:
    """Return the idle flushes in the quiet hours."""
    return [touch for touch in of_kind(plan, TouchKind.IDLE_FLUSH) if any(b <= touch.at < e for b, e in plan.quiet)]


def test_a_night_that_the_plan_does_not_let_be_spared_is_said_to_be_that() -> None:
    """R12: with 0 flushes for a saved session nothing forces 05:00 but the plan; with many, 21:59 and 09:59 spare it."""
    found = at_night(schedule(f"{NIGHT_FLUSHES}[protocol]\nsaved_session_worth = 0"))
    assert found
    assert {touch.reason.why for touch in found} == {Why.FEWEST_QUIET}
    assert reason_words(found[0], found[0].plan).endswith("The plan says that no flush is added to spare quiet hours.")
    assert at_night(schedule(NIGHT_FLUSHES)) == []


def test_a_night_that_a_days_total_leaves_no_room_to_spare_is_said_to_be_that() -> None:
    """R12, R22: 15 mL a flush. 16 mL leave room for that of 17:00 and for none at 21:59, which would spare the night."""
    found = at_night(schedule(f'{NIGHT_FLUSHES}[daily_limits]\nflushed = "16 mL"'))
    assert found
    assert {touch.reason.why for touch in found} == {Why.DAY_TOTAL}
    roomy = at_night(schedule(f'{NIGHT_FLUSHES}[daily_limits]\nflushed = "31 mL"'))
    assert roomy == []
