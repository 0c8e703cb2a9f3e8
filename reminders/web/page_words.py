"""Everything that can be said on the page in the words of the page, group by group, and what each needs to be told."""

from collections.abc import Mapping
from dataclasses import dataclass

from reminders.plan.model import LineKind, Plan
from reminders.record.facts import Sign
from reminders.saying.phrases import Verb
from reminders.schedule.whole_line import DRESSING_SIGNS
from reminders.words import CATALOGUE, sign_words

_ = CATALOGUE.gettext


@dataclass(frozen=True, slots=True, kw_only=True)
class Saying:
    """How one thing is said by a form: its words as a heading, what it asks for, and what must not be left out.

    ``asks`` are names of fields: ``order``, ``lumen``, ``when``, ``until``, ``volume``, ``sign``, ``fluids``, ``flushed``,
    ``line_used``, ``last_flush``, ``task``, ``item``, ``count``, ``said_by``.
    """

    words: str
    asks: tuple[str, ...]
    needs: tuple[str, ...] = ()
    hint: str = ""


SAYINGS: Mapping[Verb, Saying] = {
    Verb.STARTED: Saying(words=_("An infusion or injection was started or given"), asks=("order", "when", "lumen")),
    Verb.FINISHED: Saying(words=_("An infusion has finished"), asks=("order", "when", "flushed", "fluids")),
    Verb.STOPPED: Saying(
        words=_("An infusion was stopped early"),
        asks=("order", "when", "volume", "sign", "flushed"),
        hint=_("Pain, swelling, a leak, a reaction: stop, clamp, flush nothing, and call first. The record can wait."),
    ),
    Verb.INTERRUPTED: Saying(words=_("An infusion is interrupted"), asks=("order", "when", "sign")),
    Verb.RESUMED: Saying(words=_("An interrupted infusion runs again"), asks=("order", "when")),
    Verb.BAG_CHANGED: Saying(words=_("The bag or reservoir was changed"), asks=("order", "when")),
    Verb.DELAYED: Saying(words=_("A dose is put off to a later time"), asks=("order", "until"), needs=("until",)),
    Verb.NOT_GIVEN: Saying(words=_("A dose was not given"), asks=("order", "when")),
    Verb.SKIPPED: Saying(
        words=_("A clinician said to leave it out"),
        asks=("order", "lumen", "said_by"),
        needs=("said_by",),
        hint=_("If nobody said so, do not leave it out: call, and ask. A dose that was missed is said as not given."),
    ),
    Verb.ELSEWHERE: Saying(
        words=_("A dose was given elsewhere, such as in a clinic"), asks=("order", "when", "line_used", "flushed")
    ),
    Verb.FLUSHED: Saying(words=_("A lumen was flushed"), asks=("lumen", "when", "fluids")),
    Verb.DRAWN: Saying(words=_("Blood was drawn through a lumen"), asks=("lumen", "when", "flushed", "said_by")),
    Verb.OUT_OF_USE: Saying(words=_("A lumen is out of use"), asks=("lumen", "when", "said_by")),
    Verb.RELEASED: Saying(
        words=_("A clinician has released a lumen or an order"),
        asks=("lumen", "order", "when", "said_by"),
        needs=("said_by",),
    ),
    Verb.HELD: Saying(words=_("An order is held"), asks=("order", "when", "said_by")),
    Verb.NEEDLE_OUT: Saying(words=_("The port's needle was taken out"), asks=("when", "said_by")),
    Verb.NEEDLE_IN: Saying(words=_("A needle was put into the port"), asks=("when", "said_by")),
    Verb.HEPARIN_STOPPED: Saying(words=_("Heparin was stopped"), asks=("when", "said_by")),
    Verb.EXCHANGED: Saying(words=_("The line was exchanged"), asks=("when", "said_by")),
    Verb.REMOVED: Saying(words=_("The line was removed"), asks=("when", "said_by")),
    Verb.TASK_DONE: Saying(
        words=_("A task was done, such as the dressing"), asks=("task", "lumen", "when"), needs=("name",)
    ),
    Verb.TASK_PUT_OFF: Saying(
        words=_("A task is put off, or moved to another time"),
        asks=("task", "until", "said_by"),
        needs=("name", "until"),
    ),
    Verb.TASK_SKIPPED: Saying(
        words=_("A task is not done this time"),
        asks=("task", "said_by"),
        needs=("name",),
        hint=_(
            "Only this time is left out; the next one stays in the plan. If it is done at another time, put it off."
        ),
    ),
    Verb.COUNTED: Saying(words=_("Supplies were counted"), asks=("item", "count", "when"), needs=("name", "count")),
    Verb.DELIVERED: Saying(words=_("Supplies came"), asks=("item", "count", "when"), needs=("name", "count")),
    Verb.DONE: Saying(words=_("What is due was done"), asks=("order", "lumen", "when")),
    Verb.PROBLEM: Saying(words=_("Something is wrong"), asks=("sign", "lumen", "when"), needs=("sign",)),
}
"""Every verb but the one that puts a plan in use, which is no report."""

