"""The plan by questions: section by section, table by table, key by key, into a draft."""

import re
from collections.abc import Callable, Collection, Sequence
from contextlib import suppress

from reminders.commands.asking import CLEAR, Answer, Asker, GoneBack, Question
from reminders.drafting.draft import Draft, DraftError
from reminders.drafting.entries import EntryField, fault_of
from reminders.drafting.groups import SECTIONS, Section, applies, asked_first, asked_more
from reminders.drafting.labels import THINGS
from reminders.drafting.look import Besides, Placed, look, nothing_besides
from reminders.drafting.shapes import SHAPES, Shape, begin, shape_of
from reminders.drafting.wording import SEVERITIES, Worded, home_of, worded
from reminders.findings import KeyPath
from reminders.plan.forms import Entry
from reminders.plan.items import alike
from reminders.plan.keys import LABEL, NAME, PUSHED
from reminders.plan.model import LISTED_TABLES, NAMED_TABLES, OPTIONAL_TABLES, TIERS
from reminders.times import Instant
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

NEEDED_TIERS = TIERS[:2]
SELF_EVIDENT = (Entry.CHOICE, Entry.LONG)
"""What needs no word on how it is written, unless that is asked."""

KNOWN_BEFORE = ("lumen", "fluid", "step")
"""Tables whose names are told at once when there is none such; orders and tasks may be named before they are written."""


