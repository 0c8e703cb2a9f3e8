"""Care tasks on the household's page: what waits, what comes next, what can be said of it, and the lists of a day and a week.

In a browser without scripts, and in a real one. Plans, names and numbers are invented; 1 June 2026 is a Monday, and clock
times are Chicago's. That a press records what the command records is the check of what a press means.
"""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from own_places import own_places
from page_browser import LAPTOP, PHONE, axe, chromium, complaints, served, size, until
from page_home import TWO_LUMENS, Browser, Home, browsing
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from small_plans import SAMPLES
from test_page import tell, tell_all
from test_page_browser import CHECK, SMALL, WIDTH, button, says

TASKS = """
[plan]
end = "2026-06-15 08:00"
[protocol]
after_draw = ["saline 20 mL"]
discard_volume = "5 mL"
[task.bag_out]
kind = "out of the refrigerator"
label = "Take the bag out"
done_by = "household"
order = "cefazolin"
before_dose = "2 h"
on_time_within = "30 min"
[task.dressing]
kind = "dressing"
label = "Change the dressing"
done_by = "nurse"
every_days = 7
at = "10:00"
last_done = "2026-05-26 10:00"
uses = { "dressing kit" = 1 }
note = "Call if it is wet."
[task.caps]
kind = "needleless connector"
label = "Change the caps"
done_by = "household"
weekdays = ["Wed"]
at = "12:00"
on_time_within = "1 h"
[task.labs]
kind = "blood draw"
label = "Blood count"
done_by = "nurse"
lumen = "grey"
weekdays = ["Thu"]
at = "11:00"
on_time_within = "1 h"
[task.box]
kind = "delivery"
label = "Supplies come"
done_by = "pharmacy"
weekdays = ["Fri"]
at = "13:00"
brings = { "saline syringe" = 14 }
"""
CARE = TWO_LUMENS + TASKS
OWN_DRAW = CARE.replace('label = "Blood count"\ndone_by = "nurse"', 'label = "Blood count"\ndone_by = "household"')
WITH_DOSE = CARE.replace('weekdays = ["Thu"]\nat = "11:00"', 'order = "cefazolin"\nbefore_dose = "0 min"').replace(
    'lumen = "grey"\norder', 'lumen = "red"\norder'
)


@pytest.fixture(autouse=True)
def _folders_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "places", monkeypatch)


def home(folder: Path, clock: str, edits: str = CARE) -> Home:
    folder.mkdir(exist_ok=True)
    return Home(folder, clock, edits)


def care(browser: Browser) -> str:
    """Return what stands under the care tasks, in one line; "" if nothing does."""
    found = re.search(r'<section class="lumen" aria-labelledby="care">(.*?)</section>', browser.html, re.DOTALL)
    return (
        ""
        if found is None
        else " ".join(re.sub(r"<option.*?</option>|<[^>]*>", " ", found[1], flags=re.DOTALL).split())
    )


def task_address(house: Home, name: str, day: str = "") -> str:
    """Return the address of the first time of a task, or of that of a day such as ``06-02``."""
    clock = house.keeper.schedule.plan.clock
    events = (event for event in house.keeper.schedule.tasks if event.task == name)
    return f"event?uid={next(event for event in events if day in f'{clock.local(event.planned):%m-%d}').uid}"


def draw_address(house: Home) -> str:
    return f"event?uid={next(touch for touch in house.keeper.schedule.touches if touch.tasks).uid}"


def test_what_is_due_is_offered_and_stands_among_what_waits(tmp_path: Path) -> None:
    with browsing(home(tmp_path, "06-03 12:10")) as browser:
        told = care(browser)
        assert "Due Change the caps, 12:00 You do this. On time from 11:00 CDT to 13:00 CDT." in told
        mark = re.search(r'href="#(care-[0-9]+-title)">Change the caps, 12:00 - due<', browser.html)
        assert mark is not None
        assert re.search(rf'id="{mark[1]}"><span class="tag">Due</span> Change the caps', browser.html)
        assert browser.text.index("Grey lumen") < browser.text.index("Care tasks")


