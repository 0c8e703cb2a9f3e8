"""The page on which a plan is written: its form, what every button of it does, and what comes of a form that is older.

The form is one, so that whatever is pressed brings everything that was typed. A script sends it after each change; without
one it is sent by its buttons. Either way the answer is the page as it then stands.
"""

from collections.abc import Awaitable, Callable
from urllib.parse import quote

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from reminders.drafting.draft import DraftError
from reminders.drafting.entries import entry_of
from reminders.drafting.provider import ProviderError, fill_from
from reminders.drafting.shapes import SHAPES
from reminders.drafting.wording import legend, path_words
from reminders.findings import KeyPath
from reminders.plan.model import LISTED_TABLES, NAMED_TABLES, FluidKind
from reminders.web.guard import posted
from reminders.web.page_frame import query, static_files
from reminders.web.write_add import AddError, added
from reminders.web.write_desk import Provided, WriteDesk
from reminders.web.write_fields import sections
from reminders.web.write_findings import Findings
from reminders.web.write_finish import finish_routes
from reminders.web.write_form import (
    Outcome,
    Sent,
    UnknownFieldError,
    differing,
    field_name,
    path_of,
    sent,
    table_path,
    ticked,
)
from reminders.web.write_frame import desk_page, told_time
from reminders.web.write_panel import panel
from reminders.words import CATALOGUE
from reminders.zones import known_zones

_ = CATALOGUE.gettext

LARGEST = 1_500_000
"""Bytes of the form with a provider's file; a plan of twelve orders is 100,000 as a form."""

MOST_FIELDS = 6000
"""Fields of the form; a plan of twelve orders has some 900."""

LARGEST_PROVIDER = 300_000
"""Bytes of a provider's file."""

STATIC = ("page.css", "write.css", "write.js", "icon.svg")

ORDERS_AT_ONCE = 4
"""So many orders can be named when a plan is begun; more are added later."""

Handler = Callable[[Request, FormData], Awaitable[Response]]


def write_routes(desk: WriteDesk) -> list[BaseRoute]:
    """Return the routes of the page, to be served below a secret address (:func:`reminders.web.guard.page_gate`)."""
    page = _WritePage(desk)

    def form(address: str, handler: Handler) -> Route:
        endpoint = posted(desk, handler, largest=LARGEST, fields=MOST_FIELDS, files=1)
        return Route(address, endpoint, methods=["POST"])

    return [
        Route("/", page.show, methods=["GET"]),
        form("/form", page.form),
        form("/begin", page.begin),
        form("/offered", page.offered),
        form("/take", page.take),
        *finish_routes(desk),
        static_files(STATIC),
    ]


