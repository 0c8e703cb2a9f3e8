"""What a new revision changes: key by key, sum by sum, day by day, and what is unusual about the change."""

import json
import re
from collections import Counter
from dataclasses import fields
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import small_plans
from histories import at, record
from readers.samples import SAMPLE_PLANS

from reminders.findings import has_errors
from reminders.plan import model
from reminders.plan.read import Reading, read_plan
from reminders.record.facts import EMPTY, Record
from reminders.schedule.model import Schedule
from reminders.times import Instant
from reminders.views.compare import WIDTH, compare_plans, refusal, schedules
from reminders.views.event_changes import EventChange, event_changes
from reminders.views.key_words import KEY_WORDS, SAFETY
from reminders.views.plan_changes import plan_changes, written
from reminders.views.schedule_json import schedule_json

A = """
[household]
quiet_hours = ["22:00-07:00"]
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.a]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-07
duration = "30 min"
"""
"""A dose of half an hour at 09:00 each day from 1 to 7 June; the idle limit is 12 h."""

BLUE = """
[lumen.blue]
last_flushed = "2026-06-01 07:00"
"""

CARED = f"""
{A}
[protocol]
after_draw = ["saline 20 mL"]
[supplies]
each_draw = {{ "tube" = 1 }}
[task.dressing]
kind = "dressing"
label = "Change the dressing"
done_by = "nurse"
every_days = 2
at = "10:00"
last_done = "2026-06-01 07:00"
uses = {{ "kit" = 1 }}
[task.bag_out]
kind = "out of the refrigerator"
label = "Take the bag out"
done_by = "household"
order = "a"
before_dose = "1 h"
on_time_within = "15 min"
[task.labs]
kind = "blood draw"
label = "Labs"
done_by = "household"
weekdays = ["Fri"]
at = "15:00"
lumen = "red"
[task.van]
kind = "delivery"
label = "Delivery"
done_by = "pharmacy"
moments = ["2026-06-04 14:00"]
brings = {{ "saline syringe" = 40 }}
[stock.saline]
item = "saline syringe"
on_hand = 40
counted_at = "2026-06-01 08:00"
order_ahead = "2 days"
"""
"""The same dose with care tasks: the dressing on 3, 5 and 7 June at 10:00, the bag out at 8:00 each day, a draw on Friday
the 5th at 15:00, a delivery on the 4th at 14:00."""

READ_BACK = '[read_back]\nby = "Bo"\nat = "2026-06-02 10:00"\ncheck = "AB CD"\n'

NEXT = """
[plan]
revision = 2
takes_effect = "2026-06-03 08:00"
"""
"""What makes a plan the next revision, from the third day on."""

NOW = "06-02 12:00"


def read(edits: str, name: str = "plan.toml") -> Reading:
    """Read the base plan with ``edits``, which must be free of errors."""
    found = read_plan(name, small_plans.plan_text(edits).encode())
    assert not has_errors(found.findings), [finding.message for finding in found.findings]
    return found


def text_of(old: str, new: str, now: str = NOW, log: Record = EMPTY) -> str:
    """Return the comparison of two plans over the base plan."""
    return compare_plans(read(old, "old.toml"), read(new, "new.toml"), log, at(now)).text


def unwrapped(text: str) -> str:
    """Return a text with its lines joined."""
    return " ".join(text.split())


def changes(old: str, new: str) -> list[str]:
    """Return what two plans say differently, in words."""
    return [change.text for change in plan_changes(read(old), read(new))]


def days(text: str) -> dict[str, list[str]]:
    """Return the entries of the list by day by their headings."""
    part = text.partition("\nDAY BY DAY\n")[2].partition("\nWHO MUST CONFIRM\n")[0]
    found: dict[str, list[str]] = {}
    heading = ""
    for line in part.splitlines():
        indent = len(line) - len(line.lstrip())
        if not line.strip():
            continue
        if indent == 2:
            heading = line.strip()
            found[heading] = []
        elif indent == 4 and re.match(r"(new|gone|moved|changed):", line.strip()):
            found[heading].append(line.strip())
        elif heading and found[heading]:
            found[heading][-1] += " " + line.strip()
        else:
            found.pop(heading)
            heading += " " + line.strip()
            found[heading] = []
    return found


# What cannot be compared, and what does not change


def test_plans_of_different_ids_are_refused() -> None:
    other = A + '[plan]\nid = "5b0f6a3e-8f1c-4c57-9a64-2f6f0c7b1d21"\n'
    found = compare_plans(read(A, "old.toml"), read(other, "new.toml"), EMPTY, at(NOW))
    assert found.refused
    assert found.text.startswith("ERROR: old.toml and new.toml are not of one plan: their ids differ.\n")
    assert "To mend:" in found.text
    assert "DAY BY DAY" not in found.text
    assert refusal(read(A), read(A)) == ""


@pytest.mark.parametrize("path", SAMPLE_PLANS, ids=lambda path: path.stem)
def test_a_plan_against_itself_changes_nothing(path: Path) -> None:
    reading = read_plan(path.name, path.read_bytes())
    assert reading.plan is not None
    found = compare_plans(reading, reading, EMPTY, reading.plan.course.start.instant)
    assert not found.refused
    assert found.text.splitlines()[-1] == "Nothing changes: both say the same."
    assert "WARNINGS" not in found.text


