"""The household's page in a real browser: reports by mouse and by keyboard, without scripts, on a phone, on paper, left open.

The accessibility checker is axe-core (rules of WCAG 2.2, levels A and AA, and its best practices).
"""

import base64
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from own_places import own_places
from page_browser import LAPTOP, PHONE, axe, chromium, complaints, served, size, until
from page_home import SECRET, TWO_LUMENS, Home, browsing
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from test_page import tell, tell_all

TIMED = TWO_LUMENS + '\n[protocol]\nscrub_time = "1 s"\ndry_time = "15 s"\n'
ASKS = TWO_LUMENS.replace('"20 h"', '"22 h"')


@pytest.fixture(name="driver", scope="module")
def _driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebDriver]:
    driver = chromium(tmp_path_factory.mktemp("browser") / "profile")
    driver.set_page_load_timeout(20)
    yield driver
    driver.quit()


@pytest.fixture(autouse=True)
def _own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, driver: WebDriver) -> Iterator[None]:
    own_places(tmp_path / "places", monkeypatch)
    size(driver, *LAPTOP)
    driver.get("about:blank")
    complaints(driver)
    yield


def button(driver: WebDriver, words: str) -> WebElement:
    found = driver.find_elements(By.XPATH, f"//main//button[normalize-space()='{words}']")
    assert found, f"{words!r} is none of {[b.text for b in driver.find_elements(By.TAG_NAME, 'button')]}"
    return found[0]


def open_details(driver: WebDriver, words: str) -> None:
    driver.find_element(By.XPATH, f"//summary[normalize-space()='{words}']").click()


def says(driver: WebDriver) -> str:
    return " ".join(driver.find_element(By.TAG_NAME, "main").text.split())


