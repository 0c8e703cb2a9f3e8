"""The form in a real browser: the sample with three lumens written from nothing, counted; a plan changed; what goes wrong.

How long a practised person needs is reckoned with the keystroke-level model of Card, Moran and Newell, "The keystroke-level
model for user performance time with interactive systems", Communications of the ACM 23 (1980): a keystroke of an average
skilled typist 0.20 s, pointing 1.10 s, a hand to keyboard or mouse 0.40 s, thinking before each part 1.35 s (from memory).
The accessibility checker is axe-core (rules of WCAG 2.2, levels A and AA, and its best practices).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from page_browser import LAPTOP, PHONE, axe, chromium, complaints, size, until
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from write_home import SAMPLES, WriteHome, sample, served_writing
from written_in_form import BEGIN, STEPS, Step, Way

from reminders.plan.model import Plan
from reminders.plan.read import read_plan

KEY, POINT, HAND, THINK = 0.20, 1.10, 0.40, 1.35
"""Seconds; the operators of the model (see above)."""

CLICK = POINT + HAND + HAND + KEY
"""Seconds to leave the keyboard, press a button with the mouse, and come back."""


@pytest.fixture(name="driver", scope="module")
def _driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebDriver]:
    driver = chromium(tmp_path_factory.mktemp("browser") / "profile", "--lang=en-US")
    driver.set_page_load_timeout(20)
    yield driver
    driver.quit()


@pytest.fixture(autouse=True)
def _fresh(driver: WebDriver) -> None:
    size(driver, *LAPTOP)
    driver.get("about:blank")
    complaints(driver)


@dataclass
class Hands:
    """Whoever fills in the form, and how much of it they do by hand."""

    driver: WebDriver
    fields: int = 0
    presses: int = 0
    keys: int = 0
    tabs: int = 0
    pointed: int = 0
    at: str = ""

    def find(self, mark: str) -> WebElement:
        """Return a field by its mark, with what is folded around it opened as a click on its summary would."""
        found = self.driver.find_element(By.ID, mark)
        if not found.is_displayed():
            self.driver.execute_script("arguments[0].closest('details').open = true", found)
            self.pointed += 1
        return found

    def do(self, step: Step) -> None:
        """Do one step by keyboard, and count it."""
        if step.way is Way.PRESS:
            self.presses += 1
            self.pointed += 1
            return
        field = self.find(step.mark)
        self._reach(field)
        self.fields += 1
        keys = self._keys(step, field)
        self.keys += len(keys)
        if step.way in (Way.TYPE,):
            field.send_keys(Keys.CONTROL, "a")  # what a field holds is selected by coming to it with Tab
        field.send_keys(keys)

    def _reach(self, field: WebElement) -> None:
        """Count how one comes to a field: by Tab where that is quicker than by the mouse."""
        steps = self.driver.execute_script(
            """const stops = [...document.querySelectorAll("#written input, #written select, #written textarea, #written button, #written summary,"
              + "form.begin input, form.begin select, form.begin button")].filter((one) => one.type !== "hidden"
              && one.tabIndex >= 0 && one.checkVisibility() && (one.type !== "radio" || one.checked || one === arguments[0]
              || !document.querySelector(`[name="${one.name}"]:checked`)));
            const seen = new Set();
            const order = stops.filter((one) => one.type !== "radio" || one === arguments[0] || !seen.has(one.name) && seen.add(one.name));
            const from = order.findIndex((one) => one.id === arguments[1] || arguments[1].startsWith(one.name + ":"));
            return order.indexOf(arguments[0]) - from;""",
            field,
            self.at,
        )
        if 0 < steps * KEY <= CLICK:
            self.tabs += steps
        else:
            self.pointed += 1
        self.at = field.get_attribute("id") or ""

    def _keys(self, step: Step, field: WebElement) -> str:
        if step.way is Way.TICK:
            return " "
        if step.way is Way.PICK:
            day, _blank, clock = step.value.partition(" ")
            year, month, date = day.split("-")
            typed = f"{month}{date}{year}"
            if not clock:
                return typed
            hour, minute = clock.split(":")
            return f"{typed}{Keys.TAB}{int(hour) % 12 or 12:02}{minute}{'AM' if int(hour) < 12 else 'PM'}"
        if step.way is Way.CHOOSE:
            options = {one.get_attribute("value"): one.text for one in field.find_elements(By.TAG_NAME, "option")}
            words = options[step.value].lower()
            others = [text.lower() for value, text in options.items() if value != step.value]
            return next(words[:n] for n in range(1, 60) if not any(one.startswith(words[:n]) for one in others))
        return step.value

    @property
    def seconds(self) -> float:
        """Return how long a practised person would need: thinks before each field and press, moves there, types."""
        return (self.fields + self.presses) * THINK + (self.keys + self.tabs) * KEY + self.pointed * CLICK


def press(driver: WebDriver, do: str) -> None:
    """Press a button, and wait until another page has come."""
    button = driver.find_element(
        By.CSS_SELECTOR, f"button[value='{do}']:not(.nothing)" if do else "form.begin button.main"
    )
    page = driver.find_element(By.TAG_NAME, "html")
    driver.execute_script("arguments[0].click()", button)
    until(lambda: gone(page))
    until(lambda: driver.execute_script("return document.readyState") == "complete")


def gone(element: WebElement) -> bool:
    """Say whether an element's page was left."""
    try:
        element.is_enabled()
    except Exception:
        return True
    return False


