"""Care tasks and planned draws (R20): situations of a household with what follows, and what the plan may not say.

Every plan is the small invented one of these tests with a few edits; 1 June 2026 is a Monday, and clock times are
Chicago's, CDT (UTC-5), unless a row says otherwise. What follows was worked out from the rules by hand; that a dressing,
connector or set comes round so often is common practice, and no number of it is built in.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import ClassVar
from zoneinfo import ZoneInfo

import pytest
from histories import after, at, record
from hypothesis import given, settings
from hypothesis import strategies as st
from small_plans import DAILY, codes, of_code, of_kind, said

from reminders.reminding.care import care_matters
from reminders.saying.advice import advice
from reminders.saying.care_answer import care_advice
from reminders.schedule.care_now import care_now
from reminders.schedule.counts import supplies
from reminders.schedule.model import BLOCKS, AskWhy, Outcome, Schedule, TaskEvent, TouchKind
from reminders.schedule.review import review
from reminders.schedule.status import status, task_status
from reminders.words import timing_lines

RED = '[lumen.red]\nlast_flushed = "2026-06-01 07:00"\n'
BLUE = '[lumen.blue]\nlast_flushed = "2026-06-01 07:00"\n'
THREE_WEEKS = '[plan]\nend = "2026-06-22 08:00"\n'
DRAWS = '[protocol]\nafter_draw = ["saline 20 mL"]\ndiscard_volume = "5 mL"\n'


def task(name: str, kind: str, keys: str) -> str:
    """Return a care task of these tests with its keys."""
    return f'[task.{name}]\nkind = "{kind}"\nlabel = "{name}"\ndone_by = "nurse"\n{keys}\n'


def dressing(last: str = "06-01 07:00", days: int = 7, more: str = "") -> str:
    """Return a dressing that is changed so many days after it was, at 10:00."""
    return task("dressing", "dressing", f'every_days = {days}\nat = "10:00"\nlast_done = "2026-{last}"\n{more}')


def every_hours(hours: int, last: str, more: str = "") -> str:
    """Return an administration set that is changed every so many hours."""
    keys = f'every = "{hours} h"\nlast_done = "2026-{last}"\non_time_within = "4 h"\n{more}'
    return task("set", "administration set", keys)


def labs(keys: str = 'weekdays = ["Mon"]', clock: str = "09:00", more: str = "") -> str:
    """Return a blood draw from a vein on fixed days."""
    return task("labs", "blood draw", f'{keys}\nat = "{clock}"\n{more}')


def fridge(before: str = "2 h", more: str = "") -> str:
    """Return taking the bag of order cefazolin out of the refrigerator."""
    keys = f'order = "cefazolin"\nbefore_dose = "{before}"\non_time_within = "30 min"\n{more}'
    return task("bag out", "out of the refrigerator", keys).replace("[task.bag out]", "[task.bag_out]")


def trough(more: str = 'only_doses = [3]\nlumen = "red"', before: str = "30 min") -> str:
    """Return a draw before a dose of order cefazolin."""
    keys = f'order = "cefazolin"\nbefore_dose = "{before}"\non_time_within = "15 min"\n{more}'
    return task("trough", "blood draw", keys)


PUT_OFF = "06-03 12:00 task-put-off name=dressing planned_for=06-08T10:00 until=06-09T16:00"


LEFT_OUT = "06-08 08:00 task-skipped name=dressing planned_for=06-08T10:00"
AFTER_ALL = "06-08 08:10 task-put-off name=dressing planned_for=06-15T10:00 until=06-08T16:00"
WITH_LABS = task(
    "connector",
    "needleless connector",
    'every_days = 7\nat = "08:00"\nlast_done = "2026-05-25 08:00"\nwith_tasks = ["labs"]',
)

TIED = 'order = "cefazolin"\nbefore_dose = "1 h"\non_time_within = "1 h"'
"""What ties a task to a dose."""


def revision(takes_effect: str, number: int = 2) -> str:
    """Return what makes a plan of these tests a revision of another, three weeks long."""
    return f'[plan]\nrevision = {number}\ntakes_effect = "2026-{takes_effect}"\nend = "2026-06-22 08:00"\n'


THREE_DOSES = DAILY.replace("06-06", "06-03")
EVERY_8_HOURS = DAILY.replace('["09:00"]', '["01:00", "09:00", "17:00"]').replace("06-06", "06-02")
WEIGH = task("weigh", "weighing", 'order = "cefazolin"\nafter_finish = "30 min"\non_time_within = "1 h"')


@dataclass(frozen=True)
class Situation:
    """A plan, what is recorded, and the task's rows at ``now``: local day and time, status, task; ``was``: where it
    stood before, if that is elsewhere."""

    name: str
    edits: str
    rows: Sequence[str]
    facts: Sequence[str] = ()
    now: str = "06-01 08:00"
    earlier: Sequence[str] = field(default=())


SITUATIONS = (
    Situation(
        "a dressing comes round a week after it was done, by the date",
        THREE_WEEKS + RED + dressing("05-28 14:00"),
        ["04 10:00 planned dressing", "11 10:00 planned dressing", "18 10:00 planned dressing"],
    ),
    Situation(
        "a wet dressing changed on day 3 counts from then",
        THREE_WEEKS + RED + dressing(),
        ["04 15:00 done dressing was 08 10:00", "11 10:00 planned dressing", "18 10:00 planned dressing"],
        ["06-04 15:00 task-done name=dressing"],
        "06-04 16:00",
    ),
    Situation(
        "a late dressing is late, and the next counts from when it was done",
        THREE_WEEKS + RED + dressing("05-26 07:00"),
        ["03 09:00 late dressing was 02 10:00", "10 10:00 planned dressing", "17 10:00 planned dressing"],
        ["06-03 09:00 task-done name=dressing"],
        "06-03 10:00",
    ),
    Situation(
        "what nobody recorded waits, and ahead it counts as done when it was to be",
        THREE_WEEKS + RED + dressing("05-26 07:00"),
        ["02 10:00 overdue dressing", "09 10:00 planned dressing", "16 10:00 planned dressing"],
        now="06-03 12:00",
    ),
    Situation(
        "a dressing that is due is due from the beginning of its day",
        THREE_WEEKS + RED + dressing("05-26 07:00"),
        ["02 10:00 due dressing", "09 10:00 planned dressing", "16 10:00 planned dressing"],
        now="06-02 00:00",
    ),
    Situation(
        "a household that does not record has it unconfirmed",
        "[plan]\nhousehold_records = false\n" + RED + dressing("05-26 07:00"),
        ["02 10:00 unconfirmed dressing"],
        now="06-03 12:00",
    ),
    Situation(
        "what waits no longer waits when it has come round again",
        THREE_WEEKS + RED + dressing("05-26 07:00"),
        ["02 10:00 unconfirmed dressing", "09 10:00 due dressing", "16 10:00 planned dressing"],
        now="06-09 08:00",
    ),
    Situation(
        "two people report one dressing: it is one",
        THREE_WEEKS + RED + dressing("05-26 07:00"),
        ["02 11:00 done dressing was 02 10:00", "09 10:00 planned dressing", "16 10:00 planned dressing"],
        ["06-02 11:00 task-done name=dressing", "06-02 11:10 task-done name=dressing"],
        "06-02 12:00",
    ),
    Situation(
        "a plan that begins with a dressing overdue has it due at once",
        RED + dressing("05-20 10:00"),
        ["01 08:00 due dressing"],
    ),
    Situation(
        "put off by agreement, and counted from then",
        THREE_WEEKS + RED + dressing(),
        ["09 16:00 planned dressing", "16 10:00 planned dressing"],
        [PUT_OFF],
        "06-03 13:00",
    ),
    Situation(
        "somebody said that it is not to be done this time",
        THREE_WEEKS + RED + dressing(),
        ["08 10:00 skipped dressing", "15 10:00 planned dressing"],
        ["06-03 12:00 task-skipped name=dressing planned_for=06-08T10:00"],
        "06-03 13:00",
    ),
    Situation(
        "a report that was taken back leaves nothing",
        THREE_WEEKS + RED + dressing(),
        ["08 10:00 planned dressing", "15 10:00 planned dressing"],
        ["06-04 15:00 task-done name=dressing key=x", "06-04 15:01 withdrawn withdraws=x"],
        "06-04 16:00",
    ),
    Situation(
        "fixed days: done the evening before, Monday's is done",
        THREE_WEEKS + RED + labs(),
        ["01 09:00 unconfirmed labs", "07 20:00 done labs was 08 09:00", "15 09:00 planned labs"],
        ["06-07 20:00 task-done name=labs"],
        "06-07 21:00",
    ),
    Situation(
        "fixed days: one more on Wednesday is one more, and Monday's stands",
        THREE_WEEKS + RED + labs(),
        [
            "01 09:10 done labs was 01 09:00",
            "03 09:30 done labs besides",
            "08 09:00 planned labs",
            "15 09:00 planned labs",
        ],
        ["06-01 09:10 task-done name=labs", "06-03 09:30 task-done name=labs"],
        "06-03 21:00",
    ),
    Situation(
        "fixed days: nobody recorded Monday, and it was done on Wednesday: Monday's, late",
        THREE_WEEKS + RED + labs(),
        ["03 09:30 late labs was 01 09:00", "08 09:00 planned labs", "15 09:00 planned labs"],
        ["06-03 09:30 task-done name=labs"],
        "06-03 21:00",
    ),
    Situation(
        "whichever comes first: the weekday, although it was changed on Wednesday",
        THREE_WEEKS + RED + dressing("05-31 10:00", 7, 'weekdays = ["Mon"]'),
        [
            "01 10:20 done dressing was 01 10:00",
            "03 09:30 done dressing besides",
            "08 10:00 planned dressing",
            "15 10:00 planned dressing",
        ],
        ["06-01 10:20 task-done name=dressing", "06-03 09:30 task-done name=dressing"],
        "06-03 21:00",
    ),
    Situation(
        "whichever comes first: the interval, and the weekday stands besides",
        THREE_WEEKS + RED + dressing("06-01 07:00", 4, 'weekdays = ["Mon"]'),
        [
            "01 10:00 due dressing",
            "05 10:00 planned dressing",
            "08 10:00 planned dressing",
            "12 10:00 planned dressing",
            "15 10:00 planned dressing",
            "19 10:00 planned dressing",
        ],
    ),
    Situation(
        "a holiday: the day before",
        THREE_WEEKS + RED + labs('weekdays = ["Fri"]', more='not_on = ["2026-06-05"]\ninstead = "the day before"'),
        ["04 09:00 planned labs", "12 09:00 planned labs", "19 09:00 planned labs"],
    ),
    Situation(
        "two holidays in a row: the day after both",
        THREE_WEEKS
        + RED
        + labs('weekdays = ["Fri"]', more='not_on = ["2026-06-05", "2026-06-06"]\ninstead = "the day after"'),
        ["07 09:00 planned labs", "12 09:00 planned labs", "19 09:00 planned labs"],
    ),
    Situation(
        "a holiday: not at all",
        THREE_WEEKS + RED + labs('weekdays = ["Fri"]', more='not_on = ["2026-06-05"]\ninstead = "not at all"'),
        ["12 09:00 planned labs", "19 09:00 planned labs"],
    ),
    Situation(
        "a holiday moves a dressing forward, and the next counts from then",
        THREE_WEEKS + RED + dressing(more='not_on = ["2026-06-08"]\ninstead = "the day before"'),
        ["07 10:00 planned dressing", "14 10:00 planned dressing", "21 10:00 planned dressing"],
    ),
    Situation(
        "two holidays in a row that fall on its day: the week after both",
        THREE_WEEKS
        + RED
        + labs('weekdays = ["Fri"]', more='not_on = ["2026-06-05", "2026-06-12"]\ninstead = "not at all"'),
        ["19 09:00 planned labs"],
    ),
    Situation(
        "every day, and a holiday that would fall on the day that has its own: left out, not doubled",
        '[plan]\nend = "2026-06-08 08:00"\n'
        + RED
        + dressing(days=1, more='not_on = ["2026-06-05"]\ninstead = "the day before"'),
        [f"{day:02d} 10:00 planned dressing" for day in (2, 3, 4, 6, 7)],
    ),
    Situation(
        "put off, and heparin stopped meanwhile: it stays put off",
        THREE_WEEKS + RED + dressing("05-28 07:00"),
        ["06 10:00 planned dressing", "13 10:00 planned dressing", "20 10:00 planned dressing"],
        [
            "06-03 12:00 task-put-off name=dressing planned_for=06-04T10:00 until=06-06T10:00",
            "06-05 09:00 heparin-stopped",
        ],
        "06-05 10:00",
    ),
    Situation(
        "put off beyond a revision that has it too, and done then",
        '[plan]\nrevision = 2\ntakes_effect = "2026-06-05 08:00"\nend = "2026-06-22 08:00"\n'
        + RED
        + dressing("05-28 07:00"),
        ["06 09:50 done dressing was 06 10:00", "13 10:00 planned dressing", "20 10:00 planned dressing"],
        [
            "06-03 12:00 task-put-off name=dressing planned_for=06-04T10:00 until=06-06T10:00",
            "06-06 09:50 task-done name=dressing",
        ],
        "06-06 10:00",
        [THREE_WEEKS + RED + dressing("05-28 07:00")],
    ),
    Situation(
        "put off and done then: it is that one that was done",
        THREE_WEEKS + RED + dressing(),
        ["12 15:50 done dressing was 12 16:00", "19 10:00 planned dressing"],
        [
            "06-03 12:00 task-put-off name=dressing planned_for=06-08T10:00 until=06-12T16:00",
            "06-12 15:50 task-done name=dressing",
        ],
        "06-12 17:00",
    ),
    Situation(
        "a visit put off beyond the next one leaves that one where it is",
        THREE_WEEKS
        + RED
        + task("visit", "visit", 'moments = ["2026-06-03 14:00", "2026-06-05 14:00", "2026-06-10 14:00"]'),
        ["05 14:05 done visit was 05 14:00", "06 09:40 done visit was 06 09:30", "10 14:00 planned visit"],
        [
            "06-02 10:00 task-put-off name=visit planned_for=06-03T14:00 until=06-06T09:30",
            "06-05 14:05 task-done name=visit",
            "06-06 09:40 task-done name=visit",
        ],
        "06-06 11:00",
    ),
    Situation(
        "a second bag out in one morning is one more, and tomorrow's comes out tomorrow",
        DAILY.replace("06-06", "06-03") + fridge(),
        ["02 07:00 done bag out", "02 08:00 done bag out besides", "03 07:00 planned bag out"],
        ["06-02 07:00 task-done name=bag_out", "06-02 08:00 task-done name=bag_out"],
        "06-02 08:30",
    ),
    Situation(
        "a dose that began early had its bag out before that, or not at all",
        DAILY.replace("06-06", "06-03") + fridge(),
        ["02 03:00 unconfirmed bag out", "03 07:00 planned bag out"],
        ["06-02 05:00 started order=cefazolin dose=2026-06-02T09:00"],
        "06-02 06:40",
    ),
    Situation(
        "not to be done for a dose that is then put off: still not to be done",
        DAILY.replace("06-06", "06-03") + fridge(),
        ["02 09:00 skipped bag out", "03 07:00 planned bag out"],
        [
            "06-01 20:00 task-skipped name=bag_out planned_for=06-02T07:00",
            "06-02 06:00 delayed order=cefazolin dose=2026-06-02T09:00 until=06-02T11:00",
        ],
        "06-02 06:30",
    ),
    Situation(
        "a second start by mistake asks for no bag that nobody could have known of",
        DAILY.replace("06-06", "06-03") + fridge(),
        ["02 07:00 unconfirmed bag out", "03 07:00 planned bag out"],
        [
            "06-02 09:00 started order=cefazolin dose=2026-06-02T09:00",
            "06-02 09:30 started order=cefazolin dose=2026-06-02T09:00 again=yes",
        ],
        "06-02 09:35",
    ),
    Situation(
        "a revision brings in what would have come before it: nothing is asked for that nobody was told of",
        '[plan]\nrevision = 2\ntakes_effect = "2026-06-02 08:00"\n' + DAILY.replace("06-06", "06-03") + fridge(),
        ["03 07:00 planned bag out"],
        [],
        "06-02 08:30",
        [DAILY.replace("06-06", "06-03")],
    ),
    Situation(
        "a task is called by its short name before another by its label",
        THREE_WEEKS + RED + dressing("05-26 07:00") + task("labs", "visit", 'weekdays = ["Mon"]\nat = "09:00"'),
        [
            "01 09:00 unconfirmed labs",
            "02 10:05 done dressing was 02 10:00",
            "08 09:00 due labs",
            "09 10:00 planned dressing",
            "15 09:00 planned labs",
            "16 10:00 planned dressing",
        ],
        ["06-02 10:05 task-done name=DRESSING"],
        "06-08 08:00",
    ),
    Situation(
        "a connector is changed with each draw, and else after its days",
        THREE_WEEKS
        + RED
        + labs('moments = ["2026-06-04 09:00"]').replace('at = "09:00"\n', "")
        + task(
            "connector",
            "needleless connector",
            'every_days = 7\nat = "10:00"\nlast_done = "2026-06-01 07:00"\nwith_tasks = ["labs"]',
        ),
        [
            "04 09:00 planned connector",
            "04 09:00 planned labs",
            "11 10:00 planned connector",
            "18 10:00 planned connector",
        ],
    ),
    Situation(
        "the draw was late: the connector went with it",
        THREE_WEEKS
        + RED
        + labs('moments = ["2026-06-04 09:00"]').replace('at = "09:00"\n', "")
        + task(
            "connector",
            "needleless connector",
            'every_days = 7\nat = "10:00"\nlast_done = "2026-06-01 07:00"\nwith_tasks = ["labs"]',
        ),
        [
            "05 15:00 late labs was 04 09:00",
            "05 15:00 due connector",
            "12 10:00 planned connector",
            "19 10:00 planned connector",
        ],
        ["06-05 15:00 task-done name=labs"],
        "06-05 16:00",
    ),
    Situation(
        "every 96 hours is 96 hours, from when it was really done",
        THREE_WEEKS + RED + every_hours(96, "06-01 07:00"),
        [
            "05 11:30 late set was 05 07:00",
            "09 11:30 planned set",
            "13 11:30 planned set",
            "17 11:30 planned set",
            "21 11:30 planned set",
        ],
        ["06-05 11:30 task-done name=set"],
        "06-05 12:00",
    ),
    Situation(
        "the bag comes out two hours before each dose",
        DAILY.replace("06-06", "06-03") + fridge(),
        ["02 07:00 planned bag out", "03 07:00 planned bag out"],
    ),
    Situation(
        "a dose is put off: its bag stays cold until two hours before",
        DAILY.replace("06-06", "06-03") + fridge(),
        ["02 09:00 planned bag out", "03 07:00 planned bag out"],
        ["06-02 06:00 delayed order=cefazolin dose=2026-06-02T09:00 until=06-02T11:00"],
        "06-02 06:30",
    ),
    Situation(
        "a dose is not to be given: nothing comes out for it",
        DAILY.replace("06-06", "06-03") + fridge(),
        ["03 07:00 planned bag out"],
        ["06-02 06:00 skipped order=cefazolin dose=2026-06-02T09:00"],
        "06-02 06:30",
    ),
    Situation(
        "an order is held: nothing comes out until it is released",
        DAILY.replace("06-06", "06-03") + fridge(),
        ["03 07:00 planned bag out"],
        ["06-01 20:00 held order=cefazolin", "06-02 20:00 released order=cefazolin"],
        "06-02 20:30",
    ),
    Situation(
        "the dose was started: whether its bag came out is no question any more",
        DAILY.replace("06-06", "06-03") + fridge(),
        ["02 07:00 unconfirmed bag out", "03 07:00 planned bag out"],
        ["06-02 09:00 started order=cefazolin dose=2026-06-02T09:00"],
        "06-02 09:05",
    ),
    Situation(
        "after each finish, and it moves with a late one",
        DAILY.replace("06-06", "06-02")
        + task("weigh", "weighing", 'order = "cefazolin"\nafter_finish = "30 min"\non_time_within = "1 h"'),
        ["01 11:15 planned weigh", "02 10:30 planned weigh"],
        [
            "06-01 09:00 started order=cefazolin dose=2026-06-01T09:00",
            "06-01 10:45 finished order=cefazolin dose=2026-06-01T09:00",
        ],
        "06-01 10:05",
    ),
    Situation(
        "visits at agreed moments, one of them moved by telephone",
        THREE_WEEKS + RED + task("visit", "visit", 'moments = ["2026-06-03 14:00", "2026-06-10 14:00"]'),
        ["04 09:30 planned visit", "10 14:00 planned visit"],
        ["06-02 10:00 task-put-off name=visit planned_for=06-03T14:00 until=06-04T09:30"],
        "06-02 11:00",
    ),
    Situation(
        "its last day ends it",
        THREE_WEEKS + RED + labs(more="last_day = 2026-06-08"),
        ["01 09:00 planned labs", "08 09:00 planned labs"],
        now="05-31 12:00",
    ),
    Situation(
        "due in a stay in hospital: asked for at home again, for nobody has said that it was done there",
        THREE_WEEKS + RED + dressing(),
        ["09 10:00 due dressing", "16 10:00 planned dressing"],
        ["06-07 10:00 held", "06-09 10:00 released"],
        "06-09 11:00",
    ),
    Situation(
        "nothing is due after the line is out",
        THREE_WEEKS + RED + dressing(),
        ["08 10:00 due dressing"],
        ["06-14 10:00 line-removed"],
        "06-08 11:00",
    ),
    Situation(
        "a revision makes it every 3 days, counted from when it was last done",
        '[plan]\nrevision = 2\ntakes_effect = "2026-06-05 08:00"\nend = "2026-06-15 08:00"\n' + RED + dressing(days=3),
        [
            "03 11:00 done dressing was 08 10:00",
            "06 10:00 planned dressing",
            "09 10:00 planned dressing",
            "12 10:00 planned dressing",
        ],
        ["06-03 11:00 task-done name=dressing"],
        "06-05 09:00",
        ['[plan]\nend = "2026-06-15 08:00"\n' + RED + dressing()],
    ),
    Situation(
        "a revision without it ends it, and what was done stays",
        '[plan]\nrevision = 2\ntakes_effect = "2026-06-05 08:00"\nend = "2026-06-15 08:00"\n' + RED,
        ["03 11:00 done dressing was 08 10:00"],
        ["06-03 11:00 task-done name=dressing"],
        "06-05 09:00",
        ['[plan]\nend = "2026-06-15 08:00"\n' + RED + dressing()],
    ),
    Situation(
        "on a journey the dressing keeps its hour on the clock of the place",
        '[plan]\nend = "2026-06-15 08:00"\n[[zone_change]]\nat = "2026-06-05 12:00"\nzone = "Europe/Dublin"\n'
        + RED
        + dressing(),
        ["08 10:00 planned dressing", "15 10:00 planned dressing"],  # 10:00 in Dublin, 04:00 in Chicago
    ),
    Situation(
        "the clocks go back: by the date it keeps its hour, by hours it does not",
        '[plan]\nstart = "2026-10-26 08:00"\ntakes_effect = "2026-10-26 08:00"\nend = "2026-11-03 08:00"\n'
        + RED.replace("06-01", "10-26")
        + dressing("10-26 07:00")
        + every_hours(168, "10-26 07:00"),
        ["02 06:00 planned set", "02 10:00 planned dressing"],
        now="10-26 08:00",
    ),
    Situation(
        "put off, and then its dose is: it goes with the dose again",
        THREE_DOSES + fridge(),
        ["02 11:00 planned bag out", "03 07:00 planned bag out"],
        [
            "06-02 05:00 task-put-off name=bag_out planned_for=06-02T07:00 until=06-02T08:00",
            "06-02 06:00 delayed order=cefazolin dose=2026-06-02T09:00 until=06-02T13:00",
        ],
        "06-02 06:30",
    ),
    Situation(
        "its dose is put off, and then it is: it stands where it was put last",
        THREE_DOSES + fridge(),
        ["02 11:30 planned bag out", "03 07:00 planned bag out"],
        [
            "06-02 05:00 delayed order=cefazolin dose=2026-06-02T09:00 until=06-02T13:00",
            "06-02 06:00 task-put-off name=bag_out planned_for=06-02T11:00 until=06-02T11:30",
        ],
        "06-02 06:30",
    ),
    Situation(
        "put off, and its dose put off twice, the second time to where it was: the later word counts",
        THREE_DOSES + fridge(),
        ["02 07:00 planned bag out", "03 07:00 planned bag out"],
        [
            "06-02 05:00 delayed order=cefazolin dose=2026-06-02T09:00 until=06-02T13:00",
            "06-02 05:10 task-put-off name=bag_out planned_for=06-02T11:00 until=06-02T11:30",
            "06-02 05:20 delayed order=cefazolin dose=2026-06-02T09:00 until=06-02T09:00",
        ],
        "06-02 05:30",
    ),
    Situation(
        "after a finish, put off, and then the dose finished later than that",
        THREE_DOSES + WEIGH,
        ["01 10:30 unconfirmed weigh", "02 13:30 planned weigh", "03 10:30 planned weigh"],
        [
            "06-02 08:00 task-put-off name=weigh planned_for=06-02T10:30 until=06-02T11:30",
            "06-02 09:00 started order=cefazolin dose=2026-06-02T09:00",
            "06-02 13:00 finished order=cefazolin dose=2026-06-02T09:00",
        ],
        "06-02 12:20",
    ),
    Situation(
        "a revision brings forward what was still to come, to before itself: due at once",
        revision("06-02 06:00") + THREE_DOSES + fridge("4 h"),
        ["02 06:00 due bag out", "03 05:00 planned bag out"],
        now="06-02 06:10",
        earlier=[THREE_WEEKS + THREE_DOSES + fridge("2 h")],
    ),
    Situation(
        "a revision puts later what nobody did: it is one, and later",
        revision("06-02 06:00") + THREE_DOSES + fridge("2 h"),
        ["02 07:00 planned bag out", "03 07:00 planned bag out"],
        now="06-02 06:10",
        earlier=[THREE_WEEKS + THREE_DOSES + fridge("4 h")],
    ),
    Situation(
        "a revision puts later what was done: it stays done",
        revision("06-02 06:00") + THREE_DOSES + fridge("2 h"),
        ["02 05:10 done bag out was 02 05:00", "03 07:00 planned bag out"],
        ["06-02 05:10 task-done name=bag_out"],
        "06-02 06:10",
        [THREE_WEEKS + THREE_DOSES + fridge("4 h")],
    ),
    Situation(
        "a revision puts later what is not to be done: still not to be done",
        revision("06-02 04:00") + THREE_DOSES + fridge("2 h"),
        ["02 07:00 skipped bag out", "03 07:00 planned bag out"],
        ["06-02 03:00 task-skipped name=bag_out planned_for=06-02T05:00"],
        "06-02 06:10",
        [THREE_WEEKS + THREE_DOSES + fridge("4 h")],
    ),
    Situation(
        "done just before a revision: the nearest one, though it comes under the new one",
        revision("06-02 06:55") + EVERY_8_HOURS + fridge(),
        [
            "01 15:00 unconfirmed bag out",
            "01 23:00 unconfirmed bag out",
            "02 06:50 done bag out was 02 07:00",
            "02 15:00 planned bag out",
        ],
        ["06-02 06:50 task-done name=bag_out"],
        "06-02 07:20",
        [THREE_WEEKS + EVERY_8_HOURS + fridge()],
    ),
    Situation(
        "done just after a revision: the nearest one, though it came under the old one",
        revision("06-02 07:10") + EVERY_8_HOURS + fridge(),
        [
            "01 15:00 unconfirmed bag out",
            "01 23:00 unconfirmed bag out",
            "02 07:20 done bag out was 02 07:00",
            "02 15:00 planned bag out",
        ],
        ["06-02 07:20 task-done name=bag_out"],
        "06-02 07:30",
        [THREE_WEEKS + EVERY_8_HOURS + fridge()],
    ),
    Situation(
        "a revision brings a fixed day's hour forward, to before itself: due at once",
        revision("06-08 10:00") + RED + labs(clock="09:00"),
        ["01 12:00 unconfirmed labs", "08 10:00 due labs", "15 09:00 planned labs"],
        now="06-08 10:10",
        earlier=[THREE_WEEKS + RED + labs(clock="12:00")],
    ),
    Situation(
        "a revision puts a fixed day's hour later, and nobody did it: it is one, and later",
        revision("06-08 10:00") + RED + labs(clock="12:00"),
        ["01 09:00 unconfirmed labs", "08 12:00 due labs", "15 12:00 planned labs"],
        now="06-08 10:10",
        earlier=[THREE_WEEKS + RED + labs(clock="09:00")],
    ),
    Situation(
        "a revision puts a fixed day's hour later, and it was done: it stays done",
        revision("06-08 10:00") + RED + labs(clock="12:00"),
        ["01 09:00 unconfirmed labs", "08 09:05 done labs was 08 09:00", "15 12:00 planned labs"],
        ["06-08 09:05 task-done name=labs"],
        "06-08 10:10",
        [THREE_WEEKS + RED + labs(clock="09:00")],
    ),
    Situation(
        "a revision changes a fixed day's hour, and it is not to be done: still not to be done",
        revision("06-06 10:00") + RED + labs(clock="12:00"),
        ["01 09:00 overdue labs", "08 12:00 skipped labs", "15 12:00 planned labs"],
        ["06-05 09:05 task-skipped name=labs planned_for=06-08T09:00"],
        "06-06 10:10",
        [THREE_WEEKS + RED + labs(clock="09:00")],
    ),
    Situation(
        "a revision moves a holiday's to the day before, which is over: due at once",
        revision("06-04 12:00")
        + RED
        + labs('weekdays = ["Fri"]', more='not_on = ["2026-06-05"]\ninstead = "the day before"'),
        ["04 12:00 due labs", "12 09:00 planned labs", "19 09:00 planned labs"],
        now="06-04 12:10",
        earlier=[THREE_WEEKS + RED + labs('weekdays = ["Fri"]')],
    ),
    Situation(
        "fixed days, and done after a revision that changes nothing of them: it was the one before it",
        revision("06-08 10:00") + RED + labs(),
        ["01 09:00 unconfirmed labs", "08 10:30 done labs was 08 09:00", "15 09:00 planned labs"],
        ["06-08 10:30 task-done name=labs"],
        "06-08 10:40",
        [THREE_WEEKS + RED + labs()],
    ),
    Situation(
        "fixed days, and a revision an hour before: done between, and not one more",
        revision("06-08 08:00") + RED + labs(),
        ["01 09:00 unconfirmed labs", "08 08:20 done labs was 08 09:00", "15 09:00 planned labs"],
        ["06-08 08:20 task-done name=labs"],
        "06-08 08:30",
        [THREE_WEEKS + RED + labs()],
    ),
    Situation(
        "a dressing that was due is done after a revision: it was that one, and the next counts from then",
        revision("06-09 08:00") + RED + dressing(),
        ["09 09:00 late dressing was 08 10:00", "16 10:00 planned dressing"],
        ["06-09 09:00 task-done name=dressing"],
        "06-09 10:00",
        [THREE_WEEKS + RED + dressing()],
    ),
    Situation(
        "a revision states a later doing than was recorded: it counts from that, not from what nobody recorded",
        revision("06-10 08:00") + RED + dressing("06-06 15:20", 5),
        [
            "08 10:00 overdue dressing",
            "11 10:00 planned dressing",
            "16 10:00 planned dressing",
            "21 10:00 planned dressing",
        ],
        now="06-10 09:00",
        earlier=[THREE_WEEKS + RED + dressing()],
    ),
    Situation(
        "the same where what it would have come to was left out",
        revision("06-10 08:00") + RED + dressing("06-06 15:20", 5),
        [
            "08 10:00 skipped dressing",
            "11 10:00 planned dressing",
            "16 10:00 planned dressing",
            "21 10:00 planned dressing",
        ],
        ["06-08 08:00 task-skipped name=dressing planned_for=06-08T10:00"],
        "06-10 09:00",
        [THREE_WEEKS + RED + dressing()],
    ),
    Situation(
        "a later doing that was recorded outweighs what a revision states",
        revision("06-10 08:00") + RED + dressing("06-06 15:20", 5),
        ["09 09:00 late dressing was 08 10:00", "14 10:00 planned dressing", "19 10:00 planned dressing"],
        ["06-09 09:00 task-done name=dressing"],
        "06-10 09:00",
        [THREE_WEEKS + RED + dressing()],
    ),
    Situation(
        "a revision corrects what an earlier one stated as last done: due at once",
        revision("06-05 08:00") + RED + dressing("05-26 07:00"),
        ["05 08:00 due dressing", "12 10:00 planned dressing", "19 10:00 planned dressing"],
        now="06-05 08:10",
        earlier=[THREE_WEEKS + RED + dressing()],
    ),
    Situation(
        "left out, and put off the same day: it is that one, and no longer left out",
        THREE_WEEKS + RED + dressing(),
        ["08 16:00 due dressing", "15 10:00 planned dressing"],
        [LEFT_OUT, AFTER_ALL],
        "06-08 09:00",
    ),
    Situation(
        "left out, put off the same day, and done then: the next comes a week later",
        THREE_WEEKS + RED + dressing(),
        ["08 16:05 done dressing was 08 16:00", "15 10:00 planned dressing"],
        [LEFT_OUT, AFTER_ALL, "06-08 16:05 task-done name=dressing"],
        "06-08 17:00",
    ),
    Situation(
        "left out days before, and put off to the day itself, named by its own time",
        THREE_WEEKS + RED + dressing(),
        ["08 16:00 planned dressing", "15 10:00 planned dressing"],
        [
            LEFT_OUT.replace("06-08 08:00", "06-05 08:00"),
            "06-07 08:00 task-put-off name=dressing planned_for=06-08T10:00 until=06-08T16:00",
        ],
        "06-07 09:00",
    ),
    Situation(
        "put off, and then left out: left out",
        THREE_WEEKS + RED + dressing(),
        ["08 16:00 skipped dressing", "15 10:00 planned dressing"],
        [
            "06-08 07:00 task-put-off name=dressing planned_for=06-08T10:00 until=06-08T16:00",
            LEFT_OUT.replace("T10:00", "T16:00"),
        ],
        "06-08 09:00",
    ),
    Situation(
        "left out, and the next one put off later: it is that one that is put off",
        THREE_WEEKS + RED + dressing(),
        ["08 10:00 skipped dressing", "16 09:00 planned dressing"],
        [LEFT_OUT, "06-08 08:10 task-put-off name=dressing planned_for=06-15T10:00 until=06-16T09:00"],
        "06-08 09:00",
    ),
    Situation(
        "the next one brought forward by the whole week, and done: the one after it comes a week later, once",
        THREE_WEEKS + RED + dressing(),
        ["08 10:10 done dressing was 08 10:00", "08 16:05 done dressing was 08 16:00", "15 10:00 planned dressing"],
        [
            "06-08 10:10 task-done name=dressing",
            AFTER_ALL.replace("08:10", "12:10"),
            "06-08 16:05 task-done name=dressing",
        ],
        "06-08 17:00",
    ),
    Situation(
        "the same before it is done",
        THREE_WEEKS + RED + dressing(),
        ["08 10:10 done dressing was 08 10:00", "08 16:00 due dressing", "15 10:00 planned dressing"],
        ["06-08 10:10 task-done name=dressing", AFTER_ALL.replace("08:10", "12:10")],
        "06-08 13:00",
    ),
    Situation(
        "a bag left out, and put off the same day: it is that one, and tomorrow's comes out tomorrow",
        THREE_DOSES + fridge(),
        ["02 08:00 planned bag out", "03 07:00 planned bag out"],
        [
            "06-02 05:00 task-skipped name=bag_out planned_for=06-02T07:00",
            "06-02 06:00 task-put-off name=bag_out planned_for=06-03T07:00 until=06-02T08:00",
        ],
        "06-02 06:30",
    ),
    Situation(
        "due on one date by its interval and with another task: one, with that task",
        THREE_WEEKS + RED + WITH_LABS + labs(clock="08:15"),
        [
            "01 08:20 done labs was 01 08:15",
            "01 08:25 done connector was 01 08:20",
            "08 08:15 planned connector",
            "08 08:15 planned labs",
            "15 08:15 planned connector",
            "15 08:15 planned labs",
        ],
        ["06-01 08:20 task-done name=labs", "06-01 08:25 task-done name=connector"],
        "06-01 08:30",
    ),
    Situation(
        "the other task is left out that day: the interval's comes at its own hour",
        THREE_WEEKS + RED + WITH_LABS + labs(clock="08:15"),
        [
            "01 08:15 unconfirmed connector",
            "01 08:15 unconfirmed labs",
            "08 08:00 due connector",
            "08 08:15 skipped labs",
            "15 08:15 planned connector",
            "15 08:15 planned labs",
        ],
        ["06-07 12:00 task-skipped name=labs planned_for=06-08T08:15"],
        "06-08 08:00",
    ),
    Situation(
        "the other task falls into a stay elsewhere: the interval's waits for the way home",
        THREE_WEEKS + RED + WITH_LABS + labs(clock="08:15"),
        [
            "01 08:15 unconfirmed connector",
            "01 08:15 unconfirmed labs",
            "08 08:15 skipped connector",
            "08 08:15 skipped labs",
            "09 10:00 due connector",
            "15 08:15 planned connector",
            "15 08:15 planned labs",
        ],
        ["06-07 10:00 held", "06-09 10:00 released"],
        "06-09 11:00",
    ),
    Situation(
        "after a flight its day begins where the household was at midnight, and not before the day itself",
        THREE_WEEKS
        + '[[zone_change]]\nat = "2026-06-05 12:00"\nzone = "Europe/Dublin"\n'
        + RED
        + labs('weekdays = ["Fri"]', clock="20:00"),
        ["05 20:00 planned labs", "12 20:00 planned labs", "19 20:00 planned labs"],
        now="06-04 20:00",
    ),
    Situation(
        "a date that comes again after midnight, and something put off to its second evening: due then",
        THREE_WEEKS
        + '[[zone_change]]\nat = "2026-06-05 00:30"\nzone = "Pacific/Honolulu"\n'
        + RED
        + task("visit", "visit", 'moments = ["2026-06-04 09:00"]'),
        ["04 21:00 due visit"],
        ["06-04 08:00 task-put-off name=visit planned_for=06-04T09:00 until=06-05T02:00"],
        "06-05 01:00",
    ),
    Situation(
        "a clock time over which a journey leaps moves forward by the leap",
        # On board at 08:00, when it is 14:00 in Dublin: 10:00 would be six hours later there.
        THREE_WEEKS
        + '[[zone_change]]\nat = "2026-06-05 08:00"\nzone = "Europe/Dublin"\n'
        + RED
        + labs('weekdays = ["Fri"]', clock="10:00"),
        ["05 16:00 planned labs", "12 10:00 planned labs", "19 10:00 planned labs"],
    ),
    Situation(
        "a clock time that a journey shows twice is the first, once",
        '[plan]\nend = "2026-06-07 08:00"\n[[zone_change]]\nat = "2026-06-05 12:00"\nzone = "Pacific/Honolulu"\n'
        + RED
        + labs('weekdays = ["Thu", "Fri", "Sat"]'),
        ["04 09:00 planned labs", "05 09:00 planned labs", "06 09:00 planned labs"],
    ),
)


def task_rows(schedule: Schedule, now: str) -> list[str]:
    """Show a schedule's care tasks: local day and time, status, task, and where it stood before."""
    clock, found = schedule.plan.clock, []
    for event in schedule.tasks:
        row = f"{clock.local(event.at):%d %H:%M} {task_status(event, schedule, at(now)).value} {event.care.label}"
        was = f" was {clock.local(event.planned):%d %H:%M}" if event.at != event.planned else ""
        found.append(row + (" besides" if event.besides else was))
    return found


