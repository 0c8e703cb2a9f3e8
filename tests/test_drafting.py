"""Writing a plan without its file format: answers to values and back, the draft, shapes of orders, a provider's file."""

import difflib
import random
import tomllib
import uuid
from collections.abc import Iterator
from datetime import date, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reminders.drafting.draft import Draft, DraftError, name_for
from reminders.drafting.entries import NONE, EntryField, entries_of, entry_of, fault_of, raw_of, typed_of
from reminders.drafting.groups import SECTIONS, applies, asked_first, asked_more
from reminders.drafting.look import look
from reminders.drafting.provider import ProviderError, fill_from, provider_keys
from reminders.drafting.shapes import SHAPES, begin, shape_of
from reminders.findings import KeyPath
from reminders.plan.forms import Entry, UnreadableError
from reminders.plan.model import LISTED_TABLES, NAMED_TABLES, TABLES
from reminders.plan.order import TIMINGS
from reminders.plan.read import read_plan
from reminders.times import Instant

SAMPLES = sorted((Path(__file__).parent.parent / "sample_plans").glob("*.toml"))
THREE = next(path for path in SAMPLES if path.stem == "three-lumens")
PROTOCOL = THREE.parent / "protocols" / "fennimore-vale.toml"
BROKEN = sorted((THREE.parent / "broken").glob("*.toml"))
HOME = ZoneInfo("America/Chicago")
ID = uuid.UUID("5b0f6a3e-8f1c-4c57-9a64-2f6f0c7b1d21")
NOW = Instant(29_863_500)
"""2026-10-12 in the morning, when the sample with three lumens begins."""

ENTRIES = [entry for table in TABLES for entry in entries_of(table)]
named = pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)


def stated(values: dict[str, Any]) -> Iterator[tuple[KeyPath, EntryField, Any]]:
    """Yield every key that a plan's values state."""
    for table, held in values.items():
        places: list[tuple[KeyPath, Any]]
        if table in NAMED_TABLES:
            places = [((table, name), inner) for name, inner in held.items()]
        elif table in LISTED_TABLES:
            places = [((table, str(count)), inner) for count, inner in enumerate(held, start=1)]
        else:
            places = [((table,), held)]
        for place, inner in places:
            for key, raw in inner.items():
                entry = entry_of(table, key)
                assert entry is not None, f"{place} {key}"
                yield (*place, key), entry, raw


def changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    """Return the lines that are gone and those that are new."""
    told = list(difflib.ndiff(before.splitlines(), after.splitlines()))
    return [line[2:] for line in told if line[0] == "-"], [line[2:] for line in told if line[0] == "+"]


# -- questions


def test_every_key_is_asked_once_and_every_table_in_one_section() -> None:
    tables = [table for section in SECTIONS for table in section.tables]
    assert sorted([*tables, "read_back"]) == sorted(TABLES)  # reading back is asked at the end, apart
    for table in tables:
        asked = [entry.key for entry in (*asked_first(table), *asked_more(table))]
        wanted = [entry.key for entry in entries_of(table) if (table, entry.key) != ("plan", "id")]
        assert sorted(asked) == sorted(wanted)


def test_questions_are_in_plain_words() -> None:
    for entry in ENTRIES:
        assert entry.label and entry.meaning and entry.hint
        assert not set("[]_`") & set(entry.label + entry.meaning + entry.hint), entry
        assert not {"true", "false"} & set(entry.meaning.split()), entry


def test_labels_tell_the_questions_of_a_table_apart() -> None:
    for table in TABLES:
        labels = [entry.label for entry in entries_of(table)]
        assert len(set(labels)) == len(labels)


def test_what_is_needed_is_what_a_plan_is_refused_without() -> None:
    for entry in entries_of("line"):
        draft = Draft.of(THREE.read_text())
        draft.remove(("line", entry.key))
        missing = any(f.finding.code == "missing" for f in look(draft, NOW).findings if f.path == ("line", entry.key))
        assert missing == entry.needed, entry.key


# -- answers to values and back


@named
def test_what_is_shown_can_be_typed_again(sample: Path) -> None:
    for path, entry, raw in stated(tomllib.loads(sample.read_text())):
        again = raw_of(entry.form, typed_of(entry.form, raw))
        assert entry.form.read(again, HOME) == entry.form.read(raw, HOME), path
        assert again == (raw if entry.kind is not Entry.LIST or isinstance(raw, list) else [raw]), path


