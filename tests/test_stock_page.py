"""The page of supplies, the forms that say what came and what was counted, and their card on the page of now (R21, R27).

In a browser without scripts, and in a real one. The plan is that of ``test_stock.py``; all in it is invented.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from own_places import own_places
from page_browser import LAPTOP, PHONE, axe, chromium, complaints, served, size, until
from page_home import Home, browsing
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from test_page import tell, tell_all
from test_page_browser import CHECK, SMALL, WIDTH, button, says
from test_stock import PLAN, WEDNESDAYS

STOCKED = f"{PLAN}{WEDNESDAYS}"
CAME, COUNTED = "Record what came", "Record what I counted"


@pytest.fixture(autouse=True)
def _folders_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "places", monkeypatch)


def numbers(*values: str) -> dict[str, list[str]]:
    """Return the two items of the plan with a number each, as a form sends them."""
    return {"item": ["saline syringe", "heparin syringe"], "number": list(values)}


def test_the_page_says_what_is_left_how_long_it_lasts_and_when_to_order(tmp_path: Path) -> None:
    with browsing(Home(tmp_path, "06-05 12:00", STOCKED)) as browser:
        text = browser.open("supplies").text
    for part in (
        "Order today saline syringe",
        "Left 6",
        "Runs out Sun 7 Jun 22:00",
        "Last day to order Fri 5 Jun 2026",
        "To order 8, to last until the delivery of Wed 10 Jun 10:00",
        "Used since the count 14 (14 not recorded)",
        "Delivered since 0",
        "The delivery of Wed 3 Jun 2026 should have brought 14; how many came is not recorded.",
        "The next delivery is planned for Wed 10 Jun 2026, 10:00 CDT and should bring 14. What is left does not last until then.",
        "What a planned delivery should bring counts only once somebody says what came.",
    ):
        assert part in text
    assert text.index("saline syringe") < text.index("Enough heparin syringe"), "what presses stands first"


def test_a_delivery_that_brings_too_few_is_told(tmp_path: Path) -> None:
    """Ten on the 1st at 08:00; of the 28 that are used up to the 10th at 09:00, 18 are not there, and 14 should come on the 3rd."""
    with browsing(Home(tmp_path, "06-02 12:00", f"{STOCKED}[stock.saline]\non_hand = 10")) as browser:
        text = browser.open("supplies").text
    assert (
        "It brings 14; 18 are needed until the delivery after it, Wed 10 Jun 2026, 10:00 CDT. Tell whoever orders it."
        in text
    )


def test_a_plan_without_stock_shows_what_is_needed_only(tmp_path: Path) -> None:
    with browsing(Home(tmp_path, "06-05 12:00")) as browser:
        text = browser.open("supplies").text
    assert "What you have is not counted here: compare it with your shelf." in text
    assert "Left" not in text
    assert browser.buttons == []


def test_the_numbers_of_a_form_are_empty_and_what_should_come_stands_beside(tmp_path: Path) -> None:
    with browsing(Home(tmp_path, "06-03 12:00", STOCKED)) as browser:
        browser.open("supplies")
        sent = browser.find(CAME).fields
        assert [value for name, value in sent if name == "number"] == ["", ""]
        assert [value for name, value in sent if name == "item"] == ["saline syringe", "heparin syringe"]
        assert "saline syringe should be 14 heparin syringe When?" in browser.text
        assert "saline syringe 12 left, as reckoned heparin syringe 55 left, as reckoned When?" in browser.text


def test_a_short_delivery_is_recorded_answered_and_taken_back(tmp_path: Path) -> None:
    house = Home(tmp_path, "06-03 12:00", STOCKED)
    with browsing(house) as browser:
        browser.open("supplies")
        fields = dict(browser.find(CAME).fields)
        body = {**{name: [value] for name, value in fields.items()}, **numbers("12", ""), "by": ["Ina"]}
        browser.post("report", body)
        assert house.said() == [
            "06-03 12:00-0500 delivered by=Ina name=saline syringe count=12",
            "06-03 12:00-0500 task done by=Ina name=delivery",
        ]
        assert "saline syringe: 24 left." in browser.text
        browser.press("This was wrong: take it back")
        assert house.said() == []
        assert "saline syringe: 12 left." in browser.text


def test_a_form_sent_twice_is_one_report(tmp_path: Path) -> None:
    house = Home(tmp_path, "06-04 12:00", PLAN)
    with browsing(house) as browser:
        browser.open("supplies")
        fields = {name: [value] for name, value in browser.find(CAME).fields}
        for _time in range(2):
            browser.post("report", {**fields, **numbers("12", "7")})
        assert "This form was sent before." in browser.text
    assert [line.split("name=")[1] for line in house.said()] == ["saline syringe count=12", "heparin syringe count=7"]


def test_what_was_counted_an_hour_ago_stands_for_then(tmp_path: Path) -> None:
    house = Home(tmp_path, "06-05 12:30", STOCKED)
    with browsing(house) as browser:
        browser.open("supplies")
        fields = {name: [value] for name, value in browser.find(COUNTED).fields}
        browser.post("report", {**fields, **numbers("5", "0"), "when_clock": ["09:30"], "when_day": ["2026-06-05"]})
        assert house.said()[0] == "06-05 09:30-0500 stock counted name=saline syringe count=5"
        assert "saline syringe: 4 left." in browser.text, "one was used at 10:00"
        assert "2 fewer than reckoned (7)" in browser.text


@pytest.mark.parametrize(
    ("values", "fault"),
    [
        (("12x", ""), "saline syringe: write the count as a whole number, such as 12."),
        (("-3", ""), "saline syringe: write the count as a whole number, such as 12."),
        (("3.5", "4"), "saline syringe: write the count as a whole number, such as 12."),
        (("12", "1234567"), "heparin syringe: write the count as a whole number, such as 12."),
        (("", " "), "Write how many of at least one item."),
    ],
)
def test_what_is_no_number_is_told_at_its_place_and_nothing_is_lost(
    values: tuple[str, str], fault: str, tmp_path: Path
) -> None:
    house = Home(tmp_path, "06-04 12:00", PLAN)
    with browsing(house) as browser:
        browser.open("supplies")
        fields = {name: [value] for name, value in browser.find(CAME).fields}
        browser.post(
            "report", {**fields, **numbers(*values), "when_clock": ["09:30"], "when_day": ["2026-06-04"], "by": ["Ina"]}
        )
        assert browser.answer.status_code == 400
        assert fault in browser.text
        again = dict(browser.find(CAME).fields)
        assert (again["when_clock"], again["by"]) == ("09:30", "Ina")
        kept = [value for name, value in browser.find(CAME).fields if name == "number"]
        assert kept == [value.strip() for value in values]
        field = "delivered-2" if fault.startswith("heparin") else "delivered-1"
        assert f'href="#{field}"' in browser.html
        assert f'id="{field}"' in browser.html
        assert [value for name, value in browser.find(COUNTED).fields if name == "number"] == ["", ""]
        assert house.said() == []
        mended = {name: [value] for name, value in browser.find(CAME).fields}
        browser.post("report", {**mended, **numbers("12", "")})
        assert house.said() == ["06-04 09:30-0500 delivered by=Ina name=saline syringe count=12"]


def test_a_delivery_that_two_people_report_is_asked_about(tmp_path: Path) -> None:
    house = Home(tmp_path, "06-04 12:00", PLAN)
    tell(house, "delivered 12 saline syringe")
    house.move("06-04 12:30")
    with browsing(house) as browser:
        browser.open("supplies")
        fields = {name: [value] for name, value in browser.find(CAME).fields}
        browser.post("report", {**fields, **numbers("12", "7")})
        assert browser.answer.status_code == 409
        assert "12 × saline syringe were already reported as delivered" in browser.text
        assert len(house.said()) == 1
        first = browser.find("12 × saline syringe came besides.")
        body: dict[str, list[str]] = {}
        for name, value in first.fields:
            body.setdefault(name, []).append(value)
        browser.post(first.action, body)
    assert [line.split("name=")[1] for line in house.said()[1:]] == [
        "saline syringe count=12",
        "heparin syringe count=7",
    ]


def test_one_item_is_said_by_itself_and_asked_back(tmp_path: Path) -> None:
    house = Home(tmp_path, "06-04 12:00", PLAN)
    with browsing(house) as browser:
        browser.open("supplies").follow("Something else came").press("Record it", name="syringe", count="5")
        assert 'Which item is "syringe"?' in browser.text
        browser.press("heparin syringe")
        assert house.said() == ["06-04 12:00-0500 delivered name=heparin syringe count=5"]
        browser.open("other").follow("Supplies came").press("Record it", name="walking sticks", count="2")
        browser.press("None that the plan names: record it as said.")
    assert house.said()[1:] == ["06-04 12:00-0500 delivered name=walking sticks count=2"]


def test_a_delivery_that_is_done_asks_what_came(tmp_path: Path) -> None:
    house = Home(tmp_path, "06-03 12:00", STOCKED)
    with browsing(house) as browser:
        browser.open("other").press("Record it", words="task done delivery")
        assert "It should have brought 14 × saline syringe." in browser.text
        assert "delivered 14" not in browser.text, "nothing that is typed elsewhere"
        form = browser.find(CAME)
        assert [value for name, value in form.fields if name in ("item", "number")] == ["saline syringe", ""]
        browser.press(CAME, number="12")
        assert house.said()[-1] == "06-03 12:00-0500 delivered name=saline syringe count=12"


# --- The page of now ---


@pytest.mark.parametrize(
    ("clock", "told", "shown"),
    [
        ("06-01 08:00", (), ""),  # Friday is the last day to order, four days ahead
        ("06-02 08:00", (), "Order soon saline syringe 17 left, enough until Sun 7 Jun, 22:00. Last day to order: Fri 5 Jun."),
        ("06-05 08:00", (), "Order today saline syringe"),
        ("06-06 08:00", (), "Order now saline syringe"),
        ("06-07 10:30", (), "NOT ENOUGH saline syringe Not enough for the next time that it is needed. Ask the pharmacy now"),
        ("06-08 10:30", (), "Count again saline syringe Count what there is, and say so."),
        ("06-05 08:00", ("delivered 60 saline syringe",), ""),
        ("06-05 08:00", ("counted 60 saline syringe",), ""),
    ],
)  # fmt: skip
def test_the_page_of_now_says_what_must_be_ordered(
    clock: str, told: tuple[str, ...], shown: str, tmp_path: Path
) -> None:
    house = Home(tmp_path, clock, PLAN)
    tell_all(house, *told)
    with browsing(house) as browser:
        assert ("All supplies; say what came or what you counted" in browser.text) is bool(shown)
        assert shown in browser.text
        assert ("Supplies: saline syringe - " in browser.text) is (clock >= "06-05" and bool(shown))


def test_an_open_page_sees_that_it_is_time_to_order(tmp_path: Path) -> None:
    """A day later the card says something else; of a syringe fewer alone the page makes no fuss."""
    house = Home(tmp_path, "06-05 12:00", PLAN)
    with browsing(house) as browser:
        first = browser.open("state").answer.json()["shown"].split("-")[2]
        house.move("06-05 12:10")
        assert browser.open("state").answer.json()["shown"].split("-")[2] == first
        house.move("06-06 12:10")
        assert browser.open("state").answer.json()["shown"].split("-")[2] != first


# --- In a real browser ---


@pytest.fixture(name="driver", scope="module")
def _driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WebDriver]:
    driver = chromium(tmp_path_factory.mktemp("browser") / "profile")
    driver.set_page_load_timeout(20)
    yield driver
    driver.quit()


def test_what_came_is_written_with_the_keyboard(driver: WebDriver, tmp_path: Path) -> None:
    house = Home(tmp_path, "06-03 12:00", STOCKED)
    with served(house) as address:
        size(driver, *LAPTOP)
        driver.get(f"{address}supplies")
        driver.find_element(By.LINK_TEXT, "A delivery came").click()
        field = driver.find_element(By.ID, "delivered-1")
        field.send_keys("12", Keys.TAB, "3", Keys.ENTER)
        until(lambda: "/answer?" in driver.current_url)
        assert "saline syringe: 24 left." in says(driver)
        button(driver, "This was wrong: take it back").click()
        until(lambda: "Taken back" in says(driver))
    assert house.said() == []


def come_to_faults(driver: WebDriver, address: str) -> None:
    driver.get(f"{address}supplies")
    driver.find_element(By.ID, "delivered-1").send_keys("twelve")
    button(driver, CAME).click()
    until(lambda: driver.current_url.endswith("/report"))


def come_to_answer(driver: WebDriver, address: str) -> None:
    driver.get(f"{address}other")
    driver.find_element(By.ID, "words").send_keys("task done delivery")
    button(driver, "Record it").click()
    until(lambda: "/answer?" in driver.current_url)


SCENES: dict[str, tuple[str, str, Callable[[WebDriver, str], None]]] = {
    "supplies": (STOCKED, "06-05 12:00", lambda driver, address: driver.get(f"{address}supplies")),
    "run out": (STOCKED, "06-08 12:00", lambda driver, address: driver.get(f"{address}supplies")),
    "now": (STOCKED, "06-07 10:30", lambda driver, address: driver.get(address)),
    "faults": (STOCKED, "06-05 12:00", come_to_faults),
    "answer": (STOCKED, "06-03 12:00", come_to_answer),
}


@pytest.mark.parametrize("name", SCENES)
def test_the_pages_about_supplies_are_accessible(name: str, driver: WebDriver, tmp_path: Path) -> None:
    checker = axe()
    edits, clock, show = SCENES[name]
    for number, (width, height, dark) in enumerate(((*LAPTOP, False), (*PHONE, True))):
        (folder := tmp_path / str(number)).mkdir()
        house = Home(folder, clock, edits)
        with served(house) as address:
            size(driver, width, height, dark=dark)
            show(driver, address)
            driver.execute_script(checker)
            found: list[Any] = driver.execute_async_script(CHECK)
            assert found == [], f"{name}, {width} px{', dark' if dark else ''}"
            assert driver.execute_script(WIDTH) == [0, []], f"{name} is wider than {width} px"
            assert driver.execute_script(SMALL) == [], f"{name}, {width} px: too small to hit"
            size(driver, 320, 640)
            assert driver.execute_script(WIDTH) == [0, []], f"{name} is wider than 320 px"
            assert [line for line in complaints(driver) if "status of 4" not in line] == []
