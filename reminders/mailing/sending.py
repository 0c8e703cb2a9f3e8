"""An e-mail to a mail server by SMTP: always encrypted, its certificate checked; in the clear only within this computer.

The password is handed through and kept nowhere. Whatever goes wrong is told in plain words; the e-mail's file is untouched.
"""

import base64
import contextlib
import ipaddress
import smtplib
import ssl
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

TLS_PORT = 465
"""The port on which a server expects TLS from the first byte on (RFC 8314, 3.3); on any other STARTTLS comes first."""

PATIENCE = 60.0
"""Seconds after which a server that says nothing is given up."""

NOBODY = "[127.0.0.1]"
"""How this computer greets a server: with an address that tells nothing (RFC 5321, 4.1.3), not with its name."""

SECRET_SHOWN = "(the password)"


@dataclass(frozen=True, slots=True)
class Server:
    """A mail server: its name and port, who logs in (nobody if empty), and the file of a certificate authority that is
    trusted besides those of this computer."""

    host: str
    port: int
    user: str = ""
    authority: Path | None = None


@dataclass(frozen=True, slots=True)
class Sent:
    """What came of it: who was refused, with the server's reason. Everybody else's copy was accepted by the server.
    ``encrypted``: false where it went in the clear, within this computer."""

    refused: dict[str, str]
    encrypted: bool = True


class SendingError(Exception):
    """The e-mail was not sent, or it is not certain that it was (``uncertain``); its text says why and what to do."""

    def __init__(self, text: str, *, uncertain: bool = False) -> None:
        """Take what is told."""
        super().__init__(text)
        self.uncertain = uncertain


def server_of(text: str, user: str = "", authority: Path | None = None) -> Server:
    """Return the server that somebody typed as ``HOST:PORT``, such as ``mail.fennimore.example:587`` or ``[::1]:25``.

    Raises:
        ValueError: it is not of this form; its text says what is expected.
    """
    host, colon, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    usable = colon and host and host.isprintable() and " " not in host and port.isascii() and port.isdigit()
    if not usable or not 1 <= int(port) <= 65535:
        raise ValueError(_("write the server as HOST:PORT, such as mail.fennimore.example:587"))
    return Server(host, int(port), user, authority)


def send(
    content: bytes,
    sender: str,
    recipients: Sequence[str],
    server: Server,
    password: Callable[[], str],
    *,
    patience: float = PATIENCE,
) -> Sent:
    """Hand an e-mail to a server. ``password`` is asked for only once the connection is safe, and only for a login.

    Raises:
        SendingError: it was refused or could not be handed over, or nobody knows whether it was.
    """
    secrets: list[str] = []
    handed_over = encrypted = False

    def hide(text: str) -> str:
        return _hidden(text, server, secrets)

    def asked() -> str:
        secrets.append(password())
        return secrets[0]

    try:
        with _connected(server, patience) as connection:
            if server.user:
                _log_in(connection, server, asked)
            _not_too_large(connection, content, server)
            encrypted = _is_encrypted(connection)
            handed_over = True
            refused = connection.sendmail(sender, list(recipients), content)
    except SendingError as error:
        raise SendingError(hide(str(error)), uncertain=error.uncertain) from None
    except (smtplib.SMTPException, OSError, ValueError) as error:
        told, uncertain = _explained(error, server, handed_over, hide)
        raise SendingError(hide(told), uncertain=uncertain) from None
    return Sent({address: _reply(*reason, hide) for address, reason in refused.items()}, encrypted)


@contextmanager
def _connected(server: Server, patience: float) -> Iterator[smtplib.SMTP]:
    """Yield a connection that nobody can listen to."""
    context = ssl.create_default_context()
    if server.authority is not None:
        try:
            context.load_verify_locations(cafile=server.authority)
        except (OSError, ssl.SSLError):
            raise SendingError(
                _('"{file}" holds no certificate that can be read (a file in PEM form is expected).').format(
                    file=server.authority
                )
            ) from None
    if server.port == TLS_PORT:
        connection: smtplib.SMTP = smtplib.SMTP_SSL(
            server.host, server.port, local_hostname=NOBODY, timeout=patience, context=context
        )
    else:
        connection = smtplib.SMTP(server.host, server.port, local_hostname=NOBODY, timeout=patience)
    try:
        connection.ehlo_or_helo_if_needed()
        if server.port != TLS_PORT:
            _encrypt(connection, server, context)
        yield connection
    finally:
        with contextlib.suppress(smtplib.SMTPException, OSError):
            connection.quit()
        connection.close()


def _encrypt(connection: smtplib.SMTP, server: Server, context: ssl.SSLContext) -> None:
    """Begin TLS; go on without it only if the server is this computer and has none."""
    if not connection.has_extn("starttls"):
        if _is_this_computer(connection, server):
            return
        raise SendingError(
            _(
                "{host} offers no encryption on port {port}, so nothing was sent: others could read along. Ask whoever runs the mail "
                "server for the port with TLS (often 465 or 587)."
            ).format(host=server.host, port=server.port)
        )
    connection.starttls(context=context)
    connection.ehlo_or_helo_if_needed()


def _is_this_computer(connection: smtplib.SMTP, server: Server) -> bool:
    """Say whether this computer was typed, and the connection ends in it: another name can lead here, through a tunnel too."""
    assert connection.sock is not None, "it is connected"
    try:
        typed = ipaddress.ip_address(server.host).is_loopback
    except ValueError:
        typed = server.host.lower() == "localhost"
    return typed and ipaddress.ip_address(connection.sock.getpeername()[0]).is_loopback


def _is_encrypted(connection: smtplib.SMTP) -> bool:
    return isinstance(connection.sock, ssl.SSLSocket)


