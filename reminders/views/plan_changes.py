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
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

TOLD_ELSEWHERE = frozenset({("plan", "id"), ("plan", "revision"), ("plan", "takes_effect")})
"""Keys of which the comparison speaks by itself."""

KEY_WORDS: Mapping[str, Mapping[str, str]] = {
    "plan": {
        "id": _("id"),
        "revision": _("revision"),
        "takes_effect": _("moment of taking effect"),
        "household_records": _("whether the household records"),
        "zone": _("home zone"),
        "start": _("start"),
        "end": _("end"),
        "line_removal": _("removal of the line"),
        "open_ended": _("how far an open-ended plan looks ahead"),
        "handling_time": _("handling time"),
        "note": _("note"),
    },
    "zone_change": {"at": _("moment"), "zone": _("zone")},
    "household": {
        "quiet_hours": _("quiet hours"),
        "preferred_flush_times": _("preferred flush times"),
        "settled_ahead": _("settled ahead"),
    },
    "line": {
        "kind": _("kind"),
        "valved": _("whether it has a valve"),
        "placed_on": _("day of placing"),
        "external_length": _("length that shows"),
        "idle_limit": _("idle limit"),
        "lock": _("lock"),
        "needle_out_idle_limit": _("idle limit while the needle is out"),
        "needle_out_lock": _("lock while the needle is out"),
        "heparin_ruled_out": _("whether heparin is ruled out"),
        "allergies": _("known allergies"),
    },
    "lumen": {
        "label": _("label"),
        "last_flushed": _("last flush before the plan"),
        "in_use": _("whether it is in use"),
        "lock": _("its own lock"),
        "idle_limit": _("its own idle limit"),
        "flush_volume": _("its own flush volume"),
        "lock_volume": _("its own lock volume"),
        "flush_through": _("whether its lock may be flushed in"),
        "withdraw_volume": _("volume to draw out"),
    },
    "fluid": {
        "kind": _("kind"),
        "label": _("label"),
        "volume": _("volume"),
        "syringe": _("syringe"),
        "syringe_holds": _("volume of a syringe"),
        "strength": _("strength"),
        "sodium": _("sodium"),
    },
    "step": {"label": _("words"), "consumes": _("what it uses up")},
    "protocol": {
        "provider": _("provider"),
        "flush": _("flush fluid"),
        "before": _("what comes before an infusion"),
        "after": _("what comes after an infusion"),
        "after_nutrition": _("what comes after nutrition"),
        "idle": _("what an idle flush pushes"),
        "flush_without_lock_counts": _("whether a flush without its lock counts"),
        "scrub_time": _("scrub time"),
        "dry_time": _("drying time"),
        "joining_time": _("joining time"),
        "planning_margin": _("planning margin"),
        "least_time_to_next_touch": _("least time to the next touch"),
        "saved_session_worth": _("worth of a saved session, in flushes"),
    },
    "supplies": {
        "each_touch": _("used at each touch"),
        "each_syringe": _("used with each syringe"),
        "each_connection": _("used at each connection"),
        "each_withdrawal": _("used when something is drawn out"),
    },
    "daily_limits": {
        "infused": _("most infused in a day"),
        "flushed": _("most flushed in a day"),
        "heparin": _("most heparin in a day"),
        "sodium": _("most sodium in a day"),
    },
    "order": {
        "drug": _("drug"),
        "kind": _("kind"),
        "dose": _("dose"),
        "lumen": _("lumen"),
        "given_as": _("how it is given"),
        "clock_times": _("times of day"),
        "weekdays": _("weekdays"),
        "every_days": _("days from one to the next"),
        "every": _("interval"),
        "moments": _("moments of the doses"),
        "continuous": _("whether it runs without a pause"),
        "follows": _("the order that it follows"),
        "follows_after": _("time after the order that it follows"),
        "as_needed": _("whether it is given as needed"),
        "most_in_24h": _("most doses in 24 h"),
        "first_dose": _("first dose"),
        "last_day": _("last day"),
        "doses": _("number of doses"),
        "stops": _("moment at which it stops"),
        "until_removal": _("whether it goes on until the line is removed"),
        "duration": _("how long it runs"),
        "volume": _("volume"),
        "rate": _("rate"),
        "rate_steps": _("rate steps"),
        "rate_limit": _("greatest rate"),
        "least_spacing": _("least spacing"),
        "most_spacing": _("most spacing"),
        "last_dose_before_plan": _("last dose before the plan"),
        "on_time_within": _("window of being on time"),
        "cut_off": _("cut-off"),
        "after_late_dose": _("what follows a late dose"),
        "clock": _("clock on a journey"),
        "before": _("what comes before it"),
        "after": _("what comes after it"),
        "flush_through": _("whether it may be flushed through"),
        "withdraw_volume": _("volume to draw out"),
        "runs_with": _("orders that it may run with"),
        "bag_every": _("time from bag to bag"),
        "bag_times": _("times of the bag changes"),
        "bag_flush": _("flush at a bag change"),
        "hang_time": _("longest time that a bag may hang"),
        "bags_expire_on": _("expiry date of the bags"),
        "kept_open": _("whether the pump keeps the lumen open"),
        "review_on": _("review date"),
        "note": _("note"),
        "each_dose": _("used with each dose"),
        "each_bag": _("used with each bag"),
    },
    "call": {"who": _("who answers"), "phone": _("number"), "signs": _("signs to call for")},
    "calendar": {
        "name": _("name"),
        "reveals": _("how much it reveals"),
        "alarm_before": _("time of the alarm"),
        "colour": _("colour"),
        "refresh_every": _("time of looking again"),
    },
    "pop_up": {
        "ahead": _("announcement before an event"),
        "again_every": _("time until a pop-up comes again"),
        "urgent_again_every": _("time until an urgent pop-up comes again"),
        "ordinary_repeats": _("how many times an ordinary pop-up comes again"),
        "discreet": _("whether pop-ups are discreet"),
    },
}
"""What each key of a plan is called in a comparison."""