def settled(driver: WebDriver) -> None:
    """Wait until everything that was typed has been sent, and its answer shown."""
    until(lambda: driver.find_element(By.ID, "written").get_attribute("data-sent") is not None, 20)


def state(driver: WebDriver) -> str:
    """Return what the bar says."""
    return driver.find_element(By.ID, "state").text.replace("\n", " ")


def meant(plan: Plan) -> dict[str, Any]:
    """Return everything that a plan says, save its own id and who read it back."""
    held = {name: getattr(plan, name) for name in Plan.__dataclass_fields__ if name != "read_back"}
    course = held.pop("course")
    return held | {f"course.{name}": getattr(course, name) for name in course.__dataclass_fields__ if name != "id"}


def sample_plan() -> Plan:
    """Return the sample with three lumens."""
    reading = read_plan("sample", (SAMPLES / "three-lumens.toml").read_bytes())
    assert reading.complete and reading.plan is not None
    return reading.plan


def read_aloud(driver: WebDriver, hands: Hands, by: str) -> None:
    """Tick each thing that is read back, and write who read it."""
    for box in driver.find_elements(By.CSS_SELECTOR, ".read-back .tick input"):
        box.send_keys(" ")
        hands.keys += 2  # and Tab
        hands.fields += 1
    driver.find_element(By.ID, "by").send_keys(by)
    hands.fields += 1
    hands.keys += len(by)


def test_three_lumens_from_nothing(driver: WebDriver, tmp_path: Path, record_property: Any) -> None:
    house = WriteHome(tmp_path, file=None)
    hands = Hands(driver)
    with served_writing(house) as address:
        driver.get(address)
        for step in BEGIN:
            hands.do(step)
        press(driver, "")
        for step in STEPS:
            hands.do(step)
            if step.mark == "line.allergies":
                settled(driver)
                assert "Line needs" not in driver.find_element(By.ID, "found").text
        settled(driver)
        assert state(driver).startswith("Nothing to mend"), driver.find_element(By.ID, "found").text
        assert driver.find_elements(By.CSS_SELECTOR, "#timeline .day svg")
        assert "heparin lock 10 units per milliliter, 3 milliliters" in driver.find_element(By.ID, "read").text
        writing = replace(hands)
        hands.do(Step(Way.PRESS, "save"))
        press(driver, "save")
        assert "Reading back" in driver.title
        read_aloud(driver, hands, "Ines Marlow")
        hands.do(Step(Way.PRESS, "read"))
        press(driver, "read")
        assert "Saved" in driver.find_element(By.TAG_NAME, "h1").text
        assert "Read back by Ines Marlow" in driver.find_element(By.TAG_NAME, "main").text
        assert complaints(driver) == []
    written, wanted = meant(house.plan()), meant(sample_plan())
    assert written.keys() == wanted.keys()
    for name, value in wanted.items():
        assert written[name] == value, name
    read_back, theirs = house.plan().read_back, sample_plan().read_back
    assert read_back is not None and theirs is not None
    assert read_back.check == theirs.check, "the letters of what is read back are drawn from what is meant"
    assert house.ends >= 1
    counted = {
        "fields": writing.fields,
        "buttons": writing.presses,
        "characters": writing.keys,
        "tabs": writing.tabs,
        "pointed": writing.pointed,
        "seconds to write": round(writing.seconds),
        "seconds with reading back": round(hands.seconds),
    }
    for name, value in counted.items():
        record_property(name, value)
    print(counted)  # noqa: T201 - what is measured is shown with -s
    assert writing.seconds < 600, counted


def main_text(driver: WebDriver) -> str:
    """Return what the page says."""
    return " ".join(driver.find_element(By.TAG_NAME, "main").text.split())


def type_into(driver: WebDriver, mark: str, *keys: str) -> None:
    """Put something into a field in the place of what it holds."""
    field = driver.find_element(By.ID, mark)
    field.send_keys(Keys.CONTROL, "a")
    field.send_keys(*keys)


