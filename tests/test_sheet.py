"""The printable sheet: what a reader of the PDF finds is what the schedule says, and paper takes all of it.

The readers are poppler's tools and pypdf. Everything in the plans is invented.
"""

import os
import re
import subprocess
import sys
from collections import Counter
from datetime import datetime, timedelta
from itertools import combinations
from pathlib import Path

import pytest
import sheet_plans
from histories import at
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader
from pypdf.generic import ContentStream
from readers.samples import SAMPLE_PLANS, Sample
from readers.samples import sample as sample_of
from sheet_plans import NO_ORDERS, PLANS, heavy, pdf_of, read_back
from sheet_reading import DO_HIGH, Told, overlaps, printed, rows_of, squeezed, texts, words_of
from small_plans import DAILY, schedule
from timeline_days import DAYS
from timeline_days import Told as Day

from reminders.plan.care import TaskKind
from reminders.plan.order import GivenAs
from reminders.plan.read_back import check_letters
from reminders.schedule.counts import supplies
from reminders.schedule.model import Action, Schedule, TaskEvent, Touch, TouchKind
from reminders.sheet.content import Asked, Paper, plan_mark, sheet_of, texts_of
from reminders.sheet.flow import wrapped
from reminders.sheet.letters import BODY, BOLD, DO_BOLD, LOST, REGULAR, Style, faces, printable, width
from reminders.sheet.pdf import FOOT, SIDE, SIZES, TOP, sheet_pdf, sheet_warnings
from reminders.sheet.pictures import DRAWINGS, OF_ACTION, Picture
from reminders.sheet.week import Tick, week_of
from reminders.step_words import step_words
from reminders.times import Instant
from reminders.words import lumen_words, what_words

PAPERS = list(Paper)


def asked(made: Schedule, paper: Paper = Paper.LETTER, **typed: str) -> Asked:
    """Ask for the sheet from the plan's start on, printed the evening before."""
    return Asked(paper=paper, first=made.start, printed=Instant(made.start - 14 * 60), **typed)


def local(made: Schedule, instant: Instant) -> datetime:
    """Return an instant on the household's clock, by the zone that its journey has brought it to."""
    zone = made.plan.course.zone
    for change in made.plan.zone_changes:
        zone = change.zone if change.at.instant <= instant else zone
    return datetime.fromtimestamp(instant * 60, zone)


def expected(made: Schedule) -> list[Touch | TaskEvent]:
    """Return what is due on the first seven dates, in order of time; tasks come before touches of the same moment."""
    last = local(made, made.start).date() + timedelta(days=7)
    found: list[Touch | TaskEvent] = [*made.tasks, *made.touches]
    return sorted((event for event in found if local(made, event.at).date() < last), key=lambda event: event.at)


def day_of(moment: datetime) -> str:
    """Write a date as the sheet does."""
    return f"{moment:%a} {moment.day} {moment:%b} {moment.year}"


def check_row(told: Told, event: Touch | TaskEvent, made: Schedule) -> None:
    """Check that a row says of an event what the plan says: day, time, lumen, drug, dose, volumes, strength, units."""
    moment = local(made, event.at)
    assert (told.day, told.time) == (day_of(moment), f"{moment:%H:%M}")
    if isinstance(event, TaskEvent):
        assert event.care.label in told.said
        return
    plan = event.plan
    assert squeezed(plan.lumens[event.lumen].label) == squeezed("".join(told.lumen))
    for dose in (*event.starts, *event.ends, *event.bags):
        assert plan.orders[dose.order].drug in told.said
    for dose in event.starts:
        order = plan.orders[dose.order]
        assert order.dose.text in told.said
        if dose.number and not order.continuous and order.given_as is not GivenAs.PUMP:
            total = f" of {order.doses}" if order.doses else ""
            assert re.search(rf"Dose {dose.number}{total}\b", told.said)
        for measure in (order.volume, order.rate, *(step.rate for step in order.rate_steps or ())):
            assert measure is None or measure.text in told.said
    for step in event.steps:
        if step.action in (Action.FLUSH, Action.LOCK):
            assert step.volume is not None
            fluid = plan.fluids[step.what]
            assert re.search(rf"{step.volume.text}\b", told.said)
            if fluid.strength is not None:
                units = step.volume.amount * fluid.strength.amount
                assert f"{step.volume.text}, {fluid.strength.text} ({float(units):g} units)" in told.said


