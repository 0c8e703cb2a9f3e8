"""A plan's text to a plan, or to findings that say what is wrong with it.

Everything that can be read is read, whatever else is broken, so that all of a file's faults are told at once. A value
that could not be read is replaced by a stand-in, only so that the rest can be looked at; what the checks then find
about a stand-in is left out, and nothing is ever made of such a plan.
"""

import difflib
from dataclasses import MISSING, dataclass, fields
from typing import Any
from zoneinfo import ZoneInfo

from reminders.findings import Finding, KeyPath, has_errors
from reminders.plan import keys, model
from reminders.plan.care import RULES
from reminders.plan.checks import check_plan
from reminders.plan.order import TIMINGS
from reminders.plan.source import Source, read_source

ENDS = frozenset({"last_day", "doses", "stops", "until_removal"})
OF_ABSENCE = {
    "plan-end": frozenset({"end", "line_removal", "open_ended"}),
    "timing": frozenset({*TIMINGS, "first_dose"}),
    "order-end": frozenset({*TIMINGS, *ENDS, "given_as"}),
    "no-duration": frozenset({"duration", "volume", "rate", "rate_steps", "continuous"}),
    "bag": frozenset({"bag_every", "bag_times", "bag_flush", "given_as"}),
    "missing": frozenset(TIMINGS),
    "given-as": frozenset({*TIMINGS, "kept_open"}),
    "task-timing": frozenset({*RULES, "order"}),
    "task-day": frozenset({*RULES, "not_on", "instead"}),
    "task-dose": frozenset({"order", "before_dose", "after_finish"}),
    "task-draw": frozenset({"kind", "lumen"}),
    "task-label": frozenset({"label"}),
    "lumen-label": frozenset({"label"}),
}
"""Codes that may say only that a key is not there, with the keys of which one that was not read makes them doubtful."""

OF_THE_WHOLE = frozenset({"read-back-changed"})
"""Codes that speak of everything that a plan says, and mean nothing while any of it could not be read."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What came of reading a file: its source, the plan and the findings.

    The plan is None where the text is no TOML. ``broken`` are the keys for which it holds stand-ins or nothing.
    """

    source: Source
    plan: model.Plan | None
    findings: list[Finding]
    broken: frozenset[KeyPath] = frozenset()

    @property
    def complete(self) -> bool:
        """Say whether the plan holds what the file says, and no error was found in it."""
        return self.plan is not None and not has_errors(self.findings)


def read_plan(name: str, content: bytes) -> Reading:
    """Read a plan file's bytes; ``name`` is what the findings call the file."""
    source, findings = read_source(name, content)
    if findings:
        return Reading(source, None, findings)
    reader = _Reader(source.values)
    plan = reader.plan()
    broken = frozenset(reader.broken)
    found = [finding for finding in check_plan(plan) if _believable(finding, broken)]
    return Reading(source, plan, reader.findings + found, broken)


def _believable(finding: Finding, broken: frozenset[KeyPath]) -> bool:
    """Say whether a finding speaks of what the file says, and not of a stand-in or of a key that was not read."""
    if finding.code in OF_THE_WHOLE and broken:
        return False
    for place in finding.places:
        if any(place[: len(key)] == key for key in broken):
            return False
        doubtful = OF_ABSENCE.get(finding.code, frozenset())
        if any(key[-1] in doubtful and key[:-1] in (place, place[:-1]) for key in broken):
            return False
    return True


