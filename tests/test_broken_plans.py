"""Broken plans: each mistake gives its finding at its line, with both sides of a conflict, and nothing besides.

``BASE`` is a sound plan; a row of ``ROWS`` is one small edit of it and everything that is then to be said, in order.
``ERROR overlap [order.a] every + [order.b] every`` is a finding that shows those two lines, the first one foremost; a
table alone, as in ``[line]``, is the line of its heading. The whole files in ``sample_plans/broken`` carry the same
as comments on the lines that are wrong.

What a nurse or a family gets wrong here is invented; so are the plan's people, places, numbers and orders.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, fields
from pathlib import Path

import pytest

from reminders.examine import Examination, examine
from reminders.findings import CODES, Finding, Severity
from reminders.plan.model import NAMED_TABLES, TABLES
from reminders.record.facts import EMPTY
from reminders.schedule.relief import would_help
from reminders.times import Instant
from reminders.views.findings_text import finding_text, tally

BROKEN_FILES = sorted((Path(__file__).parent.parent / "sample_plans" / "broken").glob("*.toml"))
NOW = Instant(29_671_980)
"""2026-06-01 08:00 in Chicago (13:00Z), the minute at which the plan starts."""

BASE = """# Everything here is invented.
[plan]
id = "7c1d9b52-3f64-4e0a-8b7d-52a90e6c41f3"
revision = 1
takes_effect = "2026-06-01 08:00"
household_records = true
zone = "America/Chicago"
start = "2026-06-01 08:00"
end = "2026-06-15 08:00"
handling_time = "15 min"

[household]
quiet_hours = ["22:00-06:00"]

[line]
kind = "PICC"
valved = false
placed_on = 2026-05-20
idle_limit = "12 h"
lock = "heparin"
heparin_ruled_out = false
allergies = []

[lumen.red]
label = "red"
last_flushed = "2026-06-01 07:00"

[lumen.blue]
label = "blue"
last_flushed = "2026-06-01 07:00"

[fluid.saline]
kind = "saline"
label = "0.9 % sodium chloride"
volume = "10 mL"
sodium = "0.154 mmol/mL"
syringe = "saline syringe"
syringe_holds = "10 mL"

[fluid.heparin]
kind = "heparin"
label = "heparin lock"
strength = "10 units/mL"
volume = "3 mL"
syringe = "heparin syringe"
syringe_holds = "3 mL"

[protocol]
provider = "Larkmoor Home Infusion"
flush = "saline"
before = ["saline"]
after = ["saline"]
idle = ["saline"]
joining_time = "30 min"
planning_margin = "15 min"
least_time_to_next_touch = "0 min"
saved_session_worth = 1000

[order.cefazolin]
drug = "cefazolin"
kind = "drug"
dose = "2 g"
lumen = "red"
given_as = "infusion"
clock_times = ["08:00", "16:00", "23:00"]
first_dose = "2026-06-01 16:00"
last_day = 2026-06-14
duration = "30 min"
volume = "100 mL"
rate = "200 mL/h"
rate_limit = "100 mg/min"
least_spacing = "6 h"
most_spacing = "10 h"
on_time_within = "1 h"
cut_off = "3 h"
flush_through = "allowed"

[order.fluids]
drug = "dextrose 5 %"
kind = "fluid"
dose = "1000 mL"
lumen = "blue"
given_as = "infusion"
every = "12 h"
first_dose = "2026-06-01 10:00"
doses = 20
duration = "8 h"
volume = "1000 mL"
rate = "125 mL/h"
least_spacing = "11 h"
on_time_within = "1 h"
cut_off = "3 h"
flush_through = "allowed"

[call.emergency]
who = "Emergency services"
phone = "911"

[call.now]
who = "On-call nurse, Larkmoor"
phone = "555-0161"

[calendar]
name = "Line care"
reveals = "everything"
alarm_before = "10 min"
"""

Edit = Callable[[str], str]

HEADING = re.compile(r"\s*\[+\s*([^\[\]]+?)\s*\]+\s*(#.*)?")


def _tables(text: str) -> list[str]:
    """Return, for each line, the name of the table in which it stands."""
    tables, table = [], ""
    for line in text.split("\n"):
        heading = HEADING.fullmatch(line)
        table = heading.group(1) if heading else table
        tables.append(table)
    return tables


def _place(text: str, table: str, key: str) -> int:
    """Return the index of the one line of a table that states a key."""
    lines, tables = text.split("\n"), _tables(text)
    found = [n for n, line in enumerate(lines) if tables[n] == table and line.partition("=")[0].strip() == key]
    assert len(found) == 1, f"[{table}] states {key} {len(found)} times"
    return found[0]


def put(table: str, *statements: str) -> Edit:
    """State keys in a table: in the place of what the key was, or new below the table's heading."""

    def edit(text: str) -> str:
        for statement in statements:
            lines, tables = text.split("\n"), _tables(text)
            key = statement.partition("=")[0].strip()
            if any(tables[n] == table and line.partition("=")[0].strip() == key for n, line in enumerate(lines)):
                lines[_place(text, table, key)] = statement
            else:
                lines.insert(tables.index(table) + 1, statement)
            text = "\n".join(lines)
        return text

    return edit


def drop(table: str, *keys: str) -> Edit:
    """Take keys out of a table."""

    def edit(text: str) -> str:
        for key in keys:
            lines = text.split("\n")
            del lines[_place(text, table, key)]
            text = "\n".join(lines)
        return text

    return edit


def rename(table: str, key: str, wrong: str) -> Edit:
    """Misspell a key."""

    def edit(text: str) -> str:
        lines = text.split("\n")
        at = _place(text, table, key)
        lines[at] = lines[at].replace(key, wrong, 1)
        return "\n".join(lines)

    return edit


def swap(old: str, new: str) -> Edit:
    """Replace a text that occurs once."""

    def edit(text: str) -> str:
        assert text.count(old) == 1, f"{old!r} occurs {text.count(old)} times"
        return text.replace(old, new)

    return edit


def append(more: str) -> Edit:
    """Add tables at the end."""
    return lambda text: text + more


def moved(start: str, last: str, end: str, before: str) -> Edit:
    """Move the whole plan, which lasts 14 days, to another time of the year."""

    def edit(text: str) -> str:
        for old, new in (("2026-06-01", start), ("2026-06-14", last), ("2026-06-15", end), ("2026-05-20", before)):
            text = text.replace(old, new)
        return text

    return edit


AUTUMN = moved("2026-10-26", "2026-11-08", "2026-11-09", "2026-10-20")
"""Chicago's clocks go back on 2026-11-01 at 02:00."""
SPRING = moved("2027-03-08", "2027-03-21", "2027-03-22", "2027-03-01")
"""Chicago's clocks go forward on 2027-03-14 at 02:00."""

ONE_TIME = put("order.cefazolin", 'clock_times = ["16:00"]', 'least_spacing = "20 h"', 'most_spacing = "28 h"')
"""Cefazolin once a day, which leaves the lumen free for the rest of it."""

CONTINUOUS = (
    drop("order.fluids", "every", "doses", "duration", "least_spacing"),
    put("order.fluids", "continuous = true", 'stops = "2026-06-14 10:00"', 'bag_every = "8 h"', "bag_flush = []"),
)
"""The fluids without a pause: 1000 mL at 125 mL/h, a new bag every 8 h."""

UNCHANGED = (*CONTINUOUS, drop("order.fluids", "bag_every", "bag_flush"))
"""The same, and nothing about changing the bag."""

SLOW = (
    *UNCHANGED,
    put("order.fluids", 'dose = "1500 mL"', 'volume = "1500 mL"', 'rate = "60 mL/h"', "bag_flush = []"),
)
"""The same at a pace at which a bag lasts 25 h; a row says at what times it is changed."""

TIGHT = put(
    "order.cefazolin", 'clock_times = ["08:00", "20:25"]', 'first_dose = "2026-06-01 20:25"', 'most_spacing = "13 h"'
)
"""From 08:30, when cefazolin has run, to 20:25 it is 11 h 55 min: within the limit of 12 h, not within its margin."""

HEPARIN_DRIP = (
    *CONTINUOUS,
    put("order.fluids", 'drug = "heparin"', 'kind = "drug"', 'dose = "25000 units"', 'volume = "250 mL"'),
    put("order.fluids", 'rate = "12 mL/h"', 'bag_every = "20 h"'),
)
"""25000 units in 250 mL at 12 mL/h: 1200 units/h, which is 20 units/min."""

EVERY_DAY = (drop("order.fluids", "doses"), put("order.fluids", "last_day = 2026-06-14"))
"""The fluids to the end of the plan, so that from 2 to 14 June each day is like the others."""

TRAVEL = '\n[[zone_change]]\nat = "{at}"\nzone = "{zone}"\n'


def short_order(name: str, drug: str, lumen: str, timing: str, more: str = "") -> str:
    """Return one more order of 30 minutes, until the line comes out where it repeats."""
    return f"""
[order.{name}]
drug = "{drug}"
kind = "drug"
dose = "1 g"
lumen = "{lumen}"
given_as = "infusion"
{timing}
duration = "30 min"
on_time_within = "1 h"
cut_off = "3 h"
flush_through = "allowed"
{more}"""


LEVEL = """
[task.level]
kind = "blood draw"
label = "level"
done_by = "nurse"
order = "cefazolin"
before_dose = "30 min"
only_doses = [4]
on_time_within = "15 min"
lumen = "red"
"""
"""A level before the fourth dose, drawn through the lumen in which the drug runs."""


@dataclass(frozen=True)
class Row:
    """A mistake in words, the edits that make it, and what is to be said, in order."""

    name: str
    edits: tuple[Edit, ...]
    expected: tuple[str, ...]
    encoding: str = "utf-8"

    @property
    def text(self) -> str:
        text = BASE
        for edit in self.edits:
            text = edit(text)
        return text

    @property
    def examined(self) -> Examination:
        return examine("plan.toml", self.text.encode(self.encoding), EMPTY, NOW)


def row(name: str, edits: Edit | tuple[Edit, ...], *expected: str, encoding: str = "utf-8") -> Row:
    return Row(name, edits if isinstance(edits, tuple) else (edits,), expected, encoding)


THE_FILE = [
    row(
        "saved by an old editor in Latin-1",
        put("fluid.heparin", 'label = "héparine"'),
        "ERROR unreadable-file nowhere",
        encoding="latin-1",
    ),
    row(
        "two volumes without their quotation marks",
        (put("fluid.saline", "volume = 10 mL"), put("fluid.heparin", "volume = 3 mL")),
        "ERROR not-toml [fluid.saline] volume",
        "ERROR not-toml [fluid.heparin] volume",
    ),
    row(
        "a closing quotation mark is missing",
        put("line", 'lock = "heparin'),
        "ERROR not-toml [line] lock",
    ),
    row(
        "a colon instead of the equals sign",
        swap("handling_time =", "handling_time:"),
        'ERROR not-toml [plan] handling_time: "15 min"',
    ),
    row(
        "a key stated twice",
        swap('lock = "heparin"\n', 'lock = "heparin"\nlock = "saline"\n'),
        "ERROR not-toml [line] lock",
    ),
    row(
        "True with a capital letter",
        put("plan", "household_records = True"),
        "ERROR not-toml [plan] household_records",
    ),
    row(
        "a table written twice",
        swap("[lumen.blue]", "[lumen.red]"),
        "ERROR not-toml [lumen.red]",
    ),
]