@pytest.mark.parametrize(
    ("table", "key", "typed", "raw"),
    [
        ("line", "valved", "No", False),
        ("line", "valved", "y", True),
        ("line", "kind", "picc", "PICC"),
        ("line", "placed_on", "2026-10-08", date(2026, 10, 8)),
        ("plan", "start", "2026-10-12T08:00", "2026-10-12 08:00"),
        ("plan", "start", " 2026-10-12  8:00 ", "2026-10-12 08:00"),
        ("plan", "start", "2026-11-01 01:30-06:00", "2026-11-01 01:30-06:00"),
        ("plan", "revision", "2", 2),
        ("line", "allergies", "none", []),
        ("line", "allergies", '"none"', ["none"]),
        ("line", "allergies", "penicillin, latex", ["penicillin", "latex"]),
        ("line", "allergies", "penicillin\nsulfa, all of them", ["penicillin", "sulfa, all of them"]),
        ("line", "allergies", '"sulfa, all of them"', ["sulfa, all of them"]),
        ("line", "allergies", 'tape 2" wide', ['tape 2" wide']),
        ("order", "clock_times", "08:00\n14:00, 20:00", ["08:00", "14:00", "20:00"]),
        ("order", "weekdays", "mon, thu", ["Mon", "Thu"]),
        ("order", "before", "saline, saline 20 mL", ["saline", "saline 20 mL"]),
        ("task", "only_doses", "1, 4", [1, 4]),
        ("task", "not_on", "2026-12-25", [date(2026, 12, 25)]),
        ("supplies", "each_touch", "pair of gloves = 1, cap = 2", {"pair of gloves": 1, "cap": 2}),
        ("supplies", "each_touch", "set, with filter = 1\ncap=2", {"set, with filter": 1, "cap": 2}),
        ("order", "note", "one\n two", "one two"),
        ("order", "note", "   ", None),
    ],
)
def test_answers_become_the_values_that_are_meant(table: str, key: str, typed: str, raw: Any) -> None:
    entry = entry_of(table, key)
    assert entry is not None
    found = raw_of(entry.form, typed)
    assert found == raw and type(found) is type(raw)


@pytest.mark.parametrize(
    ("table", "key", "typed", "expected"),
    [
        ("line", "valved", "perhaps", "yes or no"),
        ("line", "kind", "pick", "PICC"),
        ("line", "placed_on", "8 October", "2026-10-26"),
        ("line", "placed_on", "2026-02-30", "2026-10-26"),
        ("plan", "start", "2026-10-12", "date and time"),
        ("plan", "zone", "CST", "America/Chicago"),
        ("plan", "revision", "second", "a whole number from 1 to 9999"),
        ("plan", "revision", "0", "a whole number"),
        ("line", "idle_limit", "12", "a number with its unit"),
        ("line", "idle_limit", "12 mL", "a number with its unit"),
        ("order", "dose", "1.0 mg", "a number with its unit"),
        ("order", "dose", "5000 U", "a number with its unit"),
        ("order", "clock_times", "8 am", "a time of day"),
        ("order", "clock_times", "none", "a time of day"),
        ("order", "rate_steps", "50 for an hour", "such as 100 mL/h"),
        ("order", "rate_steps", "50 mL/h", "50 mL/h for 1 h"),
        ("supplies", "each_touch", "gloves", "hub scrub = 1"),
        ("supplies", "each_touch", "gloves = 0", "hub scrub = 1"),
        ("order", "drug", "x" * 61, "at most 60 characters"),
        ("order", "drug", "a\\b", "without backslashes"),
        ("order", "drug", "", "a short text"),
        ("order", "drug", "-", "letters or digits"),
        ("line", "allergies", "-", "an allergy"),
    ],
)
def test_a_wrong_answer_is_told_at_once_and_kept_as_it_was_typed(
    table: str, key: str, typed: str, expected: str
) -> None:
    entry = entry_of(table, key)
    assert entry is not None
    fault = fault_of(entry, typed, HOME)
    assert fault is not None
    assert expected in fault.expected and not set('`"') & set(fault.expected)
    assert "quotation marks" not in fault.expected
    draft = Draft.of(THREE.read_text())
    path = (table, *(("piperacillin",) if table == "order" else ()), key)
    draft.enter(path, typed)
    assert draft.typed(path).split() == typed.split()  # nothing is lost
    if typed != NONE:
        errors = [placed for placed in look(draft, NOW).findings if placed.finding.severity == 0]
        assert path in [placed.path for placed in errors]  # and the plan's findings name it


@pytest.mark.parametrize(
    ("table", "key", "typed", "told"),
    [
        ("order", "dose", "\uff11\uff12\uff15\uff10 mg", "the digits 0 to 9"),
        (
            "order",
            "dose",
            "1,250 mg",
            'Leave out the comma: "1250 mg", or if decimals follow it, write a point: "1.25 mg".',
        ),
        ("order", "dose", "1,250,000 units", 'Leave out the comma: "1250000 units".'),
        ("order", "dose", "1,5 g", 'Write decimals with a point: "1.5 g".'),
        ("order", "dose", "1 250 mg", 'Leave the gap out: "1250 mg".'),
        ("order", "dose", "1\u202f250\u00a0mg", 'Leave the gap out: "1250 mg".'),
        ("order", "dose", "1250 \u03bcg", 'Write "mcg"'),
        ("order", "dose", "1250 \u00b5g", 'Write "mcg"'),
        ("order", "dose", ".5 g", 'Write a zero there: "0.5 g".'),
        ("order", "dose", "500", 'Write the unit after the number, such as "500 mg".'),
        ("order", "dose", "5000 U", 'Write "units" in full: U is misread as a zero.'),
        ("order", "dose", "5000 IU", 'Write "units" in full: IU is misread'),
        ("fluid", "strength", "100 U/mL", 'Write "units/mL" in full'),
        ("order", "duration", "30", "Minutes, hours or days?"),
        ("order", "duration", "15-30 min", "more than one amount"),
        ("order", "duration", "15\u201330 min", "more than one amount"),
        ("order", "doses", "28 doses", "Write the number alone: 28."),
        ("order", "clock_times", "8am", "Did you mean 08:00?"),
        ("order", "clock_times", "08:00, 8 p.m.", "Did you mean 20:00?"),
        ("order", "clock_times", "0800", "Did you mean 08:00?"),
        ("order", "clock_times", "08:00 and 20:00", "Did you mean 08:00, 20:00?"),
        ("task", "at", "noon", "Did you mean 12:00?"),
        ("household", "quiet_hours", "10pm-6am", "Did you mean 22:00-06:00?"),
        ("household", "quiet_hours", "22:00 to 06:00", "Did you mean 22:00-06:00?"),
        ("call", "phone", "see sheet", "Write the number that is dialled."),
        ("line", "allergies", "", 'Write "none" if there is none.'),
    ],
)
def test_a_slip_is_told_with_how_it_is_written_and_nothing_is_read_out_of_it(
    table: str, key: str, typed: str, told: str
) -> None:
    entry = entry_of(table, key)
    assert entry is not None
    fault = fault_of(entry, typed, HOME)
    assert fault is not None and told in fault.problem, fault


