"""Who is let in: hosts, secrets, forms from elsewhere, how often; and that no answer and no log tells a secret.

Sources: RFC 9110 for Host, HEAD, 405 and Retry-After; the Fetch standard for Origin and Referrer-Policy; Fetch Metadata for
Sec-Fetch-Site; Content Security Policy 3. What is guarded against: DNS rebinding, forged forms, guessing, flooding.
"""

import hmac
import logging
from dataclasses import dataclass, field
from typing import Any

import httpx
import pytest
from asgi import HERE, ask, page_app, pieces
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

import reminders.web.guard
from reminders.daemon.desk import Desk
from reminders.web.guard import ERROR_WORDS, LARGEST_FORM, PAGE_HEADERS, Gate, guarded, posted, same
from reminders.web.limits import MOST_ADDRESSES, Limits

SECRET = "page-secret-0123456789-page-secret"
PRIVATE = "what somebody typed"


@dataclass
class Site:
    """A page with one form, and what was sent with it."""

    limits: Limits = field(default_factory=Limits)
    got: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Build the app."""
        nothing: Any = None
        self.desk = Desk(
            keeper=nothing,
            phones=nothing,
            feed=nothing,
            now=lambda: 0.0,
            health=nothing,
            secret=SECRET,
            changed=lambda: None,
        )
        routes = [
            Route("/", self._home),
            Route("/own", self._own),
            Route("/fails", self._fails),
            Route("/refuses", self._refuses),
            Route("/report", posted(self.desk, self._report), methods=["POST"]),
            Route("/any", posted(self.desk, self._report), methods=["GET", "POST"]),
        ]
        self.app: ASGIApp = page_app(self.desk, routes, hosts=["Laptop.Local"], limits=self.limits)

    async def _home(self, request: Request) -> Response:
        return PlainTextResponse("welcome")

    async def _own(self, request: Request) -> Response:
        return PlainTextResponse("own", headers={"Cache-Control": "private, no-cache"})

    async def _fails(self, request: Request) -> Response:
        raise RuntimeError(PRIVATE)

    async def _refuses(self, request: Request) -> Response:
        raise HTTPException(404, PRIVATE)

    async def _report(self, request: Request, form: FormData) -> Response:
        self.got.append(dict(form))
        return PlainTextResponse("done")

    def ask(self, method: str, path: str, **wanted: Any) -> httpx.Response:
        """Send one request below the secret."""
        return ask(self.app, method, f"/{SECRET}{path}", **wanted)

    def report(self, /, **wanted: Any) -> httpx.Response:
        """Send the form as the page does, but for what is said."""
        return self.ask("POST", "/report", **{"data": {"token": self.desk.form_token, "note": "é"}, **wanted})


@pytest.fixture(name="site")
def a_site() -> Site:
    """Give a test a page."""
    return Site()


# Hosts


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1:4870", 200),
        ("127.0.0.1", 200),
        ("localhost:4870", 200),
        ("LOCALHOST:4870", 200),
        ("[::1]:4870", 200),
        ("laptop.local:4870", 200),
        ("evil.example", 421),
        ("evil.example:4870", 421),
        ("127.0.0.1.evil.example:4870", 421),
        ("localhost.evil.example", 421),
        ("192.0.2.7:4870", 421),
        ("[::2]:4870", 421),
        ("localhost:4870:1", 421),
        ("127.0.0.1@evil.example", 421),
        ("0.0.0.0:4870", 421),
        ("", 421),
        (":4870", 421),
        ("[", 421),
    ],
)
def test_only_this_computers_own_names_are_answered(site: Site, host: str, status: int) -> None:
    """A website whose name was made to point here (DNS rebinding) bears its own name in Host (RFC 9110, 7.2)."""
    answer = site.ask("GET", "/", headers={"Host": host})
    assert answer.status_code == status
    assert ("welcome" in answer.text) is (status == 200)


def test_an_address_that_was_really_reached_is_known(site: Site) -> None:
    """A laptop's address changes; whoever calls it by that one has not been led here by a name."""
    assert ask(site.app, "GET", f"/{SECRET}/", base="http://192.0.2.7:4870").status_code == 200


def test_two_hosts_are_none(site: Site) -> None:
    """RFC 9110, 7.2: one Host; of two, who knows which was believed on the way."""
    headers = [("Host", "127.0.0.1:4870"), ("Host", "evil.example")]
    assert site.ask("GET", "/", headers=headers).status_code == 421