class _Reader:
    """Walks the values once; every fault becomes a finding, and a stand-in takes the place of what is broken."""

    def __init__(self, values: dict[str, Any]) -> None:
        self.values = values
        self.findings: list[Finding] = []
        self.broken: set[KeyPath] = set()
        self.home: ZoneInfo | None = None

    def plan(self) -> model.Plan:
        self._unknown((), self.values, list(model.TABLES), "table")
        self.home = self._home_zone()
        read = {name: self._tables(name) for name in model.TABLES}
        return model.Plan(
            course=read["plan"],
            zone_changes=tuple(read["zone_change"]),
            household=read["household"],
            line=read["line"],
            lumens=read["lumen"],
            fluids=read["fluid"],
            extra_steps=read["step"],
            protocol=read["protocol"],
            tasks=read["task"],
            supplies=read["supplies"],
            stock=read["stock"],
            daily_limits=read["daily_limits"],
            orders=read["order"],
            contacts=read["call"],
            calendar=read["calendar"],
            pop_ups=read["pop_up"],
            read_back=read["read_back"],
        )

    def _home_zone(self) -> ZoneInfo | None:
        table = self.values.get("plan")
        try:
            zone: ZoneInfo = keys.ZONE.read(table.get("zone") if isinstance(table, dict) else None, None)
        except keys.UnreadableError:
            return None  # told where the key itself is read
        return zone

    def _tables(self, name: str) -> Any:
        cls, raw = model.TABLES[name], self.values.get(name)
        if name in model.NAMED_TABLES:
            return self._named(name, cls, raw)
        if name in model.LISTED_TABLES:
            return self._listed(name, cls, raw)
        if raw is None and name in model.ABSENT_TABLES:
            return None
        if raw is None and name not in model.OPTIONAL_TABLES:
            if (name,) not in self.broken:  # else a misspelt heading has been told
                self._find("missing", f"The plan has no table [{name}].", (name,), f"[{name}]", f"Add [{name}].")
            return self._table(cls, {}, (name,), tell=False)
        return self._table(cls, {} if raw is None else raw, (name,))

    def _named(self, name: str, cls: type, raw: Any) -> dict[str, Any]:
        found: dict[str, Any] = {}
        wanted = f"[{name}.NAME]"
        if raw is not None and not isinstance(raw, dict):
            self._not_a_table((name,), wanted)
            return found
        if not raw and name not in model.OPTIONAL_TABLES and (name,) not in self.broken:
            self._find("missing", f"The plan has no {wanted}.", (name,), f"at least one {wanted}", f"Add {wanted}.")
        if name == "call":
            self._unknown((name,), raw or {}, list(model.TIERS), "tier of calling")
        for entry, table in (raw or {}).items():
            place = (name, entry)
            if keys.NAME.fullmatch(entry) is None:
                self._find(
                    "wrong-form",
                    f"{keys.shown_value(entry)} cannot be a name.",
                    place,
                    "letters, digits, - and _, at most 40 of them",
                    "Give the table a plain name; a label can be freer.",
                )
            found[entry] = self._table(cls, table, place, name=entry)
        return found

    def _listed(self, name: str, cls: type, raw: Any) -> list[Any]:
        if raw is None:
            return []
        if not isinstance(raw, list):
            self._not_a_table((name,), f"[[{name}]]")
            return []
        return [self._table(cls, table, (name, str(count))) for count, table in enumerate(raw, start=1)]

    def _table(self, cls: type, raw: Any, place: KeyPath, *, tell: bool = True, **given: str) -> Any:
        """Return what a table holds; without ``tell`` the table itself is missing, which has been told."""
        if not isinstance(raw, dict):
            self._not_a_table(place, f"[{'.'.join(place)}]")
            raw, tell = {}, False
        wanted = {item.name: item for item in fields(cls) if "form" in item.metadata}
        self._unknown(place, raw, list(wanted), "key")
        values: dict[str, Any] = dict(given)
        for name, item in wanted.items():
            form: keys.Form = item.metadata["form"]
            key = (*place, name)
            needed = item.default is MISSING and item.default_factory is MISSING
            if name in raw:
                try:
                    values[name] = form.read(raw[name], self.home)
                    continue
                except keys.UnreadableError as error:
                    if not isinstance(error, keys.NoZoneError):  # else the zone's own finding says it
                        mend = error.mend or f"Write {name} as {_plain(form.shown)}."
                        self._find(error.code, f"{'.'.join(key)}: {error.problem}.", key, _plain(error.expected), mend)
            elif not needed:
                continue
            elif tell and key not in self.broken:
                self._missing(place, name, item.metadata["meaning"], item.metadata["sources"], form)
            self.broken.add(key)
            if needed:
                values[name] = given.get("name", form.stand_in) if name == "label" else form.stand_in
        return cls(**values)

    def _missing(self, place: KeyPath, name: str, meaning: str, sources: str, form: keys.Form) -> None:
        table = f"[{'.'.join(place)}]"
        orientation = f". For orientation, not to copy: {sources}" if sources else ""
        whence = "with the value from the orders or the provider's protocol" if sources else f"under {table}"
        self._find(
            "missing",
            f"{table} does not state {name}: {meaning}",
            (*place, name),
            _plain(form.shown) + orientation,
            f"Add a line  {name} = ...  {whence}.",
        )

    def _unknown(self, place: KeyPath, raw: dict[str, Any], wanted: list[str], what: str) -> None:
        for name in raw:
            if name in wanted:
                continue
            spelt = name.lower().replace("-", "_").replace(" ", "_")
            close = difflib.get_close_matches(spelt, wanted, n=1, cutoff=0.6)
            where = f"[{'.'.join(place)}]" if place else "The plan"
            message = f"{where} has no {what} named {keys.shown_value(name)}"
            elsewhere = [] if close or not place else [table for table, cls in model.TABLES.items() if _has(cls, spelt)]
            if close:
                message += f"; did you mean {close[0]}?"
                expected, mend = f"the {what} {close[0]}", f"Rename it to {close[0]}."
                if close[0] not in raw:
                    self.broken.add((*place, close[0]))
            elif elsewhere:
                message += f"; it belongs to {' or '.join(f'[{table}]' for table in elsewhere)}."
                expected, mend = f"{name} in its own table", "A heading in square brackets may be missing above it."
            else:
                message += "."
                expected, mend = "one of: " + ", ".join(wanted), "Take it out, or correct its name."
            self._find("unknown-key", message, (*place, name), expected, mend)

    def _not_a_table(self, place: KeyPath, shown: str) -> None:
        self.broken.add(place)
        self._find("wrong-form", f"{'.'.join(place)} is not a table.", place, shown, f"Begin it with a line {shown}.")

    def _find(self, code: str, message: str, place: KeyPath, expected: str, mend: str) -> None:
        self.findings.append(Finding(code=code, message=message, expected=expected, mend=mend, places=(place,)))


def _has(cls: type, name: str) -> bool:
    return any(item.name == name and "form" in item.metadata for item in fields(cls))


def _plain(shown: str) -> str:
    return shown.replace("`", "")
