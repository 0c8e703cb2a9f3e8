"""What is published as the record grows, judged by phones of the tests' own that take in file after file (R14, R23-R27).

A phone gets only files. If it applies them by the rules of RFC 5546 it must end with what the newest one shows, whatever
it missed and in whatever order they came. The numbers of an event rise where it says something else, and only there.
"""

import os
import random
import re
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import combinations, pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from applying import Importer, Shown, Subscriber, calendar, events, live
from click.testing import CliRunner, Result
from histories import at, fact
from history_strategies import History, histories
from hypothesis import HealthCheck, Phase, given, settings
from readers.readers import Reader, ask_libical, read_with_icalendar, read_with_libical
from readers.samples import SAMPLE_PLANS, Sample, at_minute
from simulation import Values
from small_plans import plan_text
from strategies import toml_text
from test_care_made_up import cared_for

import reminders.publishing
from reminders.cli import main
from reminders.examine import examine
from reminders.files import FileError, write_files
from reminders.findings import has_errors
from reminders.household import Household, add_facts, open_household, put_in_use
from reminders.plan.model import Plan
from reminders.record.facts import EMPTY, Fact, Kind, Record, withdrawal
from reminders.record.lines import export, read_export
from reminders.record.store import RecordError, Store
from reminders.times import Instant
from reminders.views.calendar import LARGEST_FILE

# Plans. All are invented; clock times are Chicago's, all is in June 2026.

LUMENS = """
[household]
quiet_hours = ["22:00-07:00"]
[lumen.red]
last_flushed = "2026-06-01 08:00"
[lumen.blue]
last_flushed = "2026-06-01 08:00"
"""

DAILY = """
[order.velmorin]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-07
duration = "60 min"
"""

TWO = LUMENS + DAILY
"""Red: velmorin at 09:00 for an hour, on time within an hour, cut off at 13:00. Blue: no orders."""

EIGHT = f"""
{LUMENS}
[order.velmorin]
every = "8 h"
first_dose = "2026-06-01 14:00"
last_day = 2026-06-07
duration = "60 min"
least_spacing = "6 h"
"""
"""Red: velmorin every 8 h from 14:00 on, at least 6 h apart."""

BUSY = f"""
{TWO}
[lumen.green]
last_flushed = "2026-06-01 08:00"
[lumen.white]
last_flushed = "2026-06-01 08:00"
[order.brineol]
lumen = "green"
continuous = true
first_dose = "2026-06-01 09:00"
until_removal = true
bag_every = "24 h"
bag_flush = []
[order.quillon]
lumen = "white"
given_as = "push"
clock_times = ["09:00", "21:00"]
first_dose = "2026-06-01 09:00"
until_removal = true
duration = "5 min"
"""
"""As before, and in green a continuous infusion with its bags, in white a push twice a day."""


LABS = """
[protocol]
after_draw = ["saline 20 mL"]
[task.labs]
kind = "blood draw"
label = "Labs"
done_by = "household"
weekdays = ["Wed", "Fri"]
at = "15:00"
lumen = "red"
"""

CARED = f"""
{TWO}
{LABS}
[task.dressing]
kind = "dressing"
label = "Change the dressing"
done_by = "nurse"
every_days = 2
at = "10:00"
last_done = "2026-05-31 10:00"
takes = "40 min"
[task.bag_out]
kind = "out of the refrigerator"
label = "Take velmorin out"
done_by = "household"
order = "velmorin"
before_dose = "2 h"
on_time_within = "30 min"
[task.van]
kind = "delivery"
label = "Delivery"
done_by = "pharmacy"
moments = ["2026-06-04 14:00"]
brings = {{ "saline syringe" = 40 }}
"""
"""As before, with care tasks: the dressing on 2, 4 and 6 June at 10:00, the bag out at 7:00, a draw through red on 3 and
5 June at 15:00, a delivery on the 4th at 14:00."""

FROM_A_VEIN = "[task.labs]\nwithout lumen\n"

AT_ONE = '[order.velmorin]\nclock_times = ["13:00"]\nfirst_dose = "2026-06-01 13:00"\n'
"""Velmorin at 13:00 instead."""


def revised(edits: str, number: int, takes_effect: str, more: str = "") -> str:
    """Return edits as a later revision, with some more."""
    return f'{edits}\n[plan]\nrevision = {number}\ntakes_effect = "2026-{takes_effect}"\n{more}'


def dose(day: str, order: str = "velmorin", clock: str = "09:00") -> str:
    """Say which dose a fact is about."""
    return f"order={order} dose=2026-{day}T{clock}"


# A household: a plan's file, its record beside it, and the calendars that it writes again and again


@dataclass
class House:
    """One household's folder. Facts are numbered as they come."""

    folder: Path
    count: int = 0

    @property
    def plan_file(self) -> Path:
        """Return where the plan is."""
        return self.folder / "plan.toml"

    def opened(self, now: Instant) -> Household:
        """Read plan and record as of ``now``."""
        return open_household(self.plan_file, now)

    def says(self, now: str, lines: str) -> None:
        """Record what some lines say; ``undo`` takes back the last report, ``use`` puts the plan at hand in use."""
        for line in filter(None, map(str.strip, lines.splitlines())):
            self.count += 1
            self.adds(at(now), _facts_of(line, self.count, at(now)))

    def adds(self, now: Instant, make: Callable[[Household], Iterable[Fact]]) -> None:
        """Record facts."""
        add_facts(self.opened(now), lambda current: tuple(make(current)), now)

    def revises(self, now: str, edits: str) -> None:
        """Write a new revision of the plan and put it in use."""
        self.plan_file.write_text(plan_text(edits))
        self.says(now, "use")

    def writes(self, now: str, out: str = "out", **wanted: Any) -> dict[str, bytes]:
        """Write calendars that are asked for anew; return their contents by name."""
        _, written = reminders.publishing.publish(
            self.opened(at(now)), reminders.publishing.Wanted(self.folder / out, "plan", **wanted), at(now)
        )
        return {entry.place.name: entry.calendar.content for entry in written}

    def again(self, now: str) -> list[str]:
        """Write again what was written before; return what was in the way."""
        return reminders.publishing.publish_again(self.opened(at(now)), at(now))[2]

    def file(self, name: str = "plan.ics", out: str = "out") -> bytes:
        """Return a calendar as it stands on the disk."""
        return (self.folder / out / name).read_bytes()

    def record(self) -> Record:
        """Return all that is recorded."""
        return self.opened(at("06-01 08:00")).record

    @property
    def publications(self) -> list[Fact]:
        """Return the facts that say what calendars showed."""
        return [told for told in self.record().facts if told.kind is Kind.PUBLISHED]


def _facts_of(line: str, number: int, now: Instant) -> Callable[[Household], tuple[Fact, ...]]:
    if line == "use":
        return lambda current: put_in_use(current, now)
    if line == "undo":
        return lambda current: withdrawal(current.record, str(current.record.last_report), now)
    return lambda current: (fact(line, number),)


def house(folder: Path, edits: str = TWO) -> House:
    """Return a household with a plan and no record."""
    folder.mkdir(parents=True, exist_ok=True)
    made = House(folder)
    made.plan_file.write_text(plan_text(edits))
    return made


ENDS = "This calendar ends here"
"""How the event is titled that says that a calendar ends."""


# Lives: what was recorded, step by step. After each step all calendars are written again.


@dataclass(frozen=True)
class Life:
    """A plan and the steps of its life: when, what is recorded then, and the revision that is put in use, if any."""

    edits: str
    steps: tuple[tuple[str, str] | tuple[str, str, str], ...]


LIVES = {
    "in time, late, and finished without a flush": Life(
        TWO,
        (
            ("06-01 09:05", f"06-01 09:05 started {dose('06-01')}"),
            ("06-01 10:10", f"06-01 10:10 finished {dose('06-01')}\n06-01 10:10 flushed lumen=red"),
            ("06-01 21:00", "06-01 20:55 flushed lumen=blue"),
            ("06-02 11:40", f"06-02 11:30 started {dose('06-02')}"),
            ("06-02 12:50", f"06-02 12:45 finished {dose('06-02')}"),
            ("06-02 13:20", "06-02 13:15 flushed lumen=red"),
        ),
    ),
    "not given, delayed, skipped, given after all": Life(
        TWO,
        (
            ("06-01 12:00", f"06-01 12:00 not-given {dose('06-01')}"),
            ("06-02 08:30", f"06-02 08:30 delayed {dose('06-02')} until=06-02T15:00"),
            ("06-02 15:10", f"06-02 15:05 started {dose('06-02')}"),
            ("06-02 20:00", f"06-02 20:00 skipped {dose('06-03')}"),
            ("06-03 09:30", f"06-03 09:10 started {dose('06-03')}"),
            ("06-03 12:00", "undo"),
        ),
    ),
    "away, and home again": Life(
        TWO,
        (
            ("06-02 12:00", "06-02 12:00 held"),
            ("06-04 08:00", ""),
            ("06-05 10:00", "06-05 10:00 released\n06-05 09:30 flushed lumen=red\n06-05 09:30 flushed lumen=blue"),
            ("06-05 11:00", "undo"),
        ),
    ),
    "pain, a lumen that will not flush, releases": Life(
        BUSY,
        (
            ("06-01 12:00", "06-01 12:00 problem lumen=red sign=pain"),
            ("06-01 13:00", "06-01 12:30 problem lumen=blue sign=will_not_flush"),
            ("06-02 09:00", "06-02 08:30 released lumen=red\n06-02 08:40 flushed lumen=red"),
            ("06-02 10:00", "06-02 09:30 lumen-out-of-use lumen=white"),
            ("06-03 09:00", "06-03 08:30 released\n06-03 08:35 flushed lumen=blue"),
        ),
    ),
    "other times, and the old ones again": Life(
        TWO,
        (
            ("06-02 11:00", "", revised(TWO, 2, "06-02 12:00", AT_ONE)),
            ("06-03 08:00", ""),
            ("06-03 11:00", "", revised(TWO, 3, "06-03 12:00")),
            ("06-04 12:00", f"06-04 09:20 started {dose('06-04')}"),
        ),
    ),
    "another alarm, and another length of each event": Life(
        TWO,
        (
            ("06-01 10:00", "", revised(TWO, 2, "06-01 10:00", '[calendar]\nalarm_before = "20 min"\n')),
            ("06-01 12:00", "", revised(TWO, 3, "06-01 12:00", 'handling_time = "25 min"\n')),
        ),
    ),
    "moved to another lumen": Life(
        BUSY,
        (
            ("06-02 11:00", "", revised(BUSY, 2, "06-02 12:00", '[order.velmorin]\nlumen = "blue"\n')),
            ("06-03 09:20", f"06-03 09:10 started {dose('06-03')}"),
        ),
    ),
    "the line removed, and that taken back when all is left out": Life(
        TWO,
        (
            ("06-02 12:00", "06-02 12:00 line-removed"),
            ("06-04 12:00", ""),
            ("06-07 12:00", ""),
            ("06-12 12:00", ""),
            ("06-12 13:00", "undo"),
        ),
    ),
    "every eight hours, one late": Life(
        EIGHT,
        (
            ("06-01 17:10", "06-01 17:00 started order=velmorin dose=2026-06-01T19:00Z"),
            (
                "06-01 18:10",
                "06-01 18:00 finished order=velmorin dose=2026-06-01T19:00Z\n06-01 18:00 flushed lumen=red",
            ),
            ("06-01 18:30", "undo"),
        ),
    ),
    "care tasks done early, put off, skipped, tied to a dose that moves": Life(
        CARED,
        (
            ("06-02 16:10", "06-01 18:00 task-done name=dressing by=Nurse_Ann"),
            ("06-02 17:00", f"06-02 17:00 delayed {dose('06-03')} until=06-03T12:00"),
            ("06-03 10:10", "06-03 10:05 task-done name=Take_velmorin_out"),
            ("06-03 12:00", "06-03 12:00 task-put-off name=van planned_for=06-04T14:00 until=06-05T11:00"),
            ("06-03 13:00", "06-03 13:00 task-skipped name=dressing planned_for=06-05T10:00"),
            ("06-03 15:30", "06-03 15:20 drawn lumen=red\n06-03 15:25 flushed lumen=red"),
            ("06-03 16:00", "undo"),
            ("06-05 11:30", "06-05 11:20 task-done name=van\n06-05 11:20 delivered name=saline_syringe count=40"),
        ),
    ),
    "care tasks that a revision takes away, changes, and brings back": Life(
        CARED,
        (
            ("06-02 11:00", "06-02 10:40 task-done name=dressing"),
            ("06-02 12:00", "", revised(TWO, 2, "06-02 12:00")),
            ("06-03 12:00", "", revised(CARED, 3, "06-03 12:00", '[task.dressing]\ntakes = "20 min"\n')),
            ("06-03 13:00", "", revised(CARED, 4, "06-03 13:00", FROM_A_VEIN)),
            ("06-04 12:00", "06-04 12:00 held"),
            ("06-04 12:30", "undo"),
        ),
    ),
    "several reports in one minute, and a clock that was set back": Life(
        TWO,
        (
            ("06-02 09:10", f"06-02 09:05 started {dose('06-02')}"),
            ("06-02 09:10", "06-02 09:06 flushed lumen=blue"),
            ("06-02 09:10", "undo"),
            ("06-02 07:00", "06-02 06:50 flushed lumen=blue"),
            ("06-02 07:00", "undo"),
        ),
    ),
}


