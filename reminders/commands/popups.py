"""The command about pop-ups: try one now."""

import asyncio
import sys

import click

from reminders.commands.shared import fail
from reminders.popups.popup import PopUp
from reminders.popups.show import show
from reminders.popups.terminal import ring

TITLE = "Reminders: a try-out"
BODY = "If you can read this, the pop-ups of this computer work."


@click.command()
@click.option("--urgent", is_flag=True, help="As for what must not wait: it stays until somebody closes it.")
def try_popup(urgent: bool) -> None:
    """Show a pop-up now, to see whether this computer can.

    It says nothing about the patient. Exit status 1 if none could be shown; the reason is told, and the same text comes
    here with a bell, as a reminder would.
    """
    popup = PopUp(TITLE, BODY, urgent)
    outcome = asyncio.run(show(popup))
    if not outcome.shown:
        ring(popup, sys.stderr)
        fail(f"No pop-up could be shown through {outcome.way}.\n{outcome.why}")
    click.echo(f"A pop-up was handed to {outcome.way}, and it was accepted.")
    click.echo(
        "Did you see it? If not: a computer that is set to do not disturb, or not to show what this program sends, accepts "
        "and shows nothing. Look into its settings for notifications, and try again."
    )
