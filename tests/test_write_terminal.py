"""Writing a plan by questions in the terminal: from nothing, with slips at every question, back and forth, and interrupted."""

import difflib
import os
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result
from own_places import own_places
from written_answers import READ_BACK, SECTIONS, typed

from reminders.cli import main
from reminders.drafting.draft import Draft, DraftError
from reminders.drafting.look import look
from reminders.files import FileError
from reminders.plan.model import Plan
from reminders.plan.read import read_plan
from reminders.plan.read_back import ReadBackState, state
from reminders.web.server import ListenError
from reminders.web.write_keep import Drafts, Kept
from reminders.web.write_server import Written, drafts_folder

SAMPLES = Path(__file__).parent.parent / "sample_plans"
THREE = SAMPLES / "three-lumens.toml"
PROTOCOL = SAMPLES / "protocols" / "fennimore-vale.toml"
NOW = ("--now", "2026-10-11 08:00-05:00")
ANSWERS = typed().splitlines()
BAD = "a\\b"
"""No key, name, word or number is written with a backslash."""


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "home", monkeypatch)
    (tmp_path / "desk").mkdir()
    monkeypatch.chdir(tmp_path / "desk")


def write(*arguments: str | Path, answers: str | bytes) -> Result:
    result = CliRunner().invoke(main, ["write", "--in-terminal", *map(str, arguments), *NOW], input=answers)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def plan_in(path: Path) -> Plan:
    reading = read_plan(path.name, path.read_bytes())
    assert reading.plan is not None and reading.complete, [finding.message for finding in reading.findings]
    return reading.plan


def sample_as(plan: Plan) -> Plan:
    """Return the sample, with the id and the reading back of another plan."""
    sample = plan_in(THREE)
    return replace(sample, course=replace(sample.course, id=plan.course.id), read_back=plan.read_back)


def lines(*answers: str) -> str:
    return "".join(f"{answer}\n" for answer in answers)


def prompts(result: Result) -> int:
    return len(re.findall(r"(?m)^  > ", result.output))


# -- from nothing


def test_the_sample_with_three_lumens_is_written_from_nothing() -> None:
    result = write("plan.toml", answers=typed(*READ_BACK, "s"))
    assert result.exit_code == 0, result.output
    written = plan_in(Path("plan.toml"))
    assert written == sample_as(written)
    assert written.course.id != plan_in(THREE).course.id and written.course.id.version == 4
    assert state(written) is ReadBackState.FITS
    assert prompts(result) == len(ANSWERS) + 3
    assert "  reminders packet plan.toml --out packet\n" in result.output
    assert "Traceback" not in result.output and not list(drafts_folder().glob("*.json"))
    text = Path("plan.toml").read_text()
    assert text.count("\n# ") == len(set(re.findall(r"(?m)^\[+(\w+)", text)))
    assert [placed.finding.code for placed in look(Draft.of(text), written.course.start.instant).findings] == [
        placed.finding.code for placed in look(Draft.of(THREE.read_text()), written.course.start.instant).findings
    ]


def test_every_question_says_what_it_means_and_published_ranges_as_what_they_are() -> None:
    output = " ".join(write("plan.toml", answers=typed("q")).output.split())
    assert "The longest time that a lumen not in use may go without a flush" in output
    assert "For orientation, not to copy: published limits range from 8 h to weeks" in output
    assert output.count("For orientation, not to copy") == output.count("not to copy")
    assert "[fluid]" not in output and "true" not in output.split()


def test_after_each_section_the_findings_so_far_are_told() -> None:
    output = " ".join(write("plan.toml", answers=lines("-", *ANSWERS[1:], "q")).output.split())
    about_line, _title, rest = output.partition("== Lumens ==")
    assert "To mend: The line, Kind of line: This has no answer." in about_line
    assert "are about what is asked later" in about_line and "[" not in about_line
    assert "Kind of line: This has no answer" not in rest  # it was said, and is not about another section
    assert rest.count("Said before and still there: 1.") == 8


