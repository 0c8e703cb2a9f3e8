"""The report for the nurse's next visit: what was planned, what was recorded, and what is left open."""

import csv
import io
import json
import random
from collections import Counter
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from histories import after, at, record
from readers.samples import SAMPLE_PLANS, sample

from reminders.plan.order import GivenAs
from reminders.record.facts import EMPTY, Fact, Kind, Record
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Outcome, Schedule, Status, TouchKind
from reminders.times import Instant
from reminders.views import history_files
from reminders.views.history import History, Row, Sort, history
from reminders.views.history_files import COLUMNS, MOMENTS, history_csv, history_json
from reminders.views.history_orders import Fate, OrderTotals
from reminders.views.history_text import WIDTH, history_text
from reminders.views.idle_times import LumenIdle

A = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.a]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-07
duration = "30 min"
"""
"""A dose of half an hour at 09:00 each day, on time within an hour, cut-off 4 h; the idle limit is 12 h."""

BLUE = """
[lumen.blue]
last_flushed = "2026-06-01 07:00"
"""
"""A lumen without an order beside it."""

CARED = f"""
{A}
[protocol]
after_draw = ["saline 20 mL"]
[task.dressing]
kind = "dressing"
label = "Change the dressing"
done_by = "nurse"
every_days = 2
at = "10:00"
last_done = "2026-05-31 10:00"
on_time_within = "4 h"
[task.bag_out]
kind = "out of the refrigerator"
label = "Take the bag out"
done_by = "household"
order = "a"
before_dose = "30 min"
on_time_within = "15 min"
[task.labs]
kind = "blood draw"
label = "Labs"
done_by = "household"
weekdays = ["Tue"]
at = "15:00"
on_time_within = "1 h"
lumen = "red"
[task.van]
kind = "delivery"
label = "Delivery"
done_by = "pharmacy"
moments = ["2026-06-03 14:00"]
brings = {{ "saline syringe" = 40 }}
"""
"""The dressing on 2, 4 and 6 June at 10:00 (1 June 2026 is a Monday), the bag out each day at 8:30, a draw on the 2nd at
15:00, a delivery on the 3rd at 14:00."""

D1, D2, D3 = (f"order=a dose=2026-06-0{day}T09:00" for day in (1, 2, 3))


def told(edits: str, lines: str, now: str, first: str = "2026-06-01", last: str = "2026-06-30") -> History:
    """Return the history of the base plan with ``edits`` and of some lines of record, as of ``now``."""
    schedule = after(edits, lines, now)
    return history(schedule, record(lines), date.fromisoformat(first), date.fromisoformat(last), at(now))


def events(report: History, kind: str = "") -> list[Row]:
    """Return the rows of events whose words begin with ``kind``."""
    return [row for row in report.rows if row.sort is Sort.EVENT and row.what.startswith(kind)]


def facts(report: History) -> list[tuple[str, str]]:
    """Return the rows of facts, with the local day and time."""
    clock = report.plan.clock
    return [(f"{clock.local(row.at):%d %H:%M}", row.what) for row in report.rows if row.sort is Sort.FACT]


def totals(report: History, order: str = "a") -> OrderTotals:
    """Return the totals of one order."""
    return next(found for found in report.orders if found.order == order)


def idle(report: History, lumen: str = "red") -> LumenIdle:
    """Return the idle times of one lumen."""
    return next(found for found in report.lumens if found.lumen == lumen)


def gap(report: History, lumen: str = "red", *, supposed: bool = False) -> tuple[int, Instant, Instant]:
    """Return a lumen's longest idle time: minutes, from, to."""
    found = idle(report, lumen).supposed if supposed else idle(report, lumen).recorded
    assert found is not None
    return found.length, found.begins, found.ends


# Lateness


@pytest.mark.parametrize(
    ("started", "late", "status", "fate"),
    [
        ("09:00", 0, Status.DONE, Fate.ON_TIME),
        ("09:12", 12, Status.DONE, Fate.ON_TIME),
        ("08:50", -10, Status.DONE, Fate.ON_TIME),
        ("10:00", 60, Status.DONE, Fate.ON_TIME),
        ("10:01", 61, Status.LATE, Fate.LATE),
        ("15:30", 390, Status.LATE, Fate.LATE),
    ],
)
def test_a_dose_is_late_from_its_ordered_moment_on(started: str, late: int, status: Status, fate: Fate) -> None:
    lines = f"06-02 {started} started {D2}\n06-02 16:30 finished {D2}"
    report = told(A, lines, "06-02 17:00", first="2026-06-02")
    (start,) = events(report, "start")
    assert (start.late, start.status) == (late, status)
    assert totals(report).counts == {fate: 1}


def test_a_dose_put_off_is_late_by_its_order_and_done_by_its_status() -> None:
    # 09:00 ordered, put off to 11:00, started 11:05: 125 minutes after the ordered moment, 5 after the planned one.
    lines = f"06-01 08:30 delayed {D1} until=06-01T11:00\n06-01 11:05 started {D1}\n06-01 11:35 finished {D1}"
    report = told(A, lines, "06-01 12:00")
    (start,) = events(report, "start")
    assert (start.ordered, start.planned, start.actual) == (at("06-01 09:00"), at("06-01 11:00"), at("06-01 11:05"))
    assert start.late == 125
    assert start.status is Status.DONE
    assert "a was ordered for 09:00 CDT." in start.notes
    assert totals(report).counts == {Fate.LATE: 1}
    assert facts(report) == [("01 08:30", "a 1 g, dose of 09:00, is put off to 11:00 CDT")]


def test_what_is_no_start_is_late_from_its_planned_moment_on() -> None:
    # Started at 09:10, so its finish was due at 09:40; finished and flushed at 09:52. The idle flush was due 21:52.
    lines = f"""
    06-01 09:10 started {D1}
    06-01 09:52 finished {D1}
    06-01 09:52 flushed lumen=red
    06-01 21:40 flushed lumen=red
    """
    report = told(A, lines, "06-01 23:00")
    (finish,), (flush,) = events(report, "finish"), events(report, "flush")
    assert (finish.ordered, finish.planned, finish.late) == (None, at("06-01 09:40"), 12)
    assert (flush.planned, flush.actual, flush.late) == (at("06-01 21:52"), at("06-01 21:40"), -12)


def test_a_finish_on_time_that_was_flushed_late_is_not_called_late() -> None:
    """R15: finished and flushed are two facts, and only the second one was late."""
    lines = f"06-01 09:00 started {D1}\n06-01 09:30 finished {D1}\n06-01 12:22 flushed lumen=red"
    text = history_text(told(A, lines, "06-01 13:00"))
    row = next(line for line in text.splitlines() if "finish a" in line)
    assert row == "    09:30 CDT  on time, flushed late     red lumen: finish a"
    assert "Its flush was recorded at 12:22 CDT." in text
    late = f"06-01 09:00 started {D1}\n06-01 09:50 finished {D1}\n06-01 12:22 flushed lumen=red"
    assert "09:50 CDT  late (+20 min)            red lumen: finish a" in history_text(told(A, late, "06-01 13:00"))