@pytest.mark.parametrize("days_on", [0.4, 3, 5.3])
@pytest.mark.parametrize("path", SAMPLE_PLANS, ids=lambda path: path.stem)
def test_a_revision_that_says_the_same_changes_nothing(path: Path, days_on: float) -> None:
    # Whatever runs, or is counted from its first dose, goes on over the moment at which it takes effect.
    old = read_plan(path.name, path.read_bytes())
    assert old.plan is not None
    start = old.plan.course.start.instant
    moment = old.plan.clock.local(Instant(start + int(days_on * 1440)))
    text = path.read_text(encoding="utf-8").replace("revision = 1", "revision = 2")
    text = re.sub(r"takes_effect = .*", f'takes_effect = "{moment:%Y-%m-%d %H:%M}"', text)
    new = read_plan("new.toml", text.encode())
    assert not has_errors(new.findings)
    found = compare_plans(old, new, EMPTY, start).text
    nothing = "Nothing changes but the revision and the moment at which it takes effect: no dose, no flush."
    assert found.splitlines()[-1] == nothing


# What the plan says differently


def test_every_key_has_words() -> None:
    for table, kept in model.TABLES.items():
        assert set(KEY_WORDS[table]) == {item.name for item in fields(kept) if "form" in item.metadata}
    assert all(key in KEY_WORDS[table] for table, keys in SAFETY.items() for key in keys.split())


@pytest.mark.parametrize(
    ("edits", "said"),
    [
        ('[order.a]\ndose = "2 g"', "a, dose: was 1 g, now 2 g."),
        ('[order.a]\nclock_times = ["09:00", "21:00"]', "a, times of day: was 09:00, now 09:00, 21:00."),
        ('[order.a]\ndrug = "cefazolin"', "order a, drug: was a, now cefazolin."),
        ("[order.a]\nlast_day = 2026-06-05", "a, last day: was 2026-06-07, now 2026-06-05."),
        ('[order.a]\nnote = "cold"', "a, note: was not stated, now cold."),
        ('[line]\nidle_limit = "24 h"', "the line, idle limit: was 12 h, now 24 h."),
        ('[line]\nlock = "saline"', "the line, lock: was heparin, now saline."),
        ('[line]\nallergies = ["latex", "eggs"]', "the line, known allergies: was none, now latex, eggs."),
        ('[lumen.red]\nlabel = "crimson"', "red lumen, label: was red, now crimson."),
        ('[lumen.red]\nidle_limit = "8 h"', "red lumen, its own idle limit: was not stated, now 8 h."),
        ('[fluid.heparin]\nstrength = "100 units/mL"', "heparin lock, strength: was 10 units/mL, now 100 units/mL."),
        (
            '[protocol]\nafter = ["saline 20 mL"]',
            "the protocol, what comes after an infusion: was saline, now saline 20 mL.",
        ),
        ("[plan]\nhousehold_records = false", "the plan, whether the household records: was yes, now no."),
        ('[call.now]\nphone = "555-0199"', "whom to call (now), number: was 555-0142, now 555-0199."),
        (
            '[supplies]\neach_touch = { "gloves" = 2 }',
            "the supplies, used at each touch: was not stated, now 2 × gloves.",
        ),
        ('[daily_limits]\nflushed = "100 mL"', "the daily limits, most flushed in a day: was not stated, now 100 mL."),
        ("[household]\nwithout quiet_hours", "the household, quiet hours: was 22:00-07:00, now not stated."),
        (
            '[[zone_change]]\nat = "2026-06-04 12:00"\nzone = "America/New_York"',
            "A change of the clock is new: moment: 2026-06-04 12:00; zone: America/New_York.",
        ),
    ],
)
def test_a_changed_key_in_words(edits: str, said: str) -> None:
    assert changes(A, A + NEXT + edits) == [said]


@pytest.mark.parametrize(
    ("edits", "said"),
    [
        (
            "[task.dressing]\nevery_days = 3",
            "the care task Change the dressing, days from when it was done until it is due again: was 2, now 3.",
        ),
        (
            '[task.dressing]\ndone_by = "household"',
            "the care task Change the dressing, who does it: was nurse, now household.",
        ),
        (
            '[task.dressing]\nlabel = "New cover"',
            "the care task dressing, what to do: was Change the dressing, now New cover.",
        ),
        (
            '[task.dressing]\nuses = { "kit" = 2 }',
            "the care task Change the dressing, what it uses up: was 1 × kit, now 2 × kit.",
        ),
        (
            '[task.bag_out]\nbefore_dose = "90 min"',
            "the care task Take the bag out, time before the dose: was 1 h, now 90 min.",
        ),
        (
            '[task.labs]\npauses_infusion = "10 min"',
            "the care task Labs, how long an infusion is stopped for it: was not stated, now 10 min.",
        ),
        (
            '[task.labs]\nnot_on = [2026-06-05]\ninstead = "the day before"',
            "the care task Labs, days on which it cannot be done: was not stated, now 2026-06-05.",
        ),
        ("[stock.saline]\non_hand = 35", "the stock of saline syringe, how many there were: was 40, now 35."),
        (
            '[stock.saline]\nitem = "saline syringe 10 mL"',
            "the stock of saline syringe 10 mL, item: was saline syringe, now saline syringe 10 mL.",
        ),
        (
            '[supplies]\nremind_at = "09:00"',
            "the supplies, time of day of the reminder to order: was not stated, now 09:00.",
        ),
        (
            '[supplies]\neach_draw = { "tube" = 2 }',
            "the supplies, used at each blood draw: was 1 × tube, now 2 × tube.",
        ),
        (
            '[protocol]\nafter_draw = ["saline 10 mL"]',
            "the protocol, what comes after a blood draw: was saline 20 mL, now saline 10 mL.",
        ),
        (
            '[protocol]\ndiscard_volume = "5 mL"',
            "the protocol, volume to discard before a blood draw: was not stated, now 5 mL.",
        ),
        (READ_BACK, "the reading back is new: who read it back: Bo; when: 2026-06-02 10:00; check letters: AB CD."),
    ],
)
def test_a_changed_key_of_care_tasks_stock_and_reading_back_in_words(edits: str, said: str) -> None:
    assert said in changes(CARED, CARED + NEXT + edits)
    assert len(changes(CARED, CARED + NEXT + edits)) == (2 if "instead" in edits else 1)


