"""A pop-up onto a terminal, with a bell: what is left where the screen shows none."""

from typing import TextIO

from reminders.popups.popup import PopUp
from reminders.popups.texts import ready

BELL = "\a"


def ring(popup: PopUp, stream: TextIO) -> bool:
    """Write title and body with a bell, three for an urgent one, and return whether that is a terminal. Raises nothing.

    Where it is none (a log file, a pipe) nothing is written: what is personal does not belong there.
    """
    shown = ready(popup)
    text = "\n".join([f"{BELL * (3 if popup.urgent else 1)}*** {shown.title} ***", *shown.body.split("\n"), ""])
    try:
        if not stream.isatty():
            return False
        encoding = getattr(stream, "encoding", None) or "ascii"
        stream.write(text.encode(encoding, "replace").decode(encoding))
        stream.flush()
    except (OSError, ValueError, LookupError):  # closed, hung up, or of an unknown encoding
        return False
    return True
