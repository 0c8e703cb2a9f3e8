"""A household with its page, for tests: a plan in a folder, a desk with a clock that a test moves, a client without scripts."""

import asyncio
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import small_plans
from asgi import page_app
from histories import at
from httpx import ASGITransport, AsyncClient, Response
from starlette.types import ASGIApp

from reminders.daemon.desk import Desk, Health
from reminders.daemon.journal import Raised
from reminders.daemon.keeper import Keeper
from reminders.feed_file import Feed
from reminders.phones import Phones
from reminders.record.facts import Fact
from reminders.web.page import page_routes

TWO_LUMENS = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.grey]
last_flushed = "2026-06-01 08:00"
[order.cefazolin]
dose = "2 g"
lumen = "red"
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-07
duration = "30 min"
volume = "100 mL"
least_spacing = "20 h"
"""
"""A lumen with a dose each day, and one that lies idle."""

SECRET = "a-secret-of-this-test-that-nobody-else-knows"


@dataclass
class Home:
    """One household: its clock, which stands until a test moves it, and what the daemon would say of itself."""

    folder: Path
    clock: str
    edits: str = TWO_LUMENS
    text: str = ""
    look_every: float = 15.0
    health: Health = field(default_factory=lambda: Health(started=0.0, last_tick=None))
    changes: int = 0
    stop: Callable[[], None] = lambda: None

    def __post_init__(self) -> None:
        self.plan = self.folder / "plan.toml"
        self.plan.write_text(self.text or small_plans.plan_text(self.edits), encoding="utf-8")
        self.move(self.clock)
        self.health = Health(started=self.seconds, last_tick=self.seconds)
        self.keeper = Keeper(self.plan, lambda: self.seconds)
        self.phones = Phones(self.folder / "secrets" / "secrets.json", lambda: self.seconds)
        self.desk = Desk(
            keeper=self.keeper,
            phones=self.phones,
            feed=Feed(self.folder / "feed"),
            now=lambda: self.seconds,
            health=self._healthy,
            secret=SECRET,
            home=f"http://127.0.0.1/{SECRET}/",
            changed=self._changed,
        )

    def _healthy(self) -> Health:
        """Say what the daemon would: the keeper's trouble is among its own."""
        trouble = self.keeper.trouble
        return replace(self.health, troubles=[*([trouble] if trouble else []), *self.health.troubles])

    def _changed(self) -> None:
        self.changes += 1

    def move(self, clock: str, *, ticked: bool = True) -> None:
        """Set the clock to ``06-01 09:00`` of the home zone; the daemon has just looked at everything unless not ``ticked``."""
        self.seconds = at(clock) * 60.0
        if ticked:
            self.health = Health(
                started=self.health.started,
                last_tick=self.seconds,
                pop_ups=self.health.pop_ups,
                raised=self.health.raised,
                troubles=self.health.troubles,
            )

    def app(self) -> ASGIApp:
        """Return the page as it is served."""
        return page_app(self.desk, page_routes(self.desk, look_every=self.look_every))

    def facts(self) -> list[Fact]:
        """Return the standing facts that somebody reported, in the order in which they were entered."""
        record = self.keeper.household.record
        kinds = {"plan put in use", "withdrawn", "calendar published"}
        return [f for f in record.facts if f.kind.value not in kinds and f.key not in record.withdrawn]

    def said(self) -> list[str]:
        """Return these facts in short: when they happened, what, and everything else that they say."""
        return [short(fact, self) for fact in self.facts()]


def short(fact: Fact, home: Home) -> str:
    """Say a fact in short, without its keys."""
    shown = home.keeper.schedule.plan.clock.local(fact.happened)
    parts = [f"{shown:%m-%d %H:%M%z}", fact.kind.value]
    told = ("order", "dose", "lumen", "volume", "by", "said_by", "note", "name", "count")
    parts += [f"{name}={getattr(fact, name)}" for name in told if getattr(fact, name)]
    if fact.sign is not None:
        parts.append(f"sign={fact.sign.value}")
    if fact.fluids:
        parts.append(f"fluids={','.join(fact.fluids)}")
    if fact.until is not None:
        parts.append(f"until={home.keeper.schedule.plan.clock.local(fact.until):%m-%d %H:%M}")
    if fact.planned_for is not None:
        parts.append(f"planned_for={home.keeper.schedule.plan.clock.local(fact.planned_for):%m-%d %H:%M}")
    parts += [name for name in ("again", "elsewhere", "lumen_used") if getattr(fact, name)]
    return " ".join(parts)


@dataclass
class Pressed:
    """A button of a form: its words, and what the form would send."""

    words: str
    action: str
    fields: list[tuple[str, str]]


