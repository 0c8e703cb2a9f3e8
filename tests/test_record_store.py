"""The store of the record: what it has acknowledged is there, whole, whatever happens to the program or the disk.

Nothing is simulated where the machine lets us do it really: writers are killed, a small disk is filled, mounted
read-only, a user without rights looks in. A killed program does not prove that a power cut does no harm; that rests on
SQLite's forcing the file to the disk before a commit returns, which is asked for and looked at here too.
"""

import dataclasses
import errno
import json
import os
import random
import shutil
import sqlite3
import stat
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from record_strategies import PLAN_TEXT, fact, facts, identity
from record_writer import PLAN_ID, opened, report

from reminders.record import store as store_module
from reminders.record.facts import Fact, Kind, Record
from reminders.record.lines import line_of
from reminders.record.store import APPLICATION_ID, MIGRATIONS, ChangedMeanwhile, RecordError, Store, record_path

WRITER = Path(__file__).with_name("record_writer.py")
ALL_KINDS = tuple(fact(kind, number) for number, kind in enumerate(Kind, start=1))
SOUND = (*ALL_KINDS, dataclasses.replace(fact(Kind.IN_USE, 90), plan_text=PLAN_TEXT * 100))
KILLS = 510


@pytest.fixture(name="path")
def where_the_record_is(tmp_path: Path) -> Path:
    return record_path(tmp_path / "plan.toml", PLAN_ID)


@pytest.fixture(name="filled")
def a_store_with_a_fact_of_each_kind(path: Path) -> Path:
    with opened(path) as store:
        store.append(ALL_KINDS)
    return path


def read(path: Path) -> tuple[Fact, ...]:
    """Return the facts of a store that must be there."""
    store = Store.open(path, PLAN_ID, create=False)
    assert store is not None
    with store:
        return store.read().facts


def raw(path: Path) -> "closing[sqlite3.Connection]":
    """Open a store past all that the program does."""
    return closing(sqlite3.connect(path, isolation_level=None, timeout=0))


def folder_of(path: Path) -> list[str]:
    """Return the names of all files beside the store, and its own."""
    return sorted(each.name for each in path.parent.iterdir())


