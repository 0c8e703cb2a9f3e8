"""Plans made up for the placing of idle flushes, each from its number alone; every one valid and invented throughout.

Two families. *Compressed*: limits of half an hour to three hours, doses of minutes, quiet hours of an hour or two, over
some hours to a day, so that every minute can be looked at. *Real size*: limits of hours to days, over two days to two
weeks. Most plans lie across a clock change, some across a journey too. Many state a least time to a lumen's next touch
or a total of a day, near to where it begins to bind; for some of those no placing keeps all rules.

``python tests/made_up_placings.py compressed 17`` writes one plan down.
"""

import random
import sys
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from integer_program import EACH_DAY, amount, idle_flush
from simulation import WEEKDAYS, Values, Wanted, minutes_of, zone_rules
from strategies import DAY, bare_order, bare_plan, clock_changes, stated, toml_text

T = TypeVar("T")

ZONES = (
    "America/Chicago",
    "America/Chicago",
    "America/Chicago",
    "Europe/London",
    "Europe/London",
    "Australia/Lord_Howe",  # changes by half an hour
    "Australia/Lord_Howe",
    "Africa/Cairo",  # changes at midnight
    "America/Santiago",  # changes at midnight, backward into the day before
    "America/St_Johns",
    "Asia/Kathmandu",  # three quarters of an hour off whole hours, never changes
    "America/Phoenix",
)
NAMES = ("red", "white", "blue")


@dataclass(frozen=True, slots=True, eq=False)
class Family:
    """What sets the two families apart; all lengths in minutes. ``most``: about how many flushes a plan may need."""

    name: str
    lengths: Sequence[int]
    limits: Sequence[int]
    margins: Sequence[int]
    least: Sequence[int]
    doses: Sequence[int]
    intervals: Sequence[int]
    bags: Sequence[int]
    quiet: Sequence[Sequence[str]]
    most: int


COMPRESSED = Family(
    name="compressed",
    lengths=range(240, DAY + 1),
    limits=(30, 30, 35, 45, 60, 60, 75, 90, 97, 120, 120, 150, 180),
    margins=(0, 0, 0, 1, 5, 10),
    least=(0, 0, 0, 1, 5, 10, 20, 30, DAY),  # the last is cut down to the most that there may be
    doses=(5, 7, 10, 15, 20, 25, 30, 40),
    intervals=(45, 60, 90, 95, 120, 143, 180, 240, 300, 400),
    bags=(20, 45, 60, 90),
    quiet=(),  # drawn near the plan's own hours
    most=22,
)

REAL_SIZE = Family(
    name="real size",
    lengths=(*(days * DAY for days in (2, 2, 3, 3, 4, 4, 5, 6, 7, 7, 10, 14)), 3 * DAY + 437, 2 * DAY + 1001),
    limits=(360, 480, 480, 600, 707, 720, 720, 720, 767, 1003, 1440, 1440, 2160, 2880, 4320),
    margins=(0, 0, 0, 15, 30, 47, 60),
    least=(0, 0, 0, 30, 60, 120, 240, DAY),
    doses=(15, 30, 30, 60, 60, 90, 120, 187, 240),
    intervals=(360, 480, 480, 600, 720, 721, 1440, 1440, 2160, 2880),
    bags=(480, 720, 1440, 1000),
    quiet=(
        ["22:00-07:00"],
        ["22:00-07:00"],
        ["22:30-06:00"],
        ["21:45-07:15"],
        ["Mon-Fri 22:00-06:30", "Sat Sun 23:30-08:30"],
        ["Fri, Sat 23:59-09:00", "12:00-13:00"],
        ["Sun-Tue 21:00-05:00"],
        ["01:00-04:00", "13:00-15:30"],
        ["00:00-06:00"],
        [],
    ),
    most=45,
)

FAMILIES = {family.name: family for family in (COMPRESSED, REAL_SIZE)}


def made_up(family: Family, number: int) -> Values:
    """Return the plan of one number."""
    return _Maker(random.Random(f"{family.name} {number}"), family).plan


