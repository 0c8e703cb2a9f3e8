"""Zone rules, read from the ``tzdata`` package and from nowhere else (R3).

The standard library would ask the operating system first; its copy may be years old and wrong for a zone
whose law changed. Reading the package's own files gives every machine the same instants.
"""

from difflib import get_close_matches
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


def near_zones(typed: str, most: int = 3) -> list[str]:
    """Return the zones that a person may have meant, the likeliest first: by the whole name whatever its capitals, by the
    city or the last part of it alone, or by a slip in one of these. An old name stands for the one that took its place."""
    wanted = "_".join(typed.split()).casefold()
    links = _links()
    by_name: dict[str, list[str]] = {}
    for name in sorted(known_zones()):
        if "/" in name and not name.startswith("Etc/"):
            for called in (name, name.rpartition("/")[2]):
                by_name.setdefault(called.casefold(), []).append(links.get(name, name))
    found = by_name.get(wanted) or [
        name for called in get_close_matches(wanted, by_name, n=most, cutoff=0.8) for name in by_name[called]
    ]
    return list(dict.fromkeys(found))[:most]


@cache
def _links() -> dict[str, str]:
    """Return the zone that took the place of each old name by country or part of one, such as ``US/Central``."""
    listing = resources.files("tzdata").joinpath("zoneinfo", "tzdata.zi").read_text(encoding="utf-8")
    lines = (line.split() for line in listing.splitlines() if line.startswith("L "))
    return {old: new for _letter, new, old in lines if old.startswith(("US/", "Canada/"))}


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
