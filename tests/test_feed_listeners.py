"""Where the daemon listens: this computer and the home network, ports, certificates; and what it never writes into a log."""

import asyncio
import logging
import signal
import socket
import ssl
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import pytest
from feed_home import PAGE, FeedHome, feed_home  # noqa: F401
from readers.readers import need

import reminders.web.serving
from reminders.web.guard import Gate, plain_errors, same
from reminders.web.server import DEFAULT_PORT, ListenError, Listeners, Listening, own_addresses, own_names


def port_of(address: str) -> int:
    """Return the port in an address."""
    port = urlsplit(address).port
    assert port is not None
    return port


def refused(address: str, port: int) -> bool:
    """Say whether nobody listens there."""
    with socket.socket() as caller:
        caller.settimeout(5)
        return caller.connect_ex((address, port)) != 0


# What is reached from where


def test_by_default_only_this_computer_is_answered(home: FeedHome) -> None:
    """Page and feed on the loopback; from the home network nothing can be reached, and the desk knows."""
    phone = home.desk.phones.add("Ana")
    with home.listening() as listeners:
        port = port_of(home.desk.home)
        assert home.desk.home == f"http://127.0.0.1:{port}/{home.desk.secret}/"
        assert (tuple(home.desk.feeds), tuple(home.desk.pages)) == ((), ())
        assert httpx.get(home.desk.home).text == "the page"
        assert httpx.get(f"http://127.0.0.1:{port}/f/{phone.token}/calendar.ics").status_code == 200
        assert all(refused(address, port) for address in own_addresses())
        assert all(refused(address, port + 1) for address in own_addresses())
        assert listeners.alive
    assert refused("127.0.0.1", port)
    assert not listeners.alive


def test_the_home_network_reaches_the_feed_alone(home: FeedHome) -> None:
    """By a listener of its own whose app has no route to the page, whatever is asked for."""
    phone = home.desk.phones.add("Ana")
    with home.listening(lan=True, names=["care.example"]):
        assert not home.desk.pages
        assert len(home.desk.feeds) == 1 + len(own_names()) + len(own_addresses())
        port = port_of(home.desk.feeds[0])
        root = f"http://127.0.0.1:{port}"
        for host in (urlsplit(begin).netloc for begin in home.desk.feeds):
            answer = httpx.get(f"{root}/f/{phone.token}/calendar.ics", headers={"Host": host})
            assert answer.status_code == 200
        for path in (f"/{home.desk.secret}/", f"/{home.desk.secret}", "/", f"/f/{home.desk.secret}/"):
            assert httpx.get(root + path).status_code == 404
        assert httpx.get(f"{root}/f/{phone.token}/calendar.ics", headers={"Host": "evil.example"}).status_code == 421
        for address in own_addresses():
            assert not refused(address, port)
            assert refused(address, port_of(home.desk.home)), "the page's own port is not open to it"


def test_an_address_that_this_computer_got_later_is_answered(home: FeedHome, monkeypatch: pytest.MonkeyPatch) -> None:
    """A laptop changes networks while the daemon runs."""
    monkeypatch.setattr("reminders.web.server.own_addresses", list)
    monkeypatch.setattr("reminders.web.server.own_names", lambda: ["laptop.local"])
    phone = home.desk.phones.add("Ana")
    with home.listening(lan=True):
        assert [urlsplit(begin).hostname for begin in home.desk.feeds] == ["laptop.local"]
        port = port_of(home.desk.feeds[0])
        for address in own_addresses():
            assert httpx.get(f"http://{address}:{port}/f/{phone.token}/calendar.ics").status_code == 200


def test_the_page_is_in_the_home_network_only_if_asked(home: FeedHome) -> None:
    """Then its addresses are told."""
    with home.listening(lan=True, page_on_lan=True, names=["care.example"]):
        assert home.desk.pages
        port = port_of(home.desk.pages[0])
        assert all(page.endswith(f":{port}/{home.desk.secret}/") for page in home.desk.pages)
        assert httpx.get(f"http://127.0.0.1:{port}/{home.desk.secret}/").text == "the page"