@dataclass(frozen=True)
class Made:
    """What one step made: the calendar and its form for e-mail."""

    now: Instant
    plain: bytes
    mail: bytes

    def form(self, mail: bool) -> bytes:
        """Return one of both."""
        return self.mail if mail else self.plain


@dataclass
class Lived:
    """A life that was lived: its household, and what each step made."""

    house: House
    made: list[Made] = field(default_factory=list)

    @property
    def closing(self) -> frozenset[str]:
        """Return the UID of the event that says that a calendar ends; its calendar may have none."""
        files = (events(made.plain) for made in self.made)
        return frozenset(uid for shown in files for uid, event in shown.items() if ENDS in event.summary)

    def files(self, mail: bool = False) -> list[bytes]:
        """Return the files in the order in which they were written."""
        return [step.form(mail) for step in self.made]


def begun(lived: Lived, now: Instant) -> None:
    """Write the first calendars of a life."""
    for mail in (False, True):
        wanted = reminders.publishing.Wanted(lived.house.folder / "out", "plan", for_mail=mail)
        reminders.publishing.publish(lived.house.opened(now), wanted, now)
    lived.made.append(Made(now, lived.house.file(), lived.house.file("plan-mail.ics")))


def went_on(lived: Lived, now: Instant) -> None:
    """Write them again."""
    _, _, troubles = reminders.publishing.publish_again(lived.house.opened(now), now)
    assert troubles == []
    lived.made.append(Made(now, lived.house.file(), lived.house.file("plan-mail.ics")))


def lived_through(folder: Path, life: Life) -> Lived:
    """Live a life and return what was made."""
    lived = Lived(house(folder, life.edits))
    begun(lived, at("06-01 08:00"))
    for now, lines, *revision in life.steps:
        for edits in revision:
            lived.house.revises(now, edits)
        lived.house.says(now, lines)
        went_on(lived, at(now))
    return lived


@pytest.fixture(name="lives", scope="module")
def lives_lived_once(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Lived]:
    """Give tests every life, lived at most once."""
    done: dict[str, Lived] = {}

    def lived(name: str) -> Lived:
        if name not in done:
            done[name] = lived_through(tmp_path_factory.mktemp("life"), LIVES[name])
        return done[name]

    return lived


@pytest.fixture(name="lived", params=LIVES)
def each_life(request: pytest.FixtureRequest, lives: Callable[[str], Lived]) -> Lived:
    """Give a test every life in turn."""
    return lives(request.param)


FORMS = pytest.mark.parametrize("mail", [False, True], ids=["plain", "mail"])


# The tests' own reader


@pytest.mark.parametrize("reader", [read_with_libical, read_with_icalendar], ids=["libical", "icalendar"])
def test_the_tests_own_reader_sees_what_others_see(lived: Lived, reader: Reader, tmp_path: Path) -> None:
    """The phone of these tests reads a file as libical and icalendar do, cancelled events among it."""
    content = lived.made[-1].plain
    found = reader(content, tmp_path)
    assert {uid: (seen.start, seen.end, seen.alarm, seen.summary, seen.description) for uid, seen in found.items()} == {
        uid: (event.start, event.end, next(iter(event.rings), None), event.summary, event.description)
        for uid, event in events(content).items()
    }


def test_the_tests_own_phone_keeps_to_the_precedence() -> None:
    """RFC 5546, 2.1.5: the highest SEQUENCE wins, then the latest DTSTAMP, whatever comes last."""

    def file(sequence: int, stamp: str, title: str, status: str = "") -> bytes:
        return (
            "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:u\r\nDTSTART:20260601T140000Z\r\nDTEND:20260601T141500Z\r\n"
            f"SUMMARY:{title}\r\nSEQUENCE:{sequence}\r\nDTSTAMP:{stamp}\r\nLAST-MODIFIED:{stamp}\r\n{status}"
            "END:VEVENT\r\nEND:VCALENDAR\r\n"
        ).encode()

    old, same = file(1, "20260601T120000Z", "old"), file(1, "20260601T110000Z", "older stamp")
    later, higher = file(1, "20260601T130000Z", "later stamp"), file(2, "20260601T100000Z", "higher")
    off = file(3, "20260601T140000Z", "off", "STATUS:CANCELLED\r\n")
    phone = Importer()
    for content, title in ((old, "old"), (same, "old"), (later, "later stamp"), (higher, "higher"), (later, "higher")):
        phone.take(content)
        assert [event.summary for event in phone.has.values()] == [title]
    phone.take(off)
    assert phone.has == {}
    assert phone.take(higher) == set()
    assert phone.has == {}


# The update applied to the old calendar equals the new calendar


def left_over(phone: Importer, newest: Made, mail: bool, closing: frozenset[str]) -> dict[str, Shown]:
    """Return what a phone has besides the live events of the newest file; all of those it must have, as they are.

    The event that says that a calendar ends is not asked about where the newest file has none.
    """
    shown = live(events(newest.form(mail)))
    assert {uid: event.said for uid, event in phone.has.items() if uid in shown} == {
        uid: event.said for uid, event in shown.items()
    }
    return {uid: event for uid, event in phone.has.items() if uid not in shown and uid not in closing}


def left_out_by(now: Instant, lived: Lived) -> set[str]:
    """Return the UIDs of the events that may have been left out: two days after the time at which they last stood."""
    last: dict[str, Shown] = {}
    for made in lived.made:
        last |= events(made.plain)
    return {uid for uid, event in last.items() if event.start + timedelta(days=2) <= at_minute(now)}


@FORMS
def test_importer_of_every_file_has_the_newest_ones_events(lived: Lived, mail: bool) -> None:
    """R23, RFC 5546, 2.1.5: old calendar and update give the new calendar: instants, titles, texts and alarms."""
    phone = Importer()
    for made in lived.made:
        phone.take(made.form(mail))
        assert left_over(phone, made, mail, lived.closing) == {}


def test_importer_of_either_form_is_none_the_wiser(lived: Lived) -> None:
    """The file for e-mail and the other are one calendar: whoever opens both, in any order, has it once."""
    for first in (False, True):
        phone = Importer()
        for made in lived.made:
            phone.take(made.form(first))
            assert phone.take(made.form(not first)) == set()


@FORMS
def test_subscriber_has_the_newest_files_events_and_shows_what_the_importer_shows(lived: Lived, mail: bool) -> None:
    """A phone that fetches the file whole, and one that takes in the changes, show the same."""
    fetches, takes_in = Subscriber(), Importer()
    for made in lived.made:
        fetches.take(made.form(mail))
        takes_in.take(made.form(mail))
        shown = {uid: event for uid, event in live(fetches.has).items() if uid not in lived.closing}
        assert shown == {uid: event for uid, event in takes_in.has.items() if uid not in lived.closing}


@FORMS
def test_importer_that_missed_files_has_the_newest_ones_events(lived: Lived, mail: bool) -> None:
    """Whichever files were never opened: nothing stays that is off, unless it was over for two days (R23)."""
    newest = lived.made[-1]
    before = lived.made[:-1]
    for size in range(len(before)):
        for opened in combinations(before, size):
            phone = Importer([*(made.form(mail) for made in opened), newest.form(mail)])
            stays = left_over(phone, newest, mail, lived.closing)
            assert set(stays) <= left_out_by(newest.now, lived)


@FORMS
def test_an_older_file_changes_nothing(lived: Lived, mail: bool) -> None:
    """RFC 5546, 2.1.5: what was opened late, or again, is older by its numbers and changes no event."""
    files = lived.files(mail)
    phone = Importer()
    for number, content in enumerate(files):
        phone.take(content)
        for older in files[: number + 1]:
            assert phone.take(older) == set()


@FORMS
def test_the_order_in_which_files_come_does_not_matter(lived: Lived, mail: bool) -> None:
    """Precedence is of the events, so all files in any order give the same."""
    files = lived.files(mail)
    expected = Importer(files).known
    chance = random.Random(len(files))
    for _ in range(20):
        assert Importer(chance.sample(files, len(files))).known == expected


# Numbers rise where something changed, and only there


class Ledger:
    """Every event as it was last shown, in any file; checks each new file against it."""

    def __init__(self) -> None:
        """Begin with nothing seen."""
        self.seen: dict[str, Shown] = {}
        self.rises = 0

    def check(self, content: bytes) -> None:
        """Check that an event bears the numbers that it bore if it says what it said, else higher ones, all three."""
        for uid, event in events(content).items():
            before = self.seen.get(uid)
            if before is not None and event.said == before.said:
                assert event.numbers == before.numbers, f"nothing changed: {before} {event}"
            elif before is not None:
                assert event.above(before), f"changed: {before} {event}"
                self.rises += 1
            self.seen[uid] = event


def test_numbers_rise_exactly_where_something_changed(lived: Lived) -> None:
    """R23, RFC 5545, 3.8.7.4, RFC 5546, 2.1.4: SEQUENCE, DTSTAMP and LAST-MODIFIED rise together and strictly.

    Not where an event says what it said; also where it was left out between, and where the clock was set back.
    """
    ledger = Ledger()
    for made in lived.made:
        ledger.check(made.plain)
        ledger.check(made.mail)
    assert ledger.rises, "something changed in each of these lives"


def test_the_calendar_is_as_new_as_its_newest_event(lived: Lived) -> None:
    """RFC 7986, 5.4: the calendar's LAST-MODIFIED is the latest of its events', so it never falls while none is lost."""
    for content in lived.files():
        assert calendar(content).one("LAST-MODIFIED") == max(
            part.one("LAST-MODIFIED") for part in calendar(content).parts
        )


def test_an_event_that_was_left_out_comes_back_with_higher_numbers(lives: Callable[[str], Lived]) -> None:
    """Cancelled, left out two days after its time, and there again when the removal is taken back."""
    lived = lives("the line removed, and that taken back when all is left out")
    first, _, cancelled, between, after, back = (events(made.plain) for made in lived.made)
    gone = {uid for uid, event in cancelled.items() if event.cancelled}
    assert len(gone) > 10
    assert gone - set(between), "some are left out by then"
    assert not gone & set(after), "all are left out by then"
    assert gone <= set(first)
    for uid in gone:
        assert not back[uid].cancelled
        assert back[uid].said == first[uid].said
        assert first[uid].sequence < cancelled[uid].sequence < back[uid].sequence


def test_taking_back_shows_what_was_there_before_with_higher_numbers(tmp_path: Path) -> None:
    """R13, R23: after an undo every event says what it said before the report, and none has a number that it had."""
    home = house(tmp_path)
    first = home.writes("06-01 08:00")["plan.ics"]
    home.says("06-01 11:05", f"06-01 11:00 started {dose('06-01')}")
    home.again("06-01 11:05")
    told = home.file()
    home.says("06-01 11:06", "undo")
    home.again("06-01 11:06")
    back = home.file()
    changed = {uid for uid, event in events(told).items() if event != events(first).get(uid)}
    assert len(changed) >= 2, "the start and the finish at least"
    assert {uid: event.said for uid, event in live(events(back)).items()} == {
        uid: event.said for uid, event in events(first).items()
    }
    for uid in changed & set(events(first)):
        assert events(back)[uid].sequence == events(first)[uid].sequence + 4  # two for each change