def test_mean_and_greatest_lateness() -> None:
    lines = f"""
    06-01 09:20 started {D1}
    06-01 09:50 finished {D1}
    06-02 08:45 started {D2}
    06-02 09:15 finished {D2}
    06-03 11:05 started {D3}
    06-03 11:35 finished {D3}
    """
    found = totals(told(A, lines, "06-03 12:00"))
    assert found.mean_late == Fraction(20 + 0 + 125, 3)
    assert (found.most_late, found.most_early) == (125, 15)
    assert found.counts == {Fate.ON_TIME: 2, Fate.LATE: 1}


# What became of the doses


@pytest.mark.parametrize(
    ("lines", "now", "fate"),
    [
        ("", "06-01 09:00", Fate.WAITING),
        ("", "06-01 12:59", Fate.WAITING),
        ("", "06-01 13:01", Fate.UNCONFIRMED),
        (f"06-01 09:00 started {D1}", "06-01 20:00", Fate.RUNNING),
        (f"06-01 09:30 finished {D1}", "06-01 20:00", Fate.START_UNKNOWN),
        (f"06-01 09:00 not-given {D1}", "06-01 20:00", Fate.NOT_GIVEN),
        (f"06-01 09:00 skipped {D1}", "06-01 20:00", Fate.SKIPPED),
        ("06-01 08:30 held order=a", "06-01 20:00", Fate.HELD),
        (f"06-01 09:00 started {D1}\n06-01 09:10 stopped-early {D1} sign=pain", "06-01 20:00", Fate.STOPPED),
        (f"06-01 09:00 started {D1} elsewhere=yes", "06-01 20:00", Fate.ON_TIME),
    ],
)
def test_what_became_of_a_dose(lines: str, now: str, fate: Fate) -> None:
    assert totals(told(A, lines, now)).counts == {fate: 1}


def test_where_nobody_records_a_dose_is_unconfirmed_after_its_window() -> None:
    edits = A + "[plan]\nhousehold_records = false\n"
    assert totals(told(edits, "", "06-01 10:00")).counts == {Fate.WAITING: 1}
    assert totals(told(edits, "", "06-01 10:01")).counts == {Fate.UNCONFIRMED: 1}


def test_a_dose_not_given_that_was_given_after_all_is_late_and_both_reports_are_told() -> None:
    lines = f"06-01 12:00 not-given {D1} by=Ann\n06-01 11:00 started {D1} by=Bo\n06-01 11:30 finished {D1} by=Bo"
    report = told(A, lines, "06-01 14:00")
    (start,) = events(report, "start")
    assert start.status is Status.LATE
    assert start.by == ("Bo", "Ann")
    assert start.notes == ("12:00 CDT: a 1 g, dose of 09:00, was not given.",)
    assert totals(report).counts == {Fate.LATE: 1}


def test_two_reports_of_one_start_are_one_dose_and_both_are_told() -> None:
    lines = f"06-01 09:05 started {D1} by=Ann\n06-01 09:12 started {D1} by=Bo"
    report = told(A, lines, "06-01 09:20")
    (start,) = events(report, "start")
    assert (start.late, start.by) == (5, ("Ann", "Bo"))
    assert start.notes == ("09:12 CDT: a 1 g, dose of 09:00, started.",)
    assert totals(report).doses == 1


def test_stopped_early_tells_how_much_was_given() -> None:
    lines = f"""
    06-01 09:00 started {D1}
    06-01 09:10 stopped-early {D1} volume=60_mL sign=swelling by=Ann
    06-02 09:00 started {D2}
    06-02 09:20 stopped-early {D2}
    """
    report = told(A, lines, "06-02 10:00")
    assert totals(report).stopped == ((at("06-01 09:10"), "60 mL"), (at("06-02 09:20"), ""))
    text = history_text(report)
    assert "stopped early: Mon 1 Jun 2026, 09:10 CDT, 60 mL given" in text
    assert "stopped early: Tue 2 Jun 2026, 09:20 CDT, how much was given is not recorded" in text
    assert "09:10 CDT  STOPPED EARLY (-20 min)" in text


def test_given_as_needed_is_counted_beside_what_was_scheduled() -> None:
    edits = """
    [lumen.red]
    last_flushed = "2026-06-01 07:00"
    [order.n]
    as_needed = true
    last_day = 2026-06-07
    most_in_24h = 2
    duration = "30 min"
    without on_time_within
    without cut_off
    """
    lines = "06-01 10:00 started order=n dose=x\n06-01 10:30 finished order=n dose=x"
    report = told(edits, lines, "06-01 12:00")
    assert totals(report, "n").counts == {Fate.BESIDES: 1}
    assert totals(report, "n").mean_late is None
    (start,) = events(report, "start")
    assert (start.ordered, start.planned, start.late) == (None, None, None)


def test_a_pump_s_own_doses_are_left_to_the_pump() -> None:
    edits = """
    [lumen.red]
    last_flushed = "2026-06-01 07:00"
    [order.p]
    given_as = "pump"
    every = "6 h"
    first_dose = "2026-06-01 09:00"
    last_day = 2026-06-04
    stops = "2026-06-05 09:00"
    duration = "30 min"
    kept_open = true
    bag_every = "24 h"
    bag_flush = []
    """
    report = told(edits, "06-01 09:00 started order=p dose=reservoir", "06-01 20:00")
    assert totals(report, "p").counts == {Fate.BY_PUMP: 2}, "09:00 and 15:00"
    assert gap(report) == (120, at("06-01 07:00"), at("06-01 09:00")), "kept open: in use since 09:00"


# Idle times


def test_a_limit_is_kept_to_the_minute_and_passed_a_minute_later() -> None:
    for flushed, length, over in (("19:00", 720, 0), ("19:01", 721, 1)):
        report = told(BLUE, f"06-01 {flushed} flushed lumen=blue", "06-01 20:00")
        assert gap(report, "blue")[0] == length
        assert len(idle(report, "blue").recorded_over) == over


def test_idle_times_are_reckoned_twice() -> None:
    # Flushed 07:00, 19:00 recorded; 07:00 planned on the 2nd and not recorded; 18:30 on the 2nd recorded.
    lines = "06-01 19:00 flushed lumen=blue\n06-02 18:30 flushed lumen=blue"
    report = told(BLUE, lines, "06-02 22:00")
    assert gap(report, "blue") == (23 * 60 + 30, at("06-01 19:00"), at("06-02 18:30"))
    assert gap(report, "blue", supposed=True) == (720, at("06-01 07:00"), at("06-01 19:00"))
    found = idle(report, "blue")
    assert [each.length for each in found.recorded_over] == [1410]
    assert found.supposed_over == ()
    assert (found.last_flush, found.since) == (at("06-02 18:30"), 210)
    unconfirmed = [row for row in report.rows if row.status is Status.UNCONFIRMED]
    assert [row.at for row in unconfirmed] == [at("06-02 07:00")]
    assert unconfirmed[0].actual is None


