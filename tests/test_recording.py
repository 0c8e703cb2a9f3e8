"""The commands about what really happened, as a household uses them: record, undo, due, in use, export, import.

Plans are written into the test's own folder. Everything in them is invented; all times are Chicago's, in June 2026.
"""

import os
import random
import shlex
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from small_plans import DAILY, plan_text

from reminders.cli import main
from reminders.record.facts import Fact, Kind
from reminders.record.lines import line_of
from reminders.record.store import Store, record_path
from reminders.saying.phrases import FILLERS, PHRASES

PLAN_ID = uuid.UUID("0f0e8a52-6a0b-4c53-8d3e-6f5a1f0b9c11")
HOME = f"""{DAILY}
[lumen.grey]
last_flushed = "2026-06-01 07:30"
"""
"""Red: cefazolin at 09:00 for an hour, to be flushed by 22:00 and 10:00 in between. Grey joins: 10:00 and 22:00."""
APART = f"""{HOME}
[lumen.grey]
idle_limit = "72 h"
"""
"""Grey is to be flushed every third day only, so that nothing is gained by keeping a flush of red for it."""
SECOND = f"""{HOME}
[plan]
revision = 2
takes_effect = "2026-06-03 08:00"
[order.cefazolin]
clock_times = ["11:00"]
first_dose = "2026-06-01 11:00"
"""
"""The second revision: from the 3rd on the dose comes at 11:00."""
EMERGENCY = "Emergency services, 911"
CALL = "On-call nurse, Fennimore Vale, 555-0142"


def write(folder: Path, edits: str = HOME, name: str = "plan.toml") -> Path:
    """Write the base plan with edits as a file."""
    path = folder / name
    path.write_text(plan_text(edits), encoding="utf-8")
    return path


@pytest.fixture(name="plan")
def a_plan_file(tmp_path: Path) -> Path:
    return write(tmp_path)


def run(*arguments: str | Path) -> Result:
    """Run a command; a failure of the program itself is raised, not swallowed."""
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output
    return result


def at(moment: str) -> tuple[str, str]:
    """Return the option that makes ``06-01 10:45`` (or a moment with its year and offset) the present."""
    return "--now", moment if len(moment) > 11 else f"2026-{moment}-05:00"


def tell(plan: Path, moment: str, *what: str) -> list[str]:
    """Record something that is taken up at once; return the lines of the answer."""
    result = run("record", plan, *what, *at(moment))
    assert result.exit_code == 0, result.output
    assert result.stderr == ""
    return result.stdout.splitlines()


def refused(*arguments: str | Path) -> str:
    """Run a command that must fail with a message and nothing else; return the message."""
    result = run(*arguments)
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    assert result.stderr.strip()
    return result.stderr


def facts(plan: Path) -> tuple[Fact, ...]:
    """Return what is in the record beside a plan."""
    store = Store.open(record_path(plan, PLAN_ID), PLAN_ID, create=False)
    if store is None:
        return ()
    with store:
        return store.read().facts


def told(plan: Path) -> list[str]:
    """Return the facts that people have reported, in short."""
    kept = [fact for fact in facts(plan) if fact.kind not in (Kind.IN_USE, Kind.PUBLISHED)]
    return [" ".join(part for part in (fact.kind.value, fact.order, fact.lumen) if part) for fact in kept]


def due(plan: Path, moment: str) -> dict[str, list[str]]:
    """Return the list of what is due, by lumen; what follows the lumens stands under the empty name."""
    result = run("due", plan, *at(moment))
    assert result.exit_code == 0, result.output
    heading, *blocks = result.stdout.strip("\n").split("\n\n")
    assert heading.count("\n") == 0
    found = {}
    for block in blocks[:-1]:
        name, *lines = block.split("\n")
        assert all(line.startswith("  ") for line in lines)
        found[name.removesuffix(" lumen")] = [line.strip() for line in lines]
    return {**found, "": blocks[-1].split("\n")}


# --- record ---


def test_the_first_report_begins_the_record_with_the_plan_in_use(plan: Path) -> None:
    text = plan.read_text(encoding="utf-8")
    tell(plan, "06-01 09:05", "started")
    first, second = facts(plan)
    assert (first.kind, first.revision, first.plan_text) == (Kind.IN_USE, 1, text)
    assert (second.kind, second.order, second.dose) == (Kind.STARTED, "cefazolin", "2026-06-01T09:00")
    tell(plan, "06-01 10:05", "finished")
    assert [fact.kind for fact in facts(plan)].count(Kind.IN_USE) == 1
    assert plan.read_text(encoding="utf-8") == text


def test_a_late_finish_is_answered_with_the_flush_that_moves(tmp_path: Path) -> None:
    """W9: expected to finish 10:00, finished 10:45: the limit ends at 22:45; the other lumen is unchanged."""
    plan = write(tmp_path, APART)
    tell(plan, "06-01 09:00", "started")
    assert tell(plan, "06-01 10:45", "finished", "and", "flushed") == [
        "Recorded: Mon 1 Jun 2026, 10:45 CDT: cefazolin 1 g, dose of 09:00, finished.",
        "Recorded: Mon 1 Jun 2026, 10:45 CDT: the red lumen was flushed.",
        f"It finished 45 min late. Tell {CALL}.",
        "Next flush of the red lumen 22:45 CDT (was 22:00 CDT).",
    ]


def test_a_late_finish_moves_no_flush_away_from_one_that_cannot_wait(plan: Path) -> None:
    """W9, R11: red now has until 22:45, but grey joined the finish at 10:00 and has until 22:00: still one session."""
    tell(plan, "06-01 09:00", "started")
    assert tell(plan, "06-01 10:45", "finished", "and", "flushed")[-1] == "Nothing changes ahead."


def test_what_is_read_back_names_time_who_and_remark(plan: Path) -> None:
    lines = tell(plan, "06-01 18:00", "flushed", "grey", "20", "min", "ago", "--by", "Mo", "--note", "a bit stiff")
    assert lines[0] == (
        "Recorded: Mon 1 Jun 2026, 17:40 CDT: the grey lumen was flushed, reported by Mo, note: a bit stiff."
    )
    (flush,) = [fact for fact in facts(plan) if fact.kind is Kind.FLUSHED]
    assert (flush.by, flush.note) == ("Mo", "a bit stiff")


def test_which_flush_or_dose_was_skipped_is_read_back(plan: Path) -> None:
    """Grey was to be flushed when red's dose finishes, at 10:00."""
    assert "10:00 CDT" in tell(plan, "06-01 18:00", "skipped", "grey")[0]
    assert "dose of 09:00" in tell(plan, "06-01 08:30", "skipped", "cefazolin")[0]


def test_what_is_said_may_be_one_argument_or_many(plan: Path) -> None:
    tell(plan, "06-01 09:00", "started cefazolin")
    tell(plan, "06-01 10:00", "finished and", "flushed")
    assert told(plan) == ["started cefazolin", "finished cefazolin", "flushed red"]


def test_nothing_said_is_a_misuse(plan: Path) -> None:
    assert run("record", plan, *at("06-01 09:00")).exit_code == 2
    assert facts(plan) == ()


def test_what_is_not_understood_leaves_no_trace(plan: Path) -> None:
    for what, parts in (
        ("injected it", ("gave", "started")),
        ("gave vancomycin", ("vancomycin", "cefazolin", "red lumen")),
    ):
        message = refused("record", plan, *what.split(), *at("06-01 09:00"))
        assert all(part in message for part in parts)
        assert "Nothing was recorded." in message
    assert [path.name for path in plan.parent.iterdir()] == ["plan.toml"]


