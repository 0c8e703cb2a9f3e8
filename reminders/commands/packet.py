"""The command that makes a packet for a household, and sends it if that is asked for."""

from __future__ import annotations

import os
import sys
import uuid
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reminders import words
from reminders.commands.shared import DAY, FAILED, NOW, PLAN, coloured, fail, moment_of, opened, tell_followed
from reminders.files import FileError
from reminders.findings import Severity
from reminders.record.facts import Kind
from reminders.times import Instant, utc
from reminders.views.findings_text import finding_text

if TYPE_CHECKING:  # loaded by the command itself
    from email.headerregistry import Address
    from email.message import EmailMessage

    from reminders.household import Household
    from reminders.mailing.contents import Typed
    from reminders.mailing.sending import Server
    from reminders.publishing import Written
    from reminders.sheet.content import Asked

PASSWORD = "REMINDERS_SMTP_PASSWORD"
"""The environment variable from which the password is taken where nobody can be asked."""


@click.command()
@PLAN
@click.option(
    "--out",
    required=True,
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="The folder for the files; made if new.",
)
@click.option(
    "--paper",
    type=click.Choice(["letter", "a4"], case_sensitive=False),
    default="letter",
    help="The paper that the sheet is printed on; letter if left out.",
)
@click.option(
    "--from-day",
    "first",
    type=DAY,
    metavar="DAY",
    help="The first day of sheet and calendar, such as 2026-10-26; today, or when the plan takes effect, if left out.",
)
@click.option("--to", "to", multiple=True, metavar="ADDRESS", help="To whom it goes; may stand several times.")
@click.option("--from", "sender", metavar="ADDRESS", default="", help="From whom it comes.")
@click.option("--patient", metavar="NAME", default="", help="The patient's name, for sheet and letter.")
@click.option("--subject", metavar="TEXT", default="", help="Another subject than one that tells nothing.")
@click.option("--send", "sends", is_flag=True, help="Send it too; needs --smtp, --from and --to.")
@click.option("--smtp", metavar="HOST:PORT", default="", help="The mail server; port 465 is TLS, any other STARTTLS.")
@click.option("--user", metavar="NAME", default="", help="Who logs in at the mail server; nobody if left out.")
@click.option(
    "--authority",
    type=click.Path(path_type=Path),
    help="The file of a certificate authority to trust besides, such as the provider's own.",
)
@click.option("--not-read-back", is_flag=True, help="Send it although nobody has read the plan back as it stands.")
@NOW
def packet(
    plan: Path,
    out: Path,
    paper: str,
    first: date | None,
    to: Sequence[str],
    sender: str,
    patient: str,
    subject: str,
    sends: bool,
    smtp: str,
    user: str,
    authority: Path | None,
    not_read_back: bool,
    now: str | None,
) -> None:
    """Make a packet for a household: an e-mail (.eml) with the plan, its calendar (.ics) and a sheet to print (.pdf).

    Open the .eml with a double click: some mail programs show it as a draft, others as one to be forwarded. Nothing about
    anybody is in it that is not in the plan or typed here; what it holds is said first. Its calendar takes the place of
    those that were sent before.

    The password for --user is asked for and kept nowhere. Where nobody can be asked it is taken from the environment
    variable REMINDERS_SMTP_PASSWORD.
    """
    from reminders.earlier import of_household
    from reminders.mailing.contents import Typed, holdings, holdings_text
    from reminders.read_back_words import household_words, is_read_back

    typed = Typed(
        patient=_plain(patient, "--patient"), sender=sender, to=tuple(to), subject=_plain(subject, "--subject")
    )
    addresses = [_address(text, "--to") for text in to]
    from_address = _address(sender, "--from") if sender else None
    server = _server(sends, smtp, user, authority, complete=bool(to and sender))
    when = moment_of(now)
    household = opened(plan, now)
    found = of_household(household, when)
    for finding in found.findings:
        if finding.severity is Severity.WARNING:
            click.echo(coloured(finding, finding_text(finding, found.source)) + "\n", err=True)
    if not is_read_back(household.plan):
        click.echo(click.style(household_words(household.plan), fg="red", bold=True) + "\n", err=True)
        if server is not None and not not_read_back:
            fail(
                "Nothing was written or sent. Have the plan read back, and write down who did under [read_back]; or add "
                "--not-read-back to send it all the same."
            )
    reports = {fact.report for fact in household.record.standing if fact.kind not in (Kind.IN_USE, Kind.PUBLISHED)}
    held = holdings(household.plan, household.text, typed, len(reports))
    click.echo(holdings_text(held, household.plan, typed, len(reports)))
    household, calendar, message = _written(household, out, paper, first, typed, from_address, addresses, when)
    if server is not None and from_address is not None:
        _send(message, from_address, addresses, server, lambda: _record_sent(household, calendar, when))


