"""One plan on the desk at which it is written: the draft, what came of the last form, and where all of it is kept.

Everything here happens in one event loop. Whatever a form brings is kept on the disk before it is answered.
"""

import hashlib
import hmac
import secrets
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from reminders.drafting.draft import Draft, DraftError
from reminders.drafting.look import Look, look
from reminders.drafting.provider import Differs, fill_from
from reminders.drafting.shapes import SHAPES, Shape, shape_of
from reminders.earlier import of_file
from reminders.examine import Examination
from reminders.files import FileError, private_file, read_file
from reminders.plan.source import LONGEST_FILE
from reminders.times import Instant, minute_of
from reminders.web.write_form import Outcome, Refused, Sent, differing, field_name, put
from reminders.web.write_keep import Drafts, Kept, digest
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

MOST_BACK = 20
"""So many steps can be taken back."""


@dataclass(frozen=True, slots=True)
class Provided:
    """A provider's file that was copied: its name and its text."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Step:
    """A step that can be taken back: what was done, and the draft's text before and after it."""

    words: str
    before: str
    after: str


@dataclass(slots=True)
class Messages:
    """What the next page says first: what was done, and what was wrong with what was asked for. Pages are drawn as often as
    somebody likes, so it stays until the next form comes."""

    done: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


class WriteDesk:
    """One plan that is being written. ``now``: seconds since 1970. ``ended`` is called when there is nothing left to do, and
    ``shown`` when the page that says so was asked for."""

    def __init__(
        self, path: Path | None, drafts: Drafts, now: Callable[[], float], ended: Callable[[], None] = lambda: None
    ) -> None:
        """Open a plan's file, or begin a plan where it is not there or none is named.

        Raises:
            FileError: it cannot be read.
            DraftError: it is no TOML; the error holds a finding for each breach.
        """
        self.path = None if path is None else path.resolve()
        self.folder = Path.cwd() if self.path is None else self.path.parent
        self.now, self.ended = now, ended
        self.shown: Callable[[], None] = lambda: None
        self.secret = secrets.token_urlsafe(32)
        self.home = ""
        self.changed: Callable[[], None] = lambda: None
        self._drafts = drafts
        content = on_disk(self.path)
        self.opened = digest(content)
        self.draft = _opened(content, self.name)
        self.fresh = content is None
        self._original = self.draft.text()
        self.begun = not self.fresh
        self.offered = _differing(drafts.of(self.path), self.draft)
        self.version, self.writer, self._seq = 1, "", 0
        self.beside: dict[str, Refused] = {}
        self.shapes: dict[str, str] = {}
        self.back: list[Step] = []
        self.messages = Messages()
        self.trouble = ""
        self.kept_at: float | None = None
        self.provided: Provided | None = None
        self.saved: Path | None = None
        self.ticked: dict[str, str] = {}
        """What was ticked in reading back before somebody went back to the form, by the marks of what it says."""
        self._looked: tuple[str, Instant, Look] | None = None

    # -- looking

    @property
    def name(self) -> str:
        """Return what the file is called."""
        return self.path.name if self.path is not None else _("the new plan")

    @property
    def form_token(self) -> str:
        """Return what every form carries, so that no other site can send one."""
        return hmac.new(self.secret.encode(), b"write", hashlib.sha256).hexdigest()

    @property
    def instant(self) -> Instant:
        """Return the present, to the minute."""
        return minute_of(self.now())

    def look(self) -> Look:
        """Return what the draft comes to; it is worked out anew when it or the minute is another."""
        text, now = self.draft.text(), self.instant
        if self._looked is None or self._looked[:2] != (text, now):
            self._looked = (text, now, look(self.draft, now, self.name, self.besides))
        return self._looked[2]

    def besides(self, found: Examination, now: Instant) -> Examination:
        """Add what the draft does to the revisions before it, where those are known on this computer."""
        return of_file(found, self.path, now)

    def shape(self, order: str) -> Shape:
        """Return the shape of an order: that in which it was begun, else the one that its timing tells."""
        begun = self.shapes.get(order)
        return next((shape for shape in SHAPES if shape.key == begun), None) or shape_of(self.draft, order)

    def changed_on_disk(self) -> bool:
        """Say whether the file is another one than was opened."""
        try:
            return digest(on_disk(self.path)) != self.opened
        except FileError:
            return True

    def same_revision(self) -> int | None:
        """Return the number of the plan's revision if the file, which says something else, has the same; else None."""
        number = self.draft.raw(("plan", "revision"))
        changed = not self.fresh and self.draft.text() != self._original
        same = changed and number == Draft(self._original).raw(("plan", "revision"))
        return number if same and isinstance(number, int) else None

    # -- changing

    def takes(self, answers: Sent) -> bool:
        """Say whether a form shows the plan as it stands: no other page has changed it meanwhile.

        A page that stays open sends one form after the other; those count on from one another, in the order in which they were
        sent, whatever their version.
        """
        if answers.page and answers.page == self.writer:
            return answers.seq >= self._seq
        return answers.version == self.version

    def answered(self, answers: Sent) -> Outcome:
        """Put the answers of a form into the draft; what is refused is kept beside it, in its field."""
        self.messages = Messages()
        before = self.draft.text()
        done = put(self.draft, answers)
        for path in answers.typed:
            self.beside.pop(field_name(path), None)
        for place in answers.names:
            self.beside.pop(f"name:{field_name(place)}", None)
        for path, refused in done.refused.items():
            prefix = "name:" if path in answers.names else ""
            self.beside[prefix + field_name(path)] = refused
        for (table, old), (_table, new) in done.renamed.items():
            if table == "order" and old in self.shapes:
                self.shapes[new] = self.shapes.pop(old)
        self._seq = answers.seq + 1 if answers.page else 0
        self.writer = answers.page
        if self.draft.text() != before:
            self.version += 1
        return done

    def stepped(self, words: str = "", before: str | None = None) -> None:
        """Count a step, so that pages drawn before it are known to be older. With ``words`` for what was done, and the text
        from ``before``, it can be taken back."""
        self.version += 1
        if words and before is not None:
            self.back = [*self.back[-MOST_BACK + 1 :], Step(words, before, self.draft.text())]

    def go_back(self, answers: Sent) -> None:
        """Take the last such step back. What was answered since then stays: a form brings it."""
        if not self.back:
            return
        step = self.back.pop()
        since = {path for path, _here, _theirs in differing(Draft(step.after), answers)}
        self.draft.restore(step.before)
        put(self.draft, replace(answers, typed={path: answers.typed[path] for path in since}, names={}))
        self.stepped()

    def differs(self) -> tuple[Differs, ...]:
        """Return what the provider's file that was chosen last says otherwise than the draft."""
        if self.provided is None:
            return ()
        return fill_from(Draft(self.draft.text()), self.provided.text, self.provided.name).differs

    def resume(self) -> None:
        """Go on with the draft that is offered."""
        if self.offered is None:
            return
        kept, self.offered = self.offered, None
        self.draft.restore(kept.text)
        self.opened = kept.opened
        self.beside = {
            name: Refused(typed, _("This could not be put into the plan.")) for name, typed in kept.beside.items()
        }
        self.shapes = dict(kept.shapes)
        self.begun = True
        self.version += 1

    def begin_anew(self) -> Path | None:
        """Leave the draft that is offered aside, and go on with the file as it lies; return where the draft is kept then.

        Raises:
            OSError: the draft cannot be put aside; then it is still offered.
        """
        aside = self._drafts.set_aside(self.path)
        self.offered = None
        self.version += 1
        return aside

    def keep(self) -> None:
        """Keep the draft on the disk, unless it is still what the file says; where that fails, say so on the page."""
        at = self.now()
        same = not self.fresh and self.draft.text() == self._original and not self.beside
        kept = Kept(
            file="" if self.path is None else str(self.path),
            opened=self.opened,
            text=self.draft.text(),
            at=at,
            beside={name: refused.typed for name, refused in self.beside.items()},
            shapes=self.shapes,
        )
        try:
            if same:
                self._drafts.drop(self.path)
            else:
                self._drafts.keep(self.path, kept)
        except OSError as error:
            self.trouble = _("What you write cannot be kept now: {why}. Leave this page open, and make room.").format(
                why=error.strerror or error
            )
            return
        self.trouble, self.kept_at = "", None if same else at

    # -- saving

    def save(self, path: Path, *, replaces: str) -> None:
        """Write the plan into its file, whole or not at all, and forget the draft.

        ``replaces`` is the digest of what may be replaced, empty for nothing.

        Raises:
            ChangedError: something else lies there; nothing was written.
            FileError: it cannot be written; what lay there lies there still.
        """
        content = self.draft.text().encode()
        if len(content) > LONGEST_FILE:
            raise FileError(_("The plan is longer than any plan: {size} bytes.").format(size=len(content)))
        if digest(on_disk(path)) != replaces:
            raise ChangedError(path)
        _write(path, content)
        dropped = self.path
        self.path, self.opened, self.saved = path, digest(content), path
        try:
            self._drafts.drop(dropped)
        except OSError:
            self.trouble = _("The draft could not be taken away; it will be offered once more, and can be left aside.")

    def draft_kept(self) -> bool:
        """Say whether a draft of this plan lies on the disk."""
        return self._drafts.of(self.path) is not None


