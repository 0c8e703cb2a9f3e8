"""The household's page without scripts: what it shows, what each button records, and what it refuses (R13-R18, R27, S1-S14)."""

import asyncio
import html
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
import small_plans
from histories import at
from own_places import own_places
from page_home import SECRET, TWO_LUMENS, Browser, Home, Pressed, browsing, buttons, short

from reminders.daemon.desk import Health
from reminders.daemon.journal import Raised
from reminders.daemon.life import STALE
from reminders.household import NotInUseError, open_household
from reminders.record.store import RecordError
from reminders.reporting import report_to, use_revision
from reminders.saying.phrases import PHRASES, Said, Verb, said
from reminders.web import page_report
from reminders.web.page_frame import without_commands
from reminders.web.page_times import short_time
from reminders.web.page_words import SAYINGS, others, wrong

BAGS = """
[lumen.red]
last_flushed = "2026-06-01 08:00"
[order.nutrimix]
kind = "nutrition"
dose = "1000 mL"
continuous = true
first_dose = "2026-06-01 09:00"
until_removal = true
volume = "1000 mL"
rate = "40 mL/h"
bag_times = ["10:00"]
bag_flush = []
without least_spacing
"""

PORT = TWO_LUMENS + '\n[line]\nkind = "implanted port"\n'


def home(folder: Path, clock: str, edits: str = TWO_LUMENS) -> Home:
    folder.mkdir(exist_ok=True)
    return Home(folder, clock, edits)


def tell(house: Home, words: str) -> None:
    """Record something as the command does."""
    keeper = house.keeper
    told = said(words.split(), keeper.schedule.plan)
    found = report_to(keeper.household, told, f"told-{len(keeper.household.record.facts)}", keeper.instant)
    keeper.took(found.household)


def tell_all(house: Home, *words: str) -> None:
    for told in words:
        tell(house, told)


def tell_said(house: Home, told: Said) -> None:
    keeper = house.keeper
    found = report_to(keeper.household, told, f"told-{len(keeper.household.record.facts)}", keeper.instant)
    keeper.took(found.household)


@pytest.fixture(autouse=True)
def _folders_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "places", monkeypatch)


# --- Each button and form records what the command records ---

# Each row: the clock and what was told before; then the page, the button and what is chosen or written; then the words of the command.
Row = tuple[str, Sequence[str], str, str, dict[str, str], str]

RUNS = ["started cefazolin"]

