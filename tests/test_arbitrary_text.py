"""Whatever stands in a plan file, the answer is findings, never a failure of the program.

Bytes, texts, what looks like TOML, and sample plans with their lines deleted, doubled and changed go through the whole
of :func:`reminders.examine.examine`, and some of them through the command as a person would run it.
"""

import random
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reminders.cli import main
from reminders.examine import Examination, examine
from reminders.findings import CODES, has_errors
from reminders.plan.model import TABLES
from reminders.record.facts import EMPTY
from reminders.times import Instant
from reminders.views.findings_text import finding_text, tally
from reminders.views.summary import summary

SAMPLES = {
    path.stem: path.read_text(encoding="utf-8") for path in Path(__file__).parent.parent.glob("sample_plans/*.toml")
}
SHORT = """# Invented: two lumens, two orders, a week.
[plan]
id = "7c1d9b52-3f64-4e0a-8b7d-52a90e6c41f3"
revision = 1
takes_effect = "2026-10-29 08:00"
household_records = true
zone = "America/Chicago"
start = "2026-10-29 08:00"
end = "2026-11-05 08:00"
handling_time = "15 min"
[[zone_change]]
at = "2026-11-03 12:00"
zone = "America/Denver"
[household]
quiet_hours = ["22:00-06:00"]
[line]
kind = "PICC"
valved = false
placed_on = 2026-10-20
idle_limit = "12 h"
lock = "heparin"
heparin_ruled_out = false
allergies = []
[lumen.red]
label = "red"
last_flushed = "2026-10-29 07:00"
[lumen.blue]
label = "blue"
last_flushed = "2026-10-29 07:00"
[fluid.saline]
kind = "saline"
label = "saline"
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
[supplies]
each_touch = { "pair of gloves" = 1 }
[daily_limits]
flushed = "250 mL"
[order.cefazolin]
drug = "cefazolin"
kind = "drug"
dose = "2 g"
lumen = "red"
given_as = "infusion"
clock_times = ["08:00", "16:00", "23:00"]
first_dose = "2026-10-29 16:00"
last_day = 2026-11-04
duration = "30 min"
rate_limit = "100 mg/min"
least_spacing = "6 h"
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
first_dose = "2026-10-29 10:00"
doses = 8
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
colour = "teal"
"""
TEXTS = [SHORT, SHORT, SHORT, *SAMPLES.values()]
NOW = Instant(29_888_460)
"""2026-10-29 08:00 in Chicago, 13:00Z."""