class ChangedError(Exception):
    """A file is not what it was when it was opened; the argument is its path."""

    def __init__(self, path: Path) -> None:
        super().__init__(f'"{path}" was changed')
        self.path = path


def on_disk(path: Path | None) -> bytes | None:
    """Return what lies in a file; None if there is none.

    Raises:
        FileError: it cannot be read.
    """
    if path is None:
        return None
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return None
    except (OSError, ValueError):
        pass  # reading it says why
    return read_file(path)


def kept_beside(path: Path, now: float) -> Path:
    """Keep what lies in a file under another name beside it; return that.

    Raises:
        FileError: it cannot be read or written.
    """
    content = read_file(path, whole=True)
    stamp = datetime.fromtimestamp(now).astimezone().strftime("%Y%m%d-%H%M%S")
    aside = path.with_name(f"{path.stem}-before-{stamp}{path.suffix}")
    if aside.exists():
        raise FileError(_('There is a file "{name}" already.').format(name=aside.name))
    _write(aside, content)
    return aside


def _write(path: Path, content: bytes) -> None:
    """Put a file in its place in one step, for its owner alone unless it was open to others before."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        mode = path.stat().st_mode & 0o777 if path.exists() else 0o600
        written = private_file(path, content)
        try:
            written.chmod(mode)
            written.replace(path)
        except BaseException:
            written.unlink(missing_ok=True)
            raise
    except (OSError, ValueError) as error:
        why = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise FileError(
            _('Nothing was written: "{path}" cannot be written: {why}.').format(path=path, why=why)
        ) from None


def _opened(content: bytes | None, name: str) -> Draft:
    if content is None:
        return Draft.new(uuid.uuid4())
    try:
        return Draft.of(content.decode("utf-8-sig"), name)
    except UnicodeDecodeError:
        raise DraftError(
            _("{name} is not a text file in UTF-8, so it is no plan. Nothing was changed.").format(name=name)
        ) from None


def _differing(kept: Kept | None, draft: Draft) -> Kept | None:
    """Return a draft that says something else than the file, and can still be read."""
    if kept is None or (kept.text == draft.text() and not kept.beside):
        return None
    try:
        Draft.of(kept.text)
    except DraftError:
        return None
    return kept