# What stands on it is what the schedule says


@pytest.mark.parametrize("paper", PAPERS)
def test_every_touch_of_the_week_is_a_row_with_its_time_and_what_it_takes(
    sample: Sample, paper: Paper, tmp_path: Path
) -> None:
    made = sample.schedule
    rows = rows_of(words_of(sheet_pdf(made, asked(made, paper)), tmp_path))
    events = expected(made)
    assert len(rows) == len(events) > 0
    for told, event in zip(rows, events, strict=True):
        check_row(told, event, made)


def test_every_touch_of_a_plan_with_twelve_orders_and_the_longest_names_is_a_row(tmp_path: Path) -> None:
    made = heavy()
    rows = rows_of(words_of(pdf_of(made), tmp_path))
    events = expected(made)
    assert len(rows) == len(events) > 300
    for told, event in zip(rows, events, strict=True):
        moment = local(made, event.at)
        assert (told.day, told.time) == (day_of(moment), f"{moment:%H:%M}")
        assert isinstance(event, Touch)
        for dose in (*event.starts, *event.ends):
            assert squeezed(event.plan.orders[dose.order].drug) in squeezed(told.said)


def test_care_tasks_and_draws_stand_among_the_touches(tmp_path: Path) -> None:
    made = PLANS["care tasks"]()
    rows = rows_of(words_of(pdf_of(made), tmp_path))
    for told, event in zip(rows, expected(made), strict=True):
        check_row(told, event, made)
    said = [f"{told.day} {told.time} {told.said}" for told in rows]
    assert any("Thu 4 Jun 2026 10:00 Change the dressing The nurse does this." in text for text in said)
    assert any(
        "Wed 3 Jun 2026 09:00 Start cefazolin 1 g, with blood draw: weekly blood" in text
        and "saline 10 mL → draw out 5 mL, discard → draw the blood → saline 20 mL" in text.replace("Saline", "saline")
        for text in said
    )


def test_another_reader_finds_all_texts(sample: Sample) -> None:
    made = sample.schedule
    found = squeezed("".join(texts(pdf_of(made))))
    sheet = sheet_of(made, asked(made))
    for text in texts_of(
        (sheet.title, sheet.tiers, sheet.line, sheet.allergies, sheet.lumens, sheet.cautions, sheet.notes)
    ):
        if text not in ("emergency", "now", "same_day", "next_contact"):
            assert squeezed(text) in found
    for recipe in sheet.recipes:
        assert squeezed(recipe.heading) in found
        for _picture, text in recipe.steps:
            assert squeezed(text) in found


def test_the_steps_of_every_kind_of_touch_stand_there_once_with_their_pictures(sample: Sample) -> None:
    made = sample.schedule
    recipes = sheet_of(made, asked(made)).recipes
    for event in expected(made):
        if not isinstance(event, Touch) or event.nurse_only:
            continue
        steps = tuple((OF_ACTION[step.action], step_words(step, event.plan)) for step in event.steps)
        what, lumen = what_words(event, event.plan), lumen_words(event.plan, event.lumen)
        found = [recipe for recipe in recipes if recipe.steps == steps and lumen in recipe.lumens]
        assert [recipe.heading.lower() for recipe in found].count(what.lower()) == 1
    kinds = {(recipe.heading, recipe.lumens, recipe.steps) for recipe in recipes}
    assert len(kinds) == len(recipes)


def test_lumens_that_are_flushed_alike_share_their_steps() -> None:
    made = next(sample_of(path) for path in SAMPLE_PLANS if path.stem == "three-lumens").schedule
    flushes = [recipe for recipe in sheet_of(made, asked(made)).recipes if recipe.heading == "Flush"]
    assert [recipe.lumens for recipe in flushes] == [("red lumen", "grey lumen")]


