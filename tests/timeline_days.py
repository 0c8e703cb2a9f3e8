"""Days to draw, for tests and for looking at: invented plans and what a household recorded of them.

All happens in June 2026 on Chicago's clock; the plans are the small ones of the tests.
"""

from dataclasses import dataclass
from datetime import date

from histories import after, at

from reminders.schedule.model import Schedule
from reminders.times import Instant

PLAN = """
[household]
quiet_hours = ["22:30-06:00"]
[lumen.red]
last_flushed = "2026-06-01 08:00"
[lumen.blue]
last_flushed = "2026-06-01 08:00"
[lumen.white]
last_flushed = "2026-06-01 08:00"
[order.a]
drug = "cefazolin"
every = "6 h"
first_dose = "2026-06-01 09:00"
last_day = 2026-06-07
duration = "60 min"
[order.c]
drug = "milrinone"
lumen = "blue"
continuous = true
first_dose = "2026-06-01 09:00"
until_removal = true
bag_every = "24 h"
bag_flush = []
[order.p]
drug = "ceftriaxone"
lumen = "white"
given_as = "push"
clock_times = ["09:00", "21:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-07
duration = "5 min"
[order.f]
drug = "fluconazole"
lumen = "white"
clock_times = ["10:00"]
first_dose = "2026-06-01 10:00"
last_day = 2026-06-07
duration = "2 h"
"""
"""Red: a dose of an hour every 6 h. Blue: a continuous infusion, its bag changed at 09:00. White: pushes, and two hours
of an infusion from 10:00."""


CARED = f"""
{PLAN}
[protocol]
after_draw = ["saline 20 mL"]
[task.bag_out]
kind = "out of the refrigerator"
label = "Take the bag out of the refrigerator"
done_by = "household"
order = "f"
before_dose = "2 h"
on_time_within = "30 min"
[task.dressing]
kind = "dressing"
label = "Change the dressing"
done_by = "nurse"
every_days = 1
at = "14:00"
last_done = "2026-06-01 07:30"
[task.connector]
kind = "needleless connector"
label = "Change the connectors"
done_by = "household"
with_tasks = ["dressing"]
[task.weight]
kind = "weighing"
label = "Weigh yourself"
done_by = "household"
weekdays = ["Tue", "Wed"]
at = "07:30"
on_time_within = "1 h"
[task.level]
kind = "blood draw"
label = "Level"
done_by = "household"
order = "f"
before_dose = "30 min"
on_time_within = "15 min"
lumen = "white"
[task.van]
kind = "delivery"
label = "Delivery"
done_by = "pharmacy"
moments = ["2026-06-02 16:00", "2026-06-04 16:00"]
"""
"""The same with care tasks: on the 2nd at 7:30, 8:00, 14:00 (two) and 16:00, and a draw through white at 9:30."""


@dataclass(frozen=True)
class Told:
    """A day with what was recorded of it, one fact on a line, as of ``now``."""

    name: str
    now: str
    lines: str
    day: str = "2026-06-02"
    plan: str = PLAN

    @property
    def moment(self) -> Instant:
        """Return now."""
        return at(self.now)

    @property
    def date(self) -> date:
        """Return the day that is drawn."""
        return date.fromisoformat(self.day)

    def schedule(self) -> Schedule:
        """Return the schedule as of now."""
        return after(self.plan, self.lines, self.now)


NIGHT_BEFORE = """
06-01 09:00 started order=c dose=continuous
06-01 21:00 started order=a dose=2026-06-02T02:00Z
06-01 22:00 finished order=a dose=2026-06-02T02:00Z
06-01 22:05 flushed lumen=red
"""

DAYS = (
    Told("nothing-recorded", "06-02 12:00", ""),
    Told("ahead", "06-01 08:30", ""),
    Told("in-order", "06-02 12:30", f"""
        {NIGHT_BEFORE}
        06-02 03:00 started order=a dose=2026-06-02T08:00Z
        06-02 04:00 finished order=a dose=2026-06-02T08:00Z
        06-02 04:05 flushed lumen=red
        06-02 09:00 bag-changed order=c dose=continuous
        06-02 09:00 started order=p dose=2026-06-02T09:00
        06-02 09:05 flushed lumen=white
        06-02 10:05 started order=f dose=2026-06-02T10:00
    """),
    Told("flush-now", "06-02 10:20", f"""
        {NIGHT_BEFORE}
        06-02 09:00 started order=a dose=2026-06-02T14:00Z
        06-02 10:10 finished order=a dose=2026-06-02T14:00Z
    """),
    Told("messy", "06-02 18:10", f"""
        {NIGHT_BEFORE}
        06-02 03:40 started order=a dose=2026-06-02T08:00Z
        06-02 04:10 interrupted order=a dose=2026-06-02T08:00Z
        06-02 04:50 resumed order=a dose=2026-06-02T08:00Z
        06-02 05:20 finished order=a dose=2026-06-02T08:00Z
        06-02 05:25 flushed lumen=red
        06-02 05:31 drawn lumen=red
        06-02 05:36 flushed lumen=red
        06-02 09:30 started order=a dose=2026-06-02T14:00Z
        06-02 10:00 stopped-early order=a dose=2026-06-02T14:00Z
        06-02 13:00 problem lumen=red sign=no_blood_return
        06-02 08:30 not-given order=p dose=2026-06-02T09:00
        06-02 10:05 started order=f dose=2026-06-02T10:00
        06-02 14:00 skipped order=p dose=2026-06-02T21:00
    """),
    Told("suspended", "06-02 12:30", f"""
        {NIGHT_BEFORE}
        06-02 09:10 problem lumen=red sign=swelling
        06-02 10:10 started order=f dose=2026-06-02T10:00
        06-02 10:40 interrupted order=f dose=2026-06-02T10:00
    """),
    Told("released", "06-02 20:00", f"""
        {NIGHT_BEFORE}
        06-02 02:00 problem lumen=red sign=pain
        06-02 14:00 released lumen=red
        06-02 14:10 flushed lumen=red
    """),
    Told("held", "06-02 16:00", f"""
        {NIGHT_BEFORE}
        06-02 08:00 held
        06-02 08:00 held order=a
    """),
    Told("out-of-use", "06-02 16:00", f"{NIGHT_BEFORE}\n06-02 07:00 lumen-out-of-use lumen=white"),
    Told("line-out", "06-02 16:00", f"{NIGHT_BEFORE}\n06-02 11:00 line-removed"),
    Told("care-ahead", "06-01 08:30", "", plan=CARED),
    Told("care-told", "06-02 14:40", f"""
        {NIGHT_BEFORE}
        06-02 07:40 task-done name=Weigh_yourself
        06-02 09:00 task-skipped name=Delivery planned_for=06-02T16:00
        06-02 09:35 task-done name=Level report=r key=r.1
        06-02 09:35 drawn lumen=white report=r key=r.2
        06-02 09:40 flushed lumen=white
        06-02 10:05 started order=f dose=2026-06-02T10:00
        06-02 14:20 task-done name=Change_the_dressing
    """, plan=CARED),
    Told("care-away", "06-02 09:00", f"{NIGHT_BEFORE}\n06-01 23:00 held", plan=CARED),
    Told("elsewhere", "06-02 16:00", f"{NIGHT_BEFORE}\n06-02 10:00 started order=f dose=2026-06-02T10:00 elsewhere=yes"),
)  # fmt: skip
