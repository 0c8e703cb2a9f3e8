"""What a person says happened, into the facts of one report, a question back, and an answer (R13-R18, S1-S14, R27).

All of it as pure functions. Facts are written as in :mod:`histories`. The plan and its people are invented; the day is
Tuesday 2 June 2026 unless a row says otherwise, on Chicago's clock.
"""

import shlex
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from histories import after, at, fact, plan, record, rows

from reminders.plan.model import Plan
from reminders.record.facts import FIELDS, Fact, Kind, Record, Sign
from reminders.record.lines import fact_of, line_of
from reminders.saying.answer import answer
from reminders.saying.phrases import PHRASES, NotUnderstoodError, Said, Verb, lumen_to_say, said
from reminders.saying.report import report
from reminders.saying.which import AskBackError
from reminders.schedule.compile import compile_schedule
from reminders.times import Instant

PLAN = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.proximal]
label = "white"
last_flushed = "2026-06-01 07:00"
[lumen.grey]
last_flushed = "2026-06-01 07:00"
[lumen.green]
last_flushed = "2026-06-01 07:00"
[lumen.blue]
last_flushed = "2026-06-01 07:00"
[order.antibiotic]
drug = "cefazolin"
clock_times = ["09:00", "21:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-06
duration = "60 min"
least_spacing = "8 h"
[order.night]
drug = "parenteral nutrition"
kind = "nutrition"
dose = "1000 mL"
lumen = "proximal"
clock_times = ["20:00"]
first_dose = "2026-06-01 20:00"
last_day = 2026-06-06
duration = "12 h"
least_spacing = "20 h"
[order.heart]
drug = "milrinone"
lumen = "green"
continuous = true
first_dose = "2026-06-01 09:00"
until_removal = true
bag_every = "24 h"
bag_flush = []
[order.nausea]
drug = "ondansetron"
dose = "4 mg"
lumen = "blue"
given_as = "push"
as_needed = true
most_in_24h = 3
least_spacing = "6 h"
duration = "2 min"
until_removal = true
"""
"""Red: cefazolin, 09:00 and 21:00 for an hour. White, which the plan calls proximal: nutrition, 20:00 to 08:00. Green:
milrinone without a pause. Blue: ondansetron as needed. Grey: nothing. On time within 1 h, cut off after 4 h."""

NOW = "06-02 10:30"
NINE, NINE_PM = "order=antibiotic dose=2026-06-02T09:00", "order=antibiotic dose=2026-06-02T21:00"
RUNS = f"06-02 09:40 started {NINE}"
PAUSED = f"{RUNS}\n06-02 10:00 interrupted {NINE}"
DONE = f"{RUNS}\n06-02 10:20 finished {NINE}"
YESTERDAY = "".join(
    f"06-01 {clock} started order=antibiotic dose=2026-06-01T{clock}\n06-01 {ended} finished order=antibiotic "
    f"dose=2026-06-01T{clock}\n"
    for clock, ended in (("09:00", "10:00"), ("21:00", "22:00"))
)


def hear(saying: str, lines: str = "", now: str = NOW, edits: str = PLAN, **options: Any) -> tuple[Fact, ...]:
    """Return the facts that come of a saying, after a record; raise the question back."""
    compiled = after(edits, lines, now)
    told = replace(said(saying.split(), compiled.plan), **options)
    return report(told, compiled, record(lines), at(now), key="k")


def plain(facts: Sequence[Fact]) -> list[Fact]:
    """Return facts without what names them and when they were entered."""
    return [replace(one, key="", report="", entered=Instant(0)) for one in facts]


def lines_of(text: str) -> list[Fact]:
    """Return the facts that lines say, in the same way."""
    told = plain([fact(line) for line in text.splitlines() if line.strip()])
    return [
        replace(one, elsewhere=bool(one.elsewhere), lumen_used=bool(one.lumen_used), again=bool(one.again))
        for one in told
    ]


def question(saying: str, lines: str = "", now: str = NOW, edits: str = PLAN, **options: Any) -> AskBackError:
    """Return the question that comes back; it is a sentence, and each answer that it takes up is another report."""
    with pytest.raises(AskBackError) as caught:
        hear(saying, lines, now, edits, **options)
    asked = caught.value
    assert asked.problem == str(asked)
    assert asked.problem.endswith((".", "?"))
    for choice in asked.choices:
        added = options_of(choice.say)
        if choice.changes:
            chosen = _answered(saying, lines, now, edits, {**options, **choice.changes})
            assert chosen != asked.problem, "an answer brings no second question that is the first one again"
            assert _answered(saying, lines, now, edits, {**options, **added}) == chosen, choice.say
        elif added:  # an example
            assert _answered(saying, lines, now, edits, {**options, **added}) != asked.problem, choice.say
    return asked


def _answered(saying: str, lines: str, now: str, edits: str, options: dict[str, Any]) -> list[Fact] | str:
    try:
        return plain(hear(saying, lines, now, edits, **options))
    except AskBackError as asked:
        return asked.problem


OPTIONS = {
    "--at": "when",
    "--order": "order",
    "--lumen": "lumen",
    "--dose": "dose",
    "--event": "event",
    "--last-flush": "last_flush",
    "--said-by": "said_by",
}
"""The options that a question back may tell to add, with what each of them says."""


def options_of(say: str) -> dict[str, Any]:
    """Return what an answer adds to the command: options and nothing else, so that the words stay as they were."""
    found: dict[str, Any] = {}
    rest = iter(shlex.split(say))
    for word in rest:
        if word == "--again":
            found["again"] = True
        elif word == "--task":
            found |= {"name": next(rest), "as_said": True}
        else:
            found[OPTIONS[word]] = next(rest)
    return found


# --- Phrases ---

MEANT: dict[str, tuple[Verb, Sign | None, bool]] = {
    "done": (Verb.DONE, None, False),
    "given": (Verb.DONE, None, False),
    "gave": (Verb.DONE, None, False),
    "took": (Verb.DONE, None, False),
    "started": (Verb.STARTED, None, False),
    "connected": (Verb.STARTED, None, False),
    "finished": (Verb.FINISHED, None, False),
    "disconnected": (Verb.FINISHED, None, False),
    "flushed and finished": (Verb.FINISHED, None, False),
    "stopped early": (Verb.STOPPED, None, False),
    "stopped": (Verb.STOPPED, None, False),
    "interrupted": (Verb.INTERRUPTED, None, False),
    "paused": (Verb.INTERRUPTED, None, False),
    "resumed": (Verb.RESUMED, None, False),
    "running again": (Verb.RESUMED, None, False),
    "delayed": (Verb.DELAYED, None, False),
    "late": (Verb.DELAYED, None, False),
    "put off": (Verb.DELAYED, None, False),
    "moved": (Verb.DELAYED, None, False),
    "flushed": (Verb.FLUSHED, None, False),
    "skipped": (Verb.SKIPPED, None, False),
    "not given": (Verb.NOT_GIVEN, None, False),
    "missed": (Verb.NOT_GIVEN, None, False),
    "given elsewhere": (Verb.ELSEWHERE, None, False),
    "bag changed": (Verb.BAG_CHANGED, None, False),
    "blood drawn": (Verb.DRAWN, None, False),
    "drawn": (Verb.DRAWN, None, False),
    "held": (Verb.HELD, None, False),
    "in hospital": (Verb.HELD, None, True),
    "released": (Verb.RELEASED, None, False),
    "back in use": (Verb.RELEASED, None, False),
    "home again": (Verb.RELEASED, None, True),
    "out of use": (Verb.OUT_OF_USE, None, False),
    "needle out": (Verb.NEEDLE_OUT, None, False),
    "needle in": (Verb.NEEDLE_IN, None, False),
    "heparin stopped": (Verb.HEPARIN_STOPPED, None, False),
    "line exchanged": (Verb.EXCHANGED, None, False),
    "line removed": (Verb.REMOVED, None, False),
    "in use": (Verb.IN_USE, None, False),
    "problem": (Verb.PROBLEM, Sign.OTHER, False),
    "something else": (Verb.PROBLEM, Sign.OTHER, False),
    "reaction": (Verb.PROBLEM, Sign.REACTION, False),
    "pain": (Verb.PROBLEM, Sign.PAIN, False),
    "swelling": (Verb.PROBLEM, Sign.SWELLING, False),
    "swollen": (Verb.PROBLEM, Sign.SWELLING, False),
    "leak": (Verb.PROBLEM, Sign.LEAK, False),
    "leaks": (Verb.PROBLEM, Sign.LEAK, False),
    "leaking": (Verb.PROBLEM, Sign.LEAK, False),
    "will not flush": (Verb.PROBLEM, Sign.WILL_NOT_FLUSH, False),
    "won't flush": (Verb.PROBLEM, Sign.WILL_NOT_FLUSH, False),
    "wont flush": (Verb.PROBLEM, Sign.WILL_NOT_FLUSH, False),
    "cannot flush": (Verb.PROBLEM, Sign.WILL_NOT_FLUSH, False),
    "can't flush": (Verb.PROBLEM, Sign.WILL_NOT_FLUSH, False),
    "cant flush": (Verb.PROBLEM, Sign.WILL_NOT_FLUSH, False),
    "blocked": (Verb.PROBLEM, Sign.WILL_NOT_FLUSH, False),
    "no blood return": (Verb.PROBLEM, Sign.NO_BLOOD_RETURN, False),
    "not flowing": (Verb.PROBLEM, Sign.NOT_FLOWING, False),
    "pump alarm": (Verb.PROBLEM, Sign.NOT_FLOWING, False),
    "fever": (Verb.PROBLEM, Sign.OTHER, False),
    "chills": (Verb.PROBLEM, Sign.OTHER, False),
    "chest pain": (Verb.PROBLEM, Sign.OTHER, False),
    "short of breath": (Verb.PROBLEM, Sign.OTHER, False),
    "faint": (Verb.PROBLEM, Sign.OTHER, False),
    "bleeding": (Verb.PROBLEM, Sign.OTHER, False),
    "line broken": (Verb.PROBLEM, Sign.OTHER, False),
    **{
        words: (Verb.PROBLEM, Sign.OTHER, False)
        for how in ("wet", "loose", "soiled")
        for words in (f"dressing {how}", f"{how} dressing", f"dressing is {how}")
    },
}
"""Every phrase that stands on its own, by hand."""
NOTED = {
    **{
        words: words
        for words in ("fever", "chills", "chest pain", "short of breath", "faint", "bleeding", "line broken")
    },
    **{
        words: f"dressing {how}"
        for how in ("wet", "loose", "soiled")
        for words in (f"dressing {how}", f"{how} dressing", f"dressing is {how}")
    },
}
"""Phrases that are kept as a remark, with that remark: they are no sign of their own."""
WITH_FLUSH = ("done", "flushed and finished")
"""Phrases that say of themselves that it was flushed too."""
WITH_WORDS = {
    **dict.fromkeys(("task done", "task put off", "task skipped"), "dressing"),  # see test_care_saying.py
    **dict.fromkeys(("counted", "stock counted", "delivered", "arrived"), "12 saline syringe"),
}
"""Phrases that need words of the reporter's own."""


@pytest.fixture(scope="module", name="household")
def the_plan() -> Plan:
    return plan(PLAN)


def test_every_phrase_is_in_the_table_and_every_verb_can_be_said() -> None:
    assert set(PHRASES) == set(MEANT) | set(WITH_WORDS)
    assert {phrase.verb for phrase in PHRASES.values()} == set(Verb)
    assert {phrase.sign for phrase in PHRASES.values()} - {None} == set(Sign)


@pytest.mark.parametrize("phrase", MEANT)
def test_a_phrase_before_and_after_what_it_is_about(phrase: str, household: Plan) -> None:
    verb, sign, everything = MEANT[phrase]
    alone = Said(verb=verb, sign=sign, everything=everything)
    alone = replace(alone, flushed=phrase in WITH_FLUSH, note=NOTED.get(phrase, ""))
    about = replace(alone, lumen="grey", when="9:40")
    assert said(phrase.split(), household) == alone
    assert said([phrase], household) == alone, "as one word of the command line, in quotation marks"
    assert said(phrase.upper().split(), household) == alone
    assert said(f"  {phrase}.  ".split(), household) == alone
    assert said(f"{phrase} the grey lumen at 9:40".split(), household) == replace(about, when="at 9:40")
    assert said(f"my grey lumen {phrase} 9:40".split(), household) == about


@pytest.mark.parametrize(
    ("saying", "expected"),
    [
        ("task done dressing", Said(verb=Verb.TASK_DONE, name="dressing")),
        ("task done new cap on red 9:40", Said(verb=Verb.TASK_DONE, name="new cap on red", when="9:40")),
        ("counted 12 saline syringe 10 mL", Said(verb=Verb.COUNTED, count=12, name="saline syringe 10 mL")),
        (
            "delivered 40 saline syringe 10 mL 20 min ago",
            Said(verb=Verb.DELIVERED, count=40, name="saline syringe 10 mL", when="20 min ago"),
        ),
        ("stock counted 0 gloves", Said(verb=Verb.COUNTED, count=0, name="gloves")),
        ("started cefazolin", Said(verb=Verb.STARTED, order="antibiotic")),
        ("started antibiotic", Said(verb=Verb.STARTED, order="antibiotic")),
        ("started CEF", Said(verb=Verb.STARTED, order="antibiotic")),
        ("started parenteral nutrition", Said(verb=Verb.STARTED, order="night")),
        ("started white", Said(verb=Verb.STARTED, lumen="proximal")),
        ("started proximal", Said(verb=Verb.STARTED, lumen="proximal")),
        ("started the red cefazolin", Said(verb=Verb.STARTED, order="antibiotic", lumen="red")),
        ("started cefazolin on the white lumen", Said(verb=Verb.STARTED, order="antibiotic", lumen="proximal")),
        ("started parenteral nutrition white", Said(verb=Verb.STARTED, order="night", lumen="proximal")),
        ("started cefazolin through white", Said(verb=Verb.STARTED, order="antibiotic", lumen="proximal")),
        ("finished and flushed", Said(verb=Verb.FINISHED, flushed=True)),
        ("finished cefazolin and flushed", Said(verb=Verb.FINISHED, order="antibiotic", flushed=True)),
        ("finished and flushed cefazolin", Said(verb=Verb.FINISHED, order="antibiotic", flushed=True)),
        ("flushed and finished cefazolin", Said(verb=Verb.FINISHED, order="antibiotic", flushed=True)),
        ("gave the antibiotic 9:05", Said(verb=Verb.DONE, order="antibiotic", when="9:05")),
        ("took the cefazolin", Said(verb=Verb.DONE, order="antibiotic")),
        (
            "stopped cefazolin after 60 mL for pain",
            Said(verb=Verb.STOPPED, order="antibiotic", volume="60 mL", sign=Sign.PAIN),
        ),
        ("chest pain 10 min ago", Said(verb=Verb.PROBLEM, sign=Sign.OTHER, note="chest pain", when="10 min ago")),
        ("dressing wet red", Said(verb=Verb.PROBLEM, sign=Sign.OTHER, note="dressing wet", lumen="red")),
        ("flushed grey with saline only", Said(verb=Verb.FLUSHED, lumen="grey", fluids=("saline",))),
        ("flushed grey with saline alone", Said(verb=Verb.FLUSHED, lumen="grey", fluids=("saline",))),
        ("flushed grey with saline and heparin", Said(verb=Verb.FLUSHED, lumen="grey", fluids=("saline", "heparin"))),
        ("flushed grey with heparin lock", Said(verb=Verb.FLUSHED, lumen="grey", fluids=("heparin",))),
        ("stopped early after 60 mL", Said(verb=Verb.STOPPED, volume="60 mL")),
        (
            "stopped early after 60 mL for swelling 10 min ago",
            Said(verb=Verb.STOPPED, volume="60 mL", sign=Sign.SWELLING, when="10 min ago"),
        ),
        ("stopped early for a leak after 12.5 mL", Said(verb=Verb.STOPPED, volume="12.5 mL", sign=Sign.LEAK)),
        ("cefazolin stopped early for pain", Said(verb=Verb.STOPPED, order="antibiotic", sign=Sign.PAIN)),
        (
            "given elsewhere cefazolin through the line and flushed 9:00",
            Said(verb=Verb.ELSEWHERE, order="antibiotic", line_used=True, flushed=True, when="9:00"),
        ),
        ("everything held", Said(verb=Verb.HELD, everything=True)),
        ("released all", Said(verb=Verb.RELEASED, everything=True)),
        ("delayed cefazolin to 11:00", Said(verb=Verb.DELAYED, order="antibiotic", when="to 11:00")),
        ("cefazolin is late in 20 min", Said(verb=Verb.DELAYED, order="antibiotic", when="in 20 min")),
        ("the red lumen will not flush", Said(verb=Verb.PROBLEM, sign=Sign.WILL_NOT_FLUSH, lumen="red")),
        ("will not flush red", Said(verb=Verb.PROBLEM, sign=Sign.WILL_NOT_FLUSH, lumen="red")),
        ("red won't flush", Said(verb=Verb.PROBLEM, sign=Sign.WILL_NOT_FLUSH, lumen="red")),
        ("red won\u2019t flush", Said(verb=Verb.PROBLEM, sign=Sign.WILL_NOT_FLUSH, lumen="red")),  # as phones write it
        ("flushed grey, 9:40", Said(verb=Verb.FLUSHED, lumen="grey", when="9:40")),
        ("flushed grey 9:40.", Said(verb=Verb.FLUSHED, lumen="grey", when="9:40")),
        ("finished cefazolin, and flushed", Said(verb=Verb.FINISHED, order="antibiotic", flushed=True)),
        ("it has a leak on my grey lumen", Said(verb=Verb.PROBLEM, sign=Sign.LEAK, lumen="grey")),
    ],
)
def test_what_is_said_is_taken_apart(saying: str, expected: Said, household: Plan) -> None:
    assert said(saying.split(), household) == expected


@pytest.mark.parametrize(
    "when",
    "now|9:40|9.40|09:40|at 9:40|9:40 am|9 pm|noon|20 min ago|1 h 30 min ago|an hour ago|half an hour ago|yesterday 21:15|"
    "21:15 yesterday|Mon 21:15|2026-06-01 21:15|2026-06-01T21:15|2026-06-01 21:15-05:00|9:40 CDT|9".split("|"),
)
def test_the_time_stands_last_in_every_form(when: str, household: Plan) -> None:
    assert said(f"flushed grey {when}".split(), household) == Said(verb=Verb.FLUSHED, lumen="grey", when=when)
    assert said(f"grey flushed {when}".split(), household).when == when
    assert said(f"finished and flushed {when}".split(), household) == Said(verb=Verb.FINISHED, flushed=True, when=when)
    assert said(f"flushed {when}".split(), household) == Said(verb=Verb.FLUSHED, when=when)


def test_a_lumen_that_is_called_by_a_number_is_no_time() -> None:
    two = plan(PLAN.replace("[lumen.grey]", "[lumen.2]"))
    assert said(["flushed", "2"], two) == Said(verb=Verb.FLUSHED, lumen="2")
    assert said(["flushed", "2", "9:40"], two) == Said(verb=Verb.FLUSHED, lumen="2", when="9:40")


KNOWN = ("cefazolin", "parenteral nutrition", "milrinone", "ondansetron", "red", "white", "grey", "green", "blue")

NOT_UNDERSTOOD = [
    ("", ("flushed", "started", "will not flush")),
    ("started gave", ("gave", *KNOWN)),
    ("injected the antibiotic", ("injected", "started", "given", "flushed")),
    ("feverish", ("feverish", "Did you mean: fever?")),
    ("removed", ("removed", "line removed")),
    ("exchanged", ("exchanged", "line exchanged")),
    ("flushed gre", ("gre", *KNOWN)),  # grey or green
    ("flushed gray", ("gray", *KNOWN)),
    ("flushed yellow 9:40", ("yellow", *KNOWN)),
    ("started vancomycin", ("vancomycin", *KNOWN)),
    ("started cefazolin and ondansetron", KNOWN),
    ("red and grey flushed", KNOWN),
    ("finished cefazolin through yellow", ("yellow", "red", "white", "grey", "green", "blue")),
    ("flushed grey with vodka", ("vodka", "saline", "heparin lock")),
    ("stopped early for fun", ("fun", "swelling", "pain", "leak", "reaction")),
    ("task done", ("task done dressing",)),
    ("counted", ("counted 12 saline syringe",)),
    ("counted twelve gloves", ("counted 12 saline syringe",)),
    ("counted 12", ("counted 12 saline syringe",)),
    ("delivered saline syringe", ("delivered 40 saline syringe",)),
    ("counted 1234567 gloves", ("counted 12 saline syringe",)),
]


@pytest.mark.parametrize(("saying", "told"), NOT_UNDERSTOOD)
def test_what_is_not_understood_is_told_with_what_would_be(saying: str, told: tuple[str, ...], household: Plan) -> None:
    with pytest.raises(NotUnderstoodError) as caught:
        said(saying.split(), household)
    for part in told:
        assert part in str(caught.value)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    "saying",
    [
        "not started cefazolin",
        "cefazolin not finished",
        "did not flush grey, flushed nothing",
        "not flushed grey",
        "grey never flushed",
        "no pain red",
        "no swelling",
        "grey does not leak, no leak",
        "no leaks grey",
        "red not blocked",
        "no fever",
        "no chest pain",
        "not short of breath",
        "not stopped cefazolin",
        "never took cefazolin",
        "nobody gave cefazolin",
        "not done",
        "nothing done",
        "no reaction",
        "not removed",
        "haven't started cefazolin",
    ],
)
def test_what_is_denied_is_never_taken_for_what_happened(saying: str, household: Plan) -> None:
    with pytest.raises(NotUnderstoodError):
        said(saying.split(), household)


