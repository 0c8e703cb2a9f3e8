"""Reading back: what is read aloud, with units in full, and letters that change with whatever matters and nothing else.

That a second person reads an order back before it is acted on, with units in full, is common practice; the letters are our
own.
"""

import re
import tomllib
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from page_home import TWO_LUMENS, Home, browsing
from small_plans import BASE, plan_text

from reminders.cli import main
from reminders.drafting.draft import Draft
from reminders.drafting.entries import entries_of
from reminders.findings import KeyPath
from reminders.plan.model import LISTED_TABLES, NAMED_TABLES, TABLES, Plan
from reminders.plan.read import read_plan
from reminders.plan.read_back import LETTERS, ReadBackState, check_letters, lines, state
from reminders.read_back_words import read_back_text, read_back_words
from reminders.reporting import report_to
from reminders.saying.phrases import said
from reminders.units import in_full

SAMPLES = sorted((Path(__file__).parent.parent / "sample_plans").glob("*.toml"))
THREE = next(path for path in SAMPLES if path.stem == "three-lumens")
BROKEN = sorted((THREE.parent / "broken").glob("*.toml"))
NOW = ("--now", "2026-10-12 08:00-05:00")

NOT_READ = {
    "plan": "id revision takes_effect household_records handling_time",
    "household": "quiet_hours preferred_flush_times settled_ahead",
    "fluid": "sodium syringe",
    "protocol": "least_time_to_next_touch saved_session_worth",
    "supplies": "each_touch each_syringe each_connection each_withdrawal each_draw order_ahead order_days remind_at",
    "stock": "item on_hand counted_at kept_back comes_in order_ahead",
    "order": "each_dose each_bag",
    "task": "uses takes",
    "calendar": "name reveals alarm_before colour refresh_every",
    "pop_up": "ahead again_every urgent_again_every ordinary_repeats discreet",
    "read_back": "by at check",
}
"""Keys that say how the household is reminded and what is counted; everything else is read back."""

RICH = """
[[zone_change]]
at = "2026-06-03 12:00"
zone = "America/Denver"
[lumen.red]
label = "red"
last_flushed = "2026-06-01 07:00"
lock = "saline"
idle_limit = "8 h"
flush_volume = "5 mL"
flush_through = "withdraw first"
withdraw_volume = "3 mL"
[lumen.blue]
label = "blue"
last_flushed = "2026-06-01 07:00"
lock_volume = "2 mL"
[lumen.white]
label = "white"
last_flushed = "2026-06-01 07:00"
in_use = false
[step.cap]
label = "Change the cap."
[order.a]
drug = "cefazolin"
kind = "drug"
dose = "2 g"
lumen = "red"
given_as = "infusion"
clock_times = ["08:00", "20:00"]
weekdays = ["Mon", "Thu"]
first_dose = "2026-06-01 08:00"
doses = 3
volume = "100 mL"
rate = "50 mL/h"
rate_limit = "60 mL/h"
least_spacing = "6 h"
most_spacing = "7 days"
last_dose_before_plan = "2026-05-31 20:00"
on_time_within = "1 h"
cut_off = "4 h"
clock = "local"
before = ["saline"]
after = ["saline 20 mL", "cap"]
flush_through = "withdraw first"
withdraw_volume = "3 mL"
hang_time = "4 h"
bags_expire_on = 2026-06-20
review_on = 2026-06-10
after_late_dose = "shift following doses"
note = "Cold."
[order.b]
drug = "fluid"
kind = "fluid"
dose = "1000 mL"
lumen = "blue"
given_as = "infusion"
continuous = true
first_dose = "2026-06-01 10:00"
stops = "2026-06-07 10:00"
volume = "1000 mL"
rate = "40 mL/h"
bag_every = "24 h"
bag_flush = []
on_time_within = "1 h"
cut_off = "2 h"
flush_through = "allowed"
[order.c]
drug = "ondansetron"
kind = "drug"
dose = "4 mg"
lumen = "blue"
given_as = "push"
as_needed = true
most_in_24h = 3
least_spacing = "6 h"
last_day = 2026-06-05
duration = "2 min"
volume = "2 mL"
runs_with = ["b"]
flush_through = "allowed"
[order.d]
drug = "steroid"
kind = "drug"
dose = "40 mg"
lumen = "red"
given_as = "push"
follows = "a"
follows_after = "30 min"
duration = "2 min"
volume = "1 mL"
on_time_within = "1 h"
cut_off = "2 h"
flush_through = "allowed"
[task.dressing]
kind = "dressing"
label = "Change the dressing"
done_by = "nurse"
every_days = 7
at = "10:00"
last_done = "2026-05-28 10:00"
not_on = [2026-06-04]
instead = "the day before"
on_time_within = "12 h"
last_day = 2026-06-07
note = "Clean hands."
[task.draw]
kind = "blood draw"
label = "Blood draw"
done_by = "nurse"
order = "a"
before_dose = "30 min"
only_doses = [2]
lumen = "red"
pauses_infusion = "15 min"
on_time_within = "1 h"
with_tasks = ["dressing"]
[daily_limits]
infused = "3100 mL"
flushed = "250 mL"
heparin = "500 units"
sodium = "40 mmol"
"""
"""An invented plan with nearly every key that is read back. That some contradict one another does not matter to the letters."""