def test_one_value_of_a_plan_is_changed_and_all_else_stays(driver: WebDriver, tmp_path: Path) -> None:
    before = sample(tmp_path)
    house = WriteHome(tmp_path)
    with served_writing(house) as address:
        driver.get(address)
        drawn = driver.find_element(By.ID, "timeline").get_attribute("innerHTML")
        assert state(driver).startswith("Nothing to mend")
        type_into(driver, "order.piperacillin.duration", "soon")
        settled(driver)
        assert "To mend" in driver.find_element(By.ID, "at:order.piperacillin.duration").text
        assert driver.find_element(By.ID, "order.piperacillin.duration").get_attribute("aria-invalid") == "true"
        assert state(driver).startswith("1 to mend")
        type_into(driver, "order.piperacillin.duration", "4 h")
        settled(driver)
        assert driver.find_element(By.ID, "at:order.piperacillin.duration").text == ""
        assert driver.find_element(By.ID, "order.piperacillin.duration").get_attribute("aria-invalid") is None
        assert driver.find_element(By.ID, "timeline").get_attribute("innerHTML") != drawn
        assert "4 hours" in driver.find_element(By.ID, "read").text
        press(driver, "save")
        press(driver, "plain")
        assert complaints(driver) == []
    after = (tmp_path / "plan.toml").read_text(encoding="utf-8")
    assert after == before.replace('duration = "30 min"', 'duration = "4 h"')


def test_what_is_typed_last_is_not_lost_with_the_window(driver: WebDriver, tmp_path: Path) -> None:
    sample(tmp_path)
    house = WriteHome(tmp_path)
    with served_writing(house) as address:
        driver.get(address)
        type_into(driver, "line.external_length", "4 cm")
        driver.get("about:blank")
        until(lambda: house.desk.draft.typed(("line", "external_length")) == "4 cm")


def test_enter_checks_and_leaves_nothing(driver: WebDriver, tmp_path: Path) -> None:
    sample(tmp_path)
    house = WriteHome(tmp_path)
    with served_writing(house) as address:
        driver.get(address)
        type_into(driver, "line.idle_limit", "soon", Keys.ENTER)
        until(lambda: "To mend" in driver.find_element(By.ID, "at:line.idle_limit").text)
        assert driver.current_url == address
        driver.find_element(By.CSS_SELECTOR, "#found a[href='#line.idle_limit']").click()
        assert driver.switch_to.active_element.get_attribute("id") == "line.idle_limit"
        type_into(driver, "new:lumen", "white", Keys.ENTER)
        until(lambda: driver.find_elements(By.ID, "lumen.white.label"))
        until(lambda: driver.switch_to.active_element.get_attribute("id") == "lumen.white.label")


def test_enter_at_the_name_of_who_read_it_back_does_not_leave_the_page(driver: WebDriver, tmp_path: Path) -> None:
    sample(tmp_path)
    house = WriteHome(tmp_path)
    with served_writing(house) as address:
        driver.get(f"{address}read-back")
        driver.find_element(By.CSS_SELECTOR, ".read-back .tick input").send_keys(" ")
        driver.find_element(By.ID, "by").send_keys("Ines Marlow", Keys.ENTER)
        until(lambda: "Not ticked: 14." in main_text(driver))
        press(driver, "back")
        until(lambda: driver.find_elements(By.ID, "written"))
        driver.get(f"{address}read-back")
        assert len(driver.find_elements(By.CSS_SELECTOR, ".read-back .tick input:checked")) == 1
        assert driver.find_element(By.ID, "by").get_attribute("value") == "Ines Marlow"


def test_a_finding_leads_into_what_is_folded(driver: WebDriver, tmp_path: Path) -> None:
    sample(tmp_path)
    house = WriteHome(tmp_path)
    house.desk.draft.enter(("lumen", "grey", "lock_volume"), "much")
    with served_writing(house) as address:
        driver.get(address)
        driver.execute_script("document.querySelectorAll('details').forEach((one) => (one.open = false))")
        driver.find_element(By.CSS_SELECTOR, "#found a[href='#lumen.grey.lock_volume']").click()
        field = driver.find_element(By.ID, "lumen.grey.lock_volume")
        until(lambda: driver.switch_to.active_element == field)
        assert field.is_displayed()


def test_a_half_typed_date_is_told(driver: WebDriver, tmp_path: Path) -> None:
    sample(tmp_path)
    house = WriteHome(tmp_path)
    with served_writing(house) as address:
        driver.get(address)
        driver.find_element(By.ID, "lumen.grey.last_flushed").send_keys(Keys.BACKSPACE)
        settled(driver)
        assert "not complete" in driver.find_element(By.ID, "at:lumen.grey.last_flushed").text
        assert state(driver).startswith("1 to mend")