def _plain(text: str, option: str) -> str:
    if not text.isprintable():
        raise click.BadParameter("it holds a line end or another letter that cannot be shown", param_hint=option)
    return text.strip()


def _address(text: str, option: str) -> Address:
    from reminders.mailing.message import AddressError, address_of

    try:
        return address_of(text)
    except AddressError as error:
        raise click.BadParameter(str(error), param_hint=option) from None


def _server(sends: bool, smtp: str, user: str, authority: Path | None, *, complete: bool) -> Server | None:
    """Return the server to send by; None where nothing is to be sent."""
    from reminders.mailing.sending import server_of

    if not sends:
        if smtp or user or authority:
            raise click.UsageError("--smtp, --user and --authority say how it is sent; add --send.")
        return None
    if not (smtp and complete):
        raise click.UsageError("--send needs to know how, from whom and to whom: --smtp HOST:PORT, --from and --to.")
    try:
        return server_of(smtp, user, authority)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--smtp") from None


def _written(
    household: Household,
    out: Path,
    paper: str,
    first: date | None,
    typed: Typed,
    sender: Address | None,
    to: Sequence[Address],
    now: Instant,
) -> tuple[Household, Written, EmailMessage]:
    """Write the packet's files, all or none, and say so; return the household as it then is, the calendar, the e-mail."""
    from reminders.household import NotInUseError
    from reminders.mailing.letter import Enclosed, letter_of, names_of, subject_of
    from reminders.mailing.message import Envelope, Files, draft, message_of
    from reminders.publishing import OutsideError, Wanted, publish
    from reminders.record.store import RecordError
    from reminders.sheet.pdf import sheet_pdf, sheet_warnings

    names = names_of(household.plan)
    made: list[EmailMessage] = []
    asked: list[Asked] = []

    def others(household: Household, calendars: list[Written]) -> Mapping[str, bytes]:
        (calendar,) = calendars
        schedule = household.schedule(now)
        asked.append(_asked(household, paper, first, typed.patient, now))
        sheet = sheet_pdf(schedule, asked[-1])
        until = calendar.calendar.until
        letter = letter_of(schedule, Enclosed(names=names, made=now, until=until, patient=typed.patient))
        files = Files(plan=household.text.encode(), calendar=calendar.calendar.content, sheet=sheet)
        domain = sender.domain if sender is not None else "reminders.invalid"
        envelope = Envelope(
            date=utc(now),
            message_id=f"<{uuid.uuid4()}@{domain}>",
            subject=typed.subject or subject_of(household.plan),
            sender=sender,
            to=tuple(to),
        )
        made.append(message_of(letter, names, files, envelope))
        return {names.sheet: sheet, names.message: draft(made[-1])}

    stem = names.calendar.removesuffix(".ics")
    wanted = Wanted(out, stem, first=first, packet=True, organizer=sender.addr_spec if sender is not None else "")
    before = [name for name in (names.message, names.calendar, names.sheet) if (out / name).exists()]
    try:
        _asked(
            household, paper, first, typed.patient, now
        )  # days that lie outside the plan are told before anything is recorded
        as_opened = household
        household, (calendar,) = publish(as_opened, wanted, now, besides=others)
    except (FileError, RecordError, NotInUseError, OutsideError) as error:
        fail(str(error))
    tell_followed(as_opened, household)
    for warning in sheet_warnings(household.schedule(now), asked[-1]):
        click.echo(f"The sheet: {warning}", err=True)
    _say_files(household, out, names.message, calendar, out / names.sheet)
    if before:
        click.echo(f"They took the place of earlier ones of the same plan and revision: {', '.join(before)}.")
    click.echo(
        "Look at all three before you send them. On its way an e-mail is no more private than a postcard: your organisation's rules for "
        "patients' data come first."
    )
    return household, calendar, made[-1]


