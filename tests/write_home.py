"""A plan that is being written, for tests: a desk in a folder with a clock that a test moves, and a browser without scripts."""

import asyncio
import contextlib
import socket
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

import uvicorn
from httpx import ASGITransport, AsyncClient, Response
from page_home import text_of
from starlette.types import ASGIApp

from reminders.drafting.draft import Draft
from reminders.plan.model import Plan
from reminders.plan.read import read_plan
from reminders.web.guard import guarded, page_gate
from reminders.web.write_desk import WriteDesk
from reminders.web.write_keep import Drafts
from reminders.web.write_page import write_routes

SAMPLES = Path(__file__).parent.parent / "sample_plans"

Files = Mapping[str, tuple[str, bytes]]


@dataclass
class WriteHome:
    """One folder in which a plan is written. ``seconds`` is the present; nothing moves it but a test."""

    folder: Path
    file: str | None = "plan.toml"
    seconds: float = 1_791_000_000.0  # 2026-10-03, before the samples' plans begin
    ends: int = 0
    desk: WriteDesk = field(init=False)

    def __post_init__(self) -> None:
        self.open()

    @property
    def path(self) -> Path | None:
        """Return the plan's file."""
        return None if self.file is None else self.folder / self.file

    @property
    def drafts(self) -> Drafts:
        """Return where drafts are kept."""
        return Drafts(self.folder / "drafts")

    def open(self) -> None:
        """Open the plan as the command does: what was kept is offered."""
        self.desk = WriteDesk(self.path, self.drafts, lambda: self.seconds, self._ended)
        self.desk.folder = self.folder

    def _ended(self) -> None:
        self.ends += 1

    def app(self) -> ASGIApp:
        """Return the page as it is served."""
        return guarded([page_gate(self.desk, write_routes(self.desk))], now=lambda: self.seconds)

    def plan(self, name: str = "plan.toml") -> Plan:
        """Return the plan that was saved; it has no errors."""
        reading = read_plan(name, (self.folder / name).read_bytes())
        assert reading.complete, [finding.message for finding in reading.findings]
        assert reading.plan is not None
        return reading.plan


def sample(home_folder: Path, name: str = "three-lumens.toml", as_file: str = "plan.toml") -> str:
    """Put a sample plan into a folder, as it is before anybody has read it back; return its text."""
    draft = Draft.of((SAMPLES / name).read_text(encoding="utf-8"))
    draft.remove(("read_back",))
    text = draft.text()
    (home_folder / as_file).write_text(text, encoding="utf-8")
    return text


class Reader(HTMLParser):
    """Reads the fields of a page's forms as a browser without scripts would send them untouched."""

    def __init__(self) -> None:
        super().__init__()
        self.fields: list[tuple[str, str]] = []
        self.buttons: list[tuple[str, str]] = []
        self.action = ""
        self.ids: set[str] = set()
        self._text: list[str] | None = None
        self._button: str | None = None
        self._select: str | None = None
        self._chosen: str | None = None
        self._area = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        if "id" in told:
            assert told["id"] not in self.ids, f"{told['id']} is twice in the page"
            self.ids.add(told["id"])
        if tag == "form":
            self.action = told["action"]
        elif tag == "input" and told.get("type") != "file":
            if told.get("type") not in ("radio", "checkbox") or "checked" in told:
                self.fields.append((told["name"], told.get("value", "")))
        elif tag == "select":
            self._select, self._chosen = told["name"], None
        elif tag == "option" and self._select and (self._chosen is None or "selected" in told):
            self._chosen = told.get("value", "")
        elif tag == "textarea":
            self._area, self._text = told["name"], []
        elif tag == "button":
            self._button, self._text = told.get("value", ""), []

    def handle_endtag(self, tag: str) -> None:
        if tag == "select" and self._select is not None:
            self.fields.append((self._select, self._chosen or ""))
            self._select = None
        elif tag == "textarea" and self._text is not None:
            self.fields.append((self._area, "".join(self._text).removeprefix("\n")))
            self._text = None
        elif tag == "button" and self._text is not None:
            self.buttons.append((" ".join("".join(self._text).split()), self._button or ""))
            self._text = None

    def handle_data(self, data: str) -> None:
        if self._text is not None:
            self._text.append(data)