def plan_of(text: str) -> Plan:
    reading = read_plan("plan", text.encode())
    assert reading.plan is not None and not reading.broken, [finding.message for finding in reading.findings]
    return reading.plan


def places_of(values: dict[str, Any], table: str) -> list[KeyPath]:
    if table in NAMED_TABLES:
        return [(table, name) for name in values.get(table, {})]
    if table in LISTED_TABLES:
        return [(table, str(count + 1)) for count in range(len(values.get(table, [])))]
    return [(table,)] if table in values else []


def values_of_keys() -> dict[tuple[str, str], list[Any]]:
    """Return values that each key has in some plan, to be put in the place of one another."""
    found: dict[tuple[str, str], list[Any]] = defaultdict(list)
    for text in [*(path.read_text() for path in SAMPLES), BASE + RICH]:
        values = tomllib.loads(text)
        for table in TABLES:
            for place in places_of(values, table):
                held: Any = values
                for step in place:
                    held = held[int(step) - 1] if isinstance(held, list) else held[step]
                for key, raw in held.items():
                    found[table, key].append(raw)
    return found


OTHERS: dict[tuple[str, str], list[Any]] = {
    ("task", "every_days"): [3],
    ("task", "at"): ["11:00"],
    ("task", "instead"): ["the day after"],
    ("task", "not_on"): [["2026-06-05"]],
    ("task", "only_doses"): [[3]],
    ("task", "last_day"): ["2026-06-06"],
    ("task", "pauses_infusion"): ["20 min"],
    ("task", "with_tasks"): [["draw"]],
    ("order", "bags_expire_on"): ["2026-06-21"],
    ("order", "clock"): ["home"],
    ("order", "after_late_dose"): ["keep times"],
    ("order", "most_in_24h"): [2],
    ("order", "follows_after"): ["40 min"],
    ("daily_limits", "heparin"): ["600 units"],
    ("lumen", "flush_volume"): ["6 mL"],
    ("lumen", "lock_volume"): ["3 mL"],
    ("lumen", "in_use"): [True, False],
    ("lumen", "idle_limit"): ["9 h"],
    ("order", "stops"): ["2026-06-07 09:00"],
    ("order", "doses"): [4],
    ("order", "first_dose_number"): [2],
    ("order", "bag_every"): ["12 h"],
    ("order", "bag_flush"): [["saline"]],
    ("order", "weekdays"): [["Tue"]],
    ("order", "withdraw_volume"): ["4 mL"],
    ("order", "rate_limit"): ["70 mL/h"],
    ("order", "runs_with"): [["a"]],
    ("order", "before"): [[]],
    ("order", "review_on"): ["2026-06-11"],
    ("zone_change", "at"): ["2026-06-03 13:00"],
    ("zone_change", "zone"): ["America/New_York"],
    ("step", "label"): ["Change the blue cap."],
    ("call", "phone"): ["555-0199"],
    ("daily_limits", "sodium"): ["41 mmol"],
    ("daily_limits", "flushed"): ["251 mL"],
    ("task", "label"): ["Another"],
    ("task", "note"): ["Another."],
    ("task", "on_time_within"): ["2 h"],
    ("task", "before_dose"): ["31 min"],
    ("task", "last_done"): ["2026-05-29 10:00"],
    ("task", "done_by"): ["household"],
    ("task", "order"): ["b"],
    ("task", "lumen"): ["blue"],
    ("lumen", "lock"): ["heparin"],
    ("lumen", "flush_through"): ["allowed"],
    ("lumen", "withdraw_volume"): ["4 mL"],
    ("protocol", "flush"): ["heparin"],
    ("protocol", "idle"): [["saline 5 mL"]],
    ("protocol", "provider"): ["Another Provider"],
    ("order", "as_needed"): [False],
    ("order", "continuous"): [False],
    ("order", "follows"): ["b"],
}
"""A value besides, for keys that the samples state once or not at all."""