def test_numbers_go_on_in_another_store(tmp_path: Path) -> None:
    """The record exported and read in elsewhere has all numbers: nothing changes, and the next change is higher."""
    home = house(tmp_path / "here")
    ledger = Ledger()
    ledger.check(home.writes("06-01 08:00")["plan.ics"])
    home.says("06-02 12:00", "06-02 12:00 line-removed")
    home.again("06-02 12:00")
    ledger.check(home.file())
    home.says("06-02 12:10", "undo")
    home.again("06-02 12:10")
    ledger.check(home.file())
    rises = ledger.rises
    told = read_export(export(home.opened(at("06-02 12:10")).plan.course.id, home.record()))[1]

    there = house(tmp_path / "there")
    there.count = 50
    there.adds(at("06-02 13:00"), lambda current: told)
    content = there.writes("06-02 13:00")["plan.ics"]
    ledger.check(content)
    assert ledger.rises == rises, "another computer is no change"
    assert content == home.file()
    there.says("06-02 14:00", "06-02 13:30 held")
    there.again("06-02 14:00")
    ledger.check(there.file())
    assert ledger.rises > rises


@pytest.mark.parametrize("reads", ["the one with lower numbers", "the one with higher numbers"])
def test_records_that_grew_apart_and_were_joined_have_no_lower_numbers(reads: str, tmp_path: Path) -> None:
    """Two computers published on their own; whoever reads in the other's record goes on above both."""
    often, once = house(tmp_path / "often"), house(tmp_path / "once")
    once.count = 50
    for home in (often, once):
        home.writes("06-01 08:00")
    for minute in (1, 2, 3):
        often.says(f"06-01 09:1{minute}", "undo" if minute == 2 else f"06-01 09:0{minute} started {dose('06-01')}")
        often.again(f"06-01 09:1{minute}")
    once.says("06-01 09:20", f"06-01 09:15 not-given {dose('06-01')}")
    once.again("06-01 09:20")
    before = [events(home.file()) for home in (often, once)]
    assert any(event.sequence > before[1][uid].sequence > 0 for uid, event in before[0].items() if uid in before[1])
    phone = Importer([often.file(), once.file()])

    home, other = (once, often) if reads == "the one with lower numbers" else (often, once)
    told = read_export(export(other.opened(at("06-01 09:20")).plan.course.id, other.record()))[1]
    home.adds(at("06-01 09:30"), lambda current: told)
    home.count = 100
    home.says("06-01 09:31", "06-01 09:31 problem lumen=red sign=no_blood_return")
    assert home.again("06-01 09:31") == []
    joined = events(home.file())
    for shown in before:
        assert all(joined[uid].sequence >= event.sequence for uid, event in shown.items() if uid in joined)
    phone.take(home.file())
    assert {uid: event.said for uid, event in phone.has.items()} == {
        uid: event.said for uid, event in live(joined).items()
    }


def test_numbers_are_the_events_own_in_every_calendar(tmp_path: Path) -> None:
    """One phone may get an event from several files: in all of them it says the same and bears the same numbers.

    What closes a calendar is another matter, see below.
    """
    home = house(tmp_path, BUSY + CARED.partition(TWO)[2])
    kinds: tuple[tuple[str, dict[str, Any]], ...] = (
        ("all", {}),
        ("lumens", {"per_lumen": True}),
        ("days", {"first": date(2026, 6, 2), "last": date(2026, 6, 4)}),
        ("mail", {"for_mail": True}),
    )
    for name, wanted in kinds:
        home.writes("06-01 08:00", out=name, **wanted)

    def shown() -> dict[str, Shown]:
        found: dict[str, Shown] = {}
        for path in sorted(home.folder.glob("*/*.ics")):
            for uid, event in events(path.read_bytes()).items():
                if ENDS not in event.summary:
                    assert found.setdefault(uid, event) == event
        return found

    before = shown()
    home.says("06-01 12:00", "06-01 12:00 held order=velmorin\n06-01 12:00 lumen-out-of-use lumen=white")
    assert home.again("06-01 12:00") == []
    after = shown()
    changed = [uid for uid in after if uid in before and after[uid].said != before[uid].said]
    assert len(changed) > 20
    assert [uid for uid in changed if "Take velmorin out" in before[uid].summary]
    assert all(after[uid].sequence == before[uid].sequence + 2 for uid in changed)


# Histories made up at random


@settings(max_examples=25)
@given(histories())
def test_any_history_is_published_so_that_importers_keep_up(history: History) -> None:
    """R23 for plans and records made up at random: every file, any files, any order; and numbers, event by event."""
    keeps_up(history.text, history.plan, history.record)


def with_its_tasks(drawn: tuple[History, Plan, Values, Record]) -> History:
    """Return a history with the plan that has tasks, and the record that tells of them."""
    history, plan, values, record = drawn
    return History(toml_text(values), values, plan, record, history.now)


def may_be_used(history: History) -> bool:
    """Say whether nothing in a plan is an error whenever it is looked at, such as a draw from what runs."""
    moments = {history.plan.course.start.instant, *(told.entered for told in history.record.facts)}
    text = history.text.encode()
    return not any(has_errors(examine("plan.toml", text, EMPTY, now).findings) for now in sorted(moments))


@settings(
    max_examples=15,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(cared_for().map(with_its_tasks).filter(may_be_used))
def test_any_history_with_care_tasks_is_published_so_that_importers_keep_up(history: History) -> None:
    """The same for plans with care tasks and draws made up at random, and what was done of them."""
    keeps_up(history.text, history.plan, history.record)


def keeps_up(text: str, plan: Plan, record: Record) -> None:
    """Publish a plan again and again as its record grows, and check what phones make of it."""
    with TemporaryDirectory() as folder:
        home = House(Path(folder))
        home.plan_file.write_text(text)
        lived = Lived(home)
        begun(lived, plan.course.start.instant)
        told = sorted(record.facts, key=lambda one: one.entered)
        chance = random.Random(len(told))
        cuts = sorted(chance.sample(range(len(told)), min(3, len(told))))
        for first, last in pairwise([0, *cuts, len(told)]):
            if first == last:
                continue
            now = told[last - 1].entered
            home.adds(now, lambda current, first=first, last=last: told[first:last])  # type: ignore[misc]
            went_on(lived, now)
        ledger = Ledger()
        phone = Importer()
        for made in lived.made:
            ledger.check(made.plain)
            phone.take(made.plain)
            assert left_over(phone, made, False, lived.closing) == {}
            assert [phone.take(older) for older in lived.files()[: lived.made.index(made)]].count(set()) == (
                lived.made.index(made)
            )
        newest = lived.made[-1]
        late = Importer([lived.made[0].plain, newest.plain])
        assert set(left_over(late, newest, False, lived.closing)) <= left_out_by(newest.now, lived)
        files = lived.files()
        assert Importer(chance.sample(files, len(files))).known == phone.known


# A household that records nothing


def elsewhere(folder: Path, path: Path) -> House:
    """Return a household with a copy of a sample plan."""
    home = House(folder)
    shutil.copy(path, home.plan_file)
    return home


LATER = (1, 25 * 60, 10 * 1440 + 17, 400 * 1440)
"""Minutes after the plan's start."""

KINDS: dict[str, dict[str, Any]] = {
    "whole": {},
    "for each lumen": {"per_lumen": True},
    "for e-mail": {"for_mail": True},
}


def written_at(home: House, now: Instant, **wanted: Any) -> dict[str, bytes]:
    """Write calendars at an instant and return their contents."""
    _, written = reminders.publishing.publish(
        home.opened(now), reminders.publishing.Wanted(home.folder / "out", "plan", **wanted), now
    )
    return {entry.place.name: entry.calendar.content for entry in written}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "path", [path for path in SAMPLE_PLANS if path.stem != "open-ended-year"], ids=lambda p: p.stem
)
def test_a_calendar_holds_still_while_nothing_is_recorded(path: Path, kind: str, tmp_path: Path) -> None:
    """R14, R24: time alone changes no byte, before the plan starts, during it and after it; and adds no fact."""
    home = elsewhere(tmp_path, path)
    start = Sample(path.stem, path.read_bytes()).now
    first = written_at(home, Instant(start - 5000), **KINDS[kind])
    facts = len(home.opened(start).record.facts)
    for later in LATER:
        assert written_at(home, Instant(start + later), **KINDS[kind]) == first
    assert len(home.opened(start).record.facts) == facts


@pytest.mark.parametrize("records", ["true", "false"])
def test_a_rolling_calendar_only_grows(records: str, tmp_path: Path) -> None:
    """R14: of a plan that is open at its end nothing moves but the end: new events after it, and the closing event."""
    edits = f'{LUMENS}[plan]\nwithout end\nopen_ended = "14 days"\nhousehold_records = {records}\n' + DAILY.replace(
        "last_day = 2026-06-07", "until_removal = true"
    )
    home = house(tmp_path, edits)
    before = events(home.writes("06-01 08:00")["plan.ics"])
    ended = at_minute(home.opened(at("06-01 08:00")).schedule(at("06-01 08:00")).end)
    planned = {touch.uid for touch in home.opened(at("06-01 08:00")).schedule(at("06-01 08:00")).touches}
    for now in ("06-01 08:01", "06-01 22:00", "06-03 09:30", "06-20 12:00"):
        home.again(now)
        after = events(home.file())
        assert {uid: after[uid] for uid in before if uid in planned} == {
            uid: event for uid, event in before.items() if uid in planned
        }
        assert all(event.start >= ended - timedelta(minutes=15) for uid, event in after.items() if uid not in planned)
        assert not any(event.cancelled for event in after.values())
    assert len(after) > len(before)


def test_what_is_too_long_for_a_file_loses_only_its_past(tmp_path: Path) -> None:
    """Where not all fits, days that are past give way to later ones; what stays says what it said."""
    path = next(path for path in SAMPLE_PLANS if path.stem == "open-ended-year")
    home = elsewhere(tmp_path, path)
    start = Sample(path.stem, path.read_bytes()).now
    (before,) = (events(content) for content in written_at(home, start).values())
    now = Instant(start + 9 * 1440)
    (after,) = (events(content) for content in written_at(home, now).values())
    for uid, event in before.items():
        if uid not in after:
            assert event.end <= at_minute(now)
    both = {uid for uid in before if uid in after}
    assert len([uid for uid in both if before[uid] != after[uid]]) == 1, "the closing event"
    assert not any(event.cancelled for event in after.values())


def test_writing_twice_adds_no_fact(tmp_path: Path) -> None:
    """R23: a change of nothing changes nothing, in the record either."""
    home = house(tmp_path)
    first = home.writes("06-01 08:00")
    facts = home.record().facts
    assert [told.kind for told in facts] == [Kind.IN_USE, Kind.PUBLISHED]
    assert home.writes("06-01 08:05") == first
    assert home.again("06-01 08:06") == []
    assert home.record().facts == facts
    home.says("06-01 09:05", f"06-01 09:05 started {dose('06-01')}")
    home.again("06-01 09:05")
    after = home.record().facts
    home.again("06-01 09:05")
    home.again("06-04 09:05")
    assert home.record().facts == after


@pytest.mark.parametrize(
    ("first", "second"),
    [
        pytest.param({}, {"last": date(2026, 6, 3)}, id="all days and some"),
        pytest.param({}, {"per_lumen": True}, id="all lumens and each"),
        pytest.param({}, {"for_mail": True}, id="file and e-mail"),
        pytest.param(
            {"per_lumen": True}, {"per_lumen": True, "last": date(2026, 6, 3)}, id="each lumen, all days and some"
        ),
    ],
)
def test_two_calendars_hold_still_beside_each_other(
    first: dict[str, Any], second: dict[str, Any], tmp_path: Path
) -> None:
    """R14: a household that has two calendars of one plan, and records nothing, sees both hold still."""
    home = house(tmp_path, CARED)
    home.writes("06-01 08:00", out="one", **first)
    home.writes("06-01 08:00", out="two", **second)
    before = {path: path.read_bytes() for path in home.folder.glob("*/*.ics")}
    facts = len(home.record().facts)
    for minute in (1, 2):
        assert home.again(f"06-01 08:0{minute}") == []
    assert {path: path.read_bytes() for path in before} == before
    assert len(home.record().facts) == facts