@pytest.mark.parametrize("situation", SITUATIONS, ids=lambda situation: situation.name)
def test_what_follows(situation: Situation) -> None:
    schedule = after(situation.edits, situation.facts, situation.now, situation.earlier)
    assert task_rows(schedule, situation.now) == list(situation.rows)


def test_what_waits_on_a_journey_is_asked_about_when_the_clock_of_the_place_shows_its_hour() -> None:
    """On board at 08:00, when it is 14:00 in Dublin: 10:00 of that day would be six hours later there."""
    journey = '[[zone_change]]\nat = "2026-06-05 08:00"\nzone = "Europe/Dublin"\n'
    household = dressing("05-27 10:00").replace('"nurse"', '"household"')
    schedule = after(THREE_WEEKS + journey + RED + household, [], "06-03 12:00")
    waiting = care_matters(schedule, at("06-03 12:00"))[0]
    asked = [f"{schedule.plan.clock.local(moment):%d %H:%M}" for moment in waiting.moments]
    assert asked == ["04 10:00", "05 16:00", "06 10:00", "07 10:00", "08 10:00", "09 10:00", "10 10:00"]


def test_one_occurrence_has_one_name_in_every_revision() -> None:
    """R23: whether a revision moves it, or finds it passed."""
    for edits, earlier, now in (
        (THREE_DOSES + fridge("2 h"), THREE_DOSES + fridge("4 h"), "06-02 06:00"),
        (THREE_DOSES + fridge("4 h"), THREE_DOSES + fridge("2 h"), "06-02 06:00"),
        (RED + labs(clock="12:00"), RED + labs(clock="09:00"), "06-08 10:00"),
        (RED + labs(clock="09:00"), RED + labs(clock="12:00"), "06-08 10:00"),
    ):
        before = after(THREE_WEEKS + earlier, [])
        then = after(revision(now) + edits, [], now, [THREE_WEEKS + earlier])
        assert [event.uid for event in then.tasks] == [event.uid for event in before.tasks]
        assert [event.planned for event in then.tasks] != [event.planned for event in before.tasks]


