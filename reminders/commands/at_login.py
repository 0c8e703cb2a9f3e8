"""The command about starting at login: on, off, status."""

import sys
from collections.abc import Sequence
from pathlib import Path

import click

from reminders.at_login.common import AtLoginError, Way
from reminders.at_login.options import kept_options
from reminders.at_login.ways import here
from reminders.commands.shared import FAILED, NO_PLAN, check_listening, fail, listens, opened
from reminders.places import places

AWAKE = (
    "It reminds while this computer is on, awake, and you are logged in. Nothing wakes a computer that sleeps: what came due "
    "meanwhile is told when it wakes. A computer that is off reminds nobody."
)

ON_LAN = "Phones on the home network can fetch the calendar from it."
NOT_ON_LAN = "Phones get nothing from it; for them, set it up with  reminders at-login on --lan ."


@click.group()
def at_login() -> None:
    """Start  reminders run  whenever you log in to this computer, for the plan in use."""


@at_login.command()
@listens
def on(
    port: int | None,
    lan: bool,
    page_on_lan: bool,
    certificate: Path | None,
    key: Path | None,
    names: tuple[str, ...],
) -> None:
    """Start at login from now on, and start now.

    With the options with which  reminders run  is to be started; what an earlier  at-login on  said of them no longer holds.
    It is written down where this system looks for it, for you alone, and started again if it should ever end. Do it again
    after this program was moved or installed anew.
    """
    check_listening(lan=lan, page_on_lan=page_on_lan, certificate=certificate, key=key, names=names)
    if not places().plan.is_file():
        fail(f"{NO_PLAN} Nothing was set up.")
    opened(places().plan, None)
    try:
        options = _options(port, lan, page_on_lan, certificate, key, names)
        way, troubles = here(options=options).on()
    except AtLoginError as error:
        fail(f"Starting at login was not set up: {error}")
    click.echo(f"Reminders starts when you log in, by {way.name}: {way.file}")
    click.echo(ON_LAN if lan else NOT_ON_LAN)
    for trouble in troubles:
        click.echo(trouble, err=True)
    if way.restarts:
        click.echo(
            "It is started again if it should end."
            if troubles
            else "It was started now, and is started again if it should end."
        )
    else:
        click.echo(
            "This desktop has nobody who would start it again: after a crash it stays off until you log in again, or start "
            "it with  reminders run . It was not started now; do that with  reminders run , or log out and in."
        )
    click.echo("See whether it runs:  reminders status")
    click.echo(AWAKE)
    if troubles:
        sys.exit(FAILED)


def _options(
    port: int | None,
    lan: bool,
    page_on_lan: bool,
    certificate: Path | None,
    key: Path | None,
    names: Sequence[str],
) -> list[str]:
    """Return the options of the daemon as words of its command."""
    found = [] if port is None else [f"--port={port}"]
    found += ["--lan"] if lan else []
    found += ["--page-on-lan"] if page_on_lan else []
    found += [f"--certificate={certificate}", f"--key={key}"] if certificate is not None else []
    return found + [f"--name={name}" for name in names]


@at_login.command()
def off() -> None:
    """Start no more at login, and stop what was started so."""
    try:
        gone = here().off()
    except AtLoginError as error:
        fail(str(error))
    if not gone:
        click.echo("It was not set up to start at login; nothing was changed.")
        return
    click.echo(
        "Reminders starts no more at login. Nobody is reminded by this computer unless  reminders run  is started."
    )
    if any(not way.restarts for way in gone):
        click.echo("One that runs was not stopped; it ends when you log out.")


@at_login.command()
def status() -> None:
    """Say whether it is set up to start at login, and as this release would do it.

    The exit status is 0 if it is, else 1.
    """
    try:
        found = [said for way in here().ways for said in _lines(way)]
    except AtLoginError as error:
        fail(str(error))
    if not found:
        click.echo("Reminders does not start at login. Set it up with  reminders at-login on .")
        sys.exit(FAILED)
    for line, _good in found:
        click.echo(line)
    if not places().plan.is_file():
        click.echo(f"{NO_PLAN} Until then nothing is reminded of.")
        sys.exit(FAILED)
    click.echo("Whether it runs now:  reminders status")
    if not all(good for _line, good in found):
        sys.exit(FAILED)


def _lines(way: Way) -> list[tuple[str, bool]]:
    """Say how things stand with one way, each line with whether it is as it should be; nothing if it is not set up."""
    found = way.status()
    if not found.there and not found.loaded:
        return []
    again = "Set it up anew with  reminders at-login on ."
    if not found.there:
        return [(f"It is loaded by {way.name}, but its file is gone: {way.file}. {again}", False)]
    lines = [(f"Reminders starts at login, by {way.name}: {way.file}", True)]
    lines.append((ON_LAN if "--lan" in kept_options(places().state) else NOT_ON_LAN, True))
    if not found.current:
        lines.append((f"That is not what this release would write; the program may have moved. {again}", False))
    if found.loaded is False:
        lines.append((f"The system has not taken it up. {again}", False))
    if not way.restarts:
        lines.append(("After a crash it stays off until you log in again.", True))
    elif found.loaded is None:
        lines.append(("The system could not be asked whether it has taken it up.", False))
    return lines
