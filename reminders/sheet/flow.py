"""Blocks of text, rows and drawings onto pages: where lines and pages break.

A block is never cut in two by the end of a page unless it is higher than a page. Nothing is left out or run over.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import accumulate
from typing import Protocol

from reminders.sheet.letters import Style, printable, width
from reminders.sheet.pen import Box, Pen

BREAKS = re.compile(r"(?<!→) (?![^\W\d_]|%)|(?<![\d→]) ")
"""Where a line may break: at a blank, but not between a number and its unit, nor after an arrow."""

Paint = Callable[[Pen, Box], None]
"""Draws what belongs to a block besides its text, into the box that it takes."""


@dataclass(frozen=True, slots=True)
class Said:
    """A text of any length in one style."""

    text: str
    style: Style


Cell = Sequence[Said]


@lru_cache(maxsize=32768)
def wrapped(text: str, style: Style, room: float) -> tuple[str, ...]:
    """Break a text into printable lines that are no wider than ``room``; a word that is wider is broken itself."""
    lines: list[str] = []
    for word in BREAKS.split(printable(text)):
        whole = width(word, style) <= room
        for index, part in enumerate([word] if whole else re.findall(r"[^-/ ]*[-/ ]|[^-/ ]+", word)):
            joined = f"{lines[-1]}{'' if index else ' '}{part}" if lines else part
            if lines and width(joined.rstrip(), style) <= room:
                lines[-1] = joined
            else:
                lines += _pieces(part, style, room)
    return tuple(line.rstrip() for line in lines) or ("",)


def _pieces(part: str, style: Style, room: float) -> list[str]:
    """Break what has no place to be broken at; at least one letter stands in a line."""
    pieces = []
    while width(part.rstrip(), style) > room and len(part) > 1:
        cut = next((at for at in range(len(part) - 1, 1, -1) if width(part[:at] + "-", style) <= room), 1)
        pieces.append(part[:cut] + "-")
        part = part[cut:]
    return [*pieces, part]


class Block(Protocol):
    """Something with a height at a given width, which can draw itself there."""

    def height(self, wide: float) -> float:
        """Return how high it is at a width."""
        ...

    def draw(self, pen: Pen, x: float, y: float, wide: float) -> None:
        """Draw it with its top left corner at ``x``, ``y``."""
        ...

    def split(self, wide: float, room: float) -> tuple["Block", "Block"] | None:
        """Return its part that finds room in a height, and the rest; None where it cannot be cut."""
        ...


@dataclass(frozen=True, slots=True)
class Row:
    """Cells beside one another, each with its texts below each other; ``paint`` draws what belongs to the row besides.

    ``widths`` are those of the cells with the room around their text: ``across`` on both sides, ``above`` and ``below``.
    """

    cells: Sequence[Cell]
    widths: Sequence[float]
    above: float = 2
    below: float = 3
    across: float = 4
    least: float = 0
    paint: Paint | None = None

    def height(self, wide: float) -> float:
        """Return how high it is: as its highest cell, ``least`` at least."""
        highest = max(
            (sum(line.style.leading for line in self._lines(index)) for index in range(len(self.cells))), default=0
        )
        return max(self.least, self.above + highest + self.below)

    def draw(self, pen: Pen, x: float, y: float, wide: float) -> None:
        """Draw it."""
        if self.paint is not None:
            self.paint(pen, (x, y, sum(self.widths), self.height(wide)))
        for index, left in enumerate(accumulate(self.widths[:-1], initial=x)):
            top = y + self.above
            for line in self._lines(index):
                pen.text(left + self.across, top + line.style.size * 0.93, line.text, line.style)
                top += line.style.leading

    def split(self, wide: float, room: float) -> tuple[Block, Block] | None:
        """Cut it between its lines."""
        first, rest = [], []
        for index in range(len(self.cells)):
            lines = self._lines(index)
            sums = accumulate(line.style.leading for line in lines)
            count = sum(total <= room - self.above - self.below for total in sums)
            first.append(lines[:count])
            rest.append(lines[count:])
        if not any(first) or not any(rest):
            return None
        return replace(self, cells=first, least=0), replace(self, cells=rest, least=0)

    def _lines(self, index: int) -> list[Said]:
        room = self.widths[index] - 2 * self.across
        return [Said(line, said.style) for said in self.cells[index] for line in wrapped(said.text, said.style, room)]


def words(said: Iterable[Said], wide: float, *, above: float = 0, below: float = 2, indent: float = 0) -> Row:
    """Return running text as a row of one cell."""
    return Row((list(said),), (wide,), above, below, indent)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing of a known height."""

    high: float
    paint: Paint

    def height(self, wide: float) -> float:
        """Return its height."""
        return self.high

    def draw(self, pen: Pen, x: float, y: float, wide: float) -> None:
        """Draw it."""
        self.paint(pen, (x, y, wide, self.high))

    def split(self, wide: float, room: float) -> tuple[Block, Block] | None:
        """Say that a drawing cannot be cut."""
        return None