def test_two_moments_that_the_clock_shows_alike_have_two_names() -> None:
    twice = '"2026-11-01 01:30-05:00", "2026-11-01 01:30-06:00"'
    autumn = '[plan]\nstart = "2026-10-26 08:00"\ntakes_effect = "2026-10-26 08:00"\nend = "2026-11-03 08:00"\n'
    lumen = RED.replace("06-01", "10-26")
    both = after(autumn + lumen + task("visit", "visit", f"moments = [{twice}]"), [])
    assert len({event.uid for event in both.tasks}) == len(both.tasks) == 2
    first = after(autumn + lumen + task("visit", "visit", 'moments = ["2026-11-01 01:30"]'), [])
    assert first.tasks[0].uid == both.tasks[0].uid


class Walked(tuple[TaskEvent, ...]):
    """Events that count how often somebody goes through all of them."""

    __slots__ = ()
    times: ClassVar[Counter[str]] = Counter()

    def __iter__(self) -> Iterator[TaskEvent]:
        """Go through all of them."""
        self.times["walked"] += 1
        return super().__iter__()


def test_how_each_of_many_stands_is_told_without_going_through_all_for_each() -> None:
    """A task every half hour comes 17 520 times a year."""
    schedule = after(THREE_WEEKS + RED + every_hours(6, "06-01 07:00"), [], "06-20 08:00")
    many = replace(schedule, tasks=Walked(schedule.tasks))
    assert len(many.tasks) > 60
    assert care_now(many, at("06-20 08:00")) == care_now(schedule, at("06-20 08:00"))
    assert 0 < Walked.times["walked"] < 10


