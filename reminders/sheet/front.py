"""The first page, for the refrigerator door: whom to call, when to stop, the line, and the next days."""

from collections.abc import Sequence
from dataclasses import replace

from reminders.sheet.content import LumenFacts, Sheet, Tier
from reminders.sheet.flow import Beside, Block, Pages, Row, Said, Stack, words
from reminders.sheet.letters import (
    BODY,
    BODY_BOLD,
    BODY_WHITE,
    DO_BOLD,
    DO_WHITE,
    LARGE,
    LARGE_BOLD,
    NUMBER_WHITE,
    SECTION,
    TITLE,
    Style,
    lost_in,
    width,
)
from reminders.sheet.pen import BLACK, Box, Pen
from reminders.sheet.pictures import Picture, draw_picture
from reminders.sheet.week import Day
from reminders.words import CATALOGUE, NOTHING_DUE

_ = CATALOGUE.gettext

CALLS = 168.0
"""How wide the part of a tier is that holds what to do and the number."""
SPAN = 215.0
"""How much room the dates take beside the title."""
PICTURE = 46.0
"""How much room a picture takes beside a tier."""
PICTURES = {"emergency": Picture.CALL, "now": Picture.CLAMP}


def put_front(pages: Pages, sheet: Sheet, texts: Sequence[str]) -> None:
    """Put everything that the refrigerator door needs; the next days fill what is left of the page.

    ``texts`` are all of the sheet's, so that it says itself what could not be printed.
    """
    wide = pages.wide
    title = _largest(sheet.title, (TITLE, SECTION, DO_BOLD), wide - SPAN)
    pages.put(Row([[Said(sheet.title, title)], [Said(sheet.span, LARGE)]], (wide - SPAN, SPAN), 0, 0, 0))
    pages.put(_blanks(sheet, wide))
    if lost := lost_in(texts):
        pages.put(_lost(lost, wide))
    if sheet.not_read_back:
        pages.put(_boxed(sheet.not_read_back, wide))
    for tier in sheet.tiers:
        pages.put(_tier(tier, wide))
    pages.put(_boxed(_("ALLERGIES: {allergies}").format(allergies=sheet.allergies), wide))
    pages.put(words([Said(sheet.line, LARGE_BOLD)], wide, above=4))
    pages.put(_lumens(sheet.lumens, wide))
    cautions = [Said(text, LARGE_BOLD if index == 0 else LARGE) for index, text in enumerate(sheet.cautions)]
    pages.put(words([*cautions, *(Said(note, LARGE) for note in sheet.notes)], wide, above=5, below=4))
    _put_next_days(pages, sheet)


def _largest(text: str, styles: Sequence[Style], room: float) -> Style:
    """Return the first of some styles, the largest first, in which a text needs one line; the last if none is."""
    return next((style for style in styles if width(text, style) <= room), styles[-1])


def _blanks(sheet: Sheet, wide: float) -> Block:
    """Return the lines for the patient's name, with what was typed, and birth date, which is written by hand."""
    parts = ((_("Name:"), sheet.patient, wide * 0.6), ("", "", 12.0), (_("Born:"), "", wide * 0.4 - 12))
    cells = [[Said(f"{label} {typed}", DO_BOLD)] if label else [] for label, typed, _across in parts]
    widths = [across for _label, _typed, across in parts]

    def paint(pen: Pen, box: Box) -> None:
        x, foot = box[0], box[1] + box[3] - 3
        for label, typed, across in parts:
            if label and not typed:
                pen.line((x + width(label, DO_BOLD) + 6, foot), (x + across, foot), 0.8)
            x += across

    return Row(cells, widths, above=6, below=6, across=0, paint=paint)


def _lost(lost: Sequence[str], wide: float) -> Block:
    told = _("Some letters could not be printed; the sign {sign} stands for each. Write them in by hand: {texts}")
    return _boxed(told.format(sign="\N{REPLACEMENT CHARACTER}", texts="; ".join(lost)), wide)


def _boxed(text: str, wide: float) -> Block:
    def paint(pen: Pen, box: Box) -> None:
        pen.box((box[0] + 1, box[1] + 3, box[2] - 2, box[3] - 5), thick=2, radius=3)

    return Row([[Said(text, DO_BOLD)]], (wide,), above=6, below=6, across=8, paint=paint)


