"""What a form of a plan's values is: how it is written and read, and how a person enters it; and its faults.

A field of a class in :mod:`reminders.plan.model` says with :func:`key` which form its value has and what it means.
Reader, error texts, the page about the keys and whatever asks for them are all drawn from that one statement.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Any
from zoneinfo import ZoneInfo


class UnreadableError(ValueError):
    """A value that is not of its key's form; carries what a finding about it needs.

    ``mend`` may speak of the file; ``near`` says as what such a value may have been meant, to whoever writes it anywhere.
    """

    def __init__(
        self, problem: str, expected: str, mend: str = "", code: str = "wrong-form", *, near: str = ""
    ) -> None:
        super().__init__(problem)
        self.problem, self.expected, self.mend, self.code, self.near = problem, expected, mend, code, near


class NoZoneError(UnreadableError):
    """A moment of the right form that is no instant, because the plan's zone could not be read."""


class Entry(Enum):
    """How a person enters a value that is not written as TOML."""

    LINE = "one line of text"
    LONG = "several lines of text"
    NUMBER = "a whole number"
    CHOICE = "one of some words"
    YES_NO = "yes or no"
    DATE = "a date"
    MOMENT = "a date with a time"
    CLOCK_TIME = "a time of day"
    LIST = "a list"
    COUNTS = "items with their numbers"


@dataclass(frozen=True, slots=True)
class Form:
    """How a value is written (``shown``, for people) and the function that reads it.

    ``read`` takes the raw TOML value and the home zone (for moments) and raises :class:`UnreadableError`. ``stand_in``
    takes the place of a value that could not be read, only so that the rest of the plan can be looked at for further
    errors; nothing is ever made of it.

    How a person enters it: ``entry``; the words of a choice are its ``options``, the entries of a list are ``of`` a form
    and at ``least`` so many. ``names`` are the tables whose names may stand here, such as ``("lumen",)``.
    """

    shown: str
    read: Callable[[Any, ZoneInfo | None], Any]
    stand_in: Any
    entry: Entry = Entry.LINE
    options: tuple[str, ...] = ()
    of: "Form | None" = None
    least: int = 0
    names: tuple[str, ...] = ()


def key(form: Form, meaning: str, *, sources: str = "") -> dict[str, Any]:
    """Describe a key of the plan for ``dataclasses.field(metadata=...)``.

    ``sources`` says what published material ranges over, for a value that must be stated and is not.
    """
    return {"form": form, "meaning": meaning, "sources": sources}


def shown_value(raw: object) -> str:
    """Show a raw value as it may be quoted in a finding: on one line and not too long."""
    if isinstance(raw, int) and not -(10**30) < raw < 10**30:
        return "a number of more than 30 digits"
    text = f'"{raw}"' if isinstance(raw, str) else _bounded(raw)
    text = "".join(char if char.isprintable() else " " for char in text)
    return text if len(text) <= 60 else text[:57] + "..."


def _bounded(raw: object) -> str:
    try:
        return str(raw)
    except (ValueError, RecursionError):  # a number with more digits, or tables deeper, than Python writes
        return "a value too long to be shown"