def test_a_reading_back_that_is_gone_or_another_is_told() -> None:
    again = READ_BACK.replace("Bo", "Kim")
    assert changes(A + READ_BACK, A + NEXT) == [
        "the reading back is gone. It said: who read it back: Bo; when: 2026-06-02 10:00; check letters: AB CD."
    ]
    assert changes(A + READ_BACK, A + again + NEXT) == ["the reading back, who read it back: was Bo, now Kim."]


def test_a_care_task_that_is_new_or_gone_matters_and_stock_does_not() -> None:
    found = plan_changes(read(A), read(CARED + NEXT))
    told = {change.text.partition(" is new")[0]: change.safety for change in found if " is new" in change.text}
    assert told == {
        "the care task Change the dressing": True,
        "the care task Take the bag out": True,
        "the care task Labs": True,
        "the care task Delivery": True,
        "the stock of saline syringe": False,
    }
    gone = [change for change in plan_changes(read(CARED), read(A + NEXT)) if " is gone" in change.text]
    assert [change.safety for change in gone].count(True) == 4


@pytest.mark.parametrize(
    ("edits", "expected"),
    [
        pytest.param(
            "[task.dressing]\nevery_days = 3",
            {
                "Thu 4 Jun 2026": [
                    "moved: Change the dressing, from Wed 3 Jun 2026, 10:00 CDT to Thu 4 Jun 2026, 10:00 CDT"
                ],
                "Fri 5 Jun 2026": ["gone: 10:00 CDT Change the dressing"],
            },
            id="it comes less often",
        ),
        pytest.param(
            '[task.dressing]\nat = "11:30"',
            {
                "The same on each of 3 days: Wed 3 Jun 2026, Fri 5 Jun 2026, Sun 7 Jun 2026": [
                    "moved: Change the dressing, from 10:00 CDT to 11:30 CDT"
                ]
            },
            id="another hour",
        ),
        pytest.param(
            '[task.van]\nmoments = ["2026-06-05 09:30"]',
            {
                "Thu 4 Jun 2026": ["gone: 14:00 CDT Delivery"],
                "Fri 5 Jun 2026": ["new: 09:30 CDT Delivery"],
            },
            id="another day for what was agreed",
        ),
        pytest.param(
            '[task.van]\nbrings = { "saline syringe" = 60 }\ndone_by = "nurse"',
            {
                "Thu 4 Jun 2026": [
                    "changed: 14:00 CDT Delivery; was: The pharmacy does this. It should bring: 40 × saline syringe. "
                    "Now: The nurse does this. It should bring: 60 × saline syringe."
                ]
            },
            id="another doer, and more of it",
        ),
        pytest.param(
            '[order.a]\nclock_times = ["12:00"]\nfirst_dose = "2026-06-01 12:00"\n',
            {
                "Wed 3 Jun 2026": [
                    "moved: Take the bag out, from 08:00 CDT to 11:00 CDT",
                    "moved: red lumen: start a 1 g, from 09:00 CDT to 12:00 CDT",
                ]
            },
            id="what is tied moves with its dose",
        ),
        pytest.param(
            '[task.van]\nnote = "Ring the bell."',
            {"Thu 4 Jun 2026": ["changed: 14:00 CDT Delivery; new: Note: Ring the bell."]},
            id="a note",
        ),
        pytest.param(
            "[task.labs]\nwithout lumen",
            {
                "Fri 5 Jun 2026": [
                    "changed: 15:00 CDT Labs; it was red lumen: blood draw: Labs; was: Draw the blood: Labs. Flush with "
                    "20 mL saline. Lock with 5 mL heparin lock, 10 units/mL (50 units). Now: You do this."
                ]
            },
            id="from a vein",
        ),
    ],
)
def test_care_tasks_that_move_come_and_go(edits: str, expected: dict[str, list[str]]) -> None:
    found = days(text_of(CARED, CARED + NEXT + edits))
    for heading, lines in expected.items():
        assert [line for line in found[heading] if "flush" not in line.partition(";")[0]][: len(lines)] == lines


