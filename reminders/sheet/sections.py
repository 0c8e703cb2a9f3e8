"""The pages after the first: the week to tick off, the drawing, the steps, supplies, teaching back and signatures."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from reminders.schedule.model import Schedule
from reminders.sheet.content import Sheet
from reminders.sheet.drawing import week_drawing
from reminders.sheet.flow import Block, Pages, Row, Said, Stack, words
from reminders.sheet.letters import (
    BODY,
    BODY_BOLD,
    BODY_WHITE,
    DO,
    DO_BOLD,
    DO_WHITE,
    LARGE,
    LARGE_BOLD,
    SECTION,
    Style,
    width,
)
from reminders.sheet.pen import BLACK, SOFT, WHITE, Box, Pen
from reminders.sheet.pictures import Picture, draw_picture
from reminders.sheet.recipes import Recipe
from reminders.sheet.week import Day, Tick, capital
from reminders.sheet.week import Row as Told
from reminders.times import Instant
from reminders.words import CATALOGUE, NOTHING_DUE

_ = CATALOGUE.gettext

TICK, REAL, INITIALS = 25.0, 59.0, 49.0
"""How wide the columns are for the box, the real time and the initials."""
LEAST_LUMEN, MOST_LUMEN, MOST_TIME = 40.0, 100.0, 90.0
BOX = 15.0
"""The size of a box to tick."""
BEGINS = 170.0
"""How much room below the drawing is enough for the week to begin there; where there is less, the drawing fills it."""
PICTURE = 44.0
"""How large the picture of a step is."""


def heading(text: str, wide: float) -> Block:
    """Return the heading of a section."""

    def paint(pen: Pen, box: Box) -> None:
        pen.line((box[0], box[1] + box[3] - 2), (box[0] + box[2], box[1] + box[3] - 2), 2)

    return Row([[Said(text, SECTION)]], (wide,), above=8, below=6, across=0, paint=paint)


# The week, to tick off


def put_week(pages: Pages, sheet: Sheet) -> None:
    """Put one row for each touch and care task, under its day; a row is never cut, and a day's heading stands again."""
    wide, week = pages.wide, sheet.week
    widths = _widths(sheet, wide)
    zone = _("All times are {zone}.").format(zone=week.zone) if week.zone else _("Each time says its zone.")
    lead = _("Tick a row when it is done, and write down the real time and who did it. {zone}").format(zone=zone)
    head = heading(_("The week to tick off"), wide)
    _put_rows(
        pages,
        Stack([head, words([Said(lead, BODY)], wide, below=4)]),
        [(day, [_row(told, widths) for told in day.rows]) for day in week.days],
        widths,
    )
    besides = [Said(text, BODY_BOLD) for text in sheet.as_needed]
    more = words(
        [Said(_("Whatever else was done: as needed, an extra flush, a problem"), DO_BOLD), *besides], wide, above=6
    )
    blanks = [Row([[]] * len(widths), widths, least=30, paint=_ruled(widths, Tick.BOX)) for _count in range(3)]
    pages.put(Stack([more, _column_heads(widths), *blanks]))


def _widths(sheet: Sheet, wide: float) -> tuple[float, ...]:
    """Return the widths of box, time, lumen, what, real time and initials."""
    rows = [row for day in sheet.week.days for row in day.rows]
    limits = [width(text, BODY) for row in rows for text in _parts(row.limit)]
    times = [width(row.time, DO_BOLD) for row in rows]
    time = min(max([*limits, *times, width("00:00", DO_BOLD)]), MOST_TIME) + 7
    named = [width(word, DO) for row in rows for word in row.lumen.split()]
    lumen = min(max([*named, width(_("Lumen"), BODY_BOLD), LEAST_LUMEN]) + 10, MOST_LUMEN)
    return TICK, time, lumen, wide - TICK - time - lumen - REAL - INITIALS, REAL, INITIALS


def _parts(limit: str) -> list[str]:
    """Return a limit as it may be broken at best: before its time."""
    word, *rest = limit.rsplit(" ", 1)
    return [limit] if len(limit) <= len(_("until 00:00")) else [word, *rest]


