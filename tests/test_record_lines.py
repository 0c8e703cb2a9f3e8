"""Facts as text: every fact comes back as it was, and what is no fact is refused in plain words."""

import dataclasses
import json
import random
import time
import uuid
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from record_strategies import FIRST, FULL, LAST, NOW, fact, facts, identity, records

from reminders.record.facts import FIELDS, Fact, Kind, Record, Shown, Sign
from reminders.record.lines import MOST_SHOWN, ExportError, LineError, export, fact_of, line_of, read_export
from reminders.times import Instant

PLAN_ID = uuid.UUID("7d1f0b9e-3c52-4f0a-9a3e-5b8f2f6c1d20")
HEADER = f'{{"record":"reminders record 1","plan":"{PLAN_ID}"}}'


def flushed(**changes: Any) -> str:
    """Return the line of a flush, with some of its values changed or, where they are None, taken out."""
    values: dict[str, Any] = {
        "key": "r-0",
        "report": "r",
        "kind": "flushed",
        "happened": "2026-10-26T14:40Z",
        "entered": "2026-10-26T14:45Z",
        "lumen": "red",
    }
    values |= changes
    return json.dumps({name: value for name, value in values.items() if value is not None})


def published(entry: object) -> str:
    """Return the line of a published calendar that showed one event in a given way."""
    return flushed(kind="calendar published", lumen=None, target="a.ics", shown={"u": entry})


# --- Round trips ---


@pytest.mark.parametrize("full", [True, False], ids=["all its fields", "only what it needs"])
@pytest.mark.parametrize("kind", Kind, ids=lambda kind: kind.name)
def test_a_fact_of_each_kind_comes_back(kind: Kind, full: bool) -> None:
    told = fact(kind, full=full)
    line = line_of(told)
    assert "\n" not in line
    assert fact_of(line) == told
    needed, allowed = FIELDS[kind]
    common = {"key", "report", "kind", "happened", "entered"}
    assert json.loads(line).keys() == common | needed | (allowed | {"by", "note"} if full else set())


@given(facts())
def test_any_fact_comes_back(told: Fact) -> None:
    line = line_of(told)
    assert "\n" not in line
    read = fact_of(line)
    assert read == told
    assert line_of(read) == line


def test_every_field_of_a_fact_can_be_told() -> None:
    """A field that is added to facts must be given a form and a kind."""
    told = {name for kind in Kind for name in json.loads(line_of(fact(kind)))}
    assert told == {each.name for each in dataclasses.fields(Fact)}
    assert set(FULL) == told - {"key", "report", "kind", "happened", "entered"}


LINES = [
    (
        Fact(
            key="r-0",
            report="r",
            kind=Kind.STARTED,
            happened=Instant(29_884_920),
            entered=Instant(29_884_921),
            by="Ana",
            order="cefazolin",
            dose="2026-10-27T05:00",
            elsewhere=True,
        ),
        '{"key":"r-0","report":"r","kind":"started","happened":"2026-10-27T10:00Z","entered":"2026-10-27T10:01Z",'
        '"by":"Ana","order":"cefazolin","dose":"2026-10-27T05:00","elsewhere":true}',
    ),
    (
        Fact(
            key="p-0",
            report="p",
            kind=Kind.PUBLISHED,
            happened=FIRST,
            entered=LAST,
            target="é.ics",
            setting={"to": "b", "from": "a"},
            shown={
                "v": Shown(1, "d", FIRST, LAST, 'a "b"', cancelled=True),
                "u": Shown(0, "c", LAST, FIRST, "Flush"),
            },
            left_out=("x", "w"),
        ),
        '{"key":"p-0","report":"p","kind":"calendar published","happened":"1970-01-01T00:00Z",'
        '"entered":"9999-12-31T23:59Z","target":"é.ics","setting":{"from":"a","to":"b"},'
        '"shown":{"u":[0,"c","9999-12-31T23:59Z","1970-01-01T00:00Z","Flush"],'
        '"v":[1,"d","1970-01-01T00:00Z","9999-12-31T23:59Z","a \\"b\\"",true]},"left_out":["x","w"]}',
    ),
    (
        Fact(key="c-0", report="c", kind=Kind.STOCK_COUNTED, happened=FIRST, entered=FIRST, name="caps", count=0),
        '{"key":"c-0","report":"c","kind":"stock counted","happened":"1970-01-01T00:00Z","entered":"1970-01-01T00:00Z",'
        '"name":"caps","count":0}',
    ),
    (
        Fact(key="s-0", report="s", kind=Kind.PROBLEM, happened=FIRST, entered=FIRST, sign=Sign.WILL_NOT_FLUSH),
        '{"key":"s-0","report":"s","kind":"problem","happened":"1970-01-01T00:00Z","entered":"1970-01-01T00:00Z",'
        '"sign":"will not flush"}',
    ),
]


