"""Plans to print, for tests and for looking at, and a page of all signs. Everything in them is invented."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from io import BytesIO

from reportlab.pdfgen.canvas import Canvas
from small_plans import DAILY, schedule

from reminders.plan.read_back import check_letters
from reminders.schedule.model import Schedule, TouchKind
from reminders.sheet.content import Asked, Paper
from reminders.sheet.marks import closed, infusion, touch_mark
from reminders.sheet.pdf import sheet_pdf
from reminders.sheet.pen import Box, Pen
from reminders.sheet.pictures import Picture, draw_picture
from reminders.sheet.sections import draw_tick
from reminders.sheet.week import Tick
from reminders.times import Instant
from reminders.views.timeline_lanes import Closed, Fill, Look

LONGEST = 60
"""The most letters of a name in a plan."""


def long(begins: str) -> str:
    """Return a name as long as one may be, without a blank to break it at."""
    return (begins + "-" + "abcdefghij" * 7)[:LONGEST]


def wordy(begins: str) -> str:
    """Return a name as long as one may be, in words."""
    return (begins + " of a very long name in words" + " and words" * 5)[:LONGEST].strip()


TWO_A_DAY = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[order.a]
clock_times = ["08:00", "20:00"]
first_dose = "2026-06-01 08:00"
last_day = 2026-06-07
duration = "60 min"
each_dose = { "bag" = 1 }
"""

NURSE_ONLY = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.blue]
last_flushed = "2026-06-01 07:00"
flush_through = "nurse only"
[order.v]
drug = "invented vesicant"
clock_times = ["09:00"]
first_dose = "2026-06-01 09:00"
last_day = 2026-06-03
duration = "60 min"
flush_through = "nurse only"
"""

CARE_TASKS = (
    DAILY
    + """
[protocol]
before_draw = ["saline"]
after_draw = ["saline 20 mL"]
discard_volume = "5 mL"
[task.dressing]
kind = "dressing"
label = "Change the dressing"
done_by = "nurse"
every_days = 7
at = "10:00"
last_done = "2026-05-28 10:00"
uses = { "dressing kit" = 1 }
[task.bag]
kind = "out of the refrigerator"
label = "Take the bag out of the refrigerator"
done_by = "household"
order = "cefazolin"
before_dose = "60 min"
on_time_within = "15 min"
note = "Never warm it in water."
[task.blood]
kind = "blood draw"
label = "weekly blood"
done_by = "nurse"
weekdays = ["Wed"]
at = "09:00"
lumen = "red"
uses = { "blood tube" = 3 }
[task.delivery]
kind = "delivery"
label = "The delivery comes"
done_by = "pharmacy"
weekdays = ["Fri"]
at = "13:00"
brings = { "saline syringe" = 60 }
"""
)


def read_back(edits: str, letters: str = "") -> str:
    """Add to a plan that R. Ames has read it back, with its own check letters if no others are given."""
    right = letters or check_letters(schedule(edits).plan)
    return f'{edits}\n[read_back]\nby = "R. Ames"\nat = "2026-05-31 18:00"\ncheck = "{right}"\n'


THREE_DAYS = '[plan]\nend = "2026-06-04 08:00"\n' + DAILY.replace("2026-06-06", "2026-06-03")

OPEN_ENDED = '[plan]\nwithout end\nopen_ended = "30 days"\n' + DAILY.replace(
    "last_day = 2026-06-06", "until_removal = true"
)

NO_ORDERS = """
[lumen.red]
last_flushed = "2026-06-01 07:00"
[lumen.white]
last_flushed = "2026-06-01 07:00"
in_use = false
"""

AS_NEEDED = (
    DAILY
    + """
[order.n]
drug = "ondansetron"
dose = "4 mg"
given_as = "push"
as_needed = true
most_in_24h = 3
until_removal = true
least_spacing = "8 h"
duration = "5 min"
without on_time_within
without cut_off
"""
)


def _heavy() -> str:
    """Return edits with twelve orders in three lumens, each name as long as it may be, and long notes and signs."""
    labels = {"white": wordy("white clamp"), "blue": long("blue"), "red": wordy("red clamp")}
    text = f"""
