"""Mail programs that no one here wrote, and what they find in an e-mail.

mblaze is a set of small programs in C with a MIME reader of its own; it shares no code with Python's. Python's own older
reader (``compat32``) is asked besides: it is the one with which most programs written in Python open mail.
"""

import email
import re
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from email.policy import compat32
from pathlib import Path
from typing import TypeAlias

from readers.readers import need

ROW = re.compile(r'( *)(\d+): (\S+) size=(\d+)(?: name="(.*)")?')


@dataclass(frozen=True, slots=True)
class SeenPart:
    """One part of an e-mail: how deep it stands, its type, its name if it has one, its bytes; of a part with parts none."""

    depth: int
    kind: str
    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class SeenMail:
    """An e-mail: some of its headers, decoded, and its parts in order."""

    headers: dict[str, str]
    parts: tuple[SeenPart, ...]

    @property
    def shape(self) -> list[tuple[int, str, str]]:
        """Return how it is built."""
        return [(part.depth, part.kind, part.name) for part in self.parts]

    def named(self, name: str) -> bytes:
        """Return the bytes of the one file of a name."""
        (found,) = [part.content for part in self.parts if part.name == name]
        return found

    def of_kind(self, kind: str) -> list[bytes]:
        """Return the bytes of all parts of a type."""
        return [part.content for part in self.parts if part.kind == kind]


HEADERS = ("From", "To", "Subject", "Message-ID")

MailReader: TypeAlias = Callable[[bytes, Path], SeenMail]


def read_with_mblaze(content: bytes, folder: Path) -> SeenMail:
    """Read with mblaze."""
    show, heads = need("mshow", "mblaze"), need("mhdr", "mblaze")
    file = folder / "mail.eml"
    file.write_bytes(content)
    listed = _run(show, "-t", file).decode().splitlines()
    parts = []
    for row in listed[1:]:
        match = ROW.fullmatch(row)
        assert match, f"mblaze lists something unknown: {row}"
        kind = match[3]
        body = b"" if kind.startswith("multipart/") else _run(show, "-O", file, match[2])
        assert not body or len(body) == int(match[4])
        parts.append(SeenPart(len(match[1]) // 2, kind, match[5] or "", body))
    found = {name: _run(heads, "-d", "-h", name, file).decode().strip() for name in HEADERS}
    return SeenMail({name: said for name, said in found.items() if said}, tuple(parts))


def _run(*command: str | Path) -> bytes:
    done = subprocess.run(
        [str(part) for part in command], stdin=subprocess.DEVNULL, capture_output=True, timeout=60, check=False
    )
    complaints = [line for line in done.stderr.splitlines() if b"mblaze/seq" not in line]  # it looks for its folder
    assert not complaints, complaints
    return done.stdout


def read_with_compat32(content: bytes, folder: Path) -> SeenMail:
    """Read with Python's older reader."""
    message = email.message_from_bytes(content, policy=compat32)
    parts: list[SeenPart] = []

    def walk(part: "email.message.Message[str, str]", depth: int) -> None:
        assert not part.defects, part.defects
        inside = part.get_payload()
        if isinstance(inside, list):
            parts.append(SeenPart(depth, part.get_content_type(), part.get_filename() or "", b""))
            for entry in inside:
                assert isinstance(entry, email.message.Message)
                walk(entry, depth + 1)
            return
        body = part.get_payload(decode=True)
        assert isinstance(body, bytes)
        parts.append(SeenPart(depth, part.get_content_type(), part.get_filename() or "", body))

    walk(message, 1)
    headers = {
        name: str(email.header.make_header(email.header.decode_header(str(message[name]))))
        for name in HEADERS
        if message[name]
    }
    return SeenMail(headers, tuple(parts))


MAIL_READERS: dict[str, MailReader] = {"mblaze": read_with_mblaze, "compat32": read_with_compat32}
"""Every reader of mail."""