@pytest.mark.parametrize(("clock", "hours"), [("08:00", 12), ("09:00", 13)])
def test_an_idle_time_over_the_night_on_which_the_clocks_go_back(clock: str, hours: int) -> None:
    # W3: 2026-10-31 21:00 CDT is 02:00Z; 08:00 CST on the 1st is 14:00Z, 12 h later by the sun, 11 h by the clock.
    edits = """
    [plan]
    takes_effect = "2026-10-31 08:00"
    start = "2026-10-31 08:00"
    end = "2026-11-03 08:00"
    [lumen.blue]
    last_flushed = "2026-10-31 07:00"
    """
    lines = f"10-31 14:00 flushed lumen=blue\n10-31 21:00 flushed lumen=blue\n11-01 {clock} flushed lumen=blue"
    report = told(edits, lines, "11-01 10:00", first="2026-10-31", last="2026-11-02")
    assert gap(report, "blue") == (hours * 60, at("10-31 21:00"), at(f"11-01 {clock}"))
    assert bool(idle(report, "blue").recorded_over) == (hours > 12)
    text = " ".join(history_text(report).split())
    assert f"{hours} h, from Sat 31 Oct 2026, 21:00 CDT to Sun 1 Nov 2026, {clock} CST" in text


def test_on_a_journey_times_stand_on_the_clock_of_that_day_and_idle_times_do_not_bend() -> None:
    # New York is an hour ahead of Chicago: 23:30 CDT on the 2nd is 00:30 EDT on the 3rd.
    edits = BLUE + '[[zone_change]]\nat = "2026-06-02 12:00"\nzone = "America/New_York"\n'
    lines = "06-02 11:30 flushed lumen=blue\n06-02 23:30 flushed lumen=blue"
    report = told(edits, lines, "06-03 08:00")
    found = idle(report, "blue")
    assert found.recorded is not None
    assert found.recorded.length == 28 * 60 + 30, "from 07:00 on the 1st to 11:30 on the 2nd"
    text = history_text(report)
    assert "last recorded flush: Wed 3 Jun 2026, 00:30 EDT, 8 h 30 min ago" in text
    day = text[text.index("DAY BY DAY") :]
    assert day.index("Wed 3 Jun 2026") < day.index("00:30 EDT")
    # The local days of a range are those of the journey too.
    third = told(edits, lines, "06-03 08:00", first="2026-06-03")
    assert [row.at for row in third.rows] == [at("06-02 23:30")]
    row = json.loads(history_json(third))["rows"][0]
    assert row["at"] == {"local": "2026-06-03T00:30-04:00", "utc": "2026-06-03T04:30Z"}


def test_while_something_runs_a_lumen_is_not_idle_and_the_limit_counts_from_the_flush() -> None:
    lines = f"""
    06-01 09:00 started {D1}
    06-01 09:30 finished {D1}
    06-01 10:20 flushed lumen=red
    """
    report = told(A, lines, "06-01 11:00")
    # The start counts as a flush; what follows the infusion's end is idle, counted from that start: 80 minutes.
    assert gap(report) == (120, at("06-01 07:00"), at("06-01 09:00"))
    (finish,) = events(report, "finish")
    assert (finish.actual, finish.flushed) == (at("06-01 09:30"), at("06-01 10:20"))
    later = told(A, lines.replace("10:20", "12:10"), "06-01 12:30")
    assert gap(later) == (190, at("06-01 09:00"), at("06-01 12:10"))


def test_a_finish_without_its_flush_resets_nothing() -> None:
    lines = f"06-01 09:00 started {D1}\n06-01 09:30 finished {D1}"
    report = told(A, lines, "06-01 22:00")
    assert gap(report) == (13 * 60, at("06-01 09:00"), at("06-01 22:00"))
    (finish,) = events(report, "finish")
    assert finish.outstanding
    assert finish.status is Status.OVERDUE
    assert "Its flush is not recorded." in finish.notes
    assert "its flush: OVERDUE" in history_text(report)


def test_a_flush_does_not_say_that_an_infusion_finished() -> None:
    lines = f"06-01 09:00 started {D1}\n06-01 10:10 flushed lumen=red"
    report = told(A, lines, "06-01 11:00")
    (finish,), (flush,) = events(report, "finish"), events(report, "flush")
    assert (finish.actual, finish.status) == (None, Status.UNCONFIRMED), "overtaken by the flush"
    assert (flush.actual, flush.planned, flush.status) == (at("06-01 10:10"), None, Status.DONE)
    assert totals(report).counts == {Fate.RUNNING: 1}


def test_a_start_of_which_only_the_finish_is_recorded_is_no_recorded_flush() -> None:
    report = told(A, f"06-01 09:30 finished {D1}\n06-01 09:40 flushed lumen=red", "06-01 20:00")
    assert gap(report) == (620, at("06-01 09:40"), at("06-01 20:00"))
    assert report.lumens[0].recorded_over == ()
    (start,) = events(report, "start")
    assert (start.actual, start.status) == (None, Status.DONE)
    late = told(A, f"06-01 21:00 finished {D1}", "06-01 21:10")
    assert gap(late) == (850, at("06-01 07:00"), at("06-01 21:10"))


@pytest.mark.parametrize(("counts", "length"), [("true", 720), ("false", 1080)])
def test_saline_alone_counts_where_the_plan_says_so(counts: str, length: int) -> None:
    # S7. Flushed 07:00; saline alone 13:00; now 25:00 of that day.
    edits = BLUE + f"[protocol]\nflush_without_lock_counts = {counts}\n"
    report = told(edits, "06-01 13:00 flushed lumen=blue fluids=saline", "06-02 01:00")
    assert gap(report, "blue")[0] == length


def test_lumens_are_reckoned_apart() -> None:
    lines = f"06-01 09:00 started {D1}\n06-01 09:30 finished {D1}\n06-01 09:30 flushed lumen=red"
    report = told(A + BLUE, lines, "06-01 23:00")
    assert gap(report, "red") == (13 * 60 + 30, at("06-01 09:30"), at("06-01 23:00"))
    assert gap(report, "blue") == (16 * 60, at("06-01 07:00"), at("06-01 23:00"))
    assert idle(report, "blue").last_flush is None
    assert "no flush is recorded" in history_text(report)


def test_a_limit_of_its_own_and_a_lumen_that_only_a_nurse_flushes() -> None:
    edits = (
        BLUE + 'idle_limit = "24 h"\n[lumen.grey]\nlast_flushed = "2026-06-01 07:00"\nflush_through = "nurse only"\n'
    )
    report = told(edits, "", "06-02 08:00")
    blue, grey = idle(report, "blue").recorded, idle(report, "grey").recorded
    assert blue is not None
    assert grey is not None
    assert (blue.limit, blue.exceeded) == (1440, True)
    assert (grey.limit, grey.exceeded) == (None, False)
    assert "no routine flush is planned into it" in history_text(report)


