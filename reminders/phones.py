"""The phones that subscribe to the calendar, each with an address of its own that nobody can guess; and the page's secret.

They are kept in one file that only its owner may read. When each phone asked last is kept in a second one, whose loss harms
nothing. Both may be changed by another process: the command, while the daemon runs.
"""

import contextlib
import hashlib
import hmac
import json
import secrets
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from reminders.files import Signature, private_folder, signature, write_private

LONGEST_NAME = 40
MOST_PHONES = 50
SECRET_BYTES = 32
"""256 bits, written as 43 letters."""

KEPT_EVERY = 60
"""Seconds: a phone's last fetch is written down at most so often."""

WAIT = 10
"""Seconds to wait for another process that is changing the phones."""


class PhonesError(Exception):
    """The phones cannot be read or changed; its text says why, and what to do. It holds no secret."""


@dataclass(frozen=True, slots=True)
class Phone:
    """One phone. Moments are seconds since 1970; ``fetched`` is when it last asked for the calendar, ``has`` the mark
    (ETag) of what it was given then."""

    name: str
    token: str = field(repr=False)
    added: float
    fetched: float | None = None
    has: str = ""


@dataclass(frozen=True, slots=True)
class _Secrets:
    page: str = field(repr=False)
    phones: tuple[Phone, ...] = ()


class Phones:
    """The phones of one plan. What others change in the files is seen at the next question.

    A file that can no longer be read takes nothing away from a program that has read it: ``trouble`` says what is wrong.
    """

    def __init__(self, path: Path, now: Callable[[], float]) -> None:
        """Read them from the file of secrets ``path``, which is made when it is first needed; ``now``: seconds since 1970.

        Raises:
            PhonesError: the file is there and cannot be read. It is never replaced: every phone would be cut off.
        """
        self._path, self._now = path, now
        self._fetches_path = path.with_name(f"{path.stem}-fetched.json")
        self._known: _Secrets | None = None
        self._seen: Signature | None = None
        self._fetches: dict[str, tuple[float, str]] = {}
        self._fetches_seen: Signature | None = None
        self._kept: dict[str, float] = {}
        self.trouble = ""
        if path.exists():
            self._known, self._seen = _read(path), signature(path)

    @property
    def secret(self) -> str:
        """Return what the page's address begins with; it is made once.

        Raises:
            PhonesError: it has to be made, and cannot be written.
        """
        self._refresh()
        if self._known is None:
            self._change(lambda known: known)
        assert self._known is not None, "it was just written"
        return self._known.page

    def all(self) -> Sequence[Phone]:
        """Return the phones in the order in which they were added, with when each asked last."""
        self._refresh()
        return [self._with_fetch(phone) for phone in self._phones]

    def find(self, token: str) -> Phone | None:
        """Return the phone whose address holds this token; None if there is none.

        Every token is compared, each in constant time, so that how long it takes tells nothing.
        """
        self._refresh()
        given = token.encode("utf-8", "surrogatepass")
        found = None
        for phone in self._phones:
            if hmac.compare_digest(given, phone.token.encode()):
                found = phone
        return None if found is None else self._with_fetch(found)

    def named(self, name: str) -> Phone:
        """Return the phone of a name, however its letters are written.

        Raises:
            PhonesError: there is none; the text names those there are.
        """
        self._refresh()
        for phone in self._phones:
            if _alike(name, phone.name):
                return self._with_fetch(phone)
        raise _no_such(self._phones)

    def add(self, name: str) -> Phone:
        """Add a phone under a name of its own and give it an address.

        Raises:
            PhonesError: the name will not do, there are too many, or it cannot be written; then none was added.
        """
        name = _plain_name(name)
        phone = Phone(name, secrets.token_urlsafe(SECRET_BYTES), self._now())

        def added(known: _Secrets) -> _Secrets:
            if any(_alike(name, other.name) for other in known.phones):
                raise PhonesError(
                    f'There is a phone named "{name}" already. Give this one another name, or remove that.'
                )
            if len(known.phones) >= MOST_PHONES:
                raise PhonesError(f"There are {MOST_PHONES} phones already. Remove one that is no longer used.")
            return replace(known, phones=(*known.phones, phone))

        self._change(added)
        return phone

    def revoke(self, name: str) -> Phone:
        """Remove a phone: its address leads nowhere from now on. Return what was removed.

        Raises:
            PhonesError: there is none of that name, or it cannot be written; then none was removed.
        """
        gone: list[Phone] = []

        def without(known: _Secrets) -> _Secrets:
            gone[:] = [phone for phone in known.phones if _alike(name, phone.name)]
            if not gone:
                raise _no_such(known.phones)
            return replace(known, phones=tuple(phone for phone in known.phones if phone not in gone))

        self._change(without)
        return gone[0]

    def fetched(self, phone: Phone, has: str = "") -> None:
        """Remember that a phone asks for the calendar now, and the mark of what it is given."""
        key, now = _key(phone), self._now()
        self._read_fetches()
        self._fetches[key] = (now, has)
        if not 0 <= now - self._kept.get(key, -KEPT_EVERY) < KEPT_EVERY:
            self._kept[key] = now
            self._keep_fetches()

    @property
    def _phones(self) -> tuple[Phone, ...]:
        return () if self._known is None else self._known.phones

    def _refresh(self) -> None:
        """Read the file again if it has changed; keep what was known if it cannot be read."""
        found = signature(self._path)
        if found != self._seen:
            self._seen = found
            self.trouble = ""
            if found is not None:
                try:
                    self._known = _read(self._path)
                except PhonesError as error:
                    self.trouble = str(error)
            elif self._known is not None:
                self.trouble = (
                    f'The file with the phones\' addresses, "{self._path}", is gone. Put it back from a copy.'
                )
        self._read_fetches()

    def _change(self, change: Callable[[_Secrets], _Secrets]) -> None:
        """Change what the file holds as it is now, whoever wrote it last."""
        try:
            private_folder(self._path.parent)
            with FileLock(self._path.with_suffix(".lock"), timeout=WAIT, mode=0o600):
                if self._path.exists():
                    known = _read(self._path)
                else:
                    known = self._known or _Secrets(secrets.token_urlsafe(SECRET_BYTES))
                known = change(known)
                write_private(self._path, _as_json(known))
                self._known = known
                self._seen, self.trouble = signature(self._path), ""
        except Timeout:
            raise PhonesError("Another program is changing the phones. Try again in a moment.") from None
        except OSError as error:
            raise PhonesError(
                f'"{self._path}" cannot be written: {error.strerror or error}. Nothing was changed.'
            ) from None

    def _with_fetch(self, phone: Phone) -> Phone:
        fetched, has = self._fetches.get(_key(phone), (None, ""))
        return replace(phone, fetched=fetched, has=has)

    def _read_fetches(self) -> None:
        found = signature(self._fetches_path)
        if found == self._fetches_seen:
            return
        self._fetches_seen = found
        with contextlib.suppress(OSError, ValueError, TypeError, KeyError, AttributeError):  # it is all said again soon
            told = json.loads(self._fetches_path.read_bytes())
            for key, (at, has) in told["fetched"].items():
                if float(at) > self._fetches.get(key, (0.0, ""))[0]:
                    self._fetches[key] = (float(at), str(has))

    def _keep_fetches(self) -> None:
        current = {_key(phone) for phone in self._phones}
        self._fetches = {key: fetch for key, fetch in self._fetches.items() if key in current}
        with contextlib.suppress(OSError):
            private_folder(self._fetches_path.parent)
            write_private(self._fetches_path, json.dumps({"fetched": self._fetches}).encode())
            self._fetches_seen = signature(self._fetches_path)