def test_what_is_left_open_is_told_and_is_kept_as_a_draft_only() -> None:
    answers = list(ANSWERS)
    answers[answers.index("4 g")] = "-"
    result = write("plan.toml", answers=lines(*answers, "s"))
    assert result.exit_code == 1
    said = " ".join(result.output.split())
    assert "To mend: Orders, Order: piperacillin-tazobactam, One dose: This has no answer." in said
    assert "Nothing can be made of it until it is mended" in said
    assert "It can be read back" not in said and "Who has read it back?" not in said
    assert not Path("plan.toml").exists()
    (kept,) = (path for path in drafts_folder().rglob("*") if path.is_file() and "piperacillin" in path.read_text())
    assert "4 g" not in kept.read_text()


# -- slips, help and going back, at every question


def between(extra: Callable[[int], Sequence[str]]) -> list[str]:
    """Return the answers, each with something typed before it."""
    return [line for count, answer in enumerate(ANSWERS) for line in (*extra(count), answer)]


def test_a_bad_answer_at_each_question_is_told_and_asked_again() -> None:
    result = write(
        "plan.toml", answers=lines(*between(lambda count: [BAD]), BAD, *READ_BACK[:1], BAD, *READ_BACK[1:], BAD, "s")
    )
    assert result.exit_code == 0
    assert prompts(result) == 2 * (len(ANSWERS) + 3)
    told = re.findall(r"(?m)^  > a\\b\n    (\S.*)$", result.output)
    assert len(told) == len(ANSWERS) + 3
    assert plan_in(Path("plan.toml")) == sample_as(plan_in(Path("plan.toml")))


def test_help_at_each_question_explains_and_asks_again() -> None:
    result = write("plan.toml", answers=lines(*between(lambda count: ["?"]), "", "s"))
    assert result.exit_code == 0
    assert result.output.count("?  explains a question.") == len(ANSWERS) + 1
    assert plan_in(Path("plan.toml")) == sample_as(plan_in(Path("plan.toml")))


def test_going_back_at_each_question_changes_nothing_that_is_answered_again() -> None:
    back = between(lambda count: ["<", ANSWERS[count - 1]] if count else ["<"])
    result = write("plan.toml", answers=lines(*back, "", "s"))
    assert result.exit_code == 0
    assert result.output.count("This is the first question.") == 1
    assert plan_in(Path("plan.toml")) == sample_as(plan_in(Path("plan.toml")))


def test_a_slip_can_be_gone_back_to_and_mended() -> None:
    answers = list(ANSWERS)
    at = answers.index("4 g")
    answers[at : at + 1] = ["40 g", "red", "<", "<", "4 g"]  # the lumen was answered, then both again
    assert write("plan.toml", answers=lines(*answers, "", "s")).exit_code == 0
    assert plan_in(Path("plan.toml")) == sample_as(plan_in(Path("plan.toml")))


def test_going_back_shows_what_was_just_answered_and_enter_keeps_it() -> None:
    """Twice back from a dose of 40 g: it stands there, and so does the lumen after it; so Enter keeps neither of an older file."""
    Path("plan.toml").write_text(THREE.read_text())
    begin = ["4", "piperacillin", "", "", "40 g", "grey", "<", "<"]
    result = write("plan.toml", answers=lines(*begin, "", "", "<", "<", "5 g", "", "q"))
    after = " ".join(result.output.rpartition("  > <\n")[0].rpartition("  > <\n")[2].split())
    assert "Now: grey (Enter alone keeps it.)" in after
    assert result.output.count("Now: 40 g   (Enter alone keeps it.)") == 2 and result.output.count("Now: 4 g\n") == 1
    kept = Drafts(drafts_folder()).of(Path("plan.toml"))
    assert kept is not None
    draft = Draft.of(kept.text)
    assert (draft.typed(("order", "piperacillin", "dose")), draft.typed(("order", "piperacillin", "lumen"))) == (
        "5 g",
        "grey",
    )


def test_what_was_answered_of_another_thing_is_not_offered_for_this_one() -> None:
    """A lumen begun under a wrong name: its label is not offered for the one that is begun in its place."""
    back = [*SECTIONS[0], "rod", "rod", "<", "<", "red"]
    result = write("plan.toml", answers=lines(*back))
    asked = result.output.rpartition("What its owner sees on it")[2]
    assert "Now: rod" in result.output and "Now:" not in asked