def test_further_gates_are_on_this_computer_alone(home: FeedHome) -> None:
    """Even where the page is shown in the home network."""
    gate = Gate(prefix="/once/", holder=lambda given: given if same(given, "x") else None, app=plain_errors(PAGE))
    with home.listening(lan=True, page_on_lan=True, names=["care.example"], gates=[gate]):
        assert httpx.get(f"http://127.0.0.1:{port_of(home.desk.home)}/once/x/").text == "the page"
        assert httpx.get(home.desk.home).text == "the page"
        assert httpx.get(f"http://127.0.0.1:{port_of(home.desk.feeds[0])}/once/x/").status_code == 404


def test_a_name_that_was_given_comes_first(home: FeedHome) -> None:
    """It is what the certificate, or the household's own network, calls this computer."""
    phone = home.desk.phones.add("Ana")
    with home.listening(lan=True, names=["care.example"]):
        port = port_of(home.desk.feeds[0])
        assert home.desk.feeds[0] == f"http://care.example:{port}/f/"
        address = f"http://127.0.0.1:{port}/f/{phone.token}/calendar.ics"
        assert httpx.get(address, headers={"Host": f"care.example:{port}"}).status_code == 200


# Ports


def listen_error(listeners: Listeners) -> str:
    """Return why listening fails."""

    async def fails() -> str:
        with pytest.raises(ListenError) as error:
            await listeners.start()
        return str(error.value)

    return asyncio.run(fails())


def test_a_port_in_use_is_named(home: FeedHome) -> None:
    """With what to do; and nothing is left listening, whichever of both ports is taken."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        said = listen_error(Listeners(home.desk, PAGE, Listening(port=taken)))
        assert f"Port {taken} is in use" in said
        assert f"reminders run --port {taken + 10} " in said
    with socket.socket() as other:
        while True:  # a free port whose neighbour is taken by us
            other.bind(("0.0.0.0", 0))
            taken = other.getsockname()[1]
            if taken > 1025 and refused("127.0.0.1", taken - 1):
                break
        other.listen()
        said = listen_error(Listeners(home.desk, PAGE, Listening(port=taken - 1, lan=True)))
        assert f"Port {taken} is in use" in said
        assert refused("127.0.0.1", taken - 1)


@pytest.mark.parametrize(("port", "lan"), [(70_000, False), (-1, False), (65_535, True), (70_000, True), (-1, True)])
def test_a_port_that_there_is_not(home: FeedHome, port: int, lan: bool) -> None:
    """The home network's is one higher, so the last one will not do either."""
    said = listen_error(Listeners(home.desk, PAGE, Listening(port=port, lan=lan)))
    assert str(port) in said
    assert "hoose" in said


def test_the_port_is_the_same_each_time(home: FeedHome) -> None:
    """Phones keep the address, so it is no accident."""
    assert DEFAULT_PORT == 4870
    assert Listening().port == DEFAULT_PORT


# Certificates


