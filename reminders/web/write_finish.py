"""Finishing a plan: a second person reads it back, then it is written into its file; a file that changed is not replaced unasked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from reminders.drafting.draft import DraftError
from reminders.drafting.entries import entry_of, fault_of
from reminders.drafting.look import look
from reminders.files import FileError
from reminders.places import commands_after, typed
from reminders.plan.model import Plan
from reminders.plan.read_back import ReadBackState, ReadLine, check_letters, state
from reminders.read_back_words import HOW, read_back_words
from reminders.web.guard import posted
from reminders.web.write_desk import ChangedError, WriteDesk, kept_beside, on_disk
from reminders.web.write_frame import desk_page
from reminders.web.write_keep import digest
from reminders.web.write_panel import read_groups
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

LONGEST_NAME = 60
"""Letters of who read the plan back, as the plan takes them."""

LONGEST_FILE_NAME = 120

UNREADABLE = "unreadable"
"""In place of the digest of a file that cannot be read; no file has it, so none is replaced for it."""

THING = "thing-"


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing that is read back, with a tick for all its lines. ``mark`` is drawn from what is said of it, so that a tick
    stands for nothing but that."""

    mark: str
    title: str
    lines: Sequence[ReadLine]


def things(plan: Plan) -> list[Thing]:
    """Return what is read back of a plan, thing by thing; what nothing is said of needs no tick."""
    return [
        Thing(
            THING + digest("\n".join([title, *(f"{line.what}\t{line.said}" for line in lines)]).encode())[:16],
            title,
            lines,
        )
        for title, lines in read_groups(plan)
    ]


def finish_routes(desk: WriteDesk) -> list[BaseRoute]:
    """Return the routes of finishing."""
    finish = _Finish(desk)
    return [
        Route("/read-back", finish.show, methods=["GET"]),
        Route("/finish", posted(desk, finish.finish, fields=3000), methods=["POST"]),
        Route("/replace", posted(desk, finish.replace), methods=["POST"]),
        Route("/closed", finish.closed, methods=["GET"]),
    ]