def test_a_lumen_called_like_another_is_refused() -> None:
    answers = [*SECTIONS[0], "red", "red", "2026-10-12 06:30", "", "purple", "Red", "purple"]
    output = " ".join(write("plan.toml", answers=lines(*answers)).output.split())
    assert '"Red" is what the other lumen is called' in output


def test_a_plan_without_a_lumen_is_not_gone_on_with_by_a_slip() -> None:
    output = " ".join(write("plan.toml", answers=lines(*SECTIONS[0], "red, red", "", "red")).output.split())
    assert "One at a time" in output and "This is needed." in output
    assert "What its owner sees on it" in output


def test_a_list_of_moments_is_taken_before_the_zone_is_known() -> None:
    """A plan without a zone: a pump over 46 hours, connected on agreed days."""
    Path("plan.toml").write_text(THREE.read_text().replace('zone = "America/Chicago"\n', ""))
    begin = [
        "4",
        "pump",
        "Over 46 hours",
        "fluorouracil",
        "drug",
        "4 g",
        "red",
        "pump",
        "2026-10-14 10:00, 2026-10-28 10:00",
    ]
    output = " ".join(write("plan.toml", answers=lines(*begin)).output.split())
    assert "> 2026-10-14 10:00, 2026-10-28 10:00" in output
    assert "no instant" not in output.partition("2026-10-28 10:00")[2].partition(">")[0]
    (kept,) = (path for path in drafts_folder().rglob("*") if path.is_file() and "fluorouracil" in path.read_text())
    assert "2026-10-28 10:00" in kept.read_text()


def test_an_order_begun_in_a_wrong_shape_can_be_gone_back_from() -> None:
    answers = list(ANSWERS)
    at = answers.index("Every 8 hours (q8h), by an interval")
    answers[at:at] = ["Continuous, without a pause", "<"]
    assert write("plan.toml", answers=lines(*answers, "", "s")).exit_code == 0
    assert plan_in(Path("plan.toml")) == sample_as(plan_in(Path("plan.toml")))


def test_a_shape_by_the_clock_wants_as_many_times_as_its_name_says() -> None:
    begin = ["", "4", "cefazolin", "Every 8 hours (q8h), by the clock", "cefazolin", "drug", "2 g", "red", "infusion"]
    begin += ["08:00, 20:00", "06:00, 14:00, 22:00"]
    Path("plan.toml").write_text(THREE.read_text())
    output = " ".join(write("plan.toml", answers=lines(*begin[1:])).output.split())
    assert "has 3 times of day, and here are 2" in output


SLIPS = [
    ("PICC", "a line", "one of PICC"),
    ("2026-10-08", "8.10.2026", "is not a date"),
    ("12 h", "12", "Minutes, hours or days?"),
    ("red", "the red one", "no blanks"),
    ("red", "red, purple", "One at a time"),
    ("none", "--", "is no allergy"),
    ("Emergency services", "---", "is no name"),
    ("911", "see sheet", "is no telephone number"),
    ("saline syringe 10 mL", "*", "is no name"),
    ("4 g", "1,250 mg", 'Leave out the comma: "1250 mg"'),
    ("30 min", "15-30 min", "more than one amount"),
    ("saline 20 mL", "salin 20 mL", 'There is no "salin" so far'),
    ("4 g", "4 U", 'the unit "U"'),
    ("4 g", "4.0 g", "ends in a zero"),
    ("20:00", "8 pm", "is not a time of day. Did you mean 20:00?"),
    ("90 mL/h for 1 h, 182 mL/h for 10 h, 90 mL/h for 1 h", "90 for 1 h", "has no unit"),
    ("pair of gloves = 1", "gloves", "hub scrub = 1"),
    ("America/Chicago", "CST", "is not a zone"),
    ("22:30-06:00", "10:30pm-6am", "is not a range of hours. Did you mean 22:30-06:00?"),
    ("5", "many", "is not a whole number"),
]
"""A good answer, what is typed before it, and what is then told."""