# Draws through a lumen: touches of that lumen


def drawn_rows(schedule: Schedule, now: str, lumen: str = "red", day: str = "") -> list[str]:
    """Show a lumen's touches: local day and time, status, kind, steps."""
    clock = schedule.plan.clock
    return [
        f"{clock.local(touch.at):%d %H:%M} {status(touch, schedule, at(now)).value} {touch.kind.value}: {said(touch.steps)}"
        for touch in schedule.touches
        if touch.lumen == lumen and f"{clock.local(touch.at):%d}" == day
    ]


@dataclass(frozen=True)
class Draw:
    """A plan, what is recorded, and a lumen's touches of one day at ``now``."""

    name: str
    edits: str
    day: str
    rows: Sequence[str]
    facts: Sequence[str] = ()
    now: str = "06-01 08:00"
    lumen: str = "red"


BY_LUMEN = 'lumen = "red"'
DRAW_STEPS = "discard, draw trough, saline"
DRAWS_OF = (
    Draw(
        "half an hour before dose 3: flushed after, and the lock is left out because the dose follows",
        DRAWS + DAILY + trough(),
        "03",
        [
            f"03 08:30 planned draw: {DRAW_STEPS}",
            "03 09:00 planned start: saline, connect cefazolin",
            "03 10:00 planned finish: disconnect cefazolin, saline, lock heparin",
            "03 22:00 planned idle flush: saline, lock heparin",
        ],
    ),
    Draw(
        "two hours before: locked until then, and the evening flush stays within the limit",
        DRAWS + DAILY + trough(before="2 h"),
        "03",
        [
            f"03 07:00 planned draw: {DRAW_STEPS}, lock heparin",
            "03 09:00 planned start: saline, connect cefazolin",
            "03 10:00 planned finish: disconnect cefazolin, saline, lock heparin",
            "03 22:00 planned idle flush: saline, lock heparin",
        ],
    ),
    Draw(
        "at the start itself: one touch, blood first",
        DRAWS + DAILY + trough(before="0 min"),
        "03",
        [
            f"03 09:00 planned start: {DRAW_STEPS}, saline, connect cefazolin",
            "03 10:00 planned finish: disconnect cefazolin, saline, lock heparin",
            "03 22:00 planned idle flush: saline, lock heparin",
        ],
    ),
    Draw(
        "the dose is put off to 11:00: its draw goes with it, and the lumen is not left beyond its limit",
        DRAWS + DAILY + trough(),
        "03",
        [
            "03 10:00 planned idle flush: saline, lock heparin",
            f"03 10:30 planned draw: {DRAW_STEPS}",
            "03 11:00 planned start: saline, connect cefazolin",
            "03 12:00 planned finish: disconnect cefazolin, saline, lock heparin",
        ],
        ["06-03 06:00 delayed order=cefazolin dose=2026-06-03T09:00 until=06-03T11:00"],
        "06-03 06:30",
    ),
    Draw(
        "while it runs: stopped for 20 minutes, and it finishes that much later",
        DRAWS
        + DAILY
        + labs('moments = ["2026-06-03 09:30"]', more='lumen = "red"\npauses_infusion = "20 min"').replace(
            'at = "09:00"\n', ""
        ),
        "03",
        [
            "03 09:00 planned start: saline, connect cefazolin",
            "03 09:30 planned draw: pause cefazolin, discard, draw labs, saline, resume cefazolin",
            "03 10:20 planned finish: disconnect cefazolin, saline, lock heparin",
            "03 22:20 planned idle flush: saline, lock heparin",
        ],
    ),
    Draw(
        "drawn late, in words that name the lumen only: it was the planned one, and its flush is outstanding",
        DRAWS + DAILY + labs('moments = ["2026-06-03 14:00"]', more=BY_LUMEN).replace('at = "09:00"\n', ""),
        "03",
        [
            "03 09:00 done start: saline, connect cefazolin",
            "03 10:00 done finish: disconnect cefazolin, saline, lock heparin",
            "03 16:30 overdue draw: saline, lock heparin",
        ],
        [
            "06-03 09:00 started order=cefazolin dose=2026-06-03T09:00",
            "06-03 10:00 finished order=cefazolin dose=2026-06-03T09:00 report=x",
            "06-03 10:00 flushed lumen=red report=x",
            "06-03 16:30 drawn lumen=red",
        ],
        "06-03 17:00",
    ),
    Draw(
        "drawn and flushed: the limit counts from that flush",
        DRAWS + DAILY + labs('moments = ["2026-06-03 14:00"]', more=BY_LUMEN).replace('at = "09:00"\n', ""),
        "03",
        [
            "03 09:00 done start: saline, connect cefazolin",
            "03 10:00 done finish: disconnect cefazolin, saline, lock heparin",
            "03 14:05 done draw: saline, lock heparin",
        ],
        [
            "06-03 09:00 started order=cefazolin dose=2026-06-03T09:00",
            "06-03 10:00 finished order=cefazolin dose=2026-06-03T09:00 report=x",
            "06-03 10:00 flushed lumen=red report=x",
            "06-03 14:05 task-done name=labs report=y key=y.1",
            "06-03 14:05 drawn lumen=red report=y key=y.2",
            "06-03 14:10 flushed lumen=red",
        ],
        "06-03 17:00",
    ),
    Draw(
        "a draw keeps an idle lumen within its limit",
        DRAWS + BLUE + labs('moments = ["2026-06-03 14:00"]', more='lumen = "blue"').replace('at = "09:00"\n', ""),
        "03",
        [
            "03 07:00 planned idle flush: saline, lock heparin",
            "03 14:00 planned draw: discard, draw labs, saline, lock heparin",
        ],
        lumen="blue",
    ),
    Draw(
        "heparin was stopped: the draw ends in saline",
        DRAWS + BLUE + labs('moments = ["2026-06-03 14:00"]', more='lumen = "blue"').replace('at = "09:00"\n', ""),
        "03",
        [
            "03 07:00 planned idle flush: lock saline",
            "03 14:00 planned draw: discard, draw labs, lock saline",
        ],
        ["06-02 12:00 heparin-stopped"],
        "06-02 13:00",
        lumen="blue",
    ),
    Draw(
        "not to be drawn this time: nothing is flushed for it",
        DRAWS + BLUE + labs('moments = ["2026-06-03 14:00"]', more='lumen = "blue"').replace('at = "09:00"\n', ""),
        "03",
        [
            "03 07:00 planned idle flush: saline, lock heparin",
            "03 14:00 skipped draw: ",
            "03 19:00 planned idle flush: saline, lock heparin",
        ],
        ["06-02 12:00 task-skipped name=labs planned_for=06-03T14:00"],
        "06-02 13:00",
        lumen="blue",
    ),
    Draw(
        "the lumen is suspended after swelling: nothing is offered, not even the draw",
        DRAWS + BLUE + labs('moments = ["2026-06-02 14:00"]', more='lumen = "blue"').replace('at = "09:00"\n', ""),
        "02",
        ["02 14:00 planned draw: "],
        ["06-01 12:00 problem lumen=blue sign=swelling"],
        "06-01 13:00",
        lumen="blue",
    ),
    Draw(
        "a lock that must not be flushed in is drawn out before blood is",
        DRAWS
        + BLUE
        + 'flush_through = "withdraw first"\nwithdraw_volume = "5 mL"\n'
        + labs('moments = ["2026-06-03 14:00"]', more='lumen = "blue"').replace('at = "09:00"\n', ""),
        "03",
        [
            "03 07:00 planned idle flush: withdraw, saline, lock heparin",
            "03 14:00 planned draw: withdraw, discard, draw labs, saline, lock heparin",
        ],
        lumen="blue",
    ),
)


