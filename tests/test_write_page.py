"""The form on which a plan is written, without a browser: what goes in, what comes out, and what must not be lost.

Everything in the plans is invented. No source but the schedule rules: what is asked here is common practice of forms.
"""

import difflib
import stat
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from own_places import own_places
from write_home import WriteBrowser, WriteHome, sample, writing
from written_in_form import STEPS, Way

from reminders.drafting.draft import DraftError
from reminders.files import FileError
from reminders.plan.read import read_plan
from reminders.plan.read_back import ReadBackState, check_letters, state
from reminders.web.write_desk import WriteDesk
from reminders.web.write_form import field_name, path_of
from reminders.web.write_server import BeingWrittenError, Written, write_in_browser

MINUTE = 60.0

PROVIDER = """
[fluid.saline]
kind = "saline"
label = "0.9 % sodium chloride"
volume = "10 mL"
sodium = "0.154 mmol/mL"
syringe = "saline syringe 10 mL"
syringe_holds = "10 mL"

[protocol]
provider = "Fennimore Vale Home Infusion"
flush = "saline"
before = ["saline"]
scrub_time = "20 s"

[call.now]
who = "On-call nurse, Fennimore Vale"
phone = "555-0142"
"""


@pytest.fixture(name="home")
def _home(tmp_path: Path) -> WriteHome:
    """Give a test the sample with three lumens, opened."""
    sample(tmp_path)
    return WriteHome(tmp_path)


@pytest.fixture(name="form")
def _form(home: WriteHome) -> Iterator[WriteBrowser]:
    with writing(home) as form:
        yield form


@pytest.fixture(name="fresh")
def _fresh(tmp_path: Path) -> Iterator[WriteBrowser]:
    """Give a test a new plan, of which nothing is typed yet."""
    with writing(WriteHome(tmp_path, file=None)) as form:
        yield form


def changed_lines(before: str, after: str) -> list[str]:
    """Return the lines that went and came, with their signs."""
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=0)
    return [line for line in lines if line[:1] in "+-" and line[:3] not in ("+++", "---")]


def finish(form: WriteBrowser, do: str = "plain", **typed: str) -> WriteBrowser:
    """Go on from the form to the page of reading back, and save."""
    form.press("save")
    assert "Reading back" in form.text, form.text[:300]
    return form.send(do, dict(typed))


# From nothing


def test_a_new_plan_holds_nothing_but_its_id_and_that_it_is_the_first(fresh: WriteBrowser) -> None:
    """No dose, volume, strength, limit or time is ever filled in (R27)."""
    fresh.begin(lumens="red, purple", fluid=["saline", "heparin"], **{"drug-1": "cefazolin", "shape-1": "every-8-h"})
    filled = {
        name: value for name, value in fresh.values.items() if value and "." in name and not name.startswith("name:")
    }
    assert filled == {
        "lumen.red.label": "red",
        "lumen.purple.label": "purple",
        "fluid.saline.kind": "saline",
        "fluid.heparin.kind": "heparin",
        "order.cefazolin.drug": "cefazolin",
        "order.cefazolin.every": "8 h",
        "plan.revision": "1",
    }


def test_published_ranges_are_shown_with_where_they_are_from_and_not_filled_in(fresh: WriteBrowser) -> None:
    fresh.begin(lumens="red")
    assert "Published limits range from 8 h to weeks (hospital policies" in fresh.text
    assert "(for orientation, not to copy)" in fresh.text
    assert fresh.values["line.idle_limit"] == ""


def test_the_sample_is_written_without_scripts(fresh: WriteBrowser) -> None:
    fresh.begin(
        lumens="red, purple, grey",
        fluid=["saline", "heparin"],
        **{
            "drug-1": "parenteral nutrition",
            "shape-1": "cyclic",
            "drug-2": "piperacillin-tazobactam",
            "shape-2": "every-8-h",
        },
    )
    typed: dict[str, str | list[str]] = {}
    for step in STEPS:
        mark, _colon, answer = step.mark.rpartition(":") if step.way is Way.TICK else (step.mark, "", step.value)
        typed[mark] = answer
    fresh.send("check", typed)
    assert "Nothing is missing." in fresh.text
    assert "timeline-day-2026-10-13" in fresh.html
    finish(fresh, file="mine.toml")
    assert "Saved" in fresh.text
    written, wanted = fresh.home.plan("mine.toml"), read_plan("", sample(fresh.home.folder).encode()).plan
    assert wanted is not None
    assert (written.lumens, written.fluids, written.orders) == (wanted.lumens, wanted.fluids, wanted.orders)
    assert (written.protocol, written.line, written.contacts) == (wanted.protocol, wanted.line, wanted.contacts)
    assert written.course.id != wanted.course.id


