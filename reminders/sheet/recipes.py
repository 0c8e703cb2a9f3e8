"""The kinds of touch that occur in a week into their steps, each with its picture."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from reminders.plan.model import Plan
from reminders.plan.order import GivenAs, Order
from reminders.schedule.counts import items_of
from reminders.schedule.model import BLOCKS, Touch
from reminders.sheet.pictures import OF_ACTION, Picture
from reminders.step_words import step_words
from reminders.units import span
from reminders.words import (
    CATALOGUE,
    CHECK_FIRST,
    call_words,
    leader_words,
    lumen_words,
    note_words,
    nurse_only_line,
    prepare_words,
    what_words,
)

_ = CATALOGUE.gettext


@dataclass(frozen=True, slots=True)
class Recipe:
    """One kind of touch: what it is, in which lumens, what to lay out, its steps in order, what else there is to know."""

    heading: str
    lumens: tuple[str, ...]
    lay_out: str
    steps: tuple[tuple[Picture, str], ...]
    notes: tuple[str, ...]


def recipes_of(touches: Iterable[Touch], current: Plan) -> list[Recipe]:
    """Return the recipes of touches, in the order in which they first occur; those alike but for the lumen stand once,
    and so does the plan's own note of an order or a draw. What holds whenever it is begun stands wherever it is.

    ``current`` is the plan that says whom to call. What may not be done has no steps.
    """
    found: dict[tuple[object, ...], Recipe] = {}
    noted: dict[str, str] = {}  # each order and draw that has a note, and the kind of touch below which it stands
    for touch in touches:
        if not touch.steps or touch.outcome is not None or any(ask.why in BLOCKS for ask in touch.asks):
            continue
        recipe = _recipe(touch, current)
        notes = [note for what, note in _notes(touch) if noted.setdefault(what, recipe.heading) == recipe.heading]
        recipe = replace(recipe, notes=tuple(dict.fromkeys([*recipe.notes, *notes])))
        alike = (recipe.heading, recipe.lay_out, recipe.steps, recipe.notes)
        lumens = found[alike].lumens if alike in found else ()
        named = tuple(dict.fromkeys([*lumens, *recipe.lumens]))
        found[alike] = replace(recipe, lumens=named)
    return list(found.values())


def _recipe(touch: Touch, current: Plan) -> Recipe:
    plan = touch.plan
    what = what_words(touch, plan)
    heading, lumens = what[0].upper() + what[1:], (lumen_words(plan, touch.lumen),)
    if touch.nurse_only:
        return Recipe(heading, lumens, "", (), (nurse_only_line(current),))
    items = items_of(touch)
    steps = tuple((OF_ACTION[step.action], step_words(step, plan)) for step in touch.steps)
    orders = [plan.orders[dose.order] for dose in touch.starts]
    notes = tuple(dict.fromkeys(line for order in orders for line in _timing(order, plan)))
    lay_out = _("Lay out: {items}.").format(items=prepare_words(items)) if items else ""
    return Recipe(heading, lumens, lay_out, steps, notes)


def _notes(touch: Touch) -> Iterator[tuple[str, str]]:
    """Yield the notes that the plan holds of the orders and draws of a touch, each with what it is of."""
    if touch.nurse_only:
        return
    for name in dict.fromkeys(dose.order for dose in (*touch.starts, *touch.ends, *touch.bags)):
        if note := touch.plan.orders[name].note:
            yield f"order.{name}", note_words(note)
    for name in touch.tasks:
        if note := touch.plan.tasks[name].note:
            yield f"task.{name}", note_words(note)


def _timing(order: Order, plan: Plan) -> Iterator[str]:
    """Yield what holds for every dose of an order."""
    if order.follows is not None:
        yield leader_words(plan.orders[order.follows])
    by_hand = order.given_as is not GivenAs.PUMP  # what a pump gives from its reservoir starts by itself
    if by_hand and order.on_time_within is not None and order.cut_off is not None:
        yield _(
            "On time: up to {within} before or after. Not started {cut_off} after its time? Call before giving it."
        ).format(within=span(order.on_time_within), cut_off=span(order.cut_off))


def every_time(plan: Plan) -> list[tuple[Picture, str]]:
    """Return what holds for every syringe and every line that is connected, as far as the plan states it (R27)."""
    scrub, dry = plan.protocol.scrub_time, plan.protocol.dry_time
    return [
        (Picture.CHECK, CHECK_FIRST),
        (
            Picture.SCRUB,
            _("Scrub the hub for {time}, before every syringe and every line that you connect.").format(
                time=_seconds(scrub)
            )
            if scrub
            else _("Scrub the hub as you were taught, before every syringe and every line that you connect."),
        ),
        (
            Picture.DRY,
            _("Let it dry for {time}. Do not touch it again.").format(time=_seconds(dry))
            if dry
            else _("Let it dry as you were taught. Do not touch it again."),
        ),
        (
            Picture.CLAMP,
            _("Something is not right? Stop. Never force it. Close the clamp and call {now}.").format(
                now=call_words(plan.contacts["now"])
            ),
        ),
    ]


def _seconds(seconds: int) -> str:
    return _("{count} s").format(count=seconds)