def _asked(household: Household, paper: str, first: date | None, patient: str, now: Instant) -> Asked:
    """Return what is asked for of the sheet.

    Raises:
        OutsideError: the first day lies outside the plan.
    """
    from reminders.publishing import days_within
    from reminders.sheet.content import Asked, Paper

    schedule = household.schedule(now)
    plan = household.plan
    begins = Instant(max(now, plan.course.takes_effect.instant, schedule.start))
    day = first or plan.clock.local(begins).date()
    shown, _end = days_within(schedule, day, None)
    sizes = {"letter": Paper.LETTER, "a4": Paper.A4}
    return Asked(paper=sizes[paper.lower()], first=shown, printed=now, patient=patient)


def _say_files(household: Household, out: Path, message: str, written: Written, sheet: Path) -> None:
    clock, calendar = household.plan.clock, written.calendar
    click.echo(f"Wrote {out / message}: the e-mail, {(out / message).stat().st_size / 1e6:.1f} MB.")
    click.echo(
        f"Wrote {written.place}: {calendar.events} events, from {words.moment_words(clock.local(written.begins))} to "
        f"{words.moment_words(clock.local(calendar.until))}."
    )
    if calendar.left_out:
        click.echo(
            f"  {calendar.left_out} later events are left out, because phones refuse larger files. Make a packet of the days that "
            f"follow in time, with --from-day {clock.local(calendar.until):%Y-%m-%d}."
        )
    if calendar.waiting:
        click.echo(words.still_waiting(len(calendar.waiting)))
    click.echo(f"Wrote {sheet}: the sheet to print.")


def _send(
    message: EmailMessage, sender: Address, to: Sequence[Address], server: Server, handed: Callable[[], None]
) -> None:
    """Hand the e-mail to the mail server; ``handed`` is called once it was, or may have been."""
    from reminders.mailing.message import posted
    from reminders.mailing.sending import SendingError, send

    recipients = [address.addr_spec for address in to]
    everybody = ", ".join(recipients)
    asks = sys.stdin.isatty() and sys.stdout.isatty()
    if asks and not click.confirm(f"\nSend it now to {everybody}?", default=False):
        click.echo("Nothing was sent. The files stay as they are.")
        return
    try:
        sent = send(posted(message), sender.addr_spec, recipients, server, lambda: _password(server, asks=asks))
    except SendingError as error:
        if error.uncertain:
            handed()
        fail(f"{error} The files stay as they are: the .eml can be sent by a mail program.")
    handed()
    for address, reason in sent.refused.items():
        click.echo(f"Not sent to {address}: the mail server refused it ({reason}).", err=True)
    accepted = [address for address in recipients if address not in sent.refused]
    click.echo(f"Handed to {server.host} for {', '.join(accepted)}. Ask whether it arrived: nobody here can see that.")
    if accepted and not sent.encrypted:
        click.echo(
            f"It went to {server.host} without encryption, within this computer. How it goes on from there is not known here."
        )
    if sent.refused:
        sys.exit(FAILED)


def _record_sent(household: Household, calendar: Written, now: Instant) -> None:
    from reminders.household import NotInUseError
    from reminders.publishing import record_sent
    from reminders.record.store import RecordError

    try:
        record_sent(household, calendar, now)
    except (RecordError, NotInUseError) as error:
        number = household.plan.course.revision
        click.echo(
            f"It is not in the record that the packet was sent: {error} Whatever you change from now on, raise revision above {number}.",
            err=True,
        )


def _password(server: Server, *, asks: bool) -> str:
    from reminders.mailing.sending import SendingError

    if asks:
        typed: str = click.prompt(f"Password of {server.user} at {server.host}", hide_input=True)
        return typed
    if PASSWORD not in os.environ:
        raise SendingError(f"Nobody can be asked for the password, and {PASSWORD} is not set. Nothing was sent.")
    return os.environ[PASSWORD]
