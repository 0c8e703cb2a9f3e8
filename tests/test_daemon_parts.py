"""The daemon's parts, each alone: its journal, its sign of life, what it keeps of plan and record, its passing addresses, its log."""

import json
import logging
import os
import sqlite3
import stat
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from small_plans import DAILY, plan_text, z

from reminders.daemon import journal as journal_module
from reminders.daemon import log as log_module
from reminders.daemon.journal import Journal, JournalError, latest
from reminders.daemon.keeper import Keeper
from reminders.daemon.life import Life, RunsAlreadyError, only_one, read_life, runs, tell_system, write_life
from reminders.daemon.log import begin_log, end_log, where
from reminders.daemon.once import LASTS, MOST, Once
from reminders.household import add_facts, open_household, open_in_use, put_in_use
from reminders.record.facts import Kind
from reminders.reporting import report_to
from reminders.saying.phrases import Said, Verb
from reminders.times import Instant

OWNER_ONLY = pytest.mark.skipif(os.name != "posix", reason="not run: this system has no modes of files")


def mode(path: Path) -> int:
    """Return who may do what with a file."""
    return stat.S_IMODE(path.stat().st_mode)


# --- The journal ---

EIGHT, NINE = z("2026-06-01 13:00"), z("2026-06-01 14:00")


@pytest.fixture(name="place")
def place_of_a_journal(tmp_path: Path) -> Path:
    return tmp_path / "state" / "raised.sqlite3"


def states(place: Path) -> list[str]:
    with closing(sqlite3.connect(place)) as connection:
        return [state for (state,) in connection.execute("SELECT state FROM raised ORDER BY number")]


def test_what_was_shown_is_known_the_next_time(place: Path) -> None:
    with closing(Journal(place)) as journal:
        journal.end(journal.begin(1.5, "Now: red", {"red@1": EIGHT, "grey@1": NINE}))
        journal.end(journal.begin(2.5, "Now: blue", {"blue@1": NINE}), why="nobody answers")
        journal.end(journal.begin(3.5, "Now: green", {"green@1": NINE}), why="nobody answers", rang=True)
    with closing(Journal(place)) as journal:
        assert journal.told() == {"red@1": EIGHT, "grey@1": NINE, "green@1": NINE}
        assert journal.unfinished() == {}
        assert [(row.at, row.title, row.shown, row.why) for row in journal.latest()] == [
            (3.5, "Now: green", False, "nobody answers"),
            (2.5, "Now: blue", False, "nobody answers"),
            (1.5, "Now: red", True, ""),
        ]
        assert journal.latest(1) == journal.latest()[:1]
    assert latest(place) == latest(place, 3)


def test_the_later_of_two_tellings_stands_whatever_their_order(place: Path) -> None:
    with closing(Journal(place)) as journal:
        for moment in (EIGHT, NINE, EIGHT):
            journal.end(journal.begin(1.0, "Now: red", {"red@1": moment}))
        assert journal.told() == {"red@1": NINE}


def test_a_crash_between_beginning_and_end_leaves_what_may_have_been_shown(place: Path) -> None:
    """It is known until it is told again; of what is told again in part, the rest is still known."""
    with closing(Journal(place)) as journal:
        journal.end(journal.begin(1.0, "Now: red", {"red@1": EIGHT}))
        journal.begin(2.0, "Now: grey", {"grey@1": NINE})
        journal.begin(3.0, "2 things now", {"blue@1": NINE, "green@1": NINE})
    with closing(Journal(place)) as journal:
        assert journal.told() == {"red@1": EIGHT}
        assert journal.unfinished() == {"grey@1": NINE, "blue@1": NINE, "green@1": NINE}
        assert [row.why for row in journal.latest()] == [journal_module.WHY_NOT_KNOWN, journal_module.WHY_NOT_KNOWN, ""]
        again = journal.begin(4.0, "Now: grey", {"grey@1": NINE})
        journal.end(again, why="nobody answers")
        assert "grey@1" in journal.unfinished(), "it was not told again"
        journal.end(journal.begin(5.0, "Now: grey", {"grey@1": NINE}))
        journal.end(journal.begin(6.0, "Now: blue", {"blue@1": NINE}))
        assert journal.unfinished() == {"blue@1": NINE, "green@1": NINE}
        journal.end(journal.begin(7.0, "2 things now", {"blue@1": NINE, "green@1": NINE}))
        assert journal.unfinished() == {}
    assert states(place) == ["shown", "unknown", "unknown", "failed", "shown", "shown", "shown"]


