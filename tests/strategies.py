"""Whole plans, made up at random: every one valid, most of them beside a clock change.

All people, places, drugs, numbers and orders are invented and mean nothing; no value is advice. ``plans`` draws a plan
as a dict, ``toml_text`` writes it down. Overlaps and orders without a dose are kept out while a plan is drawn, with
the help of :class:`simulation.Wanted`, so that hardly any plan has to be thrown away.
"""

import itertools
import random
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any, TypeVar

from hypothesis import strategies as st
from simulation import NEVER, Change, Dose, Values, Wanted, minutes, minutes_of, zone_rules

DAY = 1440
T = TypeVar("T")

ZONES = (
    "America/Chicago",
    "America/New_York",
    "America/St_Johns",  # half an hour off its neighbours
    "Europe/Dublin",  # winter time is the one that is saved, with a negative offset
    "Europe/London",
    "Australia/Lord_Howe",  # changes by half an hour
    "Antarctica/Troll",  # changes by two hours
    "Africa/Cairo",  # changes at midnight
    "Asia/Beirut",  # changes at midnight
    "America/Santiago",  # changes at midnight, backward into the day before
    "America/Havana",
    "Asia/Tehran",
    "Africa/Casablanca",
    "Pacific/Auckland",
    "Australia/Sydney",
    "America/Phoenix",
    "Asia/Kathmandu",
    "America/Asuncion",
    "Pacific/Chatham",  # three quarters of an hour off whole hours
    "America/Nuuk",  # a gap that ends at midnight
    "America/Scoresbysund",
)


def clock_changes(zone: str) -> list[Change]:
    """Return a zone's clock changes of 2026 to 2028, from the IANA data."""
    return zone_rules(zone).changes(2026, 2028)


# --- Writing TOML: strings, numbers, yes and no, dates, lists, flat inline tables ---


def toml_text(plan: Values) -> str:
    """Write a plan down as TOML."""
    lines = ["# Invented from the first word to the last."]
    for table, content in plan.items():
        if isinstance(content, list):
            for entry in content:
                lines += ["", f"[[{table}]]", *(f"{key} = {toml_value(value)}" for key, value in entry.items())]
        elif table in ("lumen", "fluid", "step", "order", "call"):
            for name, entry in content.items():
                lines += ["", f"[{table}.{name}]", *(f"{key} = {toml_value(value)}" for key, value in entry.items())]
        else:
            lines += ["", f"[{table}]", *(f"{key} = {toml_value(value)}" for key, value in content.items())]
    return "\n".join(lines) + "\n"