def run(*arguments: object) -> "subprocess.Popen[str]":
    """Start the writer in a process of its own."""
    return subprocess.Popen(
        [sys.executable, str(WRITER), *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def said_by(process: "subprocess.Popen[str]") -> str:
    """Wait for a process to end well, and return what it said."""
    said, errors = process.communicate(timeout=300)
    assert process.returncode == 0, errors
    return said


# --- Opening, appending, reading ---


def test_the_record_lies_beside_its_plan() -> None:
    assert record_path(Path("home/plan.toml"), PLAN_ID) == Path(f"home/record-{PLAN_ID}.sqlite3")


def test_what_is_not_there_is_not_made_unasked(path: Path) -> None:
    assert Store.open(path, PLAN_ID, create=False) is None
    assert folder_of(path) == []


def test_a_new_store_is_empty_alone_and_its_owners(path: Path) -> None:
    with opened(path) as store:
        assert store.read().facts == ()
    assert folder_of(path) == [path.name]
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert path.stat().st_nlink == 1


def test_facts_come_back_in_the_order_of_entry(path: Path) -> None:
    """Not in the order in which they happened: the last that is entered here happened first."""
    with opened(path) as store:
        assert store.append(ALL_KINDS[::-1]) == ALL_KINDS[::-1]
        assert store.append((fact(Kind.DRAWN, 99),), after=len(ALL_KINDS)) == (fact(Kind.DRAWN, 99),)
        assert store.read().facts == (*ALL_KINDS[::-1], fact(Kind.DRAWN, 99))
    assert read(path) == (*ALL_KINDS[::-1], fact(Kind.DRAWN, 99))
    assert folder_of(path) == [path.name]


@settings(max_examples=40)
@given(facts())
def test_any_fact_is_kept_as_it_is(told: Fact) -> None:
    with tempfile.TemporaryDirectory() as place:
        path = record_path(Path(place) / "plan.toml", PLAN_ID)
        with opened(path) as store:
            store.append((told,))
        assert read(path) == (told,)


def test_a_report_that_arrives_twice_is_one(path: Path) -> None:
    with opened(path) as store:
        assert store.append(report("r", 2)) == report("r", 2)
        assert store.append(report("r", 2)) == ()
        assert store.append((*report("r", 2), *report("r", 3), *report("r", 3))) == report("r", 3)
    assert read(path) == (*report("r", 2), *report("r", 3))


def test_a_report_of_which_a_part_was_there_is_completed(path: Path) -> None:
    with opened(path) as store:
        store.append(report("r", 2)[1:2])
        assert store.append(report("r", 2)) == (report("r", 2)[0], report("r", 2)[2])


@pytest.mark.parametrize("together", [False, True], ids=["with the store", "within one report"])
def test_one_key_for_two_facts_is_refused_and_nothing_of_the_report_is_kept(path: Path, together: bool) -> None:
    first, other = fact(Kind.FLUSHED, 1), fact(Kind.DRAWN, 1)
    assert first.key == other.key
    with opened(path) as store:
        store.append(() if together else (first,))
        with pytest.raises(RecordError, match=rf'Nothing was recorded .*"{identity(1)}-0".*withdraw') as refused:
            store.append((fact(Kind.DRAWN, 2), *((first,) if together else ()), other))
    assert not isinstance(refused.value, ChangedMeanwhile)
    assert read(path) == (() if together else (first,))


def test_a_fact_that_could_not_be_read_back_is_refused_with_its_whole_report(path: Path) -> None:
    unfit = dataclasses.replace(fact(Kind.DRAWN), note="a\nb")
    with opened(path) as store:
        with pytest.raises(RecordError, match=r"Nothing was recorded.*note holds the control character"):
            store.append((fact(Kind.DRAWN, 2), unfit))
        assert store.read().facts == ()


def test_who_had_read_less_than_is_there_must_read_again(path: Path) -> None:
    with opened(path) as mine, opened(path) as theirs:
        seen = len(mine.read().facts)
        theirs.append(report("theirs", 1))
        with pytest.raises(ChangedMeanwhile, match="meanwhile, and nothing of this was"):
            mine.append(report("mine", 1), after=seen)
        assert mine.read().facts == report("theirs", 1)
        assert mine.append(report("mine", 1), after=len(report("theirs", 1))) == report("mine", 1)
    assert read(path) == (*report("theirs", 1), *report("mine", 1))


def test_who_had_read_more_than_is_there_must_read_again(path: Path) -> None:
    """An older copy has been put in the place of the record meanwhile."""
    with opened(path) as store:
        store.append(report("r", 1))
        with pytest.raises(ChangedMeanwhile):
            store.append(report("r", 2), after=9)
        assert store.read().facts == report("r", 1)


def test_a_store_that_is_closed_says_so(path: Path) -> None:
    store = opened(path)
    store.close()
    with pytest.raises(RecordError, match="Start the program again"):
        store.read()
    with pytest.raises(RecordError, match="Start the program again"):
        store.append(report("r", 1))


@pytest.mark.parametrize("name", ["with ? and # and % and &", "Übung ü", "a'b\"c", "mode=ro?mode=ro"])
def test_a_folder_may_have_any_name(tmp_path: Path, name: str) -> None:
    (tmp_path / name).mkdir()
    path = record_path(tmp_path / name / "plan.toml", PLAN_ID)
    with opened(path) as store:
        store.append(ALL_KINDS)
    assert read(path) == ALL_KINDS
    assert folder_of(path) == [path.name]


def test_a_path_from_the_working_folder_will_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with opened(record_path(Path("plan.toml"), PLAN_ID)) as store:
        store.append(report("r", 1))
    assert read(record_path(tmp_path / "plan.toml", PLAN_ID)) == report("r", 1)


def test_every_commit_is_forced_to_the_disk_and_leaves_one_file(path: Path) -> None:
    """EXTRA forces the folder too, once the journal is gone; 3 is its number (sqlite.org/pragma.html)."""
    with opened(path) as store:
        ask = store._connection.execute
        assert ask("PRAGMA synchronous").fetchone() == (3,)
        assert ask("PRAGMA fullfsync").fetchone() == (1,)
        assert ask("PRAGMA checkpoint_fullfsync").fetchone() == (1,)
        assert ask("PRAGMA journal_mode").fetchone() == ("delete",)


# --- Facts are only ever added ---

BYPASSES = {
    "update a line": "UPDATE facts SET line = 'x' WHERE seq = 1",
    "update a key": "UPDATE facts SET key = 'x'",
    "update and replace": "UPDATE OR REPLACE facts SET key = (SELECT key FROM facts WHERE seq = 2) WHERE seq = 1",
    "delete one": "DELETE FROM facts WHERE seq = 3",
    "delete all": "DELETE FROM facts",
    "replace by number": "REPLACE INTO facts VALUES (1, 'x', 'y', 'z')",
    "replace by key": "REPLACE INTO facts SELECT 100, key, 'y', 'z' FROM facts WHERE seq = 1",
    "insert over": "INSERT INTO facts VALUES (1, 'x', 'y', 'z') ON CONFLICT (seq) DO UPDATE SET line = 'y'",
    "the same key again": "INSERT INTO facts SELECT 100, key, line, digest FROM facts WHERE seq = 1",
}


@pytest.mark.parametrize("statement", BYPASSES.values(), ids=BYPASSES)
def test_the_database_itself_refuses_to_change_a_fact(filled: Path, statement: str) -> None:
    with raw(filled) as connection, pytest.raises(sqlite3.IntegrityError, match="a fact is never"):
        connection.execute(statement)
    assert read(filled) == ALL_KINDS


# --- Several programs at once ---


def test_two_programs_that_make_and_fill_one_store_at_once_lose_nothing(path: Path) -> None:
    """They are let go together, three times, each time on a store that neither finds."""
    for _ in range(3):
        path.unlink(missing_ok=True)
        writers = {who: run("append", path, who, 40) for who in ("mother", "nurse")}
        for writer in writers.values():
            assert writer.stdout is not None
            assert writer.stdout.readline() == "ready\n"
        for writer in writers.values():
            assert writer.stdin is not None
            writer.stdin.write("\n")
            writer.stdin.flush()
        for writer in writers.values():
            said_by(writer)
        kept = read(path)
        for who in writers:
            mine = tuple(fact for fact in kept if fact.report.startswith(who))
            assert mine == tuple(fact for number in range(1, 41) for fact in report(who, number))
        assert len(kept) == 2 * len(mine)
        for number in range(1, 41):
            for who in writers:
                places = [place for place, fact in enumerate(kept) if fact.report == f"{who}-{number}"]
                assert places == list(range(places[0], places[0] + len(places))), "a report is in one piece"
        assert folder_of(path) == [path.name]


@pytest.mark.parametrize(
    ("statement", "use"),
    [
        ("BEGIN IMMEDIATE", lambda store: store.append(report("r", 1))),
        ("BEGIN EXCLUSIVE", lambda store: store.append(report("r", 1))),
        ("BEGIN EXCLUSIVE", lambda store: store.read()),
    ],
    ids=["writing while another writes", "writing while it is locked", "reading while it is locked"],
)
def test_a_store_that_another_program_holds_is_told(filled: Path, statement: str, use: Callable[[Store], Any]) -> None:
    store = Store.open(filled, PLAN_ID, create=True, busy_seconds=0.05)
    assert store is not None
    with store, raw(filled) as other:
        other.execute(statement)
        with pytest.raises(RecordError, match=f"{filled.name}.* in use by another program .*copies or syncs"):
            use(store)
        with pytest.raises(RecordError, match="in use by another program") if "EXCLUSIVE" in statement else _nothing():
            Store.open(filled, PLAN_ID, create=False, busy_seconds=0.05)
        other.execute("ROLLBACK")
        assert store.append(report("r", 1)) == report("r", 1)
    assert read(filled) == (*ALL_KINDS, *report("r", 1))


@contextmanager
def _nothing() -> Iterator[None]:
    yield


def test_a_program_that_is_reading_keeps_a_commit_waiting_and_then_nothing_is_kept(filled: Path) -> None:
    store = Store.open(filled, PLAN_ID, create=True, busy_seconds=0.05)
    assert store is not None
    with store, raw(filled) as other:
        reading = other.execute("SELECT line FROM facts")
        reading.fetchone()
        with pytest.raises(RecordError, match="in use by another program"):
            store.append(report("r", 1))
        reading.close()
        assert store.read().facts == ALL_KINDS
        assert store.append(report("r", 1)) == report("r", 1)


# --- Killed ---


@pytest.mark.skipif(os.name != "posix", reason="not run: forking writers needs POSIX")
def test_writers_that_are_killed_at_any_moment_lose_nothing_and_leave_nothing_half(tmp_path: Path) -> None:
    """Reports of one to three facts. That enough kills hit their mark is asserted too, or this would prove nothing."""
    seen = json.loads(said_by(run("kill", tmp_path, KILLS, 20261127)))
    assert seen["wrong"] == []
    assert seen["kills"] == KILLS
    assert seen["acknowledged"] > KILLS / 4
    assert seen["killed while writing"] > KILLS / 20
    assert seen["killed in the making"] > KILLS / 100
    assert seen["kept, but not acknowledged"] <= KILLS


FAILING = [
    (tempfile, "mkstemp", OSError(errno.ENOSPC, "No space left on device")),
    (tempfile, "mkstemp", PermissionError(errno.EACCES, "Permission denied")),
    (os, "close", OSError(errno.EIO, "Input/output error")),
    (store_module, "_migrate", sqlite3.OperationalError("database or disk is full")),
    (store_module, "_migrate", KeyboardInterrupt()),
    (store_module, "_put_in_place", OSError(errno.EIO, "Input/output error")),
    (store_module, "_put_in_place", KeyboardInterrupt()),
    (os, "fsync", OSError(errno.EIO, "Input/output error")),
]


@pytest.mark.parametrize(("owner", "name", "error"), FAILING, ids=lambda value: getattr(value, "__name__", str(value)))
def test_whichever_step_of_the_making_fails_there_is_no_store_or_a_whole_one(
    path: Path, monkeypatch: pytest.MonkeyPatch, owner: Any, name: str, error: BaseException
) -> None:
    def failing(*arguments: object, **named: object) -> None:
        raise error

    with monkeypatch.context() as patch:
        patch.setattr(owner, name, failing)
        with pytest.raises(RecordError if isinstance(error, Exception) else type(error)):
            opened(path)
    assert folder_of(path) == ([path.name] if name == "fsync" else [])
    with opened(path) as store:
        assert store.append(report("r", 1)) == report("r", 1)
    assert folder_of(path) == [path.name]


def test_where_files_cannot_have_two_names_a_store_is_made_by_a_move(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So it is on a memory stick."""

    def refused(self: Path, target: Path) -> None:
        raise PermissionError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", refused)
    with opened(path) as store:
        store.append(ALL_KINDS)
    assert read(path) == ALL_KINDS
    assert folder_of(path) == [path.name]


@pytest.mark.parametrize("names", [True, False], ids=["by a second name", "by a move"])
def test_a_store_that_another_program_has_just_made_is_not_replaced(
    path: Path, monkeypatch: pytest.MonkeyPatch, names: bool
) -> None:
    """The other one makes and fills it after this one has looked, and before this one's own is in place."""
    real = Path.hardlink_to

    def late(self: Path, target: Path) -> None:
        monkeypatch.undo()
        with opened(path) as other:
            other.append(ALL_KINDS)
        if not names:
            raise PermissionError(errno.EPERM, "Operation not permitted")
        real(self, target)

    monkeypatch.setattr(Path, "hardlink_to", late)
    with opened(path) as store:
        assert store.read().facts == ALL_KINDS
    assert folder_of(path) == [path.name]


@pytest.mark.parametrize("owner, step", [(store_module, "_connect"), (store_module, "_migrate"), (Path, "hardlink_to")])
def test_a_new_store_that_another_program_has_swept_away_makes_room_for_its_own(
    path: Path, monkeypatch: pytest.MonkeyPatch, owner: Any, step: str
) -> None:
    """The other one makes its own, and sweeps this one's away, before a step of this one's making."""
    real = getattr(owner, step)

    def late(*arguments: Any) -> Any:
        monkeypatch.undo()
        opened(path).close()
        return real(*arguments)

    monkeypatch.setattr(owner, step, late)
    with opened(path) as store:
        store.append(ALL_KINDS)
    assert read(path) == ALL_KINDS
    assert folder_of(path) == [path.name]


@pytest.mark.parametrize("made", [True, False], ids=["after the store was in place", "before"])
def test_what_an_interrupted_making_has_left_is_swept_away(path: Path, made: bool) -> None:
    if made:
        opened(path).close()
        (path.parent / f".{path.name}.abcdefgh.new").hardlink_to(path)
    (path.parent / f".{path.name}.ijklmnop.new").write_bytes(b"SQLite form")
    (path.parent / f".{record_path(path, uuid.UUID(int=1)).name}.x.new").write_bytes(b"another plan's")
    with opened(path) as store:
        store.append(ALL_KINDS)
    assert folder_of(path) == [f".{record_path(path, uuid.UUID(int=1)).name}.x.new", path.name]
    assert read(path) == ALL_KINDS


# --- Releases ---

NEXT_STEP = """
    CREATE TABLE seen (key TEXT PRIMARY KEY NOT NULL, note TEXT DEFAULT 'a; b');
    ALTER TABLE facts ADD COLUMN more TEXT;
    CREATE TRIGGER seen_stays BEFORE DELETE ON seen BEGIN SELECT RAISE(ABORT, 'no'); END;
    INSERT INTO seen (key) SELECT key FROM facts;
"""


def test_a_later_release_takes_its_step_and_keeps_every_fact(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store_module, "MIGRATIONS", (*MIGRATIONS, NEXT_STEP))
    assert read(filled) == ALL_KINDS
    with opened(filled) as store:
        store.append(report("r", 1))
    assert read(filled) == (*ALL_KINDS, *report("r", 1))
    with raw(filled) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS) + 1,)
        assert connection.execute("SELECT count(*), min(note) FROM seen").fetchone() == (len(ALL_KINDS), "a; b")
        with pytest.raises(sqlite3.IntegrityError):
            connection.execute("DELETE FROM seen")


def test_a_new_store_takes_all_steps_at_once(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store_module, "MIGRATIONS", (*MIGRATIONS, NEXT_STEP, "", "CREATE TABLE third (x);"))
    with opened(path) as store:
        store.append(ALL_KINDS)
    with raw(path) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS) + 3,)
        assert connection.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
    assert read(path) == ALL_KINDS


