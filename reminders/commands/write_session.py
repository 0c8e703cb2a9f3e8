"""One sitting at the terminal at which a plan is written: what is offered, read back, saved, or kept as a draft."""

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import click

from reminders.commands.asking import CLEAR, COMMANDS, Asker, GoneBack, Question, wrapped
from reminders.commands.write_questions import Interview
from reminders.drafting.draft import Draft, DraftError
from reminders.drafting.entries import entry_of, fault_of
from reminders.drafting.groups import SECTIONS
from reminders.drafting.look import Look, look
from reminders.drafting.provider import fill_from
from reminders.files import FileError
from reminders.places import commands_after
from reminders.plan.model import Plan
from reminders.plan.read_back import check_letters
from reminders.read_back_words import read_back_text, read_back_words
from reminders.times import Instant
from reminders.views.findings_text import tally
from reminders.web.write_desk import ChangedError, WriteDesk
from reminders.web.write_keep import Drafts
from reminders.words import CATALOGUE, moment_words

_ = CATALOGUE.gettext

WAYS = {
    "a": _("ask everything, from the first section to the last"),
    "f": _("findings: what is wrong or unusual so far"),
    "d": _("the first days as they come out"),
    "r": _("read it back with a second person"),
    "s": _("save"),
    "q": _("stop, and keep the draft"),
}
"""What can be done besides answering a section's questions."""

NOW_WORD = "now"