AWAY = Saying(words=_("In hospital: everything here is held"), asks=("when", "said_by"))
LINE_RELEASED = Saying(words=_("A clinician has released the whole line"), asks=("when", "said_by"), needs=("said_by",))
HOME = Saying(words=_("Home again: everything here goes on"), asks=("when", "last_flush", "said_by"))


def saying(verb: Verb, *, everything: bool = False, asked: bool = False) -> Saying:
    """Return how something is said; ``everything``: of the whole line and all orders; ``asked``: after asking somebody."""
    if everything and verb is Verb.HELD:
        return AWAY
    if everything and verb is Verb.RELEASED:
        return LINE_RELEASED if asked else HOME
    return SAYINGS[verb]


@dataclass(frozen=True, slots=True)
class Offered:
    """One thing that can be said: in words, and the fields of its form."""

    words: str
    verb: Verb
    fields: Mapping[str, str]


def _plain(*verbs: Verb) -> list[Offered]:
    return [Offered(SAYINGS[verb].words, verb, {}) for verb in verbs]


SIGNS = tuple(sign for sign in Sign if sign is not Sign.OTHER)
"""Signs with a meaning of their own, the gravest first."""

OTHER_SIGNS = (
    "short of breath",
    "chest pain",
    "faint",
    "chills",
    "bleeding",
    "line broken",
    "fever",
    *DRESSING_SIGNS,
)
"""What is recorded as something else, in the words in which it is said."""


def wrong(lumen: str = "") -> list[Offered]:
    """Return all that can be wrong, with the lumen if that is known; the emergencies first."""
    where = {"lumen": lumen} if lumen else {}
    found = [
        Offered(words[0].upper() + words[1:], Verb.PROBLEM, {"sign": Sign.OTHER.value, "note": words})
        for words in OTHER_SIGNS
    ]
    for sign in SIGNS:
        words = sign_words(sign)
        found.append(Offered(words[0].upper() + words[1:], Verb.PROBLEM, {"sign": sign.value, **where}))
    return [*found, Offered(_("Something else is wrong"), Verb.PROBLEM, {"sign": Sign.OTHER.value, **where})]


def others(plan: Plan) -> list[tuple[str, list[Offered]]]:
    """Return everything else that can have happened, in groups, each with its heading."""
    port = (Verb.NEEDLE_OUT, Verb.NEEDLE_IN) if plan.line.kind is LineKind.PORT else ()
    bags = (Verb.BAG_CHANGED,) if any(order.bag_every or order.bag_times for order in plan.orders.values()) else ()
    moved = (Verb.TASK_PUT_OFF, Verb.TASK_SKIPPED) if plan.tasks else ()
    away = [
        Offered(AWAY.words, Verb.HELD, {"everything": "yes"}),
        Offered(HOME.words, Verb.RELEASED, {"everything": "yes"}),
    ]
    return [
        (
            _("With a dose"),
            _plain(
                Verb.STARTED,
                Verb.FINISHED,
                Verb.STOPPED,
                Verb.INTERRUPTED,
                Verb.RESUMED,
                *bags,
                Verb.NOT_GIVEN,
                Verb.DELAYED,
                Verb.SKIPPED,
                Verb.ELSEWHERE,
            ),
        ),
        (_("With a lumen"), _plain(Verb.FLUSHED, Verb.DRAWN, Verb.OUT_OF_USE, Verb.RELEASED)),
        (
            _("With the line, or everything"),
            [*away, *_plain(Verb.HELD, *port, Verb.HEPARIN_STOPPED, Verb.EXCHANGED, Verb.REMOVED)],
        ),
        (_("In the household"), _plain(Verb.TASK_DONE, *moved, Verb.DELIVERED, Verb.COUNTED)),
    ]