@pytest.mark.parametrize("draw", DRAWS_OF, ids=lambda draw: draw.name)
def test_a_draw_is_a_touch_of_its_lumen(draw: Draw) -> None:
    schedule = after(draw.edits, draw.facts, draw.now)
    assert drawn_rows(schedule, draw.now, draw.lumen, draw.day) == list(draw.rows)


def test_a_suspended_lumen_says_why_its_draw_is_not_offered() -> None:
    edits = DRAWS + BLUE + labs('moments = ["2026-06-02 14:00"]', more='lumen = "blue"').replace('at = "09:00"\n', "")
    (draw,) = of_kind(after(edits, ["06-01 12:00 problem lumen=blue sign=swelling"]), TouchKind.DRAW, "blue")
    assert any(ask.why in BLOCKS for ask in draw.asks)


def test_a_draw_into_which_a_late_dose_runs_is_asked_about_first() -> None:
    edits = DRAWS + DAILY + labs('moments = ["2026-06-03 10:30"]', more=BY_LUMEN).replace('at = "09:00"\n', "")
    late = ["06-03 09:50 started order=cefazolin dose=2026-06-03T09:00"]
    (draw,) = of_kind(after(edits, late, "06-03 09:55"), TouchKind.DRAW)
    assert [ask.why for ask in draw.asks] == [AskWhy.OVERLAP]
    (before,) = of_kind(after(edits, []), TouchKind.DRAW)
    assert not before.asks


