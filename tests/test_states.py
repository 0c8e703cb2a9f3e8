"""The states of an event as one table: what each kind of fact makes of each event in each state (R13 to R19, S1, S2).

For every kind of event, every state that it can be in and every kind of fact, the table says the next state, the mark
before the event's title in the calendar, and whether the calendar offers its steps. A combination that is in no row is
a fault of the table. All happens on 2 June 2026, on Chicago's clock; the plan is invented.
"""

from collections import Counter
from dataclasses import dataclass

import pytest
from histories import after, at, plan
from readers.samples import Sample
from small_plans import of_kind

from reminders.event_words import EventWords
from reminders.record.facts import EMPTY, Kind
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import Schedule, Status, Touch, TouchKind
from reminders.schedule.status import dose_status, status, window
from reminders.times import DAY, Instant
from reminders.words import title

PLAN = """
[protocol]
planning_margin = "30 min"
least_time_to_next_touch = "0 min"
saved_session_worth = 1000
[lumen.red]
last_flushed = "2026-06-01 08:00"
[lumen.blue]
last_flushed = "2026-06-01 08:00"
[lumen.green]
last_flushed = "2026-06-01 08:00"
[lumen.white]
last_flushed = "2026-06-01 08:00"
[order.a]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-05
duration = "60 min"
[order.b]
lumen = "blue"
moments = ["2026-06-01 18:30"]
duration = "60 min"
[order.c]
lumen = "green"
continuous = true
first_dose = "2026-06-01 09:00"
until_removal = true
bag_every = "24 h"
bag_flush = []
[order.p]
lumen = "white"
given_as = "push"
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-05
duration = "5 min"
"""
"""Red: a dose from 09:00 to 10:00. Blue: after a dose of the
evening before, flushed at 07:00, by 07:30 at the latest. Green: a continuous
infusion, its bag changed at 09:00. White: a push at 09:00. Doses are on time from 08:00 to 10:00, cut off at 13:00."""

RED = {"dose": "order=a dose=2026-06-02T09:00", "lumen": "lumen=red", "held": "order=a"}
BLUE = {"dose": "order=a dose=2026-06-02T09:00", "lumen": "lumen=blue", "held": ""}
GREEN = {"dose": "order=c dose=continuous", "lumen": "lumen=green", "held": "order=c"}
WHITE = {"dose": "order=p dose=2026-06-02T09:00", "lumen": "lumen=white", "held": "order=p"}
ABOUT = {
    "start": RED,
    "finish": RED,
    "dose": RED,
    "push": WHITE,
    "bag change": GREEN,
    "idle flush": BLUE,
    "draw": {**RED, "held": ""},
}
"""Which dose and lumen the facts name that may concern each event."""

FACTS = {
    "started": "started {dose}",
    "finished": "finished {dose}",
    "stopped early": "stopped-early {dose}",
    "interrupted": "interrupted {dose}",
    "resumed": "resumed {dose}",
    "delayed": "delayed {dose} until=06-02T15:00",
    "bag changed": "bag-changed {dose}",
    "not given": "not-given {dose}",
    "skipped": "skipped {dose}",
    "flushed": "flushed {lumen}",
    "drawn": "drawn {lumen}",
    "held": "held {held}",
    "released": "released {lumen}",
    "lumen out of use": "lumen-out-of-use {lumen}",
    "problem, pain": "problem {lumen} sign=pain",
    "problem, no blood return": "problem {lumen} sign=no_blood_return",
    "line exchanged": "line-exchanged",
    "line removed": "line-removed",
    "needle out": "needle-out",
    "needle in": "needle-in",
    "heparin stopped": "heparin-stopped",
    "task done": "task-done name=dressing",
    "task put off": "task-put-off name=dressing planned_for=06-02T14:00 until=06-03T14:00",
    "task skipped": "task-skipped name=dressing planned_for=06-02T14:00",
    "delivered": "delivered name=saline count=12",
    "stock counted": "stock-counted name=saline count=12",
    "plan put in use": "plan-put-in-use plan_text=... revision=2",
    "calendar published": "calendar-published target=phone",
    "withdrawn": "withdrawn withdraws=...",
}
"""Each kind of fact, two of a problem; ``withdrawn`` takes back what brought the event into its state."""

OF_ITS_OWN = {
    ("idle flush", "started"): "started order=a dose=2026-06-02T09:00 lumen=blue",
    ("idle flush", "skipped"): "skipped lumen=blue planned_for=06-02T07:00",
    ("draw", "skipped"): "skipped lumen=red",
}
"""Where a fact about an event is worded in another way."""


@dataclass(frozen=True)
class State:
    """How an event comes into a state: the facts before, and the time at which the next fact comes.

    Facts whose key begins with ``it`` brought it about.
    """

    now: str
    status: Status
    before: str = ""