QUESTIONS = [
    ("06-01 15:00", "started", ("Which dose of cefazolin was it?", "09:00 CDT", "Tue 2 Jun 2026, 09:00 CDT", "--dose")),
    ("06-01 09:30", "flushed", ("Which lumen?", "red", "grey")),
    ("06-01 09:30", "flushed grey 10:00", ("still to come", "09:30 CDT")),
    ("06-01 09:30", "flushed grey 7:00", ("before the plan began", "08:00 CDT")),
    ("06-01 09:30", "home again", ("Since when were you away?", "in hospital yesterday 21:15")),
    ("06-01 09:30", "resumed", ("No infusion is recorded as interrupted",)),
]


@pytest.mark.parametrize(("moment", "what", "parts"), QUESTIONS)
def test_a_question_where_nobody_can_answer_records_nothing(
    plan: Path, moment: str, what: str, parts: tuple[str, ...]
) -> None:
    message = refused("record", plan, *what.split(), *at(moment))
    for part in parts:
        assert part in message
    assert message.endswith("Nothing was recorded.\n")
    assert facts(plan) == ()


def offers(message: str) -> list[list[str]]:
    """Return what a question says can be added to the command, answer by answer."""
    lines = [line for line in message.splitlines() if "(add:" in line]
    return [shlex.split(line.rpartition("(add:")[2].removesuffix(")")) for line in lines]


TWO = f"""{HOME}
[order.vancomycin]
lumen = "grey"
clock_times = ["09:30"]
first_dose = "2026-06-01 09:30"
last_day = 2026-06-06
duration = "60 min"
"""
"""Grey has vancomycin at 09:30 for an hour."""
STAY = ("06-01 12:00 in hospital",)
ANSWERED = [
    ("--order", TWO, (), "06-01 09:20", "started", 2),
    ("--order", TWO, (), "06-01 09:20", "held", 2),
    ("--order", TWO, ("06-01 09:00 held cefazolin", "06-01 09:01 held vancomycin"), "06-01 09:20", "released", 2),
    ("--lumen", HOME, (), "06-01 09:30", "flushed", 2),
    ("--lumen", HOME, (), "06-01 09:30", "swelling", 2),
    ("--lumen", HOME, (), "06-01 09:30", "will not flush", 2),
    ("--lumen", HOME, (), "06-01 09:30", "out of use 9:10", 2),
    ("--dose", HOME, (), "06-01 15:00", "started", 2),
    ("--dose", HOME, (), "06-01 15:00", "not given cefazolin", 2),
    ("--dose", TWO, ("06-01 09:00 started red", "06-01 09:30 started grey"), "06-01 10:10", "pump alarm", 2),
    ("--dose", TWO, ("06-01 09:00 started red", "06-01 09:30 started grey"), "06-01 10:10", "finished and flushed", 2),
    ("--at", HOME, (), "06-01 09:30", "flushed grey 9", 1),
    ("--at", HOME, (), "06-02 09:30", "flushed grey 7", 2),
    ("--at", HOME, (), "06-02 09:30", "flushed grey 21:00", 1),
    ("--event", HOME, (), "06-01 10:20", "done", 3),  # start and finish of red, grey's flush at 10:00
    ("--again", HOME, ("06-01 09:00 started",), "06-01 09:20", "started", 1),
    ("--again", HOME, ("06-01 09:00 flushed grey",), "06-01 09:10", "flushed grey", 1),
    ("--said-by", HOME, ("06-01 09:00 swelling red",), "06-01 09:20", "released red", 1),
    ("--last-flush", HOME, STAY, "06-02 12:00", "home again", 2),
    ("--last-flush", HOME, STAY, "06-02 12:00", "home again --last-flush 8", 2),
    ("--last-flush", HOME, STAY, "06-02 12:00", "home again --last-flush 2026-06-01T11:00", 1),
]
"""Which option is offered; the plan and what is recorded; what is asked back, and how many answers it offers."""


@pytest.mark.parametrize(("option", "edits", "before", "moment", "what", "count"), ANSWERED)
def test_each_answer_that_a_question_offers_settles_it(
    tmp_path: Path, option: str, edits: str, before: Sequence[str], moment: str, what: str, count: int
) -> None:
    """Added to the very same command, in which not a word is changed."""
    plan = write(tmp_path, edits)
    for line in before:
        tell(plan, line[:11], *line[12:].split())
    whole = record_path(plan, PLAN_ID)
    kept, already = (whole.read_bytes() if before else None), facts(plan)
    found = offers(refused("record", plan, *what.split(), *at(moment)))
    assert len(found) == count
    assert all(option in added for added in found)
    answers = set()
    for added in found:
        if added == ["--last-flush", "TIME"]:
            assert "not understood as a time" in refused("record", plan, *what.split(), *added, *at(moment))
            continue
        output = run("record", plan, *what.split(), *added, *at(moment))
        assert output.exit_code == 0, output.output
        assert output.stdout.startswith("Recorded: ")
        assert len(facts(plan)) > len(already)
        answers.add(output.stdout)
        whole.unlink()
        if kept is not None:
            whole.write_bytes(kept)
    assert len(answers) == len([added for added in found if "TIME" not in added]), "each of them means something else"


def test_the_table_of_answers_has_every_option_that_a_question_offers() -> None:
    offered = {option for option, *_rest in ANSWERED}
    assert offered == {"--order", "--lumen", "--dose", "--at", "--event", "--again", "--said-by", "--last-flush"}


@pytest.mark.parametrize(
    ("what", "options", "expected"),
    [
        ("started", ("--order", "vancomycin"), "started vancomycin"),
        ("flushed", ("--lumen", "grey"), "flushed grey"),
        ("flushed red", ("--lumen", "grey"), "flushed grey"),  # what is added goes before the words
        ("pain", ("--lumen", "red"), "problem red"),
    ],
)
def test_what_is_added_settles_what_the_words_left_open(
    tmp_path: Path, what: str, options: Sequence[str], expected: str
) -> None:
    plan = write(tmp_path, TWO)
    tell(plan, "06-01 09:20", *what.split(), *options, "--at", "9:05")
    assert told(plan) == [expected]
    assert "2026-06-01T14:05Z" in line_of(facts(plan)[-1])


@pytest.mark.parametrize(("option", "known"), [("--order", "cefazolin"), ("--lumen", "red, grey")])
def test_a_name_that_the_plan_does_not_have_is_refused(plan: Path, option: str, known: str) -> None:
    message = refused("record", plan, "flushed", option, "mauve", *at("06-01 09:30"))
    assert message == f'"mauve" is none of {known}. Nothing was recorded.\n'


def test_an_event_or_a_dose_that_is_not_there_is_refused(plan: Path) -> None:
    assert "Nothing is due now" in refused("record", plan, "done", "--event", "mauve", *at("06-02 09:30"))
    assert "no dose" in refused("record", plan, "started", "--dose", "mauve", *at("06-01 09:30"))
    assert facts(plan) == ()


def test_a_sign_of_danger_is_answered_with_whom_to_call_even_if_the_lumen_is_asked(plan: Path) -> None:
    """R27, S1: whoever says pain or swelling is told to stop, to clamp and whom to call, named lumen or not."""
    for what in ("pain", "swelling", "leak", "reaction", "will not flush", "cant flush", "blocked"):
        output = run("record", plan, *what.split(), *at("06-01 09:30")).output
        assert "STOP" in output, what
        assert CALL in output, what


@pytest.mark.parametrize(
    "what",
    [
        *("fever", "chest pain", "short of breath", "chills", "bleeding", "faint", "line broken"),
        *("help", "i have a fever and chills", "severe chest pain", "cannot breathe", "red fell out", "no chest pain"),
    ],
)
def test_an_emergency_in_other_words_is_answered_with_whom_to_call(plan: Path, what: str) -> None:
    """R27: even what is not understood must not leave somebody in danger with a list of words."""
    output = run("record", plan, *what.split(), *at("06-01 09:30")).output
    assert f"a broken line (clamp between the break and your body): call {EMERGENCY} first." in output
    assert f"Fever, or anything else that worries you: call {CALL} now. A record is no call for help.\n" in output