MISSPELT = [
    row(
        "an optional key misspelt",
        rename("order.cefazolin", "rate_limit", "rate_limt"),
        "ERROR unknown-key [order.cefazolin] rate_limt",
    ),
    row(
        "a clinical key misspelt",
        rename("line", "idle_limit", "idle_limt"),
        "ERROR unknown-key [line] idle_limt",
    ),
    row(
        "the key of the timing misspelt",
        rename("order.cefazolin", "clock_times", "clock_tmes"),
        "ERROR unknown-key [order.cefazolin] clock_tmes",
    ),
    row(
        "the key of the end misspelt",
        rename("order.cefazolin", "last_day", "lastday"),
        "ERROR unknown-key [order.cefazolin] lastday",
    ),
    row(
        "the key of the zone misspelt, by which every moment is read",
        rename("plan", "zone", "zon"),
        "ERROR unknown-key [plan] zon",
    ),
    row("the key of the plan's end misspelt", rename("plan", "end", "ends"), "ERROR unknown-key [plan] ends"),
    row(
        "the key of how long misspelt, where nothing else says it",
        (drop("order.fluids", "rate"), rename("order.fluids", "duration", "duraton")),
        "ERROR unknown-key [order.fluids] duraton",
    ),
    row(
        "the key of the bags' flush misspelt",
        (*CONTINUOUS, rename("order.fluids", "bag_flush", "bag_flsh")),
        "ERROR unknown-key [order.fluids] bag_flsh",
    ),
    row(
        "a key misspelt beside the right one",
        put("line", 'idle_limt = "8 h"'),
        "ERROR unknown-key [line] idle_limt",
    ),
    row("a whole table misspelt", swap("[household]", "[houshold]"), "ERROR unknown-key [houshold]"),
    row(
        "a tier of calling that does not exist",
        append('\n[call.mother]\nwho = "Her mother"\nphone = "555-0162"\n'),
        "ERROR unknown-key [call.mother]",
    ),
    row(
        "a key that belongs to another table",
        put("line", 'joining_time = "30 min"'),
        "ERROR unknown-key [line] joining_time",
    ),
    row(
        "a key of somebody's own",
        put("order.fluids", 'colour_of_bag = "clear"'),
        "ERROR unknown-key [order.fluids] colour_of_bag",
    ),
]

MISSING = [
    row("no idle limit", drop("line", "idle_limit"), "ERROR missing [line]"),
    row("no lock", drop("line", "lock"), "ERROR missing [line]"),
    row("no volume of the saline", drop("fluid.saline", "volume"), "ERROR missing [fluid.saline]"),
    row(
        "no strength of the heparin",
        drop("fluid.heparin", "strength"),
        "ERROR missing [fluid.heparin] + [fluid.heparin] kind",
    ),
    row(
        "no sodium of the saline", drop("fluid.saline", "sodium"), "ERROR missing [fluid.saline] + [fluid.saline] kind"
    ),
    row(
        "not said whether a drug may be flushed through",
        drop("order.cefazolin", "flush_through"),
        "ERROR missing [order.cefazolin]",
    ),
    row(
        "no least spacing, window or cut-off",
        drop("order.cefazolin", "least_spacing", "on_time_within", "cut_off"),
        "ERROR missing [order.cefazolin]",
        "ERROR missing [order.cefazolin]",
        "ERROR missing [order.cefazolin]",
    ),
    row(
        "nobody to call at once",
        swap('[call.now]\nwho = "On-call nurse, Larkmoor"\nphone = "555-0161"\n', ""),
        "ERROR missing [call.emergency]",
    ),
    row(
        "withdraw first, and not how much",
        put("lumen.red", 'flush_through = "withdraw first"'),
        "ERROR missing [lumen.red] + [lumen.red] flush_through",
    ),
    row(
        "a pump, and not whether it keeps the lumen open",
        put("order.fluids", 'given_as = "pump"'),
        "ERROR missing [order.fluids]",
    ),
]

VALUES = [
    row(
        "a dose in an unknown unit",
        put("order.cefazolin", 'dose = "2 grms"'),
        "ERROR wrong-unit [order.cefazolin] dose",
    ),
    row("a dose without its unit", put("order.cefazolin", "dose = 2"), "ERROR wrong-unit [order.cefazolin] dose"),
    row("an idle limit in millilitres", put("line", 'idle_limit = "12 mL"'), "ERROR wrong-unit [line] idle_limit"),
    row("a decimal comma", put("fluid.heparin", 'volume = "2,5 mL"'), "ERROR wrong-unit [fluid.heparin] volume"),
    row("U for units", put("fluid.heparin", 'strength = "10 U/mL"'), "ERROR wrong-unit [fluid.heparin] strength"),
    row("a rate in drops", put("order.fluids", 'rate = "42 drops/min"'), "ERROR wrong-unit [order.fluids] rate"),
    row("yes in words", put("line", 'valved = "no"'), "ERROR wrong-form [line] valved"),
    row(
        "eight in the evening as 8 pm",
        put("order.cefazolin", 'clock_times = ["8 am", "16:00"]'),
        "ERROR wrong-form [order.cefazolin] clock_times",
    ),
    row(
        "a date the American way",
        put("order.cefazolin", 'last_day = "06/14/2026"'),
        "ERROR wrong-form [order.cefazolin] last_day",
    ),
    row(
        "a moment without its time",
        put("lumen.blue", 'last_flushed = "2026-06-01"'),
        "ERROR wrong-form [lumen.blue] last_flushed",
    ),
    row("a list without its brackets", put("protocol", 'before = "saline"'), "ERROR wrong-form [protocol] before"),
    row("an id that was not drawn at random", put("plan", 'id = "12345"'), "ERROR wrong-form [plan] id"),
    row("a kind of line that is none", put("line", 'kind = "Hickman"'), "ERROR wrong-form [line] kind"),
    row("an idle limit of 12 minutes", put("line", 'idle_limit = "12 min"'), "ERROR out-of-range [line] idle_limit"),
    row(
        "a year with two digits swapped",
        put("lumen.blue", 'last_flushed = "0206-06-01 07:00"'),
        "ERROR out-of-range [lumen.blue] last_flushed",
    ),
    row(
        "an alarm a day ahead", put("calendar", 'alarm_before = "1 day"'), "ERROR out-of-range [calendar] alarm_before"
    ),
    row(
        "an alarm a minute earlier than 12 h ahead",
        put("calendar", 'alarm_before = "721 min"'),
        "ERROR out-of-range [calendar] alarm_before",
    ),
    row(
        "a backslash in a label",
        put("lumen.red", "label = 'red \\ pink'"),
        "ERROR wrong-form [lumen.red] label",
    ),
    row(
        "a backslash in an allergy",
        put("line", "allergies = ['latex', 'eggs\\nuts']"),
        "ERROR wrong-form [line] allergies",
    ),
    row("a revision of none", put("plan", "revision = 0"), "ERROR out-of-range [plan] revision"),
    row("no dose at all", put("order.fluids", "doses = 0"), "ERROR out-of-range [order.fluids] doses"),
    row("an abbreviation for a zone", put("plan", 'zone = "CST"'), "ERROR unknown-zone [plan] zone"),
    row("a lock that is no fluid of the plan", put("line", 'lock = "heprain"'), "ERROR unknown-name [line] lock"),
    row("a lumen that is not there", put("order.fluids", 'lumen = "green"'), "ERROR unknown-name [order.fluids] lumen"),
    row(
        "running with an order that is not there, in a list",
        put("order.cefazolin", 'runs_with = ["fluid"]'),
        "ERROR unknown-name [order.cefazolin] runs_with",
    ),
    row(
        "a step that is not there",
        put("protocol", 'idle = ["blood_return", "saline"]'),
        "ERROR unknown-name [protocol] idle",
    ),
]

