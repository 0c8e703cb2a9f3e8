"""A real mail server for tests, by aiosmtpd: with or without TLS and a login, and able to refuse; and one that keeps to a script."""

import socket
import ssl
import subprocess
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from readers.readers import need

aiosmtpd_controller = pytest.importorskip("aiosmtpd.controller", reason="not run: aiosmtpd is not installed")
aiosmtpd_smtp = pytest.importorskip("aiosmtpd.smtp", reason="not run: aiosmtpd is not installed")

HOST = "localhost"


@dataclass(frozen=True, slots=True)
class Certificate:
    """A certificate that signs itself, and its key; as files."""

    file: Path
    key: Path

    def context(self) -> ssl.SSLContext:
        """Return how a server shows it."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.file, self.key)
        return context


def certificate_for(folder: Path, name: str = HOST) -> Certificate:
    """Make a certificate for a name of this computer."""
    openssl = need("openssl", "openssl")
    found = Certificate(folder / f"{name}.pem", folder / f"{name}-key.pem")
    subprocess.run(
        [openssl, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
         "-subj", f"/CN={name}", "-addext", f"subjectAltName=DNS:{name}", "-keyout", found.key, "-out", found.file],
        check=True, capture_output=True,
    )  # fmt: skip
    return found


@dataclass
class Inbox:
    """What a server got: each e-mail with its sender and receivers; who tried to log in. ``refuses`` maps an address, or
    ``DATA``, to the answer by which it is refused."""

    port: int = 0
    mails: list[tuple[str, tuple[str, ...], bytes]] = field(default_factory=list)
    logins: list[tuple[str, str]] = field(default_factory=list)
    encrypted: list[bool] = field(default_factory=list)
    refuses: dict[str, str] = field(default_factory=dict)
    login_answer: str = ""

    async def handle_RCPT(  # noqa: N802 - the library calls it so
        self, _server: Any, _session: Any, envelope: Any, address: str, _options: Any
    ) -> str:
        """Take a receiver, or refuse one."""
        if address in self.refuses:
            return self.refuses[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        """Take an e-mail, or refuse it."""
        self.encrypted.append(session.ssl is not None)
        if "DATA" in self.refuses:
            return self.refuses["DATA"]
        self.mails.append((envelope.mail_from, tuple(envelope.rcpt_tos), envelope.original_content))
        return "250 OK"

    def login(self, _server: Any, _session: Any, _envelope: Any, _way: str, given: Any) -> Any:
        """Take the login of ``ana`` with the right password."""
        user, password = given.login.decode(), given.password.decode()
        self.logins.append((user, password))
        right = (user, password) == ("ana", PASSWORD)
        if right or not self.login_answer:
            return aiosmtpd_smtp.AuthResult(success=right, handled=False)
        return aiosmtpd_smtp.AuthResult(success=False, handled=False, message=self.login_answer)


PASSWORD = "correct horse b\\attery"


@contextmanager
def mail_server(
    *, starttls: Certificate | None = None, tls: Certificate | None = None, login: bool = False, most: int = 30_000_000
) -> Iterator[Inbox]:
    """Run a mail server on a free port of this computer."""
    inbox = Inbox()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        inbox.port = probe.getsockname()[1]
    options: dict[str, Any] = {"data_size_limit": most}
    if starttls is not None:
        options |= {"tls_context": starttls.context(), "require_starttls": True}
    if login:
        options |= {
            "authenticator": inbox.login,
            "auth_required": True,
            "auth_require_tls": tls is None and starttls is not None,
        }
    if tls is not None:
        options["ssl_context"] = tls.context()
    controller = aiosmtpd_controller.Controller(
        inbox, hostname="127.0.0.1", port=inbox.port, server_hostname=HOST, **options
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # that a login without TLS is unwise, which is what is tried
        controller.start()
        try:
            yield inbox
        finally:
            controller.stop()


@contextmanager
def scripted(answers: Sequence[bytes | None]) -> Iterator[int]:
    """Run a server that gives these answers, one to each line it gets, the first as a greeting; None hangs up. Yield its port."""
    listening = socket.create_server(("127.0.0.1", 0))
    done = threading.Event()

    def serve() -> None:
        connection, _address = listening.accept()
        with connection, connection.makefile("rwb") as lines:
            for number, answer in enumerate(answers):
                if number and not lines.readline():
                    return
                if answer is None:
                    return
                lines.write(answer)
                lines.flush()
            done.wait(20)  # it says nothing more

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield int(listening.getsockname()[1])
    finally:
        done.set()
        listening.close()
        thread.join(10)