class _Finish:
    """The pages on which one plan is finished."""

    def __init__(self, desk: WriteDesk) -> None:
        self.desk = desk

    async def show(self, request: Request) -> Response:
        """Show what is to be read back."""
        return self._read_back(self.desk.ticked, [])

    def _read_back(self, given: Mapping[str, str], faults: list[tuple[str, str]]) -> Response:
        desk = self.desk
        plan = self._plan()
        if plan is None:
            return RedirectResponse("./?unsaved=1#missing", 303)
        return desk_page(
            self.desk,
            "write_read_back.html",
            400 if faults else 200,
            how=HOW,
            things=things(plan),
            standing=read_back_words(plan),
            read=state(plan) is ReadBackState.FITS,
            given=given,
            faults=faults,
            asks_name=desk.path is None,
            folder=str(desk.folder),
            same_revision=desk.same_revision(),
            warnings=sum(placed.finding.severity == 1 for placed in desk.look().findings),
        )

    def _plan(self) -> Plan | None:
        """Return the plan if it can be finished as it stands."""
        desk = self.desk
        return None if desk.beside or desk.offered is not None else desk.look().plan

    async def finish(self, request: Request, form: FormData) -> Response:
        """Write the plan into its file, with who read it back or without."""
        desk = self.desk
        given = {name: str(value) for name, value in form.multi_items()}
        if desk.saved is not None:
            return RedirectResponse("closed", 303)
        plan = self._plan()
        if plan is None:
            return RedirectResponse("./?unsaved=1#missing", 303)
        if given.get("do") == "back":
            desk.ticked = {name: said for name, said in given.items() if name.startswith(THING) or name == "by"}
            return RedirectResponse("./", 303)
        if given.get("version") != str(desk.version):
            changed = _(
                "The plan was changed on another page since this was shown. This is how it stands now; read it again."
            )
            return self._read_back(given, [("", changed)])
        faults = [] if desk.path is not None else self._named(given.get("file", ""))
        if given.get("do") == "read":
            faults += _unread(given, plan)
        if faults:
            return self._read_back(given, faults)
        if given.get("do") == "read" and (problem := self._note(given["by"], plan)):
            return self._read_back(given, [("by", problem)])
        target = desk.path or desk.folder / given["file"].strip()
        return self._save(target, desk.opened if target == desk.path else "")

    def _named(self, file: str) -> list[tuple[str, str]]:
        """Say what is wrong with the name of a new file."""
        name = file.strip()
        if not name:
            return [("file", _("Write what the file is to be called, such as plan.toml."))]
        if Path(name).name != name or name.startswith(".") or len(name) > LONGEST_FILE_NAME or not name.isprintable():
            return [("file", _("Write a name alone, without a folder, such as plan.toml."))]
        if Path(name).suffix.lower() != ".toml":
            return [("file", _("A plan's file ends in .toml, such as plan.toml."))]
        return []

    def _note(self, by: str, plan: Plan) -> str:
        """Write into the plan who read it back, when, and what; return why that cannot be, or nothing."""
        desk = self.desk
        before, entry = desk.draft.text(), entry_of("read_back", "by")
        fault = fault_of(entry, by, None) if entry else None
        if fault is not None:
            return fault.problem
        now = datetime.fromtimestamp(desk.now(), plan.course.zone)
        try:
            desk.draft.enter(("read_back", "by"), " ".join(by.split()))
            desk.draft.enter(("read_back", "at"), f"{now:%Y-%m-%d %H:%M}")
            desk.draft.enter(("read_back", "check"), check_letters(plan))
            problem = "" if look(desk.draft, desk.instant).plan is not None else _("This cannot be a name in the plan.")
        except DraftError as error:
            problem = str(error)
        if problem:
            desk.draft.restore(before)
            return problem
        desk.stepped()
        desk.keep()
        return ""

    def _save(self, target: Path, replaces: str) -> Response:
        desk = self.desk
        try:
            desk.save(target, replaces=replaces)
        except ChangedError:
            desk.messages.done.clear()
            return self._changed(target)
        except FileError as error:
            desk.messages.wrong[:] = [str(error), _("What you wrote is kept as a draft.")]
            return RedirectResponse("./#messages", 303)
        desk.ended()
        return RedirectResponse("closed", 303)

    def _changed(self, target: Path, fault: str = "") -> Response:
        """Say that the file is another one, with what was wrong with what was asked for; one that cannot be read is no known one."""
        try:
            lies = digest(on_disk(target))
        except FileError as error:
            lies, fault = UNREADABLE, fault or str(error)
        return desk_page(
            self.desk,
            "write_changed.html",
            409,
            target=target.name,
            lies=lies,
            there=bool(lies),
            opened=bool(self.desk.opened) and target == self.desk.path,
            fault=fault,
            other=f"{target.stem}-2{target.suffix}",
        )

    async def replace(self, request: Request, form: FormData) -> Response:
        """Save although the file is another one than was opened: under another name, or in its place, which is kept beside it."""
        desk = self.desk
        if desk.saved is not None:
            return RedirectResponse("closed", 303)
        if self._plan() is None:
            return RedirectResponse("./?unsaved=1#missing", 303)
        target = desk.folder / str(form.get("target", ""))
        if target.name != str(form.get("target", "")) or (desk.path is not None and target != desk.path):
            return RedirectResponse("read-back", 303)
        if form.get("do") == "other":
            name = str(form.get("file", "")).strip()
            if faults := self._named(name):
                return self._changed(target, faults[0][1])
            return self._save(desk.folder / name, "")
        lies = str(form.get("lies", ""))
        try:
            if digest(on_disk(target)) != lies:
                return self._changed(target)
            if lies:
                aside = kept_beside(target, desk.now())
                desk.messages.done.append(_("What lay there is kept in {name}.").format(name=aside.name))
        except FileError as error:
            return self._changed(target, str(error))
        return self._save(target, lies)

    async def closed(self, request: Request) -> Response:
        """Say what became of the plan. Then there is nothing left to serve."""
        desk = self.desk
        plan = desk.look().plan if desk.saved is not None else None
        desk.shown()
        return desk_page(
            self.desk,
            "write_closed.html",
            saved="" if desk.saved is None else str(desk.saved),
            standing="" if plan is None else read_back_words(plan),
            read=plan is not None and state(plan) is ReadBackState.FITS,
            commands=[] if desk.saved is None else commands_after(desk.saved),
            again="" if desk.path is None else typed(desk.path),
        )


def _unread(given: Mapping[str, str], plan: Plan) -> list[tuple[str, str]]:
    """Say which lines are not ticked, and whether nobody is named."""
    faults = []
    by = " ".join(given.get("by", "").split())
    if not by or len(by) > LONGEST_NAME:
        faults.append(("by", _("Write who read it back: a name of at most {most} letters.").format(most=LONGEST_NAME)))
    missed = [thing for thing in things(plan) if thing.mark not in given]
    if missed:
        said = _("Not ticked: {count}. The first is: {title}.")
        faults.append((missed[0].mark, said.format(count=len(missed), title=missed[0].title)))
    return faults