def test_a_step_that_fails_is_not_taken_at_all(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = filled.read_bytes()
    with monkeypatch.context() as patch:
        patch.setattr(store_module, "MIGRATIONS", (*MIGRATIONS, NEXT_STEP + "INSERT INTO nowhere VALUES (1);"))
        with pytest.raises(RecordError, match="nowhere"):
            read(filled)
    assert read(filled) == ALL_KINDS
    with raw(filled) as connection:
        assert connection.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'seen'").fetchone() == (0,)
    assert len(filled.read_bytes()) == len(before)


def test_a_store_of_a_newer_release_is_refused_untouched(filled: Path) -> None:
    with raw(filled) as connection:
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    before = filled.read_bytes()
    for create in (False, True):
        with pytest.raises(RecordError, match=r"made by a newer release .*Update this program"):
            Store.open(filled, PLAN_ID, create=create)
    assert filled.read_bytes() == before
    assert folder_of(filled) == [filled.name]


def test_a_newer_release_that_keeps_a_log_of_its_own_is_refused_untouched(tmp_path: Path, path: Path) -> None:
    """Closing such a file normally writes the log into it, so it must not even be opened for writing."""
    (tmp_path / "other").mkdir()
    there = record_path(tmp_path / "other" / "plan.toml", PLAN_ID)
    opened(there).close()
    with raw(there) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
        connection.execute("CREATE TABLE something_new (x)")
        for suffix in ("", "-wal", "-shm"):
            shutil.copy(f"{there}{suffix}", f"{path}{suffix}")
    before = path.read_bytes(), Path(f"{path}-wal").read_bytes()
    assert before[1]
    with pytest.raises(RecordError, match="made by a newer release"):
        Store.open(path, PLAN_ID, create=True)
    assert (path.read_bytes(), Path(f"{path}-wal").read_bytes()) == before


@pytest.mark.parametrize("use", [lambda store: store.read(), lambda store: store.append(report("r", 1))])
def test_a_newer_release_that_takes_over_an_open_store_is_noticed(filled: Path, use: Callable[[Store], Any]) -> None:
    with opened(filled) as store:
        with raw(filled) as connection:
            connection.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
        with pytest.raises(RecordError, match="newer release"):
            use(store)


def test_the_store_of_another_plan_is_refused_untouched(filled: Path) -> None:
    before = filled.read_bytes()
    other = uuid.UUID(int=7)
    for create in (False, True):
        with pytest.raises(RecordError, match=f"another plan: of {PLAN_ID}, not {other}"):
            Store.open(filled, other, create=create)
    assert filled.read_bytes() == before


def test_a_store_that_a_tool_has_set_to_keep_a_log_is_set_back(filled: Path) -> None:
    with raw(filled) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
    with opened(filled) as store:
        store.append(report("r", 1))
        assert folder_of(filled) == [filled.name]
    assert read(filled) == (*ALL_KINDS, *report("r", 1))


def test_a_store_set_to_keep_a_log_that_is_in_use_is_told(filled: Path) -> None:
    with raw(filled) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        reading = connection.execute("SELECT line FROM facts")
        reading.fetchone()
        with pytest.raises(RecordError, match="in use by another program"):
            Store.open(filled, PLAN_ID, create=False, busy_seconds=0.05)
        reading.close()
    assert read(filled) == ALL_KINDS


# --- No store, or a damaged one ---


def foreign_database(path: Path) -> None:
    """Write a database of another program, with a table that has the right name."""
    with raw(path) as connection:
        connection.execute("CREATE TABLE facts (seq, key, line, digest)")


def without_plan(path: Path) -> None:
    """Write a store that does not say of which plan it is."""
    opened(path).close()
    with raw(path) as connection:
        connection.execute("DELETE FROM meta")


def before_all_releases(path: Path) -> None:
    """Write a store that says that no step has been taken."""
    opened(path).close()
    with raw(path) as connection:
        connection.execute("PRAGMA user_version = 0")


def with_row(values: Sequence[object]) -> Callable[[Path], None]:
    """Return what writes a store with a row that the program would not have written."""

    def write(path: Path) -> None:
        with opened(path) as store:
            store.append(report("r", 1))
        with raw(path) as connection:
            connection.execute("INSERT INTO facts VALUES (?, ?, ?, ?)", values)

    return write


def signed(seq: int, key: str, line: str) -> tuple[object, ...]:
    """Return a row with a right digest."""
    return seq, key, line, store_module._digest(seq, line)


NO_STORES: dict[str, tuple[Callable[[Path], object], str]] = {
    "nothing in it": (lambda path: path.write_bytes(b""), "damaged: it is empty"),
    "one byte": (lambda path: path.write_bytes(b"S"), "no record of this program"),
    "a letter": (lambda path: path.write_text("Dear nurse, " * 500), "no record of this program"),
    "zeros": (lambda path: path.write_bytes(bytes(20_000)), "no record of this program"),
    "an exported record": (
        lambda path: path.write_text('{"record":"reminders record 1"}\n'),
        "no record of this program",
    ),
    "a database's first bytes": (lambda path: path.write_bytes(b"SQLite format 3\0"), "no record of this program"),
    "another program's database": (foreign_database, "no record of this program"),
    "no plan in it": (without_plan, "does not say of which plan"),
    "version 0": (before_all_releases, "its form is 0"),
    "a number left out": (with_row(signed(9, "k", "{}")), "fact 3 is not as it was written"),
    "a wrong digest": (with_row((3, "k", "{}", "0123456789abcdef")), "fact 3 is not as it was written"),
    "a line that is none": (with_row(signed(3, "k", "nonsense")), "fact 3 cannot be read: not JSON"),
    "bytes for a line": (with_row((3, "k", b"\xff", "x")), "fact 3 is not as it was written"),
    "a line of a later release": (
        with_row(signed(3, "k", '{"key":"k","kind":"sung to"}')),
        'fact 3 cannot be read: kind is "sung to"',
    ),
    "the key of another": (
        with_row(signed(3, "k", line_of(fact(Kind.DRAWN)))),
        "fact 3 stands under the key of another",
    ),
}


@pytest.mark.parametrize(("write", "said"), NO_STORES.values(), ids=NO_STORES)
def test_what_is_no_whole_store_is_refused_and_left_as_it_is(
    path: Path, write: Callable[[Path], object], said: str
) -> None:
    write(path)
    before = path.read_bytes()
    for create in (False, True):
        with pytest.raises(RecordError) as refused:
            store = Store.open(path, PLAN_ID, create=create)
            assert store is not None
            with store:
                store.read()
        assert said in str(refused.value)
        assert str(path) in str(refused.value)
        assert "Put an undamaged copy in its place" in str(refused.value)
    assert path.read_bytes() == before
    assert folder_of(path) == [path.name]


def test_a_folder_in_the_place_of_the_store_is_told(path: Path) -> None:
    path.mkdir()
    for create in (False, True):
        with pytest.raises(RecordError, match=r"is a folder. Move it away"):
            Store.open(path, PLAN_ID, create=create)


@pytest.mark.skipif(os.name != "posix", reason="not run: pipes with a name need POSIX")
def test_what_is_no_file_at_all_is_told_and_not_waited_for(path: Path) -> None:
    os.mkfifo(path)
    with pytest.raises(RecordError, match="no file that can be kept"):
        Store.open(path, PLAN_ID, create=False)


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000, "plan.toml/record"], ids=["zero byte", "too long", "in a file"])
def test_a_name_that_no_file_can_have_is_told(tmp_path: Path, name: str) -> None:
    (tmp_path / "plan.toml").write_bytes(b"")
    for create in (False, True):
        with pytest.raises(RecordError):
            Store.open(tmp_path / name, PLAN_ID, create=create)


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    path = record_path(tmp_path / "nowhere" / "plan.toml", PLAN_ID)
    assert Store.open(path, PLAN_ID, create=False) is None
    with pytest.raises(RecordError, match=r"No such file.*See to it that its folder is there"):
        Store.open(path, PLAN_ID, create=True)