def test_each_task_says_what_comes_next_draws_through_a_lumen_too(tmp_path: Path) -> None:
    house = home(tmp_path, "06-02 14:00")
    tell(house, "task done dressing 10:00")
    tell(house, "task done bag_out 7:00")
    with browsing(house) as browser:
        assert care(browser) == (
            "Care tasks Next: Take the bag out, tomorrow 07:00 Change the caps, tomorrow 12:00 "
            "Blood count (the nurse), Thu 4 Jun 11:00 Supplies come (the pharmacy), Fri 5 Jun 13:00 "
            "Change the dressing (the nurse), Tue 9 Jun 10:00"
        )
        assert "the nurse does this" in browser.follow("Blood count (the nurse), Thu 4 Jun 11:00").text.lower()


def test_whoever_comes_from_outside_is_asked_about_as_the_household_can_know(tmp_path: Path) -> None:
    house = home(tmp_path, "06-02 10:05")
    with browsing(house) as browser:
        assert "Expected Change the dressing, 10:00 The nurse does this. At any hour of this day. " in care(browser)
        assert "The nurse did it" in browser.buttons
        house.move("06-05 18:00")
        told = care(browser.open("./"))
        assert "Was the nurse here? Change the dressing, Tue 2 Jun 10:00 3 days ago. The nurse does this." in told
        assert "If not, ask On-call nurse, Fennimore Vale, 555-0142 when it will be." in told
        assert "Expected Supplies come, 13:00 The pharmacy does this." in told
        assert "Just now: the nurse did it" not in browser.buttons, "nobody at home does it now"


def test_was_it_done_stands_before_do_it_now(tmp_path: Path) -> None:
    with browsing(home(tmp_path, "06-03 15:00")) as browser:
        told = care(browser)
        asked, done, then, now = (
            told.index(part)
            for part in (
                "Was it done? Change the caps, 12:00 3 h ago.",
                "Yes, 12:00, as planned: done",
                "Yes, then: done",
                "Only if it was not done, do it now, or say to when it is put off.",
            )
        )
        assert asked < done < then < now < told.index("Just now: done")


Row = tuple[str, list[str], Callable[[Home], str], str, dict[str, str], str]


def now(house: Home) -> str:
    return "./"


def say(fields: str) -> Callable[[Home], str]:
    return lambda house: f"say?{fields}"


UNTIL = {"until_clock": "16:00", "until_day": "2026-06-04"}