def test_what_people_type_wrong_is_told_in_their_words() -> None:
    answers = list(ANSWERS)
    for answer, bad, _told in SLIPS:
        at = answers.index(answer)
        answers[at:at] = [bad]
    result = write("plan.toml", answers=lines("", *answers, "", "s"))
    assert result.exit_code == 0
    assert result.output.count("This is needed.") == 1  # the very first question was answered with nothing
    for _answer, bad, told in SLIPS:
        after = result.output.partition(f"  > {bad}\n")[2].partition("  > ")[0]
        assert told in " ".join(after.split()), (bad, after)
    assert plan_in(Path("plan.toml")) == sample_as(plan_in(Path("plan.toml")))


# -- interrupted


@pytest.mark.parametrize("answered", [0, 1, 7, 20, 47, 63, 90, len(ANSWERS) - 1, len(ANSWERS)])
def test_the_input_can_end_at_any_point_and_the_draft_is_gone_on_with(answered: int) -> None:
    cut = write("plan.toml", answers=lines(*ANSWERS[:answered]))
    assert cut.exit_code == 1 and not Path("plan.toml").exists()
    kept = Drafts(drafts_folder()).of(Path("plan.toml"))
    if not answered:
        assert kept is None and "Nothing was changed." in cut.output
        return
    assert kept is not None
    said = " ".join(cut.output.split())
    assert "The draft is kept in" in said and str(
        Drafts(drafts_folder()).place(Path("plan.toml"))
    ) in cut.output.replace("\n", "")
    if os.name == "posix":
        place = Drafts(drafts_folder()).place(Path("plan.toml"))
        assert place.stat().st_mode & 0o077 == 0 and place.parent.stat().st_mode & 0o077 == 0
    draft = Draft.of(kept.text)
    assert draft.typed(("line", "kind")) == "PICC"
    if answered > 20:
        assert draft.names("lumen") == ("red", "purple", "grey")
    again = write("plan.toml", answers=lines("yes", "q"))
    assert again.exit_code == 0 and "Go on with it?" in again.output  # stopped on purpose
    after = Drafts(drafts_folder()).of(Path("plan.toml"))
    assert after is not None and after.text == kept.text
    aside = write("plan.toml", answers=lines("no", "PICC"))
    assert aside.exit_code == 1
    newest = Drafts(drafts_folder()).of(Path("plan.toml"))
    assert newest is not None and newest.text != kept.text
    assert len(list(drafts_folder().glob("*.json"))) == 2  # what was put aside is not lost


@pytest.mark.parametrize("slip", ["", "-", "<", "maybe"])
def test_a_draft_is_left_aside_by_a_clear_no_alone(slip: str) -> None:
    write("plan.toml", answers=lines("PICC"))
    place = Drafts(drafts_folder()).place(Path("plan.toml"))
    before = place.read_text()
    cut = write("plan.toml", answers=lines(slip))
    assert cut.output.count("Go on with it?") + cut.output.count("Type yes or no.") >= 2
    assert place.read_text() == before and len(list(drafts_folder().glob("*.json"))) == 1
    said = write("plan.toml", answers=lines(slip, "no")).output
    (aside,) = drafts_folder().glob("*.1.json")
    assert aside.read_text() == before and str(aside) in said.replace("\n", "")


def test_what_the_browser_could_not_put_into_the_plan_is_shown() -> None:
    kept = Kept(file="", opened="", text=THREE.read_text(), at=1.7e9, beside={"order.x y.dose": "4 g"})
    Drafts(drafts_folder()).keep(None, kept)
    output = " ".join(write(answers=lines("yes", "q")).output.split())
    assert 'order.x y.dose: "4 g"' in output


def test_two_at_once_is_refused(tmp_path: Path) -> None:
    lock = Drafts(drafts_folder()).alone(Path("plan.toml"))
    try:
        result = write("plan.toml", answers="")
    finally:
        lock.release()
    assert result.exit_code == 1 and "being written elsewhere" in result.output


def test_bytes_that_are_no_text_do_not_break_it() -> None:
    result = write("plan.toml", answers=b"PICC\nno\n2026-10-08\n\xff\xfe\n")
    assert result.exit_code == 1 and "Traceback" not in result.output