class Interview:
    """Asks what a plan says, and puts the answers into its draft. ``keep`` is called whenever the draft has changed."""

    def __init__(
        self,
        draft: Draft,
        asker: Asker,
        now: Callable[[], Instant],
        keep: Callable[[], None],
        name: str = "the plan",
        besides: Besides = nothing_besides,
    ) -> None:
        """Take the draft; nothing is asked yet."""
        self.draft, self.asker, self._now, self._name = draft, asker, now, name
        self._besides = besides
        self._keep_draft = keep
        self.shapes: dict[str, str] = {}
        self._told: set[str] = set()
        self.given: Collection[KeyPath] = ()
        """Paths that a provider's file has answered; in the first round they are not asked."""

    def _keep(self) -> None:
        if not self.asker.replaying:
            self._keep_draft()

    # -- the rounds

    def all_sections(self) -> None:
        """Ask everything, section after section; ``<`` at the beginning of one goes back into the one before.

        Raises:
            click.Abort: the person stops.
        """
        done: list[tuple[str, list[Answer]]] = []
        start: Sequence[Answer] = ()
        self.asker.forget()
        while len(done) < len(SECTIONS):
            section = SECTIONS[len(done)]
            before = self.draft.text()
            try:
                self._round(lambda section=section: self._section(section, first_round=True), start)  # type: ignore[misc]
            except GoneBack:
                if done:
                    text, answers = done.pop()
                    self.draft.restore(text)
                    start = answers
                else:
                    self.asker.say(_("This is the first question."))
                    start = ()
                continue
            done.append((before, self.asker.answers))
            start = ()
            self.asker.begin()
            self.say_findings(section, SECTIONS[: len(done)])

    def one_section(self, section: Section) -> None:
        """Ask one section again; ``<`` at its beginning leaves it.

        Raises:
            click.Abort: the person stops.
        """
        self.asker.forget()
        with suppress(GoneBack):
            self._round(lambda: self._section(section, first_round=False))
        self.asker.begin()
        self.asker.forget()
        self.say_findings(section, SECTIONS)

    def _round(self, part: Callable[[], None], answers: Sequence[Answer] = ()) -> None:
        """Ask a part; to go back, its answers but the last are worked out again from its beginning.

        With ``answers`` it is gone back into.

        Raises:
            GoneBack: from the first question of the part.
        """
        text, shapes = self.draft.text(), dict(self.shapes)
        while True:
            self.asker.begin_back(answers)
            try:
                part()
            except GoneBack:
                self.draft.restore(text)
                self.shapes = dict(shapes)
                if not self.asker.answers:
                    raise
                answers = self.asker.answers
                continue
            return

    # -- sections and tables

    def _section(self, section: Section, *, first_round: bool) -> None:
        self.asker.say(f"\n== {section.title} ==")
        self.asker.say_wrapped(section.about)
        for table in section.tables:
            if table == "call":
                self._contacts(first_round=first_round)
            elif table in NAMED_TABLES:
                self._named(table, first_round=first_round)
            elif table in LISTED_TABLES:
                self._listed(table)
            else:
                self._table((table,), asked_first(table), asked_more(table), first_round=first_round)

    def _table(
        self,
        place: KeyPath,
        first: Sequence[EntryField],
        more: Sequence[EntryField],
        *,
        first_round: bool,
        shape: Shape | None = None,
    ) -> None:
        for entry in first:
            path = (*place, entry.key)
            given = first_round and path in self.given
            stated = shape is not None and entry.key in shape.states and self.draft.has(path)
            if not given and not stated and applies(self.draft, place, entry):
                self._field(path, entry, shape)
        about = [_("Few plans need them.")]
        thing = place[1] if len(place) > 1 else THINGS[place[0]]
        if more and self.asker.sure(_("More questions about {thing}?").format(thing=thing), about, key=".".join(place)):
            for entry in more:
                if applies(self.draft, place, entry):
                    self._field((*place, entry.key), entry)

    def _named(self, table: str, *, first_round: bool) -> None:
        thing = THINGS[table]
        while True:
            names = self.draft.names(table)
            typed = self.asker.ask(self._name_question(table, names))
            if typed in ("", CLEAR):
                return
            try:
                old, changed, name = (part.strip() for part in typed.partition("="))
                if typed.startswith(CLEAR):
                    self._removed(table, typed.removeprefix(CLEAR).strip())
                elif changed:
                    self._renamed(table, old, name)
                else:
                    self._one_named(table, typed, first_round=first_round)
            except DraftError as error:
                self.asker.say_wrapped(_("{thing}: {problem}").format(thing=thing, problem=error), "    ")

    def _removed(self, table: str, name: str) -> None:
        self.draft.remove((table, name))
        if table == "order":
            self.shapes.pop(name, None)
        self._keep()

    def _renamed(self, table: str, old: str, new: str) -> None:
        self.draft.rename(table, old, new)
        if table == "order" and old in self.shapes:
            self.shapes[new] = self.shapes.pop(old)
        self._keep()

    def _one_named(self, table: str, name: str, *, first_round: bool) -> None:
        place = (table, name)
        if table == "order":
            if not self.draft.has(place):
                shape = self._shape(name)
                begin(self.draft, name, shape)
                self.shapes[name] = shape.key
                self._keep()
            begun = self.shapes.get(name)
            shape = next((shape for shape in SHAPES if shape.key == begun), None) or shape_of(self.draft, name)
            self._table(place, shape.questions(), shape.more(), first_round=first_round, shape=shape)
            return
        if not self.draft.has(place):
            self.draft.add(table, name)
            self._keep()
        self._table(place, asked_first(table), asked_more(table), first_round=first_round)

    def _name_question(self, table: str, names: Sequence[str]) -> Question:
        thing = THINGS[table]
        asks = _("Another {thing}: its short name").format(thing=thing)
        if not names:
            asks = _("First {thing}: its short name").format(thing=thing)
        needed = not names and table not in OPTIONAL_TABLES
        about = [_("A name by which it is found again: letters, digits, - and _.")]
        if not needed:
            about.append(_("Enter alone: no more."))
        if names:
            about.append(_("So far: {names}. Type one of these to change it.").format(names=", ".join(names)))
        more = [
            _(
                '"- red" takes red out with all that it says. "red = rose" gives it another name; whatever names it follows.'
            )
        ]

        def check(typed: str) -> str:
            if typed.startswith(CLEAR) or "=" in typed:
                old = typed.removeprefix(CLEAR).partition("=")[0].strip()
                return "" if old in names else _('There is no "{name}" here.').format(name=old)
            if typed and NAME.fullmatch(typed) is None:
                if len(parts_of_list(typed)) > 1:
                    return _("One at a time: type the first name alone; the others are asked for after it.")
                return _("A short name has letters, digits, - and _ only, at most 40 of them; no blanks.")
            return ""

        return Question(asks=asks, key=table, about=about, more=more, check=check, needed=needed)

    def _shape(self, name: str) -> Shape:
        labels = [shape.label for shape in SHAPES]
        about = [
            _(
                "Nothing is filled in but what the words themselves say. The order says whether it goes by the clock or by an interval; ask if it does not."
            )
        ]
        more = [f"{shape.label}: {shape.about}" for shape in SHAPES]

        def check(typed: str) -> str:
            return "" if typed in labels else _("Type the number of one of these.")

        question = Question(
            asks=_("When is {name} given?").format(name=name), about=about, more=more, options=labels, check=check,
            needed=True,
        )  # fmt: skip
        while (typed := self.asker.ask(question)) == CLEAR:
            self.asker.say(_("Type the number of one of these."))
        return SHAPES[labels.index(typed)]

    def _contacts(self, *, first_round: bool) -> None:
        first, *rest = asked_first("call")
        for tier in TIERS:
            place = ("call", tier)
            if first_round and (*place, first.key) in self.given:
                continue
            title = _("Call: {tier}. {label}").format(tier=tier.replace("_", " "), label=first.label)
            self._field((*place, first.key), first, title=title, needed=tier in NEEDED_TIERS)
            if not self.draft.typed((*place, first.key)):
                if self.draft.has(place):
                    self.draft.remove(place)
                    self._keep()
                continue
            for entry in rest:
                self._field((*place, entry.key), entry)

    def _listed(self, table: str) -> None:
        for number in self.draft.names(table):
            self._table((table, number), asked_first(table), asked_more(table), first_round=False)
        while self.asker.sure(_("Add a {thing}?").format(thing=THINGS[table])):
            number = self.draft.add_listed(table)
            self._table((table, number), asked_first(table), asked_more(table), first_round=False)

    # -- one question

    def _field(
        self,
        path: KeyPath,
        entry: EntryField,
        shape: Shape | None = None,
        *,
        title: str = "",
        needed: bool | None = None,
    ) -> None:
        now = self.draft.typed(path)
        sources = [_("For orientation, not to copy: {sources}.").format(sources=entry.sources)] if entry.sources else []
        written = _("Written as: {hint}.").format(hint=entry.hint)
        about = [entry.meaning] if entry.meaning.rstrip(".") != (title or entry.label) else []
        evident = entry.options or entry.kind in SELF_EVIDENT or entry.form.shown == LABEL.shown
        about += sources if evident else [*sources, written]
        known = self.draft.choices(entry)
        if entry.many and known:
            about.append(_("There is: {names}.").format(names=", ".join(known)))
        more = [written]
        if entry.many:
            more.append(_("Put an entry that has a comma in it in quotation marks."))
        if entry.at_times:
            more.append(_("Some plans must state this; what it means says which."))
        question = Question(
            asks=title or entry.label,
            key=".".join(path),
            about=about,
            more=more,
            now=now,
            options=() if entry.many else known,
            check=lambda typed: self._problem(path, entry, typed, shape),
            needed=entry.needed if needed is None else needed,
        )
        typed = self.asker.ask(question)
        if not typed or (typed == CLEAR and not now):
            return
        try:
            self.draft.enter(path, "" if typed == CLEAR else typed)
        except DraftError as error:
            self.asker.say_wrapped(str(error), "    ")
        self._keep()

    def _problem(self, path: KeyPath, entry: EntryField, typed: str, shape: Shape | None) -> str:
        if not typed:
            return ""
        typed = self.draft.by_name(entry.form, typed)
        fault = fault_of(entry, typed, home_of(self.draft))
        if fault is not None:
            return _("{problem} Expected: {expected}.").format(problem=fault.problem, expected=fault.expected)
        if path[0] == "lumen" and entry.key == "label":
            labels = {name: self.draft.typed(("lumen", name, "label")) for name in self.draft.names("lumen")}
            for name, other in alike({**labels, path[1]: typed}):
                if path[1] in (name, other):
                    said = _('"{label}" is what the other lumen is called. Each needs a name of its own.')
                    return said.format(label=typed)
        if entry.key == "clock_times" and shape is not None and shape.times:
            count = len(typed.replace(",", " ").split())
            if count != shape.times:
                said = _("{shape} has {times} times of day, and here are {count}.")
                return said.format(shape=shape.label, times=shape.times, count=count)
        return self._unknown(entry, typed)

    def _unknown(self, entry: EntryField, typed: str) -> str:
        """Return what is wrong with names that nothing has, where such names are known by now."""
        known = [name for table in entry.names for name in self.draft.names(table)]
        if not known or not set(entry.names) <= set(KNOWN_BEFORE) or typed.lower() == "none":
            return ""
        for item in typed.split(",") if entry.many else [typed]:
            match = PUSHED.fullmatch(item.strip())
            if match and match.group(1) not in known:
                return _('There is no "{name}" so far. There is: {names}.').format(
                    name=match.group(1), names=", ".join(known)
                )
        return ""

    # -- findings

    def say_findings(self, section: Section, asked: Sequence[Section]) -> None:
        """Say what is found in a section, and what is new in others that were ``asked``; and how much else there is."""
        found, home = look(self.draft, self._now(), self._name).findings, home_of(self.draft)
        tables = {table for part in asked for table in part.tables}
        new, before, elsewhere = [], 0, 0
        for placed in found:
            words = said_of(placed, worded(self.draft, placed, home))
            if placed.path is not None and placed.path[0] not in tables:
                elsewhere += 1
            elif (placed.path is not None and placed.path[0] in section.tables) or words[0] not in self._told:
                new.append(words)
            else:
                before += 1
        self.asker.say("")
        if not new:
            self.asker.say(_("So far nothing is wrong here."))
        for words in new:
            self._say_words(words)
        if before:
            said = _("Said before and still there: {count}. When everything is asked, f shows all.")
            self.asker.say_wrapped(said.format(count=before))
        if elsewhere:
            self.asker.say_wrapped(
                _("{count} more are about what is asked later; most will be gone when that is answered.").format(
                    count=elsewhere
                )
            )

    def say_finding(self, placed: Placed) -> None:
        """Say one finding in a few lines."""
        self._say_words(said_of(placed, worded(self.draft, placed, home_of(self.draft))))

    def _say_words(self, words: tuple[str, str]) -> None:
        self._told.add(words[0])
        self.asker.say_wrapped(words[0])
        if words[1]:
            self.asker.say_wrapped(words[1], "    ")


def said_of(placed: Placed, words: Worded) -> tuple[str, str]:
    """Return the two parts in which a finding is said: what it is and where, and how it is mended."""
    where = _("{where}: ").format(where=words.where) if words.where else ""
    return f"{SEVERITIES[placed.finding.severity]}: {where}{words.text}", words.mend


def parts_of_list(typed: str) -> list[str]:
    """Part what may be several names in one line."""
    return [part for part in re.split(r"[,;/&]|\band\b", typed) if part.strip()]