ROWS: dict[str, Row] = {
    "done now": ("06-03 12:00", ["task done bag_out 7:00"], now, "Done", {}, "task done caps"),
    "done a little ago": (
        "06-03 12:20",
        ["task done bag_out 7:00"],
        now,
        "Done",
        {"when": "10 min ago"},
        "task done caps 10 min ago",
    ),
    "done at another time": (
        "06-03 12:20",
        ["task done bag_out 7:00"],
        now,
        "Done",
        {"when_clock": "11:35", "when_day": "2026-06-03"},
        "task done caps 11:35",
    ),
    "done as planned": ("06-03 15:00", [], now, "Yes, 12:00, as planned: done", {}, "task done caps 12:00"),
    "done this minute": ("06-03 15:00", [], now, "Just now: done", {}, "task done caps"),
    "the nurse was here": ("06-02 10:30", [], now, "The nurse did it", {}, "task done dressing"),
    "a delivery came": ("06-05 13:30", [], now, "It came", {}, "task done box"),
    "done early, on its own page": (
        "06-02 20:00",
        [],
        lambda house: task_address(house, "caps"),
        "Done",
        {},
        "task done caps",
    ),
    "put off": (
        "06-03 12:10",
        [],
        lambda house: _link(house, "caps", "put off"),
        "Record it",
        UNTIL,
        "put off caps to 2026-06-04 16:00",
    ),
    "not this time": (
        "06-03 12:10",
        [],
        lambda house: _link(house, "caps", "skipped"),
        "Record it",
        {},
        "skipped caps",
    ),
    "chosen from the list": (
        "06-02 10:30",
        [],
        say("verb=task+done"),
        "Record it",
        {"task": "dressing", "when": "15 min ago"},
        "task done dressing 15 min ago",
    ),
    "none of the plan's": (
        "06-02 10:30",
        [],
        say("verb=task+done"),
        "Record it",
        {"name": "weighed"},
        "task done weighed",
    ),
    "put off, from the list": (
        "06-02 10:30",
        [],
        say("verb=task+put+off"),
        "Record it",
        {"task": "caps", **UNTIL},
        "put off caps to 2026-06-04 16:00",
    ),
    "left out, from the list": (
        "06-03 12:10",
        [],
        say("verb=task+skipped"),
        "Record it",
        {"task": "caps"},
        "skipped caps",
    ),
    "a nurse's draw, and flushed": ("06-04 11:10", [], now, "Drawn and flushed", {}, "task done labs and flushed"),
    "a nurse's draw, not flushed": ("06-04 11:10", [], now, "Drawn, not flushed yet", {}, "task done labs"),
    "a draw as it was planned": (
        "06-04 14:00",
        [],
        now,
        "Yes, 11:00, as planned: drawn and flushed",
        {},
        "task done labs and flushed 11:00",
    ),
    "a draw by its form": (
        "06-04 14:00",
        [],
        say("verb=task+done&name=labs"),
        "Record it",
        {"when": "30 min ago", "flushed": "yes"},
        "task done labs and flushed 30 min ago",
    ),
}


def _link(house: Home, name: str, what: str) -> str:
    event = next(event for event in house.keeper.schedule.tasks if event.task == name)
    return f"say?verb=task+{what.replace(' ', '+')}&name={name}&event={event.uid}"


@pytest.mark.parametrize("name", ROWS)
def test_a_press_records_what_the_command_records(name: str, tmp_path: Path) -> None:
    clock, before, address, press, changes, words = ROWS[name]
    page, twin = home(tmp_path / "page", "06-01 09:00"), home(tmp_path / "command", "06-01 09:00")
    for house in (page, twin):
        house.move(clock)
        tell_all(house, *before)
    known = len(page.said())
    tell(twin, words)
    with browsing(page) as browser:
        browser.open(address(page)).press(press, **changes)
        assert browser.answer.url.path.endswith("/answer"), browser.text
        assert page.said() == twin.said()
        assert len(page.said()) > known
        assert page.changes >= 1


def test_the_card_leads_to_the_forms_that_put_off_and_leave_out(tmp_path: Path) -> None:
    house = home(tmp_path, "06-03 12:10")
    tell_all(house, "task done dressing 06-02 10:00".replace("06-02", "yesterday"), "task done bag_out 7:00")
    with browsing(house) as browser:
        browser.follow("Put off to another time")
        assert "Change the caps, the one of 12:00 CDT" in browser.text
        browser.press("Record it")
        assert browser.answer.status_code == 400
        assert "This was not recorded yet" in browser.text, "to when is not said"
        browser.press("Record it", **UNTIL)
        assert house.said()[-1] == "06-03 12:10-0500 task put off name=caps until=06-04 16:00 planned_for=06-03 12:00"
        browser.press("This was wrong: take it back")
        assert "Taken back" in browser.text
        browser.open("./").follow("Not this time")
        browser.press("Record it", said_by="nurse on call")
        said = "06-03 12:10-0500 task skipped said_by=nurse on call name=caps planned_for=06-03 12:00"
        assert house.said()[-1] == said
        browser.open("./")
        assert "Change the caps, Wed 10 Jun 12:00" in care(browser)
        assert "Change the caps, 12:00" not in care(browser)


