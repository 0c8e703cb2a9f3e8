"""What a person says, taken apart: what happened, to which order or lumen, with what, and when.

``finished cefazolin and flushed 20 min ago`` or ``red will not flush``: what happened, what it is about, and at the end
the time. What is left out is worked out later, from what fits (:mod:`reminders.saying.report`).
"""

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any

from reminders.plan.items import named_items, plain
from reminders.plan.model import Plan
from reminders.record.facts import Sign
from reminders.saying.task_names import Fit, tasks_meant, tasks_near
from reminders.saying.when import split_time
from reminders.schedule.whole_line import DRESSING_SIGNS
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext


class Verb(Enum):
    """What can be said to have happened, by the words it is said with."""

    DONE = "done"
    STARTED = "started"
    FINISHED = "finished"
    STOPPED = "stopped early"
    INTERRUPTED = "interrupted"
    RESUMED = "resumed"
    DELAYED = "delayed"
    FLUSHED = "flushed"
    SKIPPED = "skipped"
    NOT_GIVEN = "not given"
    ELSEWHERE = "given elsewhere"
    BAG_CHANGED = "bag changed"
    DRAWN = "blood drawn"
    PROBLEM = "problem"
    HELD = "held"
    RELEASED = "released"
    OUT_OF_USE = "out of use"
    NEEDLE_OUT = "needle out"
    NEEDLE_IN = "needle in"
    HEPARIN_STOPPED = "heparin stopped"
    EXCHANGED = "line exchanged"
    REMOVED = "line removed"
    TASK_DONE = "task done"
    TASK_PUT_OFF = "task put off"
    TASK_SKIPPED = "task skipped"
    COUNTED = "counted"
    DELIVERED = "delivered"
    IN_USE = "in use"


PUTS_OFF = frozenset({Verb.DELAYED, Verb.TASK_PUT_OFF})
"""What is said with a time that is still to come."""


@dataclass(frozen=True, slots=True)
class Phrase:
    """One way to say something: its verb, and what it says besides."""

    verb: Verb
    sign: Sign | None = None
    everything: bool = False
    flushed: bool = False
    note: str = ""


PHRASES: Mapping[str, Phrase] = {
    **{verb.value: Phrase(verb) for verb in Verb if verb is not Verb.PROBLEM},
    "done": Phrase(Verb.DONE, flushed=True),  # as planned, its flush too; who gave a dose has not said that
    "given": Phrase(Verb.DONE),
    "gave": Phrase(Verb.DONE),
    "took": Phrase(Verb.DONE),
    "flushed and finished": Phrase(Verb.FINISHED, flushed=True),
    "stopped": Phrase(Verb.STOPPED),
    "connected": Phrase(Verb.STARTED),
    "disconnected": Phrase(Verb.FINISHED),
    "paused": Phrase(Verb.INTERRUPTED),
    "running again": Phrase(Verb.RESUMED),
    "late": Phrase(Verb.DELAYED),
    "put off": Phrase(Verb.DELAYED),
    "moved": Phrase(Verb.DELAYED),
    "missed": Phrase(Verb.NOT_GIVEN),
    "drawn": Phrase(Verb.DRAWN),
    "in hospital": Phrase(Verb.HELD, everything=True),
    "home again": Phrase(Verb.RELEASED, everything=True),
    "back in use": Phrase(Verb.RELEASED),
    "stock counted": Phrase(Verb.COUNTED),
    "arrived": Phrase(Verb.DELIVERED),
    "problem": Phrase(Verb.PROBLEM, Sign.OTHER),
    "something else": Phrase(Verb.PROBLEM, Sign.OTHER),
    "reaction": Phrase(Verb.PROBLEM, Sign.REACTION),
    "pain": Phrase(Verb.PROBLEM, Sign.PAIN),
    "swelling": Phrase(Verb.PROBLEM, Sign.SWELLING),
    "swollen": Phrase(Verb.PROBLEM, Sign.SWELLING),
    "leak": Phrase(Verb.PROBLEM, Sign.LEAK),
    "leaks": Phrase(Verb.PROBLEM, Sign.LEAK),
    "leaking": Phrase(Verb.PROBLEM, Sign.LEAK),
    "will not flush": Phrase(Verb.PROBLEM, Sign.WILL_NOT_FLUSH),
    **{
        words: Phrase(Verb.PROBLEM, Sign.WILL_NOT_FLUSH)
        for words in ("won't flush", "wont flush", "cannot flush", "can't flush", "cant flush", "blocked")
    },
    "no blood return": Phrase(Verb.PROBLEM, Sign.NO_BLOOD_RETURN),
    "not flowing": Phrase(Verb.PROBLEM, Sign.NOT_FLOWING),
    "pump alarm": Phrase(Verb.PROBLEM, Sign.NOT_FLOWING),
    **{
        words: Phrase(Verb.PROBLEM, Sign.OTHER, note=words)
        for words in (
            "fever",
            "chills",
            "chest pain",
            "short of breath",
            "faint",
            "bleeding",
            "line broken",
        )
    },
    **{
        words: Phrase(Verb.PROBLEM, Sign.OTHER, note=sign)
        for sign in DRESSING_SIGNS
        for what, how in (sign.split(),)
        for words in (sign, f"{how} {what}", f"{what} is {how}")
    },
}
"""Every way to say what happened, with what it means."""