ENDS_10 = at("06-03 10:00")
PAUSING = labs('moments = ["2026-06-03 09:30"]', more='lumen = "red"\npauses_infusion = "20 min"').replace(
    'at = "09:00"\n', ""
)


@pytest.mark.parametrize(
    ("edits", "facts", "later"),
    [
        (PAUSING, [], 20),
        (PAUSING, ["06-02 12:00 task-skipped name=labs planned_for=06-03T09:30"], 0),
        (
            BLUE + PAUSING,
            ["06-03 09:31 drawn lumen=blue report=y key=y.1", "06-03 09:31 task-done name=labs report=y key=y.2"],
            0,
        ),
        (PAUSING, ["06-02 12:00 problem lumen=red sign=swelling"], 0),
        (PAUSING + PAUSING.replace("labs", "level"), [], 20),
        (PAUSING + PAUSING.replace("labs", "level").replace("09:30", "10:10"), [], 40),
    ],
    ids=[
        "planned",
        "skipped",
        "drawn through another lumen",
        "the lumen is suspended",
        "two at one instant",
        "one in the time added",
    ],
)
def test_a_finish_moves_only_by_what_really_stops_the_infusion(edits: str, facts: list[str], later: int) -> None:
    """R15: a finish that is asked for too late means an empty bag."""
    schedule = after(DRAWS + DAILY + edits, facts, "06-03 06:00")
    ends = {dose.end for dose in schedule.doses["cefazolin"] if dose.key == "2026-06-03T09:00"}
    assert ends == {ENDS_10 + later}


def test_a_draw_while_the_infusion_stands_is_asked_about_and_resumes_nothing() -> None:
    dose = "order=cefazolin dose=2026-06-03T09:00"
    facts = [f"06-03 09:00 started {dose}", f"06-03 09:25 interrupted {dose}"]
    (draw,) = of_kind(after(DRAWS + DAILY + PAUSING, facts, "06-03 09:26"), TouchKind.DRAW)
    assert [ask.why for ask in draw.asks] == [AskWhy.OVERLAP]
    assert "resume" not in said(draw.steps)


def test_no_idle_flush_leans_on_a_draw_that_must_be_asked_about() -> None:
    """R11, R16: the limit is kept as if that draw did not take place."""
    edits = DRAWS + BLUE + labs('moments = ["2026-06-02 14:00"]', more='lumen = "blue"').replace('at = "09:00"\n', "")
    facts = [
        "06-01 19:00 flushed lumen=blue",
        "06-02 07:00 flushed lumen=blue",
        "06-02 08:00 problem lumen=blue sign=no_blood_return",
    ]
    schedule = after(edits, facts, "06-02 08:30")
    ahead = [touch.at for touch in of_kind(schedule, TouchKind.IDLE_FLUSH, "blue") if touch.at > at("06-02 08:00")]
    assert ahead[0] == at("06-02 19:00")