def test_a_time_bears_its_zone_wherever_the_clock_changes(tmp_path: Path) -> None:
    zones: dict[str, Counter[str]] = {}
    for name in ("autumn-change", "traveller", "three-lumens"):
        made = next(sample_of(path) for path in SAMPLE_PLANS if path.stem == name).schedule
        rows = rows_of(words_of(pdf_of(made), tmp_path))
        zones[name] = Counter(word for told in rows for word in told.limit[:1] if word.isupper())
        wanted = Counter(local(made, event.at).tzname() for event in expected(made))
        assert zones[name] == (Counter() if name == "three-lumens" else wanted)
    assert zones["autumn-change"].keys() == {"CDT", "CST"}
    assert zones["traveller"].keys() == {"EDT", "MST"}


@pytest.mark.parametrize(
    ("home", "away"), [("Pacific/Auckland", "Pacific/Honolulu"), ("Pacific/Honolulu", "Pacific/Auckland")]
)
def test_a_journey_over_the_date_line_loses_no_row(home: str, away: str, tmp_path: Path) -> None:
    edits = f'[plan]\nzone = "{home}"\n[[zone_change]]\nat = "2026-06-03 20:00"\nzone = "{away}"\n{DAILY}'
    made = schedule(edits)
    pdf = pdf_of(made)
    for told, event in zip(rows_of(words_of(pdf, tmp_path)), expected(made), strict=True):
        check_row(told, event, made)
    check_paper(pdf, Paper.LETTER, tmp_path)


@pytest.mark.parametrize("later", [-20_000, 4_397, 10_080, 110_080])
def test_a_sheet_may_begin_at_any_moment(later: int, tmp_path: Path) -> None:
    made = schedule(DAILY)
    first = Instant(made.start + later)
    pdf = sheet_pdf(made, Asked(paper=Paper.A4, first=first, printed=first))
    last = local(made, first).date() + timedelta(days=7)
    events = [touch for touch in made.touches if first <= touch.at and local(made, touch.at).date() < last]
    rows = rows_of(words_of(pdf, tmp_path))
    assert len(rows) == len(events)
    for told, event in zip(rows, events, strict=True):
        check_row(told, event, made)
    check_paper(pdf, Paper.A4, tmp_path)


def test_supplies_of_two_infusions_a_day_are_those_of_the_worked_example(tmp_path: Path) -> None:
    # W2: one lumen, 60 minutes at 08:00 and 20:00; 7 days: 14 doses, 28 saline syringes, 14 heparin syringes.
    made = PLANS["two a day"]()
    sheet = sheet_of(made, asked(made))
    assert dict(sheet.supplies.rows) == {"saline syringe": 28, "heparin syringe": 14, "bag": 14}
    lines = "\n".join(texts(pdf_of(made)))
    for item, count in sheet.supplies.rows:
        assert re.search(rf"^{item}\s+{count}$", lines, re.MULTILINE)
    assert "No delivery is planned: counted for the week from Mon 1 Jun 2026 to Sun 7 Jun 2026." in lines


def test_supplies_are_counted_until_the_next_delivery() -> None:
    made = PLANS["care tasks"]()
    delivery = at("06-05 13:00")
    sheet = sheet_of(made, asked(made))
    assert sheet.supplies.until == "Counted until the next delivery, Fri 5 Jun 2026, 13:00 CDT."
    assert dict(sheet.supplies.rows) == dict(supplies(made, made.start, delivery))
    assert dict(sheet.supplies.rows)["dressing kit"] == 1


@pytest.mark.parametrize("path", SAMPLE_PLANS, ids=lambda path: path.stem)
def test_counts_on_the_sheet_are_those_of_the_schedule(path: Path) -> None:
    made = sample_of(path).schedule
    week = week_of(made, made.start)
    lines = squeezed("".join(texts(pdf_of(made))))
    delivered = [event.at for event in made.tasks if event.care.kind is TaskKind.DELIVERY]
    counted = supplies(made, week.first, min(delivered, default=week.until))
    assert counted
    for item, count in counted.items():
        assert f"{squeezed(item)}{count}" in lines