def test_a_calendar_of_all_lumens_ends_once(tmp_path: Path) -> None:
    """What closes the lumens' calendars is no event of the household's, and stands in no other calendar."""
    home = house(tmp_path)
    home.writes("06-01 08:00", per_lumen=True)
    whole = events(home.writes("06-01 08:00")["plan.ics"])
    assert [event.summary for event in whole.values() if ENDS in event.summary] == [
        "This calendar ends here: get the next one"
    ]


# What is gone, what is off, what is past


def by_title(content: bytes, title: str) -> list[Shown]:
    """Return a file's events of a title, in order of time."""
    return sorted((event for event in events(content).values() if event.summary == title), key=lambda one: one.start)


def utc(text: str) -> datetime:
    """Return ``06-01 14:00``, in UTC."""
    return datetime.fromisoformat(f"2026-{text}+00:00")


def test_what_is_gone_is_cancelled_for_two_days_after_its_time(tmp_path: Path) -> None:
    """R23: shown as cancelled, without an alarm and in words too; left out two days after its time, not before.

    The dose of 3 June, 09:00 CDT, is at 14:00Z.
    """
    home = house(tmp_path)
    first = home.writes("06-01 08:00")["plan.ics"]
    home.says("06-02 12:00", "06-02 12:00 line-removed")
    home.again("06-02 12:00")
    planned = {uid for uid, event in events(first).items() if event.start >= utc("06-02 17:00")} - closing_uids(home)
    gone = {uid: event for uid, event in events(home.file()).items() if event.cancelled}
    gone = {uid: event for uid, event in gone.items() if uid not in closing_uids(home)}
    assert set(gone) == planned
    for uid, event in gone.items():
        assert event.summary == f"No longer planned: {events(first)[uid].summary}"
        assert event.description.startswith("This is not planned any more.")
        assert event.rings == ()
        assert event.start == events(first)[uid].start
    (start,) = (
        uid for uid, event in events(first).items() if event.start == utc("06-03 14:00") and "start" in event.summary
    )
    numbers = gone[start].numbers
    home.again("06-05 08:59")
    assert events(home.file())[start].numbers == numbers
    home.again("06-05 09:01")
    assert start not in events(home.file())
    home.again("06-12 00:00")
    assert not any(event.cancelled for event in events(home.file()).values())


def closing_uids(home: House) -> set[str]:
    """Return the UIDs in a calendar that are none of the plan's, as it was written first."""
    first = home.publications[0]
    return {uid for uid, shown in first.shown.items() if ENDS in shown.title}


def test_what_vanished_when_it_was_past_is_cancelled_once(tmp_path: Path) -> None:
    """R23: an event that is gone is published as cancelled before it is left out, even if its time is long past."""
    home = house(tmp_path)
    first = events(home.writes("06-01 08:00")["plan.ics"])
    home.says("06-07 12:00", "06-02 12:00 line-removed entered=06-07T12:00")
    home.again("06-07 12:00")
    shown = events(home.file())
    past = {uid for uid, event in first.items() if utc("06-02 17:00") <= event.start < utc("06-05 12:00")}
    assert len(past) > 5
    assert all(shown[uid].cancelled for uid in past)
    home.again("06-07 12:01")
    assert not past & set(events(home.file()))


def test_what_stood_at_a_later_time_before_is_cancelled_until_that_is_over(tmp_path: Path) -> None:
    """R23: the dose of 2 June was delayed to the 6th, that was taken back, and the line was removed on the 1st.

    A phone that has the delay and missed what came between must not hold a dose of the 6th, which is ahead.
    """
    home = house(tmp_path)
    home.writes("06-01 08:00")
    home.says("06-01 09:00", f"06-01 09:00 delayed {dose('06-02')} until=06-06T15:00")
    home.again("06-01 09:00")
    phone = Importer([home.file()])
    home.says("06-01 10:00", "undo")
    home.again("06-01 10:00")
    home.says("06-04 12:00", "06-01 20:00 line-removed entered=06-04T12:00")
    home.again("06-04 12:00")
    home.again("06-04 12:30")
    phone.take(home.file())
    assert not [event for event in phone.has.values() if event.start == utc("06-06 20:00")]


def test_the_closing_event_is_cancelled_where_nothing_follows(tmp_path: Path) -> None:
    """R19, R23: after the removal nothing is due, so no phone may still say: get the next calendar."""
    home = house(tmp_path)
    phone = Importer([home.writes("06-01 08:00")["plan.ics"]])
    home.says("06-02 12:00", "06-02 12:00 line-removed")
    home.again("06-02 12:00")
    phone.take(home.file())
    assert not [event for event in phone.has.values() if ENDS in event.summary]


@dataclass(frozen=True)
class Case:
    """What is recorded, what the event of the dose of 2 June is titled then, and what its description says."""

    lines: str
    title: str
    says: tuple[str, ...] = ()
    status: str = ""
    rings: bool = False
    event: str = "start velmorin 1 g"


TAKEN = "06-02 09:05 started " + dose("06-02")
CALL = "555-0142"

