"""The store of a plan's record: one SQLite file beside the plan, to which facts are only ever added.

A rollback journal is used, not a write-ahead log: what a household copies or syncs is then one file, and no shared
memory is mapped that a full disk could tear. Every fact is kept as its line with a digest, so that a bit that has
flipped is noticed and never read as a fact.
"""

import hashlib
import os
import sqlite3
import stat
import tempfile
import uuid
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from types import TracebackType

from reminders.record.facts import Fact, Record
from reminders.record.lines import LineError, fact_of, line_of

APPLICATION_ID = 0x666C7368
"""Marks an SQLite file as a record of this program; the letters ``flsh``."""

BUSY_SECONDS = 10.0
"""How long to wait for another program that is writing."""

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE meta (name TEXT PRIMARY KEY NOT NULL, value TEXT NOT NULL);
    CREATE TABLE facts (
        seq INTEGER PRIMARY KEY,
        key TEXT UNIQUE NOT NULL,
        line TEXT NOT NULL,
        digest TEXT NOT NULL
    );
    CREATE TRIGGER facts_never_change BEFORE UPDATE ON facts
    BEGIN SELECT RAISE(ABORT, 'a fact is never changed'); END;
    CREATE TRIGGER facts_are_kept BEFORE DELETE ON facts
    BEGIN SELECT RAISE(ABORT, 'a fact is never deleted'); END;
    CREATE TRIGGER facts_are_not_replaced BEFORE INSERT ON facts
    WHEN EXISTS (SELECT 1 FROM facts WHERE key = NEW.key OR seq = NEW.seq)
    BEGIN SELECT RAISE(ABORT, 'a fact is never replaced'); END;
    """,
    "",  # tasks put off and skipped, deliveries
)
"""What brings a store from each version to the next, as SQL; ``user_version`` is the number of steps that were taken.
A release changes none and adds at the end. One that adds kinds or fields of facts adds a step too, be it an empty one,
so that older releases say that they are older."""

_PRAGMAS = ("synchronous=EXTRA", "fullfsync=1", "checkpoint_fullfsync=1", "cell_size_check=1", "trusted_schema=0")
"""The first three: a commit returns when the disk itself has it, on macOS too, where plain forcing stops at the disk's
own cache. The others distrust what the file says."""

_NO_RECORD = "it is no record of this program, or its beginning is destroyed"
_FREE_IT = "Let that program finish, or close it (it may be one that copies or syncs the folder), and try again."
_MAY_WRITE = "See to it that you may read and write the file and its folder, and that the disk is not write-protected."
_LOOK = "Then look at what is recorded before you enter it again."

_REASONS = {
    "SQLITE_FULL": ("cannot be written: the disk is full", f"Nothing of this was recorded. Make room on it. {_LOOK}"),
    "SQLITE_BUSY": ("is in use by another program", _FREE_IT),
    "SQLITE_LOCKED": ("is in use by another program", _FREE_IT),
    "SQLITE_READONLY_DBMOVED": ("was moved away or replaced meanwhile", f"Put it back, or start again. {_LOOK}"),
    "SQLITE_READONLY_ROLLBACK": ("was left half written by an interruption, and may not be set right", _MAY_WRITE),
    "SQLITE_READONLY": ("may not be written, and nothing of this was recorded", _MAY_WRITE),
    "SQLITE_CANTOPEN": ("cannot be opened or written", _MAY_WRITE),
    "SQLITE_PERM": ("may not be used", _MAY_WRITE),
    "SQLITE_IOERR": ("cannot be read or written: the disk fails or has no room", f"Check the disk. {_LOOK}"),
    "SQLITE_NOMEM": ("cannot be read: the memory does not suffice", "Close other programs and try again."),
    "SQLITE_MISUSE": ("was used in a way in which it should not be", "Start the program again."),
}
"""For the beginning of the name of an SQLite error, what it means and how to mend it. Any other means damage."""


class RecordError(Exception):
    """A record that cannot be read or written; its text says which file, why, and what to do."""


class ChangedMeanwhile(RecordError):  # noqa: N818 - no fault: the caller reads again
    """The store no longer holds what the caller had read; nothing was written."""


def record_path(plan_file: Path, plan_id: uuid.UUID) -> Path:
    """Return where the record of a plan is kept: beside the plan's file."""
    return plan_file.parent / f"record-{plan_id}.sqlite3"