@pytest.mark.parametrize(
    "saying",
    ["removed", "exchanged", "removed the bag", "removed cefazolin", "exchanged the bag", "removed the red bag"],
)
def test_a_bag_that_is_taken_off_is_not_a_line_that_is_taken_out(saying: str) -> None:
    """R19: after a removal nothing is due any more, so nothing less than the line may be taken for it."""
    with pytest.raises(NotUnderstoodError):
        hear(saying, RUNS)


# --- From a saying to the facts ---

STATED = [
    # What is started, and which dose
    ("started antibiotic", "", f"06-02 10:30 started {NINE}"),
    ("started cefazolin", "", f"06-02 10:30 started {NINE}"),
    ("started cef 9:40", "", f"06-02 09:40 started {NINE}"),
    ("cefazolin started 50 min ago", "", f"06-02 09:40 started {NINE}"),
    ("started", "", f"06-02 10:30 started {NINE}"),  # the only order with a dose about now
    ("connected red 9:40", "", f"06-02 09:40 started {NINE}"),
    ("started cefazolin through white", "", f"06-02 10:30 started {NINE} lumen=proximal"),
    ("started cefazolin through the red lumen", "", f"06-02 10:30 started {NINE}"),  # as ordered
    ("started cefazolin yesterday 21:10", "", "06-01 21:10 started order=antibiotic dose=2026-06-01T21:00"),
    ("started ondansetron 10:00", "", "06-02 10:00 started order=nausea dose=2026-06-02T15:00Z"),
    ("started parenteral yesterday 20:15", "", "06-01 20:15 started order=night dose=2026-06-01T20:00"),
    ("started milrinone yesterday 9:05", "", "06-01 09:05 started order=heart dose=continuous"),
    ("given elsewhere cefazolin 9:15", "", f"06-02 09:15 started {NINE} elsewhere=yes"),
    (
        "given elsewhere cefazolin through the line 9:15",
        "",
        f"06-02 09:15 started {NINE} elsewhere=yes lumen_used=yes",
    ),
    (
        "cefazolin given elsewhere through this line and flushed 9:15",
        "",
        f"06-02 09:15 started {NINE} elsewhere=yes lumen_used=yes\n06-02 09:15 flushed lumen=red elsewhere=yes",
    ),
    # What ends
    ("finished", RUNS, f"06-02 10:30 finished {NINE}"),
    ("disconnected red 10:25", RUNS, f"06-02 10:25 finished {NINE}"),
    ("finished cefazolin 5 min ago", RUNS, f"06-02 10:25 finished {NINE}"),
    ("finished and flushed", RUNS, f"06-02 10:30 finished {NINE}\n06-02 10:30 flushed lumen=red"),
    ("cefazolin finished, and flushed", RUNS, f"06-02 10:30 finished {NINE}\n06-02 10:30 flushed lumen=red"),
    (
        "finished and flushed with saline only 10:25",
        RUNS,
        f"06-02 10:25 finished {NINE}\n06-02 10:25 flushed lumen=red fluids=saline",
    ),
    ("finished cefazolin 10:05", "", f"06-02 10:05 finished {NINE}"),  # nobody reported its start
    ("finished parenteral 8:10", "", "06-02 08:10 finished order=night dose=2026-06-01T20:00"),
    ("stopped early", RUNS, f"06-02 10:30 stopped-early {NINE}"),
    ("stopped cefazolin", RUNS, f"06-02 10:30 stopped-early {NINE}"),
    ("flushed and finished", RUNS, f"06-02 10:30 finished {NINE}\n06-02 10:30 flushed lumen=red"),
    (
        "stopped early after 60 mL for swelling",
        RUNS,
        f"06-02 10:30 stopped-early {NINE} volume=60_mL sign=swelling",
    ),
    ("stopped early and flushed", RUNS, f"06-02 10:30 stopped-early {NINE}\n06-02 10:30 flushed lumen=red"),
    # Pauses
    ("paused 10:20", RUNS, f"06-02 10:20 interrupted {NINE}"),
    ("interrupted for pain", RUNS, f"06-02 10:30 interrupted {NINE} sign=pain"),
    ("resumed", PAUSED, f"06-02 10:30 resumed {NINE}"),
    ("running again 10:10", PAUSED, f"06-02 10:10 resumed {NINE}"),
    ("pump alarm 10:20", RUNS, f"06-02 10:20 problem sign=not_flowing lumen=red {NINE}"),
    ("cefazolin not flowing", RUNS, f"06-02 10:30 problem sign=not_flowing lumen=red {NINE}"),
    ("resumed", f"{RUNS}\n06-02 10:00 problem sign=not_flowing lumen=red {NINE}", f"06-02 10:30 resumed {NINE}"),
    # What is put off, left out or was not given
    ("delayed cefazolin to 11:30", "", f"06-02 10:30 delayed {NINE} until=06-02T11:30"),
    ("cefazolin late in 20 min", "", f"06-02 10:30 delayed {NINE} until=06-02T10:50"),
    ("delayed cefazolin to 21:30", "", f"06-02 10:30 delayed {NINE_PM} until=06-02T21:30"),
    ("delayed to 11:30", "", f"06-02 10:30 delayed {NINE} until=06-02T11:30"),
    ("not given cefazolin", "", f"06-02 10:30 not-given {NINE}"),
    ("cefazolin missed 9:00", "", f"06-02 09:00 not-given {NINE}"),
    ("skipped cefazolin", "", f"06-02 10:30 skipped {NINE}"),
    # Lumens
    ("flushed grey", "", "06-02 10:30 flushed lumen=grey"),
    ("grey flushed 20 min ago", "", "06-02 10:10 flushed lumen=grey"),
    ("flushed the white lumen at 9:40", "", "06-02 09:40 flushed lumen=proximal"),
    ("flushed proximal", "", "06-02 10:30 flushed lumen=proximal"),
    ("flushed w 9:40 am", "", "06-02 09:40 flushed lumen=proximal"),
    ("flushed grey with saline only", "", "06-02 10:30 flushed lumen=grey fluids=saline"),
    ("flushed grey yesterday 21:15", "", "06-01 21:15 flushed lumen=grey"),
    ("flushed grey Mon 9:15 pm", "", "06-01 21:15 flushed lumen=grey"),
    ("flushed grey 2026-06-01 09:15", "", "06-01 09:15 flushed lumen=grey"),
    ("flushed", DONE, "06-02 10:30 flushed lumen=red"),  # the one that waits after a finish
    ("flushed cefazolin", DONE, "06-02 10:30 flushed lumen=red"),
    ("blood drawn grey", "", "06-02 10:30 drawn lumen=grey"),
    (
        "drawn through grey and flushed 10:10",
        "",
        "06-02 10:10 drawn lumen=grey\n06-02 10:10 flushed lumen=grey",
    ),
    ("bag changed", "", "06-02 10:30 bag-changed order=heart dose=continuous"),
    ("milrinone bag changed 9:05", "", "06-02 09:05 bag-changed order=heart dose=continuous"),
    ("red will not flush", "", "06-02 10:30 problem sign=will_not_flush lumen=red"),
    ("will not flush red", "", "06-02 10:30 problem sign=will_not_flush lumen=red"),
    ("no blood return white 9:40", "", "06-02 09:40 problem sign=no_blood_return lumen=proximal"),
    ("pain red", RUNS, "06-02 10:30 problem sign=pain lumen=red"),
    ("pump alarm", RUNS, f"06-02 10:30 problem sign=not_flowing lumen=red {NINE}"),  # the only one that runs
    ("swelling grey", RUNS, "06-02 10:30 problem sign=swelling lumen=grey"),
    ("problem", "", "06-02 10:30 problem sign=other"),
    ("something else grey", "", "06-02 10:30 problem sign=other lumen=grey"),
    ("fever", "", "06-02 10:30 problem sign=other note=fever"),
    ("short of breath 10:25", "", "06-02 10:25 problem sign=other note=short_of_breath"),
    ("line broken red", "", "06-02 10:30 problem sign=other lumen=red note=line_broken"),
    ("out of use grey", "", "06-02 10:30 lumen-out-of-use lumen=grey"),
    # Orders, the stay elsewhere, the line
    ("held cefazolin", "", "06-02 10:30 held order=antibiotic"),
    ("everything held", "", "06-02 10:30 held"),
    ("in hospital yesterday 21:15", "", "06-01 21:15 held"),
    ("released", "06-02 09:00 held order=antibiotic", "06-02 10:30 released order=antibiotic"),
    ("released cefazolin", "06-02 09:00 held order=antibiotic", "06-02 10:30 released order=antibiotic"),
    ("released red", "06-02 09:00 problem sign=will_not_flush lumen=red", "06-02 10:30 released lumen=red"),
    ("heparin stopped 9:00", "", "06-02 09:00 heparin-stopped"),
    ("line exchanged", "", "06-02 10:30 line-exchanged"),
    ("line removed 9:00", "", "06-02 09:00 line-removed"),
    ("task done dressing", "", "06-02 10:30 task-done name=dressing"),
    ("task done new cap yesterday 21:15", "", "06-01 21:15 task-done name=new_cap"),
    ("counted 12 saline syringe", "", "06-02 10:30 stock-counted name=saline_syringe count=12"),
    ("delivered 40 saline", "", "06-02 10:30 delivered name=saline_syringe count=40"),
]