DOSE_STARTS = {
    "planned": State("06:00", Status.PLANNED),
    "due": State("09:30", Status.DUE),
    "overdue": State("10:30", Status.OVERDUE),
    "past cut-off": State("13:30", Status.UNCONFIRMED),
    "overtaken": State("11:30", Status.UNCONFIRMED, "11:00 drawn {lumen}"),
    "skipped": State("09:30", Status.SKIPPED, "08:30 skipped {dose} key=it"),
    "missed": State("10:40", Status.MISSED, "10:30 not-given {dose} key=it"),
}

STATES: dict[str, dict[str, State]] = {
    "start": {
        **DOSE_STARTS,
        "running": State("09:30", Status.DONE, "09:10 started {dose} key=it"),
        "done": State(
            "10:30",
            Status.DONE,
            "09:10 started {dose} key=it\n10:10 finished {dose} key=it-2\n10:10 flushed {lumen} key=it-3",
        ),
        "late": State("11:00", Status.LATE, "10:30 started {dose} key=it"),
    },
    "dose": {
        **DOSE_STARTS,
        "running": State("09:30", Status.RUNNING, "09:10 started {dose} key=it"),
        "done": State("10:30", Status.DONE, "09:10 started {dose} key=it\n10:10 finished {dose} key=it-2"),
        "late": State("11:45", Status.LATE, "10:30 started {dose} key=it\n11:30 finished {dose} key=it-2"),
    },
    "push": {
        **DOSE_STARTS,
        "done": State("09:30", Status.DONE, "09:10 started {dose} key=it"),
        "late": State("11:00", Status.LATE, "10:30 started {dose} key=it"),
    },
    "finish": {
        "planned": State("06:00", Status.PLANNED),
        "due": State("10:05", Status.DUE),
        "overdue": State("10:30", Status.OVERDUE),
        "overtaken": State("11:30", Status.UNCONFIRMED, "11:00 drawn {lumen}"),
        "running": State("09:30", Status.PLANNED, "09:10 started {dose} key=it"),
        "flush outstanding": State("10:12", Status.DUE, "09:10 started {dose}\n10:10 finished {dose} key=it"),
        "flush overdue": State("10:30", Status.OVERDUE, "09:10 started {dose}\n10:10 finished {dose} key=it"),
        "done": State(
            "10:30", Status.DONE, "09:10 started {dose}\n10:10 finished {dose} key=it\n10:10 flushed {lumen} key=it-2"
        ),
        "late": State(
            "10:45", Status.LATE, "09:10 started {dose}\n10:40 finished {dose} key=it\n10:40 flushed {lumen} key=it-2"
        ),
    },
    "idle flush": {
        "planned": State("05:00", Status.PLANNED),
        "due": State("07:15", Status.DUE),
        "overdue": State("08:00", Status.OVERDUE),
        "overtaken": State("09:00", Status.UNCONFIRMED, "08:30 drawn {lumen}"),
        "done": State("07:20", Status.DONE, "07:10 flushed {lumen} key=it"),
        "late": State("08:00", Status.LATE, "07:50 flushed {lumen} key=it"),
        "skipped": State("07:15", Status.SKIPPED, "06:00 skipped {lumen} planned_for=06-02T07:00 key=it"),
    },
    "bag change": {
        "planned": State("06:00", Status.PLANNED),
        "due": State("09:10", Status.DUE),
        "overdue": State("10:00", Status.OVERDUE),
        "overtaken": State("11:30", Status.UNCONFIRMED, "11:00 drawn {lumen}"),
        "done": State("09:10", Status.DONE, "09:05 bag-changed {dose} key=it"),
        "late": State("10:00", Status.LATE, "09:30 bag-changed {dose} key=it"),
    },
    "draw": {
        "flush outstanding": State("15:05", Status.DUE, "15:00 drawn {lumen} key=it"),
        "flush overdue": State("15:30", Status.OVERDUE, "15:00 drawn {lumen} key=it"),
        "overtaken": State("16:30", Status.UNCONFIRMED, "15:00 drawn {lumen} key=it\n16:00 drawn {lumen} key=next"),
        "done": State("15:10", Status.DONE, "15:00 drawn {lumen} key=it\n15:05 flushed {lumen}"),
        "late": State("15:40", Status.LATE, "15:00 drawn {lumen} key=it\n15:30 flushed {lumen}"),
    },
}
"""Every state that an event can be in. ``running`` is a dose's; its start is done then and its finish planned. A dose
has a state of its own, besides the events that start and finish it."""

ELSE = "everything else"