def test_sums_count_care_tasks_where_there_are_any() -> None:
    """From the change on the 3rd, 8:00, to the plan's end on the 8th, 8:00: the bag five times, the dressing three times,
    a draw and a delivery are 10; without the dressing 7."""
    text = text_of(CARED, CARED.replace("every_days = 2", "every_days = 9") + NEXT)
    row = next(line for line in text.splitlines() if "care tasks and blood draws" in line)
    assert row.split()[-2:] == ["10", "7"]
    assert "care tasks and blood draws" not in text_of(A, A + NEXT + '[order.a]\ndose = "2 g"')
    assert "  kit                                                3       0" in text.splitlines()


def test_where_no_care_task_moves_the_text_says_so() -> None:
    text = unwrapped(text_of(CARED, CARED + NEXT + READ_BACK))
    assert "Every dose, flush and care task stays at its time, with its steps." in text
    assert "Every dose and flush stays at its time, with its steps." in unwrapped(text_of(A, A + NEXT + READ_BACK))
    assert "flushes, locks, limits, steps, care tasks and supplies." in text


def test_the_same_in_other_words_is_said_to_mean_the_same() -> None:
    assert changes(A, A + NEXT + '[order.a]\nduration = "0.5 h"\ndose = "1000 mg"') == [
        "a, dose: written differently, and means the same: was 1 g, now 1000 mg.",
        "a, how long it runs: written differently, and means the same: was 30 min, now 0.5 h.",
    ]


def test_equal_numbers_of_different_kinds_do_not_mean_the_same() -> None:
    # 1 g and 1000 mL are both 1000 of their base units.
    assert changes(A, A + NEXT + '[order.a]\ndose = "1000 mL"') == ["a, dose: was 1 g, now 1000 mL."]


def test_what_is_new_or_gone_is_told_with_all_that_it_says() -> None:
    order = '[order.b]\nmoments = ["2026-06-05 15:00"]\nduration = "30 min"\nwithout least_spacing\n'
    (new,) = changes(A, A + NEXT + order)
    assert new.startswith("b is new: drug: b; kind: drug; dose: 1 g; lumen: red; ")
    assert new.endswith("moments of the doses: 2026-06-05 15:00; how long it runs: 30 min.")
    (gone,) = changes(A + order, A + NEXT)
    assert gone.startswith("b is gone. It said: drug: b; ")
    assert changes(A, A + NEXT + BLUE) == [
        "blue lumen is new: label: blue; last flush before the plan: 2026-06-01 07:00."
    ]
    tier = '[call.same_day]\nwho = "Pharmacist"\nphone = "555-0143"\n'
    assert changes(A + tier, A + NEXT) == [
        "whom to call (same day) is gone. It said: who answers: Pharmacist; number: 555-0143."
    ]


def test_what_matters_most_for_safety_comes_first() -> None:
    new = (
        A
        + NEXT
        + """
    note = "new"
    [household]
    without quiet_hours
    [line]
    allergies = ["latex"]
    idle_limit = "24 h"
    [order.a]
    note = "cold"
    clock_times = ["10:00"]
    first_dose = "2026-06-01 10:00"
    dose = "2 g"
    [calendar]
    colour = "navy"
    """
    )
    found = plan_changes(read(A), read(new))
    assert [change.text.partition(":")[0] for change in found] == [
        "a, dose",
        "a, times of day",
        "a, first dose",
        "the line, idle limit",
        "the line, known allergies",
        "the plan, note",
        "the household, quiet hours",
        "a, note",
        "the calendar, colour",
    ]
    assert [change.safety for change in found] == [True] * 5 + [False] * 4
    text = text_of(A, new)
    assert text.index("First, what matters most:") < text.index("a, dose") < text.index("Also:") < text.index("a, note")


def test_what_is_only_a_note_says_that_nothing_else_changes() -> None:
    text = text_of(A, A + NEXT + '[calendar]\ncolour = "navy"\n')
    assert "Nothing of drugs, doses, times, limits or locks; but:" in text
    assert "Every dose and flush stays at its time, with its steps." in text


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (datetime.fromisoformat("2026-06-01T07:00"), "2026-06-01 07:00"),
        (datetime.fromisoformat("2026-06-01").date(), "2026-06-01"),
        (datetime.fromisoformat("2026-06-01T07:00").time(), "07:00"),
        (True, "yes"),
        (12, "12"),
        ([], "none"),
        ({}, "nothing"),
        (None, "not stated"),
    ],
)
def test_values_as_a_person_reads_them(raw: object, said: str) -> None:
    assert written(raw) == said


def test_curly_brackets_in_a_plan_s_words_are_only_words() -> None:
    old = A.replace('duration = "30 min"', 'duration = "3 h"\ndrug = "{drug}"\nnote = "{x}"')
    new = old + NEXT.replace("08:00", "10:00") + '[order.a]\nnote = "{0}"\ndose = "2 g"\nleast_spacing = "30 h"\n'
    new = new.replace("last_day = 2026-06-07", "last_day = 2026-06-07\nevery_days = 2")
    text = unwrapped(text_of(old, new))
    assert "{drug} runs when the change comes" in text
    assert "{drug} (order a), note: was {x}, now {0}." in text