# Every page, and the first one


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", PLANS)
def test_every_page_tells_which_sheet_it_is_when_to_stop_and_whom_to_call(name: str, paper: Paper) -> None:
    made = PLANS[name]()
    plan = made.plan
    pages = [" ".join(text.split()) for text in texts(sheet_pdf(made, asked(made, paper)))]
    for number, text in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in text
        heading = f"Revision {plan.course.revision} of plan {plan_mark(plan)}, in force from Mon 1 Jun 2026, 08:00 CDT"
        assert heading in text
        assert "Printed Sun 31 May 2026, 18:00 CDT." in text
        assert "Throw away any sheet of this plan with a lower revision number" in text
        assert "STOP, CLAMP, CALL" in text or re.search("STOP, clamp and call", text)
        for tier in ("emergency", "now"):
            assert squeezed(plan.contacts[tier].phone) in squeezed(text)
    assert plan_mark(plan) == "0F0E-8A52"  # the first letters of the plan's id


def test_who_read_the_plan_back_stands_on_every_page() -> None:
    letters = check_letters(schedule(DAILY).plan)
    by = "Read back by R. Ames on Sun 31 May 2026, 18:00 CDT."
    for edits, wanted in (
        (DAILY, f"Read back: by nobody yet. Check letters: {letters}."),
        (read_back(DAILY), f"{by} Check letters: {letters}."),
        (
            read_back(DAILY, "BCDF GHJK"),
            f"{by} It was changed since: the check letters were BCDF GHJK and are now {letters}.",
        ),
    ):
        pages = [" ".join(text.split()) for text in texts(pdf_of(schedule(edits)))]
        assert all(wanted in text for text in pages)


def test_the_first_page_is_enough_for_the_door(sample: Sample) -> None:
    made = sample.schedule
    plan = made.plan
    first = " ".join(texts(pdf_of(made))[0].split())
    for tier in plan.contacts.values():
        assert tier.phone in first
        assert tier.who in first
    for part in (
        "Short of breath",
        "never force it",
        "Dressing wet",
        "Never double a dose",
        "comes first",
        "ALLERGIES",
    ):
        assert part in first
    for allergy in plan.line.allergies:
        assert allergy in first
    begins = local(made, made.start)
    assert f"The next days{'' if week_of(made, made.start).zone == '' else ' (times are'}" in first
    assert first.count(day_of(begins)) >= 2  # in the heading, and as a day of its own
    events = [event for event in expected(made) if local(made, event.at).date() == begins.date()]
    for event in events:
        if isinstance(event, Touch) and event.kind is not TouchKind.FINISH:
            assert f"{local(made, event.at):%H:%M}" in first


def test_nothing_personal_stands_on_it_unless_it_was_typed() -> None:
    made = PLANS["two a day"]()
    plain = texts(pdf_of(made))[0]
    assert re.search(r"Name:\s*\n", plain)
    assert re.search(r"Born:\s*\n", plain)
    typed = texts(sheet_pdf(made, asked(made, patient="Zoë Ångström")))[0]
    assert "Name: Zoë Ångström" in typed
    assert re.search(r"Born:\s*\n", typed), "written by hand"


def test_scrub_and_dry_times_stand_there_only_if_the_plan_states_them() -> None:
    stated = texts(pdf_of(sample_of(next(path for path in SAMPLE_PLANS if path.stem == "three-lumens")).schedule))
    assert "Scrub the hub for 15 s" in " ".join(" ".join(stated).split())
    assert "Let it dry for 10 s" in " ".join(" ".join(stated).split())
    unstated = " ".join(" ".join(texts(pdf_of(PLANS["two a day"]()))).split())
    assert "Scrub the hub as you were taught" in unstated
    assert not re.search(r"for \d+ s\b", unstated)


# What must be asked about


@pytest.mark.parametrize("day", DAYS, ids=lambda day: day.name)
def test_what_is_recorded_shows_in_the_boxes(day: Day, tmp_path: Path) -> None:
    made = day.schedule()
    request = Asked(paper=Paper.A4, first=made.start, printed=day.moment)
    rows = [row for shown in week_of(made, made.start).days for row in shown.rows]
    touches = {touch.uid: touch for touch in made.touches}
    tasks = {event.uid: event for event in made.tasks}
    for row in rows:
        if row.uid in tasks:
            assert (row.tick is Tick.BOX) == (tasks[row.uid].outcome is None)
            continue
        touch = touches[row.uid]
        is_open = touch.outcome is None or touch.outstanding
        assert (row.tick in (Tick.DONE, Tick.NOT)) == (not is_open)
        assert (row.tick in (Tick.ASK, Tick.NO_USE)) == (is_open and bool(touch.asks))
        assert bool(row.asks) == (is_open and (bool(touch.asks) or touch.nurse_only))
    read = rows_of(words_of(sheet_pdf(made, request), tmp_path))
    assert len(read) == len(rows)
    for found, row in zip(read, rows, strict=True):
        for text in (row.what, *row.details, *row.asks):
            assert squeezed(text).lower() in squeezed(found.said).lower()


