"""What a household is told about phones that subscribe: how to, how fast they follow, and what becomes of alarms.

How phones behave is what their makers and users report. Nothing of it was tried with this program, except where it says
so; a phone's next release may do otherwise. That is why the test alarm exists.
"""

from dataclasses import dataclass

from reminders.phones import Phone
from reminders.plan.model import Plan
from reminders.times import Instant
from reminders.units import ago
from reminders.words import CATALOGUE, moment_words

_ = CATALOGUE.gettext

SILENT_AFTER = 26 * 60
"""Minutes after which a phone that has not asked is said to be silent; some ask once a day."""

MIRROR = _(
    "The calendar on a phone is a copy that follows later. It is not the alarm to rely on: phones drop alarms, ask rarely, and "
    "show an old copy as if it were today's. What holds is the reminder page on the computer at home, and what your provider or "
    "nurse told you."
)

REPORTED = _(
    "This is what makers and users of these phones report. It was not tried with this program unless it says so. Always try "
    "the test alarm."
)

NOTHING_RUNS = _(
    "Reminders does not run now: nobody is reminded by this computer, and no phone can get the calendar. Start it with  "
    "reminders run , or with  reminders run --lan  for phones in your home network."
)

NOT_REACHABLE = _(
    "No phone can reach this computer now: it listens to itself alone. To let phones in your home network get the calendar, stop "
    "the reminders and start them with  reminders run --lan ."
)

WHAT_LAN_MEANS = _(
    "With --lan everybody in that network can reach the calendar's address, but without the secret in it gets nothing. Without a "
    "certificate the calendar crosses the network unencrypted: somebody in the network who listens could read it. Do this only "
    "in a network whose members you trust, never in a public one."
)

REACHABLE = _(
    "Phones reach this computer while both are in the same home network, this computer is on and awake, and its firewall lets "
    "them. In your router, reserve this computer's address for it: if the address changes, phones go on showing what they have "
    "and say nothing."
)

UNENCRYPTED = _(
    "The calendar crosses your home network unencrypted: somebody in that network who listens could read it. Use a network whose "
    "members you trust, never a public one."
)

PAGE_UNENCRYPTED = _(
    "It crosses your home network unencrypted, and its address with it: somebody in that network who listens could read both."
)

PAGE_TOO = _(
    "The reminder page itself can be opened on phones in your home network, because the reminders were started with "
    "--page-on-lan. Whoever has its address can see everything on it, and report or take back what happened. Show this code only "
    "to those who care for the patient. The address cannot be taken from one phone alone."
)

WHO_HAS_IT = _(
    "Whoever has this address can read the calendar. Give it to nobody else; remove the phone here if it is lost."
)


@dataclass(frozen=True, slots=True)
class PhoneKind:
    """One kind of phone: how to subscribe, how often it asks, and what becomes of alarms."""

    name: str
    steps: str
    refresh: str
    alarms: str


KINDS = (
    PhoneKind(
        _("iPhone or iPad, Calendar"),
        _(
            "Point the camera at the code, or tap the link, and choose Subscribe. Do not open the http address itself in the "
            "browser: that makes a copy that never changes."
        ),
        _(
            'As often as Settings says under Fetch New Data: every 15 minutes at best; "Automatically" may mean only while '
            "charging in Wi-Fi. Low Power Mode stops it. Pulling the list of calendars down asks at once."
        ),
        _('Removed unless you switch "Remove Alarms" off when you subscribe.'),
    ),
    PhoneKind(
        _("Mac, Calendar"),
        _('File, New Calendar Subscription, paste the address; choose the location "On My Mac".'),
        _("As you choose under Auto-refresh when you subscribe; it may start at once a week. Choose every 5 minutes."),
        _('Removed unless you clear "Remove: Alerts" when you subscribe.'),
    ),
    PhoneKind(
        _("Android, an app that subscribes to an address, such as ICSx5"),
        _(
            "Android's own calendar cannot subscribe by itself. Add the address in such an app; it shows the events in the "
            "phone's calendar."
        ),
        _("As the app is set; ICSx5 asks once a day until you choose another interval. Choose 15 minutes to an hour."),
        _("Kept, unless you tell the app to ignore them. The phone may still be silent to save power."),
    ),
    PhoneKind(
        _("Google Calendar"),
        _("Not possible from a home network: Google's own computers would have to reach yours."),
        _("Also for a published folder in the web: every 8 to 24 hours, and nobody can hurry it."),
        _("Dropped. You would have to set notifications for the whole calendar yourself."),
    ),
    PhoneKind(
        _("Outlook"),
        _("Not possible from a home network for Outlook on the web and the new Outlook, for the same reason."),
        _("About every 3 to 24 hours."),
        _("Often dropped."),
    ),
    PhoneKind(
        _("Evolution, GNOME Calendar"),
        _(
            "Add a calendar from the web and paste the address. (Evolution's calendar store was tried: it followed a late finish.)"
        ),
        _("As you choose for the calendar."),
        _("Kept in the store (tried); one user reports that GNOME never showed them."),
    ),
    PhoneKind(
        _("Thunderbird"),
        _("New Calendar, On the Network, paste the address."),
        _("About every 30 minutes, or as you choose."),
        _("Kept, unless the calendar is set to show no reminders."),
    ),
)


def webcal(address: str) -> str:
    """Return the form of an address that asks a phone to subscribe; opened as a web page it would copy the calendar once."""
    return "webcal://" + address.partition("://")[2]


def asked_words(phone: Phone, now: float) -> str:
    """Say when a phone asked for the calendar last; ``now`` is seconds since 1970."""
    if phone.fetched is None:
        return _("has not asked for the calendar yet")
    minutes = int(max(0.0, now - phone.fetched) // 60)
    return _("asked {ago} ago").format(ago=ago(minutes)) if minutes else _("asked less than a minute ago")


def silent(phone: Phone, plan: Plan, now: float) -> bool:
    """Say whether a phone has not asked for so long, or never since it was added, that its copy must be taken for old."""
    since = phone.added if phone.fetched is None else phone.fetched
    return (now - since) / 60 > max(SILENT_AFTER, 3 * plan.calendar.refresh_every)


def silent_words(phone: Phone) -> str:
    """Say what a phone that does not ask may be missing."""
    return _(
        "{name} has not asked for a long time. What it shows may be old: look whether it is still subscribed."
    ).format(name=phone.name)


def test_asked_words(plan: Plan, at: Instant) -> tuple[str, ...]:
    """Say what must happen when a test alarm was asked for."""
    when = moment_words(plan.clock.local(at))
    return (
        _("A test alarm titled TEST is in the calendar for {when}. Each phone must ring at that time.").format(
            when=when
        ),
        _(
            "A phone rings only if it asks for the calendar before then; one that asks rarely cannot. Refresh it by hand, or choose "
            "a later test. If it stays silent although it shows TEST, its alarms are off or removed: subscribe again."
        ),
        _("The test is in no record of care. It goes from the calendar by itself afterwards."),
    )