# Secrets


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "//",
        "/x",
        "/x/",
        f"/{SECRET[:-1]}/",
        f"/{SECRET}x/",
        f"/{SECRET.upper()}/",
        f"//{SECRET}/",
        f"/./x/{SECRET}/",
        "/ä/",
        "/%00/",
        "/%ff%fe/",
        "/%F0%9F%94%91/",
        "/" + "a" * 5000,
        "/f/x/calendar.ics",
        "/favicon.ico",
        f"/x?{SECRET}",
    ],
)
def test_without_the_secret_nothing_is_there(site: Site, path: str) -> None:
    """Whatever is not the secret gets the same answer, so that no answer tells how near it was."""
    site.limits.wrong_at_once = 1000
    for method in ("GET", "POST", "HEAD", "PUT"):
        answer = ask(site.app, method, path)
        assert answer.status_code == 404
        assert method == "HEAD" or answer.text == ask(site.app, "GET", "/nothing").text
        assert SECRET not in answer.text + str(answer.headers)


def test_what_is_not_there_behind_the_secret(site: Site) -> None:
    """An unknown page below the secret looks alike, and costs nobody a try."""
    for _ in range(30):
        assert site.ask("GET", "/nothing").status_code == 404
    assert ask(site.app, "GET", "/x/").status_code == 404


def test_a_secret_without_a_slash_leads_on(site: Site) -> None:
    """Links on the page are relative, so its address ends in a slash."""
    answer = site.ask("GET", "")
    assert (answer.status_code, answer.headers["Location"]) == (308, f"/{SECRET}/")


@pytest.mark.parametrize("given", ["", SECRET, SECRET + "é", "ü" * 40, "\udcff", "🔑"])
def test_secrets_are_compared_in_constant_time(given: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """By construction: all comparing is done by the library's constant-time one, on bytes, whatever was given."""
    compared: list[tuple[Any, Any]] = []
    right = hmac.compare_digest

    def seen(one: Any, other: Any) -> bool:
        compared.append((one, other))
        return right(one, other)

    monkeypatch.setattr("reminders.web.guard.hmac.compare_digest", seen)
    assert same(given, SECRET) is (given == SECRET)
    assert [(type(one), type(other)) for one, other in compared] == [(bytes, bytes)]


# Forms


def test_a_form_of_the_page_itself_is_taken(site: Site) -> None:
    """As a browser sends it, and as one does that says nothing of where it comes from."""
    assert site.report().text == "done"
    assert site.report(headers={"Origin": HERE, "Sec-Fetch-Site": "same-origin"}).text == "done"
    assert site.report(headers={"Sec-Fetch-Site": "none"}).text == "done"
    assert site.report(base="http://localhost:4870", headers={"Origin": "http://localhost:4870"}).text == "done"
    assert site.report(data=None, files={"token": (None, site.desk.form_token), "note": (None, "é")}).text == "done"
    assert [got["note"] for got in site.got] == ["é"] * 5


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": ""},
        {"Origin": "https://127.0.0.1:4870"},
        {"Origin": "http://127.0.0.1:4871"},
        {"Origin": "http://127.0.0.1"},
        {"Origin": "http://localhost:4870"},
        {"Origin": "http://127.0.0.1:4870.evil.example"},
        {"Origin": HERE, "Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "unheard-of"},
    ],
    ids=str,
)
def test_a_form_from_elsewhere_does_nothing(site: Site, headers: dict[str, str]) -> None:
    """The Fetch standard sends Origin with every POST from another site; another port is another origin."""
    answer = site.report(headers=headers)
    assert (answer.status_code, site.got) == (403, [])
    assert ERROR_WORDS[403].split(",")[0] in answer.text


@pytest.mark.parametrize("token", [None, "", "x", "é", "0" * 64, SECRET])
def test_a_form_without_its_token_does_nothing(site: Site, token: str | None) -> None:
    """A page that cannot be read from elsewhere holds it."""
    assert site.report(data={"note": "x"} | ({} if token is None else {"token": token})).status_code == 403
    assert site.got == []


def test_a_file_in_place_of_the_token_does_nothing(site: Site) -> None:
    """The token is a text."""
    answer = site.report(data=None, files={"token": ("token.txt", site.desk.form_token.encode())})
    assert (answer.status_code, site.got) == (400, [])