@pytest.mark.parametrize("typed", ["8", "25:00", "8 h", "12 pm and", "13 pm", "morning"])
def test_what_may_be_anything_is_not_guessed_at(typed: str) -> None:
    entry = entry_of("task", "at")
    assert entry is not None
    fault = fault_of(entry, typed, HOME)
    assert fault is not None and "mean" not in fault.problem


@pytest.mark.parametrize(
    ("table", "key", "typed", "raw"),
    [
        ("order", "dose", "1250\u00a0mg", "1250 mg"),
        ("order", "dose", "12\u200b50 mg\ufeff", "1250 mg"),
        ("household", "quiet_hours", "22:00\u202f\u2013\u202f06:00", ["22:00 \u2013 06:00"]),
        ("lumen", "label", "\u200bred\u00a0", "red"),
    ],
)
def test_what_a_word_processor_leaves_is_no_fault(table: str, key: str, typed: str, raw: Any) -> None:
    entry = entry_of(table, key)
    assert entry is not None
    assert fault_of(entry, typed, HOME) is None and raw_of(entry.form, typed) == raw


def test_a_moment_is_no_fault_while_the_zone_is_not_known() -> None:
    entry = entry_of("plan", "start")
    assert entry is not None
    assert fault_of(entry, "2026-10-12 08:00", None) is None


@pytest.mark.parametrize("typed", [",", " , ", ",,", '""', '"", ""', ",\n,"])
@pytest.mark.parametrize(("table", "key"), [("line", "allergies"), ("supplies", "each_touch")])
def test_marks_with_nothing_between_them_are_no_answer_and_not_the_answer_none(
    table: str, key: str, typed: str
) -> None:
    entry = entry_of(table, key)
    assert entry is not None
    assert raw_of(entry.form, typed) in (None, " ".join(typed.split()))
    assert fault_of(entry, typed, HOME) is not None or raw_of(entry.form, typed) is None


def test_an_item_without_its_number_does_not_become_part_of_the_next_items_name() -> None:
    entry = entry_of("supplies", "each_touch")
    assert entry is not None
    raw = raw_of(entry.form, "gloves\nhub scrub = 1")
    assert typed_of(entry.form, raw) == "gloves\nhub scrub = 1"
    assert fault_of(entry, typed_of(entry.form, raw), HOME) is not None


TYPED = st.one_of(
    st.text(max_size=30),
    st.text(alphabet='abc ,"=\n1:-.', max_size=30),
    st.sampled_from(["yes", "none", "12 h", "2026-10-12 08:00", "a = 1", '"x, y"', "08:00, 20:00", "saline 20 mL"]),
)


@settings(max_examples=500)
@given(st.sampled_from(ENTRIES), TYPED)
def test_whatever_is_typed_is_taken_and_shown_as_what_it_was_taken_for(entry: EntryField, typed: str) -> None:
    raw = raw_of(entry.form, typed)
    assert raw_of(entry.form, typed_of(entry.form, raw)) == raw
    fault_of(entry, typed, HOME)


@settings(max_examples=200)
@given(st.lists(st.text(alphabet='ab ,"x', min_size=1, max_size=8).filter(lambda text: text == " ".join(text.split()))))
def test_lists_of_any_words_can_be_typed_again(words: list[str]) -> None:
    entry = entry_of("line", "allergies")
    assert entry is not None
    words = [word for word in words if word.strip(" ,")]
    assert raw_of(entry.form, typed_of(entry.form, words)) == words


@settings(max_examples=200)
@given(st.sampled_from(ENTRIES), st.data())
def test_every_form_reads_what_raw_of_makes_of_a_readable_value(entry: EntryField, data: st.DataObject) -> None:
    """The values are those of the samples, put where they may not belong."""
    raw = data.draw(st.sampled_from(VALUES))
    try:
        meant = entry.form.read(raw, HOME)
    except (UnreadableError, TypeError):
        return
    assert entry.form.read(raw_of(entry.form, typed_of(entry.form, raw)), HOME) == meant