@pytest.fixture(name="certificate", scope="module")
def a_certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Give tests a certificate that signs itself, for localhost, and its key."""
    openssl = need("openssl", "openssl")
    folder = tmp_path_factory.mktemp("tls")
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    subprocess.run(
        [openssl, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
         "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1",
         "-keyout", key, "-out", certificate],
        check=True, capture_output=True,
    )  # fmt: skip
    return certificate, key


def test_with_a_certificate_the_home_network_is_served_encrypted(
    home: FeedHome, certificate: tuple[Path, Path]
) -> None:
    """Who knows the certificate is answered; who does not is refused by the phone's side; unencrypted nothing is told."""
    phone = home.desk.phones.add("Ana")
    path = f"/f/{phone.token}/calendar.ics"
    with home.listening(lan=True, names=["localhost"], certificate=certificate[0], key=certificate[1]):
        assert all(begin.startswith("https://") for begin in home.desk.feeds)
        port = port_of(home.desk.feeds[0])
        context = ssl.create_default_context(cafile=str(certificate[0]))
        answer = httpx.get(f"https://localhost:{port}{path}", verify=context)
        assert (answer.status_code, answer.content) == (200, home.file.read_bytes())
        with pytest.raises(httpx.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
            httpx.get(f"https://localhost:{port}{path}", verify=ssl.create_default_context())
        with pytest.raises(httpx.TransportError):
            httpx.get(f"http://localhost:{port}{path}")
        old = ssl.create_default_context(cafile=str(certificate[0]))
        old.maximum_version = ssl.TLSVersion.TLSv1_2
        assert httpx.get(f"https://localhost:{port}{path}", verify=old).status_code == 200
        assert home.desk.home.startswith("http://127.0.0.1:"), "on this computer nothing crosses a network"


def test_a_certificate_that_cannot_be_used_is_said(
    home: FeedHome, certificate: tuple[Path, Path], tmp_path: Path
) -> None:
    """Which file, and why: missing, no certificate, another's key, a key with a password; nobody is asked for one."""
    right, key = certificate
    none, nonsense, locked, other = (
        tmp_path / name for name in ("none.pem", "nonsense.pem", "locked.pem", "other.pem")
    )
    nonsense.write_text("no certificate")
    openssl = need("openssl", "openssl")
    subprocess.run(
        [openssl, "ec", "-in", key, "-out", locked, "-aes256", "-passout", "pass:x"], check=True, capture_output=True
    )
    subprocess.run(
        [openssl, "ecparam", "-name", "prime256v1", "-genkey", "-noout", "-out", other],
        check=True, capture_output=True,
    )  # fmt: skip
    for given, private, named in (
        (none, key, none),
        (right, none, none),
        (nonsense, key, nonsense),
        (right, nonsense, nonsense),
        (right, other, other),
        (right, locked, locked),
        (right, None, right),
    ):
        said = listen_error(Listeners(home.desk, PAGE, Listening(port=0, lan=True, certificate=given, key=private)))
        assert f'"{named}"' in said
    assert "--certificate" in listen_error(Listeners(home.desk, PAGE, Listening(port=0, lan=True, key=key)))


def test_a_head_has_no_body_on_the_wire(home: FeedHome) -> None:
    """RFC 9110, 9.3.2: what follows the head would be taken for the next answer."""
    phone = home.desk.phones.add("Ana")
    with home.listening():
        for path in (f"/f/{phone.token}/calendar.ics", f"/{home.desk.secret}/", "/wrong"):
            with socket.create_connection(("127.0.0.1", port_of(home.desk.home))) as caller:
                caller.settimeout(10)
                caller.sendall(f"HEAD {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
                answer = b"".join(iter(lambda: caller.recv(65536), b""))
            head, _, body = answer.partition(b"\r\n\r\n")
            assert (body, b"content-length: " in head.lower()) == (b"", True)


# Manners in the daemon's loop


def test_signals_stay_the_daemons(home: FeedHome) -> None:
    """Uvicorn would take SIGTERM and SIGINT for itself, and raise them again afterwards."""

    def handlers() -> list[object]:
        return [signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)]

    async def runs() -> None:
        before = handlers()
        listeners = Listeners(home.desk, PAGE, Listening(port=0, lan=True))
        await listeners.start()
        assert handlers() == before
        await listeners.stop()
        assert handlers() == before

    asyncio.run(runs())


def test_it_does_nothing_while_nobody_asks(home: FeedHome) -> None:
    """Uvicorn's own loop would wake ten times a second, which the daemon's share of the processor does not allow."""

    async def idle() -> int:
        listeners = Listeners(home.desk, PAGE, Listening(port=0, lan=True))
        await listeners.start()
        loop = asyncio.get_running_loop()
        await asyncio.sleep(0)
        timers = len([timer for timer in loop._scheduled if not timer.cancelled()])  # type: ignore[attr-defined]
        await listeners.stop()
        return timers

    assert asyncio.run(idle()) == 0


def test_what_hangs_does_not_stop_it_from_stopping(home: FeedHome) -> None:
    """A caller who has sent half a request."""
    with home.listening() as listeners, socket.create_connection(("127.0.0.1", port_of(home.desk.home))) as caller:
        caller.sendall(b"GET / HTTP/1.1\r\nHost: 127")
    assert not listeners.alive


def test_it_listens_again_on_the_same_port(home: FeedHome) -> None:
    """A daemon that was stopped is started again at once."""
    with home.listening():
        port = port_of(home.desk.home)
        httpx.get(home.desk.home)
    with home.listening(port=port):
        assert httpx.get(home.desk.home).text == "the page"


@contextmanager
def patience(monkeypatch: pytest.MonkeyPatch, seconds: float, most: int) -> Iterator[None]:
    """Make the listeners less patient."""
    monkeypatch.setattr(reminders.web.serving, "PATIENCE", seconds)
    monkeypatch.setattr(reminders.web.serving, "KEEP_ALIVE", seconds)
    monkeypatch.setattr(reminders.web.serving, "MOST_CONNECTIONS", most)
    yield


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"GET /x HTTP/1.1\r\n",
        b"GET /x HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\nGET /x",
        b"POST /x HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 1000\r\n\r\nabc",
    ],
    ids=["nothing", "half a request", "half a second request", "a body that never comes"],
)
def test_a_caller_who_does_not_go_on_is_dropped(home: FeedHome, sent: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that a few of them do not use up what the daemon may hold open."""
    with (
        patience(monkeypatch, 0.05, 100),
        home.listening(),
        socket.create_connection(("127.0.0.1", port_of(home.desk.home))) as caller,
    ):
        caller.settimeout(10)
        caller.sendall(sent)
        with suppress(ConnectionResetError):  # closed one way or the other; a time-out would be an error
            while caller.recv(4096):
                pass
        assert httpx.get(home.desk.home).text == "the page"


def test_callers_that_say_nothing_keep_nobody_out(home: FeedHome, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of too many the oldest gives way, so that whoever comes next is answered at once."""
    with patience(monkeypatch, 60, 3), home.listening():
        where = ("127.0.0.1", port_of(home.desk.home))
        held = [socket.create_connection(where) for _ in range(3)]
        for caller in held:
            caller.sendall(b"GET")
        assert httpx.get(home.desk.home).text == "the page"
        gone = [caller for caller in held if _is_closed(caller)]
        assert gone == held[: len(gone)], "the oldest first"
        assert gone
        for caller in held:
            caller.close()


def _is_closed(caller: socket.socket) -> bool:
    """Say whether the other end has let go of a connection, waiting for that a moment."""
    caller.settimeout(0.5)
    try:
        return caller.recv(1) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


# Logs


def test_no_secret_is_ever_in_a_log(home: FeedHome, caplog: pytest.LogCaptureFixture) -> None:
    """Whatever is asked and however badly, at the most talkative level; uvicorn's own words among them."""
    phone = home.desk.phones.add("Ana")
    with ExitStack() as stack:
        stack.enter_context(home.listening(lan=True))
        for name in (None, "uvicorn", "uvicorn.access", "uvicorn.error", "uvicorn.asgi"):
            stack.enter_context(caplog.at_level(logging.DEBUG, name))
        root = home.desk.home.removesuffix(f"{home.desk.secret}/")
        for path in (f"f/{phone.token}/calendar.ics", f"{home.desk.secret}/", f"{home.desk.secret}/nothing", "wrong"):
            for method in ("GET", "HEAD", "POST"):
                httpx.request(method, root + path)
        for rubbish in (
            f"GET /f/{phone.token}/calendar.ics HTTP/9.9\r\n\r\n",
            f"GET /f/{phone.token}/ calendar.ics\r\n\r\n",
            f"\x00{phone.token}\r\n\r\n",
            f"GET /f/{phone.token}/calendar.ics HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
            f"GET /f/{phone.token}/calendar.ics HTTP/1.1\r\nHost: a\r\nUpgrade: websocket\r\nConnection: upgrade\r\n\r\n",
        ):
            with socket.create_connection(("127.0.0.1", port_of(home.desk.home))) as caller:
                caller.settimeout(5)
                caller.sendall(rubbish.encode("latin-1"))
                caller.shutdown(socket.SHUT_WR)
                while caller.recv(65536):
                    pass
    said = [record for record in caplog.records if record.name.partition(".")[0] not in ("httpx", "httpcore")]
    assert said, "uvicorn says something of rubbish"
    for record in said:
        for secret in (phone.token, home.desk.secret):
            assert secret not in record.getMessage()
            assert secret not in str(record.exc_info)
