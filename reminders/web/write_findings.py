"""What is found in a draft beside the question of the form that it is about."""

from collections.abc import Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from reminders.drafting.draft import Draft
from reminders.drafting.look import Look, Placed
from reminders.drafting.wording import SEVERITIES, home_of, worded
from reminders.findings import KeyPath, Severity
from reminders.web.write_form import field_name


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One thing that is said about an answer. ``stops``: the plan cannot be finished with it. ``mark``: the field or group, and
    ``where`` it is in words."""

    weight: str
    word: str
    text: str
    mend: str = ""
    mark: str = ""
    where: str = ""
    stops: bool = False
    missing: bool = False

    @classmethod
    def fault(cls, text: str, mark: str, where: str) -> "Said":
        """Return what is said where an answer could not be put into the plan at all."""
        return cls(weight="error", word=SEVERITIES[Severity.ERROR], text=text, mark=mark, where=where, stops=True)


class Findings:
    """What is found in a draft, by the question or table that it is about."""

    def __init__(self, draft: Draft, look: Look) -> None:
        """Place and word what :func:`reminders.drafting.look.look` found."""
        home = home_of(draft)
        self._at: dict[KeyPath, list[Said]] = {}
        self._wants: set[KeyPath] = set()
        self.said: list[Said] = []
        for placed in look.findings:
            said = _said(draft, placed, home)
            self.said.append(said)
            if placed.path is not None:
                self._at.setdefault(placed.path, []).append(said)
                if said.missing:
                    self._wants.add(placed.path)

    def at(self, path: KeyPath) -> list[Said]:
        """Return what is said about a question or a table."""
        return self._at.get(path, [])

    def wants(self, path: KeyPath) -> bool:
        """Say whether a question must be answered and is not."""
        return path in self._wants

    def __iter__(self) -> Iterator[Said]:
        """Go through everything, the gravest first."""
        return iter(self.said)


def _said(draft: Draft, placed: Placed, home: ZoneInfo | None) -> Said:
    severity = placed.finding.severity
    words = worded(draft, placed, home)
    return Said(
        weight=severity.name.lower(),
        word=SEVERITIES[severity],
        text=words.text,
        mend=words.mend,
        mark=field_name(placed.path) if placed.path else "",
        where=words.where,
        stops=severity is Severity.ERROR,
        missing=words.missing,
    )
