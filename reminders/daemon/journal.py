"""What the daemon has raised, on the disk: an intent before each pop-up, and what came of it after.

A crash between the two leaves an intent of which nobody knows whether it was shown; it is raised once more, and says so. The
journal is the daemon's alone, and losing it repeats reminders but loses none: what is due follows from plan and record.
"""

import json
import sqlite3
import uuid
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from reminders.files import private_folder
from reminders.times import Instant

KEPT = 1000
"""So many pop-ups are remembered one by one."""

LAYOUT = 1

TABLES = (
    "CREATE TABLE told (matter TEXT PRIMARY KEY NOT NULL, moment INTEGER NOT NULL)",
    "CREATE TABLE raised (number INTEGER PRIMARY KEY, at REAL NOT NULL, title TEXT NOT NULL, told TEXT NOT NULL, "
    "state TEXT NOT NULL, why TEXT NOT NULL DEFAULT '')",
)


class JournalError(Exception):
    """A journal that cannot be read or written; its text says which, why, and what to do."""


@dataclass(frozen=True, slots=True)
class Raised:
    """One pop-up as the journal has it: when it was raised (seconds since 1970), its title, and whether it was shown;
    ``why`` says why not."""

    at: float
    title: str
    shown: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class Intent:
    """A pop-up that is about to be shown, by its number in the journal, with the matters that it tells and their moments."""

    number: int
    told: Mapping[str, Instant]


class Journal:
    """The journal of one plan's daemon, which is the only one that writes it."""

    def __init__(self, path: Path) -> None:
        """Open the journal, making it if need be, readable by its owner only.

        Raises:
            JournalError: it cannot be used.
        """
        self._path = path
        try:
            private_folder(path.parent)
            path.touch(mode=0o600)
            self._connection = _prepared(path)
        except (OSError, sqlite3.Error) as error:
            raise self._error(error) from None

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def told(self) -> dict[str, Instant]:
        """Return for each matter the moment of the last telling that was shown.

        Raises:
            JournalError: it cannot be read.
        """
        try:
            rows = self._connection.execute(
                "SELECT matter, moment FROM told WHERE typeof(moment) = 'integer'"
            ).fetchall()
        except sqlite3.Error as error:
            raise self._error(error) from None
        return {str(key): Instant(moment) for key, moment in rows}

    def unfinished(self) -> dict[str, Instant]:
        """Return the matters of pop-ups that were begun, and of which no more is known, with the moments told.

        Raises:
            JournalError: it cannot be read.
        """
        try:
            rows = self._connection.execute("SELECT told FROM raised WHERE state = 'begun' ORDER BY number").fetchall()
        except sqlite3.Error as error:
            raise self._error(error) from None
        return {key: moment for (told,) in rows for key, moment in _matters(told).items()}

    def begin(self, at: float, title: str, told: Mapping[str, Instant]) -> Intent:
        """Write down that a pop-up is about to be shown, at ``at`` (seconds since 1970); on return it is on the disk.

        Raises:
            JournalError: it cannot be written.
        """
        row = (at, title, json.dumps(told))
        try:
            with self._connection:
                found = self._connection.execute(
                    "INSERT INTO raised (at, title, told, state) VALUES (?, ?, ?, 'begun')", row
                )
                number = int(found.lastrowid or 0)
                self._connection.execute("DELETE FROM raised WHERE number <= ? AND state != 'begun'", (number - KEPT,))
        except sqlite3.Error as error:
            raise self._error(error) from None
        return Intent(number, told)

    def end(self, intent: Intent, *, why: str = "", rang: bool = False) -> None:
        """Write down what came of a pop-up: shown, or with ``why``, not; ``rang``: it was told in the terminal instead.

        Raises:
            JournalError: it cannot be written.
        """
        state = "failed" if why else "shown"
        try:
            with self._connection:
                self._connection.execute(
                    "UPDATE raised SET state = ?, why = ? WHERE number = ?", (state, why, intent.number)
                )
                if rang or not why:
                    self._tell(intent.told)
                    # What was begun before a crash is told by now, or its matter is closed.
                    self._settle(intent)
        except sqlite3.Error as error:
            raise self._error(error) from None

    def _tell(self, told: Mapping[str, Instant]) -> None:
        self._connection.executemany(
            "INSERT INTO told VALUES (?, ?) ON CONFLICT (matter) DO UPDATE SET moment = max(moment, excluded.moment)",
            list(told.items()),
        )

    def _settle(self, intent: Intent) -> None:
        rows = self._connection.execute(
            "SELECT number, told FROM raised WHERE state = 'begun' AND number < ?", (intent.number,)
        ).fetchall()
        for number, told in rows:
            if set(_matters(told)) <= set(intent.told):
                self._connection.execute("UPDATE raised SET state = 'unknown' WHERE number = ?", (number,))

    def forget_after(self, moment: Instant) -> None:
        """Forget what was told for moments after ``moment``: the clock was ahead, and they are still to come.

        Raises:
            JournalError: it cannot be written.
        """
        try:
            with self._connection:
                self._connection.execute("DELETE FROM told WHERE moment > ?", (moment,))
        except sqlite3.Error as error:
            raise self._error(error) from None

    def latest(self, count: int = 20) -> Sequence[Raised]:
        """Return the last pop-ups, newest first.

        Raises:
            JournalError: it cannot be read.
        """
        return _latest(self._connection, self._path, count)

    def _error(self, error: OSError | sqlite3.Error) -> JournalError:
        return _error(self._path, error)