def test_a_clock_that_was_ahead_is_forgotten(place: Path) -> None:
    with closing(Journal(place)) as journal:
        journal.end(journal.begin(1.0, "2 things now", {"red@1": EIGHT, "grey@1": NINE}))
        journal.forget_after(EIGHT)
        assert journal.told() == {"red@1": EIGHT}


def test_so_many_are_kept_and_what_is_unfinished_besides(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal_module, "KEPT", 5)
    with closing(Journal(place)) as journal:
        journal.begin(0.0, "Now: red", {"red@1": EIGHT})
        for number in range(1, 21):
            journal.end(journal.begin(float(number), f"Now: grey {number}", {f"grey@{number}": NINE}))
        assert [row.at for row in journal.latest(100)] == [20.0, 19.0, 18.0, 17.0, 16.0, 0.0]
        assert journal.unfinished() == {"red@1": EIGHT}
        assert len(journal.told()) == 20, "what was told stays told"


@OWNER_ONLY
def test_only_its_owner_reads_it(place: Path) -> None:
    before = os.umask(0)
    try:
        with closing(Journal(place)) as journal:
            journal.begin(1.0, "Now: red", {"red@1": EIGHT})
            assert (mode(place.parent), mode(place)) == (0o700, 0o600)
    finally:
        os.umask(before)