KEYS = sorted({item.name for table in TABLES.values() for item in fields(table)})
HEADINGS = [
    *(f"[{name}]" for name in TABLES),
    *(f"[[{name}]]" for name in TABLES),
    *(f"[{name}.red]" for name in TABLES),
    "[lumen.blue]",
    "[order.fluids]",
    '[order."a b"]',
    '[order.""]',
    "[plan.plan]",
    "[",
    "[]",
    "[a.b.c.d]",
]
ODD_VALUES = [
    *"nan inf -inf +nan 0 -1 1 -0.0 1e400 99999999999999999999999 0x1F 0o17 true false".split(),
    "9" * 5000,
    "-" + "9" * 4400,
    "0x" + "f" * 5000,
    "0b" + "1" * 200,
    *('""', '" "', '"\\u0000"', '"\\u202Ered"', '"\\uFEFF"', '"\\\\"', '"💉"', '"عربى"', '"e\u0301"', '"a\tb"', "'x'"),
    '"' + "x" * 5000 + '"',
    '"""\ntwo\nlines"""',
    *("[]", "{}", "[[]]", "[{}]", "[true]", "[1, 'a', 2.5]", "[[[[[[[[]]]]]]]]", "{ a = 1 }", "{ a.b = { c = [] } }"),
    "[" * 60 + "]" * 60,
    "[" * 2000 + "]" * 2000,
    "{a=" * 200 + "1" + "}" * 200,
    *(
        "0001-01-01",
        "9999-12-31",
        "2000-01-01",
        "2200-12-31",
        "2026-02-30",
        "2024-02-29",
        "07:00:00",
        "23:59:59.999999",
    ),
    *("0001-01-01T00:00:00", "9999-12-31T23:59:59Z", "9999-12-31T23:59:00-23:59", "0001-01-01T00:00:00+23:59"),
    *("2200-12-31T23:59:00Z", "2000-01-01T00:00:00", "2026-11-01T01:30:00", "2026-11-01T01:30:00-06:00"),
    *('"0001-01-01 00:00"', '"9999-12-31 23:59"', '"2000-01-01 00:00"', '"2200-12-31 23:59"', '"2026-11-01 01:30"'),
    *(
        '"2026-10-30 08:00+25:00"',
        '"2026-10-30 08:00:30"',
        '"2026-W44-5 08:00"',
        '"20261030T0800"',
        '"08:00"',
        '"24:00"',
    ),
    *('"0 min"', '"1 min"', '"0.5 min"', '"30 min"', '"8 h"', '"366 days"', '"732 days"', '"999999999999 h"', '"-5 h"'),
    *('"0.000001 mL/h"', '"0.0000000000000000000001 mL/h"', '"9999999999999999999999999999 mL"', '"1 mL"', '"1e9 h"'),
    *(
        '"0.00000000000000000000000001 mL"',
        '"10 mL/mL"',
        '"10 mL mL"',
        '"10 if"',
        '"10 lambda"',
        '"10 nan"',
        '"10 h_h"',
    ),
    *(
        '"10 dimensionless"',
        '"10 mg/min"',
        '"10 units/mL"',
        '"10 __class__"',
        '"10 h / h"',
        '"١٠ mL"',
        '"10 mL"',
        '"2 g"',
    ),
    *(
        '"red"',
        '"blue"',
        '"saline"',
        '"heparin"',
        '"cefazolin"',
        '"fluids"',
        '"midline"',
        '"push"',
        '"pump"',
        '"vesicant"',
    ),
    *('"withdraw first"', '"nurse only"', '"local"', '"nothing at all"', '"shift following doses"', '"nutrition"'),
    *(
        '"UTC"',
        '"Factory"',
        '"CST"',
        '"America"',
        '"../../etc/passwd"',
        '"Africa/Monrovia"',
        '"Pacific/Apia"',
        '"Asia/Kolkata"',
    ),
    *('["08:00"]', '["08:00", "08:00"]', '["01:30", "02:30"]', '["00:00-23:59"]', '["Sat Sun 23:00-08:30"]', '["-"]'),
    *('["Mon"]', '["Mon", "Mon"]', '["saline 20 mL", "saline"]', '["saline -1 mL"]', '["heparin"]', '["x for y"]'),
    *('["90 mL/h for 1 h"]', '["0.0001 mL/h for 700 days", "1 mL/h for 1 min"]', '["2026-10-30 08:00"]'),
    *('["2000-01-01 08:00", "2200-01-01 08:00"]', '{ "a" = 1 }', '{ "" = 1 }', '{ "a" = 1.5 }', '{ "gloves" = 1000 }'),
    *(
        '"%s%d{}{0}"',
        '"{days}"',
        '"\\r\\nBEGIN:VALARM"',
        '"(at line 99, column 1)"',
        '"\\"',
        "2026-10-30 08:00",
        "=",
        "",
    ),
]
"""Values as they may stand after the equals sign: numbers, texts and times at their limits, and what is no TOML."""
STATEMENTS = [line for text in TEXTS for line in text.splitlines() if " = " in line]
ODD_CHARACTERS = [
    "",
    '"',
    "'",
    "[",
    "]",
    "=",
    "#",
    "\\",
    "é",
    "\x00",
    "\t",
    "\r",
    "\x1b",
    "😀",
    "\u2028",
    "0",
    "-",
    " ",
]

Change = tuple[str, int, int, int]
"""What to do, on which line, and two numbers to choose with."""

CHANGES = st.lists(
    st.tuples(
        st.sampled_from("odd odd odd odd other delete double insert swap character cut new key heading".split()),
        st.integers(0, 10_000),
        st.integers(0, 10_000),
        st.integers(0, 10_000),
    ),
    min_size=1,
    max_size=6,
)


def changed(text: str, changes: list[Change]) -> str:
    """Return a text after the changes, one after the other."""
    lines = text.split("\n")
    for what, where, one, two in changes:
        at = where % len(lines)
        key, equals, _ = lines[at].partition(" = ")
        if what == "odd" and equals:
            lines[at] = f"{key} = {ODD_VALUES[one % len(ODD_VALUES)]}"
        elif what == "other" and equals:
            lines[at] = f"{key} = {STATEMENTS[one % len(STATEMENTS)].partition(' = ')[2]}"
        elif what == "delete":
            del lines[at]
        elif what == "double":
            lines.insert(at, lines[at])
        elif what == "insert":
            lines.insert(at, STATEMENTS[one % len(STATEMENTS)])
        elif what == "swap":
            other = one % len(lines)
            lines[at], lines[other] = lines[other], lines[at]
        elif what == "character":
            column = one % (len(lines[at]) + 1)
            lines[at] = lines[at][:column] + ODD_CHARACTERS[two % len(ODD_CHARACTERS)] + lines[at][column + 1 :]
        elif what == "cut":
            lines[at] = lines[at][: one % (len(lines[at]) + 1)]
        elif what == "key" and equals:
            lines[at] = f"{KEYS[one % len(KEYS)]} = {lines[at].partition(' = ')[2]}"
        elif what == "heading":
            lines.insert(at, HEADINGS[one % len(HEADINGS)])
        else:
            lines.insert(at, f"{KEYS[one % len(KEYS)]} = {ODD_VALUES[two % len(ODD_VALUES)]}")
        lines = lines or [""]
    return "\n".join(lines)


