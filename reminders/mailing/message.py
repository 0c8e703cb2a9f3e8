"""Letter and files into one e-mail: its calendar part by RFC 6047, and every file as bytes that no way changes.

What is not passed in is not in it: no clock, no name of this computer. The same input gives the same bytes.
"""

import hashlib
from base64 import b64encode
from dataclasses import dataclass
from datetime import datetime
from email import errors
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from reminders.mailing.forms import html, plain
from reminders.mailing.letter import Letter, Names

UNSENT = "X-Unsent"
"""A mail program that knows this header opens the file as a draft to be sent (Microsoft documents it for MAPI and CDO)."""

CALENDAR = {"method": "PUBLISH", "charset": "UTF-8", "component": "VEVENT"}
"""RFC 6047, 2.4: the method of the MIME part is that of the calendar; RFC 5545, 8.1: charset and component."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """What a packet encloses."""

    plan: bytes
    calendar: bytes
    sheet: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """The head of an e-mail: when it was made, its id, its subject; from whom and to whom, if somebody typed that."""

    date: datetime
    message_id: str
    subject: str
    sender: Address | None = None
    to: tuple[Address, ...] = ()


class AddressError(Exception):
    """Something that is no e-mail address; its text says what is wrong with it."""


def address_of(text: str) -> Address:
    """Return the one e-mail address that somebody typed: ``nurse@fennimore.example`` or ``Ana Bell <ana@fennimore.example>``.

    Raises:
        AddressError: it is none, or more than one.
    """
    expected = 'Expected: one address such as nurse@fennimore.example, or "Ana Bell <ana@fennimore.example>".'
    if not text.isprintable():
        raise AddressError(f"An address holds a letter that no keyboard types: {text!r}. {expected}")
    try:
        header = SMTP.header_factory("To", text)
    except (errors.HeaderParseError, IndexError, ValueError):
        # The library's reader runs over the end of some that are cut short, and refuses line ends that were encoded.
        raise AddressError(f'"{text}" is not an e-mail address. {expected}') from None
    addresses: tuple[Address, ...] = getattr(header, "addresses", ())
    if len(addresses) == 1 and not addresses[0].addr_spec.isascii():
        raise AddressError(f'"{text}" has a letter before or after the @ that many mail services refuse. {expected}')
    if len(addresses) != 1 or header.defects or not addresses[0].username or not addresses[0].domain:
        raise AddressError(f'"{text}" is not an e-mail address. {expected}')
    return addresses[0]


def message_of(letter: Letter, names: Names, files: Files, envelope: Envelope) -> EmailMessage:
    """Return the e-mail: letter as text and HTML with the calendar beside them, then plan, calendar and sheet as files."""
    message = EmailMessage(policy=SMTP)
    message["Date"] = format_datetime(envelope.date)
    message["Message-ID"] = envelope.message_id
    message["Subject"] = envelope.subject
    if envelope.sender is not None:
        message["From"] = envelope.sender
    if envelope.to:
        message["To"] = envelope.to
    message.set_content(plain(letter), cte="quoted-printable")
    message.add_alternative(html(letter), subtype="html", cte="quoted-printable")
    message.add_alternative(files.calendar, maintype="text", subtype="calendar", params=CALENDAR)
    # What is unknown to a mail program is treated as bytes if it is an application's (RFC 2046, 4.5.3); a text it may change.
    _attach(message, names.plan, files.plan, "application/toml", {})
    _attach(message, names.calendar, files.calendar, "text/calendar", CALENDAR)
    _attach(message, names.sheet, files.sheet, "application/pdf", {})
    _fix_boundaries(message, files, envelope)
    return message


def draft(message: EmailMessage) -> bytes:
    """Return an e-mail as a file that mail programs open as a draft, as far as they know how."""
    del message[UNSENT]
    message[UNSENT] = "1"
    content = message.as_bytes(policy=SMTP)
    del message[UNSENT]
    return content


def posted(message: EmailMessage) -> bytes:
    """Return an e-mail as it is handed to a mail server."""
    return message.as_bytes(policy=SMTP)


def _attach(message: EmailMessage, name: str, content: bytes, kind: str, params: dict[str, str]) -> None:
    """Attach a file, with the digest of RFC 1864 by which its receiver sees that it came whole."""
    maintype, subtype = kind.split("/")
    digest = b64encode(hashlib.md5(content, usedforsecurity=False).digest()).decode()
    message.add_attachment(
        content,
        maintype=maintype,
        subtype=subtype,
        filename=name,
        params={**params, "name": name},
        headers=[f"Content-MD5: {digest}"],
    )


def _fix_boundaries(message: EmailMessage, files: Files, envelope: Envelope) -> None:
    """Give the boundaries, which the library draws at random, names that follow from the content.

    ``=_`` occurs neither in quoted-printable nor in base64 (RFC 2045, 6.7).
    """
    told = hashlib.sha256(b"\0".join([envelope.message_id.encode(), files.plan, files.calendar, files.sheet]))
    for number, part in enumerate(part for part in message.walk() if part.is_multipart()):
        part.set_boundary(f"=_{number}_{told.hexdigest()[:32]}")
    for part in message.walk():
        if part is not message:
            del part["MIME-Version"]