CONTRADICTIONS = [
    row(
        "timed by the clock and by an interval",
        put("order.cefazolin", 'every = "8 h"'),
        "ERROR timing [order.cefazolin] clock_times + [order.cefazolin] every",
    ),
    row(
        "no timing at all",
        (drop("order.fluids", "every")),
        "ERROR timing [order.fluids]",
    ),
    row(
        "a first dose at none of the clock times",
        put("order.cefazolin", 'first_dose = "2026-06-01 15:00"'),
        "ERROR timing [order.cefazolin] first_dose + [order.cefazolin] clock_times",
    ),
    row(
        "a first dose that is counted beyond the number of doses",
        put("order.fluids", "first_dose_number = 400"),
        "ERROR order-end [order.fluids] doses + [order.fluids] first_dose_number",
    ),
    row(
        "a number of the first dose without a pause between doses",
        (
            drop("order.fluids", "every", "doses", "duration"),
            put("order.fluids", "continuous = true", "until_removal = true", "first_dose_number = 2"),
        ),
        "ERROR timing [order.fluids] first_dose_number + [order.fluids] continuous",
    ),
    row(
        "weekdays beside an interval",
        put("order.fluids", 'weekdays = ["Mon", "Thu"]'),
        "ERROR timing [order.fluids] weekdays + [order.fluids] every",
    ),
    row(
        "a first dose on the wrong weekday",  # 2026-06-01 is a Monday
        put("order.cefazolin", 'weekdays = ["Tue", "Fri"]', 'most_spacing = "7 days"'),
        "ERROR timing [order.cefazolin] first_dose + [order.cefazolin] weekdays",
    ),
    row(
        "two ends of the plan",
        put("plan", 'open_ended = "42 days"'),
        "ERROR plan-end [plan] end + [plan] open_ended",
    ),
    row("no end of the plan", drop("plan", "end"), "ERROR plan-end [plan]"),
    row("no end of an order", drop("order.fluids", "doses"), "ERROR order-end [order.fluids]"),
    row(
        "two ends of an order",
        put("order.fluids", "until_removal = true"),
        "ERROR order-end [order.fluids] doses + [order.fluids] until_removal",
    ),
    row(
        "a plan that ends before it starts",
        put("plan", 'end = "2026-05-15 08:00"'),
        "ERROR dates-reversed [plan] end + [plan] start",
    ),
    row(
        "an order that ends before it starts",
        put("order.cefazolin", "last_day = 2026-05-14"),
        "ERROR dates-reversed [order.cefazolin] last_day + [order.cefazolin] first_dose",
    ),
    row(
        "duration, volume and rate at odds",
        put("order.fluids", 'duration = "6 h"'),
        "ERROR duration-disagrees [order.fluids] duration + [order.fluids] volume + [order.fluids] rate",
    ),
    row(
        "rate steps that do not deliver the volume",
        (
            drop("order.fluids", "rate", "duration"),
            put("order.fluids", 'rate_steps = ["50 mL/h for 1 h", "125 mL/h for 6 h"]'),
        ),
        "ERROR duration-disagrees [order.fluids] rate_steps + [order.fluids] volume",
    ),
    row("nothing about how long", drop("order.fluids", "duration", "rate"), "ERROR no-duration [order.fluids]"),
    row(
        "bag changes and not what is flushed at them",
        put("order.fluids", 'bag_every = "4 h"'),
        "ERROR bag [order.fluids] + [order.fluids] bag_every",
    ),
    row(
        "a push of half an hour",
        put("order.cefazolin", 'given_as = "push"'),
        "ERROR given-as [order.cefazolin] given_as + [plan] handling_time",
    ),
    row(
        "a drug not to be flushed through, and flushed at its bags",
        put("order.fluids", 'flush_through = "nurse only"', 'bag_every = "4 h"', 'bag_flush = ["saline"]'),
        "ERROR flush-through [order.fluids] flush_through + [order.fluids] bag_flush",
    ),
    row(
        "orders in a circle",
        append(
            short_order("one", "gentamicin", "red", 'follows = "two"')
            + short_order("two", "tobramycin", "red", 'follows = "one"')
        ),
        "ERROR follows-itself [order.one] follows + [order.two] follows",
    ),
    row(
        "running with an order in another lumen",
        put("order.cefazolin", 'runs_with = "fluids"'),
        "ERROR runs-with [order.cefazolin] runs_with + [order.fluids] lumen",
    ),
    row(
        "running with several orders, one of them in another lumen",
        (
            append(short_order("one", "gentamicin", "red", 'moments = ["2026-06-03 16:00"]')),
            put("order.cefazolin", 'runs_with = ["one", "fluids"]'),
        ),
        "ERROR runs-with [order.cefazolin] runs_with + [order.fluids] lumen",
    ),
    row(
        "running with another, and what is left of it is to be drawn out",
        (
            append(short_order("one", "gentamicin", "red", 'moments = ["2026-06-03 16:00"]')),
            put("order.cefazolin", 'runs_with = "one"', 'flush_through = "withdraw first"', 'withdraw_volume = "5 mL"'),
        ),
        "ERROR flush-through [order.cefazolin] flush_through + [order.cefazolin] runs_with",
    ),
    row(
        "running with one that only the nurse may flush after",
        (
            append(short_order("one", "gentamicin", "red", 'moments = ["2026-06-03 16:00"]')),
            put("order.one", 'flush_through = "nurse only"'),
            put("order.cefazolin", 'runs_with = ["one"]'),
        ),
        "ERROR flush-through [order.one] flush_through + [order.cefazolin] runs_with",
    ),
    row(
        "a lock volume for a lumen whose flush is its lock",
        put("lumen.blue", 'lock = "saline"', 'lock_volume = "5 mL"'),
        "ERROR lock-volume [lumen.blue] lock_volume + [lumen.blue] lock",
    ),
    row(
        "a lock volume in a line whose flush is its lock",
        (put("line", 'lock = "saline"'), put("lumen.red", 'lock_volume = "5 mL"')),
        "ERROR lock-volume [lumen.red] lock_volume + [line] lock",
    ),
    row(
        "heparin after a drug in a lumen that is locked with saline",
        (put("lumen.blue", 'lock = "saline"'), put("order.fluids", 'after = ["saline", "heparin"]')),
        "ERROR heparin-saline-lock [order.fluids] after + [lumen.blue] lock",
    ),
    row(
        "heparin ruled out and the lock is heparin",
        put("line", "heparin_ruled_out = true"),
        "ERROR heparin-ruled-out [line] lock + [line] heparin_ruled_out",
    ),
    row(
        "an order for a lumen that is out of use",
        put("lumen.blue", "in_use = false"),
        "ERROR lumen-out-of-use [order.fluids] lumen + [lumen.blue] in_use",
    ),
    row(
        "a journey after the plan has ended",
        append(TRAVEL.format(at="2026-07-05 12:00", zone="Europe/Dublin")),
        "ERROR zone-changes [zone_change] at + [plan] start",
    ),
    row(
        "a lumen last flushed after the plan starts",
        put("lumen.blue", 'last_flushed = "2026-06-02 07:00"'),
        "ERROR last-flushed-later [lumen.blue] last_flushed + [plan] start",
    ),
    row(
        "the lock of a port without its needle, for a PICC",
        put("line", 'needle_out_lock = "heparin"'),
        "ERROR needle-out [line] needle_out_lock + [line] kind",
    ),
    row(
        "a planning margin longer than one lumen's limit",
        (put("lumen.red", 'idle_limit = "8 h"'), put("protocol", 'planning_margin = "9 h"')),
        "ERROR margin [protocol] planning_margin + [lumen.red] idle_limit",
    ),
    row(
        "a planning margin as long as the line's limit",
        put("protocol", 'planning_margin = "12 h"'),
        "ERROR margin [protocol] planning_margin + [line] idle_limit",
    ),
    row(
        "a least time of more than half of the line's limit",  # (12 h - 15 min) / 2 = 352.5 min
        put("protocol", 'least_time_to_next_touch = "353 min"'),
        "ERROR least-time [protocol] least_time_to_next_touch + [line] idle_limit",
    ),
    row(
        "a least time of more than half of one lumen's limit",  # (8 h - 15 min) / 2 = 232.5 min
        (put("lumen.red", 'idle_limit = "8 h"'), put("protocol", 'least_time_to_next_touch = "4 h"')),
        "ERROR least-time [protocol] least_time_to_next_touch + [lumen.red] idle_limit",
    ),
    row(
        "a least time of half a day where each calendar day counts",  # (24 h - 15 min) / 2 = 712.5 min
        (put("line", 'idle_limit = "each calendar day"'), put("protocol", 'least_time_to_next_touch = "12 h"')),
        "ERROR least-time [protocol] least_time_to_next_touch + [line] idle_limit",
    ),
    row(
        "the least spacing longer than the most",
        put("order.cefazolin", 'least_spacing = "11 h"'),
        "ERROR spacing-ordered [order.cefazolin] least_spacing + [order.cefazolin] most_spacing",
    ),
]

THE_SCHEDULE = [
    row(
        "two drugs in one lumen at one time",
        append(
            short_order(
                "ceftriaxone",
                "ceftriaxone",
                "red",
                'clock_times = ["16:15"]\nfirst_dose = "2026-06-01 16:15"\nuntil_removal = true',
                'least_spacing = "20 h"\n',
            )
        ),
        "ERROR overlap [order.cefazolin] clock_times + [order.ceftriaxone] clock_times",
    ),
    row(
        "a dose that runs into the next of its own order",
        put("order.fluids", 'duration = "13 h"', 'rate = "77 mL/h"'),
        "ERROR overlap [order.fluids] every",
    ),
    row(
        "clock times closer than the least spacing",
        put("order.cefazolin", 'clock_times = ["08:00", "16:00", "20:00", "23:00"]'),
        "ERROR spacing-ordered [order.cefazolin] clock_times + [order.cefazolin] least_spacing",
    ),
    row(
        "an order whose only moment lies after the plan",
        append(short_order("dalbavancin", "dalbavancin", "red", 'moments = ["2026-07-01 12:00"]')),
        "ERROR no-dose [order.dalbavancin] moments + [plan] start",
    ),
    row(
        "a plan of more than a year",
        put("plan", 'end = "2027-06-15 08:00"'),
        "ERROR too-long [plan] end + [plan] start",
    ),
    row(
        "minutes written for hours, in a plan of a year",
        (
            put("plan", 'end = "2027-05-31 08:00"'),
            put(
                "order.fluids",
                'every = "8 min"',
                'dose = "10 mL"',
                'duration = "5 min"',
                'volume = "10 mL"',
                'rate = "120 mL/h"',
                'least_spacing = "5 min"',
            ),
            drop("order.fluids", "doses"),
            put("order.fluids", "until_removal = true"),
        ),
        "ERROR too-long [order.fluids]",
    ),
    row(
        "a clock change beyond the most spacing",  # 23:00 CDT to 08:00 CST is 10 h
        (AUTUMN, put("order.cefazolin", 'most_spacing = "570 min"')),
        "WARNING spacing-clock-change [order.cefazolin] clock_times + [order.cefazolin] most_spacing",
    ),
    row(
        "a journey east, on which the local clock jumps over a dose's time",  # 18:00 in Dublin when it is noon at home
        (append(TRAVEL.format(at="2026-06-05 12:00", zone="Europe/Dublin")), put("order.cefazolin", 'clock = "local"')),
        "WARNING spacing-travel [order.cefazolin] clock_times + [order.cefazolin] clock",
    ),
    row(
        "a journey west, on which a dose's time comes twice",  # 13:00 in Honolulu when it is 18:00 at home
        (
            append(TRAVEL.format(at="2026-06-05 18:00", zone="Pacific/Honolulu")),
            put("order.cefazolin", 'clock = "local"'),
        ),
        "WARNING spacing-travel [order.cefazolin] clock_times + [order.cefazolin] clock",
    ),
    row(
        "a first dose 16 h after the one in hospital, and 10 h are the most",
        put("order.cefazolin", 'last_dose_before_plan = "2026-06-01 00:00"'),
        "WARNING spacing-before-plan [order.cefazolin] last_dose_before_plan + [order.cefazolin] clock_times",
    ),
    row(
        "a limit that has passed when the plan starts",
        put("lumen.red", 'last_flushed = "2026-05-31 15:00"'),
        "WARNING limit-passed [lumen.red] last_flushed + [plan] start",
    ),
    row(
        "a limit that has passed, and a dose in the plan's first minute",
        (
            put("lumen.red", 'last_flushed = "2026-05-31 15:00"'),
            put("order.cefazolin", 'first_dose = "2026-06-01 08:00"'),
        ),
        "WARNING limit-passed [lumen.red] last_flushed + [plan] start",
    ),
    row(
        "a drug into the lumen that a pump keeps open, between the pump's doses",  # which run 10:00-18:00, 22:00-06:00
        (
            put("order.fluids", 'given_as = "pump"', "kept_open = true"),
            append(short_order("one", "gentamicin", "blue", 'moments = ["2026-06-03 19:00"]')),
        ),
        "ERROR overlap [order.fluids] every + [order.one] moments",
    ),
    row(
        "an infusion that the line's removal cuts short",  # started 10:00, 8 h long
        (
            drop("plan", "end"),
            put("plan", 'line_removal = "2026-06-14 12:00"'),
            drop("order.fluids", "doses"),
            put("order.fluids", "until_removal = true"),
        ),
        "WARNING cut-short [order.fluids] every + [plan] line_removal",
    ),
    row(
        "a pump's dose that the pump's removal cuts short",
        (
            drop("order.fluids", "doses"),
            put("order.fluids", "until_removal = true", 'stops = "2026-06-14 12:00"'),
            put("order.fluids", 'given_as = "pump"', "kept_open = true"),
        ),
        "WARNING cut-short [order.fluids] every + [order.fluids] stops",
    ),
    row(
        "a margin without which no flush would be needed",
        TIGHT,
        "NOTE margin-flush [protocol] planning_margin",
    ),
    row(
        "no flush between two drugs",
        (
            put("order.cefazolin", "after = []"),
            append(
                short_order(
                    "ampicillin",
                    "ampicillin",
                    "red",
                    'clock_times = ["16:45"]\nfirst_dose = "2026-06-01 16:45"\nuntil_removal = true',
                    'least_spacing = "20 h"\n',
                )
            ),
        ),
        "WARNING finish-without-flush [order.cefazolin] after",
    ),
    row(
        "an idle limit that does not reach across the night",
        (put("line", 'idle_limit = "8 h"'), put("household", 'quiet_hours = ["22:00-07:30"]')),
        "WARNING night-forced [line] idle_limit + [household] quiet_hours",  # the red lumen, between its doses
        "WARNING night-forced [line] idle_limit + [household] quiet_hours",  # the blue one, after its last dose
    ),
    row(
        "a daily limit of flushes that the orders exceed",
        (*EVERY_DAY, append('\n[daily_limits]\nflushed = "100 mL"\n')),
        "WARNING daily-total [daily_limits] flushed",
    ),
    row(
        "an infusion that is not over when the plan is",
        (
            put("plan", 'end = "2026-06-15 05:00"'),
            drop("order.fluids", "doses"),
            put("order.fluids", "until_removal = true"),
        ),
        "WARNING runs-past-end [order.fluids] every + [plan] end",
    ),
    row(
        "a plan across the autumn change",
        AUTUMN,
        "NOTE spacing-differs [order.cefazolin] clock_times",
    ),
    row(
        "a dose at a time that the clocks skip",
        (
            SPRING,
            put("order.cefazolin", 'clock_times = ["02:30", "10:30", "18:30"]', 'first_dose = "2027-03-08 10:30"'),
        ),
        "NOTE spacing-differs [order.cefazolin] clock_times",
        "NOTE clock-skipped [order.cefazolin] clock_times",
    ),
    row(
        "a bag time that the clocks skip",
        (*SLOW, put("order.fluids", 'bag_times = ["02:30"]'), SPRING),
        "NOTE spacing-differs [order.cefazolin] clock_times",
        "NOTE clock-skipped [order.fluids] bag_times",
    ),
    row(
        "a bag time that occurs twice",
        (*SLOW, put("order.fluids", 'bag_times = ["01:30"]'), AUTUMN),
        "NOTE spacing-differs [order.cefazolin] clock_times",
        "NOTE clock-repeated [order.fluids] bag_times",
    ),
    row(
        "a moment that occurs twice",
        (AUTUMN, ONE_TIME, append(short_order("one", "gentamicin", "red", 'moments = ["2026-11-01 01:30"]'))),
        "NOTE spacing-differs [order.cefazolin] clock_times",
        "NOTE clock-repeated [order.one] moments",
    ),
]