TABLE = {
    # state | fact | next state | mark before the title | are its steps offered
    # "=" says that the fact changes nothing; "gone" that the event is no longer in the schedule.
    "start": """
    planned, due          | started                                          | done        | Done           | no
    overdue               | started                                          | late        | Done late      | no
    past cut-off          | started                                          | late        | Done late      | no
    overtaken             | started                                          | late        | Done late      | no
    planned, due, overdue | finished, stopped early                          | done        | Done           | no
    past cut-off          | finished, stopped early                          | done        | Done           | no
    overtaken             | finished, stopped early                          | done        | Done           | no
    planned               | delayed                                          | =
    due, overdue          | delayed                                          | planned     |                | yes
    past cut-off          | delayed                                          | planned     |                | yes
    overtaken             | delayed                                          | planned     |                | yes
    late                  | delayed                                          | =           |                |
    planned, due, overdue | not given                                        | missed      | Not given      | no
    past cut-off          | not given                                        | missed      | Not given      | no
    overtaken             | not given                                        | missed      | Not given      | no
    planned, due, overdue | skipped                                          | skipped     | Not to be done | no
    past cut-off          | skipped                                          | skipped     | Not to be done | no
    overtaken             | skipped                                          | skipped     | Not to be done | no
    planned               | held                                             | skipped     | Held           | no
    due                   | held                                             | due         | ASK FIRST      | yes
    overdue               | held                                             | overdue     | ASK FIRST      | yes
    planned, due          | flushed, drawn                                   | =
    overdue               | flushed, drawn                                   | unconfirmed |                | yes
    planned               | lumen out of use, problem, pain, line exchanged  | planned     | DO NOT USE     | no
    due                   | lumen out of use, problem, pain, line exchanged  | due         | DO NOT USE     | no
    overdue               | lumen out of use, problem, pain, line exchanged  | overdue     | DO NOT USE     | no
    past cut-off          | lumen out of use, problem, pain, line exchanged  | unconfirmed | DO NOT USE     | no
    planned               | problem, no blood return                         | planned     | ASK FIRST      | yes
    due                   | problem, no blood return                         | due         | ASK FIRST      | yes
    overdue               | problem, no blood return                         | overdue     | ASK FIRST      | yes
    past cut-off          | problem, no blood return                         | unconfirmed | ASK FIRST      | yes
    planned               | needle out                                       | planned     | ASK FIRST      | yes
    past cut-off          | held                                             | unconfirmed | ASK FIRST      | yes
    due                   | needle out                                       | due         | ASK FIRST      | yes
    overdue               | needle out                                       | overdue     | ASK FIRST      | yes
    past cut-off          | needle out                                       | unconfirmed | ASK FIRST      | yes
    planned               | line removed                                     | gone
    due, overdue          | line removed                                     | unconfirmed |                | yes
    running               | withdrawn                                        | due         |                | yes
    done, late            | withdrawn                                        | overdue     |                | yes
    skipped               | started                                          | done        | Done           | no
    missed                | started                                          | late        | Done late      | no
    skipped, missed       | finished, stopped early                          | done        | Done           | no
    skipped               | not given                                        | missed      | Not given      | no
    missed                | skipped                                          | skipped     | Not to be done | no
    skipped               | withdrawn                                        | due         |                | yes
    missed                | withdrawn                                        | overdue     |                | yes
    planned, due, overdue, past cut-off, overtaken | everything else         | =
    running, done, late, skipped, missed           | everything else         | =
    """,
    "push": """
    planned, due          | started                                          | done        | Done           | no
    overdue               | started                                          | late        | Done late      | no
    past cut-off          | started                                          | late        | Done late      | no
    overtaken             | started                                          | late        | Done late      | no
    planned, due, overdue | finished, stopped early                          | done        | Done           | no
    past cut-off          | finished, stopped early                          | done        | Done           | no
    overtaken             | finished, stopped early                          | done        | Done           | no
    planned               | delayed                                          | =
    due, overdue          | delayed                                          | planned     |                | yes
    past cut-off          | delayed                                          | planned     |                | yes
    overtaken             | delayed                                          | planned     |                | yes
    late                  | delayed                                          | =           |                |
    planned, due, overdue | not given                                        | missed      | Not given      | no
    past cut-off          | not given                                        | missed      | Not given      | no
    overtaken             | not given                                        | missed      | Not given      | no
    planned, due, overdue | skipped                                          | skipped     | Not to be done | no
    past cut-off          | skipped                                          | skipped     | Not to be done | no
    overtaken             | skipped                                          | skipped     | Not to be done | no
    planned               | held                                             | skipped     | Held           | no
    due                   | held                                             | due         | ASK FIRST      | yes
    overdue               | held                                             | overdue     | ASK FIRST      | yes
    planned, due          | flushed, drawn                                   | =
    overdue               | flushed, drawn                                   | unconfirmed |                | yes
    planned               | lumen out of use, problem, pain, line exchanged  | planned     | DO NOT USE     | no
    due                   | lumen out of use, problem, pain, line exchanged  | due         | DO NOT USE     | no
    overdue               | lumen out of use, problem, pain, line exchanged  | overdue     | DO NOT USE     | no
    past cut-off          | lumen out of use, problem, pain, line exchanged  | unconfirmed | DO NOT USE     | no
    planned               | problem, no blood return                         | planned     | ASK FIRST      | yes
    due                   | problem, no blood return                         | due         | ASK FIRST      | yes
    overdue               | problem, no blood return                         | overdue     | ASK FIRST      | yes
    past cut-off          | problem, no blood return                         | unconfirmed | ASK FIRST      | yes
    planned               | needle out                                       | planned     | ASK FIRST      | yes
    past cut-off          | held                                             | unconfirmed | ASK FIRST      | yes
    due                   | needle out                                       | due         | ASK FIRST      | yes
    overdue               | needle out                                       | overdue     | ASK FIRST      | yes
    past cut-off          | needle out                                       | unconfirmed | ASK FIRST      | yes
    planned               | line removed                                     | gone
    due, overdue          | line removed                                     | unconfirmed |                | yes
    done                  | withdrawn                                        | due         |                | yes
    late                  | withdrawn                                        | overdue     |                | yes
    skipped               | started                                          | done        | Done           | no
    missed                | started                                          | late        | Done late      | no
    skipped, missed       | finished, stopped early                          | done        | Done           | no
    skipped               | not given                                        | missed      | Not given      | no
    missed                | skipped                                          | skipped     | Not to be done | no
    skipped               | withdrawn                                        | due         |                | yes
    missed                | withdrawn                                        | overdue     |                | yes
    planned, due, overdue, past cut-off, overtaken | everything else         | =
    done, late, skipped, missed                    | everything else         | =
    """,
    "dose": """
    planned, due, overdue | started                                          | running
    past cut-off          | started                                          | running
    overtaken             | started                                          | running
    planned, due, overdue | finished, stopped early                          | done
    past cut-off          | finished, stopped early                          | done
    overtaken, running    | finished, stopped early                          | done
    due, overdue          | delayed                                          | planned
    past cut-off          | delayed                                          | planned
    overtaken             | delayed                                          | planned
    late                  | delayed                                          | =           |                |
    planned, due, overdue | not given                                        | missed
    past cut-off          | not given                                        | missed
    overtaken             | not given                                        | missed
    planned, due, overdue | skipped                                          | skipped
    past cut-off          | skipped                                          | skipped
    overtaken             | skipped                                          | skipped
    planned               | held                                             | skipped
    overdue               | flushed, drawn                                   | unconfirmed
    planned               | line removed                                     | gone
    due, overdue          | line removed                                     | unconfirmed |                |
    running               | withdrawn                                        | due
    done, late            | withdrawn                                        | overdue
    skipped, missed       | started                                          | running
    skipped, missed       | finished, stopped early                          | done
    skipped               | not given                                        | missed
    missed                | skipped                                          | skipped
    skipped               | withdrawn                                        | due
    missed                | withdrawn                                        | overdue
    planned, due, overdue, past cut-off, overtaken | everything else         | =
    running, done, late, skipped, missed           | everything else         | =
    """,
    "finish": """
    planned               | started                                          | =
    due, overdue          | started                                          | planned     |                | yes
    overtaken             | started                                          | planned     |                | yes
    planned               | finished, stopped early                          | due         | FLUSH NOW      | yes
    due, overdue          | finished, stopped early                          | due         | FLUSH NOW      | yes
    overtaken, running    | finished, stopped early                          | due         | FLUSH NOW      | yes
    planned, due, overdue | interrupted                                      | gone
    overtaken, running    | interrupted                                      | gone
    planned               | delayed                                          | =
    due, overdue          | delayed                                          | planned     |                | yes
    overtaken             | delayed                                          | planned     |                | yes
    planned, due, overdue | not given, skipped                               | gone
    overtaken             | not given, skipped                               | gone
    planned               | held                                             | gone
    due                   | flushed                                          | =           |                |
    overdue               | flushed                                          | unconfirmed |                | yes
    overdue               | drawn                                            | unconfirmed |                | yes
    flush outstanding     | flushed                                          | done        | Done           | no
    flush overdue         | flushed                                          | late | Finished on time, flushed late | no
    flush overdue         | drawn                                            | unconfirmed | FLUSH NOW      | yes
    planned               | lumen out of use, problem, pain                  | gone
    planned               | line exchanged                                   | gone        |                |
    running               | lumen out of use, problem, pain, line exchanged  | planned     | DO NOT USE     | no
    due                   | lumen out of use, problem, pain, line exchanged  | due         | DO NOT USE     | no
    overdue               | lumen out of use, problem, pain, line exchanged  | overdue     | DO NOT USE     | no
    flush outstanding     | lumen out of use, problem, pain, line exchanged  | due         | DO NOT USE     | no
    flush overdue         | lumen out of use, problem, pain, line exchanged  | overdue     | DO NOT USE     | no
    planned, running      | problem, no blood return                         | planned     | ASK FIRST      | yes
    due                   | problem, no blood return                         | due         | ASK FIRST      | yes
    overdue               | problem, no blood return                         | overdue     | ASK FIRST      | yes
    flush outstanding     | problem, no blood return                         | due         | ASK FIRST      | yes
    flush overdue         | problem, no blood return                         | overdue     | ASK FIRST      | yes
    planned               | needle out                                       | planned     | ASK FIRST      | yes
    due                   | needle out                                       | due         | ASK FIRST      | yes
    overdue               | needle out                                       | overdue     | ASK FIRST      | yes
    running               | needle out                                       | planned     | ASK FIRST      | yes
    flush outstanding     | needle out                                       | due         | ASK FIRST      | yes
    flush overdue         | needle out                                       | overdue     | ASK FIRST      | yes
    planned               | line removed                                     | gone
    due, overdue          | line removed                                     | unconfirmed |                | yes
    running               | line removed                                     | unconfirmed |                | no
    flush outstanding     | line removed                                     | unconfirmed | Flush not recorded | no
    flush overdue         | line removed                                     | unconfirmed | Flush not recorded | no
    flush outstanding     | withdrawn                                        | due         |                | yes
    flush overdue         | withdrawn                                        | overdue     |                | yes
    done, late            | withdrawn                                        | overdue     |                | yes
    planned, due, overdue, overtaken, running      | everything else         | =
    flush outstanding, flush overdue, done, late   | everything else         | =
    """,
    "idle flush": """
    done, late            | started, drawn                                   | =           |                |
    overdue               | started                                          | unconfirmed |                | yes
    planned, due, skipped | flushed                                          | done        | Done           | no
    overdue               | flushed                                          | late        | Done late      | no
    overdue               | drawn                                            | unconfirmed |                | yes
    planned, due, overdue | skipped                                          | skipped     | Not to be done | no
    overtaken             | skipped                                          | skipped     | Not to be done | no
    planned               | held                                             | gone
    planned               | lumen out of use, problem, pain, line exchanged  | gone
    due                   | lumen out of use, problem, pain, line exchanged  | due         | DO NOT USE     | no
    overdue               | lumen out of use, problem, pain, line exchanged  | overdue     | DO NOT USE     | no
    planned               | problem, no blood return                         | planned     | ASK FIRST      | yes
    due                   | problem, no blood return                         | due         | ASK FIRST      | yes
    overdue               | problem, no blood return                         | overdue     | ASK FIRST      | yes
    due                   | held                                             | due         | ASK FIRST      | yes
    overdue               | held                                             | overdue     | ASK FIRST      | yes
    planned               | needle out                                       | planned     | ASK FIRST      | yes
    due                   | needle out                                       | due         | ASK FIRST      | yes
    overdue               | needle out                                       | overdue     | ASK FIRST      | yes
    planned               | line removed                                     | gone
    due, overdue          | line removed                                     | unconfirmed |                | yes
    done, skipped         | withdrawn                                        | due         |                | yes
    late                  | withdrawn                                        | overdue     |                | yes
    planned, due, overdue, overtaken               | everything else         | =
    done, late, skipped                            | everything else         | =
    """,
    "bag change": """
    planned               | finished, stopped early                          | gone
    overdue               | finished, stopped early                          | unconfirmed |                | yes
    planned, due          | bag changed                                      | done        | Done           | no
    overdue, overtaken    | bag changed                                      | late        | Done late      | no
    overdue               | flushed, drawn                                   | unconfirmed |                | yes
    planned               | lumen out of use, problem, pain, line exchanged  | planned     | DO NOT USE     | no
    due                   | lumen out of use, problem, pain, line exchanged  | due         | DO NOT USE     | no
    overdue               | lumen out of use, problem, pain, line exchanged  | overdue     | DO NOT USE     | no
    planned               | problem, no blood return                         | planned     | ASK FIRST      | yes
    due                   | problem, no blood return                         | due         | ASK FIRST      | yes
    overdue               | problem, no blood return                         | overdue     | ASK FIRST      | yes
    planned               | needle out                                       | planned     | ASK FIRST      | yes
    due                   | needle out                                       | due         | ASK FIRST      | yes
    overdue               | needle out                                       | overdue     | ASK FIRST      | yes
    planned               | line removed                                     | gone
    due, overdue          | line removed                                     | unconfirmed |                | yes
    done                  | withdrawn                                        | due         |                | yes
    late                  | withdrawn                                        | overdue     |                | yes
    planned, due, overdue, overtaken, done, late   | everything else         | =
    """,
    "draw": """
    flush outstanding     | flushed                                          | done        | Done           | no
    flush overdue         | flushed                                          | late | Done, flushed late | no
    flush overdue         | drawn, started, finished, stopped early          | unconfirmed | FLUSH NOW      | yes
    flush outstanding     | lumen out of use, problem, pain, line exchanged  | due         | DO NOT USE     | no
    flush overdue         | lumen out of use, problem, pain, line exchanged  | overdue     | DO NOT USE     | no
    flush outstanding     | problem, no blood return                         | due         | ASK FIRST      | yes
    flush overdue         | problem, no blood return                         | overdue     | ASK FIRST      | yes
    flush outstanding     | held                                             | due         | ASK FIRST      | yes
    flush overdue         | held                                             | overdue     | ASK FIRST      | yes
    flush outstanding     | needle out                                       | due         | ASK FIRST      | yes
    flush overdue         | needle out                                       | overdue     | ASK FIRST      | yes
    flush outstanding     | line removed                                     | unconfirmed | Flush not recorded | no
    flush overdue         | line removed                                     | unconfirmed | Flush not recorded | no
    overtaken             | line removed                                     | unconfirmed | Flush not recorded | no
    late                  | drawn, started, finished, stopped early          | =           |                |
    flush outstanding, flush overdue, overtaken    | withdrawn               | gone
    done, late                                     | withdrawn               | gone
    flush outstanding, flush overdue, overtaken    | everything else         | =
    done, late                                     | everything else         | =
    """,
}
"""What each kind of fact makes of each event in each state. ``everything else``: the facts that the state's other rows
do not name, and all of those change nothing."""


