"""When somebody is told of care tasks and planned draws, in which words, and what the list of what is due says of them.

Worked out by hand, to the minute. The plan is invented; clock times are Chicago's, in June 2026, and 1 June is a Monday.
Quiet hours are 22:30 to 06:30. Nothing here is clinical: how often somebody is reminded is the household's.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice, takewhile

import pytest
from histories import after, at, record
from test_care import BLUE, DRAWS, RED, THREE_WEEKS, dressing, every_hours, fridge, labs, task, task_rows

from reminders.record.facts import EMPTY
from reminders.reminding.decide import Notice, decide
from reminders.reminding.matters import Matter, Sort
from reminders.reminding.moments import Stage, tellings
from reminders.reminding.orders import open_matters
from reminders.reminding.outlook import following
from reminders.reminding.wording import LONGEST_BODY, LONGEST_TITLE, text_of
from reminders.schedule.care_now import CareWait, care_now
from reminders.schedule.model import ENDLESS, Schedule, Status
from reminders.schedule.status import status, task_status, waits_until
from reminders.times import Instant
from reminders.views.due import due
from reminders.views.told import open_lines

SETTINGS = (
    '[household]\nquiet_hours = ["22:30-06:30"]\n[pop_up]\nahead = "15 min"\nagain_every = "10 min"\n'
    'urgent_again_every = "3 min"\nordinary_repeats = 3\n[line]\nidle_limit = "20 days"\n'
)
LATE_DOSE = (
    '[lumen.red]\nlast_flushed = "2026-06-01 07:00"\n[order.cefazolin]\nclock_times = ["02:00"]\n'
    'first_dose = "2026-06-02 02:00"\nlast_day = 2026-06-04\nduration = "60 min"\nleast_spacing = "8 h"\n'
)
NINE = LATE_DOSE.replace('"02:00"', '"09:00"').replace("06-02 02:00", "06-02 09:00")
PLAN = THREE_WEEKS + SETTINGS + DRAWS


def mine(text: str) -> str:
    """Return a task that the household does itself."""
    return text.replace('done_by = "nurse"', 'done_by = "household"')


VISIT = task("visit", "visit", 'moments = ["2026-06-03 14:00"]')
DELIVERY = task("delivery", "delivery", 'weekdays = ["Wed"]\nat = "13:00"').replace('"nurse"', '"pharmacy"')
WEDNESDAY = labs('weekdays = ["Wed"]', more='lumen = "blue"\non_time_within = "1 h"')
AT_NIGHT = mine(every_hours(96, "05-31 03:00"))


def matter_of(schedule: Schedule, name: str, now: str, number: int = 0) -> Matter | None:
    """Return a matter about a task, the first that is open unless another is asked for; None if there is none."""
    found = [
        matter
        for matter in open_matters(schedule, EMPTY, at(now))
        if (matter.task is not None and matter.task.task == name)
        or (matter.touch is not None and name in matter.touch.tasks)
    ]
    return found[number] if len(found) > number else None


def told(edits: str, name: str, facts: str, now: str) -> list[str]:
    """Return when the first open matter about a task is told, as local times; the announcement in brackets, ! where urgent."""
    schedule = after(PLAN + edits, facts, now)
    matter = matter_of(schedule, name, now)
    if matter is None:
        return []
    shown = []
    for telling in islice(
        tellings(matter, schedule.plan.pop_ups, schedule.quiet), 20
    ):  # what is urgent is told without end
        moment = f"{schedule.plan.clock.local(telling.moment):%d %H:%M}{'!' if telling.urgent else ''}"
        shown.append(f"({moment})" if telling.stage is Stage.AHEAD else moment)
    return shown


@dataclass(frozen=True)
class Row:
    """A task, what is recorded, and when it is told from ``now`` on or was."""

    name: str
    edits: str
    told: Sequence[str]
    task: str = "dressing"
    facts: str = ""
    now: str = "06-01 09:00"


ROWS = (
    Row(
        "ahead, at its time, three times again, then once a day until it comes round again",
        RED + mine(dressing("05-27 07:00")),
        [
            "(03 09:45)", "03 10:00", "03 10:10", "03 10:20", "03 10:30",
            "04 10:00", "05 10:00", "06 10:00", "07 10:00", "08 10:00", "09 10:00",
        ],
    ),
    Row(
        "what nobody answers for a week is told no more, but stays on the list",
        RED + mine(task("visit", "visit", 'moments = ["2026-06-03 14:00"]')),
        ["(03 13:45)", "03 14:00", "03 14:10", "03 14:20", "03 14:30", *(f"{day:02} 14:00" for day in range(4, 11))],
        "visit",
    ),
    Row("not told once it was done", RED + mine(VISIT), [], "visit", "06-03 13:00 task-done name=visit", "06-03 13:30"),
    Row("not told where it is left out", RED + mine(VISIT), [], "visit", "06-02 13:00 task-skipped name=visit planned_for=06-03T14:00"),
    Row(
        "told anew where it was put off",
        RED + VISIT, ["(04 09:15)", "04 09:30", "04 22:29"], "visit",
        "06-02 10:00 task-put-off name=visit planned_for=06-03T14:00 until=06-04T09:30",
    ),
    Row(
        "a nurse's visit: ahead, at its time, and once in the evening whether she came",
        RED + VISIT, ["(03 13:45)", "03 14:00", "03 22:29"], "visit",
    ),
    Row(
        "a nurse's visit at an agreed time: asked when that is over",
        RED + VISIT + 'on_time_within = "1 h"\n', ["(03 13:45)", "03 14:00", "03 15:00"], "visit",
    ),
    Row("the pharmacy's delivery likewise", RED + DELIVERY, ["(03 12:45)", "03 13:00", "03 22:29"], "delivery"),
    Row("without quiet hours it is asked about when the day ends", RED + VISIT + "[household]\nquiet_hours = []\n", ["(03 13:45)", "03 14:00", "03 23:59"], "visit"),
    Row(
        "nobody is woken for what comes round at 03:00",
        RED + AT_NIGHT, ["04 06:30", "04 06:40", "04 06:50", "04 07:00", "05 06:30", "06 06:30", "07 06:30"], "set",
    ),
    Row(
        "nor announced in the evening what lies after the quiet hours",
        RED + mine(labs('moments = ["2026-06-04 06:40"]')).replace('at = "09:00"\n', ""),
        ["04 06:40", "04 06:50", "04 07:00", "04 07:10", *(f"{day:02} 06:40" for day in range(5, 12))], "labs",
    ),
    Row(
        "a repeat that falls into the quiet hours waits for their end",
        RED + mine(labs('moments = ["2026-06-04 22:15"]')).replace('at = "09:00"\n', ""),
        ["(04 22:00)", "04 22:15", "04 22:25", "05 06:30", *(f"{day:02} 22:15" for day in range(5, 12))], "labs",
    ),
    Row(
        "out of the refrigerator at midnight for a dose at 02:00: told in the night, for that is when it is due",
        LATE_DOSE + mine(fridge()),
        ["(01 23:45)", "02 00:00", "02 00:10", "02 00:20", "02 00:30"], "bag_out",
    ),
    Row(
        "it moves with its dose",
        NINE + mine(fridge()), ["(02 08:45)", "02 09:00", "02 09:10", "02 09:20", "02 09:30"], "bag_out",
        "06-02 06:00 delayed order=cefazolin dose=2026-06-02T09:00 until=06-02T11:00", "06-02 06:30",
    ),
    Row(
        "once its dose has been started, nobody asks whether the bag came out; the next is told",
        NINE + mine(fridge()), ["(03 06:45)", "03 07:00", "03 07:10", "03 07:20", "03 07:30"], "bag_out",
        "06-02 09:00 started order=cefazolin dose=2026-06-02T09:00", "06-02 09:05",
    ),
    Row(
        "not told for a dose that must not be given: its lumen is suspended",
        NINE + mine(fridge()), [], "bag_out", "06-01 12:00 problem lumen=red sign=swelling",
    ),
    Row("nor for one that is not to be given", NINE.replace("06-04", "06-02") + mine(fridge()), [], "bag_out", "06-01 12:00 skipped order=cefazolin dose=2026-06-02T09:00"),
    Row("in hospital they see to it", RED + mine(dressing("05-27 07:00")), [], "dressing", "06-01 08:30 held"),
    Row("nor is asked in hospital what nobody answered before", RED + mine(VISIT), [], "visit", "06-04 09:00 held", "06-04 10:00"),
    Row("home again it is told", RED + mine(VISIT), ["(03 13:45)", "03 14:00", "03 14:10", "03 14:20", "03 14:30", *(f"{day:02} 14:00" for day in range(4, 11))], "visit", "06-01 08:30 held\n06-02 09:00 released", "06-02 10:00"),
    Row("after the line's removal nothing is told", RED + mine(VISIT), [], "visit", "06-01 08:30 line-removed"),
    Row(
        "a household that does not record is told and not asked",
        RED + mine(VISIT) + "[plan]\nhousehold_records = false\n", ["(03 13:45)", "03 14:00"], "visit",
    ),
    Row("a planned draw by the nurse: asked once when its hour is over", RED + BLUE + WEDNESDAY, ["(03 08:45)", "03 09:00", "03 10:00"], "labs"),
    Row(
        "a planned draw that the household does is told like any event",
        RED + BLUE + mine(WEDNESDAY), ["(03 08:45)", "03 09:00", "03 09:10", "03 09:20", "03 09:30"], "labs",
    ),
    Row(
        "a draw by the nurse that was put off into the night wakes nobody",
        RED + BLUE + WEDNESDAY, ["03 06:30", "03 06:45"], "labs",
        "06-02 12:00 task-put-off name=labs planned_for=06-03T09:00 until=06-03T05:45",
    ),
    Row(
        "but one that goes with a dose at 02:00 is told",
        LATE_DOSE + task("trough", "blood draw", 'order = "cefazolin"\nbefore_dose = "30 min"\non_time_within = "15 min"\nlumen = "red"'),
        ["(02 01:15)", "02 01:30", "02 06:30"], "trough",
    ),
    Row(
        "a draw from a suspended lumen is not to be done: told once, and nobody is woken",
        RED + BLUE + WEDNESDAY, ["03 09:00"], "labs", "06-02 12:00 problem lumen=blue sign=swelling",
    ),
    Row("not told that it was drawn, but for its flush", RED + BLUE + WEDNESDAY, ["(03 08:35)", "03 08:50!"], "labs", "06-03 08:50 drawn lumen=blue", "06-03 08:55"),
    Row("what is left out of it is not told", RED + BLUE + WEDNESDAY, ["(10 08:45)", "10 09:00", "10 10:00"], "labs", "06-02 12:00 task-skipped name=labs planned_for=06-03T09:00"),
)  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_when_a_task_is_told(row: Row) -> None:
    shown = told(row.edits, row.task, row.facts, row.now)
    if row.name.startswith("not told that it was drawn"):
        shown = shown[:2]  # it is urgent until somebody says that it was flushed
    assert shown == list(row.told)


def test_the_draw_of_a_suspended_lumen_is_told_as_not_to_be_done() -> None:
    schedule = after(PLAN + RED + BLUE + WEDNESDAY, "06-02 12:00 problem lumen=blue sign=swelling", "06-03 09:00")
    matter = matter_of(schedule, "labs", "06-03 09:00")
    assert matter is not None
    assert matter.sort is Sort.CLOSED


def test_a_bag_for_a_dose_that_comes_too_near_is_asked_about_first() -> None:
    """The dose of the 2nd was given at 22:00, so that of the 3rd at 09:00 is 11 h after it, and the order says 12."""
    near = NINE.replace('"8 h"', '"12 h"') + mine(fridge())
    dose = "order=cefazolin dose=2026-06-02T09:00"
    facts = f"06-02 22:00 started {dose}\n06-02 23:00 finished {dose}"
    schedule = after(PLAN + near, facts, "06-03 07:00")
    matter = matter_of(schedule, "bag_out", "06-03 07:00")
    assert matter is not None
    assert matter.sort is Sort.ASK_FIRST
    text = next(
        text_of(notice, schedule, at("06-03 07:00")) for notice in popups(schedule, "06-03 07:00") if not notice.late
    )
    assert text.title == "ASK FIRST: bag out"
    assert "Ask about cefazolin before you do this: call On-call nurse" in text.body
    assert [found.wait for found in care_now(schedule, at("06-03 07:00")).waits] == [CareWait.ASK_FIRST]


def test_a_limit_that_passes_while_a_draw_waits_is_asked_about() -> None:
    """The draw would have flushed the lumen. The nurse was to come at 09:00; its 48 h were over at 07:00 of the 3rd."""
    edits = PLAN + RED + BLUE + 'idle_limit = "50 h"\n' + WEDNESDAY
    schedule = after(edits, "", "06-03 09:30")
    limits = [m for m in open_matters(schedule, EMPTY, at("06-03 09:30")) if m.sort is Sort.LIMIT]
    assert [(m.lumen, m.at) for m in limits] == [("blue", at("06-03 09:00"))]
    assert limits[0].urgent_from is not None


def test_a_task_is_never_urgent() -> None:
    schedule = after(PLAN + NINE + mine(fridge()) + mine(dressing("05-27 07:00")) + AT_NIGHT + VISIT, "", "06-02 10:00")
    of_tasks = [matter for matter in open_matters(schedule, EMPTY, at("06-02 10:00")) if matter.task is not None]
    assert {matter.task.task for matter in of_tasks if matter.task} >= {"dressing"}
    assert all(matter.urgent_from is None for matter in of_tasks)


def test_a_task_is_told_exactly_as_long_as_it_waits() -> None:
    """The status, and the moment up to which a matter is told, agree in every minute of a week."""
    edits = PLAN + NINE + mine(fridge()) + mine(dressing("05-27 07:00", 2)) + AT_NIGHT
    facts = "06-02 09:20 started order=cefazolin dose=2026-06-02T09:00\n06-05 11:00 task-done name=dressing"
    schedule = after(edits, facts, "06-02 10:00")
    checked = 0
    for event in schedule.tasks:
        if event.outcome is not None:
            continue
        later = [other for other in schedule.tasks if other.task == event.task and other.planned > event.planned]
        until = waits_until(event, later)
        for minute in range(at("06-01 08:00"), at("06-08 08:00")):
            how = task_status(event, schedule, Instant(minute))
            assert how is not Status.OVERDUE or minute < until
            assert how is not Status.UNCONFIRMED or minute >= until
            checked += how in (Status.OVERDUE, Status.UNCONFIRMED)
    assert checked > 5000


# --- One pop-up, and its words ---


def popups(schedule: Schedule, now: str, told_before: str = "") -> tuple[Notice, ...]:
    """Return what is told at a moment, if everything up to another one was told before."""
    before = {}
    if told_before:
        for matter in open_matters(schedule, EMPTY, at(now)):
            moments = [
                telling.moment
                for telling in takewhile(
                    lambda telling: telling.moment <= at(told_before),
                    tellings(matter, schedule.plan.pop_ups, schedule.quiet),
                )
            ]
            before.update({matter.key: moments[-1]} if moments else {})
    return decide(schedule, before, at(now)).notices


def shown(edits: str, now: str, facts: str = "", told_before: str = "") -> list[tuple[str, str]]:
    """Return the title and the body of each pop-up of a moment, the body in one line."""
    schedule = after(PLAN + edits, facts, now)
    texts = [text_of(notice, schedule, at(now)) for notice in popups(schedule, now, told_before)]
    assert all(len(text.title) <= LONGEST_TITLE and len(text.body) <= LONGEST_BODY for text in texts)
    return [(text.title, text.body.replace("\n", " ")) for text in texts]


CALL = "Something does not look right? Call On-call nurse, Fennimore Vale, 555-0142. Your provider's word goes first."
WORDS = {
    "ahead": (RED + mine(VISIT), "06-03 13:45", "", "In 15 min: visit", f"14:00 CDT. {CALL}"),
    "at its time": (RED + mine(VISIT), "06-03 14:00", "06-03 13:59", "Now: visit", f"14:00 CDT. {CALL}"),
    "again": (
        RED + mine(VISIT), "06-03 14:10", "06-03 14:00",
        "Was it done? visit", f"14:00 CDT, 10 min ago. Record it; if it was not done, look on the page. {CALL}",
    ),
    "the nurse's ahead": (RED + VISIT, "06-03 13:45", "", "In 15 min: visit (the nurse)", f"14:00 CDT. {CALL}"),
    "the nurse's in the evening": (
        RED + VISIT, "06-03 22:29", "06-03 14:00",
        "Was the nurse here? visit", f"14:00 CDT, 8 h 29 min ago. Record it; if it was not done, look on the page. {CALL}",
    ),
    "a delivery in the evening": (
        RED + DELIVERY, "06-03 22:29", "06-03 13:00",
        "Did it come? delivery", f"13:00 CDT, 9 h 29 min ago. Record it; if it was not done, look on the page. {CALL}",
    ),
    "with its dose": (
        NINE + mine(fridge()), "06-02 07:00", "06-02 06:59",
        "Now: bag out", f"07:00 CDT. It goes with cefazolin 1 g, which starts at 09:00 CDT. {CALL}",
    ),
    "what came round at night": (
        RED + AT_NIGHT, "06-04 06:30", "", "Now: set", f"03:00 CDT, 3 h 30 min ago. {CALL}",
    ),
    "a draw by the nurse": (
        RED + BLUE + WEDNESDAY, "06-03 10:00", "06-03 09:00",
        "Was the nurse here? blue lumen, blood draw: labs (nurse only)",
        "09:00 CDT, 1 h ago. If so, record it. STOP, clamp, call On-call nurse, Fennimore Vale, 555-0142 if it will not flush, "
        "hurts, swells or leaks. Your provider's word goes first.",
    ),
    "discreet": (
        RED + VISIT + '[pop_up]\ndiscreet = true\n', "06-03 14:00", "06-03 13:59", "Reminder", "14:00 CDT. See your page.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WORDS)
def test_the_words_of_a_pop_up(name: str) -> None:
    edits, now, before, title, body = WORDS[name]
    assert shown(edits, now, told_before=before) == [(title, body)]


def test_what_falls_together_is_one_pop_up() -> None:
    edits = NINE + mine(labs('weekdays = ["Tue"]')) + VISIT.replace("06-03 14:00", "06-02 09:00")
    (only,) = shown(edits, "06-02 09:00", told_before="06-02 08:59")
    assert only[0] == "3 things now"
    for part in ("09:00 CDT: red lumen, start cefazolin 1 g", "09:00 CDT: labs", "09:00 CDT: visit (the nurse)"):
        assert part in only[1]
    assert "STOP, clamp" in only[1], "where a lumen is handled, it says when to stop"


def test_what_a_sleeping_computer_missed_is_told_together() -> None:
    edits = RED + mine(labs('weekdays = ["Tue"]')) + VISIT.replace("06-03 14:00", "06-02 10:00")
    (only,) = shown(edits, "06-02 11:00")
    assert only[0] == "2 things to answer, the first 2 h late"


def test_a_discreet_household_is_told_nothing_that_a_stranger_could_use() -> None:
    edits = NINE + mine(fridge()) + mine(dressing("05-26 07:00")) + VISIT + "[pop_up]\ndiscreet = true\n"
    for now in ("06-02 07:00", "06-02 10:00", "06-03 14:00"):
        told = " ".join(f"{title} {body}" for title, body in shown(edits, now)).lower()
        assert told
        assert not [word for word in ("bag", "dressing", "visit", "cefazolin", "nurse") if word in told]


def test_the_outlook_names_the_tasks_that_come() -> None:
    schedule = after(PLAN + NINE + mine(fridge()) + VISIT, "", "06-02 06:00")
    lines = [
        f"{schedule.plan.clock.local(moment):%d %H:%M} {title}"
        for moment, title in following(schedule, at("06-02 06:00"), at("06-03 15:00"))
    ]
    assert "02 06:45 In 15 min: bag out" in lines
    assert "03 14:00 Now: visit (the nurse)" in lines


# --- What is due, and what waits for an answer ---


def care_part(edits: str, facts: str, now: str) -> list[str]:
    """Return the lines about care tasks in the list of what is due."""
    text = due(after(PLAN + edits, facts, now), at(now))
    if "\nCare tasks\n" not in text:
        return []
    part = text.partition("\nCare tasks\n")[2].partition("\n\n")[0]
    return [line.strip() for line in part.splitlines()]


NURSE = "The nurse does this."
DUE = {
    "nothing waits: what comes next": (
        RED + dressing("05-27 07:00") + VISIT, "", "06-02 09:00",
        [f"Next: dressing, Wed 3 Jun 2026, 10:00 CDT. {NURSE}", f"Next: visit, Wed 3 Jun 2026, 14:00 CDT. {NURSE}"],
    ),
    "due all day": (
        RED + mine(dressing("05-27 07:00")), "", "06-03 00:30", ["Due: dressing, 10:00 CDT. At any hour of this day. You do this."],
    ),
    "due in its window": (
        NINE + mine(fridge()), "", "06-02 06:45",
        ["Due: bag out, 07:00 CDT. On time from 06:30 CDT to 07:30 CDT. You do this."],
    ),
    "overdue: was it done?": (
        RED + mine(dressing("05-27 07:00")), "", "06-04 08:00",
        [
            "Was it done? dressing, Wed 3 Jun 2026, 10:00 CDT (22 h ago). Record it. Only if it was not done, do it now, or say "
            "to when it is put off.",
        ],
    ),
    "overdue, and the nurse does it": (
        RED + dressing("05-27 07:00"), "", "06-04 08:00",
        [
            "Was the nurse here? dressing, Wed 3 Jun 2026, 10:00 CDT (22 h ago). Record it. If not, ask On-call nurse, "
            "Fennimore Vale, 555-0142 when it will be.",
        ],
    ),
    "overdue, and its dose is to come": (
        NINE + mine(fridge()), "", "06-02 08:00",
        [
            "Was it done? bag out, 07:00 CDT (1 h ago). Record it. If it was not done, ask On-call nurse, Fennimore Vale, "
            "555-0142 before you go on: cefazolin goes with it.",
        ],
    ),
    "its dose must not be given": (
        NINE + mine(fridge()), "06-02 06:00 problem lumen=red sign=swelling", "06-02 07:00",
        [
            "Not to be done now: bag out, 07:00 CDT. Leave this: cefazolin must not be given now. Call On-call nurse, Fennimore "
            "Vale, 555-0142.",
        ],
    ),
    "looked after elsewhere": (RED + VISIT, "06-03 13:00 held", "06-03 15:00", ["Held: looked after elsewhere."]),
    "done": (RED + VISIT, "06-03 14:10 task-done name=visit", "06-03 15:00", []),
    "the line is out": (RED + VISIT, "06-03 13:00 line-removed", "06-03 15:00", []),
    "a plan without tasks": (RED, "", "06-03 15:00", []),
}  # fmt: skip


@pytest.mark.parametrize("name", DUE)
def test_the_list_of_what_is_due(name: str) -> None:
    edits, facts, now, expected = DUE[name]
    assert care_part(edits, facts, now) == expected


def test_a_draw_stands_with_its_lumen_and_asks_whether_the_nurse_came() -> None:
    text = due(after(PLAN + RED + BLUE + WEDNESDAY, "", "06-03 10:30"), at("06-03 10:30"))
    assert "\nCare tasks\n" not in text
    assert (
        "Was the nurse here? blood draw: labs (nurse only), 09:00 CDT (1 h 30 min ago). Record it. If it was not done, do not make "
        "it up: ask On-call nurse" in text
    )


TOLD_LINES = {
    "again": (RED + mine(VISIT), "", "06-03 14:15", "14:10 CDT  Was it done? visit; told again at 14:20 CDT."),
    "the next day": (RED + mine(VISIT), "", "06-03 15:00", "14:30 CDT  Was it done? visit; told again at Thu 4 Jun 2026, 14:00 CDT."),
    "the nurse is asked about once": (RED + VISIT, "", "06-03 15:00", "14:00 CDT  Was the nurse here? visit; told again at 22:29 CDT."),
    "and then no more": (
        RED + VISIT, "", "06-04 09:00",
        "Wed 3 Jun 2026, 22:29 CDT  Was the nurse here? visit; not told again: it is asked once whether somebody came.",
    ),
    "in hospital": (RED + VISIT, "06-03 13:00 held", "06-03 15:00", "Of the care tasks nothing is told: the line is looked after elsewhere."),
}  # fmt: skip


@pytest.mark.parametrize("name", TOLD_LINES)
def test_what_waits_for_an_answer_says_when_it_is_told_again_or_why_not(name: str) -> None:
    edits, facts, now, line = TOLD_LINES[name]
    assert line in open_lines(after(PLAN + edits, facts, now), at(now))


def test_nothing_told_outlives_the_plan() -> None:
    """A task that nobody answered is asked about each day up to the plan's end, and not after it."""
    schedule = after(PLAN + RED + mine(task("visit", "visit", 'moments = ["2026-06-20 14:00"]')), "", "06-20 15:00")
    matter = matter_of(schedule, "visit", "06-20 15:00")
    assert matter is not None
    last = max(telling.moment for telling in tellings(matter, schedule.plan.pop_ups, schedule.quiet))
    assert last < schedule.end < ENDLESS