@pytest.mark.parametrize(
    ("contact", "told_to_call"),
    [
        ("", f"Dressing wet, loose or soiled: call {CALL}. A record is no call for help."),
        (
            '[call.same_day]\nwho = "Office"\nphone = "555-0143"\n',
            f"Dressing wet, loose or soiled: call Office, 555-0143 the same day. Pain, swelling, a leak or fever with it: call {CALL} "
            "now. A record is no call for help.",
        ),
    ],
)
def test_a_wet_dressing_is_no_emergency(tmp_path: Path, contact: str, told_to_call: str) -> None:
    """R27: whom to call is what the cautions name for it."""
    plan = write(tmp_path, HOME + contact)
    for about in ((), ("red",)):
        lines = tell(plan, "06-01 09:30", "dressing", "wet", *about)
        assert lines[1] == told_to_call
        assert EMERGENCY not in "\n".join(lines)


def test_a_sign_about_the_whole_line_stands_first_in_what_is_due_until_a_clinician_releases_it(plan: Path) -> None:
    """S1, R27: nothing of it belongs to one lumen, so it is said before all of them."""

    def heads(moment: str) -> list[str]:
        return run("due", plan, *at(moment)).stdout.split("\n\n")[1:-2]

    assert len(heads("06-01 09:00")) == 1, "the second lumen, and nothing before the first"
    tell(plan, "06-01 09:26", "line", "broken")
    stop = (
        "STOP: Line broken, since 09:26 CDT. Clamp between the break and your body. Call Emergency services, 911 now. "
    )
    assert heads("06-01 09:30")[0] == f"{stop}Use no lumen until a clinician says so."
    tell(plan, "06-01 09:40", "fever")
    assert heads("06-01 09:45")[1] == (
        f"STOP: Fever, since 09:40 CDT. Call {CALL} now. Use no lumen until a clinician says so."
    )
    assert "only a clinician can release the line. Who did?" in refused(
        "record", plan, "everything", "released", *at("06-01 10:00")
    )
    lines = tell(plan, "06-01 10:00", "everything", "released", "--said-by", "nurse Ann")
    assert lines[0] == "Recorded: Mon 1 Jun 2026, 10:00 CDT: everything released, as nurse Ann said."
    assert not any("before the stay" in line for line in lines), "nobody was away"
    assert len(heads("06-01 10:05")) == 1


def test_a_dose_of_before_a_revision_is_read_back_as_it_was_ordered_then(tmp_path: Path) -> None:
    """R14: what lies before a revision's instant is what the earlier one says."""
    plan = write(tmp_path)
    tell(plan, "06-01 09:00", "started")
    write(tmp_path, HOME + '[plan]\nrevision = 2\ntakes_effect = "2026-06-01 09:30"\n[order.cefazolin]\ndose = "3 g"\n')
    tell(plan, "06-01 09:25", "in", "use")
    assert tell(plan, "06-01 10:00", "finished")[0].endswith("cefazolin 1 g, dose of 09:00, finished.")
    assert run("undo", plan, *at("06-01 10:01")).stdout.splitlines()[0].endswith("1 g, dose of 09:00, finished.")
    assert tell(plan, "06-02 09:00", "started")[0].endswith("cefazolin 3 g, dose of 09:00, started.")


def test_a_sign_in_plain_words_is_kept_as_a_remark(plan: Path) -> None:
    tell(plan, "06-01 09:30", "chest", "pain")
    tell(plan, "06-01 09:31", "fever", "--note", "38.9")
    assert told(plan) == ["problem", "problem"]
    assert [fact.note for fact in facts(plan)[1:]] == ["chest pain", "fever: 38.9"]


def test_the_repeated_hour_is_asked_back_and_what_it_says_to_type_works(tmp_path: Path) -> None:
    """The clocks go back at 02:00 CDT on 2026-11-01."""
    autumn = (
        '[plan]\ntakes_effect = "2026-10-30 08:00"\nstart = "2026-10-30 08:00"\nend = "2026-11-04 08:00"\n[line]\n'
        'placed_on = 2026-10-25\n[lumen.red]\nlast_flushed = "2026-10-30 07:00"\n'
    )
    now = at("2026-11-01 09:00-06:00")
    for offset, shown in (("-05:00", "01:30 CDT"), ("-06:00", "01:30 CST")):
        plan = write(tmp_path, autumn)
        message = refused("record", plan, "flushed", "1:30", *now)
        assert "more than once" in message
        assert shown in message
        added = ["--at", f"2026-11-01 01:30{offset}"]
        assert added in offers(message)
        for said in (["1:30", *added], ["2026-11-01", f"01:30{offset}"]):
            result = run("record", plan, "flushed", *said, *now)
            assert result.stdout.startswith(f"Recorded: Sun 1 Nov 2026, {shown}: the red lumen was flushed.")
            record_path(plan, PLAN_ID).unlink()


def test_a_remark_of_several_lines_is_kept_on_one(plan: Path) -> None:
    lines = tell(plan, "06-01 09:00", "flushed", "grey", "--note", "first\nsecond")
    assert lines[0].endswith("note: first second.")
    assert facts(plan)[-1].note == "first second"


@pytest.mark.parametrize("name", ["\x1b[31mred", "a\x00b", "\x9b"])
def test_a_control_character_is_refused_or_left_out(plan: Path, name: str) -> None:
    """What is kept is shown on screens later; none may be steered by it."""
    run("record", plan, "task", "done", "dressing", "--note", name, "--by", name, *at("06-01 09:00"))
    assert all((fact.note + fact.by).isprintable() for fact in facts(plan))


def test_a_plan_that_is_missing_or_has_errors_is_told(tmp_path: Path) -> None:
    assert "none.toml" in refused("record", tmp_path / "none.toml", "flushed", *at("06-01 09:00"))
    broken = write(tmp_path, HOME + '[order.cefazolin]\nduration = "60"\n')
    for command in (("record", broken, "flushed"), ("undo", broken), ("due", broken)):
        message = refused(*command, *at("06-01 09:00"))
        assert "ERROR" in message
        assert "duration" in message
    assert [path.name for path in tmp_path.iterdir()] == ["plan.toml"]


# --- One report, sent twice ---


@pytest.mark.parametrize(
    "what", ["flushed grey", "started", "finished and flushed", "skipped grey", "pain red", "held"]
)
@pytest.mark.parametrize("later", ["06-01 09:40", "06-01 09:41", "06-01 11:40"])
def test_a_report_that_arrives_twice_is_one(plan: Path, what: str, later: str) -> None:
    """R13: the same key is the same report, whenever the second sending arrives and whatever "now" is by then."""
    if what == "finished and flushed":
        tell(plan, "06-01 09:00", "started")
    tell(plan, "06-01 09:40", *what.split(), "--key", "one")
    before = facts(plan)
    result = run("record", plan, *what.split(), "--key", "one", *at(later))
    assert facts(plan) == before
    assert result.exit_code == 0, result.output
    assert result.stdout == "That is recorded already; nothing was added.\n"


def test_two_reports_have_keys_of_their_own(plan: Path) -> None:
    tell(plan, "06-01 09:00", "task", "done", "dressing")
    tell(plan, "06-01 09:00", "task", "done", "dressing")
    assert told(plan) == ["task done", "task done"]
    assert len({fact.key for fact in facts(plan)}) == 3


def test_the_same_without_a_key_at_the_same_minute_is_one(plan: Path) -> None:
    for what in ("started", "flushed grey"):
        tell(plan, "06-01 09:00", *what.split())
        assert tell(plan, "06-01 09:00", *what.split()) == ["That is recorded already; nothing was added."]
    assert told(plan) == ["started cefazolin", "flushed grey"]


# --- undo ---


