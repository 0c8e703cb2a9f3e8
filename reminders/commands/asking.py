"""Questions in a terminal: asked one by one, answered wrongly and asked again, explained, and gone back from.

To go back, everything since the beginning of a part is worked out again from the answers that were given, less the last
one; so nothing needs to know how to undo itself. That one is not forgotten: it stands as the answer of now when its question
is asked again.
"""

import textwrap
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import click

from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

HELP, BACK, CLEAR = "?", "<", "-"
WIDTH = 100

COMMANDS = _(
    "?  explains a question.   <  goes back one.   -  takes an answer out.   Enter alone leaves a question as it is, or out. "
    "Ctrl+C stops at any time; what you have typed is kept."
)


class GoneBack(Exception):  # noqa: N818 - nothing is wrong
    """The person wants to go back to the question before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question.

    ``asks`` is its title; ``about`` the sentences below it, ``more`` what ``?`` tells besides. ``now``: the answer as it stands.
    ``options`` can be answered by their number too. ``check`` returns what is wrong with an answer, or nothing.
    ``needed``: without an answer it is asked again, but may be left open. ``key`` tells it from others that ask in the same words.
    """

    asks: str
    key: str = ""
    about: Sequence[str] = ()
    more: Sequence[str] = ()
    now: str = ""
    options: Sequence[str] = ()
    check: Callable[[str], str] = lambda typed: ""
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """What was answered to one question, told by its key and its words."""

    question: tuple[str, str]
    typed: str


class Asker:
    """Asks in the terminal, and remembers what was answered since the beginning of a part."""

    def __init__(self) -> None:
        """Begin with nothing answered."""
        self.answers: list[Answer] = []
        self._again: list[Answer] = []
        self._ahead: list[Answer] = []

    @property
    def replaying(self) -> bool:
        """Say whether answers that were given before are being worked out again; then nothing is shown."""
        return bool(self._again)

    def begin(self, answers: Sequence[Answer] = ()) -> None:
        """Begin a part, with answers that were given before and are worked out again."""
        self.answers, self._again = [], list(answers)

    def begin_back(self, answers: Sequence[Answer]) -> None:
        """Begin a part so that the last of these answers is asked for again, and stands as the answer of now."""
        self._ahead += answers[-1:]
        self.begin(answers[:-1])

    def forget(self) -> None:
        """Forget what was answered before somebody went back."""
        self._ahead = []

    def say(self, text: str = "") -> None:
        """Show some text, unless it was shown before."""
        if not self.replaying:
            click.echo(text)

    def say_wrapped(self, text: str, indent: str = "") -> None:
        """Show running text in lines that can be read."""
        self.say(wrapped(text, indent))

    def ask(self, question: Question) -> str:
        """Return the answer to a question: empty for none, :data:`CLEAR` to take out what stands.

        Raises:
            GoneBack: the person wants to go back.
            click.Abort: the input has ended, or the person stops.
        """
        asked = (question.key, question.asks)
        if self._again:
            typed = self._again.pop(0).typed
        else:
            if self._ahead and self._ahead[-1].question != asked:
                self._ahead = []  # something else is asked now
            typed = self._asked(question, self._ahead[-1].typed if self._ahead else "")
            self._ahead = self._ahead[:-1]
        self.answers.append(Answer(asked, typed))
        return typed

    def sure(self, asks: str, about: Sequence[str] = (), *, key: str = "") -> bool:
        """Ask a question that is answered with yes or no; nothing means no.

        Raises:
            GoneBack, click.Abort: as for :meth:`ask`.
        """
        words = {**SAYS, "": False, CLEAR: False}
        return words[self.ask(_yes_or_no(asks, about, words, key)).lower()]

    def clear(self, asks: str, about: Sequence[str] = ()) -> bool:
        """Ask a question that nothing but a clear yes or no answers.

        Raises:
            GoneBack, click.Abort: as for :meth:`ask`.
        """
        question = _yes_or_no(asks, about, SAYS)
        while (typed := self.ask(question).lower()) not in SAYS:
            self.say(_("    Type yes or no."))
        return SAYS[typed]

    def _asked(self, question: Question, before: str) -> str:
        click.echo("")
        click.echo(click.style(question.asks, bold=True) + (_("  (needed)") if question.needed else ""))
        for sentence in question.about:
            click.echo(wrapped(sentence, "    "))
        for count, option in enumerate(question.options, start=1):
            click.echo(f"    {count:>2}  {option}")
        now = before or question.now
        if before == CLEAR:
            click.echo(wrapped(_("Now: nothing; you left it open or took it out. Enter alone keeps that."), "    "))
        elif now:
            said = _("Now: {now}   (Enter alone keeps it.)") if before else _("Now: {now}")
            click.echo(wrapped(said.format(now=", ".join(now.splitlines())), "    "))
        while True:
            typed = self._typed()
            if typed is None:
                click.echo(wrapped(_("This could not be read as text. Type it again."), "    "))
                continue
            if typed == BACK:
                raise GoneBack
            if typed == HELP:
                for sentence in (*question.more, COMMANDS):
                    click.echo(wrapped(sentence, "    "))
                continue
            answer = self._by_number(typed, question.options) or before
            problem = self._problem(answer, question)
            if not problem:
                return answer
            click.echo(click.style(wrapped(problem, "    "), fg="red"))

    @staticmethod
    def _typed() -> str | None:
        """Return a line as it was typed, without blanks at its ends; None where its bytes are no text."""
        try:
            typed = " ".join(click.prompt(" ", default="", show_default=False, prompt_suffix=" > ").split())
            typed.encode()
        except UnicodeError:
            return None
        return typed

    @staticmethod
    def _by_number(typed: str, options: Sequence[str]) -> str:
        if typed not in options and typed.isdecimal() and 1 <= int(typed[:4]) <= len(options):
            return options[int(typed) - 1]
        return typed

    @staticmethod
    def _problem(answer: str, question: Question) -> str:
        if answer == CLEAR or (not answer and question.now):
            return ""
        if not answer and question.needed:
            return _('This is needed. Type it, or "-" to leave it open for now.')
        return question.check(answer)


SAYS = {"y": True, "yes": True, "n": False, "no": False}


def _yes_or_no(asks: str, about: Sequence[str], words: Collection[str], key: str = "") -> Question:
    def check(typed: str) -> str:
        return "" if typed.lower() in words else _("Type yes or no.")

    return Question(asks=_("{asks} (yes or no)").format(asks=asks), key=key, about=about, check=check)


def wrapped(text: str, indent: str = "") -> str:
    """Return running text in lines that can be read."""
    return textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