def _matters(told: str) -> dict[str, Instant]:
    """Read what a pop-up told; of a row that somebody has damaged, nothing: it is told again."""
    try:
        found = json.loads(told)
        return {str(key): Instant(int(moment)) for key, moment in found.items()}
    except (ValueError, TypeError, AttributeError, RecursionError):
        return {}


def latest(path: Path, count: int = 20) -> Sequence[Raised]:
    """Return the last pop-ups that a journal knows, newest first, without disturbing the daemon; none if there is no journal.

    Raises:
        JournalError: it cannot be read.
    """
    if not path.is_file():
        return ()
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=2)) as connection:
            return _latest(connection, path, count)
    except sqlite3.Error as error:
        raise _error(path, error) from None


WHY_NOT_KNOWN = "the program ended while it was being shown; it was told again"


def _latest(connection: sqlite3.Connection, path: Path, count: int) -> Sequence[Raised]:
    try:
        rows = connection.execute(
            "SELECT at, title, state, why FROM raised WHERE at BETWEEN 0 AND 1e11 ORDER BY number DESC LIMIT ?",
            (count,),
        ).fetchall()
    except sqlite3.Error as error:
        raise _error(path, error) from None
    return tuple(
        Raised(at, title, state == "shown", WHY_NOT_KNOWN if state in ("begun", "unknown") else why)
        for at, title, state, why in rows
    )


def _prepared(path: Path) -> sqlite3.Connection:
    """Open a journal and bring it into its form; one of another form, or a damaged one, is put aside and begun anew."""
    connection = sqlite3.connect(path, timeout=5)
    try:
        connection.execute("PRAGMA synchronous = FULL")
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        if version == LAYOUT and connection.execute("PRAGMA quick_check").fetchone()[0] == "ok":
            return connection
        empty = not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError):
            connection.close()
            raise
        empty = False
    if not empty:
        connection.close()
        path.replace(path.with_name(f"{path.name}.{uuid.uuid4().hex[:8]}.damaged"))
        path.touch(mode=0o600)
        connection = sqlite3.connect(path, timeout=5)
        connection.execute("PRAGMA synchronous = FULL")
    with connection:
        for statement in TABLES:
            connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {LAYOUT}")
    return connection


def _error(path: Path, error: OSError | sqlite3.Error) -> JournalError:
    why = (error.strerror if isinstance(error, OSError) else None) or str(error)
    return JournalError(
        f'What was raised cannot be kept in "{path}": {why}. Reminders go on; make room on the disk, and see to it '
        "that the folder may be written."
    )