VALUES = [raw for sample in SAMPLES for _path, _entry, raw in stated(tomllib.loads(sample.read_text()))]
VALUES += [True, 0, 7, time(8, 30), date(2026, 1, 1), "saline 5 mL", ["saline"], {"cap": 3}]


# -- the draft


@named
def test_one_changed_value_is_one_changed_line(sample: Path) -> None:
    text = sample.read_text()
    draft = Draft.of(text)
    assert draft.text() == text
    for path, _entry, _raw in list(stated(draft.values)):
        draft.enter(path, draft.typed(path))
        assert draft.text() == text  # the same again is no change
        draft.enter(path, "changed")
        gone, new = changed_lines(text, draft.text())
        assert len(gone) == len(new) == 1 and "changed" in new[0], path
        draft.restore(text)


@named
def test_a_key_that_is_taken_out_leaves_everything_else(sample: Path) -> None:
    text = sample.read_text()
    draft = Draft.of(text)
    for path, _entry, _raw in list(stated(draft.values)):
        draft.enter(path, "")
        gone, new = changed_lines(text, draft.text())
        assert len(gone) == 1 and not new and not draft.has(path)
        draft.restore(text)


@named
@pytest.mark.parametrize("seed", [1, 2])
def test_a_sample_entered_key_by_key_in_any_order_means_the_same(sample: Path, seed: int) -> None:
    wanted = tomllib.loads(sample.read_text())
    answers = [(path, typed_of(entry.form, raw)) for path, entry, raw in stated(wanted)]
    random.Random(seed).shuffle(answers)
    draft = Draft.new(ID)
    for count in range(len(wanted.get("zone_change", []))):
        assert draft.add_listed("zone_change") == str(count + 1)
    for path, typed in answers:
        draft.enter(path, typed)
    found, meant = read_plan("new", draft.text().encode()).plan, read_plan("old", sample.read_bytes()).plan
    assert found == meant
    lines = draft.text().splitlines()
    headings = [line.strip("[]").partition(".")[0] for line in lines if line.startswith("[")]
    assert sorted(headings, key=list(TABLES).index) == headings  # in the order in which tables are documented
    for count, line in enumerate(lines):
        if line.startswith("["):
            above = lines[count - 1]
            first = headings.index(line.strip("[]").partition(".")[0]) == [
                at for at, other in enumerate(lines) if other.startswith("[")
            ].index(count)
            assert above.startswith("# ") if first else not above
    assert draft.text().endswith("\n") and "\n\n\n" not in draft.text()


REMARKED = """# above everything
[plan] # the plan
id = "5b0f6a3e-8f1c-4c57-9a64-2f6f0c7b1d21"   # made once
revision=1
note = '''
# no remark
[line]
'''

# about the line
[line]
kind   =   'PICC'  # as the card says
allergies = [
  "penicillin", # a rash in 1998
  # and, perhaps
  "latex",
]

# red first
[lumen.red]
label = "red"
[lumen."blue"]
label = "blue" # the thin one

[supplies]
each_touch = { "gloves" = 1, "cap" = 2 }

[order.a]
drug = "one"
lumen = "red"
clock_times = ["08:00"]
# below the times

[order.a.each_dose]
# what one dose uses
"bag" = 1
set = 2 # with filter

[order.b]
drug = "two"
lumen = "blue"
follows = "a"
runs_with = ["a"]
# the end"""
"""An invented file by somebody with habits of their own."""


def remarks(text: str) -> list[str]:
    """Return every remark of a text, wherever it stands."""
    return [line.partition("#")[2] for line in text.splitlines() if "#" in line]


@pytest.mark.parametrize(
    ("path", "typed", "line"),
    [
        (("plan", "revision"), "2", "revision=2"),
        (("line", "kind"), "midline", 'kind   =   "midline"  # as the card says'),
        (("line", "valved"), "yes", "valved = true"),
        (("line", "allergies"), "penicillin\nlatex\nnickel", '  "nickel",'),
        (("lumen", "blue", "label"), "sky", 'label = "sky" # the thin one'),
        (("lumen", "blue", "last_flushed"), "2026-10-12 07:00", 'last_flushed = "2026-10-12 07:00"'),
        (("supplies", "each_touch"), "gloves = 1", 'each_touch = { "gloves" = 1 }'),
        (("order", "a", "each_dose"), "bag = 1\nset = 3\ncap = 1", "set = 3 # with filter"),
        (("order", "a", "every"), "8 h", 'every = "8 h"'),
        (("order", "b", "runs_with"), "", ""),
        (("protocol", "provider"), "Fennimore Vale", "[protocol]"),
        (("read_back", "by"), "Ines Marlow", 'by = "Ines Marlow"'),
    ],
)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_remarks_and_habits_stay(path: KeyPath, typed: str, line: str, newline: str) -> None:
    text = REMARKED.replace("\n", newline)
    draft = Draft.of(text)
    draft.enter(path, typed)
    after = draft.text()
    assert draft.typed(path) == typed
    assert (newline == "\r\n") == ("\r\n" in after) and after.count("\r") == (after.count("\n") if "\r" in after else 0)
    assert line in after.replace("\r\n", "\n").split("\n") if line else True
    kept = remarks(after)
    assert [remark for remark in remarks(text) if remark not in kept] == []
    values, wanted = tomllib.loads(after), tomllib.loads(text)
    for other, _entry, raw in stated(wanted):
        if other != path:
            found: Any = values
            for step in other:
                found = found[step]
            assert found == raw