@dataclass(frozen=True)
class Row:
    """One combination of the table, and what it says of it."""

    event: str
    state: str
    fact: str
    follows: str

    def __str__(self) -> str:
        """Say which combination it is."""
        return f"{self.event}: {self.state}, {self.fact}"


def _names(cell: str) -> list[str]:
    names: list[str] = []
    for part in cell.split(","):
        if names and names[-1] == "problem":
            names[-1] = f"problem, {part.strip()}"
        else:
            names.append(part.strip())
    return names


def expanded() -> list[Row]:
    """Return every combination that the table names, once for each row that names it."""
    found = []
    for event, text in TABLE.items():
        lines = [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines()]
        named: Counter[tuple[str, str]] = Counter()
        for states, facts, *cells in lines:
            for state in _names(states):
                for fact in FACTS if facts == ELSE else _names(facts):
                    if facts == ELSE and named[state, fact]:
                        continue
                    named[state, fact] += 1
                    found.append(Row(event, state, fact, " | ".join(cells).strip(" |")))
    return found


ROWS = expanded()


def _params() -> list[object]:
    return [pytest.param(row, id=str(row)) for row in ROWS]


def _record(event: str, state: State) -> list[str]:
    told = ["06-01 09:00 started order=c dose=continuous key=running"]
    told += [f"06-02 {line.format(**ABOUT[event])}" for line in state.before.splitlines()]
    return told