def test_a_draft_that_cannot_be_kept_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(self: Drafts, path: Path | None, kept: Kept) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Drafts, "keep", full)
    result = write("plan.toml", answers=lines(*ANSWERS[:5]))
    assert result.exit_code == 1
    assert "No space left on device" in result.output and 'idle_limit = "12 h"' in result.output


def test_where_no_draft_can_be_kept_nothing_is_begun(tmp_path: Path) -> None:
    folder = drafts_folder()
    folder.parent.mkdir(parents=True, exist_ok=True)
    folder.write_text("a file where the folder should be")
    result = write("plan.toml", answers=lines(*ANSWERS[:5]))
    assert result.exit_code == 1 and "No draft can be kept" in result.output


# -- an existing plan


def test_an_existing_plan_is_asked_only_what_is_changed_and_keeps_its_remarks() -> None:
    text = "# my own remark\n" + THREE.read_text().replace('dose = "4 g"', 'dose = "4 g"  # by telephone, 9 October')
    Path("plan.toml").write_text(text)
    skip = ["piperacillin", "", "", "4.5 g"] + [""] * 19 + ["", ""]
    result = write("plan.toml", answers=lines("4", *skip, "s"))
    assert result.exit_code == 0, result.output
    gone, new = [], []
    for line in difflib.ndiff(text.splitlines(), Path("plan.toml").read_text().splitlines()):
        gone += [line[2:]] if line[0] == "-" else []
        new += [line[2:]] if line[0] == "+" else []
    assert gone == ['dose = "4 g"  # by telephone, 9 October']
    assert new == ['dose = "4.5 g"  # by telephone, 9 October']
    assert "This is revision 1." in result.output


def test_things_are_taken_out_and_renamed_by_name() -> None:
    Path("plan.toml").write_text(THREE.read_text())
    answers = lines("2", "- grey", "purple = violet", "- pink", "violet = red", "two words", "", "s")
    result = write("plan.toml", answers=answers)
    assert result.exit_code == 0, result.output
    written = plan_in(Path("plan.toml"))
    assert list(written.lumens) == ["red", "violet"] and written.orders["piperacillin"].lumen == "violet"
    assert 'There is no "pink" here.' in result.output
    assert 'There is a "red" already.' in " ".join(result.output.split())


class Typist:
    """Types prepared lines; a function among them is something that happens meanwhile."""

    def __init__(self, *steps: str | Callable[[], object]) -> None:
        self.steps = list(steps)

    def __call__(self, *_arguments: object, **_options: object) -> str:
        while self.steps and not isinstance(self.steps[0], str):
            step = self.steps.pop(0)
            assert callable(step)
            step()
        if not self.steps:
            raise click.Abort
        step = self.steps.pop(0)
        assert isinstance(step, str)
        return step