def test_what_is_missing_is_named_and_nothing_is_written(fresh: WriteBrowser) -> None:
    fresh.begin(lumens="red")
    fresh.press("save", line__idle_limit="12 h")
    assert "It was not saved as a plan" in fresh.text
    assert "Line needs Kind of line , The line has a valve" in fresh.text
    assert 'href="#line.kind"' in fresh.html
    assert "line.kind" in fresh.page.ids
    assert fresh.values["line.idle_limit"] == "12 h"
    assert [path.name for path in fresh.home.folder.iterdir()] == ["drafts"]


def test_orders_begin_in_a_shape(fresh: WriteBrowser) -> None:
    fresh.begin(lumens="red")
    fresh.press("add:order:46-h", **{"new:order": "Fluorouracil"})
    assert fresh.values["order.fluorouracil.duration"] == "46 h"
    assert "Over 46 hours" in fresh.text
    fresh.press("add:order:push", **{"new:order": "ceftriaxone"})
    assert fresh.values["order.ceftriaxone.given_as"] == "push"
    fresh.press("add:order:continuous", **{"new:order": "Fluorouracil"})
    assert fresh.values["order.fluorouracil-2.continuous"] == "yes"


def test_a_button_that_needs_a_word_asks_for_it(fresh: WriteBrowser) -> None:
    fresh.begin()
    for do, says in (("add:order:daily", "Write which drug it is"), ("add:lumen", "Write what it is called")):
        before = fresh.home.desk.draft.text()
        fresh.press(do)
        assert says in fresh.text
        assert fresh.home.desk.draft.text() == before


@pytest.mark.parametrize("do", ["add:task:dressing", "add:step", "add:stock", "add:zone_change", "add:fluid:other"])
def test_everything_can_be_added_and_taken_out(form: WriteBrowser, do: str) -> None:
    table = do.split(":")[1]
    before = form.home.desk.draft.text()
    form.press(do, **({f"new:{table}": "weekly change"} if f"new:{table}" in form.values else {}))
    name = form.home.desk.draft.names(table)[-1]
    assert f"{table}.{name}" in form.page.ids
    form.press(f"remove:{table}:{name}")
    assert "Taken out" in form.text
    assert form.home.desk.draft.text() == before


# An existing plan


def test_one_changed_value_changes_one_line(form: WriteBrowser) -> None:
    before = form.home.desk.draft.text()
    finish(form.press("check", order__piperacillin__duration="40 min"))
    after = (form.home.folder / "plan.toml").read_text(encoding="utf-8")
    assert changed_lines(before, after) == ['-duration = "30 min"', '+duration = "40 min"']
    assert after.startswith("# Everything in this file is invented")


def test_looking_changes_nothing(form: WriteBrowser) -> None:
    before = (form.home.folder / "plan.toml").read_bytes()
    form.press("check")
    form.press("check", show="2026-11-01")
    assert "Sun 1 Nov 2026" in form.text
    assert form.home.desk.draft.text().encode() == before
    assert not form.home.desk.draft_kept()
    finish(form)
    assert (form.home.folder / "plan.toml").read_bytes() == before


@pytest.mark.parametrize("name", ["open-ended-year", "traveller", "ambulatory-46-hours", "saline-locked-valved"])
def test_no_sample_is_changed_by_opening_and_saving_it(tmp_path: Path, name: str) -> None:
    before = sample(tmp_path, f"{name}.toml")
    with writing(WriteHome(tmp_path)) as form:
        form.press("check")
        finish(form)
    assert (tmp_path / "plan.toml").read_text(encoding="utf-8") == before


def test_a_new_name_is_followed_by_whatever_names_it(form: WriteBrowser) -> None:
    form.press("check", **{"name:lumen.red": "upper", "name:fluid.saline": "salt", "name:order.nutrition": "feed"})
    desk = form.home.desk
    assert desk.draft.names("lumen") == ("upper", "purple", "grey")
    assert form.values["order.feed.lumen"] == "upper"
    assert form.values["protocol.after_nutrition"] == "salt 20 mL"
    assert desk.look().plan is not None


def test_a_name_that_cannot_be_one_stays_in_its_field(form: WriteBrowser) -> None:
    form.press("check", **{"name:lumen.red": "the red one!"})
    assert form.values["name:lumen.red"] == "the red one!"
    assert form.home.desk.draft.names("lumen")[0] == "red"
    assert "1 to mend" in form.text
    form.press("save")
    assert "It was not saved as a plan" in form.text