def _put_rows(pages: Pages, above: Block, days: Sequence[tuple[Day, Sequence[Block]]], widths: Sequence[float]) -> None:
    heads: Block = Stack([above, _column_heads(widths)])
    for index, (day, rows) in enumerate(days):
        listed = list(rows) or [words([Said(NOTHING_DUE, LARGE)], pages.wide, above=4, below=6)]
        first = _day_head(day, pages.wide, again=False)
        if index == 0 or not pages.fits(first, listed[0]):
            if not pages.fits(heads, first, listed[0]):
                pages.turn()
            pages.put(heads)
            heads = _column_heads(widths)
        pages.put(first)
        for row in listed:
            if not pages.fits(row):
                pages.turn()
                pages.put(heads)
                pages.put(_day_head(day, pages.wide, again=True))
            pages.put(row)


def _column_heads(widths: Sequence[float]) -> Block:
    heads = ("", _("Time"), _("Lumen"), _("What to do"), _("Real time"), _("Initials"))

    def paint(pen: Pen, box: Box) -> None:
        pen.line((box[0], box[1] + box[3]), (box[0] + box[2], box[1] + box[3]), 1)

    return Row([[Said(head, BODY_BOLD)] if head else [] for head in heads], widths, across=3, paint=paint)


def _day_head(day: Day, wide: float, *, again: bool) -> Block:
    said = _("{day} (continued)").format(day=day.heading) if again else day.heading
    notes = [Said(capital(note), BODY_WHITE) for note in day.notes]

    def paint(pen: Pen, box: Box) -> None:
        pen.box((box[0], box[1], wide, box[3]), ink=None, fill=BLACK)

    return Row([[Said(said, DO_WHITE), *notes]], (wide,), above=2, below=3, across=6, paint=paint)


def _row(told: Told, widths: Sequence[float]) -> Block:
    times = [Said(told.time, DO_BOLD), *([Said(told.limit, BODY)] if told.limit else [])]
    what = [Said(capital(told.what), DO_BOLD), *(Said(text, BODY) for text in told.details)]
    what += [Said(text, BODY_BOLD) for text in told.asks]
    label = DO if width(told.lumen, DO) <= widths[2] - 6 else BODY  # a long one is smaller
    cells = [[], times, [Said(told.lumen, label)], what, [], []]
    return Row(cells, widths, above=2, below=3, across=3, least=30, paint=_ruled(widths, told.tick))


def _ruled(widths: Sequence[float], tick: Tick) -> Callable[[Pen, Box], None]:
    """Return what draws a row's lines and its box."""

    def paint(pen: Pen, box: Box) -> None:
        x, y, across, high = box
        pen.line((x, y + high), (x + across, y + high), 0.7)
        for left in (x + across - REAL - INITIALS, x + across - INITIALS):
            pen.line((left, y + 2), (left, y + high - 2), 0.5, SOFT)
        if tick in (Tick.ASK, Tick.NO_USE):
            pen.box((x, y + 1, 3, high - 2), ink=None, fill=BLACK)
        draw_tick(pen, tick, (x + 6, y + 5))

    return paint


def draw_tick(pen: Pen, tick: Tick, at: tuple[float, float]) -> None:
    """Draw a row's box; only an empty one is there to be ticked at once."""
    x, y = at
    if tick is Tick.NO_USE:
        pen.circle((x + BOX / 2, y + BOX / 2), BOX / 2, thick=1.8)
        pen.line((x + 2.4, y + BOX - 2.4), (x + BOX - 2.4, y + 2.4), 1.8)
        return
    pen.box((x, y, BOX, BOX), thick=1.6, fill=WHITE, radius=2, dash=(3, 2) if tick is Tick.ASK else ())
    if tick is Tick.ASK:
        pen.text(x + BOX / 2, y + 12.4, "?", DO_BOLD, "middle")
    elif tick is Tick.NURSE:
        pen.hatch((x, y, BOX, BOX), 4, BLACK, (1,), 0.7)
    elif tick is Tick.DONE:
        pen.path("M.2 .5L.42 .75L.82 .22", at=at, scale=BOX, thick=2)
    elif tick is Tick.NOT:
        pen.line((x + 3.5, y + BOX / 2), (x + BOX - 3.5, y + BOX / 2), 2)