class _WritePage:
    """The page of one desk."""

    def __init__(self, desk: WriteDesk) -> None:
        self.desk = desk

    # -- showing

    async def show(self, request: Request) -> Response:
        """Show the form; before that a draft that is offered, and for a new plan what it consists of."""
        desk = self.desk
        if desk.saved is not None:
            return RedirectResponse("closed", 303)
        if desk.offered is not None:
            return desk_page(self.desk, "write_offer.html", at=told_time(desk, desk.offered.at), fresh=desk.fresh)
        if not desk.begun:
            return desk_page(
                desk,
                "write_begin.html",
                fluids=[(kind.value, kind.value) for kind in FluidKind if kind is not FluidKind.OTHER],
                shapes=[(shape.key, shape.label) for shape in SHAPES],
                rows=range(1, ORDERS_AT_ONCE + 1),
            )
        found = Findings(desk.draft, desk.look())
        views = sections(desk, found)
        told = request.query_params
        return desk_page(
            desk,
            "write.html",
            sections=views,
            panel=panel(desk, views, found, told.get("show", "")),
            at=told.get("at", ""),
            unsaved=bool(told.get("unsaved")),
            shapes=SHAPES,
            items=desk.draft.items(),
            zones=sorted(known_zones()),
            provided=desk.provided,
            differs=[
                (field_name(one.path), path_words(desk.draft, one.path), one.here, one.theirs) for one in desk.differs()
            ],
            back=desk.back[-1].words if desk.back else "",
            same_revision=desk.same_revision(),
            changed_on_disk=desk.changed_on_disk(),
            kept=told_time(desk, desk.kept_at) if desk.kept_at is not None else "",
        )

    # -- forms

    async def form(self, request: Request, form: FormData) -> Response:
        """Put the answers into the draft, keep it, and do what the button says."""
        desk = self.desk
        try:
            answers = sent(form)
        except UnknownFieldError as error:
            return desk_page(self.desk, "write_unknown.html", 400, field=str(error)[:80])
        if desk.saved is not None or desk.offered is not None:
            return RedirectResponse("./", 303)
        if not desk.takes(answers):
            return self._older(answers)
        outcome = desk.answered(answers)
        desk.begun = True
        try:
            where = await self._pressed(answers, outcome)
        except (AddError, DraftError, ProviderError) as error:
            problems = error.problems if isinstance(error, ProviderError) else (str(error),)
            desk.messages.wrong.extend(problems)
            where = "./#messages"
        desk.keep()
        return RedirectResponse(where, 303)

    def _older(self, answers: Sent) -> Response:
        """Show what a page that is older holds otherwise; nothing of it goes into the plan by itself."""
        desk = self.desk
        differs = [
            (
                field_name(path),
                path_words(desk.draft, path),
                here,
                theirs,
                desk.draft.has(table_path(path)) or path[0] == "call",
            )
            for path, here, theirs in differing(desk.draft, answers)
        ]
        if not differs:
            return RedirectResponse("./", 303)
        return desk_page(self.desk, "write_older.html", 409, differs=differs)

    async def take(self, request: Request, form: FormData) -> Response:
        """Take those answers of an older page that are ticked."""
        desk = self.desk
        if desk.saved is not None or desk.offered is not None:
            return RedirectResponse("./", 303)
        ticks = {str(value) for value in form.getlist("take")}
        typed: dict[KeyPath, tuple[str, ...]] = {}
        for name in ticks:
            path, value = path_of(name), form.get(f"value:{name}")
            if path is None or not isinstance(value, str):
                return desk_page(self.desk, "write_unknown.html", 400, field=name[:80])
            typed[path] = tuple(value.replace("\r\n", "\n").split("\n")) if _many(path) else (value,)
        before = desk.draft.text()
        desk.answered(Sent(typed=typed, names={}, new={}, do=(), version=desk.version, page="", seq=0, show=""))
        desk.stepped(_("answers of an older page were taken"), before)
        desk.messages.done.append(_("{count} answers were taken from the older page.").format(count=len(typed)))
        desk.keep()
        return RedirectResponse("./#messages", 303)

    async def begin(self, request: Request, form: FormData) -> Response:
        """Begin a new plan with its lumens, fluids and orders."""
        desk = self.desk
        if desk.begun or desk.offered is not None:
            return RedirectResponse("./", 303)
        desk.messages.wrong.clear()
        desk.begun = True
        if str(form.get("lumens", "")).strip():
            self._add("lumen", (), str(form.get("lumens")))
        for kind in form.getlist("fluid"):
            self._add("fluid", (str(kind),), "")
        for row in range(1, ORDERS_AT_ONCE + 1):
            drug, shape = str(form.get(f"drug-{row}", "")), str(form.get(f"shape-{row}", ""))
            if drug.strip():
                self._add("order", (shape or "other",), drug)
        file = form.get("provider")
        if isinstance(file, UploadFile) and file.filename:
            try:
                await self._provide(file)
            except ProviderError as error:
                desk.messages.wrong.extend(error.problems)
        desk.stepped()
        desk.keep()
        return RedirectResponse("./#messages" if desk.messages.wrong else "./", 303)

    def _add(self, table: str, kind: tuple[str, ...], text: str) -> None:
        try:
            added(self.desk, table, kind, text)
        except (AddError, DraftError) as error:
            self.desk.messages.wrong.append(str(error))

    async def offered(self, request: Request, form: FormData) -> Response:
        """Go on with the draft that is offered, or leave it aside."""
        desk = self.desk
        if form.get("do") == "resume":
            desk.resume()
            desk.keep()
        elif form.get("do") == "anew":
            try:
                desk.begin_anew()
            except OSError as error:
                desk.trouble = _("The draft cannot be put aside: {why}.").format(why=error.strerror or error)
        return RedirectResponse("./", 303)

    # -- what the buttons do

    async def _pressed(self, answers: Sent, outcome: Outcome) -> str:
        """Do what a button says; return the address that shows it."""
        desk = self.desk
        shown = query("./", show=answers.show)
        match answers.do:
            case ("add", table, *kind):
                place = added(desk, table, tuple(kind), answers.new.get(table, ""))
                desk.stepped()
                mark = field_name(place)
                return f"{query('./', at=mark, show=answers.show)}#{quote(mark)}"
            case ("remove", table, name) if table in NAMED_TABLES | LISTED_TABLES:
                return self._removed(outcome.renamed.get((table, name), (table, name)))
            case ("undo",):
                desk.go_back(answers)
                desk.messages.done.append(_("It is as it was before."))
                return "./#messages"
            case ("provider",):
                if answers.file is None:
                    raise AddError(_("Choose the provider's file first, then press the button."))
                return await self._provide(answers.file)
            case ("provider-replace",) if desk.provided is not None:
                return self._replaced(desk.provided)
            case ("save",):
                if desk.look().plan is None or desk.beside:
                    return query("./", unsaved="1", show=answers.show) + "#missing"
                return "read-back"
            case ("leave",):
                desk.keep()
                desk.ended()
                return "closed"
        return shown + ("#found" if answers.do == ("check",) else "")

    def _removed(self, place: KeyPath) -> str:
        desk = self.desk
        if desk.draft.has(place):
            words, before = legend(desk.draft, place), desk.draft.text()
            desk.draft.remove(place)
            desk.stepped(_("taken out: {what}").format(what=words), before)
            desk.messages.done.append(_("Taken out: {what}.").format(what=words))
        return "./#messages"

    async def _provide(self, file: UploadFile) -> str:
        """Copy a provider's file into the plan; what differs stays, and is shown.

        Raises:
            ProviderError: it is no such file; nothing is copied.
        """
        desk, before = self.desk, self.desk.draft.text()
        content = await file.read()
        name = (file.filename or "").replace("\\", "/").rpartition("/")[2][:80] or _("the provider's file")
        if len(content) > LARGEST_PROVIDER:
            said = _("{name} has {size} bytes, far more than a provider's file. Nothing was copied.")
            raise ProviderError([said.format(name=name, size=len(content))])
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            said = _("{name} is not a text file in UTF-8, so it is no provider's file. Nothing was copied.")
            raise ProviderError([said.format(name=name)]) from None
        filled = fill_from(desk.draft, text, name)
        desk.provided = Provided(name, text)
        desk.stepped(_("{name} was copied").format(name=name), before)
        desk.messages.done.append(
            _("{name}: {count} answers were copied, {same} stood here already, {differs} differ.").format(
                name=name, count=len(filled.copied), same=len(filled.same), differs=len(filled.differs)
            )
        )
        return "./#messages"

    def _replaced(self, provided: Provided) -> str:
        """Take the provider's answers also where the plan says otherwise."""
        desk, before = self.desk, self.desk.draft.text()
        paths = [one.path for one in desk.differs()]
        fill_from(desk.draft, provided.text, provided.name, replace=paths)
        desk.stepped(_("the answers of {name} were taken").format(name=provided.name), before)
        desk.messages.done.append(_("{count} answers are the provider's now.").format(count=len(paths)))
        return "./#messages"


def _many(path: KeyPath) -> bool:
    """Say whether a question is answered by ticks, each of which is sent by itself."""
    entry = entry_of(path[0], path[-1])
    return entry is not None and ticked(entry)
