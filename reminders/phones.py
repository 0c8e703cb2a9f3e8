"""The phones that subscribe to the calendar, each with an address of its own that nobody can guess."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Phone:
    """One phone. Moments are seconds since 1970; ``fetched`` is when it last asked for the calendar."""

    name: str
    token: str
    added: float
    fetched: float | None = None


class Phones:
    """The phones of one plan, as the file of secrets has them; written by the lead's sketch, to be replaced."""

    def __init__(self, path: Path, now: Callable[[], float]) -> None:
        """Read them from the file of secrets, which is made (readable by its owner only) when it is first needed."""
        self._path, self._now = path, now
