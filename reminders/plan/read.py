"""A plan's text to a plan, or to findings that say what is wrong with it.

Everything that can be read is read, whatever else is broken, so that all of a file's faults are told at once. Where
something could not be read, the plan that comes back is *partial*: it serves to look for further errors and for
nothing else.
"""

import difflib
from dataclasses import MISSING, dataclass, field, fields
from typing import Any
from zoneinfo import ZoneInfo

from reminders.findings import Finding, KeyPath, has_errors
from reminders.plan import keys, model
from reminders.plan.checks import check_plan
from reminders.plan.source import Source, read_source


@dataclass(frozen=True, slots=True)
class Reading:
    """What came of reading a file: its source, the plan (None if too little could be read) and the findings.

    ``complete`` is false when an error kept something out of the plan.
    """

    source: Source
    plan: model.Plan | None
    findings: list[Finding] = field(default_factory=list)

    @property
    def complete(self) -> bool:
        """Say whether the plan holds all that the file says."""
        return self.plan is not None and not has_errors(self.findings)


def read_plan(name: str, content: bytes) -> Reading:
    """Read a plan file's bytes; ``name`` is what the findings call the file."""
    source, findings = read_source(name, content)
    if findings:
        return Reading(source, None, findings)
    reader = _Reader(source.values)
    plan = reader.plan()
    findings = reader.findings
    if plan is not None:
        findings = findings + check_plan(plan, reader.unread)
    return Reading(source, plan, findings)


