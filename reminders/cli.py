"""The program ``reminders``: its commands together."""

import io
import sys
from importlib import import_module

import click

PLANNING, RECORDING = "reminders.commands.planning", "reminders.commands.recording"
DAEMON, PHONES, PLACES = "reminders.commands.daemon", "reminders.commands.phones", "reminders.commands.places"

COMMANDS = {
    "write": ("reminders.commands.writing", "write"),
    "check": (PLANNING, "check"),
    "compile": (PLANNING, "compile_"),
    "compare": (PLANNING, "compare"),
    "agenda": (PLANNING, "agenda"),
    "due": (RECORDING, "due"),
    "record": (RECORDING, "record"),
    "undo": (RECORDING, "undo"),
    "history": (RECORDING, "history"),
    "supplies": (PLANNING, "supplies"),
    "packet": ("reminders.commands.packet", "packet"),
    "open": ("reminders.commands.receiving", "open_"),
    "use": (PLACES, "use"),
    "where": (PLACES, "where"),
    "run": (DAEMON, "run"),
    "status": (DAEMON, "status"),
    "page": (DAEMON, "page"),
    "phones": (PHONES, "phones"),
    "publish": (PHONES, "publish"),
    "try-popup": ("reminders.commands.popups", "try_popup"),
    "at-login": ("reminders.commands.at_login", "at_login"),
    "export": (RECORDING, "export"),
    "import": (RECORDING, "import_"),
    "new-id": (PLANNING, "new_id"),
}
"""Each command with the module that holds it, in the order in which the help lists them. A module is loaded when one of
its commands is wanted, because the others need not wait for it."""


class _Commands(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module, name = COMMANDS[cmd_name]
        found: click.Command = getattr(import_module(module), name)
        return found


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="reminders")
def main() -> None:
    """Turn a patient's infusion orders into a calendar of infusions and flushes, and keep it right as things happen.

    Write the orders into a plan file, check it, then compile it; say what really happened with record. The tool does
    arithmetic; it decides nothing that belongs to a prescriber, pharmacist or nurse, and the provider's own instructions
    come first.

    \b
    Begin with:   reminders check sample_plans/three-lumens.toml
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that lacks a letter shows a mark in its place
            stream.reconfigure(errors="replace")