SIGNS: Mapping[str, Sign] = {words: phrase.sign for words, phrase in PHRASES.items() if phrase.sign is not None}

FILLERS = frozenset("the a an of in on lumen line dose bag infusion it has was is my".split())
"""Words that say nothing on their own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What was said, before anything is worked out. ``when`` is the time as it was said, "" for now.

    ``name`` is a care task, by its name or as it was said. ``items`` are several items of supply at once, with how many of each; ``name`` and
    ``count`` are one of them. ``as_said``: a name that is known to be none of the plan is meant as it stands.
    """

    verb: Verb
    order: str = ""
    lumen: str = ""
    dose: str = ""
    everything: bool = False
    when: str = ""
    sign: Sign | None = None
    volume: str = ""
    fluids: tuple[str, ...] = ()
    flushed: bool = False
    again: bool = False
    line_used: bool = False
    name: str = ""
    count: int | None = None
    items: tuple[tuple[str, int], ...] = ()
    as_said: bool = False
    note: str = ""
    by: str = ""
    said_by: str = ""
    last_flush: str = ""
    event: str = ""


class NotUnderstoodError(Exception):
    """Words that cannot be taken apart; its text says which, and what would be understood."""


class NoReportError(NotUnderstoodError):
    """Words that report nothing, but ask for something else; its text says how that is done."""


class NothingSaidError(NotUnderstoodError):
    """Words that hold none of the things that can be recorded; its text lists them all."""


def said(words: Sequence[str], plan: Plan) -> Said:
    """Take apart what a person said, with the names of a plan.

    Raises:
        NotUnderstoodError: it does not begin with anything known, or names something that the plan does not have.
    """
    told = [word.strip(",.;!?") for word in " ".join(words).replace("’", "'").split()]
    if [word.casefold() for word in told[:2]] in (["take", "back"], ["taken", "back"]) or told[:1] == ["undo"]:
        raise NoReportError(_("The last report is taken back with  reminders undo ."))
    phrase, rest = _phrase(told)
    if phrase.verb in OF_TASK and (of_task := _of_task(phrase.verb, rest, plan)) is not None:
        return of_task
    if phrase.verb in USAGES:
        return _pieces(phrase.verb, rest, plan)
    named, when = _time_apart(rest, plan)
    found = Said(
        verb=phrase.verb,
        sign=phrase.sign,
        everything=phrase.everything,
        flushed=phrase.flushed,
        note=phrase.note,
        when=when,
    )
    try:
        return _with_particulars(found, named, plan)
    except NotUnderstoodError:
        if phrase.verb not in OF_TASK or not tasks_near(" ".join(named), plan.tasks):
            raise
        return Said(verb=OF_TASK[phrase.verb], name=" ".join(named), when=when)  # which task it is, is asked back


def lumen_to_say(name: str, plan: Plan) -> str:
    """Return by what a person says a lumen: its label, where that is understood as this lumen and nothing else; else its name."""
    label = plan.lumens[name].label
    try:
        understood = said(["flushed", *label.split()], plan) == said(["flushed", name], plan)
    except NotUnderstoodError:
        return name
    return label if understood else name


def _time_apart(words: Sequence[str], plan: Plan) -> tuple[list[str], str]:
    """Split the time off; a lumen may be called 2, which is no time."""
    rest, when = split_time(words)
    return (list(words), "") if when in plan.lumens else (rest, when)


def _phrase(told: Sequence[str]) -> tuple[Phrase, list[str]]:
    lowered = [word.casefold().strip(".,;:!") for word in told]
    for first in range(len(told)):
        for length in range(min(4, len(told) - first), 0, -1):
            phrase = PHRASES.get(" ".join(lowered[first : first + length]))
            if phrase is not None:
                return phrase, [*told[:first], *told[first + length :]]
    begun = f'"{" ".join(told)}"' if told else _("Nothing")
    near = list(dict.fromkeys(close for word in lowered for close in difflib.get_close_matches(word, PHRASES, 2, 0.75)))
    meant = _(" Did you mean: {near}?").format(near=", ".join(near)) if near else ""
    raise NothingSaidError(
        _("{begun} holds none of the things that can be recorded.{meant} Say one of: {known}.").format(
            begun=begun, meant=meant, known=", ".join(sorted(PHRASES))
        )
    )