[line]
external_length = "2 cm"
allergies = ["{wordy("penicillin")}", "{long("Hymenoptera")}", "latex"]
[protocol]
provider = "{long("Provider")}"
[calendar]
name = "{long("Calendar")}"
[call.now]
who = "{wordy("The nurse on call")}"
phone = "{wordy("555-0142, then press 1")}"
signs = ["{long("sign")}", "{wordy("a sign in the provider's own words")}"]
"""
    for name, label in labels.items():
        text += f'[lumen.{name}]\nlabel = "{label}"\nlast_flushed = "2026-06-01 07:00"\n'
    for number in range(12):
        drug = wordy(f"drug {number}") if number % 2 else long(f"drug{number}")
        text += f"""[order.o{number}]
drug = "{drug}"
lumen = "{list(labels)[number % 3]}"
every = "8 h"
first_dose = "2026-06-01 {8 + 2 * (number // 3):02d}:30"
last_day = 2026-06-06
duration = "60 min"
volume = "100 mL"
least_spacing = "6 h"
note = "{"A note of some length about this order. " * 6}"
each_dose = {{ "{long(f"item{number}")}" = 1 }}
"""
    return text


@cache
def heavy() -> Schedule:
    """Return the schedule of twelve orders whose names are as long as they may be."""
    return schedule(_heavy())


PLANS: dict[str, Callable[[], Schedule]] = {
    "two a day": lambda: schedule(TWO_A_DAY),
    "nurse only": lambda: schedule(NURSE_ONLY),
    "care tasks": lambda: schedule(CARE_TASKS),
    "three days": lambda: schedule(THREE_DAYS),
    "open-ended": lambda: schedule(OPEN_ENDED),
    "no orders": lambda: schedule(NO_ORDERS),
    "as needed": lambda: schedule(AS_NEEDED),
    "twelve orders, long names": heavy,
}


def pdf_of(made: Schedule) -> bytes:
    """Print the sheet of a schedule from its start on, as of the evening before, on letter paper."""
    return sheet_pdf(made, Asked(paper=Paper.LETTER, first=made.start, printed=Instant(made.start - 14 * 60)))


@dataclass(frozen=True)
class Signs:
    """A page of signs, and the box of each by its name."""

    pdf: bytes
    boxes: dict[str, Box]


def signs(kind: str) -> Signs:
    """Return a page with each sign of a kind in a box of its own; boxes are left, top, right, foot."""
    drawn: dict[str, Callable[[Pen], None]] = {
        "looks": {look.name: _mark(TouchKind.IDLE_FLUSH, look) for look in Look},
        "kinds": {touch.name: _mark(touch, Look.PLANNED) for touch in TouchKind},
        "fills": {fill.name: _fill(fill) for fill in Fill},
        "closed": {why.name: _closed(why) for why in Closed},
        "ticks": {tick.name: _tick(tick) for tick in Tick},
        "pictures": {picture.name: _picture(picture) for picture in Picture},
    }[kind]
    out = BytesIO()
    canvas = Canvas(out, pagesize=(612, 792), invariant=1)
    pen = Pen(canvas, 792)
    boxes = {}
    for index, (name, draw) in enumerate(drawn.items()):
        x, y = 40.0 + (index % 8) * 60, 40.0 + (index // 8) * 60
        with pen.within((x, y)) as inner:
            draw(inner)
        boxes[name] = (x - 2, y - 2, x + 42, y + 42)
    canvas.showPage()
    canvas.save()
    return Signs(out.getvalue(), boxes)


def _mark(kind: TouchKind, look: Look) -> Callable[[Pen], None]:
    return lambda pen: touch_mark(pen, kind, look, (20, 20), 5)  # as large as in the legend


def _fill(fill: Fill) -> Callable[[Pen], None]:
    return lambda pen: infusion(pen, fill, (15, 5, 6, 30))


def _closed(why: Closed) -> Callable[[Pen], None]:
    return lambda pen: closed(pen, why, (5, 5, 30, 30))


def _tick(tick: Tick) -> Callable[[Pen], None]:
    return lambda pen: draw_tick(pen, tick, (10, 10))


def _picture(picture: Picture) -> Callable[[Pen], None]:
    return lambda pen: draw_picture(pen, picture, (0, 0), 40)