A_PHARMACIST_ASKS = [
    row(
        "heparin of 1000 units/mL",
        put("fluid.heparin", 'strength = "1000 units/mL"'),
        "WARNING heparin-strong [fluid.heparin] strength",
    ),
    row("heparin in a valved line", put("line", "valved = true"), "WARNING heparin-valved [line] lock + [line] valved"),
    row(
        "heparin with an allergy to it",
        put("line", 'allergies = ["penicillin", "Heparin (HIT 2019)"]'),
        "WARNING heparin-allergy [line] lock + [line] allergies",
    ),
    row(
        "a drug with an allergy to it",
        put("line", 'allergies = ["latex", "Cefazolin (hives 2021)"]'),
        "WARNING drug-allergy [order.cefazolin] drug + [line] allergies",
    ),
    row("no allergy, in letters", put("line", 'allergies = ["NKDA"]'), "WARNING allergy-or-none [line] allergies"),
    *(
        row(
            f"no allergy, written {text}",
            put("line", f"allergies = ['{text}']"),
            "WARNING allergy-or-none [line] allergies",
        )
        for text in (
            *(
                "n/a",
                "N.A.",
                "\u201cnone\u201d",
                '"none"',
                "nil",
                "unknown",
                "No known",
                "no known drug allergies",
                "none reported",
            ),
            *("NKDA (no known drug allergies)", "see chart", "not known"),
        )
    ),
    row(
        "no allergy, and an allergy",
        put("line", 'allergies = ["none", "eggs"]'),
        "WARNING allergy-and-none [line] allergies",
    ),
    row(
        "no allergy, and an allergy in one entry",
        put("line", 'allergies = ["none, eggs"]'),
        "WARNING allergy-and-none [line] allergies",
    ),
    row(
        "no allergy but one",
        put("line", 'allergies = ["NKDA except eggs"]'),
        "WARNING allergy-and-none [line] allergies",
    ),
    row("an allergy without a letter", put("line", 'allergies = ["-"]'), "ERROR wrong-form [line] allergies"),
    row(
        "two lumens called alike",
        put("lumen.blue", 'label = "Red "'),
        "ERROR lumen-label [lumen.blue] label + [lumen.red] label",
    ),
    row(
        "a lumen called by another's short name",
        put("lumen.red", 'label = "blue"'),
        "ERROR lumen-label [lumen.red] label + [lumen.blue] label",
    ),
    row("two lumens in one label", put("lumen.red", 'label = "red, blue"'), "ERROR wrong-form [lumen.red] label"),
    row("a label of signs", put("lumen.red", 'label = "-"'), "ERROR wrong-form [lumen.red] label"),
    row("an item of signs", put("fluid.saline", 'syringe = "-"'), "ERROR wrong-form [fluid.saline] syringe"),
    row("nobody to call", put("call.now", 'who = "-"'), "ERROR wrong-form [call.now] who"),
    *(
        row(f"no telephone number: {text}", put("call.now", f'phone = "{text}"'), "ERROR wrong-form [call.now] phone")
        for text in ("-", "n/a", "none", "see sheet")
    ),
    row(
        "a level drawn where its drug runs",
        (append(LEVEL), put("protocol", 'before_draw = ["saline"]', 'after_draw = ["saline"]')),
        "NOTE draw-same-lumen [task.level] lumen + [order.cefazolin] lumen",
    ),
    row(
        "nutrition by a midline",
        (put("line", 'kind = "midline"'), put("order.fluids", 'kind = "nutrition"')),
        "WARNING midline-drug [order.fluids] kind + [line] kind",
    ),
    row(
        "a bag that is empty after 8 h and changed after 12 h",
        (*CONTINUOUS, put("order.fluids", 'bag_every = "12 h"')),
        "WARNING bag-runs-dry [order.fluids] bag_every + [order.fluids] volume + [order.fluids] rate",
    ),
    row(
        "a bag that is to last as long as the order",
        UNCHANGED,
        "WARNING bag-runs-dry [order.fluids] continuous + [order.fluids] volume + [order.fluids] rate",
    ),
    row(
        "a bag that is empty after 24 h, and the clocks go back before the next",
        (
            *SLOW,
            put("order.fluids", 'volume = "1200 mL"', 'rate = "50.0 mL/h"', 'bag_times = ["10:00"]'),
            AUTUMN,
        ),
        "WARNING bag-runs-dry [order.fluids] bag_times + [order.fluids] volume + [order.fluids] rate",
        "NOTE spacing-differs [order.cefazolin] clock_times",
    ),
    row(
        "a bag that may hang 24 h, and the clocks go back before the next",
        (*SLOW, put("order.fluids", 'bag_times = ["10:00"]', 'hang_time = "24 h"'), AUTUMN),
        "WARNING hang-time [order.fluids] hang_time + [order.fluids] bag_times",
        "NOTE spacing-differs [order.cefazolin] clock_times",
    ),
    row(
        "a bag that hangs longer than it may",
        put("order.fluids", 'hang_time = "6 h"'),
        "WARNING hang-time [order.fluids] hang_time + [order.fluids] duration",
    ),
    row(
        "bags that expire before the last dose",
        put("order.fluids", "bags_expire_on = 2026-06-08"),
        "WARNING bag-expired [order.fluids] bags_expire_on + [order.fluids] every",
    ),
    row(
        "2 g in 30 min against a limit of 60 mg/min",
        put("order.cefazolin", 'rate_limit = "60 mg/min"'),
        "WARNING rate-limit [order.cefazolin] rate_limit + [order.cefazolin] dose + [order.cefazolin] volume + "
        "[order.cefazolin] rate",
    ),
    row(
        "20 mmol in 30 min against a limit of 10 mmol/h",
        (drop("order.cefazolin", "rate"), put("order.cefazolin", 'dose = "20 mmol"', 'rate_limit = "10 mmol/h"')),
        "WARNING rate-limit [order.cefazolin] rate_limit + [order.cefazolin] dose + [order.cefazolin] duration",
    ),
    row(
        "continuous heparin of 1200 units/h against a limit of 1000",
        (*HEPARIN_DRIP, put("order.fluids", 'rate_limit = "1000 units/h"')),
        "WARNING rate-limit [order.fluids] rate_limit + [order.fluids] dose + [order.fluids] volume + "
        "[order.fluids] rate",
    ),
    row(
        "a limit in units and a dose in grams",
        put("order.cefazolin", 'rate_limit = "100 units/min"'),
        "WARNING rate-unchecked [order.cefazolin] rate_limit",
    ),
    row(
        "flushes and locks while a pump's reservoir is connected",
        put("order.fluids", 'given_as = "pump"', "kept_open = false"),
        "WARNING pump-idle [order.fluids] kept_open",
    ),
    row(
        "the doses are given before the last day",
        put("order.fluids", "last_day = 2026-06-14"),
        "WARNING ends-early [order.fluids] doses + [order.fluids] last_day",
    ),
    row(
        "one drug in two orders",
        put("order.fluids", 'drug = "Cefazolin"'),
        "WARNING duplicate-drug [order.fluids] drug + [order.cefazolin] drug",
    ),
    row(
        "days written for hours in the idle limit of a PICC",
        put("line", 'idle_limit = "12 days"'),
        "WARNING idle-limit-range [line] idle_limit + [line] kind",
    ),
    row(
        "heparin before an infusion",
        put("order.cefazolin", 'before = ["saline", "heparin"]'),
        "WARNING heparin-before [order.cefazolin] before",
    ),
    row(
        "a cut-off before the end of the window",
        put("order.cefazolin", 'cut_off = "30 min"'),
        "ERROR cut-off [order.cefazolin] cut_off + [order.cefazolin] on_time_within",
    ),
    row(
        "a clock time twice",
        put("order.cefazolin", 'clock_times = ["08:00", "16:00", "16:00"]', "last_day = 2026-06-14"),
        "ERROR timing [order.cefazolin] clock_times",
    ),
    row(
        "a year too early",
        (
            put(
                "plan",
                'takes_effect = "2025-06-01 08:00"',
                'start = "2025-06-01 08:00"',
                'end = "2025-06-15 08:00"',
            ),
            put("line", "placed_on = 2025-05-20"),
            put("lumen.red", 'last_flushed = "2025-06-01 07:00"'),
            put("lumen.blue", 'last_flushed = "2025-06-01 07:00"'),
            put("order.cefazolin", 'first_dose = "2025-06-01 16:00"', "last_day = 2025-06-14"),
            put("order.fluids", 'first_dose = "2025-06-01 10:00"'),
        ),
        "WARNING plan-past [plan] end",
    ),
    row(
        "heparin ruled out, and a heparin drip ordered",
        (
            put("line", 'lock = "saline"', "heparin_ruled_out = true"),
            put("order.cefazolin", 'drug = "heparin sodium"'),
        ),
        "ERROR heparin-ruled-out [order.cefazolin] drug + [line] heparin_ruled_out",
    ),
    row(
        "heparin by name, something else by kind",
        put("fluid.heparin", 'kind = "other"'),
        "ERROR wrong-form [fluid.heparin] kind",
    ),
    row(
        "an allergy in the plural",
        (put("line", 'allergies = ["penicillins"]'), put("order.cefazolin", 'drug = "penicillin G"')),
        "WARNING drug-allergy [order.cefazolin] drug + [line] allergies",
    ),
    row(
        "a dose with a trailing zero",
        put("order.cefazolin", 'dose = "2.0 g"'),
        "ERROR wrong-unit [order.cefazolin] dose",
    ),
    row(
        "a dose in mL that is not the volume",
        put("order.fluids", 'dose = "500 mL"'),
        "ERROR duration-disagrees [order.fluids] dose + [order.fluids] volume",
    ),
    row(
        "a kind of fluid that cannot be read says nothing of sodium",
        put("fluid.heparin", 'kind = "heprin"'),
        "ERROR wrong-form [fluid.heparin] kind",
    ),
    row(
        "a way of giving that cannot be read makes no bag a mistake",
        put("order.fluids", 'given_as = "pumpp"', 'bag_every = "8 h"', "bag_flush = []"),
        "ERROR wrong-form [order.fluids] given_as",
    ),
    row(
        "a timing that cannot be read leaves open what the order must state",
        (drop("order.fluids", "on_time_within", "cut_off"), put("order.fluids", 'as_needed = "yes"')),
        "ERROR wrong-form [order.fluids] as_needed",
    ),
    row(
        "an idle limit of 40 days",
        put("lumen.red", 'idle_limit = "40 days"'),
        "WARNING idle-limit-range [lumen.red] idle_limit + [line] kind",
    ),
    row(
        "a flush of 50 mL",
        put("fluid.saline", 'volume = "50 mL"'),
        "WARNING flush-volume-range [fluid.saline] volume",
    ),
    row(
        "an order that goes on past its review",
        put("order.cefazolin", "review_on = 2026-06-10"),
        "WARNING review-passed [order.cefazolin] review_on + [order.cefazolin] clock_times",
    ),
    row(
        "something was changed after the plan was read back",
        append('\n[read_back]\nby = "Ines Marlow"\nat = "2026-05-31 18:00"\ncheck = "BBBB CCCC"\n'),
        "WARNING read-back-changed [read_back] check",
    ),
    row(
        "late doses shift the others",
        put("order.fluids", 'after_late_dose = "shift following doses"'),
        "NOTE shift-doses [order.fluids] after_late_dose",
    ),
    row(
        "a lumen for the nurse alone",
        put("lumen.blue", 'flush_through = "nurse only"'),
        "NOTE nurse-only-lumen [lumen.blue] flush_through",
    ),
    row(
        "a drug as needed",
        append(
            '\n[order.ondansetron]\ndrug = "ondansetron"\nkind = "drug"\ndose = "4 mg"\nlumen = "red"\n'
            'given_as = "push"\n'
            'as_needed = true\nuntil_removal = true\nduration = "5 min"\nleast_spacing = "6 h"\nmost_in_24h = 3\n'
            'flush_through = "allowed"\n'
        ),
        "NOTE dose-by-hand [order.ondansetron] as_needed",
    ),
]