OF_TASK: Mapping[Verb, Verb] = {
    Verb.DONE: Verb.TASK_DONE,
    Verb.DRAWN: Verb.TASK_DONE,
    Verb.DELIVERED: Verb.TASK_DONE,
    Verb.DELAYED: Verb.TASK_PUT_OFF,
    Verb.SKIPPED: Verb.TASK_SKIPPED,
    **{verb: verb for verb in (Verb.TASK_DONE, Verb.TASK_PUT_OFF, Verb.TASK_SKIPPED)},
}
"""What is said of a care task, by what is said of something else in the same words."""

TASK_USAGES: Mapping[Verb, str] = {
    Verb.TASK_DONE: _("which task, such as  task done dressing"),
    Verb.TASK_PUT_OFF: _("which task, and to when, such as  put off dressing to tomorrow 10:00"),
    Verb.TASK_SKIPPED: _("which task, such as  skipped dressing"),
}


def _of_task(verb: Verb, rest: Sequence[str], plan: Plan) -> Said | None:
    """Read ``done dressing yesterday 14:00``; None where the words name no care task of the plan.

    What was done need be none of the plan's: it is kept as it was said.
    """
    named, when = _time_apart(rest, plan)
    text, verb_of_task = " ".join(named), OF_TASK[verb]
    plainly = verb is verb_of_task
    if plainly:
        _needed(text, TASK_USAGES[verb])
    flushed = re.search(r",? ?and flushed$", text, re.IGNORECASE)
    alone = text if flushed is None else text[: flushed.start()]
    fit, names = tasks_meant(alone, plan.tasks)
    lumen = ""
    if not names and (through := re.search(r" through (?:the )?(.+)$", alone, re.IGNORECASE)):
        fit, names = tasks_meant(alone[: through.start()], plan.tasks)
        lumen, alone = (_lumen(through[1], plan), alone[: through.start()]) if names else ("", alone)
    if names:
        other = Fit.NONE if plainly else _fit_of_others(alone, plan)
        if other < fit:
            return Said(verb=verb_of_task, name=alone, when=when, flushed=flushed is not None, lumen=lumen)
        if other == fit:
            raise NotUnderstoodError(
                _('"{text}" can mean a care task, and an order or a lumen. Say it with more words.').format(text=alone)
            )
    if verb is Verb.TASK_DONE:
        return Said(verb=verb, name=text, when=when)
    if plainly:
        known = ", ".join(task.label for task in plan.tasks.values()) or _("none")
        raise NotUnderstoodError(
            _('"{text}" names no care task of this plan. They are: {known}. The time goes last.').format(
                text=text, known=known
            )
        )
    return None


def _fit_of_others(text: str, plan: Plan) -> Fit:
    """Say how well a text fits the orders and lumens of a plan."""
    kept = " ".join(word for word in text.split() if word.casefold() not in FILLERS)
    called = [*_lumens(plan).values(), *((name, order.drug) for name, order in plan.orders.items())]
    words = [word.casefold() for pair in called for word in pair]
    wanted = kept.casefold()
    if not wanted or wanted in words:
        return Fit.EXACT if wanted else Fit.NONE
    return Fit.BEGINS if any(word.startswith(wanted) for word in words) else Fit.NONE


def _needed(value: str, what: str) -> str:
    if not value:
        raise NotUnderstoodError(_("Something is missing: say {what}.").format(what=what))
    return value


USAGES: Mapping[Verb, str] = {
    Verb.COUNTED: _("how many of what, such as  counted 12 saline syringe 10 mL"),
    Verb.DELIVERED: _("how many of what, such as  delivered 40 saline syringe 10 mL"),
}
"""What is said of so many of one item of supply."""


def _pieces(verb: Verb, rest: Sequence[str], plan: Plan) -> Said:
    """Read ``counted 12 saline syringe 10 mL``, perhaps with a time at the end; the item may end in a number too."""
    usage = USAGES[verb]
    if not rest or not re.fullmatch(r"[0-9]{1,6}", rest[0]):
        raise NotUnderstoodError(_("Something is missing: say {what}.").format(what=usage))
    words, when = list(rest[1:]), ""
    if plain(" ".join(words)) not in map(plain, named_items(plan)):
        named, time = split_time(words)
        if named and not time.isdecimal():
            words, when = named, time
    return Said(verb=verb, count=int(rest[0]), name=_needed(" ".join(words), usage), when=when)