def test_an_entry_taken_out_of_a_list_takes_its_own_remark_along_and_no_other() -> None:
    draft = Draft.of(REMARKED)
    draft.enter(("line", "allergies"), "penicillin")
    assert '"penicillin", # a rash in 1998' in draft.text() and "latex" not in draft.text()


def test_a_table_taken_out_leaves_its_neighbours_and_their_remarks() -> None:
    draft = Draft.of(REMARKED)
    draft.remove(("order", "a"))
    assert draft.names("order") == ("b",)
    assert "# the end" in draft.text() and "bag" not in draft.text()
    draft.remove(("lumen", "red"))
    assert "# red first" in draft.text() and draft.names("lumen") == ("blue",)
    draft.remove(("lumen", "blue"))
    draft.remove(("lumen", "blue"))  # gone already
    assert not draft.has(("lumen",))


def test_tables_written_inside_a_line_can_be_changed_too() -> None:
    draft = Draft.of(
        'lumen = { red = { label = "red" }, blue = { label = "blue" } }\nzone_change = [{ zone = "UTC" }]\n'
    )
    draft.enter(("lumen", "red", "label"), "rose")
    draft.enter(("lumen", "red", "last_flushed"), "2026-10-12 07:00")
    draft.enter(("zone_change", "1", "at"), "2026-10-12 07:00")
    draft.remove(("lumen", "blue"))
    assert draft.values == {
        "lumen": {"red": {"label": "rose", "last_flushed": "2026-10-12 07:00"}},
        "zone_change": [{"zone": "UTC", "at": "2026-10-12 07:00"}],
    }


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("order = 5\n", ("order", "a", "drug")),
        ("[[zone_change]]\n", ("zone_change", "3", "at")),
        ("order = { a = { drug = 'x' } }\n", ("order", "b", "drug")),
        ("[order]\na = 3\n", ("order", "a", "drug")),
        ("zone_change = 3\n", ("zone_change", "1", "at")),
        ("line = []\n", ("line", "kind")),
    ],
)
def test_what_cannot_be_changed_by_itself_is_told_and_left(text: str, path: KeyPath) -> None:
    draft = Draft.of(text)
    with pytest.raises(DraftError, match=r"[a-z]"):
        draft.enter(path, "x")
    assert draft.text() == text


@pytest.mark.parametrize(
    ("table", "name"),
    [("order", "two words"), ("order", ""), ("order", "x" * 41), ("order", "ü"), ("call", "later"), ("line", "x")],
)
def test_a_name_that_cannot_be_one_is_told(table: str, name: str) -> None:
    draft = Draft.of(THREE.read_text())
    with pytest.raises(DraftError):
        draft.add(table, name)
    assert draft.text() == THREE.read_text()


def test_a_name_is_taken_once_also_across_fluids_and_steps() -> None:
    draft = Draft.of(THREE.read_text())
    for table, name in [("lumen", "red"), ("fluid", "heparin"), ("step", "saline")]:
        with pytest.raises(DraftError, match="already"):
            draft.add(table, name)
    with pytest.raises(DraftError, match="already"):
        draft.rename("fluid", "saline", "heparin")
    with pytest.raises(DraftError, match='no "green"'):
        draft.rename("lumen", "green", "lime")


@pytest.mark.parametrize("path", [("line", "colour"), ("nowhere", "x"), ("order", "a"), ("order", "a", "drug", "x")])
def test_a_key_that_plans_do_not_have_is_told(path: KeyPath) -> None:
    with pytest.raises(DraftError):
        Draft.of(THREE.read_text()).enter(path, "x")


@named
def test_whatever_names_a_table_follows_its_new_name(sample: Path) -> None:
    text = sample.read_text()
    before = look(Draft.of(text), NOW)
    draft = Draft.of(text)
    for table in ("lumen", "fluid", "step", "order", "task"):
        for name in draft.names(table):
            draft.rename(table, name, f"{name}-2")
    after = look(draft, NOW)
    assert after.plan is not None and before.plan is not None
    assert [p.finding.code for p in after.findings] == [p.finding.code for p in before.findings]
    assert [touch.at for touch in after.schedule.touches] == [touch.at for touch in before.schedule.touches]  # type: ignore[union-attr]
    for table in ("lumen", "fluid", "step", "order", "task"):
        for name in draft.names(table):
            draft.rename(table, name, name.removesuffix("-2"))
    assert draft.text() == text


def test_a_fluid_with_a_volume_follows_a_new_name() -> None:
    draft = Draft.of(THREE.read_text())
    draft.rename("fluid", "saline", "salt-water")
    assert draft.raw(("protocol", "after_nutrition")) == ["salt-water 20 mL"]
    assert draft.raw(("protocol", "flush")) == "salt-water"


def test_what_is_no_toml_is_not_opened_and_its_lines_are_told() -> None:
    with pytest.raises(DraftError) as told:
        Draft.of(BROKEN[-2].read_text() if BROKEN[-2].stem == "syntax-slips" else "x = \n")
    assert told.value.findings and told.value.source is not None
    assert all(told.value.source.locate(finding.places[0]) for finding in told.value.findings)