# Warnings


def test_a_revision_that_is_not_raised_or_is_lower_is_warned_of() -> None:
    changed = A + '[order.a]\ndose = "2 g"\n[plan]\ntakes_effect = "2026-06-03 08:00"\n'
    assert "Both say revision 1. Phones" in text_of(A, changed)
    lower = text_of(A + "[plan]\nrevision = 3\n", changed + "revision = 2\n")
    assert "The new plan says revision 2, and the old one 3." in unwrapped(lower)
    # Either way the new plan is the one that comes after the old one.
    assert "changed: 09:00 CDT red lumen: start a 2 g" in lower
    assert days(lower) == days(text_of(A, changed))
    assert (
        "revision"
        not in text_of(A, changed.replace("[plan]", "[plan]\nrevision = 2"))
        .partition("WARNINGS")[2]
        .partition("WHAT THE PLAN")[0]
    )


def test_a_change_that_lies_in_the_past_says_what_that_means() -> None:
    new = A + NEXT + '[order.a]\nclock_times = ["08:30"]\nfirst_dose = "2026-06-01 08:30"\n'
    text = unwrapped(text_of(A, new, "06-03 20:00"))
    assert "takes effect Wed 3 Jun 2026, 08:00 CDT, which is past (12 h ago). What was done stays done" in text
    assert "moved: red lumen: start a 1 g, from 09:00 CDT to 08:30 CDT (this is past already)" in text
    assert text.count("(this is past already)") == 2, "start and finish of the third; the evening's flush is to come"
    assert "which is past" not in unwrapped(text_of(A, new, "06-03 08:00"))


@pytest.mark.parametrize(
    ("moment", "said"),
    [
        ("2026-06-01 08:00", "at the same moment as the old one, Mon 1 Jun 2026, 08:00 CDT"),
        (
            "2026-05-31 08:00",
            "takes effect Sun 31 May 2026, 08:00 CDT, before the old one did, Mon 1 Jun 2026, 08:00 CDT",
        ),
    ],
)
def test_a_change_no_later_than_the_old_plan_is_warned_of(moment: str, said: str) -> None:
    new = (
        A
        + f'[plan]\nrevision = 2\ntakes_effect = "{moment}"\n[order.a]\ndose = "2 g"\n[lumen.red]\nlast_flushed = "2026-05-31 07:00"\n'
    )
    assert said in unwrapped(text_of(A, new, "05-31 07:30"))


def test_a_gap_between_the_plans_is_warned_of() -> None:
    new = (
        A.replace("2026-06-07", "2026-06-20")
        + '[plan]\nrevision = 2\ntakes_effect = "2026-06-10 08:00"\nend = "2026-06-20 09:00"\n'
    )
    text = unwrapped(text_of(A, new))
    assert (
        "The old plan ends Mon 8 Jun 2026, 08:00 CDT, before the new one takes effect Wed 10 Jun 2026, 08:00 CDT."
        in text
    )


def test_doses_on_either_side_of_the_change_that_are_too_close() -> None:
    # 09:00 on the 3rd, then 14:00 on the 3rd: 5 h, where the new order says at least 6 h.
    new = A + NEXT.replace("08:00", "12:00") + '[order.a]\nclock_times = ["14:00"]\nfirst_dose = "2026-06-01 14:00"\n'
    close = unwrapped(text_of(A, new + 'least_spacing = "6 h"\n'))
    assert (
        "a: the last dose before the change starts Wed 3 Jun 2026, 09:00 CDT, the first one after it Wed 3 Jun 2026, "
        "14:00 CDT, 5 h apart; the order says at least 6 h. The prescriber or pharmacist decides." in close
    )
    assert "apart" not in unwrapped(text_of(A, new + 'least_spacing = "5 h"\n'))


def test_a_drug_that_goes_on_under_another_order_is_the_same_drug() -> None:
    new = A.replace("[order.a]", '[order.z]\ndrug = "A"\nleast_spacing = "8 h"').replace("09:00", "13:00")
    text = unwrapped(text_of(A, new + NEXT.replace("08:00", "12:00")))
    assert (
        "09:00 CDT, the first one after it Wed 3 Jun 2026, 13:00 CDT, 4 h apart; the order says at least 8 h." in text
    )


def test_doses_on_either_side_of_the_change_that_are_too_far_apart() -> None:
    # From 09:00 on the 2nd to 14:00 on the 3rd are 29 h.
    new = A + NEXT + '[order.a]\nclock_times = ["14:00"]\nfirst_dose = "2026-06-01 14:00"\nmost_spacing = "26 h"\n'
    assert "29 h apart; the order says at most 26 h." in unwrapped(text_of(A, new))


def test_a_dose_that_did_not_take_place_is_not_counted_among_the_spacings() -> None:
    new = A + NEXT.replace("08:00", "12:00") + '[order.a]\nclock_times = ["14:00"]\nfirst_dose = "2026-06-01 14:00"\n'
    new += 'least_spacing = "6 h"\n'
    log = record("06-03 09:30 not-given order=a dose=2026-06-03T09:00")
    assert "5 h apart" in unwrapped(text_of(A, new, "06-03 10:00"))
    assert "apart" not in unwrapped(text_of(A, new, "06-03 10:00", log))