def test_odd_names_and_unknown_words_of_a_file_are_shown_and_kept(tmp_path: Path) -> None:
    text = sample(tmp_path).replace("[lumen.grey]", '[lumen."gr\\"ey <b> ü.x:y"]')
    (tmp_path / "plan.toml").write_text(text.replace('lumen = "red"', 'lumen = "rde"'), encoding="utf-8")
    with writing(WriteHome(tmp_path)) as form:
        assert form.values["order.nutrition.lumen"] == "rde"
        assert "rde (not known here)" in form.text
        assert "<b> \xfc" not in form.html
        odd = next(name for name in form.values if name.startswith("lumen.gr") and name.endswith(".label"))
        form.send("check", {odd: "slate"})
        assert form.home.desk.draft.raw(("lumen", 'gr"ey <b> ü.x:y', "label")) == "slate"
        form.send("remove:" + odd.removesuffix(".label").replace(".", ":", 1))
        assert form.home.desk.draft.names("lumen") == ("red", "purple")


def test_ticks_keep_the_order_of_those_that_stay(tmp_path: Path) -> None:
    sample(tmp_path)
    path = tmp_path / "plan.toml"
    path.write_text(
        path.read_text().replace('clock_times = ["20:00"]', 'clock_times = ["20:00"]\nweekdays = ["Sun", "Mon"]')
    )
    with writing(WriteHome(tmp_path)) as form:
        form.press("check")
        assert form.home.desk.draft.raw(("order", "nutrition", "weekdays")) == ["Sun", "Mon"]
        form.press("check", order__nutrition__weekdays=["", "Mon", "Wed", "Sun"])
        assert form.home.desk.draft.raw(("order", "nutrition", "weekdays")) == ["Sun", "Mon", "Wed"]
        form.press("check", order__nutrition__weekdays=[""])
        assert not form.home.desk.draft.has(("order", "nutrition", "weekdays"))


def test_a_step_is_taken_back_and_what_was_typed_since_stays(form: WriteBrowser) -> None:
    form.press("remove:lumen:grey")
    assert form.home.desk.draft.names("lumen") == ("red", "purple")
    form.press("undo", line__external_length="4 cm")
    assert form.home.desk.draft.names("lumen") == ("red", "purple", "grey")
    assert form.values["line.external_length"] == "4 cm"


def test_a_changed_plan_of_the_same_revision_is_told(form: WriteBrowser) -> None:
    form.press("save", line__external_length="4 cm")
    assert "The file is revision 1 already." in form.text
    form.open("./").press("save", plan__revision="2")
    assert "revision 1 already" not in form.text


# What is found


def test_findings_stand_beside_their_fields_in_the_forms_own_words(form: WriteBrowser) -> None:
    form.press("check", fluid__heparin__strength="10 U/mL", order__nutrition__clock_times="")
    beside = form.html.partition('id="at:fluid.heparin.strength"')[2].partition("</div>")[0]
    assert "10 U/mL" in beside
    assert form.values["fluid.heparin.strength"] == "10 U/mL"
    assert 'Exactly one of "At these times of day"' in form.text.replace("exactly", "Exactly")
    assert "clock_times" not in form.text
    assert " = [" not in form.text
    assert "It is drawn as soon as nothing is missing or wrong." in form.text


def test_a_plan_that_has_begun_is_drawn_as_it_is_planned(home: WriteHome, form: WriteBrowser) -> None:
    """Nothing in a plan that is being written is overdue or unconfirmed."""
    home.seconds += 20 * 86400
    form.open("./")
    drawing = form.html.partition('id="timeline"')[2].partition('id="read"')[0]
    assert "piperacillin-" in drawing
    assert "unconfirmed" not in drawing and "overdue" not in drawing


# Drafts


def test_whatever_is_typed_is_kept_at_once_and_offered(home: WriteHome, form: WriteBrowser) -> None:
    form.press("check", line__external_length="4 cm", line__idle_limit="x" * 5000)
    assert "longer than 4000 letters" in form.text
    home.open()
    with writing(home) as again:
        assert "A draft was kept" in again.text
        again.press("resume")
        assert again.values["line.external_length"] == "4 cm"
        assert again.values["line.idle_limit"] == "x" * 5000
        again.press("check", line__idle_limit="12 h")
        finish(again)
    home.open()
    assert home.desk.offered is None
    assert "4 cm" in (home.folder / "plan.toml").read_text(encoding="utf-8")


def test_a_draft_of_a_file_that_is_not_there_is_left_aside_for_a_new_plan(tmp_path: Path) -> None:
    with writing(WriteHome(tmp_path)) as form:
        form.begin(lumens="red")
    with writing(WriteHome(tmp_path)) as again:
        assert "Begin a new plan; leave the draft aside" in again.text
        assert "as it lies" not in again.text


@pytest.mark.parametrize("lumens", ["red, red", "red, Red ", "red, -"])
def test_a_lumen_named_twice_or_by_a_sign_is_not_begun(fresh: WriteBrowser, lumens: str) -> None:
    fresh.begin(lumens=lumens)
    assert "Nothing was added." in fresh.text and not fresh.home.desk.draft.names("lumen")
    fresh.press("add:lumen", **{"new:lumen": "red, purple"})
    fresh.press("add:lumen", **{"new:lumen": "Purple"})
    assert '"Purple" is there twice' in fresh.text
    assert fresh.home.desk.draft.names("lumen") == ("red", "purple")