@pytest.mark.parametrize("broken", [path for path in BROKEN if path.stem != "syntax-slips"], ids=lambda path: path.stem)
def test_a_broken_plan_can_be_opened_and_its_findings_point_at_questions(broken: Path) -> None:
    draft = Draft.of(broken.read_text())
    found = look(draft, NOW)
    assert found.findings and (found.plan is None) == any(placed.finding.severity == 0 for placed in found.findings)
    for placed in found.findings:
        if placed.path is not None:
            assert placed.path[0] in TABLES
            place = 2 if placed.path[0] in NAMED_TABLES | LISTED_TABLES else 1
            assert len(placed.path) <= place or entry_of(placed.path[0], placed.path[-1]) is not None
    assert any(placed.path is not None for placed in found.findings)


def test_mending_what_the_findings_name_makes_a_plan() -> None:
    draft = Draft.of(THREE.read_text())
    draft.enter(("order", "piperacillin", "dose"), "4 grammes")
    draft.enter(("line", "lock"), "heparine")
    draft.remove(("order", "piperacillin", "least_spacing"))
    paths = {placed.path for placed in look(draft, NOW).findings if placed.finding.severity == 0}
    assert paths == {("order", "piperacillin", "dose"), ("line", "lock"), ("order", "piperacillin", "least_spacing")}
    for path, typed in zip(sorted(p for p in paths if p), ["heparin", "4 g", "6 h"], strict=True):
        draft.enter(path, typed)
    assert look(draft, NOW).plan == read_plan("x", THREE.read_bytes()).plan


@settings(max_examples=25)
@given(st.lists(st.tuples(st.sampled_from(ENTRIES), TYPED), max_size=6), st.integers(0, 3))
def test_any_answers_leave_a_file_that_says_them(answers: list[tuple[EntryField, str]], which: int) -> None:
    texts = [REMARKED, THREE.read_text(), Draft.new(ID).text(), BROKEN[0].read_text()]
    draft = Draft.of(texts[which])
    before = remarks(draft.text())
    for entry, typed in answers:
        place = (
            (entry.table, "emergency" if entry.table == "call" else "a")
            if entry.table in NAMED_TABLES
            else (entry.table,)
        )
        if entry.table in LISTED_TABLES:
            place = (entry.table, draft.add_listed(entry.table))
        as_it_was = draft.text()
        try:
            draft.enter((*place, entry.key), typed)
        except DraftError:  # a table of its own, where a list of items is typed: told, and nothing is changed
            assert draft.text() == as_it_was
            assert entry.form.entry is Entry.COUNTS
            continue
        assert draft.raw((*place, entry.key)) == raw_of(entry.form, typed)
    assert tomllib.loads(draft.text()) == draft.values
    own = remarks(draft.text())
    # At most the remark at the end of a line that was taken out, or those of a table of items.
    lost = sum(2 if entry.form.entry is Entry.COUNTS else 1 for entry, _typed in answers)
    assert len(own) >= len(before) - lost


ODDITIES = (
    "[order]", "a.drug = 'x'", "order.b.drug = 'y'", "lumen = {red = {label='x'}, blue={}}", "[[zone_change]]",
    "[order.a.each_dose]", "x = 2026-10-08 08:00:00", "supplies.each_touch.gloves = 1", "[supplies.each_touch]",
    "allergies = [ # c\n 'a', 'b', # d\n]", "t = '''\n[a]\n#'''", "  [ line ]  # odd", "\"line\".kind = 'PICC'",
    "[ order . 'a b' ]", "[[order]]", "zone_change = [{at='x'},{}]", "call.now = 3", "fluid = []",
    'kind = """\\\n  PICC"""', "each_dose = { a = 1, 'b c' = 2 }", 'before = ["saline",\n\n  # x\n  "saline 20 mL"  ,\n]',
)  # fmt: skip
"""Lines that TOML allows, or allows in some places, and hardly anybody writes."""


@pytest.mark.parametrize("seed", range(4))
def test_however_a_file_is_written_a_change_is_made_whole_or_told_and_not_made(seed: int) -> None:
    chance = random.Random(seed)
    opened = 0
    for _round in range(60):
        lines = chance.choice([REMARKED, THREE.read_text(), BROKEN[0].read_text()]).split("\n")
        for _line in range(chance.randrange(4)):
            lines.insert(chance.randrange(len(lines) + 1), chance.choice(ODDITIES))
        try:
            draft = Draft.of("\n".join(lines))
        except DraftError:
            continue
        opened += 1
        for _change in range(4):
            before = draft.text()
            entry = chance.choice(ENTRIES)
            place: KeyPath = (entry.table,)
            if entry.table in NAMED_TABLES | LISTED_TABLES:
                place = (entry.table, chance.choice([*draft.names(entry.table), "a", "1"]))
            typed = chance.choice(["x", "yes", "none", "a, b", "a\nb\nc", "gloves = 1, caps = 2", "12 h", ""])
            try:
                draft.enter((*place, entry.key), typed)
            except DraftError:
                assert draft.text() == before
                continue
            assert draft.raw((*place, entry.key)) == raw_of(entry.form, typed)
            assert tomllib.loads(draft.text()) == draft.values
    assert opened > 20