def care_task(name: str, kind: str, *statements: str) -> Edit:
    """Add a care task at the end of the plan."""
    lines = [f'kind = "{kind}"', f'label = "{name}"', 'done_by = "nurse"', *statements]
    return append(f"[task.{name}]\n" + "\n".join(lines) + "\n")


TOO_MUCH = [
    row(
        "a key of a hundred parts and more",
        append(".".join("a" * 200) + " = 1\n"),
        "ERROR not-toml nowhere",
    ),
    row(
        "more lumens than a line has",
        append("".join(f'[lumen.l{n}]\nlabel = "l{n}"\nlast_flushed = "2026-06-01 07:00"\n' for n in range(5))),
        "ERROR too-long [lumen.red] + [lumen.blue] + [lumen.l0] + [lumen.l1] + [lumen.l2] + [lumen.l3]",
    ),
]

CARE_TASKS = [
    row("a task that is never due", care_task("visit", "visit"), "ERROR task-timing [task.visit]"),
    row(
        "a holiday without what is done instead",
        care_task("labs", "blood draw", 'weekdays = ["Mon"]', 'at = "09:00"', "not_on = [2026-06-08]"),
        "ERROR task-day [task.labs] not_on",
    ),
    row(
        "a task tied to a dose, and not said how",
        care_task("visit", "visit", 'order = "fluids"', 'on_time_within = "1 h"'),
        "ERROR task-dose [task.visit] order",
    ),
    row(
        "a task tied to a dose, and a last day that would end nothing",
        care_task(
            "visit",
            "visit",
            'order = "fluids"',
            'after_finish = "1 h"',
            'on_time_within = "15 min"',
            "last_day = 2026-06-05",
        ),
        "ERROR task-dose [task.visit] order + [task.visit] last_day",
    ),
    row(
        "a task tied to a dose, and when it was last done, from which nothing counts",
        care_task(
            "visit",
            "visit",
            'order = "fluids"',
            'after_finish = "1 h"',
            'on_time_within = "15 min"',
            'last_done = "2026-06-01 07:00"',
        ),
        "ERROR task-dose [task.visit] order + [task.visit] last_done",
    ),
    row(
        "a dressing through a lumen",
        care_task("dressing", "dressing", 'weekdays = ["Mon"]', 'at = "09:00"', 'lumen = "red"'),
        "ERROR task-draw [task.dressing] lumen + [task.dressing] kind",
    ),
    row(
        "a draw through a lumen without what is flushed after it",
        care_task("labs", "blood draw", 'weekdays = ["Mon"]', 'at = "09:00"', 'lumen = "red"'),
        "ERROR missing [protocol] + [task.labs] lumen",
    ),
    row(
        "a draw through a lumen in which the fluids run",
        (
            put("protocol", 'after_draw = ["saline 20 mL"]', 'discard_volume = "5 mL"'),
            care_task("labs", "blood draw", 'weekdays = ["Wed"]', 'at = "12:00"', 'lumen = "blue"'),
        ),
        "ERROR draw-running [task.labs] lumen + [order.fluids] every",
    ),
    row(
        "a draw before a dose that never comes",
        care_task(
            "level",
            "blood draw",
            'order = "fluids"',
            'before_dose = "1 h"',
            "only_doses = [400]",
            'on_time_within = "1 h"',
        ),
        "WARNING no-task [task.level]",
    ),
    row(
        "a port, and nobody can say in the plan when its needle comes out",
        put("line", 'kind = "implanted port"', 'needle_out_idle_limit = "28 days"'),
        "NOTE needle-unsaid [line] needle_out_idle_limit",
    ),
    row(
        "no quiet hours, and the red lumen is flushed soon after midnight",
        (
            put("household", "quiet_hours = []"),
            put("line", 'idle_limit = "8 h"'),
            put("order.cefazolin", 'clock_times = ["08:00", "16:00"]', 'most_spacing = "16 h"'),
        ),
        "NOTE no-quiet-hours [household] quiet_hours",
    ),
    row(
        "a draw before which nothing is drawn off",
        (
            put("protocol", 'after_draw = ["saline 20 mL"]'),
            care_task("labs", "blood draw", 'weekdays = ["Wed"]', 'at = "12:00"', 'lumen = "red"'),
        ),
        "NOTE draw-discard [task.labs] lumen + [protocol]",
    ),
    row(
        "two tasks called alike",
        (
            care_task("labs", "blood draw", 'weekdays = ["Mon"]', 'at = "09:00"'),
            lambda text: (
                text
                + care_task("labs", "visit", 'weekdays = ["Tue"]', 'at = "09:00"')("").replace(
                    "[task.labs]", "[task.more]"
                )
            ),
        ),
        "ERROR task-label [task.more] label + [task.labs] label",
    ),
    row(
        "a window longer than the time between two",
        care_task("weight", "weighing", 'every = "12 h"', 'last_done = "2026-06-01 07:00"', 'on_time_within = "24 h"'),
        "WARNING task-range [task.weight] on_time_within + [task.weight] every",
    ),
]


def stock_of(name: str, item: str, counted_at: str = "2026-06-01 08:00", *statements: str) -> Edit:
    """Add an item of stock at the end of the plan."""
    lines = [f'item = "{item}"', "on_hand = 40", f'counted_at = "{counted_at}"', *statements]
    return append(f"[stock.{name}]\n" + "\n".join(lines) + "\n")


ORDERED = swap("[calendar]\n", '[supplies]\norder_ahead = "2 days"\n\n[calendar]\n')

STOCK = [
    row(
        "an item of stock that is spelt otherwise",
        (ORDERED, stock_of("saline", "salien syringe")),
        "WARNING stock-unused [stock.saline] item",
    ),
    row(
        "one item in two tables, however it is written",
        (ORDERED, stock_of("saline", "saline syringe"), stock_of("more", "Saline  Syringe")),
        "ERROR stock-twice [stock.more] item + [stock.saline] item",
    ),
    row(
        "not said how long before an item must be ordered",
        (
            stock_of("saline", "saline syringe", "2026-06-01 08:00", 'order_ahead = "3 days"'),
            stock_of("heparin", "heparin syringe"),
        ),
        "ERROR missing [stock.heparin]",
    ),
    row(
        "counted in the wrong month",
        (ORDERED, stock_of("saline", "saline syringe", "2026-07-01 08:00")),
        "ERROR dates-reversed [stock.saline] counted_at + [plan] start",
    ),
    row(
        "counted a week before the plan",
        (ORDERED, stock_of("saline", "saline syringe", "2026-05-25 08:00")),
        "WARNING stock-count-early [stock.saline] counted_at + [plan] start",
    ),
    row(
        "a delivery that brings what nobody knows",
        care_task("parcel", "delivery", 'weekdays = ["Wed"]', 'at = "10:00"', 'brings = { "salin syringe" = 40 }'),
        "WARNING brings-unused [task.parcel] brings",
    ),
]

