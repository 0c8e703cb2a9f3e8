"""The page about phones: adding and removing them, their codes, the test alarm, and what it says of phones and network."""

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest
from applying import events, live
from asgi import HERE, ask, page_app
from feed_home import FeedHome, feed_home  # noqa: F401
from histories import at
from readers.readers import need, run
from starlette.types import ASGIApp

from reminders import phone_words
from reminders.feed_file import Feed
from reminders.files import FileError
from reminders.record.facts import Kind
from reminders.record.published import targets
from reminders.web.page_phones import phone_routes

FEEDS = ("http://laptop.local:4871/f/", "http://192.0.2.7:4871/f/")


class Reading(HTMLParser):
    """What a page says, and its links, forms, fields and pictures."""

    def __init__(self, content: str) -> None:
        """Read a page."""
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._text: list[str] = []
        self.feed(content)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep a tag."""
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        """Keep a text."""
        self._text.append(data)

    @property
    def text(self) -> str:
        """Return all that is said, on one line."""
        return " ".join("".join(self._text).split())

    def of(self, tag: str) -> list[dict[str, str | None]]:
        """Return the attributes of all tags of a kind."""
        return [attributes for name, attributes in self.tags if name == tag]


class Page:
    """The page of one household."""

    def __init__(self, home: FeedHome, feeds: tuple[str, ...] = FEEDS) -> None:
        """Serve it; phones reach the household at ``feeds``."""
        self.home = home
        home.desk.home, home.desk.feeds = f"{HERE}/{home.desk.secret}/", feeds
        self.app: ASGIApp = page_app(home.desk, phone_routes(home.desk))

    def get(self, address: str = "phones") -> Reading:
        """Open it."""
        answer = self.ask("GET", address)
        assert answer.status_code == 200
        return Reading(answer.text)

    def ask(self, method: str, address: str, **wanted: Any) -> httpx.Response:
        """Ask for something below the secret."""
        return ask(self.app, method, f"/{self.home.desk.secret}/{address}", **wanted)

    def send(self, address: str, **fields: str) -> Reading:
        """Send one of its forms, and return the page that comes of it; what it says it refuses is a status of 400."""
        answer = self.ask("POST", address, data={"token": self.home.desk.form_token, **fields})
        if answer.status_code == 400:
            return Reading(answer.text)
        assert answer.status_code == 303
        return self.get(answer.headers["Location"])


@pytest.fixture(name="page")
def a_page(home: FeedHome) -> Page:
    """Give a test the page of a household that phones can reach."""
    return Page(home)


# Phones


def test_a_phone_is_added_shown_and_removed(page: Page) -> None:
    """Its name, its two addresses, its links, its codes; then nothing of it."""
    assert "None yet." in page.get().text
    added = page.send("phone-add", name="Ana's <phone>")
    (ana,) = page.home.desk.phones.all()
    assert ana.name == "Ana's <phone>"
    for begin in FEEDS:
        assert f"Address to copy: {begin}{ana.token}/calendar.ics" in added.text
    links = [link["href"] for link in added.of("a") if (link["href"] or "").startswith("webcal:")]
    assert links == [phone_words.webcal(f"{begin}{ana.token}/calendar.ics") for begin in FEEDS]
    assert [details for details in added.of("details") if "open" in details]
    assert not [details for details in page.get().of("details") if "open" in details]
    assert "Ana's <phone> has not asked for the calendar yet." in added.text
    removed = page.send("phone-remove", name=ana.name)
    assert page.home.desk.phones.find(ana.token) is None
    assert ana.token not in removed.text
    assert "None yet." in removed.text


def test_the_page_s_own_address_is_shown_only_where_phones_reach_it(page: Page, tmp_path: Path) -> None:
    """With ``--page-on-lan``, with what that means, and as a code that a camera reads."""
    without = page.get()
    assert "The reminder page on a phone" not in without.text
    assert page.home.desk.secret not in without.text
    pages = [f"http://{host}:4871/{page.home.desk.secret}/" for host in ("laptop.local", "192.0.2.7")]
    page.home.desk.pages = pages
    shown = page.get()
    for text in (phone_words.PAGE_TOO, phone_words.PAGE_UNENCRYPTED):
        assert " ".join(text.split()) in shown.text
    assert [f"Address to copy: {address}" in shown.text for address in pages] == [True, True]
    page.home.desk.feeds = [begin.replace("http:", "https:") for begin in FEEDS]
    assert phone_words.PAGE_UNENCRYPTED not in page.get().text


@pytest.mark.parametrize(
    ("address", "fields", "said"),
    [
        ("phone-add", {"name": ""}, "1 to 40 letters"),
        ("phone-add", {}, "1 to 40 letters"),
        ("phone-add", {"name": "a\x00"}, "1 to 40 letters"),
        ("phone-add", {"name": "BEN"}, 'There is a phone named "BEN" already.'),
        ("phone-remove", {"name": "Ana"}, "There is no phone of that name."),
        ("phone-test", {"when": "never"}, "Choose when the test alarm is to ring."),
        ("phone-test", {}, "Choose when the test alarm is to ring."),
    ],
)
def test_what_cannot_be_done_is_said(page: Page, address: str, fields: dict[str, str], said: str) -> None:
    """In an alert, on the page itself, with what was typed kept; and nothing is done."""
    page.home.desk.phones.add("Ben")
    before = page.home.secrets.read_bytes(), page.home.file.read_bytes()
    found = page.send(address, **fields)
    assert said in found.text
    assert [tag for tag, attributes in found.tags if attributes.get("role") == "alert"] == ["p"]
    assert (page.home.secrets.read_bytes(), page.home.file.read_bytes()) == before
    if address == "phone-add" and fields.get("name") == "BEN":
        assert [field["value"] for field in found.of("input") if field.get("id") == "phone-name"] == ["BEN"]


def test_every_form_is_guarded(page: Page) -> None:
    """Without its token nothing is done; and no form is sent by opening an address."""
    for address in ("phone-add", "phone-remove", "phone-test"):
        assert page.ask("POST", address, data={"name": "Ana", "when": "soon"}).status_code == 403
        assert page.ask("GET", f"{address}?name=Ana&token={page.home.desk.form_token}").status_code == 405
    assert list(page.home.desk.phones.all()) == []
    forms = page.get().of("form")
    assert {form["action"] for form in forms} == {"phone-add", "phone-test"}
    assert all(form["method"] == "post" for form in forms)


def test_the_page_is_whole(page: Page) -> None:
    """Every field has a label, every id is there once, nothing needs a style of its own, links are relative or webcal."""
    page.send("phone-add", name="Ana")
    found = page.send("phone-add", name="Ben")
    ids = [attributes["id"] for _tag, attributes in found.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    labels = {label["for"] for label in found.of("label")}
    assert {field["id"] for field in found.of("input") if field.get("type") != "hidden"} == labels
    assert not [attributes for _tag, attributes in found.tags if "style" in attributes or "onclick" in attributes]
    for link in found.of("a"):
        assert urlsplit(link["href"] or "").scheme in ("", "webcal", "tel")
    assert all(not urlsplit(form["action"] or "").netloc for form in found.of("form"))


def test_when_each_phone_asked_is_told(page: Page) -> None:
    """And whether it has the calendar as it stands, or has been silent for too long."""
    home = page.home
    ana, ben = home.desk.phones.add("Ana"), home.desk.phones.add("Ben")
    body = Feed(home.file.parent).body()
    assert body is not None
    home.desk.phones.fetched(ana, body.etag)
    home.clock.now += 12 * 60
    said = page.get().text
    assert "Ana asked 12 min ago. It was given the calendar as it stands now." in said
    assert "Ben has not asked for the calendar yet. " in said
    home.reports("06-01 09:05", "started velmorin")
    said = page.get().text
    assert "Ana asked 1 h 5 min ago. The calendar has changed since: it does not show that yet." in said
    assert "for a long time" not in said
    home.clock.now += 26 * 3600
    said = page.get().text
    assert phone_words.silent_words(ana) in said
    assert phone_words.silent_words(ben) in said


def test_a_file_of_secrets_that_fails_is_said(page: Page) -> None:
    """The phones that are known stay."""
    page.home.desk.phones.add("Ana")
    page.home.secrets.write_bytes(b"{")
    found = page.get()
    assert "is damaged" in found.text
    assert "Ana has not asked" in found.text


# The network


def test_what_phones_can_reach_is_said(home: FeedHome) -> None:
    """With the loopback alone: plainly nothing, and how to; else what that means, and what protects or does not."""
    home.desk.phones.add("Ana")
    alone = Page(home, ()).get()
    nobody = " ".join(phone_words.NOT_REACHABLE.split())
    assert nobody in alone.text
    assert "reminders run --lan" in alone.text
    assert not alone.of("svg")
    assert f"{HERE}/f/" in alone.text
    assert phone_words.REACHABLE not in alone.text
    reached = Page(home).get().text
    assert phone_words.REACHABLE in reached
    assert phone_words.UNENCRYPTED in reached
    assert nobody not in reached
    encrypted = Page(home, ("https://laptop.local:4871/f/",)).get().text
    assert phone_words.REACHABLE in encrypted
    assert phone_words.UNENCRYPTED not in encrypted


def test_what_each_kind_of_phone_does_is_said(page: Page) -> None:
    """How to subscribe, how often it asks, what becomes of alarms; that it is a mirror; and that others report it."""
    said = page.get().text
    assert phone_words.MIRROR in said
    assert phone_words.REPORTED in said
    for kind in phone_words.KINDS:
        for text in (kind.name, kind.steps, kind.refresh, kind.alarms):
            assert text in said
    assert "It is not the alarm to rely on" in said


# Codes


def test_the_code_says_the_address_that_subscribes(page: Page, tmp_path: Path) -> None:
    """Read back by another program from the picture: black on white, four modules of quiet zone around it (ISO/IEC 18004)."""
    zbarimg = need("zbarimg", "zbarimg (zbar-tools)")
    page.send("phone-add", name="Ana")
    (ana,) = page.home.desk.phones.all()
    answer = page.ask("GET", "phones").text
    codes = re.findall(r"<svg.*?</svg>", answer, re.DOTALL)
    assert len(codes) == len(FEEDS)
    for number, (code, begin) in enumerate(zip(codes, FEEDS, strict=True)):
        assert "style=" not in code
        assert "Code that subscribes Ana" in code
        picture = tmp_path / f"code-{number}.pbm"
        picture.write_bytes(as_bitmap(code))
        read = run(zbarimg, "--quiet", "--raw", picture, home=tmp_path).strip()
        assert read == phone_words.webcal(f"{begin}{ana.token}/calendar.ics")


def as_bitmap(code: str, scale: int = 4) -> bytes:
    """Draw what a code's SVG says, as a picture that zbarimg reads; by the drawing's own words, not by the code's library.

    It is a white square, and one path of strokes a module high: moves (absolute once, then relative) and lines to the right.
    """
    side = int(re.findall(r'd="M0 0h(\d+)v\d+h-\d+z"', code)[0])
    assert re.search(r'<path fill="#fff"', code) and re.search(r'<path stroke="#000"', code)
    strokes = re.findall(r'stroke="#000" d="([^"]*)"', code)[0]
    dark = [[False] * side for _ in range(side)]
    x = y = 0.0
    for command, numbers in re.findall(r"([Mmh])([-\d. ]+)", strokes):
        values = [float(value) for value in re.findall(r"-?\d*\.?\d+", numbers)]
        if command == "M":
            x, y = values
        elif command == "m":
            x, y = x + values[0], y + values[1]
        else:
            for module in range(int(x), int(x + values[0])):
                dark[int(y)][module] = True
            x += values[0]
    quiet = [row[:4] + row[-4:] for row in dark] + dark[:4] + dark[-4:]
    assert not any(any(row) for row in quiet)
    rows = [
        " ".join("1" if module else "0" for module in row for _ in range(scale)) for row in dark for _ in range(scale)
    ]
    return f"P1\n{side * scale} {side * scale}\n{chr(10).join(rows)}\n".encode()


# The test alarm


def alarm(home: FeedHome) -> list[tuple[str, Any]]:
    """Return the test alarms in the feed that are not cancelled: title and start."""
    found = events(home.file.read_bytes())
    return [(event.summary, event.start) for event in live(found).values() if event.summary.startswith("TEST")]


@pytest.mark.parametrize(
    ("when", "rings", "words"),
    [
        ("soon", "06-01 09:15", "Mon 1 Jun 2026, 09:15 CDT"),
        ("hour", "06-01 10:05", "Mon 1 Jun 2026, 10:05 CDT"),
        ("tomorrow", "06-02 09:05", "Tue 2 Jun 2026, 09:05 CDT"),
    ],
)
def test_a_test_alarm_is_in_the_feed_and_in_nothing_else(page: Page, when: str, rings: str, words: str) -> None:
    """It rings at its time; the page says when and who must; no fact of care; afterwards it is cancelled, then gone."""
    home = page.home
    before = events(home.file.read_bytes())
    home.clock.set("06-01 09:02")
    offered = page.get().text
    assert words in offered
    found = page.send("phone-test", when=when)
    assert f"A test alarm titled TEST is in the calendar for {words}." in found.text
    shown = events(home.file.read_bytes())
    (uid,) = (uid for uid, event in shown.items() if event.summary.startswith("TEST"))
    assert int(shown[uid].start.timestamp()) == at(rings) * 60
    assert shown[uid].rings == (shown[uid].start,)
    assert {key: event for key, event in shown.items() if key != uid} == before
    assert {fact.kind for fact in home.household.record.facts} == {Kind.IN_USE, Kind.PUBLISHED}
    assert uid not in {touch.uid for touch in home.keeper.schedule.touches}
    assert all(not setting.get("stem", "").startswith("plan") for setting in targets(home.household.record).values())

    home.renews("06-03 09:06")
    gone = events(home.file.read_bytes())[uid]
    assert gone.cancelled and gone.rings == () and gone.sequence > shown[uid].sequence
    assert "A test alarm titled TEST" not in page.get().text
    home.renews("06-05 09:06")
    assert uid not in events(home.file.read_bytes())


def test_a_test_alarm_outlives_reports_and_a_restart_until_its_time(page: Page) -> None:
    """Whoever writes the calendar again meanwhile."""
    home = page.home
    page.send("phone-test", when="hour")
    before = alarm(home)
    assert len(before) == 1
    home.reports("06-01 08:30", "flushed red 08:25")
    assert alarm(home) == before
    again = FeedHome(home.folder, home.clock)
    assert alarm(again) == before
    assert "A test alarm titled TEST" in Page(again).get().text
    again.renews("06-01 09:59")
    assert alarm(again) == before
    again.renews("06-01 10:01")
    assert alarm(again) == []


def test_another_test_takes_the_place_of_the_one_before(page: Page) -> None:
    """A phone that has both shows the first as cancelled; asked for twice in a minute it is one."""
    home = page.home
    page.send("phone-test", when="soon")
    first = alarm(home)
    page.send("phone-test", when="soon")
    assert alarm(home) == first
    page.send("phone-test", when="hour")
    assert len(alarm(home)) == 1
    assert alarm(home) != first
    cancelled = [event for event in events(home.file.read_bytes()).values() if event.cancelled]
    assert [event.start for event in cancelled] == [start for _title, start in first]


def test_a_test_that_cannot_be_written_is_said(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that is full: the page says so, and the calendar stays."""

    def full(folder: Path, contents: Any, *, private: bool) -> None:
        raise FileError("The disk is full.")

    monkeypatch.setattr("reminders.publishing.write_files", full)
    before = page.home.file.read_bytes()
    assert "The disk is full." in page.send("phone-test", when="soon").text
    assert page.home.file.read_bytes() == before
