"""When somebody is told what to order, and how what came and what was counted is said: worked out by hand (R13, R21, R26, R27).

The plan is that of ``test_stock.py``: a saline syringe at 09:00, 10:00 and 22:00 of each day from Monday 1 June 2026 on; 20 of
them last until Sunday 7 June, 22:00, and must be ordered by Friday 5 June. Nothing here is clinical, and all is invented.
"""

import random
from dataclasses import replace
from pathlib import Path

import pytest
import small_plans
from click.testing import CliRunner
from histories import after, at, record
from own_places import own_places
from test_stock import DRESSING, PLAN, WEDNESDAYS
from virtual_course import Course

from reminders.cli import main
from reminders.household import open_in_use
from reminders.record.facts import Record
from reminders.reminding.decide import decide
from reminders.reminding.matters import Sort
from reminders.reminding.moments import Stage, tellings
from reminders.reminding.orders import open_matters, order_matters
from reminders.reminding.outlook import following
from reminders.reminding.wording import LONGEST_BODY, LONGEST_TITLE, Text, text_of
from reminders.reporting import Reported, report_to, take_back
from reminders.saying.phrases import Said, Verb, said
from reminders.saying.which import AskBackError
from reminders.schedule.model import ENDLESS, Schedule
from reminders.schedule.stock import stock
from reminders.stock_words import lasts_words, left_words, short_stock_lines
from reminders.times import Instant
from reminders.views.due import due
from reminders.views.told import open_lines

NIGHT = '[household]\nquiet_hours = ["22:30-06:30"]\n'
BUSY = "[pop_up]\nahead = '15 min'\nagain_every = '10 min'\n"


def told(edits: str, lines: str = "", now: str = "06-04 12:00", item: str = "saline") -> list[str]:
    """Return when it is told that an item must be ordered: local times, ! where that is urgent, ( ) ahead of the last day."""
    schedule = after(f"{PLAN}{BUSY}{edits}", lines, now)
    found = [
        m
        for m in order_matters(schedule, record(lines), at(now))
        if m.stocked is not None and m.stocked.entry.name == item
    ]
    if not found:
        return []
    shown = []
    for telling in tellings(found[0], schedule.plan.pop_ups, schedule.quiet):
        moment = f"{schedule.plan.clock.local(telling.moment):%d %H:%M}{'!' if telling.urgent else ''}"
        shown.append(f"({moment})" if telling.stage is Stage.AHEAD else moment)
    return shown


