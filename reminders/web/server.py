"""Where the daemon listens: on this computer the page and the feed, and in the home network, if asked, the feed alone.

The two are apps of their own: what the home network can reach holds no route to the page.
"""

import errno
import os
import socket
import ssl
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from starlette.routing import BaseRoute

from reminders.daemon.desk import Desk
from reminders.web.feed import FEED_PREFIX, feed_gate
from reminders.web.guard import Gate, guarded, page_gate
from reminders.web.limits import Limits
from reminders.web.serving import Door, Serving

DEFAULT_PORT = 4870
"""Where this computer's page is; phones reach the feed at the next one."""

LOOPBACK, ANYWHERE = "127.0.0.1", "0.0.0.0"
"""IPv4 alone: a home's router keeps strangers out of it, and does not always do so with IPv6."""


class ListenError(Exception):
    """The daemon cannot listen; its text says why, and what to do."""


class PortError(ListenError):
    """It cannot listen at this port now; another program may let go of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """How the daemon listens.

    ``port``: of this computer; the home network's is one higher, and 0 means any free ones. ``lan``: phones in the home network
    reach the feed, and with ``page_on_lan`` the page. ``certificate``, ``key``: the files with which that is encrypted.
    ``names``: what phones call this computer by, such as the name in its certificate.
    """

    port: int = DEFAULT_PORT
    lan: bool = False
    page_on_lan: bool = False
    certificate: Path | None = None
    key: Path | None = None
    names: Sequence[str] = ()


class Listeners:
    """All that the daemon listens on, in its event loop."""

    def __init__(
        self, desk: Desk, page_routes: Sequence[BaseRoute], options: Listening, *, gates: Sequence[Gate] = ()
    ) -> None:
        """Take what to serve and where. Nothing is opened yet. ``gates``: what else this computer, and it alone, is served."""
        self._desk, self._page_routes, self._options = desk, page_routes, options
        self._gates = tuple(gates)
        self._serving: list[Serving] = []

    async def start(self) -> None:
        """Listen, and tell the desk the addresses.

        Raises:
            ListenError: a port is in use, or a certificate cannot be used; then nothing listens.
        """
        options, desk, limits = self._options, self._desk, Limits()
        if options.lan and not 0 <= options.port < 65535:
            raise ListenError(f"The port must be between 1 and 65534, not {options.port}. Choose another with --port.")
        tls = _certified(options.certificate, options.key)
        feed, page = feed_gate(desk), page_gate(desk, self._page_routes)
        home = _bound(LOOPBACK, options.port)
        own = [*self._gates, feed, page]
        self._serving = [Serving(guarded(own, limits=limits, now=desk.now), home)]
        begins: list[str] = []
        if options.lan:
            try:
                outer = _bound(ANYWHERE, options.port + 1 if options.port else 0)
            except ListenError:
                home.close()
                raise
            shown = [feed, page] if options.page_on_lan else [feed]
            known = [*options.names, *own_names(), *own_addresses()]
            self._serving.append(Serving(guarded(shown, hosts=known, limits=limits, now=desk.now), outer, tls))
            scheme, number = "http" if tls is None else "https", outer.getsockname()[1]
            begins = [f"{scheme}://{name}:{number}" for name in dict.fromkeys(known)]
        for serving in self._serving:
            await serving.start()
        desk.home = f"http://{LOOPBACK}:{home.getsockname()[1]}/{desk.secret}/"
        desk.feeds = tuple(begin + FEED_PREFIX for begin in begins)
        desk.pages = tuple(f"{begin}/{desk.secret}/" for begin in begins) if options.page_on_lan else ()

    async def stop(self) -> None:
        """Stop listening; answers under way are finished first, for a moment."""
        for serving in reversed(self._serving):
            await serving.stop()
        self._serving = []

    @property
    def alive(self) -> bool:
        """Say whether all of it still listens."""
        return bool(self._serving) and all(serving.alive for serving in self._serving)


def own_names() -> list[str]:
    """Return the names by which other devices at home may find this computer: multicast DNS (RFC 6762) knows ``.local``."""
    name = socket.gethostname().partition(".")[0].lower()
    return [f"{name}.local"] if name and name != "localhost" else []


def own_addresses() -> list[str]:
    """Return this computer's IPv4 addresses in its networks, the one that it would call others from first.

    Nothing is sent: connecting a datagram socket only chooses a way.
    """
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        try:
            way.connect(("192.0.2.1", 9))  # an address of nobody (RFC 5737)
            found.append(way.getsockname()[0])
        except OSError:
            pass  # not in any network
    try:
        told = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET, socket.SOCK_STREAM)
        found += [str(entry[4][0]) for entry in told]
    except OSError:
        pass  # it does not know itself by name
    return list(dict.fromkeys(address for address in found if not address.startswith(("127.", "0."))))


def _bound(address: str, port: int) -> socket.socket:
    """Return a socket that is bound to a port."""
    # Named as TCP, so that the event loop sends small answers at once.
    bound = Door(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":  # so that a daemon that was just stopped can be started again
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        elif hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # so that no other program can take it over
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        bound.bind((address, port))
        bound.listen()  # only this shows on every system that somebody else listens there
    except (OSError, OverflowError) as error:
        bound.close()
        raise PortError(_why_not(port, error)) from None
    bound.setblocking(False)
    return bound


def _why_not(port: int, error: Exception) -> str:
    number = getattr(error, "errno", None)
    if number == errno.EADDRINUSE:
        return (
            f"Port {port} is in use by another program, or by another plan's reminders. Close that, or choose another port: "
            f"reminders run --port {port + 10} . Phones that are subscribed already must be subscribed anew then."
        )
    if number in (errno.EACCES, errno.EPERM):
        return f"Port {port} may not be used by this user. Choose one above 1024: reminders run --port {DEFAULT_PORT} ."
    if isinstance(error, OverflowError):
        return f"There is no port {port}. Choose one between 1025 and 65534: reminders run --port {DEFAULT_PORT} ."
    return (
        f"Port {port} cannot be listened on: {getattr(error, 'strerror', None) or error}. Choose another with --port."
    )


def _certified(certificate: Path | None, key: Path | None) -> ssl.SSLContext | None:
    """Return what a listener needs to encrypt; None without a certificate."""
    if certificate is None:
        if key is not None:
            raise ListenError("A key was given without its certificate. Give both: --certificate FILE --key FILE .")
        return None
    for file in (certificate, key or certificate):
        try:
            file.read_bytes()
        except OSError as error:
            raise ListenError(f'"{file}" cannot be read: {error.strerror or error}.') from None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(certificate, key, password=_no_password)
    except (ssl.SSLError, ValueError) as error:
        raise ListenError(
            f'The certificate "{certificate}" and the key "{key or certificate}" cannot be used together '
            f"({getattr(error, 'reason', None) or error}). Both must be in PEM form, belong together, and the key must have no "
            "password."
        ) from None
    return context


def _no_password() -> str:
    """Answer instead of a person at the terminal, for whom a daemon would wait for ever."""
    raise ValueError("the key has a password")