def test_a_form_has_a_largest_size(site: Site) -> None:
    """Whether it says how long it is, says too little, or does not say."""
    token = f"token={site.desk.form_token}&note="
    kind = {"Content-Type": "application/x-www-form-urlencoded"}

    def sent(length: int, **headers: str) -> int:
        body = (token + "x" * (length - len(token))).encode()
        return site.report(data=None, content=pieces(body[:1000], body[1000:]), headers={**kind, **headers}).status_code

    assert sent(LARGEST_FORM) == 200
    assert sent(LARGEST_FORM + 1) == 413
    assert sent(LARGEST_FORM + 1, **{"Content-Length": "10"}) == 413
    assert sent(1000, **{"Content-Length": str(LARGEST_FORM + 1)}) == 413
    assert sent(1000, **{"Content-Length": "many"}) == 413
    assert [len(got["note"]) for got in site.got] == [LARGEST_FORM - len(token)]


@pytest.mark.parametrize("kind", ["text/plain", "application/json", "", "multipart/form-data"])
def test_a_form_of_another_kind_does_nothing(site: Site, kind: str) -> None:
    """What browsers send without a form, and a form in parts that does not say where they end."""
    content = f"token={site.desk.form_token}"
    answer = site.report(data=None, content=content, headers={"Content-Type": kind})
    assert answer.status_code == (400 if "multipart" in kind else 415)
    assert site.got == []


def test_only_a_post_does_something(site: Site) -> None:
    """An address that is only opened changes nothing (RFC 9110, 9.2.1)."""
    for method in ("GET", "HEAD"):
        for path in ("/report", "/any"):
            answer = site.ask(method, f"{path}?token={site.desk.form_token}")
            assert (answer.status_code, answer.headers["Allow"]) == (405, "POST")
    assert site.got == []


# What every answer carries


@pytest.mark.parametrize("path", ["/", "/nothing", "/fails", "/refuses", "/report"])
def test_every_answer_carries_what_protects_the_page(site: Site, path: str) -> None:
    """Errors as well."""
    answer = site.ask("GET", path)
    assert {name: answer.headers[name] for name in PAGE_HEADERS} == PAGE_HEADERS
    assert answer.headers["Date"] == "Thu, 01 Jan 1970 00:00:00 GMT"  # RFC 9110, 6.6.1: the desk's clock


def test_what_the_page_may_load() -> None:
    """Nothing but its own files; nobody frames it; forms go nowhere else. (Content Security Policy 3)"""
    policy = dict(part.split(" ", 1) for part in PAGE_HEADERS["Content-Security-Policy"].split("; "))
    assert policy == {
        "default-src": "'none'",
        "style-src": "'self'",
        "script-src": "'self'",
        "img-src": "'self' data:",
        "connect-src": "'self'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
        "base-uri": "'none'",
    }
    # With no-referrer a browser would send "Origin: null" with the page's own forms (Fetch, append a request Origin header).
    assert PAGE_HEADERS["Referrer-Policy"] == "same-origin"


def test_a_route_may_say_otherwise_how_long_it_is_kept(site: Site) -> None:
    """A file that does not change need not be fetched each time."""
    assert site.ask("GET", "/own").headers["Cache-Control"] == "private, no-cache"


@pytest.mark.parametrize("path", ["/", "/nothing", "/fails", "/report", ""])
def test_a_head_is_a_get_without_its_body(site: Site, path: str) -> None:
    """RFC 9110, 9.3.2."""
    got, head = site.ask("GET", path), site.ask("HEAD", path)
    assert head.status_code == got.status_code
    assert dict(head.headers) == dict(got.headers)
    assert head.content == b""


@pytest.mark.parametrize("path", ["/fails", "/refuses", "/nothing"])
def test_an_error_tells_nothing(site: Site, path: str, caplog: pytest.LogCaptureFixture) -> None:
    """A short page in plain words; what somebody typed is neither in it nor in the log, which says where it failed."""
    with caplog.at_level(logging.DEBUG):
        answer = site.ask("GET", path)
    logged = "\n".join(record.getMessage() for record in caplog.records if record.name != "httpx")  # the one who asks
    assert answer.status_code == (500 if path == "/fails" else 404)
    assert len(answer.text) < 1000
    assert "<h1>" in answer.text
    for secret in (PRIVATE, SECRET, "Traceback"):
        assert secret not in answer.text
        assert secret not in logged
    assert ("RuntimeError at " in logged and "test_guard.py:" in logged) is (path == "/fails")