CASES = {
    "nothing": Case("", "Red lumen: start velmorin 1 g", ("never force",), rings=True),
    "done": Case(TAKEN, "Done: Red lumen: start velmorin 1 g"),
    "done late": Case(
        f"06-02 11:05 started {dose('06-02')}", "Done late: Red lumen: start velmorin 1 g", ("planned for 09:00",)
    ),
    "not given": Case(
        f"06-02 11:05 not-given {dose('06-02')}",
        "Not given: Red lumen: start velmorin 1 g",
        ("Do not make it up by yourself.", CALL),
    ),
    "skipped": Case(
        f"06-02 08:00 skipped {dose('06-02')}",
        "Not to be done: Red lumen: start velmorin 1 g",
        ("Do not make it up by yourself.", CALL),
        status="CANCELLED",
    ),
    "held": Case("06-01 12:00 held order=velmorin", "Held: Red lumen: start velmorin 1 g", (CALL,), status="CANCELLED"),
    "finished in time": Case(
        f"{TAKEN}\n06-02 10:05 finished {dose('06-02')}\n06-02 10:06 flushed lumen=red",
        "Done: Red lumen: finish velmorin",
        event="finish velmorin",
    ),
    "finished, not flushed": Case(
        f"{TAKEN}\n06-02 10:05 finished {dose('06-02')}",
        "FLUSH NOW: Red lumen: finish velmorin",
        ("due now", CALL),
        rings=True,
        event="finish velmorin",
    ),
    "stopped early": Case(
        f"{TAKEN}\n06-02 09:30 stopped-early {dose('06-02')} sign=swelling",
        "Stopped early: Red lumen: finish velmorin",
        (CALL,),
        event="finish velmorin",
    ),
    "out of use": Case(
        "06-01 12:00 lumen-out-of-use lumen=red",
        "DO NOT USE: Red lumen: start velmorin 1 g",
        ("out of use since", "Stop, clamp, and call", CALL),
        rings=True,
    ),
    "pain": Case(
        "06-01 12:00 problem lumen=red sign=pain",
        "DO NOT USE: Red lumen: start velmorin 1 g",
        ("must not be used until a clinician releases it", "Stop, clamp, and call", CALL),
        rings=True,
    ),
    "no blood return": Case(
        "06-01 12:00 problem lumen=red sign=no_blood_return",
        "ASK FIRST: Red lumen: start velmorin 1 g",
        ("Never force", "ASK FIRST: call", CALL),
        rings=True,
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_the_calendar_shows_what_happened_to_an_event(case: str, tmp_path: Path) -> None:
    """R14, R17, R18, R27: the title begins with what is recorded; what is done or off rings no more.

    Whatever is recorded, the event keeps its UID, so that a phone shows it once.
    """
    wanted = CASES[case]
    home = house(tmp_path)
    first = home.writes("06-01 08:00")["plan.ics"]
    at_first = utc("06-02 14:00") if wanted.event.startswith("start") else utc("06-02 15:00")
    (uid,) = (uid for uid, event in events(first).items() if event.start == at_first and wanted.event in event.summary)
    home.says("06-02 11:30", wanted.lines)
    home.again("06-02 11:30")
    event = events(home.file())[uid]
    assert event.summary == wanted.title
    assert event.status == wanted.status
    assert bool(event.rings) is wanted.rings
    assert all(words in event.description for words in wanted.says)


def test_ask_first_names_both_numbers_and_whom_to_call(tmp_path: Path) -> None:
    """W13, R17: the dose of 14:00 started 17:00; that of 22:00 is 5 h after, and the order says at least 6 h."""
    home = house(tmp_path, EIGHT)
    home.writes("06-01 08:00")
    home.says("06-01 17:10", "06-01 17:00 started order=velmorin dose=2026-06-01T19:00Z")
    home.again("06-01 17:10")
    (event,) = (
        event for event in events(home.file()).values() if event.summary == "ASK FIRST: Red lumen: start velmorin 1 g"
    )
    assert event.start == utc("06-02 03:00"), "it is not moved: 22:00 CDT"
    assert "This is 5 h after the dose of 17:00 CDT; the order says at least 6 h." in event.description
    assert f"ASK FIRST: call On-call nurse, Fennimore Vale, {CALL} before you do this." in event.description


def test_what_must_not_be_used_offers_no_steps(tmp_path: Path) -> None:
    """S1: no flush and no lock are offered on that lumen, and every event on it says whom to call."""
    home = house(tmp_path)
    home.writes("06-01 08:00")
    home.says("06-01 12:00", "06-01 12:00 problem lumen=red sign=pain")
    home.again("06-01 12:00")
    ahead = [
        event
        for event in events(home.file()).values()
        if "Red lumen" in event.summary and event.start > utc("06-01 17:00") and not event.cancelled
    ]
    assert len(ahead) >= 6
    for event in ahead:
        assert event.summary.startswith("DO NOT USE: ")
        assert not re.search(r"^\d+\. |^Prepare: ", event.description, re.MULTILINE)
        assert CALL in event.description


def test_nothing_unrecorded_is_shown_as_done(tmp_path: Path) -> None:
    """R14: what nobody recorded looks the same whether its time has passed or not; nothing is called done."""
    home = house(tmp_path, BUSY)
    home.writes("06-01 08:00")
    home.says("06-04 12:00", "06-04 11:00 flushed lumen=blue")
    home.again("06-04 12:00")
    done = [
        event.summary for event in events(home.file()).values() if re.match("Done|Not|Held|No longer", event.summary)
    ]
    assert [title for title in done if not title.startswith("No longer")] in (
        ["Done: Blue lumen: flush"],
        ["Done late: Blue lumen: flush"],
    )


# Discretion


SECRETS = re.compile(
    r"velmorin|brineol|quillon|saline|heparin|flush|lumen|infus|dose|drug|\b(?:red|blue|green|white)\b|555|fennimore|"
    r"nurse|\bline\b|picc|syringe|call\b|lock\b|bag\b|ask first|do not use|not given|no longer|held|stopped|1 g\b",
    re.IGNORECASE,
)
"""What tells a stranger something: every name of the plans here, words of the trade, and the marks."""


def discreet(edits: str, reveals: str) -> str:
    """Return edits that show less."""
    return f'{edits}\n[calendar]\nname = "Velmorin for the red lumen"\nreveals = "{reveals}"\n'


def on_the_locked_screen(content: bytes) -> set[str]:
    """Return every text that a phone may show without being unlocked: names, titles, alarms, categories."""
    found = calendar(content)
    texts = {found.text(name) for name in ("NAME", "X-WR-CALNAME", "DESCRIPTION", "X-WR-CALDESC")}
    for part in found.parts:
        texts |= {part.text("SUMMARY"), part.text("CATEGORIES"), *(alarm.text("DESCRIPTION") for alarm in part.parts)}
    return texts


def told(texts: Iterable[str]) -> set[str]:
    """Return what some texts tell."""
    return {match[0] for text in texts for match in SECRETS.finditer(text)}


EVENTFUL = "\n".join(
    (
        f"06-01 11:05 started {dose('06-01')}",
        f"06-01 12:05 finished {dose('06-01')}",
        "06-01 12:30 problem lumen=blue sign=pain",
        "06-01 12:31 problem lumen=red sign=no_blood_return",
        f"06-01 13:00 skipped {dose('06-03')}",
        f"06-01 13:00 not-given {dose('06-02')}",
        "06-01 13:05 held order=quillon",
        "06-01 13:06 lumen-out-of-use lumen=green",
    )
)
"""Something of every mark."""


def everything_of(content: bytes) -> set[str]:
    """Return every text of a file, unfolded, but for what is the same in every file of the program's."""
    found = calendar(content)
    texts = {value for name, _, value in found.lines if name != "PRODID"}
    for part in found.parts:
        for inner in (part, *part.parts):
            texts |= {f"{parameters} {value}" for _, parameters, value in inner.lines}
    return texts


@FORMS
def test_an_open_calendar_would_tell(mail: bool, tmp_path: Path) -> None:
    """The search below finds something where something is told."""
    home = house(tmp_path, discreet(BUSY, "everything"))
    home.says("06-01 13:10", EVENTFUL)
    (content,) = home.writes("06-01 13:10", for_mail=mail).values()
    assert len(told(on_the_locked_screen(content))) > 8
    assert len(told(everything_of(content))) > 12


@FORMS
def test_a_discreet_calendar_tells_nothing_of_what_happened(mail: bool, tmp_path: Path) -> None:
    """R26: no title, alarm or category tells what was done, left, asked about or is gone; nor does any other text."""
    home = house(tmp_path, discreet(BUSY, "nothing at all"))
    home.writes("06-01 08:00", for_mail=mail)
    home.says("06-01 13:10", EVENTFUL)
    home.again("06-01 13:10")
    home.says("06-02 12:00", "06-02 12:00 line-removed")
    home.again("06-02 12:00")
    (content,) = (path.read_bytes() for path in (home.folder / "out").glob("*.ics"))
    assert any(event.cancelled for event in events(content).values())
    assert told(everything_of(content)) == set()
    assert {event.summary for event in events(content).values()} == {"Reminder"}


@FORMS
def test_a_locked_screen_tells_nothing_of_what_happened(mail: bool, tmp_path: Path) -> None:
    """R26: with nothing on the locked screen, the titles are one and the same, cancelled ones too."""
    home = house(tmp_path, discreet(BUSY, "nothing on the locked screen"))
    home.writes("06-01 08:00", for_mail=mail)
    home.says("06-01 13:10", EVENTFUL)
    home.again("06-01 13:10")
    home.says("06-02 12:00", "06-02 12:00 line-removed")
    home.again("06-02 12:00")
    content = home.file("plan-mail.ics" if mail else "plan.ics")
    assert any(event.cancelled for event in events(content).values())
    assert told(on_the_locked_screen(content)) == set()
    assert {event.summary for event in events(content).values()} == {"Reminder"}
    assert any(CALL in event.description for event in events(content).values()), "one action away (R27)"


@pytest.mark.parametrize("before", ["gone with the change", "gone before the change"])
@pytest.mark.parametrize("reveals", ["nothing at all", "nothing on the locked screen"])
def test_events_of_an_open_calendar_are_cancelled_discreetly(reveals: str, before: str, tmp_path: Path) -> None:
    """R26: a plan that was open and becomes discreet takes back what is gone without naming it once more."""
    home = house(tmp_path, BUSY)
    home.writes("06-01 08:00")
    if before == "gone before the change":
        home.revises("06-01 11:00", revised(BUSY, 2, "06-01 11:00", AT_ONE))
        home.again("06-01 11:00")
    home.revises("06-01 12:00", discreet(revised(BUSY, 3, "06-01 12:00", AT_ONE), reveals))
    home.again("06-01 12:00")
    content = home.file("calendar.ics" if reveals == "nothing at all" else "plan.ics")
    assert any(event.cancelled for event in events(content).values())
    assert told(on_the_locked_screen(content)) == set()


def test_no_open_calendar_stays_unsaid_when_a_plan_becomes_discreet(tmp_path: Path) -> None:
    """R26, R14: the file that phones fetch has another name then; the old one holds all, and will not change again.

    It must be replaced, or the household must be told of it.
    """
    home = house(tmp_path)
    home.writes("06-01 08:00")
    home.revises("06-01 12:00", discreet(revised(TWO, 2, "06-01 12:00"), "nothing at all"))
    troubles = home.again("06-01 12:00")
    assert not told(everything_of(home.file())) or any("plan.ics" in trouble for trouble in troubles)


# The file for e-mail


def test_the_mail_file_is_a_publish_of_rfc_5546(lived: Lived, libical: Path, tmp_path: Path) -> None:
    """RFC 5546, 3.2.1: METHOD:PUBLISH; in each VEVENT one ORGANIZER, DTSTAMP, DTSTART, SUMMARY, UID, and no ATTENDEE.

    STATUS may be CANCELLED there. One VEVENT for each UID: what 3.2.5 asks of CANCEL does not arise. libical's check of
    the restrictions agrees.
    """
    for number, made in enumerate(lived.made):
        found = calendar(made.mail)
        assert found.one("METHOD") == "PUBLISH"
        uids = [part.one("UID") for part in found.parts]
        assert len(set(uids)) == len(uids)
        for part in found.parts:
            assert part.name == "VEVENT"
            assert re.fullmatch(r"mailto:[0-9a-f-]{36}@reminders\.invalid", part.one("ORGANIZER"))
            for name in ("DTSTAMP", "DTSTART", "SUMMARY"):
                assert part.one(name)
            assert part.values("ATTENDEE") == part.values("RECURRENCE-ID") == part.values("REQUEST-STATUS") == []
            assert part.values("STATUS") in ([], ["CANCELLED"])
        assert len({part.one("ORGANIZER") for part in found.parts}) == 1
        folder = tmp_path / str(number)
        folder.mkdir()
        says = ask_libical(libical, made.mail, folder)
        assert says.faults == 0
        assert says.keeps_restrictions


def test_libical_finds_an_event_without_organizer(lived: Lived, libical: Path, tmp_path: Path) -> None:
    """The check above can fail: RFC 5546, 3.2.1 asks for an ORGANIZER in each event."""
    spoilt = re.sub(rb"ORGANIZER[^\r]*\r\n(?: [^\r]*\r\n)*", b"", lived.made[-1].mail, count=1)
    assert spoilt != lived.made[-1].mail
    assert not ask_libical(libical, spoilt, tmp_path).keeps_restrictions


def test_the_plain_file_asks_nobody_for_anything(lived: Lived) -> None:
    """RFC 5545, 3.7.2: no METHOD; and neither ORGANIZER nor ATTENDEE, which mean a meeting (3.8.4.3)."""
    for made in lived.made:
        found = calendar(made.plain)
        assert found.values("METHOD") == []
        assert all(part.values("ORGANIZER") == part.values("ATTENDEE") == [] for part in found.parts)


def test_both_files_hold_the_same_events_with_the_same_numbers(lived: Lived) -> None:
    """One calendar in two forms: all live events and all cancelled ones, and one SEQUENCE for each."""
    for made in lived.made:
        assert events(made.mail) == events(made.plain)


# Size, days and lumens


LONG = f"""
{LUMENS}
[plan]
end = "2026-12-31 08:00"
""" + "".join(
    f"""
[order.{name}]
lumen = "{lumen}"
clock_times = ["02:00", "10:00", "18:00"]
first_dose = "2026-06-01 10:00"
until_removal = true
duration = "60 min"
"""
    for name, lumen in (("velmorin", "red"), ("brineol", "blue"))
)
"""Seven months of two orders, three times a day: several files' worth."""


def renamed(number: int) -> str:
    """Return the long plan with other orders in place of its own, as a later revision."""
    edits = LONG.replace("order.velmorin", f"order.velmorin{number}").replace("order.brineol", f"order.brineol{number}")
    return revised(edits, number, f"06-01 08:0{number}")


def test_a_file_with_hundreds_of_cancelled_events_keeps_its_size(tmp_path: Path) -> None:
    """Phones refuse larger files (reported by users; no limit is published). Cancelled events count too."""
    home = house(tmp_path, LONG)
    first = home.writes("06-01 08:00")["plan.ics"]
    home.revises("06-01 08:02", renamed(2))
    assert home.again("06-01 08:02") == []
    shown = events(home.file())
    cancelled = [event for event in shown.values() if event.cancelled]
    assert len(cancelled) > 400
    assert len(home.file()) <= LARGEST_FILE
    assert {uid for uid in events(first) if uid not in shown} == set(), "each that was shown is cancelled"
    ahead = live(shown)
    (closing,) = (event for event in ahead.values() if ENDS in event.summary)
    assert closing.start == max(event.start for event in ahead.values())
    assert closing.start > utc("07-01 00:00"), "a month of what is to be done fits beside them"


def test_cancelled_events_do_not_crowd_out_what_is_to_be_done(tmp_path: Path) -> None:
    """R23: however often the orders change, a file says what is to be done for as long as one usually does."""
    home = house(tmp_path, LONG)
    first = live(events(home.writes("06-01 08:00")["plan.ics"]))
    for number in range(2, 6):
        home.revises(f"06-01 08:0{number}", renamed(number))
        assert home.again(f"06-01 08:0{number}") == []
        assert len(home.file()) <= LARGEST_FILE
    assert len(live(events(home.file()))) > len(first) // 2


def test_the_closing_event_moves_with_the_end(tmp_path: Path) -> None:
    """A file of some days ends with an event of its own; the file of all days takes it back, and ends with another."""
    home = house(tmp_path)
    phone = Importer([home.writes("06-01 08:00", last=date(2026, 6, 3))["plan.ics"]])
    (before,) = (event for event in phone.has.values() if ENDS in event.summary)
    phone.take(home.writes("06-01 08:01")["plan.ics"])
    (after,) = (event for event in phone.has.values() if ENDS in event.summary)
    assert before.end == utc("06-04 05:00"), "the end of 3 June in Chicago"
    assert after.start > before.start
    assert after.start == max(event.start for event in phone.has.values())


def test_what_lies_outside_the_days_is_not_cancelled(tmp_path: Path) -> None:
    """A file of some days says nothing of the others: it neither shows nor cancels what is still planned."""
    home = house(tmp_path)
    whole = home.writes("06-01 08:00")["plan.ics"]
    part = home.writes("06-01 08:01", first=date(2026, 6, 3), last=date(2026, 6, 4))["plan.ics"]
    assert not any(event.cancelled and ENDS not in event.summary for event in events(part).values())
    inside = {
        uid: event
        for uid, event in events(whole).items()
        if utc("06-03 05:00") <= event.start < utc("06-05 05:00") and ENDS not in event.summary
    }
    assert len(inside) >= 6
    assert {uid: event for uid, event in events(part).items() if ENDS not in event.summary} == inside
    home.says("06-01 09:05", f"06-01 09:05 started {dose('06-01')}")
    assert home.again("06-01 09:05") == []
    assert not any(event.cancelled and ENDS not in event.summary for event in events(home.file()).values())
    again = live(events(home.writes("06-01 09:06")["plan.ics"]))
    assert set(again) == set(events(whole))


def test_what_is_gone_from_some_days_is_cancelled_in_their_file(tmp_path: Path) -> None:
    """Whoever got a file of some days hears that what it showed is gone."""
    home = house(tmp_path)
    phone = Importer([home.writes("06-01 08:00", first=date(2026, 6, 3), last=date(2026, 6, 4))["plan.ics"]])
    had = [event for event in phone.has.values() if "velmorin" in event.summary]
    assert len(had) == 4
    home.revises("06-01 12:00", revised(TWO, 2, "06-01 12:00", AT_ONE))
    assert home.again("06-01 12:00") == []
    phone.take(home.file())
    assert sorted(event.start for event in phone.has.values() if "start velmorin" in event.summary) == [
        utc("06-03 18:00"),
        utc("06-04 18:00"),
    ]


def test_what_is_another_lumens_is_not_cancelled_in_this_ones_file(tmp_path: Path) -> None:
    """A lumen's file speaks of that lumen alone, in what is live and in what is cancelled."""
    home = house(tmp_path, BUSY)
    first = home.writes("06-01 08:00", per_lumen=True)
    home.writes("06-01 08:00", out="whole")
    home.says("06-02 12:00", "06-02 12:00 line-removed")
    assert home.again("06-02 12:00") == []
    held = {name: {uid for uid, event in events(content).items()} for name, content in first.items()}
    for name, uids in held.items():
        shown = events(home.file(name))
        assert {uid for uid, event in shown.items() if event.cancelled} <= uids
        assert any(event.cancelled for event in shown.values())
        others = set().union(*(other for place, other in held.items() if place != name))
        assert not set(shown) & others
    assert len(held) == 4


def test_importers_of_a_lumens_file_keep_up(tmp_path: Path) -> None:
    """R23 for the files of the lumens, while each event stays in its lumen."""
    home = house(tmp_path, BUSY)
    phones = {name: Importer([content]) for name, content in home.writes("06-01 08:00", per_lumen=True).items()}
    for now, lines in (
        ("06-01 12:00", f"06-01 11:30 started {dose('06-01')}\n06-01 11:45 lumen-out-of-use lumen=white"),
        ("06-02 12:00", "06-02 09:00 released lumen=white\n06-02 10:00 flushed lumen=blue"),
        ("06-03 12:00", "06-03 12:00 held"),
        ("06-03 13:00", "undo"),
    ):
        home.says(now, lines)
        assert home.again(now) == []
        for name, phone in phones.items():
            phone.take(home.file(name))
            assert {uid: event.said for uid, event in phone.has.items()} == {
                uid: event.said for uid, event in live(events(home.file(name))).items()
            }


def test_a_dose_that_moves_to_another_lumen_leaves_the_old_lumens_calendar(tmp_path: Path) -> None:
    """R19: whoever has each lumen's calendar for itself must not see one dose in two lumens."""
    home = house(tmp_path)
    red = Importer([home.writes("06-01 08:00", per_lumen=True)["plan-red.ics"]])
    home.revises("06-02 12:00", revised(TWO, 2, "06-02 12:00", '[order.velmorin]\nlumen = "blue"\n'))
    assert home.again("06-02 12:00") == []
    red.take(home.file("plan-red.ics"))
    assert any("start velmorin" in event.summary for event in events(home.file("plan-blue.ics")).values())
    ahead = [event for event in red.has.values() if event.start > utc("06-02 17:00")]
    assert [event.summary for event in ahead if "velmorin" in event.summary] == []


def test_a_dose_that_moved_to_another_lumen_is_there_for_whoever_has_both_calendars(tmp_path: Path) -> None:
    """RFC 5546, 2.1.5: in one phone the old lumen's cancellation must not outrank the dose in the new lumen.

    And both calendars hold still afterwards (R14).
    """
    home = house(tmp_path)
    names = list(home.writes("06-01 08:00", per_lumen=True))
    phone = Importer(home.file(name) for name in names)
    home.revises("06-02 12:00", revised(TWO, 2, "06-02 12:00", '[order.velmorin]\nlumen = "blue"\n'))
    assert home.again("06-02 12:00") == []
    moved = [home.file(name) for name in names]
    for content in moved:
        phone.take(content)
    ahead = [event for event in phone.has.values() if event.start > utc("06-02 17:00")]
    assert [event.summary for event in ahead if "start velmorin" in event.summary] == [
        "Blue lumen: start velmorin 1 g"
    ] * 5
    assert home.again("06-02 12:01") == []
    assert [home.file(name) for name in names] == moved


# The care tasks' own calendar, beside those of the lumens


def test_every_event_is_in_exactly_one_of_the_calendars_of_lumens_and_care_tasks(tmp_path: Path) -> None:
    """R20: what is no draw through a lumen has one calendar of its own; together they are the whole one."""
    home = house(tmp_path, CARED)
    whole = events(home.writes("06-01 08:00", out="whole")["plan.ics"])
    parts = home.writes("06-01 08:00", per_lumen=True)
    assert set(parts) == {"plan-red.ics", "plan-blue.ics", "plan-care-tasks.ics"}
    shown = [(uid, event) for content in parts.values() for uid, event in events(content).items()]
    shown = [(uid, event) for uid, event in shown if ENDS not in event.summary]
    assert len(shown) == len(dict(shown))
    assert dict(shown) == {uid: event for uid, event in whole.items() if ENDS not in event.summary}
    assert {event.summary for event in events(parts["plan-care-tasks.ics"]).values()} == {
        *("Change the dressing", "Take velmorin out", "Delivery"),
        "This calendar ends here: get the next one",
    }
    assert len([event for event in events(parts["plan-red.ics"]).values() if "blood draw: Labs" in event.summary]) == 2


def test_a_plan_without_care_tasks_has_no_calendar_of_them(tmp_path: Path) -> None:
    """An empty calendar would only be one more to subscribe to."""
    assert set(house(tmp_path).writes("06-01 08:00", per_lumen=True)) == {"plan-red.ics", "plan-blue.ics"}
    draws = house(tmp_path / "draws", TWO + LABS).writes("06-01 08:00", per_lumen=True)
    assert set(draws) == {"plan-red.ics", "plan-blue.ics"}


def test_importers_of_the_care_tasks_calendar_keep_up(tmp_path: Path) -> None:
    """R23 for the file of the care tasks: what is done, put off, skipped, moved with its dose, taken away by a revision."""
    home = house(tmp_path, CARED)
    phone = Importer([home.writes("06-01 08:00", per_lumen=True)["plan-care-tasks.ics"]])
    titles = []
    for now, lines, edits in (
        ("06-01 19:00", "06-01 18:00 task-done name=dressing", ""),
        ("06-02 17:00", f"06-02 17:00 delayed {dose('06-03')} until=06-03T12:00", ""),
        ("06-03 12:00", "06-03 12:00 task-put-off name=van planned_for=06-04T14:00 until=06-05T11:00", ""),
        ("06-03 13:00", "06-03 13:00 task-skipped name=dressing planned_for=06-05T10:00", ""),
        ("06-03 14:00", "", revised(TWO, 2, "06-03 14:00")),
    ):
        if edits:
            home.revises(now, edits)
        home.says(now, lines)
        assert home.again(now) == []
        phone.take(home.file("plan-care-tasks.ics"))
        shown = live(events(home.file("plan-care-tasks.ics")))
        assert {uid: event.said for uid, event in phone.has.items()} == {
            uid: event.said for uid, event in shown.items()
        }
        ahead = [event for event in shown.values() if event.start > at_minute(at(now)) and ENDS not in event.summary]
        titles.append(sorted(f"{event.start:%d %H:%M} {event.summary}" for event in ahead))
    # 10:00 CDT is 15:00Z. Done on the 1st, the dressing comes on the 3rd, 5th and 7th; the one of the 5th is skipped.
    dressings = [[row for row in step if "dressing" in row] for step in titles]
    every = ["03 15:00 Change the dressing", "05 15:00 Change the dressing", "07 15:00 Change the dressing"]
    assert dressings == [every, every, every[1:], every[2:], []]
    # The bag comes out two hours before its dose: at 7:00, 12:00Z, and for the dose that is put off to noon at 10:00.
    assert "03 12:00 Take velmorin out" in titles[0]
    assert [row for row in titles[1] if row.startswith("03") and "out" in row] == ["03 15:00 Take velmorin out"]
    assert [[row for row in step if "Delivery" in row] for step in titles] == [
        *[["04 19:00 Delivery"]] * 2,
        *[["05 16:00 Delivery"]] * 2,
        [],
    ]
    assert titles[-1] == []


@pytest.mark.parametrize("back", [False, True], ids=["to a vein", "and back into the lumen"])
def test_a_draw_that_leaves_its_lumen_is_there_for_whoever_has_both_calendars(tmp_path: Path, back: bool) -> None:
    """RFC 5546, 2.1.5: the draws are taken from a vein from a revision on. In one phone the cancellation in the lumen's
    calendar must not outrank the draw in that of the care tasks, nor the other way round; then both hold still (R14)."""
    home = house(tmp_path, CARED)
    names = list(home.writes("06-01 08:00", per_lumen=True))
    phone = Importer(home.file(name) for name in names)
    red = Importer([home.file("plan-red.ics")])
    revisions = [("06-02 12:00", revised(CARED, 2, "06-02 12:00", FROM_A_VEIN))]
    if back:
        revisions.append(("06-02 13:00", revised(CARED, 3, "06-02 13:00")))
    for now, edits in revisions:
        home.revises(now, edits)
        assert home.again(now) == []
        for name in names:
            phone.take(home.file(name))
        red.take(home.file("plan-red.ics"))
    draws = ["Red lumen: blood draw: Labs"] * 2 if back else ["Labs"] * 2
    assert [event.summary for event in phone.has.values() if "Labs" in event.summary] == draws
    assert [event.summary for event in red.has.values() if "Labs" in event.summary] == (draws if back else [])
    moved = [home.file(name) for name in names]
    assert home.again("06-02 14:00") == []
    assert [home.file(name) for name in names] == moved


def test_a_revision_that_brings_care_tasks_brings_their_calendar(tmp_path: Path) -> None:
    """Whoever has the lumens' calendars would otherwise miss what is no lumen's; and it stays when they are gone again."""
    home = house(tmp_path)
    home.writes("06-01 08:00", per_lumen=True)
    home.revises("06-02 12:00", revised(CARED, 2, "06-02 12:00"))
    assert home.again("06-02 12:00") == []
    care = events(home.file("plan-care-tasks.ics"))
    assert [event.summary for event in care.values()].count("Take velmorin out") == 5
    home.revises("06-03 12:00", revised(TWO, 3, "06-03 12:00"))
    assert home.again("06-03 12:00") == []
    left = [event for event in events(home.file("plan-care-tasks.ics")).values() if event.start > utc("06-03 17:00")]
    assert left
    assert all(event.cancelled for event in left if ENDS not in event.summary)


def test_a_calendar_of_care_tasks_that_tells_nothing_keeps_its_name_when_a_lumen_comes(tmp_path: Path) -> None:
    """R26: it is numbered 0, before all lumens, so that its phones never get a lumen's events instead."""
    home = house(tmp_path, discreet(CARED, "nothing at all"))
    first = home.writes("06-01 08:00", per_lumen=True)
    assert set(first) == {"calendar-0.ics", "calendar-1.ics", "calendar-2.ics"}
    assert told(on_the_locked_screen(first["calendar-0.ics"])) == set()
    assert told(everything_of(first["calendar-0.ics"])) == set()
    more = '[lumen.green]\nlast_flushed = "2026-06-01 08:00"\n'
    home.revises("06-02 12:00", revised(discreet(CARED + more, "nothing at all"), 2, "06-02 12:00"))
    assert home.again("06-02 12:00") == []
    assert set(events(home.file("calendar-0.ics"))) == set(events(first["calendar-0.ics"]))
    assert home.file("calendar-3.ics")


def test_the_care_tasks_of_one_plan_are_never_taken_for_a_lumen_of_that_name(tmp_path: Path) -> None:
    """A lumen may be called as the file of the care tasks is: both have a file."""
    lumen = '[lumen.care-tasks]\nlast_flushed = "2026-06-01 08:00"\n'
    written = house(tmp_path, CARED + lumen).writes("06-01 08:00", per_lumen=True)
    assert len(written) == 4
    flushes = {name: [e for e in events(content).values() if "flush" in e.summary] for name, content in written.items()}
    assert flushes["plan-care-tasks.ics"]
    assert not flushes["plan-care-tasks-.ics"]


@dataclass(frozen=True)
class TaskCase:
    """What is recorded, what the event of the dressing of 2 June is titled then, and what its description says."""

    lines: str
    title: str
    says: tuple[str, ...] = ()
    status: str = ""
    rings: bool = False
    start: str = "06-02 15:00"


TASK_CASES = {
    "nothing": TaskCase("", "Change the dressing", ("The nurse does this.", "555-0142"), rings=True),
    "done": TaskCase(
        "06-02 11:20 task-done name=dressing",
        "Done: Change the dressing",
        ("Done 11:20 CDT; it was planned for 10:00 CDT.",),
        start="06-02 16:20",
    ),
    "put off": TaskCase(
        "06-02 09:00 task-put-off name=dressing planned_for=06-02T10:00 until=06-03T16:00",
        "Change the dressing",
        ("The nurse does this.",),
        rings=True,
        start="06-03 21:00",
    ),
    "skipped": TaskCase(
        "06-02 09:00 task-skipped name=dressing planned_for=06-02T10:00",
        "Not to be done: Change the dressing",
        ("Somebody said that it is not to be done.",),
        status="CANCELLED",
    ),
    "away": TaskCase("06-01 12:00 held", "Held: Change the dressing", ("they see to it",), status="CANCELLED"),
}


@pytest.mark.parametrize("case", TASK_CASES)
def test_the_calendar_shows_what_happened_to_a_care_task(case: str, tmp_path: Path) -> None:
    """R14, R20, R23: it keeps its UID wherever it goes; what is done or off rings no more, and is as long as it takes."""
    wanted = TASK_CASES[case]
    home = house(tmp_path, CARED)
    first = home.writes("06-01 08:00")["plan.ics"]
    (uid,) = (
        uid for uid, event in events(first).items() if event.start == utc("06-02 15:00") and "dress" in event.summary
    )
    home.says("06-02 11:30", wanted.lines)
    home.again("06-02 11:30")
    event = events(home.file())[uid]
    assert event.summary == wanted.title
    assert event.start == utc(wanted.start)
    assert event.end - event.start == timedelta(minutes=40)
    assert event.status == wanted.status
    assert event.rings == ((event.start - timedelta(minutes=10),) if wanted.rings else ())
    assert all(words in event.description for words in wanted.says)
    assert event.marks == ("Care tasks",)


def test_the_calendar_of_a_lumen_that_is_out_of_use_does_not_stay_as_it_was(tmp_path: Path) -> None:
    """R19: a revision takes a lumen out of use; its calendar is emptied, or the household hears that it is old."""
    home = house(tmp_path)
    home.writes("06-01 08:00", per_lumen=True)
    home.revises("06-02 12:00", revised(TWO, 2, "06-02 12:00", "[lumen.blue]\nin_use = false\n"))
    troubles = home.again("06-02 12:00")
    ahead = [event for event in live(events(home.file("plan-blue.ics"))).values() if event.start > utc("06-02 17:00")]
    flushes = [event for event in ahead if ENDS not in event.summary]
    assert not flushes or any("plan-blue.ics" in trouble for trouble in troubles)


# The commands: a report is followed by the calendars


def run(*arguments: str | Path) -> Result:
    """Run a command; a failure of the program itself is raised, not swallowed."""
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output
    return result


def now_is(clock: str) -> tuple[str, str]:
    """Return the option that says it is a moment of 1 June, on Chicago's clock."""
    return "--now", f"2026-06-01 {clock}-05:00"


def compiled(folder: Path, *options: str) -> House:
    """Return a household that has compiled its calendars with the command."""
    home = house(folder)
    assert run("compile", home.plan_file, "--out", home.folder / "out", *options, *now_is("08:00")).exit_code == 0
    return home


def reported(home: House) -> Result:
    """Report the first dose as started."""
    return run("record", home.plan_file, "started", "velmorin", "9:05", *now_is("09:05"))


def is_recorded(home: House) -> bool:
    """Say whether the report is in the record."""
    return any(told.kind is Kind.STARTED for told in home.record().facts)


@pytest.mark.parametrize(
    ("options", "name"),
    [
        ((), "plan.ics"),
        (("--for-mail",), "plan-mail.ics"),
        (("--per-lumen",), "plan-red.ics"),
        (("--to", "2026-06-02"), "plan.ics"),
    ],
    ids=["whole", "mail", "lumens", "days"],
)
def test_a_report_writes_the_calendars_again(options: tuple[str, ...], name: str, tmp_path: Path) -> None:
    """Where the calendar was written it is written again, as it was asked for, and the answer says so."""
    home = compiled(tmp_path, *options)
    before = home.file(name)
    result = reported(home)
    assert result.exit_code == 0
    place = home.folder / "out" / name
    assert f"Calendar written again: {place} (" in result.stdout
    assert result.stderr == ""
    assert home.file(name) != before
    assert {event.summary for event in events(home.file(name)).values()} >= {"Done: Red lumen: start velmorin 1 g"}
    assert set(events(home.file(name))) == set(events(before)), "the same days and lumens"


def test_undo_and_import_write_the_calendars_again_too(tmp_path: Path) -> None:
    """Whatever changes the record changes the calendars."""
    home = compiled(tmp_path / "here")
    reported(home)
    told = home.file()
    kept = tmp_path / "record.jsonl"
    assert run("export", home.plan_file, "--out", kept, *now_is("09:06")).exit_code == 0
    result = run("undo", home.plan_file, *now_is("09:07"))
    assert result.exit_code == 0
    assert "Calendar written again" in result.stdout
    assert not by_title(home.file(), "Done: Red lumen: start velmorin 1 g")
    other = compiled(tmp_path / "there")
    result = run("import", other.plan_file, kept, *now_is("09:08"))
    assert result.exit_code == 0
    assert f"Calendar written again: {other.folder / 'out' / 'plan.ics'} (" in result.stdout
    assert {uid: event.said for uid, event in events(other.file()).items()} == {
        uid: event.said for uid, event in events(told).items()
    }


def spoil(home: House, how: str) -> None:
    """Put something in the way of the calendar."""
    out = home.folder / "out"
    if how == "the folder is gone":
        shutil.rmtree(out)
    elif how == "a file stands in the folder's place":
        shutil.rmtree(out)
        out.write_text("no folder")
    elif how == "the file was deleted":
        (out / "plan.ics").unlink()
    else:
        (out / "plan.json").unlink()
        (out / "plan.json").mkdir()  # nobody can write there, whoever runs this


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ("the folder is gone", "is not there any more"),
        ("a file stands in the folder's place", "is not there any more"),
        ("the file was deleted", "is not there any more"),
        ("the folder cannot be written", "cannot be written"),
    ],
)
def test_a_report_stands_though_the_calendar_cannot_be_written(how: str, says: str, tmp_path: Path) -> None:
    """R13: what happened is recorded whatever becomes of the calendar; the household hears that it is old."""
    home = compiled(tmp_path)
    before = home.file()
    spoil(home, how)
    result = reported(home)
    assert result.exit_code == 0
    assert is_recorded(home)
    assert "Recorded: " in result.stdout
    assert "Calendar written again" not in result.stdout
    assert "A calendar is old now: " in result.stderr
    assert says in result.stderr
    assert "What you reported is recorded." in result.stderr
    if how == "the folder cannot be written":
        assert home.file() == before
    else:
        assert not (home.folder / "out" / "plan.ics").is_file(), "what was taken away is not put back unasked"