@pytest.mark.parametrize(("saying", "before", "expected"), STATED)
def test_the_facts_of_a_saying(saying: str, before: str, expected: str) -> None:
    facts = hear(saying, before)
    assert plain(facts) == lines_of(expected)
    assert [one.key for one in facts] == (["k"] if len(facts) == 1 else [f"k.{n}" for n in range(1, len(facts) + 1)])
    assert {(one.report, one.entered) for one in facts} == {("k", at(NOW))}
    assert [fact_of(line_of(one)) for one in facts] == list(facts), "it can be kept"


def test_the_table_of_sayings_has_a_fact_of_every_kind_that_can_be_said() -> None:
    kinds = {one.kind for _, _, expected in STATED for one in lines_of(expected)}
    by_the_tool = {Kind.WITHDRAWN, Kind.PUBLISHED, Kind.IN_USE}
    elsewhere = {Kind.NEEDLE_IN, Kind.NEEDLE_OUT, Kind.TASK_PUT_OFF, Kind.TASK_SKIPPED}
    assert kinds == set(FIELDS) - by_the_tool - elsewhere, "needles are those of ports; care tasks: test_care_saying.py"


def test_who_said_it_and_a_remark_go_into_the_facts() -> None:
    (told,) = hear("held cefazolin", by="Mo", note="until the blood count", said_by="Dr Ito")
    assert (told.by, told.note, told.said_by) == ("Mo", "until the blood count", "Dr Ito")
    (flushed,) = hear("flushed grey", said_by="Dr Ito")
    assert flushed.said_by == "", "a flush is no order of a clinician"


def test_a_needle_is_that_of_a_port() -> None:
    port = PLAN + '[line]\nkind = "implanted port"\nneedle_in = true\n'
    try:
        edits = port if plan(port) else ""
    except AssertionError:
        edits = PLAN + '[line]\nkind = "implanted port"\n'
    assert plain(hear("needle out", edits=edits)) == lines_of("06-02 10:30 needle-out")
    assert plain(hear("needle in 9:00", edits=edits)) == lines_of("06-02 09:00 needle-in")


# --- Which dose ---

WINDOWS = [
    ("06-02 08:00", "2026-06-02T09:00"),  # its window opens
    ("06-02 09:00", "2026-06-02T09:00"),
    ("06-02 10:00", "2026-06-02T09:00"),  # its window closes
    ("06-02 10:01", "2026-06-02T09:00"),  # late
    ("06-02 13:00", "2026-06-02T09:00"),  # at its cut-off
    ("06-02 20:00", "2026-06-02T21:00"),
    ("06-02 23:30", "2026-06-02T21:00"),
    ("06-01 08:00", "2026-06-01T09:00"),  # the first of all, at the plan's start
    ("06-07 00:30", "2026-06-06T21:00"),  # the last of all
]


@pytest.mark.parametrize(("now", "key"), WINDOWS)
def test_a_start_is_of_the_dose_whose_window_is_open_or_that_is_late_before_its_cut_off(now: str, key: str) -> None:
    (told,) = hear("started cefazolin", now=now)
    assert told.dose == key


@pytest.mark.parametrize("now", ["06-02 13:01", "06-02 15:00", "06-02 19:59"])
def test_past_the_cut_off_with_the_next_dose_ahead_it_is_asked_which(now: str) -> None:
    """R18: it may be the late one or the early one; nothing is guessed."""
    asked = question("started cefazolin", now=now)
    assert asked.problem == "Which dose of cefazolin was it?"
    assert [choice.changes["dose"] for choice in asked.choices] == ["2026-06-02T09:00", "2026-06-02T21:00"]
    shown = [choice.words for choice in asked.choices]
    assert shown == ["the dose of Tue 2 Jun 2026, 09:00 CDT", "the dose of Tue 2 Jun 2026, 21:00 CDT"]


def test_a_named_dose_is_taken_at_its_word() -> None:
    (told,) = hear("started cefazolin", now="06-02 15:00", dose="2026-06-02T09:00")
    assert told.dose == "2026-06-02T09:00"