def test_a_lumen_for_the_nurse_only_says_so_and_gives_no_steps() -> None:
    made = PLANS["nurse only"]()
    pages = " ".join(" ".join(texts(pdf_of(made))).split())
    assert "FOR THE NURSE ONLY: do not flush it" in pages
    sheet = sheet_of(made, asked(made))
    nurse = [recipe for recipe in sheet.recipes if "nurse only" in recipe.heading]
    assert nurse
    assert all(not recipe.steps and recipe.notes[0].startswith("FOR THE NURSE ONLY.") for recipe in nurse)
    rows = [row for day in sheet.week.days for row in day.rows if "nurse only" in row.what]
    assert len(rows) == 3  # the finish of each dose
    assert {row.tick for row in rows} == {Tick.NURSE}
    assert all("FOR THE NURSE ONLY." in row.asks[-1] for row in rows)


# Paper


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", PLANS)
def test_no_text_lies_over_another_and_nothing_outside_the_margins(name: str, paper: Paper, tmp_path: Path) -> None:
    made = PLANS[name]()
    pdf = sheet_pdf(made, asked(made, paper))
    check_paper(pdf, paper, tmp_path)


@pytest.mark.parametrize("paper", PAPERS)
def test_the_samples_find_room_on_both_papers(sample: Sample, paper: Paper, tmp_path: Path) -> None:
    check_paper(sheet_pdf(sample.schedule, asked(sample.schedule, paper)), paper, tmp_path)


@pytest.mark.parametrize("day", DAYS, ids=lambda day: day.name)
def test_what_happened_finds_room(day: Day, tmp_path: Path) -> None:
    made = day.schedule()
    pdf = sheet_pdf(made, Asked(paper=Paper.LETTER, first=made.start, printed=day.moment))
    check_paper(pdf, Paper.LETTER, tmp_path)


def check_paper(pdf: bytes, paper: Paper, folder: Path) -> None:
    """Check a PDF's size, that no words cover each other, that margins are white, and that there is no colour."""
    wide, high = SIZES[paper]
    file = folder / "checked.pdf"
    file.write_bytes(pdf)
    for leaf in PdfReader(file).pages:
        assert (float(leaf.mediabox.width), float(leaf.mediabox.height)) == pytest.approx((wide, high), abs=0.01)
    for number, page in enumerate(words_of(pdf, folder), start=1):
        assert page, f"page {number} is empty"
        assert overlaps(page) == [], f"page {number}"
        for word in page:
            assert SIDE - 1 <= word.left < word.right <= wide - SIDE + 1, word
            assert TOP - 1 <= word.top < word.foot <= high - FOOT + 1, word
    # A line along a margin is half outside it.
    edge = 2.0
    for number, pixels in enumerate(printed(pdf, folder), start=1):
        data = pixels.data
        assert data[0::3] == data[1::3] == data[2::3], f"colour on page {number}"
        margins = [(0.0, 0.0, wide, TOP - edge), (0.0, high - FOOT + edge, wide, high)]
        margins += [(0.0, 0.0, SIDE - edge, high), (wide - SIDE + edge, 0.0, wide, high)]
        for margin in margins:
            dots = pixels.dots(*margin)
            assert dots
            assert set(dots) == {255}, f"page {number} prints into its margin {margin}"


def test_no_row_of_the_week_is_cut_by_the_end_of_a_page(tmp_path: Path) -> None:
    made = heavy()
    rows = rows_of(words_of(pdf_of(made), tmp_path))
    sheet = [row for day in week_of(made, made.start).days for row in day.rows]
    for told, row in zip(rows, sheet, strict=True):  # all of a row's words lie below its time, on its page
        for text in (row.what, *row.details):
            assert squeezed(text).lower() in squeezed(told.said).lower()