def test_a_file_that_somebody_else_changed_meanwhile_is_not_written_over(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = Path("plan.toml")
    plan.write_text(THREE.read_text())
    theirs = THREE.read_text().replace("555-0142", "555-0177")
    ours = ["7", "", "", "", "", "555-0188", *[""] * 7]
    steps = Typist(*ours, lambda: plan.write_text(theirs), "s", "plan.toml", "plan-mine.toml")
    monkeypatch.setattr("reminders.commands.asking.click.prompt", steps)
    result = write("plan.toml", answers="")
    assert result.exit_code == 0, result.output
    assert plan.read_text() == theirs
    assert "changed or made by somebody else meanwhile" in " ".join(result.output.split())
    assert "There is such a file already." in result.output
    assert plan_in(Path("plan-mine.toml")).contacts["now"].phone == "555-0188"


def test_a_new_plan_does_not_replace_a_file_that_came_meanwhile(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = Path("plan.toml")
    steps = Typist(*ANSWERS, "", lambda: plan.write_text("theirs"), "s", "")
    monkeypatch.setattr("reminders.commands.asking.click.prompt", steps)
    result = write("plan.toml", answers="")
    assert plan.read_text() == "theirs" and result.exit_code == 1  # the typist has gone; the draft is kept
    assert Drafts(drafts_folder()).of(plan) is not None


def test_a_plan_without_a_file_is_named_when_it_is_saved() -> None:
    Path("there.toml").write_text("x")
    result = write(answers=typed("", "s", "there", "a\0b", "", "s", "mine"))
    assert result.exit_code == 0, result.output
    assert plan_in(Path("mine.toml")).lumens.keys() == {"red", "purple", "grey"}


@pytest.mark.parametrize(
    ("content", "status", "told"),
    [
        (b"x = \n", 1, "not-toml"),
        (b"\xff\xfe", 1, "not a text file in UTF-8"),
        (b"", 1, "What is to be done?"),
    ],
)
def test_a_file_that_is_no_plan_is_told(content: bytes, status: int, told: str) -> None:
    Path("plan.toml").write_bytes(content)
    result = write("plan.toml", answers="")
    assert result.exit_code == status and told in result.output
    assert Path("plan.toml").read_bytes() == content


def test_a_folder_is_not_a_plan() -> None:
    result = write(".", answers="")
    assert result.exit_code == 2 and "is a folder" in result.output


def test_the_first_days_can_be_looked_at_before_it_is_saved() -> None:
    Path("plan.toml").write_text(THREE.read_text())
    output = write("plan.toml", answers=lines("d", "f", "r", "", "q")).output
    assert "Mon 12 Oct 2026" in output and "start piperacillin-tazobactam" in output
    assert "Dose: 4 grams" in output and "Who has read it back?" in output


# -- a provider's file


def test_a_providers_file_answers_its_part() -> None:
    answers = [
        *SECTIONS[0][:4], *SECTIONS[0][6:], *SECTIONS[1],
        "", "", "", "",  # no other fluid, no step, no draw, nothing more about the protocol
        *SECTIONS[3], *SECTIONS[4], "", "", "", "", "250 mL", "", "40 mmol",
        *SECTIONS[7], *SECTIONS[8],
    ]  # fmt: skip
    result = write("plan.toml", "--protocol", PROTOCOL, answers=lines(*answers, "", "s"))
    assert result.exit_code == 0, result.output
    written = plan_in(Path("plan.toml"))
    assert written == sample_as(written)
    assert prompts(result) < len(ANSWERS) - 20


def test_what_the_plan_says_otherwise_is_asked_about() -> None:
    Path("plan.toml").write_text(THREE.read_text().replace('"10 units/mL"', '"100 units/mL"'))
    result = write("plan.toml", "--protocol", PROTOCOL, answers=lines("no", "q"))
    said = 'fluid.heparin.strength: the plan says "100 units/mL", fennimore-vale.toml says "10 units/mL".'
    assert said in " ".join(result.output.split())
    Path("other.toml").write_text(Path("plan.toml").read_text())
    assert write("other.toml", "--protocol", PROTOCOL, answers=lines("yes", "s")).exit_code == 0
    assert Path("other.toml").read_text() == THREE.read_text()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"[order.a]\n", "[order] is not the provider's"),
        (b"x = \n", "rules of TOML"),
        (b"\xff", "not a text file in UTF-8"),
        (None, "There is no file"),
    ],
)
def test_a_providers_file_that_cannot_be_taken_begins_nothing(content: bytes | None, told: str) -> None:
    if content is not None:
        Path("theirs.toml").write_bytes(content)
    result = write("plan.toml", "--protocol", "theirs.toml", answers=lines(*ANSWERS))
    assert result.exit_code == 1 and told in result.output
    assert not Path("plan.toml").exists() and not list(drafts_folder().glob("*.json"))


def test_a_providers_file_without_the_terminal_is_told() -> None:
    result = CliRunner().invoke(main, ["write", "plan.toml", "--protocol", str(PROTOCOL)])
    assert result.exit_code == 2 and "--in-terminal" in result.output


# -- without --in-terminal


def in_browser(monkeypatch: pytest.MonkeyPatch, came: Written | Exception) -> Result:
    """Run the command with a stand-in for the form, which returns or raises something."""

    def form(path: Path | None, *, say: Callable[[str], None], now: Callable[[], float]) -> Written:
        say(f"the form of {path}, opened {datetime.fromtimestamp(now(), UTC):%Y-%m-%d}")
        if isinstance(came, Exception):
            raise came
        return came

    monkeypatch.setattr("reminders.web.write_server.write_in_browser", form)
    return CliRunner().invoke(main, ["write", "plan.toml", *NOW])