def test_a_name_that_leads_nowhere_is_told(path: Path) -> None:
    path.symlink_to(path.parent / "gone")
    with pytest.raises(RecordError, match="cannot be opened"):
        Store.open(path, PLAN_ID, create=True)


def half_written(path: Path) -> bytes:
    """Leave a store as a power cut in the middle of a report would; return how it looked before."""
    before = path.read_bytes()
    beside = path.with_name("half")
    shutil.copy(path, beside)
    with raw(beside) as connection:
        connection.execute("PRAGMA cache_size = 1")  # so that it is written in part before the commit
        connection.execute("BEGIN")
        for number in range(1000, 1040):
            connection.execute("INSERT INTO facts VALUES (?, ?, ?, ?)", (number, str(number), "x" * 5000, "x"))
        shutil.copy(beside, path)
        shutil.copy(f"{beside}-journal", f"{path}-journal")
    beside.unlink()
    assert path.read_bytes() != before
    return before


def test_a_half_written_report_is_undone(filled: Path) -> None:
    before = half_written(filled)
    assert read(filled) == ALL_KINDS
    assert folder_of(filled) == [filled.name]
    assert filled.read_bytes() == before


def test_a_record_that_is_gone_while_its_journal_is_there_is_not_begun_anew(filled: Path) -> None:
    """SQLite would undo with it what another file had begun, and so destroy a new store."""
    half_written(filled)
    filled.rename(filled.with_name("moved"))
    for create in (False, True):
        with pytest.raises(RecordError, match=f"is gone, but .*{filled.name}-journal"):
            Store.open(filled, PLAN_ID, create=create)
    filled.with_name("moved").rename(filled)
    assert read(filled) == ALL_KINDS


