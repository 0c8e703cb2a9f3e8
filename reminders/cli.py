"""The program ``reminders``: its commands together."""

import io
import sys

import click

from reminders.commands import planning, recording


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
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


for command in (
    planning.check,
    planning.compile_,
    planning.agenda,
    planning.supplies,
    planning.new_id,
    recording.record,
    recording.undo,
    recording.due,
    recording.export,
    recording.import_,
):
    main.add_command(command)