def test_one_calendar_in_the_way_does_not_keep_the_others_old(tmp_path: Path) -> None:
    """Each that can be written is written."""
    home = compiled(tmp_path)
    run("compile", home.plan_file, "--out", home.folder / "other", *now_is("08:00"))
    spoil(home, "the folder cannot be written")
    result = reported(home)
    assert result.exit_code == 0
    assert f"Calendar written again: {home.folder / 'other' / 'plan.ics'} (" in result.stdout
    assert "A calendar is old now: " in result.stderr
    assert by_title(home.file(out="other"), "Done: Red lumen: start velmorin 1 g")


def test_a_deleted_lumens_calendar_does_not_keep_the_others_old(tmp_path: Path) -> None:
    """The red lumen's calendar is written though somebody deleted the blue one's; or both are said to be old."""
    home = compiled(tmp_path, "--per-lumen")
    (home.folder / "out" / "plan-blue.ics").unlink()
    result = reported(home)
    assert result.exit_code == 0
    assert by_title(home.file("plan-red.ics"), "Done: Red lumen: start velmorin 1 g") or (
        "plan-red.ics" in result.stderr
    )


def test_a_record_that_cannot_be_read_leaves_the_calendar_as_it_was(tmp_path: Path) -> None:
    """Without a record nothing is written: a calendar without it would have lower numbers and no past."""
    home = compiled(tmp_path)
    before = {path: path.read_bytes() for path in (home.folder / "out").iterdir()}
    (store,) = home.folder.glob("record-*.sqlite3")
    store.write_bytes(b"spoilt" + store.read_bytes()[6:])
    for arguments in (
        ("record", home.plan_file, "started", "velmorin"),
        ("undo", home.plan_file),
        ("compile", home.plan_file, "--out", home.folder / "out"),
    ):
        result = run(*arguments, *now_is("09:05"))
        assert result.exit_code == 1
        assert str(store) in result.stderr
    assert {path: path.read_bytes() for path in (home.folder / "out").iterdir()} == before