def test_whatever_is_read_back_changes_the_letters_and_nothing_else_does() -> None:
    text = BASE + RICH
    draft, letters = Draft.of(text), check_letters(plan_of(text))
    offered = values_of_keys()
    read = set()
    for table in TABLES:
        for place in places_of(draft.values, table):
            for entry in entries_of(table):
                before = draft.raw((*place, entry.key))
                for raw in [*OTHERS.get((table, entry.key), []), *offered[table, entry.key][:5]]:
                    if before is None or raw == before:
                        continue
                    draft.put((*place, entry.key), raw)
                    reading = read_plan("plan", draft.text().encode())
                    if reading.plan is not None and not reading.broken:
                        changed = check_letters(reading.plan) != letters
                        read |= {(table, entry.key)} if changed else set()
                        meant = entry.key not in NOT_READ.get(table, "").split()
                        unused = place == ("lumen", "white") and entry.key == "last_flushed"  # out of use
                        assert changed == (meant and not unused), (place, entry.key, raw)
                draft.restore(text)
    stated = {
        (table, key)
        for table in TABLES
        for place in places_of(draft.values, table)
        for key in (draft.raw(place) or {})
        if key not in NOT_READ.get(table, "").split()
    }
    assert sorted(stated - read) == []  # every one of them was really tried


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("[line]", "# a remark\n[line]  # another"),
        ('dose = "4 g"', 'dose   =   "4000 mg"'),
        ('idle_limit = "12 h"', 'idle_limit = "720 min"'),
        ('every = "8 h"', 'every = "480 min"'),
        ('volume = "3 mL"', 'volume = "0.003 L"'),
        ('strength = "10 units/mL"', 'strength = "10 units / ml"'),
        ('"90 mL/h for 1 h", "182 mL/h for 10 h"', '"90 mL/h for 60 min", "182 mL/h for 600 min"'),
        ('first_dose = "2026-10-12 14:00"', "first_dose = 2026-10-12T19:00:00Z"),
        ('clock_times = ["20:00"]', "clock_times = [20:00:00]"),
        ("valved = false\nplaced_on = 2026-10-08", 'placed_on = "2026-10-08"\nvalved = false'),
    ],
)
def test_another_way_of_writing_the_same_gives_the_same_letters(old: str, new: str) -> None:
    text = THREE.read_text()
    assert text.count(old) == 1
    assert check_letters(plan_of(text.replace(old, new))) == check_letters(plan_of(text))


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_the_order_and_the_names_of_tables_do_not_matter(sample: Path) -> None:
    text = sample.read_text()
    blocks = re.split(r"(?m)^(?=\[)", text)
    letters = check_letters(plan_of(text))
    journeys = [block for block in blocks if block.startswith("[[")]  # which have an order of their own
    others = [block for block in blocks[1:] if block not in journeys]
    assert check_letters(plan_of("\n".join([blocks[0], *reversed(others), *journeys]))) == letters
    draft = Draft.of(text)
    for table in ("lumen", "fluid", "step", "order", "task"):
        for name in draft.names(table):
            draft.rename(table, name, f"x-{name}")
    assert check_letters(plan_of(draft.text())) == letters


def test_the_letters_of_the_sample_are_those_that_it_was_read_back_with() -> None:
    """They stand in files at home: with other letters for the same plan, every household would be told of a change."""
    plan = plan_of(THREE.read_text())
    assert plan.read_back is not None and state(plan) is ReadBackState.FITS
    assert check_letters(plan) == plan.read_back.check == "ZJVB CRZR"


def test_letters_are_short_and_those_of_one_plan() -> None:
    found = [check_letters(plan_of(path.read_text())) for path in SAMPLES]
    assert len(set(found)) == len(SAMPLES)
    for letters in found:
        assert re.fullmatch(f"[{LETTERS}]{{4}} [{LETTERS}]{{4}}", letters)
    assert not set("AEIOU01") & set(LETTERS)