@pytest.mark.parametrize(("told", "line"), LINES, ids=[told.kind.name for told, _ in LINES])
def test_the_form_is_exactly_this(told: Fact, line: str) -> None:
    """What older releases have written must be read for ever, so the form is pinned here letter by letter."""
    assert line_of(told) == line
    assert fact_of(line) == told


@given(facts(kinds=(Kind.PUBLISHED,)), st.randoms(use_true_random=False))
def test_equal_facts_have_equal_lines(told: Fact, chance: random.Random) -> None:
    """However the parts of a setting, or the events, were put together."""
    events, setting = list(told.shown.items()), list(told.setting.items())
    chance.shuffle(events)
    chance.shuffle(setting)
    other = dataclasses.replace(told, shown=dict(events), setting=dict(setting))
    assert other == told
    assert line_of(other) == line_of(told)


@pytest.mark.parametrize(
    "line",
    [
        json.dumps(dict(reversed(json.loads(flushed()).items()))),
        flushed().replace(",", " ,\t"),
        f"  {flushed()} \r",
        flushed().replace("red", "\\u0072ed"),
        flushed(by="", note="", again=False, fluids=[]),
    ],
    ids=["fields in another order", "blanks between", "blanks around", "escaped letters", "defaults written out"],
)
def test_a_line_written_in_another_way_says_the_same(line: str) -> None:
    assert fact_of(line) == fact_of(flushed())
    assert line_of(fact_of(line)) == (
        '{"key":"r-0","report":"r","kind":"flushed","happened":"2026-10-26T14:40Z","entered":"2026-10-26T14:45Z",'
        '"lumen":"red"}'
    )


def test_an_event_may_say_that_it_is_not_cancelled() -> None:
    brief = [0, "d", "2026-10-26T14:40Z", "2026-10-26T14:40Z", "t"]
    assert fact_of(published([*brief, False])) == fact_of(published(brief))


# --- What is no fact ---

MOMENT = "2026-10-26T14:40Z"
SHOWN = [0, "d", MOMENT, MOMENT, "t"]

