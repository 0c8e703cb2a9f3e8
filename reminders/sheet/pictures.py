"""Our own line drawings of what is done with a line, in black and white; each in a square of 100 by 100, y downwards.

A picture says what its step says and no more: nothing is told by it alone.
"""

from collections.abc import Callable
from enum import Enum

from reminders.schedule.model import Action
from reminders.sheet.pen import BLACK, PALE, WHITE, Pen, Point

BOLD, FINE = 4.0, 2.4
"""How thick lines are drawn: what is held in the hand, and what belongs to it."""


class Picture(Enum):
    """What is drawn."""

    CHECK = "check the label"
    SCRUB = "scrub the hub"
    DRY = "let it dry"
    FLUSH = "push a syringe of fluid"
    LOCK = "lock the lumen"
    CONNECT = "connect"
    DISCONNECT = "disconnect"
    PUSH = "push a drug slowly"
    CHANGE_BAG = "change the bag"
    WITHDRAW = "draw out and discard"
    DRAW = "draw blood"
    PAUSE = "stop an infusion for a while"
    RESUME = "let it run again"
    EXTRA = "a step of the provider's own"
    CLAMP = "close the clamp"
    CALL = "call"


OF_ACTION = {
    Action.FLUSH: Picture.FLUSH,
    Action.LOCK: Picture.LOCK,
    Action.CONNECT: Picture.CONNECT,
    Action.PUSH: Picture.PUSH,
    Action.CHANGE_BAG: Picture.CHANGE_BAG,
    Action.DISCONNECT: Picture.DISCONNECT,
    Action.WITHDRAW: Picture.WITHDRAW,
    Action.EXTRA: Picture.EXTRA,
    Action.PAUSE: Picture.PAUSE,
    Action.DISCARD: Picture.WITHDRAW,
    Action.DRAW: Picture.DRAW,
    Action.RESUME: Picture.RESUME,
}
"""The picture of each action of a step."""


def draw_picture(pen: Pen, picture: Picture, at: Point, size: float) -> None:
    """Draw a picture into the square of ``size`` points whose top left corner is ``at``."""
    with pen.within(at, size / 100) as inner:
        DRAWINGS[picture](inner)


# Parts that recur


def _hub(pen: Pen, x: float, y: float) -> None:
    """The needleless connector at the end of the lumen, its mouth to the left at ``x``; the lumen leads away to the right."""
    pen.path(f"M{x + 18} {y}C{x + 26} {y} {x + 24} {y + 20} {x + 30} {y + 26}", thick=BOLD + 1.5)
    pen.box((x, y - 8, 18, 16), thick=BOLD, fill=WHITE, radius=2)
    pen.line((x + 5, y - 8), (x + 5, y + 8), FINE)


def _syringe(pen: Pen, y: float, pushed: float, fill: float | None) -> None:
    """A syringe that points to the right with its tip at 68; ``pushed`` says how far its plunger is, from 0 to 1."""
    barrel, wide = (26.0, y - 12, 34.0, 24.0), 34.0
    stopper = 26 + wide * pushed
    if fill is None:
        pen.box(barrel, thick=BOLD, fill=WHITE, radius=2)
    else:
        pen.box(barrel, ink=None, fill=WHITE)
        pen.box((stopper, y - 12, 60 - stopper, 24), ink=None, fill=fill)
        pen.box(barrel, thick=BOLD, radius=2)
    pen.line((26, y - 17), (26, y + 17), BOLD)
    pen.box((60, y - 4, 8, 8), thick=FINE, fill=WHITE)
    pen.box((stopper - 4, y - 11, 5, 22), ink=None, fill=BLACK)
    pen.line((stopper - 30, y), (stopper, y), BOLD)
    pen.line((stopper - 30, y - 11), (stopper - 30, y + 11), BOLD + 1)
    for mark in (34, 40, 46, 52):
        if mark > stopper + 3:
            pen.line((mark, y - 12), (mark, y - 6), FINE - 0.6)


def _arrow(pen: Pen, start: Point, end: Point) -> None:
    """A bold level or upright arrow."""
    pen.line(start, end, BOLD + 1.5)
    (x, y), way = end, 1 if end[0] + end[1] > start[0] + start[1] else -1
    if start[1] == end[1]:
        pen.path(f"M{x + 9 * way} {y}L{x - 3 * way} {y - 9}L{x - 3 * way} {y + 9}Z", ink=None, fill=BLACK)
    else:
        pen.path(f"M{x} {y + 9 * way}L{x - 9} {y - 3 * way}L{x + 9} {y - 3 * way}Z", ink=None, fill=BLACK)