def test_what_a_repeated_hour_means_is_read_and_changes_the_letters() -> None:
    """2026-11-01 01:30 occurs twice in Chicago; without an offset it is the first (R3)."""
    text = THREE.read_text()
    first = text.replace('"2026-10-12 14:00"', '"2026-11-01 01:30"')
    second = text.replace('"2026-10-12 14:00"', '"2026-11-01 01:30-06:00"')
    assert check_letters(plan_of(first)) != check_letters(plan_of(second))
    assert "2026-11-01 01:30, the second time that the clock shows it" in [line.said for line in lines(plan_of(second))]


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("1 g", "1 gram"),
        ("4.5 g", "4.5 grams"),
        ("500 mcg", "500 micrograms"),
        ("10 units/mL", "10 units per milliliter"),
        ("1 unit", "1 unit"),
        ("1 million_units", "1 million units"),
        ("125 mL/h", "125 milliliters per hour"),
        ("1 h 30 min", "1 hour 30 minutes"),
        ("7 days", "7 days"),
        ("20 mEq", "20 milliequivalents"),
        ("1 L", "1 liter"),
        ("10 mg/min", "10 milligrams per minute"),
        ("15 s", "15 seconds"),
        ("2 weeks", "2 weeks"),
    ],
)
def test_units_are_read_in_full(written: str, read: str) -> None:
    assert in_full(written) == read


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_no_unit_is_read_as_a_letter(sample: Path) -> None:
    plan = plan_of(sample.read_text())
    names = {fluid.label for fluid in plan.fluids.values()} | {order.note for order in plan.orders.values()}
    for line in lines(plan):
        if line.what not in ("Note", "Brings") and line.said not in names:
            assert re.search(r"[0-9] ?(mL|ml|mg|g|mcg|h|min|s|mmol|U|IU)\b", line.said) is None, line


def test_an_order_is_read_as_it_is_ordered() -> None:
    said = {
        line.what: line.said for line in lines(plan_of(THREE.read_text())) if line.name == "piperacillin-tazobactam"
    }
    assert said == {
        "Drug": "piperacillin-tazobactam",
        "What it is": "drug",
        "Dose": "4 grams",
        "Lumen": "purple",
        "Given as": "infusion",
        "Every": "8 hours",
        "First dose": "2026-10-12 14:00",
        "Last day": "2026-11-22",
        "Volume": "100 milliliters",
        "One dose runs for": "30 minutes",
        "Least time between two starts": "6 hours",
        "Most time between two starts": "10 hours",
        "Last dose before the plan": "2026-10-12 06:00",
        "On time within": "1 hour",
        "No longer simply given after": "3 hours",
        "After a late dose": "keep times",
        "What is left may be flushed in": "allowed",
    }


@pytest.mark.parametrize(
    ("only", "doses", "read"),
    [
        ("", "last_day = 2026-11-22", "EVERY dose of piperacillin-tazobactam (125 draws)"),
        ("", "doses = 28", "EVERY dose of piperacillin-tazobactam (28 draws)"),
        ("only_doses = [4]", "doses = 28", "only dose 4 of piperacillin-tazobactam"),
        ("only_doses = [4, 10]", "doses = 28", "only doses 4, 10 of piperacillin-tazobactam"),
    ],
)
def test_a_level_is_read_with_the_doses_that_it_goes_with(only: str, doses: str, read: str) -> None:
    """Every 8 h from 12 October 14:00 to 22 November: 42 days of three, less the one of the first morning."""
    task = f"""
[task.level]
kind = "blood draw"
label = "level"
done_by = "nurse"
order = "piperacillin"
before_dose = "30 min"
on_time_within = "15 min"
{only}
"""
    plan = plan_of(THREE.read_text().replace("last_day = 2026-11-22", doses) + task)
    (found,) = (line for line in lines(plan) if line.about == "task" and line.what == "With the order")
    assert (found.said, found.meant) == (read, "piperacillin-tazobactam")


def test_a_lock_is_read_with_its_strength_its_volume_and_its_units() -> None:
    """3 mL of 10 units/mL are 30 units."""
    found = lines(plan_of(THREE.read_text()))
    (heparin,) = [line for line in found if line.what == "Units in each push"]
    assert (heparin.name, heparin.said) == ("heparin lock", "30 units")
    locks = [line.said for line in found if line.what == "Lock"]
    assert locks == ["heparin lock 10 units per milliliter, 3 milliliters"] * 3


@pytest.mark.parametrize("broken", [path for path in BROKEN if path.stem != "syntax-slips"], ids=lambda path: path.stem)
def test_a_plan_with_errors_can_be_read_so_far(broken: Path) -> None:
    reading = read_plan("plan", broken.read_bytes())
    assert reading.plan is not None and lines(reading.plan) and check_letters(reading.plan)