def _new(row: Row, state: State) -> list[str]:
    if row.fact == "withdrawn":
        keys = [line.split("key=")[1] for line in state.before.splitlines() if "key=it" in line] or ["nothing"]
        return [f"06-02 {state.now} withdrawn withdraws={key}" for key in keys]
    line = OF_ITS_OWN.get((row.event, row.fact), FACTS[row.fact]).format(**ABOUT[row.event])
    return [f"06-02 {state.now} {line}"]


def _event(compiled: Schedule, event: str) -> Touch | None:
    """Return the event that the table is about."""
    if event == "draw":
        return next((touch for touch in compiled.touches if touch.kind is TouchKind.DRAW and touch.at == DRAWN), None)
    return next((touch for touch in compiled.touches if touch.uid == UIDS[event]), None)


DRAWN = at("06-02 15:00")


def _uids() -> dict[str, str]:
    planned = after(PLAN, "")

    def uid(kind: TouchKind, lumen: str) -> str:
        return next(touch.uid for touch in of_kind(planned, kind, lumen) if touch.at >= at("06-02 00:00"))

    return {
        "start": uid(TouchKind.START, "red"),
        "finish": uid(TouchKind.FINISH, "red"),
        "push": uid(TouchKind.PUSH, "white"),
        "bag change": uid(TouchKind.BAG_CHANGE, "green"),
        "idle flush": uid(TouchKind.IDLE_FLUSH, "blue"),
    }