class WriteBrowser:
    """A browser without scripts, with one page open at a time."""

    def __init__(self, home: WriteHome, client: AsyncClient, runner: asyncio.Runner) -> None:
        self.home, self._client, self._runner = home, client, runner
        self.answer: Response
        self.open("./")

    @property
    def root(self) -> str:
        """Return where the page is."""
        return f"/{self.home.desk.secret}/"

    def open(self, address: str) -> "WriteBrowser":
        """Open an address, relative to the page's root."""
        self.answer = self._runner.run(self._client.get(self.root + address.removeprefix("./")))
        return self

    def post(
        self,
        address: str,
        fields: list[tuple[str, str]],
        files: Files | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> "WriteBrowser":
        """Send a form as its page does: in parts, so that it may hold a file."""
        parts: list[tuple[str, tuple[str | None, bytes]]] = [(name, (None, value.encode())) for name, value in fields]
        parts += [(name, sent) for name, sent in (files or {}).items()]
        self.answer = self._runner.run(self._client.post(self.root + address, files=parts, headers=headers))
        return self

    @property
    def html(self) -> str:
        """Return the page that is open."""
        return self.answer.text

    @property
    def text(self) -> str:
        """Return what it says."""
        return text_of(self.html)

    @property
    def page(self) -> Reader:
        """Return its fields and buttons."""
        reader = Reader()
        reader.feed(self.html)
        return reader

    @property
    def values(self) -> dict[str, str]:
        """Return what its fields hold."""
        return dict(self.page.fields)

    def press(self, do: str, /, **typed: str | list[str]) -> "WriteBrowser":
        """Press the button that says ``do``, with some fields changed before; in their names ``__`` stands for a dot."""
        return self.send(do, {name.replace("__", "."): value for name, value in typed.items()})

    def send(
        self, do: str, typed: Mapping[str, str | list[str]] | None = None, files: Files | None = None
    ) -> "WriteBrowser":
        """Press a button, with some fields changed before."""
        page = self.page
        assert do in {value for _words, value in page.buttons}, f"{do!r} is none of {page.buttons}"
        changed = dict(typed or {})
        fields = [(name, value) for name, value in page.fields if name not in changed]
        for name, value in changed.items():
            fields += [(name, one) for one in ([value] if isinstance(value, str) else value)]
        return self.post(page.action, [*fields, ("do", do)], files)

    def begin(self, **typed: str | list[str]) -> "WriteBrowser":
        """Fill in the first page of a new plan."""
        return self.send("", typed)


@contextmanager
def writing(home: WriteHome) -> Iterator[WriteBrowser]:
    """Open the page in a browser without scripts."""
    transport = ASGITransport(app=home.app(), client=("127.0.0.1", 40000))
    with asyncio.Runner() as runner:
        client = AsyncClient(transport=transport, base_url="http://127.0.0.1", follow_redirects=True)
        try:
            yield WriteBrowser(home, client, runner)
        finally:
            runner.run(client.aclose())


@contextmanager
def served_writing(home: WriteHome) -> Iterator[str]:
    """Serve the page on a free port of this computer; yield its address, which ends in a slash."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    config = uvicorn.Config(
        home.app(),
        lifespan="off",
        access_log=False,
        log_config=None,  # else it keeps the words of every later server in this process to itself
        log_level="warning",
        timeout_graceful_shutdown=1,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}/{home.desk.secret}/"
    finally:
        server.should_exit = True
        thread.join(10)
        with contextlib.suppress(OSError):
            listening.close()


__all__ = ["SAMPLES", "WriteBrowser", "WriteHome", "sample", "served_writing", "writing"]