READ = '\n[read_back]\nby = "Ines Marlow"\nat = "2026-10-12 07:45"\ncheck = "{letters}"\n'
"""Ines Marlow is invented."""


def with_read_back(text: str, letters: str) -> str:
    draft = Draft.of(text)
    for key, typed in (("by", "Ines Marlow"), ("at", "2026-10-12 07:45"), ("check", letters)):
        draft.enter(("read_back", key), typed)
    return draft.text()


@pytest.mark.parametrize("written", ["{}", "{} ", "lower", "joined", "dashed"])
def test_a_plan_that_was_read_back_fits_its_letters_however_they_are_written(written: str) -> None:
    text = THREE.read_text()
    letters = check_letters(plan_of(text))
    forms = {"lower": letters.lower(), "joined": letters.replace(" ", ""), "dashed": letters.replace(" ", "-")}
    read = plan_of(with_read_back(text, forms.get(written) or written.format(letters)))
    assert state(read) is ReadBackState.FITS
    assert read_back_words(read) == (
        f"Read back by Ines Marlow on Mon 12 Oct 2026, 07:45 CDT. Check letters: {letters}."
    )


def test_a_plan_changed_after_it_was_read_back_is_a_warning() -> None:
    text = with_read_back(THREE.read_text(), check_letters(plan_of(THREE.read_text())))
    assert "read-back-changed" not in {finding.code for finding in read_plan("x", text.encode()).findings}
    reading = read_plan("x", text.replace('dose = "4 g"', 'dose = "3 g"').encode())
    (finding,) = [finding for finding in reading.findings if finding.code == "read-back-changed"]
    assert reading.plan is not None and state(reading.plan) is ReadBackState.CHANGED
    assert finding.places == (("read_back", "check"),) and "Ines Marlow" in finding.message
    assert "It was changed since" in read_back_words(reading.plan)
    assert read_plan("x", text.replace('colour = "teal"', 'colour = "navy"').encode()).findings == []


def test_nothing_is_said_of_the_letters_while_a_value_cannot_be_read() -> None:
    text = with_read_back(THREE.read_text(), "BBBB CCCC").replace('dose = "4 g"', 'dose = "4"')
    assert "read-back-changed" not in {finding.code for finding in read_plan("x", text.encode()).findings}


def test_the_text_to_be_read_holds_every_line_and_the_letters() -> None:
    plan = plan_of(THREE.read_text())
    text = read_back_text(plan)
    for line in lines(plan):
        assert f"  {line.what}: {line.said}\n" in text
    assert text.endswith("\n") and check_letters(plan) in text and "Order: piperacillin-tazobactam" in text


def test_check_says_who_has_read_it_back(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    draft = Draft.of(THREE.read_text())
    draft.remove(("read_back",))
    plan.write_text(draft.text())
    letters = check_letters(plan_of(draft.text()))
    said = CliRunner().invoke(main, ["check", str(plan), *NOW])
    assert said.exit_code == 0
    assert said.stdout.splitlines()[-1] == f"Read back: by nobody yet. Check letters: {letters}."
    said = CliRunner().invoke(main, ["check", str(plan), "--read-back", *NOW])
    assert said.exit_code == 0 and said.stdout.endswith(read_back_text(plan_of(draft.text())))
    plan.write_text(with_read_back(draft.text(), "BBBB CCCC"))
    said = CliRunner().invoke(main, ["check", str(plan), *NOW])
    assert said.exit_code == 0 and "WARNING (read-back-changed)" in said.stdout


@pytest.mark.parametrize("told", ["heparin stopped", "flushed grey"])
def test_what_is_recorded_changes_nothing_of_what_was_read_back(told: str, tmp_path: Path) -> None:
    """Heparin stopped is laid over the plan from then on (S11); what somebody read back is the plan as it is written."""
    plain = plan_text(TWO_LUMENS)
    letters = check_letters(plan_of(plain))
    home = Home(tmp_path, "06-01 08:30", text=with_read_back(plain, letters))
    found = report_to(home.keeper.household, said(told.split(), home.keeper.schedule.plan), "told", home.keeper.instant)
    home.keeper.took(found.household)
    home.move("06-01 09:30")
    with browsing(home) as browser:
        assert f"Check letters: {letters}." in browser.html
        assert "It was changed since" not in browser.html