ROWS = [
    *THE_FILE,
    *MISSPELT,
    *MISSING,
    *VALUES,
    *CONTRADICTIONS,
    *CARE_TASKS,
    *STOCK,
    *THE_SCHEDULE,
    *A_PHARMACIST_ASKS,
]


def located(finding: Finding, result: Examination) -> list[int]:
    """Return the lines that a finding shows, the first one foremost."""
    lines = (result.source.locate(place) for place in finding.places)
    return list(dict.fromkeys(line for line in lines if line is not None))


def shown(finding: Finding, result: Examination) -> str:
    """Write a finding as the rows do: severity, code, and the table and key that stand on each line it shows."""
    text = "\n".join(result.source.lines)
    names = []
    for number in located(finding, result):
        line = result.source.lines[number - 1]
        table = f"[{_tables(text)[number - 1]}]"
        names.append(table if HEADING.fullmatch(line) else f"{table} {line.partition('=')[0].strip()}")
    return f"{finding.severity.name} {finding.code} {' + '.join(names) or 'nowhere'}"


def said(result: Examination) -> tuple[str, ...]:
    return tuple(shown(finding, result) for finding in result.findings)


def only(result: Examination, code: str) -> Finding:
    """Return the one finding of a code."""
    found = [finding for finding in result.findings if finding.code == code]
    assert len(found) == 1, [finding.message for finding in result.findings]
    return found[0]


def examined(*edits: Edit) -> Examination:
    return row("", edits).examined


def test_the_base_is_sound() -> None:
    """Whatever is said about a row is due to its edit."""
    result = row("", ()).examined
    assert result.findings == ()
    assert result.schedule is not None


@pytest.mark.parametrize("broken", ROWS, ids=lambda broken: broken.name)
def test_a_mistake_gives_its_findings_and_no_others(broken: Row) -> None:
    assert said(broken.examined) == broken.expected


@pytest.mark.parametrize("broken", ROWS, ids=lambda broken: broken.name)
def test_a_plan_with_an_error_is_not_made_into_anything(broken: Row) -> None:
    """An error leaves no plan and no schedule; a warning or note leaves both."""
    result = broken.examined
    has_error = any(expected.startswith("ERROR") for expected in broken.expected)
    assert (result.plan is None, result.schedule is None) == (has_error, has_error)


def test_there_are_many_rows_and_each_is_another_mistake() -> None:
    assert len(ROWS) >= 60
    assert len({broken.name for broken in ROWS}) == len(ROWS)


@pytest.mark.parametrize(
    "edit",
    [
        put("fluid.saline", 'label = "heparin-free saline"'),
        put("line", 'allergies = ["sodium metabisulfite"]'),
        put("order.cefazolin", 'cut_off = "1 h"'),  # just as long as the window
        put("line", 'idle_limit = "7 days"'),
    ],
)
def test_what_only_looks_like_a_mistake_is_left_alone(edit: Edit) -> None:
    """A label that denies heparin, a salt in the name of an allergy, limits that are just kept."""
    text = edit(BASE).replace('drug = "cefazolin"', 'drug = "cefazolin sodium"')
    assert not [finding for finding in examine("plan.toml", text.encode(), EMPTY, NOW).findings if finding.severity < 2]


def test_every_code_is_exercised() -> None:
    """A code that no plan can reach would be a promise that nobody keeps. What would help stands in no row: it is no
    part of the examination, but asked for by the command that shows a plan's figures. Nor does what two revisions come to
    together, which has tests of its own."""
    reached = {expected.split()[1] for broken in ROWS for expected in broken.expected}
    base = examined().schedule
    assert base is not None
    helped = {finding.code for finding in would_help(base)}  # at 22:00 cefazolin would meet the start of the fluids
    assert helped == {"would-help"}
    assert reached | helped | {"dose-count"} == set(CODES)


EXPECT = re.compile(r"#\s*expect: (.+)$")


@pytest.mark.parametrize("path", BROKEN_FILES, ids=lambda path: path.stem)
def test_a_broken_file_gives_exactly_what_its_comments_say(path: Path) -> None:
    """A comment ``# expect: ERROR unknown-key, WARNING ...`` stands on the line of each finding, and on no other."""
    result = examine(path.name, path.read_bytes(), EMPTY, NOW)
    commented = [
        (number, expected)
        for number, line in enumerate(path.read_text(encoding="utf-8").split("\n"), start=1)
        if (match := EXPECT.search(line))
        for expected in match.group(1).split(", ")
    ]
    found = [
        (next(iter(located(finding, result)), 0), f"{finding.severity.name} {finding.code}")
        for finding in result.findings
    ]
    assert sorted(found) == sorted(commented)
    assert len(found) >= 4, "a broken file holds several mistakes"


def test_there_are_broken_files() -> None:
    assert len(BROKEN_FILES) >= 6


@pytest.mark.parametrize("path", BROKEN_FILES, ids=lambda path: path.stem)
def test_a_broken_file_says_at_its_top_that_it_is_invented_and_what_is_wrong(path: Path) -> None:
    first, second, *_ = path.read_text(encoding="utf-8").split("\n")
    assert first.startswith("# ")
    assert "invented" in first
    assert second.startswith("# Broken on purpose: ")


SPELLINGS = [
    ("line", "idle_limit", "idle_limt"),
    ("line", "idle_limit", "idel_limit"),
    ("line", "idle_limit", "idle-limit"),
    ("line", "idle_limit", "Idle_Limit"),
    ("line", "idle_limit", '"idle limit"'),
    ("line", "allergies", "alergies"),
    ("line", "heparin_ruled_out", "heparine_ruled_out"),
    ("plan", "handling_time", "handeling_time"),
    ("plan", "household_records", "houshold_records"),
    ("lumen.red", "last_flushed", "last_flush"),
    ("fluid.saline", "syringe_holds", "syringe_hold"),
    ("fluid.heparin", "strength", "strenght"),
    ("protocol", "planning_margin", "planing_margin"),
    ("order.fluids", "duration", "durration"),
    ("order.fluids", "first_dose", "firstdose"),
    ("order.cefazolin", "clock_times", "clocktimes"),
    ("order.cefazolin", "least_spacing", "least_space"),
    ("order.cefazolin", "on_time_within", "ontime_within"),
    ("order.cefazolin", "cut_off", "cutoff"),
    ("call.now", "phone", "fone"),
    ("calendar", "alarm_before", "alarm-befor"),
]


@pytest.mark.parametrize(("table", "key", "wrong"), SPELLINGS)
def test_a_misspelt_key_suggests_the_right_one(table: str, key: str, wrong: str) -> None:
    result = examined(rename(table, key, wrong))
    finding = only(result, "unknown-key")
    assert wrong.strip('"') in finding.message
    assert finding.message.endswith(f"; did you mean {key}?")
    assert finding.expected == f"the key {key}"
    assert finding.mend == f"Rename it to {key}."
    assert result.findings == (finding,), "the key that was meant is not told as missing besides"


@pytest.mark.parametrize(
    ("right", "wrong"),
    [("[household]", "[houshold]"), ("[protocol]", "[protocoll]"), ("[calendar]", "[calender]"), ("[line]", "[lines]")],
)
def test_a_misspelt_table_suggests_the_right_one(right: str, wrong: str) -> None:
    result = examined(swap(right, wrong))
    finding = only(result, "unknown-key")
    assert finding.message.endswith(f"; did you mean {right.strip('[]')}?")
    assert finding.expected == f"the table {right.strip('[]')}"
    assert result.findings == (finding,), "the table that was meant is not told as missing besides"


SOURCES = {
    ("line", "idle_limit"): ("8 h", "12 h", "4 weeks"),
    ("line", "lock"): ("saline", "10 or 100 units/mL"),
    ("fluid.saline", "volume"): ("1 to 20 mL", "1 to 5 mL"),
    ("fluid.heparin", "strength"): ("10 and 100 units/mL",),
    ("fluid.saline", "sodium"): ("9 mg/mL", "0.154 mmol/mL"),
    ("order.cefazolin", "on_time_within"): ("30 min", "2 h"),
    ("order.cefazolin", "cut_off"): ("contradict",),
}
"""What the message about a missing clinical value must tell of the published range (hospital policies and patient
handouts for limits and locks; heparin lock labels for strengths; 9 mg/mL / 58.44 mg/mmol = 0.154 mmol/mL; ISMP's
hospital windows of 30 min to 2 h; late-dose rules that contradict one another)."""


@pytest.mark.parametrize(("place", "figures"), SOURCES.items(), ids=lambda value: ".".join(map(str, value)))
def test_a_missing_clinical_value_tells_the_published_range_and_is_not_filled_in(
    place: tuple[str, str], figures: tuple[str, ...]
) -> None:
    table, key = place
    result = examined(drop(table, key))
    finding = only(result, "missing")
    text = " ".join(finding_text(finding, result.source).split())  # whatever line a figure stands on
    assert key in finding.message
    assert all(figure in text for figure in figures), text
    assert not re.search(r"\d", finding.mend), "how to mend it must not offer a value to copy"
    assert result.plan is None
    assert result.schedule is None


def test_every_key_with_published_sources_is_in_the_table_above() -> None:
    keyed = {
        (name, item.name) for name, table in TABLES.items() for item in fields(table) if item.metadata.get("sources")
    }
    optional = {("protocol", "after_draw"), ("task", "every_days")}  # a plan without them may be whole
    assert {(table.partition(".")[0], key) for table, key in SOURCES} == keyed - optional
    assert optional <= keyed
    assert {name for name, _ in keyed - optional} & NAMED_TABLES == {"fluid", "order"}


TEN: list[tuple[Edit, str]] = [
    (rename("line", "external_length", "external_lenght"), "ERROR unknown-key [line] external_lenght"),
    (drop("line", "idle_limit"), "ERROR missing [line]"),
    (put("fluid.heparin", 'volume = "3"'), "ERROR wrong-unit [fluid.heparin] volume"),
    (put("protocol", 'joining_time = "30 days"'), "ERROR out-of-range [protocol] joining_time"),
    (put("plan", 'zone = "Chicago"'), "ERROR unknown-zone [plan] zone"),
    (put("calendar", 'reveals = "all"'), "ERROR wrong-form [calendar] reveals"),
    (put("order.cefazolin", "doses = 3", "until_removal = true"), "ERROR order-end [order.cefazolin]"),
    (put("order.fluids", 'duration = "6 h"'), "ERROR duration-disagrees [order.fluids]"),
    (put("lumen.blue", "in_use = 1"), "ERROR wrong-form [lumen.blue] in_use"),
    (append(short_order("third", "gentamicin", "red", "")), "ERROR timing [order.third]"),
]