class _Reader(HTMLParser):
    """Reads the forms of a page as a browser without scripts would send them untouched."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[tuple[str, list[tuple[str, str]], list[tuple[str, str, str]]]] = []
        self._form: tuple[str, list[tuple[str, str]], list[tuple[str, str, str]]] | None = None
        self._select = ""
        self._chosen: str | None = None
        self._button: tuple[str, str] | None = None
        self._text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        if tag == "form" and told.get("method") == "post":
            self._form = (told["action"], [], [])
            self.forms.append(self._form)
        elif self._form is None:
            return
        elif tag == "input" and (told.get("type") != "checkbox" or "checked" in told):
            self._form[1].append((told["name"], told.get("value", "")))
        elif tag == "select":
            self._select, self._chosen = told["name"], None
        elif tag == "option" and self._select and (self._chosen is None or "selected" in told):
            self._chosen = told.get("value", "")
        elif tag == "button" and told.get("type", "submit") == "submit":
            self._button, self._text = (told.get("name", ""), told.get("value", "")), ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        elif tag == "select" and self._form is not None:
            self._form[1].append((self._select, self._chosen or ""))
            self._select = ""
        elif tag == "button" and self._form is not None and self._button is not None:
            self._form[2].append((" ".join(self._text.split()), *self._button))
            self._button = None

    def handle_data(self, data: str) -> None:
        self._text += data


def buttons(html: str) -> list[Pressed]:
    """Return every button of a page with what pressing it would send; the one that says nothing is left out."""
    reader = _Reader()
    reader.feed(html)
    found = []
    for action, fields, pressed in reader.forms:
        for words, name, value in pressed:
            if value != "verb=":
                found.append(Pressed(words, action, [*fields, *([(name, value)] if name else [])]))
    return found


def text_of(html: str) -> str:
    """Return what a page says in its main part, in one line."""
    main = re.search(r"<main.*?</main>", html, re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", main[0] if main else html)).split())


class Browser:
    """A browser without scripts, with one page open at a time."""

    def __init__(self, home: Home, client: AsyncClient, runner: asyncio.Runner) -> None:
        self.home, self._client, self._runner = home, client, runner
        self.answer: Response
        self.open("./")

    def open(self, address: str) -> "Browser":
        """Open an address, relative to the page's root."""
        self.answer = self._runner.run(self._client.get(f"/{SECRET}/{address.removeprefix('./')}"))
        return self

    def post(self, address: str, body: dict[str, list[str]], **headers: str) -> "Browser":
        """Send a form."""
        self.answer = self._runner.run(self._client.post(f"/{SECRET}/{address}", data=body, headers=headers))
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
    def buttons(self) -> list[str]:
        """Return the words of its buttons."""
        return [button.words for button in buttons(self.html)]

    def find(self, words: str, number: int = 0) -> Pressed:
        """Return a button by its words."""
        fitting = [button for button in buttons(self.html) if button.words == words]
        assert len(fitting) > number, f"{words!r} is none of {self.buttons}"
        return fitting[number]

    def press(self, words: str, number: int = 0, /, **changed: str) -> "Browser":
        """Press a button, with some fields changed before."""
        return self.send(self.find(words, number), **changed)

    def send(self, pressed: Pressed, /, **changed: str) -> "Browser":
        """Send a form as it was found, with some fields changed; a ticked box is added."""
        fields = [(name, changed.pop(name, value)) for name, value in pressed.fields]
        fields += list(changed.items())
        body: dict[str, list[str]] = {}
        for name, value in fields:
            body.setdefault(name, []).append(value)
        return self.post(pressed.action, body)

    def follow(self, words: str, number: int = 0) -> "Browser":
        """Follow a link by its words."""
        links = re.findall(r'<a [^>]*?href="([^"]*)"[^>]*>(.*?)</a>', self.html, re.DOTALL)
        fitting = [
            unescape(to) for to, inner in links if " ".join(unescape(re.sub("<.*?>", "", inner)).split()) == words
        ]
        assert len(fitting) > number, f"{words!r} is none of {[inner for _to, inner in links]}"
        return self.open(fitting[number])


@contextmanager
def browsing(home: Home) -> Iterator[Browser]:
    """Open the page of a household in a browser without scripts."""
    transport = ASGITransport(app=home.app(), client=("127.0.0.1", 40000))
    with asyncio.Runner() as runner:
        client = AsyncClient(transport=transport, base_url="http://127.0.0.1", follow_redirects=True)
        try:
            yield Browser(home, client, runner)
        finally:
            runner.run(client.aclose())


__all__ = ["SECRET", "TWO_LUMENS", "Browser", "Home", "Raised", "browsing", "buttons", "short", "text_of"]