def test_a_trough_before_a_dose_that_must_be_asked_about_is_asked_about_too() -> None:
    edits = DRAWS + DAILY.replace('"8 h"', '"20 h"') + trough()
    facts = ["06-02 16:00 started order=cefazolin dose=2026-06-02T09:00"]
    schedule = after(edits, facts, "06-02 16:30")
    (draw,) = of_kind(schedule, TouchKind.DRAW)
    assert [ask.why for ask in draw.asks] == [AskWhy.SPACING]


def test_a_revision_without_the_draw_and_one_that_brings_it_in_break_nothing() -> None:
    """R14, R19: what the new revision dropped and lies ahead is gone; what it brings in does not lie before it."""
    later = '[plan]\nrevision = 2\ntakes_effect = "2026-06-03 12:00"\n'
    post = labs(more='lumen = "red"').replace(
        'weekdays = ["Mon"]\nat = "09:00"', TIED.replace("before_dose", "after_finish").replace('"1 h"', '"5 h"', 1)
    )
    dropped = after(later + DAILY, [], "06-03 12:30", [DRAWS + DAILY + post])
    drawn = [dropped.plan.clock.local(touch.at) for touch in dropped.touches if touch.tasks]
    assert [f"{moment:%d %H:%M}" for moment in drawn] == ["01 15:00", "02 15:00"]
    before = trough(before="24 h", more='lumen = "red"')
    brought = after(later + DRAWS + DAILY + before, [], "06-03 12:30", [DAILY])
    assert min(touch.at for touch in brought.touches if touch.tasks) >= at("06-03 12:00")


def test_what_a_later_revision_says_of_a_draw_leaves_those_before_as_they_were() -> None:
    """R14, R19: which draw a recorded one was is judged by the plan of its time."""
    days = 'moments = ["2026-06-03 14:00", "2026-06-10 14:00"]'

    def drawn_by(more: str, kind: str = "blood draw") -> str:
        return DRAWS + RED + BLUE + task("labs", kind, f"{days}\n{more}")

    facts = ["06-03 14:10 drawn lumen=red", "06-03 14:15 flushed lumen=red"]
    for later in ('lumen = "blue"', "", None):
        edits = DRAWS + RED + BLUE if later is None else drawn_by(later)
        schedule = after(revision("06-05 08:00") + edits, facts, "06-05 09:00", [THREE_WEEKS + drawn_by(BY_LUMEN)])
        past = [touch for touch in schedule.touches if touch.kind is TouchKind.DRAW and touch.at < at("06-05 08:00")]
        assert [(touch.at, touch.tasks, touch.outcome) for touch in past] == [
            (at("06-03 14:10"), ("labs",), Outcome.DONE)
        ]
    vein = after(
        revision("06-05 08:00") + drawn_by(BY_LUMEN),
        ["06-03 14:10 task-done name=labs report=a key=a", "06-03 14:10 drawn lumen=red report=a key=b"],
        "06-05 09:00",
        [THREE_WEEKS + drawn_by("")],
    )
    assert [event.outcome for event in vein.tasks] == [Outcome.DONE]


def test_a_task_is_called_as_the_plan_of_then_calls_it() -> None:
    first, second = (dressing().replace("[task.dressing]", f"[task.{name}]") for name in ("old", "new"))
    fact = "06-03 11:00 task-done name=dressing"
    schedule = after(revision("06-05 08:00") + RED + second, [fact], "06-05 09:00", [THREE_WEEKS + RED + first])
    assert [event.task for event in schedule.tasks if event.outcome is Outcome.DONE] == ["old"]


def test_a_draw_that_ran_into_a_dose_and_is_dropped_then_is_still_told_of() -> None:
    moment = labs('moments = ["2026-06-03 11:30"]', more=BY_LUMEN).replace('at = "09:00"\n', "")
    facts = ["06-03 11:00 started order=cefazolin dose=2026-06-03T09:00"]
    edits = revision("06-04 06:00") + DRAWS + DAILY
    schedule = after(edits, facts, "06-04 07:00", [THREE_WEEKS + DRAWS + DAILY + moment])
    assert "draw-running" in {finding.code for finding in review(schedule)}


def test_one_draw_reported_by_two_people_is_one() -> None:
    edits = DRAWS + BLUE + labs('moments = ["2026-06-02 14:00"]', more='lumen = "blue"').replace('at = "09:00"\n', "")
    facts = [
        "06-02 13:50 drawn lumen=blue",
        "06-02 14:00 task-done name=labs report=y key=y.1",
        "06-02 14:00 drawn lumen=blue report=y key=y.2",
    ]
    assert len(of_kind(after(edits, facts, "06-02 14:30"), TouchKind.DRAW, "blue")) == 1


def test_a_draw_the_day_before_is_not_the_trough() -> None:
    edits = DRAWS + DAILY + trough()
    schedule = after(edits, ["06-02 10:30 drawn lumen=red", "06-02 10:35 flushed lumen=red"], "06-02 11:00")
    assert [touch.tasks for touch in of_kind(schedule, TouchKind.DRAW)] == [(), ("trough",)]


def test_a_recorded_draw_before_a_dose_needs_no_lock_either_and_nothing_is_drawn_out_twice() -> None:
    edits = DRAWS + DAILY + trough()
    (drawn,) = of_kind(after(edits, ["06-03 08:30 drawn lumen=red"], "06-03 08:31"), TouchKind.DRAW)
    assert said(drawn.steps) == "saline"
    withdraw = (
        DRAWS
        + BLUE
        + 'flush_through = "withdraw first"\nwithdraw_volume = "5 mL"\n'
        + labs('moments = ["2026-06-03 14:00"]', more='lumen = "blue"').replace('at = "09:00"\n', "")
    )
    (late,) = of_kind(after(withdraw, ["06-03 14:00 drawn lumen=blue"], "06-03 14:01"), TouchKind.DRAW, "blue")
    assert said(late.steps) == "saline, lock heparin"


def test_a_pause_that_was_recorded_counts_once() -> None:
    """S9: stopped, drawn, resumed; the finish moves by the pause that was, not by it and the planned one."""
    pause = labs('moments = ["2026-06-03 09:30"]', more='lumen = "red"\npauses_infusion = "20 min"')
    edits = DRAWS + DAILY + pause.replace('at = "09:00"\n', "")
    dose = "order=cefazolin dose=2026-06-03T09:00"
    schedule = after(
        edits,
        [
            f"06-03 09:00 started {dose}",
            f"06-03 09:30 interrupted {dose}",
            "06-03 09:32 drawn lumen=red",
            f"06-03 09:45 resumed {dose}",
        ],
        "06-03 09:50",
    )
    ends = {dose.end for dose in schedule.doses["cefazolin"] if dose.key == "2026-06-03T09:00"}
    assert ends == {at("06-03 10:15")}


def test_one_name_is_one_event_however_it_moves() -> None:
    """R23: a draw that is put off, drawn late, or merged into a start and drawn after all keeps its name."""
    edits = DRAWS + DAILY + trough(before="0 min")
    merged = after(edits, [], "06-03 06:00")
    assert [touch.kind for touch in merged.touches if touch.tasks] == [TouchKind.START]
    drawn = after(
        edits, ["06-03 09:20 task-done name=trough report=y key=y.1", "06-03 09:20 drawn lumen=red report=y key=y.2"]
    )
    late = after(edits, ["06-03 09:40 drawn lumen=red"])
    names = {touch.uid for schedule in (drawn, late) for touch in schedule.touches if touch.tasks}
    assert len(names) == 1
    plain = DRAWS + DAILY + trough()
    moved = after(plain, ["06-03 06:00 delayed order=cefazolin dose=2026-06-03T09:00 until=06-03T11:00"])
    assert names == {touch.uid for schedule in (after(plain, []), moved) for touch in schedule.touches if touch.tasks}


def test_a_dressing_keeps_its_name_when_it_moves_and_when_one_more_is_done() -> None:
    edits = THREE_WEEKS + RED + dressing()

    def names(*facts: str) -> list[str]:
        return [event.uid for event in after(edits, facts).tasks]

    planned = names()
    assert names(PUT_OFF)[:2] == planned[:2]
    assert names("06-04 15:00 task-done name=dressing")[:2] == planned[:2]
    assert len(set(names("06-04 15:00 task-done name=dressing"))) == 3


def test_a_task_of_a_dose_keeps_its_name_when_the_dose_moves() -> None:
    edits = DAILY + fridge()
    put_off = "06-02 06:00 delayed order=cefazolin dose=2026-06-02T09:00 until=06-02T11:00"
    assert {e.uid for e in after(edits, []).tasks} == {e.uid for e in after(edits, [put_off]).tasks}


def test_what_tasks_and_draws_use_up_is_counted() -> None:
    uses = 'uses = { "dressing kit" = 1 }'
    edits = (
        DRAWS
        + DAILY
        + '[supplies]\neach_draw = { "blood tube" = 2 }\n'
        + trough(more='lumen = "red"\nonly_doses = [3]\nuses = { "label" = 1 }')
        + dressing("05-26 07:00", more=uses)
    )
    schedule = after(edits, [])
    items = supplies(schedule, schedule.start)
    assert items["dressing kit"] == 1
    assert (items["blood tube"], items["label"]) == (2, 1)
    # 20 mL after the draw are two syringes of 10 mL; without it there is one flush less.
    without = after(DAILY, [])
    assert items["saline syringe"] == supplies(without, without.start)["saline syringe"] + 2


