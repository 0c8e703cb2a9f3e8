"""An e-mail's bytes into the plan, calendar and sheet that it holds, or into why nothing can be made of it.

Mail programs forward, rename and encode anew. So parts are known by what they hold, not by their names or types; and
nothing is taken from an e-mail that is not whole. What it says of itself is shown, never trusted.
"""

import codecs
import hashlib
import re
from base64 import b64decode, b64encode
from collections.abc import Iterator
from dataclasses import dataclass
from email import errors, message_from_bytes
from email.header import decode_header, make_header
from email.message import Message
from email.policy import compat32
from typing import TypeAlias

from reminders.plan.source import BEGINS_PLAN, LONGEST_FILE
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

LARGEST = 30_000_000
"""Bytes of an e-mail that is looked into; mail services refuse more than about 25 MB (from memory)."""

MOST_BOUNDARIES, MOST_PARTS, MOST_LINES, LONGEST_HEADER = 40, 2000, 1_000_000, 10_000
"""How often a boundary may be declared, how many lines may look like one, how many lines there may be, and how many bytes what
says of what kind a part is: no packet comes near, however often forwarded."""

CHARSETS = frozenset(
    codecs.lookup(name).name
    for name in (
        *(
            "utf-8",
            "us-ascii",
            "utf-16",
            "utf-16-le",
            "utf-16-be",
            "utf-32",
            "gb18030",
            "gbk",
            "gb2312",
            "big5",
            "euc-jp",
        ),
        *("shift_jis", "iso-2022-jp", "euc-kr", "koi8-r", "koi8-u", "macintosh"),
        *(f"iso-8859-{number}" for number in range(1, 17) if number != 12),
        *(f"windows-125{number}" for number in range(9)),
    )
)
"""Charsets that mail programs use; nothing is decoded by any other."""

MOST_SHOWN = 120
"""Letters of a header or a name that are shown."""

HEADER = re.compile(rb"[A-Za-z][A-Za-z0-9-]*:|>?From ")
"""How an e-mail begins: with a header, or with the line that mailboxes put before it."""

OTHER_FILES = (
    (b"\xd0\xcf\x11\xe0", _("a message in a form of one mail program alone (.msg)")),
    (b"PK\x03\x04", _("a packed folder (.zip)")),
    (b"%PDF", _("a PDF, such as the sheet of a packet")),
    (b"BEGIN:VCALENDAR", _("a calendar")),
    (b'x\x9f>"', _("an attachment of one mail program alone (winmail.dat)")),
    (b"<", _("a web page")),
)
"""What may be mistaken for a packet, by its first bytes."""

KIND = re.compile(rb"^content-[a-z-]+:[^\n]*(?:\n[ \t][^\n]*)*", re.MULTILINE)

Parsed: TypeAlias = "Message[str, str]"


class UnpackError(Exception):
    """Nothing is taken from this file; its text says why, and what to do."""