def test_questions_come_and_go_with_what_is_answered(driver: WebDriver, tmp_path: Path) -> None:
    sample(tmp_path)
    house = WriteHome(tmp_path)
    with served_writing(house) as address:
        driver.get(address)
        assert not driver.find_element(By.ID, "line.needle_out_lock").is_displayed()
        driver.find_element(By.ID, "line.kind").send_keys("implanted")
        settled(driver)
        assert driver.find_element(By.ID, "line.needle_out_lock").is_displayed()


def test_a_second_tab_overwrites_nothing(driver: WebDriver, tmp_path: Path) -> None:
    sample(tmp_path)
    house = WriteHome(tmp_path)
    with served_writing(house) as address:
        driver.get(address)
        first = driver.current_window_handle
        driver.switch_to.new_window("tab")
        driver.get(address)
        type_into(driver, "line.external_length", "4 cm")
        settled(driver)
        driver.close()
        driver.switch_to.window(first)
        type_into(driver, "line.external_length", "5 cm")
        until(lambda: "This page is older" in driver.find_element(By.ID, "old").text)
        assert house.desk.draft.typed(("line", "external_length")) == "4 cm"
        driver.find_element(By.CSS_SELECTOR, "#older button").click()
        until(lambda: "This page was older" in main_text(driver))
        assert "4 cm 5 cm" in main_text(driver)
        driver.find_element(By.ID, "take:line.external_length").click()
        driver.find_element(By.CSS_SELECTOR, "form button.main").click()
        until(lambda: house.desk.draft.typed(("line", "external_length")) == "5 cm")


def test_a_program_that_was_stopped_is_told(driver: WebDriver, tmp_path: Path) -> None:
    sample(tmp_path)
    with served_writing(WriteHome(tmp_path)) as address:
        driver.get(address)
    type_into(driver, "line.external_length", "4 cm")
    until(lambda: "The program does not answer" in driver.find_element(By.ID, "old").text, 20)
    assert driver.find_element(By.ID, "line.external_length").get_attribute("value") == "4 cm"


def violations(driver: WebDriver) -> list[str]:
    """Return what the accessibility checker finds in the page."""
    driver.execute_script(axe())
    found = driver.execute_async_script("const done = arguments[0]; axe.run().then(done)")
    return [f"{one['id']}: {one['nodes'][0]['html'][:200]}" for one in found["violations"]]


SIZES = [(LAPTOP, False), (PHONE, False), ((320, 700), False), (LAPTOP, True)]


@pytest.mark.parametrize(("screen", "dark"), SIZES, ids=["laptop", "phone", "narrow", "dark"])
def test_every_page_is_for_everybody(driver: WebDriver, tmp_path: Path, screen: tuple[int, int], dark: bool) -> None:
    """No violation of WCAG 2.2 A and AA that axe-core knows, and nothing to be scrolled sideways (1.4.10, Reflow: 320 px)."""
    size(driver, *screen, dark=dark)

    def look(what: str) -> None:
        assert violations(driver) == [], what
        wide = driver.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
        assert wide[0] <= wide[1], what

    house = WriteHome(tmp_path, file=None)
    with served_writing(house) as address:
        driver.get(address)
        look("begin")
        driver.find_element(By.ID, "lumens").send_keys("red, a lumen with an uncommonly long name for its label")
        driver.find_element(By.ID, "drug-1").send_keys("cefazolin")
        press(driver, "")
        type_into(driver, "line.idle_limit", "soon")
        settled(driver)
        look("much is missing")
        press(driver, "remove:order:cefazolin")
        look("taken out")
    sample(tmp_path)
    house = WriteHome(tmp_path)
    with served_writing(house) as address:
        driver.get(address)
        driver.execute_script("document.querySelectorAll('details').forEach((one) => (one.open = true))")
        type_into(driver, "line.idle_limit", "6 h")
        settled(driver)
        look("everything is open")
        press(driver, "save")
        look("reading back")
        press(driver, "read")
        look("not ticked")
        (tmp_path / "plan.toml").write_text("# theirs\n", encoding="utf-8")
        press(driver, "plain")
        look("changed on the disk")
        press(driver, "other")
        look("saved")
    house = WriteHome(tmp_path, "plan-2.toml")
    with served_writing(house) as address:
        driver.get(address)
        type_into(driver, "line.external_length", "4 cm")
        settled(driver)
    house.open()
    with served_writing(house) as address:
        driver.get(address)
        look("a draft is offered")