def test_what_is_to_be_done_is_in_large_letters(sample: Sample, tmp_path: Path) -> None:
    made = sample.schedule
    drugs = {word for order in made.plan.orders.values() for word in order.drug.split()}
    for page in words_of(pdf_of(made), tmp_path):
        columns = next((word for word in page if word.text == "Real"), None)
        small = [word for word in page if word.high < BODY.size - 0.2]
        # Smaller letters stand only in the heading of the page and beside the drawing.
        limit = 80 if columns is not None and not any(word.text == "drawing" for word in page) else 10_000
        assert all(word.top < limit for word in small if word.text not in drugs)
        for index, word in enumerate(page[:-1]):
            if word.text in ("Start", "Finish") and page[index + 1].text in drugs:
                assert word.high >= DO_HIGH - 0.5


@pytest.mark.parametrize("name", PLANS)
def test_only_black_white_and_grey_are_asked_for(name: str, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf_of(PLANS[name]()))
    reader = PdfReader(file)
    used: set[bytes] = set()
    for page in reader.pages:
        contents = page.get_contents()
        assert contents is not None
        used |= {operator for _operands, operator in ContentStream(contents, reader).operations}
    assert b"g" in used
    assert not used & {b"rg", b"RG", b"k", b"K", b"sc", b"SC", b"scn", b"SCN", b"cs", b"CS", b"sh"}


@pytest.mark.parametrize("kind", ["looks", "kinds", "fills", "closed", "ticks", "pictures"])
def test_signs_differ_in_black_and_white_alone(kind: str, tmp_path: Path) -> None:
    cells = sheet_plans.signs(kind)
    page = printed(cells.pdf, tmp_path, dpi=144)[0]
    shapes = {}
    for name, box in cells.boxes.items():
        dots = page.dots(*box)[0::3]
        shapes[name] = bytes(dot < 200 for dot in dots)  # what a printer without greys would leave
        assert any(shapes[name]), name
    for one, other in combinations(shapes, 2):
        differing = sum(a != b for a, b in zip(shapes[one], shapes[other], strict=True))
        assert differing > 12, (one, other)


def test_each_step_has_its_own_picture() -> None:
    assert OF_ACTION.keys() == set(Action)
    assert DRAWINGS.keys() == set(Picture)


# Letters


@pytest.mark.parametrize(
    "name", ["Łukasz Żółć", "Õunapuu", "Nguyễn Thị", "Ёлкин", "Ωνάσης", "Þórðardóttir", "O’Brien–Šafář"]
)
def test_names_of_many_languages_are_printed_and_found_again(name: str) -> None:
    made = schedule(DAILY)
    request = asked(made, patient=name)
    assert name in texts(sheet_pdf(made, request))[0]
    assert sheet_warnings(made, request) == []


def test_an_accent_that_was_written_apart_is_printed_with_its_letter() -> None:
    assert printable("A\N{COMBINING RING ABOVE}ngstro\N{COMBINING DIAERESIS}m") == "Ångström"


@pytest.mark.parametrize("name", ["山田", "חנה", "سارة", "\N{PILL}"])
def test_what_cannot_be_printed_is_shown_and_told(name: str) -> None:
    made = schedule(DAILY)
    request = asked(made, patient=f"Ana {name}")
    assert sheet_warnings(made, request) == [
        f'Of "Ana {name}" not every letter can be printed on the sheet: write it in by hand.'
    ]
    first = " ".join(texts(sheet_pdf(made, request))[0].split())
    assert f"Name: Ana {LOST * len(name)}" in first
    assert "Some letters could not be printed" in first


def test_both_faces_hold_every_letter_of_our_own_words(sample: Sample) -> None:
    made = sample.schedule
    for text in texts_of(sheet_of(made, asked(made))):
        for letter in text:
            assert all(ord(letter) in faces()[name].face.charToGlyph for name in (REGULAR, BOLD)), (letter, text)