def test_without_the_terminal_the_form_opens(monkeypatch: pytest.MonkeyPatch) -> None:
    result = in_browser(monkeypatch, Written(Path("plan.toml"), draft=False))
    assert (
        result.exit_code == 0
        and "the form of plan.toml, opened 2026-10-11" in result.output
        and "draft" not in result.output
    )
    result = in_browser(monkeypatch, Written(None, draft=True))
    assert result.exit_code == 0 and "A draft is kept; the same command goes on with it." in result.output


def test_what_the_form_cannot_open_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(DraftError) as broken:
        Draft.of("x = \n", "plan.toml")
    for trouble, told in (
        (broken.value, "ERROR (not-toml) in plan.toml, line 1"),
        (FileError("it may not be read"), "it may not be read"),
        (ListenError("nobody may listen"), "nobody may listen"),
    ):
        result = in_browser(monkeypatch, trouble)
        assert result.exit_code == 1 and told in result.output


# -- a real terminal


def _its_own() -> None:
    """Make the terminal at standard input the process's own, so that Ctrl+C reaches it."""
    import fcntl
    import termios

    signal.signal(signal.SIGINT, signal.SIG_DFL)  # whoever runs the tests in the background has it ignored

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


class Terminal:
    """The program on a terminal of its own, as somebody sits before it."""

    def __init__(self, *arguments: str) -> None:
        import pty  # here, because only some systems have it

        self.seen = ""
        self._here, there = pty.openpty()
        command = [sys.executable, "-m", "reminders", "write", "--in-terminal", *arguments, *NOW]
        self.process = subprocess.Popen(
            command, stdin=there, stdout=there, stderr=there, start_new_session=True, preexec_fn=_its_own
        )
        os.close(there)

    def until(self, text: str, within: float = 30.0) -> None:
        """Read until a text is seen."""
        ends = time.monotonic() + within
        while text not in self.seen:
            ready, _, _ = select.select([self._here], [], [], max(0.0, ends - time.monotonic()))
            assert ready, f"{text!r} was not seen in:\n{self.seen}"
            try:
                self.seen += os.read(self._here, 4096).decode(errors="replace")
            except OSError:  # the program has ended
                assert text in self.seen, f"{text!r} was not seen in:\n{self.seen}"

    def type(self, text: str) -> None:
        """Type something."""
        self.seen = ""
        os.write(self._here, text.encode())

    def ended(self) -> int:
        """Wait for the end; return the exit status."""
        status = self.process.wait(30)
        os.close(self._here)
        return status


@pytest.fixture(name="terminal")
def _terminal() -> Iterator[Callable[..., Terminal]]:
    if os.name != "posix":
        pytest.skip("not run: a terminal of its own (posix)")
    begun: list[Terminal] = []

    def begin(*arguments: str) -> Terminal:
        begun.append(Terminal(*arguments))
        return begun[-1]

    yield begin
    for terminal in begun:
        if terminal.process.poll() is None:
            terminal.process.send_signal(signal.SIGKILL)
            terminal.process.wait(30)


def test_ctrl_c_in_a_terminal_keeps_what_was_typed(terminal: Callable[..., Terminal]) -> None:
    sits = terminal("plan.toml")
    sits.until("Kind of line")
    sits.until("> ")
    sits.type("PICC\n")
    sits.until("The line has a valve")
    sits.until("> ")
    sits.type("\x03")
    sits.until("The draft is kept")
    assert sits.ended() == 1 and "Traceback" not in sits.seen
    again = terminal("plan.toml")
    again.until("Go on with it?")
    again.until("> ")
    again.type("yes\n")
    again.until("What is to be done?")
    again.until("> ")
    again.type("\x04")
    again.until("The draft is kept")
    assert again.ended() == 1
    kept = Drafts(drafts_folder()).of(Path("plan.toml"))
    assert kept is not None and Draft.of(kept.text).typed(("line", "kind")) == "PICC"
