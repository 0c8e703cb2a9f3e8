"""The command that opens what a household was sent."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from reminders import words
from reminders.commands.in_use import say_read_back, take_into_use
from reminders.commands.shared import FAILED, NOW, coloured, fail, moment_of
from reminders.files import FileError
from reminders.findings import Severity
from reminders.places import command_for, is_in_use
from reminders.views.findings_text import finding_text, tally
from reminders.views.waiting_words import nothing_before_words

if TYPE_CHECKING:  # loaded by the command itself
    from reminders.household import Household
    from reminders.mailing.unpacking import Unpacked
    from reminders.receiving import Received
    from reminders.times import Instant


@click.command(name="open")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--use", "wanted", is_flag=True, help="Put the plan in use, if it can be, without being asked.")
@NOW
def open_(file: Path, wanted: bool, now: str | None) -> None:
    """Say what FILE is that somebody sent: an e-mail with a packet, saved as a file (.eml), or the plan in it (.toml).

    The plan is checked, what came with it is compared with it, and it is compared with the plan in use on this computer.
    Nothing is changed unless you say yes when you are asked, or add --use .
    """
    from reminders.adopting import InUse
    from reminders.mailing.unpacking import UnpackError
    from reminders.receiving import receive

    moment = moment_of(now)
    try:
        received = receive(file, moment)
    except (FileError, UnpackError) as error:
        fail(f"{error} Nothing was put in use.")
    if received.mail is not None:
        _say_mail(file, received.mail)
    offered = received.offered
    if offered is None:
        _say_errors(received)
    _say_plan(received, offered)
    fits = _say_fits(received)
    usable = _say_standing(received, moment) and fits
    if received.mail is None and offered.store_path.exists() and not is_in_use(file):
        click.echo(
            f"A record lies beside {file.name}; it is not looked at, and nothing of it is taken over. Is it your own record of this "
            f"plan? Then put the plan in use with  {command_for('use', file)} ."
        )
    if not usable:
        sys.exit(FAILED if wanted and not _is_in_use_already(received) else 0)
    if not wanted and not _asked(offered):
        click.echo("Nothing was put in use. Done later:  reminders open --use  and the file's name.")
        return
    take_into_use(offered, moment, None if received.mail is not None else file, shown=InUse.of(received.current))


def _say_mail(file: Path, mail: Unpacked) -> None:
    click.echo(f"{file.name} is an e-mail with a packet. What it says of itself, which anybody could have written:")
    forwarded, first = mail.heads[:-1], mail.heads[-1]
    for head in forwarded:
        click.echo(f"  forwarded by {head.sender or 'nobody named'}, {head.date or 'no date'}")
    click.echo(f"  from {first.sender or 'nobody named'}, {first.date or 'no date'}")
    held = [f"{mail.plan.name} (the plan)"]
    held += [f"{part.name} (calendar)" for part in mail.calendars]
    held += [f"{part.name} (PDF)" for part in mail.pdfs]
    click.echo(f"  It holds {', '.join(held)}.")
    if mail.others:
        click.echo(f"  Not looked at: {', '.join(mail.others)}.")
    click.echo("")


def _say_errors(received: Received) -> NoReturn:
    """Print the errors of a plan and stop."""
    examination = received.examination
    for finding in examination.findings:
        if finding.severity is Severity.ERROR:
            click.echo(coloured(finding, finding_text(finding, examination.source)) + "\n", err=True)
    fail(
        f"{examination.source.name}: {tally(examination.findings)}. Nothing was put in use. Show these lines to whoever sent it, "
        "and ask for a plan without errors."
    )


def _say_plan(received: Received, offered: Household) -> None:
    plan, examination = offered.plan, received.examination
    moment = words.moment_words(plan.clock.local(plan.course.takes_effect.instant))
    click.echo(
        f'The plan is "{plan.calendar.name}" of {plan.protocol.provider}, revision {plan.course.revision}, in force from {moment}.'
    )
    say_read_back(plan)
    warnings = [finding for finding in examination.findings if finding.severity is Severity.WARNING]
    for finding in warnings:
        click.echo("\n" + coloured(finding, finding_text(finding, examination.source)))
    click.echo(f"Checked: {tally(examination.findings)}.\n")


def _say_fits(received: Received) -> bool:
    """Say how what came with the plan fits it; return whether nothing speaks against the plan."""
    misfits = [told for fit in received.fits for told in fit.misfits]
    for told in misfits:
        click.echo(click.style(f"DOES NOT FIT: {told}", fg="red", bold=True))
    for fit in received.fits:
        for note in fit.notes:
            click.echo(f"Note: {note}")
    mail = received.mail
    if mail is not None and not misfits:
        click.echo(_fit_words(received))
    if misfits:
        click.echo(
            "So nobody can tell which of them is meant, and the plan is not put in use from this e-mail. Ask whoever sent it to send "
            "the packet again. If they say that the plan itself is right, save it from the e-mail and open that file."
        )
    return not misfits


def _fit_words(received: Received) -> str:
    compared = [fit.compared for fit in received.fits]
    if not compared:
        return "Neither calendar nor sheet came with the plan."
    if all(compared):
        but = ", but for what the notes say" if any(fit.differs for fit in received.fits) else ""
        return f"What came with the plan fits it{but}."
    return f"{'What was compared fits the plan' if any(compared) else 'Nothing was compared with the plan'}; see the notes."


def _say_standing(received: Received, now: Instant) -> bool:
    """Say how the plan stands to the one in use; return whether it can be put in use."""
    from reminders.receiving import USABLE, Standing

    offered, current = received.offered, received.current
    assert offered is not None, "a plan with errors stands to nothing"
    revision = offered.plan.course.revision
    in_use = 0 if current is None else current.plan.course.revision
    click.echo(
        {
            Standing.FIRST: "No plan is in use on this computer yet.",
            Standing.NEWER: f"Revision {in_use} is in use on this computer. This is what revision {revision} changes:\n",
            Standing.SAME: f"Revision {revision} is in use on this computer already. There is nothing to do.",
            Standing.CHANGED: f"Revision {revision} is in use on this computer, and it says something else than this one. Someone changed "
            "the plan without raising its revision. It cannot be put in use: ask for it with a higher revision.",
            Standing.OLDER: f"Revision {in_use} is in use on this computer, which is newer. An older one is not put in use: what was changed "
            "since would be lost. Delete this file, so that nobody takes it for the newest.",
            Standing.OTHER: "Another plan is in use on this computer, for another line or another person; the ids differ. This one is not "
            "put in use from here. If it is meant to take its place, save the plan's file (.toml), and type  reminders use --instead  "
            "and its name.",
            Standing.UNKNOWN: f"{received.trouble} Until that is mended nothing is put in use. Copy nothing and delete nothing: the record of "
            "what happened lies beside it.",
        }[received.standing]
    )
    if received.comparison:
        click.echo(received.comparison)
    if received.standing is Standing.FIRST and (waits := nothing_before_words(offered.plan, now)):
        click.secho(waits, fg="yellow", bold=True)
    return received.standing in USABLE


def _is_in_use_already(received: Received) -> bool:
    from reminders.receiving import Standing

    return received.standing is Standing.SAME


def _asked(offered: Household) -> bool:
    """Ask whether to put the plan in use, where somebody can answer; anything but yes is no."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return False
    return click.confirm(f"Put revision {offered.plan.course.revision} in use now?", default=False)