def test_a_limit_that_changes_is_judged_while_it_holds() -> None:
    # 12 h until 06-01 20:00, then 24 h. Idle from 07:00 on: after 13 h the first limit was broken.
    older = BLUE
    newer = BLUE + '[plan]\nrevision = 2\ntakes_effect = "2026-06-01 20:00"\n[line]\nidle_limit = "24 h"\n'
    schedule = after(newer, "", "06-01 22:00", [older])
    report = history(schedule, EMPTY, date(2026, 6, 1), date(2026, 6, 2), at("06-01 22:00"))
    found = idle(report, "blue").recorded
    assert found is not None
    assert (found.length, found.limit, found.exceeded) == (15 * 60, 720, True)


def test_an_exchange_begins_afresh() -> None:
    report = told(BLUE, "06-01 10:00 line-exchanged\n06-01 15:00 flushed lumen=blue", "06-01 20:00")
    assert gap(report, "blue") == (5 * 60, at("06-01 15:00"), at("06-01 20:00"))


def test_a_time_in_which_a_lumen_was_not_to_be_used_is_told_beside_its_idle_time() -> None:
    lines = "06-01 09:00 problem lumen=blue sign=swelling by=Ann\n06-02 06:00 released lumen=blue said_by=Dr_Lee"
    report = told(BLUE, lines, "06-02 07:00")
    text = " ".join(history_text(report).split())
    assert "It was suspended, out of use or held from Mon 1 Jun 2026, 09:00 CDT to Tue 2 Jun 2026, 06:00 CDT." in text
    assert "Mon 1 Jun 2026, 09:00 CDT, blue lumen: swelling" in text
    assert facts(report) == [("01 09:00", "blue lumen: swelling"), ("02 06:00", "blue lumen released")]


# A revision changes nothing about what was before it

STRONGER = A + '[plan]\nrevision = 2\ntakes_effect = "2026-06-02 16:00"\n[order.a]\ndose = "2 g"\n'
"""From the afternoon of the second day on the dose is 2 g, not 1 g."""


def test_facts_before_a_revision_keep_the_dose_that_was_ordered_then() -> None:
    lines = f"""
    06-01 09:05 started {D1}
    06-01 09:10 interrupted {D1}
    06-01 09:15 resumed {D1}
    06-01 09:45 stopped-early {D1} volume=60_mL
    06-02 10:30 not-given {D2}
    06-03 09:00 started {D3}
    06-03 09:30 finished {D3}
    06-03 09:32 interrupted {D1}
    """
    now = "06-03 10:00"
    schedule = after(STRONGER, lines, now, [A])
    report = history(schedule, record(lines), date(2026, 6, 1), date(2026, 6, 3), at(now))
    assert [what for _, what in facts(report)] == [
        "a 1 g, dose of 09:00, was interrupted",
        "a 1 g, dose of 09:00, goes on",
        # Said of a dose that began before the revision: it goes on as it was ordered.
        "a 1 g, dose of Mon 1 Jun 2026, 09:00, was interrupted",
    ]
    notes = [note for row in report.rows for note in row.notes]
    assert "a 1 g, dose of 09:00, stopped early; 60 mL given." in notes
    assert "10:30 CDT: a 1 g, dose of 09:00, was not given." in notes
    assert [row.what for row in events(report, "start")] == ["start a 1 g", "start a 1 g", "start a 2 g"]


def test_doses_before_and_after_a_revision_are_counted_apart() -> None:
    lines = f"06-01 09:05 started {D1}\n06-01 09:35 finished {D1}\n06-03 09:00 started {D3}"
    now = "06-03 10:00"
    schedule = after(STRONGER, lines, now, [A])
    report = history(schedule, record(lines), date(2026, 6, 1), date(2026, 6, 3), at(now))
    counted = [(found.order, found.drug, found.doses, dict(found.counts)) for found in report.orders]
    assert counted == [
        ("a", "a 1 g", 2, {Fate.ON_TIME: 1, Fate.UNCONFIRMED: 1}),
        ("a", "a 2 g", 1, {Fate.RUNNING: 1}),
    ]
    text = history_text(report)
    assert "  a 1 g, red lumen: 2 doses so far\n" in text
    assert "  a 2 g, red lumen: 1 dose so far\n" in text
    assert [(found["drug"], found["doses"]) for found in json.loads(history_json(report))["orders"]] == [
        ("a 1 g", 2),
        ("a 2 g", 1),
    ]


def test_without_a_dose_the_order_is_named_as_it_is_at_the_end_of_the_days() -> None:
    for now, day, drug in (("06-01 08:30", 1, "a 1 g"), ("06-03 08:30", 3, "a 2 g")):
        schedule = after(STRONGER, "", now, [A])
        (found,) = history(schedule, EMPTY, date(2026, 6, day), date(2026, 6, day), at(now)).orders
        assert (found.drug, found.doses) == (drug, 0)


# Facts that are no events, and reports that were taken back


def test_facts_that_are_no_events_have_rows_of_their_own() -> None:
    lines = f"""
    06-01 08:05 plan-put-in-use revision=1 plan_text=secret
    06-01 08:06 calendar-published target=phone
    06-01 09:00 started {D1}
    06-01 09:05 interrupted {D1} sign=not_flowing
    06-01 09:15 resumed {D1}
    06-01 10:00 task-done name=dressing by=Ann
    06-01 11:00 stock-counted name=gloves count=12
    06-01 12:00 heparin-stopped said_by=Dr_Lee
    06-01 13:00 lumen-out-of-use lumen=red
    06-01 14:00 held
    06-01 15:00 released
    06-01 16:00 line-exchanged
    06-01 17:00 line-removed
    """
    report = told(A, lines, "06-01 18:00")
    assert [what for _, what in facts(report)] == [
        "plan revision 1 put in use",
        "a 1 g, dose of 09:00, was interrupted; because of the infusion does not flow",
        "a 1 g, dose of 09:00, goes on",
        "dressing: done",
        "counted: 12 × gloves",
        "heparin was stopped",
        "the red lumen is out of use",
        "everything held",
        "everything released",
        "the line was exchanged",
        "the line was removed",
    ]
    everything = history_text(report) + history_csv(report) + history_json(report).decode()
    assert "secret" not in everything
    assert "phone" not in everything


def test_a_report_that_was_taken_back_stands_as_taken_back_and_counts_nowhere() -> None:
    lines = """
    06-01 12:00 flushed lumen=blue key=slip by=Ann
    06-01 12:10 withdrawn withdraws=slip by=Bo
    06-01 13:00 withdrawn withdraws=unheard-of
    """
    report = told(BLUE, lines, "06-01 15:00")
    rows = [row for row in report.rows if row.sort is Sort.WITHDRAWN]
    assert [(row.at, row.by, row.actual) for row in rows] == [
        (at("06-01 12:00"), ("Ann",), None),
        (at("06-01 13:00"), (), None),
    ]
    assert rows[0].notes == ("Taken back at 12:10 CDT by Bo.",)
    assert idle(report, "blue").last_flush is None
    assert "12:00 CDT  taken back" in history_text(report)
    assert "  done" not in history_text(report)