@dataclass(frozen=True, slots=True)
class Part:
    """One file of an e-mail: its name as it is shown, and its bytes."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Head:
    """What one e-mail says of itself, as it is shown: from whom, when. Anybody can write that."""

    sender: str
    date: str


@dataclass(frozen=True, slots=True)
class Unpacked:
    """What an e-mail holds: the plan, calendars and PDFs; the names of what else; the heads of the e-mails in which it came,
    the last forwarding first."""

    plan: Part
    calendars: tuple[Part, ...]
    pdfs: tuple[Part, ...]
    others: tuple[str, ...]
    heads: tuple[Head, ...]


def is_mail(content: bytes) -> bool:
    """Say whether a file reads like an e-mail, quoted or as it was sent, and not like a plan."""
    return HEADER.match(_begun(content)) is not None or _is_quoted(content)


def _is_quoted(content: bytes) -> bool:
    """Say whether most lines of a file begin with ``>``, as they do where somebody is quoted; the headers of an e-mail do not."""
    begun = _begun(content)
    quoted = begun.startswith(b">") or HEADER.match(begun) is None
    return quoted and 2 * begun.count(b"\n>") > begun.count(b"\n")


def other_file(content: bytes) -> str:
    """Say what a file is that is neither an e-mail nor a plan, where that can be told by its first bytes."""
    start = _begun(content)
    return next((what for sign, what in OTHER_FILES if start.startswith(sign)), "")


def unpack(content: bytes) -> Unpacked:
    """Take an e-mail apart.

    Raises:
        UnpackError: it is too large, quoted, not whole, or holds no plan or more than one.
    """
    if len(content) > LARGEST:
        raise UnpackError(
            _("This file has more than {most} MB, far more than a packet. Nothing was looked at.").format(
                most=LARGEST // 1_000_000
            )
        )
    if _is_quoted(content):
        raise UnpackError(
            _(
                "This looks like an e-mail that was forwarded or quoted as text: its lines begin with >. So its files cannot be taken "
                "out of it. Save the original e-mail again from the mail program, as a file (.eml), or ask the sender to send it again."
            )
        )
    found = _Found()
    try:
        found.take(_parsed(_begun(content)), ())
    except UnpackError:
        raise
    except Exception:  # whatever the library makes of bytes that anybody can have written
        raise UnpackError(_not_whole(_("it breaks the rules of e-mail"))) from None
    return found.unpacked()


class _Found:
    """What was found in an e-mail so far."""

    def __init__(self) -> None:
        self.plans: list[tuple[Part, tuple[Head, ...]]] = []
        self.calendars: list[Part] = []
        self.pdfs: list[Part] = []
        self.others: list[str] = []
        self.sealed = self.pasted = False
        self.parts = 0

    def take(self, message: Parsed, above: tuple[Head, ...]) -> None:
        """Look into a message that stands within those of ``above``."""
        if len(above) > MOST_BOUNDARIES:
            raise UnpackError(_too_deep())
        heads = (*above, Head(_shown(message, "From"), _shown(message, "Date")))
        for part in _leaves(message):
            self.parts += 1
            if self.parts > MOST_PARTS:  # of all e-mails in it together
                raise UnpackError(_too_many())
            if part.get_content_type() in ("message/rfc822", "message/global"):
                self.take(_enclosed(part), heads)
                continue
            _whole(part)
            self._file(part, _content(part), heads, alone=part is message)

    def _file(self, part: Parsed, content: bytes, heads: tuple[Head, ...], *, alone: bool) -> None:
        """Take in a part; of one that is the whole message nobody could tell that its end is missing."""
        name, kind = _name(part), part.get_content_type()
        _as_sent(part, content, name)
        if kind in ("application/pkcs7-mime", "application/x-pkcs7-mime", "application/pgp-encrypted"):
            self.sealed = True
        if name.lower().endswith(".eml") and is_mail(content):
            self.take(_parsed(_begun(content)), heads)
        elif name.lower().endswith(".toml") or kind == "application/toml" or BEGINS_PLAN.search(content):
            if alone or (part.get_content_maintype() == "text" and not name):
                self.pasted = True
            else:
                self.plans.append((Part(name or "plan.toml", _in_utf8(part, content)), heads))
        elif _begun(content).startswith(b"BEGIN:VCALENDAR"):
            self.calendars.append(Part(name or _("the calendar in the letter"), content))
        elif content.startswith(b"%PDF"):
            self.pdfs.append(Part(name or "sheet.pdf", content))
        elif name:
            self.others.append(name)

    def unpacked(self) -> Unpacked:
        """Return what was found, if it is one plan."""
        different = {part.content.replace(b"\r\n", b"\n").strip(): (part, heads) for part, heads in self.plans}
        if not different:
            raise UnpackError(self._no_plan())
        if len(different) > 1:
            names = ", ".join(part.name for part, _heads in different.values())
            raise UnpackError(
                _(
                    "This e-mail holds {count} plans ({names}), and nothing says which one is meant. Ask the sender. Or save the right "
                    "one from the e-mail, and open that file."
                ).format(count=len(different), names=names)
            )
        (plan, heads), *_rest = self.plans
        return Unpacked(plan, _once(self.calendars), _once(self.pdfs), tuple(self.others), heads)

    def _no_plan(self) -> str:
        if self.sealed:
            return _(
                "This e-mail is encrypted, and only your mail program can open it. Save the plan (.toml) from it there, and open that "
                "file."
            )
        if any(name.lower() == "winmail.dat" for name in self.others):
            return _(
                "The files of this e-mail are packed in winmail.dat, which only one mail program can open. Ask the sender to send the "
                "packet's .eml, or the plan (.toml) alone."
            )
        if self.pasted:
            return _(
                "The plan stands in the text of this e-mail, where mail programs break lines and leave things out. Ask the sender to "
                "attach it as a file."
            )
        held = [*(part.name for part in (*self.calendars, *self.pdfs)), *self.others]
        return _(
            "This e-mail holds no plan. It holds: {held}. A packet holds a file that ends in .toml. If you see one in your mail program, "
            "save it from there and open that file; else ask the sender to send the packet again."
        ).format(held=", ".join(held) or _("text alone"))


def _begun(content: bytes) -> bytes:
    """Return a file without what may stand before its first line."""
    return content.removeprefix(b"\xef\xbb\xbf").lstrip(b"\r\n\t ")


def _not_a_bomb(content: bytes) -> None:
    """Refuse what would take too long or too much memory to take apart, before anything is taken apart; lines end with LF."""
    lower = content.lower()
    if lower.count(b"boundary") > MOST_BOUNDARIES or lower.count(b"message/rfc822") > MOST_BOUNDARIES:
        raise UnpackError(_too_deep())
    if any(len(found.group()) > LONGEST_HEADER for found in KIND.finditer(lower)):
        raise UnpackError(_not_whole(_("what stands before one of its parts is far too long")))
    if content.count(b"\n--") > MOST_PARTS or content.count(b"\n") > MOST_LINES:
        raise UnpackError(_too_many())


def _too_many() -> str:
    return _("This e-mail has thousands of parts, far more than a packet. Nothing was taken from it.")


def _too_deep() -> str:
    return _(
        "In this e-mail lie e-mails within e-mails, far more than anybody forwards. Nothing was taken from it. Ask the sender to send "
        "the packet again."
    )


def _parsed(content: bytes) -> Parsed:
    content = content.removeprefix(b">") if content.startswith(b">From ") else content
    # The library ends lines at a CR alone too: what is counted is what it sees.
    content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    _not_a_bomb(content)
    try:
        # This policy keeps what it reads as it is, in time that grows with the size alone.
        message = message_from_bytes(content, policy=compat32)
        for part in message.walk():
            _forget_odd_charset(part)
    except RecursionError:
        raise UnpackError(_too_deep()) from None
    return message


def _forget_odd_charset(part: Parsed) -> None:
    """Take away a charset that no mail program writes plans in; the library would decode by it, some in quadratic time."""
    charset = part.get_param("charset")
    if charset is not None and not _is_usual(charset):
        part.del_param("charset")


def _is_usual(charset: object) -> bool:
    try:
        return isinstance(charset, str) and codecs.lookup(charset).name in CHARSETS
    except (LookupError, ValueError):
        return False


def _leaves(message: Parsed) -> Iterator[Parsed]:
    """Yield the parts of one message that hold something, without looking into messages that it encloses."""
    waiting = [message]
    while waiting:
        part = waiting.pop(0)
        inside = part.get_payload()
        if isinstance(inside, list) and part.get_content_maintype() == "multipart":
            _whole(part)
            waiting[:0] = [entry for entry in inside if isinstance(entry, Message)]
        elif part.get_content_maintype() == "multipart":
            raise UnpackError(_not_whole(_("its parts cannot be told apart")))
        else:
            yield part


def _enclosed(part: Parsed) -> Parsed:
    """Return the message that a part encloses; some programs encode it although RFC 2046, 5.2.1, does not allow that."""
    inside = part.get_payload()
    message = inside[0] if isinstance(inside, list) and len(inside) == 1 else None
    if not isinstance(message, Message):
        raise UnpackError(_not_whole(_("an e-mail that it encloses cannot be read")))
    encoding = str(part.get("Content-Transfer-Encoding", "")).strip().lower()
    if encoding in ("base64", "quoted-printable"):
        holder: Parsed = Message(policy=compat32)
        holder["Content-Transfer-Encoding"] = encoding
        holder.set_payload(message.as_bytes().lstrip(b"\r\n"))
        message = _parsed(_begun(_content(holder)))
    _whole(message)
    return message


DAMAGED = (
    errors.NoBoundaryInMultipartDefect,
    errors.StartBoundaryNotFoundDefect,
    errors.CloseBoundaryNotFoundDefect,
    errors.MultipartInvariantViolationDefect,
)
"""Faults by which an e-mail is known not to be whole."""


def _whole(part: Parsed) -> None:
    """Refuse a part of which something is missing."""
    for defect in part.defects:
        if isinstance(defect, errors.CloseBoundaryNotFoundDefect):
            raise UnpackError(_not_whole(_("its end is missing")))
        if isinstance(defect, DAMAGED):
            raise UnpackError(_not_whole(_("a part of it is damaged")))


def _not_whole(why: str) -> str:
    return _(
        "This e-mail is not whole: {why}. Nothing was taken from it. Save it again from the mail program, or ask the sender to send it "
        "again."
    ).format(why=why)


def _content(part: Parsed) -> bytes:
    """Return the bytes of a part, decoded."""
    encoding = str(part.get("Content-Transfer-Encoding", "")).strip().lower()
    if encoding not in ("", "7bit", "8bit", "binary", "base64", "quoted-printable"):
        raise UnpackError(_not_whole(_("a part of it is encoded in a way that is not known")))
    if encoding == "base64":
        written = part.get_payload()
        try:
            return b64decode("".join(str(written).split()), validate=True)
        except ValueError:  # of letters that base64 does not have, or of an end that is missing
            raise UnpackError(_not_whole(_("a part of it is damaged"))) from None
    content = part.get_payload(decode=True)
    return content if isinstance(content, bytes) else b""


def _as_sent(part: Parsed, content: bytes, name: str) -> None:
    """Compare a part with the digest that it was sent with, where it still has one (RFC 1864)."""
    digest = str(part.get("Content-MD5", "")).strip()
    unix = content.replace(b"\r\n", b"\n")
    forms = (content, unix, unix.replace(b"\n", b"\r\n"))  # the ends of lines differ from computer to computer
    if digest and digest not in {
        b64encode(hashlib.md5(form, usedforsecurity=False).digest()).decode() for form in forms
    }:
        raise UnpackError(_not_whole(_("{name} is not as it was sent").format(name=name or _("a part of it"))))


def _in_utf8(part: Parsed, content: bytes) -> bytes:
    """Return a plan in UTF-8, where a mail program sent it as a text in another charset."""
    charset = str(part.get_content_charset() or "utf-8")
    if part.get_content_maintype() != "text" or charset in ("utf-8", "us-ascii") or len(content) > LONGEST_FILE:
        return content
    try:
        return content.decode(charset).encode()
    except (LookupError, UnicodeError):
        return content


def _name(part: Parsed) -> str:
    """Return a file's name as it is shown, without folders; empty where it has none."""
    for written in (part.get_param("filename", None, "content-disposition"), part.get_param("name")):
        if isinstance(written, tuple) and not _is_usual(written[0] or "us-ascii"):
            return _("a file with a broken name")
    try:
        name = _decoded(part.get_filename() or "")
    except (ValueError, LookupError, TypeError):  # of a name that follows neither RFC 2231 nor RFC 2047
        return _("a file with a broken name")
    return shown_line(re.split(r"[/\\]", name)[-1])


def _shown(message: Parsed, header: str) -> str:
    try:
        return shown_line(_decoded(str(message.get(header, ""))[: 10 * MOST_SHOWN]))
    except (ValueError, LookupError, TypeError):
        return ""


def _decoded(text: str) -> str:
    """Decode the words of RFC 2047, which some programs put even where RFC 2231 belongs."""
    if "=?" not in text:
        return text
    words = decode_header(text)
    if not all(charset is None or _is_usual(charset) for _word, charset in words):
        raise LookupError("no charset of mail programs")
    return str(make_header(words))


def shown_line(text: str) -> str:
    """Return what somebody else wrote on one line, without anything that a terminal would obey, and not endless."""
    line = " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())
    return line if len(line) <= MOST_SHOWN else f"{line[: MOST_SHOWN - 1]}…"


def _once(parts: list[Part]) -> tuple[Part, ...]:
    """Return parts without those that hold the same as one before, the named one where there are both."""
    kept: dict[bytes, Part] = {}
    for part in parts:
        same = part.content.replace(b"\r\n", b"\n").strip()
        if same not in kept or "." in part.name:
            kept[same] = part
    return tuple(kept.values())