UIDS = _uids()
WORDS = EventWords(plan(PLAN))


def seen(event: str, lines: list[str], now: str) -> str:
    """Say the event's state, mark and whether its steps are offered, as a row of the table does."""
    compiled = after(PLAN, lines, now)
    if event == "dose":
        found = [dose for dose in compiled.doses["a"] if dose.key == "2026-06-02T09:00"]
        return dose_status(found[0], compiled, at(now)).value if found else "gone"
    touch = _event(compiled, event)
    if touch is None:
        return "gone"
    shown, body = WORDS.event(touch)
    mark = shown.removesuffix(title(touch, touch.plan)).rstrip(": ")
    steps = "yes" if "\n1. " in body else "no"
    return " | ".join(cell for cell in (status(touch, compiled, at(now)).value, mark, steps))


def test_the_table_names_every_combination_once() -> None:
    """No combination of event, state and kind of fact is missing, and none is named twice."""
    wanted = {(event, state, fact) for event, states in STATES.items() for state in states for fact in FACTS}
    told = Counter((row.event, row.state, row.fact) for row in ROWS)
    assert set(told) == wanted
    assert [combination for combination, count in told.items() if count > 1] == []


def test_every_kind_of_fact_is_in_the_table() -> None:
    """A kind of fact that is added must be added here too."""
    assert {Kind(name.split(",")[0]) for name in FACTS} == set(Kind)


def test_every_status_is_in_the_table() -> None:
    """Each status but ``cancelled``, which is a calendar's, not a schedule's, is one that some event comes into."""
    reached = {row.follows.split(" | ")[0] for row in ROWS} | {
        state.status.value for states in STATES.values() for state in states.values()
    }
    assert reached >= {state.value for state in Status if state is not Status.CANCELLED}