def test_ten_mistakes_in_ten_places_are_all_told_in_one_run() -> None:
    """Nobody should have to mend a plan, check it, and only then hear of the next mistake."""
    result = examined(put("line", 'external_length = "2 cm"'), *(edit for edit, _ in TEN))
    found = [finding for finding in said(result) if finding.startswith("ERROR")]
    missed = [wanted for _, wanted in TEN if not any(text.startswith(wanted) for text in found)]
    assert missed == []
    assert len(found) == 10, found


@pytest.mark.parametrize(
    ("first", "second", "wanted"),
    [
        (
            put("order.fluids", 'dose = "1 bag"'),
            drop("order.fluids", "doses"),
            {"ERROR wrong-unit [order.fluids] dose", "ERROR order-end [order.fluids]"},
        ),
        (
            put("order.cefazolin", 'kind = "antibiotic"'),
            put("order.cefazolin", 'first_dose = "2026-06-01 15:00"'),
            {
                "ERROR wrong-form [order.cefazolin] kind",
                "ERROR timing [order.cefazolin] first_dose + [order.cefazolin] clock_times",
            },
        ),
        (
            put("line", 'kind = "Hickman"'),
            drop("order.fluids", "every"),
            {"ERROR wrong-form [line] kind", "ERROR timing [order.fluids]"},
        ),
        (
            put("calendar", 'alarm_before = "soon"'),
            put("order.cefazolin", 'clock_times = ["08:00", "16:00", "20:00", "23:00"]'),
            {
                "ERROR wrong-unit [calendar] alarm_before",
                "ERROR spacing-ordered [order.cefazolin] clock_times + [order.cefazolin] least_spacing",
            },
        ),
        (
            put("lumen.blue", 'last_flushed = "2026-06-02 07:00"'),
            put("order.cefazolin", 'clock_times = ["08:00", "16:00", "20:00", "23:00"]'),
            {
                "ERROR last-flushed-later [lumen.blue] last_flushed + [plan] start",
                "ERROR spacing-ordered [order.cefazolin] clock_times + [order.cefazolin] least_spacing",
            },
        ),
        (
            rename("line", "idle_limit", "idle_limt"),
            put("line", "heparin_ruled_out = true"),
            {
                "ERROR unknown-key [line] idle_limt",
                "ERROR heparin-ruled-out [line] lock + [line] heparin_ruled_out",
            },
        ),
        (
            put("lumen.blue", "label = 7"),
            put("lumen.blue", "in_use = false"),
            {
                "ERROR wrong-form [lumen.blue] label",
                "ERROR lumen-out-of-use [order.fluids] lumen + [lumen.blue] in_use",
            },
        ),
        (
            put("protocol", 'planning_margin = "soon"'),
            put("protocol", 'flush = "salin"'),
            {"ERROR wrong-unit [protocol] planning_margin", "ERROR unknown-name [protocol] flush"},
        ),
        (
            put("fluid.saline", 'volume = "10"'),
            drop("fluid.saline", "sodium"),
            {"ERROR wrong-unit [fluid.saline] volume", "ERROR missing [fluid.saline] + [fluid.saline] kind"},
        ),
        (
            rename("order.fluids", "every", "evry"),
            put("order.fluids", 'duration = "6 h"'),
            {
                "ERROR unknown-key [order.fluids] evry",
                "ERROR duration-disagrees [order.fluids] duration + [order.fluids] volume + [order.fluids] rate",
            },
        ),
        (
            put("plan", 'start = "2026-06-01"'),
            drop("order.fluids", "doses"),
            {"ERROR wrong-form [plan] start", "ERROR order-end [order.fluids]"},
        ),
        (
            put("plan", 'zone = "CST"'),
            put("order.fluids", 'duration = "6 h"'),
            {
                "ERROR unknown-zone [plan] zone",
                "ERROR duration-disagrees [order.fluids] duration + [order.fluids] volume + [order.fluids] rate",
            },
        ),
        (
            put("order.cefazolin", 'lumen = "rde"'),
            put("order.fluids", 'duration = "13 h"', 'rate = "77 mL/h"'),
            {"ERROR unknown-name [order.cefazolin] lumen", "ERROR overlap [order.fluids] every"},
        ),
    ],
    ids=[
        "a broken dose, and no end of the same order",
        "a broken kind, and a wrong first dose in the same order",
        "a broken line, and an order without timing",
        "a broken calendar, and doses too close",
        "a lumen flushed too late, and doses too close",
        "a misspelt limit, and heparin ruled out in the same table",
        "a broken label, and the lumen is out of use",
        "a broken margin, and an unknown flush in the same table",
        "a broken volume, and no sodium of the same fluid",
        "a misspelt interval, and a wrong duration in the same order",
        "a broken start of the plan, and no end of an order",
        "a zone that is none, and a wrong duration",
        "an order in no lumen, and another that runs into itself",
    ],
)
def test_one_mistake_does_not_hide_another(first: Edit, second: Edit, wanted: set[str]) -> None:
    assert set(said(examined(first, second))) == wanted


def test_findings_are_ordered_by_severity_and_then_by_line() -> None:
    result = examined(
        put("lumen.blue", 'flush_through = "nurse only"'),
        put("fluid.heparin", 'strength = "1000 units/mL"'),
        put("fluid.saline", 'volume = "50 mL"'),
        put("order.cefazolin", 'clock_times = ["08:00", "16:00", "20:00", "23:00"]'),
        drop("order.fluids", "doses"),
    )
    keys = [(finding.severity, located(finding, result)[0]) for finding in result.findings]
    assert keys == sorted(keys)
    assert {severity for severity, _ in keys} == set(Severity)


def test_severities_that_stop_nothing_are_all_shown_beside_each_other() -> None:
    result = examined(
        put("lumen.blue", 'flush_through = "nurse only"'), put("fluid.heparin", 'strength = "1000 units/mL"')
    )
    assert said(result) == (
        "WARNING heparin-strong [fluid.heparin] strength",
        "NOTE nurse-only-lumen [lumen.blue] flush_through",
    )
    assert tally(result.findings) == "no errors, 1 warning, 1 note"