def test_a_store_that_is_replaced_while_it_is_open_takes_nothing_more(filled: Path) -> None:
    """A sync program puts another copy in its place: what is written into the old one would be lost."""
    with opened(filled) as store:
        shutil.copy(filled, filled.with_name("copy"))
        filled.with_name("copy").replace(filled)
        with pytest.raises(RecordError, match="moved away or replaced meanwhile"):
            store.append(report("r", 1))
    assert read(filled) == ALL_KINDS


def outcome(path: Path, good: Sequence[Fact]) -> str:
    """Use a store that may be damaged: it holds just the good facts and takes another, or it is refused."""
    before = path.read_bytes()
    try:
        store = Store.open(path, PLAN_ID, create=False)
        assert store is not None
        with store:
            assert store.read().facts == tuple(good)
            assert path.read_bytes() == before
            try:
                store.append(report("later", 2))
            except RecordError:
                return "reads"
            assert store.read().facts == (*good, *report("later", 2))
    except RecordError:
        assert path.read_bytes() == before
        return "refused"
    assert read(path) == (*good, *report("later", 2))
    return "works"


@pytest.fixture(name="sound", scope="module")
def the_bytes_of_a_store(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Give a test a store of some pages, one of whose facts runs over several."""
    path = record_path(tmp_path_factory.mktemp("sound") / "plan.toml", PLAN_ID)
    with opened(path) as store:
        store.append(SOUND)
    return path.read_bytes()


def test_a_store_in_which_bits_have_flipped_reads_right_or_is_refused(path: Path, sound: bytes) -> None:
    """Single bits, single bytes, and runs of bytes, at seeded places; the first page gets its full share."""
    chance = random.Random(20261127)
    seen = []
    for attempt in range(900):
        content = bytearray(sound)
        place = chance.randrange(120) if attempt % 6 == 0 else chance.randrange(len(content))
        if attempt % 3 == 0:
            content[place] ^= 1 << chance.randrange(8)
        elif attempt % 3 == 1:
            content[place] = chance.randrange(256)
        else:
            run_of = chance.randrange(1, 600)
            content[place : place + run_of] = chance.randbytes(len(content[place : place + run_of]))
        path.write_bytes(content)
        path.with_name(f"{path.name}-journal").unlink(missing_ok=True)
        seen.append(outcome(path, SOUND))
    assert seen.count("refused") > 400
    assert seen.count("works") > 50


def test_a_store_that_was_cut_off_is_refused(path: Path, sound: bytes) -> None:
    page = 4096
    lengths = {
        *range(0, 120, 7),
        *range(0, len(sound), 1021),
        *(edge + by for edge in range(page, len(sound), page) for by in (-1, 0, 1)),
    }
    for length in sorted(lengths):
        path.write_bytes(sound[:length])
        assert outcome(path, SOUND) == "refused", length


def test_a_page_that_was_swapped_or_never_written_is_refused(path: Path, sound: bytes) -> None:
    """What a failing disk leaves: a page of zeros, or the content of another page."""
    pages = [sound[place : place + 4096] for place in range(0, len(sound), 4096)]
    for number in range(len(pages)):
        for other in (bytes(4096), pages[number - 1]):
            path.write_bytes(b"".join([*pages[:number], other, *pages[number + 1 :]]))
            assert outcome(path, SOUND) == "refused", number


# --- No room ---


@pytest.fixture(name="tiny_disk")
def a_disk_of_256_kilobytes(tmp_path: Path) -> Iterator[Path]:
    """Give a test a real disk that is soon full."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = (
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(disk)], capture_output=True, check=False
        )
        if hasattr(os, "geteuid") and os.geteuid() == 0
        else None
    )
    if mounted is None or mounted.returncode:
        pytest.skip("not run: mounting a small disk needs root")
    try:
        yield disk
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_a_disk_that_is_really_full_takes_nothing_half(tiny_disk: Path) -> None:
    path = record_path(tiny_disk / "plan.toml", PLAN_ID)
    (tiny_disk / "film").write_bytes(bytes(120_000))
    with opened(path) as store:
        kept: list[Fact] = []
        with pytest.raises(RecordError, match=r"the disk is full .*Make room on it"):
            for number in range(1, 10_000):
                store.append(report("r", number))
                kept += report("r", number)
        assert len(kept) > 20
        assert store.read().facts == tuple(kept)
        with pytest.raises(RecordError, match="the disk is full"):
            store.append(report("r", number))
        assert read(path) == tuple(kept)
        (tiny_disk / "film").unlink()
        assert store.append(report("r", number)) == report("r", number)
        assert read(path) == (*kept, *report("r", number))
    assert folder_of(path) == [path.name]


