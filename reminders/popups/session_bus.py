"""Pop-ups through the notification service on the session bus: Linux and the BSDs.

The service is spoken to as the Desktop Notifications Specification 1.2 says. plyer's own back-end for Linux loses the
urgency, hangs where the service does, and reports no failure where it runs a program; so this one takes its place.
"""

import html
import os
import stat
import time
from collections import deque
from pathlib import Path
from threading import Event

from jeepney import DBusAddress, HeaderFields, MatchRule, Message, MessageType, message_bus, new_method_call
from jeepney.auth import AuthenticationError
from jeepney.io.blocking import DBusConnection, open_dbus_connection
from plyer.facades import Notification

from reminders.popups.popup import Fault, NotShownError
from reminders.popups.texts import clipped

NAME = "org.freedesktop.Notifications"
SERVICE = DBusAddress("/org/freedesktop/Notifications", bus_name=NAME, interface=NAME)
CLICKED = "default"
"""The key of the action that a click on the pop-up itself means."""

STAYS = 600.0
"""For how many seconds a click is waited for."""

_LOOKALIKES = str.maketrans("<>&", "‹›+")
"""Marks that a service might read as markup, and what says the same and cannot be."""

_ERRORS = {
    "org.freedesktop.DBus.Error.ServiceUnknown": Fault.NO_SERVICE,
    "org.freedesktop.DBus.Error.NameHasNoOwner": Fault.NO_SERVICE,
    "org.freedesktop.DBus.Error.AccessDenied": Fault.NOT_ALLOWED,
    "org.freedesktop.DBus.Error.NoReply": Fault.NO_ANSWER,
    "org.freedesktop.DBus.Error.Timeout": Fault.NO_ANSWER,
    "org.freedesktop.DBus.Error.TimedOut": Fault.NO_ANSWER,
}


def boxed(root: Path, environ: dict[str, str]) -> bool:
    """Say whether this looks like a container or sandbox, which the desktop's bus does not reach into."""
    signs = (".dockerenv", "run/.containerenv", ".flatpak-info")
    return any((root / sign).exists() for sign in signs) or bool({"FLATPAK_ID", "SNAP", "container"} & environ.keys())


def addresses(environ: dict[str, str], user: int) -> list[str]:
    """Return where the session bus may be, likeliest first: as the session says, then where systemd puts it.

    The second serves a program that was started before, or outlives, the session that its environment names.
    """
    found = [environ.get("DBUS_SESSION_BUS_ADDRESS", "")]
    usual = Path(environ.get("XDG_RUNTIME_DIR") or f"/run/user/{user}") / "bus"
    try:
        if stat.S_ISSOCK(usual.stat().st_mode):
            found.append(f"unix:path={usual}")
    except OSError:
        pass
    return [address for address in found if address]