def test_a_start_that_is_recorded_already() -> None:
    """The same minute is the same report; another time is asked about; with --again it is a second start (R18)."""
    assert hear("started cefazolin 9:40", RUNS) == ()
    asked = question("started cefazolin 9:45", RUNS)
    assert "already reported as started at Tue 2 Jun 2026, 09:40 CDT" in asked.problem
    assert [bool(choice.settles) for choice in asked.choices] == [True, False]
    (told,) = hear("started cefazolin 9:45", RUNS, again=True)
    assert told.again
    assert told.dose not in ("2026-06-02T09:00", "2026-06-02T21:00")
    assert told.dose.startswith("2026-06-02T09:00"), "which says what it is a second one of"


@pytest.mark.parametrize("dose", ["2026-06-02T09:00"])
def test_a_named_dose_that_was_started_is_asked_about_too(dose: str) -> None:
    assert hear("started cefazolin 9:40", RUNS, dose=dose) == ()
    assert "already reported" in question("started cefazolin 10:10", RUNS, dose=dose).problem


def test_a_dose_may_be_given_early() -> None:
    """S5: accepted. The next one ahead is meant where the one before is recorded, and far away."""
    (told,) = hear("started cefazolin", YESTERDAY + DONE, now="06-02 18:00")
    assert told.dose == "2026-06-02T21:00"


def test_a_dose_that_the_order_does_not_have_is_asked_about() -> None:
    asked = question("started cefazolin", dose="2026-06-02T10:00")
    assert asked.problem.startswith('cefazolin has no dose "2026-06-02T10:00".')
    assert "--dose" in asked.problem


def test_as_needed_each_minute_is_a_dose_of_its_own() -> None:
    one = "06-02 10:00 started order=nausea dose=2026-06-02T15:00Z"
    assert hear("started ondansetron 10:00", one) == ()
    assert plain(hear("started ondansetron 10:20", one)) == lines_of(
        "06-02 10:20 started order=nausea dose=2026-06-02T15:20Z"
    )


def test_an_order_without_a_dose_left_is_told_so() -> None:
    edits = PLAN.replace('last_day = 2026-06-06\nduration = "60 min"', 'last_day = 2026-06-01\nduration = "60 min"')
    lines = "\n".join(f"06-01 {clock} started order=antibiotic dose=2026-06-01T{clock}" for clock in ("09:00", "21:00"))
    with pytest.raises(AskBackError) as caught:
        hear("skipped cefazolin", lines, now="06-05 10:30", edits=edits)
    assert caught.value.problem.startswith("cefazolin")


def test_which_order_is_asked_where_more_than_one_fits() -> None:
    """At 21:30 both cefazolin (21:00) and nutrition (20:00) are waiting."""
    asked = question("started", now="06-02 20:30")
    assert asked.problem == "Which infusion?"
    assert [choice.words for choice in asked.choices] == ["cefazolin", "parenteral nutrition"]
    assert plain(hear("started red", now="06-02 20:30")) == lines_of(f"06-02 20:30 started {NINE_PM}")


def test_which_infusion_ends_is_asked_where_more_than_one_runs() -> None:
    lines = f"{RUNS}\n06-01 20:05 started order=night dose=2026-06-01T20:00"
    asked = question("finished and flushed", lines)
    assert [choice.changes["order"] for choice in asked.choices] == ["antibiotic", "night"]
    assert "started Mon 1 Jun 2026, 20:05 CDT" in asked.choices[1].words
    assert plain(hear("finished white", lines)) == lines_of("06-02 10:30 finished order=night dose=2026-06-01T20:00")


OPEN = "\n".join(
    f"{day} {clock} started order=antibiotic dose=2026-{day}T{clock}"
    for day in ("06-01", "06-02")
    for clock in ("09:00", "21:00")
)
"""Four doses of cefazolin in the red lumen, of which no finish is recorded."""


@pytest.mark.parametrize(
    ("saying", "now", "key"),
    [
        ("finished cefazolin and flushed", "06-02 22:05", "2026-06-02T21:00"),  # the last that was started
        (
            "finished red and flushed today 10:05",
            "06-02 22:05",
            "2026-06-02T09:00",
        ),  # the last that was started by then
        ("finished red yesterday 22:00", "06-02 22:05", "2026-06-01T21:00"),
        ("stopped early red", "06-02 21:30", "2026-06-02T21:00"),
    ],
)
def test_what_a_later_start_has_overtaken_is_not_what_ends(saying: str, now: str, key: str) -> None:
    assert hear(saying, OPEN, now)[0].dose == key


def test_an_infusion_that_was_overtaken_is_still_offered_and_can_be_named() -> None:
    done = f"{OPEN}\n06-02 22:00 finished {NINE_PM}"
    assert (
        "already reported as finished at Tue 2 Jun 2026, 22:00"
        in question("finished cefazolin 22:01", done, "06-02 22:05").problem
    )
    (named,) = hear("finished cefazolin yesterday 22:00", done, "06-02 23:30", dose="2026-06-01T09:00")
    assert named.dose == "2026-06-01T09:00"
    two = f"{RUNS}\n06-02 10:00 started order=extra dose=2026-06-02T10:00"
    extra = PLAN + (
        "[order.extra]\ndrug = 'gentamicin'\nlumen = 'red'\nclock_times = ['10:00']\nfirst_dose = '2026-06-02 10:00'\n"
        "last_day = 2026-06-06\nduration = '30 min'\nleast_spacing = '8 h'\n"
    )
    asked = question("finished red", two, "06-02 10:30", extra)
    assert len(asked.choices) == 2, "the first one was to run on when the second was started: either may be meant"


def test_a_start_over_an_infusion_without_a_finish_asks_for_that() -> None:
    lines = told("started cefazolin", RUNS, now="06-02 21:00")
    asked = "No finish is recorded of cefazolin, started 09:40 CDT, in the same lumen. When did it finish?"
    assert any(line.startswith(asked) for line in lines)
    flushed = told("flushed red", RUNS, now="06-02 10:45")
    assert any(line.startswith(asked) for line in flushed)
    assert not any("No finish is recorded" in line for line in told("flushed red", RUNS, now="06-02 10:00"))
    assert not any("No finish is recorded" in line for line in told("started cefazolin", DONE, now="06-02 21:00"))
    both = PLAN + "[order.antibiotic]\nruns_with = ['night']\nlumen = 'proximal'\n"
    night = "06-01 20:00 started order=night dose=2026-06-01T20:00"
    assert not any("No finish is recorded" in line for line in told("started cefazolin", night, "06-01 21:00", both))


def test_which_lumen_is_asked_where_nothing_says_it() -> None:
    """At 10:30 grey and blue both wait for their flush of 07:00."""
    for saying in ("flushed", "pain", "leaking", "will not flush", "out of use", "blood drawn"):
        asked = question(saying)
        assert asked.problem.endswith("Which lumen?")
        assert asked.problem.startswith("STOP. Clamp.") == (saying in ("pain", "leaking", "will not flush")), (
            "first of all"
        )
        names = ("red", "proximal", "grey", "green", "blue")
        assert [choice.say for choice in asked.choices] == [f"--lumen {name}" for name in names]
        assert [choice.words for choice in asked.choices][1] == "white lumen"


SIGNS_OF_A_LUMEN = ("pain", "swelling", "leak", "reaction", "will not flush", "no blood return")


@pytest.mark.parametrize("saying", SIGNS_OF_A_LUMEN)
def test_a_sign_is_of_no_lumen_that_was_not_named(saying: str) -> None:
    """S1, S2: that one infusion runs says nothing of where it swells; what to do does not wait for the answer."""
    asked = question(saying, RUNS)
    assert asked.problem.startswith("STOP. Clamp.")
    assert asked.problem.endswith("Which lumen?")
    assert [choice.changes["lumen"] for choice in asked.choices] == ["red", "proximal", "grey", "green", "blue"]
    one = '[lumen.red]\nlast_flushed = "2026-06-01 07:00"\n[lumen.blue]\nlast_flushed = "2026-06-01 07:00"\nin_use = false\n'
    (told_of_one,) = hear(saying, edits=one)
    assert told_of_one.lumen == "red", "the only one in use"


def test_which_infusion_does_not_flow_is_not_guessed_from_what_is_planned() -> None:
    """S3: the dose of 09:00 would run if it had been started; nobody said so."""
    asked = question("not flowing", now="06-01 09:30", edits=W9)
    assert asked.problem.startswith("Look at the clamp")
    assert asked.problem.endswith("Which lumen?")
    assert plain(hear("not flowing red", now="06-02 09:30")) == lines_of(
        f"06-02 09:30 problem sign=not_flowing lumen=red {NINE}"
    )


def test_what_is_stopped_for_a_sign_is_the_one_that_runs() -> None:
    (told_of,) = hear("stopped early for swelling", RUNS)
    assert (told_of.order, told_of.dose) == ("antibiotic", "2026-06-02T09:00")


def test_what_to_do_when_a_pump_alarms_does_not_wait_for_which_infusion_it_is() -> None:
    """S3."""
    both = f"{RUNS}\n06-01 20:05 started order=night dose=2026-06-01T20:00"
    for lines in (both, ""):
        asked = question("pump alarm", lines)
        assert asked.problem.startswith(
            "Look at the clamp and for a kink in the tube. Never force a flush. Call On-call"
        )
    assert len(question("pump alarm", both).choices) == 2


def test_the_only_lumen_needs_no_name() -> None:
    one = '[lumen.red]\nlast_flushed = "2026-06-01 07:00"\n'
    assert plain(hear("flushed", edits=one)) == lines_of("06-02 10:30 flushed lumen=red")
    assert plain(hear("pain", edits=one)) == lines_of("06-02 10:30 problem sign=pain lumen=red")


# --- Other forms of orders ---

PUMP = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.pump]
drug = "ceftriaxone"
given_as = "pump"
every = "6 h"
first_dose = "2026-06-01 09:00"
doses = 12
duration = "1 h"
kept_open = true
bag_every = "24 h"
bag_flush = []
stops = "2026-06-04 09:00"
"""


def test_a_pump_is_connected_and_disconnected_as_one_reservoir() -> None:
    """R10: a dose that a pump gives from a connected reservoir is no touch."""
    assert plain(hear("started ceftriaxone 9:05", now="06-01 09:10", edits=PUMP)) == lines_of(
        "06-01 09:05 started order=pump dose=reservoir"
    )
    runs = "06-01 09:05 started order=pump dose=reservoir"
    assert plain(hear("finished and flushed", runs, now="06-04 09:10", edits=PUMP)) == lines_of(
        "06-04 09:10 finished order=pump dose=reservoir\n06-04 09:10 flushed lumen=red"
    )
    assert plain(hear("bag changed", runs, now="06-02 09:10", edits=PUMP)) == lines_of(
        "06-02 09:10 bag-changed order=pump dose=reservoir"
    )


FOLLOWED = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.fluid]
drug = "saline bag"
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-05
duration = "60 min"
[order.amphotericin]
follows = "fluid"
duration = "2 h"
"""


def test_what_follows_another_order_is_named_after_the_dose_it_follows() -> None:
    """R2 (d): it starts when that dose has really finished."""
    fluid = "06-02 09:40 started order=fluid dose=2026-06-02T09:00"
    assert plain(hear("finished", fluid, edits=FOLLOWED)) == lines_of(
        "06-02 10:30 finished order=fluid dose=2026-06-02T09:00"
    )
    ended = f"{fluid}\n06-02 10:30 finished order=fluid dose=2026-06-02T09:00"
    assert plain(hear("started amphotericin", ended, now="06-02 10:45", edits=FOLLOWED)) == lines_of(
        "06-02 10:45 started order=amphotericin dose=2026-06-02T09:00"
    )
    assert plain(hear("started", ended, now="06-02 10:45", edits=FOLLOWED)) == lines_of(
        "06-02 10:45 started order=amphotericin dose=2026-06-02T09:00"
    )