REFUSED = {
    "nothing": ("", "not JSON"),
    "blanks": ("  ", "not JSON"),
    "words": ("flushed the red lumen", "not JSON"),
    "cut off": (flushed()[:-9], "not JSON"),
    "more behind": (flushed() + "}", "not JSON"),
    "two facts": (flushed() + flushed(), "not JSON"),
    "a list": ("[]", "the line is a list"),
    "a text": ('"flushed"', 'the line is "flushed"'),
    "a number": ("7", "the line is 7"),
    "null": ("null", "the line is null"),
    "raw tab in a text": (flushed(note="x").replace('"x"', '"a\tb"'), "not JSON"),
    "raw line break in a text": (flushed(note="x").replace('"x"', '"a\nb"'), "not JSON"),
    "very deep lists": ("[" * 100_000, "without end"),
    "a very long number": (flushed(note=1).replace(": 1}", f": {'9' * 5000}}}"), "without end"),
    "no fields": ("{}", "kind is missing"),
    "unknown kind": (flushed(kind="rinsed"), 'kind is "rinsed"'),
    "kind in capitals": (flushed(kind="Flushed"), 'kind is "Flushed"'),
    "kind as its code name": (flushed(kind="FLUSHED"), 'kind is "FLUSHED"'),
    "kind a list": (flushed(kind=["flushed"]), "kind is a list"),
    "kind a number": (flushed(kind=1), "kind is 1"),
    "unknown field": (flushed(colour="red"), '"colour" is no field of "flushed"'),
    "field of another kind": (flushed(order="cefazolin"), '"order" is no field of "flushed"'),
    "field of another kind, empty": (flushed(order=""), '"order" is no field of "flushed"'),
    "no key": (flushed(key=None), "key is missing"),
    "no report": (flushed(report=None), "report is missing"),
    "no moment": (flushed(happened=None), "happened is missing"),
    "no moment of entry": (flushed(entered=None), "entered is missing"),
    "no lumen": (flushed(lumen=None), "lumen is missing"),
    "no dose": (flushed(kind="finished", lumen=None, order="a"), "dose is missing"),
    "no count": (flushed(kind="stock counted", lumen=None, name="caps"), "count is missing"),
    "no sign": (flushed(kind="problem"), "sign is missing"),
    "empty key": (flushed(key=""), "key is missing or empty"),
    "empty lumen": (flushed(lumen=""), "lumen is missing or empty"),
    "key twice": (flushed()[:-1] + ', "key": "r-0"}', '"key" stands more than once'),
    "lumen twice, otherwise": (flushed()[:-1] + ', "lumen": "blue"}', '"lumen" stands more than once'),
    "UID twice": (published(SHOWN).replace('{"u": ', '{"u": 1, "u": '), '"u" stands more than once'),
    "text a number": (flushed(note=5), "note is 5"),
    "text null": (flushed().replace('"red"', "null"), "lumen is null"),
    "text true": (flushed(note=True), "note is true"),
    "text a list": (flushed(note=["a"]), "note is a list"),
    "text a group": (flushed(note={"a": "b"}), "note is a group of values"),
    "control character": (flushed(note="a\x07b"), "note holds the control character U+0007"),
    "line break": (flushed(note="a\nb"), "note holds the control character U+000A"),
    "delete": (flushed(note="a\x7fb"), "note holds the control character U+007F"),
    "C1 control": (flushed(note="a\x9bb"), "note holds the control character U+009B"),
    "control in a key": (flushed(key="a\0b"), "key holds the control character U+0000"),
    "lone surrogate": (flushed(note="a\ud800b"), "note holds the control character U+D800"),
    "lone low surrogate": (flushed(lumen="\udfff"), "lumen holds the control character U+DFFF"),
    "surrogate in a plan": (
        flushed(kind="plan put in use", lumen=None, revision=1, plan_text="a\ud800"),
        "plan_text holds the control character U+D800",
    ),
    "control in a plan": (
        flushed(kind="plan put in use", lumen=None, revision=1, plan_text="a\x1bb"),
        "plan_text holds the control character U+001B",
    ),
    "moment a number": (flushed(happened=29884680), "happened is 29884680"),
    "moment with seconds": (flushed(happened="2026-10-26T14:40:00Z"), "happened is"),
    "moment with an offset": (flushed(happened="2026-10-26T14:40+00:00"), "happened is"),
    "moment without a zone": (flushed(happened="2026-10-26T14:40"), "happened is"),
    "moment with a blank": (flushed(happened="2026-10-26 14:40Z"), "happened is"),
    "moment with small letters": (flushed(happened="2026-10-26t14:40z"), "happened is"),
    "moment with blanks around": (flushed(happened=" 2026-10-26T14:40Z"), "happened is"),
    "moment with a line break": (flushed(happened="2026-10-26T14:40Z\n"), "happened is"),
    "moment without hyphens": (flushed(happened="20261026T1440Z"), "happened is"),
    "moment by week": (flushed(happened="2026-W44-1T14:40Z"), "happened is"),
    "moment in other digits": (flushed(happened="２０２６-10-26T14:40Z"), "happened is"),
    "moment in Arabic digits": (flushed(happened="٢٠٢٦-10-26T14:40Z"), "happened is"),
    "hour 24": (flushed(happened="2026-10-26T24:00Z"), "happened is"),
    "minute 60": (flushed(happened="2026-10-26T14:60Z"), "happened is"),
    "month 13": (flushed(happened="2026-13-26T14:40Z"), "happened is"),
    "30 February": (flushed(happened="2026-02-30T14:40Z"), "happened is"),
    "29 February of no leap year": (flushed(entered="2026-02-29T14:40Z"), "entered is"),
    "day 0": (flushed(happened="2026-10-00T14:40Z"), "happened is"),
    "before 1970": (flushed(happened="1969-12-31T23:59Z"), "happened is"),
    "year 0": (flushed(happened="0000-01-01T00:00Z"), "happened is"),
    "year 10000": (flushed(happened="10000-01-01T00:00Z"), "happened is"),
    "moment empty": (flushed(happened=""), "happened is"),
    "until no moment": (flushed(kind="delayed", lumen=None, order="a", dose="b", until="soon"), 'until is "soon"'),
    "planned_for no moment": (flushed(kind="skipped", planned_for=0), "planned_for is 0"),
    "count a text": (flushed(kind="stock counted", lumen=None, name="c", count="5"), 'count is "5"'),
    "count true": (flushed(kind="stock counted", lumen=None, name="c", count=True), "count is true"),
    "count broken": (flushed(kind="stock counted", lumen=None, name="c", count=5.0), "count is 5.0"),
    "count below zero": (flushed(kind="stock counted", lumen=None, name="c", count=-1), "count is -1"),
    "count too great": (flushed(kind="stock counted", lumen=None, name="c", count=2**31), "count is 2147483648"),
    "count NaN": (flushed(kind="stock counted", lumen=None, name="c", count=float("nan")), "NaN is no number"),
    "count infinite": (
        flushed(kind="stock counted", lumen=None, name="c", count=float("-inf")),
        "-Infinity is no number",
    ),
    "count beyond all numbers": (
        flushed(kind="stock counted", lumen=None, name="c", count=1).replace(": 1}", ": 1e999}"),
        "count is Infinity",
    ),
    "revision null": (
        flushed(kind="plan put in use", lumen=None, plan_text="x")[:-1] + ', "revision": null}',
        "is null",
    ),
    "again a number": (flushed(again=1), "again is 1"),
    "again a text": (flushed(again="yes"), 'again is "yes"'),
    "unknown sign": (flushed(kind="problem", sign="itches"), 'sign is "itches"'),
    "sign null": (flushed(kind="problem").replace('"lumen"', '"sign": null, "lumen"'), "sign is null"),
    "fluids a text": (flushed(fluids="saline"), 'fluids is "saline"'),
    "fluids of numbers": (flushed(fluids=[10]), "an entry of fluids is 10"),
    "fluids with a control character": (flushed(fluids=["a", "\t"]), "an entry of fluids holds"),
    "setting a list": (flushed(kind="calendar published", lumen=None, target="a", setting=[]), "setting is a list"),
    "setting of numbers": (flushed(kind="calendar published", lumen=None, target="a", setting={"b": 1}), "setting"),
    "setting with a control character in a name": (
        flushed(kind="calendar published", lumen=None, target="a", setting={"\x01": "b"}),
        "a name in setting holds",
    ),
    "shown a list": (flushed(kind="calendar published", lumen=None, target="a", shown=[SHOWN]), "shown is a list"),
    "event a group": (published({"title": "t"}), 'shown."u" is a group of values'),
    "event too short": (published(SHOWN[:4]), 'shown."u" is a list of 4'),
    "event too long": (published([*SHOWN, True, True]), 'shown."u" is a list of 7'),
    "event's sequence true": (published([True, *SHOWN[1:]]), 'the sequence of shown."u" is true'),
    "event's sequence below zero": (published([-1, *SHOWN[1:]]), 'the sequence of shown."u" is -1'),
    "event's digest a number": (published([0, 5, *SHOWN[2:]]), 'the digest of shown."u" is 5'),
    "event's stamp no moment": (published([0, "d", "now", MOMENT, "t"]), 'the stamp of shown."u" is "now"'),
    "event's start no moment": (published([0, "d", MOMENT, None, "t"]), 'the start of shown."u" is null'),
    "event's title null": (published([*SHOWN[:4], None]), 'the title of shown."u" is null'),
    "event cancelled by a number": (published([*SHOWN, 1]), 'the sixth entry of shown."u" is 1'),
    "control character in a UID": (published(SHOWN).replace('"u"', '"\\u0000"'), "a UID in shown holds"),
}


