"""What a form of the page says, as the same thing that words say to the command (:class:`~reminders.saying.phrases.Said`).

A form holds the fields of a report by their names; the button that was pressed may hold more of them, which then stand. A
time is chosen (``when``), written (``when_clock``, ``when_day``), or neither for now.
"""

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from typing import Any
from urllib.parse import parse_qsl, urlencode

from reminders.plan.keys import shown_value
from reminders.plan.model import Plan
from reminders.record.facts import Sign
from reminders.reporting import one_line
from reminders.saying.phrases import PUTS_OFF, Said, Verb
from reminders.saying.when import UnclearTimeError, when
from reminders.times import Instant, ZoneTimeline
from reminders.units import UnitError, measure
from reminders.web.page_words import saying
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

PLAIN = ("order", "lumen", "dose", "event")
"""Names out of the plan, or out of the schedule."""

WRITTEN: Mapping[str, int] = {"name": 80, "note": 500, "by": 60, "said_by": 80}
"""What somebody writes, and how long it may be."""

FLAGS = ("everything", "flushed", "again", "line_used", "as_said")

YES = "yes"

KEY = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")

LONGEST: Mapping[str, int] = {**WRITTEN, "words": 300, "volume": 20, "count": 6}
"""Letters that a field takes, ``words`` being what is said in free words."""

DAYS_BACK = 7
"""A report can be about today, or one of so many days before."""

FURTHEST_DAY = timedelta(days=3660)
"""Days further away than this are not shown."""

OF_A_LUMEN = frozenset({Verb.FLUSHED, Verb.DRAWN, Verb.OUT_OF_USE, Verb.PROBLEM})
"""What is said of one lumen."""

OF_A_TASK = frozenset({Verb.TASK_DONE, Verb.TASK_PUT_OFF, Verb.TASK_SKIPPED})
"""What is said of a care task."""

NOT_OF_A_LUMEN = frozenset({Sign.OTHER, Sign.NOT_FLOWING})
"""Signs that may be about the whole line, or about what runs."""

NOT_SAID = frozenset({"token", "key", "do", "past", "asked"})
"""Fields of a form that are no part of what is said."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one field of a form, and what to write there; no field for the form as a whole."""

    field: str
    words: str