def _log_in(connection: smtplib.SMTP, server: Server, password: Callable[[], str]) -> None:
    if not connection.has_extn("auth"):
        raise SendingError(
            _(
                "{host} does not let anybody log in on port {port}. Is it the port for sending (often 465 or 587)? Nothing was sent."
            ).format(host=server.host, port=server.port)
        )
    if not _is_encrypted(connection):
        raise SendingError(
            _(
                "{host} offers no encryption on port {port}, and a password is never sent without. Nothing was sent."
            ).format(host=server.host, port=server.port)
        )
    try:
        connection.login(server.user, password())
    except UnicodeEncodeError:
        raise SendingError(
            _("User name or password holds a letter that this way of logging in cannot carry. Nothing was sent.")
        ) from None


def _not_too_large(connection: smtplib.SMTP, content: bytes, server: Server) -> None:
    """Ask first whether the server takes so much (RFC 1870), instead of sending it for nothing."""
    most = connection.esmtp_features.get("size", "")
    if most.isdigit() and 0 < int(most) < len(content):
        raise SendingError(_too_large(server, len(content), int(most)))


def _too_large(server: Server, size: int, most: int) -> str:
    return _(
        "The e-mail is too large for {host}: it has {size:.1f} MB, and at most {most:.1f} MB are taken. Nothing was sent. Hand the "
        "files over in another way."
    ).format(host=server.host, size=size / 1e6, most=most / 1e6)


def _explained(error: Exception, server: Server, handed_over: bool, hide: Callable[[str], str]) -> tuple[str, bool]:
    """Say what went wrong, and whether the e-mail may have been sent all the same."""
    host, port = server.host, server.port
    match error:
        case smtplib.SMTPAuthenticationError():
            return _(
                "{host} refused the login of {user}: {reply} Check the user name and the password; some services want one made for "
                "programs. Nothing was sent."
            ).format(host=host, user=server.user, reply=_reply(error.smtp_code, error.smtp_error, hide)), False
        case smtplib.SMTPRecipientsRefused():
            told = "; ".join(f"{address}: {_reply(*reason, hide)}" for address, reason in error.recipients.items())
            return _("{host} refused everybody it was to go to, so nothing was sent: {told}").format(
                host=host, told=told
            ), False
        case smtplib.SMTPSenderRefused():
            reply = _reply(error.smtp_code, error.smtp_error, hide)
            return _("{host} refused the sender {sender}, so nothing was sent: {reply}").format(
                host=host, sender=error.sender, reply=reply
            ), False
        case smtplib.SMTPDataError() | smtplib.SMTPConnectError() | smtplib.SMTPHeloError():
            return _("{host} refused the e-mail, so nothing was sent: {reply}").format(
                host=host, reply=_reply(error.smtp_code, error.smtp_error, hide)
            ), False
        case ssl.SSLCertVerificationError():
            return _(
                "The certificate of {host} cannot be trusted ({why}), so nothing was sent: somebody could be listening. Is the name of "
                "the server right? If the server has a certificate authority of its own, name its file with --authority."
            ).format(host=host, why=error.verify_message), False
        case ssl.SSLError():
            return _("No encrypted connection to {host} on port {port} came about, so nothing was sent.").format(
                host=host, port=port
            ), False
        case smtplib.SMTPException() | OSError() if handed_over:
            return _(
                "The connection to {host} broke off while the e-mail was handed over. It is not certain whether it was sent: ask "
                "whoever should have it before you send it again."
            ).format(host=host), True
    return _unreached(error, host, port), False


def _unreached(error: Exception, host: str, port: int) -> str:
    match error:
        case TimeoutError() | smtplib.SMTPServerDisconnected() if _ran_out_of_time(error):
            return _("{host} did not answer on port {port} in time. Nothing was sent. Try again later.").format(
                host=host, port=port
            )
        case ConnectionRefusedError():
            return _("Nothing answers on port {port} of {host}. Is the port right? Nothing was sent.").format(
                host=host, port=port
            )
        case smtplib.SMTPServerDisconnected() | ConnectionError():
            return _(
                "{host} broke the connection off on port {port}. Is it the port of a mail server for sending (465: TLS at once; 587 and "
                "others: STARTTLS)? Nothing was sent."
            ).format(host=host, port=port)
        case UnicodeError() | OSError():
            return _(
                "No server named {host} can be reached ({why}). Check the name, and whether this computer is connected. Nothing was sent."
            ).format(host=host, why=(error.strerror if isinstance(error, OSError) else None) or _("no such name"))
    return _("{host} does not do what sending needs: {why}. Nothing was sent.").format(host=host, why=error)


def _ran_out_of_time(error: Exception) -> bool:
    """Say whether it was waited for long enough; the library tells a silence after the greeting only in its words."""
    return isinstance(error, TimeoutError) or "timed out" in str(error)


def _reply(code: int, text: bytes | str, hide: Callable[[str], str]) -> str:
    """Return what a server said, on one line and without anything that a terminal would obey; what is hidden goes first, as
    it was said."""
    said = text.decode("utf-8", errors="replace") if isinstance(text, bytes) else text
    shown = " ".join("".join(letter if letter.isprintable() else " " for letter in hide(said)).split())
    return f"{code} {shown[:300]}"


def _hidden(text: str, server: Server, secrets: Sequence[str]) -> str:
    """Take the password out of what is told, in case a server repeats what it was sent (RFC 4616, RFC 4954)."""
    for secret in filter(None, secrets):
        plain = [secret, f"\0{server.user}\0{secret}"]
        encoded = [base64.b64encode(form.encode("utf-8", errors="replace")).decode() for form in plain]
        for form in (*encoded, secret):
            text = text.replace(form, SECRET_SHOWN)
    return text