def test_an_infusion_that_runs_at_the_change_is_told_with_both_ends() -> None:
    new = A + NEXT.replace("08:00", "09:15") + '[order.a]\ndose = "2 g"\nduration = "60 min"\n'
    text = unwrapped(text_of(A, new))
    assert (
        "a runs when the change comes: started Wed 3 Jun 2026, 09:00 CDT; in the old plan it ends Wed 3 Jun 2026, 09:30 "
        "CDT, in the new one it ends Wed 3 Jun 2026, 09:30 CDT." in text
    )
    assert "runs when the change comes" not in text_of(A, new.replace("09:15", "09:30"))


CONTINUOUS = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.c]
continuous = true
first_dose = "2026-06-01 09:00"
stops = "2026-06-07 09:00"
rate = "10 mL/h"
volume = "240 mL"
bag_every = "24 h"
bag_flush = []
without least_spacing
"""


def test_a_continuous_infusion_whose_rate_changes_while_it_runs() -> None:
    text = unwrapped(text_of(CONTINUOUS, CONTINUOUS + NEXT + '[order.c]\nrate = "12 mL/h"\nvolume = "288 mL"\n'))
    assert (
        "c runs when the change comes: started Mon 1 Jun 2026, 09:00 CDT; in the old plan it ends Sun 7 Jun 2026, 09:00 "
        "CDT, in the new one it ends Sun 7 Jun 2026, 09:00 CDT. While it is connected, c 1 g, 240 mL, 10 mL/h becomes c "
        "1 g, 288 mL, 12 mL/h: ask who changes it, and when." in text
    )


PUMP = """
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


def test_doses_that_a_pump_gives_by_itself_are_compared_too() -> None:
    new = PUMP + NEXT.replace("08:00", "04:00") + '[order.p]\nevery = "12 h"\n'
    text = text_of(PUMP, new)
    # Of 03, 09, 15 and 21 o'clock those of 03 and 15 o'clock fall away, from 04:00 on the 3rd on.
    assert days(text) == {
        "Wed 3 Jun 2026": ["gone: 15:00 CDT red lumen: p 1 g by the pump, until 15:30 CDT"],
        "Thu 4 Jun 2026": [
            "gone: 03:00 CDT red lumen: p 1 g by the pump, until 03:30 CDT",
            "gone: 15:00 CDT red lumen: p 1 g by the pump, until 15:30 CDT",
        ],
    }
    assert "p's pump is connected when the change comes: since Mon 1 Jun 2026, 09:00 CDT" in unwrapped(text)


# Sums


def test_the_sums_of_a_week() -> None:
    """Old: a dose at 09:00, and a flush at 21:30, each day of the 3rd to the 7th.

    From the 3rd, 08:00, up to the end on the 8th at 08:00: 5 doses, 5 flushes; 15 sessions. Saline: one at each of the
    5 starts, 5 finishes and 5 flushes; heparin at finishes and flushes. New: another dose at 21:00, and no idle flush.
    """
    text = text_of(A, A + NEXT + '[order.a]\nclock_times = ["09:00", "21:00"]\n')
    part = text.partition("FROM Wed 3 Jun 2026, 08:00 CDT TO Wed 10 Jun 2026, 08:00 CDT\n")[2].partition("\n\n")[0]
    assert {tuple(re.split(r"\s{2,}", line.strip())) for line in part.splitlines()} == {
        ("old", "new"),
        ("doses", "5", "10"),
        ("flushes of idle lumens", "5", "0"),
        ("sessions", "15", "20"),
        ("sessions in the quiet hours", "0", "0"),
        ("heparin syringe", "10", "10"),
        ("saline syringe", "15", "20"),
        ("Both plans end Mon 8 Jun 2026, 08:00 CDT.",),
    }


def test_sessions_in_the_quiet_hours_are_counted_before_and_after() -> None:
    new = (
        A
        + NEXT
        + '[order.a]\nclock_times = ["05:00"]\nfirst_dose = "2026-06-01 05:00"\nlast_dose_before_plan = "2026-05-31 09:00"\n'
    )
    line = next(line for line in text_of(A, new).splitlines() if "quiet hours" in line and "sessions" in line)
    assert line.split()[-2:] == ["0", "8"], "start and finish at 05:00 and 05:30 from the 4th to the 7th"


# Day by day


def test_days_on_which_the_same_changes_stand_together() -> None:
    new = A + NEXT + '[order.a]\nclock_times = ["08:30"]\nfirst_dose = "2026-06-01 08:30"\n'
    assert days(text_of(A, new)) == {
        "The same on each of 5 days: Wed 3 Jun 2026 to Sun 7 Jun 2026": [
            "moved: red lumen: start a 1 g, from 09:00 CDT to 08:30 CDT",
            "moved: red lumen: finish a, from 09:30 CDT to 09:00 CDT",
            "moved: red lumen: flush, from 21:30 CDT to 21:00 CDT",
        ]
    }


def test_days_that_do_not_follow_one_another_stand_together_too() -> None:
    new = A + NEXT + '[order.a]\nevery_days = 2\nmost_spacing = "50 h"\n'
    text = days(text_of(A, new))
    gone = [heading for heading, lines in text.items() if "gone: 09:00 CDT red lumen: start a 1 g" in lines]
    assert gone == ["The same on each of 2 days: Thu 4 Jun 2026, Sat 6 Jun 2026"]