class _Maker:
    def __init__(self, chance: random.Random, family: Family) -> None:
        self.chance, self.family = chance, family
        self.zone = self.one(ZONES)
        self.rules = zone_rules(self.zone)
        self.limits = [self.one(family.limits) for _ in range(self.one([1, 2, 2, 2, 3, 3]))]
        self.margin, self.least = self.one(family.margins), self.one(family.least)
        self.length = self.one(family.lengths)
        self.tame()
        self.reaches = [limit - self.margin for limit in self.limits]
        self.least = min(self.least, min(self.reaches) // 2)
        changes = [change for change in clock_changes(self.zone) if change.at < minutes_of_year(2028)]
        self.change = self.one(changes).at if changes and self.maybe(0.8) else None
        if self.change is None:
            self.start = minutes_of_year(2026) + self.between(0, 700 * DAY)
        else:
            self.start = self.change - self.between(0, self.length)
        self.end = self.start + self.length
        self.plan = bare_plan(self.zone, self.start, self.end)
        self.head()
        self.lumens()
        by_day = any(lumen.get("idle_limit") == EACH_DAY for lumen in self.plan["lumen"].values())
        if self.maybe(0.2) and not by_day:  # on a journey a date may come back
            self.journey()
        for name, lumen in self.plan["lumen"].items():
            if lumen.get("in_use", True):
                self.orders(name)
        if self.maybe(0.2):
            self.removal()
        if self.maybe(0.4):
            self.totals()

    def one(self, options: Sequence[T]) -> T:
        return self.chance.choice(options)

    def maybe(self, share: float) -> bool:
        return self.chance.random() < share

    def between(self, least: int, most: int) -> int:
        return self.chance.randint(least, most)

    def tame(self) -> None:
        """Keep out what the solver takes minutes for: very many flushes; weeks of lumens with a least time whose sums and
        differences come to every minute."""
        if self.family is REAL_SIZE and self.least and len(self.limits) > 1:
            if self.maybe(0.5):
                self.length = min(self.length, 3 * DAY)
            else:
                self.limits = [-(-limit // 120) * 120 for limit in self.limits]
                self.margin, self.length = self.margin // 30 * 30, min(self.length, 7 * DAY)
        self.length = min(self.length, int(self.family.most / sum(1 / limit for limit in self.limits)))

    # The plan but for its orders

    def head(self) -> None:
        protocol, line = self.plan["protocol"], self.plan["line"]
        self.plan["household"]["quiet_hours"] = self.quiet()
        line["idle_limit"] = f"{self.limits[0]} min"
        line["lock"] = self.one(["saline", "heparin"])
        protocol["joining_time"] = self.one(["0 min", "15 min", "30 min", "1 h"])
        protocol["planning_margin"] = f"{self.margin} min"
        protocol["saved_session_worth"] = self.one([0, 0, 1, 1, 2, 2, 3, 5, 1000, 1000, 1000])
        protocol["least_time_to_next_touch"] = f"{self.least} min"

    def quiet(self) -> list[str]:
        """Return quiet hours; those of a compressed plan begin somewhere within it, often near the clock change."""
        if self.family.quiet:
            return list(self.one(self.family.quiet))
        found = []
        for _ in range(self.one([0, 1, 1, 1, 2])):
            near = self.change is not None and self.maybe(0.4)
            begin = (self.change or 0) + self.between(-150, 60) if near else self.between(self.start, self.end)
            first = self.rules.wall(begin)
            last = first + timedelta(minutes=self.between(20, 180))
            found.append(f"{first:%H:%M}-{last:%H:%M}")
        return found

    def lumens(self) -> None:
        self.plan["lumen"] = {}
        for name, limit, reach in zip(NAMES, self.limits, self.reaches, strict=False):
            back = self.between(0, reach) if self.maybe(0.95) else self.between(reach, 2 * reach)
            lumen: Values = {"label": name, "last_flushed": stated(self.zone, self.start - back)}
            if limit == DAY and self.maybe(0.5):
                lumen["idle_limit"] = EACH_DAY
            elif limit != self.limits[0]:
                lumen["idle_limit"] = f"{limit} min"
            if self.maybe(0.2):
                lumen["flush_volume"] = self.one(["3 mL", "5 mL", "20 mL"])
            if self.maybe(0.2):
                lumen["lock"] = self.one(["saline", "heparin"])
            if self.maybe(0.04):
                lumen["flush_through"] = "nurse only"
            elif self.maybe(0.03):
                lumen["in_use"] = False
            self.plan["lumen"][name] = lumen

    def totals(self) -> None:
        """State a total of a day that lies near to what the doses and the limits alone bring to the fullest day."""
        wanted = Wanted(self.plan)
        what = self.one(["flushed", "heparin", "sodium"])
        by_day: dict[date, Fraction] = defaultdict(Fraction)
        added = []
        for name, reach in zip(self.plan["lumen"], self.reaches, strict=True):
            flush = amount(wanted, what, idle_flush(wanted, name))
            added.append(flush)
            last = wanted.moment(self.plan["lumen"][name]["last_flushed"])
            meetings = wanted.meetings(name)
            for at in sorted({*(at for at in meetings if at < self.end), self.end}):
                for late in range(last + reach, at, reach):
                    if late >= self.start and not wanted.running_after(name, late):
                        by_day[self.day(wanted, late)] += flush
                last = at
            for at, meeting in meetings.items():
                steps = wanted.touch_steps(name, meeting, False, bool(meeting.ends))[0]
                pushed = [(step["what"], step["volume"]) for step in steps if step["action"] in ("flush", "lock")]
                by_day[self.day(wanted, at)] += amount(wanted, what, pushed)
        total = max(by_day.values(), default=Fraction(0)) + self.one([-2, -1, 0, 0, 0, 1]) * self.one(added)
        unit = {"flushed": "mL", "heparin": "units", "sodium": "mmol"}[what]
        if total > 0:
            self.plan["daily_limits"] = {what: f"{float(total):g} {unit}"}

    @staticmethod
    def day(wanted: Wanted, at: int) -> date:
        return wanted.rules_at(at).wall(at).date()

    def journey(self) -> None:
        instants = sorted({self.between(self.start + 1, self.end - 1) for _ in range(self.one([1, 1, 2]))})
        zones = [*ZONES, "Asia/Kathmandu", "Pacific/Auckland", "Pacific/Honolulu"]
        changes = []
        zone = self.zone
        for instant in instants:
            zone = self.one([other for other in zones if other != zone])
            changes.append({"at": stated(self.zone, instant), "zone": zone})
        head = self.plan.pop("plan")
        self.plan = {"plan": head, "zone_change": changes, **self.plan}

    def removal(self) -> None:
        """Take the line out at the plan's end."""
        head = self.plan["plan"]
        head["line_removal"] = head.pop("end")

    # Orders

    def orders(self, lumen: str) -> None:
        for _ in range(self.one([0, 1, 1, 1, 1, 2, 2])):
            forms = [self.by_clock, self.by_clock, self.every, self.every, self.listed, self.continuous, self.pump]
            self.add(lumen, self.one(forms)(lumen))
        leaders = [name for name, order in self.plan["order"].items() if order["given_as"] == "infusion"]
        leaders = [name for name in leaders if not self.plan["order"][name].get("continuous")]
        if leaders and self.maybe(0.25):
            after = self.one(["0 min", "10 min", "45 min"])
            follower = bare_order(lumen, follows=self.one(leaders), follows_after=after)
            self.add(lumen, follower | {"duration": self.dose()})

    def dose(self) -> str:
        return f"{self.one(self.family.doses)} min"

    def add(self, lumen: str, order: Values) -> None:
        """Put an order into the plan if it has a dose there and overlaps nothing."""
        name = f"order{len(self.plan['order']) + 1}"
        order["drug"] = f"verolan-{len(self.plan['order']) + 1}"
        self.plan["order"][name] = order
        wanted = Wanted(self.plan)
        doses = [dose for dose in wanted.doses(name) if self.start <= dose.start < self.end]
        spans = sorted((dose.start, dose.end) for dose in wanted.in_lumen(lumen))
        clash = any(end > following for (_, end), (following, _) in pairwise(spans))
        if not doses or clash:
            del self.plan["order"][name]

    def by_clock(self, lumen: str) -> Values:
        if self.family is COMPRESSED:
            step, count = self.between(50, 300), 12
            first = self.between(self.start, self.start + step)
            walls = [self.rules.wall(first + index * step) for index in range(min(count, DAY // step))]
        else:
            count = self.one([1, 1, 1, 2, 2, 3, 4])
            hour = self.one([540, 480, 600, 1260, 90, self.between(0, DAY - 1)])
            midnight = self.rules.wall(self.start).replace(hour=0, minute=0)
            walls = [midnight + timedelta(minutes=hour + index * (DAY // count)) for index in range(count)]
        order = bare_order(
            lumen,
            clock_times=sorted({f"{wall:%H:%M}" for wall in walls}),
            first_dose=f"{walls[0]:%Y-%m-%d %H:%M}",
            until_removal=True,
            least_spacing="1 min",
            duration=self.dose(),
        )
        if self.family is REAL_SIZE and self.maybe(0.2):
            days = {WEEKDAYS[walls[0].weekday()], *self.chance.sample(WEEKDAYS, 4)}
            order["weekdays"] = sorted(days, key=WEEKDAYS.index)
        if self.maybe(0.3):
            order["clock"] = "local"
        return self.varied(order)

    def every(self, lumen: str) -> Values:
        interval = self.one(self.family.intervals)
        order = bare_order(
            lumen,
            every=f"{interval} min",
            first_dose=stated(self.zone, self.start + self.between(-interval, interval)),
            until_removal=True,
            least_spacing="1 min",
            duration=self.dose(),
        )
        return self.varied(order)

    def varied(self, order: Values) -> Values:
        """Give an order an end of its own, or have it pushed, now and then."""
        if self.maybe(0.2):
            del order["until_removal"]
            order["doses"] = self.between(1, 8)
        if self.maybe(0.1):
            order |= {"given_as": "push", "duration": self.one(["1 min", "5 min", "15 min"])}
        return order

    def listed(self, lumen: str) -> Values:
        instants = {self.between(self.start, self.end - 1) for _ in range(self.between(1, 5))}
        moments = [stated(self.zone, instant) for instant in sorted(instants)]
        return bare_order(lumen, moments=moments, least_spacing="1 min", duration=self.dose())

    def continuous(self, lumen: str) -> Values:
        begin = self.between(self.start - self.length // 4, self.end - 1)
        order = bare_order(lumen, continuous=True, first_dose=stated(self.zone, begin))
        if self.maybe(0.3):
            order["until_removal"] = True
        else:
            order["stops"] = stated(self.zone, begin + self.between(min(self.family.doses), self.length // 2))
        return self.with_bags(order)

    def pump(self, lumen: str) -> Values:
        interval = self.one(self.family.intervals)
        order = bare_order(
            lumen,
            given_as="pump",
            kept_open=self.maybe(0.5),
            every=f"{interval} min",
            first_dose=stated(self.zone, self.start + self.between(-interval, self.length // 2)),
            doses=self.between(1, 6),
            least_spacing="1 min",
            duration=self.dose(),
        )
        return self.with_bags(order)

    def with_bags(self, order: Values) -> Values:
        if self.maybe(0.7):
            order["bag_every"] = f"{self.one(self.family.bags)} min"
            order["bag_flush"] = self.one([["saline"], []])
        return order


def minutes_of_year(year: int) -> int:
    """Return the first minute of a year in UTC."""
    return minutes_of(datetime(year, 1, 1))


if __name__ == "__main__":
    sys.stdout.write(toml_text(made_up(FAMILIES[sys.argv[1]], int(sys.argv[2]))))
