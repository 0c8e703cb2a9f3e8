"""Drives Evolution Data Server, the calendar store of GNOME's programs: it subscribes to an address and says what it shows.

Run by the system's Python, which has the library's bindings, on a session bus of its own. Arguments: the address. For each
line on its input it refreshes the calendar and prints what it shows, as one line of JSON: UID to start and end (seconds since
1970), summary, whether it is cancelled, and how long before its start it rings (seconds, null for no alarm).
"""

import json
import sys
import time
from typing import Any

import gi  # type: ignore[import-not-found, unused-ignore]

gi.require_version("EDataServer", "1.2")
gi.require_version("ECal", "2.0")
gi.require_version("ICalGLib", "3.0")
from gi.repository import ECal, EDataServer, GLib, ICalGLib  # type: ignore[import-not-found, unused-ignore] # noqa: E402

SETTLES = 0.3
"""Seconds after a refresh until the store has taken in what it fetched; whoever asks may have to ask again."""


def subscribed(address: str) -> Any:
    """Return a client of a calendar that is subscribed at an address."""
    registry = EDataServer.SourceRegistry.new_sync(None)
    source = EDataServer.Source.new_with_uid("reminders-feed", None)
    source.set_parent("webcal-stub")
    source.set_display_name("feed")
    source.get_extension(EDataServer.SOURCE_EXTENSION_CALENDAR).set_backend_name("webcal")
    source.get_extension(EDataServer.SOURCE_EXTENSION_AUTHENTICATION).set_method("none")
    source.get_extension(EDataServer.SOURCE_EXTENSION_WEBDAV_BACKEND).set_uri(
        GLib.Uri.parse(address, GLib.UriFlags.NONE)
    )
    registry.commit_source_sync(source, None)
    return ECal.Client.connect_sync(source, ECal.ClientSourceType.EVENTS, 1, None)


def shown(client: Any) -> dict[str, Any]:
    """Return what the calendar shows."""
    client.refresh_sync(None)
    time.sleep(SETTLES)
    _found, components = client.get_object_list_sync("#t", None)
    return {component.get_uid(): event(component) for component in components}


def event(component: Any) -> dict[str, Any]:
    """Return one event as the store has it."""
    utc = ICalGLib.Timezone.get_utc_timezone()
    whole = ECal.Component.new_from_icalcomponent(component.clone())
    rings = [
        -alarm.get_trigger().get_duration().as_int()
        for alarm in map(whole.get_alarm, whole.get_alarm_uids() or ())
        if alarm is not None
    ]
    status = component.get_first_property(ICalGLib.PropertyKind.STATUS_PROPERTY)
    return {
        "start": component.get_dtstart().as_timet_with_zone(utc),
        "end": component.get_dtend().as_timet_with_zone(utc),
        "summary": component.get_summary(),
        "cancelled": status is not None and status.get_value_as_string() == "CANCELLED",
        "rings": rings[0] if rings else None,
    }


def main() -> None:
    """Subscribe, then answer line by line."""
    client = subscribed(sys.argv[1])
    for _line in sys.stdin:
        sys.stdout.write(json.dumps(shown(client)) + "\n")
        sys.stdout.flush()


main()