@pytest.mark.parametrize("what", ["no database", "half of one", "another layout", "a damaged page"])
def test_one_that_cannot_be_used_is_put_aside(place: Path, what: str) -> None:
    with closing(Journal(place)) as journal:
        for number in range(50):
            journal.end(journal.begin(float(number), "Now: red" * 40, {f"red@{number}": EIGHT}))
    whole = place.read_bytes()
    if what == "no database":
        place.write_bytes(b"nothing of the kind " * 200)
    elif what == "half of one":
        place.write_bytes(whole[: len(whole) // 2])
    elif what == "another layout":
        with closing(sqlite3.connect(place)) as connection:
            connection.execute("PRAGMA user_version = 7")
    else:
        place.write_bytes(whole[:8192] + b"\xff" * 4096 + whole[12288:])
    was = place.read_bytes()
    with closing(Journal(place)) as journal:
        assert journal.told() == {}
        journal.end(journal.begin(1.0, "Now: red", {"red@1": EIGHT}))
        assert journal.told() == {"red@1": EIGHT}
    (aside,) = place.parent.glob("*.damaged")
    assert aside.read_bytes() == was


@pytest.mark.parametrize("kept", [0, 1])
def test_one_whose_making_was_cut_short_is_made_anew(place: Path, kept: int) -> None:
    """An empty file, and one with the first of its tables."""
    place.parent.mkdir()
    place.touch()
    if kept:
        with closing(sqlite3.connect(place)) as connection:
            connection.execute(journal_module.TABLES[0])
    with closing(Journal(place)) as journal:
        journal.end(journal.begin(1.0, "Now: red", {"red@1": EIGHT}))
    assert [row.title for row in latest(place)] == ["Now: red"]


def test_one_that_cannot_be_opened_says_which(tmp_path: Path) -> None:
    """A folder lies in its place, or a file where its folder should be; it is not put aside."""
    (tmp_path / "raised.sqlite3").mkdir()
    (tmp_path / "file").touch()
    for place in (tmp_path / "raised.sqlite3", tmp_path / "file" / "raised.sqlite3"):
        with pytest.raises(JournalError) as found:
            Journal(place)
        assert str(place) in str(found.value)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "raised.sqlite3"]


def test_one_that_somebody_holds_says_so_and_loses_nothing(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As a program that copies it may; nobody waits for that for ever."""
    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda path, timeout=5.0: connect(path, timeout=timeout / 50))
    with closing(Journal(place)) as journal:
        journal.end(journal.begin(1.0, "Now: red", {"red@1": EIGHT}))
        with closing(connect(place)) as other:
            other.execute("BEGIN EXCLUSIVE")
            for use in (lambda: journal.begin(2.0, "Now: grey", {"grey@1": NINE}), journal.told, journal.latest):
                with pytest.raises(JournalError, match="locked"):
                    use()
            other.rollback()
        journal.end(journal.begin(3.0, "Now: blue", {"blue@1": NINE}))
        assert journal.told() == {"red@1": EIGHT, "blue@1": NINE}
        assert states(place) == ["shown", "shown"]


def test_there_is_nothing_to_read_before_there_is_a_journal(place: Path) -> None:
    assert latest(place) == ()
    assert not place.parent.exists()


def test_a_damaged_one_says_so_to_whoever_only_looks(place: Path) -> None:
    place.parent.mkdir()
    place.write_bytes(b"nothing of the kind " * 200)
    with pytest.raises(JournalError, match="not a database"):
        latest(place)
    assert list(place.parent.iterdir()) == [place], "only the daemon puts it aside"


# --- The sign of life, and the lock ---


def as_told(life: Life | None) -> dict[str, object]:
    """Return a sign of life as JSON has it."""
    assert life is not None
    told: dict[str, object] = json.loads(json.dumps(asdict(life)))
    return told


def test_the_sign_of_life_comes_back_as_it_was_written(tmp_path: Path) -> None:
    path = tmp_path / "life.json"
    life = Life(
        pid=7, started=1.5, last_tick=None, home="http://127.0.0.1:1/", once="x", pop_ups="no", troubles=["full"]
    )
    write_life(path, life)
    assert as_told(read_life(path)) == as_told(life)
    write_life(path, replace(life, last_tick=3.5, troubles=()))
    assert as_told(read_life(path)) == {**as_told(life), "last_tick": 3.5, "troubles": []}
    assert list(tmp_path.iterdir()) == [path], "nothing is left beside it"


@OWNER_ONLY
def test_only_the_owner_reads_the_sign_of_life(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        write_life(tmp_path / "life.json", Life(pid=7, started=1.5, last_tick=None))
    finally:
        os.umask(before)
    assert mode(tmp_path / "life.json") == 0o600


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b"7",
        b'"text"',
        b'{"pid": 7}',
        b'{"pid": 7, "started": 1, "last_tick": 2, "of": "a later release"}',
        b"\xff\xfe\x00",
    ],
)
def test_a_damaged_sign_of_life_is_none(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "life.json"
    path.write_bytes(content)
    assert read_life(path) is None


def test_no_sign_of_life_is_none(tmp_path: Path) -> None:
    assert read_life(tmp_path / "life.json") is None
    (tmp_path / "life.json").mkdir()
    assert read_life(tmp_path / "life.json") is None


def test_a_sign_of_life_that_cannot_be_written_leaves_the_last_one(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="life"):
        write_life(tmp_path / "gone" / "life.json", Life(pid=7, started=1.5, last_tick=None))
    (tmp_path / "life.json").mkdir()
    with pytest.raises(OSError, match="life"):
        write_life(tmp_path / "life.json", Life(pid=7, started=1.5, last_tick=None))
    assert [path.name for path in tmp_path.iterdir()] == ["life.json"], "and nothing beside it"


def test_one_daemon_holds_the_lock(tmp_path: Path) -> None:
    path = tmp_path / "state" / "daemon.lock"
    assert not runs(path)
    assert not path.exists(), "whoever only looks makes nothing"
    lock = only_one(path)
    assert runs(path)
    with pytest.raises(RunsAlreadyError):
        only_one(path)
    lock.release()
    assert not runs(path)
    only_one(path).release()


def test_whoever_only_looks_keeps_no_daemon_from_starting(tmp_path: Path) -> None:
    """``status`` may be asked, again and again, in the moment in which the daemon starts at login."""
    path = tmp_path / "daemon.lock"
    only_one(path).release()
    end = threading.Event()

    def look() -> None:
        while not end.is_set():
            runs(path)

    looking = [threading.Thread(target=look) for _number in range(2)]
    for thread in looking:
        thread.start()
    try:
        for _start in range(30):
            only_one(path).release()
            time.sleep(0)
    finally:
        end.set()
        for thread in looking:
            thread.join()


@OWNER_ONLY
def test_the_lock_is_its_owners(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        only_one(tmp_path / "state" / "daemon.lock").release()
    finally:
        os.umask(before)
    assert mode(tmp_path / "state") == 0o700
    assert mode(tmp_path / "state" / "daemon.lock") == 0o600


def test_a_service_manager_that_is_gone_harms_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    tell_system("READY=1")
    for address in (str(tmp_path / "nobody"), "@nobody-of-that-name", "x" * 300):
        monkeypatch.setenv("NOTIFY_SOCKET", address)
        tell_system("READY=1")


# --- What is kept of plan and record ---

EDITS = DAILY
NEXT = f"""{EDITS}
[plan]
revision = 2
takes_effect = "2026-06-01 08:30"
[order.cefazolin]
clock_times = ["11:00"]
first_dose = "2026-06-01 11:00"
"""


def counted(gloves: int) -> Said:
    """Return the report that so many gloves are left; it moves nothing."""
    return Said(verb=Verb.COUNTED, name="gloves", count=gloves)


class Kept:
    """A plan's file, its record, and a keeper whose clock a test sets."""

    def __init__(self, folder: Path) -> None:
        self.plan = folder / "plan.toml"
        self.write(EDITS)
        self.seconds = z("2026-06-01 13:10") * 60.0
        self.keeper = Keeper(self.plan, lambda: self.seconds)

    def write(self, edits: str) -> None:
        self.plan.write_text(plan_text(edits), encoding="utf-8")

    @property
    def instant(self) -> Instant:
        return Instant(int(self.seconds // 60))

    def count(self, gloves: int) -> None:
        """Report a count from elsewhere."""
        household = open_in_use(self.plan, self.instant)
        assert report_to(household, counted(gloves), f"elsewhere-{gloves}", self.instant).facts

    def counts(self) -> list[int | None]:
        """Return the counts that the keeper knows of."""
        return [fact.count for fact in self.keeper.household.record.of_kind(Kind.STOCK_COUNTED)]

    def starts(self) -> list[str]:
        """Return when the keeper has the first doses begin."""
        clock = self.keeper.schedule.plan.clock
        return [f"{clock.local(dose.start):%H:%M}" for dose in self.keeper.schedule.doses["cefazolin"][:2]]


@pytest.fixture(name="kept")
def kept_by_a_keeper(tmp_path: Path) -> Iterator[Kept]:
    yield Kept(tmp_path)


def test_it_begins_the_record_and_then_rests(kept: Kept) -> None:
    keeper = kept.keeper
    (begun,) = keeper.household.record.facts
    assert begun.kind is Kind.IN_USE
    keeper.refresh()
    version = keeper.version
    assert not keeper.stale
    assert not keeper.refresh()
    assert keeper.version == version
    assert (keeper.trouble, keeper.other_plan) == ("", False)


def test_what_is_recorded_elsewhere_is_read_once(kept: Kept) -> None:
    kept.keeper.refresh()
    kept.count(3)
    assert kept.counts() == []
    assert kept.keeper.stale
    assert kept.keeper.refresh()
    assert kept.counts() == [3]
    assert not kept.keeper.refresh()


def test_what_a_report_left_is_taken_over_and_what_others_wrote_meanwhile_is_read(kept: Kept) -> None:
    keeper = kept.keeper
    mine = report_to(keeper.household, counted(1), "mine", kept.instant)
    kept.count(2)
    keeper.took(mine.household)
    assert kept.counts() == [1]
    assert keeper.stale
    assert keeper.refresh()
    assert sorted(count or 0 for count in kept.counts()) == [1, 2]


def test_a_plan_with_errors_leaves_what_was_known(kept: Kept) -> None:
    keeper = kept.keeper
    good, version = kept.plan.read_text(encoding="utf-8"), keeper.version
    for bad in (good.replace('lumen = "red"', 'lumen = "blue"'), "[plan\n", "", "\x00"):
        kept.plan.write_text(bad, encoding="utf-8")
        assert keeper.refresh()
        assert keeper.trouble.startswith("plan.toml has errors. See which with  reminders check ")
        assert keeper.version > version, "an open page says so"
        assert not keeper.refresh(), "it is read once"
        assert kept.starts() == ["09:00", "09:00"]
        version = keeper.version
    kept.plan.write_text(good, encoding="utf-8")
    assert keeper.refresh()
    assert keeper.trouble == ""


def test_a_plan_that_is_gone_leaves_what_was_known(kept: Kept) -> None:
    moved = kept.plan.rename(kept.plan.with_name("elsewhere.toml"))
    assert kept.keeper.refresh()
    assert "There is no file" in kept.keeper.trouble
    assert kept.starts() == ["09:00", "09:00"]
    moved.rename(kept.plan)
    assert kept.keeper.refresh()
    assert kept.keeper.trouble == ""


def test_a_new_day_comes_with_a_plan_that_has_errors_too(kept: Kept) -> None:
    kept.plan.write_text("[plan\n", encoding="utf-8")
    kept.keeper.refresh()
    kept.seconds += 86400
    assert kept.keeper.stale
    assert kept.keeper.refresh()
    assert kept.keeper.trouble
    assert not kept.keeper.refresh()


def test_a_plan_that_was_changed_without_a_new_revision_is_not_gone_by(kept: Kept) -> None:
    kept.write(EDITS.replace('["09:00"]', '["10:00"]').replace("06-01 09:00", "06-01 10:00"))
    assert kept.keeper.refresh()
    assert "Someone changed the file without raising revision." in kept.keeper.trouble
    assert kept.starts() == ["09:00", "09:00"]


def test_a_later_revision_waits_until_it_is_put_in_use(kept: Kept) -> None:
    keeper = kept.keeper
    kept.write(NEXT)
    assert keeper.refresh()
    assert (keeper.trouble, keeper.household.waiting) == ("", 2)
    assert kept.starts() == ["09:00", "09:00"]
    assert not keeper.refresh()
    add_facts(open_household(kept.plan, kept.instant), lambda current: put_in_use(current, kept.instant), kept.instant)
    assert keeper.refresh()
    assert keeper.household.waiting is None
    assert kept.starts() == ["11:00", "11:00"]


def test_another_plan_in_the_same_place_is_noticed_and_not_taken(kept: Kept) -> None:
    other = "5b0f6a3e-8f1c-4c57-9a64-2f6f0c7b1d21"
    kept.write(f'{EDITS}\n[plan]\nid = "{other}"\n')
    assert kept.keeper.refresh()
    assert kept.keeper.other_plan
    assert str(kept.keeper.household.plan.course.id) != other


def test_a_record_that_is_gone_takes_nothing_away(kept: Kept) -> None:
    """As when something that copies folders moves it for a moment: what was reported stays known, and the household is told."""
    kept.count(3)
    kept.keeper.refresh()
    store = kept.keeper.household.store_path
    moved = store.rename(store.with_name("elsewhere"))
    assert kept.keeper.refresh()
    assert kept.counts() == [3]
    assert kept.keeper.trouble
    moved.rename(store)
    assert kept.keeper.refresh()
    assert kept.keeper.trouble == ""
    assert kept.counts() == [3]


def test_a_record_that_is_damaged_takes_nothing_away(kept: Kept) -> None:
    kept.count(3)
    kept.keeper.refresh()
    store = kept.keeper.household.store_path
    good = store.read_bytes()
    store.write_bytes(b"nothing of the kind " * 200)
    assert kept.keeper.refresh()
    assert str(store) in kept.keeper.trouble
    assert kept.counts() == [3]
    store.write_bytes(good)
    assert kept.keeper.refresh()
    assert (kept.keeper.trouble, kept.counts()) == ("", [3])


def test_a_new_day_is_looked_at_anew(kept: Kept) -> None:
    """An open-ended plan looks ahead from today; midnight is the household's, five hours after that of UTC."""
    keeper = kept.keeper
    keeper.refresh()
    kept.seconds = z("2026-06-02 04:59") * 60.0
    assert not keeper.stale
    kept.seconds = z("2026-06-02 05:00") * 60.0
    assert keeper.stale
    version = keeper.version
    assert keeper.refresh()
    assert keeper.version > version
    assert not keeper.stale


def test_reports_go_on_while_the_plan_cannot_be_read(kept: Kept) -> None:
    """What was written meanwhile, such as what a calendar has shown, needs no look into the plan's file."""
    kept.keeper.refresh()
    household = kept.keeper.household
    kept.count(1)
    kept.plan.write_text("[plan\n", encoding="utf-8")
    found = report_to(household, counted(2), "second", kept.instant)
    assert [fact.count for fact in found.facts] == [2]
    assert {fact.count for fact in found.household.record.of_kind(Kind.STOCK_COUNTED)} == {1, 2}


# --- Addresses that work once ---


def test_a_passing_address_works_once_and_for_a_while() -> None:
    seconds = [1000.0]
    once = Once(lambda: seconds[0])
    first, second = once.issue(), once.issue()
    assert first != second
    assert once.waits(first)
    assert once.redeem(first)
    assert not once.waits(first)
    assert not once.redeem(first)
    seconds[0] += LASTS
    assert once.waits(second)
    seconds[0] += 0.001
    assert not once.waits(second)
    assert not once.redeem(second)


def test_nobody_guesses_a_passing_address() -> None:
    once = Once(lambda: 1000.0)
    token = once.issue()
    assert len(token) >= 32
    for wrong in ("", token[:-1], token.upper() if token.upper() != token else "x", "\udcff", "é", "x" * 10_000):
        assert not once.redeem(wrong)
        assert not once.waits(wrong)
    assert once.redeem(token)
    assert token not in repr(vars(once))


def test_so_many_wait_and_the_oldest_goes_first() -> None:
    once = Once(lambda: 1000.0)
    tokens = [once.issue() for _number in range(MOST + 3)]
    assert [once.waits(token) for token in tokens] == [False] * 3 + [True] * MOST


# --- The log ---


@pytest.fixture(name="log")
def a_log(tmp_path: Path) -> Iterator[Path]:
    """Give the place of a log that is begun, and leave the logging of the tests as it was."""
    loggers = [logging.getLogger(), logging.getLogger("reminders")]
    before = [logger.level for logger in loggers]
    path = tmp_path / "log" / "daemon.log"
    handler = begin_log(path)
    try:
        yield path
    finally:
        end_log(handler)
        for logger, level in zip(loggers, before, strict=True):
            logger.setLevel(level)


SECRET = "/s3cr3t-of-the-page/ cefazolin"


def test_our_own_messages_are_logged_as_they_are(log: Path) -> None:
    logging.getLogger("reminders.daemon").info("pop-up %d: shown", 3)
    logging.getLogger("reminders.daemon").debug("nothing")
    assert log.read_text(encoding="utf-8").endswith(" INFO pop-up 3: shown\n")
    assert log.read_text(encoding="utf-8").count("\n") == 1


def test_the_text_of_an_error_is_not_logged(log: Path) -> None:
    """Neither what our own code logs with its error, nor what others do."""
    try:
        raise ValueError(SECRET)
    except ValueError as error:
        logging.getLogger("reminders.daemon").exception("looking failed: %s", where(error), stack_info=True)
        logging.getLogger("uvicorn.error").exception("Exception in %s", SECRET)
    logging.getLogger("asyncio").error("Task failed: %s", SECRET, stack_info=True)
    logging.getLogger("uvicorn.error").warning("Invalid request: %s", SECRET, extra={"where": SECRET})
    logging.getLogger("apscheduler.scheduler").info("Added job %s", SECRET)
    written = log.read_text(encoding="utf-8")
    assert "cret" not in written
    assert "cefazolin" not in written
    assert [line.split(" ", 2)[2] for line in written.splitlines()] == [
        f"ERROR looking failed: ValueError at {Path(__file__).name}:{_line_of('raise ValueError(SECRET)')}",
        "ERROR ValueError from uvicorn.error",
        "ERROR message from asyncio",
        "WARNING message from uvicorn.error",
    ]


def _line_of(text: str) -> int:
    lines = Path(__file__).read_text(encoding="utf-8").splitlines()
    return 1 + next(number for number, line in enumerate(lines) if line.strip() == text)


@OWNER_ONLY
def test_the_log_is_its_owners_and_never_endless(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each of its files, also those that come after the first; whatever the umask."""
    monkeypatch.setattr(log_module, "LARGEST", 2000)
    before = os.umask(0)
    path = tmp_path / "log" / "daemon.log"
    handler = begin_log(path)
    try:
        for number in range(400):
            logging.getLogger("reminders.daemon").warning("line %d", number)
    finally:
        os.umask(before)
        end_log(handler)
    files = sorted(path.parent.iterdir())
    assert [file.name for file in files] == ["daemon.log", *(f"daemon.log.{n}" for n in range(1, log_module.KEPT + 1))]
    assert all(file.stat().st_size <= 2000 for file in files)
    assert path.read_text(encoding="utf-8").endswith("line 399\n")
    assert mode(path.parent) == 0o700
    assert {file.name: oct(mode(file)) for file in files} == {file.name: "0o600" for file in files}


def test_a_log_that_was_begun_goes_on(log: Path) -> None:
    logging.getLogger("reminders.daemon").warning("first")
    second = begin_log(log)
    end_log(second)
    logging.getLogger("reminders.daemon").warning("second")
    assert [line.rpartition(" ")[2] for line in log.read_text(encoding="utf-8").splitlines()] == ["first", "second"]


def test_a_log_that_cannot_be_written_says_nothing_in_the_terminal(
    log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a full disk: no traceback, and nothing of the message."""
    handler = next(h for h in logging.getLogger().handlers if getattr(h, "baseFilename", "") == str(log))

    def full() -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(handler, "flush", full)
    logging.getLogger("reminders.daemon").warning("line of the household")
    monkeypatch.undo()
    assert capsys.readouterr() == ("", "")


def test_a_log_that_cannot_be_begun_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "log").write_text("")
    with pytest.raises(OSError, match="log"):
        begin_log(tmp_path / "log" / "daemon.log")


def test_an_error_without_a_place_can_be_named() -> None:
    assert where(KeyError(SECRET)) == "KeyError"
    assert json.dumps(where(KeyError(SECRET))).isascii()