def test_undo_takes_back_the_last_report_whole(tmp_path: Path) -> None:
    plan = write(tmp_path, APART)
    tell(plan, "06-01 09:00", "started")
    tell(plan, "06-01 10:45", "finished", "and", "flushed")
    result = run("undo", plan, "--by", "Mo", *at("06-01 10:50"))
    assert result.exit_code == 0
    assert result.stdout.splitlines() == [
        "Taken back: Mon 1 Jun 2026, 10:45 CDT: cefazolin 1 g, dose of 09:00, finished.",
        "Taken back: Mon 1 Jun 2026, 10:45 CDT: the red lumen was flushed.",
        "Next flush of the red lumen 22:00 CDT (was 22:45 CDT).",
    ]
    withdrawn = [fact for fact in facts(plan) if fact.kind is Kind.WITHDRAWN]
    assert [fact.by for fact in withdrawn] == ["Mo", "Mo"]
    assert "cefazolin should have finished" in due(plan, "06-01 10:50")["red"][0]


def test_undo_twice_takes_back_two_and_then_there_is_nothing(plan: Path) -> None:
    for moment, what in (("06-01 09:00", "started"), ("06-01 09:10", "flushed grey")):
        tell(plan, moment, *what.split())
    assert "the grey lumen was flushed" in run("undo", plan, *at("06-01 09:20")).stdout
    assert "started" in run("undo", plan, *at("06-01 09:20")).stdout
    message = refused("undo", plan, *at("06-01 09:20"))
    assert message == "Nothing is recorded that could be taken back.\n"
    assert len(facts(plan)) == 5, "nothing is erased"


def test_whoever_takes_back_a_sign_is_told_what_to_do_if_it_was_so(plan: Path) -> None:
    """S1: taken back, the lumen is suspended no longer, and no clinician has released it."""
    line = f"Was it so all the same? Then stop, say it again, and call {CALL}."
    for what in ("swelling red", "red will not flush", "stopped early for pain", "fever"):
        if what.startswith("stopped"):
            tell(plan, "06-01 09:00", "started")
        tell(plan, "06-01 09:30", *what.split())
        assert line in run("undo", plan, *at("06-01 09:40")).stdout.splitlines()
    assert line not in run("undo", plan, *at("06-01 09:50")).stdout, "that of the start"


def test_undo_of_nothing(plan: Path) -> None:
    assert refused("undo", plan, *at("06-01 09:00")) == "Nothing is recorded that could be taken back.\n"
    assert [path.name for path in plan.parent.iterdir()] == ["plan.toml"]


def test_undo_goes_by_when_it_was_entered_not_by_when_it_happened(plan: Path) -> None:
    tell(plan, "06-01 20:00", "flushed", "grey", "19:30")
    tell(plan, "06-01 20:01", "flushed", "red", "12:00")
    assert "the red lumen was flushed" in run("undo", plan, *at("06-01 20:02")).stdout


def test_undo_never_takes_back_a_calendar_or_a_plan_in_use(plan: Path, tmp_path: Path) -> None:
    tell(plan, "06-01 09:10", "flushed", "grey")
    assert run("compile", plan, "--out", tmp_path / "out", *at("06-01 09:11")).exit_code == 0
    assert "the grey lumen was flushed" in run("undo", plan, *at("06-01 09:12")).stdout
    assert "Nothing is recorded" in refused("undo", plan, *at("06-01 09:13"))
    write(tmp_path, SECOND)
    tell(plan, "06-01 09:14", "in", "use")
    assert "Nothing is recorded" in refused("undo", plan, *at("06-01 09:15"))
    withdrawn = {fact.withdraws for fact in facts(plan)}
    assert not [fact for fact in facts(plan) if fact.kind in (Kind.PUBLISHED, Kind.IN_USE) and fact.key in withdrawn]


def test_what_was_taken_back_can_be_said_again(plan: Path) -> None:
    tell(plan, "06-01 09:10", "started", "9:05")
    run("undo", plan, *at("06-01 09:11"))
    assert tell(plan, "06-01 09:12", "started", "9:05")[0].startswith("Recorded: Mon 1 Jun 2026, 09:05 CDT: cefazolin")
    run("undo", plan, *at("06-01 09:13"))
    assert tell(plan, "06-01 09:14", "started", "9:06")[0].startswith("Recorded: Mon 1 Jun 2026, 09:06 CDT: cefazolin")
    assert "runs, until 10:06 CDT" in due(plan, "06-01 09:15")["red"][0]


# --- Revisions ---


def test_a_new_revision_is_shown_but_not_used_until_it_is_put_in_use(plan: Path, tmp_path: Path) -> None:
    tell(plan, "06-01 09:05", "started")
    write(tmp_path, SECOND)
    before = facts(plan)
    for command in (
        ("record", plan, "flushed", "grey"),
        ("compile", plan, "--out", tmp_path / "out"),
        ("undo", plan),
    ):
        message = refused(*command, *at("06-02 09:00"))
        assert "plan.toml is revision 2, and revision 1 is in use" in message
        assert "reminders record plan.toml in use" in message, "which says how to mend it"
    assert facts(plan) == before
    assert not (tmp_path / "out").exists()
    for shown in (("due", plan), ("agenda", plan, "--from", "2026-06-04", "--to", "2026-06-04")):
        result = run(*shown, *at("06-02 09:00"))
        assert result.exit_code == 0
        assert "Revision 2 is not in use yet" in result.stderr
    assert "11:00 CDT  start cefazolin" in result.stdout
    lines = tell(plan, "06-02 09:30", "in", "use")
    assert lines[0] == "Revision 2 is in use, from Wed 3 Jun 2026, 08:00 CDT on."
    assert tell(plan, "06-02 09:31", "in", "use") == ["That revision is in use already; nothing was added."]
    assert tell(plan, "06-02 09:40", "flushed", "grey")[0].startswith("Recorded")
    agenda = run("agenda", plan, "--from", "2026-06-02", "--to", "2026-06-03", *at("06-02 09:45"))
    assert agenda.stderr == ""
    assert "09:00 CDT  start cefazolin" in agenda.stdout, "until it takes effect the earlier one says what is due"
    assert "11:00 CDT  start cefazolin" in agenda.stdout


def test_an_older_revision_than_the_one_in_use_is_refused(tmp_path: Path) -> None:
    newer, older = write(tmp_path, SECOND), write(tmp_path, HOME, "older.toml")
    tell(newer, "06-01 09:05", "in", "use")
    for command in (("record", older, "flushed", "grey"), ("due", older), ("record", older, "in", "use")):
        message = refused(*command, *at("06-01 10:00"))
        assert "older.toml is revision 1, and revision 2 is in use. Use the file with revision 2" in message


def test_the_same_revision_with_other_words_is_refused(plan: Path, tmp_path: Path) -> None:
    tell(plan, "06-01 09:05", "started")
    write(tmp_path, HOME + '[order.cefazolin]\ndose = "2 g"\n')
    for command in (("record", plan, "finished"), ("due", plan), ("record", plan, "in", "use"), ("undo", plan)):
        message = refused(*command, *at("06-01 10:00"))
        assert "says revision 1, and so does the plan in use, which says something else" in message
        assert "raise revision by one" in message, "which says how to mend it"
    write(tmp_path)
    assert tell(plan, "06-01 10:00", "finished")[0].startswith("Recorded")


def test_other_remarks_and_blank_lines_change_no_plan(plan: Path) -> None:
    tell(plan, "06-01 09:05", "started")
    text = plan.read_text(encoding="utf-8")
    plan.write_text(f"# For the kitchen door\r\n\r\n{text}\n# end\n", encoding="utf-8")
    assert tell(plan, "06-01 10:00", "finished")[0].startswith("Recorded")


def test_a_plan_is_put_in_use_before_anything_else_is_recorded(plan: Path) -> None:
    assert tell(plan, "06-01 07:00", "in", "use")[0] == "Revision 1 is in use, from Mon 1 Jun 2026, 08:00 CDT on."
    assert tell(plan, "06-01 07:01", "in", "use") == ["That revision is in use already; nothing was added."]
    assert [fact.kind for fact in facts(plan)] == [Kind.IN_USE]


# --- export and import ---