def test_no_store_is_made_on_a_disk_that_is_really_full(tiny_disk: Path) -> None:
    path = record_path(tiny_disk / "plan.toml", PLAN_ID)
    for room in range(0, 28_672, 4096):
        with (tiny_disk / "film").open("wb") as film:
            film.write(bytes(262_144 - 8192 - room))
        try:
            opened(path).close()
        except RecordError as error:
            assert "full" in str(error) or "No space left" in str(error)
            assert folder_of(path) == ["film"]
        else:
            break
    assert room > 4096, "it did not fit at once"
    assert read(path) == ()


@pytest.mark.skipif(os.name != "posix", reason="not run: a limit to the size of files needs POSIX")
@pytest.mark.parametrize("room", [0, 100, 5000, 40_000])
def test_a_file_that_may_not_grow_takes_nothing_half(filled: Path, room: int) -> None:
    """The writes themselves fail here, in a process that may write no larger file."""
    filled.unlink()
    opened(filled).close()
    seen = json.loads(said_by(run("room", filled, room)))
    assert "cannot be read or written: the disk fails or has no room (disk I/O error)" in seen["why"]
    assert seen["kept"] and seen["again"] == len(report("r", seen["whole"] + 1))
    assert seen["whole"] >= room // 5000
    assert read(filled) == tuple(fact for number in range(1, seen["whole"] + 2) for fact in report("r", number))