def full_disk(monkeypatch: pytest.MonkeyPatch, kinds: set[Kind]) -> None:
    """Let the record refuse facts of some kinds."""
    append = Store.append

    def refused(store: Store, facts: list[Fact], *, after: int | None = None) -> tuple[Fact, ...]:
        if kinds & {told.kind for told in facts}:
            raise RecordError("The record cannot be written: the disk is full.")
        return append(store, facts, after=after)

    monkeypatch.setattr(Store, "append", refused)


def test_a_report_that_cannot_be_recorded_leaves_the_calendar_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is not in the record is not in the calendar."""
    home = compiled(tmp_path)
    before = home.file()
    full_disk(monkeypatch, {Kind.STARTED})
    result = reported(home)
    assert result.exit_code == 1
    assert "the disk is full" in result.stderr
    assert "Recorded" not in result.stdout
    assert home.file() == before


def test_numbers_that_cannot_be_recorded_are_not_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The report stands, the calendar stays as it was, and the household hears of it."""
    home = compiled(tmp_path)
    before = home.file()
    with monkeypatch.context() as patch:
        full_disk(patch, {Kind.PUBLISHED})
        result = reported(home)
    assert result.exit_code == 0
    assert is_recorded(home)
    assert "A calendar is old now: The record cannot be written: the disk is full." in result.stderr
    assert home.file() == before
    assert home.again("06-01 09:06") == []
    ledger = Ledger()
    for content in (before, home.file()):
        ledger.check(content)
    assert ledger.rises


# Numbers are recorded before they are shown


class Killed(BaseException):
    """The program ends here."""


def killed(*_: object, **_private: object) -> None:
    """Stand in for a program that is killed before it writes."""
    raise Killed


def recorded_numbers(home: House) -> dict[str, int]:
    """Return the highest number of each event that the record says was published."""
    numbers: dict[str, int] = {}
    for told_ in home.publications:
        for uid, shown in told_.shown.items():
            numbers[uid] = max(numbers.get(uid, 0), shown.sequence)
    return numbers


def test_numbers_are_on_the_disk_before_the_file_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the file is written, the record as another program reads it knows every number in it."""
    home = house(tmp_path)
    looked: list[int] = []

    def looking(folder: Path, contents: dict[str, bytes], *, private: bool) -> None:
        known = recorded_numbers(home)
        for name, content in contents.items():
            if name.endswith(".ics"):
                assert {uid: event.sequence for uid, event in events(content).items()}.items() <= known.items()
                looked.append(len(known))
        write_files(folder, contents)

    monkeypatch.setattr(reminders.publishing, "write_files", looking)
    home.writes("06-01 08:00")
    home.says("06-01 09:05", f"06-01 09:05 started {dose('06-01')}")
    home.again("06-01 09:05")
    assert len(looked) == 2


@pytest.mark.parametrize("stop", [Killed, KeyboardInterrupt, FileError], ids=lambda error: error.__name__)
def test_a_death_between_record_and_file_lowers_no_number(
    stop: type[BaseException], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Numbers that were recorded and never seen are passed over, not used again for something else.

    After the death somebody reports something more, so that what is written next says something else again.
    """
    home = house(tmp_path)
    first = home.writes("06-01 08:00")["plan.ics"]
    home.says("06-01 09:05", f"06-01 09:05 started {dose('06-01')}")

    def stopped(folder: Path, contents: dict[str, bytes], *, private: bool) -> None:
        lost.append(contents["plan.ics"])
        raise stop("stopped")

    lost: list[bytes] = []
    with monkeypatch.context() as patch:
        patch.setattr(reminders.publishing, "write_files", stopped)
        if stop is FileError:
            assert home.again("06-01 09:05") == ["stopped"]
        else:
            with pytest.raises(stop):
                home.again("06-01 09:05")
    assert home.file() == first
    promised = recorded_numbers(home)
    assert {uid: event.sequence for uid, event in events(lost[0]).items()}.items() <= promised.items()

    home.says("06-01 09:30", f"06-01 09:20 stopped-early {dose('06-01')} sign=pain")
    assert home.again("06-01 09:30") == []
    ledger = Ledger()
    for content in (first, lost[0], home.file()):
        ledger.check(content)
    for uid, number in promised.items():
        assert events(home.file())[uid].sequence >= number
    phone = Importer([first, home.file()])
    assert phone.take(lost[0]) == set(), "should it turn up after all"