def test_a_draw_by_the_nurse_is_for_the_nurse() -> None:
    (theirs,) = of_kind(after(DRAWS + DAILY + trough(), []), TouchKind.DRAW)
    own = trough().replace('done_by = "nurse"', 'done_by = "household"')
    (ours,) = of_kind(after(DRAWS + DAILY + own, []), TouchKind.DRAW)
    assert theirs.nurse_only
    assert not ours.nurse_only


# What the plan may not say


@pytest.mark.parametrize(
    ("code", "edits"),
    [
        ("task-timing", RED + task("x", "visit", "")),
        ("task-timing", DAILY + task("x", "visit", f'{TIED}\nweekdays = ["Mon"]\nat = "09:00"')),
        ("task-timing", RED + task("x", "visit", 'with_tasks = ["y"]') + task("y", "visit", 'with_tasks = ["x"]')),
        ("missing", RED + task("x", "dressing", 'every_days = 7\nat = "10:00"')),
        ("missing", RED + task("x", "dressing", 'every_days = 7\nlast_done = "2026-05-30 10:00"')),
        ("missing", RED + task("x", "dressing", 'every = "96 h"\nlast_done = "2026-05-30 10:00"')),
        ("missing", DAILY + task("x", "visit", 'order = "cefazolin"\nbefore_dose = "1 h"')),
        ("missing", DAILY + trough()),  # no after_draw
        ("dates-reversed", RED + dressing("06-02 10:00")),
        ("dates-reversed", RED + labs(more="last_day = 2026-05-20")),
        ("task-day", RED + task("x", "visit", 'moments = ["2026-06-03 14:00"]\nat = "09:00"')),
        ("task-day", RED + labs(more='not_on = ["2026-06-08"]')),
        ("task-day", RED + labs(more='instead = "the day before"')),
        ("task-dose", DAILY + task("x", "visit", 'order = "cefazolin"\non_time_within = "1 h"')),
        ("task-dose", DAILY + task("x", "visit", f'{TIED}\nafter_finish = "1 h"')),
        ("task-dose", RED + labs(more="only_doses = [3]")),
        ("task-dose", DAILY + task("x", "visit", f"{TIED}\nlast_day = 2026-06-03")),
        ("task-dose", DAILY + task("x", "visit", f'{TIED}\nlast_done = "2026-06-01 07:00"')),
        ("task-draw", RED + dressing(more=BY_LUMEN)),
        ("task-draw", RED + dressing(more='brings = { "saline syringe" = 10 }')),
        ("task-draw", RED + labs(more='pauses_infusion = "20 min"')),
        ("task-draw", DRAWS.replace('["saline 20 mL"]', "[]") + DAILY + trough()),
        ("task-label", RED + labs() + labs().replace("[task.labs]", "[task.more]")),
        (
            "draw-running",  # what must never be flushed in may not be stopped for a draw either
            DRAWS
            + DAILY
            + 'flush_through = "withdraw first"\nwithdraw_volume = "5 mL"\n'
            + labs(more='lumen = "red"\npauses_infusion = "20 min"', clock="09:30"),
        ),
        ("unknown-name", DRAWS + RED + labs(more='lumen = "green"')),
        ("unknown-name", DAILY + task("x", "visit", TIED.replace("cefazolin", "vancomycin"))),
        ("unknown-name", RED + labs() + task("x", "visit", 'with_tasks = ["dressing"]')),
        ("lumen-out-of-use", DRAWS + DAILY + BLUE + "in_use = false\n" + labs(more='lumen = "blue"')),
        ("draw-running", DRAWS + DAILY + labs(more=BY_LUMEN, clock="09:30")),
        ("no-task", DAILY + trough(more="only_doses = [40]")),
        ("no-task", DAILY + trough(more="only_doses = [3, 40]")),
        ("no-task", RED + task("x", "visit", 'moments = ["2026-06-03 14:00", "2027-06-10 14:00"]')),
        ("no-task", DAILY + fridge()),  # two hours before the first dose the plan has not begun
        ("task-range", RED + every_hours(6, "06-01 07:00").replace('"4 h"', '"7 h"')),
        ("task-range", DRAWS + DAILY + labs(more='lumen = "red"\npauses_infusion = "60 min"', clock="09:30")),
        ("no-task", RED + labs('weekdays = ["Mon"]', more="last_day = 2026-06-01", clock="07:00")),
    ],
)
def test_what_cannot_be_is_said(code: str, edits: str) -> None:
    (finding,) = of_code(edits, code)[:1]
    assert finding.places[0][0] in ("task", "protocol")
    assert finding.expected
    assert finding.mend
    assert set(codes(edits)) - {code} <= {"night-forced", "dose-by-hand", "draw-same-lumen"}


def test_draws_that_the_plan_allows_are_no_finding() -> None:
    paused = DRAWS + DAILY + labs(more='lumen = "red"\npauses_infusion = "20 min"', clock="09:30")
    at_the_edges = DRAWS + DAILY + labs(more=BY_LUMEN, clock="10:00") + trough(before="0 min")
    assert not codes(paused)
    assert set(codes(at_the_edges)) <= {"draw-same-lumen"}  # a note to the nurse about the level, not about the lumen


# Against an independent walk

CHICAGO = ZoneInfo("America/Chicago")


@settings(max_examples=60)
@given(
    days=st.integers(1, 9),
    done=st.lists(st.integers(1, 13 * 24 * 60), max_size=5, unique=True),
    hour=st.integers(0, 23),
)
def test_a_task_by_days_comes_so_many_dates_after_the_one_before(days: int, done: list[int], hour: int) -> None:
    """By dates alone, counted here with the standard library: each comes so many dates after the one before."""
    start = datetime(2026, 6, 1, 8, tzinfo=CHICAGO)
    happened = [start + timedelta(minutes=minutes) for minutes in sorted(done)]
    facts = [f"{moment:%m-%d %H:%M} task-done name=dressing key=k{index}" for index, moment in enumerate(happened)]
    edits = THREE_WEEKS + RED + dressing(days=days).replace("10:00", f"{hour:02d}:00")
    schedule = after(edits, facts, "06-14 12:00")
    clock = schedule.plan.clock
    dates = [date(2026, 6, 1), *(clock.local(event.at).date() for event in schedule.tasks)]
    for before, event in zip(dates, schedule.tasks, strict=False):
        assert clock.local(event.planned).date() == before + timedelta(days=days)
    done_events = [event for event in schedule.tasks if event.outcome is Outcome.DONE]
    recorded = Counter(event.at for event in done_events)
    near = [
        first
        for first, second in pairwise([datetime.min.replace(tzinfo=CHICAGO), *happened])
        if second - first <= timedelta(minutes=15)
    ]
    assert len(done_events) >= len(happened) - len(near)
    assert all(count == 1 for count in recorded.values())
    assert len({event.uid for event in schedule.tasks}) == len(schedule.tasks)


def told(fact_lines: list[str], before: Schedule, after_: Schedule) -> str:
    """Return what is answered to the last of some facts."""
    return " ".join(advice(record(fact_lines).facts[-1], before, after_))


def test_a_dose_waits_for_its_draw_and_says_so() -> None:
    """A level that is drawn after the start is a wrong one (common practice, no source)."""
    edits = DRAWS + DAILY + trough()
    schedule = after(edits, [])
    starts = of_kind(schedule, TouchKind.START)
    waits = "Do not start it before the blood is drawn: trough."
    assert [waits in timing_lines(touch, schedule.plan) for touch in starts[:4]] == [False, False, True, False]
    fact = "06-03 09:00 started order=cefazolin dose=2026-06-03T09:00"
    assert "Blood was to be drawn before it: trough." in told([fact], schedule, after(edits, [fact], "06-03 09:00"))
    at_once = [fact + " report=r key=r.1", "06-03 09:00 drawn lumen=red report=r key=r.2"]
    both = " ".join(advice(record(at_once).facts[0], schedule, after(edits, at_once, "06-03 09:00")))
    assert "Blood was to be drawn" not in both  # one report says both
    day_by_day = DRAWS + DAILY + trough(more='lumen = "red"')
    done = ["06-03 08:30 drawn lumen=red", fact]
    assert "Blood was to be drawn" not in told(
        done, after(day_by_day, done[:1]), after(day_by_day, done, "06-03 09:00")
    )
    drawn = ["06-03 08:31 drawn lumen=red", fact]
    first = after(edits, drawn[:1], "06-03 08:31")
    assert "Blood was to be drawn" not in told(drawn, first, after(edits, drawn, "06-03 09:00"))


def test_a_level_drawn_after_the_start_is_said_to_be_a_wrong_one() -> None:
    edits = DRAWS + DAILY + trough()
    facts = [
        "06-03 09:00 started order=cefazolin dose=2026-06-03T09:00",
        "06-03 09:20 drawn lumen=red report=y key=y.1",
        "06-03 09:20 task-done name=trough report=y key=y.2",
    ]
    before, then = after(edits, facts[:1], "06-03 09:00"), after(edits, facts, "06-03 09:20")
    said_of_it = " ".join(care_advice(record(facts).facts[-1], before, then))
    assert "It was drawn 20 min after cefazolin was started" in said_of_it
    assert "555-0142" in said_of_it
