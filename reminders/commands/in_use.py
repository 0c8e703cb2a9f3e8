"""What the commands share that put a plan in use: doing it, and saying what came of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from reminders import words
from reminders.commands.shared import coloured, fail, print_calendars
from reminders.files import FileError
from reminders.findings import Severity
from reminders.places import command_for, is_in_use, places
from reminders.record.facts import Kind
from reminders.times import Instant
from reminders.views.findings_text import finding_text

if TYPE_CHECKING:  # the record's store is loaded only by the commands that open it
    from reminders.adopting import Adopted, InUse
    from reminders.household import Household
    from reminders.plan.model import Plan


def take_into_use(
    offered: Household, now: Instant, file: Path | None, *, another: bool = False, shown: InUse | None = None
) -> None:
    """Put a plan in use and say so, or say why not and stop; then nothing was changed.

    ``file`` is the plan's file as it was named; None for a plan that came in an e-mail. ``another``: it takes the place of
    another plan. ``shown``: what somebody was shown to be in use when they said yes.
    """
    from reminders.adopting import adopt
    from reminders.household import NotInUseError, UnusablePlanError
    from reminders.record.store import RecordError
    from reminders.reporting import calendars_again

    try:
        adopted = adopt(offered, now, shown)
    except (FileError, RecordError, NotInUseError, UnusablePlanError) as error:
        fail(f"{error} Nothing was changed.")
    except OSError as error:
        fail(f'"{places().data}" cannot be written: {error.strerror}. Nothing was changed.')
    _say_what_is_in_use(offered, adopted, file, now)
    if another:
        click.echo(
            "The plan that was in use before is not any more; its record is kept. If  reminders run  is running for it, it goes on "
            "with this one within seconds, by itself."
        )
    if adopted.added:
        print_calendars(*calendars_again(adopted.household, now)[1:])
    click.echo("From now on no command needs the plan's name; try  reminders due .")


def say_read_back(plan: Plan) -> None:
    """Say who has read a plan back; in red, that nobody has as it stands."""
    from reminders.read_back_words import household_words, is_read_back

    told = household_words(plan)
    click.echo(told if is_read_back(plan) else click.style(told, fg="red", bold=True))


def _say_what_is_in_use(offered: Household, adopted: Adopted, file: Path | None, now: Instant) -> None:
    from reminders.earlier import of_household

    household = adopted.household
    course = household.plan.course
    moment = words.moment_words(household.plan.clock.local(course.takes_effect.instant))
    begun = any(fact.kind is Kind.IN_USE for fact in adopted.added)
    click.echo(f"Revision {course.revision} is in use{'' if begun else ' already'}, from {moment} on.")
    click.echo(f"It is kept, with its record, in {household.path.parent} .")
    if file is not None and not is_in_use(file):
        click.echo(f"{file.name} itself is not used any more.")
    say_read_back(household.plan)
    alone = household.examination.findings
    found = of_household(household, now)
    warnings = [finding for finding in found.findings if finding.severity is Severity.WARNING]
    for finding in warnings:
        if finding not in alone:  # what the change brings about is said at once
            click.echo("\n" + coloured(finding, finding_text(finding, found.source)) + "\n")
    if warnings:
        many = "1 warning" if len(warnings) == 1 else f"{len(warnings)} warnings"
        click.echo(f"The plan has {many}; read with  reminders check .")
    if begun and household.earlier:
        shown = command_for("compare", file) if file is not None else f'reminders compare "{household.path}"'
        click.echo(f"What it changes:  {shown}")
    if offered.record.facts and offered.store_path.resolve() != household.store_path.resolve():
        known = {fact.key for fact in offered.record.facts}
        taken = sum(fact.key in known for fact in adopted.added)
        click.echo(
            f"{taken} facts were taken over from the record beside {offered.path.name}. That record is not used any more: "
            f"{offered.store_path}"
        )
