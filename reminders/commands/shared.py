"""What the commands share: their options, the clock, how errors are printed, and how a plan and its record are opened.

Outside this package only the daemon asks what time it is, and speaks to whoever started it.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Callable, Sequence
from datetime import UTC as UTC_ZONE
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

import click

from reminders import words
from reminders.examine import Examination, examine
from reminders.files import FileError, read_file
from reminders.findings import Finding, Severity
from reminders.places import command_for, id_in_use, is_in_use, places
from reminders.plan.keys import DATE, MOMENT, UnreadableError
from reminders.plan.source import BEGINS_PLAN
from reminders.record.facts import EMPTY
from reminders.schedule.model import Schedule
from reminders.times import Instant, from_datetime
from reminders.views.findings_text import finding_text, tally
from reminders.zones import zone

if TYPE_CHECKING:  # the record's store is loaded only by the commands that open it
    from reminders.household import Household
    from reminders.publishing import Written

Command = TypeVar("Command", bound=Callable[..., Any])

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

NO_PLAN = "No plan is in use on this computer. Put one in use with  reminders use PLAN ."
WITHOUT_PLAN = "PLAN is a plan's file. Without it: the plan in use on this computer."


def plan_in_use() -> Path:
    """Return where the plan in use lies.

    Raises:
        click.UsageError: there is none.
    """
    try:
        there = places().plan.is_file()
    except OSError as error:
        fail(f'"{places().plan}" cannot be read: {error.strerror}.')
    if not there:
        raise click.UsageError(f"{NO_PLAN} Or name a plan's file: PLAN.")
    return places().plan


def _or_in_use(ctx: click.Context, _param: click.Parameter, value: Path | None) -> Path | None:
    return value if value is not None or ctx.resilient_parsing else plan_in_use()


def says_without_plan(command: Command) -> Command:
    """Add to a command's help what it does without a plan's file."""
    command.__doc__ = f"{inspect.cleandoc(command.__doc__ or '')}\n\n{WITHOUT_PLAN}"
    return command


def PLAN(command: Command) -> Command:  # noqa: N802 - it stands beside NOW, FROM and TO, and is used as they are
    """Give a command the argument PLAN; where it is left out, the function gets the file of the plan in use."""
    argument = click.argument(
        "plan", metavar="[PLAN]", required=False, callback=_or_in_use, type=click.Path(path_type=Path)
    )
    return argument(says_without_plan(command))


def plan_and_words(said: Sequence[str]) -> tuple[Path, Sequence[str]]:
    """Part ``[PLAN] WHAT...``: the first word is a plan's file if it looks like one (:func:`names_a_plan`).

    Raises:
        click.UsageError: nothing is said, or no plan is named and none is in use.
    """
    plan, what = (Path(said[0]), said[1:]) if said and names_a_plan(said[0]) else (None, said)
    if not what:
        raise click.UsageError("Missing argument 'WHAT...'.")
    return plan or plan_in_use(), what


def names_a_plan(word: str) -> bool:
    """Say whether a word that may be a plan's file, or the first of a report, is a plan's file.

    Whatever ends in ``.toml`` is meant as one, whether it is there or not. Anything else must be there; and without a folder
    before it, it must also read like a plan: a file that happens to be called ``flushed`` or ``red`` takes no word away.
    """
    path = Path(word)
    if path.suffix.lower() == ".toml":
        return True
    try:
        if path.name != word:
            return path.exists()
        return path.is_file() and BEGINS_PLAN.search(read_file(path)) is not None
    except (OSError, ValueError, FileError):  # a word that no file can have for its name, or that nobody may read
        return False


def plan_and_file(files: Sequence[Path], name: str) -> tuple[Path, Path]:
    """Part ``[PLAN] FILE``; ``name`` is what the help calls the file.

    Raises:
        click.UsageError: there are more or fewer, or no plan is named and none is in use.
    """
    if not files:
        raise click.UsageError(f"Missing argument '{name}'.")
    if len(files) > 2:
        raise click.UsageError(f"Got unexpected extra argument ({files[2]})")
    return (files[0], files[1]) if len(files) == 2 else (plan_in_use(), files[0])


NOW = click.option(
    "--now",
    metavar="MOMENT",
    help='Work as if it were this moment, such as "2026-10-26 08:00+00:00". For trying things out.',
)
FROM = click.option("--from", "first", type=DAY, metavar="DAY", help="The first day, such as 2026-10-26.")
TO = click.option("--to", "last", type=DAY, metavar="DAY", help="The last day; it is included.")


A_FILE = click.Path(exists=True, dir_okay=False, resolve_path=True, path_type=Path)

HOW_IT_LISTENS = (
    click.option(
        "--port", type=click.IntRange(1, 65535), default=None, help="Another port than 4870 for page and feed."
    ),
    click.option(
        "--lan",
        is_flag=True,
        help="Let phones on the home network fetch the calendar. Without --certificate everybody on that network can read "
        "along.",
    ),
    click.option("--page-on-lan", is_flag=True, help="With --lan: let them open the page too, and report on it."),
    click.option("--certificate", type=A_FILE, help="With --lan: the file of a TLS certificate."),
    click.option("--key", type=A_FILE, help="The file of its key."),
    click.option(
        "--name",
        "names",
        multiple=True,
        metavar="NAME",
        help="With --lan: a name of this computer, as in its certificate.",
    ),
)
"""The options that say where the daemon listens, alike for ``run`` and for what is started at login."""


def listens(command: Command) -> Command:
    """Give a command the options of :data:`HOW_IT_LISTENS`."""
    for option in reversed(HOW_IT_LISTENS):
        command = option(command)
    return command


def check_listening(
    *, lan: bool, page_on_lan: bool, certificate: Path | None, key: Path | None, names: Sequence[str]
) -> None:
    """Refuse options that do not go together."""
    if (certificate is None) != (key is None):
        raise click.UsageError("--certificate and --key belong together.")
    if (page_on_lan or certificate is not None or names) and not lan:
        raise click.UsageError("--page-on-lan, --certificate and --name say how --lan is done; add --lan.")


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


def opened(plan: Path, now: str | None, *, writes: bool = False) -> Household:
    """Read a plan file and its record, or print what is wrong and stop.

    Of the plan in use it is what the record says is in use, as the daemon has it. ``writes``: something is to be recorded.
    A copy of the plan in use with a record of its own is told apart: to look at it is to be warned, to record there is refused,
    because nobody would see it.
    """
    from reminders.household import open_household, open_in_use

    if is_in_use(plan):
        household = _or_stop(open_in_use, plan, now)
        tell_waiting(household)
        return household
    household = _or_stop(open_household, plan, now)
    tell_apart(household, writes=writes)
    tell_replaced(household)
    return household


def opened_as_it_lies(plan: Path, now: str | None) -> Household:
    """Read a plan file and its record, or print what is wrong and stop; what the file says counts, in use or not."""
    from reminders.household import open_household

    return _or_stop(open_household, plan, now)


def _or_stop(read: Callable[[Path, Instant], Household], plan: Path, now: str | None) -> Household:
    from reminders.household import NotInUseError, UnusablePlanError
    from reminders.record.store import RecordError

    try:
        return read(plan, moment_of(now))
    except UnusablePlanError as error:
        print_errors(plan, error.examination)
    except (FileError, RecordError, NotInUseError) as error:
        fail(str(error))


def tell_waiting(household: Household) -> None:
    """Tell that a later revision lies in the plan's file and is not in use, where one does."""
    if household.waiting is not None:
        click.echo(
            f"Revision {household.waiting} lies in {household.path} and is not in use. Put it in use with  "
            f"{command_for('record', household.path, 'in use')} .\n",
            err=True,
        )