def test_a_skipped_flush_names_who_skipped_it_and_is_not_done() -> None:
    lines = "06-01 18:00 skipped lumen=blue planned_for=06-01T19:00 by=Ann said_by=nurse"
    report = told(BLUE, lines, "06-01 20:00")
    (flush,) = events(report, "flush")
    assert (flush.status, flush.by, flush.actual) == (Status.SKIPPED, ("Ann",), None)
    assert "As nurse said." in flush.notes
    assert facts(report) == []
    assert gap(report, "blue", supposed=True)[0] == 13 * 60, "skipped is not supposed to have been done"


def test_a_held_dose_names_who_held_it() -> None:
    report = told(A, "06-01 08:30 held order=a by=Ann", "06-01 12:00")
    (start,) = events(report, "start")
    assert (start.status, start.by, start.actual) == (Status.SKIPPED, ("Ann",), None)
    assert facts(report) == [("01 08:30", "a 1 g held")]


def test_nothing_ahead_is_told_and_only_the_days_asked_for() -> None:
    report = told(A, f"06-02 09:00 started {D2}", "06-02 09:10", first="2026-06-02", last="2026-06-02")
    assert [(row.what, row.at) for row in report.rows] == [("start a 1 g", at("06-02 09:00"))]
    assert totals(report).doses == 1


# The text


def test_the_text_of_a_small_case() -> None:
    """Blue is flushed with red's finish, planned for 09:42 once the dose is started. Both are then to be flushed by 21:45.
    On the 2nd blue is to be flushed with the finish planned for 09:30; that the dose is not given is told at 10:30, when
    red, if it was flushed at 21:45, is 45 min past its limit."""
    lines = f"""
    06-01 09:12 started {D1} by=Ann
    06-01 09:45 finished {D1} by=Ann
    06-01 09:45 flushed lumen=red by=Ann
    06-01 09:45 flushed lumen=blue by=Ann
    06-01 21:50 flushed lumen=blue by=Bo note=a_little_late
    06-02 10:30 not-given {D2} by=Ann note=out_of_the_house
    """
    report = told(A + BLUE, lines, "06-02 12:00", last="2026-06-02")
    assert history_text(report) == GOLDEN


GOLDEN = """\
Line care, revision 1, Fennimore Vale Home Infusion; home zone America/Chicago; made Tue 2 Jun 2026,
  12:00 CDT
What was planned and what was recorded from Mon 1 Jun 2026 to Tue 2 Jun 2026, as of Tue 2 Jun 2026,
  12:00 CDT.
Unconfirmed means that nobody recorded it: it may have been done, or not. (+12 min) is after, (-12
  min) before the time that was ordered (for a dose's start) or planned (for everything else).

NEEDS ATTENTION
  Not given
    Tue 2 Jun 2026, 09:00 CDT, red lumen: start a 1 g
  Overdue now
    Mon 1 Jun 2026, 21:45 CDT, red lumen: flush
    Tue 2 Jun 2026, 09:30 CDT, blue lumen: flush
    Tue 2 Jun 2026, 10:30 CDT, red lumen: flush
  Idle limit passed
    red lumen: idle for 26 h 15 min by what is recorded, from Mon 1 Jun 2026, 09:45 CDT to Tue 2 Jun
      2026, 12:00 CDT; the limit is 12 h.
    red lumen: even if everything that is planned and not recorded was done, it was passed: 12 h 45
      min, from Mon 1 Jun 2026, 21:45 CDT to Tue 2 Jun 2026, 10:30 CDT.
    blue lumen: idle for 12 h 5 min by what is recorded, from Mon 1 Jun 2026, 09:45 CDT to Mon 1 Jun
      2026, 21:50 CDT; the limit is 12 h.
    blue lumen: idle for 14 h 10 min by what is recorded, from Mon 1 Jun 2026, 21:50 CDT to Tue 2
      Jun 2026, 12:00 CDT; the limit is 12 h.
    blue lumen: even if everything that is planned and not recorded was done, it was passed: 12 h 5
      min, from Mon 1 Jun 2026, 09:45 CDT to Mon 1 Jun 2026, 21:50 CDT.

ORDERS
  a 1 g, red lumen: 2 doses so far
    given on time: 1; not given: 1
    starts: on average 12 min after the ordered time (early counts as 0), at most 12 min

LUMENS
  red lumen
    last recorded flush: Mon 1 Jun 2026, 09:45 CDT, 26 h 15 min ago
    longest idle by what is recorded: 26 h 15 min, from Mon 1 Jun 2026, 09:45 CDT to Tue 2 Jun 2026,
      12:00 CDT; OVER the limit of 12 h
    longest idle if what is not recorded was done: 12 h 45 min, from Mon 1 Jun 2026, 21:45 CDT to
      Tue 2 Jun 2026, 10:30 CDT; OVER the limit of 12 h
  blue lumen
    last recorded flush: Mon 1 Jun 2026, 21:50 CDT, 14 h 10 min ago
    longest idle by what is recorded: 14 h 10 min, from Mon 1 Jun 2026, 21:50 CDT to Tue 2 Jun 2026,
      12:00 CDT; OVER the limit of 12 h
    longest idle if what is not recorded was done: 12 h 5 min, from Mon 1 Jun 2026, 09:45 CDT to Mon
      1 Jun 2026, 21:50 CDT; OVER the limit of 12 h

DAY BY DAY
  Mon 1 Jun 2026
    09:12 CDT  done (+12 min)            red lumen: start a 1 g (Ann)
    09:45 CDT  done (+3 min)             red lumen: finish a (Ann)
    09:45 CDT  done (+3 min)             blue lumen: flush (Ann)
    21:45 CDT  OVERDUE                   red lumen: flush
                                         At most 12 h after the flush of Mon 1 Jun 2026, 09:45 CDT,
                                           so by Mon 1 Jun 2026, 21:45 CDT.
    21:50 CDT  late (+5 min)             blue lumen: flush (Bo)
                                         Note: a little late
                                         At most 12 h after the flush of Mon 1 Jun 2026, 09:45 CDT,
                                           so by Mon 1 Jun 2026, 21:45 CDT.
  Tue 2 Jun 2026
    09:00 CDT  NOT GIVEN                 red lumen: start a 1 g (Ann)
                                         10:30 CDT: a 1 g, dose of 09:00, was not given.
                                         Note: out of the house
    09:30 CDT  OVERDUE                   blue lumen: flush
                                         At most 12 h after the flush of Mon 1 Jun 2026, 21:50 CDT,
                                           so by Tue 2 Jun 2026, 09:50 CDT. It stays where it was
                                           planned before.
    10:30 CDT  OVERDUE                   red lumen: flush
                                         At most 12 h after the flush planned for Mon 1 Jun 2026,
                                           21:45 CDT, so by Tue 2 Jun 2026, 09:45 CDT. That has
                                           passed: due at once. Ask the nurse first.

Never double a dose or speed it up. Not recorded does not mean not done: if unsure, ask before you
  repeat.
What Fennimore Vale Home Infusion or your nurse told you comes first.
"""