def test_a_mark_that_an_editor_put_before_the_text_is_no_matter() -> None:
    assert Draft.of("\ufeff" + THREE.read_text()).text() == THREE.read_text()


@pytest.mark.parametrize(
    ("called", "name"),
    [
        ("Red one", "red-one"),
        ("Ärmel (links)", "armel-links"),
        ("  ", "unnamed"),
        ("x" * 60, "x" * 36),
        ("red", "red-3"),
    ],
)
def test_a_short_name_is_made_of_what_something_is_called(called: str, name: str) -> None:
    assert name_for(called, ("red", "red-2")) == name


def test_items_that_were_named_are_offered() -> None:
    items = Draft.of(THREE.read_text()).items()
    assert {"hub scrub", "saline syringe 10 mL", "nutrition bag 2000 mL"} <= set(items)
    assert len(set(items)) == len(items)


# -- which questions make sense


def test_questions_come_and_go_with_the_answers() -> None:
    draft = Draft.new(ID)
    draft.add("order", "a")
    place = ("order", "a")

    def asked(key: str) -> bool:
        entry = entry_of("order", key)
        assert entry is not None
        return applies(draft, place, entry)

    assert all(asked(key) for key in TIMINGS) and not asked("withdraw_volume")
    draft.enter((*place, "clock_times"), "08:00")
    assert asked("clock_times") and asked("weekdays") and not asked("every") and not asked("moments")
    draft.enter((*place, "flush_through"), "withdraw first")
    assert asked("withdraw_volume")
    draft.enter((*place, "every"), "8 h")  # stated twice, which is an error to be seen
    assert asked("every") and asked("clock_times")


def test_the_drawing_of_blood_is_asked_about_once_a_task_draws_through_a_lumen() -> None:
    draft = Draft.new(ID)
    keys = {entry.key: entry for entry in asked_first("protocol")}
    drawn = [keys["before_draw"], keys["discard_volume"]]
    assert not any(applies(draft, ("protocol",), entry) for entry in drawn)
    draft.add("task", "labs")
    draft.enter(("task", "labs", "lumen"), "red")
    assert all(applies(draft, ("protocol",), entry) for entry in drawn)


def test_tasks_are_tied_to_others_once_there_are_others() -> None:
    draft = Draft.new(ID)
    draft.add("task", "labs")
    keys = {entry.key: entry for entry in asked_first("task")}
    assert not applies(draft, ("task", "labs"), keys["with_tasks"])
    assert not applies(draft, ("task", "labs"), keys["only_doses"])
    draft.add("task", "dressing")
    draft.enter(("task", "labs", "order"), "cefazolin")
    assert applies(draft, ("task", "labs"), keys["with_tasks"])
    assert applies(draft, ("task", "labs"), keys["only_doses"])


def labelled() -> Draft:
    """Return a draft with a syringe and a step of the provider's own, each with a label, and two orders of one drug."""
    draft = Draft.new(ID)
    for table, name, key, label in (
        ("fluid", "saline", "label", "Normal saline"),
        ("step", "pull-back", "label", "Pull back: blood comes"),
        ("order", "morning", "drug", "cefazolin"),
        ("order", "evening", "drug", "cefazolin"),
    ):
        draft.add(table, name)
        draft.enter((table, name, key), label)
    return draft


def test_what_is_called_by_its_label_is_put_down_by_its_name() -> None:
    draft = labelled()
    draft.enter(("protocol", "before"), "pull back: Blood comes, normal saline 20 mL, saline, something else")
    assert draft.raw(("protocol", "before")) == ["pull-back", "saline 20 mL", "saline", "something else"]
    draft.add("task", "labs")
    draft.enter(("task", "labs", "order"), "cefazolin")
    assert draft.raw(("task", "labs", "order")) == "cefazolin", "two are called so"


@pytest.mark.parametrize(
    ("typed", "zone"),
    [
        ("america/chicago", "America/Chicago"),
        ("chicago", "America/Chicago"),
        ("Central", "America/Chicago"),
        ("new york", "America/New_York"),
        ("America/Chcago", "America/Chicago"),
        ("CST", ""),
        ("xyzzy", ""),
    ],
)
def test_a_zone_that_is_not_known_is_answered_with_near_ones(typed: str, zone: str) -> None:
    entry = entry_of("plan", "zone")
    assert entry is not None
    fault = fault_of(entry, typed, None)
    assert fault is not None
    assert ("Write it as " in fault.problem and zone in fault.problem) if zone else "Write it" not in fault.problem


def test_moments_in_a_list_need_no_zone_to_be_well_written() -> None:
    entry = entry_of("order", "moments")
    assert entry is not None
    assert fault_of(entry, "2026-10-12 09:00, 2026-10-26 09:00", None) is None
    fault = fault_of(entry, "2026-10-12 09:00, soon", None)
    assert fault is not None and "soon" in fault.problem


@named
def test_every_answer_of_a_sample_is_asked_for(sample: Path) -> None:
    draft = Draft.of(sample.read_text())
    for path, entry, _raw in stated(draft.values):
        assert applies(draft, path[:-1], entry)