class SessionBus(Notification):  # type: ignore[misc]  # plyer has no types
    """The notification service of the desktop. Everything is done within ``seconds``, waiting for a click excepted.

    ``label`` names what a click does and ``opens`` is the address that is opened then; ``apology`` is the title of the
    pop-up that is shown if no browser can be started.
    """

    def __init__(self, seconds: float, opens: str = "", label: str = "", apology: str = "") -> None:
        self.served_by = ""
        self._deadline = time.monotonic() + seconds
        self._opens, self._label, self._apology = opens, label, apology
        self._bus: DBusConnection | None = None
        self._signals: deque[Message] = deque()
        self._shown: tuple[str, int] | None = None  # who shows it, under which number, if a click is to be waited for

    def able(self) -> None:
        """Raise NotShownError unless a notification service answers. Shows nothing."""
        self._capabilities()

    @property
    def stays(self) -> bool:
        """Say whether a click can be waited for."""
        return self._shown is not None

    def _notify(  # the facade's arguments; a time of 0 is never, a negative one as the service likes
        self, *, title: str, message: str, app_name: str, timeout: float, hints: dict[str, int], **_others: object
    ) -> None:
        able_to = self._capabilities()
        if message and "body" not in able_to:
            title = clipped(f"{title}: {' '.join(message.split())}", 400)
        if "body-markup" in able_to:
            message = html.escape(message, quote=False)
        else:  # some read marks and do not say so; a dose of "<5 mL" would be lost
            title, message = title.translate(_LOOKALIKES), message.translate(_LOOKALIKES)
        clickable = bool(self._opens) and "actions" in able_to
        if clickable:
            self._listen()
        what = (
            app_name,
            0,
            "",
            title,
            message,
            [CLICKED, self._label] if clickable else [],
            {"urgency": ("y", hints["urgency"])},
            round(timeout * 1000) if timeout >= 0 else -1,
        )
        reply = self._ask(new_method_call(SERVICE, "Notify", "susssasa{sv}i", what))
        if clickable:
            self._shown = reply.header.fields[HeaderFields.sender], reply.body[0]

    def stay(self, _gone: Event) -> None:
        """Wait until the pop-up is clicked or closed, ten minutes at most; when it is clicked, open its address."""
        assert self._bus is not None
        assert self._shown is not None
        service, number = self._shown
        end = time.monotonic() + STAYS
        while True:
            try:
                signal = self._bus.recv_until_filtered(self._signals, timeout=end - time.monotonic())
            except (TimeoutError, OSError):
                return
            member = signal.header.fields[HeaderFields.member]
            if member == "NameOwnerChanged":
                return  # the service has ended, and its pop-ups with it
            if signal.header.fields.get(HeaderFields.sender) != service or signal.body[0] != number:
                continue
            if member == "ActivationToken":  # with it the window that opens may come to the front
                os.environ["XDG_ACTIVATION_TOKEN"] = signal.body[1]
            elif member == "ActionInvoked" and signal.body[1] == CLICKED:
                self._open()
                return
            elif member == "NotificationClosed":
                return

    def _open(self) -> None:
        import webbrowser  # only now: who is never clicked need not carry it

        if not webbrowser.open(self._opens):
            self._deadline = time.monotonic() + 5
            address, self._opens = self._opens, ""
            self.notify(title=self._apology, message=address, app_name="", timeout=-1, hints={"urgency": 1})

    def _listen(self) -> None:
        of_popups = MatchRule(type="signal", interface=NAME, path="/org/freedesktop/Notifications")
        of_service = MatchRule(type="signal", interface="org.freedesktop.DBus", member="NameOwnerChanged")
        of_service.add_arg_condition(0, NAME)
        for rule in (of_popups, of_service):
            self._connected().filter(rule, queue=self._signals)
            self._ask(message_bus.AddMatch(rule))

    def _capabilities(self) -> set[str]:
        """Ask the service what it can do, and what it is called. The bus starts it, if it can be and does not run."""
        able_to: list[str] = self._ask(new_method_call(SERVICE, "GetCapabilities")).body[0]
        try:
            name, _vendor, version, *_ = self._ask(new_method_call(SERVICE, "GetServerInformation")).body
        except NotShownError as error:
            if error.fault is not Fault.REFUSED:
                raise
        else:  # one without a name is as good
            self.served_by = f"{name} {version}".strip()
        return set(able_to)

    def _ask(self, message: Message) -> Message:
        try:
            reply = self._connected().send_and_get_reply(message, timeout=self._left())
        except TimeoutError:
            raise NotShownError(Fault.NO_ANSWER) from None
        except OSError as error:
            raise NotShownError(Fault.DEAD_BUS, type(error).__name__) from None
        if reply.header.message_type is MessageType.error:
            name = str(reply.header.fields.get(HeaderFields.error_name, ""))
            started = ".Spawn." in name
            raise NotShownError(Fault.SERVICE_FAILED if started else _ERRORS.get(name, Fault.REFUSED), name)
        return reply

    def _left(self) -> float:
        return max(0.0, self._deadline - time.monotonic())

    def _connected(self) -> DBusConnection:
        if self._bus is not None:
            return self._bus
        environ = dict(os.environ)
        places = addresses(environ, os.getuid())
        if not places:
            raise NotShownError(Fault.CONTAINER if boxed(Path("/"), environ) else Fault.NO_BUS)
        failures = []
        for place in places:
            try:
                self._bus = open_dbus_connection(place, auth_timeout=self._left() / 2)
                return self._bus
            except TimeoutError:
                failures.append(NotShownError(Fault.NO_ANSWER))
            except (PermissionError, AuthenticationError) as error:
                failures.append(NotShownError(Fault.NOT_ALLOWED, type(error).__name__))
            except (OSError, RuntimeError, ValueError) as error:  # nobody there, or an address that is of no use
                failures.append(NotShownError(Fault.DEAD_BUS, type(error).__name__))
        raise failures[0]