PARTICULARS = re.compile(
    r"(?P<flushed>\band flushed\b)"
    r"|\bwith (?P<fluids>[^,]+?)(?= and flushed| through | for | after |$)"
    r"|\bthrough (?P<through>[^,]+?)(?= and flushed| with | for | after |$)"
    r"|\bfor (?P<sign>[^,]+?)(?= and flushed| through | with | after |$)"
    r"|\bafter (?P<volume>[0-9][0-9.]* ?[^\s0-9]+)",
    re.IGNORECASE,
)


def _with_particulars(found: Said, rest: Sequence[str], plan: Plan) -> Said:
    text = " ".join(rest)
    values: dict[str, Any] = {}
    for match in PARTICULARS.finditer(text):
        if match["flushed"]:
            values["flushed"] = True
        elif match["fluids"]:
            values["fluids"] = _fluids(match["fluids"], plan)
        elif match["through"]:
            line = match["through"].casefold() in ("the line", "this line", "line")
            values.update({"line_used": True} if line else {"lumen": _lumen(match["through"], plan)})
        elif match["sign"]:
            values["sign"] = _sign(match["sign"])
        elif match["volume"]:
            values["volume"] = match["volume"]
    named = [word for word in PARTICULARS.sub(" ", text).split() if word.casefold() not in FILLERS]
    if named:
        values.update(_name(" ".join(named), plan, found.verb))
    return replace(found, **values)


def _sign(text: str) -> Sign:
    sign = SIGNS.get(text.casefold().removeprefix("a ").strip())
    if sign is None:
        raise NotUnderstoodError(
            _('"{text}" is not one of the reasons that are known: {known}.').format(
                text=text, known=", ".join(sorted(SIGNS))
            )
        )
    return sign


def _fluids(text: str, plan: Plan) -> tuple[str, ...]:
    only = text.casefold().replace(" only", "").replace(" alone", "")
    parts = [part.strip() for part in re.split(r" and |, ?|\+", only) if part.strip()]
    return tuple(
        _one_of(part, {name: (name, fluid.label) for name, fluid in plan.fluids.items()}, _("fluid")) for part in parts
    )


def _lumen(text: str, plan: Plan) -> str:
    kept = " ".join(word for word in text.split() if word.casefold() not in FILLERS)
    return _one_of(kept, _lumens(plan), _("lumen"))


def _lumens(plan: Plan) -> dict[str, tuple[str, str]]:
    return {name: (name, lumen.label) for name, lumen in plan.lumens.items()}


def _name(text: str, plan: Plan, verb: Verb) -> dict[str, object]:
    """Find the order or the lumen, or both, that some words name."""
    if text.casefold() in ("everything", "all"):
        return {"everything": True}
    orders = {name: (name, order.drug) for name, order in plan.orders.items()}
    whole_lumen, whole_order = _matches(text, _lumens(plan)), _matches(text, orders)
    if len(whole_order) == 1 and not whole_lumen:
        return {"order": whole_order[0]}
    if len(whole_lumen) == 1 and not whole_order:
        return {"lumen": whole_lumen[0]}
    words = text.split()
    for cut in range(1, len(words)):
        head, tail = " ".join(words[:cut]), " ".join(words[cut:])
        for one, two in ((head, tail), (tail, head)):
            order, lumen = _matches(one, orders), _matches(two, _lumens(plan))
            if len(order) == len(lumen) == 1:
                return {"order": order[0], "lumen": lumen[0]}
    known = [f"{drug} ({name})" if drug.casefold() != name.casefold() else name for name, drug in orders.values()]
    known += [_("{label} lumen").format(label=label) for name, label in _lumens(plan).values()]
    problem = _('"{text}" names no order and no lumen of this plan, or more than one. They are: {known}.')
    tasks = [task.label for task in plan.tasks.values()] if verb in OF_TASK else []
    if tasks:
        problem = _(
            '"{text}" names no order, no lumen and no care task of this plan, or more than one. They are: {known}; {tasks}.'
        )
    problem = problem.format(text=text, known=", ".join(known), tasks="; ".join(tasks))
    raise NotUnderstoodError(_("{problem} The time goes last.").format(problem=problem))


def _one_of(text: str, known: Mapping[str, tuple[str, str]], what: str) -> str:
    found = _matches(text, known)
    if len(found) == 1:
        return found[0]
    raise NotUnderstoodError(
        _('"{text}" is no {what} of this plan. They are: {known}.').format(
            text=text, what=what, known=", ".join(called[1] for called in known.values())
        )
    )


def _matches(text: str, known: Mapping[str, Iterable[str]]) -> list[str]:
    """Return the names that a text means: by name or label, else by the beginning of one of them."""
    wanted = text.casefold()
    exact = [name for name, called in known.items() if wanted in (word.casefold() for word in called)]
    if exact:
        return exact
    return [name for name, called in known.items() if any(word.casefold().startswith(wanted) for word in called)]