@pytest.mark.parametrize(("line", "said"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_fact_is_refused_in_words(line: str, said: str) -> None:
    with pytest.raises(LineError) as refused:
        fact_of(line)
    assert said in refused.value.message
    assert refused.value.expected and refused.value.mend
    assert str(refused.value) == f"{refused.value.message}. Expected: {refused.value.expected}. {refused.value.mend}"
    assert str(refused.value).isprintable() and len(refused.value.message) < 200


@given(st.text())
def test_no_text_whatever_gives_anything_but_a_fact_or_a_refusal(text: str) -> None:
    with pytest.raises(LineError):
        fact_of(text)


@given(facts(), st.data())
def test_a_damaged_line_is_refused_or_says_a_valid_fact(told: Fact, data: st.DataObject) -> None:
    """One character is lost, doubled or another; whatever is still accepted can be written and read again."""
    line = line_of(told)
    place = data.draw(st.integers(0, len(line) - 1))
    instead = data.draw(st.one_of(st.just(""), st.just(line[place] * 2), st.characters()))
    try:
        read = fact_of(line[:place] + instead + line[place + 1 :])
    except LineError:
        return
    assert fact_of(line_of(read)) == read


values = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.just(MOMENT)),
    lambda inner: st.one_of(st.lists(inner, max_size=6), st.dictionaries(st.text(max_size=3), inner, max_size=3)),
    max_leaves=8,
)