def test_a_push_is_over_when_it_is_given_and_cannot_be_finished() -> None:
    lines = "06-02 10:00 started order=nausea dose=2026-06-02T15:00Z"
    asked = question("finished ondansetron", lines)
    assert "Nothing is recorded or planned to be running" in asked.problem


# --- Skipped, held, released, out of use ---


def test_an_idle_flush_that_is_skipped_is_the_one_that_waits_else_the_next() -> None:
    """Grey, the only lumen, was flushed at 07:00 on the 1st: planned for 19:00, then 07:00, then 19:00."""
    waits, following = (lines_of(f"06-02 10:30 skipped lumen=grey planned_for=06-02T{at}") for at in ("07:00", "19:05"))
    assert plain(hear("skipped grey", edits=GREY)) == waits
    flushed = "06-02 07:05 flushed lumen=grey"
    assert plain(hear("skipped grey", flushed, edits=GREY)) == following
    with pytest.raises(AskBackError) as caught:
        hear("skipped grey", f"06-02 09:00 lumen-out-of-use lumen=grey\n{flushed}", edits=GREY)
    assert "No flush of this lumen is planned" in caught.value.problem


@pytest.mark.parametrize(
    "before",
    [
        "06-02 09:00 problem sign=swelling lumen=red",
        "06-02 09:00 lumen-out-of-use lumen=red",
        f"{RUNS}\n06-02 10:00 stopped-early {NINE} sign=reaction",
    ],
)
def test_a_suspended_lumen_is_released_by_a_clinician_alone(before: str) -> None:
    """S1: suspended until a clinician's release is recorded."""
    for saying in ("released red", "back in use red"):
        asked = question(saying, before)
        assert "Only a clinician can release it" in asked.problem
        assert "--said-by" in asked.choices[0].say
        assert plain(hear(saying, before, said_by="nurse Ann")) == lines_of(
            "06-02 10:30 released lumen=red said_by=nurse_Ann"
        )


def test_what_is_released_is_asked_where_nothing_or_more_is_held() -> None:
    assert "What is released?" in question("released").problem
    both = "06-02 09:00 held order=antibiotic\n06-02 09:00 held order=night"
    asked = question("released", both)
    assert [choice.say for choice in asked.choices] == ["--order antibiotic", "--order night"]


def test_which_order_is_held_is_asked() -> None:
    asked = question("held")
    assert [choice.say for choice in asked.choices] == [
        f"--order {name}" for name in ("antibiotic", "night", "heart", "nausea")
    ]


AWAY = "06-01 12:00 held"


def test_home_again_asks_for_the_last_flush_there() -> None:
    """S14: held from, released at; the last flush there is asked for."""
    asked = question("home again", AWAY)
    assert "last flushed" in asked.problem
    assert asked.choices[1].changes == {"last_flush": "unknown"}
    assert plain(hear("home again", AWAY, last_flush="unknown")) == lines_of("06-02 10:30 released")
    lumens = ("red", "proximal", "grey", "green", "blue")
    expected = "06-02 10:30 released\n" + "\n".join(
        f"06-02 08:15 flushed lumen={name} elsewhere=yes" for name in lumens
    )
    assert plain(hear("home again", AWAY, last_flush="8:15")) == lines_of(expected)
    assert plain(hear("everything released", AWAY, last_flush="8:15")) == lines_of(expected)


def test_home_again_without_having_been_away_is_asked_back() -> None:
    for before in ("", "06-01 12:00 held order=antibiotic", f"{AWAY}\n06-01 18:00 released"):
        asked = question("home again", before)
        assert "Since when were you away?" in asked.problem
        assert "in hospital yesterday 21:15" in asked.choices[0].words


def test_the_example_of_a_last_flush_is_none_that_would_count_as_it_stands() -> None:
    example = question("home again", AWAY).choices[0]
    assert "yesterday 21:00" in example.words
    assert "not understood as a time" in question("home again", AWAY, **options_of(example.say)).problem


def test_a_last_flush_before_the_stay_is_not_one_of_there() -> None:
    asked = question("home again", AWAY, last_flush="2026-06-01 11:59")
    assert "Mon 1 Jun 2026, 11:59 CDT is before the stay began, at Mon 1 Jun 2026, 12:00 CDT." in asked.problem
    assert hear("home again", AWAY, last_flush="2026-06-01 12:00")[1].happened == at("06-01 12:00")


@pytest.mark.parametrize("last_flush", ["25:00", "11:00", "2026-05-30 08:00", "yesterday", "soon", "never"])
def test_a_last_flush_that_cannot_be_is_asked_back(last_flush: str) -> None:
    with pytest.raises(AskBackError):
        hear("home again", AWAY, last_flush=last_flush)


def test_a_last_flush_that_can_be_two_times_is_asked_back_with_both() -> None:
    asked = question("home again", AWAY, last_flush="8")
    assert [choice.words for choice in asked.choices] == ["Mon 1 Jun 2026, 20:00 CDT", "Tue 2 Jun 2026, 08:00 CDT"]
    told = [plain(hear("home again", AWAY, **choice.changes))[1].happened for choice in asked.choices]
    assert told == [at("06-01 20:00"), at("06-02 08:00")]
    assert all(choice.say.startswith("--last-flush ") for choice in asked.choices)


# --- What cannot be right ---

IMPOSSIBLE = [
    ("finished cefazolin 9:30", RUNS, ("cannot have been finished", "09:30 CDT", "09:40 CDT")),
    ("stopped early 9:30", RUNS, ("cannot have been stopped", "09:30 CDT", "09:40 CDT")),
    ("paused 9:30", RUNS, ("cannot have been interrupted", "09:30 CDT", "09:40 CDT")),
    ("paused", PAUSED, ("interrupted already", "10:00 CDT")),
    ("resumed", "", ("No infusion is recorded as interrupted",)),
    ("resumed", RUNS, ("No infusion is recorded as interrupted",)),
    ("resumed 9:50", PAUSED, ("No infusion is recorded as interrupted before", "09:50 CDT")),
    ("flushed grey 11:00", "", ("still to come", "10:30 CDT")),
    ("flushed grey 2026-06-01 07:59", "", ("before the plan began", "08:00 CDT")),
    ("flushed grey 24:10", "", ("24:10", "hours go from 0 to 23")),
    ("flushed grey yesterday", "", ("yesterday", "21:15")),
    ("flushed grey 9", "", ("9:00", "21:00")),
    ("flushed grey 2026-06-31 09:00", "", ("2026-06-31",)),
    ("delayed cefazolin", "", ("still to come", "11:00")),
    ("delayed cefazolin to 2026-06-02 10:00", "", ("no longer to come", "10:30 CDT")),
    ("finished ondansetron", "", ("Nothing is recorded or planned to be running", "started")),
    ("skipped green", "", ("No flush of this lumen is planned",)),
]


@pytest.mark.parametrize(("saying", "before", "told"), IMPOSSIBLE)
def test_what_cannot_be_right_is_asked_back_with_the_reason(saying: str, before: str, told: tuple[str, ...]) -> None:
    asked = question(saying, before)
    for part in told:
        assert part in asked.problem + " ".join(choice.say + choice.words for choice in asked.choices)


def test_finishing_twice() -> None:
    """The same again is one report; at another time it is asked about; its flush can still be said."""
    assert hear("finished cefazolin 10:20", DONE) == ()
    asked = question("finished cefazolin 10:25", DONE)
    assert "already reported as finished at Tue 2 Jun 2026, 10:20 CDT" in asked.problem
    assert asked.choices[0].settles
    assert plain(hear("finished and flushed", DONE)) == lines_of("06-02 10:30 flushed lumen=red")
    flushed = f"{DONE}\n06-02 10:24 flushed lumen=red"
    assert "already reported" in question("finished and flushed cefazolin", flushed).problem


def test_flushing_twice() -> None:
    """Within the handling time it may be one flush that two people report (15 min)."""
    lines = "06-02 10:10 flushed lumen=grey by=Mo"
    assert hear("flushed grey 10:10", lines) == ()
    asked = question("flushed grey 10:20", lines)
    assert "already reported by Mo, at Tue 2 Jun 2026, 10:10 CDT" in asked.problem
    assert plain(hear("flushed grey 10:20", lines, again=True)) == lines_of("06-02 10:20 flushed lumen=grey again=yes")
    assert plain(hear("flushed grey 10:26", lines)) == lines_of("06-02 10:26 flushed lumen=grey")


@pytest.mark.parametrize(
    "waits",
    ["06-02 10:13 drawn lumen=red", f"06-02 09:10 started {NINE}\n06-02 10:13 finished {NINE}"],
    ids=["draw", "finish"],
)
def test_a_flush_before_a_touch_that_waits_for_its_own_is_another_one(waits: str) -> None:
    """R15: flushed at 10:10; after the draw, or the finish, of 10:13 it is flushed once more."""
    lines = f"06-02 10:10 flushed lumen=red\n{waits}"
    assert plain(hear("flushed red 10:15", lines)) == lines_of("06-02 10:15 flushed lumen=red")
    assert "already reported" in question("flushed red 10:12", lines).problem
    flushed = f"{lines}\n06-02 10:15 flushed lumen=red"
    assert "at Tue 2 Jun 2026, 10:15 CDT" in question("flushed red 10:16", flushed).problem


SWELLS = f"{RUNS}\n06-02 10:00 problem sign=swelling lumen=red"


def test_what_ran_when_its_lumen_was_suspended_can_be_said_to_run_again() -> None:
    """S1, R18: what may have happened is never refused; that it stood until then is recorded with it."""
    assert plain(hear("resumed 10:20", SWELLS)) == lines_of(
        f"06-02 10:00 interrupted {NINE}\n06-02 10:20 resumed {NINE}"
    )
    lines = told("resumed 10:20", SWELLS)
    assert "The red lumen must not be used. It is recorded. Call On-call nurse, Fennimore Vale, 555-0142." in lines
    again = f"{SWELLS}\n06-02 10:00 interrupted {NINE}\n06-02 10:20 resumed {NINE}"
    assert "No infusion is recorded as interrupted" in question("resumed", again).problem
    assert "No infusion is recorded as interrupted" in question("resumed 10:00", SWELLS).problem


def test_what_only_a_later_revision_has_is_asked_about_or_recorded() -> None:
    """R14: an order and a lumen from the afternoon on, and something of them is reported in the morning."""
    later = PLAN + (
        '[plan]\nrevision = 2\ntakes_effect = "2026-06-02 16:00"\n[lumen.brown]\nlast_flushed = "2026-06-01 07:00"\n'
        '[order.new]\ndrug = "meropenem"\nlumen = "brown"\nclock_times = ["18:00"]\nfirst_dose = "2026-06-02 18:00"\n'
        'last_day = 2026-06-06\nduration = "30 min"\n'
    )
    compiled = after(later, "", NOW, [PLAN])

    def heard(saying: str) -> tuple[Fact, ...]:
        return report(said(saying.split(), compiled.plan), compiled, record(""), at(NOW), key="k")

    for saying, when in (
        ("started meropenem", "10:30"),
        ("not given meropenem", "10:30"),
        ("delayed meropenem to 15:00", "15:00"),
    ):
        with pytest.raises(AskBackError) as asked:
            heard(saying)
        assert asked.value.problem == (
            f"meropenem is ordered only from Tue 2 Jun 2026, 16:00 CDT on, so not at Tue 2 Jun 2026, {when} CDT. "
            "What was it, or when?"
        )
    for saying in ("flushed brown", "blood drawn brown", "out of use brown"):
        with pytest.raises(AskBackError) as asked:
            heard(saying)
        assert "The brown lumen is in the plan only from Tue 2 Jun 2026, 16:00 CDT on" in asked.value.problem
    hurts = heard("pain brown")
    kept = compile_schedule(plan(later), Record(hurts), at(NOW), [plan(PLAN)])
    assert answer(hurts, compiled, kept, at(NOW))[0].startswith("STOP."), "what endangers is never refused"


