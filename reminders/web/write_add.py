"""What is begun from the form, into tables of the draft: lumens, fluids, steps, orders, care tasks, items, journeys.

What is typed beside the button is what people call it. The table's short name is made of that, and nothing else is stated but
what the button says.
"""

from reminders.drafting.draft import name_for
from reminders.drafting.entries import entry_of, fault_of
from reminders.drafting.shapes import SHAPES, begin
from reminders.findings import KeyPath
from reminders.plan.care import TaskKind
from reminders.plan.items import plain
from reminders.plan.model import FluidKind
from reminders.web.write_desk import WriteDesk
from reminders.web.write_form import MOST_LETTERS, parts_of
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

CALLED = {"lumen": "label", "step": "label", "stock": "item"}
"""Tables that are begun by what people call them alone, and the key that says it."""

MOST_TABLES = 60
"""So many tables of a kind; more are a slip."""


TOO_MANY = _("These are more than a plan has. Nothing was added.")


class AddError(ValueError):
    """What is to be begun cannot be; the text says what is missing."""


def added(desk: WriteDesk, table: str, kind: tuple[str, ...], text: str) -> KeyPath:
    """Begin a table, or several; return the path of the first. ``kind`` is what the button says besides, ``text`` what was typed.

    Raises:
        AddError: something is missing, or there are too many.
        DraftError: the file is written in a way that does not let one be added.
    """
    called = " ".join(text.split())
    if len(text) > MOST_LETTERS or len(desk.draft.names(table)) >= MOST_TABLES:
        raise AddError(TOO_MANY)
    match (table, kind):
        case ("lumen" | "step" | "stock", ()):
            return _called(desk, table, text)
        case ("fluid", (word,)) if word in {one.value for one in FluidKind}:
            place = _named(desk, "fluid", word)
            desk.draft.enter((*place, "kind"), word)
            return place
        case ("task", (word,)) if word in {one.value for one in TaskKind}:
            place = _named(desk, "task", called or word)
            desk.draft.enter((*place, "kind"), word)
            if called:
                desk.draft.enter((*place, "label"), called)
            return place
        case ("order", (key,)) if shape := next((one for one in SHAPES if one.key == key), None):
            if not called:
                raise AddError(_("Write which drug it is, then press how it is given."))
            name = name_for(called, desk.draft.names("order"))
            begin(desk.draft, name, shape)
            desk.draft.enter(("order", name, "drug"), called)
            desk.shapes[name] = shape.key
            return ("order", name)
        case ("zone_change", ()):
            return (table, desk.draft.add_listed(table))
    raise AddError(_("That cannot be added here."))


def _called(desk: WriteDesk, table: str, text: str) -> KeyPath:
    words = [" ".join(text.split())] if table == "step" and text.strip() else parts_of(text)
    if not words:
        raise AddError(_("Write what it is called, then press the button."))
    if len(words) > MOST_TABLES:
        raise AddError(TOO_MANY)
    _each_its_own(desk, table, words)
    places = []
    for called in words:
        place = _named(desk, table, called)
        desk.draft.enter((*place, CALLED[table]), called)
        places.append(place)
    return places[0]


def _each_its_own(desk: WriteDesk, table: str, words: list[str]) -> None:
    """Refuse what cannot be a name, and for lumens and items a name that another has, in the draft or beside it."""
    key = CALLED[table]
    entry = entry_of(table, key)
    for called in words:
        fault = fault_of(entry, called, None) if entry else None
        if fault is not None:
            raise AddError(_("{problem} Nothing was added.").format(problem=fault.problem))
    if table == "step":
        return
    taken = {plain(desk.draft.typed((table, name, key))) for name in desk.draft.names(table)}
    for called in words:
        if plain(called) in taken:
            said = _(
                '"{name}" is there twice. Each must be called by what tells it from the others. Nothing was added.'
            )
            raise AddError(said.format(name=called))
        taken.add(plain(called))


def _named(desk: WriteDesk, table: str, called: str) -> KeyPath:
    """Begin a table of its own under a short name that is free: fluids and steps share theirs, as lists name both."""
    shared = ("fluid", "step") if table in ("fluid", "step") else (table,)
    name = name_for(called, [name for one in shared for name in desk.draft.names(one)])
    desk.draft.add(table, name)
    return (table, name)