def test_what_is_missing_or_found_says_where_it_is(form: WriteBrowser) -> None:
    form.press(
        "check",
        call__now__phone="see sheet",
        line__allergies="n/a",
        lumen__grey__label="red",
        supplies__each_touch="- = 1",
    )
    listed = form.text.partition("What is missing or found")[2].partition("Timeline")[0]
    for told in (
        'Whom to call, At once, day and night, Phone: "see sheet" is no telephone number.',
        'The line, Allergies: The allergies name "n/a"',
        "Lumens, Lumen: red, What its owner sees on it: ",
        'Supplies and limits of a day, What is used up, Each touch uses up: "-" is no name.',
    ):
        assert told in listed, listed
    assert 'the word "none"' in listed and "an empty list" not in form.text


def test_nobody_whose_name_has_no_letter_reads_a_plan_back(form: WriteBrowser) -> None:
    form.press("save")
    ticks = {name: "yes" for name in form.page.ids if name.startswith("thing-")}
    form.send("read", {**ticks, "by": "-"})
    assert "is no name. Write who it is." in form.text and form.home.desk.saved is None


def test_the_doses_with_which_a_level_is_drawn_are_asked_for_in_plain_sight(form: WriteBrowser) -> None:
    form.press("add:task:blood draw", **{"new:task": "level"})
    form.press("check", task__level__order="piperacillin", task__level__before_dose="30 min")
    field = form.html.partition('data-field="task.level.only_doses"')
    assert not field[2].startswith(" hidden") and "More: Care task: level" not in field[0]


def test_a_draft_that_is_left_aside_is_not_thrown_away(home: WriteHome, form: WriteBrowser) -> None:
    form.press("check", line__external_length="4 cm")
    home.open()
    with writing(home) as again:
        again.press("anew")
        assert again.values["line.external_length"] == "2 cm"
    kept = [path.read_text() for path in (home.folder / "drafts").glob("*.json")]
    assert len(kept) == 1
    assert "4 cm" in kept[0]


@pytest.mark.skipif(sys.platform == "win32", reason="not run: Windows has no such modes")
def test_drafts_are_for_their_owner_alone_and_the_file_keeps_its_mode(form: WriteBrowser) -> None:
    path = form.home.folder / "plan.toml"
    path.chmod(0o640)
    form.press("check", line__external_length="4 cm")
    place = form.home.drafts.place(form.home.path)
    assert stat.S_IMODE(place.stat().st_mode) == 0o600
    assert stat.S_IMODE(place.parent.stat().st_mode) == 0o700
    finish(form)
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