def test_what_is_done_differently_names_only_the_steps_that_differ() -> None:
    text = days(text_of(A, A + NEXT + '[protocol]\nafter = ["saline 20 mL"]\n'))
    ((heading, lines),) = text.items()
    assert heading == "The same on each of 5 days: Wed 3 Jun 2026 to Sun 7 Jun 2026"
    assert lines == [
        "changed: 09:30 CDT red lumen: finish a; was: Flush with 10 mL saline. Now: Flush with 20 mL saline."
    ]


def test_a_step_that_falls_away_leaves_nothing() -> None:
    text = days(text_of(A, A + NEXT + '[line]\nlock = "saline"\n'))
    assert list(text.values()) == [
        [
            "changed: 09:30 CDT red lumen: finish a; was: Flush with 10 mL saline. Lock with 5 mL heparin lock, "
            "10 units/mL (50 units). Now: Flush with 10 mL saline; it stays in as the lock.",
            "changed: 21:30 CDT red lumen: flush; was: Flush with 10 mL saline. Lock with 5 mL heparin lock, "
            "10 units/mL (50 units). Now: Flush with 10 mL saline; it stays in as the lock.",
        ]
    ]


def test_an_order_that_moves_to_another_lumen() -> None:
    text = unwrapped(text_of(A + BLUE, A + BLUE + NEXT + '[order.a]\nlumen = "blue"\n'))
    assert "a, lumen: was red, now blue." in text
    assert "changed: 09:00 CDT blue lumen: start a 1 g; it was red lumen: start a 1 g" in text


def test_a_flush_between_others_does_not_make_the_others_move() -> None:
    # 12 h: 07:00 and 19:00; 6 h: 01:00 and 13:00 besides. The names of the day's flushes shift; the flushes stay.
    plain = (
        BLUE + '[order.a]\nmoments = ["2026-06-01 09:00"]\nduration = "30 min"\nlumen = "blue"\nwithout least_spacing\n'
    )
    new = plain + NEXT.replace("08:00", "09:30") + '[line]\nidle_limit = "6 h"\n'
    lines = {line for found in days(text_of(plain, new)).values() for line in found}
    assert not any(line.startswith(("moved", "gone")) for line in lines), lines
    assert {line.split()[0] for line in lines} == {"new:"}


def test_six_weeks_stay_readable() -> None:
    path = SAMPLE_PLANS[0].parent / "three-lumens.toml"
    old = read_plan("old.toml", path.read_bytes())
    text = path.read_text(encoding="utf-8").replace("revision = 1", "revision = 2")
    text = text.replace('takes_effect = "2026-10-12 08:00"', 'takes_effect = "2026-10-20 12:00"')
    new = read_plan("new.toml", text.replace('dose = "4 g"', 'dose = "3 g"').encode())
    assert not has_errors(new.findings)
    found = compare_plans(old, new, EMPTY, at("2026-10-19 08:00")).text
    assert max(map(len, found.splitlines())) <= WIDTH
    assert len(found.splitlines()) < 120
    # 14:00 and 22:00 and 06:00 in summer time; an hour earlier by the clock after the change of 1 November.
    assert any("Wed 21 Oct 2026 to Sat 31 Oct 2026" in heading for heading in days(found))
    assert any("Sun 1 Nov 2026 to Sun 22 Nov 2026" in heading for heading in days(found))
    assert "13:00 CST purple lumen: start piperacillin-tazobactam 3 g" in unwrapped(found)


def test_open_ended_therapy_is_compared_as_far_as_both_are_planned() -> None:
    old = A.replace("last_day = 2026-06-07", "until_removal = true") + '[plan]\nwithout end\nopen_ended = "7 days"\n'
    new = old + 'revision = 2\ntakes_effect = "2026-06-03 08:00"\nopen_ended = "30 days"\n'
    text = text_of(old, new)
    assert "Open-ended therapy is planned, and compared, until Wed 10 Jun 2026, 00:00 CDT." in unwrapped(text)
    assert days(text) == {key: lines for key, lines in days(text).items() if not lines}, (
        "what lies further ahead in one plan is no change"
    )


def test_it_ends_with_who_must_confirm() -> None:
    text = text_of(A, A + NEXT + '[order.a]\ndose = "2 g"\n')
    last = unwrapped(text.partition("WHO MUST CONFIRM")[2])
    assert last.startswith("This only shows what changes. Whether it is right is for those who ordered it:")
    assert "the prescriber, or the pharmacist" in last
    assert last.endswith("Questions: On-call nurse, Fennimore Vale, 555-0142.")


# Against the schedules' own JSON


def rows(schedule: Schedule, now: str) -> list[dict[str, Any]]:
    """Return the events as the JSON file has them."""
    found: list[dict[str, Any]] = json.loads(schedule_json(schedule, at(now)))["events"]
    return found


def seen(row: dict[str, Any]) -> str:
    """Return what of an event a household would notice: when, where, what for, and the steps."""
    orders = [dose["order"] for dose in (*row["starts"], *row["ends"], *row["bags"])]
    lengths = [_minute(dose["end"]) - _minute(dose["start"]) for dose in row["starts"]]
    return json.dumps([row["start"], row["lumen"], row["kind"], row["steps"], orders, lengths])