@pytest.mark.parametrize(
    ("fields", "fault", "field"),
    [
        ({"verb": "task done"}, "Say which.", "task"),
        ({"verb": "task put off", "until_clock": "16:00"}, "Say which.", "task"),
        ({"verb": "task skipped"}, "Say which.", "task"),
        ({"verb": "task done", "task": "moon"}, "is not in this plan. Choose one of the list.", "task"),
        ({"verb": "task done", "task": "caps", "name": "weighed"}, "Leave one of them out.", "name"),
        ({"verb": "task put off", "task": "caps", "until_clock": "25:00"}, "", "until_clock"),
        (
            {"verb": "task put off", "task": "caps", "until_clock": "08:00", "until_day": "2026-06-01"},
            "",
            "until_clock",
        ),
    ],
)
def test_a_bad_form_comes_back_with_what_was_wrong(
    fields: dict[str, str], fault: str, field: str, tmp_path: Path
) -> None:
    house = home(tmp_path, "06-02 10:30")
    with browsing(house) as browser:
        sent = browser.open(f"say?verb={fields['verb'].replace(' ', '+')}").find("Record it")
        browser.send(sent, **fields)
        assert browser.answer.status_code == 400
        assert f'href="#{field}">' in browser.html
        assert f'id="{field}"' in browser.html, "the fault leads to its field"
        assert fault in browser.text
        if fields.get("task") == "caps":
            assert '<option value="caps" selected>' in browser.html, "what was chosen is kept"
        assert house.said() == []


def test_the_same_done_twice_is_asked_about(tmp_path: Path) -> None:
    house = home(tmp_path, "06-03 12:10")
    with browsing(house) as browser:
        browser.open("say?verb=task+done&name=caps").press("Record it")
        house.move("06-03 12:40")
        browser.open("say?verb=task+done&name=caps").press("Record it", by="Ina")
        assert "One question first" in browser.text
        assert len(house.said()) == 1
        browser.press("It was done a second time.")
        assert house.said()[1] == "06-03 12:40-0500 task done by=Ina name=caps"


def test_a_delivery_that_came_asks_what_it_brought(tmp_path: Path) -> None:
    with browsing(home(tmp_path, "06-05 13:30")) as browser:
        browser.press("It came")
        assert "What came?" in browser.text
        assert "saline syringe should be 14" in browser.text


