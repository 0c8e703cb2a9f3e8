"""What a household says of care tasks and planned draws, into facts, a question back, and an answer (R13, R20, R27).

The plan is invented. It is Wednesday 3 June 2026, 09:05 on Chicago's clock, unless a row says otherwise; what follows was
worked out from the rules by hand. What is done to a line how often is common practice, and no number of it is built in.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
import small_plans
from click.testing import CliRunner
from histories import after, at, plan, record
from own_places import own_places
from test_care import BLUE, DRAWS, THREE_WEEKS, dressing, fridge, labs, task, task_rows
from test_saying import hear, lines_of, options_of, plain

from reminders.cli import main
from reminders.fact_words import fact_words
from reminders.record.facts import Fact
from reminders.record.lines import fact_of, line_of
from reminders.saying.answer import answer, changes
from reminders.saying.phrases import NotUnderstoodError, Said, Verb, said
from reminders.saying.task_names import Fit, tasks_meant
from reminders.saying.which import AskBackError
from reminders.schedule.compile import compile_schedule
from reminders.schedule.model import TouchKind
from reminders.schedule.status import status

VISIT = task("visit", "visit", 'moments = ["2026-06-03 14:00", "2026-06-10 14:00"]')
WEIGHING = task(
    "weight", "weighing", 'every_days = 1\nat = "08:00"\nlast_done = "2026-06-01 07:00"\non_time_within = "1 h"'
)
PLAN = (
    THREE_WEEKS
    + DRAWS
    + small_plans.DAILY
    + BLUE
    + dressing().replace('label = "dressing"', 'label = "Change the dressing"')
    + fridge().replace('"bag out"', '"Take the bag of cefazolin out"').replace("bag_out", "bag")
    + labs('weekdays = ["Wed"]', more='lumen = "blue"\non_time_within = "1 h"').replace(
        '"labs"', '"Blood count, blue lumen"'
    )
    + VISIT
    + task("delivery", "delivery", 'weekdays = ["Tue"]\nat = "13:00"').replace('"nurse"', '"pharmacy"')
)
"""Red: cefazolin at 09:00 each day; its bag comes out at 07:00. Blue: a draw on Wednesdays at 09:00. A dressing each week,
next on Monday 8 June at 10:00; visits on the 3rd and the 10th at 14:00; a delivery on Tuesdays at 13:00."""

NOW = "06-03 09:05"


def _days(*days: int) -> str:
    """Return days on which all doses, flushes and bags were recorded as planned, so that nothing else waits."""
    told = []
    for day in days:
        dose = f"order=cefazolin dose=2026-06-0{day}T09:00"
        told += [f"06-0{day} 07:00 task-done name=bag", f"06-0{day} 08:00 flushed lumen=blue"]
        told += [f"06-0{day} 09:00 started {dose}", f"06-0{day} 10:00 finished {dose} report=f{day}"]
        told += [f"06-0{day} 10:00 flushed lumen=red report=f{day}", f"06-0{day} 19:00 flushed lumen=blue"]
        told += [f"06-0{day} 21:00 flushed lumen=red"]
    return "\n".join(told)


UP_TO_NOW = f"{_days(1, 2)}\n06-02 13:10 task-done name=delivery"
DRAWN = "06-03 08:50 task-done name=labs report=d\n06-03 08:50 drawn lumen=blue report=d by=Ina"
SKIPPED = "06-03 08:30 task-skipped name=dressing planned_for=06-08T10:00 by=Ina"
MOVED = "06-03 08:30 task-put-off name=visit planned_for=06-03T14:00 until=06-04T14:00"


AHEAD = (
    "06-02 13:10 task-done name=delivery\n06-03 07:00 task-done name=bag\n"
    "06-03 09:00 started order=cefazolin dose=2026-06-03T09:00\n06-03 10:00 finished order=cefazolin dose=2026-06-03T09:00\n"
    "06-03 10:00 flushed lumen=red\n06-03 09:00 drawn lumen=blue report=d\n06-03 09:00 task-done name=labs report=d\n"
    "06-03 09:00 flushed lumen=blue"
)
"""All that waited on that morning was done."""


# --- What the words name ---

NAMED = [
    ("dressing", Fit.EXACT, ["dressing"]),
    ("Change the dressing", Fit.EXACT, ["dressing"]),
    ("change dressing", Fit.EXACT, ["dressing"]),
    ("DRESS", Fit.BEGINS, ["dressing"]),
    ("blood count", Fit.BEGINS, ["labs"]),
    ("blood draw", Fit.KIND, ["labs"]),
    ("take the bag", Fit.BEGINS, ["bag"]),
    ("bag", Fit.EXACT, ["bag"]),
    ("out of the refrigerator", Fit.KIND, ["bag"]),
    ("the visit", Fit.EXACT, ["visit"]),
    ("refrigerator", Fit.WORDS, ["bag"]),
    ("lumen", Fit.WORDS, ["labs"]),
    ("fridge", Fit.NONE, []),
    ("d", Fit.NONE, []),  # one letter is no word
    ("de", Fit.BEGINS, ["delivery"]),
    ("not dressing", Fit.NONE, []),
    ("no visit", Fit.NONE, []),
    ("new cap", Fit.NONE, []),
    ("", Fit.NONE, []),
]


@pytest.mark.parametrize(("text", "fit", "names"), NAMED)
def test_which_tasks_some_words_mean(text: str, fit: Fit, names: list[str]) -> None:
    assert tasks_meant(text, plan(PLAN).tasks) == (fit, names)


TAKEN_APART = [
    ("done dressing", Said(verb=Verb.TASK_DONE, name="dressing")),
    ("dressing done yesterday 14:00", Said(verb=Verb.TASK_DONE, name="dressing", when="yesterday 14:00")),
    ("task done dressing 20 min ago", Said(verb=Verb.TASK_DONE, name="dressing", when="20 min ago")),
    ("done labs and flushed", Said(verb=Verb.TASK_DONE, name="labs", flushed=True)),
    ("done labs", Said(verb=Verb.TASK_DONE, name="labs")),
    ("blood count drawn, and flushed 9:00", Said(verb=Verb.TASK_DONE, name="blood count", flushed=True, when="9:00")),
    ("done labs through red", Said(verb=Verb.TASK_DONE, name="labs", lumen="red")),
    ("delivery arrived", Said(verb=Verb.TASK_DONE, name="delivery")),
    ("put off dressing to tomorrow 10:00", Said(verb=Verb.TASK_PUT_OFF, name="dressing", when="to tomorrow 10:00")),
    ("visit moved to Thu 14:00", Said(verb=Verb.TASK_PUT_OFF, name="visit", when="to Thu 14:00")),
    ("task put off visit until tomorrow 9:00", Said(verb=Verb.TASK_PUT_OFF, name="visit until", when="tomorrow 9:00")),
    ("skipped dressing", Said(verb=Verb.TASK_SKIPPED, name="dressing")),
    ("skipped dressing tomorrow", Said(verb=Verb.TASK_SKIPPED, name="dressing", when="tomorrow")),
    ("done dressing 2 Jun 11:00", Said(verb=Verb.TASK_DONE, name="dressing", when="2 Jun 11:00")),
    (
        "done dressing Tue 2 Jun 2026, 11:00 CDT",
        Said(verb=Verb.TASK_DONE, name="dressing", when="Tue 2 Jun 2026 11:00 CDT"),
    ),
    ("task skipped labs", Said(verb=Verb.TASK_SKIPPED, name="labs")),
    ("done dresing", Said(verb=Verb.TASK_DONE, name="dresing")),  # which one it is, is asked back
    # What names an order or a lumen is about that, as before.
    ("put off cefazolin to 11:00", Said(verb=Verb.DELAYED, order="cefazolin", when="to 11:00")),
    ("cefazolin moved to 11:00", Said(verb=Verb.DELAYED, order="cefazolin", when="to 11:00")),
    ("skipped red", Said(verb=Verb.SKIPPED, lumen="red")),
    ("drawn blue", Said(verb=Verb.DRAWN, lumen="blue")),
    ("delivered 40 saline syringe", Said(verb=Verb.DELIVERED, count=40, name="saline syringe")),
    ("done", Said(verb=Verb.DONE, flushed=True)),
]


@pytest.mark.parametrize(("saying", "expected"), TAKEN_APART)
def test_what_is_said_is_taken_apart(saying: str, expected: Said) -> None:
    assert said(saying.split(), plan(PLAN)) == expected


@pytest.mark.parametrize(
    ("saying", "parts"),
    [
        ("not done dressing", ("not dressing",)),
        ("done nothing", ("nothing",)),
        ("task put off physiotherapy to tomorrow 9:00", ("physiotherapy", "Change the dressing", "visit")),
        ("task skipped", ("skipped dressing",)),
        ("task put off", ("put off dressing to tomorrow 10:00",)),
        ("skipped never", ("never", "red lumen")),
        ("done fridge", ("names no order, no lumen and no care task", "cefazolin, red lumen", "Change the dressing; ")),
        ("undo", ("reminders undo",)),
    ],
)
def test_what_names_no_task_is_told_with_those_that_there_are(saying: str, parts: Sequence[str]) -> None:
    with pytest.raises(NotUnderstoodError) as caught:
        said(saying.split(), plan(PLAN))
    for part in parts:
        assert part in str(caught.value)
    assert str(caught.value).endswith(".")


def test_a_word_that_fits_a_task_and_a_lumen_alike_is_asked_about() -> None:
    both = plan(PLAN + task("reduce", "other", 'moments = ["2026-06-04 10:00"]'))
    with pytest.raises(NotUnderstoodError, match="a care task, and an order or a lumen"):
        said(["skipped", "re"], both)
    assert said(["skipped", "red"], both) == Said(verb=Verb.SKIPPED, lumen="red")


# --- The facts ---


@dataclass(frozen=True)
class Row:
    """A saying after a record, and the facts that come of it."""

    saying: str
    facts: str
    before: str = UP_TO_NOW
    now: str = NOW
    options: tuple[tuple[str, Any], ...] = ()


ROWS = [
    Row("done dressing", "06-03 09:05 task-done name=dressing"),
    Row("task done change the dressing 8:30", "06-03 08:30 task-done name=dressing"),
    Row("done dress 20 min ago", "06-03 08:45 task-done name=dressing"),
    Row("task done new cap", "06-03 09:05 task-done name=new_cap"),  # none of the plan's: as it was said
    Row("done labs", "06-03 09:05 task-done name=labs\n06-03 09:05 drawn lumen=blue"),
    Row(
        "done labs and flushed 9:00",
        "06-03 09:00 task-done name=labs\n06-03 09:00 drawn lumen=blue\n06-03 09:00 flushed lumen=blue",
    ),
    Row("blood count drawn through red", "06-03 09:05 task-done name=labs\n06-03 09:05 drawn lumen=red"),
    Row("drawn blue and flushed", "06-03 09:05 drawn lumen=blue\n06-03 09:05 flushed lumen=blue"),
    # once more in the same minute is the same; the flush after a draw that was reported is what is left to say
    Row("done labs 8:50", "", f"{UP_TO_NOW}\n{DRAWN}"),
    Row("done labs and flushed", "06-03 09:05 flushed lumen=blue", f"{UP_TO_NOW}\n{DRAWN}"),
    Row("drawn blue and flushed", "06-03 09:05 flushed lumen=blue", f"{UP_TO_NOW}\n{DRAWN}"),
    Row("done dressing 9:00", "", f"{UP_TO_NOW}\n06-03 09:00 task-done name=dressing"),
    # a second one, if somebody says so; and hours later it is one of its own
    Row("done dressing", "06-03 09:05 task-done name=dressing", f"{UP_TO_NOW}\n06-03 08:50 task-done name=dressing", NOW, (("again", True),)),
    Row("done dressing", "06-04 09:05 task-done name=dressing", f"{UP_TO_NOW}\n06-03 09:00 task-done name=dressing", "06-04 09:05"),
    Row("put off dressing to tomorrow 10:00", "06-03 09:05 task-put-off name=dressing planned_for=06-08T10:00 until=06-04T10:00"),
    Row("put off dressing to 2026-06-09 10:00", "06-03 09:05 task-put-off name=dressing planned_for=06-08T10:00 until=06-09T10:00"),
    # the next ones count from it, so it is clear which is meant however far it is put off
    Row("put off dressing to 2026-06-16 10:00", "06-03 09:05 task-put-off name=dressing planned_for=06-08T10:00 until=06-16T10:00"),
    Row("visit moved to Thu 14:00", "06-03 09:05 task-put-off name=visit planned_for=06-03T14:00 until=06-04T14:00"),
    Row("visit moved to 13:00", "06-03 09:05 task-put-off name=visit planned_for=06-03T14:00 until=06-03T13:00"),
    Row("visit moved to Thu 14:00", "", f"{UP_TO_NOW}\n{MOVED}"),  # said by two people
    Row("visit moved to Thu 15:00", "06-03 09:05 task-put-off name=visit planned_for=06-04T14:00 until=06-04T15:00", f"{UP_TO_NOW}\n{MOVED}"),
    Row("put off labs to 12:00", "06-03 09:05 task-put-off name=labs planned_for=06-03T09:00 until=06-03T12:00"),
    Row("put off the bag to 8:30", "06-03 07:20 task-put-off name=bag planned_for=06-03T07:00 until=06-03T08:30", UP_TO_NOW, "06-03 07:20"),
    Row("skipped dressing", "06-03 09:05 task-skipped name=dressing planned_for=06-08T10:00"),
    Row("skipped labs", "06-03 09:05 task-skipped name=labs planned_for=06-03T09:00"),
    Row("skipped visit", "06-03 09:05 task-skipped name=visit planned_for=06-03T14:00", UP_TO_NOW, NOW, (("said_by", "Dr Ito"),)),
    # the one that waits since yesterday, not the next
    Row("skipped dressing", "06-09 09:05 task-skipped name=dressing planned_for=06-08T10:00", UP_TO_NOW, "06-09 09:05"),
    Row("put off dressing to 16:00", "06-09 09:05 task-put-off name=dressing planned_for=06-08T10:00 until=06-09T16:00", UP_TO_NOW, "06-09 09:05"),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.saying}, {row.now}")
def test_the_facts_of_a_saying(row: Row) -> None:
    facts = hear(row.saying, row.before, row.now, PLAN, **dict(row.options))
    told = [replace(fact, said_by="") for fact in plain(facts)]
    assert told == lines_of(row.facts)
    assert {fact.report for fact in facts} <= {"k"}
    assert [fact_of(line_of(fact)) for fact in facts] == list(facts), "it can be kept"


def test_who_said_that_it_may_wait_is_kept() -> None:
    (fact,) = hear("skipped visit", UP_TO_NOW, NOW, PLAN, said_by="nurse Ruiz", by="Ben")
    assert (fact.said_by, fact.by) == ("nurse Ruiz", "Ben")


# --- Questions back ---


@dataclass(frozen=True)
class Asked:
    """A saying that is asked back: parts of the question, and of its answers."""

    saying: str
    problem: str
    answers: Sequence[str]
    before: str = UP_TO_NOW
    now: str = NOW


ASKED = [
    Asked("done dresing", 'Which care task is "dresing"?', ["Change the dressing", "record it as said"]),
    Asked("dressing done by nurse", 'Which care task is "dressing by nurse"?', ["Change the dressing", "record it as said"]),
    Asked(
        "done dressing",
        "Change the dressing: this was already reported as done by Ina, at Wed 3 Jun 2026, 08:50 CDT.",
        ["the same: nothing to record", "a second time"],
        f"{UP_TO_NOW}\n06-03 08:50 task-done name=dressing by=Ina",
    ),
    Asked("done labs", "already reported as done by Ina, at Wed 3 Jun", ["the same", "a second time"], f"{UP_TO_NOW}\n{DRAWN}"),
    Asked("drawn blue", "Blood count, blue lumen: this was already reported", ["the same", "a second time"], f"{UP_TO_NOW}\n{DRAWN}"),
    Asked(
        "skipped dressing",
        "Change the dressing: that the one of Mon 8 Jun 2026, 10:00 CDT is not to be done was already reported by Ina.",
        ["the same", "The one of Mon 15 Jun 2026, 10:00 CDT is left out too"],
        f"{UP_TO_NOW}\n{SKIPPED}",
    ),
    Asked(
        "visit moved to 2026-06-11 14:00",
        "Which one is put off: visit?",
        ["the one of Wed 3 Jun 2026, 14:00", "the one of Wed 10 Jun 2026, 14:00"],
    ),
    Asked("put off dressing", "Say a time that is still to come", []),
    Asked("put off dressing to yesterday 10:00", "", []),
    Asked("done dressing 11:00", "is still to come", []),
    Asked("done dressing 2026-05-30 10:00", "before the plan began", []),
    Asked("skipped visit", "No time is planned for: visit.", [], UP_TO_NOW, "06-12 09:00"),
    Asked("done", "More than one thing is due. Which was done?", ["start cefazolin", "blood draw"]),
    Asked("done", "Nothing is due yet. Which was done?", ["visit, Wed 3 Jun 2026, 14:00"], f"{_days(1, 2)}\n{AHEAD}", "06-03 10:30"),
    Asked("skipped visit tomorrow", "visit: none is planned for Thu 4 Jun 2026. Which one is left out?", ["the one of Wed 3 Jun 2026, 14:00", "the one of Wed 10 Jun 2026, 14:00"]),
    Asked("skipped visit 31 Jun", "There is no day 31 jun.", []),
]  # fmt: skip


@pytest.mark.parametrize("asked", ASKED, ids=lambda asked: f"{asked.saying}, {asked.problem[:30]}")
def test_what_is_unclear_is_asked_back(asked: Asked) -> None:
    before = asked.before + (
        "" if asked.problem[:7] != "No time" else "\n06-10 14:00 task-done name=visit\n06-03 14:00 task-done name=visit"
    )
    with pytest.raises(AskBackError) as caught:
        hear(asked.saying, before, asked.now, PLAN)
    question = caught.value
    assert asked.problem in question.problem
    assert question.problem.endswith((".", "?"))
    words = [choice.words for choice in question.choices]
    for part in asked.answers:
        assert any(part in word for word in words), words
    for choice in question.choices:
        if choice.changes:
            chosen = hear(asked.saying, before, asked.now, PLAN, **choice.changes)
            assert chosen, "an answer leads to facts"
            assert hear(asked.saying, before, asked.now, PLAN, **options_of(choice.say)) == chosen, choice.say


def test_a_task_at_which_two_waits_are_open_is_asked_about() -> None:
    """A dose at 06:00 and one at 09:00 of one order: both bags are to come out, and both may be left out."""
    two = PLAN.replace('clock_times = ["09:00"]', 'clock_times = ["07:30", "09:00"]').replace(
        "2026-06-01 09:00", "2026-06-01 07:30"
    )
    two = two.replace('least_spacing = "8 h"', 'least_spacing = "1 h"').replace(
        'duration = "60 min"', 'duration = "30 min"'
    )
    with pytest.raises(AskBackError, match="Which one is left out") as caught:
        hear("skipped bag", "", "06-03 07:10", two)
    assert [choice.words for choice in caught.value.choices] == [
        "the one of Wed 3 Jun 2026, 05:30 CDT",
        "the one of Wed 3 Jun 2026, 07:00 CDT",
    ]
    (fact,) = hear("skipped bag", "", "06-03 07:10", two, event=caught.value.choices[0].changes["event"])
    assert fact.planned_for == at("06-03 05:30")


def test_a_weighing_each_day_is_no_second_one_of_yesterday() -> None:
    weighed = "06-02 08:10 task-done name=weight"
    assert hear("done weight", weighed, "06-03 07:50", PLAN + WEIGHING)
    with pytest.raises(AskBackError, match="already reported as done"):
        hear("done weight", weighed, "06-02 12:00", PLAN + WEIGHING)


def test_a_time_that_was_answered_meanwhile_is_not_put_off() -> None:
    (visit,) = [
        event for event in after(PLAN, "", NOW).tasks if event.task == "visit" and event.planned == at("06-03 14:00")
    ]
    with pytest.raises(AskBackError, match="recorded meanwhile"):
        hear("visit moved to Thu 14:00", "06-03 09:00 task-done name=visit", NOW, PLAN, event=visit.uid)


# --- ``done`` ---


def test_done_means_the_only_thing_that_waits_a_nurses_visit_too() -> None:
    done = f"{UP_TO_NOW}\n{_days(3)}\n06-03 09:00 task-done name=labs report=x\n06-03 09:00 drawn lumen=blue report=x\n06-03 09:05 flushed lumen=blue"
    facts = hear("done", done, "06-03 14:30", PLAN)
    assert plain(facts) == lines_of("06-03 14:30 task-done name=visit")


def test_done_of_a_planned_draw_is_the_task_the_draw_and_its_flush() -> None:
    before = f"{UP_TO_NOW}\n06-03 07:00 task-done name=bag\n06-03 08:30 task-done name=visit"
    (draw,) = [t for t in after(PLAN, before, "06-03 08:55").touches if t.tasks and t.at == at("06-03 09:00")]
    facts = hear("done", before, "06-03 08:55", PLAN, event=draw.uid[:8])
    assert plain(facts) == lines_of(
        "06-03 08:55 task-done name=labs\n06-03 08:55 drawn lumen=blue\n06-03 08:55 flushed lumen=blue"
    )
    given = hear("given", before, "06-03 08:55", PLAN, event=draw.uid[:8])
    assert [fact.kind.value for fact in given] == ["task done", "drawn"], (
        "who says given has not said that it was flushed"
    )


def test_done_of_a_start_with_a_draw_in_it_leaves_nothing_outstanding() -> None:
    """The draw at the start of dose 3 is flushed before the dose is connected; all of it is one touch."""
    trough = labs(
        'order = "cefazolin"\nbefore_dose = "0 min"\nonly_doses = [3]\non_time_within = "1 h"', more='lumen = "red"'
    ).replace('at = "09:00"\n', "")
    merged = THREE_WEEKS + DRAWS + small_plans.DAILY + trough
    (start,) = [touch for touch in after(merged, "", NOW).touches if touch.tasks]
    assert start.kind is TouchKind.START
    facts = hear("done", "", NOW, merged, event=start.uid)
    assert [fact.kind.value for fact in facts] == ["task done", "drawn", "started", "flushed"]
    done = compile_schedule(plan(merged), record("").with_facts(facts), at(NOW))
    assert not any(touch.outstanding for touch in done.touches)
    assert {status(t, done, at(NOW)).value for t in done.touches if t.tasks} == {"done"}


def test_what_is_drawn_together_is_one_draw_and_flushed_once() -> None:
    """Two planned draws through one lumen at one hour: one touch before and after, under one name, with one flush."""
    count = labs('weekdays = ["Wed"]', more='lumen = "blue"\non_time_within = "1 h"')
    both = THREE_WEEKS + DRAWS + BLUE + count + count.replace("labs", "culture")
    before = "06-03 07:00 flushed lumen=blue"
    (planned,) = [touch for touch in after(both, before, "06-03 09:00").touches if touch.at == at("06-03 09:00")]
    assert planned.tasks == ("labs", "culture")
    for flushed, word in ((True, "done"), (False, "given")):
        facts = hear(word, before, "06-03 09:00", both, event=planned.uid)
        done = compile_schedule(plan(both), record(before).with_facts(facts), at("06-03 09:00"))
        (drawn,) = [touch for touch in done.touches if touch.at == at("06-03 09:00")]
        assert (drawn.uid, drawn.tasks, drawn.outstanding) == (planned.uid, planned.tasks, not flushed)
    (alone, _drawn) = hear("done labs", before, "06-03 09:00", both)
    assert alone.name == "labs", "and one of them alone is one of them"


# --- Answers ---


def answered(saying: str, before: str = UP_TO_NOW, now: str = NOW, edits: str = PLAN, **options: Any) -> list[str]:
    """Return what a report is answered with."""
    facts = hear(saying, before, now, edits, **options)
    return answer(facts, after(edits, before, now), with_facts(facts, before, now, edits), at(now))


def with_facts(facts: Sequence[Fact], before: str, now: str, edits: str = PLAN) -> Any:
    """Return the schedule with some more facts."""
    return compile_schedule(plan(edits), record(before).with_facts(facts), at(now))


ANSWERS = {
    "a wet dressing on day 3: the next counts from then": (
        "done dressing", UP_TO_NOW, NOW,
        ["Next: Change the dressing, Wed 10 Jun 2026, 10:00 CDT (was Mon 8 Jun 2026, 10:00 CDT)."],
    ),
    "on its day: nothing moves, and the next is said": (
        "done dressing", UP_TO_NOW, "06-08 10:20", ["Next: Change the dressing, Mon 15 Jun 2026, 10:00 CDT."],
    ),
    "late: the next moves with it": (
        "done dressing", UP_TO_NOW, "06-09 10:20",
        ["Next: Change the dressing, Tue 16 Jun 2026, 10:00 CDT (was Mon 15 Jun 2026, 10:00 CDT)."],
    ),
    "the last of it": (
        "done visit", f"{UP_TO_NOW}\n06-03 14:00 task-done name=visit", "06-10 14:10", ["No more of it is planned: visit."],
    ),
    "none of the plan's": (
        "task done new cap", UP_TO_NOW, NOW,
        ["The plan has no care task new cap: it is recorded as said, and nothing is reckoned from it."],
    ),
    "put off beyond its day": (
        "put off dressing to 2026-06-10 10:00", UP_TO_NOW, NOW,
        [
            "That is later than the plan says: Mon 8 Jun 2026, 23:59 CDT at the latest. If nobody said so, ask On-call nurse, "
            "Fennimore Vale, 555-0142.",
            "Next: Change the dressing, Wed 10 Jun 2026, 10:00 CDT (was Mon 8 Jun 2026, 10:00 CDT).",
        ],
    ),
    "put off within its day": (
        "put off dressing to 2026-06-08 16:00", UP_TO_NOW, NOW,
        ["Next: Change the dressing, Mon 8 Jun 2026, 16:00 CDT (was Mon 8 Jun 2026, 10:00 CDT)."],
    ),
    "moved to today: both with their days": (
        "put off dressing to 16:00", UP_TO_NOW, NOW,
        ["Next: Change the dressing, Wed 3 Jun 2026, 16:00 CDT (was Mon 8 Jun 2026, 10:00 CDT)."],
    ),
    "a visit is the nurse's to move": (
        "visit moved to Thu 14:00", UP_TO_NOW, NOW, ["Next: visit, Thu 4 Jun 2026, 14:00 CDT (was Wed 3 Jun 2026, 14:00 CDT)."],
    ),
    "left out, and nobody said who allowed it": (
        "skipped dressing", UP_TO_NOW, NOW,
        [
            "Who said that it may be left out? If nobody did, ask On-call nurse, Fennimore Vale, 555-0142. It is not made up by itself.",
            "Next: Change the dressing, Mon 15 Jun 2026, 10:00 CDT (was Mon 8 Jun 2026, 10:00 CDT).",
        ],
    ),
    "taken out too late for its dose": (
        "put off bag to 9:30", UP_TO_NOW, "06-03 06:50",
        [
            "That is not before cefazolin is due, 09:00 CDT. Ask On-call nurse, Fennimore Vale, 555-0142 first.",
            "Next: Take the bag of cefazolin out, 09:30 CDT (was 07:00 CDT).",
        ],
    ),
    "a dose that is put off takes its bag with it": (
        "delayed cefazolin to 11:00", UP_TO_NOW, "06-03 06:30",
        ["Next: Take the bag of cefazolin out, 09:00 CDT (was 07:00 CDT)."],
    ),
    "a dose that is left out takes its bag with it": (
        "skipped cefazolin", UP_TO_NOW, "06-03 06:30",
        ["Next: Take the bag of cefazolin out, Thu 4 Jun 2026, 07:00 CDT (was Wed 3 Jun 2026, 07:00 CDT)."],
    ),
    "in hospital they see to it": (
        "in hospital", UP_TO_NOW, NOW,
        ["No longer planned: Change the dressing, Mon 8 Jun 2026, 10:00 CDT, and 1 more after it."],
    ),
    "drawn, and the flush is still to come; the nurse may have done it": (
        "done labs", UP_TO_NOW, NOW,
        [
            "Did whoever drew it flush it too? Then say so:  flushed blue",
            "The blue lumen still has to be flushed: due now.",
            "  Flush with 20 mL saline.",
            "Next: Blood count, blue lumen, Wed 10 Jun 2026, 09:00 CDT.",
        ],
    ),
    "drawn and flushed": (
        "done labs and flushed", UP_TO_NOW, NOW, ["Next: Blood count, blue lumen, Wed 10 Jun 2026, 09:00 CDT."],
    ),
    "drawn, in words that name the lumen": (
        "drawn blue and flushed", UP_TO_NOW, NOW, ["Next: Blood count, blue lumen, Wed 10 Jun 2026, 09:00 CDT."],
    ),
    "drawn from what runs": (
        "drawn red", f"{UP_TO_NOW}\n06-03 09:00 started order=cefazolin dose=2026-06-03T09:00", "06-03 09:20",
        [
            "cefazolin runs in this lumen. Was it stopped for the draw? Let it run again; if it does not, call On-call nurse, "
            "Fennimore Vale, 555-0142.",
        ],
    ),
    "drawn from a lumen that must not be used": (
        "drawn blue", f"{UP_TO_NOW}\n06-03 08:00 problem lumen=blue sign=swelling", NOW,
        ["The blue lumen must not be used. It is recorded. Call On-call nurse, Fennimore Vale, 555-0142."],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", ANSWERS)
def test_what_a_report_is_answered_with(name: str) -> None:
    saying, before, now, expected = ANSWERS[name]
    lines = answered(saying, before, now)
    for line in expected:
        assert line in lines
    assert [line for line in lines if line in expected] == expected, "in this order"


def test_whoever_may_say_so_is_not_asked_who_did() -> None:
    for saying in ("skipped dressing", "put off dressing to 2026-06-12 10:00"):
        assert any("ask On-call nurse" in line for line in answered(saying))
        assert not any("ask On-call nurse" in line for line in answered(saying, said_by="nurse Ruiz"))


def test_a_weighing_that_is_left_out_asks_nobody() -> None:
    lines = answered("skipped weight", edits=PLAN + WEIGHING)
    assert not any("Who said" in line for line in lines)


def test_a_connector_that_goes_with_the_draw_moves_with_it() -> None:
    connector = task(
        "connector",
        "needleless connector",
        'with_tasks = ["labs"]\nevery_days = 7\nat = "10:00"\nlast_done = "2026-06-01 07:00"',
    )
    lines = answered("put off labs to 15:00", edits=PLAN + connector)
    assert "Next: connector, 15:00 CDT (was 09:00 CDT)." in lines


def test_taking_a_report_back_says_when_it_is_due_again() -> None:
    (done,) = hear("done dressing", UP_TO_NOW, NOW, PLAN)
    told = with_facts([done], UP_TO_NOW, NOW)
    lines = changes(told, after(PLAN, UP_TO_NOW, NOW), at(NOW))
    assert lines == ["Next: Change the dressing, Mon 8 Jun 2026, 10:00 CDT (was Wed 10 Jun 2026, 10:00 CDT)."]


def test_an_early_doing_is_recorded_as_one_that_was_planned() -> None:
    facts = hear("done dressing", UP_TO_NOW, NOW, PLAN)
    rows = [row for row in task_rows(with_facts(facts, UP_TO_NOW, NOW), NOW) if "Change the dressing" in row]
    assert rows[0] == "03 09:05 done Change the dressing was 08 10:00"


# --- The command ---


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    own_places(tmp_path / "places", monkeypatch)
    path = tmp_path / "plan.toml"
    path.write_text(small_plans.plan_text(PLAN), encoding="utf-8")
    return path


def run(path: Path, *words: str, now: str = "2026-06-03T09:05-05:00", ok: bool = True) -> str:
    """Run ``record`` with some words."""
    result = CliRunner().invoke(main, ["record", str(path), *words, "--now", now])
    assert (result.exit_code == 0) is ok, result.output
    return result.output


def test_the_command_says_what_it_recorded_and_when_the_next_is_due(house: Path) -> None:
    out = run(house, "done", "dressing", "--by", "Ina")
    assert "Recorded: Wed 3 Jun 2026, 09:05 CDT: Change the dressing: done, reported by Ina." in out
    assert "Next: Change the dressing, Wed 10 Jun 2026, 10:00 CDT (was Mon 8 Jun 2026, 10:00 CDT)." in out
    out = run(house, "done", "dressing", now="2026-06-03T09:20-05:00", ok=False)
    assert "already reported as done by Ina" in out
    assert "Nothing was recorded." in out
    out = run(house, "visit", "moved", "to", "Thu", "14:00")
    assert "visit: moved from Wed 3 Jun 2026, 14:00 CDT to Thu 4 Jun 2026, 14:00 CDT" in out
    out = run(house, "skipped", "dressing", "--said-by", "nurse Ruiz")
    assert "Change the dressing: not to be done; it was planned for Wed 10 Jun 2026, 10:00 CDT" in out
    assert "as nurse Ruiz said" in out


def test_the_command_takes_the_answer_to_its_question_as_an_option(house: Path) -> None:
    out = run(house, "done", "dresing", ok=False)
    assert "(add:  --task dressing )" in out
    assert "Change the dressing: done" in run(house, "done", "dresing", "--task", "dressing")
    assert "dresing: done" in run(house, "done", "dresing", "--task", "dresing")


def test_a_task_is_left_out_on_the_day_that_was_said() -> None:
    (fact,) = hear("skipped visit 10 Jun", UP_TO_NOW, NOW, PLAN)
    assert fact.planned_for == at("06-10 14:00")
    assert fact.happened == at(NOW)
    (fact,) = hear("skipped visit today", UP_TO_NOW, NOW, PLAN)
    assert fact.planned_for == at("06-03 14:00")


def test_a_task_that_is_moved_to_another_day_is_recorded_with_both_days() -> None:
    facts = hear("put off dressing to 16:00", UP_TO_NOW, NOW, PLAN)
    said_back = fact_words(facts[0], with_facts(facts, UP_TO_NOW, NOW))
    assert said_back.endswith("Change the dressing: moved from Mon 8 Jun 2026, 10:00 CDT to Wed 3 Jun 2026, 16:00 CDT.")


def test_what_asks_for_the_undo_brings_neither_the_list_of_words_nor_the_emergency_numbers(house: Path) -> None:
    out = run(house, "undo", ok=False)
    assert out == "The last report is taken back with  reminders undo . Nothing was recorded.\n"
