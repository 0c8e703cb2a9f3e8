"""Where this program keeps things on this computer: the folders that the system has for it, by platformdirs."""

import tomllib
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


def is_in_use(plan: Path) -> bool:
    """Say whether a plan's file is that of the plan in use, and not one that somebody named."""
    return plan.resolve() == places().plan.resolve()


def id_in_use() -> uuid.UUID | None:
    """Return the id of the plan in use; None where there is no plan, or its file says none."""
    return id_of(places().plan)


def id_of(plan: Path) -> uuid.UUID | None:
    """Return the id that a plan's file says, whatever else is wrong with it; None if it says none."""
    try:
        return uuid.UUID(tomllib.loads(plan.read_text(encoding="utf-8-sig"))["plan"]["id"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def command_for(command: str, plan: Path, rest: str = "") -> str:
    """Return a command as a person types it for a plan; the plan in use needs no name.

    ``command_for("record", path, "in use")`` is ``reminders record plan-2.toml in use``, or ``reminders record in use``.
    """
    named = "" if is_in_use(plan) else typed(plan)
    return " ".join(part for part in ("reminders", command, named, rest) if part)


def typed(plan: Path) -> str:
    """Return a plan's file as a person types it: by its name, or that of the plan in use with its folder."""
    name = str(plan) if is_in_use(plan) else plan.name
    return f'"{name}"' if " " in name else name


def commands_after(plan: Path) -> list[str]:
    """Return what can be typed once a plan is written: to check it, to make the household's packet, to change it again."""
    named = typed(plan)
    return [f"reminders check {named}", f"reminders packet {named} --out packet", f"reminders write {named}"]


def stem_for(plan: Path) -> str:
    """Return what files that are made of a plan are named after: its own file, or of the plan in use nothing that tells."""
    return "calendar" if is_in_use(plan) else plan.stem