def test_a_database_that_may_not_grow_takes_nothing_half(filled: Path) -> None:
    with opened(filled) as store:
        pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
        store._connection.execute(f"PRAGMA max_page_count = {pages}")
        kept = list(ALL_KINDS)
        with pytest.raises(RecordError, match="the disk is full"):
            for number in range(2, 10_000, 3):
                store.append(report("r", number))
                kept += report("r", number)
        assert store.read().facts == tuple(kept)
        store._connection.execute("PRAGMA max_page_count = 1000000")
        assert store.append(report("r", number)) == report("r", number)
    assert read(filled) == (*kept, *report("r", number))


@pytest.mark.parametrize("error", [KeyboardInterrupt(), MemoryError()], ids=["interrupt", "no memory"])
def test_an_interruption_within_a_report_leaves_nothing_of_it(
    filled: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    calls = 0
    real = store_module._digest

    def failing(seq: int, line: str) -> str:
        nonlocal calls
        calls += 1
        if calls == 2:
            raise error
        return real(seq, line)

    with opened(filled) as store:
        with monkeypatch.context() as patch, pytest.raises(type(error)):
            patch.setattr(store_module, "_digest", failing)
            store.append(report("r", 2))
        assert store.read().facts == ALL_KINDS
        assert store.append(report("r", 2)) == report("r", 2)


# --- No right to write ---


@contextmanager
def nobody_special() -> Iterator[None]:
    """Root may write everywhere, so root acts as another user meanwhile; anyone else stays who they are."""
    before = os.geteuid()
    if before == 0:
        os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(before)


@pytest.fixture(name="shelf")
def a_folder_that_anyone_may_enter() -> Iterator[Path]:
    """Give a test a folder that is none of pytest's own, which only their owner may enter."""
    with tempfile.TemporaryDirectory() as place:
        path = record_path(Path(place) / "plan.toml", PLAN_ID)
        with opened(path) as store:
            store.append(ALL_KINDS)
        yield path
        Path(place).chmod(0o755)


needs_posix = pytest.mark.skipif(os.name != "posix", reason="not run: folders without permission need POSIX")


@needs_posix
@pytest.mark.parametrize(("file_mode", "folder_mode"), [(0o444, 0o555), (0o444, 0o777), (0o666, 0o555)])
def test_a_record_that_may_only_be_read_can_be_read(shelf: Path, file_mode: int, folder_mode: int) -> None:
    shelf.chmod(file_mode)
    shelf.parent.chmod(folder_mode)
    before = shelf.read_bytes()
    with nobody_special():
        assert read(shelf) == ALL_KINDS
        with opened(shelf) as store:
            assert store.read().facts == ALL_KINDS
            with pytest.raises(RecordError, match=f"{shelf.name}.*See to it that you may read and write the file"):
                store.append(report("r", 1))
            assert store.read().facts == ALL_KINDS
    assert shelf.read_bytes() == before
    assert folder_of(shelf) == [shelf.name]


@needs_posix
def test_a_record_that_may_not_be_read_is_told(shelf: Path) -> None:
    shelf.chmod(0o000)
    shelf.parent.chmod(0o755)
    with nobody_special(), pytest.raises(RecordError, match=r"cannot be opened .*See to it that you may read"):
        Store.open(shelf, PLAN_ID, create=False)


@needs_posix
def test_a_folder_that_may_not_be_entered_is_told(shelf: Path) -> None:
    shelf.parent.chmod(0o700)
    with (
        nobody_special() if os.geteuid() == 0 else _locked(shelf.parent),
        pytest.raises(RecordError, match="Permission"),
    ):
        Store.open(shelf, PLAN_ID, create=False)


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    folder.chmod(0o000)
    try:
        yield
    finally:
        folder.chmod(0o700)


@needs_posix
def test_no_store_is_made_in_a_folder_that_may_not_be_written(shelf: Path) -> None:
    shelf.unlink()
    shelf.parent.chmod(0o555)
    with nobody_special(), pytest.raises(RecordError, match=r"Permission denied.*that you may read and write in it"):
        Store.open(shelf, PLAN_ID, create=True)
    assert folder_of(shelf) == []


@needs_posix
@pytest.mark.parametrize(("file_mode", "folder_mode"), [(0o444, 0o555), (0o666, 0o555)])
def test_a_half_written_report_that_may_not_be_undone_is_told(shelf: Path, file_mode: int, folder_mode: int) -> None:
    half_written(shelf)
    for file in shelf.parent.iterdir():
        file.chmod(file_mode)
    shelf.parent.chmod(folder_mode)
    with nobody_special(), pytest.raises(RecordError, match=shelf.name):
        Store.open(shelf, PLAN_ID, create=False)
    shelf.parent.chmod(0o755)
    shelf.chmod(0o666)
    assert read(shelf) == ALL_KINDS


@needs_posix
def test_a_step_of_a_later_release_that_may_not_be_written_is_told(
    shelf: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf.chmod(0o444)
    shelf.parent.chmod(0o555)
    monkeypatch.setattr(store_module, "MIGRATIONS", (*MIGRATIONS, NEXT_STEP))
    with nobody_special(), pytest.raises(RecordError, match="may not be written"):
        Store.open(shelf, PLAN_ID, create=False)


def test_a_disk_that_is_really_write_protected_can_be_read(tiny_disk: Path) -> None:
    """Here not even root may write."""
    path = record_path(tiny_disk / "plan.toml", PLAN_ID)
    with opened(path) as store:
        store.append(ALL_KINDS)
    subprocess.run(["mount", "-o", "remount,ro", str(tiny_disk)], check=True)
    with opened(path) as store:
        assert store.read().facts == ALL_KINDS
        with pytest.raises(RecordError, match=r"may not be written.*write-protected"):
            store.append(report("r", 1))
    with pytest.raises(RecordError, match="Read-only file system"):
        Store.open(record_path(path, uuid.UUID(int=1)), uuid.UUID(int=1), create=True)


def test_a_record_as_the_plan_sees_it(filled: Path) -> None:
    """What is read is the record that the compiler takes."""
    with opened(filled) as store:
        record = store.read()
    assert isinstance(record, Record)
    assert record.of_kind(Kind.DRAWN) == tuple(each for each in ALL_KINDS if each.kind is Kind.DRAWN)
