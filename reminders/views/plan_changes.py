"""What two files of one plan say differently, key by key, in words; what matters most for safety comes first."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from reminders.plan import model
from reminders.plan.keys import Pushed, RateStep
from reminders.plan.model import Plan
from reminders.plan.read import Reading
from reminders.times import Moment
from reminders.units import BASES, Measure, UnitError, measure
from reminders.views.key_words import KEY_WORDS, SAFETY
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

TOLD_ELSEWHERE = frozenset({("plan", "id"), ("plan", "revision"), ("plan", "takes_effect")})
"""Keys of which the comparison speaks by itself."""

_RANKS = {
    (table, key): rank
    for rank, (table, key) in enumerate((table, key) for table, listed in SAFETY.items() for key in listed.split())
}
_WHOLE = frozenset({"order", "lumen", "fluid", "task", "call"})
"""Named tables of which it matters for safety that one is new or gone."""


@dataclass(frozen=True, slots=True)
class PlanChange:
    """One thing that the files say differently; ``safety``: it is among what matters most."""

    text: str
    safety: bool
    rank: int


def plan_changes(old: Reading, new: Reading) -> list[PlanChange]:
    """Return what two readings of one plan say differently, what matters most first; nothing for the revision itself.

    Both are complete: their plans hold what their files say.
    """
    assert old.plan is not None, "a plan with errors is not compared"
    assert new.plan is not None, "a plan with errors is not compared"
    found: list[PlanChange] = []
    for table in model.TABLES:
        one, two = old.source.values.get(table), new.source.values.get(table)
        if table in model.LISTED_TABLES:
            found += _listed(one or [], two or [])
        elif table in model.NAMED_TABLES:
            found += _named(table, one or {}, two or {}, old.plan, new.plan)
        else:
            before, now = _part(old.plan, table), _part(new.plan, table)
            if (before is None) != (now is None):
                found.append(_whole(table, _thing(table), one, two))
            else:
                found += _keys(table, _thing(table), one or {}, two or {}, before, now)
    return sorted(found, key=lambda change: (not change.safety, change.rank))


PARTS = {
    "plan": "course",
    "household": "household",
    "line": "line",
    "protocol": "protocol",
    "supplies": "supplies",
    "daily_limits": "daily_limits",
    "calendar": "calendar",
    "pop_up": "pop_ups",
    "lumen": "lumens",
    "fluid": "fluids",
    "step": "extra_steps",
    "order": "orders",
    "task": "tasks",
    "stock": "stock",
    "read_back": "read_back",
    "call": "contacts",
}
"""Where a plan holds what each of its tables says."""


def _part(plan: Plan, table: str) -> Any:
    return getattr(plan, PARTS[table])


def _named(table: str, one: Mapping[str, Any], two: Mapping[str, Any], old: Plan, new: Plan) -> Iterator[PlanChange]:
    for name in dict.fromkeys([*one, *two]):
        if name in one and name in two:
            before, now = _part(old, table)[name], _part(new, table)[name]
            yield from _keys(table, _thing(table, name, before, now), one[name], two[name], before, now)
            continue
        entry = _part(old if name in one else new, table)[name]
        yield _whole(table, _thing(table, name, entry, entry), one.get(name), two.get(name))


def _whole(table: str, thing: str, gone: Mapping[str, Any] | None, fresh: Mapping[str, Any] | None) -> PlanChange:
    """Say that a table is new, or gone."""
    if gone is not None:
        said = _("{thing} is gone. It said: {all}.").format(thing=thing, all=_all(table, gone))
    else:
        said = _("{thing} is new: {all}.").format(thing=thing, all=_all(table, fresh or {}))
    return PlanChange(said, table in _WHOLE, -1)


def _keys(
    table: str, thing: str, one: Mapping[str, Any], two: Mapping[str, Any], before: Any, now: Any
) -> Iterator[PlanChange]:
    for key, what in KEY_WORDS[table].items():
        if one.get(key) == two.get(key) or (table, key) in TOLD_ELSEWHERE:
            continue
        rank = _RANKS.get((table, key))
        same = _meaning(getattr(before, key)) == _meaning(getattr(now, key))
        if same:
            template = _("{thing}, {what}: written differently, and means the same: was {old}, now {new}.")
        elif key not in one:
            template = _("{thing}, {what}: was not stated, now {new}.")
        elif key not in two:
            template = _("{thing}, {what}: was {old}, now not stated.")
        else:
            template = _("{thing}, {what}: was {old}, now {new}.")
        said = template.format(thing=thing, what=what, old=written(one.get(key)), new=written(two.get(key)))
        yield PlanChange(said, rank is not None and not same, len(_RANKS) if rank is None or same else rank)


def _listed(one: list[Mapping[str, Any]], two: list[Mapping[str, Any]]) -> Iterator[PlanChange]:
    """Compare the legs of a journey: each is new, or gone, or the same."""
    rank = _RANKS["zone_change", "at"]
    for template, legs, others in (
        (_("A change of the clock is gone: {all}."), one, two),
        (_("A change of the clock is new: {all}."), two, one),
    ):
        for leg in legs:
            if leg not in others:
                yield PlanChange(template.format(all=_all("zone_change", leg)), True, rank)


def _thing(table: str, name: str = "", before: Any = None, now: Any = None) -> str:
    """Name what a table is about; one whose own label changes by the name that both files use."""
    if table == "order":
        known = before.drug == now.drug and before.drug != name
        return _("{drug} (order {name})").format(drug=now.drug, name=name) if known else _named_order(name, before, now)
    if table == "call":
        return _("whom to call ({tier})").format(tier=name.replace("_", " "))
    if table == "stock":
        return _("the stock of {item}").format(item=now.item)
    if table in ("lumen", "fluid", "task"):
        label = now.label if before.label == now.label else name
        template = {"lumen": _("{label} lumen"), "task": _("the care task {label}")}.get(table, "{label}")
        return template.format(label=label)
    return {
        "plan": _("the plan"),
        "household": _("the household"),
        "line": _("the line"),
        "protocol": _("the protocol"),
        "supplies": _("the supplies"),
        "daily_limits": _("the daily limits"),
        "calendar": _("the calendar"),
        "pop_up": _("the pop-ups"),
        "read_back": _("the reading back"),
        "step": _("the step {name}").format(name=name),
    }[table]


def _named_order(name: str, before: Any, now: Any) -> str:
    return name if before.drug == now.drug else _("order {name}").format(name=name)


def _all(table: str, values: Mapping[str, Any]) -> str:
    """Tell all that a table says, on one line."""
    told = (_("{what}: {value}").format(what=KEY_WORDS[table][key], value=written(values[key])) for key in values)
    return "; ".join(told)


def written(raw: object) -> str:
    """Show a value as its file has it, without the marks of TOML."""
    if raw is None:
        return _("not stated")
    if isinstance(raw, bool):
        return _("yes") if raw else _("no")
    if isinstance(raw, list):
        return ", ".join(written(entry) for entry in raw) or _("none")
    if isinstance(raw, dict):
        return ", ".join(f"{count} × {item}" for item, count in raw.items()) or _("nothing")
    if isinstance(raw, datetime):
        return raw.isoformat(" ", timespec="minutes")
    if isinstance(raw, time):
        return raw.isoformat(timespec="minutes")
    if isinstance(raw, date):
        return raw.isoformat()
    return str(raw)


def _meaning(value: Any) -> Any:
    """Return what a value amounts to, however it is written."""
    if isinstance(value, Measure):
        try:
            kind = measure(value.text, tuple(BASES))[1]
        except UnitError:
            return value.text
        return kind, value.amount
    if isinstance(value, Moment):
        return value.instant
    if isinstance(value, Pushed):
        return value.name, _meaning(value.volume)
    if isinstance(value, RateStep):
        return _meaning(value.rate), value.minutes
    if isinstance(value, tuple):
        return tuple(_meaning(entry) for entry in value)
    return value