def _bag(pen: Pen, x: float, y: float, level: float, high: float = 40) -> None:
    """A bag that hangs from its eye, filled to ``level``, from 0 to 1."""
    wide = 28
    pen.circle((x + wide / 2, y - 4), 3.5, thick=FINE)
    top = y + high * (1 - level)
    if level:
        pen.box((x, top, wide, high * level), ink=None, fill=PALE)
    pen.box((x, y, wide, high), thick=BOLD, radius=5)
    if level:
        pen.line((x + 3, top), (x + wide - 3, top), FINE)
    pen.box((x + wide / 2 - 3, y + high, 6, 6), thick=FINE, fill=BLACK)


def _clock(pen: Pen, x: float, y: float, radius: float) -> None:
    pen.circle((x, y), radius, thick=FINE + 0.8, fill=WHITE)
    pen.path(f"M{x} {y - radius * 0.6}V{y}L{x + radius * 0.5} {y + radius * 0.3}", thick=FINE)


def _bin(pen: Pen, x: float, y: float) -> None:
    pen.path(f"M{x} {y}L{x + 4} {y + 24}H{x + 22}L{x + 26} {y}", thick=BOLD, fill=WHITE)
    pen.line((x - 4, y), (x + 30, y), BOLD)
    for rib in (9, 17):
        pen.line((x + rib, y + 6), (x + rib, y + 18), FINE - 0.4)


def _tubing(pen: Pen, end: Point) -> None:
    """The tubing from the bag at the left to its tip, which points to the right."""
    x, y = end
    pen.path(f"M20 56C20 {y + 4} 24 {y} {x - 16} {y}", thick=BOLD)
    pen.path(f"M{x - 18} {y - 7}H{x - 8}L{x} {y - 3}V{y + 3}L{x - 8} {y + 7}H{x - 18}Z", thick=FINE, fill=WHITE)


# The pictures


def _check(pen: Pen) -> None:
    pen.box((14, 12, 56, 76), thick=BOLD, radius=4)
    for y, right in ((30, 58), (44, 50), (58, 58), (72, 40)):
        pen.line((24, y), (right, y), FINE + 0.6)
    pen.circle((70, 62), 17, thick=BOLD, fill=WHITE)
    pen.line((82, 75), (94, 90), BOLD + 3)
    pen.path("M61 62L68 69L79 55", thick=BOLD)


def _upright_hub(pen: Pen, x: float) -> None:
    pen.path(f"M{x} 62C{x} 80 {x - 8} 84 {x - 14} 96", thick=BOLD + 1.5)
    pen.box((x - 10, 38, 20, 26), thick=BOLD, fill=WHITE, radius=2)
    pen.line((x - 10, 46), (x + 10, 46), FINE)


def _scrub(pen: Pen) -> None:
    _upright_hub(pen, 46)
    pen.box((22, 20, 48, 20), thick=BOLD, fill=PALE, radius=5)
    pen.hatch((26, 22, 40, 16), 7, BLACK, (1,), 1.4)
    pen.path("M16 44C8 26 22 6 46 7C64 8 78 14 82 28", thick=BOLD)
    pen.path("M87 40L74 29L90 24Z", ink=None, fill=BLACK)


def _dry(pen: Pen) -> None:
    _upright_hub(pen, 34)
    for x in (20, 34, 48):
        pen.path(f"M{x} 32C{x - 7} 26 {x + 7} 20 {x} 14C{x - 4} 10 {x - 2} 8 {x} 6", thick=FINE)
    _clock(pen, 76, 46, 19)


def _flush(pen: Pen) -> None:
    _syringe(pen, 40, 0.35, None)
    _hub(pen, 68, 40)
    _arrow(pen, (14, 76), (48, 76))


def _lock(pen: Pen) -> None:
    _syringe(pen, 40, 0.7, None)
    _hub(pen, 68, 40)
    pen.path("M38 76V68C38 58 54 58 54 68V76", thick=BOLD)
    pen.box((32, 75, 28, 21), thick=FINE, fill=BLACK, radius=3)
    pen.circle((46, 83), 3, ink=None, fill=WHITE)
    pen.line((46, 84), (46, 90), FINE, WHITE)


def _connect(pen: Pen) -> None:
    _bag(pen, 6, 12, 0.85)
    _tubing(pen, (62, 76))
    _hub(pen, 68, 76)
    _arrow(pen, (46, 50), (70, 50))


def _disconnect(pen: Pen) -> None:
    _bag(pen, 6, 12, 0)
    _tubing(pen, (46, 76))
    _hub(pen, 68, 76)
    _arrow(pen, (74, 50), (50, 50))


def _push(pen: Pen) -> None:
    _syringe(pen, 40, 0.35, PALE)
    _hub(pen, 68, 40)
    _arrow(pen, (8, 78), (34, 78))
    _clock(pen, 68, 80, 15)