def toml_value(value: Any) -> str:
    """Write one value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):  # a moment too
        return value.isoformat()
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(entry) for entry in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f'"{key}" = {toml_value(entry)}' for key, entry in value.items()) + " }"
    if isinstance(value, str):
        if not value.isprintable() or '"' in value or "\\" in value:
            raise ValueError("a text that this writer does not write")
        return f'"{value}"'
    if isinstance(value, int):
        return str(value)
    raise TypeError(f"no way to write a {type(value).__name__}")


# --- The parts that every plan has ---


def bare_plan(zone: str, start: int, end: int) -> Values:
    """Return a plan with one idle saline-locked lumen, from one instant to another, to be built upon."""
    return {
        "plan": {
            "id": "7d2c4f80-5a5e-4c0b-9d7b-0f6f1c8a2b34",
            "revision": 1,
            "takes_effect": stated(zone, start),
            "household_records": True,
            "zone": zone,
            "start": stated(zone, start),
            "end": stated(zone, end),
            "handling_time": "15 min",
        },
        "household": {"quiet_hours": ["22:00-07:00"]},
        "line": {
            "kind": "PICC",
            "valved": False,
            "placed_on": date(2025, 11, 24),
            "idle_limit": "12 h",
            "lock": "saline",
            "heparin_ruled_out": False,
            "allergies": [],
        },
        "lumen": {"red": {"label": "red", "last_flushed": stated(zone, start - 60)}},
        "fluid": {
            "saline": {
                "kind": "saline",
                "label": "0.9 % sodium chloride",
                "volume": "10 mL",
                "sodium": "0.154 mmol/mL",
                "syringe": "saline syringe",
                "syringe_holds": "10 mL",
            },
            "heparin": {
                "kind": "heparin",
                "label": "heparin lock",
                "strength": "10 units/mL",
                "volume": "3 mL",
                "syringe": "heparin syringe",
                "syringe_holds": "3 mL",
            },
            "dextrose": {
                "kind": "dextrose",
                "label": "5 % dextrose",
                "volume": "10 mL",
                "syringe": "dextrose syringe",
                "syringe_holds": "10 mL",
            },
        },
        "step": {
            "blood_return": {"label": "Look for blood return."},
            "new_cap": {"label": "Put on a new cap.", "consumes": {"cap": 1}},
        },
        "protocol": {
            "provider": "Quarrelton Home Infusion",
            "flush": "saline",
            "before": ["saline"],
            "after": ["saline"],
            "idle": ["saline"],
            "joining_time": "30 min",
            "planning_margin": "0 min",
            "least_time_to_next_touch": "0 min",
            "saved_session_worth": 1000,
        },
        "supplies": {"each_touch": {"pair of gloves": 1}},
        "order": {},
        "call": {
            "emergency": {"who": "Emergency services", "phone": "911"},
            "now": {"who": "Nurse on call, Quarrelton", "phone": "555-0161"},
        },
        "calendar": {"name": "Line care", "reveals": "everything", "alarm_before": "10 min"},
    }


def bare_order(lumen: str, **timing: Any) -> Values:
    """Return an order of an invented drug through ``lumen`` with the keys that any order needs."""
    return {
        "drug": "verolan",
        "kind": "drug",
        "dose": "1 g",
        "lumen": lumen,
        "given_as": "infusion",
        "on_time_within": "30 min",
        "cut_off": "2 h",
        "flush_through": "allowed",
        **timing,
    }


def stated(zone: str, instant: int) -> str:
    """Write an instant as a plan does: on the home clock, with the offset only in the second of a repeated hour."""
    rules = zone_rules(zone)
    wall = rules.wall(instant)
    if rules.instant(wall) == instant:
        return f"{wall:%Y-%m-%d %H:%M}"
    return with_offset(zone, instant)


def with_offset(zone: str, instant: int) -> str:
    """Write an instant with its offset."""
    rules = zone_rules(zone)
    sign = "-" if rules.offset(instant) < 0 else "+"
    hours, rest = divmod(abs(rules.offset(instant)), 60)
    return f"{rules.wall(instant):%Y-%m-%d %H:%M}{sign}{hours:02}:{rest:02}"


# --- Drawing ---

LISTS_BEFORE: tuple[list[str], ...] = (
    ["saline"],
    ["saline 20 mL"],
    ["blood_return", "saline"],
    ["saline", "dextrose"],
    ["saline", "saline"],
    ["dextrose 5 mL"],
    [],
)
LISTS_AFTER: tuple[list[str], ...] = (
    ["saline"],
    ["saline 20 mL"],
    ["dextrose", "saline"],
    ["saline", "new_cap"],
    ["saline", "saline 5 mL"],
    ["saline", "saline"],
    ["dextrose"],
    [],
)
QUIET: tuple[list[str], ...] = (
    [],
    ["22:00-07:00"],
    ["22:30-06:00"],
    ["13:00-15:30"],
    ["01:00-04:00"],
    ["Mon-Fri 22:00-06:30", "Sat Sun 23:30-08:30"],
    ["Fri, Sat 23:59-09:00", "12:00-13:00"],
    ["Sun-Tue 21:00-05:00"],
)
LIMITS = ("8 h", "10 h", "12 h", "12 h", "721 min", "24 h", "36 h", "3 days", "72 h")


class _Drawer:
    """Draws one plan from one source of chance."""

    def __init__(self, chance: random.Random, zone: str) -> None:
        self.chance, self.zone = chance, zone
        self.rules = zone_rules(zone)
        self.plan: Values = {}
        self.start = self.end = 0
        self.change: Change | None = None

    def one(self, options: Sequence[T]) -> T:
        return self.chance.choice(options)

    def maybe(self, share: float) -> bool:
        return self.chance.random() < share

    def between(self, least: int, most: int) -> int:
        return self.chance.randint(least, most)

    # The plan but for its orders

    def draw(self) -> Values:
        self.span()
        self.plan = bare_plan(self.zone, self.start, self.end)
        head, line, protocol = self.plan["plan"], self.plan["line"], self.plan["protocol"]
        head["household_records"] = self.maybe(0.5)
        head["handling_time"] = self.one(["5 min", "15 min", "20 min", "30 min"])
        self.plan["household"]["quiet_hours"] = self.one(QUIET)
        line["idle_limit"] = self.one(LIMITS)
        protocol["joining_time"] = self.one(["0 min", "15 min", "30 min", "30 min", "1 h", "2 h", "6 h"])
        protocol["planning_margin"] = self.one(["0 min", "0 min", "15 min", "45 min", "2 h"])
        protocol["before"] = self.one(LISTS_BEFORE)
        protocol["after"] = self.one(LISTS_AFTER)
        protocol["idle"] = self.one([["saline"], ["saline"], ["blood_return", "saline"], ["saline 5 mL", "new_cap"]])
        if self.maybe(0.3):
            protocol["after_nutrition"] = ["saline 20 mL"]
        self.lumens()
        if self.maybe(0.25):
            self.journey()
        if self.maybe(0.25):
            head.pop("end")
            head["open_ended"] = self.one(["1 day", "2 days", "50 h", "4 days"])
            reach = zone_rules(self.zone).wall(self.start + 6 * DAY)
            self.end = zone_rules(self.zone).instant(reach)
        for name, lumen in self.plan["lumen"].items():
            if lumen.get("in_use", True):
                self.orders(name)
        if "end" in head and self.maybe(0.4):
            self.removal()
        return self.plan

    def span(self) -> None:
        """Begin one to three days before a clock change of the zone, where it has any, and end after it."""
        changes = clock_changes(self.zone)
        if changes:
            self.change = self.one(changes)
            self.start = self.change.at - self.between(60, 3 * DAY)
            self.end = max(self.start + 2 * DAY, self.change.at + self.between(60, 2 * DAY))
        else:
            self.start = minutes_of(datetime(2026, 1, 5)) + self.between(0, 900 * DAY)
            self.end = self.start + self.between(2 * DAY, 5 * DAY)

    def lumens(self) -> None:
        plan, locks = self.plan, ["saline", "heparin"]
        plan["line"]["lock"] = self.one(locks)
        lumens = {}
        for name in ["red", "white", "blue"][: self.one([1, 2, 2, 3])]:
            back = self.between(0, 14 * 60) if self.maybe(0.8) else self.between(0, 5 * DAY)
            lumen: Values = {"label": name, "last_flushed": stated(self.zone, self.start - back)}
            if self.maybe(0.4):
                lumen["idle_limit"] = self.one(LIMITS)
            if self.maybe(0.3):
                lumen["lock"] = self.one(locks)
            if self.maybe(0.2):
                lumen["flush_volume"] = self.one(["3 mL", "5 mL", "20 mL"])
            if self.maybe(0.2) and lumen.get("lock", plan["line"]["lock"]) == "heparin":
                lumen["lock_volume"] = self.one(["2 mL", "5 mL"])
            kind = self.chance.random()
            if kind < 0.12:
                lumen |= {"flush_through": "withdraw first", "withdraw_volume": "5 mL"}
            elif kind < 0.2:
                lumen["flush_through"] = "nurse only"
            elif kind < 0.25:
                lumen["in_use"] = False
            lumens[name] = lumen
        plan["lumen"] = lumens
        heparin = "heparin" in {lumen.get("lock", plan["line"]["lock"]) for lumen in lumens.values()}
        if not heparin and plan["line"]["lock"] == "saline":
            plan["line"]["heparin_ruled_out"] = self.maybe(0.5)
            if self.maybe(0.5):
                del plan["fluid"]["heparin"]

    def journey(self) -> None:
        instants = sorted({self.between(self.start + 1, self.end - 1) for _ in range(self.one([1, 2]))})
        # tables = changes
        self.plan["zone_change"] = [{"at": stated(self.zone, instant), "zone": self.one(ZONES)} for instant in instants]
        order = list(self.plan)
        order.insert(1, order.pop())
        self.plan = {table: self.plan[table] for table in order}

    def removal(self) -> None:
        """Take the line out at the end, at a moment at which nothing runs."""
        head = self.plan["plan"]
        end = self.end
        for _ in range(8):
            trial = {**self.plan, "plan": {**head, "end": stated(self.zone, end)}}
            wanted = Wanted(trial)
            ends = [
                dose.end
                for name in self.plan["lumen"]
                for dose in wanted.connected(name)
                if dose.start < end < dose.end < NEVER
            ]
            if not ends:
                head.pop("end")
                head["line_removal"] = stated(self.zone, end)
                return
            end = max(ends)

    # Orders

    def orders(self, lumen: str) -> None:
        stated_lumen = self.plan["lumen"][lumen]
        role = self.one(["none", "doses", "doses", "doses", "doses", "continuous", "pump"])
        if role == "doses":
            for _ in range(self.one([1, 1, 2, 3])):
                self.add(lumen, self.intermittent(lumen))
        elif role == "continuous":
            self.add(lumen, self.continuous(lumen))
        elif role == "pump":
            order = self.intermittent(lumen, pump=True)
            if stated_lumen.get("flush_through") == "withdraw first":
                order["kept_open"] = True  # a pump's own dose would push the lock in
            self.add(lumen, order)
        if role in ("doses", "continuous") and self.maybe(0.3):
            self.companion(lumen)
        if role == "doses" and self.maybe(0.35):
            self.follower(lumen)
        if self.maybe(0.1):
            order = bare_order(lumen, as_needed=True, least_spacing="6 h", most_in_24h=3, until_removal=True)
            del order["on_time_within"], order["cut_off"]
            self.put(order | {"duration": "30 min"})

    def put(self, order: Values) -> str:
        name = f"order{len(self.plan['order']) + 1}"
        order["drug"] = f"verolan-{len(self.plan['order']) + 1}"
        self.plan["order"][name] = order
        return name

    def add(self, lumen: str, order: Values, *, partner: str | None = None) -> str | None:
        """Put an order into the plan if it has a dose there and overlaps nothing; shorten its doses if need be."""
        name = self.put(order)
        wanted = self.far()
        doses = wanted.doses(name)
        others = [
            dose
            for other in self.plan["order"]
            if other not in (name, partner) and self.plan["order"][other]["lumen"] == lumen
            for dose in self.spans(wanted, other)
        ]
        starts = [dose.start for dose in doses]
        inside = [start for start in starts if self.start <= start < self._sure_end()]
        fits = bool(inside) and len(set(starts)) == len(starts)
        if fits and not order.get("continuous"):
            gaps = [right - left for left, right in itertools.pairwise(starts)]
            room = min(
                [*gaps, *(other.start - start for other in others for start in starts if other.start >= start)] or [DAY]
            )
            if room <= 0:
                fits = False
            elif wanted.dose_minutes(order) > room:
                self.takes(order, min(room, minutes_left(order, self.plan)))
                if minutes(order.get("bag_every", "0 min")) >= room:
                    del order["bag_every"], order["bag_flush"]
            if gaps:
                order["least_spacing"] = f"{max(1, min(gaps) // 2)} min"
        if fits:
            wanted = self.far()
            fits = not any(
                one.start < other.end and other.start < one.end for one in self.spans(wanted, name) for other in others
            )
        if not fits:
            del self.plan["order"][name]
            return None
        return name

    def far(self) -> Wanted:
        """Return what the plan asks for up to a few days beyond its end, which may still move."""
        head = {key: value for key, value in self.plan["plan"].items() if key not in ("end", "open_ended")}
        head["end"] = stated(self.zone, self.end + 4 * DAY)
        return Wanted({**self.plan, "plan": head})

    @staticmethod
    def spans(wanted: Wanted, name: str) -> list[Dose]:
        order = wanted.orders[name]
        if order["given_as"] == "pump":
            return [dose for dose in wanted.connected(order["lumen"]) if dose.order == name]
        return wanted.doses(name)

    def _sure_end(self) -> int:
        """Return an instant up to which the plan surely reaches."""
        return self.start + DAY - 180 if "open_ended" in self.plan["plan"] else self.end

    def takes(self, order: Values, length: int) -> None:
        """State how long a dose takes, in one of the ways in which a plan can."""
        for key in ("duration", "volume", "rate", "rate_steps"):
            order.pop(key, None)
        way = self.one(["duration", "duration", "rate", "rounded rate", "steps"])
        pace = self.one([2, 3, 5])  # mL in a minute
        if way == "rate" or (way == "rounded rate" and length == 1):
            order |= {"volume": f"{pace * length} mL", "rate": f"{pace * 60} mL/h"}
        elif way == "rounded rate":  # a part of a minute is left, which counts as a whole one
            order |= {"volume": f"{pace * length - 1} mL", "rate": f"{pace * 60} mL/h"}
        elif way == "steps" and length >= 3:
            edge = self.between(1, (length - 1) // 2)
            order["rate_steps"] = [
                f"50 mL/h for {edge} min",
                f"100 mL/h for {length - 2 * edge} min",
                f"50 mL/h for {edge} min",
            ]
        else:
            order["duration"] = f"{length} min"

    def habits(self, order: Values) -> Values:
        """Vary what does not depend on an order's timing."""
        if self.maybe(0.3):
            order["before"] = self.one(LISTS_BEFORE)
        if self.maybe(0.3):
            order["after"] = self.one(LISTS_AFTER)
        if self.maybe(0.15):
            order["kind"] = "nutrition"
        rest = self.chance.random()
        if rest < 0.1:
            order |= {"flush_through": "withdraw first", "withdraw_volume": "2 mL"}
        elif rest < 0.18:
            order["flush_through"] = "nurse only"
        if order["flush_through"] != "allowed" and order.get("kept_open") is False:
            order["kept_open"] = True
        return order

    def near_change(self) -> int:
        """Return a minute of the day, often one that the clock change touches."""
        if self.change is not None and self.maybe(0.4):
            wall = self.rules.wall(self.change.at - 1) + timedelta(minutes=1)
            length = self.change.after - self.change.before
            return (wall.hour * 60 + wall.minute + self.between(min(length, -30), max(length, 30))) % DAY
        return self.between(0, DAY - 1)

    def intermittent(self, lumen: str, *, pump: bool = False) -> Values:
        order = bare_order(lumen)
        push = not pump and self.maybe(0.2)
        if pump:
            order |= {"given_as": "pump", "kept_open": self.maybe(0.5)}
        form = self.one(["clock", "clock", "every"] if pump else ["clock", "clock", "clock", "every", "moments"])
        shortest = {"clock": self.clock, "every": self.interval, "moments": self.moments}[form](order)
        if form != "moments":
            self.until(order, pump)
        if push:
            order["given_as"] = "push"
            handling = int(self.plan["plan"]["handling_time"].split()[0])
            order["duration"] = f"{self.between(1, handling)} min"
            if self.maybe(0.5):
                order["volume"] = "10 mL"
        else:
            self.takes(order, min(shortest, self.one([1, 15, 30, 30, 60, 90, 90, 150, 240, 480, 720])))
            if self.maybe(0.2):
                length = self.far().dose_minutes(order)
                if length > 30 and not pump:
                    self.bags(order, self.between(max(30, length // 5), length - 1))
        if pump and self.maybe(0.6):
            self.bags(order, self.between(60, DAY))
        return self.habits(order)

    def clock(self, order: Values) -> int:
        count = self.one([1, 1, 2, 2, 3, 4])
        anchor = self.near_change()
        at = sorted({(anchor + index * (DAY // count) + self.between(0, 30)) % DAY for index in range(count)})
        times = [time(*divmod(minute, 60)) for minute in at]
        order["clock_times"] = [f"{entry:%H:%M}" for entry in times]
        day = (self.rules.wall(self.start) + timedelta(days=self.one([-5, -2, -1, 0, 0, 0, 1]))).date()
        order["first_dose"] = f"{day} {self.one(order['clock_times'])}"
        kind = self.chance.random()
        if kind < 0.2:
            days = {day.weekday(), *(self.between(0, 6) for _ in range(3))}
            order["weekdays"] = [["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"][index] for index in sorted(days)]
        elif kind < 0.4:
            order["every_days"] = self.one([1, 2, 3])
        if self.maybe(0.2) and "zone_change" in self.plan:
            order["clock"] = "local"
        order["least_spacing"] = "1 min"
        return min([right - left for left, right in itertools.pairwise([*at, at[0] + DAY])])

    def interval(self, order: Values) -> int:
        step = self.one([4 * 60, 6 * 60, 8 * 60, 12 * 60, 481, 24 * 60, 36 * 60])
        order["every"] = f"{step} min"
        order["first_dose"] = stated(self.zone, self.start + self.between(-3 * DAY, 18 * 60))
        order["least_spacing"] = "1 min"
        return step

    def moments(self, order: Values) -> int:
        instants = {self.between(self.start - DAY, self.end + 60) for _ in range(self.between(1, 6))}
        if self.change is not None and self.maybe(0.5):
            instants |= {self.change.at - 20, self.change.at - 20 + 60}  # both passes of a repeated hour
        order["moments"] = [
            self.one([stated, with_offset])(self.zone, instant)
            for instant in self.chance.sample(sorted(instants), len(instants))
        ]
        return min([right - left for left, right in itertools.pairwise(sorted(instants))] or [DAY])

    def until(self, order: Values, pump: bool) -> None:
        way = self.chance.random()
        first = datetime.fromisoformat(order["first_dose"]).date()
        latest = self.rules.wall(self.end).date()
        if way < 0.25:
            order["last_day"] = max(first, latest + timedelta(days=self.between(-2, 2)))
        elif way < 0.45:
            count = self.between(1, 14)
            order["doses"] = count
            if count % 3 == 0:  # some are counted on from doses before
                order["first_dose_number"] = count
                order["doses"] = 2 * count - 1
        else:
            order["until_removal"] = True
        if pump and self.maybe(0.3):
            stops = self.between(self.start + 720, self.end)
            if stops > self.rules.instant(datetime.fromisoformat(order["first_dose"]).replace(tzinfo=None)) + DAY // 2:
                order["stops"] = stated(self.zone, stops)

    def bags(self, order: Values, interval: int) -> None:
        if self.maybe(0.6):
            order["bag_every"] = f"{interval} min"
        else:
            at = sorted({self.near_change() for _ in range(self.one([1, 1, 2]))})
            order["bag_times"] = [f"{time(*divmod(minute, 60)):%H:%M}" for minute in at]
        order["bag_flush"] = self.one([["saline"], [], ["saline 5 mL"]])

    def continuous(self, lumen: str) -> Values:
        order = bare_order(lumen, continuous=True)
        order["first_dose"] = stated(self.zone, self.start + self.between(-3 * DAY, 18 * 60))
        if self.maybe(0.5):
            order["stops"] = stated(self.zone, self.start + 18 * 60 + self.between(1, self.end - self.start - 18 * 60))
        else:
            order["until_removal"] = True
        if self.maybe(0.8):
            self.bags(order, self.one([8 * 60, 12 * 60, 24 * 60, 1000]))
        return self.no_flushing_bags(self.habits(order))

    @staticmethod
    def no_flushing_bags(order: Values) -> Values:
        if order["flush_through"] != "allowed" and "bag_flush" in order:
            order["bag_flush"] = []
        return order

    def companion(self, lumen: str) -> None:
        """Add an order that runs with another in the same lumen."""
        mates = [
            name
            for name, order in self.plan["order"].items()
            if order["lumen"] == lumen and not order.get("as_needed") and order["given_as"] == "infusion"
        ]
        if not mates:
            return
        mate = self.one(mates)
        order = self.intermittent(lumen)
        order["runs_with"] = mate
        doses = Wanted(self.plan, self.end).doses(mate)
        if self.maybe(0.6) and doses and order["given_as"] == "infusion":
            # Set its times by the other's, so that starts, ends and bag changes meet.
            for key in (
                "clock_times",
                "weekdays",
                "every_days",
                "every",
                "first_dose",
                "first_dose_number",
                "last_day",
                "doses",
            ):
                order.pop(key, None)
            order.pop("until_removal", None)
            shift = self.one([0, 0, 10, 30, -20])
            order["moments"] = [
                stated(self.zone, dose.start + shift) for dose in doses if dose.start + shift < self.end
            ][-6:]
            if not order["moments"]:
                return
        # Fluids for one go through the lumen in which the other runs, so neither may be one that must not be flushed in.
        order["flush_through"] = "allowed"
        order.pop("withdraw_volume", None)
        if self.add(lumen, order, partner=mate) is not None:
            self.plan["order"][mate]["flush_through"] = "allowed"
            self.plan["order"][mate].pop("withdraw_volume", None)

    def follower(self, lumen: str) -> None:
        """Add an order that follows another one, in the same lumen or the other's."""
        leaders = [
            name
            for name, order in self.plan["order"].items()
            if not order.get("as_needed") and not order.get("continuous") and order["given_as"] != "pump"
        ]
        if not leaders:
            return
        order = bare_order(lumen, follows=self.one(leaders))
        if self.maybe(0.5):
            order["follows_after"] = self.one(["5 min", "30 min", "1 h", "3 h"])
        self.takes(order, self.one([15, 30, 60]))
        self.add(lumen, self.habits(order))


def minutes_left(order: Values, plan: Values) -> int:
    """Return the longest that one dose of an order may take for a reason of its own."""
    if order["given_as"] == "push":
        return int(plan["plan"]["handling_time"].split()[0])
    return DAY


@st.composite
def plans(draw: st.DrawFn, zones: Sequence[str] = ZONES) -> Values:
    """Draw a whole valid plan in one of ``zones``."""
    zone = draw(st.sampled_from(list(zones)))
    # One number decides everything: even chances all through, and a failing plan comes back from its number alone.
    number = draw(st.integers(0, 2**64 - 1))
    plan = _Drawer(random.Random(number), zone).draw()
    for order in plan["order"].values():
        _Drawer.no_flushing_bags(order)
    return plan


def plan_texts(zones: Sequence[str] = ZONES) -> st.SearchStrategy[str]:
    """Return the strategy that draws whole plans as TOML text."""
    return plans(zones).map(toml_text)