class _Reader:
    """Walks the values once; every fault becomes a finding and leaves its table out of the plan."""

    def __init__(self, values: dict[str, Any]) -> None:
        self.values = values
        self.findings: list[Finding] = []
        self.unread: set[KeyPath] = set()
        self.home: ZoneInfo | None = None

    def plan(self) -> model.Plan | None:
        self._unknown((), self.values, list(model.TABLES), "table")
        self.home = self._home_zone()
        read = {name: self._tables(name) for name in model.TABLES}
        course, line, protocol = read["plan"], read["line"], read["protocol"]
        calendar = read["calendar"]
        if course is None or line is None or protocol is None or calendar is None:
            return None
        changes = tuple(sorted(read["zone_change"], key=lambda change: change.at.instant))
        return model.Plan(
            course=course,
            zone_changes=changes,
            household=read["household"] or model.Household(),
            line=line,
            lumens=read["lumen"],
            fluids=read["fluid"],
            extra_steps=read["step"],
            protocol=protocol,
            supplies=read["supplies"] or model.Supplies(),
            daily_limits=read["daily_limits"] or model.DailyLimits(),
            orders=read["order"],
            contacts=read["call"],
            calendar=calendar,
        )

    def _home_zone(self) -> ZoneInfo | None:
        table = self.values.get("plan")
        try:
            zone: ZoneInfo = keys.ZONE.read(table["zone"] if isinstance(table, dict) else None, None)
        except (keys.UnreadableError, KeyError):
            return None  # told where the key itself is read
        return zone

    def _tables(self, name: str) -> Any:
        cls, raw = model.TABLES[name], self.values.get(name)
        if raw is None and name not in model.OPTIONAL_TABLES:
            named = f"[{name}.NAME]" if name in model.NAMED_TABLES else f"[{name}]"
            self._find("missing", f"The plan has no table {named}.", (name,), f"a table {named}", f"Add {named}.")
        if name in model.NAMED_TABLES:
            return self._named(name, cls, raw)
        if name in model.LISTED_TABLES:
            return self._listed(name, cls, raw)
        return None if raw is None else self._table(cls, raw, (name,))

    def _named(self, name: str, cls: type, raw: Any) -> dict[str, Any]:
        found: dict[str, Any] = {}
        if raw is None:
            return found
        if not isinstance(raw, dict):
            self._not_a_table((name,), f"[{name}.NAME]")
            return found
        if name == "call":
            self._unknown((name,), raw, list(model.TIERS), "tier of calling")
        for entry, table in raw.items():
            place = (name, entry)
            if keys.PUSHED.fullmatch(entry) is None or " " in entry or len(entry) > 40:
                self._find(
                    "wrong-form",
                    f'"{keys.shown_value(entry)}" cannot be a name.',
                    place,
                    "letters, digits, - and _, at most 40 of them",
                    "Give the table a plain name; a label can be freer.",
                )
                self.unread.add(place)
                continue
            item = self._table(cls, table, place, name=entry)
            if item is not None:
                found[entry] = item
        if not raw and name not in model.OPTIONAL_TABLES:
            self._find("missing", f"The plan has no [{name}.NAME].", (name,), f"at least one [{name}.NAME]", "Add one.")
        return found

    def _listed(self, name: str, cls: type, raw: Any) -> list[Any]:
        if raw is None:
            return []
        if not isinstance(raw, list):
            self._not_a_table((name,), f"[[{name}]]")
            return []
        read = [self._table(cls, table, (name, str(count))) for count, table in enumerate(raw, start=1)]
        return [item for item in read if item is not None]

    def _table(self, cls: type, raw: Any, place: KeyPath, **given: str) -> Any | None:
        if not isinstance(raw, dict):
            self._not_a_table(place, f"[{'.'.join(place)}]")
            self.unread.add(place)
            return None
        wanted = {item.name: item for item in fields(cls) if "form" in item.metadata}
        self._unknown(place, raw, list(wanted), "key")
        values: dict[str, Any] = dict(given)
        broken = False
        for name, item in wanted.items():
            form: keys.Form = item.metadata["form"]
            if name in raw:
                try:
                    values[name] = form.read(raw[name], self.home)
                except keys.UnreadableError as error:
                    broken = True
                    if form is keys.MOMENT and self.home is None and "zone" in error.expected:
                        continue  # the zone's own finding says it
                    self._find(
                        error.code,
                        f"{'.'.join((*place, name))}: {error.problem}.",
                        (*place, name),
                        error.expected,
                        error.mend or f"Write {name} as {_plain(form.shown)}.",
                    )
            elif item.default is MISSING and item.default_factory is MISSING:
                broken = True
                sources = item.metadata["sources"]
                self._find(
                    "missing",
                    f"[{'.'.join(place)}] does not state {name}: {item.metadata['meaning']}",
                    (*place, name),
                    _plain(form.shown) + (f". For orientation, not to copy: {sources}" if sources else ""),
                    f"Add a line  {name} = ...  with the value from the orders or the provider's protocol."
                    if sources
                    else f"Add a line  {name} = ...  under [{'.'.join(place)}].",
                )
        if broken:
            self.unread.add(place)
            return None
        return cls(**values)

    def _unknown(self, place: KeyPath, raw: dict[str, Any], wanted: list[str], what: str) -> None:
        for name in raw:
            if name in wanted:
                continue
            close = difflib.get_close_matches(name.lower().replace("-", "_").replace(" ", "_"), wanted, n=1, cutoff=0.6)
            where = f"[{'.'.join(place)}]" if place else "the plan"
            self._find(
                "unknown-key",
                f"{where} has no {what} named {keys.shown_value(name)}.",
                (*place, name),
                f"did you mean {close[0]}?" if close else "one of: " + ", ".join(wanted),
                f"Rename it to {close[0]}." if close else "Take it out, or put it into the table where it belongs.",
            )

    def _not_a_table(self, place: KeyPath, shown: str) -> None:
        self._find("wrong-form", f"{'.'.join(place)} is not a table.", place, shown, f"Begin it with a line {shown}.")
        self.unread.add(place)

    def _find(self, code: str, message: str, place: KeyPath, expected: str, mend: str) -> None:
        self.findings.append(Finding(code=code, message=message, expected=expected, mend=mend, places=(place,)))


def _plain(shown: str) -> str:
    return shown.replace("`", "")