def _change_bag(pen: Pen) -> None:
    _bag(pen, 8, 40, 0)
    _bag(pen, 62, 40, 0.85)
    pen.path("M22 26C30 8 62 6 72 18", thick=BOLD)
    pen.path("M78 29L63 20L78 11Z", ink=None, fill=BLACK)
    pen.line((12, 44), (32, 76), FINE + 0.6)
    pen.line((32, 44), (12, 76), FINE + 0.6)


def _withdraw(pen: Pen) -> None:
    _syringe(pen, 30, 0.15, PALE)
    _hub(pen, 68, 30)
    _arrow(pen, (46, 58), (16, 58))
    _bin(pen, 60, 72)


def _draw(pen: Pen) -> None:
    _hub(pen, 68, 34)
    pen.path("M68 34H52C38 34 34 38 34 48", thick=BOLD)
    pen.path("M24 48V84C24 96 44 96 44 84V48Z", thick=BOLD, fill=WHITE)
    pen.path("M24 68V84C24 96 44 96 44 84V68Z", thick=FINE, fill=BLACK)
    pen.box((21, 44, 26, 9), ink=None, fill=BLACK, radius=2)
    pen.path("M70 64C62 77 60 80 60 85C60 98 80 98 80 85C80 80 78 77 70 64Z", thick=FINE, fill=BLACK)


def _sign_beside_bag(pen: Pen) -> None:
    _bag(pen, 8, 14, 0.6)
    pen.path("M22 60C22 84 30 88 52 88H92", thick=BOLD)
    pen.circle((68, 40), 23, thick=BOLD, fill=WHITE)


def _pause(pen: Pen) -> None:
    _sign_beside_bag(pen)
    pen.line((61, 30), (61, 50), BOLD + 3)
    pen.line((75, 30), (75, 50), BOLD + 3)
    _jaws(pen, 68, 88, 0.6)


def _resume(pen: Pen) -> None:
    _sign_beside_bag(pen)
    pen.path("M60 27L83 40L60 53Z", ink=None, fill=BLACK)


def _extra(pen: Pen) -> None:
    pen.box((20, 16, 60, 76), thick=BOLD, radius=4)
    pen.box((38, 8, 24, 16), thick=FINE, fill=BLACK, radius=3)
    for y in (40, 58, 76):
        pen.path(f"M28 {y}L33 {y + 5}L41 {y - 5}", thick=FINE + 0.6)
        pen.line((48, y), (72, y), FINE + 0.6)


def _jaws(pen: Pen, x: float, y: float, scale: float) -> None:
    """A clamp that is closed on a tube that lies level."""
    for way in (-1, 1):
        pen.path(
            f"M{x - 16 * scale} {y + 26 * way * scale}H{x + 16 * scale}L{x + 5 * scale} {y + 1.5 * way}"
            f"H{x - 5 * scale}Z",
            ink=None,
            fill=BLACK,
        )


def _clamp(pen: Pen) -> None:
    for way in (-1, 1):
        pen.path(
            f"M2 {50 + 10 * way}H30C40 {50 + 10 * way} 44 {50 + 2 * way} 50 {50 + 2 * way}"
            f"C56 {50 + 2 * way} 60 {50 + 10 * way} 70 {50 + 10 * way}H98",
            thick=BOLD,
        )
    _jaws(pen, 50, 50, 1.25)
    pen.path("M6 50H18", thick=BOLD)
    pen.path("M24 50L16 44V56Z", ink=None, fill=BLACK)


def _call(pen: Pen) -> None:
    pen.path(
        "M22 20C10 30 14 52 32 70C50 88 72 92 82 80C86 75 85 71 81 68L69 60C65 57 61 58 58 61L54 66"
        "C46 62 38 54 34 46L39 42C42 39 43 35 40 31L33 20C30 16 26 16 22 20Z",
        thick=FINE,
        fill=BLACK,
    )
    pen.path("M58 30C66 32 70 37 72 44", thick=BOLD)
    pen.path("M62 14C76 17 85 26 88 40", thick=BOLD)


DRAWINGS: dict[Picture, Callable[[Pen], None]] = {
    Picture.CHECK: _check,
    Picture.SCRUB: _scrub,
    Picture.DRY: _dry,
    Picture.FLUSH: _flush,
    Picture.LOCK: _lock,
    Picture.CONNECT: _connect,
    Picture.DISCONNECT: _disconnect,
    Picture.PUSH: _push,
    Picture.CHANGE_BAG: _change_bag,
    Picture.WITHDRAW: _withdraw,
    Picture.DRAW: _draw,
    Picture.PAUSE: _pause,
    Picture.RESUME: _resume,
    Picture.EXTRA: _extra,
    Picture.CLAMP: _clamp,
    Picture.CALL: _call,
}
