"""Where this program keeps things on this computer: the folders that the system has for it, by platformdirs."""

import os
import uuid
from dataclasses import dataclass
from pathlib import Path

from platformdirs import PlatformDirs


@dataclass(frozen=True, slots=True)
class Places:
    """The folders. ``data``: the plan in use with its record. ``secrets``: addresses that must not be guessed. ``state``:
    what the daemon has raised, its sign of life and its lock. ``log``: the daemon's log."""

    data: Path
    secrets: Path
    state: Path
    log: Path

    @property
    def plan(self) -> Path:
        """Return where the plan in use lies; its record lies beside it."""
        return self.data / "plan.toml"

    def secrets_of(self, plan_id: uuid.UUID) -> Path:
        """Return where the secrets of one plan's page and phones are kept."""
        return self.secrets / f"secrets-{plan_id}.json"

    def journal_of(self, plan_id: uuid.UUID) -> Path:
        """Return where the daemon of one plan writes down what it has raised."""
        return self.state / f"raised-{plan_id}.sqlite3"

    def life_of(self, plan_id: uuid.UUID) -> Path:
        """Return where the daemon of one plan gives its sign of life."""
        return self.state / f"life-{plan_id}.json"

    def lock_of(self, plan_id: uuid.UUID) -> Path:
        """Return the file that the one daemon of a plan holds locked."""
        return self.state / f"daemon-{plan_id}.lock"

    def feed_of(self, plan_id: uuid.UUID) -> Path:
        """Return the folder of the calendar that phones subscribe to."""
        return self.data / f"feed-{plan_id}"

    def log_of(self, plan_id: uuid.UUID) -> Path:
        """Return the log of one plan's daemon."""
        return self.log / f"daemon-{plan_id}.log"


def places() -> Places:
    """Return the folders for the user at this computer; none is made here."""
    dirs = PlatformDirs("reminders", appauthor=False)
    return Places(
        data=dirs.user_data_path,
        secrets=dirs.user_config_path,
        state=dirs.user_state_path,
        log=dirs.user_log_path,
    )


def private_folder(path: Path) -> Path:
    """Make a folder that only its owner may look into, if it is not there; return it.

    Raises:
        OSError: it cannot be made.
    """
    path.mkdir(mode=0o700, parents=True, exist_ok=True)
    if os.name == "posix" and path.stat().st_mode & 0o077:
        path.chmod(0o700)
    return path
