"""A second opinion on a schedule, which shares no code with the compiler.

Input: a plan as ``tomllib`` reads it and the schedule's JSON as a dict. The doses, touches and steps that the plan
asks for are worked out here once more, from the rules (R1-R10) and the plan alone, with zone rules read from the IANA
files by a reader of our own. Then every lumen is walked minute by minute. Output: what is wrong, in plain words.

Nothing here imports ``reminders``, and no expected value comes from the schedule that is looked at, save the rolling
end of an open-ended plan.
"""

import itertools
import re
import struct
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from fractions import Fraction
from functools import cache
from importlib import resources
from typing import Any

Values = dict[str, Any]
EPOCH = datetime(1970, 1, 1)
NEVER = 2**40
"""An instant that no plan reaches."""
LAST_YEAR = 2040
"""The last year for which zone rules are spelt out."""


# --- Zone rules, read from the TZif files of the tzdata package (format: RFC 8536) ---


@dataclass(frozen=True, slots=True)
class Change:
    """One clock change: its instant and the offsets before and after it, all in minutes."""

    at: int
    before: int
    after: int


class ZoneRules:
    """The offsets of one zone: the transitions that its TZif file lists, then its rule for the years after them."""

    def __init__(self, content: bytes, last_year: int = LAST_YEAR) -> None:
        """Read the file's version 2 block and spell its rule out up to the end of ``last_year``."""
        first = self._counts(content, 0)
        skipped = 44 + first[3] * 5 + first[4] * 6 + first[5] + first[2] * 8 + first[1] + first[0]
        _, _, _, times, types, _ = self._counts(content, skipped)
        place = skipped + 44
        self.at = list(struct.unpack_from(f">{times}q", content, place))
        kinds = struct.unpack_from(f">{times}B", content, place + 8 * times)
        place += 9 * times
        offsets = [struct.unpack_from(">i", content, place + 6 * index)[0] for index in range(types)]
        self.offsets = [offsets[0], *(offsets[kind] for kind in kinds)]
        self.rule = content.rsplit(b"\n", 2)[1].decode()
        listed = self.at[-1] if self.at else -NEVER
        for at, offset in rule_transitions(self.rule, last_year):
            if at > listed:
                self.at.append(at)
                self.offsets.append(offset)
        self.known_until = minutes_of(datetime(last_year, 12, 1))

    @staticmethod
    def _counts(content: bytes, place: int) -> tuple[int, ...]:
        magic, version, *counts = struct.unpack_from(">4sc15x6l", content, place)
        if magic != b"TZif" or version < b"2":
            raise ValueError("not a TZif file of version 2 or later")
        return tuple(counts)

    def offset(self, instant: int) -> int:
        """Return the offset in minutes that is in force at an instant in minutes."""
        if instant > self.known_until:
            raise ValueError("beyond the years that were spelt out")
        seconds: int = self.offsets[bisect_right(self.at, instant * 60)]
        return seconds // 60

    def wall(self, instant: int) -> datetime:
        """Return what the clock shows at an instant."""
        return EPOCH + timedelta(minutes=instant + self.offset(instant))

    def instants(self, wall: datetime) -> list[int]:
        """Return every instant at which the clock shows ``wall``: none in a gap, two in a repeated hour."""
        reading = minutes_of(wall)
        near = {self.offset(reading + hours * 60) for hours in range(-26, 27, 2)}
        return sorted(reading - offset for offset in near if self.offset(reading - offset) == offset)

    def instant(self, wall: datetime) -> int:
        """Return the instant that R3 means: the first if there are two, moved on by the gap's length if none."""
        found = self.instants(wall)
        if found:
            return found[0]
        reading = minutes_of(wall)
        gaps = [
            change
            for change in self.changes(wall.year - 1, wall.year + 1)
            if change.at + change.before <= reading < change.at + change.after
        ]
        return reading - gaps[0].before

    def changes(self, first_year: int, last_year: int) -> list[Change]:
        """Return the clock changes of some years in which the offset really changes."""
        left = minutes_of(datetime(first_year, 1, 1)) * 60
        right = minutes_of(datetime(last_year + 1, 1, 1)) * 60
        return [
            Change(at // 60, self.offsets[index] // 60, self.offsets[index + 1] // 60)
            for index, at in enumerate(self.at)
            if left <= at < right and self.offsets[index] != self.offsets[index + 1]
        ]


NAME = r"(?:<[^>]+>|[A-Za-z]+)"
TIME = r"[+-]?\d+(?::\d+){0,2}"
RULE = re.compile(f"{NAME}({TIME})(?:{NAME}({TIME})?,M([\\d.]+)(?:/({TIME}))?,M([\\d.]+)(?:/({TIME}))?)?")


def rule_transitions(rule: str, last_year: int) -> list[tuple[int, int]]:
    """Return (instant, offset from then on), in seconds, that a zone's rule gives for 2000 to ``last_year``.

    The rule is that of RFC 8536, 3.3.1, such as ``CST6CDT,M3.2.0,M11.1.0``; only its month forms are in use.
    """
    match = RULE.fullmatch(rule)
    if match is None:
        raise ValueError(f"a rule of another form: {rule}")
    standard, summer, begins, begins_at, ends, ends_at = match.groups()
    if begins is None:
        return []
    usual = -_seconds(standard)
    shifted = usual + 3600 if summer is None else -_seconds(summer)
    found = []
    for year in range(2000, last_year + 1):
        for day, at, before, after in ((begins, begins_at, usual, shifted), (ends, ends_at, shifted, usual)):
            month, week, weekday = (int(part) for part in day.split("."))
            midnight = (_nth_weekday(year, month, week, weekday) - EPOCH.date()).days * 86400
            found.append((midnight + _seconds(at or "2") - before, after))
    return sorted(found)


def _seconds(text: str) -> int:
    parts = [int(part) for part in text.lstrip("+-").split(":")]
    length = sum(part * unit for part, unit in zip(parts, (3600, 60, 1), strict=False))
    return -length if text.startswith("-") else length


def _nth_weekday(year: int, month: int, week: int, weekday: int) -> date:
    """Return the week-th Sunday (0) to Saturday (6) of a month; the fifth means the last."""
    days = [
        day
        for day in (date(year, month, 1) + timedelta(days=count) for count in range(31))
        if day.month == month and day.isoweekday() % 7 == weekday
    ]
    return days[min(week, len(days)) - 1]


def minutes_of(wall: datetime) -> int:
    """Return a naive datetime as minutes since 1970, as if it were UTC."""
    return int((wall - EPOCH) // timedelta(minutes=1))


def zone_file(name: str) -> bytes:
    """Return the bytes of a zone's file in the tzdata package."""
    return resources.files("tzdata").joinpath("zoneinfo", *name.split("/")).read_bytes()


@cache
def zone_rules(name: str) -> ZoneRules:
    """Return the rules of a zone by its IANA name."""
    return ZoneRules(zone_file(name))


# --- Values of the plan file ---

MINUTES = {"min": 1, "mins": 1, "minute": 1, "minutes": 1, "h": 60, "hr": 60, "hrs": 60, "hour": 60, "hours": 60}
MINUTES |= {"d": 1440, "day": 1440, "days": 1440, "week": 10080, "weeks": 10080, "wk": 10080}
MILLILITRES = {"ml": 1, "milliliter": 1, "milliliters": 1, "l": 1000, "liter": 1000, "liters": 1000}
WEEKDAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]


def _number_and_unit(text: str) -> tuple[Fraction, str]:
    number, unit = re.fullmatch(r"\s*([\d.]+)\s*(\S+)\s*", text).groups()  # type: ignore[union-attr]
    return Fraction(number), unit


def minutes(text: str) -> int:
    """Return a duration such as ``12 h`` in minutes."""
    number, unit = _number_and_unit(text)
    found = number * MINUTES[unit]
    if found.denominator != 1:
        raise ValueError(f"{text} is not whole minutes")
    return int(found)


def millilitres(text: str) -> Fraction:
    """Return a volume such as ``10 mL`` in mL."""
    number, unit = _number_and_unit(text)
    return number * MILLILITRES[unit.lower()]


def per_hour(text: str) -> Fraction:
    """Return a rate such as ``100 mL/h`` in mL/h."""
    volume, unit = re.fullmatch(r"(.*?)\s*/\s*(\S+)", text).groups()  # type: ignore[union-attr]
    return millilitres(volume) * 60 / MINUTES[unit]


def clock_time(value: Any) -> time:
    """Return a time of day, written as text or as TOML's own."""
    if isinstance(value, time):
        return value
    hour, minute = value.split(":")
    return time(int(hour), int(minute))


def whole_date(value: Any) -> date:
    """Return a date, written as text or as TOML's own."""
    return date.fromisoformat(value) if isinstance(value, str) else value


def in_words(instant: int) -> str:
    """Return an instant as it is shown in a complaint."""
    return (EPOCH + timedelta(minutes=instant)).strftime("%Y-%m-%d %H:%MZ")


def from_words(text: str | None) -> int | None:
    """Return the instant of the schedule's JSON, such as ``2026-10-12T19:00Z``; None stays None."""
    return None if text is None else minutes_of(datetime.strptime(text, "%Y-%m-%dT%H:%MZ"))  # noqa: DTZ007


# --- What the plan asks for ---


@dataclass(frozen=True, slots=True)
class Dose:
    """One dose, or one stay of a connected reservoir (``number`` 1 there). ``end`` is NEVER if nothing ends it."""

    order: str
    number: int
    start: int
    end: int


@dataclass(slots=True)
class Meeting:
    """What meets in one lumen at one instant."""

    starts: list[Dose] = field(default_factory=list)
    ends: list[Dose] = field(default_factory=list)
    bags: list[str] = field(default_factory=list)
    draws: list[str] = field(default_factory=list)
    required: bool = False


class Wanted:
    """All that the plan asks for up to an instant, worked out from the plan alone."""

    def __init__(self, plan: Values, end: int | None = None) -> None:
        """Work it out; ``end`` is needed for an open-ended plan only."""
        self.plan = plan
        self.head: Values = plan["plan"]
        self.orders: Values = plan.get("order", {})
        self.lumens: Values = plan["lumen"]
        self.protocol: Values = plan["protocol"]
        self.home = zone_rules(self.head["zone"])
        journey = [(self.moment(change["at"]), zone_rules(change["zone"])) for change in plan.get("zone_change", [])]
        self.zones = [(-NEVER, self.home), *sorted(journey, key=lambda leg: leg[0])]
        self.start = self.moment(self.head["start"])
        stated = self.head.get("end", self.head.get("line_removal"))
        self.rolling = stated is None
        self.removal = self.moment(self.head["line_removal"]) if "line_removal" in self.head else None
        if stated is None and end is None:
            raise ValueError("an open-ended plan needs the end from outside")
        self.end: int = self.moment(stated) if stated is not None else end  # type: ignore[assignment]
        self.joining = minutes(self.protocol["joining_time"])
        self._doses: dict[str, list[Dose]] = {}

    # Time

    def moment(self, value: Any) -> int:
        """Return the instant of a moment, on the home clock unless it carries an offset."""
        found = datetime.fromisoformat(value.strip()) if isinstance(value, str) else value
        if found.tzinfo is not None:
            return minutes_of(found.astimezone(UTC).replace(tzinfo=None))
        return self.home.instant(found)

    def rules_at(self, instant: int) -> ZoneRules:
        """Return the rules of the household's clock at an instant (R5)."""
        return [rules for since, rules in self.zones if since <= instant][-1]

    # Doses (R2-R5)

    def dose_minutes(self, order: Values) -> int:
        """Return how long one dose runs (R4); a part of a minute counts as a whole one."""
        if "duration" in order:
            return minutes(order["duration"])
        if "rate_steps" in order:
            return sum(minutes(step.split(" for ")[1]) for step in order["rate_steps"])
        exact = millilitres(order["volume"]) / per_hour(order["rate"]) * 60
        return -(-exact.numerator // exact.denominator)

    def doses(self, name: str) -> list[Dose]:
        """Return every dose of an order from its first, to well past the end of the horizon."""
        if name not in self._doses:
            order = self.orders[name]
            found = []
            for number, start in enumerate(self._starts(order), start=order.get("first_dose_number", 1)):
                if order.get("continuous"):
                    end = self.moment(order["stops"]) if "stops" in order else NEVER
                else:
                    end = start + self.dose_minutes(order)
                if self.removal is not None:  # what would outlast the line is taken off with it (R19)
                    end = min(end, self.removal)
                if order["given_as"] == "pump" and "stops" in order:
                    end = min(end, self.moment(order["stops"]))
                found.append(Dose(name, number, start, end))
            self._doses[name] = found
        return self._doses[name]

    def _starts(self, order: Values, *, removed: bool = True) -> list[int]:
        if order.get("as_needed"):
            return []
        if "moments" in order:
            return sorted(self.moment(entry) for entry in order["moments"])
        if "follows" in order:
            return [dose.end + minutes(order.get("follows_after", "0 min")) for dose in self.doses(order["follows"])]
        first = self.moment(order["first_dose"])
        if order.get("continuous"):
            return [first]
        # A pump's reservoir is taken off when its last dose ends, however far beyond the horizon that is.
        until = self.end + self.joining + 1 + (400 * 1440 if order["given_as"] == "pump" else 0)
        if order["given_as"] == "pump" and order.get("until_removal"):
            until = self.end + 1
        if "every" in order:
            found = list(range(first, until, minutes(order["every"])))
        else:
            found = self.clock_instants(order, order["clock_times"], first, until)
        if "last_day" in order:
            last = whole_date(order["last_day"])
            found = [start for start in found if self._order_rules(order, start).wall(start).date() <= last]
        if "stops" in order:
            found = [start for start in found if start < self.moment(order["stops"])]
        if "doses" in order:
            found = found[: order["doses"] - order.get("first_dose_number", 1) + 1]
        return [start for start in found if self.removal is None or not removed or start < self.removal]

    def _order_rules(self, order: Values, instant: int) -> ZoneRules:
        return self.rules_at(instant) if order.get("clock") == "local" else self.home

    def clock_instants(
        self, order: Values, times: list[Any], first: int, until: int, *, daily: bool = False
    ) -> list[int]:
        """Return the instants of clock times on the order's clock and on its days, in order; R3 at each."""
        origin = self.home.wall(first).date()
        weekdays = [WEEKDAYS.index(day) for day in order.get("weekdays", WEEKDAYS)]
        zones = self.zones if order.get("clock") == "local" else [(-NEVER, self.home)]
        edges = [*(since for since, _ in zones[1:]), NEVER]
        found = []
        for (since, rules), before in zip(zones, edges, strict=True):
            day = origin - timedelta(days=2)
            while minutes_of(datetime.combine(day, time())) < until + 2880:
                on = daily or (day.weekday() in weekdays and (day - origin).days % order.get("every_days", 1) == 0)
                for at in {clock_time(value) for value in times} if on else ():
                    instant = rules.instant(datetime.combine(day, at))
                    if since <= instant < before and first <= instant < until:
                        found.append(instant)
                day += timedelta(days=1)
        return sorted(found)

    # What is connected and what runs

    def listed_doses(self) -> list[Dose]:
        """Return the doses that belong to the horizon: not over before it begins, started before it ends."""
        return [dose for name in self.orders for dose in self.doses(name) if self._belongs(dose)]

    def _belongs(self, dose: Dose) -> bool:
        if dose.start >= self.end:
            return False
        return dose.start >= self.start or (self.orders[dose.order]["given_as"] != "push" and dose.end >= self.start)

    def connected(self, lumen: str) -> list[Dose]:
        """Return what is connected to a lumen and taken off again: infusions, pushes, reservoirs as one each."""
        found = []
        for name, order in self.orders.items():
            if order["lumen"] != lumen:
                continue
            doses = self.doses(name)
            if order["given_as"] == "pump" and doses:
                # Off when it stops, or at the end of its last dose; an order that is not over goes with the line.
                last = self._starts(order, removed=False)[-1]
                end = last + self.dose_minutes(order)
                if "stops" in order:
                    end = self.moment(order["stops"])
                elif order.get("until_removal"):
                    end = NEVER
                end = end if self.removal is None else min(end, self.removal)
                doses = [Dose(name, 1, doses[0].start, end)]
            found += [dose for dose in doses if dose.end >= self.start]
        return found

    def runs(self, lumen: str) -> list[Dose]:
        """Return the spans of the horizon in which something runs in a lumen; a push from before it is over."""
        return [
            dose
            for dose in self.in_lumen(lumen)
            if dose.start < self.end
            and dose.end > self.start
            and (dose.start >= self.start or self.orders[dose.order]["given_as"] != "push")
        ]

    def in_lumen(self, lumen: str) -> list[Dose]:
        """Return all spans in which something runs in a lumen. A pump that is not kept open runs at its doses."""
        found = []
        for name, order in self.orders.items():
            if order["lumen"] == lumen:
                if order["given_as"] == "pump" and order["kept_open"]:
                    found += [dose for dose in self.connected(lumen) if dose.order == name]
                else:
                    found += self.doses(name)
        return found

    def running_after(self, lumen: str, instant: int) -> bool:
        """Say whether anything runs in a lumen just after what is done at an instant. A push is over by then."""
        return any(
            dose.start <= instant < dose.end
            for dose in self.runs(lumen)
            if self.orders[dose.order]["given_as"] != "push"
        )

    def bag_changes(self, dose: Dose) -> list[int]:
        """Return when the bag of a running infusion, or a reservoir, is changed (R10)."""
        order = self.orders[dose.order]
        last = min(dose.end, self.end + 400 * 1440) if dose.end < NEVER else self.end
        if "bag_every" in order:
            return list(range(dose.start + minutes(order["bag_every"]), last, minutes(order["bag_every"])))
        if "bag_times" in order:
            return self.clock_instants(order, order["bag_times"], dose.start + 1, last, daily=True)
        return []

    def meetings(self, lumen: str) -> dict[int, Meeting]:
        """Return what meets in a lumen at each instant from the horizon's beginning."""
        found: dict[int, Meeting] = defaultdict(Meeting)
        for dose in self.connected(lumen):
            if dose.start >= self.end:
                continue
            if dose.start >= self.start:
                found[dose.start].starts.append(dose)
                found[dose.start].required = True
            pushed = self.orders[dose.order]["given_as"] == "push"
            if not pushed and self.start <= dose.end < NEVER:
                found[dose.end].ends.append(dose)
                # What runs for days on end and outlasts the horizon may show its finish or not.
                lasting = self.orders[dose.order].get("continuous") or self.orders[dose.order]["given_as"] == "pump"
                found[dose.end].required |= not (lasting and dose.end > self.end)
            for instant in self.bag_changes(dose):
                if instant >= self.start and (self.removal is None or instant < self.removal):
                    # An infusion that outlasts the horizon may show its bag changes or not.
                    found[instant].required |= instant < self.end
                    found[instant].bags.append(dose.order)
        for instant, names in self.draws(lumen).items():
            found[instant].draws += names
            found[instant].required = True
        if self.removal is not None:  # after removal nothing is due (R19)
            return {instant: meeting for instant, meeting in found.items() if instant <= self.removal}
        return dict(found)

    def draws(self, lumen: str) -> dict[int, list[str]]:
        """Return when blood is to be drawn through a lumen on fixed days, and which draws that are (R20)."""
        found: dict[int, list[str]] = defaultdict(list)
        for name, task in self.plan.get("task", {}).items():
            if task["kind"] != "blood draw" or task.get("lumen") != lumen:
                continue
            for instant in self._draw_instants(task):
                if self.start <= instant < self.end:
                    found[instant].append(name)
        return dict(found)

    def _draw_instants(self, task: Values) -> list[int]:
        if "moments" in task:
            return [self.moment(entry) for entry in task["moments"]]
        if "weekdays" not in task:
            raise ValueError("the walk knows draws on weekdays and at moments only")
        found = []
        for offset in range(-8, (self.end - self.start) // 1440 + 9):
            day = self.home.wall(self.start).date() + timedelta(days=offset)
            if WEEKDAYS[day.weekday()] not in task["weekdays"]:
                continue
            step = {"the day before": -1, "the day after": 1, "not at all": 0}[task.get("instead", "not at all")]
            while day in map(whole_date, task.get("not_on", [])) and step:
                day += timedelta(days=step)
            if day not in map(whole_date, task.get("not_on", [])):
                wall = datetime.combine(day, clock_time(task["at"]))
                found.append(self.rules_at(self.home.instant(wall)).instant(wall))
        return found

    # Steps (R6, R7)

    def draw_steps(self, lumen: str, draws: list[str], lock: bool) -> list[Values]:
        """Return the steps of a draw through a lumen in which nothing runs: flush, discard, draw, larger flush (S9)."""
        steps = self.pushed(self.protocol.get("before_draw", []), lumen)
        if "discard_volume" in self.protocol:
            steps.append({"action": "discard", "volume": millilitres(self.protocol["discard_volume"])})
        steps += [{"action": "draw", "what": name} for name in draws]
        steps += self.pushed(self.protocol["after_draw"], lumen)
        return self.with_lock(steps, lumen) if lock else steps

    def fluid(self, name: str) -> Values | None:
        """Return a fluid by its name, None for an extra step."""
        found: Values | None = self.plan["fluid"].get(name)
        return found

    def lock_of(self, lumen: str) -> str:
        """Return the lock of a lumen."""
        return str(self.lumens[lumen].get("lock", self.plan["line"]["lock"]))

    def pushed(self, listed: list[str], lumen: str) -> list[Values]:
        """Return the steps of an ordered list such as ``["saline", "dextrose 5 mL"]``."""
        steps: list[Values] = []
        for entry in listed:
            name, _, volume = entry.strip().partition(" ")
            fluid = self.fluid(name)
            if fluid is None:
                steps.append({"action": "extra", "what": name})
                continue
            amount = millilitres(volume) if volume else self.volume_of(name, lumen)
            steps.append({"action": "flush", "what": name, "volume": amount})
        return steps

    def volume_of(self, fluid: str, lumen: str) -> Fraction:
        """Return how much of a fluid is pushed into a lumen where no list says it."""
        own = self.lumens[lumen].get("flush_volume") if fluid == self.protocol["flush"] else None
        return millilitres(own or self.plan["fluid"][fluid]["volume"])

    def before(self, name: str) -> list[Values]:
        """Return the ordered fluids and steps before a dose."""
        order = self.orders[name]
        return self.pushed(order.get("before", self.protocol["before"]), order["lumen"])

    def begun(self, name: str) -> list[Values]:
        """Return the step that begins a dose."""
        order = self.orders[name]
        if order["given_as"] != "push":
            return [{"action": "connect", "what": name}]
        step: Values = {"action": "push", "what": name}
        if "volume" in order:
            step["volume"] = millilitres(order["volume"])
        return [step]

    def after(self, name: str) -> tuple[list[Values], list[Values]]:
        """Return what takes a dose off, and the ordered fluids and steps after that, without the lock."""
        order = self.orders[name]
        listed = self.protocol["after"]
        if order["kind"] == "nutrition":
            listed = self.protocol.get("after_nutrition", listed)
        off: list[Values] = [] if order["given_as"] == "push" else [{"action": "disconnect", "what": name}]
        if order["flush_through"] == "withdraw first":
            off.append({"action": "withdraw", "what": name, "volume": millilitres(order["withdraw_volume"])})
        return off, self.pushed(order.get("after", listed), order["lumen"])

    def drawn_out(self, lumen: str, locked: bool) -> list[Values]:
        """Return the drawing out of a lock that must not be flushed in."""
        stated = self.lumens[lumen]
        if locked and stated.get("flush_through") == "withdraw first":
            return [{"action": "withdraw", "volume": millilitres(stated["withdraw_volume"])}]
        return []

    def with_lock(self, steps: list[Values], lumen: str) -> list[Values]:
        """Return steps that end in the lock; where the last fluid pushed is the lock's own, that step is the lock."""
        lock = self.lock_of(lumen)
        for index in reversed(range(len(steps))):
            if steps[index]["action"] == "flush" and steps[index]["what"] == lock:
                return [*steps[:index], steps[index] | {"action": "lock"}, *steps[index + 1 :]]
            if steps[index]["action"] != "extra":
                break
        stated = self.lumens[lumen]
        usual = self.volume_of(lock, lumen)
        volume = millilitres(stated["lock_volume"]) if "lock_volume" in stated else usual
        return [*steps, {"action": "lock", "what": lock, "volume": volume}]

    def touch_steps(self, lumen: str, meeting: Meeting, locked: bool, lock: bool) -> list[list[Values]]:
        """Return the lists of steps that do for a touch: finishes, bags, starts, each group in any order."""
        found = []
        groups = [
            list(itertools.permutations(dose.order for dose in meeting.ends)),
            list(itertools.permutations(meeting.bags)),
            list(itertools.permutations(dose.order for dose in meeting.starts)),
        ]
        drawn = self.drawn_out(lumen, locked)
        for ends, bags, starts in itertools.product(*groups):
            pushes = [name for name in starts if self.orders[name]["given_as"] == "push"]
            others = [name for name in starts if name not in pushes]
            changes = [
                [*self.pushed(self.orders[name].get("bag_flush", []), lumen), {"action": "change bag", "what": name}]
                for name in bags
            ]
            given = [part for name in pushes for part in (self.before(name), self.begun(name), *self.after(name))]
            # Where several start or end at once, one whole after the other does, and each kind of step together too.
            one_by_one = [part for name in ends for part in self.after(name)]
            one_by_one += [
                *changes,
                *given,
                *(part for name in others for part in (self.before(name), self.begun(name))),
            ]
            together = [self.after(name)[0] for name in ends] + [self.after(name)[1] for name in ends]
            together += [*changes, *given, *map(self.before, others), *map(self.begun, others)]
            for parts in (one_by_one, together):
                # What one list says twice in a row is done twice; only neighbours of two lists become one.
                steps: list[Values] = []
                for part in parts:
                    same = steps and part and steps[-1] == part[0] and part[0]["action"] == "flush"
                    steps += part[1:] if same else part
                steps = [*drawn, *steps] if starts else steps
                found.append(self.with_lock(steps, lumen) if lock else steps)
        return found


# --- The walk ---


def violations(plan: Values, schedule: Values) -> list[str]:
    """Return everything in a schedule that breaks R1-R10, in plain words; an empty list if nothing does."""
    return list(_Check(plan, schedule).all())


class _Check:
    def __init__(self, plan: Values, schedule: Values) -> None:
        self.schedule = schedule
        self.wanted = Wanted(plan, from_words(schedule["end"]))
        self.events: list[Values] = [
            event | {"at": from_words(event["start"]), "steps": [_read_step(step) for step in event["steps"]]}
            for event in schedule["events"]
        ]

    def all(self) -> Iterator[str]:
        yield from self.horizon()
        yield from self.rows()
        yield from self.doses()
        for lumen, stated in self.wanted.lumens.items():
            events = [event for event in self.events if event["lumen"] == lumen]
            if not stated.get("in_use", True):
                yield from (f"{lumen} is out of use and has an event at {in_words(event['at'])}" for event in events)
                continue
            yield from self.touches(lumen, events)
            yield from self.overlaps(lumen)
            yield from self.minute_by_minute(lumen, events)

    def horizon(self) -> Iterator[str]:
        wanted = self.wanted
        if from_words(self.schedule["start"]) != wanted.start:
            yield f"the horizon starts {self.schedule['start']}, not {in_words(wanted.start)}"
        if from_words(self.schedule["end"]) != wanted.end:
            yield f"the horizon ends {self.schedule['end']}, not {in_words(wanted.end)}"
        if self.schedule["end_rolls_on"] != wanted.rolling:
            yield "the horizon rolls on and should not, or the other way round"

    def rows(self) -> Iterator[str]:
        """Check what holds for each event alone and for the list as a list."""
        wanted = self.wanted
        places = list(wanted.lumens)
        for uid, times in Counter(event["uid"] for event in self.events).items():
            if times > 1:
                yield f"R23: the UID {uid} stands {times} times"
        order = [(event["at"], places.index(event["lumen"])) for event in self.events]
        if order != sorted(order):
            yield "the events are not in order of time and lumen"
        for event in self.events:
            at = event["at"]
            where = f"{event['lumen']} at {in_words(at)}"
            if at < wanted.start:
                yield f"{where}: an event before the plan starts"
            if wanted.removal is not None and at > wanted.removal:
                yield f"R19: {where}: an event after the line's removal"
            if from_words(event["end"]) != at + minutes(wanted.head["handling_time"]):
                yield f"{where}: the event is not as long as the handling time"
            rules = wanted.rules_at(at)
            shown = datetime.fromisoformat(event["local"])
            if shown.replace(tzinfo=None) != rules.wall(at) or shown.utcoffset() != timedelta(minutes=rules.offset(at)):
                yield f"R5: {where}: shown as {event['local']}, not as {rules.wall(at)}"

    def doses(self) -> Iterator[str]:
        """Check the list of all doses, those of pumps too."""
        stated = Counter(
            (str(dose["order"]), int(dose["dose"]), from_words(dose["start"]) or 0, self.ending(dose))
            for dose in self.schedule["doses"]
        )
        # A dose that is over in the very minute in which the plan starts may be listed or not; its touch must stand.
        wanted = Counter(self.named(dose) for dose in self.wanted.listed_doses())
        edge = {self.named(dose) for dose in self.wanted.listed_doses() if dose.start < self.wanted.start == dose.end}
        for order, number, start, _ in wanted - stated:
            if (order, number, start, self.wanted.start) not in edge:
                yield f"R2: dose {number} of {order}, due {in_words(start)}, is not listed"
        for order, number, start, _ in stated - wanted:
            yield f"R2: dose {number} of {order} is listed at {in_words(start)} and is not ordered so"

    def named(self, dose: Dose) -> tuple[str, int, int, int | None]:
        endless = self.wanted.orders[dose.order].get("continuous") and dose.end > self.wanted.end
        return dose.order, dose.number, dose.start, None if endless else dose.end

    def ending(self, dose: Values) -> int | None:
        """Return when a listed dose ends; None for a continuous infusion that outlasts the horizon."""
        end = from_words(dose["end"])
        if end is not None and self.wanted.orders[dose["order"]].get("continuous") and end > self.wanted.end:
            return None
        return end

    def touches(self, lumen: str, events: list[Values]) -> Iterator[str]:
        """Check that each touch stands exactly once, with its steps (R6, R7, R10)."""
        wanted = self.wanted
        meetings = wanted.meetings(lumen)
        planned: dict[int, list[Values]] = defaultdict(list)
        for event in events:
            if event["kind"] != "idle flush":
                planned[event["at"]].append(event)
        for instant, meeting in meetings.items():
            here = planned.get(instant, [])
            if (meeting.required or here) and len(here) != 1:
                yield (f"R6: {lumen} at {in_words(instant)}: {len(here)} touches instead of one for {_told(meeting)}")
        connects = sorted(dose.start for dose in wanted.connected(lumen) if wanted.rolling or dose.start < wanted.end)
        locked = not any(
            dose.start < wanted.start <= dose.end and wanted.orders[dose.order]["given_as"] != "push"
            for dose in wanted.in_lumen(lumen)
        )
        pumped = sorted(
            dose.start
            for dose in wanted.runs(lumen)
            if wanted.orders[dose.order]["given_as"] == "pump" and dose.start not in connects
        )
        idle_flushes = [event["at"] for event in events if event["kind"] == "idle flush"]
        before = wanted.start
        for event in events:
            instant = event["at"]
            if any(before < start <= instant for start in pumped):
                locked = False  # the pump's own dose has pushed the lock in
            before = instant
            if event["kind"] == "idle flush":
                yield from self.idle_steps(lumen, event, locked)
                locked = True
                continue
            met = meetings.get(instant)
            if met is None:
                yield f"R10: {lumen} at {in_words(instant)}: a touch ({event['kind']}) for which there is no reason"
                continue
            yield from self.whose(lumen, event, met)
            if met.draws:
                yield from self.drawn(lumen, event, met, next((start for start in connects if start > instant), NEVER))
                locked = any(step["action"] == "lock" for step in event["steps"])
                continue
            pushes = [dose for dose in met.starts if wanted.orders[dose.order]["given_as"] == "push"]
            free = max([instant, *(dose.end for dose in pushes)])
            idle = not wanted.running_after(lumen, instant)
            following = next((start for start in connects if start > instant), NEVER)
            # A bag change has its ordered flush or none, and no lock (R10).
            due = bool(met.ends or pushes) and idle and following - free > wanted.joining
            has = any(step["action"] == "lock" for step in event["steps"])
            between = not due and any(instant < flush < following for flush in idle_flushes)
            if idle and (between or (wanted.rolling and free >= wanted.end)) and (met.ends or pushes):
                # An idle flush before the joined dose locks the lumen anyway; beyond a rolling end nothing is planned.
                due = has
            yield from self.step_complaints(lumen, event, wanted.touch_steps(lumen, met, locked, due), due)
            if has or any(_flushes(event["steps"])):
                locked = has

    def drawn(self, lumen: str, event: Values, met: Meeting, following: int) -> Iterator[str]:
        """Check the draws through a lumen: by themselves, with the lock unless a dose follows within the joining time."""
        wanted = self.wanted
        if met.starts or met.ends or met.bags or wanted.running_after(lumen, event["at"]):
            raise ValueError("the walk knows draws through idle lumens only")
        due = following - event["at"] > wanted.joining
        yield from self.step_complaints(lumen, event, [wanted.draw_steps(lumen, met.draws, due)], due)

    def whose(self, lumen: str, event: Values, meeting: Meeting) -> Iterator[str]:
        """Check whose starts and finishes an event says that it is, and whether it is the nurse's."""
        where = f"{lumen} at {in_words(event['at'])}"
        for key, doses in (("starts", meeting.starts), ("ends", meeting.ends)):
            stated = sorted((row["order"], from_words(row["start"]) or 0) for row in event[key])
            if stated != sorted((dose.order, dose.start) for dose in doses):
                yield f"{where}: {key} {stated}, wanted {sorted((dose.order, dose.start) for dose in doses)}"
        orders = self.wanted.orders
        if sorted(event.get("tasks", [])) != sorted(meeting.draws):
            yield f"R20: {where}: the draws {event.get('tasks')}, wanted {sorted(meeting.draws)}"
        flushed = [*meeting.ends, *(dose for dose in meeting.starts if orders[dose.order]["given_as"] == "push")]
        nurse = any(orders[dose.order]["flush_through"] == "nurse only" for dose in flushed)
        if nurse and not event["nurse_only"]:
            yield f"R6: {where}: the household is told to flush a drug that only the nurse may flush"

    def step_complaints(self, lumen: str, event: Values, wanted: list[list[Values]], due: bool) -> Iterator[str]:
        where = f"{lumen} at {in_words(event['at'])}"
        steps = event["steps"]
        if steps in wanted:
            return
        has = any(step["action"] == "lock" for step in steps)
        if due and not has:
            yield f"R7: {where}: the lock is missing"
        elif has and not due:
            yield f"R7: {where}: a lock where none belongs"
        if self.heparin(steps) and not any(self.heparin(one) for one in wanted):
            yield f"R6: {where}: heparin where none belongs"
        if not any(_flushes(steps)) and any(any(_flushes(one)) for one in wanted):
            yield f"R7: {where}: the flush is left out"
        yield f"R6: {where}: the steps are {_shown(steps)}; wanted {_shown(wanted[0])}"

    def heparin(self, steps: list[Values]) -> bool:
        fluids = self.wanted.plan["fluid"]
        return any(fluids.get(step.get("what"), {}).get("kind") == "heparin" for step in steps)

    def idle_steps(self, lumen: str, event: Values, locked: bool) -> Iterator[str]:
        wanted = self.wanted
        listed = wanted.pushed(wanted.protocol["idle"], lumen)
        steps = wanted.with_lock([*wanted.drawn_out(lumen, locked), *listed], lumen)
        yield from self.step_complaints(lumen, event, [steps], True)

    def overlaps(self, lumen: str) -> Iterator[str]:
        """R9: two doses in one lumen at one time only where one is declared to run with the other."""
        orders = self.wanted.orders
        runs = sorted(self.wanted.runs(lumen), key=lambda dose: dose.start)
        for index, one in enumerate(runs):
            for other in runs[index + 1 :]:
                if other.start >= one.end:
                    break
                if orders[one.order].get("runs_with") != other.order != one.order and (
                    orders[other.order].get("runs_with") != one.order
                ):
                    yield f"R9: {one.order} and {other.order} run in {lumen} at once from {in_words(other.start)}"
                elif one.order == other.order:
                    yield f"R9: two doses of {one.order} run in {lumen} at once from {in_words(other.start)}"

    def minute_by_minute(self, lumen: str, events: list[Values]) -> Iterator[str]:
        """R8: walk the lumen minute by minute."""
        wanted = self.wanted
        stated = wanted.lumens[lumen]
        start, end = wanted.start, wanted.end
        running = bytearray(end - start + 1)
        for dose in wanted.runs(lumen):
            left, right = max(dose.start, start) - start, min(dose.end, end + 1) - start
            running[left:right] = b"\1" * (right - left)
        flushed = set()
        for event in events:
            if event["kind"] == "idle flush":
                if stated.get("flush_through") == "nurse only":
                    yield f"R6: {lumen} at {in_words(event['at'])}: a routine flush into a nurse-only lumen"
                elif not start <= event["at"] <= end or running[event["at"] - start]:
                    yield f"R8: {lumen} at {in_words(event['at'])}: an idle flush while the lumen is not idle"
            if any(_flushes(event["steps"])):
                flushed.add(event["at"])
        if stated.get("flush_through") == "nurse only":
            return
        limit = stated.get("idle_limit", wanted.plan["line"]["idle_limit"])
        last = wanted.moment(stated["last_flushed"])
        was_idle = told = False
        for minute in range(start, end + 1):
            idle = not running[minute - start]
            late = self.passed(limit, last, minute)
            if minute in flushed:
                if late and was_idle and not told:  # flushed, but a minute or more after the limit
                    yield self.too_long(lumen, minute, last, limit)
                last, late, told = minute, False, False
            if late and idle and not told:
                yield self.too_long(lumen, minute, last, limit)
                told = True
            was_idle = idle

    def passed(self, limit: str, last: int, minute: int) -> bool:
        """Say whether a limit, in hours or of one flush each calendar day, has passed at a minute."""
        if limit != "each calendar day":
            return minute - last > minutes(limit)
        if minute - last < MINUTES["h"] * 8:
            return False  # no journey makes two midnights so near
        days = [
            next(rules for since, rules in reversed(self.wanted.zones) if since <= at).wall(at).date()
            for at in (last, minute)
        ]
        return days[1] - days[0] > timedelta(days=1)

    @staticmethod
    def too_long(lumen: str, minute: int, last: int, limit: str) -> str:
        return (
            f"R8: {lumen} at {in_words(minute)}: {minute - last} min since the flush of {in_words(last)}, "
            f"the limit is {limit}"
        )


def _read_step(step: Values) -> Values:
    return step | ({"volume": millilitres(step["volume"])} if "volume" in step else {})


def _flushes(steps: list[Values]) -> Iterator[bool]:
    """Yield for each step whether it counts as a flush; the start of a dose does (R8)."""
    return (step["action"] in ("flush", "lock", "connect", "push") for step in steps)


def _shown(steps: list[Values]) -> str:
    return ", ".join(
        f"{step['action']} {step.get('what', 'the lock')}"
        + (f" {float(step['volume']):g} mL" if "volume" in step else "")
        for step in steps
    )


def _told(meeting: Meeting) -> str:
    parts = [f"the finish of {dose.order}" for dose in meeting.ends]
    parts += [f"the bag change of {name}" for name in meeting.bags]
    parts += [f"the start of {dose.order}" for dose in meeting.starts]
    parts += [f"the draw {name}" for name in meeting.draws]
    return " and ".join(parts)