@given(facts(), st.data())
def test_a_value_of_any_type_in_any_field_is_refused_or_says_a_valid_fact(told: Fact, data: st.DataObject) -> None:
    written = json.loads(line_of(told))
    name = data.draw(st.sampled_from(sorted({each.name for each in dataclasses.fields(Fact)} | {"other"})))
    written[name] = data.draw(values)
    try:
        read = fact_of(json.dumps(written))
    except LineError:
        return
    assert fact_of(line_of(read)) == read


UNFIT: dict[str, dict[str, Any]] = {
    "a line break in a note": {"note": "a\nb"},
    "a lone surrogate": {"by": "a\ud800"},
    "a field of another kind": {"order": "cefazolin"},
    "no lumen": {"lumen": ""},
    "no key": {"key": ""},
    "before 1970": {"happened": Instant(-1)},
    "after 9999": {"entered": Instant(LAST + 1)},
    "far after 9999": {"happened": Instant(10**5000)},
    "a list in place of a tuple": {"fluids": ["saline"]},
    "something that JSON does not have": {"note": b"bytes"},
}


@pytest.mark.parametrize("changes", UNFIT.values(), ids=UNFIT)
def test_a_fact_that_could_not_be_read_back_is_not_written(changes: dict[str, Any]) -> None:
    told = dataclasses.replace(fact(Kind.FLUSHED), **changes)
    with pytest.raises(LineError):
        line_of(told)


@pytest.mark.parametrize("count", [-1, 2**31, 10**5000, True], ids=["negative", "great", "endless", "no number"])
def test_a_count_that_could_not_be_read_back_is_not_written(count: int) -> None:
    with pytest.raises(LineError):
        line_of(dataclasses.replace(fact(Kind.STOCK_COUNTED), count=count))


def test_a_long_record_is_read_fast() -> None:
    """Some months of reports. The measure is the machine's own reader of JSON, which can't be undercut."""
    lines = [line_of(fact(kind, number, full=False)) for number in range(60) for kind in Kind]

    def best(read: Any) -> float:
        times = []
        for _ in range(5):
            begun = time.process_time()
            for line in lines:
                read(line)
            times.append(time.process_time() - begun)
        return min(times)

    assert best(fact_of) < 15 * best(json.loads)


# --- Exports ---


@given(st.uuids(), records())
def test_an_export_comes_back(plan_id: uuid.UUID, record: Record) -> None:
    text = export(plan_id, record)
    assert text.endswith("\n")
    assert text.count("\n") == 1 + len(record.facts)
    assert read_export(text) == (plan_id, record.facts)
    assert export(plan_id, Record(read_export(text)[1])) == text


def all_kinds() -> Record:
    """Return a record with a fact of each kind."""
    return Record(tuple(fact(kind, number) for number, kind in enumerate(Kind, start=1)))


def test_an_export_begins_by_saying_of_which_plan() -> None:
    text = export(PLAN_ID, all_kinds())
    assert text.split("\n")[0] == HEADER
    assert text.split("\n")[1:] == [*map(line_of, all_kinds().facts), ""]
    assert export(PLAN_ID, Record()) == HEADER + "\n"


@pytest.mark.parametrize(
    "alter",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\n\n"),
        lambda text: text.removesuffix("\n"),
        lambda text: text + text.split("\n", 1)[1],
        lambda text: text.replace(str(PLAN_ID), str(PLAN_ID).upper()),
        lambda text: "".join(json.dumps(json.loads(line)) + "\n" for line in text.split("\n")[:-1]),
    ],
    ids=[
        "line breaks of Windows",
        "byte order mark",
        "empty lines",
        "no last line break",
        "twice",
        "capitals",
        "blanks",
    ],
)
def test_what_an_editor_or_a_second_copy_adds_does_no_harm(alter: Any) -> None:
    assert read_export(alter(export(PLAN_ID, all_kinds()))) == (PLAN_ID, all_kinds().facts)