@pytest.mark.parametrize(("event", "state"), [(event, state) for event, states in STATES.items() for state in states])
def test_each_state_is_what_its_name_says(event: str, state: str) -> None:
    """The facts before bring the event into its state."""
    given = STATES[event][state]
    shown = seen(event, _record(event, given), f"06-02 {given.now}")
    assert shown.split(" | ")[0] == given.status.value


@pytest.mark.parametrize("row", _params())
def test_what_a_fact_makes_of_an_event(row: Row) -> None:
    """Each row of the table: the next state, the mark, and whether the steps are offered."""
    state = STATES[row.event][row.state]
    before, now = _record(row.event, state), f"06-02 {state.now}"
    shown = seen(row.event, [*before, *_new(row, state)], now)
    told = [cell.strip() for cell in row.follows.split("|")]
    if told == ["="]:
        assert shown == seen(row.event, before, now)
    else:
        assert [cell.strip() for cell in shown.split("|")] == told


# What nobody recorded is never done

RECORDED = {Status.DONE, Status.LATE, Status.SKIPPED, Status.MISSED, Status.RUNNING, Status.CANCELLED}
"""Statuses that say what was recorded."""


def moments(compiled: Schedule) -> list[Instant]:
    """Return many moments of a plan: before it, the edges of every twentieth window, every third day, long after it."""
    found = [Instant(compiled.start - DAY), Instant(compiled.end + 30 * DAY)]
    found += [Instant(at) for at in range(compiled.start, compiled.end, 3 * DAY)]
    for touch in compiled.touches[::20]:
        for edge in window(touch):
            found += [Instant(edge - 1), edge, Instant(edge + 1)]
    return found


def test_in_no_sample_is_anything_done_that_nobody_recorded(sample: Sample) -> None:
    """R14: with an empty record nothing is done, late, missed, skipped or running, whatever the time."""
    compiled = sample.schedule
    assert compiled.touches
    for now in moments(compiled):
        assert not RECORDED & {status(touch, compiled, now) for touch in compiled.touches}
        doses = [dose for found in compiled.doses.values() for dose in found]
        assert not RECORDED & {dose_status(dose, compiled, now) for dose in doses}
    assert not any(touch.outcome or touch.outstanding or touch.asks for touch in compiled.touches)
    assert all(lumen.last_flush is None and lumen.last_touch is None for lumen in compiled.lumens.values())


def test_no_sample_moves_because_time_passes(sample: Sample) -> None:
    """R14: instants move only by facts and revisions; a plan with an end is the same whenever it is compiled."""
    if sample.plan.course.open_ended is not None:
        later = compile_schedule(sample.plan, EMPTY, Instant(sample.now + 2 * DAY)).touches
        seen_by_both = [touch for touch in later if touch.at < sample.schedule.end - DAY]
        assert seen_by_both == [touch for touch in sample.schedule.touches if touch.at < sample.schedule.end - DAY]
        return
    for days in (1, 5, 400):
        later = compile_schedule(sample.plan, EMPTY, Instant(sample.now + days * DAY)).touches
        assert later == sample.schedule.touches


# Windows, to the minute

WINDOWS = [
    # event | last minute before | first minute in | last minute in | first minute after, and what it is then
    "start       | 07:59 | 08:00 | 10:00 | 10:01 | overdue",
    "start       | 07:59 | 08:00 | 10:00 | 13:00 | overdue",
    "start       | 07:59 | 08:00 | 10:00 | 13:01 | unconfirmed",
    "push        | 07:59 | 08:00 | 10:00 | 10:01 | overdue",
    "push        | 07:59 | 08:00 | 10:00 | 13:01 | unconfirmed",
    "dose        | 07:59 | 08:00 | 10:00 | 10:01 | overdue",
    "dose        | 07:59 | 08:00 | 10:00 | 13:00 | overdue",
    "dose        | 07:59 | 08:00 | 10:00 | 13:01 | unconfirmed",
    "finish      | 09:59 | 10:00 | 10:15 | 10:16 | overdue",
    "finish      | 09:59 | 10:00 | 10:15 | 23:00 | overdue",
    "idle flush  | 06:59 | 07:00 | 07:30 | 07:31 | overdue",
    "idle flush  | 06:59 | 07:00 | 07:30 | 23:00 | overdue",
    "bag change  | 08:59 | 09:00 | 09:15 | 09:16 | overdue",
    "bag change  | 08:59 | 09:00 | 09:15 | 23:00 | overdue",
]


@pytest.mark.parametrize("row", WINDOWS)
def test_windows_to_the_minute(row: str) -> None:
    """Planned, due, then overdue where the household records; a dose past its cut-off is unconfirmed (R14, R18)."""
    event, before, first, last, past, then = (cell.strip() for cell in row.split("|"))

    def is_at(clock: str) -> str:
        return seen(event, [], f"06-02 {clock}").split(" | ")[0]

    assert [is_at(before), is_at(first), is_at(last), is_at(past)] == ["planned", "due", "due", then]


