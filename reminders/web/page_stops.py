"""Why nothing on a lumen has a plain button although the lumen itself is well, and whom to call first after a sign (S1, S2).

A sign about the whole line bars every lumen until everything is released. A suspended lumen bars the others until
somebody was asked: they end in the same vein.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from reminders.plan.model import Contact, Plan
from reminders.record.facts import ASKS_FIRST, SUSPENDS, Fact, Record, Sign
from reminders.schedule.model import AskWhy, Schedule
from reminders.schedule.whole_line import WHOLE_LINE_SIGNS, is_dressing, is_whole_line, named, whole_line_signs
from reminders.times import Instant
from reminders.web.page_times import short_time
from reminders.words import CATALOGUE, call_words, lumen_words, sign_words

_ = CATALOGUE.gettext


@dataclass(frozen=True, slots=True)
class Bar:
    """Why a lumen has no plain button for now: one sentence each. ``whole``: it is about the whole line."""

    lines: tuple[str, ...]
    whole: bool


def bars(schedule: Schedule, record: Record, now: Instant) -> Mapping[str, Bar]:
    """Return why lumens are barred by what is wrong elsewhere in the line; a lumen that is not barred has no entry."""
    if schedule.removed is not None and now >= schedule.removed:
        return {}
    signs = whole_line_signs(record)
    if signs:
        lines = tuple(_whole_line(fact, schedule.plan, now) for fact in signs)
        return dict.fromkeys(schedule.plan.lumens, Bar(lines, whole=True))
    suspended = {name: since for name in schedule.plan.lumens if (since := _suspended(name, schedule, now)) is not None}
    found = {}
    for name in schedule.plan.lumens:
        others = {other: since for other, since in suspended.items() if other != name}
        if others and name not in suspended:
            lines = tuple(_other_lumen(other, since, schedule, record) for other, since in others.items())
            found[name] = Bar(lines, whole=False)
    return found


def _suspended(lumen: str, schedule: Schedule, now: Instant) -> Instant | None:
    spans = schedule.lumens[lumen].blocked
    return next((begin for begin, end, why in spans if why is AskWhy.SUSPENDED and begin <= now < end), None)


def _whole_line(fact: Fact, plan: Plan, now: Instant) -> str:
    since = short_time(plan, fact.happened, now)
    call = call_words(plan.contacts[WHOLE_LINE_SIGNS[named(fact)]])
    return _("Use no lumen: {sign}, since {since}. Call {call}.").format(sign=fact.note, since=since, call=call)


def _other_lumen(lumen: str, since: Instant, schedule: Schedule, record: Record) -> str:
    plan = schedule.plan
    about = lumen_words(plan, lumen)
    signs = dict.fromkeys(
        sign_words(fact.sign)
        for fact in record.standing
        if fact.sign in SUSPENDS and fact.happened == since and fact.lumen in ("", lumen)
    )
    if signs:
        about = _("{lumen}: {signs}").format(lumen=about, signs=_(" and ").join(signs))
    return _("Another lumen of this line has a problem ({about}). Call {now} before you use this one.").format(
        about=about, now=call_words(plan.contacts["now"])
    )


def is_for_clinicians(facts: Iterable[Fact]) -> bool:
    """Say whether a report closes a lumen, or the line, until a clinician releases it."""
    signs = (SUSPENDS | ASKS_FIRST) - {Sign.NOT_FLOWING}
    return any(fact.sign in signs or is_whole_line(fact) for fact in facts)


def call_first(facts: Iterable[Fact], plan: Plan) -> tuple[str, Contact] | None:
    """Return what an answer to a report begins with, and whom to call; None where nothing is wrong."""
    now, emergency = plan.contacts["now"], plan.contacts["emergency"]
    found: list[tuple[int, str, Contact]] = []
    for fact in facts:
        if fact.sign is None:
            continue
        if is_dressing(fact):
            who = plan.contacts.get("same_day", now)
            found.append((3, _("Call {who} today").format(who=call_words(who)), who))
        elif is_whole_line(fact) and WHOLE_LINE_SIGNS[named(fact)] == "emergency":
            found.append((0, _("STOP: call {who} now").format(who=call_words(emergency)), emergency))
        elif is_whole_line(fact) or is_for_clinicians([fact]):
            found.append((1, _("STOP: call {who}").format(who=call_words(now)), now))
        else:
            found.append((2, _("Call {who}").format(who=call_words(now)), now))
    grave = min(found, key=lambda item: item[0], default=None)
    return None if grave is None else (grave[1], grave[2])