def test_all_faulty_lines_are_told_at_once() -> None:
    """Every way of being no fact, each on a line of its own between good ones."""
    lines = [HEADER, line_of(fact(Kind.DRAWN, 1))]
    expected = []
    for name, (line, said) in REFUSED.items():
        if "\n" in line or not line.strip():
            continue
        lines += [line, line_of(fact(Kind.FLUSHED, len(lines) + 2))]
        expected.append((len(lines) - 1, said, name))
    with pytest.raises(ExportError) as refused:
        read_export("\n".join(lines) + "\n")
    problems = refused.value.problems
    assert [problem.line for problem in problems] == [number for number, _, _ in expected]
    assert len(problems) > 80
    for problem, (number, said, name) in zip(problems, expected, strict=True):
        assert said in problem.message, name
        assert str(problem) == f"Line {number}: {problem.message}. Expected: {problem.expected}. {problem.mend}"
    told = str(refused.value).split("\n")
    assert told == [*map(str, problems[:MOST_SHOWN]), f"{len(problems) - MOST_SHOWN} more lines are faulty."]


def test_one_key_with_two_contents_is_told_with_both_lines() -> None:
    first, other = fact(Kind.DRAWN, 1), fact(Kind.FLUSHED, 1)
    text = "\n".join([HEADER, line_of(first), line_of(fact(Kind.DRAWN, 2)), line_of(other), line_of(first)])
    with pytest.raises(ExportError) as refused:
        read_export(text)
    [problem] = refused.value.problems
    assert problem.line == 4
    assert f'"{identity(1)}-0" stands in line 2' in problem.message


@pytest.mark.parametrize("number", ["2", "10", "999"])
def test_an_export_of_a_newer_release_is_refused_as_such(number: str) -> None:
    """Its lines are none of this release's business, so nothing is said of them."""
    text = HEADER.replace("record 1", f"record {number}").replace("}", ',"more":1}') + "\nsomething new\n"
    with pytest.raises(ExportError) as refused:
        read_export(text)
    [problem] = refused.value.problems
    assert "newer release" in problem.message
    assert "Update" in problem.mend


HEADERS = {
    "empty": "",
    "no header": line_of(fact(Kind.DRAWN, 1)),
    "another file": "BEGIN:VCALENDAR",
    "another form": HEADER.replace("reminders record 1", "reminders schedule 1"),
    "form 0": HEADER.replace("record 1", "record 0"),
    "form 01": HEADER.replace("record 1", "record 01"),
    "form in other digits": HEADER.replace("record 1", "record １"),
    "form a number": HEADER.replace('"reminders record 1"', "1"),
    "no plan": '{"record":"reminders record 1"}',
    "plan a number": f'{{"record":"reminders record 1","plan":{PLAN_ID.int}}}',
    "plan no id": HEADER.replace(str(PLAN_ID), "my plan"),
    "plan in braces": HEADER.replace(str(PLAN_ID), f"{{{PLAN_ID}}}"),
    "plan without hyphens": HEADER.replace(str(PLAN_ID), PLAN_ID.hex),
    "more fields": HEADER.replace("}", ',"count":1}'),
    "plan twice": HEADER.replace("}", f',"plan":"{PLAN_ID}"}}'),
}


@pytest.mark.parametrize("header", HEADERS.values(), ids=HEADERS)
def test_a_wrong_first_line_is_told_together_with_the_rest(header: str) -> None:
    with pytest.raises(ExportError) as refused:
        read_export(f"{header}\n{line_of(fact(Kind.DRAWN, 2))}\nnonsense\n")
    assert [problem.line for problem in refused.value.problems] == [1, 3]


def test_a_file_that_was_cut_off_is_refused_unless_the_cut_lies_between_lines() -> None:
    text = export(PLAN_ID, all_kinds())
    ends = [place for place, char in enumerate(text) if char == "\n"]
    whole = {end + extra for end in ends for extra in (0, 1)}
    for place in range(len(text)):
        if place in whole:
            plan_id, read = read_export(text[:place])
            assert plan_id == PLAN_ID
            assert read == all_kinds().facts[: text[:place].rstrip("\n").count("\n")]
        else:
            with pytest.raises(ExportError):
                read_export(text[:place])


@given(st.text())
def test_no_text_whatever_gives_anything_but_a_refusal(text: str) -> None:
    with pytest.raises(ExportError):
        read_export(text)


def test_the_instants_that_a_line_shows_are_those_of_the_calendar() -> None:
    """Counted by hand: 56 years and 14 leap days, then 299 days, make 2026-10-27 day 20753 since 1970."""
    assert NOW == 20753 * 1440 + 10 * 60
    assert json.loads(line_of(dataclasses.replace(fact(Kind.DRAWN), happened=NOW)))["happened"] == "2026-10-27T10:00Z"