class Store:
    """The record of one plan on the disk. Open it for each use, in the thread that uses it, and close it soon."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        """Take a connection to a store that was found in order; :meth:`open` makes one."""
        self._path = path
        self._connection = connection

    @classmethod
    def open(
        cls, path: Path, plan_id: uuid.UUID, *, create: bool, busy_seconds: float = BUSY_SECONDS
    ) -> "Store | None":
        """Open the store of a plan, after a look whether it is whole; None if there is none and none is to be made.

        Raises:
            RecordError: it is damaged, of another plan, of a newer release, no record at all, or cannot be read.
        """
        with _told(path):
            if not _is_there(path):
                if not create:
                    return None
                _make(path, plan_id, busy_seconds)
            if create:
                _sweep(path)
            try:
                # Even to look is to write, with a file that another program left unfinished; so whose it is, is
                # looked up first in a way that cannot write.
                with closing(_connect(path, "ro", busy_seconds)) as connection:
                    _recognise(path, connection, plan_id)
            except sqlite3.OperationalError as error:
                if not _name(error).startswith("SQLITE_READONLY"):  # left unfinished: whoever may write sets it right
                    raise
            connection = _connect(path, "rw", busy_seconds)
            try:
                _prepare(path, connection, plan_id)
            except BaseException:
                connection.close()
                raise
            return cls(path, connection)

    def __enter__(self) -> "Store":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file. What was appended is on the disk already."""
        self._connection.close()

    def read(self) -> Record:
        """Return all facts, in the order in which they were entered.

        Raises:
            RecordError: the store cannot be read or is damaged.
        """
        with _told(self._path):
            _check_version(self._path, self._connection)
            return Record(tuple(_fact(self._path, row) for row in _rows(self._path, self._connection)))

    def append(self, facts: Sequence[Fact], *, after: int | None = None) -> tuple[Fact, ...]:
        """Add facts, all or none, and return those that were not there yet; on return they are on the disk.

        A fact that is there already under the same key, and says the same, is left as it is: a report may arrive twice.
        ``after`` is the number of facts that the caller had read.

        Raises:
            ChangedMeanwhile: the store does not hold ``after`` facts.
            RecordError: the facts could not be written, or a key is there with another content.
        """
        with _told(self._path):
            offered = self._offered(facts)
            with _writing(self._connection):
                _check_version(self._path, self._connection)
                count: int = self._connection.execute("SELECT coalesce(max(seq), 0) FROM facts").fetchone()[0]
                if after is not None and count != after:
                    raise ChangedMeanwhile(
                        f'Something else was recorded in "{self._path}" meanwhile, and nothing of this was. '
                        "Look at the record again, then enter it again."
                    )
                added = [fact for fact in offered if not self._has(fact)]
                for seq, fact in enumerate(added, start=count + 1):
                    line = line_of(fact)
                    row = (seq, fact.key, line, _digest(seq, line))
                    self._connection.execute("INSERT INTO facts (seq, key, line, digest) VALUES (?, ?, ?, ?)", row)
            return tuple(added)

    def _offered(self, facts: Sequence[Fact]) -> list[Fact]:
        """Return the facts to be added, each key once; raise RecordError for one that could not be read back."""
        offered: dict[str, Fact] = {}
        for fact in facts:
            try:
                line_of(fact)
            except LineError as error:
                raise RecordError(f'Nothing was recorded in "{self._path}": {error}') from None
            if offered.setdefault(fact.key, fact) != fact:
                raise self._conflict(fact.key)
        return list(offered.values())

    def _has(self, fact: Fact) -> bool:
        """Tell whether a fact is in the store; raise RecordError if its key is there with another content."""
        found = _rows(self._path, self._connection, fact.key)
        if found and _fact(self._path, found[0]) != fact:
            raise self._conflict(fact.key)
        return bool(found)

    def _conflict(self, key: str) -> RecordError:
        return RecordError(
            f'Nothing was recorded in "{self._path}": the key "{key}" is that of another fact. '
            "A fact is never changed: to correct it, withdraw it and enter it anew under a key of its own."
        )


# --- Opening ---