def a_week(plan: Path) -> None:
    """Record some days of a household, with a mistake, a suspended lumen, a stay in hospital and a calendar."""
    for moment, what in (
        ("06-01 09:05", "started"),
        ("06-01 10:20", "finished and flushed"),
        ("06-01 19:40", "flushed grey with saline only"),
        ("06-02 08:10", "flushed grey 7:35"),
        ("06-02 09:10", "started cefazolin"),
        ("06-02 09:30", "stopped early after 30 mL for swelling"),
        ("06-02 10:00", "released red --said-by nurse"),
        ("06-02 12:00", "task done dressing"),
        ("06-02 13:00", "in hospital"),
        ("06-03 15:00", "home again --last-flush 13:10"),
        ("06-03 15:10", "counted 12 saline syringe"),
    ):
        tell(plan, moment, *what.split())
    tell(plan, "06-03 15:20", "task", "done", "cap", "—", "blau", "🩹", "--note", 'a "quoted" \\ remark, é')
    assert run("undo", plan, *at("06-03 15:25")).exit_code == 0


def seen(plan: Path, moment: str) -> list[str]:
    """Return what is shown of a plan with its record."""
    whole = ("--from", "2026-06-01", "--to", "2026-06-07")
    commands = (("due", plan), ("agenda", plan, *whole, "--steps"), ("supplies", plan, *whole))
    return [run(*command, *at(moment)).stdout for command in commands]


def test_an_export_read_elsewhere_gives_the_same_schedule_and_the_same_bytes(plan: Path, tmp_path: Path) -> None:
    assert run("compile", plan, "--out", tmp_path / "out", *at("06-01 08:00")).exit_code == 0
    a_week(plan)
    result = run("export", plan, "--out", tmp_path / "record.jsonl", *at("06-03 16:00"))
    assert result.exit_code == 0
    assert f"{len(facts(plan))} facts" in result.stdout
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    other = elsewhere / "plan.toml"
    shutil.copy(plan, other)
    read = run("import", other, tmp_path / "record.jsonl", *at("06-03 16:10"))
    assert read.exit_code == 0, read.output
    assert facts(other) == facts(plan)
    assert seen(other, "06-03 16:20") == seen(plan, "06-03 16:20")
    assert run("export", other, "--out", tmp_path / "again.jsonl", *at("06-03 16:30")).exit_code == 0
    assert (tmp_path / "again.jsonl").read_bytes() == (tmp_path / "record.jsonl").read_bytes()


def test_an_export_holds_every_revision_that_was_in_use(plan: Path, tmp_path: Path) -> None:
    """R14: what lies before a revision's instant is what the earlier one says, on the other machine too."""
    a_week(plan)
    write(tmp_path, SECOND)
    tell(plan, "06-03 15:30", "in", "use")
    assert run("export", plan, "--out", tmp_path / "record.jsonl", *at("06-03 16:00")).exit_code == 0
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    other = elsewhere / "plan.toml"
    shutil.copy(plan, other)
    assert run("import", other, tmp_path / "record.jsonl", *at("06-03 16:10")).exit_code == 0
    assert [fact.revision for fact in facts(other) if fact.kind is Kind.IN_USE] == [1, 2]
    assert facts(other) == facts(plan)
    assert seen(other, "06-03 16:20") == seen(plan, "06-03 16:20")


def test_an_import_adds_only_what_is_new(plan: Path, tmp_path: Path) -> None:
    tell(plan, "06-01 09:05", "started")
    run("export", plan, "--out", tmp_path / "one.jsonl", *at("06-01 09:06"))
    tell(plan, "06-01 10:05", "finished")
    before = facts(plan)
    result = run("import", plan, tmp_path / "one.jsonl", *at("06-01 10:10"))
    assert result.stdout == "Read 2 facts; 0 of them were new.\n"
    assert facts(plan) == before


@pytest.mark.parametrize("begun", [("06-01 08:00", "06-01 08:00"), ("06-01 08:00", "06-01 08:20")])
def test_two_machines_are_brought_together(tmp_path: Path, begun: tuple[str, str]) -> None:
    """Each reports on its own, begun at one moment or not; each reads the other's export; both then show the same."""
    plans = []
    for name in ("kitchen", "bedside"):
        (tmp_path / name).mkdir()
        plans.append(write(tmp_path / name))
    for place, moment in zip(plans, begun, strict=True):
        tell(place, moment, "in", "use")
    tell(plans[0], "06-01 09:05", "started")
    tell(plans[1], "06-01 19:35", "flushed", "grey")
    for place in plans:
        run("export", place, "--out", place.with_suffix(".jsonl"), *at("06-01 20:00"))
    for place, other in (plans, plans[::-1]):
        result = run("import", place, other.with_suffix(".jsonl"), *at("06-01 20:05"))
        assert result.exit_code == 0, result.output
    assert seen(plans[0], "06-01 20:10") == seen(plans[1], "06-01 20:10")


def test_the_record_of_another_plan_is_not_read(plan: Path, tmp_path: Path) -> None:
    tell(plan, "06-01 09:05", "started")
    run("export", plan, "--out", tmp_path / "record.jsonl", *at("06-01 09:06"))
    (tmp_path / "other").mkdir()
    other = write(tmp_path / "other", HOME + f'[plan]\nid = "{uuid.UUID(int=5 << 64 | 4 << 76 | 8 << 60)}"\n')
    message = refused("import", other, tmp_path / "record.jsonl", *at("06-01 09:10"))
    assert "another plan" in message
    assert str(PLAN_ID) in message
    assert [path.name for path in (tmp_path / "other").iterdir()] == ["plan.toml"]


def test_all_broken_lines_of_an_export_are_told_at_once_and_nothing_is_added(plan: Path, tmp_path: Path) -> None:
    a_week(plan)
    place = tmp_path / "record.jsonl"
    run("export", plan, "--out", place, *at("06-03 16:00"))
    lines = place.read_text(encoding="utf-8").splitlines()
    lines[3] = lines[3][:-5]
    lines[5] = lines[5].replace('"kind":"flushed"', '"kind":"fluhsed"').replace('"kind":"', '"kind":"x', 1)
    lines.append(
        '{"key":"a","report":"a","kind":"flushed","happened":"yesterday","entered":"2026-06-01T10:00Z","lumen":"red"}'
    )
    place.write_text("\n".join(lines) + "\n", encoding="utf-8")
    (tmp_path / "new").mkdir()
    other = write(tmp_path / "new")
    for target in (plan, other):
        before = facts(target)
        message = refused("import", target, place, *at("06-03 16:10"))
        assert [line.split(":")[0] for line in message.splitlines()] == ["Line 4", "Line 6", f"Line {len(lines)}"]
        assert facts(target) == before
    assert [path.name for path in other.parent.iterdir()] == ["plan.toml"]


@pytest.mark.parametrize(
    "content", [b"", b"\xff\xfe\x00", b"hello\n", b"{}\n", b"[plan]\n", b'{"record":"reminders record 9"}']
)
def test_a_file_that_is_no_export_is_told(plan: Path, tmp_path: Path, content: bytes) -> None:
    place = tmp_path / "what.jsonl"
    place.write_bytes(content)
    refused("import", plan, place, *at("06-01 09:00"))
    assert facts(plan) == ()


def test_an_import_of_what_is_not_there(plan: Path, tmp_path: Path) -> None:
    for place in (tmp_path / "none.jsonl", tmp_path):
        assert str(place) in refused("import", plan, place, *at("06-01 09:00"))


def test_an_import_that_contradicts_the_record_adds_nothing(plan: Path, tmp_path: Path) -> None:
    tell(plan, "06-01 09:05", "flushed", "grey", "--key", "one")
    place = tmp_path / "record.jsonl"
    run("export", plan, "--out", place, *at("06-01 09:06"))
    text = place.read_text(encoding="utf-8")
    place.write_text(text.replace('"lumen":"grey"', '"lumen":"red"'), encoding="utf-8")
    before = facts(plan)
    assert '"one"' in refused("import", plan, place, *at("06-01 09:10"))
    assert facts(plan) == before