AUTUMN = """
[plan]
takes_effect = "2026-10-30 08:00"
start = "2026-10-30 08:00"
end = "2026-11-04 08:00"
[line]
placed_on = 2026-10-25
[lumen.grey]
last_flushed = "2026-10-30 07:00"
"""
SPRING = """
[plan]
takes_effect = "2027-03-12 08:00"
start = "2027-03-12 08:00"
end = "2027-03-17 08:00"
[line]
placed_on = 2027-03-08
[lumen.grey]
last_flushed = "2027-03-12 07:00"
"""


def test_a_time_in_the_repeated_hour_is_asked_back_with_both() -> None:
    """The clocks go back at 02:00 CDT on 2026-11-01, so 01:30 comes twice: 06:30Z and 07:30Z."""
    asked = question("flushed grey 1:30", now="11-01 09:00", edits=AUTUMN)
    assert "more than once" in asked.problem
    assert [(choice.words[-9:], choice.say) for choice in asked.choices] == [
        ("01:30 CDT", '--at "2026-11-01 01:30-05:00"'),
        ("01:30 CST", '--at "2026-11-01 01:30-06:00"'),
    ]
    first, second = (
        hear("flushed grey 1:30", now="11-01 09:00", edits=AUTUMN, **options_of(choice.say))[0].happened
        for choice in asked.choices
    )
    assert second - first == 60
    assert first == at("11-01 00:30") + 60


def test_a_time_that_the_clock_skipped_is_asked_back() -> None:
    """The clocks go from 02:00 CST to 03:00 CDT on 2027-03-14: there is no 02:30."""
    asked = question("flushed grey 2:30", now="2027-03-14 09:00", edits=SPRING)
    assert "There is no 2:30" in asked.problem
    assert [choice.words[-9:] for choice in asked.choices] == ["01:30 CST", "03:30 CDT"]


# --- "Done" ---


def test_done_is_what_is_due_as_it_is_planned() -> None:
    one = '[lumen.red]\nlast_flushed = "2026-06-01 07:00"\n[order.a]\nclock_times = ["09:00"]\n'
    one += 'first_dose = "2026-06-01 09:00"\nlast_day = 2026-06-05\nduration = "60 min"\n'
    start = "06-02 09:00 started order=a dose=2026-06-02T09:00"
    before = "06-01 21:30 flushed lumen=red"
    assert plain(hear("done", before, now="06-02 08:40", edits=one)) == lines_of(
        "06-02 08:40 started order=a dose=2026-06-02T09:00"
    )
    assert plain(hear("done", f"{before}\n{start}", now="06-02 10:05", edits=one)) == lines_of(
        "06-02 10:05 finished order=a dose=2026-06-02T09:00\n06-02 10:05 flushed lumen=red"
    )
    ended = f"{before}\n{start}\n06-02 10:00 finished order=a dose=2026-06-02T09:00"
    assert plain(hear("done", ended, now="06-02 10:05", edits=one)) == lines_of("06-02 10:05 flushed lumen=red")
    assert plain(hear("done 9:35 pm", "", now="06-01 21:50", edits=one))[-1:] == lines_of(
        "06-01 21:35 flushed lumen=red"
    )
    flushed = f"{ended}\n06-02 10:05 flushed lumen=red"
    assert "Nothing is due now" in question("done", flushed, now="06-02 10:30", edits=one).problem


def test_done_asks_which_where_more_than_one_waits_and_each_answer_settles_it() -> None:
    """At 10:30 nothing is recorded: two flushes of grey and a dose of cefazolin wait, among others."""
    asked = question("done")
    assert asked.problem == "More than one thing is due. Which was done?"
    assert len({choice.words for choice in asked.choices}) == len(asked.choices)
    for choice in asked.choices:
        told = hear("done", **choice.changes)
        assert told, "an answer that is chosen is taken"
    assert len({choice.say for choice in asked.choices}) == len(asked.choices), "and can be typed"


def test_a_dose_that_was_given_is_not_said_to_be_flushed() -> None:
    """R15: finished and flushed are two facts, and only one of them was said; "done" says both."""
    finish = f"06-02 10:45 finished {NINE}"
    flush = "06-02 10:45 flushed lumen=red"
    for saying in ("given", "gave", "took"):
        assert plain(hear(f"{saying} cefazolin", RUNS, now="06-02 10:45")) == lines_of(finish)
        assert plain(hear(f"{saying} cefazolin and flushed", RUNS, now="06-02 10:45")) == lines_of(f"{finish}\n{flush}")
        assert "The red lumen still has to be flushed: due now." in told(f"{saying} cefazolin", RUNS, now="06-02 10:45")
    assert plain(hear("done cefazolin", RUNS, now="06-02 10:45")) == lines_of(f"{finish}\n{flush}")
    assert plain(hear("done cefazolin", DONE)) == lines_of("06-02 10:30 flushed lumen=red")


def test_what_is_given_as_needed_is_a_dose() -> None:
    """R2 (e): nothing of it is ever due, but what is recorded counts."""
    given = "06-02 10:30 started order=nausea dose=2026-06-02T15:30Z"
    for saying in ("gave ondansetron", "took ondansetron", "given ondansetron", "done ondansetron"):
        assert plain(hear(saying)) == lines_of(given)
        assert hear(saying, given) == ()


def test_done_does_not_take_what_is_hours_ahead_for_what_was_done() -> None:
    """An infusion that is about to finish is asked about; a delivery of the afternoon is none of what waits in the morning."""
    delivery = '[task.box]\nkind = "delivery"\nlabel = "The box comes"\ndone_by = "pharmacy"\nweekdays = ["Tue"]\nat = "13:00"\n'
    runs = f"{YESTERDAY}06-02 09:05 started {NINE}\n06-02 09:05 flushed lumen=blue"
    runs += "\n06-02 08:00 finished order=night dose=2026-06-01T20:00\n06-02 08:00 flushed lumen=proximal"
    runs += "\n06-01 09:00 started order=heart dose=continuous\n06-02 09:05 flushed lumen=grey"
    edits, bag = f"{PLAN}{delivery}", "\n06-02 09:00 bag-changed order=heart dose=continuous"
    finish, box = "red lumen: finish cefazolin, Tue 2 Jun 2026, 10:05 CDT", "The box comes, Tue 2 Jun 2026, 13:00 CDT"
    asked = question("done", runs, "06-02 10:00", edits)
    assert asked.problem == "An infusion is about to finish, and something else is due. Which was done?"
    assert [choice.words for choice in asked.choices] == [
        "green lumen: change the bag of milrinone, Tue 2 Jun 2026, 09:00 CDT",
        finish,
    ]
    asked = question("done", runs + bag, "06-02 10:00", edits)
    assert asked.problem == "Nothing is due yet. Which was done?"
    assert [choice.words for choice in asked.choices] == [finish, box]
    facts = plain(hear("done", runs + bag, "06-02 10:00", edits, **asked.choices[0].changes))
    assert [found.kind for found in facts] == [Kind.FINISHED, Kind.FLUSHED]
    asked = question("done", runs + bag, "06-02 09:30", edits)
    assert [choice.words for choice in asked.choices] == [box]
    assert "Nothing is due now" in question("done red", runs + bag, "06-02 09:30", edits).problem
    (done,) = hear("done", runs + bag, "06-02 12:30", f"{edits}[order.antibiotic]\nduration = '4 h'\n")
    assert done.name == "box", "within the hour before it the box may have come"


def test_done_with_a_lumen_or_an_order_is_about_that() -> None:
    """Grey and blue are flushed with red's finishes, at 22:00 and 10:00; that of blue was given an hour early."""
    settled = "06-01 22:00 flushed lumen=grey\n06-02 09:00 flushed lumen=blue"
    assert plain(hear("done grey", settled)) == lines_of("06-02 10:30 flushed lumen=grey")
    with pytest.raises(AskBackError) as caught:
        hear("done blue", settled)
    assert "Nothing is due now" in caught.value.problem


# --- Never refused: what may have happened ---

NEVER_REFUSED = [
    ("started cefazolin 10:10", RUNS, {"again": True}),
    ("flushed grey", "06-02 09:00 lumen-out-of-use lumen=grey", {}),
    ("flushed red", "06-02 09:00 problem sign=swelling lumen=red", {}),
    ("started cefazolin", "06-02 09:00 problem sign=swelling lumen=red", {}),
    ("started cefazolin", "06-02 09:00 problem sign=will_not_flush lumen=red", {}),
    ("started cefazolin", "06-02 09:00 held order=antibiotic", {}),
    ("started cefazolin", "06-02 09:00 held", {}),
    ("started cefazolin", f"06-02 09:30 skipped {NINE}", {}),
    ("started cefazolin 16:30", YESTERDAY + DONE, {"now": "06-02 16:30"}),  # 6 h 50 min after, at least 8 h are ordered
    (
        "started ondansetron",
        "\n".join(
            f"{when} started order=nausea dose=2026-{when.replace(' ', 'T')}"
            for when in ("06-01 14:00", "06-01 20:30", "06-02 03:00")
        ),
        {},
    ),
    ("started ondansetron", "06-02 10:00 started order=nausea dose=2026-06-02T15:00Z", {}),
    ("started cefazolin", "", {"now": "06-02 15:00", "dose": "2026-06-02T09:00"}),  # past its cut-off
    ("flushed grey", "06-02 09:00 line-removed", {}),
]


@pytest.mark.parametrize(("saying", "before", "options"), NEVER_REFUSED)
def test_what_may_have_happened_is_recorded_and_answered_with_whom_to_call(
    saying: str, before: str, options: dict[str, Any]
) -> None:
    """R18: a second start, or a flush in a lumen out of use, is recorded and answered with whom to call."""
    facts = hear(saying, before, **options)
    assert len(facts) == 1
    lines = told(saying, before, **options)
    assert any("On-call nurse, Fennimore Vale, 555-0142" in line for line in lines), lines


def told(saying: str, lines: str = "", now: str = NOW, edits: str = PLAN, **options: Any) -> list[str]:
    """Return the answer to a saying."""
    facts = hear(saying, lines, now, edits, **options)
    made = plan(edits)
    kept = Record((*record(lines).facts, *facts))
    return answer(facts, after(edits, lines, now), compile_schedule(made, kept, at(now)), at(now))


@pytest.mark.parametrize(
    ("label", "say"),
    [
        ("white", "white"),
        ("WHITE one", "WHITE one"),
        ("grey red", "grey red"),
        ("noon", "proximal"),
        ("10:00", "proximal"),
    ],
)
def test_a_lumen_is_to_be_said_by_its_label_where_that_is_understood(label: str, say: str) -> None:
    made = plan(f"{PLAN}[lumen.proximal]\nlabel = '{label}'\n")
    assert lumen_to_say("proximal", made) == say
    assert said(["flushed", *say.split()], made).lumen == "proximal"


def test_the_flush_that_is_still_to_come_is_told_by_the_label() -> None:
    runs = "06-01 20:00 started order=night dose=2026-06-01T20:00"
    lines = told("finished parenteral", runs, now="06-02 08:00")
    assert "When it is flushed, say so:  flushed white" in lines


