"""The daemon's log: what was raised, when, and what failed; nothing personal, no secret, and never endless."""

import logging
import os
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path

from reminders.files import private_folder

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
    handler = _PrivateFile(path, maxBytes=LARGEST, backupCount=KEPT, encoding="utf-8")
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


class _PrivateFile(RotatingFileHandler):
    """Keeps the log, and what takes its place when it is full, to its owner. On a full disk it stays silent."""

    def _open(self) -> TextIOWrapper:
        def private(name: str, flags: int) -> int:
            return os.open(name, flags, 0o600)

        return open(self.baseFilename, "a", encoding=self.encoding, opener=private)

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 - so the library calls it
        """Lose the line: a traceback in a terminal would quote it."""


class _Plain(logging.Formatter):
    """Writes our own messages as they are, and of others only where they come from; never a traceback."""

    def format(self, record: logging.LogRecord) -> str:
        said = record.getMessage()
        if not record.name.startswith("reminders"):
            kind = record.exc_info[0].__name__ if record.exc_info and record.exc_info[0] else "message"
            said = f"{kind} from {record.name}"
        plain = logging.LogRecord(record.name, record.levelno, record.pathname, record.lineno, said, None, None)
        plain.created, plain.msecs = record.created, record.msecs
        return super().format(plain)


def where(error: BaseException) -> str:
    """Name an error for the log: its kind and the place in the code, not its text, which may quote what is private."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    place = "" if trace is None else f" at {Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}"
    return f"{type(error).__name__}{place}"