def tell_replaced(household: Household) -> None:
    """Tell that a revision says something else than the packets that were made of it, where it does."""
    if household.replaced is None:
        return
    course, made = household.plan.course, household.plan.clock.local(household.replaced.entered)
    click.echo(
        f"As revision {course.revision}, {household.path.name} says something else than the packet of {words.moment_words(made)}, and "
        "takes its place. If that packet was sent already, raise revision by one instead.\n",
        err=True,
    )


def tell_followed(before: Household, after: Household) -> None:
    """Tell that a later revision was put in use by itself, where it was."""
    if after.in_use and not before.in_use:
        earlier, number = after.earlier[-1].course.revision, after.plan.course.revision
        click.echo(
            f"Revision {number} is in use beside {after.path.name} now: nothing was reported under revision {earlier}."
        )


def tell_apart(household: Household, *, writes: bool = False) -> None:
    """Tell a copy of the plan in use with a record of its own apart; to record there is refused."""
    plan, kept = household.path, places().data
    if is_in_use(plan) or household.plan.course.id != id_in_use():
        return
    if writes:
        fail(
            f"{plan.name} is the plan that is in use on this computer, and its record is kept in {kept}. What is recorded "
            "beside this file would not reach it. Nothing was recorded. Leave the file's name out; a new revision is put in "
            f"use with  {command_for('use', plan)} ."
        )
    click.echo(
        f"The plan in use on this computer is kept in {kept}, with its record. This is what lies in and beside {plan.name}; "
        "leave the file's name out to see what is in use.\n",
        err=True,
    )


def seen(plan: Path, now: str | None) -> tuple[Household, Schedule]:
    """Read a plan file and its record and compile them; a revision that is not in use is shown as if it were."""
    household = opened(plan, now)
    if not household.in_use:
        click.echo(
            f"Revision {household.plan.course.revision} is not in use yet. This shows what it would be like.\n",
            err=True,
        )
    return household, household.schedule(moment_of(now))


def print_calendars(written: Sequence[Written], troubles: Sequence[str]) -> None:
    """Say which calendars were written again; where that failed the report still stands."""
    for entry in written:
        changed = len(entry.fact.shown) if entry.fact else 0
        click.echo(f"Calendar written again: {entry.place} ({changed} event{'' if changed == 1 else 's'} changed).")
        if entry.calendar.waiting:
            click.echo(words.still_waiting(len(entry.calendar.waiting)))
    for trouble in troubles:
        click.echo(f"A calendar is old now: {trouble} What you reported is recorded.", err=True)


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