# The drawing


def put_drawing(pages: Pages, sheet: Sheet, schedule: Schedule, printed: Instant) -> None:
    """Put the week as a drawing, one lane for each lumen."""
    head = heading(_("The week as a drawing"), pages.wide)
    notes = [Said(f"{day.heading}: {note}.", BODY) for day in sheet.week.days for note in day.notes]
    said = words(notes, pages.wide, below=4)
    beside = head.height(pages.wide) + (said.height(pages.wide) if notes else 0)
    drawing = week_drawing(schedule, sheet.week, printed, pages.wide, pages.high - beside)
    left = pages.room - beside - drawing.high
    if left < BEGINS:
        drawing = week_drawing(
            schedule, sheet.week, printed, pages.wide, (pages.room if left >= 0 else pages.high) - beside, filled=True
        )
    blocks: list[Block] = [head, *([said] if notes else []), drawing]
    pages.put(Stack(blocks))


# The steps


def put_steps(pages: Pages, sheet: Sheet) -> None:
    """Put the steps of each kind of touch in the week, each with its picture."""
    wide = pages.wide
    head = heading(_("The steps"), wide)
    band = _band(_("Every time"), (), wide)
    pages.put(Stack([head, band, *_steps(sheet.every_time, wide, numbered=False)], below=6))
    for recipe in sheet.recipes:
        pages.put(_recipe(recipe, wide))


def _recipe(recipe: Recipe, wide: float) -> Block:
    blocks: list[Block] = [_band(recipe.heading, recipe.lumens, wide)]
    if recipe.lay_out:
        blocks.append(words([Said(recipe.lay_out, BODY)], wide, above=2))
    blocks += _steps(recipe.steps, wide, numbered=True)
    if recipe.notes:
        blocks.append(words([Said(note, BODY_BOLD) for note in recipe.notes], wide, above=1))
    return Stack(blocks, below=9)


def _band(text: str, lumens: Sequence[str], wide: float) -> Block:
    """Return the heading of some steps: the lumens beside it, or below it where it is long."""
    named = ", ".join(lumens)
    beside = width(text, DO_BOLD) + width(named, BODY_BOLD) + 30 <= wide
    cells = (
        [[Said(text, DO_BOLD)], [Said(named, BODY_BOLD)]] if beside else [[Said(text, DO_BOLD), Said(named, BODY_BOLD)]]
    )
    split = wide - width(named, BODY_BOLD) - 12 if beside else wide

    def paint(pen: Pen, box: Box) -> None:
        pen.box((box[0], box[1], wide, box[3] - 2), thick=1.2, radius=3)

    return Row(cells, (split, wide - split) if beside else (wide,), above=3, below=6, across=5, paint=paint)


def _steps(steps: Sequence[tuple[Picture, str]], wide: float, *, numbered: bool) -> list[Block]:
    """Return steps in two columns, to be read from left to right, then down."""
    half = wide / 2
    widths = (PICTURE, half - PICTURE, PICTURE, half - PICTURE)
    rows: list[Block] = []
    told = [
        (picture, _("{number}. {step}").format(number=number, step=text) if numbered else text)
        for number, (picture, text) in enumerate(steps, start=1)
    ]
    for first in range(0, len(told), 2):
        pair = told[first : first + 2]
        cells: list[Sequence[Said]] = [cell for _picture, text in pair for cell in ([], [Said(text, DO)])]
        rows.append(
            Row(cells, widths[: len(cells)], above=3, below=3, across=5, least=PICTURE + 4, paint=_shown(pair, half))
        )
    return rows


def _shown(pair: Sequence[tuple[Picture, str]], half: float) -> Callable[[Pen, Box], None]:
    def paint(pen: Pen, box: Box) -> None:
        for index, (picture, _text) in enumerate(pair):
            draw_picture(pen, picture, (box[0] + index * half + 1, box[1] + 2), PICTURE)

    return paint


