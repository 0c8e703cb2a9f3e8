"""The sheet as a PDF: its pages put together, with what stands on each of them.

The same schedule and the same request give the same bytes (R24), so nothing is compressed: how far that goes differs from one
copy of the library for it to another.
"""

from io import BytesIO

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfgen.canvas import Canvas

from reminders.schedule.model import Schedule
from reminders.sheet.content import Asked, Paper, Stamp, sheet_of, texts_of
from reminders.sheet.flow import Block, Pages, Row, Said, Stack, wrapped
from reminders.sheet.front import put_front
from reminders.sheet.letters import BODY_BOLD, SMALL, faces, lost_in
from reminders.sheet.pen import Box, Pen
from reminders.sheet.sections import put_drawing, put_rest, put_steps, put_week
from reminders.words import CATALOGUE

_ = CATALOGUE.gettext

SIZES: dict[Paper, tuple[float, float]] = {Paper.LETTER: LETTER, Paper.A4: A4}
"""Width and height of the papers, in points."""
SIDE, TOP, FOOT = 36.0, 30.0, 30.0
"""The margins: nothing is printed outside them."""
MOST_LINES = 4
"""So many lines at the foot of each page may say when to stop."""
GAP = 8.0
"""Between what stands on every page and the rest."""


PAGE = 92.0
"""How much room the number of the page takes at the right of the first line."""


def sheet_pdf(schedule: Schedule, asked: Asked) -> bytes:
    """Return the printable sheet of a schedule as a PDF."""
    faces()
    sheet = sheet_of(schedule, asked)
    width, height = SIZES[asked.paper]
    wide = width - 2 * SIDE
    header, footers = _header(sheet.stamp, wide), (_calls(sheet.stamp, wide), _stop(sheet.stamp, wide))
    above = header.height(wide)
    first, others = (height - TOP - FOOT - above - footer.height(wide) - 2 * GAP for footer in footers)
    pages = Pages(wide, first, others)
    put_front(pages, sheet, list(texts_of(sheet)))
    if len(pages.placed) == 1:
        pages.turn()  # the first page hangs on a door by itself
    put_drawing(pages, sheet, schedule, asked.printed)
    put_week(pages, sheet)
    put_steps(pages, sheet)
    pages = put_rest(pages, sheet)
    out = BytesIO()
    canvas = Canvas(out, pagesize=(width, height), pageCompression=0, invariant=1, lang="en")
    canvas.setTitle(f"{sheet.title}, {sheet.span}")
    canvas.setSubject(sheet.stamp.revision)
    canvas.setAuthor(schedule.plan.protocol.provider)
    pen = Pen(canvas, height)
    for number, placed in enumerate(pages.placed, start=1):
        header.draw(pen, SIDE, TOP, wide)
        said = _("Page {number} of {total}").format(number=number, total=len(pages.placed))
        pen.text(SIDE + wide, TOP + BODY_BOLD.size, said, BODY_BOLD, "end")
        for y, block in placed:
            block.draw(pen, SIDE, TOP + above + GAP + y, wide)
        footer = footers[min(number, 2) - 1]
        footer.draw(pen, SIDE, height - FOOT - footer.height(wide), wide)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def sheet_warnings(schedule: Schedule, asked: Asked) -> list[str]:
    """Return what whoever prints the sheet must know: each text of which a letter cannot be printed.

    The sheet itself says so too, and shows a sign for each such letter.
    """
    told = _('Of "{text}" not every letter can be printed on the sheet: write it in by hand.')
    return [told.format(text=text) for text in lost_in(texts_of(sheet_of(schedule, asked)))]


def _header(stamp: Stamp, wide: float) -> Block:
    """Return what heads every page: by which an older sheet is told from a newer one."""

    def paint(pen: Pen, box: Box) -> None:
        foot = box[1] + box[3]
        pen.line((SIDE, foot), (SIDE + wide, foot), 1)

    first = Said(_("{revision}, {effect}").format(revision=stamp.revision, effect=stamp.effect), BODY_BOLD)
    rest = Row(
        [[Said(stamp.printed, SMALL), Said(stamp.older, SMALL)]], (wide,), above=0, below=4, across=0, paint=paint
    )
    return Stack([Row([[first]], (wide - PAGE,), above=0, below=0, across=0), rest])


def _calls(stamp: Stamp, wide: float) -> Block:
    """Return what ends the first page, on which all signs stand: the numbers to call at any hour."""
    return _footer([Said(stamp.calls, BODY_BOLD)], wide)


def _stop(stamp: Stamp, wide: float) -> Block:
    """Return what ends every other page: when to stop and whom to call, in short where that would take too many lines."""
    full = len(wrapped(stamp.stop, BODY_BOLD, wide)) <= MOST_LINES
    return _footer([Said(stamp.stop if full else stamp.stop_short, BODY_BOLD)], wide)


def _footer(said: list[Said], wide: float) -> Block:
    def paint(pen: Pen, box: Box) -> None:
        pen.line((SIDE, box[1]), (SIDE + wide, box[1]), 1)

    return Row([said], (wide,), above=4, below=0, across=0, paint=paint)
