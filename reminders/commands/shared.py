"""What the commands share: their options, the clock, how errors are printed, and how a plan and its record are opened.

No module outside this package prints or asks what time it is.
"""

from __future__ import annotations

import sys
from datetime import UTC as UTC_ZONE
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from reminders.examine import Examination, examine
from reminders.files import FileError, read_file
from reminders.findings import Finding, Severity
from reminders.plan.keys import DATE, MOMENT, UnreadableError
from reminders.record.facts import EMPTY
from reminders.schedule.model import Schedule
from reminders.times import Instant, from_datetime
from reminders.views.findings_text import finding_text, tally
from reminders.zones import zone

if TYPE_CHECKING:  # the record's store is loaded only by the commands that open it
    from reminders.household import Household

FAILED = 1
"""The exit status where a plan has errors or a file cannot be read or written; 2 is click's: a command misused."""

COLOURS: dict[str, dict[str, Any]] = {
    "day": {"bold": True},
    "lumen": {"underline": True},
    "night": {"fg": "magenta"},
    "change": {"fg": "yellow"},
}


class _Day(click.ParamType[date]):
    name = "day"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> date:
        try:
            found: date = DATE.read(value, None)
        except UnreadableError as error:
            self.fail(f"{error.problem}; write {error.expected}", param, ctx)
        return found


DAY = _Day()
PLAN = click.argument("plan", metavar="PLAN", type=click.Path(path_type=Path))
NOW = click.option(
    "--now",
    metavar="MOMENT",
    help='Work as if it were this moment, such as "2026-10-26 08:00+00:00". For trying things out.',
)
FROM = click.option("--from", "first", type=DAY, metavar="DAY", help="The first day, such as 2026-10-26.")
TO = click.option("--to", "last", type=DAY, metavar="DAY", help="The last day; it is included.")


def moment_of(text: str | None) -> Instant:
    """Return the moment that --now says, or the present."""
    if text is None:
        return from_datetime(datetime.now(UTC_ZONE))
    try:
        moment: Instant = MOMENT.read(text, zone("UTC")).instant
    except UnreadableError as error:
        raise click.BadParameter(f"{error.problem}; write {error.expected}", param_hint="--now") from None
    return moment


def examined(plan: Path, now: str | None) -> Examination:
    """Read and check a plan file alone, without its record."""
    try:
        content = read_file(plan)
    except FileError as error:
        fail(str(error))
    return examine(plan.name, content, EMPTY, moment_of(now))


def opened(plan: Path, now: str | None) -> Household:
    """Read a plan file and its record, or print what is wrong and stop."""
    from reminders.household import NotInUseError, UnusablePlanError, open_household
    from reminders.record.store import RecordError

    try:
        return open_household(plan, moment_of(now))
    except UnusablePlanError as error:
        print_errors(plan, error.examination)
    except (FileError, RecordError, NotInUseError) as error:
        fail(str(error))


def seen(plan: Path, now: str | None) -> tuple[Household, Schedule]:
    """Read a plan file and its record and compile them; a revision that is not in use is shown as if it were."""
    household = opened(plan, now)
    if not household.in_use:
        click.echo(
            f"Revision {household.plan.course.revision} is not in use yet. This shows what it would be like.\n",
            err=True,
        )
    return household, household.schedule(moment_of(now))


def print_errors(plan: Path, result: Examination) -> NoReturn:
    """Print a plan's errors and stop."""
    for finding in result.findings:
        if finding.severity is Severity.ERROR:
            click.echo(coloured(finding, finding_text(finding, result.source)) + "\n", err=True)
    fail(f"{plan.name}: {tally(result.findings)}. Nothing was written.")


def days_in_order(first: date, last: date) -> None:
    """Refuse days that are out of order, or more than anyone reads."""
    if last < first:
        raise click.UsageError(f"The last day ({last}) is before the first ({first}).")
    if (last - first).days > 400:
        raise click.UsageError("These are more than 400 days; choose fewer.")


def coloured(finding: Finding, text: str) -> str:
    """Colour a finding's heading by its severity."""
    heading, _, rest = text.partition("\n")
    colour = {Severity.ERROR: "red", Severity.WARNING: "yellow", Severity.NOTE: "cyan"}[finding.severity]
    return f"{click.style(heading, fg=colour, bold=True)}\n{rest}"


def fail(message: str) -> NoReturn:
    """Print a message and stop with the exit status of failure."""
    click.echo(message, err=True)
    sys.exit(FAILED)