def test_after_a_death_the_same_file_is_written_with_the_same_numbers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing was reported meanwhile: what is written then is, byte for byte, what should have been written."""
    home = house(tmp_path)
    home.writes("06-01 08:00")
    home.says("06-01 09:05", f"06-01 09:05 started {dose('06-01')}")
    twin = House(tmp_path / "twin")
    shutil.copytree(tmp_path, twin.folder, ignore=shutil.ignore_patterns("twin"))
    with monkeypatch.context() as patch:
        patch.setattr(reminders.publishing, "write_files", killed)
        with pytest.raises(Killed):
            home.again("06-01 09:05")
    facts = home.record().facts
    assert home.again("06-01 09:40") == []
    assert home.record().facts == facts
    assert home.file() == twin.writes("06-01 09:05")["plan.ics"]


def test_a_file_refused_for_days_still_cancels_what_is_ahead(tmp_path: Path) -> None:
    """Cancelled while nothing could be written: what is still ahead is cancelled in the next file that can."""
    home = house(tmp_path)
    phone = Importer([home.writes("06-01 08:00")["plan.ics"]])
    spoil(home, "the folder cannot be written")
    home.says("06-02 12:00", "06-02 12:00 line-removed")
    assert len(home.again("06-02 12:00")) == 1
    (home.folder / "out" / "plan.json").rmdir()
    assert home.again("06-04 12:00") == []
    phone.take(home.file())
    closing = closing_uids(home)
    ahead = [event for uid, event in phone.has.items() if event.start > utc("06-04 17:00") and uid not in closing]
    assert ahead == []


# Calendars that are kept current: the feed, and published folders

KEPT = reminders.publishing.Kept
FEED = "feed/calendar.ics"


def feeds(home: House, now: str, test: str = "") -> dict[str, Shown]:
    """Publish the feed, as the daemon does when it starts; return what it shows."""
    reminders.publishing.publish_feed(home.opened(at(now)), home.folder / "feed", at(now), at(test) if test else None)
    return events((home.folder / FEED).read_bytes())


def renewed(home: House, now: str) -> dict[str, Shown]:
    """Renew what is kept current; return what the feed shows."""
    _, troubles = reminders.publishing.renew(home.opened(at(now)), at(now))
    assert troubles == []
    return events((home.folder / FEED).read_bytes())


def age_of(shown: dict[str, Shown]) -> tuple[str, Shown]:
    """Return the event that says when a calendar was renewed."""
    ((uid, event),) = ((uid, event) for uid, event in shown.items() if event.summary.startswith("Old calendar"))
    return uid, event


def test_what_is_not_renewed_says_so_at_noon_of_the_next_day(tmp_path: Path) -> None:
    """A phone that shows an old copy must not look confirmed. Chicago's noon is 17:00Z in June.

    The event moves on each day, with one UID and rising numbers, and not within a day, whatever else changes. Nothing
    else changes by it.
    """
    home = house(tmp_path)
    first = feeds(home, "06-01 08:00")
    uid, event = age_of(first)
    assert event.start == utc("06-02 17:00")
    assert event.rings == (event.start,)
    assert event.summary == "Old calendar, if this time has come: last renewed Mon 1 Jun 2026"
    for said in ("Tue 2 Jun 2026, 12:00 CDT.", "If you read this after its time", "call On-call nurse"):
        assert said in event.description
    assert renewed(home, "06-01 23:59") == first
    home.says("06-01 23:59", f"06-01 09:00 started {dose('06-01')}")
    assert home.again("06-01 23:59") == []
    assert age_of(renewed(home, "06-01 23:59")) == (uid, event)

    before = renewed(home, "06-01 23:59")
    after = renewed(home, "06-02 00:00")
    assert age_of(after)[0] == uid
    moved = age_of(after)[1]
    assert (moved.start, moved.sequence) == (utc("06-03 17:00"), event.sequence + 2)
    assert moved.numbers > event.numbers
    assert {key for key in after if after[key] != before.get(key)} == {uid}
    assert set(after) == set(before)


def test_a_calendar_that_ends_needs_no_renewal(tmp_path: Path) -> None:
    """After its end, or the line's removal, nothing is to come of which a copy could be old: it is cancelled, then gone.

    The plan ends on 8 June, 00:00 CDT, at which a last event says that the calendar ends.
    """
    home = house(tmp_path)
    uid, _ = age_of(feeds(home, "06-01 08:00"))
    days = [renewed(home, f"06-{day:02} 08:00").get(uid) for day in range(2, 13)]
    live_days = [event is not None and not event.cancelled for event in days]
    ends = home.opened(at("06-01 08:00")).schedule(at("06-01 08:00")).end
    assert live_days == [at(f"06-{day + 1:02} 12:00") < ends for day in range(2, 13)]
    assert not live_days[-1] and live_days[0]
    assert days[-1] is None

    other = house(tmp_path / "other")
    uid, _ = age_of(feeds(other, "06-01 08:00"))
    other.says("06-02 12:00", "06-02 12:00 line-removed")
    gone = renewed(other, "06-02 12:00")[uid]
    assert gone.cancelled and gone.rings == ()


def test_nobody_is_woken_because_a_calendar_is_old(tmp_path: Path) -> None:
    """Where noon lies in the quiet hours, it rings before they begin."""
    home = house(tmp_path, TWO.replace('"22:00-07:00"', '"10:30-14:00"'))
    _, event = age_of(feeds(home, "06-01 08:00"))
    assert event.start == utc("06-02 17:00")
    assert event.rings == (utc("06-02 15:29"),)


@pytest.mark.parametrize("reveals", ["nothing at all", "nothing on the locked screen"])
def test_how_old_it_is_tells_a_stranger_nothing(reveals: str, tmp_path: Path) -> None:
    """R26, the test alarm among it."""
    home = house(tmp_path, f'{TWO}\n[calendar]\nreveals = "{reveals}"\n')
    shown = feeds(home, "06-01 08:00", test="06-01 08:15")
    assert {event.summary for event in shown.values()} == {"Reminder", "TEST"}
    own = [event for event in shown.values() if "last renewed" in event.description or event.summary == "TEST"]
    assert len(own) == 2
    if reveals == "nothing at all":
        for event in own:
            assert not re.search("flush|infus|nurse|Fennimore|velmorin|555", event.description)
    home.says("06-01 12:00", "06-01 12:00 line-removed")
    assert {event.summary for event in renewed(home, "06-01 12:00").values()} <= {"Reminder", "TEST"}


def test_what_belongs_to_one_calendar_is_in_no_other(tmp_path: Path) -> None:
    """Neither shown nor cancelled: a file that was compiled, one for e-mail, another folder; in any order, ever after.

    All the others say of the plan's events what they said, with the same numbers, and hold still.
    """
    home = house(tmp_path)
    home.writes("06-01 08:00", out="files")
    home.writes("06-01 08:00", out="files", for_mail=True)
    feeds(home, "06-01 08:00", test="06-01 08:15")
    reminders.publishing.publish(
        home.opened(at("06-01 08:00")),
        reminders.publishing.Wanted(tmp_path / "synced", "plan", kept=KEPT.FOLDER),
        at("06-01 08:00"),
    )
    home.writes("06-01 08:00", out="later")
    plain = tmp_path / "files" / "plan.ics"
    paths = [plain, *sorted(path for path in tmp_path.glob("*/*.ics") if path != plain)]
    assert len(paths) == 5
    assert not (tmp_path / "feed" / "calendar.json").exists() and not (tmp_path / "synced" / "plan.json").exists()
    for now, lines in (
        ("06-01 08:00", ""),
        ("06-01 09:20", f"06-01 09:15 started {dose('06-01')}"),
        ("06-02 12:00", ""),
        ("06-04 12:00", "06-04 11:00 line-removed"),
    ):
        home.says(now, lines)
        assert home.again(now) == []
        shown = {path: events(path.read_bytes()) for path in paths}
        plan = {touch.uid for touch in home.opened(at(now)).schedule(at(now)).touches}
        kept = [path for path in paths if path.parent.name in ("feed", "synced")]
        own = {path: set(shown[path]) - plan - set(shown[plain]) for path in kept}
        assert all(own.values())
        for path, one in shown.items():
            others = {uid for of, uids in own.items() if of != path for uid in uids}
            assert not others & set(one), path
            assert {uid: one[uid] for uid in set(one) - own.get(path, set())} == shown[plain]
        before = {path: path.read_bytes() for path in paths}
        facts = len(home.record().facts)
        assert home.again(now) == []
        assert ({path: path.read_bytes() for path in paths}, len(home.record().facts)) == (before, facts)


def test_the_feed_keeps_all_that_is_promised_of_calendars(tmp_path: Path) -> None:
    """R23 over a life of tests, reports and days: no number falls, no phone keeps what is gone, whatever it missed."""
    home = house(tmp_path)
    ledger = Ledger()
    files: list[bytes] = []
    for now, lines, test in (
        ("06-01 08:00", "", ""),
        ("06-01 08:01", "", "06-01 08:15"),
        ("06-01 08:20", "", "06-01 09:20"),
        ("06-01 09:30", f"06-01 09:30 started {dose('06-01')}", ""),
        ("06-01 10:25", "", ""),
        ("06-02 07:00", "", ""),
        ("06-02 08:00", "undo", ""),
        ("06-03 07:00", "", "06-04 07:00"),
        ("06-04 08:30", "", ""),
    ):
        home.says(now, lines)
        feeds(home, now, test)
        files.append((home.folder / FEED).read_bytes())
        ledger.check(files[-1])
    newest = live(events(files[-1]))
    for missed in range(len(files) - 1):
        phone = Importer([files[missed], files[-1]])
        late = {uid: event.said for uid, event in phone.has.items() if event.end > utc("06-04 13:30")}
        assert late == {uid: event.said for uid, event in newest.items() if event.end > utc("06-04 13:30")}


def test_a_feed_of_another_computer_is_left_alone(tmp_path: Path) -> None:
    """A record that came from elsewhere names a feed that is not here: no trouble, nothing is made there."""
    home = house(tmp_path)
    feeds(home, "06-01 08:00")
    shutil.rmtree(tmp_path / "feed")
    home.says("06-01 09:05", f"06-01 09:05 started {dose('06-01')}")
    assert home.again("06-01 09:05") == []
    assert not (tmp_path / "feed").exists()
    assert "Old calendar" in str(feeds(home, "06-01 09:10").values()), "the daemon makes it anew"


def test_the_feed_lies_in_a_folder_of_its_owners_own(tmp_path: Path) -> None:
    """Nobody else on the computer may look into it, whatever the umask."""
    home = house(tmp_path)
    before = os.umask(0)
    try:
        feeds(home, "06-01 08:00")
    finally:
        os.umask(before)
    if os.name == "posix":
        assert (tmp_path / "feed").stat().st_mode & 0o777 == 0o700
    (tmp_path / "house2").mkdir()
    other = house(tmp_path / "house2")
    (tmp_path / "house2" / "feed").write_text("in the way")
    with pytest.raises(FileError, match="cannot be used"):
        feeds(other, "06-01 08:00")
    assert other.publications == []