def test_the_numbers_of_what_was_too_early_or_too_much_are_told() -> None:
    """R17, R18: both numbers, and whom to call."""
    call = "Call On-call nurse, Fennimore Vale, 555-0142."
    early = told("started cefazolin", YESTERDAY + DONE, now="06-02 16:30")
    assert f"This is 6 h 50 min after the dose of 09:40 CDT; the order says at least 8 h. {call}" in early
    three = "\n".join(
        f"{when} started order=nausea dose=2026-{when.replace(' ', 'T')}"
        for when in ("06-01 11:00", "06-01 20:30", "06-02 03:00")
    )
    many = told("started ondansetron", three)
    assert f"That makes 4 in 24 h; the order says at most 3. {call}" in many
    assert "That makes" not in " ".join(told("started ondansetron 11:00", three, now="06-02 11:00")), "24 h later"
    soon = told("started ondansetron", "06-02 10:00 started order=nausea dose=2026-06-02T15:00Z")
    assert f"This is 30 min after the dose of 10:00 CDT; the order says at least 6 h. {call}" in soon
    late = told("started cefazolin", now="06-02 15:00", dose="2026-06-02T09:00")
    assert f"It was started 6 h after its time, past its cut-off. {call}" in late
    again = told("started cefazolin 10:10", RUNS, again=True)
    assert any(line.startswith("A second start is recorded. Never give a dose twice.") for line in again)


def test_the_last_dose_before_the_plan_counts_for_the_spacing_of_the_first() -> None:
    """S5: the plan states that dose, and the order's least spacing."""
    edits = PLAN + '[order.antibiotic]\nlast_dose_before_plan = "2026-06-01 04:00"\n'
    lines = told("started cefazolin", now="06-01 08:15", edits=edits)
    assert any("4 h 15 min" in line and "8 h" in line and "555-0142" in line for line in lines), lines


def test_an_early_dose_far_outside_its_window_is_said_to_be_early_with_both_numbers() -> None:
    """S5, R17: the next dose is asked about below the least spacing; here 21:00 is 4 h 30 min after."""
    lines = told("started cefazolin", DONE.replace("06-02", "06-01"), now="06-02 16:30", dose="2026-06-02T09:00")
    assert any("Ask first on the red lumen" in line and "4 h 30 min" in line and "8 h" in line for line in lines), lines


# --- The answer ---

CAUTIONS = (
    "Check name, drug",
    "STOP, clamp and call On-call nurse",
    "EMERGENCY, call Emergency services, 911",
    "comes first",
)

W9 = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.blue]
last_flushed = "2026-06-01 07:30"
idle_limit = "72 h"
[order.a]
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-05
duration = "60 min"
"""
"""Blue is flushed every third day: with red, which by 22:00 has to be flushed alone."""
W9_JOINED = f"""{W9}
[lumen.blue]
idle_limit = "12 h"
"""
"""Blue is flushed with red's finish, at 10:00, and with its idle flush, at 22:00."""


def test_a_late_finish_moves_the_next_flush_of_its_lumen_alone() -> None:
    """W9: expected to finish 10:00, finished 10:45: the limit is 22:45; other lumens unchanged."""
    start = "06-01 09:00 started order=a dose=2026-06-01T09:00"
    lines = told("finished and flushed", start, now="06-01 10:45", edits=W9)
    assert lines == [
        "It finished 45 min late. Tell On-call nurse, Fennimore Vale, 555-0142.",
        "Next flush of the red lumen 22:45 CDT (was 22:00 CDT).",
    ]


def test_a_late_start_moves_the_finish() -> None:
    """R15: a dose that starts late ends late."""
    lines = told("started 9:45", now="06-01 09:50", edits=W9)
    assert "On the red lumen, finish a moves to 10:45 CDT (was 10:00 CDT)." in lines
    assert "Next flush of the red lumen 22:45 CDT (was 22:00 CDT)." in lines
    assert len(lines) == 2


def test_a_flush_that_joins_a_late_finish_goes_with_it() -> None:
    """R11, R15: blue is to be flushed by 19:30, so it may join at 10:45 too; both then have until 22:45."""
    lines = told("started 9:45", now="06-01 09:50", edits=W9_JOINED)
    assert set(lines) == {
        "On the red lumen, finish a moves to 10:45 CDT (was 10:00 CDT).",
        "Next flush of the red lumen 22:45 CDT (was 22:00 CDT).",
        "Next flush of the blue lumen 10:45 CDT (was 10:00 CDT).",
    }


def test_a_late_finish_moves_no_flush_away_from_one_that_cannot_wait() -> None:
    """R11: red now has until 22:45, but blue joined the planned finish and has until 22:00: still one session."""
    start = "06-01 09:00 started order=a dose=2026-06-01T09:00"
    lines = told("finished and flushed", start, now="06-01 10:45", edits=W9_JOINED)
    assert lines[1:] == ["Nothing changes ahead."]


def test_a_finish_early_or_late_by_more_than_one_handling_is_to_be_told_to_somebody() -> None:
    """R15: due at 10:00; one handling takes 15 min. Whoever is spoken with next hears of it, if the plan names them."""
    start = "06-01 09:00 started order=a dose=2026-06-01T09:00"
    nurse, office = "On-call nurse, Fennimore Vale, 555-0142", "Office, 555-0143"
    later = f'{W9}[call.next_contact]\nwho = "Office"\nphone = "555-0143"\n'
    early = "It finished 27 min early. If not all of it went in, say stopped early. Tell {contact}."
    for edits, contact in ((W9, nurse), (later, office)):
        assert told("finished", start, now="06-01 09:33", edits=edits)[0] == early.format(contact=contact)
        late = told("finished", start, now="06-01 10:16", edits=edits)[0]
        assert late == f"It finished 16 min late. Tell {contact}."
    for now in ("06-01 09:45", "06-01 10:15"):
        assert not [line for line in told("finished", start, now=now, edits=W9) if line.startswith("It finished")]
    paused = f"{start}\n06-01 09:20 interrupted order=a dose=2026-06-01T09:00\n06-01 09:50 resumed order=a dose=2026-06-01T09:00"
    assert not [
        line for line in told("finished", paused, now="06-01 10:30", edits=W9) if line.startswith("It finished")
    ]
    unsaid = told("finished", now="06-01 09:33", edits=W9)
    assert not [line for line in unsaid if line.startswith("It finished")], "nobody knows when it was started"


def test_what_was_reported_as_finished_and_was_stopped_early_is_to_be_taken_back_first() -> None:
    asked = question("stopped early after 60 mL", DONE)
    assert "cefazolin was already reported as finished at Tue 2 Jun 2026, 10:20 CDT." in asked.problem
    assert "reminders undo" in asked.choices[1].words


@pytest.mark.parametrize("now", ["06-01 08:40", "06-01 09:00"])
def test_a_dose_that_was_started_is_not_said_to_be_no_longer_planned(now: str) -> None:
    """Early, or at the very minute for which it was planned."""
    lines = told("started", now=now, edits=W9)
    assert not [line for line in lines if line.startswith("No longer planned")]


def test_a_flush_at_its_planned_minute_is_not_said_to_be_gone() -> None:
    lines = told("flushed grey", "06-01 19:00 flushed lumen=grey", now="06-02 07:00")
    assert not [line for line in lines if "No longer" in line or "No more" in line]


def test_an_early_flush_names_the_planned_one_that_it_replaces() -> None:
    """S6: resets the limit; the answer names the planned flush that it replaces."""
    lines = told("flushed grey", now="06-01 18:00", edits=GREY)
    assert lines == [
        "It takes the place of the flush planned for 19:00 CDT.",
        "Next flush of the grey lumen Tue 2 Jun 2026, 06:00 CDT (was Mon 1 Jun 2026, 19:00 CDT).",
    ]


GREY = '[lumen.grey]\nlast_flushed = "2026-06-01 07:00"\n'


def test_an_early_flush_that_spares_the_planned_one_names_what_follows() -> None:
    """S6, R11. Grey is flushed with red's finish at 10:00; flushed at 09:00, it lasts until red's start at 21:00."""
    assert told("flushed grey", now="06-02 09:00") == [
        "It takes the place of the flush planned for 10:00 CDT.",
        "Next flush of the grey lumen 21:00 CDT (was 10:00 CDT).",
    ]


@pytest.mark.parametrize(("now", "stands"), [("06-01 18:00", "22:00"), ("06-02 07:00", "10:00")])
def test_whoever_hears_that_a_flush_is_replaced_hears_if_it_stands_all_the_same(now: str, stands: str) -> None:
    """S6, R11. Grey is flushed with red's finishes, at 10:00 and 22:00. After a flush at 18:00 it has until 06:00, where
    nothing is done; joining red's finish at 22:00 all the same spares that session. The phone still rings at 22:00,
    so nobody may be left to think that it will not."""
    ahead = rows(after(PLAN, f"{now} flushed lumen=grey", now), now, lumen="grey", day=f"{now[3:5]} {stands}")
    assert ahead == [f"{now[3:5]} {stands} planned idle flush"]
    lines = told("flushed grey", now=now)
    assert lines != [f"It takes the place of the flush planned for {stands} CDT.", "Nothing changes ahead."]


def test_an_early_flush_names_the_night_flush_that_it_causes() -> None:
    """S6. Flushed at 16:00, the limit of 12 h ends at 04:00; the quiet hours begin before any flush could avoid it."""
    edits = f'[household]\nquiet_hours = ["18:00-07:00"]\n{GREY}'
    assert told("flushed", now="06-01 16:00", edits=edits) == [
        "It takes the place of the flush planned for 19:00 CDT.",
        "Next flush of the grey lumen Tue 2 Jun 2026, 04:00 CDT (was Mon 1 Jun 2026, 19:00 CDT).",
        "That puts a flush of the grey lumen into the quiet hours: Tue 2 Jun 2026, 04:00 CDT.",
    ]


def test_a_flush_that_is_reported_in_the_night_is_answered_with_one_within_the_limit() -> None:
    """R8, S6. Flushed at 18:30 and reported at 23:00: the next one is due by 06:30, in the quiet hours or not. One that
    should have been at 21:59, before the report, is nothing that can still be counted on."""
    edits = f'[household]\nquiet_hours = ["22:00-07:00"]\n{GREY}'
    lines = told("flushed 18:30", now="06-01 23:00", edits=edits)
    (following,) = [line for line in lines if line.startswith("Next flush")]
    assert "2026, 06:30 CDT" in following, lines


def test_a_flush_that_a_report_makes_due_at_once_stands_with_the_cautions() -> None:
    """S14, R27: nobody knows when it was last flushed there, so it is due now; when to stop and whom to call is beside."""
    lines = told("home again", AWAY, last_flush="unknown")
    due = [line for line in lines if "10:30 CDT, due now" in line]
    assert any(line.startswith("Next flush of the grey lumen") for line in due), lines
    for caution in CAUTIONS:
        assert any(caution in line for line in lines[lines.index(due[-1]) :]), caution
    assert not any(caution in line for line in told("flushed grey") for caution in CAUTIONS)


def test_a_next_flush_beyond_the_next_infusion_is_told_as_what_it_is() -> None:
    """Infusions of an hour at 09:00 and 20:00 need no flush between them before the last of all, on the 6th. One that
    is put off to 23:30 does, by its limit of 22:20: at 20:00, when the nutrition is started anyway. Taken off that
    again, the next flush is not the next event."""
    edits = PLAN.replace('["09:00", "21:00"]', '["09:00", "20:00"]')
    lines = f"{DONE}\n06-02 10:20 flushed lumen=red"
    delayed = told("delayed cefazolin to 23:30", lines, edits=edits)
    assert "Next flush of the red lumen Tue 2 Jun 2026, 20:00 CDT (was Sun 7 Jun 2026, 09:00 CDT)." in delayed
    put_off = f"{lines}\n06-02 10:30 delayed order=antibiotic dose=2026-06-02T20:00 until=06-02T23:30"
    sooner = told("delayed cefazolin to 20:30", put_off, edits=edits, dose="2026-06-02T20:00")
    assert (
        "Next flush of the red lumen besides its infusions Sun 7 Jun 2026, 09:00 CDT (was Tue 2 Jun 2026, 20:00 CDT)."
        in sooner
    )