def test_a_full_disk_is_told_and_stops_nobody(form: WriteBrowser, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_args: object, **_named: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("reminders.web.write_keep.write_private", full)
    form.press("check", line__external_length="4 cm")
    assert "cannot be kept now: No space left on device" in form.text
    assert form.values["line.external_length"] == "4 cm"
    monkeypatch.setattr("reminders.web.write_desk.private_file", full)
    finish(form)
    assert "Nothing was written" in form.text
    assert form.values["line.external_length"] == "4 cm"
    assert 'external_length = "2 cm"' in (form.home.folder / "plan.toml").read_text(encoding="utf-8")


def test_a_draft_that_cannot_be_read_is_not_offered(home: WriteHome) -> None:
    place = home.drafts.place(home.path)
    place.parent.mkdir()
    for content in (b"", b"{", b"[]", b'{"file": 1}', b"\xff\xfe", b"[" * 100_000):
        place.write_bytes(content)
        home.open()
        assert home.desk.offered is None


# Reading back


def test_each_thing_is_ticked_and_who_read_it_is_named(form: WriteBrowser) -> None:
    form.press("save")
    plan = form.home.desk.look().plan
    assert plan is not None
    assert "heparin lock 10 units per milliliter, 3 milliliters" in form.text
    assert "Read back: by nobody yet." in form.text
    boxes = sorted(name for name in form.page.ids if name.startswith("thing-"))
    form.send("read", {"by": "Ines Marlow", **dict.fromkeys(boxes[1:], "yes")})
    assert "Not ticked: 1." in form.text
    assert form.values["by"] == "Ines Marlow"
    form.send("read", {"by": "", **dict.fromkeys(boxes, "yes")})
    assert "Write who read it back" in form.text
    assert plan.read_back is None
    form.send("read", {"by": "Ines Marlow", **dict.fromkeys(boxes, "yes")})
    saved = form.home.plan()
    assert saved.read_back is not None
    assert (saved.read_back.by, saved.read_back.check) == ("Ines Marlow", check_letters(plan))
    assert saved.read_back.at.instant == form.home.desk.instant
    assert state(saved) is ReadBackState.FITS
    assert "Read back by Ines Marlow" in form.text
    assert "reminders packet plan.toml --out packet" in form.text
    assert form.home.ends == 1


def test_without_reading_back_it_says_so(form: WriteBrowser) -> None:
    finish(form)
    assert form.home.plan().read_back is None
    assert "Read back: by nobody yet." in form.text


def test_what_was_changed_after_reading_back_is_told(form: WriteBrowser) -> None:
    form.press("save")
    boxes = [name for name in form.page.ids if name.startswith("thing-")]
    form.send("read", {"by": "Ines Marlow", **dict.fromkeys(boxes, "yes")})
    form.home.open()
    with writing(form.home) as again:
        again.press("save")
        assert "Nothing that is read back has changed since" in again.text
        again.open("./").press("save", order__piperacillin__dose="3 g")
        assert "It was changed since" in again.text
        again.press("plain")
        assert "It was changed since" in again.text
    assert state(form.home.plan()) is ReadBackState.CHANGED


def test_what_is_read_back_is_what_is_saved(form: WriteBrowser) -> None:
    """Another page changes a dose while somebody reads aloud."""
    form.press("save")
    boxes = [name for name in form.page.ids if name.startswith("thing-")]
    shown = form.answer
    form.open("./").press("check", order__piperacillin__dose="3 g")
    form.answer = shown
    form.send("read", {"by": "Ines Marlow", **dict.fromkeys(boxes, "yes")})
    assert "changed on another page since this was shown" in form.text
    assert "3 grams" in form.text
    assert 'dose = "4 g"' in (form.home.folder / "plan.toml").read_text(encoding="utf-8")


def test_back_to_the_form_keeps_the_ticks_of_what_is_not_changed(form: WriteBrowser) -> None:
    form.press("save")
    boxes = [name for name in form.page.ids if name.startswith("thing-")]
    assert len(boxes) < 20, "one for each thing, not for each line"
    form.send("back", {"by": "Ines Marlow", **dict.fromkeys(boxes, "yes")})
    form.press("save", order__piperacillin__dose="3 g")
    kept = [name for name in boxes if form.values.get(name) == "yes"]
    assert len(kept) == len(boxes) - 1
    assert form.values["by"] == "Ines Marlow"
    form.press("read")
    assert "Not ticked: 1. The first is: Order: piperacillin" in form.text
    assert form.home.desk.saved is None


# The file on the disk


def test_a_file_that_changed_meanwhile_is_never_replaced_unasked(form: WriteBrowser) -> None:
    path = form.home.folder / "plan.toml"
    form.press("check", line__external_length="4 cm")
    theirs = path.read_text(encoding="utf-8") + "# somebody else\n"
    path.write_text(theirs, encoding="utf-8")
    form.open("./")
    assert "The file was changed by something else meanwhile" in form.text
    finish(form)
    assert form.answer.status_code == 409
    assert "It was not replaced." in form.text
    assert path.read_text(encoding="utf-8") == theirs
    assert form.home.desk.draft_kept()
    form.press("other", file="plan-2.toml")
    assert path.read_text(encoding="utf-8") == theirs
    assert 'external_length = "4 cm"' in (form.home.folder / "plan-2.toml").read_text(encoding="utf-8")


def test_it_is_replaced_when_told_and_what_lay_there_is_kept(form: WriteBrowser) -> None:
    path = form.home.folder / "plan.toml"
    form.press("check", line__external_length="4 cm")
    path.write_text("# theirs\n", encoding="utf-8")
    finish(form)
    shown = form.answer
    path.write_text("# theirs, once more\n", encoding="utf-8")
    form.press("replace")
    assert form.answer.status_code == 409, "what was shown is not what lies there now"
    assert path.read_text(encoding="utf-8") == "# theirs, once more\n"
    assert shown.status_code == 409
    form.press("replace")
    kept = list(form.home.folder.glob("plan-before-*.toml"))
    assert [one.read_text(encoding="utf-8") for one in kept] == ["# theirs, once more\n"]
    assert 'external_length = "4 cm"' in path.read_text(encoding="utf-8")


def test_a_file_that_is_gone_is_told_and_written_anew_when_told(form: WriteBrowser) -> None:
    path = form.home.folder / "plan.toml"
    path.unlink()
    finish(form)
    assert "was taken away after it was opened here" in form.text
    assert not path.exists()
    form.press("replace")
    assert path.exists()


def test_a_file_that_became_a_folder_meanwhile_is_told_and_not_replaced(form: WriteBrowser) -> None:
    path = form.home.folder / "plan.toml"
    path.write_text("# theirs\n", encoding="utf-8")
    finish(form)
    assert form.answer.status_code == 409
    path.unlink()
    path.mkdir()
    for _ in range(2):
        form.press("replace")
        assert form.answer.status_code == 409
        assert "is a folder" in form.text
        assert path.is_dir()
    form.press("other", file="plan-2.toml")
    assert "Saved" in form.text
    assert (form.home.folder / "plan-2.toml").is_file()


def test_a_new_plan_takes_no_other_files_place(tmp_path: Path) -> None:
    sample(tmp_path, as_file="mine.toml")
    home = WriteHome(tmp_path, file=None)
    home.desk.draft.restore(sample(tmp_path, as_file="mine.toml"))
    home.desk.begun = True
    before = (tmp_path / "mine.toml").read_bytes()
    with writing(home) as form:
        finish(form, file="mine.toml")
        assert form.answer.status_code == 409
        assert "was not opened here" in form.text
        assert (tmp_path / "mine.toml").read_bytes() == before
        for name in ("", "../mine.toml", "plan.txt", ".toml", "a/b.toml"):
            form.open("read-back").send("plain", {"file": name})
            assert form.answer.status_code == 400, name
        form.open("read-back").send("plain", {"file": "other.toml"})
        assert "Saved" in form.text
    assert (tmp_path / "mine.toml").read_bytes() == before


@pytest.mark.parametrize("content", [b"[plan\n", b"\xff\xfe\x00", b"\x00" * 20, b"x" * 1_000_001])
def test_what_is_no_plan_is_not_opened(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(content)
    with pytest.raises(DraftError):
        WriteHome(tmp_path)
    assert path.read_bytes() == content


def test_a_folder_is_not_opened(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").mkdir()
    with pytest.raises(FileError):
        WriteHome(tmp_path)


# A provider's file


def test_a_providers_file_fills_what_is_the_providers(fresh: WriteBrowser) -> None:
    fresh.post(
        "begin",
        [("token", fresh.values["token"]), ("lumens", "red")],
        {"provider": ("protocol.toml", PROVIDER.encode())},
    )
    assert "protocol.toml: 12 answers were copied" in fresh.text
    assert fresh.values["protocol.provider"] == "Fennimore Vale Home Infusion"
    assert fresh.values["call.now.phone"] == "555-0142"
    assert fresh.values["lumen.red.label"] == "red"
    fresh.press("undo", line__idle_limit="12 h")
    assert fresh.values["protocol.provider"] == ""
    assert fresh.values["line.idle_limit"] == "12 h"


def test_what_the_plan_says_otherwise_stays_until_it_is_told(form: WriteBrowser) -> None:
    form.send("provider", files={"provider": ("protocol.toml", PROVIDER.encode())})
    assert "protocol.toml says otherwise" in form.text
    assert form.values["protocol.scrub_time"] == "15 s"
    assert "15 s 20 s" in form.text
    form.press("provider-replace")
    assert form.values["protocol.scrub_time"] == "20 s"
    assert "says otherwise" not in form.text


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\x00\xff\xfe", "is not a text file in UTF-8"),
        (b"[fluid", "does not follow the rules"),
        (b"", "states nothing"),
        (b'[order.x]\ndrug = "x"\n', "is not the provider's"),
        (b'[fluid.saline]\nvolume = "ten"\n', "line 2"),
        (b"#" * 400_000, "far more than a provider's file"),
    ],
)
def test_a_providers_file_that_is_none_changes_nothing(form: WriteBrowser, content: bytes, says: str) -> None:
    before = form.home.desk.draft.text()
    form.send("provider", {"line.external_length": "4 cm"}, {"provider": ("<b>odd</b>.toml", content)})
    assert says in form.text
    assert "<b>odd" not in form.html
    assert changed_lines(before, form.home.desk.draft.text()) == [
        '-external_length = "2 cm"',
        '+external_length = "4 cm"',
    ]


def test_the_button_without_a_file_asks_for_it(form: WriteBrowser) -> None:
    form.press("provider")
    assert "Choose the provider's file first" in form.text


# Bad input


def test_a_form_from_elsewhere_does_nothing(form: WriteBrowser) -> None:
    before = form.home.desk.draft.text()
    fields = [*((n, v) for n, v in form.page.fields if n != "line.external_length"), ("line.external_length", "9 cm")]
    wrong = [(name, "guessed" if name == "token" else value) for name, value in fields]
    for sent, headers in (
        (wrong, {}),
        ([pair for pair in fields if pair[0] != "token"], {}),
        (fields, {"origin": "http://evil.example"}),
        (fields, {"origin": "http://127.0.0.1:1"}),
        (fields, {"sec-fetch-site": "cross-site"}),
    ):
        assert form.post("form", sent, headers=headers).answer.status_code == 403
    assert form.home.desk.draft.text() == before
    form.open("./").home.desk.secret += "x"
    form.open("./")
    form.answer = form._runner.run(form._client.get("/somebody-guesses/"))
    assert form.answer.status_code == 404


def test_far_too_much_is_refused_whole(form: WriteBrowser) -> None:
    before = form.home.desk.draft.text()
    token = form.values["token"]
    assert form.post("form", [("token", token), ("line.kind", "x" * 1_600_000)]).answer.status_code == 413
    many = [("token", token), *(("line.kind", "PICC") for _n in range(7000))]
    assert form.post("form", many).answer.status_code == 400
    assert form.home.desk.draft.text() == before


@pytest.mark.parametrize(
    "name",
    [
        "line.colour",
        "nothing",
        "plan.id",
        "read_back.by",
        "lumen.red",
        "order.x.y.z",
        "line",
        "..",
        "é.kind",
        "<script>",
    ],
)
def test_a_question_that_plans_do_not_have_is_refused(form: WriteBrowser, name: str) -> None:
    before = form.home.desk.draft.text()
    form.post("form", [*form.page.fields, ("line.external_length", "9 cm"), (name, "x")])
    assert form.answer.status_code == 400
    assert "It holds a question that plans do not have" in form.text
    assert "<script>" not in form.html.replace('<script src="static/write.js" defer></script>', "")
    assert form.home.desk.draft.text() == before


NASTY = [
    "<script>alert(1)</script>",
    "\"'`=[]{}#",
    "\x00\x01\x1b[31m\x7f",
    "back\\slash \\u0000 \\",
    '"""\n[plan]\nid = 1\n"""',
    "ünïcödé ‮ 💉",
    "none",
    "x" * 300,
    "1,2;3 = 4 = 5",
    "\N{LINE SEPARATOR}\N{NO-BREAK SPACE}",
    "true",
    "9" * 300,
]


@pytest.mark.parametrize("nasty", NASTY, ids=map(str, range(len(NASTY))))
def test_whatever_is_typed_anywhere_is_kept_and_shown_as_text(home: WriteHome, nasty: str) -> None:
    """Every field of the form at once; the file stays one that can be read."""
    with writing(home) as form:
        names = [name for name, _value in form.page.fields if path_of(name) is not None]
        assert len(names) > 200
        form.send("check", dict.fromkeys(names, nasty))
        assert form.answer.status_code == 200
        assert "<script>alert" not in form.html
        home.open()
        assert home.desk.offered is not None
    with writing(home) as again:
        again.press("resume")
        shown = again.values
        bare = "".join(nasty.split())
        for name in names:
            if name in shown and bare not in "".join(shown[name].split()):
                assert bare in "".join(again.text.split()) or shown[name] == "yes", name


# Pages that are older


def test_an_older_page_overwrites_nothing_and_loses_nothing(form: WriteBrowser) -> None:
    older = form.answer
    form.open("./").press("check", line__external_length="4 cm", order__piperacillin__dose="3 g")
    form.answer = older
    form.press("check", line__external_length="5 cm", lumen__grey__label="slate")
    assert form.answer.status_code == 409
    assert "Nothing of this page was put into the plan" in form.text
    assert form.home.desk.draft.typed(("line", "external_length")) == "4 cm"
    assert "Line, How much of the line shows 4 cm 5 cm" in form.text
    form.press("", take=["lumen.grey.label"])
    desk = form.home.desk
    assert desk.draft.typed(("lumen", "grey", "label")) == "slate"
    assert desk.draft.typed(("line", "external_length")) == "4 cm"
    assert desk.draft.typed(("order", "piperacillin", "dose")) == "3 g"


def test_an_older_page_shows_also_what_has_no_place_any_more(form: WriteBrowser) -> None:
    older = form.answer
    form.open("./").press("remove:lumen:grey")
    form.answer = older
    form.press("save", lumen__grey__label="slate")
    assert form.answer.status_code == 409
    assert "slate" in form.text
    assert "is not in the plan any more" in form.text
    assert "take:lumen.grey.label" not in form.page.ids


def test_a_page_that_stays_open_sends_one_form_after_the_other(form: WriteBrowser) -> None:
    page = form.answer
    for count, length in enumerate(("3 cm", "4 cm", "5 cm"), start=1):
        form.answer = page
        form.press("check", seq=str(count), line__external_length=length)
        assert form.answer.status_code == 200
    form.answer = page
    form.press("check", seq="2", line__external_length="4 cm")  # one that was held up on its way
    assert form.answer.status_code == 409
    assert form.home.desk.draft.typed(("line", "external_length")) == "5 cm"


def test_a_form_sent_twice_is_one(fresh: WriteBrowser) -> None:
    fresh.begin(lumens="red")
    page = fresh.answer
    fresh.press("add:task:dressing", **{"new:task": "dressing"})
    fresh.answer = page
    fresh.press("add:task:dressing", **{"new:task": "dressing"})
    assert fresh.answer.status_code == 200
    assert fresh.home.desk.draft.names("task") == ("dressing",)


def test_nothing_is_done_after_the_end(form: WriteBrowser) -> None:
    page = form.answer
    finish(form)
    saved = (form.home.folder / "plan.toml").read_bytes()
    for do in ("check", "save", "remove:lumen:grey"):
        form.answer = page
        form.press(do, line__external_length="9 cm")
        assert "Saved" in form.text
    assert (form.home.folder / "plan.toml").read_bytes() == saved
    assert form.open("./").text.startswith("Saved")


def test_leaving_keeps_the_draft(form: WriteBrowser) -> None:
    form.press("leave", line__external_length="4 cm")
    assert "It was not saved as a plan." in form.text
    assert form.home.ends == 1
    assert form.home.desk.draft_kept()


# Names of fields


@pytest.mark.parametrize(
    "path",
    [
        ("line", "kind"),
        ("order", "a.b:c d", "dose"),
        ("lumen", "", "label"),
        ("zone_change", "1", "at"),
        ("fluid", "é%20", "kind"),
    ],
)
def test_the_name_of_a_field_says_its_path(path: tuple[str, ...]) -> None:
    assert path_of(field_name(path)) == path


# The server


class Started:
    """The real server, in a thread; its browser is an HTTP client."""

    def __init__(self, path: Path | None) -> None:
        self.said: list[str] = []
        self.address = ""
        self.result: Written | None = None
        self._opened = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(path,), daemon=True)
        self._thread.start()
        assert self._opened.wait(20), self.said

    def _run(self, path: Path | None) -> None:
        self.result = write_in_browser(path, say=self.said.append, browse=self._browse)

    def _browse(self, address: str) -> bool:
        self.address = address
        self._opened.set()
        return True

    def ended(self) -> Written:
        """Return what came of it, once it has ended."""
        self._thread.join(30)
        assert self.result is not None
        return self.result