def test_an_import_with_names_that_the_plan_does_not_have_breaks_nothing(plan: Path, tmp_path: Path) -> None:
    """A record can come from a time before a lumen or an order was renamed."""
    tell(plan, "06-01 09:05", "started")
    place = tmp_path / "record.jsonl"
    run("export", plan, "--out", place, *at("06-01 09:06"))
    more = [
        '{"key":"a","report":"a","kind":"flushed","happened":"2026-06-01T15:00Z","entered":"2026-06-01T15:00Z","lumen":"mauve"}',
        '{"key":"b","report":"b","kind":"started","happened":"2026-06-01T15:00Z","entered":"2026-06-01T15:00Z",'
        '"order":"vancomycin","dose":"2026-06-01T10:00"}',
        '{"key":"c","report":"c","kind":"started","happened":"2026-06-01T15:00Z","entered":"2026-06-01T15:00Z",'
        '"order":"cefazolin","dose":"2026-06-01T10:00","lumen":"mauve"}',
        '{"key":"d","report":"d","kind":"flushed","happened":"2026-06-01T15:30Z","entered":"2026-06-01T15:30Z",'
        '"lumen":"grey","fluids":["vodka"]}',
        '{"key":"e","report":"e","kind":"problem","happened":"2026-06-01T15:40Z","entered":"2026-06-01T15:40Z",'
        '"lumen":"mauve","sign":"swelling"}',
        '{"key":"f","report":"f","kind":"held","happened":"2026-06-01T15:50Z","entered":"2026-06-01T15:50Z","order":"nix"}',
    ]
    whole = place.read_text(encoding="utf-8")
    for line in more:
        (tmp_path / "fresh").mkdir(exist_ok=True)
        fresh = write(tmp_path / "fresh")
        place.write_text(f"{whole}{line}\n", encoding="utf-8")
        run("import", fresh, place, *at("06-01 11:00"))
        for command in (("due", fresh), ("agenda", fresh), ("undo", fresh), ("record", fresh, "flushed", "grey")):
            assert run(*command, *at("06-01 11:10")).exit_code in (0, 1)
        record_path(fresh, PLAN_ID).unlink(missing_ok=True)


def test_an_export_never_overwrites_the_plan(plan: Path) -> None:
    text = plan.read_bytes()
    assert "overwritten" in refused("export", plan, "--out", plan, *at("06-01 09:00"))
    assert plan.read_bytes() == text


def test_an_export_never_overwrites_the_record(plan: Path) -> None:
    tell(plan, "06-01 09:05", "started")
    before = facts(plan)
    run("export", plan, "--out", record_path(plan, PLAN_ID), *at("06-01 09:06"))
    assert facts(plan) == before


def test_an_export_before_anything_is_recorded(plan: Path, tmp_path: Path) -> None:
    result = run("export", plan, "--out", tmp_path / "record.jsonl", *at("06-01 09:00"))
    assert result.exit_code == 0
    assert "0 facts" in result.stdout
    read = run("import", plan, tmp_path / "record.jsonl", *at("06-01 09:01"))
    assert read.exit_code == 0
    assert told(plan) == []


# --- A record that cannot be used ---


def every_command(plan: Path) -> list[tuple[str | Path, ...]]:
    return [
        ("record", plan, "flushed", "grey"),
        ("record", plan, "in", "use"),
        ("undo", plan),
        ("due", plan),
        ("agenda", plan),
        ("export", plan, "--out", plan.parent / "out.jsonl"),
        ("compile", plan, "--out", plan.parent / "out"),
    ]


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "emptied": lambda content: b"",
    "cut in half": lambda content: content[: len(content) // 2],
    "its beginning destroyed": lambda content: b"\0" * 100 + content[100:],
    "another file in its place": lambda content: b"Dear diary" * 100,
    "a letter changed": lambda content: content.replace(b"2026-06-01T09:00", b"2026-06-01T09:30"),
}


@pytest.mark.parametrize("how", DAMAGE)
def test_a_damaged_record_is_told_and_left_alone(plan: Path, how: str) -> None:
    tell(plan, "06-01 09:05", "started")
    place = record_path(plan, PLAN_ID)
    content = DAMAGE[how](place.read_bytes())
    place.write_bytes(content)
    for command in every_command(plan):
        message = refused(*command, *at("06-01 09:30"))
        assert f'"{place}"' in message
        assert "damaged" in message
        assert "copy" in message, "how to mend it"
        assert place.read_bytes() == content
    assert sorted(path.name for path in plan.parent.iterdir()) == ["plan.toml", place.name]


def test_a_record_of_another_plan_under_the_name_of_this_one(plan: Path) -> None:
    stranger = uuid.UUID(int=5 << 64 | 4 << 76 | 8 << 60)
    store = Store.open(record_path(plan, PLAN_ID), stranger, create=True)
    assert store is not None
    store.close()
    for command in every_command(plan):
        assert "another plan" in refused(*command, *at("06-01 09:30"))