def test_whoever_hears_of_the_next_flush_hears_of_the_one_that_is_not_recorded() -> None:
    """R14: that of 07:30 stays overdue; nobody waits for the next one instead."""
    lines = told("flushed grey yesterday 19:30")
    (line,) = [line for line in lines if line.startswith("Next flush of the grey lumen")]
    assert line.endswith(" The one of 07:30 CDT is not recorded: was it done?"), lines
    assert not [line for line in told("flushed grey") if "is not recorded" in line]


def test_the_flush_that_was_given_in_hospital_replaces_none_that_anybody_waits_for() -> None:
    assert not [line for line in told("home again", AWAY, last_flush="8:15") if "takes the place" in line]


def test_what_a_suspended_lumen_stops_is_told_once() -> None:
    """Its starts are told not to be done; that their finishes go with them goes without saying."""
    lines = [line for line in told("swelling red") if "red lumen" in line]
    assert len([line for line in lines if line.startswith("Do not use the red lumen: start cefazolin")]) == 1
    assert not [line for line in lines if "finish cefazolin" in line]
    while_it_runs = [line for line in told("swelling red", RUNS) if line.startswith("Do not use the red lumen")]
    assert len(while_it_runs) == 1
    assert "finish cefazolin at 10:40 CDT, and 9 doses after it." in while_it_runs[0]
    running = [line for line in told("pump alarm", RUNS) if "finish cefazolin" in line]
    assert running == ["No longer planned on the red lumen: finish cefazolin at 10:40 CDT."]


def test_nothing_changes_is_said_too() -> None:
    assert told("task done dressing") == ["Nothing changes ahead."]
    assert told("counted 3 gloves") == ["Nothing changes ahead."]
    on_time = told(
        "finished and flushed", "06-01 09:00 started order=a dose=2026-06-01T09:00", now="06-01 10:00", edits=W9
    )
    assert on_time == ["Nothing changes ahead."]


def test_a_dose_that_is_newly_asked_about_is_told_with_both_numbers() -> None:
    """W13: the 06:00 dose started at 09:00 leaves 5 h to the one of 14:00; the order says 6."""
    edits = """
        [lumen.red]
        last_flushed = "2026-06-01 07:00"
        [order.a]
        every = "8 h"
        first_dose = "2026-06-02 06:00"
        doses = 6
        duration = "60 min"
        least_spacing = "6 h"
    """
    lines = told("started a", now="06-02 09:00", edits=edits)
    (asks,) = [line for line in lines if line.startswith("Ask first on the red lumen")]
    assert "start a 1 g at 14:00 CDT" in asks
    assert "This is 5 h after the dose of 09:00 CDT; the order says at least 6 h." in asks
    assert "more after it" not in asks, "one dose is asked about; its finish is no second one"
    assert asks.endswith(" Call On-call nurse, Fennimore Vale, 555-0142.")


def test_doses_that_are_asked_about_are_counted_without_their_finishes() -> None:
    """S2: the dose of 21:00, and two on each day from the 3rd to the 6th."""
    lines = told("red will not flush", f"{DONE}\n06-02 10:20 flushed lumen=red")
    (asks,) = [line for line in lines if line.startswith("Ask first on the red lumen")]
    assert "Ask first on the red lumen: flush at 20:00 CDT, and 9 doses after it." in asks


def test_a_delay_that_makes_the_next_dose_asked_about_says_whom_to_call() -> None:
    """R17: 13:00 to 21:00 is 8 h; put off to 13:30 it is 7 h 30 min."""
    lines = told("delayed cefazolin to 13:30", now="06-02 09:30", dose="2026-06-02T09:00")
    (asks,) = [line for line in lines if line.startswith("Ask first on the red lumen")]
    assert "7 h 30 min" in asks
    assert asks.endswith(" Call On-call nurse, Fennimore Vale, 555-0142.")


def test_an_interruption_is_answered_with_what_to_do_and_without_a_count_of_doses() -> None:
    """S3, R15: a standing infusion lets the lumen clot."""
    call = "On-call nurse, Fennimore Vale, 555-0142"
    lines = told("interrupted", RUNS)
    assert lines[0] == f"A standing infusion lets the lumen clot. If it does not run again soon, call {call}."
    assert f"Until cefazolin runs again: ask first before anything on the red lumen. Call {call}." in lines
    assert not [line for line in lines if "after it" in line or line.startswith("Ask first")]
    assert not [line for line in told("interrupted for pain", RUNS) if "standing infusion" in line], "STOP comes first"


def test_finished_without_its_flush_says_how_when_to_stop_and_whom_to_call() -> None:
    """R15, R27: finished without its flush is urgent, due at once."""
    lines = told("finished", RUNS)
    first = lines.index("The red lumen still has to be flushed: due now.")
    steps = [line.strip() for line in lines[first + 1 :] if line.startswith("  ")]
    assert steps[-2:] == ["Flush with 10 mL saline.", "Lock with 5 mL heparin lock, 10 units/mL (50 units)."]
    for caution in CAUTIONS:
        assert any(caution in line for line in lines[first:]), caution
    assert any("flushed red" in line for line in lines[first:])
    assert not any("still has to be flushed" in line for line in told("finished and flushed", RUNS))


SUSPENDING = ["swelling red", "pain red", "leak red", "reaction red"]
ASKING = ["red will not flush", "no blood return red"]


@pytest.mark.parametrize("before", ["", RUNS, DONE])
@pytest.mark.parametrize("saying", SUSPENDING)
def test_after_pain_or_swelling_no_flush_and_no_lock_are_offered(saying: str, before: str) -> None:
    """S1: stop, clamp, call; suspended until a clinician's release is recorded."""
    lines = told(saying, before)
    assert lines[0].startswith("STOP. Clamp. Do not flush and do not lock this lumen. Call On-call nurse")
    assert "911" in lines[0]
    assert not [
        line for line in lines if "still has to be flushed" in line or "Flush with" in line or "Lock with" in line
    ]


@pytest.mark.parametrize("saying", ["stopped early for swelling", "stopped early for a reaction after 60 mL"])
def test_after_a_dose_was_stopped_for_a_sign_no_flush_is_offered(saying: str) -> None:
    """S1."""
    lines = told(saying, RUNS)
    assert lines[0].startswith("STOP. Clamp. Do not flush and do not lock this lumen.")
    assert not [
        line for line in lines if "still has to be flushed" in line or "Flush with" in line or "Lock with" in line
    ]


@pytest.mark.parametrize("before", ["", RUNS, DONE])
@pytest.mark.parametrize("saying", ASKING)
def test_what_will_not_flush_is_not_told_to_be_flushed(saying: str, before: str) -> None:
    """S2: resets nothing; ask first; never force; call."""
    lines = told(saying, before)
    assert lines[0].startswith("STOP. Clamp. Never force a flush. Call On-call nurse, Fennimore Vale, 555-0142")
    assert not [line for line in lines if "still has to be flushed" in line or "Flush with" in line]


def test_an_occlusion_says_to_look_at_the_clamp_and_whom_to_call() -> None:
    """S3: check clamp and kink, call; the finish is unknown until resumed or stopped."""
    lines = told("pump alarm", RUNS)
    assert "clamp" in lines[0]
    assert "kink" in lines[0]
    assert "555-0142" in lines[0]
    assert any("not known" in line for line in lines)


def test_a_part_of_a_dose_makes_the_next_one_asked_about() -> None:
    """S4: volume, or unknown; the next dose is ask first."""
    lines = told("stopped early after 60 mL and flushed", RUNS)
    assert any("555-0142" in line and "before the next dose" in line for line in lines)
    assert any(line.startswith("Ask first on the red lumen: start cefazolin 1 g at 21:00 CDT") for line in lines)


def test_the_steps_after_a_dose_that_was_stopped_do_not_wait_for_its_end() -> None:
    lines = told("stopped early after 60 mL", RUNS)
    assert not [line for line in lines if "has run in full" in line]


def test_a_dose_that_was_not_given_is_not_made_up() -> None:
    """R18."""
    assert told("not given cefazolin")[0] == (
        "Do not make it up and do not double the next one. Call On-call nurse, Fennimore Vale, 555-0142."
    )


def test_saline_only_on_a_heparin_lock_is_recorded_and_answered_by_what_the_plan_says() -> None:
    """S7."""
    lines = told("flushed grey with saline only")
    assert any("does not count for the limit" in line and "555-0142" in line for line in lines)
    assert not any("does not count" in line for line in told("flushed grey with saline and heparin"))
    counts = PLAN + "[protocol]\nflush_without_lock_counts = true\n"
    assert any("lets it count" in line for line in told("flushed grey with saline only", edits=counts))


def test_a_delay_past_the_limit_brings_the_flush_that_the_lumen_needs() -> None:
    """W10, R16: flushed 21:00; its dose due 09:00 is delayed to 11:00: an idle flush at 09:00."""
    before = "06-01 09:00 started order=a dose=2026-06-01T09:00\n06-01 10:00 finished order=a dose=2026-06-01T09:00"
    before += "\n06-01 10:00 flushed lumen=red\n06-01 21:00 flushed lumen=red"
    lines = told("delayed a to 11:00", before, now="06-02 08:00", edits=W9)
    assert any(line.startswith("Next flush of the red lumen 09:00 CDT") for line in lines), lines
    assert "On the red lumen, start a 1 g moves to 11:00 CDT (was 09:00 CDT)." in lines


def test_a_delay_past_the_cut_off_says_whom_to_call_first() -> None:
    lines = told("delayed cefazolin to 13:30", now="06-02 09:30", dose="2026-06-02T09:00")
    assert any("4 h 30 min after its time, past its cut-off" in line and "555-0142" in line for line in lines)


def test_home_again_says_to_ask_whether_the_orders_stand() -> None:
    lines = told("home again", AWAY, last_flush="8:15")
    assert any("orders are still the same" in line and "555-0142" in line for line in lines)


def test_heparin_stopped_says_to_ask_what_the_lock_is_now() -> None:
    """S11."""
    lines = told("heparin stopped")
    assert lines[0].startswith("No heparin is in the plan from now on.")
    assert "555-0142" in lines[0]
    after_it = told("finished", f"{RUNS}\n06-02 10:00 heparin-stopped")
    assert not [line for line in after_it if "heparin" in line.casefold()]


def test_an_exchanged_line_offers_nothing_on_the_old_lumens() -> None:
    """R19."""
    lines = told("line exchanged", DONE)
    assert any("plan of the new line" in line and "555-0142" in line for line in lines)
    assert not [line for line in lines if "still has to be flushed" in line]


@pytest.mark.parametrize(
    "saying", ["in hospital", "line removed", "swelling red", "heparin stopped", "delayed cefazolin to 12:30"]
)
def test_what_changes_is_told_in_few_lines_whatever_happens(saying: str) -> None:
    """A person reads the answer on a phone or in a hurry; a stay in hospital changes a hundred events."""
    lines = told(saying)
    assert len(lines) <= 5 + 10 * 5, "at most ten lines for each of five lumens"
    assert len(set(lines)) == len(lines)


def test_a_skipped_flush_that_lets_the_limit_pass_is_said_to() -> None:
    """R16: with a flush skipped the lumen would lie idle for longer than its limit; that is not passed over."""
    lines = told("skipped grey", "06-02 07:05 flushed lumen=grey")
    assert any("555-0142" in line for line in lines) or any("19:05" in line and "limit" in line for line in lines), (
        lines
    )