def answered(content: bytes) -> Examination:
    """Examine a file and hold what holds for every answer."""
    result = examine("plan.toml", content, EMPTY, NOW)
    assert all(finding.code in CODES for finding in result.findings)
    assert (result.schedule is None) == has_errors(result.findings)
    assert (result.plan is None) == (result.schedule is None)
    for finding in result.findings:
        heading, *_ = finding_text(finding, result.source).split("\n")
        assert heading.startswith(f"{finding.severity.name} ({finding.code}) in plan.toml")
    keys = [finding.severity for finding in result.findings]
    assert keys == sorted(keys)
    assert tally(result.findings)
    return result


def twice(content: bytes) -> Examination:
    """Examine a file two times: the same text, the same answer."""
    first, second = answered(content), answered(content)
    assert _compared(first) == _compared(second)
    return first


def _compared(result: Examination) -> tuple[object, ...]:
    """Return all of an answer but the raw values, of which ``nan`` does not even equal itself."""
    schedule = result.schedule  # which is equal to none but itself, so that its parts are compared
    parts = schedule and [getattr(schedule, part.name) for part in fields(schedule)]
    return result.findings, result.plan, parts, result.source.lines, result.source.line_of


many = settings(max_examples=800, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
some = settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


def lines_like_toml() -> st.SearchStrategy[str]:
    """Return text made of the plan's own headings and keys with odd values."""
    statement = st.builds("{} = {}".format, st.sampled_from(KEYS), st.sampled_from(ODD_VALUES))
    line = st.one_of(st.sampled_from(HEADINGS), statement, statement, st.sampled_from(STATEMENTS), st.text(max_size=12))
    return st.lists(line, max_size=25).map("\n".join)


@many
@given(st.binary(max_size=300))
def test_any_bytes_are_answered_with_findings(content: bytes) -> None:
    assert has_errors(twice(content).findings), "such bytes are no plan"


@many
@given(st.text(max_size=200))
def test_any_text_is_answered_with_findings(text: str) -> None:
    assert has_errors(twice(text.encode("utf-8", "surrogatepass")).findings), "such a text is no plan"


@many
@given(lines_like_toml())
def test_what_looks_like_a_plan_is_answered_with_findings(text: str) -> None:
    assert has_errors(twice(text.encode()).findings), "such a text states hardly anything"


@settings(many, max_examples=2500)
@given(st.sampled_from(TEXTS), CHANGES)
def test_a_changed_plan_is_answered_with_findings_or_with_a_schedule(text: str, changes: list[Change]) -> None:
    result = answered(changed(text, changes).encode())
    if result.schedule is not None:
        assert summary(result.schedule, NOW, result.schedule)


@settings(many, max_examples=300)
@given(st.sampled_from(TEXTS), CHANGES)
def test_a_changed_plan_is_answered_the_same_way_twice(text: str, changes: list[Change]) -> None:
    twice(changed(text, changes).encode())


@some
@given(st.one_of(st.binary(max_size=100), lines_like_toml().map(str.encode)))
def test_the_command_answers_whatever_stands_in_the_file(
    tmp_path_factory: pytest.TempPathFactory, content: bytes
) -> None:
    _checked(tmp_path_factory, content)


@some
@given(st.sampled_from(TEXTS), CHANGES)
def test_the_command_answers_a_changed_plan(
    tmp_path_factory: pytest.TempPathFactory, text: str, changes: list[Change]
) -> None:
    _checked(tmp_path_factory, changed(text, changes).encode())


def _checked(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "plan.toml"
    path.write_bytes(content)
    result = CliRunner().invoke(main, ["check", str(path), "--now", "2026-10-29 13:00+00:00"])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (0, 1)
    assert "Traceback" not in result.output
    assert (result.exit_code == 1) == ("ERROR (" in result.output)
    assert "plan.toml: " in result.output


EACH_KEY_ODD = [
    pytest.param(heading, key, id=f"{heading.rstrip(']')}-{key}")
    for heading, key in dict.fromkeys(
        (heading, line.partition(" = ")[0])
        for block in SHORT.split("\n[")
        for heading, *lines in [block.split("\n")]
        for line in lines
        if " = " in line
    )
]


@pytest.mark.parametrize(("heading", "key"), EACH_KEY_ODD)
def test_every_key_takes_every_odd_value_without_failing(heading: str, key: str) -> None:
    """Every key of a whole plan with each of the odd values in turn: some thousands of plans, none left to chance."""
    blocks = SHORT.split("\n[")
    at = next(n for n, block in enumerate(blocks) if block.partition("\n")[0] == heading)
    failures = []
    for value in ODD_VALUES:
        lines = [f"{key} = {value}" if line.startswith(f"{key} = ") else line for line in blocks[at].split("\n")]
        try:
            answered("\n[".join([*blocks[:at], "\n".join(lines), *blocks[at + 1 :]]).encode())
        except Exception as failure:  # whatever it is, all of a key's failures are to be told at once
            failures.append(f"{value[:40]}: {type(failure).__name__}: {str(failure)[:60]}")
    assert failures == []


NESTED: dict[str, Callable[[int], str]] = {
    "a list in a list": lambda depth: f"allergies = {'[' * depth}{']' * depth}",
    "a table in a table": lambda depth: f"allergies = {'{a=' * depth}1{'}' * depth}",
    "a key of many parts": lambda depth: "allergies" + ".a" * depth + " = 1",
}


@pytest.mark.parametrize("depth", [10, 100, 300, 500, 1000, 3000])
@pytest.mark.parametrize("nested", NESTED.values(), ids=NESTED)
def test_depth_is_a_finding_and_no_failure(nested: Callable[[int], str], depth: int) -> None:
    result = answered(SHORT.replace("allergies = []", nested(depth)).encode())
    assert has_errors(result.findings)


@pytest.mark.parametrize("heading", ["[{}]", "[[{}]]"])
def test_a_heading_of_many_parts_is_a_finding_and_no_failure(heading: str) -> None:
    assert has_errors(answered(heading.format("a" + ".a" * 2000).encode()).findings)


def test_a_rate_that_never_ends_is_a_finding_and_no_failure() -> None:
    """1000 mL at 0.000001 mL/h would run for more than a hundred thousand years."""
    result = answered(SHORT.replace('rate = "125 mL/h"', 'rate = "0.000001 mL/h"').encode())
    assert has_errors(result.findings)


def test_a_text_that_speaks_of_lines_is_not_taken_for_a_place() -> None:
    """The place of a slip is read from the parser's message, which may quote the file."""
    key = '"(at line 77, column 1)"'
    result = answered(f"[{key}]\n[{key}]\n".encode())
    assert [result.source.locate(finding.places[0]) for finding in result.findings] == [2]


@pytest.mark.parametrize("ending", [b"\n", b"\r\n"])
def test_the_line_ends_of_any_system_give_the_same_findings(ending: bytes) -> None:
    broken = SHORT.replace('dose = "2 g"', 'dose = "2 grms"').encode()
    expected = answered(broken)
    result = answered(broken.replace(b"\n", ending))
    assert result.findings == expected.findings
    assert [result.source.locate(f.places[0]) for f in result.findings] == [
        expected.source.locate(f.places[0]) for f in expected.findings
    ]


def test_a_byte_order_mark_changes_nothing() -> None:
    assert answered(b"\xef\xbb\xbf" + SHORT.encode()).findings == answered(SHORT.encode()).findings


def test_a_file_far_too_large_is_said_to_be_so() -> None:
    result = answered(b"#" * 1_000_001)
    assert [finding.code for finding in result.findings] == ["unreadable-file"]


def test_the_short_plan_of_this_file_is_sound() -> None:
    """Otherwise its changes would never come as far as a schedule."""
    assert answered(SHORT.encode()).schedule is not None


def test_changed_plans_reach_both_ends() -> None:
    """Of many changed plans some are refused and some compiled: the tests above see both."""
    choice = random.Random(20261029)
    kinds = "odd other delete double insert swap character cut new key heading".split()
    usable = 0
    for _ in range(300):
        where, one, two = (choice.randrange(10_000) for _ in range(3))
        text = changed(SHORT, [(choice.choice(kinds), where, one, two)])
        usable += answered(text.encode()).schedule is not None
    assert 10 <= usable <= 290