def test_a_record_that_another_program_holds_is_told_and_nothing_is_lost(
    plan: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(Store.open.__func__.__kwdefaults__, "busy_seconds", 0.01)  # type: ignore[attr-defined]
    tell(plan, "06-01 09:05", "started")
    before = facts(plan)
    with closing(sqlite3.connect(record_path(plan, PLAN_ID), isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        for command in (("record", plan, "flushed", "grey"), ("undo", plan), ("due", plan)):
            assert "in use by another program" in refused(*command, *at("06-01 09:30"))
        other.execute("ROLLBACK")
    assert facts(plan) == before
    assert tell(plan, "06-01 09:30", "flushed", "grey")[0].startswith("Recorded")


@contextmanager
def nobody_special() -> Iterator[None]:
    """Root may write everywhere, so root acts as another user meanwhile; anyone else stays who they are."""
    before = os.geteuid()
    if before == 0:
        os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(before)


@pytest.mark.skipif(os.name != "posix", reason="not run: folders without permission need POSIX")
@pytest.mark.parametrize("begun", [True, False])
def test_a_folder_that_may_not_be_written_is_told_and_can_still_be_read(begun: bool) -> None:
    """The folder is none of pytest's own, which only their owner may enter."""
    with tempfile.TemporaryDirectory() as folder:
        plan = write(Path(folder))
        plan.chmod(0o444)
        if begun:
            tell(plan, "06-01 09:05", "started")
            record_path(plan, PLAN_ID).chmod(0o444)
        before = facts(plan)
        Path(folder).chmod(0o555)
        try:
            with nobody_special():
                message = refused("record", plan, "flushed", "grey", *at("06-01 09:30"))
                assert str(record_path(plan, PLAN_ID)) in message
                if begun:
                    refused("undo", plan, *at("06-01 09:30"))
                assert run("due", plan, *at("06-01 09:30")).exit_code == 0
                assert facts(plan) == before
        finally:
            Path(folder).chmod(0o755)


# --- Calendars that were written before ---


def test_a_report_writes_the_calendars_again(plan: Path, tmp_path: Path) -> None:
    run("compile", plan, "--out", tmp_path / "out", *at("06-01 08:00"))
    calendar = tmp_path / "out" / "plan.ics"
    before = calendar.read_bytes()
    lines = tell(plan, "06-01 18:00", "flushed", "grey")
    assert lines[-1].startswith(f"Calendar written again: {calendar} (")
    assert calendar.read_bytes() != before
    undone = run("undo", plan, *at("06-01 18:05"))
    assert "Calendar written again" in undone.stdout


def test_a_calendar_that_is_gone_or_cannot_be_written_does_not_undo_the_report(plan: Path, tmp_path: Path) -> None:
    run("compile", plan, "--out", tmp_path / "out", *at("06-01 08:00"))
    shutil.rmtree(tmp_path / "out")
    result = run("record", plan, "flushed", "grey", *at("06-01 18:00"))
    assert result.exit_code == 0
    assert "is not there any more" in result.stderr
    assert "What you reported is recorded." in result.stderr
    assert told(plan) == ["flushed grey"]


# --- due ---


def test_due_names_what_waits_what_comes_and_the_last_flush(plan: Path) -> None:
    shown = due(plan, "06-01 08:30")
    assert shown["red"][0] == "Due: start cefazolin 1 g, 09:00 CDT."
    assert "Next: flush, 10:00 CDT." in shown["grey"]  # with the finish of red; by itself not before 19:30
    tell(plan, "06-01 08:40", "flushed", "grey")
    assert "Last recorded flush: 08:40 CDT, 1 h 20 min ago." in due(plan, "06-01 10:00")["grey"]


def test_the_flush_that_the_plan_states_is_not_denied(plan: Path) -> None:
    """R14: the time since each lumen's last flush is always to be had; the plan states it until one is recorded."""
    assert any("07:30" in line for line in due(plan, "06-01 08:30")["grey"])


def test_due_always_says_when_to_stop_and_whom_to_call(plan: Path) -> None:
    """R27."""
    cautions = " ".join(due(plan, "06-01 08:30")[""])
    for part in (CALL, "Emergency services, 911", "never force", "Never double a dose", "comes first"):
        assert part in cautions


def test_what_is_overdue_is_asked_about_before_it_is_asked_for(plan: Path) -> None:
    """S13: "was it done?" before what to do if it was not."""
    (line,) = [line for line in due(plan, "06-01 10:30")["red"] if "start cefazolin" in line]
    assert line.index("Was it done?") < line.index("Only if it was not given: it may be started late until 13:00 CDT")
    assert "09:00 CDT (1 h 30 min ago)" in line


def test_past_its_cut_off_a_dose_is_not_asked_for_any_more(plan: Path) -> None:
    """R18: unconfirmed, past cut-off: it may have been given; whom to call."""
    (line,) = [line for line in due(plan, "06-01 13:01")["red"] if "start cefazolin" in line and "09:00" in line]
    assert line.startswith("Unconfirmed, past its cut-off")
    assert "It may have been given." in line
    assert CALL in line
    assert "do it now" not in line


def test_what_runs_and_what_should_have_finished(plan: Path) -> None:
    """R15: a finish that nobody reports is asked for from its planned moment on."""
    tell(plan, "06-01 09:10", "started")
    assert due(plan, "06-01 10:00")["red"][0] == "cefazolin runs, until 10:10 CDT."
    late = due(plan, "06-01 11:10")["red"]
    assert late[0] == "cefazolin should have finished at 10:10 CDT, 1 h ago. Has it? An empty bag lets the lumen clot."


def test_a_finish_without_its_flush_is_due_at_once(plan: Path) -> None:
    """R15."""
    tell(plan, "06-01 09:10", "started")
    tell(plan, "06-01 10:15", "finished")
    assert due(plan, "06-01 10:16")["red"][0] == (
        "FLUSH NOW: finish cefazolin was at 10:15 CDT, and no flush is recorded since."
    )
    tell(plan, "06-01 10:20", "flushed", "red")
    assert not [line for line in due(plan, "06-01 10:21")["red"] if "FLUSH NOW" in line]


def test_a_passed_limit_is_told_with_both_times(plan: Path) -> None:
    """R16: from the limit on the list says that the lumen's limit has passed, with both times."""
    assert not [line for line in due(plan, "06-01 19:30")["grey"] if "limit" in line]
    (line,) = [line for line in due(plan, "06-01 19:31")["grey"] if "limit" in line]
    assert "limit of 12 h has passed" in line
    assert "07:30 CDT" in line
    assert "19:30 CDT" in line
    assert line.endswith(f"Was it flushed since? Then record it. Not sure? Ask {CALL}.")
    tell(plan, "06-01 19:40", "flushed", "grey", "19:20")
    assert not [line for line in due(plan, "06-01 19:41")["grey"] if "limit" in line]


def test_a_limit_that_passes_while_a_dose_waits_asks_first_whether_it_was_done(plan: Path) -> None:
    """S13: limit passed while a dose is overdue."""
    lines = due(plan, "06-02 10:30")["red"]
    (limit,) = [number for number, line in enumerate(lines) if "limit of 12 h has passed" in line]
    asked = [number for number, line in enumerate(lines) if line.startswith(("Was it done?", "Unconfirmed"))]
    assert asked
    assert max(asked) < limit


@pytest.mark.parametrize("before", ["", "started", "started|finished"])
def test_a_blocked_lumen_is_not_to_be_used_and_nothing_else_is_asked_of_it(plan: Path, before: str) -> None:
    """S1: no flush and no lock are offered on that lumen."""
    moments = iter(("06-01 09:00", "06-01 10:00"))
    for what in before.split("|") if before else ():
        tell(plan, next(moments), what)
    tell(plan, "06-01 10:05", "swelling", "red")
    for moment in ("06-01 10:06", "06-01 20:00", "06-02 09:30"):
        shown = due(plan, moment)["red"]
        assert shown[0].startswith("DO NOT USE IT, since")
        assert CALL in shown[0]
        assert not [line for line in shown if line.startswith(("FLUSH NOW", "Due:")) or "do it now" in line], shown


def test_what_a_blocked_lumen_waits_for_is_told_once(plan: Path) -> None:
    """S1. The finish of an infusion that was not started stands for nothing of its own."""
    tell(plan, "06-01 08:30", "swelling", "red")
    shown = due(plan, "06-01 10:05")["red"]
    assert len([line for line in shown if line.startswith("Not to be done now: start cefazolin 1 g, 09:00 CDT.")]) == 1
    assert not [line for line in shown if "finish" in line]


def test_three_days_without_a_word_stay_readable(plan: Path) -> None:
    """R14: everything stays on the list until it is recorded, and the list stays one that somebody reads."""
    shown = due(plan, "06-04 08:30")
    for lumen in ("red", "grey"):
        assert len(shown[lumen]) <= 8
    assert any("earlier events are not recorded" in line for line in shown["red"])


def test_where_the_household_does_not_record_nothing_is_asked(tmp_path: Path) -> None:
    """R14: there the past is unconfirmed, and nothing more."""
    plan = write(tmp_path, HOME + "[plan]\nhousehold_records = false\n")
    shown = due(plan, "06-02 20:00")
    assert not [line for lines in shown.values() for line in lines if "Was it done" in line or "limit of" in line]


def test_after_the_line_was_removed_nothing_is_due(plan: Path) -> None:
    """R19. Something ran when it was removed, and grey was waiting for its flush."""
    tell(plan, "06-02 09:00", "started")
    tell(plan, "06-02 09:30", "line", "removed")
    for moment in ("06-02 09:31", "06-02 12:00", "06-03 09:00"):
        shown = due(plan, moment)
        asked = ("Due:", "Was it done", "FLUSH NOW", "Next:", "The limit", "Unconfirmed", "cefazolin")
        assert not [line for lumen in ("red", "grey") for line in shown[lumen] if line.startswith(asked)], shown


def test_in_hospital_nothing_is_due(plan: Path) -> None:
    """S14."""
    tell(plan, "06-01 08:10", "in", "hospital")
    for moment in ("06-01 09:30", "06-02 20:00"):
        shown = due(plan, moment)
        for lumen in ("red", "grey"):
            assert "Held: looked after elsewhere." in shown[lumen]
            assert not [line for line in shown[lumen] if line.startswith(("Due:", "Was it done", "The limit", "Next:"))]


# --- Answered at a terminal ---


def at_a_terminal(answer: str, *arguments: str | Path) -> tuple[int, str]:
    """Run a command under a pseudo terminal at which one line is typed; return its exit status and what is shown."""
    import pty

    terminal, inner = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "reminders", *map(str, arguments)],
        cwd=Path(__file__).parent.parent,
        env={**os.environ, "LC_ALL": "C.UTF-8", "TERM": "dumb"},
        stdin=inner,
        stdout=inner,
        stderr=inner,
    ) as process:
        os.close(inner)
        os.write(terminal, f"{answer}\n\x04".encode())  # whoever is asked once more has gone away
        shown = b""
        while True:
            try:
                part = os.read(terminal, 65536)
            except OSError:  # Linux ends a pseudo terminal with an error
                break
            if not part:
                break
            shown += part
        os.close(terminal)
        status = process.wait(60)
    output = shown.decode().replace("\r\n", "\n")
    assert "Traceback" not in output
    return status, output


needs_posix = pytest.mark.skipif(os.name != "posix", reason="not run: pseudo terminals need POSIX")


@needs_posix
def test_a_question_is_answered_at_a_terminal(plan: Path) -> None:
    status, output = at_a_terminal("2", "record", plan, "flushed", *at("06-01 09:30"))
    assert status == 0
    assert "Which lumen?" in output
    assert "Which number?" in output
    assert "Recorded: Mon 1 Jun 2026, 09:30 CDT: the grey lumen was flushed." in output
    assert told(plan) == ["flushed grey"]


@needs_posix
@pytest.mark.parametrize("answer", ["0", "", "9", "grey", "-1"])
def test_another_answer_records_nothing(plan: Path, answer: str) -> None:
    status, _output = at_a_terminal(answer, "record", plan, "flushed", *at("06-01 09:30"))
    assert status == 1
    assert told(plan) == []


@needs_posix
def test_the_same_one_or_a_second_one_at_a_terminal(plan: Path) -> None:
    tell(plan, "06-01 09:05", "started")
    _status, output = at_a_terminal("1", "record", plan, "started", *at("06-01 09:20"))
    assert "already reported as started" in output
    assert told(plan) == ["started cefazolin"]
    status, output = at_a_terminal("2", "record", plan, "started", *at("06-01 09:20"))
    assert status == 0
    assert CALL in output
    assert told(plan) == ["started cefazolin", "started cefazolin"]
    assert facts(plan)[-1].again


@needs_posix
def test_an_unknown_last_flush_at_a_terminal(plan: Path) -> None:
    tell(plan, "06-01 08:10", "in", "hospital")
    status, _output = at_a_terminal("1", "record", plan, "home", "again", *at("06-02 12:00"))
    assert status == 1, "an answer that needs a time of its own settles nothing"
    assert told(plan) == ["held"]
    status, output = at_a_terminal("2", "record", plan, "home", "again", *at("06-02 12:00"))
    assert status == 0
    assert "Nobody can say: then the last flush recorded here counts." in output
    assert told(plan) == ["held", "released"]


@needs_posix
def test_one_of_several_things_that_are_done_at_a_terminal(plan: Path) -> None:
    status, output = at_a_terminal("1", "record", plan, "done", *at("06-02 10:30"))
    assert "More than one thing is due" in output
    assert status == 0, output
    assert len(told(plan)) >= 1


# --- Whatever is said ---

WORDS = [
    *(word for phrase in PHRASES for word in phrase.split()),
    *PHRASES,
    *FILLERS,
    *"red grey cefazolin cef r gr everything all and flushed with saline only heparin alone through the line for after".split(),
    *"60 mL 12.5 mL 0 mL swelling not no never undo in use to at".split(),
    *"now 9:40 25:10 9 noon midnight yesterday 20 min ago an hour ago Mon 21:15 2026-06-01 2026-13-01 Sun tomorrow".split(),
    *("in 20 min", "1:30 CST", "9:40 pm", "-5", "1e9", "99999999999 min ago", "2026-06-01 09:40-05:00", "9:40:30"),
    *(
        "\u00e9",
        "\u2019",
        "won\u2019t",
        "\U0001fa79",
        "\u202e",
        "\u0660\u0669:\u0664\u0660",
        "\ufb02ushed",
        "\u0130",
        "\u00df",
    ),
    *("\x00", "\n", "\t", "\x1b[31m", "\ud800", "%s", "{lumen}", "{", '"', "'", "\\", ";", "", " ", "a" * 5000),
]
OPTIONS = {
    "--at": ("9:40", "20 min ago", "yesterday 21:15", "25:00", "\u00e9", ""),
    "--order": ("cefazolin", "vancomycin", "\U0001fa79", ""),
    "--lumen": ("red", "grey", "mauve", "{lumen}", ""),
    "--event": ("0", "a", "x", "\ud800", ""),
    "--dose": (
        "2026-06-01T09:00",
        "2026-06-02T09:00",
        "continuous",
        "x",
        "2026-06-01T09:00 again 2026-06-01T09:40",
        "",
    ),
    "--last-flush": ("unknown", "9:40", "yesterday", "25:00", "\u00e9", ""),
    "--said-by": ("nurse Ann", "\U0001fa79", ""),
    "--note": ("fine", "a\nb", "\ud800", "{note}"),
    "--by": ("Mo", "\u00e9", "{by}"),
    "--key": ("k", "k", "k.1", "{key}", "\U0001fa79", "in-use-1"),
}


@pytest.mark.parametrize("seed", range(10))
def test_whatever_is_said_there_is_an_answer_and_never_a_traceback(tmp_path: Path, seed: int) -> None:
    """Thirty word salads in a row into one record: taken up whole, or refused with a message and without a trace."""
    plan = write(tmp_path)
    by_chance = random.Random(seed)
    for number in range(30):
        what = by_chance.choices(WORDS, k=by_chance.randint(1, 6))
        options: list[str] = ["--again"] if by_chance.random() < 0.2 else []
        for name, values in OPTIONS.items():
            if by_chance.random() < 0.2:
                options += [name, by_chance.choice(values)]
        before = facts(plan)
        moment = f"06-0{1 + number // 8} {9 + number % 8:02}:30"
        result = run("record", plan, *at(moment), *options, "--", *what)
        after = facts(plan)
        assert after[: len(before)] == before
        assert result.output.strip()
        if result.exit_code:
            assert after == before
        else:
            assert len(after) > len(before) or "already; nothing was added" in result.stdout
        assert run("due", plan, *at(moment)).exit_code == 0
    assert run("agenda", plan, *at("06-04 20:00")).exit_code == 0
    while (result := run("undo", plan, *at("06-04 20:00"))).exit_code == 0:
        assert "Taken back" in result.stdout
    assert result.stderr == "Nothing is recorded that could be taken back.\n"


@pytest.mark.skipif(sys.platform != "linux", reason="not run: arguments of any bytes need Linux")
@pytest.mark.parametrize("what", [[b"flushed", b"gr\xe9y"], [b"\xff\xfe"], [b"task", b"done", b"\xe9"]])
def test_bytes_that_are_no_text_are_told(plan: Path, what: Sequence[bytes]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "reminders", "record", str(plan), *what, *at("06-01 09:30")],
        cwd=Path(__file__).parent.parent,
        env={**os.environ, "LC_ALL": "C.UTF-8"},
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 1
    assert b"Traceback" not in done.stderr
    assert told(plan) == []


def test_a_remark_about_a_sign_of_the_whole_line_does_not_hide_the_sign(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(plan_text(HOME), encoding="utf-8")
    at = ("--now", "2026-06-01 14:00+00:00")
    CliRunner().invoke(main, ["record", str(plan), "fever", "--note", "38.9 since noon", *at])
    said = CliRunner().invoke(main, ["due", str(plan), *at]).output
    assert "STOP: fever: 38.9 since noon, since" in said.replace("Fever", "fever")


def test_the_history_of_days_before_the_plan_is_told_and_no_traceback(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(plan_text(HOME), encoding="utf-8")
    result = CliRunner().invoke(main, ["history", str(plan), "--from", "2026-05-20", "--to", "2026-05-21"])
    assert result.exit_code == 0, result.output
    assert "20 May 2026" in result.output