def test_due_reported_and_taken_back(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00")
    with served(house) as address:
        driver.get(address)
        assert "Due" in says(driver)
        button(driver, "Started").click()
        until(lambda: "/answer?" in driver.current_url)
        assert "Recorded" in says(driver)
        assert house.said() == ["06-01 09:00-0500 started order=cefazolin dose=2026-06-01T09:00"]
        driver.refresh()  # reloading the answer sends nothing again
        assert len(house.said()) == 1
        button(driver, "This was wrong: take it back").click()
        until(lambda: "Taken back" in says(driver))
        assert house.said() == []
        driver.get(address)
        assert button(driver, "Started").is_displayed()
        assert complaints(driver) == []


def test_a_late_finish_is_backdated(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00")
    tell(house, "started cefazolin")
    house.move("06-01 10:15")
    with served(house) as address:
        driver.get(address)
        assert "Should have finished" in says(driver)
        assert "That was 45 min ago." in says(driver)
        finished = button(driver, "Yes, then: finished and flushed")
        form = finished.find_element(By.XPATH, "./ancestor::form")
        form.find_element(By.NAME, "when").send_keys("30 min ago")
        finished.click()
        until(lambda: "/answer?" in driver.current_url)
    assert house.said()[1:] == [
        "06-01 09:45-0500 finished order=cefazolin dose=2026-06-01T09:00",
        "06-01 09:45-0500 flushed lumen=red",
    ]


def test_a_time_is_written_on_the_clock(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 10:30")
    with served(house) as address:
        driver.get(address)
        open_details(driver, "Another time, or who reports it")
        driver.find_element(By.CSS_SELECTOR, "input[type=time]").send_keys("0950AM")
        driver.find_element(By.CSS_SELECTOR, "details[open] input[name=by]").send_keys("Ina")
        button(driver, "Yes, then: started").click()
        until(lambda: "/answer?" in driver.current_url)
    assert house.said() == ["06-01 09:50-0500 started order=cefazolin dose=2026-06-01T09:00 by=Ina"]


def test_enter_in_a_field_records_nothing(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00")
    with served(house) as address:
        driver.get(address)
        open_details(driver, "Another time, or who reports it")
        driver.find_element(By.CSS_SELECTOR, "details[open] input[name=by]").send_keys("Ina", Keys.ENTER)
        until(lambda: "Press the button that says what happened." in says(driver))
        assert driver.current_url == address  # on the card itself, with the name in its place
        button(driver, "Started").click()
        until(lambda: "/answer?" in driver.current_url)
    assert house.said() == ["06-01 09:00-0500 started order=cefazolin dose=2026-06-01T09:00 by=Ina"]


def test_a_double_click_is_one_report(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00")
    with served(house) as address:
        driver.get(address)
        ActionChains(driver).double_click(button(driver, "Started")).perform()
        until(lambda: "/answer?" in driver.current_url)
        until(lambda: "Recorded" in says(driver))
    assert len(house.said()) == 1


def test_what_must_be_asked_about_has_a_number_and_no_button(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 13:10", ASKS)
    tell_all(house, "started cefazolin 12:30", "finished and flushed")
    house.move("06-02 09:00")
    with served(house) as address:
        driver.get(address)
        card = driver.find_element(By.CSS_SELECTOR, ".tone-ask")
        assert "ASK FIRST" in card.text
        call = card.find_element(By.CSS_SELECTOR, "a.call.big")
        assert call.text == "Call On-call nurse, Fennimore Vale, 555-0142"
        assert call.get_attribute("href") == "tel:5550142"
        assert not [b.text for b in card.find_elements(By.TAG_NAME, "button") if b.is_displayed()]


def test_by_keyboard_alone(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00")

    def tab_to(words: str) -> None:
        for _count in range(60):
            ActionChains(driver).send_keys(Keys.TAB).perform()
            at = driver.switch_to.active_element
            style = driver.execute_script("return getComputedStyle(document.activeElement).outlineStyle")
            assert style != "none", f"nothing shows that {at.tag_name} {at.text!r} is reached"
            if at.text == words:
                return
        pytest.fail(f"{words!r} is not reached")

    with served(house) as address:
        driver.get(address)
        ActionChains(driver).send_keys(Keys.TAB).perform()
        assert driver.switch_to.active_element.text == "Go to the content"
        ActionChains(driver).send_keys(Keys.ENTER).perform()
        assert driver.switch_to.active_element.get_attribute("id") == "main"
        tab_to("Started")
        ActionChains(driver).send_keys(Keys.ENTER).perform()
        until(lambda: "/answer?" in driver.current_url)
        assert len(house.said()) == 1
        tab_to("This was wrong: take it back")
        ActionChains(driver).send_keys(Keys.ENTER).perform()
        until(lambda: "Taken back" in says(driver))
        assert house.said() == []
        tab_to("Back to what is due now")
        ActionChains(driver).send_keys(Keys.ENTER).perform()
        until(lambda: driver.current_url == address)
        tab_to("Another time, or who reports it")
        ActionChains(driver).send_keys(Keys.ENTER, Keys.TAB, "0850AM").perform()
        tab_to("Started")
        ActionChains(driver).send_keys(Keys.SPACE).perform()
        until(lambda: "/answer?" in driver.current_url)
    assert house.said() == ["06-01 08:50-0500 started order=cefazolin dose=2026-06-01T09:00"]


def test_without_scripts(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00", TIMED)
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        with served(house) as address:
            driver.get(address)
            driver.find_element(By.LINK_TEXT, "Look again").click()
            driver.find_element(By.LINK_TEXT, "Steps, and what to lay out").click()
            until(lambda: "Scrub the hub for 1 s." in says(driver))
            # A count needs a script: without it stand the words alone.
            assert not [b for b in driver.find_elements(By.CSS_SELECTOR, "button.timer") if b.is_displayed()]
            button(driver, "Started").click()
            until(lambda: "/answer?" in driver.current_url)
            house.move("06-01 09:50")
            driver.find_element(By.LINK_TEXT, "Back to what is due now").click()
            until(lambda: "Should have finished" in says(driver))
            open_details(driver, "Something else happened with it")
            driver.find_element(By.LINK_TEXT, "Stopped early").click()
            until(lambda: driver.find_elements(By.ID, "volume"))
            driver.find_element(By.ID, "volume").send_keys("sixty")
            button(driver, "Record it").click()
            until(lambda: "This was not recorded yet" in says(driver))
            field = driver.find_element(By.ID, "volume")
            assert field.get_attribute("value") == "sixty"
            field.clear()
            field.send_keys("60 mL")
            button(driver, "Record it").click()
            until(lambda: "/answer?" in driver.current_url)
    finally:
        driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert house.said()[1:] == ["06-01 09:50-0500 stopped early order=cefazolin dose=2026-06-01T09:00 volume=60 mL"]


def test_the_timers_count_and_say_so(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00", TIMED)
    with served(house) as address:
        driver.get(address)
        driver.find_element(By.LINK_TEXT, "Steps, and what to lay out").click()
        until(lambda: driver.find_elements(By.CSS_SELECTOR, "button.timer"))
        scrub, dry = driver.find_elements(By.CSS_SELECTOR, "button.timer")
        assert (scrub.text, dry.text) == ("Count 1 s of scrubbing", "Count 15 s of drying")
        dry.click()
        until(lambda: dry.text == "Drying: 14 s left")
        dry.click()  # pressed again, it is off
        assert dry.text == "Count 15 s of drying"
        status = driver.find_element(By.ID, "timer-said")
        assert status.get_attribute("aria-live") == "polite"
        scrub.click()
        until(lambda: scrub.text == "Scrubbed for 1 s.")
        assert status.get_attribute("textContent") == "Scrubbed for 1 s."
        assert complaints(driver) == []


def test_an_open_page_follows_and_keeps_half_a_form(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00", look_every=0.1)
    with served(house) as address:
        driver.get(address)
        tell(Home(tmp_path, "06-01 09:00"), "started cefazolin")  # somebody else, in another process
        until(lambda: "Runs" in says(driver))
        open_details(driver, "Something happened with it")
        field = driver.find_element(By.NAME, "when")
        house.move("06-01 09:31")
        until(lambda: "Something has changed meanwhile." in says(driver))
        assert field.is_displayed()  # what was begun is still there
        assert "Runs" in says(driver)
        open_details(driver, "Something happened with it")
        driver.execute_script("document.activeElement.blur()")
        until(lambda: "finish cefazolin" in says(driver).casefold() and "Due" in says(driver))
        until(lambda: "Something has changed meanwhile." not in says(driver))
        assert complaints(driver) == []


def test_an_open_page_says_when_nothing_answers(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00", look_every=0.1)
    with served(house) as address:
        driver.get(address)
        house.move("06-01 09:05")
        until(lambda: "As of 09:05 CDT." in says(driver))
        old = driver.find_element(By.ID, "old")
        assert not old.is_displayed()
        house.stop()
        until(lambda: old.is_displayed())
        assert old.get_attribute("role") == "alert"
        assert "the program on this computer does not answer since 09:05 CDT" in old.text
    complaints(driver)  # that it could not be reached


def test_the_day_on_paper(driver: WebDriver, tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("not run: pdftotext is not installed")
    house = Home(tmp_path, "06-01 09:00")
    tell(house, "started cefazolin")
    with served(house) as address:
        driver.get(f"{address}day")
        paper = tmp_path / "day.pdf"
        paper.write_bytes(base64.b64decode(driver.print_page()))
    text = subprocess.run(["pdftotext", "-layout", str(paper), "-"], capture_output=True, text=True, check=True).stdout
    for told in (
        "Mon 1 Jun 2026",
        "start cefazolin 2 g",
        "finish cefazolin",
        "21:30 CDT",
        "red lumen",
        "555-0142",
        "911",
        "STOP",
    ):
        assert told in text, told
    for screen_only in ("The day after", "Supplies", "Show"):
        assert screen_only not in text, screen_only


Scene = tuple[str, str, str, Callable[[Home], object]]

SCENES: dict[str, Scene] = {
    "nothing due": (TWO_LUMENS, "06-01 08:05", "./", lambda house: tell(house, "held cefazolin")),
    "due": (TWO_LUMENS, "06-01 09:00", "./", lambda house: None),
    "overdue, limit passed": (TWO_LUMENS, "06-03 08:30", "./", lambda house: None),
    "ask first": (
        ASKS,
        "06-02 09:00",
        "./",
        lambda house: tell_all(house, "started cefazolin yesterday 12:30", "finished and flushed yesterday 13:10"),
    ),
    "suspended": (
        TWO_LUMENS,
        "06-01 09:20",
        "./",
        lambda house: tell_all(house, "started cefazolin 9:00", "red swelling"),
    ),
    "line broken": (
        TWO_LUMENS,
        "06-01 09:30",
        "./",
        lambda house: tell_all(house, "started cefazolin 9:00", "line broken 9:10"),
    ),
    "another lumen suspended": (TWO_LUMENS, "06-01 09:30", "./", lambda house: tell(house, "grey swelling")),
    "a slip": (TWO_LUMENS, "06-01 09:20", "./>Take this report back", lambda house: tell(house, "grey swelling")),
    "the same again": (
        TWO_LUMENS,
        "06-01 09:20",
        "say?verb=started&order=cefazolin&dose=2026-06-01T09:00>Record it",
        lambda house: tell(house, "started cefazolin 9:10"),
    ),
    "running, overdue to finish": (
        TWO_LUMENS,
        "06-01 09:50",
        "./",
        lambda house: tell(house, "started cefazolin 9:00"),
    ),
    "flush outstanding": (
        TWO_LUMENS,
        "06-01 09:50",
        "./",
        lambda house: tell_all(house, "started cefazolin 9:00", "finished cefazolin 9:40"),
    ),
    "steps": (TIMED, "06-01 09:00", "event", lambda house: None),
    "answer": (
        TWO_LUMENS,
        "06-01 09:20",
        "answer",
        lambda house: tell_all(house, "started cefazolin 9:00", "red pain"),
    ),
    "question": (TWO_LUMENS, "06-01 09:20", "signs>Pain", lambda house: None),
    "faults": (TWO_LUMENS, "06-01 09:20", "say?verb=skipped&order=cefazolin>Record it", lambda house: None),
    "say": (TWO_LUMENS, "06-01 09:20", "say?verb=stopped+early", lambda house: None),
    "home again": (TWO_LUMENS, "06-01 09:20", "say?verb=released&everything=yes", lambda house: None),
    "other": (TWO_LUMENS, "06-01 09:20", "other", lambda house: None),
    "signs": (TWO_LUMENS, "06-01 09:20", "signs?lumen=red", lambda house: None),
    "day": (TWO_LUMENS, "06-01 09:20", "day", lambda house: tell(house, "started cefazolin 9:00")),
    "week": (TWO_LUMENS, "06-01 09:20", "week", lambda house: None),
    "history": (TWO_LUMENS, "06-03 09:20", "history", lambda house: tell(house, "started cefazolin")),
    "supplies": (TWO_LUMENS, "06-01 09:20", "supplies", lambda house: None),
    "phones": (TWO_LUMENS, "06-01 09:20", "phones", lambda house: house.phones.add("Ina's phone")),
    "not there": (TWO_LUMENS, "06-01 09:20", "event?uid=gone", lambda house: None),
}
"""Each kind of page: the plan, the moment, the address (and what is pressed there), and what was told before."""


def show(driver: WebDriver, house: Home, address: str, what: str) -> None:
    where, _arrow, pressed = what.partition(">")
    if where == "event":
        where = f"event?uid={house.keeper.schedule.touches[0].uid}"
    elif where == "answer":
        where = f"answer?report={house.facts()[-1].report}"
    driver.get(address + where)
    if pressed:
        button(driver, pressed).click()
        until(lambda: driver.current_url.endswith(("/report", "/undo")))


CHECK = """
const done = arguments[arguments.length - 1];
document.querySelectorAll("details").forEach((details) => { details.open = true; });
axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(
  (found) => done(found.violations.map((one) => [one.id, one.help, one.nodes.slice(0, 3).map((node) => node.html.slice(0, 160) + " | " + node.failureSummary)])),
  (error) => done([["axe", String(error), []]]));
"""

WIDTH = """
const wide = document.documentElement.clientWidth;
const outside = [...document.querySelectorAll("main *, header *")].filter((e) => e.getBoundingClientRect().right > wide + 1
  && !e.closest(".drawing, .nothing, .skip, .timer-said, .code") && getComputedStyle(e).position !== "absolute");
return [document.documentElement.scrollWidth - wide, outside.slice(0, 3).map((e) => e.outerHTML.slice(0, 120))];
"""

SMALL = """
return [...document.querySelectorAll("button, select, input:not([type=hidden]), summary, nav a, .call, .links a")].filter((e) => {
  const box = e.getBoundingClientRect();
  return box.height > 0 && !e.matches(".nothing") && (e.type === "checkbox" || e.type === "radio" ? box.height < 24 : box.height < 43.9);
}).map((e) => e.outerHTML.slice(0, 120) + " " + e.getBoundingClientRect().height);
"""


@pytest.mark.parametrize("name", SCENES)
def test_every_kind_of_page_is_accessible(name: str, driver: WebDriver, tmp_path: Path) -> None:
    """By a laptop in the light, a phone in the dark, and the width to which a page is zoomed four times (WCAG 1.4.10)."""
    checker = axe()
    edits, clock, what, before = SCENES[name]
    house = Home(tmp_path, clock, edits)
    before(house)
    with served(house) as address:
        for width, height, dark in ((*LAPTOP, False), (*PHONE, True)):
            size(driver, width, height, dark=dark)
            show(driver, house, address, what)
            driver.execute_script(checker)
            found: list[Any] = driver.execute_async_script(CHECK)
            assert found == [], f"{name}, {width} px{', dark' if dark else ''}"
            assert driver.execute_script(WIDTH) == [0, []], f"{name} is wider than {width} px"
            assert driver.execute_script(SMALL) == [], f"{name}, {width} px: too small to hit"
        size(driver, 320, 640)
        assert driver.execute_script(WIDTH) == [0, []], f"{name} is wider than 320 px"
        told = [
            line for line in complaints(driver) if "status of 4" not in line
        ]  # an answer of 400 is reported as such
        assert told == []


def test_the_address_is_behind_its_secret(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00")
    with served(house) as address:
        driver.get(address.replace(SECRET, "another"))
        assert "There is nothing at this address." in driver.find_element(By.TAG_NAME, "body").text
        assert "cefazolin" not in driver.page_source


def test_a_browser_and_a_client_without_scripts_share_one_record(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-01 09:00")
    with served(house) as address:
        driver.get(address)
        stale = button(driver, "Started")
        with browsing(Home(tmp_path, "06-01 09:00")) as other:
            other.press("Started")
        stale.click()  # the page was drawn before the other one reported
        until(lambda: "already" in says(driver))
        assert "That is recorded already" in says(driver)
    house.keeper.refresh()
    assert len(house.said()) == 1
