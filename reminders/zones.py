"""Zone rules, read from the ``tzdata`` package and from nowhere else (R3).

The standard library would ask the operating system first; its copy may be years old and wrong for a zone
whose law changed. Reading the package's own files gives every machine the same instants.
"""

from functools import cache
from importlib import resources
from zoneinfo import ZoneInfo

import tzdata


def release() -> str:
    """Return the release of the IANA zone data in use, such as ``2026f``."""
    return str(tzdata.IANA_VERSION)


@cache
def known_zones() -> frozenset[str]:
    """Return every zone name of the IANA data, such as ``America/Chicago``."""
    listing = resources.files("tzdata").joinpath("zones").read_text(encoding="utf-8")
    return frozenset(listing.split())


@cache
def zone(name: str) -> ZoneInfo:
    """Return the rules of one IANA zone.

    Raises:
        KeyError: the name is not in the IANA data.
    """
    if name not in known_zones():
        raise KeyError(name)
    with resources.files("tzdata").joinpath("zoneinfo", *name.split("/")).open("rb") as file:
        return ZoneInfo.from_file(file, key=name)