# -- shapes


CLINICAL = {"drug", "kind", "dose", "lumen", "clock_times", "volume", "rate", "rate_steps", "rate_limit", "first_dose"}


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.key)
def test_a_shape_states_only_what_its_name_says(shape: Any) -> None:
    assert not CLINICAL & set(shape.states)
    assert set(shape.states) <= {"every", "continuous", "as_needed", "given_as", "duration"}
    for typed in shape.states.values():
        if typed[0].isdigit():
            assert typed.removesuffix(" h") in shape.label
    draft = Draft.of(THREE.read_text())
    begin(draft, "new", shape)
    assert {key: draft.typed(("order", "new", key)) for key in shape.states} == shape.states
    assert set(draft.values["order"]["new"]) == set(shape.states)
    keys = [entry.key for entry in (*shape.questions(), *shape.more())]
    assert {*keys, *shape.states} == {entry.key for entry in entries_of("order")} and len(set(keys)) == len(keys)


def test_each_common_interval_goes_by_the_clock_or_by_hours_and_says_which() -> None:
    """R2: an order says whether it goes by the clock or by elapsed time."""
    for hours, times in ((24, 1), (12, 2), (8, 3), (6, 4)):
        found = [shape for shape in SHAPES if f"q{hours}h" in shape.label]
        assert [(shape.times, dict(shape.states)) for shape in found] == [(times, {}), (0, {"every": f"{hours} h"})]


@pytest.mark.parametrize(
    ("sample", "shapes"),
    [
        ("three-lumens", {"nutrition": "cyclic", "piperacillin": "every-8-h"}),
        ("ambulatory-46-hours", {"fluorouracil": "46-h"}),
        ("two-lumens-continuous", {"milrinone": "continuous", "metronidazole": "twice"}),
        ("saline-locked-valved", {"daptomycin": "push"}),
        ("open-ended-year", {"nutrition": "cyclic", "fat": "other", "fluid": "as-needed"}),
    ],
)
def test_the_shape_of_an_order_is_known_again(sample: str, shapes: dict[str, str]) -> None:
    draft = Draft.of((THREE.parent / f"{sample}.toml").read_text())
    assert {name: shape_of(draft, name).key for name in draft.names("order")} == shapes


# -- a provider's file


def test_a_providers_file_fills_the_providers_part_and_nothing_else() -> None:
    draft = Draft.new(ID)
    filled = fill_from(draft, PROTOCOL.read_text())
    assert not filled.differs and not filled.same
    theirs = tomllib.loads(PROTOCOL.read_text())
    assert {name: held for name, held in draft.values.items() if name != "plan"} == theirs
    assert set(draft.values["plan"]) == {"id", "revision"}
    again = fill_from(draft, PROTOCOL.read_text())
    assert not again.copied and set(again.same) == set(filled.copied)


def test_the_sample_plan_says_what_the_providers_file_says() -> None:
    assert not fill_from(Draft.of(THREE.read_text()), PROTOCOL.read_text()).differs


def test_what_the_plan_states_otherwise_stays_until_it_is_said() -> None:
    draft = Draft.of(THREE.read_text())
    draft.enter(("fluid", "heparin", "strength"), "100 units/mL")
    text = draft.text()
    (differs,) = fill_from(draft, PROTOCOL.read_text()).differs
    assert (differs.here, differs.theirs) == ("100 units/mL", "10 units/mL") and draft.text() == text
    fill_from(draft, PROTOCOL.read_text(), replace=[differs.path])
    assert draft.text() == THREE.read_text()


@pytest.mark.parametrize(
    ("added", "told"),
    [
        ('[order.a]\ndrug = "x"\n', "[order] is not the provider's"),
        ('[plan]\nid = "x"\n', "[plan] is not the provider's"),
        ("[lumen.red]\n", "[lumen] is not the provider's"),
        ('[task.dressing]\nlast_done = "2026-10-01 08:00"\n', "no key last_done"),
        ("[fluid.x]\nvolume = 10\n", "fluid.x.volume"),
        ('[fluid."two words"]\n', "plain names"),
        ("[call.later]\n", "plain names"),
        ("step = 3\n", '"step" is not a table'),
        ("[protocol]\n", "rules of TOML"),
        ("x = \n", "rules of TOML"),
    ],
)
def test_a_providers_file_with_anything_else_is_refused_whole(added: str, told: str) -> None:
    text = added + PROTOCOL.read_text() if "=" in added.partition("\n")[0] else PROTOCOL.read_text() + added
    draft = Draft.new(ID)
    before = draft.text()
    with pytest.raises(ProviderError) as error:
        fill_from(draft, text, "theirs.toml")
    assert told in str(error.value) and draft.text() == before
    assert all("line" in problem.lower() for problem in error.value.problems)


def test_everything_wrong_in_a_providers_file_is_told_at_once() -> None:
    with pytest.raises(ProviderError) as error:
        provider_keys('[line]\nallergies = []\nkind = "PICC"\n[order.a]\n[fluid.x]\nvolume = "10"\n')
    assert len(error.value.problems) == 4
    with pytest.raises(ProviderError, match="nothing"):
        provider_keys("")