# How often


@dataclass
class Ticks:
    """Seconds, as a test sets them."""

    now: float = 0.0

    def __call__(self) -> float:
        """Return the time."""
        return self.now


@pytest.fixture(name="ticks")
def some_ticks() -> Ticks:
    """Give a test a clock of its own."""
    return Ticks()


def test_wrong_secrets_are_soon_refused_and_never_keep_out_who_knows_one(ticks: Ticks) -> None:
    """Ten at once, then one each half minute: 429 with Retry-After (RFC 6585, 4), from that address alone."""
    site = Site(Limits(ticks))
    tried = [ask(site.app, "GET", f"/{number}/", client="192.0.2.9") for number in range(15)]
    assert [answer.status_code for answer in tried] == [404] * 10 + [429] * 5
    wait = int(tried[-1].headers["Retry-After"])
    assert 30 <= wait <= 31
    assert ask(site.app, "GET", f"/{SECRET}/", client="192.0.2.9").status_code == 200
    assert ask(site.app, "GET", "/x/", client="192.0.2.10").status_code == 404
    ticks.now += wait
    assert [ask(site.app, "GET", "/x/", client="192.0.2.9").status_code for _ in range(2)] == [404, 429]


def test_a_flood_of_right_requests_is_slowed(ticks: Ticks) -> None:
    """240 at once, then 8 a second."""
    site = Site(Limits(ticks))
    assert [site.ask("GET", "/").status_code for _ in range(242)] == [200] * 240 + [429] * 2
    assert [ask(site.app, "GET", "/x/").status_code for _ in range(2)] == [404] * 2
    ticks.now += 1.01
    assert [site.ask("GET", "/").status_code for _ in range(9)] == [200] * 8 + [429]


def test_a_phone_that_asks_each_minute_for_weeks_is_never_refused(ticks: Ticks) -> None:
    """So is a household that asks for a page with ten files every five seconds."""
    limits = Limits(ticks)
    for _ in range(40_320):
        ticks.now += 60
        assert limits.right("192.0.2.7") == 0
    for _ in range(10_000):
        ticks.now += 5
        assert [limits.right("127.0.0.1") for _ in range(11)] == [0] * 11


def test_a_clock_that_is_set_back_neither_fills_nor_locks(ticks: Ticks) -> None:
    """The bucket goes on from what it held."""
    limits = Limits(ticks, right_at_once=2, right_a_second=1)
    ticks.now = 1000
    assert [limits.right("a") for _ in range(3)] == [0, 0, 1]
    ticks.now = 10
    assert limits.right("a") > 0
    ticks.now = 11
    assert limits.right("a") == 0


def test_of_many_addresses_only_the_last_are_remembered(ticks: Ticks) -> None:
    """Memory is bounded, whoever asks from however many addresses."""
    limits = Limits(ticks)
    for number in range(MOST_ADDRESSES * 3):
        limits.right(f"2001:db8::{number:x}")
        limits.wrong(f"2001:db8::{number:x}")
    assert len(limits._right) == len(limits._wrong) == MOST_ADDRESSES


# Gates


def test_gates_do_not_open_each_other(ticks: Ticks) -> None:
    """A secret is good for its own gate alone, and the app finds whose it is."""

    async def who(request: Request) -> Response:
        return PlainTextResponse(f"{request.scope['holder']} at {request.url.path}")

    def gate(prefix: str, secret: str) -> Gate:
        routes = reminders.web.guard.plain_errors([Route("/x", who)])
        return Gate(prefix=prefix, holder=lambda given: prefix if same(given, secret) else None, app=routes)

    app = guarded([gate("/f/", "one"), gate("/", "two")])
    assert ask(app, "GET", "/f/one/x").text == "/f/ at /f/one/x"
    assert ask(app, "GET", "/two/x").text == "/ at /two/x"
    for path in ("/f/two/x", "/one/x", "/f/one", "/f/x", "/f"):
        assert ask(app, "GET", path).status_code in (404, 308)
    assert ask(app, "GET", "/f/").status_code == 404