@pytest.mark.parametrize(
    ("edits", "code", "numbers"),
    [
        (
            (put("order.fluids", 'duration = "6 h"'),),
            "duration-disagrees",  # 1000 mL / 125 mL/h = 8 h; 124.5 and 125.5 mL/h give 481.9 and 478.1 min
            ["1000 mL", "125 mL/h", "1000 / 125 = 8 h", "7 h 58 min to 8 h 2 min", "6 h"],
        ),
        (
            (
                drop("order.fluids", "rate", "duration"),
                put("order.fluids", 'rate_steps = ["50 mL/h for 1 h", "125 mL/h for 6 h"]'),
            ),
            "duration-disagrees",  # 50 x 1 + 125 x 6 = 800
            ["800 mL", "1000 mL"],
        ),
        (
            (put("order.cefazolin", 'clock_times = ["08:00", "16:00", "20:00", "23:00"]'),),
            "spacing-ordered",  # 16:00 to 20:00, 20:00 to 23:00, on each of 14 days
            ["2026-06-01 20:00 CDT", "4 h", "6 h", "28 times"],
        ),
        (
            (put("order.fluids", 'duration = "13 h"', 'rate = "77 mL/h"'),),
            "overlap",  # 20 doses, each but the last runs an hour into the next
            ["2026-06-01 10:00 CDT", "2026-06-01 23:00 CDT", "2026-06-01 22:00 CDT", "19 times"],
        ),
        (
            (AUTUMN, put("order.cefazolin", 'most_spacing = "570 min"')),
            "spacing-clock-change",
            ["2026-11-01 08:00 CST", "10 h", "9 h", "9 h 30 min", "prescriber"],
        ),
        ((AUTUMN,), "spacing-differs", ["2026-11-01 08:00 CST", "10 h", "9 h"]),
        (
            (put("order.cefazolin", 'last_dose_before_plan = "2026-06-01 00:00"'),),
            "spacing-before-plan",
            ["2026-06-01 16:00 CDT", "2026-06-01 00:00 CDT", "16 h", "10 h"],
        ),
        (
            (put("lumen.red", 'last_flushed = "2026-05-31 15:00"'),),
            "limit-passed",  # 15:00 + 12 h
            ["2026-05-31 15:00 CDT", "12 h", "2026-06-01 03:00 CDT"],
        ),
        (
            (
                *UNCHANGED,
                put("order.fluids", 'stops = "2026-06-15 08:00"'),
                put("lumen.red", 'idle_limit = "8 h"'),
                put("household", 'quiet_hours = ["22:00-07:30"]'),
            ),
            "night-forced",  # finished 23:30, so 07:15 with the margin of 15 min, on each of 14 nights
            ["8 h", "14 times", "2026-06-02 07:15 CDT", "red"],
        ),
        (
            (
                put("lumen.red", 'idle_limit = "8 h"'),
                put("household", 'quiet_hours = ["22:00-07:30"]'),
            ),
            # with the fluids' finish at 06:00, as long as there are any, to 11 June; in the four nights that follow red is
            # to be flushed from 00:15 to 07:15; blue may join its flush, but would reach from 23:30 to 11:15 without
            "night-forced",
            ["8 h", "4 times", "red"],
        ),
        (
            (*EVERY_DAY, append('\n[daily_limits]\nflushed = "100 mL"\n')),
            "daily-total",  # 3 x (10 + 10 + 3) in red and 2 x (10 + 10 + 3) in blue, 2 to 14 June
            ["100 mL", "115 mL", "13 days"],
        ),
        (
            (*EVERY_DAY, append('\n[daily_limits]\nheparin = "100 units"\n')),
            "daily-total",  # 5 locks of 3 mL of 10 units/mL
            ["100 units", "150 units"],
        ),
        (
            (*EVERY_DAY, append('\n[daily_limits]\ninfused = "2 L"\n')),
            "daily-total",  # 3 x 100 + 2 x 1000
            ["2 L", "2300 mL"],
        ),
        (
            (*EVERY_DAY, append('\n[daily_limits]\nsodium = "15 mmol"\n')),
            "daily-total",  # 10 flushes of 10 mL of 0.154 mmol/mL
            ["15 mmol", "15.4 mmol"],
        ),
        (
            (put("order.cefazolin", 'rate_limit = "60 mg/min"'),),
            "rate-limit",  # 2000 mg / 100 mL x 200 mL/h / 60 min
            ["2 g", "100 mL", "200 mL/h", "66.67 mg/min", "60 mg/min"],
        ),
        (
            (*CONTINUOUS, put("order.fluids", 'bag_every = "12 h"')),
            "bag-runs-dry",
            ["1000 mL", "125 mL/h", "8 h", "2026-06-01 10:00 CDT", "12 h", "2026-06-01 22:00 CDT"],
        ),
        (
            UNCHANGED,
            "bag-runs-dry",  # 1 to 14 June, 10:00
            ["1000 mL", "125 mL/h", "8 h", "2026-06-01 10:00 CDT", "13 days", "2026-06-14 10:00 CDT"],
        ),
        (
            (
                *SLOW,
                put("order.fluids", 'volume = "1200 mL"', 'rate = "50.0 mL/h"', 'bag_times = ["10:00"]'),
                AUTUMN,
            ),
            "bag-runs-dry",  # 1200 mL / 50 mL/h = 24 h, and the day of the change has 25 h
            ["1200 mL", "50.0 mL/h", "24 h", "2026-10-31 10:00 CDT", "25 h", "2026-11-01 10:00 CST"],
        ),
        (
            (*SLOW, put("order.fluids", 'bag_times = ["10:00"]', 'hang_time = "24 h"'), AUTUMN),
            "hang-time",
            ["2026-10-31 10:00 CDT", "hangs 25 h", "2026-11-01 10:00 CST", "24 h"],
        ),
        (
            (*SLOW, put("order.fluids", 'bag_times = ["02:30"]'), SPRING),
            "clock-skipped",
            ["02:30", "2027-03-14", "03:30 CDT"],
        ),
        (
            (*SLOW, put("order.fluids", 'bag_times = ["01:30"]'), AUTUMN),
            "clock-repeated",
            ["01:30", "2026-11-01", "first", "01:30 CDT"],
        ),
        (
            (*HEPARIN_DRIP, put("order.fluids", 'rate_limit = "1000 units/h"')),
            "rate-limit",  # 25000 units / 250 mL x 12 mL/h / 60
            ["25000 units", "20 units/min", "1000 units/h"],
        ),
        (
            (drop("order.cefazolin", "rate"), put("order.cefazolin", 'dose = "20 mmol"', 'rate_limit = "10 mmol/h"')),
            "rate-limit",  # 20 mmol / 30 min
            ["20 mmol", "30 min", "0.67 mmol/min", "10 mmol/h"],
        ),
        (
            (TIGHT,),
            # 08:30 + 12 h - 15 min is 20:15, on each of the days from 2 to 14 June; it joins the fluids' finish at 18:00
            "margin-flush",
            ["15 min", "red", "13 times", "2026-06-02 18:00 CDT", "2026-06-02 20:25 CDT"],
        ),
        (
            (
                drop("plan", "end"),
                put("plan", 'line_removal = "2026-06-14 12:00"'),
                drop("order.fluids", "doses"),
                put("order.fluids", "until_removal = true"),
            ),
            "cut-short",  # 10:00 + 8 h
            ["2026-06-14 10:00 CDT", "8 h", "2026-06-14 18:00 CDT", "2026-06-14 12:00 CDT"],
        ),
        (
            (put("lumen.red", 'idle_limit = "8 h"'), put("protocol", 'planning_margin = "9 h"')),
            "margin",
            ["9 h", "8 h"],
        ),
        (
            (put("lumen.red", 'idle_limit = "8 h"'), put("protocol", 'least_time_to_next_touch = "4 h"')),
            "least-time",
            ["4 h", "8 h"],
        ),
        (
            (
                append(TRAVEL.format(at="2026-06-05 12:00", zone="Europe/Dublin")),
                put("order.cefazolin", 'clock = "local"'),
            ),
            "spacing-travel",  # 08:00 CDT is 13:00Z, 23:00 in Dublin is 22:00Z; 16:00 in Dublin was 15:00Z
            ["2026-06-05 23:00 IST", "9 h after", "instead of 8 h", "dose of 2026-06-05 16:00 falls away"],
        ),
        (
            (
                append(TRAVEL.format(at="2026-06-05 18:00", zone="Pacific/Honolulu")),
                put("order.cefazolin", 'clock = "local"'),
            ),
            "spacing-travel",  # 16:00 CDT is 21:00Z, 16:00 in Honolulu is 02:00Z; at home the next one is at 23:00
            [
                "2026-06-05 16:00 HST",
                "5 h after",
                "instead of 7 h",
                "least spacing of 6 h",
                "dose of 2026-06-05 16:00 falls twice",
                "prescriber",
            ],
        ),
        (
            (put("order.fluids", "last_day = 2026-06-14"),),
            "ends-early",  # 2026-06-01 10:00 + 19 x 12 h
            ["Dose 20 of 20", "2026-06-10", "2026-06-14"],
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_findings_carry_their_numbers(edits: tuple[Edit, ...], code: str, numbers: list[str]) -> None:
    """The numbers are worked out by hand from the base plan and the edit."""
    message = only(examined(*edits), code).message
    assert [number for number in numbers if number not in message] == [], message


def orders_together(first: str, second: str) -> tuple[Edit, ...]:
    """Give two more drugs with one dose of cefazolin, at its time in its lumen, and say what each runs with."""
    return (
        append(short_order("one", "gentamicin", "red", 'moments = ["2026-06-03 16:00"]')),
        append(short_order("two", "tobramycin", "red", 'moments = ["2026-06-03 16:00"]')),
        put("order.cefazolin", first),
        put("order.one", second),
    )


@pytest.mark.parametrize(
    "edits",
    [
        (put("calendar", 'alarm_before = "12 h"'),),
        orders_together('runs_with = ["one", "two"]', 'runs_with = "two"'),
        orders_together('runs_with = ["one", "two"]', 'runs_with = ["two"]'),
        (*HEPARIN_DRIP, put("order.fluids", 'rate_limit = "1200 units/h"')),
        (put("order.cefazolin", 'dose = "20 mmol"', 'rate_limit = "40 mmol/h"'),),
        CONTINUOUS,
        (*CONTINUOUS, put("order.fluids", 'hang_time = "8 h"')),
        (put("lumen.blue", 'lock = "saline"', 'flush_volume = "5 mL"'),),
        (put("lumen.blue", 'lock_volume = "5 mL"'),),
        (TIGHT, put("protocol", 'planning_margin = "5 min"')),
        (put("protocol", 'planning_margin = "0 min"'),),
        (put("protocol", 'planning_margin = "0 min"', 'least_time_to_next_touch = "6 h"'),),
        (put("line", 'allergies = ["penicillin", "eggs"]'),),
        (put("line", 'allergies = ["no-sting film", "unknown antibiotic in 1998", "sea food"]'),),
    ],
    ids=[
        "an alarm 12 h ahead",
        "three orders that may run together, by a list and a name",
        "three orders that may run together, by lists",
        "heparin at its limit",
        "mmol at their limit",
        "a bag changed when it is empty",
        "a bag changed when it has hung as long as it may",
        "a flush volume where the flush is the lock",
        "a lock volume where the lock is heparin",
        "a margin that just leaves room",
        "no margin",
        "a least time of half of the limit",
        "allergies to other things",
        "allergies with words like those for none",
    ],
)
def test_nothing_is_said_of_what_keeps_its_limit(edits: tuple[Edit, ...]) -> None:
    """The other side of the rows above: at the limit, and in the way that is meant, there is nothing to say."""
    result = examined(*edits)
    assert said(result) == ()
    assert result.schedule is not None


def test_three_orders_overlap_where_a_list_leaves_one_pair_out() -> None:
    result = examined(*orders_together('runs_with = ["one", "two"]', 'note = "Not with tobramycin."'))
    assert said(result) == ("ERROR overlap [order.one] moments + [order.two] moments",)


def test_a_bag_that_runs_dry_says_after_how_long() -> None:
    """1000 mL at 125 mL/h are 8 h, which the reader can check; a rounded rate alone would not make it 8 h 2 min."""
    result = examined(*CONTINUOUS, put("order.fluids", 'bag_every = "12 h"'))
    assert "is empty after 8 h;" in only(result, "bag-runs-dry").message


def test_a_skipped_clock_time_says_how_it_is_read() -> None:
    result = examined(
        SPRING,
        put("order.cefazolin", 'clock_times = ["02:30", "10:30", "18:30"]', 'first_dose = "2027-03-08 10:30"'),
    )
    message = only(result, "clock-skipped").message
    assert all(part in message for part in ("02:30", "2027-03-14", "03:30 CDT")), message


def test_a_repeated_moment_says_which_is_meant() -> None:
    result = examined(
        AUTUMN, ONE_TIME, append(short_order("one", "gentamicin", "red", 'moments = ["2026-11-01 01:30"]'))
    )
    message = only(result, "clock-repeated").message
    assert all(part in message for part in ("01:30", "2026-11-01", "first", "CDT")), message


def test_a_finding_shows_file_line_number_line_and_how_to_mend_it() -> None:
    result = examined(put("order.cefazolin", 'dose = "2 grms"'))
    number = next(n for n, line in enumerate(result.source.lines, start=1) if line == 'dose = "2 grms"')
    text = finding_text(only(result, "wrong-unit"), result.source)
    heading, line, *rest = text.split("\n")
    assert heading == f"ERROR (wrong-unit) in plan.toml, line {number}"
    assert line.split(":  ") == [f"  {number:>5}", 'dose = "2 grms"']
    assert any("grms" in part for part in rest)
    assert any(part.startswith("  Expected: ") and 'a number with its unit, such as "500 mg"' in part for part in rest)
    assert any(part.startswith("  To mend: ") for part in rest)


def test_both_sides_of_a_conflict_are_shown() -> None:
    result = examined(put("order.fluids", 'duration = "6 h"'))
    text = finding_text(only(result, "duration-disagrees"), result.source)
    for statement in ('duration = "6 h"', 'volume = "1000 mL"', 'rate = "125 mL/h"'):
        number = next(n for n, line in enumerate(result.source.lines, start=1) if n > 75 and line.strip() == statement)
        assert f"{number}:  {statement}" in text


@pytest.mark.parametrize("broken", ROWS, ids=lambda broken: broken.name)
def test_every_finding_reads_as_sentences(broken: Row) -> None:
    """Whoever reads it learns what is wrong, what would be right and, short of a note, what to do."""
    result = broken.examined
    for finding in result.findings:
        assert finding.message.endswith("?" if "did you mean" in finding.message else ".")
        assert finding.expected
        if finding.severity is not Severity.NOTE:
            assert finding.mend
        text = finding_text(finding, result.source)
        assert not re.search(r"[?.]\.(\s|$)|\bNone\b|Fraction\(|\(\(", text.replace("...", "")), text
        assert "\t" not in text


def test_what_a_file_calls_its_tables_reaches_no_terminal_as_commands() -> None:
    """A mailed plan may hold control letters in its names (escape sequences, letters that turn the text round)."""
    text = BASE + '\n[order."\\u001b]0;owned\\u0007\\u202e"]\ndrug = "x"\n'
    result = examine("plan.toml", text.encode(), EMPTY, NOW)
    said_of_it = "\n".join(finding_text(finding, result.source) for finding in result.findings)
    assert "owned" in said_of_it
    assert all(letter.isprintable() or letter == "\n" for letter in said_of_it)