def test_what_goes_with_a_dose_to_be_asked_about_has_no_plain_button(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 13:10", CARE.replace('least_spacing = "20 h"', 'least_spacing = "22 h"'))
    tell_all(house, "started cefazolin 12:30", "finished and flushed")
    house.move("06-02 06:50")
    with browsing(house) as browser:
        told = care(browser)
        assert "ASK FIRST Take the bag out, 07:00 Ask about cefazolin before you do this: call On-call nurse" in told
        assert "Done" not in browser.buttons
        assert "It was done: say when" in told
        browser.open(task_address(house, "bag_out", "06-02"))
        assert "Done" not in browser.buttons
        assert "Ask about cefazolin before you do this" in browser.text


def test_what_goes_with_a_dose_that_must_not_be_given_is_left(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 20:00")
    tell(house, "red swelling")
    house.move("06-02 07:00")
    with browsing(house) as browser:
        told = care(browser)
        assert "Not to be done now Take the bag out, 07:00" in told
        assert "cefazolin must not be given now" in told
        assert "Done" not in browser.buttons
        house.move("06-03 12:00")
        assert "Done" in browser.open("./").buttons, "the caps are not asked about because of one lumen"


def test_a_sign_of_the_whole_line_leaves_no_button_for_what_is_done_to_the_line(tmp_path: Path) -> None:
    house = home(tmp_path, "06-03 12:00")
    tell(house, "line broken")
    with browsing(house) as browser:
        assert "STOP Change the caps, 12:00 Use no lumen: line broken" in care(browser)
        assert "Done" not in browser.buttons
        browser.open(task_address(house, "caps"))
        assert "Done" not in browser.buttons
        assert "Use no lumen: line broken" in browser.text


@pytest.mark.parametrize("told", ["in hospital", "line removed"])
def test_nothing_is_asked_while_others_look_after_the_line_or_when_it_is_out(told: str, tmp_path: Path) -> None:
    house = home(tmp_path, "06-02 10:00")
    tell(house, told)
    house.move("06-03 12:00")
    with browsing(house) as browser:
        assert not {"Done", "The nurse did it", "Just now: done"} & set(browser.buttons)
        if told == "in hospital":
            assert "They are looked after elsewhere, and nothing is to be done here." in care(browser)
        else:
            assert care(browser) == ""


def test_a_suspended_lumen_is_not_drawn_from(tmp_path: Path) -> None:
    house = home(tmp_path, "06-03 20:00")
    tell(house, "grey swelling")
    house.move("06-04 11:00")
    with browsing(house) as browser:
        assert "Drawn and flushed" not in browser.buttons
        browser.open(draw_address(house))
        assert "Drawn and flushed" not in browser.buttons
        assert "Draw the blood" not in browser.text


def test_a_draw_shows_its_steps_and_who_does_it(tmp_path: Path) -> None:
    house = home(tmp_path, "06-04 11:00")
    with browsing(house) as browser:
        browser.open(draw_address(house))
        for part in (
            "The nurse does this.",
            "Draw out 5 mL and discard it.",
            "Draw the blood: Blood count.",
            "Flush with 20 mL saline.",
            "Was the nurse here?",
        ):
            assert part in browser.text
        browser.press("Drawn and flushed")
        assert house.said() == [
            "06-04 11:00-0500 task done name=labs",
            "06-04 11:00-0500 drawn lumen=grey",
            "06-04 11:00-0500 flushed lumen=grey",
        ]
        assert "Next: Blood count, Thu 11 Jun 2026, 11:00 CDT" in browser.text


def test_a_draw_of_the_household_s_own_that_is_not_flushed_is_asked_for_at_once(tmp_path: Path) -> None:
    house = home(tmp_path, "06-04 11:10", OWN_DRAW)
    with browsing(house) as browser:
        browser.press("Drawn, not flushed yet")
        assert "FLUSH NOW" in browser.text
        house.move("06-04 11:15")
        browser.open("./").press("Flushed")
        assert house.said()[-1] == "06-04 11:15-0500 flushed lumen=grey"
        assert "FLUSH NOW" not in browser.open("./").text


@pytest.mark.parametrize(("edits", "asked"), [(OWN_DRAW, "Was it done?"), (CARE, "Was the nurse here?")])
def test_a_late_draw_may_have_been_done_and_is_not_made_up(edits: str, asked: str, tmp_path: Path) -> None:
    with browsing(home(tmp_path, "06-04 13:00", edits)) as browser:
        assert f"{asked} Blood draw: Blood count" in browser.text
        assert "If it was not done, do not make it up: ask On-call nurse" in browser.text
        assert {"Yes, 11:00, as planned: drawn and flushed", "Yes, then: drawn and flushed"} <= set(browser.buttons)
        assert "Just now: drawn and flushed" not in browser.buttons


def test_a_draw_that_a_dose_follows_is_said_with_it_or_by_itself(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00", WITH_DOSE)
    with browsing(house) as browser:
        assert {"All of it was done", "Blood count: drawn", "cefazolin started"} <= set(browser.buttons)
        browser.press("All of it was done")
        assert house.said() == [
            "06-01 09:00-0500 task done name=labs",
            "06-01 09:00-0500 drawn lumen=red",
            "06-01 09:00-0500 started order=cefazolin dose=2026-06-01T09:00",
            "06-01 09:00-0500 flushed lumen=red",
        ]
        browser.press("This was wrong: take it back")
        browser.open("./").press("Blood count: drawn")
        assert house.said() == ["06-01 09:00-0500 task done name=labs", "06-01 09:00-0500 drawn lumen=red"]
        browser.open("./")
        assert {"Flushed", "Started"} <= set(browser.buttons), "the dose is still to come"


def test_the_page_of_a_task_says_what_the_household_needs_to_know(tmp_path: Path) -> None:
    house = home(tmp_path, "06-02 10:00")
    with browsing(house) as browser:
        browser.open(task_address(house, "dressing"))
        for part in (
            "Change the dressing Tue 2 Jun 2026, 10:00 CDT",
            "The nurse does this.",
            "At any hour of this day.",
            "Prepare: 1 × dressing kit.",
            "Note: Call if it is wet.",
            "Call On-call nurse, Fennimore Vale, 555-0142",
        ):
            assert part in browser.text
        assert "Why now" not in browser.text
        browser.press("The nurse did it")
        browser.open(task_address(house, "dressing"))
        assert "Done: Change the dressing" in browser.text
        assert "The nurse did it" not in browser.buttons, "what is recorded is not asked again"


def test_a_day_and_a_week_list_their_tasks(tmp_path: Path) -> None:
    house = home(tmp_path, "06-04 14:00")
    tell(house, "task done caps yesterday 12:10")
    with browsing(house) as browser:
        text = browser.open("day?date=2026-06-03").text
        assert "Care tasks 07:00 CDT Take the bag out UNCONFIRMED 12:10 CDT Done: Change the caps" in text
        text = browser.open("day?date=2026-06-04").text
        assert "11:00 CDT blood draw: Blood count (nurse only) OVERDUE" in text
        listed = text[text.index("List") :]
        assert listed.count("Blood count") == 1, "a draw stands with its lumen"
        text = browser.open("week?date=2026-06-01").text
        listed = text[text.rindex("Care tasks") :]
        for part in (
            "Tue 2 Jun 2026 07:00 CDT Take the bag out",
            "10:00 CDT Change the dressing (the nurse) OVERDUE",
            "12:10 CDT Done: Change the caps",
            "11:00 CDT grey lumen: blood draw: Blood count (nurse only) OVERDUE",
            "13:00 CDT Supplies come (the pharmacy)",
        ):
            assert part in listed
        browser.follow("11:00 CDT")
        assert "Draw the blood: Blood count." in browser.text


def test_an_open_page_hears_of_tasks(tmp_path: Path) -> None:
    house = home(tmp_path, "06-03 10:00")
    tell_all(house, "task done dressing yesterday 10:00", "task done bag_out 7:00", "started cefazolin 9:00")
    tell_all(house, "finished and flushed 9:30", "flushed grey 9:00")
    with browsing(house) as browser:

        def shown() -> str:
            told: str = browser.open("state").answer.json()["shown"]
            return told

        before = shown()
        house.move("06-03 10:30")
        assert shown() == before, "half an hour alone changes nothing"
        house.move("06-03 11:00")
        assert (due := shown()) != before, "the caps are due"
        house.move("06-03 13:01")
        assert (late := shown()) != due, "their time has passed"
        tell(house, "task done caps 12:00")
        assert shown() != late


def test_a_plan_without_tasks_says_nothing_of_them(tmp_path: Path) -> None:
    house = home(tmp_path, "06-01 09:00", TWO_LUMENS)
    with browsing(house) as browser:
        assert care(browser) == ""
        for address in ("day", "week"):
            assert "Care tasks" not in browser.open(address).text
        assert "A task is put off" not in browser.open("other").text
        browser.open("say?verb=task+done").press("Record it", name="dressing")
        assert house.said() == ["06-01 09:00-0500 task done name=dressing"]


def test_the_history_leads_to_what_can_still_be_said(tmp_path: Path) -> None:
    house = home(tmp_path, "06-03 15:00")
    with browsing(house) as browser:
        browser.open("history").follow("Change the caps")
        browser.press("Yes, 12:00, as planned: done")
        assert house.said() == ["06-03 12:00-0500 task done name=caps"]
        assert "12:00 CDT Change the caps done" in browser.open("history").text


def test_everything_that_can_be_said_of_a_task_is_among_the_rest(tmp_path: Path) -> None:
    house = home(tmp_path, "06-03 15:00")
    with browsing(house) as browser:
        browser.open("other").follow("A task is put off, or moved to another time")
        browser.press("Record it", task="box", until_clock="09:00", until_day="2026-06-09")
        assert house.said()[-1].endswith("task put off name=box until=06-09 09:00 planned_for=06-05 13:00")
        browser.open("other").follow("A task is not done this time")
        assert "Only this time is left out" in browser.text


# In a real browser


@pytest.fixture(scope="module", name="driver")
def _driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebDriver]:
    driver = chromium(tmp_path_factory.mktemp("chromium") / "profile")
    driver.set_page_load_timeout(20)
    yield driver
    driver.quit()


SAMPLE = (SAMPLES / "weekly-delivery.toml").read_text(encoding="utf-8")

# The sample's clock is Denver's, an hour behind that of these tests.
SCENES: dict[str, tuple[str, Callable[[Home], str]]] = {
    "due": ("09-14 09:05", now),
    "late": ("09-16 21:10", now),
    "say": ("09-14 09:05", say("verb=task+done")),
    "put off": ("09-14 09:05", lambda house: _link(house, "dressing", "put off")),
    "task": ("09-16 15:10", lambda house: task_address(house, "dressing", "09-16")),
    "draw": ("09-14 09:05", draw_address),
    "day": ("09-14 12:30", lambda house: "day"),
    "week": ("09-14 12:30", lambda house: "week"),
}


@pytest.mark.parametrize("name", SCENES)
def test_the_pages_about_tasks_are_accessible(name: str, driver: WebDriver, tmp_path: Path) -> None:
    checker = axe()
    clock, address_of = SCENES[name]
    house = Home(tmp_path, clock, text=SAMPLE)
    driver.get("about:blank")  # the page of the test before asks a server that is gone
    complaints(driver)
    with served(house) as address:
        for width, height, dark in ((*LAPTOP, False), (*PHONE, True)):
            size(driver, width, height, dark=dark)
            driver.get(address + address_of(house))
            driver.execute_script(checker)
            found: list[Any] = driver.execute_async_script(CHECK)
            assert found == [], f"{name}, {width} px{', dark' if dark else ''}"
            assert driver.execute_script(WIDTH) == [0, []], f"{name} is wider than {width} px"
            assert driver.execute_script(SMALL) == [], f"{name}, {width} px: too small to hit"
        size(driver, 320, 640)
        assert driver.execute_script(WIDTH) == [0, []], f"{name} is wider than 320 px"
        assert complaints(driver) == []


def test_a_task_is_recorded_and_taken_back_with_scripts_and_without(driver: WebDriver, tmp_path: Path) -> None:
    for scripts in (True, False):
        (folder := tmp_path / str(scripts)).mkdir()
        house = Home(folder, "09-16 15:10", text=SAMPLE)
        size(driver, *PHONE)
        driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not scripts})
        try:
            with served(house) as address:
                driver.get(address)
                driver.find_element(By.PARTIAL_LINK_TEXT, "Change the dressing, 14:00").click()
                button(driver, "The nurse did it").click()
                until(lambda: "/answer?" in driver.current_url)
                assert house.said() == ["09-16 14:10-0600 task done name=dressing"]
                assert "Next: Change the dressing, Wed 23 Sep 2026, 14:00 MDT" in says(driver)
                button(driver, "This was wrong: take it back").click()
                until(lambda: "Taken back" in says(driver))
                assert house.said() == []
        finally:
            driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_paper_shows_what_is_to_be_done_and_nothing_to_press(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "09-14 09:05", text=SAMPLE)
    size(driver, *LAPTOP)
    with served(house) as address:
        driver.get(address)
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        try:
            told = says(driver)
            assert "Expected Change the needleless connectors of both lumens, 08:00 The nurse does this." in told
            assert "Next: " in told
            for pressed in ("Put off to another time", "The nurse did it", "What to know, and what to lay out"):
                assert pressed not in told
        finally:
            driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