VARIANTS = {
    "other times": '[order.a]\nclock_times = ["10:00"]\nfirst_dose = "2026-06-01 10:00"\n',
    "twice a day": '[order.a]\nclock_times = ["09:00", "21:00"]\n',
    "an interval": '[order.a]\nwithout clock_times\nevery = "10 h"\n',
    "longer": '[order.a]\nduration = "3 h"\n',
    "a shorter limit": '[line]\nidle_limit = "8 h"\n',
    "a longer limit": '[line]\nidle_limit = "30 h"\n',
    "a margin": '[protocol]\nplanning_margin = "45 min"\n',
    "other lock": '[line]\nlock = "saline"\n',
    "other lumen": '[order.a]\nlumen = "blue"\n',
    "one more order": '[order.b]\nmoments = ["2026-06-05 15:00"]\nduration = "30 min"\nlumen = "blue"\nwithout least_spacing\n',
    "a journey": '[[zone_change]]\nat = "2026-06-04 12:00"\nzone = "America/New_York"\n',
    "an earlier end": '[plan]\nend = "2026-06-06 08:00"\n[order.a]\nlast_day = 2026-06-05\n',
    "a later end": '[plan]\nend = "2026-06-10 08:00"\n',
    "a lumen out of use": "[lumen.blue]\nin_use = false\n",
}


@pytest.mark.parametrize("moment", ["08:00", "09:10", "21:45"])
@pytest.mark.parametrize("variant", VARIANTS)
def test_the_changes_are_the_difference_of_the_two_schedules(variant: str, moment: str) -> None:
    old, new = read(A + BLUE).plan, read(A + BLUE + NEXT.replace("08:00", moment) + VARIANTS[variant]).plan
    assert old is not None
    assert new is not None
    before, after = schedules(old, new, EMPTY, at(NOW))
    one, two = rows(before, NOW), rows(after, NOW)
    gone, new_ones = Counter(map(seen, one)), Counter(map(seen, two))
    found = event_changes(before, after, Instant(2**62))
    assert found, "each variant changes something"
    was = Counter(_row(one, change.old.uid, change.old.at) for change in found if change.old)
    now = Counter(_row(two, change.new.uid, change.new.at) for change in found if change.new)
    assert was == gone - new_ones
    assert now == new_ones - gone


def _row(events: list[dict[str, Any]], uid: str, moment: int) -> str:
    (row,) = [row for row in events if row["uid"] == uid and _minute(row["start"]) == moment]
    return seen(row)


def _minute(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp()) // 60


@pytest.mark.parametrize(
    "variant", [name for name in VARIANTS if name not in ("a journey", "other lock", "other lumen")]
)
def test_the_text_names_the_same_moments_as_the_json(variant: str) -> None:
    """Read the printed list back: every day and clock time that is new, gone or moved, against the files."""
    text = text_of(A + BLUE, A + BLUE + NEXT + VARIANTS[variant])
    arrived: Counter[str] = Counter()
    left: Counter[str] = Counter()
    for heading, lines in days(text).items():
        for day in _named(heading):
            for line in lines:
                sort, _, rest = line.partition(": ")
                clock = re.findall(r"(\d\d:\d\d) CDT", rest.partition(";")[0])
                if sort in ("new", "moved"):
                    arrived[f"{day} {clock[-1]}"] += 1
                if sort in ("gone", "moved"):
                    left[f"{day} {clock[0]}"] += 1
    old, new = read(A + BLUE).plan, read(A + BLUE + NEXT + VARIANTS[variant]).plan
    assert old is not None
    assert new is not None
    before, after = schedules(old, new, EMPTY, at(NOW))
    one, two = (Counter(_place(row) for row in rows(schedule, NOW)) for schedule in (before, after))
    assert arrived == Counter(when for when, *_ in (two - one).elements())
    assert left == Counter(when for when, *_ in (one - two).elements())


def _place(row: dict[str, Any]) -> tuple[str, str, str]:
    local = datetime.fromisoformat(row["local"])
    return f"{local:%Y-%m-%d %H:%M}", row["lumen"], row["kind"]


def _named(heading: str) -> list[str]:
    """Return the days that a heading of the list names."""
    found = []
    for part in heading.rpartition("days: ")[2].split(", "):
        edges = [_ordinal(word) for word in part.split(" to ")]
        found += [str(datetime.fromordinal(day).date()) for day in range(edges[0], edges[-1] + 1)]
    return found


def _ordinal(words: str) -> int:
    return datetime.strptime(f"{words} +0000", "%a %d %b %Y %z").toordinal()


def test_changes_stand_in_order_of_time() -> None:
    old, new = read(A + BLUE).plan, read(A + BLUE + NEXT + VARIANTS["a shorter limit"]).plan
    assert old is not None
    assert new is not None
    found: list[EventChange] = event_changes(*schedules(old, new, EMPTY, at(NOW)), Instant(2**62))
    assert all(one.at <= two.at for one, two in pairwise(found))
    assert all(change.at >= at("06-03 08:00") for change in found), "what lies before the change is the same in both"