def test_no_line_is_wider_than_a_page_and_lists_that_would_be_long_are_counted() -> None:
    schedule = sample(SAMPLE_PLANS[0].parent / "three-lumens.toml").schedule
    now = Instant(schedule.start + 20 * 1440)
    text = history_text(history(schedule, EMPTY, date(2026, 10, 12), date(2026, 11, 1), now))
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "more, in the list by day" in text
    assert "CST" in text
    assert "CDT" in text


def test_a_quiet_report_says_so() -> None:
    report = told(A, "", "06-01 08:00")
    text = history_text(report)
    assert "NEEDS ATTENTION\n  Nothing.\n" in text
    assert "Nothing was planned or recorded on these days." in text
    assert "a 1 g, red lumen: no dose so far" in text


# CSV and JSON


def parsed(report: History) -> tuple[list[dict[str, str]], list[dict[str, Any]]]:
    """Return the rows as the csv module and the json module read them back."""
    rows = list(csv.DictReader(io.StringIO(history_csv(report), newline="")))
    return rows, json.loads(history_json(report))["rows"]


def test_csv_is_of_the_form_of_rfc_4180() -> None:
    # RFC 4180, 2: records end in CRLF; a field with quotes, commas or line breaks is quoted, quotes doubled.
    note = 'she_said_"no",_then_"yes"'
    report = told(BLUE, f"06-01 12:00 flushed lumen=blue note={note}", "06-01 13:00")
    text = history_csv(report)
    assert text.count("\r\n") == text.count("\n") == 2
    assert '"Note: she said ""no"", then ""yes"""' in text
    rows, _ = parsed(report)
    assert rows[0]["notes"] == 'Note: she said "no", then "yes"'
    assert tuple(rows[0]) == COLUMNS