ROWS: dict[str, Row] = {
    "started": ("06-01 09:00", [], "./", "Started", {}, "started cefazolin"),
    "started 10 min ago": ("06-01 09:10", [], "./", "Started", {"when": "10 min ago"}, "started cefazolin 10 min ago"),
    "started at a time": (
        "06-01 09:30",
        [],
        "./",
        "Started",
        {"when_clock": "08:50", "when_day": "2026-06-01"},
        "started cefazolin 8:50",
    ),
    "it was done, as planned": (
        "06-01 10:30",
        [],
        "./",
        "Yes, 09:00, as planned: started",
        {},
        "started cefazolin 9:00",
    ),
    "it was done, then": (
        "06-01 10:30",
        [],
        "./",
        "Yes, then: started",
        {"when": "30 min ago"},
        "started cefazolin 30 min ago",
    ),
    "done late": ("06-01 10:30", [], "./", "Just now: started", {}, "started cefazolin"),
    "flushed": ("06-01 09:30", RUNS, "./", "Flushed", {}, "flushed grey"),
    "finished and flushed": ("06-01 09:40", RUNS, "./", "Finished and flushed", {}, "finished cefazolin and flushed"),
    "finished, not flushed": ("06-01 09:40", RUNS, "./", "Finished, not flushed yet", {}, "finished cefazolin"),
    "finished as planned": (
        "06-01 09:50",
        RUNS,
        "./",
        "Yes, 09:30, as planned: finished and flushed",
        {},
        "finished cefazolin and flushed 9:30",
    ),
    "finished early": ("06-01 09:10", RUNS, "./", "Finished and flushed", {}, "finished cefazolin and flushed"),
    "interrupted": ("06-01 09:10", RUNS, "./", "Interrupted", {}, "interrupted cefazolin"),
    "runs again": ("06-01 09:15", [*RUNS, "interrupted"], "./", "It runs again", {}, "resumed cefazolin"),
    "does not flow": ("06-01 09:10", RUNS, "./", "It does not flow, or the pump alarms", {}, "not flowing cefazolin"),
    "not given": ("06-01 09:10", [], "./", "cefazolin: not given", {}, "not given cefazolin"),
    "will not flush": ("06-01 09:10", [], "./", "It will not flush", {}, "red will not flush"),
    "no blood return": ("06-01 09:10", [], "./", "No blood return", {}, "red no blood return"),
    "pain": ("06-01 09:10", [], "signs?lumen=red", "Pain", {}, "red pain"),
    "swelling": ("06-01 09:10", [], "signs?lumen=grey", "Swelling", {}, "grey swelling"),
    "leak": ("06-01 09:10", [], "signs?lumen=red", "A leak", {}, "red leak"),
    "reaction": ("06-01 09:10", RUNS, "signs?lumen=red", "A reaction", {}, "reaction red"),
    "fever": ("06-01 09:10", [], "other", "Fever", {}, "fever"),
    "broken": ("06-01 09:10", [], "signs", "Line broken", {}, "line broken"),
    "something else": ("06-01 09:10", [], "other", "Something else is wrong", {}, "problem"),
    "delayed": (
        "06-01 09:10",
        [],
        "say?verb=delayed",
        "Record it",
        {"order": "cefazolin", "until_clock": "11:00", "until_day": "2026-06-01"},
        "delayed cefazolin to 11:00",
    ),
    "stopped early": (
        "06-01 09:20",
        RUNS,
        "say?verb=stopped+early",
        "Record it",
        {"volume": "60 mL", "sign": "swelling", "when": "5 min ago"},
        "stopped early after 60 mL for swelling 5 min ago",
    ),
    "without its lock": (
        "06-01 09:30",
        [],
        "say?verb=flushed&lumen=grey&fluids=saline",
        "Record it",
        {},
        "flushed grey with saline",
    ),
    "drawn": ("06-01 09:10", [], "say?verb=blood+drawn", "Record it", {"lumen": "grey", "flushed": "yes"}, "drawn grey and flushed"),
    "given elsewhere": (
        "06-01 09:10",
        [],
        "say?verb=given+elsewhere",
        "Record it",
        {"order": "cefazolin", "line_used": "yes"},
        "given elsewhere cefazolin through the line",
    ),
    "out of use": ("06-01 09:10", [], "say?verb=out+of+use", "Record it", {"lumen": "grey"}, "out of use grey"),
    "held": ("06-01 09:10", [], "say?verb=held", "Record it", {}, "held cefazolin"),
    "in hospital": ("06-01 09:10", [], "say?verb=held&everything=yes", "Record it", {}, "in hospital"),
    "heparin stopped": ("06-01 09:10", [], "say?verb=heparin+stopped", "Record it", {}, "heparin stopped"),
    "exchanged": ("06-01 09:10", [], "say?verb=line+exchanged", "Record it", {}, "line exchanged"),
    "removed": ("06-01 09:10", [], "say?verb=line+removed", "Record it", {}, "line removed"),
    "task": ("06-01 09:10", [], "say?verb=task+done", "Record it", {"name": "dressing"}, "task done dressing"),
    "counted": (
        "06-01 09:10",
        [],
        "say?verb=counted",
        "Record it",
        {"name": "saline syringe", "count": "12"},
        "counted 12 saline syringe",
    ),
    "in own words": (
        "06-01 09:40",
        [],
        "other",
        "Record it",
        {"words": "flushed grey 20 min ago"},
        "flushed grey 20 min ago",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", ROWS)
def test_a_button_records_what_the_command_records(name: str, tmp_path: Path) -> None:
    clock, before, address, button, changes, words = ROWS[name]
    page, twin = home(tmp_path / "page", "06-01 09:00"), home(tmp_path / "command", "06-01 09:00")
    for house in (page, twin):
        for told in before:
            tell(house, told)
        house.move(clock)
    known = len(page.said())
    tell(twin, words)
    with browsing(page) as browser:
        browser.open(address).press(button, **changes)
        assert browser.answer.status_code == 200, browser.text
        assert browser.answer.url.path.endswith("/answer")
        assert page.said() == twin.said()
        assert len(page.said()) > known
        assert page.changes >= 1


def test_a_bag_is_changed_by_a_press(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00", BAGS)
    tell(house, "started nutrimix")
    house.move("06-01 10:05", ticked=True)
    with browsing(house) as browser:
        browser.press("Bag changed")
    assert house.said()[-1] == "06-01 10:05-0500 bag changed order=nutrimix dose=continuous"


def test_a_port_has_a_needle(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10", PORT)
    with browsing(house) as browser:
        browser.open("other").follow("The port's needle was taken out").press("Record it")
        assert house.said() == ["06-01 09:10-0500 needle out"]
        browser.open("other").follow("A needle was put into the port").press("Record it", said_by="Nurse Oduya")
    assert house.said()[-1] == "06-01 09:10-0500 needle in said_by=Nurse Oduya"


def test_what_a_clinician_says_needs_to_say_who(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.follow("cefazolin: left out, as a clinician said").press("Record it")
        assert browser.answer.status_code == 400
        assert house.said() == []
        assert 'href="#said_by"' in browser.html
        assert re.search(
            r'id="said_by"[^>]*aria-describedby="said_by-hint said_by-fault" aria-invalid="true"', browser.html
        )
        browser.press("Record it", said_by="Dr. Quillfeather")
    assert house.said() == ["06-01 09:10-0500 skipped order=cefazolin dose=2026-06-01T09:00 said_by=Dr. Quillfeather"]


def test_a_flush_is_left_out_as_a_clinician_said(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:40")
    with browsing(house) as browser:
        browser.follow("This flush is left out, as a clinician said").press("Record it", said_by="on-call nurse")
    assert house.said() == ["06-01 09:40-0500 skipped lumen=grey said_by=on-call nurse planned_for=06-01 09:30"]


def test_home_again_asks_for_the_last_flush(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    tell(house, "in hospital")
    house.move("06-02 12:00")
    with browsing(house) as browser:
        offered = [button for button in browser.buttons if "tarted" in button or "lushed" in button]
        assert offered == []  # what is looked after elsewhere is not offered
        browser.follow("Home again").press("Record it")
        assert browser.answer.status_code == 409
        assert "When was the line last flushed there?" in browser.text
        assert "yesterday 21:00" not in browser.text  # nothing that is typed elsewhere: a time is written here
        browser.press("It was flushed then", last_flush_clock="09:30", last_flush_day="2026-06-02")
    assert house.said()[1:] == [
        "06-02 12:00-0500 released",
        "06-02 09:30-0500 flushed lumen=red elsewhere",
        "06-02 09:30-0500 flushed lumen=grey elsewhere",
    ]


def test_everything_that_can_be_said_has_its_place(tmp_path: Path) -> None:
    plan = home(tmp_path, "06-01 09:00", PORT).keeper.schedule.plan
    offered = {(offer.verb, offer.fields.get("everything", "")) for _heading, group in others(plan) for offer in group}
    signs = {(offer.fields["sign"], offer.fields.get("note", "")) for offer in wrong()}
    missing = [
        words
        for words, phrase in PHRASES.items()
        if phrase.verb is not Verb.IN_USE  # no report: it puts a plan in use
        and phrase.verb is not Verb.DONE  # what waits has a button for each thing that it consists of
        and phrase.verb is not Verb.BAG_CHANGED  # offered where a plan has bags
        and phrase.verb not in (Verb.TASK_PUT_OFF, Verb.TASK_SKIPPED)  # offered where a plan has care tasks
        and not (
            (phrase.sign.value, phrase.note) in signs
            if phrase.sign is not None
            else (phrase.verb, "yes" if phrase.everything else "") in offered
        )
    ]
    assert missing == []
    assert set(SAYINGS) == set(Verb) - {Verb.IN_USE}
    bags = home(tmp_path / "bags", "06-01 09:00", BAGS).keeper.schedule.plan
    assert any(offer.verb is Verb.BAG_CHANGED for _heading, group in others(bags) for offer in group)


def test_what_comes_together_is_said_together_or_apart(tmp_path: Path) -> None:
    edits = """
    [lumen.red]
    last_flushed = "2026-06-01 08:00"
    [order.a]
    clock_times = ["09:00"]
    first_dose = "2026-06-01 09:00"
    last_day = 2026-06-07
    duration = "60 min"
    [order.b]
    clock_times = ["10:00"]
    first_dose = "2026-06-01 10:00"
    last_day = 2026-06-07
    duration = "30 min"
    """
    whole, apart = home(tmp_path / "whole", "06-01 09:00", edits), home(tmp_path / "apart", "06-01 09:00", edits)
    for house in (whole, apart):
        tell_said(house, Said(verb=Verb.STARTED, order="a"))
        house.move("06-01 10:00")
    with browsing(whole) as browser:
        browser.press("All of it was done")
    assert whole.said()[1:] == [
        "06-01 10:00-0500 finished order=a dose=2026-06-01T09:00",
        "06-01 10:00-0500 started order=b dose=2026-06-01T10:00",
    ]
    with browsing(apart) as browser:
        browser.press("a finished")
    assert apart.said()[1:] == ["06-01 10:00-0500 finished order=a dose=2026-06-01T09:00"]


# --- One report is one report ---


def test_a_form_sent_twice_is_one_report(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        form = browser.find("Started")
        browser.send(form)
        assert "Recorded" in browser.text
        house.move("06-01 09:02")  # somebody presses again, a little later
        browser.send(form)
        assert browser.answer.status_code == 200
        assert "This form was sent before. It is recorded once" in browser.text
    assert house.said() == ["06-01 09:00-0500 started order=cefazolin dose=2026-06-01T09:00"]


def test_two_presses_at_once_are_one_report(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:30")
    tell(house, "started cefazolin 9:00")
    with browsing(house) as browser:
        form = browser.find("Flushed")
        body: dict[str, list[str]] = {}
        for name, value in form.fields:
            body.setdefault(name, []).append(value)

        async def twice() -> list[int]:
            sent = [browser._client.post(f"/{SECRET}/{form.action}", data=body) for _ in range(2)]
            return [answer.status_code for answer in await asyncio.gather(*sent)]

        assert browser._runner.run(twice()) == [200, 200]
    assert house.said()[1:] == ["06-01 09:30-0500 flushed lumen=grey"]


def test_an_old_form_that_says_something_else_is_another_report(tmp_path: Path) -> None:
    """A browser may bring an old page back, whose forms still have the key that they were drawn with."""
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        not_given, no_return = browser.find("cefazolin: not given"), browser.find("No blood return")
        assert dict(not_given.fields)["key"] == dict(no_return.fields)["key"]
        browser.send(not_given)
        browser.send(no_return)
    assert [line.split()[2] for line in house.said()] == ["not", "problem"]


def test_forms_drawn_twice_are_two_reports(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:30")
    with browsing(house) as browser:
        keys = [dict(button.fields)["key"] for button in buttons(browser.html) if button.action == "report"]
        browser.open("./")
        again = [dict(button.fields)["key"] for button in buttons(browser.html) if button.action == "report"]
    assert not set(keys) & set(again)


# --- Questions back ---


def test_a_question_records_nothing_until_it_is_answered(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.open("signs").press("Pain")
        assert browser.answer.status_code == 409
        assert "STOP. Clamp." in browser.text  # what to do does not wait for the answer
        assert house.said() == []
        assert {"red lumen", "grey lumen"} <= set(browser.buttons)
        browser.press("grey lumen")
        assert browser.answer.status_code == 200
    assert house.said() == ["06-01 09:10-0500 problem lumen=grey sign=pain"]


def _of_no_lumen(browser: Browser) -> Pressed:
    """Return a form as a button would send it that leaves open which lumen is meant."""
    pressed = browser.find("Record it")
    return replace(pressed, fields=[(name, value) for name, value in pressed.fields if name != "lumen"])


def test_a_question_does_not_move_the_time(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.open("say?verb=flushed").send(_of_no_lumen(browser), when="5 min ago", by="Ina")
        assert browser.answer.status_code == 409
        house.move("06-01 09:20")  # it takes ten minutes to answer
        browser.press("red lumen")
    assert house.said() == ["06-01 09:05-0500 flushed lumen=red by=Ina"]


def test_what_is_said_to_be_now_stays_then_while_it_is_asked(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.open("say?verb=flushed").send(_of_no_lumen(browser))
        house.move("06-01 09:20")
        browser.press("red lumen")
    assert house.said() == ["06-01 09:10-0500 flushed lumen=red"]


def test_a_time_that_was_said_is_kept_where_it_is_said_in_another_way(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.open("say?verb=flushed").send(_of_no_lumen(browser), when="5 min ago", note="slow")
        browser.follow("Say it with another time, or in another way")
        house.move("06-01 09:20")
        browser.press("Record it", lumen="red")
        assert browser.answer.status_code == 200
    assert house.said() == ["06-01 09:05-0500 flushed lumen=red note=slow"]


def test_a_form_begins_with_now(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        assert dict(browser.open("say?verb=flushed").find("Record it").fields)["when"] == "now"
        assert dict(browser.open("say?verb=flushed&past=yes").find("Record it").fields)["when"] == ""


def test_the_planned_time_is_kept_where_something_else_is_wrong(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:50")
    tell(house, "started cefazolin 9:00")
    with browsing(house) as browser:
        browser.press("Yes, 09:30, as planned: finished and flushed", by="x" * 61)
        assert browser.answer.status_code == 400
        browser.press("Record it", by="Ina")
    assert house.said()[1:] == [
        "06-01 09:30-0500 finished order=cefazolin dose=2026-06-01T09:00 by=Ina",
        "06-01 09:30-0500 flushed lumen=red by=Ina",
    ]


def test_the_same_flush_once_more_is_asked_about(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:30")
    tell(house, "flushed grey")
    house.move("06-01 09:40")
    with browsing(house) as browser:
        browser.open("say?verb=flushed&lumen=grey").press("Record it")
        assert browser.answer.status_code == 409
        assert "It is the same one: nothing to record." in browser.text
        browser.press("It was flushed a second time.")
    assert house.said()[1:] == ["06-01 09:40-0500 flushed lumen=grey again"]


AUTUMN = (
    TWO_LUMENS
    + """
[plan]
takes_effect = "2026-10-30 08:00"
start = "2026-10-30 08:00"
end = "2026-11-05 08:00"
[line]
placed_on = 2026-10-20
[lumen.red]
last_flushed = "2026-10-30 07:00"
[lumen.grey]
last_flushed = "2026-10-30 08:00"
[order.cefazolin]
first_dose = "2026-10-30 09:00"
last_day = 2026-11-04
"""
)


@pytest.mark.parametrize(("answer", "expected"), [("01:30 CDT", "11-01 01:30-0500"), ("01:30 CST", "11-01 01:30-0600")])
def test_a_time_in_the_repeated_hour_is_asked_back(answer: str, expected: str, tmp_path: Path) -> None:
    house = home(tmp_path, "11-01 06:00", AUTUMN)
    with browsing(house) as browser:
        browser.open("say?verb=flushed&lumen=grey")
        browser.press("Record it", when_clock="01:30", when_day="2026-11-01")
        assert browser.answer.status_code == 409
        assert house.said() == []
        browser.press(f"Sun 1 Nov 2026, {answer}")
        assert browser.answer.status_code == 200
    assert house.said() == [f"{expected} flushed lumen=grey"]


def test_so_many_minutes_ago_are_elapsed_minutes_over_the_clock_change(tmp_path: Path) -> None:
    house = home(tmp_path, "11-01 06:00", AUTUMN)
    house.seconds = at("11-01 00:59") * 60.0 + 3600 * 1.5  # 01:29 CST: 59 min after the second 00:30
    with browsing(house) as browser:
        browser.open("say?verb=flushed&lumen=grey").press("Record it", when="60 min ago")
    assert house.said() == ["11-01 01:29-0500 flushed lumen=grey"]


# --- What is wrong with a form ---

BAD: dict[str, tuple[str, dict[str, str], str, str]] = {
    "no time of day": ("say?verb=flushed&lumen=grey", {"when_clock": "25:10"}, "when_clock", "hours go from 0 to 23"),
    "no time at all": ("say?verb=flushed&lumen=grey", {"when_clock": "noonish"}, "when_clock", "is no time of day"),
    "still to come": ("say?verb=flushed&lumen=grey", {"when_clock": "23:00"}, "when_clock", "still to come"),
    "before the plan": (
        "say?verb=flushed&lumen=grey",
        {"when_clock": "09:00", "when_day": "2026-05-28"},
        "when_clock",
        "before the plan began",
    ),
    "two times": (
        "say?verb=flushed&lumen=grey",
        {"when": "5 min ago", "when_clock": "09:00"},
        "when_clock",
        "Leave one of them out",
    ),
    "no day": ("say?verb=flushed&lumen=grey", {"when_clock": "9:00", "when_day": "31/12"}, "when_clock", "is no day"),
    "not to come": ("say?verb=delayed&order=cefazolin", {}, "until_clock", "still to come"),
    "no time taken for granted": ("say?verb=flushed&lumen=grey&past=yes", {}, "when", "Say when it was"),
    "unknown order": ("say?verb=started", {"order": "x-factor"}, "order", "not in this plan"),
    "unknown lumen": ("say?verb=flushed", {"lumen": "blue"}, "lumen", "not in this plan"),
    "no volume": ("say?verb=stopped+early", {"volume": "sixty"}, "volume", "such as 60 mL"),
    "no sign": ("say?verb=stopped+early", {"sign": "itch"}, "sign", "from the list"),
    "no fluid": ("say?verb=flushed", {"fluids": "rum"}, "fluids", "no fluid of this plan"),
    "no count": ("say?verb=counted", {"name": "saline syringe", "count": "a dozen"}, "count", "whole number"),
    "no item": ("say?verb=counted", {"count": "12"}, "name", "Say which"),
    "too long": ("say?verb=flushed&lumen=grey", {"by": "x" * 61}, "by", "at most 60 letters"),
    "nobody asked": ("say?verb=started&order=cefazolin&asked=yes", {}, "said_by", "who said so"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_form_comes_back_with_what_was_wrong(name: str, tmp_path: Path) -> None:
    address, changes, field, words = BAD[name]
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.open(address).press("Record it", **changes)
        assert browser.answer.status_code == 400
        assert "This was not recorded yet" in browser.text
        assert words in browser.text
        assert f'href="#{field}"' in browser.html
        # What the summary points at is there, and says itself what is wrong with it.
        assert re.search(rf'id="{field}"', browser.html)
        if field != "fluids":
            assert re.search(
                rf'id="{field}"[^>]*aria-describedby="[^"]*{field}-fault"[^>]*aria-invalid="true"', browser.html
            )
        for name, value in changes.items():  # what was written is still there
            if name not in ("order", "lumen", "sign", "fluids", "when_day", "when"):
                assert f'value="{html.escape(value)}"' in browser.html
    assert house.said() == []


def test_a_bad_form_can_be_mended_and_is_one_report(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.press("Started", when_clock="23:10")
        assert browser.answer.status_code == 400
        assert "cefazolin 2 g, the dose of 09:00 CDT" in browser.text
        browser.press("Record it", when_clock="09:05")
    assert house.said() == ["06-01 09:05-0500 started order=cefazolin dose=2026-06-01T09:00"]


def test_enter_in_a_field_records_nothing(tmp_path: Path) -> None:
    """A browser presses a form's first button then: on a card that is one that says nothing."""
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        first = re.findall(
            r'<form method="post" action="report".*?<button[^>]*value="([^"]*)"', browser.html, re.DOTALL
        )
        assert first
        form = browser.find("Started")
        fields = {name: [value] for name, value in form.fields if name != "do"} | {"do": [first[0]]}
        browser.post("report", fields)
        assert browser.answer.status_code == 400
        assert "Press the button that says what happened." in browser.text
        browser.post("report", fields | {"by": ["Ina"]})
        assert "The name Ina is kept." in browser.text
        browser.press("Started")
    assert house.said() == ["06-01 09:10-0500 started order=cefazolin dose=2026-06-01T09:00 by=Ina"]


@pytest.mark.parametrize("key", ["", "x", "../../etc", "0" * 400])
def test_a_form_without_our_key_is_refused(key: str, tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.press("Started", key=key)
        assert browser.answer.status_code == 400
        assert "This form is not whole" in browser.text
    assert house.said() == []


def test_words_that_are_not_understood_are_shown_with_what_comes_first(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.open("other").press("Record it", words="<b>wobbly</b>")
        assert browser.answer.status_code == 400
        assert "Nothing was recorded. These words were not understood. Choose below" in browser.text
        assert "Say one of" not in browser.text  # no list of what can be typed
        assert browser.text.index("call Emergency services, 911 first") < browser.text.index("Nothing was recorded.")
        assert "<b>wobbly" not in browser.html
        assert 'value="&lt;b&gt;wobbly&lt;/b&gt;"' in browser.html
        browser.press("Record it", words="in use")
        assert browser.answer.status_code == 400
        browser.press("Record it", words="pain " * 100)
        assert browser.answer.status_code == 400
    assert house.said() == []


def test_a_form_without_its_token_is_refused(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.press("Started", token="0" * 64)
        assert browser.answer.status_code == 403
        form = browser.open("./").find("Started")
        body = {name: [value] for name, value in form.fields}
        browser.post("report", body, origin="http://elsewhere.example")
        assert browser.answer.status_code == 403
    assert house.said() == []


# --- Whom to ask first ---


def _forms_that_start(browser: Browser) -> list[str]:
    return [b.words for b in buttons(browser.html) if "verb=started" in dict(b.fields).get("do", "")]


ASKED: dict[str, tuple[str, Callable[[Home], None], str]] = {
    "too near": (
        TWO_LUMENS.replace('"20 h"', '"22 h"'),
        lambda house: tell_all(house, "started cefazolin 12:30", "finished and flushed"),
        "06-02 09:00",
    ),
    "held": (TWO_LUMENS, lambda house: tell(house, "held cefazolin"), "06-01 14:30"),
    "problem": (TWO_LUMENS, lambda house: tell(house, "red will not flush"), "06-01 14:30"),
    "suspended": (TWO_LUMENS, lambda house: tell(house, "red swelling"), "06-01 14:30"),
    "out of use": (TWO_LUMENS, lambda house: tell(house, "out of use red"), "06-01 14:30"),
}


@pytest.mark.parametrize("name", ASKED)
def test_nothing_to_ask_about_has_a_plain_button(name: str, tmp_path: Path) -> None:
    edits, before, clock = ASKED[name]
    later = edits.replace('"09:00"]', '"09:00", "14:30"]').replace('"20 h"', '"4 h"') if name != "too near" else edits
    house = home(tmp_path, "06-01 09:00", later)
    house.move("06-01 13:10" if name == "too near" else "06-01 14:10")
    before(house)
    house.move(clock)
    with browsing(house) as browser:
        assert _forms_that_start(browser) == []
        assert re.search('class="call big(?: loud)?" href="tel:5550142"', browser.html) or name == "held"
        touch = next(t for t in house.keeper.schedule.touches if t.starts and t.at >= at("06-01 14:30"))
        if name != "held":
            assert touch.asks
        browser.open(f"event?uid={touch.uid}")
        assert _forms_that_start(browser) == []


def test_what_was_started_after_asking_says_who_allowed_it(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00", ASKED["too near"][0])
    house.move("06-01 13:10")
    ASKED["too near"][1](house)
    house.move("06-02 09:00")
    with browsing(house) as browser:
        assert "This is 20 h 30 min after the dose" in browser.text
        browser.follow("It may be started").press("Record it")
        assert browser.answer.status_code == 400  # who said so?
        browser.press("Record it", said_by="Nurse Oduya")
        assert browser.answer.status_code == 200
        assert "You were to ask first" in browser.text
    assert house.said()[-1].startswith("06-02 09:00-0500 started order=cefazolin")
    assert house.said()[-1].endswith("said_by=Nurse Oduya")


def test_a_suspended_lumen_is_released_by_name_only(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    tell(house, "red swelling")
    with browsing(house) as browser:
        assert "Do not use this lumen" in browser.text
        assert "Flushed" not in [b.words for b in buttons(browser.html) if "lumen=red" in dict(b.fields).get("do", "")]
        browser.follow("A clinician has released the red lumen").press("Record it")
        assert browser.answer.status_code == 400
        browser.press("Record it", said_by="Dr. Quillfeather")
        assert browser.answer.status_code == 200
    assert house.said()[-1] == "06-01 09:10-0500 released lumen=red said_by=Dr. Quillfeather"


def test_a_nurse_only_event_offers_nothing_plain(tmp_path: Path) -> None:
    edits = TWO_LUMENS + '\n[order.cefazolin]\nflush_through = "nurse only"\n'
    house = home(tmp_path, "06-01 09:00", edits)
    tell(house, "started cefazolin")
    house.move("06-01 09:30")
    with browsing(house) as browser:
        assert "FOR THE NURSE ONLY" in browser.text
        assert not [b for b in browser.buttons if b.startswith("Finished")]


# --- What is wrong elsewhere in the line ---


def _plain(browser: Browser) -> list[str]:
    """Return the buttons that say that something was started or flushed."""
    said = [(b.words, dict(b.fields).get("do", "")) for b in buttons(browser.html) if b.action == "report"]
    return [words for words, do in said if re.search("verb=(started|flushed|done|finished)|flushed=yes", do)]


@pytest.mark.parametrize(("sign", "call"), [("line broken", "Emergency services"), ("fever", "On-call nurse")])
def test_a_sign_of_the_whole_line_stops_every_lumen_until_it_is_released(sign: str, call: str, tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:30")
    with browsing(house) as browser:
        assert {"Started", "Flushed"} <= set(_plain(browser))
        browser.open("signs").press(sign[0].upper() + sign[1:])
        assert f"STOP: call {call}" in browser.text
        browser.open("./")
        assert f"STOP {sign[0].upper() + sign[1:]}, since 09:30" in browser.text
        assert "Use no lumen until a clinician says so." in browser.text
        assert browser.text.index("Use no lumen until") < browser.text.index("Something else happened")
        assert browser.text.index("Use no lumen until") < browser.text.index("Red lumen")
        assert f"Call {call}" in browser.text
        assert _plain(browser) == []
        for touch in [t for t in house.keeper.schedule.touches if t.at <= at("06-01 21:00")]:
            assert _plain(browser.open(f"event?uid={touch.uid}")) == [], touch
            assert f"Use no lumen: {sign}, since 09:30." in browser.text
            assert "Steps" not in browser.text
        browser.open("./").follow("A clinician has released the whole line").press("Record it")
        assert browser.answer.status_code == 400  # who did?
        house.move("06-01 09:40")
        browser.press("Record it", said_by="Dr. Quillfeather")
        assert browser.answer.status_code == 200
        assert {"Started", "Flushed"} <= set(_plain(browser.open("./")))
    assert house.said()[-1] == "06-01 09:40-0500 released said_by=Dr. Quillfeather"


def test_words_of_ones_own_and_a_wet_dressing_stop_nothing(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:30")
    tell_all(house, "dressing wet", "problem")
    with browsing(house) as browser:
        assert "STOP Dressing wet" not in browser.text
        assert {"Started", "Flushed"} <= set(_plain(browser))
        assert "Call the same day Dressing wet, since 09:30" in browser.text
        browser.follow("A clinician has said what to do").press("Record it", said_by="Nurse Oduya")
        assert "Dressing wet" not in browser.open("./").text
        tell_all(house, "dressing is loose", "fever")
        browser.open("./")
        assert "Call the same day Dressing loose" in browser.text
        assert "A clinician has said what to do" not in browser.text, "that would release the line too"


def test_infusions_whose_finish_was_overtaken_are_one_quiet_line(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    for day in (1, 2, 3):
        house.move(f"06-0{day} 09:00")
        tell(house, "started cefazolin")
    house.move("06-03 12:00")
    with browsing(house) as browser:
        assert browser.text.count("Should have finished Finish") == 1
        assert "No finish is recorded of 2 earlier infusions: unconfirmed; the history lists them." in browser.text


def test_the_other_lumens_of_a_suspended_one_are_asked_about_first(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    tell(house, "grey swelling")
    with browsing(house) as browser:
        line = (
            "Another lumen of this line has a problem (grey lumen: swelling). Call On-call nurse, Fennimore Vale, 555-0142 "
            "before you use this one."
        )
        assert line in browser.text
        assert _plain(browser) == []
        touch = next(t for t in house.keeper.schedule.touches if t.starts)
        assert _plain(browser.open(f"event?uid={touch.uid}")) == []
        assert line in browser.text
        browser.open("./").follow("It may be started").press("Record it", said_by="Nurse Oduya")
        assert browser.answer.status_code == 200
        browser.open("./")
        assert _plain(browser) == []  # it runs, and its finish is asked about too
        assert "Was it stopped, or has it finished?" in browser.text
    assert house.said()[-1].endswith("said_by=Nurse Oduya")


def test_a_lumen_on_which_nothing_waits_says_so_too(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 08:05")
    tell(house, "red swelling")
    with browsing(house) as browser:
        assert "Another lumen of this line has a problem (red lumen: swelling)." in browser.text


def test_a_lumen_that_only_will_not_flush_leaves_the_others_alone(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    tell(house, "grey will not flush")
    with browsing(house) as browser:
        assert "Started" in _plain(browser)


def test_what_was_said_by_whom_was_asked_stands_open(tmp_path: Path) -> None:
    """What somebody answered who was asked first is one press away; that it was done all the same is folded away."""
    house = home(tmp_path, "06-01 09:00", ASKED["too near"][0])
    house.move("06-01 13:10")
    ASKED["too near"][1](house)
    house.move("06-02 09:00")
    with browsing(house) as browser:
        open_parts = re.sub("<details.*?</details>", "", browser.html, flags=re.DOTALL)
        for words in ("I have asked:", "It may be started", "It is put off", "It is left out"):
            assert words in open_parts, words
        assert "cefazolin was started" not in open_parts
        assert "cefazolin was started" in browser.html
        browser.follow("It is put off").press("Record it", until_clock="11:00", until_day="2026-06-02")
        assert browser.answer.status_code == 400
        browser.press("Record it", said_by="Nurse Oduya")
        assert browser.answer.status_code == 200
    assert house.said()[-1].startswith(
        "06-02 09:00-0500 delayed order=cefazolin dose=2026-06-02T09:00 said_by=Nurse Oduya"
    )


def test_a_sign_is_taken_back_only_as_a_slip(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    with browsing(house) as browser:
        browser.open("signs?lumen=red").press("Swelling")
        browser.open("./").press("Take this report back")
        assert browser.answer.status_code == 409
        assert "only a clinician can release it: call On-call nurse, Fennimore Vale, 555-0142" in browser.text
        assert house.said() == ["06-01 09:10-0500 problem lumen=red sign=swelling"]
        browser.press("It was a slip: take it back")
        assert browser.answer.status_code == 200
        assert house.said() == []
        browser.open("./").press("Started")
        browser.press("This was wrong: take it back")  # nothing that endangers: no question
        assert browser.answer.status_code == 200
    assert house.said() == []


def test_of_two_like_reports_the_harmless_answer_stands_first(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    tell(house, "started cefazolin 9:05")
    with browsing(house) as browser:
        browser.open("say?verb=started&order=cefazolin&dose=2026-06-01T09:00").press("Record it")
        assert browser.answer.status_code == 409
        same = browser.html.index('<a class="button main" href="./">It is the same one: nothing to record.</a>')
        again = re.search('<button name="do" value="again=yes"', browser.html)
        assert again is not None  # no main button
        assert same < again.start()
        assert "Was the last report wrong?" in browser.text
        browser.open("signs").press("Pain")
        assert "Was the last report wrong?" not in browser.text  # that is another question


def test_a_finish_long_overdue_takes_no_time_for_granted(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    tell(house, "started cefazolin")
    house.move("06-01 13:30")
    with browsing(house) as browser:
        assert "Finished and flushed" not in browser.buttons
        browser.press("Yes, then: finished and flushed")
        assert browser.answer.status_code == 400
        assert house.said() == ["06-01 09:00-0500 started order=cefazolin dose=2026-06-01T09:00"]
        browser.open("./").press("Yes, 09:30, as planned: finished, not flushed yet")
    assert house.said()[1:] == ["06-01 09:30-0500 finished order=cefazolin dose=2026-06-01T09:00"]


def test_a_form_asks_for_the_lumen_where_there_are_two(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:10")
    tell(house, "started cefazolin")  # what runs is no answer
    with browsing(house) as browser:
        browser.open("say?verb=problem").press("Record it", sign="swelling")
        assert browser.answer.status_code == 400
        assert "Choose the lumen." in browser.text
        browser.press("Record it", lumen="grey")
    assert house.said()[1:] == ["06-01 09:10-0500 problem lumen=grey sign=swelling"]


# --- Overdue, passed, running ---


def test_was_it_done_stands_before_do_it_now(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 10:30")
    with browsing(house) as browser:
        text = browser.text
        assert (
            text.index("Was it done?") < text.index("Yes, 09:00, as planned: started") < text.index("Just now: started")
        )
        assert text.index("Only if it was not given") < text.index("Just now: started")


def test_of_several_flushes_only_the_last_may_be_done_now(tmp_path: Path) -> None:
    house = home(tmp_path, "06-03 08:30")
    with browsing(house) as browser:
        grey = re.search(
            r'aria-labelledby="lumen-\d">\s*<h2 id="lumen-\d">Grey lumen.*?</section>\s*(?=<section class="l|<section aria)',
            browser.html,
            re.DOTALL,
        )
        assert grey is not None
        assert grey[0].count("Just now: flushed") == 1
        assert "Not recorded either; each may have been done:" in grey[0]
        assert "The limit of 12 h has passed: the last flush that is known was " in grey[0]
        browser.follow("flush, Mon 1 Jun 09:30")
        assert "Just now: flushed" not in browser.text
        browser.press("Yes, Mon 1 Jun 09:30, as planned: flushed")
    assert house.said() == ["06-01 09:30-0500 flushed lumen=grey"]


def test_a_passed_limit_without_a_flush_that_waits_asks_whether_it_was_flushed(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    tell_said(house, Said(verb=Verb.HELD, order="cefazolin"))
    house.move("06-01 19:30")
    with browsing(house) as browser:
        if "has gone too long without a recorded flush" in browser.text:
            browser.follow("Yes, it was flushed: say when").press("Record it")
            assert browser.answer.status_code == 400  # no time is taken for granted
            browser.press("Record it", when_clock="18:00")
            assert house.said()[-1] == "06-01 18:00-0500 flushed lumen=red"
        else:
            assert "The limit of 12 h has passed" in browser.text


def test_an_empty_bag_is_urgent_and_stands_first(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    tell(house, "started cefazolin")
    house.move("06-01 09:50")
    with browsing(house) as browser:
        assert "Should have finished" in browser.text
        assert browser.text.index("Should have finished") < browser.text.index("Grey lumen")
        assert "An empty bag lets the lumen clot." in browser.text


def test_finished_without_its_flush_is_asked_for_on_the_answer_itself(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    tell(house, "started cefazolin")
    house.move("06-01 09:30")
    with browsing(house) as browser:
        browser.press("Finished, not flushed yet")
        assert "FLUSH NOW" in browser.text
        assert "The red lumen still has to be flushed: due now." in browser.text
        browser.press("Flushed")
        assert browser.answer.status_code == 200
    assert house.said()[1:] == [
        "06-01 09:30-0500 finished order=cefazolin dose=2026-06-01T09:00",
        "06-01 09:30-0500 flushed lumen=red",
    ]


def test_after_the_line_is_out_nothing_is_offered(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    tell(house, "line removed")
    house.move("06-01 21:30")
    with browsing(house) as browser:
        assert "The line is out since 09:00 CDT: nothing is due." in browser.text
        assert browser.buttons == ["Take this report back"]


# --- The answer, and taking back ---


def test_the_answer_survives_reloading_and_a_restart(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        browser.press("cefazolin: not given", by="Ina")
        told = browser.text
        assert "Do not make it up and do not double the next one." in told
        address = f"{browser.answer.url.path.rpartition('/')[2]}?{browser.answer.url.query.decode()}"
        assert browser.open(address).text == told
    assert len(house.said()) == 1
    again = Home(house.folder, "06-01 09:05")
    with browsing(again) as browser:
        browser.open(address)
        assert "cefazolin 2 g, dose of 09:00, was not given, reported by Ina" in browser.text
        browser.press("This was wrong: take it back")
        assert "Taken back" in browser.text
    assert again.said() == []


def test_exactly_one_report_is_taken_back(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        browser.press("Started")
        first = browser.find("This was wrong: take it back")
        house.move("06-01 09:30")
        browser.open("./").press("Finished and flushed")
        browser.send(first)
        assert "Taken back" in browser.text
        assert "cefazolin 2 g, dose of 09:00, started" in browser.text
        assert [line.split()[2] for line in house.said()] == ["finished", "flushed"]
        browser.send(first)  # sent twice, it is taken back once
        withdrawn = [f for f in house.keeper.household.record.facts if f.kind.value == "withdrawn"]
        assert len(withdrawn) == 1
        browser.open("./")
        assert "Last report" in browser.text
        browser.press("Take this report back")
    assert house.said() == []


def test_a_plan_put_in_use_is_no_report_that_is_taken_back(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        assert "Last report" not in browser.text
        browser.press("Started")
        in_use = next(f for f in house.keeper.household.record.facts if f.kind.value == "plan put in use")
        form = browser.find("This was wrong: take it back")
        browser.send(form, report=in_use.report)
        assert browser.answer.status_code == 404
    assert len(house.said()) == 1


@pytest.mark.parametrize(
    ("error", "status"), [(RecordError("The disk is full."), 503), (NotInUseError("Another revision is in use."), 409)]
)
def test_what_cannot_be_written_is_said_plainly(
    error: Exception, status: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_told: object) -> None:
        raise error

    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        monkeypatch.setattr(page_report, "report_to", fails)
        browser.press("Started")
        assert browser.answer.status_code == status
        assert "Nothing was recorded" in browser.text
        assert str(error) in browser.text
        assert "Write it on paper" in browser.text


# --- What every page holds ---

ADDRESSES = (
    "./", "other", "signs", "signs?lumen=red", "say?verb=started", "say?verb=counted", "say?verb=released&everything=yes",
    "day", "day?date=2026-06-03", "week", "history", "supplies", "phones", "event", "answer", "question",
)  # fmt: skip


def _every_page(browser: Browser) -> list[tuple[str, str]]:
    house, found = browser.home, []
    uid = house.keeper.schedule.touches[0].uid
    for address in ADDRESSES:
        if address == "event":
            browser.open(f"event?uid={uid}")
        elif address == "answer":
            browser.open("other").press("Dressing wet")
        elif address == "question":
            browser.open("signs").press("Pain")
        else:
            browser.open(address)
            assert browser.answer.status_code == 200, address
        found.append((address, browser.html))
    return found


def test_every_page_is_ours_alone(tmp_path: Path) -> None:
    """No resource from elsewhere, nothing inline that the policy forbids, whom to call, and a title that tells nothing."""
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        for address, page in _every_page(browser):
            assert not re.search(r'(?:src|href|action)="(?:https?:)?//', page), address
            assert not re.search(r"<style|<script(?![^>]*src=)|\son\w+=|\sstyle=", page), address
            assert 'href="signs"' in page, address
            assert 'href="tel:911"' in page, address
            assert 'lang="en"' in page, address
            title = re.search(r"<title>(.*?)</title>", page, re.DOTALL)
            assert title is not None
            assert title[1].startswith("Reminders")
            assert not re.search(r"cefazolin|lumen|flush|infusion|Fennimore", title[1], re.IGNORECASE)
            assert "Drawn Mon 1 Jun 2026, 09:00 CDT." in page, address
            for form in re.findall(r'<form method="post".*?</form>', page, re.DOTALL):
                assert f'name="token" value="{house.desk.form_token}"' in form, address
            ids = re.findall(r'\sid="([^"]*)"', page)
            assert len(ids) == len(set(ids)), address


def test_texts_of_a_plan_are_never_markup(tmp_path: Path) -> None:
    evil = "<script>alert(1)</script>"
    edits = (
        TWO_LUMENS
        + f"""
[lumen.red]
label = 'red"><img src=x onerror=alert(1)>'
[order.cefazolin]
drug = '{evil}'
note = '{evil} & more'
[protocol]
provider = '{evil}'
[call.now]
who = 'Nurse <i>O</i>'
phone = '"><b>555 0199'
signs = ['{evil}']
[calendar]
name = '{evil}'
"""
    )
    house = home(tmp_path, "06-01 09:00", edits)
    with browsing(house) as browser:
        for address, page in _every_page(browser):
            assert "<script>alert" not in page, address
            assert "<img src=x" not in page, address
            assert "<i>O</i>" not in page, address
            assert "<b>1" not in page, address
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in browser.open("./").html
        browser.press("Started", by="<u>Ina</u>")
        assert "<u>" not in browser.html
        assert "&lt;u&gt;Ina&lt;/u&gt;" in browser.html


def test_numbers_to_call_are_links(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        browser.open("signs")
        assert 'EMERGENCY, call Emergency services, <a href="tel:911">911</a>' in browser.html
        assert 'STOP, clamp and call On-call nurse, Fennimore Vale, <a href="tel:5550142">555-0142</a>' in browser.html


# --- How the program itself is ---


def test_what_is_recorded_elsewhere_is_seen_at_once(tmp_path: Path) -> None:
    house, elsewhere = home(tmp_path, "06-01 09:00"), home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        assert "Started" in browser.buttons
        before = browser.open("state").answer.json()
        tell(elsewhere, "started cefazolin")
        after = browser.open("state").answer.json()
        assert before["shown"] != after["shown"]
        assert house.changes >= 1  # the daemon looks again, too
        assert "Started" not in browser.open("./").buttons


def test_time_alone_changes_what_is_shown_only_when_something_falls_due(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:01")
    with browsing(house) as browser:
        first = browser.open("state").answer.json()
        house.move("06-01 09:20")
        assert browser.open("state").answer.json()["shown"] == first["shown"]
        assert browser.answer.json()["clock"] == "09:20 CDT"
        house.move("06-01 09:30")  # the flush of grey
        assert browser.open("state").answer.json()["shown"] != first["shown"]


def test_a_program_that_is_stuck_says_so(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        assert "It looked at everything 0 s ago." in browser.open("./").text
        house.move("06-01 09:10", ticked=False)
        assert "The program last looked at what is due 10 min ago." in browser.open("./").text
        assert browser.open("state").answer.json()["looked"] == "10 min"


def test_a_program_that_is_a_little_late_is_not_stuck(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        house.seconds += STALE
        assert "The program last looked" not in browser.open("./").text
        house.seconds += 1
        assert "The program last looked at what is due 1 min ago." in browser.open("./").text


def test_pop_ups_that_cannot_be_shown_and_other_troubles_are_told(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    house.health = Health(
        started=house.seconds,
        last_tick=house.seconds,
        pop_ups="no notification service answers.",
        raised=[Raised(house.seconds, "Flush due", False, "nobody listens"), Raised(house.seconds, "Start", True)],
        troubles=["The disk is full."],
    )
    with browsing(house) as browser:
        assert "No reminder can pop up on this computer: no notification service answers." in browser.text
        assert "The disk is full." in browser.text
        assert "Flush due - not shown: nobody listens" in browser.text


def test_a_plan_that_cannot_be_read_takes_nothing_away(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        house.plan.write_text("[plan]\n", encoding="utf-8")
        browser.open("./")
        assert browser.answer.status_code == 200
        assert house.keeper.trouble and house.keeper.trouble in house.desk.health().troubles
        assert browser.text.count("this page shows what was known before") == 1
        assert browser.text.count(" ".join(house.keeper.trouble.split())) == 1
        assert "Started" in browser.buttons


def test_a_revision_that_waits_is_told_and_changes_nothing(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        text = small_plans.plan_text(TWO_LUMENS + '\n[plan]\nrevision = 2\n[order.cefazolin]\ndose = "3 g"\n')
        house.plan.write_text(text, encoding="utf-8")
        browser.open("./")
        assert "Revision 2 of the plan lies in the file plan.toml and is not in use." in browser.text
        assert "somebody says: reminders record plan.toml in use" in browser.text
        assert "cefazolin 2 g" in browser.text
        browser.press("Started")
        assert browser.answer.status_code == 200
    assert len(house.said()) == 1


def test_a_revision_in_use_that_takes_effect_later_is_told(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        assert "Plan revision 1." in browser.html
        later = '\n[plan]\nrevision = 2\ntakes_effect = "2026-06-02 16:00"\n[order.cefazolin]\ndose = "3 g"\n'
        house.plan.write_text(small_plans.plan_text(TWO_LUMENS + later), encoding="utf-8")
        use_revision(open_household(house.plan, house.keeper.instant), house.keeper.instant)
        browser.open("./")
        said = "Revision 2 of the plan is in use and takes effect later: from tomorrow 16:00 on. Until then revision 1 holds."
        assert said in browser.text
        assert "Plan revision 1; revision 2 from tomorrow 16:00 on." in browser.html
        house.move("06-02 16:00")
        browser.open("./")
        assert said not in browser.text
        assert "Plan revision 2." in browser.html


@pytest.mark.parametrize(
    ("clock", "moment", "said"),
    [
        ("06-02 09:00", "06-02 13:10", "13:10"),
        ("06-02 09:00", "06-01 13:10", "yesterday 13:10"),
        ("06-02 09:00", "06-03 13:10", "tomorrow 13:10"),
        ("06-03 09:00", "06-01 13:10", "Mon 1 Jun 13:10"),
        ("2027-01-01 09:00", "2026-12-30 13:10", "Wed 30 Dec 2026 13:10"),
        ("11-02 09:00", "11-01 13:10", "yesterday 13:10 CST"),  # the clocks went back that day
        ("11-02 09:00", "10-31 13:10", "Sat 31 Oct 13:10 CDT"),  # and another one was in force before
    ],
)
def test_a_time_is_said_as_short_as_is_unmistakable(clock: str, moment: str, said: str, tmp_path: Path) -> None:
    plan = home(tmp_path, "06-01 09:00").keeper.schedule.plan
    assert short_time(plan, at(moment), at(clock)) == said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Call first. Then say  resumed  or  stopped early .", "Call first."),
        ("When it is flushed, say so:  flushed red", ""),
        ("Flush with 10 mL saline.", "Flush with 10 mL saline."),
    ],
)
def test_what_is_typed_elsewhere_is_not_told_on_the_page(text: str, said: str) -> None:
    assert without_commands(text) == said


def test_a_revision_of_the_plan_in_use_is_put_in_use_without_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = own_places(tmp_path, monkeypatch)
    folder.mkdir(parents=True)
    house = home(folder, "06-01 09:00")
    with browsing(house) as browser:
        text = small_plans.plan_text(TWO_LUMENS + '\n[plan]\nrevision = 2\n[order.cefazolin]\ndose = "3 g"\n')
        house.plan.write_text(text, encoding="utf-8")
        assert "somebody says: reminders record in use" in browser.open("./").text


def test_phones_are_told_with_when_they_asked(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    house.phones.add("Ina's phone")
    kept = house.phones.add("Old tablet")
    house.phones.fetched(kept)
    house.move("06-02 12:00")
    with browsing(house) as browser:
        assert "Ina's phone has not asked for the calendar yet." in browser.text
        assert "Old tablet asked 27 h ago." in browser.text
        assert browser.open("phones").answer.status_code == 200


# --- Pages to look things up ---


def test_the_steps_of_an_event_are_those_of_the_plan(tmp_path: Path) -> None:
    edits = TWO_LUMENS + '\n[protocol]\nscrub_time = "15 s"\ndry_time = "30 s"\n'
    house = home(tmp_path, "06-01 09:00", edits)
    with browsing(house) as browser:
        browser.follow("Steps, and what to lay out")
        assert "Flush with 10 mL saline." in browser.text
        assert "Connect and start cefazolin 2 g, 100 mL, over 30 min." in browser.text
        assert "Scrub the hub for 15 s." in browser.text
        assert "Let it dry for 30 s." in browser.text
        assert "1 × saline syringe" in browser.text
        assert "STOP, clamp and call" in browser.text
        browser.press("Started")
    assert len(house.said()) == 1


def test_without_stated_times_nothing_is_counted(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        browser.follow("Steps, and what to lay out")
        assert "Scrub the hub as you were taught." in browser.text
        assert 'class="timer"' not in browser.html


def test_nothing_is_offered_on_the_steps_of_a_suspended_lumen(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    tell(house, "red swelling")
    with browsing(house) as browser:
        touch = next(t for t in house.keeper.schedule.touches if t.lumen == "red" and t.at > house.keeper.instant)
        browser.open(f"event?uid={touch.uid}")
        assert "Do nothing with this lumen." in browser.text
        assert '<ol class="steps">' not in browser.html
        assert "Lay out" not in browser.text


def test_the_day_is_drawn_and_listed(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        browser.open("day")
        assert "<svg" in browser.html
        listed = re.search(r"<h2>List</h2>.*", browser.html, re.DOTALL)
        assert listed is not None
        assert "start cefazolin 2 g" in listed[0]
        browser.follow("The day after")
        assert "Tue 2 Jun 2026" in browser.text
        browser.open("day?date=someday")
        assert browser.answer.status_code == 400
        assert "There is no such day." in browser.text
        for far in ("0001-01-01", "9999-12-31"):
            assert browser.open(f"day?date={far}").answer.status_code in (200, 400)
            assert browser.open(f"week?date={far}").answer.status_code in (200, 400)


def test_the_history_lists_what_is_not_recorded_so_that_it_can_be_said(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        browser.press("Started")
        house.move("06-02 08:00")
        browser.open("history")
        assert "red lumen: start cefazolin 2 g" in browser.text
        browser.follow("grey lumen: flush")
        assert "Was it done?" in browser.text
        browser.open("history?first=2026-06-05&last=2026-06-01")
        assert browser.answer.status_code == 400
        browser.open("history").follow("As a table for a spreadsheet (CSV)")
        assert browser.answer.headers["content-type"] == "text/csv; charset=utf-8"
        assert "start cefazolin 2 g" in browser.answer.text


def test_supplies_are_counted_for_a_week(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 08:00")
    with browsing(house) as browser:
        browser.open("supplies")
        needed = dict(re.findall(r'<th scope="row">(.*?)</th><td>(\d+)</td>', browser.html))
    # Seven doses, each a start (saline) and a finish (saline, heparin), and the idle flushes of both lumens (saline, heparin).
    touches = [
        t for t in house.keeper.schedule.touches if house.keeper.instant <= t.at < house.keeper.instant + 7 * 1440
    ]
    flushes = sum(t.kind.value == "idle flush" for t in touches)
    finishes = sum(t.kind.value == "finish" for t in touches)
    assert finishes == 7
    assert needed == {"saline syringe": str(2 * 7 + flushes), "heparin syringe": str(7 + flushes)}


def test_what_is_not_there_is_not_found(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00")
    with browsing(house) as browser:
        for address in (
            "event?uid=nothing",
            "answer?report=nothing",
            "static/page.py",
            "static/..%2fpage.py",
            "nothing",
        ):
            assert browser.open(address).answer.status_code == 404, address
        for name, kind in (("page.css", "text/css"), ("page.js", "javascript"), ("icon.svg", "image/svg+xml")):
            assert kind in browser.open(f"static/{name}").answer.headers["content-type"]


def test_a_report_says_who_reports_and_what_to_note(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:30")
    with browsing(house) as browser:
        browser.open("say?verb=flushed&lumen=grey").press("Record it", by=" Ina ", note="a little\nslow")
    assert house.said() == ["06-01 09:30-0500 flushed lumen=grey by=Ina note=a little slow"]
    assert short(house.facts()[0], house) == house.said()[0]
