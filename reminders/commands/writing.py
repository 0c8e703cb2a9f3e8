"""The command that writes a plan: in the browser, or by questions in the terminal."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from reminders.commands.shared import FAILED, NOW, fail, moment_of
from reminders.files import FileError, read_file
from reminders.words import CATALOGUE

if TYPE_CHECKING:  # what is loaded for writing only
    from reminders.drafting.draft import DraftError

_ = CATALOGUE.gettext


@click.command()
@click.argument("file", required=False, metavar="[FILE]", type=click.Path(path_type=Path))
@click.option("--in-terminal", is_flag=True, help="Ask by questions here instead of a form in the browser.")
@click.option(
    "--protocol",
    type=click.Path(path_type=Path),
    metavar="PROVIDERS-FILE",
    help="With --in-terminal: take the provider's part from the provider's own protocol file.",
)
@NOW
def write(file: Path | None, in_terminal: bool, protocol: Path | None, now: str | None) -> None:
    """Write a plan, or change the one in FILE, without its file format.

    Opens a form in the browser of this computer, which nobody else can reach; --in-terminal asks the same by questions. What is
    typed is kept as a draft at once. FILE is written only when you say so, with its remarks kept, and never over what somebody
    else has changed meanwhile. No dose, volume, strength or time is ever filled in.
    """
    if file is not None and file.is_dir():
        raise click.UsageError(f'"{file}" is a folder. Name the plan file itself.')
    if in_terminal:
        _in_terminal(file, protocol, now)
        return
    if protocol is not None:
        raise click.UsageError("--protocol goes with --in-terminal; the form in the browser asks for the file itself.")
    _in_browser(file, now)


def _in_browser(file: Path | None, now: str | None) -> None:
    from reminders.drafting.draft import DraftError
    from reminders.web.server import ListenError
    from reminders.web.write_server import write_in_browser

    try:
        written = write_in_browser(
            file, say=click.echo, now=lambda: time.time() if now is None else moment_of(now) * 60
        )
    except DraftError as error:
        _not_opened(error)
    except (FileError, ListenError) as error:
        fail(str(error))
    if written.draft:
        click.echo(_("A draft is kept; the same command goes on with it."))


def _not_opened(error: DraftError) -> NoReturn:
    from reminders.views.findings_text import finding_text

    for finding in error.findings if error.source is not None else ():
        assert error.source is not None
        click.echo(finding_text(finding, error.source) + "\n", err=True)
    fail(str(error))


def _in_terminal(file: Path | None, protocol: Path | None, now: str | None) -> None:
    from reminders.commands.write_session import Session
    from reminders.drafting.draft import DraftError
    from reminders.drafting.provider import ProviderError
    from reminders.web.write_desk import WriteDesk
    from reminders.web.write_keep import Drafts, RunsAlreadyError
    from reminders.web.write_server import drafts_folder

    drafts = Drafts(drafts_folder())
    try:
        lock = drafts.alone(file)
    except RunsAlreadyError:
        name = _("A new plan") if file is None else file.name
        fail(_("{name} is being written elsewhere on this computer. Finish there first.").format(name=name))
    except OSError as error:
        said = _('No draft can be kept in "{folder}": {why}. Nothing was begun.')
        fail(said.format(folder=drafts_folder(), why=error.strerror))
    try:
        session = Session(WriteDesk(file, drafts, time.time), drafts, lambda: moment_of(now))
        done = session.run(None if protocol is None else _text_of(protocol), "" if protocol is None else protocol.name)
    except DraftError as error:
        _not_opened(error)
    except ProviderError as error:
        for problem in error.problems:
            click.echo(problem, err=True)
        fail(_("Nothing of {name} was copied, and nothing was begun.").format(name=protocol.name if protocol else ""))
    except FileError as error:
        fail(str(error))
    finally:
        lock.release()
    if not done:
        sys.exit(FAILED)


def _text_of(protocol: Path) -> str:
    try:
        return read_file(protocol).decode("utf-8-sig")
    except UnicodeDecodeError:
        fail(_("{name} is not a text file in UTF-8.").format(name=protocol.name))