RECORDED_AT = [
    # event | recorded first | the moments at which it is recorded, and what it is then
    ("start", "", "started {dose}", {"07:00": "done", "08:00": "done", "10:00": "done", "10:01": "late"}),
    ("push", "", "started {dose}", {"07:00": "done", "08:00": "done", "10:00": "done", "10:01": "late"}),
    (
        "finish",
        "09:00 started {dose}",
        "finished {dose}\n{at} flushed {lumen}",
        {"09:30": "done", "10:00": "done", "10:15": "done", "10:16": "late"},
    ),
    ("idle flush", "", "flushed {lumen}", {"05:00": "done", "07:00": "done", "07:30": "done", "07:31": "late"}),
    ("bag change", "", "bag-changed {dose}", {"06:00": "done", "09:00": "done", "09:15": "done", "09:16": "late"}),
]


@pytest.mark.parametrize(("event", "first", "line", "then"), RECORDED_AT, ids=[event for event, *_ in RECORDED_AT])
def test_recorded_in_the_window_or_after_it(event: str, first: str, line: str, then: dict[str, str]) -> None:
    """Done up to the last minute of the window, late from the next minute on."""
    for clock, expected in then.items():
        told = _record(event, State(clock, Status.DONE, first))
        facts = f"{clock} {line}".replace("{at}", clock).format(**ABOUT[event]).splitlines()
        shown = seen(event, [*told, *(f"06-02 {fact}" for fact in facts)], "06-02 18:00")
        assert shown.split(" | ")[0] == expected, clock


# Where the household does not record

EVENTS = ["start", "push", "dose", "finish", "idle flush", "bag change"]


@pytest.mark.parametrize("event", EVENTS)
def test_where_the_household_does_not_record_the_past_is_unconfirmed(event: str) -> None:
    """R14: the past is unconfirmed and nothing more; what is ahead, in its window or recorded is as elsewhere."""
    silent = f"[plan]\nhousehold_records = false\n{PLAN}"

    def is_at(clock: str, lines: str = "") -> str:
        compiled = after(silent, lines, f"06-02 {clock}")
        if event == "dose":
            dose = next(dose for dose in compiled.doses["a"] if dose.key == "2026-06-02T09:00")
            return dose_status(dose, compiled, at(f"06-02 {clock}")).value
        touch = _event(compiled, event)
        assert touch is not None
        return status(touch, compiled, at(f"06-02 {clock}")).value

    states = STATES[event]
    assert is_at(states["planned"].now) == "planned"
    assert is_at(states["due"].now) == "due"
    assert is_at(states["overdue"].now) == "unconfirmed"
    assert is_at("23:59") == "unconfirmed"


# Overtaken

OVERTAKING = [
    # what is recorded of the red lumen, or of another | is the start of 09:00 overtaken at 12:00
    ("11:00 flushed lumen=red", True),
    ("11:00 drawn lumen=red", True),
    ("11:00 started order=n dose=x", True),
    ("10:30 finished order=a dose=2026-06-01T09:00", True),
    ("08:30 flushed lumen=red", False),
    ("11:00 flushed lumen=blue", False),
    ("11:00 task-done name=dressing", False),
    ("11:00 problem lumen=red sign=other", False),
    ("11:00 skipped order=a dose=2026-06-03T09:00", False),
    ("11:00 not-given order=a dose=2026-06-01T09:00", False),
    ("11:00 held order=a", False),
    ("11:00 started order=n dose=x elsewhere=yes", False),
]


@pytest.mark.parametrize(("line", "overtaken"), OVERTAKING)
def test_overdue_until_a_later_touch_of_the_lumen_is_recorded(line: str, overtaken: bool) -> None:
    """R14: overdue until recorded, skipped, or overtaken by a later recorded touch of its lumen; then unconfirmed."""
    needed = '[order.n]\nas_needed = true\nmost_in_24h = 2\nleast_spacing = "6 h"\nduration = "30 min"\nuntil_removal = true\n'
    compiled = after(PLAN + needed, f"06-02 {line}", "06-02 12:00")
    start = _event(compiled, "start")
    assert start is not None
    assert status(start, compiled, at("06-02 12:00")).value == ("unconfirmed" if overtaken else "overdue")


def test_a_dose_given_at_its_cut_off_is_late_and_not_a_second_one() -> None:
    """R18: what was unconfirmed past its cut-off and is then said to have been given is one dose, late."""
    told = "06-02 12:40 started order=a dose=2026-06-02T09:00 entered=06-02T18:00"
    compiled = after(PLAN, told, "06-02 18:00")
    doses = [dose for dose in compiled.doses["a"] if at("06-02 00:00") <= dose.start < at("06-03 00:00")]
    assert [dose_status(dose, compiled, at("06-02 18:00")).value for dose in doses] == ["running"]
    start = _event(compiled, "start")
    assert start is not None
    assert status(start, compiled, at("06-02 18:00")) is Status.LATE
