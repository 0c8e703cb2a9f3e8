"""Questions and tables of a draft into what the page shows of them: fields, their words, what they hold, what is found.

Nothing is filled in: a field holds what the draft states, or what was typed and could not be put into it.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from reminders.drafting.entries import NO, YES, EntryField
from reminders.drafting.groups import SECTIONS, Section, applies, asked_first, asked_more
from reminders.drafting.wording import NAMED_BY, TABLE_WORDS, legend, where_words
from reminders.findings import KeyPath
from reminders.plan.care import TaskKind
from reminders.plan.forms import Entry
from reminders.plan.model import LISTED_TABLES, NAMED_TABLES, OPTIONAL_TABLES, TIERS, FluidKind
from reminders.web.write_desk import WriteDesk
from reminders.web.write_findings import Findings, Said
from reminders.web.write_form import field_name, ticked
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

Option: TypeAlias = tuple[str, str]
"""A value and the words for it."""

EXAMPLE = re.compile(r"such as ([^;]*)")
SMALL = set(
    "a an and i it its of on one or that the thi to wa what when where which who how much many be being by in".split()
)
"""Words that say nothing by themselves, as :func:`_words` leaves them."""

PICKED = {
    Entry.DATE: re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}"),
    Entry.MOMENT: re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2} [0-9]{2}:[0-9]{2}"),
    Entry.CLOCK_TIME: re.compile(r"[0-9]{2}:[0-9]{2}"),
}
"""What a browser's own fields for dates and times can hold; anything else is shown as text, so that it is seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldView:
    """One question as a field. ``kind`` is the macro that draws it; ``suggests`` the list of words that are offered beside it.

    ``wanting``: it must be answered and is not. ``said``: what is found at it. ``aside``: it makes no sense after what else is
    answered, so it is not shown.
    """

    mark: str
    kind: str
    label: str
    hint: str
    published: str
    value: str
    options: Sequence[Option]
    chosen: Sequence[str]
    suggests: str
    rows: int
    needed: bool
    wanting: bool
    said: Sequence[Said]
    aside: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One table as a group of fields: those that nearly every plan answers, and the others. ``removes``: the button that takes it
    out says so. ``named``: the field of its name, if it has one. ``open``: something stands among the others."""

    mark: str
    table: str
    legend: str
    about: str
    first: Sequence[FieldView]
    more: Sequence[FieldView]
    open: bool
    said: Sequence[Said]
    removes: str
    named: FieldView | None

    @property
    def wanting(self) -> int:
        """Return how many of its questions must be answered and are not."""
        return sum(one.wanting for one in (*self.first, *self.more))


@dataclass(frozen=True, slots=True, kw_only=True)
class Adder:
    """How a table is begun: the field in which it is named, if it is, and its buttons."""

    table: str
    label: str
    hint: str
    suggests: str
    buttons: Sequence[Option]


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionView:
    """Some tables that belong together, with the ways to begin more of them."""

    key: str
    title: str
    about: str
    said: Sequence[Said]
    parts: Sequence[tuple[Sequence[Block], Adder | None]]

    @property
    def blocks(self) -> list[Block]:
        """Return its groups of fields."""
        return [block for blocks, _adder in self.parts for block in blocks]

    @property
    def open_count(self) -> int:
        """Return how much is missing or wrong in it."""
        fields = [one for block in self.blocks for one in (*block.first, *block.more)]
        wrong = [said for one in fields if not one.wanting for said in one.said]
        wrong += [*self.said, *(said for block in self.blocks for said in block.said)]
        return sum(one.wanting for one in fields) + sum(said.stops for said in wrong)


def sections(desk: WriteDesk, found: Findings) -> list[SectionView]:
    """Return everything that is asked, in the order in which it is."""
    return [_section(desk, found, section) for section in SECTIONS]


def _section(desk: WriteDesk, found: Findings, section: Section) -> SectionView:
    parts = []
    for table in section.tables:
        places = _places(desk, table)
        parts.append(([_block(desk, found, place) for place in places], _adder(table)))
    absent = [(table,) for table in section.tables if table in NAMED_TABLES | LISTED_TABLES]
    return SectionView(
        key=section.key,
        title=section.title,
        about=section.about,
        said=[said for place in absent for said in found.at(place)],
        parts=parts,
    )


def _places(desk: WriteDesk, table: str) -> list[KeyPath]:
    if table == "call":
        others = [name for name in desk.draft.names(table) if name not in TIERS]
        return [(table, name) for name in (*TIERS, *others)]
    if table in NAMED_TABLES | LISTED_TABLES:
        return [(table, name) for name in desk.draft.names(table)]
    return [(table,)]


def _block(desk: WriteDesk, found: Findings, place: KeyPath) -> Block:
    table, about = place[0], ""
    first, more = asked_first(table), asked_more(table)
    if table == "order":
        shape = desk.shape(place[1])
        about = f"{shape.label}. {shape.about}"
        stated = {entry.key for entry in (*shape.questions(), *shape.more())}
        first = (*shape.questions(), *(entry for entry in (*first, *more) if entry.key not in stated))
        more = shape.more()
    fields = [_field(desk, found, place, entry) for entry in first]
    others = [_field(desk, found, place, entry) for entry in more]
    removable = len(place) > 1 and table != "call"
    named = table in NAMED_TABLES and table != "call"
    return Block(
        mark=field_name(place),
        table=table,
        legend=legend(desk.draft, place),
        about=about,
        first=fields,
        more=others,
        open=any(one.value or one.chosen or one.said for one in others),
        said=[one for one in found.at(place) if not one.missing],  # its questions say that they want an answer
        removes=_("Take out: {what}").format(what=legend(desk.draft, place)) if removable else "",
        named=_named(desk, place) if named else None,
    )


def _named(desk: WriteDesk, place: KeyPath) -> FieldView:
    mark = f"name:{field_name(place)}"
    refused = desk.beside.get(mark)
    return FieldView(
        mark=mark,
        kind="line",
        label=_("Short name"),
        hint=_("By which other questions and commands call it: letters, digits and hyphens."),
        published="",
        value=refused.typed if refused else place[1],
        options=(),
        chosen=(),
        suggests="",
        rows=1,
        needed=False,
        wanting=False,
        said=[Said.fault(refused.problem, mark, where_words(desk.draft, place))] if refused else [],
    )


def _field(desk: WriteDesk, found: Findings, place: KeyPath, entry: EntryField) -> FieldView:
    path = (*place, entry.key)
    mark = field_name(path)
    refused = desk.beside.get(mark)
    value = refused.typed if refused else desk.draft.typed(path)
    said = [*([Said.fault(refused.problem, mark, where_words(desk.draft, path))] if refused else []), *found.at(path)]
    stands = (place[0] not in OPTIONAL_TABLES and place[0] != "call") or desk.draft.has(place)
    wanting = not value and ((entry.needed and stands) or found.wants(path))
    kind = _kind(entry, value)
    return FieldView(
        mark=mark,
        kind=kind,
        label=entry.label,
        hint=_hint(entry, kind),
        published=entry.sources[:1].upper() + entry.sources[1:],
        value=value.replace(" ", "T") if kind == "datetime-local" else value,
        options=_options(desk, entry, value),
        chosen=value.splitlines() if kind == "ticks" else (),
        suggests=_suggests(entry),
        rows=max(1, len(value.splitlines())) if kind == "lines" else 1,
        needed=entry.needed,
        wanting=wanting,
        said=[one for one in said if not (wanting and one.missing)],
        aside=not (value or wanting or said or applies(desk.draft, place, entry)),
    )


def _kind(entry: EntryField, value: str) -> str:
    if ticked(entry):
        return "ticks"
    if entry.many or entry.kind is Entry.LONG:
        return "lines"
    if entry.kind is Entry.YES_NO:
        return "yes-no" if value in ("", YES, NO) else "line"
    if entry.options or entry.names:
        return "choice"
    if entry.kind in PICKED and (not value or PICKED[entry.kind].fullmatch(value)):
        return {Entry.DATE: "date", Entry.MOMENT: "datetime-local", Entry.CLOCK_TIME: "time"}[entry.kind]
    return "number" if entry.kind is Entry.NUMBER else "line"


def _hint(entry: EntryField, kind: str) -> str:
    """Return what a question means, where its label does not say as much, and how it is typed, where it is."""
    meaning = entry.meaning if _words(entry.meaning) - _words(entry.label) else ""
    how = _how(entry) if kind in ("line", "lines", "number") else ""
    return f"{meaning} {how}".strip()


def _how(entry: EntryField) -> str:
    """Return in a few words how an answer is typed."""
    example = EXAMPLE.search(entry.hint)
    such = _("Such as {example}.").format(example=example[1]) if example else ""
    if entry.kind is Entry.LIST:
        between = _("One on each line, or commas between.")
        none = _("Write none if there are none.") if entry.may_say_none and entry.needed else ""
        return " ".join(filter(None, (between, such, none)))
    if entry.kind is Entry.COUNTS:
        return _("One on each line: hub scrub = 1")
    return such


def _words(text: str) -> set[str]:
    """Return the words of a text that say something, in their bare forms."""
    return {word.rstrip("s") for word in re.findall(r"[a-z]+", text.lower())} - SMALL


def _options(desk: WriteDesk, entry: EntryField, value: str) -> list[Option]:
    """Return what can be chosen, and besides what stands there and is not among it."""
    if entry.kind is Entry.YES_NO:
        shown = [(YES, _("yes")), (NO, _("no"))]
        return shown if entry.needed else [*shown, ("", _("not stated"))]
    words = list(desk.draft.choices(entry)) if entry.options or entry.names else []
    known = [(word, _called(desk, entry, word)) for word in words]
    strange = [one for one in value.splitlines() if one not in words] if words or entry.names else []
    return [*known, *((one, _("{word} (not known here)").format(word=one)) for one in strange)]


def _called(desk: WriteDesk, entry: EntryField, word: str) -> str:
    """Return the words for a name: what people call it, too, where that is something else."""
    for table in entry.names:
        if word in desk.draft.names(table) and table in NAMED_BY:
            called = desk.draft.typed((table, word, NAMED_BY[table]))
            return f"{word} ({called})" if called and called != word else word
    return word


def _suggests(entry: EntryField) -> str:
    if (entry.table, entry.key) in (("fluid", "syringe"), ("stock", "item")):
        return "items"
    return "zones" if entry.key == "zone" else ""


def _adder(table: str) -> Adder | None:
    """Return how one more table of a kind is begun; None where there is only one, or they are all there."""
    kind = TABLE_WORDS.get(table, table)
    buttons: Sequence[Option] = []
    label, hint, suggests = "", "", ""
    match table:
        case "lumen":
            label, hint = _("More lumens"), _("What their owner sees on them, with commas between: red, purple")
            buttons = [(f"add:{table}", _("Add lumens"))]
        case "fluid":
            buttons = [(f"add:fluid:{word.value}", _("Add {kind}").format(kind=word.value)) for word in FluidKind]
        case "step":
            label, hint = _("A step of the provider's own"), _("What to do, in a few words")
            buttons = [(f"add:{table}", _("Add the step"))]
        case "order":
            label, hint = _("One more order"), _("The drug, as the label spells it; then press how it is given")
        case "task":
            label, hint = _("One more care task"), _("What to do, in a few words; then press what it is")
            buttons = [(f"add:task:{word.value}", word.value[0].upper() + word.value[1:]) for word in TaskKind]
        case "stock":
            label, hint, suggests = _("Items in stock"), _("As steps and syringes name them, with commas"), "items"
            buttons = [(f"add:{table}", _("Add items"))]
        case "zone_change":
            buttons = [(f"add:{table}", _("Add a journey, or one more leg of it"))]
        case _:
            return None
    return Adder(table=table, label=label or kind, hint=hint, suggests=suggests, buttons=buttons)


def wanted(views: Iterable[SectionView]) -> list[tuple[str, list[FieldView]]]:
    """Return what must be answered and is not, by the group of fields in which it stands."""
    return [
        (block.legend, [one for one in (*block.first, *block.more) if one.wanting])
        for view in views
        for block in view.blocks
        if block.wanting
    ]