def _tier(tier: Tier, wide: float) -> Block:
    """Return one tier: what to do and the number on the left, who answers and the signs beside it."""
    do, sizes = (DO_WHITE, (NUMBER_WHITE, DO_WHITE, BODY_WHITE)) if tier.urgent else (BODY_BOLD, (DO_BOLD, BODY_BOLD))
    number = _largest(tier.number, sizes, CALLS - 14)
    shown = PICTURES.get(tier.name)
    sign = PICTURE if shown else 0.0
    cells = [[Said(tier.do, do), Said(tier.number, number)], [Said(tier.who, LARGE_BOLD), Said(tier.signs, LARGE)]]

    def paint(pen: Pen, box: Box) -> None:
        x, y, across, high = box[0], box[1] + 1, wide, box[3] - 2
        if tier.urgent:
            pen.box((x, y, CALLS, high), ink=None, fill=BLACK)
        pen.box((x, y, across, high), thick=2 if tier.urgent else 1)
        pen.line((x + CALLS, y), (x + CALLS, y + high), 1)
        if shown:
            draw_picture(pen, shown, (x + across - PICTURE, y + (high - PICTURE + 8) / 2), PICTURE - 8)

    return Row(cells, (CALLS, wide - CALLS - sign), above=4, below=5, across=7, least=sign, paint=paint)


def _lumens(lumens: Sequence[LumenFacts], wide: float) -> Block:
    """Return the lumens as a small table."""
    heads = (_("Lumen"), _("Locked with"), _("Flush again within"))
    widths = (wide * 0.38, wide * 0.38, wide * 0.24)
    rows = [Row([[Said(head, BODY_BOLD)] for head in heads], widths, paint=_underline)]
    for facts in lumens:
        name = [Said(facts.name, LARGE_BOLD)]
        if facts.remark:
            name.append(Said(facts.remark, BODY_BOLD))
        rows.append(Row([name, [Said(facts.lock, BODY)], [Said(facts.limit, BODY)]], widths, paint=_underline))
    return Stack(rows, below=2)


def _underline(pen: Pen, box: Box) -> None:
    pen.line((box[0], box[1] + box[3]), (box[0] + box[2], box[1] + box[3]), 0.6)


# The next days


def _put_next_days(pages: Pages, sheet: Sheet) -> None:
    """Fill the rest of the page with as many whole days as find room, in two columns or three."""
    if len(pages.placed) > 1:
        return
    days = sheet.week.days
    wide = pages.wide
    zone = _(" (times are {zone})").format(zone=sheet.week.zone) if sheet.week.zone else ""
    heading = words([Said(_("The next days") + zone, DO_BOLD)], wide, above=4)
    more: Block = words([Said(_("With every step, and to tick off: on the pages that follow."), BODY)], wide)
    room = pages.room - heading.height(wide) - more.height(wide)
    best: list[Block] = []
    shown = 0
    for count in (1, 2, 3):
        blocks, fitted = _fitting(days, wide, count, room)
        if fitted > shown:
            best, shown = blocks, fitted
    if not best:
        best, more = _begun(days[0], wide, room)
    for block in (*([heading] if best else []), *best, more):
        pages.put(block)


def _begun(day: Day, wide: float, room: float) -> tuple[list[Block], Block]:
    """Return as much of a day as finds room, and what says that there is more."""
    count = len(day.short)
    while count and _card(replace(day, short=day.short[:count]), wide).height(wide) > room:
        count -= 1
    more = _("More on this day, and the days after it: on the pages that follow.")
    if count:
        return [_card(replace(day, short=day.short[:count]), wide)], words([Said(more, BODY_BOLD)], wide)
    return [], words([Said(_("What is to be done, day by day: on the pages that follow."), BODY_BOLD)], wide)


def _fitting(days: Sequence[Day], wide: float, count: int, room: float) -> tuple[list[Block], int]:
    blocks: list[Block] = []
    gap = 14.0
    each = (wide - gap * (count - 1)) / count
    for first in range(0, len(days), count):
        block = Beside([_card(day, each) for day in days[first : first + count]], count, gap)
        room -= block.height(wide)
        if room < 0:
            return blocks, first
        blocks.append(block)
    return blocks, len(days)


def _card(day: Day, wide: float) -> Block:
    """Return one day in short: what is done at each time, in one line or a few."""
    time = max([width("00:00", BODY_BOLD), *(width(time, BODY_BOLD) for time, _what in day.short)]) + 6
    rows: list[Block] = [Row([[Said(day.heading, LARGE_BOLD)]], (wide,), above=3, below=2, across=0, paint=_underline)]
    rows += [words([Said(note, BODY)], wide) for note in day.notes]
    before = ""
    for told, what in day.short:
        said = "" if told == before else told
        cells = [[Said(said, BODY_BOLD)], [Said(what, BODY)]]
        rows.append(Row(cells, (time, wide - time), above=1, below=0.5, across=0))
        before = told
    if not day.rows:
        rows.append(words([Said(NOTHING_DUE, BODY)], wide))
    return Stack(rows, below=5)