SAFETY: Mapping[str, str] = {
    "order": "drug dose kind rate rate_steps rate_limit volume duration lumen given_as clock_times weekdays every_days "
    "every moments continuous follows follows_after as_needed most_in_24h first_dose last_day doses stops "
    "until_removal least_spacing most_spacing last_dose_before_plan cut_off on_time_within after_late_dose clock "
    "flush_through withdraw_volume before after runs_with kept_open bag_every bag_times bag_flush hang_time "
    "bags_expire_on",
    "line": "idle_limit lock heparin_ruled_out allergies needle_out_idle_limit needle_out_lock kind valved",
    "lumen": "in_use idle_limit lock lock_volume flush_volume flush_through withdraw_volume",
    "fluid": "kind strength volume",
    "protocol": "flush before after after_nutrition idle flush_without_lock_counts joining_time planning_margin "
    "least_time_to_next_touch saved_session_worth scrub_time dry_time",
    "zone_change": "at zone",
    "plan": "zone start end line_removal open_ended household_records",
    "daily_limits": "infused flushed heparin sodium",
    "call": "who phone signs",
}
"""The keys that matter most, most important first: drug, dose, rate, lumen, times, limits, lock, heparin, allergies."""

_RANKS = {
    (table, key): rank
    for rank, (table, key) in enumerate((table, key) for table, listed in SAFETY.items() for key in listed.split())
}
_WHOLE = frozenset({"order", "lumen", "fluid", "call"})
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
            places = _part(old.plan, table), _part(new.plan, table)
            found += _keys(table, _thing(table), one or {}, two or {}, *places)
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
        gone = name in one
        entry = _part(old if gone else new, table)[name]
        template = _("{thing} is gone. It said: {all}.") if gone else _("{thing} is new: {all}.")
        said = _all(table, one[name] if gone else two[name])
        yield PlanChange(template.format(thing=_thing(table, name, entry, entry), all=said), table in _WHOLE, -1)


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
    if table in ("lumen", "fluid"):
        label = now.label if before.label == now.label else name
        return _("{label} lumen").format(label=label) if table == "lumen" else label
    return {
        "plan": _("the plan"),
        "household": _("the household"),
        "line": _("the line"),
        "protocol": _("the protocol"),
        "supplies": _("the supplies"),
        "daily_limits": _("the daily limits"),
        "calendar": _("the calendar"),
        "pop_up": _("the pop-ups"),
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