@dataclass(frozen=True, slots=True)
class Stack:
    """Blocks below one another that stay together."""

    blocks: Sequence[Block]
    below: float = 0
    paint: Paint | None = None

    def height(self, wide: float) -> float:
        """Return the height of all."""
        return sum(block.height(wide) for block in self.blocks) + self.below

    def draw(self, pen: Pen, x: float, y: float, wide: float) -> None:
        """Draw one below the other."""
        if self.paint is not None:
            self.paint(pen, (x, y, wide, self.height(wide)))
        for block in self.blocks:
            block.draw(pen, x, y, wide)
            y += block.height(wide)

    def split(self, wide: float, room: float) -> tuple[Block, Block] | None:
        """Cut it between two blocks, or within its first."""
        tops = list(accumulate(block.height(wide) for block in self.blocks))
        count = sum(top <= room for top in tops)
        if count == 0:
            cut = self.blocks[0].split(wide, room) if self.blocks else None
            return None if cut is None else (cut[0], replace(self, blocks=[cut[1], *self.blocks[1:]]))
        if count == len(self.blocks):
            return None
        return replace(self, blocks=self.blocks[:count], below=0), replace(self, blocks=self.blocks[count:])


@dataclass(frozen=True, slots=True)
class Beside:
    """Blocks side by side, equally wide."""

    blocks: Sequence[Block]
    count: int
    gap: float = 12

    def height(self, wide: float) -> float:
        """Return the height of the highest."""
        return max(block.height(self._each(wide)) for block in self.blocks)

    def draw(self, pen: Pen, x: float, y: float, wide: float) -> None:
        """Draw them from left to right."""
        each = self._each(wide)
        for block in self.blocks:
            block.draw(pen, x, y, each)
            x += each + self.gap

    def split(self, wide: float, room: float) -> tuple[Block, Block] | None:
        """Put them below one another instead."""
        return Stack(self.blocks).split(self._each(wide), room)

    def _each(self, wide: float) -> float:
        return (wide - self.gap * (self.count - 1)) / self.count


@dataclass(slots=True)
class Pages:
    """Pages that are filled from the top, each ``wide`` and ``high`` inside its margins; the first one ``first`` high."""

    wide: float
    first: float
    high: float
    placed: list[list[tuple[float, Block]]] = field(default_factory=lambda: [[]])
    y: float = 0

    @property
    def room(self) -> float:
        """Return how much is free on the last page."""
        return (self.first if len(self.placed) == 1 else self.high) - self.y

    def turn(self) -> None:
        """Begin a new page, unless the last one is still empty."""
        if self.placed[-1]:
            self.placed.append([])
            self.y = 0

    def fits(self, *blocks: Block) -> bool:
        """Say whether blocks find room on the last page, one below the other."""
        return sum(block.height(self.wide) for block in blocks) <= self.room

    def put(self, block: Block, *with_next: Block) -> None:
        """Add a block, on a new page if it and what must not be parted from it find no room on this one."""
        if not self.fits(block, *with_next):
            self.turn()
        while not self.fits(block):
            cut = block.split(self.wide, self.room)
            if cut is None:  # higher than a page, and nothing to cut it at
                break
            self._place(cut[0])
            self.turn()
            block = cut[1]
        self._place(block)

    def _place(self, block: Block) -> None:
        self.placed[-1].append((self.y, block))
        self.y += block.height(self.wide)