def _is_there(path: Path) -> bool:
    """Tell whether a file that may be a record is there; raise RecordError for what never is one."""
    try:
        found = path.stat()
    except FileNotFoundError:
        if (left := _journal(path)).exists():
            raise RecordError(
                f'The record "{path}" is gone, but "{left.name}", which belongs to it, is still there. '
                "Put the record back beside it. If there is none any more, move that file away too."
            ) from None
        return False
    except ValueError:  # a zero byte in the name
        raise RecordError(f"The name of the record {str(path)!r} is none that a file can have.") from None
    if not stat.S_ISREG(found.st_mode):
        what = "a folder" if stat.S_ISDIR(found.st_mode) else "no file that can be kept"
        raise RecordError(f'"{path}" should be the record and is {what}. Move it away, or give it another name.')
    if not found.st_size:
        raise _damaged(path, "it is empty, which a record never is")
    return True


def _journal(path: Path) -> Path:
    """Return where SQLite keeps what it needs to undo a change that was interrupted."""
    return path.with_name(f"{path.name}-journal")


def _connect(path: Path, mode: str, busy_seconds: float) -> sqlite3.Connection:
    """Open a file that is there, for reading only ("ro") or for writing ("rw") if it lets us."""
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=busy_seconds, isolation_level=None
    )
    try:
        for pragma in _PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")
    except BaseException:
        connection.close()
        raise
    return connection


def _recognise(path: Path, connection: sqlite3.Connection, plan_id: uuid.UUID) -> None:
    """Raise RecordError unless this is the record of this plan in a form that this release knows."""
    if _pragma(connection, "application_id") != APPLICATION_ID:
        raise _damaged(path, _NO_RECORD)
    _check_version(path, connection, migrated=False)
    row = connection.execute("SELECT value FROM meta WHERE name = 'plan'").fetchone()
    if row is None:
        raise _damaged(path, "it does not say of which plan it is")
    if row[0] != str(plan_id):
        raise RecordError(
            f'"{path}" is the record of another plan: of {row[0]}, not {plan_id}. '
            "Check the plan's id, which stays the same in every revision, and put the record of this plan in its place."
        )


def _check_version(path: Path, connection: sqlite3.Connection, *, migrated: bool = True) -> None:
    """Raise RecordError if the store is of a newer release, or not (or not yet) of any."""
    version = _pragma(connection, "user_version")
    if version > len(MIGRATIONS):
        raise RecordError(
            f'"{path}" was made by a newer release of this program (form {version}; this release knows '
            f"{len(MIGRATIONS)}). It was not touched. Update this program, and start it again."
        )
    if version < (len(MIGRATIONS) if migrated else 1):
        raise _damaged(path, f"it says that its form is {version}")


def _prepare(path: Path, connection: sqlite3.Connection, plan_id: uuid.UUID) -> None:
    """See that a store is whole, and bring it to the form of this release."""
    _recognise(path, connection, plan_id)
    found = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
    if found != "ok":
        raise _damaged(path, str(found))
    if connection.execute("PRAGMA journal_mode = DELETE").fetchone()[0] != "delete":
        raise RecordError(f'The record "{path}" is in use by another program. {_FREE_IT}')
    _migrate(connection)
    _rows(path, connection)  # which checks each


def _migrate(connection: sqlite3.Connection) -> None:
    """Take the steps that a store has not taken yet, each whole or not at all."""
    while (version := _pragma(connection, "user_version")) < len(MIGRATIONS):
        with _writing(connection):
            if _pragma(connection, "user_version") != version:  # another program has just taken this step
                continue
            for statement in _statements(MIGRATIONS[version]):
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {version + 1}")


def _statements(script: str) -> Iterator[str]:
    """Cut SQL into its statements; the library would run a whole script only outside a transaction."""
    statement = ""
    for piece in script.split(";")[:-1]:
        statement += f"{piece};"
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


# --- Making a new store ---