@given(st.text(st.characters(codec="latin-1"), max_size=90), st.sampled_from([BODY, DO_BOLD]), st.integers(30, 300))
def test_lines_find_their_room_and_nothing_is_lost(text: str, style: Style, room: int) -> None:
    lines = wrapped(text, style, float(room))
    for line in lines:
        assert width(line, style) <= room or len(line.rstrip("-")) <= 1
    kept = squeezed("".join(lines))
    assert kept == squeezed(printable(text))


# The same bytes


def test_the_same_schedule_gives_the_same_bytes(sample: Sample) -> None:
    assert pdf_of(sample.schedule) == pdf_of(sample.schedule)


def test_bytes_depend_on_no_machine(tmp_path: Path) -> None:
    script = (
        "import sys; sys.path[:0] = sys.argv[1:3]\n"
        "from sheet_plans import PLANS, pdf_of\n"
        "import hashlib; print(hashlib.sha256(pdf_of(PLANS['care tasks']())).hexdigest())"
    )
    root = Path(__file__).parent.parent
    seen = set()
    for seed, zone in (("1", "Asia/Tokyo"), ("2", "America/Halifax")):
        env = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "LANG": "de_DE.UTF-8", "PYTHONDONTWRITEBYTECODE": "1"}
        command = [sys.executable, "-c", script, str(root), str(root / "tests")]
        seen.add(subprocess.run(command, env=env, cwd=tmp_path, check=True, capture_output=True, text=True).stdout)
    assert len(seen) == 1


def test_no_library_for_compression_has_a_say_in_the_bytes() -> None:
    assert b"FlateDecode" not in pdf_of(PLANS["two a day"]())


def test_few_pages(sample: Sample) -> None:
    assert len(texts(pdf_of(sample.schedule))) <= 10


def test_a_dose_that_waits_for_its_draw_says_so_in_its_row() -> None:
    """A level that is drawn after the start is a wrong one (common practice, no source)."""
    plan = schedule(
        DAILY
        + '[protocol]\nafter_draw = ["saline 20 mL"]\n[task.trough]\nkind = "blood draw"\nlabel = "Trough level"\ndone_by = "nurse"\n'
        + 'order = "cefazolin"\nbefore_dose = "30 min"\nonly_doses = [3]\non_time_within = "15 min"\nlumen = "red"\n'
    )
    text = squeezed(" ".join(texts(sheet_pdf(plan, asked(plan)))))
    assert text.count(squeezed("Do not start it before the blood is drawn: Trough level.")) == 1


TWO_ALIKE = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.blue]
last_flushed = "2026-06-01 07:00"
[order.cefazolin]
note = "Watch for a rash."
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-06
duration = "60 min"
[order.vancomycin]
lumen = "blue"
note = "Watch for a rash."
clock_times = ["12:00"]
first_dose = "2026-06-01 12:00"
last_day = 2026-06-06
duration = "90 min"
"""


def test_what_holds_for_an_order_stands_with_every_order_that_it_holds_for() -> None:
    """Two orders may have the same window, cut-off and note: neither is told below the other's name alone (R18)."""
    made = schedule(TWO_ALIKE)
    recipes = sheet_of(made, asked(made)).recipes
    starts = [recipe for recipe in recipes if recipe.heading.startswith("Start")]
    assert len(starts) == 2
    for recipe in starts:
        assert any("Call before giving it." in note for note in recipe.notes)
        assert "Note: Watch for a rash." in recipe.notes
    finishes = [recipe for recipe in recipes if recipe.heading.startswith("Finish")]
    assert [recipe.notes for recipe in finishes] == [(), ()], "an order's note is not said again where it is taken off"


def test_no_row_names_a_time_to_keep_that_has_passed() -> None:
    """R8: a limit that has passed makes the flush due at once; when it was to be is told, and whom to ask."""
    made = schedule(NO_ORDERS.replace("2026-06-01 07:00", "2026-05-31 07:00", 1))
    first, *others = sheet_of(made, asked(made)).week.days[0].rows
    assert (first.limit, first.tick) == ("at once", Tick.ASK)
    assert first.asks == ("It was to be flushed by Sun 31 May 2026 19:00, which has passed. Ask the nurse first.",)
    assert all(row.limit.startswith("by ") and not row.asks for row in others)