def _no_such(phones: Sequence[Phone]) -> PhonesError:
    names = ", ".join(phone.name for phone in phones) or "none yet"
    return PhonesError(f"There is no phone of that name. The phones are: {names}.")


def _plain_name(name: str) -> str:
    name = " ".join(unicodedata.normalize("NFC", name).split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise PhonesError(
            f"A phone's name is 1 to {LONGEST_NAME} letters on one line, such as \"Ana's phone\"; no phone was added."
        )
    return name


def _alike(one: str, other: str) -> bool:
    """Say whether two names would be taken for the same one."""
    return _folded(one) == _folded(other)


def _folded(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def _key(phone: Phone) -> str:
    """Return what stands for a phone where its secret need not: one that is added anew under its name is another."""
    return hashlib.sha256(phone.token.encode()).hexdigest()[:16]


def _as_json(known: _Secrets) -> bytes:
    phones = [{"name": phone.name, "token": phone.token, "added": phone.added} for phone in known.phones]
    return (json.dumps({"page": known.page, "phones": phones}, ensure_ascii=False, indent=1) + "\n").encode()


def _read(path: Path) -> _Secrets:
    try:
        told = json.loads(path.read_bytes())
        return _Secrets(_secret(told["page"]), tuple(_phone(entry) for entry in told["phones"]))
    except OSError as error:
        raise PhonesError(f'"{path}" cannot be read: {error.strerror or error}.') from None
    except (ValueError, TypeError, KeyError):
        raise PhonesError(
            f'The file with the phones\' addresses, "{path}", is damaged. Put it back from a copy. If there is none, move it '
            "away: then every phone must be added and subscribed anew, and the page gets another address."
        ) from None


def _phone(entry: Mapping[str, Any]) -> Phone:
    return Phone(_plain_text(entry["name"]), _secret(entry["token"]), float(entry["added"]))


def _plain_text(value: Any) -> str:
    if not isinstance(value, str) or not value:
        raise ValueError("not a text")
    return value


def _secret(value: Any) -> str:
    """Return a secret as it was written; one that was shortened by hand could be guessed, one with a slash never found."""
    text = _plain_text(value)
    if len(text) < 22 or not text.isascii() or not text.replace("-", "").replace("_", "").isalnum():
        raise ValueError("not a secret")
    return text