def _make(path: Path, plan_id: uuid.UUID, busy_seconds: float) -> None:
    """Make an empty store in one step: it is made under another name, and is whole when it gets its own."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".new", dir=path.parent)  # its owner's alone
    new = Path(name)
    try:
        os.close(handle)
        with closing(_connect(new, "rw", busy_seconds)) as connection:
            connection.execute("PRAGMA journal_mode = MEMORY")  # if this fails, nobody wants the old state back
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            _migrate(connection)
            connection.execute("INSERT INTO meta (name, value) VALUES ('plan', ?)", (str(plan_id),))
        _put_in_place(new, path)
    except (OSError, sqlite3.Error):
        if not path.exists():  # else another program has just made the store, and swept this one away
            raise
    finally:
        new.unlink(missing_ok=True)
    _sync_folder(path.parent)


def _put_in_place(new: Path, path: Path) -> None:
    """Give a new store its name, unless another program has made one meanwhile."""
    try:
        path.hardlink_to(new)  # which, unlike a move, never takes the place of another file
    except FileExistsError:
        return
    except (OSError, NotImplementedError):  # some disks have no second names
        if not path.exists():
            new.rename(path)


def _sweep(path: Path) -> None:
    """Remove what an interruption has left of the making of this store, which is made by now."""
    with suppress(OSError):
        for left in path.parent.iterdir():
            if left.name.startswith(f".{path.name}.") and left.name.endswith(".new"):
                left.unlink()


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":  # elsewhere a folder cannot be opened
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


# --- Rows, transactions, errors ---


def _digest(seq: int, line: str) -> str:
    """Return what shows that a line, and its place, are those that were written."""
    return hashlib.sha256(f"{seq} {line}".encode()).hexdigest()[:16]


def _rows(path: Path, connection: sqlite3.Connection, key: str | None = None) -> list[tuple[int, str, str]]:
    """Return place, key and line of all facts as entered, or of one; raise RecordError if one is lost or altered."""
    which = "ORDER BY seq" if key is None else "WHERE key = ?"
    rows = connection.execute(
        f"SELECT seq, key, line, digest FROM facts {which}", () if key is None else (key,)
    ).fetchall()
    for place, (seq, name, line, digest) in enumerate(rows, start=1):
        whole = (
            isinstance(seq, int) and isinstance(name, str) and isinstance(line, str) and digest == _digest(seq, line)
        )
        if not whole or (key is None and seq != place):
            raise _damaged(path, f"fact {place if key is None else seq} is not as it was written")
    return [row[:3] for row in rows]


def _fact(path: Path, row: tuple[int, str, str]) -> Fact:
    """Return the fact that a row holds."""
    seq, key, line = row
    try:
        fact = fact_of(line)
    except LineError as error:
        raise _damaged(path, f"fact {seq} cannot be read: {error.message}") from None
    if fact.key != key:
        raise _damaged(path, f"fact {seq} stands under the key of another")
    return fact


def _pragma(connection: sqlite3.Connection, name: str) -> int:
    value: int = connection.execute(f"PRAGMA {name}").fetchone()[0]
    return value


@contextmanager
def _writing(connection: sqlite3.Connection) -> Iterator[None]:
    """Do all of what follows, or nothing; no other program writes meanwhile."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:  # an interrupt too leaves all or nothing
        with suppress(sqlite3.Error):  # some failures have undone it already
            connection.execute("ROLLBACK")
        raise


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the database and the system raise into RecordError."""
    try:
        yield
    except sqlite3.Error as error:
        raise _explained(path, error) from None
    except UnicodeDecodeError:  # raised by the library for a text in the file, or for an error that quotes it
        raise _damaged(path, "what should be text in it is none") from None
    except OSError as error:
        why = error.strerror or str(error)
        raise RecordError(
            f'The record "{path}" cannot be used: {why}. '
            "See to it that its folder is there, that you may read and write in it, and that the disk has room."
        ) from None


def _name(error: sqlite3.Error) -> str:
    """Return the name of an SQLite error; empty if Python itself raised it."""
    return getattr(error, "sqlite_errorname", None) or ""


def _explained(path: Path, error: sqlite3.Error) -> RecordError:
    name = _name(error) or ("SQLITE_MISUSE" if isinstance(error, sqlite3.ProgrammingError) else "")
    if name == "SQLITE_NOTADB":
        return _damaged(path, _NO_RECORD)
    for beginning, (wrong, mend) in _REASONS.items():
        if name.startswith(beginning):
            return RecordError(f'The record "{path}" {wrong} ({error}). {mend}')
    return _damaged(path, str(error))


def _damaged(path: Path, why: str) -> RecordError:
    printed = "".join(char if char.isprintable() else " " for char in why)  # it may quote what is damaged
    return RecordError(
        f'The record "{path}" is damaged: {printed}. Nothing in it was changed. Put an undamaged copy in its place (a backup, '
        "or an older version that a sync program kept); or move it away, and read an exported record into a new one."
    )