class FormError(Exception):
    """A form that cannot be taken as it is; it holds every fault."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        """Take the faults."""
        self.faults = tuple(faults)
        super().__init__("; ".join(fault.words for fault in self.faults))


Told = Mapping[str, Sequence[str]]
"""The fields of a form, each with all its values."""


def merged(pairs: Iterable[tuple[str, object]]) -> dict[str, list[str]]:
    """Return the fields of a form as sent, with those of the pressed button in the place of others of the same name."""
    found: dict[str, list[str]] = {}
    for name, value in pairs:
        if isinstance(value, str):
            found.setdefault(name, []).append(value)
    pressed: dict[str, list[str]] = {}
    for do in found.get("do", []):
        for name, value in parse_qsl(do):
            pressed.setdefault(name, []).append(value)
    if "when" in pressed:
        for name in ("when_clock", "when_day"):
            found.pop(name, None)
    return {**found, **pressed}


def report_key(told: Told) -> str:
    """Return the name of the report that a form makes: the same for the same form with the same words in it.

    So a form that is sent twice is one report, and a form that a browser brought back and that now says something else is
    another.

    Raises:
        FormError: the form has no key of ours.
    """
    key = first(told, "key")
    if KEY.fullmatch(key) is None:
        raise FormError([Fault("", _("This form is not whole. Look again, and say it once more."))])
    said = sorted((name, tuple(values)) for name, values in told.items() if name not in NOT_SAID and any(values))
    return f"{key}-{hashlib.sha256(repr(said).encode()).hexdigest()[:8]}"


def first(told: Told, name: str) -> str:
    """Return the first value of a field, without blanks around it; "" if there is none."""
    return next(iter(told.get(name, ())), "").strip()


def said_by_form(told: Told, plan: Plan, now: Instant, earliest: Instant) -> Said:
    """Return what a form says, ``now``; ``earliest`` is the plan's start. A time that was chosen as so long ago is fixed.

    Raises:
        FormError: something is missing, or cannot be meant.
    """
    faults: list[Fault] = []
    try:
        verb = Verb(first(told, "verb"))
    except ValueError:
        verb = Verb.IN_USE
    if verb is Verb.IN_USE:
        raise FormError([Fault("", _("Press the button that says what happened."))])
    values: dict[str, Any] = {name: first(told, name) for name in PLAIN}
    for name, known in (("order", plan.orders), ("lumen", plan.lumens)):
        if values[name] and values[name] not in known:
            faults.append(
                Fault(
                    name,
                    _("{name} is not in this plan. Choose one of the list.").format(name=shown_value(values[name])),
                )
            )
    for name, most in WRITTEN.items():
        values[name] = one_line(first(told, name))
        if len(values[name]) > most:
            faults.append(Fault(name, _("This is too long: at most {most} letters.").format(most=most)))
    values["name"] = _task(told, values["name"], plan, faults)
    values |= {name: first(told, name) == YES for name in FLAGS}
    values |= _particulars(told, plan, faults)
    values["when"] = _time(told, plan.clock, now, earliest, faults, verb)
    values["last_flush"] = _last_flush(told)
    faults += _missing(verb, values, told, plan)
    if faults:
        raise FormError(faults)
    return Said(verb=verb, **values)


def _task(told: Told, written: str, plan: Plan, faults: list[Fault]) -> str:
    """Return the care task that is chosen or, where none is, what is written: a form asks for both."""
    chosen = one_line(first(told, "task"))
    if chosen and written:
        faults.append(Fault("name", _("A task is chosen, and another one is written here. Leave one of them out.")))
    if chosen and chosen not in plan.tasks:
        faults.append(
            Fault("task", _("{name} is not in this plan. Choose one of the list.").format(name=shown_value(chosen)))
        )
    return chosen or written


def _particulars(told: Told, plan: Plan, faults: list[Fault]) -> dict[str, Any]:
    """Read sign, volume, fluids and count."""
    found: dict[str, Any] = {}
    if sign := first(told, "sign"):
        try:
            found["sign"] = Sign(sign)
        except ValueError:
            faults.append(Fault("sign", _("Choose what was wrong from the list.")))
    if volume := first(told, "volume"):
        try:
            found["volume"] = measure(volume, ("volume",))[0].text
        except UnitError:
            faults.append(
                Fault("volume", _("Write how much as a number with mL, such as 60 mL; nothing if you do not know."))
            )
    fluids = [name for name in told.get("fluids", ()) if name]
    if unknown := [name for name in fluids if name not in plan.fluids]:
        faults.append(Fault("fluids", _("{name} is no fluid of this plan.").format(name=shown_value(unknown[0]))))
    found["fluids"] = tuple(dict.fromkeys(fluids))
    if count := first(told, "count"):
        if re.fullmatch(r"[0-9]+", count) and len(count) <= LONGEST["count"]:
            found["count"] = int(count)
        else:
            faults.append(Fault("count", _("Write the count as a whole number, such as 12.")))
    if "item" in told:
        found["items"] = _amounts(told, faults)
    return found


def _amounts(told: Told, faults: list[Fault]) -> tuple[tuple[str, int], ...]:
    """Read how many of each item a form says; where it says of none, that is a fault of its first field."""
    verb, found, written = first(told, "verb"), [], 0
    for place, (item, number) in enumerate(zip(told["item"], told.get("number", ()), strict=False), start=1):
        text = number.strip()
        written += bool(text)
        if re.fullmatch(r"[0-9]+", text) and len(text) <= LONGEST["count"]:
            found.append((one_line(item), int(text)))
        elif text:
            said = _("{item}: write the count as a whole number, such as 12.").format(item=one_line(item))
            faults.append(Fault(f"{verb}-{place}", said))
    if not written:
        faults.append(Fault(f"{verb}-1", _("Write how many of at least one item.")))
    return tuple(found)


def needs_lumen(verb: Verb, plan: Plan) -> bool:
    """Say whether a form must be told which lumen it is about: it is never guessed where there is more than one."""
    return verb in OF_A_LUMEN and sum(lumen.in_use for lumen in plan.lumens.values()) > 1


def _missing(verb: Verb, values: Mapping[str, Any], told: Told, plan: Plan) -> list[Fault]:
    """Say which fields are empty that must not be."""
    everything = bool(values["everything"])
    needs = [name for name in saying(verb, everything=everything).needs if name != "until"]
    if "item" in told:
        needs = [name for name in needs if name not in ("name", "count")]
    if first(told, "asked") == YES:
        needs.append("said_by")
    # A button has no such field: where it leaves something open, that is asked back.
    if "lumen" in told and needs_lumen(verb, plan) and values.get("sign") not in NOT_OF_A_LUMEN:
        needs.append("lumen")
    words = {
        "said_by": _("Write who said so: a name, or what they are, such as on-call nurse."),
        "name": _("Say which."),
        "count": _("Write how many there are, as a whole number."),
        "sign": _("Choose what is wrong."),
        "lumen": _("Choose the lumen."),
    }
    place = {"name": "task"} if verb in OF_A_TASK and plan.tasks else {}
    return [
        Fault(place.get(name, name), words[name]) for name in needs if not values.get(name) and values.get(name) != 0
    ]


def _time(told: Told, clock: ZoneTimeline, now: Instant, earliest: Instant, faults: list[Fault], verb: Verb) -> str:
    """Return when it was, as it is said; a moment so many minutes ago is fixed, so that a question back does not move it."""
    ahead = verb in PUTS_OFF
    name = "until" if ahead and "until_clock" in told else "when"
    written = first(told, f"{name}_clock")
    chosen = first(told, "when")
    if written:
        if chosen not in ("", "now"):
            faults.append(
                Fault(f"{name}_clock", _("A time is chosen, and another one is written here. Leave one of them out."))
            )
            return ""
        said = _on_the_clock(written, first(told, f"{name}_day"), f"{name}_clock", faults)
    else:
        said = chosen
        if not said and first(told, "past") == YES:
            faults.append(Fault("when", _("Say when it was: choose it here, or write the time beside.")))
            return ""
    if not said and not ahead:
        return ""
    try:
        at = when(said, clock, now, earliest=earliest, ahead=ahead)
    except UnclearTimeError as unclear:
        if not unclear.readings and not any(fault.field.startswith(name) for fault in faults):
            faults.append(Fault(f"{name}_clock" if written or ahead else "when", unclear.problem))
        return said  # what can mean two moments is asked back
    return fixed(at, clock)


def fixed(at: Instant, clock: ZoneTimeline) -> str:
    """Say an instant so that it means nothing else: with its day and its offset."""
    local = clock.local(at)
    return f"{local:%Y-%m-%d %H:%M}{local.isoformat()[-6:]}"


def _on_the_clock(written: str, day: str, field: str, faults: list[Fault]) -> str:
    """Return a written time of day, with its day, as it is said; seconds that a browser adds are left out."""
    found = re.fullmatch(r"([0-9]{1,2})[:.]([0-9]{2})(?::[0-9]{2}(?:\.[0-9]+)?)?( ?[ap]\.?m\.?)?", written.casefold())
    if found is None:
        faults.append(
            Fault(field, _("{time} is no time of day. Write it as 9:40 or 21:15.").format(time=shown_value(written)))
        )
        return "now"
    said = f"{found[1]}:{found[2]}{found[3] or ''}"
    if not day:
        return said
    try:
        return f"{date.fromisoformat(day).isoformat()} {said}"
    except ValueError:
        faults.append(Fault(field, _("{day} is no day. Choose one of the list.").format(day=shown_value(day))))
        return "now"


def _last_flush(told: Told) -> str:
    """Return when the line was last flushed during a stay elsewhere, as it is said."""
    if first(told, "last_flush"):
        return first(told, "last_flush")
    written, day = first(told, "last_flush_clock"), first(told, "last_flush_day")
    return f"{day} {written[:5]}".strip() if written else ""


def fields_of(said: Said) -> dict[str, str]:
    """Return what was said as the hidden fields of another form; nothing that was not said."""
    found: dict[str, str] = {}
    for item in fields(said):
        value = getattr(said, item.name)
        if item.name == "fluids":
            continue  # several values: see fluids_of
        if value is True:
            found[item.name] = YES
        elif isinstance(value, Verb | Sign):
            found[item.name] = value.value
        elif isinstance(value, int) and not isinstance(value, bool):
            found[item.name] = str(value)
        elif isinstance(value, str) and value:
            found[item.name] = value
    return found


def pairs_of(said: Said) -> list[tuple[str, str]]:
    """Return what was said as pairs of names and values, fluids and items one by one."""
    items = [pair for name, number in said.items for pair in (("item", name), ("number", str(number)))]
    return [*fields_of(said).items(), *(("fluids", name) for name in said.fluids), *items]


def do_of(changes: Mapping[str, Any]) -> str:
    """Return what a choice makes of what was said, as a button holds it."""
    told = {name: YES if value is True else str(getattr(value, "value", value)) for name, value in changes.items()}
    return urlencode(told)


def pinned(said: Said, clock: ZoneTimeline, now: Instant) -> Said:
    """Fix the moment of what is said to be now, so that a question back does not move it."""
    return replace(said, when=said.when or fixed(now, clock)) if said.verb not in PUTS_OFF else said


def days_to_choose(clock: ZoneTimeline, now: Instant, *, ahead: int = 0) -> list[date]:
    """Return the days that a time can be of, today first, then backwards; or forwards."""
    today = clock.local(now).date()
    steps = range(ahead + 1) if ahead else range(0, -DAYS_BACK - 1, -1)
    return [date.fromordinal(today.toordinal() + step) for step in steps]


def day_asked(text: str, otherwise: date) -> date | None:
    """Return the day that an address asks for; ``otherwise`` if it asks for none, None for what is no day near that."""
    if not text:
        return otherwise
    try:
        asked = date.fromisoformat(text)
    except ValueError:
        return None
    return asked if abs(asked - otherwise) <= FURTHEST_DAY else None