# Supplies, teaching back, signatures


def put_rest(pages: Pages, sheet: Sheet) -> Pages:
    """Return the pages with supplies, teaching back and signatures added; the supplies stay together if that takes no page."""
    both = []
    for whole in (True, False):
        tried = replace(pages, placed=[list(page) for page in pages.placed])
        put_supplies(tried, sheet, whole=whole)
        put_teaching(tried, sheet)
        both.append(tried)
    return min(both, key=lambda tried: len(tried.placed))


def put_supplies(pages: Pages, sheet: Sheet, *, whole: bool) -> None:
    """Put what is used up, with a column to count what is there; ``whole``: on one page if one page holds it."""
    wide = pages.wide
    widths = (wide - 260, 80.0, 90.0, 90.0)
    heads = Row(
        [[Said(text, BODY_BOLD)] for text in (_("Item"), _("Needed"), _("Counted"), _("To order"))],
        widths,
        paint=_bottom,
    )
    rows = [
        Row(
            [[Said(item, LARGE)], [Said(str(count), DO_BOLD)], [], []], widths, above=3, below=3, paint=_counted(widths)
        )
        for item, count in sheet.supplies.rows
    ]
    lead = words([Said(sheet.supplies.until, BODY)], wide, below=3)
    head = heading(_("Supplies"), wide)
    if not rows:
        pages.put(Stack([head, lead, words([Said(_("Nothing is used up."), LARGE)], wide)]))
        return
    together = Stack([head, lead, heads, *rows])
    if whole and together.height(wide) <= pages.high:
        pages.put(together)
        return
    pages.put(Stack([head, lead, heads, rows[0]]))
    for row in rows[1:]:
        if not pages.fits(row):
            pages.turn()
            pages.put(heads)
        pages.put(row)


def _bottom(pen: Pen, box: Box) -> None:
    pen.line((box[0], box[1] + box[3]), (box[0] + box[2], box[1] + box[3]), 1)


def _counted(widths: Sequence[float]) -> Callable[[Pen, Box], None]:
    def paint(pen: Pen, box: Box) -> None:
        x, y, across, high = box
        pen.line((x, y + high), (x + across, y + high), 0.5)
        left = x + widths[0] + widths[1]
        for wide in widths[2:]:
            pen.box((left + 4, y + 2, wide - 10, high - 4), thick=0.8)
            left += wide

    return paint


def put_teaching(pages: Pages, sheet: Sheet) -> None:
    """Put what is to be shown or said back, and the lines to sign."""
    wide = pages.wide
    widths = (TICK, wide - TICK - 150, 150.0)
    head = heading(_("Shown and said back"), wide)
    lead = _(
        "Whoever will look after the line shows or says each of these. The nurse ticks, and notes what to go over again."
    )

    def paint(pen: Pen, box: Box) -> None:
        x, y, across, high = box
        draw_tick(pen, Tick.BOX, (x + (TICK - BOX) / 2, y + 4))
        pen.line((x + across - 146, y + high - 4), (x + across, y + high - 4), 0.6)

    rows: list[Block] = [
        Row([[], [Said(capital(text), LARGE)], []], widths, above=4, below=4, least=25, paint=paint)
        for text in sheet.teach_back
    ]
    signed = [_signature(who, wide) for who in (_("Patient or caregiver"), _("Nurse"))]
    pages.put(Stack([head, words([Said(lead, BODY)], wide, below=4), *rows, *signed], below=4))


def _signature(who: str, wide: float) -> Block:
    label: Style = LARGE_BOLD
    date = _("Date")

    def paint(pen: Pen, box: Box) -> None:
        x, foot = box[0], box[1] + box[3] - 4
        pen.line((x + width(who, label) + 8, foot), (x + wide * 0.7 - 10, foot), 0.8)
        pen.line((x + wide * 0.7 + width(date, label) + 8, foot), (x + wide, foot), 0.8)

    return Row(
        [[Said(who, label)], [Said(date, label)]], (wide * 0.7, wide * 0.3), above=24, below=5, across=0, paint=paint
    )