def test_the_server_opens_once_listens_here_alone_and_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "own", monkeypatch)
    monkeypatch.setattr("reminders.web.write_server.LINGERS", 0.1)
    sample(tmp_path)
    server = Started(tmp_path / "plan.toml")
    with httpx.Client(follow_redirects=True) as browser:
        page = browser.get(server.address)
        assert page.status_code == 200
        assert page.url.host == "127.0.0.1"
        assert "Plan: plan.toml" in page.text
        assert "default-src 'none'" in page.headers["content-security-policy"]
        assert page.headers["cache-control"] == "no-store"
        assert browser.get(server.address).status_code == 404, "it works once"
        with pytest.raises(BeingWrittenError):
            write_in_browser(tmp_path / "plan.toml", say=print, browse=lambda _address: True)
        token = page.text.partition('name="token" value="')[2].partition('"')[0]
        version = page.text.partition('name="version" value="')[2].partition('"')[0]
        fields = {"token": token, "version": version, "do": "save"}
        shown = browser.post(f"{page.url}form", data=fields)
        assert "Reading back" in shown.text
        saved = browser.post(f"{page.url}finish", data={**fields, "do": "plain"})
        assert "Saved" in saved.text
    written = server.ended()
    assert written == Written((tmp_path / "plan.toml").resolve(), False)
    assert any("Saved" in line for line in server.said)
    with pytest.raises(httpx.ConnectError):
        httpx.get(str(page.url))


def test_without_a_browser_the_address_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_places(tmp_path / "own", monkeypatch)
    monkeypatch.setattr("reminders.web.write_server.LINGERS", 0.1)
    said: list[str] = []
    done = threading.Thread(
        target=lambda: write_in_browser(tmp_path / "new.toml", say=said.append, browse=lambda _address: False),
        daemon=True,
    )
    done.start()
    for _try in range(200):
        if len(said) >= 3:
            break
        done.join(0.1)
    address = said[1].strip()
    with httpx.Client(follow_redirects=True) as browser:
        page = browser.get(address)
        assert "A new plan" in page.text
        token = page.text.partition('name="token" value="')[2].partition('"')[0]
        browser.post(f"{page.url}form", data={"token": token, "version": "1", "do": "leave"})
    done.join(30)
    assert not done.is_alive()
    assert not (tmp_path / "new.toml").exists()


def test_the_present_is_the_desks(tmp_path: Path) -> None:
    home = WriteHome(tmp_path)
    home.seconds += MINUTE
    assert home.desk.instant == int(home.seconds // 60)
    assert isinstance(home.desk, WriteDesk)
    assert home.desk.folder.samefile(tmp_path)
