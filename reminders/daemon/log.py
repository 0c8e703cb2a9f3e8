"""The daemon's log: what was raised, when, and what failed; nothing personal, no secret, and never endless."""

import logging
import os
from logging.handlers import RotatingFileHandler
from pathlib import Path

from reminders.places import private_folder

LARGEST, KEPT = 300_000, 3
"""Bytes of one log file, and how many older ones are kept."""


def begin_log(path: Path) -> logging.Handler:
    """Log into a file that only its owner may read, and return the handler, for :func:`end_log`.

    Other libraries' messages go there too, from warnings on; what went wrong in them is named, and their texts, which may
    quote an address, are not.

    Raises:
        OSError: the log cannot be written.
    """
    private_folder(path.parent)
    handle = os.open(path, os.O_CREAT | os.O_APPEND | os.O_WRONLY, 0o600)
    os.close(handle)
    handler = RotatingFileHandler(path, maxBytes=LARGEST, backupCount=KEPT, encoding="utf-8")
    handler.setFormatter(_Plain("%(asctime)s %(levelname)s %(message)s"))
    root = logging.getLogger()
    root.addHandler(handler)
    root.setLevel(logging.WARNING)
    logging.getLogger("reminders").setLevel(logging.INFO)
    return handler


def end_log(handler: logging.Handler) -> None:
    """Close a log that :func:`begin_log` began."""
    logging.getLogger().removeHandler(handler)
    handler.close()


class _Plain(logging.Formatter):
    """Writes our own messages as they are, and of others only where they come from."""

    def format(self, record: logging.LogRecord) -> str:
        if not record.name.startswith("reminders"):
            kind = record.exc_info[0].__name__ if record.exc_info and record.exc_info[0] else "message"
            record = logging.LogRecord(
                record.name, record.levelno, record.pathname, record.lineno, f"{kind} from {record.name}", None, None
            )
        else:
            record.exc_info = None
        return super().format(record)


def where(error: BaseException) -> str:
    """Name an error for the log: its kind and the place in the code, not its text, which may quote what is private."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    place = "" if trace is None else f" at {Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}"
    return f"{type(error).__name__}{place}"