def test_the_rows_hold_what_the_schedule_has() -> None:
    """The tables' plans have the tasks where their rows say that they are."""
    schedule = after(PLAN + LATE_DOSE + mine(fridge()), "", "06-01 09:00")
    assert task_rows(schedule, "06-01 09:00")[0] == "02 00:00 planned bag out"
    drawn = after(PLAN + RED + BLUE + WEDNESDAY, "", "06-03 09:30")
    assert next(status(touch, drawn, at("06-03 09:30")) for touch in drawn.touches if touch.tasks) is Status.DUE


def test_a_wet_dressing_is_asked_about_once_a_day_until_it_was_seen_to() -> None:
    wet = "06-02 20:00 problem sign=other note=dressing_wet"
    schedule = after(PLAN + RED + VISIT, wet, "06-02 21:00")
    (matter,) = [m for m in open_matters(schedule, record(wet), at("06-02 21:00")) if m.sign is not None]
    found = [
        f"{schedule.plan.clock.local(t.moment):%d %H:%M}"
        for t in tellings(matter, schedule.plan.pop_ups, schedule.quiet)
    ]
    assert found[:3] == ["02 21:00", "03 21:00", "04 21:00"]
    assert not any(t.urgent for t in islice(tellings(matter, schedule.plan.pop_ups, schedule.quiet), 5))
    (notice,) = [
        n for n in decide(schedule, {}, at("06-02 21:00"), record=record(wet)).notices if n.items[0].matter.sign
    ]
    text = text_of(notice, schedule, at("06-02 21:00"))
    assert text.title == "Did you call? The dressing is wet"
    assert text.body.startswith("Since 20:00 CDT. Call ")
    assert len(text.body) <= LONGEST_BODY
    changed = f"{wet}\n06-02 20:30 task-done name=dressing"
    seen = after(PLAN + RED + VISIT, changed, "06-02 21:00")
    assert not [m for m in open_matters(seen, record(changed), at("06-02 21:00")) if m.sign is not None]