@pytest.mark.parametrize("begin", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_is_taken_for_a_formula(begin: str) -> None:
    name = f"{begin}HYPERLINK(1)"
    fact = Fact(key="k", report="k", kind=Kind.TASK_DONE, happened=at("06-01 09:00"), entered=at("06-01 09:00"))
    harmful = Fact(**{**_fields(fact), "name": name, "by": name, "note": name})
    log = Record((harmful,))
    schedule = after(BLUE, "", "06-01 10:00")
    report = history(schedule, log, date(2026, 6, 1), date(2026, 6, 1), at("06-01 10:00"))
    (row,), _ = parsed(report)
    assert row["reported_by"] == f"'{name}"
    assert row["what"] == f"'{name}: done"
    for cell in row.values():
        assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


def _fields(fact: Fact) -> dict[str, Any]:
    return {name: getattr(fact, name) for name in Fact.__dataclass_fields__}


def test_early_and_late_stand_apart_so_that_no_number_has_a_sign() -> None:
    report = told(A, f"06-01 08:50 started {D1}\n06-01 09:45 finished {D1}", "06-01 10:00")
    rows, documents = parsed(report)
    assert [(row["minutes_late"], row["minutes_early"]) for row in rows] == [("", "10"), ("25", "")]
    assert [row["minutes_late"] for row in documents] == [-10, 25]


def test_every_key_is_documented() -> None:
    report = told(A + BLUE, f"06-01 09:00 started {D1}\n06-01 09:10 stopped-early {D1}", "06-01 22:00")
    document = json.loads(history_json(report))
    assert set(document) == set(history_files.DOCUMENT_KEYS)
    assert all(set(row) == set(history_files.ROW_KEYS) for row in document["rows"])
    assert all(set(row) == set(history_files.ORDER_KEYS) for row in document["orders"])
    tasks = json.loads(history_json(told(CARED, "", "06-03 12:00")))["tasks"]
    assert len(tasks) == 4
    assert all(set(row) == set(history_files.TASK_KEYS) for row in tasks)
    assert all(set(row) == set(history_files.LUMEN_KEYS) for row in document["lumens"])
    assert all(set(row["longest_recorded"]) == set(history_files.GAP_KEYS) for row in document["lumens"])
    assert all(set(row["at"]) == set(history_files.MOMENT_KEYS) for row in document["rows"])
    assert history_json(report) == history_json(report)


# Care tasks


def of_task(report: History, task: str) -> list[Row]:
    """Return the rows of the events of a care task."""
    return [row for row in report.rows if row.sort is Sort.EVENT and row.task == task]


@pytest.mark.parametrize(
    ("lines", "row"),
    [
        pytest.param("", ("02 10:00", "unconfirmed", "02 10:00", None, None), id="nothing recorded"),
        pytest.param(
            "06-02 11:30 task-done name=dressing", ("02 11:30", "done", "02 10:00", "02 11:30", 90), id="in its window"
        ),
        pytest.param(
            "06-02 14:01 task-done name=dressing", ("02 14:01", "late", "02 10:00", "02 14:01", 241), id="too late"
        ),
        pytest.param(
            "06-02 09:00 task-done name=Change_the_dressing",
            ("02 09:00", "done", "02 10:00", "02 09:00", -60),
            id="early, by its label",
        ),
        pytest.param(
            "06-02 09:00 task-put-off name=dressing planned_for=06-02T10:00 until=06-03T09:00\n"
            "06-03 09:05 task-done name=dressing",
            ("03 09:05", "done", "03 09:00", "03 09:05", 5),
            id="put off, and done then",
        ),
        pytest.param(
            "06-02 09:00 task-skipped name=dressing planned_for=06-02T10:00",
            ("02 10:00", "skipped", "02 10:00", None, None),
            id="skipped",
        ),
    ],
)
def test_a_care_task_has_a_row_with_when_it_was_planned_and_done(lines: str, row: tuple[str | int | None, ...]) -> None:
    """R14, R20: what nobody recorded has no actual time; a window of 4 h around 10:00; minutes count from the plan."""
    report = told(CARED, lines, "06-04 09:00")
    found = of_task(report, "dressing")[0]

    def shown(moment: Instant | None) -> str | None:
        return None if moment is None else f"{report.plan.clock.local(moment):%d %H:%M}"

    assert found.status is not None
    planned, actual = shown(found.planned), shown(found.actual)
    assert (shown(found.at), found.status.value, planned, actual, found.late) == row
    assert (found.what, found.lumen) == ("Change the dressing", "")


def test_two_who_report_one_care_task_share_its_row() -> None:
    lines = """
    06-02 10:05 task-done name=dressing by=Ann said_by=Nurse_Lee note=no_redness
    06-02 10:15 task-done name=dressing by=Bo
    """
    report = told(CARED, lines, "06-02 12:00")
    (row,) = of_task(report, "dressing")
    assert row.by == ("Ann", "Bo")
    assert row.notes == ("As Nurse Lee said.", "Note: no redness", "10:15 CDT: Change the dressing: done.")
    assert not facts(report)
    assert "10:05 CDT  done (+5 min)             Change the dressing (Ann, Bo)" in history_text(report)


def test_a_task_tied_to_a_dose_stands_beside_that_dose() -> None:
    """R20: the dose of the 2nd is put off to 11:00, so the bag is to come out at 10:30."""
    lines = f"06-02 08:00 delayed {D2} until=06-02T11:00\n06-02 10:20 task-done name=Take_the_bag_out"
    row = of_task(told(CARED, lines, "06-02 12:00"), "bag_out")[-1]
    assert (row.order, row.dose) == ("a", "2026-06-02T09:00")
    assert (row.planned, row.actual, row.late) == (at("06-02 10:30"), at("06-02 10:20"), -10)


def test_a_planned_draw_through_a_lumen_is_one_row_with_its_plan() -> None:
    """R20: it is a touch; one report says that the task was done and that the lumen was drawn through."""
    lines = """
    06-02 15:12 task-done name=labs report=r key=r.1 lumen=red
    06-02 15:12 drawn lumen=red report=r key=r.2
    06-02 15:14 flushed lumen=red
    """
    report = told(CARED, lines, "06-02 16:00")
    (row,) = of_task(report, "labs")
    assert (row.what, row.lumen) == ("blood draw: Labs", "red")
    assert (row.planned, row.actual, row.flushed, row.late) == (
        at("06-02 15:00"),
        at("06-02 15:12"),
        at("06-02 15:14"),
        12,
    )
    assert not facts(report)
    (besides,) = events(told(A, "06-02 15:12 drawn lumen=red", "06-02 16:00"), "blood draw")
    assert (besides.planned, besides.late, besides.task) == (None, None, "")


def test_what_was_put_off_delivered_or_done_besides_is_told() -> None:
    lines = """
    06-02 09:00 task-put-off name=van planned_for=06-03T14:00 until=06-04T09:00 by=Ann
    06-04 09:20 task-done name=van
    06-04 09:20 delivered name=saline_syringe count=40
    06-04 09:30 delivered name=gloves count=2
    06-04 09:40 task-done name=van
    06-04 10:00 task-done name=cap_on_red
    """
    report = told(CARED, lines, "06-04 12:00")
    assert facts(report) == [
        ("02 09:00", "Delivery: moved from Wed 3 Jun 2026, 14:00 CDT to Thu 4 Jun 2026, 09:00 CDT"),
        ("04 09:20", "delivered: 40 × saline syringe"),
        ("04 09:30", "delivered: 2 × gloves"),
        ("04 10:00", "cap on red: done"),
    ]
    first, again = of_task(report, "van")
    assert (first.planned, first.actual) == (at("06-04 09:00"), at("06-04 09:20"))
    assert (again.planned, again.actual, again.notes) == (None, at("06-04 09:40"), ("None was planned then.",))


def test_care_tasks_are_counted_with_when_each_was_last_done() -> None:
    """What a nurse looks for first: how often, how it stands, and the last time, also from before the days asked for."""
    lines = """
    06-02 10:00 task-done name=dressing
    06-02 15:00 task-done name=labs report=r key=r.1
    06-02 15:00 drawn lumen=red report=r key=r.2
    06-04 09:00 task-skipped name=dressing planned_for=06-04T10:00
    """
    report = told(CARED, lines, "06-05 12:00", first="2026-06-03")
    found = {totals.task: totals for totals in report.tasks}
    assert list(found) == ["dressing", "bag_out", "labs", "van"]
    assert found["dressing"].counts == {Status.SKIPPED: 1}
    assert found["dressing"].last_done == at("06-02 10:00")
    assert found["bag_out"].counts == {Status.UNCONFIRMED: 2, Status.OVERDUE: 1}
    assert (found["labs"].occurrences, found["labs"].last_done) == (0, at("06-02 15:00"))
    assert found["van"].counts == {Status.OVERDUE: 1}
    whole = {totals.task: totals for totals in told(CARED, lines, "06-05 12:00").tasks}
    assert whole["labs"].counts == {Status.DONE: 1}, "drawn on time, though the flush after it is not recorded"
    text = history_text(report)
    part = text.partition("\nCARE TASKS\n")[2].partition("\n\n")[0]
    assert part.splitlines() == [
        "  Change the dressing: 1 so far",
        "    not to be done: 1",
        "    last recorded as done: Tue 2 Jun 2026, 10:00 CDT",
        "  Take the bag out: 3 so far",
        "    OVERDUE: 1; UNCONFIRMED: 2",
        "    not recorded as done so far",
        "  Labs: not due so far",
        "    last recorded as done: Tue 2 Jun 2026, 15:00 CDT",
        "  Delivery: 1 so far",
        "    OVERDUE: 1",
        "    not recorded as done so far",
    ]
    assert "CARE TASKS" not in history_text(told(A, "", "06-03 12:00"))


def test_a_task_of_a_plan_that_was_replaced_keeps_its_rows() -> None:
    """R14: what lies before a revision's instant is what the earlier one says, also of a task that it takes out."""
    revision = A + '[plan]\nrevision = 2\ntakes_effect = "2026-06-03 08:00"\n'
    lines = "06-02 10:00 task-done name=dressing"
    schedule = after(revision, lines, "06-04 12:00", [CARED])
    report = history(schedule, record(lines), date(2026, 6, 1), date(2026, 6, 4), at("06-04 12:00"))
    assert [row.status for row in of_task(report, "dressing")] == [Status.DONE]
    assert [row.status for row in of_task(report, "bag_out")] == [Status.UNCONFIRMED] * 2
    assert {totals.care.label for totals in report.tasks} == {"Change the dressing", "Take the bag out", "Labs"}


def test_the_files_say_which_task_a_row_is_of() -> None:
    report = told(CARED, "06-02 11:30 task-done name=dressing", "06-02 16:00")
    rows, documents = parsed(report)
    for found in (rows, documents):
        (row,) = (row for row in found if row["task"] == "dressing")
        assert row["lumen"] == ""
        assert row["status"] == "done"
        (draw,) = (row for row in found if row["task"] == "labs")
        assert draw["lumen"] == "red"
    (csv_row,) = (row for row in rows if row["task"] == "dressing")
    assert (csv_row["minutes_late"], csv_row["planned_utc"]) == ("90", "2026-06-02T15:00Z")


# Properties, on records made up at random


def made_up(schedule: Schedule, chance: random.Random, until: Instant) -> Record:
    """Return a record in which events up to a moment were reported on time, late, early, as not done, or not at all."""
    found: list[Fact] = []

    def add(kind: Kind, happened: int, **values: Any) -> None:
        key = f"{len(found):05}"
        moment = Instant(happened)
        found.append(Fact(key=key, report=key, kind=kind, happened=moment, entered=moment, **values))

    for touch in schedule.touches:
        if touch.at > until or chance.random() < 0.3:
            continue
        when = touch.at + chance.choice([0, 0, 5, 40, 200, -20])
        for dose in touch.starts:
            kind = chance.choice([*[Kind.STARTED] * 8, Kind.NOT_GIVEN, Kind.SKIPPED])
            add(kind, when, order=dose.order, dose=dose.key, by=chance.choice(["", "Ann", "Bo"]))
        for dose in touch.ends:
            early = chance.random() < 0.1
            volume = chance.choice(["", "60 mL"]) if early else ""
            add(Kind.STOPPED if early else Kind.FINISHED, when, order=dose.order, dose=dose.key, volume=volume)
        if not touch.starts and chance.random() < 0.8:
            add(Kind.FLUSHED, when, lumen=touch.lumen, by="Ann")
    for event in schedule.tasks:
        if event.at > until or chance.random() < 0.3:
            continue
        if chance.random() < 0.2:
            add(Kind.TASK_SKIPPED, event.at - 60, name=event.task, planned_for=event.planned)
        else:
            add(Kind.TASK_DONE, event.at + chance.choice([0, 5, 200, -20]), name=event.task, by="Ann")
    for fact in chance.sample(found, len(found) // 10):
        add(Kind.WITHDRAWN, fact.entered + 3, withdraws=fact.key)
    return Record(tuple(sorted(found, key=lambda fact: fact.entered)))


CASES = [(path, seed) for path in SAMPLE_PLANS for seed in range(3)]


def has_pump(path: Path) -> bool:
    """Say whether a sample plan has a pump, whose doses nobody records one by one."""
    return any(order.given_as is GivenAs.PUMP for order in sample(path).schedule.plan.orders.values())


ON_CASES = pytest.mark.parametrize(("path", "seed"), CASES, ids=lambda value: getattr(value, "stem", str(value)))


def random_history(path: Path, seed: int) -> tuple[Schedule, Record, History]:
    """Return a sample plan's first days with a record made up from a seed."""
    plan = sample(path).schedule.plan
    start = plan.course.start.instant
    chance = random.Random(f"{path.stem}-{seed}")
    now = Instant(start + chance.randint(1440, 6 * 1440))
    log = made_up(compile_schedule(plan, EMPTY, now), chance, now)
    schedule = compile_schedule(plan, log, now)
    first = plan.clock.local(start).date() - timedelta(days=2)
    return schedule, log, history(schedule, log, first, first + timedelta(days=30), now)


@ON_CASES
def test_totals_add_up_and_unconfirmed_is_never_given(path: Path, seed: int) -> None:
    schedule, log, report = random_history(path, seed)
    now = report.now
    started = {(fact.order, fact.dose) for fact in log.of_kind(Kind.STARTED)}
    said = {(fact.order, fact.dose) for fact in log.standing if fact.dose}
    for found in report.orders:
        doses = [
            dose
            for dose in schedule.doses.get(found.order, ())
            if dose.key != "reservoir" and ((dose.order, dose.key) in started or schedule.start <= dose.start <= now)
        ]
        assert found.doses == len(doses)
        assert found.doses == sum(found.counts.values())
        # "reservoir" is what a pump is connected to, and no dose.
        of_order = {key for order, key in said if order == found.order}
        untold = sum(dose.key not in of_order for dose in doses)
        left = (Fate.UNCONFIRMED, Fate.WAITING, Fate.BY_PUMP)
        assert sum(found.counts.get(fate, 0) for fate in left) == untold
    for row in report.rows:
        if row.status is Status.UNCONFIRMED and not row.outstanding:
            assert row.actual is None
            assert row.late is None


@ON_CASES
def test_every_fact_that_stands_is_told_and_nothing_else_is(path: Path, seed: int) -> None:
    _, log, report = random_history(path, seed)
    dated = {row.at for row in report.rows} | {row.actual for row in report.rows} | {row.flushed for row in report.rows}
    notes = " ".join(note for row in report.rows for note in row.notes)
    clock = report.plan.clock
    for fact in log.standing:
        mentioned = f"{clock.local(fact.happened):%H:%M} {clock.local(fact.happened).tzname()}"
        assert fact.happened in dated or mentioned in notes or fact.kind is Kind.NOT_GIVEN, fact
    moments = {fact.happened for fact in log.standing}
    for row in report.rows:
        assert row.actual is None or row.actual in moments, row
    taken_back = Counter(row.at for row in report.rows if row.sort is Sort.WITHDRAWN)
    assert taken_back == Counter(fact.happened for fact in log.facts if fact.key in log.withdrawn)


@ON_CASES
def test_csv_and_json_hold_the_same_instants(path: Path, seed: int) -> None:
    _, _, report = random_history(path, seed)
    rows, documents = parsed(report)
    assert len(rows) == len(documents) == len(report.rows)
    for row, document in zip(rows, documents, strict=True):
        for name in MOMENTS:
            moment = document[name]
            assert (row[name], row[f"{name}_utc"]) == (("", "") if moment is None else (moment["local"], moment["utc"]))
            if moment is not None:
                assert datetime.fromisoformat(row[name]) == datetime.fromisoformat(row[f"{name}_utc"])


@pytest.mark.parametrize(("path", "seed"), [case for case in CASES if not has_pump(case[0])])
def test_the_longest_idle_time_is_what_a_walk_over_the_minutes_finds(path: Path, seed: int) -> None:
    schedule, log, report = random_history(path, seed)
    for found in report.lumens:
        stated = schedule.plan.lumens[found.lumen].last_flushed.instant
        flushed: set[int] = {fact.happened for fact in log.of_kind(Kind.FLUSHED) if fact.lumen == found.lumen}
        running = list(recorded_runs(schedule, found.lumen))
        flushed |= {begin for begin, _ in running}
        longest, last = 0, int(stated)
        for minute in range(stated, min(report.now, schedule.end) + 1):
            # The minute of a flush ends the time before it; a lumen is idle at it unless something ran until then.
            ran = any(begin < minute <= end for begin, end in running)
            if not ran:
                longest = max(longest, minute - last)
            elif any(begin == minute - 1 for begin, _ in running):
                longest = max(longest, minute - 1 - last)
            if minute in flushed:
                last = minute
        assert (found.recorded.length if found.recorded else 0) == longest


def recorded_runs(schedule: Schedule, lumen: str) -> Iterable[tuple[int, int]]:
    """Yield when doses that are recorded as started ran, to the end that is recorded or else planned."""
    for doses in schedule.doses.values():
        for dose in doses:
            if dose.lumen == lumen and dose.started is not None:
                yield dose.started, 2**62 if dose.end is None else dose.end


@ON_CASES
def test_each_event_up_to_now_has_one_row(path: Path, seed: int) -> None:
    schedule, _, report = random_history(path, seed)
    due = [touch for touch in schedule.touches if touch.at <= report.now or touch.outcome is Outcome.DONE]
    tasks = [event for event in schedule.tasks if event.at <= report.now or event.outcome is Outcome.DONE]
    named = [touch.uid for touch in due] + [event.uid for event in tasks]
    assert Counter(row.uid for row in report.rows if row.sort is Sort.EVENT) == Counter(named)
    unrecorded = [touch for touch in due if touch.outcome is None and touch.kind is TouchKind.IDLE_FLUSH]
    rows = {row.uid: row for row in report.rows}
    assert all(rows[touch.uid].status in (Status.DUE, Status.OVERDUE, Status.UNCONFIRMED) for touch in unrecorded)
