"""For tests about the plan in use: a household of its own on this computer, and its commands run as a person runs them.

The plan is invented; all times are Chicago's, in June 2026.
"""

import uuid
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result
from small_plans import DAILY, plan_text

from reminders.cli import main
from reminders.commands.places import use, where
from reminders.record.facts import Fact
from reminders.record.store import Store, record_path

PLAN_ID = uuid.UUID("0f0e8a52-6a0b-4c53-8d3e-6f5a1f0b9c11")
OTHER_ID = uuid.UUID("5b0f6a3e-8f1c-4c57-9a64-2f6f0c7b1d21")
HOME = f"""{DAILY}
[lumen.grey]
last_flushed = "2026-06-01 07:30"
"""
SECOND = f"""{HOME}
[plan]
revision = 2
takes_effect = "2026-06-03 08:00"
[order.cefazolin]
clock_times = ["11:00"]
first_dose = "2026-06-01 11:00"
"""
"""The second revision: from the 3rd on the dose comes at 11:00."""
OTHER = f"""{HOME}
[plan]
id = "{OTHER_ID}"
[calendar]
name = "Another line"
"""


def own_places(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give this program folders of its own below ``folder``; return that for data, which is not made yet."""
    for name in ("CONFIG", "DATA", "STATE", "CACHE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(folder / name.lower()))
    monkeypatch.setenv("HOME", str(folder))
    return folder / "data" / "reminders"


def write(folder: Path, edits: str = HOME, name: str = "fennimore.toml") -> Path:
    """Write the base plan with edits as a file."""
    path = folder / name
    path.write_text(plan_text(edits), encoding="utf-8")
    return path


def at(moment: str) -> tuple[str, str]:
    """Return the option that makes ``06-01 10:45`` the present."""
    return "--now", f"2026-{moment}-05:00"


def run(command: click.Command | str, *arguments: str | Path) -> Result:
    """Run a command; a failure of the program itself is raised, not swallowed."""
    words = [str(argument) for argument in arguments]
    result = (
        CliRunner().invoke(main, [command, *words]) if isinstance(command, str) else CliRunner().invoke(command, words)
    )
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output
    return result


def put_in_use(plan: Path, *options: str, moment: str = "06-01 08:30") -> str:
    """Put a plan in use; return what is said."""
    result = run(use, plan, *options, *at(moment))
    assert result.exit_code == 0, result.output
    return result.output


def shown() -> str:
    """Return what is shown of where things live."""
    result = run(where)
    assert result.exit_code == 0, result.output
    return result.output


def facts(folder: Path, plan_id: uuid.UUID = PLAN_ID) -> tuple[Fact, ...]:
    """Return what is in the record of a plan that is kept in a folder."""
    store = Store.open(record_path(folder / "plan.toml", plan_id), plan_id, create=False)
    if store is None:
        return ()
    with store:
        return store.read().facts