TOLD = {
    # 22:00 of the 7th is not covered: at 10:00 of that day the last one is used, and ten minutes later it is urgent. A week
    # after it ran out, the reminders end.
    "the day before, on the last day, and each day after it": (
        "", "",
        ["(04 10:00)", "05 10:00", "06 10:00", "07 10:00", "07 10:10!", "08 10:00!", "09 10:00!", "10 10:00!", "11 10:00!",
         "12 10:00!", "13 10:00!", "14 10:00!"],
    ),
    "at the plan's time": ("[supplies]\nremind_at = '17:30'", "", ["(04 17:30)", "05 17:30", "06 17:30", "07 10:10!"]),
    # with four kept back it runs out on the 6th at 10:00; the four last until the 7th at 10:00
    "urgent only when the ones kept back are used up": (
        "[stock.saline]\nkept_back = 4", "",
        ["(03 10:00)", "04 10:00", "05 10:00", "06 10:00", "07 10:00", "07 10:10!"],
    ),
    # at 05:00 they sleep: told when the quiet hours end; what lacks from 22:00 on (with 21) too
    "never in the quiet hours": (
        "[household]\nquiet_hours = ['22:05-06:30']\n[supplies]\nremind_at = '05:00'\n[stock.saline]\non_hand = 21", "",
        ["(05 06:30)", "06 06:30", "07 06:30", "08 06:30!", "09 06:30!"],
    ),
    "not told where a delivery has mended it": ("", "06-04 11:00 delivered name=saline_syringe count=40", []),
    "told later where it has mended it for some days": (
        "", "06-04 11:00 delivered name=saline_syringe count=9", ["(07 10:00)", "08 10:00", "09 10:00", "10 10:00"],
    ),
    "told where a count says so": ("", "06-04 11:00 stock-counted name=saline_syringe count=6", ["(03 10:00)", "04 10:00", "05 10:00"]),
    # It lasts until Sunday, and is to be ordered two days before: the delivery of Wednesday the 10th comes too late.
    "each day although a delivery is planned that comes too late": (
        WEDNESDAYS, "", ["(04 10:00)", "05 10:00", "06 10:00", "07 10:00", "07 10:10!"],
    ),
    # 32 last until Thursday the 11th at 22:00, and with five days of lead are to be ordered by the 6th. The delivery of the
    # 10th comes in time: nobody is told again each day, until that day is over without a word of what came.
    "not each day while a delivery is awaited that comes in time": (
        f"{WEDNESDAYS}[stock.saline]\norder_ahead = '5 days'", "06-03 10:30 delivered name=saline_syringe count=12",
        ["(05 10:00)", "06 10:00", "11 10:00", "11 10:10!", "12 10:00!"],
    ),
    "nothing where the line is out": ("", "06-04 11:30 line-removed", []),
    "nothing in hospital": ("", "06-04 11:30 held", []),
    "a household that does not record is told too": (
        "[plan]\nhousehold_records = false", "", ["(04 10:00)", "05 10:00", "06 10:00", "07 10:00", "07 10:10!"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", TOLD)
def test_when_it_is_told_what_to_order(name: str) -> None:
    edits, lines, expected = TOLD[name]
    shown = told(edits, lines)
    assert shown[: len(expected)] == expected
    assert bool(shown) is bool(expected)


def test_the_reminders_of_an_item_come_to_an_end() -> None:
    """A week after it ran out, as reckoned, only the page still says so."""
    shown = told("")
    assert shown[-1] == "14 10:00!"
    assert len(shown) == 12


def test_a_weekly_item_is_urgent_only_once_an_order_comes_too_late() -> None:
    """The only kit is used on 5 June at 18:00, the next one is needed on the 12th at 18:00; two days before that is the 10th."""
    assert told(DRESSING, item="kit") == [
        "(09 10:00)", "10 10:00", "10 18:10!", "11 10:00!", "12 10:00!", *(f"{day} 10:00!" for day in range(13, 20)),
    ]  # fmt: skip


# --- In which words ---


def pop_ups(edits: str, lines: str, now: str) -> list[tuple[Text, bool]]:
    """Return what is told of supplies at a moment if nothing was told before, and whether it is urgent."""
    schedule = after(f"{PLAN}{BUSY}{edits}", lines, now)
    decision = decide(schedule, {}, at(now), record=record(lines))
    notices = [n for n in decision.notices if n.items[0].matter.sort is Sort.ORDER]
    return [(text_of(n, schedule, at(now)), n.urgent) for n in notices]


AWAITED = f"{WEDNESDAYS}[stock.saline]\norder_ahead = '5 days'"

WORDS = {
    "some of what is left is kept back": (
        "[stock.saline]\nkept_back = 4", "", "06-03 10:00", "Order by tomorrow: saline syringe",
        ["13 left, 4 of them kept back; enough without those until Sat 6 Jun, 10:00."],
    ),
    "tomorrow": ("", "", "06-04 10:00", "Order by tomorrow: saline syringe", ["10 left, enough until Sun 7 Jun, 22:00.", "Last day to order: Fri 5 Jun."]),
    "today": ("", "", "06-05 10:00", "Order today: saline syringe", ["7 left", "Order from Fennimore Vale Home Infusion"]),
    "late": ("", "", "06-06 10:00", "Order now: saline syringe", ["The last day to order was Fri 5 Jun."]),
    "lacking": ("", "", "06-07 10:10", "ASK THE PHARMACY NOW: saline syringe", ["0 left", "Ask the pharmacy now, or call On-call nurse, Fennimore Vale, 555-0142."]),
    "more used than there was": ("", "", "06-08 10:00", "Count now: saline syringe", ["Count what there is, and say so."]),
    "a delivery in time": (AWAITED, "06-03 10:30 delivered name=saline_syringe count=12", "06-06 10:00", "Is it ordered? saline syringe",
                           ["16 left", "The delivery of Wed 10 Jun should bring 14."]),
    "a delivery of which nobody spoke": (WEDNESDAYS, "", "06-05 10:00", "Order today: saline syringe",
                                         ["The delivery of Wed 3 Jun should have brought 14: what came?"]),
}  # fmt: skip


@pytest.mark.parametrize("name", WORDS)
def test_the_words_of_a_pop_up(name: str) -> None:
    edits, lines, now, title, parts = WORDS[name]
    ((text, _urgent),) = pop_ups(edits, lines, now)
    assert text.title == title
    for part in parts:
        assert part in text.body
    for never in ("reuse", "use it again", "skip", "leave it out", "make do"):
        assert never not in text.body.casefold(), "nobody is told to make do"


def test_several_items_are_told_together_the_worst_first() -> None:
    edits = "[stock.heparin]\non_hand = 7\n[stock.saline]\non_hand = 18"
    ((text, urgent),) = pop_ups(edits, "", "06-04 10:10")
    assert urgent
    assert text.title == "ASK THE PHARMACY NOW: heparin syringe, and 1 more"
    assert text.body.index("heparin syringe: 0 left") < text.body.index(
        "saline syringe: 7 left, enough until Sun 7 Jun, 09:00"
    )
    ((calm, urgent),) = pop_ups("[stock.heparin]\non_hand = 12", "", "06-05 10:00")
    assert (calm.title, urgent) == ("2 items to order", False)


@pytest.mark.parametrize("edits", ['[calendar]\nreveals = "nothing at all"', "[pop_up]\ndiscreet = true"])
def test_a_discreet_pop_up_about_supplies_tells_a_stranger_nothing(edits: str) -> None:
    for now in ("06-04 10:00", "06-05 10:00", "06-07 10:10", "06-08 10:00"):
        ((text, _urgent),) = pop_ups(edits, "", now)
        assert text.title.startswith("Reminder")
        assert text.body == f"{now[6:]} CDT.\nSee your page."


def test_texts_about_supplies_fit_every_system_even_with_the_longest_names() -> None:
    long = f"""[protocol]
    provider = "{"p" * 60}"
    [call.now]
    who = "{"w" * 60}"
    phone = "{"5" * 60}"
    [fluid.saline]
    syringe = "{"s" * 60}"
    [fluid.heparin]
    syringe = "{"h" * 60}"
    [stock.saline]
    item = "{"s" * 60}"
    [stock.heparin]
    item = "{"h" * 60}"
    on_hand = 12
    """
    for now in ("06-04 10:00", "06-05 10:00", "06-07 10:10", "06-08 10:00"):
        for text, _urgent in pop_ups(long, "", now):
            assert len(text.title.encode("utf-16-le")) // 2 <= LONGEST_TITLE
            assert len(text.body.encode("utf-16-le")) // 2 <= LONGEST_BODY
            assert "555" in text.body or "Order from" in text.body


# --- What is told now ---


def shown_at(schedule: Schedule, facts: Record, now: str, before: dict[str, Instant]) -> list[str]:
    decision = decide(schedule, before, at(now), record=facts)
    for notice in decision.notices:
        before.update({item.matter.key: item.telling.moment for item in notice.items})
    return [text_of(n, schedule, at(now)).title for n in decision.notices if n.items[0].matter.sort is Sort.ORDER]


def test_each_telling_is_told_once() -> None:
    schedule, before = after(f"{PLAN}{BUSY}", "", "06-04 12:00"), dict[str, Instant]()
    days = [(f"06-0{day} {clock}") for day in range(3, 7) for clock in ("09:59", "10:00", "10:05", "15:00")]
    said_when = [(now, title) for now in days for title in shown_at(schedule, record(""), now, before)]
    assert said_when == [
        ("06-04 10:00", "Order by tomorrow: saline syringe"),
        ("06-05 10:00", "Order today: saline syringe"),
        ("06-06 10:00", "Order now: saline syringe"),
    ]


def test_a_last_day_that_comes_nearer_is_told_anew() -> None:
    """Told on Thursday as of tomorrow; at noon a count says that it is today."""
    before = dict[str, Instant]()
    schedule = after(f"{PLAN}{BUSY}", "", "06-04 10:00")
    assert shown_at(schedule, record(""), "06-04 10:00", before) == ["Order by tomorrow: saline syringe"]
    counted = record("06-04 12:00 stock-counted name=saline_syringe count=6")
    assert shown_at(schedule, counted, "06-04 12:01", before) == ["Order today: saline syringe"]
    assert shown_at(schedule, counted, "06-04 18:00", before) == []


def test_who_starts_the_computer_at_night_is_told_in_the_morning() -> None:
    """Two a day: 14 last until the 8th at 09:00, so they are to be ordered by the 5th."""
    two_a_day = "[plan]\nhousehold_records = false\n[lumen.red]\nidle_limit = '30 days'\n[stock.saline]\non_hand = 14\n"
    schedule = after(f"{PLAN}{BUSY}{NIGHT}{two_a_day}", "", "06-05 23:00")
    decision = decide(schedule, {}, at("06-05 23:00"), record=record(""))
    assert not [n for n in decision.notices if n.items[0].matter.sort is Sort.ORDER]
    assert decision.next_moment == at("06-06 06:30")
    assert shown_at(schedule, record(""), "06-06 06:30", {}) == ["Order now: saline syringe"]


def test_supplies_are_a_pop_up_of_their_own() -> None:
    """At 10:00 the finish is due as well; "were they done?" is asked of that alone."""
    schedule = after(f"{PLAN}{BUSY}", "", "06-05 10:00")
    notices = decide(schedule, {}, at("06-05 10:00"), record=record("")).notices
    sorts = [{item.matter.sort is Sort.ORDER for item in notice.items} for notice in notices]
    assert {True} in sorts
    assert all(len(kinds) == 1 for kinds in sorts)


def test_the_outlook_and_the_list_of_what_waits_have_it() -> None:
    schedule = after(f"{PLAN}{BUSY}", "", "06-05 12:00")
    coming = [words for _at, words in following(schedule, at("06-04 08:00"), at("06-05 12:00"), record(""))]
    assert "Order by tomorrow: saline syringe" in coming
    assert "Order today: saline syringe" in coming
    lines = [line for line in open_lines(schedule, at("06-05 12:00"), record("")) if "saline" in line]
    assert lines == ["10:00 CDT  Order today: saline syringe; told again at Sat 6 Jun 2026, 10:00 CDT."]
    said_due = due(schedule, at("06-05 12:00"), stocked=stock(schedule, record(""), at("06-05 12:00")))
    assert "Supplies\n  saline syringe: 6 left (Order today). Runs out Sun 7 Jun 2026, 22:00 CDT." in said_due


def test_without_stock_nothing_is_told_of_it() -> None:
    bare = PLAN[: PLAN.index("[supplies]")]
    schedule = after(bare, "", "06-05 12:00")
    assert order_matters(schedule, record(""), at("06-05 12:00")) == []
    assert "Supplies" not in due(schedule, at("06-05 12:00"), stocked=stock(schedule, record(""), at("06-05 12:00")))
    gone = after(f"{PLAN}{BUSY}", "06-01 08:30 line-removed", "06-05 12:00")
    assert open_matters(gone, record("06-01 08:30 line-removed"), at("06-05 12:00")) == []


# --- What is said ---


class House:
    """A household in a folder: what is said to the command, and what it answers."""

    def __init__(self, folder: Path, edits: str) -> None:
        self.path = folder / "plan.toml"
        self.path.write_text(small_plans.plan_text(f"{PLAN}{edits}"), encoding="utf-8")
        self.household = open_in_use(self.path, at("06-01 08:00"))
        self.number = 0

    def tell(self, words: str | Said, now: str = "06-04 12:00", **more: object) -> Reported:
        self.number += 1
        meant = said(words.split(), self.household.plan) if isinstance(words, str) else words
        meant = replace(meant, **more)  # type: ignore[arg-type]  # names of its fields
        found = report_to(self.household, meant, f"report-{self.number}", at(now))
        self.household = found.household
        return found

    def asked(self, words: str, now: str = "06-04 12:00", **more: object) -> AskBackError:
        with pytest.raises(AskBackError) as caught:
            self.tell(words, now, **more)
        return caught.value

    @property
    def facts(self) -> list[tuple[str, str, int | None]]:
        return [(f.kind.value, f.name, f.count) for f in self.household.record.facts if f.name]


@pytest.fixture(name="house")
def _house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    own_places(tmp_path / "places", monkeypatch)
    return House(tmp_path, f"{WEDNESDAYS}[supplies]\neach_touch = {{ 'pair of gloves' = 1 }}\n")


@pytest.mark.parametrize(
    ("words", "kind", "name", "count"),
    [
        ("delivered 40 saline syringe", "delivered", "saline syringe", 40),
        ("arrived 40 Saline Syringe", "delivered", "saline syringe", 40),
        ("delivered 40 salinesyringe", "delivered", "saline syringe", 40),
        ("delivered 40 SALINE", "delivered", "saline syringe", 40),
        ("counted 12 hep", "stock counted", "heparin syringe", 12),
        ("counted 0 saline syringe", "stock counted", "saline syringe", 0),
        ("delivered 0 saline syringe 20 min ago", "delivered", "saline syringe", 0),
        ("stock counted 12 pair of gloves 9:40", "stock counted", "pair of gloves", 12),
    ],
)
def test_items_are_found_however_they_are_written(words: str, kind: str, name: str, count: int, house: House) -> None:
    house.tell(words, "06-02 12:00")
    assert house.facts == [(kind, name, count)]


def test_an_item_that_ends_in_a_number_is_no_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "places", monkeypatch)
    house = House(tmp_path, "[supplies]\neach_touch = { 'needle 22' = 1 }\n")
    house.tell("counted 5 needle 22", "06-04 12:00")
    house.tell("counted 6 needle 22 9:40", "06-04 12:00")
    times = [f.happened for f in house.household.record.facts if f.name == "needle 22"]
    assert times == [at("06-04 12:00"), at("06-04 09:40")]


def test_what_is_unclear_is_asked_back_and_nothing_is_refused(house: House) -> None:
    question = house.asked("counted 3 syringe")
    assert [choice.words for choice in question.choices[:-1]] == ["saline syringe", "heparin syringe"]
    house.tell("counted 3 syringe", **question.choices[1].changes)
    assert house.facts == [("stock counted", "heparin syringe", 3)]
    unknown = house.asked("delivered 3 walking sticks")
    assert unknown.problem == 'The plan names no item like "walking sticks".'
    answer = house.tell("delivered 3 walking sticks", **unknown.choices[-1].changes).answer
    assert house.facts[-1] == ("delivered", "walking sticks", 3)
    assert answer[0] == "The plan keeps no stock of walking sticks: nothing is reckoned from it."
    misspelt = house.asked("delivered 3 glovs")
    assert misspelt.choices[0].changes == {"name": "pair of gloves"}


def test_a_plan_without_stock_asks_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "places", monkeypatch)
    house = House(tmp_path, "")
    house.path.write_text(small_plans.plan_text(PLAN[: PLAN.index("[supplies]")]), encoding="utf-8")
    house.household = open_in_use(house.path, at("06-01 08:00"))
    assert house.tell("counted 3 gloves").answer == ("Nothing changes ahead.",)
    assert house.facts == [("stock counted", "gloves", 3)]


def test_a_count_says_how_far_it_is_from_what_was_reckoned(house: House) -> None:
    fewer = house.tell("counted 6 saline syringe").answer
    assert fewer[0] == "saline syringe: 3 fewer than reckoned (9). From now on your count stands."
    assert fewer[1].startswith(
        "saline syringe: 6 left. Runs out Sat 6 Jun 2026, 22:00 CDT. Last day to order: Thu 4 Jun 2026."
    )
    assert (
        house.tell("counted 6 saline syringe", "06-04 12:10").answer[0] == "saline syringe: just as many as reckoned."
    )
    assert (
        house.tell("counted 9 saline syringe", "06-04 12:20")
        .answer[0]
        .startswith("saline syringe: 3 more than reckoned (6).")
    )
    none = house.tell("counted 0 saline syringe", "06-04 12:30").answer
    # the next is needed at 22:00, and an order takes two days
    assert "Ask the pharmacy now, or call On-call nurse, Fennimore Vale, 555-0142." in none[1]


def test_a_delivery_that_two_people_report_is_asked_about(house: House) -> None:
    house.tell("delivered 14 saline syringe", "06-03 10:30", by="Ana")
    question = house.asked("delivered 14 saline syringe", "06-03 11:00")
    assert (
        question.problem
        == "14 × saline syringe were already reported as delivered by Ana, at Wed 3 Jun 2026, 10:30 CDT."
    )
    assert question.choices[0].settles
    house.tell("delivered 14 saline syringe", "06-03 11:00", **question.choices[1].changes)
    assert [fact[2] for fact in house.facts if fact[0] == "delivered"] == [14, 14]
    house.tell("delivered 14 saline syringe", "06-04 11:00")  # on another day it is another one
    assert not house.tell("delivered 14 saline syringe", "06-04 11:00", again=True).facts, "the same report, sent twice"


def test_what_came_says_that_the_delivery_is_done(house: House) -> None:
    found = house.tell("delivered 12 saline syringe", "06-03 10:30")
    assert house.facts == [("delivered", "saline syringe", 12), ("task done", "delivery", None)]
    assert found.recorded[0] == "Wed 3 Jun 2026, 10:30 CDT: delivered: 12 × saline syringe."
    assert any("The next delivery is planned for Wed 10 Jun 2026, 10:00 CDT" in line for line in found.answer)
    house.tell("delivered 3 saline syringe", "06-05 10:30")  # none is due then
    assert len(house.facts) == 3


def test_a_delivery_that_is_done_says_what_it_should_have_brought(house: House) -> None:
    answer = house.tell("task done delivery", "06-03 10:30").answer
    assert answer[0].startswith(
        "It should have brought 14 × saline syringe. What a planned delivery should bring counts only"
    )
    assert answer[1] == "  for example  delivered 14 saline syringe"
    kept = stock(house.household.schedule(at("06-03 10:31")), house.household.record, at("06-03 10:31"))[0]
    assert kept.delivered == 0
    assert house.tell("delivered 12 saline syringe", "06-03 10:40").facts
    once_more = Said(verb=Verb.TASK_DONE, name="delivery", again=True)
    assert not any("should have brought" in line for line in house.tell(once_more, "06-03 11:30").answer)


def test_a_count_and_a_delivery_in_one_minute_say_in_which_order_they_are_read(house: House) -> None:
    house.tell("delivered 14 saline syringe", "06-03 10:30")
    answer = house.tell("counted 8 saline syringe", "06-03 10:30").answer
    assert any("the 14 delivered are added to the 8 counted" in line for line in answer)
    assert stock(house.household.schedule(at("06-03 10:31")), house.household.record, at("06-03 10:31"))[0].left == 22


def test_what_is_taken_back_says_what_is_left_without_it(house: House) -> None:
    found = house.tell("delivered 14 saline syringe", "06-04 12:00")
    back = take_back(house.household, found.facts[0].report, "", at("06-04 12:05"))
    assert back.answer[0].startswith("saline syringe: 9 left. Runs out Sun 7 Jun 2026, 22:00 CDT.")


def test_several_items_are_one_report(house: House) -> None:
    both = Said(verb=Verb.DELIVERED, items=(("saline syringe", 12), ("heparin syringe", 0)))
    found = house.tell(both, "06-03 10:30")
    assert len({fact.report for fact in found.facts}) == 1
    assert house.facts == [
        ("delivered", "saline syringe", 12), ("delivered", "heparin syringe", 0), ("task done", "delivery", None),
    ]  # fmt: skip


# --- The daemon ---


def test_the_daemon_tells_it_from_what_is_recorded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A week and a half on a virtual clock: told on the 4th and the 5th; eight come late on the 6th, which last until the
    10th at 10:00, and are ordered again by the 8th; on the 8th 40 come, and nothing more is told."""
    own_places(tmp_path / "places", monkeypatch)
    path = tmp_path / "plan.toml"
    path.write_text(small_plans.plan_text(f"{PLAN}{BUSY}[plan]\nhousehold_records = false\n"), encoding="utf-8")
    course = Course(path, tmp_path / "journal.sqlite3", random.Random(1), at("06-01 08:00") * 60.0)
    course.tick()
    course.go_to(at("06-06 09:00") * 60.0)
    assert course.report(Verb.DELIVERED, name="saline syringe", count=8, flushed=False)  # type: ignore[arg-type]
    course.go_to(at("06-08 11:00") * 60.0)
    assert course.report(Verb.DELIVERED, name="saline syringe", count=40, flushed=False)  # type: ignore[arg-type]
    course.go_to(at("06-15 08:00") * 60.0)
    clock = course.schedule.plan.clock
    supplies = [
        f"{clock.local(Instant(int(shown.at // 60))):%d %H:%M} {shown.popup.title}"
        for shown in course.shown
        if "saline" in shown.popup.title
    ]
    assert supplies == [
        "04 10:00 Order by tomorrow: saline syringe",
        "05 10:00 Order today: saline syringe",
        "07 10:00 Order by tomorrow: saline syringe",
        "08 10:00 Order today: saline syringe",
    ]
    assert decide(course.schedule, {}, at("06-15 08:01"), record=course.keeper.household.record).next_moment == ENDLESS


# --- The commands ---


def run(*arguments: str) -> str:
    done = CliRunner().invoke(main, list(arguments))
    assert done.exit_code == (1 if arguments[0] == "status" else 0), done.output  # no daemon runs
    return done.output


def test_the_commands_say_it_of_the_plan_in_use(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "places", monkeypatch)
    path = tmp_path / "plan.toml"
    path.write_text(small_plans.plan_text(f"{PLAN}{BUSY}"), encoding="utf-8")
    run("use", str(path), "--now", "2026-06-01 08:00-05:00")
    noon = ("--now", "2026-06-05 12:00-05:00")
    assert "  saline syringe: 6 left (Order today)\n    Runs out Sun 7 Jun 2026, 22:00 CDT." in run("supplies", *noon)
    assert "saline syringe: 6 left (Order today)" in run("due", *noon)
    assert "10:00 CDT  Order today: saline syringe; told again at Sat 6 Jun 2026, 10:00 CDT." in run("status", *noon)
    recorded = run("record", "delivered", "40", "saline", *noon)
    assert "Recorded: Fri 5 Jun 2026, 12:00 CDT: delivered: 40 × saline syringe." in recorded
    assert "saline syringe: 46 left. Enough as far as the plan goes." in recorded
    for command in ("supplies", "due", "status"):
        assert "Order today" not in run(command, *noon)
    assert "delivered: 40 × saline syringe" in run("history", *noon)
    assert "saline syringe: 6 left." in run("undo", *noon)
    assert "Order today: saline syringe" in run("status", *noon)


def test_a_question_back_says_how_to_answer_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "places", monkeypatch)
    path = tmp_path / "plan.toml"
    path.write_text(small_plans.plan_text(PLAN), encoding="utf-8")
    noon = ("--now", "2026-06-05 12:00-05:00")
    asked = CliRunner().invoke(main, ["record", str(path), "counted", "5", "syringe", *noon])
    assert asked.exit_code == 1
    assert '(add:  --item "heparin syringe" )' in asked.output
    run("record", str(path), "counted", "5", "syringe", "--item", "heparin syringe", *noon)
    assert "heparin syringe: 5 left" in run("supplies", str(path), *noon)


@pytest.mark.parametrize(
    ("on_hand", "kept", "line", "at_a_glance"),
    [
        (15, 4, "4 left, all kept back. More is needed 22:00", "4 left, all kept back; more is needed Thu 4 Jun, 22:00."),
        (12, 1, "1 left, which is kept back. More is needed", "1 left, which is kept back; more is needed Thu 4 Jun, 22:00."),
        (
            16, 4, "5 left, 4 of them kept back. Lasts until Fri",
            "5 left, 4 of them kept back; enough without those until Fri 5 Jun, 09:00.",
        ),
        (12, 0, "1 left. Runs out", "1 left, enough until Fri 5 Jun, 09:00."),
    ],
)  # fmt: skip
def test_what_is_kept_back_is_told_apart_from_what_is_left(
    on_hand: int, kept: int, line: str, at_a_glance: str
) -> None:
    now = at("06-04 12:00")
    schedule = after(f"{PLAN}[stock.saline]\non_hand = {on_hand}\nkept_back = {kept}\n", "", "06-04 12:00")
    found = stock(schedule, record(""), now)[0]
    assert f"{left_words(found)}. {lasts_words(found, schedule.plan, now)}".startswith(line)
    assert short_stock_lines(found, schedule.plan, now)[0] == at_a_glance


def test_what_comes_hours_before_the_delivery_is_said_to_be_taken_for_it(tmp_path: Path) -> None:
    taken = "This is taken for the delivery planned for 10:00 CDT, which is not asked for any more."
    (tmp_path / "in time").mkdir()
    early = House(tmp_path, WEDNESDAYS).tell("delivered 14 saline syringe", "06-03 07:30").answer
    assert any(line.startswith(taken) for line in early)
    in_time = House(tmp_path / "in time", WEDNESDAYS).tell("delivered 14 saline syringe", "06-03 09:40").answer
    assert not any("taken for" in line for line in in_time)