class Session:
    """A draft with its questions. Whatever is typed is on the disk before the next question is asked."""

    def __init__(self, desk: WriteDesk, drafts: Drafts, now: Callable[[], Instant]) -> None:
        """Sit down with a plan that was opened; ``now`` is asked whenever it is needed."""
        self._desk, self._drafts, self._now = desk, drafts, now
        self._asker = Asker()
        self._interview = Interview(desk.draft, self._asker, now, self._keep, desk.name, desk.besides)
        self._begun_with = desk.draft.text()

    @property
    def _draft(self) -> Draft:
        return self._desk.draft

    def run(self, protocol: str | None, protocol_name: str) -> bool:
        """Ask until the plan is saved or the person is done; return whether they came so far, and were not interrupted.

        ``protocol`` is the text of a provider's file that fills the provider's part first.

        Raises:
            ProviderError: that file cannot be taken; nothing was asked.
        """
        try:
            resumed = self._resumed()
            if protocol is not None:
                self._filled(protocol, protocol_name)
            if self._desk.fresh and not resumed:
                self._first_round()
            while not self._way():
                pass
            return True
        except (click.Abort, KeyboardInterrupt):
            click.echo("")
            self._stop()
            return False

    # -- beginning

    def _resumed(self) -> bool:
        """Offer a draft that is kept; say whether it is gone on with."""
        offered = self._desk.offered
        if offered is None:
            return False
        when = datetime.fromtimestamp(offered.at).astimezone()
        asks = _("A draft of {name} is kept from {when}. Go on with it?")
        about = [_("No leaves the draft aside, where it is kept, and begins without it.")]
        if not self._sure(asks.format(name=self._desk.name, when=moment_words(when)), about):
            try:
                aside = self._desk.begin_anew()
            except OSError as error:
                self._say(_("The draft cannot be put aside: {why}.").format(why=error.strerror))
            else:
                if aside is not None:
                    self._say(_('The draft is left aside, and lies in "{place}".').format(place=aside))
            return False
        self._desk.resume()
        self._interview.shapes.update(self._desk.shapes)
        for name, refused in self._desk.beside.items():
            said = _('Typed before, and not in the plan: {name}: "{typed}". {problem}')
            self._say(said.format(name=name, typed=refused.typed, problem=refused.problem))
        if self._desk.changed_on_disk():
            said = _("{name} was changed by somebody else since this draft was begun. It will not be written over.")
            self._say(said.format(name=self._desk.name))
        return True

    def _filled(self, protocol: str, name: str) -> None:
        filled = fill_from(self._draft, protocol, name)
        self._interview.given = {*filled.copied, *filled.same}
        self._keep()
        self._say(
            _("{name}: {copied} answers were copied, {same} stood in the plan already.").format(
                name=name, copied=len(filled.copied), same=len(filled.same)
            )
        )
        taken = []
        for differs in filled.differs:
            asks = _('{where}: the plan says "{here}", {name} says "{theirs}". Take that of {name}?').format(
                where=".".join(differs.path), here=differs.here, theirs=differs.theirs, name=name
            )
            if self._sure(asks):
                taken.append(differs.path)
        if taken:
            fill_from(self._draft, protocol, name, replace=taken)
            self._keep()

    def _first_round(self) -> None:
        self._say(
            _(
                "Writing a new plan. Nothing is filled in: the answers stand in the orders and in the provider's protocol."
            )
        )
        self._say(COMMANDS)
        self._interview.all_sections()
        if self._look().plan is not None:
            self._read_back()

    # -- the ways to go on

    def _way(self) -> bool:
        """Ask what is to be done, and do it; return whether that was the last of it."""
        found = [placed.path[0] for placed in self._look().findings if placed.path]
        titles = []
        for section in SECTIONS:
            count = sum(table in section.tables for table in found)
            titles.append(
                _("{title} (findings: {count})").format(title=section.title, count=count) if count else section.title
            )
        about = [
            _("A number: ask that section. Or a letter:"),
            *(f"{letter}   {said}" for letter, said in WAYS.items()),
        ]

        def check(typed: str) -> str:
            known = typed in titles or typed.lower() in WAYS
            return "" if known else _("Type a number or a letter of these.")

        self._asker.begin()
        try:
            typed = self._asker.ask(Question(asks=_("What is to be done?"), about=about, options=titles, check=check))
        except GoneBack:
            return False
        if typed in titles:
            self._interview.one_section(SECTIONS[titles.index(typed)])
            return False
        return self._done(typed.lower())

    def _done(self, letter: str) -> bool:
        if letter == "a":
            self._interview.all_sections()
        elif letter == "f":
            self._findings()
        elif letter == "d":
            self._days()
        elif letter == "r":
            self._read_back()
        elif letter == "s":
            return self._save()
        elif letter == "q":
            self._stop()
            return True
        return False

    def _findings(self) -> None:
        found = self._look().findings
        click.echo("")
        for placed in found:
            self._interview.say_finding(placed)
        click.echo(f"{self._desk.name}: {tally([placed.finding for placed in found])}.")

    def _days(self) -> None:
        found = self._look()
        if found.schedule is None:
            self._say(_("Nothing can be worked out until the errors are mended; see  f ."))
            return
        from reminders.views.agenda import agenda, plain

        first = found.schedule.plan.clock.local(found.schedule.start).date()
        click.echo("")
        click.echo(
            agenda(found.schedule, first, first + timedelta(days=1), self._now(), steps=False, paint=plain), nl=False
        )

    # -- reading back

    def _read_back(self) -> None:
        plan = self._look().plan
        if plan is None:
            self._say(_("It can be read back when its errors are mended; see  f ."))
            return
        click.echo("\n" + read_back_text(plan))
        self._asker.begin()
        try:
            self._who(plan)
        except GoneBack:
            return

    def _who(self, plan: Plan) -> None:
        by = entry_of("read_back", "by")
        at = entry_of("read_back", "at")
        assert by is not None and at is not None, "both are keys of the plan"
        home = plan.course.zone

        def fault(typed: str) -> str:
            found = fault_of(by, typed, home) if typed else None
            return f"{found.problem} {found.expected}" if found else ""

        def moment_fault(typed: str) -> str:
            found = fault_of(at, typed, home) if typed.lower() != NOW_WORD else None
            return (
                _("{problem} Expected: {expected}.").format(problem=found.problem, expected=found.expected)
                if found
                else ""
            )

        who = self._asker.ask(
            Question(
                asks=_("Who has read it back?"),
                about=[_("The second person, who did not write it. Enter alone: nobody yet.")],
                check=fault,
            )
        )
        if who in ("", CLEAR):
            return
        said = self._asker.ask(
            Question(asks=_("When?"), about=[_('Such as 2026-10-12 08:30, or "now".')], check=moment_fault, needed=True)
        )
        if said == CLEAR:
            return
        when = f"{plan.clock.local(self._now()):%Y-%m-%d %H:%M}" if said.lower() == NOW_WORD else said
        try:
            self._draft.enter(("read_back", "by"), who)
            self._draft.enter(("read_back", "at"), when)
            self._draft.enter(("read_back", "check"), check_letters(plan))
        except DraftError as error:
            self._say(str(error))
            return
        self._keep()
        fresh = self._look().plan
        if fresh is not None:
            self._say(read_back_words(fresh))

    # -- saving and stopping

    def _save(self) -> bool:
        found = self._look()
        if found.plan is None:
            said = _("Nothing can be made of it until it is mended: {tally}. It is kept as a draft until then.")
            self._say(said.format(tally=tally([placed.finding for placed in found.findings])))
            self._keep()
            return False
        try:
            path = self._desk.path or self._file_name()
            while path is not None:
                try:
                    self._desk.save(path, replaces=self._desk.opened if path == self._desk.path else "")
                except ChangedError:
                    said = _('"{path}" was changed or made by somebody else meanwhile. Nothing was written over it.')
                    self._say(said.format(path=path))
                    path = self._file_name()
                except FileError as error:
                    self._say(str(error))
                    return False
                else:
                    self._saved(path, found)
                    return True
        except GoneBack:
            pass
        return False

    def _file_name(self) -> Path | None:
        """Ask for a file that is not there yet; None for not saving now."""

        def check(typed: str) -> str:
            if not typed:
                return ""
            try:
                there = _with_ending(typed).exists()
            except (OSError, ValueError):
                return _("No file can be called that.")
            return _("There is such a file already. Take another name.") if there else ""

        self._asker.begin()
        typed = self._asker.ask(
            Question(
                asks=_("In which file?"),
                about=[
                    _("A name such as plan.toml, with its folder if it is another than this one. Enter alone: not now.")
                ],
                check=check,
            )
        )
        return None if typed in ("", CLEAR) else _with_ending(typed).absolute()

    def _saved(self, path: Path, found: Look) -> None:
        click.echo(_('Saved in "{path}".').format(path=path))
        if self._desk.trouble:
            self._say(self._desk.trouble)
        assert found.plan is not None, "what has errors is kept as a draft"
        self._say(read_back_words(found.plan))
        if not self._desk.fresh:
            said = _(
                "This is revision {number}. If that number is in use already, raise it, and say from when on the new one holds."
            )
            self._say(said.format(number=found.plan.course.revision))
        click.echo(_("What can be typed next:"))
        for command in commands_after(path):
            click.echo(f"  {command}")

    def _stop(self) -> None:
        """Say where the draft is kept, or show it where it cannot be; one that is still offered stays as it is."""
        if self._desk.offered is not None:
            click.echo(_("Nothing was changed; the draft is still kept."))
            return
        if self._draft.text() == self._begun_with and not self._desk.draft_kept():
            click.echo(_("Nothing was changed."))
            return
        self._keep()
        if self._desk.trouble:
            click.echo(_("Here is what was typed, so that it can be copied:") + "\n\n" + self._draft.text())
            return
        place = self._drafts.place(self._desk.path)
        self._say(
            _('Nothing was saved. The draft is kept in "{place}"; the same command goes on with it.').format(
                place=place
            )
        )

    def _keep(self) -> None:
        before = self._desk.trouble
        self._desk.shapes = dict(self._interview.shapes)
        self._desk.keep()
        if self._desk.trouble and self._desk.trouble != before:
            self._say(self._desk.trouble)

    def _look(self) -> Look:
        return look(self._draft, self._now(), self._desk.name, self._desk.besides)

    def _sure(self, asks: str, about: Sequence[str] = ()) -> bool:
        """Ask until there is a clear yes or no: there is nothing to go back to."""
        while True:
            self._asker.begin()
            try:
                return self._asker.clear(asks, about)
            except GoneBack:
                self._say(_("This is the first question."))

    def _say(self, text: str) -> None:
        click.echo(wrapped(text))


def _with_ending(typed: str) -> Path:
    path = Path(typed).expanduser()
    return path if path.suffix else path.with_suffix(".toml")
